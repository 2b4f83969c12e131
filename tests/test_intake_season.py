"""What is asked about the season: ranges changed over, temperatures of another unit, odd ends, rota weeks that are none."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from calc.intake_season import season_questions
from calc.season_state import TEMPERATURES

# Monthly means at an invented temperate site, deg C, and the same in deg F (18 x 1.8 + 32 = 64.4).
NORTH = (-1.0, 1, 5, 11, 16, 21, 23, 22, 18, 12, 7, 1)
STRAINS = pd.DataFrame({"row": [6, 7], "strain": ["wide", "cold"], "fruits_from": [15.0, 7.0], "fruits_to": [25.0, 20.0],
                        "run_low": [6.0, 6.0], "run_high": [18.0, 12.0]})
LOGS = pd.DataFrame({"row": [6, 7, 8], "strain": ["Wide", "wide", "wide"], "rota_week": [float("nan"), 9.0, 2.0]})


def asked(strains=STRAINS, logs=LOGS, temps=NORTH, profile="metric", **settings):
    known = dict(zip(TEMPERATURES, temps, strict=True)) if temps else {}
    return [p.sentence() for p in season_questions({"strains": strains, "logs": logs}, {**known, **settings}, profile)]


def test_what_can_be_meant_is_not_asked_about():
    assert asked() == [] and asked(temps=None) == [] and asked(temps=(*NORTH[:11], None)) == []
    assert season_questions({}, {}, "us") == []


def test_ranges_the_wrong_way_round():
    turned = STRAINS.assign(fruits_from=[25.0, 7.0], fruits_to=[15.0, 7.0], run_low=[6.0, 12.5], run_high=[6.0, 12.0])
    assert asked(turned) == [
        "Lists row 6, Fruits from: 25 °C is above Fruits to, 15 °C. Needed: the cooler end first. Change the two over; until then no month suits "
        "wide.",
        "Lists row 7, Spawn run, short: 12.5 months are more than Spawn run, long, 12. Needed: the shorter run first. Change the two over; until "
        "then the months in print are used."]
    assert asked(turned, profile="us")[0].startswith("Lists row 6, Fruits from: 77 °F is above Fruits to, 59 °F.")  # 25 x 1.8 + 32; 15 x 1.8 + 32


def test_temperatures_that_suit_nothing():
    fahrenheit = tuple(t * 1.8 + 32 for t in NORTH)
    assert asked(temps=fahrenheit) == [
        "Settings, Mean temperature: no month from 30.2 °C to 73.4 °C suits a strain on Logs; read as °F some would. Needed: degrees in °C. If they "
        "are in °F, type them in °C; they are used as typed, so no soak is dated."]
    icy = tuple(t - 30 for t in NORTH)
    assert asked(temps=icy) == [
        "Settings, Mean temperature: no month from -31 °C to -7 °C suits a strain on Logs. Needed: the mean of each month, and the ranges of the "
        "strains on Lists. Check both; they are used as typed, so no soak is dated."]
    assert asked(temps=icy, logs=LOGS.assign(strain="cold"), strains=STRAINS.assign(fruits_from=[15.0, None], fruits_to=[25.0, -7.0])) == []
    assert asked(temps=(12.0,) * 12) == ["Settings, Mean temperature: all twelve months are 12 °C. Needed: the mean of each month. Type each month's "
                                         "own; they are used as typed."]


@pytest.mark.parametrize("begins, ends, words", [
    (dt.date(2026, 4, 24), dt.date(2026, 10, 1), []),
    (dt.date(2026, 4, 24), None, ["Settings, First day of soaking: only this end is typed; the season was read as 24 Apr to 31 Dec."]),
    (None, dt.date(2026, 10, 1), ["Settings, Last day of soaking: only this end is typed; the season was read as 1 Jan to 1 Oct."]),
    (dt.date(2026, 4, 24), dt.date(2025, 4, 24), ["Settings, Last day of soaking: the season begins and ends on 24 Apr: one day a year. Needed: its "
                                                  "first and its last day. Type the other day; it is used as typed."]),
    (dt.date(1900, 1, 24), dt.date(2026, 10, 1), ["Settings, First day of soaking: 24 Jan 1900 is a plain number typed into a date. Needed: a date "
                                                  "such as 24 Apr 2026. Type the date; until then 24 Jan counts."]),
    (dt.date(1990, 1, 1), dt.date(2026, 10, 1), []),
])
def test_the_ends_of_the_season(begins, ends, words):
    assert asked(season_begins=begins, season_ends=ends) == words
    found = season_questions({}, {"season_begins": begins, "season_ends": ends}, "metric")
    assert [p.code for p in found] == ["season_day"] * len(words)


def test_rota_weeks_the_rota_does_not_have():
    """A rota of 8.2 weeks has 9 groups: 10 is asked about once for the rows that have it, 9 is not."""
    logs = pd.DataFrame({"row": [6, 7, 8, 9, 10], "strain": ["wide"] * 5, "rota_week": [9.0, 10.0, 10.0, 10.0, 12.0]})
    found = asked(logs=logs, rota_weeks=8.2)
    assert [line.split(". Needed: ")[0] for line in found] == [
        "Logs row 7, Rota week: 10 is beyond the 9 weeks of the rota on Settings, here and in 2 more rows",
        "Logs row 10, Rota week: 12 is beyond the 9 weeks of the rota on Settings"]
    assert "here and in 1 more row." in asked(logs=logs.iloc[:3], rota_weeks=9.0)[0]
    assert found[0].endswith("Needed: a whole number, 1 to 9. Type it again, or lengthen the rota on Settings; until then the rota gives it a week.")
    assert asked(logs=logs) == [] and asked(logs=logs, rota_weeks=0.0) == []

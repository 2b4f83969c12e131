"""The strip of weeks: what stands in it by hand, from the tables of the season."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from calc import season_weeks as sw
from calc import tables
from calc.day_numbers import MONTHS

DAY = dt.date(2026, 11, 26)  # a Thursday: the strip begins on Monday 23 Nov
TODAY = int(np.datetime64(DAY, "D").astype(int))
LOOK = (6.0, 14.0)
NORTH = dict(zip((f"temp_{m}" for m in MONTHS), (0, 2, 6, 11, 16, 21, 24, 23, 19, 13, 7, 2), strict=True))  # deg C, invented
SETTINGS = {"rota_weeks": 9.0, "season_begins": None, "season_ends": None, **dict.fromkeys(NORTH)}
STRAINS = pd.DataFrame([{"strain": "wide", "fruits_from": 15.0, "fruits_to": 25.0, "rest_weeks": 8.0},
                        {"strain": "cold", "fruits_from": 7.0, "fruits_to": 20.0, "rest_weeks": np.nan},
                        {"strain": "open", "fruits_from": np.nan, "fruits_to": np.nan, "rest_weeks": 8.0}])


def row(at, log, alive=1.0, strain="wide", **more):
    blank = {"stage": "may fruit", "flush_from": None, "flush_to": None, "flush_basis": "strain's months", "may_soak_from": None,
             "soak_why": "", "group": np.nan, "last_soak": None, "next_soak": None, "words": "", "place": ""}
    return {"row": at, "log": log, "strain": strain, "alive": alive, **blank, **more}


def season(*rows):
    frame = pd.DataFrame(list(rows))
    for name in ("flush_from", "flush_to", "may_soak_from", "last_soak", "next_soak"):
        frame[name] = pd.to_datetime(frame[name])
    return frame


def each(*pairs):
    return pd.DataFrame({"row": [p[0] for p in pairs], "inoculated": pd.to_datetime([p[1] for p in pairs])})


def calendar(*rows):
    frame = pd.DataFrame(list(rows), columns=["week", "group", "logs", "names", "words"])
    return frame.assign(week=pd.to_datetime(frame["week"]))


def strip(found, made, soaks=None, as_of=TODAY, **settings):
    table = sw.season_strip(found, made, calendar() if soaks is None else soaks, STRAINS, SETTINGS | settings, LOOK, as_of)
    return {name: dict(zip(mine["week"].dt.strftime("%Y-%m-%d"), mine["mark"], strict=True)) for name, mine in table.groupby("group", sort=False)}


def spans(marks: dict) -> list[tuple[str, str]]:
    """(mark, first week) wherever the mark changes."""
    found = []
    for week, mark in marks.items():
        if not found or found[-1][0] != mark:
            found.append((mark, week))
    return found


def test_weeks_begin_on_monday_and_there_are_52():
    found = strip(season(row(6, "A")), each((6, "2026-03-01")))
    assert list(found) == ["Mar 2026, wide"] and len(found["Mar 2026, wide"]) == 52
    weeks = list(found["Mar 2026, wide"])
    assert weeks[0] == "2026-11-23" and weeks[-1] == "2027-11-15"
    for day in ("2026-11-23", "2026-11-29"):  # the first and the last day of a week
        assert sw.first_week(int(np.datetime64(day).astype(int)))[0] == np.datetime64("2026-11-23").astype(int)


def test_look_days_are_those_of_the_figure():
    figure = tables.figure("flush_days")
    assert (figure.low, figure.high) == LOOK


def test_a_young_batch_runs_then_may_fruit():
    """1 May 2027 is a Saturday: most of its week is run. It may fruit up to the week of 20 Jun (Monday 14 Jun), then rain decides."""
    found = strip(season(row(6, "A", stage="spawn run", flush_from="2027-05-01", flush_to="2027-06-20")), each((6, "2026-11-01")))
    assert spans(found["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("", "2027-06-21")]


def test_months_too_cold_or_hot_are_dormant_once_the_spawn_has_run():
    """15 to 25 deg C: of these months May to September suit; the middle of the week counts, Thursday 29 April is still too cold."""
    found = strip(season(row(6, "A", flush_from="2026-10-01", flush_to="2026-10-30", flush_basis="already picked")), each((6, "2025-03-01")), **NORTH)
    assert spans(found["Mar 2025, wide"]) == [("dorm", "2026-11-23"), ("", "2027-05-03"), ("dorm", "2027-10-04")]
    young = strip(season(row(6, "A", stage="spawn run", flush_from="2027-05-01", flush_to="2027-11-01")), each((6, "2026-11-01")), **NORTH)
    assert spans(young["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("dorm", "2027-10-04")]


def test_a_window_within_one_week_is_shown():
    """Friday 7 to Sunday 9 May 2027: the middle of that week still belongs to the spawn run."""
    found = strip(season(row(6, "A", stage="spawn run", flush_from="2027-05-07", flush_to="2027-05-09", flush_basis="own first picks")),
                  each((6, "2026-11-01")))
    assert spans(found["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("", "2027-05-10")]


def test_a_group_is_soaked_picked_and_rests():
    """Soak in the week of 30 Nov: days 6 to 14 after it touch the weeks of 7 and 14 Dec; eight weeks of rest end on 25 Jan, the next soak."""
    soaks = calendar(("2026-11-30", 1, 3, "A", ""), ("2027-02-01", 1, 3, "A", ""))
    found = strip(season(row(6, "A", 3, group=1.0, flush_basis="already picked")), each((6, "2025-03-01")), soaks)
    assert list(found) == ["Group 1"]
    assert spans(found["Group 1"]) == [("", "2026-11-23"), ("soak", "2026-11-30"), ("pins", "2026-12-07"), ("rest", "2026-12-21"),
                                       ("soak", "2027-02-01"), ("pins", "2027-02-08"), ("rest", "2027-02-22"), ("", "2027-04-05")]


def test_a_soak_written_down_is_followed_by_pins_and_rest():
    """Soaked on 20 Nov: pins up to 4 Dec; rest of eight weeks up to 15 Jan."""
    found = strip(season(row(6, "A", last_soak="2026-11-20", stage="pins and picking")), each((6, "2025-03-01")))
    assert spans(found["Mar 2025, wide"]) == [("pins", "2026-11-23"), ("rest", "2026-12-07"), ("", "2027-01-18")]
    usual = strip(season(row(6, "A", strain="cold", last_soak="2026-11-20")), each((6, "2025-03-01")), rota_weeks=7.0)  # 6 weeks: 1 Jan
    assert spans(usual["Mar 2025, cold"])[-1] == ("", "2027-01-04")


def test_the_larger_part_of_a_group_is_shown_but_a_soak_always():
    rows = season(row(6, "A", 2, group=1.0, flush_basis="already picked"),
                  row(7, "B", 5, group=1.0, stage="spawn run", flush_from="2027-09-01", flush_to="2027-10-01",
                      may_soak_from="2027-09-01"))
    found = strip(rows, each((6, "2025-03-01"), (7, "2026-09-01")), calendar(("2026-12-07", 1, 2, "A", "")))
    assert found["Group 1"]["2026-11-23"] == "run" and found["Group 1"]["2026-12-07"] == "soak" and found["Group 1"]["2026-12-14"] == "run"
    table = sw.season_strip(rows, each((6, "2025-03-01"), (7, "2026-09-01")), calendar(), STRAINS, SETTINGS, LOOK, TODAY)
    assert set(table["logs"]) == {7.0} and set(table["kind"]) == {"rota group"}


def test_groups_come_first_then_batches_by_date():
    rows = season(row(6, "C", strain="cold"), row(7, "A", group=2.0), row(8, "B", group=10.0), row(9, "D", stage="gone"),
                  row(10, "E", stage="not yet inoculated"), row(11, "F"), row(12, "G", 0.0), row(13, "H", strain=None))
    made = each((6, "2026-04-01"), (7, "2024-04-01"), (8, "2024-04-01"), (9, "2024-04-01"), (10, None), (11, "2026-01-05"), (12, "2024-01-01"),
                (13, None))
    assert list(strip(rows, made)) == ["Group 2", "Group 10", "Jan 2026, wide", "Apr 2026, cold", "no date, (not given)"]


def test_a_season_across_new_year_and_its_first_and_last_day():
    """Southern summer, 1 Oct to 30 Apr: the week whose Thursday is 1 Oct is open, that of 29 April too, that of 6 May is shut."""
    found = strip(season(row(6, "A", strain="open")), each((6, "2025-03-01")), season_begins=dt.date(2020, 10, 1), season_ends=dt.date(2020, 4, 30))
    assert spans(found["Mar 2025, open"]) == [("", "2026-11-23"), ("dorm", "2027-05-03"), ("", "2027-10-04")]
    assert strip(season(row(6, "A", strain="open")), each((6, "2025-03-01")), season_begins=dt.date(2020, 10, 1),
                 season_ends=dt.date(2020, 4, 29))["Mar 2025, open"]["2027-04-26"] == ""


def test_an_unknown_strain_or_a_yard_without_logs_makes_no_fuss():
    assert spans(strip(season(row(6, "A", strain="new")), each((6, "2025-03-01")), **NORTH)["Mar 2025, new"]) == [("", "2026-11-23")]
    assert strip(season(row(6, "A", stage="gone")), each((6, "2025-03-01"))) == {}


@pytest.mark.parametrize(("strain", "settings", "words"), [
    ("wide", {}, "no temperature for every month: type the mean of each month on Settings"),
    ("wide", NORTH | {"temp_feb": None, "temp_mar": None}, "no temperature for Feb to Mar: type"),
    ("wide", NORTH | dict.fromkeys(NORTH, 30.0), "wide: no month's temperature at the site lies in the strain's fruiting range, so it gets no date"),
    ("open", NORTH, "open: type Fruits from and Fruits to under Strains on Lists"),
    ("new", NORTH, "new: not on Lists"),
])
def test_what_is_missing_is_said_with_what_to_type_and_where(strain, settings, words):
    said = sw.notes(season(row(6, "A", strain=strain)), STRAINS, SETTINGS | settings)["words"].tolist()
    assert len(said) == 1 and said[0].startswith(words)


def test_nothing_is_said_where_all_is_known():
    assert sw.notes(season(row(6, "A")), STRAINS, SETTINGS | NORTH)["words"].tolist() == []
    assert sw.notes(season(row(6, "A", stage="gone")), STRAINS, SETTINGS)["words"].tolist() == []

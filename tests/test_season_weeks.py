"""The strip of weeks: what stands in it by hand, from the tables of the season."""
from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from calc import season, tables
from calc import season_weeks as sw
from calc.rota_plan import Plan
from calc.season_state import NO_DAY, PICKED, Site, Strain, monday_of, to_day

DAY = dt.date(2026, 11, 26)  # a Thursday: the strip begins on Monday 23 Nov
FIGURE = tables.figure("flush_days")
NORTH = (0, 2, 6, 11, 16, 21, 24, 23, 19, 13, 7, 2)  # deg C by month, invented
NOTHING = (None,) * 12
RANGES = {"wide": (15.0, 25.0), "cold": (7.0, 20.0), "open": (None, None)}  # deg C
REST = {"cold": 6.0}  # weeks; the others rest eight


def row(at, log, alive=1.0, strain="wide", **more):
    blank = {"stage": "may fruit", "flush_from": None, "flush_to": None, "flush_basis": "strain's months", "may_soak_from": None,
             "soak_why": "", "group": np.nan, "last_soak": None, "next_soak": None, "words": "", "place": ""}
    return {"row": at, "log": log, "strain": strain, "alive": alive, **blank, **more}


def log_season(*rows):
    frame = pd.DataFrame(list(rows))
    for name in ("flush_from", "flush_to", "may_soak_from", "last_soak", "next_soak"):
        frame[name] = pd.to_datetime(frame[name])
    return frame


def each(*pairs):
    return pd.DataFrame({"row": [p[0] for p in pairs], "inoculated": pd.to_datetime([p[1] for p in pairs])})


def yard(found, temps=NOTHING, begins=None, ends=None):
    """What the strip reads of the state: site, strains, strain of each row."""
    names = list(dict.fromkeys(found["strain"]))
    strains = [Strain(name, name in RANGES, season.months_that_fit(temps, *RANGES.get(name, (None, None))), None not in RANGES.get(name, (None,)),
                      6.0, 18.0, "", REST.get(name, 8.0), True, True) for name in names]
    site = Site(temps, begins, ends, 12.0, 9.0, 12.0, (FIGURE.low, FIGURE.typical, FIGURE.high))
    return SimpleNamespace(site=site, strains=strains, strain=np.array([names.index(name) for name in found["strain"]]))


def table(found, made, soaks=(), as_of=DAY, **site):
    """The strip. soaks: (place on Logs, day) planned."""
    row_ = np.array([place for place, _ in soaks], dtype=np.int64)
    days = np.array([to_day(dt.date.fromisoformat(day)) for _, day in soaks], dtype=np.int64)
    monday = int(monday_of(to_day(as_of)))
    plan = Plan(yard(found, **site), monday, 9, np.zeros(len(found)), np.full(len(found), NO_DAY), sw.WEEKS, (days - monday) // 7, row_, days)
    return sw.season_strip(plan, found, made)


def strip(*args, **more):
    return {name: dict(zip(mine["week"].dt.strftime("%Y-%m-%d"), mine["mark"], strict=True))
            for name, mine in table(*args, **more).groupby("group", sort=False)}


def spans(marks: dict) -> list[tuple[str, str]]:
    """(mark, first week) wherever the mark changes."""
    found = []
    for week, mark in marks.items():
        if not found or found[-1][0] != mark:
            found.append((mark, week))
    return found


def test_weeks_begin_on_monday_and_there_are_52():
    found = strip(log_season(row(6, "A")), each((6, "2026-03-01")))
    assert list(found) == ["Mar 2026, wide"] and len(found["Mar 2026, wide"]) == 52
    weeks = list(found["Mar 2026, wide"])
    assert weeks[0] == "2026-11-23" and weeks[-1] == "2027-11-15"
    for day in (dt.date(2026, 11, 23), dt.date(2026, 11, 29)):  # the first and the last day of a week
        assert list(strip(log_season(row(6, "A")), each((6, "2026-03-01")), as_of=day)["Mar 2026, wide"])[0] == "2026-11-23"


def test_a_young_batch_runs_then_may_fruit():
    """1 May 2027 is a Saturday: most of its week is run. It may fruit up to the week of 20 Jun (Monday 14 Jun), then rain decides."""
    found = strip(log_season(row(6, "A", stage="spawn run", flush_from="2027-05-01", flush_to="2027-06-20")), each((6, "2026-11-01")))
    assert spans(found["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("", "2027-06-21")]


def test_months_too_cold_or_hot_are_dormant_once_the_spawn_has_run():
    """15 to 25 deg C: of these months May to September suit; the middle of the week counts, Thursday 29 April is still too cold."""
    found = strip(log_season(row(6, "A", flush_from="2026-10-01", flush_to="2026-10-30", flush_basis=PICKED)), each((6, "2025-03-01")), temps=NORTH)
    assert spans(found["Mar 2025, wide"]) == [("dorm", "2026-11-23"), ("", "2027-05-03"), ("dorm", "2027-10-04")]
    young = strip(log_season(row(6, "A", stage="spawn run", flush_from="2027-05-01", flush_to="2027-11-01")), each((6, "2026-11-01")), temps=NORTH)
    assert spans(young["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("dorm", "2027-10-04")]


def test_a_window_within_one_week_is_shown():
    """Friday 7 to Sunday 9 May 2027: the middle of that week still belongs to the spawn run."""
    found = strip(log_season(row(6, "A", stage="spawn run", flush_from="2027-05-07", flush_to="2027-05-09", flush_basis="own first picks")),
                  each((6, "2026-11-01")))
    assert spans(found["Nov 2026, wide"]) == [("run", "2026-11-23"), ("may", "2027-05-03"), ("", "2027-05-10")]


def test_a_group_is_soaked_picked_and_rests():
    """Soak in the week of 30 Nov: days 6 to 14 after it touch the weeks of 7 and 14 Dec; eight weeks of rest end on 25 Jan, the next soak."""
    assert (FIGURE.low, FIGURE.high) == (6, 14)
    soaks = [(0, "2026-11-30"), (0, "2027-02-01")]
    found = strip(log_season(row(6, "A", 3, group=1.0, flush_basis=PICKED)), each((6, "2025-03-01")), soaks)
    assert list(found) == ["Group 1"]
    assert spans(found["Group 1"]) == [("", "2026-11-23"), ("soak", "2026-11-30"), ("pins", "2026-12-07"), ("rest", "2026-12-21"),
                                       ("soak", "2027-02-01"), ("pins", "2027-02-08"), ("rest", "2027-02-22"), ("", "2027-04-05")]


def test_a_soak_written_down_is_followed_by_pins_and_rest():
    """Soaked on 20 Nov: pins up to 4 Dec; rest of eight weeks up to 15 Jan."""
    found = strip(log_season(row(6, "A", last_soak="2026-11-20", stage="pins and picking")), each((6, "2025-03-01")))
    assert spans(found["Mar 2025, wide"]) == [("pins", "2026-11-23"), ("rest", "2026-12-07"), ("", "2027-01-18")]
    usual = strip(log_season(row(6, "A", strain="cold", last_soak="2026-11-20")), each((6, "2025-03-01")))  # 6 weeks: 1 Jan
    assert spans(usual["Mar 2025, cold"])[-1] == ("", "2027-01-04")


def test_the_larger_part_of_a_group_is_shown_but_a_soak_and_its_pins_always():
    rows = log_season(row(6, "A", 2, group=1.0, flush_basis=PICKED),
                  row(7, "B", 5, group=1.0, stage="spawn run", flush_from="2027-09-01", flush_to="2027-10-01",
                      may_soak_from="2027-09-01"))
    found = strip(rows, each((6, "2025-03-01"), (7, "2026-09-01")), [(0, "2026-12-09")])
    assert spans(found["Group 1"])[:4] == [("run", "2026-11-23"), ("soak", "2026-12-07"), ("pins", "2026-12-14"), ("run", "2026-12-28")]
    shown = table(rows, each((6, "2025-03-01"), (7, "2026-09-01")))
    assert set(shown["logs"]) == {7.0} and set(shown["kind"]) == {"rota group"}


def test_groups_come_first_then_batches_by_date():
    rows = log_season(row(6, "C", strain="cold"), row(7, "A", group=2.0), row(8, "B", group=10.0), row(9, "D", stage="gone"),
                  row(10, "E", stage="not yet inoculated"), row(11, "F"), row(12, "G", 0.0), row(13, "H", strain="(not given)"))
    made = each((6, "2026-04-01"), (7, "2024-04-01"), (8, "2024-04-01"), (9, "2024-04-01"), (10, None), (11, "2026-01-05"), (12, "2024-01-01"),
                (13, None))
    assert list(strip(rows, made)) == ["Group 2", "Group 10", "Jan 2026, wide", "Apr 2026, cold", "no date, (not given)"]


def test_a_season_across_new_year_and_its_first_and_last_day():
    """Southern summer, 1 Oct to 30 Apr: the week whose Thursday is 1 Oct is open, that of 29 April too, that of 6 May is shut."""
    found = strip(log_season(row(6, "A", strain="open")), each((6, "2025-03-01")), begins=dt.date(2020, 10, 1), ends=dt.date(2020, 4, 30))
    assert spans(found["Mar 2025, open"]) == [("", "2026-11-23"), ("dorm", "2027-05-03"), ("", "2027-10-04")]
    assert strip(log_season(row(6, "A", strain="open")), each((6, "2025-03-01")), begins=dt.date(2020, 10, 1),
                 ends=dt.date(2020, 4, 29))["Mar 2025, open"]["2027-04-26"] == ""


def test_an_unknown_strain_or_a_yard_without_logs_makes_no_fuss():
    assert spans(strip(log_season(row(6, "A", strain="new")), each((6, "2025-03-01")), temps=NORTH)["Mar 2025, new"]) == [("", "2026-11-23")]
    assert strip(log_season(row(6, "A", stage="gone")), each((6, "2025-03-01"))) == {}


def said(*rows, **site):
    found = log_season(*rows)
    return sw.notes(yard(found, **site), found)["words"].tolist()


@pytest.mark.parametrize(("strain", "temps", "words"), [
    ("wide", NOTHING, "no temperature for the months: type the mean of each month on Settings, under Weather of the yard; until then dates go by"),
    ("wide", (0, None, None, *NORTH[3:]), "no temperature for Feb to Mar: type the mean of each month on Settings, under Weather of the yard; "
                                          "until then no date is given"),
    ("wide", (30,) * 12, "wide: no month's temperature at the site lies in the strain's fruiting range, so it gets no date"),
    ("open", NORTH, "open: type Fruits from and Fruits to under Strains on Lists"),
    ("new", NORTH, "new: not on Lists"),
])
def test_what_is_missing_is_said_with_what_to_type_and_where(strain, temps, words):
    found = said(row(6, "A", strain=strain), temps=temps)
    assert len(found) == 1 and found[0].startswith(words)


def test_nothing_is_said_where_all_is_known():
    assert said(row(6, "A"), temps=NORTH) == []
    assert said(row(6, "A", stage="gone")) == []

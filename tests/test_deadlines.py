"""Deadlines and the hours of the months ahead, by hand."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards

from calc import deadlines as dl
from calc import shopping, tables
from calc.sizes import sizes
from calc.yard import build, diary

DAY = dt.date(2026, 11, 26)  # a Thursday
TODAY = int(np.datetime64(DAY, "D").astype(int))
SPAN = (2, 6)
CALENDAR = pd.DataFrame({"week": pd.Series(dtype="datetime64[ns]"), "group": [], "logs": [], "names": [], "words": []})


def look(logs, events=None, lots=None, plan=None, settings=None):
    """(frames, yard, settings, book, needs, unfelled) of a small yard."""
    book_frame, links = yards.events(list(logs["log"]), *(events or ()))
    frames = {"logs": logs, "events": book_frame, "woods": yards.WOODS, "forms": yards.FORMS}
    frames |= {"lots": lots} if lots is not None else {}
    frames |= {"plan": plan} if plan is not None else {}
    known = {**yards.SETTINGS, "inoculate_within": 4.0, "hours_free": 6.0} | (settings or {})
    book = diary(frames, {"event_links": links}, TODAY)
    return frames, build(frames, book), known, book


def due(*args, **more):
    frames, yard, settings, _ = look(*args, **more)
    return dl.deadlines(frames, yard, settings, SPAN)


def lot(name, use_by):
    return {"spawn_lot": name, "use_by": pd.Timestamp(use_by) if use_by else pd.NaT}


# ---- deadlines ---------------------------------------------------------------------------------------------------

def test_felled_logs_count_down_from_their_felling():
    """Felled 1 Nov: four weeks end on 29 Nov, three days ahead. Felled 1 Oct: the 29th of October is 28 days past."""
    found = due(yards.logs(("A", 3, None, {"felled": "2026-11-01"}), ("B", 2, None, {"felled": "2026-10-01"}), ("C", 1, "2026-11-10"),
                           ("D", 4, None, {"felled": "2026-11-01"})))
    assert found["what"].tolist() == [dl.FELLED] * 2 and found["log"].tolist() == ["B (2 logs)", "A, D (7 logs)"]
    assert found["date"].tolist() == [pd.Timestamp("2026-10-29"), pd.Timestamp("2026-11-29")] and found["days"].tolist() == [-28, 3]
    assert found["words"][1] == "7 logs felled 1 Nov 2026, 25 days ago; your setting is 4 weeks, sources say 2 to 6 weeks"


def test_the_figure_beside_it_is_the_one_in_print():
    figure = tables.figure("inoculate_within_weeks")
    assert (figure.low, figure.high) == SPAN  # 1-2 weeks, a month at most; risk beyond 6 weeks: common practice


def test_logs_inoculated_gone_or_not_yet_felled_have_no_deadline():
    found = due(yards.logs(("A", 3, None, {"felled": "2026-10-01"}), ("B", 2, None, {"felled": "2026-12-24"}), ("C", 1, "2027-01-10")),
                [("2026-11-01", "retired", "A", None)])
    assert found["what"].tolist() == []


def test_an_inoculated_event_ends_the_countdown_on_its_day():
    logs = yards.logs(("A", 3, None, {"felled": "2026-10-01"}))
    assert len(due(logs, [("2026-11-26", "inoculated", "A", None)])) == 0
    assert len(due(logs, [("2026-11-27", "inoculated", "A", None)])) == 1  # tomorrow's line is not yet written


def test_no_date_is_invented():
    found = due(yards.logs(("A", 3, None), ("B", 1, None, {"felled": "2026-11-01"})), settings={"inoculate_within": None})
    assert found["date"].isna().all() and found["days"].isna().all()
    assert "type on Settings" in found["words"][0] and found["what"].tolist() == [dl.FELLED, dl.NO_DATE]
    assert found["words"][1].startswith("3 logs still to be made without a date: type Felled on Logs")


def test_spawn_by_its_date():
    """Lot 1 waits and is past; 2 is used up; 3 comes up within twelve weeks, nobody named it; 4 is far; 5 past long ago; 6 far, but waited for."""
    logs = yards.logs(("A", 3, None), ("B", 2, "2026-05-01"), ("C", 2, None)).assign(spawn_lot=["L1", "l2 ", "L6"])
    lots = pd.DataFrame([lot("L1", "2026-11-20"), lot("L2", "2026-11-20"), lot("L3", "2027-02-18"), lot("L4", "2027-02-19"),
                         lot("L5", "2026-01-01"), lot("L6", "2027-11-01"), lot("L7", None), lot(None, "2026-11-30")])
    found = due(logs, lots=lots)
    dated = found[found["what"] != dl.NO_DATE]
    assert list(zip(dated["what"], dated["log"], strict=True)) == [(dl.PAST, "L1"), (dl.NEAR, "L3"), (dl.NEAR, "L6")]
    assert found["days"].tolist()[:2] == [-6, 84] and found["words"][0].startswith("3 logs wait for it")
    assert found["words"][1] == "no log on Logs names it"


# ---- hours -------------------------------------------------------------------------------------------------------

def ahead(logs, calendar=CALENDAR, upkeep=30.0, soaking=np.nan, **more):
    frames, yard, settings, book = look(logs, **more)
    needs, unfelled = shopping.needs(frames, settings, yard, sizes(frames["logs"], frames, settings))
    hours = shopping.hours(book, yard, settings, needs, unfelled)
    return dl.hours_ahead(frames, yard, hours, calendar, upkeep, soaking, settings)


def test_upkeep_is_spread_over_the_year():
    """10 logs x 30 min = 5 h a year: 5/365.25 a day. November has 5 days left from the 26th on, December 31, February 28."""
    found = ahead(yards.logs(("A", 10, "2025-03-01")))
    assert len(found) == 12 and found["month"].iloc[[0, -1]].tolist() == [pd.Timestamp("2026-11-01"), pd.Timestamp("2027-10-01")]
    assert found["hours"].iloc[[0, 1, 3]].tolist() == pytest.approx([5 * 5 / 365.25, 5 * 31 / 365.25, 5 * 28 / 365.25])
    assert found["hours_free"].iloc[[0, 1]].tolist() == pytest.approx([6 * 5 / 7, 6 * 31 / 7])  # 6 h a week
    assert set(found["words"]) == {""}


def test_hours_free_that_are_not_typed_are_asked_for():
    found = ahead(yards.logs(("A", 10, "2025-03-01")), settings={"hours_free": None})
    assert found["hours_free"].isna().all() and set(found["words"]) == {"type the hours you have free a week on Settings"}


def test_timed_soaks_stand_in_their_weeks_and_leave_the_upkeep():
    """12 logs soaked in December at 5 min: 1 h there; of the 5 h a year 4 h are left to spread."""
    calendar = pd.DataFrame({"week": [pd.Timestamp("2026-12-07")], "group": [1], "logs": [12.0], "names": [""], "words": [""]})
    found = ahead(yards.logs(("A", 10, "2025-03-01")), calendar, soaking=5.0)
    assert found["soak_hours"].tolist() == [0, 1.0] + [0] * 10 and found.index.is_unique
    beyond = pd.concat((calendar, calendar.assign(week=pd.Timestamp("2027-11-01"))))  # a month after the twelve that are shown
    assert ahead(yards.logs(("A", 10, "2025-03-01")), beyond, soaking=5.0)["soak_hours"].tolist() == found["soak_hours"].tolist()
    assert found["upkeep_hours"].iloc[1] == pytest.approx(4 * 31 / 365.25)
    untimed = ahead(yards.logs(("A", 10, "2025-03-01")), calendar)
    assert untimed["soak_hours"].sum() == 0 and untimed["upkeep_hours"].iloc[1] == pytest.approx(5 * 31 / 365.25)


def test_own_minutes_of_soaks_count_every_soak():
    logs = yards.logs(("A", 10, "2024-03-01"), ("B", 5, "2024-03-01"))
    _, yard, _, book = look(logs, [("2026-05-01", "soaked", "A", 12.0, {"minutes": 20}), ("2026-07-09", "soaked", "A B", 12.0, {"minutes": 40}),
                                ("2026-09-01", "soaked", "B", 12.0), ("2026-12-01", "soaked", "B", 12.0, {"minutes": 600})])
    assert dl.soak_minutes(book, yard) == pytest.approx(60 / 25)  # 10 + 15 logs in 60 min; the untimed and the later one stand aside
    _, yard, _, book = look(logs)
    assert np.isnan(dl.soak_minutes(book, yard))


def test_logs_that_wait_are_made_by_their_deadline():
    """3 logs felled 10 Nov are due 8 Dec; 2 felled in September are past due: now. 10 + 22 min a log. 4 without a date: in no month."""
    found = ahead(yards.logs(("A", 3, None, {"felled": "2026-11-10"}), ("B", 2, None, {"felled": "2026-09-01"}), ("C", 4, None),
                             ("D", 6, "2027-03-05")))
    assert found["setup_hours"].tolist()[:5] == pytest.approx([2 * 32 / 60, 3 * 32 / 60, 0, 0, 6 * 32 / 60])
    last = found.iloc[-1]
    assert len(found) == 13 and pd.isna(last["month"]) and last["hours"] == pytest.approx(4 * 32 / 60)
    assert last["words"] == "in no month yet: logs waiting without a date (type Felled on Logs)"


def test_logs_of_the_plan_are_made_on_the_day_typed_there():
    plan = pd.DataFrame([{"log": "plan 1", "wood": "white oak", "diameter_m": 0.1, "large_end_m": np.nan, "length_m": 1.0, "count": 30,
                          "spawn_form": None, "hole_spacing_m": np.nan, "row_spacing_m": np.nan, "holes_drilled": np.nan, "ends_waxed": None,
                          "inoculated": pd.Timestamp("2027-02-10")}])
    found = ahead(yards.logs(("A", 1, "2025-03-01")), plan=plan)
    assert found["setup_hours"].tolist() == pytest.approx([0, 0, 0, 16.0] + [0] * 8) and len(found) == 12
    assert found["words"][3] == ""  # 16 h of 24 free
    tight = ahead(yards.logs(("A", 1, "2025-03-01")), plan=plan, settings={"hours_free": 2.0})
    assert tight["words"][3] == "8 h more than you have free"  # 16 + 0.04 - 8
    undated = ahead(yards.logs(("A", 1, "2025-03-01")), plan=plan.assign(inoculated=pd.NaT))
    assert undated["words"].iloc[-1] == "in no month yet: the Plan (type there when you will inoculate)"


def test_an_empty_yard_has_twelve_empty_months():
    found = ahead(yards.logs().reindex(columns=list(yards.LOG_COLUMNS)))
    assert len(found) == 12 and found["hours"].sum() == 0

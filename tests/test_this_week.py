"""What to do this week: each rule on both sides of its limit, the order, the lines of small and of large yards."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards

from calc import log_names, moisture, this_week
from calc.day_numbers import monday_of
from calc.sizes import sizes
from calc.yard import build, days, diary

INCH = 0.0254
DAY = dt.date(2026, 7, 15)  # a Wednesday; its week begins on the 13th
RAIN = ("2026-07-14", "rain", None, INCH)  # so that no line asks for water
SEASON = {"flush_from": pd.NaT, "flush_to": pd.NaT, "flush_basis": "", "may_soak_from": pd.NaT, "soak_why": "", "words": ""}


def week_of(logs, lines=(), season=None, calendar=(), keep=(), lots=(), as_of=DAY, profile="us", **settings):
    """The tables of this week. logs: (name, count, inoculated, extra); season: name of a log -> columns of log_season."""
    frame = yards.logs(*logs)
    for column in ("sample_weight_kg", "start_moisture", "spawn_lot"):
        frame[column] = [(more[0] if more else {}).get(column) for _, _, _, *more in logs]
    names = list(frame["log"])
    book, links = yards.events(names, *lines) if lines else (pd.DataFrame(), pd.DataFrame(columns=["event", "log"]))
    stages = [{**SEASON, "row": row, "stage": "not yet inoculated" if pd.isna(begun) else "spawn run", **(season or {}).get(name, {})}
              for row, name, begun in zip(frame["row"], names, frame["inoculated"], strict=True)]
    log_season = pd.DataFrame(stages, columns=["row", "stage", *SEASON])
    for column in ("flush_from", "flush_to", "may_soak_from"):
        log_season[column] = pd.to_datetime(log_season[column])
    columns = ["week", "group", "logs", "names", "volume_m3", "loads", "words", "hours"]
    soaks = pd.DataFrame(calendar, columns=columns[:len(calendar[0])] if len(calendar) else columns[:-1])
    soaks["week"] = pd.to_datetime(soaks["week"])
    frames = {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS,
              "lots": pd.DataFrame(lots, columns=["spawn_lot", "use_by"]).assign(use_by=lambda f: pd.to_datetime(f["use_by"]))}
    seen = diary(frames, {"event_links": links}, int(days([as_of])[0]))
    yard = build(frames, seen)
    every = {**yards.SETTINGS, "profile": profile, **settings}
    return this_week.every_table(frames, seen, yard, sizes(frame, frames, every), every, {
        "log_season": log_season, "soak_calendar": soaks, "keep_retire": pd.DataFrame(keep, columns=["group", "words"])})


def lines_of(*args, **more):
    return week_of(*args, **more)["this_week"]


def only(table, what):
    found = table[table["what"] == what]
    assert len(found) == 1, table[["what", "logs", "words"]].to_string()
    return found.iloc[0]


def kinds(table):
    return list(table["what"])


ONE = [("A1", 1, "2026-03-01", {"place": "North"})]
OLD = [("A1", 1, "2024-03-01", {"place": "North"})]
RESTING, YOUNG, READY = {"A1": {"stage": "resting"}}, {"A1": {"stage": "may fruit"}}, {"A1": {"stage": "ready to soak"}}


# ---- water ------------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("fell, due", [(0.99, True), (1.0, False)])
def test_spawn_run_wants_an_inch_in_seven_days(fell, due):
    """FOR-82: one inch a week. 9 July is the first of the seven days up to 15 July; the rain of the 8th is too old."""
    table = lines_of(ONE, [("2026-07-08", "rain", None, INCH), ("2026-07-09", "rain", None, fell * INCH), ("2026-07-01", "turned", "A1", None)])
    assert ("water" in kinds(table)) is due
    if due:
        found = only(table, "water")
        assert found["words"] == "0.99 in of rain and water in the last 7 days; last water 6 days ago"
        assert found["rule"] == "1 in a week (FOR-82, in shade)" and found["place"] == "North" and found["occasion"] == "2026-07-09"


def test_water_counts_where_it_was_given():
    two = [("A1", 1, "2026-03-01", {"place": "N"}), ("A2", 1, "2026-03-01", {"place": "S"})]
    found = only(lines_of(two, [("2026-07-12", "watered", "A1", INCH), ("2026-07-10", "rain", None, 0.1 * INCH)]), "water")
    assert found["logs"] == "A2" and found["words"].startswith("0.1 in of rain")
    assert "water" not in kinds(lines_of(ONE, [("2026-07-12", "watered", "A1", None)]))  # no depth: taken as enough
    assert "water" not in kinds(lines_of(ONE, [("2026-07-12", "soaked", "A1", 12.0)]))


def test_own_wish_and_metric_words():
    found = only(lines_of(ONE, [("2026-07-10", "rain", None, 0.010)], rain_week=0.03, profile="metric"), "water")
    assert found["rule"] == "30 mm a week (your setting)" and found["words"].startswith("10 mm of rain")


def test_a_dry_week_in_a_hot_month_says_overnight():
    """FOR-85: dry for more than 7 days and above 75 F (23.9 C)."""
    rain = [("2026-07-07", "rain", None, INCH)]  # 8 days ago
    assert "water overnight" in only(lines_of(ONE, rain, temp_jul=24.0), "water")["words"]
    assert "FOR-85" in only(lines_of(ONE, rain, temp_jul=24.0), "water")["rule"]
    assert "the month's mean is 75 °F: water overnight" in only(lines_of(ONE, rain, temp_jul=24.0), "water")["words"]  # 24 x 1.8 + 32 = 75.2
    for mean in (23.8, None):
        assert "overnight" not in only(lines_of(ONE, rain, temp_jul=mean), "water")["words"]
    assert "overnight" not in only(lines_of(ONE, [("2026-07-08", "rain", None, 0.5 * INCH)], temp_jul=30.0), "water")["words"]


def test_nothing_written_down_is_not_known_and_cold_months_want_no_water():
    assert "no rain or watering is written down" in only(lines_of(ONE), "water")["words"]
    assert "water" not in kinds(lines_of(ONE, temp_jul=4.9)) and "water" in kinds(lines_of(ONE, temp_jul=5.0))
    assert "water" not in kinds(lines_of(OLD, season=RESTING)) and "water" in kinds(lines_of(OLD, season=YOUNG))
    assert "water" not in kinds(lines_of(OLD, [("2025-10-01", "picked", "A1", 0.1)], YOUNG))  # no spawn run any more


def sample(weight, *more, **settings):
    """A log of 10 kg at the start, 40 % wet, weighed on 10 July, with three like it and one of another strain."""
    like = {"place": "North", "strain": "wide"}
    logs = [("A1", 1, "2026-03-01", {**like, "sample_weight_kg": 10.0, "start_moisture": 0.4}), ("A2", 3, "2026-03-20", like),
            ("B1", 1, "2026-03-20", {**like, "strain": "cold"})]
    return lines_of(logs, [("2026-07-10", "weighed", "A1", weight), ("2026-07-10", "rain", None, INCH), *more], **settings)


def test_the_limit_typed_on_settings_is_the_limit_of_the_week():
    """6 kg dry wood in 9.5 kg: 3.5 / 9.5 = 36.8 % water, under a limit of 38 % and over one of 36 %."""
    for limit, due in ((0.38, True), (0.36, False)):
        table = sample(9.5, water_below=limit)
        assert ((table["what"] == "water") & table["logs"].str.contains("A1")).any() == due


def test_a_sample_log_at_its_limit_speaks_for_those_like_it():
    """FOR-83: 10 % less. 9.0 kg is at it, 9.1 kg is not."""
    found = only(sample(9.0, ("2026-07-11", "turned", "A1", None)), "water")
    assert found["logs"] == "A1-A2 (4 logs)" and found["urgency"] < this_week.ORDER.index("water") + 1
    assert "A1 weighed 19.8 lb on 10 Jul 2026, 10% lighter than at the start, 33% wet; water at 19.8 lb" in found["words"]
    assert "FOR-83" in found["rule"]
    assert "water" not in kinds(sample(9.1))


def test_near_the_floor_it_says_so_and_water_since_asks_for_a_weighing():
    assert "what spawn survives" in only(sample(7.7), "water")["words"]  # 6 / 7.7: 22 % wet
    table = sample(9.0, ("2026-07-12", "watered", "A1 A2", None))
    assert "water" not in kinds(table) and "had water since: weigh it again" in only(table, "weigh")["words"]


# ---- pins, picking, soaking ---------------------------------------------------------------------------------------------

@pytest.mark.parametrize("soaked, due", [("2026-07-10", False), ("2026-07-09", True), ("2026-07-01", True), ("2026-06-30", False)])
def test_look_from_6_to_14_days_after_a_soak(soaked, due):
    assert ("look for pins" in kinds(lines_of(OLD, [RAIN, (soaked, "soaked", "A1", 12.0)], RESTING))) is due


@pytest.mark.parametrize("depth, day, stage, due", [
    (1.0, "2026-07-05", "resting", True), (0.99, "2026-07-05", "resting", False), (1.0, "2026-07-10", "resting", False),
    (1.0, "2026-07-05", "spawn run", False), (1.0, "2026-07-05", "dormant", False)])
def test_look_after_an_inch_of_rain_where_logs_are_old_enough(depth, day, stage, due):
    table = lines_of(OLD, [RAIN, (day, "rain", None, depth * INCH)], {"A1": {"stage": stage}})
    assert ("look for pins" in kinds(table)) is due


def test_pins_seen_mean_pick_and_no_more_looking():
    soak = ("2026-07-05", "soaked", "A1", 12.0)
    table = lines_of(OLD, [RAIN, soak, ("2026-07-12", "pins seen", "A1", None)], RESTING)
    assert kinds(table) == ["pick"] and only(table, "pick")["words"] == "pins seen 3 days ago"
    going = lines_of(OLD, [RAIN, soak, ("2026-07-12", "pins seen", "A1", None), ("2026-07-13", "picked", "A1", 0.1)], RESTING)
    assert "picked 2 days ago, the flush may go on" == only(going, "pick")["words"]
    assert kinds(lines_of(OLD, [RAIN, ("2026-07-11", "picked", "A1", 0.1)], RESTING)) == ["pick"]  # four days are not over
    assert kinds(lines_of(OLD, [RAIN, ("2026-07-10", "picked", "A1", 0.1)], RESTING)) == []
    assert kinds(lines_of(OLD, [RAIN, ("2026-06-30", "pins seen", "A1", None)], RESTING)) == []


def test_logs_in_the_tank_are_lifted_out_and_hours_not_written_are_assumed():
    tank = {"A1": {"stage": "soaking"}}
    found = only(lines_of(OLD, [RAIN, ("2026-07-15", "soaked", "A1", 24.0)], tank), "lift out")
    assert found["words"] == "in the tank since 15 Jul 2026 (today); 24 h are over by 16 Jul 2026" and found["urgency"] == 1
    blank = only(lines_of(OLD, [RAIN, ("2026-07-14", "soaked", "A1", None)], tank, soak_hours=12.0), "lift out")
    assert "hours not written down, 12 h assumed: out by 15 Jul 2026" in blank["words"]
    assert "lift out" not in kinds(lines_of(OLD, [RAIN, ("2026-07-13", "soaked", "A1", 24.0)], RESTING))


def test_this_weeks_soak_stands_and_next_weeks_does_not():
    calendar = [("2026-07-13", 2.0, 12.0, "A1-A12", 0.2, 1.0, ""), ("2026-07-20", 3.0, 12.0, "B1-B12", 0.2, 1.0, "")]
    found = only(lines_of(OLD, [RAIN], READY, calendar), "soak")
    assert (found["logs"], found["words"], found["key"]) == ("A1-A12", "turn of group 2: 12 logs, 1 tank load", "soak/group 2")
    hours = only(lines_of(OLD, [RAIN], READY, [(*calendar[0], 12.0)]), "soak")
    assert hours["words"] == "turn of group 2: 12 logs, 1 tank load, 12 h in the tank"
    eight = [("2026-07-13", float(g), 12.0, f"G{g}", 0.2, 1.0, "") for g in range(1, 9)]
    table = lines_of(OLD, [RAIN], READY, eight)
    table = table[table["what"] == "soak"]  # five by themselves, three in one line
    assert len(table) == 6 and table.loc[table["key"] == "soak/more", "logs"].tolist() == ["G6; G7; G8"]
    assert table.loc[table["key"] == "soak/more", "words"].tolist() == ["turn of group 6: 12 logs, 1 tank load. 2 more likewise"]
    why = [("2026-07-13", np.nan, 0.0, "", np.nan, np.nan, "no temperature on Settings for July")]
    none = only(lines_of(OLD, [RAIN], READY, why), "soak")
    assert none["logs"] == "none this week" and none["words"] == "no temperature on Settings for July"


def test_the_stop_list_is_one_line_for_each_cause():
    logs = [(f"A{i}", 1, "2024-03-01", {"place": p}) for i, p in ((1, "N"), (2, "S"), (3, "S"))]
    season = {"A1": {"stage": "resting", "soak_why": "resting until 3 Aug 2026", "may_soak_from": pd.Timestamp("2026-08-03")},
              "A2": {"stage": "resting", "soak_why": "resting until 1 Aug 2026", "may_soak_from": pd.Timestamp("2026-08-01")},
              "A3": {"stage": "resting", "soak_why": "outside the soak season"}}
    table = lines_of(logs, [RAIN], season)
    assert kinds(table) == ["rest", "rest"]
    assert table["words"].iat[0] == "do not soak: resting until 1 Aug 2026; resting until 3 Aug 2026"


# ---- new logs, spawn, sample logs, spawn run ----------------------------------------------------------------------------

WAITING = ("W1", 5, None, {"place": "Shed", "felled": pd.Timestamp("2026-06-17")})


@pytest.mark.parametrize("felled, what", [("2026-06-17", "inoculate"), ("2026-06-16", "inoculate, past the limit")])
def test_felled_logs_wait_for_four_weeks_at_most(felled, what):
    table = lines_of([("W1", 5, None, {"felled": pd.Timestamp(felled)})], [RAIN], inoculate_within=4.0)
    found = table.iloc[0]
    assert table["urgency"].iat[0] == this_week.ORDER.index(what) + 1 and "W1 (5 logs)" == found["logs"]
    assert ("0 days left" in found["words"]) is (what == "inoculate") and ("1 day past the limit" in found["words"]) is (what != "inoculate")


def test_spawn_past_its_date_while_logs_wait_for_it_or_nobody_has_it():
    logs = [("W1", 5, None, {"felled": pd.Timestamp("2026-07-10"), "spawn_lot": "L1"}), ("A1", 1, "2026-03-01", {"spawn_lot": "L2"})]
    lots = [("L1", "2026-07-14"), ("L2", "2026-07-01"), ("L3", "2026-07-29"), ("L4", "2026-07-30"), ("L5", None)]
    found = lines_of(logs, [RAIN], lots=lots)
    found = found[found["what"] == "use the spawn"].set_index("logs")["words"]
    assert list(found.index) == ["spawn lot L1", "spawn lot L3"]  # L2 went into A1, L4 has 15 days, L5 no date
    assert found["spawn lot L1"].startswith("past its date by 1 day;") and found["spawn lot L3"].startswith("to be used by 29 Jul 2026, 14 days left")


@pytest.mark.parametrize("rain, weighed, due", [
    ("2026-07-14", "2026-06-16", False), ("2026-07-14", "2026-06-15", True), ("2026-07-07", "2026-07-09", False), ("2026-07-07", "2026-07-08", True)])
def test_sample_logs_are_weighed_monthly_and_weekly_when_dry(rain, weighed, due):
    """FOR-82: weekly to monthly; a dry week is more than the 7 days of FOR-85."""
    logs = [("A1", 1, "2026-03-01", {"sample_weight_kg": 10.0, "start_moisture": 0.4})]
    assert ("weigh" in kinds(lines_of(logs, [(rain, "rain", None, INCH), (weighed, "weighed", "A1", 9.9)]))) is due


def test_turning_follows_the_growers_own_span_before_our_guess():
    assert "starting guess" in only(lines_of(ONE, [RAIN]), "turn")["rule"]
    assert "turn" not in kinds(lines_of(ONE, [RAIN, ("2026-05-01", "turned", "A1", None)]))  # 75 days, less than 13 weeks
    own = lines_of(ONE, [RAIN, ("2026-04-01", "turned", "A1", None), ("2026-05-01", "turned", "A1", None), ("2026-06-01", "turned", "A1", None)])
    assert only(own, "turn")["rule"] == "end for end, every 4 weeks, as you have done"  # 30 and 31 days


def test_logs_are_moved_before_their_first_mushrooms_and_no_date_is_made_up():
    near = {"A1": {"flush_from": pd.Timestamp("2026-08-12"), "words": "first mushrooms 12 Aug 2026 to 1 Nov 2026"}}
    assert only(lines_of(ONE, [RAIN], near), "move")["words"].startswith("first mushrooms 12 Aug 2026")
    far = {"A1": {"flush_from": pd.Timestamp("2026-08-13")}}
    assert "move" not in kinds(lines_of(ONE, [RAIN], far)) and "move" not in kinds(lines_of(ONE, [RAIN]))
    assert "move" not in kinds(lines_of(ONE, [RAIN, ("2026-07-01", "moved", "A1", None)], near))
    for moved, due in (("2026-06-17", False), ("2026-06-16", True)):  # twice 28 days before 12 August is 17 June
        assert ("move" in kinds(lines_of(ONE, [RAIN, (moved, "moved", "A1", None)], near))) is due
    unknown = {"A1": {"stage": "may fruit", "words": "no date for first mushrooms: no temperature on Settings for July"}}
    said = only(lines_of(ONE, [RAIN], unknown), "look")["words"]
    assert said == "old enough for first mushrooms; no date for first mushrooms: no temperature on Settings for July"


def test_logs_that_have_fruited_may_fruit_by_themselves_and_are_not_said_twice():
    picked = ("2025-10-01", "picked", "A1", 0.1)
    assert "may fruit by themselves" in only(lines_of(OLD, [RAIN, picked], YOUNG), "look")["words"]
    storm = lines_of(OLD, [RAIN, picked, ("2026-07-05", "rain", None, INCH)], YOUNG)
    assert "look for pins" in kinds(storm) and "look" not in kinds(storm)


def test_logs_that_no_longer_pay_are_named():
    found = only(lines_of(OLD, [RAIN], RESTING, keep=[("2024", "retire"), ("2025", "retire"), ("2024", "keep")]), "retire or replace")
    assert found["logs"] == "A1" and "inoculated in 2024" in found["words"]


# ---- order, size, what does not count -------------------------------------------------------------------------------------

def test_lines_stand_in_the_order_of_what_is_lost_first():
    logs = [("T", 1, "2024-03-01", {"place": "a"}), ("P", 1, "2024-03-01", {"place": "b"}), ("S", 1, "2026-03-01", {"place": "c"}), WAITING]
    season = {"T": {"stage": "soaking"}, "P": {"stage": "pins and picking", "soak_why": "resting until 1 Sep 2026"}}
    table = lines_of(logs, [("2026-07-14", "soaked", "T", 24.0), ("2026-07-14", "pins seen", "P", None)], season,
                     [("2026-07-13", 1.0, 3.0, "X", 0.1, 1.0, "")])
    assert kinds(table) == ["lift out", "pick", "water", "soak", "inoculate", "turn", "rest"] and table["urgency"].is_monotonic_increasing


def test_a_yard_of_eight_hundred_fills_one_page_and_loses_no_log():
    """20 places x 5 strains x 8 batches of one log: 160 groups a kind, and one line for each of the kinds in the end."""
    logs = [(f"L{i}", 1, f"2026-0{1 + i % 4}-0{1 + i % 2}", {"place": f"Place {i % 20}", "strain": f"strain {i % 5}"}) for i in range(800)]
    table = lines_of(logs)
    assert len(table) <= this_week.MOST_LINES
    for what in ("water", "turn"):
        due = table[table["what"] == what]
        assert due["count"].sum() == (800 if what == "water" else due["rows"].sum()) and len(due) <= this_week.MOST_OF_A_KIND
    assert "(800 logs)" in only(table, "water")["logs"]


def test_keys_stay_when_reasons_change_and_each_stands_once():
    a = lines_of(ONE, [("2026-07-10", "rain", None, 0.1 * INCH)])
    b = lines_of(ONE, [("2026-07-10", "rain", None, 0.1 * INCH)], as_of=dt.date(2026, 7, 16))
    assert set(a["key"]) == set(b["key"]) and a["key"].is_unique
    assert only(a, "water")["words"] != only(b, "water")["words"] and only(a, "water")["occasion"] == only(b, "water")["occasion"]


def test_what_is_dated_later_or_of_logs_that_are_gone_does_not_count():
    assert kinds(lines_of(OLD, [RAIN, ("2026-07-16", "pins seen", "A1", None)], RESTING)) == []
    assert kinds(lines_of(OLD, [RAIN, ("2026-07-12", "pins seen", "A1", None), ("2026-07-13", "retired", "A1", None)], RESTING)) == []


def test_an_empty_yard_has_nothing_to_do():
    found = week_of([])
    assert not len(found["this_week"]) and not len(found["moisture"]) and np.isnan(found["days_dry"])


def test_a_place_with_a_slash_is_no_other_place():
    logs = [("A1", 1, "2026-03-01", {"place": "N/S"}), ("A2", 1, "2026-03-01", {"place": "N"})]
    assert len(lines_of(logs)[lambda t: t["what"] == "water"]) == 2


@pytest.mark.parametrize("names, count, said", [
    (["A1"], 1, "A1"), (["A3", "A1", "A2"], 3, "A1-A3 (3 logs)"), (["A01", "A02", "B"], 5, "A01-A02, B (5 logs)"), (["G"], 40, "G (40 logs)"),
    ([f"log {2 * i}" for i in range(30)], 30, "log 0, log 2, log 4, log 6, log 8, log 10, log 12 and 23 more (30 logs)")])
def test_many_names_in_few_words(names, count, said):
    assert log_names.in_words(names, count) == said


def test_more_names_of_digits_alone_than_are_read_one_by_one():
    """1 to 1200 in any order is one run; without 600 it is two."""
    names = [str(i) for i in range(1200, 0, -1)]
    assert log_names.in_words(names, 1200) == "1-1200 (1200 logs)"
    assert log_names.in_words([name for name in names if name != "600"], 1199) == "1-599, 601-1200 (1199 logs)"


def test_monday_is_the_calendars():
    for shift in range(20):
        day = dt.date(2026, 12, 25) + dt.timedelta(days=shift)
        number = int(days([day])[0])
        assert monday_of(number) == number - day.weekday()
    assert moisture.YEAR_DAYS == 365

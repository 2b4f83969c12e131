"""Small yards whose season, soaks and week can be worked out on paper: each sum stands in its comment. Common practice throughout."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import yards
from soak_yards import rolled

from calc.farm import roll_up

INCH = 0.0254
OLD = [("A", 4, "2024-03-01")]


def what(out, kind):
    return out.this_week[out.this_week["what"] == kind]


def test_the_last_of_a_flush_picked_on_the_day_of_the_soak_is_not_the_next_flush():
    # Picked and put into the tank on 1 June: pins are to be looked for from the 7th to the 15th all the same.
    lines = [("2026-06-01", "picked", "A", 0.3), ("2026-06-01", "soaked", "A", 12.0)]
    found = {day: len(what(rolled(OLD, lines, f"2026-06-{day:02d}"), "look for pins")) for day in (6, 7, 15, 16)}
    assert found == {6: 0, 7: 1, 15: 1, 16: 0}
    seen = rolled(OLD, [*lines, ("2026-06-08", "pins seen", "A", None)], "2026-06-10")
    assert not len(what(seen, "look for pins")) and len(what(seen, "pick"))


def test_a_watering_makes_no_storm():
    # Half an inch of rain and 0.6 in from the hose are 1.1 in of water, and half an inch of rain: no storm. 1.1 in of rain is one.
    wet = [("2026-06-09", "rain", None, INCH)]
    hose = rolled(OLD, [("2026-06-01", "rain", None, 0.5 * INCH), ("2026-06-01", "watered", "A", 0.6 * INCH), *wet], "2026-06-10", profile="us")
    assert not len(what(hose, "look for pins"))
    rain = rolled(OLD, [("2026-06-01", "rain", None, 0.5 * INCH), ("2026-06-01", "rain", None, 0.6 * INCH), *wet], "2026-06-10", profile="us")
    assert what(rain, "look for pins").iloc[0]["words"] == "1.1 in of rain 9 days ago, on 1 Jun 2026"


def test_a_pick_on_the_day_of_the_storm_was_not_brought_by_it():
    lines = [("2026-06-01", "picked", "A", 0.2), ("2026-06-01", "rain", None, INCH), ("2026-06-09", "rain", None, INCH)]
    assert len(what(rolled(OLD, lines, "2026-06-10"), "look for pins")) == 1


def test_a_tank_limit_that_cannot_be_held_against_any_size_is_said():
    # Four logs without a diameter, all of rota week 1: their volume is not known, so all four go in, and the calendar says why.
    rows = [(f"L{i}", 1, "2024-03-01", {"diameter_m": None, "rota_week": 1}) for i in range(1, 5)]
    found = rolled(rows, [], "2026-06-01", tank_volume=0.02, tank_loads=1.0).soak_calendar.iloc[0]
    assert (found["logs"], found["words"]) == (4.0, "no log has a size on Logs: what the tank holds is not looked at")
    # 0.1 m across and 1 m long: 0.00785 m3 each, two to a tank of 0.02 m3.
    sized = rolled([(*row[:3], {"rota_week": 1}) for row in rows], [], "2026-06-01", tank_volume=0.02, tank_loads=1.0).soak_calendar.iloc[0]
    assert (sized["logs"], sized["words"]) == (2.0, "tank full: 2 logs moved to the week of 6 Jul 2026")


def test_weeks_to_inoculate_are_the_same_figure_everywhere():
    # Felled on 1 May, seen on 1 June: 31 days, 3 beyond 4 weeks; the figure inoculate_within_weeks runs from 2 to 6.
    out = rolled([("B", 4, None, {"felled": "2026-05-01"})], [], "2026-06-01", inoculate_within=4.0)
    line, due = what(out, "inoculate, past the limit").iloc[0], out.deadlines.iloc[0]
    assert line["rule"] == "within 4 weeks of felling (trade pages, 2 to 6)" and due["words"].endswith("sources say 2 to 6 weeks")
    assert line["words"].startswith("felled 31 days ago, on 1 May 2026: 3 days past the limit") and due["days"] == -3


def test_a_week_too_hot_for_logs_that_fruit_by_themselves_is_called_so():
    # The cold strain suits April, May and September to November here; the week of 1 June is too hot for it, that of 25 May is not.
    found = rolled([("A", 100, "2024-03-01", {"strain": "cold"})], [], "2026-05-18").supply.set_index("week")["words"]
    assert found["2026-05-25"].startswith("natural fruiting") and found["2026-06-01"] == "dormant: too cold or too hot"


def test_logs_that_have_fruited_want_water_too_where_it_is_dry_and_hot():
    # Soaked on 1 July, at rest since; the last rain on 12 July; July's mean is 25 deg C, above 75 deg F. On the 19th that is 7 days: not
    # yet more than 7. On the 20th it is 8. At 23 deg C (73.4 deg F) the logs at rest wait for their soak.
    lines = [("2026-07-01", "soaked", "A", 12.0), ("2026-07-12", "rain", None, 2 * INCH)]
    hot, mild = ((-1, 1, 5, 11, 16, 21, july, 22, 18, 12, 7, 1) for july in (25, 23))
    assert not len(what(rolled(OLD, lines, "2026-07-19", site=hot), "water")) and not len(what(rolled(OLD, lines, "2026-07-20", site=mild), "water"))
    line, = what(rolled(OLD, lines, "2026-07-20", site=hot), "water").itertuples()
    assert line.words == "0 mm of rain and water in the last 7 days; last water 8 days ago; the month's mean is 25 °C: water overnight"
    assert line.rule == "7 days dry and hot (FOR-85)"


def test_what_the_tank_cannot_hold_in_the_last_week_is_not_moved_out_of_the_season():
    # Two of four logs fit (0.00785 m3 each into 0.02 m3). The season ends on 4 July, in the week of 29 June: no week follows for the other two.
    rows = [(f"L{i}", 1, "2024-03-01", {"rota_week": 1}) for i in range(1, 5)]
    lines = [("2026-04-27", "soaked", "L1 L2 L3 L4", 12.0)]  # nine weeks before 29 June
    ends = {day: rolled(rows, lines, "2026-06-01", tank_volume=0.02, tank_loads=1.0, season_begins=dt.date(2026, 4, 1),
                        season_ends=dt.date(2026, 7, day)) for day in (4, 12)}
    first = {day: out.soak_calendar.iloc[0] for day, out in ends.items()}
    assert first[4]["words"] == "tank full: 2 logs left out, and the week of 6 Jul 2026 is too cold or hot, or out of season"
    assert first[12]["words"] == "tank full: 2 logs moved to the week of 6 Jul 2026"
    assert [ends[day].log_season["next_soak"].notna().sum() for day in (4, 12)] == [2, 4]


def test_logs_lost_before_their_spawn_do_not_wait_for_it():
    # Four felled for spawn lot S9: with one lost three wait, with all lost none does.
    for lost, waits in ((1.0, "3 logs wait for it"), (None, None)):
        frames, links = spawned(("2026-05-15", "lost", "B", lost))
        out = roll_up(frames, links, yards.SETTINGS, dt.date(2026, 6, 1))
        spawn = out.deadlines[out.deadlines["log"] == "S9"]
        assert spawn["words"].tolist() == ([waits] if waits else []) and len(what(out, "use the spawn")) == len(spawn)


def spawned(*lines):
    logs = yards.logs(("B", 4, None, {"felled": "2026-05-01"})).assign(spawn_lot=["S9"])
    book, links = yards.events(["B"], *lines)
    lots = pd.DataFrame([{"spawn_lot": "S9", "use_by": pd.Timestamp("2026-06-05")}])
    return {"logs": logs, "events": book, "lots": lots, "woods": yards.WOODS, "forms": yards.FORMS}, {"event_links": links}


def test_the_first_four_logs_of_a_beginner_are_not_left_without_a_word():
    # Inoculated on 5 Apr 2025 with a spawn run of 6 to 18 months: old enough for a soak from 5 Apr 2026, and their turn comes later.
    # Nothing else is written down. Until the turn: look them over, and whether they had water is not known.
    out = rolled([("A", 4, "2025-04-05")], [], "2026-05-04")
    season = out.log_season.iloc[0]
    assert season["stage"] == "ready to soak" and season["next_soak"] >= pd.Timestamp("2026-05-11")
    look, water = what(out, "look").iloc[0], what(out, "water").iloc[0]
    assert f"their turn to be soaked comes on {season['next_soak'].day} {season['next_soak']:%b %Y}" in look["words"]
    assert look["logs"] == "A (4 logs)" and "not known" in water["words"]
    # In the week of the turn the line says soak, and no second line says look.
    turn = rolled([("A", 4, "2025-04-05")], [], f"{season['next_soak']:%Y-%m-%d}")
    assert len(what(turn, "soak")) == 1 and not len(what(turn, "look"))

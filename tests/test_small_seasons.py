"""Small yards whose season, soaks and week can be worked out on paper: each sum stands in its comment. Common practice throughout."""
from __future__ import annotations

import pytest
import soak_yards
from soak_yards import rolled

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

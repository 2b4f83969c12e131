"""Yield roll-ups of a yard of six rows whose sums stand by hand in tests/yards.py and here."""
from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
import yards

from calc import results
from calc import yard as calc_yard
from calc.farm import roll_up
from calc.sizes import sizes

NEAR = 1e-9


@pytest.fixture(scope="module")
def found():
    frames, links, as_of = yards.six_logs()
    return roll_up(frames, links, yards.SETTINGS, as_of, {"logs": (6, 6), "events": (14, 12)})


def column(found, name):
    return dict(zip(found.each_log["log"], found.each_log[name], strict=True))


def group(found, by, name):
    table = found.groups
    mine = table[(table["by"] == by) & (table["group"] == name)]
    assert len(mine) == 1
    return mine.iloc[0]


def test_tables_have_the_columns_they_promise(found):
    for name, columns in results.COLUMNS.items():
        assert list(getattr(found, name).columns) == list(columns), name
        assert {kind for kind, _ in columns.values()} <= set(results.KINDS)
    nothing = roll_up({}, {}, yards.SETTINGS, dt.date(2025, 1, 1))
    for name, columns in results.COLUMNS.items():
        assert list(getattr(nothing, name).columns) == list(columns), name


def test_picks_are_shared_by_the_logs_alive_that_day(found):
    # A1: 0.50 alone + 0.60/3 + 0.30 (A3 retired on 20 May, so all of 20 June's) = 1.00
    # G and B1 on 21 June: 8 of G's 10 are left, 0.90 x 8/9 and 0.90 x 1/9
    assert column(found, "picked_kg") == pytest.approx(
        {"A1": 1.0, "A2": 0.2, "A3": 0.2, "G": 0.8, "B1": 0.1, "C": 0.0}, abs=NEAR)


def test_a_cull_without_a_log_is_spread_over_the_picks_of_the_week(found):
    # 0.11 kg on 14 May over 0.50 (10 May) and 0.60 (12 May): a tenth of each. A1: 0.05 + 0.02.
    assert column(found, "culled_kg") == pytest.approx(
        {"A1": 0.07, "A2": 0.02, "A3": 0.02, "G": 0.0, "B1": 0.0, "C": 0.0}, abs=NEAR)
    assert column(found, "marketable_kg")["A1"] == pytest.approx(0.93)


def test_a_log_picked_on_its_last_day_still_shares():
    yard = yards.logs(("A1", 1, "2024-03-01"), ("A2", 1, "2024-03-01"))
    book, links = yards.events(
        ["A1", "A2"], ("2025-05-01", "retired", "A2", None), ("2025-05-01", "picked", "A1 A2", 1.0),
        ("2025-05-02", "picked", "A1 A2", 1.0), ("2025-05-03", "picked", "A2", 1.0))
    out = roll_up({"logs": yard, "events": book}, {"event_links": links}, yards.SETTINGS, dt.date(2025, 6, 1))
    # The last line names only a log that is gone: it still carries it, by Count.
    assert column(out, "picked_kg") == pytest.approx({"A1": 1.5, "A2": 0.5 + 1.0})


def test_a_cull_reaches_back_seven_days_and_no_further():
    yard = yards.logs(("A1", 1, "2024-03-01"), ("A2", 1, "2024-03-01"))
    book, links = yards.events(["A1", "A2"], ("2025-04-30", "picked", "A2", 1.0),
                               ("2025-05-01", "picked", "A1", 1.0), ("2025-05-08", "culled", None, 0.2))
    out = roll_up({"logs": yard, "events": book}, {"event_links": links}, yards.SETTINGS, dt.date(2025, 6, 1))
    assert column(out, "culled_kg") == pytest.approx({"A1": 0.2, "A2": 0.0})


def test_a_cull_long_after_the_picks_stays_with_nobody_and_is_shown():
    yard = yards.logs(("A1", 1, "2024-03-01"))
    book, links = yards.events(["A1"], ("2025-05-01", "picked", "A1", 1.0),
                               ("2025-05-09", "culled", None, 0.3))
    out = roll_up({"logs": yard, "events": book}, {"event_links": links}, yards.SETTINGS, dt.date(2025, 6, 1))
    assert column(out, "culled_kg") == {"A1": 0.0}
    assert out.unallocated.to_dict("records") == [
        {"what": "culled", "weight_kg": 0.3, "rows": 1,
         "why": "names no log, and nothing was picked in the 7 days before"}]
    assert group(out, "yard", "whole yard")["marketable_kg"] == pytest.approx(0.7)


def test_per_log_flushes_soaks_and_dates(found):
    assert column(found, "per_log_kg")["G"] == pytest.approx(0.08)  # 0.8 kg / 10 logs
    # A1 picked 10 and 12 May, then 20 June: 39 days later starts a second bout.
    assert column(found, "flushes") == {"A1": 2, "A2": 1, "A3": 1, "G": 1, "B1": 1, "C": 0}
    # A1: 0.5 + 0.2 + 0.3 less a tenth of 0.7 thrown out, in two bouts. G: 0.8 of 10 logs in one.
    per_flush = column(found, "per_flush_kg")
    assert (per_flush["A1"], per_flush["G"]) == pytest.approx((0.93 / 2, 0.08)) and pd.isna(per_flush["C"])
    # All rows: 2.3 picked less 0.11, over 2 + 1 + 1 + 10 + 1 bouts of a log.
    assert group(found, "yard", "whole yard")["per_flush_kg"] == pytest.approx(2.19 / 15)
    assert column(found, "soaks") == {"A1": 1, "A2": 1, "A3": 0, "G": 0, "B1": 0, "C": 0}
    assert column(found, "first_pick")["A1"] == pd.Timestamp("2025-05-10")
    assert column(found, "last_pick")["A1"] == pd.Timestamp("2025-06-20")
    assert pd.isna(column(found, "first_pick")["C"])


@pytest.mark.parametrize("gap, bouts", [(14, 1), (15, 2)])
def test_a_bout_starts_after_more_than_14_days(gap, bouts):
    yard = yards.logs(("A1", 1, "2024-03-01"))
    second = (pd.Timestamp("2025-05-01") + pd.Timedelta(days=gap)).strftime("%Y-%m-%d")
    book, links = yards.events(["A1"], ("2025-05-01", "picked", "A1", 1.0), (second, "picked", "A1", 1.0))
    out = roll_up({"logs": yard, "events": book}, {"event_links": links}, yards.SETTINGS, dt.date(2025, 6, 1))
    assert column(out, "flushes") == {"A1": bouts}


def test_days_are_read_from_any_column_of_dates():
    """1 January 2025 is 20,089 days after 1 January 1970: 55 x 365 + 14 leap days."""
    assert calc_yard.days(["2025-01-01", None]).tolist() == [55 * 365 + 14, calc_yard.NO_DAY]
    assert calc_yard.days(pd.Series(pd.to_datetime(["2025-01-01", None]))).tolist() == [20089, calc_yard.NO_DAY]


def built(rows, *lines):
    """The yard of some rows of Logs and events."""
    logs = yards.logs(*rows)
    frame, links = yards.events(list(logs["log"]), *lines)
    frames = {"logs": logs, "events": frame}
    return calc_yard.build(frames, calc_yard.diary(frames, {"event_links": links}, int(calc_yard.days(["2025-12-31"])[0])))


def test_a_row_that_loses_logs_more_than_once():
    """By hand: of 10, 2 are retired, 3 sold; then 1 of A and B together is lost, A having 5 and B 5: half a log of each."""
    yard = built([("A", 10, "2024-03-01"), ("B", 5, "2024-03-01")], ("2025-05-01", "retired", "A", 2.0), ("2025-05-02", "sold as log", "A", 3.0),
                 ("2025-05-03", "lost", "A B", 1.0))
    assert yard.alive().tolist() == [4.5, 4.5] and yard.exit_lines == 3
    assert [yard.gone(kind).tolist() for kind in calc_yard.EXITS] == [[2, 0], [0.5, 0.5], [3, 0]]


def test_a_log_shares_the_money_of_its_last_day_and_none_after_it():
    """10 on the day A leaves is for both, 10 a day later for B alone."""
    yard = built([("A", 1, "2024-03-01"), ("B", 1, "2024-03-01")], ("2025-05-01", "retired", "A", None))
    last = int(calc_yard.days(["2025-05-01"])[0])
    by_log, found = calc_yard.share_over_yard(yard, np.array([last, last + 1]), np.array([10.0, 10.0]))
    assert by_log.tolist() == [5.0, 15.0] and found.all()


def test_a_form_counted_by_weight_needs_no_holes():
    """Totem spawn goes between rounds: no holes unless some are typed; plugs get the pattern."""
    logs = yards.logs(("T", 1, "2024-03-01", {"spawn_form": "totem"}), ("U", 1, "2024-03-01", {"spawn_form": "totem", "holes_drilled": 4}),
                      ("P", 1, "2024-03-01"))
    holes = sizes(logs, {"woods": yards.WOODS, "forms": yards.FORMS}, yards.SETTINGS)["holes"].tolist()
    assert holes[:2] == [0, 4] and holes[2] > 0


def test_age_and_numbers_of_logs(found):
    # 1 March 2024 to 31 December 2025: 306 + 364 = 670 days / 30.4375
    assert column(found, "age_months")["A1"] == pytest.approx(670 / 30.4375)
    assert math.isnan(column(found, "age_months")["C"])
    assert column(found, "alive") == {"A1": 1, "A2": 1, "A3": 0, "G": 8, "B1": 1, "C": 0}
    assert column(found, "lost")["G"] == 2 and column(found, "retired")["A3"] == 1


def test_weights_and_holes_of_a_log(found):
    # pi/4 x 0.1^2 x 1 = 0.00785398 m3; wood 1/1.25 of it, 0.00628319 m3 x 600 = 3.769911 kg dry; green wood
    # x 1.5 = 5.654867; bark 0.00157080 x 500 x 1.2 = 0.942478.
    each = found.each_log.iloc[0]
    assert each["volume_m3"] == pytest.approx(0.00785398, rel=1e-6)
    assert each["dry_wood_kg"] == pytest.approx(3.769911, rel=1e-6)
    assert each["green_kg"] == pytest.approx(6.597345, rel=1e-6)
    # Around: pi x 0.10 / 0.05 = 6.28 -> 6 rows; 0.9 m usable / 0.15 = 6 + 1 holes, (0.9 - 0.075) / 0.15 = 5.5
    # -> 5 + 1 in the rows between.
    assert each["holes"] == 3 * 7 + 3 * 6
    assert each["efficiency"] == pytest.approx(1.0 / 3.769911, rel=1e-6)


def test_unknown_wood_or_size_is_not_a_number():
    yard = yards.logs(("A1", 1, "2024-03-01", {"wood": "yew"}), ("A2", 1, "2024-03-01", {"diameter_m": None}),
                      ("A3", 1, "2024-03-01", {"large_end_m": 0.2}))
    frames = {"logs": yard, "woods": yards.WOODS, "forms": yards.FORMS}
    each = roll_up(frames, {}, yards.SETTINGS, dt.date(2025, 1, 1)).each_log
    assert each["volume_m3"].iloc[0] > 0 and math.isnan(each["green_kg"].iloc[0])
    assert math.isnan(each["volume_m3"].iloc[1]) and math.isnan(each["holes"].iloc[1])
    # Smalian: pi/8 x (0.01 + 0.04) x 1
    assert each["volume_m3"].iloc[2] == pytest.approx(math.pi / 8 * 0.05)


def test_groups_by_hand(found):
    wide = group(found, "strain", "wide")  # A1, A2, B1
    assert (wide["logs"], wide["alive"], wide["bearing"], wide["rows"]) == (3, 3, 3, 4)
    assert wide["picked_kg"] == pytest.approx(1.3) and wide["per_log_kg"] == pytest.approx((1.3 - 0.09) / 3)
    cold = group(found, "strain x wood", "cold on white oak")  # A3, G, and C waiting
    assert (cold["logs"], cold["waiting"], cold["alive"]) == (11, 4, 8)
    assert cold["efficiency"] == pytest.approx(1.0 / (11 * 3.769911), rel=1e-6)
    assert group(found, "inoculation year", "2025")["picked_kg"] == pytest.approx(0.1)
    assert group(found, "inoculation year", results.NOT_YET)["waiting"] == 4
    assert group(found, "wood", results.NO_LOG)["picked_kg"] == pytest.approx(0.25)
    whole = group(found, "yard", "whole yard")
    assert whole["picked_kg"] == pytest.approx(2.55) and whole["rows"] == 6


def test_range_over_logs_picked_by_themselves():
    # Yields 0, 1, 2, 3, 4, 5 kg: over six points, the 10th percentile lies 0.1 x 5 = half way from 0 to 1,
    # the 90th at 4.5. The log picked with another is left out.
    rows = [(f"A{i}", 1, "2024-03-01") for i in range(8)]
    names = [r[0] for r in rows]
    lines = [("2025-05-01", "picked", f"A{i}", float(i)) for i in range(1, 6)]
    lines.append(("2025-05-02", "picked", "A6 A7", 50.0))
    book, links = yards.events(names, *lines)
    out = roll_up({"logs": yards.logs(*rows), "events": book}, {"event_links": links}, yards.SETTINGS,
                  dt.date(2025, 6, 1))
    whole = group(out, "yard", "whole yard")
    assert (whole["low_kg"], whole["high_kg"]) == pytest.approx((0.5, 4.5))
    four = [line for line in lines if line[2] != "A5"]
    book, links = yards.events(names, *four)
    out = roll_up({"logs": yards.logs(*rows), "events": book}, {"event_links": links}, yards.SETTINGS,
                  dt.date(2025, 6, 1))
    assert math.isnan(group(out, "yard", "whole yard")["low_kg"])


def test_months_and_seasons(found):
    months = found.months.set_index(found.months["month"].dt.strftime("%Y-%m"))
    assert list(months.index[[0, -1]]) == ["2024-01", "2025-12"] and len(months) == 24
    assert months.loc["2025-05", "picked_kg"] == pytest.approx(1.1)
    assert months.loc["2025-06", "picked_kg"] == pytest.approx(0.30 + 0.90 + 0.25)
    assert months.loc["2025-05", "culled_kg"] == pytest.approx(0.11)
    assert months.loc["2025-04", "picked_kg"] == 0 and months.loc["2025-07", "hours"] == pytest.approx(2)
    assert months["spent"].sum() == pytest.approx(95.0)
    strains = found.months_by_strain
    cold = strains[(strains["strain"] == "cold") & (strains["month"] == "2025-06-01")]
    assert cold["picked_kg"].tolist() == pytest.approx([0.8])
    assert strains["picked_kg"].sum() == pytest.approx(2.55)
    seasons = found.seasons.set_index(["year", "inoculation_year"])
    assert seasons.loc[(2025, "2024"), "picked_kg"] == pytest.approx(2.2)
    assert seasons.loc[(2025, "2024"), "per_log_kg"] == pytest.approx((2.2 - 0.11) / 13)


def test_dates_of_events_stand_in_for_missing_dates():
    yard = yards.logs(("A1", 1, None), ("A2", 1, None))
    book, links = yards.events(["A1", "A2"], ("2024-02-01", "felled", "A1", None),
                               ("2024-03-01", "inoculated", "A1", None))
    frames, links = {"logs": yard, "events": book}, {"event_links": links}
    out = roll_up(frames, links, yards.SETTINGS, dt.date(2024, 2, 15))
    assert column(out, "alive") == {"A1": 1, "A2": 0}
    assert out.each_log["inoculated"].isna().all()
    out = roll_up(frames, links, yards.SETTINGS, dt.date(2024, 3, 15))
    assert out.each_log["inoculated"].iloc[0] == pd.Timestamp("2024-03-01")


def test_as_of_in_the_past_is_what_would_have_been_seen_then():
    frames, links, _ = yards.six_logs()
    then = dt.date(2025, 5, 31)
    early = dict(frames)
    for name, pair, what in (("events", "event_links", "event"), ("costs", "cost_links", "cost")):
        kept = frames[name]["date"] <= pd.Timestamp(then)
        assert kept.tolist() == sorted(kept.tolist(), reverse=True)  # so positions stay as they are
        early[name] = frames[name][kept].reset_index(drop=True)
        links = {**links, pair + " early": links[pair][links[pair][what] < kept.sum()]}
    full = roll_up(frames, links, yards.SETTINGS, then)
    links = {pair: links[pair + " early"] for pair in ("event_links", "cost_links")}
    cut = roll_up(early, links, yards.SETTINGS, then)
    for field in dataclasses.fields(full):
        ours, theirs = getattr(full, field.name), getattr(cut, field.name)
        if field.name == "reconciliation":  # later money is shown as not yet charged
            assert ours["charged"].tolist() == pytest.approx(theirs["charged"].tolist())
            assert ours["dated_later"].tolist() == pytest.approx([34.0, 20.0])  # 22 + 5 + 7; 2 h
        elif field.name == "capital_reconciliation":  # likewise: no life, with one, labour, all
            assert ours["charged"].tolist() == pytest.approx(theirs["charged"].tolist())
            assert ours["dated_later"].tolist() == pytest.approx([34.0, 0.0, 20.0, 54.0])
        elif isinstance(ours, pd.DataFrame):
            pd.testing.assert_frame_equal(ours, theirs)
        else:
            assert repr(ours) == repr(theirs)


def test_answers(found):
    answers = {a.key: a for a in found.answers}
    of_the_season = ("week_", "days_dry")
    assert [key for key in answers if not key.startswith(of_the_season)] == ["logs_alive", "picked", "per_log", "best_pair", "cash_per_weight",
                             "cash_labour_per_weight", "capital_per_weight", "life_per_weight", "breakeven",
                             "yard_profit", "plan_profit", "spent", "not_charged", "owed", "hours", "rows_used"]
    assert answers["logs_alive"].value == 11 and answers["picked"].value == pytest.approx(2.55)
    assert answers["best_pair"].text == "wide on white oak"
    assert answers["cash_per_weight"].value == pytest.approx(95.0 / 2.44)  # all spent / (2.55 - 0.11)
    assert answers["spent"].value == pytest.approx(95.0) and answers["hours"].value == pytest.approx(3.5)
    assert answers["not_charged"].value == pytest.approx(5.0)  # a cost for Z9, which is not on Logs
    assert answers["rows_used"].value == pytest.approx(18 / 20)
    assert answers["rows_used"].text == "events 12 of 14"
    assert all(a.kind in results.KINDS for a in found.answers)

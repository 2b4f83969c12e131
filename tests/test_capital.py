"""The capital view: hand sums, the value of a thing year by year, and for any yard that nothing is lost."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import test_costs
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import rollup_capital, rollup_cost
from calc.economics import real_rate
from calc.farm import roll_up
from calc.yard import build, days, diary
from workbook_template import refresh
from workbook_template.build import build as build_workbook
from workbook_template.ports.closed_file import ClosedFile
from workbook_template.yard import read_folder

FLAT = {**yards.SETTINGS, "interest": 0.0, "inflation": 0.0}
TEN = {**yards.SETTINGS, "interest": 0.10, "inflation": 0.0}


def bought(*rows):
    """Costs of (date, amount, logs or None, life, salvage) and their links; logs named by position."""
    frame = pd.DataFrame(
        [
            {
                "row": 6 + i,
                "date": yards.day(r[0]),
                "item": f"thing {i}",
                "amount": r[1],
                "shared": r[2] is None,
                "category": "tool",
                "life_years": r[3],
                "salvage": r[4],
            }
            for i, r in enumerate(rows)
        ]
    )
    pairs = [(i, log) for i, r in enumerate(rows) for log in (r[2] or ()) if log is not None]
    return frame, pd.DataFrame(pairs, columns=["cost", "log"])


def roll(yard, as_of, *things, events=None, chosen=FLAT):
    frame, links = bought(*things)
    frames = {"logs": yard, "costs": frame}
    more = {"cost_links": links}
    if events:
        frames["events"], more["event_links"] = events
    return roll_up(frames, more, chosen, dt.date.fromisoformat(as_of))


def carried(out, name="ownership"):
    return dict(zip(out.each_log["log"], out.each_log[name], strict=True))


def whole(out):
    return out.capital_reconciliation.set_index("part").loc["capital view"]


def closes(out):
    return out.capital_reconciliation["difference"].abs().max() < 0.005


def test_straight_line_by_hand():
    # No interest: 7305 over 20 years of 365.25 days is 1 a day. 1 Jan to 10 Jan 2025 is 10 days.
    # A (1 log) stands all 10 days; B (3 logs) from 6 Jan: 5 days alone, then 5 days over 4 logs.
    yard = yards.logs(("A", 1, "2024-06-01"), ("B", 3, "2025-01-06"))
    out = roll(yard, "2025-01-10", ("2025-01-01", 7305.0, None, 20, 0.0))
    assert carried(out) == pytest.approx({"A": 5 + 5 / 4, "B": 15 / 4})
    assert carried(out, "cash") == pytest.approx({"A": 7305, "B": 0})
    assert carried(out, "running") == pytest.approx({"A": 0, "B": 0})
    assert whole(out).tolist() == pytest.approx([7305, 0, 10, 7295, 0, 0, 0, 0])


def test_a_log_that_leaves_is_charged_through_its_last_day():
    # 1 a day over two logs: 0.5 each through 4 Jan, then all to B.
    yard = yards.logs(("A", 1, "2024-06-01"), ("B", 1, "2024-06-01"))
    events = yards.events(["A", "B"], ("2025-01-04", "retired", "A", None))
    out = roll(yard, "2025-01-10", ("2025-01-01", 7305.0, None, 20, 0.0), events=events)
    assert carried(out) == pytest.approx({"A": 2, "B": 2 + 6})


def test_a_thing_for_named_logs_is_theirs_while_they_stand():
    # A and C named: 1 a day; A stands from 1 Jan, C from 3 Jan: 2 days of A alone, 8 days halved; B none.
    yard = yards.logs(("A", 1, "2024-06-01"), ("B", 5, "2024-06-01"), ("C", 1, "2025-01-03"))
    out = roll(yard, "2025-01-10", ("2025-01-01", 7305.0, (0, 2), 20, 0.0))
    assert carried(out) == pytest.approx({"A": 2 + 4, "B": 0, "C": 4})
    assert closes(out)


def test_bought_before_any_log():
    # 1 a day from 1 Jan; the log comes on 8 Jan and carries the 7 days before it, then its own.
    yard = yards.logs(("A", 2, "2025-01-08"))
    before = roll(yard, "2025-01-05", ("2025-01-01", 7305.0, None, 20, 0.0))
    assert carried(before) == {"A": 0} and before.capital_items["waiting"].tolist() == pytest.approx([5])
    assert whole(before).tolist() == pytest.approx([7305, 0, 0, 7300, 0, 5, 0, 0])
    assert carried(roll(yard, "2025-01-10", ("2025-01-01", 7305.0, None, 20, 0.0))) == pytest.approx(
        {"A": 10}
    )


def test_a_life_that_ends_within_a_day():
    # 0.01 years are 3.6525 days: 3.6525 at 1 a day, the last one for 0.6525 of a day.
    yard = yards.logs(("A", 1, "2024-06-01"))
    for as_of, charge in (("2025-01-03", 3.0), ("2025-01-04", 3.6525), ("2025-03-01", 3.6525)):
        out = roll(yard, as_of, ("2025-01-01", 3.6525, None, 0.01, 0.0))
        assert carried(out) == pytest.approx({"A": charge}), as_of
        assert closes(out)


def test_published_yearly_charge_is_what_a_year_charges():
    # Engineering-economy text, section 6.2: 50,000, salvage 5,000, 5 years, 10 %: 12,371 a year.
    # A life of 5 x 365.25 days; 1,461 days from 1 Jan 2021 are exactly 4 of them.
    yard = yards.logs(("A", 1, "2020-06-01"))
    out = roll(yard, "2024-12-31", ("2021-01-01", 50000.0, None, 5, 5000.0), chosen=TEN)
    assert carried(out)["A"] / 4 == pytest.approx(12371, abs=0.5)
    item = out.capital_items.iloc[0]
    # Year by year by hand, 12,370.887 a year: 50000 x 1.1 - c = 42629.113; x 1.1 - c = 34521.138;
    # x 1.1 - c = 25602.365; x 1.1 - c = 15791.714. Interest is 10 % of the four values a year began with:
    # 5000 + 4262.911 + 3452.114 + 2560.236 = 15275.261.
    assert item["held"] == pytest.approx(15791.714, abs=0.01)
    assert item["interest"] == pytest.approx(15275.261, abs=0.01)
    assert closes(out)


def test_at_the_end_of_its_life_the_salvage_is_left():
    yard = yards.logs(("A", 1, "2020-06-01"))
    out = roll(yard, "2031-01-01", ("2021-01-01", 50000.0, None, 5, 5000.0), chosen=TEN)
    item = out.capital_items.iloc[0]
    assert item["held"] == pytest.approx(5000) and item["words"] == "past its life"
    # 5 x 12,370.887 + 5000 - 50000
    assert item["interest"] == pytest.approx(16854.43, abs=0.01)
    assert closes(out)


def test_the_real_rate_is_used():
    yard = yards.logs(("A", 1, "2020-06-01"))
    chosen = {**yards.SETTINGS, "interest": 0.08, "inflation": 0.03}
    out = roll(yard, "2021-06-01", ("2021-01-01", 1000.0, None, 1, 1000.0), chosen=chosen)
    # Price = salvage: the yearly charge is the interest alone, 1.08 / 1.03 - 1 = 4.8544 % of 1000.
    assert out.capital_items["yearly_charge"].tolist() == pytest.approx([48.5437], abs=0.0001)
    assert real_rate(0.08, 0.03) == pytest.approx(0.0485437, abs=1e-7)


@pytest.mark.parametrize(("life", "salvage"), [(0.0, 0.0), (-2.0, 0.0), (5.0, 200.0), (5.0, -1.0)])
def test_a_life_that_cannot_be_used_counts_in_full(life, salvage):
    yard = yards.logs(("A", 1, "2020-06-01"))
    out = roll(yard, "2025-01-01", ("2021-01-01", 100.0, None, life, salvage), chosen=TEN)
    assert carried(out, "running") == {"A": 100} and carried(out, "capital") == {"A": 100}
    assert out.capital_items["words"].str.contains("counted in full").all()
    assert out.capital_items["price"].tolist() == [100.0] and out.capital_items["salvage"].tolist() == [salvage]
    assert out.capital_reconciliation["part"].tolist() == ["without a life", "with a life", "labour", "capital view"]
    assert closes(out)


def test_a_thing_for_a_log_not_on_logs_and_one_bought_later():
    yard = yards.logs(("A", 1, "2024-06-01"))
    out = roll(yard, "2025-01-10", ("2025-01-01", 7305.0, (), 20, 0.0), ("2025-06-01", 50.0, None, 5, 0.0))
    assert whole(out).tolist() == pytest.approx([7355, 0, 0, 7295, 50, 0, 10, 0])
    assert out.capital_items["words"].tolist() == [
        "names a log that is not on Logs",
        "bought after the as-of day",
    ]


def test_what_no_known_log_carries_is_in_the_yards_cost():
    """A pick of 1 kg, 30 of cash and half an hour at 10 name a log that is not on Logs: 10 + 30 of cash and 5 of labour over 3 kg."""
    yard = yards.logs(("A", 1, "2024-06-01"))
    book = yards.events(["A"], ("2025-01-02", "picked", "A", 2.0), ("2025-01-02", "picked", "Q7", 1.0, {"minutes": 30}))
    spent, links = bought(("2025-01-01", 10.0, (0,), np.nan, 0.0), ("2025-01-01", 30.0, (), np.nan, 0.0))
    out = roll_up({"logs": yard, "costs": spent, "events": book[0]}, {"event_links": book[1], "cost_links": links}, TEN,
                  dt.date(2025, 2, 1))
    table = out.cost_views.set_index(["by", "group"])
    names = ["marketable_kg", "cash", "running", "labour", "total_capital"]
    assert table.loc[("yard", "whole yard"), names].tolist() == pytest.approx([3, 40, 40, 5, 45])
    assert table.loc[("wood", "(no log known)"), names].tolist() == pytest.approx([1, 30, 30, 5, 35])
    assert table.loc[("yard", "whole yard"), "labour_per_kg"] == pytest.approx(45 / 3)
    headline = out.groups[out.groups["by"] == "yard"].iloc[0]
    assert headline["cash_labour_per_kg"] == pytest.approx(45 / 3)


def test_a_log_without_a_date_that_was_picked_counts_as_one_at_work():
    yard = yards.logs(("A", 2, None), ("B", 1, None))
    book = yards.events(["A", "B"], ("2025-01-02", "picked", "A", 2.0))
    out = roll(yard, "2025-02-01", ("2025-01-01", 10.0, (0,), np.nan, 0.0), events=book)
    row = out.cost_views[out.cost_views["by"] == "yard"].iloc[0]
    assert row["logs"] == 2 and row["cash_per_log"] == pytest.approx(5)
    assert out.each_log["capital_per_kg"].isna().tolist() == [False, True]


def test_groups_place_and_own_columns():
    yard = yards.logs(
        ("A", 1, "2024-06-01", {"place": "North", "extra:Tag": "red"}),
        ("B", 3, "2024-06-01", {"place": "South"}),
        ("C", 1, None, {"place": "North"}),
    )
    yard["extra:Tag"] = ["red", None, "red"]
    yard["extra:Note"] = [None, None, None]
    book = yards.events(["A", "B"], ("2025-01-02", "picked", "A B", 2.0, {"minutes": 60}))
    out = roll(
        yard,
        "2025-01-04",
        ("2025-01-01", 7305.0, None, 20, 0.0),
        ("2025-01-02", 8.0, None, np.nan, 0.0),
        events=book,
    )
    table = out.cost_views.set_index(["by", "group"])
    assert set(out.cost_views["by"]) == {
        "strain",
        "wood",
        "strain x wood",
        "inoculation year",
        "yard",
        "place",
        "Tag",
    }
    # 4 days at 1 and 8 of cash over 4 logs, an hour at 10 over 4 logs; each log gave 0.5 kg.
    north = table.loc[("place", "North")]
    assert north[["logs", "running", "labour", "ownership", "total_capital"]].tolist() == pytest.approx(
        [1, 2, 2.5, 1, 5.5]
    )
    assert north[["cash_per_log", "labour_per_log", "capital_per_log"]].tolist() == pytest.approx(
        [7313 / 4, 7313 / 4 + 2.5, 5.5]
    )
    assert north["capital_per_kg"] == pytest.approx(11)
    assert table.loc[("Tag", "red"), "ownership"] == pytest.approx(1)
    assert table.loc[("Tag", "(not given)"), "ownership"] == pytest.approx(3)
    assert table.loc[("yard", "whole yard"), "capital_per_kg"] == pytest.approx((4 + 8 + 10) / 2)


def test_cost_over_the_expected_life():
    frames, links, as_of = yards.six_logs()
    out = roll_up(frames, links, yards.SETTINGS, as_of)
    row = out.cost_views[out.cost_views["by"] == "yard"].iloc[0]
    keep = out.keep_retire
    assert row["cash_to_come"] + row["labour_to_come"] == pytest.approx(keep["cost_to_come"].sum())
    assert row["to_come_kg"] == pytest.approx(
        out.expected.loc[out.expected["by"] == "yard", "expected_kg"].sum()
    )
    cost = row["total_labour"] + row["cash_to_come"] + row["labour_to_come"]
    assert row["labour_life_per_kg"] == pytest.approx(cost / (row["marketable_kg"] + row["to_come_kg"]))
    assert row["cash_life_per_kg"] < row["cash_per_kg"]


def test_what_lasts_goes_on_costing_the_yard_the_same_however_many_logs_share_it():
    """7305 over 20 years without interest is 365.25 a year, for one log or for four."""
    to_come = []
    for logs in (1, 4):
        out = roll(yards.logs(("A", logs, "2024-06-01")), "2025-01-10", ("2025-01-01", 7305.0, None, 20, 0.0))
        table = out.cost_views
        to_come.append(table.loc[table["by"] == "yard", "ownership_to_come"].iloc[0])
    assert to_come[0] == pytest.approx(to_come[1]) and 365.25 < to_come[0] < 20 * 365.25


def frames_of(case, lives):
    names, rows, lines, money, _ = case
    book, event_links = yards.events(names, *lines)
    spent, cost_links = yards.costs(names, *money)
    frames = {
        "logs": yards.logs(*rows),
        "events": book,
        "costs": test_costs.with_lives(spent, lives),
        "helpers": test_costs.HELPERS,
    }
    return frames, {"event_links": event_links, "cost_links": cost_links}


def views_of(frames, links, chosen, as_of):
    """The capital view and labour alone, without the rest of the refresh."""
    day = int(days([as_of])[0])
    book = diary(frames, links, day)
    yard = build(frames, book)
    return (
        rollup_capital.capital(frames, links, yard, chosen),
        rollup_cost.labour(frames, book, yard, 10.0),
        day,
    )


INTEREST, INFLATION = st.floats(-0.05, 0.4), st.floats(-0.05, 0.3)


@settings(max_examples=200, deadline=None)
@given(test_costs.random_yards(), test_costs.LIVES, INTEREST, INFLATION)
def test_identity_for_any_yard(case, lives, nominal, inflation):
    frames, links = frames_of(case, lives)
    chosen = {"interest": nominal, "inflation": inflation}
    found, labour, day = views_of(frames, links, chosen, case[-1])
    table = rollup_capital.reconcile(found, labour, day).set_index("part")
    assert table["difference"].abs().max() < 0.005
    spent = sum(m[1] for m in case[3])
    assert table.loc[["without a life", "with a life"], "spent"].sum() == pytest.approx(spent, abs=1e-6)
    items, held = found.items, rollup_capital.held(found.items, day)
    bought = ~items.later
    assert (held[~bought] == 0).all()
    if nominal >= inflation:
        assert (held[bought] <= items.price[bought] + 0.005).all()
        assert (held[bought] >= items.salvage[bought] - 0.005).all()
        assert found.ownership.min(initial=0) > -1e-6


def test_day_by_day_it_closes_through_a_whole_life():
    yard = yards.logs(("A", 1, "2025-01-03"), ("B", 4, "2025-02-01"))
    frame, links = bought(("2025-01-01", 90.0, None, 0.3, 20.0), ("2025-01-20", 30.0, (1,), 0.17, 0.0))
    charged = []
    for day in pd.date_range("2024-12-25", "2025-06-01"):
        found, labour, at = views_of({"logs": yard, "costs": frame}, {"cost_links": links}, TEN, day)
        table = rollup_capital.reconcile(found, labour, at)
        assert table["difference"].abs().max() < 0.005, day
        charged.append(table["charged"].iloc[-1])
    assert np.diff(charged).min() >= -1e-9 and charged[0] == 0 and charged[-1] > 90 - 20 + 30


def test_held_and_interest_without_a_rate_and_with_a_tiny_one():
    costs, links = bought(("2025-01-01", 400.0, None, 4, 0.0))
    at = int(days(["2026-12-31"])[0])  # 730 of 1461 days
    plain = rollup_capital.items_of({"costs": costs}, {"cost_links": links}, at, 0.0)
    tiny = rollup_capital.items_of({"costs": costs}, {"cost_links": links}, at, 1e-12)
    assert rollup_capital.held(plain, at)[0] == pytest.approx(400 * (1 - 730 / 1461))
    assert rollup_capital.interest(plain, at)[0] == 0
    assert rollup_capital.held(tiny, at)[0] == pytest.approx(rollup_capital.held(plain, at)[0], abs=1e-6)
    assert rollup_capital.interest(tiny, at)[0] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("name", "profile"), [("hollow_us", "us"), ("brook_metric", "metric")])
def test_the_example_yards_close(name, profile, tmp_path):
    path = tmp_path / f"{name}.xlsx"
    build_workbook(path, read_folder(Path(__file__).resolve().parents[1] / "examples" / name, profile), rows=10)
    out = refresh.work_out(refresh.read_inputs(ClosedFile(path), dt.date(2026, 11, 20)))
    assert closes(out) and out.reconciliation["difference"].abs().max() < 0.005
    assert (out.capital_items["held"] > 0).any() and whole(out)["interest"] > 0
    stock = out.dried_stock
    assert (stock["dried_kg"] - stock["taken_kg"] - stock["left_kg"]).abs().max() < 1e-6 or not len(stock)
    by_hand = out.each_log[["running", "labour", "ownership"]].sum().sum()
    assert whole(out)["charged"] == pytest.approx(by_hand, abs=0.005)


def test_twenty_thousand_logs_and_a_thousand_things():
    rng = np.random.default_rng(4)
    logs, things = 20_000, 1_000
    start = np.datetime64("2015-01-01", "ns")

    def when(size, span):
        return start + rng.integers(0, span, size).astype("timedelta64[D]")

    yard = pd.DataFrame(
        {
            "row": np.arange(logs) + 6,
            "log": [f"A{i}" for i in range(logs)],
            "wood": "white oak",
            "strain": rng.choice(["wide", "cold"], logs),
            "diameter_m": 0.1,
            "length_m": 1.0,
            "count": rng.integers(1, 4, logs),
            "inoculated": when(logs, 3000),
        }
    )
    price = rng.uniform(10, 9000, things).round(2)
    spent = pd.DataFrame(
        {
            "date": when(things, 4000),
            "amount": price,
            "shared": True,
            "category": "tool",
            "life_years": rng.uniform(0.5, 20, things),
            "salvage": price * rng.uniform(0, 1, things),
        }
    )
    out = roll_up({"logs": yard, "costs": spent}, {}, TEN, dt.date(2026, 1, 1))
    assert closes(out)
    assert whole(out)["charged"] > 5e4

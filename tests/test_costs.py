"""Costs charged to logs: hand sums, and for any yard that nothing is lost or charged twice."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import results, rollup_cost
from calc.farm import roll_up
from calc.yard import build, days, diary


@pytest.fixture(scope="module")
def found():
    frames, links, as_of = yards.six_logs()
    return roll_up(frames, links, yards.SETTINGS, as_of)


def by_log(found, name):
    return dict(zip(found.each_log["log"], found.each_log[name], strict=True))


def test_cash_by_hand(found):
    # 30 before any log: A1, A2, A3, the next inoculated, 10 each. 12 for A1 and G by Count: 12/11 and 120/11.
    # 26 over 3 + 10 logs: 2 each. 22 over A1, A2, G's 8, B1 = 11 logs: 2 each.
    assert by_log(found, "cash") == pytest.approx({
        "A1": 10 + 12 / 11 + 2 + 2, "A2": 10 + 2 + 2, "A3": 10 + 2, "G": 120 / 11 + 20 + 16, "B1": 2, "C": 0})


def test_labour_by_hand(found):
    # 1 h over A1 A2 A3; 0.5 h on A1; 2 h over the 11 logs alive on 1 July 2025; 10 an hour.
    hours = {"A1": 1 / 3 + 0.5 + 2 / 11, "A2": 1 / 3 + 2 / 11, "A3": 1 / 3, "G": 16 / 11, "B1": 2 / 11,
             "C": 0}
    assert by_log(found, "labour_hours") == pytest.approx(hours)
    assert by_log(found, "labour") == pytest.approx({log: 10 * h for log, h in hours.items()})


def test_cost_of_a_weight(found):
    cash = 10 + 12 / 11 + 2 + 2
    labour = 10 * (1 / 3 + 0.5 + 2 / 11)
    assert by_log(found, "cash_per_kg")["A1"] == pytest.approx(cash / 0.93)
    assert by_log(found, "cash_labour_per_kg")["A1"] == pytest.approx((cash + labour) / 0.93)
    assert np.isnan(by_log(found, "cash_per_kg")["C"])


def test_reconciliation_by_hand(found):
    table = found.reconciliation.set_index("view")
    assert table.loc["cash"].drop("difference").tolist() == pytest.approx([102, 90, 12, 7, 0, 5])
    assert table.loc["labour"].drop("difference").tolist() == pytest.approx([35, 35, 0, 0, 0, 0])
    assert table["difference"].abs().max() < 0.005


def test_cash_and_labour_by_category(found):
    table = found.costs.set_index(["view", "category"])
    assert table.loc[("cash", "tool"), "amount"] == 30 and table.loc[("cash", "other"), "amount"] == 5
    assert table.loc[("labour", "worked"), "hours"] == pytest.approx(2)
    assert table.loc["cash"]["share"].sum() == pytest.approx(1)


def test_money_spent_before_any_log_waits_for_the_first():
    yard = yards.logs(("A1", 2, "2025-03-01"), ("A2", 1, "2025-03-01"), ("A3", 1, "2025-04-01"))
    spent, links = yards.costs([], ("2025-01-10", 30.0, None))
    out = roll_up({"logs": yard, "costs": spent}, {"cost_links": links}, yards.SETTINGS, dt.date(2025, 2, 1))
    assert out.reconciliation.set_index("view").loc["cash", "no_log_yet"] == 30
    assert by_log(out, "cash") == {"A1": 0, "A2": 0, "A3": 0}
    out = roll_up({"logs": yard, "costs": spent}, {"cost_links": links}, yards.SETTINGS, dt.date(2025, 5, 1))
    assert by_log(out, "cash") == pytest.approx({"A1": 20, "A2": 10, "A3": 0})


def test_a_log_is_charged_through_its_last_day():
    yard = yards.logs(("A1", 1, "2025-03-01"), ("A2", 1, "2025-03-01"))
    book, links = yards.events(["A1", "A2"], ("2025-05-01", "retired", "A1", None))
    spent, _ = yards.costs([], ("2025-03-01", 2.0, None), ("2025-05-01", 4.0, None),
                           ("2025-05-02", 8.0, None))
    out = roll_up({"logs": yard, "events": book, "costs": spent}, {"event_links": links}, yards.SETTINGS,
                  dt.date(2025, 6, 1))
    assert by_log(out, "cash") == pytest.approx({"A1": 1 + 2, "A2": 1 + 2 + 8})


def test_helpers_wages():
    yard = yards.logs(("A1", 1, "2025-03-01"))
    book, links = yards.events(
        ["A1"], ("2025-05-01", "picked", "A1", 1.0, {"minutes": 60}),
        ("2025-05-02", "picked", "A1", 1.0, {"minutes": 60, "who": "Helper 1"}),
        ("2025-05-03", "picked", "A1", 1.0, {"minutes": 60, "who": "helper 2"}),
        ("2025-05-04", "picked", "A1", 1.0, {"minutes": 60, "who": "Helper 3"}))
    helpers = pd.DataFrame({"helper": ["Helper 1", "Helper 2", "Helper 3"],
                            "helper_wage": [14.0, 14.0, np.nan], "paid_in_costs": [None, "yes", "no"]})
    out = roll_up({"logs": yard, "events": book, "helpers": helpers}, {"event_links": links}, yards.SETTINGS,
                  dt.date(2025, 6, 1))
    # 10 (own) + 14 + 0 (paid through Costs, hours still shown) + 10 (no wage of his own)
    assert by_log(out, "labour") == pytest.approx({"A1": 34})
    assert by_log(out, "labour_hours") == pytest.approx({"A1": 4})


def test_numbers_of_logs_leave_in_proportion_and_never_below_nothing():
    # 3 of A (4) and B (2): 2 and 1. Then 5 more of A: only 2 are left. Then all of B.
    yard = yards.logs(("A", 4, "2025-01-01"), ("B", 2, "2025-01-01"))
    book, links = yards.events(["A", "B"], ("2025-02-01", "lost", "A B", 3.0),
                               ("2025-03-01", "retired", "A", 5.0), ("2025-04-01", "sold as log", "B", None))
    out = roll_up({"logs": yard, "events": book}, {"event_links": links}, yards.SETTINGS, dt.date(2025, 6, 1))
    assert by_log(out, "lost") == pytest.approx({"A": 2, "B": 1})
    assert by_log(out, "retired") == pytest.approx({"A": 2, "B": 0})
    assert by_log(out, "sold_as_log") == pytest.approx({"A": 0, "B": 1})
    assert by_log(out, "alive") == {"A": 0, "B": 0}
    balance = out.balances[0]
    # 6 came; 0 alive, 5 said retired, 3 lost, 1 sold: 3 more left than there were.
    assert (balance.in_value, balance.unexplained, balance.closes) == (6, -3, False)


KINDS = ("picked", "culled", "retired", "lost", "sold as log", "worked", "soaked", "inoculated", "dried")
FIRST = dt.date(2023, 1, 1)


@st.composite
def random_yards(draw):
    names = [f"A{i}" for i in range(draw(st.integers(1, 7)))]
    when = st.integers(0, 900).map(lambda d: (FIRST + dt.timedelta(days=d)).isoformat())
    which = st.one_of(st.none(), st.just("Z9"), st.lists(st.sampled_from(names), min_size=1, unique=True).map(
        " ".join))
    rows = [(name, draw(st.integers(1, 9)), draw(st.one_of(st.none(), when)),
             {"strain": draw(st.sampled_from(["wide", "cold", None])), "felled": pd.NaT}) for name in names]
    some = st.one_of(st.none(), st.integers(0, 12).map(float))
    more = st.fixed_dictionaries({"minutes": some, "who": st.sampled_from([None, "Helper 1", "Helper 2"])})
    line = st.tuples(when, st.sampled_from(KINDS), which, some, more)
    lines = draw(st.lists(line, min_size=1, max_size=14))
    money = draw(st.lists(st.tuples(when, st.integers(-500, 9000).map(lambda c: c / 100), which), min_size=1,
                          max_size=10))
    return names, rows, lines, money, FIRST + dt.timedelta(days=draw(st.integers(0, 1000)))


HELPERS = pd.DataFrame({"helper": ["Helper 1", "Helper 2"], "helper_wage": [14.0, 14.0],
                        "paid_in_costs": ["no", "yes"]})


# Life and salvage as a share of the price, by line of Costs; NaN where it does not last.
LIVES = st.lists(st.tuples(st.one_of(st.just(float("nan")), st.floats(0.01, 12)), st.one_of(st.just(0.0), st.floats(0, 1))),
                 min_size=10, max_size=10)


def with_lives(spent, lives):
    spent = spent.copy()
    spent["life_years"] = [life for life, _ in lives][: len(spent)]
    spent["salvage"] = [share * max(a, 0.0) for (_, share), a in zip(lives, spent["amount"], strict=False)]
    return spent


def roll(names, rows, lines, money, as_of, lives=None):
    book, event_links = yards.events(names, *lines)
    spent, cost_links = yards.costs(names, *money)
    spent = with_lives(spent, lives) if lives else spent
    frames = {"logs": yards.logs(*rows), "events": book, "costs": spent, "woods": yards.WOODS,
              "forms": yards.FORMS, "helpers": HELPERS}
    return roll_up(frames, {"event_links": event_links, "cost_links": cost_links}, yards.SETTINGS, as_of)


@settings(max_examples=40, deadline=None)
@given(random_yards(), LIVES)
def test_identities_for_any_yard(case, lives):
    names, rows, lines, money, as_of = case
    out = roll(*case, lives)
    table = out.reconciliation.set_index("view")
    assert table["difference"].abs().max() < 0.005
    assert table.loc["cash", "spent"] == pytest.approx(sum(m[1] for m in money), abs=1e-6)
    wages = {None: 10.0, "Helper 1": 14.0, "Helper 2": 0.0}
    paid = sum((x["minutes"] or 0) / 60 * wages[x["who"]] for *_, x in lines)
    assert table.loc["labour", "spent"] == pytest.approx(paid, abs=1e-6)
    assert table.loc["cash", "charged"] == pytest.approx(out.each_log["cash"].sum(), abs=1e-6)
    seen = [line for line in lines if line[0] <= as_of.isoformat()]
    for what in ("picked", "culled"):
        total = sum(line[3] or 0 for line in seen if line[1] == what)
        lost = out.unallocated.loc[out.unallocated["what"] == what, "weight_kg"].sum()
        assert out.each_log[f"{what}_kg"].sum() + lost == pytest.approx(total, abs=1e-6)
        assert out.months[f"{what}_kg"].sum() == pytest.approx(total, abs=1e-6)
        assert out.seasons[f"{what}_kg"].sum() == pytest.approx(total, abs=1e-6)
        assert out.months_by_strain[f"{what}_kg"].sum() == pytest.approx(total, abs=1e-6)
    sums = ["logs", "waiting", "alive", "bearing", "picked_kg", "culled_kg", "marketable_kg", "cash",
            "labour_hours", "labour", "total"]
    whole = out.groups[out.groups["by"] == "yard"].iloc[0]
    for by in ("strain", "wood", "strain x wood", "inoculation year"):
        mine = out.groups.loc[out.groups["by"] == by, sums].sum()
        assert mine.tolist() == pytest.approx(whole[sums].tolist(), abs=1e-6), by
    _check_views(out)
    _check_years(out, money, as_of)
    left = out.each_log[["alive", "retired", "lost", "sold_as_log"]]
    assert (left >= 0).all(axis=None)
    came = out.balances[0].in_value
    assert left["alive"].sum() <= came + 1e-6
    assert (left.sum(axis=1) <= out.each_log["count"] + 1e-6).all()


def _check_views(out):
    """The three views close, and each grouping of them adds up to the yard."""
    capital = out.capital_reconciliation.set_index("part")
    assert capital["difference"].abs().max() < 0.005
    assert capital.loc["capital view", "spent"] == pytest.approx(out.reconciliation["spent"].sum(), abs=1e-6)
    assert capital.loc["capital view", "charged"] == pytest.approx(out.each_log["capital"].sum(), abs=1e-6)
    sums = ["logs", "marketable_kg", "to_come_kg", "cash", "running", "labour", "ownership", "total_capital"]
    whole = out.cost_views[out.cost_views["by"] == "yard"].iloc[0]
    for by in ("strain", "wood", "strain x wood", "inoculation year", "place"):
        mine = out.cost_views.loc[out.cost_views["by"] == by, sums].sum()
        assert mine.tolist() == pytest.approx(whole[sums].tolist(), abs=1e-6), by
    spent = out.reconciliation["spent"] - out.reconciliation["dated_later"]
    assert whole["total_labour"] == pytest.approx(spent.sum(), abs=1e-6)  # all money and hours, whoever carries them


def _check_years(out, money, as_of):
    """Every line of money stands in one year of the flow."""
    seen = sum(m[1] for m in money if m[0] <= as_of.isoformat())
    assert out.yard_flow["spent"].sum() == pytest.approx(seen, abs=1e-6)
    labour = out.reconciliation.set_index("view").loc["labour"]
    assert out.yard_flow["labour"].sum() == pytest.approx(labour["spent"] - labour["dated_later"], abs=1e-6)
    assert out.yard_flow["year"].diff().dropna().eq(1).all()


@settings(max_examples=12, deadline=None)
@given(random_yards(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(case, random):
    names, rows, lines, money, as_of = case
    mixed = (list(rows), list(lines), list(money))
    for part in mixed:
        random.shuffle(part)
    one, other = roll(*case), roll([r[0] for r in mixed[0]], *mixed, as_of)
    ours = one.each_log.drop(columns="row").sort_values("log").reset_index(drop=True)
    theirs = other.each_log.drop(columns="row").sort_values("log").reset_index(drop=True)
    pd.testing.assert_frame_equal(ours, theirs, rtol=1e-9, atol=1e-9)
    pd.testing.assert_frame_equal(one.groups, other.groups, rtol=1e-9, atol=1e-9)
    pd.testing.assert_frame_equal(one.months, other.months, rtol=1e-9, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(random_yards())
def test_shared_costs_equal_a_plain_loop_over_logs_and_costs(case):
    """The running sums against the rule told log by log and cost by cost."""
    names, rows, lines, money, as_of = case
    money = [(date, amount, None) for date, amount, _ in money]
    book, event_links = yards.events(names, *lines)
    day = int(np.datetime64(as_of, "D").astype(int))
    yard = build({"logs": yards.logs(*rows)}, diary({"events": book}, {"event_links": event_links}, day))
    charged = rollup_cost.cash({"costs": yards.costs(names, *money)[0]}, {}, yard).by_log
    every, slow = np.arange(len(names)), np.zeros(len(names))
    for date, amount, _ in money:
        on = int(days([pd.Timestamp(date)])[0])
        if on > day:
            continue
        weight = yard.alive_at(every, np.full(len(names), on))
        if weight.sum() == 0:
            later = [b for b in yard.inoculated if on < b <= day]
            weight = np.where(yard.inoculated == min(later), yard.count, 0.0) if later else weight
        if weight.sum() > 0:
            slow += amount * weight / weight.sum()
    assert charged.tolist() == pytest.approx(slow.tolist(), abs=1e-6)


def test_a_hundred_thousand_logs():
    """100,000 logs, 500,000 events, 2,000 costs: the identities still hold."""
    rng = np.random.default_rng(7)
    logs, lines, bills = 100_000, 500_000, 2_000
    start = np.datetime64("2020-01-01", "ns")

    def when(size, span):
        return start + rng.integers(0, span, size).astype("timedelta64[D]")

    yard = pd.DataFrame({
        "row": np.arange(logs) + 6, "log": [f"A{i}" for i in range(logs)],
        "wood": rng.choice(["white oak", "yew"], logs), "strain": rng.choice(["wide", "cold", "warm"], logs),
        "diameter_m": rng.uniform(0.08, 0.16, logs), "length_m": 1.0, "count": rng.integers(1, 4, logs),
        "inoculated": when(logs, 1500)})
    kinds = rng.choice(["picked", "culled", "soaked", "worked", "retired", "lost"], lines,
                       p=[0.6, 0.05, 0.2, 0.1, 0.03, 0.02])
    named = (kinds != "worked") & ((kinds != "culled") | (rng.random(lines) < 0.5))
    book = pd.DataFrame({
        "date": when(lines, 2200), "event": kinds, "minutes": rng.integers(0, 20, lines).astype(float),
        "amount": np.where(np.isin(kinds, ("retired", "lost")), 1.0, rng.uniform(0.01, 0.3, lines)),
        "who": None, "whole_yard": ~named})
    at = np.flatnonzero(named)
    links = pd.DataFrame({"event": np.concatenate((at, at)),
                          "log": rng.integers(0, logs, 2 * len(at))}).drop_duplicates()
    spent = pd.DataFrame({"date": when(bills, 2300), "amount": rng.uniform(1, 900, bills), "shared": True,
                          "category": rng.choice(["fuel", "wax"], bills)})
    out = roll_up({"logs": yard, "events": book, "costs": spent, "woods": yards.WOODS, "forms": yards.FORMS},
                  {"event_links": links}, yards.SETTINGS, dt.date(2026, 1, 1))
    assert out.reconciliation["difference"].abs().max() < 0.005
    picked = book.loc[(book["event"] == "picked") & (book["date"] <= "2026-01-01"), "amount"].sum()
    whole = out.groups[out.groups["by"] == "yard"].iloc[0]
    assert out.each_log["picked_kg"].sum() == pytest.approx(picked, abs=1e-4)
    assert whole["picked_kg"] == pytest.approx(picked, abs=1e-4)
    for by in ("strain", "wood", "strain x wood", "inoculation year"):
        assert out.groups.loc[out.groups["by"] == by, "cash"].sum() == pytest.approx(whole["cash"], abs=1e-3)
    assert len(out.each_log.columns) == len(results.COLUMNS["each_log"])


def test_what_no_log_carries_is_what_waits_and_what_names_no_known_log():
    zero, no = np.zeros(3), np.zeros(3, dtype=bool)
    view = rollup_cost.Charges(zero, zero, np.array(["", "", ""]), no, np.array([True, False, False]), np.array([False, True, False]), zero, zero)
    assert view.uncharged().tolist() == [True, True, False]


@pytest.mark.parametrize("categories, expected", [
    (["spawn"], 12.0),              # A1 and G, both inoculated
    (["wax", "fuel"], 48.0),        # 26 and 22, all on inoculated logs
    (["tool", "other"], 30.0),      # other: a log that is not known, and one dated later
    (["nothing of the kind"], 0.0), ([], 0.0),
])
def test_money_of_some_categories_in_inoculated_logs(categories, expected):
    frames, links, as_of = yards.six_logs()
    day = int(np.datetime64(as_of, "D").astype(int))
    yard = build(frames, diary(frames, links, day))
    assert rollup_cost.in_logs(frames, links, yard, categories) == pytest.approx(expected)


def test_money_in_logs_that_wait_for_spawn_is_left_out():
    rows = yards.logs(("A", 1, "2025-03-01"), ("C", 3, None))
    spent, links = yards.costs(["A", "C"], ("2025-03-02", 8.0, "A C", "spawn"))
    frames = {"logs": rows, "costs": spent}
    yard = build(frames, diary(frames, {}, int(np.datetime64("2025-06-01", "D").astype(int))))
    assert rollup_cost.in_logs(frames, {"cost_links": links}, yard, ["spawn"]) == pytest.approx(2.0)    # 1 of 4 logs
    assert rollup_cost.in_logs({"logs": rows}, {}, yard, ["spawn"]) == 0.0


def test_money_that_waits_for_a_first_log_is_asked_about():
    def asked(cash, labour=0.0):
        return rollup_cost.questions(pd.DataFrame({"view": ["cash", "labour"], "no_log_yet": [cash, labour]}))

    assert asked(0.004) == [] and asked(-0.004) == [] and asked(0.0, 50.0) == []
    problem, = asked(1234.5)
    assert (problem.sheet, problem.row, problem.column) == ("Costs", None, "Date")
    assert "1,234.50 was spent for all logs before any was in the yard" in str(problem)
    assert len(asked(-1.0)) == 1 and len(asked(0.005)) == 1


def test_wages_of_who_is_listed_and_who_is_not():
    lists = pd.DataFrame({"helper": ["Ann", None, "Bo"], "helper_wage": [15.0, 99.0, None], "paid_in_costs": ["no", "no", "yes"]})
    who = np.array(["ann", "bo", "cy", ""], dtype=object)
    # a line without a name is nobody's; who is not named or not listed costs the grower's own wage
    assert rollup_cost.wages({"helpers": lists}, who, 10.0).tolist() == [15.0, 0.0, 10.0, 10.0]
    assert rollup_cost.wages({}, who, 10.0).tolist() == [10.0] * 4
    assert rollup_cost.wages({}, np.array([], dtype=object), 10.0).tolist() == []


def test_categories_the_dearest_first_and_only_what_was_spent():
    rows = yards.logs(("A", 1, "2025-03-01"))
    spent, links = yards.costs(["A"], ("2025-03-02", 2.0, None), ("2025-03-02", 6.0, None, "wax"), ("2025-03-03", 0.0, None, "free"))
    book, event_links = yards.events(["A"], ("2025-03-04", "worked", "A", None, {"minutes": 60}),
                                     ("2025-03-05", "worked", "A", None, {"minutes": 30}), ("2025-03-06", "soaked", "A", None, {"minutes": 30}))
    out = roll_up({"logs": rows, "costs": spent, "events": book}, {"cost_links": links, "event_links": event_links}, yards.SETTINGS,
                  dt.date(2025, 6, 1)).costs
    assert out[["view", "category", "amount", "rows"]].values.tolist() == [
        ["cash", "wax", 6.0, 1], ["cash", rollup_cost.NO_CATEGORY, 2.0, 1], ["labour", "worked", 15.0, 2], ["labour", "soaked", 5.0, 1]]
    assert out["share"].tolist() == pytest.approx([0.75, 0.25, 0.75, 0.25])
    assert out["hours"].isna().tolist() == [True, True, False, False] and out["hours"].tolist()[2:] == [1.5, 0.5]

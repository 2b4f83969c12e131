"""Money by year: hand sums, present value and rates against numpy-financial, payback, one more log."""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import economics, flows, plan_inputs
from calc.farm import roll_up

MARKETS = pd.DataFrame({"market": ["Partner"], "terms": ["on consignment"], "commission": [0.25]})
FLAT = {**yards.SETTINGS, "interest": 0.0, "inflation": 0.0}


def yard_of(as_of, chosen=FLAT, spent=None, bills=None):
    """100 of cash in 2023, an hour at 10 in 2024, sales of 80 at 25 % less 5 of fees in 2024, 120 in 2025."""
    book, links = yards.events(
        ["A"],
        ("2024-06-01", "picked", "A", 8.0, {"minutes": 60}),
        ("2025-06-01", "picked", "A", 12.0),
    )
    if bills is None:
        bills, _ = yards.costs(["A"], *(spent or [("2023-03-02", 100.0, None, "spawn")]))
    sold = yards.sales(
        ("2024-06-02", "Partner", "sold", "fresh", 8.0, 10.0),
        ("2024-06-03", "Partner", "fee", "fresh", 5.0),
        ("2025-06-02", "Partner", "sold", "fresh", 12.0, 10.0),
        ("2026-06-02", "Partner", "sold", "fresh", 50.0, 10.0),
    )
    frames = {
        "logs": yards.logs(("A", 4, "2023-03-01")),
        "events": book,
        "costs": bills,
        "sales": sold,
        "markets": MARKETS,
    }
    return roll_up(frames, {"event_links": links}, chosen, dt.date.fromisoformat(as_of))


def of(out, what, view):
    table = out.flow_summary
    return table[(table["what"] == what) & (table["view"] == view)].iloc[0]


def test_recorded_years_by_hand():
    table = yard_of("2025-12-31").yard_flow.set_index("year")
    assert table["spent"].tolist()[:3] == [100, 0, 0] and table["labour"].tolist()[:3] == [0, 10, 0]
    # 80 x 0.75 - 5; 120 x 0.75
    assert table["sold"].tolist()[:3] == pytest.approx([0, 55, 90])
    past = table["sold"] - table["spent"] - table["labour"]
    assert past.tolist()[:3] == pytest.approx([-100, 45, 90])


def test_expected_years_carry_all_that_is_expected():
    out = yard_of("2025-03-31")
    table = out.yard_flow
    whole = out.expected[out.expected["by"] == "yard"].iloc[0]
    assert table["to_come_kg"].sum() == pytest.approx(whole["expected_kg"])
    now = table.set_index("year")["to_come_kg"]
    assert now[2025] == pytest.approx(whole["this_year_kg"])
    assert now[2026] == pytest.approx(whole["next_year_kg"])
    cost = table["cash_to_come"].sum() + table["labour_to_come"].sum()
    assert cost == pytest.approx(out.keep_retire["cost_to_come"].sum())
    # 10 a kg, 25 % commission, 5 of fees over 8 kg sold by then: 6.875 of each kg.
    assert table["income_to_come"].sum() == pytest.approx(6.875 * whole["expected_kg"])
    assert table["words"].tolist() == [
        "recorded",
        "recorded",
        "recorded, and expected for the rest",
        *["expected"] * (len(table) - 3),
    ]


def test_the_net_of_each_year_is_the_sum_of_its_parts():
    table = yard_of("2025-03-31", {**yards.SETTINGS, "interest": 0.08, "inflation": 0.25}).yard_flow
    cash = table["sold"] - table["spent"] + table["income_to_come"] - table["cash_to_come"] + table["held"]
    assert table["net_cash"].tolist() == pytest.approx(cash.tolist())
    assert table["net"].tolist() == pytest.approx((cash - table["labour"] - table["labour_to_come"]).tolist())
    assert table["cumulative"].tolist() == pytest.approx(np.cumsum(table["net"]).tolist())
    # 100 spent two years before, at 25 % inflation: 100 x 1.5625
    assert table["real_net_cash"].iloc[0] == pytest.approx(-156.25)


def test_what_lasts_is_counted_at_the_end():
    bills = [("2023-03-02", 100.0, None, "tool")]
    book, _ = yards.costs(["A"], *bills)
    lasting = book.assign(life_years=20.0, salvage=60.0)
    frames = {"logs": yards.logs(("A", 4, "2023-03-01")), "costs": lasting}
    out = roll_up(frames, {}, FLAT, dt.date(2023, 3, 31))
    # No price and no upkeep: recorded only. 30 days of (100 - 60) / 20 a year are 0.164.
    assert len(out.yard_flow) == 1 and out.yard_flow["words"].iloc[0] == flows.NO_PRICE
    assert out.yard_flow["held"].iloc[0] == pytest.approx(100 - 2 * 30 / 365.25)


def test_what_lasts_is_counted_at_the_end_of_the_last_year_expected():
    bills, _ = yards.costs(["A"], ("2023-03-02", 100.0, None, "tool"))
    table = yard_of("2025-03-31", bills=bills.assign(life_years=50.0, salvage=0.0)).yard_flow
    last = int(table["year"].iloc[-1])
    # 100 / 50 = 2 a year for each day from 2 March 2023 to 31 December of that year, both counted; a day is half a cent
    assert last > 2025
    assert table["held"].iloc[-1] == pytest.approx(100 - 2 * ((dt.date(last, 12, 31) - dt.date(2023, 3, 2)).days + 1) / 365.25, abs=0.002)


def test_every_line_of_money_has_its_own_day():
    """30 spent in 2023, work worth 10 in 2024, 12.50 due in 2025 and a loss of 2 charged; what is dated after the as-of day is left out."""
    book, _ = yards.events(["A"], ("2024-06-01", "worked", None, None), ("2026-01-05", "worked", None, None))
    bills, _ = yards.costs(["A"], ("2023-03-02", 30.0, None, "spawn"))
    day = [(dt.date(2025, 6, n) - dt.date(1970, 1, 1)).days for n in (2, 3)]
    made = flows.moves({"costs": bills, "events": book}, pd.DataFrame({"day": day[:1], "due_cents": [1250]}),
                       pd.DataFrame({"day": day[1:], "charge": [2.0]}), np.array([10.0, 99.0]), day[1])
    spent, labour, sold = made.by_year(np.array([2023, 2024, 2025]))
    assert (spent.tolist(), labour.tolist(), sold.tolist()) == ([30, 0, 0], [0, 10, 0], [0, 0, 14.5])


def test_payback_by_hand():
    # Cash: -100, +60 on 2 Jun 2024, -5, +90 on 2 Jun 2025: back on that day. With labour 10 more: -65, +90.
    out = yard_of("2025-12-31")
    for view in ("cash", "cash and labour"):
        assert of(out, flows.YARD, view)["payback"] == pd.Timestamp("2025-06-02")
        assert of(out, flows.YARD, view)["payback_year"] == 2025
    early = of(yard_of("2024-12-31"), flows.YARD, "cash")
    assert pd.isna(early["payback"])
    assert ("expected in" in early["words"]) == (not np.isnan(early["payback_year"]))


def test_payback_that_is_lost_again_is_said():
    out = yard_of("2025-12-31", spent=[("2023-03-02", 100.0, None), ("2025-09-01", 400.0, None)])
    row = of(out, flows.YARD, "cash")
    assert row["payback"] == pd.Timestamp("2025-06-02")
    assert row["words"].startswith("all put in was back once, then more was put in")


def test_never_out_of_pocket_is_no_payback():
    assert flows.payback(np.array([3, 4]), np.array([5.0, -2.0])) is None
    assert flows.payback(np.array([], dtype=int), np.array([])) is None
    assert flows.payback(np.array([3, 3]), np.array([5.0, -5.0])) is None  # one day is looked at as a whole


def test_rates_in_words():
    # numpy-financial's own examples, the first citing Gitman 2003, p. 348.
    assert flows.rate_of_return([-100, 39, 59, 55, 20])[0] == pytest.approx(0.28095, abs=0.000005)
    assert flows.rate_of_return([-100, 0, 0, 74])[0] == pytest.approx(-0.0955, abs=0.00005)
    rate, words = flows.rate_of_return([-5, 10.5, 1, -8, 1])
    assert np.isnan(rate) and "rates fit" in words and "8.9 %" in words
    assert flows.rate_of_return([0.0, 0.0]) == (pytest.approx(np.nan, nan_ok=True), "no rate: no money moves")
    assert "costs more" in flows.rate_of_return([3.0, 4.0])[1]
    assert "brings more" in flows.rate_of_return([-3.0, 0.0])[1]
    # 1 - 2x + 2x^2 has no real root
    assert flows.rate_of_return([1.0, -2.0, 2.0])[1].startswith("no rate fits")


MONEY = st.integers(-500, 500).map(float)


@settings(max_examples=200, deadline=None)
@given(st.lists(MONEY, min_size=1, max_size=12), st.floats(-0.5, 1.0))
def test_present_value_is_numpy_financials(money, rate):
    assert economics.npv(rate, money) == pytest.approx(npf.npv(rate, money), rel=1e-9, abs=1e-6)


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 500), st.lists(st.integers(0, 300), min_size=1, max_size=9))
def test_the_one_rate_is_numpy_financials(first, later):
    money = [-float(first), *map(float, later)]
    rate, _ = flows.rate_of_return(money)
    if not any(later):
        assert np.isnan(rate)
    else:  # one change of sign: one rate
        largest = max(abs(flow) * (1 + rate) ** -year for year, flow in enumerate(money))
        assert npf.npv(rate, money) == pytest.approx(0, abs=1e-9 * largest)
        theirs = npf.irr(money)
        assert np.isnan(theirs) or rate == pytest.approx(theirs, rel=1e-5, abs=1e-6)


def test_one_more_log_by_hand():
    typed = {
        "price_per_kg": 20.0,
        "commission": 0.25,
        "unsold": 0.2,
        "life_kg": 1.2,
        "life_seasons": 4,
        "setup_cash": 6.0,
        "setup_minutes": 30.0,
        "upkeep_minutes": 6.0,
        "upkeep_cash": 0.5,
        "wage": 10.0,
    }
    plan = plan_inputs.inputs({f"budget_{name}": value for name, value in typed.items()})
    table = flows.one_log(plan)
    # 0.2, 0.4, 0.4, 0.2 kg (RES-11) at 20 x 0.8 x 0.75 = 12; making 6 and half an hour;
    # upkeep 0.5 and 6 minutes a year; 10 an hour.
    assert table["weight_kg"].tolist() == pytest.approx([0, 0.2, 0.4, 0.4, 0.2])
    assert table["income"].tolist() == pytest.approx([0, 2.4, 4.8, 4.8, 2.4])
    assert table["net_cash"].tolist() == pytest.approx([-6, 1.9, 4.3, 4.3, 1.9])
    assert table["net"].tolist() == pytest.approx([-11, 0.9, 3.3, 3.3, 0.9])
    assert table["cumulative_cash"].iloc[-1] == pytest.approx(6.4)
    made = flows.Moves(*(np.zeros(0, dtype=int) for _ in range(4)))
    yard = yard_of("2025-12-31").yard_flow
    row = flows.summary(yard, table, made, 0.05).set_index(["what", "view"]).loc[(flows.ONE_LOG, "cash")]
    assert row["npv"] == pytest.approx(npf.npv(0.05, [-6, 1.9, 4.3, 4.3, 1.9]))
    assert row["irr"] == pytest.approx(npf.irr([-6, 1.9, 4.3, 4.3, 1.9]))
    assert row["payback_year"] == 2 and row["words"].startswith("pays for itself in year 2")  # -6 + 1.9 + 4.3


def test_the_summary_rests_on_the_flow_shown():
    chosen = {**yards.SETTINGS, "interest": 0.08, "inflation": 0.03}
    out = yard_of("2025-03-31", chosen)
    row = of(out, flows.YARD, "cash and labour")
    assert row["rate"] == pytest.approx(1.08 / 1.03 - 1)
    assert row["npv"] == pytest.approx(npf.npv(row["rate"], out.yard_flow["real_net"]))
    if not np.isnan(row["irr"]):
        assert npf.npv(row["irr"], out.yard_flow["real_net"]) == pytest.approx(0, abs=1e-6)


def test_an_empty_yard():
    out = roll_up({}, {}, yards.SETTINGS, dt.date(2025, 1, 1))
    assert out.yard_flow["net"].tolist() == [0] and out.yard_flow["words"].tolist() == ["recorded so far"]
    assert of(out, flows.YARD, "cash")["words"] == "no money is written down; no rate: no money moves"

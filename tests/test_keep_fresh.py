"""What to sell fresh, dry or hold: best-first is best (against a linear programme), the stock by lot, the dryer, the sums by hand."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from calc import keep_fresh, keeping, trace
from calc.balances import in_store
from calc.consignment import losses
from calc.ledger import CONSIGNMENT, ledger
from calc.prices import breakeven
from calc.yard import diary

# ---- best-first against a linear programme -------------------------------------------------------------------------

KG = st.integers(1, 400).map(lambda n: n / 10)
STOCK = st.lists(st.tuples(KG, st.integers(1, 7)), min_size=1, max_size=6)
OUTLETS = st.lists(st.tuples(st.integers(-20, 300).map(lambda n: n / 10), st.one_of(st.none(), KG)), max_size=4)


def solved(lots, outlets, dry_net, by_day):
    """The most money of the same plan by scipy's linear programme: variables are weight of each lot to each outlet and to the dryer."""
    uses = len(outlets) + 1
    nets = [net for net, _, _ in outlets] + [dry_net]
    cost = [-nets[u] for _ in lots for u in range(uses)]
    rows, limits = [], []

    def limit(pairs, most):
        row = np.zeros(len(cost))
        for lot, use in pairs:
            row[lot * uses + use] = 1.0
        rows.append(row)
        limits.append(most)

    for i, (weight, _) in enumerate(lots):
        limit([(i, u) for u in range(uses)], weight)
    for u, (_, most, _) in enumerate(outlets):
        if most is not None:
            limit([(i, u) for i in range(len(lots))], most)
    for days in sorted({d for _, d in lots}):  # what must be dried by a day fits into the dryer up to that day
        limit([(i, uses - 1) for i, (_, d) in enumerate(lots) if d <= days], by_day(days))
    found = linprog(cost, A_ub=np.array(rows), b_ub=np.array(limits), bounds=(0, None), method="highs")
    assert found.success
    return -found.fun


@settings(max_examples=150, deadline=None)
@given(STOCK, OUTLETS, st.integers(1, 200).map(lambda n: n / 10), st.integers(0, 100).map(lambda n: n / 10))
def test_best_first_is_the_best_plan(lots, outlets, dry_net, a_day):
    asked = [(net, most, 0.0) for net, most in outlets]

    def by_day(days):
        return a_day * days

    uses = keeping.best_use(lots, asked, dry_net, by_day)
    assert keeping.worth(uses, asked, dry_net) == pytest.approx(solved(lots, asked, dry_net, by_day), abs=1e-6)
    for i, (weight, _) in enumerate(lots):
        assert sum(use.weight for use in uses if use.lot == i) <= weight + 1e-9
    for days in {d for _, d in lots}:
        assert sum(use.weight for use in uses if use.outlet is None and lots[use.lot][1] <= days) <= by_day(days) + 1e-9


def test_promised_weight_goes_first_and_is_not_taken_twice():
    # 10 kg; the shop nets 8 and is promised 4 of the 5 it takes, the stall nets 20 without a limit: 4 to the shop, then 6 to the stall.
    uses = keeping.best_use([(10.0, 3)], [(8.0, 5.0, 4.0), (20.0, None, 0.0)], None, lambda days: 0.0)
    assert uses == [keeping.Use(0, 0, 4.0), keeping.Use(1, 0, 6.0)]
    # With 20 kg and a stall that takes 10, the shop gets the rest of its 5 and 5 are held.
    uses = keeping.best_use([(20.0, 3)], [(8.0, 5.0, 4.0), (20.0, 10.0, 0.0)], None, lambda days: 0.0)
    assert uses == [keeping.Use(0, 0, 4.0), keeping.Use(1, 0, 10.0), keeping.Use(0, 0, 1.0)]


def test_an_outlet_that_nets_nothing_gets_only_what_was_promised():
    assert keeping.best_use([(5.0, 1)], [(-1.0, None, 2.0)], -0.5, lambda days: 9.0) == [keeping.Use(0, 0, 2.0)]


@pytest.mark.parametrize("hours", [0.0, -1.0])
def test_loads_need_hours(hours):
    with pytest.raises(ValueError, match="above 0"):
        keeping.dryer_loads(1, hours)


def test_pack_weight_by_hand():
    assert keeping.pack_weight(4.0, 0.05) == pytest.approx(4.2105, abs=5e-5)  # 4 oz at 5 %: 4.21 oz
    table = keep_fresh.pack_weights().set_index("days")
    # 1.2 % a day in the cold, 9.3 % in a warm stall (oyster, J. Food Engineering 2017, abstract): after two days 0.988^2 and 0.907^2 are left.
    assert table.loc[2, ["cold", "warm"]].tolist() == pytest.approx([1 / 0.976144, 1 / 0.822649])
    with pytest.raises(ValueError, match="from 0 to below 1"):
        keeping.pack_weight(4.0, 1.0)


# ---- the whole of it by hand ---------------------------------------------------------------------------------------

AS_OF = dt.date(2025, 6, 12)  # a Thursday
DAY = (AS_OF - dt.date(1970, 1, 1)).days
MARKETS = pd.DataFrame([
    {"market": "Shop", "terms": "on consignment", "commission": 0.25, "takes_week": 3.0},
    {"market": "Stall", "terms": "own stall", "commission": None, "takes_week": 2.0},
    {"market": "Kitchen", "terms": "bought outright", "commission": None, "takes_week": 1.5}])
PRICES = pd.DataFrame([("Shop", "fresh", "2025-01-01", 20.0), ("Stall", "fresh", "2025-01-01", 24.0), ("Kitchen", "fresh", "2025-01-01", 12.0),
                       ("Shop", "dried", "2025-01-01", 120.0)], columns=["price_market", "price_product", "price_from", "price_each"])
PRICES["price_from"] = pd.to_datetime(PRICES["price_from"])
GEAR = {**yards.SETTINGS, "keeps_days": 14.0, "dryer_trays": 4.0, "tray_weight": 0.25, "drying_hours": 12}
BOOK = (("2025-05-20", "picked", "A1", 2.0, {"lot": "old"}), ("2025-06-08", "picked", "A1", 3.0, {"lot": "L8"}),
        ("2025-06-11", "picked", "A1", 2.0, {"lot": "L11"}), ("2025-06-12", "picked", "A1", 4.0, {"lot": "L12", "picked_wet": "yes", "grade": "B"}))
PROMISED = pd.DataFrame([{"week": pd.Timestamp("2025-06-09"), "market": "Kitchen", "product": "fresh", "promised_kg": 1.0}])


def kept(book=BOOK, sold=(), promised=PROMISED, gear=GEAR, prices=PRICES, markets=MARKETS, lots=()):
    events, links = yards.events(["A1"], *book)
    frames = {"logs": yards.logs(("A1", 1, "2024-03-01")), "events": events, "sales": yards.sales(*sold), "markets": markets, "prices": prices,
              "promises": promised}
    frames["sales"]["lot"] = list(lots) + [None] * (len(sold) - len(lots))
    day_book, sales = diary(frames, {"event_links": links}, DAY), ledger(frames, DAY)
    past = breakeven(sales, losses(sales[sales["terms"] == CONSIGNMENT]), None, 9.0)
    found = {"book": day_book, "sold": sales, "breakeven": past, "ratio": 10.0, "store": in_store(day_book, sales),
             "used": trace.used_at_home(trace.Lines(frames, day_book, sales)), "labour_amount": np.zeros(len(events))}
    return keep_fresh.every_table(frames, found, gear)


def test_the_plan_by_hand():
    counted = BOOK + (("2025-06-12", "stored", None, 9.0),)
    tables = kept(counted)
    lines = tables["keeping"]
    # 9 counted: 4 of the 12th, 2 of the 11th, 3 of the 8th. Promised 1 to the kitchen; stall 2 at 24, shop 3 at 15, kitchen 0.5 more at 12,
    # dried 120 x 0.75 / 10 = 9 last. Picked wet goes first: 1 to the kitchen, 2 to the stall, 1 to the shop; then the 8th: 2 to the shop,
    # 0.5 to the kitchen, 0.5 into the dryer; the 11th into the dryer. 4 x 0.25 = 1 kg a load, 2 loads a day: room enough.
    got = lines[["lot", "use", "where", "kg", "net_per_kg"]].values.tolist()
    sell, dry = "sell fresh", ("dry", "dryer")
    assert got == [["L12", sell, "Kitchen", 1.0, 12.0], ["L12", sell, "Stall", 2.0, 24.0], ["L12", sell, "Shop", 1.0, 15.0],
                   ["L8", sell, "Shop", 2.0, 15.0], ["L8", sell, "Kitchen", 0.5, 12.0], ["L8", *dry, 0.5, pytest.approx(9.0)],
                   ["L11", *dry, 2.0, pytest.approx(9.0)]]
    assert lines["words"].iloc[0] == "picked wet: first to sale today or the dryer" and lines["grade"].iloc[0] == "B"
    dryer = tables["keeping_dryer"].iloc[0]
    assert dryer[["load_kg", "loads_day", "takes_kg", "dry_kg", "loads", "hours"]].tolist() == [1.0, 2.0, 28.0, 2.5, 3.0, 36.0]
    assert dryer["value_per_kg"] == 0.0 and dryer["words"] == "the dryer has room"


def test_the_value_of_one_more_weight_of_dryer():
    """The dryer full, nothing else to do with the rest: one more kg dried brings what a kg dried nets."""
    small = {**GEAR, "drying_hours": 24 * 14, "keeps_days": 14.0}  # one load in 14 days
    table = kept(gear=small, markets=MARKETS.iloc[:1].assign(takes_week=0.0))
    dryer = table["keeping_dryer"].iloc[0]
    assert dryer["value_per_kg"] == pytest.approx(9.0) and dryer["words"] == "the dryer is full: more room is worth the value shown"
    assert "hold" in set(table["keeping"]["use"])


def test_without_a_count_what_is_not_gone_is_there_and_that_is_said():
    lines = kept(promised=PROMISED.iloc[:0])["keeping"]
    assert lines["kg"].sum() == pytest.approx(11.0) and keep_fresh.NO_COUNT in lines["words"].iloc[0]
    past = lines[lines["use"] == "past its days"].iloc[0]
    assert (past["lot"], past["kg"], past["age"]) == ("old", 2.0, 23.0)


def test_what_a_market_took_this_week_is_taken_off_its_limit():
    sold = (("2025-06-10", "Stall", "sold", "fresh", 1.5), ("2025-06-09", "Shop", "delivered", "fresh", 2.0),
            ("2025-06-08", "Shop", "delivered", "fresh", 9.0))
    sales = kept(sold=sold, promised=PROMISED.iloc[:0])["keeping_options"].set_index("where")
    assert sales.loc["Stall", "limit_kg"] == pytest.approx(0.5)
    fresh = kept(sold=sold)["keeping_options"]
    shop = fresh[(fresh["where"] == "Shop") & (fresh["use"] == "sell fresh")].iloc[0]
    assert shop["limit_kg"] == pytest.approx(1.0)  # 3 a week less the 2 of Monday; the 9 were the week before


def test_each_lot_has_left_what_did_not_leave_home_under_its_name():
    """By hand: 3 of L8 less 2 delivered, 0.5 back, 0.25 culled: 1.25; 2 of L11 less 1 sold straight: 1; a dried sale takes no fresh."""
    sold = (("2025-06-09", "Shop", "delivered", "fresh", 2.0), ("2025-06-10", "Shop", "returned", "fresh", 0.5),
            ("2025-06-11", "Shop", "sold", "fresh", 1.5), ("2025-06-11", "Stall", "sold", "fresh", 1.0),
            ("2025-06-11", "Stall", "sold", "dried", 0.1))
    lines = kept(BOOK + (("2025-06-10", "culled", None, 0.25, {"lot": "L8"}),), sold, lots=("L8", "L8", "L8", "L11", "L12"))["keeping"]
    assert lines.groupby("lot")["kg"].sum().to_dict() == pytest.approx({"L8": 1.25, "L11": 1.0, "L12": 4.0, "old": 2.0})
    assert lines.groupby("lot")["wet"].first().to_dict() == {"L8": "", "L11": "", "L12": "yes", "old": ""}


def test_the_net_of_an_outlet_is_by_its_own_terms_and_the_last_price_where_none_is_listed():
    """A commission counts on consignment only: 20 less a quarter is 15, 12 stays 12. The stall has no price listed: its last sale was at 27."""
    sold = (("2025-05-01", "Stall", "sold", "fresh", 1.0, 25.0), ("2025-05-03", "Stall", "sold", "fresh", 1.0, 27.0),
            ("2025-05-02", "Stall", "sold", "fresh", 1.0, 26.0))
    more = pd.concat((PRICES[PRICES["price_market"] != "Stall"], PRICES.iloc[3:].assign(price_market="Kitchen", price_each=100.0)))
    table = kept(sold=sold, prices=more, markets=MARKETS.assign(commission=0.25))["keeping_options"]
    fresh = table[table["use"] == "sell fresh"].set_index("where")
    assert fresh["net_per_kg"].to_dict() == pytest.approx({"Shop": 15.0, "Kitchen": 12.0, "Stall": 27.0})
    dry = table[table["use"] == "dry"].iloc[0]  # dried goes where it nets more: 100 outright, before 120 less a quarter
    assert (dry["where"], dry["net_per_kg"]) == ("Kitchen", 10.0)


def test_lots_long_past_their_days_stand_in_one_line():
    old = tuple((f"2025-04-{day:02}", "picked", "A1", day / 10, {"lot": f"P{day}"}) for day in range(1, 7))
    lines = kept(old, promised=PROMISED.iloc[:0])["keeping"]
    assert set(lines["where"]) == {""} and set(lines["use"]) == {"past its days"}
    assert list(lines["lot"]) == ["P6", "P5", "P4", "P3", "(2 older)"] and lines["kg"].iloc[-1] == pytest.approx(0.3)
    assert lines["words"].iloc[-1] == "the record says nothing of where it went: culled, given and eaten are lines of Events too"
    assert lines["words"].iloc[1] == "kept longer than on Settings: look at it before you use or sell any, and write culled or given"


def test_with_nothing_on_hand_the_dryer_takes_nothing():
    table = kept(book=(("2025-01-01", "picked", "A1", 1.0), ("2025-01-02", "given", None, 1.0)))["keeping_options"]
    assert table.loc[table["use"] == "dry", "limit_kg"].tolist() == [0.0]


def test_settings_left_blank_are_named():
    table = kept(gear={**yards.SETTINGS, "keeps_days": 14.0, "drying_hours": 6})
    assert table["keeping_dryer"]["words"].iloc[0] == "Type on Settings: Trays in the dryer, Fresh mushrooms on a tray"
    assert "dry" not in set(table["keeping"]["use"])


def test_nothing_on_hand_and_no_market():
    table = kept(book=(("2025-01-01", "picked", "A1", 1.0), ("2025-01-02", "given", None, 1.0)), markets=MARKETS.iloc[:0])
    assert not len(table["keeping"]) and not len(table["keeping_options"]) and len(table["keeping_dryer"]) == 1


def test_drying_costs_the_time_written_down():
    events, links = yards.events(["A1"], ("2025-06-01", "dried", None, 4.0, {"minutes": 60}), ("2025-06-02", "dried", None, 9.0))
    book = diary({"events": events}, {"event_links": links}, DAY)
    assert keep_fresh.drying_cost(book, np.array([20.0, 0.0])) == 5.0  # an hour at 20 over the 4 kg of that line
    assert np.isnan(keep_fresh.drying_cost(book, np.zeros(2)))

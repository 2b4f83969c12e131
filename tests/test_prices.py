"""Break-even by market: floor prices by hand, what a price covers, and whether to go on."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import economics, prices
from calc.farm import roll_up

MARKETS = pd.DataFrame(
    {
        "market": ["Stall", "Shop", "Partner"],
        "terms": ["own stall", "bought outright", "on consignment"],
        "commission": [0.5, 0.5, 0.25],
    }
)


@pytest.mark.parametrize(
    ("price", "fixed", "variable", "decision"),
    [
        (30.0, 8000.0, 15000.0, prices.GO),
        (15.0, 13000.0, 10000.0, prices.GO_ON),
        (7.0, 13000.0, 10000.0, prices.STOP),
    ],
)
def test_go_on_while_the_price_covers_variable_cost(price, fixed, variable, decision):
    # Washington State University, EconS 350 notes, 2015: produce, produce, stop; 1,000 units.
    everything, least, said = prices.shutdown(price, fixed, variable, 1000.0)
    assert said == decision
    assert (everything, least) == (23.0, variable / 1000.0)


def yard_of(*moves, minutes=60.0):
    """40 kg picked of one log for 100 of cash and an hour at 10, 4 kg of it culled, with these sales."""
    book, links = yards.events(
        ["A"],
        ("2024-06-01", "picked", "A", 40.0, {"minutes": minutes}),
        ("2024-06-02", "culled", "A", 4.0),
    )
    spent, _ = yards.costs(["A"], ("2024-03-02", 100.0, None, "spawn"))
    frames = {
        "logs": yards.logs(("A", 1, "2023-03-01")),
        "events": book,
        "costs": spent,
        "sales": yards.sales(*moves),
        "markets": MARKETS,
    }
    return roll_up(frames, {"event_links": links}, yards.SETTINGS, dt.date(2024, 12, 31))


def test_floor_price_by_hand():
    # Cost 100 over 36 kg marketable; labour 110 over 36. Partner: 25 % commission, 8 sold, 1 back, 1 spoiled
    # of 10: a fifth unsold; fees 4 over 10 kg: 0.4 a kg. Floor (100/36 + 0.4) / (0.75 x 0.8).
    # Seen whole: 10 kg cost 1000/36, and 4; 8 sold bring 6 prices.
    out = yard_of(
        ("2024-06-02", "Partner", "delivered", "fresh", 12.0, 9.0),
        ("2024-06-09", "Partner", "sold", "fresh", 8.0, 9.0),
        ("2024-06-09", "Partner", "returned", "fresh", 1.0),
        ("2024-06-09", "Partner", "spoiled", "fresh", 1.0),
        ("2024-06-09", "Partner", "fee", "fresh", 4.0),
    )
    row = out.breakeven.iloc[0]
    assert row[["commission", "unsold", "own_per_kg", "price_per_kg"]].tolist() == pytest.approx(
        [0.25, 0.2, 0.4, 9]
    )
    assert row["floor_cash"] == pytest.approx((1000 / 36 + 4) / 6)
    assert row["floor_labour"] == pytest.approx((1100 / 36 + 4) / 6)
    # Of a price of 9, 9 x 0.8 x 0.75 = 5.4 is kept, less 0.4 of fees: 100 / 5 kg pay the cash.
    assert row["weight_cash_kg"] == pytest.approx(20)


def test_terms_of_a_stall_and_a_shop():
    # No commission at either, whatever stands on Lists. The shop bears what spoils there; 2 of 8 came back.
    out = yard_of(
        ("2024-06-02", "Stall", "sold", "fresh", 5.0, 12.0),
        ("2024-06-02", "Shop", "delivered", "fresh", 8.0, 6.0),
        ("2024-06-09", "Shop", "returned", "fresh", 2.0, 6.0),
        ("2024-06-09", "Shop", "spoiled", "fresh", 3.0, 6.0),
    )
    table = out.breakeven.set_index("market")
    assert table["commission"].tolist() == [0, 0, 0]
    assert table["unsold"].to_dict() == pytest.approx({"Shop": 0.25, "Stall": 0, prices.ALL: 2 / 13})
    assert table.loc[prices.ALL, "price_per_kg"] == pytest.approx((60 + 36) / 11)
    assert table.loc["Stall", "floor_cash"] == pytest.approx(100 / 36)


def test_dried_pays_for_the_fresh_that_went_in():
    out = yard_of(
        ("2024-06-02", "Stall", "sold", "dried", 1.0, 80.0),
        ("2024-06-03", "Stall", "sold", "fresh", 4.0, 5.0),
        ("2024-06-03", "Stall", "fee", "fresh", 10.0),
    )
    table = out.breakeven.set_index("product")
    # The fee falls by value, 80 : 20. Without a drying of one's own the mass balance: 0.9 / 0.1026.
    assert table["own_per_kg"].to_dict() == pytest.approx({"fresh": 0.5, "dried": 8})
    assert table.loc["dried", "floor_cash"] == pytest.approx(100 / 36 * 0.9 / 0.1026 + 8)


def test_no_sale_no_yield_and_no_yard():
    out = yard_of()
    assert out.breakeven["market"].tolist() == [prices.NO_SALE]
    assert out.breakeven["floor_cash"].iloc[0] == pytest.approx(100 / 36)
    assert out.breakeven["words"].iloc[0] == "no sale with a price is written down"
    bare = roll_up({"logs": yards.logs(("A", 1, "2024-03-01"))}, {}, yards.SETTINGS, dt.date(2024, 4, 1))
    assert np.isnan(bare.breakeven["floor_cash"].iloc[0])
    assert prices.words(5.0, {"cash": np.nan}, np.nan) == prices.NO_COST
    assert len(roll_up({}, {}, yards.SETTINGS, dt.date(2024, 4, 1)).breakeven) == 0


def test_what_a_price_covers_in_words():
    floors = {"cash": 4.0, "labour": 8.0, "capital": 6.0}
    assert prices.words(9.0, floors, 2.0) == prices.COVERS_ALL
    assert prices.words(8.0, floors, 2.0) == prices.COVERS_ALL
    assert prices.words(7.0, floors, 2.0) == f"below cost so far in the labour view; {prices.COVERS_VARIABLE}"
    short = "below cost so far in the cash, labour and capital views; "
    assert prices.words(3.0, floors, 3.0, 1.0) == short + prices.COVERS_VARIABLE
    assert prices.words(3.0, floors, 5.0, 1.0) == short + prices.COVERS_CASH
    assert prices.words(3.0, floors, 5.0, 4.0) == short + prices.COVERS_NOTHING
    assert prices.words(3.0, floors, np.nan, np.nan) == short + prices.UNKNOWN_VARIABLE
    assert prices.words(np.nan, floors, 5.0) == "no sale with a price is written down"


SHARE = st.floats(0, 0.9)


@settings(max_examples=200, deadline=None)
@given(st.floats(0.01, 500), SHARE, SHARE, st.floats(0, 20), st.floats(0.1, 5000))
def test_at_the_floor_price_income_meets_cost(cost, commission, unsold, own, kilos):
    terms = prices.Terms(commission, unsold, own)
    price = terms.floor(cost)
    income = kilos * (1 - unsold) * price * (1 - commission)
    # The market's own cost is charged on every kg brought there, sold or not.
    assert income == pytest.approx(kilos * (cost + own), rel=1e-9)
    assert price == pytest.approx(economics.breakeven_price(kilos * (cost + own), kilos, commission, unsold))
    weight = terms.weight(cost * kilos, price)
    assert weight == pytest.approx(kilos, rel=1e-6)


def test_a_price_equal_to_a_cost_covers_it():
    # 23,000 and 10,000 over 1,000 units
    assert prices.shutdown(23.0, 13000.0, 10000.0, 1000.0)[2] == prices.GO
    assert prices.shutdown(10.0, 13000.0, 10000.0, 1000.0)[2] == prices.GO_ON
    assert prices.shutdown(9.99, 13000.0, 10000.0, 1000.0)[2] == prices.STOP
    short = "below cost so far in the cash view; "
    assert prices.words(3.0, {"cash": 4.0}, 3.0, 1.0) == short + prices.COVERS_VARIABLE
    assert prices.words(3.0, {"cash": 4.0}, 5.0, 3.0) == short + prices.COVERS_CASH


def test_without_hours_it_is_said_that_none_are_written_down():
    assert prices.words(9.0, {"cash": 4.0, "labour": 4.0, "capital": 5.0}, 2.0) == prices.COVERS_WRITTEN
    assert prices.words(9.0, {"cash": 4.0, "labour": np.nan, "capital": 5.0}, 2.0) == prices.COVERS_ALL
    assert yard_of(("2024-06-02", "Stall", "sold", "fresh", 4.0, 90.0), minutes=None).breakeven["words"].iloc[0] == prices.COVERS_WRITTEN


def test_terms_that_keep_or_leave_everything():
    # nothing is kept of a price that is all commission, or where nothing is ever sold
    assert np.isnan(prices.Terms(1.0, 0.0).floor(4.0)) and np.isnan(prices.Terms(0.0, 1.0).floor(4.0))
    assert prices.Terms(0.75, 0.5).floor(1.0) == pytest.approx(8.0)
    # 10 x 0.5 x 0.5 = 2.5 is just the market's own cost: no weight breaks even
    assert np.isnan(prices.Terms(0.5, 0.5, 2.5).weight(100.0, 10.0)) and prices.Terms(0.5, 0.5, 2.0).weight(100.0, 10.0) == 200


def test_commission_where_nothing_was_sold_yet_is_that_of_lists_at_a_partner_and_none_elsewhere():
    out = yard_of(
        ("2024-06-02", "Partner", "delivered", "fresh", 5.0, 9.0),
        ("2024-06-02", "Stall", "spoiled", "fresh", 1.0),
    )
    table = out.breakeven.set_index("market")
    assert (table.loc["Partner", "commission"], table.loc["Stall", "commission"]) == (0.25, 0.0)


def test_when_no_log_is_left_nothing_is_to_come_and_that_is_said():
    book, links = yards.events(["A"], ("2024-06-01", "picked", "A", 10.0), ("2024-06-02", "retired", "A", None))
    spent, _ = yards.costs(["A"], ("2024-03-02", 100.0, None, "spawn"))
    frames = {"logs": yards.logs(("A", 1, "2023-03-01")), "events": book, "costs": spent, "markets": MARKETS,
              "sales": yards.sales(("2024-06-02", "Stall", "sold", "fresh", 4.0, 5.0))}
    row = roll_up(frames, {"event_links": links}, yards.SETTINGS, dt.date(2024, 12, 31)).breakeven.iloc[0]
    assert np.isnan(row["floor_variable"]) and np.isnan(row["floor_variable_cash"])
    # 100 over 10 kg against 5 a kg
    assert row["words"] == f"below cost so far in the cash, labour and capital views; {prices.UNKNOWN_VARIABLE}"


def test_what_is_missing_within_the_allowance_is_unsold_and_what_is_charged_is_not():
    # 10 there, 6 sold, 2 counted: 2 missing; 5 % of 10 = 0.5 allowed, 1.5 charged. Unsold 0.5 of 6.5
    lists = MARKETS.assign(allowance=[np.nan, np.nan, 0.05])
    book, links = yards.events(["A"], ("2024-06-01", "picked", "A", 40.0))
    frames = {"logs": yards.logs(("A", 1, "2023-03-01")), "events": book, "markets": lists,
              "sales": yards.sales(("2024-06-02", "Partner", "delivered", "fresh", 10.0, 9.0), ("2024-06-03", "Partner", "sold", "fresh", 6.0, 9.0),
                                   ("2024-06-09", "Partner", "counted", "fresh", 2.0))}
    row = roll_up(frames, {"event_links": links}, yards.SETTINGS, dt.date(2024, 12, 31)).breakeven.iloc[0]
    assert row["unsold"] == pytest.approx(0.5 / 6.5)


def test_floors_of_what_is_to_come_hold_for_dried_too_and_markets_stand_in_order():
    out = yard_of(
        ("2024-06-02", "stall 2", "sold", "dried", 1.0, 80.0),
        ("2024-06-03", "Stall", "sold", "fresh", 4.0, 5.0),
        ("2024-06-03", "Partner", "sold", "fresh", 4.0, 5.0),
        ("2024-06-03", "Stall", "sold", "dried", 1.0, 80.0),
    )
    table = out.breakeven
    assert list(zip(table["market"], table["product"], strict=True)) == [
        ("Partner", "fresh"), ("Stall", "fresh"), ("Stall", "dried"), ("stall 2", "dried"),
        (prices.ALL, "fresh"), (prices.ALL, "dried")]
    at = table.set_index(["market", "product"])
    for floor in ("floor_variable", "floor_variable_cash"):
        # one fresh kilo in 0.1026 / 0.9 of dried
        assert at.loc[("Stall", "dried"), floor] == pytest.approx(at.loc[("Stall", "fresh"), floor] * 0.9 / 0.1026)
    assert (table["floor_variable_cash"].dropna() <= table["floor_variable"].dropna()).all()


def test_fees_fall_by_weight_where_nothing_has_a_price_and_are_not_lost_where_nothing_was_sold():
    # 8 fresh less 2 back, 2 dried, no prices: the fee of 10 falls 8 : 2; 8 over 6 + 2 kg, 2 over 2 kg
    out = yard_of(
        ("2024-06-02", "Shop", "delivered", "fresh", 8.0),
        ("2024-06-02", "Shop", "delivered", "dried", 2.0),
        ("2024-06-09", "Shop", "returned", "fresh", 2.0),
        ("2024-06-09", "Shop", "fee", "fresh", 10.0),
    )
    assert out.breakeven.set_index("product")["own_per_kg"].to_dict() == pytest.approx({"fresh": 1.0, "dried": 1.0})
    # all 5 came back from the partner, who took 4: over all markets 4 for 10 sold and 5 back
    out = yard_of(
        ("2024-06-02", "Stall", "sold", "fresh", 10.0, 12.0),
        ("2024-06-02", "Partner", "delivered", "fresh", 5.0, 12.0),
        ("2024-06-09", "Partner", "returned", "fresh", 5.0),
        ("2024-06-09", "Partner", "fee", "fresh", 4.0),
    )
    own = out.breakeven.set_index("market")["own_per_kg"]
    assert own.to_dict() == pytest.approx({"Stall": 0.0, "Partner": 0.8, prices.ALL: 4 / 15})


def test_a_price_between_the_cash_and_all_that_is_still_to_come_says_so():
    def at(price):
        return yard_of(("2024-06-02", "Stall", "sold", "fresh", 4.0, price)).breakeven.iloc[0]

    floors = at(5.0)
    assert floors["floor_variable_cash"] < floors["floor_variable"]
    between = (floors["floor_variable_cash"] + floors["floor_variable"]) / 2
    assert at(between)["words"].endswith(prices.COVERS_CASH)
    assert at(floors["floor_variable"] + 1e-6)["words"].endswith(prices.COVERS_VARIABLE)


def test_the_cash_still_to_come_holds_for_dried_by_what_went_in():
    book, links = yards.events(["A"], ("2024-06-01", "picked", "A", 40.0, {"minutes": 60.0}))
    spent, _ = yards.costs(["A"], ("2023-03-02", 100.0, None, "spawn"), ("2024-07-01", 20.0, None, "fuel"))
    frames = {"logs": yards.logs(("A", 1, "2023-03-01")), "events": book, "costs": spent, "markets": MARKETS,
              "sales": yards.sales(("2024-06-02", "Stall", "sold", "dried", 1.0, 80.0), ("2024-06-03", "Stall", "sold", "fresh", 4.0, 5.0))}
    floor = roll_up(frames, {"event_links": links}, yards.SETTINGS, dt.date(2024, 12, 31)).breakeven.set_index("product")["floor_variable_cash"]
    # one fresh kilo in 0.1026 / 0.9 of dried
    assert floor["fresh"] > 0 and floor["dried"] == pytest.approx(floor["fresh"] * 0.9 / 0.1026)

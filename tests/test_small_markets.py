"""Small yards whose promises, settlements and lots can be worked out on paper: each sum stands in its comment. Common practice throughout."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
import soak_yards
import yards

from calc import offers, trace
from calc.farm import roll_up
from calc.ledger import ledger
from calc.yard import diary

AS_OF = dt.date(2026, 10, 31)
SHOP, STALL = {"market": "Shop", "terms": "on consignment", "commission": 0.25}, {"market": "Stall", "terms": "own stall"}
LOGS = (("A", 4, "2024-03-01"), ("B", 4, "2024-03-01"))


def frames_of(lines=(), sold=(), markets=(SHOP, STALL), promised=(), closed=(), spawn=("S1", "S2")):
    """(frames, links) of yards.events lines, of sales with the lot last, of (week, market, product, kg) and (market, day, money)."""
    logs = yards.logs(*LOGS)
    logs["spawn_lot"] = list(spawn)
    book, links = yards.events(list(logs["log"]), *lines) if lines else (pd.DataFrame(), pd.DataFrame(columns=["event", "log"]))
    sales = yards.sales(*(row[:6] for row in sold))
    sales["lot"] = [row[6] if len(row) > 6 else None for row in sold]
    promises = pd.DataFrame(promised, columns=["week", "market", "product", "promised_kg"])
    closings = pd.DataFrame(closed, columns=["close_market", "closed_to", "close_balance"])
    frames = {"logs": logs, "events": book, "sales": sales, "markets": pd.DataFrame(list(markets)), "woods": yards.WOODS, "forms": yards.FORMS,
              "strains": soak_yards.STRAINS, "promises": promises.assign(week=pd.to_datetime(promises["week"])),
              "closings": closings.assign(closed_to=pd.to_datetime(closings["closed_to"]))}
    return frames, {"event_links": links}


def rolled(as_of=AS_OF, settings=None, **more):
    frames, links = frames_of(**more)
    return roll_up(frames, links, {**yards.SETTINGS, **soak_yards.temps(), **(settings or {})}, as_of)


def test_a_promise_to_an_own_stall_is_kept_by_what_is_sold_there():
    # 5 promised for the week from 26 October, 2 and 3 sold at the stall, where nothing is ever delivered: kept, and no word of too much promised.
    sold = [("2026-10-27", "Stall", "sold", "fresh", 2.0, 10.0), ("2026-10-28", "Stall", "sold", "fresh", 3.0, 10.0)]
    for as_of in (AS_OF, dt.date(2026, 11, 3)):
        out = rolled(as_of, sold=sold, promised=[("2026-10-26", "Stall", "fresh", 5.0)])
        assert out.promise_weeks["delivered"].tolist() == [5.0, 5.0]
        assert out.promise_weeks["words"].tolist() == ["kept", "all promises together kept"]
        assert "over_promised" not in [answer.key for answer in out.answers]


def test_fees_above_sales_are_no_payment_in_the_settlement():
    # 2 x 10 less a quarter: 15; a fee of 25: 10 below nothing, and nobody paid anything. Once 5 are paid, 15 more were paid than due.
    sold = [("2026-10-02", "Shop", "sold", "fresh", 2.0, 10.0), ("2026-10-03", "Shop", "fee", "", 25.0)]
    for more, open_, said in (((), -10.0, "fees and corrections are more than what was sold"),
                              ((("2026-10-05", "Shop", "paid", "", 5.0),), -15.0, "more was paid than was due")):
        out = rolled(sold=[*sold, *more])
        assert out.settlement["open"].tolist() == [open_]
        assert out.settlement["words"].tolist() == out.settlement_ages["words"].tolist() == [said]


def test_a_period_closed_on_the_very_day_in_mid_month_is_closed():
    # 4 x 10 less a quarter, settled and closed on the 15th, printed on the 15th.
    sold = [("2026-10-02", "Shop", "sold", "fresh", 4.0, 10.0)]
    for day, ends, closed in ((15, ["2026-10-15"], ["closed"]), (16, ["2026-10-15", "2026-10-31"], ["closed", ""])):
        found = rolled(dt.date(2026, 10, day), sold=sold, closed=[("Shop", "2026-10-15", 30.0)]).settlement
        assert found["ends"].dt.strftime("%Y-%m-%d").tolist() == ends and found["closed"].tolist() == closed
        assert found["open"].tolist() == [30.0] * len(ends)


def test_what_is_found_again_is_said_with_the_charge_taken_back():
    # 10 delivered, 5 % allowed. 8 counted: 2 missing, 0.5 allowed, 1.5 x 10 charged. Then 9 counted: 1 found again, 10 taken back, 5 owed
    # for the 0.5 of the 1 still missing that nobody allowed.
    sold = [("2026-09-02", "Shop", "delivered", "fresh", 10.0, 10.0), ("2026-09-30", "Shop", "counted", "fresh", 8.0),
            ("2026-10-31", "Shop", "counted", "fresh", 9.0)]
    out = rolled(sold=sold, markets=[{**SHOP, "allowance": 0.05}])
    assert out.settlement["lost"].tolist() == [15.0, -10.0] and out.settlement["open"].tolist() == [15.0, 5.0]
    assert out.settlement_stock["words"].tolist() == [
        "missing beyond the loss allowed: charged", "found again what was missing at an earlier count: what was charged for it is taken back"]


def test_a_loss_without_any_price_is_not_called_allowed():
    # 10 delivered, 6 counted, no loss allowed: 4 are missing. No price is written anywhere, so no money can be put on them.
    sold = [("2026-10-02", "Shop", "delivered", "fresh", 10.0), ("2026-10-20", "Shop", "counted", "fresh", 6.0)]
    none, half = (rolled(sold=sold, markets=[{**SHOP, "allowance": share}]).settlement_stock.iloc[0] for share in (0.0, 0.5))
    assert (none["unexplained_kg"], none["charged_kg"], none["allowed_kg"]) == (4.0, 0.0, 0.0)
    assert none["words"] == "missing beyond the loss allowed; no price is known, so nothing is charged: type one in Prices on Lists"
    assert (half["allowed_kg"], half["words"]) == (5.0, "missing within the loss allowed")


# ---- lots ------------------------------------------------------------------------------------------------------------

H1, H2 = ("2026-10-01", "picked", "A", 3.0, {"lot": "H1"}), ("2026-10-01", "picked", "B", 4.0, {"lot": "H2"})


def traced(what, key, lines, sold=()):
    frames, links = frames_of(lines, sold)
    day = (AS_OF - dt.date(1970, 1, 1)).days
    return trace.trace(trace.Lines(frames, diary(frames, links, day), ledger(frames, day)), what, key, 14.0)


def test_a_dried_lot_named_after_one_harvest_with_another_in_its_note_comes_from_both():
    # Lot H1, note "with H2": 6 kg went in, 3 of each by halves; a recall must reach the logs and the spawn of both.
    lines = [H1, H2, ("2026-10-02", "dried", None, 6.0, {"lot": "H1", "dried_out_kg": 0.6, "note": "with H2"})]
    table = rolled(lines=lines).trace.set_index(["lot", "product"])
    assert (table.loc[("H1", "dried"), "logs"], table.loc[("H1", "dried"), "spawn_lots"]) == (8, "S1, S2")
    assert (table.loc[("H1", "fresh"), "left_kg"], table.loc[("H2", "fresh"), "left_kg"]) == (0.0, 1.0)  # 3 - 3 and 4 - 3
    assert traced(trace.LOT, "h1", lines).dryings["came_from"].tolist() == ["H1, H2 (its lot and its note)"]


def test_a_drying_that_names_its_logs_is_reached_from_their_spawn():
    # Picked from A without a lot and dried as D1 with A written beside it: spawn lot S1 leads to what was sold of D1, S2 does not.
    lines = [("2026-10-01", "picked", "A", 3.0), ("2026-10-02", "dried", "A", 3.0, {"lot": "D1", "dried_out_kg": 0.3})]
    sold = [("2026-10-10", "Stall", "sold", "dried", 0.2, 90.0, "D1")]
    found = traced(trace.SPAWN, "s1", lines, sold)
    assert found.lots == ["D1"] and found.moves["kg"].tolist() == [0.2] and found.markets == ["Stall"]
    assert not len(traced(trace.SPAWN, "s2", lines, sold).moves)
    row = rolled(lines=lines, sold=sold).trace.iloc[0]
    assert (row["lot"], row["logs"], row["spawn_lots"], row["left_kg"], row["words"]) == ("D1", 4, "S1", 0.1, "")


def test_a_drying_of_which_nobody_wrote_from_what_is_a_doubt_of_every_lot_it_may_hold():
    # D1 dried on 15 October, 14 days after the picks: it may hold H1 or H2. D2 of the 16th may not; D3 names B, so it may hold H2 and not H1.
    lines = [H1, H2, *((f"2026-10-{day}", "dried", logs, 1.0, {"lot": lot, "dried_out_kg": 0.1})
                       for day, logs, lot in ((15, None, "D1"), (16, None, "D2"), (14, "B", "D3")))]
    said = "Dried in the days after without a harvest lot named, it may hold some of this: "
    for what, key, lots, kilos in ((trace.LOT, "h1", "D1", 1.0), (trace.LOT, "h2", "D1, D3", 2.0), (trace.SPAWN, "s1", "D1", 1.0),
                                   (trace.SPAWN, "s2", "D1", 1.0)):
        assert {d.words: d.kg for d in traced(what, key, lines).doubts}[said + lots] == kilos


def test_a_lot_that_went_to_market_before_it_was_picked_is_said():
    # Picked on 1 October, sold on 30 September: one of the two dates is wrong. Sold on the day itself is fresh.
    for day, said in (("2026-09-30", "went to a market before it was picked or dried: look at the dates"), ("2026-10-01", "")):
        row = rolled(lines=[H1], sold=[(day, "Stall", "sold", "fresh", 1.0, 10.0, "H1")]).trace.iloc[0]
        assert (row["lot"], row["left_kg"], row["words"]) == ("H1", 2.0, said)


def test_a_market_is_not_told_of_what_was_dried_under_another_name():
    # 4 of H2 picked, 3 of them dried as D1 with H2 in the note: 1 fresh and 0.3 dried are at home.
    lines = [H2, ("2026-10-02", "dried", None, 3.0, {"lot": "D1", "dried_out_kg": 0.3, "note": "from H2"})]
    found = offers.lots_on_hand(frames_of(lines)[0], dt.date(2026, 10, 5), (10, 14), (12, 24)).set_index("lot")["on_hand_kg"]
    assert found.to_dict() == pytest.approx({"H2": 1.0, "D1": 0.3})


def test_what_was_dried_under_a_new_name_is_no_longer_in_the_cooler():
    # H2 of the 20th and H1 of the 22nd, 5 each; all of H1 was dried as D1. The 5 counted are of H2, 11 days old, and keep to 3 November.
    lines = [("2026-10-20", "picked", "B", 5.0, {"lot": "H2"}), ("2026-10-22", "picked", "A", 5.0, {"lot": "H1"}),
             ("2026-10-23", "dried", None, 5.0, {"lot": "D1", "dried_out_kg": 0.5, "note": "from H1"}), ("2026-10-31", "stored", None, 5.0)]
    row, = rolled(lines=lines, settings={"keeps_days": 14.0}).keeping.itertuples()
    assert (row.lot, row.age, row.kg, row.keeps_to) == ("H2", 11, 5.0, pd.Timestamp("2026-11-03"))


# ---- what to do with what there is -----------------------------------------------------------------------------------

def test_a_dried_promise_half_delivered_is_not_too_much():
    # 1 kg out of the dryer, 1 promised, 0.6 of it delivered: the 0.4 at home are the rest. 0.1 for the week after is 0.1 too much.
    lines = [("2026-10-01", "picked", "A", 10.0, {"lot": "H1"}), ("2026-10-02", "dried", None, 10.0, {"lot": "H1", "dried_out_kg": 1.0})]
    out = rolled(dt.date(2026, 10, 28), lines=lines, sold=[("2026-10-27", "Shop", "delivered", "dried", 0.6, 90.0, "H1")],
                 promised=[("2026-10-26", "Shop", "dried", 1.0), ("2026-11-02", "Shop", "dried", 0.1)])
    pool = out.promise_weeks[out.promise_weeks["market"] == "(all markets)"]
    assert pool["supply_kg"].tolist() == pytest.approx([1.0, 0.0]) and pool["free_kg"].tolist() == pytest.approx([0.0, -0.1])
    assert pool["words"].tolist() == ["within what can be promised", "over-promised to all markets together"]


def test_one_return_before_any_sale_does_not_make_a_market_worth_nothing():
    # 3 delivered, 1 came back, none sold yet: what it will sell is not known, so a kg is taken at 10 less a quarter: 7.50.
    # Once 1 is sold, half of what was settled came back: 3.75.
    back = [("2026-10-25", "Shop", "delivered", "fresh", 3.0, 10.0), ("2026-10-26", "Shop", "returned", "fresh", 1.0)]
    lines, sale = [("2026-10-24", "picked", "A", 4.0)], [("2026-10-27", "Shop", "sold", "fresh", 1.0, 10.0)]
    price = pd.DataFrame([{"price_market": "Shop", "price_product": "fresh", "price_from": pd.Timestamp("2026-01-01"), "price_each": 10.0}])
    for sold, net in ((back, 7.5), (back + sale, 3.75)):
        frames, links = frames_of(lines, sold)
        found = roll_up({**frames, "prices": price}, links, {**yards.SETTINGS, **soak_yards.temps()}, AS_OF).keeping_options.set_index("where")
        assert found.loc["Shop", "net_per_kg"] == pytest.approx(net)

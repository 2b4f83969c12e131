"""Promises: one pool for all markets, against supply and deliveries; and the questions that Sales and Promises raise together."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
import yards
from intake_book import A1, DAY, LB, MARKETS, check, said
from test_settle import MARKETS as TERMS
from test_settle import PRICES

from calc.ledger import ledger
from calc.promises import promise_weeks, promised_by_week

AS_OF = (dt.date(2025, 6, 11) - dt.date(1970, 1, 1)).days  # a Wednesday
SUPPLY = pd.DataFrame({"week": pd.to_datetime(["2025-06-09", "2025-06-16", "2025-06-23"]), "promise_kg": [5.0, 6.0, 3.0]})


def typed(*rows):
    table = pd.DataFrame(rows, columns=["week", "market", "product", "asked_kg", "promised_kg", "ordered_kg"])
    table["week"] = pd.to_datetime(table["week"])
    return table.astype({name: float for name in ("asked_kg", "promised_kg", "ordered_kg")})


def weeks(promises, sold=(), supply=SUPPLY, dried=0.0):
    book = ledger({"sales": yards.sales(*sold), "markets": TERMS, "prices": PRICES}, AS_OF)
    return promise_weeks(promises, book, supply, dried, AS_OF).set_index(["week", "market", "product"])


PROMISES = typed(
    ("2025-06-02", "Shop", "fresh", 6, 4, 4), ("2025-06-02", "Kitchen", "fresh", 3, 3, None),
    ("2025-06-09", "Shop", "fresh", 4, 4, None),
    ("2025-06-18", "shop", "fresh", 4, 4, None), ("2025-06-16", "Kitchen", "fresh", None, 3, None),
    ("2025-06-23", "Shop", "fresh", 5, None, None),
    ("2025-06-30", "Shop", "fresh", None, 1, None))
SOLD = (("2025-06-03", "Shop", "delivered", "fresh", 2.0), ("2025-06-08", "Shop", "delivered", "fresh", 2.0),  # Tuesday and Sunday
        ("2025-06-04", "Kitchen", "delivered", "fresh", 2.5), ("2025-06-10", "Shop", "delivered", "fresh", 1.0),
        ("2025-06-09", "Kitchen", "sold", "fresh", 1.0))


def at(table, week, market, product="fresh"):
    return table.loc[(pd.Timestamp(week), market, product)]


def test_weeks_by_hand():
    table = weeks(PROMISES, SOLD)
    shop, kitchen = at(table, "2025-06-02", "Shop"), at(table, "2025-06-02", "Kitchen")
    assert (shop["delivered"], shop["words"]) == (4.0, "kept")
    assert (kitchen["delivered"], kitchen["words"]) == (2.5, "short of the promise")
    pool = at(table, "2025-06-02", "(all markets)")
    assert (pool["promised"], pool["delivered"], pool["words"]) == (7.0, 6.5, "short of what was promised in all")
    assert at(table, "2025-06-09", "Shop")["words"] == "still to deliver"


def test_the_pool_is_one_for_all_markets():
    """4 to the shop (typed for a Wednesday) and 3 to the kitchen: each alone fits into 6, both together do not."""
    table = weeks(PROMISES, SOLD)
    pool = at(table, "2025-06-16", "(all markets)")
    assert (pool["promised"], pool["supply_kg"], pool["free_kg"]) == (7.0, 6.0, -1.0)
    assert pool["words"] == "over-promised to all markets together"
    assert at(table, "2025-06-09", "(all markets)")["free_kg"] == 1.0
    empty = at(table, "2025-06-23", "(all markets)")
    assert empty["free_kg"] == 3.0 and "nothing promised yet" in empty["words"]
    assert "not worked out" in at(table, "2025-06-30", "(all markets)")["words"]


def test_dried_promises_come_from_what_is_at_home_one_after_the_other():
    table = weeks(typed(("2025-06-16", "Shop", "dried", None, 0.3, None), ("2025-06-23", "Shop", "dried", None, 0.3, None)), dried=0.5)
    first, second = (at(table, day, "(all markets)", "dried") for day in ("2025-06-16", "2025-06-23"))
    assert (first["supply_kg"], first["words"]) == (0.5, "within what can be promised")
    assert second["supply_kg"] == pytest.approx(0.2) and second["words"].startswith("over-promised")


def test_every_word_of_the_table_week_by_week():
    """By hand as of Wednesday 11 June: two weeks gone by, the week of today, the week after; fresh stands before dried."""
    promises = typed(
        ("2025-05-26", "Shop", "fresh", 2, None, None), ("2025-05-26", "Kitchen", "fresh", 2, None, None),
        ("2025-06-02", "Shop", "fresh", 4, 4, None), ("2025-06-02", "Kitchen", "fresh", 3, 3, None), ("2025-06-02", "Stall", "fresh", 1, 1, None),
        ("2025-06-09", "Shop", "dried", None, 0.2, None), ("2025-06-09", "Shop", "fresh", 1, 2, 3),
        ("2025-06-16", "Shop", "fresh", 2, None, None), ("2025-06-16", "Kitchen", "fresh", 2, 2, None))
    brought = (("2025-05-27", "Shop", "delivered", "fresh", 1.0), ("2025-06-03", "Shop", "delivered", "fresh", 7.0),
               ("2025-06-07", "Stall", "sold", "fresh", 1.0), ("2025-06-09", "Shop", "delivered", "fresh", 2.0),
               ("2025-06-10", "Shop", "sold", "fresh", 1.5))  # what a market sells of what it was brought is no delivery
    book = ledger({"sales": yards.sales(*brought), "markets": TERMS, "prices": PRICES}, AS_OF)
    table = promise_weeks(promises, book, SUPPLY, 0.1, AS_OF)
    found = [(f"{row.week:%m-%d}", row.market, row.product, row.delivered, row.words) for row in table.itertuples()]
    assert found == [
        ("05-26", "Kitchen", "fresh", 0.0, "nothing promised"), ("05-26", "Shop", "fresh", 1.0, "delivered without a promise"),
        ("05-26", "(all markets)", "fresh", 1.0, "nothing promised"),
        ("06-02", "Kitchen", "fresh", 0.0, "not delivered"), ("06-02", "Shop", "fresh", 7.0, "kept"), ("06-02", "Stall", "fresh", 1.0, "kept"),
        ("06-02", "(all markets)", "fresh", 8.0, "all promises together kept"),  # 4 + 3 + 1
        ("06-09", "Shop", "fresh", 2.0, "promised more than was asked; ordered more than was promised; kept"),
        ("06-09", "(all markets)", "fresh", 2.0, "all promises together kept"),
        ("06-09", "Shop", "dried", 0.0, "still to deliver"), ("06-09", "(all markets)", "dried", 0.0, "over-promised to all markets together"),
        ("06-16", "Kitchen", "fresh", 0.0, "promised"), ("06-16", "Shop", "fresh", 0.0, "asked, nothing promised yet"),
        ("06-16", "(all markets)", "fresh", 0.0, "within what can be promised")]
    assert list(table.index) == list(range(len(table))) and table["rows"].tolist()[:3] == [1.0, 1.0, 2.0]
    asked = weeks(typed(("2025-06-23", "Shop", "fresh", 5, None, None)))
    assert at(asked, "2025-06-23", "(all markets)")["words"] == "nothing promised yet"


def test_dried_given_this_week_is_part_of_its_promise():
    """0.5 kg are at home after 0.1 of the 0.3 promised this week were brought: 0.6 for this week, 0.2 still to give, 0.3 for the next."""
    table = weeks(typed(("2025-06-09", "Shop", "dried", None, 0.3, None), ("2025-06-16", "Shop", "dried", None, 0.3, None)),
                  (("2025-06-10", "Shop", "delivered", "dried", 0.1),), dried=0.5)
    now, after = (at(table, day, "(all markets)", "dried") for day in ("2025-06-09", "2025-06-16"))
    assert [now["supply_kg"], after["supply_kg"]] == pytest.approx([0.6, 0.3])
    assert now["words"] == after["words"] == "within what can be promised"


def test_a_promise_without_any_forecast_and_one_beyond_what_was_asked():
    table = weeks(typed(("2025-06-16", "Shop", "fresh", 1, 2, 3)), supply=None)
    assert at(table, "2025-06-16", "Shop")["words"] == "promised more than was asked; ordered more than was promised"
    assert at(table, "2025-06-16", "(all markets)")["words"] == "not worked out that far: do not promise on it"


def test_promised_by_week_adds_the_markets():
    found = promised_by_week(PROMISES)
    monday = (dt.date(2025, 6, 16) - dt.date(1970, 1, 1)).days
    assert found[monday] == 7.0 and found.sum() == 19.0


def test_no_promises_no_rows():
    assert not len(weeks(typed()))


# ---- questions at intake -----------------------------------------------------------------------------------------

def sale(**changes):
    return {"date": DAY, "market": "Partner A", "kind": "sold", "product": "fresh", "amount": 1.0, "price": 8.0, **changes}


def sales(*rows):
    picks = [{"date": DAY, "event": "picked", "log": "A1", "amount": 3.0}]
    return [line for line in said(check(logs=[A1], markets=MARKETS, events=picks, sales=list(rows))) if line.startswith("Sales")]


def test_sold_above_delivered_is_said_at_each_row():
    found = sales(sale(amount=1.5), sale(amount=1.0), sale(kind="delivered", amount=2.0), sale(kind="returned", amount=0.25))
    end = ("Needed: sold, returned and spoiled of what was delivered. Look for a delivery that is missing, a wrong market, or a line typed "
           "twice; it is used as typed.")
    # The delivery of the day stands before what went that day, wherever its row is: 1.5 fits, then 2.5 and 2.75 do not.
    assert found == [f"Sales row 7, Amount, weight or money: by then 2.5 lb fresh had left Partner A and 2 lb had been delivered there. {end}",
                     f"Sales row 9, Amount, weight or money: by then 2.75 lb fresh had left Partner A and 2 lb had been delivered there. {end}"]


def test_a_count_sets_what_is_there():
    assert not sales(sale(kind="delivered", amount=1.0), sale(kind="counted", amount=1.0), sale(date=dt.datetime(2026, 5, 2), amount=1.0))
    found = sales(sale(kind="delivered", amount=2.0), sale(kind="counted", amount=0.5), sale(date=dt.datetime(2026, 5, 2), amount=1.0))
    assert len(found) == 1 and "1 lb fresh had left Partner A and 0.5 lb had been delivered" in found[0]


def test_straight_sales_and_outright_buyers_are_not_asked():
    assert not sales(sale(amount=2.0), sale(market="Kitchen B", kind="delivered", amount=0.5), sale(market="Kitchen B", kind="returned", amount=0.5))


def test_lots_at_a_market():
    found = sales(sale(kind="delivered", amount=1.0, lot="250501"), sale(kind="delivered", amount=1.0, lot="250502"),
                  sale(amount=1.2, lot="250501"), sale(amount=0.2, lot="250503"))
    assert found[0].startswith("Sales row 8, Amount, weight or money: by then 1.2 lb of lot 250501 had left Partner A and 1 lb had been delivered")
    assert found[1] == ('Sales row 9, Lot: no delivery to Partner A carries the lot "250503". Needed: a lot that was delivered there. '
                        "Type 250502 or 250501.")


def promise(**changes):
    return {"promise_week": dt.datetime(2026, 5, 4), "promise_market": "Partner A", "promise_product": "fresh", "asked": 5.0, "promised": 4.0,
            **changes}


@pytest.mark.parametrize("rows, words", [
    ([promise()], []),
    ([promise(promise_week=dt.datetime(2026, 5, 6))], ["Promises row 6, Week: 6 May 2026 is no Monday; it was read as the week from 4 May 2026."]),
    ([promise(), promise(asked=1.0, promised=None)], [
        "Promises row 7, Week: Partner A, fresh, the week from 4 May 2026 stands in row 6 as well. Needed: one row for each. Put them into one "
        "row if it is the same promise; both are added until then."]),
    ([promise(), promise(promise_product="dried"), promise(promise_market="Kitchen B")], []),
    ([promise(promised=6.0)], ["Promises row 6, Promised: 6 lb promised, but 5 lb asked for. Needed: the two weights in the right columns. Check "
                               "both; they are used as typed."]),
    ([promise(ordered=4.5)], ["Promises row 6, Ordered: 4.5 lb ordered, but 4 lb promised. Needed: the two weights in the right columns. Check "
                              "both; they are used as typed."]),
    ([promise(asked=None, promised=6.0)], []),
    ([promise(promised=-1.0)], ["Promises row 6, Promised: -1 lb is negative. Needed: pounds, 0 or more. Type it again; the cell is left out "
                                "until then."]),
])
def test_promises_at_intake(rows, words):
    assert said(check(logs=[A1], markets=MARKETS, promises=rows)) == words


def test_a_promise_is_in_kilograms():
    assert check(logs=[A1], markets=MARKETS, promises=[promise()]).frames["promises"]["promised_kg"].tolist() == [pytest.approx(4 * LB)]

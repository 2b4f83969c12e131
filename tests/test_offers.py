"""What a market may be told, by hand over small ledgers in kg."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import offers

DAY = dt.date(2026, 11, 15)  # a Sunday


def day(text: str) -> pd.Timestamp:
    return pd.Timestamp(text)


def ledger(*rows) -> dict:
    """Sales of (date, market, kind, amount, key, lot)."""
    names = ["date", "market", "kind", "amount", "key", "lot"]
    table = pd.DataFrame([(day(r[0]), *r[1:], *[None] * (6 - len(r))) for r in rows], columns=names)
    return {"sales": table.assign(product="fresh", price=float("nan"), row=range(6, 6 + len(rows)))}


def test_weeks_begin_on_the_monday_after():
    assert offers.monday(dt.date(2026, 11, 15)) == dt.date(2026, 11, 9) and offers.monday(dt.date(2026, 11, 9)) == dt.date(2026, 11, 9)
    found = offers.weeks(None, {}, "A", DAY)
    assert list(found["week"])[:2] == [dt.date(2026, 11, 16), dt.date(2026, 11, 23)] and len(found) == 8 and found["more_kg"].isna().all()


def test_a_market_sees_its_own_promises_and_what_is_free_of_one_pool():
    """By hand: 2 kg are free in the first week, none in the second, where more was promised than there is."""
    supply = pd.DataFrame({"week": [day("2026-11-16"), day("2026-11-23")], "promise_kg": [5.0, 1.0], "expected_kg": [8.0, 1.0],
                           "free_kg": [2.0, -0.5]})
    promises = pd.DataFrame({"week": [day("2026-11-18"), day("2026-11-16"), day("2026-11-20")], "market": ["A", "B", "a "], "product": ["fresh"] * 3,
                             "asked_kg": [4.0, 9.0, None], "promised_kg": [2.0, 1.0, 0.5]})
    found = offers.weeks(supply, {"promises": promises}, "A", DAY)
    assert list(found["promised_kg"])[:1] == [2.5] and list(found["asked_kg"])[:1] == [4.0] and found["promised_kg"][1:].isna().all()
    assert list(found["more_kg"][:2]) == [2.0, 0.0] and list(found["words"][:3]) == ["likely more", "", ""]


def test_what_is_told_without_a_row_goes_to_the_oldest_deliveries():
    """By hand: 5 + 4 came; 3 are told of the second, 6 without a row: 5 of the first and 1 of the second, so nothing of it is left."""
    frames = ledger(("2026-10-01", "A", "delivered", 5.0, "S1"), ("2026-10-08", "A", "delivered", 4.0, "S2"), ("2026-10-09", "A", "sold", 3.0),
                    ("2026-10-20", "A", "sold", 4.0), ("2026-10-20", "A", "spoiled", 2.0), ("2026-10-20", "B", "sold", 9.0))
    assert not len(offers.deliveries(frames, "A", DAY, {"S2": 3.0}))
    found = offers.deliveries(frames, "A", dt.date(2026, 10, 9), {})
    assert list(found["key"]) == ["S1", "S2"] and list(found["told_kg"]) == [3.0, 0.0] and list(found["left_kg"]) == [2.0, 4.0]


def test_young_deliveries_stay_listed_and_only_they_where_bought_outright():
    frames = ledger(("2026-09-01", "A", "delivered", 5.0, "S1"), ("2026-11-01", "A", "delivered", 1.0, "S2"), ("2026-11-02", "A", "sold", 6.0))
    assert list(offers.deliveries(frames, "A", DAY, {})["key"]) == ["S2"]
    frames = ledger(("2026-09-01", "A", "delivered", 5.0, "S1"), ("2026-11-01", "A", "delivered", 1.0, "S2"))
    assert list(offers.deliveries(frames, "A", DAY, {}, outright=True)["key"]) == ["S2"]


def test_lots_left_at_home():
    """By hand: 6 picked, 1 culled, 3 delivered, 1 returned leave 3; a lot sold straight from home is gone; a lot past its days is not shown."""
    events = pd.DataFrame([
        (day("2026-11-10"), "picked", 6.0, "P1", "yes"), (day("2026-11-10"), "culled", 1.0, "P1", None),
        (day("2026-11-11"), "picked", 2.0, "P2", None), (day("2026-10-01"), "picked", 2.0, "P0", None),
        (day("2026-11-12"), "picked", 1.0, None, None)],
        columns=["date", "event", "amount", "lot", "picked_wet"])
    frames = {"events": events, **ledger(("2026-11-11", "A", "delivered", 3.0, "S1", "P1"), ("2026-11-12", "A", "sold", 2.0, "S2", "P1"),
                                         ("2026-11-13", "A", "returned", 1.0, "S3", "P1"), ("2026-11-13", "door", "sold", 2.0, "S4", "P2"),
                                         ("2026-11-14", "A", "delivered", None, "S5", "P1"))}  # a line without a weight takes nothing
    found = offers.lots_on_hand(frames, DAY, (10, 14), (12, 24))
    assert list(found["lot"]) == ["P1"] and found["on_hand_kg"][0] == 3.0 and found["wet"][0]
    assert (found["use_from"][0], found["use_to"][0]) == (dt.date(2026, 11, 20), dt.date(2026, 11, 24))


PRICES = pd.DataFrame([("A", "fresh", day("2026-01-01"), 20.0), ("A", "fresh", day("2026-11-01"), 24.0), ("A", "dried", day("2026-01-01"), 90.0)],
                      columns=["price_market", "price_product", "price_from", "price_each"])


def test_dried_promises_and_promises_without_a_week_stay_out_of_the_weeks():
    promises = pd.DataFrame({"week": [day("2026-11-16"), day("2026-11-16"), None], "market": ["A"] * 3, "product": ["fresh", "dried", "fresh"],
                             "asked_kg": [4.0, 1.0, 9.0], "promised_kg": [2.0, 1.0, 9.0]})
    found = offers.weeks(None, {"promises": promises}, " a", DAY)
    assert found["asked_kg"][0] == 4.0 and found["promised_kg"][0] == 2.0 and found["promised_kg"][1:].isna().all()


def test_dried_lots_left_at_home():
    """By hand: 0.5 kg came out of the dryer on 15 Nov 2024, 0.2 were delivered: 0.3 are left, to be used within 12 to 24 months, today
    the last day. A day later the lot is gone from the list."""
    events = pd.DataFrame([(day("2024-11-15"), "dried", 5.0, 0.5, "D1", "A grade"), (day("2024-11-15"), "picked", 5.0, None, "D1", "second"),
                           (day("2026-11-14"), "picked", 1.0, None, "F1", "second")],
                          columns=["date", "event", "amount", "dried_out_kg", "lot", "grade"])
    frames = {"events": events, **ledger(("2026-01-02", "A", "delivered", 0.2, "S1", "D1"))}
    frames["sales"]["product"] = "dried"
    found = offers.lots_on_hand(frames, DAY, (10, 14), (24, 12)).to_dict("records")
    assert found == [{"lot": "D1", "product": "dried", "grade": "A grade", "day": dt.date(2024, 11, 15), "use_from": dt.date(2025, 11, 15),
                      "use_to": DAY, "on_hand_kg": pytest.approx(0.3), "wet": False},
                     {"lot": "F1", "product": "fresh", "grade": "second", "day": dt.date(2026, 11, 14), "use_from": dt.date(2026, 11, 24),
                      "use_to": dt.date(2026, 11, 28), "on_hand_kg": 1.0, "wet": False}]
    later = offers.lots_on_hand(frames, DAY + dt.timedelta(days=1), (10, 14), (12, 24))
    assert list(later["lot"]) == ["F1"]


def test_what_was_delivered_is_listed_with_its_words_and_price_the_oldest_first():
    """By hand: 4 (later, but written first) and 5 came long ago. 3 of the 5 are told by their row, 4 without one: the 2 left of the 5
    go first, then 2 of the 4, so 2 kg are still there. A line without a weight says nothing."""
    frames = ledger(("2026-10-08", "A", "delivered", 4.0, "S2", "L2"), ("2026-10-01", "A", "delivered", 5.0, "S1", "L1"),
                    ("2026-10-09", "A", "sold", 3.0), ("2026-10-20", "A", "sold", 4.0), ("2026-10-21", "A", "sold", None))
    frames["sales"]["grade"], frames["sales"]["docket"] = ["first", "second"] + [None] * 3, ["17", "16"] + [None] * 3
    found = offers.deliveries({**frames, "prices": PRICES}, "A", DAY, {"S1": 3.0})
    assert found.to_dict("records") == [{"key": "S2", "date": dt.date(2026, 10, 8), "product": "fresh", "grade": "first", "lot": "L2", "docket": "17",
                                         "delivered_kg": 4.0, "told_kg": 2.0, "left_kg": 2.0, "price": 20.0}]
    both = offers.deliveries({**frames, "prices": PRICES}, "A", dt.date(2026, 10, 8), {})
    assert list(both["key"]) == ["S1", "S2"] and list(both["docket"]) == ["16", "17"]


def test_the_price_of_each_day_is_the_one_in_force():
    days = [dt.date(2025, 12, 31), dt.date(2026, 10, 31), dt.date(2026, 11, 1)]
    assert offers.prices_on({"prices": PRICES}, "A", "fresh", days) == pytest.approx([float("nan"), 20.0, 24.0], nan_ok=True)
    assert offers.prices_on({"prices": PRICES}, "A", "dried", days[1:]) == [90.0, 90.0]


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["delivered", "sold", "returned", "spoiled"]), st.integers(1, 99)), max_size=12))
def test_left_is_delivered_less_told_and_never_below_nothing(lines):
    """Over all deliveries: what is left is what came less what is told, or nothing where more is told than came."""
    frames = ledger(*[("2026-11-10", "A", kind, float(amount), f"S{i}") for i, (kind, amount) in enumerate(lines)])
    found = offers.deliveries(frames, "A", DAY, {})
    came = sum(a for k, a in lines if k == "delivered")
    told = sum(a for k, a in lines if k != "delivered")
    assert found["left_kg"].sum() == pytest.approx(max(0, came - told)) and (found["left_kg"] >= 0).all()
    assert (found["left_kg"] + found["told_kg"]).sum() == pytest.approx(came)

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
                                         ("2026-11-13", "A", "returned", 1.0, "S3", "P1"), ("2026-11-13", "door", "sold", 2.0, "S4", "P2"))}
    found = offers.lots_on_hand(frames, DAY, (10, 14), (12, 24))
    assert list(found["lot"]) == ["P1"] and found["on_hand_kg"][0] == 3.0 and found["wet"][0]
    assert (found["use_from"][0], found["use_to"][0]) == (dt.date(2026, 11, 20), dt.date(2026, 11, 24))


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

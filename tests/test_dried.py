"""The dried ledger: the mass balance of each drying, what is left by lot, what to use first."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import dried
from calc.farm import roll_up
from calc.ledger import ledger
from calc.yard import days, diary

MARKETS = pd.DataFrame(
    {"market": ["Stall", "Shop", "Partner"], "terms": ["own stall", "bought outright", "on consignment"]}
)


def roll(lines, moves, as_of="2026-01-01"):
    """Dryings (date, fresh, dried out, lot) of one log, and dried sales (date, market, kind, kg, lot)."""
    book, links = yards.events(
        ["A"],
        *((d, "dried", "A", fresh, {"dried_out_kg": out, "lot": lot}) for d, fresh, out, lot in lines),
    )
    sold = yards.sales(*((d, market, kind, "dried", kg, 100.0) for d, market, kind, kg, _ in moves))
    sold["lot"] = [move[4] for move in moves]
    frames = {"logs": yards.logs(("A", 1, "2024-03-01")), "events": book, "sales": sold, "markets": MARKETS}
    return roll_up(frames, {"event_links": links}, yards.SETTINGS, dt.date.fromisoformat(as_of))


def test_ratio_by_hand():
    # Published: fresh 85, 89.74, 92 % water; dried 8, 10, 12 %. Least 0.88/0.15, most 0.92/0.08.
    found = dried.published_ratio()
    assert (found.low, found.high) == pytest.approx((0.88 / 0.15, 11.5))
    assert found.typical == pytest.approx(8.77, abs=0.005)  # USDA water content, check C26


def test_each_drying_against_the_mass_balance():
    out = roll(
        [
            ("2025-05-01", 8.77, 1.0, "D1"),
            ("2025-05-02", 5.0, 1.0, None),
            ("2025-05-03", 12.0, 1.0, "D1"),
            ("2025-05-04", 2.0, None, "D2"),
            ("2026-02-01", 9.0, 1.0, "D3"),
        ],
        [],
    )
    table = out.dried_events
    assert table["lot"].tolist() == ["D1", "2025-05-02", "D1", "D2"]  # the last is after the as-of day
    assert table["ratio"].tolist()[:3] == pytest.approx([8.77, 5, 12]) and np.isnan(table["ratio"].iloc[3])
    assert table["words"].tolist() == [dried.AS_EXPECTED, dried.TOO_HEAVY, dried.TOO_LIGHT, dried.NOT_WEIGHED]
    # 8.77 kg fresh: 8.77 x 0.1026 / 0.9 = 0.99978 usual, 8.77 / 11.5 = 0.7626 wet, 8.77 x 0.15/0.88 = 1.4949
    assert table.loc[0, ["expected_kg", "low_kg", "high_kg"]].tolist() == pytest.approx(
        [0.99978, 0.76261, 1.49489], abs=1e-5
    )
    # (8.77 + 5 + 12) fresh for 3 dried; what was not weighed out does not enter
    assert dried.own_ratio(table) == pytest.approx(25.77 / 3)


def test_the_published_ratio_stands_in_for_a_record():
    assert dried.own_ratio(roll([("2025-05-04", 2.0, None, "D2")], []).dried_events) == pytest.approx(
        dried.published_ratio().typical
    )


def test_stock_by_hand():
    # D1 1.0 + 0.5, D2 0.8, D3 0.6. Named: 0.2 of D2 at the stall; to the partner 0.5 of D1, 0.1 back.
    # No lot: the shop takes 1.2: the 1.1 left of D1, then 0.1 of D2. Left: 0, 0.5, 0.6.
    out = roll(
        [
            ("2025-05-01", 8.0, 1.0, "D1"),
            ("2025-05-09", 4.0, 0.5, "d1"),
            ("2025-06-01", 7.0, 0.8, "D2"),
            ("2025-07-01", 5.0, 0.6, "D3"),
        ],
        [
            ("2025-06-05", "Stall", "sold", 0.2, "D2"),
            ("2025-06-06", "Partner", "delivered", 0.5, "D1"),
            ("2025-06-16", "Partner", "returned", 0.1, "D1"),
            ("2025-06-10", "Partner", "sold", 0.3, "D1"),
            ("2025-07-02", "Shop", "delivered", 1.2, None),
            ("2025-07-03", "Shop", "sold", 0.4, None),
        ],
    )
    table = out.dried_stock.set_index("lot")
    assert table["dried_kg"].to_dict() == pytest.approx({"D1": 1.5, "D2": 0.8, "D3": 0.6})
    assert table["left_kg"].to_dict() == pytest.approx({"D1": 0, "D2": 0.5, "D3": 0.6})
    assert table["ratio"]["D1"] == pytest.approx(8)
    assert table["order"].tolist()[1:] == [1, 2] and np.isnan(table["order"].iloc[0])
    assert table["words"].tolist() == ["used up", "use first", "keeps"]
    # keeps 12 to 24 months
    assert table["use_from"]["D2"] == pd.Timestamp("2026-06-01")
    assert table["use_by"]["D2"] == pd.Timestamp("2027-06-01")


def test_the_oldest_lot_goes_first_whatever_its_name():
    """ZZ was dried in May, AA in June: the 0.3 kg sold without a lot are taken from ZZ, and ZZ stands first."""
    out = roll([("2025-06-01", 8.0, 1.0, "AA"), ("2025-05-01", 8.0, 1.0, "ZZ")], [("2025-07-01", "Stall", "sold", 0.3, None)])
    table = out.dried_stock
    assert table["lot"].tolist() == ["ZZ", "AA"] and table["left_kg"].tolist() == pytest.approx([0.7, 1.0])
    assert table["order"].tolist() == [1, 2] and table["words"].tolist() == ["use first", "keeps"]


@pytest.mark.parametrize(
    ("as_of", "word"),
    [("2026-05-01", "use first"), ("2026-05-02", "second half"), ("2027-05-02", "past its storage life")],
)
def test_storage_life_is_a_range(as_of, word):
    out = roll([("2025-05-01", 8.0, 1.0, "D1")], [], as_of)
    assert word in out.dried_stock["words"].iloc[0]


def test_more_out_than_was_dried_is_shown():
    out = roll([("2025-05-01", 8.0, 1.0, "D1")], [("2025-06-01", "Stall", "sold", 1.4, "D1")])
    table = out.dried_stock
    assert table["lot"].tolist() == ["D1", dried.MORE_OUT]
    assert table["left_kg"].tolist() == pytest.approx([0, -0.4])
    assert table["words"].tolist() == ["used up", "a drying is missing, or a sale of dried is written twice"]
    none = roll([], [("2025-06-01", "Stall", "sold", 0.4, None)]).dried_stock
    assert none["lot"].tolist() == [dried.MORE_OUT] and none["left_kg"].tolist() == pytest.approx([-0.4])


def test_nothing_dried():
    out = roll([], [])
    assert len(out.dried_events) == 0 and len(out.dried_stock) == 0


LOT = st.sampled_from(["D1", "D2", "D3", None])
WEIGHT = st.integers(1, 400).map(lambda g: g / 100)
DAY = st.integers(0, 400).map(lambda n: (dt.date(2024, 6, 1) + dt.timedelta(days=n)).isoformat())
DRYING = st.tuples(DAY, WEIGHT, st.one_of(st.none(), WEIGHT), LOT)
MOVE = st.tuples(
    DAY,
    st.sampled_from(["Stall", "Shop", "Partner"]),
    st.sampled_from(["sold", "delivered", "returned", "spoiled", "counted"]),
    WEIGHT,
    LOT,
)


@settings(max_examples=50, deadline=None)
@given(st.lists(DRYING, max_size=8), st.lists(MOVE, max_size=8))
def test_dried_is_taken_and_left(lines, moves):
    book, _ = yards.events(
        [],
        ("2024-01-01", "worked", None, None),
        *((d, "dried", None, f, {"dried_out_kg": o, "lot": lot}) for d, f, o, lot in lines),
    )
    sold = yards.sales(*((d, m, k, "dried", kg, 1.0) for d, m, k, kg, _ in moves))
    sold["lot"] = [move[4] for move in moves]
    at = int(days(["2026-01-01"])[0])
    sales = ledger({"sales": sold, "markets": MARKETS}, at)
    table = dried.stock(dried.events(diary({"events": book}, {}, at)), sales, at)
    assert table["dried_kg"].sum() == pytest.approx(sum(o or 0 for _, _, o, _ in lines), abs=1e-6)
    assert table["taken_kg"].sum() == pytest.approx(dried.taken(sales)["kg"].sum(), abs=1e-5)
    assert (table["dried_kg"] - table["taken_kg"] - table["left_kg"]).abs().max() < 1e-6 or not len(table)
    lots = table[~table["lot"].str.startswith("(")]
    assert (lots["left_kg"] >= 0).all()

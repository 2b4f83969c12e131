"""The rules of a row: the same by mask over a column and by model on one row."""
import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import tables
from calc.records import (
    AMOUNT_KINDS,
    FIXED_LISTS,
    NEEDED,
    TOGETHER,
    ColumnInfo,
    TableInfo,
    failures,
    questions,
    row_failures,
    rules,
)
from calc.row_models import MODELS

DAY = dt.date(2026, 4, 5)
GOOD = {
    "logs": {"log": "A1", "diameter_m": 0.127, "length_m": 1.016, "count": 1.0},
    "events": {"date": DAY, "event": "picked", "amount": 0.5, "amount_is": "weight", "amount_needed": True},
    "costs": {"date": DAY, "item": "spawn", "amount": 30.0},
    "sales": {"date": DAY, "market": "Partner A", "kind": "sold", "product": "fresh", "amount": 2.0},
}


def test_a_column_is_known_by_its_key():
    info = TableInfo("logs", "Logs", (ColumnInfo("log", "Log", "text"), ColumnInfo("count", "Count", "number")))
    assert info.column("count").title == "Count" and info.column("log").title == "Log"
    with pytest.raises(KeyError, match="logs has no column place"):
        info.column("place")


def test_a_good_row_has_nothing_wrong_with_it():
    for table, row in GOOD.items():
        assert row_failures(table, row) == []


@pytest.mark.parametrize("table, change, wanted", [
    ("logs", {"log": None}, [("needed", "log")]),
    ("logs", {"length_m": None}, [("needed", "length_m")]),
    ("logs", {"diameter_m": 30.0, "count": 2.5}, [("limits", "diameter_m"), ("limits", "count")]),
    ("logs", {"count": 0.0}, [("limits", "count")]),
    ("logs", {"start_moisture": 42.0}, [("limits", "start_moisture")]),
    ("events", {"amount": -1.0}, [("limits", "amount")]),
    ("events", {"amount": None}, [("amount_needed", "amount")]),
    ("events", {"event": "dried", "dried_out_kg": 0.6}, [("dried_over_fresh", "dried_out_kg")]),
    ("events", {"date": None}, [("needed", "date")]),
    ("costs", {"life_years": 0.0}, [("limits", "life_years")]),
    ("costs", {"salvage": 31.0}, [("salvage_over_price", "salvage")]),
    ("sales", {"kind": "lent"}, [("needed", "kind")]),
    ("sales", {"product": None}, [("product_needed", "product")]),
])
def test_what_is_wrong_with_a_row(table, change, wanted):
    assert row_failures(table, {**GOOD[table], **change}) == wanted


def test_money_needs_no_product():
    assert row_failures("sales", {**GOOD["sales"], "kind": "paid", "product": None}) == []


def test_a_size_of_exactly_the_limit_is_let_through_whatever_the_factor_rounds_to():
    rule = rules("logs")["diameter_m"]
    assert not rule.asked(np.array([12 * 0.0254, 2 * 0.0254])).any()
    assert rule.asked(np.array([12.01 * 0.0254, 1.99 * 0.0254])).all()


def test_a_blank_is_neither_refused_nor_asked():
    for table in NEEDED:
        for rule in rules(table).values():
            assert not rule.refused(np.array([np.nan]))[0] and not rule.asked(np.array([np.nan]))[0]


def test_limits_run_in_order_and_every_line_says_why():
    for row in tables.rows("limits"):
        rule = rules(row["table"])[row["column"]]
        edges = [e for e in (rule.lowest, rule.ask_below, rule.ask_above, rule.highest) if e is not None]
        assert edges == sorted(edges) and row["why"] and row["basis"] in tables.BASES
        assert row["whole"] in ("yes", "no") and row["if_bad"] in ("row", "cell")


def test_usual_sizes_are_those_of_the_limits():
    from calc.quantities import USUAL_DIAMETER, USUAL_LENGTH

    diameter, length = rules("logs")["diameter_m"], rules("logs")["length_m"]
    assert USUAL_DIAMETER == (diameter.ask_below, diameter.ask_above)
    assert USUAL_LENGTH == (length.ask_below, length.ask_above)


def test_fixed_lists_are_those_of_the_workbook():
    from workbook_template.schema import LISTS

    for name, words in FIXED_LISTS.items():
        assert tuple(LISTS[name]) == words


def edge_numbers(table):
    """Numbers on and around every limit of a table, and blanks."""
    found = [np.nan, 0.0, 1.0, -1.0, 2.5, 1e12, np.inf]
    for rule in rules(table).values():
        for edge in (rule.lowest, rule.highest):
            if edge is not None:
                found += [edge, edge - 2e-9, edge + 2e-9, edge * 1.01, edge * 0.99]
    return st.sampled_from(found)


def column_of(table, key):
    if key in ("date", "week"):
        return st.sampled_from([DAY, None])
    if key == "event":
        return st.sampled_from(["picked", "dried", "note", None])
    if key == "kind":
        return st.sampled_from([*FIXED_LISTS["sale_kinds"], None])
    if key == "product":
        return st.sampled_from([*FIXED_LISTS["products"], None])
    if key in ("log", "market"):
        return st.sampled_from(["A1", None])
    if key == "amount_is":
        return st.sampled_from(AMOUNT_KINDS)
    if key == "amount_needed":
        return st.booleans()
    return edge_numbers(table)


def columns_of(table):
    named = {key for key in rules(table) if not key.startswith("amount_")} | set(NEEDED[table])
    more = {"events": {"amount", "amount_is", "amount_needed"}, "sales": {"product"}}
    return sorted(named | more.get(table, set()))


@pytest.mark.parametrize("table", sorted(MODELS))
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_masks_and_model_fail_on_the_same_rows(table, data):
    keys = columns_of(table)
    one = st.fixed_dictionaries({key: column_of(table, key) for key in keys})
    rows = data.draw(st.lists(one, min_size=1, max_size=6))
    kinds = {"amount_needed": bool, "amount": float, "date": "datetime64[D]"}
    columns = {}
    for key in keys:
        kind = kinds.get(key, float if key in rules(table) else object)
        columns[key] = np.array([row[key] for row in rows], dtype=kind)
    masks = failures(table, columns)
    together = {code for code, _, _ in TOGETHER.get(table, ())}
    for i, row in enumerate(rows):
        by_mask = {pair for pair, mask in masks.items() if mask[i]}
        by_model = set(row_failures(table, {k: columns[k][i] for k in keys}))
        assert bool(by_mask) == bool(by_model), (row, by_mask, by_model)
        # A model looks at one field at a time first, and at fields together once each is good.
        single = {p for p in by_mask if p[0] not in together and p != ("limits", "amount")}
        assert {p for p in by_model if p[0] not in together and p != ("limits", "amount")} == single
        assert by_model <= by_mask


def test_questions_are_about_rows_that_are_not_refused():
    columns = {"amount": np.array([50.0, 100.0, -5.0]), "life_years": np.array([0.2, 5.0, np.nan]),
               "salvage": np.array([np.nan] * 3)}
    found = questions("costs", columns)
    assert found["amount"].tolist() == [False, False, True]
    assert found["life_years"].tolist() == [True, False, False]

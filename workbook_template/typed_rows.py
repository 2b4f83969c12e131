"""What a grower typed, as plain rows: read from a workbook for merging, upgrading and importing."""
from __future__ import annotations

import datetime as dt

import numpy as np

from calc.merging import Line, numbered
from calc.raw import RawColumn, RawTable, number_text
from workbook_template import schema

# The columns by which a row of a list is known; rows of input tables have a row key.
NAMED_BY = {
    "woods": ("wood",), "strains": ("strain",), "forms": ("form",), "packs": ("pack_form", "pack_size"), "lots": ("spawn_lot",),
    "event_kinds": ("event_kind",), "places": ("place",), "markets": ("market",), "prices": ("price_market", "price_product", "price_from"),
    "helpers": ("helper",), "categories": ("category",), "closings": ("close_market", "closed_to"), "closed_years": ("closed_year",),
}

# The columns that make two rows under different keys the same thing typed twice.
TWICE = {"logs": ("log",), "events": ("date", "event", "log", "amount"), "costs": ("date", "item", "amount"),
         "sales": ("date", "market", "kind", "product", "amount"), "promises": ("promise_week", "promise_market", "promise_product")}


def cell(column: RawColumn, index: int):
    """A cell as Python holds it: str, float, datetime, Odd, or None."""
    if index in column.odd:
        return column.odd[index]
    value = column.values[index]
    if isinstance(value, np.datetime64):
        return None if np.isnat(value) else value.astype("datetime64[us]").item()
    if isinstance(value, (float, np.floating)):
        return None if value != value else float(value)
    return value


def rows_of(raw: RawTable) -> list[dict]:
    """All rows, blanks left out of each; the row key is not among them."""
    typed = {key: column for key, column in raw.columns.items() if key != "row"}
    held = {key: _held(column) for key, column in typed.items()}
    return [{key: values[i] for key, values in held.items() if values[i] is not None} for i in range(raw.length)]


def _held(column: RawColumn) -> list:
    """A whole column as Python values."""
    values = column.values
    if values.dtype.kind == "M":
        out = [None if value is None or not isinstance(value, dt.datetime) else value for value in values.astype("datetime64[us]").tolist()]
    elif values.dtype.kind == "f":
        out = [None if value != value else value for value in values.tolist()]
    else:
        out = values.tolist()
    for index, odd in column.odd.items():
        out[index] = odd
    return out


def keys_of(raw: RawTable) -> list[str]:
    """Row keys as text, "" where there is none."""
    if "row" not in raw.columns:
        return [""] * raw.length
    return ["" if value is None else (number_text(value) if isinstance(value, float) else str(value)).strip()
            for value in (cell(raw.columns["row"], i) for i in range(raw.length))]


def lines_of(raw: RawTable, rows: list[dict] | None = None) -> list[Line]:
    """The filled rows of a table under their keys: row keys in input tables, names in lists. rows: as rows_of gives them."""
    rows = rows_of(raw) if rows is None else rows
    named = NAMED_BY.get(raw.key)
    keys = numbered([tuple(row.get(c) for c in named) for row in rows]) if named else keys_of(raw)
    return [Line(key, raw.row_of(i), row) for i, (key, row) in enumerate(zip(keys, rows, strict=True)) if row]


def is_named(key: str) -> bool:
    """Whether rows of a table are known by a name and not by a row key."""
    return schema.table(key) in schema.LIST_TABLES

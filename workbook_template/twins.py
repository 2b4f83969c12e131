"""What the Python twins of native formulas share: the environment they see, and spreadsheet-like small helpers.

A twin gets the row as typed (by column key, in the workbook's units, None where blank) and this environment, and
computes through calc in SI. It says what a correct spreadsheet must show; it is not a translation of the formula.
"""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import cached_property

from calc import tables, units

EXCEL_EPOCH = dt.date(1899, 12, 30)


@dataclass
class Env:
    """The rest of the workbook as a twin may see it."""

    profile: str
    as_of: dt.date
    settings: dict = field(default_factory=dict)  # setting key -> value in the workbook's units
    rows: dict = field(default_factory=dict)  # table key -> list of row dicts in the workbook's units

    def si(self, value, quantity: str):
        """A typed number of the workbook -> SI."""
        return value * units.factor(quantity, self.profile)

    def shown(self, value, quantity: str):
        """An SI number -> the workbook's unit."""
        return value / units.factor(quantity, self.profile)

    def setting_si(self, key: str, quantity: str):
        return self.si(self.settings[key], quantity)

    @cached_property
    def _lookups(self) -> dict:
        return {}

    def lookup(self, table: str, key: str, value) -> dict | None:
        """The first row of a list whose key column equals the value, ignoring case, as MATCH(..., 0) does."""
        if value is None or value == "":
            return None
        index = self._lookups.get((table, key))
        if index is None:
            index = {}
            for row in self.rows.get(table, []):
                if row.get(key) not in (None, ""):
                    index.setdefault(str(row[key]).casefold(), row)
            self._lookups[(table, key)] = index
        return index.get(str(value).casefold())

    def totals(self, table: str, key: str, amount) -> dict[str, float]:
        """Sum of a named function `amount` over a table's rows by the text of a column, ignoring case; kept."""
        name = (table, key, amount.__name__)
        if name not in self._lookups:
            sums: dict[str, float] = {}
            for row in self.rows.get(table, []):
                text = str(row.get(key) or "").casefold()
                sums[text] = sums.get(text, 0.0) + (amount(row, self) or 0.0)
            self._lookups[name] = sums
        return self._lookups[name]


def is_number(value) -> bool:
    """What ISNUMBER sees: numbers and dates, not booleans or text."""
    if isinstance(value, bool):
        return False
    return isinstance(value, (int, float, dt.date))


def serial(value) -> float:
    """A date as the spreadsheet's day number (1900 system); a number unchanged."""
    if isinstance(value, dt.datetime):
        return (value.date() - EXCEL_EPOCH).days + (value - dt.datetime.combine(value.date(), dt.time())) / dt.timedelta(1)
    if isinstance(value, dt.date):
        return float((value - EXCEL_EPOCH).days)
    return float(value)


def blank(value) -> bool:
    return value is None or value == ""


def limit(table: str, column: str) -> dict:
    """A row of data/limits.csv as floats (None where open)."""
    for row in tables.rows("limits"):
        if row["table"] == table and row["column"] == column:
            return {k: (float(row[k]) if row[k] else None)
                    for k in ("refuse_below", "ask_below", "ask_above", "refuse_above")}
    raise KeyError((table, column))


def sheet_round(value: float, digits: int) -> float:
    """ROUND as spreadsheets do it: halves away from zero."""
    import math
    scale = 10.0 ** digits
    return math.copysign(math.floor(abs(value) * scale + 0.5 + 1e-12) / scale, value)

"""What a table held when it was read: plain columns, and beside them every cell that held something else.

A reader (closed file, live Excel, live LibreOffice) fills these; the rest of calc takes them. Nothing a
grower typed is lost: a cell that does not hold its column's type is blank in `values` and stands in `odd`.
"""
from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from calc.text_columns import Coded

TEXT, NUMBER, DATE = "text", "number", "date"
KINDS = (TEXT, NUMBER, DATE)


@dataclass(frozen=True)
class Odd:
    """What a cell really held where its column's type was expected.

    kind: "text", "number", "date", "bool", "error" or "formula" (a formula whose value is not in the file);
    value: str, float, datetime, bool, the error as shown ("#DIV/0!"), "" for a formula.
    """

    kind: str
    value: object


@dataclass
class RawColumn:
    """One column.

    values: float64 for a number column (NaN = blank), datetime64[ms] for a date column (NaT = blank), objects
    str | None for a text column. odd: index -> Odd; the slot in values is then NaN, NaT or None.
    """

    values: np.ndarray
    odd: dict[int, Odd] = field(default_factory=dict)
    _coded: Coded | None = field(default=None, repr=False, compare=False)

    @property
    def coded(self) -> Coded:
        """The values of a text column by their distinct words; for a column that is not changed any more."""
        if self._coded is None:
            from calc.text_columns import Coded
            self._coded = Coded.of(self.values)
        return self._coded

    def changed(self) -> None:
        """To be told when values were changed after `coded` may have been asked for."""
        self._coded = None

    def cut(self, length: int) -> RawColumn:
        """The first rows of it."""
        odd = {i: odd for i, odd in sorted(self.odd.items()) if i < length}
        known = self._coded
        if known is not None and len(known.codes) > length:
            known = replace(known, codes=known.codes[:length]) if (known.codes[length:] < 0).all() else None
        return RawColumn(self.values[:length], odd, known)

    def __len__(self):
        return len(self.values)

    def blank(self) -> np.ndarray:
        """True where the cell held nothing at all (an odd cell is not blank)."""
        return blank_mask(self)


@dataclass
class RawTable:
    """One table as read. Index i stands in sheet row first_row + i (1-based).

    key: table key; sheet: the sheet's name now; extra: the grower's own columns by title, as text;
    merged: merged ranges found in the table ("A5:A7"), already filled into all their rows;
    letters: column key -> sheet column letters now (for messages and links);
    typed_over: (index, heading, value) of values that stand where a formula of ours stood.
    """

    key: str
    sheet: str
    header_row: int
    first_row: int
    columns: dict[str, RawColumn]
    extra: dict[str, RawColumn] = field(default_factory=dict)
    merged: list[str] = field(default_factory=list)
    letters: dict[str, str] = field(default_factory=dict)
    typed_over: list[tuple[int, str, object]] = field(default_factory=list)

    @property
    def length(self) -> int:
        """Rows from the first to the last that holds anything; blank rows between them count."""
        for column in self.columns.values():
            return len(column)
        return 0

    def row_of(self, index: int) -> int:
        """Sheet row number (1-based) of an index."""
        return self.first_row + index


def blank_column(kind: str, length: int) -> RawColumn:
    """A column of that kind and length with every cell blank."""
    if kind == NUMBER:
        return RawColumn(np.full(length, np.nan))
    if kind == DATE:
        return RawColumn(np.full(length, np.datetime64("NaT"), dtype="datetime64[ms]"))
    if kind == TEXT:
        return RawColumn(np.full(length, None, dtype=object))
    raise ValueError("a column is text, number or date, not %r" % (kind,))


def blank_mask(column: RawColumn) -> np.ndarray:
    """True where the cell held nothing at all."""
    values = column.values
    if values.dtype.kind == "f":
        mask = np.isnan(values)
    elif values.dtype.kind == "M":
        mask = np.isnat(values)
    else:
        mask = np.equal(values, None).astype(bool) if column._coded is None else column.coded.blank
    if column.odd:
        mask[list(column.odd)] = False
    return mask


def number_text(value: float) -> str:
    """A number cell as the text a grower sees in an id or note column: 12.0 -> "12", 4.5 -> "4.5".

    >>> number_text(12.0), number_text(4.50), number_text(0.1), number_text(1e5)
    ('12', '4.5', '0.1', '100000')
    """
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))

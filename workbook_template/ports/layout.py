"""Finds a table in the sheet as it is now: which row holds the headings, which column is which.

The grower may move columns, add some, change the unit in brackets; a heading that is gone is named, with what
looks like it and how to put it back.
"""
from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from workbook_template.ports.parts import column_letters

HEADER_ROWS = 20
OWN_SHEETS = ("Logs", "Events", "Costs", "Sales", "Settings", "Lists", "Plan")  # never offered as another one under a new name


class ColumnSpec(NamedTuple):
    """A column to read. kind: "text", "number" or "date".

    required: False = a missing column is read as blank; counts: False = the column is prefilled and does
    not make a row count as used (a constant row key); also: other headings it is known by.
    """

    key: str
    title: str
    kind: str
    required: bool = True
    counts: bool = True
    also: tuple[str, ...] = ()


class TableSpec(NamedTuple):
    """A table to read: its key, sheet, columns, how many rows to search for headings, headings not to read.
    """

    key: str
    sheet: str
    columns: list[ColumnSpec]
    header_rows: int = HEADER_ROWS
    ignore: tuple[str, ...] = ()


class LayoutProblem(Exception):
    """Sheets or columns that were not found. `sentences`: one for each, with how to put it back."""

    def __init__(self, sentences: list[str]):
        self.sentences = list(dict.fromkeys(sentences))
        super().__init__("\n".join(self.sentences))


@dataclass
class Layout:
    """Where a table stands. Rows and columns are 0-based; extra: heading -> column of the grower's own
    columns; computed: heading -> column of our formulas.
    """

    header_row: int
    columns: dict[str, int] = field(default_factory=dict)
    extra: dict[str, int] = field(default_factory=dict)
    computed: dict[str, int] = field(default_factory=dict)


def as_table_spec(spec) -> TableSpec:
    """Plain tuples are accepted in place of the named ones."""
    spec = TableSpec(*spec)
    return spec._replace(columns=[ColumnSpec(*column) for column in spec.columns],
                         header_rows=spec.header_rows or HEADER_ROWS)


@lru_cache(maxsize=8192)
def plain_title(title: object) -> str:
    """A heading for comparison: no case, no spaces or line breaks, no unit in brackets.

    >>> plain_title("Small end" + chr(10) + "(in)"), plain_title(" Hole  Spacing [cm] ")
    ('smallend', 'holespacing')
    """
    text = re.sub(r"\([^()]*\)|\[[^\[\]]*\]", " ", str(title))
    return re.sub(r"[\s\u200b*:]+", "", text.replace("\u00a0", " ")).casefold()


def find_table(spec: TableSpec, sheet: str, rows: dict[int, dict[int, str]], shared: bool) -> Layout:
    """Match a table's headings. rows: row -> column -> text of the first rows; shared: other tables stand
    there.

    Raises LayoutProblem with every heading that is missing or there twice.
    """
    wanted = {plain_title(name): column for column in spec.columns for name in (column.title, *column.also)}
    header_row = _header_row(rows, wanted)
    if header_row is None:
        titles = ", ".join(column.title for column in spec.columns if column.required)
        raise LayoutProblem([
            f"Sheet {sheet}: no row of headings was found in the first {spec.header_rows} rows. Needed: one "
            f"row with {titles}. Put the row back, or take the sheet from the last backup."
        ])
    header = rows[header_row]
    layout, problems = Layout(header_row), []
    places = {column.key: _places(header, column) for column in spec.columns}
    sure = [found[0] for found in places.values() if len(found) == 1]
    for column in spec.columns:
        found = places[column.key]
        if len(found) > 1:
            found = _nearest(found, sure, header, shared)
        if len(found) > 1:
            cells = " and ".join(f"{column_letters(at)}{header_row + 1}" for at in found)
            problems.append(f'Sheet {sheet}: the heading "{column.title}" is there twice, in {cells}. '
                            "Give the one that is yours another name.")
        elif found:
            layout.columns[column.key] = found[0]
        elif column.required:
            problems.append(_missing(sheet, column, header, header_row, set(wanted), _expected(spec, column, places, header), shared))
    if problems:
        raise LayoutProblem(problems)
    _place_others(spec, header, layout, shared)
    return layout


def _header_row(rows, wanted) -> int | None:
    best, best_count = None, 0
    for row in sorted(rows):
        count = len({plain_title(text) for text in rows[row].values()} & set(wanted))
        if count > best_count:
            best, best_count = row, count
    return best


def _places(header, column: ColumnSpec) -> list[int]:
    """Columns headed by the title; by one of its other names only if the title itself is not there."""
    for names in ({plain_title(column.title)}, {plain_title(name) for name in column.also}):
        found = [at for at, text in sorted(header.items()) if plain_title(text) in names]
        if found:
            return found
    return []


def _run(header, at: int) -> tuple[int, int]:
    """First and last column of the unbroken run of headings around a column."""
    first = last = at
    while first - 1 in header:
        first -= 1
    while last + 1 in header:
        last += 1
    return first, last


def _nearest(found, sure, header, shared) -> list[int]:
    """Of several places, the ones in the same run of headings as the table's other columns."""
    if not sure or not shared:
        return found
    runs = [_run(header, at) for at in sure]
    home = max(set(runs), key=runs.count)
    inside = [at for at in found if home[0] <= at <= home[1]]
    return inside or found


def _expected(spec, column: ColumnSpec, places, header) -> int | None:
    """Where a missing column stood, going by the columns of the table before and after it."""
    at = spec.columns.index(column)
    near = [(other, places[spec.columns[at + other].key]) for other in (-1, 1) if 0 <= at + other < len(spec.columns)]
    spots = [found[0] - other for other, found in near if len(found) == 1]
    return next((spot for spot in spots if spot in header), spots[0] if len(set(spots)) == 1 and len(spots) == 2 else None)


def _missing(sheet, column: ColumnSpec, header, header_row, wanted, expected: int | None, shared: bool) -> str:
    free = {plain_title(text): at for at, text in header.items() if plain_title(text) not in wanted and (not shared or at == expected)}
    title = plain_title(column.title)
    near = difflib.get_close_matches(title, free, 1, 0.6) or [
        name for name in free if len(name) >= 3 and (name in title or title in name)
    ][:1]
    if near:
        cell = f"{column_letters(free[near[0]])}{header_row + 1}"
        now = header[free[near[0]]]
        return (f'Sheet {sheet}: the column "{column.title}" was not found. "{now}" in {cell} looks like it: '
                f"type {column.title} there.")
    cell = f"{column_letters(max(header) + 1)}{header_row + 1}"
    if expected is not None and expected not in header:
        return (f'Sheet {sheet}: the column "{column.title}" was not found. {column_letters(expected)}{header_row + 1}, where it stood, is '
                f"empty: type {column.title} there.")
    if expected is not None and plain_title(header[expected]) in free:
        stood = f"{column_letters(expected)}{header_row + 1}"
        return (f'Sheet {sheet}: the column "{column.title}" was not found. It stood where "{header[expected]}" stands in {stood}: if that '
                f"is the same column, type {column.title} there; if it is another, type {column.title} in {cell} to start it again.")
    return (f'Sheet {sheet}: the column "{column.title}" was not found. Type {column.title} in {cell} (the '
            "next free heading) to start it again, or take the column from the last backup.")


def _place_others(spec, header, layout: Layout, shared) -> None:
    """The columns that are not asked for: the grower's own, and those of our formulas."""
    taken = set(layout.columns.values())
    ignored = {plain_title(title) for title in spec.ignore}
    runs = {_run(header, at) for at in taken}
    for at, text in sorted(header.items()):
        inside = not shared or any(first <= at <= last for first, last in runs)
        if at in taken or not inside or not plain_title(text):
            continue
        found = layout.computed if plain_title(text) in ignored else layout.extra
        title = str(text).strip()
        found[title if title not in found else f"{title} ({column_letters(at)})"] = at


def missing_sheet(spec: TableSpec, names: list[str], marked: str | None) -> str:
    """The sentence for a sheet that is not there. marked: the sheet its defined name points to, if any."""
    if marked:
        return (f'There is no sheet "{spec.sheet}". The sheet "{marked}" is it under another name: '
                f"rename it back to {spec.sheet}.")
    near = difflib.get_close_matches(spec.sheet.casefold(), [name.casefold() for name in names if name not in OWN_SHEETS], 1, 0.6)
    if near:
        other = next(name for name in names if name.casefold() == near[0])
        return (f'There is no sheet "{spec.sheet}". The sheet "{other}" looks like it: '
                f"rename it to {spec.sheet}.")
    return (f'There is no sheet "{spec.sheet}". Copy it back from the last backup, or from a new workbook.')

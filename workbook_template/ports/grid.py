"""Tables from rows of Python values, as a running spreadsheet program hands them over.

The same rules as the reader of closed files: headings are found as they stand now, no cell's content is lost,
and a cell that does not hold its column's type stands in `odd`.
"""
from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np

from calc.raw import DATE, TEXT, Odd, RawColumn, RawTable, blank_column, number_text
from workbook_template.ports.layout import (
    LayoutProblem,
    TableSpec,
    as_table_spec,
    find_table,
    missing_sheet,
)
from workbook_template.ports.parts import column_letters, split_range


@dataclass
class Grid:
    """The used cells of a sheet: rows from row 1, each from column A on, and the merged ranges ("A5:A7"), or a call
    that finds them from a row (0-based) down.

    A value is a number, text, True or False, a date, None or "" where blank, or Odd("error", "#DIV/0!").
    """

    name: str
    rows: list[list[object]]
    merged: list[str] | Callable[[int], list[str]] = field(default_factory=list)

    def merged_from(self, row: int) -> list[str]:
        """Merged ranges at or below a row (0-based)."""
        return [text for text in (self.merged(row) if callable(self.merged) else self.merged) if split_range(text)[2] >= row]


def typed(value: object) -> Odd | None:
    """A value with its kind, or None if the cell is blank.

    >>> typed(4), typed(" "), typed(True)
    (Odd(kind='number', value=4.0), None, Odd(kind='bool', value=True))
    """
    if value is None or isinstance(value, Odd):
        return value
    if isinstance(value, str):
        return Odd("text", value) if value.strip() else None
    if isinstance(value, (bool, np.bool_)):
        return Odd("bool", bool(value))
    if isinstance(value, dt.datetime):
        return Odd("date", value.replace(tzinfo=None))
    if isinstance(value, dt.date):
        return Odd("date", dt.datetime(value.year, value.month, value.day))
    if isinstance(value, (int, float, Decimal, np.number)):
        return Odd("number", float(value)) if math.isfinite(value) else None
    return Odd("text", str(value))


def same_name(wanted: str, names: Iterable[str]) -> str | None:
    """The sheet of that name; spreadsheet programs ignore case in sheet names."""
    names = list(names)
    if wanted in names:
        return wanted
    plain = wanted.strip().casefold()
    return next((name for name in names if name.strip().casefold() == plain), None)


def tables_from(specs, names: list[str], grid_of: Callable[[str], Grid],
                marked: Callable[[str], str | None] = lambda key: None) -> dict[str, RawTable]:
    """The tables of specs by key.

    names: the sheets in the workbook; grid_of: a sheet's cells by name, asked for once each; marked: the sheet
    that the defined name bb_KEY points to. Raises LayoutProblem with all that is missing, as the reader does.
    """
    specs = [as_table_spec(spec) for spec in specs]
    grids: dict[str, Grid] = {}
    problems, found = [], []
    sheets = [same_name(spec.sheet, names) for spec in specs]
    for spec, name in zip(specs, sheets, strict=True):
        if name is None:
            problems.append(missing_sheet(spec, names, marked(spec.key)))
            continue
        if name not in grids:
            grids[name] = grid_of(name)
        try:
            head = _head(grids[name], spec.header_rows)
            found.append((spec, grids[name], find_table(spec, name, head, sheets.count(name) > 1)))
        except LayoutProblem as problem:
            problems.extend(problem.sentences)
    if problems:
        raise LayoutProblem(problems)
    return {spec.key: _table(spec, grid, layout) for spec, grid, layout in found}


def _head(grid: Grid, rows: int) -> dict[int, dict[int, str]]:
    head = {}
    for row, cells in enumerate(grid.rows[:rows]):
        texts = {column: value for column, value in enumerate(cells) if isinstance(value, str) and value.strip()}
        if texts:
            head[row] = texts
    return head


def _table(spec: TableSpec, grid: Grid, layout) -> RawTable:
    first_row = layout.header_row + 1
    kinds = {layout.columns[column.key]: column.kind for column in spec.columns if column.key in layout.columns}
    kinds.update(dict.fromkeys(layout.extra.values(), TEXT))
    last = next((i for i in range(len(grid.rows), 0, -1) if any(value is not None for value in grid.rows[i - 1])), 0)
    cells = {at: [typed(row[at]) if at < len(row) else None for row in grid.rows[first_row:last]] for at in kinds}
    merged = _fill_merged(cells, grid.merged_from(first_row), first_row)
    uncounted = {layout.columns.get(column.key) for column in spec.columns if not column.counts}
    length = max((_used(column) for at, column in cells.items() if at not in uncounted), default=0)
    table = RawTable(spec.key, grid.name, layout.header_row + 1, first_row + 1, {}, merged=merged)
    for column in spec.columns:
        at = layout.columns.get(column.key)
        table.columns[column.key] = blank_column(column.kind, length) if at is None else _column(cells[at][:length], column.kind)
        if at is not None:
            table.letters[column.key] = column_letters(at)
    table.extra = {title: _column(cells[at][:length], TEXT) for title, at in layout.extra.items()}
    return table


def _used(cells: list[Odd | None]) -> int:
    """Rows up to the last one that holds anything."""
    return next((i + 1 for i in range(len(cells) - 1, -1, -1) if cells[i] is not None), 0)


def _fill_merged(cells: dict[int, list], merged: list[str], first_row: int) -> list[str]:
    """Give all rows of a merged range its one value, in the column that holds it; returns the ranges in the table."""
    inside = []
    for text in merged:
        top, left, bottom, right = split_range(text)
        if not any(left <= at <= right for at in cells):
            continue
        inside.append(text)
        if left in cells and top >= first_row:
            start, end = top - first_row, min(bottom - first_row + 1, len(cells[left]))
            cells[left][start:end] = [cells[left][start]] * max(end - start, 0)
    return inside


def _column(cells: list[Odd | None], kind: str) -> RawColumn:
    column = blank_column(kind, len(cells))
    for i, cell in enumerate(cells):
        if cell is None:
            continue
        if cell.kind == kind:
            column.values[i] = np.datetime64(cell.value, "ms") if kind == DATE else cell.value
        elif kind == TEXT and cell.kind == "number":
            column.values[i] = number_text(cell.value)
        else:
            column.odd[i] = cell
    return column

"""A result sheet before it is written anywhere: cells and columns with the names of their looks.

The same description is drawn by XlsxWriter in a new workbook, patched into a closed file, or set into an open one.
"""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from workbook_template.looks import RIGHT


@dataclass
class Cell:
    row: int  # 0-based
    col: int
    value: object
    look: str = "label"


def plain(values) -> list:
    """A column as plain values, None where nothing is known.

    >>> plain(np.array([1.5, np.nan])), plain(["a", None])
    ([1.5, None], ['a', None])
    """
    if not isinstance(values, np.ndarray):
        return list(values)
    if values.dtype.kind == "M":
        return values.astype("datetime64[D]").tolist()
    if values.dtype.kind != "f" or not np.isnan(values).any():
        return values.tolist()
    known = values.astype(object)
    known[np.isnan(values)] = None
    return known.tolist()


@dataclass
class Block:
    """Columns of equal length, drawn from a cell downwards: [(values, look), ...].

    Values are a list, or where there may be very many an array of numbers (NaN: not known), days or texts (None: not known).
    """

    row: int
    col: int
    columns: list[tuple[list | np.ndarray, str]]

    @property
    def lists(self) -> list[tuple[list, str]]:
        """The columns as plain values."""
        return [(plain(values), look) for values, look in self.columns]

    @property
    def length(self) -> int:
        return len(self.columns[0][0]) if self.columns else 0


@dataclass
class ChartSeries:
    name: str
    categories: tuple[int, int, int]  # first row, last row, column
    values: tuple[int, int, int]
    fill: str = "solid"  # solid, hatched, light; of a line: solid, dashed, dotted, or mark for single points with their name beside them
    named_at: tuple[int, int] | None = None  # the cell that holds the name


@dataclass
class Chart:
    """A chart of a result sheet; kind is column, bar, stacked bar, stacked column or line.

    The title stays the same from refresh to refresh but for the unit in brackets: a refresh knows the chart by it. lines: drawn
    over the columns of the same categories; below_zero: values may be negative, so the axis does not start at 0.
    """

    kind: str
    title: str
    x_title: str
    y_title: str
    series: list[ChartSeries]
    at: tuple[int, int]  # row, column of its top left corner
    size: tuple[int, int] = (620, 320)  # pixels
    date_axis: bool = False
    y_format: str = "General"
    lines: list[ChartSeries] = field(default_factory=list)
    below_zero: bool = False
    x_format: str = ""  # of dates along the axis, each with a place of its own

    @property
    def every_series(self) -> list[ChartSeries]:
        return self.series + self.lines


@dataclass
class ResultSheet:
    name: str
    widths: list[float]
    landscape: bool = True
    freeze: tuple[int, int] | None = None
    repeat: tuple[int, int] | None = None
    breaks: tuple[int, ...] = ()  # rows before which a new printed page begins
    scale: int | None = None  # percent at which it is printed, where the pages are broken by hand: fitting to a width would undo them
    pages: int = 1  # printed pages side by side; the frozen columns stand on each
    cells: list[Cell] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    heights: dict[int, float] = field(default_factory=dict)
    charts: list[Chart] = field(default_factory=list)
    filter: tuple[int, int, int, int] | None = None  # table object: first row, first column, last row, last column
    table_name: str | None = None

    def put(self, row: int, col: int, value, look: str = "label") -> None:
        self.cells.append(Cell(row, col, value, look))

    def heading(self, title: str, about: str) -> None:
        self.put(0, 0, title, "title")
        self.put(1, 0, about, "about")
        self.heights[0] = 26

    def section(self, row: int, title: str) -> None:
        """A section title, ruled across the whole width of the sheet."""
        for col in range(len(self.widths)):
            self.put(row, col, title if col == 0 else None, "section")

    def table(self, row: int, col: int, headers: list[tuple[str, str]], columns: list[list], total: list | None = None) -> int:
        """A header line and its columns; headers are (text, look of the column). Returns the row after it."""
        for i, (text, look) in enumerate(headers):
            self.put(row, col + i, text, "header_right" if look in RIGHT else "header")
        self.heights[row] = 30
        if columns and len(columns[0]):
            self.blocks.append(Block(row + 1, col, [(values, f"cell_{look}") for values, (_, look) in zip(columns, headers, strict=True)]))
        end = row + 1 + (len(columns[0]) if columns else 0)
        if total is not None:
            for i, (value, (_, look)) in enumerate(zip(total, headers, strict=True)):
                self.put(end, col + i, value, f"total_{look}")
            end += 1
        return end

    def name_series(self) -> None:
        """Put the names of the charts' series into the cells that each chart covers: programs keep a name that is a cell's."""
        for chart in self.charts:
            for i, series in enumerate(chart.every_series):
                series.named_at = chart.at[0] + 2 + i, chart.at[1]
                self.put(*series.named_at, series.name, "label")

    def rows_used(self) -> set[int]:
        """Rows (0-based) that hold a cell or have a height of their own."""
        rows = {c.row for c in self.cells} | set(self.heights)
        return rows.union(*(range(b.row, b.row + b.length) for b in self.blocks))

    def value(self, row: int, col: int):
        """What stands in a cell (for tests and for printing)."""
        for cell in self.cells:
            if (cell.row, cell.col) == (row, col):
                return cell.value
        for block in self.blocks:
            if block.row <= row < block.row + block.length and block.col <= col < block.col + len(block.columns):
                return plain(block.columns[col - block.col][0][row - block.row:row - block.row + 1])[0]
        return None

"""A workbook that is open in LibreOffice, as a port: read from the copy the office stored, results handed back.

The office writes them itself, so that one Undo takes them back and its own unsaved changes stay.
"""
from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np

from workbook_template.ports.closed_file import ClosedFile, samples
from workbook_template.ports.parts import column_letters
from workbook_template.ports.rows import date_serial
from workbook_template.ports.swap import Guard
from workbook_template.results import ResultSheet

PLAIN_HEIGHT = 15  # points, of a row without a height of its own


class OfficeCopy(ClosedFile):
    """The stored copy. name: what the open workbook is called; original: its file, if it has one.

    After write, `handed` holds what the office needs, all of it plain numbers, text, lists and dictionaries.
    """

    def __init__(self, copy: Path, name: str, original: Path | None = None):
        super().__init__(copy, force=True)
        self._name, self._original = name, original
        self.handed: dict = {}

    @property
    def name(self) -> str:
        return self._name

    def write(self, sheets: list[ResultSheet]) -> Path | None:
        """Lay the result sheets out for the office; the file the workbook came from is backed up first.

        Raises LayoutProblem where a result sheet or the key to the looks is gone, SaveProblem without a backup.
        """
        self.require([sheet.name for sheet in sheets])
        looks = {look: spot for spot, look in samples(self.source).items()}
        self.handed = {"samples": looks, "sheets": [as_plain(sheet) for sheet in sheets]}
        return Guard(self._original, force=True).keep_backup() if self._original else None


def plain_value(value):
    """A value as JSON holds it: a number, a text, None where blank or not a number, {"date": serial number}.

    >>> plain_value(dt.date(2026, 3, 1)), plain_value(2), plain_value(float("nan")), plain_value(True)
    ({'date': 46082.0}, 2.0, None, 1.0)
    """
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value == "" or isinstance(value, str):
        return value or None
    if isinstance(value, (dt.date, dt.datetime)):
        return {"date": date_serial(value)}
    return float(value) if math.isfinite(value) else None


def as_plain(sheet: ResultSheet) -> dict:
    """A result sheet as rows of plain values, ranges by look, heights by run of rows, its table and its charts."""
    values: dict[tuple[int, int], object] = {}
    looks: dict[str, list[str]] = {}
    for block in sheet.blocks:
        for c, (column, look) in enumerate(block.lists):
            for r, value in enumerate(column):
                values[block.row + r, block.col + c] = plain_value(value)
            if block.length:
                looks.setdefault(look, []).append(_area(block.row, block.col + c, block.row + block.length - 1, block.col + c))
    for cell in {(cell.row, cell.col): cell for cell in sheet.cells}.values():
        values[cell.row, cell.col] = plain_value(cell.value)
        looks.setdefault(cell.look, []).append(_area(cell.row, cell.col, cell.row, cell.col))
    height, width = (max(at[i] for at in values) + 1 for i in (0, 1))
    made = {"name": sheet.name, "looks": looks, "heights": _runs(sheet.heights, height), "plain_height": PLAIN_HEIGHT,
            "rows": [[values.get((r, c)) for c in range(width)] for r in range(height)],
            "charts": {chart.title: [[list(s.categories), list(s.values)] for s in chart.every_series] for chart in sheet.charts}}
    if sheet.filter and sheet.table_name:
        made["table"] = [sheet.table_name, _area(*sheet.filter)]
    return made


def _area(top: int, left: int, bottom: int, right: int) -> str:
    return f"{column_letters(left)}{top + 1}:{column_letters(right)}{bottom + 1}"


def _runs(heights: dict[int, float], rows: int) -> list[list[float]]:
    """[first row, last row, points] of rows that follow each other and are equally high."""
    runs: list[list[float]] = []
    for row in range(rows):
        height = heights.get(row, PLAIN_HEIGHT)
        if runs and runs[-1][2] == height:
            runs[-1][1] = row
        else:
            runs.append([row, row, height])
    return runs

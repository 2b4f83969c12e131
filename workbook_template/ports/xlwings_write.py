"""Writes result sheets into a workbook that is open in Excel, through xlwings' own object model.

Values go in one assignment a sheet. Looks are copied from the samples at the foot of Sources, so conditional formats
that a grower has put on a result sheet are replaced with them. The clipboard is used for that.
"""
from __future__ import annotations

import math
from contextlib import contextmanager, suppress

from workbook_template.looks import RESULT_LOOKS
from workbook_template.ports.grid import same_name
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.parts import column_letters
from workbook_template.results import Chart, ResultSheet
from workbook_template.sheets.answers import LOOKS_TITLE

ROW_HEIGHT = 15  # points: the height of a row without one of its own, as in a new workbook
CHUNK = 10_000  # rows in one assignment
NO_CHART = 'The chart "{title}" on {sheet} is not there any more; its numbers are in the cells.'
OLD_CHART = ('The chart "{title}" on {sheet} could not be pointed to its new rows from here. Right-click it, Select Data, '
             "or close the workbook and run: boltbook refresh")


def write_results(book, sheets: list[ResultSheet]) -> list[str]:
    """Write the result sheets and nothing else; returns sentences on what could not be done.

    Raises LayoutProblem before anything is written where a result sheet or the samples of the looks are gone.
    """
    names = {sheet.name: same_name(sheet.name, [s.name for s in book.sheets]) for sheet in sheets}
    gone = [f"The result sheet {name} is not there. If you renamed it, rename it back to {name}; if it is gone, copy it back "
            "from the last backup." for name, found in names.items() if found is None]
    if gone:
        raise LayoutProblem(gone)
    home = book.sheets[same_name("Sources", [s.name for s in book.sheets]) or "Sources"]
    old_top = samples_row(home)
    notes: list[str] = []
    with _quiet(book.app):
        new_top = next((s for s in map(_title_row, sheets) if s is not None), old_top)
        if new_top != old_top:
            height = len(RESULT_LOOKS)
            home.range((old_top + 1, 1), (old_top + height, 2)).copy(home.range((new_top + 1, 1)))
        samples = {look: home.range((new_top + 1 + i, 2)) for i, look in enumerate(RESULT_LOOKS)}
        for sheet in sheets:
            kept = range(new_top + 1, new_top + 1 + len(RESULT_LOOKS)) if sheet.name == "Sources" else range(0)
            notes += _write(book.sheets[names[sheet.name]], sheet, samples, kept)
    return notes


@contextmanager
def _quiet(app):
    """No redrawing and no computing between the steps; the grower's own choices come back at the end."""
    before = {}
    for name, value in (("screen_updating", False), ("calculation", "manual")):
        with suppress(Exception):  # a Mac version without the switch only draws more
            before[name] = getattr(app, name)
            setattr(app, name, value)
    try:
        yield
    finally:
        for name, value in {**before, "cut_copy_mode": False}.items():
            with suppress(Exception):
                setattr(app, name, value)


def samples_row(sheet) -> int:
    """The row (1-based) of the title over the samples. Raises LayoutProblem."""
    last = sheet.used_range.last_cell.row
    column = sheet.range((1, 1), (last, 1)).options(ndim=1).value
    for row, value in enumerate(column, start=1):
        if value == LOOKS_TITLE:
            return row
    raise LayoutProblem([f'Sources has lost its last block, "{LOOKS_TITLE}". Copy the sheet Sources back from the last backup, '
                         "or from a new workbook of the same units."])


def _title_row(sheet: ResultSheet) -> int | None:
    """Where the samples will stand on the new Sources; None for the other sheets."""
    return next((c.row + 1 for c in sheet.cells if c.value == LOOKS_TITLE), None) if sheet.name == "Sources" else None


def _write(xl, sheet: ResultSheet, samples: dict, kept: range) -> list[str]:
    end = xl.used_range.last_cell
    values = matrix(sheet, end.row, end.column)
    rows, columns = len(values), len(values[0])
    for top, bottom in _around(rows, kept):
        xl.range((top, 1), (bottom, columns)).clear_formats()
    xl.range((1, 1)).options(chunksize=CHUNK if rows > CHUNK else None).value = values
    for look, areas in rectangles(sheet, kept).items():
        samples[look].copy()
        for top, left, bottom, right in areas:
            xl.range((top, left), (bottom, right)).paste(paste="formats")
    for top, bottom, height in heights(sheet, rows):
        xl.range((top, 1), (bottom, 1)).row_height = height
    notes = _resize(xl, sheet)
    return notes + _point_charts(xl, sheet)


def _around(rows: int, kept: range) -> list[tuple[int, int]]:
    """The rows from 1 on, without the kept ones."""
    parts = [(1, rows)] if not kept else [(1, kept.start - 1), (kept.stop, rows)]
    return [(top, bottom) for top, bottom in parts if top <= bottom]


def plain(value):
    """A value as Excel must be handed it: text stays text whatever it looks like, an unknown number is blank.

    >>> plain("5/16"), plain(4), plain(float("nan")), plain("")
    ("'5/16", 4, None, None)
    """
    if isinstance(value, str):
        return "'" + value if value else None
    return None if isinstance(value, float) and not math.isfinite(value) else value


def matrix(sheet: ResultSheet, rows: int, columns: int) -> list[list]:
    """All values of a sheet from A1 on, padded with blanks to at least that size. Headings of a table go without the
    apostrophe that keeps other texts as they are: they hold no digits.
    """
    used = [(b.row + b.length, b.col + len(b.columns)) for b in sheet.blocks] + [(c.row + 1, c.col + 1) for c in sheet.cells]
    rows, columns = max([rows, *(r for r, _ in used)]), max([columns, *(c for _, c in used)])
    grid = [[None] * columns for _ in range(rows)]
    for block in sheet.blocks:
        for c, (column, _) in enumerate(block.lists):
            for r, value in enumerate(column):
                grid[block.row + r][block.col + c] = plain(value)
    for cell in sheet.cells:
        heading = sheet.filter and cell.row == sheet.filter[0] and isinstance(cell.value, str) and not any(map(str.isdigit, cell.value))
        grid[cell.row][cell.col] = cell.value if heading else plain(cell.value)
    return grid


def rectangles(sheet: ResultSheet, kept: range = range(0)) -> dict[str, list[tuple[int, int, int, int]]]:
    """Look -> areas (top, left, bottom, right, 1-based) that wear it; rows of `kept` are left out."""
    areas: dict[str, list] = {}
    for block in sheet.blocks:
        for look, left, right in _runs([(block.col + i + 1, look) for i, (_, look) in enumerate(block.columns)]):
            if block.length:
                areas.setdefault(look, []).append((block.row + 1, left, block.row + block.length, right))
    lines: dict[int, dict[int, str]] = {}
    for cell in sheet.cells:
        if cell.row + 1 not in kept:
            lines.setdefault(cell.row + 1, {})[cell.col + 1] = cell.look
    for row, looks in lines.items():
        for look, left, right in _runs(sorted(looks.items())):
            areas.setdefault(look, []).append((row, left, row, right))
    return {look: _stacked(found) for look, found in areas.items()}


def _runs(looks: list[tuple[int, str]]) -> list[tuple[str, int, int]]:
    """Neighbouring columns with the same look as (look, first, last)."""
    runs: list[list] = []
    for column, look in looks:
        if runs and runs[-1][0] == look and runs[-1][2] == column - 1:
            runs[-1][2] = column
        else:
            runs.append([look, column, column])
    return [tuple(run) for run in runs]


def _stacked(areas: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    """The same areas with those that stand right under one another joined."""
    joined: list[list[int]] = []
    for top, left, bottom, right in sorted(areas, key=lambda a: (a[1], a[3], a[0])):
        if joined and joined[-1][1] == left and joined[-1][3] == right and joined[-1][2] == top - 1:
            joined[-1][2] = bottom
        else:
            joined.append([top, left, bottom, right])
    return [tuple(area) for area in joined]


def heights(sheet: ResultSheet, rows: int) -> list[tuple[int, int, float]]:
    """Rows (first, last, 1-based) and their height: the usual one for all, then those that have their own."""
    runs: list[list] = []
    for row, height in sorted(sheet.heights.items()):
        if runs and runs[-1][1] == row and runs[-1][2] == height:
            runs[-1][1] = row + 1
        else:
            runs.append([row + 1, row + 1, height])
    return [(1, rows, ROW_HEIGHT)] + [tuple(run) for run in runs]


def _resize(xl, sheet: ResultSheet) -> list[str]:
    """Fit the table object to its new rows; a table that the grower has removed is not made again."""
    if not sheet.filter or sheet.table_name not in [table.name for table in xl.tables]:
        return []
    top, left, bottom, right = sheet.filter
    try:
        xl.tables[sheet.table_name].resize(xl.range((top + 1, left + 1), (max(bottom, top + 1) + 1, right + 1)))
    except (AttributeError, NotImplementedError):
        return [f"The filter on {sheet.name} could not be fitted to the new rows from here: all rows are there, the last may not be filtered."]
    return []


def series_formula(sheet: str, series, place: int) -> str:
    """A chart's series as Excel writes it.

    >>> from workbook_template.results import ChartSeries
    >>> series_formula("Yield", ChartSeries("Picked", (5, 8, 0), (5, 8, 2)), 1)
    '=SERIES("Picked",\\'Yield\\'!$A$6:$A$9,\\'Yield\\'!$C$6:$C$9,1)'
    """
    def area(place):
        first, last, column = place
        letters = column_letters(column)
        quoted = sheet.replace("'", "''")
        return f"'{quoted}'!${letters}${first + 1}:${letters}${last + 1}"

    name = series.name.replace('"', '""')
    return f'=SERIES("{name}",{area(series.categories)},{area(series.values)},{place})'


def _point_charts(xl, sheet: ResultSheet) -> list[str]:
    """Point each of our charts to its new rows, found by title; one that cannot be is told."""
    if not sheet.charts:
        return []
    there = {}
    for chart in xl.charts:
        with suppress(Exception):  # a chart without a title, or of a kind that has none
            there.setdefault(chart.title, chart)
    notes = []
    for chart in sheet.charts:
        if chart.title not in there:
            notes.append(NO_CHART.format(title=chart.title, sheet=sheet.name))
        elif not _point(there[chart.title], sheet.name, chart):
            notes.append(OLD_CHART.format(title=chart.title, sheet=sheet.name))
    return notes


def _point(there, sheet: str, chart: Chart) -> bool:
    """xlwings has no call for the rows of a series, so Excel's own is used: Formula (Windows), formula (Mac)."""
    try:
        drawn = list(there.series)
        if len(drawn) != len(chart.every_series):
            return False
        for place, (old, new) in enumerate(zip(drawn, chart.every_series, strict=True), start=1):
            text, api = series_formula(sheet, new, place), old.api
            setter = getattr(getattr(api, "formula", None), "set", None)
            if setter:  # Mac: a reference that is set through a call
                setter(text)
            else:
                api.Formula = text
    except Exception:  # whatever Excel says to it, the cells are right and the chart is told about
        return False
    return True

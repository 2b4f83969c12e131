"""The workbook that is open in Excel as a port, through the free part of xlwings (Windows and Mac).

Input sheets are read and never written. Excel forgets its Undo steps when a program writes to it: a copy of the file
is kept first, and the workbook is not saved, so closing it without saving takes a refresh back too.
"""
from __future__ import annotations

import shutil
from contextlib import suppress
from pathlib import Path

from calc.raw import Odd, RawTable
from workbook_template.ports.grid import Grid, same_name, tables_from, typed
from workbook_template.ports.parts import column_letters, split_range, split_reference
from workbook_template.ports.preflight import MAX_AREA, FileProblem, check_extent
from workbook_template.ports.swap import SaveProblem, backup_path
from workbook_template.ports.xlwings_write import write_results

UNDO = "Undo does not take a refresh back in Excel. Close without saving, or use the copy."
NOT_SAVED = "The workbook is not saved yet: look at it, then save it in Excel."
ERRORS = {"#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#SPILL!", "#CALC!", "#FIELD!", "#BLOCKED!", "#CONNECT!",
          "#BUSY!", "#UNKNOWN!", "#GETTING_DATA"}
ERROR_CODES = range(-2146826300, -2146826200)  # how Windows hands over errors that xlwings has no name for
CHUNK = 10_000


class XlwingsPort:
    """book: an xlwings Book. notes: after a write, sentences for the grower on what to know; writing: it has begun."""

    def __init__(self, book):
        self.book, self.writing = book, False
        self.notes: list[str] = []
        self._grids: dict[str, Grid] = {}
        self._names: dict[str, str] | None = None

    @property
    def name(self) -> str:
        """The workbook's file name, for messages."""
        return self.book.name

    def marks(self) -> dict[str, str]:
        """The workbook's own constants by defined name (bb_profile, bb_layout), as text."""
        return {name: self._refers(name).strip('="') for name in self._handles() if name.startswith("bb_")}

    def tables(self, specs) -> dict[str, RawTable]:
        """The input tables. Raises LayoutProblem, FileProblem."""
        return tables_from(specs, self._sheets(), self._grid, self._marked)

    def named(self, prefix: str) -> dict[str, object]:
        """Values of the cells whose defined names begin so; a name for several cells gives rows."""
        found = {}
        for name in self._handles():
            place = split_reference(self._refers(name)) if name.startswith(prefix) else None
            sheet = same_name(place[0], self._sheets()) if place else None
            if sheet is None:
                continue
            with suppress(ValueError):
                found[name] = self._boxed(self._grid(sheet), split_range(place[1].replace("$", "")))
        return found

    def cells(self, sheet: str) -> dict[tuple[int, int], object]:
        """Filled cells of a sheet, (row, column), 0-based -> value; {} where it is not there."""
        name = same_name(sheet, self._sheets())
        rows = self._grid(name).rows if name else []
        found = {(row, column): _plain(value) for row, cells in enumerate(rows) for column, value in enumerate(cells)}
        return {at: value for at, value in found.items() if value is not None}

    def write(self, sheets: list) -> Path | None:
        """Keep a copy, then write the result sheets; returns the copy's path, None where there is none."""
        backup = keep_copy(self.book)
        self._grids.clear()
        self.writing = True
        self.notes = write_results(self.book, sheets)
        self.notes += [UNDO if backup else "Undo does not take a refresh back in Excel. Close without saving to take it back.", NOT_SAVED]
        return backup

    def _sheets(self) -> list[str]:
        return [sheet.name for sheet in self.book.sheets]

    def _handles(self) -> dict:
        """Workbook-wide names (those of one sheet hold a !)."""
        if self._names is None:
            self._names = {name.name: name for name in self.book.names if "!" not in name.name}
        return self._names

    def _refers(self, name: str) -> str:
        return self._handles()[name].refers_to or ""

    def _marked(self, key: str) -> str | None:
        place = split_reference(self._refers(f"bb_{key}")) if f"bb_{key}" in self._handles() else None
        return same_name(place[0], self._sheets()) if place else None

    def _grid(self, name: str) -> Grid:
        if name not in self._grids:
            self._grids[name] = read_sheet(self.book.sheets[name])
        return self._grids[name]

    @staticmethod
    def _boxed(grid: Grid, box):
        top, left, bottom, right = box

        def at(row, column):
            inside = row < len(grid.rows) and column < len(grid.rows[row])
            return _plain(grid.rows[row][column]) if inside else None

        if (top, left) == (bottom, right):
            return at(top, left)
        last = next((row for row in range(len(grid.rows) - 1, -1, -1) if any(_plain(v) is not None for v in grid.rows[row])), top)
        return [[at(row, column) for column in range(left, right + 1)] for row in range(top, min(bottom, last) + 1)]


def _plain(value):
    """A cell's value as the reader of closed files gives it: numbers as float, dates as datetime."""
    cell = typed(value)
    if cell is None or cell.kind == "error":
        return cell if cell is not None or not isinstance(value, str) else value or None
    return cell.value


def read_sheet(sheet) -> Grid:
    """All used cells of an xlwings Sheet, errors marked. Raises FileProblem where a stray cell stands far out."""
    last = sheet.used_range.last_cell
    rows, columns = last.row, last.column
    if rows * columns > MAX_AREA:
        check_extent(sheet.name, f"{column_letters(columns - 1)}{rows}", rows * columns, 0)
    area = sheet.range((1, 1), (rows, columns))
    options = {"ndim": 2, "err_to_str": True} | ({"chunksize": CHUNK} if rows > CHUNK else {})
    values = [[_marked_error(value) for value in row] for row in area.options(**options).value]
    return Grid(sheet.name, values, lambda first: merged_ranges(sheet, first + 1, rows, columns))


def _marked_error(value):
    """xlwings hands over an error as its text (a text cell that holds just these letters is read as one too)."""
    if isinstance(value, str) and value in ERRORS:
        return Odd("error", value)
    if type(value) is int and value in ERROR_CODES:
        return Odd("error", "#ERROR!")
    return value


def merged_ranges(sheet, first: int, last: int, columns: int) -> list[str]:
    """Merged ranges from a row (1-based) down, found by halving the area: one question to Excel where there are none."""
    found: dict[str, None] = {}
    todo = [(first, 1, last, columns)] if first <= last else []
    while todo:
        top, left, bottom, right = todo.pop()
        area = sheet.range((top, left), (bottom, right))
        if area.merge_cells is False:
            continue
        if (top, left) == (bottom, right):
            found[area.merge_area.address.replace("$", "")] = None
        elif bottom - top >= right - left:
            half = (top + bottom) // 2
            todo += [(top, left, half, right), (half + 1, left, bottom, right)]
        else:
            half = (left + right) // 2
            todo += [(top, left, bottom, half), (top, half + 1, bottom, right)]
    return sorted(found, key=split_range)


def keep_copy(book) -> Path | None:
    """A copy of the workbook beside it: as it is in Excel now where Excel can do that (Windows), else as last saved.

    A workbook in a cloud folder without a local path gets none; the folder keeps earlier versions itself.
    Raises FileProblem where it was never saved, SaveProblem where the copy cannot be written.
    """
    try:
        full = str(book.fullname)
    except Exception:  # xlwings could not find the local folder of an address such as https://...
        return None
    if "://" in full:
        return None
    path = Path(full)
    if not path.is_absolute() or not path.exists():
        raise FileProblem(f"{book.name} was never saved: nothing was written. Save it once in Excel, then refresh.")
    backup = backup_path(path)
    try:
        copy_as = getattr(book.api, "SaveCopyAs", None)
        if copy_as:
            copy_as(str(backup))
        else:
            shutil.copyfile(path, backup)
    except OSError as error:
        raise SaveProblem(f"The copy {backup.name} could not be written ({error.strerror or error}): nothing was changed. "
                          "Save the workbook in a folder of your own.") from error
    return backup

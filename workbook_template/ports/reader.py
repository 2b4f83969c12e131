"""Reads a grower's closed workbook: whole tables fast, single cells exactly, and no cell's content lost.

One pass over the bytes (scan.py) finds the cells that do not hold their column's type, keeps them as they were, and takes
the others along where the sheet is in the usual form. Other sheets go through fastexcel, with the column types given (it
never guesses).
"""
from __future__ import annotations

import os
import re
import zipfile
from concurrent.futures import ThreadPoolExecutor
from xml.parsers import expat

import numpy as np

from calc.raw import DATE, NUMBER, TEXT, Odd, RawColumn, RawTable, blank_column, blank_mask, number_text
from calc.text_columns import Coded
from workbook_template.ports.cells import CHUNK, cell_value, iter_cells, read_chunks
from workbook_template.ports.layout import (
    ColumnSpec,
    LayoutProblem,
    TableSpec,
    as_table_spec,
    find_table,
    missing_sheet,
)
from workbook_template.ports.parts import (
    Book,
    SharedStrings,
    column_letters,
    local,
    read_book,
    read_date_styles,
    split_range,
    split_reference,
)
from workbook_template.ports.preflight import SAVE_AS, FileProblem, check_extent, check_file, damage_named
from workbook_template.ports.scan import COMPUTED, Scan, scan_sheet

__all__ = [
    "ColumnSpec", "FileProblem", "FoundTables", "LayoutProblem", "TableSpec", "read_cells", "read_names", "read_tables",
]

HEAD_CHUNK = 1 << 13  # the headings stand in the first few thousand bytes
MOST_MERGED = 10_000
LAST_SERIAL = 2_958_466  # 31 Dec 9999 ends there
MOST_CELLS = 1_000_000  # filled cells of a sheet that is read cell by cell
MOST_NAMED = 100_000  # cells of a range that a name stands for; ours have a few hundred
UNFIT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")  # XML 1.0, 2.2; see parts.unescape
DTYPES = {TEXT: "string", NUMBER: "float", DATE: "datetime"}


class Known:
    """A workbook file looked into once: its book, date styles and shared strings, for whoever reads several things of it.

    Good for as long as the file stays as it is. Raises FileProblem.
    """

    def __init__(self, path):
        self.path = path
        check_file(path)
        with damage_named(path, ValueError), zipfile.ZipFile(path) as archive:
            self.book = read_book(archive)
            self.styles = read_date_styles(archive, self.book)
        self.strings = SharedStrings(self.path, self.book.strings_part)

    def pack_strings(self) -> None:
        """Hold the shared strings closely packed from now on."""
        self.strings.pack()

    @classmethod
    def of(cls, path) -> Known:
        """What is known of the file at a path; what is known already stays."""
        return path if isinstance(path, cls) else cls(path)


def read_tables(path, specs) -> dict[str, RawTable]:
    """Read tables by their headings.

    specs: TableSpec, or tuples (key, sheet name, [(column key, title, kind), ...], rows to search for
    headings). Result: key -> RawTable. Columns may stand in any order; the grower's own columns come as
    text in `extra`. Rows after the last used one are left off, blank rows between are kept. Merged cells
    are filled into all their rows and listed in `merged`. Raises FileProblem (not a usable file) and
    LayoutProblem (sheets or columns missing: all of them at once).
    """
    found = FoundTables(path, specs)
    return found.read(found.specs)


class FoundTables:
    """The tables of a workbook by their headings, each read when it is asked for.

    places: key -> (the sheet's part, the table's Layout). Raises as read_tables does.
    """

    def __init__(self, path, specs):
        self.known, self.specs = Known.of(path), {spec.key: spec for spec in map(as_table_spec, specs)}
        path = self.known.path
        with damage_named(path, ValueError), zipfile.ZipFile(path) as archive:
            if self.known.book.strings_part in archive.NameToInfo:
                self.known.strings.read_all()  # against their declared size, so that a lying directory is caught
            self.places = _find_all(archive, self.known, list(self.specs.values()))

    def read(self, keys) -> dict[str, RawTable]:
        """The tables with these keys."""
        readers = []  # each holds all shared strings, so as few as threads are opened, and none outlives the reading
        work = [(self.known, readers, self.specs[key], *self.places[key]) for key in keys]
        if len(work) < 2:
            tables = [_read_table(*job) for job in work]
        else:
            with ThreadPoolExecutor(2) as pool:
                tables = list(pool.map(lambda job: _read_table(*job), work))
        return {table.key: table for table in tables}


def read_cells(path, sheet: str, last_row: int | None = None) -> dict[str, object]:
    """Filled cells of a sheet, address -> str, float, bool, datetime or Odd("error", "#DIV/0!").

    last_row: stop after this row (1-based); None = the whole sheet. Meant for small sheets.
    Raises LayoutProblem if the sheet is not there.
    """
    known = Known.of(path)
    part = known.book.sheet(sheet)
    if part is None:
        spec = TableSpec("", sheet, [])
        raise LayoutProblem([missing_sheet(spec, [other.name for other in known.book.sheets], None)])
    values = _sheet_values(known, part.part, None if last_row is None else last_row - 1)
    return {f"{column_letters(column)}{row + 1}": value for (row, column), value in values.items()}


def read_values(path, sheet: str) -> dict[tuple[int, int], object]:
    """Filled cells of a sheet, (row, column), 0-based -> value as in read_cells, Odd("formula", "") for a formula without one.

    {} where there is no such sheet.
    """
    known = Known.of(path)
    part = known.book.sheet(sheet)
    return {} if part is None or part.state == "chartsheet" else _sheet_values(known, part.part, None, bare=True)


def read_names(path, prefix: str = "bb_") -> dict[str, object]:
    """Values behind the workbook's defined names that begin with prefix.

    A name of one cell gives its typed value (None = blank), a name of a range a list of rows. Names that
    point to nothing readable (#REF!, a formula, another file) are left out.
    """
    known, found, wanted = Known.of(path), {}, {}
    book = known.book
    for name, text in book.names.items():
        place = _place(book, text) if name.startswith(prefix) else None
        if place:
            wanted.setdefault(place[0], []).append((name, place[1]))
    for part, names in wanted.items():
        values = _sheet_values(known, part, max(box[2] for _, box in names))
        for name, box in names:
            found[name] = _boxed(values, box)
    return {name: found[name] for name in book.names if name in found}


def _place(book: Book, text: str):
    """Part and box of a defined name's reference, or None."""
    reference = split_reference(text)
    sheet = book.sheet(reference[0]) if reference else None
    if sheet is None or sheet.state == "chartsheet":
        return None
    try:
        return sheet.part, split_range(reference[1])
    except ValueError:
        return None


def _boxed(values: dict, box):
    top, left, bottom, right = box
    if (top, left) == (bottom, right):
        return values.get((top, left))
    bottom = min(bottom, max((row for row, _ in values), default=top))
    if (bottom - top + 1) * (right - left + 1) > MOST_NAMED:
        return []
    columns = range(left, right + 1)
    return [[values.get((row, column)) for column in columns] for row in range(top, bottom + 1)]


def _sheet_values(known: Known, part: str, last_row, bare: bool = False) -> dict:
    """bare: a formula without a value counts as a filled cell."""
    values = {}
    with damage_named(known.path, ValueError), zipfile.ZipFile(known.path) as archive, archive.open(part) as stream:
        for cell in iter_cells(read_chunks(stream, CHUNK if last_row is None else HEAD_CHUNK), last_row, filled=True):
            value = Odd("formula", "") if bare and cell.uncomputed else cell_value(cell, known.strings, known.styles, known.book.date1904)
            if value is not None:
                values[cell.row, cell.column] = value
                if len(values) > MOST_CELLS:
                    raise FileProblem(f"{os.path.basename(os.fspath(known.path))} has a sheet of more than {MOST_CELLS:,} filled cells, more than "
                                      "this can read at once. Split it into several files, then try again.")
    return values


def _find_all(archive, known: Known, specs) -> dict[str, tuple]:
    """Sheet part and layout of every table, or one LayoutProblem with all that is missing."""
    book, heads, problems, layouts = known.book, {}, [], {}
    for spec in specs:
        sheet = book.sheet(spec.sheet)
        if sheet is None or sheet.state == "chartsheet":
            place = split_reference(book.names.get(f"bb_{spec.key}", ""))
            marked = book.sheet(place[0]) if place else None
            names = [other.name for other in book.sheets]
            problems.append(missing_sheet(spec, names, marked.name if marked else None))
            continue
        if sheet.name not in heads:
            heads[sheet.name] = _head(archive, known, sheet.part, spec.header_rows)
        shared = sum(book.sheet(other.sheet) is sheet for other in specs) > 1
        try:
            layouts[spec.key] = sheet, find_table(spec, sheet.name, heads[sheet.name], shared)
        except LayoutProblem as problem:
            problems.extend(problem.sentences)
    if problems:
        raise LayoutProblem(problems)
    return layouts


def _head(archive, known: Known, part, rows: int) -> dict[int, dict[int, str]]:
    head: dict[int, dict[int, str]] = {}
    with archive.open(part) as stream:
        for cell in iter_cells(read_chunks(stream, HEAD_CHUNK), rows - 1, filled=True):
            value = cell_value(cell, known.strings, known.styles, known.book.date1904)
            if isinstance(value, str) and value.strip():
                head.setdefault(cell.row, {})[cell.column] = value
    return head


def _read_table(known: Known, readers: list, spec: TableSpec, sheet, layout) -> RawTable:
    path, book, styles, strings = known.path, known.book, known.styles, known.strings
    first_row = layout.header_row + 1
    kinds = {column.key: column.kind for column in spec.columns}
    places = {(False, key): at for key, at in layout.columns.items()}
    places.update({(True, title): at for title, at in layout.extra.items()})
    by_column = {at: TEXT if own else kinds[key] for (own, key), at in places.items()}
    formulas = {at: title for title, at in layout.computed.items()}
    with damage_named(path, ValueError), zipfile.ZipFile(path) as archive:
        scan = scan_sheet(archive, sheet.part, by_column | dict.fromkeys(formulas, COMPUTED), first_row, styles, keep=True)
        _check_rectangle(sheet.name, scan)
        columns = _kept_columns(known, scan, first_row, by_column)
    if columns is None:
        columns = _load(known, readers, sheet.name, first_row, by_column, scan)
    for cell in scan.odd:
        value = Odd("formula", "") if cell.uncomputed else cell_value(cell, strings, styles, book.date1904)
        _put_odd(columns[cell.column], cell, first_row, by_column[cell.column], value)
    for at in {cell.column for cell in scan.odd}:
        columns[at].changed()
    merged = _fill_merged(sheet.name, columns, scan, first_row)
    length = _used_length(spec, layout, columns)
    table = RawTable(spec.key, sheet.name, layout.header_row + 1, first_row + 1, {}, merged=merged)
    for column in spec.columns:
        at = layout.columns.get(column.key)
        whole = blank_column(column.kind, length) if at is None else columns[at].cut(length)
        table.columns[column.key] = whole
        if at is not None:
            table.letters[column.key] = column_letters(at)
    for cell in scan.typed_over:
        if cell.row - first_row < length:
            value = cell_value(cell, strings, styles, book.date1904)
            table.typed_over.append((cell.row - first_row, formulas[cell.column], value))
    table.extra = {title: columns[at].cut(length) for title, at in layout.extra.items()}
    return table


def _check_rectangle(sheet: str, scan: Scan) -> None:
    area = (scan.last_row + 1) * (scan.last_column + 1)
    last = f"{column_letters(max(scan.last_column, 0))}{scan.last_row + 1}"
    check_extent(sheet, last, area, scan.cells)


def _kept_columns(known: Known, scan: Scan, first_row: int, kinds: dict[int, str]) -> dict[int, RawColumn] | None:
    """The columns from the cells that the scan kept; None where the general reader has to see the sheet."""
    length = max(scan.last_row - first_row + 1, 0)
    if scan.bulk is None:
        return None if length else {at: blank_column(kind, 0) for at, kind in kinds.items()}
    at, rows, values, shared = scan.bulk.joined()
    columns = {}
    for column, kind in kinds.items():
        mine = np.flatnonzero(at == column)
        places = rows[mine] - first_row
        if kind == TEXT:
            made = _texts(length, places, values[mine], shared[mine], known.strings)
        else:
            made = blank_column(kind, length)
            if kind == DATE:
                _put_days(made, places, values[mine], known.book.date1904)
            else:
                made.values[places] = values[mine]
        if made is None:
            return None
        columns[column] = made
    for cell in scan.bulk.cells:
        value, kind = cell_value(cell, known.strings, known.styles, known.book.date1904), kinds[cell.column]
        if kind == TEXT and isinstance(value, float):
            value = _number_text(value)
        _put_odd(columns[cell.column], cell, first_row, kind, value)
        columns[cell.column].changed()
    return columns


def _texts(length: int, places, values, shared, strings: SharedStrings) -> RawColumn | None:
    """A text column of shared strings and numbers; None with a string that is not there."""
    numbers, words = strings.coded()
    which, typed = values[shared].astype(np.int64), values[~shared]
    if len(which) and not 0 <= which.min() <= which.max() < len(numbers):
        return None
    codes = np.full(length, -1, dtype=np.int32)
    codes[places[shared]] = numbers[which]
    coded = Coded(codes, words).ordered()
    if not len(typed):
        return RawColumn(coded.texts(), {}, coded)
    column = RawColumn(coded.texts())
    distinct, which = np.unique(typed, return_inverse=True)
    column.values[places[~shared]] = np.array([_number_text(value) for value in distinct.tolist()], dtype=object)[which]
    return column


def _number_text(value: float) -> str:
    """A number in a column of text as the general reader gives it, to nine places: 12, 4.5, 0.333333333."""
    return f"{value:.9f}".rstrip("0").rstrip(".")


def _put_days(column: RawColumn, places, serials, date1904: bool) -> None:
    """Dates by their serial numbers, to the millisecond; a number outside the calendar is kept as the number."""
    since = np.where(date1904, serials + 1462, np.where(serials < 60, serials + 1, serials))  # 1462 days lie between the systems
    good = (serials >= 0) & (since < LAST_SERIAL)
    ms = np.floor(np.where(good, since, 0.0) * 86_400_000 + 0.5).astype(np.int64)
    good &= ms < LAST_SERIAL * 86_400_000
    column.values[places[good]] = np.datetime64("1899-12-30", "ms") + ms[good].astype("timedelta64[ms]")
    column.odd.update((int(place), Odd("number", float(serial))) for place, serial in zip(places[~good], serials[~good], strict=True))


def _load(known: Known, readers: list, sheet: str, first_row: int, kinds: dict[int, str], scan: Scan) -> dict[int, RawColumn]:
    """The columns of a sheet that is not in the usual form. readers: those of this file that no thread uses at the moment."""
    if scan.last_row < first_row:
        return {at: blank_column(kind, 0) for at, kind in kinds.items()}
    import fastexcel

    path = known.path
    order = sorted(kinds)
    with damage_named(path, fastexcel.FastExcelError):
        book = readers.pop() if readers else fastexcel.read_excel(os.fspath(path))
        loaded = book.load_sheet(
            sheet, header_row=None, skip_rows=first_row, use_columns=order,
            dtypes={at: DTYPES[kind] for at, kind in kinds.items()},
        )
        batch, errors = _arrow_of(loaded, sheet)
    readers.append(book)
    columns = {at: _from_arrow(batch.column(i), kinds[at]) for i, at in enumerate(order)}
    for error in errors.errors if errors is not None else ():
        index, place = error.offset_position  # the column counts from the sheet's first used one
        column = columns.get(place + scan.first_column)
        if column is not None:
            column.odd[index] = _told(error.detail)
    for at, kind in kinds.items():
        if kind == DATE:
            _drop_impossible(columns[at], known.book.date1904)
    return columns


def _arrow_of(loaded, sheet: str):
    """What the general reader hands over; it gives up on a number under a date format that is far beyond any date."""
    try:
        return loaded.to_arrow_with_errors()
    except BaseException as error:
        if type(error).__name__ != "PanicException":
            raise
        raise FileProblem(f"Sheet {sheet} holds what cannot be read in the form in which it was written. {SAVE_AS}") from error


def _from_arrow(array, kind: str) -> RawColumn:
    if kind == TEXT:
        coded = _coded(array)
        return RawColumn(coded.texts(), {}, coded)
    values = array.to_numpy(zero_copy_only=False)
    if not values.flags.writeable:
        values = values.copy()
    return RawColumn(values.astype("datetime64[ms]") if kind == DATE else values)


def _coded(array) -> Coded:
    """A column of texts by its words, without what no text may hold; a text of spaces only is blank."""
    found = array.dictionary_encode()
    coded = Coded(found.indices.fill_null(-1).to_numpy(), found.dictionary.to_numpy(zero_copy_only=False))
    return coded.changed(lambda text: text if (text := UNFIT.sub("", text)).strip() else None)


def _drop_impossible(column: RawColumn, date1904: bool) -> None:
    """A number outside the calendar (1900 or 1904 to 9999) under a date format is kept as the number."""
    first = np.datetime64("1904-01-01" if date1904 else "1899-12-31", "ms")
    low, high = column.values < first, column.values >= np.datetime64("10000-01-01", "ms")
    for index in np.flatnonzero(low | high):
        base = first if low[index] or date1904 else np.datetime64("1899-12-30", "ms")
        column.odd[int(index)] = Odd("number", float((column.values[index] - base) / np.timedelta64(1, "D")))
    column.values[low | high] = np.datetime64("NaT")


def _told(detail: str) -> Odd:
    """The content a reader's error message names; only for what the pass over the bytes did not explain."""
    date = re.search(r"ExcelDateTime \{ value: (-?[0-9.e+-]+)", detail)
    if date:
        return Odd("number", float(date.group(1)))
    return Odd("text", detail.partition(" but got ")[2].strip("'") or detail)


def _put_odd(column: RawColumn, cell, first_row: int, kind: str, value) -> None:
    """Put a cell that does not hold its column's type where it belongs: a value, an odd one, or blank."""
    index = cell.row - first_row
    if not 0 <= index < len(column):
        return
    column.odd.pop(index, None)
    blank = None if kind == TEXT else np.nan if kind == NUMBER else np.datetime64("NaT")
    column.values[index] = blank
    odd = as_odd(value)
    if odd is None:
        return
    if odd.kind == kind:
        column.values[index] = odd.value if kind != DATE else np.datetime64(odd.value, "ms")
    elif kind == TEXT and odd.kind == "number":
        column.values[index] = number_text(odd.value)
    else:
        column.odd[index] = odd


def as_odd(value) -> Odd | None:
    """A typed cell value with its kind; None if it is blank."""
    if value is None or isinstance(value, Odd):
        return value
    if isinstance(value, str):
        return Odd("text", value) if value.strip() else None
    if isinstance(value, bool):
        return Odd("bool", value)
    return Odd("number", value) if isinstance(value, float) else Odd("date", value)


def _fill_merged(sheet: str, columns: dict[int, RawColumn], scan: Scan, first_row: int) -> list[str]:
    """Give all rows of a merged range its one value, in the column that holds it."""
    merged, ranges = [], _merged_ranges(scan.tail)
    if len(ranges) > MOST_MERGED:
        raise FileProblem(f"Sheet {sheet}: {len(ranges):,} merged cells, more than can be told apart. Select the whole sheet, undo the merges, "
                          "save, and try again.")
    for text in ranges:
        top, left, bottom, right = split_range(text)
        if bottom < first_row or not any(left <= at <= right for at in columns):
            continue
        merged.append(text)
        column = columns.get(left)
        if column is None or top < first_row:
            continue
        start, end = top - first_row, min(bottom - first_row + 1, len(column))
        if start < end:
            column.values[start:end] = column.values[start]
            column.changed()
            if start in column.odd:
                column.odd.update({index: column.odd[start] for index in range(start, end)})
    return merged


def _merged_ranges(tail: bytes) -> list[str]:
    """Merged ranges named in what follows the sheet data."""
    if b"mergeCell" not in tail:
        return []
    ranges = []

    def start(tag, about):
        if local(tag) == "mergeCell" and "ref" in about:
            ranges.append(about["ref"])

    parser = expat.ParserCreate()
    parser.StartElementHandler = start
    begin = tail.index(b"mergeCells")
    opening = tail.rindex(b"<", 0, begin)
    end = tail.index(b">", tail.rindex(b"mergeCells")) + 1
    parser.Parse(tail[opening:end], True)
    return ranges


def _used_length(spec: TableSpec, layout, columns) -> int:
    """Rows up to the last one that the grower filled."""
    uncounted = {layout.columns.get(column.key) for column in spec.columns if not column.counts}
    length = 0
    for at, column in columns.items():
        if at not in uncounted:
            used = np.flatnonzero(~blank_mask(column))
            length = max(length, int(used[-1]) + 1 if len(used) else 0)
    return length

"""Types values into input cells of a closed workbook, as the grower would, and leaves everything else as it is.

Changed at most: the worksheet parts of the tables typed into, in them the rows touched; where a table grows also
its range, the checks and print area that ended with it, and defined names; the calculation flag.
"""
from __future__ import annotations

import datetime as dt
import os
import re
import tempfile
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from defusedxml import ElementTree

from calc.raw import RawColumn, RawTable, blank_mask
from workbook_template import schema
from workbook_template.columns import ROWKEY
from workbook_template.ports.layout import Layout, TableSpec, plain_title
from workbook_template.ports.package import drop_chain, workbook_content
from workbook_template.ports.parts import Book, SheetPart, column_letters, read_book, read_date_styles, split_range, split_reference
from workbook_template.ports.preflight import FileProblem, check_file, damage_named
from workbook_template.ports.rawzip import rewrite
from workbook_template.ports.reader import FoundTables, read_names
from workbook_template.ports.sheetcells import CellState, Put, Recompute, SheetCells, Trouble
from workbook_template.ports.sheetxml import table_content
from workbook_template.ports.xmledit import apply_changes, find_elements, set_attributes
from workbook_template.twins import Env

DAYS_1904 = 1462  # a date's number in a workbook that counts from 1904 is smaller by this


class Typed(NamedTuple):
    """One input cell: table key, row number on the sheet (1-based), column key, value in the workbook's units.

    value: number, text, date, datetime, bool, or None to empty the cell.
    """

    table: str
    sheet_row: int
    column: str
    value: object


@dataclass
class Written:
    """The new file; table key -> (sheet row, row key) of its new rows in the order given; the parts that changed."""

    content: bytes
    places: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    parts: list[str] = field(default_factory=list)


def type_in(source, cells: Iterable[Typed] = (), rows: dict[str, Sequence[dict]] | None = None,
            blank_rows: dict[str, int] | None = None, today: dt.date | None = None, recompute: Iterable[str] = ()) -> bytes:
    """The workbook at source (path or bytes) with these values typed in, as the bytes of the new file.

    rows: table key -> new rows (column key -> value): they fill the prefilled blank rows behind the last used one,
    then stand below the table, which grows. A row may bring its own row key under "row". blank_rows: prefilled rows
    to add below a table; rows typed below it before become rows of it. today: the day that live ages are shown for where As of is
    blank (the clock's if left out). recompute: tables whose formula cells all get their true value anew, since they rest on what is
    typed elsewhere.
    Raises FileProblem, LayoutProblem where the workbook cannot take them; KeyError for a column that is no input.
    """
    return type_into(source, cells, rows, blank_rows, today, recompute).content


def type_into(source, cells: Iterable[Typed] = (), rows: dict[str, Sequence[dict]] | None = None,
              blank_rows: dict[str, int] | None = None, today: dt.date | None = None, recompute: Iterable[str] = ()) -> Written:
    """The same, with where the new rows stand. source: a path, bytes, or what as_typed gave."""
    with tempfile.TemporaryDirectory() as folder:
        work = _work_on(source, folder, today)
        for cell in cells:
            work.change(Typed(*cell))
        for key, new in (rows or {}).items():
            for row in new:
                work.add(key, row)
        for key, count in (blank_rows or {}).items():
            work.take_in(key)
            for _ in range(count):
                work.add_blank(key)
        for key in recompute:
            work.recompute(key)
        changed, dropped = work.parts()
        target = Path(folder, "new.xlsx")
        rewrite(work.path, target, changed, dropped)
        return Written(target.read_bytes(), work.places, sorted(changed))


def _work_on(source, folder: str, today: dt.date | None) -> _Work:
    if isinstance(source, AsTyped):
        return source.work
    if isinstance(source, (str, os.PathLike)):
        return _Work(Path(source), today or dt.date.today())
    path = Path(folder, "workbook.xlsx")
    path.write_bytes(source)
    return _Work(path, today or dt.date.today())


@dataclass
class AsTyped:
    """A workbook as the Python twins see it, and the sheet row at which each table's first row stands.

    Tables are read when asked for. Rows hold their row key too, under the key column's name.
    """

    env: Env
    first_row: dict[str, int]
    work: _Work


def as_typed(path, today: dt.date | None = None) -> AsTyped:
    """What a grower typed, in the workbook's units, unchecked: text in a number column is the text. Raises FileProblem, LayoutProblem."""
    work = _Work(Path(path), today or dt.date.today())
    return AsTyped(work.env(), {key: layout.header_row + 2 for key, (_, layout) in work.spots.items()}, work)


# ---- one table as it stands ----------------------------------------------------------------------------------------

@dataclass
class _Place:
    """A table in the file: where it stands, what it holds, and what is to be typed into it."""

    table: schema.Table
    raw: RawTable
    sheet: SheetPart
    layout: Layout
    columns: dict[str, int]  # column key -> column (0-based), computed ones and the row key too
    part: str | None  # the part of the table object
    bottom: int  # last row of the table (1-based)
    totals: bool  # a row of totals stands at its foot
    used: int  # rows up to the last one that holds anything
    changes: dict[int, dict[str, object]] = field(default_factory=dict)  # sheet row -> column key -> value
    new: set = field(default_factory=set)  # sheet rows below the table
    free: int = 0  # next row to fill, as an index

    @property
    def span(self) -> tuple[int, int]:
        spots = [*self.columns.values(), *self.layout.extra.values()]
        return min(spots), max(spots)

    @property
    def grown(self) -> int:
        """The table's last row from now on."""
        return max([self.bottom, *self.new])


class _Work:
    """Everything known about one workbook, and the changes collected."""

    def __init__(self, path: Path, today: dt.date):
        from workbook_template.ports.closed_file import ClosedFile
        from workbook_template.refresh import profile_of, table_specs

        check_file(path)
        self.path, self.today = path, today
        self.profile = profile_of(ClosedFile(path, force=True))
        self.specs = [_all_rows(spec) for spec in table_specs(self.profile)]
        with damage_named(path), zipfile.ZipFile(path) as archive:
            self.book: Book = read_book(archive, charts=True)
            self.dated = read_date_styles(archive, self.book)
        self.found = FoundTables(path, self.specs)
        self.spots = self.found.places
        self._raws: dict[str, RawTable] = {}
        self.places: dict[str, list[tuple[int, str]]] = {}
        self.tables: dict[str, _Place] = {}
        self._keys: dict[str, int] = {}

    def raw(self, key: str) -> RawTable:
        """A table as read, when first needed."""
        if key not in self._raws:
            self._raws |= self.found.read([key])
        return self._raws[key]

    def place(self, key: str) -> _Place:
        """The table of that key, looked at when first needed. Raises KeyError."""
        if key not in self.tables:
            self.tables[key] = self._look(schema.table(key))
        return self.tables[key]

    def _look(self, table) -> _Place:
        sheet, layout = self.spots[table.key]
        sheet = self.book.sheet(sheet.name)  # with its relations
        raw = self.raw(table.key)
        titles = {plain_title(c.header(self.profile)): c.key for c in table.columns if not c.typed and c.kind != ROWKEY}
        columns = dict(layout.columns)
        columns |= {titles[plain_title(t)]: at for t, at in layout.computed.items() if plain_title(t) in titles}
        part, bottom, totals = self._table_part(sheet, layout, columns)
        used = _used(table, raw)
        return _Place(table, raw, sheet, layout, columns, part, max(bottom, raw.first_row), totals, used, free=used)

    def _table_part(self, sheet: SheetPart, layout: Layout, columns: dict[str, int]) -> tuple[str | None, int, bool]:
        """Part, last data row (1-based) and whether totals stand below, of the table object over these columns."""
        with zipfile.ZipFile(self.path) as archive:
            for part in sheet.of_kind("table"):
                about = find_elements(archive.read(part), {"table"})[0].about
                top, left, bottom, right = split_range(about["ref"])
                if top == layout.header_row and left <= min(columns.values()) <= right:
                    totals = int(about.get("totalsRowCount", 0))
                    return part, bottom + 1 - totals, bool(totals)
        named = split_reference(self.book.names.get(f"bb_{next(k for k, v in self.spots.items() if v[1] is layout)}", ""))
        return None, (split_range(named[1])[2] + 1 if named else layout.header_row + 2), False

    # ---- what is to be typed ---------------------------------------------------------------------------------------

    def change(self, cell: Typed) -> None:
        place = self.place(cell.table)
        if cell.column not in place.columns or not (place.table.column(cell.column).typed or cell.column == _key_column(place.table)):
            raise KeyError(f"{cell.table} has no input column {cell.column}")
        if cell.sheet_row < place.raw.first_row:
            raise KeyError(f"row {cell.sheet_row} of {place.sheet.name} stands above the table")
        self._unmerged(place, cell.sheet_row)
        place.changes.setdefault(cell.sheet_row, {})[cell.column] = cell.value
        place.used = max(place.used, cell.sheet_row - place.raw.first_row + 1)
        place.free = max(place.free, place.used)

    def _unmerged(self, place: _Place, row: int) -> None:
        for text in place.raw.merged:
            top, _, bottom, _ = split_range(text)
            if top < row <= bottom + 1 and bottom > top:
                raise FileProblem(f"Sheet {place.sheet.name}: {text} is merged into one cell. Unmerge it, then try again.")

    def add(self, key: str, values: dict) -> None:
        """A new row: in the next blank prefilled row, else below the table."""
        place = self.place(key)
        known = {c.key for c in place.table.columns if c.typed or c.kind == ROWKEY}
        if set(values) - known:
            raise KeyError(f"{key} has no input column {sorted(set(values) - known)}")
        missing = [k for k, v in values.items() if k not in place.columns and v is not None and k != _key_column(place.table)]
        if missing:
            titles = ", ".join(place.table.column(k).title for k in missing)
            raise FileProblem(f"Sheet {place.sheet.name}: the column {titles} is not there, and something is to be typed into it. "
                              "Type the heading into the next free cell of the headings, then try again.")
        row = place.raw.first_row + place.free
        place.free += 1
        if row > place.bottom:
            self._below(place, row)
        place.changes[row] = {k: v for k, v in values.items() if k in place.columns}
        row_key = self._keyed(place, row)
        self.places.setdefault(key, []).append((row, row_key))

    def add_blank(self, key: str) -> None:
        """A prefilled blank row below the table."""
        place = self.place(key)
        row = max(place.grown, place.raw.first_row + place.used - 1) + 1
        self._below(place, row)
        place.changes[row] = {}
        self.places.setdefault(key, []).append((row, self._keyed(place, row)))

    def recompute(self, key: str) -> None:
        """Every used row of the table gets true values in its formula cells."""
        place = self.place(key)
        for row in range(place.raw.first_row, min(place.bottom, place.raw.first_row + place.used - 1) + 1):
            place.changes.setdefault(row, {})

    def take_in(self, key: str) -> None:
        """Rows typed below the table become rows of it, each with a row key and the formulas it lacks."""
        place = self.place(key)
        name = _key_column(place.table)
        for index in range(place.bottom - place.raw.first_row + 1, place.used):
            row = place.raw.first_row + index
            self._below(place, row)
            changes = place.changes.setdefault(row, {})
            if name in place.columns and not changes.get(name) and not _held(place.raw.columns[name], index):
                changes[name] = self._next_key(place, name)

    def _below(self, place: _Place, row: int) -> None:
        if place.totals:
            raise FileProblem(f"Sheet {place.sheet.name}: the table is full and a row of totals stands under it. Take the totals row off "
                              "(Table, Total row), then try again.")
        place.new.add(row)

    def _keyed(self, place: _Place, row: int) -> str:
        """The row's key: the one given, the one that stands there, or the next free one."""
        name = _key_column(place.table)
        if name is None or name not in place.columns:
            return ""
        given = place.changes[row].get(name)
        there = None if row in place.new else _held(place.raw.columns[name], row - place.raw.first_row)
        if not given and there:
            place.changes[row].pop(name, None)
            return str(there)
        if not given:
            given = self._next_key(place, name)
            place.changes[row][name] = given
        return str(given)

    def _next_key(self, place: _Place, name: str) -> str:
        from workbook_template.build import ROW_KEY_LETTER
        letter = ROW_KEY_LETTER[place.table.key]
        if place.table.key not in self._keys:
            texts = [str(v) for v in place.raw.columns[name].values if v is not None]
            texts += [str(row[name]) for row in place.changes.values() if row.get(name)]
            found = (re.fullmatch(rf"{letter}(\d+)", text.strip()) for text in texts)
            self._keys[place.table.key] = max((int(f.group(1)) for f in found if f), default=0)
        self._keys[place.table.key] += 1
        return f"{letter}{self._keys[place.table.key]:05d}"

    # ---- what the twins see ----------------------------------------------------------------------------------------

    def env(self) -> Env:
        """The workbook after the changes, as the Python twins see it."""
        from workbook_template.settings_read import read_settings
        settings, _ = read_settings(read_names(self.path, "typed_"), self.profile)
        as_of = settings["as_of_typed"] if isinstance(settings.get("as_of_typed"), dt.date) else self.today
        return Env(self.profile, as_of, settings, _Rows(self))

    # ---- the new parts ---------------------------------------------------------------------------------------------

    def parts(self) -> tuple[dict[str, bytes], set[str]]:
        """(part -> new content, parts to leave out)."""
        if not any(place.changes for place in self.tables.values()):
            return {}, set()
        env = self.env()
        changed: dict[str, bytes] = {}
        dropped: set[str] = set()
        with damage_named(self.path), zipfile.ZipFile(self.path) as archive:
            by_sheet: dict[str, list[_Place]] = {}
            for place in self.tables.values():
                if place.changes:
                    by_sheet.setdefault(place.sheet.part, []).append(place)
            formulas = False
            for part, places in by_sheet.items():
                xml, touched = self._sheet(archive.read(part), places, env)
                formulas |= touched
                changed[part] = xml
            for place in self.tables.values():
                if place.part and place.grown > place.bottom:
                    xml = archive.read(place.part)
                    top, left, _, right = split_range(find_elements(xml, {"table"})[0].about["ref"])
                    ref = f"{column_letters(left)}{top + 1}:{column_letters(right)}{place.grown}"
                    changed[place.part] = table_content(xml, ref)
            if formulas:
                drop_chain(archive, self.book, changed, dropped)
            old = archive.read(self.book.workbook_part)
            changed[self.book.workbook_part] = workbook_content(old, self._names(old), True)
            changed = {part: xml for part, xml in changed.items() if xml != archive.read(part)}
        return changed, dropped

    def _sheet(self, xml: bytes, places: list[_Place], env: Env) -> tuple[bytes, bool]:
        cells = SheetCells(xml)
        changes: dict[int, dict[int, Put | Recompute]] = {}
        tail = cells.tail
        for place in places:
            for row, typed in place.changes.items():
                changes.setdefault(row, {}).update(self._row(cells, place, row, typed, env))
            for row, found in self._above(cells, place, env).items():
                changes.setdefault(row, {}).update(found)
            tail = _grown_ranges(tail, cells.tag, place)
        try:
            return cells.content(changes, self.book.date1904, tail), cells.formulas_changed
        except Trouble as trouble:
            raise FileProblem(f"Sheet {places[0].sheet.name}: {trouble}") from trouble

    def _row(self, cells: SheetCells, place: _Place, row: int, typed: dict, env: Env) -> dict[int, Put | Recompute]:
        there = cells.states(row)
        model = self._model(cells, place)
        found: dict[int, Put | Recompute] = {}
        if row in place.new:
            for column, state in model.items():
                if place.span[0] <= column <= place.span[1] and column not in there:
                    found[column] = Put(None, state.style)
        index = row - place.raw.first_row
        for column in place.table.columns:
            at = place.columns.get(column.key)
            if at is None:
                continue
            if column.key in typed:
                found[at] = Put(typed[column.key], self._style(cells, place, at, typed[column.key], there.get(at), model.get(at)))
            elif column.twin:
                value = partial(self._value, column, place, index, env)
                if row in place.new and at in model and model[at].formula and not (at in there and there[at].formula):
                    found[at] = Put(value(), model[at].style, self._formula(column, place, row))
                else:
                    found[at] = Recompute(value)
        for at, state in there.items():
            if state.formula and at not in found and at not in self._ours(place):
                found[at] = Recompute(lambda: None)
        return {at: change for at, change in found.items() if not (isinstance(change, Recompute) and at not in there)}

    def _ours(self, place: _Place) -> set[int]:
        """The columns of that sheet that belong to our tables; a formula in another is the grower's own."""
        taken: set[int] = set()
        for sheet, layout in self.spots.values():
            if sheet.name == place.sheet.name:
                taken |= {*layout.columns.values(), *layout.computed.values()}
        return taken

    def _model(self, cells: SheetCells, place: _Place) -> dict[int, CellState]:
        """The looks of a row of the table: its last one, else its first."""
        return cells.states(place.bottom) or cells.states(place.raw.first_row)

    def _style(self, cells, place, at: int, value, there: CellState | None, model: CellState | None) -> int | None:
        """The format for a value: the cell's own, unless it would turn a date into a number or a number into a date."""
        first = cells.states(place.raw.first_row).get(at)
        choices = [state.style for state in (there, model, first) if state is not None and state.style is not None]
        if value is None or isinstance(value, (str, bool)):
            return choices[0] if choices else None
        dated = isinstance(value, dt.date)
        shown = np.flatnonzero(self.dated)
        fits = [style for style in choices if (style in shown) == dated]
        if fits:
            return fits[0]
        return (int(shown[0]) if len(shown) else None) if dated else 0 if choices else None

    def _formula(self, column, place: _Place, row: int) -> str:
        from workbook_template.build import guarded
        cells = {key: f"${column_letters(at)}{row}" for key, at in place.columns.items()}
        return schema.formula_text(guarded(column), cells, self.profile).removeprefix("=")

    def _value(self, column, place: _Place, index: int, env: Env):
        """What the formula cell must show; None where the row holds an error value, for the program to compute."""
        row = env.rows[place.table.key][index]
        if any(value is _UNKNOWN for value in row.values()):
            return None
        value = column.twin(row, env)
        if self.book.date1904 and column.looks.startswith("date") and isinstance(value, (int, float)) and value > DAYS_1904:
            return value - DAYS_1904
        return value

    def _above(self, cells: SheetCells, place: _Place, env: Env) -> dict[int, dict[int, Recompute]]:
        """Formulas over the table's rows that stand above its headings: they reach over new rows, and are computed anew."""
        from workbook_template.build import LOG_TOTALS, logs_total
        totals = {place.columns[key]: partial(logs_total, key, env) for key in LOG_TOTALS if place.table.key == "logs" and key in place.columns}
        found: dict[int, dict[int, Recompute]] = {}
        letters = {column_letters(at) for at in range(place.span[0], place.span[1] + 1)}
        pattern = re.compile(rb"(\$([A-Z]{1,3})\$%d:\$([A-Z]{1,3})\$)(\d+)" % place.raw.first_row)

        def reform(text: bytes) -> bytes:
            return pattern.sub(lambda m: m[1] + b"%d" % max(int(m[4]), place.grown) if m[2].decode() in letters else m[0], text)

        for row in range(1, place.layout.header_row + 1):
            xml = cells.row_xml(row)
            for at, state in (cells.states(row) if xml and pattern.search(xml) else {}).items():
                if state.formula and place.span[0] <= at <= place.span[1]:
                    found.setdefault(row, {})[at] = Recompute(totals.get(at, lambda: None), reform)
        return found

    def _names(self, xml: bytes) -> dict[tuple[str, str | None], str]:
        """Defined names that ended with a table that grows -> their new reference."""
        wanted = {}
        for element in find_elements(xml, {"definedName"}):
            text = _inner_text(xml, element)
            place_of = split_reference(text)
            if place_of is None or place_of[0] is None:
                continue
            sheet = self.book.sheet(place_of[0])
            for place in self.tables.values():
                if place.grown > place.bottom and sheet is not None and sheet.part == place.sheet.part:
                    new = _grown_box(place_of[1], place, whole=element.about.get("name") == "_xlnm.Print_Area")
                    if new:
                        wanted[element.about["name"], element.about.get("localSheetId")] = text[:text.rindex("!") + 1] + new
        return wanted


class _Rows(dict):
    """Table key -> its rows as the twins take them, made when first asked for, the changes put in."""

    def __init__(self, work: _Work):
        super().__init__()
        self._work = work

    def __missing__(self, key: str) -> list[dict]:
        work, table = self._work, schema.table(key)
        rows = _typed_rows(table, work.raw(key))
        place = work.tables.get(key)
        for row, typed in (place.changes.items() if place else ()):
            index = row - place.raw.first_row
            while len(rows) <= index:
                rows.append(dict.fromkeys(c.key for c in table.columns if c.typed))
            rows[index].update(typed)
        self[key] = rows
        if table in schema.LIST_TABLES:
            bare = Env(work.profile, work.today, {}, self)
            for column in table.columns:
                for row in rows if column.twin else ():
                    row[column.key] = "" if _UNKNOWN in row.values() else column.twin(row, bare)
        return rows

    def get(self, key, default=None):
        return self[key] if key in schema.BY_KEY else default


class _Unknown(str):
    """A cell that holds an error value, or a formula without a value."""


_UNKNOWN = _Unknown("an error value")


def _typed_rows(table, raw: RawTable) -> list[dict]:
    """The rows as typed: None where blank, dates as dates, text in a number column as the text."""
    columns = {c.key: _values(raw.columns[c.key]) for c in table.columns if (c.typed or c.kind == ROWKEY) and c.key in raw.columns}
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def _values(column: RawColumn) -> list:
    if column.values.dtype.kind == "M":
        found = [None if value is None else value for value in column.values.astype("datetime64[ms]").astype(object)]
    else:
        found = [None if value is None or value != value else value for value in column.values.tolist()]
    for index, odd in column.odd.items():
        if index < len(found):
            found[index] = _UNKNOWN if odd.kind in ("error", "formula") else odd.value
    return found


def _held(column: RawColumn, index: int):
    """The value of one row of a text column; None where it is blank or beyond the rows read."""
    return column.values[index] if index < len(column) else None


def _used(table, raw: RawTable) -> int:
    """Rows up to the last that holds something typed, the grower's own columns included."""
    columns = [raw.columns[c.key] for c in table.columns if c.typed and c.key in raw.columns] + list(raw.extra.values())
    filled = [np.flatnonzero(~blank_mask(column)) for column in columns]
    return max((int(rows[-1]) + 1 for rows in filled if len(rows)), default=0)


def _key_column(table) -> str | None:
    return next((c.key for c in table.columns if c.kind == ROWKEY), None)


def _all_rows(spec: TableSpec) -> TableSpec:
    """The same table, read down to the last row that has a row key."""
    return spec._replace(columns=[column._replace(counts=True) for column in spec.columns])


def _inner_text(xml: bytes, element) -> str:
    close = xml.rfind(b"</", element.start, element.end)
    return ElementTree.fromstring(b"<a>" + xml[element.open_end:close] + b"</a>").text or "" if close > 0 else ""


def _grown_box(ref: str, place: _Place, whole: bool = False) -> str | None:
    """A range over the table's rows, reaching over the new ones; None where it is another range.

    It must end with the table, or begin with its headings or first row inside its columns. whole: it may begin above.
    """
    try:
        top, left, bottom, right = split_range(ref)
    except ValueError:
        return None
    inside = place.span[0] <= left and right <= place.span[1]
    starts = top in (place.layout.header_row, place.raw.first_row - 1)
    ends = bottom + 1 == place.bottom
    overlaps = left <= place.span[1] and right >= place.span[0]
    if not ((inside and (starts or ends)) or (whole and ends and overlaps)) or bottom + 1 >= place.grown or top + 1 > place.bottom:
        return None
    if top == bottom and top == place.layout.header_row:
        return None
    dollar = "$" if "$" in ref else ""
    return (f"{dollar}{column_letters(left)}{dollar}{top + 1}:"
            f"{dollar}{column_letters(right)}{dollar}{place.grown}")


def _grown_ranges(tail: bytes, tag: bytes, place: _Place) -> bytes:
    """What follows the sheet data, with checks, conditional formats and filters that ended with the table grown."""
    if place.grown <= place.bottom:
        return tail
    root = tail[tail.rindex(b"</") + 2:].partition(b">")[0].strip()
    skeleton = b"<" + root + b">" + tail
    shift = len(root) + 2
    changes = []
    for element in find_elements(skeleton, {"dataValidation", "conditionalFormatting", "autoFilter"}):
        name = "ref" if element.name == "autoFilter" else "sqref"
        ranges = element.about.get(name, "").split()
        grown = [_grown_box(ref, place) or ref for ref in ranges]
        if grown != ranges:
            start, end, new = set_attributes(skeleton, element, **{name: " ".join(grown)})
            changes.append((start - shift, end - shift, new))
    return apply_changes(tail, changes)

"""An xlwings engine for the tests, so that XlwingsPort's real code runs where there is no Excel.

It behaves like Excel where that matters: every number comes as a float, errors as negative integers, text typed into a
General cell is taken for a number, a date or a formula if it looks like one, a leading apostrophe keeps it text.
A `backend` does the work on a workbook: openpyxl (here) or a running LibreOffice (xlwings_office.py).
"""
from __future__ import annotations

import copy
import datetime as dt
import math
import re
from pathlib import Path

import openpyxl
import xlwings as xw
from openpyxl.styles import Font
from xlwings import base_classes

ERROR_CODES = {"#DIV/0!": -2146826281, "#N/A": -2146826246, "#NAME?": -2146826259, "#NULL!": -2146826288, "#NUM!": -2146826252,
               "#REF!": -2146826265, "#VALUE!": -2146826273}
ERROR_TEXTS = {code: text for text, code in ERROR_CODES.items()}
MONTHS = "jan feb mar apr may jun jul aug sep oct nov dec".split()


class Reinterpreted(AssertionError):
    """Text was handed over that Excel would have turned into something else."""


def as_typed(value):
    """What Excel makes of a value handed to a General cell. Text that it would turn into something else is an error here."""
    if value is None or value == "":
        return None
    if isinstance(value, str):
        if value.startswith("'"):
            return value[1:]
        looks = re.fullmatch(r"[=+@-].*|[-+$(]*[\d.,:/ %)eE-]+(am|pm)?|true|false|\d+[- /]?(" + "|".join(MONTHS) + r").*|("
                             + "|".join(MONTHS) + r")\w*[- ]?\d+.*", value.strip(), re.I | re.S)
        if looks:
            raise Reinterpreted(value)
        return value
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return dt.datetime(value.year, value.month, value.day)
    if isinstance(value, (bool, dt.datetime)):
        return value
    return float(value)


class Engine:
    """One engine for every backend; books are added with `opened`."""

    name, type = "excel", "desktop"

    def __init__(self):
        self.apps = Apps()

    @staticmethod
    def prepare_xl_data_element(x, options):
        if x is None or isinstance(x, float) and math.isnan(x):
            return ""
        return x

    @staticmethod
    def clean_value_data(data, datetime_builder, empty_as, number_builder, err_to_str):
        def clean(value):
            if value is None or value == "":
                return empty_as
            if isinstance(value, dt.datetime):
                return datetime_builder(value.year, value.month, value.day, hour=value.hour, minute=value.minute, second=value.second,
                                        microsecond=value.microsecond, tzinfo=None)
            if type(value) is int and value in ERROR_TEXTS:
                return ERROR_TEXTS[value] if err_to_str else None
            return number_builder(value) if number_builder and isinstance(value, float) else value
        return [[clean(value) for value in row] for row in data]


class Apps(base_classes.Apps):
    def __init__(self):
        self.found = []

    def keys(self):
        return [app.pid for app in self.found]

    def __iter__(self):
        return iter(self.found)

    def __len__(self):
        return len(self.found)

    def __getitem__(self, pid):
        return next(app for app in self.found if app.pid == pid)


class App(base_classes.App):
    def __init__(self, engine, pid=1):
        self._engine, self._pid, self._books = engine, pid, Books(self)
        self.screen_updating, self.calculation, self.cut_copy_mode, self.clipboard = True, "automatic", False, None
        self.seen = []  # every value of screen_updating

    def __setattr__(self, name, value):
        if name == "screen_updating" and "seen" in self.__dict__:
            self.seen.append(value)
        object.__setattr__(self, name, value)

    screen_updating = calculation = cut_copy_mode = None
    engine = property(lambda self: self._engine)
    pid = property(lambda self: self._pid)
    books = property(lambda self: self._books)
    api = property(lambda self: self)


class Books(base_classes.Books):
    def __init__(self, app):
        self.app, self.found = app, []

    api = property(lambda self: self)

    @property
    def active(self):
        return self.found[-1]

    def __call__(self, key):
        if isinstance(key, int):
            return self.found[key - 1]
        return next(book for book in self.found if book.name.lower() == key.lower())

    def __len__(self):
        return len(self.found)

    def __iter__(self):
        return iter(self.found)


class Book(base_classes.Book):
    def __init__(self, app, backend, path):
        self._app, self.backend, self._path = app, backend, path

    app = property(lambda self: self._app)
    api = property(lambda self: self.backend.api)
    name = property(lambda self: Path(self._path).name)
    fullname = property(lambda self: str(self._path))
    sheets = property(lambda self: Sheets(self))
    names = property(lambda self: Names(self))


class Sheets(base_classes.Sheets):
    def __init__(self, book):
        self.book = book

    api = property(lambda self: self)

    def __call__(self, key):
        names = self.book.backend.sheets()
        name = names[key - 1] if isinstance(key, int) else next(n for n in names if n.lower() == key.lower())
        return Sheet(self.book, name)

    def __len__(self):
        return len(self.book.backend.sheets())

    def __iter__(self):
        return (Sheet(self.book, name) for name in self.book.backend.sheets())


class Sheet(base_classes.Sheet):
    def __init__(self, book, name):
        self._book, self._name = book, name

    book = property(lambda self: self._book)
    name = property(lambda self: self._name)
    api = property(lambda self: self)
    cells = property(lambda self: Range(self, 1, 1, 1_048_576, 16_384))

    @property
    def used_range(self):
        return Range(self, 1, 1, *self._book.backend.used(self._name))

    def range(self, one, two=None):
        if isinstance(one, Range):
            one = (one.row, one.column)
        top, left = one[:2]
        if len(one) == 4:
            return Range(self, *one)
        if two is None:
            return Range(self, top, left, 1, 1)
        bottom, right = (two.row + two.shape[0] - 1, two.column + two.shape[1] - 1) if isinstance(two, Range) else two
        return Range(self, top, left, bottom - top + 1, right - left + 1)

    @property
    def tables(self):
        return Collection(Table, self, self._book.backend.tables(self._name))

    @property
    def charts(self):
        return Collection(Chart, self, self._book.backend.charts(self._name))


class Range(base_classes.Range):
    max_cells_per_read = max_cells_per_write = None

    def __init__(self, sheet, row, column, rows, columns):
        self._sheet, self._row, self._column, self._shape = sheet, row, column, (rows, columns)

    sheet = property(lambda self: self._sheet)
    row = property(lambda self: self._row)
    column = property(lambda self: self._column)
    shape = property(lambda self: self._shape)
    api = property(lambda self: self)
    backend = property(lambda self: self._sheet._book.backend)

    def __len__(self):
        return self._shape[0] * self._shape[1]

    def __call__(self, row, column=None):
        if column is None:
            row, column = divmod(row - 1, self._shape[1])
            row, column = row + 1, column + 1
        return Range(self._sheet, self._row + row - 1, self._column + column - 1, 1, 1)

    @property
    def box(self):
        return self._row, self._column, self._row + self._shape[0] - 1, self._column + self._shape[1] - 1

    @property
    def address(self):
        top, left, bottom, right = self.box
        letters = openpyxl.utils.get_column_letter
        first = f"${letters(left)}${top}"
        return first if self._shape == (1, 1) else f"{first}:${letters(right)}${bottom}"

    @property
    def raw_value(self):
        """A single cell as a scalar, several as rows: as Excel hands them over."""
        values = self.backend.read(self._sheet.name, self.box)
        return values[0][0] if self._shape == (1, 1) else values

    @raw_value.setter
    def raw_value(self, values):
        if not isinstance(values, (list, tuple)):
            values = [[values] * self._shape[1]] * self._shape[0]
        assert len(values) == self._shape[0] and len(values[0]) == self._shape[1]
        self.backend.write(self._sheet.name, self._row, self._column, [[as_typed(value) for value in row] for row in values])

    def clear_formats(self):
        self.backend.clear_formats(self._sheet.name, self.box)

    def copy(self, destination=None):
        if destination is None:
            self._sheet._book.app.clipboard = self
            self._sheet._book.app.cut_copy_mode = "copy"
        else:
            self.backend.copy(self._sheet.name, self.box, destination.sheet.name, destination.row, destination.column)

    def paste(self, paste, operation, skip_blanks, transpose):
        source = self._sheet._book.app.clipboard
        assert paste == "formats" and source.shape == (1, 1)
        self.backend.paste_formats(source.sheet.name, source.row, source.column, self._sheet.name, self.box)

    def _set_height(self, height):
        self.backend.heights(self._sheet.name, self.box[0], self.box[2], height)

    row_height = property(lambda self: None, _set_height)

    @property
    def merge_cells(self):
        """True, False, or None where only some are merged, as Excel says it."""
        inside = sum(len(self._inside(area)) for area in self._merged())
        return True if inside == len(self) else None if inside else False

    @property
    def merge_area(self):
        top, left, bottom, right = next(a for a in self._merged() if self._inside(a))
        return Range(self._sheet, top, left, bottom - top + 1, right - left + 1)

    def _merged(self):
        return self.backend.merged(self._sheet.name)

    def _inside(self, area):
        top, left, bottom, right = (f(a, b) for f, a, b in zip((max, max, min, min), area, self.box, strict=True))
        return [0] * (max(bottom - top + 1, 0) * max(right - left + 1, 0))


class Names(base_classes.Names):
    def __init__(self, book):
        self.found = [Name(*pair) for pair in book.backend.names()]

    def __call__(self, key):
        return self.found[key - 1] if isinstance(key, int) else next(n for n in self.found if n.name == key)

    def __len__(self):
        return len(self.found)


class Name(base_classes.Name):
    def __init__(self, name, refers):
        self._name, self._refers = name, refers

    name = property(lambda self: self._name)
    refers_to = property(lambda self: self._refers)


class Collection(base_classes.Collection):
    def __init__(self, kind, sheet, names):
        self.found = [kind(sheet, name) for name in names]

    def __call__(self, key):
        return self.found[key - 1] if isinstance(key, int) else next(f for f in self.found if f.name == key)

    def __len__(self):
        return len(self.found)

    def __iter__(self):
        return iter(self.found)


class Table(base_classes.Table):
    def __init__(self, sheet, name):
        self.sheet, self._name = sheet, name

    name = property(lambda self: self._name)

    def resize(self, area):
        self.sheet._book.backend.resize_table(self.sheet.name, self._name, area.address.replace("$", ""))


class Chart(base_classes.Chart):
    """A chart known by its title; its series take a formula, as Excel's do."""

    def __init__(self, sheet, drawn):
        self.drawn = drawn

    name = property(lambda self: self.drawn["title"])
    title = property(lambda self: self.drawn["title"])

    @property
    def series(self):
        found = Collection(lambda _, series: Series(series), None, self.drawn["series"])
        return found


class Series(base_classes.ChartSeries):
    def __init__(self, api):
        self._api = api

    api = property(lambda self: self._api)


class SeriesApi:
    """Windows: Formula is set like a property."""

    Formula = ""


class MacSeriesApi:
    """Mac: formula is a reference that is set through a call."""

    def __init__(self):
        self.formula, self.Formula = self, ""

    def set(self, text):
        self.Formula = text


class Openpyxl:
    """The workbook as openpyxl loads it, formulas as their values."""

    api = object()

    def __init__(self, path, charts=()):
        self.book = openpyxl.load_workbook(path, data_only=True)
        self.drawn = dict(charts)  # sheet -> [{"title", "series"}]
        self.written = set()  # sheets that were touched

    def sheets(self):
        return self.book.sheetnames

    def used(self, sheet):
        return self.book[sheet].max_row, self.book[sheet].max_column

    def read(self, sheet, box):
        def value(cell):
            if cell.data_type == "e":
                return ERROR_CODES[cell.value]
            plain = isinstance(cell.value, (int, float)) and not isinstance(cell.value, bool)
            return float(cell.value) if plain else cell.value
        return [[value(cell) for cell in row] for row in self._cells(sheet, box)]

    def _cells(self, sheet, box):
        top, left, bottom, right = box
        return self.book[sheet].iter_rows(top, bottom, left, right)

    def write(self, sheet, top, left, rows):
        self.written.add(sheet)
        target = self.book[sheet]
        for r, row in enumerate(rows):
            for c, value in enumerate(row):
                cell = target.cell(top + r, left + c)
                cell.value = value
                if isinstance(value, str):
                    cell.data_type = "s"

    def clear_formats(self, sheet, box):
        self.written.add(sheet)
        for row in self._cells(sheet, box):
            for cell in row:
                cell.style = "Normal"
                cell.font = Font()

    def copy(self, source, box, sheet, top, left):
        self.written.add(sheet)
        kept = [[(cell.value, copy.copy(cell._style)) for cell in row] for row in self._cells(source, box)]
        for r, row in enumerate(kept):
            for c, (value, style) in enumerate(row):
                cell = self.book[sheet].cell(top + r, left + c, value)
                cell._style = style

    def paste_formats(self, source, row, column, sheet, box):
        self.written.add(sheet)
        style = self.book[source].cell(row, column)._style
        for line in self._cells(sheet, box):
            for cell in line:
                cell._style = copy.copy(style)

    def heights(self, sheet, top, bottom, height):
        for row in range(top, bottom + 1):
            self.book[sheet].row_dimensions[row].height = height

    def names(self):
        local = [(f"{sheet.title}!{name}", "=" + found.attr_text) for sheet in self.book for name, found in sheet.defined_names.items()]
        return [(name, "=" + found.attr_text) for name, found in self.book.defined_names.items()] + local

    def tables(self, sheet):
        return list(self.book[sheet].tables)

    def resize_table(self, sheet, name, address):
        self.book[sheet].tables[name].ref = address

    def charts(self, sheet):
        return self.drawn.get(sheet, [])

    def merged(self, sheet):
        return [(a.min_row, a.min_col, a.max_row, a.max_col) for a in self.book[sheet].merged_cells.ranges]


def opened(backend, path, engine=None) -> xw.Book:
    """An xlwings Book over a backend, in the one app of the test engine, which becomes xlwings' own "excel" engine."""
    engine = engine or install()
    app = engine.apps.found[0]
    book = Book(app, backend, path)
    app.books.found.append(book)
    return xw.Book(impl=book)


def install() -> Engine:
    """Put a fresh engine with one app in the place of Excel's."""
    engine = Engine()
    engine.apps.found.append(App(engine))
    xw.engines.engines.clear()
    xw.engines.add(xw.Engine(impl=engine))
    xw.engines.active = xw.engines[0]
    return engine


def uninstall() -> None:
    xw.engines.engines.clear()
    xw.engines.engines_by_name.clear()
    xw.engines.active = None

"""The refresh of a workbook open in Excel: the port's real code over an xlwings engine of ours.

The same contract runs over the closed file; a whole refresh gives, cell by cell, what the closed file gets, over
openpyxl and inside a running LibreOffice. No Excel takes part here.
"""
from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
import xlwings
import xlwings_engine as rig
from test_grid import assert_same_tables, write_merged, write_two_tables
from test_reader import ODD_COLUMNS, check_odd, write_odd

from calc.raw import Odd
from workbook_template import schema
from workbook_template.build import build
from workbook_template.ports import xlwings_port, xlwings_write
from workbook_template.ports.closed_file import ClosedFile
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.xlwings_port import XlwingsPort, merged_ranges
from workbook_template.refresh import refresh, refresh_file, table_specs
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.yard import Yard, read_folder

HOME = Path(__file__).resolve().parent.parent
DAY, STAMP = dt.date(2026, 11, 15), "Refreshed for a test."
LOG = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}


@pytest.fixture(autouse=True)
def no_excel_left():
    yield
    rig.uninstall()
    xlwings.Book.__dict__.get("_mock_caller") and delattr(xlwings.Book, "_mock_caller")


class Closed:
    """The contract over a file on disk."""

    def __init__(self, path):
        self.path, self.port, self.book = path, ClosedFile(path), None

    def cell(self, sheet, row, column):
        self.book = self.book or openpyxl.load_workbook(self.path)
        return self.book[sheet].cell(row, column)

    def write(self, sheets):
        self.book = None
        ClosedFile(self.path).write(sheets)


class Live:
    """The contract over a workbook open in the test engine."""

    def __init__(self, path):
        self.backend = rig.Openpyxl(path)
        self.port = XlwingsPort(rig.opened(self.backend, path))

    def cell(self, sheet, row, column):
        return self.backend.book[sheet].cell(row, column)

    def write(self, sheets):
        XlwingsPort(self.port.book).write(sheets)


@pytest.fixture(params=[Closed, Live])
def way(request):
    return request.param


@pytest.fixture(scope="module")
def master(tmp_path_factory):
    """A workbook with one log, drawn once; tests work on copies."""
    path = tmp_path_factory.mktemp("master") / "small.xlsx"
    build(path, Yard("us", {"logs": [LOG]}), rows=10)
    return path


@pytest.fixture
def small(master, tmp_path):
    return Path(shutil.copy(master, tmp_path / "small.xlsx"))


# ---- the contract, the same for the closed file and the open one -------------------------------------------------

@pytest.mark.parametrize("date1904", [False, True])
def test_odd_cells_dates_errors_and_text_numbers(way, tmp_path, date1904):
    write_odd(tmp_path / "odd.xlsx", date1904)
    check_odd(way(tmp_path / "odd.xlsx").port.tables([("odd", "Odd", ODD_COLUMNS, 20)])["odd"])


def test_a_blank_first_column_and_blank_rows_lose_no_row(way, tmp_path):
    write_two_tables(tmp_path / "two.xlsx")
    specs = [("woods", "Lists", [("wood", "Wood", "text"), ("note", "Note", "text")]),
             ("strains", "Lists", [("strain", "Strain", "text"), ("note", "Note", "text")])]
    tables = way(tmp_path / "two.xlsx").port.tables(specs)
    assert list(tables["woods"].columns["wood"].values) == [None, None, "white oak"]
    assert list(tables["strains"].columns["strain"].values) == [None, "12"]
    assert list(tables["strains"].extra["Mine"].values) == [None, "2026-05-01"]


def test_merged_cells_fill_their_rows(way, tmp_path):
    write_merged(tmp_path / "merged.xlsx")
    table = way(tmp_path / "merged.xlsx").port.tables([("odd", "Odd", ODD_COLUMNS)])["odd"]
    assert {"B3:B5", "C4:C6", "A7:B7", "D3:D9"} <= set(table.merged)
    assert list(table.columns["size"].values)[:3] == [4.5] * 3
    assert table.columns["day"].odd == {i: Odd("text", "soon") for i in (1, 2, 3)}


@pytest.mark.parametrize("logs", [0, 40])
def test_none_and_many_rows(way, logs, tmp_path, monkeypatch):
    path = tmp_path / "rows.xlsx"
    build(path, Yard("us", {"logs": [{**LOG, "log": f"A{i}"} for i in range(logs)]}), rows=10)
    port = way(path).port
    monkeypatch.setattr(xlwings_port, "CHUNK", 25)
    table = port.tables(table_specs("us"))["logs"]
    assert table.length == logs and list(table.columns["log"].values) == [f"A{i}" for i in range(logs)]
    assert port.name == "rows.xlsx" and port.marks() == {**port.marks(), "bb_profile": "us", "bb_layout": str(schema.VERSION)}


def test_named_cells(way, tmp_path):
    path = tmp_path / "named.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("My sheet")
        sheet.write_column("B2", [4, "é '", True])
        sheet.write_datetime("B5", dt.datetime(2026, 5, 1), book.add_format({"num_format": "d mmm yyyy"}))
        sheet.write_formula("B6", "=1/0", None, "#DIV/0!")
        for i, name in enumerate(("number", "text", "flag", "date", "error", "blank")):
            book.define_name(f"set_{name}", f"='My sheet'!$B${i + 2}")
        book.define_name("set_rows", "='My sheet'!$A$2:$B$3")
        book.define_name("set_far", "='My sheet'!$Z$900")
        book.define_name("set_formula", "=1+1")
        book.define_name("other", "='My sheet'!$B$2")
        book.define_name("'My sheet'!set_local", "='My sheet'!$B$2")
    assert way(path).port.named("set_") == {
        "set_number": 4.0, "set_text": "é '", "set_flag": True, "set_date": dt.datetime(2026, 5, 1), "set_error": Odd("error", "#DIV/0!"),
        "set_blank": None, "set_rows": [[None, 4.0], [None, "é '"]], "set_far": None}


def problems_sheet(rows: int) -> ResultSheet:
    sheet = ResultSheet("Problems", [10] * 4)
    sheet.heading("Problems", "= a text that starts like a formula")
    texts = ["5/16", "+1", "@x", "'quoted'", "1e5", "TRUE", "Mär 5 \N{MUSHROOM}", "0042"]
    columns = [[texts[i % 8] for i in range(rows)], [i + 0.5 for i in range(rows)], [None if i % 3 else DAY for i in range(rows)],
               [float("nan") if i % 2 else 7 for i in range(rows)], *[["x"] * rows] * 3] if rows else []
    heads = [("Level", "text"), ("Row", "two"), ("Day", "date"), ("Number", "whole"), *[(f"Column {c}", "text") for c in "ABC"]]
    end = sheet.table(4, 0, heads, columns)
    sheet.filter, sheet.table_name = (4, 0, max(end - 1, 5), 6), "Problem_list"
    sheet.heights = {0: 26, 4: 30, 5: 44}
    return sheet


@pytest.mark.parametrize("sizes", [(3, 20), (20, 3), (20, 0)])
def test_a_result_grows_and_shrinks_and_leaves_nothing_behind(way, sizes, small, monkeypatch):
    monkeypatch.setattr(xlwings_write, "CHUNK", 12)  # so that the large one goes over in several pieces
    live = way(small)
    for size in sizes:
        live.write([problems_sheet(size)])
    wanted = problems_sheet(sizes[-1])
    for row in range(40):
        for column in range(10):
            cell, value = live.cell("Problems", row + 1, column + 1), wanted.value(row, column)
            value = None if value != value else value
            found = cell.value.date() if isinstance(cell.value, dt.datetime) else cell.value
            assert found == value and type(found) in (type(value), float), (row, column)
    assert live.cell("Problems", 2, 1).data_type == "s"
    assert live.cell("Problems", 6 + sizes[-1], 2).number_format == "General"
    if sizes[-1]:
        assert live.cell("Problems", 6, 3).number_format == "d mmm yyyy"


@pytest.mark.parametrize(("spoil", "words"), [
    (lambda b: b.remove(b["Yield"]), "The result sheet Yield is not there."),
    (lambda b: b["Sources"].delete_cols(1), "Sources has lost its last block"),
], ids=["sheet", "samples"])
def test_a_lost_result_sheet_is_named_before_anything_is_written(way, spoil, words, small):
    book = openpyxl.load_workbook(small)
    spoil(book)
    book.save(small)
    live = way(small)
    with pytest.raises(LayoutProblem) as told:
        refresh(live.port, DAY)
    assert words in str(told.value)
    assert live.cell("Start", 3, 1).value == "Not refreshed yet."


def test_another_workbook_is_told_apart(way, tmp_path):
    path = tmp_path / "other.xlsx"
    openpyxl.Workbook().save(path)
    with pytest.raises(FileProblem, match="other.xlsx is not a workbook made here"):
        refresh(way(path).port, DAY)


# ---- a whole refresh, against the closed file -----------------------------------------------------------------------

@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """The example yard before, and after a refresh of the closed file."""
    folder = tmp_path_factory.mktemp("yard")
    before, after = folder / "hollow.xlsx", folder / "after.xlsx"
    build(before, read_folder(HOME / "examples" / "hollow_us", "us"))
    shutil.copy(before, after)
    return before, after, refresh_file(after, today=DAY, progress=False, stamp=STAMP)


def contents(book, names):
    return {name: {c.coordinate: c.value for row in book[name].iter_rows() for c in row if c.value is not None} for name in names}


def test_an_open_workbook_gets_what_the_closed_file_gets(yard, tmp_path):
    path = shutil.copy(yard[0], tmp_path / "hollow.xlsx")
    live, before = Live(Path(path)), ClosedFile(yard[0])
    assert_same_tables(live.port.tables(table_specs("us")), before.tables(table_specs("us")))
    for prefix in ("set_", "typed_", "plan_"):
        assert live.port.named(prefix) == before.named(prefix)
    inputs = [name for name in live.backend.book.sheetnames if name not in schema.result_sheets("us")]
    typed = contents(live.backend.book, inputs)
    outcome = refresh(live.port, DAY, STAMP)
    closed = openpyxl.load_workbook(yard[1])
    compared = 0
    for name in schema.result_sheets("us"):
        one, other = live.backend.book[name], closed[name]
        for row in other.iter_rows():
            for cell in row:
                twin = one.cell(cell.row, cell.column)
                assert twin.value == cell.value, (name, cell.coordinate)
                if cell.has_style:
                    assert (twin.number_format, twin.font.b, twin.font.sz, twin.fill.fgColor.rgb, twin.border.bottom.style,
                            twin.alignment.wrap_text) == (cell.number_format, cell.font.b, cell.font.sz, cell.fill.fgColor.rgb,
                                                          cell.border.bottom.style, cell.alignment.wrap_text), (name, cell.coordinate)
                compared += 1
        assert all(c.value is None for row in one.iter_rows() for c in row if c.row > other.max_row or c.column > other.max_column)
        for row, size in other.row_dimensions.items():
            assert size.height is None or one.row_dimensions[row].height == pytest.approx(size.height), (name, row)
        assert {t.name: t.ref for t in one.tables.values()} == {t.name: t.ref for t in other.tables.values()}
    assert compared > 4000
    assert contents(live.backend.book, inputs) == typed and live.backend.written <= set(schema.result_sheets("us"))
    first = contents(live.backend.book, schema.result_sheets("us"))
    refresh(XlwingsPort(live.port.book), DAY, STAMP)
    assert contents(live.backend.book, schema.result_sheets("us")) == first  # a second refresh changes no cell
    assert outcome.answers == yard[2].answers and [p.sentence() for p in outcome.problems] == [p.sentence() for p in yard[2].problems]


def test_inside_a_running_libreoffice(yard, tmp_path):
    """The same code on an open workbook of a real program: same cells, inputs as they were, table fitted, looks worn."""
    from xlwings_office import ExcelLike, OfficeBackend
    path = shutil.copy(yard[0], tmp_path / "hollow.xlsx")
    office = ExcelLike()
    try:
        backend = OfficeBackend(office, path)
        inputs = [name for name in backend.sheets() if name not in schema.result_sheets("us")]
        typed = {name: office.used(backend.book, name) for name in inputs}
        refresh(XlwingsPort(rig.opened(backend, path)), DAY, STAMP)
        closed = openpyxl.load_workbook(yard[1])
        for name in schema.result_sheets("us"):
            rows, columns = backend.used(name)
            found = backend.read(name, (1, 1, rows, columns))
            for r in range(max(rows, closed[name].max_row)):
                for c in range(max(columns, closed[name].max_column)):
                    value, shown = closed[name].cell(r + 1, c + 1).value, found[r][c] if r < rows and c < columns else None
                    same = shown == pytest.approx(value, rel=1e-12) if isinstance(value, float) else shown == value
                    assert same, (name, r + 1, c + 1, value, shown)
        assert {name: office.used(backend.book, name) for name in inputs} == typed
        assert office.table_area(backend.book, "Problem_list") == closed["Problems"].tables["Problem_list"].ref
        date = next(c for c in range(1, 27) if closed["Each log"].cell(6, c).number_format == "d mmm yyyy")
        shown, font, _, size = office.look(backend.book, "Each log", 6, date)
        assert (shown.upper(), font, size) == ("D MMM YYYY", "Arial", 10)
        assert office.look(backend.book, "Start", 1, 1)[2:] == [150.0, 16.0]  # the title: bold, 16 points
    finally:
        office.end()


# ---- looks, charts and merged cells in the open workbook --------------------------------------------------------------

def test_samples_that_moved_are_found_and_moved(small, tmp_path):
    """A workbook whose Sources had two rows more: the samples stand lower, and end where the new Sources has them."""
    after = shutil.copy(small, tmp_path / "after.xlsx")
    refresh_file(Path(after), today=DAY, progress=False, stamp=STAMP)
    live = Live(small)
    live.backend.book["Sources"].insert_rows(10, 2)
    refresh(live.port, DAY, STAMP)
    one, other = live.backend.book["Sources"], openpyxl.load_workbook(after)["Sources"]
    for row in other.iter_rows():
        for cell in row:
            twin = one.cell(cell.row, cell.column)
            assert (twin.value, twin.number_format if cell.has_style else 0) == (cell.value, cell.number_format if cell.has_style else 0)
    assert live.backend.book["Each log"].cell(6, 1).font.name == "Arial"


@pytest.mark.parametrize("api", [rig.SeriesApi, rig.MacSeriesApi])
def test_charts_are_pointed_to_their_new_rows(api, small):
    sheet = problems_sheet(5)
    parts = [ChartSeries('Picked "A"', (5, 9, 0), (5, 9, 1)), ChartSeries("Sold", (5, 9, 0), (5, 9, 3))]
    sheet.charts = [Chart("column", "Weights", "", "", parts, (0, 6)), Chart("bar", "Gone", "", "", parts, (9, 6)),
                    Chart("bar", "Rebuilt by hand", "", "", parts, (9, 6))]
    series = [api(), api()]
    charts = [{"title": "Own", "series": [api()]}, {"title": "Weights", "series": series}, {"title": "Rebuilt by hand", "series": [api()]}]
    live = Live(small)
    live.backend.drawn = {"Problems": charts}
    live.port.write([sheet])
    assert [s.Formula for s in series] == [
        "=SERIES(\"Picked \"\"A\"\"\",'Problems'!$A$6:$A$10,'Problems'!$B$6:$B$10,1)",
        "=SERIES(\"Sold\",'Problems'!$A$6:$A$10,'Problems'!$D$6:$D$10,2)"]
    assert charts[0]["series"][0].Formula == "" and charts[2]["series"][0].Formula == ""
    assert live.port.notes[:2] == [
        'The chart "Gone" on Problems is not there any more; its numbers are in the cells.',
        'The chart "Rebuilt by hand" on Problems could not be pointed to its new rows from here. Right-click it, Select Data, '
        "or close the workbook and run: boltbook refresh"]


def test_no_merged_cells_cost_one_question(small):
    asked = []

    class Area:
        merge_cells = False

    class Sheet:
        def range(self, *box):
            asked.append(box)
            return Area()

    assert merged_ranges(Sheet(), 5, 100_000, 40) == [] and len(asked) == 1


def test_the_engine_tells_text_that_excel_would_change():
    """The canary of the rig: these would become a date, a number, a formula, a truth value."""
    for text in ("5/16", "1e5", "=A1", "+1", "-", "@x", "TRUE", "Mar 5", "5 May 2026", "12%", "0042", "3 pm"):
        with pytest.raises(rig.Reinterpreted):
            rig.as_typed(text)
        assert rig.as_typed("'" + text) == text
    assert rig.as_typed("A1 on the brook") == "A1 on the brook" and rig.as_typed(4) == 4.0

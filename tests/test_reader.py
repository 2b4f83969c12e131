"""Reading keeps every cell: types, odd cells, blanks, moved columns, merged cells; no hostile file."""
from __future__ import annotations

import datetime as dt
import re
import zipfile

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from rich_workbook import LOG_COLUMNS, build, change_part

from calc.raw import Odd, blank_column
from workbook_template.ports import scan as scanning
from workbook_template.ports.cells import serial_datetime
from workbook_template.ports.layout import ColumnSpec, LayoutProblem, TableSpec
from workbook_template.ports.parts import is_date_format, read_book, read_date_styles
from workbook_template.ports.reader import read_cells, read_names, read_tables

LOGS = TableSpec("logs", "Logs", LOG_COLUMNS)
DAY = dt.datetime(2026, 5, 16)
AT = np.datetime64("2026-05-16", "ms")
ERROR = Odd("error", "#DIV/0!")

# What is written, and how it must come out in a text, a number and a date column: value, odd content.
ODD_CELLS = [
    ("text", "4'2\" \\ é\n<&>", ("4'2\" \\ é\n<&>", None), (None, Odd("text", "4'2\" \\ é\n<&>")),
     (None, Odd("text", "4'2\" \\ é\n<&>"))),
    ("text", "12", ("12", None), (None, Odd("text", "12")), (None, Odd("text", "12"))),
    ("text", "nan", ("nan", None), (None, Odd("text", "nan")), (None, Odd("text", "nan"))),
    ("text", "1e5", ("1e5", None), (None, Odd("text", "1e5")), (None, Odd("text", "1e5"))),
    ("text", "00006", ("00006", None), (None, Odd("text", "00006")), (None, Odd("text", "00006"))),
    ("text", "true", ("true", None), (None, Odd("text", "true")), (None, Odd("text", "true"))),
    ("text", "=1+1", ("=1+1", None), (None, Odd("text", "=1+1")), (None, Odd("text", "=1+1"))),
    ("text", "2026-05-16", ("2026-05-16", None), (None, Odd("text", "2026-05-16")),
     (None, Odd("text", "2026-05-16"))),
    ("text", "2026-05-16 00:00:00", ("2026-05-16 00:00:00", None), (None, Odd("text", "2026-05-16 00:00:00")),
     (None, Odd("text", "2026-05-16 00:00:00"))),
    ("text", " \u00a0", (None, None), (None, None), (None, None)),
    ("number", 12.0, ("12", None), (12.0, None), (None, Odd("number", 12.0))),
    ("number", 4.5, ("4.5", None), (4.5, None), (None, Odd("number", 4.5))),
    ("number", 46482.0, ("46482", None), (46482.0, None), (None, Odd("number", 46482.0))),
    ("number", -1e9, ("-1000000000", None), (-1e9, None), (None, Odd("number", -1e9))),
    ("date", DAY, (None, Odd("date", DAY)), (None, Odd("date", DAY)), (AT, None)),
    ("bool", True, (None, Odd("bool", True)), (None, Odd("bool", True)), (None, Odd("bool", True))),
    ("bool", False, (None, Odd("bool", False)), (None, Odd("bool", False)), (None, Odd("bool", False))),
    ("error", "#DIV/0!", (None, ERROR), (None, ERROR), (None, ERROR)),
    ("formula", "", (None, None), (None, None), (None, None)),
    ("blank", None, (None, None), (None, None), (None, None)),
]
KINDS = ["text", "number", "date"]
ODD_COLUMNS = [("id", "Id", "text"), ("size", "Size (in)", "number"), ("day", "Day", "date")]


def write_odd(path, date1904=False, top=2) -> None:
    """One row for each case, the same cell in the text, number and date column."""
    with xlsxwriter.Workbook(str(path), {"date_1904": date1904}) as book:
        sheet = book.add_worksheet("Odd")
        day, plain = book.add_format({"num_format": "d mmm yyyy"}), book.add_format({"bold": True})
        sheet.write_row(top, 1, [title for _, title, _ in ODD_COLUMNS])
        for i, (how, value, *_) in enumerate(ODD_CELLS):
            for column in (1, 2, 3):
                at = top + 1 + i, column
                if how == "text":
                    sheet.write_string(*at, value, plain)
                elif how == "number":
                    sheet.write_number(*at, value, plain)
                elif how == "date":
                    sheet.write_datetime(*at, value, day)
                elif how == "bool":
                    sheet.write_boolean(*at, value)
                elif how == "error":
                    sheet.write_formula(*at, "=1/0", plain, value)
                elif how == "formula":
                    sheet.write_formula(*at, '=""', plain, "")
                else:
                    sheet.write_blank(*at, None, day)
        sheet.write_string(top + 1 + len(ODD_CELLS), 1, "last")
    change_part(path, "xl/worksheets/sheet1.xml", computed_blanks)


def computed_blanks(xml: bytes) -> bytes:
    """Formulas whose value is the empty text, marked as spreadsheet programs do; without it they are not computed."""
    return re.sub(rb'(<c r="\w+"(?: s="\d+")?)(><f>""</f><v></v>)', rb'\1 t="str"\2', xml)


def check_odd(table) -> None:
    assert table.length == len(ODD_CELLS) + 1
    for place, key in enumerate(("id", "size", "day")):
        column = table.columns[key]
        contents = [case[2 + place][1] for case in ODD_CELLS]
        assert column.odd == {i: odd for i, odd in enumerate(contents) if odd is not None}, key
        for i, case in enumerate(ODD_CELLS):
            value, wanted = column.values[i], case[2 + place][0]
            blank = value is None or value != value
            assert (wanted is None and blank) or value == wanted, (key, case)
    assert table.columns["id"].values[-1] == "last"


@pytest.mark.parametrize("date1904", [False, True])
def test_odd_cells_of_every_kind(tmp_path, date1904):
    write_odd(tmp_path / "odd.xlsx", date1904)
    table = read_tables(tmp_path / "odd.xlsx", [("odd", "Odd", ODD_COLUMNS, 20)])["odd"]
    check_odd(table)
    assert (table.header_row, table.first_row, table.row_of(2)) == (3, 4, 6)
    assert table.letters == {"id": "B", "size": "C", "day": "D"}


def test_odd_cells_as_libreoffice_saves_them(tmp_path, trusting_office):
    write_odd(tmp_path / "odd.xlsx")
    path = trusting_office.convert(tmp_path / "odd.xlsx", "xlsx")
    check_odd(read_tables(path, [("odd", "Odd", ODD_COLUMNS, 20)])["odd"])


def test_odd_cells_as_openpyxl_saves_them(tmp_path):
    write_odd(tmp_path / "odd.xlsx")
    book = openpyxl.load_workbook(tmp_path / "odd.xlsx", data_only=True)
    book.save(tmp_path / "odd.xlsx")
    table = read_tables(tmp_path / "odd.xlsx", [("odd", "Odd", ODD_COLUMNS, 20)])["odd"]
    check_odd(table)


def unusual(xml: bytes) -> bytes:
    """The same sheet as another program might write it: no fast form is left in it."""
    return (xml.replace(b'<c r="C4"', b'<c  r="C4"').replace(b"<sheetData>", b"<sheetData><!-- c -->"))


def retagged(xml: bytes) -> bytes:
    """Every attribute of a cell in another order: t, s, r is legal XML as well."""
    turn = re.compile(rb'<c r="(\w+)"( s="\d+")?( t="\w+")?')
    return turn.sub(lambda m: b"<c" + (m[3] or b"") + (m[2] or b"") + b' r="' + m[1] + b'"', xml)


def type_before_style(xml: bytes) -> bytes:
    turn = re.compile(rb'<c r="(\w+)"( s="\d+")( t="\w+")')
    return turn.sub(lambda m: b'<c r="' + m[1] + b'"' + m[3] + m[2], xml)


def more_attributes(xml: bytes) -> bytes:
    """As cells with a pinyin mark have; blank and filled cells alike."""
    return re.sub(rb'<c r="(\w+)"([^/>]*)(/?>)', rb'<c r="\1"\2 ph="1"\3', xml)


def prefixed(xml: bytes) -> bytes:
    """Every element with a prefix."""
    return re.sub(rb"<(/?)([A-Za-z])", rb"<\1x:\2", xml).replace(b"xmlns=", b"xmlns:x=")


@pytest.mark.parametrize("form", [unusual, retagged, type_before_style, more_attributes, prefixed])
def test_odd_cells_in_unusual_xml(tmp_path, form):
    path = tmp_path / "odd.xlsx"
    write_odd(path)
    change_part(path, "xl/worksheets/sheet1.xml", form)
    check_odd(read_tables(path, [("odd", "Odd", ODD_COLUMNS, 20)])["odd"])


def test_the_fast_and_the_exact_pass_agree(tmp_path):
    path = tmp_path / "odd.xlsx"
    write_odd(path)
    with zipfile.ZipFile(path) as archive:
        book = read_book(archive)
        styles = np.append(read_date_styles(archive, book), False)
        lookup = np.full(16_385, scanning.IGNORED, dtype=np.int8)
        lookup[1:4] = [scanning.KIND_CODES[kind] for kind in KINDS]
        part = book.sheets[0].part
        exact = scanning._scan_exact(archive, part, lookup, 3, styles)
        for size in (200, 1 << 20):  # pieces far smaller than the sheet, and the whole at once
            fast = scanning._scan_fast(scanning.inflate(archive, part, size), lookup, 3, styles)
            assert [repr(c) for c in fast.odd] == [repr(c) for c in exact.odd]
            assert (fast.last_row, fast.last_column) == (exact.last_row, exact.last_column)
            assert fast.tail == exact.tail


def test_columns_moved_renamed_units_and_own_columns(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("logs ")
        titles = ["NOTE", "My own", "Length [cm]", "  diameter\n(cm) ", "Log", "Inoculated", "Wood"]
        sheet.write_row(4, 2, titles)
        sheet.write_row(6, 2, ["n", 7.5, 100, 10, "A1"])
        sheet.write_row(9, 2, ["", "", 120, 12, 13])
    table = read_tables(tmp_path / "a.xlsx", [LOGS])["logs"]
    assert table.sheet == "logs " and table.first_row == 6 and table.length == 5
    assert list(table.columns["log"].values) == [None, "A1", None, None, "13"]
    assert np.array_equal(table.columns["diameter"].values, [np.nan, 10, np.nan, np.nan, 12], equal_nan=True)
    assert list(table.extra) == ["My own"]
    assert list(table.extra["My own"].values) == [None, "7.5", None, None, None]
    assert table.letters["log"] == "G"


def test_prefilled_rows_and_blank_formulas_do_not_count(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("Logs")
        sheet.write_row(0, 0, ["Log", "Row"])
        sheet.write_row(1, 0, ["A1", "k1"])
        for i in range(2, 50):
            sheet.write_string(i, 1, f"k{i}")
            sheet.write_formula(i, 0, '=""', None, "")
    change_part(tmp_path / "a.xlsx", "xl/worksheets/sheet1.xml", computed_blanks)
    spec = TableSpec("logs", "Logs", [ColumnSpec("log", "Log", "text"),
                                      ColumnSpec("row", "Row", "text", counts=False)])
    table = read_tables(tmp_path / "a.xlsx", [spec])["logs"]
    assert table.length == 1 and list(table.columns["row"].values) == ["k1"]


def test_a_table_without_rows(tmp_path):
    build(tmp_path / "a.xlsx", logs=0)
    table = read_tables(tmp_path / "a.xlsx", [LOGS])["logs"]
    assert table.length == 0 and table.first_row == 4 and len(table.columns["diameter"]) == 0


def test_merged_cells_fill_their_rows_and_are_told(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("Odd")
        sheet.write_row(0, 0, [title for _, title, _ in ODD_COLUMNS])
        for row in range(1, 6):
            sheet.write_string(row, 0, f"A{row}")
        sheet.merge_range("B2:B4", 4.5)
        sheet.merge_range("C3:C5", "soon")
        sheet.merge_range("H2:I9", "elsewhere")
    table = read_tables(tmp_path / "a.xlsx", [("odd", "Odd", ODD_COLUMNS)])["odd"]
    assert table.merged == ["B2:B4", "C3:C5"]
    assert np.array_equal(table.columns["size"].values, [4.5] * 3 + [np.nan] * 2, equal_nan=True)
    assert table.columns["day"].odd == {i: Odd("text", "soon") for i in (1, 2, 3)}


def test_two_tables_side_by_side(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("Lists")
        sheet.write_row(2, 0, ["Wood", "Note"])
        sheet.write_row(2, 3, ["Strain", "Note", "Mine"])
        sheet.write_row(3, 0, ["white oak", "x"])
        sheet.write_row(4, 3, ["invented 1", "y", "z"])
    specs = [("woods", "Lists", [("wood", "Wood", "text"), ("note", "Note", "text")]),
             ("strains", "Lists", [("strain", "Strain", "text"), ("note", "Note", "text")])]
    tables = read_tables(tmp_path / "a.xlsx", specs)
    assert list(tables["woods"].columns["note"].values) == ["x"] and tables["woods"].extra == {}
    assert list(tables["strains"].columns["note"].values) == [None, "y"]
    assert list(tables["strains"].extra) == ["Mine"]


def test_everything_missing_is_told_at_once(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        book.add_worksheet("Log").write("A1", "nothing here")
        sheet = book.add_worksheet("My logs")
        sheet.write_row(2, 0, ["Log", "Wood", "Diametre", "Length", "Note", "Note"])
        book.define_name("bb_events", "='My logs'!$A$1")
    wanted = [("logs", "My logs", LOG_COLUMNS, 20), ("events", "Events", LOG_COLUMNS, 20),
              ("logs2", "Logs", LOG_COLUMNS, 20), ("costs", "Costs", LOG_COLUMNS, 20),
              ("empty", "Log", LOG_COLUMNS, 20)]
    with pytest.raises(LayoutProblem) as told:
        read_tables(tmp_path / "a.xlsx", wanted)
    assert told.value.sentences == [
        'Sheet My logs: the column "Diameter" was not found. "Diametre" in C3 looks like it: '
        "type Diameter there.",
        'Sheet My logs: the column "Inoculated" was not found. Type Inoculated in G3 (the next free heading) '
        "to start it again, or take the column from the last backup.",
        'Sheet My logs: the heading "Note" is there twice, in E3 and F3. '
        "Give the one that is yours another name.",
        'There is no sheet "Events". The sheet "My logs" is it under another name: rename it back to Events.',
        'There is no sheet "Logs". The sheet "Log" looks like it: rename it to Logs.',
        'There is no sheet "Costs". Copy it back from the last backup, or from a new workbook.',
        "Sheet Log: no row of headings was found in the first 20 rows. Needed: one row with Log, Wood, "
        "Diameter, Length, Inoculated, Note. Put the row back, or take the sheet from the last backup.",
    ]


def test_optional_columns_and_other_names(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("S")
        sheet.write_row(0, 0, ["Name", "Dia"])
        sheet.write_row(1, 0, ["a", 4])
    columns = [ColumnSpec("log", "Log", "text", also=("Name", "Id")),
               ColumnSpec("diameter", "Diameter", "number", also=("Dia", "Diam.")),
               ColumnSpec("felled", "Felled", "date", required=False)]
    table = read_tables(tmp_path / "a.xlsx", [TableSpec("s", "S", columns, ignore=("x",))])["s"]
    assert table.columns["log"].values[0] == "a" and table.columns["diameter"].values[0] == 4
    assert np.isnat(table.columns["felled"].values[0]) and table.columns["felled"].blank().all()


def test_names_and_cells(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx")) as book:
        sheet = book.add_worksheet("It's set")
        day = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write("B2", 15.5)
        sheet.write("B3", "us")
        sheet.write_datetime("B4", dt.datetime(2026, 3, 1, 18, 30), day)
        sheet.write_boolean("B5", True)
        sheet.write_formula("B6", "=1/0", None, "#DIV/0!")
        sheet.write_row("D2", [1, "x"])
        sheet.write_row("D3", ["", 2])
        for name, place in (("bb_wage", "B2"), ("bb_units", "B3"), ("bb_day", "B4"), ("bb_yes", "B5"),
                            ("bb_bad", "B6"), ("bb_blank", "B9"), ("other", "B2")):
            book.define_name(name, f"='It''s set'!${place[0]}${place[1]}")
        book.define_name("bb_list", "='It''s set'!$D$2:$E$3")
        book.define_name("bb_sum", "=SUM('It''s set'!$D$2:$E$3)")
        book.define_name("bb_gone", "=#REF!")
    path = tmp_path / "a.xlsx"
    assert read_names(path) == {
        "bb_wage": 15.5, "bb_units": "us", "bb_day": dt.datetime(2026, 3, 1, 18, 30), "bb_yes": True,
        "bb_bad": ERROR, "bb_blank": None, "bb_list": [[1.0, "x"], [None, 2.0]],
    }
    assert read_cells(path, "it's set", 3) == {"B2": 15.5, "B3": "us", "D2": 1.0, "E2": "x", "E3": 2.0}
    with pytest.raises(LayoutProblem, match='no sheet "Plan"'):
        read_cells(path, "Plan")


def test_strings_far_down_the_shared_list_and_rich_text(tmp_path):
    build(tmp_path / "a.xlsx", logs=3_000)
    with_rich = read_cells(tmp_path / "a.xlsx", "My notes")
    assert with_rich["D1"] == "plain bold plain"
    assert read_cells(tmp_path / "a.xlsx", "Logs")["F3003"] == "row 2999"


def test_dates_of_both_systems():
    assert serial_datetime(1, False) == dt.datetime(1900, 1, 1)
    assert serial_datetime(59, False) == dt.datetime(1900, 2, 28)
    assert serial_datetime(61, False) == dt.datetime(1900, 3, 1)
    assert serial_datetime(0, True) == dt.datetime(1904, 1, 1)
    assert serial_datetime(-1, False) is None and serial_datetime(3e6, False) is None


@pytest.mark.parametrize("date1904", [False, True])
def test_a_date_format_on_a_number_no_date_can_be(tmp_path, date1904):
    with xlsxwriter.Workbook(str(tmp_path / "a.xlsx"), {"date_1904": date1904}) as book:
        sheet, day = book.add_worksheet("Odd"), book.add_format({"num_format": "d mmm yyyy"})
        sheet.write_row(0, 0, [title for _, title, _ in ODD_COLUMNS])
        numbers = [-5, 1e9, 3e6]
        for column in range(3):
            sheet.write_column(1, column, numbers, day)
    columns = read_tables(tmp_path / "a.xlsx", [("odd", "Odd", ODD_COLUMNS)])["odd"].columns
    assert columns["day"].odd == {i: Odd("number", float(number)) for i, number in enumerate(numbers)}
    assert np.isnat(columns["day"].values).all() and columns["size"].odd == {}
    assert list(columns["size"].values) == numbers
    assert list(columns["id"].values) == ["-5", "1000000000", "3000000"]


@pytest.mark.parametrize("code, dated", [
    ("d mmm yyyy", True), ("[h]:mm", True), ("[$-409]m/d/yy h:mm AM/PM;@", True), ("General", False),
    ('0.00" days"', False), ("[Red]0.00", False), ("#,##0.00\\ [$EUR]", False), ("0.0_d", False),
    ("@", False),
])
def test_date_formats(code, dated):
    assert is_date_format(code) is dated


def test_blank_columns_know_their_kinds():
    assert blank_column("number", 2).blank().all() and blank_column("text", 2).values.dtype == object
    with pytest.raises(ValueError):
        blank_column("bool", 1)

"""Typing into a closed workbook: the cell is as if typed by hand, its row computes, and nothing else moves."""
from __future__ import annotations

import datetime as dt
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
from test_workbook import audit

from workbook_template.build import build
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_cells
from workbook_template.ports.type_in import Typed, type_in, type_into
from workbook_template.yard import Yard

DAY = dt.date(2026, 11, 15)
LOG = {"log": "A1", "wood": "white oak", "strain": "shiitake, wide range", "diameter": 5.0, "length": 40.0, "inoculated": dt.date(2026, 3, 15)}


def a_yard(profile: str = "us") -> Yard:
    return Yard(profile, {
        "logs": [dict(LOG)],
        "markets": [{"market": "Hill Fair", "terms": "on consignment", "commission": 0.2}],
        "prices": [{"price_market": "Hill Fair", "price_product": "fresh", "price_from": dt.date(2026, 1, 1), "price_each": 12.0}],
        "sales": [{"date": dt.date(2026, 6, 1), "market": "Hill Fair", "kind": "delivered", "product": "fresh", "amount": 10.0}],
    }, {"as_of_typed": DAY})


@pytest.fixture
def book(tmp_path) -> Path:
    path = tmp_path / "yard.xlsx"
    build(path, a_yard(), rows=10, as_of=DAY)
    return path


def put(path: Path, content: bytes) -> Path:
    new = path.with_name("new.xlsx")
    new.write_bytes(content)
    return new


def parts(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def part_of(path: Path, sheet: str) -> str:
    with zipfile.ZipFile(path) as archive:
        return read_book(archive).sheet(sheet).part


def rows_of(xml: bytes) -> dict[int, bytes]:
    return {int(m[1]): m[0] for m in re.finditer(rb'<row r="(\d+)".*?</row>', xml, re.S)}


SALE = {"date": dt.date(2026, 7, 4), "market": "Hill Fair", "kind": "sold", "product": "fresh", "amount": 2.5, "docket": "0042",
        "sale_note": "=SUM(1,2) & <more>"}


def test_a_new_row_fills_the_first_blank_one_and_computes(book):
    """By hand: 2.5 sold at 12.00 is 30.00."""
    done = type_into(book, rows={"sales": [SALE]}, today=DAY)
    new = put(book, done.content)
    assert done.places == {"sales": [(7, "S00002")]} and done.parts == [part_of(book, "Sales")]
    cells = read_cells(new, "Sales")
    assert [cells.get(f"{c}7") for c in "ABCDEFGHL"] == [dt.datetime(2026, 7, 4), "Hill Fair", "sold", "fresh", 2.5, 12.0, 30.0, "ok", "0042"]
    assert cells["M7"] == "=SUM(1,2) & <more>" and cells["N7"] == "S00002"
    before, after = parts(book), parts(new)
    sheet = part_of(book, "Sales")
    assert {name for name in before if before[name] != after[name]} == {sheet} and before.keys() == after.keys()
    old_rows, new_rows = rows_of(before[sheet]), rows_of(after[sheet])
    assert {r for r in old_rows if old_rows[r] != new_rows[r]} == {7} and old_rows.keys() == new_rows.keys()
    assert before[sheet].partition(b"<sheetData>")[0] == after[sheet].partition(b"<sheetData>")[0]
    assert before[sheet].partition(b"</sheetData>")[2] == after[sheet].partition(b"</sheetData>")[2]
    assert "Errors: 0" in audit(new)


def test_formula_and_look_of_the_row_stay(book):
    new = put(book, type_in(book, rows={"sales": [SALE]}, today=DAY))
    old, now = openpyxl.load_workbook(book)["Sales"], openpyxl.load_workbook(new)["Sales"]
    for column in range(1, 15):
        assert now.cell(7, column)._style == old.cell(7, column)._style
        if old.cell(7, column).data_type == "f":
            assert now.cell(7, column).value == old.cell(7, column).value
    assert now["M7"].data_type == "s" and now["A7"].is_date


def test_one_cell_is_changed_and_its_row_computed_again(book):
    """By hand: 6 in across and 40 in long is pi/4 x 36 x 40 cubic inches; weight goes with the square of the diameter."""
    old = read_cells(book, "Logs")
    titles = {v: re.match("[A-Z]+", a)[0] for a, v in old.items() if re.fullmatch("[A-Z]+5", a)}
    new = put(book, type_in(book, [Typed("logs", 6, "count", 4), Typed("logs", 6, "diameter", 6.0)], today=DAY))
    cells = read_cells(new, "Logs")
    assert cells[titles["Count"] + "6"] == 4.0 and cells[titles["Logs in row"] + "6"] == 4.0
    assert cells[titles["Volume each (cu ft)"] + "6"] == pytest.approx(3.14159265 / 4 * 36 * 40 / 1728, rel=1e-8)
    assert cells[titles["Green weight each (lb)"] + "6"] == pytest.approx(old[titles["Green weight each (lb)"] + "6"] * 36 / 25, rel=1e-12)
    assert "1 log" not in str(cells[titles["Assumed"] + "6"])
    emptied = put(book, type_in(new, [Typed("logs", 6, "diameter", None)], today=DAY))
    assert "D6" not in read_cells(emptied, "Logs") and read_cells(emptied, "Logs")[titles["Check"] + "6"] == "needs a diameter"


def test_totals_above_the_headings_count_the_new_row(book, office):
    new = put(book, type_in(book, rows={"logs": [LOG | {"log": "A2", "count": 3}]}, today=DAY))
    assert read_cells(new, "Logs")["G3"] == 4.0
    told = openpyxl.load_workbook(new, data_only=True)["Logs"]
    computed = office.computed(new)["Logs"]
    for row in (3, 6, 7):
        for column in range(7, 19):
            ours, theirs = (sheet.cell(row, column).value or "" for sheet in (told, computed))
            assert ours == (pytest.approx(theirs, rel=1e-9) if isinstance(theirs, float) else theirs), (row, column)


def test_a_full_table_grows_with_its_range_names_checks_and_print_area(tmp_path):
    path = tmp_path / "full.xlsx"
    build(path, a_yard(), rows=10, as_of=DAY)
    last = 5 + max(10, 1 + 20)
    new = put(path, type_in(path, rows={"sales": [SALE | {"amount": float(i)} for i in range(1, 31)]}, today=DAY))
    sheet = openpyxl.load_workbook(new)["Sales"]
    bottom = 6 + 30
    assert last == 26 and sheet.tables["Sales"].ref == f"A5:N{bottom}" and sheet.tables["Sales"].autoFilter.ref == f"A5:N{bottom}"
    assert sheet.print_area == f"'Sales'!$A$1:$M${bottom}" and sheet.dimensions == f"A1:N{bottom}"
    assert [sheet.cell(r, 14).value for r in (26, 27, bottom)] == ["S00021", "S00022", "S00031"]
    rules = {str(r.sqref) for r in sheet.data_validations.dataValidation}
    assert f"B6:B{bottom}" in rules and f"A6:A{bottom}" in rules and "B5" in rules and "B6:B26" not in rules
    values = openpyxl.load_workbook(new, data_only=True)["Sales"]
    assert values.cell(bottom, 7).value == 30 * 12.0 and values.cell(bottom, 8).value == "ok"
    assert sheet.cell(bottom, 7).value == sheet.cell(26, 7).value.replace("26", str(bottom))
    assert [sheet.cell(bottom, c)._style for c in range(1, 15)] == [sheet.cell(26, c)._style for c in range(1, 15)]
    with zipfile.ZipFile(new) as archive:
        assert read_book(archive).names["bb_sales"] == f"Sales!$A$5:$N${bottom}"
    before, after = parts(path), parts(new)
    changed = {name for name in before if before[name] != after[name]}
    tables = {name for name in changed if name.startswith("xl/tables/")}
    assert changed - tables == {part_of(path, "Sales"), "xl/workbook.xml"} and len(tables) == 1
    assert "Errors: 0" in audit(new)


def test_named_columns_and_totals_reach_over_new_logs(tmp_path):
    path = tmp_path / "logs.xlsx"
    build(path, a_yard(), rows=10, as_of=DAY)
    new = put(path, type_in(path, rows={"logs": [LOG | {"log": f"B{i}"} for i in range(25)]}, today=DAY))
    with zipfile.ZipFile(new) as archive:
        assert read_book(archive).names["log_log"] == "Logs!$A$6:$A$31"
    assert openpyxl.load_workbook(new)["Logs"]["G3"].value == "=SUM($G$6:$G$31)"


def test_blank_rows_are_added_with_formulas_and_keys(book):
    new = put(book, type_in(book, blank_rows={"logs": 5}, today=DAY))
    sheet = openpyxl.load_workbook(new)["Logs"]
    key = sheet.max_column
    assert sheet.tables["Logs"].ref.endswith("31") and [sheet.cell(r, key).value for r in (26, 27, 31)] == ["L00021", "L00022", "L00026"]
    assert sheet.cell(31, 7).value.startswith("=") and sheet.cell(31, 1).value is None
    filled = type_into(new, rows={"logs": [LOG | {"log": "Z9"}]}, today=DAY)
    assert filled.places["logs"] == [(7, "L00002")]


def test_moved_columns_and_the_growers_own_column_are_found(book):
    """Columns A and B change places and an own column stands behind the table: the same values reach the same headings."""
    own = openpyxl.load_workbook(book)
    sheet = own["Sales"]
    for row in range(5, 27):
        a, b = sheet.cell(row, 1), sheet.cell(row, 2)
        a.value, b.value = b.value, a.value
        a._style, b._style = b._style, a._style
    sheet["O5"], sheet["O6"], sheet["O7"] = "Weather", "sun", "=LEN(O6)"
    sheet.tables.clear()
    own.save(book)
    done = type_into(book, rows={"sales": [SALE]}, today=DAY)
    new = put(book, done.content)
    assert done.places == {"sales": [(7, "S00002")]} or done.places == {"sales": [(8, "S00003")]}
    row = done.places["sales"][0][0]
    cells = read_cells(new, "Sales")
    assert cells[f"A{row}"] == "Hill Fair" and cells[f"B{row}"] == dt.datetime(2026, 7, 4) and cells["O6"] == "sun"


def test_dates_of_1904_and_a_date_in_a_plain_cell(book):
    own = openpyxl.load_workbook(book)
    own.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    own["Sales"]["A7"].number_format = "General"
    own.save(book)
    new = put(book, type_in(book, rows={"sales": [SALE]}, today=DAY))
    assert read_cells(new, "Sales")["A7"] == dt.datetime(2026, 7, 4)
    with zipfile.ZipFile(new) as archive:
        xml = archive.read(part_of(new, "Sales"))
    assert re.search(rb'r="A7"[^>]*><v>(\d+)<', xml)[1] == b"%d" % ((dt.date(2026, 7, 4) - dt.date(1904, 1, 1)).days)


def test_a_number_does_not_become_a_date(book):
    own = openpyxl.load_workbook(book)
    own["Sales"]["E7"].number_format = "d mmm yyyy"
    own.save(book)
    new = put(book, type_in(book, rows={"sales": [SALE]}, today=DAY))
    assert read_cells(new, "Sales")["E7"] == 2.5


def test_text_stays_text_whatever_it_begins_with(book):
    for text in ("=1+1", "+1", "-1", "@x", "007", "1E5", " spaced ", 'a "b" <c> & d', "tab\tand\nline"):
        new = put(book, type_in(book, [Typed("sales", 6, "sale_note", text)], today=DAY))
        assert read_cells(new, "Sales")["M6"] == text
        assert openpyxl.load_workbook(new)["Sales"]["M6"].data_type == "s"


def test_an_error_in_the_row_leaves_its_formulas_to_the_program(book):
    own = openpyxl.load_workbook(book)
    own["Sales"]["I6"] = "#DIV/0!"
    own["Sales"]["I6"].data_type = "e"
    own.save(book)
    new = put(book, type_in(book, [Typed("sales", 6, "amount", 3)], today=DAY))
    cells = read_cells(new, "Sales")
    assert cells["E6"] == 3.0 and "G6" not in cells


def test_a_merged_row_and_a_totals_row_are_said(book):
    own = openpyxl.load_workbook(book)
    own["Sales"].merge_cells("A6:A7")
    own.save(book)
    with pytest.raises(FileProblem, match="A6:A7 is merged"):
        type_in(book, [Typed("sales", 7, "amount", 3)], today=DAY)


def test_what_is_no_input_is_refused(book):
    for cell in (Typed("sales", 6, "value", 3), Typed("sales", 6, "nothing", 3), Typed("sales", 5, "amount", 3), Typed("nothing", 6, "amount", 3)):
        with pytest.raises(KeyError):
            type_in(book, [cell])
    with pytest.raises(KeyError):
        type_in(book, rows={"sales": [{"value": 3}]})


def test_nothing_to_type_leaves_every_byte_of_every_part(book):
    assert parts(put(book, type_in(book.read_bytes()))) == parts(book)


def test_a_file_saved_by_libreoffice_is_typed_into(book, trusting_office, tmp_path):
    saved = trusting_office.convert(book, "xlsx")
    done = type_into(saved, rows={"sales": [SALE], "logs": [LOG | {"log": "A2"}]}, today=DAY)
    new = put(saved, done.content)
    cells = read_cells(new, "Sales")
    assert [cells.get(f"{c}7") for c in "ABCDEFGHL"] == [dt.datetime(2026, 7, 4), "Hill Fair", "sold", "fresh", 2.5, 12.0, 30.0, "ok", "0042"]
    shown = openpyxl.load_workbook(trusting_office.convert(new, "xlsx"), data_only=True)
    assert shown["Sales"]["G7"].value == 30 and shown["Logs"]["A7"].value == "A2"
    assert {p for p in parts(saved) if parts(saved)[p] != parts(new)[p]} <= {part_of(saved, "Sales"), part_of(saved, "Logs"), "xl/workbook.xml"}

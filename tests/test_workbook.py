"""The new workbook: valid, complete, true values in every formula cell, and kind to a beginner."""
from __future__ import annotations

import datetime as dt
import math
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pytest

from workbook_template import schema
from workbook_template.build import build
from workbook_template.settings_table import SETTINGS
from workbook_template.yard import Yard

DAY = dt.date(2026, 11, 15)
PROFILES = ("us", "metric")
FORBIDDEN = re.compile(r"\b(LET|LAMBDA|XLOOKUP|FILTER|UNIQUE|SORT|SEQUENCE|OFFSET|INDIRECT|TEXT|CEILING|FLOOR|IFS|MAXIFS|MINIFS)\(|\[[@#A-Z]")


@pytest.fixture(scope="module", params=PROFILES)
def new_book(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("new") / f"new_{request.param}.xlsx"
    build(path, Yard(request.param), rows=30, as_of=DAY)
    return request.param, path


def audit(path: Path) -> str:
    program = Path(sys.executable).with_name("openxml-audit")
    done = subprocess.run([str(program), "-m", "0", str(path)], capture_output=True, text=True)
    return done.stdout + done.stderr


def test_open_xml_audit_finds_nothing(new_book):
    report = audit(new_book[1])
    assert "no findings" in report and "Errors: 0" in report, report


def test_sheets_stand_in_order(new_book):
    profile, path = new_book
    names = openpyxl.load_workbook(path, read_only=True).sheetnames
    cost = "Cost per pound" if profile == "us" else "Cost per kilogram"
    assert names == ["Start", "This week", "Logs", "Events", "Costs", "Sales", "Promises", "Plan", "Season", "Coming weeks", "Each log", "Yield",
                     cost, "What pays", "Budget", "Keeping", "Partner", "Shopping", "Problems", "Settings", "Lists", "Field sheet", "Sources"]


def test_headers_carry_units(new_book):
    profile, path = new_book
    book = openpyxl.load_workbook(path)
    heads = [c.value for c in book["Logs"][5]]
    wanted = {"us": ["Diameter (in)", "Length (in)", "Volume each (cu ft)", "Green weight each (lb)", "Hole spacing (in)"],
              "metric": ["Diameter (cm)", "Length (cm)", "Volume each (L)", "Green weight each (kg)", "Hole spacing (cm)"]}[profile]
    assert heads[:3] == ["Log", "Wood", "Strain"] and set(wanted) <= set(heads) and heads[-1] == "Row"


def test_input_sheets_are_frozen_checked_and_set_up_for_print(new_book):
    book = openpyxl.load_workbook(new_book[1])
    for table in schema.INPUT_TABLES:
        sheet = book[table.sheet]
        assert sheet.freeze_panes == "B6"
        assert sheet.page_setup.fitToWidth in (None, 1) and sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.print_title_rows
        kinds = [v.type for v in sheet.data_validations.dataValidation]
        assert "list" in kinds and "decimal" in kinds and "date" in kinds
        assert list(sheet.tables.values())[0].ref.startswith("A5:")


def test_formulas_keep_to_the_safe_subset(new_book):
    book = openpyxl.load_workbook(new_book[1])
    formulas = [c.value for sheet in book for row in sheet.iter_rows() for c in row if isinstance(c.value, str) and c.value.startswith("=")]
    assert len(formulas) > 1000
    assert not [f for f in formulas if FORBIDDEN.search(f)]


def test_settings_say_where_they_come_from(new_book):
    profile, path = new_book
    sheet = openpyxl.load_workbook(path)["Settings"]
    by_title = {row[0].value: row for row in sheet.iter_rows(min_row=4, max_col=6)}
    for setting in SETTINGS:
        row = by_title[setting.title]
        assert row[4].value, setting.key
        assert row[1].value == setting.start(profile)
    assert "Cornell" in by_title["Wage for an hour, your own too"][4].value
    assert by_title["Density of the wax, solid"][4].value.startswith("from memory")


BEGINNER = [{"log": f"B{i}", "wood": wood, "strain": "shiitake, wide range", "diameter": d, "length": n}
            for i, (wood, d, n) in enumerate((("white oak", 4, 48), ("sugar maple", 5, 40), ("red maple", 3.5, 40), ("white oak", 4, "4'2\"")), 1)]


@pytest.fixture(scope="module")
def beginner(tmp_path_factory, office):
    path = tmp_path_factory.mktemp("beginner") / "beginner.xlsx"
    build(path, Yard("us", {"logs": BEGINNER}), rows=20, as_of=DAY)
    return path, office.computed(path)


def cell(book, row: int, title: str):
    heads = [c.value for c in book["Logs"][5]]
    return book["Logs"].cell(row, heads.index(title) + 1).value


def test_five_columns_are_enough(beginner):
    book = beginner[1]
    # 4 x 48 in: pi/4 x 16 x 48 / 1728 = 0.34907 cu ft; 6 rows: 3 of 8 holes and 3 of 7 = 45; 45 x 1.05 = 47.25 -> 48 plugs; 45 g = 0.0992 lb wax
    assert cell(book, 6, "Volume each (cu ft)") == pytest.approx(math.pi / 4 * 16 * 48 / 1728)
    assert cell(book, 6, "Holes each") == 45
    assert cell(book, 6, "Plugs for row") == 48
    assert cell(book, 6, "Wax for row (lb)") == pytest.approx(45 / 453.59237)
    assert cell(book, 6, "Assumed") == "spawn form, hole spacing, row spacing, ends, 1 log"
    assert cell(book, 6, "Check") == "ok"
    # white oak, USDA FIA: green / dry 1.70944, wood G .60 and bark G .56, bark 16 % of wood: 62.428 x (.60 x 1.6826667 + .16 x .56 x 1.88875) / 1.16
    per_cu_ft = 62.4279605761 * (0.60 * 1.6826667 + 0.16 * 0.56 * 1.88875) / 1.16
    assert cell(book, 6, "Green weight each (lb)") == pytest.approx(math.pi / 4 * 16 * 48 / 1728 * per_cu_ft, rel=1e-6)


def test_a_length_in_words_waits_for_the_refresh(beginner):
    book = beginner[1]
    assert cell(book, 9, "Check") == "read at refresh"
    assert [cell(book, 9, t) for t in ("Volume each (cu ft)", "Green weight each (lb)", "Lift", "Holes each", "Plugs for row",
        "Wax for row (lb)")] == [None] * 6


def test_no_error_cell_anywhere(beginner):
    errors = [f"{s.title}!{c.coordinate}" for s in beginner[1] for row in s.iter_rows() for c in row if c.data_type == "e"]
    assert errors == []


def test_every_formula_cell_of_a_typed_row_carries_its_value(beginner):
    """Read without computing, as a phone's preview does."""
    plain, formulas = openpyxl.load_workbook(beginner[0], data_only=True), openpyxl.load_workbook(beginner[0])
    shown = {c.coordinate: plain["Logs"][c.coordinate].value for c in formulas["Logs"][6] if isinstance(c.value, str) and c.value.startswith("=")}
    blank_on_purpose = {"Spawn for row (lb)", "Age (months)"}
    heads = {c.coordinate.rstrip("0123456789"): c.value for c in formulas["Logs"][5]}
    missing = [a for a, v in shown.items() if v is None and heads[a.rstrip("0123456789")] not in blank_on_purpose]
    assert len(shown) == 12 and missing == []


def test_text_that_looks_like_a_formula_stays_text(tmp_path):
    path = tmp_path / "odd.xlsx"
    build(path, Yard("us", {"logs": [{"log": "=1+1", "wood": "white oak", "diameter": 4, "length": 40, "note": "@SUM(A1)"}]}), rows=10, as_of=DAY)
    with zipfile.ZipFile(path) as archive:
        assert b"=1+1" in archive.read("xl/sharedStrings.xml")
    assert openpyxl.load_workbook(path)["Logs"]["A6"].data_type == "s"


def test_nothing_of_this_machine_in_the_file(new_book):
    with zipfile.ZipFile(new_book[1]) as archive:
        text = b"".join(archive.read(n) for n in archive.namelist())
    assert str(Path.home()).encode() not in text and str(new_book[1].parent).encode() not in text


def test_an_error_value_in_a_diary_does_not_spread(tmp_path, office):
    """A grower's own formula may give an error value; the other rows and the logs still compute."""
    path = tmp_path / "error.xlsx"
    picks = [{"date": DAY, "event": "picked", "log": "B1", "amount": 1.5}, {"date": DAY, "event": "picked", "log": "B1", "amount": 2.0}]
    build(path, Yard("us", {"logs": BEGINNER, "events": picks}, settings={"as_of_typed": DAY}), rows=10, as_of=DAY)
    book = openpyxl.load_workbook(path)
    heads = [c.value for c in book["Events"][5]]
    amount = next(i for i, head in enumerate(heads, 1) if str(head).startswith("Amount"))
    book["Events"].cell(6, amount, "=1/0")
    book["Events"].cell(8, heads.index("Log") + 1, "=1/0")
    book.save(path)
    seen = office.computed(path)
    assert cell(seen, 6, "Picked, own lines (lb)") == 2.0
    assert not [c.coordinate for row in seen["Logs"].iter_rows() for c in row if str(c.value).startswith("#")]


def test_an_error_in_a_name_leaves_the_totals_and_says_so_in_check(tmp_path, office):
    path = tmp_path / "name.xlsx"
    build(path, Yard("us", {"logs": BEGINNER}), rows=10, as_of=DAY)
    book = openpyxl.load_workbook(path)
    book["Logs"]["A6"] = "=1/0"
    book.save(path)
    seen = office.computed(path)
    assert cell(seen, 6, "Check") == "mend the error value" and cell(seen, 7, "Check") == "ok"
    errors = [c.coordinate for row in seen["Logs"].iter_rows() for c in row if str(c.value).startswith("#")]
    assert errors == ["A6"]


def test_cautions_stand_where_the_work_is(new_book, tmp_path):
    """Common practice, and the bulletins on Sources."""
    from workbook_template import cautions
    from workbook_template.refresh import refresh_file
    _, path = new_book
    fresh = tmp_path / "fresh.xlsx"
    refresh_file(path, fresh, DAY, progress=False)
    book = openpyxl.load_workbook(fresh)
    texts = {sheet.title: {c.value for row in sheet.iter_rows() for c in row if isinstance(c.value, str)} for sheet in book}
    for name, words in {**{k: (v,) for k, v in cautions.SHEETS.items()}, "Start": cautions.START, "Plan": cautions.PLAN,
                        "Shopping": cautions.SHOPPING, "This week": cautions.THIS_WEEK}.items():
        assert set(words) <= texts[name], name

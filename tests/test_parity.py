"""Every native formula of the workbook against its Python twin, computed by a real LibreOffice.

The files are written without values, LibreOffice computes each formula, and a planted wrong value must be corrected.
"""
from __future__ import annotations

import datetime as dt
import math
import shutil
import zipfile
from pathlib import Path

import openpyxl
import parity_cases
import pytest

from workbook_template import schema
from workbook_template.build import build, environment, guarded_rows, table_spot
from workbook_template.columns import COMPUTED
from workbook_template.sheets import plan_typed
from workbook_template.twins import is_number, serial
from workbook_template.yard import Yard

PROFILES = ("us", "metric")
CANARY = 123456.0
ROWS = 40


def same(seen, wanted) -> bool:
    if seen == dt.time():  # how openpyxl reads 0 in a date format
        seen = 0
    if wanted in ("", None):
        return seen in ("", None)
    if is_number(wanted):
        return is_number(seen) and math.isclose(serial(seen), serial(wanted), rel_tol=1e-9, abs_tol=1e-12)
    return seen == wanted


def plant(path: Path, sheet_part: str, cell: str) -> None:
    """Put a wrong value into a formula cell that was written without one."""
    copy = path.with_suffix(".tmp")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(copy, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.infolist():
            data = old.read(item)
            if item.filename == sheet_part:
                start = data.index(f'<c r="{cell}"'.encode())
                end = data.index(b"</c>", start)
                changed = data[start:end].replace(b't="str"', b"").replace(b"<v></v>", f"<v>{CANARY}</v>".encode())
                assert changed != data[start:end], "the canary was not planted"
                data = data[:start] + changed + data[end:]
            new.writestr(item, data)
    shutil.move(copy, path)


@pytest.fixture(scope="module", params=PROFILES)
def computed(request, office, tmp_path_factory):
    """The parity workbook of a profile, computed by LibreOffice."""
    path = tmp_path_factory.mktemp("parity") / f"parity_{request.param}.xlsx"
    yard = parity_cases.yard(request.param)
    singles = build(path, yard, rows=ROWS, as_of=parity_cases.DAY, cached=False)
    plant(path, "xl/worksheets/sheet3.xml", "H6")  # Logs, volume of the first row
    return yard, singles, office.computed(path)


def twins(yard, table):
    """(row number, column, value its twin gives) of every computed cell, guarded rows without anything typed too."""
    env = environment(yard, parity_cases.DAY)
    first, _ = table_spot(table)
    rows = env.rows[table.key]
    for i, row in enumerate(rows + [{}] * (guarded_rows(table, ROWS, len(rows)) - len(rows))):
        for column in table.columns:
            if column.kind == COMPUTED:
                yield first + i + 1, column, column.twin(row, env)


def test_canary_was_corrected(computed):
    seen = computed[2]["Logs"]["H6"].value
    assert seen != CANARY and seen > 0


def test_every_table_formula_equals_its_twin(computed):
    yard, _, book = computed
    wrong, compared = [], 0
    for table in schema.TABLES:
        _, left = table_spot(table)
        keys = [c.key for c in table.columns]
        for row, column, wanted in twins(yard, table):
            seen = book[table.sheet].cell(row, left + keys.index(column.key) + 1).value
            compared += 1
            if not same(seen, wanted):
                wrong.append(f"{table.sheet} row {row} {column.key}: LibreOffice {seen!r}, twin {wanted!r}")
    assert not wrong, "\n".join(wrong[:30])
    assert compared > 1100


def test_single_formulas_equal_their_twins(computed):
    _, singles, book = computed
    wrong = [f"{sheet}!{cell}: LibreOffice {book[sheet][cell].value!r}, twin {value!r}"
             for sheet, cell, _, value in singles if not same(book[sheet][cell].value, value)]
    assert not wrong, "\n".join(wrong[:30])


def test_no_formula_gives_an_error_value(computed):
    book = computed[2]
    errors = [f"{sheet.title}!{c.coordinate} {c.value}" for sheet in book for row in sheet.iter_rows() for c in row
              if isinstance(c.value, str) and c.value.startswith("#") and c.value.endswith(("!", "?", "A"))]
    assert errors == []


@pytest.mark.parametrize("table", schema.TABLES, ids=lambda t: t.key)
def test_every_computed_column_has_a_twin_and_telling_cases(table):
    yard = parity_cases.yard("us")
    for column in table.columns:
        if column.kind != COMPUTED:
            continue
        assert column.formula and column.twin, f"{column.key} needs a formula and a twin"
        values = [v for _, c, v in twins(yard, table) if c is column]
        assert any(v not in ("", None) for v in values), f"{column.key}: no case with a value"
        assert any(v in ("", None, 0) for v in values), f"{column.key}: no case that stays blank"


@pytest.fixture(scope="module")
def plans(office, tmp_path_factory):
    """name -> (single formulas of the Plan sheet, its rows of cells as LibreOffice computed them)."""
    folder, singles = tmp_path_factory.mktemp("plans"), {}
    yards = parity_cases.plans() | {name: yard for name, (yard, _) in parity_cases.bad_plans().items()}
    paths = {name: folder / f"plan_{i}.xlsx" for i, name in enumerate(yards)}
    for name, yard in yards.items():
        singles[name] = [s for s in build(paths[name], yard, rows=10, as_of=parity_cases.DAY, cached=False) if s[0] == "Plan"]
    made = office.convert_all(list(paths.values()), "xlsx")
    return {name: (singles[name], list(openpyxl.load_workbook(file, data_only=True, read_only=True)["Plan"].iter_rows()))
            for name, file in zip(paths, made, strict=True)}


@pytest.mark.parametrize("name", [*parity_cases.plans(), *parity_cases.bad_plans()])
def test_plan_equals_its_twin(name, plans):
    singles, rows = plans[name]
    shown = {c.coordinate: c.value for row in rows for c in row if c.value is not None}
    wrong = [f"{cell}: LibreOffice {shown.get(cell)!r}, twin {value!r}, formula {formula[:160]}"
             for _, cell, formula, value in singles if not same(shown.get(cell), value)]
    assert not wrong, f"{len(wrong)} of {len(singles)}\n" + "\n".join(wrong[:20])
    assert len(singles) > 2500


def beside(rows, title: str, col: int):
    return next(row[col].value for row in rows if row[0].value == title)


@pytest.mark.parametrize("name", parity_cases.bad_plans())
def test_a_slip_on_the_plan_shows_a_word_and_blanks(name, plans):
    rows, words = plans[name][1], parity_cases.bad_plans()[name][1]
    seen = {entry.name: beside(rows, entry.title, 3) for entry in plan_typed.INPUTS}
    assert {key: word for key, word in seen.items() if word} == words
    errors = [f"{c.coordinate} {c.value}" for row in rows for c in row if c.data_type == "e"]
    assert errors == []
    weighed = ("Green weight of all bolts", "Heaviest bolt, green", "Bolts over the lifting limit", "Longest bolt within the limit, green")
    drilled = ("Holes", "Plugs or thimbles, with spares", "Wax", "Room the melted wax takes")
    no_sizes = set(words) - {"wood", "form", "along", "around", *plan_typed.SUPPLY}
    if set(words) <= set(plan_typed.SUPPLY):
        return
    empty = weighed * bool(no_sizes or "wood" in name) + drilled * bool(no_sizes or {"form", "along", "around"} & set(words))
    assert empty and [title for title in empty if beside(rows, title, 1) not in (None, "")] == []


def test_an_error_typed_on_the_plan_stays_in_its_cell(office, tmp_path):
    path = tmp_path / "errors.xlsx"
    build(path, Yard("us"), rows=10, as_of=parity_cases.DAY)
    book = openpyxl.load_workbook(path)
    typed = [f"B{cell.row}" for cell in book["Plan"]["A"] if cell.value in {entry.title for entry in plan_typed.INPUTS}]
    for cell in typed:
        book["Plan"][cell] = "=1/0"
    book.save(path)
    sheet = office.computed(path)["Plan"]
    assert [c.coordinate for row in sheet.iter_rows() for c in row if c.data_type == "e"] == typed and len(typed) == 16
    assert all(sheet[f"D{cell[1:]}"].value for cell in typed)


def test_cached_values_are_the_true_ones(trusting_office, tmp_path):
    """A program that trusts the file shows the same as one that computes."""
    path = tmp_path / "cached.xlsx"
    build(path, parity_cases.yard("us"), rows=40, as_of=parity_cases.DAY)
    book = trusting_office.computed(path)
    assert book["Logs"]["H6"].value == pytest.approx(math.pi / 4 * 16 * 48 / 1728, rel=1e-12)  # 4 in x 48 in
    assert book["Logs"]["K6"].value == 45  # 6 x 2 in with 2 in margins: 3 rows of 8 and 3 of 7

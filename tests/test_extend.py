"""boltbook extend: more prefilled rows with keys, formulas, checks and names, true values in them, everything else byte for byte."""
from __future__ import annotations

import datetime as dt
import math
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from test_cli import run
from test_workbook import audit

from workbook_template import schema
from workbook_template.build import build, table_spot
from workbook_template.extend import extend, more_rows
from workbook_template.ports.reader import read_tables
from workbook_template.ports.swap import FileInUse, backup_path
from workbook_template.ports.type_in import type_in
from workbook_template.refresh import refresh_file, table_specs
from workbook_template.typed_rows import keys_of, rows_of
from workbook_template.yard import Yard

TODAY = dt.date(2026, 11, 1)
LOG = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4.0, "length": 40.0, "inoculated": dt.date(2025, 4, 1)}
PICK = {"date": dt.date(2026, 5, 1), "event": "picked", "log": "A1", "amount": 1.5}


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    path = tmp_path_factory.mktemp("drawn") / "yard.xlsx"
    build(path, Yard("us", {"logs": [LOG], "events": [PICK]}), rows=10, as_of=TODAY)
    return path


@pytest.fixture
def yard(drawn, tmp_path):
    return Path(shutil.copy(drawn, tmp_path / "yard.xlsx"))


def parts(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_only_the_input_sheets_and_their_tables_change(yard):
    before = parts(yard)
    done = extend(yard, 7, today=TODAY)
    after = parts(yard)
    changed = {name for name in before if before[name] != after[name]}
    assert after.keys() == before.keys() and "Errors: 0" in audit(yard)
    assert all(name.startswith(("xl/worksheets/sheet", "xl/tables/table")) or name == "xl/workbook.xml" for name in changed)
    assert len([n for n in changed if "worksheets" in n]) == len(done.rows)
    assert done.rows == more_rows(7) and done.rows["events"] == 35 and backup_path(yard).read_bytes() == _joined(before, yard, backup_path(yard))


def _joined(before, yard, backup):
    assert parts(backup) == before
    return backup.read_bytes()


def test_tables_names_checks_and_keys_reach_over_the_new_rows(yard):
    before = openpyxl.load_workbook(yard)
    extend(yard, 7, today=TODAY)
    after = openpyxl.load_workbook(yard)
    for key, more in more_rows(7).items():
        table = schema.table(key)
        name = table.title.replace(" ", "_")
        old, new = before[table.sheet], after[table.sheet]
        last = old.tables[name].ref.rpartition(":")[2]
        bottom = int("".join(c for c in last if c.isdigit()))
        grown = last.rstrip("0123456789") + str(bottom + more)
        assert new.tables[name].ref.endswith(":" + grown) and new.tables[name].autoFilter.ref.endswith(":" + grown)
        assert after.defined_names[f"bb_{key}"].attr_text.endswith(f"${bottom + more}")
        for sheet, end in ((old, bottom), (new, bottom + more)):
            rules = [str(r) for rule in sheet.data_validations.dataValidation for r in rule.sqref.ranges if r.max_row > 6]
            assert rules and {int(r.rpartition(":")[2].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")) for r in rules} == {end}
            assert {r.max_row for c in sheet.conditional_formatting for r in c.sqref.ranges} == {end}
        column = next(i for i, c in enumerate(table.columns, start=1) if c.kind == "rowkey")
        keys = [new.cell(row, column).value for row in range(table_spot(table)[0] + 1, bottom + more + 1)]
        assert len(set(keys)) == len(keys) and all(keys)
    assert after.defined_names["evt_picked"].attr_text.endswith("$90")  # 5 heading rows, 50 + 35 prefilled
    assert after["Logs"]["G3"].value == "=SUM($G$6:$G$33)"  # 21 prefilled and 7 more


def test_formulas_on_new_rows_hold_what_libreoffice_computes(yard, office, tmp_path):
    """A log and its pick typed into new rows by our own hand, then every formula of both sheets computed anew by LibreOffice."""
    extend(yard, 3, today=TODAY)
    more = [{**LOG, "log": f"B{i}", "diameter": 4.0 + i / 8, "count": i} for i in range(1, 24)]
    new = type_in(yard, rows={"logs": more, "events": [{**PICK, "log": "B9", "amount": 2.25, "minutes": 30}] * 54}, today=TODAY, recompute=["logs"])
    yard.write_bytes(new)
    held = openpyxl.load_workbook(yard, data_only=True)
    formulas = openpyxl.load_workbook(yard)
    computed = office.computed(yard)
    seen = 0
    for sheet in ("Logs", "Events", "Costs", "Sales"):
        for row in formulas[sheet].iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.value.startswith("=") and "TODAY" not in cell.value:
                    one, two = (book[sheet][cell.coordinate].value for book in (held, computed))
                    age = schema.table("logs").header_row and formulas[sheet].cell(5, cell.column).value == "Age (months)"
                    seen += 1
                    assert age or alike(one, two), (sheet, cell.coordinate, one, two)
    assert seen > 500 and held["Logs"]["A29"].value == "B23" and held["Logs"]["H29"].value


def alike(one, two):
    if isinstance(one, (int, float)) and isinstance(two, (int, float)):
        return math.isclose(one, two, rel_tol=1e-9, abs_tol=1e-12)
    return (one or "") == (two or "")


def test_rows_typed_below_the_table_get_their_keys_and_formulas(yard, office):
    """As LibreOffice leaves them: typed under the last prefilled row, with neither key nor formula nor table around them."""
    book = openpyxl.load_workbook(yard)
    for column, value in enumerate(("Z1", "white oak", "oyster", 5.0, 40.0), start=1):
        book["Logs"].cell(27, column, value)
    book.save(yard)
    done = extend(yard, 2, today=TODAY)
    assert done.taken_in["logs"] == 1 and "typed below" in "\n".join(done.lines())
    sheet = openpyxl.load_workbook(yard, data_only=True)["Logs"]
    assert sheet["H27"].value == pytest.approx(math.pi / 4 * 25 * 40 / 1728) and sheet["R27"].value == "ok"  # Huber, cu ft
    raw = read_tables(yard, table_specs("us"))["logs"]
    assert rows_of(raw)[-1]["log"] == "Z1" and len({k for k in keys_of(raw) if k}) == len([k for k in keys_of(raw) if k])
    assert office.computed(yard)["Logs"]["H27"].value == pytest.approx(sheet["H27"].value)


def test_a_file_saved_by_libreoffice_is_extended_too(yard, office, tmp_path):
    saved = Path(shutil.copy(office.convert(yard, "xlsx"), tmp_path / "saved.xlsx"))
    extend(saved, 4, today=TODAY)
    raw = read_tables(saved, table_specs("us"))
    assert rows_of(raw["logs"])[0]["log"] == "A1"
    assert refresh_file(saved, progress=False, today=TODAY).counts["logs"] == (1, 1)
    book = office.computed(saved)
    assert book["Logs"]["AH30"].value and book["Logs"]["A6"].value == "A1"


def test_the_command_and_what_it_refuses(yard):
    told = run("extend", yard, "--rows", 5)
    assert told.startswith("yard.xlsx has more prefilled rows: Logs 5, Events 25, Costs 5, Sales 5") and "yard.backup.xlsx" in told
    assert "0 is not in the range" in run("extend", yard, "--rows", 0, code=2)
    assert "There is no file" in run("extend", yard.with_name("no.xlsx"), "--rows", 5, code=2)
    other = yard.with_name("other.xlsx")
    openpyxl.Workbook().save(other)
    assert "not a workbook made here" in run("extend", other, "--rows", 5, code=2)
    before = yard.read_bytes()
    yard.with_name(f"~${yard.name}").write_bytes(b"\x05Ann  ")
    with pytest.raises(FileInUse):
        extend(yard, 5)
    assert yard.read_bytes() == before

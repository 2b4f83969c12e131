"""boltbook upgrade: workbooks as the first two layouts drew them (tests/old_layouts, invented data) become workbooks of today.

Each holds three logs (one with sizes as text, one named 007), three events (one dated "4/13/25"), a cost, a sale, a wood and a market of
the grower's own, changed settings, a column "Moon" beside Logs, and a sheet "My trials" with a chart.
"""
from __future__ import annotations

import datetime as dt
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from test_cli import run
from test_workbook import audit

from workbook_template import schema
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_names, read_tables
from workbook_template.ports.swap import SaveProblem
from workbook_template.refresh import check_file, refresh_file, table_specs
from workbook_template.typed_rows import keys_of, rows_of
from workbook_template.upgrade import KEPT_SHEET, upgrade

OLD = Path(__file__).resolve().parent / "old_layouts"
DAY = dt.datetime


@pytest.fixture(scope="module", params=[1, 2])
def upgraded(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("old")
    source = folder / "yard.xlsx"
    shutil.copy(OLD / f"layout{request.param}.xlsx", source)
    return request.param, source, upgrade(source)


def test_everything_typed_is_there_again(upgraded):
    old, source, done = upgraded
    assert done.path.name == "yard upgraded.xlsx" and source.read_bytes() == (OLD / f"layout{old}.xlsx").read_bytes()
    raw = read_tables(done.path, table_specs("us"))
    logs = rows_of(raw["logs"])
    assert [row["log"] for row in logs] == ["A1", "007", "A3"] and keys_of(raw["logs"]) == ["L00001", "L00002", "L00003"]
    assert logs[0] | {"wood": "white oak", "inoculated": DAY(2024, 4, 12), "note": "north side", "length": 40.0} == logs[0]
    assert logs[1]["diameter"].value == "4 in" and logs[1]["length"].value == "3'4\"" and logs[1]["count"] == 3.0
    events = rows_of(raw["events"])
    assert events[0] == {"date": DAY(2025, 6, 1), "event": "picked", "log": "A1", "amount": 1.25, "event_note": "first", "minutes": 10.0}
    assert events[2]["date"].value == "4/13/25" and events[2]["amount"].value == "12 oz"
    assert rows_of(raw["costs"])[0]["item"] == "drill" and rows_of(raw["sales"])[0]["market"] == "Partner at the square"
    assert {"hickory from the hill"} <= {row["wood"] for row in rows_of(raw["woods"])}
    assert rows_of(raw["markets"])[0]["commission"] == 0.2 and rows_of(raw["prices"])[0]["price_each"] == 12.5
    named = read_names(done.path, "typed_")
    assert (named["typed_yard"], named["typed_wage"], named["typed_per_soak"]) == ("Invented yard", 18.0, 0.3)
    assert read_names(done.path, "plan_")["plan_wanted"] == 6.0


def test_own_columns_stand_on_a_sheet_and_the_rest_is_named(upgraded):
    _, _, done = upgraded
    sheet = openpyxl.load_workbook(done.path)[KEPT_SHEET]
    assert [[c.value for c in row] for row in sheet.iter_rows(min_row=4)] == [
        ["Sheet", "Row", "Row begins with", "Column", "Value"], ["Logs", "L00001", "A1", "Moon", "full"], ["Logs", "L00003", "A3", "Moon", "new"]]
    assert done.left == ["the sheet My trials with its charts: open both files and copy it over"]


def test_the_new_workbook_is_sound_and_refreshes(upgraded, tmp_path, office):
    _, source, done = upgraded
    assert "Errors: 0" in audit(done.path)
    with pytest.raises(FileProblem, match="older version .* boltbook upgrade"):
        check_file(source)
    copy = tmp_path / "again.xlsx"
    shutil.copy(done.path, copy)
    assert refresh_file(copy, progress=False, today=dt.date(2025, 11, 1)).counts["logs"] == (3, 3)
    book = office.computed(copy)
    assert book[KEPT_SHEET]["E5"].value == "full" and book["Logs"]["A7"].value == "007"


def test_a_kept_sheet_changes_no_other_part(tmp_path):
    from workbook_template.build import build
    from workbook_template.ports.new_sheet import NewSheet, add_sheet
    from workbook_template.yard import Yard
    path, out = tmp_path / "a.xlsx", tmp_path / "b.xlsx"
    build(path, Yard("us"), rows=10)
    assert add_sheet(path, out, NewSheet("Start", "Title", "About", [("A", 10)], [["=1+1"], [2.5], [dt.date(2026, 1, 1)]])) == "Start 2"
    with zipfile.ZipFile(path) as before, zipfile.ZipFile(out) as after:
        changed = {n for n in before.namelist() if before.read(n) != after.read(n)}
        assert changed == {"[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"}
        assert len(after.namelist()) == len(before.namelist()) + 1
    assert openpyxl.load_workbook(out)["Start 2"]["A5"].value == "=1+1" and "Errors: 0" in audit(out)


def test_what_cannot_be_upgraded_is_said(tmp_path):
    from workbook_template.build import build
    from workbook_template.yard import Yard
    now, other = tmp_path / "now.xlsx", tmp_path / "other.xlsx"
    build(now, Yard("us"), rows=10)
    openpyxl.Workbook().save(other)
    with pytest.raises(FileProblem, match="already: there is nothing to upgrade"):
        upgrade(now)
    with pytest.raises(FileProblem, match="not a workbook made here"):
        upgrade(other)
    old = tmp_path / "old.xlsx"
    shutil.copy(OLD / "layout1.xlsx", old)
    (tmp_path / "old upgraded.xlsx").write_text("mine")
    with pytest.raises(SaveProblem, match="already"):
        upgrade(old)
    assert (tmp_path / "old upgraded.xlsx").read_text() == "mine"


def test_the_command(tmp_path):
    old = tmp_path / "old.xlsx"
    shutil.copy(OLD / "layout1.xlsx", old)
    assert "boltbook upgrade" in run("refresh", old, code=2)
    told = run("upgrade", old)
    assert f"(layout 1 -> {schema.VERSION})" in told and "Logs 3, Events 3, Costs 1, Sales 1" in told and "the sheet My trials" in told
    assert run("check", tmp_path / "old upgraded.xlsx", code=None)


def test_copies_upgraded_apart_are_still_copies_of_one_yard(tmp_path, upgraded):
    from workbook_template.merge import merge
    _, source, done = upgraded
    copy = tmp_path / "copy.xlsx"
    shutil.copy(source, copy)
    again = upgrade(copy)
    outcome = merge(done.path, again.path, tmp_path / "out.xlsx")
    assert not outcome.merged.additions and not outcome.merged.changes and not outcome.merged.findings


def test_keys_stay_unique_in_a_sorted_sheet(tmp_path):
    """Row 1 holds the key of the last guarded row, as after sorting: no two rows of the new workbook share a key."""
    from workbook_template.upgrade import _unique_keys
    from workbook_template.yard import Yard
    yard = _unique_keys(Yard("us", {"logs": [{"log": "A1", "row": "L00010"}, {"log": "A2", "row": "L00002"}, {"log": "A3"}]}), 10)
    keys = [row["row"] for row in yard.tables["logs"]]
    assert keys[:3] == ["L00010", "L00002", "L00001"] and len(set(keys)) == len(keys) == 23

"""Rows of a running program give the very tables that the reader of closed files gives."""
from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from test_reader import ODD_CELLS, ODD_COLUMNS, check_odd, write_odd

from calc.raw import Odd
from workbook_template.build import build
from workbook_template.ports.grid import Grid, tables_from, typed
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.reader import read_tables
from workbook_template.refresh import table_specs
from workbook_template.yard import Yard, read_folder

HOME = Path(__file__).resolve().parent.parent


def live_value(cell):
    """A cell as a running program hands it over: every number a float, errors marked."""
    if cell.data_type == "e":
        return Odd("error", cell.value)
    if isinstance(cell.value, int) and not isinstance(cell.value, bool):
        return float(cell.value)
    return cell.value


def grid_of(book, name: str) -> Grid:
    sheet = book[name]
    rows = [[live_value(cell) for cell in row] for row in sheet.iter_rows(min_row=1, min_col=1)]
    return Grid(name, rows, [str(area) for area in sheet.merged_cells.ranges])


def from_grid(path, specs):
    book = openpyxl.load_workbook(path, data_only=True)
    return tables_from(specs, book.sheetnames, lambda name: grid_of(book, name))


def assert_same_column(one, other, where) -> None:
    assert one.odd == other.odd, where
    assert one.values.dtype == other.values.dtype, where
    if one.values.dtype == object:
        assert list(one.values) == list(other.values), where
    else:
        assert np.array_equal(one.values, other.values, equal_nan=True), where


def assert_same_table(one, other) -> None:
    """Everything of two raw tables is the same: places, every column, the grower's own columns, merged ranges."""
    for name in ("key", "sheet", "header_row", "first_row", "letters", "length"):
        assert getattr(one, name) == getattr(other, name), name
    assert sorted(one.merged) == sorted(other.merged)
    assert list(one.columns) == list(other.columns) and list(one.extra) == list(other.extra)
    for key in one.columns:
        assert_same_column(one.columns[key], other.columns[key], key)
    for title in one.extra:
        assert_same_column(one.extra[title], other.extra[title], title)


def assert_same_tables(one, other) -> None:
    assert list(one) == list(other)
    for key in one:
        assert_same_table(one[key], other[key])


@pytest.mark.parametrize(("folder", "profile"), [("hollow_us", "us"), ("brook_metric", "metric")])
def test_a_whole_workbook_reads_the_same_both_ways(folder, profile, tmp_path):
    """The example yards hold mistakes of many kinds: dates in sizes, text in amounts, blank rows, unknown ids."""
    path = tmp_path / "yard.xlsx"
    build(path, read_folder(HOME / "examples" / folder, profile))
    specs = table_specs(profile)
    live, closed = from_grid(path, specs), read_tables(path, specs)
    assert_same_tables(live, closed)
    assert closed["logs"].length > 10 and any(c.odd for c in closed["logs"].columns.values())


@pytest.mark.parametrize("date1904", [False, True])
def test_odd_cells_of_every_kind(tmp_path, date1904):
    path = tmp_path / "odd.xlsx"
    write_odd(path, date1904)
    specs = [("odd", "Odd", ODD_COLUMNS, 20)]
    table = from_grid(path, specs)["odd"]
    check_odd(table)
    assert_same_table(table, read_tables(path, specs)["odd"])
    assert table.length == len(ODD_CELLS) + 1


def write_merged(path) -> None:
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("Odd")
        sheet.merge_range("A1:C1", "A title over the table")
        sheet.write_row(1, 0, [title for _, title, _ in ODD_COLUMNS] + ["Mine"])
        for row in range(2, 7):
            sheet.write_string(row, 0, f"A{row}")
        sheet.merge_range("B3:B5", 4.5)
        sheet.merge_range("C4:C6", "soon")
        sheet.merge_range("A7:B7", "A9")
        sheet.merge_range("D3:D9", "own")
        sheet.merge_range("H2:I9", "elsewhere")


def test_merged_cells(tmp_path):
    path = tmp_path / "merged.xlsx"
    write_merged(path)
    specs = [("odd", "Odd", ODD_COLUMNS)]
    table = from_grid(path, specs)["odd"]
    assert_same_table(table, read_tables(path, specs)["odd"])
    assert np.array_equal(table.columns["size"].values, [4.5] * 3 + [np.nan] * 2, equal_nan=True)
    assert table.columns["day"].odd == {i: Odd("text", "soon") for i in (1, 2, 3)}
    assert list(table.extra["Mine"].values) == ["own"] * 5


def write_two_tables(path) -> None:
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet("lists ")
        sheet.write_row(2, 1, ["Wood", "Note"])
        sheet.write_row(2, 4, ["Strain", "Note", "Mine"])
        sheet.write_row(5, 1, ["white oak", "x"])
        sheet.write_row(4, 4, [12.0, "y", dt.date(2026, 5, 1).isoformat()])


def test_tables_side_by_side_and_a_blank_first_column(tmp_path):
    path = tmp_path / "two.xlsx"
    write_two_tables(path)
    specs = [("woods", "Lists", [("wood", "Wood", "text"), ("note", "Note", "text")]),
             ("strains", "Lists", [("strain", "Strain", "text"), ("note", "Note", "text")])]
    assert_same_tables(from_grid(path, specs), read_tables(path, specs))


def test_no_rows_and_missing_columns_that_are_not_required(tmp_path):
    path = tmp_path / "none.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        book.add_worksheet("Logs").write_row(3, 2, ["Log", "Row"])
    columns = [("log", "Log", "text"), ("size", "Size", "number", False), ("row", "Row", "text", True, False)]
    specs = [("logs", "Logs", columns)]
    assert_same_tables(from_grid(path, specs), read_tables(path, specs))


def test_what_is_missing_is_told_in_the_same_words(tmp_path):
    path = tmp_path / "missing.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        book.add_worksheet("Log").write("A1", "nothing here")
        book.add_worksheet("My logs").write_row(2, 0, ["Log", "Wod", "Note", "Note"])
    columns = [("log", "Log", "text"), ("wood", "Wood", "text"), ("note", "Note", "text")]
    specs = [("logs", "My logs", columns), ("events", "Events", columns), ("empty", "Log", columns)]
    told = []
    for read in (from_grid, read_tables):
        with pytest.raises(LayoutProblem) as problem:
            read(path, specs)
        told.append(problem.value.sentences)
    assert told[0] == told[1] and len(told[0]) == 4


def test_a_renamed_sheet_is_known_by_its_mark(tmp_path):
    path = tmp_path / "renamed.xlsx"
    build(path, Yard("us"), rows=10)
    book = openpyxl.load_workbook(path)
    book["Costs"].title = "What I spent"
    book.save(path)
    specs = table_specs("us")
    with pytest.raises(LayoutProblem) as live:
        tables_from(specs, book.sheetnames, lambda name: grid_of(book, name), lambda key: "What I spent" if key == "costs" else None)
    assert live.value.sentences == [
        'There is no sheet "Costs". The sheet "What I spent" is it under another name: rename it back to Costs.']


def test_each_sheet_is_asked_for_once():
    asked = []

    def grid(name):
        asked.append(name)
        return Grid(name, [["Wood", None, "Strain"], ["white oak", None, "oyster"]])

    specs = [("woods", "Lists", [("wood", "Wood", "text")]), ("strains", "Lists", [("strain", "Strain", "text")])]
    tables = tables_from(specs, ["Lists"], grid)
    assert asked == ["Lists"] and list(tables["strains"].columns["strain"].values) == ["oyster"]


@pytest.mark.parametrize(("value", "kept"), [
    (None, None), ("", None), (" \u00a0", None), (float("nan"), None), (float("inf"), None), (4, Odd("number", 4.0)),
    (Decimal("4.5"), Odd("number", 4.5)), (np.float64(2), Odd("number", 2.0)), (False, Odd("bool", False)),
    (dt.date(2026, 5, 1), Odd("date", dt.datetime(2026, 5, 1))),
    (dt.datetime(2026, 5, 1, 7, tzinfo=dt.timezone.utc), Odd("date", dt.datetime(2026, 5, 1, 7))),
    (Odd("error", "#N/A"), Odd("error", "#N/A")), ("é", Odd("text", "é")),
])
def test_values_as_programs_hand_them_over(value, kept):
    assert typed(value) == kept

"""Sheets in the usual form are read in one pass: the same cells come out as the general reader gives, and none ends the process.

The other reading is fastexcel's, a library that knows nothing of ours; the cells are invented.
"""
from __future__ import annotations

import datetime as dt
import random

import numpy as np
import pytest
import xlsxwriter
from intake_book import AS_OF
from mutator import DAYS, NAMES, NASTY, WORDS
from rich_workbook import change_part

from calc import intake
from calc.raw import Odd, RawColumn
from calc.text_columns import Coded
from workbook_template import schema
from workbook_template.ports import reader, scan
from workbook_template.ports.grid import Grid, tables_from
from workbook_template.ports.parts import SharedStrings
from workbook_template.ports.preflight import FileProblem
from workbook_template.refresh import table_infos

COLUMNS = [("name", "Name", "text"), ("note", "Note", "text"), ("size", "Size", "number"), ("day", "Day", "date")]
NUMBERS = (0, -3, 12, 4.5, 1 / 3, 0.1 + 0.2, 1e-7, 5e-5, 123456789.125, 1e15, -1e9)
SERIALS = (0, 0.25, 1, 59.9999, 60, 60.5, 61, 46000, 46000.123456, 2958465, 2958465.99999999, 2958466, -1, 3e6)


def write(path, seed: int, rows: int = 120, date1904: bool = False, in_cells: bool = False):
    """A sheet of anything anywhere, most of it where it belongs."""
    some = random.Random(seed)
    with xlsxwriter.Workbook(str(path), {"date_1904": date1904, "constant_memory": in_cells}) as book:
        sheet, day = book.add_worksheet("S"), book.add_format({"num_format": "d mmm yyyy hh:mm"})
        sheet.write_row(1, 1, [title for _, title, _ in COLUMNS])
        for row in range(2, rows + 2):
            for column in range(1, 5):
                how = some.choice(("text", "number", "date")) if some.random() < 0.2 else ("text", "text", "number", "date")[column - 1]
                kind = some.random()
                if kind < 0.1:
                    sheet.write_blank(row, column, None, day)
                elif kind < 0.15:
                    sheet.write_boolean(row, column, some.random() < 0.5)
                elif kind < 0.25:
                    sheet.write_formula(row, column, "=1/0", some.choice((None, day)), some.choice(("#N/A", 3.5, "said", True, 46000, "")))
                elif how == "text":
                    sheet.write_string(row, column, some.choice((*WORDS, *DAYS, *NAMES[:-2], *NASTY, "wax", "plug", "A1", " ")))
                else:
                    sheet.write_number(row, column, some.choice(NUMBERS if how == "number" else SERIALS), day if how == "date" else None)
        if not in_cells:
            sheet.merge_range(20, 1, 23, 1, "together")
            sheet.merge_range(30, 3, 32, 3, 7.5)
    return path


def read(path):
    return reader.read_tables(path, [("s", "S", COLUMNS, 20)])["s"]


def exact(odd) -> dict:
    """Odd cells with numbers to the millisecond of a day, to which the general reader takes those under a date format."""
    return {i: Odd("number", round(cell.value, 7)) if cell.kind == "number" else cell for i, cell in odd.items()}


def same(one, other) -> None:
    assert one.length == other.length and one.merged == other.merged
    for key, kind in ((key, kind) for key, _, kind in COLUMNS):
        a, b = one.columns[key], other.columns[key]
        assert exact(a.odd) == exact(b.odd) and list(a.odd) == list(b.odd), key
        if kind == "text":
            assert a.values.tolist() == b.values.tolist(), key
            assert a.coded.texts().tolist() == a.values.tolist(), key
            fresh = Coded.of(a.values)
            assert (a.coded.codes == fresh.codes).all() and a.coded.words.tolist() == fresh.words.tolist(), key
            assert (a.blank() == [v is None and i not in a.odd for i, v in enumerate(a.values)]).all()
        else:
            assert np.array_equal(a.values, b.values, equal_nan=True), key


@pytest.mark.parametrize("seed", range(12))
def test_both_readers_give_the_same(tmp_path, monkeypatch, seed):
    path = write(tmp_path / "s.xlsx", seed, date1904=seed % 3 == 2, in_cells=seed % 4 == 3)
    passes = []
    monkeypatch.setattr(reader, "_load", lambda *given: passes.append(given))
    fast = read(path)
    assert not passes and any(column.odd for column in fast.columns.values())
    monkeypatch.undo()
    monkeypatch.setattr(reader, "_kept_columns", lambda *given: None)
    same(fast, read(path))


def test_what_the_pass_cannot_keep_goes_to_the_general_reader(tmp_path, monkeypatch):
    path = write(tmp_path / "s.xlsx", 1)
    whole = read(path)
    monkeypatch.setattr(scan, "MOST_CELLS", 3)  # formulas that give what belongs there are taken one by one
    same(whole, read(path))
    monkeypatch.undo()
    change_part(path, "xl/worksheets/sheet1.xml", lambda xml: xml.replace(b"<v>4.5</v>", b"<v>1e999</v>"))
    assert np.isinf(read(path).columns["size"].values).any()


def test_a_huge_number_under_a_date_format_does_not_end_the_program(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "s.xlsx")) as book:
        sheet, day = book.add_worksheet("S"), book.add_format({"num_format": "d mmm yyyy"})
        sheet.write_row(0, 0, [title for _, title, _ in COLUMNS])
        sheet.write_row(1, 0, [-1e20] * 4, day)
    columns = read(tmp_path / "s.xlsx").columns
    change_part(tmp_path / "s.xlsx", "xl/worksheets/sheet1.xml", lambda xml: xml.replace(b"<sheetData>", b"<sheetData><!-- c -->"))
    with pytest.raises(FileProblem, match="save it as"):
        read(tmp_path / "s.xlsx")
    assert columns["name"].values[0] == "-1e+20" and columns["size"].values[0] == -1e20 and columns["day"].odd == {0: Odd("number", -1e20)}


def test_strings_that_stand_twice_or_are_blank_are_one_word(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "s.xlsx")) as book:
        sheet = book.add_worksheet("S")
        sheet.write_row(0, 0, [title for _, title, _ in COLUMNS])
        for row, text in enumerate(("wax", "_wax_", "plug", "_blank_", "Smith & Sons", " two", "wax"), start=1):
            sheet.write_string(row, 0, text)
    change_part(tmp_path / "s.xlsx", "xl/sharedStrings.xml", lambda xml: xml.replace(b"_wax_", b"wax").replace(b"_blank_", b"\t \n").replace(
        b"<t>plug</t>", b"<r><t>pl</t></r><rPh><t>x</t></rPh><r><t>ug</t></r>"))
    column = read(tmp_path / "s.xlsx").columns["name"]
    assert column.values.tolist() == ["wax", "wax", "plug", None, "Smith & Sons", " two", "wax"]
    assert column.coded.words.tolist() == ["wax", "plug", "Smith & Sons", " two"] and column.coded.codes.tolist() == [0, 0, 1, -1, 2, 3, 0]


def test_packed_strings_are_the_same(tmp_path):
    with xlsxwriter.Workbook(str(tmp_path / "s.xlsx")) as book:
        sheet = book.add_worksheet("S")
        texts = [f"{text}{i}" if i % 7 else text for i, text in enumerate((*NASTY, *NAMES[:-2], *WORDS) * 3)]
        sheet.write_column(0, 0, texts)
    strings = SharedStrings(tmp_path / "s.xlsx", "xl/sharedStrings.xml")
    before = [strings.get(i) for i in range(500)]
    codes, words = strings.coded()
    strings.pack()
    assert [strings.get(i) for i in range(500)] == before and strings.get(-1) == ""
    again = strings.coded()
    assert (codes == again[0]).all() and words.tolist() == again[1].tolist()
    assert [words[code] if code >= 0 else "" for code in codes] == [text if text.strip() else "" for text in before[:len(codes)]]


# ---- columns by their words ------------------------------------------------------------------------------------------

@pytest.mark.parametrize("seed", range(8))
def test_words_say_what_the_cells_say(seed):
    some = random.Random(seed)
    values = np.array([some.choice((*NAMES, *NASTY, *WORDS, None, None, "wax", "Wax", "plug")) or None for _ in range(300)], dtype=object)
    column = RawColumn(values).coded
    assert column.texts().tolist() == values.tolist() and (column.blank == [v is None for v in values]).all()
    assert (column.among(("wax", "all")) == [v in ("wax", "all") for v in values]).all()
    assert column.changed(str.casefold).texts().tolist() == [v and v.casefold() for v in values]
    assert column.changed(str) is column and column.changed(lambda _: None).blank.all()
    places = np.flatnonzero([some.random() < 0.5 for _ in values])
    for part, wanted in ((column.at(places), values[places]), (column.where(~column.among(("wax",))), np.where(values == "wax", None, values))):
        fresh = Coded.of(wanted)
        assert (part.codes == fresh.codes).all() and part.words.tolist() == fresh.words.tolist()
    untidy = [text for text in column.words if text != text.strip() or "  " in text or not text.isascii() or not text.isprintable()]
    assert set(untidy) <= {column.words[i] for i in column.untidy()}


def test_a_hint_keeps_no_match_back():
    words = np.array(["Total", "sums", "\u017fum", "a sum", "wax", "Datum"], dtype=object)
    column = Coded.of(words)
    assert column.matching("total|sum", ("total", "sum")).tolist() == column.matching("total|sum").tolist() == [0, 1, 2, 3]
    plain = Coded.of(words[[0, 1, 4]])
    assert plain.matching("^sum", ("\nsum",)).tolist() == [1] and not len(plain.matching("^tal", ("\ntal",)))


def test_a_running_program_gives_the_same_checks(tmp_path):
    """Columns from rows of Python values have no words yet: they are made when asked for."""
    profile = "us"
    log, events = (schema.table(key) for key in ("logs", "events"))
    rows = {"logs": [{"log": " A1 ", "wood": "White  Oak", "diameter": 5.0, "length": 40.0, "inoculated": dt.datetime(2024, 3, 1)},
                     {"log": "Total", "wood": None, "diameter": 5.0, "length": None}],
            "events": [{"date": dt.datetime(2026, 5, 1), "event": "Picked", "log": "A1", "amount": 1.0}, {"log": "all", "event_note": "quiet"}]}
    names = {table.sheet: table for table in (log, events)}

    def grid(name):
        columns = [c for c in names[name].columns if c.typed]
        return Grid(name, [[c.header(profile) for c in columns],
                           *[[row.get(c.key) for c in columns] for row in rows[names[name].key]]])
    from workbook_template.refresh import table_specs
    specs = [spec for spec in table_specs(profile) if spec.key in rows]
    raw = tables_from(specs, list(names), grid)
    found = intake.check(raw, table_infos(profile), {"date_order": "month first"}, profile, AS_OF)
    assert found.frames["logs"]["log"].tolist() == ["A1"] and found.frames["events"]["event"].tolist() == ["Picked"]
    assert any(p.code == "total_row" and p.row == 3 for p in found.problems)

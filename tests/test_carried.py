"""Ticks and notes on This week: carried to their line, kept where it has gone, never dropped and never doubled; over every port."""
from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
import xlwings
import xlwings_engine as rig
from conftest import STAMP

from calc import results
from calc.raw import Odd
from workbook_template import carried, cautions
from workbook_template.build import build
from workbook_template.ports.closed_file import ClosedFile
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.xlwings_port import XlwingsPort
from workbook_template.refresh import refresh, refresh_file
from workbook_template.sheets import this_week
from workbook_template.sheets.view import View
from workbook_template.yard import Yard

DAY = dt.date(2026, 7, 15)
DONE, WHAT, LOGS, WHERE, WHY, RULE, NOTE, LINE = range(8)


# ---- without any file: sheets as cells ------------------------------------------------------------------------------

def table(*lines):
    """this_week of (key, occasion)."""
    rows = [{"key": key, "urgency": 1.0, "what": key.partition("/")[0], "logs": "A1", "place": "North", "words": f"because of {key}",
             "rule": "FOR-82", "rows": 1.0, "occasion": occasion, "count": 1.0} for key, occasion in lines]
    return pd.DataFrame(rows, columns=list(results.COLUMNS["this_week"])) if rows else results.empty("this_week")


def drawn(lines, typed=(), as_of=DAY):
    """The cells of the sheet for these lines."""
    found = results.Results(**{field: None for field in results.Results.__dataclass_fields__})
    found.as_of, found.this_week, found.days_dry = as_of, table(*lines), float("nan")
    found.moisture, found.water_weeks, found.dry_spell = (results.empty(name) for name in ("moisture", "water_weeks", "dry_spell"))
    view = View("us", "USD", "Yard", "yard.xlsx", as_of, "", found, [], {}, list(typed))
    cells = {}
    sheet = this_week.this_week(view)
    for block in sheet.blocks:
        cells |= {(block.row + r, block.col + c): v for c, (values, _) in enumerate(block.lists) for r, v in enumerate(values) if v is not None}
    return cells | {(c.row, c.col): c.value for c in sheet.cells if c.value is not None}


def again(cells, lines, as_of=DAY):
    return drawn(lines, carried.read(cells), as_of)


def row_of(cells, key, occasion=""):
    return next(row for (row, _), value in cells.items() if value == carried.mark(key, occasion))


def beside(cells, key, occasion=""):
    row = row_of(cells, key, occasion)
    return cells.get((row, DONE)), cells.get((row, NOTE))


WATER, SOAK, LOOK = ("water/north", "2026-07-01"), ("soak/group 1", "2026-07-13"), ("look/north", "")
THREE = [WATER, SOAK, LOOK]


def typed_on(*pairs, lines=THREE):
    """A sheet with (line, done, note) typed on it."""
    cells = drawn(lines)
    for line, done, note in pairs:
        row = row_of(cells, *line)
        cells |= {(row, DONE): done} if done is not None else {}
        cells |= {(row, NOTE): note} if note is not None else {}
    return cells


@pytest.mark.parametrize("note", ["two rows left", "=SUM(A1)", "=", "-3", "5/16", "0042", 3.5, 0.0, dt.datetime(2026, 5, 3), " spaced", "é ü",
                                  "a; b", "x" * 3000])
def test_a_note_stands_beside_its_line_again_as_it_was_typed(note):
    cells = again(typed_on((SOAK, "x", note)), THREE)
    assert beside(cells, *SOAK) == ("x", note)
    assert beside(again(again(cells, THREE), THREE), *SOAK) == ("x", note)  # and does not double


def test_odd_cells_are_said_as_text_and_a_box_that_is_not_ticked_is_blank():
    cells = typed_on((WATER, True, Odd("error", "#REF!")), (SOAK, False, Odd("formula", "")), (LOOK, None, "   "))
    cells = again(cells, THREE)
    assert beside(cells, *WATER) == ("yes", "#REF!")
    assert beside(cells, *SOAK) == (None, carried.NO_VALUE) and beside(cells, *LOOK) == (None, None)


def test_what_is_cleared_stays_cleared():
    cells = again(typed_on((WATER, "x", "wet"), (SOAK, None, "later")), THREE)
    row = row_of(cells, *WATER)
    del cells[row, DONE], cells[row, NOTE]
    cells = again(cells, THREE)
    assert beside(cells, *WATER) == (None, None) and beside(cells, *SOAK) == (None, "later")


def test_a_line_that_has_gone_leaves_its_note_under_kept_with_its_words_and_gets_it_back():
    cells = again(typed_on((WATER, "x", "hose is broken")), [SOAK])
    row = row_of(cells, *WATER)
    words = ["x", "Water", "A1", "North", "Because of water/north", "kept since 15 Jul 2026", "hose is broken"]
    assert [cells.get((row, c)) for c in range(7)] == words
    assert "1 tick or note kept from earlier" in cells[2, 0] and any(str(v).startswith("Kept from earlier") for v in cells.values())
    later = again(cells, [SOAK], dt.date(2026, 7, 20))
    assert later[row_of(later, *WATER), RULE] == "kept since 15 Jul 2026"  # the first day stays
    back = again(later, THREE)
    assert beside(back, *WATER) == ("x", "hose is broken") and not any(str(v).startswith("kept since") for v in back.values())


def test_a_tick_is_for_one_occasion_and_a_note_for_every_one():
    next_time = ("water/north", "2026-07-10")
    cells = again(typed_on((WATER, "x", "from the creek")), [next_time])
    assert beside(cells, *next_time) == (None, "from the creek")
    assert beside(cells, *WATER) == ("x", None)  # kept with the words of the line it stood beside
    third = again(cells, [("water/north", "2026-07-14")])
    assert beside(third, "water/north", "2026-07-14") == (None, "from the creek") and beside(third, *WATER) == ("x", None)


def test_a_kept_note_and_a_new_one_meet_and_each_is_said_once():
    cells = again(typed_on((WATER, None, "old")), [SOAK])
    line = again(drawn(THREE), THREE)
    line[row_of(line, *WATER), NOTE] = "new"
    both = drawn(THREE, carried.read(cells) + carried.read(line))
    assert beside(both, *WATER) == (None, "old; new")
    assert beside(again(both, THREE), *WATER) == (None, "old; new")
    assert carried.joined(["a", "a; b", "a", 2.0, None]) == "a; b; 2"


def test_sorted_lines_keep_their_notes():
    cells = typed_on((WATER, "x", "one"), (LOOK, None, "two"))
    first, last = row_of(cells, *WATER), row_of(cells, *LOOK)
    other = {(r, c): v for (r, c), v in cells.items() if r not in (first, last)}
    other |= {(last, c): v for (r, c), v in cells.items() if r == first} | {(first, c): v for (r, c), v in cells.items() if r == last}
    cells = again(other, THREE)
    assert beside(cells, *WATER) == ("x", "one") and beside(cells, *LOOK) == (None, "two")


def test_an_inserted_column_a_renamed_heading_and_text_far_right_are_notes():
    cells = typed_on((WATER, "x", "mine"))
    wide = {(r, c + (c >= WHERE)): v for (r, c), v in cells.items()}
    wide |= {(this_week.HEAD, WHERE): "Who", (row_of(cells, *WATER), WHERE): "Ann", (row_of(cells, *SOAK), 14): "far right"}
    found = again(wide, THREE)
    assert beside(found, *WATER) == ("x", "Who: Ann; mine") and beside(found, *SOAK) == (None, "far right")
    renamed = typed_on((WATER, None, "mine"))
    renamed[this_week.HEAD, NOTE] = "Remarks"
    assert beside(again(renamed, THREE), *WATER) == (None, "Remarks: mine")


def test_headings_or_marks_that_are_gone_lose_nothing():
    bare = {at: v for at, v in typed_on((WATER, "x", "one")).items() if at[0] != this_week.HEAD}
    assert beside(again(bare, THREE), *WATER) == ("x", "one")
    unmarked = typed_on((WATER, "x", "one"))
    rows = {row_of(unmarked, *line) for line in THREE}
    unmarked = {at: v for at, v in unmarked.items() if not (at[1] == LINE and at[0] in rows)}
    cells = again(unmarked, THREE)
    kept = [row for (row, col), v in cells.items() if col == NOTE and v == "one"]
    assert len(kept) == 1 and cells[kept[0], DONE] == "x" and cells[kept[0], WHY] == "Because of water/north"  # that one line and no other
    assert beside(cells, *WATER) == (None, None)
    assert sum(v == "one" for v in again(cells, THREE).values()) == 1


def test_lines_of_the_growers_own_are_kept_until_cleared():
    cells = drawn(THREE)
    own = row_of(cells, *LOOK) + 1
    cells |= {(own, WHAT): "call Bob", (own, LOGS): "about oak", (own + 1, NOTE): 7.0}
    for _ in range(2):
        cells = again(cells, THREE)
        said = sorted(str(v) for (row, col), v in cells.items() if col == NOTE and cells.get((row, WHAT)) == "A line of your own".lower())
        assert said == ["7.0", "call Bob; about oak"]
    gone = {at: v for at, v in cells.items() if v not in (7.0, "call Bob; about oak")}
    assert not any("your own" in str(v) for v in again(gone, THREE).values())


def test_text_beside_the_moisture_table_is_kept_too():
    cells = drawn(THREE)
    row = max(r for (r, c), v in cells.items() if c == 0 and str(v).startswith("Rain and watering"))
    cells[row, 11] = "gauge moved"
    found = again(cells, THREE)
    assert sum(v == "gauge moved" for v in found.values()) == 1 and sum(v == "gauge moved" for v in again(found, THREE).values()) == 1


def test_a_copied_line_is_said_once():
    cells = typed_on((WATER, "x", "one"))
    row = row_of(cells, *WATER)
    cells |= {(59, c): v for (r, c), v in cells.items() if r == row}
    assert beside(again(cells, THREE), *WATER) == ("x", "one")


def test_ticked_lines_still_due_are_pointed_to_events():
    cells = again(typed_on((WATER, "x", None), (SOAK, "x", None)), THREE)
    assert "2 lines are ticked but still due by what is written down: write it on Events." in cells[2, 0]


def test_nothing_due_is_said_and_every_caution_stands_there():
    cells = drawn([])
    assert this_week.NOTHING in cells.values()
    assert set(cautions.THIS_WEEK) <= set(cells.values())
    for word in ("soaked log", "drown", "cables", "hot days", "ticks", "fall", "inoculated and can name", "Cook through", "local rules"):
        assert any(word in text for text in cautions.THIS_WEEK), word


def test_a_full_page_stays_above_the_charts():
    from calc.this_week import MOST_LINES
    cells = drawn([(f"water/{i}", "") for i in range(MOST_LINES)])
    above = max(row for (row, _), value in cells.items() if value in cautions.THIS_WEEK)
    assert above < this_week.CHARTS_AT


# ---- in workbooks, over every port ------------------------------------------------------------------------------------

YARD = Yard("us", {
    "logs": [{"log": name, "wood": "white oak", "strain": "shiitake, wide range", "diameter": 5, "length": 40, "inoculated": dt.date(2026, 3, 1),
              "place": place, **({"sample_weight": 28.8, "start_moisture": 0.415} if name == "A1" else {})}
             for name, place in (("A1", "North"), ("A2", "North"), ("B1", "South"))],
    "events": [{"date": dt.date(2026, 7, 6), "event": "rain", "amount": 0.5},
               {"date": dt.date(2026, 7, 10), "event": "weighed", "log": "A1", "amount": 25.9}]})


@pytest.fixture(scope="module")
def master(tmp_path_factory):
    path = tmp_path_factory.mktemp("week") / "yard.xlsx"
    build(path, YARD, rows=20)
    refresh_file(path, today=DAY, progress=False, stamp=STAMP)
    return path


@pytest.fixture(autouse=True)
def no_excel_left():
    yield
    rig.uninstall()
    xlwings.Book.__dict__.get("_mock_caller") and delattr(xlwings.Book, "_mock_caller")


def closed(path, today):
    refresh_file(path, today=today, progress=False, stamp=STAMP)
    return openpyxl.load_workbook(path)


def live(path, today):
    backend = rig.Openpyxl(path)
    refresh(XlwingsPort(rig.opened(backend, path)), today, STAMP)
    backend.book.save(path)
    return openpyxl.load_workbook(path)


def lines_in(book):
    sheet = book["This week"]
    return {row[WHAT].value + "/" + str(row[WHERE].value): row for row in sheet.iter_rows(min_row=this_week.HEAD + 2)
            if isinstance(row[LINE].value, str) and carried.MARK.fullmatch(row[LINE].value)}


@pytest.mark.parametrize("way", [closed, live])
def test_a_refresh_carries_what_was_typed(way, master, tmp_path):
    path = Path(shutil.copy(master, tmp_path / "yard.xlsx"))
    book = openpyxl.load_workbook(path)
    rows = lines_in(book)
    assert {"Water/North", "Water/South"} <= set(rows)
    rows["Water/North"][DONE].value, rows["Water/North"][NOTE].value = "x", "half of it"
    rows["Water/South"][NOTE].value = "=1+1"
    rows["Water/South"][NOTE].data_type = "s"
    book["This week"].cell(rows["Water/South"][0].row, 12).value = dt.datetime(2026, 5, 3)
    book.save(path)
    for _ in range(2):
        found = lines_in(way(path, DAY))
        assert (found["Water/North"][DONE].value, found["Water/North"][NOTE].value) == ("x", "half of it")
        assert found["Water/South"][NOTE].value == "=1+1; 3 May 2026" and found["Water/South"][NOTE].data_type == "s"


def test_the_ports_hand_over_the_same_cells_and_write_the_same_sheet(master, tmp_path):
    one, other = (Path(shutil.copy(master, tmp_path / name)) for name in ("one.xlsx", "other.xlsx"))
    for path in (one, other):
        book = openpyxl.load_workbook(path)
        rows = lines_in(book)
        rows["Water/North"][DONE].value, rows["Water/South"][NOTE].value = True, 2.5
        rows["Water/South"][DONE].value = dt.datetime(2026, 7, 14)
        book.save(path)
    backend = rig.Openpyxl(other)
    assert carried.read(XlwingsPort(rig.opened(backend, other)).cells("This week")) == carried.read(ClosedFile(one).cells("This week"))
    assert ClosedFile(one).cells("no such sheet") == {} == XlwingsPort(rig.opened(backend, other)).cells("no such sheet")
    first, second = closed(one, DAY), live(other, DAY)
    for sheet in ("This week", "Start"):
        values = [{c.coordinate: c.value for row in book[sheet].iter_rows() for c in row if c.value is not None} for book in (first, second)]
        assert values[0] == {at: pytest.approx(v) if isinstance(v, float) else v for at, v in values[1].items()}
    assert lines_in(first)["Water/North"][DONE].value == "yes" and lines_in(first)["Water/South"][DONE].number_format == "d mmm yyyy"


def test_the_day_of_the_results_is_the_one_asked_for(master, tmp_path):
    path = Path(shutil.copy(master, tmp_path / "yard.xlsx"))
    said = closed(path, dt.date(2026, 7, 7))["This week"]["A3"].value
    assert said.startswith("Week of 6 Jul 2026, as of 7 Jul 2026.")
    early = lines_in(openpyxl.load_workbook(path))["Water/North"][WHY].value
    late = lines_in(closed(path, dt.date(2026, 7, 20)))["Water/North"][WHY].value
    assert early != late and "0.5 in of rain and water in the last 7 days; last water yesterday" in early


@pytest.mark.parametrize("spoil", ["rename", "delete"])
def test_a_renamed_or_deleted_sheet_is_named_and_nothing_is_written(spoil, master, tmp_path):
    path = Path(shutil.copy(master, tmp_path / "yard.xlsx"))
    book = openpyxl.load_workbook(path)
    lines_in(book)["Water/North"][NOTE].value = "kept"
    if spoil == "rename":
        book["This week"].title = "To do"
    else:
        book.remove(book["This week"])
    book.save(path)
    before = path.read_bytes()
    with pytest.raises(LayoutProblem, match="The result sheet This week is not there"):
        refresh_file(path, today=DAY, progress=False)
    assert path.read_bytes() == before
    if spoil == "rename":
        book["To do"].title = "This week"
        book.save(path)
        assert lines_in(closed(path, DAY))["Water/North"][NOTE].value == "kept"


def test_start_shows_the_first_lines(master):
    start = openpyxl.load_workbook(master)["Start"]
    said = {row[0].value: (row[1].value, row[5].value) for row in start.iter_rows(max_col=6) if row[0].value}
    assert said["First this week"][0] == "see right" and said["First this week"][1].startswith("Water: A1-A2 (2 logs), North. A1 weighed 25.9 lb")
    assert said["Days since rain or water"][0] == 9


def test_the_charts_begin_a_printed_page_and_the_columns_fill_one(master):
    """In points: a column is its width in characters of 7 pixels and 5 more; Letter laid across has 720 between the margins, A4 770."""
    sheet = openpyxl.load_workbook(master)["This week"]
    assert [b.id for b in sheet.row_breaks.brk] == [this_week.CHARTS_AT] and sheet.page_setup.scale == this_week.SCALE
    assert not sheet.sheet_properties.pageSetUpPr or not sheet.sheet_properties.pageSetUpPr.fitToPage  # it would undo the break
    wide = sum((w * 7 + 5) * 0.75 for w in this_week.WIDTHS) * this_week.SCALE / 100
    assert 690 < wide < 720

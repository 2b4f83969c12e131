"""A grower's own sheet, without any file: headings by known words, sizes, dates and units read, nothing guessed in silence."""
from __future__ import annotations

import datetime as dt

import pytest

from calc import tables
from workbook_template import schema
from workbook_template.old_sheet import SAYS, SIZE, Unclear, doubles, known_words, lines, match_headings, read_rows, split_unit

DAY = dt.datetime(2025, 4, 12)
NAMES = {"woods": ["white oak", "northern red oak"], "event_kinds": ["picked", "soaked"], "markets": ["Partner A"]}


def rows(grid, profile="us", order="month first", into_note=True, **more):
    found = match_headings(grid, **more)
    return read_rows(grid, found, profile, order, NAMES, into_note)


def columns(grid, **more):
    return {m.heading: m.column for m in match_headings(grid, **more).matches}


def test_logs_by_words_growers_use():
    grid = [["Tag", "Tree species", "Strain", "Dia.", "Len.", "Plugged on", "Qty", "Remarks"],
            ["A1", "White Oak", "early", 5, 40, DAY, 2, "north slope"]]
    assert list(columns(grid).values()) == ["log", "wood", "strain", "diameter", "length", "inoculated", "count", "note"]
    assert rows(grid).good == [(2, {"log": "A1", "wood": "white oak", "strain": "early", "diameter": 5.0, "length": 40.0, "inoculated": DAY,
                                    "count": 2.0, "note": "north slope"})]


def test_sizes_in_one_column_are_split():
    """5 x 40 in is 5 in thick and 40 in long; 4 x 3' is 4 in thick and 36 in long: a bare number takes the unit of its column."""
    grid = [["Log", "Size", "Wood", "Strain"], ["A1", "5 x 40 in", "white oak", "w"], ["A2", "4 x 3'", "white oak", "w"],
            ["A3", "5,5 x 91.4 cm", "white oak", "w"]]
    read = rows(grid)
    assert [(r["diameter"], r["length"]) for _, r in read.good] == [(5.0, 40.0), (4.0, 36.0)]
    assert read.bad[0][0] == 4 and "thick" in read.bad[0][1]


def test_a_unit_in_the_heading_is_turned_into_the_workbooks():
    """10.16 cm = 4 in, 3.5 ft = 42 in exactly (1 in = 2.54 cm, 1 ft = 12 in); 16 oz = 1 lb; 1.5 h = 90 min."""
    grid = [["Log", "Diameter (cm)", "Length ft", "Wood"], ["A1", 10.16, 3.5, "white oak"], ["A2", "10.16", "3 1/2", "white oak"]]
    assert [(r["diameter"], r["length"]) for _, r in rows(grid).good] == [(4.0, 42.0)] * 2
    grid = [["Date", "Log", "Picked (oz)", "Hours"], [DAY, "A1", 16, "1.5 h"]]
    assert rows(grid).good[0][1] == {"date": DAY, "log": "A1", "event": "picked", "amount": 1.0, "minutes": 90.0}


@pytest.mark.parametrize("heading, expected", [("Length (ft)", ("Length", "ft")), ("Weight, kg", ("Weight", "kg")), ("Dia in", ("Dia", "in")),
                                               ("Put in", ("Put in", "")), ("Notes", ("Notes", ""))])
def test_units_of_headings(heading, expected):
    assert split_unit(heading) == expected


def test_each_table_is_known_by_its_headings():
    assert match_headings([["Date", "Log", "Harvest (lb)"]]).table == "events"
    assert match_headings([["Date", "Item", "Cost", "Supplier"]]).table == "costs"
    assert match_headings([["Date", "Customer", "Weight sold", "Price per lb", "Invoice no."]]).table == "sales"
    assert match_headings([["My harvest 2025"], [], ["Date", "Log", "Harvest (lb)"]]).header == 2


def test_what_is_not_known_is_offered_not_taken():
    grid = [["Log", "Wood", "Strain", "Diametre", "Length", "Moon phase"], ["A1", "white oak", "w", 5, 40, "full"]]
    found = match_headings(grid)
    assert [m.heading for m in found.unknown] == ["Diametre", "Moon phase"] and found.missing == ["diameter"]
    told = "\n".join(lines(found, "us"))
    assert 'looks like Diameter: --map "Diametre=Diameter"' in told and "Moon phase" in told
    assert rows(grid).good[0][1]["note"] == "Diametre: 5; Moon phase: full"
    assert "note" not in rows(grid, into_note=False).good[0][1]
    assert match_headings(grid, named={"Diametre": "Diameter"}).missing == []


def test_dates_as_text_by_the_workbooks_order_and_never_row_by_row():
    grid = [["Date", "Log", "Picked"], ["4/5/25", "A1", 1], ["April 6", "A1", 1]]
    read = rows(grid)
    assert read.good[0][1]["date"] == dt.datetime(2025, 4, 5) and read.bad[0][0] == 3
    assert rows(grid, order="day first").good[0][1]["date"] == dt.datetime(2025, 5, 4)
    mixed = rows([["Date", "Log", "Picked"], ["4/5/25", "A1", 1], ["13/4/25", "A1", 1]])
    assert not [r for r in mixed.good if r[0] == 2]
    assert mixed.bad[0] == (2, 'Date: "4/5/25" is 5 Apr 2025 or 4 May 2025: the column also holds "13/4/25", which is day first')


def test_totals_blank_rows_and_repeated_headings_are_no_rows():
    grid = [["Date", "Log", "Picked"], [DAY, "A1", 1.0], [None, " ", None], ["Date", "Log", "Picked"], ["TOTAL", None, 1.0]]
    read = rows(grid)
    assert [at for at, _ in read.good] == [2] and read.totals == [5] and not read.bad


def test_cells_that_cannot_be_read_leave_the_row_in_the_list():
    grid = [["Date", "Log", "Picked"], [DAY, "A1", "lots"], [DAY, "A2", "2-3"], [DAY, "A3", "12 oz"], [DAY, dt.datetime(2025, 3, 1), 1]]
    read = rows(grid)
    assert [(at, r["amount"]) for at, r in read.good] == [(4, 0.75)]  # 12 oz = 0.75 lb
    assert [at for at, _ in read.bad] == [2, 3, 5]
    assert read.bad[0][1].startswith('Picked: "lots"')


def test_words_of_the_trade_become_the_lists_own():
    grid = [["Date", "Activity", "Log", "Amount"], [DAY, "Harvested", "A1", 1.0], [DAY, "soaked", "A1", 12]]
    assert [r["event"] for _, r in rows(grid).good] == ["picked", "soaked"]


def test_missing_columns_may_be_given_for_every_row():
    grid = [["Date", "Customer", "Weight sold"], [DAY, "partner a", 3]]
    assert match_headings(grid).missing == ["product"]
    sold = {"product": "fresh", "date": DAY, "market": "Partner A", "amount": 3.0, "kind": "sold"}
    assert rows(grid, fixed={"Product": "fresh"}).good[0][1] == sold


@pytest.mark.parametrize("grid, more, words", [
    ([["a", "b"], [1, 2]], {}, "No row of headings"),
    ([["Log", "Wood", "Dia", "Diameter", "Length"]], {}, "both read as Diameter"),
    ([["Log", "Wood", "Diameter", "Length"]], {"named": {"Girth": "Diameter"}}, "There is no heading"),
    ([["Log", "Wood", "Diameter", "Length"]], {"named": {"Wood": "Timber size"}}, "has no column"),
])
def test_what_is_unclear_is_said(grid, more, words):
    with pytest.raises(Unclear, match=words):
        match_headings(grid, **more)


def test_rows_that_are_there_already_are_found_as_often_as_they_stand_there():
    grid = [["Date", "Log", "Picked"], [DAY, "A1", 1.0], [DAY, "A1", 1.0], [DAY, "A2", 1.0]]
    there = [{"date": DAY, "event": "picked", "log": "a1", "amount": 1.0}]
    assert doubles("events", rows(grid).good, there) == {2}


def test_a_sheet_of_a_workbook_made_here_gives_only_what_is_typed():
    for key in ("logs", "events", "costs", "sales"):
        table = schema.table(key)
        found = match_headings([[c.header("us") for c in table.columns]])
        assert found.table == key and not found.unknown and {m.column for m in found.matches} == {c.key for c in table.typed_columns}


def test_every_known_word_names_a_column_that_is_there():
    for row in tables.rows("heading_words"):
        keys = {c.key for c in schema.table(row["table"]).typed_columns} | {column for table, column in SAYS if table == row["table"]}
        assert row["column"] in keys | ({SIZE} if row["table"] == "logs" else set()), row
    for table in ("logs", "events", "costs", "sales"):
        words = [r["word"] for r in tables.rows("heading_words") if r["table"] == table]
        assert len(words) == len(set(words)) and known_words(table)

"""The sheets Partner and Keeping, and boltbook trace: units, places that stay, one page, what is said to a mistake."""
from __future__ import annotations

import datetime as dt
from dataclasses import replace

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from intake_book import LB

from workbook_template import cautions
from workbook_template.cli import cli
from workbook_template.sheets import keeping_sheet, partner_sheet
from workbook_template.sheets.view import View


@pytest.fixture(scope="module")
def results(demo):
    return demo[2].results


def view_of(results, profile="us", **changes):
    found = replace(results, **changes) if changes else results
    return View(profile, "USD", "Test yard", "test.xlsx", dt.date(2026, 11, 15), "stamp", found)


def cells(sheet):
    """(row, column) -> value of everything on the sheet."""
    found = {(c.row, c.col): c.value for c in sheet.cells if c.value not in (None, "")}
    for block in sheet.blocks:
        for j, (column, _) in enumerate(block.lists):
            found |= {(block.row + i, block.col + j): v for i, v in enumerate(column) if v not in (None, "")}
    return found


# ---- Partner -----------------------------------------------------------------------------------------------------

def test_a_statement_for_each_market_begins_on_a_page_of_its_own(results):
    sheet = partner_sheet.partner(view_of(results))
    found = cells(sheet)
    markets = results.settlement_ages["market"].tolist()
    assert len(markets) > 1
    for i, market in enumerate(markets, 1):
        assert found[partner_sheet.PAGE * i, 0] == f"Test yard: statement for {market}"
        assert partner_sheet.PAGE * i in sheet.breaks
    assert sheet.scale and not sheet.filter


def many(frame, times, **changes):
    return pd.concat([frame] * times, ignore_index=True).assign(**changes)


def test_a_statement_keeps_to_its_page_however_much_there_is(results):
    """Ten years of periods, hundreds of lots and promises: the next market still begins where the page does."""
    changes = {name: many(getattr(results, name), 40) for name in ("settlement", "settlement_stock", "settlement_lots", "promise_weeks")}
    sheet = partner_sheet.partner(view_of(results, **changes))
    found, page = cells(sheet), partner_sheet.PAGE
    for i, market in enumerate(results.settlement_ages["market"], 1):
        assert found[page * i, 0].endswith(market)
        used = [row for row, _ in found if page * i <= row < page * (i + 1)]
        assert max(used) <= page * (i + 1) - 2
        # What wraps makes a page taller, and it still is one: 7.2 in of paper at the printed scale, in points.
        tall = sum(sheet.heights.get(row, 13.5) for row in range(page * i, max(used) + 1))
        assert tall < 7.2 * 72 / (sheet.scale / 100)


@pytest.mark.parametrize("profile, per_unit", [("us", LB), ("metric", 1.0)])
def test_weights_stand_in_the_units_of_the_workbook(results, profile, per_unit):
    sheet = partner_sheet.partner(view_of(results, profile))
    block = [b for b in sheet.blocks if b.row > partner_sheet.PAGE * 2 and len(b.columns) == len(partner_sheet.WEIGHT)][1]  # under the money
    market = results.settlement_ages["market"].iloc[1]
    mine = results.settlement_stock[results.settlement_stock["market"] == market].sort_values("begins", kind="stable").tail(partner_sheet.PERIODS)
    assert block.columns[3][0] == pytest.approx((mine["delivered_kg"] / per_unit).tolist())


def test_cautions_stand_where_food_is_sold_and_kept(results):
    for sheet, words in ((partner_sheet.partner(view_of(results)), cautions.PARTNER), (keeping_sheet.keeping(view_of(results)), cautions.KEEPING)):
        text = " ".join(str(v) for v in cells(sheet).values())
        for caution in words:
            assert caution.split(".")[0][:60] in text
            assert "local" in caution


def test_before_the_first_refresh_and_with_nothing_sold(results):
    for make in (partner_sheet.partner, keeping_sheet.keeping):
        assert make(View("us", "USD", "Test yard", "test.xlsx")).cells[-1].value.startswith("Filled by a refresh")
    names = ("settlement", "settlement_stock", "settlement_ages", "settlement_lots", "promise_weeks", "trace", "keeping", "keeping_options",
             "dried_stock")
    empty = {name: getattr(results, name).iloc[:0] for name in names}
    partner, keeping = (cells(make(view_of(results, **empty))).values() for make in (partner_sheet.partner, keeping_sheet.keeping))
    assert "Nothing stands on Sales yet." in partner and "Nothing fresh is on hand by the lines." in keeping


# ---- boltbook trace ----------------------------------------------------------------------------------------------

def run(*words):
    return CliRunner().invoke(cli, ["trace", *map(str, words)])


def one_page(sheet):
    """Fitted to a page in both directions; left out in the file, each is 1."""
    setup = sheet.page_setup
    fits = [1 if fit is None else int(fit) for fit in (setup.fitToWidth, setup.fitToHeight)]
    return sheet.sheet_properties.pageSetUpPr.fitToPage and fits == [1, 1]


def a_lot(results):
    """A lot of the demo yard that was picked and that a market had."""
    table = results.trace
    return table[(table["delivered_kg"] > 0) & (table["got_kg"] > 0)].iloc[0]


def test_trace_in_the_terminal_and_on_a_page(demo, results, tmp_path):
    before = demo[1].read_bytes()
    lot, out = a_lot(results), tmp_path / "recall.xlsx"
    done = run(demo[1], lot["lot"], "--out", out)
    assert done.exit_code == 0, done.output
    assert done.output.startswith(f"Lot {lot['lot']}\n") and f"Had by {lot['markets']}" in done.output
    assert f"{lot['got_kg'] / LB:.2f}" in done.output and cautions.RECALL[0] in done.output
    for spawn in lot["spawn_lots"].split(", "):
        assert spawn in done.output
    assert demo[1].read_bytes() == before
    sheet = openpyxl.load_workbook(out).worksheets[0]
    assert one_page(sheet)
    assert sheet["A1"].value == f"Lot {lot['lot']}"
    assert any(cautions.RECALL[0] == cell.value for row in sheet.iter_rows() for cell in row)


def test_a_spawn_lot_with_many_lines_has_a_page_and_every_line_behind_it(demo, results, tmp_path):
    spawn, out = a_lot(results)["spawn_lots"].split(", ")[0], tmp_path / "spawn.xlsx"
    done = run(demo[1], spawn, "--out", out)
    assert done.exit_code == 0 and done.output.startswith(f"Spawn lot {spawn}\n")
    page, lines = openpyxl.load_workbook(out).worksheets
    assert page.max_row < 60 < lines.max_row and one_page(page) and not one_page(lines)


def test_a_name_that_is_no_lot(demo):
    done = run(demo[1], "P26-9999")
    assert done.exit_code == 2 and "The nearest: " in done.output
    assert '"P26-9999" is no lot on Events or Sales and no spawn lot on Logs' in done.output
    assert run(demo[1], " ").exit_code == 2
    assert "There is no file" in run("nowhere.xlsx", "A").output


def test_a_page_that_cannot_be_written_leaves_what_is_there(demo, results, tmp_path):
    there = tmp_path / "there.xlsx"
    there.write_bytes(b"kept")
    done = run(demo[1], a_lot(results)["lot"], "--out", there)
    assert done.exit_code == 3 and there.read_bytes() == b"kept"


def test_text_that_looks_like_a_formula_stays_text(tmp_path):
    from workbook_template.trace_page import Page, Part, write
    part = Part("Logs behind it", ("Log",), [("=1+1",), ("@x",), ("http://a.b",)])
    write(tmp_path / "t.xlsx", [Page('Lot =2[1]*/"', "about", [part], ["=3"])], "us")
    sheet = openpyxl.load_workbook(tmp_path / "t.xlsx").worksheets[0]
    assert [cell.data_type for row in sheet.iter_rows() for cell in row if cell.value is not None] == ["s"] * sum(
        cell.value is not None for row in sheet.iter_rows() for cell in row)
    assert sheet.title == 'Lot =21"'


def test_the_pages_of_partner_are_broken_by_hand_in_the_file_before_and_after_a_refresh(demo):
    """Fitting to a width would undo breaks by hand, so the sheet is printed at a scale; a refresh leaves that as it is."""
    for path in demo[:2]:
        sheet = openpyxl.load_workbook(path)["Partner"]
        assert not sheet.sheet_properties.pageSetUpPr or not sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.scale == partner_sheet.SCALE and sheet.page_setup.orientation == "landscape"
        assert [b.id for b in sheet.row_breaks.brk] == [partner_sheet.PAGE * i for i in range(1, partner_sheet.PAGES)]


def test_start_says_what_is_on_hand_and_which_weeks_are_over_promised(results):
    from calc import answers
    weeks = pd.DataFrame({"week": pd.to_datetime(["2026-11-16", "2026-11-23"]), "market": "(all markets)", "product": "fresh", "asked": 4.0,
                          "promised": 4.0, "ordered": 4.0, "delivered": 0.0, "supply_kg": [3.0, 5.0], "free_kg": [-1.0, 1.0],
                          "words": ["over-promised to all markets together", "within what can be promised"], "rows": 2.0})
    lots = pd.DataFrame([("sell fresh", "Stall", 1.0), ("sell fresh", "Shop", 2.0), ("dry", "dryer", 3.0), ("past its days", "", 9.0)],
                        columns=["use", "where", "kg"])
    found = {a.key: a for a in answers.answers(replace(results, promise_weeks=weeks, keeping=lots), {})}
    assert (found["over_promised"].value, found["over_promised"].text, found["over_promised"].rows) == (1.0, "week of 16 Nov", 2)
    assert (found["fresh_now"].value, found["fresh_now"].text) == (6.0, "sell fresh: Stall, Shop; dry: dryer")
    assert "over_promised" not in {a.key for a in answers.answers(replace(results, promise_weeks=weeks.iloc[1:]), {})}

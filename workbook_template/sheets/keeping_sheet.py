"""The sheet Keeping: fresh on hand, what to sell, dry or hold, the dryer, what to pack, and what else is in stock."""
from __future__ import annotations

import pandas as pd

from workbook_template import cautions
from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET, day
from workbook_template.sheets.market_blocks import lines, paragraph
from workbook_template.sheets.view import View

WIDTHS = [16, 13, 8, 9, 10, 13, 14, 18, 12, 12, 12, 44]
PLAN = (("lot", "Lot"), ("picked", "Picked"), ("age", "Days old"), ("wet", "Picked wet"), ("grade", "Grade"), ("keeps_to", "Keeps to"), ("use", "Do"),
        ("where", "Where"), ("kg", "Weight"), ("net_per_kg", "Nets"), ("net", "Nets in all"), ("words", "Why"))
OPTIONS = (("use", "Use"), ("where", "Where"), (None, ""), (None, ""), (None, ""), (None, ""), ("price", "Price"), ("net_per_kg", "Nets for fresh"),
           ("limit_kg", "Takes"), ("promised_kg", "Promised"), ("used_kg", "Gets"), ("words", "In words"))
DRYER = (("load_kg", "Fresh in a load"), ("loads_day", "Loads a day"), (None, ""), (None, ""), (None, ""), ("takes_kg", "Takes in all"),
         ("dry_kg", "To dry now"), ("loads", "Loads for it"), ("hours", "Hours for it"), ("value_per_kg", "One more would bring"), (None, ""),
         ("words", "In words"))
DRIED = (("lot", "Dried lot"), ("dried_on", "Dried on"), (None, ""), (None, ""), (None, ""), ("use_from", "Use from"), ("use_by", "Use by"),
         (None, ""), ("dried_kg", "Dried"), ("left_kg", "Left"), (None, ""), ("words", "In words"))
THERE = (("market", "Market"), ("product", "Product"), (None, ""), (None, ""), (None, ""), (None, ""), (None, ""), (None, ""),
         ("closing_kg", "There"), (None, ""), (None, ""), ("words", "By the counts"))


def keeping(view: View) -> ResultSheet:
    sheet = ResultSheet("Keeping", list(WIDTHS), freeze=(3, 0))
    sheet.heading("Keeping", "What to sell fresh, what to dry and what to hold: promises of the week first, then whatever nets most for the weight, "
                             "each as long as it has room. What was picked wet goes first, then the oldest.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        return sheet
    results = view.results
    sheet.put(2, 0, f"As of {day(view.as_of)}.", "about")
    row = _part(sheet, view, 4, "Fresh on hand", "Nets: what fresh brings there after commission, what usually comes back unsold, and fees.",
                "keeping", results.keeping, PLAN, "Nothing fresh is on hand by the lines.")
    row = _part(sheet, view, row, "Where it can go", "Price in force on the day. Takes: what it still takes this week (Lists, Takes a week), blank "
                "without a limit; of the dryer, all it takes while the fresh keeps.", "keeping_options", results.keeping_options, OPTIONS,
                "No market has a price: type one in Prices on Lists.")
    row = _part(sheet, view, row, "The dryer", "Trays, weight on a tray, hours for one drying and days fresh mushrooms keep stand on Settings.",
                "keeping_dryer", results.keeping_dryer, DRYER, "")
    dried = results.dried_stock[results.dried_stock["left_kg"] > 1e-9].sort_values("order")
    row = _part(sheet, view, row, "Dried, the one to use first on top", "By lot, what came out of the dryer and is not written down as gone.",
                "dried_stock", dried, DRIED, "Nothing dried is in stock by the lines.")
    stock = results.settlement_stock
    last = stock.drop_duplicates(["market", "product"], keep="last")
    row = _part(sheet, view, row, "At markets, still yours", "Delivered and not sold, returned, spoiled or missing.", "settlement_stock",
                last[last["closing_kg"].abs() > 1e-6], THERE, "Nothing of yours stands at a market by the lines.")
    row = _packs(sheet, view, row)
    sheet.section(row, "Take care")
    row += 1
    for words in cautions.KEEPING:
        row = paragraph(sheet, row, words)
    return sheet


def _part(sheet: ResultSheet, view: View, row: int, title: str, about: str, table: str, frame: pd.DataFrame, columns, none: str) -> int:
    sheet.section(row, title)
    sheet.put(row + 1, 0, about, "about")
    if len(frame):
        return lines(sheet, view, row + 2, table, frame, columns) + 1
    sheet.put(row + 2, 0, none, "label")
    return row + 4


def _packs(sheet: ResultSheet, view: View, row: int) -> int:
    """What to put into a pack so that its label is still true when it is sold."""
    sheet.section(row, "What to pack")
    sheet.put(row + 1, 0, "A pack loses water until it is sold: multiply the weight on the label. By a study of oyster mushrooms, at 2 °C and damp "
                          "against 18 °C and drier; weigh your own packs.", "about")
    frame = view.results.pack_weights
    heads = [("Days until sold", "whole"), ("Kept cold", "three"), ("Warm stall", "three")]
    columns = [view.column(frame["days"], "whole"), view.column(frame["cold"], "pieces"), view.column(frame["warm"], "pieces")]
    return sheet.table(row + 2, 0, heads, columns) + 1

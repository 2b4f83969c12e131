"""The sheet Partner: who owes what, a statement of one printed page for each market, every period, every lot.

Printed pages are fixed when the workbook is made, so each statement keeps to the same number of rows.
"""
from __future__ import annotations

import pandas as pd

from calc.promises import ALL
from workbook_template import cautions
from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET, day
from workbook_template.sheets.market_blocks import lines, paragraph
from workbook_template.sheets.view import View

WIDTHS = [15, 10, 12.5, 12.5] + [10.0] * 6 + [34]
PAGE, PAGES = 48, 14  # rows of a printed page; pages that begin at a fixed row
SCALE = 61
PERIODS, LOTS, WEEKS, MARKETS, LISTED = 6, 6, 5, 16, 200
MONEY = (("period", "Period"), ("brought", "Brought over"), ("sales", "Sales"), ("lost", "Loss charged"),
         ("commission", "Commission"), ("fees", "Fees"), ("corrections", "Corrections"), ("due", "Due"), ("paid", "Paid"),
         ("open", "Open"), ("closed", ""))
WEIGHT = (("period", "Period"), ("product", "Product"), ("opening_kg", "Opening"), ("delivered_kg", "Delivered"), ("sold_kg", "Sold"),
          ("returned_kg", "Returned"), ("spoiled_kg", "Spoiled"), ("unexplained_kg", "Missing"), ("allowed_kg", "of it allowed"),
          ("closing_kg", "There at the end"), ("words", "By the counts"))
AGES = (("market", "Market"), (None, ""), ("open", "Open"), ("to_30", "Up to 30 days"), ("to_60", "31 to 60"), ("to_90", "61 to 90"),
        ("over_90", "Older"), ("late", "Later than agreed"), ("oldest", "Since"), ("payment_days", "Days to pay"), ("words", "In words"))
LOT = (("lot", "Lot"), ("product", "Product"), ("first", "From"), ("last", "To"), ("delivered_kg", "Delivered"), ("sold_kg", "Sold"),
       ("returned_kg", "Returned"), ("spoiled_kg", "Spoiled"), ("left_kg", "Left there"), ("net", "Sales less commission"), ("words", "In words"))
WEEK = (("week", "Week of"), ("product", "Product"), ("asked", "Asked"), ("promised", "Promised"), ("ordered", "Ordered"), ("delivered", "Delivered"),
        (None, ""), (None, ""), (None, ""), (None, ""), ("words", "In words"))
POOL = WEEK[:6] + (("supply_kg", "Can be promised"), ("free_kg", "Free"), (None, ""), (None, ""), ("words", "In words"))
EVERY_LOT = (("lot", "Lot"), ("product", "Product"), ("first", "From"), ("last", "To"), ("logs", "Logs"), ("got_kg", "Got"),
             ("delivered_kg", "Delivered"), ("sold_kg", "Sold"), ("left_kg", "At home"), (None, ""), ("words", "Spawn lots, and what is missing"))


def partner(view: View) -> ResultSheet:
    sheet = ResultSheet("Partner", list(WIDTHS), freeze=(3, 0), breaks=tuple(PAGE * i for i in range(1, PAGES)), scale=SCALE)
    sheet.heading("Partner", "What each market had, sold, gave back, owes and was promised. A page for each market follows; it can be printed by "
                             "itself.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        return sheet
    results = view.results
    sheet.put(2, 0, f"As of {day(view.as_of)}. Every line is rounded to the cent, and the sums are sums of these lines.", "about")
    _overview(sheet, view)
    top = PAGE
    for market in results.settlement_ages["market"]:
        _statement(sheet, view, top, market)
        top += PAGE
    _records(sheet, view, top)
    return sheet


def _overview(sheet: ResultSheet, view: View) -> None:
    results = view.results
    sheet.section(4, "What is owed, and for how long")
    row = _or_none(sheet, view, 5, "settlement_ages", results.settlement_ages.iloc[:MARKETS], AGES, "Nothing stands on Sales yet.")
    sheet.section(row + 1, "Promises of all markets together")
    frame = results.promise_weeks
    pool = _recent(frame[frame["market"] == ALL], view, 12)
    row = _or_none(sheet, view, row + 2, "promise_weeks", pool, POOL, "Nothing stands on Promises yet.")
    row += 1
    for words in ("Payments settle the oldest day first. Missing is what a count found less than the lines say; what is missing beyond the loss "
                  "allowed on Lists is charged at the last price.",
                  "A closed period (Lists, Closed periods) is never changed: put it right by a line of kind correction on Sales, dated today. "
                  "Above 0 adds to what is owed, below 0 takes off.", *cautions.PARTNER):
        row = paragraph(sheet, row, words)


def _or_none(sheet: ResultSheet, view: View, row: int, table: str, frame, columns, none: str) -> int:
    if not len(frame):
        sheet.put(row, 0, none, "label")
        return row + 1
    return lines(sheet, view, row, table, frame, columns)


def _recent(weeks: pd.DataFrame, view: View, most: int) -> pd.DataFrame:
    """The weeks to come, after the latest gone by: `most` rows in all, and at least two of what was."""
    ahead = int((weeks["week"] >= pd.Timestamp(view.as_of) - pd.Timedelta(days=6)).sum())
    end = max(len(weeks) - ahead + most - 2, most)
    return weeks.iloc[:end].tail(most)


def _statement(sheet: ResultSheet, view: View, top: int, market: str) -> None:
    results = view.results
    mine = {name: frame[frame["market"] == market] for name, frame in (
        ("settlement", results.settlement), ("settlement_stock", results.settlement_stock), ("settlement_ages", results.settlement_ages),
        ("settlement_lots", results.settlement_lots))}
    money = _periods(mine["settlement"])
    terms = money["terms"].iloc[0] if len(money) else ""
    sheet.put(top, 0, f"{view.yard}: statement for {market}", "title")
    sheet.heights[top] = 26
    sheet.put(top + 1, 0, f"As of {day(view.as_of)}. Terms: {terms}.", "about")
    row = top + 3
    sheet.section(row, "Money")
    sheet.put(row + 1, 0, _shown(money, "Brought over + due - paid = open."), "about")
    row = lines(sheet, view, row + 2, "settlement", money.tail(PERIODS), MONEY) + 1
    ages = (("open", "In all"), ("to_30", "Up to 30 days"), ("to_60", "31 to 60"), ("to_90", "61 to 90"), ("over_90", "Older"), ("late", "Overdue"))
    sheet.table(row, 0, [("Open now", "text"), ("", "text"), *((head, "money") for _, head in ages)],
                [["by age"], [""], *(view.column(mine["settlement_ages"][name], "money") for name, _ in ages)])
    row += 3
    stock = _periods(mine["settlement_stock"]).sort_values("begins", kind="stable")
    sheet.section(row, "Weight")
    sheet.put(row + 1, 0, _shown(stock, "Opening + delivered - sold - returned - spoiled - missing = there at the end."), "about")
    row = _or_none(sheet, view, row + 2, "settlement_stock", stock.tail(PERIODS), WEIGHT, "No weight moved.") + 1
    lots = mine["settlement_lots"].sort_values(["last", "lot"], kind="stable")
    sheet.section(row, f"Lots, the latest {LOTS}" if len(lots) > LOTS else "Lots")
    row = _or_none(sheet, view, row + 1, "settlement_lots", lots.tail(LOTS), LOT, "No weight moved.") + 1
    frame = results.promise_weeks
    sheet.section(row, "Promised and delivered")
    _or_none(sheet, view, row + 1, "promise_weeks", _recent(frame[frame["market"].str.casefold() == market.casefold()], view, WEEKS), WEEK,
             "Nothing was promised.")


def _periods(frame: pd.DataFrame) -> pd.DataFrame:
    """The same with a column period in words."""
    spans = []
    for row in frame.itertuples():
        whole = row.begins.day == 1 and row.ends == row.begins + pd.offsets.MonthEnd(0)
        spans.append(f"{row.begins:%b %Y}" if whole else f"{row.begins.day} to {row.ends.day} {row.ends:%b %Y}")
    return frame.assign(period=spans)


def _shown(frame: pd.DataFrame, rule: str) -> str:
    left = len(frame) - PERIODS
    return rule + (f" The latest {PERIODS} lines; {left} earlier under Every period." if left > 0 else "")


def _records(sheet: ResultSheet, view: View, top: int) -> None:
    """Every period and every lot, for the file."""
    sheet.section(top, "Every period")
    table = _periods(view.results.settlement)
    columns = (("market", "Market"), ("period", "Period"), *MONEY[2:-1])
    row = _or_none(sheet, view, top + 1, "settlement", table, columns, "Nothing stands on Sales yet.")
    stock = _periods(view.results.settlement_stock)
    stock = stock.assign(words=[f"{product}. {words}" for product, words in zip(stock["product"], stock["words"], strict=True)])
    sheet.section(row + 1, "Every period, weights")
    row = _or_none(sheet, view, row + 2, "settlement_stock", stock, (("market", "Market"), ("period", "Period"), *WEIGHT[2:]), "No weight moved.")
    sheet.section(row + 1, "Every lot, the latest first")
    lots = view.results.trace
    lots = lots.assign(words=["; ".join(w for w in pair if w) for pair in zip(lots["spawn_lots"], lots["words"], strict=True)])
    latest = f" The latest {LISTED} of {len(lots)}." if len(lots) > LISTED else ""
    sheet.put(row + 2, 0, "Got: picked or out of the dryer under that lot. For all lines behind one, as for a recall: boltbook trace, the name "
                          f"of this file, the lot.{latest}", "about")
    _or_none(sheet, view, row + 3, "trace", lots.iloc[:LISTED], EVERY_LOT, "No line of Events or Sales has a lot yet.")

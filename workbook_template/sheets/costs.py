"""The sheet Cost per pound (or kilogram): three views of cost side by side, what lasts, and the proof that it all closes."""
from __future__ import annotations

import pandas as pd

from calc import flows, rollup_views
from workbook_template import schema
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets.blocks import CHART_ROWS, HEAD_ROWS, NOT_YET, block, day
from workbook_template.sheets.rollups import headers, span_of, values
from workbook_template.sheets.view import View

VIEWS = (("cash", "cash"), ("labour", "with labour"), ("capital", "with capital"))
# Column, head, band above it. "A weight" stands for the workbook's own unit.
GROUPS = (
    ("by", "By", ""), ("group", "Group", ""), ("logs", "Logs", ""), ("marketable_kg", "Marketable", ""), ("to_come_kg", "Still to come", ""),
    ("cash", "Cash", "Spent and charged so far"), ("total_labour", "With labour", ""), ("total_capital", "With capital", ""),
    ("cash_per_log", "Cash", "For each log so far"), ("labour_per_log", "With labour", ""), ("capital_per_log", "With capital", ""),
    ("cash_per_kg", "Cash", "For each {weight} so far"), ("labour_per_kg", "With labour", ""), ("capital_per_kg", "With capital", ""),
    ("cash_life_per_kg", "Cash", "For each {weight} over the expected life"), ("labour_life_per_kg", "With labour", ""),
    ("capital_life_per_kg", "With capital", ""),
)
WIDTHS = [17, 40, 8, 11, 10] + [11.5] * 12
WHOLE = (("over", "Over"), ("view", "View"), ("used", "Used up"), ("lasting", "What lasts"), ("labour", "Labour"), ("total", "Cost"),
         ("brings", "It brings"))
ITEMS = (("bought", "Bought"), ("item", "Item"), ("life_years", "Life, years"), ("ends", "Ends"), ("price", "Price"), ("salvage", "Salvage"),
         ("yearly_charge", "Yearly charge"), ("interest", "Interest so far"), ("accrued", "Charged so far"), ("held", "Value still held"),
         ("words", "State"))
SPENDING = (("view", "View"), ("category", "Category"), ("share", "Share"), ("amount", "Amount"), ("hours", "Hours"), ("rows", "Lines"))
CLOSES = (("view", "View"), (None, ""), (None, ""), ("spent", "Spent"), ("charged", "Charged"), ("not_yet_charged", "Not yet"),
          ("dated_later", "of it dated later"), ("no_log_yet", "of it no log yet"), ("no_log_known", "of it log not known"),
          ("difference", "Difference"))
CAPITAL = (("part", "Part"), (None, ""), (None, ""), ("spent", "Spent"), ("interest", "Interest accrued"), ("charged", "Charged"),
           ("held", "Value still held"), ("dated_later", "Dated later"), ("no_log_yet", "No log yet"), ("no_log_known", "Log not known"),
           ("difference", "Difference"))


def cost_sheet(view: View) -> ResultSheet:
    name = schema.cost_sheet(view.profile)
    sheet = ResultSheet(name, WIDTHS, freeze=(3, 0))
    sheet.heading(name, "Cash: what was paid. With labour: hours at their wage on top, your own too. With capital: what lasts is charged "
                        "over the years of its life, with interest, and not on the day it was bought.")
    results, top, per = view.results, 3 + CHART_ROWS, view.unit("money per weight")
    if results is None:
        sheet.put(2, 0, NOT_YET, "about")
        first, pairs, life = (top + HEAD_ROWS,) * 2, (top + HEAD_ROWS,) * 2, True
        sheet.section(top, "The whole yard")
    else:
        sheet.put(2, 0, f"As of {day(view.as_of)}. Young logs look dear: their cost is spent and their mushrooms are still to come. "
                        "Not tax or legal advice.", "about")
        whole = whole_yard(results)
        first = (top + HEAD_ROWS, top + HEAD_ROWS + max(len(whole), 1) - 1)
        end = _whole(sheet, view, top, whole)
        frame = yard_first(results.cost_views)
        pairs = span_of(frame, "strain x wood", end + 5)
        life = bool(frame["cash_life_per_kg"].notna().any())
        end = _groups(sheet, view, end + 1, frame)
        end = _items(sheet, view, end + 1)
        end = block(sheet, view, end + 1, "Where the money and the hours went", "Cash by category of Costs, labour by event.", "costs",
                    results.costs, SPENDING)
        _closes(sheet, view, end + 1)
    sheet.charts = _charts(view, per, first, pairs, life)
    return sheet


def _charts(view: View, per: str, first, pairs, life: bool) -> list[Chart]:
    names = [name for name, _, _ in GROUPS]
    start = names.index("cash_life_per_kg" if life else "cash_per_kg")  # so far, while no upkeep is written down
    over = "over the expected life" if life else "so far"
    return [
        Chart("stacked column", f"What a {view.weight} costs by view, and what it brings ({per})", "", per,
              [ChartSeries("used up", (*first, 1), (*first, 2)), ChartSeries("what lasts", (*first, 1), (*first, 3), "light"),
               ChartSeries("labour", (*first, 1), (*first, 4), "hatched")],
              at=(4, 0), size=(650, 350), y_format="0",
              lines=[ChartSeries(f"what a {view.weight} brings, after commission, fees and unsold", (*first, 1), (*first, 6), "dashed")]),
        Chart("bar", f"Cost by strain and wood ({per})", "", per,
              [ChartSeries(f"{words}, {over}", (*pairs, 1), (*pairs, start + i), fill)
               for i, ((_, words), fill) in enumerate(zip(VIEWS, ("solid", "hatched", "light"), strict=True))],
              at=(4, 7), size=(690, 350), y_format="0"),
    ]


def yard_first(frame: pd.DataFrame) -> pd.DataFrame:
    """The same table with the whole yard on top."""
    yard = frame["by"] == "yard"
    return pd.concat((frame[yard], frame[~yard]), ignore_index=True)


def whole_yard(results) -> pd.DataFrame:
    """What a kg of the yard costs, by view, so far and over the expected life, in its parts; and what it brings."""
    yard = rollup_views.whole_yard(results.cost_views)
    if yard is None:
        return pd.DataFrame()
    brings = flows.income_per_kg(results.breakeven)
    life = yard["marketable_kg"] + yard["to_come_kg"]
    more = yard["cash_to_come"], yard["labour_to_come"], yard["ownership_to_come"]
    # Over the life, what stands on logs that wait for their spawn is left out: so is what they will give.
    parts = ("running", "cash", "labour", "ownership")
    now = {name: yard[name] for name in parts}
    whole = {name: yard[name] - yard[f"waiting_{name}"] for name in parts}
    rows = []
    for over, end, weight, so_far, (cash, labour, ownership) in (("so far", "_per_kg", yard["marketable_kg"], now, (0.0, 0.0, 0.0)),
                                                                 ("over the expected life", "_life_per_kg", life, whole, more)):
        for name, words in VIEWS:
            total = yard[name + end]
            lasting = so_far["ownership"] + ownership if name == "capital" else so_far["cash"] - so_far["running"]
            shares = (so_far["running"] + cash, lasting, 0.0 if name == "cash" else so_far["labour"] + labour)
            rows.append((over, f"{words}, {over}", *(share / weight if total == total else total for share in shares), total, brings))
    return pd.DataFrame(rows, columns=[name for name, _ in WHOLE])


def _whole(sheet: ResultSheet, view: View, row: int, frame: pd.DataFrame) -> int:
    sheet.section(row, "The whole yard")
    sheet.put(row + 1, 0, f"What one {view.weight} costs, in its parts, and what it brings after commission, fees and what is not sold. "
                          "Blank: nothing is written down to work it out from.", "about")
    per = view.unit("money per weight")
    heads = [(head, "text") for _, head in WHOLE[:2]] + [(f"{head} ({per})", "money") for _, head in WHOLE[2:]]
    columns = [view.column(frame[name], "text" if i < 2 else "money per weight") for i, (name, _) in enumerate(WHOLE)] if len(frame) else []
    end = sheet.table(row + 2, 0, heads, columns)
    sheet.heights[row + 2] = 42
    return end


def _groups(sheet: ResultSheet, view: View, row: int, frame: pd.DataFrame) -> int:
    """The three views by group. Its first line stands four rows below `row`."""
    sheet.section(row, "By group")
    sheet.put(row + 1, 0, "The expected life adds what is still to come: weight as on Yield, upkeep by your own record. Columns of your own on "
                          "Logs make groups too.", "about")
    for col, (_, _, band) in enumerate(GROUPS):
        if band:
            sheet.put(row + 2, col, band.format(weight=view.weight), "strong")
    columns = [(name, head, 0) for name, head, _ in GROUPS]
    end = sheet.table(row + 3, 0, headers(view, "cost_views", columns), values(view, "cost_views", frame, columns))
    sheet.heights[row + 3] = 42
    return end


def _items(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.capital_items
    if not len(frame):
        return row - 1
    return block(sheet, view, row, "What lasts", "Every line of Costs with a life. Charged and interest are up to the as-of day; value held is what "
                 "is still to be charged.", "capital_items", frame, ITEMS, looks={"life_years": "one"})


def _closes(sheet: ResultSheet, view: View, row: int) -> int:
    end = block(sheet, view, row, "Does it close? Cash and labour", "Spent = charged to logs + not yet charged.", "reconciliation",
                view.results.reconciliation, CLOSES)
    return block(sheet, view, end + 1, "Does it close? The capital view",
                 "Spent + interest accrued = charged to logs + value still held + dated later + no log yet + log not known.",
                 "capital_reconciliation", view.results.capital_reconciliation, CAPITAL)

"""The sheet Budget: a plan of so many logs a year, what comes of it by year, what it hangs on, and the chance of profit."""
from __future__ import annotations

import numpy as np

from calc import budget as plan
from calc import tables
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets import cumulative
from workbook_template.sheets.blocks import CHART_ROWS, HEAD_ROWS, NOT_YET, block, capital, day
from workbook_template.sheets.view import KIND_LOOKS, View

WIDTHS = [48] + [13] * 14
YEARS = (("year", "Year of the plan"), ("logs_made", "Logs made"), ("standing", "Logs of earlier years"), ("weight_kg", "Marketable"),
         ("sales", "Sales"), ("cash", "Cash"), ("hours", "Hours"), ("labour", "Labour"), ("tools", "What lasts"),
         ("net_cash", "Net, cash"), ("net", "Net"), ("cumulative_cash", "Cumulative, cash"), ("cumulative", "Cumulative"))
CHANCE = (("year", "Year of the plan"), ("chance_profit", "Chance of profit in the year"), ("chance_paid_back", "Chance that all is back"),
          ("low", "Cumulative, low"), ("middle", "middle"), ("high", "high"))
NET_TITLE, TORNADO_TITLE = "The plan: cumulative net by year", "What matters most: change of the net of all years"
TORNADO_COLS = (8, 9)


def unit_words(view: View, name: str) -> str:
    """The unit of a figure of the plan."""
    money, weight = view.currency, view.weight
    return {"logs": "logs a year", "years": "years", "price_per_kg": f"{money} per {weight}",
            "fees_per_kg": f"{money} per {weight}", "life_kg": f"{weight} a log", "life_seasons": "seasons",
            "setup_cash": f"{money} a log", "setup_minutes": "min a log", "upkeep_minutes": "min a log, year", "upkeep_cash": f"{money} a log, year",
            "wage": f"{money} an hour", "tools": f"{money} a year"}.get(name, "")


def budget_sheet(view: View) -> ResultSheet:
    sheet = ResultSheet("Budget", WIDTHS, freeze=(3, 0))
    sheet.heading("Budget", "What a plan of so many logs every year comes to: low published figures until your own record or what you type on "
                            "Settings replaces them. A guide, not a promise; not tax advice.")
    top = 3 + CHART_ROWS
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        sheet.section(top, "The figures of the plan")
        _net_chart(sheet, view, top + 2, None)
        sheet.charts.append(_tornado_chart(view, (top + HEAD_ROWS,) * 2))
        return sheet
    sheet.put(2, 0, f"As of {day(view.as_of)}. {_verdict(view)}", "about")
    end = _figures(sheet, view, top)
    end = _years(sheet, view, end + 1)
    end = _tornado(sheet, view, end + 1)
    end = _two_way(sheet, view, end + 1)
    _chance(sheet, view, end + 1)
    return sheet


def _verdict(view: View) -> str:
    found = view.results.budget_summary.set_index("view")
    words = f"In cash: {found.loc['cash', 'words']}. With labour and what lasts: {found.loc['full', 'words']}."
    return f"{words} Chance that all is back by the end of the plan: {found.loc['full', 'chance']:.0%}."


def _figures(sheet: ResultSheet, view: View, row: int) -> int:
    sheet.section(row, "The figures of the plan")
    sheet.put(row + 1, 0, "To change one, type it on Settings under Budget of a plan. Blank there: your own record where it knows one, else print, "
                          "at the low end.", "about")
    for col, (head, look) in enumerate((("Figure", "header"), ("Value", "header_right"), ("Low", "header_right"), ("High", "header_right"),
                                        ("Unit", "header"), ("", "header"), ("Where it comes from", "header"))):
        sheet.put(row + 2, col, head, look)
    sheet.heights[row + 2] = 30
    at = row + HEAD_ROWS
    for entry in view.results.budget_inputs.itertuples():
        _figure(sheet, view, at, entry, (entry.value, entry.low, entry.high))
        sheet.put(at, 6, capital(entry.basis), "label")
        at += 1
    return at


def _figure(sheet: ResultSheet, view: View, row: int, entry, values) -> None:
    """A figure of the plan: its title, three values and the unit, in the first six columns."""
    look = "percent" if entry.kind == "share" else "one" if entry.kind == "minutes" else KIND_LOOKS[entry.kind]
    sheet.put(row, 0, entry.title, "cell_text")
    for col, value in enumerate(values, start=1):
        sheet.put(row, col, view.number(value, entry.kind), f"cell_{look}")
    sheet.put(row, 4, unit_words(view, entry.name), "cell_text")
    sheet.put(row, 5, None, "cell_text")


def _years(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.budget_years
    said = _net_chart(sheet, view, row + 2, frame)
    end = block(sheet, view, row, "Year by year", "Logs made in a year bear from the next year on. Net = sales - cash - labour - what lasts; net in "
                f"cash leaves out the last two. Logs still bearing when the plan ends count for nothing. {capital(said)}.", "budget_years",
                frame, YEARS)
    sheet.heights[row + 2] = 42
    return end


def _net_chart(sheet: ResultSheet, view: View, row: int, frame) -> str:
    return cumulative.draw(sheet, view, NET_TITLE, "year of the plan", row, frame, YEARS, ("cash", "all costs"), (4, 0))


def _tornado(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.budget_tornado
    money = view.currency
    sheet.section(row, "What matters most")
    sheet.put(row + 1, 0, "The net of all years, with labour and what lasts, when one figure stands at its low or high end and the others as "
                          "planned.", "about")
    heads = (("Figure", "header"), ("Low", "header_right"), ("Planned", "header_right"), ("High", "header_right"), ("Unit", "header"), ("", "header"),
             (f"Net at low ({money})", "header_right"), (f"Net at high ({money})", "header_right"), (f"Change at low ({money})", "header_right"),
             (f"Change at high ({money})", "header_right"))
    for col, (head, look) in enumerate(heads):
        sheet.put(row + 2, col, head, look)
    sheet.heights[row + 2] = 42
    for i, entry in enumerate(frame.itertuples()):
        at = row + HEAD_ROWS + i
        _figure(sheet, view, at, entry, (entry.low, entry.value, entry.high))
        for col, value in enumerate((entry.net_low, entry.net_high, entry.net_low - entry.net_planned, entry.net_high - entry.net_planned), start=6):
            sheet.put(at, col, float(value), "cell_money")
    end = row + HEAD_ROWS + len(frame)
    sheet.charts.append(_tornado_chart(view, (row + HEAD_ROWS, max(end - 1, row + HEAD_ROWS))))
    return end


def _tornado_chart(view: View, rows) -> Chart:
    low, high = TORNADO_COLS
    return Chart("bar", f"{TORNADO_TITLE} ({view.currency})", "", f"change from the plan ({view.currency})",
                 [ChartSeries("figure at its low end", (*rows, 0), (*rows, low)),
                  ChartSeries("figure at its high end", (*rows, 0), (*rows, high), "hatched")],
                 at=(4, 5), size=(720, 350), y_format="#,##0", below_zero=True)


def _two_way(sheet: ResultSheet, view: View, row: int) -> int:
    """Net by price and life yield, in full and in cash; the plan itself in the middle, bold."""
    frame = view.results.budget_two_way
    per = view.unit("money per weight")
    prices, weights = (frame[name].to_numpy().reshape(plan.STEPS, plan.STEPS) for name in ("price_per_kg", "life_kg"))
    _, down = np.unique(prices[:, 0], return_index=True)
    _, across = np.unique(weights[0], return_index=True)
    middle = (prices[plan.STEPS // 2, 0], weights[0, plan.STEPS // 2])
    for title, column in (("Net of all years by price and yield, with labour and what lasts", "net"), ("The same in cash", "net_cash")):
        grid = frame[column].to_numpy().reshape(plan.STEPS, plan.STEPS)
        sheet.section(row, f"{title} ({view.currency})")
        sheet.put(row + 1, 0, f"Down: price ({per}). Across: marketable weight of a log in its life ({view.weight})", "header")
        for col, j in enumerate(across, start=1):
            sheet.put(row + 1, col, view.number(weights[0, j], "weight"), "total_two")
        for at, i in enumerate(down, start=row + 2):
            sheet.put(at, 0, view.number(prices[i, 0], "money per weight"), "total_money")
            for col, j in enumerate(across, start=1):
                planned = (prices[i, 0], weights[0, j]) == middle
                sheet.put(at, col, float(grid[i, j]), "total_money" if planned else "cell_money")
        sheet.heights[row + 1] = 30
        row += 3 + len(down)
    return row - 1


def _chance(sheet: ResultSheet, view: View, row: int) -> int:
    end = block(sheet, view, row, "Chance of profit", f"From {plan.DRAWS:,} draws, the same every time, with labour and what lasts. Low and high: "
                "one draw in ten lies below, one above.", "budget_chance", view.results.budget_chance, CHANCE)
    sheet.heights[row + 2] = 42
    one_off, spread = tables.figure("life_one_off_chance").typical, tables.figure("yield_spread_weather").typical
    for i, words in enumerate((
            "What is drawn: life yield of a log lognormal, the planned value in the middle and one in ten above its high end; price, unsold, cash "
            "and minutes triangular from low over the planned value to high;",
            f"seasons as planned, or one less or one more ({one_off:.0%} each); weather of a year lognormal of mean 1 for all logs at once, spread "
            f"{spread:g}. Logs, wage, commission and what lasts are decided, not drawn.")):
        sheet.put(end + 1 + i, 0, words, "about")
    return end + 3

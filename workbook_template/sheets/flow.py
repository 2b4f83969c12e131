"""The sheet What pays: break-even by market, the yard's money by year, and what the yard and one more log are worth."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets import cumulative
from workbook_template.sheets.blocks import CHART_ROWS, HEAD_ROWS, NOT_YET, block, capital, day
from workbook_template.sheets.view import View

WIDTHS = [20, 15] + [13] * 15
MARKETS = (("market", "Market"), ("product", "Product"), ("sold_kg", "Sold"), ("price_per_kg", "Mean price"), ("commission", "Commission"),
           ("unsold", "Unsold"), ("own_per_kg", "Fees"), ("floor_cash", "Break-even, cash"), ("floor_labour", "with labour"),
           ("floor_capital", "with capital"), ("floor_variable", "Cost to come"), ("floor_variable_cash", "in cash alone"),
           ("weight_cash_kg", "Break-even weight, cash"), ("weight_labour_kg", "with labour"), ("weight_capital_kg", "with capital"))
YEARS = (("year", "Year"), ("spent", "Spent"), ("labour", "Labour"), ("sold", "Sold"), ("to_come_kg", "To come"),
         ("income_to_come", "Income to come"), ("cash_to_come", "Cash to come"), ("labour_to_come", "Labour to come"),
         ("held", "Still held"), ("net_cash", "Net, cash"), ("net", "Net, with labour"),
         ("real_net_cash", "Net in this year's money, cash"), ("real_net", "in it, with labour"),
         ("cumulative_cash", "Cumulative, cash"), ("cumulative", "Cumulative, with labour"))
WORTH = (("what", "What"), ("view", "View"), ("rate", "Real rate"), ("npv", "Present value"), ("irr", "Rate of return"), ("payback", "All back on"),
         ("payback_year", "Year of it"), ("words", "In words"))
LOG = (("year", "Year"), ("weight_kg", "Marketable"), ("income", "Income"), ("cash", "Cash"), ("minutes", "Time"), ("labour", "Labour"),
       ("net_cash", "Net, cash"), ("net", "Net, with labour"), ("cumulative_cash", "Cumulative, cash"), ("cumulative", "Cumulative, with labour"))
NAMES = ("cash", "with labour")
YARD_TITLE, LOG_TITLE = "The yard: cumulative net by year", "One more log: cumulative net by year"


def what_pays(view: View) -> ResultSheet:
    sheet = ResultSheet("What pays", WIDTHS, freeze=(3, 0))
    sheet.heading("What pays", "The price each market has to bring, the yard's money year by year, and whether one more log is worth making.")
    top = 3 + CHART_ROWS
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        sheet.section(top, "Break-even price by market")
        _yard_chart(sheet, view, top + 2, None)
        _log_chart(sheet, view, top + 2, None)
        return sheet
    sheet.put(2, 0, f"As of {day(view.as_of)}. Recorded years as written; expected years in money of this year, no new logs foreseen. "
                    "Not tax or legal advice.", "about")
    end = _markets(sheet, view, top)
    end = _years(sheet, view, end + 1)
    end = block(sheet, view, end + 1, "What it is worth", "Present value, as of the first year shown, and rate of return are those of the yearly net "
                "in this year's money. No rate, or several, is said and not guessed. Of one more log, years count from its making.",
                "flow_summary", view.results.flow_summary, WORTH)
    block(sheet, view, end + 1, "One more log", "Made in year 0 by the figures of the sheet Budget. Tools are there already and cost nothing more.",
          "one_log", view.results.one_log, LOG)
    _log_chart(sheet, view, end + HEAD_ROWS, view.results.one_log)
    return sheet


def _markets(sheet: ResultSheet, view: View, row: int) -> int:
    end = block(sheet, view, row, "Break-even price by market", "The price that pays the yard's cost so far, the market's commission and fees, and "
                "what is not sold. Cost to come is the upkeep still ahead, the variable cost: go on while the price covers it.", "breakeven",
                view.results.breakeven, MARKETS, words=1)
    sheet.heights[row + 2] = 42
    return end


def _years(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.yard_flow
    said = _yard_chart(sheet, view, row + 2, frame)
    why = frame["words"].iloc[-1] if "only" in frame["words"].iloc[-1] else ""
    end = block(sheet, view, row, "The yard, year by year", "Net = sold - spent - labour + what is to come + what is still held at the end, which "
                f"is no profit of that year. {capital(said)}.{' ' + capital(why) + '.' if why else ''}", "yard_flow", frame, YEARS)
    sheet.heights[row + 2] = 42
    return end


def _yard_chart(sheet: ResultSheet, view: View, row: int, frame) -> str:
    return cumulative.draw(sheet, view, YARD_TITLE, "year", row, frame, YEARS, NAMES, (4, 0))


def _log_chart(sheet: ResultSheet, view: View, row: int, frame) -> str:
    return cumulative.draw(sheet, view, LOG_TITLE, "years after it is made", row, frame, LOG, NAMES, (4, 7))

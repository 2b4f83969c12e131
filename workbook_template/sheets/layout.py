"""All result sheets of a workbook, laid out in the order they stand in."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets import (
    answers,
    budget,
    coming_weeks,
    costs,
    flow,
    keeping_sheet,
    partner_sheet,
    rollups,
    season_strip,
    this_week,
)
from workbook_template.sheets.view import View


def lay_out(view: View) -> list[ResultSheet]:
    sheets = [answers.start(view), this_week.this_week(view), season_strip.season(view), coming_weeks.coming_weeks(view), rollups.each_log(view),
              rollups.yield_sheet(view), costs.cost_sheet(view), flow.what_pays(view), budget.budget_sheet(view), keeping_sheet.keeping(view),
              partner_sheet.partner(view), rollups.shopping(view), answers.problems(view), answers.sources(view)]
    for sheet in sheets:
        sheet.name_series()
    return sheets

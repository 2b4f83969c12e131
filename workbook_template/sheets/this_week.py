"""The sheet This week."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET
from workbook_template.sheets.view import View


def this_week(view: View) -> ResultSheet:
    sheet = ResultSheet("This week", [20.0] * 6)
    sheet.heading("This week", "What the logs want this week, first what is lost if it waits.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
    return sheet

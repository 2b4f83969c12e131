"""The sheet Partner."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET
from workbook_template.sheets.view import View


def partner(view: View) -> ResultSheet:
    sheet = ResultSheet("Partner", [20.0] * 6)
    sheet.heading("Partner", "What each market had, sold, gave back and owes.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
    return sheet

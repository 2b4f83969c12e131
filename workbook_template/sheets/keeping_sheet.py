"""The sheet Keeping."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET
from workbook_template.sheets.view import View


def keeping(view: View) -> ResultSheet:
    sheet = ResultSheet("Keeping", [20.0] * 6)
    sheet.heading("Keeping", "What to sell fresh, what to dry and what to hold.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
    return sheet

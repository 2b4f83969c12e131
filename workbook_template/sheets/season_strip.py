"""The sheet Season."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET
from workbook_template.sheets.view import View


def season(view: View) -> ResultSheet:
    sheet = ResultSheet("Season", [20.0] * 6)
    sheet.heading("Season", "Groups of logs down, weeks across: spawn run, soak, picking and rest.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
    return sheet

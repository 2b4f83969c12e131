"""The sheet Coming weeks."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET
from workbook_template.sheets.view import View


def coming_weeks(view: View) -> ResultSheet:
    sheet = ResultSheet("Coming weeks", [20.0] * 6)
    sheet.heading("Coming weeks", "What to expect in each of the coming twelve weeks, and what of it is still free to promise.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
    return sheet

"""Fonts, colours, number formats and print set-up: quiet, printable, readable in grey.

Every look has a name. Input sheets and result sheets take their looks from here; a refresh finds the looks of an
existing file by the samples at the foot of the Sources sheet, because programs renumber styles when they save.
"""
from __future__ import annotations

from calc import units

FONT = "Arial"
ACCENT = "#3F5B3A"
SOFT = "#E4E9E0"  # accent, very light: computed cells
LINE = "#A9B3A4"
INK = "#222222"
GREY = "#666666"

NUMBER_FORMATS = {
    "text": "@", "wrapped": "General", "plain": "General", "size": "0.0##", "whole": "#,##0", "one": "#,##0.0",
    "two": "#,##0.00", "three": "0.000", "percent": "0.0%", "share": "0%", "money": "#,##0.00", "date": "d mmm yyyy",
    "month": "mmm yyyy", "day_month": "d mmm", "date_or_blank": 'd mmm yyyy;"";""', "two_or_blank": '#,##0.00;"";""',
}
RIGHT = {"size", "whole", "one", "two", "three", "percent", "share", "money", "plain", "two_or_blank"}


def _cell(look: str) -> dict:
    props = {"num_format": NUMBER_FORMATS[look], "align": "right" if look in RIGHT else "left", "valign": "top"}
    if look not in RIGHT:
        props["indent"] = 1
    if look == "wrapped":
        props["text_wrap"] = True
    return props


BASE = {"font_name": FONT, "font_size": 10, "font_color": INK, "valign": "vcenter"}
# Lines of This week: to be read at arm's length, and the grower's own cells beside them.
BIG = {"indent": 1, "font_size": 12, "align": "left", "valign": "top", "text_wrap": True, "bottom": 1, "bottom_color": LINE}
OWN = {"indent": 1, "font_size": 12, "num_format": "@", "align": "left", "valign": "top", "text_wrap": True, "border": 1, "border_color": INK}
PIECES = {
    "title": {"bold": True, "font_size": 16, "font_color": ACCENT},
    "about": {"font_color": GREY, "italic": True},
    "about_wrapped": {"font_color": GREY, "italic": True, "text_wrap": True, "valign": "top"},
    "section": {"bold": True, "font_size": 12, "font_color": ACCENT, "bottom": 2, "bottom_color": ACCENT},
    "link": {"font_color": ACCENT, "underline": 1},
    "band_needed": {"bold": True, "font_color": "#FFFFFF", "bg_color": ACCENT, "align": "left"},
    "band_computed": {"bold": True, "italic": True, "font_color": ACCENT, "bg_color": SOFT, "align": "left"},
    "band_typed": {"bold": True, "font_color": ACCENT, "align": "left", "top": 1, "top_color": ACCENT},
    "header_typed": {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 2, "bottom_color": ACCENT, "align": "left", "indent": 1},
    "header_computed": {"bold": True, "italic": True, "text_wrap": True, "valign": "bottom", "bottom": 2,
                        "bottom_color": ACCENT, "bg_color": SOFT, "align": "left", "indent": 1},
    "header": {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 2, "bottom_color": ACCENT, "align": "left", "indent": 1},
    "header_right": {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 2, "bottom_color": ACCENT, "align": "right"},
    "label": {"align": "left", "valign": "top"},
    "unit": {"align": "left", "valign": "top", "indent": 1, "font_color": GREY},
    "label_wrapped": {"align": "left", "valign": "top", "text_wrap": True},
    "strong": {"bold": True, "align": "left", "valign": "top"},
    "caution": {"text_wrap": True, "valign": "top", "left": 5, "left_color": ACCENT, "indent": 1},
    "big": BIG,
    "big_strong": {**BIG, "bold": True},
    "own_done": {**OWN, "font_size": 14, "align": "center", "valign": "vcenter", "indent": 0},
    "own_note": OWN,
    "own_date": {**OWN, "num_format": "d mmm yyyy"},
    "line_mark": {"font_color": LINE, "font_size": 8, "align": "left", "valign": "top", "bottom": 1, "bottom_color": LINE},
    "rowkey": {"font_color": LINE, "font_size": 8, "align": "left"},
    "field": {"border": 1, "border_color": LINE},
}
PIECES |= {f"{k}_right": {**PIECES[k], "align": "right", "indent": 0} for k in ("header_typed", "header_computed")}
PIECES |= {f"input_{k}": {**_cell(k), "border": 1, "border_color": LINE} for k in NUMBER_FORMATS}
PIECES |= {f"computed_{k}": {**_cell(k), "italic": True, "bg_color": SOFT} for k in NUMBER_FORMATS}
PIECES |= {f"cell_{k}": {**_cell(k), "bottom": 4, "bottom_color": LINE} for k in NUMBER_FORMATS}
PIECES |= {f"total_{k}": {**_cell(k), "bold": True, "top": 1, "top_color": ACCENT} for k in NUMBER_FORMATS}

# Headings and cells that a market fills on a shared copy: boxed, pale, and the only ones without protection.
PIECES |= {f"fill_{k}": {**_cell(k), "border": 1, "border_color": INK, "bg_color": "#FFFDF2", "locked": False} for k in NUMBER_FORMATS}
PIECES["header_fill"] = {**PIECES["header"], "font_color": "#FFFFFF", "bg_color": ACCENT}
PIECES["header_fill_right"] = {**PIECES["header_right"], "font_color": "#FFFFFF", "bg_color": ACCENT}

# The strip of weeks on Season: a letter in every cell, so that no shade is needed to read it.
STRIP = {"font_size": 10, "align": "center", "valign": "vcenter", "border": 1, "border_color": "#FFFFFF"}
PIECES |= {
    "strip_month": {"bold": True, "align": "left", "font_color": ACCENT},
    "strip_day": {"font_size": 9, "align": "center", "bottom": 2, "bottom_color": ACCENT},
    "strip_head": {"bold": True, "align": "left", "bottom": 2, "bottom_color": ACCENT},
    "strip_head_right": {"bold": True, "align": "right", "bottom": 2, "bottom_color": ACCENT},
    "strip_name": {"align": "left", "valign": "top", "bottom": 4, "bottom_color": LINE},
    "strip_run": {**STRIP, "bg_color": "#EDF0EB", "font_color": GREY},
    "strip_may": {**STRIP, "bg_color": "#C9D4C2"},
    "strip_soak": {**STRIP, "bg_color": INK, "font_color": "#FFFFFF", "bold": True},
    "strip_pins": {**STRIP, "bg_color": "#8FA585", "bold": True},
    "strip_rest": {**STRIP, "font_color": GREY, "border_color": LINE},
    "strip_dorm": {**STRIP, "bg_color": "#D9D9D9", "font_color": GREY},
    "strip_free": {**STRIP, "border_color": LINE},
}

# What a refresh may use on result sheets; samples of these stand on Sources.
RESULT_LOOKS = ("title", "about", "about_wrapped", "section", "header", "header_right", "label", "label_wrapped", "strong", "caution",
                "big", "big_strong", "own_done", "own_note", "own_date", "line_mark") \
    + tuple(f"cell_{k}" for k in NUMBER_FORMATS) + tuple(f"total_{k}" for k in NUMBER_FORMATS) \
    + tuple(look for look in PIECES if look.startswith("strip_"))


class Looks:
    """The formats of one XlsxWriter workbook, made when first asked for."""

    def __init__(self, workbook):
        self._workbook, self._made = workbook, {}

    def __getitem__(self, name: str):
        if name not in self._made:
            self._made[name] = self._workbook.add_format({**BASE, **PIECES[name]})
        return self._made[name]


def set_page(sheet, profile: str, landscape: bool, repeat: tuple[int, int] | None = None, footer: str = "") -> None:
    """Print set-up: Letter in us units, A4 in metric, one page wide, page numbers, header rows repeated."""
    sheet.set_paper(1 if profile == units.US else 9)
    if landscape:
        sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
    sheet.set_footer(f"&L&8{footer}&C&8&A&R&8&P / &N")
    if repeat:
        sheet.repeat_rows(*repeat)

"""A trace in the workbook's units: as text for the terminal, and as a workbook whose first sheet is one printed page.

The page stands for itself at a recall: what the lot is, where it came from, who had it, what is left, what cannot be
told. Where lines are many the page adds them up by market and lot, and every line stands on the second sheet.
"""
from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from calc import units
from calc.trace import LOT, Trace
from workbook_template import cautions
from workbook_template.sheets.blocks import day

LONG = 16  # lines of a block on the page; beyond it they are added up
WIDTHS = (25, 18, 20, 15, 12, 12, 12, 42)


@dataclass
class Part:
    """A block of the page: title, heads, rows of plain cells; short: the same added up, where it is long."""

    title: str
    heads: tuple[str, ...]
    rows: list[tuple]
    short: tuple[tuple[str, ...], list[tuple]] | None = None
    note: str = ""


@dataclass
class Page:
    """A whole trace, ready to be printed."""

    title: str
    about: str
    parts: list[Part]
    doubts: list[str] = field(default_factory=list)


def page_of(found: Trace, profile: str, yard: str, file_name: str, as_of: dt.date) -> Page:
    """A trace (calc.trace) as blocks in the workbook's units."""
    unit, kilo = units.profile_unit("weight", profile), 1.0 / units.factor("weight", profile)

    def weight(kg) -> float | None:
        return None if kg != kg else round(float(kg) * kilo, 2)

    def date(value) -> str:
        return "" if pd.isna(value) else day(pd.Timestamp(value).date())

    what = "Lot" if found.what == LOT else "Spawn lot"
    had = f"Had by {', '.join(found.markets)}" if found.markets else "No market had any of it by the lines"
    about = ". ".join([f"{yard}, {file_name}, as of {day(as_of)}", f"Weights in {unit}", *found.notes, had]) + "."
    parts = [
        Part("Where it is", ("", "Product", f"Weight ({unit})"),
             [(label, product, weight(kg)) for label, product, kg in found.balance if kg or label in ("delivered", "sold")]),
        _moves(found, weight, date, unit),
        _logs(found, date),
        Part("Picked", ("Date", "Lot", f"Weight ({unit})", "Logs", "Grade", "Wet", "Row of Events"),
             [(date(r.date), r.lot, weight(r.kg), r.logs, r.grade, r.wet, _row(r.row)) for r in found.picks.itertuples()],
             _by_year(found, weight, date, unit)),
        Part("Dried", ("Date", "Dried lot", f"Fresh in ({unit})", f"Dried out ({unit})", "From", "", "Row of Events"),
             [(date(r.date), r.lot, weight(r.fresh_kg), weight(r.dried_kg), r.came_from, "", _row(r.row)) for r in found.dryings.itertuples()]),
    ]
    doubts = []
    for doubt in found.doubts:
        much = f" ({weight(doubt.kg):g} {unit}, {doubt.rows} line{'s' if doubt.rows != 1 else ''})" if doubt.kg == doubt.kg else ""
        doubts.append(f"{doubt.words}{much}.")
    doubts = doubts or ["Nothing: every line of it is told."]
    if found.others:
        doubts.append("Other lots of the same logs, if these are in doubt: " + ", ".join(found.others) + ".")
    return Page(f"{what} {found.asked}", about, [part for part in parts if part.rows], doubts)


def _row(value) -> int | None:
    return None if value != value else int(value)


def _moves(found: Trace, weight, date, unit: str) -> Part:
    lines = [(date(r.date), r.market, r.kind, r.lot, weight(r.kg), r.product, _row(r.row), r.docket) for r in found.moves.itertuples()]
    rows = []
    for (market, product), part in found.moves.groupby(["market", "product"], sort=False):
        by = part.groupby("kind")["kg"].sum()
        weights = [weight(by.get(kind, 0.0)) for kind in ("delivered", "sold", "returned", "spoiled")]
        rows.append((_span(part["date"], date), market, product, *weights, ", ".join(dict.fromkeys(part["lot"]))))
    return Part("Who had it", ("Date", "Market", "Kind", "Lot", f"Weight ({unit})", "Product", "Row of Sales", "Docket"), lines,
                (("Dates", "Market", "Product", "Delivered", "Sold", "Returned", "Spoiled", "Lots"), rows))


def _span(days: pd.Series, date) -> str:
    return " to ".join(dict.fromkeys((date(days.min()), date(days.max()))))


def _logs(found: Trace, date) -> Part:
    rows = [(r.log, r.wood, r.strain, r.spawn_lot or "not written", date(r.inoculated), date(r.felled), _row(r.row),
             "; ".join(w for w in (r.source, r.place) if w)) for r in found.logs.itertuples()]
    grouped = []
    known = found.logs.assign(spawn_lot=found.logs["spawn_lot"].replace("", "not written"), day=[date(d) for d in found.logs["inoculated"]])
    for (wood, strain, spawn, when), part in known.groupby(["wood", "strain", "spawn_lot", "day"], sort=False):
        names = ", ".join(part["log"].iloc[:6]) + (f" and {len(part) - 6} more rows" if len(part) > 6 else "")
        grouped.append((f"{part['count'].sum():,.0f} logs", wood, strain, spawn, when, "", None, names))
    heads = ("Log", "Wood", "Strain", "Spawn lot", "Inoculated", "Felled", "Row of Logs", "Source, place")
    return Part("Logs behind it", heads, rows, (heads[:7] + ("Logs",), grouped), f"{found.logs['count'].sum():,.0f} logs")


def _by_year(found: Trace, weight, date, unit: str):
    rows = []
    for _, part in found.picks.groupby(pd.to_datetime(found.picks["date"]).dt.year, sort=True):
        rows.append((_span(part["date"], date), f"{len(part)} picks", weight(part["kg"].sum()), None, None, None, None,
                     ", ".join(dict.fromkeys(lot or "(no lot)" for lot in part["lot"]))))
    return ("Dates", "Picks", f"Weight ({unit})", "", "", "", "", "Lots"), rows


# ---- text --------------------------------------------------------------------------------------------------------

def text(page: Page) -> str:
    """The whole trace with every line, for the terminal."""
    lines = [page.title, page.about, ""]
    for part in page.parts:
        lines += [part.title + (f" ({part.note})" if part.note else ""), *_table(part.heads, part.rows), ""]
    lines += ["What cannot be told", *(f"  {doubt}" for doubt in page.doubts), "", *cautions.RECALL]
    return "\n".join(lines)


def _table(heads, rows) -> list[str]:
    cells = [[_shown(cell) for cell in row] for row in (heads, *rows)]
    keep = [i for i in range(len(heads)) if any(row[i] for row in cells)]
    width = {i: max(len(row[i]) for row in cells) for i in keep}
    right = {i for i in keep if all(isinstance(row[i], (int, float)) or row[i] in (None, "") for row in rows)}
    return ["  " + "  ".join(row[i].rjust(width[i]) if i in right else row[i].ljust(width[i]) for i in keep).rstrip() for row in cells]


def _shown(cell) -> str:
    return "" if cell is None else f"{cell:.2f}" if isinstance(cell, float) else " ".join(str(cell).split())


# ---- the printed page --------------------------------------------------------------------------------------------

def write(path: Path, pages: list[Page], profile: str) -> None:
    """A new workbook: one printed page for each trace, and every line on a sheet of its own where the page adds up."""
    import xlsxwriter

    from workbook_template.looks import Looks
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True}) as book:
        looks = Looks(book)
        for page in pages:
            name = _sheet_name(page.title, book)
            long = any(part.short and len(part.rows) > LONG for part in page.parts)
            _draw(book.add_worksheet(name), looks, page, profile, whole=not long)
            if long:
                _draw(book.add_worksheet(_sheet_name(f"Lines of {page.title}", book)), looks, page, profile, whole=True, pages=0)
    path.write_bytes(made.getvalue())


def _sheet_name(title: str, book) -> str:
    plain = "".join(c for c in title if c not in "[]:*?/\\'")[:28] or "Lot"
    taken = {sheet.get_name().casefold() for sheet in book.worksheets()}
    return next(name for name in (plain, *(f"{plain} {i}" for i in range(2, 100))) if name.casefold() not in taken)


def _draw(sheet, looks, page: Page, profile: str, whole: bool, pages: int = 1) -> None:
    from workbook_template.looks import set_page
    last = len(WIDTHS) - 1
    for col, width in enumerate(WIDTHS):
        sheet.set_column(col, col, width)
    sheet.hide_gridlines(2)
    sheet.write_string(0, 0, page.title, looks["title"])
    sheet.set_row(0, 26)
    row = _wrapped(sheet, 1, page.about, looks["about_wrapped"], last) + 1
    for part in page.parts:
        for col in range(last + 1):
            sheet.write(row, col, part.title + (f" ({part.note})" if part.note else "") if col == 0 else None, looks["section"])
        heads, rows = part.short if part.short and len(part.rows) > LONG and not whole else (part.heads, part.rows)
        numeric = {i for i in range(len(heads)) if any(isinstance(r[i], (int, float)) for r in rows)}
        for col, head in enumerate(heads):
            sheet.write_string(row + 1, col, head, looks["header_right" if col in numeric else "header"])
        for i, cells in enumerate(rows):
            lines = max((1 + len(cell) // int(WIDTHS[col] * 1.3) for col, cell in enumerate(cells) if isinstance(cell, str)), default=1)
            if lines > 1:
                sheet.set_row(row + 2 + i, 13 * lines + 2)
            for col, cell in enumerate(cells):
                look = "cell_two" if isinstance(cell, float) else "cell_whole" if col in numeric else "cell_wrapped"
                sheet.write(row + 2 + i, col, cell, looks[look])
        row += 3 + len(rows)
    for col in range(last + 1):
        sheet.write(row, col, "What cannot be told" if col == 0 else None, looks["section"])
    row += 1
    for words in (*page.doubts, "", *cautions.RECALL):
        row = _wrapped(sheet, row, words, looks["caution" if words in cautions.RECALL else "label_wrapped"], last)
    set_page(sheet, profile, landscape=True)
    sheet.fit_to_pages(1, pages)
    sheet.print_area(0, 0, row - 1, last)


def _wrapped(sheet, row: int, words: str, look, last: int) -> int:
    """A sentence over the whole width; returns the row after it."""
    sheet.merge_range(row, 0, row, last, words, look)
    sheet.set_row(row, 14 * (1 + len(words) // int(sum(WIDTHS) * 1.05)) + 1)
    return row + 1

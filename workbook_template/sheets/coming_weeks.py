"""The sheet Coming weeks: what to expect in twelve weeks and what of it is free to promise; deadlines; hours by month."""
from __future__ import annotations

from workbook_template import cautions
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets.blocks import CHART_ROWS, HEAD_ROWS, NOT_YET, block, capital, day, take_care
from workbook_template.sheets.view import View

WIDTHS = [24, 24] + [15] * 9 + [30]
SUPPLY = (("week", "Week of Monday"), ("soaked_logs", "Logs soaked"), ("expected_kg", "Expected"), ("low_kg", "Low"), ("high_kg", "High"),
          ("promise_kg", "Can be promised"), ("promised_kg", "Already promised"), ("free_kg", "Free to promise"), ("rows", "Picked lines behind it"))
DEADLINES = (("what", "What"), ("log", "Logs or lot"), ("date", "By"), ("days", "Days left"))
HOURS = (("month", "Month"), ("hours", "In all"), ("hours_free", "Free"), ("soak_hours", "Soaks"), ("upkeep_hours", "Upkeep, picking, selling"),
         ("setup_hours", "Making logs"))
SUPPLY_TITLE, HOURS_TITLE = "Supply of the coming weeks", "Hours by month"


def coming_weeks(view: View) -> ResultSheet:
    sheet = ResultSheet("Coming weeks", WIDTHS, freeze=(3, 0))
    sheet.heading("Coming weeks", "What to expect in each of the coming twelve weeks, and what of it is still free to promise.")
    top = 3 + CHART_ROWS
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        sheet.section(top, "Supply by week")
        _supply_chart(sheet, view, top + 2, 1)
        _hours_chart(sheet, view, top + 2, 1)
        return sheet
    sheet.put(2, 0, f"As of {day(view.as_of)}.", "about")
    end = _supply(sheet, view, top)
    end = _deadlines(sheet, view, end + 1)
    end = _hours(sheet, view, end + 1)
    take_care(sheet, end + 1, cautions.THIS_WEEK)
    return sheet


def _supply(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.supply
    _supply_chart(sheet, view, row + 2, len(frame))
    end = block(sheet, view, row, "Supply by week", "Eight weeks of ten lie between low and high. Weather moves all logs at once, so more "
                "logs do not make the range vanish. Free = what can be promised less what is.", "supply", frame, SUPPLY)
    for words, mine in frame.groupby("words", sort=False):
        if words:
            weeks = "" if len(mine) == len(frame) else f"Week{'s' if len(mine) > 1 else ''} of {', '.join(f'{w.day} {w:%b}' for w in mine['week'])}: "
            sheet.put(end, 0, weeks + (words if weeks else capital(words)), "label")
            end += 1
    return end


def _supply_chart(sheet: ResultSheet, view: View, row: int, weeks: int) -> None:
    span, shown = (row + 1, row + max(weeks, 1)), [name for name, _ in SUPPLY]
    columns = [ChartSeries("expected", (*span, 0), (*span, shown.index("expected_kg")), "light")]
    lines = [ChartSeries(words, (*span, 0), (*span, shown.index(name)), fill) for name, words, fill in (
        ("high_kg", "high: 1 week of 10 above it", "dotted"), ("low_kg", "low: 1 week of 10 below it", "dashed"),
        ("promised_kg", "promised already", "solid"))]
    sheet.charts.append(Chart("column", f"{SUPPLY_TITLE} ({view.weight})", "week of Monday", view.weight, columns, at=(4, 0), size=(700, 360),
                              y_format="General", lines=lines, x_format="d mmm"))


def _deadlines(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.deadlines
    end = block(sheet, view, row, "Deadlines", "Logs felled and not inoculated, and spawn by its date." if len(frame) else
                "None: no log felled waits for its spawn, and no spawn lot on Lists is near its date.", "deadlines", frame, DEADLINES)
    sheet.put(row + 2, len(DEADLINES), "In words", "header")
    for i, words in enumerate(frame["words"]):
        sheet.put(row + HEAD_ROWS + i, len(DEADLINES), capital(words), "cell_text")
    return end


def _hours(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.hours_ahead
    _hours_chart(sheet, view, row + 2, int(frame["month"].notna().sum()))
    end = block(sheet, view, row, "Hours by month", "From the logs at work, the soaks planned, the logs that wait and those of the Plan. Own "
                "minutes on Events come before Settings; soaks that were never timed are inside the upkeep.", "hours_ahead", frame, HOURS,
                looks={"month": "month"})
    sheet.put(row + 2, len(HOURS), "In words", "header")
    for i, words in enumerate(frame["words"]):
        sheet.put(row + HEAD_ROWS + i, len(HOURS), capital(words), "cell_text")
    return end


def _hours_chart(sheet: ResultSheet, view: View, row: int, months: int) -> None:
    span, shown = (row + 1, row + max(months, 1)), [name for name, _ in HOURS]
    columns = [ChartSeries("hours the work takes", (*span, 0), (*span, shown.index("hours")), "light")]
    lines = [ChartSeries("hours free", (*span, 0), (*span, shown.index("hours_free")), "dashed")]
    sheet.charts.append(Chart("column", f"{HOURS_TITLE} (h)", "month", "h", columns, at=(4, 6), size=(620, 360), lines=lines, x_format="mmm yy"))

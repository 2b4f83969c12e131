"""The sheet This week: what to do with a box to tick and room for a note, sample logs, rain and watering, and what is kept.

The charts stand at a fixed row, for their place is fixed when the workbook is made, and begin a printed page; rows
between the lines and the charts are drawn as thin as can be.
"""
from __future__ import annotations

import datetime as dt
import math

from calc.season import monday
from workbook_template import carried, cautions
from workbook_template.carried import COLUMNS, Typed
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets.blocks import NOT_YET, capital, day, take_care
from workbook_template.sheets.view import View

HEAD = 4  # row of the headings, 0-based
CHARTS_AT = 62  # row of the charts: lines, own lines and cautions stand above it
CHART_ROWS = 15  # that they take
OWN_LINES = 3
THIN = 1.0  # points
POINTS, CHARACTER = 15.5, 0.97  # height of a line of 12-point text; characters of it that a column's width holds, each
SCALE = 84  # percent: the columns then fill a page of Letter laid across
WIDTHS = [width for _, _, width in COLUMNS]
LOOKS = {"done": "own_done", "what": "big_strong", "note": "own_note", "key": "line_mark"}  # the others are "big"
NOTHING = "Nothing is due by what is written down. Look the logs over all the same."
CHARTED_LOGS = 30  # sample logs in the chart; the table holds them all


def this_week(view: View) -> ResultSheet:
    sheet = ResultSheet("This week", list(WIDTHS), freeze=(HEAD + 1, 0), breaks=(CHARTS_AT,), scale=SCALE)
    sheet.heading("This week", "What the logs need, first what is lost soonest. Tick what is done and write beside a line: a refresh carries it on. "
                               "Write what was done on Events too.")
    beside, kept = {}, []
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        lines = []
    else:
        frame = view.results.this_week
        lines = [(row, carried.mark(row.key, row.occasion)) for row in frame.itertuples()]
        beside, kept = carried.carry(view.typed, [found for _, found in lines], view.as_of)
        sheet.put(2, 0, f"Week of {day(monday(view.as_of))}, as of {day(view.as_of)}. {carried.told(beside, kept)}".strip(), "strong")
    row = _lines(sheet, lines, beside, view.results is not None)
    row = take_care(sheet, row + 1, cautions.THIS_WEEK)
    for between in range(row, CHARTS_AT):
        sheet.heights[between] = THIN
    end = _moisture(sheet, view, CHARTS_AT + CHART_ROWS)
    end = _water(sheet, view, end + 1)
    _kept(sheet, kept, end + 1)
    return sheet


def _heads(sheet: ResultSheet, row: int, last: str = "Line") -> None:
    for col, (key, title, _) in enumerate(COLUMNS):
        sheet.put(row, col, last if key == "key" else title, "header")
    sheet.heights[row] = 20


def _lines(sheet: ResultSheet, lines, beside: dict[str, Typed], refreshed: bool) -> int:
    _heads(sheet, HEAD)
    row = HEAD + 1
    for line, found in lines:
        words = {"what": capital(line.what), "logs": line.logs, "place": line.place, "words": capital(line.words), "rule": capital(line.rule),
                 "key": found}
        _draw(sheet, row, words, beside.get(found))
        row += 1
    if refreshed and not lines:
        sheet.put(row, 1, NOTHING, "strong")
        row += 1
    for _ in range(OWN_LINES):  # for lines of the grower's own, on paper or typed
        for col, (key, _, _) in enumerate(COLUMNS[:-1]):
            sheet.put(row, col, None, "own_done" if key == "done" else "own_note")
        sheet.heights[row] = 22
        row += 1
    return row


def _draw(sheet: ResultSheet, row: int, words: dict, typed: Typed | None) -> None:
    """A line with what stands beside it."""
    values = {**words, "done": typed and typed.done, "note": typed and typed.note}
    for col, (key, _, _) in enumerate(COLUMNS):
        value = values.get(key)
        dated = key in ("done", "note") and isinstance(value, dt.date)
        sheet.put(row, col, value or (None if value != 0 else value), "own_date" if dated else LOOKS.get(key, "big"))
    held = [math.ceil(_length(values.get(key)) / (width * CHARACTER)) for key, _, width in COLUMNS if key != "key"]
    sheet.heights[row] = max(24.0, POINTS * max(held) + 6)


def _length(value) -> int:
    return len(carried.as_text(value)) if value is not None else 0


def _moisture(sheet: ResultSheet, view: View, row: int) -> int:
    """Sample logs: a table under the first chart."""
    sheet.section(row, "Moisture of sample logs, wet basis: water over the whole weight")
    heads = [("Floor", "percent"), ("Log", "text"), ("State", "text"), ("Weighed", "date"), ("What it rests on", "wrapped"), ("Weight", "wrapped"),
             ("Moisture now (wet)", "percent"), ("Water at (wet)", "percent")]
    frame = view.results.moisture if view.results is not None else None
    known = frame is not None and len(frame) > 0
    if not known:
        words = "Type Sample weight of a few logs on Logs when you inoculate them, and weigh those logs now and then (event weighed)."
        columns = [[None], [None], [None], [None], [words], [None], [None], [None]]
    else:
        columns = [[r.floor for r in moisture_rows(view)], view.column(frame["log"], "text"), view.column(frame["state"], "text"),
                   view.column(frame["weighed"], "date"), [_rests(r) for r in frame.itertuples()], [_weights(view, r) for r in frame.itertuples()],
                   view.column(frame["moisture"], "share"), view.column(frame["limit_moisture"], "share")]
    end = sheet.table(row + 1, 0, heads, columns)
    for i, (words, weights) in enumerate(zip(columns[4], columns[5], strict=True)):
        sheet.heights[row + 2 + i] = 13 * max(1, math.ceil(len(words or "") / 51), math.ceil(len(weights or "") / 24)) + 3
    last = row + 1 + min(max(len(columns[0]), 1), CHARTED_LOGS)
    span = (row + 2, last)
    names = (*span, 1)
    sheet.charts.append(Chart("column", "Moisture of sample logs, % of the whole weight", "", "moisture, wet basis",
                              [ChartSeries("moisture now", names, (*span, 6))], at=(CHARTS_AT, 0), size=(715, 285), y_format="0%",
                              lines=[ChartSeries("water at", names, (*span, 7)), ChartSeries("spawn does not survive", names, (*span, 0), "dashed")]))
    return end


def moisture_rows(view: View):
    """The floor beside each sample log, for the line of the chart."""
    from calc import tables

    frame = view.results.moisture
    return frame.assign(floor=tables.figure("moisture_floor_wet").typical).itertuples()


def _weights(view: View, row) -> str:
    """Weights of a sample log in words."""
    def shown(kg) -> str:
        number = view.number(float(kg), "weight")
        return "" if number is None else f"{number:.1f} {view.weight}"

    now, at = shown(row.weight_kg), shown(row.water_at_kg)
    start, floor = shown(row.start_kg), shown(row.floor_kg)
    return "; ".join(w for w in (f"{now} of {start} at the start" if now and start else now, f"water at {at}" if at else "",
                                 f"23 % wet at {floor}" if floor else "") if w)


def _rests(row) -> str:
    said = [row.words]
    if row.loss == row.loss:
        said.insert(0, f"{abs(row.loss):.1%} {'lighter' if row.loss >= 0 else 'heavier'} than at the start")
    if row.trend == row.trend:
        said.append(f"{row.trend * 100:+.1f} points a week between the last two weighings")
    if row.rule:
        said.append(f"water when {row.rule}")
    return capital("; ".join(w for w in said if w)) + "."


def _water(sheet: ResultSheet, view: View, row: int) -> int:
    unit = view.unit("rain")
    sheet.section(row, "Rain and watering")
    frame = view.results.water_weeks if view.results is not None else None
    heads = [("", "text"), ("Week of", "text"), (f"Rain ({unit})", "two"), (f"Watered ({unit})", "two"), ("What was assumed", "text"),
             (f"Wanted ({unit})", "two"), (f"Short of it ({unit})", "two")]
    if frame is None or not len(frame):
        about, columns = "Write rain and watering on Events, with the depth, and the weeks stand here.", [[None]] * 7
    else:
        dry = view.results.days_dry
        about = f"Last rain or water {dry:.0f} day{'' if dry == 1 else 's'} ago. {_spell(view)}"
        names = (("rain_m", "rain"), ("watered_m", "rain"), ("words", "text"), ("wanted_m", "rain"), ("short_m", "rain"))
        columns = [[None] * len(frame), [day(week) for week in frame["week"]], *(view.column(frame[name], kind) for name, kind in names)]
    sheet.put(row + 1, 0, about, "label")
    end = sheet.table(row + 2, 0, heads, columns)
    span = (row + 3, end - 1)
    sheet.charts.append(Chart("stacked column", f"Rain and watering by week ({unit})", "week", unit,
                              [ChartSeries("rain", (*span, 1), (*span, 2)), ChartSeries("watered", (*span, 1), (*span, 3), "light")],
                              at=(CHARTS_AT, 5), size=(400, 285), y_format="0.0", lines=[ChartSeries("wanted", (*span, 1), (*span, 5), "dashed")]))
    return end


def _spell(view: View) -> str:
    """The longest dry spell of the last year in words."""
    spell = view.results.dry_spell
    if not len(spell):
        return "No spell of more than a week without rain or water in the last year."
    one = spell.iloc[0]
    lost = f": they lost {one.loss:.1%} of their weight ({one.low:.1%} to {one.high:.1%})" if one.loss == one.loss else ""
    return f"Longest spell without, in the last year: {one.days:.0f} days, {day(one['from'])} to {day(one.to)}; {one.words}{lost}."


def _kept(sheet: ResultSheet, kept: list[Typed], row: int) -> None:
    if not kept:
        return
    sheet.section(row, "Kept from earlier: ticks and notes whose line is not on the list now. Clear what you no longer need.")
    _heads(sheet, row + 1)
    for i, one in enumerate(kept):
        _draw(sheet, row + 2 + i, {**one.line, "key": one.mark}, one)

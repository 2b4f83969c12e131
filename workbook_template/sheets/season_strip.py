"""The sheet Season: a strip of weeks for every group of logs, first flushes by batch, the rota groups and their next soaks."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc.codes import alike, distinct
from calc.day_numbers import day_in_words
from calc.day_numbers import words as day_words
from calc.log_names import Ranked, said
from calc.season_state import PICKED
from calc.season_weeks import DORM, FREE, MAY, PINS, REST, RUN, SOAK, WEEKS, batches
from calc.yard import NO_DAY, day_column, numbers, text_codes
from workbook_template import cautions
from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import NOT_YET, capital, day, take_care
from workbook_template.sheets.view import View

WIDTHS = [29, 6] + [2.4] * WEEKS
NAMES = 100  # letters of names in a line
FIRST_WEEK = 2  # column of the first week
COLUMNS = (FIRST_WEEK + 1, FIRST_WEEK + 8, FIRST_WEEK + 15)  # where words begin under the narrow weeks
# mark -> (letter, look, what it means)
LEGEND = {
    RUN: ("R", "strip_run", "spawn run"),
    MAY: ("F", "strip_may", "first flush may come"),
    SOAK: ("S", "strip_soak", "soak in this week"),
    PINS: ("P", "strip_pins", "look for pins, pick"),
    REST: ("z", "strip_rest", "rest after a soak"),
    DORM: ("–", "strip_dorm", "dormant: month too cold or hot, or outside your soaking season"),
    FREE: ("", "strip_free", "at work, no soak planned: fruits after rain"),
}


def season(view: View) -> ResultSheet:
    sheet = ResultSheet("Season", WIDTHS, freeze=(7, 2), repeat=(5, 6))
    sheet.heading("Season", "What each group of logs does in the coming year. Groups of the soaking rota come first, then the batches in no group.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        return sheet
    strip, notes = view.results.season_strip, list(view.results.season_notes["words"])
    sheet.put(2, 0, f"As of {day(view.as_of)}. A column is a week; the number above it is the day of its Monday.", "about")
    sheet.put(3, 0, capital(notes[0]) if notes else "Letters say it without colour: see the key below the strip.", "strong" if notes else "about")
    row = _strip(sheet, strip, 5)
    row = _legend(sheet, row + 1, notes[1:])
    ranked = Ranked(view.results.log_season["log"])
    row = _flushes(sheet, view, ranked, row + 1)
    row = _groups(sheet, view, ranked, row + 1)
    take_care(sheet, row + 1, cautions.THIS_WEEK)
    return sheet


def _strip(sheet: ResultSheet, strip: pd.DataFrame, row: int) -> int:
    """Months, Mondays and one line a group; the row after them."""
    for col, words in enumerate(("Group or batch", "Logs")):
        sheet.put(row, col, None, "strip_month")
        sheet.put(row + 1, col, words, "strip_head" if col == 0 else "strip_head_right")
    weeks = list(strip["week"].drop_duplicates())
    if not weeks:
        sheet.put(row + 2, 0, "No log on Logs is inoculated yet: the strip begins with the first date under Inoculated.", "label")
        return row + 3
    for i, week in enumerate(weeks):
        new = i == 0 or week.month != weeks[i - 1].month
        room = i + 2 < len(weeks) and (weeks[i + 2].month == week.month)
        sheet.put(row, FIRST_WEEK + i, f"{week:%b %Y}" if new and room else f"{week:%b}" if new else None, "strip_month")
        sheet.put(row + 1, FIRST_WEEK + i, week.day, "strip_day")
    at = row + 2
    names, logs, marks = strip["group"].tolist(), strip["logs"].tolist(), strip["mark"].tolist()
    for first in range(0, len(names), len(weeks)):
        sheet.put(at, 0, names[first], "strip_name")
        sheet.put(at, 1, logs[first], "cell_whole")
        for i, mark in enumerate(marks[first:first + len(weeks)]):
            letter, look, _ = LEGEND[mark]
            sheet.put(at, FIRST_WEEK + i, letter, look)
        at += 1
    return at


def _legend(sheet: ResultSheet, row: int, notes: list[str]) -> int:
    sheet.put(row, 0, "Key", "strong")
    for i, (letter, look, words) in enumerate(LEGEND.values()):
        at, col = row + i % 4, FIRST_WEEK + 20 * (i // 4)
        sheet.put(at, col, letter, look)
        sheet.put(at, col + 2, words, "label")
    for i, words in enumerate(notes):
        sheet.put(row + 4 + i, 0, capital(words), "label")
    return row + 4 + len(notes)


def _lines(sheet: ResultSheet, row: int, title: str, about: str, heads: tuple[str, ...], lines: list[tuple]) -> int:
    """A small table in words under the narrow columns: name, logs, then texts that run over the weeks."""
    sheet.section(row, title)
    sheet.put(row + 1, 0, about, "about")
    spots = (0, 1, *COLUMNS)
    for col in range(len(WIDTHS)):
        sheet.put(row + 2, col, heads[spots.index(col)] if col in spots else None, "strip_head_right" if col == 1 else "strip_head")
    for i, line in enumerate(lines):
        for col in range(len(WIDTHS)):
            sheet.put(row + 3 + i, col, line[spots.index(col)] if col in spots else None, "cell_whole" if col == 1 else "strip_name")
    return row + 3 + len(lines)


def _said(day: int) -> str:
    return "" if day >= NO_DAY else day_in_words(day)


def _flushes(sheet: ResultSheet, view: View, ranked: Ranked, row: int) -> int:
    """One line a batch that has not borne yet, and window; or why no date can be given."""
    table = view.results.log_season
    found, (basis, bases), alive = batches(table, view.results.each_log), text_codes(table, "flush_basis"), numbers(table, "alive")
    waits = np.array([name != PICKED for name in bases], dtype=bool)[basis[found.place]]
    place, made, batch = found.place[waits], found.inoculated[waits], found.batch[waits]
    begins, ends = day_column(table, "flush_from")[place], day_column(table, "flush_to")[place]
    first, kind = alike(batch, begins, ends, basis[place])
    by_name = {batch: at for at, batch in enumerate(sorted(found.names))}
    order = np.lexsort((np.array([by_name[name] for name in found.names], dtype=np.int64)[batch], made))
    of_kind = np.split(order[np.argsort(kind[order], kind="stable")], np.cumsum(np.bincount(kind))[:-1]) if len(kind) else []
    turn = np.full(len(first), len(kind))
    np.minimum.at(turn, kind[order], np.arange(len(kind)))
    lines = []
    for at in np.argsort(turn).tolist():
        one, mine = first[at], place[of_kind[at]]
        why, logs = capital(bases[basis[place[one]]]), alive[mine].sum()
        words = f"by {bases[basis[place[one]]]}: " if begins[one] < NO_DAY else f"{why}: "
        lines.append((found.names[batch[one]], float(logs), _said(begins[one]) or "no date", _said(ends[one]),
                      words + said(ranked.spans(mine), len(mine), logs, NAMES)))
    if not lines:
        lines = [("none: every batch has been picked, or none is inoculated", None, None, None, None)]
    return _lines(sheet, row, "First mushrooms, by batch", "A window, never one day: some logs come early and some a year later.",
                  ("Batch", "Logs", "Not before", "Up to", "How it is known, and the logs"), lines)


def _groups(sheet: ResultSheet, view: View, ranked: Ranked, row: int) -> int:
    table, strip = view.results.log_season, view.results.season_strip
    group, alive, soaked = numbers(table, "group"), numbers(table, "alive"), day_column(table, "last_soak")
    rows = np.flatnonzero(~np.isnan(group) & (alive > 0))
    planned = strip[strip["mark"] == SOAK].groupby("group")["week"].min()
    known, of_group = distinct(group[rows].astype(np.int64))
    why, reasons = text_codes(table, "soak_why")
    lines = []
    for at, number in enumerate(known.tolist()):
        mine, name = rows[of_group == at], f"Group {number}"
        told = "" if name in planned else next((reasons[code] for code in why[mine].tolist() if reasons[code]), "")
        last, logs = soaked[mine], alive[mine].sum()
        lines.append((name, float(logs), f"{day_words(planned[name])}" if name in planned else "none in a year",
                      _said(last[last < NO_DAY].max(initial=-1)) if (last < NO_DAY).any() else "",
                      said(ranked.spans(mine), len(mine), logs, NAMES) + (f". {capital(told)}" if told else "")))
    if not lines:
        lines = [("no groups yet: no log is old enough, or none has a strain to soak", None, None, None, None)]
    return _lines(sheet, row, "Groups of the soaking rota", "Each group is soaked once in a turn of the rota and rests in between.",
                  ("Group", "Logs", "Next soak, week of", "Last soak", "Logs by name"), lines)

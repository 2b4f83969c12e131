"""A titled block of a result sheet: a section, a sentence, and a result table with its units."""
from __future__ import annotations

from calc.results import COLUMNS
from workbook_template.results import ResultSheet
from workbook_template.sheets.view import KIND_LOOKS, View

NOT_YET = "Filled by a refresh. Type your logs, then run a refresh (see Start)."
CHART_ROWS = 20  # rows kept free for charts above the tables
HEAD_ROWS = 3  # a block's section, sentence and column heads stand above its first row
TAKE_CARE = "Take care"  # title of the cautions at the foot of a sheet
BARE = ("share", "logs", "whole", "year")  # kinds whose heads need no unit


def day(date) -> str:
    return f"{date.day} {date:%b %Y}"


def block(sheet: ResultSheet, view: View, row: int, title: str, about: str, table: str, frame, columns, words: int | None = None,
          looks: dict | None = None) -> int:
    """Draw a block and return the row after it; the first row of the table is HEAD_ROWS below `row`.

    columns: (name of the result column, head); the name None leaves a column blank. words: the frame's column of words stands
    under each line, from this column on. looks: result column -> another look than its kind has.
    """
    sheet.section(row, title)
    sheet.put(row + 1, 0, about, "about")
    heads, values = [], []
    for name, head in columns:
        kind = COLUMNS[table][name][0] if name else "text"
        unit = view.unit(kind) if kind not in BARE else ""
        heads.append((f"{head} ({unit})" if unit else head, (looks or {}).get(name, KIND_LOOKS[kind])))
        values.append(view.column(frame[name], kind) if name else [None] * len(frame))
    if words is None:
        return sheet.table(row + 2, 0, heads, values)
    sheet.table(row + 2, 0, heads, [])
    at = row + HEAD_ROWS
    for i in range(len(frame)):
        for col, ((_, look), column) in enumerate(zip(heads, values, strict=True)):
            sheet.put(at, col, column[i], f"cell_{look}")
        sheet.put(at + 1, words, frame["words"].iloc[i], "label")
        at += 2
    return at


def capital(words: str) -> str:
    """A sentence's first letter as a capital."""
    return words[:1].upper() + words[1:]


def take_care(sheet: ResultSheet, row: int, every: tuple[str, ...]) -> int:
    """The cautions of the work that a sheet plans, from a row on. Returns the row after them."""
    sheet.section(row, TAKE_CARE)
    for i, words in enumerate(every):
        sheet.put(row + 1 + i, 0, words, "label")
    return row + 1 + len(every)

"""Tables of the sheets Partner and Keeping: columns of a result table with words that wrap in the last one."""
from __future__ import annotations

from calc.results import COLUMNS
from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import BARE, capital
from workbook_template.sheets.view import KIND_LOOKS, View

LINE = 13.0  # points of a line of text


def lines(sheet: ResultSheet, view: View, row: int, table: str, frame, columns, looks: dict | None = None) -> int:
    """Draw a header line at `row` and the frame below it; returns the row after it.

    columns: (name, head); a name None leaves the column blank; a column of words wraps, and its row grows with it.
    """
    heads, values = [], []
    for name, head in columns:
        kind = COLUMNS[table][name][0] if name in COLUMNS[table] else "text"
        unit = view.unit(kind) if kind not in BARE else ""
        look = "wrapped" if name == "words" else (looks or {}).get(name, KIND_LOOKS[kind])
        heads.append((f"{head} ({unit})" if unit else head, look))
        values.append(view.column(frame[name], kind) if name else [None] * len(frame))
        if name == "words":
            values[-1] = [capital(words or "") for words in values[-1]]
            room = sheet.widths[len(heads) - 1] * 1.3
            for i, words in enumerate(values[-1]):
                if len(words) > room:
                    sheet.heights[row + 1 + i] = LINE * (1 + len(words) // int(room)) + 2
    end = sheet.table(row, 0, heads, values)
    tall = max(len(head) / sheet.widths[i] for i, (head, _) in enumerate(heads))
    sheet.heights[row] = 15 if tall < 1 else 30 if tall < 1.9 else 43
    return end


def paragraph(sheet: ResultSheet, row: int, words: str, look: str = "label") -> int:
    """A sentence broken over as many rows as the sheet's width needs; returns the row after it."""
    room, line = int(sum(sheet.widths) * 1.25), ""
    for word in words.split():
        if len(line) + len(word) > room:
            sheet.put(row, 0, line, look)
            row, line = row + 1, ""
        line = f"{line} {word}".strip()
    sheet.put(row, 0, line, look)
    return row + 1

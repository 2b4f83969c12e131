"""What a grower typed on This week: read from the old sheet before it is written over, carried to the new one, never dropped.

A line is known by the mark in its last cell: a name for the line and one for its occasion (the day of the last water,
say). A note goes with the line whenever it comes again; a tick only while the occasion is the same, for next week's
watering is not done by last week's tick. What has no line now is listed under Kept from earlier until it is cleared.
"""
from __future__ import annotations

import datetime as dt
import hashlib
import re
from dataclasses import dataclass, field, replace

from calc.raw import Odd, number_text
from workbook_template.ports.layout import plain_title
from workbook_template.sheets.blocks import TAKE_CARE
from workbook_template.sheets.blocks import day as day_words

MARK = re.compile(r"k[0-9a-f]{6}\.[0-9a-f]{4}")
# (key, heading, width): Done and Your note are the grower's, the rest is ours.
COLUMNS = (("done", "Done", 7), ("what", "What", 13), ("logs", "Which logs", 22), ("place", "Where", 13), ("words", "Why", 44), ("rule", "Rule", 21),
           ("note", "Your note", 25), ("key", "Line", 9))
OURS = ("what", "logs", "place", "words", "rule", "key")
WHOLE = ("what", "words", "rule")  # what every line of ours holds
KEPT_SINCE = "kept since"
OWN_LINE = "a line of your own"
NO_VALUE = "(a formula without a value)"


@dataclass(frozen=True)
class Typed:
    """A tick, a note, and the line they stand beside: its mark and its words by column."""

    mark: str
    done: object = None
    note: object = None
    line: dict = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The part of the mark that stays from occasion to occasion."""
        return self.mark.partition(".")[0]


def mark(key: str, occasion: str) -> str:
    """The mark of a line."""
    return f"k{_short(key, 3)}.{_short(occasion, 2)}"


def _short(text: str, size: int) -> str:
    return hashlib.blake2b(text.encode(), digest_size=size).hexdigest()


def read(cells: dict[tuple[int, int], object]) -> list[Typed]:
    """Everything typed on an old This week sheet. cells: (row, column), 0-based -> value, as a port gives them.

    Lines may have been sorted, columns moved, added or renamed, headings or marks deleted: what stands beside a line in
    any column that is not ours is a note; what stands between the lines without a mark is a line of the grower's own.
    """
    rows: dict[int, dict[int, object]] = {}
    for (row, column), value in cells.items():
        value = _plain(value)
        if value is not None:
            rows.setdefault(row, {})[column] = value
    heads = {row: found for row, found in ((row, _headings(line)) for row, line in rows.items()) if found}
    first = min(heads, default=None)
    end = min((row for row, line in rows.items() if line.get(0) == TAKE_CARE), default=max(rows, default=0) + 1)
    typed = []
    for row in sorted(rows):
        if row in heads:
            continue
        above = max((head for head in heads if head < row), default=first)
        columns, names = heads[above] if above is not None else _DEFAULT
        found = _typed(rows[row], columns, names, first is not None and first < row < end)
        if found is not None and (first is not None and row > first or MARK.fullmatch(found.mark)):
            typed.append(found)
    return typed


_DEFAULT = ({i: key for i, (key, _, _) in enumerate(COLUMNS)}, {})
_TITLES = {plain_title(title): key for key, title, _ in COLUMNS}


def _plain(value):
    """A cell's value; None where there is nothing in it, an unticked box included."""
    if isinstance(value, Odd):
        value = NO_VALUE if value.kind == "formula" else str(value.value)
    if value is True:
        return "yes"
    return None if value is None or value is False or (isinstance(value, str) and not value.strip()) else value


def _headings(line: dict[int, object]):
    """(column -> key of ours, column -> the grower's own heading) where a row holds our headings, else None."""
    known = {column: _TITLES[plain_title(text)] for column, text in line.items() if isinstance(text, str) and plain_title(text) in _TITLES}
    if len(set(known.values())) < 4:
        return None
    seen: dict[int, str] = {}
    for column in sorted(known):
        if known[column] not in seen.values():
            seen[column] = known[column]
    return seen, {column: str(text).strip() for column, text in line.items() if column not in seen}


def _typed(line: dict, columns: dict, names: dict, inside: bool) -> Typed | None:
    """What stands in a row; None where nothing of the grower's does. inside: the row is one of the lines."""
    found = next((value for value in line.values() if isinstance(value, str) and MARK.fullmatch(value)), None)
    ours = {columns[c]: str(v) for c, v in line.items() if columns.get(c) in OURS and columns[c] != "key"}
    lost = inside and found is None and set(WHOLE) <= set(ours)  # a line of ours whose mark was deleted
    own = inside and found is None and not lost
    done = next((v for c, v in sorted(line.items()) if columns.get(c) == "done"), None) if found or inside else None
    skip = ("done", "key") if own else (*OURS, "done") if found or inside else tuple(columns.values())
    notes = [v if columns.get(c) is not None else _named(names.get(c), v) for c, v in sorted(line.items())
             if columns.get(c) not in skip and v != found]
    if done is None and not notes:
        return None
    if found:
        return Typed(found, done, joined(notes), ours)
    text = joined([done, *notes])
    beside = ours if lost else {"what": OWN_LINE} if own else {"what": OWN_LINE, "words": as_text(next(iter(line.values())))}
    return Typed(mark(f"{'lost/' + ours['what'] + ours['words'] if lost else 'own/' + as_text(text)}", ""), done, joined(notes), beside)


def _named(heading: str | None, value):
    return f"{heading}: {as_text(value)}" if heading else value


def as_text(value) -> str:
    """A value as it reads in a sentence."""
    if isinstance(value, (dt.date, dt.datetime)):
        return day_words(value)
    return number_text(float(value)) if isinstance(value, (int, float)) else str(value).strip()


def joined(values: list):
    """Several values as one text, each said once; one value alone stays what it is."""
    values = [value for value in values if value is not None]
    if len(values) < 2:
        return values[0] if values else None
    texts = list(dict.fromkeys(as_text(value) for value in values))
    return "; ".join(text for text in texts if not any(text != other and text in other.split("; ") for other in texts))


def carry(typed: list[Typed], marks: list[str], as_of: dt.date) -> tuple[dict[str, Typed], list[Typed]]:
    """(mark of a line that stands now -> what goes beside it, what is kept in its own list).

    marks: of the lines of the new sheet, each once.
    """
    now = {found.partition(".")[0]: found for found in marks}
    beside: dict[str, Typed] = {}
    kept: dict[str, Typed] = {}
    for one in typed:
        home = now.get(one.name)
        same = home == one.mark
        if home is not None and (one.note is not None or same):
            here = beside.get(home, Typed(home))
            beside[home] = replace(here, done=joined([here.done, one.done if same else None]), note=joined([here.note, one.note]))
        if home is None or (one.done is not None and not same):
            there = kept.get(one.mark, Typed(one.mark, line=_since(one.line, as_of)))
            kept[one.mark] = replace(there, done=joined([there.done, one.done]), note=joined([there.note, one.note if home is None else None]))
    return beside, list(kept.values())


def _since(line: dict, as_of: dt.date) -> dict:
    """The words of a line with the day from which it is kept, in the place of its rule."""
    rule = line.get("rule", "")
    return {**line, "rule": rule if rule.startswith(KEPT_SINCE) else f"{KEPT_SINCE} {day_words(as_of)}"}


def told(beside: dict[str, Typed], kept: list[Typed]) -> str:
    """A sentence on ticks and kept notes, "" where there are none."""
    ticked = sum(one.done is not None for one in beside.values())
    said = []
    if ticked:
        said.append(f"{ticked} line{'s are' if ticked > 1 else ' is'} ticked but still due by what is written down: write it on Events.")
    if kept:
        said.append(f"{len(kept)} tick{'s and notes' if len(kept) > 1 else ' or note'} kept from earlier: at the foot.")
    return " ".join(said)

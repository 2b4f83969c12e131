"""A grower's own sheet, read into rows of this workbook: which heading is which column, and what each cell then means.

Nothing is guessed in silence: a heading is taken where it is one of the known words (calc/data/heading_words.csv) or where the
grower named its column; every other one is offered. A row with a cell that cannot be read is left in a list with the reason.
"""
from __future__ import annotations

import datetime as dt
import difflib
import re
from collections import Counter
from dataclasses import dataclass, field

from calc import dates, intake_choices, quantities, tables, units
from calc.intake_words import ColumnInfo, quantity_of
from calc.merging import comparable, plain
from calc.problems import Ask, either, quote
from calc.raw import Odd
from workbook_template import schema
from workbook_template.columns import DATE, NUMBER, YESNO, Column
from workbook_template.ports.layout import plain_title
from workbook_template.ports.parts import column_letters
from workbook_template.typed_rows import TWICE

TABLES = ("logs", "events", "costs", "sales")
NOTES = {"logs": "note", "events": "event_note", "costs": "cost_note", "sales": "sale_note"}
# The columns without which a row says nothing.
WANTED = {"logs": ("log", "wood", "strain", "diameter", "length"), "events": ("date", "event", "log"), "costs": ("date", "item", "amount"),
          "sales": ("date", "market", "kind", "product", "amount")}
# Headings that are a column and say another column's word at once: "Picked (lb)" is the amount of a picked event.
SAYS = {("events", "picked"): ("amount", {"event": "picked"}), ("sales", "sold"): ("amount", {"kind": "sold"}),
        ("sales", "delivered"): ("amount", {"kind": "delivered"})}
SIZE = "size"  # one column with both sizes, "5 x 40 in"
HEADER_ROWS = 20
NEAR = 0.8
# What an amount is where it is no weight.
AMOUNTS = {"watered": "rain", "rain": "rain", "soaked": "hours", "retired": None, "lost": None, "sold as log": None, "paid": "money", "fee": "money",
           "correction": "money"}
LEFT_HEADINGS = ("Row there", "Why not")  # what a list of rows that were not imported adds; never a column to take
TOTAL = re.compile(r"^(?:grand |sub|year |season )?\W*totals?\b", re.I)


@dataclass(frozen=True)
class Match:
    """A heading of the old sheet. column: the column it becomes, SIZE for both sizes, "" none; near: a column it looks like."""

    heading: str
    at: int
    column: str = ""
    unit: str = ""
    says: tuple = ()  # ((column, word), ...): what the heading says of another column
    near: str = ""


@dataclass
class Matching:
    """Which heading is which column. header: 0-based row of the headings; missing: wanted columns that no heading is."""

    table: str
    header: int
    matches: list[Match]
    fixed: dict = field(default_factory=dict)

    @property
    def unknown(self) -> list[Match]:
        return [m for m in self.matches if not m.column]

    @property
    def missing(self) -> list[str]:
        known = {m.column for m in self.matches} | set(self.fixed) | {c for m in self.matches for c, _ in m.says}
        known |= {"diameter", "length"} if SIZE in known else set()
        return [c for c in WANTED[self.table] if c not in known]


@dataclass
class Rows:
    """What came of the rows. Each has its row in the old sheet (1-based): good rows, those left in a list with the reason, total rows."""

    good: list[tuple[int, dict]] = field(default_factory=list)
    bad: list[tuple[int, str]] = field(default_factory=list)
    totals: list[int] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


class Unclear(Exception):
    """The sheet cannot be matched as it is; the message says what to add."""


# ---- headings ----------------------------------------------------------------------------------------------------

def known_words(table: str) -> dict[str, str]:
    """Plain heading -> column of a table: its own titles, then the known words."""
    found = {plain_title(c.title): c.key for c in schema.table(table).typed_columns}
    for row in tables.rows("heading_words"):
        if row["table"] == table:
            found.setdefault(plain_title(row["word"]), row["column"])
    return found


def split_unit(heading: str) -> tuple[str, str]:
    """A heading and its unit: in brackets, after a comma, or as its last or first word.

    >>> split_unit("Length (ft)"), split_unit("Dia. cm"), split_unit("lbs picked"), split_unit("Spawn lot")
    (('Length', 'ft'), ('Dia.', 'cm'), ('lbs picked', 'lbs'), ('Spawn lot', ''))
    """
    text = " ".join(str(heading).split())
    found = re.search(r"[(\[]([^()\[\]]+)[)\]]\s*$|,\s*([^,]+)$", text)
    if found and units.find_unit((found[1] or found[2]).strip().lower()):
        return text[:found.start()].strip(), (found[1] or found[2]).strip()
    words = text.split(" ")
    if len(words) > 1 and units.find_unit(words[-1].lower()) and words[-1].lower() != "in":
        return " ".join(words[:-1]), words[-1]
    if len(words) == 2 and words[-1].lower() == "in" and words[0].lower().startswith(("dia", "len", "thick")):
        return words[0], words[-1]
    if units.find_unit(words[0].lower()) and words[0].lower() not in ("in", "no", "id"):
        return text, words[0]
    return text, ""


def match_headings(grid: list[list], table: str | None = None, named: dict[str, str] | None = None, fixed: dict | None = None) -> Matching:
    """Match the headings of a sheet. grid: rows of cells; table: where the rows shall go; named: heading -> column key or title, as the
    grower says ("" leaves it out); fixed: column -> a word for every row. Raises Unclear.
    """
    best = None
    for key in [table] if table else TABLES:
        words = known_words(key) | _said_words(key, named or {}, table is not None)
        for at, row in enumerate(grid[:HEADER_ROWS]):
            matches = _matches(row, key, words)
            filled = {m.column for m in matches if m.column} | {c for m in matches for c, _ in m.says}
            filled |= {"diameter", "length"} if SIZE in filled else set()
            score = len(filled) + sum(c in filled for c in WANTED[key]) - _figures(row)
            if best is None or score > best[0]:
                best = score, key, at, matches, [key]
            elif score == best[0] and key not in best[4]:
                best[4].append(key)
    if best is None or best[0] < 3:
        raise Unclear(_no_headings(grid))
    if len(best[4]) > 1:
        raise Unclear(f"The headings fit {either(schema.table(k).sheet for k in best[4])} alike. Say which: --into {best[4][0]}")
    _, key, at, matches, _ = best
    matches = _named(matches, key, named or {})
    found = Matching(key, at, matches, {_column(key, c): v for c, v in (fixed or {}).items()})
    twice = [c for c, n in Counter(m.column for m in matches if m.column).items() if n > 1]
    if twice:
        both = [m.heading for m in matches if m.column == twice[0]]
        raise Unclear(f"{either(map(quote, both))} both read as {title(key, twice[0])}. Leave one out: --map \"{both[-1]}=\"")
    return found


def _figures(row: list) -> int:
    """How many cells of a row are a number or a day: a row of headings has few, a row of the record has some."""
    return sum(not isinstance(cell, str) or re.fullmatch(r"[\d.,/ -]*\d[\d.,/ -]*", cell.strip()) is not None
               for cell in row if comparable(cell) is not None)


def _said_words(key: str, named: dict[str, str], sure: bool) -> dict[str, str]:
    """Plain heading -> column, as the grower says with --map. sure: the table is known, so a column it lacks is told; else it is passed over."""
    found = {}
    for heading, column in named.items():
        try:
            found[plain_title(heading)] = _column(key, column) if column else ""
        except Unclear:
            if sure:
                raise
    return found


def _no_headings(grid: list[list]) -> str:
    """What is told where no row of headings was found: what the first filled row holds, and how to name its columns."""
    first = next(([c for c in row if comparable(c) is not None] for row in grid if any(comparable(c) is not None for c in row)), None)
    if first is None:
        return "There is nothing in it: no row was found."
    texts = [" ".join(c.split()) for c in first if isinstance(c, str)]
    told = f" The first filled row holds {', '.join(map(quote, texts[:8]))}. " if len(texts) > 1 else " "
    say = f'If these are the headings, say what each is: --into events --map "{texts[0]}=Date" and so on. ' if len(texts) > 1 else ""
    return ("No row of headings was found: none of the first 20 rows names two columns that are known here." + told + say + "Or put a row of "
            "headings over the columns, such as Log, Wood, Strain, Diameter, Length, or Date, Event, Log, Amount.")


def _matches(row: list, key: str, words: dict[str, str]) -> list[Match]:
    found, worked_out = [], _worked_out(row, key)
    for at, cell in enumerate(row):
        if not isinstance(cell, str) or not cell.strip() or cell.strip() in LEFT_HEADINGS or plain_title(cell) in worked_out:
            continue
        heading = " ".join(cell.split())
        bare, unit = split_unit(heading)
        column = words.get(plain_title(heading)) or words.get(plain_title(bare), "")
        column, says = SAYS.get((key, column), (column, {}))
        close = [] if column else difflib.get_close_matches(plain_title(bare), words, 1, NEAR)
        near = words[close[0]] if close else ""
        found.append(Match(heading, at, column, unit, tuple(says.items()), SAYS.get((key, near), (near, {}))[0]))
    return found


def _worked_out(row: list, key: str) -> set[str]:
    """Headings of columns that are worked out live, where the sheet is one of a workbook made here: there is nothing to take over."""
    ours = {plain_title(c.title) for c in schema.table(key).columns if not c.typed}
    there = ours & {plain_title(cell) for cell in row if isinstance(cell, str)}
    return ours if len(there) >= 3 else set()


def _named(matches: list[Match], key: str, named: dict[str, str]) -> list[Match]:
    """The matches with what the grower said of single headings."""
    known = {plain_title(m.heading): m for m in matches}
    for heading, column in named.items():
        match = known.get(plain_title(heading))
        if match is None:
            raise Unclear(f"There is no heading {quote(heading)}. There are: {', '.join(m.heading for m in matches)}.")
        known[plain_title(heading)] = Match(match.heading, match.at, _column(key, column) if column else "", match.unit)
    return [known[plain_title(m.heading)] for m in matches]


def _column(key: str, name: str) -> str:
    table = schema.table(key)
    for column in table.typed_columns:
        if plain_title(name) in (plain_title(column.title), column.key):
            return column.key
    if key == "logs" and plain_title(name) == SIZE:
        return SIZE
    raise Unclear(f"{table.sheet} has no column {quote(name)}. It has: {', '.join(c.title for c in table.typed_columns)}.")


def title(key: str, column: str) -> str:
    return "Diameter and Length" if column == SIZE else schema.table(key).column(column).title


def lines(found: Matching, profile: str) -> list[str]:
    """The matching in words, a line for each heading."""
    told = []
    for match in found.matches:
        where = f"{column_letters(match.at)} {match.heading}"
        if not match.column:
            hint = f" (looks like {title(found.table, match.near)}: --map \"{match.heading}={title(found.table, match.near)}\")" if match.near else ""
            told.append(f"  {where:<32} not known{hint}")
            continue
        own = None if match.column == SIZE else schema.table(found.table).column(match.column).unit_name(profile)
        unit = units.find_unit(match.unit.lower()) if match.unit else None
        if match.column == "amount" and unit is not None and unit.dimension == "mass":
            own = units.profile_unit("weight", profile)
        turned = f", turned from {match.unit}" if unit is not None and own and unit != units.find_unit(own.lower()) else ""
        says = "".join(f", {title(found.table, c)} {quote(v)}" for c, v in match.says)
        told.append(f"  {where:<32} -> {title(found.table, match.column)}{f' ({own})' if own else ''}{turned}{says}")
    told += [f"  {'every row':<32} -> {title(found.table, c)} {quote(v)}" for c, v in found.fixed.items()]
    return told


# ---- rows --------------------------------------------------------------------------------------------------------

def read_rows(grid: list[list], found: Matching, profile: str, order: str | None, names: dict[str, list], into_note: bool = True) -> Rows:
    """The rows under the headings, in the workbook's units.

    order: of dates typed as text; names: list -> its entries, so that a word is written as it stands on Lists; into_note: unknown
    columns go into the note ("Heading: value"), else they stay behind.
    """
    rows, table = Rows(), schema.table(found.table)
    order, why = dates.column_order([c for m in found.matches if m.column and m.column != SIZE and table.column(m.column).kind == DATE
                                     for row in grid[found.header + 1:] if isinstance(c := _cell(row, m.at), str)], order)
    headings = [plain_title(h) if isinstance(h, str) else None for h in grid[found.header]]
    entries = {key: {tables.plain(str(entry)): str(entry) for entry in listed} for key, listed in names.items()}
    for at, cells in enumerate(grid[found.header + 1:], start=found.header + 2):
        if all(comparable(c) is None for c in cells):
            continue
        texts = [c for c in cells if isinstance(c, str) and c.strip()]
        if any(TOTAL.match(t.strip()) for t in texts[:2]):
            rows.totals.append(at)
            continue
        if len(texts) >= 2 and _again(cells, headings):
            continue
        reading = _Reading(profile, order, why, entries)
        row, faults = _row(cells, found, reading, into_note)
        if faults:
            rows.bad.append((at, "; ".join(faults)))
        elif any(comparable(v) is not None for c, v in row.items() if c not in found.fixed):
            rows.good.append((at, row))
    return rows


def _again(cells: list, headings: list) -> bool:
    """Whether a row is the headings again, as on a second page: each of its cells stands under the heading that it says."""
    return all(isinstance(cell, str) and plain_title(cell) == heading
               for cell, heading in zip(cells, headings, strict=False) if comparable(cell) is not None) and not any(
                   comparable(cell) is not None for cell in cells[len(headings):])


def _cell(row: list, at: int):
    return row[at] if at < len(row) else None


@dataclass
class _Reading:
    """What every row is read by. entries: list -> plain spelling -> entry."""

    profile: str
    order: str | None
    why: str | None
    entries: dict[str, dict[str, str]]


def _row(cells: list, found: Matching, reading: _Reading, into_note: bool) -> tuple[dict, list[str]]:
    row, faults, aside = dict(found.fixed), [], []
    for match in sorted(found.matches, key=lambda m: m.column == "amount"):  # what an amount is depends on the event
        value = _cell(cells, match.at)
        if comparable(value) is None:
            continue
        if isinstance(value, Odd):
            faults.append(f"{match.heading}: {quote(value.value)} is an error value")
        elif not match.column:
            aside.append(f"{match.heading}: {_text(value)}")
        elif match.column == SIZE:
            _both_sizes(match, value, row, faults, reading.profile)
        else:
            row.update({c: v for c, v in match.says if c not in row})
            read = _read(schema.table(found.table).column(match.column), match.unit, value, reading, row)
            if isinstance(read, Ask):
                faults.append(f"{match.heading}: {quote(_text(value))} {read.question}")
            else:
                row[match.column] = read
    if into_note and aside:
        note = NOTES[found.table]
        row[note] = "; ".join([*([str(row[note])] if row.get(note) else []), *aside])
    return row, faults


def _both_sizes(match: Match, value, row: dict, faults: list, profile: str) -> None:
    text = _text(value)
    if match.unit and not re.search(r"[a-z'\"]", quantities.normal(text).replace("x", "")):
        text = f"{text} {match.unit}"
    read = quantities.read_two_sizes(text, profile)
    if isinstance(read, Ask):
        faults.append(f"{match.heading}: {quote(text)} {read.question}")
        return
    for column, size in zip(("diameter", "length"), read, strict=True):
        row[column] = _clean(size.value_si / units.factor(column, profile))


def _text(value) -> str:
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d}"
    return quantities.format_number(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value).strip()


def _clean(value: float) -> float:
    """A number without the noise of a unit's factor."""
    return float(f"{value:.10g}")


def _read(column: Column, unit: str, value, reading: _Reading, row: dict):
    """What a cell means in a column: a value that can be typed, or Ask. row: the cells read before it."""
    if column.kind == DATE:
        return _date(value, reading)
    if column.kind == NUMBER:
        return _number(unit, value, _quantity(column, reading, row), reading.profile)
    text = _text(value)
    if isinstance(value, dt.datetime):
        return Ask("is a date where a name or word is wanted")
    if column.kind == YESNO:
        known = {"yes": "yes", "no": "no", "y": "yes", "n": "no", "true": "yes", "false": "no", "x": "yes", "1": "yes", "0": "no"}
        return known.get(text.casefold(), text)
    entries = reading.entries.get(column.list or "", {})
    bare = tables.plain(text)
    meant = entries.get(bare) or entries.get(intake_choices.other_words(column.list or "").get(bare, ""))
    return meant or text


def _date(value, reading: _Reading):
    if isinstance(value, (dt.datetime, dt.date)):
        return value
    if isinstance(value, bool):
        return Ask("is not a date")
    if isinstance(value, (int, float)):
        read = dates.serial_read(float(value))
    else:
        read = dates.read_date(value, reading.order)
        if isinstance(read, Ask) and reading.why and len(read.offers) > 1:
            return Ask(f"{read.question}: {reading.why}")
    return read if isinstance(read, Ask) else dt.datetime.combine(read.day, dt.time())


def _quantity(column: Column, reading: _Reading, row: dict) -> str | None:
    """The kind of quantity of a number column; an amount's depends on the event or the kind of sale."""
    if column.key == "amount" and column.quantity is None:
        word = str(row.get("event") or row.get("kind") or "").casefold()
        return AMOUNTS.get(word, "weight")
    return quantity_of(ColumnInfo(column.key, column.title, column.kind, column.quantity, column.unit_name(reading.profile), column.list))


def _number(unit: str, value, quantity: str | None, profile: str):
    if isinstance(value, dt.datetime):
        return Ask(f"is a date ({value:%d %b %Y}) where a number is wanted")
    if isinstance(value, bool):
        return Ask("is not a number")
    if isinstance(value, (int, float)):
        if not unit or quantity not in quantities.DIMENSIONS:
            return float(value)
        value = f"{value!r} {unit}"
    elif unit and quantity in quantities.DIMENSIONS and re.fullmatch(r"[\d.,/ ½¼¾-]+", value.strip()):
        value = f"{value.strip()} {unit}"
    read = quantities.read_quantity(value, quantity, profile)
    if isinstance(read, Ask):
        return read
    if quantity in quantities.DIMENSIONS:
        return _clean(read.value_si / units.factor(quantity, profile))
    if quantity == "money per weight":
        return _clean(read.value_si * units.factor("weight", profile))
    if quantity == "temperature" and profile == units.US:
        return _clean(units.fahrenheit_from_celsius(read.value_si))
    return _clean(read.value_si)


# ---- what is there already ------------------------------------------------------------------------------------------

def doubles(table: str, rows: list[tuple[int, dict]], there: list[dict]) -> set[int]:
    """Rows (of the old sheet) that stand in the workbook already: same day, log, amount and so on, as often as it stands there."""
    def mark(cells: dict):
        values = [comparable(plain(cells.get(c))) for c in TWICE[table]]
        return tuple(v.casefold() if isinstance(v, str) else v for v in values)

    known, found = Counter(mark(row) for row in there), set()
    for at, row in rows:
        if known[mark(row)] > 0:
            known[mark(row)] -= 1
            found.add(at)
    return found

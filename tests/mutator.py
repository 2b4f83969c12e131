"""Damages a sound workbook in the ways that growers, programs and pasted lists do; from a seed, so that every fault can be had again.

A book is {table: list of rows}, a row {column: cell}, a cell what a spreadsheet holds: str, float, datetime, bool, None for
nothing, Odd for an error value or a formula without a value. `damage` returns the book and which rows it touched. The ways are
those of the section "Problems" of the design and more; each is a function in WAYS.
"""
from __future__ import annotations

import copy
import datetime as dt
import random
from dataclasses import dataclass, field

from calc.raw import Odd

LOGS, EVENTS, COSTS, SALES, PROMISES = "logs", "events", "costs", "sales", "promises"
NUMBERS = {LOGS: ("diameter", "length", "large_end", "count", "hole_spacing", "row_spacing", "holes_drilled", "sample_weight", "start_moisture"),
           EVENTS: ("amount", "minutes", "dried_out"), COSTS: ("amount", "life_years", "salvage"), SALES: ("amount", "price"),
           PROMISES: ("asked", "promised", "ordered")}
DATES = {LOGS: ("inoculated", "felled"), EVENTS: ("date",), COSTS: ("date",), SALES: ("date",), PROMISES: ("promise_week",)}
TEXTS = {LOGS: ("log", "wood", "strain", "spawn_form", "place", "source", "note", "ends_waxed", "spawn_lot"),
         EVENTS: ("event", "log", "event_note", "who", "grade", "picked_wet", "lot", "tank"), COSTS: ("item", "category", "for_logs", "cost_note"),
         SALES: ("market", "kind", "product", "grade", "lot", "docket", "sale_note"), PROMISES: ("promise_market", "promise_product", "promise_note")}
MAIN = {LOGS: "diameter", EVENTS: "amount", COSTS: "amount", SALES: "amount", PROMISES: "asked"}

WORDS = ("lots", "about 3 lb", "none", "-", "n/a", "??", "~3", "3?", "2-3 lb", "see book", "5-6", "#", "1.5#", "1 lb 4 oz", "12 oz",
         "500 g", "1,5 kg",
         "1,5", "1,200", "1.200,5", "4'2\"", "4 ft", "3½'", "40\"", "100cm", "1,2 m", "５", "4 x 40", "5 x 40 in", "l2", "1O", "NaN", "inf",
         "1e400", "--4",
         "4..5", " 7 ", "\u00a07\u00a0", "7\u200b", "0x10", "٣", "½", "1/0", "5/16", "€5", "$5.00", "5 USD", "(5)", "5-", "'5", "five", "TRUE", "yes")
DAYS = ("2026-05-01", "4/5/26", "13/4/26", "4/13/26", "13.04.2026", "5 Apr 26", "April 5", "05042026", "20260405", "31/2/2026", "0/0/0", "2026-13-45",
        "yesterday", "spring", "5/2026", "1 Mai 2026", "2026-05-01T18:00", "9999-12-31", "1/1/1900", "1 Mar 26 or 27", "Easter")
NAMES = ("A1-A5", "A5-A1", "A1, A3", "A1:A4", "A1 A2", "a 1", "A01", "all", "all oak", "North stack", "north stck", "X99", "A1-X9", "MAR1",
         "1E5", "10-2",
         "007", "A999999999999", "A1-A9999999", ",", "A1,,A2", "A1-", "-A1", "B-B", "2024", "white oak", "A1;A2", "A1 & A2", "A1+A2",
         "logs by the road",
         "A" * 300, "", " ")
NASTY = ("=1+1", "+SUM(A1)", "-2+3", "@x", "=HYPERLINK(\"http://example.org\")", "=cmd|' /C calc'!A0", "\t=1+1", "<b>&amp;\"'", "]]>",
         "_x0041_", "a\nb", "\u202eabc",
         "\ufeff", "🍄" * 20, "x" * 5000, "\u0000x", "\u000b", "é\u0301", "%s%n{0}{row}", "'; drop table logs; --", "../../etc/passwd",
         "\\\\server\\x", "𝟙𝟚",
         "TOTAL", "Totals:", "sum", "Date", "Log", "Amount, see Lists")
HUGE = (0.0, -1.0, -0.5, 1e9, 1e15, 1e300, -1e300, 1e-300, 46000.0, 3.5, 1000000.5, 0.1 + 0.2, 255.0, 2.0**53)
ODDS = (Odd("error", "#REF!"), Odd("error", "#DIV/0!"), Odd("error", "#N/A"), Odd("error", "#VALUE!"), Odd("formula", ""), True, False)
MOMENTS = (dt.datetime(2026, 5, 16), dt.datetime(2024, 1, 1), dt.datetime(2072, 3, 4), dt.datetime(1985, 1, 1), dt.datetime(1900, 1, 3),
           dt.datetime(2026, 4, 5, 18, 30), dt.datetime(9999, 12, 31), dt.datetime(2027, 1, 1))


@dataclass
class Damaged:
    """A damaged book: touched rows by table (positions in the new lists), rows put in by the damage, what was done."""

    book: dict[str, list[dict]]
    touched: dict[str, set[int]] = field(default_factory=dict)
    origin: dict[str, list[int | None]] = field(default_factory=dict)  # new position -> position in the sound book
    done: list[str] = field(default_factory=list)
    lists: bool = False  # something on Lists was damaged, which may change any row
    merged: dict[str, list[tuple[int, int, str]]] = field(default_factory=dict)  # first row, last row, column

    def touch(self, table: str, *rows: int) -> None:
        self.touched.setdefault(table, set()).update(rows)


def damage(book: dict, seed: int, most: int = 6) -> Damaged:
    """A copy of the book with 1 to `most` damages, all from the seed."""
    chance = random.Random(seed)
    bad = Damaged(copy.deepcopy(book), origin={table: list(range(len(rows))) for table, rows in book.items()})
    for _ in range(chance.randint(1, most)):
        way = chance.choice(WAYS)
        way(bad, chance)
        bad.done.append(way.__name__)
    return bad


def _somewhere(bad: Damaged, chance, columns: dict) -> tuple[str, int, str] | None:
    table = chance.choice([t for t in (LOGS, EVENTS, COSTS, SALES, PROMISES) if bad.book.get(t)])
    return table, chance.randrange(len(bad.book[table])), chance.choice(columns[table])


def _put(bad: Damaged, table: str, row: int, column: str, cell) -> None:
    bad.book[table][row][column] = cell
    bad.touch(table, row)


# ---- single cells ------------------------------------------------------------------------------------------------------------

def text_in_number(bad, chance):
    _put(bad, *_somewhere(bad, chance, NUMBERS), chance.choice(WORDS))


def text_in_main_number(bad, chance):
    table, row, _ = _somewhere(bad, chance, NUMBERS)
    _put(bad, table, row, MAIN[table], chance.choice(WORDS))


def text_in_date(bad, chance):
    _put(bad, *_somewhere(bad, chance, DATES), chance.choice(DAYS + WORDS))


def number_in_date(bad, chance):
    _put(bad, *_somewhere(bad, chance, DATES), chance.choice((46117.0, 46117.75, 20260405.0, 5.0, -3.0, 1e9, 44655.0)))


def date_in_number(bad, chance):
    _put(bad, *_somewhere(bad, chance, NUMBERS), chance.choice(MOMENTS))


def date_in_text(bad, chance):
    _put(bad, *_somewhere(bad, chance, TEXTS), chance.choice(MOMENTS))


def odd_date(bad, chance):
    _put(bad, *_somewhere(bad, chance, DATES), chance.choice(MOMENTS))


def odd_number(bad, chance):
    _put(bad, *_somewhere(bad, chance, NUMBERS), chance.choice(HUGE))


def number_in_text(bad, chance):
    _put(bad, *_somewhere(bad, chance, TEXTS), chance.choice(HUGE + (1.0, 7.0, 12.5)))


def error_or_bool(bad, chance):
    _put(bad, *_somewhere(bad, chance, chance.choice((NUMBERS, DATES, TEXTS))), chance.choice(ODDS))


def nasty_text(bad, chance):
    _put(bad, *_somewhere(bad, chance, chance.choice((TEXTS, TEXTS, NUMBERS, DATES))), chance.choice(NASTY))


def names_of_logs(bad, chance):
    table, column = chance.choice(((EVENTS, "log"), (EVENTS, "log"), (COSTS, "for_logs"), (LOGS, "log")))
    _put(bad, table, chance.randrange(len(bad.book[table])), column, chance.choice(NAMES))


def misspelt(bad, chance):
    """A letter doubled, dropped or changed over, other case, spaces at the ends."""
    table, row, column = _somewhere(bad, chance, TEXTS)
    text = bad.book[table][row].get(column)
    if isinstance(text, str) and text:
        at = chance.randrange(len(text))
        _put(bad, table, row, column, chance.choice((text[:at] + text[at] + text[at:], text[:at] + text[at + 1:], text.upper(),
            f"  {text}\u00a0", text + "?",
                                                     text[:at] + text[at:][::-1])))


def cleared(bad, chance):
    _put(bad, *_somewhere(bad, chance, chance.choice((NUMBERS, DATES, TEXTS))), None)


def unit_change(bad, chance):
    """From one row on, weights or sizes in another unit."""
    table, row, _ = _somewhere(bad, chance, NUMBERS)
    for i in range(row, len(bad.book[table])):
        if isinstance(bad.book[table][i].get(MAIN[table]), float):
            _put(bad, table, i, MAIN[table], bad.book[table][i][MAIN[table]] * chance.choice((0.4536, 2.54, 16.0)))


# ---- rows and columns --------------------------------------------------------------------------------------------------------

def _insert(bad, chance, row: dict, table: str | None = None) -> None:
    table = table or chance.choice([t for t in (LOGS, EVENTS, COSTS, SALES) if bad.book.get(t)])
    at = chance.randint(0, len(bad.book[table]))
    bad.book[table].insert(at, row)
    bad.origin[table].insert(at, None)
    bad.touched[table] = {i + (i >= at) for i in bad.touched.get(table, set())} | {at}
    bad.merged[table] = [(a + (a >= at), b + (b >= at), c) for a, b, c in bad.merged.get(table, [])]


def blank_row(bad, chance):
    _insert(bad, chance, {})


def note_row(bad, chance):
    table, note = chance.choice(((LOGS, "note"), (EVENTS, "event_note"), (COSTS, "cost_note"), (SALES, "sale_note")))
    _insert(bad, chance, {note: "a note to myself"}, table)


def total_row(bad, chance):
    table, column = chance.choice(((LOGS, "log"), (EVENTS, "log"), (COSTS, "item"), (SALES, "market")))
    _insert(bad, chance, {column: chance.choice(("TOTAL", "total:", "Sum")), MAIN[table]: 99.0}, table)


def header_row(bad, chance):
    table = chance.choice((LOGS, EVENTS, COSTS, SALES))
    _insert(bad, chance, {LOGS: {"log": "Log", "wood": "Wood", "diameter": "Diameter (in)"}, EVENTS: {"date": "Date", "event": "Event", "log": "Log"},
                          COSTS: {"date": "Date", "item": "Item", "amount": "Amount"}, SALES: {"date": "Date", "market": "Market",
                          "kind": "Kind"}}[table], table)


def doubled_row(bad, chance):
    table, row, _ = _somewhere(bad, chance, NUMBERS)
    bad.touch(table, row)
    _insert(bad, chance, dict(bad.book[table][row]), table)


def doubled_name(bad, chance):
    logs = bad.book[LOGS]
    row, other = chance.sample(range(len(logs)), 2)
    bad.touch(LOGS, other)
    _put(bad, LOGS, row, "log", logs[other].get("log"))


def shifted_row(bad, chance):
    """A row pasted one column to the right."""
    table, row, _ = _somewhere(bad, chance, NUMBERS)
    cells = bad.book[table][row]
    keys = list(bad.book[table][0])
    bad.book[table][row] = {key: cells.get(before) for before, key in zip(keys, keys[1:], strict=False)}
    bad.touch(table, row)


def column_sorted_alone(bad, chance):
    """One column sorted without the others."""
    table, _, column = _somewhere(bad, chance, chance.choice((NUMBERS, DATES)))
    rows = bad.book[table]
    held = [row.get(column) for row in rows]
    values = sorted((v for v in held if type(v) is float), reverse=chance.random() < 0.5) if column in NUMBERS[table] else \
        sorted((v for v in held if isinstance(v, dt.datetime)), reverse=True)
    spots = [i for i, v in enumerate(held) if (type(v) is float if column in NUMBERS[table] else isinstance(v, dt.datetime))]
    for i, value in zip(spots, values, strict=True):
        if rows[i][column] != value:
            _put(bad, table, i, column, value)


def columns_changed_over(bad, chance):
    table, _, _ = _somewhere(bad, chance, NUMBERS)
    first, second = chance.sample(NUMBERS[table] + DATES[table] + TEXTS[table][:3], 2)
    for i, row in enumerate(bad.book[table]):
        row[first], row[second] = row.get(second), row.get(first)
        bad.touch(table, i)


def dates_as_text(bad, chance):
    """A column of dates pasted as text from a place with the other order; days up to 12 turned into dates with day and month swapped."""
    table = chance.choice((EVENTS, COSTS, SALES))
    for i, row in enumerate(bad.book[table]):
        day = row.get(DATES[table][0])
        if isinstance(day, dt.datetime):
            swapped = day.replace(month=day.day, day=day.month) if day.day <= 12 else f"{day.day}/{day.month}/{day.year}"
            _put(bad, table, i, DATES[table][0], swapped)


def dropped_row(bad, chance):
    table, row, _ = _somewhere(bad, chance, NUMBERS)
    bad.touch(table, row)
    bad.book[table][row] = {}


def merged_cells(bad, chance):
    table, row, column = _somewhere(bad, chance, chance.choice((NUMBERS, TEXTS)))
    last = min(row + chance.randint(1, 3), len(bad.book[table]) - 1)
    bad.merged.setdefault(table, []).append((row, last, column))
    for i in range(row + 1, last + 1):
        bad.book[table][i][column] = bad.book[table][row].get(column)
    bad.touch(table, *range(row, last + 1))


# ---- Lists -------------------------------------------------------------------------------------------------------------------

def list_damage(bad, chance):
    """A cell of Lists overwritten or cleared, a row doubled or gone."""
    table = chance.choice([t for t in bad.book if t not in (LOGS, EVENTS, COSTS, SALES, PROMISES) and bad.book[t]])
    rows = bad.book[table]
    row, bad.lists = chance.randrange(len(rows)), True
    what = chance.random()
    if what < 0.1:
        rows.append(dict(rows[row]))
    elif what < 0.2:
        rows[row].clear()
    elif rows[row]:
        rows[row][chance.choice(list(rows[row]))] = chance.choice((None, *WORDS, *HUGE, *NASTY, *ODDS, *MOMENTS))


def list_gone(bad, chance):
    bad.lists = True
    bad.book[chance.choice([t for t in bad.book if t not in (LOGS, EVENTS, COSTS, SALES, PROMISES)])].clear()


WAYS = (text_in_number, text_in_main_number, text_in_date, number_in_date, date_in_number, date_in_text, odd_date, odd_number,
        number_in_text, error_or_bool,
        nasty_text, nasty_text, names_of_logs, names_of_logs, misspelt, cleared, unit_change, blank_row, note_row, total_row, header_row, doubled_row,
        doubled_name, shifted_row, column_sorted_alone, columns_changed_over, dates_as_text, dropped_row, merged_cells, list_damage,
        list_damage, list_gone)

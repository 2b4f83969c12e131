"""Reads a sheet that came back from a market: by its stamp, headings and row keys, wherever they stand now.

Rows may have been sorted, columns moved, rows added at the end, the sheet renamed. Only the columns that the market
fills are read. The file is a stranger's: it is looked at before it is parsed, and no more of it is read than a sheet
of ours can hold.
"""
from __future__ import annotations

import datetime as dt
import os
import zipfile
from dataclasses import dataclass, field

from calc import dates
from calc.intake_words import Context, date_in_number
from calc.problems import NOTE, QUESTION, REFUSED, Ask, Problem, quote, type_one
from calc.quantities import read_quantity
from calc.raw import Odd, number_text
from workbook_template.market_copy import BLOCKS, FILLED_WORD, SPARE_FILLED, Field
from workbook_template.ports.cells import cell_value, iter_cells, read_chunks
from workbook_template.ports.layout import plain_title
from workbook_template.ports.parts import CHARTSHEET, Book, SharedStrings, read_book, read_date_styles
from workbook_template.ports.preflight import FileProblem, check_file, damage_named
from workbook_template.sent import STAMP

MOST_BYTES, MOST_CELLS = 50_000_000, 200_000  # unpacked; one of our sheets has some 40,000 bytes and 600 cells
LONGEST_REMARK = 500
BIGGEST = 1e6  # weight or price beyond any market
FILLED = {f.key for block in BLOCKS.values() for f in block if f.filled}
NUMBERS = {f.key: f.kind for block in BLOCKS.values() for f in block if f.filled and f.kind in ("weight", "money")}
TITLES = {f.key: f.title for block in BLOCKS.values() for f in block if f.title}


@dataclass
class Line:
    """One row of a block as it came back: its row key as typed ("" if blank), where it stands, cells by field."""

    key: str
    block: str
    sheet: str
    row: int
    cells: dict[str, object] = field(default_factory=dict)
    values: dict[str, object] = field(default_factory=dict)  # understood: numbers in the workbook's units, remark as text
    told: set[str] = field(default_factory=set)  # the fields that this row tells, be it by a blank cell

    @property
    def filled(self) -> bool:
        return any(self.cells.get(k) is not None for k in FILLED)


@dataclass
class Returned:
    """A sheet that came back. stamp: (yard, token); title: the market it names; filled_on: the day it says, or None."""

    name: str
    stamp: tuple[str, str] | None
    title: str = ""
    filled_on: object = None
    lines: list[Line] = field(default_factory=list)
    headings: dict[str, set[str]] = field(default_factory=dict)  # block -> fields whose heading is there once
    problems: list[Problem] = field(default_factory=list)


def read_returned(path) -> Returned:
    """Everything a returned sheet says, nothing understood yet. Raises FileProblem for a file that cannot be read safely."""
    name = os.path.basename(os.fspath(path))
    check_file(path)
    with damage_named(path, ValueError), zipfile.ZipFile(path) as archive:
        if sum(entry.file_size for entry in archive.infolist()) > MOST_BYTES:
            raise FileProblem(f"{name} is far larger than a market sheet. It was not opened; ask for a fresh copy.")
        book = read_book(archive)
        sheets = {part.name: _cells(path, archive, book, part, name) for part in book.sheets if part.state != CHARTSHEET}
    back = Returned(name, _stamp(sheets, name))
    for sheet, rows in sheets.items():
        _read_sheet(back, sheet, rows)
    return back


def _cells(path, archive, book: Book, part, name: str) -> dict[int, dict[int, object]]:
    """Row (1-based) -> column (0-based) -> value of the filled cells."""
    styles, strings = read_date_styles(archive, book), SharedStrings(path, book.strings_part)
    rows: dict[int, dict[int, object]] = {}
    count = 0
    with archive.open(part.part) as stream:
        for cell in iter_cells(read_chunks(stream)):
            value = Odd("formula", "") if cell.uncomputed else cell_value(cell, strings, styles, book.date1904)
            if value is None or (isinstance(value, str) and not value.strip()):
                continue
            count += 1
            if count > MOST_CELLS:
                raise FileProblem(f"{name} holds far more cells than a market sheet. It was not read; ask for a fresh copy.")
            rows.setdefault(cell.row + 1, {})[cell.column] = value
    return rows


def _stamp(sheets, name: str) -> tuple[str, str] | None:
    found = {match.groups() for rows in sheets.values() for cells in rows.values() for value in cells.values()
             if isinstance(value, str) for match in STAMP.finditer(value)}
    if len(found) > 1:
        raise FileProblem(f"{name} holds {len(found)} market sheets with different stamps. Save each in a file of its own, then try again.")
    return next(iter(found), None)


def _read_sheet(back: Returned, sheet: str, rows) -> None:
    header: dict[str, int] = {}
    block = ""
    for row in sorted(rows):
        cells = rows[row]
        found = _header(cells)
        if found:
            block, header = found
            _twice(back, sheet, row, block, cells)
            header = {key: at for key, at in header.items() if at is not None}
            back.headings.setdefault(block, set()).update(header)
            continue
        _loose(back, cells)
        if not block or block == "lots":
            continue
        key = _key(cells.get(header["row"]))
        held = {f.key: cells[header[f.key]] for f in BLOCKS[block] if f.key in header and f.key != "row" and header[f.key] in cells}
        line = Line(key, block, sheet, row, held, told={f.key for f in BLOCKS[block] if f.filled and f.key in header})
        if line.filled or key:
            back.lines.append(line)


def _key(value) -> str:
    return number_text(value) if isinstance(value, float) else str(value).strip() if isinstance(value, str) else ""


def _header(cells) -> tuple[str, dict[str, int | None]] | None:
    """(block, field -> column, None where a heading is there twice) if these cells are a block's headings."""
    plain = {at: plain_title(text) for at, text in cells.items() if isinstance(text, str)}
    if plain_title("Row") not in plain.values():
        return None
    best = None
    for block, fields in BLOCKS.items():
        titles = {plain_title(f.title): f.key for f in fields if f.title}
        places: dict[str, list[int]] = {}
        for at, text in plain.items():
            if text in titles:
                places.setdefault(titles[text], []).append(at)
        if len(places) >= 3 and (best is None or len(places) > len(best[1])):
            best = block, places
    if best is None:
        return None
    block, places = best
    return block, {key: found[0] if len(found) == 1 else None for key, found in places.items()}


def _twice(back: Returned, sheet: str, row: int, block: str, cells) -> None:
    """What is said of headings that are there twice, or no more."""
    fields: dict[str, Field] = {f.key: f for f in BLOCKS[block] if f.title}
    plain = [plain_title(text) for text in cells.values() if isinstance(text, str)]
    for f in fields.values():
        count = plain.count(plain_title(f.title))
        if count > 1 and (f.filled or f.key == "row"):
            if f.key == "row":
                raise FileProblem(f"{back.name}, sheet {sheet}: the heading Row is there twice in row {row}. Take the one that was added away.")
            back.problems.append(Problem(sheet, row, f.title, REFUSED, "this heading is there twice", "", "Nothing was read from either column",
                                         "twice"))


def _loose(back: Returned, cells) -> None:
    """The title and the day filled in, from the lines above the blocks."""
    for at in sorted(cells):
        text = cells[at]
        if isinstance(text, str) and text.startswith("Market sheet for "):
            back.title = text.removeprefix("Market sheet for ").strip()
        if isinstance(text, str) and plain_title(text) == plain_title(FILLED_WORD):
            near = [cells[c] for c in range(at + 1, at + 4) if c in cells]
            back.filled_on = near[0] if near and not (isinstance(near[0], str) and STAMP.search(near[0])) else None


# ---- understanding -------------------------------------------------------------------------------------------------

def understand(back: Returned, context: Context) -> None:
    """Fill in every line's values; what cannot be understood is a problem of that row, and the rest stands."""
    for line in back.lines:
        for key, value in line.cells.items():
            if key in NUMBERS:
                number = _number(back, line, key, value, context)
                if number is None:
                    line.told.discard(key)
                else:
                    line.values[key] = number
            elif key == "remark" and isinstance(value, Odd):
                back.problems.append(Problem(line.sheet, line.row, "Remark", QUESTION, "a formula or an error value stands here", "",
                                             "It was not read; ask what was meant", "returned"))
                line.told.discard(key)
            elif key == "remark":
                line.values[key] = _text(value)[:LONGEST_REMARK]
            elif key in SPARE_FILLED:
                line.values[key] = day_of(value, context) if key == "when" else _text(value)


def _text(value) -> str:
    if isinstance(value, Odd):
        return str(value.value)
    if isinstance(value, dt.datetime):
        return dates.words(value.date())
    if isinstance(value, bool):
        return str(value).upper()
    return number_text(value) if isinstance(value, float) else str(value).strip()


def day_of(value, context: Context) -> dt.date | None:
    """The day a cell means, None where it is blank or not to be understood."""
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, str):
        found = dates.read_date(value, context.date_order, context.as_of.year)
        return None if isinstance(found, Ask) else found.day
    if isinstance(value, float):
        found = dates.serial_read(value, context.as_of)
        return None if isinstance(found, Ask) else found.day
    return None


def _number(back: Returned, line: Line, key: str, value, context: Context) -> float | None:
    """The number in the workbook's unit; None with a problem said."""
    quantity = "weight" if NUMBERS[key] == "weight" else "money per weight"
    need = f"a plain number{' in ' + context.unit('weight') if quantity == 'weight' else ''}"

    def say(level: str, found: str, do: str) -> None:
        back.problems.append(Problem(line.sheet, line.row, TITLES[key], level, found, need if level == REFUSED else "", do, "returned"))

    elsewhere = f"Ask what was meant, and type it on {'Promises' if key == 'wish' else 'Sales'}"
    number, note = None, ""
    if isinstance(value, float):
        number = value
    elif isinstance(value, str):
        read = read_quantity(value, quantity, context.profile, context.comma_decimal)
        if isinstance(read, Ask):
            say(REFUSED, f"{quote(value)} {read.question}", type_one(read.offers) or elsewhere)
            return None
        number, note = read.value_si / context.factor(quantity), read.note or ""
        if note:
            say(NOTE, f"{quote(value)} was read as {number:g} ({note})", "")
    elif isinstance(value, dt.datetime):
        found, do = date_in_number(value, context, lambda n: 0 <= n <= BIGGEST)
        say(REFUSED, found, do)
        return None
    else:
        shown = "a formula without a value" if isinstance(value, Odd) and value.kind == "formula" else quote(_text(value))
        say(REFUSED, f"{shown} is not a number", elsewhere)
        return None
    number = round(number, 9)
    if number < 0:
        say(REFUSED, f"{number:g} is below 0", elsewhere)
        return None
    if number > BIGGEST:
        say(REFUSED, f"{number:g} is beyond reason", elsewhere)
        return None
    return number


__all__ = ["Line", "Returned", "day_of", "read_returned", "understand"]

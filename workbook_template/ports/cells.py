"""Exact cell reading, one by one: every cell with its true type, for headings and single-cell sheets."""
from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from xml.parsers import expat

from calc.raw import Odd
from workbook_template.ports.parts import SharedStrings, local, split_address, unescape

CHUNK = 1 << 16
STRINGS = ("s", "str", "inlineStr")
EMPTY_CELL = re.compile(rb'<c r="[A-Z]+[0-9]+"(?: s="[0-9]+")?/>')


@dataclass(slots=True)
class Cell:
    """A cell as stored: type letter(s) of its t attribute ("n" if none), style index, text of its value."""

    row: int  # 0-based
    column: int  # 0-based
    type: str
    style: int
    text: str | None
    formula: bool = False

    @property
    def uncomputed(self) -> bool:
        """A formula whose value is not in the file; one that gives an empty text is marked as text."""
        return self.formula and self.text is None and self.type not in STRINGS


class CellParser:
    """Feeds on a worksheet's XML (or on the XML of one cell) and hands out its cells."""

    def __init__(self):
        self.cells: list[Cell] = []
        self._row = self._column = -1
        self._cell: Cell | None = None
        self._texts: list[str] = []
        self._keep = False
        self._phonetic = 0
        parser = self._parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.CharacterDataHandler = self._data

    def feed(self, data: bytes, last: bool = False) -> list[Cell]:
        self._parser.Parse(data, last)
        done, self.cells = self.cells, []
        return done

    def _start(self, tag, about):
        tag = local(tag)
        if tag == "row":
            self._row = int(about["r"]) - 1 if "r" in about else self._row + 1
            self._column = -1
        elif tag == "c":
            if "r" in about:
                row, self._column = split_address(about["r"])
            else:
                row, self._column = self._row, self._column + 1
            self._cell = Cell(row, self._column, about.get("t", "n"), int(about.get("s", 0)), None)
            self._texts.clear()
        elif tag == "rPh":
            self._phonetic += 1
        elif tag == "f" and self._cell is not None:
            self._cell.formula = True
        elif tag in ("v", "t") and self._cell is not None and not self._phonetic:
            self._keep = True

    def _end(self, tag):
        tag = local(tag)
        if tag in ("v", "t"):
            self._keep = False
        elif tag == "rPh":
            self._phonetic -= 1
        elif tag == "c" and self._cell is not None:
            self._cell.text = "".join(self._texts) if self._texts else None
            self.cells.append(self._cell)
            self._cell = None

    def _data(self, text):
        if self._keep:
            self._texts.append(text)


def iter_cells(chunks: Iterable[bytes], last_row: int | None = None, filled: bool = False) -> Iterator[Cell]:
    """Cells of a worksheet in file order; stops after last_row (0-based) without reading the rest.

    filled: cells that hold nothing may be left out, which takes half the time.
    """
    parser = CellParser()
    for chunk in chunks:
        for cell in parser.feed(_without_blanks(chunk) if filled else chunk):
            if last_row is not None and cell.row > last_row:
                return
            yield cell
    yield from parser.feed(b"", True)


def _without_blanks(chunk: bytes) -> bytes:
    """A piece of a worksheet without its empty cells, where every cell says its own place."""
    if b"<!" in chunk or b"<c>" in chunk or chunk.count(b"<c ") != chunk.count(b"<c r="):
        return chunk
    return EMPTY_CELL.sub(b"", chunk)


def read_chunks(stream, size: int = CHUNK) -> Iterator[bytes]:
    """A binary stream in pieces."""
    while chunk := stream.read(size):
        yield chunk


def serial_datetime(serial: float, date1904: bool) -> dt.datetime | None:
    """The date of a serial number, to the millisecond; None outside the years 1900 to 9999.

    In the 1900 system serial 60 is a day that never was (29 Feb 1900); days before it count from 31 Dec 1899.
    """
    if date1904:
        base = dt.datetime(1904, 1, 1)
    else:
        base = dt.datetime(1899, 12, 31) if serial < 60 else dt.datetime(1899, 12, 30)
    if not 0 <= serial < (2_957_004 if date1904 else 2_958_466):  # 31 Dec 9999 ends there
        return None
    return base + dt.timedelta(milliseconds=round(serial * 86_400_000))


def cell_value(cell: Cell, strings: SharedStrings, date_styles, date1904: bool):
    """Typed value: None, str, float, bool, datetime, or Odd("error", "#DIV/0!")."""
    if cell.text is None:
        return None
    if cell.type == "s":
        return strings.get(int(cell.text)) or None
    if cell.type in ("str", "inlineStr"):
        return unescape(cell.text) or None
    if cell.type == "b":
        return cell.text.strip() in ("1", "true")
    if cell.type == "e":
        return Odd("error", cell.text)
    if cell.type == "d":
        try:
            return dt.datetime.fromisoformat(cell.text.strip())
        except ValueError:
            return cell.text
    number = float(cell.text)
    if cell.style < len(date_styles) and date_styles[cell.style]:
        return serial_datetime(number, date1904) or number
    return number

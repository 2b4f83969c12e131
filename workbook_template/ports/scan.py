"""One pass over a worksheet's XML that finds the cells which do not hold their column's type.

Fast readers convert silently: TRUE becomes 1.0, the text "12" becomes 12.0, a date in an id column becomes
text. This pass looks at the bytes of every cell's opening tag, whole arrays at a time, and hands out only
the cells that disagree, exactly as stored; the others it takes along as arrays of numbers and of numbers of shared
strings, where they are in the usual form. It also measures the used rectangle, because a single far-corner
cell makes fast readers exhaust the memory. Whatever it does not recognise at once goes through a full XML
parser instead.
"""
from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from calc.raw import DATE, NUMBER, TEXT
from workbook_template.ports.cells import STRINGS, Cell, CellParser, iter_cells, read_chunks
from workbook_template.ports.xmledit import tag_end

CHUNK = 1 << 20
MOST_CELLS = 20_000  # cells in an unusual form that are taken one by one; a sheet with more is for another reader
# Codes of a cell's stored type.
PLAIN, STRING, BOOL, ERROR, ISO_DATE, UNKNOWN = range(6)
LETTER_CODES = {"n": PLAIN, "s": STRING, "b": BOOL, "e": ERROR, "d": ISO_DATE}
LETTERS = np.full(256, UNKNOWN, dtype=np.int64)
for _letter, _code in LETTER_CODES.items():
    LETTERS[ord(_letter)] = _code
CODES = {**LETTER_CODES, "str": STRING, "inlineStr": STRING}
TEXT_CODE, NUMBER_CODE, DATE_CODE, IGNORED, COMPUTED_CODE = 0, 1, 2, 3, 4
COMPUTED = "computed"  # a column whose cells hold our formulas: only values typed over them are looked for
KIND_CODES = {TEXT: TEXT_CODE, NUMBER: NUMBER_CODE, DATE: DATE_CODE, COMPUTED: COMPUTED_CODE}


@dataclass
class Scan:
    """Used rectangle (0-based, -1 = empty) and the odd cells of the wanted columns."""

    last_row: int = -1
    last_column: int = -1
    first_column: int = 16_384
    cells: int = 0
    odd: list[Cell] = field(default_factory=list)
    typed_over: list[Cell] = field(default_factory=list)  # values in computed columns
    bulk: Bulk | None = None  # the other cells of the wanted columns, where they were asked for and could be kept
    tail: bytes = b""  # everything from </sheetData> on


class _Unusual(Exception):
    """The bytes are not in the form the fast pass knows."""


@dataclass
class Bulk:
    """Cells that hold their column's type, as far as they stand in the plain form <v>...</v>, and all that is known of the others.

    columns, rows: where they stand (0-based); values: the number, or the number of the shared string; shared: which it is;
    cells: those in another form, exactly as stored. One array a piece of the sheet.
    """

    columns: list[np.ndarray] = field(default_factory=list)
    rows: list[np.ndarray] = field(default_factory=list)
    values: list[np.ndarray] = field(default_factory=list)
    shared: list[np.ndarray] = field(default_factory=list)
    cells: list[Cell] = field(default_factory=list)

    def add(self, columns, rows, values, shared) -> None:
        """Keep the cells of one piece."""
        self.columns.append(columns.astype(np.int16))
        self.rows.append(rows.astype(np.int32))
        self.values.append(values)
        self.shared.append(shared)

    def joined(self) -> tuple[np.ndarray, ...]:
        """Columns, rows, values and which are shared strings, of the whole sheet."""
        return tuple(np.concatenate([np.zeros(0, dtype=kind), *parts]) for kind, parts in (
            (np.int16, self.columns), (np.int32, self.rows), (float, self.values), (bool, self.shared)))


def scan_sheet(archive, part: str, kinds: dict[int, str], first_row: int, date_styles, keep: bool = False) -> Scan:
    """Scan a worksheet part.

    kinds: column (0-based) -> kind of the wanted columns, COMPUTED for those with formulas of ours;
    first_row: first data row. keep: hand out the cells that do hold their column's type as well, where they are in the usual form.
    """
    lookup = np.full(16_385, IGNORED, dtype=np.int8)
    for column, kind in kinds.items():
        lookup[column] = KIND_CODES[kind]
    styles = np.append(np.asarray(date_styles, dtype=bool), False)
    try:
        return _scan_fast(inflate(archive, part), lookup, first_row, styles, keep)
    except _Unusual:
        return _scan_exact(archive, part, lookup, first_row, styles)


def inflate(archive, part: str, size: int = CHUNK) -> Iterator[bytes]:
    """The part's bytes in pieces, checked against the stored checksum and size at the end."""
    with archive.open(part) as stream:
        yield from read_chunks(stream, size)


def is_odd(kind: int, code: int, dated: bool) -> bool:
    """True if a cell of that stored type does not belong in a column of that kind."""
    if kind in (IGNORED, COMPUTED_CODE):
        return False
    if code == STRING:
        return kind != TEXT_CODE
    if code == PLAIN:
        return dated != (kind == DATE_CODE)
    return True


def _odd_table() -> np.ndarray:
    """is_odd as an array [kind, code, dated], with a date style in a text or number column odd and none
    fine.
    """
    table = np.zeros((5, 6, 2), dtype=bool)
    for kind in range(3):
        for code in range(6):
            for dated in (False, True):
                table[kind, code, int(dated)] = is_odd(kind, code, dated)
    return table


ODD = _odd_table()


def _scan_exact(archive, part, lookup, first_row, styles) -> Scan:
    """The same by a full XML parser, cell by cell."""
    scan, tail = Scan(), bytearray()
    for cell in iter_cells(_keep_tail(inflate(archive, part, 1 << 18), tail)):
        if cell.row >= first_row:
            _keep_odd(cell, scan, lookup, styles)
        if cell.text is None and cell.type not in STRINGS:
            continue
        scan.cells += 1
        scan.last_row = max(scan.last_row, cell.row)
        scan.last_column = max(scan.last_column, cell.column)
        scan.first_column = min(scan.first_column, cell.column)
    scan.tail = bytes(tail)
    return scan


def _keep_tail(chunks, tail: bytearray):
    """Pass chunks on and keep what follows the end of the sheet data."""
    before = b""
    for chunk in chunks:
        if tail:
            tail += chunk
        else:
            both = before + chunk
            at = both.rfind(b"sheetData>")
            if at >= 0 and both.rfind(b"</", 0, at) >= 0 and both[both.rfind(b"</", 0, at):at].find(b">") < 0:
                tail += both[both.rfind(b"</", 0, at):]
            before = chunk[-64:]
        yield chunk


def _scan_fast(chunks, lookup, first_row, styles, keep: bool = False) -> Scan:
    scan, rest, begun, done = Scan(bulk=Bulk() if keep else None), b"", False, False
    for chunk in chunks:
        if done:
            scan.tail += chunk
            continue
        data = rest + chunk
        if not begun:
            at = data.find(b"<sheetData")
            if at < 0:
                rest = data
                if len(rest) > 2 * CHUNK:
                    raise _Unusual
                continue
            if b"<!" in data[:at]:
                raise _Unusual
            begun, data = True, data[at:]
        end = data.find(b"</sheetData>")
        if end >= 0:
            done, scan.tail, body, rest = True, data[end:], data[:end], b""
        else:
            cut = data.rfind(b"<c ")
            cut = len(data) - 64 if cut < 0 else cut
            body, rest = data[:max(cut, 0)], data[max(cut, 0):]
        _scan_body(body, scan, lookup, first_row, styles)
    if not done:
        _finish_without_data(rest, scan, begun)
    return scan


def _finish_without_data(rest: bytes, scan: Scan, begun: bool) -> None:
    """A sheet whose data element is empty (<sheetData/>); anything else is for the full parser."""
    empty = rest.find(b"/>")
    if not begun or scan.cells or not rest.startswith(b"<sheetData") or rest.find(b">") != empty + 1:
        raise _Unusual
    scan.tail = rest[empty + 2:]


def _scan_body(body: bytes, scan: Scan, lookup, first_row, styles) -> None:
    """Scan the cells of a piece that holds them whole. In sheet data only a cell's element begins with c."""
    array = np.frombuffer(body + b" " * 32, dtype=np.uint8)
    size = len(body)
    for mark in (b"<!", b"<?", b":c"):  # a comment, CDATA or instruction could hide cells, a prefix too
        if (array == (mark[1] if mark[0] == 60 else mark[0])).any() and mark in body:
            raise _Unusual
    marks = np.flatnonzero(array[:size] == 60)
    first = np.flatnonzero(array[marks + 1] == 99)
    marks = np.append(marks, [size] * 3)
    first = first[array[marks[first + 1] - 2] != 47]  # not <c .../>, which holds nothing
    starts = marks[first]
    if not len(starts):
        return
    for offset, mark in enumerate(b' r="', 2):
        if not (array[starts + offset] == mark).all():
            raise _Unusual
    columns, rows, after = _addresses(array, starts)
    codes, dated, ends = _types(array, after, styles)
    closing = array[ends]
    full = closing != 47  # an empty one with a space behind it
    _measure(scan, rows[full], columns[full])
    kinds = lookup[np.minimum(columns, 16_384)]
    formula = (array[ends + 1] == 60) & (array[ends + 2] == 102)  # <f
    odd = ODD[kinds, codes, dated.astype(np.int8)]
    odd |= (kinds != IGNORED) & ((closing != 62) | (formula != (kinds == COMPUTED_CODE)))
    wanted = full & (rows >= first_row)
    if scan.bulk is not None:
        kept = np.flatnonzero(wanted & ~odd & (kinds < IGNORED))
        begin, end = marks[first[kept] + 1] + 3, marks[first[kept] + 2]
        plain = _plain(array, begin, end, ends[kept], codes[kept] == STRING)
        odd[kept[~plain]] = True
        kept = kept[plain]
        try:
            scan.bulk.add(columns[kept], rows[kept], _numbers(body, begin[plain], end[plain]), codes[kept] == STRING)
        except ValueError:  # no number after all: the sheet is for another reader
            scan.bulk = None
    for start in starts[wanted & odd]:
        _add_odd(body, int(start), scan, lookup, styles)


def _plain(array, begin, end, tag_end, text):
    """True for cells of the form <c ...><v>value</v>, a number or the number of a shared string."""
    plain = (begin == tag_end + 4) & (end > begin) & _spells(array, begin - 2, b"v>") & _spells(array, end + 1, b"/v>")
    return plain & (~text | _spells(array, tag_end - 3, b'"s"'))


def _numbers(body: bytes, begin, end) -> np.ndarray:
    """The numbers between these places, which ascend. Raises ValueError where one is none that can be written."""
    import pyarrow as arrow

    bounds = np.empty(2 * len(begin), dtype=np.int32)
    bounds[::2], bounds[1::2] = begin, end
    if not len(begin):
        return np.zeros(0)
    parts = arrow.StringArray.from_buffers(len(bounds) - 1, arrow.py_buffer(bounds), arrow.py_buffer(body))
    values = parts.take(arrow.array(np.arange(0, len(bounds), 2))).cast(arrow.float64()).to_numpy()
    if not np.isfinite(values).all():
        raise ValueError
    return values


def _addresses(array, starts):
    """Columns and rows (0-based) and the position just after the r attribute."""
    at = starts + 6
    columns, at = _counted(array, at, 65, 26, 4, 1)
    rows, at = _counted(array, at, 48, 10, 8)
    if not (array[at] == 34).all() or (columns == 0).any() or (rows == 0).any():
        raise _Unusual
    return columns - 1, rows - 1, at + 1


def _counted(array, at, zero: int, base: int, most: int, least: int = 0):
    """(the numbers that stand at these places, the places after them). zero: the character of the digit `least`."""
    values = np.zeros(len(at), dtype=np.int32)
    for _ in range(most):
        digit = array[at] - np.uint8(zero)  # what stands before it comes far behind now
        is_digit = digit < base
        if not is_digit.any():
            break
        more = values * base + digit + least
        values, at = (more, at + 1) if is_digit.all() else (np.where(is_digit, more, values), at + is_digit)
    return values, at


def _types(array, after, styles):
    """Type code, date style or not, and where the tag ends if it holds r, then s, then t at most.

    If there is no > or / at that place, the tag is of another form and must be parsed properly.
    """
    at = after
    has_style = (array[at] == 32) & (array[at + 1] == 115) & (array[at + 2] == 61) & (array[at + 3] == 34)
    style, at = _counted(array, at + 4 * has_style, 48, 10, 6)
    at = at + (has_style & (array[at] == 34))
    codes = np.full(len(after), PLAIN, dtype=np.int64)
    typed = (array[at] == 32) & (array[at + 1] == 116) & (array[at + 2] == 61) & (array[at + 3] == 34)
    short = typed & (array[at + 5] == 34)
    codes[short] = LETTERS[array[at[short] + 4]]
    at = at + 6 * short
    for word in (b"str", b"inlineStr"):
        spelt = np.flatnonzero(typed & ~short)
        spelt = spelt[_spells(array, at[spelt] + 4, word + b'"')]
        codes[spelt] = STRING
        at[spelt] += 5 + len(word)
    return codes, styles[np.minimum(style, len(styles) - 1)], at


def _spells(array, at, word: bytes):
    same = np.ones(len(at), dtype=bool)
    for offset, letter in enumerate(word):
        same &= array[np.minimum(at + offset, len(array) - 1)] == letter
    return same


def _measure(scan: Scan, rows, columns) -> None:
    if not len(rows):
        return
    scan.cells += len(rows)
    scan.last_row = max(scan.last_row, int(rows.max()))
    scan.last_column = max(scan.last_column, int(columns.max()))
    scan.first_column = min(scan.first_column, int(columns.min()))


def _add_odd(body: bytes, start: int, scan: Scan, lookup, styles) -> None:
    """Parse one cell properly and keep it if it holds something and is odd indeed."""
    if body[tag_end(body, start) - 2] == 47:  # <c .../>
        return
    end = body.find(b"</c>", start)
    if end < 0:
        raise _Unusual
    _keep_odd(CellParser().feed(body[start:end + 4], True)[0], scan, lookup, styles)


def _keep_odd(cell: Cell, scan: Scan, lookup, styles) -> None:
    """Keep a cell of another type than its column's, a formula without a value, a value typed over a formula."""
    kind = lookup[min(cell.column, 16_384)]
    if kind == COMPUTED_CODE:
        if not cell.formula and cell.text is not None:
            scan.typed_over.append(cell)
    elif cell.text is None and cell.type not in STRINGS:
        if cell.uncomputed and kind != IGNORED:
            scan.odd.append(cell)
    elif is_odd(kind, CODES.get(cell.type, UNKNOWN), bool(styles[min(cell.style, len(styles) - 1)])):
        scan.odd.append(cell)
    elif scan.bulk is not None and kind != IGNORED:
        scan.bulk.cells.append(cell)
        if len(scan.bulk.cells) > MOST_CELLS:
            scan.bulk = None

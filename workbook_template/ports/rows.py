"""Writes result values as the <row> elements of a worksheet, whole columns at a time.

Values only, never formulas: a text that begins with = + - or @ stays text. Nothing here touches shared
strings or styles; a style is the index (the s of a cell) of a format that the workbook already has.
"""
from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from workbook_template.ports.parts import column_letters

MAX_TEXT = 32_767  # characters in a cell
MAX_ROWS, MAX_COLUMNS = 1_048_576, 16_384
STEP = 10_000  # rows written at a time
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_PLAIN = r"^[^\x00-\x1f&<>_\x{fffe}\x{ffff}]*$"


class ColumnData(NamedTuple):
    """Values of one column of a block. style: index of a cell format, one for each row, or None."""

    values: Sequence
    style: int | Sequence[int] | None = None


@dataclass
class Block:
    """A rectangle of values: row and column (1-based) of its top left cell, and its columns."""

    row: int
    column: int
    columns: list[ColumnData] = field(default_factory=list)

    @property
    def height(self) -> int:
        return len(self.columns[0].values) if self.columns else 0


class CellData(NamedTuple):
    """One cell: row and column (1-based), value, style index or None."""

    row: int
    column: int
    value: object
    style: int | None = None


def used_range(blocks: Iterable[Block] = (), cells: Iterable[CellData] = ()) -> str:
    """The range that blocks and cells cover together, such as "A1:O1008"; "A1" if there is nothing."""
    blocks = [b for b in blocks if b.height]
    boxes = [(b.row, b.column, b.row + b.height - 1, b.column + len(b.columns) - 1) for b in blocks]
    boxes += [(cell[0], cell[1], cell[0], cell[1]) for cell in cells]
    if not boxes:
        return "A1"
    top, left = min(box[0] for box in boxes), min(box[1] for box in boxes)
    bottom, right = max(box[2] for box in boxes), max(box[3] for box in boxes)
    first, last = f"{column_letters(left - 1)}{top}", f"{column_letters(right - 1)}{bottom}"
    return first if first == last else f"{first}:{last}"


def write_rows(
    blocks: Iterable[Block] = (),
    cells: Iterable[CellData] = (),
    heights: dict[int, float] | None = None,
    date1904: bool = False,
) -> Iterator[bytes]:
    """Yield the <row> elements for blocks and single cells, in order.

    heights: row (1-based) -> height in points. date1904: the workbook counts days from 1904. Values: float,
    int (NaN, inf and None: an empty cell with its style), str (control characters dropped, cut at 32,767
    characters), bool, date, datetime. Raises ValueError if cells overlap, columns of a block differ in
    length, a cell lies beyond the sheet's edge, or a value is of another type.
    """
    blocks = [block for block in blocks if block.height]
    for block in blocks:
        _check_block(block)
    loose: dict[int, list[tuple[int, int, str]]] = {}
    for cell in (CellData(*each) for each in cells):
        _check_edge(cell.row, cell.column)
        xml = cell_xml(cell.row, cell.column, cell.value, cell.style, date1904)
        loose.setdefault(cell.row, []).append((cell.column, 1, xml))
    heights = dict(heights or {})
    special = set(loose) | set(heights)
    for first, last, active in _segments(blocks, special):
        for start in range(first, last, STEP):
            stop = min(start + STEP, last)
            yield _write_span(start, stop, active, special, loose, heights, date1904)


def _check_edge(row: int, column: int) -> None:
    if not (1 <= row <= MAX_ROWS and 1 <= column <= MAX_COLUMNS):
        raise ValueError(f"cell in row {row}, column {column} lies beyond the edge of a sheet")


def _check_block(block: Block) -> None:
    lengths = {len(column.values) for column in block.columns}
    if len(lengths) > 1:
        raise ValueError(f"columns of the block at row {block.row} differ in length: {sorted(lengths)}")
    _check_edge(block.row, block.column)
    _check_edge(block.row + block.height - 1, block.column + len(block.columns) - 1)


def _segments(blocks: list[Block], special: set[int]):
    """Spans of rows [first, last) with the same blocks in them, and lone rows between."""
    edges = {block.row for block in blocks} | {block.row + block.height for block in blocks}
    covered = sorted(edges)
    spans = []
    for first, last in zip(covered, covered[1:], strict=False):
        active = [b for b in blocks if b.row <= first and last <= b.row + b.height]
        if active:
            spans.append((first, last, sorted(active, key=lambda block: block.column)))
    inside = [row for row in special if not any(first <= row < last for first, last, _ in spans)]
    return sorted([*spans, *((row, row + 1, []) for row in inside)], key=lambda span: span[0])


def _write_span(start, stop, active, special, loose, heights, date1904) -> bytes:
    for left, right in zip(active, active[1:], strict=False):
        if left.column + len(left.columns) > right.column:
            raise ValueError(f"blocks overlap in row {start}, column {right.column}")
    parts = [_block_rows(block, start, stop, date1904) for block in active]
    if active and special.isdisjoint(range(start, stop)):
        return _joined(parts, start, stop)
    texts = [part.to_pylist() for part in parts]
    rows = []
    for row in range(start, stop):
        pieces = [(block.column, len(block.columns), text[row - start])
                  for block, text in zip(active, texts, strict=True)]
        rows.append(_row_xml(row, pieces + loose.get(row, []), heights.get(row)))
    return "".join(rows).encode()


def _row_xml(row: int, pieces: list[tuple[int, int, str]], height: float | None) -> str:
    pieces.sort()
    free = 0
    for column, width, _ in pieces:
        if column < free:
            raise ValueError(f"two cells in row {row}, column {column}")
        free = column + width
    tall = "" if height is None else f' ht="{float(height):g}" customHeight="1"'
    return f'<row r="{row}"{tall}>{"".join(text for _, _, text in pieces)}</row>'


def _joined(parts, start: int, stop: int) -> bytes:
    """All rows of a span as one piece of XML: the text buffer of one array of strings."""
    import pyarrow.compute as compute

    numbers = _numbers(start, stop)
    rows = compute.binary_join_element_wise('<row r="', numbers, '">', *parts, "</row>", "")
    offsets = np.frombuffer(rows.buffers()[1], dtype=np.int32)
    return rows.buffers()[2].slice(0, int(offsets[len(rows)])).to_pybytes()


@lru_cache(maxsize=2)
def _numbers(start: int, stop: int):
    import pyarrow as arrow

    return arrow.array(np.arange(start, stop)).cast(arrow.string())


def _block_rows(block: Block, start: int, stop: int, date1904: bool):
    """One string for each row: all the block's cells in it."""
    import pyarrow.compute as compute

    first = start - block.row
    columns = []
    for offset, column in enumerate(block.columns):
        column = ColumnData(*column)
        values = column.values[first:first + stop - start]
        style = column.style
        if style is not None and not isinstance(style, (int, np.integer)):
            style = list(style[first:first + stop - start])
        columns.append(_column_cells(values, style, block.column + offset, start, stop, date1904))
    return columns[0] if len(columns) == 1 else compute.binary_join_element_wise(*columns, "")


def _column_cells(values, style, column: int, start: int, stop: int, date1904: bool):
    """The cells of one column as an array of strings."""
    import pyarrow as arrow
    import pyarrow.compute as compute

    fast = _fast_values(values, date1904)
    if fast is None:
        styles = style if isinstance(style, list) else [style] * (stop - start)
        texts = [cell_xml(row, column, value, s, date1904)
                 for row, value, s in zip(range(start, stop), values, styles, strict=True)]
        return arrow.array(texts, arrow.string())
    texts, good, kind = fast
    if isinstance(style, list):
        styles = arrow.array(np.array(style)).cast(arrow.string())
        looks = [compute.binary_join_element_wise('" s="', styles, "")]
    else:
        looks = [] if style is None else [f'" s="{style}']
    head = f'<c r="{column_letters(column - 1)}'
    numbers = _numbers(start, stop)
    if good is None or compute.all(good).as_py():
        return compute.binary_join_element_wise(head, numbers, *looks, f'"{kind}><v>', texts, "</v></c>", "")
    ends = compute.if_else(good, compute.binary_join_element_wise(f'"{kind}><v>', texts, "</v></c>", ""), '"/>')
    return compute.binary_join_element_wise(head, numbers, *looks, ends, "")


def _fast_values(values, date1904: bool):
    """Value texts, a mask of the cells that hold one, and the type attribute; None if the column is mixed."""
    import pyarrow as arrow

    if isinstance(values, np.ndarray) and values.dtype.kind == "M":
        values = _serials(values, date1904)
        if np.nanmin(values, initial=0.0) < 0:
            return None
    if isinstance(values, np.ndarray) and values.dtype.kind in "fiu":
        good = np.isfinite(values)
        texts = arrow.array(np.where(good, values, 0)).cast(arrow.string())
        return texts, arrow.array(good), ""
    if isinstance(values, np.ndarray) and values.dtype.kind == "b":
        return arrow.array(values.astype(np.int8)).cast(arrow.string()), None, ' t="b"'
    if not isinstance(values, np.ndarray):
        return _fast_list(values, date1904)
    return _fast_texts(values)


def _fast_list(values: Sequence, date1904: bool):
    """_fast_values for a list of Python values: texts, numbers or dates with None for a blank; None if they are mixed."""
    import pyarrow as arrow

    kinds = set(map(type, values)) - {type(None)}
    if kinds == {str}:
        return _fast_texts(values)
    if kinds <= {int, float}:
        try:
            numbers = arrow.array(values, arrow.int64() if kinds == {int} and None not in values else arrow.float64())
        except (arrow.ArrowException, OverflowError):
            return None
        return _fast_values(numbers.to_numpy(zero_copy_only=False), date1904)
    if kinds == {dt.date}:
        return _fast_values(np.array(values, "datetime64[D]"), date1904)
    return None


def _fast_texts(values):
    import pyarrow as arrow
    import pyarrow.compute as compute

    try:
        texts = arrow.array(values, arrow.string()) if not isinstance(values, arrow.Array) else values
    except (arrow.ArrowInvalid, arrow.ArrowTypeError, TypeError, UnicodeEncodeError):
        return None
    plain = compute.match_substring_regex(texts, _PLAIN)
    trimmed = compute.equal(compute.utf8_trim_whitespace(texts), texts)
    short = compute.less(compute.utf8_length(texts), MAX_TEXT)
    if not compute.all(compute.and_(compute.and_(plain, trimmed), short)).as_py():
        return None
    good = compute.fill_null(compute.not_equal(texts, ""), False)
    return compute.fill_null(texts, ""), good, ' t="str"'


def _serials(values: np.ndarray, date1904: bool) -> np.ndarray:
    base = np.datetime64("1904-01-01" if date1904 else "1899-12-30", "us")
    days = (values.astype("datetime64[us]") - base) / np.timedelta64(86_400_000_000, "us")
    return days if date1904 else np.where(days < 60, days - 1, days)


def date_serial(value: dt.date, date1904: bool = False) -> float:
    """Serial number of a date or datetime (its clock time as it stands); the year 1900 is counted as
    Excel does.
    """
    moment = value if isinstance(value, dt.datetime) else dt.datetime(value.year, value.month, value.day)
    base = dt.datetime(1904, 1, 1) if date1904 else dt.datetime(1899, 12, 30)
    days = (moment.replace(tzinfo=None) - base) / dt.timedelta(days=1)
    return days if date1904 or days >= 60 else days - 1


def text_xml(text: str) -> str:
    """Text as it must stand in XML: escaped, no control characters, not longer than a cell takes."""
    text = _CONTROL.sub("", text)[:MAX_TEXT]
    text = _LOOKS_ESCAPED.sub("_x005F_", text) if "_x" in text else text
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("\r", "_x000D_")


def cell_xml(row: int, column: int, value, style: int | None = None, date1904: bool = False) -> str:
    """One <c> element (row and column 1-based)."""
    if isinstance(value, np.generic):
        value = value.item() if value.dtype.kind != "M" else value.astype("datetime64[us]").item()
    head = f'<c r="{column_letters(column - 1)}{row}"' + ("" if style is None else f' s="{style}"')
    if value is None or value == "":
        return head + "/>"
    if isinstance(value, str):
        text = text_xml(value)
        keep = ' xml:space="preserve"' if text != text.strip() or "\n" in text else ""
        return f'{head} t="str"><v{keep}>{text}</v></c>'
    if isinstance(value, bool):
        return f'{head} t="b"><v>{int(value)}</v></c>'
    if isinstance(value, dt.date):
        serial = date_serial(value, date1904)
        if serial < 0:
            return cell_xml(row, column, value.isoformat(), style)
        value = serial
    if isinstance(value, (int, float)):
        if not math.isfinite(value):
            return head + "/>"
        whole = isinstance(value, int) or (value == int(value) and abs(value) < 1e15)
        return f"{head}><v>{int(value) if whole else repr(value)}</v></c>"
    raise ValueError(f"a cell cannot hold a value of type {type(value).__name__}")

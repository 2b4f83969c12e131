"""Changes single cells of a worksheet part; every row that is not named stays byte for byte.

Rows are found by their opening tags: in well-formed sheet data without comments a < never stands inside text
or attributes, so that search is exact; with comments the XML parser finds the rows.
"""
from __future__ import annotations

import bisect
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from workbook_template.ports.parts import column_letters, split_address, split_range
from workbook_template.ports.rows import cell_xml, text_xml
from workbook_template.ports.sheetxml import prefixed, split_sheet
from workbook_template.ports.xmledit import Element, apply_changes, attribute_spans, escape, find_elements, set_attributes, tag_end


class Put(NamedTuple):
    """A new content of a cell. style: index of its format, None keeps the one it has; formula: without its =."""

    value: object
    style: int | None = None
    formula: str | None = None


class Recompute(NamedTuple):
    """A new stored value of a formula cell; a cell without a formula stays as it is.

    value: called only where there is a formula; None leaves the cell without a value, for the program to compute.
    reformed: the formula's text as written in the file -> the new one.
    """

    value: Callable[[], object]
    reformed: Callable[[bytes], bytes] = bytes


class Trouble(Exception):
    """A cell that cannot be written; the message says which and why, without the sheet's name."""


@dataclass
class CellState:
    """What a cell holds before a change: its style index (None without one), and whether it holds a formula."""

    style: int | None
    formula: bool


class SheetCells:
    """The rows of one worksheet part. Rows are 1-based, columns 0-based."""

    def __init__(self, xml: bytes):
        self.xml = xml
        head, tail, tag = split_sheet(xml)
        self.head, self.tail, self.tag = head, tail, tag
        self.prefix = tag.rpartition(b":")[0] + tag.rpartition(b":")[1]
        body = xml[len(head):len(xml) - len(tail)]
        empty = body[:tag_end(body, 0)].endswith(b"/>")
        self.body = b"<" + tag + b"></" + tag + b">" if empty else body
        self.inner = tag_end(self.body, 0), self.body.rindex(b"</" + tag)  # where the rows begin and end
        self.starts = self._row_starts()
        self.numbers = sorted(self.starts)
        self._states: dict[int, dict[int, CellState]] = {}
        self.formulas_changed = False  # a formula came or went: the calculation chain no longer fits

    def _row_starts(self) -> dict[int, int]:
        """Row number -> where its element begins in the body."""
        if b"<!" in self.body or b"<?" in self.body:
            skipped = len(self.head)
            places = [(e.start - skipped, e.about.get("r")) for e in find_elements(self.xml, {"row"}, {"sheetData"})]
        else:
            pattern = re.compile(b"<" + re.escape(self.prefix) + rb'row(?:\s+r="(\d+)")?(?=[\s/>])')
            places = [(found.start(), found.group(1) or self._number(found.start())) for found in pattern.finditer(self.body)]
        starts, number = {}, 0
        for start, text in places:
            number = int(text) if text else number + 1
            starts.setdefault(number, start)
        return starts

    def _number(self, start: int) -> bytes | None:
        opening = self.body[start:tag_end(self.body, start)]
        return next((opening[a:b] for name, a, b in attribute_spans(opening) if name == b"r"), None)

    def row_xml(self, row: int) -> bytes | None:
        """The row's element as it stands in the file; None if there is none."""
        start = self.starts.get(row)
        if start is None:
            return None
        end = tag_end(self.body, start)
        if self.body[end - 2:end] != b"/>":
            end = tag_end(self.body, self.body.index(b"</" + self.prefix + b"row", end))
        return self.body[start:end]

    def states(self, row: int) -> dict[int, CellState]:
        """Column -> what its cell holds, for the cells that the row has."""
        if row in self._states:
            return self._states[row]
        xml = self.row_xml(row)
        found = self._states[row] = {}
        for column, cell in _cells(xml):
            inner = xml[cell.open_end:cell.end]
            style = cell.about.get("s")
            found[column] = CellState(None if style is None else int(style), bool(find_formula(inner)))
        return found

    def content(self, changes: dict[int, dict[int, Put | Recompute]], date1904: bool = False, tail: bytes | None = None) -> bytes:
        """The worksheet part with these cells changed. changes: row -> column -> change. Raises Trouble.

        Rows that are not there are put in at their place. tail: what stands behind the sheet data from now on.
        """
        first, last = self.inner
        spans = []
        for row in sorted(changes):
            old = self.row_xml(row)
            new = self._changed_row(row, old, changes[row], date1904)
            if old is None:
                after = bisect.bisect_right(self.numbers, row)
                at = self.starts[self.numbers[after]] if after < len(self.numbers) else last
                spans.append((at, at, new))
            elif new != old:
                spans.append((self.starts[row], self.starts[row] + len(old), new))
        out, at = [self._head(changes), self.body[:first]], first
        for start, end, new in sorted(spans, key=lambda span: span[:2]):
            out += [self.body[at:start], new]
            at = end
        return b"".join([*out, self.body[at:], self.tail if tail is None else tail])

    def _head(self, changes) -> bytes:
        """What stands before the sheet data, with the used range grown over the changed cells."""
        cells = [(row, column) for row, columns in changes.items() for column in columns]
        skeleton = self.head + b"<" + self.tag + b"/>" + self.tail
        found = find_elements(skeleton, {"dimension"}, {"worksheet"})
        if not cells or not found or "ref" not in found[0].about:
            return self.head
        top, left, bottom, right = split_range(found[0].about["ref"])
        box = (min(top, min(r for r, _ in cells) - 1), min(left, min(c for _, c in cells)),
               max(bottom, max(r for r, _ in cells) - 1), max(right, max(c for _, c in cells)))
        if box == (top, left, bottom, right):
            return self.head
        ref = f"{column_letters(box[1])}{box[0] + 1}:{column_letters(box[3])}{box[2] + 1}"
        return apply_changes(self.head, [set_attributes(self.head, found[0], ref=ref)])

    def _changed_row(self, row: int, old: bytes | None, changes: dict, date1904: bool) -> bytes:
        mark = self.prefix
        if old is None:
            cells = b"".join(self._new_cell(row, column, changes[column], None, date1904) for column in sorted(changes))
            return b"<" + mark + b'row r="%d">' % row + cells + b"</" + mark + b"row>"
        pieces = {column: old[cell.start:cell.end] for column, cell in _cells(old)}
        bare = {column for column, cell in _cells(old) if "r" not in cell.about}
        for column in bare & set(pieces):
            cell = find_elements(pieces[column], {"c"})[0]
            named = set_attributes(pieces[column], cell, r=f"{column_letters(column)}{row}")
            pieces[column] = apply_changes(pieces[column], [named])
        for column, change in changes.items():
            pieces[column] = self._new_cell(row, column, change, pieces.get(column), date1904)
        end = tag_end(old, 0)
        single = old[end - 2:end] == b"/>"
        opening = _opening(old[:end], pieces, single)
        if single:
            return opening + b"".join(pieces[c] for c in sorted(pieces)) + b"</" + mark + b"row>"
        cells = [cell for _, cell in _cells(old)]
        start, stop = (cells[0].start, cells[-1].end) if cells else (end, end)
        return opening + old[end:start] + b"".join(pieces[c] for c in sorted(pieces)) + old[stop:]

    def _new_cell(self, row: int, column: int, change, old: bytes | None, date1904: bool) -> bytes:
        before = find_elements(old, {"c"})[0] if old else None
        formula = find_formula(old[before.open_end:before.end]) if old else None
        if isinstance(change, Recompute):
            return b"" if old is None else _recomputed(old, before, formula, change, date1904)
        if formula is not None:
            if formula.about.get("t") in ("shared", "array") and "ref" in formula.about:
                raise Trouble(f"{column_letters(column)}{row} holds a formula that other cells share. Type a plain value there first.")
            self.formulas_changed = True
        style = change.style
        if style is None and before is not None and "s" in before.about:
            style = int(before.about["s"])
        xml = cell_xml(row, column + 1, change.value, style, date1904).encode()
        if change.formula is not None:
            self.formulas_changed = True
            xml = _with_formula(xml, change.formula)
        return prefixed(xml, self.prefix.decode()) if self.prefix else xml


def _cells(row: bytes | None) -> list[tuple[int, Element]]:
    """Column (0-based) and place of every cell of a row's element."""
    found, column = [], -1
    for cell in find_elements(row, {"c"}, {"row"}) if row else ():
        column = split_address(cell.about["r"])[1] if "r" in cell.about else column + 1
        found.append((column, cell))
    return found


def find_formula(inner: bytes) -> Element | None:
    """The formula element in a cell's content, without reading anything else of it."""
    if b"f" not in inner:
        return None
    found = find_elements(b"<c>" + inner[:inner.rindex(b"</")] + b"</c>", {"f"}, {"c"}) if b"</" in inner else []
    return found[0] if found else None


def _opening(tag: bytes, pieces: dict, single: bool) -> bytes:
    """The row's opening tag; its spans, where it tells them, grown over all cells."""
    element = Element("row", {}, 0, 0, len(tag), 0)
    for name, a, b in list(attribute_spans(tag)):
        if name == b"spans" and pieces:
            first, _, last = tag[a:b].partition(b":")
            if first.isdigit() and last.isdigit():
                grown = f"{min(int(first), min(pieces) + 1)}:{max(int(last), max(pieces) + 1)}"
                tag = set_attributes(tag, element, spans=grown)[2]
    return tag[:-2].rstrip() + b">" if single else tag


def _recomputed(old: bytes, cell: Element, formula: Element | None, change: Recompute, date1904: bool) -> bytes:
    """The formula cell with another stored value, its formula as written or reformed."""
    if formula is None:
        return old
    inner = find_elements(old, {"f"}, {"c"})[0]
    whole = old[inner.start:inner.end]
    if inner.open_end < inner.end:
        close = whole.rindex(b"</")
        first = inner.open_end - inner.start
        whole = whole[:first] + change.reformed(whole[first:close]) + whole[close:]
    value = change.value()
    if whole == old[inner.start:inner.end] and _holds(old, value):
        return old
    kind, text = _stored(value, date1904)
    tag = _without(old[cell.start:cell.open_end], b"t")
    if kind:
        tag = tag[:-1] + b' t="' + kind + b'">'
    mark = cell.prefix.encode()
    shown = b"" if text is None else b"<" + mark + b"v>" + text + b"</" + mark + b"v>"
    return tag + whole + shown + b"</" + mark + b"c>"


def _holds(cell: bytes, value) -> bool:
    """Whether a formula cell stores this very value, however it is written ("4.0" for 4, an empty text with or without its mark)."""
    stored = find_elements(cell, {"c", "v"})
    kind = stored[0].about.get("t", "n")
    single = len(stored) < 2 or stored[1].open_end == stored[1].end
    text = b"" if single else cell[stored[1].open_end:cell.rindex(b"</", stored[1].start, stored[1].end)]
    if isinstance(value, str):
        return text == text_xml(value).encode() and (kind == "str" or (kind == "n" and not text and len(stored) > 1))
    if isinstance(value, bool) or not isinstance(value, (int, float)) or kind != "n":
        return False
    try:
        return float(text) == value
    except ValueError:
        return False


def _stored(value, date1904: bool) -> tuple[bytes, bytes | None]:
    """Type letter and stored text of a formula's value; no text where the program is to compute it."""
    if value is None:
        return b"", None
    if value == "":
        return b"str", b""
    xml = cell_xml(1, 1, value, None, date1904).encode()
    found = find_elements(xml, {"c", "v"})
    if len(found) < 2:
        return b"", None
    cell, inner = found
    return cell.about.get("t", "").encode(), xml[inner.open_end:xml.rindex(b"</", inner.start, inner.end)]


def _without(tag: bytes, name: bytes) -> bytes:
    """An opening tag without one attribute, ending in >."""
    for key, _, last in attribute_spans(tag):
        if key == name:
            start = tag.rindex(name, 0, tag.rindex(b"=", 0, last))
            tag = tag[:start].rstrip() + tag[last + 1:]
            break
    return tag[:-2].rstrip() + b">" if tag.endswith(b"/>") else tag


def _with_formula(xml: bytes, formula: str) -> bytes:
    """A cell element with a formula before its value."""
    mid = b"<f>" + escape(formula) + b"</f>"
    if xml.endswith(b"/>"):
        return xml[:-2] + b' t="str">' + mid + b"<v></v></c>"
    at = tag_end(xml, 0)
    return xml[:at] + mid + xml[at:]

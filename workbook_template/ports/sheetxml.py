"""New contents for the parts a refresh owns: a sheet's rows, its tables' ranges, its charts' data.

Each function takes the part's old bytes and gives the new ones; what is not named here stays byte for byte.
"""
from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple
from xml.parsers import expat

from workbook_template.ports.parts import column_letters, local, split_range
from workbook_template.ports.rows import text_xml
from workbook_template.ports.xmledit import (
    Element,
    after_last,
    apply_changes,
    escape,
    find_elements,
    set_attributes,
    tag_end,
)

# What may stand before mergeCells in a worksheet (ECMA-376 part 1, 18.3.1.99).
BEFORE_MERGES = {"sheetData", "sheetCalcPr", "sheetProtection", "protectedRanges", "scenarios", "autoFilter",
                 "sortState", "dataConsolidate", "customSheetViews"}


class SeriesData(NamedTuple):
    """Data of one chart series: references ('Yield'!$A$2:$A$9) and the values shown until the next redraw."""

    categories_ref: str
    categories: Sequence
    values_ref: str
    values: Sequence
    name_ref: str | None = None
    name: str | None = None


def sheet_content(
    xml: bytes,
    rows: bytes | Iterable[bytes],
    dimension: str | None = None,
    merges: Sequence[str] | None = None,
) -> Iterator[bytes]:
    """The worksheet part with other rows, in pieces.

    dimension: the new used range; None leaves the old one. merges: ranges merged from now on; None leaves
    the old ones. Raises ValueError if the part holds no sheet data.
    """
    head, tail, tag = split_sheet(xml)
    del xml  # of a big sheet: most of it is the rows that go
    skeleton = head + b"<" + tag + b"/>" + tail
    sections = find_elements(skeleton, None, {"worksheet"})
    data = next(element for element in sections if element.name == "sheetData")
    changes = []
    if dimension is not None:
        changes += [set_attributes(skeleton, e, ref=dimension) for e in sections if e.name == "dimension"]
    if merges is not None:
        changes.append(_merge_change(sections, data.prefix, merges))
    before = apply_changes(skeleton[:data.start], [c for c in changes if c[1] <= data.start])
    after = apply_changes(skeleton, [(0, data.end, b""), *(c for c in changes if c[0] >= data.end)])
    yield before + b"<" + tag + b">"
    for piece in [rows] if isinstance(rows, bytes) else rows:
        yield prefixed(piece, data.prefix) if data.prefix else piece
    yield b"</" + tag + b">" + after


def prefixed(piece: bytes, prefix: str) -> bytes:
    """Rows written for the default namespace, with the prefix that this file uses for it."""
    mark = prefix.encode()
    for name in (b"row", b"c", b"v", b"f"):
        piece = piece.replace(b"<" + name + b" ", b"<" + mark + name + b" ")
        piece = piece.replace(b"<" + name + b">", b"<" + mark + name + b">")
        piece = piece.replace(b"</" + name + b">", b"</" + mark + name + b">")
    return piece


def split_sheet(xml: bytes) -> tuple[bytes, bytes, bytes]:
    """Everything before the sheet data, everything after it, and the tag as written."""
    data = _data_start(xml)
    tag = data.tag.encode()
    if xml[data.open_end - 2:data.open_end] == b"/>":
        return xml[:data.start], xml[data.open_end:], tag
    if xml.find(b"<!", data.start) >= 0:  # a comment or CDATA may hold anything: parse every row
        return xml[:data.start], xml[find_elements(xml, {"sheetData"}, {"worksheet"})[0].end:], tag
    closing = xml.rindex(b"</" + tag)
    return xml[:data.start], xml[xml.index(b">", closing) + 1:], tag


class _Found(Exception):
    pass


def _data_start(xml: bytes) -> Element:
    """The sheetData element's opening tag, found without parsing the rows behind it."""
    parser = expat.ParserCreate()
    found = []

    def start(tag, about):
        if local(tag) == "sheetData":
            at = parser.CurrentByteIndex
            found.append(Element(tag, about, 1, at, tag_end(xml, at), 0))
            raise _Found

    parser.StartElementHandler = start
    try:
        for at in itertools.count(0, 1 << 16):
            parser.Parse(xml[at:at + (1 << 16)], at >= len(xml))
            if at >= len(xml):
                break
    except _Found:
        return found[0]
    raise ValueError("this sheet holds no rows element")


def _merge_change(sections: list[Element], prefix: str, merges: Sequence[str]) -> tuple[int, int, bytes]:
    mark = prefix.encode()
    cells = b"".join(b"<" + mark + b'mergeCell ref="' + escape(ref) + b'"/>' for ref in merges)
    new = b"<" + mark + b'mergeCells count="%d">' % len(merges) + cells + b"</" + mark + b"mergeCells>"
    new = new if merges else b""
    for element in sections:
        if element.name == "mergeCells":
            return element.start, element.end, new
    place = after_last(sections, BEFORE_MERGES)
    return place, place, new


def table_name(xml: bytes) -> str:
    """The name a table is known by in formulas."""
    root = find_elements(xml, {"table"})[0]
    return root.about.get("displayName") or root.about.get("name", "")


def table_content(xml: bytes, ref: str) -> bytes:
    """The table part with another range; its filter follows. Raises ValueError if columns would change."""
    elements = find_elements(xml, {"table", "autoFilter"})
    root = elements[0]
    top, left, bottom, right = split_range(ref)
    _, old_left, _, old_right = split_range(root.about["ref"])
    if right - left != old_right - old_left:
        raise ValueError(f"table {table_name(xml)}: {ref} has other columns than {root.about['ref']}")
    totals = int(root.about.get("totalsRowCount", 0))
    if bottom - top < 1 + totals:
        raise ValueError(f"table {table_name(xml)}: {ref} leaves no row under the headings")
    filtered = f"{column_letters(left)}{top + 1}:{column_letters(right)}{bottom + 1 - totals}"
    changes = [set_attributes(xml, root, ref=ref)]
    filters = [element for element in elements if element.name == "autoFilter" and element.depth == 1]
    changes += [set_attributes(xml, element, ref=filtered) for element in filters]
    return apply_changes(xml, changes)


def chart_content(xml: bytes, series: Sequence[SeriesData]) -> bytes:
    """The chart part with other data for its series, in their order; looks, titles and axes stay.

    Raises ValueError if the chart has another number of series.
    """
    space = find_elements(xml, {"chartSpace"})[0].prefix
    found = [element for element in find_elements(xml, {"ser"}) if element.prefix == space]
    if len(found) != len(series):
        raise ValueError(f"the chart has {len(found)} series, data for {len(series)} were given")
    inner = find_elements(xml, {"cat", "xVal", "val", "yVal", "tx"}, {"ser"})
    codes = find_elements(xml, {"formatCode"})
    changes = []
    for element, data in zip(found, series, strict=True):
        for part in (e for e in inner if element.start < e.start < element.end):
            if part.name in ("cat", "xVal"):
                new = _reference(xml, part, data.categories_ref, data.categories, codes)
            elif part.name in ("val", "yVal"):
                new = _reference(xml, part, data.values_ref, data.values, codes)
            elif data.name_ref is not None:
                new = _reference(xml, part, data.name_ref, [data.name or ""], codes)
            else:
                continue
            changes.append((part.open_end, _inner_end(xml, part), new))
    return apply_changes(xml, changes)


def _inner_end(xml: bytes, element: Element) -> int:
    """Where an element's closing tag begins."""
    return xml.rindex(b"</", element.start, element.end)


def _reference(xml: bytes, part: Element, ref: str, values: Sequence, codes: list[Element]) -> bytes:
    """A reference with its stored values: numbers if all of them are, else text."""
    values = [value.item() if hasattr(value, "item") else value for value in values]
    numeric = all(value is None or isinstance(value, (int, float)) for value in values)
    kind, store = ("numRef", "numCache") if numeric else ("strRef", "strCache")
    kept = [code for code in codes if part.start < code.start < part.end]
    code = xml[kept[0].open_end:_inner_end(xml, kept[0])] if kept else b"General"
    body = [_wrap(part, "formatCode", code)] if numeric else []
    body.append(f'<{part.prefix}ptCount val="{len(values)}"/>'.encode())
    for index, value in enumerate(values):
        if value is None or value != value or value in (float("inf"), float("-inf")):
            continue
        text = repr(value) if numeric else text_xml(str(value))
        point = _wrap(part, "v", text.encode())
        body.append(f'<{part.prefix}pt idx="{index}">'.encode() + point + f"</{part.prefix}pt>".encode())
    stored = _wrap(part, store, b"".join(body))
    return _wrap(part, kind, _wrap(part, "f", escape(ref)) + stored)


def _wrap(part: Element, name: str, content: bytes) -> bytes:
    tag = (part.prefix + name).encode()
    return b"<" + tag + b">" + content + b"</" + tag + b">"

"""Changes single places in an XML part and leaves every other byte as it was.

The XML parser tells at which byte each element begins; nothing is guessed by searching for text, so other
programs' prefixes, attribute orders and spacings come through unchanged.
"""
from __future__ import annotations

from dataclasses import dataclass
from xml.parsers import expat

from workbook_template.ports.parts import local


@dataclass
class Element:
    """An element's place: tag as written, attributes, and byte offsets of its opening tag and its end."""

    tag: str
    about: dict[str, str]
    depth: int
    start: int
    open_end: int  # just after the > of the opening tag
    end: int  # just after the element

    @property
    def name(self) -> str:
        return local(self.tag)

    @property
    def prefix(self) -> str:
        """The prefix with its colon, or nothing."""
        before, mark, _ = self.tag.rpartition(":")
        return before + mark


def find_elements(xml: bytes, names, parents=None) -> list[Element]:
    """Elements with one of these names, in document order.

    parents: only those whose parent has one of these names; names may be None for any. Raises
    xml.parsers.expat.ExpatError if the XML is broken.
    """
    found, stack = [], []
    parser = expat.ParserCreate()
    parser.ordered_attributes = False

    def start(tag, about):
        element = None
        inside = parents is None or (stack and local(stack[-1][0]) in parents)
        if inside and (names is None or local(tag) in names):
            at = parser.CurrentByteIndex
            element = Element(tag, about, len(stack), at, tag_end(xml, at), 0)
            found.append(element)
        stack.append((tag, element))

    def end(_tag):
        _, element = stack.pop()
        if element is not None:
            single = xml[element.open_end - 2:element.open_end] == b"/>"
            element.end = element.open_end if single else tag_end(xml, parser.CurrentByteIndex)

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.Parse(xml, True)
    return found


def tag_end(xml: bytes, start: int) -> int:
    """Byte just after the > that closes the tag beginning at start; a > inside quotes does not count."""
    at = start
    while True:
        close = xml.index(b">", at)
        quotes = [place for mark in (b'"', b"'") if (place := xml.find(mark, at, close)) >= 0]
        if not quotes:
            return close + 1
        first = min(quotes)
        at = xml.index(xml[first:first + 1], first + 1) + 1


def set_attributes(xml: bytes, element: Element, **values: str) -> tuple[int, int, bytes]:
    """The change that gives an element's opening tag new attribute values: (start, end, new bytes)."""
    tag = xml[element.start:element.open_end]
    for name, value in values.items():
        tag = _set_attribute(tag, name, value)
    return element.start, element.open_end, tag


def _set_attribute(tag: bytes, name: str, value: str) -> bytes:
    new = escape(value)
    for key, first, last in attribute_spans(tag):
        if key == name.encode():
            return tag[:first] + new + tag[last:]
    close = len(tag) - (2 if tag.endswith(b"/>") else 1)
    return tag[:close].rstrip() + b" " + name.encode() + b'="' + new + b'"' + tag[close:]


def attribute_spans(tag: bytes):
    """Name and the span of the value (without quotes) of every attribute of an opening tag."""
    at = 0
    while True:
        equals = tag.find(b"=", at)
        if equals < 0:
            return
        name = tag[at:equals].split()[-1]
        first = equals + 1
        while tag[first:first + 1] not in (b'"', b"'"):
            first += 1
        last = tag.index(tag[first:first + 1], first + 1)
        yield name, first + 1, last
        at = last + 1


def escape(text: str) -> bytes:
    """Text for an attribute or an element."""
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
    return text.encode()


def apply_changes(xml: bytes, changes: list[tuple[int, int, bytes]]) -> bytes:
    """The XML with each span replaced. Raises ValueError if spans overlap."""
    out, at = [], 0
    for start, end, new in sorted(changes, key=lambda change: change[:2]):
        if start < at:
            raise ValueError("two changes of the same place")
        out += [xml[at:start], new]
        at = end
    return b"".join([*out, xml[at:]])


def after_last(elements: list[Element], names) -> int | None:
    """End of the last element with one of these names, to insert the next one in the order the schema asks.
    """
    ends = [element.end for element in elements if element.name in names]
    return max(ends) if ends else None

"""Adds a worksheet of values to a workbook; every part that is there stays byte for byte, but for the three that list the sheets."""
from __future__ import annotations

import math
import zipfile
from dataclasses import dataclass, field

from workbook_template.ports.closed_file import legend
from workbook_template.ports.package import CellData, used_range, write_rows
from workbook_template.ports.parts import read_book, rels_name
from workbook_template.ports.preflight import damage_named
from workbook_template.ports.rawzip import rewrite
from workbook_template.ports.xmledit import apply_changes, escape, find_elements

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"
KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
HEAD_ROW = 4  # title, what it is about, a blank row, then the headings


@dataclass
class NewSheet:
    """A sheet to add: title, one line about it, headings with column widths, rows of values (None: blank)."""

    name: str
    title: str
    about: str
    headings: list[tuple[str, float]]
    rows: list[list] = field(default_factory=list)


def add_sheet(path_in, path_out, sheet: NewSheet) -> str:
    """Write path_out: the workbook at path_in with one more sheet at the end; returns the name it got (a number is added where
    the name is taken). Values only: a text that begins with = stays text.
    """
    with damage_named(path_in), zipfile.ZipFile(path_in) as archive:
        book = read_book(archive)
        name = _free(sheet.name, {s.name.casefold() for s in book.sheets})
        part = next(p for i in range(1, 10_000) if (p := f"xl/worksheets/sheet{i}.xml") not in archive.NameToInfo)
        rels = rels_name(book.workbook_part)
        types, relations, workbook = (archive.read(p) for p in ("[Content_Types].xml", rels, book.workbook_part))
    number = next(i for i in range(1, 10_000) if f'"rIdSheet{i}"'.encode() not in relations)
    changed = {"[Content_Types].xml": _listed(types, "Types", "Override", PartName="/" + part, ContentType=KIND),
               rels: _listed(relations, "Relationships", "Relationship", Id=f"rIdSheet{number}", Type=RELATION, Target="/" + part),
               book.workbook_part: _named(workbook, name, f"rIdSheet{number}")}
    rewrite(path_in, path_out, changed, added={part: _content(sheet, legend(path_in))})
    return name


def _free(name: str, taken: set[str]) -> str:
    return next(n for i in range(1, 10_000) if (n := name if i == 1 else f"{name[:27]} {i}").casefold() not in taken)


def _listed(xml: bytes, holder: str, tag: str, **about: str) -> bytes:
    """The list with one more entry at its end."""
    root = next(e for e in find_elements(xml, {holder}) if e.depth == 0)
    words = b"".join(b" " + key.encode() + b'="' + escape(value) + b'"' for key, value in about.items())
    place = xml.rindex(b"</", root.start, root.end)
    return apply_changes(xml, [(place, place, b"<" + root.prefix.encode() + tag.encode() + words + b"/>")])


def _named(xml: bytes, name: str, relation: str) -> bytes:
    """The workbook part with one more sheet in its list."""
    entries = find_elements(xml, {"sheet"}, {"sheets"})
    last = entries[-1]
    key = next(k for k in last.about if k.rpartition(":")[2] == "id" and ":" in k)
    number = max(int(e.about.get("sheetId", 0)) for e in entries) + 1
    prefix = "xmlns:" + key.partition(":")[0]  # some programs declare it on each entry, not at the top
    bound = b"" if prefix not in last.about else b" " + prefix.encode() + b'="' + escape(last.about[prefix]) + b'"'
    new = (b"<" + last.tag.encode() + bound + b' name="' + escape(name) + b'" sheetId="%d" ' % number + key.encode() + b'="' + relation.encode()
           + b'"/>')
    return apply_changes(xml, [(last.end, last.end, new)])


def _content(sheet: NewSheet, looks: dict[str, int]) -> bytes:
    """The worksheet part: headings kept in sight, one page wide in print."""
    def look(value) -> int:
        return looks["cell_date" if hasattr(value, "year") else "cell_plain" if isinstance(value, (int, float)) else "cell_wrapped"]

    def lines(row: list) -> int:
        cells = zip(row, sheet.headings, strict=True)
        return max(math.ceil(len(value) / (width - 2)) if isinstance(value, str) else 1 for value, (_, width) in cells)

    cells = [CellData(1, 1, sheet.title, looks["title"]), CellData(2, 1, sheet.about, looks["about"])]
    cells += [CellData(HEAD_ROW, i, words, looks["header"]) for i, (words, _) in enumerate(sheet.headings, start=1)]
    cells += [CellData(HEAD_ROW + 1 + r, c, value, look(value)) for r, row in enumerate(sheet.rows) for c, value in enumerate(row, start=1)]
    heights = {1: 26.0, HEAD_ROW: 30.0} | {HEAD_ROW + 1 + r: min(13.5 * lines(row) + 2, 400.0) for r, row in enumerate(sheet.rows)}
    columns = "".join(f'<col min="{i}" max="{i}" width="{width:g}" customWidth="1"/>' for i, (_, width) in enumerate(sheet.headings, start=1))
    top = f"A{HEAD_ROW + 1}"
    head = (f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<worksheet xmlns="{MAIN}"><sheetPr><pageSetUpPr fitToPage="1"/></sheetPr>'
            f'<dimension ref="{used_range(cells=cells)}"/><sheetViews><sheetView showGridLines="0" workbookViewId="0">'
            f'<pane ySplit="{HEAD_ROW}" topLeftCell="{top}" activePane="bottomLeft" state="frozen"/><selection pane="bottomLeft"/></sheetView>'
            f'</sheetViews><sheetFormatPr defaultRowHeight="15"/><cols>{columns}</cols><sheetData>')
    tail = ('</sheetData><pageMargins left="0.5" right="0.5" top="0.6" bottom="0.6" header="0.3" footer="0.3"/>'
            '<pageSetup orientation="landscape" fitToHeight="0"/></worksheet>')
    return head.encode() + b"".join(write_rows(cells=cells, heights=heights)) + tail.encode()


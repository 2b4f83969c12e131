"""Puts new results into a grower's workbook: only the owned parts are rewritten, every other part is copied
raw.

Changed at most: the worksheet parts named, their tables and charts, the calculation flag and defined names
in the workbook part, and the calculation chain's entries for formula cells that are gone.
"""
from __future__ import annotations

import re
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from xml.parsers import expat

from workbook_template.ports.cells import iter_cells, read_chunks
from workbook_template.ports.parts import (
    Book,
    SheetPart,
    column_letters,
    read_book,
    rels_name,
    sheet_parts,
    split_address,
    split_range,
)
from workbook_template.ports.preflight import DAMAGE, FileProblem, check_file, damage_named
from workbook_template.ports.rawzip import rewrite
from workbook_template.ports.rows import Block, CellData, ColumnData, used_range, write_rows
from workbook_template.ports.sheetxml import (
    SeriesData,
    chart_content,
    sheet_content,
    table_content,
    table_name,
)
from workbook_template.ports.xmledit import after_last, apply_changes, escape, find_elements, set_attributes

__all__ = [
    "Block", "CellData", "ColumnData", "SeriesData", "SheetPatch", "check_written", "patch", "read_style_ids",
    "sheet_parts", "used_range", "write_rows",
]

# What may stand before these in the workbook part (ECMA-376 part 1, 18.2.27).
BEFORE_NAMES = {"fileVersion", "fileSharing", "workbookPr", "workbookProtection", "bookViews", "sheets",
                "functionGroups", "externalReferences"}
BEFORE_CALC = BEFORE_NAMES | {"definedNames"}
PUT_BACK = "Copy the sheet back from the last backup, or from a new workbook."
NOT_USED = "Your workbook was left as it was; try again."
PARSE_FULLY_BELOW = 4_000_000  # bytes; larger sheets are checked by checksum and the count of rows
PIECE = 1 << 20
DATA_TAG = re.compile(rb"<([\w.-]+:|)sheetData[\s/>]")


@dataclass
class SheetPatch:
    """New contents of one result sheet.

    rows: the <row> elements, from write_rows; dimension: the range they use; merges: merged ranges (None =
    leave); tables: table name -> new range with its headings; charts: position in the drawing (0 = first)
    -> new series data, or the whole new chart part as bytes; print_area: new print area ("A1:O60"; None =
    leave).
    """

    rows: bytes | Iterable[bytes]
    dimension: str | None = None
    merges: Sequence[str] | None = None
    tables: dict[str, str] = field(default_factory=dict)
    charts: dict[int, bytes | Sequence[SeriesData]] = field(default_factory=dict)
    print_area: str | None = None


def patch(
    path_in,
    path_out,
    sheets: dict[str, SheetPatch],
    calc_on_load: bool = True,
    names: dict[str, str] | None = None,
) -> list[str]:
    """Write path_out: the workbook at path_in with new contents for these sheets; returns the parts
    rewritten.

    names: workbook-wide defined names to set (name -> reference). calc_on_load: ask the program to
    recalculate everything when it opens the file. The same input and patch give the same bytes. Raises
    FileProblem if a sheet, table or chart is not there.
    """
    check_file(path_in)
    with damage_named(path_in), zipfile.ZipFile(path_in) as archive:
        book = read_book(archive, charts=True)
        changed: dict[str, bytes | Iterable[bytes]] = {}
        dropped: set[str] = set()
        owned = {name: _owned(book, name) for name in sheets}
        for name, new in sheets.items():
            _patch_sheet(path_in, archive, owned[name], new, changed)
        changed[book.workbook_part] = _workbook(archive, book, owned, sheets, calc_on_load, names or {})
        _patch_chain(archive, book, list(owned.values()), changed, dropped)
        if changed[book.workbook_part] == archive.read(book.workbook_part):
            del changed[book.workbook_part]
    rewrite(path_in, path_out, changed, dropped)
    return sorted(changed)


def _owned(book: Book, name: str) -> SheetPart:
    sheet = book.sheet(name)
    if sheet is None or sheet.state == "chartsheet":
        raise FileProblem(f'There is no sheet "{name}" for the results. {PUT_BACK}')
    return sheet


def _content(path, part: str, new: SheetPatch) -> Iterable[bytes]:
    """A sheet's new content; the old one is read when its turn comes, so that only one is held at a time."""
    with zipfile.ZipFile(path) as archive:
        content = sheet_content(archive.read(part), new.rows, new.dimension, new.merges)
    yield from content


def _patch_sheet(path, archive, sheet: SheetPart, new: SheetPatch, changed: dict) -> None:
    changed[sheet.part] = _content(path, sheet.part, new)
    tables = {table_name(archive.read(part)): part for part in sheet.of_kind("table")} if new.tables else {}
    for name, ref in new.tables.items():
        if name not in tables:
            raise FileProblem(f'Sheet {sheet.name}: the table "{name}" was not found. {PUT_BACK}')
        changed[tables[name]] = table_content(archive.read(tables[name]), ref)
    for position, chart in new.charts.items():
        if not 0 <= position < len(sheet.charts):
            raise FileProblem(f"Sheet {sheet.name}: chart {position + 1} was not found. {PUT_BACK}")
        part = sheet.charts[position]
        changed[part] = chart if isinstance(chart, bytes) else chart_content(archive.read(part), chart)


def _workbook(archive, book: Book, owned, sheets, calc_on_load: bool, names: dict[str, str]) -> bytes:
    wanted = {(name, None): reference for name, reference in names.items()}
    for name, new in sheets.items():
        if new.print_area is not None:
            place = _absolute(owned[name].name, new.print_area)
            wanted["_xlnm.Print_Area", str(owned[name].index)] = place
    return workbook_content(archive.read(book.workbook_part), wanted, calc_on_load)


def workbook_content(xml: bytes, names: dict[tuple[str, str | None], str], calc_on_load: bool) -> bytes:
    """The workbook part with these defined names set, and the flag that asks for a full calculation on opening.

    names: (name, sheet index as text or None for the whole workbook) -> reference.
    """
    sections = find_elements(xml, None, {"workbook"})
    changes = _name_changes(xml, sections, names)
    calc = next((element for element in sections if element.name == "calcPr"), None)
    if calc_on_load and calc is not None:
        changes.append(set_attributes(xml, calc, fullCalcOnLoad="1"))
    elif calc_on_load:
        place = after_last(sections, BEFORE_CALC)
        prefix = sections[0].prefix.encode()
        new_calc = b"<" + prefix + b'calcPr fullCalcOnLoad="1"/>'
        joined = [change for change in changes if change[0] == change[1] == place]
        if joined:
            changes.remove(joined[0])
            new_calc = joined[0][2] + new_calc
        changes.append((place, place, new_calc))
    return apply_changes(xml, changes)


def _absolute(sheet: str, area: str) -> str:
    top, left, bottom, right = split_range(area)
    quoted = sheet.replace("'", "''")
    return f"'{quoted}'!${column_letters(left)}${top + 1}:${column_letters(right)}${bottom + 1}"


def _name_changes(xml: bytes, sections, wanted: dict) -> list[tuple]:
    """Changes for the names in wanted: (name, sheet index as text or None) -> reference."""
    if not wanted:
        return []
    changes, todo = [], dict(wanted)
    for element in find_elements(xml, {"definedName"}):
        reference = todo.pop((element.about.get("name"), element.about.get("localSheetId")), None)
        if reference is not None:
            start = element.open_end
            changes.append((start, xml.rindex(b"</", element.start, element.end), escape(reference)))
    if not todo:
        return changes
    prefix = sections[0].prefix.encode()
    new = b"".join(_name_xml(prefix, *key, reference) for key, reference in todo.items())
    holder = next((element for element in sections if element.name == "definedNames"), None)
    if holder is not None and xml[holder.open_end - 2:holder.open_end] != b"/>":
        place = xml.rindex(b"</", holder.start, holder.end)
        return [*changes, (place, place, new)]
    whole = b"<" + prefix + b"definedNames>" + new + b"</" + prefix + b"definedNames>"
    if holder is not None:
        return [*changes, (holder.start, holder.end, whole)]
    place = after_last(sections, BEFORE_NAMES)
    return [*changes, (place, place, whole)]


def _name_xml(prefix: bytes, name: str, sheet: str | None, reference: str) -> bytes:
    where = b"" if sheet is None else b' localSheetId="' + sheet.encode() + b'"'
    tag = prefix + b"definedName"
    opening = b"<" + tag + b' name="' + escape(name) + b'"' + where + b">"
    return opening + escape(reference) + b"</" + tag + b">"


def _patch_chain(archive, book: Book, owned: list[SheetPart], changed: dict, dropped: set) -> None:
    """Take the owned sheets' cells out of the calculation chain; an empty chain goes with all that names
    it.
    """
    part = book.chain_part
    if part is None or part not in archive.NameToInfo:
        return
    xml = archive.read(part)
    ids = {sheet.sheet_id for sheet in owned}
    sheet_id, kept, gone = "", [], 0
    entries = find_elements(xml, {"c"}, {"calcChain"})
    for entry in entries:
        sheet_id = entry.about.get("i", sheet_id)
        if sheet_id in ids:
            gone += 1
        else:
            kept.append(set_attributes(xml, entry, i=sheet_id)[2])
    if not gone:
        return
    if kept:
        changed[part] = apply_changes(xml, [(entries[0].start, entries[-1].end, b"".join(kept))])
        return
    drop_chain(archive, book, changed, dropped)


def drop_chain(archive, book: Book, changed: dict, dropped: set) -> None:
    """Leave the calculation chain out, with all that names it; the program builds it again."""
    part = book.chain_part
    if part is None or part not in archive.NameToInfo:
        return
    dropped.add(part)
    types, relations = "[Content_Types].xml", rels_name(book.workbook_part)
    changed[types] = _without(archive.read(types), "Override", "PartName", lambda name: name == "/" + part)
    changed[relations] = _without(archive.read(relations), "Relationship", "Type",
                                  lambda kind: kind.endswith("/calcChain"))


def _without(xml: bytes, name: str, attribute: str, matches) -> bytes:
    gone = [e for e in find_elements(xml, {name}) if matches(e.about.get(attribute, ""))]
    return apply_changes(xml, [(element.start, element.end, b"") for element in gone])


def read_style_ids(path, sheet: str, cells: Iterable[str]) -> dict[str, int]:
    """Style index of cells by address, for taking over the looks of a legend; 0 for a cell that is not
    there.
    """
    places = {split_address(address): address for address in cells}
    found = dict.fromkeys(places.values(), 0)
    with zipfile.ZipFile(path) as archive:
        part = _owned(read_book(archive), sheet)
        with archive.open(part.part) as stream:
            for cell in iter_cells(read_chunks(stream), max((row for row, _ in places), default=-1)):
                address = places.get((cell.row, cell.column))
                if address is not None:
                    found[address] = cell.style
    return found


def check_written(path, parts: Iterable[str], rows: dict[str, int] | None = None) -> None:
    """Read the rewritten parts back: whole, well formed, and with as many rows as meant.

    rows: sheet name -> rows it must hold. Raises FileProblem if not; the new file must then not be used.
    """
    with zipfile.ZipFile(path) as archive:
        expected = {}
        if rows:
            book = read_book(archive)
            expected = {_owned(book, name).part: count for name, count in rows.items()}
        for part in parts:
            try:
                found = _read_through(archive, part, part in expected)
            except DAMAGE as error:
                raise FileProblem(f"The new file is damaged ({part}: {error}). {NOT_USED}") from error
            if found != expected.get(part):
                raise FileProblem(
                    f"The new file holds {found} rows of {part}, not {expected[part]}. {NOT_USED}"
                )


def _read_through(archive, part: str, rows: bool) -> int | None:
    """Read a part to its end, which proves its checksum; small ones are parsed. The number of its rows if asked for.

    A < never stands in the text of a worksheet part written here, so the count is exact.
    """
    parser = expat.ParserCreate() if archive.getinfo(part).file_size < PARSE_FULLY_BELOW else None
    mark, found, rest = None, 0, b""
    with archive.open(part) as stream:
        for piece in read_chunks(stream, PIECE):
            if parser:
                parser.Parse(piece, False)
            if rows and mark is None:
                piece, rest = rest + piece, b""
                tag = DATA_TAG.search(piece)
                mark = b"<" + tag.group(1) + b'row r="' if tag else None
            if mark:
                piece = rest + piece
                found, rest = found + piece.count(mark), piece[1 - len(mark):]
            elif rows:
                rest = piece
    if parser:
        parser.Parse(b"", True)
    return found if rows else None

"""The closed file as a port: read the inputs, write the result sheets, swap the whole file in at once."""
from __future__ import annotations

import zipfile
from functools import cached_property
from pathlib import Path
from xml.parsers import expat

from calc.raw import RawTable
from workbook_template.draw_results import chart_parts
from workbook_template.looks import RESULT_LOOKS
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.package import (
    Block,
    CellData,
    ColumnData,
    SheetPatch,
    check_written,
    patch,
    read_style_ids,
    sheet_parts,
    used_range,
    write_rows,
)
from workbook_template.ports.parts import column_letters
from workbook_template.ports.reader import Known, read_cells, read_names, read_tables, read_values
from workbook_template.ports.swap import Guard, write_new
from workbook_template.results import ResultSheet
from workbook_template.sheets.answers import LOOKS_TITLE


class ClosedFile:
    """A workbook on disk, held from before it is read until its new version is whole.

    out: write there and leave the file as it is. Raises FileInUse at once where a program has the file open.
    """

    def __init__(self, path: Path, out: Path | None = None, force: bool = False):
        self._guard = Guard(path, force=force)
        self.source = self._guard.path
        self.target = out if out else path

    @property
    def name(self) -> str:
        """The workbook's file name, for messages."""
        return Path(self.target).name

    @cached_property
    def known(self) -> Known:
        """What is read again and again of the file that the guard holds, read once."""
        return Known(self.source)

    def marks(self) -> dict[str, str]:
        """The workbook's own constants by defined name (bb_profile, bb_layout), as text."""
        return {name: text.strip('="') for name, text in self.known.book.names.items() if name.startswith("bb_")}

    def tables(self, specs) -> dict[str, RawTable]:
        """The input tables. Raises LayoutProblem, FileProblem."""
        tables = read_tables(self.known, specs)
        self.known.pack_strings()
        return tables

    def named(self, prefix: str) -> dict[str, object]:
        """Values of the single cells whose defined names begin so."""
        return read_names(self.known, prefix)

    def cells(self, sheet: str) -> dict[tuple[int, int], object]:
        """Filled cells of a sheet, (row, column), 0-based -> value; {} where it is not there."""
        return read_values(self.known, sheet)

    def require(self, names) -> dict:
        """The parts of the workbook's sheets by name. Raises LayoutProblem for every result sheet of these names that is not there."""
        parts = sheet_parts(self.source)
        missing = [name for name in names if name not in parts]
        if missing:
            raise LayoutProblem([f"The result sheet {name} is not there. It was called {name}: if you renamed it, rename it back; "
                                 "if it is gone, copy it back from the last backup." for name in missing])
        return parts

    def write(self, sheets: list[ResultSheet]) -> Path | None:
        """Write the result sheets; returns the backup's path, None where the result went elsewhere."""
        parts, styles = self.require([sheet.name for sheet in sheets]), legend(self.known)
        patches = {sheet.name: _patch(self.source, sheet, parts[sheet.name], styles) for sheet in sheets}
        made: dict[str, list[str]] = {}

        def put(path: Path) -> None:
            made["parts"] = patch(self.source, path, patches)

        def check(path: Path) -> None:
            check_written(path, made["parts"], {sheet.name: len(sheet.rows_used()) for sheet in sheets})

        if Path(self.target).resolve() == self.source.resolve():
            return self._guard.save(put, check)
        write_new(self.target, put, check, overwrite=False)
        return None


def samples(path: Path | Known) -> dict[str, str]:
    """Cell on Sources -> the look it is a sample of, from the key at the foot of that sheet. Raises LayoutProblem without it."""
    cells = read_cells(path, "Sources")
    top = next((int(a[1:]) for a, v in cells.items() if a[0] == "A" and a[1:].isdigit() and v == LOOKS_TITLE), None)
    if top is None:
        raise LayoutProblem([f'Sources has lost its last block, "{LOOKS_TITLE}". Copy the sheet Sources back from the last backup, '
                             "or from a new workbook of the same units."])
    return {f"B{top + 1 + i}": look for i, look in enumerate(RESULT_LOOKS)}


def legend(path: Path | Known) -> dict[str, int]:
    """Look -> style number in this file, from the samples at the foot of Sources."""
    known = Known.of(path)
    spots = samples(known)
    return {spots[address]: style for address, style in read_style_ids(known.path, "Sources", spots).items()}


def _patch(path: Path, sheet: ResultSheet, part, styles: dict[str, int]) -> SheetPatch:
    blocks = [Block(b.row + 1, b.col + 1, [ColumnData(values, styles[look]) for values, look in b.columns]) for b in sheet.blocks]
    last = {(c.row, c.col): c for c in sheet.cells}
    cells = [CellData(c.row + 1, c.col + 1, c.value, styles[c.look]) for c in last.values()]
    heights = {row + 1: height for row, height in sheet.heights.items()}
    tables = {}
    if sheet.filter and sheet.table_name in _table_names(path, part):
        r1, c1, r2, c2 = sheet.filter
        tables[sheet.table_name] = f"{column_letters(c1)}{r1 + 1}:{column_letters(c2)}{r2 + 1}"
    return SheetPatch(rows=write_rows(blocks, cells, heights), dimension=used_range(blocks, cells), tables=tables,
                      charts=_charts(path, sheet, part))


def _table_names(path: Path, part) -> set[str]:
    from workbook_template.ports.sheetxml import table_name
    with zipfile.ZipFile(path) as archive:
        return {table_name(archive.read(p)) for p in part.of_kind("table")}


def _charts(path: Path, sheet: ResultSheet, part) -> dict[int, bytes]:
    """Position in the drawing -> new chart part, for the charts that are still there; others are the grower's own."""
    if not sheet.charts:
        return {}
    with zipfile.ZipFile(path) as archive:
        titles = [chart_title(archive.read(name)) for name in part.charts]
    made = {chart.title: xml for chart, xml in zip(sheet.charts, chart_parts(sheet), strict=True)}
    return {i: made[title] for title, i in _matched(list(made), titles).items()}


def _matched(wanted: list[str], there: list[str]) -> dict[str, int]:
    """Title -> position of the chart that has it, or else of the only one that has it but for the unit in brackets at the end.

    The unit changes with the currency on Settings.
    """
    found = {title: there.index(title) for title in wanted if title in there}
    for title in wanted:
        alike = [i for i, other in enumerate(there) if i not in found.values() and bare_title(other) == bare_title(title)]
        if title not in found and len(alike) == 1:
            found[title] = alike[0]
    return found


def bare_title(title: str) -> str:
    """A chart's title without the unit in brackets at its end."""
    return title.rpartition(" (")[0] or title


def chart_title(xml: bytes) -> str:
    """The title of a chart part: the text of its first title element."""
    words, depth = [], [0, False]

    def start(tag, attributes):
        name = tag.rpartition(":")[2]
        if name == "title" and not words:
            depth[0] = 1
        depth[1] = depth[0] == 1 and name == "t"

    def end(tag):
        name = tag.rpartition(":")[2]
        depth[1] = False
        if name == "title":
            depth[0] = 2

    def text(data):
        if depth[1]:
            words.append(data)

    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
    parser.Parse(xml, True)
    return "".join(words)


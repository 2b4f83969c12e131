"""The parts of a workbook file: which part is which sheet, what hangs on it, names, styles, shared strings.

Names of parts are never guessed from numbers; they are followed through the relationship files, because
Excel, LibreOffice and others number and order them differently.
"""
from __future__ import annotations

import posixpath
import re
import zipfile
from dataclasses import dataclass, field, replace
from functools import lru_cache
from threading import Lock
from xml.parsers import expat

import numpy as np
from defusedxml import ElementTree

DATE_FORMAT_IDS = {*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)}  # ECMA-376 part 1, 18.8.30
ADDRESS = re.compile(r"\$?([A-Za-z]{1,3})\$?([1-9][0-9]{0,6})")
CHARTSHEET = "chartsheet"  # the state of whatever is no worksheet


@lru_cache(maxsize=4096)
def local(tag: str) -> str:
    """Name of an element or attribute without its namespace or prefix."""
    return tag.rpartition("}")[2].rpartition(":")[2]


def attributes(element) -> dict[str, str]:
    """Attributes by local name."""
    return {local(key): value for key, value in element.attrib.items()}


@dataclass(frozen=True)
class Relation:
    """One relationship of a part: kind is the last word of its type ("table", "drawing", "chart")."""

    id: str
    kind: str
    target: str


@dataclass(frozen=True)
class SheetPart:
    """A sheet's name, its part, its state and the parts it refers to."""

    name: str
    part: str
    index: int
    sheet_id: str = ""
    state: str = "visible"
    relations: tuple[Relation, ...] = ()
    charts: tuple[str, ...] = ()

    def of_kind(self, kind: str) -> list[str]:
        return [relation.target for relation in self.relations if relation.kind == kind]


@dataclass
class Book:
    """What the workbook part says: sheets in tab order, defined names, date system."""

    workbook_part: str
    sheets: list[SheetPart] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)  # workbook-wide defined names only
    date1904: bool = False
    strings_part: str | None = None
    styles_part: str | None = None
    chain_part: str | None = None

    def sheet(self, name: str) -> SheetPart | None:
        """The sheet of that name; spreadsheet programs ignore case in sheet names."""
        wanted = name.strip().casefold()
        for sheet in self.sheets:
            if sheet.name == name:
                return sheet
        return next((sheet for sheet in self.sheets if sheet.name.strip().casefold() == wanted), None)


def rels_name(part: str) -> str:
    """The relationship file that belongs to a part ("" = the package)."""
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", name + ".rels")


def read_relations(archive: zipfile.ZipFile, part: str) -> list[Relation]:
    """Relationships of a part to other parts of the file; links to the outside are left out."""
    name = rels_name(part)
    if name not in archive.NameToInfo:
        return []
    found = []
    for element in ElementTree.fromstring(archive.read(name)):
        about = attributes(element)
        if about.get("TargetMode") != "External":
            target = posixpath.normpath(posixpath.join("/", posixpath.dirname(part), about.get("Target", "")))
            kind = about.get("Type", "").rpartition("/")[2]
            found.append(Relation(about.get("Id", ""), kind, target.lstrip("/")))
    return found


def read_book(archive: zipfile.ZipFile, charts: bool = False) -> Book:
    """Read the workbook part. With charts=True each sheet lists its chart parts in drawing order."""
    package = read_relations(archive, "")
    part = next((r.target for r in package if r.kind == "officeDocument"), "xl/workbook.xml")
    relations = {r.id: r for r in read_relations(archive, part)}
    kinds = {r.kind: r.target for r in relations.values()}
    book = Book(part, strings_part=kinds.get("sharedStrings"), styles_part=kinds.get("styles"),
                chain_part=kinds.get("calcChain"))
    position = 0
    for element in ElementTree.fromstring(archive.read(part)).iter():
        tag = local(element.tag)
        if tag == "workbookPr":
            book.date1904 = attributes(element).get("date1904", "0") in ("1", "true", "on")
        elif tag == "definedName":
            about = attributes(element)
            if "localSheetId" not in about:
                book.names[about.get("name", "")] = (element.text or "").strip()
        elif tag == "sheet":
            about = attributes(element)
            relation = relations.get(about.get("id", ""))
            if relation is not None and relation.target in archive.NameToInfo:
                book.sheets.append(_sheet(archive, position, about, relation, charts))
            position += 1
    return book


def _sheet(archive, position: int, about: dict, relation: Relation, charts: bool) -> SheetPart:
    sheet = SheetPart(about["name"], relation.target, position, about.get("sheetId", ""), CHARTSHEET)
    if relation.kind != "worksheet":
        return sheet
    own = tuple(read_relations(archive, relation.target)) if charts else ()
    drawn = tuple(chart for r in own if r.kind == "drawing" for chart in _charts_of(archive, r.target))
    return replace(sheet, state=about.get("state", "visible"), relations=own, charts=drawn)


def _charts_of(archive: zipfile.ZipFile, drawing: str) -> list[str]:
    """Chart parts in the order in which the drawing shows them."""
    if drawing not in archive.NameToInfo:
        return []
    relations = {r.id: r.target for r in read_relations(archive, drawing) if r.kind == "chart"}
    shown = []
    for element in ElementTree.fromstring(archive.read(drawing)).iter():
        target = relations.get(attributes(element).get("id", ""))
        if target and local(element.tag) == "chart":
            shown.append(target)
    return shown


def sheet_parts(path) -> dict[str, SheetPart]:
    """Sheet name -> part with its relationships (tables, drawings) and charts."""
    with zipfile.ZipFile(path) as archive:
        return {sheet.name: sheet for sheet in read_book(archive, charts=True).sheets}


def is_date_format(code: str) -> bool:
    """True if a number format shows a date or a time.

    >>> is_date_format("d mmm yyyy"), is_date_format("[h]:mm"), is_date_format('0.00" days"')
    (True, True, False)
    """
    plain = re.sub(r'"[^"]*"|\\.|_.|\*.', "", code)
    plain = re.sub(r"\[(?!(?:h+|m+|s+)\])[^\]]*\]", "", plain, flags=re.I)
    plain = re.sub(r"general|standard", "", plain.split(";")[0], flags=re.I)
    return bool(re.search(r"[dmyhs]", plain, flags=re.I))


def read_date_styles(archive: zipfile.ZipFile, book: Book) -> np.ndarray:
    """Array by style index (the s of a cell): True where the format shows a date or a time."""
    if not book.styles_part or book.styles_part not in archive.NameToInfo:
        return np.zeros(1, dtype=bool)
    root = ElementTree.fromstring(archive.read(book.styles_part))
    codes, flags = {}, []
    for section in root:
        if local(section.tag) == "numFmts":
            for element in section:
                about = attributes(element)
                codes[int(about.get("numFmtId", -1))] = about.get("formatCode", "")
        elif local(section.tag) == "cellXfs":
            ids = [int(attributes(element).get("numFmtId", 0)) for element in section]
            flags = [is_date_format(codes[i]) if i in codes else i in DATE_FORMAT_IDS for i in ids]
    return np.array(flags or [False], dtype=bool)


def unescape(text: str) -> str:
    """Turn Excel's _x000D_ form of control characters back into characters."""
    if "_x" not in text:
        return text
    return ESCAPED.sub(lambda found: _character(int(found.group(1), 16)), text)


def _character(code: int) -> str:
    """The character of a number; none where no text may hold it (XML 1.0, 2.2), so that what is read can be written and printed."""
    return "" if code < 32 and code not in (9, 10, 13) or code in (0xFFFE, 0xFFFF) else chr(code)


ESCAPED = re.compile(r"_x((?![Dd][89A-Fa-f])[0-9A-Fa-f]{4})_")  # half a character stays as it is: no text can hold it
SPACES = " \t\r\n"  # taken away at the ends of a text that is not marked to keep them, as the fast reader does


def string_parser(strings: list[str]):
    """A parser of shared strings that puts each into a list."""
    texts, state = [], {"keep": False, "phonetic": 0, "from": 0, "trim": True}

    def start(tag, about):
        name = local(tag)
        if name == "rPh":
            state["phonetic"] += 1
        elif name == "t" and not state["phonetic"]:
            state.update(keep=True, trim=about.get("xml:space") != "preserve")
            state["from"] = len(texts)
        elif name == "si":
            texts.clear()

    def end(tag):
        name = local(tag)
        if name == "t":
            if state["keep"] and state["trim"]:
                texts[state["from"]:] = ["".join(texts[state["from"]:]).strip(SPACES)]
            state["keep"] = False
        elif name == "rPh":
            state["phonetic"] -= 1
        elif name == "si":
            strings.append(unescape("".join(texts)))

    def data(text):
        if state["keep"]:
            texts.append(text)

    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, data
    return parser


PLAIN_STRINGS = re.compile(rb'(?:<si><t(?:>(?![ \t\n])[^<&\r]*(?<![ \t\n])| xml:space="preserve">[^<&\r]*)</t></si>)+')
PLAIN_STRING = re.compile(r"<t[^>]*>([^<]*)</t>")
BETWEEN = "</t></si><si><t>"


class SharedStrings:
    """The shared strings, parsed only when one is asked for, and only as far as needed."""

    def __init__(self, path, part: str | None):
        self.path, self.part, self.known = path, part, []
        self.complete = part is None
        self._packed = self._coded = None
        self._lock = Lock()  # tables are read in two threads
        self._rest, self._plain = b"", True
        self._fed, self._parser = 0, string_parser(self.known) if part else None

    def get(self, index: int) -> str:
        """A shared string; "" where there is none of that number."""
        if self._packed is not None:
            return self._packed[index].as_py() if 0 <= index < len(self._packed) else ""
        if index >= len(self.known) and not self.complete:
            self._read_to(index)
        if not 0 <= index < len(self.known):
            return ""
        return self.known[index]

    def read_all(self) -> None:
        """Parse them to the end."""
        if not self.complete:
            self._read_to(1 << 62)

    def coded(self) -> tuple[np.ndarray, np.ndarray]:
        """(for each shared string the number of its text, -1 where it is blank; the distinct texts)."""
        self.read_all()
        with self._lock:
            if self._coded is None:
                import pandas as pd
                known = self.known if self._packed is None else self._packed.to_pylist()
                texts = np.empty(len(known), dtype=object)
                texts[:] = known
                codes, words = pd.factorize(texts)
                blank = np.array([not text or text.isspace() for text in words], dtype=bool)
                self._coded = np.where(blank[codes], -1, codes) if blank.any() else codes, words
            return self._coded

    def pack(self) -> None:
        """Hold them closely packed from now on, and as far as they were read."""
        self._coded = None
        if self.complete and self._packed is None:
            import pyarrow as arrow
            self._packed, self.known = arrow.array(self.known, arrow.string()), []

    def _read_to(self, index: int) -> None:
        """Go on parsing where it stopped, up to and including an index."""
        with self._lock, zipfile.ZipFile(self.path) as archive, archive.open(self.part) as stream:
            stream.seek(self._fed)
            while len(self.known) <= index and not self.complete:
                chunk = stream.read(1 << 18)
                self._take(self._rest + chunk, not chunk)
                self._fed, self.complete = self._fed + len(chunk), not chunk

    def _take(self, data: bytes, last: bool) -> None:
        """Strings of a piece: runs of plain ones are cut out and taken at once, all else goes through the parser."""
        if self._fed == 0:
            self._plain = re.match(rb"(?!.*encoding=(?!.utf-?8))", data[:200], re.I | re.S) is not None
        self._plain = self._plain and b"<!" not in data
        at = 0
        if self._plain and not last:
            at = self._take_plain(data)
        for run in PLAIN_STRINGS.finditer(data, at) if self._plain else ():
            self._parser.Parse(data[at:run.start()])
            texts, at = PLAIN_STRING.findall(run.group().decode()), run.end()
            self.known.extend(map(unescape, texts) if b"_x" in run.group() else texts)
        cut = max(data.rfind(b"<si>"), at) if self._plain and not last else len(data)
        self._parser.Parse(data[at:cut], last)
        self._rest = data[cut:]

    def _take_plain(self, data: bytes) -> int:
        """Take all strings but the last at once, where nothing but plain ones stands in a piece; how far they reach."""
        cut = data.rfind(b"<si>")
        if cut <= 0 or not data.startswith(b"<si><t>") or not data.endswith(b"</t></si>", 0, cut) or data.count(b"<", 0, cut) % 4:
            return 0
        body = data[:cut]
        if b"&" in body or b"\r" in body:
            return 0
        if any(space in body and (b">" + space in body or space + b"<" in body) for space in (b" ", b"\t", b"\n")):
            return 0
        texts = body[7:-9].decode().split(BETWEEN)
        if 4 * len(texts) != body.count(b"<"):
            return 0
        self.known.extend(map(unescape, texts) if b"_x" in body else texts)
        return cut


def column_letters(column: int) -> str:
    """Letters of a column, 0-based: 0 -> A, 27 -> AB."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def split_address(address: str) -> tuple[int, int]:
    """Row and column, both 0-based, of an address such as B7 or $B$7; ValueError if it is none."""
    found = ADDRESS.fullmatch(address)
    if not found:
        raise ValueError(f"{address!r} is not a cell address")
    return int(found.group(2)) - 1, _column(found.group(1))


@lru_cache(maxsize=4096)
def _column(letters: str) -> int:
    """Column, 0-based, of its letters."""
    column = 0
    for letter in letters.upper():
        column = column * 26 + ord(letter) - 64
    return column - 1


def split_range(text: str) -> tuple[int, int, int, int]:
    """First row, first column, last row, last column (0-based) of "A5:B7" or "A5"."""
    first, _, last = text.partition(":")
    row, column = split_address(first)
    last_row, last_column = split_address(last) if last else (row, column)
    return min(row, last_row), min(column, last_column), max(row, last_row), max(column, last_column)


def split_reference(text: str) -> tuple[str, str] | None:
    """Sheet and range of a reference such as 'My sheet'!$A$1:$B$2; None if it is something else."""
    sheet, mark, cells = text.strip().lstrip("=").rpartition("!")
    if not mark or "," in cells or "#" in text or "[" in sheet:
        return None
    if sheet.startswith("'") and sheet.endswith("'"):
        sheet = sheet[1:-1].replace("''", "'")
    return sheet, cells

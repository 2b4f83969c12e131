"""Looks at a file before anything parses it: is it a workbook, and is it safe to read.

A workbook from a partner is a stranger's file. Everything here reads the zip's directory and the first bytes
of its parts only, so a hostile file costs nothing.
"""
from __future__ import annotations

import contextlib
import os
import zipfile
import zlib
from xml.parsers import expat

MAX_PARTS = 5_000
MAX_TOTAL_BYTES = 2_000_000_000  # a yard of 100,000 logs with 500,000 events is 0.32 GB of XML (measured)
MAX_TEXTS_BYTES = 300_000_000  # the shared strings of 500,000 events with a note of 100 characters each are 0.06 GB
MAX_RATIO = 200  # honest worksheets reach 13:1 to 40:1 (measured); bombs 1000:1
RATIO_FROM_BYTES = 10_000_000  # a small part may be very repetitive; a big one may not
MAX_AREA = 25_000_000  # cells of the rectangle from A1 to the last used cell; a reader holds all of them (0.6 GB)
SPARSE_FROM_AREA = 3_000_000
SPARSE_TIMES = 50  # the rectangle may be this many times larger than the cells in it

ZIP_MAGIC = b"PK\x03\x04"
OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
NOT_OPENED = "It was not opened; ask whoever sent it for a fresh copy."
LOCKED = "is locked with a password. Save a copy without the password, then try again."
SAVE_AS = 'Open it and save it as "Excel Workbook (.xlsx)", then try again.'


class FileProblem(Exception):
    """The file cannot be used as it is; the message is one sentence for the grower, with what to do."""


# What reading a damaged zip, missing parts or broken XML raises (ElementTree's ParseError is a SyntaxError).
DAMAGE = (
    zipfile.BadZipFile, EOFError, NotImplementedError, zlib.error, KeyError, SyntaxError, expat.ExpatError,
)


@contextlib.contextmanager
def damage_named(path, *more: type[Exception]):
    """Turn the errors of a damaged zip or broken XML, and those of the types in more, into a FileProblem."""
    try:
        yield
    except (*DAMAGE, *more) as error:
        name = os.path.basename(os.fspath(path))
        raise FileProblem(
            f"{name} is damaged or cut short ({error}). Use the backup beside it, or copy it again."
        ) from error


def check_file(path) -> None:
    """Raise FileProblem unless the file is a readable, harmless .xlsx or .xlsm workbook.

    A file that was found good and has not changed since is not looked at again.
    """
    name = os.path.basename(os.fspath(path))
    _check_outside(path, name)
    about = os.stat(path)
    state = os.path.realpath(path), about.st_ino, about.st_size, about.st_mtime_ns, about.st_ctime_ns
    if state == _GOOD.get("last"):
        return
    with damage_named(path), zipfile.ZipFile(path) as archive:
        _check_parts(archive, name)
    _GOOD["last"] = state


_GOOD: dict[str, tuple] = {}


def _check_outside(path, name: str) -> None:
    if not os.path.exists(path):
        raise FileProblem(f"There is no file {name} in that folder. Check the name and where it was saved.")
    if os.path.isdir(path):
        raise FileProblem(f"{name} is a folder. Give the workbook inside it.")
    with open(path, "rb") as handle:
        start = handle.read(8)
    if not start:
        raise FileProblem(f"{name} is empty (0 bytes). Use the backup beside it, or copy it again.")
    if start == OLE_MAGIC:
        _refuse_ole(path, name)
    if not start.startswith(ZIP_MAGIC):
        raise FileProblem(f"{name} is not an Excel workbook. {SAVE_AS}")


def _refuse_ole(path, name: str) -> None:
    with open(path, "rb") as handle:
        content = handle.read(4_000_000)
    if "EncryptedPackage".encode("utf-16-le") in content:
        raise FileProblem(f"{name} {LOCKED}")
    raise FileProblem(f"{name} is in the old .xls format. {SAVE_AS}")


def _check_parts(archive: zipfile.ZipFile, name: str) -> None:
    entries = archive.infolist()
    names = {entry.filename for entry in entries}
    if "mimetype" in names and "content.xml" in names:
        raise FileProblem(f"{name} is an OpenDocument spreadsheet (.ods). {SAVE_AS}")
    if "xl/workbook.bin" in names:
        raise FileProblem(f"{name} is a binary workbook (.xlsb). {SAVE_AS}")
    if "xl/workbook.xml" not in names or "[Content_Types].xml" not in names:
        raise FileProblem(f"{name} is a zip file but not an Excel workbook. {SAVE_AS}")
    if len(entries) > MAX_PARTS:
        raise FileProblem(f"{name} holds {len(entries):,} parts; a workbook has a few dozen. {NOT_OPENED}")
    if len(names) != len(entries):
        raise FileProblem(f"{name} holds two parts of the same name. {SAVE_AS}")
    total = sum(entry.file_size for entry in entries)
    if total > MAX_TOTAL_BYTES:
        raise FileProblem(f"{name} unpacks to {total / 1e9:.1f} GB, more than this can read safely. "
                          "Start a new workbook for the new season.")
    texts = sum(entry.file_size for entry in entries if entry.filename.lower().endswith("sharedstrings.xml"))
    if texts > MAX_TEXTS_BYTES:
        raise FileProblem(f"{name} holds {texts / 1e9:.1f} GB of texts, more than this can read safely. {NOT_OPENED}")
    for entry in entries:
        _check_entry(archive, entry, name)


def _check_entry(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str) -> None:
    inside = entry.filename
    steps = inside.replace("\\", "/").split("/")
    if steps[0] == "" or ":" in steps[0] or ".." in steps:
        raise FileProblem(f"{name} holds a part with a path out of the workbook ({inside}). {NOT_OPENED}")
    if entry.flag_bits & 0x1:
        raise FileProblem(f"{name} {LOCKED}")
    times = entry.file_size // max(entry.compress_size, 1)
    if entry.file_size > RATIO_FROM_BYTES and times > MAX_RATIO:
        raise FileProblem(f"{name} holds a part ({inside}) that unpacks to {times:,} times its size, as "
                          f"harmful files do. {NOT_OPENED}")
    if inside.lower().endswith((".xml", ".rels", ".vml")):
        with archive.open(entry) as part:
            _check_xml_head(part, inside, name)


def _check_xml_head(part, inside: str, name: str) -> None:
    """Read a part up to its root element: no document type, and an encoding that workbooks use."""
    seen = {}
    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = lambda *_: seen.setdefault("doctype", True)
    parser.XmlDeclHandler = lambda _version, encoding, _: seen.setdefault("encoding", encoding or "utf-8")
    parser.StartElementHandler = lambda *_: seen.setdefault("root", True)
    first = part.read(4096)
    chunk = first
    try:
        while chunk and "root" not in seen and "doctype" not in seen:
            parser.Parse(chunk)
            chunk = part.read(4096)
    except expat.ExpatError as error:
        if "root" not in seen and "doctype" not in seen:
            raise FileProblem(f"{name} holds a damaged part ({inside}: {error}). {SAVE_AS}") from error
    if "doctype" in seen:
        raise FileProblem(f"{name} holds a part ({inside}) with a document type, as harmful files do. "
                          f"{NOT_OPENED}")
    wide = b"\x00" in first[:4] or first.startswith((b"\xff\xfe", b"\xfe\xff"))
    if not inside.startswith("customXml/") and (
        wide or seen.get("encoding", "utf-8").lower() not in ("utf-8", "us-ascii")
    ):
        raise FileProblem(f"{name} holds a part ({inside}) in an encoding workbooks do not use. {SAVE_AS}")


def check_extent(sheet: str, last_cell: str, area: int, cells: int) -> None:
    """Refuse a sheet whose used rectangle is so large and empty that a reader would exhaust the memory.

    last_cell: the rectangle's far corner; area: its cells from A1 on; cells: how many of them hold something.
    """
    sparse = area > SPARSE_FROM_AREA and area > SPARSE_TIMES * max(cells, 1)
    if area > MAX_AREA or sparse:
        raise FileProblem(
            f"Sheet {sheet}: a stray cell stands far from the rest (the used area reaches {last_cell}). "
            "Press Ctrl+End to go there, delete the rows and columns beyond your last entry, save, "
            "and try again."
        )

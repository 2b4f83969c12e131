"""Looks at a file before anything parses it: is it a workbook, and is it safe to read.

A workbook from a partner is a stranger's file. Everything here reads the zip's directory and the first bytes of
its parts only, so a hostile file costs nothing.
"""
from __future__ import annotations

import os
import zipfile

MAX_PARTS = 5_000
MAX_TOTAL_BYTES = 2_000_000_000  # a yard of 100,000 logs with 500,000 events is 0.32 GB of XML (measured)
MAX_RATIO = 200  # honest worksheets reach 13:1 to 40:1 (measured); bombs 1000:1
RATIO_FROM_BYTES = 10_000_000  # a small part may be very repetitive; a big one may not
MAX_AREA = 40_000_000  # cells of the rectangle from A1 to the last used cell
SPARSE_FROM_AREA = 3_000_000
SPARSE_TIMES = 50  # the rectangle may be this many times larger than the cells in it

ZIP_MAGIC = b"PK\x03\x04"
OLE_MAGIC = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
SAVE_AS = 'Open it and save it as "Excel Workbook (.xlsx)", then try again.'


class FileProblem(Exception):
    """The file cannot be used as it is; the message is one sentence for the grower, with what to do."""


def check_file(path) -> None:
    """Raise FileProblem unless the file is a readable, harmless .xlsx or .xlsm workbook."""
    name = os.path.basename(os.fspath(path))
    _check_outside(path, name)
    try:
        with zipfile.ZipFile(path) as archive:
            _check_parts(archive, name)
    except (zipfile.BadZipFile, EOFError, NotImplementedError, zipfile.zlib.error) as error:
        raise FileProblem(
            f"{name} is damaged or cut short ({error}). Use the backup beside it, or copy it again."
        ) from error


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
        raise FileProblem(f"{name} is locked with a password. Save a copy without the password, then try again.")
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
        raise FileProblem(f"{name} holds {len(entries):,} parts; a workbook has a few dozen. It was not opened.")
    if len(names) != len(entries):
        raise FileProblem(f"{name} holds two parts of the same name. {SAVE_AS}")
    total = sum(entry.file_size for entry in entries)
    if total > MAX_TOTAL_BYTES:
        raise FileProblem(f"{name} unpacks to {total / 1e9:.1f} GB, more than this can read safely. "
                          "Start a new workbook for the new season.")
    for entry in entries:
        _check_entry(archive, entry, name)


def _check_entry(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str) -> None:
    inside = entry.filename
    if inside.startswith(("/", "\\")) or ":" in inside.split("/")[0] or ".." in inside.replace("\\", "/").split("/"):
        raise FileProblem(f"{name} holds a part with a path that leaves the workbook ({inside}). It was not opened.")
    if entry.flag_bits & 0x1:
        raise FileProblem(f"{name} is locked with a password. Save a copy without the password, then try again.")
    if entry.file_size > RATIO_FROM_BYTES and entry.file_size > MAX_RATIO * max(entry.compress_size, 1):
        raise FileProblem(f"{name} holds a part ({inside}) packed {entry.file_size // max(entry.compress_size, 1):,} "
                          "times smaller than it is, as harmful files do. It was not opened.")
    if inside.lower().endswith((".xml", ".rels", ".vml")):
        with archive.open(entry) as part:
            _check_xml_head(part.read(4096), inside, name)


def _check_xml_head(head: bytes, inside: str, name: str) -> None:
    if head.startswith((b"\xff\xfe", b"\xfe\xff", b"\x00<", b"<\x00")):
        raise FileProblem(f"{name} holds a part ({inside}) in an encoding workbooks do not use. {SAVE_AS}")
    if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
        raise FileProblem(f"{name} holds a part ({inside}) with a document type, as harmful files do. "
                          "It was not opened.")
    declaration = head.split(b"?>", 1)[0].lower() if head.lstrip(b"\xef\xbb\xbf").startswith(b"<?xml") else b""
    if b"encoding" in declaration and b"utf-8" not in declaration and b"us-ascii" not in declaration:
        raise FileProblem(f"{name} holds a part ({inside}) in an encoding workbooks do not use. {SAVE_AS}")


def check_extent(sheet: str, last_row: int, last_cell: str, area: int, cells: int) -> None:
    """Refuse a sheet whose used rectangle is so large and empty that a reader would exhaust the memory.

    last_row: last row that holds most of the data (for the message); last_cell: address of the farthest cell;
    area: cells of the rectangle from A1 to the farthest cell; cells: cells that hold something.
    """
    sparse = area > SPARSE_FROM_AREA and area > SPARSE_TIMES * max(cells, 1)
    if area > MAX_AREA or sparse:
        raise FileProblem(
            f"Sheet {sheet}: there is a stray cell far from the rest (the used area reaches {last_cell}). "
            f"Go there with Ctrl+End, delete the rows and columns beyond your last entry"
            f"{f' (row {last_row})' if last_row else ''}, save, and try again."
        )

"""Files that are refused before anything parses them, each with one sentence that says what to do."""
from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile

import pytest
from rich_workbook import LOG_COLUMNS, build, change_part

from workbook_template.ports.layout import TableSpec
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_tables

LOGS = TableSpec("logs", "Logs", LOG_COLUMNS)
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # how old .xls and locked files begin


def refused(path, told: str) -> None:
    with pytest.raises(FileProblem, match=told):
        read_tables(path, [LOGS])


@pytest.fixture
def good(tmp_path):
    build(tmp_path / "a.xlsx")
    return tmp_path / "a.xlsx"


def test_not_a_workbook(tmp_path):
    refused(tmp_path / "gone.xlsx", "There is no file gone.xlsx")
    refused(tmp_path, "is a folder")
    for name, content, told in (("e.xlsx", b"", "empty"), ("t.xlsx", b"Log,Wood\n", "not an Excel workbook"),
                                ("old.xls", OLE + bytes(600), "old .xls format")):
        (tmp_path / name).write_bytes(content)
        refused(tmp_path / name, told)
    for name, part, told in (("z.xlsx", "a.txt", "not an Excel workbook"),
                             ("b.xlsx", "xl/workbook.bin", "xlsb")):
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            archive.writestr(part, "x")
        refused(tmp_path / name, told)


def test_encrypted_and_open_document(tmp_path, good, trusting_office):
    refused(trusting_office.convert(good, "ods"), "OpenDocument")
    locked = OLE + bytes(600) + "EncryptedPackage".encode("utf-16-le")
    (tmp_path / "locked.xlsx").write_bytes(locked)
    refused(tmp_path / "locked.xlsx", "locked with a password")


def test_cut_short_and_scrambled(tmp_path, good):
    whole = good.read_bytes()
    (tmp_path / "cut.xlsx").write_bytes(whole[:len(whole) // 2])
    refused(tmp_path / "cut.xlsx", "damaged or cut short")
    with zipfile.ZipFile(good) as archive:
        info = archive.getinfo("xl/worksheets/sheet2.xml")
    scrambled = bytearray(whole)
    middle = info.header_offset + 60 + info.compress_size // 2
    scrambled[middle:middle + 8] = b"\xff" * 8
    (tmp_path / "bad.xlsx").write_bytes(scrambled)
    refused(tmp_path / "bad.xlsx", "damaged")


def test_a_broken_sheet(good):
    change_part(good, "xl/worksheets/sheet2.xml", lambda xml: xml.replace(b"</row>", b"</rov>", 1))
    refused(good, "damaged")


@pytest.mark.parametrize("part", ["xl/worksheets/sheet2.xml", "xl/workbook.xml", "xl/sharedStrings.xml"])
def test_a_document_type_is_refused(good, part):
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    padding = b"<!--" + b" " * 9_000 + b"-->"
    change_part(good, part, lambda xml: xml.replace(b"?>\n", b"?>\n" + padding + bomb, 1))
    with zipfile.ZipFile(good) as archive:
        assert b"<!DOCTYPE" in archive.read(part)
    refused(good, "document type")


def test_other_encodings_are_refused(good):
    wide = '<?xml version="1.0" encoding="UTF-16"?><sst/>'.encode("utf-16")
    change_part(good, "xl/sharedStrings.xml", lambda _: wide)
    refused(good, "encoding")


def test_a_bomb_is_refused(good):
    with zipfile.ZipFile(good, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/big.bin", bytes(20_000_000))
    refused(good, "unpacks to")


def test_too_many_parts_and_bad_paths(tmp_path, good):
    for name in ("../evil.xml", "/evil.xml", "C:/evil.xml", "xl/../../evil.xml"):
        path = tmp_path / "path.xlsx"
        shutil.copy(good, path)
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr(name, "<a/>")
        refused(path, "path out of the workbook")
    with zipfile.ZipFile(good, "a") as archive:
        for i in range(5_001):
            archive.writestr(f"xl/media/{i}.bin", b"")
    refused(good, "parts; a workbook has")


def test_two_parts_of_one_name(good):
    with zipfile.ZipFile(good, "a") as archive, pytest.warns(UserWarning):
        archive.writestr("xl/workbook.xml", "<a/>")
    refused(good, "two parts of the same name")


FAR = """
import sys
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_tables
from rich_workbook import LOG_COLUMNS
try:
    read_tables(sys.argv[1], [("logs", "Logs", LOG_COLUMNS)])
except FileProblem as problem:
    print(problem)
"""


@pytest.mark.parametrize("cell, lie", [("XFD1048576", True), ("XFD1048576", False), ("F1048576", True)])
def test_a_far_corner_cell_is_refused_and_does_not_end_the_process(good, cell, lie):
    """Reading such a cell would end the whole process; the sheet's own dimension may be a lie."""
    row = cell.lstrip("XFD")
    new = f'<row r="{row}"><c r="{cell}"><v>1</v></c></row></sheetData>'.encode()
    change_part(good, "xl/worksheets/sheet2.xml", lambda xml: xml.replace(b"</sheetData>", new))
    if not lie:
        change_part(good, "xl/worksheets/sheet2.xml", lambda xml: xml.replace(
            b'<dimension ref="A1:F8"/>', f'<dimension ref="A1:{cell}"/>'.encode()))
    done = subprocess.run([sys.executable, "-c", FAR, str(good)], capture_output=True, text=True, timeout=60,
                          env={"PYTHONPATH": os.pathsep.join(sys.path)})
    assert done.returncode == 0, done.stderr
    assert "a stray cell stands far from the rest (the used area reaches " + cell in done.stdout


def test_far_formats_without_content_are_harmless(good):
    new = b'<row r="1048576"><c r="F1048576" s="1"/></row></sheetData>'
    change_part(good, "xl/worksheets/sheet2.xml", lambda xml: xml.replace(b"</sheetData>", new))
    assert read_tables(good, [LOGS])["logs"].length == 5

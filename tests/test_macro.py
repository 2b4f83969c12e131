"""The .xlsm with its Refresh button: the file, the macro text read back, the button bound, the refresh leaving it alone.

Read back with oletools and olefile; opened in a running LibreOffice, which compiles and runs the macros. Excel has not
opened it here: DEVELOPERS has the steps for a person who has Excel.
"""
from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import olefile
import openpyxl
import pytest
import xlsxwriter
import xlwings
from hypothesis import given
from hypothesis import strategies as st

from workbook_template.addin import macro
from workbook_template.addin.compound import compound_file
from workbook_template.addin.vba_project import PROJECT_ID, compress, encrypt, vba_project
from workbook_template.build import build
from workbook_template.refresh import refresh_file
from workbook_template.yard import Yard

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # of the parser that oletools uses
    from oletools.mraptor import MacroRaptor
    from oletools.olevba import VBA_Parser, decompress_stream

LOG = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("macro") / "yard.xlsm"
    build(path, Yard("us", {"logs": [LOG]}), rows=10, macro=True)
    return path


def part(path, name):
    with zipfile.ZipFile(path) as archive:
        return archive.read(name)


def test_the_file_is_whole(made):
    with zipfile.ZipFile(made) as archive:
        assert archive.testzip() is None
        types, book = archive.read("[Content_Types].xml").decode(), archive.read("xl/workbook.xml").decode()
        assert "application/vnd.ms-excel.sheet.macroEnabled.main+xml" in types and "application/vnd.ms-office.vbaProject" in types
        assert "relationships/vbaProject" in archive.read("xl/_rels/workbook.xml.rels").decode()
        assert 'codeName="ThisWorkbook"' in book
        sheets = [n for n in archive.namelist() if n.startswith("xl/worksheets/sheet")]
        codes = {re.search(r'codeName="(\w+)"', archive.read(n).decode())[1] for n in sheets}
    assert len(codes) == len(sheets) == len(openpyxl.load_workbook(made, keep_vba=True).sheetnames)
    modules = {name for _, _, name, _ in texts(made)}
    assert modules == {f"{code}.cls" for code in codes} | {"ThisWorkbook.cls", "Boltbook.bas", "BoltbookFunctions.bas"}


def test_the_file_is_valid(made):
    from openxml_audit import OpenXmlValidator
    result = OpenXmlValidator().validate(str(made))
    assert result.is_valid, [str(e) for e in result.errors][:5]


def texts(path):
    parser = VBA_Parser("vbaProject.bin", data=part(path, "xl/vbaProject.bin"))
    return [(stream, stream, name, text) for _, stream, name, text in parser.extract_all_macros()]


def test_the_macro_text_is_the_text_in_our_sources(made):
    found = {name: text.replace("\r\n", "\n") for _, _, name, text in texts(made)}
    for name, text in macro.modules().items():
        assert found[f"{name}.bas"] == text
    assert "refresh_caller()" in found["Boltbook.bas"] and "Auto" not in found["Boltbook.bas"]


def test_the_command_in_the_macro_runs_our_entry(made, monkeypatch):
    """The very text between the quotes, as the add-in hands it to Python; no quote or bar that a shell would take."""
    command = re.search(r'RunPython", "(.*)"', macro.REFRESH_MODULE)[1]
    assert command == macro.COMMAND and not set(command) & set("\"'|&%^=")
    from workbook_template.addin import excel_entry
    called = []
    monkeypatch.setattr(excel_entry, "refresh_caller", lambda: called.append(True))
    exec(command, {})
    assert called == [True]


def test_the_button_runs_the_macro(made):
    text = part(made, "xl/drawings/vmlDrawing1.vml").decode()
    name = re.search(r"<x:FmlaMacro>\[0\]!(\w+)</x:FmlaMacro>", text)[1]
    assert ">Refresh</font>" in text and f"Public Sub {name}()" in dict((n, t) for _, _, n, t in texts(made))["Boltbook.bas"]
    rels = ElementTree.fromstring(part(made, "xl/worksheets/_rels/sheet1.xml.rels"))
    assert any(r.get("Target").endswith("vmlDrawing1.vml") for r in rels) and b"<legacyDrawing " in part(made, "xl/worksheets/sheet1.xml")


def test_a_refresh_of_the_closed_file_leaves_macro_and_button_as_they_are(made, tmp_path):
    after = tmp_path / "after.xlsm"
    outcome = refresh_file(made, out=after, today=dt.date(2026, 11, 15), progress=False)
    assert outcome.counts["logs"] == (1, 1)
    for name in ("xl/vbaProject.bin", "xl/drawings/vmlDrawing1.vml", "xl/worksheets/_rels/sheet1.xml.rels", "[Content_Types].xml"):
        assert part(after, name) == part(made, name)
    assert b"<legacyDrawing " in part(after, "xl/worksheets/sheet1.xml") and b'codeName="Sheet1"' in part(after, "xl/worksheets/sheet1.xml")
    assert openpyxl.load_workbook(after)["Start"]["A3"].value.startswith("As of 15 Nov 2026")


def test_a_workbook_without_the_button_has_no_macro(tmp_path):
    build(tmp_path / "plain.xlsx", Yard("us"), rows=10)
    with zipfile.ZipFile(tmp_path / "plain.xlsx") as archive:
        assert not [n for n in archive.namelist() if "vba" in n.casefold() or n.endswith(".vml")]


def shown(column: list) -> list:
    """Cells of a column; an error of VBA is a text to some versions of LibreOffice and an error to others."""
    vba = {"Error 2029": "#NAME?", "Error 2036": "#NUM!", "Error 2042": "#N/A", "Error 2015": "#VALUE!"}
    office = {525: "#NAME?", 503: "#NUM!", 32767: "#N/A", 519: "#VALUE!"}
    return [office[cell["error"]] if isinstance(cell, dict) else vba.get(cell, cell) for cell, in column]


CANNED = """
Private Function Canned(ByVal which As String) As Variant
    Dim one(0, 0) As Variant, row(0, 2) As Variant
    row(0, 0) = 1: row(0, 1) = 2.5: row(0, 2) = ""
    Select Case which
        Case "BOLT_ROTA": Canned = row
        Case "BOLT_HOLES": one(0, 0) = 45: Canned = one
        Case "BOLT_VOLUME": one(0, 0) = "#NUM!": Canned = one
        Case "BOLT_WEIGHT": one(0, 0) = "#N/A": Canned = one
        Case Else: one(0, 0) = "#VALUE!": Canned = one
    End Select
End Function
"""


def test_libreoffice_loads_the_macros_binds_the_button_and_runs_them(made, tmp_path):
    """A real program takes the project apart: all modules, the button's macro, and functions that compile and answer.

    There is no add-in of xlwings here, so a function gives error 2029 (#NAME?), never a sentence. With Python's answer
    put in its place, numbers and rows come through and each error text becomes its error value (2036, 2042, 2015).
    """
    from xlwings_office import ExcelLike
    answering = {**macro.modules(), "Stub": 'Attribute VB_Name = "Stub"\n'}
    text, server = macro.modules()["BoltbookFunctions"], re.compile(r"    Set server = .*\n    found = server.CallUDF.*\n")
    assert len(server.findall(text)) == 1
    answering["BoltbookFunctions"] = server.sub("    found = Canned(which)\n", text) + CANNED
    with xlsxwriter.Workbook(str(tmp_path / "stub.xlsm")) as book:
        book.add_worksheet("Start")
        book.add_vba_project(io.BytesIO(vba_project(["Sheet1"], answering)), is_stream=True)
    office = ExcelLike()
    try:
        book = office.open_with_macros(str(made))
        modules = office.modules(book)
        assert {"ThisWorkbook", "Boltbook", "BoltbookFunctions"} <= set(modules)
        assert macro.REFRESH_MODULE.partition("Option Explicit")[2].strip() in modules["Boltbook"]
        assert office.buttons(book, "Start") == [[
            "Refresh", "vnd.sun.star.script:VBAProject.Boltbook.BoltbookRefresh?language=Basic&location=document"]]
        office.formulas(book, "Logs", [["AZ1", "=BOLT_VOLUME(4;5;48)"], ["AZ2", "=BOLT_IRR(AZ7:AZ9)"]])
        assert shown(office.values(book, "Logs", "AZ1:AZ2")) == ["#NAME?", "#NAME?"]
        book = office.open_with_macros(str(tmp_path / "stub.xlsm"))
        calls = ["BOLT_HOLES(4;48;6;2)", "BOLT_VOLUME(4;5;48)", 'BOLT_WEIGHT("x";4;5;48)', "BOLT_DRIED(1;2;3)"]
        office.formulas(book, "Start", [*[[f"A{i}", f"={call}"] for i, call in enumerate(calls, start=1)], ["A6:C6", "=BOLT_ROTA(2;0.2;9)"]])
        assert shown(office.values(book, "Start", "A1:A4")) == [45.0, "#NUM!", "#N/A", "#VALUE!"]
        assert office.values(book, "Start", "A6:C6") == [[1.0, 2.5, None]]
    finally:
        office.end()


def test_a_scanner_of_macros_finds_nothing_that_starts_by_itself(made):
    """oletools' mraptor: suspicious is what runs on its own and then writes or executes."""
    found = MacroRaptor("\n".join(text for _, _, _, text in texts(made)))
    found.scan()
    assert not found.suspicious and not found.autoexec


# ---- the parts of the project's file -----------------------------------------------------------------------------------

@given(st.one_of(st.text(alphabet="ab \n", max_size=9000), st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=6000)))
def test_compressed_text_comes_back(text):
    """oletools' decompressor is the other side."""
    if text:
        assert bytes(decompress_stream(bytearray(compress(text.encode())))) == text.encode()


def decrypt(words: str, project_id: str) -> bytes:
    """[MS-OVBA] 2.4.3.3, the other way round."""
    seed, version, key, *rest = bytes.fromhex(words)
    assert version ^ seed == 2 and key ^ seed == sum(project_id.encode()) & 0xFF
    clear, last, before, out = key ^ seed, key, version, []
    for now in rest:
        clear, before, last = now ^ (before + clear & 0xFF), last, now
        out.append(clear)
    return bytes(out[(seed & 6) // 2:])


def test_the_protection_fields_are_written_as_excel_writes_them():
    """The same reading takes apart a project that Excel saved (xlwings' own quickstart, BSD) and ours."""
    with zipfile.ZipFile(Path(xlwings.__file__).parent / "quickstart.xlsm") as archive:
        project = olefile.OleFileIO(io.BytesIO(archive.read("xl/vbaProject.bin"))).openstream("PROJECT").read().decode("latin-1")
    saved = dict(re.findall(r'^(ID|CMG|DPB|GC)="(.*)"\r$', project, re.M))
    wanted = {"CMG": bytes([4, 0, 0, 0, 0, 0, 0, 0]), "DPB": bytes([1, 0, 0, 0, 0]), "GC": bytes([1, 0, 0, 0, 0xFF])}
    assert {key: decrypt(saved[key], saved["ID"]) for key in wanted} == wanted
    for key, data in wanted.items():
        for seed in range(0, 256, 5):
            assert decrypt(encrypt(data[4:], seed), PROJECT_ID) == wanted[key]


def test_the_document_modules_are_those_that_excel_writes():
    """The hidden lines of ThisWorkbook and of a sheet, as in a project that Excel saved."""
    quickstart = Path(xlwings.__file__).parent / "quickstart.xlsm"
    theirs = {name: text for _, _, name, text in texts(quickstart)}
    parser = VBA_Parser("vbaProject.bin", data=vba_project(["Sheet1", "Sheet2"], {}))
    ours = {name: text for _, _, name, text in parser.extract_all_macros()}
    assert {name: ours[name] for name in ("ThisWorkbook.cls", "Sheet1.cls", "Sheet2.cls")} == {name: theirs[name] for name in ours}


def test_the_dir_stream_has_the_records_of_one_that_excel_saved():
    """Record kinds in order, as Excel's own project has them, without its references to other libraries."""
    def kinds(data: bytes) -> list[int]:
        found, at = [], 0
        while at < len(data):
            kind, size = int.from_bytes(data[at:at + 2], "little"), int.from_bytes(data[at + 2:at + 6], "little")
            found.append(kind)
            at += 6 + (size + 2 if kind == 9 else size)  # the version record counts two bytes less than it has
        return found

    def dir_of(data: bytes) -> list[int]:
        return kinds(bytes(decompress_stream(bytearray(olefile.OleFileIO(io.BytesIO(data)).openstream("VBA/dir").read()))))

    with zipfile.ZipFile(Path(xlwings.__file__).parent / "quickstart.xlsm") as archive:
        theirs = dir_of(archive.read("xl/vbaProject.bin"))
    ours = dir_of(vba_project(["Sheet1", "Sheet2"], {"Module1": 'Attribute VB_Name = "Module1"\n'}))
    references = {0x16, 0x3E, 0x2F, 0x30, 0x33, 0x0D, 0x0E, 0x4A, 0x3B}
    document = [0x19, 0x47, 0x1A, 0x32, 0x1C, 0x48, 0x31, 0x1E, 0x2C, 0x22, 0x2B]
    assert document[:2] == ours[ours.index(0x19):][:2]
    assert sorted(k for k in theirs if k not in references) == sorted(ours)
    assert [k for k in ours if k < 0x16] == [k for k in theirs if k < 0x16 and k not in references]
    assert ours[ours.index(0x19):][:len(document)] == theirs[theirs.index(0x19):][:len(document)] == document


@given(st.dictionaries(st.text(alphabet="abcdefghijkXYZ_", min_size=1, max_size=20), st.integers(0, 9000), max_size=20))
def test_a_compound_file_gives_its_streams_back(sizes):
    """olefile is the other side; names that differ in case alone are one name to the format."""
    streams = {}
    for i, (name, size) in enumerate(sizes.items()):
        streams.setdefault(name.upper(), bytes([i % 256]) * size)
    file = olefile.OleFileIO(io.BytesIO(compound_file({"inner": dict(streams), "alone": b"x" * 5000})), raise_defects=olefile.DEFECT_UNSURE)
    assert sorted("/".join(p) for p in file.listdir()) == sorted(["alone", *(f"inner/{name}" for name in streams)])
    for name, data in streams.items():
        assert file.openstream(f"inner/{name}").read() == data
    assert file.openstream("alone").read() == b"x" * 5000 and not file.parsing_issues


def test_a_compound_file_too_large_is_refused():
    with pytest.raises(ValueError, match="too large"):
        compound_file({"a": bytes(8_000_000)})

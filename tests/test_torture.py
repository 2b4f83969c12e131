"""A workbook full of other things goes through a refresh: every part that is not ours stays byte for byte."""
from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from test_package import findings, raw_parts
from torture_workbook import OWN, torture

from workbook_template import schema
from workbook_template.ports.parts import read_book
from workbook_template.ports.xmledit import find_elements
from workbook_template.refresh import refresh_file
from workbook_template.yard import read_folder

DEMO = Path(__file__).resolve().parent.parent / "examples" / "hollow_us"
pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")  # openpyxl says what it would lose at a save; here it only reads
KINDS = ("media/", "drawings/vmlDrawing", "charts/chart", "chartsheets/", "comments", "tables/table", "slicers/", "slicerCaches/", "pivotTables/",
         "pivotCache/pivotCacheDefinition", "pivotCache/pivotCacheRecords", "threadedComments/", "persons/", "ctrlProps/", "customXml/item1",
         "printerSettings/", "externalLinks/externalLink", "connections", "calcChain", "theme/", "vbaProject", "metadata", "docProps/custom",
         "sharedStrings", "styles", "_rels/workbook.xml.rels", "worksheets/_rels/")


@pytest.fixture(scope="module", params=["xlsx", "xlsm"])
def refreshed(request, tmp_path_factory):
    """(before, after) of a torture workbook of the demo yard."""
    folder = tmp_path_factory.mktemp("torture")
    before, after = folder / f"before.{request.param}", folder / f"after.{request.param}"
    torture(before, read_folder(DEMO, "us"), macro=request.param == "xlsm")
    shutil.copy(before, after)
    refresh_file(after, progress=False, stamp="Refreshed for a test.")
    return before, after


def owned(path) -> dict[str, object]:
    """Part -> what it is, of all that a refresh may write: result sheets, their tables, and the charts that are ours."""
    with zipfile.ZipFile(path) as archive:
        book = read_book(archive, charts=True)
    found = {book.workbook_part: "workbook", book.chain_part: "chain"}
    for name in schema.result_sheets("us"):
        sheet = book.sheet(name)
        found |= {sheet.part: "sheet", **dict.fromkeys(sheet.of_kind("table"), "table"), **dict.fromkeys(sheet.charts, "chart")}
    return found


def test_the_workbook_holds_all_that_is_to_be_kept(refreshed):
    before, _ = refreshed
    with zipfile.ZipFile(before) as archive:
        names, own = archive.namelist(), archive.read(read_book(archive).sheet(OWN).part)
    wanted = [k for k in KINDS if k != "vbaProject" or before.suffix == ".xlsm"]
    assert [k for k in wanted if not any(k in n for n in names)] == []
    for mark in (b"sparkline", b"x14:conditionalFormatting", b"x14:dataValidation ", b"sheetProtection", b"protectedRange ", b"<controls>",
                 b"x14:slicer ", b"[1]Scale!A1", b"ignoredError", b"legacyDrawingHF", b'cm="1"', b"outlineLevel"):
        assert mark in own, mark


def test_every_other_part_stays_byte_for_byte_packed_bytes_and_all(refreshed):
    before, after = refreshed
    old, new = raw_parts(before), raw_parts(after)
    ours = owned(before)
    assert list(new) == list(old)
    assert {name for name in old if old[name] != new[name]} <= set(ours)
    for name in ("[Content_Types].xml", *(n for n in old if n.endswith(".rels"))):
        assert old[name] == new[name], name


def test_on_the_result_sheets_all_but_the_rows_stays(refreshed):
    """Notes, pictures, rules, sparklines and drop-downs on a sheet whose rows are ours."""
    before, after = refreshed
    with zipfile.ZipFile(before) as a, zipfile.ZipFile(after) as b:
        for part, kind in owned(before).items():
            if kind == "sheet":
                old, new = ([(e.name, xml[e.start:e.end]) for e in find_elements(xml, None, {"worksheet"})] for xml in (a.read(part), b.read(part)))
                kept = [[e for e in elements if e[0] not in ("sheetData", "dimension")] for elements in (old, new)]
                assert kept[0] == kept[1], part
        start = a.read(read_book(a).sheet("Start").part)
    assert b"sparkline" in start and b"dataBar" in start and b"legacyDrawing" in start


def test_the_workbook_part_changes_by_the_calculation_flag_alone(refreshed):
    before, after = refreshed
    with zipfile.ZipFile(before) as a, zipfile.ZipFile(after) as b:
        old, new = ([xml[e.start:e.end] for e in find_elements(xml, None, {"workbook"}) if e.name != "calcPr"]
                    for xml in (a.read("xl/workbook.xml"), b.read("xl/workbook.xml")))
        chain = [(e.about["r"], e.about["i"]) for e in find_elements(b.read("xl/calcChain.xml"), {"c"})]
        sheet = str(read_book(b).sheet(OWN).sheet_id)
    assert old == new and chain == [("A2", sheet), ("A3", sheet)]


def test_libreoffice_opens_it_and_shows_old_and_new(refreshed, trusting_office):
    _, after = refreshed
    shown = openpyxl.load_workbook(trusting_office.convert(after, "xlsx"), data_only=True)
    assert [c.value for c in shown[OWN][1]][:4] == [1, 4, 9, 16] and shown[OWN]["B2"].value == "plain bold plain again"
    assert "Refreshed for a test." in shown["Start"]["A3"].value
    assert shown["Each log"]["B6"].value == openpyxl.load_workbook(after, data_only=True)["Each log"]["B6"].value


def test_validation_finds_nothing_new(refreshed):
    before, after = refreshed
    known = findings(before)
    assert [found for found in findings(after) if found not in known] == []


def test_a_second_refresh_changes_nothing_more(refreshed, tmp_path):
    _, after = refreshed
    again = tmp_path / after.name
    shutil.copy(after, again)
    refresh_file(again, progress=False, stamp="Refreshed for a test.")
    assert raw_parts(after) == raw_parts(again)

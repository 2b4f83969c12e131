"""A patched workbook: new results in place, every other part byte for byte, and programs still open it."""
from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from defusedxml import ElementTree
from rich_workbook import RESULT_HEADINGS, add_chain, build, change_part

from workbook_template.ports.package import (
    Block,
    ColumnData,
    SeriesData,
    SheetPatch,
    check_written,
    patch,
    read_style_ids,
    sheet_parts,
    used_range,
    write_rows,
)
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_cells
from workbook_template.ports.rows import cell_xml, date_serial
from workbook_template.ports.sheetxml import sheet_content, table_content
from workbook_template.ports.xmledit import find_elements, tag_end

# openpyxl says what it would lose at a save; here it only reads.
pytestmark = pytest.mark.filterwarnings("ignore:.*extension is not supported")
ROWS = 7


def results(styles, count=ROWS) -> SheetPatch:
    """A patch of the Start sheet with `count` result rows, its table, both charts and print area."""
    logs = [f"N{i}" for i in range(count)]
    pounds = np.arange(count) + 0.5
    dates = np.full(count, np.datetime64("2026-05-01"), "datetime64[ms]")
    block = Block(4, 1, [ColumnData(logs), ColumnData(pounds, styles["B4"]), ColumnData(dates, styles["C4"])])
    headings = [(3, 1 + i, title) for i, title in enumerate(RESULT_HEADINGS)]
    cells = [(1, 1, "=not a formula & <text>", styles["A1"]), (1, 2, None, styles["A1"]), *headings]
    last = 3 + count
    series = SeriesData(f"Start!$A$4:$A${last}", logs, f"Start!$B$4:$B${last}", pounds)
    return SheetPatch(
        write_rows([block], cells, {1: 24}), used_range([block], cells), ["A1:C1"],
        {"StartTable": f"A3:C{last}"}, {0: [series], 1: [series]}, f"A1:C{last}",
    )


def raw_parts(path) -> dict[str, tuple]:
    """Every part's packed bytes, method and time, in the file's order."""
    found = {}
    with zipfile.ZipFile(path) as archive, open(path, "rb") as handle:
        for info in archive.infolist():
            handle.seek(info.header_offset + 26)
            name, extra = (int.from_bytes(handle.read(2), "little") for _ in range(2))
            handle.seek(name + extra, 1)
            found[info.filename] = (handle.read(info.compress_size), info.compress_type, info.date_time)
    return found


def by_xlsxwriter(folder: Path, office) -> Path:
    build(folder / "rich.xlsx")
    return folder / "rich.xlsx"


def by_openpyxl(folder: Path, office) -> Path:
    path = by_xlsxwriter(folder, office)
    book = openpyxl.load_workbook(path)
    book.save(path)
    return path


def by_libreoffice(folder: Path, office) -> Path:
    resaved = office.convert(by_xlsxwriter(folder, office), "xlsx")
    return resaved.replace(folder / "resaved.xlsx")


@pytest.fixture(params=[by_xlsxwriter, by_openpyxl, by_libreoffice])
def rich(request, tmp_path, trusting_office) -> Path:
    return request.param(tmp_path, trusting_office)


def patched(path: Path, patch_of=results, **options) -> tuple[Path, list[str]]:
    out = path.with_name("out.xlsx")
    sheet = patch_of(read_style_ids(path, "Start", ["A1", "B4", "C4"]))
    if not sheet_parts(path)["Start"].charts:
        sheet.charts = {}
    return out, patch(path, out, {"Start": sheet}, **options)


def test_only_owned_parts_change(rich):
    out, changed = patched(rich)
    before, after = raw_parts(rich), raw_parts(out)
    assert list(after) == list(before)
    assert {name for name in before if before[name] != after[name]} == set(changed)
    start = sheet_parts(rich)["Start"]
    assert set(changed) == {start.part, *start.of_kind("table"), *start.charts, "xl/workbook.xml"}
    assert len(start.charts) == 2
    with zipfile.ZipFile(out) as archive:
        assert archive.testzip() is None


def test_the_new_values_are_there_and_the_sheet_keeps_its_looks(rich):
    out, _ = patched(rich)
    old, new = openpyxl.load_workbook(rich)["Start"], openpyxl.load_workbook(out)
    sheet = new["Start"]
    assert [sheet.cell(4 + i, 1).value for i in range(ROWS)] == [f"N{i}" for i in range(ROWS)]
    assert [sheet.cell(4 + i, 2).value for i in range(ROWS)] == [i + 0.5 for i in range(ROWS)]
    assert sheet["C10"].value == dt.datetime(2026, 5, 1) and sheet["B10"].number_format == "0.00"
    assert sheet["A1"].value == "=not a formula & <text>" and sheet["A1"].data_type == "s"
    table = sheet.tables["StartTable"]
    assert table.ref == table.autoFilter.ref == "A3:C10"
    assert sheet.print_area == "'Start'!$A$1:$C$10"
    assert sheet.freeze_panes == old.freeze_panes
    assert [str(r) for r in sheet.merged_cells.ranges] == ["A1:C1"]
    assert sheet.column_dimensions["A"].width == old.column_dimensions["A"].width
    assert sheet.row_dimensions[1].height == 24
    assert new.calculation.fullCalcOnLoad is True
    assert sheet["A3"].comment.text == old["A3"].comment.text


def test_the_rest_of_the_worksheet_part_is_byte_for_byte(rich):
    out, _ = patched(rich)
    part = sheet_parts(rich)["Start"].part
    old, new = (zipfile.ZipFile(path).read(part) for path in (rich, out))

    def sections(xml):
        skip = {"sheetData", "dimension"}
        return [xml[e.start:e.end] for e in find_elements(xml, None, {"worksheet"}) if e.name not in skip]

    assert sections(new) == [s.replace(b"<mergeCells>", b'<mergeCells count="1">') for s in sections(old)]
    assert old[:old.index(b"<dimension")] == new[:new.index(b"<dimension")]


def test_charts_show_the_new_data_at_once(rich):
    out, _ = patched(rich)
    for part in sheet_parts(out)["Start"].charts:
        root = ElementTree.fromstring(zipfile.ZipFile(out).read(part))
        space = {"c": "http://schemas.openxmlformats.org/drawingml/2006/chart"}
        assert root.find(".//c:val/c:numRef/c:f", space).text == "Start!$B$4:$B$10"
        values = [e.text for e in root.findall(".//c:val//c:pt/c:v", space)]
        assert values == [str(i + 0.5) for i in range(ROWS)]
        assert root.find(".//c:val//c:ptCount", space).get("val") == str(ROWS)


def test_the_same_input_and_patch_give_the_same_bytes(rich):
    first = patched(rich)[0].read_bytes()
    assert patched(rich)[0].read_bytes() == first


def test_libreoffice_opens_it_and_shows_the_values(rich, trusting_office):
    out, _ = patched(rich)
    shown = openpyxl.load_workbook(trusting_office.convert(out, "xlsx"), data_only=True)
    sheet = shown["Start"]
    assert [c.value for c in sheet[10]][:3] == ["N6", 6.5, dt.datetime(2026, 5, 1)]
    assert sheet["A1"].value == "=not a formula & <text>"
    assert shown["Logs"]["A4"].value == "A1" and shown["My notes"]["A1"].value == 3


def test_libreoffice_computes_formulas_over_the_new_values(tmp_path, office):
    out, _ = patched(by_xlsxwriter(tmp_path, office))
    # 0.5 + 1.5 + ... + 6.5 = 7 * 3.5 = 24.5
    assert office.computed(out)["My notes"]["C1"].value == 24.5


def findings(path) -> list[str]:
    command = [str(Path(sys.executable).with_name("openxml-audit")), "-m", "0", "-o", "json", str(path)]
    told = json.loads(subprocess.run(command, capture_output=True, text=True).stdout)
    return sorted(f"{e.get('id')} {e.get('description')}" for e in told[0]["errors"])


def test_validation_finds_nothing_new(rich):
    before = findings(rich)
    out, _ = patched(rich)
    assert [found for found in findings(out) if found not in before] == []


def test_macro_part_and_button_survive(tmp_path):
    (tmp_path / "macro.bin").write_bytes(bytes(range(256)) * 8)
    path = tmp_path / "rich.xlsm"
    build(path, tmp_path / "macro.bin")
    out, changed = patched(path)
    before, after = raw_parts(path), raw_parts(out)
    assert before["xl/vbaProject.bin"] == after["xl/vbaProject.bin"]
    assert {name for name in before if before[name] != after[name]} == set(changed)


def test_results_may_shrink_and_grow_again(tmp_path):
    build(tmp_path / "rich.xlsx")
    path = tmp_path / "rich.xlsx"
    for count in (1, 500, 2):
        out, changed = patched(path, lambda styles, count=count: results(styles, count))
        check_written(out, changed, {"Start": count + 2})
        out.replace(path)
    cells = read_cells(path, "Start")
    assert cells["A5"] == "N1" and "A6" not in cells


def test_a_wrong_count_of_rows_is_caught(tmp_path):
    out, changed = patched(by_xlsxwriter(tmp_path, None))
    with pytest.raises(FileProblem, match="9 rows"):
        check_written(out, changed, {"Start": 8})


def test_damaged_output_is_caught(tmp_path):
    out, changed = patched(by_xlsxwriter(tmp_path, None))
    with zipfile.ZipFile(out) as archive:
        info = archive.getinfo("xl/workbook.xml")
    content = bytearray(out.read_bytes())
    content[info.header_offset + 30 + len(info.filename) + 20] ^= 0xFF
    out.write_bytes(content)
    with pytest.raises(FileProblem, match="damaged"):
        check_written(out, changed)


def test_chain_loses_only_the_owned_sheets_cells(tmp_path):
    path = by_xlsxwriter(tmp_path, None)
    # Entries without i belong to the sheet of the entry before: Start is sheet 1, My notes sheet 3.
    add_chain(path, '<c r="B4" i="1"/><c r="B5"/><c r="C1" i="3" l="1"/><c r="C2"/><c r="B6" i="1"/>')
    out, changed = patched(path)
    chain = ElementTree.fromstring(zipfile.ZipFile(out).read("xl/calcChain.xml"))
    assert [dict(e.attrib) for e in chain] == [{"r": "C1", "i": "3", "l": "1"}, {"r": "C2", "i": "3"}]
    assert "xl/calcChain.xml" in changed and "[Content_Types].xml" not in changed


def test_an_empty_chain_goes_with_all_that_names_it(tmp_path):
    path = by_xlsxwriter(tmp_path, None)
    add_chain(path, '<c r="B4" i="1"/><c r="B5"/>')
    out, _ = patched(path)
    before, after = raw_parts(path), raw_parts(out)
    assert set(before) - set(after) == {"xl/calcChain.xml"}
    with zipfile.ZipFile(out) as archive:
        assert b"calcChain" not in archive.read("[Content_Types].xml")
        assert b"calcChain" not in archive.read("xl/_rels/workbook.xml.rels")
    assert findings(out) == []


def test_a_chain_without_owned_cells_is_copied(tmp_path):
    path = by_xlsxwriter(tmp_path, None)
    add_chain(path, '<c r="C1" i="3"/>')
    out, _ = patched(path)
    assert raw_parts(path)["xl/calcChain.xml"] == raw_parts(out)["xl/calcChain.xml"]


def test_names_are_set_and_added_and_the_calculation_flag_can_be_left(tmp_path):
    path = by_xlsxwriter(tmp_path, None)
    sheet = SheetPatch(b"", print_area="A1:C9")
    names = {"bb_logs": "Logs!$A$3:$G$3", "bb_new": "Start!$A$1"}
    patch(path, tmp_path / "a.xlsx", {"Start": sheet}, False, names)
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert book.defined_names["bb_logs"].attr_text == "Logs!$A$3:$G$3"
    assert book.defined_names["bb_new"].attr_text == "Start!$A$1"
    assert book["Start"].print_area == "'Start'!$A$1:$C$9"


def test_names_and_calculation_flag_where_the_workbook_has_neither(tmp_path):
    path = by_xlsxwriter(tmp_path, None)

    def strip(xml):
        for element in reversed(find_elements(xml, {"definedNames", "calcPr"})):
            xml = xml[:element.start] + xml[element.end:]
        return xml

    change_part(path, "xl/workbook.xml", strip)
    sheet = SheetPatch(b"", print_area="A1:B2")
    patch(path, tmp_path / "a.xlsx", {"Start": sheet}, True, {"bb_x": "Start!$A$1"})
    xml = zipfile.ZipFile(tmp_path / "a.xlsx").read("xl/workbook.xml")
    order = [e.name for e in find_elements(xml, None, {"workbook"})]
    assert order == ["fileVersion", "workbookPr", "bookViews", "sheets", "definedNames", "calcPr"]
    assert findings(tmp_path / "a.xlsx") == []


@pytest.mark.parametrize("sheet, change, told", [
    ("Nowhere", SheetPatch(b""), 'There is no sheet "Nowhere" for the results.'),
    ("Start", SheetPatch(b"", tables={"Other": "A1:C2"}), 'the table "Other" was not found.'),
    ("Start", SheetPatch(b"", charts={5: b""}), "chart 6 was not found."),
])
def test_what_is_gone_is_named(tmp_path, sheet, change, told):
    path = by_xlsxwriter(tmp_path, None)
    with pytest.raises(FileProblem, match=told):
        patch(path, tmp_path / "a.xlsx", {sheet: change})
    assert not (tmp_path / "a.xlsx").exists()


# Worksheet parts as other programs write them.
SPACE = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
EXCEL = (b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\r\n<worksheet xmlns="' + SPACE + b'" '
         b'xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006" mc:Ignorable="x14ac" '
         b'xmlns:x14ac="http://schemas.microsoft.com/office/spreadsheetml/2009/9/ac"><dimension ref="A1:B2"/>'
         b'<sheetFormatPr defaultRowHeight="15" x14ac:dyDescent="0.25"/><sheetData><row r="1" spans="1:2" '
         b'x14ac:dyDescent="0.25"><c r="A1"><v>1</v></c></row></sheetData><phoneticPr fontId="1"/>'
         b'<pageMargins left="0.7" right="0.7" top="0.75" bottom="0.75" header="0.3" footer="0.3"/>'
         b"</worksheet>")
NEW = b'<row r="1"><c r="A1"><v>2</v></c></row>'


def content(xml, *args):
    return b"".join(sheet_content(xml, NEW, *args))


def test_excel_form():
    new = content(EXCEL, "A1", ["A1:B1"])
    head, tail = EXCEL.index(b"<sheetData>"), EXCEL.index(b"<phoneticPr")
    assert new == (EXCEL[:head].replace(b'ref="A1:B2"', b'ref="A1"') + b"<sheetData>" + NEW + b"</sheetData>"
                   b'<mergeCells count="1"><mergeCell ref="A1:B1"/></mergeCells>' + EXCEL[tail:])


def test_prefixed_form():
    start, end = b'<x:worksheet xmlns:x="' + SPACE + b'">', b"<x:a/></x:worksheet>"
    rows = b'<x:row r="1"><x:c r="A1"><x:v>2</x:v></x:c></x:row>'
    old = start + b"<x:sheetData ><x:row r='1'/></x:sheetData >" + end
    assert content(old) == start + b"<x:sheetData>" + rows + b"</x:sheetData>" + end


def test_empty_form_and_misleading_text():
    start, end = b'<worksheet xmlns="' + SPACE + b'">', b"<!-- <sheetData></sheetData> --></worksheet>"
    expected = start + b"<sheetData>" + NEW + b"</sheetData>" + end
    for data in (b"<sheetData/>", b"<sheetData />", b'<sheetData><row r="1"/></sheetData>'):
        assert content(start + data + end) == expected
    with pytest.raises(ValueError, match="no rows element"):
        content(start + end)


def test_a_greater_sign_inside_an_attribute_does_not_end_the_tag():
    xml = b"""<a b='x>"y' c="'>"><d/></a>"""
    assert tag_end(xml, 0) == xml.index(b"<d/>")


def test_table_must_keep_its_columns_and_a_row():
    xml = b'<table displayName="T" ref="A1:C9" totalsRowCount="1"><autoFilter ref="A1:C8"/></table>'
    assert table_content(xml, "A1:C20") == xml.replace(b"C9", b"C20").replace(b"C8", b"C19")
    for ref in ("A1:D9", "A1:C2"):
        with pytest.raises(ValueError):
            table_content(xml, ref)


@pytest.mark.parametrize("value, xml", [
    (None, '<c r="B3"/>'), ("", '<c r="B3"/>'),
    (float("nan"), '<c r="B3"/>'), (float("inf"), '<c r="B3"/>'),
    (12.0, '<c r="B3"><v>12</v></c>'), (0.1, '<c r="B3"><v>0.1</v></c>'),
    (True, '<c r="B3" t="b"><v>1</v></c>'),
    (np.float64(2.5), '<c r="B3"><v>2.5</v></c>'), ("+1", '<c r="B3" t="str"><v>+1</v></c>'),
    ("a\x00<&>", '<c r="B3" t="str"><v>a&lt;&amp;&gt;</v></c>'),
    (" a ", '<c r="B3" t="str"><v xml:space="preserve"> a </v></c>'),
    ("_x0041_", '<c r="B3" t="str"><v>_x005F_x0041_</v></c>'),
    # Days after 30 Dec 1899: 2 to 1 Jan 1900; 126 years x 365 + 31 leap days (1904-2024); 31 + 28 to 1 March;
    # 2 + 45,990 + 31 + 59 = 46,082.
    (dt.date(2026, 3, 1), '<c r="B3"><v>46082</v></c>'),
    (dt.datetime(2026, 3, 1, 6), '<c r="B3"><v>46082.25</v></c>'),
])
def test_a_cell(value, xml):
    assert cell_xml(3, 2, value) == xml
    assert cell_xml(3, 2, value, 7) == xml.replace('"B3"', '"B3" s="7"')


def test_dates_at_the_ends_of_both_systems():
    assert date_serial(dt.date(1900, 1, 1)) == 1 and date_serial(dt.date(1900, 3, 1)) == 61
    assert date_serial(dt.date(1904, 1, 2), True) == 1
    assert cell_xml(1, 1, dt.date(1850, 1, 1)) == '<c r="A1" t="str"><v>1850-01-01</v></c>'


def test_columns_at_once_equal_cells_one_by_one():
    days = np.array(["2026-03-01", "NaT", "1900-01-01"], "datetime64[ms]")
    columns = [np.array([1.5, np.nan, 3.0]), ["a", None, " b"], ["=x", "", "é"],
               np.array([True, False, True]), days, [1, "x", dt.date(2026, 3, 1)], np.array([1, 2, 3])]
    plain = [list(c.tolist()) if isinstance(c, np.ndarray) else c for c in columns]
    styles = [None, 1, [4, 5, 6], 2, 3, None, [7, 8, 9]]
    block = Block(2, 3, [ColumnData(c, s) for c, s in zip(columns, styles, strict=True)])
    expected = ""
    for row in range(3):
        looks = [s[row] if isinstance(s, list) else s for s in styles]
        cells = [cell_xml(2 + row, 3 + i, c[row], looks[i]) for i, c in enumerate(plain)]
        expected += f'<row r="{2 + row}">{"".join(cells)}</row>'
    assert b"".join(write_rows([block])).decode() == expected


def test_blocks_beside_and_under_each_other_and_lone_cells():
    blocks = [Block(2, 3, [ColumnData(np.array([1, 2]))]), Block(3, 1, [ColumnData(["p", "q"])])]
    rows = b"".join(write_rows(blocks, [(3, 5, 9.0), (9, 1, "z")], {3: 20})).decode()
    assert rows == (
        '<row r="2"><c r="C2"><v>1</v></c></row>'
        '<row r="3" ht="20" customHeight="1"><c r="A3" t="str"><v>p</v></c><c r="C3"><v>2</v></c>'
        '<c r="E3"><v>9</v></c></row>'
        '<row r="4"><c r="A4" t="str"><v>q</v></c></row>'
        '<row r="9"><c r="A9" t="str"><v>z</v></c></row>'
    )
    assert used_range(blocks, [(3, 5, 9.0), (9, 1, "z")]) == "A2:E9"


def test_overlaps_and_edges_are_refused():
    block = Block(1, 1, [ColumnData([1, 2]), ColumnData([3, 4])])
    for blocks, cells in (([block], [(2, 2, 5)]), ([block, Block(2, 2, [ColumnData([9])])], []),
                          ([Block(1, 1, [ColumnData([1]), ColumnData([1, 2])])], []), ([], [(1, 16_385, 1)]),
                          ([], [(1, 1, object())]), ([], [(5, 1, 1), (5, 1, 2)])):
        with pytest.raises(ValueError):
            list(write_rows(blocks, cells))

"""A workbook with everything a grower may have put beside ours, made for the file tests. All data invented.

Sheets: Start (a result sheet: table, chart, print area, merged title), Logs (typed rows), My notes (picture,
comment, text box, button, sparkline, rules, formulas), My chart (a chart sheet), Kept (hidden).
"""
from __future__ import annotations

import datetime as dt
import io
import struct
import zipfile
import zlib

import xlsxwriter

RESULT_HEADINGS = ["Log", "Pounds", "When"]
LOG_HEADINGS = ["Log", "Wood", "Diameter (in)", "Length (in)", "Inoculated", "Note"]
LOG_COLUMNS = [
    ("log", "Log", "text"), ("wood", "Wood", "text"), ("diameter", "Diameter", "number"),
    ("length", "Length", "number"), ("inoculated", "Inoculated", "date"), ("note", "Note", "text"),
]


def picture() -> io.BytesIO:
    """A small grey PNG."""
    def piece(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    pixels = zlib.compress(b"".join(b"\0" + bytes([90]) * 8 for _ in range(8)))
    head = piece(b"IHDR", struct.pack(">IIBBBBB", 8, 8, 8, 0, 0, 0, 0))
    return io.BytesIO(b"\x89PNG\r\n\x1a\n" + head + piece(b"IDAT", pixels) + piece(b"IEND", b""))


def build(path, macro=None, results: int = 3, logs: int = 5) -> None:
    """Write the workbook. macro: file with a macro part to add (the name must then end in .xlsm)."""
    with xlsxwriter.Workbook(str(path)) as book:
        looks = {
            "date": book.add_format({"num_format": "d mmm yyyy"}),
            "number": book.add_format({"num_format": "0.00"}),
            "bold": book.add_format({"bold": True}),
        }
        _start(book, looks, results)
        _logs(book, looks, logs)
        _notes(book, looks)
        sheet = book.add_chartsheet("My chart")
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "=Logs!$C$4:$C$8"})
        sheet.set_chart(chart)
        kept = book.add_worksheet("Kept")
        kept.write("A1", "kept out of sight")
        kept.hide()
        book.set_custom_property("Yard", "north")
        book.define_name("bb_logs", "=Logs!$A$3:$F$3")
        book.define_name("bb_wage", "=Kept!$B$2")
        if macro:
            book.add_vba_project(str(macro))


def _start(book, looks, results: int) -> None:
    sheet = book.add_worksheet("Start")
    sheet.merge_range("A1:C1", "What matters now", looks["bold"])
    sheet.write("E1", 1.5, looks["number"])
    rows = [[f"L{i}", 1.25 * i, dt.datetime(2026, 3, 1 + i)] for i in range(results)]
    columns = [{"header": title} for title in RESULT_HEADINGS]
    columns[1]["format"], columns[2]["format"] = looks["number"], looks["date"]
    sheet.add_table(2, 0, 2 + results, 2, {"name": "StartTable", "columns": columns, "data": rows})
    sheet.conditional_format("B4:B400", {"type": "data_bar"})
    sheet.data_validation("E1", {"validate": "decimal", "criteria": ">", "value": 0})
    sheet.freeze_panes(3, 1)
    sheet.set_column(0, 2, 14)
    sheet.print_area(0, 0, 2 + results, 2)
    sheet.write_comment("A3", "the log's name")
    chart = book.add_chart({"type": "column"})
    chart.add_series({
        "name": "Pounds", "categories": ["Start", 3, 0, 2 + results, 0],
        "values": ["Start", 3, 1, 2 + results, 1],
    })
    chart.set_title({"name": "Pounds by log"})
    sheet.insert_chart("G3", chart)
    second = book.add_chart({"type": "pie"})
    second.add_series({"values": ["Start", 3, 1, 2 + results, 1]})
    sheet.insert_chart("G20", second)


def _logs(book, looks, logs: int) -> None:
    sheet = book.add_worksheet("Logs")
    sheet.write("A1", "Type your logs here")
    sheet.write_row(2, 0, LOG_HEADINGS)
    for i in range(logs):
        sheet.write_row(3 + i, 0, [f"A{i + 1}", "white oak", 4 + i / 4, 40])
        sheet.write_datetime(3 + i, 4, dt.datetime(2025, 3, 1) + dt.timedelta(i), looks["date"])
        sheet.write_string(3 + i, 5, f"row {i}")
    sheet.data_validation(3, 1, 200, 1, {"validate": "list", "source": ["white oak", "red oak"]})


def _notes(book, looks) -> None:
    sheet = book.add_worksheet("My notes")
    sheet.insert_image("H2", "picture.png", {"image_data": picture()})
    sheet.insert_textbox("H10", "a text box")
    sheet.insert_button("H20", {"caption": "Press"})
    sheet.write_comment("A1", "a comment", {"author": "invented"})
    for row, value in enumerate([3, 1, 2]):
        sheet.write_number(row, 0, value)
    sheet.add_sparkline("B1", {"range": "'My notes'!A1:A3"})
    sheet.write_formula("C1", "=SUM(Start!B4:B100)", None, 3.75)
    sheet.write_array_formula("C2:C2", "{=SUM(A1:A3*2)}", None, 12)
    sheet.write_rich_string("D1", "plain ", looks["bold"], "bold", " plain")
    sheet.write_url("D2", "https://example.org/")
    sheet.conditional_format("A1:A3", {"type": "3_color_scale"})
    sheet.protect("", {"objects": True})


def change_part(path, name: str, change) -> None:
    """Give a part new content: change(old bytes or None) -> new bytes. Other parts keep their content."""
    with zipfile.ZipFile(path) as archive:
        parts = [(info, archive.read(info)) for info in archive.infolist()]
    names = [info.filename for info, _ in parts]
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for info, content in parts:
            archive.writestr(info.filename, change(content) if info.filename == name else content)
        if name not in names:
            archive.writestr(name, change(None))


def add_chain(path, entries: str) -> None:
    """Add a calculation chain, as Excel does and XlsxWriter does not."""
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    chain = f'<calcChain xmlns="{space}">{entries}</calcChain>'.encode()
    change_part(path, "xl/calcChain.xml", lambda _: chain)
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"
    override = f'<Override PartName="/xl/calcChain.xml" ContentType="{kind}"/></Types>'.encode()
    change_part(path, "[Content_Types].xml", lambda old: old.replace(b"</Types>", override))
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/calcChain"
    relation = f'<Relationship Id="rId99" Type="{kind}" Target="calcChain.xml"/></Relationships>'.encode()
    change_part(path, "xl/_rels/workbook.xml.rels", lambda old: old.replace(b"</Relationships>", relation))

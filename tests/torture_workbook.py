"""A workbook of ours with everything that a grower or a program may put beside our sheets, for the file tests. All invented.

XlsxWriter draws what it can (pictures, charts, shapes, notes, sparklines, rules of the 2010 kind, a chart sheet, protection, a
header picture); what it cannot is put in as parts, after ECMA-376 and Microsoft's published extensions [MS-XLSX]: slicers,
a pivot table with its cache, threaded comments with persons, a form control, custom XML, printer settings, a link to another
workbook, a connection, a calculation chain, a validation of the 2010 kind.
"""
from __future__ import annotations

import zipfile
from pathlib import Path

import xlsxwriter
from rich_workbook import change_part, picture

from workbook_template import build as building
from workbook_template.ports.parts import read_book
from workbook_template.ports.xmledit import after_last, find_elements

OWN = "My own sheet"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MICROSOFT = "http://schemas.microsoft.com/office"
PACKAGE = "application/vnd.openxmlformats-officedocument"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
BEFORE_PIVOT = {"fileVersion", "workbookPr", "workbookProtection", "bookViews", "sheets", "functionGroups", "externalReferences",
                "definedNames", "calcPr", "oleSize", "customWorkbookViews"}
BEFORE_LINKS = {"fileVersion", "workbookPr", "workbookProtection", "bookViews", "sheets", "functionGroups"}


def torture(path, yard, rows: int = 200, macro: bool = False) -> Path:
    """Write the workbook at path: the yard's, then everything else."""
    path, close = Path(path), xlsxwriter.Workbook.close

    def closing(workbook):
        _drawn(workbook)
        close(workbook)

    xlsxwriter.Workbook.close = closing
    try:
        building.build(path, yard, rows=rows, macro=macro)
    finally:
        xlsxwriter.Workbook.close = close
    _parts(path)
    return path


# ---- what XlsxWriter draws -----------------------------------------------------------------------------------------

def _drawn(book) -> None:
    bold = book.add_format({"bold": True, "font_color": "#7A2E1D"})
    own = book.add_worksheet(OWN)
    own.write_row(0, 0, [1, 4, 9, 16])
    own.write_formula("A2", "='Each log'!M6*2", None, 0)
    own.write_dynamic_array_formula("A3:A3", "=SUM(A1:D1*2)", None, 60)
    own.write_rich_string("B2", "plain ", bold, "bold", " plain again")
    own.write_url("B3", "https://example.org/")
    own.write_comment("A1", "a note of the grower's", {"x_scale": 2, "color": "#FFEECC"})
    own.add_sparkline("F1", {"range": f"'{OWN}'!A1:D1", "type": "column"})
    own.insert_image("H1", "dot.png", {"image_data": picture(), "description": "a dot"})
    own.insert_textbox("H8", "a text box", {"fill": {"color": "#DDE8D5"}})
    own.insert_shape("H14", {"type": "ellipse"}) if hasattr(own, "insert_shape") else None
    own.insert_button("H20", {"caption": "Press", "macro": "Nothing"})
    own.conditional_format("A1:D1", {"type": "data_bar", "data_bar_2010": True, "bar_solid": True})
    own.conditional_format("A1:D1", {"type": "icon_set", "icon_style": "3_arrows"})
    own.data_validation("C5", {"validate": "list", "source": ["yes", "no"]})
    own.set_header("&L&G", {"image_left": "dot.png", "image_data_left": picture()})
    own.set_footer("&P of &N")
    own.set_landscape()
    own.set_row(30, None, None, {"level": 1, "hidden": True})
    own.ignore_errors({"number_stored_as_text": "A1:A9"})
    own.unprotect_range("A1:D9", "mine")
    own.protect("", {"objects": True, "scenarios": True})
    own.add_table("K1:L4", {"name": "Mine", "columns": [{"header": "Who"}, {"header": "How much"}], "data": [["Ann", 1], ["Bo", 2], ["Ann", 3]]})
    chart = book.add_chart({"type": "line"})
    chart.add_series({"values": f"='{OWN}'!$A$1:$D$1", "trendline": {"type": "linear"}, "y_error_bars": {"type": "standard_error"}})
    chart.set_table({"show_keys": True})
    own.insert_chart("A8", chart)
    chart = book.add_chart({"type": "column"})
    chart.add_series({"name": "of results", "categories": "='Each log'!$B$6:$B$9", "values": "='Each log'!$M$6:$M$9"})
    own.insert_chart("A24", chart)
    sheet = book.add_chartsheet("My chart")
    chart = book.add_chart({"type": "pie"})
    chart.add_series({"values": f"='{OWN}'!$A$1:$D$1"})
    sheet.set_chart(chart)
    hidden = book.add_worksheet("Out of sight")
    hidden.write("A1", "kept out of sight")
    hidden.very_hidden()
    book.define_name("my_own_name", f"='{OWN}'!$A$1:$D$1")
    book.define_name(f"'{OWN}'!my_local_name", f"='{OWN}'!$A$1")
    book.set_custom_property("Yard", "north")
    _drawn_on_ours(book)


def _drawn_on_ours(book) -> None:
    """Things of the grower's on the sheets that a refresh writes, and on the input sheets."""
    bold = book.add_format({"bold": True, "font_color": "#234F1E"})
    logs, start, each = (book.get_worksheet_by_name(name) for name in ("Logs", "Start", "Each log"))
    logs.write_comment("B6", "felled by the brook")
    logs.conditional_format("D6:D60", {"type": "data_bar", "data_bar_2010": True})
    logs.insert_image("AK2", "dot.png", {"image_data": picture()})
    start.write_comment("A1", "seen by Ann")
    start.insert_image("J3", "dot.png", {"image_data": picture()})
    start.conditional_format("B6:B30", {"type": "data_bar", "data_bar_2010": True})
    start.add_sparkline("K2", {"range": f"'{OWN}'!A1:D1"})
    each.conditional_format("M6:M400", {"type": "3_color_scale"})
    each.data_validation("AL6:AL9", {"validate": "list", "source": ["sell", "keep"]})
    for name in TYPED_INTO:
        _drawn_on_typed(book, book.get_worksheet_by_name(name), bold)


TYPED_INTO = ("Logs", "Events", "Costs", "Sales", "Promises", "Settings", "Lists", "Plan")
FAR = 200  # a column to the right of every table


def _drawn_on_typed(book, sheet, bold) -> None:
    """The same on a sheet that commands type into, in rows they leave alone and rows they fill."""
    sheet.write_comment(5, 0, "see the photograph")
    sheet.write_comment(7, FAR, "beside a row to come")
    sheet.conditional_format(5, 3, 60, 3, {"type": "data_bar", "data_bar_2010": True})
    sheet.add_sparkline(6, FAR + 1, {"range": f"'{OWN}'!A1:D1"})
    sheet.insert_image(1, FAR + 2, "dot.png", {"image_data": picture()})
    sheet.insert_textbox(3, FAR + 2, "not to be lost", {"width": 90, "height": 30})
    sheet.write_rich_string(5, FAR, "partly ", bold, "bold")
    sheet.write_formula(6, FAR, f"='{OWN}'!A1*3", None, 3)
    sheet.write_url(7, FAR + 1, "https://example.org/", string="a link")
    sheet.write_url(8, FAR + 1, f"internal:'{OWN}'!A1", string="a link inside")
    sheet.set_row(8, 33)
    sheet.ignore_errors({"number_stored_as_text": "A6:A90"})
    sheet.set_column(FAR, FAR, 22, None, {"level": 1})
    if sheet.get_name() in ("Settings", "Lists"):
        sheet.protect("", {"format_cells": True})


# ---- what is put in as parts ---------------------------------------------------------------------------------------

def _parts(path: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        book = read_book(archive, charts=True)
        sheet = book.sheet(OWN)
        table = sheet.of_kind("table")[0]
        chain_cell = f'<c r="A2" i="{sheet.sheet_id}"/><c r="B6" i="{book.sheet("Start").sheet_id}"/><c r="A3" i="{sheet.sheet_id}"/>'
    base, own = "xl/_rels/workbook.xml.rels", f"xl/worksheets/_rels/{Path(sheet.part).name}.rels"
    _slicer(path, sheet.part, own, table)
    _pivot(path, sheet.part, own)
    _threaded(path, own)
    _control(path, sheet.part, own)
    _add(path, "customXml/item1.xml", '<yard xmlns="urn:invented">north</yard>', None, "_rels/.rels", f"{OFFICE}/customXml", "/customXml/item1.xml")
    _add(path, "customXml/itemProps1.xml", f'{HEAD}<ds:datastoreItem ds:itemID="{{11111111-2222-4333-8444-555555555555}}" '
         'xmlns:ds="http://schemas.openxmlformats.org/officeDocument/2006/customXml"/>', f"{PACKAGE}.customXmlProperties+xml",
         "customXml/_rels/item1.xml.rels", f"{OFFICE}/customXmlProps", "itemProps1.xml")
    ident = _add(path, "xl/printerSettings/printerSettings1.bin", bytes(range(256)), f"{PACKAGE}.spreadsheetml.printerSettings", own,
                 f"{OFFICE}/printerSettings", "../printerSettings/printerSettings1.bin")
    _edit(path, sheet.part, "pageSetup", lambda tag: tag.replace(b"/>", f' r:id="{ident}"/>'.encode()))
    _link(path, sheet.part)
    _add(path, "xl/connections.xml", f'{HEAD}<connections xmlns="{MAIN}"><connection id="1" name="Scale" type="4" refreshedVersion="6">'
         '<webPr url="https://example.org/scale"/></connection></connections>', f"{PACKAGE}.spreadsheetml.connections+xml", base,
         f"{OFFICE}/connections", "connections.xml")
    _add(path, "xl/calcChain.xml", f'{HEAD}<calcChain xmlns="{MAIN}">{chain_cell}</calcChain>', f"{PACKAGE}.spreadsheetml.calcChain+xml", base,
         f"{OFFICE}/calcChain", "calcChain.xml")
    change_part(path, sheet.part, lambda xml: _extend(xml, _validation_2010()))
    _shapes(path, sheet.of_kind("drawing")[0])
    _more(path, base, own)
    sales = book.sheet("Sales").part
    _add(path, "xl/printerSettings/printerSettings2.bin", bytes(range(200)), f"{PACKAGE}.spreadsheetml.printerSettings",
         f"xl/worksheets/_rels/{Path(sales).name}.rels", f"{OFFICE}/printerSettings", "../printerSettings/printerSettings2.bin")
    change_part(path, sales, lambda xml: _extend(xml, _validation_2010("GW6")))


def _add(path, name: str, content, kind: str | None, rels: str, relation: str, target: str, mode: str = "") -> str:
    """A new part with its content type and the relation that names it; returns the relation's id."""
    change_part(path, name, lambda _: content.encode() if isinstance(content, str) else content)
    if kind:
        new = f'<Override PartName="/{name}" ContentType="{kind}"/></Types>'.encode()
        change_part(path, "[Content_Types].xml", lambda xml: xml.replace(b"</Types>", new))
    return _relate(path, rels, relation, target, mode)


def _relate(path, rels: str, relation: str, target: str, mode: str = "") -> str:
    ident = []

    def changed(old):
        old = old or f'{HEAD}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"></Relationships>'.encode()
        ident.append(f"rId{900 + old.count(b'<Relationship ')}")
        how = f' TargetMode="{mode}"' if mode else ""
        new = f'<Relationship Id="{ident[-1]}" Type="{relation}" Target="{target}"{how}/></Relationships>'
        return old.replace(b"</Relationships>", new.encode())

    change_part(path, rels, changed)
    return ident[-1]


def _edit(path, part: str, name: str, change) -> None:
    """Change the opening tag of the first element of that name."""
    def changed(xml):
        found = find_elements(xml, {name})[0]
        return xml[:found.start] + change(xml[found.start:found.open_end]) + xml[found.open_end:]

    change_part(path, part, changed)


def _put_after(path, part: str, names, new: str, root: str) -> None:
    """Put an element behind the last of those that may stand before it."""
    def changed(xml):
        at = after_last(find_elements(xml, None, {root}), names)
        return xml[:at] + new.encode() + xml[at:]

    change_part(path, part, changed)


def _extend(xml: bytes, extension: str) -> bytes:
    """One more extension at the end of a worksheet or workbook part."""
    if b"</extLst>" in xml:
        at = xml.rindex(b"</extLst>")
        return xml[:at] + extension.encode() + xml[at:]
    at = xml.rindex(b"</")
    return xml[:at] + b"<extLst>" + extension.encode() + b"</extLst>" + xml[at:]


def _shapes(path, drawing: str) -> None:
    """An ellipse, a line between two cells and a group of shapes, beside what stands in the drawing."""
    body = ('<xdr:spPr><a:xfrm><a:off x="{0}" y="{0}"/><a:ext cx="300000" cy="200000"/></a:xfrm><a:prstGeom prst="{1}"><a:avLst/></a:prstGeom>'
            "</xdr:spPr>")
    shape = '<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="{0}" name="Shape {0}"/><xdr:cNvSpPr/></xdr:nvSpPr>{1}</xdr:sp>'
    ellipse = shape.format(901, body.format(5000000, "ellipse"))
    line = ('<xdr:cxnSp macro=""><xdr:nvCxnSpPr><xdr:cNvPr id="902" name="Line 902"/><xdr:cNvCxnSpPr/></xdr:nvCxnSpPr>'
            f'{body.format(5400000, "line")}</xdr:cxnSp>')
    group = ('<xdr:grpSp><xdr:nvGrpSpPr><xdr:cNvPr id="903" name="Group 903"/><xdr:cNvGrpSpPr/></xdr:nvGrpSpPr><xdr:grpSpPr><a:xfrm><a:off x="1" '
             'y="1"/><a:ext cx="900000" cy="900000"/><a:chOff x="1" y="1"/><a:chExt cx="900000" cy="900000"/></a:xfrm></xdr:grpSpPr>'
             f'{shape.format(904, body.format(10000, "rect"))}{shape.format(905, body.format(400000, "star5"))}</xdr:grpSp>')
    ends = ("<xdr:from><xdr:col>{0}</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>40</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:from>"
            "<xdr:to><xdr:col>{1}</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>43</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:to>")
    new = "".join(f"<xdr:twoCellAnchor>{ends.format(at, at + 2)}{thing}<xdr:clientData/></xdr:twoCellAnchor>"
                  for at, thing in ((1, ellipse), (4, line), (7, group)))
    change_part(path, drawing, lambda xml: xml.replace(b"</xdr:wsDr>", new.encode() + b"</xdr:wsDr>"))


def _more(path, base: str, own: str) -> None:
    """What newer and older programs add: an embedded document, a chart of the 2016 kind, a label of an office, saved views, a locked book."""
    letter = f'<Default Extension="docx" ContentType="{PACKAGE}.wordprocessingml.document"/>'.encode()
    change_part(path, "[Content_Types].xml", lambda xml: xml.replace(b"<Default ", letter + b"<Default ", 1))
    _add(path, "xl/embeddings/letter.docx", b"PK\3\4 invented", None, own, f"{OFFICE}/package", "../embeddings/letter.docx")
    space = "http://schemas.microsoft.com/office/drawing/2014/chartex"
    _add(path, "xl/charts/chartEx1.xml", f'{HEAD}<cx:chartSpace xmlns:cx="{space}"><cx:chartData/><cx:chart><cx:plotArea><cx:plotAreaRegion/>'
         "</cx:plotArea></cx:chart></cx:chartSpace>", "application/vnd.ms-office.chartex+xml", own, f"{MICROSOFT}/2014/relationships/chartEx",
         "../charts/chartEx1.xml")
    _add(path, "docMetadata/LabelInfo.xml", f'{HEAD}<clbl:labelList xmlns:clbl="{MICROSOFT}/2020/mipLabelMetadata"/>',
         "application/vnd.ms-office.classificationlabels+xml", "_rels/.rels", f"{MICROSOFT}/2020/02/relationships/classificationlabels",
         "docMetadata/LabelInfo.xml")
    _put_after(path, "xl/workbook.xml", {"fileVersion", "fileSharing", "workbookPr"}, '<workbookProtection lockStructure="1"/>', "workbook")
    _put_after(path, "xl/workbook.xml", BEFORE_PIVOT - {"customWorkbookViews"},
               '<customWorkbookViews><customWorkbookView name="Mine" guid="{12345678-1234-4234-8234-123456789ABC}" windowWidth="900" '
               'windowHeight="600" activeSheetId="1"/></customWorkbookViews>', "workbook")


def _validation_2010(cell: str = "C6") -> str:
    return ('<ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}" xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main">'
            '<x14:dataValidations count="1" xmlns:xm="http://schemas.microsoft.com/office/excel/2006/main"><x14:dataValidation type="list" '
            'allowBlank="1"><x14:formula1><xm:f>Lists!$A$8:$A$12</xm:f></x14:formula1><xm:sqref>' + cell + '</xm:sqref></x14:dataValidation>'
            "</x14:dataValidations></ext>")


def _slicer(path, sheet: str, rels: str, table: str) -> None:
    """A slicer on the grower's table."""
    with zipfile.ZipFile(path) as archive:
        number = find_elements(archive.read(table), {"table"})[0].about["id"]
    space = ('xmlns:x14="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main" '
             'xmlns:x15="http://schemas.microsoft.com/office/spreadsheetml/2010/11/main"')
    cache = (f'{HEAD}<slicerCacheDefinition xmlns="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main" {space} name="Slicer_Who" '
             f'sourceName="Who"><extLst><x:ext xmlns:x="{MAIN}" uri="{{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}}">'
             f'<x15:tableSlicerCache tableId="{number}" column="1"/></x:ext></extLst></slicerCacheDefinition>')
    ident = _add(path, "xl/slicerCaches/slicerCache1.xml", cache, "application/vnd.ms-excel.slicerCache+xml", "xl/_rels/workbook.xml.rels",
                 f"{MICROSOFT}/2007/relationships/slicerCache", "slicerCaches/slicerCache1.xml")
    change_part(path, "xl/workbook.xml", lambda xml: _extend(
        xml, f'<ext uri="{{46BE6895-7355-4a93-B00E-2C351335B9C9}}" {space}><x15:slicerCaches><x14:slicerCache r:id="{ident}" '
             f'xmlns:r="{OFFICE}"/></x15:slicerCaches></ext>'))
    slicer = (f'{HEAD}<slicers xmlns="http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"><slicer name="Who" cache="Slicer_Who" '
              'caption="Who" rowHeight="241300"/></slicers>')
    ident = _add(path, "xl/slicers/slicer1.xml", slicer, "application/vnd.ms-excel.slicer+xml", rels,
                 f"{MICROSOFT}/2007/relationships/slicer", "../slicers/slicer1.xml")
    change_part(path, sheet, lambda xml: _extend(
        xml, f'<ext uri="{{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}}" {space}><x14:slicerList><x14:slicer r:id="{ident}" xmlns:r="{OFFICE}"/>'
             "</x14:slicerList></ext>"))


def _pivot(path, sheet: str, rels: str) -> None:
    """A pivot table over the grower's table, with its cache and records."""
    folder = "xl/pivotCache"
    records = (f'{HEAD}<pivotCacheRecords xmlns="{MAIN}" count="3"><r><x v="0"/><n v="1"/></r><r><x v="1"/><n v="2"/></r>'
               '<r><x v="0"/><n v="3"/></r></pivotCacheRecords>')
    _add(path, f"{folder}/pivotCacheRecords1.xml", records, f"{PACKAGE}.spreadsheetml.pivotCacheRecords+xml",
         f"{folder}/_rels/pivotCacheDefinition1.xml.rels", f"{OFFICE}/pivotCacheRecords", "pivotCacheRecords1.xml")
    cache = (f'{HEAD}<pivotCacheDefinition xmlns="{MAIN}" xmlns:r="{OFFICE}" r:id="rId900" refreshedBy="invented" recordCount="3">'
             '<cacheSource type="worksheet"><worksheetSource name="Mine"/></cacheSource><cacheFields count="2"><cacheField name="Who">'
             '<sharedItems count="2"><s v="Ann"/><s v="Bo"/></sharedItems></cacheField><cacheField name="How much"><sharedItems '
             'containsSemiMixedTypes="0" containsString="0" containsNumber="1" containsInteger="1" minValue="1" maxValue="3"/></cacheField>'
             "</cacheFields></pivotCacheDefinition>")
    ident = _add(path, f"{folder}/pivotCacheDefinition1.xml", cache, f"{PACKAGE}.spreadsheetml.pivotCacheDefinition+xml",
                 "xl/_rels/workbook.xml.rels", f"{OFFICE}/pivotCacheDefinition", "pivotCache/pivotCacheDefinition1.xml")
    _put_after(path, "xl/workbook.xml", BEFORE_PIVOT,
               f'<pivotCaches><pivotCache cacheId="7" r:id="{ident}" xmlns:r="{OFFICE}"/></pivotCaches>', "workbook")
    pivot = (f'{HEAD}<pivotTableDefinition xmlns="{MAIN}" name="By whom" cacheId="7" dataCaption="Values" applyNumberFormats="0" '
             'applyBorderFormats="0" applyFontFormats="0" applyPatternFormats="0" applyAlignmentFormats="0" applyWidthHeightFormats="1">'
             '<location ref="N1:O4" firstHeaderRow="1" firstDataRow="1" firstDataCol="1"/><pivotFields count="2"><pivotField axis="axisRow" '
             'showAll="0"><items count="3"><item x="0"/><item x="1"/><item t="default"/></items></pivotField><pivotField dataField="1" '
             'showAll="0"/></pivotFields><rowFields count="1"><field x="0"/></rowFields><rowItems count="3"><i><x/></i><i><x v="1"/></i>'
             '<i t="grand"><x/></i></rowItems><colItems count="1"><i/></colItems><dataFields count="1"><dataField name="Sum of How much" '
             'fld="1" baseField="0" baseItem="0"/></dataFields></pivotTableDefinition>')
    _add(path, "xl/pivotTables/pivotTable1.xml", pivot, f"{PACKAGE}.spreadsheetml.pivotTable+xml", rels, f"{OFFICE}/pivotTable",
         "../pivotTables/pivotTable1.xml")
    _relate(path, "xl/pivotTables/_rels/pivotTable1.xml.rels", f"{OFFICE}/pivotCacheDefinition", "../pivotCache/pivotCacheDefinition1.xml")


def _threaded(path, rels: str) -> None:
    """A threaded comment on the cell that has a note, and the person who wrote it."""
    space = "http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments"
    person = "{AAAAAAAA-BBBB-4CCC-8DDD-EEEEEEEEEEEE}"
    _add(path, "xl/persons/person.xml", f'{HEAD}<personList xmlns="{space}"><person displayName="Ann (invented)" id="{person}" userId="ann" '
         'providerId="None"/></personList>', "application/vnd.ms-excel.person+xml", "xl/_rels/workbook.xml.rels",
         f"{MICROSOFT}/2017/10/relationships/person", "persons/person.xml")
    _add(path, "xl/threadedComments/threadedComment1.xml", f'{HEAD}<ThreadedComments xmlns="{space}"><threadedComment ref="A1" '
         f'dT="2026-03-01T10:00:00.00" personId="{person}" id="{{99999999-BBBB-4CCC-8DDD-EEEEEEEEEEEE}}"><text>shall we?</text>'
         "</threadedComment></ThreadedComments>", "application/vnd.ms-excel.threadedcomments+xml", rels,
         f"{MICROSOFT}/2017/10/relationships/threadedComment", "../threadedComments/threadedComment1.xml")


def _control(path, sheet: str, rels: str) -> None:
    """A form control's properties, named by the sheet as Excel does beside the button's drawing."""
    space = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"
    ident = _add(path, "xl/ctrlProps/ctrlProp1.xml", f'{HEAD}<formControlPr xmlns="{space}" objectType="Button" lockText="1"/>',
                 "application/vnd.ms-excel.controlproperties+xml", rels, f"{OFFICE}/ctrlProp", "../ctrlProps/ctrlProp1.xml")
    new = (f'<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"><mc:Choice xmlns:x14="{space}" '
           f'Requires="x14"><controls><control shapeId="1025" r:id="{ident}" name="Button 1" xmlns:r="{OFFICE}"><controlPr defaultSize="0" '
           'print="0" autoFill="0" autoPict="0"><anchor><from><xdr:col xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/'
           'spreadsheetDrawing">7</xdr:col><xdr:colOff xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing">0'
           '</xdr:colOff><xdr:row xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing">19</xdr:row><xdr:rowOff '
           'xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing">0</xdr:rowOff></from><to><xdr:col '
           'xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing">8</xdr:col><xdr:colOff xmlns:xdr="http://schemas.'
           'openxmlformats.org/drawingml/2006/spreadsheetDrawing">0</xdr:colOff><xdr:row xmlns:xdr="http://schemas.openxmlformats.org/'
           'drawingml/2006/spreadsheetDrawing">20</xdr:row><xdr:rowOff xmlns:xdr="http://schemas.openxmlformats.org/drawingml/2006/'
           'spreadsheetDrawing">0</xdr:rowOff></to></anchor></controlPr></control></controls></mc:Choice></mc:AlternateContent>')
    _put_after(path, sheet, {"legacyDrawing", "legacyDrawingHF", "drawing"}, new, "worksheet")


def _link(path, sheet: str) -> None:
    """A link to another workbook, and a cell that uses it."""
    link = (f'{HEAD}<externalLink xmlns="{MAIN}"><externalBook r:id="rId900" xmlns:r="{OFFICE}"><sheetNames><sheetName val="Scale"/></sheetNames>'
            '<sheetDataSet><sheetData sheetId="0"><row r="1"><cell r="A1"><v>7</v></cell></row></sheetData></sheetDataSet></externalBook>'
            "</externalLink>")
    ident = _add(path, "xl/externalLinks/externalLink1.xml", link, f"{PACKAGE}.spreadsheetml.externalLink+xml", "xl/_rels/workbook.xml.rels",
                 f"{OFFICE}/externalLink", "externalLinks/externalLink1.xml")
    _relate(path, "xl/externalLinks/_rels/externalLink1.xml.rels", f"{OFFICE}/externalLinkPath", "file:///barn/scale.xlsx", "External")
    _put_after(path, "xl/workbook.xml", BEFORE_LINKS,
               f'<externalReferences><externalReference r:id="{ident}" xmlns:r="{OFFICE}"/></externalReferences>', "workbook")
    cell = b'<row r="40"><c r="A40"><f>[1]Scale!A1</f><v>7</v></c></row></sheetData>'
    change_part(path, sheet, lambda xml: xml.replace(b"</sheetData>", cell))

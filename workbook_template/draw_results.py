"""Draws a result sheet and its charts with XlsxWriter: into a new workbook, or the chart parts alone for a refresh."""
from __future__ import annotations

import datetime as dt
import io
import zipfile

import xlsxwriter

from workbook_template.looks import ACCENT, FONT, INK, Looks, set_page
from workbook_template.results import Chart, ResultSheet

FILLS = {"solid": {"fill": {"color": ACCENT}}, "light": {"fill": {"color": "#B9C7B0"}},
         "hatched": {"pattern": {"pattern": "wide_upward_diagonal", "fg_color": ACCENT, "bg_color": "#FFFFFF"}}}
BARS = {"gap": 60, "border": {"color": ACCENT, "width": 0.75}}
LINES = {"solid": {"line": {"color": ACCENT, "width": 2.25}}, "dashed": {"line": {"color": INK, "width": 1.75, "dash_type": "dash"}},
         "dotted": {"line": {"color": INK, "width": 1.75, "dash_type": "round_dot"}},
         "mark": {"line": {"none": True}, "marker": {"type": "diamond", "size": 10, "border": {"color": INK}, "fill": {"color": INK}},
                  "data_labels": {"series_name": True, "value": False, "position": "above", "font": {"name": FONT, "size": 9, "bold": True}}}}
KINDS = {"column": {"type": "column"}, "bar": {"type": "bar"}, "stacked bar": {"type": "bar", "subtype": "stacked"},
         "stacked column": {"type": "column", "subtype": "stacked"}, "line": {"type": "line"}}


def draw(book, sheet, result: ResultSheet) -> None:
    """Draw into a worksheet of a workbook being built (book: build.Book)."""
    for i, width in enumerate(result.widths):
        sheet.set_column(i, i, width)
    for row, height in result.heights.items():
        sheet.set_row(row, height)
    for block in result.blocks:
        for c, (values, look) in enumerate(block.lists):
            for r, value in enumerate(values):
                book.write(sheet, block.row + r, block.col + c, value, look)
    for cell in result.cells:
        book.write(sheet, cell.row, cell.col, cell.value, cell.look)
    if result.filter:
        first_row, first_col, last_row, last_col = result.filter
        heads = [str(result.value(first_row, c)) for c in range(first_col, last_col + 1)]
        looks = {c.col: c.look for c in result.cells if c.row == first_row}
        sheet.add_table(first_row, first_col, last_row, last_col, {
            "name": result.table_name, "style": None,
            "columns": [{"header": h, "header_format": book.looks[looks[first_col + i]]} for i, h in enumerate(heads)]})
    for chart in result.charts:
        sheet.insert_chart(*chart.at, make_chart(book.workbook, result.name, chart), {"object_position": 2, "description": chart.title})
    if result.freeze:
        sheet.freeze_panes(*result.freeze)
    set_page(sheet, book.profile, landscape=result.landscape, repeat=result.repeat, footer=str(book.env.settings["yard"]))
    if result.scale:
        sheet.set_print_scale(result.scale)
    if result.breaks:
        sheet.set_h_pagebreaks(list(result.breaks))
    if result.pages > 1:
        sheet.fit_to_pages(result.pages, 0)
        sheet.repeat_columns(0, result.freeze[1] - 1)


def make_chart(workbook, sheet_name: str, chart: Chart):
    made = workbook.add_chart(dict(KINDS[chart.kind]))
    font = {"name": FONT, "size": 9, "bold": False}
    overlap = {"overlap": 100} if "stacked" in chart.kind or chart.below_zero else {}
    for series in chart.series:
        looks = LINES[series.fill] if chart.kind == "line" else {**BARS, **FILLS[series.fill], **overlap}
        made.add_series({**_cells(sheet_name, series), **looks})
    if chart.lines:
        over = workbook.add_chart({"type": "line"})
        for series in chart.lines:
            over.add_series({**_cells(sheet_name, series), **LINES[series.fill]})
        made.combine(over)
    made.set_title({"name": chart.title, "name_font": {"name": FONT, "size": 11, "bold": True}, "overlay": False})
    category = {"num_font": font, "name_font": font, "major_gridlines": {"visible": False}}
    if chart.x_title:
        category["name"] = chart.x_title
    if chart.date_axis:
        category |= {"date_axis": True, "num_format": "mmm yy", "major_unit": 3, "major_unit_type": "months", "num_font": {**font, "rotation": -45}}
    if chart.x_format:
        category |= {"text_axis": True, "num_format": chart.x_format, "num_font": {**font, "rotation": -45}}
    value = {"name": chart.y_title, "num_font": font, "name_font": font, "num_format": chart.y_format,
             **({} if chart.below_zero else {"min": 0}),
             "major_gridlines": {"visible": True, "line": {"color": "#DDDDDD", "width": 0.5}}}
    if chart.below_zero:
        category["label_position"] = "low"
    if "bar" in chart.kind:  # the category axis of a bar chart stands upright: XlsxWriter calls it y
        made.set_y_axis({**category, "reverse": True})
        made.set_x_axis({**value, "label_position": "high"})
    else:
        made.set_x_axis(category)
        made.set_y_axis(value)
    made.set_legend({"position": "bottom", "font": font} if len(chart.every_series) > 1 else {"none": True})
    made.set_size({"width": chart.size[0], "height": chart.size[1]})
    return made


def _cells(sheet_name: str, series) -> dict:
    """Name, categories and values of a series, as XlsxWriter takes them."""
    (c1, c2, cc), (v1, v2, vc) = series.categories, series.values
    name = [sheet_name, *series.named_at] if series.named_at else series.name
    return {"name": name, "categories": [sheet_name, c1, cc, c2, cc], "values": [sheet_name, v1, vc, v2, vc]}


def chart_parts(result: ResultSheet) -> list[bytes]:
    """The chart XML of a result sheet, values cached, made by XlsxWriter from the sheet's own numbers."""
    if not result.charts:
        return []
    data = io.BytesIO()
    workbook = xlsxwriter.Workbook(data, {"in_memory": True, "strings_to_numbers": False})
    sheet, looks = workbook.add_worksheet(result.name), Looks(workbook)
    for chart in result.charts:
        for series in chart.every_series:
            if series.named_at:
                sheet.write_string(*series.named_at, series.name)
            for first, last, col in (series.categories, series.values):
                for row in range(first, last + 1):
                    _write_plain(sheet, looks, row, col, result.value(row, col))
        sheet.insert_chart(*chart.at, make_chart(workbook, result.name, chart))
    workbook.close()
    with zipfile.ZipFile(data) as archive:
        return [explicit(archive.read(f"xl/charts/chart{i + 1}.xml")) for i in range(len(result.charts))]


def explicit(xml: bytes) -> bytes:
    """A chart part in which the choices that programs fill in differently are said: labels, straight lines, gaps for blanks."""
    xml = xml.replace(b'<c:showSerName val="1"/>', b'<c:showLegendKey val="0"/><c:showVal val="0"/><c:showCatName val="0"/>'
                      b'<c:showSerName val="1"/><c:showPercent val="0"/><c:showBubbleSize val="0"/>')
    if b"<c:lineChart>" in xml:
        head, begin, lines = xml.partition(b"<c:lineChart>")
        lines, end, tail = lines.partition(b"</c:lineChart>")
        xml = head + begin + lines.replace(b"</c:val></c:ser>", b'</c:val><c:smooth val="0"/></c:ser>') + end + tail
    return xml.replace(b'<c:plotVisOnly val="1"/>', b'<c:plotVisOnly val="1"/><c:dispBlanksAs val="gap"/>')


def _write_plain(sheet, looks: Looks, row: int, col: int, value) -> None:
    if isinstance(value, (dt.date, dt.datetime)):
        sheet.write_datetime(row, col, value, looks["cell_month"])
    elif value is not None:
        sheet.write(row, col, value)

"""The backend of the test engine that works on a workbook open in a real LibreOffice.

Run as a program, under the Python that has `uno`, it is the office's end; `OfficeBackend` is the other end.
"""
from __future__ import annotations

import datetime as dt
import os
import subprocess
import tempfile

from office_live import CLEAN, Helper, LiveOffice, letters, props, serve

EPOCH = dt.datetime(1899, 12, 30)
# com.sun.star.sheet.CellFlags
HARDATTR, STYLES = 32, 64
ERROR_RESULT = 4  # com.sun.star.sheet.FormulaResult.ERROR
LOGICAL, DATES = 1024, 2 | 4  # com.sun.star.util.NumberFormat
OFFICE_ERRORS = {532: "#DIV/0!", 32767: "#N/A", 525: "#NAME?", 521: "#NULL!", 503: "#NUM!", 524: "#REF!", 519: "#VALUE!"}


class ExcelLike(LiveOffice):
    """The test's end, with the operations of ExcelHelper."""

    def __init__(self):
        command = ["/usr/bin/python3", os.path.abspath(__file__)]
        self._process = subprocess.Popen(command, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=CLEAN)
        self.pid = self._read()


class ExcelHelper(Helper):
    """The office's end."""

    def _box(self, book, sheet, box):
        top, left, bottom, right = box
        return self._range(book, sheet, f"{letters(left - 1)}{top}:{letters(right - 1)}{bottom}")

    def op_open_with_macros(self, path):
        import uno
        run_all = 4  # com.sun.star.document.MacroExecMode.ALWAYS_EXECUTE_NO_WARN
        given = props(Hidden=True, MacroExecutionMode=run_all)
        return self._keep(self.desktop.loadComponentFromURL(uno.systemPathToFileUrl(os.path.abspath(path)), "_blank", 0, given))

    def op_modules(self, book):
        """Name -> text of the modules of the VBA project."""
        library = self.books[book].BasicLibraries.getByName("VBAProject")
        return {name: library.getByName(name) for name in library.ElementNames}

    def op_buttons(self, book, sheet):
        """[caption, macro] of every button on a sheet."""
        forms, found = self.books[book].Sheets.getByName(sheet).DrawPage.Forms, []
        for form in (forms.getByIndex(i) for i in range(forms.Count)):
            for i in range(form.Count):
                found += [[form.getByIndex(i).Label, event.ScriptCode] for event in form.getScriptEvents(i)]
        return found

    def op_call(self, book, module, name, given):
        """What a VBA function answers."""
        where = f"vnd.sun.star.script:VBAProject.{module}.{name}?language=Basic&location=document"
        return str(self.books[book].getScriptProvider().getScript(where).invoke(tuple(given), (), ())[0])

    def op_used_area(self, book, sheet):
        cursor = self.books[book].Sheets.getByName(sheet).createCursor()
        cursor.gotoEndOfUsedArea(False)
        return [cursor.RangeAddress.EndRow + 1, cursor.RangeAddress.EndColumn + 1]

    def op_cells(self, book, sheet, box):
        """Values with their kinds: numbers, texts, None, {"date": serial}, {"bool": b}, {"error": text}."""
        area = self._box(book, sheet, box)
        rows = [[None if cell == "" else cell for cell in row] for row in area.getDataArray()]
        top, left = box[0] - 1, box[1] - 1

        def each(found, change):
            for r in range(found.StartRow, found.EndRow + 1):
                for c in range(found.StartColumn, found.EndColumn + 1):
                    rows[r - top][c - left] = change(rows[r - top][c - left], r, c)

        formats = self.books[book].NumberFormats
        groups = area.getUniqueCellFormatRanges()
        for group in (groups[i] for i in range(groups.Count)):
            kind = formats.getByKey(group.NumberFormat).Type
            name = "bool" if kind & LOGICAL else "date" if kind & DATES else None
            for found in group.RangeAddresses if name else ():
                each(found, lambda value, r, c, name=name: {name: value} if isinstance(value, float) else value)
        for found in area.queryFormulaCells(ERROR_RESULT).RangeAddresses:
            each(found, lambda value, r, c: {"error": area.getCellByPosition(c - left, r - top).getError()})
        return rows

    def op_write(self, book, sheet, top, left, rows):
        """Values as they are: text stays text, {"date": serial} goes in as its number."""
        def plain(value):
            return "" if value is None else value["date"] if isinstance(value, dict) else value
        box = (top, left, top + len(rows) - 1, left + len(rows[0]) - 1)
        self._box(book, sheet, box).setDataArray(tuple(tuple(map(plain, row)) for row in rows))

    def op_clear_formats(self, book, sheet, box):
        self._box(book, sheet, box).clearContents(HARDATTR | STYLES)

    def op_copy(self, book, source, box, sheet, top, left):
        target = self._box(book, sheet, (top, left, top, left)).getCellByPosition(0, 0).getCellAddress()
        where = self.books[book].Sheets.getByName(sheet)
        where.copyRange(target, self._box(book, source, box).getRangeAddress())

    def op_paste_formats(self, book, source, row, column, sheet, box):
        sample, area = self._box(book, source, (row, column, row, column)), self._box(book, sheet, box)
        for name in ("CellStyle", "NumberFormat", "CharFontName", "CharHeight", "CharWeight", "CharPosture", "CharColor", "CellBackColor",
                     "HoriJustify", "VertJustify", "IsTextWrapped", "ParaIndent", "TableBorder2"):
            area.setPropertyValue(name, sample.getPropertyValue(name))

    def op_look(self, book, sheet, row, column):
        """Number format, font and weight of a cell, to compare looks."""
        cell = self._box(book, sheet, (row, column, row, column))
        return [self.books[book].NumberFormats.getByKey(cell.NumberFormat).FormatString, cell.CharFontName, cell.CharWeight, cell.CharHeight]

    def op_heights(self, book, sheet, top, bottom, height):
        rows = self._box(book, sheet, (top, 1, bottom, 1)).Rows
        rows.Height = round(height * 2540 / 72)

    def op_names(self, book):
        names = self.books[book].NamedRanges
        return [[name, names.getByName(name).Content] for name in names.ElementNames]

    def op_tables(self, book, sheet):
        """Database ranges stand for the tables of the sheet."""
        index, ranges = self.books[book].Sheets.getByName(sheet).RangeAddress.Sheet, self.books[book].DatabaseRanges
        return [name for name in ranges.ElementNames if ranges.getByName(name).DataArea.Sheet == index]

    def op_resize_table(self, book, sheet, name, address):
        self.books[book].DatabaseRanges.getByName(name).setDataArea(self._range(book, sheet, address).RangeAddress)

    def op_table_area(self, book, name):
        area = self.books[book].DatabaseRanges.getByName(name).DataArea
        return f"{letters(area.StartColumn)}{area.StartRow + 1}:{letters(area.EndColumn)}{area.EndRow + 1}"

    def op_merged(self, book, sheet):
        where = self.books[book].Sheets.getByName(sheet)
        groups, found = where.getUniqueCellFormatRanges(), []
        for group in (groups[i] for i in range(groups.Count)):
            for area in group.RangeAddresses:
                cell = where.getCellByPosition(area.StartColumn, area.StartRow)
                if cell.IsMerged:
                    cursor = where.createCursorByRange(cell)
                    cursor.collapseToMergedArea()
                    a = cursor.RangeAddress
                    found.append([a.StartRow + 1, a.StartColumn + 1, a.EndRow + 1, a.EndColumn + 1])
        return found


class OfficeBackend:
    """The test engine's backend over a workbook open in LibreOffice."""

    api = object()

    def __init__(self, office: ExcelLike, path):
        self.office, self.book, self.written, self._merged = office, office.open(str(path)), set(), {}

    def sheets(self):
        return self.office.sheets(self.book)

    def used(self, sheet):
        return tuple(self.office.used_area(self.book, sheet))

    def read(self, sheet, box):
        from xlwings_engine import ERROR_CODES

        def value(cell):
            if not isinstance(cell, dict):
                return cell
            if "date" in cell:
                return EPOCH + dt.timedelta(milliseconds=round(cell["date"] * 86_400_000))
            return bool(cell["bool"]) if "bool" in cell else ERROR_CODES[OFFICE_ERRORS[cell["error"]]]
        return [[value(cell) for cell in row] for row in self.office.cells(self.book, sheet, list(box))]

    def write(self, sheet, top, left, rows):
        self.written.add(sheet)

        def plain(value):
            if isinstance(value, dt.date):
                at = value if isinstance(value, dt.datetime) else dt.datetime(value.year, value.month, value.day)
                return {"date": (at - EPOCH) / dt.timedelta(days=1)}
            return value
        self.office.write(self.book, sheet, top, left, [[plain(value) for value in row] for row in rows])

    def clear_formats(self, sheet, box):
        self.written.add(sheet)
        self.office.clear_formats(self.book, sheet, list(box))

    def copy(self, source, box, sheet, top, left):
        self.written.add(sheet)
        self.office.copy(self.book, source, list(box), sheet, top, left)

    def paste_formats(self, source, row, column, sheet, box):
        self.written.add(sheet)
        self.office.paste_formats(self.book, source, row, column, sheet, list(box))

    def heights(self, sheet, top, bottom, height):
        self.office.heights(self.book, sheet, top, bottom, height)

    def names(self):
        return [(name, "=" + text.replace("$'", "'").replace(".$", "!$").lstrip("$")) for name, text in self.office.names(self.book)]

    def tables(self, sheet):
        return self.office.tables(self.book, sheet)

    def resize_table(self, sheet, name, address):
        self.office.resize_table(self.book, sheet, name, address)

    def charts(self, sheet):
        return []

    def merged(self, sheet):
        if sheet not in self._merged:
            self._merged[sheet] = [tuple(area) for area in self.office.merged(self.book, sheet)]
        return self._merged[sheet]


if __name__ == "__main__":
    serve(ExcelHelper(tempfile.mkdtemp(prefix="office-")))

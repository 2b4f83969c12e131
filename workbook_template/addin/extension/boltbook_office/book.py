"""Writes the result sheets into the open workbook: one Undo step, result sheets alone, looks from the key on Sources."""
from __future__ import annotations

import datetime as dt

import unohelper
from com.sun.star.document import XUndoAction

from boltbook_office.child import Trouble

TITLE = "Refresh Boltbook"
CONTENTS = 1 | 2 | 4 | 16  # com.sun.star.sheet.CellFlags: numbers, dates, text, formulas; comments stay
FORMATS = 32  # formats of single cells
LOOK = tuple(sorted((
    "BottomBorder2", "CellBackColor", "CharColor", "CharFontName", "CharHeight", "CharPosture", "CharUnderline", "CharWeight", "HoriJustify",
    "IsTextWrapped", "LeftBorder2", "NumberFormat", "ParaIndent", "RightBorder2", "TopBorder2", "VertJustify")))
POINT = 2540 / 72.0  # hundredths of a millimetre


class Step(unohelper.Base, XUndoAction):
    """One change the office does not take back by itself: forth and back are calls."""

    def __init__(self, forth, back):
        self.Title, self._forth, self._back = TITLE, forth, back

    def undo(self):
        self._back()

    def redo(self):
        self._forth()


class Writer:
    """Writes what the child handed over. Every change goes through the office's own undo, or through a Step."""

    def __init__(self, document, handed):
        self.document, self.handed, self.undo = document, handed, document.UndoManager
        null = document.NullDate
        self.shift = (dt.date(1899, 12, 30) - dt.date(null.Year, null.Month, null.Day)).days

    def write(self):
        """All result sheets, or none: what was written is taken back if anything goes wrong. Raises Trouble."""
        sheets = self.document.Sheets
        locked = [made["name"] for made in self.handed["sheets"] if sheets.getByName(made["name"]).isProtected()]
        if locked:
            raise Trouble("The sheet {} is protected, so nothing was written. Take the protection off: Tools, Protect Sheet.".format(
                " and ".join(locked)))
        samples = sheets.getByName("Sources")  # read first: that sheet is written too
        self.looks = {look: samples.getCellRangeByName(spot).getPropertyValues(LOOK) for look, spot in self.handed["samples"].items()}
        self.document.lockControllers()
        self.document.addActionLock()
        self.undo.enterUndoContext(TITLE)
        controller, whole = self.document.CurrentController, False
        view = controller.getViewData()  # the office's undo jumps to what it changes
        try:
            self._step(lambda: None, lambda: controller.restoreViewData(view))
            for made in self.handed["sheets"]:
                self._sheet(sheets.getByName(made["name"]), made)
            for made in self.handed["sheets"]:  # charts after all the cells they show
                self._charts(sheets.getByName(made["name"]), made)
            whole = True
        finally:
            self.undo.leaveUndoContext()
            if not whole:
                self.undo.undo()
                self.undo.clearRedo()
            self.document.removeActionLock()
            self.document.unlockControllers()

    def _sheet(self, sheet, made):
        rows = tuple(tuple(map(self._cell, row)) for row in made["rows"])
        old = _used(sheet)
        # Heights first: rows that fit themselves to their text would be measured again at every later change, and undo.
        for first, last, points in made["heights"] + [[len(rows), old[0], made["plain_height"]]] * (old[0] >= len(rows)):
            sheet.getCellRangeByPosition(0, first, 0, last).Rows.Height = round(points * POINT)
        sheet.getCellRangeByPosition(0, 0, max(old[1], len(rows[0]) - 1), max(old[0], len(rows) - 1)).clearContents(CONTENTS | FORMATS)
        _put(sheet, rows)
        self._looks(sheet, made["looks"])
        if "table" in made:
            self._table(*made["table"], sheet)

    def _step(self, forth, back):
        """Do something unseen by the office's undo, and leave a step that takes it back, unseen as well.

        A change that the office records while it undoes would break off the rest of that undo, so cells and rows, which it
        always records, are left to its own undo; only charts, tables and the view go through steps.
        """
        def unseen(call):
            def quiet():
                self.undo.lock()
                try:
                    call()
                finally:
                    self.undo.unlock()
            return quiet
        unseen(forth)()
        self.undo.addUndoAction(Step(unseen(forth), unseen(back)))

    def _cell(self, value):
        if isinstance(value, dict):
            return value["date"] + self.shift
        return "" if value is None else value

    def _looks(self, sheet, looks):
        for look, areas in looks.items():
            ranges = self.document.createInstance("com.sun.star.sheet.SheetCellRanges")
            ranges.addRangeAddresses(tuple(sheet.getCellRangeByName(area).RangeAddress for area in areas), True)
            ranges.setPropertyValues(LOOK, self.looks[look])

    def _table(self, name, area, sheet):
        """The table of a result sheet covers its rows again, if it is still there."""
        ranges = self.document.DatabaseRanges
        if not ranges.hasByName(name):
            return
        table = ranges.getByName(name)
        old, new = table.DataArea, sheet.getCellRangeByName(area).RangeAddress
        if old.Sheet == new.Sheet:
            self._step(lambda: table.setDataArea(new), lambda: table.setDataArea(old))

    def _charts(self, sheet, made):
        """The charts that are still there, known by their titles, show the new rows."""
        for i in range(sheet.Charts.Count):
            chart = sheet.Charts.getByIndex(i).EmbeddedObject
            spans = made["charts"].get(_title(chart))
            if spans:
                new = [[_address(sheet, *span) for span in pair] for pair in spans]
                old = _shown(chart)
                if len(old) == len(new) and old != new:
                    self._step(lambda c=chart, n=new: _show(c, n), lambda c=chart, o=old: _show(c, o))


def _put(sheet, rows):
    """Fill empty cells from A1 on, one by one: the office's undo of setDataArray leaves what was put into empty cells."""
    for r, row in enumerate(rows):
        for c, value in enumerate(row):
            if isinstance(value, float):
                sheet.getCellByPosition(c, r).setValue(value)
            elif value:
                sheet.getCellByPosition(c, r).setString(value)


def _used(sheet):
    """Last row and column that hold anything."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    return last.EndRow, last.EndColumn


def _address(sheet, first, last, column):
    return sheet.getCellRangeByPosition(column, first, column, last).AbsoluteName


def _title(chart):
    title = chart.getTitleObject()
    return "".join(part.getString() for part in title.getText()) if title else ""


def _parts(chart):
    """The axis that holds the categories, and the series, those of lines drawn over columns last."""
    system = chart.getFirstDiagram().getCoordinateSystems()[0]
    return system.getAxisByDimension(0, 0), [one for kind in system.getChartTypes() for one in kind.getDataSeries()]


def _shown(chart):
    """[categories, values] of each series as addresses."""
    axis, series = _parts(chart)
    categories = axis.getScaleData().Categories
    shown = categories.getValues().getSourceRangeRepresentation() if categories else ""
    return [[shown, one.getDataSequences()[0].getValues().getSourceRangeRepresentation()] for one in series]


def _show(chart, spans):
    """Let a chart show other cells."""
    axis, series = _parts(chart)
    provider = chart.getDataProvider()

    def put(holder, address):
        made = provider.createDataSequenceByRangeRepresentation(address)
        made.Role = holder.getValues().Role
        holder.setValues(made)

    for i, one in enumerate(series):
        put(one.getDataSequences()[0], spans[i][1])
    scale = axis.getScaleData()
    if scale.Categories:
        put(scale.Categories, spans[0][0])
        axis.setScaleData(scale)



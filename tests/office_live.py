"""A LibreOffice of the tests' own, driven over a private pipe, with the extension installed by its own command.

Run as a program, under the Python that has `uno`, it starts the office and answers JSON lines; `LiveOffice`
is the other end, for tests under any Python. The profile is a temporary folder; nothing is left behind.
"""
from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import uuid

ERROR_RESULTS = 4  # com.sun.star.sheet.FormulaResult.ERROR
FILTERS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8"}
CLEAN = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON") and k != "VIRTUAL_ENV"}


HOME = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
AS_NOBODY = """#!/bin/sh
for word; do
    case "$word" in *.oxt) cp "$word" "{profile}/given.oxt"; word="{profile}/given.oxt";; esac
    set -- "$@" "$word"; shift
done
chown -R 65534 "{profile}"
exec setpriv --reuid=65534 --regid=65534 --clear-groups env HOME="{profile}" {unopkg} "$@"
"""


class Install:
    """`boltbook addin libreoffice` for a profile of the tests' own, with the settings in a folder of the tests' own.

    The office's installer refuses the administrator; where the tests run as one, it is run as nobody.
    """

    def __init__(self, folder):
        self.profile = tempfile.mkdtemp(prefix="office-")
        os.chmod(self.profile, 0o755)
        self.environment = {**CLEAN, "XDG_CONFIG_HOME": str(folder / "config"), "PYTHONPATH": HOME}
        if os.geteuid() == 0:
            wrapper = folder / "bin" / "unopkg"
            wrapper.parent.mkdir()
            wrapper.write_text(AS_NOBODY.format(profile=self.profile, unopkg=shutil.which("unopkg")), encoding="utf-8")
            wrapper.chmod(0o755)
            self.environment["PATH"] = f"{wrapper.parent}:{self.environment['PATH']}"

    def run(self, *words):
        """Exit code and all that was said."""
        command = [sys.executable, "-m", "workbook_template.addin.command", *map(str, words), "--profile", self.profile]
        done = subprocess.run(command, capture_output=True, text=True, env=self.environment)
        return done.returncode, done.stdout + done.stderr

    def office(self):
        """The office of this profile, started. It finds no other Python than the system's."""
        path = f"{os.path.dirname(shutil.which('soffice'))}:/usr/bin:/bin"
        return LiveOffice(self.profile, XDG_CONFIG_HOME=self.environment["XDG_CONFIG_HOME"], PATH=path)


def installed(folder):
    """A profile with the extension in it."""
    install = Install(folder)
    code, said = install.run("--install")
    assert code == 0, said
    return install


class LiveOffice:
    """The test's end: every operation of Helper as a method.

    environment: variables the office is started with.
    """

    def __init__(self, profile, python="/usr/bin/python3", **environment):
        command = [python, os.path.abspath(__file__), profile]
        self._process = subprocess.Popen(command, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                         env={**CLEAN, **environment})
        self.pid = self._read()

    def _read(self):
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError("the office's helper ended")
        answer = json.loads(line)
        if "problem" in answer:
            raise RuntimeError(answer["problem"])
        return answer["result"]

    def __getattr__(self, operation):
        if operation.startswith("_"):
            raise AttributeError(operation)

        def call(*given):
            self._process.stdin.write(json.dumps([operation, *given]) + "\n")
            self._process.stdin.flush()
            return self._read()
        return call

    def end(self):
        """Stop the office; says so if a process or the profile is left behind."""
        pid, profile = self.place()
        self._process.stdin.close()
        self._process.wait(120)
        self._process.stdout.close()
        assert not os.path.exists(profile) and not os.path.exists(f"/proc/{pid}"), "the office left something"


def props(**values):
    from com.sun.star.beans import PropertyValue
    return tuple(PropertyValue(name, 0, value, 0) for name, value in values.items())


class Helper:
    """The office's end."""

    def __init__(self, profile):
        self.profile, self.books, self.count = profile, {}, 0
        self.start()

    def start(self):
        import uno
        from com.sun.star.connection import NoConnectException
        pipe = "t" + uuid.uuid4().hex[:12]
        self.process = subprocess.Popen(
            ["soffice", "--headless", "--norestore", "--nologo", "--nodefault", "--nolockcheck",
             "--nofirststartwizard", f"-env:UserInstallation={uno.systemPathToFileUrl(self.profile)}",
             f"--accept=pipe,name={pipe};urp;"], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, start_new_session=True)
        local = uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
        end = time.monotonic() + 180
        while True:
            try:
                self.context = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
                break
            except NoConnectException:
                if self.process.poll() is not None or time.monotonic() > end:
                    self.kill()
                    raise RuntimeError("the office did not come up") from None
                time.sleep(0.05)
        self.desktop = self.service("com.sun.star.frame.Desktop")

    def service(self, name):
        return self.context.ServiceManager.createInstanceWithContext(name, self.context)

    def stop(self):
        try:
            self.desktop.terminate()
            self.process.wait(60)
        except Exception:
            self.kill()

    def kill(self):
        try:
            os.killpg(self.process.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
        self.process.wait()

    def close(self):
        self.stop()
        shutil.rmtree(self.profile, ignore_errors=True)

    # operations

    def op_place(self):
        """Process and profile folder of the office."""
        return [self.process.pid, self.profile]

    def op_extensions(self):
        manager = self.context.getByName("/singletons/com.sun.star.deployment.ExtensionManager")
        found = manager.getDeployedExtensions("user", None, None)
        return [[each.getIdentifier().Value, each.getVersion()] for each in found]

    def op_new(self):
        factory = "private:factory/scalc"
        return self._keep(self.desktop.loadComponentFromURL(factory, "_blank", 0, props(Hidden=True)))

    def op_open(self, path):
        import uno
        url = uno.systemPathToFileUrl(os.path.abspath(path))
        book = self.desktop.loadComponentFromURL(url, "_blank", 0, props(Hidden=True))
        if book is None:
            raise RuntimeError(f"could not open {path}")
        return self._keep(book)

    def _keep(self, book):
        self.count += 1
        self.books[self.count] = book
        return self.count

    def _range(self, book, sheet, address):
        sheets = self.books[book].Sheets
        found = sheets.getByName(sheet) if isinstance(sheet, str) else sheets.getByIndex(sheet)
        return found.getCellRangeByName(address)

    def op_sheets(self, book):
        return list(self.books[book].Sheets.ElementNames)

    def op_put(self, book, sheet, address, rows):
        cells = tuple(tuple(cell if isinstance(cell, str) else float(cell) for cell in row) for row in rows)
        self._range(book, sheet, address).setDataArray(cells)

    def op_formulas(self, book, sheet, formulas):
        """Type formulas: [[address, text], ...]; for several cells it is entered as an array formula."""
        for address, text in formulas:
            area = self._range(book, sheet, address)
            if ":" in address:
                area.setArrayFormula(text)
            else:
                area.FormulaLocal = text

    def op_fill(self, book, sheet, address, text):
        """Type a formula into the first cell and fill it down."""
        area = self._range(book, sheet, address)
        area.getCellByPosition(0, 0).FormulaLocal = text
        area.fillAuto(0, 1)  # com.sun.star.sheet.FillDirection.TO_BOTTOM

    def op_timed(self, book, sheet, address):
        """Seconds to compute the whole book again and read these cells, all of which must hold a number."""
        began = time.perf_counter()
        self.books[book].calculateAll()
        cells = self._range(book, sheet, address).getDataArray()
        passed = time.perf_counter() - began
        assert all(isinstance(cell, float) for row in cells for cell in row), cells[:2]
        return passed

    def op_values(self, book, sheet, address):
        """Values of cells: numbers, texts, None where empty, {"error": code} for errors."""
        area = self._range(book, sheet, address)
        rows = [[None if cell == "" else cell for cell in row] for row in area.getDataArray()]
        first = area.RangeAddress
        for cell in area.queryFormulaCells(ERROR_RESULTS).Cells:
            at = cell.CellAddress
            rows[at.Row - first.StartRow][at.Column - first.StartColumn] = {"error": cell.getError()}
        return rows

    def op_used(self, book, sheet):
        """Every value from A1 to the end of the used area, as op_values gives them."""
        cursor = self.books[book].Sheets.getByName(sheet).createCursor()
        cursor.gotoEndOfUsedArea(False)
        last = cursor.RangeAddress
        return self.op_values(book, sheet, f"A1:{letters(last.EndColumn)}{last.EndRow + 1}")

    def op_formula_texts(self, book, sheet, addresses):
        return [self._range(book, sheet, address).getCellByPosition(0, 0).Formula for address in addresses]

    def op_digest(self, book):
        """Sheet -> a digest of everything that stands in it, blank edges left off."""
        found = {}
        for sheet in self.books[book].Sheets:
            cursor = sheet.createCursor()
            cursor.gotoEndOfUsedArea(False)
            last = cursor.RangeAddress
            cells = sheet.getCellRangeByPosition(0, 0, last.EndColumn, last.EndRow).getFormulaArray()
            filled = [[r, c, cell] for r, row in enumerate(cells) for c, cell in enumerate(row) if cell != ""]
            found[sheet.Name] = hashlib.sha256(repr(filled).encode()).hexdigest()
        return found

    def op_text(self, book, sheet, address):
        area = self._range(book, sheet, address)
        last = area.RangeAddress
        return [[area.getCellByPosition(c, r).String for c in range(last.EndColumn - last.StartColumn + 1)]
                for r in range(last.EndRow - last.StartRow + 1)]

    def op_recalculate(self, book):
        self.books[book].calculateAll()

    def op_save(self, book, path):
        import uno
        url = uno.systemPathToFileUrl(os.path.abspath(path))
        self.books[book].storeToURL(url, props(FilterName=FILTERS[path.rpartition(".")[2]]))

    def op_close(self, book):
        self.books.pop(book).close(True)

    def op_dispatch(self, book, url, given=None):
        """Choose an entry of the menu; returns what it said."""
        frame = self.books[book].CurrentController.Frame
        helper = self.service("com.sun.star.frame.DispatchHelper")
        return helper.executeDispatch(frame, url, "", 0, props(**given or {})).Result

    def op_undo(self, book):
        self.books[book].UndoManager.undo()

    def op_redo(self, book):
        self.books[book].UndoManager.redo()

    def op_looks(self, book, sheet, address):
        """The look of every cell, row by row: formats of numbers, fonts, colours, borders, places of text."""
        names = ("BottomBorder2", "CellBackColor", "CharColor", "CharFontName", "CharHeight", "CharPosture", "CharWeight", "HoriJustify",
                 "IsTextWrapped", "LeftBorder2", "NumberFormat", "ParaIndent", "TopBorder2", "VertJustify")
        formats, found = self.books[book].NumberFormats, {}
        alike = self._range(book, sheet, address).getUniqueCellFormatRanges()
        for i in range(alike.Count):
            ranges = alike.getByIndex(i)
            look = [getattr(value, "OuterLineWidth", getattr(value, "value", value)) for value in ranges.getPropertyValues(names)]
            look[names.index("NumberFormat")] = formats.getByKey(look[names.index("NumberFormat")]).FormatString
            for area in ranges.RangeAddresses:
                for row in range(area.StartRow, area.EndRow + 1):
                    found.update({(row, column): look for column in range(area.StartColumn, area.EndColumn + 1)})
        return [found[at] for at in sorted(found)]

    def op_undo_titles(self, book):
        return list(self.books[book].UndoManager.getAllUndoActionTitles())

    def op_heights(self, book, sheet, rows):
        area = self.books[book].Sheets.getByName(sheet).Rows
        return [area.getByIndex(row).Height for row in range(rows)]

    def op_charts(self, book, sheet):
        """Title of each chart -> the ranges it shows: categories, then values."""
        found, charts = {}, self.books[book].Sheets.getByName(sheet).Charts
        for i in range(charts.Count):
            chart = charts.getByIndex(i).EmbeddedObject
            system = chart.getFirstDiagram().getCoordinateSystems()[0]
            categories = system.getAxisByDimension(0, 0).getScaleData().Categories
            shown = [each for series in system.getChartTypes()[0].getDataSeries()
                     for each in series.getDataSequences()]
            title = "".join(part.getString() for part in chart.getTitleObject().getText())
            found[title] = [each.getValues().getSourceRangeRepresentation()
                            for each in [categories, *shown] if each is not None]
        return found

    def op_tables(self, book):
        """Name of each table -> its last row, counted from 0."""
        ranges = self.books[book].DatabaseRanges
        return {name: ranges.getByName(name).DataArea.EndRow for name in ranges.ElementNames}

    def op_note(self, book, sheet, address, text=None):
        """Put a comment to a cell, or read the one that is there."""
        cell = self._range(book, sheet, address).getCellByPosition(0, 0)
        if text is not None:
            self.books[book].Sheets.getByName(sheet).Annotations.insertNew(cell.CellAddress, text)
        return cell.Annotation.String

    def op_name(self, book, name):
        return self.books[book].NamedRanges.getByName(name).Content

    def op_rename(self, book, sheet, name):
        self.books[book].Sheets.getByName(sheet).Name = name

    def op_protect(self, book, sheet):
        self.books[book].Sheets.getByName(sheet).protect("")

    def op_open_files(self):
        """Paths of the files open beside the test's own, which are closed."""
        import uno
        found, own = [], [book.URL for book in self.books.values()]
        parts = self.desktop.Components.createEnumeration()
        while parts.hasMoreElements():
            part = parts.nextElement()
            if part.URL.startswith("file:") and part.URL not in own:
                found.append([uno.fileUrlToSystemPath(part.URL), list(part.Sheets.ElementNames)])
                part.close(True)
        return found

    def op_functions(self, prefix):
        """Descriptions of the functions whose names begin so: {name: {Description, Category, Arguments}}."""
        found = {}
        descriptions = self.service("com.sun.star.sheet.FunctionDescriptions")
        for i in range(descriptions.Count):
            about = {prop.Name: prop.Value for prop in descriptions.getByIndex(i)}
            if about["Name"].startswith(prefix):
                found[about["Name"]] = {"description": about["Description"], "category": about["Category"],
                                        "arguments": [[a.Name, a.Description, a.IsOptional]
                                                      for a in about["Arguments"]]}
        return found


def letters(column):
    """The letters of a column, counted from 0."""
    text = ""
    while column >= 0:
        column, last = column // 26 - 1, column % 26
        text = chr(65 + last) + text
    return text


def serve(helper):
    """Answer JSON lines until the other end closes."""
    try:
        print(json.dumps({"result": helper.process.pid}), flush=True)
        for line in sys.stdin:
            operation, *given = json.loads(line)
            try:
                answer = {"result": getattr(helper, "op_" + operation)(*given)}
            except Exception as problem:
                answer = {"problem": f"{type(problem).__name__}: {problem}"}
            print(json.dumps(answer), flush=True)
    finally:
        helper.close()


if __name__ == "__main__":
    serve(Helper(sys.argv[1]))

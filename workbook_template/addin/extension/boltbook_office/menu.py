"""The entries of the Boltbook menu. Each ends in one message; whoever dispatched the entry gets its words too."""
from __future__ import annotations

import json
import shutil
import sys
import tempfile
import traceback
from pathlib import Path

import uno
from boltbook_kernel import functions
from com.sun.star.awt.MessageBoxType import ERRORBOX, INFOBOX
from com.sun.star.beans import PropertyValue

from boltbook_office import book, built, child
from boltbook_office.child import Trouble

FORM = 1  # of what the package hands over
RESULTS, COMMANDS = "workbook_template.addin.results_command", "workbook_template.cli"
LISTED = 12  # problems shown by Check
SAVE_DIALOG = 1  # com.sun.star.ui.dialogs.TemplateDescription.FILESAVE_SIMPLE
_busy = []


def run(context, frame, command, given):
    """Do an entry of the menu for a window and say what came of it; returns the words.

    given: what a macro may add. Today: refresh or check as of that day, 2026-11-15; Path: where the new workbook goes.
    """
    if _busy:
        return "Boltbook is at work already: wait until it is done."
    _busy.append(command)
    kind = INFOBOX
    try:
        words = ENTRIES[command](context, frame, given)
    except Trouble as trouble:
        kind, words = ERRORBOX, str(trouble)
    except Exception as error:
        traceback.print_exc()
        kind, words = ERRORBOX, "Boltbook met an error of its own and took back what it had begun: {}".format(error)
    finally:
        _busy.clear()
    if words:
        _say(frame, kind, words)
    return words


def _say(frame, kind, words):
    window = frame.getContainerWindow()
    window.getToolkit().createMessageBox(window, kind, 1, "Boltbook", words).execute()


class _Status:
    """The status line of a window while a child is at work; the window takes no typing meanwhile."""

    def __init__(self, frame):
        self.line, self.window, self.words = frame.createStatusIndicator(), frame.getContainerWindow(), ""

    def __enter__(self):
        self.window.setEnable(False)
        self.line.start("Boltbook", 100)
        return self

    def show(self, words, part):
        self.words = words
        self.line.setText("Boltbook: " + words)
        self.line.setValue(part)

    def tick(self, passed):
        self.line.setText("Boltbook: {}, {:.0f} s".format(self.words, passed) if passed > 2 else "Boltbook: " + self.words)
        self.line.setValue(min(90, 20 + int(10 * passed)))

    def __exit__(self, *error):
        self.line.end()
        self.window.setEnable(True)


def _ask(frame, given, *more):
    """Store a copy of the open workbook and let the package work on it; returns what it handed over."""
    document = frame.getController().getModel()
    folder = tempfile.mkdtemp(prefix="boltbook-")
    try:
        with _Status(frame) as status:
            status.show("reading the workbook", 5)
            copy = Path(folder) / "copy.xlsx"
            document.storeToURL(copy.as_uri(), (PropertyValue("FilterName", 0, "Calc MS Excel 2007 XML", 0),))
            status.show("working out", 20)
            words = [str(copy), "--name", document.Title or "this workbook", *more]
            words += ["--today", given["Today"]] if isinstance(given.get("Today"), str) else []
            code, out, errors = child.run(RESULTS, words, folder, status.tick)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    try:
        found = json.loads(out) if code == 0 else {}
    except ValueError:
        found = {}
    if found.get("form") != FORM:
        said = errors.strip().splitlines()[-1:] or ["no answer"]
        raise Trouble("The Boltbook in your Python and this extension do not work together ({}). Nothing was written. {}".format(
            said[0] if not found else "another version", child.INSTALL))
    if "trouble" in found:
        raise Trouble(found["trouble"])
    return document, found


def _refresh(context, frame, given):
    document = frame.getController().getModel()
    if document.isReadonly():
        raise Trouble("{} is open for reading only, so nothing was written. Save it under another name first.".format(document.Title))
    own = uno.fileUrlToSystemPath(document.URL) if document.URL.startswith("file:") else ""
    original = ["--original", own] if Path(own).is_file() else []
    document, found = _ask(frame, given, *original)
    with _Status(frame) as status:
        status.show("writing", 95)
        book.Writer(document, found).write()
    return found["closing"] + " One Undo takes it all back. Save to keep it."


def _check(context, frame, given):
    _, found = _ask(frame, given, "--check")
    problems = found["problems"]
    more = len(problems) - LISTED
    lines = problems[:LISTED] + (["and {} more: Refresh lists them all on Problems.".format(more)] if more > 0 else [])
    return "\n\n".join([found["closing"], *lines])


def _new(profile):
    def new(context, frame, given):
        path = given.get("Path") or _where(context)
        if not path:
            return ""
        folder = tempfile.mkdtemp(prefix="boltbook-")
        try:
            with _Status(frame) as status:
                status.show("making the workbook", 20)
                code, _, errors = child.run(COMMANDS, ["new", path, "--units", profile], folder, status.tick)
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        if code:
            raise Trouble((errors.strip().splitlines() or ["The workbook could not be made."])[-1])
        desktop = context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        desktop.loadComponentFromURL(Path(path).resolve().as_uri(), "_blank", 0, ())
        return ""
    return new


def _where(context):
    """Ask for the new workbook's path; "" if the grower thought better of it."""
    picker = context.ServiceManager.createInstanceWithArgumentsAndContext("com.sun.star.ui.dialogs.FilePicker", (SAVE_DIALOG,), context)
    picker.setTitle("New Boltbook workbook")
    picker.appendFilter("Workbook (.xlsx)", "*.xlsx")
    picker.setDefaultName("mylogs.xlsx")
    if picker.execute() != 1:
        return ""
    path = uno.fileUrlToSystemPath(picker.getSelectedFiles()[0])
    return path if path.endswith(".xlsx") else path + ".xlsx"


def _about(context, frame, given):
    chosen = child.pythons()
    return "\n\n".join([
        "Boltbook {}: {} worksheet functions, BOLT.VOLUME and so on, in the category Add-in of the Function Wizard. Functions run inside "
        "LibreOffice (Python {}).".format(built.VERSION, len(functions.REGISTRY), sys.version.split()[0]),
        "Refresh and Check run in {}.".format(chosen[0][0] if chosen else "no Python: none was found"),
        "Take care", *built.CAUTIONS])


ENTRIES = {"refresh": _refresh, "check": _check, "new-us": _new("us"), "new-metric": _new("metric"), "about": _about}

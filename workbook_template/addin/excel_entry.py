"""Refresh of the workbook that is open in Excel: from the command line, and from the Refresh button of an .xlsm."""
from __future__ import annotations

import datetime as dt
import sys
from dataclasses import dataclass, field
from pathlib import Path

from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import SaveProblem
from workbook_template.ports.xlwings_port import XlwingsPort
from workbook_template.progress import Steps
from workbook_template.refresh import REFRESHING, Outcome, refresh

HALF = "Result sheets may be half written: refresh again, or close without saving."
CLOSED = "Or close the workbook and run: boltbook refresh and its name."
# What Excel and its programming interface say, and what it means: (part of the words, sentence).
KNOWN = (
    (("-2147418111", "-2146777998"), "Excel is busy. Finish the cell you are typing in (Enter), close any open dialog, and try again."),
    (("-1743",), "macOS did not allow this program to control Excel. System Settings, Privacy & Security, Automation: switch Microsoft "
                 "Excel on for the terminal, then try again."),
    (("-2147221164", "-2147221005"), "Excel could not be reached: it is not installed, is a Store edition that cannot be controlled, "
                                     "or needs a repair (Settings, Apps, Microsoft 365, Modify)."),
    (("protected", "-50103"), "A result sheet is protected. In Excel: Review, Unprotect Sheet, then try again."),
)


@dataclass
class LiveOutcome(Outcome):
    """What came of a live refresh; notes: sentences on Undo, saving, and what could not be done."""

    notes: list[str] = field(default_factory=list)

    def closing(self) -> str:
        return " ".join([super().closing(), *self.notes])


def live_refresh(name: str | None = None, today: dt.date | None = None, stamp: str | None = None, progress: bool = False) -> LiveOutcome:
    """Refresh the workbook open in Excel.

    name: its file name, with or without the ending, or its path; left out: the one in front, or the only open one that was
    made here. today, stamp: as in refresh. progress: a bar on a terminal where it takes long.
    Raises FileProblem, LayoutProblem or SaveProblem with a sentence.
    """
    with Steps(REFRESHING, progress) as step:
        return _live(name, today, stamp, step)


def _live(name: str | None, today: dt.date | None, stamp: str | None, step) -> LiveOutcome:
    step(REFRESHING[0])
    xlwings = _xlwings()
    try:
        book = _find(_open_books(xlwings), _front(xlwings), name)
    except (FileProblem, LayoutProblem, SaveProblem):
        raise
    except Exception as error:
        raise _sentence(error, False) from error
    return refresh_book(book, today, stamp, step)


def refresh_book(book, today: dt.date | None = None, stamp: str | None = None, step=lambda words: None) -> LiveOutcome:
    """Refresh an xlwings Book; what Excel refuses becomes a SaveProblem, and so does Ctrl-C once the writing has begun."""
    port = XlwingsPort(book)
    try:
        outcome = refresh(port, today, stamp, step)
    except (FileProblem, LayoutProblem, SaveProblem):
        raise
    except Exception as error:
        if type(error).__name__ not in ("com_error", "CommandError", "XlwingsError", "OSERROR"):
            raise
        raise _sentence(error, port.writing) from error
    except KeyboardInterrupt:
        if not port.writing:
            raise
        raise SaveProblem(f"Stopped. {HALF}") from None
    return LiveOutcome(**vars(outcome), notes=port.notes)


def refresh_caller() -> None:
    """What the Refresh button runs. A trouble ends the program with its sentence, which the macro shows in a box."""
    try:
        outcome = refresh_book(_caller(_xlwings()))
    except LayoutProblem as trouble:
        sys.exit("\n".join([*trouble.sentences, "Nothing was written."]))
    except (FileProblem, SaveProblem) as trouble:
        sys.exit(str(trouble))
    print(outcome.closing())


def _caller(xlwings):
    try:
        return xlwings.Book.caller()
    except Exception as error:
        raise _sentence(error, False) from error


def _xlwings():
    try:
        import xlwings
    except ImportError:
        raise FileProblem(f"The Python package xlwings is missing. Install it: python -m pip install xlwings. {CLOSED}") from None
    if not len(xlwings.engines):
        if sys.platform == "win32":
            raise FileProblem(f"The Windows part of xlwings (pywin32) is missing. Install it: python -m pip install pywin32. {CLOSED}")
        if sys.platform == "darwin":
            raise FileProblem(f"The Mac part of xlwings (appscript) is missing. Install it: python -m pip install appscript. {CLOSED}")
        raise FileProblem("Excel runs on Windows and Mac, not here. In LibreOffice use the menu Boltbook, Refresh. " + CLOSED)
    return xlwings


def _open_books(xlwings) -> list:
    books = [book for app in xlwings.apps for book in app.books]
    if not books:
        raise FileProblem("No workbook is open in Excel. Open yours first; if it shows a yellow bar (Protected View), choose Enable "
                          "Editing. " + CLOSED)
    return books


def _front(xlwings):
    app = xlwings.apps.active
    return app.books.active if app is not None and len(app.books) else None


def _find(books: list, front, name: str | None):
    shown = ", ".join(dict.fromkeys(book.name for book in books))
    if name:
        wanted = Path(name.replace("\\", "/")).name.casefold()
        found = [b for b in books if wanted in (b.name.casefold(), Path(b.name).stem.casefold())]
        if len(found) == 1:
            return found[0]
        if found:
            raise FileProblem(f"{found[0].name} is open in Excel more than once. Close one of them and try again.")
        raise FileProblem(f"{name} is not open in Excel. Open there: {shown}.")
    ours = [book for book in books if "bb_profile" in XlwingsPort(book).marks()]
    if front is not None and any(book.name == front.name for book in ours):
        return front
    if len(ours) == 1:
        return ours[0]
    if ours:
        raise FileProblem("More than one workbook made here is open. Name the one to refresh: " + ", ".join(b.name for b in ours) + ".")
    raise FileProblem(f"None of the open workbooks ({shown}) was made here: nothing was written. Start one with: boltbook new")


def _sentence(error: Exception, writing: bool) -> SaveProblem:
    """What Excel said, in words a grower can act on."""
    said = str(error)
    words = next((sentence for parts, sentence in KNOWN if any(part in said for part in parts)), f"Excel did not do it ({said}). {CLOSED}")
    after = HALF if writing else "Nothing was written."
    return SaveProblem(f"{words} {after}")

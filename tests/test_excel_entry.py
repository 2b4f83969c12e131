"""The refresh of a workbook open in Excel as a grower meets it: the copy kept first, what Excel refuses, which workbook is
meant, and the Refresh button. The real code runs over the test engine; no Excel takes part here.
"""
# ruff: noqa: F811
from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
import xlwings
import xlwings_engine as rig
from test_xlwings_port import DAY, HOME, STAMP, Live, master, no_excel_left, small  # noqa: F401

from workbook_template.addin import excel_entry
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import SaveProblem
from workbook_template.ports.xlwings_port import UNDO

# ---- what the open program brings with it ---------------------------------------------------------------------------

def test_a_copy_as_last_saved_is_kept_first(small):
    live = Live(small)
    outcome = excel_entry.refresh_book(live.port.book, DAY, STAMP)
    assert outcome.backup == small.with_name("small.backup.xlsx") and outcome.backup.read_bytes() == small.read_bytes()
    assert UNDO in outcome.closing() and outcome.closing().startswith("Refreshed small.xlsx.") and "not saved yet" in outcome.closing()


def test_windows_keeps_a_copy_of_what_is_open(small):
    class Api:
        def SaveCopyAs(self, path):
            Path(path).write_bytes(b"as it is in Excel now")

    live = Live(small)
    live.backend.api = Api()
    assert excel_entry.refresh_book(live.port.book, DAY, STAMP).backup.read_bytes() == b"as it is in Excel now"


def test_a_workbook_that_was_never_saved_is_left_alone(small):
    backend = rig.Openpyxl(small)
    with pytest.raises(FileProblem, match="Book1 was never saved: nothing was written"):
        excel_entry.refresh_book(rig.opened(backend, "Book1"), DAY)
    assert backend.written == set()


def test_a_workbook_in_a_cloud_folder_is_refreshed_without_a_copy(small, monkeypatch):
    monkeypatch.setattr(rig.Book, "fullname", property(lambda self: "https://d.example/small.xlsx"))
    outcome = excel_entry.refresh_book(Live(small).port.book, DAY, STAMP)
    assert outcome.backup is None and "Close without saving to take it back" in outcome.closing()


def test_the_copy_cannot_be_written(small, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    live = Live(small)
    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(SaveProblem, match="No space left on device.*nothing was changed"):
        excel_entry.refresh_book(live.port.book, DAY)
    assert live.backend.written == set()


def test_screen_and_calculation_come_back_also_after_a_failure(small, monkeypatch):
    live = Live(small)
    app = live.port.book.app.impl
    app.calculation = "semiautomatic"
    excel_entry.refresh_book(live.port.book, DAY, STAMP)
    assert app.seen == [False, True] and app.calculation == "semiautomatic" and app.cut_copy_mode is False

    def broken(*_):
        raise com_error(-2147352567, "The cell or chart you're trying to change is on a protected sheet.")

    monkeypatch.setattr(rig.Openpyxl, "paste_formats", broken)
    with pytest.raises(SaveProblem, match="A result sheet is protected.*half written"):
        excel_entry.refresh_book(live.port.book, DAY, STAMP)
    assert app.screen_updating is True and app.calculation == "semiautomatic"


class com_error(Exception):
    """The error of the Windows interface: known by its name."""


@pytest.mark.parametrize(("said", "words"), [
    ("-2147418111, 'Call was rejected by callee.'", "Excel is busy. Finish the cell"),
    ("OSERROR: -1743", "macOS did not allow"),
    ("-2147221164, 'Class not registered'", "Excel could not be reached"),
    ("something new", "Excel did not do it (something new)"),
])
def test_what_excel_refuses_becomes_a_sentence(small, monkeypatch, said, words):
    def refused(*_):
        raise com_error(said)

    live = Live(small)
    monkeypatch.setattr(rig.Openpyxl, "read", refused)
    with pytest.raises(SaveProblem) as told:
        excel_entry.refresh_book(live.port.book, DAY)
    assert words in str(told.value) and str(told.value).endswith("Nothing was written.")


def test_a_fault_of_our_own_is_not_hidden(small, monkeypatch):
    def wrong(*_):
        raise ZeroDivisionError

    live = Live(small)
    monkeypatch.setattr(rig.Openpyxl, "read", wrong)
    with pytest.raises(ZeroDivisionError):
        excel_entry.refresh_book(live.port.book, DAY)


# ---- which workbook --------------------------------------------------------------------------------------------------

@pytest.fixture
def two_open(small, tmp_path):
    other = tmp_path / "Notes.xlsx"
    openpyxl.Workbook().save(other)
    engine = rig.install()
    ours = rig.Openpyxl(small)
    rig.opened(ours, small, engine)
    rig.opened(rig.Openpyxl(other), other, engine)  # in front
    return ours, engine, small


@pytest.mark.parametrize("name", [None, "small.xlsx", "SMALL", r"C:\Yard\small.xlsx", "/Users/grower/small.xlsx"])
def test_the_workbook_is_found(two_open, name):
    outcome = excel_entry.live_refresh(name, DAY, STAMP)
    assert outcome.name == "small.xlsx" and two_open[0].book["Start"]["A3"].value.endswith(STAMP)


def test_the_one_in_front_is_taken_where_several_are_ours(two_open, tmp_path):
    second = Path(shutil.copy(two_open[2], tmp_path / "second.xlsx"))
    rig.opened(rig.Openpyxl(second), second, two_open[1])
    assert excel_entry.live_refresh(None, DAY, STAMP).name == "second.xlsx"
    two_open[1].apps.found[0].books.found.reverse()
    two_open[1].apps.found[0].books.found.append(two_open[1].apps.found[0].books.found.pop(1))  # Notes in front
    with pytest.raises(FileProblem, match="More than one workbook made here is open. Name the one to refresh: second.xlsx, small.xlsx"):
        excel_entry.live_refresh(None, DAY)


def test_a_name_that_is_not_open(two_open):
    with pytest.raises(FileProblem, match="hollow is not open in Excel. Open there: small.xlsx, Notes.xlsx."):
        excel_entry.live_refresh("hollow", DAY)


def test_the_same_name_open_twice(two_open):
    rig.opened(rig.Openpyxl(two_open[2]), two_open[2], two_open[1])
    with pytest.raises(FileProblem, match="small.xlsx is open in Excel more than once"):
        excel_entry.live_refresh("small", DAY)


def test_none_of_the_open_ones_is_ours(tmp_path):
    path = tmp_path / "Notes.xlsx"
    openpyxl.Workbook().save(path)
    rig.opened(rig.Openpyxl(path), path)
    with pytest.raises(FileProblem, match=r"None of the open workbooks \(Notes.xlsx\) was made here: nothing was written"):
        excel_entry.live_refresh(None, DAY)
    with pytest.raises(FileProblem, match="Notes.xlsx is not a workbook made here"):
        excel_entry.live_refresh("Notes", DAY)


def test_no_workbook_is_open():
    rig.install()
    with pytest.raises(FileProblem, match="No workbook is open in Excel.*Enable Editing"):
        excel_entry.live_refresh(None, DAY)


@pytest.mark.parametrize(("platform", "words"), [
    ("linux", "Excel runs on Windows and Mac, not here"), ("win32", "pip install pywin32"), ("darwin", "pip install appscript")])
def test_no_excel_can_be_reached(monkeypatch, platform, words):
    monkeypatch.setattr(sys, "platform", platform)
    with pytest.raises(FileProblem, match=words):
        excel_entry.live_refresh(None, DAY)


def test_no_xlwings(monkeypatch):
    monkeypatch.setitem(sys.modules, "xlwings", None)
    with pytest.raises(FileProblem, match="The Python package xlwings is missing. Install it: python -m pip install xlwings"):
        excel_entry.live_refresh(None, DAY)


# ---- the Refresh button ------------------------------------------------------------------------------------------------

def test_the_button_refreshes_the_workbook_it_stands_in(two_open, capsys):
    xlwings.books["small.xlsx"].set_mock_caller()
    excel_entry.refresh_caller()
    assert capsys.readouterr().out.startswith("Refreshed small.xlsx.") and two_open[0].written


def test_the_button_in_another_workbook_says_so(two_open):
    xlwings.books["Notes.xlsx"].set_mock_caller()
    with pytest.raises(SystemExit) as told:
        excel_entry.refresh_caller()
    assert str(told.value).startswith("Notes.xlsx is not a workbook made here")


def test_the_button_names_every_missing_column(two_open):
    two_open[0].book["Logs"]["D5"], two_open[0].book["Costs"]["B5"] = "Thickness", "Thing"
    xlwings.books["small.xlsx"].set_mock_caller()
    with pytest.raises(SystemExit) as told:
        excel_entry.refresh_caller()
    assert all(word in str(told.value) for word in ("Diameter", "Item", "Nothing was written."))
    assert two_open[0].written == set()


def test_the_words_that_the_add_in_hands_to_python(tmp_path):
    """The command line as xlwings' add-in builds it (Main.bas, ExecuteWindows), here where there is no Excel: one sentence."""
    from workbook_template.addin.macro import COMMAND
    place = "true;/yards/Grower's yard/logs.xlsm;/yards/Grower's yard/logs.xlsm;;;;"
    words = f'import xlwings.utils;xlwings.utils.prepare_sys_path("{place}"); {COMMAND}'
    done = subprocess.run([sys.executable, "-B", "-c", words, "--wb=logs.xlsm", "--from_xl=1", "--app=/x/Excel", "--hwnd=1"], cwd=tmp_path,
                          capture_output=True, text=True, env={"PYTHONPATH": str(HOME), "PATH": "/usr/bin:/bin"}, timeout=120)
    assert done.returncode == 1 and done.stderr.startswith("Excel runs on Windows and Mac, not here.") and "Traceback" not in done.stderr


def test_an_excel_that_cannot_say_which_workbook(two_open, monkeypatch):
    def lost():
        raise com_error("-2147221164, 'Class not registered'")

    monkeypatch.setattr(xlwings.Book, "caller", lost)
    with pytest.raises(SystemExit, match="Excel could not be reached.*Nothing was written"):
        excel_entry.refresh_caller()


# ---- stopped -------------------------------------------------------------------------------------------------------

def test_stopped_while_excel_is_written_to(small, monkeypatch):
    """Ctrl-C before the writing is the command's own matter; during it the open workbook may be half written, and that is said."""
    live, steps = Live(small), []

    def stop(words):
        steps.append(words)
        if words == "Laying out":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        excel_entry.refresh_book(live.port.book, DAY, STAMP, stop)
    assert steps == ["Reading", "Checking", "Working out", "Laying out"] and live.backend.written == set()

    def stop_writing(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("workbook_template.ports.xlwings_port.write_results", stop_writing)
    with pytest.raises(SaveProblem, match="Stopped. Result sheets may be half written: refresh again, or close without saving."):
        excel_entry.refresh_book(Live(small).port.book, DAY, STAMP)

"""The Boltbook menu in a real LibreOffice: refresh, check, new workbook, and every way a refresh can fail."""
from __future__ import annotations

import datetime as dt
import json
import math
import os
import shutil
import sys
from pathlib import Path

import openpyxl
import pytest
from office_live import installed, letters

from workbook_template import carried, schema
from workbook_template.addin import menus
from workbook_template.addin.results_command import FORM
from workbook_template.build import build
from workbook_template.ports.swap import backup_path, file_hash
from workbook_template.refresh import check_file, refresh_file
from workbook_template.yard import read_folder

HOME = Path(__file__).resolve().parent.parent
TODAY = dt.date(2026, 7, 31)
GIVEN = {"Today": f"{TODAY:%Y-%m-%d}"}
RESULTS = schema.result_sheets("metric")
INPUTS = [*schema.INPUT_SHEETS, *schema.OTHER_SHEETS]
PIXEL = 27  # hundredths of a millimetre: a program rounds row heights of a file to its pixels


@pytest.fixture(scope="module")
def install(tmp_path_factory):
    return installed(tmp_path_factory.mktemp("live"))


@pytest.fixture(scope="module")
def office(install):
    live = install.office()
    yield live
    live.end()


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "brook.xlsx"
    build(path, read_folder(HOME / "examples" / "brook_metric", "metric"), rows=60, as_of=TODAY)
    return path


@pytest.fixture
def path(made, tmp_path):
    return Path(shutil.copy(made, tmp_path / "brook.xlsx"))


@pytest.fixture
def book(office, path):
    number = office.open(str(path))
    yield number
    office.close(number)


@pytest.fixture
def settings(install):
    """Write the settings of the extension; the installation's come back afterwards."""
    file = Path(install.environment["XDG_CONFIG_HOME"]) / "boltbook" / "office.json"
    before = file.read_text(encoding="utf-8")
    yield lambda **changed: file.write_text(json.dumps({**json.loads(before), **changed}), encoding="utf-8")
    file.write_text(before, encoding="utf-8")


def choose(office, book, command, **more):
    return office.dispatch(book, menus.PROTOCOL + command, {**GIVEN, **more})


def state(office, book):
    """Everything a refresh may change: contents, charts and tables."""
    return [office.digest(book), *(office.charts(book, sheet) for sheet in RESULTS), office.tables(book)]


def stamp_of(office, book):
    """The words of Start that say when it was refreshed."""
    return office.text(book, "Start", "A3:A3")[0][0].partition(". ")[2]


def area_of(rows):
    return f"A1:{letters(max(map(len, rows)) - 1)}{len(rows)}"


def assert_as_the_command_writes(office, book, path, out):
    """Every result sheet holds what `boltbook refresh` writes into the same file, shown the same way."""
    refresh_file(path, out, TODAY, force=True, progress=False, stamp=stamp_of(office, book))
    other = office.open(str(out))
    for sheet in RESULTS:
        mine, theirs = office.used(book, sheet), office.used(other, sheet)
        assert mine == theirs, sheet
        assert office.charts(book, sheet) == office.charts(other, sheet), sheet
        pairs = zip(office.heights(book, sheet, len(mine)), office.heights(other, sheet, len(mine)), strict=True)
        assert all(math.isclose(one, two, abs_tol=PIXEL) for one, two in pairs), sheet
        assert office.looks(book, sheet, area_of(mine)) == office.looks(other, sheet, area_of(mine)), sheet
    assert office.tables(book) == office.tables(other)
    office.close(other)


def test_refresh_writes_what_the_command_writes_and_one_undo_takes_it_back(office, book, path, tmp_path):
    before, on_disk = state(office, book), file_hash(path)
    said = choose(office, book, "refresh")
    assert said.startswith("Refreshed brook.xlsx.") and "brook.backup.xlsx" in said and "One Undo" in said
    after = state(office, book)
    assert {sheet for sheet in after[0] if after[0][sheet] != before[0][sheet]} >= {"Start", "Each log", "Yield", "Problems"}
    assert all(after[0][sheet] == before[0][sheet] for sheet in INPUTS)
    assert file_hash(path) == on_disk == file_hash(backup_path(path))
    assert_as_the_command_writes(office, book, path, tmp_path / "out.xlsx")
    assert office.undo_titles(book) == ["Refresh Boltbook"]
    office.undo(book)
    assert state(office, book) == before and office.undo_titles(book) == []
    office.redo(book)
    assert state(office, book) == after
    office.undo(book)
    assert state(office, book) == before


def test_a_second_refresh_takes_in_what_was_typed_and_leaves_no_old_line(office, book, tmp_path):
    office.note(book, "Start", "A1", "a remark of the grower")
    office.put(book, "Logs", "A22:E24", [["Z1", "white oak", "", 10, 100], ["Z2", "white oak", "", "lots", 100], ["Z3", "white oak", "", -5, 100]])
    choose(office, book, "refresh")
    lines, first = len(office.used(book, "Problems")), office.digest(book)
    assert "Z1" in [row[1] for row in office.used(book, "Each log")]
    assert office.note(book, "Start", "A1") == "a remark of the grower"
    office.put(book, "Logs", "A22:E24", [["", "", "", "", ""]] * 3)
    choose(office, book, "refresh")
    assert len(office.used(book, "Problems")) < lines and office.undo_titles(book).count("Refresh Boltbook") == 2
    saved = tmp_path / "saved.xlsx"
    office.save(book, str(saved))
    assert_as_the_command_writes(office, book, saved, tmp_path / "out.xlsx")
    office.undo(book)
    assert {sheet: text for sheet, text in office.digest(book).items() if sheet in RESULTS} == {sheet: first[sheet] for sheet in RESULTS}


def test_what_was_typed_on_this_week_is_carried(office, book):
    choose(office, book, "refresh")
    rows = office.used(book, "This week")
    first = next(i for i, row in enumerate(rows) if isinstance(row[7], str) and carried.MARK.fullmatch(row[7]))
    office.put(book, "This week", f"A{first + 1}:A{first + 1}", [["x"]])
    office.put(book, "This week", f"G{first + 1}:G{first + 1}", [["=not a sum"]])
    for _ in range(2):
        choose(office, book, "refresh")
        line = next(row for row in office.used(book, "This week") if row[7] == rows[first][7])
        assert (line[0], line[6]) == ("x", "=not a sum")
    office.put(book, "This week", f"G{first + 1}:G{first + 1}", [[""]])
    choose(office, book, "refresh")
    assert next(row for row in office.used(book, "This week") if row[7] == rows[first][7])[6] in ("", None)


def test_an_ods_workbook_refreshes_and_keeps_the_results(office, book, path, tmp_path):
    office.save(book, str(tmp_path / "brook.ods"))
    number = office.open(str(tmp_path / "brook.ods"))
    assert "brook.backup.ods" in choose(office, number, "refresh")
    refresh_file(path, tmp_path / "out.xlsx", TODAY, force=True, progress=False, stamp=stamp_of(office, number))
    office.save(number, str(tmp_path / "again.ods"))
    others = [office.open(str(tmp_path / name)) for name in ("out.xlsx", "again.ods")]
    for sheet in RESULTS:
        mine = office.used(number, sheet)
        for other in others:
            for one, two in zip(office.used(other, sheet), mine, strict=True):  # an .ods keeps 15 digits
                assert [pytest.approx(cell, rel=1e-12) if isinstance(cell, float) else cell for cell in one] == two, sheet
    for each in (number, *others):
        office.close(each)


def test_two_thousand_logs(office, book, tmp_path):
    rows = [[f"B{i}", ("white oak", "red maple")[i % 2], "", 10 + i % 4, 100] for i in range(2000)]
    office.put(book, "Logs", f"A6:E{5 + len(rows)}", rows)
    assert choose(office, book, "refresh").startswith("Refreshed")
    each = office.used(book, "Each log")
    office.save(book, str(tmp_path / "many.xlsx"))
    refresh_file(tmp_path / "many.xlsx", tmp_path / "out.xlsx", TODAY, progress=False)
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx", read_only=True)["Each log"]
    written = [list(row) for row in sheet.iter_rows(values_only=True)]
    assert len(each) == len(written) and [row[1] for row in each[5:]] == [row[0] for row in rows]
    for mine, theirs in zip(each, written, strict=True):
        assert [cell for cell in mine if isinstance(cell, str)] == [cell for cell in theirs if isinstance(cell, str)]
        numbers = [cell for cell in theirs if isinstance(cell, (int, float))]
        assert [cell for cell in mine if isinstance(cell, float)][:len(numbers)] == numbers or any(
            isinstance(cell, dt.datetime) for cell in theirs)
    office.undo(book)
    assert len(office.used(book, "Each log")) < 100


def test_check_lists_what_the_command_lists_and_writes_nothing(office, book, path):
    before = state(office, book)
    said = choose(office, book, "check").split("\n\n")
    problems = [problem.sentence() for problem in check_file(path, TODAY).problems]
    assert said[1:13] == problems[:12] and said[0].startswith(f"{len(problems)} to look at in brook.xlsx")
    assert state(office, book) == before and office.undo_titles(book) == []


def test_a_new_workbook_opens_and_an_old_one_stays(office, tmp_path):
    empty = office.new()
    target = tmp_path / "mine.xlsx"
    assert choose(office, empty, "new-metric", Path=str(target)) == ""
    (opened, sheets), = office.open_files()
    assert Path(opened) == target and sheets == openpyxl.load_workbook(target, read_only=True).sheetnames and "Cost per kilogram" in sheets
    before = file_hash(target)
    assert "exists already" in choose(office, empty, "new-us", Path=str(target)) and file_hash(target) == before
    assert office.open_files() == []
    office.close(empty)


def test_about_shows_version_python_and_cautions(office, book):
    from workbook_template.addin import oxt
    from workbook_template.cautions import START
    said = choose(office, book, "about")
    assert f"Boltbook {oxt.version()}" in said and sys.executable in said and all(words in said for words in START)


def nothing_written(office, book, path, before, command="refresh"):
    """Choose an entry that must fail; returns what it said. Book, file and folder are as they were."""
    listed, on_disk = sorted(os.listdir(path.parent)), file_hash(path)
    said = choose(office, book, command)
    assert state(office, book) == before and office.undo_titles(book) == []
    assert sorted(os.listdir(path.parent)) == listed and file_hash(path) == on_disk
    return said


def test_a_workbook_of_another_kind_is_told_so(office):
    book = office.new()
    office.put(book, 0, "A1:B1", [["Log", 4]])
    before = office.digest(book)
    said = choose(office, book, "refresh")
    assert "is not a workbook made here" in said and "nothing was written" in said
    assert office.digest(book) == before and "Refresh Boltbook" not in office.undo_titles(book)
    office.close(book)


def program(folder, text):
    """A program that stands in for the grower's Python."""
    file = folder / "python"
    file.write_text("#!/bin/sh\n" + text, encoding="utf-8")
    file.chmod(0o755)
    return str(file)


def ended(pid):
    """Whether a process is gone, or at most waits for its parent to look."""
    command = Path("/proc", pid, "cmdline")
    return not command.exists() or command.read_bytes() == b""


def test_a_child_that_hangs_is_ended(office, book, path, settings, tmp_path):
    (aside := tmp_path / "aside").mkdir()
    before, pid = state(office, book), aside / "pid"
    settings(python=program(aside, f"sleep 600 &\necho $! > {pid}\nwait\n"), seconds=1)
    said = nothing_written(office, book, path, before)
    assert "longer than 1 seconds" in said and "Nothing was written" in said
    assert ended(pid.read_text().strip())


def test_python_without_the_package_and_one_of_another_version(office, book, path, settings, tmp_path):
    (aside := tmp_path / "aside").mkdir()
    before = state(office, book)
    settings(python="/nowhere/python")  # the system's own is tried then, which has no Boltbook
    said = nothing_written(office, book, path, before)
    assert "Boltbook is not installed in it" in said and "pip install" in said
    settings(python=program(aside, "echo '{\"form\": 0}'\n"))
    assert "another version" in nothing_written(office, book, path, before)
    settings(python=program(aside, "echo \"ModuleNotFoundError: No module named 'pandas'\" >&2\nexit 1\n"))
    said = nothing_written(office, book, path, before)
    assert "No module named 'pandas'" in said and "pip install" in said


def test_what_was_begun_is_taken_back_when_the_writing_fails(office, book, path, settings, tmp_path):
    (aside := tmp_path / "aside").mkdir()
    sheet = {"rows": [["half", {"date": 46082.0}, None]], "heights": [[0, 0, 40]], "plain_height": 15, "charts": {}}
    made = [{**sheet, "name": "Start", "looks": {"label": ["A1:C1"]}}, {**sheet, "name": "Yield", "looks": {"a look that is not there": ["A1:A1"]}}]
    (aside / "made.json").write_text(json.dumps({"form": FORM, "closing": "", "samples": {"label": "A1"}, "sheets": made}), encoding="utf-8")
    before = state(office, book)
    settings(python=program(aside, f"cat '{aside / 'made.json'}'\n"))
    said = nothing_written(office, book, path, before)
    assert "took back what it had begun" in said and "a look that is not there" in said


def test_sheets_that_are_locked_or_renamed(office, book, path):
    office.protect(book, "Yield")
    before = office.digest(book)
    said = choose(office, book, "refresh")
    assert "The sheet Yield is protected" in said and office.digest(book) == before and office.undo_titles(book) == ["Protect sheet"]
    office.rename(book, "Problems", "Troubles")
    said = choose(office, book, "refresh")
    assert "The result sheet Problems is not there" in said and "Nothing was written" in said


def test_the_command_says_when_the_office_is_running(install, office):
    for words in ("--install", "--uninstall"):
        code, said = install.run(words)
        assert code == 3 and "LibreOffice is running" in said

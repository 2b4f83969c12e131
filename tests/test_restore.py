"""boltbook restore: the backup comes back, the present file is kept, and nothing is done where the backup is no good."""
from __future__ import annotations

import datetime as dt
import shutil

import pytest
from test_cli import run

from workbook_template.build import build
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import FileInUse, SaveProblem, backup_path
from workbook_template.refresh import refresh_file
from workbook_template.restore import restore
from workbook_template.yard import Yard

NOW = dt.datetime(2026, 11, 26, 9, 5)
LOG = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    path = tmp_path_factory.mktemp("drawn") / "yard.xlsx"
    build(path, Yard("us", {"logs": [LOG]}), rows=10)
    return path


@pytest.fixture
def yard(drawn, tmp_path):
    """A workbook, refreshed once: its backup is the one that was never refreshed."""
    path = tmp_path / "yard.xlsx"
    shutil.copy(drawn, path)
    refresh_file(path, progress=False)
    return path


def test_the_backup_takes_the_place_and_the_present_file_is_kept(yard, drawn):
    now = yard.read_bytes()
    done = restore(yard, NOW)
    assert yard.read_bytes() == drawn.read_bytes() == backup_path(yard).read_bytes()
    assert done.kept.name == "yard before restore 2026-11-26 0905.xlsx" and done.kept.read_bytes() == now
    assert "The file as it was before: yard before restore 2026-11-26 0905.xlsx." in done.sentence()
    assert sorted(p.name for p in yard.parent.iterdir()) == ["yard before restore 2026-11-26 0905.xlsx", "yard.backup.xlsx", "yard.xlsx"]


def test_a_lost_workbook_comes_back(yard, drawn):
    yard.unlink()
    done = restore(yard)
    assert done.kept is None and yard.read_bytes() == drawn.read_bytes() and "as it was before" not in done.sentence()


def test_restoring_twice_says_that_there_is_nothing_to_do(yard):
    restore(yard, NOW)
    with pytest.raises(SaveProblem, match="nothing to restore"):
        restore(yard, NOW)


@pytest.mark.parametrize("damage", ["cut", "flipped", "text", "other"])
def test_a_damaged_backup_is_refused(yard, damage, tmp_path):
    backup, before = backup_path(yard), yard.read_bytes()
    content = bytearray(backup.read_bytes())
    if damage == "cut":
        backup.write_bytes(content[:len(content) // 2])
    elif damage == "flipped":
        middle = content.index(b"PK\x03\x04", 2000) - 200
        content[middle] ^= 0xFF
        backup.write_bytes(content)
    elif damage == "text":
        backup.write_text("not a workbook")
    else:
        import openpyxl
        openpyxl.Workbook().save(backup)
    with pytest.raises(FileProblem, match="damaged|not an Excel workbook|not a workbook made here"):
        restore(yard, NOW)
    assert yard.read_bytes() == before and len(list(yard.parent.iterdir())) == 2


def test_no_backup_is_said(drawn, tmp_path):
    path = tmp_path / "new.xlsx"
    shutil.copy(drawn, path)
    with pytest.raises(FileProblem, match="There is no backup of new.xlsx"):
        restore(path)


def test_an_open_workbook_is_left_alone(yard):
    yard.with_name(f".~lock.{yard.name}#").write_text("A Grower,grower,host,26.11.2026 09:00,profile")
    before = yard.read_bytes()
    with pytest.raises(FileInUse, match="is open in LibreOffice"):
        restore(yard, NOW)
    assert yard.read_bytes() == before and len(list(yard.parent.iterdir())) == 3


def test_the_command_says_what_it_did(yard):
    told = run("restore", yard)
    assert told.startswith("yard.xlsx is again as it was in the backup of ") and "before restore" in told
    assert "There is no backup" in run("restore", yard.with_name("other.xlsx"), code=2)
    assert "nothing to restore" in run("restore", yard, code=3)
    assert "is a folder" in run("restore", yard.parent, code=2)

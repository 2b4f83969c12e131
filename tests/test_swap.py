"""Replacing a file: whole or not at all, nobody's change lost, a backup kept, locks respected."""
from __future__ import annotations

import datetime as dt
import errno
import os
import signal
import stat
import subprocess
import sys

import pytest

from workbook_template.ports import swap
from workbook_template.ports.swap import (
    ChangedMeanwhile,
    FileInUse,
    Guard,
    SaveProblem,
    backup_path,
    file_hash,
    lock_holder,
    write_new,
)

OLD, NEW = b"old content", b"new content"


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "Yard.xlsx"
    path.write_bytes(OLD)
    return path


def writer(content=NEW):
    return lambda path: path.write_bytes(content)


def names(folder) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_swap_and_backup(book):
    book.chmod(0o640)
    assert Guard(book).save(writer()) == book.with_name("Yard.backup.xlsx")
    assert book.read_bytes() == NEW and backup_path(book).read_bytes() == OLD
    assert stat.S_IMODE(book.stat().st_mode) == stat.S_IMODE(backup_path(book).stat().st_mode) == 0o640
    Guard(book).save(writer(b"third"))
    assert book.read_bytes() == b"third" and backup_path(book).read_bytes() == NEW
    assert names(book.parent) == ["Yard.backup.xlsx", "Yard.xlsx"]


def test_macro_workbooks_keep_their_ending():
    assert backup_path("/a/Yard.v2.xlsm").name == "Yard.v2.backup.xlsm"


def test_a_link_stays_a_link(book):
    link = book.with_name("link.xlsx")
    link.symlink_to(book)
    Guard(link).save(writer())
    assert link.is_symlink() and book.read_bytes() == NEW and backup_path(book).exists()


def test_changed_meanwhile(book):
    now = dt.datetime(2026, 11, 25, 14, 2)
    for copy in ("Yard refreshed 2026-11-25 1402.xlsx", "Yard refreshed 2026-11-25 1402 (2).xlsx"):
        guard = Guard(book)
        book.write_bytes(OLD + b" and more")
        with pytest.raises(ChangedMeanwhile) as told:
            guard.save(writer(), now=now)
        assert str(told.value) == (
            "Yard.xlsx was saved by someone else meanwhile, so it was left alone. The refreshed version is "
            f"in {copy} beside it; or run the refresh again."
        )
        assert told.value.copy.name == copy and told.value.copy.read_bytes() == NEW
        assert book.read_bytes() == OLD + b" and more"
        book.write_bytes(OLD)
    assert len(names(book.parent)) == 3


def test_moved_away_meanwhile(book):
    guard = Guard(book)
    book.unlink()
    with pytest.raises(ChangedMeanwhile) as told:
        guard.save(writer())
    assert names(book.parent) == [told.value.copy.name]


@pytest.mark.parametrize("error", [ValueError("x"), KeyboardInterrupt(), RuntimeError("y")])
@pytest.mark.parametrize("where", ["write", "check"])
def test_a_failure_leaves_all_as_it_was(book, error, where):
    def fail(_path):
        raise error

    with pytest.raises(type(error)):
        Guard(book).save(fail if where == "write" else writer(), fail if where == "check" else None)
    assert names(book.parent) == ["Yard.xlsx"] and book.read_bytes() == OLD


@pytest.mark.parametrize("number, told, kind", [
    (errno.ENOSPC, "There is no room on the disk for the new Yard.xlsx.", SaveProblem),
    (errno.EACCES, "Yard.xlsx is open in another program. Close it there and try again.", FileInUse),
    (errno.EIO, "Yard.xlsx could not be saved", SaveProblem),
    (errno.EROFS, "The folder of Yard.xlsx cannot be written to.", SaveProblem),
])
def test_file_errors_are_told_in_words(book, monkeypatch, number, told, kind):
    """Windows refuses to replace an open file with the error of a forbidden one."""
    replace = os.replace

    def refuse(source, target):
        if target == book:
            raise OSError(number, os.strerror(number))
        replace(source, target)

    monkeypatch.setattr(swap.os, "replace", refuse)
    with pytest.raises(kind, match=told) as raised:
        Guard(book).save(writer())
    assert isinstance(raised.value, FileInUse) == (kind is FileInUse)
    assert names(book.parent) == ["Yard.backup.xlsx", "Yard.xlsx"] and book.read_bytes() == OLD


def test_a_write_protected_file_is_left_alone(book, monkeypatch):
    monkeypatch.setattr(swap.os, "access", lambda path, mode: mode != os.W_OK)
    with pytest.raises(SaveProblem, match="Yard.xlsx is write-protected."):
        Guard(book).save(writer())
    assert names(book.parent) == ["Yard.xlsx"] and book.read_bytes() == OLD


def test_lock_of_libreoffice(book):
    lock = book.with_name(".~lock.Yard.xlsx#")
    lock.write_text(",grower,host,25.11.2026 09:00,file:///profile;", encoding="utf-8")
    moment = dt.datetime(2026, 11, 25, 9, 0)
    os.utime(lock, (moment.timestamp(), moment.timestamp()))
    holder = lock_holder(book)
    assert (holder.program, holder.who, holder.since) == ("LibreOffice", "grower", moment)
    assert holder.lock_file == lock
    with pytest.raises(FileInUse) as told:
        Guard(book)
    assert str(told.value) == (
        "Yard.xlsx is open in LibreOffice by grower since 09:00 on 25 Nov 2026. Close it there and try "
        "again, or refresh from inside the program. If no one has it open, delete .~lock.Yard.xlsx# or use "
        "--force."
    )
    Guard(book, force=True).save(writer())
    assert book.read_bytes() == NEW


def test_lock_of_excel_also_through_a_link(book, tmp_path):
    (tmp_path / "~$Yard.xlsx").write_bytes(bytes([6]) + b"Grower".ljust(54, b" ") + bytes(110))
    link = tmp_path / "other.xlsx"
    link.symlink_to(book)
    holder = lock_holder(link)
    assert (holder.program, holder.who) == ("Excel", "Grower")
    with pytest.raises(FileInUse, match="Yard.xlsx is open in Excel by Grower since"):
        Guard(link)


def test_no_lock_and_a_lock_without_a_name(book):
    assert lock_holder(book) is None
    book.with_name("~$Yard.xlsx").write_bytes(b"")
    assert lock_holder(book).who == ""


def test_hash_is_of_the_content(book):
    # SHA-256 of "abc", FIPS 180-2 appendix B.1
    book.write_bytes(b"abc")
    assert file_hash(book) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_new_file_appears_whole_and_never_over_another(tmp_path):
    path = tmp_path / "out.xlsx"
    write_new(path, writer())
    assert path.read_bytes() == NEW and names(tmp_path) == ["out.xlsx"]
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~mask
    with pytest.raises(SaveProblem, match="There is a file out.xlsx already."):
        write_new(path, writer(OLD))
    assert write_new(path, writer(OLD), overwrite=True).read_bytes() == OLD
    (tmp_path / "~$out.xlsx").write_bytes(b"")
    with pytest.raises(FileInUse):
        write_new(path, writer(), overwrite=True)


def test_left_overs_of_a_killed_run_are_swept_later(book):
    left = book.with_name(".Yard-abc.xlsx.part")
    fresh = book.with_name(".Yard-def.xlsx.part")
    for path in (left, fresh):
        path.write_bytes(b"half")
    os.utime(left, (0, 0))
    Guard(book).save(writer())
    assert not left.exists() and fresh.exists()


# Kills its own process when the save reaches its n-th step.
KILLED = """
import os, shutil, signal, sys
from pathlib import Path
from workbook_template.ports import swap
left = int(sys.argv[2])
def deadly(function):
    def call(*args, **named):
        global left
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        result = function(*args, **named)
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return result
    return call
guard = swap.Guard(sys.argv[1])
def write(path):
    path.write_bytes(b"new")
    halfway()
    path.write_bytes(b"new content")
halfway = deadly(lambda: None)
swap.file_hash = deadly(swap.file_hash)
os.replace, os.fsync = deadly(os.replace), deadly(os.fsync)
os.chmod, shutil.copyfile = deadly(os.chmod), deadly(shutil.copyfile)
guard.save(write)
print("left", left)
"""
STEPS = 2 * 12  # before and after: halfway, 2 chmod, copyfile, 4 fsync, 2 hash, 2 replace


def run_killed(book, step: int):
    command = [sys.executable, "-c", KILLED, str(book), str(step)]
    paths = {"PYTHONPATH": os.pathsep.join(sys.path)}
    return subprocess.run(command, capture_output=True, text=True, env=paths, timeout=60)


@pytest.mark.parametrize("step", range(1, STEPS + 1))
def test_killed_at_any_moment_one_whole_file_is_left(book, step):
    done = run_killed(book, step)
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert book.read_bytes() in (OLD, NEW)
    if book.read_bytes() == NEW:
        assert backup_path(book).read_bytes() == OLD
    if backup_path(book).exists():
        assert backup_path(book).read_bytes() == OLD


def test_every_moment_was_tried(book):
    done = run_killed(book, STEPS + 1)
    assert done.stdout == "left 1\n", (done.stdout, done.stderr)
    assert book.read_bytes() == NEW

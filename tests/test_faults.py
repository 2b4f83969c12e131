"""What a refresh leaves when something goes wrong under it: always one whole file, and a sentence that says which.

Real processes, killed by the system; real full and read-only disks where this machine lets a process have its own, a real limit
of the system on the size of a file everywhere.
"""
from __future__ import annotations

import os
import shutil
import signal
import zipfile

import openpyxl
import pytest
from fault_server import Server, digest
from faults import STEPS, command, killed, make_yard

KILLS = 40  # scripts/kill.py does 300
NOBODY = 65534


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    folder = tmp_path_factory.mktemp("faults")
    folder.chmod(0o755)
    return make_yard(folder / "Yard.xlsx")


@pytest.fixture(scope="module")
def server(yard):
    server = Server(yard)
    yield server
    server.stop()


@pytest.fixture
def book(yard, tmp_path):
    shutil.copy(yard, tmp_path / "Yard.xlsx")
    return tmp_path / "Yard.xlsx"


def names(folder) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def as_it_was(book, yard) -> bool:
    return digest(book) == digest(yard) and names(book.parent) == ["Yard.xlsx"]


def test_killed_at_random_moments(server, yard, tmp_path):
    found = killed(server, yard, tmp_path, KILLS)
    by_step = {step for step, _ in found}
    assert {"Reading", "Writing"} <= by_step, found
    assert sum(count for (step, _), count in found.items() if step in STEPS) >= KILLS // 2, found
    book = tmp_path / "Yard.xlsx"
    shutil.copy(yard, book)
    assert server.run(args=command(book))["code"] == 0  # what the killed ones left behind is in nobody's way


def test_the_same_refresh_gives_the_same_bytes(server, book, yard):
    """The kills are judged by this: old bytes or new bytes, nothing else."""
    assert server.run(args=command(book))["code"] == 0
    first = digest(book)
    assert first != digest(yard)
    shutil.copy(yard, book)
    assert server.run(args=command(book))["code"] == 0 and digest(book) == first
    with zipfile.ZipFile(book) as archive:
        assert archive.testzip() is None
    assert "Refreshed 15 Nov 2026, 09:00" in openpyxl.load_workbook(book)["Start"]["A3"].value


ROOM = "There is no room on the disk for the new Yard.xlsx. Nothing was changed; make room and try again.\n"


@pytest.mark.parametrize("part", [0.02, 0.5, 0.999])
def test_no_room_at_any_place_of_the_new_file(server, book, yard, part):
    """The system refuses to let the new file grow beyond a part of its size."""
    end = server.run(args=command(book), fsize=int(part * book.stat().st_size))
    assert (end["code"], end["said"]) == (3, ROOM) and as_it_was(book, yard)


@pytest.mark.parametrize("copies, what", [(1.2, "the new Yard.xlsx"), (2.5, "the backup of Yard.xlsx")])
def test_a_full_disk(server, book, yard, copies, what):
    """A small disk of its own: full while the new file is written, or full while the backup is."""
    end = server.run(args=command(book), disk=int(copies * book.stat().st_size) // 4096 * 4096)
    assert (end["code"], end["said"]) == (3, ROOM.replace("the new Yard.xlsx", what)) and end["files"] == {"Yard.xlsx": digest(yard)}


def test_a_disk_that_takes_no_writing(server, book, yard):
    end = server.run(args=command(book), disk=16_000_000, read_only=True)
    assert end["code"] == 3 and end["files"] == {"Yard.xlsx": digest(yard)}
    assert end["said"] in ("Yard.xlsx is write-protected. Take the protection off in its properties, or write to another file.\n",
                           "The folder of Yard.xlsx cannot be written to. Copy the workbook to a folder of your own.\n")


def let_through(folder):
    """Let any user pass through the folders of this test run down to the workbook."""
    for above in (folder, *folder.parents):
        if any(part.startswith("pytest-of-") for part in above.parts):
            above.chmod(above.stat().st_mode | 0o011)


@pytest.mark.parametrize("mode, said", [
    (0o666, "The folder of Yard.xlsx cannot be written to. Copy the workbook to a folder of your own.\n"),
    (0o444, "Yard.xlsx is write-protected. Take the protection off in its properties, or write to another file.\n"),
])
def test_a_folder_or_file_of_someone_else(server, yard, mode, said):
    """The folder forbids writing; the process is no administrator, for whom nothing is forbidden."""
    folder = yard.parent / f"closed {mode:o}"
    folder.mkdir()
    book = folder / "Yard.xlsx"
    shutil.copy(yard, book)
    book.chmod(mode)
    folder.chmod(0o555)
    let_through(folder.parent)
    user = {"user": NOBODY} if os.getuid() == 0 else {}
    end = server.run(args=command(book), **user)
    folder.chmod(0o755)
    assert (end["code"], end["said"]) == (3, said) and as_it_was(book, yard)


def test_a_file_that_may_not_be_read(server, book):
    if os.getuid() == 0:
        let_through(book.parent)
    book.chmod(0o200)
    end = server.run(args=command(book), **({"user": NOBODY} if os.getuid() == 0 else {}))
    assert end["code"] == 3 and "Permission denied" in end["said"] and "Nothing was changed." in end["said"] and "Traceback" not in end["said"]


def test_locked_by_a_program_that_has_it_open(server, book, yard):
    lock = book.with_name(".~lock.Yard.xlsx#")
    lock.write_text(",Ann,barn,15.11.2026 08:00,file:///profile;", encoding="utf-8")
    end = server.run(args=command(book))
    assert end["code"] == 3 and end["said"].startswith("Yard.xlsx is open in LibreOffice by Ann since ")
    assert digest(book) == digest(yard) and names(book.parent) == [lock.name, "Yard.xlsx"]
    assert server.run(args=[*command(book), "--force"])["code"] == 0


@pytest.mark.parametrize("step", STEPS)
def test_changed_by_someone_else_at_any_step(server, book, step):
    """Someone saves the file between two steps: theirs stays, ours stands beside it."""
    child = server.start(args=command(book), hold=step)
    child.until(step)
    theirs = book.with_name("theirs.xlsx")
    shutil.copy(book, theirs)
    with zipfile.ZipFile(theirs, "a") as archive:
        archive.comment = b"saved by someone else"
    shutil.move(theirs, book)
    changed = digest(book)
    child.go()
    end = child.end()
    beside = book.with_name("Yard refreshed 2026-11-15 0900.xlsx")
    assert (end["code"], end["said"]) == (3, f"Yard.xlsx was saved by someone else meanwhile, so it was left alone. The refreshed version is in "
                                             f"{beside.name} beside it; or run the refresh again.\n")
    assert digest(book) == changed and names(book.parent) == [beside.name, "Yard.xlsx"]
    assert openpyxl.load_workbook(beside)["Start"]["A3"].value.startswith("As of 15 Nov 2026")


def test_opened_by_a_program_during_the_refresh(server, book, yard):
    """Someone opens the file while it is being worked on: it is not swapped from under the program."""
    child = server.start(args=command(book), hold="Laying out")
    child.until("Laying out")
    lock = book.with_name(".~lock.Yard.xlsx#")
    lock.write_text(",Ann,barn,15.11.2026 08:00,file:///profile;", encoding="utf-8")
    child.go()
    end = child.end()
    assert end["code"] == 3 and end["said"].startswith("Yard.xlsx is open in LibreOffice by Ann since ")
    assert digest(book) == digest(yard)


@pytest.mark.parametrize("back", [-40 * 365 * 86400, -3600, 40 * 365 * 86400])
def test_a_clock_that_goes_wrong(server, book, back):
    """Years or an hour back, years ahead: the same results, and a change by someone else is still seen."""
    assert server.run(args=command(book))["code"] == 0
    first = openpyxl.load_workbook(book)["Each log"]["M6"].value
    left = book.with_name(".Yard-abc.xlsx.part")
    left.write_bytes(b"half")
    assert server.run(args=command(book), clock=back)["code"] == 0
    assert openpyxl.load_workbook(book)["Each log"]["M6"].value == first
    assert left.exists() == (back < 0)  # swept an hour after by this clock; never a workbook
    child = server.start(args=command(book), clock=back, hold="Writing")
    child.until("Writing")
    book.write_bytes(book.read_bytes() + b"\0")
    changed = digest(book)
    child.go()
    assert child.end()["code"] == 3 and digest(book) == changed


def test_the_folder_is_moved_away_during_the_refresh(server, book, yard):
    child = server.start(args=command(book), hold="Writing")
    child.until("Writing")
    moved = book.parent.with_name("moved")
    book.parent.rename(moved)
    child.go()
    end = child.end()
    assert end["code"] == 3 and "Traceback" not in end["said"] and "Yard.xlsx" in end["said"], end
    assert digest(moved / "Yard.xlsx") == digest(yard) and names(moved) == ["Yard.xlsx"]


def test_a_folder_stands_where_the_backup_goes(server, book, yard):
    backup = book.with_name("Yard.backup.xlsx")
    backup.mkdir()
    end = server.run(args=command(book))
    assert (end["code"], end["said"]) == (3, "The backup of Yard.xlsx cannot be kept: a folder Yard.backup.xlsx stands in its place. "
                                             "Yard.xlsx was left as it was; move that folder away.\n")
    assert digest(book) == digest(yard) and names(book.parent) == ["Yard.backup.xlsx", "Yard.xlsx"]


@pytest.mark.parametrize("step", STEPS)
def test_stopped_by_the_grower_at_any_step(server, book, yard, step):
    """Ctrl-C is this signal."""
    child = server.start(args=command(book), hold=step)
    child.until(step)
    child.kill(signal.SIGINT)
    child.go()
    end = child.end()
    assert (end["code"], end["said"]) == (3, "Stopped. No workbook was changed; each is whole and as it was.\n")
    assert as_it_was(book, yard)


def test_stopped_at_random_moments_the_sentence_is_true(server, book, yard):
    import random
    import time
    chance, ends = random.Random(7), set()
    shutil.copy(yard, book)
    server.run(args=command(book))
    new = digest(book)
    for _ in range(20):
        for left in book.parent.iterdir():
            left.unlink()
        shutil.copy(yard, book)
        child = server.start(args=command(book))
        child.until("Writing")
        time.sleep(chance.random() * 0.25)
        child.kill(signal.SIGINT)
        end = child.end()
        assert "Traceback" not in end["said"], end
        if end["said"] == "Stopped. No workbook was changed; each is whole and as it was.\n":
            assert as_it_was(book, yard) and end["code"] == 3
        else:
            assert digest(book) == new and digest(book.with_name("Yard.backup.xlsx")) == digest(yard)
            assert end["said"] in ("", "Stopped. Yard.xlsx had been written by then and is whole. The file as it was: Yard.backup.xlsx.\n"), end
        ends.add(end["said"])
    assert len(ends) >= 1


def test_a_new_workbook_appears_whole_or_not_at_all(server, tmp_path):
    made = tmp_path / "New.xlsx"
    for step in ("Result sheets", "Writing"):
        child = server.start(args=["new", str(made), "--rows", "50"], hold=step)
        child.until(step)
        child.kill(signal.SIGINT if step == "Writing" else signal.SIGKILL)
        child.go() if step == "Writing" else None
        end = child.end()
        assert not made.exists() and end["code"] in (3, -9), end
    end = server.run(args=["new", str(made), "--rows", "50"], fsize=20_000)
    assert end["code"] == 3 and "no room" in end["said"] and not made.exists()
    assert server.run(args=["new", str(made), "--rows", "50"])["code"] == 0
    assert [n for n in names(tmp_path) if not n.startswith(".")] == ["New.xlsx"]

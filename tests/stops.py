"""Every command that writes, with the files it needs, to be stopped at any moment by Ctrl-C; for tests/test_stopped.py and scripts/kill.py.

All data invented.
"""
from __future__ import annotations

import random
import re
import shutil
import signal
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path

from fault_server import Server, digest

UNCHANGED = "Stopped. No workbook was changed; each is whole and as it was.\n"
LOT = "P26-45"
# Command -> its words; {} is the folder with the files.
COMMANDS = {
    "new": ["{}/New.xlsx", "--rows", "10"],
    "refresh": ["{}/Yard.xlsx", "--today", "2026-11-15"],
    "share": ["{}/Yard.xlsx", "--market", "Hill Fair", "--out", "{}/Sheet.xlsx", "--today", "2026-11-15"],
    "receive": ["{}/Yard.xlsx", "{}/back.xlsx", "--today", "2026-11-20"],
    "merge": ["{}/Yard.xlsx", "{}/theirs.xlsx", "--base", "{}/base.xlsx", "--out", "{}/Yard.xlsx"],
    "import": ["{}/Yard.xlsx", "--from", "{}/old.csv", "--yes"],
    "extend": ["{}/Yard.xlsx", "--rows", "2"],
    "restore": ["{}/Yard.xlsx"],
    "upgrade": ["{}/older.xlsx"],
    "close": ["{}/Yard.xlsx", "--to", "2026-10-31"],
    "calendar": ["{}/Yard.xlsx", "--out", "{}/work.ics", "--today", "2026-11-15"],
    "trace": ["{}/Yard.xlsx", LOT, "--out", "{}/page.xlsx", "--today", "2026-11-15"],
}
LAST_STEP = {"restore": "Putting the backup in place", "import": "Checking", "upgrade": "Checking"}  # of the others it is Writing


def make_world(folder: Path) -> Path:
    """Put everything that the commands read into a folder; returns the workbook."""
    from rich_workbook import change_part
    from test_receive import Filled
    from test_share import DAY, MARKET, a_yard

    from workbook_template.build import build
    from workbook_template.partner import share
    from workbook_template.ports.type_in import Typed, type_in
    yard = folder / "Yard.xlsx"
    build(yard, a_yard(), rows=10, as_of=DAY)
    shutil.copy(yard, folder / "base.xlsx")
    more = {"date": DAY, "event": "picked", "log": "A1", "amount": 1.0}
    (folder / "theirs.xlsx").write_bytes(type_in(yard, [Typed("events", 6, "amount", 9.5)], {"events": [more]}, today=DAY))
    (folder / "Yard.backup.xlsx").write_bytes(type_in(yard, rows={"events": [more]}, today=DAY))
    share(yard, MARKET, folder / "sent.xlsx", DAY)
    filled = Filled(folder / "sent.xlsx")
    filled.put(next(key for key in filled.rows if key.startswith("S")), sold=1.5)
    filled.save(folder / "back.xlsx")
    (folder / "old.csv").write_text("Date,Log,Picked\n2026-05-02,A1,1.5\n2026-05-03,A1,plenty\n", encoding="utf-8")
    older = shutil.copy(yard, folder / "older.xlsx")
    change_part(older, "xl/workbook.xml", lambda xml: re.sub(rb'(name="bb_layout">)\d+', rb"\g<1>2", xml))
    return yard


def words(name: str, folder: Path) -> list[str]:
    return [name, *(word.format(folder) for word in COMMANDS[name])]


def state(folder: Path) -> dict[str, str]:
    """Every file of a folder by its name, with its digest; numbers that change from run to run are levelled."""
    return {re.sub(r"[0-9a-f]{12}|\d", "0", str(p.relative_to(folder))): digest(p) for p in sorted(folder.rglob("*")) if p.is_file()}


@dataclass
class Stops:
    """Runs commands on copies of a world and stops them. pieces: where the server's children keep temporary files."""

    server: Server
    world: Path
    folder: Path
    pieces: Path

    def fresh(self) -> dict[str, str]:
        """The folder as the world is."""
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.copytree(self.world, self.folder)
        return state(self.folder)

    def whole_run(self, name: str) -> tuple[dict[str, str], float]:
        """(the files after the command is left alone, the seconds of its last step)."""
        before = self.fresh()
        child = self.server.start(args=words(name, self.folder))
        child.until(LAST_STEP.get(name, "Writing"))
        begun = time.perf_counter()
        end = child.end()
        after = state(self.folder)
        assert end["code"] == 0 and after != before, (name, end)
        return after, time.perf_counter() - begun

    def held(self, name: str) -> None:
        """Stopped when its last step begins: nothing has changed, and that is said."""
        before = self.fresh()
        step = LAST_STEP.get(name, "Writing")
        child = self.server.start(args=words(name, self.folder), hold=step)
        child.until(step)
        child.kill(signal.SIGINT)
        child.go()
        end = child.end()
        assert (end["code"], end["said"]) == (3, UNCHANGED), (name, end)
        self.nothing_left(name, before)

    def at(self, name: str, after: dict[str, str], wait: float, from_start: bool = False) -> str:
        """Stopped `wait` seconds after its last step began (or after its start); returns "as it was" or "done"."""
        before = self.fresh()
        child = self.server.start(args=words(name, self.folder))
        if not from_start:
            child.until(LAST_STEP.get(name, "Writing"))
        time.sleep(wait)
        child.kill(signal.SIGINT)
        end = child.end()
        assert "Traceback" not in end["said"], (name, end)
        if end["said"].lstrip() == UNCHANGED:
            assert end["code"] == 3, (name, end)
            self.nothing_left(name, before)
            return "as it was"
        there = state(self.folder)
        assert set(there) == set(after), (name, wait, end, sorted(set(there) ^ set(after)))
        touched = {file for file in after if after[file] != before.get(file)}
        assert all(there[file] == before[file] for file in set(before) - touched), (name, end)
        self.all_whole(name)
        assert end["code"] == 0 or end["code"] == 3 and "had been written by then and is whole." in end["said"], (name, end)
        return "done"

    def no_room(self, name: str) -> None:
        """The system lets no file grow: a sentence, and every file as it was."""
        before = self.fresh()
        end = self.server.run(args=words(name, self.folder), fsize=100)
        assert end["code"] == 3 and "Traceback" not in end["said"] and end["said"].count("\n") == 1, (name, end)
        assert "no room on the disk" in end["said"] or "Nothing was changed" in end["said"], (name, end)
        self.nothing_left(name, before)

    def nothing_left(self, name: str, before: dict[str, str]) -> None:
        assert state(self.folder) == before, (name, set(state(self.folder)) ^ set(before))
        assert list(self.pieces.iterdir()) == [], name

    def all_whole(self, name: str) -> None:
        for path in self.folder.rglob("*.xlsx"):
            with zipfile.ZipFile(path) as archive:
                assert archive.testzip() is None, (name, path)
        assert list(self.pieces.iterdir()) == [], name

    def random(self, name: str, times: int, seed: int) -> list[str]:
        """Stopped at random moments, half of them of the whole run, half of its last step."""
        chance = random.Random(f"{seed} {name}")
        after, last = self.whole_run(name)
        return [self.at(name, after, chance.random() * (last if i % 2 else 4 * last), from_start=i % 2 == 0) for i in range(times)]

"""Kills refreshes at random moments and looks at what is left; for tests/test_faults.py and scripts/kill.py."""
from __future__ import annotations

import random
import shutil
import time
from collections import Counter
from pathlib import Path

from fault_server import Server, digest

from workbook_template.build import build
from workbook_template.ports.swap import backup_path
from workbook_template.yard import read_folder

HOME = Path(__file__).resolve().parent.parent
TODAY = "2026-11-15"
SEED = 2026
STEPS = ("Reading", "Checking", "Working out", "Laying out", "Writing")


def command(path: Path) -> list[str]:
    return ["refresh", str(path), "--today", TODAY]


def killed(server: Server, yard: Path, folder: Path, times: int, seed: int = SEED) -> Counter:
    """Kill `times` refreshes of copies of `yard` at random moments; every one must leave the old file or the new one, whole.

    Half of them die at any moment of the run; the others at any moment after the writing has begun. Returns how many were
    killed in each step, and how the file then stood. Raises AssertionError where a file is neither old nor new.
    """
    chance, found = random.Random(seed), Counter()
    old, new, whole, writing = digest(yard), *_measured(server, yard, folder)
    book = folder / yard.name
    for number in range(times):
        for left in folder.iterdir():
            if left.is_file():
                left.unlink()
        shutil.copy(yard, book)
        child = server.start(args=command(book))
        if number % 2:
            child.until("Writing")
        time.sleep(chance.random() * (writing if number % 2 else whole))
        child.kill()
        end = child.end()
        step = ([s["step"] for s in child.steps if "step" in s] or ["starting"])[-1] if end["code"] < 0 else "ended before"
        stands = {old: "old", new: "new"}.get(digest(book), "neither")
        assert stands != "neither", (number, step, end)
        backup = backup_path(book)
        assert not backup.exists() or digest(backup) == old, (number, step)
        assert stands == "old" or backup.exists(), (number, step)
        odd = {p.name for p in folder.iterdir() if p.is_file()} - {book.name, backup.name}
        assert all(name.startswith(".") and name.endswith(".part") for name in odd), odd
        found[step, stands] += 1
    return found


def _measured(server: Server, yard: Path, folder: Path) -> tuple[str, float, float]:
    """The refreshed file, and the seconds of a whole run and of its last step."""
    book = folder / yard.name
    shutil.copy(yard, book)
    begun = time.perf_counter()
    child = server.start(args=command(book))
    child.until("Writing")
    writing = time.perf_counter()
    end = child.end()
    assert end["code"] == 0, end
    return digest(book), time.perf_counter() - begun, time.perf_counter() - writing


def make_yard(path: Path) -> Path:
    build(path, read_folder(HOME / "examples" / "hollow_us", "us"), rows=20)
    return path

"""Kills 300 refreshes at random moments, then stops every command that writes by Ctrl-C, each 50 times, and says what was left:

    python3 scripts/kill.py [kills] [seed] [stops]

Real processes, real SIGKILL; every file left is either the old one or the new one, byte for byte, or this ends with an error. The same for
Ctrl-C, which also leaves nothing half written, not even among the temporary files, and says in a sentence how the files stand.
"""
from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]
from fault_server import Server  # noqa: E402
from faults import SEED, STEPS, killed, make_yard  # noqa: E402
from stops import COMMANDS, Stops, make_world  # noqa: E402

sys.path.insert(0, str(HOME / "scripts"))
from bench import table  # noqa: E402


def main(times: int = 300, seed: int = SEED, stops: int = 50) -> None:
    if times:
        kills(times, seed)
    if stops:
        stopped(stops, seed)


def stopped(times: int, seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        world, pieces = Path(folder) / "world", Path(folder) / "pieces"
        world.mkdir(), pieces.mkdir()
        server = Server(make_world(world), TMPDIR=str(pieces))
        found = {name: Counter(Stops(server, world, Path(folder) / "here", pieces).random(name, times, seed)) for name in COMMANDS}
        server.stop()
    rows = [(name, count["as it was"], count["done"], 0) for name, count in found.items()]
    print(table(f"every command stopped by Ctrl-C {times} times at random moments, seed {seed}",
                ("command", "every file as it was", "done and whole", "neither"), rows))


def kills(times: int, seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        yard, where = make_yard(Path(folder) / "Yard.xlsx"), Path(folder) / "killed"
        where.mkdir()
        server = Server(yard)
        found = killed(server, yard, where, times, seed)
        server.stop()
    steps = ("starting", *STEPS, "ended before")
    rows = [(step, found[step, "old"], found[step, "new"], 0) for step in steps if found[step, "old"] + found[step, "new"]]
    print(table(f"{times} refreshes killed at random moments, seed {seed}", ("killed in", "old file left whole", "new file there whole", "neither"),
                rows))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))

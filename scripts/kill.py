"""Kills 300 refreshes at random moments and says what was left: python3 scripts/kill.py [times] [seed]

Real processes, real SIGKILL; every file left is either the old one or the new one, byte for byte, or this ends with an error.
"""
from __future__ import annotations

import sys
import tempfile
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]
from fault_server import Server  # noqa: E402
from faults import SEED, STEPS, killed, make_yard  # noqa: E402

sys.path.insert(0, str(HOME / "scripts"))
from bench import table  # noqa: E402


def main(times: int = 300, seed: int = SEED) -> None:
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

"""Worksheet functions in a running LibreOffice against native formulas, measured in one run: python3 scripts/bench_live.py

`live` is a part for bench.py: it returns (title, headings, rows). A ratio says how many times as long as the native formula
beside it; seconds depend on the machine and on what else it does.
"""
from __future__ import annotations

import sys
import tempfile
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]
from office_live import installed  # noqa: E402

CELLS = 10_000
RUNS = 5
ACROSS = 3  # columns that BOLT.DRILL_MAP gives
# (what, where, formula of the extension, native formula): a cell filled down, or an array formula over a range
CASES = (
    ("10,000 cells, one volume each", f"E1:E{CELLS}", "=BOLT.VOLUME($A1;$B1;$C1)", "=PI()/8*($A1^2+$B1^2)*$C1/1728"),
    ("10,000 cells, one dry weight each", f"E1:E{CELLS}", '=BOLT.DRY_WEIGHT("white oak";$A1;$B1;$C1)', "=PI()/8*($A1^2+$B1^2)*$C1/1728*37.4"),
    ("one call that takes 10,000 values", "E1", f"=BOLT.NPV(0.05;$A1:$A{CELLS})", f"=NPV(0.05;$A1:$A{CELLS})"),
    ("one call that gives 10,000 values", f"E1:G{CELLS // ACROSS}", "=BOLT.DRILL_MAP(20;480;4;2)",
     f"=ROW($A1:$A{CELLS // ACROSS})*4+MOD(COLUMN($A1:$C1);2)*2"),
)


def live():
    """10,000 cells and single calls over 10,000 values, the quickest of five recalculations each."""
    with tempfile.TemporaryDirectory() as folder:
        office = installed(Path(folder)).office()
        rows = []
        for what, where, ours, native in CASES:
            seconds = [measured(office, where, formula) for formula in (ours, native)]
            rows.append((what, *(f"{s:.3f} s" for s in seconds), f"{seconds[0] / seconds[1]:.1f}", f"{seconds[0] / CELLS * 1e6:.1f} us"))
        office.end()
    return ("Worksheet functions in a running LibreOffice", ("what", "BOLT", "native formula", "ratio", "BOLT for each value"), rows)


def measured(office, where: str, formula: str) -> float:
    """Seconds of the quickest recalculation of a book that holds only this formula."""
    book = office.new()
    office.put(book, 0, f"A1:C{CELLS}", [[3 + i % 50 / 10, 5 + i % 50 / 10, 40 + i % 9] for i in range(CELLS)])
    if where.startswith("E1:E"):
        office.fill(book, 0, where, formula)
    else:
        office.formulas(book, 0, [[where, formula]])
    seconds = min(office.timed(book, 0, where) for _ in range(RUNS))
    office.close(book)
    return seconds


PARTS = [live]

if __name__ == "__main__":
    from bench import table
    print(table(*live()))

"""Measures files: big yards against what reading and writing them costs at least, small ones against starting Python.

`big` and `small` are parts for bench.py. Everything is measured in one run, alternately, and told as ratios: seconds depend on the
machine and on what else it does. Wall is what the clock says, CPU what this process used of it.

The least for a big yard is a lossless read of its typed columns (two readers are tried, fastexcel with explicit types and the list of odd
cells in two threads, and the one pass of ours; the quicker of the two counts) and a raw write of the same results (the columns put into the
worksheet parts, packed at level 1, every other part copied). The refresh reads, checks, works out, lays out, writes, reads back, keeps a
backup and swaps.
"""
from __future__ import annotations

import datetime as dt
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "scripts")]
from big_yard import big_yard, columns  # noqa: E402

TODAY = dt.date(2026, 11, 15)
ROUNDS = 3
INPUTS = ("logs", "events", "costs", "sales", "promises")


def timed(work) -> tuple[float, float]:
    """(seconds by the clock, seconds of this process's CPU)."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


# ---- big yards ---------------------------------------------------------------------------------------------------------------

def least_reads(path: Path):
    """The lossless reads: prepared once, then the reading alone. fastexcel, and our own."""
    import fastexcel

    from workbook_template.ports import reader
    from workbook_template.refresh import table_specs
    specs = [s for s in table_specs("us") if s.key in INPUTS]
    found = reader.FoundTables(path, specs).places
    jobs = []
    for spec in specs:
        sheet, layout = found[spec.key]
        kinds = {column.key: column.kind for column in spec.columns}
        jobs.append((sheet.name, layout.header_row + 1, {at: reader.DTYPES[kinds[key]] for key, at in layout.columns.items()}))

    def one(job):
        name, skip, types = job
        return fastexcel.read_excel(str(path)).load_sheet(name, header_row=None, skip_rows=skip, use_columns=sorted(types),
                                                          dtypes=types).to_arrow_with_errors()

    def read():
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(one, jobs))

    return read, lambda: reader.read_tables(path, specs)


def least_write(path: Path, sheets):
    from workbook_template.ports import closed_file
    parts, styles = closed_file.sheet_parts(path), closed_file.legend(path)
    target = path.with_name("raw.xlsx")

    def write():
        closed_file.patch(path, target, {s.name: closed_file._patch(path, s, parts[s.name], styles) for s in sheets})

    return write


def refreshed(path: Path):
    from workbook_template.refresh import refresh_file
    return refresh_file(path, today=TODAY, progress=False, stamp="measured")


def nothing_lost(path: Path, logs: int) -> None:
    """Every typed cell is read as it was made, and its part is byte for byte what it was."""
    import numpy as np

    from workbook_template import schema
    from workbook_template.ports.reader import read_tables
    from workbook_template.refresh import table_specs
    tables = read_tables(path, [s for s in table_specs("us") if s.key in INPUTS])
    for key, typed in columns(logs).items():
        for column, values in typed.items():
            held = tables[key].columns[column]
            same = held.values == (values.astype("datetime64[ms]") if values.dtype.kind == "M" else values)
            blank = np.array([v is None for v in values]) if values.dtype == object else np.isnan(values) if values.dtype.kind == "f" else False
            assert not held.odd and np.all(same | blank), (key, column)
    backup = path.with_name(f"{path.stem}.backup.xlsx")
    with zipfile.ZipFile(path) as new, zipfile.ZipFile(backup) as old:
        from workbook_template.ports.parts import read_book
        for sheet in read_book(old).sheets:
            if sheet.name not in schema.result_sheets("us"):
                assert old.read(sheet.part) == new.read(sheet.part), sheet.name


def big():
    """Yards of 10,000 and 100,000 logs with 5 lines of diary each."""
    rows, walls = [], {}
    with tempfile.TemporaryDirectory() as folder:
        for logs in (10_000, 100_000):
            source = big_yard(Path(folder) / f"{logs}.xlsx", logs)
            book = Path(folder) / "yard.xlsx"
            shutil.copy(source, book)
            sheets = refreshed(book).sheets
            nothing_lost(book, logs)
            (fast, own), write, rounds = least_reads(source), least_write(source, sheets), []
            for _ in range(ROUNDS):
                shutil.copy(source, book)
                rounds.append((timed(fast), timed(own), timed(write), timed(lambda book=book: refreshed(book))))
            seconds = [[statistics.median(r[i][k] for r in rounds) for k in (0, 1)] for i in range(4)]
            ratio = [statistics.median(r[3][k] / (min(r[0][k], r[1][k]) + r[2][k]) for r in rounds) for k in (0, 1)]
            walls[logs] = seconds[3]
            rows.append((f"{logs:,} logs", *(f"{wall:.2f} / {cpu:.2f} s" for wall, cpu in seconds), f"{ratio[0]:.2f} / {ratio[1]:.2f}",
                         f"{peak(source, book) / 1024:,.0f} MiB"))
        rows.append(("100,000 to 10,000", "", "", "", "", " / ".join(f"{a / b:.1f}" for a, b in zip(walls[100_000], walls[10_000], strict=True)), ""))
        rows += [(f"openpyxl load and save of the {logs:,}", *_openpyxl(Path(folder) / f"{logs}.xlsx", wall)) for logs, wall in walls.items()]
    return ("refresh of big yards, wall / CPU; ratio to the least read and write in the same rounds",
            ("yard", "read by fastexcel", "read by ours", "least write", "refresh", "ratio", "peak memory of the whole process"), rows)


def _openpyxl(path: Path, refresh) -> tuple:
    import openpyxl

    def load_and_save():
        openpyxl.load_workbook(path).save(path.with_name("resaved.xlsx"))

    seconds = timed(load_and_save)
    ratio = " / ".join(f"{a / b:.1f} refreshes" for a, b in zip(seconds, refresh, strict=True))
    return ("", "", "", f"{seconds[0]:.1f} / {seconds[1]:.1f} s", ratio, "")


def peak(source: Path, book: Path) -> int:
    """Peak memory in KiB of the command, as typed. A small process starts it: a child is told its parent's peak as its own."""
    shutil.copy(source, book)
    command = [sys.executable, "-m", "workbook_template.cli", "refresh", str(book), "--today", f"{TODAY}", "--quiet"]
    between = "import os, subprocess, sys; p = subprocess.Popen(sys.argv[1:]); _, s, u = os.wait4(p.pid, 0); print(u.ru_maxrss); sys.exit(s != 0)"
    told = subprocess.run([sys.executable, "-c", between, *command], env={**os.environ, "PYTHONPATH": str(HOME)}, stdout=subprocess.PIPE, check=True)
    return int(told.stdout.split()[-1])


# ---- small ones --------------------------------------------------------------------------------------------------------------

def small(rounds: int = 7):
    """Whole commands against the start of Python, and a new workbook against the bare writing of its cells."""
    python, rows = [sys.executable, "-c"], []
    ours = [sys.executable, "-m", "workbook_template.cli"]
    with tempfile.TemporaryDirectory() as folder:
        source, book = big_yard(Path(folder) / "source.xlsx", 200), Path(folder) / "yard.xlsx"
        command = [*ours, "refresh", str(book), "--today", f"{TODAY}", "--quiet"]
        pairs = (("refresh of 200 logs", command, "import pandas", [*python, "import pandas"]),
                 ("boltbook --help", [*ours, "--help"], "python -c pass", [*python, "pass"]))
        for what, command, base, other in pairs:
            found = []
            for _ in range(rounds + 1):
                shutil.copy(source, book)
                found.append((_run(command), _run(other)))
            rows.append(_row(what, base, found[1:]))  # the first compiles
        rows.append(_new(Path(folder), rounds))
    return (f"small work, wall / CPU, middle of {rounds} rounds taken in turn", ("what", "seconds", "against", "seconds", "ratio"), rows)


def _run(command) -> tuple[float, float]:
    """Compiled modules are kept, as they are where Boltbook is installed."""
    kept = {"PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / "boltbook_compiled")}
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env={**os.environ, **kept, "PYTHONPATH": str(HOME)})
    _, status, usage = os.wait4(process.pid, 0)
    assert status == 0, command
    return time.perf_counter() - begun, usage.ru_utime + usage.ru_stime


def _row(what, base, found) -> tuple:
    mine, other = ([statistics.median(pair[i][k] for pair in found) for k in (0, 1)] for i in (0, 1))
    ratio = [statistics.median(pair[0][k] / pair[1][k] for pair in found) for k in (0, 1)]
    return (what, f"{mine[0]:.2f} / {mine[1]:.2f}", base, f"{other[0]:.2f} / {other[1]:.2f}", f"{ratio[0]:.1f} / {ratio[1]:.1f}")


def _new(folder: Path, rounds: int) -> tuple:
    """A new workbook of 1,000 rows, and the same cells and formats written by XlsxWriter with nothing else around."""
    from workbook_template.build import build
    from workbook_template.yard import Yard
    path = folder / "new.xlsx"
    build(path, Yard("us"), rows=1000)
    cells = _cells(path)
    found = [(timed(lambda: build(path, Yard("us"), rows=1000)), timed(lambda: _bare(folder / "bare.xlsx", cells))) for _ in range(rounds)]
    return _row("new workbook of 1,000 rows", "bare XlsxWriter", found)


def _cells(path: Path) -> list:
    """Sheets of (row, column, style, kind, value, formula)."""
    import openpyxl
    formulas, values = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    sheets = []
    for sheet in formulas.worksheets:
        shown = values[sheet.title]
        sheets.append([(c.row - 1, c.column - 1, c.style_id, c.data_type, c.value, shown.cell(c.row, c.column).value)
                       for row in sheet.iter_rows() for c in row if c.value is not None or c.has_style])
    return sheets


def _bare(path: Path, sheets) -> None:
    import xlsxwriter
    with xlsxwriter.Workbook(str(path)) as book:
        looks = {}
        for cells in sheets:
            sheet = book.add_worksheet()
            for row, col, style, kind, value, shown in cells:
                look = looks.get(style) or looks.setdefault(style, book.add_format({"num_format": "0.00", "border": style % 7}))
                if value is None:
                    sheet.write_blank(row, col, None, look)
                elif kind == "f":
                    text = value if isinstance(value, str) else value.text
                    sheet.write_formula(row, col, text, look, "" if shown is None else shown)
                elif kind == "n":
                    sheet.write_number(row, col, value, look)
                elif kind == "d":
                    sheet.write_datetime(row, col, value, look)
                else:
                    sheet.write_string(row, col, str(value), look)


PARTS = [big, small]

if __name__ == "__main__":
    from bench import table
    for part in PARTS:
        print(table(*part()))

"""Invented big yards for measuring: a workbook with N logs, 5 N events and some costs and sales, made in seconds.

The workbook is a new one of the product; its typed rows are written below the headings as whole columns, because drawing
100,000 rows of formulas cell by cell takes minutes and half the memory of a small computer. The first rows keep their
formulas where `formulas` is set, all others hold what was typed. Everything follows from the seed.

python3 scripts/big_yard.py LOGS PATH
"""
from __future__ import annotations

import sys
import tempfile
import zipfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from workbook_template import schema  # noqa: E402
from workbook_template.build import build  # noqa: E402
from workbook_template.ports.package import Block, ColumnData, SheetPatch, patch, sheet_parts, write_rows  # noqa: E402
from workbook_template.ports.parts import column_letters  # noqa: E402
from workbook_template.ports.rawzip import rewrite  # noqa: E402
from workbook_template.ports.xmledit import find_elements  # noqa: E402
from workbook_template.yard import Yard  # noqa: E402

SEED = 20
STRINGS, MARK = "xl/sharedStrings.xml", "\u00a7"
WOODS = ("white oak", "northern red oak", "sugar maple", "red maple")
STRAINS = ("shiitake, wide range", "shiitake, cold weather", "shiitake, warm weather")
EVENTS = (("soaked", 420), ("pins seen", 426), ("picked", 430), ("soaked", 500), ("picked", 510))  # what, days after inoculation


def columns(logs: int, seed: int = SEED) -> dict[str, dict[str, np.ndarray]]:
    """Table -> column -> values: a yard inoculated over three springs, with five lines of the diary for each log."""
    random = np.random.default_rng(seed)
    names = np.char.add("L", np.char.zfill(np.arange(1, logs + 1).astype(str), 6)).astype(object)
    spring = np.array(["2023-03-01", "2024-03-01", "2025-03-01"], "datetime64[D]")
    inoculated = spring[np.arange(logs) * 3 // logs] + random.integers(0, 60, logs)
    typed = {
        "log": names, "wood": np.array(WOODS, object)[np.arange(logs) // 50 % 4], "strain": np.array(STRAINS, object)[np.arange(logs) // 200 % 3],
        "diameter": np.round(random.uniform(3, 7, logs), 2), "length": np.full(logs, 40.0), "inoculated": inoculated,
        "felled": inoculated - 20, "place": np.array(["North stack", "Creek stack"], object)[np.arange(logs) % 2],
        "source": np.array(["own wood", "bought"], object)[np.arange(logs) // 5000 % 2], "note": np.full(logs, None, object),
    }
    lines = len(EVENTS) * logs
    which, step = np.arange(lines) // len(EVENTS), np.arange(lines) % len(EVENTS)
    kind = np.array([what for what, _ in EVENTS], object)[step]
    date = inoculated[which] + np.array([days for _, days in EVENTS])[step] + (which * 7 % 60)
    amount = np.where(kind == "picked", np.round(random.gamma(3, 0.1, lines) + 0.01, 2), np.where(kind == "soaked", 24.0, np.nan))
    order = np.argsort(date, kind="stable")
    which, kind, date, amount = which[order], kind[order], date[order], amount[order]
    events = {
        "date": date, "event": kind, "log": names[which], "amount": amount,
        "minutes": np.where(np.arange(lines) % 3 == 0, 5.0, np.nan), "event_note": np.full(lines, None, object),
    }
    spent = max(10, logs // 100)
    costs = {
        "date": np.sort(np.datetime64("2023-01-10") + random.integers(0, 1300, spent)),
        "item": np.array(["plugs", "wax", "fuel", "bags"], object)[np.arange(spent) % 4], "amount": np.round(random.uniform(5, 200, spent), 2),
        "category": np.array(["spawn", "wax", "fuel", "other"], object)[np.arange(spent) % 4],
    }
    return {"logs": typed, "events": events, "costs": costs}


def big_yard(path, logs: int, seed: int = SEED) -> Path:
    """Write the workbook; returns its path."""
    path = Path(path)
    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        small, larger = Path(folder) / "small.xlsx", Path(folder) / "larger.xlsx"
        build(small, Yard("us"), rows=10)
        with zipfile.ZipFile(small) as archive:
            shared = archive.read(STRINGS)
        texts = Texts(shared.count(b"<si>"))
        sheets = {schema.table(key).sheet: _typed(small, key, values, texts) for key, values in columns(logs, seed).items()}
        patch(small, larger, sheets)
        rewrite(larger, path, {STRINGS: shared.replace(b"</sst>", texts.xml() + b"</sst>")})
    return path


class Texts:
    """Shared strings, as programs write them: a cell holds the number of its text."""

    def __init__(self, first: int):
        self.first, self.numbers = first, {}

    def of(self, values: np.ndarray) -> list:
        """The cells of a text column, marked so that `shared` can tell them from plain text."""
        return [None if v is None else f"{MARK}{self.numbers.setdefault(v, self.first + len(self.numbers))}" for v in values]

    def xml(self) -> bytes:
        return "".join(f"<si><t>{text}</t></si>" for text in self.numbers).encode()


def _shared(rows: bytes) -> bytes:
    return rows.replace(f't="str"><v>{MARK}'.encode(), b't="s"><v>')


def _typed(small: Path, key: str, values: dict, texts: Texts) -> SheetPatch:
    """The input sheet with these rows under its headings, dates in the style of the cells that were there."""
    table = schema.table(key)
    with zipfile.ZipFile(small) as archive:
        xml = archive.read(sheet_parts(small)[table.sheet].part)
    rows = find_elements(xml, {"row"}, {"sheetData"})
    head = b"".join(xml[e.start:e.end] for e in rows if int(e.about["r"]) <= table.header_row)
    first = next(e for e in rows if int(e.about["r"]) == table.header_row + 1)
    looks = [int(e.about.get("s", 0)) for e in find_elements(xml[first.start:first.end], {"c"}, {"row"})]
    length = len(next(iter(values.values())))
    blocks, left = [], 0
    keys = [c.key for c in table.columns]
    row_letter = key[0].upper()
    values = {**values, "row": np.char.add(row_letter, np.char.zfill(np.arange(1, length + 1).astype(str), 6)).astype(object)}
    for left, name in enumerate(keys):
        if name in values:
            column = values[name]
            column = column.astype("datetime64[ms]") if column.dtype.kind == "M" else texts.of(column) if column.dtype == object else column
            blocks.append(Block(table.header_row + 1, left + 1, [ColumnData(column, looks[left])]))
    last = f"{column_letters(len(keys) - 1)}{table.header_row + length}"
    name = table.title.replace(" ", "_")

    def pieces():
        yield head
        yield from map(_shared, write_rows(blocks))

    return SheetPatch(pieces(), f"A1:{last}", tables={name: f"A{table.header_row}:{last}"})


if __name__ == "__main__":
    big_yard(sys.argv[2], int(sys.argv[1]))

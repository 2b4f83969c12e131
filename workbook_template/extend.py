"""boltbook extend: more prefilled rows in the input tables, with everything a prefilled row has; nothing else changes."""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from workbook_template import schema
from workbook_template.build import EVENTS_A_LOG
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_tables
from workbook_template.ports.rows import MAX_ROWS
from workbook_template.ports.swap import Guard
from workbook_template.ports.type_in import type_into
from workbook_template.typed_rows import keys_of, rows_of


@dataclass
class Extended:
    """What was added. rows: table -> how many rows; taken_in: table -> rows that stood below the table and belong to it now."""

    path: Path
    backup: Path
    rows: dict[str, int]
    taken_in: dict[str, int]

    def lines(self) -> list[str]:
        more = ", ".join(f"{schema.table(key).sheet} {count}" for key, count in self.rows.items())
        told = [f"{self.path.name} has more prefilled rows: {more}. The file as it was: {self.backup.name}."]
        below = ", ".join(f"{schema.table(key).sheet} {count}" for key, count in self.taken_in.items() if count)
        if below:
            told.append(f"Rows that were typed below a table have their row key and formulas now: {below}.")
        return told


def more_rows(rows: int) -> dict[str, int]:
    """Table -> rows to add for that many more logs; a table with a number of rows of its own stays."""
    return {t.key: rows * (EVENTS_A_LOG if t.key == "events" else 1) for t in schema.INPUT_TABLES if t.rows is None}


def extend(path: Path, rows: int, force: bool = False, today: dt.date | None = None, step=lambda words: None) -> Extended:
    """Add prefilled rows. Raises what reading and saving raise; then nothing was changed."""
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import profile_of, table_specs

    step("Reading")
    guard = Guard(path, force=force)
    profile = profile_of(ClosedFile(path, force=True))
    specs = table_specs(profile)
    before = read_tables(guard.path, specs)
    wanted = more_rows(rows)
    for key, count in wanted.items():
        if before[key].first_row + before[key].length + count > MAX_ROWS:
            raise FileProblem(f"Sheet {before[key].sheet} would need more than {MAX_ROWS:,} rows, the most a sheet has. Ask for fewer.")
    step("Writing")
    written = type_into(guard.path, blank_rows=wanted, today=today)

    def check(made: Path) -> None:
        _check(made, specs, before, wanted)

    backup = guard.save(lambda target: target.write_bytes(written.content), check)
    taken = {key: sum(1 for row, words in zip(rows_of(raw), keys_of(raw), strict=True) if row and not words)
             for key, raw in before.items() if key in wanted}
    return Extended(Path(path), backup, wanted, taken)


def _check(made: Path, specs, before, wanted: dict[str, int]) -> None:
    """Read the new file back: what was typed is as it was, and no two rows share a key that did not before."""
    try:
        after = read_tables(made, specs)
    except LayoutProblem as trouble:
        raise FileProblem(f"The new file cannot be read back ({trouble}). Your workbook was left as it was.") from trouble
    for key in wanted:
        if rows_of(after[key]) != rows_of(before[key]):
            raise FileProblem(f"Rows of {after[key].sheet} did not come through as they were. Your workbook was left as it was.")

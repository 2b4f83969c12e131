"""boltbook import: rows of the grower's own sheet go into the workbook, as they are understood and confirmed."""
from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from calc import merging, tables
from calc.problems import either, quote
from calc.quantities import digits
from workbook_template import schema
from workbook_template.merge import LARGE, Copy, dependents, read_copy
from workbook_template.old_sheet import NOTES, Matching, Rows, Unclear, doubles, lines, match_headings, read_rows, title
from workbook_template.ports.layout import LayoutProblem
from workbook_template.ports.parts import column_letters, read_book, split_address
from workbook_template.ports.preflight import FileProblem, check_file
from workbook_template.ports.reader import read_cells, read_names
from workbook_template.ports.swap import Guard, beside, write_new
from workbook_template.ports.type_in import type_into

DELIMITERS = ",;\t|"
MOST_COLUMNS = 512  # a sheet of one's own with more columns than that has a stray cell
MOST_BYTES = 100_000_000  # of a CSV: 500,000 rows with a note of 100 characters each are 75 MB
MOST_SHOWN = 12
SIGNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")  # what programs take for the begin of a formula; in full width too


@dataclass
class Import:
    """What would be written. there: rows of the old sheet that stand in the workbook already; new_words: column -> words not on Lists."""

    source: Path
    sheet: str
    path: Path
    matching: Matching
    rows: Rows
    there: set[int]
    new_words: dict[str, list[str]]
    copy: Copy
    grid: list[list] = field(repr=False, default_factory=list)

    @property
    def fresh(self) -> list[tuple[int, dict]]:
        return [(at, row) for at, row in self.rows.good if at not in self.there]

    @property
    def table(self) -> schema.Table:
        return schema.table(self.matching.table)

    def preview(self, into_note: bool | None = True) -> list[str]:
        """The matching and what came of the rows, in words."""
        m, rows = self.matching, self.rows
        which = f", sheet {self.sheet}" if self.sheet else ""
        told = [f"{self.source.name}{which}: headings in row {m.header + 1}, read as rows of {self.table.sheet}.", *lines(m, self.copy.profile)]
        if m.unknown and into_note is not None:
            note = title(m.table, NOTES[m.table])
            told.append(f"Not known: {', '.join(u.heading for u in m.unknown)}. " + (
                f'What stands there goes into {note} as "Heading: value"; to leave it out: --unknown leave.' if into_note else "Left out."))
        if m.missing:
            told.append(f"No heading for {', '.join(title(m.table, c) for c in m.missing)}: those cells stay blank. To name one: "
                        "--map \"Heading=Column\"; one word for all rows: --set \"Column=word\".")
        told.append(f"{_rows(len(rows.good))} can be read{_but(rows)}.")
        told += [f"  row {at}: {why}" for at, why in rows.bad[:MOST_SHOWN]]
        if len(rows.bad) > MOST_SHOWN:
            told.append(f"  and {len(rows.bad) - MOST_SHOWN} more")
        told += [f"Not on Lists yet: {title(m.table, c)} {', '.join(map(quote, words[:8]))}{' and more' if len(words) > 8 else ''}. Add them there, "
                 "or Check asks about each." for c, words in self.new_words.items()]
        if self.there:
            told.append(f"{len(self.there)} of these stand on {self.table.sheet} already (possible double): row {_numbers(self.there)} of "
                        f"{self.source.name}. Left out, unless you say --doubles keep.")
        return told


def _but(rows: Rows) -> str:
    parts = []
    if rows.bad:
        parts.append(f"{_rows(len(rows.bad))} cannot and stay in a list")
    if rows.totals:
        parts.append(f"row {_numbers(rows.totals)} says total and is left out")
    return "; " + ", ".join(parts) if parts else ""


def _rows(number: int) -> str:
    return f"{number} row{'' if number == 1 else 's'}"


def _numbers(rows) -> str:
    shown = sorted(rows)
    return ", ".join(map(str, shown[:8])) + (f" and {len(shown) - 8} more" if len(shown) > 8 else "")


# ---- the old sheet ------------------------------------------------------------------------------------------------

def read_old(source: Path, sheet: str | None, **more) -> tuple[str, list[list], Matching]:
    """(sheet name, rows of cells, which heading is which column) of a .csv or .xlsx file. more: as for match_headings.

    Of several sheets the one is taken whose headings are known; where more than one is, it is asked. Raises FileProblem, Unclear.
    """
    if source.suffix.lower() in (".csv", ".tsv", ".txt"):
        grid = read_csv(source)
        return "", grid, match_headings(grid, **more)
    check_file(source)
    with zipfile.ZipFile(source) as archive:
        names = [s.name for s in read_book(archive).sheets if s.state == "visible"]
    wanted = [n for n in names if n.casefold() == sheet.strip().casefold()] if sheet else names
    if not wanted:
        raise Unclear(f"{source.name} has no sheet {quote(sheet)}. It has: {', '.join(names)}.")
    found, trouble = [], None
    for name in wanted:
        grid = grid_of(read_cells(source, name))
        try:
            found.append((name, grid, match_headings(grid, **more)))
        except Unclear as error:
            trouble = error if len(wanted) == 1 or "No row of headings" not in str(error) else trouble or error
    if len(found) > 1:
        raise Unclear(f"{source.name} has headings on {either(name for name, _, _ in found)}. Take one at a time: --sheet {quote(found[0][0])}")
    if not found:
        raise trouble
    return found[0]


def grid_of(cells: dict[str, object]) -> list[list]:
    """Cells by address as rows of cells."""
    rows: dict[int, dict[int, object]] = {}
    for address, value in cells.items():
        row, column = split_address(address)
        if column < MOST_COLUMNS:
            rows.setdefault(row, {})[column] = value
    blank: list = []
    return [[rows[r].get(c) for c in range(max(rows[r]) + 1)] if r in rows else blank for r in range(max(rows, default=-1) + 1)]


def read_csv(source: Path) -> list[list]:
    """Rows of a CSV file as texts, whatever its delimiter and common encodings. Raises FileProblem."""
    if source.stat().st_size > MOST_BYTES:
        raise FileProblem(f"{source.name} is larger than {MOST_BYTES // 1_000_000} MB, more than this can read at once. Split it into several files.")
    content = source.read_bytes()
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = content.decode("utf-16", "replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", "replace")
    if "\0" in text:
        raise FileProblem(f"{source.name} is no text file. Save your sheet as CSV or as an Excel workbook (.xlsx), then try again.")
    first = [line for line in text.splitlines() if line.strip()][:10]
    delimiter = max(DELIMITERS, key=lambda d: (min((line.count(d) for line in first), default=0), sum(line.count(d) for line in first)))
    try:
        return [[_bare(cell) if cell.strip() else None for cell in row[:MOST_COLUMNS]]
                for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)]
    except csv.Error as error:
        raise FileProblem(f"{source.name} cannot be read as CSV ({error}). Save it once more from your program.") from error


# ---- what would be written ------------------------------------------------------------------------------------------

def prepare(path: Path, source: Path, sheet: str | None = None, into: str | None = None, named: dict | None = None, fixed: dict | None = None,
            into_note: bool = True, step=lambda words: None) -> Import:
    """Read everything and write nothing. Raises FileProblem, LayoutProblem, Unclear."""
    from workbook_template.settings_read import read_settings

    step("Reading")
    copy = read_copy(path)
    name, grid, matching = read_old(source, sheet, table=into, named=named, fixed=fixed)
    settings, _ = read_settings(read_names(path, "typed_"), copy.profile)
    names = {key: [row.cells[first] for row in copy.lines[key] if first in row.cells] for key, first in _list_columns().items()}
    names |= {key: list(words) for key, words in schema.LISTS.items()}
    step("Matching")
    rows = read_rows(grid, matching, copy.profile, settings["date_order"], names, into_note)
    there = doubles(matching.table, rows.good, [line.cells for line in copy.lines[matching.table]])
    return Import(Path(source), name, Path(path), matching, rows, there, _new_words(matching, rows, names), copy, grid)


def _list_columns() -> dict[str, str]:
    return {table.key: table.columns[0].key for table in schema.LIST_TABLES}


def _new_words(matching: Matching, rows: Rows, names: dict[str, list]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for column in schema.table(matching.table).typed_columns:
        known = {tables.plain(str(n)) for n in names.get(column.list or "", ())}
        if column.list and known:
            words = Counter(str(row[column.key]) for _, row in rows.good if row.get(column.key))
            more = [w for w, _ in words.most_common() if tables.plain(w) not in known]
            if more:
                found[column.key] = more
    return found


# ---- writing ----------------------------------------------------------------------------------------------------------

@dataclass
class Imported:
    """What was written: rows, the backup, and the list of rows that could not be read (None where all could)."""

    plan: Import
    written: int
    backup: Path
    left: Path | None

    def lines(self) -> list[str]:
        told = [f"{_rows(self.written)} written into {self.plan.table.sheet} of {self.plan.path.name}. The file as it was: {self.backup.name}."]
        if self.left:
            told.append(f"{_rows(len(self.plan.rows.bad))} that could not be read: {self.left.name}. Mend what stands there and import that file.")
        if not dependents(self.plan.copy.rows + self.written):
            told.append(LARGE)
        return [*told, f"Next: boltbook check \"{self.plan.path.name}\""]


def write(plan: Import, keep_doubles: bool = False, force: bool = False, today: dt.date | None = None,
          step=lambda words: None) -> Imported:
    """Type the rows in, with a backup; list what could not be read. Raises FileProblem, LayoutProblem, SaveProblem."""
    step("Writing")
    guard = Guard(plan.path, force=force)
    rows = [row for _, row in (plan.rows.good if keep_doubles else plan.fresh)]
    if not rows:
        raise FileProblem(f"There is no new row to write into {plan.table.sheet}. {plan.path.name} is as it was.")
    content = type_into(guard.path, rows={plan.table.key: rows}, today=today, recompute=dependents(plan.copy.rows + len(rows))).content

    def check(made: Path) -> None:
        step("Checking")
        try:
            after = read_copy(made)
        except LayoutProblem as trouble:
            raise FileProblem(f"The new file cannot be read back ({trouble}). {plan.path.name} is as it was.") from trouble
        if len(after.lines[plan.table.key]) != len(plan.copy.lines[plan.table.key]) + len(rows):
            raise FileProblem(f"Not every row arrived on {plan.table.sheet}. {plan.path.name} is as it was. Please report this with both files.")

    left = _free(plan.path.with_name(f"{plan.source.stem} not imported.csv")) if plan.rows.bad else None
    with beside(plan.path):
        if left is not None:
            write_new(left, lambda target: _list_bad(plan, target))
        backup = guard.save(lambda target: target.write_bytes(content), check)
    return Imported(plan, len(rows), backup, left)


def _list_bad(plan: Import, path: Path) -> None:
    """Write the rows that could not be read as a CSV: their headings and cells, the row in the old sheet and the reason."""
    headings = plan.grid[plan.matching.header]
    width = max(len(headings), *(len(plan.grid[at - 1]) for at, _ in plan.rows.bad))
    with path.open("w", newline="", encoding="utf-8-sig") as file:
        out = csv.writer(file)
        out.writerow([*(_shown(h) or f"column {column_letters(i)}" for i, h in enumerate([*headings, *[None] * (width - len(headings))])),
                      "Row there", "Why not"])
        for at, why in plan.rows.bad:
            cells = plan.grid[at - 1]
            out.writerow([*(_shown(c) for c in [*cells, *[None] * (width - len(cells))]), at, _shown(why)])


def _shown(value) -> str:
    """A cell as text for a CSV; a text that a program would take for a formula is kept from it by an apostrophe."""
    value = merging.plain(value) if merging.comparable(merging.plain(value)) is not None else getattr(value, "value", None)
    if value is None:
        return ""
    text = f"{value:%Y-%m-%d}" if isinstance(value, (dt.datetime, dt.date)) else digits(value) if isinstance(value, float) else str(value)
    return "'" + text if isinstance(value, str) and text.lstrip()[:1] in SIGNS or text[:1] in ("\t", "\r", "\n") else text


def _bare(cell: str) -> str:
    """A cell of a CSV without the apostrophe that keeps programs from taking it for a formula."""
    return cell[1:] if cell[:1] == "'" and cell[1:].lstrip()[:1] in SIGNS else cell


def _free(path: Path) -> Path:
    number = 1
    while True:
        candidate = path if number == 1 else path.with_name(f"{path.stem} ({number}){path.suffix}")
        if not candidate.exists():
            return candidate
        number += 1

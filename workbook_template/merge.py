"""boltbook merge: two copies of one workbook that went separate ways become one; mine is patched, theirs and the base are only read."""
from __future__ import annotations

import datetime as dt
import tempfile
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from calc import dates, merging
from calc.merging import CONFLICT, DIFFERENCE, DOUBLE, GONE_HERE, GONE_THERE, LEFT, ONCE, REKEYED, Addition, Finding, Line, Merged, merge_table, plain
from calc.problems import shown as clipped
from calc.quantities import format_number
from calc.raw import Odd
from workbook_template import schema
from workbook_template.partner import yard_of
from workbook_template.ports.new_sheet import NewSheet, add_sheet
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_tables
from workbook_template.ports.swap import Guard, write_new
from workbook_template.ports.type_in import Typed, type_into
from workbook_template.ports.type_named import named_values, type_named
from workbook_template.settings_table import BY_KEY as SETTINGS
from workbook_template.sheets import plan_typed
from workbook_template.typed_rows import TWICE, is_named, keys_of, lines_of, rows_of

SHEET = "Conflicts"
OWN = "own column: "  # what a column of the grower's own is called in a merge
RECOMPUTED_ROWS = 20_000  # up to here every row's formulas get their true values anew; a larger workbook computes them when opened
SINGLES = {"settings": ("typed_", "Settings"), "plan": ("plan_", "Plan")}
OF_CLOSED, IN_CLOSED = "of a closed period", "new in a closed period"
# What to do about each kind of finding; the sheet says it beside every line.
ADVICE = {
    CONFLICT: "Mine stands. If theirs is right, type it over mine.",
    DIFFERENCE: "Mine stands. Without the copy both began from it cannot be told who changed it: compare, and type what is right.",
    GONE_THERE: "The row stands. If it was deleted on purpose, delete it here too.",
    GONE_HERE: "The row is in theirs only and was not put back. If it was deleted by mistake, type it again from here.",
    REKEYED: "Both are kept; theirs has a new row key.",
    DOUBLE: "Both are kept. If it is one and the same, delete one of them.",
    ONCE: "It is there once.",
    OF_CLOSED: "Mine stands. What was closed is put right by a line of kind correction of a later day.",
    IN_CLOSED: "It was added. What was closed is put right by a line of kind correction of a later day: give it a day that is not closed.",
    LEFT: "It could not be typed in. Type it by hand if it is wanted.",
}
MOST_WORDS = 160  # characters of a whole row in the summary
SURE = (REKEYED, ONCE)  # nothing to decide


@dataclass
class Copy:
    """One workbook as read: its tables as lines, its settings and plan, the rows that are prefilled and blank, its sheets."""

    path: Path
    profile: str
    lines: dict[str, list[Line]]
    singles: dict[str, Line]
    blank: dict[str, dict[str, int]]  # table -> row key of a blank prefilled row -> sheet row
    sheets: list[str]
    rows: int
    names: set[str] = field(default_factory=set)  # the named cells of settings and plan that are there


@dataclass
class Outcome:
    """What a merge did."""

    out: Path
    merged: Merged
    backup: Path | None
    sheet: str | None
    notes: list[str] = field(default_factory=list)
    with_base: bool = True

    def lines(self, most: int = 30) -> list[str]:
        m, found = self.merged, Counter(f.kind for f in self.merged.findings)
        told = [f"Made {self.out.name}: {_count(len(m.additions), 'row')} of theirs added, {_count(len(m.changes), 'cell')} of theirs taken, "
                f"{_count(found[CONFLICT] + found[DIFFERENCE], 'conflict')}." + ("" if self.with_base else
                " Without --base only additions were taken; where the two differ, mine stands.")]
        if self.backup:
            told.append(f"The file as it was: {self.backup.name}.")
        told += [f"  {words(f)}" for f in m.findings[:most]]
        if len(m.findings) > most:
            told.append(f"  and {len(m.findings) - most} more")
        if self.sheet:
            told.append(f"All {_count(len(m.findings), 'line')} with both values: sheet {self.sheet} of {self.out.name}.")
        return told + self.notes


def _count(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"


# ---- reading ------------------------------------------------------------------------------------------------------

def read_copy(path: Path) -> Copy:
    """Everything typed into a workbook. Raises FileProblem, LayoutProblem."""
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import profile_of, table_specs

    profile = profile_of(ClosedFile(path, force=True))
    specs = [spec._replace(columns=[c._replace(counts=True) for c in spec.columns]) for spec in table_specs(profile)]
    raw = read_tables(path, specs)
    lines, blank = {}, {}
    for key, table in raw.items():
        rows = rows_of(table)
        own = [{} for _ in rows]
        for heading, column in table.extra.items():
            for i in range(min(len(column), len(rows))):
                value = column.odd.get(i, column.values[i])
                if merging.comparable(value) is not None:
                    own[i][OWN + heading] = value
        for row, more in zip(rows, own, strict=True):
            row.update(more)
        lines[key] = lines_of(table, rows)
        blank[key] = {k: table.row_of(i) for i, (k, row) in enumerate(zip(keys_of(table), rows, strict=True)) if k and not row}
    singles, names = {}, set()
    for key, (prefix, _) in SINGLES.items():
        known = SETTINGS if key == "settings" else {entry.name for entry in plan_typed.INPUTS}
        values = {name.removeprefix(prefix): value for name, value in named_values(path, prefix).items()}
        names |= {prefix + name for name in values}
        singles[key] = Line(key, 0, {name: v for name, v in values.items() if name in known and merging.comparable(v) is not None})
    with zipfile.ZipFile(path) as archive:
        sheets = [sheet.name for sheet in read_book(archive).sheets]
    return Copy(Path(path), profile, lines, singles, blank, sheets, sum(len(rows) for rows in lines.values()), names)


def merge_copies(mine: Copy, theirs: Copy, base: Copy | None) -> Merged:
    """Put all tables, settings and plans together, without any file."""
    merged = Merged()
    for table in schema.TABLES:
        key = table.key
        needed = tuple(c.key for c in table.columns if c.needed)
        old = base.lines[key] if base else None
        merged.join(merge_table(key, old, mine.lines[key], theirs.lines[key], TWICE.get(key, ()), is_named(key), needed))
    for key in SINGLES:
        merged.join(merge_table(key, [base.singles[key]] if base else None, [mine.singles[key]], [theirs.singles[key]], named=True))
    _own_columns(merged)
    _gone_cells(merged, mine)
    _closed_periods(merged, mine)
    return merged


def _gone_cells(merged: Merged, mine: Copy) -> None:
    """A setting or an input of Plan whose row is gone from mine cannot be typed in."""
    for change in [c for c in merged.changes if c.table in SINGLES and SINGLES[c.table][0] + c.column not in mine.names]:
        merged.changes.remove(change)
        merged.findings.append(Finding(LEFT, change.table, "", None, None, change.column, None, None, change.value))


def _closed_periods(merged: Merged, mine: Copy) -> None:
    """Lines of a closed period are never rewritten: a change of theirs is told, a new line of theirs is added and told."""
    last: dict[str, dt.datetime] = {}
    for row in mine.lines["closings"]:
        market, day = merging.comparable(row.cells.get("close_market")), row.cells.get("closed_to")
        if isinstance(market, str) and isinstance(day, dt.datetime):
            last[market.casefold()] = max(day, last.get(market.casefold(), day))
    sales = {row.place: row for row in mine.lines["sales"]}

    def closed(cells: dict) -> bool:
        market, day = merging.comparable(cells.get("market")), cells.get("date")
        return isinstance(market, str) and isinstance(day, dt.datetime) and day <= last.get(market.casefold(), dt.datetime.min)

    for change in [c for c in merged.changes if c.table == "sales" and closed(sales[c.place].cells)]:
        row = sales[change.place]
        merged.changes.remove(change)
        merged.findings.append(Finding(OF_CLOSED, "sales", row.key, row.place, None, change.column, None, row.cells.get(change.column), change.value))
    for new in merged.additions:
        if new.table == "sales" and closed(new.cells):
            merged.findings.append(Finding(IN_CLOSED, "sales", new.key, None, new.place, "", None, None, new.cells))


def _own_columns(merged: Merged) -> None:
    """What theirs holds in columns of the grower's own is told, since such a column may stand anywhere or not at all in mine."""
    there = {(a.table, a.place): a for a in merged.additions}
    for change in [c for c in merged.changes if c.column.startswith(OWN)]:
        merged.changes.remove(change)
        merged.findings.append(Finding(LEFT, change.table, "", change.place, None, change.column, None, None, change.value))
    for (table, place), row in there.items():
        for column in [c for c in row.cells if c.startswith(OWN)]:
            merged.findings.append(Finding(LEFT, table, row.key, None, place, column, None, None, row.cells.pop(column)))


# ---- writing ------------------------------------------------------------------------------------------------------

def merge(mine: Path, theirs: Path, out: Path, base: Path | None = None, same_yard: bool = False, force: bool = False,
          today: dt.date | None = None, step=lambda words: None) -> Outcome:
    """Put theirs into mine and write the outcome to out (which may be mine: then a backup is kept).

    base: the copy both began from. same_yard: go on although the copies do not carry one mark. Raises FileProblem, LayoutProblem,
    SaveProblem; then nothing was written.
    """
    mine, theirs, out = Path(mine), Path(theirs), Path(out)
    onto = out.resolve() == mine.resolve()
    if out.resolve() in {p.resolve() for p in (theirs, base) if p}:
        raise FileProblem(f"{out.name} is one of the copies to read. Type another name after --out.")
    step("Reading")
    guard = Guard(mine, force=force)
    _one_yard([p for p in (mine, theirs, base) if p], same_yard)
    copies = [read_copy(p) for p in (mine, theirs)] + [read_copy(base) if base else None]
    if len({c.profile for c in copies if c}) > 1:
        raise FileProblem("The copies are in different units: one in inches and pounds, one in centimetres and kilograms. Nothing was written.")
    step("Comparing")
    merged = merge_copies(*copies)
    step("Writing")
    content = _typed(guard.path, copies[0], merged, today)
    done = Outcome(out, merged, None, None, _notes(copies[0], copies[1], merged), base is not None)

    def write(target: Path) -> None:
        if not merged.findings:
            target.write_bytes(content)
            return
        with tempfile.TemporaryDirectory() as folder:
            before = Path(folder) / out.name
            before.write_bytes(content)
            done.sheet = add_sheet(before, target, conflicts_sheet(merged.findings, copies[0], theirs.name))

    def check(made: Path) -> None:
        _check(made, copies[0], merged)

    if onto:
        done.backup = guard.save(write, check)
    else:
        write_new(out, write, check)
    return done


def _one_yard(paths: list[Path], same_yard: bool) -> None:
    from workbook_template.ports.preflight import check_file
    for path in paths:
        check_file(path)
    marks = {path.name: yard_of(path) for path in paths}
    if len(set(marks.values())) > 1 and not same_yard:
        lacking = [name for name, mark in marks.items() if not mark]
        why = f"{' and '.join(lacking)} carries no mark to tell" if lacking else f"{' and '.join(marks)} carry different marks"
        raise FileProblem(f"These are not copies of one workbook: {why}. Nothing was written. If they are copies of one yard all the same: "
                          "--same-yard")


def _typed(path: Path, mine: Copy, merged: Merged, today: dt.date | None) -> bytes:
    """Mine with what was taken from theirs typed in, as bytes."""
    named = {SINGLES[c.table][0] + c.column: c.value for c in merged.changes if c.table in SINGLES}
    cells = [Typed(c.table, c.place, c.column, c.value) for c in merged.changes if c.table not in SINGLES]
    rows: dict[str, list[dict]] = {}
    for new in merged.additions:
        at = mine.blank[new.table].get(new.key)
        if at is not None:
            cells += [Typed(new.table, at, column, value) for column, value in new.cells.items()]
        else:
            rows.setdefault(new.table, []).append({**new.cells, **_own_key(new)})
    source: object = type_named(path, named, mine.profile) if named else path
    touched = {c.table for c in cells} | set(rows)
    return type_into(source, cells, rows, today=today, recompute=dependents(mine.rows) if touched or named else ()).content


def dependents(rows: int) -> list[str]:
    """The tables whose formulas get true values after something was typed elsewhere; none in a large workbook."""
    return [t.key for t in schema.INPUT_TABLES] if rows <= RECOMPUTED_ROWS else []


LARGE = (f"With more than {RECOMPUTED_ROWS:,} rows only the formulas of the rows written were worked out. Excel works out the others when it opens "
         "the file; in LibreOffice press Ctrl+Shift+F9.")


def _own_key(new: Addition) -> dict:
    """The key a row brings, where the table has row keys."""
    return {"row": new.key} if new.key and not is_named(new.table) else {}


def _check(made: Path, mine: Copy, merged: Merged) -> None:
    """Read the outcome back: every row of every table must be there as the merge meant it."""
    after = read_copy(made)
    for table in schema.TABLES:
        wanted = [{c: merging.comparable(v) for c, v in row.cells.items()} for row in merging.applied(table.key, mine.lines[table.key], merged)]
        there = [{c: merging.comparable(v) for c, v in row.cells.items()} for row in after.lines[table.key]]
        lost = Counter(map(_mark, wanted)) - Counter(map(_mark, there))
        if lost:
            raise FileProblem(f"{sum(lost.values())} rows of {table.title} did not arrive as they should. Nothing was written. Please report this.")


def _mark(row: dict) -> tuple:
    return tuple(sorted((c, repr(v)) for c, v in row.items() if v is not None))


def _notes(mine: Copy, theirs: Copy, merged: Merged) -> list[str]:
    known = {*mine.sheets, *schema.result_sheets(mine.profile), *schema.INPUT_SHEETS, *schema.OTHER_SHEETS}
    more = [name for name in theirs.sheets if name not in known and not name.startswith(SHEET)]
    told = [f"Sheets that only {theirs.path.name} has were not copied: {', '.join(more)}."] if more else []
    if any(change.table in SINGLES for change in merged.changes):
        told.append("Plan shows its numbers once the file is opened in a spreadsheet program.")
    return told + ([LARGE] if mine.rows > RECOMPUTED_ROWS and (merged.changes or merged.additions) else [])


# ---- saying -------------------------------------------------------------------------------------------------------

def conflicts_sheet(findings: list[Finding], mine: Copy, name: str) -> NewSheet:
    """The sheet that lists everything to look at, both values side by side."""
    headings = [("What", 17), ("Sheet", 10), ("Row key", 10), ("Row", 7), ("Row in theirs", 8), ("Column", 18), ("Before", 22), ("Mine", 28),
                ("Theirs", 28), ("What to do", 38)]
    about = (f"Compared with {name}. Nothing of theirs was taken where both changed the same thing. Delete this sheet once it is "
             "settled.")
    rows = [[f.kind, where(f), f.key if f.table not in SINGLES and not is_named(f.table) else None, f.place or None, f.there or None,
             column_title(f) or "the whole row", shown(f.base, f.table), shown(f.mine, f.table), shown(f.theirs, f.table), ADVICE[f.kind]]
            for f in sorted(findings, key=lambda f: f.kind in SURE)]
    return NewSheet(SHEET, "Conflicts of two copies", about, headings, rows)


def where(found: Finding) -> str:
    return SINGLES[found.table][1] if found.table in SINGLES else schema.table(found.table).sheet


def column_title(found: Finding) -> str:
    if not found.column:
        return ""
    if found.column.startswith(OWN):
        return found.column.removeprefix(OWN)
    if found.table == "settings":
        return SETTINGS[found.column].title
    if found.table == "plan":
        return next(e.title for e in plan_typed.INPUTS if e.name == found.column)
    return schema.table(found.table).column(found.column).title


def shown(value, table: str):
    """A cell or a whole row as it stands on the sheet and in the summary."""
    if isinstance(value, dict):
        titles = {c.key: c.title for c in schema.table(table).columns} if table not in SINGLES else {}
        return "; ".join(f"{titles.get(c, c.removeprefix(OWN))} {shown(v, table)}" for c, v in value.items())
    if isinstance(value, Odd):
        return str(value.value) if value.kind != "formula" else "a formula without a value"
    if isinstance(value, (dt.datetime, dt.date)):
        return dates.words(value.date() if isinstance(value, dt.datetime) else value)
    if isinstance(value, float):
        return format_number(value)
    return None if value is None else str(plain(value))


def words(found: Finding) -> str:
    """A finding in one line.

    >>> words(Finding(CONFLICT, "events", "E00003", 8, 8, "amount", 1.0, 1.5, 2.0))
    'Events row 8, Amount, see Lists: both changed it: mine "1.5", theirs "2" (before "1"). Mine stands.'
    """
    place = f"{where(found)} row {found.place}" if found.place else f"{where(found)}, row {found.there} of theirs" if found.there else where(found)
    title = f", {column_title(found)}" if found.column else ""
    both = (("mine", found.mine), ("theirs", found.theirs))
    values = [f'{name} "{clipped(shown(value, found.table), MOST_WORDS)}"' for name, value in both if value is not None]
    blank = [f"{name} blank" for name, value in both if value is None and found.column]
    before = f' (before "{clipped(shown(found.base, found.table), MOST_WORDS)}")' if found.kind == CONFLICT and found.base is not None else ""
    return f"{place}{title}: {found.kind}: {', '.join([*values, *blank])}{before}. {ADVICE[found.kind].partition('. ')[0].rstrip('.')}."

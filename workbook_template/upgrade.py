"""boltbook upgrade: a workbook of an older layout becomes a new one beside it, with everything typed carried over.

The old file is never changed. What has no place in the new one is listed: own sheets, charts, pictures and cell notes by where
they stand; what was typed in own columns goes onto a sheet of its own.
"""
from __future__ import annotations

import hashlib
import re
import shutil
import tempfile
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

from calc import tables
from calc.merging import comparable, plain
from calc.raw import Odd, RawTable
from workbook_template import schema
from workbook_template.ports.layout import ColumnSpec, TableSpec
from workbook_template.ports.new_sheet import NewSheet, add_sheet
from workbook_template.ports.parts import read_book, read_relations
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_names, read_tables
from workbook_template.ports.swap import Guard, write_new
from workbook_template.settings_table import BY_KEY as SETTINGS
from workbook_template.sheets import plan_typed
from workbook_template.typed_rows import keys_of, rows_of
from workbook_template.yard import Yard

KEPT_SHEET = "Kept from before"
OUR_NAMES = ("bb_", "typed_", "set_", "plan_", "_xlnm.")
OLD_CHARTS = ("Cost so far by strain", "Cost so far by wood")  # came with layout 1
NEW_EVENTS = "event_kinds"  # lists whose new shipped rows are added: the calculations ask for these words


@dataclass
class Upgraded:
    """What an upgrade did. rows: table -> rows carried over; kept: cells of own columns; left: what has no place in the new file."""

    source: Path
    path: Path
    old: int
    rows: dict[str, int]
    kept: int = 0
    left: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        rows = ", ".join(f"{schema.table(key).title} {n}" for key, n in self.rows.items() if n and schema.table(key) in schema.INPUT_TABLES)
        told = [f"Made {self.path.name} beside {self.source.name} (layout {self.old} -> {schema.VERSION}); {self.source.name} is as it was.",
                f"Rows carried over and read back: {rows or 'none typed yet'}; Settings, Plan and Lists with them."]
        if self.kept:
            told.append(f"{self.kept} cells of columns of your own stand on the sheet {KEPT_SHEET}.")
        told.append("Colours, formats and rules of your own on these sheets were not carried over.")
        if self.left:
            told += ["Not carried over; it is all still in the old file:", *(f"  {words}" for words in self.left)]
        return [*told, f"Next: boltbook refresh \"{self.path.name}\""]


def old_specs(profile: str, names: dict[str, str]) -> list[TableSpec]:
    """What to look for in an older workbook: the tables it has, by their headings or other known words for them."""
    words: dict[tuple[str, str], list[str]] = {}
    for row in tables.rows("heading_words"):
        words.setdefault((row["table"], row["column"]), []).append(row["word"])
    specs = []
    for table in schema.TABLES:
        if f"bb_{table.key}" not in names:
            continue
        columns = [ColumnSpec(c.key, c.header(profile), c.reads_as, False, c.typed, tuple(words.get((table.key, c.key), ())))
                   for c in table.columns if c.typed or c.key == "row"]
        specs.append(TableSpec(table.key, table.sheet, columns, ignore=tuple(c.header(profile) for c in table.columns
                                                                             if not c.typed and c.key != "row")))
    return specs


def upgrade(path: Path, out: Path | None = None, step=lambda words: None) -> Upgraded:
    """Make a workbook of this layout from an older one. out: where (beside it if left out).

    Raises FileProblem where it is no older workbook of ours, LayoutProblem where its sheets cannot be told, SaveProblem where the
    new file cannot be written; then nothing is written.
    """
    from workbook_template.build import EVENTS_A_LOG, build

    path = Path(path)
    step("Reading")
    source = Guard(path, force=True).path
    names, macro = _names(source)
    old, profile = _old_layout(path, names)
    target = Path(out) if out else path.with_name(f"{path.stem} upgraded{path.suffix}")
    raw = read_tables(source, old_specs(profile, names))
    left: list[str] = []
    typed = {key: _typed(table, left) for key, table in raw.items()}
    settings = _named(source, "typed_", SETTINGS, "Settings", "setting", left)
    plan = _named(source, "plan_", {entry.name for entry in plan_typed.INPUTS}, "Plan", "cell", left)
    yard = Yard(profile, typed, settings, plan, mark=_mark(source))
    _new_words(yard, old)
    kept = [entry for table in raw.values() for entry in _own_columns(table)]
    left += _leftovers(source, raw, macro)
    rows = max([_guarded(names.get("bb_logs", "")), -(-_guarded(names.get("bb_events", "")) // EVENTS_A_LOG), 10])
    step("Writing")

    def write(temporary: Path) -> None:
        with tempfile.TemporaryDirectory() as folder:
            drawn = Path(folder) / f"drawn{path.suffix}"
            build(drawn, _unique_keys(yard, rows), rows=rows, macro=path.suffix.lower() == ".xlsm", name=target.name)
            if kept:
                add_sheet(drawn, temporary, _kept_sheet(kept, path.name))
            else:
                shutil.copyfile(drawn, temporary)

    step("Checking")
    write_new(target, write, lambda made: _check(made, profile, yard))
    return Upgraded(path, target, old, {key: sum(map(bool, rows_of(table))) for key, table in raw.items()}, len(kept), left)


def _names(source: Path) -> tuple[dict[str, str], bool]:
    from workbook_template.ports.preflight import check_file, damage_named
    check_file(source)
    with damage_named(source), zipfile.ZipFile(source) as archive:
        return read_book(archive).names, any(name.endswith("vbaProject.bin") for name in archive.namelist())


def _mark(source: Path) -> str:
    """What tells this yard's workbook from others: the one it carries, else one made from the moment the workbook was first made, which
    every copy of it keeps; so that copies upgraded apart can still be merged. "" where neither is known: a new one is drawn.
    """
    from defusedxml import ElementTree

    from workbook_template.partner import yard_of
    with zipfile.ZipFile(source) as archive:
        core = archive.read("docProps/core.xml") if "docProps/core.xml" in archive.NameToInfo else b""
    created = next((e.text for e in ElementTree.fromstring(core).iter() if e.tag.endswith("}created")), None) if core else None
    return yard_of(source) or (hashlib.sha256(created.strip().encode()).hexdigest()[:16] if created and created.strip() else "")


def _old_layout(path: Path, names: dict[str, str]) -> tuple[int, str]:
    profile, layout = (names.get(f"bb_{name}", "").strip('="') for name in ("profile", "layout"))
    if profile not in ("us", "metric") or not layout.isdigit():
        raise FileProblem(f"{path.name} is not a workbook made here, or its names were deleted: nothing was written. To take rows from a sheet of "
                          "your own: boltbook import")
    if int(layout) == schema.VERSION:
        raise FileProblem(f"{path.name} has this version's layout ({layout}) already: there is nothing to upgrade.")
    if int(layout) > schema.VERSION:
        raise FileProblem(f"{path.name} was made by a newer version (layout {layout}, this is {schema.VERSION}): nothing was written. "
                          "Update Boltbook: python -m pip install --upgrade boltbook")
    return int(layout), profile


def _guarded(reference: str) -> int:
    """Rows under the headings of a table's defined name."""
    from workbook_template.ports.parts import split_range, split_reference
    place = split_reference(reference)
    if place is None:
        return 0
    try:
        top, _, bottom, _ = split_range(place[1])
    except ValueError:
        return 0
    return max(0, bottom - top)


def _typed(table: RawTable, left: list[str]) -> list[dict]:
    """The rows as they can be typed again, each with its key; blank rows between them stay."""
    rows = []
    for i, (key, row) in enumerate(zip(keys_of(table), rows_of(table), strict=True)):
        kept = {}
        for column, value in row.items():
            if isinstance(value, Odd) and value.kind in ("error", "formula"):
                what = f'the error value "{value.value}"' if value.kind == "error" else "a formula without a value"
                left.append(f"{table.sheet} row {table.row_of(i)}, {schema.table(table.key).column(column).title}: {what}")
            else:
                kept[column] = plain(value)
        if key and any(c.key == "row" for c in schema.table(table.key).columns):
            kept["row"] = key
        rows.append(kept)
    left += [f'{table.sheet} row {table.row_of(i)}, {heading}: "{plain(value)}" was typed over a formula; the formula stands there again'
             for i, heading, value in table.typed_over]
    return rows


def _named(source: Path, prefix: str, known, sheet: str, what: str, left: list[str]) -> dict:
    """The values typed in cells that have a name of their own, by the name without its prefix; what is not known any more goes to `left`."""
    found = {}
    for name, value in read_names(source, prefix).items():
        key, value = name.removeprefix(prefix), plain(value)
        if key in known:
            found[key] = value
        elif comparable(value) is not None:
            left.append(f"{sheet}, {key.replace('_', ' ')}: {value} (there is no such {what} any more)")
    return found


def _new_words(yard: Yard, old: int) -> None:
    """Add the kinds of event that came with later layouts, after the grower's own."""
    shipped = schema.table(NEW_EVENTS).shipped(yard.profile)
    there = {comparable(row.get("event_kind")) for row in yard.tables.get(NEW_EVENTS, ())}
    if NEW_EVENTS in yard.tables:
        rows = yard.tables[NEW_EVENTS]
        while rows and not rows[-1]:
            rows.pop()
        rows += [row for row in shipped if comparable(row["event_kind"]) not in there]


def _unique_keys(yard: Yard, rows: int) -> Yard:
    """Row keys that clash with none of the guarded rows: a sorted sheet may hold the key of a later row further up."""
    from workbook_template.build import ROW_KEY_LETTER, guarded_rows
    for table in schema.INPUT_TABLES:
        typed = yard.tables.get(table.key)
        if not typed:
            continue
        used = {row["row"] for row in typed if row.get("row")}
        total, letter = guarded_rows(table, rows, len(typed)), ROW_KEY_LETTER.get(table.key, "")
        free = (f"{letter}{n:05d}" for n in range(1, 10 * (total + len(used))) if f"{letter}{n:05d}" not in used)
        for row in typed:
            row["row"] = row.get("row") or next(free)
        typed += [{"row": next(free)} for _ in range(total - len(typed))] if used != {f"{letter}{n + 1:05d}" for n in range(len(typed))} else []
    return yard


def _own_columns(table: RawTable) -> list[list]:
    keys = keys_of(table)
    names = rows_of(table)
    first = next(c.key for c in schema.table(table.key).columns if c.typed)
    found = []
    for heading, column in table.extra.items():
        for i in range(min(len(column), table.length)):
            value = column.odd.get(i, column.values[i])
            if comparable(value) is not None:
                called = plain(names[i].get(first))
                found.append([table.sheet, keys[i] or None, called, heading, plain(value) if not isinstance(value, Odd) else str(value.value)])
    return found


def _kept_sheet(kept: list[list], name: str) -> NewSheet:
    about = f"Cells of columns of your own in {name}. Add such a column to the right of a table again and copy them over, by the row key."
    return NewSheet(KEPT_SHEET, KEPT_SHEET, about, [("Sheet", 12), ("Row", 10), ("Row begins with", 22), ("Column", 22), ("Value", 60)], kept)


def _leftovers(source: Path, raw: dict[str, RawTable], macro: bool) -> list[str]:
    """What the grower or a program put beside our tables, by name and place: sheets, charts, pictures, notes, names, links and the like."""
    from workbook_template.ports.closed_file import bare_title, chart_title
    results = schema.result_sheets("us") + schema.result_sheets("metric")
    ours = {bare_title(title) for title in _our_charts()}
    known = {*results, *schema.INPUT_SHEETS, *schema.OTHER_SHEETS, *(t.sheet for t in raw.values())}
    left = []
    with zipfile.ZipFile(source) as archive:
        book = read_book(archive, charts=True)
        for sheet in book.sheets:
            if sheet.name not in known:
                left.append(f"the sheet {sheet.name}{' with its charts' if sheet.charts else ''}: open both files and copy it over")
                continue
            titles = [chart_title(archive.read(chart)) or "without a title" for chart in sheet.charts]
            left += [f"{sheet.name}: the chart {words}" for words in titles if bare_title(words) not in ours]
            left += [f"{sheet.name}: {words}" for words in _own_things(archive, sheet)]
        left += _beside(archive, book)
    if macro:
        left.append("macros of your own; those that came with the workbook are there again")
    return left


def _our_charts() -> list[str]:
    """Titles of the charts that a workbook comes with, in either set of units."""
    from workbook_template.sheets.layout import lay_out
    from workbook_template.sheets.plan import CHART_TITLE
    from workbook_template.sheets.view import View
    sheets = [sheet for profile in ("us", "metric") for sheet in lay_out(View(profile, "USD", "", ""))]
    return [CHART_TITLE, *OLD_CHARTS, *(chart.title for sheet in sheets for chart in sheet.charts)]


# What may stand on a sheet of ours that never comes with it: (kinds of part, elements in them, one of them in words).
OWN_THINGS = ((("comments",), {"comment"}, "cell note"), (("drawing",), {"pic"}, "picture"), (("drawing",), {"sp", "cxnSp", "graphicFrame"}, "shape"),
              (("ctrlProp",), {"formControlPr"}, "form control"), (("pivotTable",), {"pivotTableDefinition"}, "pivot table"),
              (("slicer", "timeline"), {"slicer", "timeline"}, "slicer"))
BESIDE = {"externalLink": "links to other workbooks", "connections": "connections to data elsewhere",
          "customXml": "data that other programs keep in it"}
OWN_MARKS = (("sparkline", "sparkline"), ("cfRule", "colour rule"), ("dataValidation", "drop-down list"))


def _own_things(archive: zipfile.ZipFile, sheet) -> list[str]:
    """The grower's things on one of our sheets, counted: "2 cell notes"."""
    from workbook_template.ports.xmledit import find_elements
    xml = archive.read(sheet.part)
    told = []
    for kinds, names, words in OWN_THINGS:
        number = sum(len(find_elements(archive.read(part), names)) for kind in kinds for part in sheet.of_kind(kind))
        told += [(number - len(sheet.charts) if "graphicFrame" in names else number, words)]
    told += [(len(re.findall(rb"<(?:x14|xne):" + mark.encode() + rb"[ />]", xml)), words) for mark, words in OWN_MARKS]
    protected = ["a protection of the sheet"] if re.search(rb"<(?:\w+:)?sheetProtection[ />]", xml) else []
    return [f"{number} {words}{'s' if number > 1 else ''}" for number, words in told if number > 0] + protected


def _beside(archive: zipfile.ZipFile, book) -> list[str]:
    """What belongs to the workbook as a whole: names, links and connections of the grower's own."""
    own = [name for name in book.names if not name.startswith(OUR_NAMES) and name not in schema.NAMES]
    left = [f"the name{'s' if len(own) > 1 else ''} {', '.join(sorted(own))}"] if own else []
    found = {relation.kind for part in ("", book.workbook_part) for relation in read_relations(archive, part)}
    left += [words for kind, words in BESIDE.items() if kind in found]
    protected = re.search(rb"<(?:\w+:)?workbookProtection[ />]", archive.read(book.workbook_part))
    return [*left, "a protection of the workbook"] if protected else left


def _check(path: Path, profile: str, yard: Yard) -> None:
    """Read the new file back: every typed row must be in it."""
    from workbook_template.refresh import table_specs
    made = read_tables(path, table_specs(profile))
    for key, rows in yard.tables.items():
        there = [{c: comparable(plain(v)) for c, v in row.items()} for row in rows_of(made[key])]
        wanted = [{c: comparable(v) for c, v in row.items() if c != "row" and comparable(v) is not None} for row in rows]
        while wanted and not wanted[-1]:
            wanted.pop()
        if there != wanted:
            at = next((i for i, (a, b) in enumerate(zip(there, wanted, strict=False)) if a != b), min(len(there), len(wanted)))
            raise FileProblem(f"{schema.table(key).title}, row {at + 1} of the table did not arrive as it was: nothing was written. "
                              "Please report this with the workbook.")

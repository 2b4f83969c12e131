"""boltbook merge on files: what theirs added and changed arrives in mine, conflicts stand on a sheet, everything else byte for byte."""
from __future__ import annotations

import datetime as dt
import random
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from test_cli import run
from test_merging import COLUMNS
from test_workbook import audit

from calc.merging import CONFLICT, DIFFERENCE, DOUBLE, GONE_HERE, GONE_THERE, LEFT, REKEYED, Line, comparable
from workbook_template import schema
from workbook_template.build import build
from workbook_template.merge import IN_CLOSED, OF_CLOSED, Copy, merge, merge_copies, read_copy, words
from workbook_template.ports.package import sheet_parts
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.reader import read_names
from workbook_template.ports.swap import FileInUse, SaveProblem, backup_path
from workbook_template.ports.type_in import Typed, type_in
from workbook_template.ports.type_named import type_named
from workbook_template.refresh import refresh_file
from workbook_template.typed_rows import NAMED_BY, TWICE
from workbook_template.yard import Yard

TODAY = dt.date(2026, 11, 1)
LOGS = [{"log": f"A{i}", "wood": "white oak", "strain": "oyster", "diameter": 4.0, "length": 40.0, "inoculated": dt.date(2025, 4, 1)}
        for i in range(1, 5)]
PICKS = [{"date": dt.date(2026, 5, i), "event": "picked", "log": f"A{i}", "amount": i / 2, "event_note": f"pick {i}"} for i in range(1, 5)]
FIRST = 6


@pytest.fixture(scope="module")
def base(tmp_path_factory):
    path = tmp_path_factory.mktemp("base") / "base.xlsx"
    build(path, Yard("us", {"logs": LOGS, "events": PICKS}, {"wage": 15.0}), rows=10, as_of=TODAY)
    return path


@pytest.fixture
def copies(base, tmp_path):
    return [Path(shutil.copy(base, tmp_path / f"{name}.xlsx")) for name in ("mine", "theirs", "base")]


def edit(path, cells=(), named=None, **rows):
    content = type_named(path, named, "us") if named else path.read_bytes()
    path.write_bytes(type_in(content, [Typed(*c) for c in cells], rows, today=TODAY))


def table(path, key):
    return [line.cells for line in read_copy(path).lines[key]]


def parts(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def on_sheet(path, name="Conflicts"):
    return [[cell.value for cell in row] for row in openpyxl.load_workbook(path)[name].iter_rows(min_row=5)]


def test_edits_new_rows_settings_lists_and_conflicts(copies, office, tmp_path):
    mine, theirs, base = copies
    edit(mine, [("events", 6, "amount", 0.75), ("events", 7, "event_note", "mine")], events=[{**PICKS[0], "log": "A4", "amount": 3.0}])
    edit(theirs, [("events", 6, "amount", 1.25), ("events", 8, "amount", 9.5), ("logs", 9, "note", "split")],
         {"typed_wage": 20.0, "plan_wanted": 9.0}, events=[{**PICKS[0], "log": "A2", "amount": 2.25}],
         woods=[{"wood": "hop hornbeam", "wood_gravity": 0.63}])
    done = merge(mine, theirs, tmp_path / "out.xlsx", base, today=TODAY)
    out = done.out
    events = table(out, "events")
    assert [e["amount"] for e in events] == [0.75, 1.0, 9.5, 2.0, 3.0, 2.25] and events[1]["event_note"] == "mine"
    assert table(out, "logs")[3]["note"] == "split" and {"wood": "hop hornbeam", "wood_gravity": 0.63} in table(out, "woods")
    assert read_names(out, "typed_")["typed_wage"] == 20.0 and read_names(out, "set_")["set_wage"] == 20.0
    assert read_names(out, "plan_")["plan_wanted"] == 9.0
    assert [f.kind for f in done.merged.findings] == [REKEYED, CONFLICT] or [f.kind for f in done.merged.findings] == [CONFLICT, REKEYED]
    row = next(r for r in on_sheet(out) if r[0] == CONFLICT)
    assert row[1:9] == ["Events", "E00001", 6, 6, "Amount, see Lists", "0.5", "0.75", "1.25"] and "Mine stands" in row[9]
    assert "Errors: 0" in audit(out)
    keys = [line.key for line in read_copy(out).lines["events"]]
    assert len(set(keys)) == len(keys)
    held, seen = openpyxl.load_workbook(out, data_only=True), office.computed(out)
    for cell in ("P6", "P7", "P8", "P9", "H9"):  # picked by log: 0.75, 1 + 2.25, 9.5, 2 + 3
        assert held["Logs"][cell].value == pytest.approx(seen["Logs"][cell].value)
    assert [held["Logs"][f"P{r}"].value for r in range(6, 10)] == [0.75, 3.25, 9.5, 5.0]
    assert seen["Conflicts"]["A1"].value == "Conflicts of two copies"


def test_everything_else_of_mine_stays_byte_for_byte(copies, tmp_path):
    mine, theirs, base = copies
    edit(theirs, events=[{**PICKS[0], "log": "A2"}])
    book = parts(mine)
    with zipfile.ZipFile(mine, "a") as archive:  # parts that only the grower's program knows
        archive.writestr("customXml/item1.xml", "<kept/>")
    out = merge(mine, theirs, tmp_path / "out.xlsx", base, today=TODAY).out
    after = parts(out)
    changed = {name for name in book if after[name] != book[name]}
    typed = {sheet_parts(mine)[name].part for name in ("Logs", "Events")}
    assert after["customXml/item1.xml"] == b"<kept/>" and changed == typed
    same = [(a, b) for a, b in zip(book[min(typed)].split(b"<row "), after[min(typed)].split(b"<row "), strict=True) if a != b]
    assert len(same) == 2  # Logs: its total, and the row of A2, which has one more pick
    assert mine.exists() and openpyxl.load_workbook(out).sheetnames == openpyxl.load_workbook(mine).sheetnames  # nothing to settle: no sheet


def test_deleted_rows_doubles_and_own_columns_are_told(copies, tmp_path):
    mine, theirs, base = copies
    blank = dict.fromkeys(("date", "event", "log", "amount", "event_note"))
    edit(mine, [("events", 8, c, None) for c in blank])
    edit(theirs, [("events", 9, c, None) for c in blank], events=[{**PICKS[1], "row": "E00030", "event_note": "again"}])
    book = openpyxl.load_workbook(theirs)
    book["Events"]["R5"], book["Events"]["R6"] = "Moon", "full"
    book.create_sheet("Trials")
    book.save(theirs)
    done = merge(mine, theirs, tmp_path / "out.xlsx", base, today=TODAY)
    assert sorted(f.kind for f in done.merged.findings) == sorted([GONE_HERE, GONE_THERE, DOUBLE, LEFT])
    assert [e["log"] for e in table(done.out, "events")] == ["A1", "A2", "A4", "A2"]  # A3 stays deleted in mine, A4 stays
    told = "\n".join(done.lines())
    assert "possible double" in told and "Moon" in told and "Sheets that only theirs.xlsx has were not copied: Trials." in told
    assert next(r for r in on_sheet(done.out) if r[0] == GONE_HERE)[8] == "Date 3 May 2026; Event picked; Log A3; Amount, see Lists 1.5; Note pick 3"


def test_rows_typed_below_the_table_without_a_key(copies, tmp_path):
    """As LibreOffice leaves them; the one that base has too is known by what stands in it, a refresh between changes nothing of that."""
    for path, names in zip(copies, (("Z1", "Z2"), ("Z1", "Z3"), ("Z1",)), strict=True):
        book = openpyxl.load_workbook(path)
        for at, name in enumerate(names, start=60):
            for column, value in enumerate((dt.datetime(2026, 6, 1), "picked", name, 1.0), start=1):
                book["Events"].cell(at, column, value)
        book.save(path)
    mine, theirs, base = copies
    done = merge(mine, theirs, tmp_path / "out.xlsx", base, today=TODAY)
    assert [e["log"] for e in table(done.out, "events")] == ["A1", "A2", "A3", "A4", "Z1", "Z2", "Z3"] and not done.merged.findings


def test_a_refresh_keeps_every_row_key(copies):
    mine = copies[0]
    before = read_copy(mine)
    refresh_file(mine, progress=False, today=TODAY)
    after = read_copy(mine)
    assert after.lines == before.lines and after.blank == before.blank and len(before.blank["events"]) == 46


def test_without_a_base_and_onto_mine_itself(copies):
    mine, theirs, _ = copies
    edit(mine, [("events", 6, "amount", 0.75)])
    edit(theirs, [("events", 7, "minutes", 12)], events=[{**PICKS[0], "log": "A3", "amount": 4.0}])
    before = mine.read_bytes()
    done = merge(mine, theirs, mine, today=TODAY)
    assert [e["amount"] for e in table(mine, "events")] == [0.75, 1.0, 1.5, 2.0, 4.0] and table(mine, "events")[1]["minutes"] == 12.0
    assert [f.kind for f in done.merged.findings] == [DIFFERENCE] and backup_path(mine).read_bytes() == before
    assert "Without --base" in "\n".join(done.lines())
    assert refresh_file(mine, progress=False, today=TODAY).counts["events"] == (5, 5)
    again = merge(mine, theirs, mine, today=TODAY)  # once more: nothing new, the difference is told again
    assert not again.merged.changes and not again.merged.additions and again.sheet == "Conflicts 2"


@pytest.mark.parametrize("seed", range(3))
def test_random_copies_lose_nothing(base, tmp_path, seed):
    rng, paths = random.Random(seed), []
    for name in ("mine", "theirs"):
        path = Path(shutil.copy(base, tmp_path / f"{name}.xlsx"))
        cells = [("events", FIRST + rng.randrange(4), *rng.choice([("amount", rng.randrange(1, 99) / 8), ("event_note", name), ("minutes", 5)]))
                 for _ in range(3)]
        new = [{**PICKS[0], "log": f"{name}{i}", "amount": rng.randrange(1, 99) / 8} for i in range(rng.randrange(1, 60))]
        edit(path, cells, events=new)
        paths.append(path)
    done = merge(*paths, tmp_path / "out.xlsx", base, today=TODAY)
    old, mine, theirs, out = ([{c: comparable(v) for c, v in row.items()} for row in table(p, "events")] for p in (base, *paths, done.out))
    conflicts = 0
    for i, was in enumerate(old):
        for column in {*mine[i], *theirs[i]}:
            b, m, t = was.get(column), mine[i].get(column), theirs[i].get(column)
            assert out[i].get(column) == (t if m == b else m)
            conflicts += b != m and b != t and m != t
    assert sum(f.kind == CONFLICT for f in done.merged.findings) == conflicts
    assert out[4:len(mine)] == mine[4:] and sorted(map(str, out[len(mine):])) == sorted(map(str, theirs[4:]))
    assert "Errors: 0" in audit(done.out) and COLUMNS


def test_lines_of_a_closed_period_are_never_rewritten():
    """Without a file: the copies as read."""
    sale = {"date": dt.datetime(2026, 9, 5), "market": "Square", "kind": "sold", "product": "fresh", "amount": 10.0}
    later = {**sale, "date": dt.datetime(2026, 10, 5)}

    def copy(*rows):
        lines = {t.key: [] for t in schema.TABLES} | {"sales": [Line(f"S{i}", 6 + i, row) for i, row in enumerate(rows)]}
        lines["closings"] = [Line("square|1", 8, {"close_market": "square", "closed_to": dt.datetime(2026, 9, 30), "close_balance": 1.0})]
        return Copy(Path("x"), "us", lines, {k: Line(k, 0, {}) for k in ("settings", "plan")}, {}, [], 0)

    base = copy(sale, later)
    merged = merge_copies(base, copy({**sale, "amount": 9.0}, {**later, "amount": 8.0}, {**sale, "amount": 3.0}), base)
    assert [(c.place, c.value) for c in merged.changes] == [(7, 8.0)] and len(merged.additions) == 1
    told = [(f.kind, f.mine, f.theirs if f.column else f.theirs["amount"]) for f in merged.findings]
    assert told == [(OF_CLOSED, 10.0, 9.0), (IN_CLOSED, None, 3.0)]


def test_a_setting_whose_row_is_gone_from_mine_is_told():
    lines = {t.key: [] for t in schema.TABLES}
    base, theirs = (Copy(Path("x"), "us", lines, {"settings": Line("settings", 0, {"wage": wage}), "plan": Line("plan", 0, {})}, {}, [], 0)
                    for wage in (15.0, 20.0))
    merged = merge_copies(base, theirs, base)
    assert not merged.changes and [words(f) for f in merged.findings] == [
        'Settings, Wage for an hour, your own too: not carried over: theirs "20", mine blank. It could not be typed in.']
    base.names = {"typed_wage"}
    assert [c.value for c in merge_copies(base, theirs, base).changes] == [20.0]


def test_what_is_refused(copies, tmp_path):
    mine, theirs, base = copies
    other, metric = tmp_path / "other.xlsx", tmp_path / "metric.xlsx"
    build(other, Yard("us"), rows=10)
    build(metric, Yard("metric"), rows=10)
    out = tmp_path / "out.xlsx"
    with pytest.raises(FileProblem, match="not copies of one workbook: mine.xlsx and other.xlsx carry different marks"):
        merge(mine, other, out)
    assert merge(mine, other, tmp_path / "forced.xlsx", same_yard=True).out.exists()
    with pytest.raises(FileProblem, match="different units"):
        merge(mine, metric, out, same_yard=True)
    with pytest.raises(FileProblem, match="one of the copies to read"):
        merge(mine, theirs, theirs, base)
    out.write_text("mine")
    with pytest.raises(SaveProblem, match="already"):
        merge(mine, theirs, out, base)
    mine.with_name(f".~lock.{mine.name}#").write_text("A Grower,x,y,z")
    with pytest.raises(FileInUse):
        merge(mine, theirs, tmp_path / "o.xlsx", base)
    assert not (tmp_path / "o.xlsx").exists() and out.read_text() == "mine"


def test_the_command(copies, tmp_path):
    mine, theirs, base = copies
    edit(mine, [("events", 6, "amount", 0.75)])
    edit(theirs, [("events", 6, "amount", 1.25)], events=[{**PICKS[0], "log": "A3", "amount": 4.0}])
    told = run("merge", mine, theirs, "--base", base, "--out", tmp_path / "out.xlsx")
    assert told.startswith("Made out.xlsx: 1 row of theirs added, 0 cells of theirs taken, 1 conflict.")
    assert 'Events row 6, Amount, see Lists: both changed it: mine "0.75", theirs "1.25" (before "0.5"). Mine stands.' in told
    assert "sheet Conflicts of out.xlsx" in told
    assert "There is no file" in run("merge", mine, tmp_path / "no.xlsx", "--out", "x.xlsx", code=2)
    assert "ending .xlsx" in run("merge", mine, theirs, "--out", tmp_path / "out.csv", code=2)


def test_every_table_has_a_way_to_know_its_rows():
    for table in schema.TABLES:
        keys = {c.key for c in table.columns}
        assert ("row" in keys) != (table.key in NAMED_BY) and set(NAMED_BY.get(table.key, ())) <= keys
        assert set(TWICE.get(table.key, ())) <= keys

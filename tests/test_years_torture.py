"""A workbook full of other things lives through the years: merged into, extended, imported into, closed, a market's sheet taken in,
settings typed, restored, upgraded. Every part that is not typed into stays byte for byte, and on a sheet typed into all but our cells.
"""
from __future__ import annotations

import datetime as dt
import re
import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from rich_workbook import change_part
from test_package import findings, raw_parts
from test_receive import Filled
from torture_workbook import FAR, OWN, TYPED_INTO, torture

from workbook_template import schema
from workbook_template.close import close
from workbook_template.extend import extend
from workbook_template.import_sheet import prepare, write
from workbook_template.merge import merge
from workbook_template.partner import share
from workbook_template.ports.package import sheet_parts
from workbook_template.ports.parts import split_address
from workbook_template.ports.swap import backup_path
from workbook_template.ports.type_in import Typed, type_in
from workbook_template.ports.type_named import type_named
from workbook_template.ports.xmledit import find_elements
from workbook_template.receive import receive
from workbook_template.restore import restore
from workbook_template.upgrade import upgrade
from workbook_template.yard import Yard

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")  # openpyxl says what it would lose at a save; here it only reads
TODAY = dt.date(2026, 11, 1)
LOGS = [{"log": f"A{i}", "wood": "white oak", "strain": "oyster", "diameter": 4.0, "length": 40.0} for i in range(1, 4)]
SALES = [{"date": dt.date(2026, 8, 20), "market": "Square", "kind": "delivered", "product": "fresh", "amount": 5.0},
         {"date": dt.date(2026, 9, 1), "market": "Square", "kind": "sold", "product": "fresh", "amount": 2.0, "price": 10.0}]
PICK = {"date": dt.date(2026, 5, 1), "event": "picked", "log": "A1", "amount": 6.0}
LISTING = {"[Content_Types].xml", "xl/_rels/workbook.xml.rels"}
STEPS = ("extend", "import", "close", "merge", "receive", "settings", "single")


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    path = tmp_path_factory.mktemp("torture") / "before.xlsm"
    yard = Yard("us", {"logs": LOGS, "events": [PICK], "sales": SALES, "markets": [{"market": "Square", "terms": "on consignment"}]})
    return torture(path, yard, rows=20, macro=True)


@pytest.fixture(scope="module")
def life(before, tmp_path_factory):
    """The workbook before and after every command, one upon the other: command -> (before, after)."""
    found, last = {}, before
    for name in STEPS:
        folder = tmp_path_factory.mktemp(name)
        path = Path(shutil.copy(last, folder / "yard.xlsm"))
        shutil.copy(last, folder / "base.xlsm")
        found[name] = step(name, path, folder)
        last = found[name][1]
    return found


def step(name, path, folder):
    """One command on a copy: (the file it began from, the new file)."""
    if name == "extend":
        extend(path, 3, today=TODAY)
    elif name == "close":
        close(path, dt.date(2026, 9, 30), today=TODAY)
    elif name == "import":
        old = folder / "old.csv"
        old.write_text("Date,Log,Picked\n2026-05-02,A2,1.5\n", encoding="utf-8")
        write(prepare(path, old), today=TODAY)
    elif name == "receive":
        share(path, "Square", folder / "sent.xlsx", TODAY)
        filled = Filled(folder / "sent.xlsx").put("S00001", sold=1.5, remark="=1+1").put("N01", product="fresh", sold=0.5)
        filled.put(next(key for key in filled.rows if key.startswith("W")), wish=3)
        done = receive(path, filled.save(folder / "back.xlsx"), TODAY)
        assert done.written and len(done.changes) == 3
    elif name == "settings":
        path.write_bytes(type_named(path, {"typed_wage": 21.5, "typed_yard": "=1+1", "plan_wanted": 7}, "us"))
    elif name == "single":
        path.write_bytes(type_in(path, [Typed("logs", 6, "note", "+1+1"), Typed("costs", 6, "item", "a rope"), Typed("costs", 6, "amount", 4.0),
                                        Typed("markets", 10, "market", "@Fair")], today=TODAY))
    else:
        theirs = folder / "theirs.xlsm"
        theirs.write_bytes(type_in(path, [Typed("events", 6, "amount", 7.0)], {"events": [{**PICK, "log": "A3"}]}, today=TODAY))
        mine, base = folder / "mine.xlsm", Path(shutil.copy(path, folder / "merge base.xlsm"))
        mine.write_bytes(type_in(path, [Typed("events", 6, "amount", 8.0)], today=TODAY))
        merge(mine, theirs, folder / "out.xlsm", base, today=TODAY)
        return mine, folder / "out.xlsm"
    return folder / "base.xlsm", path


@pytest.mark.parametrize("name", STEPS)
def test_every_other_part_stays(before, life, name):
    start, end = life[name]
    was, now = raw_parts(start), raw_parts(end)
    sheets = sheet_parts(before)
    inputs = [sheets[s] for s in ({t.sheet for t in schema.TABLES} if name != "settings" else {"Settings", "Plan", "Field sheet"})]
    ours = {s.part for s in inputs} | {part for s in inputs for part in s.of_kind("table")} | {"xl/workbook.xml"}
    chain = {p for p in was if "calcChain" in p and p not in now}  # goes where formula cells came: programs make it anew
    changed = {part for part in was if part in now and now[part] != was[part]}
    assert set(was) - set(now) == chain and len(set(now) - set(was)) == (1 if name == "merge" else 0)
    assert changed <= ours | (LISTING if name == "merge" or chain else set()) and sheets[OWN].part not in changed
    assert not chain or name == "extend"
    assert changed & {s.part for s in inputs}
    on_typed_sheets(start, end, {s.part for s in inputs} & changed, name)


def on_typed_sheets(start: Path, end: Path, parts: set[str], name: str) -> None:
    """Notes, pictures, rules, links and the cells beside our tables stay, and rows keep their height and format."""
    with zipfile.ZipFile(start) as a, zipfile.ZipFile(end) as b:
        for part in parts:
            old, new = a.read(part), b.read(part)
            kept = [[(e.name, xml[e.start:e.end]) for e in find_elements(xml, None, {"worksheet"}) if e.name not in ("sheetData", "dimension")]
                    for xml in (old, new)]
            if name == "extend":  # checks and colours reach over the new rows
                kept = [[(n, re.sub(rb"(sqref|ref)=\"[^\"]*\"", b"", xml)) for n, xml in found] for found in kept]
            assert kept[0] == kept[1], part
            rows = [{e.about["r"]: e for e in find_elements(xml, {"row"}, {"sheetData"})} for xml in (old, new)]
            assert set(rows[0]) <= set(rows[1])
            for number, row in rows[0].items():
                assert {k: v for k, v in row.about.items() if k != "spans"} == {k: v for k, v in rows[1][number].about.items() if k != "spans"}
                assert beside(old, row) == beside(new, rows[1][number]), (part, number)


def beside(xml: bytes, row) -> list[bytes]:
    """The cells to the right of every table; a formula without its stored value, which goes where what it rests on changed."""
    piece = xml[row.start:row.end]
    if b"<c " not in piece:
        return []
    cells = [(e.about["r"], piece[e.start:e.end]) for e in find_elements(piece, {"c"})]
    return [re.sub(rb"<v>[^<]*</v>|<v/>", b"", cell) if b"<f" in cell else cell for at, cell in cells if split_address(at)[1] >= FAR]


def test_libreoffice_opens_it_after_all_of_them(before, life, trusting_office):
    through_all = life[STEPS[-1]][1]
    shown = openpyxl.load_workbook(trusting_office.convert(through_all, "xlsx"), data_only=True)
    assert [c.value for c in shown[OWN][1]][:4] == [1, 4, 9, 16] and shown["Out of sight"].sheet_state == "hidden"
    for name in TYPED_INTO:
        assert shown[name].cell(6, FAR + 1).value == "partly bold" and shown[name].cell(8, FAR + 2).hyperlink.target == "https://example.org/", name
        assert "see the photograph" in shown[name]["A6"].comment.text, name
    sales = [[c.value for c in row[:13]] for row in shown["Sales"].iter_rows(min_row=6, max_row=10)]
    assert [row[2] for row in sales] == ["delivered", "sold", "sold", "sold", None] and sales[2][12] == "=1+1"
    assert shown["Logs"]["P6"].value != 2 and any(c.value == "+1+1" for c in shown["Logs"][6])
    known = findings(before)
    assert [f for f in findings(through_all) if f not in known] == []


def test_no_part_of_the_growers_goes_to_a_market(before, tmp_path):
    path = Path(shutil.copy(before, tmp_path / "yard.xlsm"))
    share(path, "Square", tmp_path / "sent.xlsx", TODAY)
    assert path.read_bytes() == before.read_bytes()
    with zipfile.ZipFile(tmp_path / "sent.xlsx") as archive:
        names = archive.namelist()
        text = b"".join(map(archive.read, names))
    assert not [n for n in names if re.search("media|vba|comment|external|custom|printer|slicer|pivot|embed|drawing|chart", n)]
    assert not any(word in text for word in (b"photograph", b"partly", b"example.org", b"Ann", OWN.encode(), b"not to be lost"))


def test_restore_brings_back_every_byte(before, tmp_path):
    path = Path(shutil.copy(before, tmp_path / "yard.xlsm"))
    extend(path, 3, today=TODAY)
    grown = path.read_bytes()
    done = restore(path)
    assert path.read_bytes() == before.read_bytes() == backup_path(path).read_bytes() and done.kept.read_bytes() == grown != before.read_bytes()


def test_upgrade_names_what_it_leaves_and_the_old_file_keeps_it(before, tmp_path):
    """An older workbook with all of it; each thing that does not come along is named where it stands."""
    path = Path(shutil.copy(before, tmp_path / "yard.xlsm"))
    layout = f'<definedName name="bb_layout">{schema.VERSION}<'.encode()
    change_part(path, "xl/workbook.xml", lambda xml: xml.replace(layout, layout.replace(b"%d<" % schema.VERSION, b"2<")))
    old = path.read_bytes()
    done = upgrade(path)
    assert path.read_bytes() == old and done.rows["sales"] == 2 and done.rows["logs"] == 3
    told = set(done.left)
    assert {f"the sheet {OWN} with its charts: open both files and copy it over", "the sheet Out of sight: open both files and copy it over",
            "the sheet My chart: open both files and copy it over", "the name my_own_name", "links to other workbooks",
            "connections to data elsewhere", "data that other programs keep in it", "a protection of the workbook",
            "Start: 1 cell note", "Start: 1 picture", "Start: 1 sparkline", "Settings: a protection of the sheet"} - told == set()
    for name in TYPED_INTO:
        assert f"{name}: 1 picture" in told or f"{name}: 2 pictures" in told, name
        assert {f"{name}: 1 shape", f"{name}: 1 sparkline"} <= told and any(w.startswith(f"{name}: ") and "cell note" in w for w in told), name
    assert "Sales: 1 drop-down list" in told and any(w.startswith("macros of your own") for w in told)
    assert any(line.startswith("Colours, formats and rules") for line in done.lines())

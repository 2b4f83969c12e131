"""A workbook full of other things is merged into, extended, imported into and closed: every part that is not typed into stays byte for byte."""
from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import pytest
from test_package import findings, raw_parts
from torture_workbook import OWN, torture

from workbook_template import schema
from workbook_template.close import close
from workbook_template.extend import extend
from workbook_template.import_sheet import prepare, write
from workbook_template.merge import merge
from workbook_template.ports.package import sheet_parts
from workbook_template.ports.type_in import Typed, type_in
from workbook_template.yard import Yard

TODAY = dt.date(2026, 11, 1)
LOGS = [{"log": f"A{i}", "wood": "white oak", "strain": "oyster", "diameter": 4.0, "length": 40.0} for i in range(1, 4)]
SALES = [{"date": dt.date(2026, 9, 1), "market": "Square", "kind": "sold", "product": "fresh", "amount": 2.0, "price": 10.0}]
PICK = {"date": dt.date(2026, 5, 1), "event": "picked", "log": "A1", "amount": 1.0}
LISTING = {"[Content_Types].xml", "xl/_rels/workbook.xml.rels"}


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    path = tmp_path_factory.mktemp("torture") / "before.xlsm"
    yard = Yard("us", {"logs": LOGS, "events": [PICK], "sales": SALES, "markets": [{"market": "Square", "terms": "on consignment"}]})
    return torture(path, yard, rows=20, macro=True)


def step(name, path, folder):
    """One command on a copy, and the new file."""
    if name == "extend":
        extend(path, 3, today=TODAY)
    elif name == "close":
        close(path, dt.date(2026, 9, 30), today=TODAY)
    elif name == "import":
        old = folder / "old.csv"
        old.write_text("Date,Log,Picked\n2026-05-02,A2,1.5\n", encoding="utf-8")
        write(prepare(path, old), today=TODAY)
    else:
        theirs = folder / "theirs.xlsm"
        theirs.write_bytes(type_in(path, [Typed("events", 6, "amount", 2.0)], {"events": [{**PICK, "log": "A3"}]}, today=TODAY))
        mine = folder / "mine.xlsm"
        mine.write_bytes(type_in(path, [Typed("events", 6, "amount", 3.0)], today=TODAY))
        shutil.copy(mine, path)
        merge(mine, theirs, folder / "out.xlsm", folder / "base.xlsm", today=TODAY)
        return mine, folder / "out.xlsm"
    return folder / "base.xlsm", path


@pytest.mark.parametrize("name", ["extend", "import", "close", "merge"])
def test_every_other_part_stays(before, tmp_path, name):
    path = Path(shutil.copy(before, tmp_path / "yard.xlsm"))
    shutil.copy(before, tmp_path / "base.xlsm")
    was, now = (raw_parts(p) for p in step(name, path, tmp_path))
    sheets = sheet_parts(before)
    inputs = [sheets[s] for s in {t.sheet for t in schema.TABLES}]
    ours = {s.part for s in inputs} | {part for s in inputs for part in s.of_kind("table")} | {"xl/workbook.xml"}
    chain = {p for p in was if "calcChain" in p and p not in now}  # goes where formula cells came: programs make it anew
    changed = {part for part in was if part in now and now[part] != was[part]}
    assert set(was) - set(now) == chain and len(set(now) - set(was)) == (1 if name == "merge" else 0)
    assert changed <= ours | (LISTING if name == "merge" or chain else set()) and sheets[OWN].part not in changed
    assert not chain or name == "extend"
    assert any("vbaProject" in part for part in now)
    known = findings(before)
    assert [f for f in findings(tmp_path / ("out.xlsm" if name == "merge" else "yard.xlsm")) if f not in known] == []

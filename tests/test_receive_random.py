"""200 random yards: a sheet is shared, filled at random and received; every edit arrives once, sums are equal, other parts do not move.

Apart from test_receive.py, so that two workers can share the load.
"""
from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st
from test_receive import BACK, Filled, foreign, promises, sales
from test_share import DAY, MARKET, OTHER, a_yard, d

from workbook_template.build import build
from workbook_template.partner import share
from workbook_template.ports.type_in import type_in
from workbook_template.receive import receive

YARDS, PARTS = 200, 20  # in parts, so that a worker takes them up before the short files
KINDS = ("sold", "returned", "spoiled", "counted")
WEIGHTS = st.integers(1, 400).map(lambda n: n / 20)
EDIT = st.fixed_dictionaries({}, optional={"sold": WEIGHTS, "returned": WEIGHTS, "spoiled": WEIGHTS, "counted": WEIGHTS, "got": st.integers(1, 90),
                                           "remark": st.text("abc =+-@<&", min_size=1, max_size=8).map(str.strip).filter(bool)})
DELIVERY = st.tuples(st.integers(0, 30), WEIGHTS, st.sampled_from(["fresh", "dried"]), st.sampled_from([None, "P1", "P2"]),
                     st.sampled_from([MARKET, OTHER]))


@pytest.fixture(scope="module")
def base_book(tmp_path_factory):
    """An empty small yard; each example types its own rows into a copy."""
    path = tmp_path_factory.mktemp("random") / "base.xlsx"
    yard = a_yard()
    yard.tables |= {"sales": [], "events": [], "promises": []}
    build(path, yard, rows=10, as_of=DAY)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("workbook_template.refresh.work_out", lambda inputs: SimpleNamespace(supply=None))
        yield path


@pytest.mark.parametrize("part", range(PARTS))
def test_every_edit_arrives_once_over_random_yards(base_book, part):
    """The yard's results are not worked out here: the sheet's promises are blank, and nothing that comes back rests on them."""
    @seed(part)
    @settings(max_examples=YARDS // PARTS, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def one(data):
        every_edit_arrives_once(base_book, data)

    one()


def every_edit_arrives_once(base_book, data) -> None:
    folder = base_book.parent
    book, out, back = folder / "yard.xlsx", folder / "out.xlsx", folder / "back.xlsx"
    for old in (out, back):
        old.unlink(missing_ok=True)
    shutil.rmtree(folder / "yard.sent", ignore_errors=True)
    deliveries = data.draw(st.lists(DELIVERY, min_size=1, max_size=6))
    book.write_bytes(type_in(base_book, rows={"sales": [
        {"date": DAY - dt.timedelta(days=days), "market": market, "kind": "delivered", "product": product, "amount": amount, "lot": lot}
        for days, amount, product, lot, market in deliveries]}, today=DAY))
    before, parts = sales(book, False), foreign(book)
    share(book, MARKET, out)
    filled, told = Filled(out), {}
    mine = {f"S{i:05d}": row for i, row in enumerate(deliveries, start=1) if row[4] == MARKET}
    for key in [*mine, "N01", "N02"]:
        told[key] = data.draw(EDIT) if data.draw(st.booleans()) else {}
        if key.startswith("N") and told[key]:
            told[key]["product"] = data.draw(st.sampled_from(["fresh", "dried"]))
        filled.put(key, **told[key])
    wish = data.draw(st.none() | WEIGHTS)
    filled.put("W261130F", wish=wish)
    if data.draw(st.booleans()) and len(mine) > 1:  # sort the deliveries the other way round
        rows = [filled.rows[key][0] for key in mine]
        held = {row: [(c.value, c.data_type) for c in filled.sheet[row]] for row in rows}
        for row, other in zip(rows, sorted(rows, reverse=True), strict=True):
            for cell, (value, kind) in zip(filled.sheet[row], held[other], strict=True):
                cell.value, cell.data_type = value, kind
    filled.save(back)
    done = receive(book, back, BACK)
    want = Counter()
    for key, edit in told.items():
        product, lot = (mine[key][2], mine[key][3]) if key in mine else (edit.get("product"), None)
        for kind in KINDS:
            if kind in edit:
                want[kind, product, edit[kind], float(edit["got"]) if kind == "sold" and "got" in edit else None, lot, key] += 1
    after = sales(book)
    assert Counter(row[:6] for row in after) == want and not done.conflicts
    remarks = [edit["remark"] for key, edit in told.items() if "remark" in edit and (set(edit) & set(KINDS) or key in mine)]
    assert Counter(row[6] for row in sales(book, False) if row[6]) == Counter(remarks)  # on a row that came from it, else on the delivery
    assert [row[:6] for row in sales(book, False)][:len(before)] == [row[:6] for row in before]
    assert promises(book) == ([(d("2026-11-30"), MARKET, wish, None)] if wish else [])
    assert foreign(book) == parts
    if data.draw(st.booleans()):
        whole = book.read_bytes()
        assert not receive(book, back, BACK).changes and book.read_bytes() == whole

"""Two copies put together, without any file: nothing of either is lost in silence, and every conflict is listed."""
from __future__ import annotations

import datetime as dt
import random

import pytest

from calc import merging
from calc.merging import (
    CONFLICT,
    DIFFERENCE,
    DOUBLE,
    GONE_HERE,
    GONE_THERE,
    LEFT,
    ONCE,
    REKEYED,
    Finding,
    Line,
    Merged,
    applied,
    comparable,
    merge_table,
    same,
)
from calc.raw import Odd

DAY = dt.datetime(2026, 5, 1)
TWICE = ("date", "log", "amount")
COLUMNS = ("date", "log", "amount", "note")


def line(key, place, **cells):
    return Line(key, place, cells)


def kinds(merged):
    return [f.kind for f in merged.findings]


# ---- by hand -----------------------------------------------------------------------------------------------------

def test_an_edit_on_one_side_is_taken_and_a_conflict_keeps_mine():
    base = [line("E1", 6, log="A1", amount=1.0), line("E2", 7, log="A2", amount=2.0)]
    mine = [line("E1", 6, log="A1", amount=1.5), line("E2", 7, log="A2", amount=2.0)]
    theirs = [line("E1", 6, log="A1", amount=1.25), line("E2", 7, log="A2", amount=2.5, note="late")]
    merged = merge_table("events", base, mine, theirs)
    assert [(c.place, c.column, c.value) for c in merged.changes] == [(7, "amount", 2.5), (7, "note", "late")]
    found = merged.findings[0]
    assert (found.kind, found.column, found.base, found.mine, found.theirs) == (CONFLICT, "amount", 1.0, 1.5, 1.25)
    assert not merged.additions


def test_two_copies_that_filled_the_same_row_keep_both():
    mine, theirs = [line("E1", 6, log="A1", amount=1.0)], [line("E1", 6, log="B7", amount=3.0)]
    merged = merge_table("events", [], mine, theirs)
    assert kinds(merged) == [REKEYED] and merged.additions[0].key == "" and merged.additions[0].cells == {"log": "B7", "amount": 3.0}


def test_a_deleted_row_is_told_and_never_taken_away():
    base = [line("E1", 6, log="A1"), line("E2", 7, log="A2")]
    merged = merge_table("events", base, base[:1], base[1:])
    assert sorted(kinds(merged)) == sorted([GONE_THERE, GONE_HERE]) and not merged.changes
    assert applied("events", base[:1], merged) == base[:1]


def test_what_is_told_of_a_row_names_both_copies_and_what_stands_in_them():
    """The row gone in one copy, the same key given twice, the same pick under two keys: each with both rows and their cells."""
    base = [line("E1", 6, log="A1", note="wet")]
    edited = [line("E1", 7, log="A1", note="dry")]
    assert merge_table("events", base, edited, []).findings == [
        Finding(GONE_THERE, "events", "E1", 7, None, "", {"log": "A1", "note": "wet"}, {"log": "A1", "note": "dry"}, None)]
    assert merge_table("events", base, [], edited).findings == [
        Finding(GONE_HERE, "events", "E1", None, 7, "", {"log": "A1", "note": "wet"}, None, {"log": "A1", "note": "dry"})]
    mine, theirs = [line("E1", 6, log="A1", amount=1.0)], [line("E1", 9, log="B7", amount=3.0)]
    assert merge_table("events", [], mine, theirs).findings == [Finding(REKEYED, "events", "E1", 6, 9, "", None, mine[0].cells, theirs[0].cells)]
    again = [line("E8", 9, log="a1", amount=1.0)]
    assert merge_table("events", [], mine, again, ("log", "amount")).findings == [
        Finding(DOUBLE, "events", "E1", 6, 9, "", None, mine[0].cells, again[0].cells)]


def test_of_two_rows_under_one_key_the_one_most_like_the_old_row_is_meant():
    base = [line("E1", 6, log="A1", amount=1.0, note="wet")]
    mine = [line("E1", 6, log="Z9", amount=7.0), line("E1", 7, log="A1", amount=1.0, note="dry")]
    merged = merge_table("events", base, mine, [line("E1", 6, log="A1", amount=1.5, note="wet")])
    assert [(c.place, c.column, c.value) for c in merged.changes] == [(7, "amount", 1.5)]


def test_what_several_tables_ask_for_is_put_one_after_the_other():
    base = [line("E1", 6, log="A1")]
    one = merge_table("events", base, base, [line("E1", 6, log="A2"), line("E2", 7, log="A3")])
    whole = Merged()
    for merged in (one, one):
        whole.join(merged)
    assert (len(whole.changes), len(whole.additions), len(whole.findings)) == (2, 2, 2 * len(one.findings))


def test_a_row_that_lost_all_it_says_counts_as_deleted():
    base = [line("E1", 6, date=DAY, log="A1", note="wet"), line("E2", 7, date=DAY, log="A2", note="wet"), line("E3", 8, date=DAY, log="A3", note="x")]
    mine, theirs = [base[0], line("E2", 7, note="wet"), line("E3", 8, note="x")], [line("E1", 6, note="wet"), base[1], line("E3", 8, note="y")]
    merged = merge_table("events", base, mine, theirs, needed=("date", "log"))
    assert kinds(merged) == [GONE_THERE, GONE_HERE] and not merged.changes and applied("events", mine, merged) == mine


def test_the_same_pick_entered_twice_is_pointed_out():
    mine = [line("E1", 6, date=DAY, log="A1", amount=1.0)]
    theirs = [line("E9", 14, date=DAY.date(), log="a1", amount=1.0, note="dropped off")]
    merged = merge_table("events", [], mine, theirs, TWICE)
    assert kinds(merged) == [DOUBLE] and merged.additions[0].key == "E9"


def test_without_a_base_blanks_are_filled_and_differences_listed():
    mine = [line("E1", 6, date=DAY, log="A1", amount=1.0)]
    theirs = [line("E1", 6, date=DAY, log="A1", amount=1.2, note="wet"), line("E2", 7, date=DAY, log="A2", amount=2.0)]
    merged = merge_table("events", None, mine, theirs)
    assert [(c.column, c.value) for c in merged.changes] == [("note", "wet")]
    assert kinds(merged) == [DIFFERENCE] and [a.key for a in merged.additions] == ["E2"]


def test_without_a_base_quite_different_rows_under_one_key_are_both_kept():
    merged = merge_table("events", None, [line("E1", 6, date=DAY, log="A1", amount=1.0)],
                         [line("E1", 6, date=DAY + dt.timedelta(days=3), log="B4", amount=2.0)])
    assert kinds(merged) == [REKEYED] and len(merged.additions) == 1 and not merged.changes


def test_rows_without_a_key_are_known_by_what_stands_in_them():
    base = [line("", 300, log="A1", amount=1.0)]
    mine, theirs = [line("", 302, log="A1", amount=1.0), line("", 303, log="A9")], [line("", 300, log="A1", amount=1.0), line("", 301, log="A8")]
    merged = merge_table("events", base, mine, theirs)
    assert [a.cells for a in merged.additions] == [{"log": "A8"}] and not merged.findings


def test_a_list_row_that_both_added_is_one_row():
    mine, theirs = [line("ash", 8, wood="ash", gravity=0.5)], [line("ash", 9, wood="ash", gravity=0.6, moisture=0.8)]
    merged = merge_table("woods", [], mine, theirs, named=True)
    assert kinds(merged) == [CONFLICT] and [(c.column, c.value) for c in merged.changes] == [("moisture", 0.8)] and not merged.additions


def test_an_error_value_is_not_typed_but_told():
    merged = merge_table("events", [], [], [line("E1", 6, log="A1", amount=Odd("error", "#REF!"))])
    assert kinds(merged) == [LEFT] and merged.additions[0].cells == {"log": "A1"}


def test_cells_moved_down_without_their_keys_are_followed():
    base = [line(f"E{i}", 5 + i, date=DAY, log=f"A{i}", amount=float(i)) for i in range(1, 4)]
    moved = [line("E1", 6, date=DAY + dt.timedelta(days=9), log="Z9", amount=9.0)] + [
        line(f"E{i + 1}", 6 + i, **base[i - 1].cells) for i in range(1, 4)]
    merged = merge_table("events", base, base, moved)
    assert [a.cells["log"] for a in merged.additions] == ["Z9"] and not merged.changes


# ---- 500 random pairs of copies --------------------------------------------------------------------------------------

class Copy:
    """A copy with the true identity of each row kept beside it, which the merge never sees."""

    def __init__(self, rows, next_key, next_place):
        self.rows, self.next_key, self.next_place = dict(rows), next_key, next_place  # identity -> Line

    def lines(self):
        return list(self.rows.values())


def random_cells(rng):
    cells = {"date": DAY + dt.timedelta(days=rng.randrange(60)), "log": f"A{rng.randrange(12)}", "amount": float(rng.randrange(1, 40)) / 4}
    if rng.random() < 0.4:
        cells["note"] = rng.choice(["wet", "late", "ok", " wet "])
    return cells


def random_copy(rng, base: Copy, side: str) -> Copy:
    copy = Copy(base.rows, base.next_key, base.next_place)
    for step in range(rng.randrange(9)):
        what = rng.choice(("edit", "edit", "blank", "delete", "add", "add", "loose", "copied", "sort"))
        who = rng.choice(list(copy.rows)) if copy.rows else None
        if what in ("add", "loose", "copied"):
            key, cells = f"E{copy.next_key}" if what == "add" else "", random_cells(rng)
            if what == "copied" and who is not None:  # a whole row copied down, its key and all
                key, cells = copy.rows[who].key, {**copy.rows[who].cells, "date": DAY + dt.timedelta(days=100 + rng.randrange(60))}
            copy.next_key += what == "add"
            copy.next_place += 1
            copy.rows[f"{side}{step}"] = Line(key, copy.next_place, cells)
        elif who is None:
            continue
        elif what == "sort":
            order = list(copy.rows.items())
            rng.shuffle(order)
            copy.rows = {i: Line(row.key, 6 + at, row.cells) for at, (i, row) in enumerate(order)}
            copy.next_place = 6 + len(order)
        elif what == "delete":
            del copy.rows[who]
        else:
            column = rng.choice(COLUMNS)
            cells = {**copy.rows[who].cells, column: None if what == "blank" else random_cells(rng).get(column, "changed")}
            copy.rows[who] = Line(copy.rows[who].key, copy.rows[who].place, {c: v for c, v in cells.items() if v is not None})
    return copy


def random_pair(seed):
    rng = random.Random(seed)
    rows = {f"b{i}": Line(f"E{i + 1}" if i < 6 else "", 6 + i, random_cells(rng)) for i in range(rng.randrange(1, 9))}
    base = Copy(rows, len(rows) + 1, 6 + len(rows))
    return base, random_copy(rng, base, "m"), random_copy(rng, base, "t")


@pytest.mark.parametrize("with_base", [True, False])
def test_nothing_is_lost_in_silence_over_500_seeds(with_base):
    silent = []
    for seed in range(500):
        base, mine, theirs = random_pair(seed)
        merged = merge_table("events", base.lines() if with_base else None, mine.lines(), theirs.lines(), TWICE)
        silent += [(seed, *fault) for fault in faults(base, mine, theirs, merged, with_base)]
    assert silent == []


def faults(base, mine, theirs, merged, with_base):
    """What is neither in the outcome nor told about."""
    final = applied("events", mine.lines(), merged)
    changed = {(c.place, c.column): c.value for c in merged.changes}
    old = base.lines() if with_base else [Line("", 0, {})]
    for row, now in zip(mine.lines(), final, strict=False):  # mine: only cells that stood as in base may change, and only to what theirs holds
        for column in COLUMNS:
            was = row.cells.get(column)
            if same(was, now.cells.get(column)):
                continue
            if (row.place, column) not in changed or not any(same(b.cells.get(column), was) for b in old):
                yield "a cell of mine was written over", row, column
            if not any(same(t.cells.get(column), now.cells.get(column)) for t in theirs.lines()):
                yield "a value of nobody", row, column
    told = {(f.there, f.column) for f in merged.findings if f.kind != DOUBLE}
    added = {a.place for a in merged.additions}
    for row in theirs.lines():  # theirs: each row is added, told as a whole, or there but for cells that are told or that it did not change
        if row.place in added or (row.place, "") in told or any(
                all(same(row.cells.get(c), r.cells.get(c)) or (row.place, c) in told or same(row.cells.get(c), b.cells.get(c)) for c in COLUMNS)
                for r in final for b in old):
            continue
        yield "a row of theirs is gone", row, ""
    if with_base:
        there = {row.key for row in theirs.lines()}
        for who, row in mine.rows.items():
            if who in base.rows and row.key not in there and not plainly_shared(base, mine, theirs, row) and (row.place, "") not in {
                    (f.place, f.column) for f in merged.findings}:
                yield "deleted in theirs, not told", who, ""
        yield from missed_conflicts(base, mine, theirs, merged)


def plainly_shared(base, mine, theirs, row):
    """Whether the row's key stands in several rows of a copy, so that the true identity cannot be seen from outside."""
    return not row.key or any(sum(r.key == row.key for r in copy.lines()) > 1 for copy in (base, mine, theirs))


def missed_conflicts(base, mine, theirs, merged):
    listed = {(f.place, f.column) for f in merged.findings if f.kind == CONFLICT}
    for who in set(base.rows) & set(mine.rows) & set(theirs.rows):
        rows = [copy.rows[who] for copy in (base, mine, theirs)]
        if any(plainly_shared(base, mine, theirs, row) for row in rows):
            continue
        if min(merging.likeness(rows[0], rows[1]), merging.likeness(rows[0], rows[2])) < merging.LIKE:
            continue
        for column in COLUMNS:
            old, have, other = (row.cells.get(column) for row in rows)
            apart = not same(old, have) and not same(old, other) and not same(have, other)
            if apart != ((rows[1].place, column) in listed):
                yield "a conflict was missed or made up", who, column


def test_every_row_under_its_own_key_merges_exactly():
    """Only edits, deletions and new rows under keys of their own: the outcome equals the rule worked out cell by cell."""
    for seed in range(500):
        rng = random.Random(10_000 + seed)
        base = {f"E{i}": random_cells(rng) for i in range(1, rng.randrange(3, 12))}
        sides = []
        for letter in "MT":
            rows = {key: dict(cells) for key, cells in base.items()}
            for key in rng.sample(sorted(rows), rng.randrange(len(rows))):
                rows[key][rng.choice(("amount", "note"))] = rng.choice((9.5, "new", 7.25))
            for key in rng.sample(sorted(rows), rng.randrange(2)):
                del rows[key]
            rows.update({f"{letter}{i}": {**random_cells(rng), "note": f"new {letter}{i}"} for i in range(rng.randrange(3))})
            sides.append(rows)
        mine, theirs = sides
        lines = [[Line(key, 6 + i, cells) for i, (key, cells) in enumerate(rows.items())] for rows in (base, mine, theirs)]
        merged = merge_table("events", *lines)
        outcome = {row.key: row.cells for row in applied("events", lines[1], merged)}
        wanted, conflicts = {}, 0
        for key in [*mine, *(k for k in theirs if k not in mine and k not in base)]:
            m, t, b = mine.get(key), theirs.get(key), base.get(key, {})
            if m is None or t is None:
                wanted[key] = m if m is not None else t
                continue
            wanted[key] = {c: t.get(c) if same(b.get(c), m.get(c)) else m.get(c) for c in {*m, *t}}
            conflicts += sum(not same(b.get(c), m.get(c)) and not same(b.get(c), t.get(c)) and not same(m.get(c), t.get(c)) for c in {*m, *t})
        assert {k: {c: comparable(v) for c, v in cells.items() if comparable(v) is not None} for k, cells in outcome.items()} == {
            k: {c: comparable(v) for c, v in cells.items() if comparable(v) is not None} for k, cells in wanted.items()}, seed
        assert kinds(merged).count(CONFLICT) == conflicts
        assert kinds(merged).count(GONE_THERE) == sum(k in mine and k not in theirs for k in base)
        assert kinds(merged).count(GONE_HERE) == sum(k in theirs and k not in mine for k in base)
        assert ONCE not in kinds(merged)


def test_numbered_names_tell_rows_of_one_name_apart():
    assert merging.numbered([("a", 1.0), ("A ", 1.0), ("b", None)]) == ["a|1", "a|1#2", "b|"]

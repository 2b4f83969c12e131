"""Two copies of one record that went separate ways, put together row by row and cell by cell.

A row is known by its key, else by what stands in it. Nothing of either copy is lost in silence: what both changed, what one of
them deleted, what may be the same thing typed twice is a Finding, and mine stays until the grower chooses.
"""
from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from calc.quantities import digits
from calc.raw import Odd

CONFLICT, DIFFERENCE, GONE_THERE, GONE_HERE, REKEYED, DOUBLE, ONCE, LEFT = (
    "both changed it", "they differ", "gone in theirs", "gone in mine", "given a new key", "possible double", "kept once", "not carried over")
LIKE = 0.5  # rows that agree in at least this share of their cells are the same row, changed
EPOCH = dt.datetime(1899, 12, 30)


@dataclass(frozen=True)
class Line:
    """A row as typed. key: its row key, "" where it has none; place: its sheet row; cells: column -> value, blanks left out."""

    key: str
    place: int
    cells: dict


@dataclass(frozen=True)
class Change:
    """A cell of mine that takes the value of theirs (None: blank)."""

    table: str
    place: int
    column: str
    value: object


@dataclass(frozen=True)
class Addition:
    """A row of theirs that mine does not have. key: the key it keeps, "" where it must get a new one; place: its row in theirs."""

    table: str
    key: str
    place: int
    cells: dict


@dataclass(frozen=True)
class Finding:
    """Something to look at. place: the row in mine, None where it has none; there: the row in theirs; column "": the whole row."""

    kind: str
    table: str
    key: str
    place: int | None
    there: int | None
    column: str = ""
    base: object = None
    mine: object = None
    theirs: object = None


@dataclass
class Merged:
    """What a merge asks for: cells to write into mine, rows to add to it, and what the grower must look at."""

    changes: list[Change] = field(default_factory=list)
    additions: list[Addition] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def join(self, other: Merged) -> None:
        self.changes += other.changes
        self.additions += other.additions
        self.findings += other.findings


# ---- values -----------------------------------------------------------------------------------------------------

def comparable(value):
    """A cell's value for comparison: dates and numbers alike as numbers, text without the spaces at its ends, None for a blank.

    >>> comparable(dt.date(2026, 5, 1)) == comparable(dt.datetime(2026, 5, 1)), comparable(" oak "), comparable("  ")
    (True, 'oak', None)
    """
    if isinstance(value, Odd):
        return comparable(value.value) if value.kind in ("text", "number", "date", "bool") else (value.kind, value.value)
    if isinstance(value, bool):
        return ("bool", value)
    if isinstance(value, dt.datetime):
        return round((value - EPOCH).total_seconds() / 86400, 6)
    if isinstance(value, dt.date):
        return float((dt.datetime.combine(value, dt.time()) - EPOCH).days)
    if isinstance(value, (int, float)):
        return None if value != value else float(f"{value:.12g}")
    text = str(value).strip() if value is not None else ""
    return text or None


def same(one, other) -> bool:
    """Whether two cells hold the same."""
    return comparable(one) == comparable(other)


def content(line: Line) -> tuple:
    """Everything in a row, for comparison."""
    return tuple(sorted((k, c) for k, v in line.cells.items() if (c := comparable(v)) is not None)) if line.cells else ()


def likeness(one: Line, other: Line) -> float:
    """Share of the filled cells of two rows that hold the same in both."""
    columns = set(one.cells) | set(other.cells)
    return sum(same(one.cells.get(c), other.cells.get(c)) for c in columns) / len(columns) if columns else 1.0


def _content(line: Line) -> tuple:
    return tuple((k, repr(v)) for k, v in content(line))


# ---- which row is which ------------------------------------------------------------------------------------------

def paired(base: list[Line], side: list[Line]) -> tuple[dict[int, int], list[int]]:
    """(position in base -> position in side, positions of side that base does not have).

    Same key and same content first; then a row that stands under another key now, where the row under its own key is quite
    another one (cells were moved without their keys); then the same key; then the same content without a key that speaks against it.
    """
    pairs: dict[int, int] = {}
    free = set(range(len(side)))
    own = _owners(base, base), _owners(side, base)

    def take(i: int, j: int) -> None:
        pairs[i] = j
        free.discard(j)

    for key, i in own[0].items():
        j = own[1].get(key)
        if j is not None and (base[i].cells == side[j].cells or _content(base[i]) == _content(side[j])):
            take(i, j)
    open_keys = {key for key, i in own[0].items() if i not in pairs and key in own[1]}
    moved = {own[0][key] for key in open_keys if likeness(base[own[0][key]], side[own[1][key]]) < LIKE}
    _by_content(base, side, sorted(moved), free, pairs, take)
    for key in own[0]:
        if key in open_keys and own[0][key] not in pairs and own[1][key] in free:
            take(own[0][key], own[1][key])
    rest = [i for i in range(len(base)) if i not in pairs]
    _by_content(base, side, rest, {j for j in free if not side[j].key or side[j].key not in own[0]}, pairs, take)
    return pairs, sorted(free)


def _owners(lines: list[Line], base: list[Line]) -> dict[str, int]:
    """Key -> the position of its row; of rows under one key the one most like the base's, then the first."""
    groups: dict[str, list[int]] = defaultdict(list)
    for i, line in enumerate(lines):
        if line.key:
            groups[line.key].append(i)
    wanted: dict[str, Line] = {}
    if any(len(group) > 1 for group in groups.values()):
        for line in base:
            wanted.setdefault(line.key, line)
    return {key: group[0] if len(group) == 1 else max(group, key=lambda i: (likeness(lines[i], wanted[key]) if key in wanted else 0.0, -i))
            for key, group in groups.items()}


def _by_content(base: list[Line], side: list[Line], wanted: list[int], free: set[int], pairs: dict, take) -> None:
    """Pair rows of base with free rows of the side that hold the very same."""
    if not wanted:
        return
    there: dict[tuple, list[int]] = defaultdict(list)
    for j in sorted(free, reverse=True):
        there[_content(side[j])].append(j)
    for i in wanted:
        same_rows = there.get(_content(base[i])) if i not in pairs and base[i].cells else None
        if same_rows:
            take(i, same_rows.pop())


# ---- one table ---------------------------------------------------------------------------------------------------

def merge_table(table: str, base: list[Line] | None, mine: list[Line], theirs: list[Line], twice: tuple[str, ...] = (),
                named: bool = False, needed: tuple[str, ...] = ()) -> Merged:
    """Put theirs into mine. base: what both started from; None where it is not at hand, then only additions are taken.

    twice: the columns that make two rows under different keys the same thing typed twice. named: keys are names (a wood, a
    market): two new rows under one name are one row. needed: the columns without which a row says nothing; a row that lost them
    all counts as deleted, whatever is left in it.
    """
    merged = _against_base(table, base, mine, theirs, named, needed) if base is not None else _without_base(table, mine, theirs, named)
    merged.findings += _doubles(table, mine, merged.additions, twice)
    return merged


def _against_base(table: str, base: list[Line], mine: list[Line], theirs: list[Line], named: bool, needed: tuple[str, ...]) -> Merged:
    merged = Merged()
    here, new_here = paired(base, mine)
    there, new_there = paired(base, theirs)
    for i, old in enumerate(base):
        m = mine[here[i]] if i in here else None
        t = theirs[there[i]] if i in there else None
        if m is not None and t is not None and old.cells == t.cells and not _cleared(old, m, needed):
            continue  # theirs changed nothing
        cleared = [_cleared(old, line, needed) for line in (m, t)]
        if all(cleared):
            continue
        if not any(cleared):
            _cells(table, old, m, t, merged)
        elif cleared[1]:
            merged.findings.append(Finding(GONE_THERE, table, m.key, m.place, t.place if t else None, "", old.cells, m.cells, t.cells if t else None))
        else:
            merged.findings.append(Finding(GONE_HERE, table, t.key, m.place if m else None, t.place, "", old.cells, m.cells if m else None, t.cells))
    if named:
        new_there = _one_name(table, mine, new_here, theirs, new_there, merged)
    _new_rows(table, mine, new_here, theirs, new_there, merged)
    return merged


def _cleared(old: Line, line: Line | None, needed: tuple[str, ...]) -> bool:
    """Whether a row is gone, or has lost every cell without which it says nothing."""
    if line is None:
        return True
    return any(c in old.cells for c in needed) and all(comparable(line.cells.get(c)) is None for c in needed)


def _one_name(table: str, mine, new_here, theirs, new_there, merged: Merged) -> list[int]:
    """Put together new rows that both called by one name; returns the rows of theirs that are left."""
    names = {mine[i].key: mine[i] for i in new_here if mine[i].key}
    for j in new_there:
        if theirs[j].key in names:
            _cells(table, Line("", 0, {}), names[theirs[j].key], theirs[j], merged)
    return [j for j in new_there if theirs[j].key not in names]


def _cells(table: str, old: Line, m: Line, t: Line, merged: Merged) -> None:
    for column in dict.fromkeys((*m.cells, *t.cells, *old.cells)):
        was, have, other = (line.cells.get(column) for line in (old, m, t))
        if same(have, other) or same(was, other):
            continue
        if not same(was, have):
            merged.findings.append(Finding(CONFLICT, table, m.key, m.place, t.place, column, was, have, other))
        else:
            _change(table, m, t, column, was, other, merged)


def _change(table: str, m: Line, t: Line, column: str, was, other, merged: Merged) -> None:
    if isinstance(other, Odd) and other.kind in ("error", "formula"):
        merged.findings.append(Finding(LEFT, table, m.key, m.place, t.place, column, was, m.cells.get(column), other))
    else:
        merged.changes.append(Change(table, m.place, column, plain(other)))


def plain(value):
    """A value as it can be typed; an error or a formula without a value is none."""
    if isinstance(value, Odd):
        return value.value if value.kind in ("text", "number", "date", "bool") else None
    return value


def _new_rows(table: str, mine: list[Line], new_here: list[int], theirs: list[Line], new_there: list[int], merged: Merged) -> None:
    """Rows that base has not. Mine stand; theirs are added, but for those that are the same row without a key or under the same key."""
    alike: dict[tuple, list[int]] = defaultdict(list)
    for i in reversed(new_here):
        alike[_content(mine[i])].append(i)
    for j in new_there:
        t = theirs[j]
        group = alike[_content(t)]
        found = next((i for i in reversed(group) if mine[i].key == t.key), None)
        if found is None:
            found = next((i for i in reversed(group) if not t.key or not mine[i].key), None)
        if found is None:
            merged.additions.append(Addition(table, t.key, t.place, _typed(table, t, merged)))
            continue
        group.remove(found)
        if not (t.key and mine[found].key):
            merged.findings.append(Finding(ONCE, table, mine[found].key or t.key, mine[found].place, t.place, "", None, mine[found].cells, t.cells))
    _rekey(table, mine, merged)


def _typed(table: str, t: Line, merged: Merged) -> dict:
    """The cells of a new row that can be typed; the others are told."""
    lost = {c: v for c, v in t.cells.items() if isinstance(v, Odd) and v.kind in ("error", "formula")}
    merged.findings += [Finding(LEFT, table, t.key, None, t.place, c, None, None, v) for c, v in lost.items()]
    return {c: plain(v) for c, v in t.cells.items() if c not in lost}


def _rekey(table: str, mine: list[Line], merged: Merged) -> None:
    """Two rows under one key: the one of theirs gets a new key."""
    used = {line.key: line for line in mine if line.key}
    seen: set[str] = set()
    for at, row in enumerate(merged.additions):
        if not row.key:
            continue
        if row.key in used or row.key in seen:
            merged.additions[at] = Addition(row.table, "", row.place, row.cells)
            m = used.get(row.key)
            merged.findings.append(Finding(REKEYED, table, row.key, m.place if m else None, row.place, "", None, m.cells if m else None, row.cells))
        seen.add(row.key)


def _without_base(table: str, mine: list[Line], theirs: list[Line], named: bool) -> Merged:
    """Only additions: new rows, and cells that are blank in mine. What differs is told."""
    merged = Merged()
    pairs, new_there = paired(mine, theirs)
    apart = {j for i, j in pairs.items() if not named and len(theirs[j].cells) > 1 and likeness(mine[i], theirs[j]) < LIKE}
    for i, j in pairs.items():
        m, t = mine[i], theirs[j]
        if j in apart:
            continue
        for column, other in t.cells.items():
            have = m.cells.get(column)
            if comparable(have) is None and comparable(other) is not None:
                _change(table, m, t, column, None, other, merged)
            elif not same(have, other):
                merged.findings.append(Finding(DIFFERENCE, table, m.key, m.place, t.place, column, None, have, other))
    new_there = sorted({*new_there, *apart})
    matched = {i for i, j in pairs.items() if j not in apart}
    _new_rows(table, mine, [i for i in range(len(mine)) if i not in matched], theirs, new_there, merged)
    return merged


def _doubles(table: str, mine: list[Line], additions: list[Addition], twice: tuple[str, ...]) -> list[Finding]:
    """New rows of theirs that say the same as a row of mine under another key."""
    if not twice:
        return []

    def mark(cells: dict) -> tuple | None:
        values = [comparable(cells.get(c)) for c in twice]
        return None if sum(v is not None for v in values) < min(2, len(values)) else tuple(
            v.casefold() if isinstance(v, str) else v for v in values)

    known: dict[tuple, Line] = {}
    for line in mine:
        known.setdefault(mark(line.cells), line)
    known.pop(None, None)
    return [Finding(DOUBLE, table, known[m].key, known[m].place, row.place, "", None, known[m].cells, row.cells)
            for row in additions if (m := mark(row.cells)) in known]


# ---- what comes of it --------------------------------------------------------------------------------------------

def applied(table: str, mine: list[Line], merged: Merged) -> list[Line]:
    """The rows of a table after the merge, added ones at the end without a place."""
    changes = defaultdict(dict)
    for change in merged.changes:
        if change.table == table:
            changes[change.place][change.column] = change.value
    rows = [Line(m.key, m.place, {c: v for c, v in {**m.cells, **changes.get(m.place, {})}.items() if comparable(v) is not None}) for m in mine]
    return rows + [Line(a.key, 0, a.cells) for a in merged.additions if a.table == table]


def numbered(names: list[tuple]) -> list[str]:
    """A key for rows that are known by their name: the words of the name, and a number where it stands there again.

    >>> numbered([("plug", 100.0), ("Plug", 100.0), (None, None), (1234567.0,), (1234568.0,)])
    ['plug|100', 'plug|100#2', '', '1234567', '1234568']
    """
    seen: Counter = Counter()
    keys = []
    for name in names:
        parts = [comparable(part) for part in name]
        if all(part is None for part in parts):
            keys.append("")
            continue
        key = "|".join("" if p is None else p.casefold() if isinstance(p, str) else digits(p) if isinstance(p, float) else str(p) for p in parts)
        seen[key] += 1
        keys.append(key if seen[key] == 1 else f"{key}#{seen[key]}")
    return keys

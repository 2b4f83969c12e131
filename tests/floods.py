"""Reads damaged workbooks and says what went wrong with a row: lost, left out without a word, or changed by a neighbour's fault.

For tests/test_floods.py and scripts/flood.py. The sound book below is invented; it draws no problem at all.
"""
from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from intake_book import AS_OF, FIRST, raw_table
from mutator import COSTS, EVENTS, LOGS, PROMISES, SALES, Damaged, damage

from calc import farm, intake, units
from calc.problems import REFUSED
from calc.selection import loose
from workbook_template import schema
from workbook_template.refresh import table_infos
from workbook_template.settings_read import to_si
from workbook_template.settings_table import SETTINGS

PROFILE = "us"
MAIN = (LOGS, EVENTS, COSTS, SALES, PROMISES)
SIZES = ("volume_m3", "green_kg", "dry_wood_kg", "holes", "count", "inoculated")
GAVE = ("picked_kg", "flushes", "soaks", "first_pick", "last_pick")


@lru_cache(maxsize=1)
def sound_book() -> dict[str, list[dict]]:
    """Twelve logs, two seasons of diary, a partner and a kitchen: every table has rows, every kind of event stands there."""
    day = dt.datetime
    strain = next(r["strain"] for r in schema.table("strains").shipped(PROFILE))
    logs = [{"log": f"A{i}", "wood": ("white oak", "red maple")[i % 2], "strain": strain, "diameter": 4.0 + i / 4, "length": 40.0,
             "inoculated": day(2024, 3, i), "felled": day(2024, 2, 10), "place": ("North stack", "Creek stack")[i % 2],
             "count": 6.0 if i == 12 else None, "note": "a fine log" if i == 3 else None} for i in range(1, 13)]
    events = []
    for season, month in ((2025, 5), (2025, 9), (2026, 5)):
        for i in range(1, 12):
            events += [{"date": day(season, month, i), "event": "soaked", "log": f"A{i}", "amount": 24.0, "minutes": 10.0},
                       {"date": day(season, month, i + 10), "event": "picked", "log": f"A{i}", "amount": 0.4 + i / 50, "minutes": 5.0,
                        "lot": f"L{season % 100}-{i}"}]
    events += [{"date": day(2026, 6, 1), "event": "picked", "log": "A2-A4", "amount": 1.2},
               {"date": day(2026, 6, 2), "event": "culled", "log": "A3", "amount": 0.1},
               {"date": day(2026, 6, 3), "event": "rain", "amount": 0.8}, {"date": day(2026, 6, 4), "event": "worked", "minutes": 60.0},
               {"date": day(2026, 8, 1), "event": "retired", "log": "A11"}, {"date": day(2026, 6, 20), "event": "note", "event_note": "quiet week"}]
    events.sort(key=lambda row: row["date"])
    costs = [{"date": day(2024, 1, 5 + i), "item": ("plugs", "wax", "drill")[i % 3], "amount": 20.0 + i, "category": ("spawn", "wax", "tool")[i % 3],
              "for_logs": "A1-A5" if i == 4 else None, "life_years": 5.0 if i == 2 else None} for i in range(8)]
    sales = [{"date": day(2026, 6, 2 + i), "market": "Kitchen B", "kind": "delivered", "product": "fresh", "amount": 0.5, "price": 10.0 + i / 4}
             for i in range(6)]
    promises = [{"promise_week": day(2026, 11, 16), "promise_market": "Kitchen B", "promise_product": "fresh", "asked": 2.0, "promised": 1.0}]
    book = {table.key: [{k: float(v) if type(v) is int else v for k, v in row.items()} for row in table.shipped(PROFILE)] if table.shipped else []
            for table in schema.LIST_TABLES}
    book["places"] = [{"place": "North stack"}, {"place": "Creek stack"}]
    book["markets"] = [{"market": "Kitchen B", "terms": "bought outright"}]
    return {LOGS: logs, EVENTS: events, COSTS: costs, SALES: sales, PROMISES: promises, **book}


@lru_cache(maxsize=1)
def _infos():
    return table_infos(PROFILE)


@lru_cache(maxsize=1)
def _settings() -> dict:
    settings = to_si({s.key: s.start(PROFILE) for s in SETTINGS}, PROFILE)
    return {**settings, "weight_unit_kg": units.factor("weight", PROFILE)}


def seen(cell):
    """A cell as a reader hands it over: a text of spaces only is nothing."""
    return None if isinstance(cell, str) and not cell.strip() else cell


def read(bad: Damaged):
    """The checks of a damaged book."""
    raw = {}
    for info in _infos():
        rows = [{k: seen(v) for k, v in row.items()} for row in bad.book.get(info.key, [])]
        raw[info.key] = raw_table(info, rows)
        raw[info.key].merged = [f"{column}{FIRST + a}:{column}{FIRST + b}" for a, b, column in bad.merged.get(info.key, [])]
    return intake.check(raw, _infos(), {"date_order": "month first", "currency": "USD"}, PROFILE, AS_OF)


def work_out(found):
    links = {"event_links": found.event_links, "cost_links": found.cost_links}
    return farm.roll_up(dict(found.frames), links, _settings(), AS_OF, found.counts)


@dataclass
class Sound:
    """The sound book as read: what an undamaged row must still be."""

    intake: object
    results: object


@lru_cache(maxsize=1)
def sound() -> Sound:
    found = read(Damaged(sound_book()))
    return Sound(found, work_out(found))


# ---- what may be wrong -------------------------------------------------------------------------------------------------------

def faults(bad: Damaged, found, results=None) -> list[str]:
    """What is wrong with the reading of a damaged book, in words; empty where all is well."""
    wrong = []
    for table in MAIN:
        wrong += _unaccounted(table, bad, found)
        if not bad.lists:
            wrong += _changed(table, bad, found)
    if results is not None and not bad.lists:
        wrong += _results_changed(bad, found, results)
    return wrong


def named_rows(problems, sheet: str) -> tuple[set[int], bool]:
    """Sheet rows that problems of that sheet name; True if a message says that there are more."""
    rows, more = set(), False
    for problem in problems:
        if problem.sheet != sheet:
            continue
        if problem.row is not None:
            rows.add(problem.row)
        more |= problem.code == "more"
        text = " ".join(filter(None, (problem.found, problem.needed, problem.do)))
        for said in re.findall(r"rows? ([0-9][^():;]*)", text):
            more |= "more" in said
            for first, last in re.findall(r"(\d+)(?: to (\d+))?", said):
                rows |= set(range(int(first), int(last or first) + 1))
    return rows, more


def _unaccounted(table: str, bad: Damaged, found) -> list[str]:
    """Rows that hold something and are neither used nor named in a problem."""
    sheet = schema.table(table).sheet
    columns = {c.key for c in schema.table(table).columns if c.typed}
    used = set((found.frames[table]["row"] if table in found.frames else pd.Series(dtype=int)).tolist())
    named, more = named_rows(found.problems, sheet)
    refused, _ = named_rows([p for p in found.problems if p.level == REFUSED], sheet)
    wrong = []
    for i, row in enumerate(bad.book[table]):
        held = {k for k, v in row.items() if k in columns and seen(v) is not None}
        bare_note = held and all(k.endswith("note") for k in held)
        if held and not bare_note and FIRST + i not in used | named and not more:
            wrong.append(f"{sheet} row {FIRST + i} is neither used nor named: {row}")
        if FIRST + i in used and not held:
            wrong.append(f"{sheet} row {FIRST + i} is blank and was used")
    typed, kept = found.counts[table]
    if kept != len(used):
        wrong.append(f"{sheet}: {kept} rows are said to be used, {len(used)} are")
    if typed - kept and not more and len(refused) < typed - kept:
        wrong.append(f"{sheet}: {typed - kept} rows left out, {len(refused)} named as such")
    return wrong


def _changed(table: str, bad: Damaged, found) -> list[str]:
    """Undamaged rows that are read otherwise than in the sound book."""
    (old_at, before), (new_at, now) = _sound_cells(table), _cells(table, found.frames[table])
    doubled = _doubled_names(bad) if table == LOGS else set()
    pairs = [(FIRST + new, FIRST + old) for new, old in enumerate(bad.origin[table]) if old is not None and new not in bad.touched.get(table, ())]
    if table == LOGS:
        pairs = [(new, old) for new, old in pairs if loose(str(bad.book[LOGS][new - FIRST]["log"])) not in doubled]
    wrong = [f"{table} row {new} is sound and was left out" for new, _ in pairs if new not in new_at]
    pairs = [(new, old) for new, old in pairs if new in new_at]
    was, is_now = [old_at[old] for _, old in pairs], [new_at[new] for new, _ in pairs]
    for column in before:
        a, b = before[column][was], now[column][is_now]
        wrong += [f"{table} row {pairs[i][0]}, {column}: {a[i]!r} became {b[i]!r}" for i in np.flatnonzero(~_same(a, b))]
    return wrong


def _cells(table: str, frame: pd.DataFrame) -> tuple[dict[int, int], dict[str, np.ndarray]]:
    """Sheet row -> place, column -> values: far quicker to look into than a frame."""
    return ({row: i for i, row in enumerate(frame["row"].tolist())},
            {c: frame[c].to_numpy(dtype=object) for c in intake.FRAMES[table] if c not in ("key", "row")})


@lru_cache(maxsize=None)
def _sound_cells(table: str):
    return _cells(table, sound().intake.frames[table])


def _same(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return (pd.isna(a) & pd.isna(b)) | np.array([x is y or bool(x == y) for x, y in zip(a, b, strict=True)], dtype=bool)


def _doubled_names(bad: Damaged) -> set[str]:
    """Plain names of damaged rows of Logs: a sound row of the same name is rightly doubted."""
    return {loose(str(bad.book[LOGS][i].get("log"))) for i in bad.touched.get(LOGS, ())}


def _linked(found, rows: set[int]) -> set[str]:
    """Names of the logs that these events (sheet rows) name."""
    events, logs = found.frames[EVENTS]["row"].to_numpy(), found.frames[LOGS]["log"].to_numpy()
    links = found.event_links
    mine = np.isin(events[links["event"].to_numpy(dtype=int)], list(rows)) if len(links) else np.zeros(0, dtype=bool)
    return {str(logs[i]) for i in links["log"].to_numpy(dtype=int)[mine]}


def _events_of(found, names: set[str]) -> set[int]:
    """Sheet rows of the events that name any of these logs."""
    events, logs = found.frames[EVENTS]["row"].to_numpy(), found.frames[LOGS]["log"].to_numpy()
    links = found.event_links
    mine = np.isin(logs[links["log"].to_numpy(dtype=int)].astype(str), list(names)) if len(links) else np.zeros(0, dtype=bool)
    return set(events[links["event"].to_numpy(dtype=int)[mine]].tolist())


def _results_changed(bad: Damaged, found, results) -> list[str]:
    """Logs that no damage can reach, whose sizes or yields are not what they were.

    Reached are damaged rows of Logs and their namesakes, the logs that damaged events name or named, and all that share an event
    with one of these; culled weight without a name and exits move what others get, so a yard with such damage is left to the sizes.
    """
    was = sound()
    old_rows = {FIRST + o for n, o in enumerate(bad.origin[EVENTS]) if o is not None and n in bad.touched.get(EVENTS, ())}
    old_rows |= {FIRST + o for o in set(range(len(sound_book()[EVENTS]))) - {o for o in bad.origin[EVENTS] if o is not None}}
    new_rows = {FIRST + n for n in bad.touched.get(EVENTS, ())}
    reached = {str(bad.book[LOGS][i].get("log")) for i in bad.touched.get(LOGS, ())}
    reached |= {str(sound_book()[LOGS][bad.origin[LOGS][i]]["log"]) for i in bad.touched.get(LOGS, ()) if bad.origin[LOGS][i] is not None}
    reached |= _linked(was.intake, old_rows) | _linked(found, new_rows)
    plain = {loose(name) for name in reached}
    shared = _linked(was.intake, _events_of(was.intake, reached)) | _linked(found, _events_of(found, reached))
    before, now = was.results.each_log.set_index("log"), results.each_log.drop_duplicates("log").set_index("log")
    sound_names = [name for name in before.index if loose(name) not in plain and name in now.index and name not in shared]
    wrong = []
    for column in SIZES + GAVE:
        a, b = before.loc[sound_names, column], now.loc[sound_names, column]
        if a.dtype.kind == "f":
            same = np.isclose(a.to_numpy(dtype=float), b.to_numpy(dtype=float), rtol=1e-9, atol=1e-12, equal_nan=True)
        else:
            same = _same(a.to_numpy(dtype=object), b.to_numpy(dtype=object))
        wrong += [f"{sound_names[i]}, {column}: {a.iat[i]} became {b.iat[i]}" for i in np.flatnonzero(~same)]
    return wrong


def one(seed: int, whole: bool = False) -> list[str]:
    """What is wrong with the damaged book of a seed; whole: worked out to the end."""
    bad = damage(sound_book(), seed)
    try:
        found = read(bad)
        results = work_out(found) if whole else None
        return [f"seed {seed} ({', '.join(bad.done)}): {words}" for words in faults(bad, found, results)]
    except Exception as error:  # a traceback is the fault looked for
        import traceback
        return [f"seed {seed} ({', '.join(bad.done)}): " + "".join(traceback.format_exception(error))[-1500:]]



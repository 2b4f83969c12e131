"""Yield: what each log, group, month and season gave.

Everything rests on `Parts`: the weight of every picked and culled line, shared out to the logs that carry
it. What no known log carries has log NOBODY and is kept in every total.
"""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from calc import results
from calc.codes import Grouping, coded, distinct, grouping
from calc.yard import NO_DAY, TINY, Diary, Yard, dates, event_shares, years_of

NOBODY = -1
UNKNOWN = "names a log that is not on Logs"
CULL_LOOKS_BACK_DAYS = 7  # a cull that names no log is spread over the picks of these days; starting guess
FLUSH_GAP_DAYS = 14  # picks further apart than this belong to different bouts; starting guess
FEWEST_FOR_RANGE = 5  # logs picked by themselves that a range needs; starting guess
MONTH_DAYS = 30.4375  # a year of 365.25 days / 12


@dataclass
class Parts:
    """An entry for each line and log it is shared to: line, log (or NOBODY), day, kg picked, kg culled."""

    line: np.ndarray
    log: np.ndarray
    day: np.ndarray
    picked: np.ndarray
    culled: np.ndarray
    lost: list  # (what, kg, lines, why) that no known log carries
    looked: np.ndarray | None = None  # days whose lines show that a year was followed: picked, culled, soaked or pins seen

    def by_log(self, what: np.ndarray, logs: int) -> np.ndarray:
        """Sum over the parts of each log row."""
        return np.bincount(self.log + 1, weights=what, minlength=logs + 1)[1:]

    @cached_property
    def year(self) -> np.ndarray:
        """Calendar year of each part; asked only of finished parts."""
        return years_of(self.day)


def parts(book: Diary, yard: Yard, looks_back_days: int = CULL_LOOKS_BACK_DAYS) -> Parts:
    """Every picked and culled weight shared to logs.

    A line is shared by the logs alive that day among those it names. A culled line without a log is spread
    over all picks of its day and the looks_back_days before it, and carried by their logs in the same
    proportion (on the day of the pick); without such a pick it stays with nobody.
    """
    picked, culled = book.lines("picked"), book.lines("culled")
    weight = np.where(np.isnan(book.amount), 0.0, book.amount)
    named = book.named > 0
    line, log, share = event_shares(book, yard, (picked | culled) & named)
    alone = np.flatnonzero(picked & ~named)
    line, log = np.concatenate((line, alone)), np.concatenate((log, np.full(len(alone), NOBODY)))
    kilos = weight[line] * np.concatenate((share, np.ones(len(alone))))
    is_pick = picked[line]
    picked_kg, culled_kg = np.where(is_pick, kilos, 0.0), np.where(is_pick, 0.0, kilos)
    looked = book.day[book.lines("picked", "culled", "soaked", "pins seen")]
    found = Parts(line, log, book.day[line], picked_kg, culled_kg, [], looked)
    if len(alone):
        found.lost.append(("picked", float(weight[alone].sum()), len(alone), UNKNOWN))
    loose = np.flatnonzero(culled & ~named)
    if len(loose):
        _spread_culls(found, book, weight, loose, looks_back_days)
    return found


def _spread_culls(found: Parts, book: Diary, weight, loose, looks_back_days):
    """Spread culled lines without a log over earlier picks, by running sums."""
    picks = book.lines("picked")
    order = np.argsort(book.day[picks], kind="stable")
    pick_day = book.day[picks][order]
    running = np.concatenate(([0.0], np.cumsum(weight[picks][order])))
    loose = loose[np.argsort(book.day[loose], kind="stable")]
    day, kilos = book.day[loose], weight[loose]
    upto = np.searchsorted(pick_day, day, side="right")
    since = np.searchsorted(pick_day, day - looks_back_days, side="left")
    base = running[upto] - running[since]
    spread = (upto > since) & (base > TINY)
    rate = np.concatenate(([0.0], np.cumsum(np.where(spread, kilos / np.where(spread, base, 1.0), 0.0))))
    from_pick = rate[np.searchsorted(day, found.day + looks_back_days, side="right")]
    found.culled += found.picked * (from_pick - rate[np.searchsorted(day, found.day, side="left")])
    carried = float((found.culled[found.log < 0]).sum())
    if carried > TINY:
        found.lost.append(("culled", carried, 0, "spread over picks: " + UNKNOWN))
    left = ~spread & (kilos > 0)
    if left.any():
        found.lost.append(("culled", float(kilos[left].sum()), int(left.sum()),
                           f"names no log, and nothing was picked in the {looks_back_days} days before"))
        nobody = np.full(int(left.sum()), NOBODY)
        found.line = np.concatenate((found.line, loose[left]))
        found.log = np.concatenate((found.log, nobody))
        found.day = np.concatenate((found.day, day[left]))
        found.picked = np.concatenate((found.picked, np.zeros(len(nobody))))
        found.culled = np.concatenate((found.culled, kilos[left]))


def unallocated(found: Parts) -> pd.DataFrame:
    """Weights that no known log carries, and why."""
    return pd.DataFrame(found.lost, columns=list(results.COLUMNS["unallocated"])) if found.lost \
        else results.empty("unallocated")


def flushes(found: Parts, logs: int, gap_days: int = FLUSH_GAP_DAYS, since: np.ndarray | None = None):
    """(bouts, first day, last day) by log row: a pick more than gap_days after the last starts a bout.

    since: by log row, the day before which a pick says nothing about time (it was asked about).
    """
    bears = (found.log >= 0) & (found.picked > 0)
    if since is not None:
        at = np.flatnonzero(bears)
        bears[at] = found.day[at] >= since[found.log[at]]
    log, day = found.log[bears], found.day[bears]
    least = int(day.min()) if len(day) else 0
    span = int(day.max()) - least + 1 if len(day) else 1
    log, day = np.divmod(np.sort(log * span + (day - least)), span)
    day += least
    new_log = np.concatenate(([True], np.diff(log) > 0))[:len(log)]
    starts = new_log | np.concatenate(([True], np.diff(day) > gap_days))[:len(log)]
    first, last = np.full(logs, NO_DAY), np.full(logs, NO_DAY)
    first[log[new_log]] = day[new_log]
    ends = np.concatenate((new_log[1:], [True]))[:len(log)]
    last[log[ends]] = day[ends]
    return np.bincount(log[starts], minlength=logs), first, last


def named_lines(book: Diary, mask: np.ndarray, logs: int) -> np.ndarray:
    """Lines in `mask` that name each log row."""
    return np.bincount(book.log, weights=mask[book.line], minlength=logs).astype(np.int64)


def each_log_yield(found: Parts, book: Diary, yard: Yard, sizes: pd.DataFrame) -> pd.DataFrame:
    """The yield columns of Each log, in the order of the Logs frame; `sizes` has dry_wood_kg."""
    logs = len(yard)
    picked, culled = found.by_log(found.picked, logs), found.by_log(found.culled, logs)
    inoculated = yard.is_inoculated()
    bouts, first, last = flushes(found, logs, since=np.where(inoculated, yard.inoculated, 0))
    when = dates(np.where(inoculated, yard.inoculated, NO_DAY))
    dry_kg = np.where(inoculated, sizes["dry_wood_kg"].to_numpy() * yard.count, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        return pd.DataFrame({
            "inoculated": when,
            "age_months": np.where(inoculated, (yard.as_of - yard.inoculated) / MONTH_DAYS, np.nan),
            "inoculation_year": pd.DatetimeIndex(when).year.to_numpy(dtype=float),
            "alive": yard.alive(), "retired": yard.gone("retired"), "lost": yard.gone("lost"),
            "sold_as_log": yard.gone("sold as log"),
            "picked_kg": picked, "culled_kg": culled, "marketable_kg": picked - culled,
            "per_log_kg": (picked - culled) / yard.count,
            "flushes": bouts, "per_flush_kg": np.where(bouts > 0, (picked - culled) / (yard.count * bouts), np.nan),
            "first_pick": dates(first), "last_pick": dates(last),
            "soaks": named_lines(book, book.lines("soaked"), logs),
            "efficiency": picked / dry_kg,
            "rows": named_lines(book, book.lines("picked", "culled"), logs),
        })


def groupings(each: pd.DataFrame) -> dict[str, Grouping]:
    """by -> the rows of Each log by group."""
    def given(name):
        code, known = coded(each[name])
        return grouping(code, [text or results.NOT_GIVEN for text in known])

    strain, wood = given("strain"), given("wood")
    found, both = distinct(strain.code * max(len(wood), 1) + wood.code)
    names = [f"{strain.known[pair // len(wood)]} on {wood.known[pair % len(wood)]}" for pair in found.tolist()]
    return {
        "strain": strain, "wood": wood, "strain x wood": grouping(both, names), "inoculation year": by_year(each["inoculation_year"]),
        "yard": Grouping(np.zeros(len(each), dtype=np.int64), np.array(["whole yard"] * min(len(each), 1), dtype=object)),
    }


def at_work(each: pd.DataFrame) -> np.ndarray:
    """Rows of Each log that were inoculated, or picked or soaked, which only an inoculated log is."""
    return (each["inoculated"].notna() | (each["picked_kg"] > 0) | (each["soaks"] > 0)).to_numpy()


def by_year(year: pd.Series) -> Grouping:
    """Rows by inoculation year, as text."""
    known, code = distinct(np.nan_to_num(year.to_numpy(dtype=float)).astype(np.int64))
    return grouping(code, [str(one) if one else results.NOT_YET for one in known.tolist()])


def groups(each: pd.DataFrame, grouped: dict[str, Grouping], found: Parts, book: Diary, views: dict) -> pd.DataFrame:
    """Yield and cost by strain, wood, strain on wood, inoculation year and for the whole yard.

    `each` is the finished Each log table, grouped its groupings, views the cash and labour Charges. Each `by` adds
    up to the whole yard; weights and money of no known log stand under results.NO_LOG, and inside the whole yard.
    """
    nobody, (cash, labour) = found.log < 0, (views["cash"], views["labour"])
    gone, carried = cash.uncharged(), labour.uncharged()
    lost = {"picked_kg": found.picked[nobody].sum(), "culled_kg": found.culled[nobody].sum(), "cash": cash.amount[gone].sum(),
            "labour": labour.amount[carried].sum(), "labour_hours": labour.hours[carried].sum()}
    lines = book.lines("picked", "culled")
    if not any(abs(value) > TINY for value in lost.values()):
        lost = {}
    else:
        lost["rows"] = float((lines & (book.named == 0)).sum())
    rows, behind, spread = _by_row(each), _Behind(lines, book, len(each)), _Spread(each, found)
    tables = [_group(by, group, rows, behind, spread, lost) for by, group in grouped.items()]
    every = {name: np.concatenate([table[name] for table in tables]) for name in tables[0]}
    return pd.DataFrame(_ratios(every))[list(results.COLUMNS["groups"])]


def _by_row(each: pd.DataFrame) -> dict[str, np.ndarray]:
    """What is summed over the rows of a group: columns of the table groups, and behind "_" what its ratios need."""
    def column(name):
        return each[name].to_numpy(dtype=float)

    working, count, picked, marketable = at_work(each), column("count"), column("picked_kg"), column("marketable_kg")
    dry = column("dry_wood_kg") * count
    weighed = working & ~np.isnan(dry)
    return {
        "logs": np.where(working, count, 0.0), "waiting": np.where(working, 0.0, count), "alive": column("alive"),
        "bearing": np.where(picked > 0, count, 0.0), "picked_kg": picked, "culled_kg": column("culled_kg"), "cash": column("cash"),
        "labour_hours": column("labour_hours"), "labour": column("labour"), "_fresh": np.where(weighed, picked, 0.0),
        "_wood": np.where(weighed, dry, 0.0), "_own": np.where(working, marketable, 0.0), "_bouts": count * column("flushes"),
    }


def _group(by, group: Grouping, rows, behind, spread, lost) -> dict[str, np.ndarray]:
    """The columns of one `by`."""
    table = {name: group.total(values) for name, values in rows.items()}
    table["rows"] = behind.lines(group)
    table["low_kg"], table["high_kg"] = spread.ends(group)
    return with_lost(by, group, table, lost, ("low_kg", "high_kg", "_fresh", "_wood", "_own", "_bouts"))


def with_lost(by: str, group: Grouping, table: dict[str, np.ndarray], lost: dict[str, float], unknown=()) -> dict[str, np.ndarray]:
    """The columns of one `by`, with what no known log carries (lost) inside the whole yard, elsewhere in a row of its own.

    unknown: columns that such a row cannot have.
    """
    names = group.known
    if lost and by == "yard" and len(group):
        table = table | {name: table[name] + value for name, value in lost.items()}
    elif lost:
        names = np.append(names, "whole yard" if by == "yard" else results.NO_LOG)
        table = {name: np.append(values, np.nan if name in unknown else lost.get(name, 0.0)) for name, values in table.items()}
    return {"by": np.full(len(names), by), "group": names.astype(object), **table}


def _ratios(table: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    marketable, total = table["picked_kg"] - table["culled_kg"], table["cash"] + table["labour"]
    wood, own, bouts = table.pop("_wood"), table.pop("_own"), table.pop("_bouts")
    logs = np.where(table["logs"] > 0, table["logs"], np.nan)
    weight = np.where((marketable > TINY) & (table["group"] != results.NO_LOG), marketable, np.nan)
    spent, whole = (np.where(np.abs(money) > TINY, money, np.nan) for money in (table["cash"], total))
    with np.errstate(divide="ignore", invalid="ignore"):
        return table | {
            "marketable_kg": marketable, "per_log_kg": own / logs, "efficiency": np.where(wood > 0, table.pop("_fresh") / wood, np.nan),
            "per_flush_kg": np.where(bouts > 0, own / bouts, np.nan), "total": total,
            "cash_per_kg": spent / weight, "cash_labour_per_kg": whole / weight}


class _Behind:
    """Lines behind each group: those that name one log are counted by row, only the others line by line."""

    def __init__(self, mask: np.ndarray, book: Diary, logs: int):
        named = mask[book.line]
        one = book.named[book.line] == 1
        self.alone = np.bincount(book.log, weights=named & one, minlength=logs)
        more = np.flatnonzero(named & ~one)
        self.line, self.log = book.line[more], book.log[more]

    def lines(self, group: Grouping) -> np.ndarray:
        """Distinct lines behind each group."""
        both = pd.unique(self.line * max(len(group), 1) + group.code[self.log])
        return group.total(self.alone) + np.bincount(both % max(len(group), 1), minlength=len(group))


class _Spread:
    """10th and 90th percentile of marketable weight a log, over rows of one log never picked with others.

    Inoculated logs that never bore count as 0. NaN for groups with fewer than FEWEST_FOR_RANGE such logs
    that bore.
    """

    def __init__(self, each: pd.DataFrame, found: Parts):
        bears = (found.log >= 0) & (found.picked > 0)
        line, log = found.line[bears], found.log[bears]
        shared = np.zeros(len(each), dtype=bool)
        if len(line):
            shared[log[np.bincount(line)[line] > 1]] = True
        single = (each["count"].to_numpy() == 1) & at_work(each) & ~shared
        self.bore = single & (each["picked_kg"].to_numpy() > 0)
        rows, kilos = np.flatnonzero(single), each["marketable_kg"].to_numpy(dtype=float)
        self.rows = rows[np.argsort(kilos[rows], kind="stable")]  # from the lightest on
        self.kilos = kilos[self.rows]

    def ends(self, group: Grouping) -> np.ndarray:
        """Low and high end, a row each, by group; between two logs by a straight line."""
        size = len(group)
        ends = np.full((2, size), np.nan)
        code = group.code[self.rows]
        many = np.bincount(code, minlength=size)
        enough = np.flatnonzero(np.bincount(group.code[self.bore], minlength=size) >= FEWEST_FOR_RANGE)
        if len(enough):
            kilos = self.kilos[np.argsort(code.astype(np.int16) if size < 2 ** 15 else code, kind="stable")]
            begins = (np.cumsum(many) - many)[enough]
            for end, share in enumerate((0.1, 0.9)):
                place = share * (many[enough] - 1)
                at = begins + place.astype(np.int64)
                after = np.minimum(at + 1, len(kilos) - 1)
                ends[end, enough] = kilos[at] + (kilos[after] - kilos[at]) * (place % 1.0)
        return ends

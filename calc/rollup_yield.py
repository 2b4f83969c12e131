"""Yield: what each log, group, month and season gave.

Everything rests on `Parts`: the weight of every picked and culled line, shared out to the logs that carry
it. What no known log carries has log NOBODY and is kept in every total.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results
from calc.yard import NO_DAY, TINY, Diary, Yard, dates, event_shares

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
        known = self.log >= 0
        return np.bincount(self.log[known], weights=what[known], minlength=logs)


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
        bears &= found.day >= since[found.log]
    log, day = found.log[bears], found.day[bears]
    order = np.lexsort((day, log))
    log, day = log[order], day[order]
    new_log = np.concatenate(([True], np.diff(log) > 0))[:len(log)]
    starts = new_log | np.concatenate(([True], np.diff(day) > gap_days))[:len(log)]
    first, last = np.full(logs, NO_DAY), np.full(logs, NO_DAY)
    first[log[new_log]] = day[new_log]
    ends = np.concatenate((new_log[1:], [True]))[:len(log)]
    last[log[ends]] = day[ends]
    return np.bincount(log[starts], minlength=logs), first, last


def named_lines(book: Diary, mask: np.ndarray, logs: int) -> np.ndarray:
    """Lines in `mask` that name each log row."""
    return np.bincount(book.log[mask[book.line]], minlength=logs)


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


def groupings(each: pd.DataFrame) -> dict:
    """by -> name of the group of each row of Each log."""
    def given(name):
        return each[name].where(each[name] != "", results.NOT_GIVEN).astype(object)

    year = each["inoculation_year"]
    strain, wood = given("strain"), given("wood")
    return {
        "strain": strain, "wood": wood, "strain x wood": strain + " on " + wood,
        "inoculation year": year_names(year),
        "yard": pd.Series(np.full(len(each), "whole yard", dtype=object)),
    }


def at_work(each: pd.DataFrame) -> np.ndarray:
    """Rows of Each log that were inoculated, or picked or soaked, which only an inoculated log is."""
    return (each["inoculated"].notna() | (each["picked_kg"] > 0) | (each["soaks"] > 0)).to_numpy()


def year_names(year: pd.Series) -> pd.Series:
    """Inoculation years as text."""
    code, known = pd.factorize(year.fillna(0).astype(int))  # few years, many logs
    names = pd.Series(np.array([str(one) for one in known], dtype=object)[code], year.index, dtype=object, name=year.name)
    return names.where(year.notna(), results.NOT_YET)


def groups(each: pd.DataFrame, found: Parts, book: Diary, views: dict) -> pd.DataFrame:
    """Yield and cost by strain, wood, strain on wood, inoculation year and for the whole yard.

    `each` is the finished Each log table, views the cash and labour Charges. Each `by` adds up to the whole
    yard; weights and money of no known log stand under results.NO_LOG, and inside the whole yard.
    """
    nobody, (cash, labour) = found.log < 0, (views["cash"], views["labour"])
    lost = {"picked_kg": found.picked[nobody].sum(), "culled_kg": found.culled[nobody].sum(),
            "cash": cash.amount[cash.uncharged()].sum(), "labour": labour.amount[labour.uncharged()].sum(),
            "labour_hours": labour.hours[labour.uncharged()].sum()}
    tables = [_group(by, names, each, found, book, lost) for by, names in groupings(each).items()]
    return pd.concat(tables, ignore_index=True)[list(results.COLUMNS["groups"])]


def _group(by, names, each, found, book, lost):
    code, known = pd.factorize(names, sort=True)
    size = len(known)

    def total(values, where=slice(None)):
        return np.bincount(code[where], weights=np.asarray(values, dtype=float)[where], minlength=size)

    working = at_work(each)
    picked, dry = each["picked_kg"].to_numpy(), each["dry_wood_kg"].to_numpy() * each["count"].to_numpy()
    weighed = working & ~np.isnan(dry)
    table = pd.DataFrame({
        "by": by, "group": np.asarray(known, dtype=object),
        "logs": total(each["count"], working), "waiting": total(each["count"], ~working),
        "alive": total(each["alive"]), "bearing": total(each["count"], picked > 0),
        "picked_kg": total(picked), "culled_kg": total(each["culled_kg"]),
        "cash": total(each["cash"]), "labour_hours": total(each["labour_hours"]),
        "labour": total(each["labour"]), "rows": _lines(code, size, book),
    })
    low, high = _ranges(code, size, each, found, working)
    fresh, wood, own = total(picked, weighed), total(dry, weighed), total(each["marketable_kg"], working)
    bouts = total(each["count"] * each["flushes"])
    if any(abs(value) > TINY for value in lost.values()):
        table = _with_lost(table, by, book, lost)
    more = len(table) - size
    edges = [np.append(ends, np.full(more, np.nan)) for ends in (low, high, fresh, wood, own, bouts)]
    return _ratios(table, *edges)


def _with_lost(table, by, book, lost):
    """What no known log carries: its own row, or inside the whole yard."""
    lines = int((book.lines("picked", "culled") & (book.named == 0)).sum())
    if by == "yard" and len(table):
        table.loc[0, list(lost)] += list(lost.values())
        table.loc[0, "rows"] += lines
        return table
    row = {**{c: 0.0 for c in table}, "by": by, "group": "whole yard" if by == "yard" else results.NO_LOG,
           "rows": lines, **lost}
    return pd.concat((table, pd.DataFrame([row])), ignore_index=True)


def _ratios(table, low, high, fresh, wood, own, bouts):
    marketable = table["picked_kg"] - table["culled_kg"]
    total = table["cash"] + table["labour"]
    logs = table["logs"].where(table["logs"] > 0)
    weight = marketable.where((marketable > TINY) & (table["group"] != results.NO_LOG))
    spent, whole = table["cash"].where(table["cash"].abs() > TINY), total.where(total.abs() > TINY)
    with np.errstate(divide="ignore", invalid="ignore"):
        return table.assign(
            marketable_kg=marketable, per_log_kg=own / logs, low_kg=low, high_kg=high,
            efficiency=np.where(wood > 0, fresh / wood, np.nan),
            per_flush_kg=np.where(bouts > 0, own / bouts, np.nan), total=total,
            cash_per_kg=spent / weight, cash_labour_per_kg=whole / weight)


def _lines(code, size, book):
    """Distinct picked and culled lines behind each group."""
    pair = book.lines("picked", "culled")[book.line]
    both = pd.unique(book.line[pair] * size + code[book.log[pair]])
    return np.bincount(both % size, minlength=size).astype(float)


def _ranges(code, size, each, found, inoculated):
    """10th and 90th percentile of marketable weight a log, over rows of one log never picked with others.

    Inoculated logs that never bore count as 0. NaN for groups with fewer than FEWEST_FOR_RANGE such logs
    that bore.
    """
    bears = (found.log >= 0) & (found.picked > 0)
    lines = np.bincount(found.line[bears]) if bears.any() else np.zeros(1)
    shared = np.zeros(len(each), dtype=bool)
    shared[found.log[bears][lines[found.line[bears]] > 1]] = True
    single = (each["count"].to_numpy() == 1) & inoculated & ~shared
    own = np.bincount(code[single & (each["picked_kg"].to_numpy() > 0)], minlength=size)
    low, high = np.full(size, np.nan), np.full(size, np.nan)
    enough = single & (own[code] >= FEWEST_FOR_RANGE)
    if enough.any():
        spread = each["marketable_kg"][enough].groupby(code[enough]).quantile([0.1, 0.9]).unstack()
        low[spread.index], high[spread.index] = spread[0.1], spread[0.9]
    return low, high

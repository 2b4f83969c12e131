"""What the coming weeks bring: expected weight with a range, what can be promised, what of it is still free.

Expected = soaked logs whose flush falls into the week x weight of a soaked log (calc.soak_yield), and natural
fruiting of logs that are not soaked. A soak's flush comes 6 to 14 days later, most likely on the tenth (figure
flush_days). The range holds the scatter from log to log, the swing of a week, which hits every log at once, and
what is not known of the yard.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import expected, results, soak_yield, tables
from calc.bearing import first_day as first_of_year
from calc.bearing import years_of
from calc.codes import distinct
from calc.promises import promised_by_week
from calc.rollup_yield import Parts
from calc.rota_plan import Plan
from calc.season_state import first_day, suits, to_date, week_of
from calc.yard import NO_DAY, TINY, Diary, Yard, dates

WEEKS = 12
EDGE = 0.2  # a week with less than this part of its neighbour's flush is an edge; starting guess


def flush_share(flush_days, days_after):
    """Part of a soak's flush picked before some days have passed since it, 0-1 (an array like days_after).

    flush_days: (first, most likely, last day after the soak). Day by day a triangle: from the begin of the
    first day to the end of the last, highest in the middle of the likeliest.
    """
    low, peak, high = flush_days[0], flush_days[1] + 0.5, flush_days[2] + 1.0
    at = np.clip(np.asarray(days_after, dtype=float), low, high)
    rise = (at - low) ** 2 / ((high - low) * (peak - low)) if peak > low else 0.0 * at
    fall = 1.0 - (high - at) ** 2 / ((high - low) * (high - peak)) if high > peak else 1.0 + 0.0 * at
    return np.where(at <= peak, rise, fall)


def flushing(soak_day, logs, week, flush_days):
    """Soaked logs whose flush falls into each week, part by part.

    soak_day, logs: of each soak, days since 1970; week: numbers of the weeks asked for.
    """
    day, where = distinct(soak_day)
    many = np.bincount(where, logs, minlength=len(day))
    begins = first_day(np.asarray(week)[:, None]) - day[None, :]
    return (flush_share(flush_days, begins + 7) - flush_share(flush_days, begins)) @ many


@dataclass
class OwnWeeks:
    """The grower's own weeks: soaked logs whose flush fell into them, weight picked, picked lines behind it."""

    week: np.ndarray
    logs: np.ndarray
    kg: np.ndarray
    ago: np.ndarray  # calendar years before the current one
    lines: int
    silent: tuple  # years with soaks of which no pick is written down


def own_weeks(book: Diary, yard: Yard, found: Parts, flush_days) -> OwnWeeks:
    """Weeks before the current one in which a flush was due, and the weight picked from soaked logs in them.

    A pick belongs to the last soak of its log where that lies no longer back than a flush lasts. A year with
    soaks of which no pick at all is written down is left out.
    """
    line, log = book.pairs("soaked")
    day = book.day[line]
    this_week = int(week_of(yard.as_of))
    nothing = np.zeros(0)
    if not len(day):
        return OwnWeeks(nothing, nothing, nothing, nothing, 0, ())
    weeks = np.arange(int(week_of(day.min())), this_week)
    logs = flushing(day, yard.alive_at(log, day), weeks, flush_days)
    mine = _after_soak(found, log, day, flush_days[2])
    picked = week_of(found.day[mine])
    inside = (picked >= weeks[0]) & (picked < this_week) if len(weeks) else np.zeros(len(picked), dtype=bool)
    kg = np.bincount((picked - weeks[0])[inside], (found.picked - found.culled)[mine][inside], minlength=len(weeks)) if len(weeks) else nothing
    logs, kg = _edges_joined(logs, kg)
    year = years_of(first_day(weeks))
    due = logs > TINY
    written = np.unique(year[kg > 0])
    silent = tuple(int(y) for y in np.setdiff1d(np.unique(year[due]), written))
    use = due & np.isin(year, written)
    lines = len(distinct(found.line[mine][inside])[0])
    return OwnWeeks(weeks[use], logs[use], kg[use], int(years_of(yard.as_of)) - year[use], lines, silent)


def _edges_joined(logs, kg):
    """Weeks with only the edge of a flush counted with the fuller week beside them: a few days early or late is no bad week."""
    logs, kg = logs.copy(), kg.copy()
    around = np.concatenate(([0.0], logs, [0.0]))
    before, after = around[:-2], around[2:]
    for week in np.flatnonzero((logs > 0) & (logs < EDGE * np.maximum(before, after))):
        beside = week - 1 if before[week] >= after[week] else week + 1
        for column in (logs, kg):
            column[beside] += column[week]
            column[week] = 0.0
    return logs, kg


def _after_soak(found: Parts, log, day, last_day):
    """Places in `found` of weights from logs soaked up to last_day days before."""
    span = 2 ** 20
    known = np.flatnonzero(found.log >= 0)
    key = np.sort(log * span + day)
    asked = found.log[known] * span + found.day[known]
    before = np.searchsorted(key, asked, side="left") - 1  # a soak of the same day is not its cause
    since = asked - key[np.maximum(before, 0)]
    return known[(before >= 0) & (since > 0) & (since <= last_day)]


def soaks_to_come(found: Plan, book: Diary, yard: Yard):
    """(day, logs) of the soaks whose flush is not over: those written down and those planned."""
    line, log = book.pairs("soaked")
    late = book.day[line] >= yard.as_of - 7 - found.state.site.flush_days[2]
    line, log = line[late], log[late]
    day = np.concatenate((book.day[line], found.day))
    return day, np.concatenate((yard.alive()[log], found.state.alive[found.row]))


@dataclass
class Natural:
    """Weight expected in each coming week from logs that are not soaked, and its mean square over squared mean, less 1."""

    kg: np.ndarray
    spread2: float
    undated: float  # kg that no month can be told for


def natural(found: Plan, left: expected.Remaining, weeks: np.ndarray) -> Natural:
    """Natural fruiting: what calc.expected gives the year for logs without a soak, spread over days that suit.

    Evenly over the days of suiting months (inside a season typed, where months are not known) from the as-of
    day, but not before first mushrooms are due.
    """
    at, seen = found.state, left.seen
    fruiting = (at.alive > 0) & (seen.batch >= 0) & (found.next_day >= NO_DAY)
    fruiting &= (at.last_soak >= NO_DAY) | (at.as_of - at.last_soak > at.site.flush_days[2])
    rows = np.flatnonzero(fruiting)
    spread = tables.figure("supply_week_spread_natural").typical
    if not len(rows):
        return Natural(np.zeros(len(weeks)), spread ** 2, 0.0)
    kilos = (seen.alive * seen.log_life_kg * left.factor)[rows]
    batches = len(left.record.pair)
    draws = [left.draws.this_year, left.draws.next_year]
    unit = [part.mean(axis=0) for part in draws]
    whole = np.bincount(seen.batch[rows], kilos, minlength=batches)
    first = np.maximum(np.where(at.flush_from[rows] < NO_DAY, at.flush_from[rows], at.as_of), at.as_of)
    end = int(first_day(weeks[-1] + 1))
    key = at.strain[rows] * (end + 1) + np.minimum(first, end)
    each, where = distinct(key)
    open_days = _open_days(at, int(years_of(at.as_of)))
    out, undated = np.zeros(len(weeks)), 0.0
    for ahead, year in enumerate((int(years_of(at.as_of)), int(years_of(at.as_of)) + 1)):
        given = np.bincount(where, kilos * unit[ahead][seen.batch[rows]], minlength=len(each))
        for kind, weight in zip(each, given, strict=True):
            strain, begins = int(kind) // (end + 1), int(kind) % (end + 1)
            if begins >= end or weight <= TINY:
                continue
            days = open_days[strain]
            days = days[(days >= max(begins, int(first_of_year(year)))) & (days < int(first_of_year(year + 1)))]
            if len(days):
                out += weight * np.bincount(np.clip(week_of(days) - weeks[0] + 1, 0, len(weeks) + 1), minlength=len(weeks) + 2)[1:-1] / len(days)
            elif at.strains[strain].fits is None and not at.site.has_season:
                undated += weight
    total = sum(part @ whole for part in draws)
    level = total.var() / total.mean() ** 2 if total.mean() > TINY else 0.0
    return Natural(out, (1.0 + level) * (1.0 + spread ** 2) - 1.0, undated)


def _open_days(at, year):
    """By strain: the days of two years on which it may fruit by season and month."""
    begin = int(week_of(first_of_year(year)))
    first, last = suits(at, int(first_day(begin)), 107)
    found = []
    for strain in range(len(at.strains)):
        open_ = np.flatnonzero(first[strain] >= 0)
        found.append(np.concatenate([np.arange(first[strain, w], last[strain, w] + 1) for w in open_]) if len(open_) else np.zeros(0, dtype=np.int64))
    return found


def supply(found: Plan, book: Diary, yard: Yard, parts: Parts, left: expected.Remaining, frames: dict, settings: dict,
           how_many: int = WEEKS) -> pd.DataFrame:
    """The table supply, as results.COLUMNS says."""
    weeks = int(week_of(yard.as_of)) + np.arange(how_many)
    own = own_weeks(book, yard, parts, found.state.site.flush_days)
    learned = soak_yield.learn(own.logs, own.kg, own.ago, soak_yield.start(settings, left.begin))
    wild, chance = natural(found, left, weeks), promise_chance(settings)
    table = forecast(flushing(*soaks_to_come(found, book, yard), weeks, found.state.site.flush_days), learned, wild, left.begin, weeks,
                     int(years_of(yard.as_of)), chance)
    promised = already_promised(frames, weeks)
    table = table.assign(promised_kg=promised, free_kg=table["promise_kg"] - promised, rows=float(own.lines))
    table["words"] = _words(found, table, own, learned, wild, chance)
    return table[list(results.COLUMNS["supply"])]


def promise_chance(settings: dict) -> float:
    """The chance with which a promise is to be met, from Settings."""
    chance = settings.get("promise_chance")
    return tables.figure("promise_chance").typical if chance is None else float(chance)


def forecast(logs, learned: soak_yield.Learned, wild: Natural, begin, weeks, year: int, chance: float) -> pd.DataFrame:
    """Expected weight, range and promise of each week.

    logs: soaked logs whose flush falls into it; begin: calc.yield_model.Start; weeks: their numbers; year: the
    current calendar year.
    """
    now = years_of(first_day(weeks)) == year
    each = np.where(now, learned.this_year.mean_kg, learned.later.mean_kg)
    swing = np.where(now, learned.this_year.spread2, learned.later.spread2)
    low, high, promise = quantiles(logs * each, swing, wild.kg, wild.spread2, begin, (expected.LOW, expected.HIGH, 1.0 - chance))
    return pd.DataFrame({
        "week": dates(first_day(weeks)), "soaked_logs": logs, "expected_kg": logs * each + wild.kg, "low_kg": low, "high_kg": high,
        "promise_kg": promise, "natural_kg": wild.kg, "per_soak_kg": each, "own_share": learned.own_share})


def quantiles(soaked_kg, soaked_spread2, natural_kg, natural_spread2, begin, chances):
    """Weights of a week that stay below with each chance, kg; the swings of both kinds go together."""
    mean = soaked_kg + natural_kg
    swing = soaked_kg * np.sqrt(soaked_spread2) + natural_kg * np.sqrt(natural_spread2)
    return expected.flush_quantiles(mean, (swing / np.where(mean > 0, mean, 1.0)) ** 2, begin, chances)


def already_promised(frames: dict, weeks: np.ndarray) -> np.ndarray:
    """Fresh weight on Promises for each week, kg."""
    typed = promised_by_week(frames.get("promises", pd.DataFrame()))
    return typed.reindex(first_day(weeks)).fillna(0.0).to_numpy(dtype=float)


def _words(found, table, own, learned, wild, chance):
    """What each week rests on, in words."""
    basis = "weight of a soaked log: the start on Settings, nothing of your own yet"
    if learned.weeks:
        many = "1 week" if learned.weeks == 1 else f"{learned.weeks} weeks"
        basis = f"weight of a soaked log: your own {many} count for {learned.own_share:.0%}, the start for the rest"
    if own.silent:
        basis += f"; soaks of {', '.join(map(str, own.silent))} left out: no pick of theirs is written down"
    said = []
    for week, logs, wild_kg, mean, free in zip(table["week"], table["soaked_logs"], table["natural_kg"], table["expected_kg"], table["free_kg"],
                                               strict=True):
        parts = [basis] if logs > TINY else []
        if wild_kg > TINY:
            parts.append("natural fruiting counted in: it comes with rain, not by the calendar")
        if mean <= TINY:
            parts.append(_nothing(found, week))
        if free < -TINY:
            parts.append(f"more is promised than can be kept with a chance of {chance:.0%}")
        said.append("; ".join(parts))
    if wild.undated > TINY:
        said[0] += "; natural fruiting left out where months are not known: type the monthly temperatures on Settings"
    return np.array(said, dtype=object)


def _nothing(found: Plan, week) -> str:
    """Why a week brings nothing."""
    if found.fault:
        return found.fault
    at = found.state
    monday = int(week.to_datetime64().astype("datetime64[D]").astype(np.int64))
    strains = [at.strains[s] for s in np.unique(at.strain[at.alive > 0])]
    if strains and all(s.fits is not None and not s.fits[to_date(monday).month - 1] for s in strains):
        return "dormant: too cold or too hot"
    return "no soaked log is due to flush" if at.in_rota.any() else "no logs that are soaked"

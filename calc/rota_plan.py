"""The soak calendar: which group goes into the tank in which of the coming weeks, and what is left out and why.

A rota has as many groups as its cycle has weeks (Univ. Kentucky FOR-85); the turn of a group comes round once
a cycle. A log keeps to the rhythm of its own last soak; a Rota week typed on Logs wins; logs never soaked fill
the groups up to equal size, each year of logs spread over all groups. At its turn a log that is too young or
resting waits for its next turn; so does one whose month does not suit, unless that next turn does not suit
either: then the first week between that does. What the tank cannot hold moves to the next week and comes
first there.
"""
from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from calc import results, season
from calc.day_numbers import words as day_words
from calc.log_names import in_words
from calc.season_state import State, first_day, forced, monday_of, rest_days, suits, to_date, week_of
from calc.yard import NO_DAY, TINY, dates

WEEKS, YEAR = 26, 53
NEVER = 2 ** 31  # weeks ahead: no turn
YOUNG, RESTING, MONTH, MOVED, NO_ROOM = "too young", "still resting", "the month does not suit", "moved", "no room"
NO_MONTHS = "Lists has no fruiting temperatures for the strain, and Settings no first and last day of the season: type one or the other"
MOST_NAMED = 500  # rows of a group that are named


@dataclass
class Plan:
    """Soaks planned, one entry for each week and row of Logs.

    monday: first day of week 0; groups: of the rota; group: by row, 1 to groups, 0 where it is in none; week,
    row, day: of the entries; out_week, out_row, out_why: rows not soaked at their turn; next_day: by row, the
    first planned soak, NO_DAY where none; fault: why nothing is planned, in words, or "".
    """

    state: State
    monday: int
    groups: int
    group: np.ndarray
    next_day: np.ndarray
    weeks: int
    week: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    row: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    day: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    out_week: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    out_row: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    out_why: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=object))
    tank: Tank | None = None
    fault: str = ""
    too_big: set = field(default_factory=set)  # rows that alone take more than the tank holds in a week


@dataclass(frozen=True)
class Tank:
    """What the soak tank holds, m3 of logs a load (None: no limit), and loads a week (None: as many as needed)."""

    load_m3: float | None
    loads: float | None

    @property
    def week_m3(self) -> float:
        return np.inf if self.load_m3 is None or self.loads is None else self.load_m3 * self.loads


def tank(settings: dict) -> Tank:
    """The tank of Settings; a blank or a 0 is no limit."""
    return Tank(*(None if not settings.get(key) or pd.isna(settings[key]) else float(settings[key]) for key in ("tank_volume", "tank_loads")))


def plan(at: State, settings: dict, weeks: int = WEEKS) -> Plan:
    """The soaks of the coming weeks, the week of the as-of day first."""
    monday, groups = int(monday_of(at.as_of)), season.rota_groups(at.site.cycle)
    first, last = suits(at, monday - 7 * groups, weeks + 2 * groups)
    cycle = np.maximum(groups, np.ceil(rest_days(at) / season.WEEK)).astype(np.int64)
    turn, offset = _group_of_each(at, groups, week_of(monday), cycle)
    out = Plan(at, monday, groups, turn, np.full(len(at), NO_DAY), weeks, tank=tank(settings), fault=_fault(at, first[:, groups:]))
    due, late = _first_turns(at, out, offset, first, cycle)
    _walk(at, out, due, late, offset, (first[:, groups:], last[:, groups:]), cycle)
    return out


def _fault(at: State, first: np.ndarray) -> str:
    """Why no soak can be planned at all, in words."""
    inside = at.in_rota
    if not inside.any() or (first[np.unique(at.strain[inside])] >= 0).any():
        return ""
    if not at.site.has_season and not at.site.known:
        missing = at.site.fault or "no monthly temperatures on Settings"
        return f"{missing}, and no first and last day of the season: type one or the other, then soaks are dated"
    if at.site.known and not at.site.has_season and all(at.strains[s].fits is None for s in np.unique(at.strain[inside])):
        return NO_MONTHS
    if at.site.known and not any(any(at.strains[s].fits or (True,)) for s in np.unique(at.strain[inside])):
        return "no month at the site suits these strains: check the temperatures on Settings and the strains' ranges on Lists"
    return "no week of the coming ones lies in the season and in a month that suits"


def typed_week(at: State, groups: int) -> np.ndarray:
    """The Rota week typed on Logs where it can be used, else 0."""
    with np.errstate(invalid="ignore"):
        good = (at.typed_week >= 1) & (at.typed_week <= groups) & (at.typed_week == np.floor(at.typed_week))
    return np.where(good & at.in_rota, np.nan_to_num(at.typed_week), 0).astype(np.int64)


def _group_of_each(at, groups, now, cycle):
    """(group of each row, 0 for none; what is taken from a week's number before it is counted round the groups)."""
    inside, group = at.in_rota, typed_week(at, groups)
    soaked = inside & (at.last_soak < NO_DAY)
    soak_week = np.where(soaked, week_of(at.last_soak), 0)
    offset = _offset(at, group, soaked, soak_week, groups, now)
    own = soaked & (group == 0)
    group[own] = (soak_week + cycle[at.strain] - offset)[own] % groups + 1
    _place_the_others(at, group, own, inside, groups)
    return group, offset


def _place_the_others(at, group, own, inside, groups):
    """Give rows never soaked a group, year of logs by year.

    In their order on Logs, each year spread evenly over the groups, so that a row keeps its group while the
    calendar is followed; where most soaks were done in another rhythm, or Rota weeks are typed, they fill up
    what is least filled.
    """
    dated = np.flatnonzero((at.old_enough < NO_DAY) & forced(at))
    year = dates(at.old_enough[dated]).astype("datetime64[Y]").astype(np.int64)
    typed = (typed_week(at, groups) > 0).any()
    for each in np.unique(year):
        mine = dated[year == each]
        before = np.cumsum(at.count[mine]) - at.count[mine] / 2.0
        spread = np.minimum((before * groups / at.count[mine].sum()).astype(np.int64), groups - 1) + 1
        soaked = own[mine]
        kept = at.alive[mine][soaked & (spread == group[mine])].sum() * 2 >= at.alive[mine][soaked].sum()
        rest = inside[mine] & (group[mine] == 0)
        if kept and not typed:
            group[mine[rest]] = spread[rest]
        elif rest.any():
            filled = np.bincount(group[inside], at.alive[inside], minlength=groups + 1)[1:]
            group[mine[rest]] = _filled_up(at.alive[mine[rest]], filled)


def _filled_up(logs, filled):
    """Groups for rows in their order, so that the groups come out as even as they can."""
    room = np.maximum((filled.sum() + logs.sum()) / len(filled) - filled, 0.0)
    upto = np.cumsum(room) * logs.sum() / room.sum()
    middle = np.cumsum(logs) - logs / 2.0
    return np.minimum(np.searchsorted(upto, middle), len(filled) - 1) + 1


def _offset(at, group, soaked, soak_week, groups, now):
    """Where counting begins: typed Rota weeks agree with what was soaked; else week 1 opens the season."""
    typed = group > 0
    if not typed.any():
        return 0
    both = typed & soaked
    if both.any():
        votes = np.bincount((soak_week - group + 1)[both] % groups, at.alive[both], minlength=groups)
        return int(np.argmax(votes))
    open_ = (suits(at, first_day(now - YEAR), 2 * YEAR)[0][np.unique(at.strain[typed])] >= 0).any(axis=0)
    opening = np.flatnonzero(open_[1:] & ~open_[:-1]) + 1
    begun = opening[opening <= YEAR]
    chosen = begun[-1:] if open_[YEAR] else opening[opening > YEAR][:1]
    return int((now - YEAR + chosen[0]) % groups) if len(chosen) else 0


def _next_turn(group, offset, groups, week):
    """The first week from `week` on that is the turn of a group; weeks by their number since 1970."""
    return week + (group - 1 + offset - week) % groups


def _first_turns(at, out, offset, first, cycle):
    """(weeks ahead of each row's next turn, True where that turn has gone by and is made up for now)."""
    now, groups = week_of(out.monday), out.groups
    inside = np.flatnonzero(out.group > 0)
    due, late = np.full(len(at), NEVER, dtype=np.int64), np.zeros(len(at), dtype=bool)
    if not len(inside):
        return due, late
    group, strain = out.group[inside], at.strain[inside]
    turn = _next_turn(group, offset, groups, now)
    soaked = at.last_soak[inside] < NO_DAY
    rest = -(-rest_days(at)[strain] // season.WEEK)
    last = week_of(np.where(soaked, at.last_soak[inside], 0))
    typed = typed_week(at, groups)[inside] > 0
    wanted = np.where(typed, _next_turn(group, offset, groups, last + np.maximum(rest, 1)), last + cycle[strain])
    missed = soaked & (wanted < now) & (wanted > now - groups)
    missed &= first[strain, np.clip(wanted - now + groups, 0, first.shape[1] - 1)] >= 0
    due[inside] = np.where(soaked & (wanted >= now), wanted, np.where(missed, now, turn)) - now
    late[inside] = missed
    return due, late


def _walk(at, out, due, late, offset, days, cycle):
    """Week by week: who is soaked, who waits and why. days: first and last day of each week by strain."""
    first, last = (np.array(part) for part in days)
    first[:, 0] = np.where(last[:, 0] >= at.as_of, np.maximum(first[:, 0], at.as_of), -1)
    last[:, 0] = np.where(first[:, 0] >= 0, last[:, 0], -1)
    later = _later(first, out.groups)
    allowed, rest = at.may_soak.copy(), rest_days(at)
    typed, soaks, outs = typed_week(at, out.groups) > 0, [], []
    volume, planned = _volumes(at), np.unique(at.strain[out.group > 0])
    for week in range(out.weeks):
        rows = np.flatnonzero(due == week)
        if not len(rows):
            continue
        shut = first[at.strain[rows], week] < 0
        if (first[planned, week] >= 0).any():
            outs.append((week, rows[shut], MONTH))
        due[rows[shut]] = later[at.strain[rows[shut]], week]
        rows = rows[~shut]
        waits = allowed[rows] > last[at.strain[rows], week]
        young = waits & (at.old_enough[rows] > last[at.strain[rows], week])
        outs += [(week, rows[young], YOUNG), (week, rows[waits & ~young], RESTING)]
        due[rows[waits]] = week + out.groups
        rows = rows[~waits]
        rows = rows[np.argsort(~late[rows], kind="stable")]
        fits = _fits(volume[rows], out, rows)
        moved, rows = rows[~fits], rows[fits]
        open_ = first[at.strain[moved], week + 1] >= 0
        outs += [(week, moved[open_], MOVED), (week, moved[~open_], NO_ROOM)]
        due[moved], late[moved] = week + 1, True
        day = np.maximum(first[at.strain[rows], week], allowed[rows])
        soaks.append((week, rows, day))
        late[rows], allowed[rows] = False, day + rest[at.strain[rows]]
        wait = -(-rest[at.strain[rows]] // season.WEEK)
        due[rows] = np.where(typed[rows], _next_turn(out.group[rows], offset, out.groups, week_of(out.monday) + week + np.maximum(wait, 1))
                             - week_of(out.monday), week + cycle[at.strain[rows]])
    _collect(out, soaks, outs)


def _later(first, groups):
    """By strain and week: the week to wait for where this one does not suit."""
    weeks = first.shape[1]
    later = np.full(first.shape, NEVER, dtype=np.int64)
    for strain, open_ in enumerate(first >= 0):
        for week in np.flatnonzero(~open_[:weeks - groups]):
            between = np.flatnonzero(open_[week:week + groups])
            later[strain, week] = week + (between[0] if len(between) and not open_[week + groups] else groups)
    return later


def _volumes(at):
    """Volume of each row; that of the mean log where the size is not known."""
    known = np.isfinite(at.volume_m3) & (at.alive > 0)
    each = at.volume_m3[known].sum() / at.alive[known].sum() if known.any() else np.nan
    return np.where(known, at.volume_m3, at.alive * each)


def _fits(volume, out, rows):
    """True for the rows, in their order, that go into the tank this week."""
    whole = out.tank.week_m3
    if not len(rows) or not np.isfinite(whole) or not np.isfinite(volume).all():
        return np.ones(len(rows), dtype=bool)
    fits = np.cumsum(volume) <= whole + TINY
    if not fits[0]:  # never to fit: it goes in by itself
        out.too_big.add(int(rows[0]))
        fits[0] = True
    return fits


def _collect(out, soaks, outs):
    for names, parts in ((("week", "row", "day"), soaks), (("out_week", "out_row", "out_why"), outs)):
        filled = [part for part in parts if len(part[1])]
        if not filled:
            continue
        columns = [np.concatenate([np.broadcast_to(np.asarray(part[i]), len(part[1])) for part in filled]) for i in range(3)]
        for name, column in zip(names, columns, strict=True):
            setattr(out, name, column)
    if len(out.row):
        out.next_day[out.row[::-1]] = out.day[::-1]


# ---- the table -------------------------------------------------------------------------------

def calendar(found: Plan) -> pd.DataFrame:
    """The table soak_calendar, as results.COLUMNS says: a row for each week and group that soaks."""
    at, groups = found.state, found.groups
    if not len(found.row):
        return results.empty("soak_calendar")
    size = found.weeks * (groups + 1)
    key = found.week * (groups + 1) + found.group[found.row]
    shown, load = np.unique(key), found.tank.load_m3
    logs = np.bincount(key, at.alive[found.row], minlength=size)[shown]
    volume = np.bincount(key, _volumes(at)[found.row], minlength=size)[shown]
    last_day = np.zeros(size, dtype=np.int64)
    np.maximum.at(last_day, key, found.day)
    table = pd.DataFrame({
        "week": dates(found.monday + 7 * (shown // (groups + 1))), "group": (shown % (groups + 1)).astype(float), "logs": logs,
        "names": _names(at, key, found.row, shown, logs), "volume_m3": volume,
        "loads": np.ceil(np.round(volume / load, 9)) if load else np.nan,
        "words": _words(found, shown, key), "day": dates(last_day[shown]), "hours": at.site.soak_hours})
    return table[list(results.COLUMNS["soak_calendar"])]


def _names(at, key, row, shown, logs):
    """Names of the rows of each week and group; more than can be read are only counted."""
    order = np.lexsort((row, key))
    starts, ends = (np.searchsorted(key[order], shown, side=side) for side in ("left", "right"))
    return np.array([in_words([str(n) for n in at.names[row[order[a:b]]]], float(many)) if b - a <= MOST_NAMED
                     else f"{b - a} rows of Logs ({many:g} logs)"
                     for a, b, many in zip(starts, ends, logs, strict=True)], dtype=object)


def _words(found, shown, key):
    """For each week and group: what moved and what is left out, with the reason."""
    at, said = found.state, {int(k): [] for k in shown}
    out_key = found.out_week * (found.groups + 1) + found.group[found.out_row]
    big = np.isin(found.row, list(found.too_big)) if found.too_big else np.zeros(len(found.row), dtype=bool)
    for at_key, row in zip(key[big], found.row[big], strict=True):
        said[int(at_key)].append(f"{at.names[row]} alone is more than the tank holds in a week: split its row on Logs, or type more loads")
    if np.isfinite(found.tank.week_m3) and not np.isfinite(_volumes(at)).all():
        for words in said.values():
            words.append("no log has a size on Logs: what the tank holds is not looked at")
    for why in (MOVED, NO_ROOM, YOUNG, RESTING, MONTH):
        mine = np.flatnonzero(found.out_why == why)
        counts = np.bincount(out_key[mine], at.alive[found.out_row[mine]], minlength=1)
        for at_key in np.intersect1d(np.flatnonzero(counts > 0), shown):
            week = found.monday + 7 * (at_key // (found.groups + 1) + 1)
            said[int(at_key)].append(_why(why, counts[at_key], to_date(week)))
    return np.array(["; ".join(said[int(k)]) for k in shown], dtype=object)


def _why(why, logs, next_week):
    many = f"{logs:g} log{'' if logs == 1 else 's'}"
    return {MOVED: f"tank full: {many} moved to the week of {day_words(next_week)}",
            NO_ROOM: f"tank full: {many} left out, and the week of {day_words(next_week)} is too cold or hot, or out of season",
            YOUNG: f"{many} left out: too young to force",
            RESTING: f"{many} left out: still resting",
            MONTH: f"{many} left out: too cold or hot this week, or out of season"}[why]

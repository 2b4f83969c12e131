"""The season as a strip: what each group of logs does in each of the weeks ahead, and the batches whose first flush is to come."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, season
from calc.codes import alike, distinct, text
from calc.rota_plan import Plan, calendar, plan
from calc.season_stages import GONE, SPAWN_RUN, WAITING
from calc.season_state import PICKED, State, monday_of, rest_days, to_date
from calc.yard import NO_DAY, dates, day_column, days, numbers, text_codes

WEEK, WEEKS = season.WEEK, 52
FREE, RUN, MAY, SOAK, PINS, REST, DORM = "", "run", "may", "soak", "pins", "rest", "dorm"
MARKS = (FREE, RUN, MAY, REST, DORM, PINS, SOAK)  # of two marks of as many logs the later one is shown
ROTA, BATCH = "rota group", "batch"


@dataclass
class Batches:
    """The rows still in the yard, each with its batch: strain and month of inoculation.

    place: of each row on Logs; inoculated: day, NO_DAY where not known; batch: of each, as a place in names.
    """

    place: np.ndarray
    inoculated: np.ndarray
    batch: np.ndarray
    names: list[str]


def batches(log_season: pd.DataFrame, each_log: pd.DataFrame) -> Batches:
    """The batches of the yard. log_season, each_log: the tables of these names."""
    rows, theirs = numbers(each_log, "row"), numbers(log_season, "row")
    if np.array_equal(rows, theirs) and (np.diff(rows) > 0).all():
        made = day_column(each_log, "inoculated")
    else:
        made = days(each_log.drop_duplicates("row").set_index("row")["inoculated"].reindex(log_season["row"]).to_numpy())
    stage, stages = text_codes(log_season, "stage")
    here = np.array([name not in (GONE, WAITING) for name in stages], dtype=bool)
    place = np.flatnonzero((numbers(log_season, "alive", 0.0) > 0) & here[stage])
    (day, of_day), (strain, strains) = distinct(made[place]), text_codes(log_season, "strain")
    months = [f"{to_date(d):%b %Y}" if d < NO_DAY else "no date" for d in day.tolist()]
    first, case = alike(of_day, strain[place])
    names: dict[str, int] = {}
    of_case = [names.setdefault(f"{months[of_day[at]]}, {strains[strain[place[at]]] or results.NOT_GIVEN}", len(names)) for at in first.tolist()]
    return Batches(place, made[place], np.array(of_case, dtype=np.int64)[case], list(names))


def with_batch(log_season: pd.DataFrame, each_log: pd.DataFrame) -> pd.DataFrame:
    """The rows still in the yard with the batch each belongs to: strain and month of inoculation. The index is the place on Logs."""
    found = batches(log_season, each_log)
    table = log_season.iloc[found.place]
    names = np.array(found.names, dtype=object)[found.batch] if len(table) else []
    return table.assign(inoculated=dates(found.inoculated), batch=pd.Series(names, index=table.index, dtype=object))


def season_strip(year: Plan, log_season: pd.DataFrame, each_log: pd.DataFrame) -> pd.DataFrame:
    """The table season_strip: one row a line and week from the as-of week on, rota groups first, then batches by date.

    A line shows what most of its logs do; a soak, or pins to look for, also where it is only a part of them.

    year: the soaks planned for WEEKS weeks. log_season, each_log: the tables of these names, a row for each row of Logs.
    """
    found = batches(log_season, each_log)
    if not len(found.place):
        return results.empty("season_strip")
    week = year.monday + WEEK * np.arange(WEEKS)
    group, alive = numbers(log_season, "group")[found.place], numbers(log_season, "alive", 0.0)[found.place]
    in_rota = ~np.isnan(group)
    known, line = distinct(np.where(in_rota, np.nan_to_num(group), -1 - found.batch).astype(np.int64))
    names = [f"Group {number}" if number >= 0 else found.names[-1 - number] for number in known.tolist()]
    first, kind = _kinds(year, log_season, found.place, alive, line)
    marks = _row_marks(year, log_season.iloc[found.place[first]], week)
    logs = np.bincount(kind, alive)  # of each kind
    mark = np.empty((len(names), len(week)), dtype=np.int64)
    for at in range(len(names)):
        mine = line[first] == at
        place = marks[mine] + len(MARKS) * np.arange(len(week))  # of week and mark
        here = np.bincount(place.ravel(), np.repeat(logs[mine], len(week)), len(MARKS) * len(week)).reshape(len(week), len(MARKS)).T
        most = len(MARKS) - 1 - np.argmax(here[::-1], axis=0)
        mark[at] = np.select([here[MARKS.index(each)] > 0 for each in (SOAK, PINS)], [MARKS.index(SOAK), MARKS.index(PINS)], most)
    began = np.full(len(names), 2 * NO_DAY)
    np.minimum.at(began, line, found.inoculated)
    order = sorted(range(len(names)), key=lambda at: (known[at] if known[at] >= 0 else np.inf, began[at], names[at]))
    rows = np.split(np.argsort(line, kind="stable"), np.cumsum(np.bincount(line))[:-1])
    shown, many = np.repeat(order, len(week)), [alive[mine].sum() for mine in rows]
    return pd.DataFrame({
        "group": text(names, shown), "week": np.tile(dates(week), len(order)), "mark": text(MARKS, mark[order].ravel()),
        "logs": np.array(many)[shown], "kind": text((ROTA, BATCH), (known[shown] < 0).astype(np.int64))})[list(results.COLUMNS["season_strip"])]


def _kinds(year: Plan, log_season: pd.DataFrame, place: np.ndarray, alive: np.ndarray, line: np.ndarray):
    """Rows alike in line, dates and soaks: (one row of each kind, the kind of each row). Where logs are parts of one, each row is its own."""
    if (alive % 1.0).any():
        return np.arange(len(place)), np.arange(len(place))
    row, day = year.row, year.day
    order = np.lexsort((day, row))
    row, day = row[order], day[order]
    turn = np.arange(len(row)) - np.searchsorted(row, row)
    soaks = np.zeros((int(turn.max(initial=-1)) + 1, len(year.state.strain)), dtype=np.int64)
    soaks[turn, row] = day
    stage, stages = text_codes(log_season, "stage")
    young = np.array([name == SPAWN_RUN for name in stages], dtype=bool)[stage]
    basis, bases = text_codes(log_season, "flush_basis")
    picked = np.array([name == PICKED for name in bases], dtype=bool)[basis]
    may = np.where(young, day_column(log_season, "may_soak_from"), 0)
    columns = (young, picked, may, *(day_column(log_season, name) for name in ("flush_from", "flush_to", "last_soak")), year.state.strain, *soaks)
    return alike(line, *(column[place] for column in columns))


def _row_marks(year: Plan, table: pd.DataFrame, week: np.ndarray) -> np.ndarray:
    """Places in MARKS by row of the table and week; what is written later holds: may, run, rest, dormant, pins, soak."""
    at, end, place = year.state, week + WEEK - 1, table.index.to_numpy()
    found = np.full((len(table), len(week)), MARKS.index(FREE), dtype=np.int8)
    begin, last, past = (day_column(table, name)[:, None] for name in ("flush_from", "flush_to", "last_soak"))
    window = (table["flush_basis"] != PICKED).to_numpy()[:, None] & (past >= NO_DAY) & (begin < NO_DAY)
    found[window & (end >= begin) & (week <= last)] = MARKS.index(MAY)
    young = table["stage"].eq(SPAWN_RUN).to_numpy()[:, None]
    until = np.where(window, begin, np.where(young, day_column(table, "may_soak_from")[:, None], 0))
    run = (week + WEEK // 2 < until) & ~(window & (week <= begin) & (end >= last))  # a window within one week is not hidden
    found[run] = MARKS.index(RUN)
    row, soak, planned = _soaks(year, place, past[:, 0])
    rest, (first, _, latest) = rest_days(at)[at.strain[place[row]]], at.site.flush_days
    found[_any((end > soak) & (week <= soak + rest[:, None]), row, len(table))] = MARKS.index(REST)
    found[_closed_weeks(at, week)[at.strain[place]] & ~run] = MARKS.index(DORM)
    found[_any((end >= soak + first) & (week <= soak + latest), row, len(table))] = MARKS.index(PINS)
    found[row[planned], (monday_of(soak[planned, 0]) - year.monday) // WEEK] = MARKS.index(SOAK)
    return found


def _soaks(year: Plan, place: np.ndarray, past: np.ndarray):
    """Every soak, the last one written down and those planned: row of the table, day in a column, True where planned."""
    spot = np.full(len(year.state.strain), -1)
    spot[place] = np.arange(len(place))
    mine, done = spot[year.row] >= 0, np.flatnonzero(past < NO_DAY)
    row, day = np.concatenate((done, spot[year.row[mine]])), np.concatenate((past[done], year.day[mine]))
    return row, day[:, None], np.arange(len(row)) >= len(done)


def _any(hits: np.ndarray, row: np.ndarray, rows: int) -> np.ndarray:
    """By row: True where any of its soaks hits the week."""
    found, order = np.zeros((rows, hits.shape[1]), dtype=bool), np.argsort(row, kind="stable")
    each, first = np.unique(row[order], return_index=True)
    if len(each):
        found[each] = np.logical_or.reduceat(hits[order], first, axis=0)
    return found


def _closed_weeks(at: State, week: np.ndarray) -> np.ndarray:
    """By strain and week: True where the middle of the week is too cold or hot for it, or outside the season on Settings."""
    middle = [to_date(day + WEEK // 2) for day in week]
    shut = np.array([not season.in_season(day, at.site.begins, at.site.ends) for day in middle])
    cold = np.array([[s.fits is not None and not s.fits[day.month - 1] for day in middle] for s in at.strains], dtype=bool)
    return shut | cold.reshape(len(at.strains), len(week))


def notes(at: State, log_season: pd.DataFrame) -> pd.DataFrame:
    """The table season_notes: temperatures and ranges that are missing, and strains that no month at the site suits."""
    there = ((numbers(log_season, "alive", 0.0) > 0) & (log_season["stage"] != GONE)).to_numpy()
    used, said, missing = sorted(set(at.strain[there])), [], season.missing_months(at.site.temps)
    if missing and used:
        which = "the months" if at.site.untyped else season.month_names(missing)
        until = "dates go by the months of the strain alone, cold and hot months are not left out, and no soak is dated without a season" \
            if at.site.untyped else "no date is given"
        said.append(f"no temperature for {which}: type the mean of each month on Settings, under Weather of the yard; until then {until}")
    for strain in (at.strains[i] for i in used):
        if not strain.listed and strain.name != results.NOT_GIVEN:
            said.append(f"{strain.name}: not on Lists, so the months in print are taken; add it under Strains")
        elif not strain.ranged and not missing:
            said.append(f"{strain.name}: type Fruits from and Fruits to under Strains on Lists; until then no month is left out for it")
        elif season.why_no_month(strain.fits):
            said.append(f"{strain.name}: {season.why_no_month(strain.fits)}, so it gets no date")
    return pd.DataFrame({"words": pd.Series(said, dtype=object)})


def every_table(found: Plan, log_season: pd.DataFrame, each_log: pd.DataFrame, settings: dict) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """(the tables season_strip and season_notes, the soak calendar of a whole year)."""
    year = plan(found.state, settings, WEEKS)
    return {"season_strip": season_strip(year, log_season, each_log), "season_notes": notes(found.state, log_season)}, calendar(year)

"""The season as a strip: what each group of logs does in each of the weeks ahead, and the batches whose first flush is to come."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results, season
from calc.rota_plan import Plan, calendar, plan
from calc.season_stages import GONE, SPAWN_RUN, WAITING
from calc.season_state import PICKED, State, monday_of, rest_days, to_date
from calc.yard import NO_DAY, as_typed, dates, day_column, numbers

WEEK, WEEKS = season.WEEK, 52
FREE, RUN, MAY, SOAK, PINS, REST, DORM = "", "run", "may", "soak", "pins", "rest", "dorm"
MARKS = (FREE, RUN, MAY, REST, DORM, PINS, SOAK)  # of two marks of as many logs the later one is shown
ROTA, BATCH = "rota group", "batch"


def with_batch(log_season: pd.DataFrame, each_log: pd.DataFrame) -> pd.DataFrame:
    """The rows still in the yard with the batch each belongs to: strain and month of inoculation. The index is the place on Logs."""
    made = each_log.drop_duplicates("row").set_index("row")["inoculated"].reindex(log_season["row"]).to_numpy()
    table = log_season.assign(inoculated=pd.to_datetime(made))
    table = table[(numbers(table, "alive", 0.0) > 0) & ~table["stage"].isin((GONE, WAITING))]
    code, known = pd.factorize(table["inoculated"])  # few days, many logs
    month = pd.Series(np.array([*(f"{day:%b %Y}" for day in known), "no date"], dtype=object)[code], index=table.index, dtype=object)
    strain = pd.Series(as_typed(table, "strain"), index=table.index, dtype=object).replace("", results.NOT_GIVEN)
    return table.assign(batch=month + ", " + strain if len(table) else pd.Series(dtype=object))


def season_strip(year: Plan, log_season: pd.DataFrame, each_log: pd.DataFrame) -> pd.DataFrame:
    """The table season_strip: one row a line and week from the as-of week on, rota groups first, then batches by date.

    A line shows what most of its logs do; a soak, or pins to look for, also where it is only a part of them.

    year: the soaks planned for WEEKS weeks. log_season, each_log: the tables of these names, a row for each row of Logs.
    """
    table = with_batch(log_season, each_log)
    if not len(table):
        return results.empty("season_strip")
    week = year.monday + WEEK * np.arange(WEEKS)
    table["line"] = np.where(table["group"].notna(), "Group " + table["group"].fillna(0).astype(int).astype(str), table["batch"])
    marks = _row_marks(year, table, week)
    alive, rows = numbers(table, "alive", 0.0), []
    order = table.assign(first=table["group"].fillna(np.inf)).sort_values(["first", "inoculated", "line"], kind="stable")
    for line in order["line"].drop_duplicates():
        mine = (table["line"] == line).to_numpy()
        place = marks[mine] + len(MARKS) * np.arange(len(week))  # of week and mark
        logs = np.bincount(place.ravel(), np.repeat(alive[mine], len(week)), len(MARKS) * len(week)).reshape(len(week), len(MARKS)).T
        most = len(MARKS) - 1 - np.argmax(logs[::-1], axis=0)
        shown = np.select([logs[MARKS.index(mark)] > 0 for mark in (SOAK, PINS)], [MARKS.index(SOAK), MARKS.index(PINS)], most)
        kind = ROTA if table.loc[mine, "group"].notna().any() else BATCH
        rows.append(pd.DataFrame({"group": line, "week": dates(week), "mark": [MARKS[code] for code in shown], "logs": alive[mine].sum(),
                                  "kind": kind}))
    return pd.concat(rows, ignore_index=True)[list(results.COLUMNS["season_strip"])]


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

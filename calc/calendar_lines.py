"""The work ahead as lines of a calendar: soaks, looks for pins, first flushes, deadlines. No price and no money stands in them."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc.deadlines import FELLED, NEAR, PAST, listed
from calc.season_weeks import AT_WORK, BATCH, with_batch
from calc.yard import NO_DAY, dates, day_column, days, numbers

SOAK, LOOK, FLUSH, DUE = "soak", "look for pins", "first flush", "deadline"
WEEK = 7


@dataclass(frozen=True)
class Line:
    """A line of the calendar, whole days. key: what makes it the same line at the next export."""

    kind: str
    key: str
    first: object  # datetime.date
    last: object  # the last day, included
    title: str
    words: str


def lines(found, look_days: tuple[float, float]) -> list[Line]:
    """Every line from the as-of day on, by day. found: calc.results.Results; look_days: as in season_weeks."""
    as_of = int(np.datetime64(found.as_of, "D").astype(np.int64))
    every = [*_soaks(found.soak_calendar, look_days, as_of), *_recent(found, look_days, as_of), *_flushes(found, as_of),
             *_deadlines(found.deadlines, as_of)]
    return sorted(every, key=lambda line: (line.first, line.kind, line.key))


def _date(day: int):
    return pd.Timestamp(dates(np.array([day]))[0]).date()


def _logs(number: float) -> str:
    return f"{number:g} log{'' if number == 1 else 's'}"


def _look(key: str, soak: int, look_days, who: str, why: str, as_of: int):
    first, last = (soak + round(day) for day in look_days)
    if last >= as_of:
        yield Line(LOOK, f"{key}|{_date(soak)}", _date(first), _date(last), f"Look for pins: {who}",
                   f"{look_days[0]:g} to {look_days[1]:g} days after {why}. Pick only what you inoculated and can name.")


def _soaks(calendar: pd.DataFrame, look_days, as_of: int):
    for row, week in zip(calendar.itertuples(), day_column(calendar, "week"), strict=True):
        if week + WEEK <= as_of:
            continue
        group = f"group {row.group:g}"
        said = f" {row.words}" if row.words else ""
        yield Line(SOAK, f"{group}|{_date(week)}", _date(week), _date(week), f"Soak {group}: {_logs(row.logs)}",
                   f"In the week of this Monday: {row.names}.{said} A soaked log is far heavier: share the lift; cover the tank.")
        yield from _look(group, int(week), look_days, f"{group}, {_logs(row.logs)}", "the soak of that week", as_of)


def _recent(found, look_days, as_of: int):
    """Looks for pins on logs soaked already, one a group or place and day."""
    table = found.log_season[numbers(found.log_season, "alive", 0.0) > 0]
    table = table.assign(day=day_column(table, "last_soak"))
    for soak, mine in table[table["day"] < NO_DAY].groupby("day"):
        if soak + look_days[1] >= as_of:
            who = listed(list(mine["log"]))
            yield from _look("soaked", int(soak), look_days, who, f"the soak of {_date(int(soak)):%d %b %Y}", as_of)


def _flushes(found, as_of: int):
    """First flush windows, one a batch and window."""
    table = with_batch(found.log_season, found.each_log)
    table = table[~table["flush_basis"].isin(AT_WORK) & table["flush_from"].notna() & table["flush_to"].notna()]
    for (batch, first, last), mine in table.groupby(["batch", "flush_from", "flush_to"], sort=True):
        first_day, last_day = (int(d) for d in days([first, last]))
        if last_day >= as_of:
            yield Line(FLUSH, f"{BATCH}|{batch}|{listed(list(mine['log']), 1)}", _date(first_day), _date(last_day),
                       f"First flush may come: {batch}, {_logs(mine['alive'].sum())}",
                       f"{listed(list(mine['log']))}. By {mine['flush_basis'].iloc[0]}. Look every few days in mild, wet weather.")


def _deadlines(table: pd.DataFrame, as_of: int):
    titles = {FELLED: "Inoculate felled logs", PAST: "Spawn is past its date", NEAR: "Use spawn by this day"}
    for row, due in zip(table.itertuples(), day_column(table, "date"), strict=True):
        if due >= NO_DAY:
            continue
        late = f"Was due {_date(int(due)):%d %b %Y}. " if due < as_of else ""
        day = _date(max(int(due), as_of))
        yield Line(DUE, f"{row.what}|{row.log}", day, day, f"{titles.get(row.what, row.what)}: {row.log}", f"{late}{row.words}.")

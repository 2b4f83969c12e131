"""The work ahead as lines of a calendar: soaks, looks for pins, first flushes, deadlines. No price and no money stands in them."""
from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from calc.day_numbers import WEEK, monday_of, to_date
from calc.deadlines import FELLED, NEAR, PAST
from calc.log_names import in_words, logs_words
from calc.season_state import PICKED
from calc.season_weeks import with_batch
from calc.yard import NO_DAY, day_column, days, numbers

SOAK, LOOK, FLUSH, DUE = "soak", "look for pins", "first flush", "deadline"


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
    every: dict[tuple, Line] = {}
    for line in (*_soaks(found.soak_calendar, look_days, as_of), *_recent(found, look_days, as_of), *_flushes(found, as_of),
                 *_deadlines(found.deadlines, as_of)):
        other = every.setdefault((line.kind, line.key), line)
        every[line.kind, line.key] = replace(other, first=min(other.first, line.first), last=max(other.last, line.last))
    return sorted(every.values(), key=lambda line: (line.first, line.kind, line.key))


def _look(key: str, spot: int, look_days, who: str, why: str, as_of: int, soak: int):
    """spot: the day that names the line; soak: the day that the look is counted from."""
    first, last = (soak + round(day) for day in look_days)
    if last >= as_of:
        yield Line(LOOK, f"{key}|{to_date(spot)}", to_date(first), to_date(last), f"Look for pins: {who}",
                   f"{look_days[0]:g} to {look_days[1]:g} days after {why}. Pick only what you inoculated and can name.")


def _soaks(calendar: pd.DataFrame, look_days, as_of: int):
    for row, week, day in zip(calendar.itertuples(), day_column(calendar, "week"), day_column(calendar, "day"), strict=True):
        if not row.logs > 0 or week + WEEK <= as_of:
            continue
        group, said = f"group {row.group:g}", f" {row.words}." if row.words else ""
        day = int(min(max(day, week), week + WEEK - 1))
        yield Line(SOAK, f"{group}|{to_date(week)}", to_date(day), to_date(day), f"Soak {group}: {logs_words(row.logs)}",
                   f"{row.names}.{said} In the week of {to_date(week):%d %b %Y}. A soaked log is far heavier: share the lift; cover the tank.")
        yield from _look(group, int(week), look_days, f"{group}, {logs_words(row.logs)}", "the soak of this week", as_of, day)


def _recent(found, look_days, as_of: int):
    """Looks for pins on logs soaked already, one a group and week, or a day of soaking; a soak that was planned keeps its name."""
    table = found.log_season.assign(day=day_column(found.log_season, "last_soak"))
    table = table[(numbers(table, "alive", 0.0) > 0) & (table["day"] < NO_DAY)]
    for (group, soak), mine in table.assign(group=table["group"].fillna(0)).groupby(["group", "day"]):
        who, soak = in_words(list(mine["log"]), mine["alive"].sum()), int(soak)
        key, spot = (f"group {group:g}", int(monday_of(soak))) if group else ("soaked", soak)
        yield from _look(key, spot, look_days, who, f"the soak of {to_date(soak):%d %b %Y}", as_of, soak)


def _flushes(found, as_of: int):
    """First flush windows, one for the logs of a strain inoculated on one day."""
    table = with_batch(found.log_season, found.each_log)
    table = table[(table["flush_basis"] != PICKED) & table["flush_from"].notna() & table["flush_to"].notna()]
    for (strain, made), mine in table.groupby(["strain", "inoculated"], sort=True):
        first, last = (int(d) for d in days([mine["flush_from"].min(), mine["flush_to"].max()]))
        if last >= as_of:
            yield Line(FLUSH, f"{strain}|{made:%Y-%m-%d}", to_date(first), to_date(last), f"First flush may come: {mine['batch'].iloc[0]}",
                       f"{in_words(list(mine['log']), mine['alive'].sum())}. By {mine['flush_basis'].iloc[0]}. Look every few days in mild, wet "
                       "weather.")


def _deadlines(table: pd.DataFrame, as_of: int):
    titles = {FELLED: "Inoculate felled logs", PAST: "Spawn is past its date", NEAR: "Use spawn by this day"}
    for row, due in zip(table.itertuples(), day_column(table, "date"), strict=True):
        if due >= NO_DAY:
            continue
        late = f"Was due {to_date(int(due)):%d %b %Y}. " if due < as_of else ""
        day = to_date(max(int(due), as_of))
        key = f"{row.what}|{to_date(int(due)) if row.what == FELLED else row.log}"  # the logs of a day become fewer, the day stays
        yield Line(DUE, key, day, day, f"{titles.get(row.what, row.what)}: {row.log}", f"{late}{row.words}.")

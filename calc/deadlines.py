"""What runs out: logs felled and not inoculated, spawn past its date. And the hours of the months ahead against the hours free."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results, tables
from calc.bad_year import YEAR_DAYS
from calc.day_numbers import WEEK, day_in_words
from calc.log_names import in_words, logs_words
from calc.shopping import PLANNED, WAITING
from calc.yard import NO_DAY, TINY, Diary, Yard, as_typed, dates, day_column, numbers, words

HORIZON_WEEKS = 12  # the weeks that the sheet Coming weeks looks ahead
MONTHS_AHEAD = 12
FELLED, NO_DATE, PAST, NEAR = "felled, not inoculated", "no date of felling", "spawn past its date", "spawn to be used by"


def deadlines(frames: dict, yard: Yard, settings: dict, span: tuple[float, float]) -> pd.DataFrame:
    """The table deadlines, what is past first.

    settings["inoculate_within"]: weeks the grower lets logs wait for their spawn (None: no deadline, and it is said). span: the least
    and the most weeks that sources give for it, said beside the grower's own.
    """
    found = [*_waiting(frames["logs"], yard, settings.get("inoculate_within"), span), *_spawn(frames, yard)]
    if not found:
        return results.empty("deadlines")
    table = pd.DataFrame(found, columns=["what", "log", "date", "words"])
    due = table["date"].to_numpy(dtype=np.int64)
    table["days"] = np.where(due >= NO_DAY, np.nan, due - yard.as_of)
    table["date"] = dates(due)
    return table.sort_values("days", kind="stable", na_position="last").reset_index(drop=True)[list(results.COLUMNS["deadlines"])]


def _waiting(logs: pd.DataFrame, yard: Yard, weeks, span: tuple[float, float]):
    """A line for the logs felled on one day, and one for those whose day of felling is not known."""
    left = yard.left()
    wait = ~yard.is_at_work() & (left > TINY)
    if not wait.any():
        return
    names, sources = as_typed(logs, "log"), f"sources say {span[0]:g} to {span[1]:g} weeks"
    for start in np.unique(yard.start[wait & (yard.start <= yard.as_of)]):
        mine = np.flatnonzero(wait & (yard.start == start))
        waited = yard.as_of - int(start)
        who = in_words(names[mine], left[mine].sum())
        said = f"{logs_words(left[mine].sum())} felled {day_in_words(start)}, {waited} day{'s' if waited != 1 else ''} ago"
        if weeks is None:
            yield FELLED, who, NO_DAY, f"{said}; type on Settings within how many weeks you inoculate ({sources})"
        else:
            yield FELLED, who, int(start) + round(weeks * WEEK), f"{said}; your setting is {weeks:g} weeks, {sources}"
    planned = wait & (yard.start >= NO_DAY)
    if planned.any():
        yield (NO_DATE, in_words(names[planned], left[planned].sum()), NO_DAY,
               f"{logs_words(left[planned].sum())} still to be made without a date: type Felled on Logs once they are cut")


def _spawn(frames: dict, yard: Yard):
    """A line for each spawn lot that logs still wait for, or whose date falls within the weeks around today."""
    lots = frames.get("lots", pd.DataFrame())
    if not len(lots):
        return
    names, keys, use_by = as_typed(lots, "spawn_lot"), words(lots, "spawn_lot"), day_column(lots, "use_by")
    theirs, at_work, left = words(frames["logs"], "spawn_lot"), yard.is_at_work(), yard.left()
    for i in range(len(lots)):
        if not keys[i] or use_by[i] >= NO_DAY:
            continue
        mine = theirs == keys[i]
        waiting = float(left[mine & ~at_work].sum())
        ahead = int(use_by[i]) - yard.as_of
        if waiting <= 0 and (mine.any() or abs(ahead) > HORIZON_WEEKS * WEEK):
            continue
        who = f"{logs_words(waiting)} wait{'s' if waiting == 1 else ''} for it" if waiting else "no log on Logs names it"
        if ahead < 0:
            yield PAST, names[i], int(use_by[i]), f"{who}; ask the supplier before you use it, or buy fresh spawn"
        elif waiting or ahead <= HORIZON_WEEKS * WEEK:
            yield NEAR, names[i], int(use_by[i]), who


# ---- hours -------------------------------------------------------------------------------------------------------

def soak_minutes(book: Diary, yard: Yard) -> float:
    """Minutes a log soaked, from timed events; NaN without one. A log soaked twice counts twice."""
    line, log = book.pairs("soaked")
    timed = book.minutes[line] > TINY
    line, log = line[timed], log[timed]
    logs = float(yard.alive_at(log, book.day[line]).sum())
    named = np.zeros(len(book.day), dtype=bool)
    named[line] = True
    return float(book.minutes[named].sum()) / logs if logs > 0 else np.nan


def hours_ahead(frames: dict, yard: Yard, hours: pd.DataFrame, calendar: pd.DataFrame, upkeep_minutes: float, soaking_minutes: float,
                settings: dict) -> pd.DataFrame:
    """The table hours_ahead: twelve months, and a line without a month for work that has no date yet.

    hours: the table of that name (own timed steps stand in it). calendar: the table soak_calendar. upkeep_minutes: a log and year, with
    picking, soaking and selling. soaking_minutes: from `soak_minutes`; where it is known, that part stands in the weeks of the soaks and
    the rest of the upkeep is spread evenly. settings["hours_free"]: a week, None where not typed.
    """
    first = np.datetime64(yard.as_of, "D").astype("datetime64[M]")
    begins = (first + np.arange(MONTHS_AHEAD + 1)).astype("datetime64[D]").astype(np.int64)
    days = np.diff(np.maximum(begins, yard.as_of))  # of this month, the days left
    soaks = _soak_hours(calendar, begins, soaking_minutes)
    alive = float(yard.alive()[yard.is_at_work()].sum())
    each_day = max(0.0, alive * upkeep_minutes / 60.0 - soaks.sum()) / YEAR_DAYS
    setup, undated, whose = _setup_hours(frames, yard, hours, settings.get("inoculate_within"), begins)
    free = settings.get("hours_free")
    upkeep, spare = each_day * days, np.full(MONTHS_AHEAD, np.nan) if free is None else free * days / WEEK
    needed = soaks + upkeep + setup
    table = pd.DataFrame({
        "month": dates(begins[:-1]), "soak_hours": soaks, "upkeep_hours": upkeep, "setup_hours": setup, "hours_free": spare, "hours": needed,
        "words": [_verdict(*pair) for pair in zip(needed.tolist(), spare.tolist(), strict=True)]})
    if undated > 0:
        last = {"month": pd.NaT, "soak_hours": 0.0, "upkeep_hours": 0.0, "setup_hours": undated, "hours_free": np.nan, "hours": undated,
                "words": f"in no month yet: {whose}"}
        table = pd.concat((table, pd.DataFrame([last]).astype(table.dtypes)), ignore_index=True)
    return table[list(results.COLUMNS["hours_ahead"])]


def _verdict(hours: float, free: float) -> str:
    if np.isnan(free):
        return "type the hours you have free a week on Settings"
    over = hours - free
    return f"{over:,.0f} h more than you have free" if over >= 0.5 else ""


def _soak_hours(calendar: pd.DataFrame, begins: np.ndarray, minutes: float) -> np.ndarray:
    if not len(calendar) or np.isnan(minutes):
        return np.zeros(MONTHS_AHEAD)
    week = day_column(calendar, "week")
    month = np.searchsorted(begins, np.maximum(week, begins[0]), side="right") - 1
    return np.bincount(month[month < MONTHS_AHEAD], numbers(calendar, "logs", 0.0)[month < MONTHS_AHEAD], MONTHS_AHEAD) * minutes / 60.0


def _setup_hours(frames: dict, yard: Yard, hours: pd.DataFrame, weeks, begins: np.ndarray):
    """(hours by month of drilling, filling and the rest, hours without a month, whose they are in words).

    Logs felled are inoculated by their deadline, in this month if that is past; logs with a date of inoculation ahead on it; the logs of
    the Plan on the date typed there. Without a date there is no month.
    """
    used = hours[hours["used"] == "yes"]
    each = float(used["minutes_per_log"].sum()) / 60.0
    felled_each = float(used["minutes_per_log"][used["step"] != "felled"].sum()) / 60.0  # where felling is timed by itself
    left = yard.left()
    wait = ~yard.is_at_work() & (left > TINY)
    felled = wait & (yard.start <= yard.as_of)
    due = np.where(wait & (yard.inoculated < NO_DAY), yard.inoculated, NO_DAY)
    if weeks is not None:
        due = np.where(felled & (due >= NO_DAY), yard.start + round(weeks * WEEK), due)
    work = np.where(wait, left * np.where(felled, felled_each, each), 0.0)
    plan = frames.get("plan", pd.DataFrame())
    planned_due, planned = day_column(plan, "inoculated"), numbers(plan, "count", 1.0) * each if len(plan) else np.zeros(0)
    every_due, every = np.concatenate((due, planned_due)), np.concatenate((work, planned))
    dated = every_due < begins[-1]
    month = np.searchsorted(begins, np.maximum(every_due[dated], yard.as_of), side="right") - 1
    by_month = np.bincount(month, every[dated], MONTHS_AHEAD).astype(float)
    whose = [words for words, hours_of in ((f"{WAITING} without a date (type Felled on Logs)", work[due >= NO_DAY].sum()),
                                           (f"{PLANNED} (type there when you will inoculate)", planned[planned_due >= NO_DAY].sum()))
             if hours_of > TINY]
    return by_month, float(every[every_due >= NO_DAY].sum()), ", ".join(whose)


def every_table(frames: dict, book: Diary, yard: Yard, hours: pd.DataFrame, year: pd.DataFrame, upkeep_minutes: float,
                settings: dict) -> dict[str, pd.DataFrame]:
    """The tables deadlines and hours_ahead. year: the soak calendar of the coming year; the rest as in `hours_ahead`."""
    within = tables.figure("inoculate_within_weeks")
    return {"deadlines": deadlines(frames, yard, settings, (within.low, within.high)),
            "hours_ahead": hours_ahead(frames, yard, hours, year, upkeep_minutes, soak_minutes(book, yard), settings)}

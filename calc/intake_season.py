"""What Settings, Strains and Logs say together of the season: what cannot be meant is asked about, nothing is changed."""
from __future__ import annotations

import math

import numpy as np
import pandas as pd

from calc import dates, season, units
from calc.problems import NOTE, QUESTION, Problem
from calc.season_state import TEMPERATURES
from calc.yard import numbers, words

FIRST_YEAR = 1990  # a day before it is a plain number in a cell that shows dates; the first year that can be closed, too
ENDS = {"season_begins": "First day of soaking", "season_ends": "Last day of soaking"}


def season_questions(frames: dict, settings: dict, profile: str) -> list[Problem]:
    """A question for each fruiting range that is changed over, temperatures that suit no strain, odd ends of the season, rota weeks beyond it.

    frames: the checked tables; settings: in SI, temperatures in deg C. Raises nothing.
    """
    strains = frames.get("strains", pd.DataFrame())
    return [*_ranges(strains, profile), *_temperatures(frames.get("logs", pd.DataFrame()), strains, settings, profile), *_ends(settings),
            *_rota_weeks(frames.get("logs", pd.DataFrame()), settings)]


def _shown(degrees_c: float, profile: str) -> str:
    value = units.fahrenheit_from_celsius(degrees_c) if profile == units.US else degrees_c
    return f"{value:.4g} {units.temperature_unit(profile)}"


def _ranges(strains: pd.DataFrame, profile: str) -> list[Problem]:
    """Ranges of a strain whose low end is above the high one."""
    if not len(strains):
        return []
    asked = []
    for at, name in enumerate(strains["strain"]):
        row = int(strains["row"].iat[at])
        low, high, short, long = (numbers(strains, key)[at] for key in ("fruits_from", "fruits_to", "run_low", "run_high"))
        if low > high:
            asked.append(Problem("Lists", row, "Fruits from", QUESTION, f"{_shown(low, profile)} is above Fruits to, {_shown(high, profile)}",
                                 "the cooler end first", f"Change the two over; until then no month suits {name}", "range_over"))
        if short > long:
            asked.append(Problem("Lists", row, "Spawn run, short", QUESTION, f"{short:g} months are more than Spawn run, long, {long:g}",
                                 "the shorter run first", "Change the two over; until then the months in print are used", "range_over"))
    return asked


def _temperatures(logs: pd.DataFrame, strains: pd.DataFrame, settings: dict, profile: str) -> list[Problem]:
    """Twelve temperatures that are all alike, or that suit none of the strains on Logs."""
    temps = [settings.get(key) for key in TEMPERATURES]
    if season.missing_months(temps):
        return []

    def ask(found: str, needed: str, do: str) -> Problem:
        return Problem("Settings", None, "Mean temperature", QUESTION, found, needed, do, "temperatures")

    if max(temps) - min(temps) < 1e-9:
        return [ask(f"all twelve months are {_shown(temps[0], profile)}", "the mean of each month", "Type each month's own; they are used as typed")]
    met = set(words(logs, "strain")) if len(logs) else set()
    ranges = []
    for at, name in enumerate(words(strains, "strain") if len(strains) else ()):
        low, high = (None if np.isnan(v) else float(v) for v in (numbers(strains, key)[at] for key in ("fruits_from", "fruits_to")))
        turned = None not in (low, high) and low > high
        if name in met and not turned and (low is not None or high is not None):
            ranges.append((low, high))
    if not ranges or _any_month(temps, ranges):
        return []
    us = profile == units.US
    other, other_unit = ([units.fahrenheit_from_celsius(t) for t in temps], "°C") if us else ([units.celsius_from_fahrenheit(t) for t in temps], "°F")
    typed = f"{_shown(min(temps), profile)} to {_shown(max(temps), profile)}"
    if _any_month(other, ranges):
        own = units.temperature_unit(profile)
        return [ask(f"no month from {typed} suits a strain on Logs; read as {other_unit} some would", f"degrees in {own}",
                    f"If they are in {other_unit}, type them in {own}; they are used as typed, so no soak is dated")]
    return [ask(f"no month from {typed} suits a strain on Logs", "the mean of each month, and the ranges of the strains on Lists",
                "Check both; they are used as typed, so no soak is dated")]


def _any_month(temps_c: list, ranges: list) -> bool:
    return any(any(season.months_that_fit(temps_c, low, high) or ()) for low, high in ranges)


def _ends(settings: dict) -> list[Problem]:
    """Ends of the soaking season that are plain numbers, one day, or only one of the two."""
    days = {key: value for key in ENDS if (value := settings.get(key)) is not None and not pd.isna(value)}
    asked = [Problem("Settings", None, ENDS[key], QUESTION, f"{dates.words(day)} is a plain number typed into a date", "a date such as 24 Apr 2026",
                     f"Type the date; until then {day.day} {day:%b} counts", "season_day") for key, day in days.items() if day.year < FIRST_YEAR]
    if asked:
        return asked
    if len(days) == 2 and len({(day.month, day.day) for day in days.values()}) == 1:
        day = days["season_ends"]
        return [Problem("Settings", None, ENDS["season_ends"], QUESTION, f"the season begins and ends on {day.day} {day:%b}: one day a year",
                        "its first and its last day", "Type the other day; it is used as typed", "season_day")]
    if len(days) == 1:
        key, day = next(iter(days.items()))
        span = f"{day.day} {day:%b} to 31 Dec" if key == "season_begins" else f"1 Jan to {day.day} {day:%b}"
        return [Problem("Settings", None, ENDS[key], NOTE, f"only this end is typed; the season was read as {span}", "", "", "season_day")]
    return []


def _rota_weeks(logs: pd.DataFrame, settings: dict) -> list[Problem]:
    """Rota weeks on Logs that the rota on Settings does not have, one question for each number."""
    weeks = settings.get("rota_weeks")
    if not len(logs) or weeks is None or math.isnan(weeks) or weeks <= 0:
        return []
    groups, typed = season.rota_groups(weeks), numbers(logs, "rota_week")
    asked = []
    for week in np.unique(typed[typed > groups]):
        rows = logs["row"].to_numpy(dtype=float)[typed == week]
        more = f", here and in {len(rows) - 1} more row{'s' if len(rows) > 2 else ''}" if len(rows) > 1 else ""
        asked.append(Problem("Logs", int(rows[0]), "Rota week", QUESTION, f"{week:g} is beyond the {groups} weeks of the rota on Settings{more}",
                             f"a whole number, 1 to {groups}", "Type it again, or lengthen the rota on Settings; until then the rota gives it a week",
                             "rota_beyond"))
    return asked

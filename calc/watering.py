"""Rain and watering: weeks against what is wanted, days since water, and what the longest dry spell did.

Wanted: an inch a week in 85 to 95 % shade (Univ. Kentucky FOR-82), or the grower's own on Settings. A watering
without a depth counts as enough for its week, and that is said; a soak wets its logs like a watering.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, tables
from calc.day_numbers import WEEK, monday_of
from calc.moisture import Weighings
from calc.yard import TINY, Diary, Yard, dates

YEAR_DAYS = 365
WEEKS_SHOWN = 12
NEVER = -(2 ** 40)


@dataclass
class Water:
    """Water by line of Events up to the as-of day, and what each row of Logs got of it."""

    day: np.ndarray  # of each wet line: rain, watered, soaked
    depth_m: np.ndarray  # NaN: not written down
    rain: np.ndarray
    soak: np.ndarray
    everywhere: np.ndarray
    line: np.ndarray  # pairs (wet line, row of Logs) of lines that name logs
    log: np.ndarray
    as_of: int
    logs: int

    @property
    def known(self) -> bool:
        """Whether any rain or watering is written down at all."""
        return bool((~self.soak).any())

    def depth(self, first: int, last: int, of=True) -> np.ndarray:
        """Depth by row of Logs from one day to another, metres. of: True for the wet lines that count."""
        inside = (self.day >= first) & (self.day <= last) & ~self.soak & of
        depth = np.where(inside, np.nan_to_num(self.depth_m), 0.0)
        found = np.bincount(self.log, weights=np.where(self.everywhere[self.line], 0.0, depth[self.line]), minlength=self.logs)
        return found + depth[self.everywhere].sum()

    def not_measured(self, first: int, last: int) -> np.ndarray:
        """True for rows of Logs watered without a depth, or soaked, from one day to another."""
        inside = (self.day >= first) & (self.day <= last) & (self.soak | np.isnan(self.depth_m))
        found = np.bincount(self.log, weights=inside[self.line], minlength=self.logs) > 0
        return found | bool((inside & self.everywhere).any())

    def last_day(self) -> np.ndarray:
        """Last wet day by row of Logs; NEVER where none is written down."""
        wet = self.soak | np.isnan(self.depth_m) | (self.depth_m > TINY)
        found = np.full(self.logs, NEVER)
        pair = wet[self.line]
        np.maximum.at(found, self.log[pair], self.day[self.line[pair]])
        return np.maximum(found, self.day[wet & self.everywhere].max(initial=NEVER))

    def wet_days(self) -> np.ndarray:
        """Days on which rain or water fell on the yard or a part of it, sorted."""
        wet = ~self.soak & (np.isnan(self.depth_m) | (self.depth_m > TINY))
        return np.unique(self.day[wet])


def water(book: Diary, logs: int) -> Water:
    """The wet lines of Events. Rain and watering that name no log fall on the whole yard."""
    wet = book.lines("rain", "watered", "soaked")
    number = np.cumsum(wet) - 1
    line, log = book.pairs("rain", "watered", "soaked")
    kind = book.kind[wet]
    everywhere = book.whole_yard[wet] | ((book.named[wet] == 0) & (kind == "rain"))
    depth = np.where(kind == "soaked", np.nan, book.amount[wet])
    return Water(book.day[wet], depth, kind == "rain", kind == "soaked", everywhere & (kind != "soaked"), number[line],
                 log, book.as_of, logs)


def wanted_m(settings: dict) -> float:
    """Water wanted a week, metres: the grower's own, else an inch."""
    typed = settings.get("rain_week")
    return float(typed) if typed is not None else inch_m()


def inch_m() -> float:
    """An inch of rain, metres: the rule's own depth (Univ. Kentucky FOR-82)."""
    return tables.figure("water_weekly_in").typical * 0.0254


def days_dry(rain: Water) -> float:
    """Days since the last rain or watering written down; NaN where none is."""
    wet = rain.wet_days()
    return float(rain.as_of - wet[-1]) if len(wet) else np.nan


def weeks(rain: Water, yard: Yard, settings: dict) -> pd.DataFrame:
    """The table water_weeks: the last 12 weeks, the running one last; a week before the first line is not shown."""
    wet = rain.wet_days()
    if not len(wet):
        return results.empty("water_weeks")
    this = monday_of(rain.as_of)
    first = max(monday_of(int(wet[0])), this - (WEEKS_SHOWN - 1) * WEEK)
    wanted, alive = wanted_m(settings), yard.alive()
    share = np.where(rain.everywhere, 1.0, 0.0)
    if alive.sum() > 0 and len(rain.log):
        share = np.where(rain.everywhere, 1.0, np.bincount(rain.line, weights=alive[rain.log], minlength=len(rain.day)) / alive.sum())
    rows = [_week(rain, start, this, wanted, share) for start in range(first, this + 1, WEEK)]
    return pd.DataFrame(rows, columns=list(results.COLUMNS["water_weeks"]))


def _week(rain: Water, start: int, this: int, wanted: float, share) -> dict:
    inside = (rain.day >= start) & (rain.day < start + WEEK) & ~rain.soak
    depth = np.nan_to_num(rain.depth_m) * share
    fell, gave = float(depth[inside & rain.rain].sum()), float(depth[inside & ~rain.rain].sum())
    blank = int((inside & np.isnan(rain.depth_m)).sum())
    said = []
    if blank:
        said.append(f"{blank} watering{'s' if blank > 1 else ''} without a depth: taken as enough")
    if (inside & (share < 1 - TINY)).any():
        said.append("some of it on a part of the logs; the mean over all logs is shown")
    if start == this:
        said.append("so far")
    short = 0.0 if blank else max(0.0, wanted - fell - gave)
    return {"week": pd.Timestamp(dates([start])[0]), "rain_m": fell, "watered_m": gave, "wanted_m": wanted, "short_m": short,
            "words": "; ".join(said), "rows": float(inside.sum())}


def dry_spell(rain: Water, weighed: Weighings) -> pd.DataFrame:
    """The table dry_spell: the longest run of days without rain or water in the last year, and what sample logs lost in it.

    Loss: from the last weighing up to its first day (or the first within it) to the last one within it, as a share.
    A run shorter than the week of the rule (Univ. Kentucky FOR-85) is none.
    """
    wet = rain.wet_days()
    wet = wet[wet >= rain.as_of - YEAR_DAYS]
    if not len(wet):
        return results.empty("dry_spell")
    ends = np.append(wet[1:], rain.as_of + 1) - 1  # the last dry day of the run behind each wet day
    length = ends - wet
    longest = int(np.argmax(length))
    if length[longest] <= tables.figure("dry_days").typical:
        return results.empty("dry_spell")
    first, last = int(wet[longest]) + 1, int(ends[longest])
    lost = _losses(weighed, first, last)
    known = len(lost) > 0
    words = f"{len(lost)} sample log{'s' if len(lost) > 1 else ''} weighed before and in it" if known else \
        "no sample log was weighed before and in it, so what it did is not known"
    return pd.DataFrame([{"from": pd.Timestamp(dates([first])[0]), "to": pd.Timestamp(dates([last])[0]), "days": float(last - first + 1),
                          "logs": float(len(lost)), "loss": float(np.mean(lost)) if known else np.nan,
                          "low": min(lost) if known else np.nan, "high": max(lost) if known else np.nan, "words": words}],
                        columns=list(results.COLUMNS["dry_spell"]))


def _losses(weighed: Weighings, first: int, last: int) -> list[float]:
    """Share of weight lost in the run by each log with two weighings that tell."""
    found = []
    for log in np.unique(weighed.log):
        mine = slice(*np.searchsorted(weighed.log, [log, log + 1]))
        day, weight = weighed.day[mine], weighed.weight_kg[mine]
        inside = np.flatnonzero((day >= first) & (day <= last))
        before = np.flatnonzero(day < first)
        if len(inside) and (len(before) or len(inside) > 1):
            start = weight[before[-1]] if len(before) else weight[inside[0]]
            found.append(float(1.0 - weight[inside[-1]] / start))
    return found



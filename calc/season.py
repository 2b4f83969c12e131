"""The season: months that suit a strain, when first mushrooms may come, when a log may be soaked, the rota.

Days are datetime.date, temperatures any one unit throughout (deg C inside calc). Nothing here guesses: where
the site's temperatures suit no month, the answer is None and `why_no_month` says it in words.
"""
from __future__ import annotations

import calendar
import datetime as dt
import math
from collections import namedtuple

from calc.day_numbers import MONTHS, WEEK

Rota = namedtuple("Rota", "groups logs_per_group logs")
Window = namedtuple("Window", "begins ends")
TEMPERATURES = tuple("temp_" + month for month in MONTHS)  # keys of the settings that hold them


def rota(weight_per_week_kg, weight_per_soaked_log_kg, cycle_weeks):
    """Logs for a weekly weight, as a Rota: groups, logs in each group (soaked in one week), logs in all.

    groups = ceil(cycle in weeks), logs per group = ceil(weekly weight / weight per soaked log), logs =
    product. Both weights in one unit; weight_per_soaked_log counts all logs soaked, also those that fail.
    One group rests while the others take their turn. Source: rota of Univ. Kentucky FOR-85. Raises
    ValueError when the weight per soaked log or the cycle is not above 0, or the weekly weight is below 0.

    >>> rota(2.0, 0.2, 9)
    Rota(groups=9, logs_per_group=10, logs=90)
    """
    if weight_per_soaked_log_kg <= 0.0 or cycle_weeks <= 0.0 or weight_per_week_kg < 0.0:
        raise ValueError("The cycle and weight per soaked log must be above 0, weekly weight 0 or more.")
    groups = rota_groups(cycle_weeks)
    logs_per_group = math.ceil(round(weight_per_week_kg / weight_per_soaked_log_kg, 9))
    return Rota(groups, logs_per_group, groups * logs_per_group)


def rota_of_logs(logs, cycle_weeks):
    """The Rota that a number of logs makes, rounded up to full groups.

    Source: Univ. Kentucky FOR-85, which rounds 100 logs up to 108 for nine weeks. Raises as `rota`.
    """
    return rota(logs / float(rota_groups(cycle_weeks)), 1.0, cycle_weeks)


def rota_groups(cycle_weeks):
    """Groups of a rota: the cycle in weeks, rounded up, at least one.

    >>> rota_groups(9), rota_groups(8.2)
    (9, 9)
    """
    return max(1, math.ceil(round(cycle_weeks, 9)))


def add_months(day, months):
    """The day some months later by the calendar, as a date.

    The same day of the month, or the month's last where it has none: a month after 31 Jan is 28 or 29 Feb. A
    part of a month is that part of the days of the month that follows. Raises OverflowError beyond year 9999.

    >>> add_months(dt.date(2024, 8, 31), 6).isoformat(), add_months(dt.date(2026, 3, 1), 1.5).isoformat()
    ('2025-02-28', '2026-04-16')
    """
    whole = math.floor(months)
    begins, ends = _whole_months(day, whole), _whole_months(day, whole + 1)
    return begins + dt.timedelta(days=round((months - whole) * (ends - begins).days))


def _whole_months(day, months):
    at = day.year * 12 + day.month - 1 + months
    year, month = at // 12, at % 12 + 1
    if not dt.MINYEAR <= year <= dt.MAXYEAR:
        raise OverflowError("no such year")
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def months_that_fit(temps_c, low_c, high_c):
    """Which months suit a strain: twelve booleans from January on, or None where that cannot be told.

    temps_c: twelve mean temperatures of the months at the site; low_c, high_c: the range the strain fruits
    in, both ends included, None where an end is open. Any one unit throughout. None where a month's
    temperature is missing, or both ends of the range.

    >>> months_that_fit([0, 2, 6, 11, 16, 21, 24, 23, 19, 13, 7, 2], 15, 25).index(True)
    4
    """
    if low_c is None and high_c is None or missing_months(temps_c):
        return None
    low = -math.inf if low_c is None else low_c
    high = math.inf if high_c is None else high_c
    return tuple(low <= temperature <= high for temperature in temps_c)


def missing_months(temps_c):
    """Numbers (1 to 12) of the months whose temperature is missing: None or not a number."""
    known = list(temps_c or ()) + [None] * 12
    return [i + 1 for i in range(12) if known[i] is None or math.isnan(known[i])]


def why_no_month(fits):
    """Why first mushrooms can be given no date, in words; "" where some month suits or nothing is known."""
    if fits is None or any(fits):
        return ""
    return "no month's temperature at the site lies in the strain's fruiting range"


def month_names(months):
    """Months in words, runs as a span: "Apr to Jun, Sep"; a run goes across new year.

    months: numbers from 1 to 12.

    >>> month_names([11, 12, 1, 2, 5])
    'May, Nov to Feb'
    """
    there = set(months)
    if len(there) == 12:
        return "every month"
    starts = [m for m in range(1, 13) if m in there and (m - 2) % 12 + 1 not in there]
    found = []
    for first in starts:
        last = (first + run_length(there, first) - 2) % 12 + 1
        name = MONTHS[first - 1].title()
        found.append(name if last == first else "{} to {}".format(name, MONTHS[last - 1].title()))
    return ", ".join(found)


def run_length(there, first):
    """How many months from `first` on follow each other in a set of months, across new year."""
    length = 0
    while length < 12 and (first - 1 + length) % 12 + 1 in there:
        length += 1
    return length


def next_fitting(day, fits):
    """The day itself where its month suits, else the first day of the next month that does.

    fits: twelve booleans; None: every day suits. None where no month does.
    """
    if fits is None or fits[day.month - 1]:
        return day
    for ahead in range(1, 12):
        first = _whole_months(day.replace(day=1), ahead)
        if fits[first.month - 1]:
            return first
    return None


def last_fitting(day, fits):
    """The last day of the run of suiting months that holds a suiting day; at most a year after it."""
    if fits is None or all(fits):
        return add_months(day, 12)
    ahead = run_length({m for m in range(1, 13) if fits[m - 1]}, day.month)
    return _whole_months(day.replace(day=1), ahead) - dt.timedelta(days=1)


def first_flush(inoculated, run_low_months, run_high_months, fits=None):
    """When first mushrooms may come, as a Window of two dates, or None where no month suits.

    The months are added by the calendar; each end that falls in a month too cold or too hot moves to the
    next day of a month that suits. Where both ends move to one day, the window keeps its length, as far as
    those months last. fits: of `months_that_fit`; None: by the months alone. Months in print: 6 to 18 (Univ.
    Kentucky FOR-85), 6 to 24 (Ohio State Univ. F-0042). Raises ValueError where the months are below 0 or
    the long run is shorter than the short one.

    >>> window = first_flush(dt.date(2026, 3, 1), 6, 18)
    >>> window.begins.isoformat(), window.ends.isoformat()
    ('2026-09-01', '2027-09-01')
    """
    if run_low_months < 0 or run_high_months < run_low_months:
        raise ValueError("The short spawn run must be 0 months or more and not longer than the long one.")
    early, late = add_months(inoculated, run_low_months), add_months(inoculated, run_high_months)
    begins, ends = next_fitting(early, fits), next_fitting(late, fits)
    if begins is None:
        return None
    if ends == begins and late > early:
        ends = min(begins + (late - early), last_fitting(begins, fits))
    return Window(begins, ends)


def own_run(picked, shortest, longest, waiting, low_months, high_months, fewest):
    """Spawn run in months, short and long, from own first picks: (low, high, True), else the book's and False.

    picked: how many first picks of the strain there are; shortest, longest: months that took; waiting: age in
    months of the oldest that has not been picked. From `fewest` on, the shortest and the longest
    replace the book's; while a log waits for longer than any took, the book's long end is kept if it is later.
    """
    if picked < max(1, fewest):
        return low_months, high_months, False
    return shortest, max(longest, high_months) if waiting > longest else longest, True


def may_soak_from(inoculated, force_after_months, last_soak=None, rest_weeks=0.0):
    """The first day a log may be soaked, as a date: old enough and rested.

    A full year before forcing and a rest of whole weeks between soaks: Univ. Kentucky FOR-85. last_soak: None
    if never soaked.

    >>> may_soak_from(dt.date(2024, 2, 29), 12, dt.date(2025, 5, 5), 8).isoformat()
    '2025-06-30'
    """
    old_enough = add_months(inoculated, force_after_months)
    return old_enough if last_soak is None else max(old_enough, last_soak + rest(rest_weeks))


def rest(weeks):
    """A rest of some weeks in whole days, rounded up, as a timedelta."""
    return dt.timedelta(days=math.ceil(round(weeks * WEEK, 9)))


def in_season(day, begins=None, ends=None):
    """Whether a day lies in the soak season, its first and last day included.

    Only day and month of `begins` and `ends` matter; a season that ends before it begins runs across new
    year. Both None: every day; one of them None: to or from the turn of the year. A season that begins or
    ends on 29 Feb has its next or last day there in other years.

    >>> in_season(dt.date(2026, 1, 10), dt.date(2020, 9, 1), dt.date(2020, 4, 30))
    True
    """
    at = (day.month, day.day)
    first = (1, 1) if begins is None else (begins.month, begins.day)
    last = (12, 31) if ends is None else (ends.month, ends.day)
    return first <= at <= last if first <= last else at >= first or at <= last


def soak_day(day, begins, ends, fits):
    """Whether logs may be soaked on a day: inside the season, in a month that suits (None: any month)."""
    return in_season(day, begins, ends) and (fits is None or bool(fits[day.month - 1]))


def monday(day):
    """The Monday of the week of a day."""
    return day - dt.timedelta(days=day.weekday())

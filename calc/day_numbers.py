"""Days as numbers and in words: a spreadsheet's day number, days since 1970, weeks, and how a day is written.

A serial is the spreadsheet's day number, 1 = 1 Jan 1900 in the usual system. Roll-ups count whole days since
1 Jan 1970, a Thursday. Weeks begin on Monday.
"""
from __future__ import annotations

import datetime as dt

EPOCH = dt.date(1899, 12, 30)  # day 0 of the usual system, counted so that days after Feb 1900 agree
SERIALS = (20000, 80000)  # Oct 1954 to Jan 2119: a day number rather than some other count
FIRST = dt.date(1970, 1, 1)
WEEK = 7
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def words(day):
    """A day without ambiguity, as text.

    >>> words(dt.date(2026, 5, 1))
    '1 May 2026'
    """
    return "{} {} {}".format(day.day, MONTHS[day.month - 1].title(), day.year)


def serial_day(number):
    """The day a spreadsheet's day number means, or None where it is no plausible one.

    >>> words(serial_day(46482))
    '5 Apr 2027'
    """
    if not SERIALS[0] <= number <= SERIALS[1]:
        return None
    return EPOCH + dt.timedelta(days=int(number))


def serial(day):
    """The spreadsheet's day number of a day.

    >>> serial(dt.date(2027, 4, 5))
    46482
    """
    return (day - EPOCH).days


def to_date(day):
    """A day since 1970 as a date."""
    return FIRST + dt.timedelta(days=int(day))


def to_day(date):
    """A date as whole days since 1970."""
    return (date - FIRST).days


def day_in_words(day):
    """A day since 1970 without ambiguity, as text.

    >>> day_in_words(0)
    '1 Jan 1970'
    """
    return words(to_date(day))


def monday_of(day):
    """The Monday of the week of a day, or of an array of days, counted since 1970.

    >>> monday_of(0), monday_of(4)
    (-3, 4)
    """
    return day - (day + 3) % WEEK

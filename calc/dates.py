"""Dates as growers write them, and what a spreadsheet has made of them.

A date with one meaning under the workbook's stated order is read; anything else comes back as a question.
Days are datetime.date; a serial is the spreadsheet's day number, 1 = 1 Jan 1900 in the usual system.
"""
from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np

from calc.day_numbers import serial_day, words
from calc.problems import Ask
from calc.quantities import normal

MONTH_FIRST, DAY_FIRST = "month first", "day first"
SYSTEM_1904 = 1462  # days between the two date systems of spreadsheets
FULL = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
        "november", "december")
MONTH = r"([a-z]{3,9})\.?"
WEEKDAY = re.compile(r"^(?:mon|tues?|weds?|thu|thurs?|fri|sat|sun)(?:day|sday|nesday|rsday|urday)?\.?,?\s+")
CLOCK = re.compile(r"[t ]\s*\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?\s*(?:z|[ap]\.?m\.?)?$")
THREE = re.compile(r"^(\d{1,2})\s*([/.-])\s*(\d{1,2})\s*\2\s*('?\d{2}|\d{4})$")
SPACED = re.compile(r"^(\d{1,2}) (\d{1,2}) (\d{4})$")
ISO = re.compile(r"^(\d{4})\s*[-/.]\s*(\d{1,2})\s*[-/.]\s*(\d{1,2})$|^(\d{4})(\d{2})(\d{2})$")
DAY_MONTH = re.compile(rf"^(\d{{1,2}})(?:st|nd|rd|th|\.)?[\s-]*(?:of )?{MONTH}[\s,-]*('?\d{{2}}|\d{{4}})?$")
MONTH_DAY = re.compile(rf"^{MONTH}[\s-]*(\d{{1,2}})(?:st|nd|rd|th|\.)?(?:[\s,-]+('?\d{{2}}|\d{{4}}))?$")
MONTH_YEAR = re.compile(rf"^{MONTH}[\s-]*(\d{{4}})$")
NO_YEAR = re.compile(r"^(\d{1,2})\s*[/.-]\s*(\d{1,2})\.?$")


@dataclass(frozen=True)
class Read:
    """A day understood. approximate: marked as rough; note: how it was read where that is not plain."""

    day: dt.date
    approximate: bool = False
    note: str | None = None


def serial_read(number: float, as_of: dt.date | None = None) -> Read | Ask:
    """A plain number in a date column: a day number with a note, or Ask.

    A day outside the last 30 years that would be inside them under the other date system (1,462 days later or
    earlier) is asked about.
    """
    day = serial_day(number)
    if day is None:
        iso = ISO.match(str(int(number))) if 19500101 <= number <= 21001231 else None
        found = _day(int(iso[4]), int(iso[5]), int(iso[6])) if iso else None
        return found if isinstance(found, Read) else Ask("is a number, not a date", code="not_a_date")
    if as_of and not _recent(day, as_of):
        for shift in (SYSTEM_1904, -SYSTEM_1904):
            other = day + dt.timedelta(days=shift)
            if _recent(other, as_of):
                question = f"is the day number of {words(day)}, or of {words(other)} in the 1904 date system"
                return Ask(question, (other.isoformat(), day.isoformat()), "date_system")
    return Read(day, note=f"day number read as {words(day)}")


def _recent(day: dt.date, as_of: dt.date) -> bool:
    return as_of - dt.timedelta(days=365 * 30) <= day <= as_of + dt.timedelta(days=366)


def read_date(text: str, order: str | None, default_year: int | None = None) -> Read | Ask:
    """The day a text means, or Ask.

    order: "month first", "day first", or None where 4/5/27 must be asked. default_year: the year offered
    where none was typed; it is never taken silently. Raises nothing.

    >>> words(read_date("4/5/27", "day first").day), read_date("April 5", None, 2027).offers
    ('4 May 2027', ('2027-04-05',))
    """
    plain = normal(text).strip(" ,;") if len(str(text)) <= 60 else ""
    if not plain:
        return Ask("is not a date", code="not_a_date")
    rough = bool(re.match(r"^(?:~|about |around |c\.? ?(?=\d)|ca\.? )", plain) or plain.endswith("?"))
    plain = re.sub(r"^(?:~|about |around |ca?\.? ?(?=\d))\s*|\s*\?+$", "", plain).strip()
    plain = WEEKDAY.sub("", CLOCK.sub("", plain)).strip(" ,")
    found = _read(plain, order, default_year)
    if isinstance(found, Read) and rough:
        return Read(found.day, True, found.note or "marked as rough")
    return found


def _read(plain: str, order: str | None, default_year: int | None) -> Read | Ask:
    match = ISO.match(plain)
    if match:
        year, month, day = (int(g) for g in match.groups() if g)
        return _day(year, month, day)
    match = THREE.match(plain) or SPACED.match(plain)
    if match:
        numbers = [g for g in match.groups() if g.strip("/.- ")]
        return _numbers(int(numbers[0]), int(numbers[1]), _year(numbers[2]), order)
    match = DAY_MONTH.match(plain)
    if match and _month(match[2]):
        return _named(match[1], match[2], match[3], default_year)
    match = MONTH_YEAR.match(plain)
    if match and _month(match[1]):
        return Ask("names no day", (f"{match[2]}-{_month(match[1]):02d}-01",), "no_day")
    match = MONTH_DAY.match(plain)
    if match and _month(match[1]):
        return _named(match[2], match[1], match[3], default_year)
    match = NO_YEAR.match(plain)
    if match:
        return _without_year(int(match[1]), int(match[2]), order, default_year)
    if re.fullmatch(r"\d{5}(?:\.\d+)?", plain):
        return serial_read(float(plain))
    return Ask("is not a date", code="not_a_date")


def _month(name: str) -> int | None:
    """Month number from a name of three letters or more, or the start of one."""
    found = [i + 1 for i, full in enumerate(FULL) if full.startswith(name) or (i == 8 and name == "sept")]
    return found[0] if len(name) >= 3 and len(found) == 1 else None


def _year(text: str) -> int:
    digits = text.lstrip("'")
    if len(digits) == 4:
        return int(digits)
    return int(digits) + (2000 if int(digits) < 70 else 1900)


def _day(year: int, month: int, day: int) -> Read | Ask:
    try:
        return Read(dt.date(year, month, day))
    except ValueError:
        return Ask("is no day of the calendar", code="not_a_date")


def _numbers(first: int, second: int, year: int, order: str | None) -> Read | Ask:
    if first > 12 or order == DAY_FIRST and second <= 12:
        return _day(year, second, first)
    if second > 12 or order == MONTH_FIRST:
        return _day(year, first, second)
    month_first, day_first = _day(year, first, second), _day(year, second, first)
    if isinstance(month_first, Ask) or isinstance(day_first, Ask) or month_first == day_first:
        return month_first
    return Ask(f"is {words(month_first.day)} or {words(day_first.day)}",
               (month_first.day.isoformat(), day_first.day.isoformat()), "two_meanings")


def _named(day: str, month: str, year: str | None, default_year: int | None) -> Read | Ask:
    if year is None:
        return _offer_year(_month(month), int(day), default_year)
    return _day(_year(year), _month(month), int(day))


def _offer_year(month: int, day: int, default_year: int | None) -> Ask:
    found = _day(default_year or 2000, month, day)
    if isinstance(found, Ask):
        return found
    return Ask("names no year", (found.day.isoformat(),) if default_year else (), "no_year")


def _without_year(first: int, second: int, order: str | None, default_year: int | None) -> Ask:
    found = _numbers(first, second, default_year or 2000, order)
    if isinstance(found, Ask):
        return found if found.code != "two_meanings" else Ask("names no year", code="no_year")
    return _offer_year(found.day.month, found.day.day, default_year)


def shape(text: str) -> str | None:
    """How a text of three numbers must be read: "month first", "day first", or None where it does not say.

    >>> shape("4/13/27"), shape("13/4/27"), shape("4/5/27")
    ('month first', 'day first', None)
    """
    match = THREE.match(CLOCK.sub("", normal(text).strip(" ,;")))
    if not match:
        return None
    first, second = int(match[1]), int(match[3])
    if first > 12 >= second:
        return DAY_FIRST
    return MONTH_FIRST if second > 12 >= first else None


def column_order(texts, stated: str | None) -> tuple[str | None, str | None]:
    """(order to read a column's texts by, why the ambiguous ones must be asked).

    A column that holds a text of the other order than the stated one, or of both, is not to be guessed row by
    row: the order is then None.

    >>> column_order(["4/13/27", "4/5/27"], "month first")
    ('month first', None)
    >>> column_order(["13/4/27", "4/5/27"], "month first")
    (None, 'the column also holds "13/4/27", which is day first')
    """
    seen: dict[str, str] = {}
    for text in texts:
        order = shape(text)
        if order:
            seen.setdefault(order, text)
    if len(seen) == 2 and stated is None:
        return None, f'the column holds both "{seen[MONTH_FIRST]}" and "{seen[DAY_FIRST]}"'
    for order, text in seen.items():
        if stated not in (None, order):
            return None, f'the column also holds "{text}", which is {order}'
    return (stated or next(iter(seen), None)), None


def swapped_half(days: np.ndarray, as_text: np.ndarray, texts) -> int:
    """How many real dates of a column probably have day and month turned round; 0 where nothing says so.

    days: datetime64[D] in row order, NaT where blank; as_text: True where the cell held a text; texts: those
    texts. A pasted file leaves this trace: every real date has a day of 12 or less, the dates with a greater
    day stayed text, and the rows run better in time with the real dates turned round.
    """
    real = ~np.isnat(days) & ~as_text
    if real.sum() < 3 or not any(shape(t) for t in texts):
        return 0
    stamp = days[real].astype("datetime64[D]").astype(object)
    if any(d.day > 12 for d in stamp) or all(d.day == d.month for d in stamp):
        return 0
    turned = days.copy()
    turned[real] = np.array([np.datetime64(turn(d)) for d in stamp], dtype=days.dtype)
    return int(real.sum()) if backward_steps(turned) < backward_steps(days) else 0


def turn(day: dt.date) -> dt.date:
    """The day with day and month changed over; only for a day of 12 or less."""
    return dt.date(day.year, day.day, day.month)


def backward_steps(days: np.ndarray) -> int:
    """How often a column of days goes back in time from one filled row to the next."""
    filled = days[~np.isnat(days)]
    return int((np.diff(filled).astype("timedelta64[D]").astype(int) < 0).sum())

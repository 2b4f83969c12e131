"""Dates as growers write them, and what a spreadsheet has made of them."""
import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.dates import (
    DAY_FIRST,
    MONTH_FIRST,
    Read,
    column_order,
    read_date,
    serial_read,
    shape,
    swapped_half,
    turn,
    words,
)
from calc.problems import Ask

APRIL_5, APRIL_13 = dt.date(2027, 4, 5), dt.date(2027, 4, 13)


@pytest.mark.parametrize("text, day", [
    ("2027-04-05", APRIL_5), ("2027/4/5", APRIL_5), ("20270405", APRIL_5), ("2027-04-05T10:00:00", APRIL_5),
    ("2027-04-05 10:00", APRIL_5), ("4/13/27", APRIL_13), ("13/4/27", APRIL_13), ("13.04.2027", APRIL_13),
    ("13-4-27", APRIL_13), ("5 Apr 27", APRIL_5), ("5 April 2027", APRIL_5), ("April 5, 2027", APRIL_5),
    ("Apr. 5 2027", APRIL_5), ("5-Apr-2027", APRIL_5), ("5th of April 2027", APRIL_5),
    ("5. April 2027", APRIL_5),
    ("Mon 5 Apr 2027", APRIL_5), ("５ Apr\u00a027", APRIL_5),
    ("5/5/27", dt.date(2027, 5, 5)),
    ("Sept 3, 2026", dt.date(2026, 9, 3)), ("April 5 '27", APRIL_5),
])
@pytest.mark.parametrize("order", [MONTH_FIRST, DAY_FIRST, None])
def test_dates_with_one_meaning(text, day, order):
    assert read_date(text, order) == Read(day)


def test_the_stated_order_decides_and_without_one_it_is_asked():
    assert read_date("4/5/27", MONTH_FIRST).day == APRIL_5
    assert read_date("4/5/27", DAY_FIRST).day == dt.date(2027, 5, 4)
    assert read_date("4/5/27", None) == Ask(
        "is 5 Apr 2027 or 4 May 2027", ("2027-04-05", "2027-05-04"), "two_meanings")


def test_a_missing_year_is_asked_and_the_season_offered():
    assert read_date("April 5", MONTH_FIRST, 2027) == Ask("names no year", ("2027-04-05",), "no_year")
    assert read_date("4/5", DAY_FIRST, 2027) == Ask("names no year", ("2027-05-04",), "no_year")
    assert read_date("4/5", None, 2027) == Ask("names no year", code="no_year")  # two days it may be: neither is offered
    assert read_date("April 2027", None) == Ask("names no day", ("2027-04-01",), "no_day")


@pytest.mark.parametrize("text", ["lots", "", "today", "13/13/27", "31/2/27", "2027-02-30", "5-6 Apr 27",
                                  "x" * 99])
def test_what_is_no_date(text):
    assert isinstance(read_date(text, MONTH_FIRST, 2027), Ask)


# Day 46482 is 5 Apr 2027: 2027-01-01 is day 46388 (127 years of 365 days and 31 leap days after 1899-12-31,
# 127 x 365 + 31 + 1, and 1 for the day 29 Feb 1900 that spreadsheets count), and 5 April is its 95th day.
def test_day_numbers():
    assert 127 * 365 + 31 + 1 + 1 == 46388 and 46388 + 94 == 46482
    assert serial_read(46482.0) == Read(APRIL_5, note="day number read as 5 Apr 2027")
    assert read_date("46482", MONTH_FIRST).day == APRIL_5
    assert serial_read(12.0) == Ask("is a number, not a date", code="not_a_date")
    assert serial_read(20270405.0) == Read(APRIL_5)


def test_the_other_date_system_is_asked_about():
    as_of = dt.date(2027, 6, 1)
    # 46482 + 1462 = 47944, 6 Apr 2031: four years ahead; 1,462 days earlier is last April.
    assert serial_read(47944.0, as_of) == Ask(
        "is the day number of 6 Apr 2031, or of 5 Apr 2027 in the 1904 date system",
        ("2027-04-05", "2031-04-06"), "date_system")
    assert serial_read(46482.0, as_of).day == APRIL_5


def test_a_day_is_taken_from_thirty_years_back_to_a_year_ahead():
    """1 June 2027 is day 46539: 46482 for 5 April and 57 more. 30 x 365 = 10,950 days before it and 366 after it are still taken."""
    as_of, today = dt.date(2027, 6, 1), 46482 + 25 + 31 + 1
    assert serial_read(today, as_of).day == as_of
    for days, code in ((-10950, None), (-10951, "date_system"), (366, None), (367, "date_system")):
        assert getattr(serial_read(today + days, as_of), "code", None) == code, days


def test_a_rough_date_is_marked():
    assert read_date("~5 Apr 27", None) == Read(APRIL_5, True, "marked as rough")


def test_a_column_of_both_orders_is_never_guessed_row_by_row():
    assert column_order(["4/13/27", "13/4/27", "4/5/27"], None) == (
        None, 'the column holds both "4/13/27" and "13/4/27"')
    assert column_order(["4/13/27", "13/4/27"], MONTH_FIRST) == (
        None, 'the column also holds "13/4/27", which is day first')
    assert column_order(["4/5/27"], DAY_FIRST) == (DAY_FIRST, None)
    assert column_order(["13/4/27"], None) == (DAY_FIRST, None)
    assert column_order([], None) == (None, None)
    assert (shape("12/13/27"), shape("13/12/27"), shape("12/12/27")) == (MONTH_FIRST, DAY_FIRST, None)


def test_a_pasted_column_half_turned_round_is_noticed():
    # Typed day first: 1, 9, 17 and 25 May, 2, 10 and 18 June; a month-first program turned those with a day
    # of 12 or less into 5 Jan, 5 Sep, 6 Feb and 6 Oct, and left the others as text.
    days = np.array(["2026-01-05", "2026-09-05", "2026-05-17", "2026-05-25", "2026-02-06", "2026-10-06",
                     "2026-06-18"], dtype="datetime64[D]")
    as_text = np.array([False, False, True, True, False, False, True])
    texts = ["17/05/2026", "25/05/2026", "18/06/2026"]
    assert swapped_half(days, as_text, texts) == 4
    straight = days.copy()
    right = ["2026-05-01", "2026-05-09", "2026-06-02", "2026-06-10"]
    straight[[0, 1, 4, 5]] = np.array(right, dtype="datetime64[D]")
    assert swapped_half(straight, as_text, texts) == 0
    assert swapped_half(days, np.zeros(7, bool), []) == 0
    assert swapped_half(days, np.array([False] * 3 + [True] * 2 + [False] * 2), texts) == 0  # 17 May is a real date: it was not turned


@given(st.dates(dt.date(1970, 1, 1), dt.date(2069, 12, 31)))
def test_every_spelling_of_a_day_gives_the_day(day):
    for text in (day.isoformat(), words(day), f"{day:%d %B %Y}", f"{day:%B} {day.day}, {day.year}"):
        assert read_date(text, None) == Read(day)
    assert read_date(f"{day.month}/{day.day}/{day.year}", MONTH_FIRST) == Read(day)
    assert read_date(f"{day.day}.{day.month}.{day:%y}", DAY_FIRST) == Read(day)
    if day.day <= 12:
        assert turn(turn(day)) == day


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=70), st.text("0123456789/.- aprilmayjun'~?,:", max_size=20)),
       st.sampled_from((None, MONTH_FIRST, DAY_FIRST)))
def test_nothing_typed_ever_raises(text, order):
    assert isinstance(read_date(text, order, 2027), (Read, Ask))
    assert shape(text) in (None, MONTH_FIRST, DAY_FIRST)
    assert len(column_order([text], order)) == 2


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_number_in_a_date_column_raises(number):
    assert isinstance(serial_read(number, dt.date(2027, 1, 1)), (Read, Ask))

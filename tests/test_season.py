"""The season: months added by the calendar, windows in months that suit, seasons across new year, the soak day."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import season, tables
from calc.arguments import BadArgument
from calc.functions import evaluate

DAY = dt.date
# Mean temperatures of the months at an invented temperate site, deg C, January first.
NORTH = (-1, 1, 5, 11, 16, 21, 23, 22, 18, 12, 7, 1)
SOUTH = NORTH[6:] + NORTH[:6]
WIDE = (15, 25)  # 59-77 F as a trade page prints it: May to September at the site above
DAYS = st.dates(DAY(1990, 1, 1), DAY(2090, 12, 31))
TEMPS = st.lists(st.floats(-30, 45), min_size=12, max_size=12)


@given(DAYS, st.integers(0, 240))
@settings(max_examples=300)
def test_months_are_those_of_a_well_kept_library(day, months):
    assert season.add_months(day, months) == (pd.Timestamp(day) + pd.DateOffset(months=months)).date()


def test_months_at_the_edges_of_the_calendar():
    assert season.add_months(DAY(2024, 2, 29), 12) == DAY(2025, 2, 28)
    assert season.add_months(DAY(2024, 2, 29), 48) == DAY(2028, 2, 29)
    assert season.add_months(DAY(2025, 12, 31), 2) == DAY(2026, 2, 28)
    assert season.add_months(DAY(2026, 3, 1), 0.5) == DAY(2026, 3, 17)  # half of 31 days, 15.5, to the even 16


def test_first_mushrooms_of_the_bulletin():
    # Univ. Kentucky FOR-85: 6 to 18 months; from 1 March 2026 that is 1 September 2026 to 1 September 2027.
    figure = tables.figure("first_mushrooms_months")
    assert (figure.low, figure.high, figure.source) == (6, 18, "uky_for85")
    assert season.first_flush(DAY(2026, 3, 1), figure.low, figure.high) == (DAY(2026, 9, 1), DAY(2027, 9, 1))


def test_both_ends_wait_for_a_month_that_suits():
    fits = season.months_that_fit(NORTH, *WIDE)
    assert season.month_names([i + 1 for i in range(12) if fits[i]]) == "May to Sep"
    # 10 April 2026 + 6 months is 10 October, too cold: 1 May 2027; + 12 months is 10 April 2027: the same day.
    # The window keeps its 182 days (10 Oct to 10 Apr), but ends with September, 152 days after 1 May.
    assert season.first_flush(DAY(2026, 4, 10), 6, 12, fits) == (DAY(2027, 5, 1), DAY(2027, 9, 30))
    assert season.first_flush(DAY(2026, 4, 10), 6, 18, fits) == (DAY(2027, 5, 1), DAY(2028, 5, 1))
    # one month long: 10 October to 10 November would be 31 days from 1 May
    assert season.first_flush(DAY(2026, 4, 10), 6, 7, fits) == (DAY(2027, 5, 1), DAY(2027, 6, 1))


def test_a_month_can_be_too_hot():
    # A cold strain, 7-20 deg C: April, May, September, October at the site above; June 10 + 2 months is August.
    fits = season.months_that_fit(NORTH, 7, 20)
    assert [i + 1 for i in range(12) if fits[i]] == [4, 5, 9, 10, 11]
    assert season.first_flush(DAY(2026, 6, 10), 2, 6, fits) == (DAY(2026, 9, 1), DAY(2027, 4, 1))


def test_southern_hemisphere_waits_across_new_year():
    fits = season.months_that_fit(SOUTH, *WIDE)
    assert season.month_names([i + 1 for i in range(12) if fits[i]]) == "Nov to Mar"
    # 20 August 2026 + 7 months is 20 March 2027, + 9 is 20 May, too cold: 1 November 2027
    assert season.first_flush(DAY(2026, 8, 20), 7, 9, fits) == (DAY(2027, 3, 20), DAY(2027, 11, 1))
    assert season.last_fitting(DAY(2026, 12, 5), fits) == DAY(2027, 3, 31)


@given(DAYS, st.floats(0, 36), st.floats(0, 36), TEMPS, st.floats(-10, 30), st.floats(-10, 40))
@settings(max_examples=400)
def test_never_in_a_month_too_cold_or_too_hot_never_before_the_short_run(day, low, more, temps, cold, hot):
    fits = season.months_that_fit(temps, cold, hot)
    found = season.first_flush(day, low, low + more, fits)
    if not any(fits):
        assert found is None and "no month" in season.why_no_month(fits)
        return
    assert season.why_no_month(fits) == ""
    for end in found:
        assert cold <= temps[end.month - 1] <= hot
    assert season.add_months(day, low) <= found.begins <= found.ends
    between = [found.begins + dt.timedelta(days=n) for n in range((found.begins - season.add_months(day, low)).days)]
    earlier = [season.add_months(day, low) + dt.timedelta(days=n) for n in range(len(between))]
    assert not any(fits[d.month - 1] for d in earlier)  # not later than needed either


def test_missing_temperatures_are_not_filled_in():
    assert season.months_that_fit((None,) * 12, *WIDE) is None
    assert season.months_that_fit((*NORTH[:11], None), *WIDE) is None
    assert season.months_that_fit((*NORTH[:11], float("nan")), *WIDE) is None
    assert season.missing_months((*NORTH[:10], None)) == [11, 12]
    assert season.months_that_fit(NORTH, None, None) is None  # the strain's range is not known
    assert season.months_that_fit(NORTH, 20, None) == tuple(t >= 20 for t in NORTH)


@pytest.mark.parametrize("low, high", [(-1, 5), (7, 6)])
def test_a_spawn_run_that_cannot_be_is_refused(low, high):
    with pytest.raises(ValueError, match="spawn run"):
        season.first_flush(DAY(2026, 3, 1), low, high)


def test_own_first_picks_replace_the_book():
    assert season.own_run(2, 7.0, 9.5, 0.0, 6, 18, 3) == (6, 18, False)  # two are not enough
    assert season.own_run(3, 7.0, 9.5, 0.0, 6, 18, 3) == (7.0, 9.5, True)
    assert season.own_run(3, 7.0, 9.5, 8.0, 6, 18, 3) == (7.0, 9.5, True)
    assert season.own_run(3, 7.0, 9.5, 14.0, 6, 18, 3) == (7.0, 18, True)  # one still waits: not yet told
    assert season.own_run(3, 20.0, 22.0, 23.0, 6, 18, 3) == (20.0, 22.0, True)
    assert season.own_run(3, 7.0, 9.5, 9.5, 6, 18, 3) == (7.0, 9.5, True)  # waits as long as the longest took, not longer


def test_a_week_without_a_sale_needs_no_logs_in_its_groups():
    assert season.rota(0.0, 0.2, 9) == (9, 0, 0)


def test_a_run_of_months_goes_once_round_the_year_and_no_further():
    assert season.run_length({11, 12, 1}, 11) == 3 and season.run_length(set(range(1, 13)), 3) == 12


def test_a_full_year_before_forcing_and_a_rest_between_soaks():
    # FOR-85: do not force before a full year; nine weeks from soak to soak.
    assert tables.figure("force_after_months").typical == 12 and tables.figure("rota_weeks").typical == 9
    assert season.may_soak_from(DAY(2024, 2, 29), 12) == DAY(2025, 2, 28)
    assert season.may_soak_from(DAY(2024, 3, 1), 12, DAY(2025, 5, 5), 9) == DAY(2025, 7, 7)
    assert season.may_soak_from(DAY(2024, 3, 1), 12, DAY(2024, 6, 1), 9) == DAY(2025, 3, 1)
    assert season.rest(8.5) == dt.timedelta(days=60)


@pytest.mark.parametrize("begins, ends, inside, outside", [
    ((4, 15), (10, 15), [(4, 15), (10, 15), (7, 1)], [(4, 14), (10, 16), (1, 1)]),
    ((9, 1), (4, 30), [(9, 1), (4, 30), (12, 31), (1, 1), (2, 28)], [(8, 31), (5, 1)]),
    ((2, 29), (10, 1), [(3, 1), (10, 1)], [(2, 28), (10, 2)]),
    ((9, 1), (2, 29), [(2, 28), (9, 1)], [(3, 1), (8, 31)]),
    ((5, 1), (5, 1), [(5, 1)], [(4, 30), (5, 2)]),
    (None, (6, 30), [(1, 1), (6, 30)], [(7, 1), (12, 31)]),
    ((6, 1), None, [(6, 1), (12, 31)], [(5, 31), (1, 1)]),
    (None, None, [(1, 1), (12, 31)], []),
])
def test_first_and_last_day_of_the_season_count(begins, ends, inside, outside):
    edges = [DAY(2020, *edge) if edge else None for edge in (begins, ends)]  # the year of the typed date is nothing
    assert all(season.in_season(DAY(2027, *day), *edges) for day in inside)
    assert not any(season.in_season(DAY(2027, *day), *edges) for day in outside)


def test_a_leap_day_is_in_a_season_that_ends_on_it():
    assert season.in_season(DAY(2028, 2, 29), DAY(2020, 9, 1), DAY(2020, 2, 29))
    assert not season.in_season(DAY(2028, 3, 1), DAY(2020, 9, 1), DAY(2020, 2, 29))


def test_months_in_words():
    assert season.month_names([]) == "" and season.month_names(range(1, 13)) == "every month"
    assert season.month_names([6]) == "Jun" and season.month_names([11, 12, 1]) == "Nov to Jan"


SERIAL = 46082  # 1 March 2026; 1 September is 184 days later: 31+30+31+30+31+31


def test_the_worksheet_function_takes_and_gives_days():
    for typed in (SERIAL, float(SERIAL), DAY(2026, 3, 1), dt.datetime(2026, 3, 1, 14), "2026-03-01", [[SERIAL]]):
        assert evaluate("first_flush", typed, 6, 18) == [[SERIAL + 184.0, SERIAL + 184.0 + 365.0]]
    temps = [[t] for t in NORTH]
    assert evaluate("BOLT.FIRST_FLUSH", "2026-04-10", 6, 18, *WIDE, temps) == evaluate("first_flush", "2026-11-01", 6, 18)
    # A cold strain, 7 to 20 deg C: 10 August is too hot, so both ends wait: 1 September 2026 and 1 April 2027.
    assert evaluate("first_flush", "2026-06-10", 2, 6, 7, 20, temps) == [[SERIAL + 184.0, SERIAL + 184.0 + 212.0]]
    in_f = [[t * 1.8 + 32 for t in NORTH]]
    assert evaluate("first_flush", "2026-04-10", 6, 18, 59, 77, in_f) == evaluate("first_flush", "2026-04-10", 6, 18, *WIDE, temps)


@pytest.mark.parametrize("cells, sentence, error", [
    (("5/1/2026", 6, 18), 'inoculated: "5/1/2026" is text. Needed: a date. Type it again as a date, or write it year first: 2026-05-01.',
     "#VALUE!"),
    ((0, 6, 18), "inoculated: 0 is no date of our time. Needed: a date. Check that cell.", "#NUM!"),
    ((True, 6, 18), "inoculated: found True. Needed: a date. Point to one cell with a date.", "#VALUE!"),
    (("#REF!", 6, 18), "inoculated: the error #REF!. Needed: a date. Mend that cell first.", "#VALUE!"),
    ((SERIAL, 18, 6), "BOLT_FIRST_FLUSH: the short spawn run must be 0 months or more and not longer than the long one. Needed: "
     "numbers that fit together. Check them and their units.", "#NUM!"),
    ((SERIAL, 6, 18, 15, 25, [list(NORTH[:10])]), "monthly_temperatures: missing: Nov to Dec. Needed: the mean temperature of each of the "
     "twelve months, January first. Point to twelve cells, or leave all temperatures out.", "#VALUE!"),
    ((SERIAL, 6, 18, 15), "monthly_temperatures: missing: all. Needed: the mean temperature of each of the twelve months, January first. "
     "Point to twelve cells, or leave all temperatures out.", "#VALUE!"),
    ((SERIAL, 6, 18, None, None, [list(NORTH)]), "fruits_from: is blank, and fruits_to too. Needed: the temperatures the strain fruits in. "
     "Type at least one of them, or leave all temperatures out.", "#VALUE!"),
    ((SERIAL, 6, 18, 30, 35, [list(NORTH)]), "monthly_temperatures: no month's temperature at the site lies in the strain's fruiting range. "
     "Needed: a month that suits the strain. Check the strain's range and the unit of the temperatures.", "#N/A"),
])
def test_what_the_function_says_of_bad_cells(cells, sentence, error):
    with pytest.raises(BadArgument) as caught:
        evaluate("first_flush", *cells)
    assert (str(caught.value), caught.value.host_error) == (sentence, error)


def test_the_rota_of_the_bulletin_and_its_limits():
    # Univ. Kentucky FOR-85: 100 logs on nine weeks are rounded up to 108
    assert tuple(season.rota_of_logs(100, 9)) == (9, 12, 108)
    assert tuple(season.rota(0.25, 0.5, 0.5)) == (1, 1, 1)  # half a week is one group, half a log one log
    assert season.rota(3 + 3e-10, 1, 9 + 3e-10) == (9, 3, 27) and season.rota(3 + 3e-9, 1, 9 + 3e-9) == (10, 4, 40)
    assert season.rest(1 / 7 + 3e-11) == dt.timedelta(days=1) and season.rest(1 / 7 + 3e-10) == dt.timedelta(days=2)
    for wrong in ((1, 0, 9), (1, 0.2, 0), (-0.5, 0.2, 9)):
        with pytest.raises(ValueError, match="^The cycle and weight per soaked log must be above 0, weekly weight 0 or more.$"):
            season.rota(*wrong)


def test_the_first_and_the_last_year_of_the_calendar():
    assert season.add_months(DAY(1, 3, 1), -2) == DAY(1, 1, 1) and season.add_months(DAY(9999, 1, 31), 10) == DAY(9999, 11, 30)
    for day, months in ((DAY(1, 1, 1), -1), (DAY(9999, 12, 1), 1)):
        with pytest.raises(OverflowError, match="^no such year$"):
            season.add_months(day, months)


def test_a_range_open_at_one_end():
    assert season.months_that_fit(NORTH, None, 5) == tuple(t <= 5 for t in NORTH)
    assert season.months_that_fit(None, 1, 5) is None and season.missing_months(None) == list(range(1, 13))
    assert season.why_no_month(None) == ""


def test_the_only_month_that_suits_may_be_the_one_just_past():
    only_may = [month == 5 for month in range(1, 13)]
    assert season.next_fitting(DAY(2026, 6, 15), only_may) == DAY(2027, 5, 1)
    assert season.next_fitting(DAY(2026, 5, 15), only_may) == DAY(2026, 5, 15)
    assert season.next_fitting(DAY(2026, 4, 30), only_may) == DAY(2026, 5, 1)
    assert season.next_fitting(DAY(2026, 6, 15), [False] * 12) is None
    assert season.next_fitting(DAY(2026, 6, 15), None) == DAY(2026, 6, 15)
    assert season.last_fitting(DAY(2026, 5, 15), only_may) == DAY(2026, 5, 31)
    for always in (None, [True] * 12):
        assert season.last_fitting(DAY(2026, 5, 15), always) == DAY(2027, 5, 15)


def test_a_run_of_no_months_and_a_run_without_a_spread():
    assert season.first_flush(DAY(2026, 3, 1), 0, 0) == (DAY(2026, 3, 1), DAY(2026, 3, 1))
    assert season.first_flush(DAY(2026, 3, 1), 6, 6) == (DAY(2026, 9, 1), DAY(2026, 9, 1))
    only_may = [month == 5 for month in range(1, 13)]
    assert season.first_flush(DAY(2026, 3, 1), 6, 6, only_may) == (DAY(2027, 5, 1), DAY(2027, 5, 1))


def test_own_picks_at_the_fewest_that_count():
    assert season.own_run(0, 0.0, 0.0, 0.0, 6, 18, 0) == (6, 18, False)  # none is never enough
    assert season.own_run(1, 7.0, 7.0, 0.0, 6, 18, 1) == (7.0, 7.0, True)
    assert season.own_run(2, 7.0, 9.0, 9.5, 6, 18, 2) == (7.0, 18, True)


def test_the_week_begins_on_monday_and_a_day_to_soak_suits_in_season_and_month():
    # 23 November 2026 is a Monday
    assert [season.monday(DAY(2026, 11, day)) for day in (22, 23, 29)] == [DAY(2026, 11, 16)] + [DAY(2026, 11, 23)] * 2
    only_may = [month == 5 for month in range(1, 13)]
    assert season.soak_day(DAY(2026, 5, 1), DAY(2020, 4, 1), DAY(2020, 9, 1), only_may)
    assert not season.soak_day(DAY(2026, 6, 1), DAY(2020, 4, 1), DAY(2020, 9, 1), only_may)
    assert not season.soak_day(DAY(2026, 5, 1), DAY(2020, 6, 1), DAY(2020, 9, 1), only_may)
    assert season.soak_day(DAY(2026, 6, 1), None, None, None)


def test_months_in_words_across_new_year_and_apart():
    assert season.month_names([1, 12]) == "Dec to Jan" and season.month_names([4, 5, 6, 9]) == "Apr to Jun, Sep"
    assert season.month_names([1, 3, 12]) == "Mar, Dec to Jan" and season.month_names([12]) == "Dec"

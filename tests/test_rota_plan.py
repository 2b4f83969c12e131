"""The soak calendar: equal groups, turns, ages and rests kept, seasons, the tank; checked against plain counting."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import soak_yards as sy
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import rota_plan, season, season_state
from calc.yard import NO_DAY


def calendar(plan):
    return rota_plan.calendar(plan)


def test_the_bulletins_nine_groups_of_twelve():
    # Univ. Kentucky FOR-85: 108 logs make nine groups of 12, one soaked each week.
    plan = sy.planned(["2024-03-01"] * 108, "2026-05-04", weeks=20)
    assert plan.groups == 9 and np.bincount(plan.group).tolist() == [0] + [12] * 9
    table = calendar(plan)
    assert table["logs"].tolist() == [12.0] * 20 and (table["week"].diff().dropna() == pd.Timedelta(days=7)).all()
    assert table["group"].iloc[:9].nunique() == 9 and table["group"].iloc[9:18].tolist() == table["group"].iloc[:9].tolist()


def test_groups_of_a_hundred_logs_are_even():
    plan = sy.planned(["2024-03-01"] * 100, "2026-05-04")
    assert sorted(np.bincount(plan.group)[1:].tolist()) == [11] * 8 + [12]


def test_each_year_of_logs_is_spread_over_all_groups():
    plan = sy.planned(["2024-03-01"] * 54 + ["2026-03-01"] * 54, "2026-05-04")
    assert np.bincount(plan.group[:54]).tolist() == np.bincount(plan.group[54:]).tolist() == [0] + [6] * 9


def test_the_rhythm_of_the_own_soaks_is_kept():
    # Soaked in the weeks of 4 and 11 May 2026: nine weeks on are those of 6 and 13 July.
    plan = sy.planned(["2024-03-01"] * 3, "2026-05-20", last_soak=["2026-05-04", "2026-05-13", None])
    first = {row: season_state.to_date(plan.next_day[row]) for row in range(3)}
    assert first[0] == dt.date(2026, 7, 6) and first[1] == dt.date(2026, 7, 13)
    assert plan.group[1] - plan.group[0] in (1, -8)


def test_numbers_of_groups_stay_from_week_to_week():
    born, soaks, before = ["2024-03-01"] * 40, [None] * 40, None
    for monday in range(sy.day("2026-05-04"), sy.day("2026-09-01"), 7):
        plan = sy.planned(born, season_state.to_date(monday).isoformat(), last_soak=soaks)
        if before is not None:
            assert plan.group.tolist() == before
        before = plan.group.tolist()
        for row, day in zip(plan.row[plan.week == 0], plan.day[plan.week == 0], strict=True):
            soaks[row] = season_state.to_date(day).isoformat()


def test_a_typed_rota_week_wins():
    plan = sy.planned(["2024-03-01"] * 20, "2026-05-04", rota_week=[3, 3, 5] + [None] * 17)
    assert plan.group[:3].tolist() == [3, 3, 5]
    days = plan.next_day[[0, 2]]
    assert days[1] - days[0] == 14
    # Group 1 opens the season: with May the first suiting month, the first suitable week is that of 27 April (1 May is a Friday).
    assert season_state.to_date(days[0]) == dt.date(2026, 5, 11)


def test_typed_rota_weeks_follow_what_was_soaked():
    # Week 2 was soaked on 20 May (week of the 18th): week 3 comes on the 25th, week 2 again nine weeks after the 18th.
    plan = sy.planned(["2024-03-01"] * 2, "2026-05-21", rota_week=[2, 3], last_soak=["2026-05-20", None])
    assert [season_state.to_date(d) for d in plan.next_day] == [dt.date(2026, 7, 20), dt.date(2026, 5, 25)]


@pytest.mark.parametrize("odd", [0, 10, 2.5, -1])
def test_a_rota_week_that_is_none_of_the_rotas_is_not_taken(odd):
    plan = sy.planned(["2024-03-01"] * 9, "2026-05-04", rota_week=[odd] + [None] * 8)
    assert sorted(plan.group.tolist()) == list(range(1, 10))


def test_a_missed_turn_is_made_up_for():
    # Due in the week of 6 July, not soaked; on 15 July it is late by a week and comes now.
    plan = sy.planned(["2024-03-01"], "2026-07-15", last_soak=["2026-05-04"])
    assert season_state.to_date(plan.next_day[0]) == dt.date(2026, 7, 15)


def test_too_young_at_its_turn_waits_for_the_next_one():
    plan = sy.planned(["2024-03-01", "2025-06-10"], "2026-06-01", rota_week=[1, 1], last_soak=["2026-03-30", None], weeks=20)
    first, second = (season_state.to_date(d) for d in plan.next_day)
    assert first == dt.date(2026, 6, 1) and second == dt.date(2026, 8, 3)  # 12 months on 10 June, after the turn of 1 June
    table = calendar(plan)
    assert table["words"].iloc[0] == "1 log left out: too young to force"
    assert table["logs"].tolist() == [1.0, 2.0]


def test_logs_of_a_year_to_the_day_may_go_in():
    plan = sy.planned(["2025-06-01"], "2026-06-01", rota_week=[1], last_soak=None)
    assert (plan.day >= sy.day("2026-06-01")).all() and len(plan.day)


def test_cold_strains_and_strains_without_a_month_are_not_soaked():
    plan = sy.planned(["2024-03-01"] * 3, "2026-05-04", strain=["wide", "cold", "arctic"])
    assert plan.group[1] == 0 and set(plan.row) == {0}
    alone = sy.planned(["2024-03-01"], "2026-05-04", strain="arctic")
    assert not len(alone.row) and alone.fault.startswith("no month at the site suits these strains")
    assert calendar(alone).empty


def test_without_temperatures_and_season_nothing_is_dated():
    plan = sy.planned(["2024-03-01"], "2026-05-04", site=None)
    assert not len(plan.row) and plan.fault == ("no monthly temperatures on Settings, and no first and last day of the season: type one or the "
                                                "other, then soaks are dated")
    partly = sy.planned(["2024-03-01"], "2026-05-04", site=(*sy.NORTH[:11], None))
    assert not len(partly.row) and partly.fault.startswith("no temperature on Settings for Dec")
    typed = sy.planned(["2024-03-01"] * 9, "2026-05-04", site=None, season_begins=dt.date(2020, 5, 1), season_ends=dt.date(2020, 6, 30))
    assert len(typed.row) == 9 and typed.day.max() <= sy.day("2026-06-30")


def test_first_and_last_day_of_the_season_in_mid_week():
    # 15 May 2026 is a Friday, 1 July a Wednesday. Every row's turn of those weeks falls inside.
    edges = {"season_begins": dt.date(2021, 5, 15), "season_ends": dt.date(2019, 7, 1)}
    plan = sy.planned(["2024-03-01"] * 90, "2026-05-04", weeks=12, **edges)
    days = sorted({season_state.to_date(d) for d in plan.day})
    assert days[0] == dt.date(2026, 5, 15) and days[-1] == dt.date(2026, 6, 29)
    on_the_last = sy.planned(["2024-03-01"] * 90, "2026-07-01", weeks=12, **edges)
    assert {season_state.to_date(d) for d in on_the_last.day} == {dt.date(2026, 7, 1)}
    assert not len(sy.planned(["2024-03-01"] * 90, "2026-07-02", weeks=12, **edges).day)


def test_a_season_across_new_year_in_the_south():
    plan = sy.planned(["2024-03-01"] * 90, "2026-10-01", weeks=40, site=sy.SOUTH)
    months = {season_state.to_date(d).month for d in plan.day}
    assert months == {11, 12, 1, 2, 3}
    gaps = [np.diff(np.sort(plan.day[plan.row == row])) for row in range(90)]
    assert all((g >= 56).all() for g in gaps) and sum(len(g) for g in gaps) > 90


def test_the_tank_moves_what_does_not_fit():
    # 36 logs of 10 L at nine groups: 4 a week; the tank takes 3 logs a load, one load a week.
    plan = sy.planned(["2024-03-01"] * 36, "2026-05-04", tank_volume=0.03, tank_loads=1.0, weeks=18)
    table = calendar(plan)
    assert table.groupby("week")["volume_m3"].sum().max() <= 0.03 + 1e-9
    assert table["words"].iloc[0] == "tank full: 1 log moved to the week of 11 May 2026"
    assert (table["loads"] == 1).all()
    roomy = calendar(sy.planned(["2024-03-01"] * 36, "2026-05-04", tank_volume=0.03, tank_loads=2.0, weeks=18))
    assert (roomy["words"] == "").all() and (roomy["loads"] == 2).all() and (roomy["logs"] == 4).all()
    free = calendar(sy.planned(["2024-03-01"] * 36, "2026-05-04", tank_loads=1.0, weeks=18))
    assert free["loads"].isna().all() and (free["logs"] == 4).all()


def test_a_row_larger_than_the_tank_is_said():
    plan = sy.planned(["2024-03-01"] * 9, "2026-05-04", count=[40] + [1] * 8, volume=0.01, tank_volume=0.1, tank_loads=2.0, weeks=9)
    table = calendar(plan)
    said = table.loc[table["logs"] >= 40, "words"]
    assert len(said) == 1 and "L1 alone is more than the tank holds in a week" in said.iloc[0]


def test_names_and_volumes_of_a_week():
    plan = sy.planned(["2024-03-01"] * 27, "2026-05-04", count=[2] * 27, volume=[0.01] * 26 + [np.nan], weeks=9)
    table = calendar(plan)
    assert table["names"].iloc[0].endswith("(6 logs)") and table["volume_m3"].tolist() == pytest.approx([0.06] * 9)
    assert (table["hours"] == 12).all() and (table["day"] >= table["week"]).all()


ROWS = st.lists(st.tuples(st.integers(200, 1500), st.sampled_from(["wide", "cold forced", "cold"]), st.integers(0, 300),
                          st.one_of(st.none(), st.integers(1, 9)), st.integers(1, 6)), min_size=1, max_size=25)


@given(ROWS, st.integers(0, 364), st.sampled_from([sy.NORTH, sy.SOUTH]), st.sampled_from([None, ((4, 15), (9, 20)), ((10, 5), (2, 29))]),
       st.one_of(st.none(), st.floats(0.02, 0.2)))
@settings(max_examples=150, deadline=None)
def test_ages_rests_seasons_and_the_tank_are_kept(rows, into, site, edges, tank):
    as_of = dt.date(2026, 1, 1) + dt.timedelta(days=into)
    born = [(as_of - dt.timedelta(days=age)).isoformat() for age, *_ in rows]
    soaked = [(as_of - dt.timedelta(days=ago)).isoformat() if ago else None for _, _, ago, _, _ in rows]
    more = {"season_begins": dt.date(2020, *edges[0]), "season_ends": dt.date(2020, *edges[1])} if edges else {}
    more |= {"tank_volume": tank, "tank_loads": 1.0} if tank else {}
    plan = sy.planned(born, as_of.isoformat(), strain=[r[1] for r in rows], last_soak=soaked, rota_week=[r[3] for r in rows],
                      count=[r[4] for r in rows], volume=0.01, site=site, weeks=40, **more)
    strains = sy.STRAINS.set_index("strain")
    last = {row: sy.day(text) for row, text in enumerate(soaked) if text}
    for week, row, day in sorted(zip(plan.week.tolist(), plan.row.tolist(), plan.day.tolist(), strict=True)):
        strain, date = strains.loc[rows[row][1]], pd.Timestamp(season_state.to_date(day))
        assert strain["forces"] != "no"
        assert date >= pd.Timestamp(born[row]) + pd.DateOffset(months=12)
        assert row not in last or day - last[row] >= 7 * strain["rest_weeks"]
        assert strain["fruits_from"] <= site[date.month - 1] <= strain["fruits_to"]
        assert 0 <= day - (plan.monday + 7 * week) < 7 and day >= sy.day(as_of.isoformat())
        if edges:
            at, (first, end) = (date.month, date.day), edges
            assert first <= at <= end if first <= end else at >= first or at <= end
        last[row] = day
    for week in np.unique(plan.week) if tank else ():
        mine = plan.row[plan.week == week]
        assert len(mine) == 1 or sum(rows[r][4] * 0.01 for r in mine) <= tank + 1e-9
    assert (plan.next_day[np.unique(plan.row)] < NO_DAY).all()


@given(st.lists(st.integers(400, 900), min_size=9, max_size=40), st.integers(0, 120))
@settings(max_examples=60, deadline=None)
def test_no_log_is_forgotten_where_every_week_suits(ages, into):
    as_of = dt.date(2026, 1, 1) + dt.timedelta(days=into)
    born = [(as_of - dt.timedelta(days=age)).isoformat() for age in ages]
    plan = sy.planned(born, as_of.isoformat(), site=[20] * 12, weeks=27)
    assert np.bincount(plan.row, minlength=len(ages)).tolist() == [3] * len(ages)  # three turns of nine weeks
    counts = np.bincount(plan.group, minlength=10)[1:]
    assert counts.max() - counts.min() <= 1 or len(set(born)) > 1


def test_rota_groups_are_the_cycle_rounded_up():
    assert season.rota_groups(7.5) == 8 and season.rota_groups(13) == 13
    plan = sy.planned(["2024-03-01"] * 16, "2026-05-04", rota_weeks=7.5, weeks=8)
    assert plan.groups == 8 and np.bincount(plan.group)[1:].tolist() == [2] * 8

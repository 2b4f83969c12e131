"""Supply of the coming weeks: sums by hand, the week's swing that no number of logs averages out, own weeks, promises."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import soak_yards as sy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calc import expected, soak_yield, supply, tables
from calc import yield_model as model

BEGIN = model.start({})
START = soak_yield.start({}, BEGIN)
FLUSH = (6, 10, 14)


def test_the_flush_of_a_soak_by_hand():
    # A triangle from the begin of day 6 to the end of day 14, 9 days wide, highest at 10.5. Before day 7: 1 / (9 x 4.5) = 0.0247.
    assert supply.flush_share(FLUSH, 6) == 0 and supply.flush_share(FLUSH, 15) == 1
    assert supply.flush_share(FLUSH, 7) == pytest.approx(1 / 40.5) and supply.flush_share(FLUSH, 14) == pytest.approx(1 - 1 / 40.5)
    assert supply.flush_share(FLUSH, 10.5) == pytest.approx(0.5)
    days = np.linspace(0, 20, 81)
    assert supply.flush_share(FLUSH, days) == pytest.approx(stats.triang.cdf(days, 0.5, 6, 9))
    assert supply.flush_share((7, 7, 7), [7, 8]) == pytest.approx([0, 1])


def test_expected_weight_by_hand():
    # 12 logs soaked on Monday 1 June 2026, nothing else; 0.09 kg each: 1/40.5 of the flush on Sunday the 7th,
    # 38.5 / 40.5 in the week of the 8th and 1/40.5 in that of the 15th.
    found = sy.rolled([("A", 12, "2025-03-01")], [("2026-06-01", "soaked", "A", 12.0)], "2026-06-01", per_soak=0.09).supply
    assert len(found) == 12 and found["week"].iloc[0] == pd.Timestamp("2026-06-01")
    share = np.array([1, 38.5, 1]) / 40.5
    assert found["soaked_logs"].iloc[:3].tolist() == pytest.approx((12 * share).tolist())
    assert found["expected_kg"].iloc[:3].tolist() == pytest.approx((12 * 0.09 * share).tolist())
    # nine weeks later its turn comes again: 3 August, the flush in the week of the 10th
    assert found["soaked_logs"].iloc[10] == pytest.approx(12 * 38.5 / 40.5)
    assert (found["natural_kg"] == 0).all() and (found["rows"] == 0).all()
    assert found["words"].iloc[1] == "weight of a soaked log: the start on Settings, nothing of your own yet"


def test_the_default_is_the_published_start():
    # SARE FNC15-1021: 75 to 100 lb a week from ~4,000 logs in nine weeks' rota is 0.17 to 0.23 lb a soaked log.
    assert START.per_soak_kg == pytest.approx(0.2 * 0.45359237, rel=0.01)
    learned = soak_yield.learn([], [], [], START)
    assert learned.this_year.mean_kg == pytest.approx(START.per_soak_kg) and learned.own_share == 0
    assert learned.later.mean_kg == pytest.approx(START.per_soak_kg)  # the swing of a year moves no mean


def promised_share(logs, week_spread=0.2):
    """Promise at 80 % over the mean, the yield of a log known."""
    kilos = np.array([logs * START.per_soak_kg])
    none = np.zeros(1)
    return float(supply.quantiles(kilos, np.array([week_spread ** 2]), none, 0.0, BEGIN, (0.2,))[0][0] / kilos[0])


def test_four_times_the_logs_leave_nearly_all_the_risk():
    # Worked beforehand with normal swings: a promise at 80 % goes from 0.818 of the mean to only 0.828 with four times the logs. That
    # is a week's swing of 0.2 shared by all logs: 1 - 0.8416 x sqrt(0.2^2 + 2.0 / n), n = 300 and 1,200 logs; 2.0 is the variance of a
    # log's flush over its squared mean, 0.1816 kg / 0.0907 kg. A gamma, which cannot fall below 0, gives 0.815 and 0.825.
    assert tables.figure("supply_week_spread").typical == 0.2
    log = BEGIN.lump_kg / START.per_soak_kg
    normal = [1 - stats.norm.ppf(0.8) * np.sqrt(0.2 ** 2 + log / n) for n in (300, 1200)]
    assert normal == pytest.approx([0.818, 0.828], abs=0.0005)
    ours = [promised_share(n) for n in (300, 1200)]
    assert ours == pytest.approx(normal, abs=0.004)
    assert 0.009 <= ours[1] - ours[0] <= 0.011
    assert promised_share(1e7) < 0.84 and promised_share(1e7, 0.0) > 0.999


@given(st.floats(1, 5000), st.floats(0.0, 1.0))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_the_range_is_that_of_drawn_weeks(logs, spread):
    if logs * START.per_soak_kg < 3 * BEGIN.flush_kg or spread < 0.02:
        return
    random = np.random.default_rng(1)
    mean = logs * START.per_soak_kg
    level = random.gamma(1 / spread ** 2, mean * spread ** 2, 20000)
    flushes = random.poisson(level / BEGIN.flush_kg)
    shape = 1 / BEGIN.flush_spread ** 2
    came = np.where(flushes > 0, random.gamma(np.maximum(flushes, 1) * shape, BEGIN.flush_kg / shape), 0.0)
    low, promise, high = (float(v[0]) for v in supply.quantiles(np.array([mean]), np.array([spread ** 2]), np.zeros(1), 0.0, BEGIN, (0.1, 0.2, 0.9)))
    met = np.mean(came >= promise)  # a promise of nothing is always met; with a flush or none, as of six logs, ends are met roughly
    assert np.mean(came < low) <= 0.15 and met > 0.75 and (promise == 0 or met < 0.85) and abs(np.mean(came > high) - 0.1) < 0.04


def weeks_of_own(factor, weeks, spread=0.2, logs=50.0, seed=3):
    random = np.random.default_rng(seed)
    exposure = np.full(weeks, logs)
    level = exposure * START.per_soak_kg * factor * random.gamma(1 / spread ** 2, spread ** 2, weeks)
    flushes = random.poisson(level / BEGIN.flush_kg)
    return exposure, flushes * BEGIN.lump_kg / 1.07, np.zeros(weeks)


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_own_weeks_replace_the_start(factor):
    off = []
    for weeks in (0, 2, 10, 60):
        learned = soak_yield.learn(*weeks_of_own(factor, weeks), START)
        off.append(abs(learned.this_year.mean_kg / START.per_soak_kg - factor))
    few, many = (soak_yield.learn(*weeks_of_own(factor, w), START) for w in (2, 60))
    assert off[3] < 0.12 * factor and off[3] <= off[0] + 0.05
    assert 0 < few.own_share < many.own_share < 1 and many.weeks == 60
    assert min(1, factor) - 0.1 <= few.this_year.mean_kg / START.per_soak_kg <= max(1, factor) + 0.1  # between start and record


def test_own_weeks_teach_the_swing_of_a_week():
    calm, wild = (soak_yield.learn(*weeks_of_own(1.0, 60, spread, 400.0), START) for spread in (0.1, 0.4))
    assert calm.week_spread < 0.15 < 0.3 < wild.week_spread
    assert 0.19 < soak_yield.learn([], [], [], START).week_spread < 0.23


def test_weight_against_start_is_that_of_normal_theory():
    # One year of 20 weeks of 100 logs, all as expected. The log of a week's mean has the variance 0.2^2 + 2.0 / 100 = 0.06; of 20 weeks
    # 0.003; before: 0.25^2 + 0.3^2 = 0.1525. Own share 0.1525 / (0.1525 + 0.003) = 0.98.
    begin = soak_yield.Start(START.per_soak_kg, 0.25, 0.3, (0.2, 0.2, 0.2), BEGIN.lump_kg)
    learned = soak_yield.learn([100.0] * 20, [100 * START.per_soak_kg] * 20, [0] * 20, begin)
    assert learned.own_share == pytest.approx(0.1525 / 0.1555, abs=0.005)


def test_another_years_weeks_count_for_less():
    now = soak_yield.learn(*weeks_of_own(0.5, 20), START)
    exposure, kg, ago = weeks_of_own(0.5, 20)
    before = soak_yield.learn(exposure, kg, ago + 1, START)
    assert now.own_share > before.own_share > 0
    assert now.this_year.mean_kg < before.this_year.mean_kg < START.per_soak_kg
    assert before.this_year.spread2 > now.this_year.spread2


def record(picks, as_of="2026-07-20", **more):
    lines = [("2026-06-01", "soaked", "A", 12.0), *picks]
    return sy.rolled([("A", 12, "2025-03-01")], lines, as_of, per_soak=0.09, **more).supply


def test_what_counts_as_picked_from_a_soak():
    def rows(*picks):
        return float(record(picks)["rows"].iloc[0])

    base = record([("2026-06-11", "picked", "A", 1.0)])
    assert rows(("2026-06-11", "picked", "A", 1.0)) == 1 and rows(("2026-06-15", "picked", "A", 1.0)) == 1  # day 14
    assert rows(("2026-06-16", "picked", "A", 1.0)) == 0 and rows(("2026-06-01", "picked", "A", 1.0)) == 0
    culled = record([("2026-06-11", "picked", "A", 1.0), ("2026-06-11", "culled", "A", 0.5)])
    assert culled["per_soak_kg"].iloc[0] < base["per_soak_kg"].iloc[0]
    later = record([("2026-06-11", "picked", "A", 1.0), ("2026-07-21", "picked", "A", 9.0)])  # after the As of day
    pd.testing.assert_frame_equal(later, base)
    assert "your own" in base["words"].iloc[4] or base["soaked_logs"].iloc[4] == 0


def test_a_year_of_soaks_without_picks_is_left_out_and_said():
    found = record([])
    assert (found["own_share"] == 0).all()
    said = [w for w, logs in zip(found["words"], found["soaked_logs"], strict=True) if logs > 0]
    assert all("soaks of 2026 left out: no pick of theirs is written down" in w for w in said) and said


def test_a_flush_a_day_off_is_no_bad_week():
    # The triangle puts 1 part in 40.5 of the flush into the week before and the week after; a record without them is no wild one.
    logs, kg = supply._edges_joined(np.array([1.0, 38.5, 1.0, 0.0, 30.0, 20.0]), np.array([0.0, 4.0, 0.1, 0.0, 3.0, 2.0]))
    assert logs.tolist() == [0, 40.5, 0, 0, 30, 20] and kg.tolist() == [0, 4.1, 0, 0, 3, 2]


def test_promises_are_taken_off():
    promises = pd.DataFrame({"week": pd.to_datetime(["2026-06-08", "2026-06-13", "2026-06-08", None, "2027-01-01"]),
                             "market": "Shop", "product": ["fresh", "fresh", "dried", "fresh", "fresh"], "promised_kg": [0.2, 0.1, 5.0, 7.0, 9.0]})
    found = sy.rolled([("A", 120, "2025-03-01")], [("2026-06-01", "soaked", "A", 12.0)], "2026-06-01", promises=promises).supply
    assert found["promised_kg"].tolist() == pytest.approx([0, 0.3] + [0] * 10)
    assert found["free_kg"].tolist() == pytest.approx((found["promise_kg"] - found["promised_kg"]).tolist())
    over = sy.rolled([("A", 12, "2025-03-01")], [("2026-06-01", "soaked", "A", 12.0)], "2026-06-01",
                     promises=promises.assign(promised_kg=50.0)).supply
    assert over["free_kg"].iloc[1] < 0 and "more is promised than can be kept with a chance of 80%" in over["words"].iloc[1]


def test_the_chance_on_settings_is_used():
    def promise(chance):
        lines = [("2026-06-01", "soaked", "A", 12.0)]
        return sy.rolled([("A", 120, "2025-03-01")], lines, "2026-06-01", promise_chance=chance).supply["promise_kg"].iloc[1]

    assert promise(0.5) > promise(0.8) > promise(0.95) > 0


def test_natural_fruiting_of_logs_that_are_not_soaked():
    # A cold strain is left to fruit: nothing in June to August, which are too hot for it, and something in September.
    found = sy.rolled([("A", 50, "2024-03-01", {"strain": "cold"})], [], "2026-07-20")
    table, left = found.supply, found.expected
    kg = dict(zip(table["week"].dt.strftime("%m-%d"), table["natural_kg"], strict=True))
    assert kg["08-03"] == 0 and kg["08-24"] == 0 and kg["09-07"] > 0 and kg["10-05"] > 0
    assert (table["soaked_logs"] == 0).all() and "natural fruiting counted in" in table["words"].iloc[8]
    # September, October and November have 91 days; 7 of them in the week of 7 September get 7/91 of the rest of the year
    year = left.loc[left["by"] == "yard", "this_year_kg"].iloc[0]
    assert kg["09-07"] == pytest.approx(year * 7 / 91, rel=1e-6)
    assert kg["08-31"] == pytest.approx(year * 6 / 91, rel=1e-6)  # 31 August is a Monday
    nothing = sy.rolled([("A", 50, "2024-03-01", {"strain": "cold"})], [], "2026-07-20", site=None).supply
    assert (nothing["expected_kg"] == 0).all() and "natural fruiting left out where months are not known" in nothing["words"].iloc[0]


def test_natural_fruiting_swings_more_than_soaks():
    one, none = np.ones(1) * 50, np.zeros(1)
    soaked = supply.quantiles(one, np.array([0.04]), none, 0.64, BEGIN, (0.2,))[0]
    wild = supply.quantiles(none, np.array([0.04]), one, 0.64, BEGIN, (0.2,))[0]
    both = supply.quantiles(one / 2, np.array([0.04]), one / 2, 0.64, BEGIN, (0.2,))[0]
    assert wild < both < soaked


def test_weeks_begin_on_monday_and_the_current_one_is_first():
    for as_of in ("2026-06-01", "2026-06-03", "2026-06-07"):
        found = sy.rolled([("A", 12, "2025-03-01")], [], as_of).supply
        assert found["week"].iloc[0] == pd.Timestamp("2026-06-01") and (found["week"].dt.day_of_week == 0).all()


def test_words_where_nothing_comes():
    found = sy.rolled([("A", 12, "2025-03-01")], [], "2026-12-01").supply
    assert (found["expected_kg"] == 0).all() and (found["words"] == "dormant: too cold or too hot").all()
    young = sy.rolled([("A", 12, "2026-05-01")], [], "2026-06-01").supply
    assert (young["words"] == "no soaked log is due to flush").all()
    without = sy.rolled([("A", 12, "2025-03-01")], [], "2026-06-01", site=None).supply
    assert without["words"].iloc[0].startswith("no monthly temperatures on Settings")


def test_expected_and_range_keep_their_order():
    found = sy.rolled([("A", 40, "2025-03-01"), ("B", 40, "2024-03-01", {"strain": "cold"})], [("2026-08-24", "soaked", "A", 12.0)],
                      "2026-08-26").supply
    live = found[found["expected_kg"] > 0.5]
    assert len(live) and (live["low_kg"] <= live["promise_kg"]).all() and (live["promise_kg"] < live["high_kg"]).all()
    assert (live["low_kg"] < live["expected_kg"]).all()


def test_flush_quantiles_are_those_of_the_range():
    ends, mean, spread = expected.flush_range(np.array([3.0]), np.array([0.1]), BEGIN), np.array([3.0]), np.array([0.1])
    assert np.concatenate(ends).tolist() == np.concatenate(expected.flush_quantiles(mean, spread, BEGIN, (0.1, 0.9))).tolist()


def test_dates_across_new_year_use_the_next_years_level():
    lines = [("2025-12-08", "soaked", "A", 12.0), ("2025-12-18", "picked", "A", 2.0), ("2025-12-22", "soaked", "B", 12.0)]
    found = sy.rolled([("A", 40, "2024-03-01"), ("B", 40, "2024-03-01")], lines, "2025-12-24", site=sy.SOUTH).supply
    assert found["week"].iloc[2] == pd.Timestamp("2026-01-05")
    assert found["per_soak_kg"].iloc[0] != found["per_soak_kg"].iloc[2]
    assert dt.date(2025, 12, 22) == found["week"].iloc[0].date()

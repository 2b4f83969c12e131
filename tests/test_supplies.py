"""Spawn, packs, wax and time: hand sums, and the pack search against trying everything."""
import itertools
import math
import time
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import supplies, tables

INCH, POUND = 0.0254, 0.45359237


@pytest.mark.parametrize("holes, spare, expected", [
    (200, 0.05, 210), (0, 0.05, 0), (45, 0.0, 45),
    (45, 0.05, 48),        # 47.25
    (100, 0.1, 110),       # 110.00000000000001 in floats
])
def test_plugs(holes, spare, expected):
    assert supplies.plugs_needed(holes, spare) == expected


def test_sawdust_by_hand():
    # a hole of 12 x 25 mm: pi/4 x 1.2^2 x 2.5 = 2.827433 mL; 100 holes, 0.4 g/mL, 90 % full, 10 % spare:
    # 2.827433 x 100 x 0.4 x 0.9 x 1.1 = 111.966 g
    assert supplies.hole_volume(0.012, 0.025) * 1e6 == pytest.approx(2.827433, abs=5e-7)
    assert supplies.sawdust_weight(100, 0.012, 0.025, 400, 0.9, 0.1) == pytest.approx(0.111966, abs=5e-7)


def test_the_starting_bulk_density_meets_the_farm_record():
    # 42 holes (5 x 40 in log at 6 x 2.5 in) of the default size take what the farm used on a log of 40 in
    bit, depth, bulk = (tables.figure(name).typical for name in
                        ("sawdust_bit_in", "sawdust_depth_in", "sawdust_bulk_density_g_ml"))
    fill = tables.figure("sawdust_fill").typical
    weight = supplies.sawdust_weight(42, bit * INCH, depth * INCH, bulk * 1000, fill, 0) / POUND
    assert weight == pytest.approx(tables.figure("sawdust_weight_per_log_lb").typical, abs=0.0005)


def test_totem_by_hand():
    # 7 stacks at 1.43 lb and a tenth spare: 7 x 1.43 x 1.1 = 11.011
    assert supplies.totem_weight(7, 1.43, 0.1) == pytest.approx(11.011)


@pytest.mark.parametrize("need, sizes, prices, expected", [
    (600, (100, 500, 1000), (9, 35, 60), ((1, 1, 0), 44.0, 0.0)),
    (901, (100, 500, 1000), (9, 35, 60), ((0, 0, 1), 60.0, 99.0)),     # cheaper than 500 + 5 x 100 = 80
    (0, (100,), (9,), ((0,), 0.0, 0.0)),
    (1, (5.5,), (25,), ((1,), 25.0, 4.5)),
    (11, (5.5, 2.2), (25, 11), ((2, 0), 50.0, 0.0)),                   # 5 x 2.2 = 11 costs 55
    (12, (5.5, 2.2), (25, 11), ((1, 3), 58.0, 0.1)),                   # 5.5 + 6.6 = 12.1
    (10, (5, 10), (2, 4), ((0, 1), 4.0, 0.0)),                         # same cost and left over: fewest packs
    (9, (10, 5), (4, 2), ((1, 0), 4.0, 1.0)),
    (7, (8, 10), (4, 4), ((1, 0), 4.0, 1.0)),                          # same cost: least left over
    (250, (100, 500), (0, 9), ((3, 0), 0.0, 50.0)),
    (0.3, (0.1, 0.2), (1, 3), ((3, 0), 3.0, 0.0)),                     # 0.1 + 0.1 + 0.1, exact
])
def test_packs_by_hand(need, sizes, prices, expected):
    assert tuple(supplies.cheapest_packs(need, sizes, prices)) == expected


@pytest.mark.parametrize("prices", [(), (9, None, 60), (None, None, None)])
def test_without_every_price_the_least_left_over_then_the_fewest_packs(prices):
    assert tuple(supplies.cheapest_packs(1600, (100, 500, 1000), prices)) == ((1, 1, 1), None, 0.0)
    assert tuple(supplies.cheapest_packs(1650, (100, 500, 1000), prices)) == ((2, 1, 1), None, 50.0)


def by_trying_everything(need, sizes, prices):
    most = [math.ceil(need / size) for size in sizes]
    best = None
    for counts in itertools.product(*[range(n + 1) for n in most]):
        bought = sum(n * s for n, s in zip(counts, sizes, strict=True))
        if bought >= need:
            cost = sum(n * p for n, p in zip(counts, prices, strict=True))
            key = (cost, bought - need, sum(counts))
            best = key if best is None else min(best, key)
    return best


@given(st.lists(st.tuples(st.integers(1, 12), st.integers(0, 15)), min_size=1, max_size=3),
       st.integers(0, 45), st.sampled_from([1, 2, 10]))
@settings(max_examples=200, deadline=None)
def test_packs_are_as_good_as_trying_everything(offers, need, tenths):
    sizes = [Fraction(size, tenths) for size, _ in offers]
    prices = [Fraction(price, 2) for _, price in offers]
    goal = Fraction(need, tenths)
    found = supplies.cheapest_packs(float(goal), [float(s) for s in sizes], [float(p) for p in prices])
    cost, left_over, packs = by_trying_everything(goal, sizes, prices)
    assert (found.cost, sum(found.counts)) == (float(cost), packs)
    assert found.left_over == pytest.approx(float(left_over), abs=1e-9)
    assert sum(n * s for n, s in zip(found.counts, sizes, strict=True)) - goal == left_over


@given(st.lists(st.integers(1, 12), min_size=1, max_size=3), st.integers(1, 45))
@settings(max_examples=100, deadline=None)
def test_packs_without_prices_are_as_good_as_trying_everything(sizes, need):
    found = supplies.cheapest_packs(need, sizes)
    _, left_over, packs = by_trying_everything(need, sizes, [0] * len(sizes))
    assert (found.cost, found.left_over, sum(found.counts)) == (None, left_over, packs)


@given(st.lists(st.tuples(st.integers(1, 6), st.integers(1, 9)), min_size=2, max_size=3),
       st.integers(100, 160))
@settings(max_examples=30, deadline=None)
def test_a_large_need_bought_in_bulk_first_is_still_the_best(offers, need):
    sizes, prices = [size for size, _ in offers], [price for _, price in offers]
    found = supplies.cheapest_packs(need, sizes, prices)
    assert (found.cost, found.left_over, sum(found.counts)) == by_trying_everything(need, sizes, prices)


def test_a_yard_of_five_thousand_logs_is_quick_and_awkward_sizes_are_refused():
    started = time.perf_counter()
    assert supplies.cheapest_packs(210000, (99, 101, 1000), (9, 9.2, 60)).counts == (0, 0, 210)
    assert time.perf_counter() - started < 5
    with pytest.raises(ValueError, match="^These pack sizes are too fine for this need; round the sizes.$"):
        supplies.cheapest_packs(210000, (1.0001, 97.3331), (1, 90))


@pytest.mark.parametrize("need, sizes, prices, message", [
    (5, (), (), "At least one pack size is needed."), (5, (0,), (1,), "Every pack size must be above 0."),
    (5, (1, -2), (), "Every pack size must be above 0."),
    (5, (1, 2), (1,), "There must be one price for each"),
    (5, (1,), (-1,), "A price cannot be below 0."),
])
def test_packs_refused(need, sizes, prices, message):
    with pytest.raises(ValueError, match=message):
        supplies.cheapest_packs(need, sizes, prices)


def test_wax_by_hand():
    # 45 holes at 1 g, two ends of 10 cm with 1 mm of wax at 0.9 g/mL: 45 + 2 x pi/4 x 100 x 0.1 x 0.9 =
    # 59.137 g
    assert supplies.wax_weight(45, 0.001, 2, 0.10, 0.001, 900) * 1000 == pytest.approx(59.137, abs=0.0005)
    assert supplies.wax_weight(45, 0.001) == pytest.approx(0.045)
    # 0.9 kg at 0.9 g/mL is 1 L, melted 8 % more
    assert supplies.wax_volume(0.9, 900, 0.08) * 1000 == pytest.approx(1.08)
    with pytest.raises(ValueError, match="density"):
        supplies.wax_volume(1.0, 0.0, 0.08)


def test_setup_time_by_hand():
    # 20 logs at 10 + 22 min: 640 min
    assert supplies.setup_time(20, (600, 1320)) == 640 * 60


def test_counts_look_at_nine_decimals_as_the_formulas_on_the_sheet_do():
    # a trace of 3e-10 buys nothing, one of 3e-9 does
    assert supplies.plugs_needed(45 + 3e-10, 0.0) == 45 and supplies.plugs_needed(45 + 3e-9, 0.0) == 46
    assert tuple(supplies.cheapest_packs(5 + 3e-10, (5,), (1,))) == ((1,), 1.0, 0.0)
    assert supplies.cheapest_packs(5 + 3e-9, (5,), (1,)).counts == (2,)
    # 1 - 0.9 is 0.09999999999999998 in floats, and 0.1 on the page
    assert supplies.cheapest_packs(0.9, (1,), (1,)).left_over == 0.1
    assert supplies.cheapest_packs(1 - 3e-10, (1,), (1,)).left_over == 0.0


def test_the_search_takes_as_much_work_as_it_may_and_no_more(monkeypatch):
    # 7 of sizes 3 and 5: two sizes times seven amounts, 14 steps; 5 + 3 leave 1
    monkeypatch.setattr(supplies, "MOST_STEPS", 14)
    assert supplies.cheapest_packs(7, (3, 5), (3, 4)).counts == (1, 1)
    monkeypatch.setattr(supplies, "MOST_STEPS", 13)
    with pytest.raises(ValueError, match="too fine"):
        supplies.cheapest_packs(7, (3, 5), (3, 4))


def test_sizes_and_densities_below_one_are_as_good_as_others():
    assert supplies.cheapest_packs(1, (0.5, 0.75), (0.4, 0.7)).counts == (2, 0)      # 0.80 against 1.10 and 1.40
    assert supplies.wax_volume(0.9, 0.9, 0.0) == pytest.approx(1.0)                  # in grams and mL
    assert supplies.cheapest_packs(0.5, (0.5,), (0.25,)).cost == 0.25


def test_a_need_of_a_trifle_still_takes_a_pack_and_an_empty_yard_no_time():
    assert supplies.cheapest_packs(0.001, (100,), (9,)).counts == (1,)
    assert supplies.cheapest_packs(0, (100, 500)) == supplies.Packs((0, 0), None, 0.0)
    assert supplies.setup_time(0, (600, 1320)) == 0


def test_sizes_with_a_common_measure_are_no_finer_than_that():
    # 5,000 and 7,000 are 5 and 7 thousands: 200 x 5,000 at 5.00 is the need, and cheaper a unit than 7,000 at 7.10
    assert tuple(supplies.cheapest_packs(1_000_000, (5000, 7000), (5, 7.1))) == ((200, 0), 1000.0, 0.0)

"""Volumes, weights, moisture and bolts: hand sums, identities, order and limits."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import tables, wood

DIAMETER = st.floats(0.02, 0.6)
LENGTH = st.floats(0.1, 5.0)
WET = st.floats(0.0, 0.9)
INCH, FOOT, CUBIC_FOOT, POUND = 0.0254, 0.3048, 0.028316846592, 0.45359237


def white_oak(volume_m3):
    return wood.stem_parts(volume_m3, *tables.find_species("white oak")[3:8], 1000.0)


def test_disc_area():
    # a diameter of 2 is a radius of 1: pi
    assert wood.disc_area(2.0) == pytest.approx(math.pi)


def test_a_four_foot_bolt_from_both_ends():
    # areas pi/4 x 16 and pi/4 x 25 sq in, mean 16.10066, x 48 = 772.8318 cu in, / 1728 = 0.447241 cu ft
    volume = wood.bolt_volume(4 * INCH, 5 * INCH, 48 * INCH)
    assert volume / CUBIC_FOOT == pytest.approx(0.447241, abs=5e-7)


@pytest.mark.parametrize("left_out", [None, 0, 0.0])
def test_without_a_large_end_the_diameter_is_the_middle(left_out):
    assert wood.bolt_volume(0.1, left_out, 1.2) == wood.huber_volume(0.1, 1.2)
    assert wood.mean_diameter(0.1, left_out) == 0.1


def test_mean_diameter():
    assert wood.mean_diameter(0.10, 0.14) == pytest.approx(0.12)


@given(DIAMETER, DIAMETER, LENGTH)
@settings(max_examples=100)
def test_formulas_agree_on_a_cylinder_and_order_on_a_cone(small, large, length):
    small, large = min(small, large), max(small, large)
    middle = (small + large) / 2
    huber, smalian = wood.huber_volume(middle, length), wood.smalian_volume(small, large, length)
    newton = wood.newton_volume(small, middle, large, length)
    assert huber <= newton * (1 + 1e-12) and newton <= smalian * (1 + 1e-12)
    assert newton == pytest.approx((smalian + 2 * huber) / 3)          # the weights 1, 4, 1 over 6
    assert wood.smalian_volume(large, large, length) == pytest.approx(wood.huber_volume(large, length))


@given(DIAMETER, DIAMETER, LENGTH, st.floats(0.05, 0.95))
@settings(max_examples=100)
def test_cone_pieces_sum_to_the_whole_by_newton(small, large, length, share):
    cut = small + (large - small) * share
    pieces = wood.newton_volume(small, (small + cut) / 2, cut, length * share)
    pieces += wood.newton_volume(cut, (cut + large) / 2, large, length * (1 - share))
    assert pieces == pytest.approx(wood.newton_volume(small, (small + large) / 2, large, length))


@given(LENGTH, LENGTH, DIAMETER)
@settings(max_examples=50)
def test_a_longer_bolt_holds_more(first, second, diameter):
    assert wood.bolt_volume(diameter, 0, first + second) == pytest.approx(
        wood.bolt_volume(diameter, 0, first) + wood.bolt_volume(diameter, 0, second))


def test_wood_and_bark_by_hand():
    # 1.25 m3 with bark 25 % of the wood: 1 m3 wood, 0.25 m3 bark; dry 500 and 0.25 x 400 = 100 kg;
    # green 500 x 1.8 = 900 and 100 x 1.5 = 150 kg
    parts = wood.stem_parts(1.25, 0.5, 0.8, 0.4, 0.5, 0.25, 1000.0)
    assert tuple(parts) == pytest.approx((1.0, 0.25, 900.0, 150.0, 500.0, 100.0))
    assert wood.green_weight(parts) == pytest.approx(1050.0)
    assert wood.dry_weight(parts) == pytest.approx(500.0)
    assert wood.dry_weight(parts, with_bark=True) == pytest.approx(600.0)
    assert wood.green_to_dry_ratio(0.5, 0.8, 0.4, 0.5, 0.25) == pytest.approx(1.75)


def test_a_fresh_white_oak_log_of_5_by_40_inches():
    # volume pi/4 x 25 x 40 / 1728 = 0.454513 cu ft; wood 1/1.16 = 0.391821, bark 0.062691 cu ft
    # at 62.428 lb/cu ft: 0.391821 x 0.60 x 1.682667 = 0.395584; 0.062691 x 0.56 x 1.88875 = 0.066309;
    # sum 0.461893 x 62.428 = 28.835 lb
    parts = white_oak(wood.bolt_volume(5 * INCH, 0, 40 * INCH))
    assert wood.green_weight(parts) / POUND == pytest.approx(28.835, abs=0.001)


@pytest.mark.parametrize("kind", tables.species(), ids=lambda kind: kind.name)
def test_every_wood_loses_only_water(kind):
    parts = wood.stem_parts(0.02, *kind[3:8], 1000.0)
    assert parts.wood_volume_m3 + parts.bark_volume_m3 == pytest.approx(0.02)
    assert wood.dry_weight(parts) < wood.dry_weight(parts, True) < wood.green_weight(parts)
    assert wood.green_weight(parts) / wood.dry_weight(parts, True) == pytest.approx(
        wood.green_to_dry_ratio(*kind[3:8]))
    # parts agree with the density formula
    density = wood.wood_density(kind.wood_specific_gravity, kind.wood_moisture_dry_fraction, 1000.0)
    assert parts.wood_green_kg == pytest.approx(density * parts.wood_volume_m3)


def test_moisture_bases_by_hand():
    # 30 % dry: 0.30 / 1.30 = 0.230769 wet; 35 % wet: 0.35 / 0.65 = 0.538462 dry
    assert wood.wet_from_dry(0.30) == pytest.approx(0.230769, abs=5e-7)
    assert wood.dry_from_wet(0.35) == pytest.approx(0.538462, abs=5e-7)


@given(WET)
@settings(max_examples=50)
def test_moisture_bases_there_and_back(wet):
    assert wood.wet_from_dry(wood.dry_from_wet(wet)) == pytest.approx(wet, abs=1e-12)
    assert wood.dry_from_wet(wet) >= wet


@given(st.floats(0.5, 100.0), WET, WET)
@settings(max_examples=100)
def test_weighing_and_its_inverse(start_kg, start, target):
    weight = wood.weight_at_moisture(start_kg, start, target)
    assert wood.moisture_by_weighing(weight, start_kg, start) == pytest.approx(target, abs=1e-9)
    assert wood.oven_dry_weight(weight, target) == pytest.approx(wood.oven_dry_weight(start_kg, start))
    assert wood.weight_loss_at_moisture(start, target) == pytest.approx(1 - weight / start_kg)


def test_white_oak_sample_log_by_hand():
    # 28.8 lb at green/dry 1.70944: oven-dry 28.8 / 1.70944 = 16.848 lb, start 1 - 1/1.70944 = 0.41501 wet;
    # 35 %: 16.848 / 0.65 = 25.92 lb, a loss of 10.0 %; 23 %: 16.848 / 0.77 = 21.88 lb, a loss of 24.0 %
    start = 1 - 1 / wood.green_to_dry_ratio(*tables.find_species("white oak")[3:8])
    assert wood.weight_at_moisture(28.8, start, 0.35) == pytest.approx(25.92, abs=0.005)
    assert wood.weight_at_moisture(28.8, start, 0.23) == pytest.approx(21.88, abs=0.005)
    assert wood.weight_loss_at_moisture(start, 0.35) == pytest.approx(0.100, abs=0.0005)
    assert wood.weight_loss_at_moisture(start, 0.23) == pytest.approx(0.240, abs=0.0005)


@pytest.mark.parametrize("call, args", [
    (wood.moisture_by_weighing, (0.0, 10.0, 0.4)), (wood.moisture_by_weighing, (5.9, 10.0, 0.4)),
    (wood.moisture_by_weighing, (5.0, 10.0, 1.0)), (wood.weight_at_moisture, (10.0, 0.4, 1.0)),
    (wood.weight_at_moisture, (10.0, -0.1, 0.2)), (wood.dry_from_wet, (1.0,)), (wood.wet_from_dry, (-0.1,)),
    (wood.moisture_dry_fraction, (1.0, 0.0)), (wood.taper, (0.2, 0.1, 1.3, 1.3)),
    (wood.taper, (0.1, 0.2, 9, 1.3)), (wood.bolts_from_tree, (0.2, 9, 0, 0.1, 0.1, 1.3)),
    (wood.bolts_from_tree, (0.2, 9, 1e-4, 0.1, 0.1, 1.3)),
    (wood.bolts_from_measurements, ([0], [0.2], 1)), (wood.bolts_from_measurements, ([0, 0], [0.2, 0.1], 1)),
    (wood.bolts_from_measurements, ([0, 1, 2], [0.2, 0.1], 1)),
    (wood.longest_length_for_weight, (10.0, 0.0, 0.0, 900.0)),
])
def test_refused(call, args):
    with pytest.raises(ValueError, match="[a-z].*[.]$"):
        call(*args)


def test_dry_to_the_last_drop_is_nil():
    assert wood.moisture_by_weighing(6.0, 10.0, 0.4) == pytest.approx(0.0, abs=1e-12)


def test_bolts_from_a_tree_by_hand():
    # 8 in at 4.5 ft, 3 in at 30 ft: taper 5 / 25.5 = 0.196078 in a foot; at 0.5 ft 8 + 4 x 0.196078 =
    # 8.784314, at 4.5 ft 8, at 8.5 ft 7.215686 in; 29.5 ft of stem hold 7 bolts of 4 ft, up to 28.5 ft
    bolts = wood.bolts_from_tree(8 * INCH, 30 * FOOT, 4 * FOOT, 3 * INCH, 0.5 * FOOT, 4.5 * FOOT)
    assert [bolt.number for bolt in bolts] == [1, 2, 3, 4, 5, 6, 7]
    assert bolts[0].large_end_m / INCH == pytest.approx(8.784314, abs=5e-7)
    assert bolts[0].small_end_m / INCH == pytest.approx(8.0)
    assert bolts[1].small_end_m / INCH == pytest.approx(7.215686, abs=5e-7)
    assert bolts[-1].from_height_m / FOOT == pytest.approx(24.5)
    assert not any(bolt.too_thin for bolt in bolts)


def test_thin_bolts_are_marked():
    # small ends fall from 8 in by 0.784314 in a bolt: 8, 7.22, 6.43, 5.65, 4.86, 4.08, 3.29
    bolts = wood.bolts_from_tree(8 * INCH, 30 * FOOT, 4 * FOOT, 3 * INCH, 0.5 * FOOT, 4.5 * FOOT, 4 * INCH)
    assert [bolt.too_thin for bolt in bolts] == [False] * 6 + [True]


def test_the_last_bolt_may_end_exactly_at_the_usable_height():
    # 0.15 + 8 x 1.1 = 8.95
    assert len(wood.bolts_from_tree(0.2, 8.95, 1.1, 0.08, 0.15, 1.3)) == 8
    assert wood.bolts_from_tree(0.2, 1.4, 2.0, 0.08, 0.15, 1.3) == []


@given(st.floats(0.12, 0.5), st.floats(4.0, 20.0), st.floats(0.5, 1.5), st.floats(0.05, 0.12))
@settings(max_examples=60)
def test_bolts_follow_on_another_and_thin_out(dbh, height, length, top):
    bolts = wood.bolts_from_tree(dbh, height, length, top, 0.15, 1.3)
    for lower, upper in zip(bolts, bolts[1:], strict=False):
        assert upper.large_end_m == pytest.approx(lower.small_end_m)
        assert upper.from_height_m == pytest.approx(lower.from_height_m + length)
        assert upper.volume_m3 <= lower.volume_m3 * (1 + 1e-9)
    assert all(bolt.small_end_m >= top - 1e-9 for bolt in bolts)
    assert 0.15 + (len(bolts) + 1) * length > height - 1e-6


@given(st.floats(0.12, 0.5), st.floats(4.0, 12.0), st.floats(0.05, 0.12))
@settings(max_examples=30)
def test_measured_stem_of_a_straight_taper_gives_the_same_bolts(dbh, height, top):
    loss = wood.taper(dbh, top, height, 1.3)
    heights = [0.15, 2.0, height]
    measured = wood.bolts_from_measurements(heights, [dbh - loss * (h - 1.3) for h in heights], 1.0)
    for ours, theirs in zip(wood.bolts_from_tree(dbh, height, 1.0, top, 0.15, 1.3), measured, strict=True):
        assert tuple(ours) == pytest.approx(tuple(theirs))


def test_measured_stem_by_hand():
    # 12 in at the ground, 8 in at 4 ft, 6 in at 8 ft; bolts of 2 ft end at 10, 8, 7 and 6 in
    bolts = wood.bolts_from_measurements([0, 4, 8], [12, 8, 6], 2, thinnest_m=6.5)
    assert [(bolt.large_end_m, bolt.small_end_m) for bolt in bolts] == [(12, 10), (10, 8), (8, 7), (7, 6)]
    assert [bolt.too_thin for bolt in bolts] == [False, False, False, True]


@given(st.floats(5.0, 50.0), DIAMETER, DIAMETER)
@settings(max_examples=50)
def test_longest_length_weighs_the_limit(limit, diameter, large):
    length = wood.longest_length_for_weight(limit, diameter, large, 950.0)
    assert wood.bolt_volume(diameter, large, length) * 950.0 == pytest.approx(limit)


@pytest.mark.parametrize("call, args, words", [
    (wood.dry_from_wet, (1.0,), "Moisture must be at least 0 and below 1 (wet basis)."),
    (wood.oven_dry_weight, (5.0, 1.0), "Moisture must be at least 0 and below 1 (wet basis)."),
    (wood.weight_at_moisture, (10.0, 0.4, 1.0), "Target moisture must be at least 0 and below 1 (wet basis)."),
    (wood.wet_from_dry, (-0.1,), "Moisture cannot be below 0."),
    (wood.moisture_dry_fraction, (1.0, 0.0), "The oven-dry weight must be above 0."),
    (wood.moisture_by_weighing, (0.0, 10.0, 0.4), "The weight now must be above 0."),
    (wood.moisture_by_weighing, (5.9, 10.0, 0.4),
     "The weight now is below the oven-dry weight: check the weights and the moisture."),
    (wood.taper, (0.2, 0.1, 1.3, 1.3), "The height must be above breast height."),
    (wood.taper, (0.1, 0.2, 9, 1.3), "The top diameter must not be larger than the diameter at breast height."),
    (wood.bolts_from_tree, (0.2, 9, 0, 0.1, 0.1, 1.3), "The bolt length must be above 0."),
    (wood.bolts_from_tree, (0.2, 9, 1e-4, 0.1, 0.1, 1.3), "The bolt length is too short for this height."),
    (wood.bolts_from_measurements, ([0], [0.2], 1), "At least two heights with a diameter each are needed."),
    (wood.bolts_from_measurements, ([0, 0], [0.2, 0.1], 1), "The heights must rise."),
    (wood.longest_length_for_weight, (10.0, 0.0, 0.0, 900.0),
     "The diameter and the weight of the wood must be above 0."),
])
def test_refused_in_these_words(call, args, words):
    with pytest.raises(ValueError) as refused:
        call(*args)
    assert str(refused.value) == words


def test_a_bolt_says_its_length_and_its_volume_by_both_ends():
    # 12 in at the ground and 8 in at 4 ft: pi/4 x (144 + 64) / 2 x 48 = 3,920.71 cu in; the bolt that is exactly as
    # thin as allowed is not too thin
    bolt, = wood.bolts_from_measurements([0, 48], [12, 8], 48, thinnest_m=8)
    assert bolt.length_m == 48 and bolt.volume_m3 == pytest.approx(3920.71, abs=0.005) and not bolt.too_thin


def test_the_last_bolt_of_a_measured_stem_ends_with_the_last_diameter_in_spite_of_float_noise():
    # 3 x 0.1 is 0.30000000000000004 in floats, a hair above the last measurement
    bolts = wood.bolts_from_measurements([0.0, 0.1, 0.3], [3.0, 2.0, 1.0], 0.1)
    assert [(bolt.large_end_m, bolt.small_end_m) for bolt in bolts] == [
        pytest.approx(ends) for ends in [(3.0, 2.0), (2.0, 1.5), (1.5, 1.0)]]
    assert bolts[-1].small_end_m == 1.0


def test_weights_below_one_and_stems_just_long_enough_are_taken():
    # 0.75 kg green, 0.5 dry: half; a stem 1e-10 short of eight bolts holds eight, 1e-8 short seven
    assert wood.moisture_dry_fraction(0.75, 0.5) == 0.5
    assert wood.wet_from_dry(0.0) == 0.0 and wood.dry_from_wet(0.0) == 0.0
    assert len(wood.bolts_from_tree(0.2, 9.0 - 3e-10, 1.0, 0.08, 1.0, 1.3)) == 8
    assert len(wood.bolts_from_tree(0.2, 9.0 - 3e-9, 1.0, 0.08, 1.0, 1.3)) == 7
    assert len(wood.bolts_from_tree(0.2, 10001.0, 1.0, 0.08, 1.0, 1.3)) == 10000
    with pytest.raises(ValueError, match="too short for this height"):
        wood.bolts_from_tree(0.2, 10002.0, 1.0, 0.08, 1.0, 1.3)
    # top as thick as at breast height: a cylinder
    assert wood.taper(0.2, 0.2, 9.0, 1.3) == 0.0

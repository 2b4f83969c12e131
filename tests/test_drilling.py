"""The drill pattern: counts by hand, places, symmetry and the inverse."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import drilling

LOG = (st.floats(2.0, 12.0), st.floats(1.0, 80.0), st.floats(3.0, 12.0), st.floats(1.0, 5.0),
       st.floats(0.0, 4.0))      # diameter, length, hole spacing, row spacing, margin; any one unit


@pytest.mark.parametrize("diameter, length, spacing, rows_apart, margin, expected", [
    (4, 48, 6, 2, 2, 45),     # 12.57 / 2 = 6.28: 6 rows; 44 / 6 = 7.3: 8; 41 / 6 = 6.8: 7; 3 x 8 + 3 x 7
    (5, 40, 6, 2.5, 2, 39),   # 15.71 / 2.5 = 6.28: 6 rows; 36 / 6 = 6: 7; 33 / 6 = 5.5: 6; 3 x 7 + 3 x 6
    (5, 40, 6, 2, 2, 52),     # 15.71 / 2 = 7.85: 8 rows; 4 x 7 + 4 x 6
    (4, 4, 6, 2, 2, 3),       # no usable length: one hole in each of 3 odd rows, none in the even
    (4, 3.9, 6, 2, 2, 0),     # shorter than two margins
    (0.5, 48, 6, 2, 2, 8),    # 1.57 / 2 = 0.79, + 0.5: one row of 8
    (0.1, 48, 6, 2, 2, 8),    # never under one row
])
def test_holes_by_hand(diameter, length, spacing, rows_apart, margin, expected):
    assert drilling.holes(diameter, length, spacing, rows_apart, margin) == expected


def test_float_noise_neither_buys_nor_loses_a_hole():
    # 1.10 m less twice 0.05 is 1.0, over 0.1 exactly 10 spaces: 11 and 10 holes, whatever the floats say
    assert drilling.holes_in_rows(1.10, 0.1, 0.05) == (11, 10)
    # 4 x 48 in: the same log in inches and in metres
    assert drilling.holes(*[x * 0.0254 for x in (4, 48, 6, 2, 2)]) == 45


def test_rows_are_the_nearest_whole_number():
    # circumference 3 x 2.5 = 7.5 spacings: halves go up
    assert drilling.rows_around(3.0, 3.0 * math.pi / 2.5) == 3
    assert drilling.rows_around(3.0, 3.0 * math.pi / 2.499) == 2


def test_map_of_a_small_log_by_hand():
    # circumference 4 units, 2 apart: 2 rows; usable 10 - 2 = 8: odd 0 4 8, even 2 6; both ends keep 1
    spots = drilling.drill_map(4 / math.pi, 10, 4, 2, 1)
    assert [tuple(spot) for spot in spots] == [
        pytest.approx(spot) for spot in [(1, 0, 1), (1, 0, 5), (1, 0, 9), (2, 2, 3), (2, 2, 7)]]


def test_map_is_shifted_so_that_both_ends_keep_the_same_margin():
    # usable 44: odd rows reach 42, even 3 + 36 = 39; 48 - 42 = 6 left, 3 at each end
    along = [spot.along_m for spot in drilling.drill_map(4, 48, 6, 2, 2)]
    assert (min(along), max(along)) == pytest.approx((3.0, 45.0))


@given(*LOG)
@settings(max_examples=150)
def test_map_and_count_agree_and_keep_the_margins(diameter, length, spacing, rows_apart, margin):
    spots = drilling.drill_map(diameter, length, spacing, rows_apart, margin)
    assert len(spots) == drilling.holes(diameter, length, spacing, rows_apart, margin)
    if spots:
        along = [spot.along_m for spot in spots]
        assert min(along) == pytest.approx(length - max(along)) and min(along) >= margin - 1e-6
        assert max(spot.around_m for spot in spots) < math.pi * diameter
        row = [spot.along_m for spot in spots if spot.row == 1]
        steps = [b - a for a, b in zip(row, row[1:], strict=False)]
        assert steps == pytest.approx([spacing] * (len(row) - 1))


@given(*LOG)
@settings(max_examples=100)
def test_even_rows_stand_half_a_space_further(diameter, length, spacing, rows_apart, margin):
    spots = drilling.drill_map(diameter, length, spacing, rows_apart, margin)
    first = {spot.row: spot.along_m for spot in reversed(spots)}
    for row in first:
        assert first[row] - first[1] == pytest.approx(0.0 if row % 2 else spacing / 2, abs=1e-9)


@given(*LOG, st.floats(1.0, 2.0))
@settings(max_examples=100)
def test_wider_spacing_never_adds_holes_and_size_never_takes_any(diameter, length, spacing, rows_apart,
                                                                margin, wider):
    holes = drilling.holes(diameter, length, spacing, rows_apart, margin)
    assert drilling.holes(diameter, length, spacing * wider, rows_apart, margin) <= holes
    assert drilling.holes(diameter, length * wider, spacing, rows_apart, margin) >= holes
    assert drilling.holes(diameter * wider, length, spacing, rows_apart, margin) >= holes


@given(st.floats(4.0, 8.0), st.floats(24.0, 60.0))
@settings(max_examples=50)
def test_area_rule_is_near_the_pattern(diameter, length):
    # without margins the pattern fills the bark: it differs by part rows and one hole a row at most
    pattern = drilling.holes(diameter, length, 6.0, 2.0, 0.0)
    rows = drilling.rows_around(diameter, 2.0)
    area_rule = drilling.area_rule_holes(diameter, length, 6.0, 2.0)
    assert abs(pattern - area_rule) <= rows + length / 6.0 / 2.0 + 1


def test_area_rule_by_hand():
    # pi x 4 x 48 / 12 = 50.27, rounded up
    assert drilling.area_rule_holes(4, 48, 6, 2) == 51


@given(st.integers(1, 90), st.floats(3.0, 8.0), st.floats(20.0, 60.0))
@settings(max_examples=100)
def test_spacing_for_the_spawn_on_hand_is_the_closest_that_fits(at_most, diameter, length):
    step = 0.25
    spacing = drilling.spacing_for_holes(at_most, diameter, length, 2.0, 2.0, step)
    if spacing is None:
        assert at_most < math.ceil(drilling.rows_around(diameter, 2.0) / 2)
    else:
        assert drilling.holes(diameter, length, spacing, 2.0, 2.0) <= at_most
        assert spacing == step or drilling.holes(diameter, length, spacing - step, 2.0, 2.0) > at_most


def test_spacing_for_the_spawn_on_hand_by_hand():
    # 4 x 48 in, 6 rows: 45 holes at 6 in. For 30: 5 in each odd and 5 in each even row needs 44 / s < 5 and
    # 44 / s + 0.5 < 6: s > 8.8; the next quarter inch is 9
    assert drilling.spacing_for_holes(30, 4, 48, 2, 2, 0.25) == 9.0
    assert drilling.spacing_for_holes(2, 4, 48, 2, 2, 0.25) is None


@pytest.mark.parametrize("call, args", [
    (drilling.holes, (4, 48, 0, 2, 2)), (drilling.holes, (4, 48, 6, -1, 2)),
    (drilling.area_rule_holes, (4, 48, 6, 0)), (drilling.spacing_for_holes, (30, 4, 48, 2, 2, 0)),
])
def test_refused(call, args):
    with pytest.raises(ValueError, match="^The spacing must be above 0.$"):
        call(*args)


def test_counts_look_at_nine_decimals_as_the_formulas_on_the_sheet_do():
    # 3e-10 short of ten spaces is ten spaces, 3e-9 short is nine
    assert drilling.holes_in_rows(10 - 3e-10, 1, 0)[0] == 11 and drilling.holes_in_rows(10 - 3e-9, 1, 0)[0] == 10
    assert drilling.holes_in_rows(4 - 3e-10, 6, 2) == (1, 0) and drilling.holes_in_rows(4 - 3e-9, 6, 2) == (0, 0)
    assert drilling.area_rule_holes(1 / math.pi, 3 + 3e-10, 1, 1) == 3
    assert drilling.area_rule_holes(1 / math.pi, 3 + 3e-9, 1, 1) == 4


def test_a_log_much_shorter_than_its_margins_has_no_holes_whatever_the_unit():
    # 2 cm long, margins of 5 cm, holes 3 cm apart
    assert drilling.holes_in_rows(0.02, 0.03, 0.05) == (0, 0)


def test_spacing_for_the_spawn_on_hand_in_metres_and_at_its_least():
    # the log of 4 x 48 in again: 30 holes at 9 in
    inches = 0.0254
    spacing = drilling.spacing_for_holes(30, *[x * inches for x in (4, 48, 2, 2, 0.25)])
    assert spacing == pytest.approx(9 * inches)
    # no holes at all, or spawn for more than fits: one step
    assert drilling.spacing_for_holes(1, 4, 3, 2, 2, 0.25) == 0.25
    assert drilling.spacing_for_holes(10_000, 4, 48, 2, 2, 0.25) == 0.25

"""The drill pattern: staggered rows of holes along a log, their number and their places.

Lengths in metres. Holes stand further apart along the grain than across, because mycelium runs faster along
it. Odd rows start at the margin, even rows half a hole spacing further; row 1 is odd.
"""
from __future__ import annotations

import math
from collections import namedtuple

Hole = namedtuple("Hole", "row around_m along_m")


def _floor(value):
    return math.floor(round(value, 9))


def _check(hole_spacing_m, row_spacing_m):
    if hole_spacing_m <= 0.0 or row_spacing_m <= 0.0:
        raise ValueError("The spacing must be above 0.")


def rows_around(diameter_m, row_spacing_m):
    """Rows of holes around a log, a count: circumference / row spacing to the nearest whole, at least 1.

    diameter_m: mean diameter. Halves go up. Source: geometry.
    """
    _check(1.0, row_spacing_m)
    return max(1, _floor(math.pi * diameter_m / row_spacing_m + 0.5))


def holes_in_rows(length_m, hole_spacing_m, end_margin_m):
    """Holes in an odd and in an even row, as a pair of counts.

    usable = length - 2 x margin; odd: floor(usable / spacing) + 1; even: floor((usable - spacing / 2) /
    spacing) + 1. A log shorter than two margins has none.
    """
    _check(hole_spacing_m, 1.0)
    usable_m = length_m - 2.0 * end_margin_m
    if round(usable_m, 9) < 0.0:
        return 0, 0
    odd = _floor(usable_m / hole_spacing_m) + 1
    even = _floor((usable_m - hole_spacing_m / 2.0) / hole_spacing_m) + 1
    return odd, max(0, even)


def holes(diameter_m, length_m, hole_spacing_m, row_spacing_m, end_margin_m):
    """Holes to drill in one log, a count, by the staggered pattern.

    diameter_m: mean diameter. Raises ValueError when a spacing is not above 0. Source: geometry of common
    practice, 6 in along by 2 in around.

    >>> holes(4 * 0.0254, 48 * 0.0254, 6 * 0.0254, 2 * 0.0254, 2 * 0.0254)      # 3 rows of 8 and 3 of 7
    45
    """
    odd, even = holes_in_rows(length_m, hole_spacing_m, end_margin_m)
    rows = rows_around(diameter_m, row_spacing_m)
    return (rows + 1) // 2 * odd + rows // 2 * even


def drill_map(diameter_m, length_m, hole_spacing_m, row_spacing_m, end_margin_m):
    """Where to drill, as a list of Hole(row, around_m, along_m) on the unrolled bark, row by row.

    around_m is measured round the log from row 1 (rows share the circumference equally), along_m from one
    end. The whole pattern is shifted so that both ends keep the same margin, never less than end_margin_m.
    With an odd number of rows, the last row and row 1 lie side by side without stagger.
    """
    counts = holes_in_rows(length_m, hole_spacing_m, end_margin_m)
    rows = rows_around(diameter_m, row_spacing_m)
    step_m = math.pi * diameter_m / rows
    placed = [(row, (row - 1) * step_m, k * hole_spacing_m + (0.0 if row % 2 else hole_spacing_m / 2.0))
              for row in range(1, rows + 1) for k in range(counts[0] if row % 2 else counts[1])]
    if not placed:
        return []
    shift_m = (length_m - max(along for _, _, along in placed)) / 2.0
    return [Hole(row, around, along + shift_m) for row, around, along in placed]


def area_rule_holes(diameter_m, length_m, hole_spacing_m, row_spacing_m):
    """Rough count of holes, rounded up, without margins: bark area / (hole spacing x row spacing).

    >>> area_rule_holes(4.0, 48.0, 6.0, 2.0)      # pi x 4 x 48 / 12 = 50.3, any one unit of length
    51
    """
    _check(hole_spacing_m, row_spacing_m)
    return math.ceil(round(math.pi * diameter_m * length_m / (hole_spacing_m * row_spacing_m), 9))


def spacing_for_holes(holes_at_most, diameter_m, length_m, row_spacing_m, end_margin_m, step_m):
    """Closest hole spacing along the log, metres, at which a log takes at most so many holes.

    The inverse of `holes`, to make the spawn on hand last. The answer is a whole multiple of step_m (a mark
    on the tape, such as a quarter inch). None: even one hole in every other row is more than holes_at_most,
    so the rows must stand further apart. A log without holes needs one step.
    """
    _check(step_m, row_spacing_m)
    usable_m = max(0.0, length_m - 2.0 * end_margin_m)
    low, high = 1, max(1, math.ceil(round(2.0 * usable_m / step_m, 9)) + 1)

    def fits(steps):
        return holes(diameter_m, length_m, steps * step_m, row_spacing_m, end_margin_m) <= holes_at_most

    if not fits(high):
        return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(middle) else (middle + 1, high)
    return low * step_m

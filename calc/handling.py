"""The lifting limit by the revised NIOSH equation, with every multiplier shown.

The manual's US and metric tables are not conversions of each other (51 lb is not 23 kg), so this module
works in the units of the constants it is given: inches and pounds, or centimetres and kilograms. A guide
only: the method leaves out one-handed lifts, carrying, slippery or uneven ground, temperatures outside 66-79
deg F (19-26 deg C) and work beyond 8 hours, and log yards often break several of these.
"""
from __future__ import annotations

from collections import namedtuple

# One set of the equation's constants: load; reach h, hands v, travel d, twist a (degrees).
LiftingConstants = namedtuple("LiftingConstants", "load h_min h_max v_best v_slope v_max d_const d_slope"
                                                  " d_min d_max a_slope a_max")
Lift = namedtuple("Lift", "limit load_constant reach height travel twist frequency grip")

GRIPS = ("good", "fair", "poor")


def frequency_multiplier(lifts_per_minute, hours, hands_high, rows):
    """Frequency multiplier, a fraction, from the manual's Table 5.

    rows: the table as (lifts a minute, then six multipliers: up to 1 h low and high hands, up to 2 h, up to
    8 h), rising. hands_high: hands at the start at 30 in (75 cm) or higher. Under the first row the first
    row counts; between rows on a straight line, as the manual says (p. 7); above the last row that is not
    nil: 0, no load. The manual does not say what holds between a row and a nil row; 0 is the careful
    reading. Raises ValueError for hours not above 0 or beyond 8.
    """
    if hours <= 0.0 or hours > 8.0:
        raise ValueError("The hours of lifting must be above 0 and at most 8: the method ends there.")
    column = 1 + 2 * (0 if hours <= 1.0 else 1 if hours <= 2.0 else 2) + (1 if hands_high else 0)
    if lifts_per_minute <= rows[0][0]:
        return rows[0][column]
    for i in range(1, len(rows)):
        lower, upper = rows[i - 1], rows[i]
        if lifts_per_minute == upper[0]:
            return upper[column]
        if lifts_per_minute < upper[0]:
            if upper[column] == 0.0:
                return 0.0
            share = (lifts_per_minute - lower[0]) / (upper[0] - lower[0])
            return lower[column] + (upper[column] - lower[column]) * share
    return 0.0


def recommended_weight_limit(horizontal, vertical, travel, twist_deg, lifts_per_minute, hours, grip,
                             constants, frequency_rows, grip_multipliers):
    """Recommended weight limit of a two-handed lift, as a Lift: limit, load constant, multipliers.

    limit = load x reach x height x travel x twist x frequency x grip, in the constants' unit of weight.
    horizontal: ankles to hands; vertical: hands at the start; travel: up or down; twist_deg: degrees from
    straight ahead; grip: good, fair or poor; grip_multipliers: {grip: (low hands, high hands)}. A reach or
    travel under the least counts as the least. Beyond the greatest reach, height, travel, twist or frequency
    the limit is 0: do not lift so. Raises ValueError for negative sizes, hours outside 0 to 8, an unknown
    grip. Source: NIOSH 94-110 (revised 9/2021), p. 7-18.
    """
    if min(horizontal, vertical, travel, twist_deg, lifts_per_minute) < 0.0:
        raise ValueError("Distances, twist and lifts a minute cannot be below 0.")
    if grip not in grip_multipliers:
        raise ValueError("The grip must be good, fair or poor.")
    c = constants
    reach = 0.0 if horizontal > c.h_max else c.h_min / max(horizontal, c.h_min)
    height = 0.0 if vertical > c.v_max else 1.0 - c.v_slope * abs(vertical - c.v_best)
    moved = 0.0 if travel > c.d_max else c.d_const + c.d_slope / max(travel, c.d_min)
    twist = 0.0 if twist_deg > c.a_max else 1.0 - c.a_slope * twist_deg
    hands_high = vertical >= c.v_best
    frequency = frequency_multiplier(lifts_per_minute, hours, hands_high, frequency_rows)
    hold = grip_multipliers[grip][1 if hands_high else 0]
    limit = c.load * reach * height * moved * twist * frequency * hold
    return Lift(limit, c.load, reach, height, moved, twist, frequency, hold)


def lifting_index(load, limit):
    """Load over the recommended weight limit, a ratio.

    1 or less is the design goal, above 3 is highly stressful. Source: NIOSH 94-110, p. 1, 20. Raises
    ValueError when the limit is 0: such a lift should not be done at all.
    """
    if limit <= 0.0:
        raise ValueError("The recommended weight limit is 0 for this lift; there is no index.")
    return load / limit


def frequency_over_15_minutes(lifts_per_minute, minutes_lifting):
    """Lifts a minute to use when lifting fills only part of a 15-minute spell: lifts x minutes / 15.

    minutes_lifting: of the 15. Source: NIOSH 94-110, p. 16, for up to 15 lifts a minute. Raises ValueError
    outside.

    >>> round(frequency_over_15_minutes(10, 8), 2)
    5.33
    """
    if not 0.0 <= minutes_lifting <= 15.0 or not 0.0 <= lifts_per_minute <= 15.0:
        raise ValueError("Minutes of lifting and lifts a minute must be between 0 and 15.")
    return lifts_per_minute * minutes_lifting / 15.0

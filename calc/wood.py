"""Bolts: volume, green and dry weight, moisture by weighing, and bolts cut from a tree.

Lengths in metres, volumes in cubic metres, weights in kilograms, moistures as fractions whose names say the
basis (wet: water over the whole weight; dry: water over the oven-dry weight). Volumes are over bark.
"""
from __future__ import annotations

import math
from collections import namedtuple

StemParts = namedtuple("StemParts", "wood_volume_m3 bark_volume_m3 wood_green_kg bark_green_kg wood_dry_kg"
                                    " bark_dry_kg")
Bolt = namedtuple("Bolt", "number small_end_m large_end_m length_m from_height_m volume_m3 too_thin")


def disc_area(diameter_m):
    """Area of a round cross-section, square metres, from its diameter in metres."""
    return math.pi * diameter_m * diameter_m / 4.0


def huber_volume(mid_m, length_m):
    """Volume of a bolt from its diameter at mid length, cubic metres: area at the middle x length.

    Both in metres. Source: Huber's formula (forest measurement textbooks, from memory). Exact for a cylinder
    and a paraboloid; about 1 % or better on bolts of 3 to 4 ft without butt swell.
    """
    return disc_area(mid_m) * length_m


def smalian_volume(small_end_m, large_end_m, length_m):
    """Volume of a bolt from both end diameters, cubic metres: mean of the end areas x length.

    All in metres. Source: Smalian's formula (Larsen, Cubic log volume, 2012-2020). Overstates a bolt with
    butt swell.
    """
    return (disc_area(small_end_m) + disc_area(large_end_m)) / 2.0 * length_m


def newton_volume(small_end_m, mid_m, large_end_m, length_m):
    """Volume of a bolt from three diameters, cubic metres: (small + 4 x mid + large end area) / 6 x length.

    All in metres. Source: Newton's formula (forest measurement textbooks, from memory). Exact for cylinder,
    paraboloid, cone and neiloid.
    """
    areas = disc_area(small_end_m) + 4.0 * disc_area(mid_m) + disc_area(large_end_m)
    return areas / 6.0 * length_m


def bolt_volume(diameter_m, large_end_m, length_m):
    """Volume of a bolt over bark, cubic metres, from what was measured.

    With a large end, `diameter_m` is the small end (Smalian); large end None or 0: it is the mid diameter
    (Huber). All in metres.

    >>> round(bolt_volume(0.10, None, 1.0), 6)      # 3.141593 / 4 x 0.01
    0.007854
    """
    if large_end_m:
        return smalian_volume(diameter_m, large_end_m, length_m)
    return huber_volume(diameter_m, length_m)


def mean_diameter(diameter_m, large_end_m=None):
    """Mean of the two end diameters, metres; the diameter itself when the large end is None or 0."""
    return (diameter_m + large_end_m) / 2.0 if large_end_m else diameter_m


def wood_density(specific_gravity, moisture_dry_fraction, water_kg_m3):
    """Weight of wood with its water, kg per cubic metre: water x G x (1 + moisture).

    specific_gravity: oven-dry weight over volume at that moisture (green volume for green wood).
    Source: Wood Handbook FPL-GTR-190 ch. 4, quoted by Larsen 2015.

    >>> round(wood_density(0.4, 0.12, 1000.0), 6)
    448.0
    """
    return water_kg_m3 * specific_gravity * (1.0 + moisture_dry_fraction)


def stem_parts(volume_m3, wood_specific_gravity, wood_moisture_dry_fraction, bark_specific_gravity,
               bark_moisture_dry_fraction, bark_volume_fraction_of_wood, water_kg_m3):
    """Wood and bark of a bolt apart: volumes in cubic metres, green and oven-dry weights in kg.

    volume_m3 is over bark. The bark volume is a fraction v of the WOOD volume, so wood takes 1 / (1 + v) of
    the bolt. Source: method of the USDA Forest Service FIA after Miles and Smith 2009, NRS-38. A species
    average: one tree may differ by a tenth or more.
    """
    wood_m3 = volume_m3 / (1.0 + bark_volume_fraction_of_wood)
    bark_m3 = volume_m3 - wood_m3
    wood_dry_kg = wood_m3 * wood_specific_gravity * water_kg_m3
    bark_dry_kg = bark_m3 * bark_specific_gravity * water_kg_m3
    return StemParts(wood_m3, bark_m3, wood_dry_kg * (1.0 + wood_moisture_dry_fraction),
                     bark_dry_kg * (1.0 + bark_moisture_dry_fraction), wood_dry_kg, bark_dry_kg)


def green_weight(parts):
    """Green weight of a bolt with its bark, kg, from stem_parts."""
    return parts.wood_green_kg + parts.bark_green_kg


def dry_weight(parts, with_bark=False):
    """Oven-dry weight of a bolt, kg: wood only (for biological efficiency), or with bark (for moisture)."""
    return parts.wood_dry_kg + (parts.bark_dry_kg if with_bark else 0.0)


def green_to_dry_ratio(wood_specific_gravity, wood_moisture_dry_fraction, bark_specific_gravity,
                       bark_moisture_dry_fraction, bark_volume_fraction_of_wood):
    """Green over oven-dry weight of a whole bolt with bark, a ratio; stem_parts without the volume.

    Source: USDA Forest Service FIA, REF_SPECIES table, whose printed ratios it reproduces.
    """
    parts = stem_parts(1.0, wood_specific_gravity, wood_moisture_dry_fraction, bark_specific_gravity,
                       bark_moisture_dry_fraction, bark_volume_fraction_of_wood, 1.0)
    return green_weight(parts) / dry_weight(parts, with_bark=True)


def _check_wet(name, fraction):
    if not 0.0 <= fraction < 1.0:
        raise ValueError("{} must be at least 0 and below 1 (wet basis).".format(name))


def wet_from_dry(moisture_dry_fraction):
    """Moisture, wet basis, from dry basis: d / (1 + d), fractions. Definition (Briggs 1994 ch. 1).

    >>> wet_from_dry(1.0)
    0.5
    """
    if moisture_dry_fraction < 0.0:
        raise ValueError("Moisture cannot be below 0.")
    return moisture_dry_fraction / (1.0 + moisture_dry_fraction)


def dry_from_wet(moisture_wet_fraction):
    """Moisture, dry basis, from wet basis: w / (1 - w), fractions. Raises ValueError outside 0 to below 1."""
    _check_wet("Moisture", moisture_wet_fraction)
    return moisture_wet_fraction / (1.0 - moisture_wet_fraction)


def moisture_dry_fraction(green_kg, oven_dry_kg):
    """Moisture, dry basis, fraction, of a piece weighed green and oven-dry: (green - dry) / dry.

    Any one weight unit. Source: Purdue Extension FNR-156. Raises ValueError when the dry weight is not above
    0.

    >>> round(moisture_dry_fraction(136, 100), 9)
    0.36
    """
    if oven_dry_kg <= 0.0:
        raise ValueError("The oven-dry weight must be above 0.")
    return (green_kg - oven_dry_kg) / oven_dry_kg


def oven_dry_weight(weight_kg, moisture_wet_fraction):
    """Weight left when all water is gone, kg: weight x (1 - moisture wet basis)."""
    _check_wet("Moisture", moisture_wet_fraction)
    return weight_kg * (1.0 - moisture_wet_fraction)


def moisture_by_weighing(weight_now_kg, start_weight_kg, start_moisture_wet_fraction):
    """Moisture now of a sample log, wet basis, fraction: (weight now - oven-dry weight) / weight now.

    Both weights in one unit, with bark. Definition of moisture. As the fungus eats wood the oven-dry weight
    falls, so after the first year the answer is too low. Raises ValueError when the weight now is below the
    oven-dry weight, or not above 0: one of the three figures is wrong.

    >>> round(moisture_by_weighing(9.0, 10.0, 0.40), 6)      # oven-dry 6; (9 - 6) / 9
    0.333333
    """
    if weight_now_kg <= 0.0:
        raise ValueError("The weight now must be above 0.")
    dry_kg = oven_dry_weight(start_weight_kg, start_moisture_wet_fraction)
    if weight_now_kg < dry_kg * (1.0 - 1e-9):
        raise ValueError("The weight now is below the oven-dry weight: check the weights and the moisture.")
    return max(0.0, (weight_now_kg - dry_kg) / weight_now_kg)


def weight_at_moisture(start_weight_kg, start_moisture_wet_fraction, target_moisture_wet_fraction):
    """Weight at which a sample log reaches a moisture (wet basis), kg: oven-dry weight / (1 - target).

    The inverse of moisture_by_weighing; the same limits.

    >>> round(weight_at_moisture(10.0, 0.40, 0.25), 9)       # oven-dry 6; 6 / 0.75
    8.0
    """
    _check_wet("Target moisture", target_moisture_wet_fraction)
    dry_kg = oven_dry_weight(start_weight_kg, start_moisture_wet_fraction)
    return dry_kg / (1.0 - target_moisture_wet_fraction)


def weight_loss_at_moisture(start_moisture_wet_fraction, target_moisture_wet_fraction):
    """Share of the start weight lost when a moisture (wet basis) is reached; negative when it is wetter."""
    return 1.0 - weight_at_moisture(1.0, start_moisture_wet_fraction, target_moisture_wet_fraction)


def taper(dbh_m, top_diameter_m, usable_height_m, breast_height_m):
    """Loss of diameter for each metre of height: (dbh - top diameter) / (usable height - breast height).

    usable_height_m: height where the stem reaches top_diameter_m. A straight-line taper is our own rule,
    since no published rule for mushroom bolts was found: diameters measured along the stem are better.
    Raises ValueError when the top is thicker than at breast height, or the usable height not above breast
    height.
    """
    if usable_height_m <= breast_height_m:
        raise ValueError("The height must be above breast height.")
    if top_diameter_m > dbh_m:
        raise ValueError("The top diameter must not be larger than the diameter at breast height.")
    return (dbh_m - top_diameter_m) / (usable_height_m - breast_height_m)


def _bolt(number, from_m, length_m, diameter_at, thinnest_m):
    ends = sorted((diameter_at(from_m), diameter_at(from_m + length_m)))
    volume = smalian_volume(ends[0], ends[1], length_m)
    return Bolt(number, ends[0], ends[1], length_m, from_m, volume, ends[0] < thinnest_m)


def _cut(from_m, to_m, bolt_length_m, diameter_at, thinnest_m):
    """Whole bolts cut upward between two heights."""
    if bolt_length_m <= 0.0:
        raise ValueError("The bolt length must be above 0.")
    count = max(0, math.floor(round((to_m - from_m) / bolt_length_m, 9)))
    if count > 10000:
        raise ValueError("The bolt length is too short for this height.")
    return [_bolt(i + 1, from_m + i * bolt_length_m, bolt_length_m, diameter_at, thinnest_m)
            for i in range(count)]


def bolts_from_tree(dbh_m, usable_height_m, bolt_length_m, top_diameter_m, stump_m, breast_height_m,
                    thinnest_m=0.0):
    """Whole bolts from a standing tree, as a list of Bolt, numbered from the stump up.

    Diameter at a height h is dbh - taper x (h - breast height); bolts are cut from the stump upward while
    the bolt's top is at or below the usable height (where the stem reaches top_diameter_m). A bolt is marked
    too_thin when its small end is under thinnest_m (0: none is). Metres throughout; the volume is Smalian's,
    over bark. Butt swell below breast height is not in it. Raises ValueError as `taper` does.
    """
    loss = taper(dbh_m, top_diameter_m, usable_height_m, breast_height_m)
    return _cut(stump_m, usable_height_m, bolt_length_m,
                lambda height_m: dbh_m - loss * (height_m - breast_height_m), thinnest_m)


def bolts_from_measurements(heights_m, diameters_m, bolt_length_m, thinnest_m=0.0):
    """Whole bolts from diameters measured along a stem, as a list of Bolt, from the lowest measurement up.

    heights_m must rise; the diameter between two measurements is on a straight line. Bolts are cut from the
    first height while the bolt's top is at or below the last. Metres throughout; volume and too_thin as in
    bolts_from_tree. Raises ValueError for fewer than two measurements or heights that do not rise.
    """
    if len(heights_m) != len(diameters_m) or len(heights_m) < 2:
        raise ValueError("At least two heights with a diameter each are needed.")
    last = len(heights_m) - 1
    if any(heights_m[i + 1] <= heights_m[i] for i in range(last)):
        raise ValueError("The heights must rise.")

    def diameter_at(height_m):
        at = next((i for i in range(last) if height_m <= heights_m[i + 1]), last - 1)
        lower, upper = heights_m[at], heights_m[at + 1]
        share = min(1.0, (height_m - lower) / (upper - lower))
        return diameters_m[at] + (diameters_m[at + 1] - diameters_m[at]) * share

    return _cut(heights_m[0], heights_m[-1], bolt_length_m, diameter_at, thinnest_m)


def longest_length_for_weight(weight_limit_kg, diameter_m, large_end_m, green_kg_m3):
    """Longest bolt within a weight, metres: limit / (mean end area x green weight of a cubic metre).

    Diameters in metres (large end None or 0: a cylinder of the mid diameter); green_kg_m3 of wood and bark
    together. Raises ValueError when diameter or weight is not above 0.
    """
    kg_per_metre = bolt_volume(diameter_m, large_end_m, 1.0) * green_kg_m3
    if kg_per_metre <= 0.0:
        raise ValueError("The diameter and the weight of the wood must be above 0.")
    return weight_limit_kg / kg_per_metre

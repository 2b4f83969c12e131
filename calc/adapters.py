"""Adapters: what stands between a worksheet function and the arithmetic it calls.

Each takes SI values in the order of the function's arguments, and the unit profile; it looks up what the
arithmetic needs from the published tables and shapes the answer into cells. No arithmetic beyond units.
"""
from __future__ import annotations

from functools import lru_cache

from calc import drilling, economics, handling, season, supplies, tables, units, wood
from calc.arguments import NOT_FOUND, NUM, BadArgument, pick

MOST_BOLTS, MOST_HOLES = 1000, 100000  # rows that an array function gives; beyond them the units are wrong


def plain(calculation):
    """An adapter for a calculation that takes the arguments as they are."""
    return lambda *values, profile: calculation(*values)


def row(calculation):
    """An adapter for a calculation whose tuple is one row of cells."""
    return lambda *values, profile: [list(calculation(*values))]


def water_density():
    """Density of water in kg per cubic metre, the same in both profiles (62.43 lb a cubic foot is 1000.03)."""
    return tables.figure("water_density_kg_m3").typical


def stem_parts(name, diameter_m, large_end_m, length_m, profile):
    """Wood and bark of a bolt of a named wood. Raises UnknownName."""
    kind = tables.find_species(name)
    return wood.stem_parts(wood.bolt_volume(diameter_m, large_end_m, length_m), kind.wood_specific_gravity,
                           kind.wood_moisture_dry_fraction, kind.bark_specific_gravity,
                           kind.bark_moisture_dry_fraction, kind.bark_volume_fraction_of_wood,
                           water_density())


def weight(name, diameter_m, large_end_m, length_m, profile):
    """Green weight with bark, kg."""
    return wood.green_weight(stem_parts(name, diameter_m, large_end_m, length_m, profile))


def dry_weight(name, diameter_m, large_end_m, length_m, with_bark, profile):
    """Oven-dry weight, kg, of the wood or of the whole bolt."""
    return wood.dry_weight(stem_parts(name, diameter_m, large_end_m, length_m, profile), with_bark)


def from_tree(dbh_m, height_m, bolt_length_m, top_diameter_m, stump_m, profile):
    """Rows of bolt number, small end, large end, volume."""
    if height_m / bolt_length_m > MOST_BOLTS:
        raise BadArgument("height", "it gives more than %d bolts" % MOST_BOLTS, "a tree", "Check the units.", NUM)
    breast = tables.figure(pick(("breast_height_ft", "breast_height_m"), profile)).typical
    bolts = wood.bolts_from_tree(dbh_m, height_m, bolt_length_m, top_diameter_m, stump_m,
                                 breast * units.factor("height", profile))
    if not bolts:
        raise BadArgument("bolt_length", "no whole bolt fits below that height",
                          "a shorter bolt or a taller stem",
                          "Check height (to the top diameter) and bolt_length.", NUM)
    return [[bolt.number, bolt.small_end_m, bolt.large_end_m, bolt.volume_m3] for bolt in bolts]


def drill_map(diameter_m, length_m, hole_spacing_m, row_spacing_m, end_margin_m, profile):
    """Rows of row number, around, along."""
    if drilling.holes(diameter_m, length_m, hole_spacing_m, row_spacing_m, end_margin_m) > MOST_HOLES:
        raise BadArgument("diameter", "it gives more than %d holes" % MOST_HOLES, "a log", "Check the units.", NUM)
    found = drilling.drill_map(diameter_m, length_m, hole_spacing_m, row_spacing_m, end_margin_m)
    if not found:
        raise BadArgument("length", "the log is shorter than its two end margins", "a longer log",
                          "Check length and end_margin.", NUM)
    return [list(hole) for hole in found]


def packs(need, pack_sizes, pack_prices, profile):
    """One row: packs of each size (0 for a blank one), cost (None without prices), left over."""
    if len(pack_prices) > len(pack_sizes):
        raise BadArgument("pack_prices", "there are more prices than sizes", "one price for each pack size",
                          "Make both ranges the same length.")
    prices = pack_prices + [None] * (len(pack_sizes) - len(pack_prices))
    offered = [i for i, size in enumerate(pack_sizes) if size is not None]
    bought = supplies.cheapest_packs(need, [pack_sizes[i] for i in offered], [prices[i] for i in offered])
    counts = [0] * len(pack_sizes)
    for place, count in enumerate(bought.counts):
        counts[offered[place]] = count
    return [counts + [bought.cost, bought.left_over]]


def wax(holes, wax_per_hole_kg, diameter_m, ends, coat_m, wax_kg_m3, profile):
    """Wax by weight, kg; both ends when a diameter is given and the number of ends is left out."""
    ends = (2.0 if diameter_m else 0.0) if ends is None else ends
    if ends and not diameter_m:
        raise BadArgument("diameter", "is blank", "the diameter of the log ends to wax",
                          "Type it, or 0 ends.")
    return supplies.wax_weight(holes, wax_per_hole_kg, ends, diameter_m or 0.0, coat_m, wax_kg_m3)


@lru_cache(maxsize=None)
def lifting_constants(profile):
    """The constants of the lifting equation in the units of a profile, from the published figures."""
    return handling.LiftingConstants(*[tables.figure("niosh_{}_{}".format(profile, name)).typical
                                       for name in handling.LiftingConstants._fields])


@lru_cache(maxsize=None)
def frequency_rows():
    """The frequency table of the lifting equation as rows of numbers."""
    return tuple(tuple(float(cell) for cell in cells.values()) for cells in tables.rows("niosh_frequency"))


@lru_cache(maxsize=None)
def grip_multipliers():
    """The coupling table of the lifting equation: grip -> (low hands, high hands)."""
    return {grip: tuple(tables.figure("niosh_grip_{}_{}".format(grip, hands)).typical
                        for hands in ("low", "high")) for grip in handling.GRIPS}


def lift(horizontal, vertical, travel, twist_deg, lifts_per_minute, hours, grip, profile):
    """The lifting limit and its multipliers, in inches and pounds or centimetres and kilograms."""
    return handling.recommended_weight_limit(horizontal, vertical, travel, twist_deg, lifts_per_minute, hours,
                                             grip, lifting_constants(profile), frequency_rows(),
                                             grip_multipliers())


def lift_limit(*values, profile):
    """The lifting limit alone."""
    return lift(*values, profile=profile).limit


def _years(flows):
    if len(flows) < 2:
        raise BadArgument("flows", "fewer than two years", "a flow for each year, year 0 first",
                          "Point to the range.")
    return [0.0 if flow is None else flow for flow in flows]


def npv(rate, flows, profile):
    """Present value; a blank year counts as 0."""
    return economics.npv(rate, _years(flows))


def irr(flows, profile):
    """The one rate of return; a blank year counts as 0. Raises BadArgument where there is none or several."""
    rates = economics.rates_of_return(_years(flows))
    if len(rates) == 1:
        return rates[0]
    how_many = "more than one rate breaks" if rates else "no rate breaks"
    raise BadArgument("flows", how_many + " these flows even", "flows that turn to earning once",
                      "Use BOLT_NPV at your own interest instead.", NOT_FOUND)


def first_flush(inoculated, low_months, high_months, fruits_from, fruits_to, temperatures, profile):
    """One row: the first and the last day of the window. Raises BadArgument where no month suits."""
    fits = None
    if temperatures or fruits_from is not None or fruits_to is not None:
        fits = season.months_that_fit(temperatures, fruits_from, fruits_to)
        if fits is None:
            _temperatures_needed(temperatures)
        if not any(fits):
            raise BadArgument("monthly_temperatures", season.why_no_month(fits), "a month that suits the strain",
                              "Check the strain's range and the unit of the temperatures.", NOT_FOUND)
    return [list(season.first_flush(inoculated, low_months, high_months, fits))]


def _temperatures_needed(temperatures):
    """Raises BadArgument for what is missing before months can be told to suit a strain."""
    missing = season.missing_months(temperatures)
    if not missing:
        raise BadArgument("fruits_from", "is blank, and fruits_to too", "the temperatures the strain fruits in",
                          "Type at least one of them, or leave all temperatures out.")
    gone = "all" if len(missing) == 12 else season.month_names(missing)
    raise BadArgument("monthly_temperatures", "missing: {}".format(gone), "the mean temperature of each of the twelve months, January first",
                      "Point to twelve cells, or leave all temperatures out.")

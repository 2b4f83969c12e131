"""Spawn, packs, wax and time for a number of holes or logs.

Lengths in metres, weights in kilograms, volumes in cubic metres, densities in kg per cubic metre, times in
seconds, shares as fractions. Money is plain.
"""
from __future__ import annotations

import math
from collections import namedtuple
from fractions import Fraction

MOST_STEPS = 1000000      # work allowed in the search for the cheapest packs: a second or two

Packs = namedtuple("Packs", "counts cost left_over")


def _ceil(value):
    return math.ceil(round(value, 9))


def plugs_needed(holes, spare_share):
    """Plugs or thimbles to have, a count rounded up: holes x (1 + spare share).

    >>> plugs_needed(200, 0.05)
    210
    """
    return _ceil(holes * (1.0 + spare_share))


def hole_volume(bit_m, depth_m):
    """Volume of one drilled hole, cubic metres, from bit diameter and depth in metres (a cylinder)."""
    return math.pi * bit_m * bit_m / 4.0 * depth_m


def sawdust_weight(holes, bit_m, depth_m, bulk_kg_m3, fill_share, spare_share):
    """Sawdust spawn to have, kg: holes x hole volume x fill x bulk density x (1 + spare share).

    bulk_kg_m3: weight of a cubic metre of spawn as packed in the hole. Geometry; the bulk density is a
    starting guess until the grower weighs a bag and counts the holes it filled.
    """
    return holes * hole_volume(bit_m, depth_m) * fill_share * bulk_kg_m3 * (1.0 + spare_share)


def totem_weight(logs, weight_per_log_kg, spare_share):
    """Spawn for forms without holes such as totems, kg: logs x weight per log x (1 + spare share)."""
    return logs * weight_per_log_kg * (1.0 + spare_share)


def _whole_numbers(values):
    """Decimal numbers scaled alike to whole ones, and the scale: [5.5, 22] -> [1, 4], 2/11."""
    exact = [Fraction(repr(float(value))) for value in values]
    common = 1
    for number in exact:
        common = common * number.denominator // math.gcd(common, number.denominator)
    whole = [int(number * common) for number in exact]
    shared = 0
    for number in whole:
        shared = math.gcd(shared, number)
    shared = shared or 1
    return [number // shared for number in whole], Fraction(common, shared)


def _best_choices(need, sizes, prices):
    """For every amount 1..need the pack to take first, so that (cost, left over, packs) is least."""
    best, choice = [(0, 0, 0)], [None]
    packs = range(len(sizes))
    for amount in range(1, need + 1):
        chosen = None
        for i in packs:
            if sizes[i] >= amount:
                found = (prices[i], sizes[i] - amount, 1, i)
            else:
                cost, left, count = best[amount - sizes[i]]
                found = (cost + prices[i], left, count + 1, i)
            if chosen is None or found < chosen:
                chosen = found
        best.append(chosen[:3])
        choice.append(chosen[3])
    return choice


def _bulk(need, sizes, prices):
    """How many of the pack with the lowest unit price (without prices: the largest) can be bought first
    without losing the best answer.

    Of the other packs fewer than that pack's size (in whole units) are ever needed: among so many, some
    together make a multiple of it, and the cheap pack replaces them at no higher cost.
    """
    best = min(range(len(sizes)), key=lambda i: (Fraction(prices[i], sizes[i]), -sizes[i]))
    reach = (sizes[best] - 1) * max(sizes) + sizes[best]
    return best, max(0, (need - reach) // sizes[best])


def cheapest_packs(need, sizes, prices=()):
    """The cheapest whole packs that cover a need: Packs(counts in the order of sizes, cost, left_over).

    need and sizes in one unit (plugs, or any weight); fractions such as 5.5 are exact. Ties go to the least
    left over, then to the fewest packs. A price left blank (None), or no prices: cost is None and the packs
    with the least left over, then the fewest, are chosen. need 0: nothing is bought. Exact (dynamic
    programming). Raises ValueError for a size that is not above 0, a price below 0, no sizes, prices that do
    not match the sizes, or sizes so uneven or small that the search would take too long.

    >>> cheapest_packs(600, [100, 500, 1000], [9.0, 35.0, 60.0])      # 500 + 100 = 44.00
    Packs(counts=(1, 1, 0), cost=44.0, left_over=0.0)
    """
    sizes, prices = list(sizes), list(prices)
    if not sizes:
        raise ValueError("At least one pack size is needed.")
    if any(size <= 0 for size in sizes):
        raise ValueError("Every pack size must be above 0.")
    if prices and len(prices) != len(sizes):
        raise ValueError("There must be one price for each pack size.")
    priced = bool(prices) and all(price is not None for price in prices)
    if priced and any(price < 0 for price in prices):
        raise ValueError("A price cannot be below 0.")
    whole, scale = _whole_numbers(sizes)
    goal = math.ceil(Fraction(repr(round(float(need), 9))) * scale)
    money = _whole_numbers(prices)[0] if priced else [0] * len(sizes)
    counts = [0] * len(sizes)
    if goal > 0:
        first, many = _bulk(goal, whole, money)
        counts[first] += many
        rest = goal - many * whole[first]
        if rest * len(sizes) > MOST_STEPS:
            raise ValueError("These pack sizes are too fine for this need; round the sizes.")
        choice = _best_choices(rest, whole, money)
        while rest > 0:
            counts[choice[rest]] += 1
            rest -= whole[choice[rest]]
    bought = sum(counts[i] * whole[i] for i in range(len(whole)))
    left_over = max(0.0, round(float(Fraction(bought) / scale) - need, 9))
    if not priced:
        return Packs(tuple(counts), None, left_over)
    exact_cost = sum(counts[i] * Fraction(repr(float(prices[i]))) for i in range(len(prices)))
    return Packs(tuple(counts), float(exact_cost), left_over)


def wax_weight(holes, wax_per_hole_kg, ends=0, diameter_m=0.0, coat_m=0.0, wax_kg_m3=0.0):
    """Wax to seal holes and log ends, kg: holes x wax per hole + ends x end area x coat x density of the wax.

    ends: how many log ends are coated (0: none; 2 for each log). diameter_m, coat_m: end diameter and
    thickness of the coat, metres.
    """
    end_m3 = ends * math.pi * diameter_m * diameter_m / 4.0 * coat_m
    return holes * wax_per_hole_kg + end_m3 * wax_kg_m3


def wax_volume(wax_kg, wax_kg_m3, melted_swell_share):
    """Room the melted wax takes, cubic metres: weight / density x (1 + swell on melting).

    Use a pot that stays well under full. Raises ValueError when the density is not above 0.
    """
    if wax_kg_m3 <= 0.0:
        raise ValueError("The density of the wax must be above 0.")
    return wax_kg / wax_kg_m3 * (1.0 + melted_swell_share)


def setup_time(logs, seconds_per_log):
    """Working time to establish logs, seconds: logs x the sum of the steps, each in seconds a log.

    >>> setup_time(10, [600, 1320]) / 3600.0      # 10 min drilling and filling, 22 min the rest
    5.333333
    """
    return logs * sum(seconds_per_log)

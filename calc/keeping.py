"""Drying by mass balance: the dry matter stays, the water leaves."""
from __future__ import annotations

import math
from collections import namedtuple

TINY = 1e-9


def fresh_to_dried_ratio(fresh_moisture_wet_fraction, dried_moisture_wet_fraction):
    """Fresh weight for one unit of dried weight, a ratio: (1 - dried moisture) / (1 - fresh moisture).

    Moistures wet basis, fractions from 0 to below 1, the dried one not above the fresh one; raises ValueError
    otherwise. Conservation of mass. From moisture alone the ratio runs from about 6 to 11.5.

    >>> round(fresh_to_dried_ratio(0.90, 0.10), 6)      # 0.90 / 0.10
    9.0
    """
    for moisture in (fresh_moisture_wet_fraction, dried_moisture_wet_fraction):
        if not 0.0 <= moisture < 1.0:
            raise ValueError("Moistures must be at least 0 and below 1 (wet basis).")
    if dried_moisture_wet_fraction > fresh_moisture_wet_fraction:
        raise ValueError("The dried moisture must not be above the fresh moisture.")
    return (1.0 - dried_moisture_wet_fraction) / (1.0 - fresh_moisture_wet_fraction)


def dried_weight(fresh_kg, fresh_moisture_wet_fraction, dried_moisture_wet_fraction):
    """Weight after drying, in the unit of the fresh weight: fresh weight / fresh_to_dried_ratio."""
    return fresh_kg / fresh_to_dried_ratio(fresh_moisture_wet_fraction, dried_moisture_wet_fraction)


def pack_weight(label_weight, loss_share):
    """Weight to pack, in the unit of the label, so that the label is still true after the loss: label / (1 - loss).

    loss_share: the share of its weight a pack loses before it is sold, from 0 to below 1; raises ValueError otherwise.
    A pack must hold at least what its label says: follow your local weights and measures rules.

    >>> round(pack_weight(4.0, 0.05), 2)      # 4 oz at 5 %
    4.21
    """
    if not 0.0 <= loss_share < 1.0:
        raise ValueError("The loss must be a share from 0 to below 1.")
    return label_weight / (1.0 - loss_share)


def dryer_loads(days, drying_hours):
    """Whole loads a dryer takes in so many days: whole loads a day, or over all days where one takes longer than a day.

    >>> dryer_loads(3, 8.0), dryer_loads(3, 10.0), dryer_loads(3, 36.0)      # 3 x 3; 3 x 2; 72 h / 36 h
    (9, 6, 2)
    """
    if not drying_hours > 0.0:
        raise ValueError("The drying hours must be above 0.")
    whole_days = max(0, int(days))
    if drying_hours <= 24.0:
        return whole_days * math.floor(round(24.0 / drying_hours, 9))
    return math.floor(round(24.0 * whole_days / drying_hours, 9))


Use = namedtuple("Use", "outlet lot weight")


def best_use(lots, outlets, dry_net, dryer_by_day):
    """Who gets what of the fresh mushrooms on hand, as Uses (outlet None: the dryer); what is in none is held.

    lots: (weight, days left) each; days left are what the dryer has for it. outlets: (net per weight, most it takes or
    None, promised) each; the promised part is served first, the best outlet first, then every use above 0 by its net,
    the best first. dry_net: net per fresh weight of drying, None where it cannot be known. dryer_by_day: a function of
    days -> weight the dryer takes up to that day. Lots that have the fewest days left go first: what is sold leaves the
    dryer the lots that can wait, so that the best-first order is also the best plan (one product, separate limits).

    >>> best_use([(5.0, 1), (5.0, 3)], [(10.0, 4.0, 0.0)], 6.0, lambda days: 2.0 * days)
    [Use(outlet=0, lot=0, weight=4.0), Use(outlet=None, lot=0, weight=1.0), Use(outlet=None, lot=1, weight=5.0)]
    """
    order = sorted(range(len(lots)), key=lambda i: lots[i][1])
    left = [weight for weight, _ in lots]
    taken, uses = [0.0] * len(outlets), []

    def sell(outlet, most):
        for lot in order:
            weight = min(left[lot], most)
            if weight > TINY:
                left[lot] -= weight
                most -= weight
                taken[outlet] += weight
                uses.append(Use(outlet, lot, weight))

    def dry():
        in_all = 0.0
        for lot in order:
            weight = min(left[lot], max(0.0, dryer_by_day(lots[lot][1]) - in_all))
            if weight > TINY:
                left[lot] -= weight
                in_all += weight
                uses.append(Use(None, lot, weight))

    ranked = sorted(range(len(outlets)), key=lambda i: -outlets[i][0])
    for outlet in ranked:
        sell(outlet, outlets[outlet][2])
    options = [(outlets[i][0], i) for i in ranked if outlets[i][0] > 0.0]
    if dry_net is not None and dry_net > 0.0:
        options.append((dry_net, None))
    for _, outlet in sorted(options, key=lambda option: -option[0]):
        if outlet is None:
            dry()
        else:
            most = outlets[outlet][1]
            sell(outlet, float("inf") if most is None else max(0.0, most - taken[outlet]))
    return uses


def worth(uses, outlets, dry_net):
    """Money of a plan of best_use: the sum of weight x net."""
    return sum(use.weight * (dry_net if use.outlet is None else outlets[use.outlet][0]) for use in uses)

"""Yield measures: biological efficiency, and how a life yield spreads over the bearing years."""
from __future__ import annotations


def biological_efficiency(fresh_kg, dry_wood_kg):
    """Fresh mushrooms over oven-dry wood, a fraction; both weights in one unit, the wood without bark.

    Outdoor logs in research gave 0 to 0.088 (Sabota 1996). Raises ValueError when the wood is not above 0.

    >>> biological_efficiency(1.0, 20.0)
    0.05
    """
    if dry_wood_kg <= 0.0:
        raise ValueError("The dry weight of the wood must be above 0.")
    return fresh_kg / dry_wood_kg


def fresh_from_efficiency(efficiency_fraction, dry_wood_kg):
    """Fresh weight over the life of a log, kg: the inverse of biological_efficiency."""
    return efficiency_fraction * dry_wood_kg


def year_weights(parts):
    """Shares of the life yield by bearing year, fractions that sum to 1, from the years' proportions.

    Source of the usual (1, 2, 2, 1): Univ. Maryland Extension RES-11. Raises ValueError when the parts sum
    to 0 or one is below 0.

    >>> year_weights((1, 1, 2))
    [0.25, 0.25, 0.5]
    """
    total = float(sum(parts))
    if total <= 0.0 or min(parts) < 0.0:
        raise ValueError("The proportions of the years must be 0 or more and not all 0.")
    return [part / total for part in parts]

"""Drying by mass balance: the dry matter stays, the water leaves."""
from __future__ import annotations


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

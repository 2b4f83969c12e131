"""The soak rota: how many groups of logs keep a weekly weight coming."""
from __future__ import annotations

import math
from collections import namedtuple

Rota = namedtuple("Rota", "groups logs_per_group logs")


def rota(weight_per_week_kg, weight_per_soaked_log_kg, cycle_weeks):
    """Logs for a weekly weight, as a Rota: groups, logs in each group (soaked in one week), logs in all.

    groups = ceil(cycle in weeks), logs per group = ceil(weekly weight / weight per soaked log), logs =
    product. Both weights in one unit; weight_per_soaked_log counts all logs soaked, also those that fail.
    One group rests while the others take their turn. Source: rota of Univ. Kentucky FOR-85. Raises
    ValueError when the weight per soaked log or the cycle is not above 0, or the weekly weight is below 0.

    >>> rota(2.0, 0.2, 9)
    Rota(groups=9, logs_per_group=10, logs=90)
    """
    if weight_per_soaked_log_kg <= 0.0 or cycle_weeks <= 0.0 or weight_per_week_kg < 0.0:
        raise ValueError("The cycle and weight per soaked log must be above 0, weekly weight 0 or more.")
    groups = max(1, math.ceil(round(cycle_weeks, 9)))
    logs_per_group = math.ceil(round(weight_per_week_kg / weight_per_soaked_log_kg, 9))
    return Rota(groups, logs_per_group, groups * logs_per_group)


def rota_of_logs(logs, cycle_weeks):
    """The Rota that a number of logs makes, rounded up to full groups.

    Source: Univ. Kentucky FOR-85, which rounds 100 logs up to 108 for nine weeks. Raises as `rota`.
    """
    groups = max(1, math.ceil(round(cycle_weeks, 9)))
    return rota(logs / float(groups), 1.0, cycle_weeks)

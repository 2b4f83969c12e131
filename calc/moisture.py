"""The table moisture: sample logs by weighing, the weight at which to water, and weighings that cannot be.

Wet basis throughout: water over the whole weight. The alarm is relative to what the log itself weighed at the
start (10 % less: Univ. Kentucky FOR-83), or the grower's own moisture on Settings, never one fixed moisture:
some woods are drier than any such figure on the day they are felled.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, tables, wood
from calc.sizes import WOOD_COLUMNS, lookup, picked_from
from calc.yard import NO_DAY, Diary, Yard, as_typed, dates, numbers, text_codes

YEAR_DAYS, WEEK_DAYS = 365, 7
DRY, NEAR, FINE, UNKNOWN = "water now", "near the limit", "wet enough", "not known"
NEAR_SHARE = 0.5  # of the way from the start to the limit: from here on it is near; starting guess


def _species(logs: pd.DataFrame, woods: pd.DataFrame) -> list[np.ndarray]:
    """What Lists has of the wood of each row, as wood.stem_parts takes it; NaN where the wood is not there."""
    code, known = text_codes(logs, "wood", str.casefold)
    at = lookup(woods, "wood", known)
    return [picked_from(numbers(woods, name), at)[code] for name in WOOD_COLUMNS]


def fresh_moisture(logs: pd.DataFrame, woods: pd.DataFrame) -> np.ndarray:
    """Moisture of fresh logs with bark, wet basis, fraction, by row of Logs; NaN where the wood is not on Lists.

    1 - 1 / (green over oven-dry weight with bark); the ratio is the forest inventory's (wood.green_to_dry_ratio).
    """
    return 1.0 - 1.0 / wood.green_to_dry_ratio(*_species(logs, woods))


def by_size(logs: pd.DataFrame, woods: pd.DataFrame, volume_m3: np.ndarray):
    """What a log of that size and wood weighs without any water, and with every pore full of it, kg; NaN where not known.

    Full: water for the whole volume, and of the dry weight what is heavier than water, dry x (1 - 1 / cell wall gravity).
    A species average, so it serves questions only.
    """
    water = tables.figure("water_density_kg_m3").typical
    parts = wood.stem_parts(volume_m3, *_species(logs, woods), water)
    dry = wood.dry_weight(parts, with_bark=True)
    return dry, volume_m3 * water + dry * (1.0 - 1.0 / tables.figure("cell_wall_gravity").typical)


@dataclass
class Samples:
    """What the moisture of each row of Logs is worked from; arrays by row."""

    start_kg: np.ndarray  # NaN where Logs has no Sample weight
    start_wet: np.ndarray
    assumed: np.ndarray  # True where the start moisture is the wood's own
    size_dry_kg: np.ndarray  # of a log of its size and wood without any water, and full of it
    size_full_kg: np.ndarray

    @property
    def dry_kg(self) -> np.ndarray:
        """Oven-dry weight of the sample log."""
        return self.start_kg * (1.0 - self.start_wet)

    @property
    def most_kg(self) -> np.ndarray:
        """The heaviest it can be."""
        return np.fmax(self.size_full_kg, self.start_kg)

    def can_be(self, log, weight_kg) -> np.ndarray:
        """True for weights that such a log can have: not below its dry weight, not above every pore full."""
        with np.errstate(invalid="ignore"):
            heavy = weight_kg > self.most_kg[log] * (1 + 1e-9)
            light = weight_kg < self.dry_kg[log] * (1 - 1e-9)
        return ~heavy & ~light & (weight_kg > 0)


def samples(logs: pd.DataFrame, woods: pd.DataFrame, volume_m3: np.ndarray, weighed: np.ndarray | None = None) -> Samples:
    """Start weight and start moisture of every row; a blank Start moisture takes the wood's own fresh moisture.

    weighed: rows of Logs with a weighing, where they are known: wood and size are then looked up for them and for rows with a Sample
    weight alone, and are NaN for the others.
    """
    start, typed = numbers(logs, "sample_weight_kg"), numbers(logs, "start_moisture")
    if weighed is None:
        own, (dry, full) = fresh_moisture(logs, woods), by_size(logs, woods, volume_m3)
    else:
        own, dry, full = (np.full(len(logs), np.nan) for _ in range(3))
        mine = ~np.isnan(start)
        mine[weighed] = True
        if mine.any():
            some = logs[mine]
            own[mine], (dry[mine], full[mine]) = fresh_moisture(some, woods), by_size(some, woods, volume_m3[mine])
    return Samples(start, np.where(np.isnan(typed), own, typed), np.isnan(typed) & ~np.isnan(own), dry, full)


@dataclass(frozen=True)
class Limit:
    """When to water a sample log: the weight, kg, the moisture there, and the rule in words."""

    weight_kg: float
    moisture: float
    rule: str


def limit(start_kg: float, start_wet: float, below: float | None) -> Limit:
    """The weight at which to water. below: the grower's own moisture (wet basis), None for the 10 % rule.

    Own moisture at or above the log's start would ask for water on the first day: then the 10 % rule holds. Where
    10 % less is drier than spawn survives (23 %, Univ. Kentucky FOR-82), the limit is that floor.
    """
    share, floor = tables.figure("water_loss_alarm").typical, tables.figure("moisture_floor_wet").typical
    if below is not None and below < start_wet:
        return Limit(wood.weight_at_moisture(start_kg, start_wet, below), below, f"your setting, {below:.0%}")
    weight = start_kg * (1.0 - share)
    reached = wood.moisture_by_weighing(weight, start_kg, start_wet) if 1.0 - share > 1.0 - start_wet else 0.0
    if reached < floor < start_wet:
        return Limit(wood.weight_at_moisture(start_kg, start_wet, floor), floor, f"{floor:.0%} wet, the least spawn survives (FOR-82)")
    more = "" if below is None else f"; your {below:.0%} is above this log's start"
    return Limit(weight, reached, f"{share:.0%} lighter than at the start (FOR-83){more}")


@dataclass
class Weighings:
    """Weighings of sample logs up to the as-of day, by log and day: usable ones, and how many were not."""

    log: np.ndarray
    day: np.ndarray
    weight_kg: np.ndarray
    left_out: np.ndarray  # by row of Logs


def weighings(book: Diary, yard: Yard, known: Samples) -> Weighings:
    """Weighed events that can be, sorted by log and day; of two on one day the later line counts."""
    line, log = book.pairs("weighed")
    day, weight = book.day[line], book.amount[line]
    begun = (yard.inoculated[log] >= NO_DAY) | (day >= yard.inoculated[log])
    there = begun & ~np.isnan(weight)
    good = there & known.can_be(log, weight)
    out = np.bincount(log[there & ~good], minlength=len(yard))
    log, day, weight, line = log[good], day[good], weight[good], line[good]
    order = np.lexsort((line, day, log))
    log, day, weight = log[order], day[order], weight[order]
    last = np.ones(len(log), dtype=bool)
    last[:-1] = (log[1:] != log[:-1]) | (day[1:] != day[:-1])
    return Weighings(log[last], day[last], weight[last], out)


def moisture(book: Diary, yard: Yard, logs: pd.DataFrame, known: Samples, weighed: Weighings, below: float | None) -> pd.DataFrame:
    """The table moisture: one row for each row of Logs with a Sample weight or a weighing, and logs left in the yard."""
    named = np.bincount(book.pairs("weighed")[1], minlength=len(yard)) > 0
    rows = np.flatnonzero((~np.isnan(known.start_kg) | named) & (yard.alive() > 0))
    if not len(rows):
        return results.empty("moisture")
    names, places, at = as_typed(logs, "log"), as_typed(logs, "place"), numbers(logs, "row")
    found = [{"row": at[log], "log": names[log], "place": places[log], **_one(int(log), yard, known, weighed, below)} for log in rows]
    return pd.DataFrame(found, columns=list(results.COLUMNS["moisture"]))


def _one(log: int, yard: Yard, known: Samples, weighed: Weighings, below) -> dict:
    mine = slice(*np.searchsorted(weighed.log, [log, log + 1]))
    days, weights = weighed.day[mine], weighed.weight_kg[mine]
    start, wet = float(known.start_kg[log]), float(known.start_wet[log])
    found = {"weighed": pd.NaT, "weight_kg": np.nan, "moisture": np.nan, "start_moisture": wet, "start_kg": start, "loss": np.nan,
             "trend": np.nan, "water_at_kg": np.nan, "limit_moisture": np.nan, "floor_kg": np.nan, "state": UNKNOWN, "rule": "",
             "rows": float(len(days)), "days": np.nan}
    if len(days):
        found |= {"weighed": pd.Timestamp(dates(days[-1:])[0]), "weight_kg": float(weights[-1]), "days": float(yard.as_of - days[-1])}
    said = [_cannot(start, wet)]
    if not said[0]:
        rule = limit(start, wet, below)
        floor = tables.figure("moisture_floor_wet").typical
        found |= {"water_at_kg": rule.weight_kg, "limit_moisture": rule.moisture, "rule": rule.rule,
                  "floor_kg": wood.weight_at_moisture(start, wet, floor) if wet > floor else np.nan}
        said = [_began(wet, known.assumed[log])]
        if len(days):
            found |= _now(days, weights, start, wet, rule, int(yard.inoculated[log]))
            said += _said(found, wet, floor, yard.inoculated[log], days)
        else:
            said.append("not weighed yet")
    out = int(weighed.left_out[log])
    if out:
        said.append(f"{out} weighing{'s were' if out > 1 else ' was'} left out, see Problems")
    found["words"] = "; ".join(w for w in said if w)
    return found


def _cannot(start: float, wet: float) -> str:
    """Why no moisture can be worked out, "" where it can."""
    if np.isnan(start):
        return "no Sample weight on Logs, so its moisture is not known"
    if np.isnan(wet):
        return "no Start moisture on Logs, and its wood is not on Lists"
    return ""


def _began(wet: float, assumed: bool) -> str:
    return f"{wet:.1%} at the start ({'assumed: fresh wood of its kind with bark' if assumed else 'as typed'})"


def _now(days, weights, start, wet, rule: Limit, inoculated: int) -> dict:
    now = wood.moisture_by_weighing(float(weights[-1]), start, wet)
    loss = 1.0 - float(weights[-1]) / start
    before, then = None, None
    if len(days) > 1:
        before, then = wood.moisture_by_weighing(float(weights[-2]), start, wet), days[-2]
    elif inoculated < days[-1]:
        before, then = wet, inoculated
    trend = np.nan if before is None else (now - before) / (days[-1] - then) * WEEK_DAYS
    allowed = 1.0 - rule.weight_kg / start
    state = DRY if weights[-1] <= rule.weight_kg * (1 + 1e-9) else NEAR if loss > NEAR_SHARE * allowed else FINE
    return {"moisture": now, "loss": loss, "trend": trend, "state": state}


def _said(found: dict, wet: float, floor: float, inoculated: int, days) -> list[str]:
    """Floor and bias in words."""
    said = []
    if found["moisture"] <= floor:
        said.append(f"at or under {floor:.0%}, where spawn does not survive (FOR-82)")
    if wet <= floor:
        said.append(f"it started under the {floor:.0%} of FOR-82: check the Start moisture")
    if inoculated < NO_DAY and days[-1] - inoculated > YEAR_DAYS:
        said.append("more than a year since inoculation: the fungus has eaten wood, so this reads too dry")
    return said

"""The three views of cost side by side, by group: for each log, for a weight so far and over the life."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, rollup_capital
from calc.codes import Grouping, grouping
from calc.expected import Remaining
from calc.rollup_yield import at_work, with_lost
from calc.yard import TINY, Yard, text_codes

# A column of the grower's own with more different words than this is no grouping; starting guess.
MOST_GROUPS = 40


@dataclass
class Ahead:
    """What is still to come, by row of Logs: marketable weight, and upkeep as cash, labour and ownership.

    A cost is NaN for logs alive where the grower's own record knows no upkeep.
    """

    weight_kg: np.ndarray
    cash: np.ndarray
    labour: np.ndarray
    ownership: np.ndarray


def ahead(
    found: rollup_capital.Capital, yard: Yard, left: Remaining, expected_logs: pd.DataFrame, upkeep: dict
) -> Ahead:
    """Weight and cost still to come by row of Logs, up to the end of the planned life.

    upkeep: cash and labour a log and year (calc.bad_year); one that is NaN counts as 0 where the other is
    known. What lasts goes on costing a log what it costs today: the yearly charges of the items in use over
    the logs alive.
    """
    inside = left.seen.batch >= 0
    weight, years = np.zeros(len(yard)), np.zeros(len(yard))
    if inside.any():
        weight[inside] = expected_logs["expected_kg"].to_numpy()
        season = left.seen.this_year - left.seen.inoculation_year[left.seen.batch[inside]]
        span = np.maximum(left.begin.life_seasons - season + 1, 2) - left.seen.gone  # as years_to_come
        years[inside] = left.seen.alive[inside] * span
    none = np.isnan(upkeep["cash"]) and np.isnan(upkeep["labour"])
    cash, labour = (np.nan if none else float(np.nan_to_num(upkeep[name])) for name in ("cash", "labour"))
    alive = float(yard.alive().sum())
    yearly = rollup_capital.yearly(found.items, yard.as_of) / alive if alive > TINY else 0.0

    def cost(rate):
        return np.where(years > 0, years * rate, 0.0)

    return Ahead(weight, cost(cash), cost(labour), cost(yearly))


def groupings_of(grouped: dict[str, Grouping], logs: pd.DataFrame) -> dict[str, Grouping]:
    """by -> the rows of Each log by group: those of the yield (grouped), the place, and the grower's own columns.

    A column of the grower's own that is blank throughout or has more than MOST_GROUPS words is left out.
    """
    found = dict(grouped)
    own = {
        "place": "place",
        **{name: name[len("extra:") :] for name in logs if str(name).startswith("extra:")},
    }
    for name, by in own.items():
        code, words = text_codes(logs, name)
        group = grouping(code, [word or results.NOT_GIVEN for word in words])
        if name == "place" or (group.known.tolist() != [results.NOT_GIVEN] and len(group) <= MOST_GROUPS):
            found.setdefault(by, group)
    return found


def uncharged(lost_kg: float, views: dict, found: rollup_capital.Capital) -> dict[str, float]:
    """What no known log carries: marketable weight in kg, and money up to the as-of day by column of cost_views.

    views: the cash and labour Charges; found: the capital view.
    """
    charges = {"cash": views["cash"], "running": found.running, "labour": views["labour"]}
    money = {name: float(view.amount[view.uncharged()].sum()) for name, view in charges.items()}
    return {"marketable_kg": lost_kg, **money, "ownership": float((found.waiting + found.unknown).sum())}


def cost_views(
    each: pd.DataFrame, grouped: dict[str, Grouping], logs: pd.DataFrame, lost: dict[str, float], ahead: Ahead
) -> pd.DataFrame:
    """The table cost_views: the three views side by side by group, so far and over the expected life.

    each: the finished Each log table, grouped its groupings; lost: as `uncharged` gives it; ahead: weight and cost
    still to come. Each `by` adds up to the whole yard; what no known log carries stands under NO_LOG, and inside the
    whole yard.
    """
    rows = _by_row(each, ahead)
    lost = lost if any(abs(value) > TINY for value in lost.values()) else {}
    parts = [with_lost(by, group, {name: group.total(values) for name, values in rows.items()}, lost)
             for by, group in groupings_of(grouped, logs).items()]
    table = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    with np.errstate(invalid="ignore", divide="ignore"):
        return pd.DataFrame(table | _per(table))[list(results.COLUMNS["cost_views"])]


def _by_row(each: pd.DataFrame, ahead: Ahead) -> dict[str, np.ndarray]:
    """What is summed over the rows of a group."""
    working = at_work(each)
    spent = {name: each[name].to_numpy(dtype=float) for name in ("running", "cash", "labour", "ownership")}
    return {
        "logs": np.where(working, each["count"].to_numpy(dtype=float), 0.0),
        "to_come_kg": ahead.weight_kg,
        "cash_to_come": ahead.cash,
        "labour_to_come": ahead.labour,
        "ownership_to_come": ahead.ownership,
        "marketable_kg": each["marketable_kg"].to_numpy(dtype=float),
        **spent,
        # of it on logs that wait for their spawn: what they will give is not in what is still to come
        **{f"waiting_{name}": np.where(working, 0.0, money) for name, money in spent.items()},
    }


def _per(table: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Each view in money, for each log, for each weight so far and over the expected life."""
    known = table["group"] != results.NO_LOG
    gave, life = table["marketable_kg"], table["marketable_kg"] + table["to_come_kg"]
    weight = np.where((gave > TINY) & known, gave, np.nan)
    life = np.where((life > TINY) & known, life, np.nan)
    logs = np.where(table["logs"] > 0, table["logs"], np.nan)
    sums = {
        "cash": table["cash"],
        "labour": table["cash"] + table["labour"],
        "capital": table["running"] + table["labour"] + table["ownership"],
    }
    more = {"cash": table["cash_to_come"], "labour": table["cash_to_come"] + table["labour_to_come"]}
    more["capital"] = more["labour"] + table["ownership_to_come"]
    waiting = {
        "cash": table["waiting_cash"],
        "labour": table["waiting_cash"] + table["waiting_labour"],
        "capital": table["waiting_running"] + table["waiting_labour"] + table["waiting_ownership"],
    }
    out = {"total_labour": sums["labour"], "total_capital": sums["capital"]}
    for view, money in sums.items():
        money = np.where(np.abs(money) > TINY, money, np.nan)  # nothing written down is not known, and not free
        out |= {
            f"{view}_per_log": money / logs,
            f"{view}_per_kg": money / weight,
            f"{view}_life_per_kg": (money - waiting[view] + more[view]) / life,
        }
    return out


def whole_yard(views: pd.DataFrame) -> pd.Series | None:
    """The row of the whole yard in cost_views; None for an empty yard."""
    found = views[views["by"] == "yard"]
    return found.iloc[0] if len(found) else None

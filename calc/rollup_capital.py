"""The capital view: things that last are charged over their life, with interest, to the logs in the yard.

A Costs row with a life leaves the one-off cash and enters by capital recovery: (price - salvage) x capital
recovery factor + salvage x rate a year, at the real rate, accrued evenly over the days of its life from the
day it was bought. Each day's charge goes to the logs in the yard on that day. Rows without a life stand as
in the cash view, hours as in the labour view. Charges are in money of the day of purchase.
Source: capital recovery method (Southern Ag Today, 11 Oct 2023); the even accrual within a year is common
practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, rollup_cost, tables
from calc.economics import capital_charge, real_rate
from calc.yard import (
    NO_DAY,
    TINY,
    Yard,
    as_typed,
    dates,
    day_column,
    numbers,
    pair_columns,
    share_over_yard,
    yes,
)

YEAR_DAYS = 365.25
IN_FULL = "counted in full, as in the cash view: needs a life above 0 and a salvage from 0 to its price"


@dataclass
class Items:
    """The Costs rows with a usable life, as arrays of one length. `line` is the position in Costs.

    price, salvage, charge (yearly) in money; life_days; day bought (whole days since 1970); shared: for the
    whole yard; later: bought after the as-of day; named: names a log that is known.
    """

    line: np.ndarray
    price: np.ndarray
    salvage: np.ndarray
    life_days: np.ndarray
    charge: np.ndarray
    day: np.ndarray
    shared: np.ndarray
    named: np.ndarray
    later: np.ndarray
    rate: float
    odd: np.ndarray  # lines with a life that cannot be used: they stand in full, as in the cash view

    def age_days(self, day: int) -> np.ndarray:
        """Days of the life gone by at the end of a day, 0 before the purchase, at most the life."""
        return np.clip(day + 1.0 - self.day, 0.0, self.life_days)


@dataclass
class Capital:
    """The capital view: what each row of Logs carries, and the items behind it.

    running: the cash view without the items; ownership: charges for items, by row of Logs; accrued, and of it
    waiting (no log was there) and unknown (names no log that is known): by item, up to the as-of day.
    """

    items: Items
    running: rollup_cost.Charges
    ownership: np.ndarray
    accrued: np.ndarray
    waiting: np.ndarray
    unknown: np.ndarray


def rate_of(settings: dict) -> float:
    """The real rate a year from the settings interest and inflation; their published figures if left out."""
    nominal = settings.get("interest", tables.figure("interest_nominal").typical)
    return real_rate(nominal, settings.get("inflation", tables.figure("inflation").typical))


def items_of(frames: dict, links: dict, as_of: int, rate: float) -> Items:
    """The Costs rows with a life above 0, a price above 0 and a salvage from 0 to the price."""
    costs = frames.get("costs", pd.DataFrame())
    price, salvage = numbers(costs, "amount", 0.0), numbers(costs, "salvage", 0.0)
    life = numbers(costs, "life_years")
    lasting = ~np.isnan(life)
    good = lasting & (life > 0) & (price > 0) & (salvage >= 0) & (salvage <= price)
    at = np.flatnonzero(good)
    day = day_column(costs, "date")[at]
    charge = np.array(
        [capital_charge(p, s, n, rate) for p, s, n in zip(price[at], salvage[at], life[at], strict=True)]
    )
    line, _ = pair_columns(links.get("cost_links"), "cost")
    named = (np.bincount(line, minlength=len(costs)) > 0)[at]
    return Items(
        at,
        price[at],
        salvage[at],
        life[at] * YEAR_DAYS,
        charge.reshape(len(at)),
        day,
        yes(costs, "shared")[at] & ~named,
        named,
        day > as_of,
        rate,
        np.flatnonzero(lasting & ~good),
    )


def accrued(items: Items, day: int) -> np.ndarray:
    """Charge of each item up to the end of a day, money: yearly charge x years of life gone."""
    return items.charge * items.age_days(day) / YEAR_DAYS


def held(items: Items, day: int) -> np.ndarray:
    """Value still held in each item at the end of a day, money: what is still to be charged and the salvage.

    Their present value at the real rate: the price when bought, the salvage from the end of the life on. 0
    for an item not yet bought.
    """
    left = (items.life_days - items.age_days(day)) / YEAR_DAYS
    value = items.charge * _annuity(items.rate, left) + items.salvage * np.exp(-left * np.log1p(items.rate))
    return np.where(items.day > day, 0.0, value)


def interest(items: Items, day: int) -> np.ndarray:
    """Interest accrued on each item from its purchase to the end of a day, money; 0 before it.

    From the price and the charges alone: the price grows at the rate, less the growth of what was charged;
    it ends at the sum of charges + salvage - price.
    """
    gone = items.age_days(day) / YEAR_DAYS
    grown = np.expm1(gone * np.log1p(items.rate))
    growth = grown / items.rate if items.rate else gone
    return items.price * grown - items.charge * (growth - gone)


def _annuity(rate: float, years):
    """Present value of 1 a year for so many years (also parts of a year), a year being counted at its end."""
    return -np.expm1(-years * np.log1p(rate)) / rate if rate else years


def yearly(items: Items, day: int) -> float:
    """Yearly charges of all items in use on a day, money."""
    using = ~items.later & (items.shared | items.named) & (items.age_days(day) < items.life_days)
    return float(items.charge[using].sum())


def capital(frames: dict, links: dict, yard: Yard, settings: dict) -> Capital:
    """Charge every item to logs, day by day of its life up to the as-of day.

    A shared item is charged to all logs in the yard each day, by number; one that names logs to those of
    them that are in the yard. Days without any are carried by the next of them to be inoculated, or wait.
    """
    items = items_of(frames, links, yard.as_of, rate_of(settings))
    ownership = np.zeros(len(yard))
    total = accrued(items, yard.as_of)
    waiting, unknown = np.zeros(len(total)), np.zeros(len(total))
    common = np.flatnonzero(items.shared & ~items.later)
    if len(common):
        days, amount = _by_day(items, common, yard.as_of)
        ownership, found = share_over_yard(yard, days, amount)
        if not found.all():
            empty = days[~found]
            waiting[common] = [_within(items, item, empty) for item in common]
    line, log = pair_columns(links.get("cost_links"), "cost")
    order = np.argsort(line, kind="stable")
    line, log = line[order], log[order]
    for item in np.flatnonzero(items.named & ~items.later):
        first, end = np.searchsorted(line, (items.line[item], items.line[item] + 1))
        mine = np.unique(log[first:end])
        days, amount = _by_day(items, np.array([item]), yard.as_of)
        charged, found = share_over_yard(part_of(yard, mine), days, amount)
        ownership[mine] += charged
        waiting[item] = amount[~found].sum()
    lost = ~items.shared & ~items.named
    unknown[lost] = total[lost]
    return Capital(
        items, rollup_cost.cash(_without(frames, items), links, yard), ownership, total, waiting, unknown
    )


def _without(frames: dict, items: Items) -> dict:
    """The frames with the amounts of the items set to 0."""
    costs = frames.get("costs", pd.DataFrame())
    if not len(items.line):
        return frames
    amount = numbers(costs, "amount", 0.0)
    amount[items.line] = 0.0
    return {**frames, "costs": costs.assign(amount=amount)}


def _by_day(items: Items, which, as_of: int):
    """(days, charge of each day) of some items together, up to the as-of day: by running sums over days."""
    first, last = items.day[which], items.day[which] + items.life_days[which]
    start = int(first.min())
    days = np.arange(start, min(as_of, int(np.ceil(last.max())) - 1) + 1)
    daily, size = items.charge[which] / YEAR_DAYS, len(days) + 1
    step = np.zeros(size)
    np.add.at(step, first - start, daily)
    whole = np.floor(last + TINY).astype(np.int64) - start  # the first day not wholly within the life
    np.add.at(step, np.minimum(whole, size - 1), -daily)
    amount = np.cumsum(step)[:-1]
    part = np.flatnonzero(whole < len(days))
    np.add.at(amount, whole[part], daily[part] * np.maximum(0.0, last[part] - start - whole[part]))
    return days, amount


def _within(items: Items, item: int, days) -> float:
    """Charge of one item on some days."""
    part = np.clip(items.day[item] + items.life_days[item] - days, 0.0, 1.0)
    return float(items.charge[item] / YEAR_DAYS * part[days >= items.day[item]].sum())


def part_of(yard: Yard, logs: np.ndarray) -> Yard:
    """A yard of some rows of Logs alone; `logs` their positions, rising."""
    place = np.searchsorted(logs, yard.exit_log)
    mine = (place < len(logs)) & (logs[np.minimum(place, len(logs) - 1)] == yard.exit_log)
    return Yard(
        yard.count[logs],
        yard.start[logs],
        yard.inoculated[logs],
        yard.as_of,
        place[mine],
        yard.exit_day[mine],
        yard.exit_take[mine],
        yard.exit_kind[mine],
    )


def item_table(found: Capital, frames: dict, as_of: int) -> pd.DataFrame:
    """The table capital_items: every Costs row with a life, what it cost so far and is still worth."""
    items, costs = found.items, frames.get("costs", pd.DataFrame())
    if not len(items.line) and not len(items.odd):
        return results.empty("capital_items")
    ends = np.where(
        items.day >= NO_DAY, NO_DAY, np.floor(items.day + items.life_days + TINY).astype(np.int64)
    )
    words = np.select(
        [items.later, found.unknown > 0, items.age_days(as_of) >= items.life_days],
        ["bought after the as-of day", "names a log that is not on Logs", "past its life"],
        "in use",
    )
    table = pd.DataFrame(
        {
            "row": numbers(costs, "row")[items.line],
            "item": as_typed(costs, "item")[items.line],
            "bought": dates(items.day),
            "life_years": items.life_days / YEAR_DAYS,
            "ends": dates(ends),
            "price": items.price,
            "salvage": items.salvage,
            "yearly_charge": items.charge,
            "interest": np.where(items.later, 0.0, interest(items, as_of)),
            "accrued": found.accrued,
            "waiting": found.waiting + found.unknown,
            "held": held(items, as_of),
            "words": words,
        }
    )
    if not len(items.odd):
        return table
    odd = items.odd
    rest = pd.DataFrame(
        {
            "row": numbers(costs, "row")[odd],
            "item": as_typed(costs, "item")[odd],
            "bought": dates(day_column(costs, "date")[odd]),
            "price": numbers(costs, "amount", 0.0)[odd],
            "words": IN_FULL,
            **{name: numbers(costs, name)[odd] for name in ("life_years", "salvage")},
        }
    )
    return (
        rest.reindex(columns=table.columns).astype({"ends": "datetime64[ns]"})
        if not len(table)
        else pd.concat((table, rest), ignore_index=True)
    )


def reconcile(found: Capital, labour: rollup_cost.Charges, as_of: int) -> pd.DataFrame:
    """The table capital_reconciliation: spent + interest = charged + still held + not yet charged and why."""
    items = found.items
    rows = []
    for name, view in (("without a life", found.running), ("labour", labour)):
        parts = [float(view.amount[mask].sum()) for mask in (view.later, view.waiting, view.unknown)]
        rows.append([name, float(view.amount.sum()), 0.0, float(view.by_log.sum()), 0.0, *parts])
    bought = ~items.later
    rows.insert(
        1,
        [
            "with a life",
            float(items.price.sum()),
            float(interest(items, as_of)[bought].sum()),
            float(found.ownership.sum()),
            float(held(items, as_of)[bought].sum()),
            float(items.price[~bought].sum()),
            float(found.waiting.sum()),
            float(found.unknown.sum()),
        ],
    )
    rows.append(["capital view", *np.sum([row[1:] for row in rows], axis=0)])
    table = pd.DataFrame(rows, columns=list(results.COLUMNS["capital_reconciliation"])[:-1])
    right = table[["charged", "held", "dated_later", "no_log_yet", "no_log_known"]].sum(axis=1)
    return table.assign(difference=(table["spent"] + table["interest"] - right).round(6) + 0.0)

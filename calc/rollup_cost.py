"""Cost: cash and hours charged to logs, and the proof that nothing is lost or charged twice.

Two views. Cash: each Costs row in full on its date. Labour: minutes at the helper's wage; helpers paid
through Costs cost nothing here, their hours are still shown. In both, spent = charged + not yet charged.
"""
from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from calc import results
from calc.codes import coded, grouping
from calc.problems import QUESTION, Problem
from calc.yard import (
    Diary,
    Yard,
    as_typed,
    day_column,
    event_shares,
    numbers,
    pair_columns,
    share_over_yard,
    words,
    yes,
)

NO_CATEGORY = "(no category)"
HALF_A_CENT = 0.005


@dataclass
class Charges:
    """One view: what each log row carries, and of every line its amount and whether it is charged.

    amount, later (dated after the as-of day), waiting (shared, no log yet), unknown (names no log that is
    known): by line; by_log, hours_by_log: by row of Logs; hours: by line.
    """

    amount: np.ndarray
    hours: np.ndarray
    label: np.ndarray
    later: np.ndarray
    waiting: np.ndarray
    unknown: np.ndarray
    by_log: np.ndarray
    hours_by_log: np.ndarray

    @cached_property
    def labels(self) -> tuple[np.ndarray, np.ndarray]:
        """(number of each line's label, the labels by number); two numbers may have one label."""
        return coded(self.label)

    def uncharged(self) -> np.ndarray:
        """Lines dated by the as-of day that no log carries (yet)."""
        return self.waiting | self.unknown


def cash(frames: dict, links: dict, yard: Yard) -> Charges:
    """Costs rows charged to logs.

    Logs named share a row by Count. A shared row is split over the logs in the yard that day by number of
    logs (or over the next logs inoculated). A row that names only unknown logs is not charged.
    """
    costs = frames.get("costs", pd.DataFrame())
    amount, day = numbers(costs, "amount", 0.0), day_column(costs, "date")
    line, log = pair_columns(links.get("cost_links"), "cost")
    later = day > yard.as_of
    named = np.bincount(line, minlength=len(costs)) > 0
    shared = yes(costs, "shared") & ~named
    counts = np.bincount(line, weights=yard.count[log], minlength=len(costs))
    now = ~later[line]
    line, log = line[now], log[now]
    by_log = np.bincount(log, weights=amount[line] * yard.count[log] / counts[line], minlength=len(yard))
    waiting = np.zeros(len(costs), dtype=bool)
    common = np.flatnonzero(shared & ~later)
    spread, found = share_over_yard(yard, day[common], amount[common])
    waiting[common] = ~found
    return Charges(amount, np.zeros(len(costs)), as_typed(costs, "category"), later, waiting,
                   ~named & ~shared & ~later, by_log + spread, np.zeros(len(yard)))


def in_logs(frames: dict, links: dict, yard: Yard, categories) -> float:
    """Money of these categories of Costs that inoculated logs carry, as cash() charges it."""
    costs = frames.get("costs", pd.DataFrame())
    kept = np.isin(words(costs, "category"), categories)
    if not kept.any():
        return 0.0
    some = costs.assign(amount=np.where(kept, numbers(costs, "amount", 0.0), 0.0))
    return float(cash({**frames, "costs": some}, links, yard).by_log[yard.is_inoculated()].sum())


def labour(frames: dict, book: Diary, yard: Yard, wage: float) -> Charges:
    """Minutes charged to logs, as money at each helper's wage and as hours.

    A line is shared by the logs in the yard that day among those it names; a whole-yard line over all logs
    there. wage: money an hour, where the helper has no own wage.
    """
    hours = book.minutes / 60.0
    amount = hours * wages(frames, words(book.frame, "who"), wage)
    later, named = ~book.seen, book.named > 0
    timed = book.minutes != 0
    line, log, share = event_shares(book, yard, timed & named & ~later)
    by_log = np.bincount(log, weights=amount[line] * share, minlength=len(yard))
    hours_by_log = np.bincount(log, weights=hours[line] * share, minlength=len(yard))
    waiting = np.zeros(len(hours), dtype=bool)
    common = np.flatnonzero(timed & ~named & book.whole_yard & ~later)
    spread, found = share_over_yard(yard, book.day[common], amount[common])
    spread_hours, _ = share_over_yard(yard, book.day[common], hours[common])
    waiting[common] = ~found
    found = Charges(amount, hours, book.kind, later, waiting, ~named & ~book.whole_yard & ~later,
                    by_log + spread, hours_by_log + spread_hours)
    found.labels = book.kinds
    return found


def wages(frames: dict, who: np.ndarray, wage: float) -> np.ndarray:
    """Money an hour of each line: the helper's own wage if listed, else `wage`; 0 if paid through Costs."""
    helpers = frames.get("helpers", pd.DataFrame())
    if not len(helpers):
        return np.full(len(who), float(wage))
    own = np.where(yes(helpers, "paid_in_costs"), 0.0, numbers(helpers, "helper_wage", wage))
    listed = dict(zip(words(helpers, "helper"), own, strict=True))
    listed.pop("", None)
    codes, names = coded(who)
    return np.array([listed.get(name, wage) for name in names] + [wage])[codes]


def reconcile(views: dict) -> pd.DataFrame:
    """Per view: spent, charged to logs, not yet charged and why, and the difference, which is 0."""
    table = []
    for name, view in views.items():
        def total(mask, amounts=view.amount):
            return float(amounts[mask].sum())

        parts = [total(view.later), total(view.waiting), total(view.unknown)]
        spent, charged = float(view.amount.sum()), float(view.by_log.sum())
        table.append((name, spent, charged, sum(parts), *parts, round(spent - charged - sum(parts), 6) + 0.0))
    return pd.DataFrame(table, columns=list(results.COLUMNS["reconciliation"]))


def questions(table: pd.DataFrame) -> list[Problem]:
    """What is asked about money that waits for a first log; table: the reconciliation."""
    waiting = float(table.loc[table["view"] == "cash", "no_log_yet"].sum())
    if abs(waiting) < HALF_A_CENT:
        return []
    return [Problem("Costs", None, "Date", QUESTION, f"{waiting:,.2f} was spent for all logs before any was in the yard, and none has come since",
                    "a log felled or inoculated to carry it", "It stands in the cost of the yard and waits for the next log inoculated: "
                    "type Inoculated on Logs", "no_log_yet")]


def by_category(views: dict) -> pd.DataFrame:
    """Cash by category of Costs, labour by kind of event, up to the as-of day; the dearest first."""
    tables = []
    for name, view in views.items():
        seen = np.flatnonzero(~view.later & ((view.amount != 0) | (view.hours != 0)))
        code, known = view.labels
        label = grouping(code[seen], [word or NO_CATEGORY for word in known])
        amount, rows = label.total(view.amount[seen]), label.total(np.ones(len(seen)))
        hours = label.total(view.hours[seen])
        kept = np.flatnonzero(rows > 0)
        kept = kept[np.lexsort((kept, -hours[kept], -amount[kept]))]
        spent = amount.sum()
        tables.append({
            "view": np.full(len(kept), name), "category": label.known[kept], "amount": amount[kept],
            "hours": np.full(len(kept), np.nan) if name == "cash" else hours[kept],
            "share": amount[kept] / spent if spent else np.full(len(kept), np.nan), "rows": rows[kept].astype(np.int64)})
    return pd.DataFrame({name: np.concatenate([table[name] for table in tables]) for name in results.COLUMNS["costs"]})

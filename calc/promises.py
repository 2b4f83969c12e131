"""Promises: one pool for all markets, week by week, against what the logs give and what was delivered.

A week begins on Monday; a promise typed with another day counts for the week of that day. Asked, promised, ordered
and delivered are kept apart: what was asked is no promise, and what was promised is not yet ordered.
"""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results
from calc.day_numbers import monday_of
from calc.ledger import LEAST_KG
from calc.yard import NO_DAY, TINY, as_typed, dates, day_column, numbers, words

ALL = "(all markets)"
WEIGHTS = ("asked", "promised", "ordered")
OVER = "over-promised to all markets together"


def lines(promises: pd.DataFrame) -> pd.DataFrame:
    """The promises as typed, by week: week (whole day), market, key, product, asked, promised, ordered (kg, NaN blank)."""
    table = pd.DataFrame({
        "week": monday_of(day_column(promises, "week")), "market": as_typed(promises, "market"), "key": words(promises, "market"),
        "product": words(promises, "product"), **{name: numbers(promises, f"{name}_kg") for name in WEIGHTS}})
    return table[(day_column(promises, "week") < NO_DAY) & (table["key"] != "")].reset_index(drop=True)


def promised_by_week(promises: pd.DataFrame, product: str = "fresh") -> pd.Series:
    """Weight promised to all markets together, kg, by week (whole day of its Monday)."""
    if not len(promises):
        return pd.Series(dtype=float)
    typed = lines(promises)
    return typed[typed["product"] == product].groupby("week")["promised"].sum()


def delivered(sold: pd.DataFrame) -> pd.DataFrame:
    """Weight delivered by week (whole day), key and product, kg: columns of these names and amount.

    Of a product that a market never gets delivered, as at an own stall, what was sold there.
    """
    brought = sold["kind"] == "delivered"
    place = pd.MultiIndex.from_frame(sold[["key", "product"]])
    lines = sold[brought | ((sold["kind"] == "sold") & ~place.isin(place[brought]))]
    return lines.assign(week=monday_of(lines["day"])).groupby(["week", "key", "product"], as_index=False)["amount"].sum()


def promise_weeks(promises: pd.DataFrame, sold: pd.DataFrame, supply: pd.DataFrame, dried_left_kg: float, as_of: int) -> pd.DataFrame:
    """The table promise_weeks: by week, market and product; where there is more than one market, all of them together too.

    promises: the Promises table; sold: the sales ledger; supply: the table of that name (week, promise_kg), empty
    where nothing is foreseen; dried_left_kg: dried weight at home, from which every dried promise to come is taken,
    on top of what this week was delivered of its own.
    """
    typed = lines(promises) if len(promises) else promises
    if not len(typed):
        return results.empty("promise_weeks")
    wanted = typed.groupby(["week", "product", "key"], as_index=False).agg(
        market=("market", "first"), rows=("market", "size"), **{name: (name, lambda part: part.sum(min_count=1)) for name in WEIGHTS})
    gave = delivered(sold).rename(columns={"amount": "delivered"})
    table = wanted.merge(gave, how="left", on=["week", "key", "product"])
    table["delivered"] = table["delivered"].fillna(0.0)
    pool = table.groupby(["week", "product"], as_index=False).agg(
        key=("key", "size"), rows=("rows", "sum"), delivered=("delivered", "sum"),
        **{name: (name, lambda part: part.sum(min_count=1)) for name in WEIGHTS})
    pool["supply_kg"] = _supply(pool, supply, dried_left_kg, monday_of(as_of))
    pool["free_kg"] = pool["supply_kg"] - pool["promised"].fillna(0.0)
    now = int(monday_of(as_of))
    table["words"] = [_words(row, now) for row in table.itertuples()]
    pool["words"] = [_pool_words(row, now) for row in pool.itertuples()]
    pool["market"] = ALL
    whole = pd.concat((table.assign(last=0), pool.assign(last=1, key="")), ignore_index=True)
    whole = whole.sort_values(["week", "product", "last", "key"], ascending=[True, False, True, True], kind="stable", ignore_index=True)
    whole["week"] = dates(whole["week"])
    return whole.reindex(columns=list(results.COLUMNS["promise_weeks"])).astype({"rows": float})


def _supply(pool: pd.DataFrame, supply: pd.DataFrame, dried_left_kg: float, now: int) -> np.ndarray:
    """What there is for each week and product, kg; NaN for weeks gone by and weeks not foreseen."""
    foreseen = {}
    if supply is not None and len(supply):
        foreseen = dict(zip(day_column(supply, "week").tolist(), numbers(supply, "promise_kg"), strict=True))
    found, left = [], dried_left_kg
    for row in pool.sort_values("week").itertuples():
        if row.week < now:
            found.append((row.Index, np.nan))
        elif row.product == "dried":
            given = row.delivered if row.week == now else 0.0  # no longer at home, and part of what was promised
            found.append((row.Index, max(0.0, left) + given))
            left -= 0.0 if np.isnan(row.promised) else max(row.promised - given, 0.0)
        else:
            found.append((row.Index, foreseen.get(row.week, np.nan)))
    return pd.Series(dict(found)).reindex(pool.index).to_numpy(dtype=float)


def _words(row, now: int) -> str:
    """Of one market: the promise against what was asked, and what was delivered against the promise."""
    said = []
    promised = 0.0 if np.isnan(row.promised) else row.promised
    if not np.isnan(row.asked) and promised > row.asked + LEAST_KG:
        said.append("promised more than was asked")
    if not np.isnan(row.ordered) and row.ordered > promised + LEAST_KG:
        said.append("ordered more than was promised")
    if row.week > now:
        return "; ".join(said) or ("asked, nothing promised yet" if np.isnan(row.promised) else "promised")
    if promised <= TINY:
        said.append("delivered without a promise" if row.delivered > LEAST_KG else "nothing promised")
    elif row.delivered >= promised - LEAST_KG:
        said.append("kept")
    else:
        said.append("still to deliver" if row.week == now else "short of the promise" if row.delivered > LEAST_KG else "not delivered")
    return "; ".join(said)


def _pool_words(row, now: int) -> str:
    """Of all markets together."""
    promised = 0.0 if np.isnan(row.promised) else row.promised
    if row.week < now:
        if promised <= TINY:
            return "nothing promised"
        return "all promises together kept" if row.delivered >= promised - LEAST_KG else "short of what was promised in all"
    if row.week == now and promised > TINY and row.delivered >= promised - LEAST_KG:
        return "all promises together kept"
    if np.isnan(row.supply_kg):
        return "not worked out that far: do not promise on it"
    if promised > row.supply_kg + LEAST_KG:
        return OVER
    return "within what can be promised" if promised > TINY else "nothing promised yet"

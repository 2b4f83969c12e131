"""Month by month and season by season."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results
from calc.codes import Grouping, distinct
from calc.rollup_yield import Parts
from calc.yard import NO_DAY, Diary, by_calendar, day_column, days, numbers


def month_number(day: np.ndarray) -> np.ndarray:
    """Months since January 1970 of whole days."""
    return by_calendar(day, "M")


def first_days(month: np.ndarray) -> np.ndarray:
    """First day of months counted from January 1970, as dates."""
    return np.asarray(month).astype("datetime64[M]").astype("datetime64[ns]")


def span(frames: dict, as_of: int) -> np.ndarray:
    """Every month from the first dated line to the as-of day; none when there is no line."""
    first = min((int(days(pd.Series([frames[name]["date"].min()]))[0]) for name in ("events", "sales", "costs")
                 if name in frames and "date" in frames[name] and len(frames[name])), default=NO_DAY)
    if first > as_of:
        return np.zeros(0, dtype=np.int64)
    return np.arange(month_number(first), month_number(as_of) + 1)


def months(frames: dict, book: Diary, found: Parts, sales: pd.DataFrame, hours: np.ndarray) -> pd.DataFrame:
    """What each month gave and took; months without anything are 0. `hours` by line of the diary."""
    table = span(frames, book.as_of)
    if not len(table):
        return results.empty("months")

    def totals(day, *every):
        seen = day <= book.as_of
        whole = bool(seen.all())
        month = month_number(day if whole else day[seen]) - table[0]
        return [np.bincount(month, weights=values if whole else values[seen], minlength=len(table)).astype(float) for values in every]

    costs = frames.get("costs", pd.DataFrame())
    dryer = np.where(book.lines("dried"), np.nan_to_num(book.amount), 0.0)
    fresh, sold = (sales["product"] == "fresh").to_numpy(), sales["sold_kg"].to_numpy()
    picked, culled = totals(found.day, found.picked, found.culled)
    dried, worked = totals(book.day, dryer, hours)
    of_sales = totals(sales["day"].to_numpy(), np.where(fresh, sold, 0.0), np.where(fresh, 0.0, sold), sales["value"].to_numpy())
    return pd.DataFrame({
        "month": first_days(table), "picked_kg": picked, "culled_kg": culled, "dryer_kg": dried,
        **dict(zip(("sold_fresh_kg", "sold_dried_kg", "sales"), of_sales, strict=True)),
        "spent": totals(day_column(costs, "date"), numbers(costs, "amount", 0.0))[0], "hours": worked,
    })


def months_by_strain(frames: dict, as_of: int, found: Parts, strain: Grouping) -> pd.DataFrame:
    """Picked and culled weight by month and strain; `strain` by row of Logs."""
    table = span(frames, as_of)
    if not len(table) or not len(found.log):
        return results.empty("months_by_strain")
    names = np.append(strain.known, results.NO_LOG)
    mine = np.append(strain.code, len(strain))[found.log]  # log -1 takes the last
    cell = mine * len(table) + month_number(found.day) - table[0]
    size = len(names) * len(table)
    frame = pd.DataFrame({
        "month": np.tile(first_days(table), len(names)), "strain": np.repeat(names, len(table)),
        "picked_kg": np.bincount(cell, weights=found.picked, minlength=size),
        "culled_kg": np.bincount(cell, weights=found.culled, minlength=size)})
    if (found.log < 0).any():
        return frame
    return frame[frame["strain"] != results.NO_LOG].reset_index(drop=True)


def seasons(found: Parts, each: pd.DataFrame, cohort: Grouping) -> pd.DataFrame:
    """Weight by calendar year of the picks and year of inoculation (cohort, by row of Logs); only pairs with a weight."""
    if not len(found.log):
        return results.empty("seasons")
    names = np.append(cohort.known, results.NO_LOG)
    logs = np.append(cohort.total(each["count"].to_numpy(dtype=float)), 0.0)
    pair, place = distinct(found.year * len(names) + np.append(cohort.code, len(cohort))[found.log])
    picked, culled = (np.bincount(place, weights=kilos, minlength=len(pair)) for kilos in (found.picked, found.culled))
    logs = logs[pair % len(names)]
    return pd.DataFrame({
        "year": pair // len(names), "inoculation_year": names[pair % len(names)], "logs": logs, "picked_kg": picked, "culled_kg": culled,
        "per_log_kg": (picked - culled) / np.where(logs > 0, logs, np.nan)})[list(results.COLUMNS["seasons"])]

"""Month by month and season by season."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results
from calc.rollup_yield import Parts, year_names
from calc.yard import NO_DAY, Diary, dates, day_column, numbers


def month_number(day: np.ndarray) -> np.ndarray:
    """Months since January 1970 of whole days."""
    return np.asarray(day).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)


def first_days(month: np.ndarray) -> np.ndarray:
    """First day of months counted from January 1970, as dates."""
    return np.asarray(month).astype("datetime64[M]").astype("datetime64[ns]")


def span(frames: dict, as_of: int) -> np.ndarray:
    """Every month from the first dated line to the as-of day; none when there is no line."""
    first = min((int(day_column(frames[name], "date").min()) for name in ("events", "sales", "costs")
                 if name in frames and len(frames[name])), default=NO_DAY)
    if first > as_of:
        return np.zeros(0, dtype=np.int64)
    return np.arange(month_number(first), month_number(as_of) + 1)


def months(frames: dict, book: Diary, found: Parts, sales: pd.DataFrame, hours: np.ndarray) -> pd.DataFrame:
    """What each month gave and took; months without anything are 0. `hours` by line of the diary."""
    table = span(frames, book.as_of)
    if not len(table):
        return results.empty("months")

    def total(day, values):
        seen = day <= book.as_of
        month = month_number(day[seen]) - table[0]
        return np.bincount(month, weights=values[seen], minlength=len(table)).astype(float)

    costs = frames.get("costs", pd.DataFrame())
    dryer = np.where(book.kind == "dried", np.nan_to_num(book.amount), 0.0)
    day, fresh = sales["day"].to_numpy(), (sales["product"] == "fresh").to_numpy()
    sold = sales["sold_kg"].to_numpy()
    return pd.DataFrame({
        "month": first_days(table),
        "picked_kg": total(found.day, found.picked), "culled_kg": total(found.day, found.culled),
        "dryer_kg": total(book.day, dryer),
        "sold_fresh_kg": total(day, np.where(fresh, sold, 0.0)),
        "sold_dried_kg": total(day, np.where(fresh, 0.0, sold)),
        "sales": total(day, sales["value"].to_numpy()),
        "spent": total(day_column(costs, "date"), numbers(costs, "amount", 0.0)),
        "hours": total(book.day, hours),
    })


def months_by_strain(frames: dict, as_of: int, found: Parts, strain: pd.Series) -> pd.DataFrame:
    """Picked and culled weight by month and strain; `strain` by row of Logs, none blank."""
    table = span(frames, as_of)
    if not len(table) or not len(found.log):
        return results.empty("months_by_strain")
    code, known = pd.factorize(strain, sort=True)
    names = np.append(np.asarray(known, dtype=object), results.NO_LOG)
    mine = np.append(code, len(known))[found.log]  # log -1 takes the last
    cell = mine * len(table) + month_number(found.day) - table[0]
    size = len(names) * len(table)
    frame = pd.DataFrame({
        "month": np.tile(first_days(table), len(names)), "strain": np.repeat(names, len(table)),
        "picked_kg": np.bincount(cell, weights=found.picked, minlength=size),
        "culled_kg": np.bincount(cell, weights=found.culled, minlength=size)})
    if (found.log < 0).any():
        return frame
    return frame[frame["strain"] != results.NO_LOG].reset_index(drop=True)


def seasons(found: Parts, each: pd.DataFrame) -> pd.DataFrame:
    """Weight by calendar year of the picks and year of inoculation; only pairs with a weight."""
    if not len(found.log):
        return results.empty("seasons")
    code, known = pd.factorize(year_names(each["inoculation_year"]), sort=True)
    names = np.append(np.asarray(known, dtype=object), results.NO_LOG)
    logs = np.append(np.bincount(code, weights=each["count"], minlength=len(known)), 0.0)
    year = dates(found.day).astype("datetime64[Y]").astype(np.int64) + 1970
    frame = pd.DataFrame({"year": year, "cohort": np.append(code, len(known))[found.log],
                          "picked_kg": found.picked, "culled_kg": found.culled})
    table = frame.groupby(["year", "cohort"], as_index=False)[["picked_kg", "culled_kg"]].sum()
    table["inoculation_year"] = names[table["cohort"]]
    table["logs"] = logs[table["cohort"]]
    marketable = table["picked_kg"] - table["culled_kg"]
    table["per_log_kg"] = marketable / table["logs"].where(table["logs"] > 0)
    return table[list(results.COLUMNS["seasons"])]

"""What a market may be told: promises by week, lots on hand with the days to use them by, deliveries and what is still there.

Nothing here says how likely a weight is, what a log gives or how many there are: a shared copy is made of these
tables and of nothing else.
"""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from calc import trace
from calc.ledger import ledger, price_in_force
from calc.season import monday
from calc.yard import as_typed, dates, day_column, diary, numbers, words, yes

WEEKS = 8
OPEN_DAYS = 28  # a delivery younger than this stays listed although all of it is told
NONE_SEEN, PERHAPS, MORE = "none in sight", "perhaps some", "likely more"
LOT_COLUMNS = ("lot", "product", "grade", "day", "use_from", "use_to", "on_hand_kg", "wet")
DELIVERY_COLUMNS = ("key", "date", "product", "grade", "lot", "docket", "delivered_kg", "told_kg", "left_kg", "price")


def beyond(promise_kg: float, expected_kg: float) -> str:
    """What may come beyond a promise, in words: more is likely where the middle of what may come lies above it.

    >>> beyond(2.0, 3.0), beyond(0.0, 0.4), beyond(0.0, 0.0), beyond(2.0, 2.0)
    ('likely more', 'perhaps some', 'none in sight', '')
    """
    if not expected_kg > promise_kg + 1e-9:
        return "" if promise_kg > 0 else NONE_SEEN
    return MORE if promise_kg > 0 else PERHAPS


def weeks(supply: pd.DataFrame | None, frames: dict, market: str, as_of: dt.date) -> pd.DataFrame:
    """The next 8 weeks of one market: week, asked_kg, promised_kg (to this market), more_kg (still free), words.

    supply: the result table of that name (None: nothing can be promised yet, and more_kg is NaN). The first week is
    the one after the as-of day. What is free is one pool for all markets.
    """
    first = monday(as_of) + dt.timedelta(days=7)
    days = [first + dt.timedelta(days=7 * i) for i in range(WEEKS)]
    promises = frames.get("promises", pd.DataFrame())
    mine = (words(promises, "market") == market.strip().casefold()) & (words(promises, "product") != "dried")
    starts = np.array([monday(d) if d is not None else None for d in _dates(promises, "week")], dtype=object)
    known = {}
    if supply is not None and len(supply):
        known = {pd.Timestamp(row.week).date(): row for row in supply.itertuples()}
    table = []
    for day in days:
        here = mine & (starts == day)
        row = known.get(day)
        free = float(getattr(row, "free_kg", np.nan)) if row is not None else np.nan
        said = "" if row is None else beyond(float(row.promise_kg), float(row.expected_kg))
        table.append({"week": day, "asked_kg": _total(promises, "asked_kg", here), "promised_kg": _total(promises, "promised_kg", here),
                      "more_kg": max(0.0, free) if free == free else np.nan, "words": said})
    return pd.DataFrame(table)


def _dates(frame: pd.DataFrame, name: str) -> list:
    if name not in frame:
        return []
    return [None if pd.isna(value) else pd.Timestamp(value).date() for value in frame[name]]


def _total(frame: pd.DataFrame, name: str, mask: np.ndarray) -> float:
    """Sum over the marked rows; NaN where none of them holds a number."""
    found = numbers(frame, name)[mask] if mask.any() else np.array([])
    return float(np.nansum(found)) if np.isfinite(found).any() else np.nan


def lots_on_hand(frames: dict, as_of: dt.date, fresh_days: tuple[float, float], dried_months: tuple[float, float]) -> pd.DataFrame:
    """Lots with something left at home: LOT_COLUMNS, oldest first.

    On hand is what was picked (dried: came out of the dryer) under that lot, less what left it by name: culled, dried,
    given, spoiled, and taken to markets less returned. fresh_days, dried_months: how long it keeps, from and to.
    Lots past the last day are left out; so are lines without a lot.
    """
    events, sales = frames.get("events", pd.DataFrame()), frames.get("sales", pd.DataFrame())
    day = int(np.datetime64(as_of, "D").astype(int))
    every = {"logs": pd.DataFrame(), **frames}
    used = trace.used_at_home(trace.Lines(every, diary(every, {}, day), ledger(every, day)))
    kind, lot, amount = words(events, "event"), words(events, "lot"), numbers(events, "amount", 0.0)
    upto = day_column(events, "date") <= day
    sold_upto = day_column(sales, "date") <= day
    table = []
    for product, came in (("fresh", "picked"), ("dried", "dried")):
        weight = amount if product == "fresh" else numbers(events, "dried_out_kg", 0.0)
        mine = upto & (kind == came) & (lot != "")
        for name in dict.fromkeys(lot[mine]):
            of_lot = mine & (lot == name)
            left = float(np.nansum(weight[of_lot]))
            if product == "fresh":
                left -= used.get(name, 0.0)
            left -= _taken(sales, sold_upto, name, product)
            first = int(day_column(events, "date")[of_lot].min())
            picked = dates([first])[0].astype("datetime64[D]").astype(object)
            low, high = _use_by(picked, product, fresh_days, dried_months)
            if left > 1e-6 and high >= as_of:
                wet = bool(yes(events, "picked_wet")[of_lot].any()) and product == "fresh"
                at = int(np.flatnonzero(of_lot)[0])
                table.append((as_typed(events, "lot")[at], product, as_typed(events, "grade")[at] if "grade" in events else "", picked, low, high,
                              left, wet))
    found = pd.DataFrame(table, columns=list(LOT_COLUMNS))
    return found.sort_values(["day", "lot"], kind="stable").reset_index(drop=True)


def _use_by(day: dt.date, product: str, fresh_days, dried_months) -> tuple[dt.date, dt.date]:
    if product == "fresh":
        return tuple(day + dt.timedelta(days=round(days)) for days in sorted(fresh_days))
    return tuple((pd.Timestamp(day) + pd.DateOffset(months=round(months))).date() for months in sorted(dried_months))


def _taken(sales: pd.DataFrame, upto: np.ndarray, lot: str, product: str) -> float:
    """Kg of a lot that left home for markets, less what came back; sold lines count where that market is never delivered to."""
    if not len(sales):
        return 0.0
    kind, market, amount = words(sales, "kind"), words(sales, "market"), numbers(sales, "amount", 0.0)
    goods = words(sales, "product") == product
    mine = upto & goods & (words(sales, "lot") == lot)
    fed = set(market[goods & (kind == "delivered")])
    straight = np.array([m not in fed for m in market], dtype=bool)
    out = mine & ((kind == "delivered") | (straight & np.isin(kind, ("sold", "spoiled"))))
    return float(amount[out].sum() - amount[mine & (kind == "returned")].sum())


def deliveries(frames: dict, market: str, as_of: dt.date, told: dict[str, float], outright: bool = False) -> pd.DataFrame:
    """What was delivered to one market and is not wholly told yet, or is young: DELIVERY_COLUMNS, oldest first.

    told: row key -> kg already told about that delivery on sheets that came back. Sold, returned and spoiled lines
    beyond those are taken from the oldest deliveries of the product first. outright: the market buys outright, so
    that only young deliveries matter.
    """
    sales = frames.get("sales", pd.DataFrame())
    day = np.datetime64(as_of, "D").astype(int)
    mine = (words(sales, "market") == market.strip().casefold()) & (day_column(sales, "date") <= day)
    kind, amount = words(sales, "kind"), numbers(sales, "amount", 0.0)
    price = price_in_force(sales, frames.get("prices", pd.DataFrame())) if len(sales) else np.array([])
    came = np.flatnonzero(mine & (kind == "delivered"))
    came = came[np.argsort(day_column(sales, "date")[came], kind="stable")]
    keys = as_typed(sales, "key")
    table = []
    for product in dict.fromkeys(words(sales, "product")[came]):
        goods = words(sales, "product") == product
        lines = [i for i in came if goods[i]]
        out = float(amount[mine & goods & np.isin(kind, ("sold", "returned", "spoiled"))].sum())
        named = {i: min(told.get(str(keys[i]), 0.0), amount[i]) for i in lines}
        loose = max(0.0, out - sum(told.get(str(keys[i]), 0.0) for i in lines))
        for i in lines:
            part = min(loose, max(0.0, amount[i] - named[i]))
            loose -= part
            words_of = [_text(sales, name, i) for name in ("grade", "lot", "docket")]
            table.append((keys[i], _dates(sales, "date")[i], product, *words_of, float(amount[i]), named[i] + part,
                          float(amount[i] - named[i] - part), float(price[i])))
    found = pd.DataFrame(table, columns=list(DELIVERY_COLUMNS))
    young = [d is not None and (as_of - d).days <= OPEN_DAYS for d in found["date"]]
    found = found[(found["left_kg"] > 1e-6) & (not outright) | np.array(young, dtype=bool)]
    return found.sort_values("date", kind="stable").reset_index(drop=True)


def _text(frame: pd.DataFrame, name: str, at: int) -> str:
    value = frame[name].iat[at] if name in frame else None
    return "" if value is None or value != value else str(value)


def prices_on(frames: dict, market: str, product: str, days: list[dt.date]) -> list[float]:
    """The price in force of a product at a market on each of these days, money per kg; NaN where there is none."""
    count = len(days)
    asked = pd.DataFrame({"market": [market] * count, "product": [product] * count, "date": pd.to_datetime(days), "price": [np.nan] * count})
    return [float(price) for price in price_in_force(asked, frames.get("prices", pd.DataFrame()))]

"""Dried mushrooms as a ledger: each drying against the mass balance, the stock by lot, and what to use first.

The dry matter stays and the water leaves: fresh over dried weight is (1 - dried moisture) / (1 - fresh
moisture), wet basis, and the published moistures give it a range. How long dried mushrooms keep is a range
too. Figures are arguments with the published ones as their start.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, tables
from calc.keeping import fresh_to_dried_ratio
from calc.ledger import OUTRIGHT
from calc.yard import TINY, Diary, as_typed, dates, numbers

NOT_WEIGHED = "the dried weight is not written down"
TOO_HEAVY = "more came out than the water in fresh mushrooms allows: not dry yet, or weighed wrongly"
TOO_LIGHT = "less came out than expected: picked very wet, or some is missing"
AS_EXPECTED = "as expected"
MORE_OUT = "(more went out than was dried)"


@dataclass(frozen=True)
class Ratio:
    """Fresh weight for one of dried, a ratio: low, typical, high."""

    low: float
    typical: float
    high: float


def published_ratio() -> Ratio:
    """The mass balance over the published moistures: driest fresh to dampest dried, and back."""
    fresh, dry = tables.figure("fresh_mushroom_moisture_wet"), tables.figure("dried_mushroom_moisture_wet")
    return Ratio(
        fresh_to_dried_ratio(fresh.low, dry.high),
        fresh_to_dried_ratio(fresh.typical, dry.typical),
        fresh_to_dried_ratio(fresh.high, dry.low),
    )


def events(book: Diary, ratio: Ratio | None = None) -> pd.DataFrame:
    """The table dried_events: every drying up to the as-of day, its ratio, and what was to be expected.

    A blank dried weight is not known and not 0; a blank fresh weight likewise.
    """
    ratio = ratio or published_ratio()
    at = np.flatnonzero(book.lines("dried"))
    frame = book.frame.iloc[at]
    fresh, out = book.amount[at], numbers(frame, "dried_out_kg")
    known = (fresh > 0) & (out > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        found = np.where(known, fresh / out, np.nan)
    lot = as_typed(frame, "lot")
    by_day = pd.Series(dates(book.day[at])).dt.strftime("%Y-%m-%d").to_numpy(dtype=object)
    said = np.select(
        [~known, found < ratio.low - TINY, found > ratio.high + TINY],
        [NOT_WEIGHED, TOO_HEAVY, TOO_LIGHT],
        AS_EXPECTED,
    )
    table = pd.DataFrame(
        {
            "row": numbers(frame, "row"),
            "date": dates(book.day[at]),
            "lot": np.where(lot == "", by_day, lot),
            "fresh_kg": fresh,
            "dried_kg": np.where(out > 0, out, np.nan),
            "ratio": found,
            "expected_kg": fresh / ratio.typical,
            "low_kg": fresh / ratio.high,
            "high_kg": fresh / ratio.low,
            "words": said.astype(object),
        }
    )
    return table.sort_values(["date", "row"], ignore_index=True)


def own_ratio(dryings: pd.DataFrame) -> float:
    """Fresh weight for one of dried over all dryings weighed in and out; published if none."""
    weighed = dryings[dryings["ratio"].notna()]
    out = float(weighed["dried_kg"].sum())
    return float(weighed["fresh_kg"].sum()) / out if out > TINY else published_ratio().typical


def taken(sold: pd.DataFrame) -> pd.DataFrame:
    """Dried weight that left home by lot (lower case, "" where none is named): kg, less what came back.

    Delivered less returned; sold and spoiled where nothing is ever delivered and the market does not buy
    outright.
    """
    lines = sold[sold["product"] == "dried"]
    if not len(lines):
        return pd.DataFrame({"lot": [], "kg": []})
    delivering = set(lines.loc[lines["kind"] == "delivered", "key"])
    straight = ~lines["key"].isin(delivering) & (lines["terms"] != OUTRIGHT)
    kilos = np.select(
        [
            lines["kind"] == "delivered",
            lines["kind"] == "returned",
            straight & lines["kind"].isin(("sold", "spoiled")),
        ],
        [lines["amount"], -lines["amount"], lines["amount"]],
        0.0,
    )
    return (
        pd.DataFrame({"lot": lines["lot"].to_numpy(), "kg": kilos}).groupby("lot", as_index=False)["kg"].sum()
    )


def stock(dryings: pd.DataFrame, sold: pd.DataFrame, as_of: int, keeps_months=None) -> pd.DataFrame:
    """The table dried_stock: by lot, the oldest first, what came out of the dryer, went out, and is left.

    sold: the sales ledger with a column lot. What names a lot is taken from it; the rest, and what is beyond
    a lot, from the oldest lots on. What is beyond all of them stands in a row of its own, below 0, so that
    dried = taken + left always. keeps_months: (low, high) storage life counted from the lot's first drying.
    """
    life = tables.figure("dry_keeps_months")
    low, high = keeps_months or (life.low, life.high)
    lots = _lots(dryings)
    gone = taken(sold)
    by_lot = dict(zip(gone["lot"], gone["kg"], strict=True))
    if not len(lots) and not by_lot:
        return results.empty("dried_stock")
    had = lots["dried_kg"].to_numpy(dtype=float)
    named = np.array([by_lot.pop(key, 0.0) for key in lots["lot"].str.casefold()]).reshape(len(lots))
    from_lot = np.minimum(named, had)
    rest = sum(by_lot.values()) + float((named - from_lot).sum())
    room = np.cumsum(had - from_lot)
    filled = np.minimum(room, max(rest, 0.0))
    from_lot = from_lot + np.diff(filled, prepend=0.0)
    over = rest - (float(filled[-1]) if len(filled) else 0.0)
    left = np.round(had - from_lot, 9) + 0.0
    table = lots.assign(
        taken_kg=np.round(from_lot, 9) + 0.0, left_kg=left, ratio=lots["fresh_kg"] / lots["dried_kg"]
    )
    table["use_from"], table["use_by"] = (_later(table["dried_on"], months) for months in (low, high))
    today = pd.Timestamp(dates(np.array([as_of]))[0])
    order = np.where(left > TINY, np.cumsum(left > TINY), 0)
    table["order"] = np.where(order > 0, order, np.nan).astype(float)
    table["words"] = np.select(
        [left <= TINY, table["use_by"] < today, table["use_from"] < today, order == 1],
        ["used up", "past its storage life", "in the second half of its storage life: use soon", "use first"],
        "keeps",
    ).astype(object)
    if abs(over) > 1e-6:
        table = _with_over(table, over)
    return table[list(results.COLUMNS["dried_stock"])]


def _lots(dryings: pd.DataFrame) -> pd.DataFrame:
    """Dryings weighed out, by lot, the oldest first; names of lots in capitals or not are one."""
    found: dict[str, list] = {}
    columns = [dryings[name].tolist() for name in ("lot", "date", "fresh_kg", "dried_kg")]
    for lot, date, fresh, out in zip(*columns, strict=True):
        if out == out:
            mine = found.setdefault(lot.casefold(), [lot, date, [], []])
            mine[1] = min(mine[1], date)
            mine[2].append(fresh)
            mine[3].append(out)
    rows = sorted(((mine[1], key, mine) for key, mine in found.items()), key=lambda row: row[:2])
    return pd.DataFrame({
        "lot": pd.Series([mine[0] for *_, mine in rows], dtype=None if rows else object),
        "dried_on": np.array([date for date, *_ in rows], dtype="datetime64[ns]"),
        "fresh_kg": [math.fsum(kilos for kilos in mine[2] if kilos == kilos) for *_, mine in rows],
        "dried_kg": [math.fsum(mine[3]) for *_, mine in rows],
        "rows": [len(mine[3]) for *_, mine in rows],
    })


def _with_over(table, over):
    """What went out beyond all lots (below 0 left), or came back beyond what went out."""
    row = {
        "lot": MORE_OUT if over > 0 else "(more came back than went out)",
        "dried_kg": 0.0,
        "taken_kg": over,
        "left_kg": -over,
        "words": "a drying is missing, or a sale of dried is written twice"
        if over > 0
        else "look at returned",
    }
    extra = pd.DataFrame([row]).reindex(columns=table.columns)
    extra = extra.astype({name: table[name].dtype for name in ("dried_on", "use_from", "use_by")})
    return pd.concat((table, extra), ignore_index=True) if len(table) else extra


def _later(day: pd.Series, months: float) -> pd.Series:
    """Dates whole months later."""
    return day + pd.DateOffset(months=int(months)) if len(day) else day

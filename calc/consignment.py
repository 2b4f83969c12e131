"""Goods that stay the grower's until sold: what went missing between counts, and what a market charges by the day."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc.market import settlement

LOSS_COLUMNS = ("key", "product", "day", "unexplained_kg", "agreed", "charge")
MOVED = ("delivered", "sold", "returned", "spoiled")


def losses(sold: pd.DataFrame) -> pd.DataFrame:
    """One row for each count at a market on consignment: what is missing since the count before, and its charge.

    sold: lines of the sales ledger on consignment. Counts of one day are added; movements of that day stand
    before it. unexplained_kg: below 0 where more was found than the lines say. agreed: whether Lists states
    the loss allowed there. charge: money for the loss beyond it at the price of the day (calc.market.settlement),
    0 where nothing is agreed or no price is known.
    """
    rows = []
    for (key, product), lines in sold.groupby(["key", "product"], sort=True):
        opening, before = 0.0, -np.inf
        for day, counts in lines[lines["kind"] == "counted"].groupby("day", sort=True):
            period = lines[(lines["day"] > before) & (lines["day"] <= day)]
            moved = [float(period.loc[period["kind"] == kind, "amount"].sum()) for kind in MOVED]
            counted, price = float(counts["amount"].sum()), float(counts["price"].iloc[0])
            allowance = float(counts["allowance"].iloc[0])
            agreed = not np.isnan(allowance)
            settled = settlement(opening, *moved, counted, 0.0 if np.isnan(price) else price, 0.0,
                                 allowance_share=allowance if agreed else 1.0)
            rows.append((key, product, day, settled.unexplained, agreed, settled.due - settled.sales))
            opening, before = counted, day
    return pd.DataFrame(rows, columns=list(LOSS_COLUMNS))


def daily_fees(table: pd.DataFrame) -> pd.DataFrame:
    """Fee lines for each day on which something was sold at a market that charges by the day.

    A day with a fee of its own on Sales has none added. table: the ledger with fee_a_day. The lines stand at
    position -1, since no row of Sales holds them.
    """
    sold = table[(table["kind"] == "sold") & (table["fee_a_day"] > 0)].drop_duplicates(["key", "day"])
    typed = table[table["kind"] == "fee"].set_index(["key", "day"]).index
    due = sold[~sold.set_index(["key", "day"]).index.isin(typed)]
    return due.assign(at=-1, kind="fee", product="", lot="", amount=due["fee_a_day"], price=np.nan)

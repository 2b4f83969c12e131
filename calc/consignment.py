"""Goods that stay the grower's until sold: what went missing between counts, and what a market charges by the day."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import cents
from calc.market import settlement

LOSS_COLUMNS = ("key", "product", "day", "unexplained_kg", "agreed", "charged_kg", "charge", "allowed_kg", "counted_kg", "charge_cents")
MOVED = ("delivered", "sold", "returned", "spoiled")


def losses(sold: pd.DataFrame) -> pd.DataFrame:
    """One row for each count at a market on consignment: what is missing since the count before, and its charge.

    sold: lines of the sales ledger on consignment. Counts of one day are added; movements of that day stand
    before it. unexplained_kg: below 0 where more was found than the lines say. agreed: whether Lists states
    the loss allowed there. charged_kg, charge: the loss beyond it, and its money at the price of the day or else
    of the last sale (calc.market.settlement), to the cent, 0 where nothing is agreed or no price is known. What a later
    count finds again, as when sales of the time before are written down late, takes back what was charged: below 0.
    allowed_kg: the loss that is nobody's fault, NaN where nothing is agreed; counted_kg: what the count found.
    """
    rows = []
    for (key, product), lines in sold.groupby(["key", "product"], sort=True):
        opening, before, open_kg, open_cents = 0.0, -np.inf, 0.0, 0
        known = lines[lines["price"].notna()].sort_values("day", kind="stable")
        for day, counts in lines[lines["kind"] == "counted"].groupby("day", sort=True):
            period = lines[(lines["day"] > before) & (lines["day"] <= day)]
            moved = [max(0.0, float(period.loc[period["kind"] == kind, "amount"].sum())) for kind in MOVED]
            counted, price = max(0.0, float(counts["amount"].sum())), float(counts["price"].iloc[0])
            if np.isnan(price) and (known["day"] <= day).any():
                price = float(known.loc[known["day"] <= day, "price"].iloc[-1])
            allowance = float(counts["allowance"].iloc[0])
            agreed = not np.isnan(allowance)
            settled = settlement(opening, *moved, counted, 0.0 if np.isnan(price) else price, 0.0,
                                 allowance_share=allowance if agreed else 1.0)
            beyond = settled.due - settled.sales
            kilos = beyond / price if beyond > 0.0 else 0.0
            charge = int(cents.to_cents(beyond))
            if settled.unexplained < 0.0 < open_kg:
                kilos = -min(-settled.unexplained, open_kg)
                charge = int(cents.to_cents(cents.money(open_cents) * kilos / open_kg))
            open_kg, open_cents = open_kg + kilos, open_cents + charge
            allowed = allowance * (opening + moved[0]) if agreed else np.nan
            rows.append((key, product, day, settled.unexplained, agreed, kilos, cents.money(charge), allowed, counted, charge))
            opening, before = counted, day
    return pd.DataFrame(rows, columns=list(LOSS_COLUMNS))


def daily_fees(table: pd.DataFrame) -> pd.DataFrame:
    """Fee lines for each day on which something was sold at a market that charges by the day.

    A day with a fee of its own on Sales has none added. table: the ledger. The lines stand at position -1, since no
    row of Sales holds them.
    """
    sold = table[(table["sold_kg"] > 0) & (table["fee_a_day"] > 0)].drop_duplicates(["key", "day"])
    typed = table[table["kind"] == "fee"].set_index(["key", "day"]).index
    due = sold[~sold.set_index(["key", "day"]).index.isin(typed)]
    return due.assign(at=-1, kind="fee", product="", lot="", lot_name="", row=np.nan, amount=due["fee_a_day"], price=np.nan,
                      sold_kg=0.0, value=0.0, value_cents=0, unpriced=False)

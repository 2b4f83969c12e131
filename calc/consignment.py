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
        rows += _between_counts(key, product, lines.sort_values("day", kind="stable"))
    return pd.DataFrame(rows, columns=list(LOSS_COLUMNS))


def _between_counts(key: str, product: str, lines: pd.DataFrame) -> list[tuple]:
    """The rows of losses() of one market and product; lines in the order of their days."""
    day, kind, amount = lines["day"].to_numpy(), lines["kind"].to_numpy(dtype=object), lines["amount"].to_numpy(dtype=float)
    price, allowances = lines["price"].to_numpy(dtype=float), lines["allowance"].to_numpy(dtype=float)
    counts, priced = np.flatnonzero(kind == "counted"), np.flatnonzero(~np.isnan(price))
    so_far = {name: np.concatenate(([0.0], np.cumsum(np.where(kind == name, amount, 0.0)))) for name in MOVED}
    rows, opening, begin, open_kg, open_cents = [], 0.0, 0, 0.0, 0
    for first in counts[np.unique(day[counts], return_index=True)[1]]:
        end = int(np.searchsorted(day, day[first], side="right"))
        of_day = counts[day[counts] == day[first]]
        moved = [max(0.0, round(float(so_far[name][end] - so_far[name][begin]), 9)) for name in MOVED]
        counted, each = max(0.0, float(amount[of_day].sum())), price[first]
        known = priced[priced < end]
        if np.isnan(each) and len(known):
            each = price[known[-1]]
        agreed = not np.isnan(allowances[first])
        settled = settlement(opening, *moved, counted, 0.0 if np.isnan(each) else each, 0.0,
                             allowance_share=allowances[first] if agreed else 1.0)
        beyond = settled.due - settled.sales
        kilos = beyond / each if beyond > 0.0 else 0.0
        charge = int(cents.to_cents(beyond))
        if settled.unexplained < 0.0 < open_kg:
            kilos = -min(-settled.unexplained, open_kg)
            charge = int(cents.to_cents(cents.money(open_cents) * kilos / open_kg))
        open_kg, open_cents = open_kg + kilos, open_cents + charge
        allowed = allowances[first] * (opening + moved[0]) if agreed else np.nan
        rows.append((key, product, int(day[first]), settled.unexplained, agreed, kilos, cents.money(charge), allowed, counted, charge))
        opening, begin = counted, end
    return rows


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

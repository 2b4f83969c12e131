"""What price breaks even at each market, what weight does, and whether to go on at a price below that.

The cost of a weight is that of the whole yard so far, in the three views. A market adds its own cost: fees
by weight, commission and what comes back unsold. Break-even: total cost over what is left to pay it, common
practice; go on while the price covers variable cost: Washington State University, EconS 350 notes, 2015.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results
from calc.economics import breakeven_price, breakeven_weight
from calc.ledger import CONSIGNMENT, OUTRIGHT
from calc.yard import TINY

VIEWS = ("cash", "labour", "capital")
NO_COST = "no cost is written down, or nothing marketable yet"
NO_SALE, ALL = "(no sale yet)", "all markets"
GO, GO_ON, STOP = "go", "go on for now", "stop"
COVERS_ALL = "the price covers all costs"
COVERS_WRITTEN = "the price covers all that is written down; no hours are"
COVERS_VARIABLE = (
    "go on with the logs there are: the price covers variable cost; it does not pay for new logs"
)
COVERS_CASH = "the price covers the cash still to come, not the hours: go on only if they cost you nothing"
COVERS_NOTHING = "do not go on at this price: it does not cover variable cost"
UNKNOWN_VARIABLE = "whether to go on cannot be told yet: no upkeep is written down"


@dataclass(frozen=True)
class Terms:
    """What a market takes: commission and unsold as shares, own cost (fees) for a kg brought there."""

    commission: float = 0.0
    unsold: float = 0.0
    own_per_kg: float = 0.0

    def floor(self, cost_per_kg: float) -> float:
        """Break-even price there, money per kg; NaN if the cost is not known or nothing is ever kept."""
        if np.isnan(cost_per_kg) or self.commission >= 1 or self.unsold >= 1:
            return np.nan
        return breakeven_price(cost_per_kg + self.own_per_kg, 1.0, self.commission, self.unsold)

    def weight(self, cost: float, price_per_kg: float) -> float:
        """Weight to bring there before a cost is met, kg; NaN where no weight does."""
        kept = price_per_kg * (1.0 - self.unsold)
        if np.isnan(cost) or np.isnan(kept) or kept * (1.0 - self.commission) <= self.own_per_kg:
            return np.nan
        return breakeven_weight(cost, kept, self.commission, self.own_per_kg)


def shutdown(price, fixed_cost, variable_cost, weight):
    """(break-even price of all costs, of variable cost, go / go on for now / stop), prices per weight.

    Fixed cost is spent whatever is decided; it says whether to begin again, not whether to go on. A price
    equal to a cost covers it. Source: Washington State University, EconS 350 notes, 2015. Raises ValueError
    when the weight is not above 0.

    >>> shutdown(15.0, 13000.0, 10000.0, 1000.0)
    (23.0, 10.0, 'go on for now')
    """
    everything = breakeven_price(fixed_cost + variable_cost, weight)
    variable = breakeven_price(variable_cost, weight)
    decision = GO if price >= everything - TINY else GO_ON if price >= variable - TINY else STOP
    return everything, variable, decision


def words(price: float, floors: dict, variable: float, variable_cash: float = np.nan) -> str:
    """What a price covers. floors: floor price by view; NaN where not known.

    variable, variable_cash: floor prices over the cost still to come, and over its cash part alone.
    """
    if np.isnan(price):
        return "no sale with a price is written down"
    known = {view: floor for view, floor in floors.items() if not np.isnan(floor)}
    if not known:
        return NO_COST
    short = [view for view, floor in known.items() if price < floor - TINY]
    if not short:
        return COVERS_WRITTEN if known.get("labour", np.nan) == known.get("cash") else COVERS_ALL
    names = ", ".join(short[:-1]) + " and " + short[-1] if len(short) > 1 else short[0]
    said = f"below cost so far in the {names} view{'s' if len(short) > 1 else ''}; "
    if np.isnan(variable):
        return said + UNKNOWN_VARIABLE
    if price >= variable - TINY:
        return said + COVERS_VARIABLE
    return said + (COVERS_CASH if price >= variable_cash - TINY else COVERS_NOTHING)


def terms_of(lines: dict[str, np.ndarray], fees: float, missing_kg: float = 0.0) -> Terms:
    """Terms seen in the sales lines of one market and product (columns of calc.ledger); fees: money that falls on it.

    Unsold: what came back or spoiled there, of all that was settled (sold, come back, spoiled), over which
    the fees go too; spoilage
    where the market buys outright is the market's.
    """
    sold = float(lines["sold_kg"].sum())
    weights = np.where(lines["value"] > 0, lines["value"], 0.0)
    share = np.where(lines["terms"] == CONSIGNMENT, lines["commission"], 0.0)
    if weights.sum() > 0:
        commission = float((weights * share).sum()) / float(weights.sum())
    else:
        commission = float(share.mean()) if len(share) else 0.0
    lost = (lines["kind"] == "returned") | ((lines["kind"] == "spoiled") & (lines["terms"] != OUTRIGHT))
    back = float(lines["amount"][lost].sum()) + missing_kg
    settled = back + max(sold, 0.0)
    unsold = back / settled if settled > TINY else 0.0
    own = fees / settled if settled > TINY else 0.0
    return Terms(min(max(commission, 0.0), 1.0), min(max(unsold, 0.0), 1.0), own)


def breakeven(sold: pd.DataFrame, missing: pd.DataFrame, whole: pd.Series | None, ratio: float) -> pd.DataFrame:
    """The table breakeven: by market and product, its terms, floor prices in three views and what to do.

    sold: the sales ledger; missing: from calc.consignment.losses; whole: the yard's row of cost_views; ratio: fresh weight for one of dried.
    Variable cost is the upkeep still to come per weight still to come. A market's fees fall on its products
    by value, else by weight sold, else by weight moved. Without a sale there is one row without terms.
    """
    if whole is None:
        return results.empty("breakeven")
    cost = {view: float(whole[f"{view}_per_kg"]) for view in VIEWS}
    spent = {
        "cash": float(whole["cash"]),
        "labour": float(whole["total_labour"]),
        "capital": float(whole["total_capital"]),
    }
    to_come = float(whole["to_come_kg"])
    bills = float(whole["cash_to_come"]) / to_come if to_come > TINY else np.nan
    variable = bills + float(whole["labour_to_come"]) / to_come if to_come > TINY else np.nan
    lost_where = list(zip(missing["key"], missing["product"], strict=True))
    lost_kg = (missing["unexplained_kg"] - missing["charged_kg"]).to_numpy(dtype=float)
    rows = []
    for market, product, lines, fees in _cells(sold):
        mine = [at for at, found in enumerate(lost_where) if found[1] == product and found[0] in lines["key"]]
        terms = terms_of(lines, fees, max(0.0, float(lost_kg[mine].sum())))
        priced = (lines["sold_kg"] != 0) & ~lines["unpriced"]
        kilos = float(lines["sold_kg"][priced].sum())
        price = float(lines["value"][priced].sum()) / kilos if kilos > TINY else np.nan
        fresh = ratio if product == "dried" else 1.0
        floors = {view: terms.floor(cost[view] * fresh) for view in VIEWS}
        least, least_cash = terms.floor(variable * fresh), terms.floor(bills * fresh)
        rows.append(
            (
                market,
                product,
                float(lines["sold_kg"].sum()),
                price,
                terms.commission,
                terms.unsold,
                terms.own_per_kg,
                *floors.values(),
                least,
                least_cash,
                *(terms.weight(spent[view], price) for view in VIEWS),
                words(price, floors, least, least_cash),
                float(len(lines["key"])),
            )
        )
    return pd.DataFrame(rows, columns=list(results.COLUMNS["breakeven"]))


def _cells(sold: pd.DataFrame):
    """(market, product, its lines by column, its part of the fees) of each market, and of all if several."""
    names = ("key", "market", "product", "kind", "terms", "value", "commission", "sold_kg", "amount", "unpriced")
    every = {name: sold[name].to_numpy() for name in names}

    def part(at):
        return {name: values[at] for name, values in every.items()}

    moved = np.isin(every["kind"].astype(object), ("sold", "delivered", "returned", "spoiled"))
    if not moved.any():
        yield NO_SALE, "fresh", part(moved), 0.0
        return
    found = []
    for key in sorted(set(every["key"][moved])):
        mine = every["key"] == key
        fees = float(every["amount"][mine & (every["kind"] == "fee")].sum())
        at = np.flatnonzero(mine & moved)
        bases = [np.maximum(every[name][at], 0.0) for name in ("value", "sold_kg", "amount")]
        base = next((base for base in bases if base.sum() > 0), bases[-1])
        for product in dict.fromkeys(every["product"][at]):
            its = every["product"][at] == product
            share = float(base[its].sum() / base.sum()) if base.sum() > 0 else 0.0
            found.append((every["market"][at[0]], product, at[its], fees * share))
    found.sort(key=lambda cell: (cell[1] != "fresh", cell[0].casefold()))
    for market, product, at, fees in found:
        yield market, product, part(at), fees
    for product in dict.fromkeys(cell[1] for cell in found):
        mine = [cell for cell in found if cell[1] == product]
        if len(mine) > 1:
            yield ALL, product, part(np.concatenate([c[2] for c in mine])), sum(c[3] for c in mine)

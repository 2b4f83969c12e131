"""Sales as a ledger: what each line moved, at which price, and what it was worth.

Three kinds of terms. On consignment: goods stay the grower's until sold. Bought outright: theirs on
delivery, so what was delivered less what came back is sold. Own stall: sold is sold, and paid at once.
Terms left blank, or a market not listed, count as on consignment without commission.
"""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import cents
from calc.consignment import daily_fees
from calc.yard import NO_DAY, as_typed, day_column, numbers, words

CONSIGNMENT, OUTRIGHT, STALL = "on consignment", "bought outright", "own stall"
WEIGHT_KINDS = ("delivered", "sold", "returned", "spoiled", "counted")
LEAST_KG = 0.0005  # half a gram, below what a kitchen scale shows: less than that is nothing
CORRECTION = "correction"  # money of a period already closed: above 0 adds to what the market owes


def price_in_force(sales: pd.DataFrame, prices: pd.DataFrame) -> np.ndarray:
    """Price of each sales row: the one typed, else the newest price row not after its date; NaN if none.

    Both frames have money per kg. Market and product are matched without regard to case. Of two price rows
    of one day the first stands.
    """
    typed = numbers(sales, "price")
    if not len(sales) or not len(prices):
        return typed
    lines = pd.DataFrame({
        "market": words(sales, "market"), "product": words(sales, "product"),
        "day": day_column(sales, "date"), "at": np.arange(len(sales))})
    table = pd.DataFrame({
        "market": words(prices, "price_market"), "product": words(prices, "price_product"),
        "day": day_column(prices, "price_from"), "price": numbers(prices, "price_each")})
    table = table[(table["day"] < NO_DAY) & table["price"].notna()]
    table = table.drop_duplicates(["market", "product", "day"])
    if not len(table):
        return typed
    found = pd.merge_asof(lines.sort_values("day"), table.sort_values("day"), on="day",
                          by=["market", "product"])
    listed = found.sort_values("at")["price"].to_numpy()
    return np.where(np.isnan(typed), listed, typed)


def ledger(frames: dict, as_of: int) -> pd.DataFrame:
    """Sales up to the as-of day, with what each line means.

    Columns: at (position in Sales, -1 for a fee by the day that Lists states), day, market (as typed), key
    (market, lower case), product, kind, terms, commission (share), allowance (share of loss allowed, NaN if
    not agreed), fee_a_day and payment_days (0 if none), lot (lower case), lot_name (as typed), row (of Sales), amount
    (kg, or money for paid, fee and correction), price (money per kg), sold_kg and value (money, before commission): of
    sold lines, or of delivered less returned lines where the market buys outright. In whole cents, rounded line by line
    (calc.cents): value_cents, taken_cents (commission), paid_cents, and due_cents = value - commission - fee + correction.
    """
    sales, markets = frames.get("sales", pd.DataFrame()), frames.get("markets", pd.DataFrame())
    key, listed = words(sales, "market"), words(markets, "market")

    def of_market(values, otherwise):
        first = dict(reversed(list(zip(listed, values, strict=True))))
        return [first.get(k, otherwise) for k in key]

    table = pd.DataFrame({
        "at": np.arange(len(sales)), "day": day_column(sales, "date"),
        "market": as_typed(sales, "market"), "key": key,
        "product": words(sales, "product"), "kind": words(sales, "kind"),
        "terms": [terms or CONSIGNMENT for terms in of_market(words(markets, "terms"), CONSIGNMENT)],
        "commission": of_market(numbers(markets, "commission", 0.0), 0.0),
        "allowance": of_market(numbers(markets, "allowance"), np.nan),
        "fee_a_day": of_market(numbers(markets, "market_fee", 0.0), 0.0),
        "payment_days": of_market(numbers(markets, "payment_days", 0.0), 0.0),
        "amount": numbers(sales, "amount", 0.0), "lot": words(sales, "lot"), "lot_name": as_typed(sales, "lot"),
        "row": numbers(sales, "row"),
        "price": price_in_force(sales, frames.get("prices", pd.DataFrame())),
    })
    table = table[table["day"] <= as_of].reset_index(drop=True)
    outright = (table["terms"] == OUTRIGHT).to_numpy()
    sign = np.select([outright & (table["kind"] == "delivered"), outright & (table["kind"] == "returned"),
                      ~outright & (table["kind"] == "sold")], [1.0, -1.0, 1.0], 0.0)
    table["sold_kg"] = sign * table["amount"]
    table["value_cents"] = cents.to_cents(table["sold_kg"] * table["price"].fillna(0.0))
    table["value"] = cents.money(table["value_cents"])
    table["unpriced"] = (sign != 0) & table["price"].isna() & (table["amount"] != 0)
    if (table["fee_a_day"] > 0).any():
        table = pd.concat([table, daily_fees(table)], ignore_index=True)
    return _money_columns(table)


def _money_columns(table: pd.DataFrame) -> pd.DataFrame:
    """The ledger with what each line changes in whole cents: what is due, and what was paid."""
    amount, kind = cents.to_cents(table["amount"]), table["kind"].to_numpy()
    taken = np.where(table["terms"] == CONSIGNMENT, cents.share_of(table["value_cents"], table["commission"]), 0)
    other = np.select([kind == "fee", kind == CORRECTION], [-amount, amount], 0)
    return table.assign(taken_cents=taken, due_cents=table["value_cents"].to_numpy() - taken + other,
                        paid_cents=np.where(kind == "paid", amount, 0))

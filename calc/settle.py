"""Settlement: what each market had, sold, owes and has paid, period by period and lot by lot, to the cent.

A period is a calendar month, cut where a period was closed within it (Closed periods on Lists), so that a closed
period is never rewritten: what it lacks is a dated line of kind correction, in the period of its own date. Every line
of money is in whole cents from the ledger on (calc.cents), so that totals add up exactly.
"""
from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from calc import cents, results
from calc.ledger import CONSIGNMENT, CORRECTION, LEAST_KG, OUTRIGHT, STALL, WEIGHT_KINDS
from calc.yard import NO_DAY, TINY, dates, day_column, words

AGE_EDGES = (30, 60, 90)  # days: the usual columns of what is owed, by age
NO_LOT = "(no lot)"


# ---- what is due -------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Due:
    """Money of some lines of one market, in whole cents. due = sales + lost - commission - fees + corrections."""

    sales: int
    lost: int
    commission: int
    fees: int
    corrections: int
    paid: int

    @property
    def due(self) -> int:
        return self.sales + self.lost - self.commission - self.fees + self.corrections

    @property
    def open(self) -> int:
        return self.due - self.paid


def due_of(lines: pd.DataFrame, missing: pd.DataFrame) -> Due:
    """What some lines of the sales ledger of one market come to, with the losses charged (calc.consignment.losses).

    At an own stall what is due is paid at once: paid is what is due, whatever the lines say.
    """
    return due_by(lines, missing, np.zeros(len(lines), dtype=np.int64), np.zeros(len(missing), dtype=np.int64), 1)[0]


def due_by(lines: pd.DataFrame, missing: pd.DataFrame, at: np.ndarray, missing_at: np.ndarray, size: int) -> list[Due]:
    """due_of, by period: at and missing_at are the numbers of the periods of each line, from 0 to below size."""
    kind = lines["kind"].to_numpy(dtype=object)
    other = (lines["due_cents"] - lines["value_cents"] + lines["taken_cents"]).to_numpy()

    def total(where, amount):
        found = np.zeros(size, dtype=np.int64)
        np.add.at(found, where, np.asarray(amount, dtype=np.int64))
        return found

    parts = (total(at, lines["value_cents"]), total(missing_at, missing["charge_cents"]), total(at, lines["taken_cents"]),
             -total(at, np.where(kind == "fee", other, 0)), total(at, np.where(kind == CORRECTION, other, 0)), total(at, lines["paid_cents"]))
    found = [Due(*(int(part[i]) for part in parts)) for i in range(size)]
    if len(lines) and lines["terms"].iloc[0] == STALL:
        found = [replace(due, paid=due.due) for due in found]
    return found


def unpaid(lines: pd.DataFrame, missing: pd.DataFrame) -> pd.DataFrame:
    """What is still to be paid of each day, oldest first: columns day and cents.

    Each day's sales, losses, fees and corrections are set against each other; what is left below 0, and every payment,
    settles the oldest day first. At an own stall nothing is.
    """
    if not len(lines) or lines["terms"].iloc[0] == STALL:
        return pd.DataFrame({"day": np.zeros(0, dtype=np.int64), "cents": np.zeros(0, dtype=np.int64)})
    day = np.concatenate((lines["day"], missing["day"])).astype(np.int64)
    amount = np.concatenate((lines["due_cents"], missing["charge_cents"])).astype(np.int64)
    known, where = np.unique(day, return_inverse=True)
    net = np.zeros(len(known), dtype=np.int64)
    np.add.at(net, where, amount)
    owed = np.maximum(net, 0)
    settled = int(lines["paid_cents"].sum()) - int(np.minimum(net, 0).sum())
    left = owed - np.diff(np.minimum(np.cumsum(owed), max(settled, 0)), prepend=0)
    return pd.DataFrame({"day": known[left > 0], "cents": left[left > 0]})


def ages(owed: pd.DataFrame, as_of: int) -> list[int]:
    """Cents of unpaid() up to 30 days old, 31 to 60, 61 to 90, and over."""
    days = as_of - owed["day"].to_numpy()
    return [int(part) for part in np.bincount(np.searchsorted(AGE_EDGES, days, side="left"), weights=owed["cents"],
                                              minlength=len(AGE_EDGES) + 1)]


def late(owed: pd.DataFrame, payment_days: float, as_of: int) -> int:
    """Cents of unpaid() older than the days to pay; 0 where none are agreed."""
    return int(owed.loc[as_of - owed["day"] > payment_days, "cents"].sum()) if payment_days > 0 else 0


# ---- periods -----------------------------------------------------------------------------------------------------

def closed_days(closings: pd.DataFrame) -> dict[str, list[int]]:
    """Market (lower case) -> the days up to which a period was closed, in order."""
    found: dict[str, list[int]] = {}
    for key, day in zip(words(closings, "close_market"), day_column(closings, "closed_to"), strict=True):
        if key and day < NO_DAY:
            found.setdefault(key, []).append(int(day))
    return {key: sorted(set(days)) for key, days in found.items()}


def period_starts(day: np.ndarray, closed: list[int], as_of: int) -> np.ndarray:
    """First days of the periods from the first line to the as-of day: months, cut after each closed day."""
    months = pd.period_range(pd.Timestamp(dates([int(day.min())])[0]), pd.Timestamp(dates([max(as_of, int(day.max()))])[0]), freq="M")
    starts = months.start_time.to_numpy().astype("datetime64[D]").astype(np.int64)
    cuts = [last + 1 for last in closed if starts[0] < last + 1 <= as_of]
    return np.unique(np.concatenate((starts, np.array(cuts, dtype=np.int64))))


def _ends(starts: np.ndarray) -> np.ndarray:
    """Last day of each period; of the last one the end of its month."""
    last = pd.Timestamp(dates([int(starts[-1])])[0]) + pd.offsets.MonthEnd(0)
    return np.append(starts[1:] - 1, int(np.datetime64(last, "D").astype(np.int64)))


# ---- weights -----------------------------------------------------------------------------------------------------

def _stock_rows(lines: pd.DataFrame, missing: pd.DataFrame, starts: np.ndarray) -> list[dict]:
    """Weights of one market and product by period; opening + delivered - sold - returned - spoiled - unexplained = closing."""
    terms, kind = lines["terms"].iloc[0], lines["kind"].to_numpy(dtype=object)
    at, mine = _period_of(lines, starts), _period_of(missing, starts)
    size, amount = len(starts), lines["amount"].to_numpy()

    def total(where, weights):
        return np.bincount(where, weights=weights, minlength=size)

    moved = {name: total(at, np.where(kind == name, amount, 0.0)) for name in ("delivered", "returned", "spoiled")}
    moved["sold"] = total(at, lines["sold_kg"])
    gone, charged, allowed = (total(mine, missing[name]) for name in ("unexplained_kg", "charged_kg", "allowed_kg"))  # NaN where not agreed
    counts = np.bincount(mine, minlength=size)
    counted = np.full(size, np.nan)
    counted[mine] = missing["counted_kg"]  # in the order of the days: the last one stays
    straight = terms != OUTRIGHT and not (kind == "delivered").any()
    step = moved["delivered"] - moved["sold"] - moved["returned"] - moved["spoiled"] - gone
    closing = np.round(np.cumsum(np.zeros(size) if terms == OUTRIGHT or straight else step), 9) + 0.0
    opening, gone, used = np.concatenate(([0.0], closing[:-1])), np.round(gone, 9) + 0.0, np.bincount(at, minlength=size)
    return [{
        "opening_kg": opening[i], **{f"{name}_kg": part[i] for name, part in moved.items()}, "counted_kg": counted[i],
        "unexplained_kg": gone[i] if counts[i] else np.nan, "allowed_kg": allowed[i] if counts[i] else np.nan, "charged_kg": charged[i],
        "closing_kg": closing[i], "rows": float(used[i]),
        "words": _stock_words(terms, straight, closing[i], bool(counts[i]), gone[i], charged[i], allowed[i])} for i in range(size)]


def _period_of(frame: pd.DataFrame, starts: np.ndarray) -> np.ndarray:
    return np.searchsorted(starts, frame["day"].to_numpy(dtype=np.int64), side="right") - 1


def _stock_words(terms: str, straight: bool, closing: float, counted: bool, gone: float, charged: float, allowed: float) -> str:
    """What the counts say; allowed: NaN where no loss is agreed."""
    if terms == OUTRIGHT:
        return "bought outright: theirs on delivery"
    if straight:
        return "sold straight from home: nothing stands there"
    said = []
    if closing < -LEAST_KG:
        said.append("more went out than was delivered there")
    if counted and charged < -LEAST_KG:
        said.append("found again what was missing at an earlier count: what was charged for it is taken back")
    elif counted and gone < -LEAST_KG:
        said.append("counted more than the lines say: a delivery is missing, or a sale is written twice")
    elif counted and gone > LEAST_KG:
        said.append("missing; no loss is agreed on Lists, so none is charged" if np.isnan(allowed)
                    else "missing beyond the loss allowed: charged" if charged > LEAST_KG
                    else "missing within the loss allowed" if gone <= allowed + LEAST_KG
                    else "missing beyond the loss allowed; no price is known, so nothing is charged: type one in Prices on Lists")
    return "; ".join(said) or ("counted: it agrees" if counted else "not counted")


# ---- the tables --------------------------------------------------------------------------------------------------

def every_table(sold: pd.DataFrame, missing: pd.DataFrame, closings: pd.DataFrame, as_of: int) -> dict[str, pd.DataFrame]:
    """The tables settlement, settlement_stock, settlement_lots and settlement_ages as of a day.

    sold: the sales ledger (calc.ledger); missing: losses between counts (calc.consignment); closings: the table of
    closed periods. Periods in which nothing moved and nothing stands open are left out.
    """
    closed = closed_days(closings)
    money, stock, aged = [], [], []
    for key, lines in sold.groupby("key", sort=True):
        mine, shut = missing[missing["key"] == key], closed.get(key, [])
        starts = period_starts(lines["day"].to_numpy(), shut, as_of)
        ends = _ends(starts)
        if as_of in shut:  # closed today, in mid-month
            ends[-1] = as_of
        head = [{"market": lines["market"].iloc[0], "terms": lines["terms"].iloc[0], "begins": dates([b])[0], "ends": dates([e])[0],
                 "closed": "closed" if shut and e <= shut[-1] else ""} for b, e in zip(starts, ends, strict=True)]
        money += _money_rows(lines, mine, starts, head)
        weights = lines[lines["kind"].isin(WEIGHT_KINDS)]
        for product, part in weights.groupby("product", sort=True):
            rows = _stock_rows(part, mine[mine["product"] == product], starts)
            stock += [{**h, "product": product, **row} for h, row in zip(head, rows, strict=True) if row["rows"] or abs(row["opening_kg"]) > TINY]
        aged.append(_age_row(lines, mine, as_of))
    found = {"settlement": money, "settlement_stock": stock, "settlement_ages": aged}
    tables = {name: _frame(name, rows) for name, rows in found.items()}
    return tables | {"settlement_lots": lots(sold)}


def _frame(name: str, rows: list[dict]) -> pd.DataFrame:
    return pd.DataFrame(rows)[list(results.COLUMNS[name])] if rows else results.empty(name)


def _money_rows(lines: pd.DataFrame, missing: pd.DataFrame, starts: np.ndarray, head: list[dict]) -> list[dict]:
    at, size = _period_of(lines, starts), len(starts)
    found = due_by(lines, missing, at, _period_of(missing, starts), size)
    typed = np.bincount(at, weights=lines["at"] >= 0, minlength=size)
    used, unpriced = np.bincount(at, minlength=size), np.bincount(at, weights=lines["unpriced"].astype(float), minlength=size)
    rows, brought, paid = [], 0, 0
    for i, period in enumerate(head):
        left, paid = brought + found[i].open, paid + found[i].paid
        if used[i] or brought:
            plain = {f.name: cents.money(getattr(found[i], f.name)) for f in fields(Due)}
            rows.append({**period, "brought": cents.money(brought), **plain, "due": cents.money(found[i].due), "open": cents.money(left),
                         "rows": float(typed[i]), "words": _money_words(int(unpriced[i]), left, paid > 0)})
        brought = left
    return rows


def too_much(paid: bool) -> str:
    """What it means that less than nothing is open. paid: whether anything was paid."""
    return "more was paid than was due" if paid else "fees and corrections are more than what was sold"


def _money_words(unpriced: int, left: int, paid: bool) -> str:
    said = []
    if unpriced:
        said.append(f"{unpriced} line{'s have' if unpriced > 1 else ' has'} no price and count{'' if unpriced > 1 else 's'} as 0")
    if left < 0:
        said.append(too_much(paid))
    return "; ".join(said)


def _age_row(lines: pd.DataFrame, missing: pd.DataFrame, as_of: int) -> dict:
    found, owed = due_of(lines, missing), unpaid(lines, missing)
    within = float(lines["payment_days"].iloc[0])
    overdue = late(owed, within, as_of)
    buckets = [cents.money(part) for part in ages(owed, as_of)]
    oldest = dates([int(owed["day"].min())])[0] if len(owed) else np.datetime64("NaT", "ns")
    if found.open < 0:
        said = too_much(found.paid > 0)
    elif not found.open:
        said = "paid at once" if lines["terms"].iloc[0] == STALL else "nothing is open"
    elif not within:
        said = "no days to pay are agreed on Lists"
    else:
        said = f"older than the {within:.0f} days agreed: {cents.money(overdue):,.2f}" if overdue else f"within the {within:.0f} days agreed"
    return {"market": lines["market"].iloc[0], **dict(zip(("to_30", "to_60", "to_90", "over_90"), buckets, strict=True)),
            "open": cents.money(found.open), "late": cents.money(overdue), "oldest": oldest, "payment_days": within or np.nan, "words": said}


def lots(sold: pd.DataFrame) -> pd.DataFrame:
    """The table settlement_lots: by market, product and lot, what came, sold, went back and spoiled, and its money.

    Lines without a lot stand under NO_LOT, so that weights and sales add up to those of the market. Counts are not by
    lot: what is left there is by the lines alone.
    """
    lines = sold[sold["kind"].isin(WEIGHT_KINDS) & (sold["kind"] != "counted")]
    if not len(lines):
        return results.empty("settlement_lots")
    lines = lines.assign(**{name: np.where(lines["kind"] == name, lines["amount"], 0.0) for name in ("delivered", "returned", "spoiled")},
                         unsaid=(lines["lot"] == "") & lines["kind"].isin(("sold", "returned", "spoiled")))
    there = lines.groupby(["key", "product"])[["delivered", "unsaid"]].agg({"delivered": "max", "unsaid": "any"})
    table = lines.groupby(["key", "product", "lot"], as_index=False, sort=True).agg(
        market=("market", "first"), name=("lot_name", "first"), terms=("terms", "first"), first=("day", "min"), last=("day", "max"),
        delivered_kg=("delivered", "sum"), sold_kg=("sold_kg", "sum"), returned_kg=("returned", "sum"), spoiled_kg=("spoiled", "sum"),
        value=("value_cents", "sum"), taken=("taken_cents", "sum"), rows=("at", "size"))
    held = (table["terms"] != OUTRIGHT) & (table["delivered_kg"] > 0)
    left = table["delivered_kg"] - table["sold_kg"] - table["returned_kg"] - table["spoiled_kg"]
    table["left_kg"] = np.where(held, np.round(left, 9) + 0.0, 0.0)
    around = there.loc[pd.MultiIndex.from_frame(table[["key", "product"]])]
    table["words"] = [_lot_words(*row) for row in zip(table["terms"], table["lot"], table["left_kg"], table["delivered_kg"],
                                                      around["delivered"] > 0, around["unsaid"], strict=True)]
    table = table.assign(lot=np.where(table["lot"] == "", NO_LOT, table["name"]), first=dates(table["first"]), last=dates(table["last"]),
                         sales=cents.money(table["value"]), commission=cents.money(table["taken"]), net=cents.money(table["value"] - table["taken"]),
                         rows=table["rows"].astype(float))
    return table[list(results.COLUMNS["settlement_lots"])]


def _lot_words(terms: str, key: str, left: float, delivered: float, any_delivered: bool, some_unsaid: bool) -> str:
    """Where a lot stands; any_delivered, some_unsaid: whether its market ever gets this product delivered, or lost some without a lot."""
    if terms == OUTRIGHT:
        return "bought outright"
    if not any_delivered:
        return "sold straight from home"
    if not key:
        return "of which lot cannot be told"
    if not delivered:
        return "never delivered there under this lot"
    if left < -LEAST_KG:
        return "more went out than was delivered of this lot"
    if left <= LEAST_KG:
        return "all gone"
    return "there by the lines; some went without a lot" if some_unsaid else "there by the lines"


def consigned(sold: pd.DataFrame) -> pd.DataFrame:
    """The lines of the ledger whose goods stay the grower's until sold."""
    return sold[sold["terms"] == CONSIGNMENT]

"""The four balances: logs, fresh weight, dried weight, money owed. What does not close is shown."""
from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from calc import cents, settle
from calc.ledger import OUTRIGHT, WEIGHT_KINDS
from calc.results import Balance
from calc.yard import EXITS, TINY, Diary, Yard

LEAST_SLACK_KG = 0.0005  # half a gram: below what a kitchen scale shows


def logs(yard: Yard) -> Balance:
    """Logs that came in = alive + retired + lost + sold as logs + unexplained.

    Retired, lost and sold are what the events say; a row never loses more logs than it holds, so lines that
    take more than there were leave a negative unexplained. Closes at 0.
    """
    came, alive = float(yard.entered().sum()), float(yard.alive().sum())
    lines = (("in the yard", alive),) + tuple((_LEFT[kind], yard.claimed.get(kind, 0.0)) for kind in EXITS)
    unexplained = _clean(came - sum(value for _, value in lines))
    rows = int((yard.start <= yard.as_of).sum()) + yard.exit_lines
    return Balance("logs", "", "logs", "felled or inoculated", came, lines, unexplained,
                   abs(unexplained) < 1e-6, rows)


_LEFT = {"retired": "retired", "lost": "lost", "sold as log": "sold as logs"}


def fresh_weight(book: Diary, sales: pd.DataFrame, slack_share: float) -> Balance:
    """Picked = sold + at markets + in store + into the dryer + culled + spoiled + given + unexplained, kg.

    In store is the last stored event, and what came in less what went out after that day (never below 0);
    without a count nothing counts as in store. Closes when |unexplained| is within slack_share of what was
    picked.
    """
    product = _movements(sales, "fresh")
    ways = {"into the dryer": "dried", "culled": "culled", "spoiled at home": "spoiled",
            "given or eaten": "given"}
    return _weight_balance("fresh weight", "picked", book, product, "picked", book.amount, "stored", ways,
                           slack_share)


def in_store(book: Diary, sales: pd.DataFrame) -> tuple[float, bool]:
    """(fresh kg in store, whether a stored event says so); without one, all that is not written down as gone."""
    found = fresh_weight(book, sales, 0.0)
    if (book.lines("stored") & ~np.isnan(book.amount)).any():
        return dict(found.lines)["in store"], True
    return max(0.0, found.unexplained), False


def dried_weight(book: Diary, sales: pd.DataFrame, dried_out_kg: np.ndarray, slack_share: float) -> Balance:
    """Out of the dryer = sold + at markets + in store + unexplained, dried kg; in store from dried counts.

    dried_out_kg: by line of the diary. The same rules as fresh_weight.
    """
    product = _movements(sales, "dried")
    return _weight_balance("dried weight", "out of the dryer", book, product, "dried", dried_out_kg,
                           "dried count", {}, slack_share)


@dataclass
class _Lines:
    """Sales lines of a product that are weights, as arrays."""

    key: np.ndarray
    market: np.ndarray
    terms: np.ndarray
    kind: np.ndarray
    day: np.ndarray
    amount: np.ndarray
    sold_kg: np.ndarray

    def __len__(self):
        return len(self.key)

    def total(self, where: np.ndarray, *kinds: str) -> float:
        """Weight of some lines of these kinds."""
        return float(self.amount[where & self.of(*kinds)].sum())

    def of(self, *kinds: str) -> np.ndarray:
        """True for lines of these kinds."""
        found = np.zeros(len(self), dtype=bool)
        for kind in kinds:
            found |= self.kind == kind
        return found

    def stock(self, where: np.ndarray) -> float:
        """Delivered less sold, returned and spoiled there, of some lines."""
        return self.total(where, "delivered") - self.total(where, "sold", "returned", "spoiled")


def _movements(sales: pd.DataFrame, product: str) -> _Lines:
    """Sales lines of a product that are weights."""
    at = np.flatnonzero((sales["product"] == product).to_numpy() & sales["kind"].isin(WEIGHT_KINDS).to_numpy())
    return _Lines(*(sales[field.name].to_numpy()[at] for field in fields(_Lines)))


def _weight_balance(name, in_label, book, product, came_kind, came_kg, count_kind, ways, slack_share):
    came = book.lines(came_kind)
    in_kg = _sum(came_kg, came)
    at_markets, spoiled_there, notes, missing = _markets(product)
    lines = [("sold", float(product.sold_kg.sum())), ("at markets", at_markets)]
    out = {label: book.lines(kind) for label, kind in ways.items()}
    store, counted, note = _store(book, product, came, came_kg, count_kind, out.values())
    lines.append(("in store", store))
    lines += [(label, _sum(book.amount, mask)) for label, mask in out.items()]
    if spoiled_there or name == "fresh weight":
        lines.append(("spoiled at markets", spoiled_there))
    unexplained = _clean(in_kg - sum(value for _, value in lines))
    rows = int(came.sum()) + int(counted.sum()) + len(product) + sum(int(mask.sum()) for mask in out.values())
    closes = abs(unexplained) <= max(slack_share * in_kg, LEAST_SLACK_KG)
    return Balance(name, "", "weight", in_label, in_kg, tuple(lines), unexplained, closes, rows,
                   tuple(note + notes + missing), tuple(notes))


def _markets(product: pd.DataFrame):
    """(kg at markets, kg spoiled there, notes on markets, notes on counts) over one product."""
    stock, spoiled, notes, missing = 0.0, 0.0, [], []
    for key in sorted(set(product.key)):
        mine = product.key == key
        first = int(np.argmax(mine))
        market = product.market[first]
        if product.terms[first] == OUTRIGHT:
            continue
        spoiled += product.total(mine, "spoiled")
        counts = mine & product.of("counted")
        if counts.any():
            last = product.day[counts].max()
            counted = product.total(mine & (product.day == last), "counted")
            before = product.stock(mine & (product.day <= last))
            there = counted + product.stock(mine & (product.day > last))
            gap = _clean(before - counted)
            if abs(gap) > LEAST_SLACK_KG:
                found = "less" if gap > 0 else "more"
                missing.append(f"{market}: the last count found {found} than the lines say.")
        else:
            there = product.stock(mine)
        if there < -LEAST_SLACK_KG and (mine & product.of("delivered")).any():
            notes.append(f"{market}: more went out than was delivered there.")
        stock += max(there, 0.0)
    return _clean(stock), spoiled, notes, missing


def _store(book, product, came, came_kg, count_kind, out):
    """(kg in store, lines of counts, notes): the last count, moved on by what came and went after its day."""
    counted = book.lines(count_kind) & ~np.isnan(book.amount)
    if not counted.any():
        none = f"No {count_kind} event: what is in store is part of the unexplained."
        return 0.0, counted, [none] if came.any() else []
    last = book.day[counted].max()
    of_day = counted & (book.day == last)
    at_count = _sum(book.amount, of_day)
    notes = [f"{int(of_day.sum())} {count_kind} lines of the last day were added, as of two places; clear one if it was a correction."] \
        if of_day.sum() > 1 else []
    after = book.day > last
    moved = _sum(came_kg, came & after) - sum(_sum(book.amount, mask & after) for mask in out)
    moved -= _taken_to_markets(product, last)
    return max(0.0, _clean(at_count + moved)), counted, notes


def _taken_to_markets(product: _Lines, after_day: int) -> float:
    """Kg that left home after a day, less what came back; sold from home where nothing is ever delivered."""
    delivering = sorted(set(product.key[product.of("delivered")]))
    later = product.day > after_day
    straight = later & ~np.isin(product.key.astype(object), delivering) & (product.terms != OUTRIGHT)
    return product.total(later, "delivered") - product.total(later, "returned") + product.total(straight, "sold", "spoiled")


def money(sales: pd.DataFrame, missing: pd.DataFrame, as_of: int) -> list[Balance]:
    """What each market owes: value + loss charged + corrections - commission - fees = paid + owed, to the cent (calc.settle).

    On consignment: sold x price in force x (1 - commission) - fees, and the loss between counts beyond what
    is allowed (missing, from calc.consignment.losses). Bought outright: (delivered - returned) x price - fees. Own stall:
    sold x price, paid at once, so that nothing is owed. More paid than was due is unexplained. A line without
    a price does not let it close.
    """
    return [_market_money(lines, missing[missing["key"] == key], as_of) for key, lines in sales.groupby("key", sort=True)]


def _market_money(lines: pd.DataFrame, missing: pd.DataFrame, as_of: int) -> Balance:
    market, terms = lines["market"].iloc[0], lines["terms"].iloc[0]
    found = settle.due_of(lines, missing)
    owed = max(0, found.open)
    unpriced = int(lines["unpriced"].sum())
    notes, faults = [], []
    if unpriced:
        have = "lines have" if unpriced > 1 else "line has"
        notes.append(f"{market}: {unpriced} {have} no price; type one on Sales or in Prices on Lists.")
    if (~missing["agreed"].astype(bool) & (missing["unexplained_kg"] > LEAST_SLACK_KG)).any():
        notes.append(f"{market}: counts found less than the lines say. Lists states no loss allowed there, so it is not charged; "
                     "type 0% if all of it is theirs to pay.")
    if terms == OUTRIGHT and (lines["kind"] == "sold").any():
        faults.append(f"{market} buys outright, so its sold lines do not count; type delivered.")
    if found.open < 0:
        faults.append(f"{market}: more was paid than was due." if found.paid else f"{market}: its fees are more than what was sold there.")
    days = float(lines["payment_days"].iloc[0])
    overdue = settle.late(settle.unpaid(lines, missing), days, as_of)
    if overdue:
        notes.append(f"{market} pays within {days:.0f} days: {cents.money(overdue):,.2f} of what is owed is older.")
    in_label = ", and ".join(["value sold", *(word for word, part in (("loss charged", found.lost), ("corrections", found.corrections)) if part)])
    labels = (("commission", found.commission), ("fees", found.fees), ("paid", found.paid), ("owed", owed))
    return Balance("money", market, "money", in_label, cents.money(found.sales + found.lost + found.corrections),
                   tuple((label, cents.money(part)) for label, part in labels), cents.money(min(0, found.open)),
                   found.open >= 0 and not unpriced, int((lines["at"] >= 0).sum()), tuple(notes + faults), tuple(faults))


def _sum(values, mask) -> float:
    return float(np.nansum(values[mask]))


def _clean(value: float, least: float = TINY) -> float:
    """The value, 0 where it is only float noise."""
    return 0.0 if abs(value) < least else float(value)

"""Closed periods: what each market owed on the day its account was closed, worked out again, so that a change shows.

A closed line is never rewritten. What was wrong in it is put right by a line of kind correction of a later day.
"""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import cents, dates
from calc.consignment import losses
from calc.ledger import ledger
from calc.problems import QUESTION, Problem
from calc.settle import consigned, due_of
from calc.yard import NO_DAY, as_typed, day_column, numbers, words

EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True)
class Account:
    """What a market owes on a day: cents (below 0: more was paid than was due), and how many lines of Sales that rests on."""

    market: str
    cents: int
    lines: int
    unpriced: int


def accounts(frames: dict, day: dt.date) -> dict[str, Account]:
    """Market (lower case) -> its account at the end of a day, by the lines of Sales and the terms on Lists as they are now.

    frames: the checked tables sales, markets and prices. The same rules as for the settlement (calc.settle).
    """
    sold = ledger(frames, day_number(day))
    missing = losses(consigned(sold))
    found = {}
    for key, lines in sold.groupby("key", sort=True):
        due = due_of(lines, missing[missing["key"] == key])
        found[key] = Account(str(lines["market"].iloc[0]), due.open, int((lines["at"] >= 0).sum()), int(lines["unpriced"].sum()))
    return found


def day_number(day: dt.date) -> int:
    """Days since 1 Jan 1970, as the ledger counts them."""
    return (day - EPOCH).days


@dataclass(frozen=True)
class Closing:
    """A closed period as kept on Lists. row: its sheet row; cents: what was owed then, None where no amount is kept."""

    key: str
    market: str
    day: dt.date
    cents: int | None
    row: int | None


def closings(frame: pd.DataFrame) -> list[Closing]:
    """The rows of Closed periods that name a market and a day, by market and day."""
    if frame is None or not len(frame):
        return []
    kept, days = numbers(frame, "close_balance"), day_column(frame, "closed_to")
    rows = numbers(frame, "row") if "row" in frame else np.full(len(frame), np.nan)
    found = [Closing(key, market, EPOCH + dt.timedelta(days=int(day)), None if np.isnan(money) else int(cents.to_cents([money])[0]),
                     None if np.isnan(row) else int(row))
             for key, market, day, money, row in zip(words(frame, "close_market"), as_typed(frame, "close_market"), days, kept, rows, strict=True)
             if key and day < NO_DAY]
    return sorted(found, key=lambda c: (c.key, c.day))


def questions(frames: dict, as_of: dt.date, sheet: str = "Lists") -> list[Problem]:
    """A question for each closed period that no longer comes to what was kept.

    Of several closed periods of one market only those are asked about in which something changed: a change carried along from an
    earlier one is not told twice.
    """
    asked, carried, known = [], {}, {}
    for closing in closings(frames.get("closings")):
        if closing.day > as_of:
            asked.append(_ask(sheet, closing, f"{closing.market} is closed to {dates.words(closing.day)}, a day still to come",
                              "a day that is over", "Type the day up to which it was settled"))
            continue
        if closing.cents is None:
            asked.append(_ask(sheet, closing, f"{closing.market} is closed to {dates.words(closing.day)} without what it owed then", "money",
                              f"Type {cents.money(_now(frames, closing, known)):.2f} if nothing has been changed since"))
            continue
        now = _now(frames, closing, known)
        off = now - closing.cents
        if off != carried.get(closing.key, 0):
            asked.append(_ask(sheet, closing, _changed(closing, now), "", "Put the changed lines back as they were, and type what was wrong in them "
                              "as a line of kind correction of a later day; if the period was closed by mistake, clear this row"))
        carried[closing.key] = off
    return asked


def _now(frames: dict, closing: Closing, known: dict) -> int:
    if closing.day not in known:
        known[closing.day] = accounts(frames, closing.day)
    account = known[closing.day].get(closing.key)
    return account.cents if account else 0


def _changed(closing: Closing, now: int) -> str:
    apart = f"{cents.money(abs(now - closing.cents)):,.2f} {'more' if now > closing.cents else 'less'}"
    return (f"{closing.market} was closed to {dates.words(closing.day)} owing {cents.money(closing.cents):,.2f}; its lines up to that day "
            f"now come to {cents.money(now):,.2f}, {apart}: lines of the closed period, its prices or its terms were changed")


def _ask(sheet: str, closing: Closing, found: str, needed: str, do: str) -> Problem:
    return Problem(sheet, closing.row, "Closed periods", QUESTION, found, needed, do, "closed")


def to_close(frames: dict, day: dt.date, market: str | None = None) -> list[Account]:
    """The accounts that can be closed to a day: those with lines up to it that are not closed to it or later already.

    market: only this one (any spelling of upper and lower case).
    """
    last = {}
    for closing in closings(frames.get("closings")):
        last[closing.key] = max(closing.day, last.get(closing.key, closing.day))
    wanted = None if market is None else market.strip().casefold()
    return [account for key, account in accounts(frames, day).items()
            if account.lines and wanted in (None, key) and (key not in last or last[key] < day)]

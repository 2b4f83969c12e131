"""Closed periods: what each market owed on the day its account was closed, and what a closed year came to, worked out again, so that a
change shows.

A closed line is never rewritten. What was wrong in it is put right by a line of kind correction of a later day.
"""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import cents, dates
from calc.consignment import losses
from calc.day_numbers import to_date, to_day
from calc.ledger import ledger
from calc.problems import QUESTION, Problem
from calc.settle import consigned, due_of
from calc.yard import NO_DAY, as_typed, day_column, numbers, words


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
    sold = ledger(frames, to_day(day))
    missing = losses(consigned(sold))
    found = {}
    for key, lines in sold.groupby("key", sort=True):
        due = due_of(lines, missing[missing["key"] == key])
        found[key] = Account(str(lines["market"].iloc[0]), due.open, int((lines["at"] >= 0).sum()), int(lines["unpriced"].sum()))
    return found


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
    found = [Closing(key, market, to_date(day), None if np.isnan(money) else int(cents.to_cents([money])[0]),
                     None if np.isnan(row) else int(row))
             for key, market, day, money, row in zip(words(frame, "close_market"), as_typed(frame, "close_market"), days, kept, rows, strict=True)
             if key and day < NO_DAY]
    return sorted(found, key=lambda c: (c.key, c.day))


def questions(frames: dict, as_of: dt.date, sheet: str = "Lists") -> list[Problem]:
    """A question for each closed period that no longer comes to what was kept.

    Of several closed periods of one market only those are asked about in which something changed: a change carried along from an
    earlier one is not told twice.
    """
    asked, carried, known = _without_day(frames.get("closings"), sheet), {}, {}
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


def _without_day(frame: pd.DataFrame | None, sheet: str) -> list[Problem]:
    """A question for each row of Closed periods that names a market and no day: it closes nothing."""
    if frame is None or not len(frame):
        return []
    names, rows = as_typed(frame, "close_market"), numbers(frame, "row", 0)
    return [Problem(sheet, int(rows[at]) or None, "Closed periods", QUESTION, f"{names[at]} is closed without a day: this row closes nothing",
                    "the last day of the period", "Type it in Closed to, or clear this row", "closed")
            for at in np.flatnonzero((words(frame, "close_market") != "") & (day_column(frame, "closed_to") == NO_DAY)).tolist()]


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


@dataclass(frozen=True)
class Year:
    """What a calendar year came to: kg picked, money spent, minutes worked, and how many lines that rests on."""

    year: int
    picked_kg: float
    spent: float
    minutes: float
    lines: int


def year_of(frames: dict, year: int) -> Year:
    """The sums of a year by the lines of Events and Costs as they are now.

    frames: the checked tables events (amount in kg for picked lines) and costs.
    """
    first, last = to_day(dt.date(year, 1, 1)), to_day(dt.date(year, 12, 31))

    def inside(name: str):
        frame = frames.get(name, pd.DataFrame())
        day = day_column(frame, "date")
        return frame, (first <= day) & (day <= last)

    events, during = inside("events")
    picked = during & (words(events, "event") == "picked")
    costs, paid = inside("costs")
    minutes = numbers(events, "minutes", 0.0)[during]
    return Year(year, float(numbers(events, "amount", 0.0)[picked].sum()), float(numbers(costs, "amount", 0.0)[paid].sum()),
                float(minutes.sum()), int((picked.sum()) + (minutes > 0).sum() + paid.sum()))


YEAR_TOLERANCE = 0.005 + 1e-9  # half a hundredth: what is kept is written with two digits
YEAR_SUMS = (("year_picked", "picked_kg", "picked", "Events"), ("year_spent", "spent", "spent", "Costs"),
             ("year_minutes", "minutes", "minutes worked", "Events"))


def year_questions(frames: dict, weight_kg: float, as_of: dt.date, sheet: str = "Lists") -> list[Problem]:
    """A question for each sum of a closed year that no longer comes to what was kept. weight_kg: kg in the workbook's unit of weight."""
    table = frames.get("closed_years", pd.DataFrame())
    asked = []
    for at, year in enumerate(numbers(table, "closed_year")):
        if np.isnan(year):
            continue
        row = int(numbers(table, "row", 0)[at]) or None
        if dt.date(int(year), 12, 31) > as_of:
            asked.append(Problem(sheet, row, "Closed years", QUESTION, f"{int(year)} is closed, and its last day is still to come",
                                 "a year that is over", "Type the year that was closed, or clear this row", "closed"))
            continue
        now = year_of(frames, int(year))
        for column, name, said, where in YEAR_SUMS:
            kept = numbers(table, column)[at]
            unit = weight_kg if column == "year_picked" else 1.0
            if not np.isnan(kept) and abs(getattr(now, name) - kept) > YEAR_TOLERANCE * unit:
                asked.append(Problem(sheet, row, "Closed years", QUESTION,
                                     f"{int(year)} was closed with {kept / unit:,.2f} {said}; its lines on {where} now come to "
                                     f"{getattr(now, name) / unit:,.2f}: lines of the closed year were changed", "",
                                     "Put the changed lines back as they were, and put right what was wrong by a line of a later day; "
                                     "if the year was closed by mistake, clear this row", "closed"))
    return asked

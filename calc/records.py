"""What a table is to the checks, what the checks hand on, and the rules a row must meet.

The rules stand in data/limits.csv, in SI. The same rules make the pydantic model of a row (row_models.py) and the masks over
a whole column, so that clean rows are never touched one by one and a row in doubt gets words.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import pandas as pd

from calc import tables
from calc.problems import Problem

TINY = 1e-9  # what float noise of a unit factor may add to a limit

# What the amount of an event is, from the words on Lists; "" means nothing.
WEIGHT, DEPTH, HOURS, NUMBER = "weight", "depth", "hours", "number"
AMOUNT_KINDS = (WEIGHT, DEPTH, HOURS, NUMBER, "")
AMOUNT_LIMITS = {WEIGHT: "amount_picked", DEPTH: "amount_water", HOURS: "amount_hours",
                 NUMBER: "amount_count"}

FIXED_LISTS = {
    "yesno": ("yes", "no"),
    "counted_by": ("each hole", "hole volume", "weight per log"),
    "sale_kinds": ("delivered", "sold", "returned", "spoiled", "counted", "paid", "fee", "correction"),
    "products": ("fresh", "dried"),
    "terms": ("on consignment", "bought outright", "own stall"),
}
MONEY_KINDS = ("paid", "fee", "correction")


@dataclass(frozen=True)
class ColumnInfo:
    """One column as the checks need it.

    kind: text, number, date, choice, yesno, computed or rowkey. quantity: a kind of quantity of
    units.PROFILES, or "money", "money per weight", "temperature", or None. unit_name: the unit in the header
    ("in", "%"), or None. list: what a choice is chosen from, a table key ("woods") or a fixed list
    ("sale_kinds").
    """

    key: str
    title: str
    kind: str
    quantity: str | None = None
    unit_name: str | None = None
    list: str | None = None


@dataclass(frozen=True)
class TableInfo:
    """One table: its key, the sheet it stands on, its columns in order."""

    key: str
    sheet: str
    columns: tuple[ColumnInfo, ...]

    def column(self, key: str) -> ColumnInfo:
        for column in self.columns:
            if column.key == key:
                return column
        raise KeyError(f"{self.key} has no column {key}")


@dataclass
class Intake:
    """The checked tables in SI, and everything to be said about them.

    frames: table key -> DataFrame, one row per usable row, first column `row` (sheet row number), RangeIndex;
    text is object with None where blank. event_links and cost_links name, by position in their frames, the
    logs of each event and cost. counts: table key -> (rows typed, rows used).
    """

    frames: dict[str, pd.DataFrame]
    event_links: pd.DataFrame  # event, log
    cost_links: pd.DataFrame  # cost, log
    problems: list[Problem] = field(default_factory=list)
    counts: dict[str, tuple[int, int]] = field(default_factory=dict)


# ---- the rule table ---------------------------------------------------------------------------

@dataclass(frozen=True)
class Rule:
    """The limits of one number, in SI; None where open. whole: a whole number is needed.

    Beyond lowest or highest the value is refused, beyond ask_below or ask_above it is asked about. drops_row:
    a refused value takes its row along; otherwise the cell alone is left out.
    """

    table: str
    column: str
    quantity: str
    lowest: float | None
    ask_below: float | None
    ask_above: float | None
    highest: float | None
    whole: bool
    drops_row: bool

    def refused(self, values):
        """True where a number is refused; a blank (NaN) is not."""
        bad = np.zeros(np.shape(values), dtype=bool)
        if self.lowest is not None:
            bad |= values < self.lowest - TINY
        if self.highest is not None:
            bad |= values > self.highest + TINY
        if self.whole:
            with np.errstate(invalid="ignore"):
                bad |= np.abs(values - np.round(values)) > TINY
        return bad | np.isinf(values)

    def asked(self, values):
        """True where a number is not refused but asked about."""
        odd = np.zeros(np.shape(values), dtype=bool)
        if self.ask_below is not None:
            odd |= values < self.ask_below - TINY
        if self.ask_above is not None:
            odd |= values > self.ask_above + TINY
        return odd & ~self.refused(values)


@lru_cache(maxsize=None)
def rules(table: str) -> dict[str, Rule]:
    """Column -> Rule of a table, from data/limits.csv."""
    def number(text):
        return float(text) if text else None

    edges = ("refuse_below", "ask_below", "ask_above", "refuse_above")
    return {row["column"]: Rule(table, row["column"], row["quantity"], *(number(row[e]) for e in edges),
                                row["whole"] == "yes", row["if_bad"] == "row")
            for row in tables.rows("limits") if row["table"] == table}


NEEDED = {
    "logs": ("log", "diameter_m", "length_m"),
    "events": ("date", "event"),
    "costs": ("date", "amount"),
    "sales": ("date", "market", "kind", "amount"),
    "promises": ("week", "market", "product"),
}


def _blank(values) -> np.ndarray:
    return pd.isna(values)


def over(part, whole) -> np.ndarray:
    return part > whole + TINY


def _of_dried(events, mask) -> np.ndarray:
    return mask & (events == "dried") if mask.any() else mask


# What two columns must be to each other: code, column the words are about, True where it fails.
TOGETHER = {
    "events": (
        ("amount_needed", "amount", lambda c: c["amount_needed"] & _blank(c["amount"])),
        ("dried_over_fresh", "dried_out_kg",
         lambda c: _of_dried(c["event"], over(c["dried_out_kg"], c["amount"]))),
    ),
    "costs": (
        ("salvage_over_price", "salvage", lambda c: over(c["salvage"], np.maximum(c["amount"], 0.0))),
    ),
    "sales": (
        ("product_needed", "product", lambda c: _blank(c["product"]) & ~np.isin(c["kind"], MONEY_KINDS)),
    ),
}


def failures(table: str, columns: dict[str, np.ndarray]) -> dict[tuple[str, str], np.ndarray]:
    """(code, column) -> True where a row fails, over whole columns. The mask side of the rules.

    Codes: "needed", "limits", and those of TOGETHER. Blank text is None, a blank number NaN, a date NaT.
    Events also bring `amount_is` (one of AMOUNT_KINDS) and `amount_needed` (bool).
    """
    found = {("needed", key): _blank(columns[key]) for key in NEEDED[table]}
    for key, rule in rules(table).items():
        if key in columns:
            found["limits", key] = rule.refused(columns[key])
    if table == "events":
        found["limits", "amount"] = _by_kind(columns, "refused")
    if table == "sales":
        found["limits", "amount"] = _by_sale_kind(columns)
    for code, key, fails in TOGETHER.get(table, ()):
        found[code, key] = np.asarray(fails(columns), dtype=bool)
    return found


def questions(table: str, columns: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Column -> True where a number is unlikely enough to be asked about."""
    found = {key: rule.asked(columns[key]) for key, rule in rules(table).items() if key in columns}
    if table == "events":
        found["amount"] = _by_kind(columns, "asked")
    return found


def _by_kind(columns, what: str) -> np.ndarray:
    """Limits of an event's amount, which depend on what the amount is."""
    bad = np.isinf(columns["amount"]) & (what == "refused")
    codes, kinds = pd.factorize(columns["amount_is"])
    for code, kind in enumerate(kinds):
        if kind in AMOUNT_LIMITS:
            mine = np.flatnonzero(codes == code)
            bad[mine] |= getattr(rules("events")[AMOUNT_LIMITS[kind]], what)(columns["amount"][mine])
    return bad


def sale_rule(kind) -> Rule:
    """The limits of the amount on a line of Sales: a correction may be below 0."""
    return rules("sales")["amount_correction" if kind == "correction" else "amount"]


def _by_sale_kind(columns) -> np.ndarray:
    amount, signed = columns["amount"], columns["kind"] == "correction"
    return np.where(signed, sale_rule("correction").refused(amount), sale_rule("sold").refused(amount))


def row_failures(table: str, row: dict) -> list[tuple[str, str]]:
    """(code, column) of everything wrong with one row, from its model; [] where it is good."""
    from calc.row_models import failures_of  # slow to import, and asked for rows in doubt only
    return failures_of(table, row)

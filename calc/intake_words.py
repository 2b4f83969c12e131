"""The words of the checks: what a column needs, what a date in a number cell was, the list of problems."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from calc import units
from calc.dates import DAY_FIRST, words
from calc.problems import LEVELS, NOTE, QUESTION, REFUSED, Problem, either, in_order
from calc.quantities import DIMENSIONS, format_number
from calc.records import DEPTH, HOURS, NUMBER, WEIGHT, ColumnInfo, Rule

NO_LIMIT = 1e5  # a limit from here on is not worth printing
MOST_LISTED = 1000  # problems of one sheet
MOST_RUNS = 12  # runs of rows named in one problem
FEW = 3  # problems in the same words that are listed one by one
UNIT_WORDS = {
    "in": "inches",
    "ft": "feet",
    "lb": "pounds",
    "oz": "ounces",
    "h": "hours",
    "min": "minutes",
    "g": "grams",
    "L": "litres",
    "%": "a percentage",
    "an hour": "money for an hour",
}
# What the amount of an event is measured in, as a kind of quantity.
AMOUNT_QUANTITY = {WEIGHT: "weight", DEPTH: "rain", HOURS: "hours", NUMBER: None, "": None}
PLAIN_QUANTITIES = ("money", "money per weight", "temperature", "fraction")


@dataclass(frozen=True)
class Context:
    """What the whole workbook says: unit profile, order of dates, comma habit, currency, and the day of the results."""

    profile: str
    as_of: dt.date
    date_order: str | None = None
    comma_decimal: bool | None = None
    currency: str = ""

    def factor(self, quantity: str | None) -> float:
        """The frame's value of one typed unit: SI, but hours and minutes stay, and prices are per kg."""
        if quantity == "money per weight":
            return 1.0 / units.factor("weight", self.profile)
        if quantity in ("hours", "minutes") or quantity not in DIMENSIONS:
            return 1.0
        return units.factor(quantity, self.profile)

    def unit(self, quantity: str | None) -> str:
        """The unit of a quantity as it stands behind a number, "" for plain numbers and money."""
        if quantity in DIMENSIONS:
            return units.profile_unit(quantity, self.profile)
        if quantity == "temperature":
            return units.temperature_unit(self.profile)
        return {"fraction": "%"}.get(quantity, "")

    def shown(self, value: float, quantity: str | None) -> str:
        """A frame's value as the grower would type it: "40 in", "42 %"."""
        value = float(value)
        if quantity == "temperature":
            value = units.fahrenheit_from_celsius(value) if self.profile == units.US else value
        elif quantity == "fraction":
            value *= 100
        else:
            value /= self.factor(quantity)
        unit = self.unit(quantity)
        return f"{format_number(value)} {unit}".strip()

    def typed(self, value: float, quantity: str | None) -> str:
        """A frame's value as a bare number in the column's unit; a share keeps its percent sign."""
        text = self.shown(value, quantity)
        return text if quantity == "fraction" else text.split(" ")[0]

    def rounded(self, value: float, quantity: str | None) -> str:
        """A limit in the column's unit, to three figures."""
        bare = float(self.shown(value, quantity).split(" ")[0])
        percent = " %" if quantity == "fraction" else ""
        return (f"{bare:.3g}" if abs(bare) < 1000 else f"{bare:.0f}") + percent


def quantity_of(info: ColumnInfo) -> str | None:
    """The kind of quantity a number column holds; a column in percent holds a fraction."""
    if info.quantity:
        return "density" if info.quantity == "density of wood" else info.quantity
    if info.unit_name == "%":
        return "fraction"
    return "minutes" if info.key == "minutes" else None


def needed(quantity: str | None, context: Context, rule: Rule | None = None, unit: str | None = None) -> str:
    """What a number column needs, in words: "inches", "a whole number", "money per pound".

    unit: the unit in the header of a plain number ("years").
    """
    if quantity == "money":
        return "an amount of money"
    if quantity == "money per weight":
        weight = units.profile_unit("weight", context.profile)
        return f"money per {'pound' if weight == 'lb' else weight}"
    if quantity == "temperature":
        return f"a temperature in {context.unit(quantity)}"
    unit = context.unit(quantity) or unit
    if unit:
        return UNIT_WORDS.get(unit, unit)
    return "a whole number" if rule and rule.whole else "a number"


def span(rule: Rule, quantity: str | None, context: Context, usual: bool) -> str:
    """The band of a rule in words, in the column's unit: "from 0.2 to 59.1", "2 to 12"."""
    low, high = (rule.ask_below, rule.ask_above) if usual else (rule.lowest, rule.highest)
    lowest = context.rounded(low, quantity) if low is not None else ""
    highest = context.rounded(high, quantity) if high is not None and high < NO_LIMIT else ""
    if lowest and highest:
        return f"{lowest} to {highest}"
    return f"{lowest} or more" if lowest else f"at most {highest}" if highest else ""


def date_in_number(day: dt.datetime, context: Context, fits) -> tuple[str, str]:
    """(what was found, what to do) for a date in a number cell: what was probably typed, and what to type.

    fits: a test whether a number is thinkable in this column.
    """
    if day.year <= 1900:
        return f"holds the time {day:%H:%M}", "Type the number"
    first, second = (day.day, day.month) if context.date_order == DAY_FIRST else (day.month, day.day)
    stored = f"{day.day} {words(day).split()[1]}"
    if day.day == 1 and abs(day.year - context.as_of.year) > 5:
        typed = f"{day.month}-{day:%y}"
        return f'"{typed}" was stored as {words(day.date())}', "Type the number or mark the cell as text"
    offers = []
    if second in (2, 4, 8, 16) and first < second and fits(first / second):
        offers.append((format_number(first / second), f"{first}/{second}"))
    if second != 16 and fits((first + second) / 2):
        offers.append((format_number((first + second) / 2), f"the middle of {first} to {second}"))
    typed = f"{first}/{second}" if offers and "/" in offers[0][1] else f"{first}-{second}"
    found = f'"{typed}" was stored as {stored}'
    if not offers:
        return found, "Type the number or mark the cell as text"
    if len(offers) == 1:
        tail = "" if "/" in offers[0][1] else f", {offers[0][1]},"
        return found, f"Type {offers[0][0]}{tail} or mark the cell as text"
    choices = either(f"{number} ({what})" for number, what in offers)
    return found, f"Type {choices}, or mark the cell as text"


def also(rows: int) -> str:
    """That a problem stands in more rows than the one it is listed at."""
    if rows < 2:
        return ""
    return ", here and in 1 more row" if rows == 2 else f", here and in {rows - 1} more rows"


@dataclass
class Collector:
    """Problems as found. Beyond MOST_LISTED a sheet they are only counted; refused ones are listed first."""

    sheets: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    unlisted: dict[str, Counter] = field(default_factory=dict)

    def add(self, *args, **kwargs) -> None:
        self.problems.append(Problem(*args, **kwargs))

    def first(self, mask: np.ndarray, sheet: str, level: str) -> np.ndarray:
        """Indices where mask is True, at most MOST_LISTED; the rest are counted as not listed."""
        found = np.flatnonzero(mask)
        if len(found) > MOST_LISTED:
            self.skip(sheet, level, len(found) - MOST_LISTED)
        return found[:MOST_LISTED]

    def skip(self, sheet: str, level: str, count: int) -> None:
        self.unlisted.setdefault(sheet, Counter())[level] += count

    def listed(self) -> list[Problem]:
        """Problems in the order of sheets and rows, a sheet cut to MOST_LISTED with one line for the rest."""
        rank = {level: i for i, level in enumerate(LEVELS)}
        kept = []
        by_sheet: dict[str, list[Problem]] = {}
        for problem in self.problems:
            by_sheet.setdefault(problem.sheet, []).append(problem)
        for sheet in set(by_sheet) | set(self.unlisted):
            mine = folded(in_order(by_sheet.get(sheet, []), [sheet]))
            if len(mine) > MOST_LISTED:
                mine.sort(key=lambda p: rank[p.level])
                for problem in mine[MOST_LISTED:]:
                    self.skip(sheet, problem.level, 1)
                mine = mine[:MOST_LISTED]
            kept += mine
            more = self.unlisted.get(sheet)
            if more:
                kept.append(_rest(sheet, more))
        return in_order(kept, self.sheets)


def folded(problems: list[Problem]) -> list[Problem]:
    """The same problems with those that say the same words of one column in one line, at the first of their rows.

    Three or fewer stay as they are. The line names the other rows.
    """
    same: dict[Problem, list[Problem]] = {}
    for problem in problems:
        same.setdefault(replace(problem, row=None), []).append(problem)
    kept = []
    for problem in problems:
        group = same[replace(problem, row=None)]
        if len(group) <= FEW:
            kept.append(problem)
        elif problem is group[0]:
            kept.append(replace(problem, found=f"{problem.found} (also in rows {row_words([p.row for p in group[1:]])})"))
    return kept


def row_words(rows: list[int]) -> str:
    """Row numbers in words, runs drawn together, at most MOST_RUNS of them.

    >>> row_words([7, 8, 9, 12, 14, 15])
    '7 to 9, 12, 14, 15'
    """
    rows = sorted(rows)
    starts = [0, *(i for i in range(1, len(rows)) if rows[i] != rows[i - 1] + 1), len(rows)]
    runs = [rows[a:b] for a, b in zip(starts[:-1], starts[1:], strict=True)]
    said = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs[:MOST_RUNS]]
    rest = sum(len(run) for run in runs[MOST_RUNS:])
    return ", ".join(said) + (f" and {rest} more" if rest else "")


def _rest(sheet: str, more: Counter) -> Problem:
    parts = [
        f"{more[level]:,} {name}"
        for level, name in ((REFUSED, "refused"), (QUESTION, "questions"), (NOTE, "notes"))
        if more[level]
    ]
    level = next(level for level in LEVELS if more[level])
    return Problem(
        sheet,
        None,
        None,
        level,
        f"{sum(more.values()):,} more problems are not listed here: " + ", ".join(parts),
        "",
        "Mend those listed and refresh again",
        "more",
    )

"""What a table is to the checks, what the checks hand on, and the rules a row must meet.

The rules stand in data/limits.csv, in SI. The same rules make the pydantic model of a row and the masks over
a whole column, so that clean rows are never touched one by one and a row in doubt gets words.
"""
from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from calc.problems import Problem


@dataclass(frozen=True)
class ColumnInfo:
    """One column as the checks need it.

    kind: text, number, date, choice, yesno, computed or rowkey. quantity: a kind of quantity of
    units.PROFILES, or "money", "money per weight", "temperature", or None. unit_name: the unit in the header
    ("in", "%"), or None.
    list: what a choice is chosen from, a table key ("woods") or a fixed list ("sale_kinds").
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

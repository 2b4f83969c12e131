"""A yard before it is a workbook: typed rows by table, settings that differ from the start, the plan."""
from __future__ import annotations

import csv
import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

from workbook_template import schema
from workbook_template.columns import DATE, NUMBER, Column
from workbook_template.settings_table import BY_KEY as SETTINGS


@dataclass
class Yard:
    """Everything a grower has typed, in the workbook's units. A table left out has its shipped rows."""

    profile: str
    tables: dict[str, list[dict]] = field(default_factory=dict)
    settings: dict[str, object] = field(default_factory=dict)
    plan: dict[str, object] = field(default_factory=dict)
    mark: str = ""  # what tells this yard's workbook from any other, 16 hexadecimal digits; "" draws a new one

    def rows(self, key: str) -> list[dict]:
        if key in self.tables:
            return self.tables[key]
        table = schema.table(key)
        return table.shipped(self.profile) if table.shipped else []


def typed_value(kind: str, text: str):
    """A CSV cell as a grower's program would hold it: a number or date where it is one, else the text.

    `date:2026-05-16` is a real date cell whatever the column (what a program makes of 5/16)."""
    if text == "":
        return None
    if text.startswith("date:"):
        return dt.date.fromisoformat(text[5:])
    if kind == NUMBER:
        try:
            return float(text)
        except ValueError:
            return text
    if kind == DATE:
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            return text
    return text


def _table_rows(path: Path, columns: tuple[Column, ...]) -> list[dict]:
    kinds = {c.key: c.reads_as for c in columns}
    with path.open(newline="", encoding="utf-8") as file:
        return [{k: typed_value(kinds[k], v) for k, v in row.items()} for row in csv.DictReader(file)]


def read_folder(folder: Path, profile: str) -> Yard:
    """A yard from a folder of CSV files: logs.csv, events.csv, costs.csv, sales.csv, lists_*.csv, settings.csv, plan.csv."""
    yard = Yard(profile)
    for table in schema.TABLES:
        name = f"{table.key}.csv" if table in schema.INPUT_TABLES else f"lists_{table.key}.csv"
        if (folder / name).exists():
            yard.tables[table.key] = _table_rows(folder / name, table.columns)
    for name, target in (("settings.csv", yard.settings), ("plan.csv", yard.plan)):
        if not (folder / name).exists():
            continue
        with (folder / name).open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                kind = SETTINGS[row["key"]].kind if name == "settings.csv" else NUMBER
                target[row["key"]] = typed_value(kind, row["value"])
    return yard

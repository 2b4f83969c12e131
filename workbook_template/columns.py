"""What a column is: the vocabulary in which schema.py declares every table of the workbook."""
from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from calc import units

TEXT, NUMBER, DATE, CHOICE, YESNO, COMPUTED, ROWKEY = "text", "number", "date", "choice", "yesno", "computed", "rowkey"


@dataclass(frozen=True)
class Column:
    """One column of a table.

    `quantity` names a kind of quantity in units.PROFILES, so that the header shows the profile's unit; `unit` is a
    unit that is the same in both profiles. A computed column carries its native `formula` and its Python `twin` side
    by side. In a formula `{key}` is this row's cell of that column, `[name]` a constant of the profile (see
    formulas.py), and everything else is written as it will stand in the cell. The twin takes the row (typed values
    by key, in the workbook's units) and the environment, and returns what the cell must show.
    """

    key: str
    title: str
    kind: str
    help: str = ""
    quantity: str | None = None
    unit: str | None = None
    width: float = 11
    needed: bool = False
    list: str | None = None
    looks: str = "text"
    formula: str | None = None
    twin: Callable | None = None

    def unit_name(self, profile: str) -> str | None:
        if self.quantity in ("money", "money per weight"):
            return None if self.quantity == "money" else f"per {units.profile_unit('weight', profile)}"
        if self.quantity == "temperature":
            return units.temperature_unit(profile)
        if self.quantity == "density of wood":
            return "lb/cu ft" if profile == units.US else "kg/L"
        return units.profile_unit(self.quantity, profile) if self.quantity else self.unit

    def header(self, profile: str) -> str:
        """The header cell: title and unit."""
        unit = self.unit_name(profile)
        return f"{self.title} ({unit})" if unit else self.title

    @property
    def typed(self) -> bool:
        return self.kind not in (COMPUTED, ROWKEY)

    @property
    def reads_as(self) -> str:
        """How the reader takes the column: number, date or text."""
        return self.kind if self.kind in (NUMBER, DATE) else TEXT


@dataclass(frozen=True)
class Table:
    """A table on a sheet: its key, sheet, columns and where its header stands (1-based row, 0-based column)."""

    key: str
    sheet: str
    title: str
    about: str
    columns: tuple[Column, ...]
    header_row: int = 5
    left: int = 0
    rows: int | None = None  # guarded rows; None takes the workbook's own number
    shipped: Callable | None = field(default=None, compare=False)  # profile -> list of row dicts

    def column(self, key: str) -> Column:
        for column in self.columns:
            if column.key == key:
                return column
        raise KeyError(f"{self.key} has no column {key}")

    @property
    def typed_columns(self) -> tuple[Column, ...]:
        return tuple(c for c in self.columns if c.typed)

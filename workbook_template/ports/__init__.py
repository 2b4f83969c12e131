"""Ways to a grower's workbook. Each port reads the same tables and writes the same result sheets."""
from __future__ import annotations

from typing import Protocol

from calc.raw import RawTable


class Port(Protocol):
    """What the refresh needs of a workbook, whether it is a closed file or open in a program.

    Everything is read before anything is written; only result sheets are written.
    """

    name: str  # the workbook's file name, for messages

    def marks(self) -> dict[str, str]:
        """The workbook's own constants by defined name: bb_profile (us, metric), bb_layout."""

    def tables(self, specs) -> dict[str, RawTable]:
        """The tables of layout.TableSpec by key. Raises LayoutProblem where a sheet or column is gone."""

    def named(self, prefix: str) -> dict[str, object]:
        """Values of single cells by defined name: text, float, bool, datetime, None, or Odd for an error."""

    def cells(self, sheet: str) -> dict[tuple[int, int], object]:
        """Filled cells of a sheet, (row, column), 0-based -> value as in `named`; {} where it is not there."""

    def write(self, sheets: list) -> object:
        """Write the result sheets (results.ResultSheet); returns where the earlier state is kept, or None."""

"""The comparison of a sheet that came back, from its first row to its last."""
from __future__ import annotations

from workbook_template.returned import understand
from workbook_template.taking.counts import Counts
from workbook_template.taking.movements import Movements
from workbook_template.taking.rows import Rows
from workbook_template.taking.wishes import Wishes


class Compare(Rows, Movements, Counts, Wishes):
    """The three sides, and what is to be typed at home."""

    def run(self) -> None:
        understand(self.back, self.context)
        self.found.problems += self.back.problems
        self.filled_on()
        self.columns_gone()
        lines = self.keyed(self.back.lines)
        self.rows_gone({line.key for line in lines})
        for line in lines:
            if line.block == "weeks":
                self.wish(line)
            elif self.fits(line):
                self.movements(line)
        self.counts([line for line in lines if line.block == "delivered"])

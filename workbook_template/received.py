"""What came of taking in a sheet that came back, and how it is told."""
from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from calc.problems import NOTE, Problem
from workbook_template.sent import Sent


@dataclass
class Change:
    """One thing taken over: which row of the sheet, what, before and after in words, and its money effect."""

    where: str
    what: str
    old: str
    new: str
    money: float = 0.0

    def sentence(self, currency: str) -> str:
        effect = f"  ({self.money:+,.2f} {currency}".rstrip() + ")" if abs(self.money) > 0.004 else ""
        return f"{self.where}, {self.what}: {self.old} -> {self.new}{effect}"


@dataclass
class Received:
    """What came of taking a sheet in. conflicts: both sides changed it; asked: not taken over, or taken over and asked about."""

    name: str
    sent: Sent
    unit: str
    currency: str = ""
    changes: list[Change] = field(default_factory=list)
    conflicts: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    rows: tuple[int, int] = (0, 0)  # typed rows of Sales before and after
    backup: Path | None = None
    written: bool = False
    unkept: str = ""  # why what came back could not be noted beside the workbook

    @property
    def money(self) -> float:
        return sum(change.money for change in self.changes)

    def lines(self) -> list[str]:
        """The report, one line a thing."""
        said = [f"Sheet {self.sent.send} for {self.sent.market}, from {self.name}."]
        said += [change.sentence(self.currency) for change in self.changes]
        said += [f"Both changed, home stays: {words}" for words in self.conflicts]
        said += [problem.sentence() for problem in self.problems]
        said += [self.unkept] if self.unkept else []
        asked = sum(p.level != NOTE for p in self.problems)
        counts = f"{len(self.changes)} taken over, {len(self.conflicts)} changed on both sides, {asked} to look at."
        if not self.changes:
            return [*said, f"{counts} Nothing was written: the workbook is as it was."]
        after = f" Sales had {self.rows[0]} rows, now {self.rows[1]}."
        effect = f" What {self.sent.market} owes changes by {self.money:+,.2f} {self.currency}".rstrip() + "." if abs(self.money) > 0.004 else ""
        kept = f" The workbook as it was: {self.backup.name}." if self.backup else ""
        return [*said, (counts + after + effect if self.written else f"{counts}{effect} Nothing was written yet.") + kept]

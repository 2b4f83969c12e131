"""Counts: looks at one day. Where one of a product changes on a new day, all of that product are written for that day."""
from __future__ import annotations

import datetime as dt

from calc import dates
from calc.problems import QUESTION
from workbook_template.ports.type_in import Typed
from workbook_template.received import Change
from workbook_template.returned import Line
from workbook_template.taking.sides import PRODUCTS, Sides, day_in, number_words, same, word
from workbook_template.twins import is_number, serial


class Counts(Sides):
    """What the market counted."""

    def counts(self, lines: list[Line]) -> None:
        """Counts are looks at a day: where one of a product changes on a new day, all of that product are written for that day."""
        for product in PRODUCTS:
            mine = [line for line in lines if "counted" in line.told and self._product(line) == product]
            changed = []
            for line in mine:
                told, base = line.values.get("counted"), self.base(line).get("counted")
                last = self._last_count(line)
                home = serial(last[1]["amount"]) if last and is_number(last[1].get("amount")) else None
                if same(told, base):
                    continue
                if same(home, told):
                    self.remember(line, "counted", told)
                elif not same(home, base):
                    sides = f"told {number_words(base)}, at home {number_words(home)}, now {number_words(told)} {self.unit}"
                    self.found.conflicts.append(f"{self.where(line)}, counted: {sides}")
                elif told is None:
                    self.say(line, "Counted, still here", QUESTION, "the count told before is blank now",
                             "What it told before stays; type 0 if nothing is left")
                else:
                    changed.append(line)
            for line in mine if changed else ():
                self._count(line, line in changed)

    def _product(self, line: Line) -> str:
        return self.sent.rows.get(line.key, {}).get("product") or word(line.values.get("product"))

    def _last_count(self, line: Line):
        rows = self.home[line.key, "counted"]
        return max(rows, key=lambda found: (day_in(found[1].get("date")) or dt.date.min, found[0])) if rows else None

    def _count(self, line: Line, changed: bool) -> None:
        told, last = line.values.get("counted"), self._last_count(line)
        if told is None:
            return
        old = number_words(self.base(line).get("counted"))
        same_day = last is not None and day_in(last[1].get("date")) == self.count_day() and not self.is_closed(last[1])
        if same_day:
            if changed:
                self.cells.append(Typed("sales", last[0], "amount", told))
        elif changed or last is not None:
            row = self.sale(line, "counted", told)
            row["date"] = self.count_day()
            remark = line.values.get("remark") or ""
            if remark and (self.base(line).get("remark") or "") != remark and "remark" in line.told:
                row["sale_note"] = remark
                self.remember(line, "remark", remark)
            self.sales.append(row)
        else:
            return
        self.remember(line, "counted", told)
        if changed:
            self.found.changes.append(Change(self.where(line), "counted", old, f"{told:g} {self.unit}"))
        elif not same_day:
            self.found.changes.append(Change(self.where(line), f"counted, again for {dates.words(self.count_day())}", old, f"{told:g} {self.unit}"))

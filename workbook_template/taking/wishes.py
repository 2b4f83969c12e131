"""Wishes for the coming weeks: typed under Asked on Promises."""
from __future__ import annotations

import datetime as dt

from calc import dates, offers
from calc.problems import QUESTION, quote
from workbook_template.ports.type_in import Typed
from workbook_template.received import Change
from workbook_template.returned import Line
from workbook_template.taking.sides import Sides, as_it_is, day_in, number_words, same, word
from workbook_template.twins import blank, is_number, serial


class Wishes(Sides):
    """What the market wishes for, week by week."""

    def wish(self, line: Line) -> None:
        row, told = self.sent.rows[line.key], line.values.get("wish")
        week = dt.date.fromisoformat(row["week"])
        self.base(line)
        base = self.base(line).get("wish", row.get("asked"))
        remark = line.values.get("remark") or ""
        if "wish" in line.told and told is not None and not same(told, base):
            self._asked(line, week, row["product"], told, base, remark)
        elif remark and remark != (self.base(line).get("remark") or ""):
            self._week_remark(line, week, row["product"], remark)

    def _promise(self, week: dt.date, product: str):
        """The rows of Promises of that week, market and product."""
        return [(self.first["promises"] + i, row) for i, row in enumerate(self.env.rows["promises"])
                if day_in(row.get("promise_week")) and offers.monday(day_in(row["promise_week"])) == week
                and word(row.get("promise_market")) == self.sent.market.casefold() and word(row.get("promise_product")) in ("", product)]

    def _asked(self, line: Line, week: dt.date, product: str, told: float, base, remark: str) -> None:
        there = self._promise(week, product)
        where = f"week of {dates.words(week)}"
        if len(there) > 1:
            self.say(line, "Your wish", QUESTION, f"Promises has {len(there)} rows for that week", f"Type {told:g} into the right one")
            return
        if not there:
            self.promises.append({"promise_week": week, "promise_market": self.sent.market, "promise_product": product, "asked": told,
                                  "promise_note": remark or None})
            self.remember(line, "remark", remark)
        else:
            at, row = there[0]
            home = serial(row["asked"]) if is_number(row.get("asked")) else None
            if not blank(row.get("asked")) and home is None or not same(home, base) and not same(home, told):
                self.found.conflicts.append(f"{where}, asked: told {number_words(base)}, at home {number_words(home)}, now {told:g} {self.unit}")
                return
            if not same(home, told):
                self.cells.append(Typed("promises", at, "asked", told))
            if remark and blank(row.get("promise_note")):
                self.cells.append(Typed("promises", at, "promise_note", remark))
                self.remember(line, "remark", remark)
            if same(home, told):
                self.remember(line, "wish", told)
                return
        self.remember(line, "wish", told)
        self.found.changes.append(Change(where, "asked", number_words(base), f"{told:g} {self.unit}"))

    def _week_remark(self, line: Line, week: dt.date, product: str, remark: str) -> None:
        there = self._promise(week, product)
        base = self.base(line).get("remark") or ""
        if len(there) == 1 and as_it_is(there[0][1].get("promise_note")) in ("", base):
            self.cells.append(Typed("promises", there[0][0], "promise_note", remark))
        elif not there:
            self.promises.append({"promise_week": week, "promise_market": self.sent.market, "promise_product": product, "promise_note": remark})
        else:
            self.found.conflicts.append(f"week of {dates.words(week)}, remark: at home {quote(there[0][1].get('promise_note'))}, now {quote(remark)}")
            return
        self.remember(line, "remark", remark)
        self.found.changes.append(Change(f"week of {dates.words(week)}", "remark", quote(base) if base else "none", quote(remark)))

"""Sold, returned and spoiled, the price got and the remark of a row: what the market alone changed is typed at home."""
from __future__ import annotations

import datetime as dt

from calc.problems import NOTE, QUESTION, quote
from workbook_template.market_copy import SLACK
from workbook_template.ports.type_in import Typed
from workbook_template.received import Change
from workbook_template.returned import Line
from workbook_template.taking.sides import FLOWS, TINY, Sides, as_it_is, day_in, number_words, same
from workbook_template.twins import is_number, serial


class Movements(Sides):
    """What became of a delivery, or of a line of the market's own."""

    def movements(self, line: Line) -> None:
        self._plausible(line)
        fresh_note = line.values.get("remark") if "remark" in line.told else None
        new: list[dict] = []
        for kind in FLOWS:
            if kind in line.told:
                new += self._flow(line, kind)
        self._price(line, new)
        self._remark(line, fresh_note, new)
        self.sales += new
        for row in new:
            money = self.money(row)
            amount, kind = row["amount"], row["kind"]
            before = self.sum(line.key, kind)
            at = f" at {row['price']:g}" if row.get("price") is not None else ""
            self.found.changes.append(Change(self.where(line), kind, f"{before:g}", f"{before + amount:g} {self.unit}{at}", money))

    def _plausible(self, line: Line) -> None:
        row = self.sent.rows.get(line.key, {})
        if row.get("block") != "delivered" or not is_number(row.get("weight")):
            return
        since = 0.0 if row.get("on_sheets") is None else self.told_since(line.key, row["on_sheets"])
        left = max(row["weight"] - (row.get("told") or 0.0) - since, 0.0)
        out = sum(line.values.get(k) or 0.0 for k in FLOWS)
        if out > TINY and since > TINY:
            self.say(line, None, QUESTION, f"{since:g} {self.unit} of this delivery were told on another sheet since this one was made, and "
                     f"{out:g} {self.unit} stand here: the same sale may stand on both",
                     "It was taken over as it stands; ask the market, and take back on Sales what is there twice")
        if out > left + SLACK:
            kinds = " and ".join(k for k in FLOWS if line.values.get(k))
            self.say(line, None, QUESTION, f"{kinds} are {out:g} {self.unit}, more than the {left:g} {self.unit} that were there",
                      "It was taken over as it stands; ask the market")
        if (line.values.get("counted") or 0.0) > max(left - out, 0.0) + SLACK:
            there = f"{line.values['counted']:g} {self.unit} counted, and only {max(left - out, 0.0):g} can be there"
            self.say(line, "Counted, still here", QUESTION, there, "It was taken over as it stands; ask the market")

    def _flow(self, line: Line, kind: str) -> list[dict]:
        """Three-way: new rows of Sales for what was told more, cells for what was told less."""
        told = line.values.get(kind) or 0.0
        base = self.base(line).get(kind) or 0.0
        home = self.sum(line.key, kind)
        if abs(told - base) < TINY:
            return []
        if abs(home - told) < TINY:
            self.remember(line, kind, told)
            return []
        if abs(home - base) >= TINY:
            self.found.conflicts.append(f"{self.where(line)}, {kind}: told {base:g}, at home {home:g}, now {told:g} {self.unit}")
            return []
        if told > base:
            self.remember(line, kind, told)
            return [self.sale(line, kind, round(told - base, 9))]
        self._less(line, kind, round(base - told, 9), told)
        return []

    def _less(self, line: Line, kind: str, gone: float, told: float) -> None:
        """Take a weight back from the newest rows; a closed period is not rewritten."""
        rows = sorted(self.home[line.key, kind], key=lambda found: (day_in(found[1].get("date")) or dt.date.min, found[0]), reverse=True)
        open_rows = [(at, row) for at, row in rows if not self.is_closed(row) and is_number(row.get("amount"))]
        if sum(serial(row["amount"]) for _, row in open_rows) + TINY < gone:
            self.say(line, kind, QUESTION, f"{gone:g} {self.unit} less than before, and that period is closed",
                      "It was not taken over: settle it with the market and type a line dated today")
            return
        before = self.sum(line.key, kind)
        money = 0.0
        for at, row in open_rows:
            amount = serial(row["amount"])
            part = min(amount, gone)
            if part > TINY:
                self.cells.append(Typed("sales", at, "amount", round(amount - part, 9)))
                money += self.money({**row, "amount": amount - part}) - self.money(row)
                gone = round(gone - part, 9)
        self.remember(line, kind, told)
        self.found.changes.append(Change(self.where(line), kind, f"{before:g}", f"{told:g} {self.unit}", money))

    def _price(self, line: Line, new: list[dict]) -> None:
        """The price got: on new sold rows, and on those at home whose price is still the one told before."""
        if "got" not in line.told:
            return
        told, base = line.values.get("got"), self.base(line).get("got")
        sold = [row for row in new if row["kind"] == "sold"]
        there = self.home[line.key, "sold"]
        for row in sold:
            row["price"] = told
        if same(told, base):
            return
        if told is not None and not sold and not there:
            self.say(line, "Price got", QUESTION, f"{told:g} stands beside no sold weight", "It was not taken over; ask how much was sold")
            return
        todo = [(at, row) for at, row in there if not same(row.get("price"), told)]
        if any(not same(row.get("price"), base) for _, row in todo):
            homes = ", ".join(f"{row['price']:g}" if is_number(row.get("price")) else "none" for _, row in todo)
            self.found.conflicts.append(f"{self.where(line)}, price: told {number_words(base)}, at home {homes}, now {number_words(told)}")
            return
        if any(self.is_closed(row) for _, row in todo):
            self.say(line, "Price got", QUESTION, f"{number_words(told)} in place of {number_words(base)}, and that period is closed",
                      "It was not taken over: settle it with the market and type a line dated today")
            return
        self.cells += [Typed("sales", at, "price", told) for at, _ in todo]
        self.remember(line, "got", told)
        if todo:
            money = sum(self.money({**row, "price": told}) - self.money(row) for _, row in todo)
            self.found.changes.append(Change(self.where(line), "price got", number_words(base), number_words(told), money))

    def _remark(self, line: Line, told: str | None, new: list[dict]) -> None:
        """The remark: the note of the first new row, else of the row at home that stands for this line."""
        if "remark" not in line.told:
            return
        told = told or ""
        base = self.base(line).get("remark") or ""
        if told == base:
            return
        if new:
            new[0]["sale_note"] = "; ".join(t for t in (told, new[0].get("sale_note")) if t) or None
            self.remember(line, "remark", told)
            return
        there = [found for kind in (*FLOWS, "counted") for found in self.home[line.key, kind]]
        if not there:
            there = [(self.first["sales"] + i, row) for i, row in enumerate(self.env.rows["sales"]) if line.key[:1] not in "+NWD"
                     and str(row.get("row") or "") == line.key]
        if line.values.get("counted") is not None and not there:
            return  # its counted row takes it
        if len(there) < 1:
            self.say(line, "Remark", NOTE, f"{quote(told)}", "There is no row of Sales for it: it stands only here and in the note of what came back")
            self.remember(line, "remark", told)
            return
        at, row = there[0]
        note = as_it_is(row.get("sale_note"))
        if note in ("", base):
            self.cells.append(Typed("sales", at, "sale_note", told or None))
            self.remember(line, "remark", told)
            self.found.changes.append(Change(self.where(line), "remark", quote(base) if base else "none", quote(told) if told else "none"))
        elif note == told:
            self.remember(line, "remark", told)
        else:
            self.found.conflicts.append(f"{self.where(line)}, remark: at home {quote(note)}, now {quote(told)}")

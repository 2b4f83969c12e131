"""Which row of a sheet that came back is which: by row key, doubled, added, deleted, or put together wrongly."""
from __future__ import annotations

import datetime as dt
from collections import Counter

from calc import dates
from calc.problems import NOTE, QUESTION, REFUSED, quote
from workbook_template.market_copy import BLOCKS, CELLS
from workbook_template.returned import Line, day_of
from workbook_template.taking.sides import PRODUCTS, Sides, day_in, word
from workbook_template.twins import is_number


class Rows(Sides):
    """The rows of the sheet, each with the key that it is known by at home."""

    def filled_on(self) -> None:
        given = self.back.filled_on
        if given is None:
            return
        day = day_of(given, self.context)
        if day is None or not dt.date.fromisoformat(self.sent.day) <= day <= self.today + dt.timedelta(days=1):
            shown = dates.words(day) if day else quote(given)
            self.say(None, "Filled in on", QUESTION, f"{shown} is no day between the sending and now", f"{dates.words(self.today)} was used")
            return
        self.day = day

    def columns_gone(self) -> None:
        for block, there in self.back.headings.items():
            for f in BLOCKS[block]:
                expected = f.filled and not (self.outright and f.needs == "consigned")
                if expected and f.key not in there and not any(p.column == f.title and p.code == "twice" for p in self.back.problems):
                    self.say(None, f.title, QUESTION, "this heading is gone", "Nothing was read from the column; what was told before stays")
        if "delivered" not in self.back.headings:
            self.say(None, None, QUESTION, "the headings over the deliveries are gone", "Nothing was read there; ask for the sheet as it was sent")

    def rows_gone(self, there: set[str]) -> None:
        for key, row in self.sent.rows.items():
            if key in there or key in self.doubled or (row["block"] == "spare" and not self.sent.base.get(key)):
                continue
            told = ". What it told before stays" if self.sent.base.get(key) else ""
            self.say(None, None, QUESTION, f"row {key} was deleted on the sheet", f"Nothing was read for it{told}")

    def keyed(self, lines: list[Line]) -> list[Line]:
        """Lines with their row keys; doubled keys are left out unless they say the same, lines without one get theirs."""
        counts = Counter(line.key for line in lines if line.key)
        self.doubled = {key for key, count in counts.items() if count > 1}
        kept, seen, added = [], {}, []
        for line in lines:
            known = self.sent.rows.get(line.key)
            if line.key in self.doubled:
                seen.setdefault(line.key, []).append(line)
            elif known is not None:
                line.block = known["block"] if known["block"] != "spare" else "delivered"
                kept.append(line)
            elif line.filled and line.block == "delivered" and not like_key(line.key):
                added.append(line)
            elif line.filled:
                self.say(line, "Row", REFUSED, f"{quote(line.key)} was not on this sheet" if line.key else "a row without a row key",
                          "Nothing was read from it; ask what it is")
        for key, doubles in seen.items():
            if key not in self.sent.rows:
                self.say(doubles[0], "Row", REFUSED, f"{quote(key)} was not on this sheet", "Nothing was read from it; ask what it is")
            elif all(line.values == doubles[0].values for line in doubles[1:]):
                self.say(doubles[1], "Row", NOTE, f"row key {key} is there {len(doubles)} times with the same figures", "It was read once")
                doubles[0].block = "weeks" if self.sent.rows[key]["block"] == "weeks" else "delivered"
                kept.append(doubles[0])
            else:
                rows = " and ".join(str(line.row) for line in doubles)
                self.say(doubles[0], "Row", REFUSED, f"row key {key} stands in rows {rows} with different figures",
                          "Nothing was read from them; ask which one holds")
        return kept + self._added(added)

    def _added(self, lines: list[Line]) -> list[Line]:
        """Lines that the market put at the end: the same ones keep the key that they got at an earlier return."""
        free = list(self.sent.added)
        for alike in (lambda line, old: plain(line) == old["values"], lambda line, old: identity(line) == old["identity"]):
            for line in lines:
                if not line.key.startswith("+"):
                    match = next((old for old in free if alike(line, old)), None)
                    if match:
                        line.key = match["key"]
                        free.remove(match)
        number = len(self.sent.added)
        for line in lines:
            if not line.key.startswith("+"):
                number += 1
                line.key = f"+{number}"
        for old in free:
            self.say(None, None, QUESTION, f"a line added earlier ({old['key']}) is not on the sheet any more", "What it told before stays")
        self._noted = [{"key": line.key, "values": plain(line), "identity": identity(line)} for line in lines]
        self.sent.added = sorted([*free, *self._noted], key=lambda old: int(old["key"][1:]))
        return lines

    def fits(self, line: Line) -> bool:
        """Whether the row still stands beside its own key: what the market saw of it must be what was sent."""
        row = self.sent.rows.get(line.key)
        if row is None or row["block"] != "delivered":
            return self._identified(line)
        shown = {"weight": line.cells.get("weight"), "lot": word(line.cells.get("lot")), "date": day_in(line.cells.get("when"))}
        mine = {"weight": row["weight"], "lot": word(row["lot"]), "date": dt.date.fromisoformat(row["date"])}
        odd = [k for k in mine if k in shown and told_apart(shown[k], mine[k]) and self._heads(k)]
        if not odd:
            return True
        others = [key for key, other in self.sent.rows.items() if other["block"] == "delivered" and key != line.key
                  and shown["weight"] == other["weight"] and shown["lot"] == word(other["lot"])
                  and shown["date"] == dt.date.fromisoformat(other["date"])]
        if others:
            self.say(line, "Row", REFUSED, f"row key {line.key} stands beside the delivery of {others[0]}: the sheet was sorted in part",
                      "Nothing was read from this row; ask for the sheet as it was")
            return False
        words = " and ".join({"weight": "Weight", "lot": "Lot", "date": "Delivered"}[k] for k in odd)
        self.say(line, words, NOTE, "this is not as it was sent", "It was not read back: only the boxed cells are")
        return True

    def _heads(self, key: str) -> bool:
        return {"weight": "weight", "lot": "lot", "date": "when"}[key] in self.back.headings.get("delivered", ())

    def _identified(self, line: Line) -> bool:
        """A line of the market's own: which product it is. False where it says nothing, or cannot be told."""
        base = self.sent.base.get(line.key, {})
        if not any(line.values.get(k) is not None for k in (*CELLS, "remark")) and not base:
            return False
        product = word(line.values.get("product"))
        if product == "" and base.get("product"):
            product = base["product"]
        if product == "":
            goods = {row["product"] for row in self.sent.rows.values() if row.get("product")}
            product = next(iter(goods)) if len(goods) == 1 else ""
            if product:
                self.say(line, "Product", NOTE, f"this is blank and was read as {product}")
        if product not in PRODUCTS:
            found = f"{quote(product)} is neither fresh nor dried" if product else "this is blank"
            self.say(line, "Product", REFUSED, found, "Nothing was read from this row; type it on Sales yourself", "fresh or dried")
            return False
        if base.get("product", product) != product:
            self.found.conflicts.append(f"{self.where(line)}, Product: {base['product']} was taken in before, now it says {product}")
            return False
        line.values["product"] = product
        if line.key.startswith("N") or line.key.startswith("+"):
            self.base(line)["product"] = product
        return True


def told_apart(shown, sent) -> bool:
    """Whether a cell that the market sees is another one than was sent; a weight may have lost digits on the way."""
    if is_number(shown) and is_number(sent) and not isinstance(shown, dt.date):
        return abs(shown - sent) > 1e-6 * max(1.0, abs(sent))
    return shown != sent


def like_key(key: str) -> bool:
    """Whether a text looks like a row key of ours: a letter and digits."""
    return len(key) > 2 and key[0].isalpha() and key[1:].rstrip("F").isdigit()


def plain(line: Line) -> dict:
    """What a line says, as it can be kept in a note."""
    return {key: value.isoformat() if isinstance(value, dt.date) else value for key, value in sorted(line.values.items())}


def identity(line: Line) -> list:
    return [word(line.values.get("product")), word(line.values.get("lot")), plain(line).get("when")]

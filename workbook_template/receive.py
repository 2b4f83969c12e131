"""Takes a sheet that came back from a market into the workbook: what was sent, what stands at home now, what came back.

What only the market changed is typed into Sales and Promises; what both changed is listed and the value at home stays.
The rows of Sales that came from a sheet are known by their dockets (sheet number, mark and row key), so the same sheet
taken in twice changes nothing, and a later return of it adds only what differs.
"""
from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from calc import dates, offers, units
from calc.intake_words import Context
from calc.problems import NOTE, QUESTION, REFUSED, Problem, quote
from workbook_template.diary_tables import sale_value
from workbook_template.market_copy import CELLS, SLACK
from workbook_template.partner import sent_before, yard_of
from workbook_template.ports.package import check_written
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import Guard
from workbook_template.ports.type_in import Typed, as_typed, type_into
from workbook_template.returned import Line, Returned, day_of, read_returned, understand
from workbook_template.sent import DOCKET, Sent, load_all, save
from workbook_template.twins import blank, is_number, serial

FLOWS = ("sold", "returned", "spoiled")
TINY = 1e-9
PRODUCTS = ("fresh", "dried")


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

    @property
    def money(self) -> float:
        return sum(change.money for change in self.changes)

    def lines(self) -> list[str]:
        """The report, one line a thing."""
        said = [f"Sheet {self.sent.send} for {self.sent.market}, from {self.name}."]
        said += [change.sentence(self.currency) for change in self.changes]
        said += [f"Both changed, home stays: {words}" for words in self.conflicts]
        said += [problem.sentence() for problem in self.problems]
        asked = sum(p.level != NOTE for p in self.problems)
        counts = f"{len(self.changes)} taken over, {len(self.conflicts)} changed on both sides, {asked} to look at."
        if not self.changes:
            return [*said, f"{counts} Nothing was written: the workbook is as it was."]
        after = f" Sales had {self.rows[0]} rows, now {self.rows[1]}."
        effect = f" What {self.sent.market} owes changes by {self.money:+,.2f} {self.currency}".rstrip() + "." if abs(self.money) > 0.004 else ""
        kept = f" The workbook as it was: {self.backup.name}." if self.backup else ""
        return [*said, (counts + after + effect if self.written else f"{counts}{effect} Nothing was written yet.") + kept]


def receive(path: Path, returned: Path, today: dt.date | None = None, market: str | None = None, older: bool = False, look: bool = False,
            force: bool = False) -> Received:
    """Take a returned sheet into the workbook, with a backup beside it.

    market: refuse the sheet unless it is this market's. older: take a sheet although a later one of that market came
    back already. look: say what would be done and write nothing. Raises FileProblem, LayoutProblem, SaveProblem; then
    nothing was changed.
    """
    guard = Guard(path, force=force)
    today = today or dt.date.today()
    back = read_returned(returned)
    sent = _sheet_of(guard.path, back, market)
    _in_turn(guard.path, sent, older)
    work = _Compare(guard.path, back, sent, today)
    work.run()
    found = work.found
    if work.cells or work.sales or work.promises:
        rows = {"sales": work.sales, "promises": work.promises}
        written = type_into(work.book, work.cells, {key: new for key, new in rows.items() if new}, today=today)
        found.rows = work.typed_sales, work.typed_sales + len(work.sales)
        if not look:
            found.backup = guard.save(lambda target: target.write_bytes(written.content), lambda target: check_written(target, written.parts))
            found.written = True
    if not look and (work.base_changed or found.written):
        sent.returns.append({"on": today.isoformat(), "file": back.name, "sha256": hashlib.sha256(Path(returned).read_bytes()).hexdigest(),
                             "taken": len(found.changes), "conflicts": found.conflicts, "asked": [p.sentence() for p in found.problems]})
        save(guard.path, sent)
    return found


def _sheet_of(path: Path, back: Returned, market: str | None) -> Sent:
    """The note of what was sent. Raises FileProblem in words where the sheet is not ours to take in."""
    if back.stamp is None:
        raise FileProblem(f"{back.name} carries no stamp: it is no sheet shared from a workbook, or its line Stamp was deleted. Nothing was "
                          "written. Ask for the sheet as it was sent, with the line put back.")
    mark = yard_of(path)
    if mark != back.stamp[0]:
        raise FileProblem(f"{back.name} belongs to another yard's workbook: its stamp is not that of {path.name}. Nothing was written.")
    sent = sent_before(path, back.stamp)
    if sent is None:
        raise FileProblem(f"What was sent with {back.name} is not kept in {path.stem}.sent beside the workbook. Put that folder back from where the "
                          "sheet was shared, then try again. Nothing was written.")
    for name, how in ((market, "you asked for"), (back.title, "its title names")):
        if name and name.strip().casefold() != sent.market.casefold():
            raise FileProblem(f"{back.name} was sent to {sent.market}, and {how} {name}. Nothing was written.")
    if not back.headings:
        raise FileProblem(f"{back.name}: the row of headings that begins with Row was not found. Nothing was written. Ask for the sheet as it was sent.")
    return sent


def _in_turn(path: Path, sent: Sent, older: bool) -> None:
    later = [s for s in load_all(path) if s.market.casefold() == sent.market.casefold() and s.send > sent.send and s.returns]
    if later and not older:
        raise FileProblem(f"This is sheet {sent.send} for {sent.market}, and sheet {later[-1].send} came back already: the same sales may stand on both. "
                          "Nothing was written. To take it in all the same: --older")


class _Compare:
    """The three sides, and what is to be typed at home."""

    def __init__(self, path: Path, back: Returned, sent: Sent, today: dt.date):
        self.back, self.sent, self.today = back, sent, today
        self.book = as_typed(path, today)
        self.env, self.first = self.book.env, self.book.first_row
        settings = self.env.settings
        self.unit = units.profile_unit("weight", sent.profile)
        self.context = Context(sent.profile, today, settings.get("date_order"), settings.get("comma_decimal"), str(settings.get("currency") or ""))
        self.found = Received(back.name, sent, self.unit, str(settings.get("currency") or ""))
        terms = self.env.lookup("markets", "market", sent.market)
        if terms is None:
            raise FileProblem(f"{sent.market} is no market on Lists any more. Put its row back, then try again. Nothing was written.")
        self.outright = terms.get("terms") == "bought outright"
        self.kept = 1.0 - (serial(terms["commission"]) if terms.get("terms") == "on consignment" and is_number(terms.get("commission")) else 0.0)
        self.closed = self._closed_to()
        self.cells: list[Typed] = []
        self.sales: list[dict] = []
        self.promises: list[dict] = []
        self.base_changed = False
        self.home = self._home()
        self.typed_sales = sum(any(not blank(v) for k, v in row.items() if k != "row") for row in self.env.rows["sales"])
        self.day = today

    def _closed_to(self) -> dt.date | None:
        """The day up to which this market's account is closed."""
        days = [_day(row.get("closed_to")) for row in self.env.rows.get("closings") or ()
                if str(row.get("close_market") or "").strip().casefold() == self.sent.market.casefold()]
        return max((d for d in days if d), default=None)

    def _home(self) -> dict[tuple[str, str], list[tuple[int, dict]]]:
        """(row key, kind) -> rows of Sales that came from this sheet, as (sheet row, row)."""
        found = defaultdict(list)
        mark = self.sent.docket("").strip()
        for i, row in enumerate(self.env.rows["sales"]):
            docket = DOCKET.match(str(row.get("docket") or ""))
            if docket and f"{docket[1]}-{docket[2]}" == mark and str(row.get("market") or "").strip().casefold() == self.sent.market.casefold():
                found[docket[3], str(row.get("kind") or "").strip().casefold()].append((self.first["sales"] + i, row))
        return found

    # ---- the whole sheet -------------------------------------------------------------------------------------------

    def run(self) -> None:
        understand(self.back, self.context)
        self.found.problems += self.back.problems
        self._filled_on()
        self._columns_gone()
        lines = self._keyed(self.back.lines)
        self._rows_gone({line.key for line in lines})
        for line in lines:
            if line.block == "weeks":
                self._wish(line)
            elif self._fits(line):
                self._movements(line)
        self._counts([line for line in lines if line.block == "delivered"])

    def _say(self, line: Line | None, column: str | None, level: str, found: str, do: str = "", needed: str = "") -> None:
        self.found.problems.append(Problem(line.sheet if line else self.back.name, line.row if line else None, column, level, found, needed, do, "received"))

    def _filled_on(self) -> None:
        given = self.back.filled_on
        if given is None:
            return
        day = day_of(given, self.context)
        if day is None or not dt.date.fromisoformat(self.sent.day) <= day <= self.today + dt.timedelta(days=1):
            shown = dates.words(day) if day else quote(given)
            self._say(None, "Filled in on", QUESTION, f"{shown} is no day between the sending and now", f"{dates.words(self.today)} was used")
            return
        self.day = day

    def _columns_gone(self) -> None:
        from workbook_template.market_copy import BLOCKS
        for block, there in self.back.headings.items():
            for f in BLOCKS[block]:
                expected = f.filled and not (self.outright and f.needs == "consigned")
                if expected and f.key not in there and not any(p.column == f.title and p.code == "twice" for p in self.back.problems):
                    self._say(None, f.title, QUESTION, "this heading is gone", "Nothing was read from the column; what was told before stays")
        if "delivered" not in self.back.headings:
            self._say(None, None, QUESTION, "the headings over the deliveries are gone", "Nothing was read there; ask for the sheet as it was sent")

    def _rows_gone(self, there: set[str]) -> None:
        for key, row in self.sent.rows.items():
            if key in there or key in self._doubled or (row["block"] == "spare" and not self.sent.base.get(key)):
                continue
            told = " What it told before stays" if self.sent.base.get(key) else ""
            self._say(None, None, QUESTION, f"row {key} was deleted on the sheet", f"Nothing was read for it.{told}" if told else "Nothing was read for it")

    def _keyed(self, lines: list[Line]) -> list[Line]:
        """Lines with their row keys; doubled keys are left out unless they say the same, lines without one get theirs."""
        counts = Counter(line.key for line in lines if line.key)
        self._doubled = {key for key, count in counts.items() if count > 1}
        kept, seen, added = [], {}, []
        for line in lines:
            known = self.sent.rows.get(line.key)
            if line.key in self._doubled:
                seen.setdefault(line.key, []).append(line)
            elif known is not None:
                line.block = known["block"] if known["block"] != "spare" else "delivered"
                kept.append(line)
            elif line.filled and line.block == "delivered" and not _like_key(line.key):
                added.append(line)
            elif line.filled:
                self._say(line, "Row", REFUSED, f"{quote(line.key)} was not on this sheet" if line.key else "a row without a row key",
                          "Nothing was read from it; ask what it is")
        for key, doubles in seen.items():
            if key not in self.sent.rows:
                self._say(doubles[0], "Row", REFUSED, f"{quote(key)} was not on this sheet", "Nothing was read from it; ask what it is")
            elif all(line.values == doubles[0].values for line in doubles[1:]):
                self._say(doubles[1], "Row", NOTE, f"row key {key} is there {len(doubles)} times with the same figures", "It was read once")
                doubles[0].block = "weeks" if self.sent.rows[key]["block"] == "weeks" else "delivered"
                kept.append(doubles[0])
            else:
                rows = " and ".join(str(line.row) for line in doubles)
                self._say(doubles[0], "Row", REFUSED, f"row key {key} stands in rows {rows} with different figures",
                          "Nothing was read from them; ask which one holds")
        return kept + self._added(added)

    def _added(self, lines: list[Line]) -> list[Line]:
        """Lines that the market put at the end: the same ones keep the key that they got at an earlier return."""
        free = list(self.sent.added)
        for alike in (lambda line, old: _plain(line) == old["values"], lambda line, old: _identity(line) == old["identity"]):
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
            self._say(None, None, QUESTION, f"a line added earlier ({old['key']}) is not on the sheet any more", "What it told before stays")
        self._noted = [{"key": line.key, "values": _plain(line), "identity": _identity(line)} for line in lines]
        self.sent.added = sorted([*free, *self._noted], key=lambda old: int(old["key"][1:]))
        return lines

    # ---- deliveries ------------------------------------------------------------------------------------------------

    def _fits(self, line: Line) -> bool:
        """Whether the row still stands beside its own key: what the market saw of it must be what was sent."""
        row = self.sent.rows.get(line.key)
        if row is None or row["block"] != "delivered":
            return self._identified(line)
        shown = {"weight": line.cells.get("weight"), "lot": _word(line.cells.get("lot")), "date": _day(line.cells.get("when"))}
        mine = {"weight": row["weight"], "lot": _word(row["lot"]), "date": dt.date.fromisoformat(row["date"])}
        odd = [k for k in mine if k in shown and _told_apart(shown[k], mine[k]) and self._heads(k)]
        if not odd:
            return True
        others = [key for key, other in self.sent.rows.items() if other["block"] == "delivered" and key != line.key
                  and shown["weight"] == other["weight"] and shown["lot"] == _word(other["lot"])
                  and shown["date"] == dt.date.fromisoformat(other["date"])]
        if others:
            self._say(line, "Row", REFUSED, f"row key {line.key} stands beside the delivery of {others[0]}: the sheet was sorted in part",
                      "Nothing was read from this row; ask for the sheet as it was")
            return False
        words = " and ".join({"weight": "Weight", "lot": "Lot", "date": "Delivered"}[k] for k in odd)
        self._say(line, words, NOTE, "this is not as it was sent", "It was not read back: only the boxed cells are")
        return True

    def _heads(self, key: str) -> bool:
        return {"weight": "weight", "lot": "lot", "date": "when"}[key] in self.back.headings.get("delivered", ())

    def _identified(self, line: Line) -> bool:
        """A line of the market's own: which product it is. False where it says nothing, or cannot be told."""
        base = self.sent.base.get(line.key, {})
        if not any(line.values.get(k) is not None for k in (*CELLS, "remark")) and not base:
            return False
        word = _word(line.values.get("product"))
        if word == "" and base.get("product"):
            word = base["product"]
        if word == "":
            goods = {row["product"] for row in self.sent.rows.values() if row.get("product")}
            word = next(iter(goods)) if len(goods) == 1 else ""
            if word:
                self._say(line, "Product", NOTE, f"this is blank and was read as {word}")
        if word not in PRODUCTS:
            found = f"{quote(word)} is neither fresh nor dried" if word else "this is blank"
            self._say(line, "Product", REFUSED, found, "Nothing was read from this row; type it on Sales yourself", "fresh or dried")
            return False
        if base.get("product", word) != word:
            self.found.conflicts.append(f"{self._where(line)}, Product: {base['product']} was taken in before, now it says {word}")
            return False
        line.values["product"] = word
        if line.key.startswith("N") or line.key.startswith("+"):
            self._base(line)["product"] = word
        return True

    def _where(self, line: Line) -> str:
        row = self.sent.rows.get(line.key, {})
        product = row.get("product") or line.values.get("product") or ""
        lot = row.get("lot") or line.values.get("lot") or ""
        name = "a line of the market's own" if line.key[:1] in "+N" else line.key
        return " ".join(t for t in (name, str(product), f"lot {lot}" if lot else "") if t)

    def _base(self, line: Line) -> dict:
        return self.sent.base.setdefault(line.key, {})

    def _remember(self, line: Line, key: str, value) -> None:
        if self._base(line).get(key) != value:
            self._base(line)[key] = value
            self.base_changed = True

    def _movements(self, line: Line) -> None:
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
            money = self._money(row)
            amount, kind = row["amount"], row["kind"]
            before = self._sum(line.key, kind)
            at = f" at {row['price']:g}" if row.get("price") is not None else ""
            self.found.changes.append(Change(self._where(line), kind, f"{before:g}", f"{before + amount:g} {self.unit}{at}", money))

    def _plausible(self, line: Line) -> None:
        row = self.sent.rows.get(line.key, {})
        if row.get("block") != "delivered" or not is_number(row.get("weight")):
            return
        left = row["weight"] - (row.get("told") or 0.0)
        out = sum(line.values.get(k) or 0.0 for k in FLOWS)
        if out > left + SLACK:
            kinds = " and ".join(k for k in FLOWS if line.values.get(k))
            self._say(line, None, QUESTION, f"{kinds} are {out:g} {self.unit}, more than the {left:g} {self.unit} that were there",
                      "It was taken over as it stands; ask the market")
        if (line.values.get("counted") or 0.0) > max(left - out, 0.0) + SLACK:
            self._say(line, "Counted, still here", QUESTION, f"{line.values['counted']:g} {self.unit} counted, and only {max(left - out, 0.0):g} can be there",
                      "It was taken over as it stands; ask the market")

    def _sum(self, key: str, kind: str) -> float:
        return round(sum(serial(row["amount"]) for _, row in self.home[key, kind] if is_number(row.get("amount"))), 9)

    def _flow(self, line: Line, kind: str) -> list[dict]:
        """Three-way: new rows of Sales for what was told more, cells for what was told less."""
        told = line.values.get(kind) or 0.0
        base = self._base(line).get(kind) or 0.0
        home = self._sum(line.key, kind)
        if abs(told - base) < TINY:
            return []
        if abs(home - told) < TINY:
            self._remember(line, kind, told)
            return []
        if abs(home - base) >= TINY:
            self.found.conflicts.append(f"{self._where(line)}, {kind}: told {base:g}, at home {home:g}, now {told:g} {self.unit}")
            return []
        if told > base:
            self._remember(line, kind, told)
            return [self._sale(line, kind, round(told - base, 9))]
        self._less(line, kind, round(base - told, 9), told)
        return []

    def _less(self, line: Line, kind: str, gone: float, told: float) -> None:
        """Take a weight back from the newest rows; a closed period is not rewritten."""
        rows = sorted(self.home[line.key, kind], key=lambda found: (_day(found[1].get("date")) or dt.date.min, found[0]), reverse=True)
        open_rows = [(at, row) for at, row in rows if not self._is_closed(row) and is_number(row.get("amount"))]
        if sum(serial(row["amount"]) for _, row in open_rows) + TINY < gone:
            self._say(line, kind, QUESTION, f"{gone:g} {self.unit} less than before, and that period is closed",
                      "It was not taken over: settle it with the market and type a line dated today")
            return
        before = self._sum(line.key, kind)
        money = 0.0
        for at, row in open_rows:
            amount = serial(row["amount"])
            part = min(amount, gone)
            if part > TINY:
                self.cells.append(Typed("sales", at, "amount", round(amount - part, 9)))
                money += self._money({**row, "amount": amount - part}) - self._money(row)
                gone = round(gone - part, 9)
        self._remember(line, kind, told)
        self.found.changes.append(Change(self._where(line), kind, f"{before:g}", f"{told:g} {self.unit}", money))

    def _is_closed(self, row: dict) -> bool:
        day = _day(row.get("date"))
        return bool(self.closed and day and day <= self.closed)

    def _sale(self, line: Line, kind: str, amount: float) -> dict:
        """A new row of Sales. In a closed period it is dated today."""
        row = self.sent.rows.get(line.key, {})
        day = line.values.get("when") if row.get("block") != "delivered" and line.values.get("when") else self.day
        note = None
        if self.closed and day <= self.closed:
            note = f"belongs to {dates.words(day)}, a closed period"
            day = self.today
        if not isinstance(day, dt.date) or day > self.today + dt.timedelta(days=1):
            self._say(line, "Delivered", QUESTION, f"{dates.words(day)} is after {dates.words(self.today)}", f"{dates.words(self.day)} was used")
            day = self.day
        return {"date": day, "market": self.sent.market, "kind": kind, "product": row.get("product") or line.values.get("product"), "amount": amount,
                "grade": row.get("grade") or line.values.get("grade") or None, "lot": row.get("lot") or line.values.get("lot") or None,
                "docket": self.sent.docket(line.key), "sale_note": note}

    def _price(self, line: Line, new: list[dict]) -> None:
        """The price got: on new sold rows, and on those at home whose price is still the one told before."""
        if "got" not in line.told:
            return
        told, base = line.values.get("got"), self._base(line).get("got")
        sold = [row for row in new if row["kind"] == "sold"]
        there = self.home[line.key, "sold"]
        for row in sold:
            row["price"] = told
        if _same(told, base):
            return
        if told is not None and not sold and not there:
            self._say(line, "Price got", QUESTION, f"{told:g} stands beside no sold weight", "It was not taken over; ask how much was sold")
            return
        todo = [(at, row) for at, row in there if not _same(row.get("price"), told)]
        if any(not _same(row.get("price"), base) for _, row in todo):
            homes = ", ".join(f"{row['price']:g}" if is_number(row.get("price")) else "none" for _, row in todo)
            self.found.conflicts.append(f"{self._where(line)}, price: told {_shown(base)}, at home {homes}, now {_shown(told)}")
            return
        if any(self._is_closed(row) for _, row in todo):
            self._say(line, "Price got", QUESTION, f"{_shown(told)} in place of {_shown(base)}, and that period is closed",
                      "It was not taken over: settle it with the market and type a line dated today")
            return
        self.cells += [Typed("sales", at, "price", told) for at, _ in todo]
        self._remember(line, "got", told)
        if todo:
            money = sum(self._money({**row, "price": told}) - self._money(row) for _, row in todo)
            self.found.changes.append(Change(self._where(line), "price got", _shown(base), _shown(told), money))

    def _remark(self, line: Line, told: str | None, new: list[dict]) -> None:
        """The remark: the note of the first new row, else of the row at home that stands for this line."""
        if "remark" not in line.told:
            return
        told = told or ""
        base = self._base(line).get("remark") or ""
        if told == base:
            return
        if new:
            new[0]["sale_note"] = "; ".join(t for t in (told, new[0].get("sale_note")) if t) or None
            self._remember(line, "remark", told)
            return
        there = [found for kind in (*FLOWS, "counted") for found in self.home[line.key, kind]]
        if not there:
            there = [(self.first["sales"] + i, row) for i, row in enumerate(self.env.rows["sales"]) if line.key[:1] not in "+NWD"
                     and str(row.get("row") or "") == line.key]
        if line.values.get("counted") is not None and not there:
            return  # its counted row takes it
        if len(there) < 1:
            self._say(line, "Remark", NOTE, f"{quote(told)}", "There is no row of Sales for it: it stands only here and in the note of what came back")
            self._remember(line, "remark", told)
            return
        at, row = there[0]
        note = _word_as_is(row.get("sale_note"))
        if note in ("", base):
            self.cells.append(Typed("sales", at, "sale_note", told or None))
            self._remember(line, "remark", told)
            self.found.changes.append(Change(self._where(line), "remark", quote(base) if base else "none", quote(told) if told else "none"))
        elif note == told:
            self._remember(line, "remark", told)
        else:
            self.found.conflicts.append(f"{self._where(line)}, remark: at home {quote(note)}, now {quote(told)}")

    def _counts(self, lines: list[Line]) -> None:
        """Counts are looks at a day: where one of a product changes on a new day, all of that product are written for that day."""
        for product in PRODUCTS:
            mine = [line for line in lines if "counted" in line.told and self._product(line) == product]
            changed = []
            for line in mine:
                told, base = line.values.get("counted"), self._base(line).get("counted")
                last = self._last_count(line)
                home = serial(last[1]["amount"]) if last and is_number(last[1].get("amount")) else None
                if _same(told, base):
                    continue
                if _same(home, told):
                    self._remember(line, "counted", told)
                elif not _same(home, base):
                    self.found.conflicts.append(f"{self._where(line)}, counted: told {_shown(base)}, at home {_shown(home)}, now {_shown(told)} {self.unit}")
                elif told is None:
                    self._say(line, "Counted, still here", QUESTION, "the count told before is blank now", "What it told before stays; type 0 if nothing is left")
                else:
                    changed.append(line)
            for line in mine if changed else ():
                self._count(line, line in changed)

    def _product(self, line: Line) -> str:
        return self.sent.rows.get(line.key, {}).get("product") or _word(line.values.get("product"))

    def _last_count(self, line: Line):
        rows = self.home[line.key, "counted"]
        return max(rows, key=lambda found: (_day(found[1].get("date")) or dt.date.min, found[0])) if rows else None

    def _count(self, line: Line, changed: bool) -> None:
        told, last = line.values.get("counted"), self._last_count(line)
        if told is None:
            return
        old = _shown(self._base(line).get("counted"))
        same_day = last is not None and _day(last[1].get("date")) == self._count_day() and not self._is_closed(last[1])
        if same_day:
            if changed:
                self.cells.append(Typed("sales", last[0], "amount", told))
        elif changed or last is not None:
            row = self._sale(line, "counted", told)
            row["date"] = self._count_day()
            remark = line.values.get("remark") or ""
            if remark and (self._base(line).get("remark") or "") != remark and "remark" in line.told:
                row["sale_note"] = remark
                self._remember(line, "remark", remark)
            self.sales.append(row)
        else:
            return
        self._remember(line, "counted", told)
        if changed:
            self.found.changes.append(Change(self._where(line), "counted", old, f"{told:g} {self.unit}"))
        elif not same_day:
            self.found.changes.append(Change(self._where(line), f"counted, again for {dates.words(self._count_day())}", old, f"{told:g} {self.unit}"))

    def _count_day(self) -> dt.date:
        return self.today if self.closed and self.day <= self.closed else self.day

    def _money(self, row: dict) -> float:
        """What a row of Sales makes the market owe, commission taken off."""
        value = sale_value(row, self.env)
        return 0.0 if value == "" else value * self.kept

    # ---- wishes ----------------------------------------------------------------------------------------------------

    def _wish(self, line: Line) -> None:
        row, told = self.sent.rows[line.key], line.values.get("wish")
        week = dt.date.fromisoformat(row["week"])
        self._base(line)
        base = self._base(line).get("wish", row.get("asked"))
        remark = line.values.get("remark") or ""
        if "wish" in line.told and told is not None and not _same(told, base):
            self._asked(line, week, row["product"], told, base, remark)
        elif remark and remark != (self._base(line).get("remark") or ""):
            self._week_remark(line, week, row["product"], remark)

    def _promise(self, week: dt.date, product: str):
        """The rows of Promises of that week, market and product."""
        return [(self.first["promises"] + i, row) for i, row in enumerate(self.env.rows["promises"])
                if _day(row.get("promise_week")) and offers.monday(_day(row["promise_week"])) == week
                and _word(row.get("promise_market")) == self.sent.market.casefold() and _word(row.get("promise_product")) in ("", product)]

    def _asked(self, line: Line, week: dt.date, product: str, told: float, base, remark: str) -> None:
        there = self._promise(week, product)
        where = f"week of {dates.words(week)}"
        if len(there) > 1:
            self._say(line, "Your wish", QUESTION, f"Promises has {len(there)} rows for that week", f"Type {told:g} into the right one")
            return
        if not there:
            self.promises.append({"promise_week": week, "promise_market": self.sent.market, "promise_product": product, "asked": told,
                                  "promise_note": remark or None})
            self._remember(line, "remark", remark)
        else:
            at, row = there[0]
            home = serial(row["asked"]) if is_number(row.get("asked")) else None
            if not blank(row.get("asked")) and home is None or not _same(home, base) and not _same(home, told):
                self.found.conflicts.append(f"{where}, asked: told {_shown(base)}, at home {_shown(home)}, now {told:g} {self.unit}")
                return
            if not _same(home, told):
                self.cells.append(Typed("promises", at, "asked", told))
            if remark and blank(row.get("promise_note")):
                self.cells.append(Typed("promises", at, "promise_note", remark))
                self._remember(line, "remark", remark)
            if _same(home, told):
                self._remember(line, "wish", told)
                return
        self._remember(line, "wish", told)
        self.found.changes.append(Change(where, "asked", _shown(base), f"{told:g} {self.unit}"))

    def _week_remark(self, line: Line, week: dt.date, product: str, remark: str) -> None:
        there = self._promise(week, product)
        base = self._base(line).get("remark") or ""
        if len(there) == 1 and _word_as_is(there[0][1].get("promise_note")) in ("", base):
            self.cells.append(Typed("promises", there[0][0], "promise_note", remark))
        elif not there:
            self.promises.append({"promise_week": week, "promise_market": self.sent.market, "promise_product": product, "promise_note": remark})
        else:
            self.found.conflicts.append(f"week of {dates.words(week)}, remark: at home {quote(there[0][1].get('promise_note'))}, now {quote(remark)}")
            return
        self._remember(line, "remark", remark)
        self.found.changes.append(Change(f"week of {dates.words(week)}", "remark", quote(base) if base else "none", quote(remark)))


# ---- small things --------------------------------------------------------------------------------------------------

def _day(value) -> dt.date | None:
    return value.date() if isinstance(value, dt.datetime) else value if isinstance(value, dt.date) else None


def _word(value) -> str:
    return "" if value is None else str(value).strip().casefold()


def _word_as_is(value) -> str:
    return "" if value is None else str(value).strip()


def _told_apart(shown, sent) -> bool:
    """Whether a cell that the market sees is another one than was sent; a weight may have lost digits on the way."""
    if is_number(shown) and is_number(sent) and not isinstance(shown, dt.date):
        return abs(shown - sent) > 1e-6 * max(1.0, abs(sent))
    return shown != sent


def _same(a, b) -> bool:
    if a is None or b is None or a == "" or b == "":
        return (a is None or a == "") and (b is None or b == "")
    return abs(serial(a) - serial(b)) < TINY if is_number(a) and is_number(b) else a == b


def _shown(value) -> str:
    return f"{value:g}" if is_number(value) else "nothing"


def _like_key(key: str) -> bool:
    """Whether a text looks like a row key of ours: a letter and digits."""
    return len(key) > 2 and key[0].isalpha() and key[1:].rstrip("F").isdigit()


def _plain(line: Line) -> dict:
    """What a line says, as it can be kept in a note."""
    return {key: value.isoformat() if isinstance(value, dt.date) else value for key, value in sorted(line.values.items())}


def _identity(line: Line) -> list:
    return [_word(line.values.get("product")), _word(line.values.get("lot")), _plain(line).get("when")]

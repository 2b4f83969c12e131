"""The three sides of a sheet that came back: what was sent, what stands at home, what came back; and what is to be typed."""
from __future__ import annotations

import datetime as dt
from collections import defaultdict
from pathlib import Path

from calc import dates, units
from calc.intake_words import Context
from calc.problems import QUESTION, Problem
from workbook_template.diary_tables import sale_value
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.type_in import Typed, as_typed
from workbook_template.received import Received
from workbook_template.returned import Line, Returned
from workbook_template.sent import DOCKET, Sent
from workbook_template.twins import blank, is_number, serial

FLOWS = ("sold", "returned", "spoiled")
PRODUCTS = ("fresh", "dried")
TINY = 1e-9


class Sides:
    """What is known of the three sides. cells, sales, promises: what is to be typed at home."""

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
        days = [day_in(row.get("closed_to")) for row in self.env.rows.get("closings") or ()
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

    def told_since(self, key: str, before: float) -> float:
        """Weight that other sheets told of a delivery since this sheet was made. before: what they had told then."""
        mark = self.sent.docket("").strip()
        others = 0.0
        for row in self.env.rows["sales"]:
            docket = DOCKET.match(str(row.get("docket") or ""))
            if docket and docket[3] == key and f"{docket[1]}-{docket[2]}" != mark and word(row.get("kind")) in FLOWS \
                    and word(row.get("market")) == self.sent.market.casefold() and is_number(row.get("amount")):
                others += serial(row["amount"])
        return round(max(others - before, 0.0), 9)

    def say(self, line: Line | None, column: str | None, level: str, found: str, do: str = "", needed: str = "") -> None:
        sheet, row = (line.sheet, line.row) if line else (self.back.name, None)
        self.found.problems.append(Problem(sheet, row, column, level, found, needed, do, "received"))

    def where(self, line: Line) -> str:
        row = self.sent.rows.get(line.key, {})
        product = row.get("product") or line.values.get("product") or ""
        lot = row.get("lot") or line.values.get("lot") or ""
        name = "a line of the market's own" if line.key[:1] in "+N" else line.key
        return " ".join(t for t in (name, str(product), f"lot {lot}" if lot else "") if t)

    def base(self, line: Line) -> dict:
        return self.sent.base.setdefault(line.key, {})

    def remember(self, line: Line, key: str, value) -> None:
        if self.base(line).get(key) != value:
            self.base(line)[key] = value
            self.base_changed = True

    def sum(self, key: str, kind: str) -> float:
        return round(sum(serial(row["amount"]) for _, row in self.home[key, kind] if is_number(row.get("amount"))), 9)

    def is_closed(self, row: dict) -> bool:
        day = day_in(row.get("date"))
        return bool(self.closed and day and day <= self.closed)

    def sale(self, line: Line, kind: str, amount: float) -> dict:
        """A new row of Sales. In a closed period it is dated today."""
        row = self.sent.rows.get(line.key, {})
        day = line.values.get("when") if row.get("block") != "delivered" and line.values.get("when") else self.day
        note = None
        if self.closed and day <= self.closed:
            note = f"belongs to {dates.words(day)}, a closed period"
            day = self.today
        if not isinstance(day, dt.date) or day > self.today + dt.timedelta(days=1):
            self.say(line, "Delivered", QUESTION, f"{dates.words(day)} is after {dates.words(self.today)}", f"{dates.words(self.day)} was used")
            day = self.day
        return {"date": day, "market": self.sent.market, "kind": kind, "product": row.get("product") or line.values.get("product"), "amount": amount,
                "grade": row.get("grade") or line.values.get("grade") or None, "lot": row.get("lot") or line.values.get("lot") or None,
                "docket": self.sent.docket(line.key), "sale_note": note}

    def money(self, row: dict) -> float:
        """What a row of Sales makes the market owe, commission taken off."""
        value = sale_value(row, self.env)
        return 0.0 if value == "" else value * self.kept

    def count_day(self) -> dt.date:
        return self.today if self.closed and self.day <= self.closed else self.day


def day_in(value) -> dt.date | None:
    return value.date() if isinstance(value, dt.datetime) else value if isinstance(value, dt.date) else None


def word(value) -> str:
    return "" if value is None else str(value).strip().casefold()


def as_it_is(value) -> str:
    return "" if value is None else str(value).strip()


def same(a, b) -> bool:
    if a is None or b is None or a == "" or b == "":
        return (a is None or a == "") and (b is None or b == "")
    return abs(serial(a) - serial(b)) < TINY if is_number(a) and is_number(b) else a == b


def number_words(value) -> str:
    return f"{value:g}" if is_number(value) else "nothing"

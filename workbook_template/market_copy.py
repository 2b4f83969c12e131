"""The sheet a market gets: drawn new from what it may see, one page, native formulas with true values.

Three blocks under one another, each under a row of headings that begins with Row: what is promised by week, lots on
hand, deliveries with the columns that the market fills. A copy that comes back is read by those headings and by the
row keys, wherever they stand then (workbook_template.returned).
"""
from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass, field
from pathlib import Path

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

from calc import units
from workbook_template import cautions
from workbook_template.looks import Looks
from workbook_template.twins import blank, is_number, serial

SHEET = "Market sheet"
STAMP_WORD, FILLED_WORD = "Stamp", "Filled in on"
SPARE_LINES = 6
SLACK = 0.005  # of a unit of weight: less than what the sheet shows


@dataclass(frozen=True)
class Field:
    """A column of a block. kind: text, weight, money or date; filled: the market types here; formula, twin: worked out."""

    key: str
    title: str
    kind: str = "text"
    filled: bool = False
    formula: str = ""
    twin: object = None
    needs: str = ""  # "prices": only where prices are shown; "consigned": not where the market buys outright


def still_there(row: dict):
    """What is not told yet of a delivery: its weight less what was told before and what is filled in."""
    if not is_number(row.get("weight")):
        return ""
    return serial(row["weight"]) - sum(serial(row[k]) for k in ("told", "sold", "returned", "spoiled") if is_number(row.get(k)))


def check(row: dict):
    """What a line still needs, in words."""
    filled = [row.get(k) for k in ("sold", "got", "returned", "spoiled", "counted")]
    if any(not blank(v) and not is_number(v) for v in filled):
        return "a plain number, please"
    if any(is_number(v) and serial(v) < 0 for v in filled):
        return "below 0?"
    if is_number(row.get("weight")) and still_there(row) < -SLACK:
        return "more than delivered"
    return "sold how much?" if not blank(row.get("got")) and blank(row.get("sold")) else ""


STILL_THERE = 'IF(ISNUMBER({weight}),{weight}-N({told})-N({sold})-N({returned})-N({spoiled}),"")'
CELLS = ("sold", "got", "returned", "spoiled", "counted")
GAPS = tuple(Field(f"gap{i}", "", needs="consigned") for i in range(4))
WEEKS = (
    Field("row", "Row"), Field("when", "Week of", "date"), Field("product", "Product"), Field("weight", "Promised to you", "weight"),
    Field("price", "Price", "money", needs="prices"), Field("more", "We can promise more", "weight"), Field("words", "Beyond that"),
    Field("gap4", ""), Field("gap5", "", needs="consigned"), Field("wish", "Your wish", "weight", True), *GAPS,
    Field("remark", "Remark", filled=True),
)
LOTS = (
    Field("row", "Row"), Field("when", "Picked or dried", "date"), Field("product", "Product"), Field("weight", "On hand", "weight"),
    Field("grade", "Grade"), Field("lot", "Lot"), Field("use_by", "Use by"), Field("gap4", ""), Field("gap5", ""),
    Field("wet", "To note"),
)
DELIVERED = (
    Field("row", "Row"), Field("when", "Delivered", "date"), Field("product", "Product"), Field("weight", "Weight", "weight"),
    Field("price", "Price", "money", needs="prices"), Field("told", "Told before", "weight", needs="consigned"),
    Field("grade", "Grade"), Field("lot", "Lot"), Field("docket", "Docket"), Field("sold", "Sold", "weight", True, needs="consigned"),
    Field("got", "Price got", "money", True, needs="consigned"), Field("returned", "Returned", "weight", True),
    Field("spoiled", "Spoiled", "weight", True, needs="consigned"), Field("counted", "Counted, still here", "weight", True, needs="consigned"),
    Field("remark", "Remark", filled=True), Field("left", "Not told yet", "weight", formula=STILL_THERE, twin=still_there, needs="consigned"),
    Field("check", "Check", twin=check),
)
BLOCKS = {"weeks": WEEKS, "lots": LOTS, "delivered": DELIVERED}
SPARE_FILLED = ("when", "product", "grade", "lot")  # on a spare line the market types these too
WIDTHS = {"row": 8, "when": 12, "product": 8, "weight": 10, "price": 8, "told": 10, "grade": 7, "lot": 9, "docket": 8, "sold": 8, "got": 8,
          "returned": 9, "spoiled": 8, "counted": 9, "remark": 24, "left": 9, "check": 18}
LOOK = {"text": "text", "weight": "two", "money": "money", "date": "date"}


@dataclass
class Offer:
    """What one market may see, in the workbook's units. Rows are dicts by the fields' keys; `row` is the row key."""

    market: str
    profile: str
    day: dt.date
    send: int
    stamp: str
    name: str = ""
    contact: str = ""
    currency: str = ""
    prices: bool = True
    show_lots: bool = True
    outright: bool = False
    chance: float = 0.8
    weeks: list[dict] = field(default_factory=list)
    lots: list[dict] = field(default_factory=list)
    delivered: list[dict] = field(default_factory=list)
    spare: list[dict] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def unit(self) -> str:
        return units.profile_unit("weight", self.profile)

    def fields(self, block: str) -> tuple[Field, ...]:
        """The columns of a block for this market."""
        return tuple(f for f in BLOCKS[block] if not (f.needs == "prices" and not self.prices) and not (f.needs == "consigned" and self.outright))

    def title(self, f: Field) -> str:
        """The heading with its unit; blank for a column that only keeps its place."""
        unit = {"weight": self.unit, "money": f"per {self.unit}"}.get(f.kind)
        return f"{f.title} ({unit})" if f.title and unit else f.title


def check_formula(cells: dict[str, str], has: set[str]) -> str:
    """The native formula of Check, over the columns that this market fills. cells: key -> address."""
    filled = [cells[k] for k in CELLS if k in has]
    text = ",".join(f"ISTEXT({c})" for c in filled)
    below = ",".join(f"N({c})<0" for c in filled)
    over = " ".join(("N({weight})-N({told})", *(f"-N({{{k}}})" for k in ("sold", "returned", "spoiled") if k in has))).replace(" ", "")
    asks = 'IF(AND({got}<>"",{sold}=""),"sold how much?","")' if "got" in has else '""'
    formula = (f'IF(OR({text}),"a plain number, please",IF(OR({below}),"below 0?",'
               f'IF(AND(ISNUMBER({{weight}}),{over}<-{SLACK}),"more than delivered",{asks})))')
    return fill(formula, cells)


def fill(template: str, cells: dict[str, str]) -> str:
    for key, cell in cells.items():
        template = template.replace("{" + key + "}", cell)
    return template


def draw(path: Path | str, offer: Offer) -> None:
    """Write the copy to a new file."""
    made = io.BytesIO()  # written to the disk at once: a library that fails half way leaves nothing open
    book = xlsxwriter.Workbook(made, {"strings_to_numbers": False, "strings_to_formulas": False, "strings_to_urls": False,
                                     "in_memory": True})
    book.set_properties({"title": SHEET, "created": dt.datetime.combine(offer.day, dt.time())})
    book.set_calc_mode("auto")
    sheet, looks = book.add_worksheet(SHEET), Looks(book)
    sheet.hide_gridlines(2)
    last = len(offer.fields("delivered")) - 1
    for at, f in enumerate(offer.fields("delivered")):
        sheet.set_column(at, at, WIDTHS[f.key])
    row = _heading(sheet, looks, offer, last)
    row = _block(book, sheet, looks, offer, "weeks", "What we can promise", offer.weeks, row)
    if offer.show_lots:
        row = _block(book, sheet, looks, offer, "lots", "Lots on hand here, oldest first", offer.lots, row)
    row = _block(book, sheet, looks, offer, "delivered", "What you had from us, and what became of it", offer.delivered + offer.spare, row)
    sheet.protect("", {"sort": True, "autofilter": True, "format_columns": True, "format_rows": True, "insert_rows": True})
    _page(sheet, offer, row - 1, last)
    book.close()
    Path(path).write_bytes(made.getvalue())


def _heading(sheet, looks, offer: Offer, last: int) -> int:
    """Title, how to fill it in, cautions; returns the next row."""
    sheet.write_string(0, 0, f"{SHEET} for {offer.market}", looks["title"])
    sheet.set_row(0, 26)
    who = " · ".join(text for text in (offer.name, offer.contact) if text)
    day = f"{offer.day.day} {offer.day:%b %Y}"
    sheet.write_string(1, 0, " · ".join(t for t in (who, f"sheet {offer.send} of {day}", f"weights in {offer.unit}",
                                                    f"money in {offer.currency}" if offer.currency else "") if t), looks["about"])
    boxed = "returned, your wish and remark" if offer.outright else "sold, price got, returned, spoiled, counted, your wish and remark"
    tell = (f"Type only in the boxed cells under the dark headings: {boxed}. Beside a delivery type what came after what you told before. "
            "Leave the column Row as it is, and send the file back. The other cells are protected against slips only; that is no security.")
    promise = (f"A promise is a weight we expect to meet in about {offer.chance * 10:.0f} of 10 weeks. What stands beyond it is hope, "
               "not promise." + "".join(f" {note}" for note in offer.notes))
    across = sum(WIDTHS[f.key] for f in offer.fields("delivered"))
    for row, text, look in ((2, tell, "label_wrapped"), (3, promise, "label_wrapped"), (4, cautions.MARKET_COPY[0], "caution"),
                            (5, cautions.MARKET_COPY[1], "caution")):
        sheet.merge_range(row, 0, row, last, text, looks[look])
        sheet.set_row(row, 13.5 * (1 + int(len(text) / (1.15 * across))) + 3)
    sheet.write_string(6, 0, FILLED_WORD, looks["strong"])
    sheet.write_blank(6, 2, None, looks["fill_date"])
    sheet.data_validation(6, 2, 6, 2, {"validate": "date", "criteria": ">=", "value": dt.date(1990, 1, 1), "error_type": "warning",
                                       "error_message": "A date such as 1 Mar 2026 is wanted here. Keep it as typed?"})
    sheet.write_string(6, 4, f"{STAMP_WORD} {offer.stamp}  (leave this line: by it we know the sheet again)", looks["rowkey"])
    return 8


def _block(book, sheet, looks, offer: Offer, block: str, title: str, rows: list[dict], top: int) -> int:
    """Title, headings and rows of a block; returns the row after a gap."""
    fields = offer.fields(block)
    for at in range(len(offer.fields("delivered"))):
        sheet.write_string(top, at, title if at == 0 else "", looks["section"])
    head = top + 1
    for at, f in enumerate(fields):
        side = "_right" if f.kind in ("weight", "money") else ""
        sheet.write_string(head, at, offer.title(f), looks[f"header{'_fill' if f.filled else ''}{side}"])
    sheet.set_row(head, 42)
    if not rows:
        sheet.write_string(head + 1, 1, "nothing to show now", looks["about"])
        return head + 3
    for i, values in enumerate(rows):
        _row(sheet, looks, offer, fields, values, head + 1 + i)
    _checks(sheet, offer, fields, head + 1, head + len(rows))
    if block == "delivered":
        warn = book.add_format({"bold": True, "font_color": "#7A2E1D"})
        at = [f.key for f in fields].index("check")
        sheet.conditional_format(head + 1, at, head + len(rows), at, {"type": "no_blanks", "format": warn})
    return head + len(rows) + 2


def _row(sheet, looks, offer: Offer, fields, values: dict, row: int) -> None:
    cells = {f.key: f"${xl_col_to_name(at)}{row + 1}" for at, f in enumerate(fields)}
    has = {f.key for f in fields}
    spare = values.get("spare", False)
    for at, f in enumerate(fields):
        if f.twin:
            cells |= dict.fromkeys({"told", *CELLS} - has, "0")
            template = check_formula(cells, has) if f.key == "check" else fill(f.formula, cells)
            shown = f.twin(values)
            sheet.write_formula(row, at, "=" + template, looks[f"computed_{'two' if f.kind == 'weight' else 'text'}"], shown)
            continue
        typed = f.filled or (spare and f.key in SPARE_FILLED)
        look = looks["rowkey" if f.key == "row" else f"{'fill' if typed else 'cell'}_{LOOK[f.kind]}"]
        _write(sheet, row, at, values.get(f.key), look)


def _write(sheet, row: int, at: int, value, look) -> None:
    if value is None or value == "":
        sheet.write_blank(row, at, None, look)
    elif isinstance(value, dt.date):
        sheet.write_datetime(row, at, value, look)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, at, value, look)
    else:
        sheet.write_string(row, at, str(value), look)


def _checks(sheet, offer: Offer, fields, first: int, last: int) -> None:
    """Soft checks on the cells to fill: a number not below 0."""
    for at, f in enumerate(fields):
        if f.filled and f.kind != "text":
            sheet.data_validation(first, at, last, at, {
                "validate": "decimal", "criteria": ">=", "value": 0, "ignore_blank": True, "error_type": "warning", "error_title": f.title[:32],
                "error_message": f"A plain number in {offer.unit if f.kind == 'weight' else 'money'} is wanted here. Keep it as typed?"})


def _page(sheet, offer: Offer, last_row: int, last: int) -> None:
    """One page, Letter in us units, A4 in metric."""
    sheet.set_paper(1 if offer.profile == units.US else 9)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 1)
    sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    sheet.set_footer(f"&L&8sheet {offer.send}&R&8&P / &N")
    sheet.print_area(0, 0, last_row, last)

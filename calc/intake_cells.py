"""One table being read: its cells to SI numbers, days and text, and a problem for every cell that is none.

Whole columns are converted at once; only cells that held something else than their column's type are looked
at one by one, and each distinct text is read once.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field

import numpy as np

from calc import dates, units
from calc.intake_words import Collector, Context, date_in_number, needed, quantity_of, row_words
from calc.problems import NOTE, QUESTION, REFUSED, Ask, either, quote, type_one
from calc.quantities import Read, digits, other_currency, read_quantity, span_in
from calc.raw import RawColumn, RawTable, blank_mask
from calc.records import NEEDED, NUMBER, ColumnInfo, Rule, TableInfo, rules
from calc.text_columns import Coded

EARLIEST = np.datetime64("1950-01-01")
HIDDEN_SPACE = re.compile(r"\s+")
# Cells that hold no value to read: what stands there, and what to do instead of typing it.
UNREAD = {"error": ("the error {}", ""),
          "formula": ("a formula without a value", "Open and save the workbook in your spreadsheet program, then refresh again")}
TIMES = {"hours": 3600, "minutes": 60}  # hours and minutes stay what they are in the frames


@dataclass
class Sheet:
    """A table on its way through the checks.

    used: rows that count (typed, no header or total); refused: rows left out; columns: by frame column;
    unread: frame column -> True where the cell held something that could not be read; coded: text columns by their words.
    """

    raw: RawTable
    info: TableInfo
    context: Context
    say: Collector
    used: np.ndarray
    refused: np.ndarray
    columns: dict[str, np.ndarray] = field(default_factory=dict)
    unread: dict[str, np.ndarray] = field(default_factory=dict)
    keys: dict[str, ColumnInfo] = field(default_factory=dict)  # frame column -> column of the sheet
    coded: dict[str, Coded] = field(default_factory=dict)

    @property
    def key(self) -> str:
        return self.info.key

    def __len__(self) -> int:
        return len(self.used)

    def rule(self, column: str) -> Rule | None:
        return rules(self.key).get(column)

    def title(self, column: str) -> str:
        return self.keys[column].title if column in self.keys else column

    def unit(self, column: str) -> str | None:
        """The unit in the header."""
        return self.keys[column].unit_name if column in self.keys else None

    def raw_column(self, key: str) -> RawColumn | None:
        return self.raw.columns.get(key)

    def texts(self, column: str) -> Coded:
        """A text column of the frame by its words."""
        if column not in self.coded:
            self.coded[column] = Coded.of(self.columns[column])
        return self.coded[column]

    def problem(
        self,
        index: int,
        column: str | None,
        level: str,
        found: str,
        need: str = "",
        do: str = "",
        code: str = "",
    ) -> None:
        """One problem at a row; a refused one takes the row out."""
        if level == REFUSED:
            self.refused[index] = True
        title = self.title(column) if column else None
        self.say.add(self.raw.sheet, self.raw.row_of(int(index)), title, level, found, need, do, code)

    def first(self, mask: np.ndarray, level: str) -> np.ndarray:
        """Rows of a mask to write problems for; with level refused all of them are taken out."""
        if level == REFUSED:
            self.refused |= mask
        return self.say.first(mask, self.raw.sheet, level)

    def unreadable(self, column: str) -> np.ndarray:
        """True where a cell of the column held something that could not be read."""
        return self.unread.setdefault(column, np.zeros(len(self), dtype=bool))

    def lost(self, index: int, column: str, found: str, need: str, do: str, code: str) -> None:
        """A cell that could not be read: its row is refused, or the cell alone is left out."""
        self.unreadable(column)[index] = True
        if self.matters(column, index):
            self.problem(index, column, REFUSED, found, need, do, code)
        else:
            self.problem(index, column, QUESTION, found, need, left_out(do), code)

    def matters(self, column: str, index: int | None = None) -> bool:
        """Whether an unreadable cell takes its row along.

        The amount of an event does where it is needed, or a number of logs, whose blank would mean all.
        """
        if (self.key, column) == ("events", "amount"):
            counted = self.columns["amount_is"][index] == NUMBER
            return bool(self.columns["amount_needed"][index] or counted)
        rule = self.rule(column)
        return column in NEEDED.get(self.key, ()) or bool(rule and rule.drops_row)


def left_out(do: str) -> str:
    return f"{do}; the cell is left out until then" if do else "The cell is left out"


def odd_cells(sheet: Sheet, column: RawColumn):
    """(index, Odd) of the odd cells in rows that count, in order."""
    return ((i, column.odd[i]) for i in sorted(column.odd) if i < len(sheet) and sheet.used[i])


# ---- numbers ----------------------------------------------------------------------------------


def read_numbers(
    sheet: Sheet, info: ColumnInfo, column: str, overlay: dict | None = None, kinds: tuple | None = None
) -> np.ndarray:
    """A number column in the frame's unit, NaN where blank or unread.

    overlay: index -> value already read (two sizes in one cell). kinds: (quantity by code, code by row) where
    the quantity depends on the row.
    """
    raw = sheet.raw_column(info.key)
    if raw is None:
        return np.full(len(sheet), np.nan)
    own = quantity_of(info)
    values = np.array(raw.values, dtype=float)
    if kinds:
        factors = np.array([sheet.context.factor(q) for q in kinds[0]])
        values *= factors[kinds[1]]
    elif own == "temperature":
        values = units.celsius(values, sheet.context.profile)
    else:
        values *= sheet.context.factor(own)
    if own == "fraction":
        _percents(sheet, column, values)
    for index, odd in odd_cells(sheet, raw):
        if overlay and index in overlay:
            values[index] = overlay[index]
            continue
        quantity = kinds[0][kinds[1][index]] if kinds else own
        values[index] = _odd_number(sheet, column, index, odd, quantity)
    for index, value in (overlay or {}).items():
        values[index] = value
    return values


def _percents(sheet: Sheet, column: str, values: np.ndarray) -> None:
    """A share above any thinkable one was typed in percent: 42 means 42 %."""
    rule = sheet.rule(column)
    edge = max(1.0, rule.highest or 1.0) if rule else 1.0
    typed = (values > edge) & (values <= 100 * edge) & sheet.used
    for index in sheet.first(typed, NOTE):
        value = sheet.context.shown(values[index] / 100, "fraction")
        sheet.problem(index, column, NOTE, f"{values[index]:g} was read as {value}", code="percent")
    values[typed] /= 100


def _odd_number(sheet: Sheet, column: str, index: int, odd, quantity: str | None) -> float:
    context, rule = sheet.context, sheet.rule(column)
    if (sheet.key, column) == ("events", "amount") and sheet.columns["amount_is"][index] == "":
        words = f"{quote(odd.value)} is not counted: this kind of event has no amount"
        sheet.problem(index, column, NOTE, words, code="no_amount")
        return np.nan
    need = needed(quantity, context, rule, sheet.unit(column))
    if odd.kind == "text" and quantity in ("money", "money per weight") and other_currency(odd.value, context.currency):
        sheet.lost(index, column, f"{quote(odd.value)} is in another currency", f"{need} in {context.currency}",
                   f"Type the amount in {context.currency}", "other_currency")
    elif odd.kind == "text":
        found = span_in(odd.value, sheet.unit(column), context.comma_decimal) if quantity is None else None
        found = found or read_quantity(odd.value, quantity, context.profile, context.comma_decimal)
        if isinstance(found, Read):
            if found.note:
                words = _read_as(context, odd.value, found, quantity)
                sheet.problem(index, column, NOTE, words, code="read_as")
            return found.value_si / TIMES.get(quantity, 1)
        words = f"{quote(odd.value)} {found.question}"
        sheet.lost(index, column, words, need, offer(found), found.code)
    elif odd.kind == "date":

        def fits(number):
            value = number * context.factor(quantity)
            return rule is None or not bool(rule.refused(np.float64(value)))

        found, do = date_in_number(odd.value, context, fits)
        sheet.lost(index, column, found, need, do, "date_in_number")
    elif odd.kind in UNREAD:
        found, do = UNREAD[odd.kind]
        sheet.lost(index, column, f"{found.format(odd.value)} stands here", need, do or "Type the number", "error_cell")
    else:
        shown = "TRUE" if odd.value is True else "FALSE" if odd.value is False else quote(odd.value)
        sheet.lost(index, column, f"{shown} is not a number", need, "Type the number", "not_a_number")
    return np.nan


def _read_as(context: Context, text: str, found: Read, quantity: str | None) -> str:
    """How a text was read where that is not plain: "~3" was read as 3 in, and is rough."""
    value = found.value_si / TIMES.get(quantity, 1)
    rough = ", marked as rough" if found.approximate else ""
    how = "" if found.note.startswith(("read as", "marked")) else f" ({found.note})"
    return f"{quote(text)} was read as {context.shown(value, quantity)}{how}{rough}"


def offer(found: Ask) -> str:
    """What to do about an Ask in a number column."""
    if found.code == "range" and found.offers:
        return f"Type one number; the middle is {found.offers[0]}"
    return type_one(found.offers) or "Type the number"


# ---- dates ------------------------------------------------------------------------------------


def read_dates(sheet: Sheet, info: ColumnInfo, column: str, done: bool = True) -> np.ndarray:
    """A date column as days, NaT where blank, unread or beyond reason. done: days to come are asked about."""
    raw = sheet.raw_column(info.key)
    if raw is None:
        return np.full(len(sheet), np.datetime64("NaT"), dtype="datetime64[D]")
    days = raw.values.astype("datetime64[D]")
    as_text = np.zeros(len(sheet), dtype=bool)
    cells = list(odd_cells(sheet, raw))
    texts = list(dict.fromkeys(odd.value for _, odd in cells if odd.kind == "text"))
    order, why = dates.column_order(texts, sheet.context.date_order)
    for index, odd in cells:
        as_text[index] = odd.kind == "text"
        found = _odd_date(sheet.context, odd, order, why)
        if isinstance(found, Ask):
            sheet.lost(
                index,
                column,
                f"{_held(odd)} {found.question}",
                "a date",
                type_one(found.offers) or "Type it as year-month-day, such as 2026-04-05",
                found.code,
            )
            continue
        days[index] = np.datetime64(found.day)
        if found.note:
            if found.approximate:
                words = f"was read as {dates.words(found.day)}, marked as rough"
            else:
                words = f"was read as {dates.words(found.day)}"
            sheet.problem(index, column, NOTE, f"{_held(odd)} {words}", code="read_as")
    _swapped(sheet, info, days, as_text, texts)
    return _in_time(sheet, column, days, done)


def _held(odd) -> str:
    if odd.kind == "number":
        return f"{odd.value:g}" if abs(odd.value) < 1e6 else f"{odd.value:.0f}"
    if odd.kind == "bool":
        return "TRUE" if odd.value else "FALSE"
    return UNREAD[odd.kind][0].format(odd.value) if odd.kind in UNREAD else quote(odd.value)


def _odd_date(context: Context, odd, order, why):
    if odd.kind == "number":
        return dates.serial_read(odd.value, context.as_of)
    if odd.kind != "text":
        return Ask("is not a date", code="not_a_date")
    found = dates.read_date(odd.value, order, context.as_of.year)
    if isinstance(found, Ask) and found.code == "no_year" and found.offers:
        if found.offers[0] > context.as_of.isoformat():
            found = dates.read_date(odd.value, order, context.as_of.year - 1)
    if isinstance(found, Ask) and found.code == "two_meanings" and why:
        return Ask(f"{found.question}: {why}", found.offers, "mixed_orders")
    return found


def _swapped(sheet: Sheet, info: ColumnInfo, days, as_text, texts) -> None:
    if not texts:
        return
    count = dates.swapped_half(np.where(sheet.used, days, np.datetime64("NaT")), as_text, texts)
    if count:
        example = next(t for t in texts if dates.shape(t))
        rows = [sheet.raw.row_of(int(i)) for i in np.flatnonzero(sheet.used & ~np.isnat(days) & ~as_text)]
        sheet.say.add(
            sheet.raw.sheet,
            None,
            info.title,
            QUESTION,
            f"{count} dates probably have day and month changed over, in rows {row_words(rows)}: each has a day of 12 or less, "
            f"others such as {quote(example)} stayed text, and the rows run better in time the other "
            "way",
            "real dates",
            "Change day and month over in those cells, or paste the column again",
            "swapped_dates",
        )


def _in_time(sheet: Sheet, column: str, days: np.ndarray, done: bool) -> np.ndarray:
    """Days beyond reason are taken out; days after the as-of day are asked about."""
    as_of = np.datetime64(sheet.context.as_of)
    here = sheet.used & ~np.isnat(days)
    wild = here & ((days > as_of + np.timedelta64(366 if done else 3660, "D")) | (days < EARLIEST))
    if wild.any():
        for index in sheet.first(wild, REFUSED if sheet.matters(column) else QUESTION):
            shown = _day(days[index])
            sheet.lost(
                index, column, f"{shown} is beyond reason", "a date", "Type the right year", "wild_date"
            )
        sheet.unreadable(column)[wild] = True
        days[wild] = np.datetime64("NaT")
    if done:
        later = here & ~wild & (days > as_of)
        for index in sheet.first(later, QUESTION):
            words = f"{_day(days[index])} is after {_day(as_of)}, the day of the results"
            sheet.problem(
                index,
                column,
                QUESTION,
                words,
                "a day that has been",
                "Check the date; the row counts from that day on",
                "future",
            )
    return days


def _day(value: np.datetime64) -> str:
    day = value.astype("datetime64[D]").astype(object)
    return dates.words(day) if isinstance(day, dt.date) else str(value)


# ---- text -------------------------------------------------------------------------------------


def read_text(sheet: Sheet, info: ColumnInfo, column: str, tidy: bool = True) -> np.ndarray:
    """A text column as objects, None where blank. tidy: runs of spaces become one."""
    raw = sheet.raw_column(info.key)
    if raw is None:
        return np.full(len(sheet), None, dtype=object)
    coded, values = _tidied(raw.coded) if tidy else raw.coded, raw.values
    if coded is not raw.coded:
        values = coded.texts()
    if not raw.odd:
        sheet.coded[column] = coded
        return values
    values = values.copy()
    for index, odd in odd_cells(sheet, raw):
        values[index] = _odd_text(sheet, info, column, index, odd)
    return values


def _tidied(coded: Coded) -> Coded:
    """Runs of spaces in a text column made one, those at its ends taken away."""
    untidy = coded.untidy()
    if not len(untidy):
        return coded
    new = coded.words.tolist()
    for at in untidy.tolist():
        new[at] = HIDDEN_SPACE.sub(" ", new[at]).strip() or None
    return coded.renamed(new)


def _odd_text(sheet: Sheet, info: ColumnInfo, column: str, index: int, odd) -> str | None:
    if odd.kind == "bool":
        return ("yes" if odd.value else "no") if info.list == "yesno" else str(bool(odd.value)).upper()
    if odd.kind == "number":
        return digits(odd.value)
    if odd.kind == "text":
        return odd.value
    if odd.kind in UNREAD:
        found, do = UNREAD[odd.kind]
        sheet.lost(index, column, f"{found.format(odd.value)} stands here", info.title.lower(), do or "Type it again", "error_cell")
        return None
    if column in ("log", "log_text", "for_text"):
        day = odd.value
        spellings = f"{day:%b}{day.day}".upper(), f"{day.month}-{day.day}", f"{day.day}-{day.month}"
        sheet.lost(
            index,
            column,
            f"a name was stored as the date {dates.words(day.date())}",
            "a log name",
            f"Mark the cell as text and type the name again, perhaps {either(dict.fromkeys(spellings))}",
            "date_in_name",
        )
        return None
    return dates.words(odd.value.date())


def blank_cells(sheet_columns: dict, infos, length: int) -> np.ndarray:
    """True for rows in which none of the given columns holds anything."""
    empty = np.ones(length, dtype=bool)
    for info in infos:
        column = sheet_columns.get(info.key)
        if column is not None and len(column):
            empty &= blank_mask(column)
    return empty

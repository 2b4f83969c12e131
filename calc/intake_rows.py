"""Rows of a table: which count, what a choice means, which break a rule, and the frame that is left."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from calc.intake_cells import Sheet, blank_cells, left_out
from calc.intake_words import AMOUNT_QUANTITY, Collector, Context, also, needed, quantity_of, span
from calc.problems import NOTE, QUESTION, REFUSED, either, quote
from calc.quantities import USUAL_DIAMETER, USUAL_LENGTH, format_number
from calc.raw import RawTable, number_text
from calc.records import (
    AMOUNT_LIMITS,
    FIXED_LISTS,
    MONEY_KINDS,
    NEEDED,
    Rule,
    TableInfo,
    failures,
    questions,
    row_failures,
    rules,
    sale_rule,
)
from calc.text_columns import Coded

TOTAL = re.compile(r"^(?:(?:grand|sub|year|season)[ -]?)?totals?(?: .{0,12})?[:=]?$|^sum(?:me)?[:=]?$", re.I)


# ---- which rows count --------------------------------------------------------------------------


def open_sheet(raw: RawTable, info: TableInfo, context: Context, say: Collector) -> Sheet:
    """The table with its blank rows, repeated headers, totals and bare note rows set aside."""
    typed = [c for c in info.columns if c.kind not in ("computed", "rowkey")]
    notes = [c for c in typed if c.title.lower().endswith("note")]
    bare = blank_cells(raw.columns, [c for c in typed if c not in notes], raw.length)
    used = ~(bare & blank_cells(raw.columns, notes, raw.length))
    sheet = Sheet(raw, info, context, say, used, np.zeros(raw.length, dtype=bool))
    for merged in raw.merged[:20]:
        say.add(
            raw.sheet,
            None,
            None,
            NOTE,
            f"the cells {merged} were merged; their value was taken for every row",
            "one value in each cell",
            "Undo the merge",
            "merged",
        )
    _typed_over(sheet)
    headers = _header_rows(sheet, typed)
    _set_aside(sheet, headers, "repeats the header", "header_row")
    said = _total_words(sheet, typed)
    totals = _total_rows(sheet, said)
    _set_aside(sheet, totals & ~headers, "is a total typed by hand and was not added again", "total_row")
    if info.key in ("costs", "sales"):
        _ask_totals(sheet, said)
    if notes and info.key in NEEDED:
        sheet.used &= ~bare  # a bare note: kept on the sheet, nothing to count
    return sheet


def _typed_over(sheet: Sheet) -> None:
    """Values that stand in the place of our formulas: not used, and said once a column."""
    columns: dict[str, list] = {}
    for index, title, value in sheet.raw.typed_over:
        if sheet.used[index]:
            columns.setdefault(title, []).append((index, value))
    for title, cells in columns.items():
        index, value = cells[0]
        shown = format_number(value) if isinstance(value, float) else quote(value)
        sheet.say.add(sheet.raw.sheet, sheet.raw.row_of(index), title, NOTE,
                      f"{shown} stands where a formula was{also(len(cells))}; it is worked out anew in all results", "",
                      "Copy the formula back from a row below or above it", "typed_over")


def _set_aside(sheet: Sheet, mask: np.ndarray, words: str, code: str) -> None:
    mask &= sheet.used
    for index in sheet.first(mask, NOTE):
        sheet.problem(index, None, NOTE, f"this row {words}", code=code)
    sheet.used &= ~mask


def _saying(sheet: Sheet, key: str, says, hint: str, needs: tuple[str, ...]) -> list[np.ndarray]:
    """Indices of the cells of a column, wherever they stood, whose text `says` is true of.

    hint: a pattern found in all such texts; needs: as for Coded.matching.
    """
    column, found = sheet.raw_column(key), []
    if column is None:
        return found
    if column.values.dtype == object:
        words = column.coded.words
        said = np.zeros(len(words), dtype=bool)
        for at in column.coded.matching(hint, needs).tolist():
            said[at] = len(words[at]) <= 40 and says(words[at])
        if said.any():
            found.append(np.flatnonzero(column.coded.cells(said)))
    odd = [index for index, odd in column.odd.items() if odd.kind == "text" and index < len(sheet) and says(str(odd.value))]
    return [*found, np.array(odd)] if odd else found


def _header_rows(sheet: Sheet, typed) -> np.ndarray:
    hits = np.zeros(len(sheet), dtype=np.int64)
    for column in typed:
        title = column.title.casefold()
        for cells in _saying(sheet, column.key, lambda text, title=title: text.split("(")[0].strip().casefold() == title,
                             "^" + re.escape(title), ("\n" + title,)):
            hits[cells] += 1
    return hits >= 2


def _total_rows(sheet: Sheet, said: np.ndarray) -> np.ndarray:
    """Of the rows that say total: those without a date, or whose amount is the sum of the rows above, back to the total before."""
    found = said.copy()
    date, amount = sheet.raw_column("date"), sheet.raw_column("amount")
    if date is None or not found.any():
        return found
    dated = found & ~np.isnat(date.values)
    begin = 0
    for index in np.flatnonzero(found):
        if dated[index] and amount is not None:
            above = slice(begin, index)
            same = np.isclose(np.nansum(amount.values[above][sheet.used[above]]), amount.values[index], rtol=1e-9, atol=0.005)
            found[index] = bool(same) and index - begin > 1
        begin = index + 1 if found[index] else begin
    return found


def _total_words(sheet: Sheet, typed) -> np.ndarray:
    """Rows in which a cell says total."""
    found = np.zeros(len(sheet), dtype=bool)
    for column in typed:
        for cells in _saying(sheet, column.key, lambda text: text[:1] in "tTsSgGyY" and bool(TOTAL.match(text.strip())),
                             "total|sum", ("total", "sum")):
            found[cells] = True
    return found


def _ask_totals(sheet: Sheet, said: np.ndarray) -> None:
    """Rows that say total and count all the same, since they have a date and are not the sum of the rows above."""
    for index in sheet.first(said & sheet.used, QUESTION):
        sheet.problem(index, None, QUESTION, "this row says total, has a date and is not the sum of the rows above", "",
                      "Clear the row if it is a sum; it is counted until then", "maybe_total")


# ---- rules -------------------------------------------------------------------------------------

NEED_WORDS = {
    "log": ("nothing was typed", "a name for this log", "Type a name used once, such as A1"),
    "diameter_m": ("nothing was typed", "", "Type the diameter"),
    "length_m": ("nothing was typed", "", "Type the length"),
    "date": ("nothing was typed", "a date", "Type the day it happened"),
    "event": ("nothing was typed", "what happened", "Pick an event from the list"),
    "amount": ("nothing was typed", "", "Type the amount, or 0"),
    "week": ("nothing was typed", "a week", "Type any day of the week it is for"),
    "market": ("nothing was typed", "a market", "Pick a market from the list"),
    "kind": ("nothing was typed", either(FIXED_LISTS["sale_kinds"]), "Pick one from the list"),
    "product": ("nothing was typed", either(FIXED_LISTS["products"]), "Pick one from the list"),
}


def apply_rules(sheet: Sheet) -> None:
    """Refuse the rows that break a rule, leave out the cells that do, ask about the unlikely ones."""
    columns = sheet.columns
    masks = {pair: mask & sheet.used for pair, mask in failures(sheet.key, columns).items()}
    for (code, column), mask in masks.items():
        mask &= ~sheet.unreadable(column)
        rule = sheet.rule(column)
        if code == "limits" and column != "amount" and rule and not rule.drops_row:
            _leave_out(sheet, column, mask)
            mask[:] = False
        if code == "dried_over_fresh":
            for index in sheet.first(mask, QUESTION):
                _rule_problem(sheet, index, code, column, QUESTION)
            columns[column][mask] = np.nan
            mask[:] = False
    broken = np.logical_or.reduce(list(masks.values())) if masks else np.zeros(len(sheet), dtype=bool)
    for index in sheet.first(broken, REFUSED):
        row = {key: values[index] for key, values in columns.items()}
        said = False
        for code, column in row_failures(sheet.key, row):
            if masks.get((code, column), np.zeros(len(sheet)))[index]:
                _rule_problem(sheet, index, code, column, REFUSED)
                said = True
        if not said:  # the model stops at the first kind of fault; the masks know them all
            code, column = next(pair for pair, mask in masks.items() if mask[index])
            _rule_problem(sheet, index, code, column, REFUSED)
    for column, mask in questions(sheet.key, columns).items():
        if column == "length_m":
            mask &= ~_changed_over(columns)  # said once, at the diameter
        for index in sheet.first(mask & sheet.used & ~sheet.refused, QUESTION):
            found, need, do = _question_words(sheet, index, column)
            sheet.problem(index, column, QUESTION, found, need, do, "unlikely")


def _leave_out(sheet: Sheet, column: str, mask: np.ndarray) -> None:
    """Blank the cells of a column that are beyond its limits, with a question for each."""
    for index in sheet.first(mask, QUESTION):
        found, need, do = _limit_words(sheet, index, column)
        sheet.problem(index, column, QUESTION, found, need, left_out(do), "limits")
    sheet.columns[column][mask] = np.nan


def apply_list_rules(sheet: Sheet, name: str) -> None:
    """The rules of a table on Lists. name: the column that names its rows; a nameless row is left out."""
    for column, rule in rules(sheet.key).items():
        if column not in sheet.columns:
            continue
        values = sheet.columns[column]
        mask = rule.refused(values) & sheet.used
        if not rule.drops_row:
            _leave_out(sheet, column, mask)
        else:
            for index in sheet.first(mask, REFUSED):
                sheet.problem(index, column, REFUSED, *_limit_words(sheet, index, column), "limits")
        for index in sheet.first(rule.asked(values) & sheet.used, QUESTION):
            sheet.problem(index, column, QUESTION, *_question_words(sheet, index, column), "unlikely")
    names = sheet.columns[name]
    what = "year" if name == "closed_year" else "name"
    for index in sheet.first(pd.isna(names) & sheet.used & ~sheet.unreadable(name), REFUSED):
        sheet.problem(
            index, name, REFUSED, "nothing was typed", f"a {what}", f"Type the {what}, or clear the row", "needed"
        )
    if sheet.key in ("packs", "prices", "closings"):
        return
    twice = pd.Series(lower(names)).duplicated().to_numpy() & ~pd.isna(names) & sheet.used
    for index in sheet.first(twice, REFUSED):
        sheet.problem(
            index,
            name,
            REFUSED,
            f"{quote(number_text(names[index]) if isinstance(names[index], float) else names[index])} is on this list already",
            f"a {what} used once",
            f"{'Give it another name, or clear' if what == 'name' else 'Clear'} the row",
            "double_name",
        )


def _quantity(sheet: Sheet, index: int, column: str) -> str | None:
    if sheet.key == "events" and column == "amount":
        return AMOUNT_QUANTITY[sheet.columns["amount_is"][index]]
    if sheet.key == "sales" and column == "amount":
        return "money" if sheet.columns["kind"][index] in MONEY_KINDS else "weight"
    return quantity_of(sheet.keys[column]) if column in sheet.keys else None


def _rule_of(sheet: Sheet, index: int, column: str) -> Rule:
    if sheet.key == "events" and column == "amount":
        return rules("events")[AMOUNT_LIMITS.get(sheet.columns["amount_is"][index], "amount_picked")]
    if sheet.key == "sales" and column == "amount":
        return sale_rule(sheet.columns["kind"][index])
    return sheet.rule(column)


def _rule_problem(sheet: Sheet, index: int, code: str, column: str, level: str) -> None:
    context, quantity = sheet.context, _quantity(sheet, index, column)
    if code in ("needed", "amount_needed", "product_needed"):
        found, need, do = NEED_WORDS[column]
        need = need or needed(quantity, context, _rule_of(sheet, index, column))
    elif code == "limits":
        found, need, do = _limit_words(sheet, index, column)
    elif code == "salvage_over_price":
        price = context.shown(sheet.columns["amount"][index], "money")
        found = f"{context.shown(sheet.columns[column][index], 'money')} is more than the price, {price}"
        need, do = (
            "what the thing will still be worth at the end",
            "Type the price or less, or leave it blank",
        )
    else:
        fresh = context.shown(sheet.columns["amount"][index], "weight")
        dried = context.shown(sheet.columns[column][index], "weight")
        found = f"{dried} is more than the {fresh} fresh that went in"
        need, do = "the dried weight that came out", "Type it again; the cell is left out until then"
    sheet.problem(index, column, level, found, need, do, code)


def _limit_words(sheet: Sheet, index: int, column: str) -> tuple[str, str, str]:
    context, value = sheet.context, sheet.columns[column][index]
    quantity, rule = _quantity(sheet, index, column), _rule_of(sheet, index, column)
    shown = context.shown(value, quantity)
    if value < 0 and (rule.lowest or 0) >= 0:
        wrong = "is negative"
    elif rule.lowest is not None and value < rule.lowest:
        wrong = "is too small"
    elif rule.highest is not None and value > rule.highest:
        wrong = "is beyond reason"
    else:
        wrong = "is not a whole number"
    band = span(rule, quantity, context, usual=False)
    need = needed(quantity, context, rule, sheet.unit(column)) + (f", {band}" if band else "")
    return f"{shown} {wrong}", need, _guess(sheet, index, column, value) or "Type it again"


def _question_words(sheet: Sheet, index: int, column: str) -> tuple[str, str, str]:
    context, value = sheet.context, sheet.columns[column][index]
    quantity, rule = _quantity(sheet, index, column), _rule_of(sheet, index, column)
    if sheet.key == "costs" and column == "amount":
        return f"{context.shown(value, 'money')} is negative", "money spent", "Leave it if it is a refund"
    band = span(rule, quantity, context, usual=True)
    guess = _guess(sheet, index, column, value)
    do = f"{guess}; it is used as typed" if guess else "Check it; it is used as typed"
    need = f"{needed(quantity, context, rule, sheet.unit(column))}, usually {band}"
    return f"{context.shown(value, quantity)} is unusual", need, do


def _guess(sheet: Sheet, index: int, column: str, value: float) -> str:
    """What an unlikely size of a log probably meant: another unit, the girth, or two columns changed over."""
    if sheet.key != "logs" or column not in ("diameter_m", "large_end_m", "length_m") or not value > 0:
        return ""
    context, columns = sheet.context, sheet.columns
    usual = USUAL_LENGTH if column == "length_m" else USUAL_DIAMETER
    if column != "large_end_m" and _changed_over(columns)[index]:
        sizes = [context.typed(columns[key][index], "length") for key in ("length_m", "diameter_m")]
        return f"If diameter and length are changed over, type {sizes[0]} and {sizes[1]}"
    if column != "length_m" and 12 * 0.0254 < value <= 45 * 0.0254 and _within(value / np.pi, usual):
        return f"If it is the girth, type {context.rounded(value / np.pi, 'diameter')}"
    typed = value / context.factor("length")
    for unit, size in (("ft", 0.3048), ("mm", 0.001), ("cm", 0.01), ("in", 0.0254), ("m", 1.0)):
        if unit != context.unit("length") and _within(typed * size, usual):
            return f"If {format_number(typed)} {unit} was meant, type {context.rounded(typed * size, 'length')}"
    return ""


def _within(value, band: tuple[float, float]):
    return (band[0] - 1e-9 <= value) & (value <= band[1] + 1e-9)


def _changed_over(columns: dict) -> np.ndarray:
    """True where diameter and length are unusual as they stand, and usual the other way round."""
    diameter, length = columns["diameter_m"], columns["length_m"]
    other = _within(length, USUAL_DIAMETER) & _within(diameter, USUAL_LENGTH)
    return other & ~(_within(diameter, USUAL_DIAMETER) & _within(length, USUAL_LENGTH))


# ---- frames ------------------------------------------------------------------------------------


def frame_of(sheet: Sheet, columns: tuple[str, ...]) -> tuple[pd.DataFrame, np.ndarray]:
    """(the frame of the rows that are used, their indices in the table)."""
    kept = np.flatnonzero(sheet.used & ~sheet.refused)
    whole = len(kept) == len(sheet)
    index = pd.RangeIndex(len(kept))
    data = {"row": kept + sheet.raw.first_row}
    for key in columns:
        values = sheet.columns[key] if whole else sheet.columns[key][kept]
        if values.dtype.kind == "M":
            values = values.astype("datetime64[s]")
        data[key] = pd.Series(values, index, dtype=object, copy=False) if values.dtype == object else values
    return pd.DataFrame(data, index), kept


def lower(values: np.ndarray) -> np.ndarray:
    """A text column in lower case, for comparing."""
    return Coded.of(values).changed(lambda text: str(text).casefold()).texts()

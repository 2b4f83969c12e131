"""Choices: what was typed against the entries of a list, other words of the trade, and near spellings."""
from __future__ import annotations

import difflib
import re
from functools import lru_cache

import numpy as np

from calc import tables
from calc.intake_cells import Sheet, left_out
from calc.intake_words import also
from calc.problems import NOTE, QUESTION, REFUSED, either, quote, type_one
from calc.records import FIXED_LISTS
from calc.tables import plain
from calc.text_columns import Coded

MOST_NEW = 300  # words of one column that are looked up for a near spelling
NEAR, CLEAR = 0.85, 0.05  # spelling likeness to be taken for a list entry, and its lead over the next

@lru_cache(maxsize=None)
def other_words(list_name: str) -> dict[str, str]:
    """Other words of the trade for a list's entries: plain spelling typed -> plain spelling meant."""
    return {plain(r["typed"]): plain(r["meant"]) for r in tables.rows("other_words") if r["list"] == list_name}


def match(text: str, known: dict[str, str], list_name: str = "") -> tuple[str | None, bool, list[str]]:
    """(list entry meant or None, whether it is another word or only near in spelling, nearest entries).

    known: plain spelling -> entry. A near entry is taken where it is clearly the nearest and differs in no
    number and no short word, so that Helper 1 is never taken for Helper 2.
    """
    bare = plain(text)
    if bare in known:
        return known[bare], False, []
    meant = other_words(list_name).get(bare)
    if meant in known:
        return known[meant], True, []
    turned = [key for key in known if len(bare) > 3 and sorted(key) == sorted(bare)]
    if len(turned) == 1 and _marks(text) == _marks(known[turned[0]]):
        return known[turned[0]], True, []
    close = difflib.get_close_matches(bare, list(known), 3, 0.6)
    scores = [difflib.SequenceMatcher(None, bare, c).ratio() for c in close]
    lead = scores[0] - scores[1] if len(scores) > 1 else 1.0
    if close and scores[0] >= NEAR and lead >= CLEAR and _marks(text) == _marks(known[close[0]]):
        return known[close[0]], True, []
    return None, False, (_holding(text, known) or [known[c] for c in close] or _by_word(text, known))[:3]


def _holding(text: str, known: dict[str, str]) -> list[str]:
    """Entries that hold every word of the text, the shortest first: "red oak" -> northern red oak."""
    words = set(re.findall(r"\w+", text.casefold()))
    found = [entry for entry in known.values() if words and words < set(re.findall(r"\w+", entry.casefold()))]
    return sorted(dict.fromkeys(found), key=len)


def _by_word(text: str, known: dict[str, str]) -> list[str]:
    """Entries that hold a word spelt much like the text: "shitake" -> those of shiitake."""
    entries: dict[str, list[str]] = {}
    for entry in known.values():
        for word in re.findall(r"\w+", entry.casefold()):
            entries.setdefault(word, []).append(entry)
    close = difflib.get_close_matches(text.casefold().strip(), list(entries), 1, 0.8)
    return entries[close[0]][:3] if close else []


def _marks(text: str) -> list[str]:
    words = re.findall(r"\w+", text.casefold())
    return [w for w in words if len(w) <= 2 or any(c.isdigit() for c in w)]


YES_WORDS = {
    "yes": "yes",
    "y": "yes",
    "true": "yes",
    "1": "yes",
    "x": "yes",
    "no": "no",
    "n": "no",
    "false": "no",
    "0": "no",
    "-": "no",
}


def read_choice(sheet: Sheet, column: str, values: np.ndarray, list_name: str, entries) -> np.ndarray:
    """A column of choices in the spelling of their list.

    A near spelling is taken with a note. In a list of the grower's own, another word is kept and asked about;
    in a fixed list it is not used. A list without entries asks nothing.
    """
    if list_name == "yesno":
        known = YES_WORDS
    else:
        known = {plain(e): e for e in reversed(list(entries))}
    if not known:
        return values
    fixed = list_name in FIXED_LISTS
    coded, new, asked = sheet.coded.get(column) or Coded.of(values), [], 0
    codes = coded.codes
    for code, text in enumerate(coded.words):
        if asked >= MOST_NEW and not fixed:
            new.append(known.get(plain(text), text))
            continue
        entry, near, offers = (text, False, []) if text in entries else match(text, known, list_name)
        new.append(entry if entry is not None or fixed else text)
        if entry is not None and not near:
            continue
        rows = np.flatnonzero((codes == code) & sheet.used)
        asked += 1
        if len(rows):
            _choice_problem(sheet, column, rows, text, entry, offers, list_name)
    sheet.coded[column] = coded.renamed(new)
    return values if sheet.coded[column] is coded else sheet.coded[column].texts()


def _choice_problem(sheet, column, rows, text, entry, offers, list_name) -> None:
    more, fixed = also(len(rows)), list_name in FIXED_LISTS
    if entry is not None:
        sheet.problem(
            rows[0], column, NOTE, f"{quote(text)} was read as {quote(entry)}{more}", code="near_choice"
        )
        return
    if fixed:
        do, need = type_one(offers) or "Pick from the list", either(FIXED_LISTS[list_name])
        mask = np.zeros(len(sheet), dtype=bool)
        mask[rows] = True
        sheet.unreadable(column)[rows] = True
        level = REFUSED if (sheet.key, column) in (("sales", "kind"), ("sales", "product"), ("promises", "product")) else QUESTION
        for index in sheet.first(mask, level):
            words = do if level == REFUSED else left_out(do)
            sheet.problem(
                index, column, level, f"{quote(text)} is not in the list", need, words, "unknown_choice"
            )
        return
    do = f"{type_one(offers)}, or add it on Lists" if offers else "Add it on Lists"
    if list_name == "event_kinds":
        rows = _refuse_amounts(sheet, column, rows, text, do)
        more = also(len(rows))
    if len(rows):
        kept = "it is kept as typed" + (", without a weight" if list_name == "woods" else "")
        sheet.problem(rows[0], column, QUESTION, f"{quote(text)} is not on Lists{more}", "an entry of the list",
                      f"{do}; {kept}", "new_choice")


def _refuse_amounts(sheet, column, rows, text, do) -> np.ndarray:
    """Leave out the rows of an unknown event that have an amount, since nothing says what it counts; the other rows."""
    amount = sheet.raw_column("amount")
    filled = np.zeros(len(sheet), dtype=bool)
    if amount is not None:
        filled[rows] = ~amount.blank()[rows]
    for index in sheet.first(filled, REFUSED):
        sheet.problem(index, column, REFUSED, f"{quote(text)} is not on Lists, so its amount cannot be counted",
                      "an event of the list", do, "new_choice")
    return rows[~filled[rows]]

"""What is wrong with a cell or a row, said to the grower: where, what was found, what is needed, what to do.

Three levels. refused: the row is left out of the totals. question: the row is used, and asked about. note:
the row is used as read, and this says how it was read.
"""
from __future__ import annotations

import unicodedata
from dataclasses import dataclass

REFUSED, QUESTION, NOTE = "refused", "question", "note"
LEVELS = (REFUSED, QUESTION, NOTE)
CLIP = 60


@dataclass(frozen=True)
class Ask:
    """What was typed has no meaning, or more than one.

    question follows the quoted text: "is a range from 5 to 6"; offers are what could be typed instead, the
    likeliest first; code names the kind of trouble.
    """

    question: str
    offers: tuple[str, ...] = ()
    code: str = "unread"


@dataclass(frozen=True)
class Problem:
    """One problem. row is the sheet's row number, or None for a whole column or sheet.

    found, needed and do are sentences without their full stop; an empty one is left out.
    """

    sheet: str
    row: int | None
    column: str | None
    level: str
    found: str
    needed: str = ""
    do: str = ""
    code: str = ""

    def where(self) -> str:
        """The address in words: "Logs row 14, Diameter"."""
        place = self.sheet if self.row is None else f"{self.sheet} row {self.row}"
        return f"{place}, {self.column}" if self.column else place

    def sentence(self) -> str:
        """The whole problem in one line.

        >>> Problem("Logs", 9, "Length", "refused", '"lots" is not a number', "inches", "Type 48").sentence()
        'Logs row 9, Length: "lots" is not a number. Needed: inches. Type 48.'
        """
        parts = [_stop(self.found), _stop(f"Needed: {self.needed}") if self.needed else "", _stop(self.do)]
        return f"{self.where()}: " + " ".join(p for p in parts if p)


def _stop(words: str) -> str:
    return words if not words or words[-1] in ".?!" else words + "."


def shown(text: object, clip: int = CLIP) -> str:
    """Text fit for a message: control characters as spaces, at most `clip` characters.

    >>> shown("lots\\nof it"), len(shown("x" * 99))
    ('lots of it', 60)
    """
    hidden = ("Cc", "Cf", "Cs", "Zl", "Zp")
    plain = "".join(" " if unicodedata.category(c) in hidden else c for c in str(text))
    return plain if len(plain) <= clip else plain[:clip - 3] + "..."


def quote(text: object) -> str:
    """The text in double quotes, fit for a message."""
    return f'"{shown(text)}"'


def either(choices) -> str:
    """Choices in a sentence: "a", "a or b", "a, b or c"."""
    choices = list(choices)
    if len(choices) < 2:
        return "".join(choices)
    return ", ".join(choices[:-1]) + " or " + choices[-1]


def type_one(offers) -> str:
    """What to do where offers are known: "Type 5.5 or 6"; "" where none is."""
    return f"Type {either(offers)}" if offers else ""


def rows_left_out(counts: dict[str, tuple[int, int]]) -> int:
    """Rows of the input sheets that are in no total. counts: table -> (rows typed, rows used)."""
    return sum(typed - used for typed, used in counts.values())


def in_order(problems, sheets) -> list[Problem]:
    """Problems by sheet in the order given (others after), then by row; whole columns come first."""
    place = {name: i for i, name in enumerate(sheets)}
    last = len(place)
    return sorted(problems, key=lambda p: (place.get(p.sheet, last), p.sheet, p.row or 0))

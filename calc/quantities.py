"""Sizes, weights and amounts as growers write them: "4'2\"", "3½ ft", "1,2 m", "1 lb 4 oz", "~3", "none".

A text with one plain meaning is read. A text with two meanings, or none, comes back as a question with what
could be typed instead. Nothing here raises, whatever was typed.
"""
from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from calc import units
from calc.problems import Ask, quote

LONGEST = 60  # characters a number with its units can need

DIMENSIONS = {
    "diameter": "length", "length": "length", "spacing": "length", "bore": "length", "height": "length",
    "rain": "length", "coat": "length", "volume": "volume", "melt": "volume", "weight": "mass",
    "small_weight": "mass", "density": "density", "minutes": "time", "hours": "time",
}
NOUNS = {"length": "length", "volume": "volume", "mass": "weight", "density": "density", "time": "time"}
PINT_BASE = {"length": "meter", "volume": "meter**3", "mass": "kilogram", "density": "kilogram/meter**3",
             "time": "second"}
PAIRS = {"ft": "in", "lb": "oz", "m": "cm", "kg": "g", "h": "min"}  # a bare second number takes this unit
# Words that may stand after a count and say nothing about its size.
PLAIN_WORDS = frozenset("log logs pc pcs pieces hole holes each years year yrs yr months weeks week".split())
SPAN_DAYS = {"day": 1.0, "week": 7.0, "month": 30.4375, "year": 365.25}
SPAN = re.compile(r"^([\d.,]+)\s*(?:(days?)|(weeks?|wks?)|(months?|mos?)|(years?|yrs?))\.?$")
ZERO_WORDS = frozenset(("none", "nil", "zero", "nothing", "-", "--", "---"))

ABOUT = re.compile(r"^(?:~|≈|≅|±|\+/-|c(?:irc)?a\.?(?=[\s\d])|c\.|about|abt\.?|approx(?:imately|\.)?|around"
                   r"|roughly|near(?:ly)?|almost)\s*")
ABOUT_AFTER = re.compile(r"\s*(?:\(\?\)|\?+|ish|-ish|or so|approx\.?|about|ca\.?|\+/-|±|\+)$")
NUMBER = r"(?:\d+(?:[ -]+\d+/\d+)|\d+/\d+|\d[\d.,]*|[.,]\d+)"
PIECE = re.compile(rf"({NUMBER})\s*([^\d\s.,+-][^\d+-]*)?")
RANGE = re.compile(rf"^({NUMBER})\s*([^\d.,\s-][^\d-]*?)?\s*(?:-+|\.{{2,}}|…|to|until)\s*({NUMBER})\s*(\D*)$")
SIZES = re.compile(r"^(.*\d\D*?)\s*[x*]\s*(\d.*)$")
SPLIT_THOUSANDS = re.compile(r"^\d{1,3}(?: \d{3})+(?:[.,]\d+)?$")
MONEY_WORDS = re.compile(r"[$€£¥₹]|\b(?:usd?|eur|gbp|cad|aud|nzd|chf|sek|nok|dkk|jpy|dollars?|euros?)\b")
DOLLARS = {"usd", "cad", "aud", "nzd"}
CURRENCIES = {"$": DOLLARS, "dollar": DOLLARS, "dollars": DOLLARS, "us": {"usd"}, "us$": {"usd"}, "€": {"eur"}, "euro": {"eur"},
              "euros": {"eur"}, "£": {"gbp"}, "¥": {"jpy"}, "₹": {"inr"}}
PER_WEIGHT = re.compile(r"^(.*?)\s*(?:/|\bper\b|\ba\b|\bthe\b)\s*([^\d\s/][^\d/]*)$")
TEMPERATURE = re.compile(r"^([+-]?[\d.,]+)\s*(?:°|deg(?:rees?)?\.?)?\s*(c|f|celsius|fahrenheit|centigrade)?$")


@dataclass(frozen=True)
class Read:
    """A value understood: SI (metres, kilograms, seconds, deg C; fractions, counts and money plain).

    approximate: the grower marked it as rough. note: how it was read where that is not plain, else None.
    """

    value_si: float
    approximate: bool = False
    note: str | None = None


def _spelt(char: str) -> str:
    """A character in its plain form; a fraction such as ½ keeps apart from the number before it."""
    plain = char if char.isascii() else unicodedata.normalize("NFKC", char)
    return " " + plain if "\u2044" in plain and len(plain) > 1 else plain


@lru_cache(maxsize=65536)
def normal(text: str) -> str:
    """The text with one spelling for what looks alike: digits, spaces, quotes, dashes, fractions; lower case.

    >>> normal("３½’"), normal("4’\\u00a02”")
    ("3 1/2'", '4\\' 2"')
    """
    text = str(text)
    if text.isascii() and text.isprintable():
        return " ".join(text.replace("`", "'").replace("''", '"').lower().split())
    out = []
    for char in "".join(_spelt(c) for c in text):
        kind = unicodedata.category(char)
        if kind == "Nd":
            out.append(str(unicodedata.decimal(char)))
        elif kind == "Pd" or char in "\u2212\u02d7":
            out.append("-")
        elif char in "‘’‚‛′´`ʹʼˈ":
            out.append("'")
        elif char in "“”„‟ˮʺ":
            out.append('"')
        elif char in "×✕✖":
            out.append("x")
        elif char == "\u2044":
            out.append("/")
        elif kind in ("Cc", "Zs", "Zl", "Zp"):
            out.append(" ")
        elif kind not in ("Cf", "Cs", "Mn"):
            out.append(char)
    plain = "".join(out).replace("''", '"').lower()
    return " ".join(plain.split())


def plain_number(text: str, comma_decimal: bool | None = None) -> float | Ask:
    """Digits with points, commas, spaces or a fraction -> a number; a comma before three digits is asked.

    >>> plain_number("1,2"), plain_number("3 1/2"), plain_number("1,200.5"), plain_number("1,200").offers
    (1.2, 3.5, 1200.5, ('1200', '1.2'))
    """
    fraction = re.fullmatch(r"(?:(\d+)[ -]+)?(\d+)/(\d+)", text)
    if fraction:
        whole, top, bottom = (int(g) if g else 0 for g in fraction.groups())
        return whole + top / bottom if bottom else Ask("divides by nothing", code="not_a_number")
    if SPLIT_THOUSANDS.match(text):
        text = text.replace(" ", "")
    points, commas = text.count("."), text.count(",")
    if points and commas:
        decimal = max(text.rfind("."), text.rfind(","))
        text = re.sub("[.,]", "", text[:decimal]) + "." + text[decimal + 1:]
    elif points + commas > 1:
        if not re.fullmatch(r"\d{1,3}(?:[.,]\d{3})+", text):
            return Ask("is not a number", code="not_a_number")
        text = re.sub("[.,]", "", text)
    elif commas or (points and comma_decimal):
        split = re.fullmatch(r"([1-9]\d{0,2})[.,](\d{3})", text)
        if split and (comma_decimal is None or (points and comma_decimal)):
            offers = (f"{split[1]}{split[2]}", format_number(float(f"{split[1]}.{split[2]}")))
            return Ask(f"is {offers[0]} or {offers[1]}", offers, "two_meanings")
        text = text.replace(",", "") if split and comma_decimal is False else text.replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        return Ask("is not a number", code="not_a_number")
    return value if math.isfinite(value) else Ask("is not a number", code="not_a_number")


def digits(value: float) -> str:
    """A number that stands for a name or is handed on as it was typed, with all its digits: a spreadsheet keeps fifteen.

    >>> digits(1234567.0), digits(12.5), digits(0.1 + 0.2)
    ('1234567', '12.5', '0.3')
    """
    return f"{value:.0f}" if float(value).is_integer() else f"{value:.15g}"


def format_number(value: float) -> str:
    """A number as a grower would type it, to at most six figures.

    >>> format_number(0.3125), format_number(5.0), format_number(14 / 3.14159265)
    ('0.3125', '5', '4.45634')
    """
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"


@lru_cache(maxsize=4096)
def unit_size(word: str, dimension: str) -> float | Ask | None:
    """SI per unit for a unit word of a dimension; Ask where it measures something else; None if unknown."""
    known = units.find_unit(word) or units.find_unit(word.rstrip(" ,;:"))
    if known is not None:
        if known.dimension == dimension:
            return known.si_per_unit
        return Ask(f"is a {NOUNS[known.dimension]}, not a {NOUNS[dimension]}", code="wrong_unit")
    return _library_unit(word, dimension)


def _library_unit(word: str, dimension: str) -> float | Ask | None:
    """A unit word nobody listed, looked up once in the pint library."""
    if not re.fullmatch(r"[a-zµμ]{2,20}", word):
        return None
    try:
        import pint

        found = _registry(pint).Quantity(1.0, word)
        if found.dimensionality == {}:
            return None
        if found.is_compatible_with(PINT_BASE[dimension]):
            return float(found.to(PINT_BASE[dimension]).magnitude)
    except Exception:  # the library raises many kinds for a word it does not know
        return None
    return Ask(f"is not a {NOUNS[dimension]}", code="wrong_unit")


@lru_cache(maxsize=1)
def _registry(pint):
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


@dataclass(frozen=True)
class _Context:
    """How a bare number is taken; dimension is None for counts and money."""

    quantity: str | None
    factor: float
    dimension: str | None
    comma_decimal: bool | None
    unit: str = ""

    def shown(self, value_si: float) -> str:
        return format_number(value_si / self.factor)


def _context(quantity: str | None, profile: str, comma_decimal: bool | None) -> _Context:
    dimension = DIMENSIONS.get(quantity or "")
    factor = units.factor(quantity, profile) if dimension else 1.0
    unit = units.profile_unit(quantity, profile) if dimension else ""
    return _Context(quantity, factor, dimension, comma_decimal, unit)


def read_quantity(text: str, quantity: str | None, profile: str,
                  comma_decimal: bool | None = None) -> Read | Ask:
    """What a text means in a column of that quantity: Read with the value in SI, or Ask.

    quantity: a kind of quantity of units.PROFILES, "money", "money per weight" (result per kg), "temperature"
    (deg C), "fraction" (result 0-1), or None for a plain number. A number without a unit is in the profile's
    unit. comma_decimal: True where "1,200" is 1.2, False where it is 1200, None to ask. Raises nothing.

    >>> read_quantity("4'2\\"", "length", "us").value_si / 0.0254
    50.0
    >>> read_quantity("5-6", "diameter", "us").offers
    ('5.5',)
    """
    return _read(str(text), quantity, profile, comma_decimal)


@lru_cache(maxsize=65536)
def _read(text: str, quantity: str | None, profile: str, comma_decimal: bool | None) -> Read | Ask:
    if len(text) > LONGEST:
        return Ask("is too long for a number", code="not_a_number")
    plain = normal(text).strip(" ;:")
    if plain in ZERO_WORDS:
        return Read(0.0)
    rough = False
    for mark in (ABOUT, ABOUT_AFTER):
        shorter = mark.sub("", plain)
        if shorter != plain and shorter:
            plain, rough = shorter.strip(), True
    found = _signed(plain, _context(quantity, profile, comma_decimal), profile)
    if isinstance(found, Read) and rough:
        return Read(found.value_si, True, found.note or "marked as rough")
    return found


def _signed(plain: str, context: _Context, profile: str) -> Read | Ask:
    if plain.startswith("="):
        return Ask("is a formula kept as text", code="not_a_number")
    sign = -1.0 if re.match(r"-\s*[\d.,]", plain) else 1.0
    bare = re.sub(r"^[+-]\s*(?=[\d.,])", "", plain)
    if context.quantity == "temperature":
        return _temperature(plain, profile, context.comma_decimal)
    if context.quantity in ("money", "money per weight"):
        found = _money(bare, context, profile)
    elif context.quantity == "fraction":
        found = _fraction(bare, context)
    else:
        found = _amount(bare, context)
    return Read(sign * found.value_si, found.approximate, found.note) if isinstance(found, Read) else found


def _amount(plain: str, context: _Context) -> Read | Ask:
    """A number with or without units, feet and inches, a range."""
    if plain.startswith(("<", ">")):
        value = _pieces(plain.strip("<>= "), context)
        offers = (context.shown(value.value_si),) if isinstance(value, Read) else ()
        return Ask("is a limit, not an amount", offers, "limit")
    if SPLIT_THOUSANDS.match(plain):
        value = plain_number(plain, context.comma_decimal)
        if isinstance(value, Ask):
            return value
        return Read(value * context.factor, note=f"read as {format_number(value)}")
    span = _range(plain, context)
    if span is not None:
        return span
    clock = re.fullmatch(r"(\d{1,3}):(\d{2})(?::(\d{2}))?(?: ?h(?:rs?|ours?)?)?", plain)
    if clock and context.dimension == "time" and int(clock[2]) < 60:
        seconds = int(clock[1]) * 3600 + int(clock[2]) * 60 + int(clock[3] or 0)
        return Read(float(seconds), note=f"read as {int(clock[1])} h {int(clock[2])} min")
    if SIZES.match(plain):
        return Ask("holds two sizes", code="two_sizes")
    return _pieces(plain, context)


def _range(plain: str, context: _Context) -> Ask | None:
    match = RANGE.match(plain)
    if not match or (match[2] and not match[4] and units.find_unit(match[2]) is None):
        return None
    first, unit_one, second, unit_two = match.groups()
    if re.search(r"\d\s*-\s*\d+/\d+\D*$", plain) and "/" not in first and not match[2]:
        return None  # 3-1/2 is three and a half
    if unit_one and units.find_unit(unit_one) and units.find_unit(unit_one).name in PAIRS:
        finer = PAIRS[units.find_unit(unit_one).name]
        if not unit_two.strip() or getattr(units.find_unit(unit_two), "name", None) == finer:
            return None  # 4'-2" is feet and inches
    low = _pieces(f"{first} {unit_one or unit_two}".strip(), context)
    high = _pieces(f"{second} {unit_two or unit_one or ''}".strip(), context)
    if isinstance(low, Ask) or isinstance(high, Ask):
        return low if isinstance(low, Ask) else high
    ends = context.shown(low.value_si), context.shown(high.value_si)
    middle = context.shown((low.value_si + high.value_si) / 2)
    return Ask(f"is a range from {ends[0]} to {ends[1]}", (middle,), "range")


def _pieces(plain: str, context: _Context) -> Read | Ask:
    """One number with a unit or none, or numbers with falling units: 4 ft 2 in, 1 lb 4 oz."""
    plain = re.sub(r"(?<=\D)-\s*(?=\d)", " ", re.sub(r"\s+(?:and|&)\s+", " ", plain))
    if context.dimension != "volume" and re.fullmatch(r"[\doil.,\s]*[oil][\doil.,\s]*", plain):
        return _not_a_number(plain, context)
    pieces, at = [], 0
    for match in PIECE.finditer(plain):
        if plain[at:match.start()].strip(" ,"):
            break
        pieces.append((match[1].rstrip(".,") or match[1], (match[2] or "").strip(" ,;")))
        at = match.end()
    if not pieces or plain[at:].strip(" .,"):
        return _not_a_number(plain, context)
    if len(pieces) > 3:
        return Ask("holds too many numbers", code="not_a_number")
    total, sizes, notes, unit = 0.0, [], [], None
    for place, (digits, word) in enumerate(pieces):
        value = plain_number(digits, context.comma_decimal)
        if isinstance(value, Ask):
            return _with_unit(value, word)
        if not word and place and unit in PAIRS:
            word = PAIRS[unit]
        elif not word and len(pieces) > 1:
            return Ask("holds two numbers", tuple(d for d, _ in pieces[:2]), "two_numbers")
        size = _size(word, context, notes)
        if isinstance(size, Ask):
            return size
        if sizes and (size >= sizes[-1] or value * size >= sizes[-1] * (1 - 1e-12)):
            return Ask("does not add up", (context.shown(total + value * size),), "does_not_add_up")
        unit = getattr(units.find_unit(word), "name", None) if word else None
        sizes.append(size)
        total += value * size
    return Read(total, note="; ".join(notes) or None)


def _with_unit(ask: Ask, word: str) -> Ask:
    return Ask(ask.question, tuple(f"{o} {word}" if word else o for o in ask.offers), ask.code)


def _size(word: str, context: _Context, notes: list) -> float | Ask:
    """SI per unit of a unit word; the column's own unit where there is no word."""
    if not word:
        return context.factor
    if context.dimension is None:
        if word.rstrip(".") in PLAIN_WORDS:
            return 1.0
        return Ask("is not a plain number", code="not_a_number")
    size = unit_size(word, context.dimension)
    if size is None:
        return Ask(f"has a unit that is not known, {quote(word)}", code="unknown_unit")
    if isinstance(size, float) and units.find_unit(word.rstrip(" ,;:")) is None:
        notes.append(f"1 {word} read as {context.shown(size)} {context.unit}")
    return size


def _not_a_number(plain: str, context: _Context) -> Ask:
    """Not a number; the letters O and l among digits are offered as 0 and 1, never taken."""
    swapped = plain.translate(str.maketrans({"o": "0", "l": "1", "i": "1"}))
    if swapped != plain and re.fullmatch(r"[\dol\s.,i]+", plain) and re.search(r"[\d.]", plain):
        value = plain_number(swapped.replace(" ", ""), context.comma_decimal)
        if not isinstance(value, Ask):
            return Ask("has a letter in the number", (format_number(value),), "letter_in_number")
    return Ask("is not a number", code="not_a_number")


def _money(plain: str, context: _Context, profile: str) -> Read | Ask:
    per, factor = None, 1.0
    if context.quantity == "money per weight":
        factor = units.factor("weight", profile)
        split = PER_WEIGHT.match(plain)
        if split:
            size = unit_size(split[2].strip(), "mass")
            if not isinstance(size, float):
                return size or Ask(f"has a unit that is not known, {quote(split[2])}", code="unknown_unit")
            plain, per = split[1], size
    amount = MONEY_WORDS.sub(" ", plain)
    found = _amount(" ".join(amount.split()).strip(" .-"), _Context(None, 1.0, None, context.comma_decimal))
    if isinstance(found, Ask):
        return found
    return Read(found.value_si / (per or factor), found.approximate, found.note)


def span_in(text: str, unit: str | None, comma_decimal: bool | None = None) -> Read | None:
    """A span of time typed in another unit than the column's, in the column's; None for any other text.

    >>> span_in("18 months", "years").value_si, span_in("2 years", "years"), span_in("4 ft", "years")
    (1.5, None, None)
    """
    match = SPAN.match(normal(text))
    wanted = (unit or "").rstrip("s")
    if not match or wanted not in SPAN_DAYS:
        return None
    typed = next(name for name, word in zip(SPAN_DAYS, match.groups()[1:], strict=True) if word)
    value = plain_number(match[1], comma_decimal)
    if typed == wanted or isinstance(value, Ask):
        return None
    return Read(round(value * SPAN_DAYS[typed] / SPAN_DAYS[wanted], 2), note=f"in {wanted}s")


def currencies(text: str) -> set[str]:
    """Codes of the currencies a text may mean; none where it names none.

    >>> currencies("30 EUR"), sorted(currencies("$30")), currencies("30")
    ({'eur'}, ['aud', 'cad', 'nzd', 'usd'], set())
    """
    found = [CURRENCIES.get(word, {word}) for word in MONEY_WORDS.findall(normal(text))]
    return set.intersection(*found) or set.union(*found) if found else set()


def other_currency(text: str, own: str) -> bool:
    """Whether an amount names a currency that the workbook's own cannot be. own: as on Settings."""
    named, mine = currencies(text), currencies(own)
    return bool(named and mine and not named & mine)


def _fraction(plain: str, context: _Context) -> Read | Ask:
    percent = re.fullmatch(r"(.*?)\s*(?:%|percent|per cent|pct\.?)", plain)
    found = _amount(percent[1] if percent else plain, _Context(None, 1.0, None, context.comma_decimal))
    if isinstance(found, Ask):
        return Ask(found.question, tuple(f"{o} %" for o in found.offers), found.code) if percent else found
    if percent:
        return Read(found.value_si / 100, found.approximate, found.note)
    if found.value_si > 1:
        return Read(found.value_si / 100, found.approximate, f"read as {format_number(found.value_si)} %")
    return found


def _temperature(plain: str, profile: str, comma_decimal: bool | None) -> Read | Ask:
    match = TEMPERATURE.match(plain)
    if not match:
        return Ask("is not a temperature", code="not_a_number")
    value = plain_number(match[1].lstrip("+-"), comma_decimal)
    if isinstance(value, Ask):
        return value
    value = -value if match[1].startswith("-") else value
    fahrenheit = match[2][0] == "f" if match[2] else profile == units.US
    return Read(units.celsius_from_fahrenheit(value) if fahrenheit else value)


# Sizes that are usual for a log, metres; the same band that data/limits.csv asks beyond.
USUAL_DIAMETER = (0.0508, 0.3048)
USUAL_LENGTH = (0.2, 2.5)


def read_two_sizes(text: str, profile: str, comma_decimal: bool | None = None) -> tuple[Read, Read] | Ask:
    """Diameter and length from one text, "5 x 40 in": a pair of Reads, or Ask.

    One unit after two numbers belongs to both if both are then usual sizes of a log; else the bare number
    takes the column's unit if that alone is usual, with a note; where both are usual and differ it is asked.

    >>> [round(size.value_si / 0.0254, 9) for size in read_two_sizes("5 x 40 in", "us")]
    [5.0, 40.0]
    """
    plain = normal(text).strip(" ;:") if len(str(text)) <= LONGEST else ""
    match = SIZES.match(plain)
    if not match:
        return Ask("does not hold two sizes", code="not_a_number")
    diameter, length = match.groups()
    unit = re.search(r"[^\d\s.,/]+$", length)
    own = read_quantity(diameter, "diameter", profile, comma_decimal), read_quantity(
        length, "length", profile, comma_decimal)
    for found in own:
        if isinstance(found, Ask):
            return found
    if re.search(r"[^\d\s.,/]", diameter) or not unit:
        return own
    shared = read_quantity(f"{diameter} {unit[0]}", "diameter", profile, comma_decimal), own[1]
    if isinstance(shared[0], Ask):
        return shared[0]
    good = [pair for pair in (shared, own) if _usual(pair)]
    column = units.profile_unit("diameter", profile)
    if len(good) == 2 and abs(shared[0].value_si - own[0].value_si) > 1e-9:
        return Ask(f"is {diameter} {unit[0]} or {diameter} {column} thick",
                   (f"{diameter} {unit[0]}", f"{diameter} {column}"), "two_meanings")
    if not good:
        return Ask("is no usual size of a log", code="two_sizes")
    if good[0] is own and len(good) == 1:
        return Read(own[0].value_si, note=f"{diameter} read as {diameter} {column}"), own[1]
    return good[0]


def _usual(pair: tuple[Read, Read]) -> bool:
    inside = (low - 1e-9 <= read.value_si <= high + 1e-9
              for read, (low, high) in zip(pair, (USUAL_DIAMETER, USUAL_LENGTH), strict=True))
    return all(inside)

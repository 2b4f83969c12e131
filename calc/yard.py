"""The yard as arrays: logs, what happened to them, and which are there on any day.

Days are whole numbers since 1970; a blank date is NO_DAY, later than any other. A log is in the yard from
the day it was felled or inoculated, whichever came first, through the day it was retired, lost or sold as a
log. Those events may take some of a row's logs, so that a row can be partly gone; a number that names
several rows is taken from each in proportion to what is left there. No loop runs over logs or lines, except
over lines that take logs from one row more than once.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from calc.codes import coded, distinct
from calc.text_columns import tidy

NO_DAY = 2 ** 40
BEARING = ("picked", "soaked", "pins seen")
IN_THE_YARD = (*BEARING, "waxed", "stacked", "moved", "turned", "weighed", "checked")
EXITS = ("retired", "lost", "sold as log")
_SPAN, _SHIFT = 2 ** 42, 2 ** 20  # one sorted key out of log and day
TINY = 1e-9
MANY = 1000  # from so many days on it pays to look each calendar day up once


def days(values) -> np.ndarray:
    """Dates as whole days since 1970-01-01; NO_DAY where blank."""
    if not (isinstance(values, pd.Series) and isinstance(values.dtype, np.dtype) and values.dtype.kind == "M"):
        values = pd.to_datetime(pd.Series(values))
    found = values.to_numpy().astype("datetime64[D]")
    return np.where(np.isnat(found), NO_DAY, found.astype(np.int64))


def dates(whole_days) -> np.ndarray:
    """Whole days since 1970-01-01 as dates; NaT for NO_DAY."""
    whole_days = np.asarray(whole_days, dtype=np.int64)
    known = np.where(whole_days >= NO_DAY, 0, whole_days).astype("datetime64[D]").astype("datetime64[ns]")
    known[whole_days >= NO_DAY] = np.datetime64("NaT")
    return known


def day_column(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A date column as whole days; NO_DAY throughout where there is no such column."""
    return days(frame[name]) if name in frame else np.full(len(frame), NO_DAY)


def numbers(frame: pd.DataFrame, name: str, blank: float = np.nan) -> np.ndarray:
    """A number column as floats, `blank` where nothing stands."""
    if name not in frame:
        return np.full(len(frame), blank)
    found = frame[name]
    if not (isinstance(found.dtype, np.dtype) and found.dtype.kind in "fiu"):
        found = pd.to_numeric(found, errors="coerce")
        found = found.to_numpy(dtype=float, na_value=np.nan)
    found = np.asarray(found, dtype=float)
    return np.where(np.isnan(found), blank, found)


def as_typed(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A text column as text without spaces around it, "" where blank."""
    if name in frame:
        found = tidy(frame[name])  # names differ in every row: leave them as they are where nothing is to change
        if found is not None:
            return found
    return _mapped(frame, name, str)


def words(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A text column for comparing: lower case, "" where blank."""
    return _mapped(frame, name, str.casefold)


def _mapped(frame, name, change):
    if name not in frame:
        return np.full(len(frame), "", dtype=object)
    codes, known = _known(frame, name, change)
    return known[codes]


def _known(frame, name, change):
    """(number of each row's text, the texts changed and then ""), which -1 stands for; two numbers may have one text."""
    if name not in frame:
        return np.full(len(frame), -1), np.array([""], dtype=object)
    codes, known = coded(frame[name])
    return codes, np.array([change(str(k).strip()) for k in known] + [""], dtype=object)


def text_codes(frame: pd.DataFrame, name: str, change=str) -> tuple[np.ndarray, np.ndarray]:
    """A text column as numbers: (the number of each row's text, the different texts by number, "" for blank). All of them occur.

    change: what is done to each text; str leaves them as `as_typed` has them, str.casefold makes them those of `words`.
    """
    code, known = _known(frame, name, change)
    numbers_: dict[str, int] = {}
    number = [numbers_.setdefault(text, len(numbers_)) for text in known[:-1]]
    if len(code) and int(code.min()) < 0:
        number.append(numbers_.setdefault("", len(numbers_)))
    return np.array(number, dtype=np.int64)[code], np.array(list(numbers_), dtype=object)


def word_codes(frame: pd.DataFrame, name: str) -> tuple[np.ndarray, np.ndarray]:
    """(number of each row's word, the words by number) of a text column as `words` has them; the last word is "" and stands for -1 too.

    Two numbers may have one word, as when it was typed in two ways.
    """
    return _known(frame, name, str.casefold)


def by_calendar(day, unit: str) -> np.ndarray:
    """Whole calendar years ("Y") or months ("M") since 1970 of days since 1970."""
    day = np.asarray(day, dtype=np.int64)
    if day.size > MANY:
        least, most = int(day.min()), int(day.max())
        if most - least < day.size:  # the calendar is asked once for each day, not for each line
            return _calendar(np.arange(least, most + 1), unit)[day - least]
    return _calendar(day, unit)


def _calendar(day, unit):
    return day.astype("datetime64[D]").astype(f"datetime64[{unit}]").astype(np.int64)


def years_of(day) -> np.ndarray:
    """Calendar years of days since 1970."""
    return by_calendar(day, "Y") + 1970


def first_day(year) -> np.ndarray:
    """Days since 1970 of 1 January."""
    begun = (np.asarray(year, dtype=np.int64) - 1970).astype("datetime64[Y]")
    return begun.astype("datetime64[D]").astype(np.int64)


def yes(frame: pd.DataFrame, name: str) -> np.ndarray:
    """True where a yes/no column says yes (a boolean True counts)."""
    if name in frame and frame[name].dtype == bool:
        return frame[name].to_numpy(copy=True)
    code, known = word_codes(frame, name)
    return np.isin(known, ("yes", "true"))[code]


@dataclass
class Diary:
    """Events as arrays, and the pairs (line, log) of the logs they name; a line is an index here."""

    kind: np.ndarray
    day: np.ndarray
    amount: np.ndarray
    minutes: np.ndarray
    whole_yard: np.ndarray
    line: np.ndarray
    log: np.ndarray
    frame: pd.DataFrame
    as_of: int

    def lines(self, *kinds: str) -> np.ndarray:
        """True for the lines of these kinds up to the as-of day."""
        found = np.zeros(len(self.day), dtype=bool)
        for kind in kinds:
            if kind in self._lines:
                found |= self._lines[kind]
        return found

    @cached_property
    def _lines(self) -> dict[str, np.ndarray]:
        """Kind -> True for its lines up to the as-of day."""
        codes, known = self.kinds
        small = codes.astype(np.int16 if len(known) < 2 ** 15 else np.int64)
        found: dict[str, np.ndarray] = {}
        for at, kind in enumerate(known):
            mine = (small == at) & self.seen
            found[kind] = found[kind] | mine if kind in found else mine
        return found

    @cached_property
    def kinds(self) -> tuple[np.ndarray, np.ndarray]:
        """(number of each line's kind, the kinds by number); two numbers may have one kind."""
        return coded(self.kind)

    @cached_property
    def _kind_of_pair(self) -> np.ndarray:
        """The kind of the line of each pair, as a number; -1 where it is dated after the as-of day."""
        codes, known = self.kinds
        return np.where(self.seen, codes, -1).astype(np.int16 if len(known) < 2 ** 15 else np.int64)[self.line]

    @cached_property
    def _pairs(self) -> dict:
        return {}

    def pairs(self, *kinds: str) -> tuple[np.ndarray, np.ndarray]:
        """(line, log) of the pairs of these kinds up to the as-of day, in their order; looked up once."""
        if kinds not in self._pairs:
            asked = np.append(np.isin(self.kinds[1], kinds), False)
            mine = np.flatnonzero(asked[self._kind_of_pair]) if asked.any() else np.zeros(0, dtype=np.int64)
            self._pairs[kinds] = self.line[mine], self.log[mine]
        return self._pairs[kinds]

    @cached_property
    def seen(self) -> np.ndarray:
        """True for lines dated up to the as-of day."""
        return self.day <= self.as_of

    @cached_property
    def named(self) -> np.ndarray:
        """Logs named, by line: 0 where none is known."""
        return np.bincount(self.line, minlength=len(self.day))


def diary(frames: dict, links: dict, as_of: int) -> Diary:
    """Events and their links as arrays."""
    events = frames.get("events", pd.DataFrame())
    pairs = links.get("event_links")
    line, log = pair_columns(pairs, "event")
    code, kinds = word_codes(events, "event")
    book = Diary(kinds[code], day_column(events, "date"), numbers(events, "amount"),
                 numbers(events, "minutes", 0.0), yes(events, "whole_yard"), line, log, events, as_of)
    book.kinds = np.where(code < 0, len(kinds) - 1, code), kinds  # the words were told apart just now
    return book


def pair_columns(pairs, what: str):
    """The two columns of a links table as whole numbers."""
    if pairs is None or not len(pairs):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return pairs[what].to_numpy(dtype=np.int64), pairs["log"].to_numpy(dtype=np.int64)


@dataclass
class Yard:
    """Logs rows as arrays, and every leaving: which row, after which day, how many logs, by which kind."""

    count: np.ndarray
    start: np.ndarray  # first day in the yard
    inoculated: np.ndarray
    as_of: int
    exit_log: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    exit_day: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    exit_take: np.ndarray = field(default_factory=lambda: np.zeros(0))
    exit_kind: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=object))
    borne: np.ndarray | None = None  # first day picked, soaked or seen with pins; None: of no log known
    claimed: dict = field(default_factory=dict)  # kind -> logs the lines say have left
    exit_lines: int = 0

    def __post_init__(self):
        order = np.lexsort((self.exit_day, self.exit_log))
        self.exit_log, self.exit_day = self.exit_log[order], self.exit_day[order]
        self.exit_take, self.exit_kind = self.exit_take[order], self.exit_kind[order]
        self._key = self.exit_log * _SPAN + self.exit_day + _SHIFT
        self._gone = np.concatenate(([0.0], np.cumsum(self.exit_take)))

    def __len__(self):
        return len(self.count)

    @cached_property
    def running(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """(first days rising, logs that had come before each and in all, days of leaving rising, logs that had left before each and in all)."""
        order, leave = np.argsort(self.start, kind="stable"), np.argsort(self.exit_day, kind="stable")
        came, left = (np.concatenate(([0.0], np.cumsum(logs))) for logs in (self.count[order], self.exit_take[leave]))
        return self.start[order], came, self.exit_day[leave], left

    def alive_at(self, log: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Logs of each row that are in the yard on each day (arrays of one length)."""
        there = np.where(self.start[log] <= day, self.count[log], 0.0)
        if len(self._key):
            upto = np.searchsorted(self._key, log * _SPAN + day + _SHIFT, side="left")
            first = np.searchsorted(self._key, log * _SPAN, side="left")
            there = there - (self._gone[upto] - self._gone[first])
        return np.maximum(np.round(there, 9), 0.0)

    def gone(self, kind: str) -> np.ndarray:
        """Logs of each row that have left in that way."""
        mine = self.exit_kind == kind
        return np.bincount(self.exit_log[mine], self.exit_take[mine], minlength=len(self)).astype(float)

    def entered(self) -> np.ndarray:
        """Logs of each row that have come into the yard by the as-of day."""
        return np.where(self.start <= self.as_of, self.count, 0.0)

    def alive(self) -> np.ndarray:
        """Logs of each row in the yard at the end of the as-of day."""
        left = self.entered() - np.bincount(self.exit_log, weights=self.exit_take, minlength=len(self))
        return np.maximum(np.round(left, 9), 0.0)

    def left(self) -> np.ndarray:
        """Logs of each row that have not been retired, lost or sold, also of rows that are still to come."""
        gone = np.bincount(self.exit_log, weights=self.exit_take, minlength=len(self))
        return np.maximum(np.round(self.count - gone, 9), 0.0)

    def is_inoculated(self) -> np.ndarray:
        """True for rows inoculated by the as-of day."""
        return self.inoculated <= self.as_of

    def is_at_work(self) -> np.ndarray:
        """True for rows inoculated by the as-of day, and for rows without a date that have borne by then."""
        return self.is_inoculated() if self.borne is None else self.is_inoculated() | (self.borne <= self.as_of)


def build(frames: dict, book: Diary) -> Yard:
    """The yard as known on the as-of day: dates on Logs, else of the first felled or inoculated event.

    A row without any of these is in the yard from the first event that handles it, such as a pick.
    """
    logs = frames["logs"]
    count = numbers(logs, "count", 1.0)
    inoculated = _first(day_column(logs, "inoculated"), book, "inoculated")
    start = np.minimum(_first(day_column(logs, "felled"), book, "felled"), inoculated)
    start = _first(start, book, *IN_THE_YARD)
    borne = np.where(inoculated >= NO_DAY, _first(inoculated, book, *BEARING), NO_DAY)
    exits = book.lines(*EXITS)
    pair = exits[book.line]
    line, log = book.line[pair], book.log[pair]
    unknown = start[log] >= NO_DAY  # left without ever having come: it was there when it left
    np.minimum.at(start, log[unknown], book.day[line[unknown]])
    take = _leaving(count, line, log, book)
    claimed = {}
    for kind in EXITS:
        mine = exits & (book.kind == kind)
        said = np.where(np.isnan(book.amount), 0.0, book.amount)[mine].sum()
        blank = np.isnan(book.amount[line]) & (book.kind[line] == kind)
        claimed[kind] = float(said + take[blank].sum())
    return Yard(count, start, inoculated, book.as_of, log, np.maximum(book.day[line], start[log]), take,
                book.kind[line], borne, claimed, int(exits.sum()))


def _first(typed: np.ndarray, book: Diary, *kinds: str) -> np.ndarray:
    """The typed day, else the day of the first such event naming the row."""
    if (typed < NO_DAY).all():
        return typed
    first = np.full(len(typed), NO_DAY)
    pair = book.lines(*kinds)[book.line]
    np.minimum.at(first, book.log[pair], book.day[book.line[pair]])
    return np.where(typed >= NO_DAY, first, typed)


def _leaving(count, line, log, book):
    """How many logs each (line, log) pair takes away; a row never loses more than it holds."""
    take = np.zeros(len(line))
    if not len(line):
        return take
    often = np.bincount(log, minlength=len(count)) > 1
    tangled = np.zeros(len(book.day), dtype=bool)
    tangled[line[often[log]]] = True
    plain = ~tangled[line]
    total = np.bincount(line[plain], weights=count[log[plain]], minlength=len(book.day))
    asked = book.amount[line[plain]]
    with np.errstate(invalid="ignore"):
        part = np.where(np.isnan(asked), 1.0, np.minimum(1.0, asked / np.maximum(total[line[plain]], TINY)))
    take[plain] = count[log[plain]] * part
    rest = np.flatnonzero(~plain)
    if len(rest):
        left = count.copy()
        at = line[rest]  # of one day: in an order that does not hang on the order of the rows
        rest = rest[np.lexsort((at, book.amount[at], book.kind[at].astype(str), book.day[at]))]
        for pairs in np.split(rest, np.flatnonzero(np.diff(line[rest])) + 1):
            there, asked = left[log[pairs]], book.amount[line[pairs[0]]]
            whole = there.sum()
            share = 1.0 if np.isnan(asked) or asked >= whole - TINY else asked / whole
            take[pairs] = there * share
            left[log[pairs]] = np.where(there * (1.0 - share) < TINY, 0.0, there * (1.0 - share))
    return take


def event_shares(book: Diary, yard: Yard, mask: np.ndarray):
    """For the lines in `mask`: (line, log, share), the shares of a line adding up to 1.

    A line is shared by the logs in the yard that day among those it names; where none of them was, by Count.
    """
    pair = mask[book.line]
    line, log = book.line[pair], book.log[pair]
    alive = yard.alive_at(log, book.day[line])
    there = np.bincount(line, weights=alive, minlength=len(book.day))[line]
    every = np.bincount(line, weights=yard.count[log], minlength=len(book.day))[line]
    with np.errstate(invalid="ignore", divide="ignore"):
        return line, log, np.where(there > TINY, alive / there, yard.count[log] / every)


def share_over_yard(yard: Yard, day: np.ndarray, amount: np.ndarray):
    """Amounts of whole-yard lines shared over the logs in the yard on each day, by number of logs.

    Returns (amount by log row, True for each line that found a log). Where the yard was empty, the logs of
    the next day of inoculation carry it, up to the as-of day; if there is none the line waits. By running
    sums over sorted days: each log takes what was charged to one log between its first and its last day.
    """
    by_log = np.zeros(len(yard))
    if not len(day):
        return by_log, np.zeros(0, dtype=bool)
    known, where = distinct(day)
    pot = np.bincount(where, weights=amount)
    alive = _alive_in_all(yard, known)
    there = alive > TINY
    rate = np.concatenate(([0.0], np.cumsum(np.where(there, pot / np.where(there, alive, 1.0), 0.0))))
    by_log += yard.count * (rate[-1] - rate[np.searchsorted(known, yard.start, side="left")])
    after = rate[-1] - rate[np.searchsorted(known, yard.exit_day, side="right")]
    by_log -= np.bincount(yard.exit_log, weights=yard.exit_take * after, minlength=len(yard))
    by_log[np.abs(by_log) < TINY] = 0.0
    if there.all():
        return by_log, there[where]
    found = there.copy()
    batches = distinct(yard.inoculated[yard.is_inoculated()])[0]
    following = np.searchsorted(batches, known, side="right")
    late = ~there & (following < len(batches))
    if late.any():
        found |= late
        share = np.bincount(following[late], weights=pot[late], minlength=len(batches))
        batch = np.searchsorted(batches, yard.inoculated)
        mine = np.flatnonzero(yard.is_inoculated())
        logs = np.bincount(batch[mine], weights=yard.count[mine], minlength=len(batches))
        by_log[mine] += yard.count[mine] / logs[batch[mine]] * share[batch[mine]]
    return by_log, found[where]


def _alive_in_all(yard: Yard, day: np.ndarray) -> np.ndarray:
    """Logs in the whole yard on each day."""
    start, came, leave, left = yard.running
    return came[np.searchsorted(start, day, side="right")] - left[np.searchsorted(leave, day, side="left")]

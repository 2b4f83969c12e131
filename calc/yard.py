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

from calc.text_columns import tidy

NO_DAY = 2 ** 40
BEARING = ("picked", "soaked", "pins seen")
IN_THE_YARD = (*BEARING, "waxed", "stacked", "moved", "turned", "weighed", "checked")
EXITS = ("retired", "lost", "sold as log")
_SPAN, _SHIFT = 2 ** 42, 2 ** 20  # one sorted key out of log and day
TINY = 1e-9


def days(values) -> np.ndarray:
    """Dates as whole days since 1970-01-01; NO_DAY where blank."""
    found = pd.to_datetime(pd.Series(values)).to_numpy().astype("datetime64[D]")
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
    found = pd.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isnan(found), blank, found)


def as_typed(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A text column as text without spaces around it, "" where blank."""
    if name in frame:
        found = tidy(frame[name])  # names differ in every row: leave them as they are where nothing is to change
        if found is not None:
            return found
    return _mapped(frame, name, lambda text: text)


def words(frame: pd.DataFrame, name: str) -> np.ndarray:
    """A text column for comparing: lower case, "" where blank."""
    return _mapped(frame, name, str.casefold)


def _mapped(frame, name, change):
    if name not in frame:
        return np.full(len(frame), "", dtype=object)
    codes, known = pd.factorize(frame[name], use_na_sentinel=True)
    return np.array([change(str(k).strip()) for k in known] + [""], dtype=object)[codes]


def coded(frame: pd.DataFrame, name: str, change=str) -> tuple[np.ndarray, np.ndarray]:
    """A text column as numbers: (the place of each row's text, the different texts as as_typed has them, "" for blank).

    change: what is done to each different text, such as str.casefold to compare as `words` does.
    """
    if name not in frame:
        return np.zeros(len(frame), dtype=np.int64), np.array([""] * min(len(frame), 1), dtype=object)
    codes, known = pd.factorize(frame[name], use_na_sentinel=True)
    places: dict[str, int] = {}
    place = [places.setdefault(change(str(k).strip()), len(places)) for k in known]
    if len(codes) and codes.min() < 0:
        place.append(places.setdefault("", len(places)))
    return np.array(place, dtype=np.int64)[codes], np.array(list(places), dtype=object)


def distinct(whole: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(the different whole numbers in order, the place of each of all among them); fast where they lie close, as days and codes do."""
    if not len(whole):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    low, high = int(whole.min()), int(whole.max())
    if high - low > 4 * len(whole) + 1024:  # blank dates lie far off
        codes, known = pd.factorize(whole)
        order = np.argsort(known)
        place = np.empty(len(known), dtype=np.int64)
        place[order] = np.arange(len(known))
        return known[order], place[codes]
    there = np.zeros(high - low + 1, dtype=bool)
    there[whole - low] = True
    return np.flatnonzero(there) + low, (np.cumsum(there) - 1)[whole - low]


def alike(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows alike in all these columns of whole numbers: (the number of each row's kind, the first row of each kind)."""
    code = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        known, place = distinct(column.astype(np.int64, copy=False))
        code = distinct(code * max(len(known), 1) + place)[1]
    first = np.zeros(int(code.max(initial=-1)) + 1, dtype=np.int64)
    first[code[::-1]] = np.arange(len(code))[::-1]
    return code, first


def yes(frame: pd.DataFrame, name: str) -> np.ndarray:
    """True where a yes/no column says yes (a boolean True counts)."""
    return np.isin(words(frame, name), ("yes", "true"))


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
        codes, known = self._kinds
        return np.isin(known, kinds)[codes] & self.seen

    @cached_property
    def _kinds(self) -> tuple[np.ndarray, np.ndarray]:
        """The kinds as numbers, and the kind of each number."""
        return pd.factorize(self.kind)

    @cached_property
    def _kind_of_pair(self) -> np.ndarray:
        """The kind of the line of each pair, as a number; -1 where it is dated after the as-of day."""
        codes, known = self._kinds
        return np.where(self.seen, codes, -1).astype(np.int16 if len(known) < 2 ** 15 else np.int64)[self.line]

    @cached_property
    def _pairs(self) -> dict:
        return {}

    def pairs(self, *kinds: str) -> tuple[np.ndarray, np.ndarray]:
        """(line, log) of the pairs of these kinds up to the as-of day, in their order; looked up once."""
        if kinds not in self._pairs:
            asked = np.append(np.isin(self._kinds[1], kinds), False)
            mine = np.flatnonzero(asked[self._kind_of_pair]) if asked.any() else np.zeros(0, dtype=np.int64)
            self._pairs[kinds] = self.line[mine], self.log[mine]
        return self._pairs[kinds]

    @property
    def seen(self) -> np.ndarray:
        """True for lines dated up to the as-of day."""
        return self.day <= self.as_of

    @property
    def named(self) -> np.ndarray:
        """Logs named, by line: 0 where none is known."""
        return np.bincount(self.line, minlength=len(self.day))


def diary(frames: dict, links: dict, as_of: int) -> Diary:
    """Events and their links as arrays."""
    events = frames.get("events", pd.DataFrame())
    pairs = links.get("event_links")
    line, log = pair_columns(pairs, "event")
    return Diary(words(events, "event"), day_column(events, "date"), numbers(events, "amount"),
                 numbers(events, "minutes", 0.0), yes(events, "whole_yard"), line, log, events, as_of)


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
    undated = np.full(len(logs), NO_DAY)
    start = np.where(start >= NO_DAY, _first(undated, book, *IN_THE_YARD), start)
    borne = np.where(inoculated >= NO_DAY, _first(undated, book, *BEARING), NO_DAY)
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
    known, where = np.unique(day, return_inverse=True)
    pot = np.bincount(where, weights=amount)
    alive = _alive_in_all(yard, known)
    there = alive > TINY
    rate = np.concatenate(([0.0], np.cumsum(np.where(there, pot / np.where(there, alive, 1.0), 0.0))))
    by_log += yard.count * (rate[-1] - rate[np.searchsorted(known, yard.start, side="left")])
    after = rate[-1] - rate[np.searchsorted(known, yard.exit_day, side="right")]
    by_log -= np.bincount(yard.exit_log, weights=yard.exit_take * after, minlength=len(yard))
    by_log[np.abs(by_log) < TINY] = 0.0
    found = there.copy()
    batches = np.unique(yard.inoculated[yard.is_inoculated()])
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
    order = np.argsort(yard.start, kind="stable")
    came = np.concatenate(([0.0], np.cumsum(yard.count[order])))
    leave = np.argsort(yard.exit_day, kind="stable")
    left = np.concatenate(([0.0], np.cumsum(yard.exit_take[leave])))
    return (came[np.searchsorted(yard.start[order], day, side="right")]
            - left[np.searchsorted(yard.exit_day[leave], day, side="left")])

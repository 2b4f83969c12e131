"""Which logs a text means: a log, a range A1-A20, a list, a place, a wood, a strain, a year, or all.

An exact log name comes first, then the name without regard to case, spaces, dashes and leading zeros, then a
range, a place, a wood, a strain. A text with two readings is a question. Each distinct text is read once.
"""
from __future__ import annotations

import difflib
import re
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat

import numpy as np
import pandas as pd

from calc.problems import Ask, either, quote
from calc.quantities import normal
from calc.text_columns import Coded, simple_names

ALL, LOG, RANGE, LIST = "all", "log", "range", "list"
PLACE, WOOD, STRAIN, YEAR = "place", "wood", "strain", "year"
GROUPS = (ALL, PLACE, WOOD, STRAIN, YEAR)  # named by what they are, not one by one

ALL_WORDS = frozenset(("", "all", "all logs", "all the logs", "all of them", "every log", "everything", "*",
                       "yard", "whole yard", "the whole yard"))
ENDS = re.compile(r"\s*(?:-+|:|\.{2,}|…|\bto\b)\s*")
NAME = re.compile(r"^(.*?)(\d+)(\D*)$")
IGNORED = re.compile(r"(?<!\d)[\s_-]+|[\s_-]+(?!\d)")
LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")
WIDEST_RANGE = 1_000_000
LONGEST_RANGE = 80  # characters
MOST_LINKS = 20_000_000  # pairs of a row and a log that are held at once
MOST_NAMED = 10  # members listed in a message
MOST_LOOKED_UP = 50  # unknown texts for which the nearest names are looked for


@dataclass(frozen=True)
class Selection:
    """Logs meant: positions in the index, ascending, and how they were named (one of the words above).

    notes: what should be said about the reading (a range written backwards). missing: members of a range or a
    list that are no log.
    """

    indices: np.ndarray
    how: str
    notes: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def loose(name: str) -> str:
    """A log name without regard to case, leading zeros, or spaces and dashes except between digits.

    >>> loose("A 01"), loose("n-07"), loose("10-2"), loose("007")
    ('a1', 'n7', '10-2', '7')
    """
    plain = IGNORED.sub("", normal(name))
    return LEADING_ZEROS.sub("", plain) if "0" in plain else plain


def loose_names(names) -> np.ndarray:
    """`loose` of every name, whole columns at a time.

    >>> loose_names(np.array(["A 01", "b007", "10-2"], dtype=object)).tolist()
    ['a1', 'b7', '10-2']
    """
    names = np.asarray(names, dtype=object)
    simple, plain = simple_names(names)
    for at in np.flatnonzero(~simple):
        plain[at] = loose(str(names[at]))
    return plain


class LogIndex:
    """The logs of the yard by name, place, wood, strain and year of inoculation.

    names: log names, one for each row; a name may stand twice where a retired log's name was given again.
    left_out: names on Logs whose row could not be used, with the reason in words ("is on Logs row 14, which
    is left out").
    """

    def __init__(self, names, woods=None, strains=None, places=None, years=None, left_out=None):
        self.names = np.asarray(names, dtype=object)
        blank = np.full(len(self.names), None, dtype=object)
        given = {WOOD: woods, STRAIN: strains, PLACE: places}
        self._texts = {k: blank if v is None else np.asarray(v, dtype=object) for k, v in given.items()}
        self.years = np.full(len(self.names), np.nan) if years is None else np.asarray(years, dtype=float)
        self.left_out = {k.strip(): v for k, v in (left_out or {}).items()}
        self._left_loose = {loose(k): v for k, v in self.left_out.items()}
        self._looked_up = 0

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def _exact(self) -> dict:
        """Name as written -> its position, or the positions of one that stands more than once."""
        found = dict(zip(self.names.tolist(), range(len(self)), strict=True))
        if len(found) < len(self):
            again = defaultdict(list)
            for position in np.flatnonzero(pd.Series(self.names).duplicated(keep=False)).tolist():
                again[self.names[position]].append(position)
            found |= {name: np.array(positions) for name, positions in again.items()}
        return found

    @cached_property
    def _plain(self) -> list[str]:
        return loose_names(self.names).tolist()

    @cached_property
    def _loose(self) -> dict:
        """Plain name -> positions."""
        found = defaultdict(list)
        for position, name in enumerate(self._plain):
            found[name].append(position)
        return found

    @cached_property
    def _series(self) -> dict:
        """(text before, text after the number) -> (numbers ascending, their positions)."""
        found = defaultdict(list)
        for position, name in enumerate(self._plain):
            match = NAME.match(name)
            if match and len(match[2]) < 16:
                found[(match[1], match[3])].append((int(match[2]), position))
        return {key: tuple(np.array(column) for column in zip(*sorted(pairs), strict=True))
                for key, pairs in found.items()}

    @cached_property
    def _groups(self) -> dict:
        """kind -> {plain words: (name as written, positions)}."""
        found = {}
        for kind, values in self._texts.items():
            codes, known = pd.factorize(values, use_na_sentinel=True)
            order = np.argsort(codes, kind="stable")
            cuts = np.searchsorted(codes[order], np.arange(len(known) + 1))
            groups = {}
            for code, name in enumerate(known):
                positions = order[cuts[code]:cuts[code + 1]]
                words = _words(name)
                groups[words] = (name, np.sort(np.concatenate((groups[words][1], positions)))) \
                    if words in groups else (name, positions)
            found[kind] = groups
        return found

    def exact(self, texts) -> np.ndarray:
        """Position of each text that is a log name as written, -1 where it is none or stands twice."""
        found = map(self._exact.get, texts, repeat(-1))
        return np.fromiter((at if type(at) is int else -1 for at in found), dtype=np.int64, count=len(texts))

    def find(self, text: str | None, years: bool = False) -> Selection | Ask:
        """The logs a text means. years: a year means the logs inoculated in it. Raises nothing."""
        text = "" if text is None else str(text).strip()
        if text in self._exact:
            return Selection(np.atleast_1d(self._exact[text]), LOG)
        plain = normal(text)
        if plain in ALL_WORDS:
            return Selection(np.arange(len(self)), ALL)
        if text in self.left_out:
            return Ask(self.left_out[text], code="log_left_out")
        readings = self._readings(text, plain, years)
        distinct = {tuple(r.indices.tolist()): r for r in readings}
        if len(distinct) == 1:
            return next(iter(distinct.values()))
        if distinct:
            offers = tuple(str(self.names[r.indices[0]]) for r in distinct.values() if r.how == LOG)
            return Ask(f"can be {either(self._named(r) for r in distinct.values())}", offers, "two_readings")
        listed = self._list(text, years)
        if listed is not None:
            return listed
        return self._unknown(text)

    def _readings(self, text: str, plain: str, years: bool) -> list[Selection]:
        found = []
        same = self._loose.get(loose(text), [])
        if len({self.names[i] for i in same}) == 1:
            found.append(Selection(np.array(same), LOG))
        elif same:
            found += [Selection(np.array([i]), LOG) for i in same[:4]]
        span = None if same else self._range(text)
        if span is not None:
            found.append(span)
        found += self._group_readings(plain)
        year = re.fullmatch(r"(?:all |year |inoculated (?:in )?)*((?:19|20)\d\d)", plain)
        if years and year:
            found.append(Selection(np.flatnonzero(self.years == int(year[1])), YEAR))
        return [r for r in found if len(r.indices)] if len(found) > 1 else found

    def _group_readings(self, plain: str) -> list[Selection]:
        words = re.sub(r"^(?:all|every|whole)(?: of)?(?: the)? | logs?$", "", plain)
        found = []
        for kind, groups in self._groups.items():
            whole = groups.get(_words(words)) or groups.get(_words(plain))
            if whole:
                found.append(Selection(whole[1], kind))
        if found:
            return found
        wanted = set(_words(words).split())
        for kind, groups in self._groups.items() if wanted else ():
            parts = [positions for name, (_, positions) in groups.items() if wanted <= set(name.split())]
            if parts:
                found.append(Selection(np.sort(np.concatenate(parts)), kind))
        return found

    def _range(self, text: str) -> Selection | None:
        plain = normal(text) if len(text) <= LONGEST_RANGE else ""
        for cut in ENDS.finditer(plain):
            first, last = NAME.match(loose(plain[:cut.start()])), NAME.match(loose(plain[cut.end():]))
            if not first or not last or len(first[2]) > 15 or len(last[2]) > 15:
                continue
            if (last[1], last[3]) != (first[1], first[3]) and (last[1] or last[3] not in ("", first[3])):
                continue
            low, high = sorted((int(first[2]), int(last[2])))
            series = self._series.get((first[1], first[3]))
            if series is None or high - low > WIDEST_RANGE:
                continue
            backwards = int(first[2]) > int(last[2])
            return self._members(series, low, high, backwards, text)
        return None

    def _members(self, series, low, high, backwards, text) -> Selection | None:
        numbers, positions = series
        start, stop = np.searchsorted(numbers, low, "left"), np.searchsorted(numbers, high, "right")
        if start == stop:
            return None
        there = np.unique(numbers[start:stop])
        count, missing = high - low + 1 - len(there), ()
        if count:
            first = np.arange(low, min(high, low + len(there) + MOST_NAMED) + 1)
            head = np.setdiff1d(first, there)[:MOST_NAMED]
            name = str(self.names[positions[start]])
            style = NAME.match(name) or NAME.match(normal(name))
            width = len(style[2]) if style[2].startswith("0") else 0
            missing = tuple(f"{style[1]}{n:0{width}d}{style[3]}" for n in head)
            missing += (f"{count - len(head)} more",) if count > len(head) else ()
        notes = (f"the range {quote(text)} runs backwards; the same logs were taken",) if backwards else ()
        return Selection(np.sort(positions[start:stop]), RANGE, notes, missing)

    def _list(self, text: str, years: bool) -> Selection | Ask | None:
        """A list of logs, ranges and groups: A1, A3, A5-A9; known members count where others are unknown."""
        parts = [p for p in re.split(r"\s*(?:[,;&+\n]|\band\b)\s*", text) if p.strip()]
        if len(parts) < 2:
            parts = text.split()
            if len(parts) < 2 or any(loose(p) not in self._loose for p in parts):
                return None
        if len(parts) > 1000 or any(normal(p) in ALL_WORDS for p in parts):
            return None
        found, notes, missing = [], [], []
        for part in parts:
            one = self.find(part, years)
            if isinstance(one, Ask):
                if one.code == "two_readings":
                    return Ask(f"holds {quote(part)}, which {one.question}", one.offers, one.code)
                missing.append(part)
                continue
            found.append(one.indices)
            notes += one.notes
            missing += one.missing
        if not found:
            return None
        everything = np.concatenate(found)
        distinct = np.unique(everything)
        if len(distinct) < len(everything):
            notes.append(f"{quote(text)} names a log more than once; it counts once")
        return Selection(distinct, LIST, tuple(notes), tuple(missing))

    def reason(self, name: str) -> str | None:
        """Why a name on Logs is no log here, or None where it is not on Logs at all."""
        return self.left_out.get(name) or self._left_loose.get(loose(name))

    def _unknown(self, text: str) -> Ask:
        reason = self.reason(text)
        if reason:
            return Ask(reason, code="log_left_out")
        self._looked_up += 1
        offers = self._nearest(text) if self._looked_up <= MOST_LOOKED_UP else ()
        return Ask("is not on Logs", offers, "unknown_log")

    @cached_property
    def _pools(self) -> dict:
        """(first character, length) of a plain name -> plain names."""
        found = defaultdict(list)
        for key in self._loose:
            found[(key[:1], len(key))].append(key)
        return found

    def _nearest(self, text: str) -> tuple[str, ...]:
        """Up to three names closest in spelling, of about the same length and with the same beginning."""
        if len(text) > 60 or re.search(r"\d\s*(?:-|–|to|:)\s*\w", text):  # no log is near to a range
            return ()
        plain = loose(text)
        known = {}
        for length in range(len(plain) - 2, len(plain) + 3):
            for key in self._pools.get((plain[:1], length), ())[:1000]:
                known[key] = str(self.names[self._loose[key][0]])
        for name, _ in (group for kind in self._groups.values() for group in kind.values()):
            for words in (name, str(name).split(",")[0]):
                known.setdefault(loose(words), words)
        turned = [key for key in known if sorted(key) == sorted(plain)]  # two characters changed over
        digits = loose(re.sub(r"(?<=\d)[oOlI]|[oOlI](?=\d)", lambda m: "0" if m[0] in "oO" else "1", text))
        if digits in self._loose:  # a letter that looks like a digit
            known[digits] = str(self.names[self._loose[digits][0]])
            turned.insert(0, digits)
        close = difflib.get_close_matches(plain, list(known), 3, 0.7)
        return tuple(known[key] for key in list(dict.fromkeys(turned + close))[:3])

    def _named(self, selection: Selection) -> str:
        """A reading in words: "the place of that name (12 logs)"."""
        count = len(selection.indices)
        if selection.how == LOG:
            return f"log {self.names[selection.indices[0]]}"
        logs = "1 log" if count == 1 else f"{count} logs"
        how = selection.how
        return f"a range of {logs}" if how == RANGE else f"the {how} of that name ({logs})"


def _words(text: str) -> str:
    """A name of a wood, a strain or a place as plain words."""
    return " ".join(re.sub(r"[^\w]+", " ", normal(text)).split())


def find_many(index: LogIndex, texts: np.ndarray | Coded, years: bool = False, whole=None, most: int = MOST_LINKS):
    """Read a column of texts: (item, log, how, answers).

    item, log: positions linking each text with each log it means, in order of item; how: for each text the
    way its logs were named, "" where none; answers: distinct text -> Selection or Ask for every text that is
    no exact name. A blank text gets no link. whole: True for texts whose "all" is not spelled out as links.
    most: links in all; texts that would go beyond are an Ask.
    """
    coded = texts if isinstance(texts, Coded) else Coded.of(np.asarray(texts, dtype=object))
    codes, known = coded.codes, coded.words
    how = np.full(len(codes), "", dtype=object)
    at = np.append(index.exact(known), -1) if len(known) else np.array([-1])
    position = at[codes]
    plain = np.flatnonzero(position >= 0)
    how[plain] = LOG
    items, logs, total = [plain], [position[plain]], len(plain)
    answers = {}
    odd = np.flatnonzero((position < 0) & (codes >= 0))
    order = odd[np.argsort(codes[odd], kind="stable")]
    for group in np.split(order, np.flatnonzero(np.diff(codes[order])) + 1) if len(order) else ():
        text = known[codes[group[0]]]
        answer = index.find(text, years)
        if isinstance(answer, Selection):
            how[group] = answer.how
            if whole is not None and answer.how == ALL:
                group = group[~whole[group]]
            if total + len(group) * len(answer.indices) > most:
                how[group] = ""
                answers[text] = Ask("names more logs, in more rows, than can be counted", code="too_many")
                continue
            total += len(group) * len(answer.indices)
            items.append(np.repeat(group, len(answer.indices)))
            logs.append(np.tile(answer.indices, len(group)))
        answers[text] = answer
    item, log = np.concatenate(items), np.concatenate(logs)
    if len(items) > 1:
        order = np.argsort(item, kind="stable")
        item, log = item[order], log[order]
    return item.astype(np.int64), log.astype(np.int64), how, answers

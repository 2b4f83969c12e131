"""Names of many logs in few words, as they may be typed on Events: A1-A20, B3."""
from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import pandas as pd

from calc.text_columns import byte_rows

NUMBERED = re.compile(r"^(.*?)(\d+)$", re.DOTALL)
FEW = 300  # names: up to here one by one
MOST_DIGITS = 18  # of a number that a whole number of 64 bits holds


class Spans:
    """Spans of names, each put into words when it is asked for: of many only the first are shown."""

    def __init__(self, ranked: Ranked, first: np.ndarray, last: np.ndarray):
        self.ranked, self.first, self.last = ranked, first, last

    def __len__(self):
        return len(self.first)

    def __iter__(self):
        for first, last in zip(map(self.ranked.name, self.first), map(self.ranked.name, self.last), strict=True):
            yield first if first == last else f"{first}-{last}"


class Ranked:
    """Names put in order once, for the spans of many parts of them.

    names: a list, an array of texts or a text column. Plain names of a big yard are ordered by their bytes, all at once; the others, and
    a few, one by one.
    """

    def __init__(self, names):
        self.names = names.array if isinstance(names, pd.Series) else names
        found = _by_bytes(names) if len(names) > FEW else None
        found = _one_by_one(list(map(str, self.names))) if found is None else found
        self.order, self.bare, steps = found
        self.rank = np.empty(len(self.order), dtype=np.int64)
        self.rank[self.order] = np.arange(len(self.order))
        self.reach = np.cumsum(steps)

    def name(self, rank: int) -> str:
        return self.names[self.order[rank]]

    def spans(self, places) -> Spans:
        """Those at these places in order, runs of numbered ones joined."""
        rank = np.sort(self.rank[places], kind="stable")  # most often in order already
        starts = np.flatnonzero((np.diff(self.reach[rank], prepend=-2) > 1) | self.bare[rank])
        ends = np.append(starts[1:] - 1, len(rank) - 1)[:len(starts)]
        return Spans(self, rank[starts], rank[ends])


def _one_by_one(names):
    """(places of the names in order, True where one has no number, steps from each to the next: 2 where no run goes on)."""
    parts = [_parted(name) for name in names]
    order = sorted(range(len(parts)), key=parts.__getitem__)
    bare = np.array([parts[i][1] < 0 for i in order], dtype=bool)
    steps = [0] + [n - m if p == q and m >= 0 and n - m in (0, 1) else 2
                   for (q, m, _), (p, n, _) in zip(map(parts.__getitem__, order), map(parts.__getitem__, order[1:]), strict=False)]
    return np.array(order, dtype=np.int64), bare, np.array(steps[:len(parts)], dtype=np.int64)


def _by_bytes(names):
    """The same as _one_by_one from the bytes of plain names; None where one is not plain ASCII or a number is too long."""
    found = byte_rows(names)
    if found is None:
        return None
    letters, size = found
    wide = letters.shape[1]
    at, going = np.arange(len(size)), np.ones(len(size), dtype=bool)
    number, digits = np.zeros(len(size), dtype=np.int64), np.zeros(len(size), dtype=np.int64)
    for back in range(1, wide + 1):  # digits from the end of each name
        digit = letters[at, size - back] - np.uint8(48)
        going = going & (digit <= 9) & (size >= back)
        if not going.any():
            break
        if back > MOST_DIGITS:
            return None
        number += np.where(going, digit.astype(np.int64) * 10 ** (back - 1), 0)
        digits += going
    bare = digits == 0
    number[bare] = -1
    texts = _in_eights(letters, size - digits)
    length = np.where(number > 0, -size, size)  # of names alike in text and number, that with more zeros stands first by its letters
    keys = [key for key in (length, number, *texts[::-1]) if len(key) and (key != key[0]).any()]
    order = np.lexsort(keys) if keys else at
    step = np.diff(number[order])
    step[(step < 0) | (step > 1) | bare[order][:-1]] = 2  # a name without a number is no run's beginning
    for key in texts:
        step[np.diff(key[order]) != 0] = 2
    return order, bare[order], np.append(np.zeros(min(len(size), 1), dtype=np.int64), step)


def _in_eights(letters: np.ndarray, size: np.ndarray) -> list[np.ndarray]:
    """The first letters of each row as whole numbers that stand in the same order, eight letters each."""
    wide = int(size.max(initial=0))
    held = np.zeros((len(size), -(-wide // 8) * 8), dtype=np.uint8)
    held[:, :wide] = np.where(np.arange(wide) < size[:, None], letters[:, :wide], 0)
    return list(held.view(">u8").astype(np.int64).T)  # plain letters are below 128: no sign is lost


def spans(names) -> list[str]:
    """Names in order, runs of numbered ones joined.

    >>> spans(["A2", "B", "A1", "A3", "A9"])
    ['A1-A3', 'A9', 'B']
    >>> spans(["A", "A0", "A1"])
    ['A', 'A0-A1']
    """
    return list(Ranked(names).spans(slice(None)))


@lru_cache(maxsize=1 << 18)
def _parted(name: str) -> tuple[str, int, str]:
    """Text before the number, the number (-1 without one), the name."""
    found = NUMBERED.match(name)
    return (found.group(1), int(found.group(2)), name) if found else (name, -1, name)


def in_words(names, count: float, clip: int = 56) -> str:
    """Which logs, and how many where names and logs differ: "A1-A20, B3 (21 logs)"; long lists are cut and say so.

    >>> in_words(["A1"], 1.0), in_words(["N1", "N2"], 80.0)
    ('A1', 'N1-N2 (80 logs)')
    """
    return said(Ranked(names).spans(slice(None)), len(names), count, clip)


def said(found: Spans, names: int, count: float, clip: int = 56) -> str:
    """in_words of so many names, by their spans."""
    shown: list[str] = []
    for text in found:
        if shown and len(", ".join([*shown, text])) > clip:
            break
        shown.append(text)
    rest = len(found) - len(shown)
    words = ", ".join(shown) + (f" and {rest} more" if rest else "")
    return words if names == 1 and count == 1 else f"{words} ({np.round(count, 2):g} logs)"


def logs_words(number: float) -> str:
    """A number of logs with its word.

    >>> logs_words(1.0), logs_words(12)
    ('1 log', '12 logs')
    """
    return f"{number:g} log{'' if number == 1 else 's'}"

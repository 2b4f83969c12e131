"""Names of many logs in few words, as they may be typed on Events: A1-A20, B3."""
from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

NUMBERED = re.compile(r"^(.*?)(\d+)$", re.DOTALL)


class Ranked:
    """Names put in order once, for the spans of many parts of them."""

    def __init__(self, names):
        parts = [_parted(name) for name in names]
        order = sorted(range(len(parts)), key=parts.__getitem__)
        self.names = [parts[i][2] for i in order]
        self.rank = np.empty(len(parts), dtype=np.int64)
        self.rank[order] = np.arange(len(parts))
        self.bare = np.array([parts[i][1] < 0 for i in order], dtype=bool)
        steps = [0] + [n - m if p == q and n - m in (0, 1) else 2  # 2: no run goes on here
                       for (q, m, _), (p, n, _) in zip(map(parts.__getitem__, order), map(parts.__getitem__, order[1:]), strict=False)]
        self.reach = np.cumsum(steps[:len(parts)])

    def spans(self, places) -> list[str]:
        """Those at these places in order, runs of numbered ones joined."""
        rank = np.sort(self.rank[places])
        starts = np.flatnonzero((np.diff(self.reach[rank], prepend=-2) > 1) | self.bare[rank])
        ends = [*(starts[1:] - 1), len(rank) - 1][:len(starts)]
        pairs = zip(rank[starts].tolist(), rank[ends].tolist(), strict=True)
        return [first if first == last else f"{first}-{last}" for first, last in ((self.names[a], self.names[b]) for a, b in pairs)]


def spans(names) -> list[str]:
    """Names in order, runs of numbered ones joined.

    >>> spans(["A2", "B", "A1", "A3", "A9"])
    ['A1-A3', 'A9', 'B']
    """
    return Ranked(names).spans(slice(None))


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
    return said(spans(names), len(names), count, clip)


def said(found: list[str], names: int, count: float, clip: int = 56) -> str:
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

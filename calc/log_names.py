"""Names of many logs in few words, as they may be typed on Events: A1-A20, B3."""
from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

NUMBERED = re.compile(r"^(.*?)(\d+)$", re.DOTALL)


def spans(names) -> list[str]:
    """Names in order, runs of numbered ones joined.

    >>> spans(["A2", "B", "A1", "A3", "A9"])
    ['A1-A3', 'A9', 'B']
    """
    parts = sorted(map(_parted, names))
    if not parts:
        return []
    prefix, number, name = zip(*parts, strict=True)
    first = [True] + [n < 0 or n - m not in (0, 1) or p != q for p, q, n, m in zip(prefix[1:], prefix, number[1:], number, strict=False)]
    starts = [i for i, begins in enumerate(first) if begins]
    return [name[a] if name[a] == name[b - 1] else f"{name[a]}-{name[b - 1]}" for a, b in zip(starts, [*starts[1:], len(name)], strict=True)]


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
    found = spans(names)
    shown: list[str] = []
    for text in found:
        if shown and len(", ".join([*shown, text])) > clip:
            break
        shown.append(text)
    rest = len(found) - len(shown)
    words = ", ".join(shown) + (f" and {rest} more" if rest else "")
    return words if len(names) == 1 and count == 1 else f"{words} ({np.round(count, 2):g} logs)"

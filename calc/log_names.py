"""Names of many logs in few words, as they may be typed on Events: A1-A20, B3."""
from __future__ import annotations

import re

import numpy as np

NUMBERED = re.compile(r"^(.*?)(\d+)$", re.DOTALL)


def spans(names) -> list[str]:
    """Names in order, runs of numbered ones joined.

    >>> spans(["A2", "B", "A1", "A3", "A9"])
    ['A1-A3', 'A9', 'B']
    """
    parts = []
    for name in names:
        found = NUMBERED.match(name)
        parts.append((found.group(1), int(found.group(2)), name) if found else (name, -1, name))
    runs: list[list] = []
    for prefix, number, name in sorted(parts):
        last = runs[-1] if runs else None
        if last and number >= 0 and last[0] == prefix and number in (last[1], last[1] + 1):
            last[1], last[3] = number, name
        else:
            runs.append([prefix, number, name, name])
    return [first if first == last else f"{first}-{last}" for _, _, first, last in runs]


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

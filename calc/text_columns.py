"""Whole columns of text at once: which cells need a closer look, so that Python reads only those.

A column is an object array of str and None. Nothing here decides what a text means; it only finds the few cells that the
exact reading, text by text, has to see.
"""

from __future__ import annotations

import numpy as np

UNTIDY = r"^ | $|  |[^ -~]|^$"  # spaces at an end or in a row, anything beyond plain ASCII, nothing at all
SIMPLE_NAME = r"^[A-Za-z]*[0-9]*$"


def matching(values: np.ndarray, pattern: str) -> np.ndarray:
    """Indices of the texts in which the pattern (RE2, letters of either case alike) is found; blanks never match.

    >>> matching(np.array(["Total", None, "wax", "sum total"], dtype=object), "total").tolist()
    [0, 3]
    """
    if not len(values):
        return np.zeros(0, dtype=np.int64)
    import pyarrow as arrow
    import pyarrow.compute as compute

    try:
        texts = arrow.array(values, arrow.string(), from_pandas=True)
    except (arrow.ArrowException, TypeError, UnicodeEncodeError):  # text that no file can hold: have all of it read
        return np.flatnonzero(~np.equal(values, None).astype(bool))
    found = compute.fill_null(compute.match_substring_regex(texts, pattern, ignore_case=True), False)
    return np.flatnonzero(found.to_numpy(zero_copy_only=False))


def simple_names(names: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(True where a name is letters followed by digits, those names in lower case without zeros before the number).

    Other names are None in the second array.

    >>> simple_names(np.array(["A01", "n-7", "007"], dtype=object))[1].tolist()
    ['a1', None, '7']
    """
    import pyarrow as arrow
    import pyarrow.compute as compute

    try:
        texts = arrow.array(names, arrow.string(), from_pandas=True)
    except (arrow.ArrowException, TypeError, UnicodeEncodeError):
        return np.zeros(len(names), dtype=bool), np.full(len(names), None, dtype=object)
    simple = compute.fill_null(compute.match_substring_regex(texts, SIMPLE_NAME), False)
    plain = compute.replace_substring_regex(compute.utf8_lower(texts), r"^([a-z]*)0+([0-9])", r"\1\2")
    simple = simple.to_numpy(zero_copy_only=False)
    return simple, np.where(simple, plain.to_numpy(zero_copy_only=False), None)

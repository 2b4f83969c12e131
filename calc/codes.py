"""Whole columns as small whole numbers: what is grouped, counted and compared is the number of a word, not the word.

The words of a column are looked at once; everything after that counts by numpy.bincount. Nothing here knows what a column means.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

ROOM = 65536  # numbers that lie within so many more than four times their count are told apart by counting, not by sorting


@dataclass(frozen=True)
class Grouping:
    """Rows by group. code: the number of each row's group; known: the names by that number, sorted, as objects."""

    code: np.ndarray
    known: np.ndarray

    def __len__(self):
        return len(self.known)

    def names(self) -> np.ndarray:
        """The name of each row's group, as objects."""
        return self.known[self.code]

    def total(self, values: np.ndarray) -> np.ndarray:
        """Sum of the values of each group."""
        return np.bincount(self.code, weights=values, minlength=len(self.known)).astype(float, copy=False)  # whole where there is no row


def distinct(numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(the different whole numbers, rising; place of each number among them).

    What numpy.unique gives, by counting where the numbers lie close together.

    >>> [part.tolist() for part in distinct(np.array([7, 3, 7]))]
    [[3, 7], [1, 0, 1]]
    """
    if not len(numbers):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    least, most = int(numbers.min()), int(numbers.max())
    if most - least > 4 * len(numbers) + ROOM:
        return _rising(numbers)
    off = numbers - least
    there = np.zeros(most - least + 1, dtype=bool)
    there[off] = True
    at = np.flatnonzero(there)
    rank = np.zeros(len(there), dtype=np.int64)
    rank[at] = np.arange(len(at))
    return at + least, rank[off]


def _rising(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What numpy.unique gives, sorting the different values only."""
    code, known = pd.factorize(values)
    order = np.argsort(known)
    place = np.empty(len(known), dtype=np.int64)
    place[order] = np.arange(len(known))
    return known[order], place[code]


def coded(values) -> tuple[np.ndarray, np.ndarray]:
    """(number of each text, the texts by number) of a column or array; -1 where blank. In the order of first appearance."""
    if isinstance(values, pd.Series):
        values = values.to_numpy() if isinstance(values.dtype, np.dtype) else values.array
    code, known = pd.factorize(values, use_na_sentinel=True)
    return code, np.asarray(known, dtype=object)


def alike(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(the first row of each kind, the kind of each row) of rows alike in all columns of numbers without blanks.

    Kinds are numbered by the first column's values, rising, then by the second's, and so on.

    >>> [part.tolist() for part in alike(np.array([0.5, 0.5, 0.1]), np.array([1.0, 1.0, 1.0]))]
    [[2, 0], [1, 1, 0]]
    """
    kind, size = np.zeros(len(columns[0]), dtype=np.int64), 1
    for column in columns:
        if len(column) and (column != column[0]).any():
            known, code = _rising(column) if column.dtype.kind == "f" else distinct(column.astype(np.int64, copy=False))
            found, kind = distinct(kind * len(known) + code) if size > 1 else (known, code)
            size = len(found)
    one = np.zeros(size if len(kind) else 0, dtype=np.int64)
    one[kind[::-1]] = np.arange(len(kind))[::-1]
    return one, kind


def grouping(code: np.ndarray, names) -> Grouping:
    """Rows by group from a number for each row and the name of each number; equal names become one group.

    >>> found = grouping(np.array([0, 1, 2]), ["oak", "elm", "oak"])
    >>> found.known.tolist(), found.code.tolist()
    (['elm', 'oak'], [1, 0, 1])
    """
    known = sorted(set(names))
    rank = {name: at for at, name in enumerate(known)}
    return Grouping(np.array([rank[name] for name in names], dtype=np.int64)[code], np.array(known, dtype=object))


def text(known, code: np.ndarray):
    """Texts by number as a column ready for a frame: known[code], without reading the texts row by row."""
    return pd.Series(known, dtype=None if len(known) else object).array.take(code)


def several(group: np.ndarray, value: np.ndarray) -> np.ndarray:
    """True for each entry whose group holds more than one value; whole numbers, groups from 0 on.

    >>> several(np.array([0, 0, 1, 1]), np.array([5, 6, 7, 7])).tolist()
    [True, True, False, False]
    """
    if not len(group):
        return np.zeros(0, dtype=bool)
    one = np.zeros(int(group.max()) + 1, dtype=np.asarray(value).dtype)
    one[group] = value
    mixed = np.zeros(len(one), dtype=bool)
    mixed[group[value != one[group]]] = True
    return mixed[group]


def together(size: int, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Number of the set each of `size` things belongs to, where one[i] and other[i] hang together; sets in the order of their first.

    >>> together(4, np.array([3, 1]), np.array([1, 3])).tolist()
    [0, 1, 2, 1]
    """
    label = np.arange(size)
    apart = one != other
    one, other = one[apart], other[apart]
    while len(one):
        one, other = label[one], label[other]  # the first of each set so far
        np.minimum.at(label, np.maximum(one, other), np.minimum(one, other))
        while True:
            upper = label[label]
            if np.array_equal(upper, label):
                break
            label = upper
        apart = label[one] != label[other]
        one, other = one[apart], other[apart]
    return distinct(label)[1]

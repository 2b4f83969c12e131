"""Whole columns of text at once: which cells need a closer look, so that Python reads only those.

A column is an object array of str and None, or its distinct words and where each stands. Nothing here decides what a text
means; it only finds the few cells that the exact reading, text by text, has to see.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc.codes import coded

UNTIDY = r"^ | $|  |[^ -~]|^$"  # spaces at an end or in a row, anything beyond plain ASCII, nothing at all
SIMPLE_NAME = r"^[A-Za-z]*[0-9]*$"


@dataclass(frozen=True, eq=False)
class Coded:
    """A column of text as its distinct words and, for every cell, the word's number, -1 where blank.

    words: in the order in which they first appear.
    """

    codes: np.ndarray
    words: np.ndarray

    @classmethod
    def of(cls, values: np.ndarray) -> Coded:
        """The same column coded.

        >>> column = Coded.of(np.array(["wax", None, "plug", "wax"], dtype=object))
        >>> column.codes.tolist(), column.words.tolist(), column.cells(column.words == "wax").tolist()
        ([0, -1, 1, 0], ['wax', 'plug'], [True, False, False, True])
        """
        return cls(*coded(values))

    @property
    def blank(self) -> np.ndarray:
        """True where a cell holds nothing."""
        return self.codes < 0

    def spread(self, of_words, blank) -> np.ndarray:
        """Something known of every word, at every cell; `blank` where the cell is."""
        known = np.empty(len(self.words) + 1, dtype=object if blank is None else type(blank))
        known[:-1], known[-1] = of_words, blank
        return known[self.codes]

    def texts(self) -> np.ndarray:
        """The column as text, None where blank."""
        return self.spread(self.words, None)

    def cells(self, words: np.ndarray) -> np.ndarray:
        """True at the cells that hold one of the words picked by a mask."""
        return self.spread(words, False) if words.any() else np.zeros(len(self.codes), dtype=bool)

    def among(self, wanted) -> np.ndarray:
        """True at the cells that hold one of these words as written."""
        wanted = frozenset(wanted)
        return self.cells(np.array([word in wanted for word in self.words], dtype=bool))

    def at(self, places: np.ndarray) -> Coded:
        """The cells at these places, in ascending order."""
        return self if len(places) == len(self.codes) else Coded(self.codes[places], self.words).ordered()

    def where(self, mask: np.ndarray) -> Coded:
        """Blank where the mask is False."""
        return self if mask.all() else Coded(np.where(mask, self.codes, -1), self.words).ordered()

    def ordered(self) -> Coded:
        """The same column with its words in the order in which they appear, without those that stand in no cell."""
        codes, filled = self.codes.copy(), self.codes >= 0
        codes[filled], there = pd.factorize(codes[filled])
        return Coded(codes, self.words[there])

    def changed(self, change) -> Coded:
        """Every word changed, those that are now alike put together; a word changed to None is blank. Itself where nothing changes."""
        return self.renamed([change(word) for word in self.words])

    def renamed(self, new: list) -> Coded:
        """As `changed`, with the new words given in the order of `words`."""
        if all(a is b or a == b for a, b in zip(new, self.words, strict=True)):
            return self
        texts = np.empty(len(new), dtype=object)
        texts[:] = new
        codes, words = pd.factorize(texts, use_na_sentinel=True)
        return Coded(np.append(codes, -1)[self.codes], words)

    def matching(self, pattern: str, needs: tuple[str, ...] = ()) -> np.ndarray:
        """Numbers of the words in which the pattern is found, as `matching` does.

        needs: plain texts in lower case, one of which is part of every match ("\\n" before it: at the beginning of the word).
        """
        plain = self._plain
        if plain and all(text.isascii() for text in needs) and needs and not any(text in plain for text in needs):
            return np.zeros(0, dtype=np.int64)
        return matching(self.words, pattern)

    def untidy(self) -> np.ndarray:
        """Numbers of the words with spaces to be put right, or with anything beyond plain ASCII."""
        return np.zeros(0, dtype=np.int64) if _tidy(self.words.tolist()) else matching(self.words, UNTIDY)

    @property
    def _plain(self) -> str:
        """All words in lower case, each after a line end; "" where one is not plain ASCII. Not kept, since notes may be long."""
        joined = "\n" + "\n".join(self.words.tolist())
        return joined.lower() if joined.isascii() else ""


def _tidy(texts: list) -> bool:
    """Whether all texts are sure to be tidy; False where they have to be looked at one by one."""
    try:
        joined = "\n".join(texts)
    except TypeError:  # something else than text
        return False
    if not joined.isascii() or any(ends in f"\n{joined}\n" for ends in ("  ", " \n", "\n ", "\n\n")):
        return False
    bare = joined.replace("\n", "")
    return bare.isprintable() and len(joined) - len(bare) == len(texts) - 1


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


def tidy(column: pd.Series) -> np.ndarray | None:
    """The texts of a column where none needs a change, "" for blanks; None where one has spaces around it or may be no text."""
    if not len(column) or not (column.dtype == object or isinstance(column.dtype, pd.StringDtype)):
        return None
    found = _arrow_texts(column)
    if found is None or not _bare(*_letters(found)):
        return None
    values = column.to_numpy(dtype=object)
    return np.where(pd.isna(values), "", values) if found.null_count else values.copy()


def _bare(letters: np.ndarray, ends: np.ndarray) -> bool:
    """Whether all texts are plain ASCII and none begins or ends with a space; letters, ends: as _letters gives them."""
    if not len(letters):
        return True
    filled = ends[1:] > ends[:-1]
    edges = np.concatenate((ends[:-1][filled], ends[1:][filled] - 1)) - ends[0]
    return bool(letters.min() >= 32 and letters.max() <= 126 and (letters[edges] > 32).all())


def _arrow_texts(names):
    """A large_string array of texts or of a text column; None where some are none, or no file could hold them."""
    import pyarrow as arrow

    try:
        texts = arrow.array(names, from_pandas=True)
    except (arrow.ArrowException, TypeError, UnicodeEncodeError):
        return None
    texts = texts.combine_chunks() if isinstance(texts, arrow.ChunkedArray) else texts
    kinds = (arrow.string(), arrow.large_string(), arrow.null())
    return texts.cast(arrow.large_string()) if texts.type in kinds else None


def _letters(texts) -> tuple[np.ndarray, np.ndarray]:
    """(the bytes of all the texts one behind the other, where each begins and the last ends)."""
    _, where, held = texts.buffers()
    if where is None:
        return np.zeros(0, dtype=np.uint8), np.zeros(len(texts) + 1, dtype=np.int64)
    ends = np.frombuffer(where, dtype=np.int64)[texts.offset:texts.offset + len(texts) + 1]
    return (np.zeros(0, dtype=np.uint8) if held is None else np.frombuffer(held, dtype=np.uint8)[ends[0]:ends[-1]]), ends


def byte_rows(names) -> tuple[np.ndarray, np.ndarray] | None:
    """(the letters of each name as numbers, a row each, filled up with 0; how many it has); None where not all are plain ASCII.

    names: texts, or a text column.

    >>> byte_rows(["A1", "B"])[0].tolist(), byte_rows(["é"])
    ([[65, 49], [66, 0]], None)
    """
    found = _arrow_texts(names) if len(names) else None
    if found is None or found.null_count:
        return None
    letters, ends = _letters(found)
    if len(letters) and (letters.min() < 32 or letters.max() > 126):
        return None
    size = np.diff(ends)
    wide = int(size.max())
    if (size == wide).all():
        return letters.reshape(len(size), wide), size
    rows = np.zeros((len(size), wide), dtype=np.uint8)
    rows[np.arange(wide) < size[:, None]] = letters
    return rows, size

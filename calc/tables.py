"""Published tables and figures, read from the CSV files in data/.

One figure per row, each with the source it was read in (a key of data/sources.csv), the page or table, the
unit as printed and its basis: published, derived, common practice, from memory, starting guess or definition.
The arithmetic modules never look here: they take every coefficient as an argument.
"""
from __future__ import annotations

import csv
import difflib
from collections import namedtuple
from functools import lru_cache
from pathlib import Path

DATA = Path(__file__).resolve().parent / "data"

BASES = ("published", "derived", "common practice", "from memory", "starting guess", "definition")

# low, typical and high are floats in `unit`, or None where there is no such end. The source and basis credit the
# typical value (without one, the ends); locator and note say where else an end comes from. A value of our own
# choosing is a starting guess, also inside a published range.
Figure = namedtuple("Figure", "figure_id subject quantity low typical high unit as_printed source locator"
                              " basis preferred note")

# seen says how the figures were read: original (in the publication itself, not always to its end), part (only some
# pages or rows could be seen, the figures among them), abstract, quoted (in another text), memory, or own.
SEEN = ("original", "part", "abstract", "quoted", "memory", "own")
Source = namedtuple("Source", "key authors year title publisher where seen")

# Specific gravities are oven-dry weight over green volume; moistures are dry basis; the bark volume is a
# fraction of the WOOD volume, not of the whole stem.
Species = namedtuple("Species", "name genus species wood_specific_gravity wood_moisture_dry_fraction"
                                " bark_specific_gravity bark_moisture_dry_fraction"
                                " bark_volume_fraction_of_wood source")


def either(names):
    """Names in a sentence: "a", "a or b", "a, b or c"."""
    names = list(names)
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


class UnknownName(ValueError):
    """A name that is in no table. `name` is what was asked for, `nearest` the closest known ones."""

    def __init__(self, kind, name, nearest):
        self.kind, self.name, self.nearest = kind, name, tuple(nearest)
        hint = " Did you mean {}?".format(either(self.nearest)) if self.nearest else ""
        super().__init__("There is no {} called \"{}\".{}".format(kind, name, hint))


@lru_cache(maxsize=None)
def _rows(name):
    with (DATA / (name + ".csv")).open(newline="", encoding="utf-8") as file:
        return tuple(csv.DictReader(file))


def rows(name):
    """The rows of data/<name>.csv as dictionaries of text, in file order. Raises FileNotFoundError."""
    return [dict(row) for row in _rows(name)]


def _number(text):
    return float(text) if text else None


@lru_cache(maxsize=None)
def figures():
    """Every published or practice figure, in file order: a dict of figure_id -> Figure."""
    found = {}
    for row in _rows("figures"):
        ends = {end: _number(row[end]) for end in ("low", "typical", "high")}
        found[row["figure_id"]] = Figure(**dict(row, **ends))
    return found


def figure(figure_id):
    """The Figure with this id. Raises UnknownName, with the nearest ids."""
    try:
        return figures()[figure_id]
    except KeyError:
        raise UnknownName("figure", figure_id, nearest(figure_id, figures())) from None


@lru_cache(maxsize=None)
def sources():
    """Every publication: a dict of source key -> Source."""
    return {row["key"]: Source(**row) for row in _rows("sources")}


@lru_cache(maxsize=None)
def species():
    """The woods, in the order of the table: a tuple of Species with fractions, never percents."""
    return tuple(
        Species(row["common_name"], row["genus"], row["species"],
                float(row["wood_specific_gravity_green"]),
                float(row["wood_moisture_pct_dry_basis"]) / 100.0,
                float(row["bark_specific_gravity_green"]),
                float(row["bark_moisture_pct_dry_basis"]) / 100.0,
                float(row["bark_volume_pct_of_wood"]) / 100.0,
                row["source"])
        for row in _rows("species"))


def plain(name):
    """A name for comparing: lower case, without spaces, hyphens, full stops, commas or underscores."""
    return "".join(c for c in str(name).lower() if c not in " -_.,\u00a0\u2010\u2011\u2013")


def nearest(name, names, how_many=3):
    """The known names closest in spelling to a mistyped one, best first."""
    by_plain = {}
    for known in names:
        by_plain.setdefault(plain(known), known)
    close = difflib.get_close_matches(plain(name), list(by_plain), n=how_many, cutoff=0.6)
    return [by_plain[match] for match in close]


@lru_cache(maxsize=None)
def _species_names():
    """Plain spelling -> Species: the common name, each part of a double name, and the botanical name."""
    found = {}
    for wood in species():
        for name in [wood.name] + wood.name.split(",") + [wood.genus + wood.species]:
            found.setdefault(plain(name), wood)
    return found


def find_species(name):
    """The Species a wood name means; case, spaces and hyphens do not matter.

    A common name ("White Oak", "yellow poplar") or a botanical one ("Quercus alba"). Raises UnknownName with
    the nearest names.
    """
    wood = _species_names().get(plain(name))
    if wood is None:
        raise UnknownName("wood", name, nearest(name, [s.name for s in species()]))
    return wood


def source_words(keys):
    """A source key, or several parted by ";", as words: "Hill, FOR-85, 2001"; unknown keys are kept."""
    found = []
    for key in (k.strip() for k in keys.replace("|", ";").split(";")):
        source = sources().get(key)
        words = (source.authors, source.title, source.year) if source else (key,)
        found.append(", ".join(word for word in words if word))
    return "; ".join(found)

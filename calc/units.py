"""Units at the edge: the two profiles of a workbook, and exact factors to SI.

Inside calc every quantity is an SI float; this module is the only door. The factors stand in data/units.csv
(NIST Handbook 44 Appendix C and SP 811, exact by definition) and a test compares each with the pint library.
Temperatures are not factors: use `celsius_from_fahrenheit` and its inverse; a temperature difference of
1 deg C is 1.8 deg F, without the 32.
"""
from __future__ import annotations

from functools import lru_cache

from calc import tables

US, METRIC = "us", "metric"

# What each kind of quantity is written in, by workbook profile. The keys are used by the schema's columns.
PROFILES = {
    US: {
        "diameter": "in", "length": "in", "spacing": "in", "bore": "in", "height": "ft", "volume": "cu ft",
        "weight": "lb", "melt": "fl oz", "rain": "in", "small_weight": "g", "coat": "mm", "density": "g/mL",
        "minutes": "min", "hours": "h",
    },
    METRIC: {
        "diameter": "cm", "length": "cm", "spacing": "cm", "bore": "mm", "height": "m", "volume": "L",
        "weight": "kg", "melt": "mL", "rain": "mm", "small_weight": "g", "coat": "mm", "density": "g/mL",
        "minutes": "min", "hours": "h",
    },
}


class Unit:
    """One row of data/units.csv: name, dimension, factor to SI."""

    __slots__ = ("name", "dimension", "si_per_unit")

    def __init__(self, name, dimension, si_per_unit):
        self.name, self.dimension, self.si_per_unit = name, dimension, si_per_unit


@lru_cache(maxsize=None)
def units():
    """Every known spelling of a unit -> Unit. Spellings are tried as written, then in lower case."""
    found = {}
    for row in tables.rows("units"):
        unit = Unit(row["unit"], row["dimension"], float(row["si_per_unit"]))
        for spelling in [row["unit"]] + [a for a in row["aliases"].split("|") if a]:
            found[spelling] = unit
    return found


def find_unit(text):
    """The Unit a spelling means ("inches", '"', "Lbs.", "cu. ft"), or None. Case and stops are ignored."""
    bare = " ".join(text.replace(".", " ").split())
    known = units()
    return known.get(bare) or known.get(bare.lower())


def profile_unit(quantity, profile):
    """The unit name a quantity is written in under a profile; raises KeyError for an unknown one."""
    return PROFILES[profile][quantity]


def factor(quantity, profile):
    """SI per unit of a quantity under a profile: diameter in us -> 0.0254."""
    return units()[PROFILES[profile][quantity]].si_per_unit


def to_si(value, unit):
    """A number in a named unit -> SI (metres, cubic metres, kilograms, seconds, kg/m3)."""
    return value * units()[unit].si_per_unit


def from_si(value, unit):
    """An SI number -> a named unit."""
    return value / units()[unit].si_per_unit


def celsius_from_fahrenheit(degrees_f):
    """deg F -> deg C."""
    return (degrees_f - 32.0) / 1.8


def temperature_unit(profile: str) -> str:
    """The word for degrees in a profile."""
    return "°F" if profile == US else "°C"


def celsius(degrees, profile: str):
    """A temperature typed in a profile's unit, in degrees Celsius."""
    return celsius_from_fahrenheit(degrees) if profile == US else degrees


def fahrenheit_from_celsius(degrees_c):
    """deg C -> deg F."""
    return degrees_c * 1.8 + 32.0

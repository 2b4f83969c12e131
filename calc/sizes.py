"""Volume, weights and holes of every log of a table at once.

The formulas are those of calc.wood and calc.drilling; here they meet whole columns. Holes are worked out
once for each distinct size.
"""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import drilling, wood
from calc.adapters import water_density
from calc.codes import alike, coded, text
from calc.yard import numbers, word_codes, words

EACH_HOLE, HOLE_VOLUME, PER_LOG = "each hole", "hole volume", "weight per log"
WOOD_COLUMNS = ("wood_gravity", "wood_moisture", "bark_gravity", "bark_moisture", "bark_volume")


def lookup(table: pd.DataFrame, key: str, wanted: np.ndarray) -> np.ndarray:
    """Row of `table` whose key column holds each wanted word, without regard to case; -1 where none does."""
    first: dict[str, int] = {}
    for at, word in enumerate(words(table, key)):
        first.setdefault(word, at)
    first[""] = -1
    code, asked = coded(wanted)
    return np.array([first.get(word, -1) for word in asked] + [-1], dtype=np.int64)[code]


def picked_from(values: np.ndarray, at: np.ndarray, missing=np.nan) -> np.ndarray:
    """values[at], `missing` where at is -1."""
    return np.append(values, missing)[at]


def volumes(logs: pd.DataFrame) -> np.ndarray:
    """Volume of one log of each row over bark, m3: Huber's from one diameter, Smalian's from both ends; NaN where not known."""
    diameter, length, large = numbers(logs, "diameter_m"), numbers(logs, "length_m"), numbers(logs, "large_end_m", 0.0)
    return np.where(large > 0, wood.smalian_volume(diameter, large, length), wood.huber_volume(diameter, length))


def sizes(logs: pd.DataFrame, frames: dict, settings: dict) -> pd.DataFrame:
    """Per log of each row: volume_m3, green_kg, dry_wood_kg, holes, and its spawn form.

    Also form (name in lower case), form_at (row of the forms list, -1 if not listed), small_m and large_m
    (end diameters). NaN where the size, the wood or the form is not known. Blank columns take Settings.
    """
    diameter, length = numbers(logs, "diameter_m"), numbers(logs, "length_m")
    large = numbers(logs, "large_end_m", 0.0)
    two_ends = large > 0
    thick = np.where(two_ends, large, diameter)
    volume = volumes(logs)
    woods = frames.get("woods", pd.DataFrame())
    code, names = word_codes(logs, "wood")
    at = lookup(woods, "wood", names)[code]
    parts = wood.stem_parts(volume, *(picked_from(numbers(woods, name), at) for name in WOOD_COLUMNS),
                            water_density())
    code, names = word_codes(logs, "spawn_form")
    form = [name or str(settings["spawn_form"]).casefold() for name in names]
    forms = frames.get("forms", pd.DataFrame())
    form_at = lookup(forms, "form", np.array(form, dtype=object))[code]
    return pd.DataFrame({
        "volume_m3": volume, "green_kg": wood.green_weight(parts), "dry_wood_kg": wood.dry_weight(parts),
        "holes": _holes(logs, diameter, thick, length, forms, form_at, settings),
        "form": text(form, code), "form_at": form_at, "small_m": diameter, "large_m": thick,
    })


def _holes(logs, small, large, length, forms, form_at, settings):
    """Holes drilled if typed, else 0 for forms without holes, else the staggered pattern."""
    per_log = picked_from(words(forms, "counted_by") == PER_LOG, form_at, False)
    typed = numbers(logs, "holes_drilled")
    mean = (small + large) / 2.0
    known = (form_at >= 0) & ~np.isnan(mean) & ~np.isnan(length)
    pattern = np.full(len(logs), np.nan)
    drill = known & np.isnan(typed) & ~per_log
    if drill.any():
        along = numbers(logs, "hole_spacing_m", settings["hole_spacing"])
        around = numbers(logs, "row_spacing_m", settings["row_spacing"])
        each = [column[drill] for column in (mean, length, along, around)]
        one, which = alike(*each)
        rows = zip(*(column[one].tolist() for column in each), strict=True)
        pattern[drill] = np.array([drilling.holes(*row, settings["end_margin"]) for row in rows])[which]
    found = np.where(np.isnan(typed), np.where(per_log, 0.0, pattern), typed)
    return np.where(known, found, np.nan)

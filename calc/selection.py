"""Which logs a text means: a log, a range A1-A20, a list, a place, a wood, a strain, a year, or all."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ALL, LOG, RANGE, LIST = "all", "log", "range", "list"
PLACE, WOOD, STRAIN, YEAR = "place", "wood", "strain", "year"


@dataclass(frozen=True)
class Selection:
    """Logs meant: positions in the index, in order, and how they were named.

    notes: what should be said about the reading (members that are missing, a range written backwards).
    """

    indices: np.ndarray
    how: str
    notes: tuple[str, ...] = ()

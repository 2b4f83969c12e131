"""What the result sheets show: the results of one refresh in the workbook's own units, with words for units."""
from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from calc import units
from calc.problems import Problem
from calc.results import Results
from workbook_template.results import plain

# How a result's kind is shown: look, and the quantity that turns SI into the workbook's unit.
KIND_LOOKS = {
    "text": "text", "whole": "whole", "logs": "whole", "date": "date", "year": "plain", "months": "one", "weight": "two",
    "volume": "three", "share": "percent", "money": "money", "money per weight": "money", "hours": "one", "minutes": "one",
    "pieces": "two", "rain": "two",
}


@dataclass
class View:
    """Results and problems of a refresh, ready to be laid out. `results` None: a new workbook, nothing refreshed yet."""

    profile: str
    currency: str
    yard: str
    file_name: str
    as_of: dt.date | None = None
    stamp: str = ""
    results: Results | None = None
    problems: list[Problem] = field(default_factory=list)
    counts: dict[str, tuple[int, int]] = field(default_factory=dict)
    typed: list = field(default_factory=list)  # carried.Typed of the This week sheet as it was

    @property
    def weight(self) -> str:
        return units.profile_unit("weight", self.profile)

    def unit(self, kind: str) -> str:
        """The word for a kind's unit: lb, USD per lb, h, or nothing."""
        return {
            "weight": self.weight, "volume": units.profile_unit("volume", self.profile),
            "rain": units.profile_unit("rain", self.profile), "money": self.currency,
            "money per weight": f"{self.currency} per {self.weight}", "hours": "h", "minutes": "min", "months": "months",
            "share": "%", "logs": "logs",
        }.get(kind, "")

    def factor(self, kind: str) -> float:
        """Multiply an SI number by this to show it."""
        if kind in ("weight", "volume", "rain"):
            return 1.0 / units.factor(kind, self.profile)
        return units.factor("weight", self.profile) if kind == "money per weight" else 1.0

    def number(self, value, kind: str):
        """An SI number in the workbook's unit; None where it is not known."""
        if value is None or (isinstance(value, float) and math.isnan(value)):
            return None
        return float(value) * self.factor(kind)

    def array(self, series: pd.Series, kind: str) -> np.ndarray:
        """A result column in the workbook's unit, for tables of very many rows: see results.Block."""
        if kind == "date":
            dates = series if series.dtype.kind == "M" else pd.to_datetime(series)
            return dates.to_numpy().astype("datetime64[D]")
        if kind == "text":
            texts, blank = series.to_numpy(dtype=object), series.isna().to_numpy()
            return np.where(blank, None, texts) if blank.any() else texts
        return series.to_numpy(dtype=float) * self.factor(kind)

    def column(self, series: pd.Series, kind: str) -> list:
        """A result column as plain values of the workbook's unit, None where not known."""
        values = self.array(series, kind)
        if kind not in ("year", "whole", "logs"):
            return plain(values)
        whole = np.isfinite(values) & (values == np.floor(values)) & (np.abs(values) < 2**62)
        if whole.all():
            return values.astype(np.int64).tolist()
        known = values.astype(object)
        known[whole] = values[whole].astype(np.int64)
        known[np.isnan(values)] = None
        return known.tolist()

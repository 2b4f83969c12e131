"""Money in whole cents, so that lines and totals add up exactly.

Every line of money is rounded once, to the cent, half a cent away from 0, as spreadsheets round; sums are sums of
whole cents. A currency without cents keeps the two decimals.
"""
from __future__ import annotations

import numpy as np

PER_UNIT = 100
NOISE = 6  # decimals of a cent: float noise below never turns a half cent


def to_cents(money) -> np.ndarray:
    """Money as whole cents, rounded half away from 0; what is not known (NaN) counts as 0.

    >>> to_cents([1.005, -1.005, 2.0, float("nan")]).tolist()
    [101, -101, 200, 0]
    """
    money = np.nan_to_num(np.asarray(money, dtype=float))
    return (np.sign(money) * np.floor(np.round(np.abs(money) * PER_UNIT, NOISE) + 0.5)).astype(np.int64)


def money(cents):
    """Whole cents as money, plain.

    >>> money(-1234)
    -12.34
    """
    return cents / PER_UNIT


def share_of(cents, share) -> np.ndarray:
    """A share of each amount, in whole cents.

    >>> share_of([1050, 333], 0.25).tolist()      # 2.625 and 0.8325
    [263, 83]
    """
    return to_cents(np.asarray(cents, dtype=float) / PER_UNIT * np.nan_to_num(np.asarray(share, dtype=float)))

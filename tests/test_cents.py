"""Money in whole cents: rounded half away from nothing, added up exactly."""
from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc import cents


@given(st.integers(-10**9, 10**9))
def test_thousandths_round_as_decimal_arithmetic_does(thousandths):
    exact = int((Decimal(thousandths) / 10).quantize(Decimal(1), rounding=ROUND_HALF_UP))
    assert int(cents.to_cents(thousandths / 1000)) == exact


def test_float_noise_never_turns_a_half_cent_and_more_than_noise_does():
    # 4e-9 of money short of half a cent is half a cent; 6e-9 short is not (noise: a millionth of a cent, halved)
    assert int(cents.to_cents(0.005 - 4e-9)) == 1 and int(cents.to_cents(0.005 - 6e-9)) == 0
    assert int(cents.to_cents(-0.005 + 4e-9)) == -1 and int(cents.to_cents(-0.005 + 6e-9)) == 0


def test_what_is_not_known_counts_as_nothing():
    found = cents.to_cents([None, float("nan"), 1])
    assert found.tolist() == [0, 0, 100] and found.dtype == np.int64
    assert cents.share_of([100], [float("nan")]).tolist() == [0]
    assert cents.share_of([100], [None]).tolist() == [0] and cents.share_of([None], [0.5]).tolist() == [0]


def test_a_share_and_the_way_back():
    # 7 % of 1.50 is 10.5 cents: 11
    assert cents.share_of(150, 0.07).tolist() == 11 and cents.share_of([-150], 0.07).tolist() == [-11]
    assert cents.money(1) == pytest.approx(0.01) and cents.money(np.array([250, -5])).tolist() == [2.5, -0.05]

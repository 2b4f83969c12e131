"""What a market owes for goods left on consignment."""
from __future__ import annotations

from collections import namedtuple

Settlement = namedtuple("Settlement", "unexplained sales commission due open")


def settlement(opening, delivered, sold, returned, spoiled, counted, price, commission_share, fee=0.0,
               allowance_share=0.0, paid=0.0):
    """Settle one product at one price on consignment, as a Settlement: unexplained weight, then money.

    unexplained = opening + delivered - sold - returned - spoiled - counted; sales = sold x price; commission
    = sales x share; due = sales - commission - fee + (unexplained beyond the allowance) x price; open = due
    - paid. Weights in one unit, price per that unit. allowance_share: the loss that is nobody's fault, as a
    share of what stood at the market (opening + delivered). Less than nothing unexplained (more was sold or
    counted than came) shows as a negative weight and charges nothing. Common practice of consignment: goods
    stay the grower's until sold. Raises ValueError for a share outside 0 to 1 or a negative figure.

    >>> settlement(2.0, 10.0, 8.0, 1.0, 0.5, 1.5, 10.0, 0.25, fee=5.0, allowance_share=0.05)
    Settlement(unexplained=1.0, sales=80.0, commission=20.0, due=59.0, open=59.0)
    """
    if not 0.0 <= commission_share <= 1.0 or not 0.0 <= allowance_share <= 1.0:
        raise ValueError("Commission and allowance must be shares from 0 to 1.")
    if min(opening, delivered, sold, returned, spoiled, counted, price, fee) < 0.0:
        raise ValueError("Weights, price and fee cannot be below 0.")
    unexplained = round(opening + delivered - sold - returned - spoiled - counted, 9)
    charged = max(0.0, unexplained - allowance_share * (opening + delivered))
    sales = sold * price
    commission = sales * commission_share
    due = sales - commission - fee + charged * price
    return Settlement(unexplained, sales, commission, due, due - paid)

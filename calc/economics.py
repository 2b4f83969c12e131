"""Costs and returns: capital recovery, cost and income of a log, break-even, present value.

Money in any one currency, weights in any one unit with prices per that unit, rates and shares as fractions,
time in years. No rounding on the way.
"""
from __future__ import annotations

import math
from collections import namedtuple

LogEconomics = namedtuple("LogEconomics", "income net cost_per_weight floor_price")


def real_rate(nominal_rate, inflation_rate):
    """Interest above inflation, a fraction a year: (1 + nominal) / (1 + inflation) - 1.

    Bulletins often subtract (8 % - 3 % = 5 %); the exact figure is a little lower. Raises ValueError when
    inflation is -100 % or less.
    """
    if inflation_rate <= -1.0:
        raise ValueError("Inflation must be above -1 (-100 %).")
    return (1.0 + nominal_rate) / (1.0 + inflation_rate) - 1.0


def capital_recovery_factor(rate, years):
    """Yearly payment for 1 of capital, a fraction: i (1 + i)^n / ((1 + i)^n - 1); 1 / n at rate 0.

    years may be any count of periods with the rate per period. Source: capital recovery method (Southern Ag
    Today, 11 Oct 2023; engineering-economy textbooks). Raises ValueError when years is not above 0 or the
    rate -1 or less.

    >>> round(capital_recovery_factor(1.0, 1), 9)      # 1 x 2 / (2 - 1)
    2.0
    """
    if years <= 0.0 or rate <= -1.0:
        raise ValueError("The life must be above 0 years and the rate above -1 (-100 %).")
    if rate == 0.0:
        return 1.0 / years
    return -rate / math.expm1(-years * math.log1p(rate))      # the same formula, exact for tiny rates too


def capital_charge(price, salvage, life_years, rate):
    """Yearly charge for owning an item: (price - salvage) x capital recovery factor + salvage x rate.

    salvage: what it fetches at the end; rate: the real rate, above inflation. Not the straight-line
    depreciation that some bulletins also call capital recovery. Raises ValueError when the salvage is above
    the price, and as capital_recovery_factor does, whose source it shares.
    """
    if salvage > price:
        raise ValueError("The salvage must not be above the price.")
    return (price - salvage) * capital_recovery_factor(rate, life_years) + salvage * rate


def salvage_value(list_price, salvage_share):
    """Worth of an item at the end of its life: list price x share. Source: Iowa State Extension A3-29."""
    return list_price * salvage_share


def total_depreciation(price, salvage):
    """Value lost over the life: price - salvage. Source: Iowa State Extension A3-29."""
    return price - salvage


def _kept_share(commission_share, unsold_share):
    if not 0.0 <= commission_share < 1.0 or not 0.0 <= unsold_share < 1.0:
        raise ValueError("Commission and unsold must be shares from 0 to below 1.")
    return (1.0 - commission_share) * (1.0 - unsold_share)


def breakeven_price(cost, weight, commission_share=0.0, unsold_share=0.0):
    """Price at which income meets cost: cost / weight / ((1 - commission) x (1 - share unsold)).

    weight: marketable weight brought to market. Raises ValueError when it is not above 0, or for a share
    outside 0 to below 1.

    >>> breakeven_price(60.0, 10.0, 0.25, 0.2)      # 6 / (0.75 x 0.8)
    10.0
    """
    if weight <= 0.0:
        raise ValueError("The weight must be above 0.")
    return cost / weight / _kept_share(commission_share, unsold_share)


def breakeven_weight(fixed_cost, price, commission_share=0.0, cost_per_weight=0.0):
    """Weight to sell before costs are met: fixed cost / (price x (1 - commission) - cost per weight).

    cost_per_weight: what each further unit of weight costs (packing, driving). Raises ValueError when
    nothing is left of the price: no weight breaks even.

    >>> breakeven_weight(100.0, 10.0, 0.2, 3.0)      # 100 / (8 - 3)
    20.0
    """
    margin = price * _kept_share(commission_share, 0.0) - cost_per_weight
    if margin <= 0.0:
        raise ValueError("Nothing is left of the price after commission and cost; no weight breaks even.")
    return fixed_cost / margin


def log_economics(cost_per_log, weight_per_log, price, commission_share=0.0, unsold_share=0.0):
    """One log over its life, as LogEconomics: income, net, cost per weight, floor price.

    income = weight x price x (1 - commission) x (1 - unsold); net = income - cost; cost per weight = cost /
    weight; the floor price is the break-even price at that market. Errors as breakeven_price.
    """
    income = weight_per_log * price * _kept_share(commission_share, unsold_share)
    floor_price = breakeven_price(cost_per_log, weight_per_log, commission_share, unsold_share)
    return LogEconomics(income, income - cost_per_log, cost_per_log / weight_per_log, floor_price)


def npv(rate, flows):
    """Present value of yearly flows, the first today (year 0), money of today.

    Many spreadsheets' own function takes the first flow a year from now; this one does not. Raises
    ValueError for a rate of -1 or less.

    >>> npv(1.0, [-10.0, 10.0, 40.0])      # -10 + 5 + 10
    5.0
    """
    if rate <= -1.0:
        raise ValueError("The rate must be above -1 (-100 %).")
    total = 0.0
    for flow in reversed(flows):
        total = total / (1.0 + rate) + flow
    return total


def _value(coefficients, x):
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total


def _size(coefficients, x):
    """Sum of the magnitudes of the terms: what a nil value is judged against."""
    return _value([abs(c) for c in coefficients], x)


def _bisect(coefficients, low, high):
    rising = _value(coefficients, high) > 0.0
    for _ in range(200):
        middle = (low + high) / 2.0
        if middle in (low, high):
            break
        if (_value(coefficients, middle) > 0.0) == rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2.0


def _positive_roots(coefficients):
    """Every x above 0 where the polynomial is nil, rising: found between the turning points of each order."""
    trimmed = list(coefficients)
    while trimmed and trimmed[-1] == 0.0:
        trimmed.pop()
    while trimmed and trimmed[0] == 0.0:
        trimmed.pop(0)
    largest = max([abs(c) for c in trimmed] or [1.0])
    trimmed = [c / largest for c in trimmed]
    if len(trimmed) < 2 or min(trimmed) >= 0.0 or max(trimmed) <= 0.0:
        return []
    turns = _positive_roots([k * trimmed[k] for k in range(1, len(trimmed))])
    bound = 1.0 + max(abs(c / trimmed[-1]) for c in trimmed)
    marks = [0.0] + [turn for turn in turns if turn < bound] + [bound]
    roots = [turn for turn in marks[1:-1] if abs(_value(trimmed, turn)) <= 1e-13 * _size(trimmed, turn)]
    for i in range(len(marks) - 1):
        ends = [_value(trimmed, marks[i]), _value(trimmed, marks[i + 1])]
        if marks[i] not in roots and marks[i + 1] not in roots and ends[0] * ends[1] < 0.0:
            roots.append(_bisect(trimmed, marks[i], marks[i + 1]))
    return sorted(roots)


def rates_of_return(flows):
    """Every rate above -1 at which the present value of yearly flows (first today) is nil, rising.

    None, one or several; several when the flows change sign more than once.
    """
    return sorted(1.0 / x - 1.0 for x in _positive_roots(flows))


def irr(flows):
    """The one internal rate of return of yearly flows, a fraction a year; None for none or several.

    Use rates_of_return to see them all. Compare with your own interest rate through `npv` when in doubt.

    >>> round(irr([-100.0, 110.0]), 9)
    0.1
    """
    rates = rates_of_return(flows)
    return rates[0] if len(rates) == 1 else None

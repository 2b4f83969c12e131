"""Capital recovery, break-even, present value and rates of return: hand sums, identities, an open library."""
import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import economics

RATE = st.floats(0.0, 0.5)
SHARE = st.floats(0.0, 0.9)
MONEY = st.floats(0.01, 1e5)


def test_real_rate_by_hand():
    # 1.08 / 1.03 - 1 = 0.048544
    assert economics.real_rate(0.08, 0.03) == pytest.approx(0.048544, abs=5e-7)
    assert economics.real_rate(0.03, 0.03) == 0.0


@pytest.mark.parametrize("rate, years, expected", [
    (0.05, 15, 0.096342), (0.08, 15, 0.116830), (0.10, 10, 0.162745), (0.08, 5, 0.250456),
    (0.06, 4, 0.288591)])
def test_capital_recovery_against_the_annuity_formula(rate, years, expected):
    # the reciprocal of the sum of (1 + i)^-k over the years, added up term by term
    worth = sum((1 + rate) ** -k for k in range(1, years + 1))
    factor = economics.capital_recovery_factor(rate, years)
    assert factor == pytest.approx(1 / worth) and factor == pytest.approx(expected, abs=5e-7)


def test_capital_recovery_at_rate_nil_is_straight_line():
    assert economics.capital_recovery_factor(0.0, 4) == 0.25
    assert economics.capital_recovery_factor(1e-9, 4) == pytest.approx(0.25, rel=1e-6)


def test_machinery_charge_by_hand():
    # 5 %, 15 years: 68,200 x 0.0963423 + 25,300 x 0.05 = 6,570.54 + 1,265.00 = 7,835.54; with the bulletin's
    # three-digit factor .096 it would be 7,812.20
    assert economics.capital_charge(93500, 25300, 15, 0.05) == pytest.approx(7835.54, abs=0.005)
    # 8 %, 15 years: 95,500 x 0.1168295 + 34,500 x 0.08 = 13,917.22
    assert economics.capital_charge(130000, 34500, 15, 0.08) == pytest.approx(13917.22, abs=0.005)


@given(MONEY, st.floats(0, 1), st.integers(1, 40), RATE)
@settings(max_examples=100)
def test_the_charge_pays_the_item_back(price, salvage_share, years, rate):
    # price = present value of the charges and of the salvage
    salvage = price * salvage_share
    charge = economics.capital_charge(price, salvage, years, rate)
    flows = [-price] + [charge] * (years - 1) + [charge + salvage]
    assert economics.npv(rate, flows) == pytest.approx(0.0, abs=1e-6 * price)


@given(MONEY, st.floats(0.1, 1e4), SHARE, SHARE)
@settings(max_examples=100)
def test_at_the_break_even_price_a_log_nets_nothing(cost, weight, commission, unsold):
    price = economics.breakeven_price(cost, weight, commission, unsold)
    result = economics.log_economics(cost, weight, price, commission, unsold)
    assert result.net == pytest.approx(0.0, abs=1e-9 * cost)
    assert result.floor_price == pytest.approx(price)
    assert result.cost_per_weight * weight == pytest.approx(cost)
    assert result.income == pytest.approx(cost)


@given(MONEY, st.floats(1.0, 50.0), SHARE, st.floats(0.0, 0.05))
@settings(max_examples=100)
def test_at_the_break_even_weight_income_meets_cost(fixed, price, commission, each):
    weight = economics.breakeven_weight(fixed, price, commission, each)
    assert weight * price * (1 - commission) == pytest.approx(fixed + each * weight)


def test_log_economics_by_hand():
    # 2 lb at 12.00, a quarter commission, a fifth unsold: 24 x 0.75 x 0.8 = 14.40; cost 6.00: net 8.40,
    # 3.00 a lb, floor 3.00 / 0.6 = 5.00
    assert tuple(economics.log_economics(6.0, 2.0, 12.0, 0.25, 0.2)) == pytest.approx((14.4, 8.4, 3.0, 5.0))


@given(st.floats(-0.9, 1.0), st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=12))
@settings(max_examples=100)
def test_present_value_is_the_open_librarys(rate, flows):
    assert economics.npv(rate, flows) == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-6)


@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=12))
@settings(max_examples=30)
def test_present_value_at_rate_nil_is_the_sum(flows):
    assert economics.npv(0.0, flows) == pytest.approx(sum(flows), abs=1e-6)


@given(st.floats(1.0, 1e5), st.lists(st.floats(1.0, 1e5), min_size=1, max_size=40))
@settings(max_examples=100, deadline=None)
def test_one_turn_from_spending_to_earning_has_one_rate(outlay, income):
    rate = economics.irr([-outlay] + income)
    assert rate is not None
    assert economics.npv(rate, [-outlay] + income) == pytest.approx(0.0, abs=1e-7 * (outlay + sum(income)))


@given(st.lists(st.floats(-0.5, 2.0), min_size=1, max_size=4, unique=True))
@settings(max_examples=150, deadline=None)
def test_all_planted_rates_are_found(rates):
    planted = sorted(rates)
    if any(b - a < 0.02 for a, b in zip(planted, planted[1:], strict=False)):
        return
    # a product of (-(1 + r) + x) over the planted rates r has its roots, in powers of 1 + rate, exactly there
    flows = np.array([1.0])
    for rate in planted:
        flows = np.convolve(flows, [1.0, -(1.0 + rate)])
    assert economics.rates_of_return(list(flows)) == pytest.approx(planted, abs=1e-6)


@given(st.lists(st.integers(-9, 9), min_size=2, max_size=9))
@settings(max_examples=150, deadline=None)
def test_every_rate_found_makes_the_value_nil_and_none_of_odd_count_is_missed(flows):
    rates = economics.rates_of_return(flows)
    for rate in rates:
        size = sum(abs(f) / (1 + rate) ** k for k, f in enumerate(flows))
        assert abs(economics.npv(rate, flows)) <= 1e-9 * size
    solid = np.trim_zeros(flows)
    if len(solid) > 1 and solid[0] * solid[-1] < 0:      # opposite signs near rate -1 and at a huge rate
        assert rates


@pytest.mark.parametrize("flows, expected", [
    ([-100, 220, -121], [0.1]),                       # touches nil without crossing: (1.1)^2
    ([-100, 230, -132], [0.1, 0.2]),
    ([-100, -10, -1], []), ([100, 10], []), ([0, 0, 0], []), ([5], []), ([], []),
    ([0, -100, 0, 121, 0], [0.1]),                    # nil years before and after change nothing
])
def test_rates_by_hand(flows, expected):
    assert economics.rates_of_return(flows) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("flows", [[-100, 230, -132], [1, 2], [-1, 2, -1.5]])
def test_no_single_rate_is_none(flows):
    assert economics.irr(flows) is None


def test_two_hundred_years_of_changing_sign_are_quick_enough():
    flows = [(-1.0) ** (year // 20) * (year % 7 + 1) for year in range(200)]
    rates = economics.rates_of_return(flows)
    assert all(abs(economics.npv(rate, flows)) < 1e-3 for rate in rates)


@pytest.mark.parametrize("call, args", [
    (economics.capital_recovery_factor, (0.05, 0)), (economics.capital_recovery_factor, (-1.0, 5)),
    (economics.real_rate, (0.05, -1.0)), (economics.breakeven_price, (1, 0)),
    (economics.breakeven_price, (1, 1, 1.0)), (economics.breakeven_price, (1, 1, 0.0, -0.1)),
    (economics.breakeven_weight, (1, 1, 0.0, 1.0)), (economics.log_economics, (1, 0, 1)),
    (economics.npv, (-1.0, [1, 2])),
])
def test_refused(call, args):
    with pytest.raises(ValueError, match="[a-z].*[.]$"):
        call(*args)


def test_figures_just_within_their_limits_are_taken():
    # 1.5 / 0.5 - 1 = 2; half a year at rate nil: 1 / 0.5; nothing lost of the price: 10 x 5 % interest a year
    assert economics.real_rate(0.5, -0.5) == 2.0
    assert economics.capital_recovery_factor(0.0, 0.5) == 2.0
    assert economics.capital_charge(10.0, 10.0, 5, 0.05) == pytest.approx(0.5)
    # one year at -50 %: 1 of capital comes back as 0.5
    assert economics.capital_recovery_factor(-0.5, 1) == pytest.approx(0.5)
    assert economics.breakeven_price(1.0, 0.5) == 2.0
    assert economics.breakeven_weight(1.0, 0.5) == 2.0
    assert economics.npv(-0.5, [1.0, 1.0]) == 3.0


def test_charge_and_worth_at_the_end_by_hand():
    # 27 % of 250,000; 130,000 less 34,500
    assert economics.salvage_value(250000, 0.27) == pytest.approx(67500)
    assert economics.total_depreciation(130000, 34500) == 95500
    with pytest.raises(ValueError, match="^The salvage must not be above the price.$"):
        economics.capital_charge(10.0, 10.01, 5, 0.05)


def test_a_price_that_leaves_nothing_has_no_break_even_weight():
    with pytest.raises(ValueError, match="^Nothing is left of the price after commission and cost"):
        economics.breakeven_weight(1.0, 10.0, 0.25, 7.5)


@pytest.mark.parametrize("commission, unsold", [(-0.01, 0.0), (0.0, -0.01), (1.0, 0.0), (0.0, 1.0)])
def test_shares_outside_nil_to_one_are_refused(commission, unsold):
    with pytest.raises(ValueError, match="^Commission and unsold must be shares from 0 to below 1.$"):
        economics.breakeven_price(1.0, 1.0, commission, unsold)


def test_a_log_sold_whole_and_without_commission():
    # 2 lb at 12.00 against 6.00
    assert tuple(economics.log_economics(6.0, 2.0, 12.0)) == (24.0, 18.0, 3.0, 3.0)


def test_a_rate_that_only_touches_nil_is_given_once_whatever_the_float_noise():
    # -100 (1 - (1 + r) x)^2 in powers of x: the value is nil at r and below it everywhere else
    for percent in range(1, 200):
        growth = 1 + percent / 100
        rates = economics.rates_of_return([-100.0, 200.0 * growth, -100.0 * growth ** 2])
        assert rates == pytest.approx([percent / 100], abs=1e-6)

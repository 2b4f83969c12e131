"""Biological efficiency, year weights, drying, the rota and the settlement with a market."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import keeping, market, season, tables, yields


def test_efficiency_by_hand():
    # 1.16 lb fresh on 13.24 lb of dry red oak: 0.0876
    assert yields.biological_efficiency(1.16, 13.24) == pytest.approx(0.0876, abs=5e-5)
    assert yields.fresh_from_efficiency(0.088, 13.24) == pytest.approx(1.165, abs=5e-4)


@given(st.floats(0, 50), st.floats(0.1, 50))
@settings(max_examples=50)
def test_efficiency_there_and_back(fresh, dry):
    assert yields.fresh_from_efficiency(yields.biological_efficiency(fresh, dry), dry) == pytest.approx(fresh)


@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=8))
@settings(max_examples=50)
def test_year_weights_sum_to_one(parts):
    assert sum(yields.year_weights(parts)) == pytest.approx(1.0)


def test_year_weights_are_the_figures_in_the_table():
    assert yields.year_weights((1, 2, 2, 1)) == pytest.approx(
        [tables.figure("yield_year_weight_%d" % year).typical for year in (1, 2, 3, 4)])


@pytest.mark.parametrize("call, args", [
    (yields.biological_efficiency, (1, 0)), (yields.year_weights, ((0, 0),)),
    (yields.year_weights, ((2, -1),)),
    (keeping.dried_weight, (1, 1.0, 0.1)), (keeping.dried_weight, (1, 0.9, -0.1)),
    (keeping.dried_weight, (1, 0.5, 0.6)), (season.rota, (2, 0, 9)), (season.rota, (2, 0.2, 0)),
    (season.rota, (-1, 0.2, 9)),
])
def test_refused(call, args):
    with pytest.raises(ValueError, match="[a-z].*[.]$"):
        call(*args)


def test_drying_by_hand():
    # 89.74 % to 10 %: 0.90 / 0.1026 = 8.7719; 85 % to 10 %: 6.0; 92 % to 8 %: 0.92 / 0.08 = 11.5
    assert keeping.fresh_to_dried_ratio(0.8974, 0.10) == pytest.approx(8.7719, abs=5e-5)
    assert keeping.fresh_to_dried_ratio(0.85, 0.10) == pytest.approx(6.0)
    assert keeping.fresh_to_dried_ratio(0.92, 0.08) == pytest.approx(11.5)
    assert keeping.dried_weight(11.5, 0.92, 0.08) == pytest.approx(1.0)


@given(st.floats(0.1, 100), st.floats(0.3, 0.95), st.floats(0.0, 0.25))
@settings(max_examples=50)
def test_drying_keeps_the_dry_matter(fresh, wet, dried):
    weight = keeping.dried_weight(fresh, wet, dried)
    assert weight * (1 - dried) == pytest.approx(fresh * (1 - wet))
    assert weight <= fresh


def test_rota_by_hand():
    # 20 lb a week at 0.2 lb: 100 logs a week; 8.5 weeks are 9 groups: 900 logs
    assert tuple(season.rota(20, 0.2, 8.5)) == (9, 100, 900)
    # 0.6 / 0.2 is 2.9999999999999996 in floats: 3 logs
    assert season.rota(0.6, 0.2, 9).logs_per_group == 3
    assert tuple(season.rota(0, 0.2, 9)) == (9, 0, 0)


@given(st.floats(0, 500), st.floats(0.05, 1.0), st.floats(1, 15))
@settings(max_examples=80)
def test_rota_gives_the_weight_with_no_log_to_spare(wanted, per_log, cycle):
    rota = season.rota(wanted, per_log, cycle)
    assert rota.logs == rota.groups * rota.logs_per_group
    assert rota.groups - 1 < cycle + 1e-8 and cycle <= rota.groups + 1e-8
    assert rota.logs_per_group * per_log >= wanted - 1e-6
    assert (rota.logs_per_group - 1) * per_log <= wanted + 1e-6


@given(st.integers(0, 5000), st.integers(1, 15))
@settings(max_examples=60)
def test_rota_of_logs_is_the_next_full_multiple(logs, weeks):
    assert season.rota_of_logs(logs, weeks).logs == math.ceil(logs / weeks) * weeks


def test_settlement_by_hand():
    # 2 + 10 - 8 - 1 - 0.5 - 1.5 = 1 lb unexplained; allowed 5 % of 12 = 0.6, so 0.4 lb at 10.00 = 4.00;
    # sales 80.00, commission 20.00, fee 5.00: due 80 - 20 - 5 + 4 = 59.00; 50.00 paid: 9.00 open
    assert tuple(market.settlement(2, 10, 8, 1, 0.5, 1.5, 10, 0.25, 5, 0.05, 50)) == pytest.approx(
        (1, 80, 20, 59, 9))


def test_more_found_than_came_is_shown_and_charges_nothing():
    # 10 - 8 - 3 = -1
    assert tuple(market.settlement(0, 10, 8, 0, 0, 3, 10, 0.25)) == pytest.approx((-1, 80, 20, 60, 60))


AMOUNT = st.floats(0, 1000)


@given(st.tuples(*[AMOUNT] * 6), st.floats(0, 50), st.floats(0, 1), AMOUNT, st.floats(0, 1), AMOUNT)
@settings(max_examples=100)
def test_settlement_accounts_for_every_pound_and_every_cent(weights, price, commission, fee, allowance, paid):
    opening, delivered, sold, returned, spoiled, counted = weights
    done = market.settlement(*weights, price, commission, fee, allowance, paid)
    left = sold + returned + spoiled + counted + done.unexplained
    assert left == pytest.approx(opening + delivered, abs=1e-6)
    assert done.open + paid == pytest.approx(done.due, abs=1e-6)
    charge = done.due - (done.sales - done.commission - fee)
    assert -1e-6 <= charge <= max(0.0, done.unexplained) * price + 1e-6
    assert done.commission == pytest.approx(commission * done.sales)


@pytest.mark.parametrize("position, value", [
    (0, -1), (1, -1), (2, -1), (6, -1), (7, 1.1), (7, -0.1), (8, -1), (9, 2)])
def test_settlement_refused(position, value):
    values = [2, 10, 8, 1, 0.5, 1.5, 10, 0.25, 5, 0.05]
    values[position] = value
    with pytest.raises(ValueError, match="cannot be below 0|shares from 0 to 1"):
        market.settlement(*values)


def test_wood_and_weights_below_one_are_taken():
    assert yields.biological_efficiency(0.05, 0.5) == pytest.approx(0.1)
    assert yields.year_weights((0.0, 0.5)) == [0.0, 1.0]


def test_drying_at_its_limits():
    # bone-dry: 1 / 0.5; nothing taken away: 1; nothing to take: 1
    assert keeping.fresh_to_dried_ratio(0.5, 0.0) == 2.0
    assert keeping.fresh_to_dried_ratio(0.5, 0.5) == 1.0
    assert keeping.fresh_to_dried_ratio(0.0, 0.0) == 1.0
    with pytest.raises(ValueError, match="^Moistures must be at least 0 and below 1 .wet basis.[.]$"):
        keeping.fresh_to_dried_ratio(1.0, 0.1)
    with pytest.raises(ValueError, match="^The dried moisture must not be above the fresh moisture.$"):
        keeping.fresh_to_dried_ratio(0.1, 0.5)


def test_settlement_at_the_ends_of_its_shares():
    # 1 of 4 unexplained; all of the loss allowed, then none; all of the sales theirs, then ours
    assert tuple(market.settlement(0, 4, 3, 0, 0, 0, 2, 1.0, 0, 1.0)) == (1, 6, 6, 0, 0)
    assert tuple(market.settlement(0, 4, 3, 0, 0, 0, 2, 0.0, 0, 0.0)) == (1, 6, 0, 8, 8)
    # a quarter of 4 allowed is just the 1 that is missing
    assert market.settlement(0, 4, 3, 0, 0, 0, 2, 0.0, 0, 0.25).due == 6
    # nothing of anything
    assert tuple(market.settlement(0, 0, 0, 0, 0, 0, 0, 0.0)) == (0, 0, 0, 0, 0)


def test_what_is_unexplained_is_rounded_at_nine_decimals():
    # 0.3 - 0.1 - 0.1 - 0.1 is -2.8e-17 in floats; a trace of 3e-10 is nothing, one of 3e-9 is shown
    assert market.settlement(0, 0.3, 0.1, 0.1, 0.1, 0, 1, 0).unexplained == 0.0
    assert market.settlement(0, 1 + 3e-10, 1, 0, 0, 0, 1, 0).unexplained == 0.0
    assert market.settlement(0, 1 + 3e-9, 1, 0, 0, 0, 1, 0).unexplained == pytest.approx(3e-9)


@pytest.mark.parametrize("at", [0, 1, 2, 3, 4, 5, 6, 8])
def test_each_weight_and_money_below_nil_is_refused_in_these_words(at):
    values = [2, 10, 8, 1, 0.5, 1.5, 10, 0.25, 5, 0.05]
    values[at] = -0.5
    with pytest.raises(ValueError, match="^Weights, price and fee cannot be below 0.$"):
        market.settlement(*values)


def test_without_a_loss_allowed_all_that_is_missing_is_charged():
    # 4 came, 3 sold, 1 missing at 2.00, no commission: 6 + 2
    assert market.settlement(0, 4, 3, 0, 0, 0, 2, 0.0).due == 8

"""The enterprise budget: a plan by hand, the figures behind it, what it hangs on, the chance of profit."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import budget, plan_inputs, results, units
from calc.farm import roll_up

# Round figures: a log costs 6 and 30 minutes at 10; bears 1.2 kg over 4 seasons at 20 less a tenth.
ROUND = {
    "logs": 100,
    "years": 6,
    "price_per_kg": 20.0,
    "commission": 0.1,
    "unsold": 0.0,
    "life_kg": 1.2,
    "life_seasons": 4,
    "setup_cash": 6.0,
    "setup_minutes": 30.0,
    "upkeep_minutes": 6.0,
    "upkeep_cash": 0.5,
    "wage": 10.0,
    "tools": 40.0,
}
PLAN = plan_inputs.inputs({f"budget_{name}": value for name, value in ROUND.items()})


def test_a_plan_by_hand():
    # Making 100 logs: 600 cash, 50 h. Logs of one year give 20, 40, 40, 20 kg in the four years after.
    # Year:        1     2     3     4     5     6
    # weight       0    20    60   100   120   120
    # sales x 18   0   360  1080  1800  2160  2160
    # standing     0   100   200   300   400   400
    # cash       600   650   700   750   800   800
    # hours       50    60    70    80    90    90
    # net cash  -600  -290   380  1050  1360  1360
    # net       -1140 -930  -360   210   420   420   (less labour at 10 and 40 a year)
    table = budget.years_table(PLAN)
    assert table["weight_kg"].tolist() == pytest.approx([0, 20, 60, 100, 120, 120])
    assert table["standing"].tolist() == [0, 100, 200, 300, 400, 400]
    assert table["cash"].tolist() == pytest.approx([600, 650, 700, 750, 800, 800])
    assert table["hours"].tolist() == pytest.approx([50, 60, 70, 80, 90, 90])
    assert table["net_cash"].tolist() == pytest.approx([-600, -290, 380, 1050, 1360, 1360])
    assert table["net"].tolist() == pytest.approx([-1140, -930, -360, 210, 420, 420])
    assert table["cumulative"].iloc[-1] == pytest.approx(-1380)
    assert table["cumulative_cash"].tolist() == pytest.approx([-600, -890, -510, 540, 1900, 3260])
    assert list(table) == list(results.COLUMNS["budget_years"])


def test_first_years_in_profit():
    chances = budget.chance(PLAN, 50)
    found = budget.summary(PLAN, chances).set_index("view")
    assert found.loc["full", "chance"] == chances["chance_paid_back"].iloc[5] and np.isnan(found.loc["cash", "chance"])
    assert found.loc["cash", ["first_profit_year", "paid_back_year"]].tolist() == [3, 4]
    assert found.loc["full", "first_profit_year"] == 4 and np.isnan(found.loc["full", "paid_back_year"])
    assert found.loc["cash", "words"] == "first profit in year 3; all that was put in is back in year 4"
    assert budget.NOT_BACK in found.loc["full", "words"]


@pytest.mark.parametrize(
    ("life", "upto"), [(1, [0, 1, 1, 1]), (2, [0, 0.5, 1, 1]), (4, [0, 1 / 6, 0.5, 5 / 6])]
)
def test_share_of_the_life_yield_by_year(life, upto):
    # RES-11: 1/6, 1/3, 1/3, 1/6; over two seasons a half each.
    assert budget.share_by_year(life, 4).tolist() == pytest.approx(upto)
    assert budget.share_by_year(np.array([life, 4]), 4)[0].tolist() == pytest.approx(upto)


def test_one_season_of_life_is_a_budget_of_logs():
    plan = budget.values(PLAN) | {"life_seasons": 1.0, "upkeep_cash": 0.0}
    found = budget.years_of(plan, 2)
    gross, cost, net = budget.life_budget(100, 6.0, 1.2, 20.0, 0.1)
    assert found["sales"][1] == pytest.approx(gross)
    assert found["sales"][1] - found["cash"][0] == pytest.approx(net) == pytest.approx(2160 - 600)
    assert cost == 600


def test_defaults_are_low_and_say_where_they_come_from():
    found = plan_inputs.inputs({})
    pound = units.factor("weight", units.US)
    assert found["price_per_kg"].value * pound == pytest.approx(5)  # AG-478: 5 to 9 wholesale
    assert found["life_kg"].value / pound == pytest.approx(1)  # not the 2 to 6 of trade pages
    assert found["setup_cash"].value == 3  # the high end of 1.50 to 3.00
    # 47 % (32 + 15) of an hour a log, over four seasons: 7.05 minutes
    assert found["upkeep_minutes"].value == pytest.approx(7.05)
    assert found["setup_minutes"].value == 32
    for entry in found.values():
        assert entry.basis and entry.low <= entry.value <= entry.high and entry.kind in results.KINDS
    words = ("published", "derived", "starting guess", "Settings", "assumed", "counted as 0")
    assert all(any(word in entry.basis for word in words) for entry in found.values())
    table = budget.years_table(found)
    assert (table["cumulative"] < 0).all()  # with one's own hours a low plan does not pay


def test_typed_before_record_before_default():
    own = {"price_per_kg": (18.0, 15.0, 16.0), "unsold": float("nan"), "setup_cash": 4.0, "life_kg": None}
    found = plan_inputs.inputs({"budget_setup_cash": 5.0, "budget_years": float("nan")}, own)
    assert (found["setup_cash"].value, found["setup_cash"].basis) == (5, "yours")
    assert (found["setup_cash"].low, found["setup_cash"].high) == pytest.approx((4, 6))
    assert (found["price_per_kg"].low, found["price_per_kg"].value, found["price_per_kg"].high) == (
        15,
        18,
        18,
    )
    assert found["price_per_kg"].basis == "own record"
    assert found["unsold"].basis == found["logs"].basis == "starting guess"


def test_years_and_shares_stay_within_reason():
    assert budget.span(plan_inputs.inputs({"budget_years": 40})) == 10
    assert budget.span(plan_inputs.inputs({"budget_years": 0})) == 1
    assert plan_inputs.inputs({"budget_unsold": 0.9})["unsold"].high <= 0.95
    assert plan_inputs.inputs({"budget_life_seasons": 1})["life_seasons"].low == 1


def test_two_way_table():
    table = budget.two_way(PLAN)
    assert len(table) == 25
    assert sorted(set(table["price_per_kg"])) == pytest.approx([16, 18, 20, 22, 24])  # a fifth less to a fifth more, and half way
    low, high = PLAN["life_kg"].low, PLAN["life_kg"].high
    assert sorted(set(table["life_kg"])) == pytest.approx([low, (low + 1.2) / 2, 1.2, (1.2 + high) / 2, high])
    middle = table[(table["price_per_kg"] == 20.0) & (table["life_kg"] == 1.2)].iloc[0]
    assert (middle["net"], middle["net_cash"]) == pytest.approx((-1380, 3260))
    # 420 kg in all; each unit of price more brings 0.9 of it.
    dear = table[(table["price_per_kg"] == 24.0) & (table["life_kg"] == 1.2)].iloc[0]
    assert dear["net"] == pytest.approx(-1380 + 4 * 420 * 0.9)


def test_tornado_by_hand():
    table = budget.tornado(PLAN)
    assert (np.diff(table["swing"]) <= 0).all()
    rows = table.set_index("name")
    # Price 16 to 24: 420 kg x 0.9 x 4 either way. Wage 8 to 12: 440 h x 2. Cash of making: 600 logs x 1.2.
    assert rows.loc["price_per_kg", "swing"] == pytest.approx(2 * 1512)
    assert rows.loc["wage", ["net_low", "net_high"]].tolist() == pytest.approx([-1380 + 880, -1380 - 880])
    assert rows.loc["setup_cash", "swing"] == pytest.approx(1440)
    assert rows["net_planned"].tolist() == pytest.approx([-1380] * len(rows))
    assert not {"logs", "years", "unsold"} & set(rows.index)


def test_simulation_is_repeatable_and_follows_its_distributions():
    one, two = budget.chance(PLAN, 500, 7), budget.chance(PLAN, 500, 7)
    pd.testing.assert_frame_equal(one, two)
    assert not one.equals(budget.chance(PLAN, 500, 8))
    plan, weather = budget.draw(plan_inputs.inputs({}), 20_000, 3)
    entries = plan_inputs.inputs({})
    price = plan["price_per_kg"]
    entry = entries["price_per_kg"]
    # A triangle has its mean at the third of its three corners' sum; 20,000 draws: within 1 %.
    assert price.mean() == pytest.approx((entry.low + entry.value + entry.high) / 3, rel=0.01)
    assert price.min() >= entry.low and price.max() <= entry.high
    life = entries["life_kg"]
    assert np.median(plan["life_kg"]) == pytest.approx(life.value, rel=0.02)
    assert (plan["life_kg"] > life.high).mean() == pytest.approx(0.1, abs=0.01)
    assert weather.mean() == pytest.approx(1, abs=0.01) and weather.shape == (20_000, 6)
    assert set(np.unique(plan["life_seasons"])) == {3, 4, 5}
    assert (plan["wage"] == entries["wage"].value).all()


def test_a_certain_plan_has_no_chance_in_it():
    fixed = {name: plan_inputs.replace(e, low=e.value, high=e.value) for name, e in PLAN.items()}
    plan, weather = budget.draw(fixed, 100)
    net = budget.years_of(plan | {"life_seasons": np.full(100, 4.0)}, 6, 1.0)["net"]
    assert net == pytest.approx(np.tile([-1140, -930, -360, 210, 420, 420], (100, 1)))
    assert (weather > 0).all()


def test_chances_rise_with_the_price():
    chances = [
        budget.chance(plan_inputs.inputs({"budget_price_per_kg": price}))["chance_paid_back"].iloc[-1]
        for price in (10.0, 30.0, 60.0, 200.0)
    ]
    assert chances == sorted(chances) and chances[0] < 0.01 and chances[-1] > 0.9


@settings(max_examples=100, deadline=None)
@given(
    st.floats(0, 60),
    st.floats(0, 0.9),
    st.floats(0, 3),
    st.integers(1, 7),
    st.floats(0, 20),
    st.floats(0, 40),
)
def test_sums_of_a_plan(price, unsold, life_kg, life, cash, wage):
    plan = budget.values(PLAN) | {
        "price_per_kg": price,
        "unsold": unsold,
        "life_kg": life_kg,
        "life_seasons": float(life),
        "setup_cash": cash,
        "wage": wage,
    }
    found = budget.years_of(plan, 10)
    assert (found["weight_kg"] <= 100 * life_kg + 1e-9).all()  # never more than a life's yield a year
    assert found["weight_kg"][-1] == pytest.approx(100 * life_kg)  # steady once every age stands in the yard
    assert found["net"] == pytest.approx(found["sales"] - found["cash"] - found["labour"] - found["tools"])
    longer = budget.years_of(plan | {"life_seasons": float(life + 1)}, 10)
    assert longer["weight_kg"].sum() <= found["weight_kg"].sum() + 1e-6  # the same yield later


def test_the_own_record_enters_a_refresh():
    frames, links, as_of = yards.six_logs()
    frames["sales"] = yards.sales(
        ("2025-06-01", "Stall", "sold", "fresh", 1.0, 20.0),
        ("2025-07-01", "Stall", "sold", "fresh", 1.0, 30.0),
    )
    out = roll_up(frames, links, yards.SETTINGS, as_of)
    table = out.budget_inputs.set_index("name")
    assert table.loc["price_per_kg", ["value", "low", "high"]].tolist() == [25, 20, 30]
    # 12 of spawn and 26 of wax over 14 logs inoculated
    assert table.loc["setup_cash", "value"] == pytest.approx(38 / 14)
    assert "own record by" in table.loc["life_kg", "basis"]
    due = (out.life_years["log_seasons"] * out.life_years["planned_share"]).sum()
    # The life yield is that of the recorded seasons in a usual year, between the start and the bare pace.
    written = out.plan_actual[out.plan_actual["actual_kg"].notna()]
    start, pace = plan_inputs.inputs(yards.SETTINGS)["life_kg"].value, out.life_years["kg"].sum() / due
    assert table.loc["life_kg", "value"] == pytest.approx(written["usual_kg"].sum() / due)
    assert min(start, pace) < table.loc["life_kg", "value"] < max(start, pace)
    assert len(out.budget_years) == 6 and len(out.budget_chance) == 6 and len(out.budget_two_way) == 25
    empty = roll_up({}, {}, yards.SETTINGS, dt.date(2025, 1, 1))
    assert empty.budget_inputs["basis"].ne("own record").all()

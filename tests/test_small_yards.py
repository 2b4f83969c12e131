"""Small yards whose money can be worked out on paper: each sum stands in its comment. Common practice throughout."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import yards

from calc import flows, prices
from calc.consignment import losses
from calc.farm import roll_up

DAY = dt.date(2026, 11, 1)
HELPERS = pd.DataFrame([{"helper": "Ann", "helper_wage": 16.0, "paid_in_costs": "yes"}])


def rolled(logs, lines=(), spent=(), sold=(), as_of=DAY, **more):
    frame = yards.logs(*logs)
    names = list(frame["log"])
    book, links = yards.events(names, *lines) if lines else (pd.DataFrame(), pd.DataFrame(columns=["event", "log"]))
    frames = {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS, **more}
    every = {"event_links": links}
    if spent:
        frames["costs"], every["cost_links"] = yards.costs(names, *spent)
    if sold:
        frames["sales"] = yards.sales(*sold)
    return roll_up(frames, every, yards.SETTINGS, as_of)


def partner(**terms):
    return pd.DataFrame([{"market": "Partner", "terms": "on consignment", "commission": 0.0, **terms}])


def lines(*rows):
    return [(day, "Partner", kind, "fresh", amount, *price) for day, kind, amount, *price in rows]


def balance(out):
    return next(b for b in out.balances if b.name == "money")


def test_a_few_weeks_say_nothing_of_a_year():
    out = rolled([("A", 10, "2026-10-25")], [("2026-10-26", "watered", "A", 1.0, {"minutes": 20.0})], [("2026-10-25", 10.0, None, "fuel")])
    inputs = out.budget_inputs.set_index("name")
    assert inputs.loc["upkeep_cash", "value"] == 0 and inputs.loc["upkeep_minutes", "basis"] != "own record"
    assert np.isnan(out.keep_retire["upkeep_per_log"]).all()


def test_sales_written_after_the_count_are_not_billed_twice():
    # 10 delivered, 6 counted, the 4 sold are written down later: nothing is missing, 4 x 10 are owed.
    sold = lines(("2026-10-01", "delivered", 10.0), ("2026-10-15", "counted", 6.0, 10.0), ("2026-10-31", "sold", 4.0, 10.0),
                 ("2026-10-31", "counted", 6.0, 10.0))
    found = balance(rolled([("A", 1, "2025-03-01")], sold=sold, markets=partner(allowance=0.0)))
    assert dict(found.lines)["owed"] == pytest.approx(40) and found.in_value == pytest.approx(40)


def test_a_loss_charged_is_income_and_priced_by_the_last_sale():
    # Sold 4 x 10 x 0.8 = 32; the 6 lost are charged at the price of the last sale: 60. Spent 60: net 32.
    sold = lines(("2026-10-01", "delivered", 10.0), ("2026-10-20", "sold", 4.0, 10.0), ("2026-10-30", "counted", 0.0))
    out = rolled([("A", 1, "2025-03-01")], spent=[("2026-03-01", 60.0, None, "spawn")], sold=sold,
                 markets=partner(allowance=0.0, commission=0.2, payment_days=30.0))
    assert dict(balance(out).lines)["owed"] == pytest.approx(92) and balance(out).notes == ()
    year = out.yard_flow.set_index("year").loc[2026]
    assert year["sold"] == pytest.approx(92) and year["net_cash"] == pytest.approx(32)


def test_a_loss_that_is_nobodys_to_pay_raises_the_price_that_breaks_even():
    # 10 picked cost 60: 6 a kg. 6 of the 10 brought are lost: 6 / (1 - 0.6) = 15.
    sold = lines(("2026-10-01", "delivered", 10.0), ("2026-10-20", "sold", 4.0, 10.0), ("2026-10-30", "counted", 0.0))
    out = rolled([("A", 1, "2025-03-01")], [("2026-10-01", "picked", "A", 10.0)], [("2026-03-01", 60.0, None, "spawn")], sold,
                 markets=partner())
    market = out.breakeven.set_index("market").loc["Partner"]
    assert market["unsold"] == pytest.approx(0.6) and market["floor_cash"] == pytest.approx(15)


def test_what_a_later_count_finds_again_takes_back_the_charge():
    frame = yards.sales(*lines(("2026-10-01", "delivered", 10.0), ("2026-10-10", "counted", 7.0, 10.0), ("2026-10-20", "counted", 9.0, 12.0)))
    ledger = frame.assign(key="partner", day=frame["date"].astype("datetime64[s]").astype("int64") // 86400, allowance=0.0)
    found = losses(ledger)
    assert found["charge"].tolist() == pytest.approx([30.0, -20.0]) and found["charged_kg"].tolist() == pytest.approx([3.0, -2.0])


def test_a_yard_that_never_lost_money_is_in_profit_from_its_first_year():
    out = rolled([("A", 1, "2024-03-01")], spent=[("2025-07-01", 5.0, None, "fuel")],
                 sold=[("2025-06-01", "Stall", "sold", "fresh", 1.0, 20.0), ("2026-06-01", "Stall", "sold", "fresh", 1.0, 20.0)])
    assert flows.yard_profit(out.yard_flow, "net_cash") == 2025
    words = out.flow_summary.set_index(["what", "view"]).loc[(flows.YARD, "cash"), "words"]
    assert words.startswith("nothing was ever out of pocket")


def test_help_paid_through_costs_is_counted_once():
    # 240 min of Ann in 2 x 2 log-years = 60 min a log and year, paid with 64: 16 a log and year, and no minutes of one's own.
    out = rolled([("A", 2, "2024-11-01")], [("2026-05-01", "watered", "A", 1.0, {"minutes": 240.0, "who": "Ann"})],
                 [("2026-05-01", 64.0, None, "help")], helpers=HELPERS)
    upkeep = out.budget_inputs.set_index("name")
    assert upkeep.loc["upkeep_cash", "value"] == pytest.approx(16, rel=0.001) and upkeep.loc["upkeep_minutes", "value"] == 0


def test_help_that_set_up_logs_is_no_upkeep():
    out = rolled([("A", 2, "2024-11-01")], [("2024-11-01", "inoculated", "A", None, {"minutes": 240.0, "who": "Ann"}),
                                            ("2026-06-01", "picked", "A", 1.0)], [("2024-11-01", 200.0, None, "help")], helpers=HELPERS)
    assert out.budget_inputs.set_index("name").loc["upkeep_cash", "value"] == 0


def test_market_fees_stand_in_the_plan():
    # Two days of 2 kg at 12, 25 a day: 48 in, 50 out. A kg brings 12 - 12.5 = -0.5, in the plan as in the yard.
    stall = pd.DataFrame([{"market": "Stall", "terms": "own stall", "market_fee": 25.0}])
    out = rolled([("A", 10, "2024-03-01")], [("2026-06-01", "picked", "A", 4.0)],
                 sold=[("2026-06-01", "Stall", "sold", "fresh", 2.0, 12.0), ("2026-06-08", "Stall", "sold", "fresh", 2.0, 12.0)], markets=stall)
    plan = out.budget_inputs.set_index("name")["value"]
    assert plan["fees_per_kg"] == pytest.approx(12.5) and flows.income_per_kg(out.breakeven) == pytest.approx(-0.5)
    log = out.one_log
    assert log["income"].sum() == pytest.approx(-0.5 * log["weight_kg"].sum())
    years = out.budget_years
    assert (years["sales"] - years["cash"]).sum() == pytest.approx(
        -0.5 * years["weight_kg"].sum() - plan["setup_cash"] * years["logs_made"].sum() - plan["upkeep_cash"] * years["standing"].sum())


def test_money_on_waiting_logs_stays_out_of_the_cost_over_the_life():
    base = dict(lines=[("2025-06-01", "picked", "A", 4.0), ("2025-06-01", "watered", "A", 1.0, {"minutes": 30.0})])
    alone = rolled([("A", 10, "2024-03-01")], spent=[("2024-03-01", 35.0, "A", "spawn")], **base)
    more = rolled([("A", 10, "2024-03-01"), ("B", 100, None, {"felled": yards.day("2026-10-01")})],
                  spent=[("2024-03-01", 35.0, "A", "spawn"), ("2026-10-02", 300.0, "B", "spawn")], **base)
    one, two = (out.cost_views[out.cost_views["by"] == "yard"].iloc[0] for out in (alone, more))
    assert two["cash"] == one["cash"] + 300 and two["waiting_cash"] == pytest.approx(300)
    for view in ("cash", "labour", "capital"):
        assert two[f"{view}_life_per_kg"] == pytest.approx(one[f"{view}_life_per_kg"])
    # Spawn of the next logs is not what these ten cost to make.
    assert more.budget_inputs.set_index("name").loc["setup_cash", "value"] == pytest.approx(3.5)


def test_within_the_days_agreed_nothing_is_late():
    market = partner(payment_days=30.0)
    fresh = balance(rolled([("A", 1, "2025-03-01")], sold=lines(("2026-10-02", "sold", 5.0, 10.0)), markets=market))
    assert fresh.notes == ()  # thirty days ago to the day
    # 50 old and unpaid; 50 new less a fee of 30: what is older is the 50.
    late = balance(rolled([("A", 1, "2025-03-01")], sold=lines(("2026-08-01", "sold", 5.0, 10.0), ("2026-10-30", "sold", 5.0, 10.0),
                                                               ("2026-10-30", "fee", 30.0)), markets=market))
    assert late.notes == ("Partner pays within 30 days: 50.00 of what is owed is older.",)


def test_years_looked_after_without_a_pick_are_years_without_mushrooms():
    logs, pick = [("A", 10, "2023-03-01")], ("2025-06-01", "picked", "A", 2.0)
    soaked = [("2024-06-01", "soaked", "A", 12.0), ("2026-06-01", "soaked", "A", 12.0)]
    silent, followed = rolled(logs, [pick]), rolled(logs, [pick, *soaked])
    to_come = [out.expected[out.expected["by"] == "yard"].iloc[0]["expected_kg"] for out in (silent, followed)]
    assert to_come[1] < 0.7 * to_come[0]


def test_words_promise_no_hours_that_are_not_written_down():
    assert prices.words(9.0, {"cash": 5.0, "labour": 5.0, "capital": 5.0}, 2.0) == prices.COVERS_WRITTEN
    assert prices.words(9.0, {"cash": 5.0, "labour": 6.0, "capital": 5.0}, 2.0) == prices.COVERS_ALL


def test_fees_above_sales_are_not_called_a_payment():
    stall = pd.DataFrame([{"market": "Partner", "terms": "on consignment", "market_fee": 25.0}])
    found = balance(rolled([("A", 1, "2025-03-01")], sold=lines(("2026-10-02", "sold", 2.0, 10.0)), markets=stall))
    assert found.faults == ("Partner: its fees are more than what was sold there.",)
    kitchen = pd.DataFrame([{"market": "Partner", "terms": "bought outright", "market_fee": 5.0}])
    found = balance(rolled([("A", 1, "2025-03-01")], sold=lines(("2026-10-02", "delivered", 2.0, 10.0)), markets=kitchen))
    assert dict(found.lines)["fees"] == 5 and dict(found.lines)["owed"] == pytest.approx(15)

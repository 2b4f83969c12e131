"""Planned and actual by season, the weather of a year, yield by season of life, keep or retire."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
import yards

from calc import bad_year, results
from calc.farm import roll_up

LIFE_KG = 0.044 * 3.769911  # of one log of tests/yards.py: dry wood by the steps in test_farm x 0.044


def rolled(rows, lines, as_of=dt.date(2025, 12, 31), spent=(), sold=(), settings=yards.SETTINGS, helpers=None):
    frame = yards.logs(*rows)
    names = list(frame["log"])
    book, links = yards.events(names, *lines)
    frames = {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS}
    every = {"event_links": links}
    if spent:
        frames["costs"], every["cost_links"] = yards.costs(names, *spent)
    if sold:
        frames["sales"] = yards.sales(*sold)
    if helpers is not None:
        frames["helpers"] = helpers
    return roll_up(frames, every, settings, as_of)


def test_planned_weight_by_hand():
    # Ten logs, seasons 1 to 3 of four: 1/6, 1/3, 1/3 of 0.165876 kg each; two are lost in the middle of 2025:
    # mean of 10 and 8 logs in 2025.
    found = rolled(
        [("A", 10, "2022-03-01")],
        [
            ("2023-06-01", "picked", "A", 0.1),
            ("2024-06-01", "picked", "A", 0.9),
            ("2025-06-15", "lost", "A", 2.0),
            ("2025-09-01", "picked", "A", 0.2),
        ],
    ).plan_actual
    assert found["season"].tolist() == [1, 2, 3] and found["logs"].tolist() == [10, 10, 9]
    assert found["planned_kg"].tolist() == pytest.approx(
        [10 * LIFE_KG / 6, 10 * LIFE_KG / 3, 9 * LIFE_KG / 3], rel=1e-5
    )
    assert found["actual_kg"].tolist() == pytest.approx([0.1, 0.9, 0.2])
    # 0.276 - 0.1; 0.553 - 0.9 is no loss; 0.498 - 0.2
    assert found["lost_kg"].tolist() == pytest.approx(
        [10 * LIFE_KG / 6 - 0.1, 0, 3 * LIFE_KG - 0.2], rel=1e-5
    )


def test_a_season_not_over_is_planned_by_the_part_behind():
    # 2 July 2025 is day 183 of 365; no finished season yet, so even days: 183/365.
    found = rolled([("A", 6, "2024-03-01")], [("2025-06-01", "picked", "A", 0.1)], dt.date(2025, 7, 2))
    row = found.plan_actual.iloc[0]
    assert row["part"] == pytest.approx(183 / 365)
    assert row["planned_kg"] == pytest.approx(6 * LIFE_KG / 6 * 183 / 365, rel=1e-5)


def test_the_part_behind_follows_own_finished_years():
    # 2024: all 4 kg by June. On 2 July 2025: the even start 183/365 and one finished year's 1, half and half.
    lines = [("2024-06-01", "picked", "A", 4.0), ("2025-06-01", "picked", "A", 0.1)]
    found = rolled([("A", 6, "2023-03-01")], lines, dt.date(2025, 7, 2)).plan_actual
    assert found["part"].tolist() == pytest.approx([1.0, (183 / 365 + 1) / 2])


def test_a_year_with_soaks_and_without_picks_was_followed_and_gave_nothing():
    """2023 has no line at all: its weight is not known. In 2024 the logs were soaked and nothing came: 0, and all that was planned is lost."""
    lines = [("2024-06-01", "soaked", "A", 12.0), ("2025-06-01", "picked", "A", 1.0)]
    found = rolled([("A", 6, "2022-03-01")], lines).plan_actual.set_index("year")
    assert np.isnan(found.loc[2023, "actual_kg"]) and found.loc[2024, "actual_kg"] == 0.0
    assert found.loc[2024, "lost_kg"] == pytest.approx(found.loc[2024, "planned_kg"])


def test_a_year_not_written_down_has_no_actual_and_no_loss():
    found = rolled([("A", 6, "2022-03-01")], [("2025-06-01", "picked", "A", 1.0)]).plan_actual
    assert found["year"].tolist() == [2023, 2024, 2025]
    assert found["actual_kg"].isna().tolist() == [True, True, False]
    assert found["lost_kg"].isna().tolist() == [True, True, False] and (found["planned_kg"] > 0).all()


def test_picks_of_the_inoculation_year_count_to_the_first_season():
    found = rolled(
        [("A", 6, "2024-03-01")], [("2024-10-01", "picked", "A", 0.3), ("2025-06-01", "picked", "A", 0.2)]
    )
    assert found.plan_actual["actual_kg"].tolist() == pytest.approx([0.5])
    assert found.life_years["kg"].tolist() == pytest.approx([0.5])


def test_actual_by_season_adds_up_to_what_was_picked():
    frames, links, as_of = yards.six_logs()
    found = roll_up(frames, links, yards.SETTINGS, as_of)
    # All weight of known logs less culls: 2.3 - 0.11 = 2.19; B1's 0.1 of its first year waits for its season.
    assert found.plan_actual["actual_kg"].sum() == pytest.approx(2.19 - 0.1)


def four_years(bad):
    """Three batches over four seasons at one pace; every log gives `bad` of it in 2024."""
    rows, lines = [], []
    for batch in range(3):
        rows.append((f"B{batch}", 40, "2021-03-01", {"strain": f"s{batch}"}))
        for year, share in ((2022, 1 / 6), (2023, 1 / 3), (2024, 1 / 3), (2025, 1 / 6)):
            lines.append(
                (f"{year}-06-01", "picked", f"B{batch}", 40 * share * (bad if year == 2024 else 1.0))
            )
    return rolled(rows, lines)


def test_a_bad_year_is_told_from_a_usual_one():
    found = four_years(0.4).weather_years.set_index("year")
    assert found.loc[2024, "words"] == bad_year.BAD and found.loc[2024, "high"] < 1
    assert found.loc[2024, "factor"] < 0.75 < found.loc[2023, "factor"]
    even = four_years(1.0).weather_years.set_index("year")
    assert set(even["words"]) == {bad_year.USUAL}
    assert four_years(2.2).weather_years.set_index("year").loc[2024, "words"] == bad_year.GOOD


def test_the_usual_weight_leaves_a_bad_year_out():
    found = four_years(0.4).plan_actual
    seasons = found[found["inoculation_year"] == 2021].set_index("year")
    assert seasons.loc[2024, "actual_kg"] == pytest.approx(3 * 40 / 3 * 0.4)
    assert seasons.loc[2024, "usual_kg"] > 1.4 * seasons.loc[2024, "actual_kg"]
    assert seasons.loc[2023, "usual_kg"] == pytest.approx(seasons.loc[2023, "actual_kg"], rel=0.3)


def test_yield_by_season_of_life_by_hand():
    # A: 4 logs in season 2 (0.8 kg) and 1 (0.2 kg); B: 2 logs in season 1 (0.4 kg).
    found = rolled(
        [("A", 4, "2023-03-01"), ("B", 2, "2024-03-01")],
        [
            ("2024-06-01", "picked", "A", 0.2),
            ("2025-06-01", "picked", "A", 0.8),
            ("2025-06-01", "picked", "B", 0.4),
        ],
    ).life_years
    assert found["season"].tolist() == [1, 2] and found["log_seasons"].tolist() == [6, 4]
    assert found["kg"].tolist() == pytest.approx([0.6, 0.8])
    assert found["per_log_kg"].tolist() == pytest.approx([0.1, 0.2])
    assert found["share"].tolist() == pytest.approx([1 / 3, 2 / 3])
    assert found["planned_share"].tolist() == pytest.approx([1 / 6, 1 / 3])
    assert found["planned_per_log_kg"].tolist() == pytest.approx([LIFE_KG / 6, LIFE_KG / 3], rel=1e-5)
    assert found["rows"].tolist() == [2, 1]


def keeping(price=None, minutes=60.0, weight=2.0, bill=0.0):
    """Ten logs with one finished season: 1 March 2024 to 31 December 2025 is 670 days."""
    lines = [
        ("2024-03-01", "inoculated", "A", None, {"minutes": 600.0}),
        ("2025-06-01", "picked", "A", weight, {"minutes": minutes}),
    ]
    spent = [("2024-03-05", 50.0, "A", "spawn")] + ([("2025-05-01", bill, None, "fuel")] if bill else [])
    sold = [("2025-06-02", "stall", "sold", "fresh", 1.0, price)] if price else []
    return rolled([("A", 10, "2024-03-01")], lines, spent=spent, sold=sold)


def test_upkeep_and_cost_to_come_by_hand():
    row = keeping(price=12.0, bill=20.0).keep_retire.iloc[0]
    # Log-years 10 x 670 / 365.25 = 18.3436. Minutes 60 (inoculating is set-up): 3.2709; labour 10.00 and fuel
    # 20.00 (spawn is set-up): 30 / 18.3436 = 1.63545 a log and year, 1.0903 of it cash.
    years = 10 * 670 / 365.25
    assert row["minutes_per_log"] == pytest.approx(60 / years)
    assert row["cash_per_log"] == pytest.approx(20 / years)
    assert row["upkeep_per_log"] == pytest.approx(30 / years)
    # Season 1 of four is over on 31 December: three years to come, one up to the end of 2026.
    assert row["cost_to_come"] == pytest.approx(10 * 30 / years * 3)
    assert row["soon_cost"] == pytest.approx(10 * 30 / years)
    assert row["cost_to_come_per_kg"] == pytest.approx(row["cost_to_come"] / row["to_come_kg"])
    assert row["spent"] == pytest.approx(50 + 20 + 110) and row["price_per_kg"] == pytest.approx(12.0)
    assert row["rows"] == 2


def test_help_paid_by_the_bill_is_upkeep_by_its_hours():
    """A helper paid by a bill of 100 inoculated for 3 hours and picked for 1: a quarter of the bill is upkeep. 670 days as above."""
    helpers = pd.DataFrame({"helper": ["Helper 2"], "helper_wage": [14.0], "paid_in_costs": ["yes"]})
    lines = [("2024-03-01", "inoculated", "A", None, {"minutes": 180.0, "who": "Helper 2"}),
             ("2025-06-01", "picked", "A", 2.0, {"minutes": 60.0, "who": "Helper 2"})]
    row = rolled([("A", 10, "2024-03-01")], lines, spent=[("2025-07-01", 100.0, None, "help")], helpers=helpers).keep_retire.iloc[0]
    assert row["cash_per_log"] == pytest.approx(25 / (10 * 670 / 365.25)) == pytest.approx(row["upkeep_per_log"])


def test_what_is_to_come_of_a_year_is_that_of_its_rows_however_much_they_differ():
    """B gave a tenth of what A gave of the same logs: keeping a year weighs the same sum as the table Expected."""
    lines = [(f"{year}-06-01", "picked", log, kilos) for year in (2023, 2024, 2025) for log, kilos in (("A", 2.0), ("B", 0.2))]
    found = rolled([("A", 5, "2022-03-01"), ("B", 5, "2022-03-01")], lines)
    whole = found.expected.loc[found.expected["by"] == "yard", "expected_kg"].iloc[0]
    assert found.keep_retire["to_come_kg"].sum() == pytest.approx(whole) and whole > 0


def test_spent_money_is_set_aside():
    # Ten times the spawn bill changes what is spent and nothing else.
    lines = [("2025-06-01", "picked", "A", 2.0, {"minutes": 60.0})]
    sold = [("2025-06-02", "stall", "sold", "fresh", 1.0, 12.0)]
    cheap, dear = (
        rolled(
            [("A", 10, "2024-03-01")], lines, spent=[("2024-03-05", price, "A", "spawn")], sold=sold
        ).keep_retire.iloc[0]
        for price in (50.0, 500.0)
    )
    assert dear["spent"] - cheap["spent"] == pytest.approx(450)
    assert cheap.drop("spent").equals(dear.drop("spent"))


def test_a_log_gone_needs_no_upkeep():
    # Half of ten logs go on 1 January 2025: 10 logs for 306 days, 5 for 364 more.
    lines = [("2025-01-01", "lost", "A", 5.0), ("2025-06-01", "picked", "A", 2.0, {"minutes": 60.0})]
    row = rolled([("A", 10, "2024-03-01")], lines).keep_retire.iloc[0]
    assert row["minutes_per_log"] == pytest.approx(60 / ((10 * 306 + 5 * 364) / 365.25))


@pytest.mark.parametrize(
    "price, minutes, bill, said",
    [
        (40.0, 6.0, 0.0, bad_year.KEEP),
        (2.0, 3000.0, 0.01, bad_year.CASH_ONLY),
        (0.5, 3000.0, 900.0, bad_year.RETIRE),
        (None, 60.0, 0.0, "cannot tell yet: no fresh sale with a price is written down"),
        (12.0, 0.0, 0.0, "cannot tell yet: no upkeep is written down"),
    ],
)
def test_keep_or_retire_in_words(price, minutes, bill, said):
    assert keeping(price, minutes, bill=bill).keep_retire["words"].tolist() == [said]


# Weight 10 (8 to 12) at a price of 1: sure above upkeep, likely, close, cash only, none.
@pytest.mark.parametrize(
    "cost, bills, said",
    [
        (7.9, 0.0, bad_year.KEEP),
        (9.9, 0.0, bad_year.LIKELY),
        (11.9, 0.0, bad_year.CLOSE),
        (12.1, 9.9, bad_year.CASH_ONLY),
        (12.1, 10.1, bad_year.RETIRE),
    ],
)
def test_edges_of_the_decision(cost, bills, said):
    span = (10.0, 8.0, 12.0, cost, bills)
    assert bad_year.decide(5.0, [span], 1.0) == said
    assert bad_year.decide(0.0, [span], 1.0) == "none left"
    # The better of two looks ahead counts.
    assert bad_year.decide(5.0, [span, (10.0, 8.0, 12.0, 1.0, 0.0)], 1.0) == bad_year.KEEP


def test_go_on_if_price_covers_variable_cost():
    # Washington State University, EconS 350 notes (2015): fixed cost, variable cost and 1,000 to come. Fixed
    # cost is spent. 15,000 variable at 30: go on; 10,000 at 15: go on; 10,000 at 7: stop.
    for variable, price, said in (
        (15000, 30, bad_year.KEEP),
        (10000, 15, bad_year.KEEP),
        (10000, 7, bad_year.RETIRE),
    ):
        assert bad_year.decide(1.0, [(1000.0, 1000.0, 1000.0, variable, variable)], price) == said


def test_own_price_is_fresh_sales_after_commission():
    frames = [
        ("2025-06-02", "stall", "sold", "fresh", 2.0, 10.0),
        ("2025-06-03", "stall", "sold", "fresh", 1.0, 16.0),
        ("2025-06-04", "stall", "sold", "dried", 1.0, 90.0),
        ("2025-06-05", "stall", "sold", "fresh", 5.0),
    ]
    found = rolled(
        [("A", 1, "2024-03-01")], [("2025-06-01", "picked", "A", 9.0, {"minutes": 5.0})], sold=frames
    )
    assert found.keep_retire["price_per_kg"].tolist() == pytest.approx([36.0 / 3])  # (20 + 16) / 3 kg


def test_weight_to_come_is_that_of_the_groups():
    frames, links, as_of = yards.six_logs()
    found = roll_up(frames, links, yards.SETTINGS, as_of)
    years = found.expected[found.expected["by"] == "inoculation year"].set_index("group")
    table = found.keep_retire.set_index("group")
    for name in ("to_come_kg", "low_kg", "high_kg"):
        assert table[name].tolist() == pytest.approx(
            years["expected_kg" if name == "to_come_kg" else name].tolist()
        )


def test_years_of_upkeep_to_come():
    # Season 2 of 4, half the year gone: the rest of this one and two more. Past the life: to the end of
    # next year.
    assert bad_year.years_to_come(4, 2, 0.5) == 2.5
    assert bad_year.years_to_come(4, 9, 0.25) == 1.75
    assert bad_year.years_to_come(4, 0, 0.5) == 4.5


def test_nothing_to_tell_gives_empty_tables():
    found = roll_up({}, {}, yards.SETTINGS, dt.date(2025, 1, 1))
    for name in ("plan_actual", "weather_years", "life_years", "keep_retire", "expected", "expected_logs"):
        assert list(getattr(found, name).columns) == list(results.COLUMNS[name]) and not len(
            getattr(found, name)
        )
    waiting = rolled([("A", 3, None)], [], dt.date(2025, 1, 1))
    assert not len(waiting.keep_retire) and not len(waiting.plan_actual)
    young = rolled([("A", 3, "2025-03-01")], [], dt.date(2025, 6, 1))
    assert young.keep_retire["logs"].tolist() == [3] and not len(young.plan_actual)
    assert (
        math.isnan(young.keep_retire["upkeep_per_log"].iloc[0])
        and np.isfinite(young.keep_retire["low_kg"]).all()
    )

"""What the logs still to be inoculated need, and the packs and hours for it."""
from __future__ import annotations

import datetime as dt
import math

import pandas as pd
import pytest
import yards

from calc.farm import roll_up

AS_OF = dt.date(2025, 2, 1)
PACKS = pd.DataFrame([
    {"pack_form": "plug", "pack_size": 100.0, "pack_price": 9.0},
    {"pack_form": "plug", "pack_size": 500.0, "pack_price": 35.0},
    {"pack_form": "plug", "pack_size": 1000.0, "pack_price": 60.0},
    {"pack_form": "totem", "pack_size": 5.5, "pack_price": 28.0},
    {"pack_form": "sawdust", "pack_size": 2.5, "pack_price": None}])


def shop(*rows, settings=None, day_book=(), plan=None, packs=PACKS):
    names = [row[0] for row in rows]
    frames = {"logs": yards.logs(*rows), "woods": yards.WOODS, "forms": yards.FORMS, "packs": packs}
    links = {}
    if day_book:
        frames["events"], links["event_links"] = yards.events(names, *day_book)
    if plan is not None:
        frames["plan"] = plan
    return roll_up(frames, links, {**yards.SETTINGS, **(settings or {})}, AS_OF)


def test_plugs_packs_and_wax_by_hand():
    # 20 logs of 39 holes (6 rows of 7 and 6 by turns) = 780; with 5 % spare 819 plugs.
    out = shop(("A", 20, None), ("B", 5, "2024-03-01"))
    row = out.shopping.iloc[0]
    assert row[["form", "logs", "holes", "need", "need_kind"]].tolist() == ["plug", 20, 780, 819, "pieces"]
    # 1,000 for 60; 500 + 4 x 100 = 35 + 36 = 71; 2 x 500 = 70; 9 x 100 = 81.
    assert (row["buy"], row["cost"], row["left_over"]) == ("1 x 1000", 60.0, 181.0)
    assert row["wax_kg"] == pytest.approx(0.780)  # 1 g a hole
    ways = out.packs.set_index("way")
    assert ways["pack_size"].tolist() == [1000, 1000, 500, 100]
    assert ways["cost"].tolist() == [60, 60, 70, 81] and ways["packs"].tolist() == [1, 1, 2, 9]
    assert ways["dearer"].tolist() == [0, 0, 10, 21]


def test_a_mix_of_packs():
    out = shop(("A", 14, None))  # 546 holes, 573.3 -> 574 plugs: 500 + 100 = 44; 6 x 100 = 54; 60 for 1,000
    row = out.shopping.iloc[0]
    assert (row["need"], row["buy"], row["cost"], row["left_over"]) == (574, "1 x 500 + 1 x 100", 44.0, 26.0)
    cheapest = out.packs[out.packs["way"] == 0]
    assert cheapest[["pack_size", "packs"]].to_numpy().tolist() == [[500, 1], [100, 1]]
    answer = next(a for a in out.answers if a.key == "next_to_buy")
    assert (answer.text, answer.value) == ("plug: 1 x 500 + 1 x 100", 44.0)


def test_spares_are_rounded_once_for_all_rows():
    # Two rows of 10 drilled holes: 20 x 1.05 = 21 exactly, where 10.5 each would make 22.
    rows = [(name, 1, None, {"holes_drilled": 10.0}) for name in ("A", "B")]
    assert shop(*rows).shopping.iloc[0]["need"] == 21


def test_totems_in_the_workbooks_weight_unit():
    # 10 pieces x 0.65 kg x 1.05 = 6.825 kg = 15.05 lb of 0.45359237 kg: three bags of 5.5 lb, 84.
    out = shop(("A", 10, None, {"spawn_form": "totem"}), settings={"weight_unit_kg": 0.45359237})
    row = out.shopping.iloc[0]
    assert row["need"] == pytest.approx(6.825) and row["need_kind"] == "weight"
    assert (row["buy"], row["cost"], row["holes"], row["wax_kg"]) == ("3 x 5.5", 84.0, 0, 0)
    assert row["left_over"] == pytest.approx(16.5 * 0.45359237 - 6.825)


def test_sawdust_by_the_hole_and_a_pack_without_a_price():
    # pi/4 x 0.012^2 x 0.025 = 2.827433e-6 m3 x 450 = 1.272345 g a hole; 390 holes x 1.05 = 0.521025 kg.
    out = shop(("A", 10, None, {"spawn_form": "sawdust"}))
    row = out.shopping.iloc[0]
    assert row["need"] == pytest.approx(390 * 1.272345e-3 * 1.05, rel=1e-6)
    assert row["buy"] == "1 x 2.5" and math.isnan(row["cost"])
    answer = next(a for a in out.answers if a.key == "next_to_buy")
    assert math.isnan(answer.value) and answer.assumed.endswith("a pack price is missing on Lists")


def test_ends_waxed_at_both_diameters():
    # Ends of 0.10 and 0.20 m: pi/4 x (0.01 + 0.04) x 0.001 m x 900 = 0.0353429 kg, and 10 holes x 1 g.
    out = shop(("A", 1, None, {"large_end_m": 0.2, "holes_drilled": 10.0, "ends_waxed": "yes"}))
    assert out.shopping.iloc[0]["wax_kg"] == pytest.approx(0.0353429 + 0.010, rel=1e-6)


def test_unknown_form_or_size_is_counted_and_said():
    out = shop(("A", 3, None, {"spawn_form": "paste"}), ("B", 2, None, {"length_m": None}), ("C", 1, None))
    table = out.shopping.set_index("form")
    assert table.loc["paste", "unknown"] == 3 and math.isnan(table.loc["paste", "need"])
    assert table.loc["plug", "unknown"] == 2 and table.loc["plug", "holes"] == 39


def test_planned_rows_and_dead_rows():
    plan = pd.DataFrame([{"wood": "white oak", "diameter_m": 0.10, "length_m": 1.0, "count": 5}])
    out = shop(("A", 4, None), plan=plan, day_book=(("2025-01-15", "lost", "A", 3.0),))
    assert dict(zip(out.shopping["purpose"], out.shopping["logs"], strict=True)) == {"logs waiting": 1, "the Plan": 5}
    assert shop(("A", 2, "2025-03-01")).shopping.iloc[0]["logs"] == 2  # to be inoculated after this day
    assert len(shop(("A", 2, "2024-03-01")).shopping) == 0


def test_hours_of_the_plan_stand_apart():
    plan = pd.DataFrame([{"wood": "white oak", "diameter_m": 0.10, "length_m": 1.0, "count": 5}])
    timed = tuple(("2024-03-01", step, "B", None, {"minutes": 15}) for step in ("felled", "waxed", "stacked"))
    rows = (("A", 6, None), ("B", 3, "2024-03-01"))
    hours = shop(*rows, plan=plan).hours  # 10 and 22 minutes a log for 6 logs waiting and 5 planned
    assert hours[["logs", "plan_logs"]].to_numpy().tolist() == [[11, 5], [11, 5]]
    assert hours["plan_hours"].tolist() == pytest.approx([5 / 6, 11 / 6]) and hours["hours"].tolist() == pytest.approx([11 / 6, 121 / 30])
    own = shop(*rows, plan=plan, day_book=timed + (("2025-01-20", "felled", "A", None),)).hours.set_index("step")
    assert own.loc["felled", ["logs", "plan_logs"]].tolist() == [5, 5]  # A is felled, the planned bolts are not
    assert own.loc["felled", ["hours", "plan_hours"]].tolist() == pytest.approx([25 / 60, 25 / 60])
    assert math.isnan(own.loc["fell, cut, carry, wax, stack", "plan_hours"])
    assert shop(*rows).hours["plan_hours"].tolist() == [0, 0]


def test_hours_from_settings_then_from_the_own_record():
    hours = shop(("A", 6, None)).hours
    assert hours["used"].tolist() == ["yes", "yes"]
    assert hours["hours"].tolist() == pytest.approx([1.0, 2.2])  # 6 x 10 min, 6 x 22 min
    # Two people, 60 + 30 min over the same 3 + 2 logs: 18 a log; waxing timed, felling and stacking not: the
    # rest stays with Settings.
    timed = (("2024-03-01", "inoculated", "B C", None, {"minutes": 60}),
             ("2024-03-01", "inoculated", "B C", None, {"minutes": 30}),
             ("2024-03-01", "waxed", "B", None, {"minutes": 15}))
    rows = (("A", 6, None), ("B", 3, "2024-03-01"), ("C", 2, "2024-03-01"))
    hours = shop(*rows, day_book=timed).hours.set_index("step")
    assert hours.loc["inoculated", ["minutes_per_log", "timed_logs", "rows", "used", "hours"]].tolist() == [
        18, 5, 2, "yes", pytest.approx(1.8)]
    assert hours.loc["drill and fill", "used"] == "no" and hours.loc["waxed", "used"] == "no"
    assert hours.loc["fell, cut, carry, wax, stack", "hours"] == pytest.approx(2.2)
    every = timed + (("2024-02-01", "felled", "B C", None, {"minutes": 50}),
                     ("2024-03-01", "stacked", "B C", None, {"minutes": 20}),
                     ("2025-01-20", "felled", "A", None))  # A is felled already: no felling to come
    hours = shop(*rows, day_book=every).hours.set_index("step")
    assert hours.loc[["felled", "waxed", "stacked"], "minutes_per_log"].tolist() == [10, 5, 4]
    assert hours.loc[["felled", "waxed", "stacked"], "hours"].tolist() == pytest.approx([0, 0.5, 0.4])
    assert hours.loc["fell, cut, carry, wax, stack", "used"] == "no"

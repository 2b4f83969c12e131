"""The Plan sheet: its answers by hand, what becomes of slips at a refresh, and what of it reaches Shopping."""
from __future__ import annotations

import datetime as dt
import math

import pandas as pd
import parity_cases
import pytest

from workbook_template import plan_read
from workbook_template.build import build, environment
from workbook_template.refresh import refresh_file
from workbook_template.sheets import plan_cells, plan_typed
from workbook_template.sheets.rollups import UNPRICED
from workbook_template.yard import Yard

DAY = dt.date(2026, 11, 15)
FORMS = pd.DataFrame({"form": ["plug", "totem"], "counted_by": ["each hole", "weight per log"]})
FRAMES = {"woods": pd.DataFrame({"wood": ["white oak", "red maple"]}), "forms": FORMS}


def answers(profile: str = "us", **inputs) -> dict:
    yard = Yard(profile, plan=inputs)
    return plan_cells.values({**plan_typed.starts(profile), **inputs}, environment(yard, DAY))


def read(profile: str = "us", **inputs):
    """(problems in words by input, rows for Shopping)."""
    env = plan_read.environment(profile, DAY, environment(Yard(profile), DAY).settings, FRAMES)
    plan, problems = plan_read.read_plan({**plan_typed.starts(profile), **inputs}, env)
    assert {p.sheet for p in problems} <= {"Plan"} and {p.level for p in problems} <= {"question"}
    return {p.column: p.sentence() for p in problems}, plan_read.plan_frame(plan, env)


# ---- live answers -----------------------------------------------------------------------------------------------

def test_a_tall_tree_is_counted_to_its_top():
    # (60 - 0.5) ft x 12 / 14.5 in = 49.2: 49 bolts, of which the sheet lists 40 and counts all.
    out = answers(dbh=14, height=60, bolt_length=14.5)
    assert out["count"] == 49 and out["b49_logs"] == 1 and out["b50_logs"] == ""
    assert out["note_list"] == "Bolts 41 to 49 are not listed; the totals count them."
    assert out["total_weight"] == pytest.approx(sum(out[f"b{k}_weight"] for k in range(1, 50)))
    assert out["holes"] == sum(out[f"b{k}_holes"] for k in range(1, 50))


def test_more_bolts_than_are_counted_are_said_and_still_reach_shopping():
    out = answers("metric", dbh=30, height=25, bolt_length=10)  # (25 - 0.15) m / 0.1 m = 248
    assert (out["count"], out["note_count"]) == (200, "48 more are not counted")
    assert out["note_list"] == "Bolts 41 to 200 are not listed; the totals count them. 48 more are in no total: cut longer."
    assert len(read("metric", dbh=30, height=25, bolt_length=10)[1]) == 248


@pytest.mark.parametrize("profile, tree", [("us", {"dbh": 9, "height": 40}), ("metric", {"dbh": 30, "height": 12})])
def test_the_longest_bolt_cut_at_the_butt_can_be_lifted(profile, tree):
    """Cut to that length, the first bolt weighs the limit or a little less; it never weighs more."""
    first = answers(profile, **tree)
    length = first["longest"]
    butt, density = first["b1_large"], first["density"]
    limit = environment(Yard(profile), DAY).settings["lift_limit"]
    area_of_unit = 1 / 1728 if profile == "us" else 1 / 1000  # cubic inches in a cubic foot, cubic cm in a litre
    assert length == pytest.approx(limit / (math.pi / 4 * butt ** 2 * density * area_of_unit), rel=1e-6)
    cut = answers(profile, **tree, bolt_length=length)
    assert 0.9 * limit < cut["b1_weight"] <= limit and cut["b1_lift"] == "ok"
    assert first["note_longest"] == "by the large end: errs short"


def test_weekly_weight_wanted_is_the_rota_of_the_bulletin():
    # Univ. Kentucky FOR-85: nine groups of twelve logs, 108. 12 logs a week x 0.2 lb = 2.4 lb.
    out = answers(wanted=2.4)
    assert (out["groups"], out["per_group"], out["bearing"]) == (9, 12, 108)
    assert answers(wanted=2.41)["bearing"] == 117 and answers(wanted=None)["bearing"] == ""
    assert out["yearly"] == math.ceil(108 / environment(Yard("us"), DAY).settings["life_seasons"])


def test_a_weekly_supply_says_what_it_takes():
    """108 logs drilled like the tree's 444 holes in 8 bolts: 5,994, with 5 % spare 6,294 plugs; 27 bolts a year, the tree gives 8: 4 trees.

    Upkeep, picking and selling: 47 % of an hour a log (Gabriel, 2015) over 4 seasons: 108 x 0.47 / 4 = 12.69 h a year, 52.18 weeks.
    Making 27 logs at 32 minutes: 14.4 h.
    """
    out = answers(wanted=2.4)
    assert (out["count"], out["holes"]) == (8, 444)
    assert (out["supply_pieces"], out["supply_loose"], out["yearly"], out["trees"]) == (6294, "", 27, 4)
    assert out["supply_hours"] == pytest.approx(108 * 0.47 / 4 / (365.25 / 7)) and out["yearly_hours"] == pytest.approx(14.4)
    sawdust = answers(wanted=2.4, form="sawdust")
    assert sawdust["supply_pieces"] == "" and sawdust["supply_loose"] == pytest.approx(sawdust["loose"] / 8 * 108)
    own = environment(Yard("us", settings={"budget_upkeep_minutes": 20}), DAY)
    assert plan_cells.values({**plan_typed.starts("us"), "wanted": 2.4}, own)["supply_hours"] == pytest.approx(108 / 3 / (365.25 / 7))


def test_logs_on_hand_give_the_weekly_weight():
    """SARE FNC15-1021, background: about 4,000 working logs gave 75 to 100 lb a week. Univ. Kentucky FOR-85: 100 logs make nine groups of
    twelve once eight more are there."""
    assert 75 <= answers(stock=4000)["stock_weight"] <= 100
    out = answers(stock=100)
    assert (out["stock_week"], out["note_stock_week"]) == (11, "8 more make groups equal") and out["stock_weight"] == pytest.approx(100 / 9 * 0.2)
    assert answers(stock=108)["note_stock_week"] == "equal groups" and answers()["stock_weight"] == ""


def test_the_supply_starts_in_a_month_and_season_that_suit():
    """Inoculated on 1 Mar 2027. Univ. Kentucky FOR-85: first mushrooms after 6 to 18 months, no soak for a full year.

    Wide range fruits at 59 to 77 deg F: of the site's months May to September. September suits both ends; March 2028 waits for May, or for
    the season's first day.
    """
    yard = parity_cases.plans()["a supply by a date"]
    day = dt.date(2027, 3, 1)

    def start(**settings):
        env = environment(Yard("us", settings=yard.settings | settings), DAY)
        return plan_cells.values({**plan_typed.starts("us"), "strain": parity_cases.WIDE, "inoculate": day}, env)

    out = start()
    assert (out["flush_from"], out["flush_to"], out["soak_from"]) == (dt.date(2027, 9, 1), dt.date(2028, 9, 1), dt.date(2028, 5, 1))
    assert start(season_begins=dt.date(2020, 5, 20))["soak_from"] == dt.date(2028, 5, 20)
    hot = start(**parity_cases.site(*[95] * 12))
    assert (hot["flush_from"], hot["soak_from"], hot["note_flush_from"]) == ("", "", "no month here suits it")
    partly = start(temp_jul=None)
    assert (partly["flush_from"], partly["soak_from"], partly["note_soak_from"]) == ("", "", "type all 12 temperatures")
    untyped = start(**dict.fromkeys(parity_cases.NORTH_F))
    assert (untyped["flush_from"], untyped["note_flush_from"]) == (dt.date(2027, 9, 1), "by its months alone")
    assert (untyped["soak_from"], untyped["note_soak_from"]) == ("", "temperatures or a season?")


def test_slips_in_the_supply_are_asked_about():
    said, rows = read(dbh=8.0, strain="mine", inoculate="1 Apr 2027", stock="some")
    assert said == {
        "Strain": 'Plan, Strain: "mine" is not in the list. Pick one from the list, or add the strain on Lists; until then no start of the supply '
                  "is worked out.",
        "Logs to be inoculated on": 'Plan, Logs to be inoculated on: "1 Apr 2027" is text: live cells take only dates; it means 1 Apr 2027. '
                                    "Needed: a date. Type 2027-04-01; until then no start of the supply is worked out.",
        "Bearing logs on hand": 'Plan, Bearing logs on hand: "some" is not a number. Needed: a whole number, 1 to 20,000. Type a number; '
                                "until then no weekly supply is worked out."}
    assert len(rows) and rows["inoculated"].isna().all()
    assert read(dbh=8.0, inoculate=dt.date(2027, 4, 1))[1]["inoculated"].tolist() == [pd.Timestamp("2027-04-01")] * len(rows)


@pytest.mark.parametrize("name", parity_cases.bad_plans())
def test_a_slip_never_becomes_a_zero(name):
    yard, words = parity_cases.bad_plans()[name]
    out = plan_cells.values({**plan_typed.starts(yard.profile), **yard.plan}, environment(yard, DAY))
    assert {k[6:]: v for k, v in out.items() if k.startswith("check_") and v} == words
    assert 0 not in [out[name] for name in plan_cells.ANSWERS if out[name] != ""]


# ---- at a refresh -----------------------------------------------------------------------------------------------

LEFT_OUT = "until then the plan is left out of Shopping."


@pytest.mark.parametrize("typed, title, sentence", [
    ({"bolt_length": "4'2\""}, "Bolt length", '"4\'2"" is text: live cells take only numbers; it means 50 inches. '
                                              f"Needed: inches, 1.97 to 472. Type 50; {LEFT_OUT}"),
    ({"bolt_length": -40}, "Bolt length", f"-40 is beyond what can be. Needed: inches, 1.97 to 472. Type another number; {LEFT_OUT}"),
    ({"dbh": dt.datetime(2026, 6, 4)}, "Tree: diameter at breast height",
     f'"6-4" was stored as 4 Jun. Needed: inches, 0.197 to 59.1. Type 5, the middle of 6 to 4, or mark the cell as text; {LEFT_OUT}'),
    ({"height": 3.0}, "Tree: height to the top diameter",
     f"3 ft must be above 4.5 ft. Needed: feet, 0.984 to 197. Type another number; {LEFT_OUT}"),
    ({"top": 9.0}, "Tree: top diameter", f"9 in is thicker than the tree. Needed: inches, 0.197 to 59.1. Type another number; {LEFT_OUT}"),
    ({"have": "two trees"}, "What do you have?",
     f'"two trees" is not in the list. Needed: a tree or bolts on hand. Pick one from the list; {LEFT_OUT}'),
    ({"wood": "ironwood"}, "Wood", '"ironwood" is not in the list. Pick one from the list, or add the wood on Lists; '
                                   "until then the plan has no weights."),
    ({"form": "paste"}, "Spawn form", f'"paste" is not in the list. Pick one from the list, or add the form on Lists; {LEFT_OUT}'),
    ({"bolts": 2.5}, "Bolts on hand: how many", "2.5 is not a whole number. Needed: a whole number, 1 to 20,000. Type another number; "
                                                "the plan does not use this cell as it stands."),
    ({"bolts": True, "have": "bolts on hand"}, "Bolts on hand: how many",
     f'"True" is not a number. Needed: a whole number, 1 to 20,000. Type a number; {LEFT_OUT}'),
    ({"along": 0.0}, "Hole spacing, along the grain", f"0 is beyond what can be. Needed: inches, 0.197 to 78.7. Type another number; {LEFT_OUT}"),
    ({"bolt_diameter": "5-6", "have": "bolts on hand"}, "Bolts on hand: diameter",
     f'"5-6" is a range from 5 to 6. Needed: inches, 0.197 to 59.1. Type 5.5; {LEFT_OUT}'),
    ({"wanted": "five"}, "Weight wanted each week", '"five" is not a number. Needed: lb, 0 to 11,023. Type a number; '
                                                    "until then no weekly supply is worked out."),
])
def test_what_is_said_about_a_slip(typed, title, sentence):
    said, rows = read(**{"dbh": 8.0, **typed})
    assert said == {title: f"Plan, {title}: {sentence}"}
    assert (len(rows) == 0) == sentence.endswith(LEFT_OUT)


def test_the_plan_of_a_new_workbook_is_nobodys_plan():
    for profile in ("us", "metric"):
        problems, rows = read(profile)
        assert problems == {} and len(rows) == 0
        assert len(read(profile, wanted=9.0)[1]) == 0  # a weekly weight says nothing about bolts
        assert len(read(profile, wood="red maple")[1]) > 0
    assert len(read(have=None, dbh=None)[1]) == 0


def test_blank_cells_are_no_problem():
    assert read(**dict.fromkeys(plan_typed.BY_NAME))[0] == {}


def test_bolts_on_hand_reach_shopping_as_one_row():
    _, rows = read(have="Bolts on hand", bolts=25, bolt_diameter=5.0, bolt_length=36, form="plug", along=4.0)
    row = rows.iloc[0]
    assert len(rows) == 1 and row["count"] == 25 and row["spawn_form"] == "plug"
    assert row[["diameter_m", "length_m", "hole_spacing_m"]].tolist() == pytest.approx([5 * 0.0254, 36 * 0.0254, 4 * 0.0254])
    assert math.isnan(row["large_end_m"]) and math.isnan(row["row_spacing_m"])


@pytest.fixture(scope="module")
def refreshed(tmp_path_factory):
    """Outcomes of three small workbooks: untouched plan, a plan, a plan with a slip."""
    folder, found = tmp_path_factory.mktemp("plan"), {}
    log = {"log": "A1", "wood": "white oak", "strain": "shiitake, wide-range", "diameter": 4.0, "length": 40.0}
    for name, plan in (("untouched", {}), ("planned", {"dbh": 8.0}), ("slip", {"dbh": "eight", "wood": "ironwood"})):
        path = folder / f"{name}.xlsx"
        logs = [log] if name != "slip" else [log, log | {"log": "B1", "spawn_form": "paste", "count": 3}]
        build(path, Yard("us", tables={"logs": logs}, plan=plan), rows=10, as_of=DAY)
        found[name] = refresh_file(path, progress=False, today=DAY, stamp="x")
    return found


def shown(outcome) -> list[str]:
    sheet = next(s for s in outcome.sheets if s.name == "Shopping")
    return [str(c.value) for c in sheet.cells] + [str(v) for b in sheet.blocks for values, _ in b.lists for v in values]


def test_shopping_takes_the_plan_only_when_it_was_typed(refreshed):
    assert refreshed["untouched"].results.shopping["purpose"].tolist() == ["logs waiting"]
    assert set(refreshed["slip"].results.shopping["purpose"]) == {"logs waiting"}
    assert refreshed["planned"].results.shopping["purpose"].tolist() == ["logs waiting", "the Plan"]
    assert any(words.startswith("The Plan is not in it") for words in shown(refreshed["untouched"]))
    assert not any(words.startswith("The Plan is not in it") for words in shown(refreshed["planned"]))


def test_a_mix_is_called_cheapest_only_where_every_pack_has_a_price(tmp_path, refreshed):
    words = shown(refreshed["planned"])  # packs as shipped have no price
    assert UNPRICED in words and "cheapest" not in words
    packs = [{"pack_form": "plug", "pack_size": 100, "pack_price": 9.0}, {"pack_form": "plug", "pack_size": 500, "pack_price": 35.0}]
    build(tmp_path / "priced.xlsx", Yard("us", tables={"packs": packs}, plan={"dbh": 8.0}), rows=10, as_of=DAY)
    words = shown(refresh_file(tmp_path / "priced.xlsx", progress=False, today=DAY, stamp="x"))
    assert "cheapest" in words and UNPRICED not in words


def test_hours_stand_apart_for_the_logs_waiting_and_the_plan(refreshed):
    sheet = next(s for s in refreshed["planned"].sheets if s.name == "Shopping")
    hours = sheet.blocks[-1]
    rows = list(zip(*(values for values, _ in hours.columns), strict=True))
    # Settings: 10 minutes to drill and fill, 22 for the rest; one log waits, the tree gives eight bolts.
    assert [(r[0], r[1], r[2]) for r in rows] == [
        ("logs waiting", "drill and fill", 1), ("logs waiting", "fell, cut, carry, wax, stack", 1), ("logs waiting", "in all", None),
        ("the Plan", "drill and fill", 8), ("the Plan", "fell, cut, carry, wax, stack", 8), ("the Plan", "in all", None)]
    assert [r[4] for r in rows] == pytest.approx([10 / 60, 22 / 60, 32 / 60, 80 / 60, 176 / 60, 256 / 60])


def test_logs_whose_need_cannot_be_counted_are_said(refreshed):
    words = "3 of these logs are not in the need: their size or spawn form cannot be counted."
    assert words in shown(refreshed["slip"]) and words not in shown(refreshed["planned"])


def test_slips_on_the_plan_stand_on_problems(refreshed):
    columns = {p.column for p in refreshed["slip"].problems if p.sheet == "Plan"}
    assert columns == {"Tree: diameter at breast height", "Wood"}
    assert not [p for p in refreshed["planned"].problems if p.sheet == "Plan"]

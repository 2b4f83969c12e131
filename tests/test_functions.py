"""The registry of worksheet functions: complete, consistent, and what it answers to cells good and bad."""
import ast
import inspect
import math
import re
import sys
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import calc
from calc import arguments, drilling, economics, functions, supplies, tables, units, wood
from calc.arguments import BadArgument
from calc.functions import REGISTRY, evaluate

SIGNATURES = """BOLT_VOLUME(diameter, large_end, length, [units])
BOLT_WEIGHT(wood, diameter, large_end, length, [units])
BOLT_DRY_WEIGHT(wood, diameter, large_end, length, [with_bark], [units])
BOLT_MOISTURE(weight_now, start_weight, start_moisture_wet)
BOLT_WEIGHT_AT(start_weight, start_moisture_wet, target_moisture_wet)
BOLT_FROM_TREE(dbh, height, bolt_length, top_diameter, [stump], [units])
BOLT_HOLES(diameter, length, hole_spacing, row_spacing, [end_margin], [units])
BOLT_DRILL_MAP(diameter, length, hole_spacing, row_spacing, [end_margin], [units])
BOLT_SPAWN(holes, [spare])
BOLT_SPAWN_WEIGHT(holes, bit, depth, bulk_density, [fill], [spare], [units])
BOLT_PACKS(need, pack_sizes, [pack_prices])
BOLT_WAX(holes, wax_per_hole, [diameter], [ends], [wax_thickness], [density], [units])
BOLT_WAX_VOLUME(wax_weight, [density], [melted_swell], [units])
BOLT_LIFT_LIMIT(horizontal, vertical, travel, twist_deg, lifts_per_minute, hours, grip, [units])
BOLT_ROTA(weight_per_week, weight_per_soaked_log, cycle_weeks)
BOLT_FIRST_FLUSH(inoculated, months_low, months_high, [fruits_from], [fruits_to], [monthly_temperatures])
BOLT_EFFICIENCY(fresh_weight, dry_wood_weight)
BOLT_DRIED(fresh_weight, fresh_moisture_wet, dried_moisture_wet)
BOLT_CAPITAL_CHARGE(price, salvage, life_years, real_rate)
BOLT_LOG_ECONOMICS(cost_per_log, weight_per_log, price, [commission], [unsold])
BOLT_BREAKEVEN_PRICE(cost, weight, [commission], [unsold])
BOLT_BREAKEVEN_WEIGHT(fixed_cost, price, [commission], [cost_per_weight])
BOLT_SETTLEMENT(opening, delivered, sold, returned, spoiled, counted, price, commission, [fee], \
[allowance], [paid])
BOLT_NPV(rate, flows)
BOLT_IRR(flows)""".splitlines()
NAMES = [function.name for function in REGISTRY]
each_function = pytest.mark.parametrize("function", REGISTRY, ids=NAMES)


def test_the_registry_is_complete_and_every_signature_as_promised():
    assert [functions.describe(function)["signature"] for function in REGISTRY] == SIGNATURES


@each_function
def test_entry_is_whole(function):
    assert function.category and function.result and function.sources and function.example
    assert set(function.sources) <= set(tables.sources())
    names = [arg.name for arg in function.args]
    assert len(names) == len(set(names)) and all(arg.help for arg in function.args)
    assert ("units" in names) == (function.args[-1].kind == "units")
    for arg in function.args:
        assert arg.kind in ("number", "size", "list", "text", "date", "yes_no", "units")
        assert arg.optional or arg.default is None
        assert arg.kind != "size" or arg.optional


@each_function
@pytest.mark.parametrize("profile", [units.US, units.METRIC])
def test_defaults_and_units_resolve_in_both_profiles(function, profile):
    described = functions.describe(function, profile)
    for arg, words in zip(function.args, described["args"], strict=True):
        assert words["default"] is None or arg.kind == "units" or isinstance(words["default"], (int, float))
        assert isinstance(words["unit"], str) and words["unit"] not in units.PROFILES[profile]
    assert all(isinstance(unit, str) and unit for _, unit in described["result_units"])


@each_function
def test_profile_units_only_where_a_units_argument_converts_them(function):
    converts = [arg for arg in function.args if arg.quantity in units.PROFILES[units.US]]
    assert not converts or function.args[-1].kind == "units"


@each_function
def test_the_example_gives_what_it_says(function):
    cells, words = function.example
    result = evaluate(function.name, *cells)
    assert function.is_array == isinstance(result, list)
    first_row = result[0] if function.is_array else [result]
    printed = re.findall(r"\d+\.?\d*", words)
    assert len(printed) == len(first_row)
    for text, value in zip(printed, first_row, strict=True):
        assert value == pytest.approx(float(text), abs=0.5001 * 10.0 ** -len(text.partition(".")[2]))


@each_function
def test_spreadsheet_names_are_safe(function):
    # not a cell address in any column, upper case, no blank; the dotted form keeps the rest
    assert re.fullmatch(r"BOLT_[A-Z_]+", function.name) and not re.fullmatch(r"[A-Z]{1,3}\d+", function.name)
    assert function.dot_name == "BOLT." + function.name[5:]
    assert all(re.fullmatch(r"[a-z_]+", arg.name) for arg in function.args)


@each_function
def test_every_way_to_write_a_name(function):
    for name in (function.name, function.dot_name, function.name.lower(), function.dot_name.lower(),
                 function.name[5:].lower(), "=" + function.name, function.name[5:].replace("_", "-")):
        assert functions.find(name) is function


def test_a_wrong_name_offers_the_nearest():
    with pytest.raises(tables.UnknownName) as caught:
        functions.find("BOLT_VOLUM")
    assert str(caught.value) == ('There is no function called "BOLT_VOLUM". '
                                 'Did you mean BOLT_VOLUME or BOLT_WAX_VOLUME?')


def required_blank(function):
    return [i for i, arg in enumerate(function.args) if not arg.optional]


@each_function
def test_a_required_argument_left_blank_is_named(function):
    for i in required_blank(function):
        for blank in (None, "", "  "):
            cells = list(function.example[0])
            cells[i] = [[blank]] if function.args[i].kind == "list" else blank
            with pytest.raises(BadArgument) as caught:
                evaluate(function.name, *cells)
            assert caught.value.host_error in ("#VALUE!", "#NUM!")


@each_function
@pytest.mark.parametrize("cell", ["5", "4 in", "#DIV/0!", True, datetime(2026, 5, 16), float("nan"), math.inf,
                                  [[1, 2], [3, 4]], object()], ids=lambda cell: "an object" if type(cell) is object else str(cell))
def test_a_number_argument_refuses_all_else(function, cell):
    for i, arg in enumerate(function.args):
        if arg.kind in ("number", "size"):
            cells = list(function.example[0]) + [None] * len(function.args)
            cells[i] = cell
            with pytest.raises(BadArgument) as caught:
                evaluate(function.name, *cells[:len(function.args)])
            assert caught.value.argument == arg.name
            assert caught.value.host_error == ("#NUM!" if isinstance(cell, float) else "#VALUE!")


@each_function
def test_below_the_lowest_number_is_refused(function):
    for i, arg in enumerate(function.args):
        if arg.kind in ("number", "size") and arg.low is not None:
            cells = list(function.example[0]) + [None] * len(function.args)
            cells[i] = arg.low - 0.5
            with pytest.raises(BadArgument) as caught:
                evaluate(function.name, *cells[:len(function.args)])
            assert (caught.value.argument, caught.value.host_error) == (arg.name, "#NUM!")


@each_function
def test_optional_arguments_may_be_blank_or_left_off(function):
    cells = list(function.example[0])
    needed = 1 + max(required_blank(function))
    short = evaluate(function.name, *cells[:needed])
    padded = evaluate(function.name, *cells[:needed] + [""] * (len(function.args) - needed))
    assert short == padded


@each_function
def test_too_many_arguments(function):
    with pytest.raises(BadArgument, match="Needed: at most {}".format(len(function.args))):
        evaluate(function.name, *[1] * (len(function.args) + 1))


@each_function
@given(data=st.data())
@settings(max_examples=30, deadline=None)
def test_any_cells_give_finite_numbers_or_one_sentence(function, data):
    cell = st.one_of(st.none(), st.just(""), st.text(max_size=4), st.booleans(), st.integers(-3, 60),
                     st.floats(allow_nan=True, allow_infinity=True),
                     st.sampled_from(["white oak", "poor", "us"]),
                     st.lists(st.lists(st.one_of(st.none(), st.floats(-50, 50)), min_size=1, max_size=4),
                              max_size=3))
    good = list(function.example[0]) + [None] * (len(function.args) - len(function.example[0]))
    cells = [data.draw(st.one_of(st.just(value), cell)) for value in good]
    try:
        result = evaluate(function.name, *cells)
    except BadArgument as problem:
        assert problem.host_error in ("#VALUE!", "#NUM!", "#N/A")
        assert "\n" not in str(problem).replace(str(problem.found), "")
    else:
        for row in result if function.is_array else [[result]]:
            assert all(value is None or math.isfinite(value) for value in row)


@pytest.mark.parametrize("cells, sentence, error", [
    (("volume", "5", 5, 40), 'diameter: "5" is text. Needed: a number (in), above 0. '
     "Type it again as a number, without quotes or an apostrophe.", "#VALUE!"),
    (("volume", "4 in", 5, 40), 'diameter: "4 in" is text. Needed: a number (in), above 0. '
     "Type the number alone.", "#VALUE!"),
    (("capital_charge", 100, 10, 5, "3,5 %"), 'real_rate: "3,5 %" is text. Needed: a yearly rate such as 0.05, above -1. '
     "Type 0.035.", "#VALUE!"),
    (("volume", 5, "#REF!", 40), "large_end: the error #REF!. Needed: a number (in), not below 0. "
     "Mend that cell first.", "#VALUE!"),
    (("volume", 5, -1, 40), "large_end: found -1. Needed: a number (in), not below 0. "
     "Check the number and its unit.", "#NUM!"),
    (("volume", 5, 5, 40, "imperial"), 'units: found "imperial". Needed: us or metric. '
     "Type one of these words.", "#VALUE!"),
    (("weight", "whit oak", 5, 5, 40), 'wood: found "whit oak". Needed: a wood of the table. '
     "Try white oak, white ash or pin oak.", "#N/A"),
    (("weight", 7, 5, 5, 40), "wood: found 7. Needed: a wood of the table, such as white oak. Type a name.",
     "#VALUE!"),
    (("moisture", 10, 30, 0.4), "BOLT_MOISTURE: the weight now is below the oven-dry weight: check the "
     "weights and the moisture. Needed: numbers that fit together. Check them and their units.", "#NUM!"),
    (("moisture", 27, 30, 40), "start_moisture_wet: found 40. Needed: a share such as 0.25, not below 0 and "
     "below 1. Check the number and its unit.", "#NUM!"),
    (("moisture", 27, 30, 1), "start_moisture_wet: found 1. Needed: a share such as 0.25, not below 0 and "
     "below 1. Check the number and its unit.", "#NUM!"),  # all water, no wood
    (("drill_map", 1e7, 48, 6, 2), "diameter: it gives more than 100000 holes. Needed: a log. Check the units.", "#NUM!"),
    (("from_tree", 7, 1e9, 40, 3), "height: it gives more than 1000 bolts. Needed: a tree. Check the units.", "#NUM!"),
    (("from_tree", 8, 5, 96, 3), "bolt_length: no whole bolt fits below that height. Needed: a shorter bolt "
     "or a taller stem. Check height (to the top diameter) and bolt_length.", "#NUM!"),
    (("lift_limit", 15, 10, 26, 0, 1, 2, "fine"), 'grip: found "fine". Needed: good, fair or poor. '
     "Type one of these words.", "#VALUE!"),
    (("dry_weight", "white oak", 5, 5, 40, "maybe"), 'with_bark: found "maybe". Needed: TRUE or FALSE. '
     "Type TRUE or FALSE.", "#VALUE!"),
    (("wax", 45, 1, "", 2), "diameter: is blank. Needed: the diameter of the log ends to wax. "
     "Type it, or 0 ends.", "#VALUE!"),
    (("packs", 600, [100, 500], [9, 35, 60]), "pack_prices: there are more prices than sizes. Needed: one "
     "price for each pack size. Make both ranges the same length.", "#VALUE!"),
    (("irr", [1, 2]), "flows: no rate breaks these flows even. Needed: flows that turn to earning once. "
     "Use BOLT_NPV at your own interest instead.", "#N/A"),
    (("irr", [-100, 230, -132]), "flows: more than one rate breaks these flows even. Needed: flows that turn "
     "to earning once. Use BOLT_NPV at your own interest instead.", "#N/A"),
    (("npv", 0.1, [5]), "flows: fewer than two years. Needed: a flow for each year, year 0 first. "
     "Point to the range.", "#VALUE!"),
])
def test_what_a_grower_reads(cells, sentence, error):
    with pytest.raises(BadArgument) as caught:
        evaluate(*cells)
    assert (str(caught.value), caught.value.host_error) == (sentence, error)


LENGTHS = st.floats(1, 100)


@given(LENGTHS, st.one_of(st.just(0), LENGTHS), LENGTHS)
@settings(max_examples=50)
def test_metric_and_us_are_one_calculation(diameter, large_end, length):
    us = evaluate("volume", diameter, large_end, length)
    metric = evaluate("BOLT.VOLUME", diameter * 2.54, large_end * 2.54, length * 2.54, "metric")
    assert metric / us == pytest.approx(28.316846592)
    assert evaluate("holes", diameter, length, 6, 2, 2) == evaluate(
        "holes", diameter * 2.54, length * 2.54, 15.24, 5.08, 5.08, units="metric")


def test_weights_by_hand_in_metric():
    # 12.7 x 101.6 cm is the 5 x 40 in log: 28.835 lb at 1000 kg/m3 = 13.079 kg
    assert evaluate("weight", "White Oak", 12.7, 0, 101.6, "METRIC") == pytest.approx(13.079, abs=0.0005)
    with_bark = evaluate("dry_weight", "white oak", 12.7, 0, 101.6, True, "metric")
    assert with_bark > evaluate("dry_weight", "white oak", 12.7, 0, 101.6, "", "metric")


def test_a_size_of_nil_means_left_out_but_a_share_of_nil_is_nil():
    assert evaluate("holes", 4, 48, 6, 2, 0) == evaluate("holes", 4, 48, 6, 2, 2)
    assert evaluate("from_tree", 8, 30, 48, 3, 0) == evaluate("from_tree", 8, 30, 48, 3, 0.5)
    assert evaluate("spawn", 200, 0) == 200 and evaluate("spawn", 200, "") == 210
    assert evaluate("wax", 45, 1, 0) == pytest.approx(0.045 / 0.45359237)
    assert evaluate("wax", 45, 1, 4) == evaluate("wax", 45, 1, 4, 2, 1, 0.9)
    assert evaluate("wax", 45, 1, 4, 0) == evaluate("wax", 45, 1)


def test_ranges_of_every_shape():
    row, column, grid = [[100, 500, 1000]], [[100], [500], [1000]], [[100, 500], [1000, None]]
    for sizes in (row, column, grid, [100, 500, 1000], (100, 500, 1000)):
        assert evaluate("packs", 600, sizes, [[9, 35, 60]]) == [[1, 1, 0, 44.0, 0.0]]
    assert evaluate("volume", [[5]], ((None,),), [[40]]) == evaluate("volume", 5, "", 40)


def test_a_blank_pack_size_keeps_its_place_and_a_blank_price_its_meaning():
    assert evaluate("packs", 600, [100, None, 500], [9, None, 35]) == [[1, 0, 1, 44.0, 0.0]]
    assert evaluate("packs", 1600, [100, 500, 1000]) == [[1, 1, 1, None, 0.0]]
    assert evaluate("packs", 1600, [100, 500, 1000], [9, "", 60]) == [[1, 1, 1, None, 0.0]]


def test_a_blank_year_is_a_year_without_money():
    assert evaluate("irr", [[-100], [""], [121]]) == pytest.approx(0.1)
    assert evaluate("npv", 0.1, [-100, None, 121, "", ""]) == pytest.approx(0.0, abs=1e-9)


def test_yes_and_no():
    cells = ("dry_weight", "white oak", 5, 0, 40)
    for yes in (True, 1, "yes", "TRUE"):
        assert evaluate(*cells, yes) == evaluate(*cells, True)
    for no in (False, 0, "No", "", None):
        assert evaluate(*cells, no) == evaluate(*cells)


def test_the_drill_map_has_a_row_for_each_hole():
    rows = evaluate("drill_map", 4, 48, 6, 2)
    assert len(rows) == evaluate("holes", 4, 48, 6, 2) == 45
    # 6 rows share 12.566 in: row 2 stands 2.094 in further round, its first hole at 3 + 3 in
    assert rows[8] == pytest.approx([2, 2.0944, 6.0], abs=5e-5)


def test_plain_adapters_pass_arguments_in_the_order_of_the_calculation():
    for name, calculation in (("holes", drilling.holes), ("volume", wood.bolt_volume),
                              ("moisture", wood.moisture_by_weighing), ("spawn", supplies.plugs_needed),
                              ("spawn_weight", supplies.sawdust_weight), ("wax_volume", supplies.wax_volume),
                              ("capital_charge", economics.capital_charge),
                              ("breakeven_price", economics.breakeven_price)):
        ours = [arg.name.split("_")[0] for arg in functions.find(name).args if arg.kind != "units"]
        theirs = [parameter.split("_")[0] for parameter in inspect.signature(calculation).parameters]
        renamed = {"real": "rate", "wax": "wax", "density": "wax", "spare": "spare", "melted": "melted"}
        assert [renamed.get(a, a) for a in ours] == [renamed.get(b, b) for b in theirs], name


KERNEL = ["adapters", "arguments", "day_numbers", "drilling", "economics", "functions", "handling", "keeping", "market",
          "season", "supplies", "tables", "units", "wood", "yields"]


@pytest.mark.parametrize("module", KERNEL)
def test_what_travels_into_other_programs_is_plain_and_standard(module):
    path = Path(calc.__file__).with_name(module + ".py")
    tree = ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 8))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in imported} <= set(sys.stdlib_module_names) | {"calc"}
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name) and node.func.id == "print"]


@pytest.mark.parametrize("module", KERNEL)
def test_every_public_function_opens_with_one_whole_sentence(module):
    loaded = sys.modules["calc." + module]
    for name, thing in vars(loaded).items():
        if inspect.isfunction(thing) and thing.__module__ == loaded.__name__ and not name.startswith("_"):
            assert thing.__doc__ and thing.__doc__.strip().split("\n")[0].endswith((".", ":")), name


def test_a_bad_argument_is_a_value_error_with_its_parts():
    with pytest.raises(ValueError) as caught:
        evaluate("volume", 5, -1, 40)
    problem = caught.value
    assert (problem.argument, problem.found, problem.do) == ("large_end", "found -1",
                                                             "Check the number and its unit.")
    assert problem.needed == "a number (in), not below 0" and problem.host_error == arguments.NUM

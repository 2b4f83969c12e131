"""The published tables: every figure in order, with its unit, its basis and a source that stands behind it."""
import math
import re

import pytest

from calc import adapters, functions, handling, tables

NEEDED = """hole_spacing_in hole_spacing_cm row_spacing_in row_spacing_cm end_margin_in end_margin_cm
spare_share wax_per_hole_g end_coat_mm wax_density_g_ml wax_melted_swell water_density_kg_m3
water_density_lb_cu_ft drill_fill_min_per_log other_setup_min_per_log wage_per_hour interest_nominal inflation
weight_per_soaked_log_lb
rota_weeks log_life_seasons first_mushrooms_months force_after_months stump_height_ft stump_height_m
breast_height_ft breast_height_m plug_bit_in plug_depth_in plug_bit_mm plug_depth_mm sawdust_bit_in
sawdust_depth_in sawdust_bit_mm sawdust_depth_mm thimble_bit_mm thimble_depth_mm sawdust_weight_per_log_lb
totem_weight_per_log_lb sawdust_fill sawdust_bulk_density_g_ml lift_horizontal_in lift_from_in lift_to_in
lift_per_minute lift_hours lift_limit_lb lift_limit_kg moisture_floor_wet moisture_ideal_wet water_weekly_in
fresh_mushroom_moisture_wet dried_mushroom_moisture_wet dry_keeps_months retire_below_oz biological_efficiency
yield_year_weight_1 yield_year_weight_2 yield_year_weight_3 yield_year_weight_4""".split()


def test_no_figure_id_stands_twice():
    ids = [row["figure_id"] for row in tables.rows("figures")]
    assert len(ids) == len(set(ids)) == len(tables.figures())


@pytest.mark.parametrize("figure", tables.figures().values(), ids=list(tables.figures()))
def test_figure_is_whole(figure):
    ends = [end for end in (figure.low, figure.typical, figure.high) if end is not None]
    assert ends and ends == sorted(ends) and all(math.isfinite(end) for end in ends)
    assert figure.subject and figure.quantity and figure.unit
    assert figure.basis in tables.BASES
    assert figure.source in tables.sources()
    assert figure.preferred in ("", "yes")


@pytest.mark.parametrize("figure", tables.figures().values(), ids=list(tables.figures()))
def test_basis_and_source_agree(figure):
    seen = tables.sources()[figure.source].seen
    assert (figure.basis == "starting guess") == (figure.source == "own_guess")
    assert seen != "memory" or figure.basis in ("from memory", "definition", "derived")
    assert figure.basis != "published" or figure.as_printed
    assert (seen == "own") == (figure.source in ("own_guess", "arithmetic"))


def printed_numbers(text):
    """The numbers in a printed phrase: 7/16 as a fraction, 1,509.00, .95; of a phrase in percent also as shares."""
    found = [float(number.replace(",", "")) / (float(over) if over else 1.0)
             for number, over in re.findall(r"(\d[\d,]*\.?\d*|\.\d+)(?:/(\d+))?", text)]
    return found + [number / 100.0 for number in found] if "%" in text else found


# Printed in words or in another unit: the words, and what they are in the unit of the row.
IN_WORDS = {
    "wax_per_hole_g": ("100 g per 100 plugs", 100 / 100), "first_mushrooms_months": ("a full year", 12), "force_after_months": ("full year", 12),
    "rest_before_inoculation_days": ("2 weeks", 2 * 7), "inoculate_within_weeks": ("a month", 4),
    "dry_keeps_months": ("about 1 year", 12), "dry_keeps_months_sealed": ("2 years", 24),
    "yield_year_weight_1": ("years 2 and 3 twice years 1 and 4", 1 / 6), "yield_year_weight_2": ("years 2 and 3 twice years 1 and 4", 2 / 6),
    "yield_year_weight_3": ("years 2 and 3 twice years 1 and 4", 2 / 6), "yield_year_weight_4": ("years 2 and 3 twice years 1 and 4", 1 / 6),
}


@pytest.mark.parametrize("figure", [f for f in tables.figures().values() if f.typical is not None and f.as_printed
                                    and f.basis in ("published", "common practice")], ids=lambda figure: figure.figure_id)
def test_the_typical_value_is_one_the_source_prints(figure):
    """A middle of a printed range is our choice: it must be called a starting guess, or derived with its sum."""
    words, value = IN_WORDS.get(figure.figure_id, ("", None))
    assert words in figure.as_printed
    numbers = printed_numbers(figure.as_printed) if value is None else [value]
    assert any(number == pytest.approx(figure.typical, rel=1e-9) for number in numbers)


@pytest.mark.parametrize("figure", [f for f in tables.figures().values() if f.basis == "published"], ids=lambda figure: figure.figure_id)
def test_an_end_from_elsewhere_is_named_beside_the_source(figure):
    """The Sources sheet shows source and place of a published row: an end the source does not print must be told there."""
    told = printed_numbers(figure.as_printed) + printed_numbers(figure.locator) + [IN_WORDS.get(figure.figure_id, (0, 0))[1]]
    weeks = [7 * number for number in told] if "week" in figure.as_printed and figure.unit == "days" else []
    for end in (figure.low, figure.high):
        assert end is None or any(number == pytest.approx(end, rel=1e-9) for number in told + weeks)


@pytest.mark.parametrize("figure", [f for f in tables.figures().values() if f.basis == "derived" or (f.basis == "starting guess" and f.as_printed)],
                         ids=lambda figure: figure.figure_id)
def test_a_derived_or_chosen_figure_says_from_what(figure):
    assert re.search(r"\d", figure.locator + figure.note + figure.as_printed)
    assert figure.locator or figure.as_printed


def test_printed_numbers():
    assert printed_numbers("7/16") == [0.4375] and printed_numbers("gross 2,475.00 a cord") == [2475.0]
    assert printed_numbers("20-25 % wet") == [20.0, 25.0, 0.2, 0.25] and printed_numbers("VM 0.0075") == [0.0075]


@pytest.mark.parametrize("figure_id", NEEDED)
def test_figures_the_workbook_offers_have_a_typical_value(figure_id):
    assert tables.figure(figure_id).typical is not None


def test_every_source_is_complete_and_used():
    used = {figure.source for figure in tables.figures().values()}
    used |= {wood.source for wood in tables.species()}
    for table in ("units", "green_moisture"):
        used |= {row["source"] for row in tables.rows(table)}
    for function in functions.REGISTRY:
        used |= set(function.sources)
    quoted_in_examples_only = {"purdue_fnr156", "gtr_wo104"}
    assert set(tables.sources()) == used | quoted_in_examples_only
    for source in tables.sources().values():
        assert source.authors and source.title and source.seen in tables.SEEN


def test_year_weights_sum_to_one_and_labour_shares_too():
    assert sum(tables.figure("yield_year_weight_%d" % year).typical
               for year in (1, 2, 3, 4)) == pytest.approx(1)
    assert sum(tables.figure("labour_share_" + part).typical
               for part in ("setup", "upkeep", "selling")) == pytest.approx(1)


def test_species_table():
    woods = tables.species()
    assert len(woods) == 35 and woods[0].name == "white oak"
    for wood in woods:
        assert 0.25 < wood.wood_specific_gravity < 0.8 and 0.25 < wood.bark_specific_gravity < 0.9
        assert 0.3 < wood.wood_moisture_dry_fraction < 1.5
        assert 0.3 < wood.bark_moisture_dry_fraction < 1.5
        assert 0.05 < wood.bark_volume_fraction_of_wood < 0.25


@pytest.mark.parametrize("name", ["white oak", "White Oak", "WHITE-OAK", " white  oak ", "Quercus alba"])
def test_a_wood_is_found_however_it_is_spelled(name):
    assert tables.find_species(name).species == "alba"


def test_a_wood_with_two_names_and_one_with_a_hyphen():
    assert tables.find_species("musclewood") is tables.find_species("American hornbeam")
    assert tables.find_species("yellow poplar").genus == "Liriodendron"


def test_an_unknown_wood_names_the_nearest():
    with pytest.raises(tables.UnknownName) as caught:
        tables.find_species("whit oak")
    assert str(caught.value) == ('There is no wood called "whit oak". '
                                 'Did you mean white oak, white ash or pin oak?')
    with pytest.raises(ValueError, match='^There is no wood called "zzzzz".$'):
        tables.find_species("zzzzz")


def test_an_unknown_figure_names_the_nearest():
    with pytest.raises(tables.UnknownName, match="rota_weeks"):
        tables.figure("rota_week")


def test_rows_are_copies_and_a_missing_table_says_so():
    tables.rows("units")[0]["unit"] = "changed"
    assert tables.rows("units")[0]["unit"] == "m"
    with pytest.raises(FileNotFoundError):
        tables.rows("no_such_table")


def test_frequency_table_falls_along_every_column_and_with_longer_hours():
    rows = adapters.frequency_rows()
    assert [row[0] for row in rows] == sorted(row[0] for row in rows) and len(rows) == 17
    for row, following in zip(rows, rows[1:], strict=False):
        assert all(a >= b for a, b in zip(row[1:], following[1:], strict=True))
    for row in rows:
        assert row[1] >= row[3] >= row[5] and row[2] >= row[4] >= row[6]
        assert all(row[low] <= row[low + 1] for low in (1, 3, 5))


def test_lift_limit_figures_are_the_equation_on_the_lift_figures():
    for profile, unit, weight in (("us", "in", "lb"), ("metric", "cm", "kg")):
        start, end, reach = (tables.figure("lift_%s_%s" % (part, unit)).typical
                             for part in ("from", "to", "horizontal"))
        limit = adapters.lift_limit(reach, start, end - start, 0, tables.figure("lift_per_minute").typical,
                                    tables.figure("lift_hours").typical, "poor", profile=profile)
        assert limit == pytest.approx(tables.figure("lift_limit_" + weight).typical, abs=0.05)


def test_lifting_constants_of_both_profiles_are_complete():
    for profile in ("us", "metric"):
        assert None not in adapters.lifting_constants(profile)
    assert set(adapters.grip_multipliers()) == set(handling.GRIPS)


def test_green_moisture_table_keeps_the_basis_in_its_header():
    rows = tables.rows("green_moisture")
    assert len(rows) == 12
    for row in rows:
        values = [float(row[column]) for column in row if column.endswith("pct_dry_basis") and row[column]]
        assert values and all(30 < value < 150 for value in values)

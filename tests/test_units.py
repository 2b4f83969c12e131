"""Unit factors against the pint library, and the spellings growers use."""
import pint
import pytest

from calc import tables, units

PINT = {"cu m": "m**3", "cu ft": "ft**3", "fl oz": "US_fluid_ounce", "gal": "US_liquid_gallon",
        "mL": "milliliter", "L": "liter", "g/mL": "g/mL", "lb/cu ft": "lb/ft**3", "in": "inch", "lb": "pound",
        "oz": "ounce", "h": "hour", "min": "minute", "cord": "128 ft**3"}
REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize("row", tables.rows("units"), ids=[row["unit"] for row in tables.rows("units")])
def test_factor_is_pints(row):
    expected = REGISTRY.parse_expression(PINT.get(row["unit"], row["unit"]))
    expected = expected.to(row["si_unit"].replace("m3", "m**3"))
    assert float(row["si_per_unit"]) == pytest.approx(expected.magnitude, rel=1e-15)


@pytest.mark.parametrize("row", tables.rows("units"), ids=[row["unit"] for row in tables.rows("units")])
def test_every_spelling_means_one_unit(row):
    for spelling in [row["unit"]] + [alias for alias in row["aliases"].split("|") if alias]:
        assert units.find_unit(spelling).name == row["unit"]
    assert row["source"] in tables.sources() and row["locator"]


@pytest.mark.parametrize("text, name", [
    ('"', "in"), ("″", "in"), ("''", "in"), ("in.", "in"), ("Inches", "in"), ("'", "ft"), ("LBS.", "lb"),
    ("#", "lb"), ("cu. ft", "cu ft"), ("fl. oz.", "fl oz"), (" cubic  feet ", "cu ft"), ("ML", "mL")])
def test_spelling(text, name):
    assert units.find_unit(text).name == name


def test_an_unknown_unit_is_none():
    assert units.find_unit("furlong") is None


def test_both_profiles_know_the_same_quantities_in_known_units():
    assert set(units.PROFILES[units.US]) == set(units.PROFILES[units.METRIC])
    for profile in units.PROFILES:
        for quantity in units.PROFILES[profile]:
            name = units.profile_unit(quantity, profile)
            assert units.factor(quantity, profile) == units.units()[name].si_per_unit


@pytest.mark.parametrize("value, unit", [(4.25, "in"), (0.5, "cord"), (1e-6, "oz"), (7200.0, "h")])
def test_there_and_back(value, unit):
    assert units.from_si(units.to_si(value, unit), unit) == pytest.approx(value, rel=1e-15)


def test_temperatures():
    # 77 F: 45 above freezing, / 1.8 = 25; -40 is the same on both scales
    assert units.celsius_from_fahrenheit(77.0) == pytest.approx(25.0)
    assert units.fahrenheit_from_celsius(-40.0) == pytest.approx(-40.0)


def test_temperatures_as_typed_in_a_profile():
    assert (units.temperature_unit(units.US), units.temperature_unit(units.METRIC)) == ("°F", "°C")
    assert units.celsius(77.0, units.US) == pytest.approx(25.0) and units.celsius(25.0, units.METRIC) == 25.0


def test_a_unit_holds_what_its_row_says():
    unit = units.Unit("rod", "length", 5.0292)      # 16.5 ft, NIST Handbook 44
    assert (unit.name, unit.dimension, unit.si_per_unit) == ("rod", "length", 5.0292)

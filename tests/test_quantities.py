"""Sizes, weights and amounts as growers write them."""
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import units
from calc.problems import Ask
from calc.quantities import (
    DIMENSIONS,
    Read,
    format_number,
    normal,
    plain_number,
    read_quantity,
    read_two_sizes,
)

QUANTITIES = (*DIMENSIONS, "money", "money per weight", "temperature", "fraction", None)
IN, LB = 0.0254, 0.45359237


def inches(text, profile="us"):
    found = read_quantity(text, "length", profile)
    assert isinstance(found, Read), (text, found)
    return found.value_si / IN


# Exact by definition: 1 ft = 12 in, 1 in = 2.54 cm; 100 / 2.54 = 39.3701, 120 / 2.54 = 47.2441.
@pytest.mark.parametrize("text, wanted", [
    ("4 ft", 48), ("4'", 48), ("4’", 48), ("4 feet", 48), ("4′", 48), ("4 Ft.", 48),
    ("4'2\"", 50), ("4’ 2”", 50), ("4 ft 2 in", 50), ("4ft2", 50), ("4'2", 50), ("4'-2\"", 50),
    ("4' 2''", 50), ("4 ft, 2 in", 50), ("4 ft and 2 in", 50),
    ("3 1/2 ft", 42), ("3½'", 42), ("3-1/2 ft", 42), ("3' 6½\"", 42.5), ("40\"", 40),
    ("40''", 40), ("40 in.", 40), ("100cm", 100 / 2.54), ("1.2 m", 120 / 2.54), ("1,2 m", 120 / 2.54), ("1 m 20", 120 / 2.54),
    ("1 m 20 cm", 120 / 2.54), ("0,200 m", 20 / 2.54), ("48", 48), ("５０", 50), ("4\u00a0ft", 48), ("+3", 3),
    ("5/16", 0.3125), ("½", 0.5), ("3 1/2", 3.5), ("3-1/2", 3.5), ("1 yd", 36), ("3 1\u20442", 3.5),
    ("−3", -3), ("-3 ft", -36), ("none", 0), ("-", 0), ("–", 0), ("Nil", 0), (" 12 ; ", 12),
    ("1,200.5", 1200.5), ("1.200,5", 1200.5), ("1,234,567", 1234567), ("3 dm", 30 / 2.54), ("3 hands", 12),
])
def test_sizes(text, wanted):
    assert inches(text) == pytest.approx(wanted, rel=1e-12)


# 16 oz = 1 lb; 0.5 / 0.45359237 = 1.10231, 1.5 / 0.45359237 = 3.30693; a stone is 14 lb.
@pytest.mark.parametrize("text, pounds", [
    ("12 oz", 0.75), ("1 lb 4 oz", 1.25), ("1 lb. 4 oz.", 1.25), ("1lb4", 1.25), ("1.5#", 1.5), ("3 lbs", 3),
    ("500 g", 0.5 / LB), ("1,5 kg", 1.5 / LB), ("1 kg 500", 1.5 / LB), ("1 stone", 14),
])
def test_weights(text, pounds):
    assert read_quantity(text, "weight", "us").value_si == pytest.approx(pounds * LB, rel=1e-12)


def test_a_bare_number_takes_the_unit_of_the_workbook():
    assert read_quantity("10,5", "length", "metric").value_si == pytest.approx(0.105)
    assert read_quantity("10", "rain", "metric").value_si == pytest.approx(0.010)
    assert read_quantity("1", "rain", "us").value_si == pytest.approx(0.0254)
    assert read_quantity("1.5", "weight", "metric").value_si == 1.5


@pytest.mark.parametrize("text, hours", [("12", 12), ("12 h", 12), ("1 day", 24), ("90 min", 1.5),
                                         ("1h30", 1.5), ("1 h 30 min", 1.5), ("1:30", 1.5), ("24 hrs", 24)])
def test_hours(text, hours):
    assert read_quantity(text, "hours", "us").value_si == hours * 3600


@pytest.mark.parametrize("text", ["~3", "3?", "about 3", "ca 3", "≈ 3", "3 or so", "3+", "~ 3 in"])
def test_rough_numbers_are_marked(text):
    found = read_quantity(text, "length", "us")
    assert found.approximate and found.note == "marked as rough"
    assert found.value_si == pytest.approx(3 * IN)


@pytest.mark.parametrize("text", ["4'2\"", "12 oz", "1,2 m", "48"])
def test_what_is_plain_is_read_without_a_note(text):
    quantity = "weight" if "oz" in text else "length"
    found = read_quantity(text, quantity, "us")
    assert found.note is None and not found.approximate


@pytest.mark.parametrize("text, quantity, question, offers, code", [
    ("5-6", "diameter", "is a range from 5 to 6", ("5.5",), "range"),
    ("5 – 6 in", "diameter", "is a range from 5 to 6", ("5.5",), "range"),
    ("5 to 6", "diameter", "is a range from 5 to 6", ("5.5",), "range"),
    ("6 1/2 - 7", "diameter", "is a range from 6.5 to 7", ("6.75",), "range"),
    ("2-3 lb", "weight", "is a range from 2 to 3", ("2.5",), "range"),
    ("8-12 oz", "weight", "is a range from 0.5 to 0.75", ("0.625",), "range"),
    ("1,200", "length", "is 1200 or 1.2", ("1200", "1.2"), "two_meanings"),
    ("1,200 mm", "length", "is 1200 or 1.2", ("1200 mm", "1.2 mm"), "two_meanings"),
    ("lots", "weight", "is not a number", (), "not_a_number"),
    ("", "weight", "is not a number", (), "not_a_number"),
    ("1O", "length", "has a letter in the number", ("10",), "letter_in_number"),
    ("l2", "length", "has a letter in the number", ("12",), "letter_in_number"),
    ("12 oz", "length", "is a weight, not a length", (), "wrong_unit"),
    ("12 in", "weight", "is a length, not a weight", (), "wrong_unit"),
    ("5 x 40 in", "diameter", "holds two sizes", (), "two_sizes"),
    ("4'15\"", "length", "does not add up", ("63",), "does_not_add_up"),
    ("4 ft 0.5 ft", "length", "does not add up", ("54",), "does_not_add_up"),
    ("3 furlongs", "weight", "is not a weight", (), "wrong_unit"),
    ("7/0", "length", "divides by nothing", (), "not_a_number"),
    ("4 2", "length", "holds two numbers", ("4", "2"), "two_numbers"),
    ("3 wibbles", "length", 'has a unit that is not known, "wibbles"', (), "unknown_unit"),
    (">5", "length", "is a limit, not an amount", ("5",), "limit"),
    ("=3+4", "length", "is a formula kept as text", (), "not_a_number"),
    ("3 kg", None, "is not a plain number", (), "not_a_number"),
    ("9" * 61, "length", "is too long for a number", (), "not_a_number"),
])
def test_what_is_asked(text, quantity, question, offers, code):
    assert read_quantity(text, quantity, "us") == Ask(question, offers, code)


def test_a_unit_that_is_not_listed_says_how_it_was_read():
    """A stone is 14 lb; it is none of the workbook's own units."""
    assert read_quantity("2 stone", "weight", "us").note == "1 stone read as 14 lb"
    assert read_quantity("2 lb", "weight", "us").note is None


def test_a_comma_before_three_digits_follows_the_habit_when_it_is_known():
    assert plain_number("1,200", comma_decimal=True) == 1.2
    assert plain_number("1,200", comma_decimal=False) == 1200
    assert plain_number("1.200", comma_decimal=None) == 1.2
    assert isinstance(plain_number("1.200", comma_decimal=True), Ask)


@pytest.mark.parametrize("text, value", [("$4.50", 4.5), ("4,50 €", 4.5), ("USD 12", 12), ("-5", -5),
                                         ("$1,200.50", 1200.5), ("- 5", -5)])
def test_money(text, value):
    assert read_quantity(text, "money", "us").value_si == value


# 8 a pound is 8 / 0.45359237 a kilogram.
@pytest.mark.parametrize("text, per_kg", [("8", 8 / LB), ("$8/lb", 8 / LB), ("8 per kg", 8),
                                          ("8 a lb", 8 / LB), ("0.50/oz", 8 / LB)])
def test_prices_come_out_per_kilogram(text, per_kg):
    assert read_quantity(text, "money per weight", "us").value_si == pytest.approx(per_kg, rel=1e-12)


def test_percent_and_fraction():
    assert read_quantity("42 %", "fraction", "us") == Read(0.42)
    assert read_quantity("0.42", "fraction", "us") == Read(0.42)
    assert read_quantity("42", "fraction", "us") == Read(0.42, False, "read as 42 %")


def test_temperature():
    assert read_quantity("59 F", "temperature", "metric").value_si == pytest.approx(15)  # (59 - 32) / 1.8
    assert read_quantity("15°C", "temperature", "us").value_si == 15
    assert read_quantity("50", "temperature", "us").value_si == pytest.approx(10)


# One unit after two numbers: 5 x 40 in is 5 in and 40 in; 3 ft is 36 in and 4 ft thick is no log.
def test_two_sizes():
    def both(text, profile="us"):
        return [round(s.value_si / IN, 9) for s in read_two_sizes(text, profile)]

    assert both("5 x 40 in") == [5, 40] and both("5 x 40 in", "metric") == [5, 40]
    assert both("5×40") == [5, 40] and both('5" x 40"') == [5, 40]
    assert both("4 x 3'") == [4, 36]
    assert read_two_sizes("4 x 3'", "us")[0].note == "4 read as 4 in"
    assert read_two_sizes("5,5 x 91.4 cm", "us") == Ask(
        "is 5,5 cm or 5,5 in thick", ("5,5 cm", "5,5 in"), "two_meanings")
    assert isinstance(read_two_sizes("40", "us"), Ask)


def test_one_spelling_for_what_looks_alike():
    assert normal("３½’") == "3 1/2'" and normal("4’\u00a0 2”") == "4' 2\"" and normal("\u200b−３") == "-3"


TEXTS = st.one_of(st.text(max_size=80), st.text("0123456789 .,-/'\"xftinlbozkg~?½%$()<>=+", max_size=20))


@settings(max_examples=400, deadline=None)
@given(TEXTS, st.sampled_from(QUANTITIES), st.sampled_from(("us", "metric")),
       st.sampled_from((None, True, False)))
def test_nothing_typed_ever_raises(text, quantity, profile, comma):
    found = read_quantity(text, quantity, profile, comma)
    assert isinstance(found, (Read, Ask))
    if isinstance(found, Read):
        assert abs(found.value_si) < float("inf")
    pair = read_two_sizes(text, profile, comma)
    assert isinstance(pair, Ask) or len(pair) == 2


@settings(max_examples=200, deadline=None)
@given(st.integers(1, 99999), st.sampled_from(("diameter", "length", "weight", "rain", "hours")),
       st.sampled_from(("us", "metric")))
def test_a_number_written_with_its_unit_reads_as_the_bare_number(hundredths, quantity, profile):
    bare = read_quantity(f"{hundredths / 100:.2f}", quantity, profile)
    unit = units.profile_unit(quantity, profile)
    with_unit = read_quantity(f"{hundredths / 100:.2f} {unit}", quantity, profile)
    comma = read_quantity(f"{hundredths / 100:.2f}".replace(".", ","), quantity, profile)
    assert bare == with_unit == comma
    assert bare.value_si == pytest.approx(hundredths / 100 * units.factor(quantity, profile), rel=1e-12)


@given(st.integers(0, 30), st.integers(0, 11))
def test_feet_and_inches_add(feet, inch):
    assert inches(f"{feet}' {inch}\"") == pytest.approx(12 * feet + inch)


@given(st.floats(0.001, 1e5))
def test_offers_can_be_typed_back(value):
    text = format_number(value)
    assert plain_number(text) == pytest.approx(value, rel=1e-5)

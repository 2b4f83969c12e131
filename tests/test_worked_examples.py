"""Published worked examples: inputs, answer, tolerance and source stand in worked_examples.csv."""
import csv
import importlib
import json
import re
from pathlib import Path

import pytest

from calc import adapters, functions, tables, units, wood

ROWS = list(csv.DictReader(Path(__file__).with_name("worked_examples.csv").open(encoding="utf-8")))


def ratio(name):
    """Green over dry weight of a wood of the shipped table."""
    return wood.green_to_dry_ratio(*tables.find_species(name)[3:8])


def lift(*values):
    return adapters.lift(*values[:-1], profile=values[-1])


def as_si(value):
    """"10 in" -> 0.254; anything else is left alone."""
    if isinstance(value, str):
        match = re.fullmatch(r"([\d.]+) (.+)", value)
        if match:
            return units.to_si(float(match.group(1)), match.group(2))
    return value


def computed(row):
    name, *places = re.split(r"[\[\]]+", row["function"].rstrip("]"))
    inputs = json.loads(row["inputs"])
    if name.startswith("BOLT_"):
        result = functions.evaluate(name, *inputs)
    else:
        if name.startswith("calc."):
            module, _, called = name.rpartition(".")
            call = getattr(importlib.import_module(module), called)
        else:
            call = {"ratio": ratio, "lift": lift}[name]
        result = call(*[as_si(value) for value in inputs])
    for place in places:
        result = result[int(place)]
    return units.from_si(result, row["unit"]) if row["unit"] else result


@pytest.mark.parametrize("row", ROWS, ids=[row["name"] for row in ROWS])
def test_published_example(row):
    assert computed(row) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


def test_every_example_is_seen_or_quoted_and_has_a_known_source():
    assert {row["tag"] for row in ROWS} <= {"SEEN", "2ND", "CP"}  # CP: common practice
    assert all((row["tag"] == "CP") == (row["source"] in ("practitioner", "common_practice")) for row in ROWS)
    assert not any(tables.sources()[row["source"]].seen in ("memory", "own") for row in ROWS)
    assert {row["source"] for row in ROWS} <= set(tables.sources())
    assert all(row["locator"] for row in ROWS)
    assert len({row["name"] for row in ROWS}) == len(ROWS) >= 30


def decimals(printed):
    return len(printed.partition(".")[2])


def test_a_tolerance_wider_than_half_the_last_digit_has_its_reason():
    for row in ROWS:
        half = 0.5 * 10.0 ** -decimals(row["expected"])
        assert row["reason"] or float(row["tolerance"]) <= half * (1 + 1e-9), row["name"]

"""Weighings and soaks that cannot be, or lack something, in exact words. A 5 x 40 in white oak log weighs 28.8 lb fresh (FIA's figures)."""
from __future__ import annotations

import datetime as dt

import pytest
from intake_book import A1, AS_OF, check, said

SAMPLE = {**A1, "sample_weight": 28.8, "start_moisture": 0.415}


def events(*lines, log=SAMPLE):
    """Problems of lines (days before the as-of day, event, amount or None) of the log A1."""
    rows = [{"date": dt.datetime.combine(AS_OF - dt.timedelta(days=ago), dt.time()), "event": event, "log": "A1",
             **({} if amount is None else {"amount": amount})} for ago, event, amount in lines]
    return said(check(logs=[log], events=rows))


def test_weights_that_a_log_can_have_are_not_asked_about():
    assert events((30, "weighed", 28.8), (20, "weighed", 25.0)) == []


def test_heavier_than_a_log_full_of_water_is_left_out_of_the_moisture():
    # 785.4 cu in = 12.87 L: 12.87 kg of water, and a third of 16.85 lb of dry wood and bark: 34.0 lb.
    assert events((30, "weighed", 45.0)) == [
        "Events row 6, Amount, see Lists: 45 lb is more than A1 can weigh, even full of water (34 lb). Needed: the weight of one log. "
        "Check the unit, the log's size and its Sample weight; it is left out of the moisture."]


def test_lighter_than_dry_wood_is_left_out_of_the_moisture():
    # 28.8 x (1 - 0.415) = 16.848 lb
    assert events((30, "weighed", 16.0)) == [
        "Events row 6, Amount, see Lists: 16 lb is less than A1 weighs without any water (16.8 lb). Needed: the weight of one log. "
        "Check it, Sample weight and Start moisture on Logs; it is left out of the moisture."]


@pytest.mark.parametrize("soak, asked", [(None, True), (30, False), (37, False), (38, True), (29, True)])
def test_heavier_than_at_the_start_is_asked_about_unless_a_soak_explains_it(soak, asked):
    lines = [(30, "weighed", 29.5)] + ([(soak, "soaked", 12.0)] if soak is not None else [])
    words = ("Events row 6, Amount, see Lists: 29.5 lb is more than A1 weighed at the start (28.8 lb), and no soak, rain or watering is "
             "written down in the week before. Needed: the weight of one log. Check it, or write down what made it wet; it is used as typed.")
    assert events(*lines) == ([words] if asked else [])


@pytest.mark.parametrize("wet, asked", [
    ((30, "rain", 0.5), False), ((37, "rain", 0.5), False), ((38, "rain", 0.5), True), ((29, "rain", 0.5), True), ((30, "rain", 0.0), True),
    ((37, "watered", None), False), ((38, "watered", None), True), ((37, "watered", 0.0), True)])
def test_rain_or_watering_in_the_week_before_explains_a_gain(wet, asked):
    """Weighed 30 days ago at more than at the start: the week before begins 37 days ago; an amount of 0 made nothing wet."""
    assert any("is more than A1 weighed at the start" in words for words in events((30, "weighed", 29.5), wet)) == asked


def test_a_soak_explains_the_gain_of_its_own_log_alone():
    rows = [{"date": dt.datetime.combine(AS_OF - dt.timedelta(days=30), dt.time()), "log": log, "event": event, "amount": amount}
            for log, event, amount in (("B1", "soaked", 12.0), ("B1", "weighed", 29.5), ("A1", "weighed", 29.5))]
    found = said(check(logs=[SAMPLE, {**SAMPLE, "log": "B1"}], events=rows))
    assert len(found) == 1 and found[0].startswith("Events row 8, Amount, see Lists: 29.5 lb is more than A1 weighed at the start")


@pytest.mark.parametrize("ago, asked", [(0, True), (7, True), (8, False)])
def test_a_soak_without_hours_is_asked_about_while_it_may_matter(ago, asked):
    words = ("Events row 6, Amount, see Lists: soaked, but not for how long. Needed: hours in the tank. "
             "Type them; until then the hours on Settings are taken.")
    assert events((ago, "soaked", None)) == ([words] if asked else [])


@pytest.mark.parametrize("weight, words", [
    (70.0, "70 lb is more than such a log can weigh, even full of water (34 lb by its size and wood)"),
    (13.0, "13 lb is less than such a log weighs without any water (16.9 lb by its size and wood)")])  # 16.85 lb
def test_a_start_weight_beyond_the_size_of_the_log(weight, words):
    assert said(check(logs=[{**SAMPLE, "sample_weight": weight}])) == [
        f"Logs row 6, Sample weight: {words}. Needed: the weight of one log at the start. "
        "Check the unit, the size and the wood; it is used as typed."]


def test_a_weighing_to_come_is_asked_about_and_nothing_is_asked_of_an_unknown_wood():
    assert ["is after" in words for words in events((-20, "weighed", 25.0))] == [True]
    assert not any("can weigh" in words for words in events((30, "weighed", 90.0), log={**A1, "wood": "no such wood"}))

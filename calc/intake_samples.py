"""Weighings and soaks that cannot be, or lack something: what each gets in words."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import moisture
from calc.intake_sense import Sense
from calc.problems import QUESTION
from calc.sizes import volumes

SOAK_DAYS = 7  # a log heavier than at the start is not asked about so many days after a soak, rain or watering; starting guess
RECENT_DAYS = 7  # a soak without hours is asked about for so long


def sample_questions(sense: Sense, woods: pd.DataFrame) -> None:
    """Ask about weighings beyond what the log can weigh, start weights that cannot be, and soaks without hours."""
    known = moisture.samples(sense.logs, woods, volumes(sense.logs))
    _start_weights(sense, known)
    _soaks(sense)
    weighed = np.flatnonzero(sense.of("weighed")[sense.item] & (sense.events["amount"].to_numpy(dtype=float)[sense.item] > 0))
    if len(weighed):
        _weights(sense, known, weighed)


def _weights(sense: Sense, known: moisture.Samples, link: np.ndarray) -> None:
    event, log = sense.item[link], sense.log[link]
    weight = sense.events["amount"].to_numpy(dtype=float)[event]
    with np.errstate(invalid="ignore"):
        heavy = weight > known.most_kg[log] * (1 + 1e-9)
        light = weight < known.dry_kg[log] * (1 - 1e-9)
        gained = ~heavy & (weight > known.start_kg[log] * (1 + 1e-9)) & ~_soaked_before(sense, event, log) & ~_wetted_before(sense, event)
    shown, name = sense.context.rounded, sense.logs["log"].to_numpy(dtype=object)
    unit = sense.context.unit("weight")

    def lb(kg) -> str:
        return f"{shown(kg, 'weight')} {unit}"

    for at in _first(sense, event, heavy):
        most = known.most_kg[log[at]]
        sense.ask(int(event[at]), "amount", f"{lb(weight[at])} is more than {name[log[at]]} can weigh, even full of water ({lb(most)})",
                  "the weight of one log", "Check the unit, the log's size and its Sample weight; it is left out of the moisture", "too_heavy")
    for at in _first(sense, event, light):
        sense.ask(int(event[at]), "amount", f"{lb(weight[at])} is less than {name[log[at]]} weighs without any water ({lb(known.dry_kg[log[at]])})",
                  "the weight of one log", "Check it, Sample weight and Start moisture on Logs; it is left out of the moisture", "too_light")
    for at in _first(sense, event, gained & [lb(a) != lb(b) if g else False for a, b, g in zip(weight, known.start_kg[log], gained, strict=True)]):
        sense.ask(int(event[at]), "amount", f"{lb(weight[at])} is more than {name[log[at]]} weighed at the start ({lb(known.start_kg[log[at]])}), "
                  "and no soak, rain or watering is written down in the week before", "the weight of one log",
                  "Check it, or write down what made it wet; it is used as typed", "gained_weight")


def _first(sense: Sense, event: np.ndarray, bad: np.ndarray):
    """Places of the bad links, one for each event, capped as the list of problems is."""
    marked = np.zeros(len(sense.events), dtype=bool)
    marked[event[bad]] = True
    wanted = set(sense.say.first(marked, sense.names["events"], QUESTION).tolist())
    places = np.flatnonzero(bad)
    return [int(places[i]) for i in np.unique(event[places], return_index=True)[1] if int(event[places[i]]) in wanted]


def _soaked_before(sense: Sense, event: np.ndarray, log: np.ndarray) -> np.ndarray:
    """True where the log was soaked on the day or in the week before."""
    soak = sense.of("soaked")[sense.item]
    days = sense.day.astype("datetime64[D]").astype(np.int64)
    key = np.sort(sense.log[soak].astype(np.int64) * 2 ** 20 + days[sense.item[soak]])
    low = np.searchsorted(key, log.astype(np.int64) * 2 ** 20 + days[event] - SOAK_DAYS, side="left")
    return np.searchsorted(key, log.astype(np.int64) * 2 ** 20 + days[event], side="right") > low


def _wetted_before(sense: Sense, event: np.ndarray) -> np.ndarray:
    """True where rain or a watering is written down for the yard, or part of it, on the day or in the week before."""
    amount = sense.events["amount"].to_numpy(dtype=float)
    wet = (sense.of("rain") & (amount > 0) | sense.of("watered") & ~(amount <= 0)) & ~np.isnat(sense.day)
    days = sense.day.astype("datetime64[D]").astype(np.int64)
    key = np.sort(days[wet])
    return np.searchsorted(key, days[event], side="right") > np.searchsorted(key, days[event] - SOAK_DAYS, side="left")


def _soaks(sense: Sense) -> None:
    """Soaks without hours, while the logs may still be in the tank."""
    blank = sense.of("soaked") & np.isnan(sense.events["amount"].to_numpy(dtype=float)) & ~np.isnat(sense.day)
    recent = blank & (np.datetime64(sense.context.as_of) - sense.day <= np.timedelta64(RECENT_DAYS, "D"))
    for event in sense.say.first(recent, sense.names["events"], QUESTION).tolist():
        sense.ask(event, "amount", "soaked, but not for how long", "hours in the tank", "Type them; until then the hours on Settings are taken",
                  "no_hours")


def _start_weights(sense: Sense, known: moisture.Samples) -> None:
    """A Sample weight that a log of that size and wood cannot have had."""
    start = known.start_kg
    with np.errstate(invalid="ignore"):
        heavy, light = start > known.size_full_kg * (1 + 1e-9), start < known.size_dry_kg * (1 - 1e-9)
    for mask, words, bound in ((heavy, "more than such a log can weigh, even full of water", known.size_full_kg),
                               (light, "less than such a log weighs without any water", known.size_dry_kg)):
        for row in sense.say.first(mask, sense.names["logs"], QUESTION).tolist():
            shown = [f"{sense.context.rounded(kg, 'weight')} {sense.context.unit('weight')}" for kg in (start[row], bound[row])]
            sense.say.add(sense.names["logs"], int(sense.logs["row"].iat[row]), sense.titles["logs", "sample_weight_kg"], QUESTION,
                          f"{shown[0]} is {words} ({shown[1]} by its size and wood)", "the weight of one log at the start",
                          "Check the unit, the size and the wood; it is used as typed", "sample_weight")

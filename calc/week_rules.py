"""The rules of the week: which logs need what, why, and by which rule.

Each rule looks at the yard as arrays and hands on rows of Logs with a reason; calc.this_week makes lines of them.
Dates come from the season tables: where those know none, the reason says so. Sources stand beside each reason.
"""
from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from calc import tables, units
from calc.codes import distinct
from calc.day_numbers import day_in_words as on
from calc.log_names import Ranked
from calc.moisture import DRY, Weighings
from calc.season_stages import MAY_FRUIT, PICKING, READY, RESTING, SOAKING, SPAWN_RUN
from calc.season_state import TEMPERATURES, soak_hours, to_date
from calc.watering import NEVER, Water, days_dry, inch_m, wanted_m
from calc.yard import NO_DAY, Diary, Yard, as_typed, day_column, numbers, text_codes

WEEK_DAYS = 7
A_DATE = re.compile(r"\d{1,2} [A-Z][a-z]{2} \d{4}", re.ASCII)
NOT_WRITTEN = "no rain or watering is written down, so it is not known; write it on Events, and water if less fell"
RUNNING, BEARING_AGE = (SPAWN_RUN, MAY_FRUIT), (MAY_FRUIT, READY, RESTING, PICKING)


class Said:
    """A text for each of many rows: the different texts, and which of them each row has."""

    def __init__(self, texts, which: np.ndarray):
        self.texts, self.which = list(texts), which

    def __getitem__(self, rows) -> Said:
        return Said(self.texts, self.which[rows])

    def one_of(self, *texts: str) -> np.ndarray:
        """True where one of these texts stands."""
        return np.array([text in texts for text in self.texts], dtype=bool)[self.which]

    def map(self, say) -> Said:
        """Other words for each different text."""
        return Said(map(say, self.texts), self.which)


@dataclass
class Needs:
    """Rows of Logs that need one thing, with reason, rule and occasion; of many reasons those with the lowest `first` are shown."""

    what: str
    log: np.ndarray
    reason: Said
    rule: Said
    occasion: Said
    first: np.ndarray

    def __len__(self):
        return len(self.log)

    def only(self, mine: np.ndarray) -> Needs:
        """Some of the rows."""
        return Needs(self.what, self.log[mine], self.reason[mine], self.rule[mine], self.occasion[mine], self.first[mine])


@dataclass
class Week:
    """What the rules look at: the yard as arrays, its water and weighings, the tables made before, and Settings in SI."""

    book: Diary
    yard: Yard
    logs: pd.DataFrame
    lots: pd.DataFrame
    rain: Water
    weighed: Weighings
    moisture: pd.DataFrame
    log_season: pd.DataFrame
    soak_calendar: pd.DataFrame
    keep_retire: pd.DataFrame
    settings: dict
    day: int = 0
    alive: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self):
        self.day, self.alive = self.yard.as_of, self.yard.alive()
        rows, theirs = numbers(self.logs, "row"), numbers(self.log_season, "row")
        at = np.arange(len(rows)) if np.array_equal(rows, theirs) else pd.Index(rows).get_indexer(theirs)
        self.season, self._last = at, {}  # row of Logs of each row of log_season
        self._stage = self.of_season("stage")

    def of_season(self, column: str) -> Said:
        """A text column of log_season by row of Logs."""
        code, texts = text_codes(self.log_season, column)
        found = np.full(len(self.yard), len(texts))
        found[self.season[self.season >= 0]] = code[self.season >= 0]
        return Said([*texts, ""], found)

    def days_of_season(self, column: str) -> np.ndarray:
        """A date column of log_season as whole days by row of Logs; NO_DAY where not known."""
        found = np.full(len(self.yard), NO_DAY)
        found[self.season[self.season >= 0]] = day_column(self.log_season, column)[self.season >= 0]
        return found

    def at(self, *stages: str) -> np.ndarray:
        """True for rows of Logs that are there and in one of these stages."""
        return self._stage.one_of(*stages) & (self.alive > 0)

    @property
    def soaking(self) -> np.ndarray:
        """True for rows of Logs in the tank."""
        return self.at(SOAKING)

    def last(self, *kinds: str) -> np.ndarray:
        """Last day of such an event by row of Logs; NEVER where there is none."""
        for kind in kinds:
            if kind not in self._last:
                self._last[kind] = np.full(len(self.yard), NEVER)
                line, log = self.book.pairs(kind)
                np.maximum.at(self._last[kind], log, self.book.day[line])
        return np.maximum.reduce([self._last[kind] for kind in kinds])

    def row_of(self, rows) -> np.ndarray:
        """Places of rows of the sheet Logs."""
        return pd.Index(numbers(self.logs, "row")).get_indexer(rows)

    @cached_property
    def batches(self) -> tuple[np.ndarray, np.ndarray]:
        """(names of the batches in order, the place in them of each row of Logs)."""
        return batches(self)

    @cached_property
    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """(the place of each row of Logs as a number, their names)."""
        return text_codes(self.logs, "place")

    @cached_property
    def ranked(self) -> Ranked:
        """The names of the logs, for words on many of them."""
        return Ranked(as_typed(self.logs, "log"))

    # -- words

    @property
    def profile(self) -> str:
        return self.settings.get("profile", units.METRIC)

    def depth(self, metres: float) -> str:
        """A depth of rain as a grower would say it."""
        unit = units.profile_unit("rain", self.profile)
        return f"{round(metres / units.factor('rain', self.profile), 2 if unit == 'in' else 0):g} {unit}"

    def weight(self, kg: float) -> str:
        return f"{kg / units.factor('weight', self.profile):.1f} {units.profile_unit('weight', self.profile)}"

    def degrees(self, celsius: float) -> str:
        us = self.profile == units.US
        return f"{units.fahrenheit_from_celsius(celsius) if us else celsius:.0f} {'°F' if us else '°C'}"

    @property
    def month_mean(self):
        """Mean temperature of this month at the site, deg C; None where Settings has none."""
        return self.settings.get(TEMPERATURES[to_date(self.day).month - 1])


def ago(days: int) -> str:
    """How long since, in words."""
    return "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"


def needs(what: str, logs: np.ndarray, reason, rule, occasion="", first=0) -> Needs:
    """Rows of Logs that need something; reason, rule, occasion and first are one for all, or one for each.

    first: of many reasons in a line, those with the lowest number (a day, say) are shown.
    """
    logs = np.asarray(logs, dtype=np.int64)

    def said(words) -> Said:
        return words if isinstance(words, Said) else Said([words], np.zeros(len(logs), dtype=np.int64))

    return Needs(what, logs, said(reason), said(rule), said(occasion), np.broadcast_to(np.asarray(first, dtype=np.int64), logs.shape))


def together(parts: list[Needs]) -> Needs:
    """All of one kind, each text once."""
    def joined(every: list[Said]) -> Said:
        places: dict[str, int] = {}
        which = [np.array([places.setdefault(text, len(places)) for text in said.texts], dtype=np.int64)[said.which] for said in every]
        return Said(places, np.concatenate(which))

    return Needs(parts[0].what, np.concatenate([part.log for part in parts]), joined([part.reason for part in parts]),
                 joined([part.rule for part in parts]), joined([part.occasion for part in parts]), np.concatenate([part.first for part in parts]))


def many(number: float, word: str) -> str:
    """A count and its word: 1 day, 2 days."""
    return f"{number:g} {word}{'' if number == 1 else 's'}"


def said_by(days: np.ndarray, say) -> Said:
    """A text for each day, made once for each different one."""
    known, which = distinct(days)
    return Said([say(day) for day in known.tolist()], which)


def stamp(day: int) -> str:
    """A day as an occasion; "" where there was none."""
    return "" if day in (NEVER, NO_DAY) else str(np.datetime64(int(day), "D"))


# ---- the rules ------------------------------------------------------------------------------------------------------


def lift_out(week: Week) -> list[Needs]:
    """Logs in the tank: soaked today or so short a time ago that they may still be in it."""
    line, log = week.book.pairs("soaked")
    day, typed, usual = week.book.day[line], week.book.amount[line], soak_hours(week.settings)
    out = day + np.ceil(np.where(np.isnan(typed), usual, typed) / 24.0)
    now = (out >= week.day) & (week.alive[log] > 0)
    day, typed, out, log = day[now], typed[now], out[now], log[now]
    cases, places = {}, []
    for case in zip(day.tolist(), typed.tolist(), out.tolist(), np.isnan(typed).tolist(), strict=True):
        places.append(cases.setdefault((*case[:1], *([None] if case[3] else case[1:2]), *case[2:]), len(cases)))
    said = Said([f"in the tank since {on(d)} ({ago(week.day - d)}); "
                 + (f"hours not written down, {usual:g} h assumed: out by {on(int(o))}" if blank else f"{h:g} h are over by {on(int(o))}")
                 for d, h, o, blank in cases], np.array(places, dtype=np.int64))
    rule = Said(["your own hours", "your setting, soak hours"], np.isnan(typed).astype(np.int64))
    return [needs("lift out", log, said, rule, said_by(day, stamp))]


def pick(week: Week) -> list[Needs]:
    """Pins seen or picked not long ago: mushrooms are past their best within days."""
    pins, picked = week.last("pins seen"), week.last("picked")
    flush, again = tables.figure("flush_days"), int(tables.figure("pick_again_days").typical)
    fresh = (pins > picked) & (week.day - pins <= flush.high)
    going = (picked >= pins) & (week.day - picked <= again) & (picked > NEVER)
    rows = np.flatnonzero((fresh | going) & (week.alive > 0))
    since = np.where(fresh, pins, picked)[rows]
    case = since * 2 + fresh[rows]  # odd: pins
    said = said_by(case, lambda c: f"pins seen {ago(week.day - c // 2)}" if c % 2 else f"picked {ago(week.day - c // 2)}, the flush may go on")
    rule = f"daily: a flush is lost in {tables.figure('pick_again_days').low:g} to {again} days (common practice)"
    return [needs("pick", rows, said, rule, said_by(case, lambda c: stamp(c // 2 if c % 2 else NEVER)), since)]


def look_for_pins(week: Week) -> list[Needs]:
    """Logs 6 to 14 days after a soak, or after an inch of rain on one day."""
    flush = tables.figure("flush_days")
    low, high = int(flush.low), int(flush.high)
    soaked, seen = week.last("soaked"), week.last("pins seen", "picked")
    due = (week.day - soaked >= low) & (week.day - soaked <= high) & (seen <= soaked) & (week.alive > 0)  # what was picked that day came before it
    rows = np.flatnonzero(due)
    rule = f"{low} to {high} days after a soak (our starting guess from farm pages)"
    found = needs("look for pins", rows, said_by(soaked[rows], lambda d: f"soaked {ago(week.day - d)}, on {on(d)}"), rule,
                  said_by(soaked[rows], stamp), soaked[rows])
    day, depth, logs = storm(week, low, high)
    due = logs & week.at(*BEARING_AGE) & ~due & (seen <= day)
    words_ = f"{week.depth(depth)} of rain {ago(week.day - day)}, on {on(day)}" if day > NEVER else ""
    return [found, needs("look for pins", np.flatnonzero(due), words_, f"{low} to {high} days after an inch of rain (common practice)", stamp(day))]


def storm(week: Week, low: int, high: int):
    """(day, depth, rows of Logs it fell on) of the latest day with an inch of rain, so many days ago; NEVER if none."""
    rain, none = week.rain, np.zeros(len(week.yard), dtype=bool)
    inside = rain.rain & (rain.day >= week.day - high) & (rain.day <= week.day - low)
    for day in np.unique(rain.day[inside])[::-1].tolist():
        depth = rain.depth(day, day, rain.rain)
        fell = depth >= inch_m() * (1 - 1e-9)
        if fell.any():
            return int(day), float(depth[fell].max()), fell
    return NEVER, 0.0, none


def water_by_rain(week: Week) -> list[Needs]:
    """Logs that have not fruited yet with less than the week's water, or any logs a week without any in a hot month."""
    running, mean = week.at(*RUNNING, READY) & (week.last("picked", "pins seen") == NEVER), week.month_mean
    hot = mean is not None and mean > units.celsius_from_fahrenheit(tables.figure("hot_day_f").typical)
    older = hot & week.rain.known & (week.alive > 0) & week.yard.is_at_work() & ~running & ~week.soaking
    rows = np.flatnonzero(running | older)
    if not len(rows) or (mean is not None and mean < tables.figure("mycelium_starts_c").typical):
        return []
    wanted, rain = wanted_m(week.settings), week.rain
    by = "FOR-82, in shade" if abs(wanted - inch_m()) < 0.001 else "your setting"
    rule = f"{week.depth(wanted)} a week ({by})"
    got, assumed = rain.depth(week.day - WEEK_DAYS + 1, week.day), rain.not_measured(week.day - WEEK_DAYS + 1, week.day)
    if not rain.known:
        return [needs("water", rows[~assumed[rows]], NOT_WRITTEN, rule)]
    last, dry = rain.last_day(), tables.figure("dry_days").typical
    short = (got < wanted * (1 - 1e-9)) & ~assumed & (running | (week.day - last > dry))
    rows = rows[short[rows]]
    depth_of, depths = pd.factorize(np.round(got[rows], 6))
    days_, day_of = distinct(last[rows])
    cases, which = distinct((depth_of * max(len(days_), 1) + day_of) * 2 + running[rows])
    said, rules = [], []
    for case in cases.tolist():
        day, in_run = days_[case // 2 % len(days_)], case % 2
        since = "no water written down before" if day == NEVER else f"last water {ago(week.day - int(day))}"
        parched = hot and (day == NEVER or week.day - day > dry)
        said.append(f"{week.depth(depths[case // 2 // len(days_)])} of rain and water in the last 7 days; {since}"
                    + (f"; the month's mean is {week.degrees(mean)}: water overnight" if parched else ""))
        rules.append("; ".join([rule] * in_run + [f"{dry:g} days dry and hot (FOR-85)"] * bool(parched)))
    return [needs("water", rows, Said(said, which), Said(rules, which), said_by(last[rows], stamp))]


def batches(week: Week) -> tuple[np.ndarray, np.ndarray]:
    """(names of batches in order: place, strain and month of inoculation; which each row of Logs belongs to)."""
    month = said_by(week.yard.inoculated, lambda day: "" if day >= NO_DAY else f"{to_date(day):%Y-%m}")
    (place, places), (strain, strains) = text_codes(week.logs, "place", _no_slash), text_codes(week.logs, "strain", _no_slash)
    months = max(len(month.texts), 1)
    cases, which = distinct((place * len(strains) + strain) * months + month.which)
    names = [f"{places[case // months // len(strains)]}/{strains[case // months % len(strains)]}/{month.texts[case % months]}"
             for case in cases.tolist()]
    known, of_case = np.unique(np.array(names, dtype=object), return_inverse=True)
    return known, of_case.reshape(-1)[which]


def _no_slash(text: str) -> str:
    return text.casefold().replace("/", " ")


def wetted_since(week: Week, day: int) -> np.ndarray:
    """True for rows of Logs that have had a week's water, or a soak, since a day."""
    return (week.rain.depth(day + 1, week.day) >= wanted_m(week.settings) * (1 - 1e-9)) | week.rain.not_measured(day + 1, week.day)


def water_by_sample(week: Week) -> list[Needs]:
    """Sample logs at their limit speak for all logs of their place, strain and batch; wetted since, they are weighed again."""
    dry = week.moisture[week.moisture["state"] == DRY]
    if not len(dry):
        return []
    floor = tables.figure("moisture_floor_wet").typical
    code = week.batches[1]
    order = np.argsort(code, kind="stable")
    sorted_code, there = code[order], (week.alive > 0) & week.yard.is_inoculated() & ~week.soaking
    at = week.row_of(dry["row"])
    days_ = dry["weighed"].to_numpy().astype("datetime64[D]").astype(np.int64)
    since = {day: wetted_since(week, day) for day in np.unique(days_).tolist()}
    parts = []
    for log, weighed, row in zip(at.tolist(), days_.tolist(), dry.itertuples(), strict=True):
        wetted = since[weighed]
        like = order[slice(*np.searchsorted(sorted_code, [code[log], code[log] + 1]))]
        like = np.sort(like[there[like] & ~wetted[like]])
        said = (f"{row.log} weighed {week.weight(row.weight_kg)} on {on(weighed)}, {row.loss:.0%} lighter than at the start, {row.moisture:.0%} wet; "
                f"water at {week.weight(row.water_at_kg)}" + ("; at or under what spawn survives" if row.moisture <= floor else ""))
        parts.append(needs("water, a log is at its limit", like, said, row.rule, stamp(weighed), weighed))
        if wetted[log]:
            parts.append(needs("weigh", np.array([log]), f"was at its limit on {on(weighed)} and had water since: weigh it again", row.rule,
                               stamp(weighed), weighed))
    return parts


def inoculate(week: Week) -> list[Needs]:
    """Felled logs that wait for their spawn, with the days gone by."""
    felled = np.minimum(_first_day(week, "felled"), NO_DAY)
    rows = np.flatnonzero((felled <= week.day) & ~week.yard.is_at_work() & (week.alive > 0))
    usual = tables.figure("inoculate_within_weeks")
    weeks = float(week.settings.get("inoculate_within") or usual.typical)
    most = round(weeks * WEEK_DAYS)
    rule = f"within {weeks:g} weeks of felling " + (f"(trade pages, {usual.low:g} to {usual.high:g})" if weeks == usual.typical else "(your setting)")
    late = week.day - felled[rows] > most

    def waits(day: int) -> str:
        left = most - (week.day - day)
        said = f"felled {ago(week.day - day)}, on {on(day)}: "
        return said + (f"{many(left, 'day')} left" if left >= 0 else f"{many(-left, 'day')} past the limit, wild fungi may be in first")

    return [needs(what, rows[past], said_by(felled[rows][past], waits), rule, said_by(felled[rows][past], stamp), felled[rows][past])
            for what, past in (("inoculate, past the limit", late), ("inoculate", ~late))]


def _first_day(week: Week, kind: str) -> np.ndarray:
    """The date on Logs, else of the first such event."""
    found = day_column(week.logs, kind).copy()
    first = np.full(len(week.yard), NO_DAY)
    line, log = week.book.pairs(kind)
    np.minimum.at(first, log, week.book.day[line])
    return np.where(found >= NO_DAY, first, found)


def weigh(week: Week) -> list[Needs]:
    """Sample logs not weighed for a month, or for a week in dry weather."""
    figure = tables.figure("weigh_days")
    dry = days_dry(week.rain) > tables.figure("dry_days").typical
    every = figure.low if dry else figure.high
    if not len(week.moisture):
        return []
    asked = week.moisture[~np.isnan(week.moisture["start_kg"].to_numpy(dtype=float))]
    at = week.row_of(asked["row"])
    last = np.maximum(week.last("weighed")[at], np.where(week.yard.inoculated[at] <= week.day, week.yard.inoculated[at], NEVER))
    due = (week.day - last >= every) & week.yard.is_at_work()[at]
    said = said_by(last[due], lambda d: "never weighed" if d == NEVER else f"last weighed {ago(week.day - d)}")
    rule = f"every {every:g} days {'when dry' if dry else 'at least'} (FOR-82, weekly to monthly)"
    return [needs("weigh", at[due], said, rule, said_by(last[due], stamp), last[due])]


def move(week: Week) -> list[Needs]:
    """Logs whose first mushrooms are near: stand them where they can be picked."""
    begins, ahead = week.days_of_season("flush_from"), int(tables.figure("move_ahead_days").typical)
    near = week.at(SPAWN_RUN) & (begins < NO_DAY) & (begins - week.day <= ahead) & (begins >= week.day)
    rows = np.flatnonzero(near & (week.last("moved", "stacked") < begins - 2 * ahead))
    return [needs("move", rows, week.of_season("words")[rows].map(lambda said: said + ": stand them where you can pick all round"),
                  f"{ahead} days ahead (our starting guess)", said_by(begins[rows], stamp), begins[rows])]


def turn(week: Week) -> list[Needs]:
    """Logs in spawn run not turned for the grower's own span between turnings, else for our starting guess."""
    own = own_turns(week)
    every = own if own else tables.figure("turn_weeks").typical * WEEK_DAYS
    last = np.maximum(week.last("turned", "stacked", "moved"), np.where(week.yard.inoculated <= week.day, week.yard.inoculated, NEVER))
    rows = np.flatnonzero(week.at(SPAWN_RUN) & (last > NEVER) & (week.day - last >= every))
    rule = f"end for end, every {every / WEEK_DAYS:.0f} weeks, " + ("as you have done" if own else "our starting guess; your own turnings replace it")
    return [needs("turn", rows, said_by(last[rows], lambda d: f"lying as they are since {on(d)}"), rule, said_by(last[rows], stamp), last[rows])]


def own_turns(week: Week) -> float:
    """Median days between two turnings of a log, by the grower's own lines; 0 where there are none."""
    line, log = week.book.pairs("turned")
    day = week.book.day[line]
    order = np.lexsort((day, log))
    gap = np.diff(day[order])[np.diff(log[order]) == 0]
    return float(np.median(gap[gap > 0])) if (gap > 0).any() else 0.0


def look(week: Week) -> list[Needs]:
    """Logs old enough for first mushrooms: look them over, with the window, or why there is none; also those that wait for their first soak."""
    seen, soak = np.maximum(week.last("pins seen"), week.last("picked")), week.days_of_season("next_soak")
    waits = week.at(READY) & (seen == NEVER) & (soak - week.day >= WEEK_DAYS)
    rows = np.flatnonzero(week.at(MAY_FRUIT) | waits)
    said, until, (days_, day_of) = week.of_season("words")[rows], week.days_of_season("flush_to")[rows], distinct(soak[rows])
    turn = np.where(waits[rows], day_of + 1, 0)
    cases, which = distinct((said.which * (len(days_) + 1) + turn) * 2 + (seen[rows] > NEVER))

    def words(case: int) -> str:
        window, turn = said.texts[case // 2 // (len(days_) + 1)], case // 2 % (len(days_) + 1)
        found = f"old enough for first mushrooms; {window or 'the season is not known'}"
        if case % 2:
            found = "may fruit by themselves after rain, the month suits their strain"
        if turn:
            day = int(days_[turn - 1])
            found += f"; their turn to be soaked comes on {on(day)}" if day < NO_DAY else "; no turn to be soaked is planned"
        return found

    return [needs("look", rows, Said([words(case) for case in cases.tolist()], which),
                  "spawn run of the strain on Lists, own first picks before print", "", until)]


def rest(week: Week) -> Needs:
    """The stop list: logs that must not be soaked now, and why."""
    why, begins = week.of_season("soak_why"), week.days_of_season("may_soak_from")
    rows = np.flatnonzero(~why.one_of("") & (week.alive > 0) & week.yard.is_at_work() & ~week.soaking)
    return needs("rest", rows, why[rows], "a full year, then rests (FOR-85), or your Lists", "", begins[rows])


RULES = (lift_out, pick, look_for_pins, water_by_sample, water_by_rain, inoculate, weigh, move, turn, look)

"""The rules of the week: which logs need what, why, and by which rule.

Each rule looks at the yard as arrays and hands on rows of Logs with a reason; calc.this_week makes lines of them.
Dates come from the season tables: where those know none, the reason says so. Sources stand beside each reason.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from calc import tables, units
from calc.day_numbers import day_in_words as on
from calc.log_names import Ranked
from calc.moisture import DRY, Weighings
from calc.season_stages import GONE, MAY_FRUIT, PICKING, READY, RESTING, SOAKING, SPAWN_RUN
from calc.season_state import TEMPERATURES, soak_hours, to_date
from calc.watering import NEVER, Water, days_dry, inch_m, wanted_m
from calc.yard import NO_DAY, Diary, Yard, as_typed, day_column, numbers, words

WEEK_DAYS = 7
A_DATE = r"\d{1,2} [A-Z][a-z]{2} \d{4}"
NOT_WRITTEN = "no rain or watering is written down, so it is not known; write it on Events, and water if less fell"
RUNNING, BEARING_AGE = (SPAWN_RUN, MAY_FRUIT), (MAY_FRUIT, READY, RESTING, PICKING)


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
    stage: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=object))

    def __post_init__(self):
        self.day, self.alive = self.yard.as_of, self.yard.alive()
        at = pd.Index(numbers(self.logs, "row")).get_indexer(numbers(self.log_season, "row"))
        self.season = at  # row of Logs of each row of log_season
        self.stage = np.full(len(self.yard), "", dtype=object)
        self.stage[at[at >= 0]] = as_typed(self.log_season, "stage")[at >= 0]
        self.stage[self.alive <= 0] = GONE

    def of_season(self, column: str, blank=""):
        """A text column of log_season by row of Logs."""
        found = np.full(len(self.yard), blank, dtype=object)
        found[self.season[self.season >= 0]] = as_typed(self.log_season, column)[self.season >= 0]
        return found

    def days_of_season(self, column: str) -> np.ndarray:
        """A date column of log_season as whole days by row of Logs; NO_DAY where not known."""
        found = np.full(len(self.yard), NO_DAY)
        found[self.season[self.season >= 0]] = day_column(self.log_season, column)[self.season >= 0]
        return found

    def at(self, *stages: str) -> np.ndarray:
        """True for rows of Logs that are there and in one of these stages."""
        return np.isin(self.stage, stages) & (self.alive > 0)

    def last(self, *kinds: str) -> np.ndarray:
        """Last day of such an event by row of Logs; NEVER where there is none."""
        found = np.full(len(self.yard), NEVER)
        pair = self.book.lines(*kinds)[self.book.line]
        np.maximum.at(found, self.book.log[pair], self.book.day[self.book.line[pair]])
        return found

    @cached_property
    def batches(self) -> tuple[np.ndarray, np.ndarray]:
        """(names of the batches in order, the place in them of each row of Logs)."""
        code, known = pd.factorize(batches(self), sort=True)
        return known, code

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


def needs(what: str, logs: np.ndarray, reason, rule, occasion="", first=0) -> pd.DataFrame:
    """Rows of Logs that need something; reason, rule, occasion and first are one for all, or one for each.

    first: of many reasons in a line, those with the lowest number (a day, say) are shown.
    """
    return pd.DataFrame({"what": what, "log": logs, "reason": reason, "rule": rule, "occasion": occasion, "first": first})


def many(number: float, word: str) -> str:
    """A count and its word: 1 day, 2 days."""
    return f"{number:g} {word}{'' if number == 1 else 's'}"


def said_by(days: np.ndarray, say) -> np.ndarray:
    """A text for each day, made once for each different one."""
    known, which = np.unique(days, return_inverse=True)
    return np.array([say(int(day)) for day in known], dtype=object)[which] if len(known) else np.zeros(0, dtype=object)


def stamp(day: int) -> str:
    """A day as an occasion; "" where there was none."""
    return "" if day in (NEVER, NO_DAY) else str(np.datetime64(int(day), "D"))


# ---- the rules ------------------------------------------------------------------------------------------------------


def lift_out(week: Week) -> pd.DataFrame:
    """Logs in the tank: soaked today or so short a time ago that they may still be in it."""
    lines = week.book.lines("soaked")
    day, log = week.book.day[week.book.line], week.book.log
    usual = soak_hours(week.settings)
    typed = week.book.amount[week.book.line]
    hours = np.where(np.isnan(typed), usual, typed)
    out = day + np.ceil(hours / 24.0)
    now = lines[week.book.line] & (out >= week.day) & (week.alive[log] > 0)
    said = [f"in the tank since {on(d)} ({ago(week.day - d)}); "
            + (f"hours not written down, {h:g} h assumed: out by {on(int(o))}" if blank else f"{h:g} h are over by {on(int(o))}")
            for d, h, o, blank in zip(day[now].tolist(), hours[now], out[now], np.isnan(typed[now]), strict=True)]
    rule = np.where(np.isnan(typed[now]), "your setting, soak hours", "your own hours")
    return needs("lift out", log[now], said, rule, said_by(day[now], stamp))


def pick(week: Week) -> pd.DataFrame:
    """Pins seen or picked not long ago: mushrooms are past their best within days."""
    pins, picked = week.last("pins seen"), week.last("picked")
    flush, again = tables.figure("flush_days"), int(tables.figure("pick_again_days").typical)
    fresh = (pins > picked) & (week.day - pins <= flush.high)
    going = (picked >= pins) & (week.day - picked <= again) & (picked > NEVER)
    there = (fresh | going) & (week.alive > 0)
    rows = np.flatnonzero(there)
    since = np.where(fresh, pins, picked)[rows]
    said = np.where(fresh[rows], said_by(since, lambda d: f"pins seen {ago(week.day - d)}"),
                    said_by(since, lambda d: f"picked {ago(week.day - d)}, the flush may go on"))
    rule = f"daily: a flush is lost in {tables.figure('pick_again_days').low:g} to {again} days (common practice)"
    return needs("pick", rows, said, rule, said_by(np.where(fresh, pins, NEVER)[rows], stamp), since)


def look_for_pins(week: Week) -> pd.DataFrame:
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
    more = needs("look for pins", np.flatnonzero(due), words_, f"{low} to {high} days after an inch of rain (common practice)", stamp(day))
    return pd.concat([found, more])


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


def water_by_rain(week: Week) -> pd.DataFrame:
    """Logs that have not fruited yet with less than the week's water, or any logs a week without any in a hot month."""
    running, mean = week.at(*RUNNING, READY) & (week.last("picked", "pins seen") == NEVER), week.month_mean
    hot = mean is not None and mean > units.celsius_from_fahrenheit(tables.figure("hot_day_f").typical)
    older = hot & week.rain.known & (week.alive > 0) & week.yard.is_at_work() & ~running & (week.stage != SOAKING)
    rows = np.flatnonzero(running | older)
    if not len(rows) or (mean is not None and mean < tables.figure("mycelium_starts_c").typical):
        return needs("water", rows[:0], [], "")
    wanted, rain = wanted_m(week.settings), week.rain
    by = "FOR-82, in shade" if abs(wanted - inch_m()) < 0.001 else "your setting"
    rule = f"{week.depth(wanted)} a week ({by})"
    got, assumed = rain.depth(week.day - WEEK_DAYS + 1, week.day), rain.not_measured(week.day - WEEK_DAYS + 1, week.day)
    if not rain.known:
        return needs("water", rows[~assumed[rows]], NOT_WRITTEN, rule)
    last, dry = rain.last_day(), tables.figure("dry_days").typical
    short = (got < wanted * (1 - 1e-9)) & ~assumed & (running | (week.day - last > dry))
    rows = rows[short[rows]]
    cases, which = np.unique(np.column_stack((np.round(got[rows], 6), last[rows], running[rows])), axis=0, return_inverse=True)
    said, rules = [], []
    for depth, day, in_run in cases.tolist():
        since = "no water written down before" if day == NEVER else f"last water {ago(week.day - int(day))}"
        parched = hot and (day == NEVER or week.day - day > dry)
        said.append(f"{week.depth(depth)} of rain and water in the last 7 days; {since}"
                    + (f"; the month's mean is {week.degrees(mean)}: water overnight" if parched else ""))
        rules.append("; ".join([rule] * bool(in_run) + [f"{dry:g} days dry and hot (FOR-85)"] * parched))
    which = which.ravel()
    return needs("water", rows, np.array(said, dtype=object)[which] if said else [], np.array(rules, dtype=object)[which] if said else [],
                 said_by(last[rows], stamp))


def batches(week: Week) -> np.ndarray:
    """A name for place, strain and month of inoculation of each row of Logs."""
    month = said_by(week.yard.inoculated, lambda day: "" if day >= NO_DAY else f"{to_date(day):%Y-%m}")
    return _no_slash(week, "place") + "/" + _no_slash(week, "strain") + "/" + month


def _no_slash(week: Week, column: str) -> np.ndarray:
    which, known = pd.factorize(words(week.logs, column))
    return np.array([text.replace("/", " ") for text in known.tolist()], dtype=object)[which] if len(known) else known.astype(object)


def wetted_since(week: Week, day: int) -> np.ndarray:
    """True for rows of Logs that have had a week's water, or a soak, since a day."""
    return (week.rain.depth(day + 1, week.day) >= wanted_m(week.settings) * (1 - 1e-9)) | week.rain.not_measured(day + 1, week.day)


def water_by_sample(week: Week) -> pd.DataFrame:
    """Sample logs at their limit speak for all logs of their place, strain and batch; wetted since, they are weighed again."""
    dry = week.moisture[week.moisture["state"] == DRY]
    if not len(dry):
        return needs("water", np.zeros(0, dtype=np.int64), [], "")
    floor = tables.figure("moisture_floor_wet").typical
    code = week.batches[1]
    order = np.argsort(code, kind="stable")
    sorted_code, there = code[order], (week.alive > 0) & week.yard.is_inoculated() & (week.stage != SOAKING)
    at = pd.Index(numbers(week.logs, "row")).get_indexer(dry["row"])
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
    return pd.concat(parts)


def inoculate(week: Week) -> pd.DataFrame:
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

    return pd.concat([needs(what, rows[past], said_by(felled[rows][past], waits), rule, said_by(felled[rows][past], stamp), felled[rows][past])
                      for what, past in (("inoculate, past the limit", late), ("inoculate", ~late))])


def _first_day(week: Week, kind: str) -> np.ndarray:
    """The date on Logs, else of the first such event."""
    found = day_column(week.logs, kind).copy()
    first = np.full(len(week.yard), NO_DAY)
    pair = week.book.lines(kind)[week.book.line]
    np.minimum.at(first, week.book.log[pair], week.book.day[week.book.line[pair]])
    return np.where(found >= NO_DAY, first, found)


def weigh(week: Week) -> pd.DataFrame:
    """Sample logs not weighed for a month, or for a week in dry weather."""
    figure = tables.figure("weigh_days")
    dry = days_dry(week.rain) > tables.figure("dry_days").typical
    every = figure.low if dry else figure.high
    asked = week.moisture[~np.isnan(week.moisture["start_kg"].to_numpy(dtype=float))]
    at = pd.Index(numbers(week.logs, "row")).get_indexer(asked["row"])
    last = np.maximum(week.last("weighed")[at], np.where(week.yard.inoculated[at] <= week.day, week.yard.inoculated[at], NEVER))
    due = (week.day - last >= every) & week.yard.is_at_work()[at]
    said = said_by(last[due], lambda d: "never weighed" if d == NEVER else f"last weighed {ago(week.day - d)}")
    rule = f"every {every:g} days {'when dry' if dry else 'at least'} (FOR-82, weekly to monthly)"
    return needs("weigh", at[due], said, rule, said_by(last[due], stamp), last[due])


def move(week: Week) -> pd.DataFrame:
    """Logs whose first mushrooms are near: stand them where they can be picked."""
    begins, ahead = week.days_of_season("flush_from"), int(tables.figure("move_ahead_days").typical)
    near = week.at(SPAWN_RUN) & (begins < NO_DAY) & (begins - week.day <= ahead) & (begins >= week.day)
    rows = np.flatnonzero(near & (week.last("moved", "stacked") < begins - 2 * ahead))
    return needs("move", rows, week.of_season("words")[rows] + ": stand them where you can pick all round",
                 f"{ahead} days ahead (our starting guess)", said_by(begins[rows], stamp), begins[rows])


def turn(week: Week) -> pd.DataFrame:
    """Logs in spawn run not turned for the grower's own span between turnings, else for our starting guess."""
    own = own_turns(week)
    every = own if own else tables.figure("turn_weeks").typical * WEEK_DAYS
    last = np.maximum(week.last("turned", "stacked", "moved"), np.where(week.yard.inoculated <= week.day, week.yard.inoculated, NEVER))
    rows = np.flatnonzero(week.at(SPAWN_RUN) & (last > NEVER) & (week.day - last >= every))
    rule = f"end for end, every {every / WEEK_DAYS:.0f} weeks, " + ("as you have done" if own else "our starting guess; your own turnings replace it")
    return needs("turn", rows, said_by(last[rows], lambda d: f"lying as they are since {on(d)}"), rule,
                 said_by(last[rows], stamp), last[rows])


def own_turns(week: Week) -> float:
    """Median days between two turnings of a log, by the grower's own lines; 0 where there are none."""
    pair = week.book.lines("turned")[week.book.line]
    log, day = week.book.log[pair], week.book.day[week.book.line[pair]]
    order = np.lexsort((day, log))
    gap = np.diff(day[order])[np.diff(log[order]) == 0]
    return float(np.median(gap[gap > 0])) if (gap > 0).any() else 0.0


def look(week: Week) -> pd.DataFrame:
    """Logs old enough for first mushrooms: look them over, with the window, or why there is none; also those that wait for their first soak."""
    seen, soak = np.maximum(week.last("pins seen"), week.last("picked")), week.days_of_season("next_soak")
    waits = week.at(READY) & (seen == NEVER) & (soak - week.day >= WEEK_DAYS)
    rows = np.flatnonzero(week.at(MAY_FRUIT) | waits)
    said, until = week.of_season("words")[rows], week.days_of_season("flush_to")[rows]
    young = "old enough for first mushrooms; " + np.where(said == "", "the season is not known", said)
    said = np.where(seen[rows] > NEVER, "may fruit by themselves after rain, the month suits their strain", young)
    turn = np.array([f"; their turn to be soaked comes on {on(day)}" if day < NO_DAY else "; no turn to be soaked is planned"
                     for day in soak[rows].tolist()], dtype=object)
    said = np.where(waits[rows], said + turn, said)
    return needs("look", rows, said, "spawn run of the strain on Lists, own first picks before print", "", until)


def rest(week: Week) -> pd.DataFrame:
    """The stop list: logs that must not be soaked now, and why."""
    why, begins = week.of_season("soak_why"), week.days_of_season("may_soak_from")
    rows = np.flatnonzero((why != "") & (week.alive > 0) & week.yard.is_at_work() & (week.stage != SOAKING))
    return needs("rest", rows, why[rows], "a full year, then rests (FOR-85), or your Lists", "", begins[rows])


RULES = (lift_out, pick, look_for_pins, water_by_sample, water_by_rain, inoculate, weigh, move, turn, look)

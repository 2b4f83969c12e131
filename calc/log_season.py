"""Each row of Logs in its season, in words: stage, window of first mushrooms, when it may be soaked, its turn."""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import results, tables
from calc import season_stages as stage
from calc.codes import alike, text
from calc.day_numbers import day_in_words
from calc.rollup_yield import MONTH_DAYS
from calc.rota_plan import NO_MONTHS, Plan, typed_week
from calc.season_state import NO_RANGE, NO_TEMPERATURES, PICKED, State, open_today, rest_days, to_date
from calc.yard import NO_DAY, dates

STAGES = (stage.WAITING, stage.SPAWN_RUN, stage.MAY_FRUIT, stage.RESTING, stage.READY, stage.SOAKING, stage.PICKING, stage.DORMANT, stage.GONE)
WAITING, RUN, MAY_FRUIT, REST, READY, SOAKING, PICKING, DORMANT, GONE = range(len(STAGES))
LONGEST = f"none written down yet: up to {tables.figure('first_mushrooms_months_long').high:g} months are in print"


def stages(at: State) -> np.ndarray:
    """The stage of each row on the as-of day, as a place in STAGES."""
    today, flush = at.as_of, at.site.flush_days
    since_soak = np.where(at.last_soak < NO_DAY, today - at.last_soak, NO_DAY)
    soaking = since_soak < np.ceil(at.soak_hours / 24.0)
    bearing = (since_soak <= flush[2]) | (today - at.pins <= flush[2]) & (at.pins < NO_DAY) \
        | (today - at.last_pick <= flush[0]) & (at.last_pick < NO_DAY)
    young = np.where(at.flush_from < NO_DAY, today < at.flush_from, ~_run_over(at))
    ready = at.in_rota & (at.may_soak <= today) & open_today(at)[at.strain]
    resting = (at.last_soak < NO_DAY) & (today < at.last_soak + rest_days(at)[at.strain])
    return np.select(
        [at.there & (at.alive <= 0), ~at.there | ~at.at_work, soaking, bearing, young & (today < at.may_soak), _dormant(at), resting, ready, young],
        [GONE, WAITING, SOAKING, PICKING, RUN, DORMANT, REST, READY, RUN], MAY_FRUIT)


def _run_over(at):
    """True where a row without a window is as old as its strain's short spawn run, or of an unknown age."""
    low = np.array([s.low_months for s in at.strains], dtype=float)[at.strain]
    return (at.inoculated >= NO_DAY) | (at.as_of - at.inoculated > low * MONTH_DAYS)


def _dormant(at):
    """True where this month is too cold or too hot for the strain."""
    month = to_date(at.as_of).month - 1
    return np.array([s.fits is not None and not s.fits[month] for s in at.strains], dtype=bool)[at.strain]


def table(found: Plan) -> pd.DataFrame:
    """The table log_season, as results.COLUMNS says."""
    at = found.state
    if not len(at):
        return results.empty("log_season")
    now = stages(at)
    typed = typed_week(at, found.groups)
    tell = Telling(found, now, np.isfinite(at.typed_week) & (typed == 0) & at.in_rota, at.in_rota, open_today(at))
    kind, first = _alike(tell)
    strains = [s.name for s in at.strains]
    shown = pd.DataFrame({
        "row": at.row, "log": at.names, "strain": text(strains, at.strain), "place": at.place, "alive": at.alive,
        "stage": text(STAGES, now),
        "flush_from": dates(at.flush_from), "flush_to": dates(at.flush_to), "flush_basis": text(at.flush_basis[first], kind),
        "may_soak_from": dates(np.where(at.in_rota, at.may_soak, NO_DAY)),
        "soak_why": text([tell.why_not(i) for i in first], kind),
        "group": np.where(found.group > 0, found.group.astype(float), np.nan), "last_soak": dates(at.last_soak),
        "next_soak": dates(found.next_day), "words": text([tell.sentence(i) for i in first], kind)})
    return shown[list(results.COLUMNS["log_season"])]


def _alike(tell):
    """Rows alike in all that is said of them: (number of each row's kind, one row of each kind)."""
    at = tell.found.state
    recent = np.isin(tell.stage, (SOAKING, PICKING)) & (at.last_soak < NO_DAY)
    odd = pd.factorize(np.where(tell.odd_week, at.typed_week, 0.0))[0] if tell.odd_week.any() else np.zeros(len(at), dtype=np.int64)
    first, code = alike(tell.stage, at.strain, at.flush_from, at.flush_to, np.where(recent, at.last_soak, 0), _ahead(at.may_soak, at.as_of),
                        _ahead(at.old_enough, at.as_of), at.no_hours, odd, at.inoculated_later, pd.factorize(at.flush_basis)[0])
    return code, first.tolist()


def _ahead(day, today):
    """Days after today; the others, of which nothing is said, as 0."""
    return np.where(day > today, day, 0)


@dataclass
class Telling:
    """What is said of a row. odd_week: a Rota week that is none of the rota's; open: strains that may be soaked today."""

    found: Plan
    stage: np.ndarray
    odd_week: np.ndarray
    in_rota: np.ndarray
    open: np.ndarray

    def why_not(self, i: int) -> str:
        """Why a row may not be soaked on the as-of day, in words; "" where it may."""
        at, now = self.found.state, self.stage[i]
        strain = at.strains[at.strain[i]]
        if now in (GONE, WAITING):
            return STAGES[now]
        if not strain.forces:
            return f"Lists says {strain.name} does not force well: left to fruit naturally"
        if at.inoculated[i] >= NO_DAY:
            return "age not known: type the day it was inoculated on Logs"
        if at.old_enough[i] > at.as_of:
            return f"too young: do not force before {day_in_words(at.old_enough[i])}"
        if now == SOAKING:
            return "in the tank"
        if at.may_soak[i] > at.as_of:
            return f"resting until {day_in_words(at.may_soak[i])}"
        if self.open[at.strain[i]]:
            return ""
        if self.found.fault:
            return self.found.fault
        if strain.fits is None and not at.site.has_season:
            return at.site.fault or NO_MONTHS
        return "too cold or too hot this month" if now == DORMANT else "outside the soak season"

    def sentence(self, i: int) -> str:
        """What stands behind a row's stage and dates, in words."""
        at, now = self.found.state, self.stage[i]
        if now == GONE:
            return "no log of it is left"
        if now == WAITING:
            later = at.inoculated_later[i]
            return f"inoculation is dated {day_in_words(later)}, after the As of day" if later < NO_DAY else ""
        strain, flush = at.strains[at.strain[i]], at.site.flush_days
        said = [self._flush(i, strain)]
        if now in (SOAKING, PICKING):
            soaked = at.last_soak[i] < NO_DAY and at.as_of - at.last_soak[i] <= flush[2]
            said.insert(0, f"look from {day_in_words(at.last_soak[i] + flush[0])} to {day_in_words(at.last_soak[i] + flush[2])}" if soaked
                        else "pins or a pick a few days ago")
        if at.no_hours[i]:
            said.append(f"last soak without hours: {at.site.soak_hours:g} taken from Settings")
        if self.odd_week[i]:
            said.append(f"Rota week {at.typed_week[i]:g} is none of the {self.found.groups} weeks of the rota: put where there is room")
        if strain.listed and not strain.forces_said:
            said.append("Lists does not say whether it forces well: taken as yes")
        return "; ".join(words for words in said if words)

    def _flush(self, i: int, strain) -> str:
        """What is said of the window of first mushrooms; nothing once it has been picked."""
        at = self.found.state
        if at.flush_basis[i] == PICKED:
            return ""
        if at.flush_from[i] >= NO_DAY:
            return f"no date for first mushrooms: {at.flush_basis[i]}"
        window = f"first mushrooms {day_in_words(at.flush_from[i])} to {day_in_words(at.flush_to[i])}"
        if at.flush_to[i] < at.as_of:
            window += f"; {LONGEST}"
        if at.site.untyped:
            return f"{window}; {NO_TEMPERATURES}"
        return window if strain.ranged else f"{window}; {NO_RANGE}"

"""Invented yards that live through seasons week by week, soaked by the soak calendar's own advice.

The world is drawn here, apart from the sheet's code: every flush of every soak, with a factor of the yard, of
the year and of the week. The advice and the promises are those of calc.rota_plan and calc.supply.
"""
from __future__ import annotations

import dataclasses
import datetime as dt
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import stats

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from calc import rollup_yield, rota_plan, season_state, soak_yield, supply, tables  # noqa: E402
from calc import yield_model as model  # noqa: E402
from calc.day_numbers import MONTHS  # noqa: E402
from calc.yard import NO_DAY, Diary, Yard  # noqa: E402

NORTH = (-1, 1, 5, 11, 16, 21, 23, 22, 18, 12, 7, 1)  # deg C by month, invented
SOUTH = NORTH[6:] + NORTH[:6]
RANGE = (10.0, 25.0)  # deg C the invented strain fruits in
FORCE_AFTER, REST_WEEKS, CYCLE, LOG_M3 = 12, 8, 9, 0.012
LEADS = (1, 8)  # weeks ahead of which promises are followed up


@dataclass(frozen=True)
class World:
    """What the yards are like. level: yield of a soaked log against the start, drawn where None; week: swing of a week."""

    level: float | None = None
    week: float = tables.figure("supply_week_spread").typical
    temps: tuple = NORTH
    season: tuple = (None, None)
    rows: tuple = (27, 54)  # rows of Logs
    in_row: tuple = (2, 12)
    seasons: int = 4
    tank_logs: float | None = None  # logs that the tank holds in a week


@dataclass
class Life:
    """One yard and what happened in it. soaks: (row, day); promises: (lead, promise, expected, came) in kg."""

    world: World
    count: np.ndarray
    inoculated: np.ndarray
    kind: list = field(default_factory=list)
    day: list = field(default_factory=list)
    row: list = field(default_factory=list)
    kg: list = field(default_factory=list)
    soaks: list = field(default_factory=list)
    promises: list = field(default_factory=list)

    def note(self, kind, days, rows, kilos):
        """Lines of the diary, each naming one row."""
        self.kind += [kind] * len(rows)
        self.day += [int(d) for d in days]
        self.row += [int(r) for r in rows]
        self.kg += [float(k) for k in kilos]

    def diary(self, as_of: int) -> Diary:
        lines = len(self.kind)
        return Diary(np.array(self.kind, dtype=object), np.array(self.day, dtype=np.int64), np.array(self.kg, dtype=float), np.zeros(lines),
                     np.zeros(lines, dtype=bool), np.arange(lines), np.array(self.row, dtype=np.int64), pd.DataFrame(), as_of)


def factor(random, spread, size=None):
    """Lognormal numbers of mean 1."""
    return np.exp(spread * random.standard_normal(size) - spread ** 2 / 2)


def settings(world: World) -> dict:
    """The Settings of a yard, SI."""
    begins, ends = (dt.date(2020, *edge) if edge else None for edge in world.season)
    return {**{f"temp_{month}": float(t) for month, t in zip(MONTHS, world.temps, strict=True)}, "season_begins": begins, "season_ends": ends,
            "force_after_months": FORCE_AFTER, "rota_weeks": CYCLE, "per_soak": tables.figure("weight_per_soaked_log_kg").typical,
            "tank_volume": LOG_M3 * world.tank_logs if world.tank_logs else None, "tank_loads": 1.0 if world.tank_logs else None}


def live(seed: int, world: World, leads=LEADS) -> Life:
    """A yard from its first soaking season on, every Monday: read the advice, note the promises, soak, pick."""
    random = np.random.default_rng(seed)
    rows = int(random.integers(*world.rows, endpoint=True))
    count = np.full(rows, float(random.integers(*world.in_row, endpoint=True)))
    first = (dt.date(2021, 1, 1) - dt.date(1970, 1, 1)).days
    inoculated = first + random.integers(60, 150, rows) - (364 // 2 if world.temps == SOUTH else 0)
    life = Life(world, count, inoculated)
    begin, chosen = model.start({}), settings(world)
    spread = soak_yield.start(chosen, begin)
    level = factor(random, spread.spread_yard) if world.level is None else world.level
    year = factor(random, spread.spread_year, 12)
    weather = random.gamma(1 / world.week ** 2, world.week ** 2, 53 * (world.seasons + 3))
    last = int(inoculated.max()) + 365 * world.seasons + 420
    pending, came, at = [], {}, _state(life, chosen)
    for monday in range(int(season_state.monday_of(int(inoculated.min()) + 300)), last, 7):
        if _asleep(life, monday):
            came[monday] = 0.0
            continue
        found, forecast = _advice(life, at, chosen, begin, spread, monday)
        if forecast is not None:
            promise, expected = forecast["promise_kg"].to_numpy(), forecast["expected_kg"].to_numpy()
            pending += [(monday + 7 * lead, lead, promise[lead], expected[lead]) for lead in leads]
        now = found.week == 0
        soaked = list(zip(found.row[now].tolist(), found.day[now].tolist(), strict=True))
        life.soaks += soaked
        life.note("soaked", [d for _, d in soaked], [r for r, _ in soaked], [12.0] * len(soaked))
        came[monday] = _pick(life, random, begin, spread, (level, year, weather, first), monday)
    life.promises = [(lead, promise, expected, came[week]) for week, lead, promise, expected in pending if week in came and promise > 0]
    return life


def _asleep(life, monday) -> bool:
    """Whether nothing can happen: no month of the week or of the two around suits, and no soak is two weeks back."""
    months = {season_state.to_date(monday + days).month for days in (-7, 0, 6, 13)}
    suits = any(RANGE[0] <= life.world.temps[month - 1] <= RANGE[1] for month in months)
    return not suits and not any(monday - day < len(SHARES) for _, day in life.soaks[-len(life.count):])


def _advice(life, at, chosen, begin, spread, monday):
    """(plan, forecast) of the sheet on a Monday; no forecast where nothing is soaked these weeks."""
    book = life.diary(monday)
    inoculated = np.where(life.inoculated <= monday, life.inoculated, NO_DAY)
    yard = Yard(life.count, life.inoculated, inoculated, monday)
    at = dataclasses.replace(at, as_of=monday, alive=yard.alive(), inoculated=inoculated, old_enough=np.full(len(at), NO_DAY),
                             last_soak=season_state.last_event(book, len(at), "soaked")[0])
    season_state.soak_days(at)
    found = rota_plan.plan(at, chosen, weeks=supply.WEEKS)
    weeks = int(season_state.week_of(monday)) + np.arange(supply.WEEKS)
    logs = supply.flushing(*supply.soaks_to_come(found, book, yard), weeks, at.site.flush_days)
    if not logs.any():
        return found, None
    own = supply.own_weeks(book, yard, rollup_yield.parts(book, yard), at.site.flush_days)
    learned = soak_yield.learn(own.logs, own.kg, own.ago, spread)
    none = supply.Natural(np.zeros(len(weeks)), 0.0, 0.0)
    return found, supply.forecast(logs, learned, none, begin, weeks, season_state.to_date(monday).year, supply.promise_chance(chosen))


def _state(life, chosen):
    """The yard before anything has happened."""
    rows, first = len(life.count), int(life.inoculated.max())
    frames = {"logs": pd.DataFrame({"strain": ["wide"] * rows}), "strains": pd.DataFrame([{
        "strain": "wide", "fruits_from": RANGE[0], "fruits_to": RANGE[1], "run_low": 6.0, "run_high": 18.0, "rest_weeks": float(REST_WEEKS),
        "forces": "yes"}])}
    each = pd.DataFrame({"log": [f"L{i + 1}" for i in range(rows)], "place": "", "row": np.arange(rows) + 6.0, "volume_m3": LOG_M3,
                         "first_pick": pd.NaT, "last_pick": pd.NaT})
    return season_state.state(frames, life.diary(first), Yard(life.count, life.inoculated, life.inoculated, first), each, chosen)


def _pick(life, random, begin, spread, factors, monday):
    """Everything that flushes in a week, noted day by day; its weight."""
    level, year, weather, first = factors
    total = 0.0
    for row, soaked in life.soaks:
        after = np.arange(monday - soaked, monday - soaked + 7)
        if after[0] >= len(SHARES):
            continue
        share = np.where((after >= 0) & (after < len(SHARES)), SHARES[np.clip(after, 0, len(SHARES) - 1)], 0.0)
        at = season_state.to_date(monday).year - 2021
        mean = life.count[row] * spread.per_soak_kg * level * year[at + 1] * weather[(monday - first) // 7 + 53] * share
        flushes = random.poisson(mean / begin.flush_kg)
        shape = 1 / begin.flush_spread ** 2
        kilos = np.where(flushes > 0, random.gamma(np.maximum(flushes, 1) * shape, begin.flush_kg / shape), 0.0)
        bears = np.flatnonzero(kilos > 0)
        life.note("picked", monday + bears, [row] * len(bears), kilos[bears])
        total += kilos.sum()
    return total


def _shares():
    """Part of a flush that comes on each day after the soak, from the figure flush_days by scipy's triangle."""
    flush = tables.figure("flush_days")
    wide = flush.high + 1 - flush.low
    edges = np.arange(0, int(flush.high) + 2)
    return np.diff(stats.triang.cdf(edges, (flush.typical + 0.5 - flush.low) / wide, flush.low, wide))


SHARES = _shares()


def faults(life: Life) -> list[str]:
    """Soaks before their age, inside a rest, or out of season: in words, none if all is well."""
    found = []
    begins, ends = life.world.season
    last: dict[int, int] = {}
    for row, day in life.soaks:
        date = pd.Timestamp("1970-01-01") + pd.Timedelta(days=day)
        born = pd.Timestamp("1970-01-01") + pd.Timedelta(days=int(life.inoculated[row]))
        if date < born + pd.DateOffset(months=FORCE_AFTER):
            found.append(f"row {row} too young on {date.date()}")
        if row in last and day - last[row] < 7 * REST_WEEKS:
            found.append(f"row {row} soaked again after {day - last[row]} days")
        if not RANGE[0] <= life.world.temps[date.month - 1] <= RANGE[1]:
            found.append(f"row {row} soaked in a month of {life.world.temps[date.month - 1]} deg C")
        at = (date.month, date.day)
        if begins and not (begins <= at <= ends if begins <= ends else at >= begins or at <= ends):
            found.append(f"row {row} out of season on {date.date()}")
        last[row] = day
    return found


def kept(lives, lead: int) -> np.ndarray:
    """True for each weekly promise made `lead` weeks ahead that was met."""
    return np.array([came >= promise for life in lives for ahead, promise, _, came in life.promises if ahead == lead])

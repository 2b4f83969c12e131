"""What a soaked log gives: the published start and the grower's own weeks, weighed together.

Weight picked in a week = soaked logs whose flush falls into it x weight of a soaked log x yard x year x week,
flush by flush. Each factor has mean 1, so that the start is what is expected before anything is recorded:

  start  0.2 lb for each soaked log, those that fail counted too, or what is typed on Settings
  yard   lognormal, log spread `soak_spread_yard` (starting guess)
  year   lognormal, log spread `yield_spread_weather` (starting guess): one draw a calendar year
  week   gamma, spread `supply_week_spread` (starting guess, 0.1 to 0.4): one draw a week for all logs, so that
         more logs never make the risk vanish
  flush  as in calc.yield_model: a variance of lump_kg x mean

Fitted by Newton steps on the log factors with a negative binomial likelihood in units of lump_kg, once for each
of a few spreads of the week; the height of each fit is the weight of that spread (Laplace's method).
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from calc import tables
from calc import yield_model as model

GRID = 5  # spreads of the week that are tried, from the low to the high figure
MOST_STEPS, SMALL_STEP = 40, 1e-7


@dataclass(frozen=True)
class Start:
    """The start; spreads as the module says. week: (low, typical, high)."""

    per_soak_kg: float
    spread_yard: float
    spread_year: float
    week: tuple
    lump_kg: float

    def weeks(self):
        """(spreads tried, chance of each before anything is recorded): lognormal, 8 in 10 from low to high."""
        low, typical, high = self.week
        if not low < high:
            return np.array([typical]), np.ones(1)
        spread = np.geomspace(low, high, GRID)
        scale = np.log(high / low) / 2.0 / model.EIGHT_IN_TEN
        chance = np.exp(-0.5 * (np.log(spread / typical) / scale) ** 2)
        return spread, chance / chance.sum()


@dataclass(frozen=True)
class Level:
    """What a soaked log gives in a coming week: mean in kg, and mean square over squared mean, less 1.

    spread2 holds what is not known of the yard and the year, and the week's own swing.
    """

    mean_kg: float
    spread2: float


@dataclass(frozen=True)
class Learned:
    """The level of this calendar year and of later ones; own_share: weight of the own record; weeks: behind it."""

    this_year: Level
    later: Level
    own_share: float
    weeks: int
    week_spread: float


def start(settings: dict, begin: model.Start) -> Start:
    """The start from Settings and the figures."""
    week = tables.figure("supply_week_spread")
    per_soak = settings.get("per_soak")
    if per_soak is None:
        per_soak = tables.figure("weight_per_soaked_log_kg").typical
    return Start(float(per_soak), tables.figure("soak_spread_yard").typical, begin.spread_weather,
                 (week.low, week.typical, week.high), begin.lump_kg)


def learn(exposure, kg, ago, begin: Start) -> Learned:
    """Weigh own weeks with the start.

    exposure: soaked logs whose flush fell into each week; kg: marketable weight picked from them; ago: calendar
    years before the current one. A week without exposure says nothing.
    """
    exposure, kg, ago = (np.asarray(v, dtype=float) for v in (exposure, kg, ago))
    use = (exposure > 0) & (begin.per_soak_kg > 0)
    years, year = np.unique(np.concatenate(([0.0], ago[use])), return_inverse=True)
    spreads, chance = begin.weeks()
    planned, picked = exposure[use] * begin.per_soak_kg / begin.lump_kg, np.maximum(kg[use], 0.0) / begin.lump_kg
    found, at = [], None
    for spread in spreads:
        found.append(_fit(planned, picked, year[1:], len(years), spread, begin, at))
        at = found[-1][1]  # the next one lies near
    height = np.log(chance) + np.array([f[0] for f in found])
    chance = np.exp(height - height.max())
    chance /= chance.sum()
    now = [(mode[0] + mode[1], cover[0, 0] + cover[1, 1] + 2.0 * cover[0, 1]) for _, mode, cover in found]
    later = [(mode[0] - begin.spread_year ** 2 / 2.0, cover[0, 0] + begin.spread_year ** 2) for _, mode, cover in found]
    before = begin.spread_yard ** 2 + begin.spread_year ** 2
    after = float(chance @ np.array([v for _, v in now]))
    share = 1.0 - after / before if before > 0 and use.any() else 0.0
    return Learned(_level(now, spreads, chance, begin), _level(later, spreads, chance, begin), min(max(share, 0.0), 1.0), int(use.sum()),
                   float(chance @ spreads))


def _level(parts, spreads, chance, begin):
    """The mixture of lognormals over the spreads tried, each times its week."""
    mode, cover = (np.array(v) for v in zip(*parts, strict=True))
    mean = float(chance @ np.exp(mode + cover / 2.0))
    square = float(chance @ (np.exp(2.0 * mode + 2.0 * cover) * (1.0 + spreads ** 2)))
    return Level(mean * begin.per_soak_kg, square / mean ** 2 - 1.0)


def _fit(planned, picked, year, years, spread, begin, at):
    """(height, mode, covariance) of the log factors: the yard, then each year, this one first."""
    before = np.concatenate(([begin.spread_yard ** 2], np.full(years, begin.spread_year ** 2)))
    mean, size = -before / 2.0, 1.0 / spread ** 2
    theta = mean.copy() if at is None else at

    def look(at):
        mu = planned * np.exp(at[0] + at[1 + year])
        high = np.sum(picked * np.log(mu) - (picked + size) * np.log(mu + size)) - 0.5 * np.sum((at - mean) ** 2 / before)
        return mu, float(high)

    mu, now = look(theta)
    for _ in range(MOST_STEPS):
        gain = _by_factor(size * (picked - mu) / (mu + size), year, years) - (theta - mean) / before
        step = np.linalg.solve(_curve(mu * size / (mu + size), year, years, before), gain)
        length = 1.0
        while True:
            trial = theta + length * step
            mu, high = look(trial)
            if high >= now - 1e-12 or length < 1e-6:
                break
            length /= 2.0
        theta, now = trial, high
        if np.abs(step).max() * length < SMALL_STEP:
            break
    curve = _curve((picked + size) * mu * size / (mu + size) ** 2, year, years, before)
    constant = np.sum(special.gammaln(picked + size) - special.gammaln(size) + size * np.log(size))
    height = now + float(constant) - 0.5 * float(np.linalg.slogdet(curve)[1])
    return height, theta, np.linalg.inv(curve)


def _by_factor(values, year, years):
    return np.concatenate(([values.sum()], np.bincount(year, values, minlength=years)))


def _curve(information, year, years, before):
    by_year = np.bincount(year, information, minlength=years)
    curve = np.diag(np.concatenate(([information.sum()], by_year)) + 1.0 / before)
    curve[0, 1:] = curve[1:, 0] = by_year
    return curve

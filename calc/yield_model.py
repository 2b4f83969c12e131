"""What like logs give, season after season: a hierarchical Bayesian model, fitted to a grower's own records.

Weight of batch b (one strain on one wood inoculated in one year) in calendar year t:

    planned_bt x yard x pair(b) x batch(b) x weather(t) x season(b, t), flush by flush

planned_bt = logs x life yield of a log (biological efficiency x dry wood) x share of the season of life.
Every factor has mean 1, so that the published start is what is expected before anything is recorded.

  life yield   mean efficiency 0.044, the middle of 0 to 8.8 % (Sabota 1996); one in ten pairs above 8.8 %:
               log spread 0.7755 of yard and pair together (derived). Trade pages promise 2 to 6 lb a log;
               research about 1 lb: the start is low on purpose.
  pair         strain on wood within the yard: log spread 0.35, starting guess; the rest is the yard's
  batch        log spread 0.2, starting guess, and the mean of its logs' lasting differences (each 0.5 of the
               mean, starting guess): n like logs make that part 0.25 / n, and no part shared by all smaller
  weather      log spread 0.3, starting guess, one draw a calendar year for the whole yard
  season       gamma with spread 0.2, starting guess, for a batch in one season
  flush        a log bears by flushes that come at random (Poisson); one weighs 0.25 to 0.5 lb (trade pages,
               common practice, read as 8 in 10), which goes with 0.2 lb a soaked log counting failures
               (SARE FNC15-1021): a variance of `lump_kg` x mean
  life         3, 4 or 5 seasons (RES-11) for the whole yard, with chances 1/4, 1/2, 1/4, starting guess;
               shares by season 1/6, 1/3, 1/3, 1/6 (RES-11) over four, stretched over three or five;
               beyond the life each season a third of the one before, starting guess

Fitted by Newton steps on the log factors with a negative binomial likelihood in units of lump_kg, for each
life; the curvature gives their covariance, the height the weight of each life (Laplace's method). Ranges are
read off draws with a fixed seed: one in ten below the low end, one in ten above the high end.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from calc import tables, units

DRAWS = 1000
SEED = 20
AHEAD = 6  # seasons beyond the longest life that are still looked at; what is left after is under 1/700
PAST = 2  # seasons beyond the planned life that still count as a record
EIGHT_IN_TEN = 1.2815515655446004  # normal quantile of 0.9
MOST_STEPS, SMALL_STEP = 60, 1e-9
DENSE = 1_000_000  # slopes up to so many cells are held as a plain matrix, which is quicker; beyond, most of them are 0


@dataclass(frozen=True)
class Start:
    """The published start; see the module's account. Spreads are on the log scale or shares of the mean."""

    efficiency: float
    spread_yard: float
    spread_pair: float
    spread_batch: float
    spread_log: float
    spread_weather: float
    spread_season: float
    flush_kg: float
    flush_spread: float
    life_seasons: int
    life_chance: float
    tail: float
    dry_wood_kg: float
    weights: tuple

    @property
    def lump_kg(self) -> float:
        """Mean square over mean of the weight of a flush, kg."""
        return self.flush_kg * (1.0 + self.flush_spread ** 2)

    def lives(self):
        """((seasons, chance), ...): the planned life, one less and one more; never less than one."""
        found, off = {}, self.life_chance
        for more, chance in ((-1, off), (0, 1.0 - 2.0 * off), (1, off)):
            seasons = max(1, self.life_seasons + more)
            found[seasons] = found.get(seasons, 0.0) + chance
        return tuple(sorted(found.items()))

    @property
    def horizon(self) -> int:
        """Seasons of life that are looked at."""
        return self.life_seasons + 1 + AHEAD


def start(settings: dict) -> Start:
    """The start from the figures and the grower's `life_seasons`."""
    def typical(name):
        return tables.figure(name).typical

    pound = units.factor("weight", units.US)
    flush = tables.figure("weight_per_flush_trade_lb")
    middle = (flush.low + flush.high) / 2.0
    every, pair = typical("yield_spread_all"), typical("yield_spread_pair")
    return Start(
        efficiency=typical("biological_efficiency"),
        spread_yard=(every ** 2 - pair ** 2) ** 0.5, spread_pair=pair,
        spread_batch=typical("yield_spread_batch"), spread_log=typical("yield_spread_log"),
        spread_weather=typical("yield_spread_weather"), spread_season=typical("yield_spread_season"),
        flush_kg=middle * pound, flush_spread=(flush.high - flush.low) / 2.0 / EIGHT_IN_TEN / middle,
        life_seasons=max(1, round(settings.get("life_seasons") or typical("log_life_seasons"))),
        life_chance=typical("life_one_off_chance"), tail=typical("life_tail_ratio"),
        dry_wood_kg=typical("dry_wood_usual_log_lb") * pound,
        weights=tuple(typical(f"yield_year_weight_{year}") for year in (1, 2, 3, 4)))


def life_shares(life_seasons: int, weights) -> np.ndarray:
    """Share of the life yield in each bearing season of a life: the printed shares stretched over it.

    The running sum of the printed shares is read, between its points by a straight line, at each season's
    part of the life.

    >>> [round(float(s), 4) for s in life_shares(4, (1/6, 1/3, 1/3, 1/6))]
    [0.1667, 0.3333, 0.3333, 0.1667]
    """
    upto = np.concatenate(([0.0], np.cumsum(weights)))
    at = np.interp(np.arange(life_seasons + 1) / life_seasons, np.linspace(0.0, 1.0, len(upto)), upto)
    return np.diff(at)


def season_shares(life_seasons: int, seasons: int, begin: Start) -> np.ndarray:
    """Shares of seasons 1 to `seasons` with what comes beyond the life, all together 1."""
    shares = life_shares(life_seasons, begin.weights)
    tail = shares[-1] * begin.tail ** np.arange(1, seasons - life_seasons + 1)
    every = np.concatenate((shares, tail))
    return every / every.sum()


def own_weight(between, within):
    """Weight of the own record against the start, 0-1: between / (between + within).

    between: variance of the truth around the start; within: variance of the record around the truth, both
    of one kind. No spread at all gives 0. Efron and Morris (1977) shrink in just this way.
    """
    between, within = np.asarray(between, dtype=float), np.asarray(within, dtype=float)
    both = between + within
    return np.where(both > 0, between / np.where(both > 0, both, 1.0), 0.0)


@dataclass
class Record:
    """What the model is fitted to. Exposure: logs x life yield x part of the season passed, kg.

    pair, alike: by batch, its strain on wood and its number of like logs (the more unequal, the fewer).
    obs, batch, season, exposure: what an own total (obs) rests on; kg, year: of each own total, the year as
    years before the current one (0 the current). now: by batch, the season of life of the current year.
    passed: part of the current year's harvest that usually lies behind. standing_kg: by batch, life yield of
    the logs still there.
    """

    pair: np.ndarray
    alike: np.ndarray
    obs: np.ndarray
    batch: np.ndarray
    season: np.ndarray
    exposure: np.ndarray
    kg: np.ndarray
    year: np.ndarray
    now: np.ndarray
    passed: float
    standing_kg: np.ndarray


@dataclass
class Fit:
    """The factors for one life: mode and covariance of the log factors, and the height of the fit."""

    life: int
    shares: np.ndarray
    mode: np.ndarray
    lower: np.ndarray  # Cholesky root of the curvature
    height: float
    own_total: np.ndarray  # of each own total: batch if it is one batch's, else -1
    planned: np.ndarray  # of each own total
    chance: float = 0.0


@dataclass
class Layout:
    """Where each factor stands among the parameters: the yard, the weather by year, pairs, batches."""

    years: int
    pairs: int
    batches: int

    @property
    def size(self) -> int:
        return 1 + self.years + self.pairs + self.batches

    def pair(self, at):
        return 1 + self.years + at

    def batch(self, at):
        return 1 + self.years + self.pairs + at


def layout(record: Record) -> Layout:
    years = int(record.year.max()) + 1 if len(record.year) else 1
    return Layout(years, int(record.pair.max()) + 1 if len(record.pair) else 0, len(record.pair))


def variances(record: Record, begin: Start, at: Layout) -> np.ndarray:
    """Variance of every log factor before anything is recorded."""
    batch = begin.spread_batch ** 2 + begin.spread_log ** 2 / record.alike
    return np.concatenate(([begin.spread_yard ** 2], np.full(at.years, begin.spread_weather ** 2),
                           np.full(at.pairs, begin.spread_pair ** 2), batch))


def fits(record: Record, begin: Start) -> list[Fit]:
    """One fit for each life, with its chance."""
    at = layout(record)
    found = [_fit(record, begin, at, life) for life, _ in begin.lives()]
    chance = np.array([np.log(chance) for _, chance in begin.lives()]) + [f.height for f in found]
    chance = np.exp(chance - chance.max())
    for fit, share in zip(found, chance / chance.sum(), strict=True):
        fit.chance = float(share)
    return found


def _fit(record, begin, at, life):
    shares = season_shares(life, begin.horizon, begin)
    before = variances(record, begin, at)
    mean = -before / 2.0  # so that every factor has mean 1
    planned_part = record.exposure * shares[record.season - 1]
    totals = len(record.kg)
    planned = np.bincount(record.obs, planned_part, minlength=totals)
    even = np.bincount(record.obs, planned_part ** 2, minlength=totals)
    size = 1.0 / (begin.spread_season ** 2 * even / planned ** 2) if totals else np.zeros(0)
    picked = record.kg / begin.lump_kg
    many = np.bincount(record.obs, minlength=totals) > 1
    single = np.full(totals, -1)
    single[record.obs[~many[record.obs]]] = record.batch[~many[record.obs]]

    def look(theta):
        eta = theta[0] + theta[1 + record.year[record.obs]]
        eta = eta + theta[at.pair(record.pair[record.batch])] + theta[at.batch(record.batch)]
        part = planned_part * np.exp(eta) / begin.lump_kg
        return part, np.bincount(record.obs, part, minlength=totals)

    def height(theta, mu):
        return float(np.sum(picked * np.log(mu) - (picked + size) * np.log(mu + size))
                     - 0.5 * np.sum((theta - mean) ** 2 / before))

    theta = mean.copy()
    part, mu = look(theta)
    now = height(theta, mu)
    for _ in range(MOST_STEPS):
        slopes = _slopes(record, at, part / mu[record.obs])
        gain = slopes.T @ (size * (picked - mu) / (mu + size)) - (theta - mean) / before
        curve = _curve(slopes, mu * size / (mu + size), before)
        step = np.linalg.solve(curve, gain)
        length = 1.0
        while True:
            trial = theta + length * step
            with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # a step beyond any number is halved like one too far
                part, mu = look(trial)
                after = height(trial, mu)
            if after >= now - 1e-12 or length < 1e-6:
                break
            length /= 2.0
        theta, now = trial, after
        if np.abs(step).max() * length < SMALL_STEP:
            break
    slopes = _slopes(record, at, part / mu[record.obs])
    curve = _curve(slopes, (picked + size) * mu * size / (mu + size) ** 2, before)
    lower = np.linalg.cholesky(curve)
    constant = float(np.sum(special.gammaln(picked + size) - special.gammaln(size) + size * np.log(size)))
    peak = now + constant - float(np.log(np.diag(lower)).sum())
    return Fit(life, shares, theta, lower, peak, single, planned)


def _slopes(record, at, share):
    """Rows: own totals; columns: factors; how the log of a total moves with each factor."""
    rows = np.tile(record.obs, 4)
    columns = np.concatenate((np.zeros(len(record.obs), dtype=np.int64), 1 + record.year[record.obs],
                              at.pair(record.pair[record.batch]), at.batch(record.batch)))
    parts, shape = np.tile(share, 4), (len(record.kg), at.size)
    if shape[0] * shape[1] > DENSE:
        return sparse.csr_matrix((parts, (rows, columns)), shape=shape)
    return np.bincount(rows * at.size + columns, weights=parts, minlength=shape[0] * shape[1]).reshape(shape)


def _curve(slopes, information, before):
    if sparse.issparse(slopes):
        curve = (slopes.T @ sparse.diags(information) @ slopes).toarray()
    else:
        curve = slopes.T @ (slopes * information[:, None])
    curve[np.diag_indices_from(curve)] += 1.0 / before
    return curve


def _root_of(lower: np.ndarray, sides: np.ndarray) -> np.ndarray:
    """x of lower x = sides. Read backwards the root is an upper triangle, in which no rows are exchanged."""
    return np.linalg.solve(lower[::-1, ::-1], sides[::-1])[::-1]


@dataclass
class Draws:
    """Draws of what is to come, for each kg of life yield standing in a batch (rows: draws).

    to_come: all seasons; this_year: the rest of the current year; next_year: the year after.
    """

    to_come: np.ndarray
    this_year: np.ndarray
    next_year: np.ndarray
    weather: np.ndarray  # of each recorded year, by years before the current one


def draw(record: Record, begin: Start, found: list[Fit], draws: int = DRAWS, seed: int = SEED) -> Draws:
    """Draws from the fitted factors, and of the weather and seasons to come."""
    at = layout(record)
    random = np.random.default_rng(seed)
    out = Draws(*(np.zeros((draws, at.batches)) for _ in range(3)), np.zeros((draws, at.years)))
    edges = np.round(np.cumsum([0.0] + [fit.chance for fit in found]) * draws).astype(int)
    edges[-1] = draws
    for fit, first, last in zip(found, edges[:-1], edges[1:], strict=True):
        if last > first:
            _draw_life(record, begin, at, fit, random, slice(first, last), out)
    return out


def _draw_life(record, begin, at, fit, random, rows, out):
    many = rows.stop - rows.start
    off = np.linalg.solve(fit.lower.T, random.standard_normal((at.size, many)))
    theta = fit.mode + off.T
    batches = theta[:, at.batch(np.arange(at.batches))]
    lasting = np.exp(theta[:, :1] + theta[:, at.pair(record.pair)] + batches)
    lasting *= _mean_factor(record, at, fit) / lasting.mean(axis=0)  # the mean is known, not drawn
    out.weather[rows] = np.exp(theta[:, 1:1 + at.years])
    spread = begin.spread_weather
    for ahead in range(begin.horizon):
        season = record.now + ahead
        inside = (season >= 1) & (season <= begin.horizon)
        due = np.where(inside, fit.shares[np.clip(season, 1, begin.horizon) - 1], 0.0)
        if ahead == 0:
            due = due * (1.0 - record.passed)
            weather = out.weather[rows, :1]
            season_factor = _season_now(record, begin, fit, lasting * weather, random)
        else:
            weather = np.exp(spread * random.standard_normal((many, 1)) - spread ** 2 / 2.0)
            season_factor = _gamma(1.0 / begin.spread_season ** 2, random, (many, at.batches))
        if not due.any():
            continue
        kilos = lasting * weather * season_factor * due
        out.to_come[rows] += kilos
        if ahead < 2:
            (out.this_year if ahead == 0 else out.next_year)[rows] = kilos


def lasting_factors(record: Record, at: Layout) -> sparse.csr_matrix:
    """Rows: batches; columns: factors; 1 where the factor lasts in the batch: yard, pair and batch."""
    where = np.arange(at.batches)
    factors = np.concatenate((np.zeros(at.batches, dtype=np.int64), at.pair(record.pair), at.batch(where)))
    return sparse.csr_matrix((np.ones(3 * at.batches), (np.tile(where, 3), factors)),
                             shape=(at.batches, at.size))


def _mean_factor(record, at, fit):
    """Mean of the lasting factor of each batch: that of a lognormal."""
    pick = lasting_factors(record, at)
    root = _root_of(fit.lower, pick.T.toarray())
    return np.exp(pick @ fit.mode + (root ** 2).sum(axis=0) / 2.0)


def _gamma(size, random, shape):
    return random.standard_gamma(size, shape) / size


def _season_now(record, begin, fit, factor, random):
    """Factor of each batch in the current season, given what it has given so far."""
    size = np.full(factor.shape, 1.0 / begin.spread_season ** 2)
    rate = size.copy()
    mine = np.flatnonzero((record.year == 0) & (fit.own_total >= 0))
    if len(mine):
        batch = fit.own_total[mine]
        size[:, batch] += record.kg[mine] / begin.lump_kg
        rate[:, batch] += factor[:, batch] * fit.planned[mine] / begin.lump_kg
    return random.standard_gamma(size) / rate


def lasting_variances(record: Record, begin: Start, found: list[Fit], mix: sparse.csr_matrix):
    """(before, after): variance of the lasting log factors of each mix of batches, without and with records.

    mix: rows of shares of batches that sum to 1.
    """
    at = layout(record)
    contrast = (mix @ lasting_factors(record, at)).tocsr()
    before = np.asarray(contrast.multiply(contrast) @ variances(record, begin, at)).ravel()
    after = np.zeros(len(before))
    for fit in found:
        root = _root_of(fit.lower, contrast.T.toarray())
        after += fit.chance * (root ** 2).sum(axis=0)
    return before, after

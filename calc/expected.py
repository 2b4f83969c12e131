"""Expected remaining yield: what logs alive today still give, per row and per group, with a range.

The model, its start and every figure behind it are told in calc.yield_model. Marketable weight is meant
(picked less culled). An expected weight is a mean, so rows add up to groups and groups to the yard. One
outcome in ten lies below the low end and one in ten above the high end: 8 in 10 between them. Logs that are
lost or retired later are not foreseen. Logs not yet inoculated are left out.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import sparse, special

from calc import results
from calc import yield_model as model
from calc.bearing import Bearing, bearing, record, rows_within_batch, usable
from calc.codes import distinct, text
from calc.rollup_yield import Parts
from calc.yard import TINY, Yard

LOW, HIGH = 0.1, 0.9


@dataclass
class Remaining:
    """The fitted yard: everything the tables are read from."""

    begin: model.Start
    seen: Bearing
    record: model.Record
    fits: list
    draws: model.Draws
    factor: np.ndarray  # by row, against its batch
    spread: np.ndarray  # relative variance of it, with the record
    spread_before: np.ndarray  # and without


def remaining(found: Parts, yard: Yard, each: pd.DataFrame, settings: dict) -> Remaining:
    """Fit the model to the records of a yard up to its as-of day."""
    begin = model.start(settings)
    seen = bearing(found, yard, each, begin)
    rec = record(seen, begin)
    fitted = model.fits(rec, begin)
    within = rows_within_batch(seen, begin, rec, fitted_kg(begin, seen, rec, fitted))
    return Remaining(begin, seen, rec, fitted, model.draw(rec, begin, fitted), *within)


def start_to_come(left: Remaining) -> np.ndarray:
    """By batch: what the published start alone expects of a kg of life yield still standing."""
    begin, now = left.begin, left.record.now
    total = np.zeros(len(now))
    for life, chance in begin.lives():
        shares = model.season_shares(life, begin.horizon, begin)
        after = np.concatenate((np.cumsum(shares[::-1])[::-1], [0.0]))  # of this season and all later
        season = np.clip(now, 1, begin.horizon) - 1
        behind = np.where(now >= 1, shares[season] * left.record.passed, 0.0)
        total += chance * np.where(now <= begin.horizon, after[season] - behind, 0.0)
    return total


def range_of(draws_kg: np.ndarray, begin: model.Start, seed: int = model.SEED):
    """(low, high) of weights whose means are the draws (rows: draws), each picked flush by flush.

    Every column has the same chances, so that two groups of the same logs have one range.
    """
    shape = 1.0 / begin.flush_spread ** 2
    kilos = np.zeros(draws_kg.shape[::-1])
    for at in range(draws_kg.shape[1]):
        random = np.random.default_rng(seed)
        flushes = random.poisson(draws_kg[:, at] / begin.flush_kg)
        found = random.standard_gamma(np.maximum(flushes, 1) * shape) * begin.flush_kg / shape
        kilos[at] = np.where(flushes > 0, found, 0.0)
    return np.quantile(kilos, [LOW, HIGH], axis=1)


def groups(left: Remaining) -> pd.DataFrame:
    """The table expected: remaining yield by group, as results.COLUMNS says.

    Rows of one strain on one wood in one batch stand in the same groups, so sums are taken over those cells first.
    """
    seen, batches = left.seen, len(left.record.pair)
    inside = np.flatnonzero(seen.batch >= 0)
    if not len(inside):
        return results.empty("expected")
    keys, of_row = distinct(seen.groups["strain x wood"].code[inside] * batches + seen.batch[inside])
    one = np.zeros(len(keys), dtype=np.int64)
    one[of_row] = inside  # a row of each cell, which says in which groups the cell stands
    cell = np.zeros(len(seen.batch), dtype=np.int64)
    cell[inside] = of_row
    life = seen.alive * seen.log_life_kg

    def total(place, values):
        return np.bincount(place, weights=values, minlength=len(keys))

    borne = cell[seen.row]
    sums = {"logs": total(of_row, seen.alive[inside]), "log_seasons": total(borne, seen.logs * seen.part), "own_kg": total(borne, seen.kg),
            "start_kg": total(of_row, life[inside]) * start_to_come(left)[keys % batches], "rows": total(borne, usable(seen, left.begin))}
    labels, names, cells, code, size = [], [], [], [], 0
    for by, group in seen.groups.items():
        known, place = distinct(group.code[one])
        labels += [by] * len(known)
        names += group.known[known].tolist()
        cells.append(np.arange(len(keys)))
        code.append(place + size)
        size += len(known)
    cells, code = np.concatenate(cells), np.concatenate(code)
    found = {name: np.bincount(code, weights=values[cells], minlength=size) for name, values in sums.items()}
    standing = total(of_row, (life * left.factor)[inside])
    weight = sparse.csr_matrix((standing[cells], (code, keys[cells] % batches)), shape=(size, batches))
    kilos = (weight @ left.draws.to_come.T).T
    low, high = range_of(kilos, left.begin)
    expected = kilos.mean(axis=0)
    return pd.DataFrame({
        "by": labels, "group": names, **found, "expected_kg": expected, "low_kg": low, "high_kg": high,
        "per_log_kg": expected / np.where(found["logs"] > 0, found["logs"], np.nan),
        "this_year_kg": weight @ left.draws.this_year.mean(axis=0), "next_year_kg": weight @ left.draws.next_year.mean(axis=0),
        "own_weight": _own_weight(left, weight)})[list(results.COLUMNS["expected"])]


def _own_weight(left, weight):
    """1 - variance of the lasting factor with the record / without it; NaN where nothing is to come."""
    share = weight @ sparse.diags(left.draws.to_come.mean(axis=0))
    whole = np.asarray(share.sum(axis=1)).ravel()
    mix = sparse.diags(1.0 / np.where(whole > 0, whole, 1.0)) @ share
    before, after = model.lasting_variances(left.record, left.begin, left.fits, mix.tocsr())
    return np.where(whole > 0, np.clip(1.0 - after / np.where(before > 0, before, 1.0), 0.0, 1.0), np.nan)


def each_row(left: Remaining, each: pd.DataFrame) -> pd.DataFrame:
    """The table expected_logs: remaining yield of every row of Logs that is inoculated."""
    seen, rec, begin = left.seen, left.record, left.begin
    inside = np.flatnonzero(seen.batch >= 0)
    if not len(inside):
        return results.empty("expected_logs")
    to_come = left.draws.to_come
    unit = to_come.mean(axis=0)
    relative = np.where(unit > 0, to_come.var(axis=0) / np.where(unit > 0, unit, 1.0) ** 2, 0.0)
    batch = seen.batch[inside]
    standing = (seen.alive * seen.log_life_kg)[inside]
    expected = standing * left.factor[inside] * unit[batch]
    low, high = flush_range(expected, (1.0 + relative[batch]) * (1.0 + left.spread[inside]) - 1.0, begin)
    one = sparse.identity(len(rec.pair), format="csr")
    before, after = model.lasting_variances(rec, begin, left.fits, one)
    own = 1.0 - (after[batch] + left.spread[inside]) / (before[batch] + left.spread_before[inside])
    logs = seen.alive[inside]
    rows = each[["row", "log"]] if len(inside) == len(each) else each[["row", "log"]].iloc[inside]
    return pd.DataFrame({
        "row": rows["row"].array, "log": rows["log"].array, "logs": logs,
        "season": np.maximum(rec.now[batch], 0).astype(float),
        "start_kg": standing * start_to_come(left)[batch],
        "expected_kg": expected, "low_kg": low, "high_kg": high,
        "per_log_kg": expected / np.where(logs > 0, logs, np.nan),
        "own_weight": np.where(logs > 0, np.clip(own, 0.0, 1.0), np.nan),
        "told_apart": text(["no", "yes"], seen.told[inside].astype(np.int64)),
    })[list(results.COLUMNS["expected_logs"])]


def fitted_kg(begin: model.Start, seen: Bearing, rec: model.Record, fitted: list) -> np.ndarray:
    """By flat season: what the fit gives a row at its batch's level, the year's weather included, kg."""
    at = model.layout(rec)
    ago = np.minimum(seen.this_year - seen.year, at.years - 1)
    level = np.zeros(len(seen.row))
    for fit in fitted:
        lasting = fit.mode[0] + fit.mode[at.pair(rec.pair)] + fit.mode[at.batch(np.arange(at.batches))]
        share = fit.shares[np.minimum(seen.season, begin.horizon) - 1]
        level += fit.chance * share * np.exp(fit.mode[1 + ago] + lasting[seen.batch[seen.row]])
    return level * seen.logs * seen.part * seen.log_life_kg[seen.row]


def flush_range(mean_kg: np.ndarray, relative_variance: np.ndarray, begin: model.Start):
    """(low, high) of weights picked flush by flush around a level with this mean and relative variance.

    One in ten below the low end, one in ten above the high end; see `flush_quantiles`.
    """
    return tuple(flush_quantiles(mean_kg, relative_variance, begin, (LOW, HIGH)))


def flush_quantiles(mean_kg: np.ndarray, relative_variance: np.ndarray, begin: model.Start, chances):
    """A list of weights, one for each chance (0-1) of staying below, kg; the level as in `flush_range`.

    The chance of no flush at all is that of a Poisson number with a gamma-spread mean; the rest is a gamma
    of the same mean and variance. A weight is 0 where no flush at all is likelier than its chance.
    """
    mean, spread = np.asarray(mean_kg, dtype=float), np.maximum(relative_variance, 1e-6)
    mean = np.where(mean > TINY, mean, 0.0)
    none = (1.0 + spread * mean / begin.flush_kg) ** (-1.0 / spread)
    some = np.maximum(1.0 - none, 1e-12)
    middle = np.where(mean > 0, mean / some, 1.0)
    square = (mean ** 2 * (1.0 + spread) + begin.lump_kg * mean) / some
    variance = np.maximum(square - middle ** 2, 1e-12 * middle ** 2)
    ends = []
    for end in chances:
        inside = np.clip((end - none) / some, 0.0, 1.0)
        quantile = special.gammaincinv(middle ** 2 / variance, inside) * (variance / middle)
        ends.append(np.where((inside > 0) & (mean > 0), quantile, 0.0))
    return ends

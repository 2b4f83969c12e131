"""Measures what the tests only sample: prints one table a part.

Parts are functions in PARTS; each returns (title, headings, rows). Run all, or name some:
python3 scripts/bench.py [part ...]
"""
from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from calc import yield_model as model  # noqa: E402

# A yard drawn log by log and flush by flush, apart from the model's own code.

@dataclass
class Truth:
    """One simulated yard: what the grower could have written down, and what then came."""

    record: model.Record
    batch_kg: np.ndarray  # to come, by batch
    log_batch: np.ndarray  # batch of each log
    log_kg: np.ndarray  # to come, by log
    log_life_kg: np.ndarray  # life yield of each log at the published start
    log_seen: np.ndarray  # picked so far, by log


def simulate(begin: model.Start, random, years: int | None = None, yard: float | None = None,
             pairs: int | None = None, logs: tuple[int, int] = (3, 40)) -> Truth:
    """A yard whose factors are drawn from `begin`; years of record, 0 to 4 if None.

    yard: a yard factor to use in place of the drawn one (the pair factors are drawn all the same).
    """
    years = int(random.integers(0, 5)) if years is None else years
    passed = float(random.choice([0.0, 0.3, 1.0]))
    lives = begin.lives()
    life = lives[random.choice(len(lives), p=[c for _, c in lives])][0]
    shares = model.season_shares(life, begin.horizon, begin)
    pairs = int(random.integers(1, 5)) if pairs is None else pairs
    pair = np.repeat(np.arange(pairs), random.integers(1, 3, pairs))
    batches = len(pair)
    now = np.maximum(0, years - random.integers(0, 3, batches)) if years else np.zeros(batches, dtype=int)
    now[0] = years
    count = random.integers(logs[0], logs[1] + 1, batches)
    log_batch = np.repeat(np.arange(batches), count)

    def one(spread, shape):
        return np.exp(spread * random.standard_normal(shape) - spread ** 2 / 2)

    a = one(begin.spread_yard, 1)[0] if yard is None else yard
    factor = a * one(begin.spread_pair, pairs)[pair] * one(begin.spread_batch, batches)
    shape = 1 / begin.spread_log ** 2
    dry = begin.dry_wood_kg * random.uniform(0.5, 1.5, len(log_batch))
    life_kg = begin.efficiency * dry
    level = life_kg * factor[log_batch] * random.gamma(shape, 1 / shape, len(log_batch))
    size = 1 / begin.spread_season ** 2
    weather = one(begin.spread_weather, begin.horizon + years + 1)
    seen, to_come = np.zeros(len(log_batch)), np.zeros(len(log_batch))
    obs, batch, season, exposure, kilos, year = [], [], [], [], [], []
    for ago in range(years - 1, -begin.horizon - 1, -1):  # years before the current one
        k = now - ago
        live = (k >= 1) & (k <= begin.horizon)
        due = np.where(live, shares[np.clip(k, 1, begin.horizon) - 1], 0.0)
        part = passed if ago == 0 else float(ago > 0)
        mean = level * (weather[years - ago] * random.gamma(size, 1 / size, batches) * due)[log_batch]
        before, after = _flushes(mean * part, begin, random), _flushes(mean * (1 - part), begin, random)
        seen += before
        to_come += after
        for b in np.flatnonzero(live & (k <= begin.life_seasons + model.PAST)) if part > 0 else ():
            mine = log_batch == b
            obs.append(len(kilos))
            batch.append(b)
            season.append(k[b])
            exposure.append(life_kg[mine].sum() * part)
            kilos.append(before[mine].sum())
            year.append(ago)
    alike = np.bincount(log_batch, life_kg) ** 2 / np.bincount(log_batch, life_kg ** 2)
    whole = [np.array(v, dtype=np.int64) for v in (obs, batch, season, year)]
    record = model.Record(pair, alike, *whole[:3], np.array(exposure), np.array(kilos), whole[3],
                          now, passed, np.bincount(log_batch, life_kg))
    return Truth(record, np.bincount(log_batch, to_come), log_batch, to_come, life_kg, seen)


def _flushes(mean_kg, begin, random):
    """Weight of a random number of flushes whose mean in all is mean_kg."""
    flushes = random.poisson(mean_kg / begin.flush_kg)
    shape = 1 / begin.flush_spread ** 2
    return np.where(flushes > 0, random.gamma(np.maximum(flushes, 1) * shape, begin.flush_kg / shape), 0.0)


if __name__ == "__main__":
    pass

"""Measures what the tests only sample: prints one table a part.

Parts are functions in PARTS; each returns (title, headings, rows). Run all, or name some:
python3 scripts/bench.py [part ...]
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import season_world  # noqa: E402

from calc import expected, tables  # noqa: E402
from calc import yield_model as model  # noqa: E402

# A yard drawn log by log and flush by flush, apart from the model's own code.


@dataclass
class Truth:
    """One simulated yard: what the grower could have written down, and what then came."""

    record: model.Record
    batch_kg: np.ndarray  # to come, by batch
    log_batch: np.ndarray  # batch of each log
    log_kg: np.ndarray  # to come, by log


def simulate(
    begin: model.Start,
    random,
    years: int | None = None,
    yard: float | None = None,
    pairs: int | None = None,
    logs: tuple[int, int] = (3, 40),
    passed: float | None = None,
    cohorts: bool = True,
) -> Truth:
    """A yard whose factors are drawn from `begin`; years of record, 0 to 4 if None.

    yard: a yard factor to use in place of the drawn one (the pair factors are drawn all the same). passed:
    part of the current year's harvest that lies behind. cohorts: batches of several inoculation years.
    """
    years = int(random.integers(0, 5)) if years is None else years
    passed = float(random.choice([0.0, 0.3, 1.0])) if passed is None else passed
    lives = begin.lives()
    life = lives[random.choice(len(lives), p=[c for _, c in lives])][0]
    shares = model.season_shares(life, begin.horizon, begin)
    pairs = int(random.integers(1, 5)) if pairs is None else pairs
    pair = np.repeat(np.arange(pairs), random.integers(1, 3, pairs) if cohorts else 1)
    batches = len(pair)
    now = (
        np.maximum(0, years - random.integers(0, 3, batches) * cohorts)
        if years
        else np.zeros(batches, dtype=int)
    )
    now[0] = years
    count = random.integers(logs[0], logs[1] + 1, batches)
    log_batch = np.repeat(np.arange(batches), count)

    def one(spread, shape):
        return np.exp(spread * random.standard_normal(shape) - spread**2 / 2)

    a = one(begin.spread_yard, 1)[0] if yard is None else yard
    factor = a * one(begin.spread_pair, pairs)[pair] * one(begin.spread_batch, batches)
    shape = 1 / begin.spread_log**2
    dry = begin.dry_wood_kg * random.uniform(0.5, 1.5, len(log_batch))
    life_kg = begin.efficiency * dry
    level = life_kg * factor[log_batch] * random.gamma(shape, 1 / shape, len(log_batch))
    size = 1 / begin.spread_season**2
    weather = one(begin.spread_weather, begin.horizon + years + 1)
    to_come = np.zeros(len(log_batch))
    obs, batch, season, exposure, kilos, year = [], [], [], [], [], []
    for ago in range(years - 1, -begin.horizon - 1, -1):  # years before the current one
        k = now - ago
        live = (k >= 1) & (k <= begin.horizon)
        due = np.where(live, shares[np.clip(k, 1, begin.horizon) - 1], 0.0)
        part = passed if ago == 0 else float(ago > 0)
        mean = level * (weather[years - ago] * random.gamma(size, 1 / size, batches) * due)[log_batch]
        before, after = _flushes(mean * part, begin, random), _flushes(mean * (1 - part), begin, random)
        to_come += after
        for b in np.flatnonzero(live & (k <= begin.life_seasons + model.PAST)) if part > 0 else ():
            mine = log_batch == b
            obs.append(len(kilos))
            batch.append(b)
            season.append(k[b])
            exposure.append(life_kg[mine].sum() * part)
            kilos.append(before[mine].sum())
            year.append(ago)
    alike = np.bincount(log_batch, life_kg) ** 2 / np.bincount(log_batch, life_kg**2)
    whole = [np.array(v, dtype=np.int64) for v in (obs, batch, season, year)]
    record = model.Record(
        pair,
        alike,
        *whole[:3],
        np.array(exposure),
        np.array(kilos),
        whole[3],
        now,
        passed,
        np.bincount(log_batch, life_kg),
    )
    return Truth(record, np.bincount(log_batch, to_come), log_batch, to_come)


def _flushes(mean_kg, begin, random):
    """Weight of a random number of flushes whose mean in all is mean_kg."""
    flushes = random.poisson(mean_kg / begin.flush_kg)
    shape = 1 / begin.flush_spread**2
    return np.where(flushes > 0, random.gamma(np.maximum(flushes, 1) * shape, begin.flush_kg / shape), 0.0)


def outcome(truth: Truth, begin: model.Start, draws: int = model.DRAWS) -> dict:
    """What the model says of a simulated yard beside what came: yard, first batch, one log.

    (low, high, expected, came) by what is asked.
    """
    record = truth.record
    fitted = model.fits(record, begin)
    drawn = model.draw(record, begin, fitted, draws)
    kilos = drawn.to_come * record.standing_kg
    two = np.column_stack((kilos.sum(axis=1), kilos[:, 0]))
    low, high = expected.range_of(two, begin)
    mean, came = two.mean(axis=0), (float(truth.batch_kg.sum()), float(truth.batch_kg[0]))
    return {what: (low[i], high[i], mean[i], came[i]) for i, what in enumerate(("yard", "batch"))}


def covered(yards: int, seed: int = 1, draws: int = model.DRAWS) -> dict:
    """Share of simulated yards whose later weight lies below, inside and above the 80 % range, by what.

    A batch likely to give no flush at all has a low end of 0, and nothing can lie below it: so batches whose
    low end is above 0 are also shown by themselves.
    """
    begin, random = model.start({}), np.random.default_rng(seed)
    found = {"yard": [], "batch": [], "batch, low end above 0": []}
    for _ in range(yards):
        for what, (low, high, _, came) in outcome(simulate(begin, random), begin, draws).items():
            hit = (came < low, low <= came <= high, came > high)
            found[what].append(hit)
            if what == "batch" and low > 0:
                found["batch, low end above 0"].append(hit)
    return {what: np.mean(hits, axis=0) for what, hits in found.items()}


def coverage():
    yards = 5000
    found = covered(yards)
    return (
        f"80 % range of the remaining yield, {yards:,} yards drawn from the stated start",
        ("of", "below", "inside", "above"),
        [(what, *(f"{share:.1%}" for share in shares)) for what, shares in found.items()],
    )


def unlike(yards: int = 200, seed: int = 2):
    """Yards unlike the start: twelve dozen logs of three pairs, followed for four years."""
    begin, random = model.start({}), np.random.default_rng(seed)
    rows = []
    for factor, words in (
        (0.25, "a quarter of the start"),
        (1.0, "like the start"),
        (3.0, "three times the start"),
        (6.0, "six times the start"),
    ):
        for years in (0, 1, 2, 3):
            off, inside = [], []
            for _ in range(yards):
                truth = simulate(
                    begin, random, years=years, yard=factor, pairs=3, logs=(24, 24), passed=1.0, cohorts=False
                )
                low, high, mean, came = outcome(truth, begin, 400)["yard"]
                off.append(mean / came - 1.0)
                inside.append(low <= came <= high)
            rows.append(
                (
                    words,
                    years,
                    f"{np.median(off):+.0%}",
                    f"{np.median(np.abs(off)):.0%}",
                    f"{np.mean(inside):.0%}",
                )
            )
    return (
        f"expected against what came, {yards} yards each of 72 logs",
        ("yard gives", "years of record", "middle miss", "middle miss either way", "inside the 80 % range"),
        rows,
    )


def speed():
    """Time of the yield estimates alone on a big yard, already read."""
    begin, random = model.start({}), np.random.default_rng(3)
    rows = []
    for batches in (10, 100, 1000):
        record = big_record(batches, random, begin)
        began = time.perf_counter()
        model.draw(record, begin, model.fits(record, begin))
        rows.append((batches, len(record.kg), f"{time.perf_counter() - began:.2f} s"))
    return "fitting and drawing", ("batches", "own totals", "time"), rows


def big_record(batches, random, begin):
    """Batches of 100 logs, five to a pair, three seasons each."""
    batch = np.repeat(np.arange(batches), 3)
    season = np.tile([1, 2, 3], batches)
    life = np.full(batches, 100 * begin.efficiency * begin.dry_wood_kg)
    exposure = life[batch]
    return model.Record(
        np.arange(batches) // 5,
        np.full(batches, 100.0),
        np.arange(len(batch)),
        batch,
        season,
        exposure,
        exposure * 0.3 * random.gamma(4, 0.25, len(batch)),
        3 - season,
        np.full(batches, 3),
        1.0,
        life,
    )


def supply(yards: int = 200):
    """Weekly promises at 80 %, soaking by the sheet's own advice; a soak against a rule ends the part."""
    twice = 2 * tables.figure("supply_week_spread").typical
    worlds = {
        "as assumed": season_world.World(),
        "half the yield, twice the week's swing": season_world.World(level=0.5, week=twice),
        "as assumed, across new year, small tank": season_world.World(
            temps=season_world.SOUTH, season=((10, 15), (4, 15)), tank_logs=20
        ),
    }
    rows = []
    for words, world in worlds.items():
        with ProcessPoolExecutor() as pool:
            lives = list(pool.map(partial(season_world.live, world=world), range(yards)))
        for life in lives:
            assert not season_world.faults(life), season_world.faults(life)[:3]
        for lead in season_world.LEADS:
            met = season_world.kept(lives, lead)
            rows.append((words, lead, len(met), f"{met.mean():.1%}", sum(len(life.soaks) for life in lives)))
    return (f"promises met at a chance of 80 %, {yards} yards, {season_world.World().seasons} seasons, every Monday",
            ("world", "weeks ahead", "promises", "met", "soaks, none too young, in a rest or out of season"), rows)


def worksheet():
    """BOLT functions in a running LibreOffice against native formulas."""
    from bench_live import live  # needs LibreOffice

    return live()


def files_big():
    """Refresh of big yards against the least that reading and writing costs."""
    from bench_files import big

    return big()


def files_small():
    """Small work against the start of Python and bare writing."""
    from bench_files import small

    return small()


PARTS = [coverage, unlike, speed, supply, worksheet, files_big, files_small]


def table(title, headings, rows) -> str:
    """A title and columns as wide as their widest cell."""
    cells = [tuple(map(str, row)) for row in (headings, *rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(headings))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]
    return "\n".join([title, *lines, ""])


def main(names) -> int:
    known = {part.__name__: part for part in PARTS}
    unknown = [name for name in names if name not in known]
    if unknown:
        print(f"No such part: {', '.join(unknown)}. Parts: {', '.join(known)}.")
        return 2
    for name in names or known:
        print(table(*known[name]()), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

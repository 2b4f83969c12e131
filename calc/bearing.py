"""Each row of Logs season by season: logs, weight, and which weights tell batches and rows apart.

A season is a calendar year. A log's first season of life is the year after it was inoculated; what it gives
before counts to that one. A year in which nothing at all was picked in the yard counts as not written down.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc.codes import Grouping, distinct, several, together
from calc.rollup_yield import Parts, groupings
from calc.yard import Yard, first_day, years_of
from calc.yield_model import PAST, Record, Start, own_weight

FAR_YEAR = 10000  # beyond any year: keys of a batch and a year
MOST_PAIRS = 200  # strains on woods told apart; the rarer ones beyond stand together
# Up to this share of the weight, lines over several batches or rows count as their own; starting guess.
MIXED_SHARE = 0.1


@dataclass
class Bearing:
    """Seasons of rows as flat arrays (row and what follows), and the batches.

    batch: by row, its strain on wood and inoculation year, -1 before inoculation; pair: by batch;
    log_life_kg: by row, life yield of one log at the published start; told: by row, True where the record
    tells it apart from its neighbours in the batch; cluster: by row, the rows picked together over the
    years, all of one strain on wood, -1 where they cannot be held against others; gone: part of the current
    year gone by; passed: part of its harvest that usually lies behind; groups: the groupings of Each log.
    """

    batch: np.ndarray
    pair: np.ndarray
    inoculation_year: np.ndarray  # by batch
    count: np.ndarray
    alive: np.ndarray
    log_life_kg: np.ndarray
    told: np.ndarray
    cluster: np.ndarray
    this_year: int
    gone: float
    passed: float
    recorded: set
    row: np.ndarray
    year: np.ndarray
    season: np.ndarray
    logs: np.ndarray  # mean of the logs there at the season's begin and end
    kg: np.ndarray  # marketable
    part: np.ndarray  # part of the season's harvest that lies behind
    component: np.ndarray  # by flat season, the own total it belongs to in that year
    groups: dict[str, Grouping]


def bearing(found: Parts, yard: Yard, each: pd.DataFrame, begin: Start) -> Bearing:
    """The seasons of every inoculated row up to the as-of day."""
    this_year = int(years_of(yard.as_of))
    groups = groupings(each)
    batch, pair, inoculation_year = _batches(each, yard, groups["strain x wood"])
    recorded, passed, gone = _written_down(found, yard.as_of, this_year)
    rows = np.flatnonzero(batch >= 0)
    seasons = np.maximum(this_year - inoculation_year[batch[rows]], 0)
    row = np.repeat(rows, seasons)
    season = np.arange(len(row)) - np.repeat(np.cumsum(seasons) - seasons, seasons) + 1
    year = inoculation_year[batch[row]] + season
    last = np.where(year == this_year, yard.as_of, first_day(year + 1) - 1)
    logs = (yard.alive_at(row, np.maximum(first_day(year), yard.start[row])) + yard.alive_at(row, last)) / 2.0
    kg, shared = _weights(found, batch, inoculation_year, rows, seasons, this_year)
    dry = each["dry_wood_kg"].to_numpy(dtype=float)
    usual = np.nanmean(dry) if np.isfinite(dry).any() else begin.dry_wood_kg
    life = begin.efficiency * np.where(np.isfinite(dry) & (dry > 0), dry, usual)
    out = Bearing(batch, pair, inoculation_year, yard.count, yard.alive(), life,
                  np.zeros(len(yard), dtype=bool), np.full(len(yard), -1), this_year, gone, passed, recorded,
                  row, year, season, logs, np.maximum(kg, 0.0), np.where(year == this_year, passed, 1.0),
                  np.zeros(len(row), dtype=np.int64), groups)
    out.component = _components(found, out)
    out.told = _told_apart(out, shared, kg)
    out.cluster = _clusters(found, out, groups["strain x wood"].code)
    return out


def _batches(each, yard, strain_wood: Grouping):
    """(batch of each row, pair of each batch, inoculation year of each batch)."""
    known = yard.is_inoculated()
    logs = strain_wood.total(np.where(known, yard.count, 0.0))
    rank = np.empty(len(logs), dtype=np.int64)
    rank[np.argsort(-logs, kind="stable")] = np.arange(len(logs))
    year = np.nan_to_num(each["inoculation_year"].to_numpy(dtype=float)).astype(np.int64)
    key = np.minimum(rank[strain_wood.code], MOST_PAIRS) * FAR_YEAR + year
    batch = np.full(len(yard), -1)
    keys, batch[known] = distinct(key[known])
    return batch, distinct(keys // FAR_YEAR)[1], keys % FAR_YEAR


def _written_down(found, as_of, this_year):
    """(years with a weight, usual part of this year's harvest that lies behind, part of the year gone by).

    That part starts from an even year (starting guess) and follows the grower's own finished years, each
    counting as much as the start.
    """
    year, bears = found.year, found.picked > 0
    looked = years_of(found.looked) if found.looked is not None else year[:0]
    recorded = {*distinct(year[bears])[0].tolist(), *distinct(looked)[0].tolist()}
    into = as_of - int(first_day(this_year)) + 1
    even = into / float(first_day(this_year + 1) - first_day(this_year))
    finished = bears & (year < this_year)
    if not finished.any():
        return recorded, even, even
    early = finished & (found.day - first_day(year) + 1 <= into)
    own = found.picked[early].sum() / found.picked[finished].sum()
    count = len(distinct(year[finished])[0])
    return recorded, float((even + count * own) / (1 + count)), even


def _weights(found, batch, inoculation_year, rows, seasons, this_year):
    """Marketable kg by flat season; and kg of it on lines that name other rows too, by row."""
    mine = (found.log >= 0)
    mine[mine] = batch[found.log[mine]] >= 0
    log, kg = found.log[mine], (found.picked - found.culled)[mine]
    season = np.maximum(found.year[mine] - inoculation_year[batch[log]], 1)
    begins = np.zeros(len(batch), dtype=np.int64)
    begins[rows] = np.cumsum(seasons) - seasons
    length = np.zeros(len(batch), dtype=np.int64)
    length[rows] = seasons
    inside = season <= length[log]
    flat = np.bincount((begins[log] + season - 1)[inside], kg[inside], minlength=int(seasons.sum()))
    lines = np.bincount(found.line, minlength=1) if len(found.line) else np.zeros(1)
    several = (lines[found.line[mine]] > 1) & (found.picked[mine] > 0)
    return flat, np.bincount(log[several], kg[several], minlength=len(batch))


def _components(found: Parts, out: Bearing) -> np.ndarray:
    """Own totals: batches that only lines over several of them speak of, in one year, share one."""
    mine = (found.log >= 0) & (found.picked > 0)
    mine[mine] = out.batch[found.log[mine]] >= 0
    line, batch, kg, year = found.line[mine], out.batch[found.log[mine]], found.picked[mine], found.year[mine]
    borne = year > out.inoculation_year[batch]  # what comes earlier counts to the first season, apart
    line, batch, kg, year = line[borne], batch[borne], kg[borne], year[borne]
    mixed = several(line, batch)
    years, at = distinct(year)
    among, whole = (np.bincount(at, kilos, minlength=len(years)) for kilos in (np.where(mixed, kg, 0.0), kg))
    use = mixed & (among > MIXED_SHARE * whole)[at]
    batches = max(len(out.pair), 1)
    keys, where = distinct(np.concatenate((out.year * batches + out.batch[out.row], (year * batches + batch)[use])))
    ours, theirs = where[:len(out.row)], where[len(out.row):]
    first = np.zeros(int(line.max()) + 1 if len(line) else 1, dtype=np.int64)
    first[line[use][::-1]] = theirs[::-1]
    return together(len(keys), first[line[use]], theirs)[ours]


def _told_apart(out, shared, kg):
    """Rows whose weights come from lines of their own; rows without a weight, where their batch's do."""
    total = np.bincount(out.row, kg, minlength=len(out.batch))
    inside = out.batch >= 0
    by_batch = [np.bincount(out.batch[inside], v[inside], minlength=len(out.pair)) for v in (shared, total)]
    alone = by_batch[0] <= MIXED_SHARE * by_batch[1]
    told = np.zeros(len(out.batch), dtype=bool)
    own = shared[inside] <= MIXED_SHARE * total[inside]
    told[inside] = np.where(total[inside] > 0, own, alone[out.batch[inside]])
    return told


def _clusters(found: Parts, out: Bearing, strain_wood: np.ndarray) -> np.ndarray:
    """Rows that lines name together hang together; those over several strains on woods are of no use."""
    rows = len(out.batch)
    mine = (found.log >= 0) & (found.picked > 0)
    line, log, kg = found.line[mine], found.log[mine], found.picked[mine]
    across = several(line, strain_wood[log])
    if across.any() and kg[across].sum() <= MIXED_SHARE * kg.sum():
        line, log = line[~across], log[~across]
    first = np.zeros(int(line.max()) + 1 if len(line) else 1, dtype=np.int64)
    first[line[::-1]] = log[::-1]
    cluster = together(rows, first[line], log)
    picked = np.bincount(log, minlength=rows) > 0
    return np.where((out.batch >= 0) & (picked | out.told) & ~several(cluster, strain_wood), cluster, -1)


def usable(out: Bearing, begin: Start) -> np.ndarray:
    """Flat seasons the model is fitted to: written down, begun, and not long past the planned life."""
    return (np.isin(out.year, list(out.recorded)) & (out.part > 0) & (out.logs > 0)
            & (out.season <= begin.life_seasons + PAST))


def record(out: Bearing, begin: Start) -> Record:
    """What the model is fitted to."""
    batches = len(out.pair)
    inside = out.batch >= 0
    life = (out.count * out.log_life_kg)[inside]
    weight = np.bincount(out.batch[inside], life, minlength=batches)
    square = np.bincount(out.batch[inside], (life * out.log_life_kg[inside]), minlength=batches)
    standing = np.bincount(out.batch[inside], (out.alive * out.log_life_kg)[inside], minlength=batches)
    use = usable(out, begin)
    exposure = (out.logs * out.log_life_kg[out.row] * out.part)[use]
    batch, season = out.batch[out.row][use], out.season[use]
    known, obs = distinct(out.component[use])
    kilos = np.bincount(obs, out.kg[use], minlength=len(known))
    year = np.zeros(len(known), dtype=np.int64)
    year[obs] = out.this_year - out.year[use]
    seasons = begin.life_seasons + PAST + 1
    key, where = distinct((obs * batches + batch) * seasons + season)
    return Record(out.pair, weight ** 2 / square, key // seasons // batches, key // seasons % batches,
                  key % seasons, np.bincount(where, exposure, minlength=len(key)), kilos, year,
                  out.this_year - out.inoculation_year, out.passed, standing)


def rows_within_batch(out: Bearing, begin: Start, rec: Record, level: np.ndarray):
    """(factor, spread left, spread before) of each row against its batch; factors keep the batch's total.

    level: by flat season, fitted weight of the row at its batch's level, kg. A row told apart is weighed
    between the batch (1) and its own record; between-log variance falls with its number of logs.
    """
    rows = len(out.batch)
    inside = out.batch >= 0
    use = usable(out, begin)
    due = np.bincount(out.row[use], level[use], minlength=rows)
    gave = np.bincount(out.row[use], out.kg[use], minlength=rows)
    before = np.zeros(rows)
    beyond_batch = 1.0 / out.count[inside] - 1.0 / rec.alike[out.batch[inside]]
    before[inside] = np.maximum(begin.spread_log ** 2 * beyond_batch, 0.0)
    some = np.where(due > 0, due, 1.0)
    weight = np.where(out.told & (due > 0), own_weight(before, begin.lump_kg / some), 0.0)
    factor = 1.0 + weight * (np.where(due > 0, gave / some, 1.0) - 1.0)
    life = out.alive * out.log_life_kg
    size = len(out.pair)
    whole = [np.bincount(out.batch[inside], v[inside], minlength=size) for v in (life, life * factor)]
    even = np.where(whole[1] > 0, whole[0] / np.where(whole[1] > 0, whole[1], 1.0), 1.0)
    factor[inside] *= even[out.batch[inside]]
    return factor, (1.0 - weight) * before, before

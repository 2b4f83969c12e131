"""Which strain on wood gives more, and which difference is only noise: the best against the rest.

Weight a log, made equal for the seasons borne: a row's marketable weight over its logs times the published
shares of the life yield (1/6, 1/3, 1/3, 1/6; RES-11) that lie behind it, so kg a log over a whole life at
this pace. Logs picked together say nothing of the scatter between them: each log, batch or set of rows with
weights of its own is one replicate. Rows picked with logs of another strain or wood are left out.

A group's weight is the ratio of sums; its variance that of a ratio over clusters (Cochran, Sampling
Techniques, chapter 6, from memory), which for single logs of one age is the variance of their mean. The
difference is judged as in Welch (1947), with Satterthwaite's (1946) degrees of freedom. Chance of a false
"gives more" over all pairs of groups 2 in 10, shared out evenly (Bonferroni), because the best is picked out
after looking: the same 8 in 10 as every range here. A wrong choice of strain costs a little yield, not a
harvest; a stricter level would keep saying "cannot tell yet" for years.
"""
from __future__ import annotations

import math

import numpy as np
import pandas as pd
from scipy import special

from calc import results
from calc.bearing import Bearing
from calc.codes import distinct
from calc.yield_model import Start, life_shares

FALSE_CHANCE = 0.2  # of a false "gives more" over all pairs; the ranges are 8 in 10; starting guess
POWER = 0.8  # chance that the logs asked for would show the difference; common practice
MOST_LOGS = 10000  # beyond, the difference is not worth the logs; starting guess
FEWEST = 2  # replicates a group needs for a spread


def replicates(seen: Bearing, begin: Start) -> dict[str, dict[str, np.ndarray]]:
    """What can be compared, by group: kg (marketable), exposure (logs x share of a life borne), logs and rows of each replicate.

    Only what has weights of its own and a season behind it; a row told apart that gave nothing counts with
    0 kg. Seasons not written down are left out of both.
    """
    shares = np.append(life_shares(begin.life_seasons, begin.weights), 0.0)
    share = shares[np.minimum(seen.season, begin.life_seasons + 1) - 1]
    written = np.isin(seen.year, list(seen.recorded))
    exposure = np.bincount(seen.row, np.where(written, seen.logs * seen.part * share, 0.0),
                           minlength=len(seen.batch))
    kg = np.bincount(seen.row, np.where(written, seen.kg, 0.0), minlength=len(seen.batch))
    use = np.flatnonzero((seen.cluster >= 0) & (exposure > 0))
    clusters, of_row = distinct(seen.cluster[use])
    sums = {name: np.bincount(of_row, weights=values[use], minlength=len(clusters)) for name, values in
            (("kg", kg), ("exposure", exposure), ("logs", seen.count), ("rows", np.ones(len(kg))))}
    strain_wood = seen.groups["strain x wood"]
    group = np.zeros(len(clusters), dtype=np.int64)
    group[of_row] = strain_wood.code[use]  # one in all rows of a cluster
    return {strain_wood.known[code]: {name: values[group == code] for name, values in sums.items()} for code in distinct(group)[0]}


def ratio(kg, exposure):
    """(kg for each unit of exposure, variance of it, degrees of freedom) over replicates.

    Degrees of freedom: replicates, the fewer the more unequal, less 1. NaN variance for fewer than two.
    """
    kg, exposure = np.asarray(kg, dtype=float), np.asarray(exposure, dtype=float)
    whole, rows = exposure.sum(), len(kg)
    mean = kg.sum() / whole
    if rows < FEWEST:
        return mean, math.nan, math.nan
    off = kg - mean * exposure
    variance = rows / (rows - 1) * float((off ** 2).sum()) / whole ** 2
    return mean, variance, max(whole ** 2 / float((exposure ** 2).sum()) - 1.0, 1.0)


def welch(mean_a, variance_a, free_a, mean_b, variance_b, free_b, false_chance):
    """(difference, low, high) of two means with unequal variances of the mean; two-sided.

    Welch (1947); degrees of freedom after Satterthwaite (1946). NaN ends where a variance is not known, or
    where neither group shows any spread.
    """
    both = variance_a + variance_b
    if not both > 0:
        return mean_a - mean_b, math.nan, math.nan
    free = both ** 2 / (variance_a ** 2 / free_a + variance_b ** 2 / free_b)
    reach = float(special.stdtrit(free, 1.0 - false_chance / 2.0)) * math.sqrt(both)
    return mean_a - mean_b, mean_a - mean_b - reach, mean_a - mean_b + reach


def logs_needed(difference, variance_log_a, variance_log_b, false_chance, power=POWER):
    """Logs in each group that would show the difference with this power, two-sided.

    The smallest n with n x difference^2 >= (t of the level + t of the power)^2 x (both variances of one
    log), t on 2(n - 1) degrees of freedom; NaN where there is no difference or no spread, inf beyond
    MOST_LOGS.

    >>> logs_needed(1.0, 1.0, 1.0, 0.05, 0.9)
    23.0
    """
    both = variance_log_a + variance_log_b
    if not (abs(difference) > 0 and both > 0):
        return math.nan
    scale = both / difference ** 2
    logs = max(2, math.ceil(scale * (special.ndtri(1.0 - false_chance / 2.0) + special.ndtri(power)) ** 2))
    while logs <= MOST_LOGS:
        ends = special.stdtrit(2 * (logs - 1), (1.0 - false_chance / 2.0, power))
        if logs >= scale * float(ends.sum()) ** 2:
            return float(logs)
        logs += 1
    return math.inf


def log_variance(kg, exposure, logs):
    """Variance of one log's kg over a whole life, as the replicates show it: squared misses for each log.

    A batch of n logs misses by sqrt(n) times one log's miss if its logs go their own ways; where they share a
    fate the misses are larger, and more logs are asked for.
    """
    kg, exposure, logs = (np.asarray(v, dtype=float) for v in (kg, exposure, logs))
    if len(kg) < FEWEST:
        return math.nan
    mean = kg.sum() / exposure.sum()
    return float((logs * (kg / exposure - mean) ** 2).sum() / (len(kg) - 1))


def contrasts(seen: Bearing, begin: Start) -> pd.DataFrame:
    """The table contrasts: the strain on wood that gave most a log against each of the others.

    The best is chosen among the groups with two replicates or more; without such a group, among all.
    """
    found = replicates(seen, begin)
    if len(found) < 2:
        return results.empty("contrasts")
    groups = {}
    for name, mine in found.items():
        mean, variance, free = ratio(mine["kg"], mine["exposure"])
        groups[name] = (mean, variance, free, log_variance(mine["kg"], mine["exposure"], mine["logs"]),
                        len(mine["kg"]), float(mine["logs"].sum()), float(mine["rows"].sum()))
    several = [name for name, found in groups.items() if found[4] >= FEWEST] or list(groups)
    best = max(several, key=lambda name: groups[name][0])
    level = FALSE_CHANCE / (len(groups) * (len(groups) - 1) / 2)
    rows = [_contrast(best, other, groups[best], groups[other], level)
            for other in sorted(groups, key=lambda name: -groups[name][0]) if other != best]
    return pd.DataFrame(rows, columns=list(results.COLUMNS["contrasts"]))


def _contrast(best, other, ours, theirs, level):
    difference, low, high = welch(*ours[:3], *theirs[:3], level)
    needed = logs_needed(difference, ours[3], theirs[3], level)
    return (best, other, ours[0], theirs[0], difference, low, high, ours[5], theirs[5],
            ours[6], theirs[6], float(ours[4]), float(theirs[4]), math.nan if math.isinf(needed) else needed,
            words(best, other, low, high, min(ours[4], theirs[4]), needed))


def words(best, other, low, high, rows, needed):
    """The difference in words: who gives more, or that it cannot be told yet and what would tell."""
    if low > 0:
        return f"{best} gives more than {other}"
    if high < 0:
        return f"{other} gives more than {best}"
    unsure = f"cannot tell yet whether {best} or {other} gives more"
    if rows < FEWEST:
        return f"{unsure}: pick at least {FEWEST} logs of each by themselves"
    if math.isnan(needed):
        return f"{unsure}: no difference or no scatter has shown"
    if math.isinf(needed):
        return f"{unsure}: too close to settle with any likely number of logs"
    return f"{unsure}: about {needed:,.0f} logs of each, picked by themselves, would settle it"

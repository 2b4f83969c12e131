"""Remaining yield: the start, shrinkage, own records, batches of like logs, ranges that keep their word."""

from __future__ import annotations

import datetime as dt
import math
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import expected, tables
from calc import yield_model as model
from calc.farm import roll_up

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))
import bench  # noqa: E402

BEGIN = model.start({})
# A log of tests/yards.py: 3.769911 kg of dry wood (steps in test_farm) x 0.044 = 0.165876 kg in its life.
LIFE_KG = 0.044 * 3.769911


def rolled(rows, lines, as_of=dt.date(2026, 1, 1), names=None):
    frame = yards.logs(*rows)
    book, links = yards.events(list(frame["log"]), *lines)
    return roll_up(
        {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS},
        {"event_links": links},
        yards.SETTINGS,
        as_of,
    )


def group(found, by, name="whole yard"):
    table = found.expected
    return table[(table["by"] == by) & (table["group"] == name)].iloc[0]


def test_shrinkage_of_efron_and_morris_1977():
    # 18 players, 45 at bats each, hits as printed; averages to three decimals. Mean .265, factor .212.
    hits = (18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7)
    averages = np.array([round(h / 45, 3) for h in hits])
    mean = averages.mean()
    assert mean == pytest.approx(0.265, abs=0.0005)
    within = mean * (1 - mean) / 45
    # They shrink by 1 - (k - 3) s2 / S, which is t2 / (t2 + s2) with t2 = S / (k - 3) - s2.
    between = ((averages - mean) ** 2).sum() / (18 - 3) - within
    weight = float(model.own_weight(between, within))
    assert weight == pytest.approx(0.212, abs=0.0005)
    # The first player, .400: .265 + .212 x .135 = .2936, printed .294
    assert mean + weight * (averages[0] - mean) == pytest.approx(0.294, abs=0.0005)


@given(st.floats(0, 100), st.floats(0, 100))
@settings(max_examples=100)
def test_own_weight_lies_between_none_and_all(between, within):
    weight = float(model.own_weight(between, within))
    assert 0 <= weight <= 1
    if between > 0:
        assert model.own_weight(between, within / 2) >= weight


def test_start_is_the_published_figures():
    assert BEGIN.weights == pytest.approx((1 / 6, 1 / 3, 1 / 3, 1 / 6))
    assert BEGIN.lives() == ((3, 0.25), (4, 0.5), (5, 0.25))
    assert model.start({"life_seasons": 1.0}).lives() == ((1, 0.75), (2, 0.25))
    # A flush of 0.25 to 0.5 lb: 0.375 lb, spread 0.125 / 1.28155 = 0.09754 lb;
    # 0.375 + 0.09754^2 / 0.375 = 0.40037 lb
    assert BEGIN.lump_kg == pytest.approx(0.40037 * 0.45359237, rel=1e-4)


def test_spread_of_the_start_puts_the_top_of_the_published_range_at_one_in_ten():
    # Mean 0.044, 0.088 the 90th percentile: ln 2 = 1.28155 s - s^2 / 2
    spread = tables.figure("yield_spread_all").typical
    assert 1.2815516 * spread - spread**2 / 2 == pytest.approx(math.log(2), abs=5e-5)
    assert BEGIN.spread_yard**2 + BEGIN.spread_pair**2 == pytest.approx(spread**2)


def test_shares_of_other_lives_by_hand():
    # Running sum 0, 1/6, 1/2, 5/6, 1 at 0, 1/4, 1/2, 3/4, 1. At 1/3: 1/6 + 1/3 x 1/3 = 5/18; at 2/3: 13/18.
    assert model.life_shares(3, BEGIN.weights) == pytest.approx((5 / 18, 8 / 18, 5 / 18))
    assert model.life_shares(2, BEGIN.weights) == pytest.approx((1 / 2, 1 / 2))
    assert model.life_shares(1, BEGIN.weights) == pytest.approx((1.0,))
    # Four seasons and two beyond at a third each: 6, 12, 12, 6, 2, 2/3 of 116/3
    shares = model.season_shares(4, 6, BEGIN)
    assert shares == pytest.approx(np.array([6, 12, 12, 6, 2, 2 / 3]) * 3 / 116)


@given(st.integers(1, 12))
@settings(max_examples=12)
def test_shares_sum_to_one_however_long_the_life(life):
    assert model.life_shares(life, BEGIN.weights).sum() == pytest.approx(1)
    assert model.season_shares(life, life + 6, BEGIN).sum() == pytest.approx(1)


def test_without_a_record_the_published_start_is_the_answer():
    found = rolled([("A", 10, "2025-03-01")], [], dt.date(2025, 6, 1))
    row = group(found, "yard")
    assert row["start_kg"] == pytest.approx(10 * LIFE_KG, rel=1e-5)
    assert row["expected_kg"] == pytest.approx(row["start_kg"], rel=0.03)  # 1,000 draws of weather and season
    assert row["own_weight"] == pytest.approx(0, abs=1e-9)
    assert row["low_kg"] < row["expected_kg"] < row["high_kg"]
    assert row["log_seasons"] == 0 and row["rows"] == 0


def over_the_lives(left) -> float:
    """Part of a log's life that is left, by hand: the mean over the lives of the start, each with its horizon of 11 seasons."""
    found = 0.0
    for life, chance in ((3, 0.25), (4, 0.5), (5, 0.25)):
        shares = list(model.life_shares(life, BEGIN.weights))
        while len(shares) < 11:
            shares.append(shares[-1] / 3)
        found += chance * left(shares) / sum(shares)
    return found


def test_what_the_start_expects_after_a_season_by_hand():
    # 1 Jan 2027, inoculated in 2025: season 2 begins, 1/365 of it by even days is behind: what is left after season 1, less 1/365 of
    # season 2.
    found = rolled([("A", 1, "2025-03-01")], [], dt.date(2027, 1, 1))
    left = over_the_lives(lambda shares: sum(shares[1:]) - shares[1] / 365)
    assert group(found, "yard")["start_kg"] == pytest.approx(left * LIFE_KG, rel=1e-5)


def test_what_the_start_expects_in_the_middle_of_the_first_season_by_hand():
    # 1 Jul 2026, inoculated in 2025: day 182 of 365 of season 1, so 182/365 of its share is behind. Before the season nothing is.
    found = rolled([("A", 1, "2025-03-01")], [], dt.date(2026, 7, 1))
    left = over_the_lives(lambda shares: sum(shares) - shares[0] * 182 / 365)
    assert group(found, "yard")["start_kg"] == pytest.approx(left * LIFE_KG, rel=1e-5)
    assert found.expected_logs["season"].tolist() == [1]


def test_a_rich_record_is_followed_and_says_so():
    # 40 logs give 0.2 kg each in season 1, 0.4 in season 2: 0.6 kg after half of a life of about 1.2 kg,
    # against 0.083 planned. What is left is near 0.6 kg a log, not 0.083.
    names = [f"A{i}" for i in range(40)]
    lines = [("2025-06-01", "picked", name, 0.2) for name in names]
    lines += [("2026-06-01", "picked", name, 0.4) for name in names]
    found = rolled([(name, 1, "2024-03-01") for name in names], lines, dt.date(2026, 12, 31))
    row = group(found, "yard")
    assert row["own_kg"] == pytest.approx(24.0) and row["own_weight"] > 0.85
    assert 0.3 < row["per_log_kg"] < 0.8 and row["start_kg"] / 40 < 0.09
    assert row["low_kg"] < 40 * 0.5 < row["high_kg"]


def test_a_poor_record_is_followed_too():
    names = [f"A{i}" for i in range(40)]
    lines = [("2025-06-01", "picked", "A0", 0.1), ("2026-06-01", "picked", "A0", 0.1)]
    found = rolled([(name, 1, "2024-03-01") for name in names], lines, dt.date(2026, 12, 31))
    row = group(found, "yard")
    assert row["expected_kg"] < 0.5 * row["start_kg"]  # 39 logs without a weight count as nothing picked


def test_a_year_without_any_weight_is_not_a_year_of_nothing():
    names = [f"A{i}" for i in range(10)]
    rows = [(name, 1, "2022-03-01") for name in names]
    late = [("2025-06-01", "picked", name, 0.1) for name in names]
    found = rolled(rows, late, dt.date(2025, 12, 31))
    # Only 2025 is written down: one season of ten rows.
    assert group(found, "yard")["rows"] == 10
    written = [("2023-06-01", "picked", "A0", 0.001)]
    assert (
        group(rolled(rows, written + late, dt.date(2025, 12, 31)), "yard")["expected_kg"]
        < group(found, "yard")["expected_kg"]
    )


def test_rows_add_up_to_groups_and_groups_to_the_yard():
    frames, links, as_of = yards.six_logs()
    found = roll_up(frames, links, yards.SETTINGS, as_of)
    sums = found.expected.groupby("by")[
        ["logs", "own_kg", "start_kg", "expected_kg", "this_year_kg", "next_year_kg"]
    ].sum()
    for by in sums.index:
        assert sums.loc[by].tolist() == pytest.approx(sums.loc["yard"].tolist())
    assert found.expected_logs["expected_kg"].sum() == pytest.approx(sums.loc["yard", "expected_kg"])
    assert found.expected_logs["log"].tolist() == ["A1", "A2", "A3", "G", "B1"]  # C waits


def test_a_gone_log_gives_nothing_more():
    frames, links, as_of = yards.six_logs()
    table = roll_up(frames, links, yards.SETTINGS, as_of).expected_logs.set_index("log")
    assert table.loc["A3", ["logs", "expected_kg", "low_kg", "high_kg"]].tolist() == [0, 0, 0, 0]
    assert math.isnan(table.loc["A3", "per_log_kg"])


def test_like_logs_narrow_their_own_scatter_but_not_what_they_share():
    def relative(count):
        found = rolled([("A", count, "2024-03-01")], [("2025-06-01", "picked", "A", 0.03 * count)])
        row = found.expected_logs.iloc[0]
        return (row["high_kg"] - row["low_kg"]) / row["expected_kg"]

    few, many, crowd = relative(2), relative(200), relative(20000)
    assert many < few
    # Yard, pair, batch, weather: from 200 logs to 20,000 next to nothing is gained.
    assert crowd == pytest.approx(many, rel=0.1) and crowd > 0.5


def test_one_row_of_many_logs_is_as_many_rows_of_one():
    names = [f"A{i}" for i in range(20)]
    one = rolled([("A", 20, "2024-03-01")], [("2025-06-01", "picked", "A", 3.0)])
    many = rolled(
        [(name, 1, "2024-03-01") for name in names], [("2025-06-01", "picked", " ".join(names), 3.0)]
    )
    for name in ("logs", "own_kg", "start_kg", "expected_kg", "low_kg", "high_kg", "own_weight"):
        assert group(one, "yard")[name] == pytest.approx(group(many, "yard")[name], rel=1e-6), name


def test_a_pick_of_several_logs_tells_them_not_apart_and_single_picks_do():
    rows = [("A1", 1, "2024-03-01"), ("A2", 1, "2024-03-01")]
    together = rolled(rows, [("2025-06-01", "picked", "A1 A2", 1.0)]).expected_logs
    assert together["told_apart"].tolist() == ["no", "no"]
    assert together["expected_kg"].iloc[0] == pytest.approx(together["expected_kg"].iloc[1])
    singly = rolled(
        rows, [("2025-06-01", "picked", "A1", 0.9), ("2025-06-02", "picked", "A2", 0.1)]
    ).expected_logs
    assert singly["told_apart"].tolist() == ["yes", "yes"]
    assert singly["expected_kg"].iloc[0] > singly["expected_kg"].iloc[1]
    # The whole pair stands as before: 1 kg from two logs, however it was written down.
    assert singly["expected_kg"].sum() == pytest.approx(together["expected_kg"].sum(), rel=1e-6)
    assert (singly["own_weight"] > together["own_weight"]).all()


def test_factor_of_a_row_within_its_batch_by_hand():
    # Two logs picked 0.9 and 0.1 kg where the fit gives each `due`: weight v / (v + lump / due), v = 0.25 x
    # (1 - 1/2) = 0.125; factors 1 + w (gave / due - 1), then evened so that their mean is 1.
    rows = [("A1", 1, "2024-03-01"), ("A2", 1, "2024-03-01")]
    found = rolled(
        rows,
        [("2025-06-01", "picked", "A1", 0.9), ("2025-06-02", "picked", "A2", 0.1)],
        dt.date(2025, 12, 31),
    )
    frame = yards.logs(*rows)
    book, links = yards.events(
        ["A1", "A2"], ("2025-06-01", "picked", "A1", 0.9), ("2025-06-02", "picked", "A2", 0.1)
    )
    left = _left(
        {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS},
        links,
        dt.date(2025, 12, 31),
    )
    due = expected.fitted_kg(left.begin, left.seen, left.record, left.fits)
    assert due[0] == pytest.approx(due[1])
    weight = 0.125 / (0.125 + BEGIN.lump_kg / due[0])
    raw = np.array([1 + weight * (0.9 / due[0] - 1), 1 + weight * (0.1 / due[0] - 1)])
    assert left.factor == pytest.approx(raw / raw.mean())
    assert left.spread == pytest.approx([0.125 * (1 - weight)] * 2)
    rows = found.expected_logs["expected_kg"]
    assert rows.iloc[0] / rows.iloc[1] == pytest.approx(raw[0] / raw[1])


def _left(frames, links, as_of=dt.date(2026, 1, 1)):
    from calc import rollup_yield
    from calc.sizes import sizes
    from calc.yard import build, diary

    day = int(np.datetime64(as_of, "D").astype(np.int64))
    book = diary(frames, {"event_links": links}, day)
    yard = build(frames, book)
    known = sizes(frames["logs"], frames, yards.SETTINGS)
    found = rollup_yield.parts(book, yard)
    each = rollup_yield.each_log_yield(found, book, yard, known).assign(
        dry_wood_kg=known["dry_wood_kg"], wood=frames["logs"]["wood"], strain=frames["logs"]["strain"]
    )
    return expected.remaining(found, yard, each, yards.SETTINGS)


def test_picks_over_several_batches_lift_all_of_them_alike():
    rows = [("W", 5, "2024-03-01"), ("C", 5, "2024-03-01", {"strain": "cold"})]
    mixed = rolled(rows, [("2025-06-01", "picked", "W C", 4.0)])
    wide, cold = (group(mixed, "strain", name)["expected_kg"] for name in ("wide", "cold"))
    assert wide == pytest.approx(cold, rel=0.1)  # apart from draws
    apart = rolled(rows, [("2025-06-01", "picked", "W", 3.9), ("2025-06-01", "picked", "C", 0.1)])
    wide, cold = (group(apart, "strain", name)["expected_kg"] for name in ("wide", "cold"))
    assert wide > 1.5 * cold


def test_a_good_strain_lifts_its_neighbours_through_the_yard():
    rows = [("W", 20, "2024-03-01"), ("C", 20, "2025-03-01", {"strain": "cold"})]
    poor = group(rolled(rows, [("2025-06-01", "picked", "W", 0.5)]), "strain", "cold")
    rich = group(rolled(rows, [("2025-06-01", "picked", "W", 8.0)]), "strain", "cold")
    assert rich["expected_kg"] > 2 * poor["expected_kg"]
    assert (
        0
        < rich["own_weight"]
        < group(rolled(rows, [("2025-06-01", "picked", "W", 8.0)]), "strain", "wide")["own_weight"]
    )


@given(st.lists(st.floats(0.0, 3.0), min_size=2, max_size=6), st.floats(0.1, 2.0))
@settings(max_examples=15, deadline=None)
def test_more_picked_never_means_less_expected(amounts, more):
    def total(extra):
        record = _record(np.array(amounts) + extra)
        return np.exp(_mean_log(record))

    assert total(more) > total(0.0)


def _record(kilos):
    """One batch of ten logs, one total a season, the last one finished."""
    seasons = np.arange(1, len(kilos) + 1)
    life = np.full(len(kilos), 10 * 0.5)
    return model.Record(
        np.zeros(1, dtype=int),
        np.array([10.0]),
        np.arange(len(kilos)),
        np.zeros(len(kilos), dtype=int),
        seasons,
        life,
        np.asarray(kilos, dtype=float),
        len(kilos) - seasons,
        np.array([len(kilos)]),
        1.0,
        np.array([5.0]),
    )


def _mean_log(record):
    found = model.fits(record, BEGIN)
    at = model.layout(record)
    return sum(f.chance * (f.mode[0] + f.mode[at.pair(0)] + f.mode[at.batch(0)]) for f in found)


def test_the_mode_is_where_the_slope_is_nothing():
    # One total of 3 kg: with every prior variance known the gain of the log factor is, at the mode,
    # r (n - m) / (m + r) = (theta - mean) / variance, the same for yard, weather, pair and batch.
    record = _record([3.0])
    fit = model.fits(record, BEGIN)[1]
    before = model.variances(record, BEGIN, model.layout(record))
    mu = fit.planned[0] * math.exp(fit.mode.sum()) / BEGIN.lump_kg
    size, count = 1 / BEGIN.spread_season**2, 3.0 / BEGIN.lump_kg
    assert (fit.mode + before / 2) / before == pytest.approx(
        [size * (count - mu) / (mu + size)] * 4, rel=1e-6
    )


@pytest.mark.filterwarnings("error")
def test_a_record_typed_a_thousand_times_too_large_is_still_fitted():
    # Grams for kilograms: the first whole step would lead beyond any number, and nothing warns of it. The slope at the mode is nothing
    # all the same, as above: r (n - m) / (m + r) = (theta - mean) / variance.
    record = _record([3000.0])
    before = model.variances(record, BEGIN, model.layout(record))
    for fit in model.fits(record, BEGIN):
        mu = fit.planned[0] * math.exp(fit.mode.sum()) / BEGIN.lump_kg
        size, count = 1 / BEGIN.spread_season**2, 3000.0 / BEGIN.lump_kg
        assert (fit.mode + before / 2) / before == pytest.approx([size * (count - mu) / (mu + size)] * 4, rel=1e-5)


def _two_batches(kilos, obs, passed):
    """Two batches of ten like logs in their first season; kilos: own totals of this year; obs: batch of each."""
    count, at = len(kilos), np.array(obs, dtype=int)
    return model.Record(np.zeros(2, dtype=int), np.full(2, 10.0), np.arange(count), at, np.ones(count, dtype=int),
                        np.full(count, 5.0 * passed), np.array(kilos, dtype=float), np.zeros(count, dtype=int), np.ones(2, dtype=int), passed,
                        np.full(2, 5.0))


def test_the_year_after_is_drawn_around_the_start():
    # Nothing recorded: the means of weather, season and lasting factors are 1, so season 2 gives its share of each life, weighed by
    # the lives' chances. 20,000 draws of a spread of about 0.5 (weather 0.3, season 0.2, with the lasting factor's) are off by 0.004.
    record = _two_batches([], [], 0.5)
    draws = model.draw(record, BEGIN, model.fits(record, BEGIN), 20000)
    share = sum(chance * model.season_shares(life, BEGIN.horizon, BEGIN)[1] for life, chance in BEGIN.lives())
    assert draws.next_year.mean(axis=0) == pytest.approx([share] * 2, rel=0.015)


def test_the_season_of_a_batch_follows_its_own_weight_alone():
    # The season's factor is a gamma of mean 1 and shape 1 / 0.2^2 = 25. The second batch gave three times what was planned of it by
    # now: shape 25 + kilos / lump over rate 25 + planned / lump. The first has no total of its own and stays at a mean of 1.
    planned = 2.5 * model.season_shares(4, BEGIN.horizon, BEGIN)[0]
    record = _two_batches([3 * planned], [1], 0.5)
    fit = model.fits(record, BEGIN)[1]
    assert fit.life == 4 and fit.planned == pytest.approx([planned])
    factor = model._season_now(record, BEGIN, fit, np.ones((20000, 2)), np.random.default_rng(1))
    of_second = (25 + 3 * planned / BEGIN.lump_kg) / (25 + planned / BEGIN.lump_kg)
    assert of_second > 1.1 and factor.mean(axis=0) == pytest.approx([1.0, of_second], abs=0.006)  # 0.2 / sqrt(20000) = 0.0014


def test_fit_against_the_exact_answer_by_summing_over_a_grid():
    # One batch, one total: all factors act through their sum, normal before with the variances' sum. The
    # exact mean log level is a sum over a fine grid.
    record = _record([3.0])
    before = model.variances(record, BEGIN, model.layout(record))
    grid = np.linspace(-5, 5, 20001)
    fit = model.fits(record, BEGIN)[1]
    mu = fit.planned[0] * np.exp(grid) / BEGIN.lump_kg
    size, count = 1 / BEGIN.spread_season**2, 3.0 / BEGIN.lump_kg
    log_height = (
        count * np.log(mu)
        - (count + size) * np.log(mu + size)
        - (grid + before.sum() / 2) ** 2 / 2 / before.sum()
    )
    weight = np.exp(log_height - log_height.max())
    exact = (weight * grid).sum() / weight.sum()
    spread = math.sqrt((weight * (grid - exact) ** 2).sum() / weight.sum())
    cover = np.linalg.inv(fit.lower @ fit.lower.T)
    assert fit.mode.sum() == pytest.approx(exact, abs=0.1 * spread)
    assert math.sqrt(cover.sum()) == pytest.approx(spread, rel=0.05)


def test_life_is_learned_from_the_shape():
    # Much in season 1, little in 4: a life of three. Little in 1, much in 4 and 5: a life of five.
    short = {f.life: f.chance for f in model.fits(_record([5.6, 8.9, 5.6, 1.0]), BEGIN)}
    long = {f.life: f.chance for f in model.fits(_record([2.0, 4.5, 5.5, 5.0, 3.0]), BEGIN)}
    assert short[3] > long[3] and long[5] > short[5]


@given(st.floats(0.0, 50.0), st.floats(0.0, 2.0))
@settings(max_examples=60, deadline=None)
def test_range_of_a_row_holds_together(mean, spread):
    low, high = expected.flush_range(np.array([mean]), np.array([spread]), BEGIN)
    assert 0 <= low[0] <= high[0] and math.isfinite(high[0])
    if mean > 5 and spread < 0.2:
        assert low[0] < mean < high[0]


@pytest.mark.parametrize("mean, spread", [(0.2, 0.5), (0.6, 0.3), (3.0, 0.4), (30.0, 0.1)])
def test_range_of_a_row_against_flushes_drawn_one_by_one(mean, spread):
    # Gamma levels with that relative variance, then flushes. One in ten each side, to 4 standard errors
    # of 20,000 draws (0.0085) and 0.015 for the gamma in place of the mixture.
    random = np.random.default_rng(7)
    level = mean * random.gamma(1 / spread, spread, 20000)
    flushes = random.poisson(level / BEGIN.flush_kg)
    shape = 1 / BEGIN.flush_spread**2
    kilos = np.where(flushes > 0, random.gamma(np.maximum(flushes, 1) * shape, BEGIN.flush_kg / shape), 0)
    low, high = expected.flush_range(np.array([mean]), np.array([spread]), BEGIN)
    assert np.mean(kilos > high[0]) == pytest.approx(0.1, abs=0.0235)
    if low[0] > 0:
        assert np.mean(kilos < low[0]) == pytest.approx(0.1, abs=0.0235)
    else:
        assert np.mean(kilos == 0) > 0.08


def test_the_80_percent_range_keeps_its_word():
    # 250 yards drawn from the stated start by bench.simulate, log by log and flush by flush. Standard error
    # sqrt(0.8 x 0.2 / 250) = 0.025; three of them. A range a third too narrow covers about 0.6 and fails.
    shares = bench.covered(250, seed=11, draws=500)
    assert shares["yard"][1] == pytest.approx(0.8, abs=0.075)
    below, _, above = shares["yard"]
    assert below == pytest.approx(0.1, abs=0.057) and above == pytest.approx(0.1, abs=0.057)


def test_three_years_of_records_bring_an_unlike_yard_home():
    # A yard three times the start: the middle miss after three years is a good deal less than before any.
    random = np.random.default_rng(4)

    def miss(years):
        off = []
        for _ in range(25):
            truth = bench.simulate(
                BEGIN, random, years=years, yard=3.0, pairs=2, logs=(24, 24), passed=1.0, cohorts=False
            )
            _, _, mean, came = bench.outcome(truth, BEGIN, 200)["yard"]
            off.append(abs(math.log(mean / came)))
        return float(np.median(off))

    assert miss(2) < 0.6 * miss(0)


def test_a_yard_of_strange_names_is_still_answered():
    # 260 strains of one log each: beyond the 200 most numerous they stand together, and all add up.
    rows = [(f"A{i}", 1, "2024-03-01", {"strain": f"s{i}"}) for i in range(260)]
    found = rolled(rows, [("2025-06-01", "picked", f"A{i}", 0.1) for i in range(0, 260, 3)])
    assert len(found.expected[found.expected["by"] == "strain"]) == 260
    assert found.expected_logs["expected_kg"].sum() == pytest.approx(group(found, "yard")["expected_kg"])


def test_unknown_size_takes_the_mean_of_the_others_and_the_usual_log():
    found = rolled(
        [("A1", 1, "2025-03-01"), ("A2", 1, "2025-03-01", {"wood": "yew"})], [], dt.date(2025, 6, 1)
    )
    assert found.expected_logs["start_kg"].tolist() == pytest.approx([LIFE_KG] * 2, rel=1e-5)
    found = rolled([("A2", 1, "2025-03-01", {"wood": "yew"})], [], dt.date(2025, 6, 1))
    # 13.2 lb x 0.45359237 x 0.044
    assert found.expected_logs["start_kg"].tolist() == pytest.approx([13.2 * 0.45359237 * 0.044])


def test_the_same_yard_gives_the_same_numbers():
    frames, links, as_of = yards.six_logs()
    first, second = (roll_up(frames, links, yards.SETTINGS, as_of) for _ in range(2))
    pd.testing.assert_frame_equal(first.expected, second.expected)
    pd.testing.assert_frame_equal(first.expected_logs, second.expected_logs)

"""Which strain on wood gives more: Welch's range, logs that settle it, no more false claims than said."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calc import contrasts, results
from calc.farm import roll_up

# Hours of sleep gained under two drugs (Student 1908), as in the data set `sleep` of R.
DRUG_1 = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
DRUG_2 = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])


def rolled(rows, lines, as_of=dt.date(2025, 12, 31)):
    frame = yards.logs(*rows)
    book, links = yards.events(list(frame["log"]), *lines)
    frames = {"logs": frame, "events": book, "woods": yards.WOODS, "forms": yards.FORMS}
    return roll_up(frames, {"event_links": links}, yards.SETTINGS, as_of).contrasts


def two_strains(good, poor, **more):
    """One log of each weight, picked by itself in its first season."""
    rows, lines = [], []
    for strain, weights in (("good", good), ("poor", poor)):
        for at, weight in enumerate(weights):
            rows.append((f"{strain}{at}", 1, "2024-03-01", {"strain": strain}))
            lines.append(("2025-06-01", "picked", f"{strain}{at}", weight))
    return rolled(rows, lines, **more)


def test_welch_as_printed_by_r():
    # t.test(extra ~ group, data = sleep): means 0.75 and 2.33, 95 % from -3.3654832 to 0.2054832
    one = np.ones(10)
    first, second = contrasts.ratio(DRUG_1, one), contrasts.ratio(DRUG_2, one)
    assert (first[0], second[0]) == pytest.approx((0.75, 2.33), abs=0.005)
    _, low, high = contrasts.welch(*first, *second, 0.05)
    assert (low, high) == pytest.approx((-3.3654832, 0.2054832), abs=5e-8)


def test_ratio_by_hand():
    # kg 1, 2, 6 on exposure 1, 1, 2: 9/4 = 2.25; misses -1.25, -0.25, 1.5; squares 1.5625 + 0.0625 + 2.25 =
    # 3.875; 3/2 x 3.875 / 16 = 0.36328125; degrees 16/6 - 1 = 5/3.
    assert contrasts.ratio([1, 2, 6], [1, 1, 2]) == pytest.approx((2.25, 0.36328125, 5 / 3))
    mean, variance, free = contrasts.ratio([3.0], [2.0])
    assert mean == 1.5 and math.isnan(variance) and math.isnan(free)


@given(st.lists(st.floats(0, 10), min_size=2, max_size=12), st.floats(0.1, 5))
@settings(max_examples=60)
def test_ratio_of_equal_exposures_is_the_mean_and_its_variance(kilos, exposure):
    mean, variance, free = contrasts.ratio(np.array(kilos), np.full(len(kilos), exposure))
    assert mean == pytest.approx(np.mean(kilos) / exposure, abs=1e-9)
    assert variance == pytest.approx(np.var(kilos, ddof=1) / len(kilos) / exposure**2, abs=1e-9)
    assert free == pytest.approx(len(kilos) - 1)


@given(st.lists(st.floats(0, 10), min_size=3, max_size=9), st.lists(st.floats(0, 10), min_size=3, max_size=9))
@settings(max_examples=40)
def test_welch_against_scipy(ours, theirs):
    ours, theirs = (
        np.array(ours) + 1e-3 * np.arange(len(ours)),
        np.array(theirs) + 1e-3 * np.arange(len(theirs)),
    )
    first = contrasts.ratio(ours, np.ones(len(ours)))
    second = contrasts.ratio(theirs, np.ones(len(theirs)))
    _, low, high = contrasts.welch(*first, *second, 0.2)
    outside = stats.ttest_ind(ours, theirs, equal_var=False).confidence_interval(0.8)
    assert (low, high) == pytest.approx((outside.low, outside.high), rel=1e-6, abs=1e-9)


def test_logs_needed_as_in_the_documentation_of_r():
    # power.t.test(power = .90, delta = 1), sd 1, two-sided 0.05: n = 22.02110, so 23 whole logs
    assert contrasts.logs_needed(1.0, 1.0, 1.0, 0.05, 0.9) == 23


def test_logs_needed_grows_with_scatter_and_shrinks_with_the_difference():
    # By hand for many logs: (0.8416 + 1.2816)^2 x 2 / 0.1^2 = 4.5079 x 200 = 901.6, and t a little above z
    assert contrasts.logs_needed(0.1, 1.0, 1.0, 0.2) == pytest.approx(902, abs=1)
    assert contrasts.logs_needed(0.2, 1.0, 1.0, 0.2) < contrasts.logs_needed(0.1, 1.0, 1.0, 0.2)
    assert contrasts.logs_needed(0.1, 2.0, 1.0, 0.2) > contrasts.logs_needed(0.1, 1.0, 1.0, 0.2)
    assert math.isnan(contrasts.logs_needed(0.0, 1.0, 1.0, 0.2))
    assert math.isnan(contrasts.logs_needed(1.0, 0.0, 0.0, 0.2))
    assert math.isinf(contrasts.logs_needed(1e-4, 1.0, 1.0, 0.2))


def test_logs_asked_for_settle_it_four_times_in_five():
    # Two strains 0.3 kg apart, scatter 0.4: with the logs named, the range leaves 0 out in 0.8 of trials
    # (standard error of 1,500 trials 0.01; three of them).
    needed = int(contrasts.logs_needed(0.3, 0.16, 0.16, 0.2))
    random, hits = np.random.default_rng(3), 0
    for _ in range(1500):
        ours, theirs = random.normal(1.3, 0.4, needed), random.normal(1.0, 0.4, needed)
        one = np.ones(needed)
        _, low, _ = contrasts.welch(*contrasts.ratio(ours, one), *contrasts.ratio(theirs, one), 0.2)
        hits += low > 0
    assert hits / 1500 == pytest.approx(0.8, abs=0.03)


def test_a_clear_difference_in_words():
    found = two_strains([0.5, 0.6, 0.55, 0.45], [0.1, 0.12, 0.08, 0.1])
    assert found["words"].tolist() == ["good on white oak gives more than poor on white oak"]
    row = found.iloc[0]
    # First season of four: 1/6 of a life, so 0.525 kg a log is 3.15 kg over a life, and 0.1 kg is 0.6 kg.
    assert row["best_per_log_kg"] == pytest.approx(3.15) and row["other_per_log_kg"] == pytest.approx(0.6)
    assert row["low_kg"] > 0 and (row["best_logs"], row["other_logs"]) == (4, 4)
    assert (row["best_rows"], row["best_totals"]) == (4, 4)


def test_lucky_logs_are_not_a_difference():
    found = two_strains([0.5, 0.1, 0.3, 0.2], [0.1, 0.3, 0.2, 0.25])
    row = found.iloc[0]
    assert row["low_kg"] < 0 < row["high_kg"]
    assert row["words"] == (
        "cannot tell yet whether good on white oak or poor on white oak gives more: about "
        f"{row['logs_needed']:,.0f} logs of each, picked by themselves, would settle it"
    )


def test_logs_of_two_ages_are_made_equal():
    # Old logs have borne seasons 1 and 2 (half a life), young ones season 1 (a sixth). At one pace of 1.2 kg
    # a life: 0.2 kg in season 1 and 0.4 in season 2.
    rows = [(f"o{i}", 1, "2023-03-01", {"strain": "old"}) for i in range(3)]
    rows += [(f"y{i}", 1, "2024-03-01", {"strain": "young"}) for i in range(3)]
    lines = [("2024-06-01", "picked", f"o{i}", 0.2) for i in range(3)]
    lines += [("2025-06-01", "picked", f"o{i}", 0.4) for i in range(3)]
    lines += [("2025-06-01", "picked", f"y{i}", 0.2) for i in range(3)]
    row = rolled(rows, lines).iloc[0]
    assert row["best_per_log_kg"] == pytest.approx(1.2) and row["other_per_log_kg"] == pytest.approx(1.2)
    assert row["difference_kg"] == pytest.approx(0, abs=1e-9)


def test_a_season_nobody_wrote_down_makes_no_strain_worse():
    """As above, but the old ones have stood since 2022 and 2023 is not written down: seasons 2 and 3, two thirds of 1.2 kg a life."""
    rows = [(f"o{i}", 1, "2022-03-01", {"strain": "old"}) for i in range(3)] + [(f"y{i}", 1, "2024-03-01", {"strain": "young"}) for i in range(3)]
    lines = [(f"{year}-06-01", "picked", f"o{i}", 0.4) for i in range(3) for year in (2024, 2025)]
    lines += [("2025-06-01", "picked", f"y{i}", 0.2) for i in range(3)]
    row = rolled(rows, lines).iloc[0]
    assert row["best_per_log_kg"] == pytest.approx(1.2) and row["other_per_log_kg"] == pytest.approx(1.2)


def test_a_batch_is_one_total_and_so_are_logs_always_picked_together():
    rows = [("B", 20, "2024-03-01", {"strain": "batch"})]
    rows += [(f"t{i}", 1, "2024-03-01", {"strain": "together"}) for i in range(6)]
    lines = [
        ("2025-06-01", "picked", "B", 4.0),
        ("2025-06-01", "picked", "t0 t1 t2", 0.6),
        ("2025-06-08", "picked", "t3 t4 t5", 0.3),
    ]
    row = rolled(rows, lines).iloc[0]
    assert (row["best"], row["best_totals"], row["best_rows"], row["best_logs"]) == (
        "together on white oak",
        2,
        6,
        6,
    )
    assert (row["other_totals"], row["other_rows"], row["other_logs"]) == (1, 1, 20)
    assert math.isnan(row["low_kg"]) and "pick at least 2 logs of each by themselves" in row["words"]


def test_picks_over_two_strains_do_not_enter():
    rows = [
        (name, 1, "2024-03-01", {"strain": strain})
        for name, strain in (("a1", "a"), ("a2", "a"), ("b1", "b"), ("b2", "b"))
    ]
    assert not len(
        rolled(rows, [("2025-06-01", "picked", "a1 b1", 1.0), ("2025-06-02", "picked", "a2 b2", 1.0)])
    )
    alone = [("2025-06-01", "picked", name, 0.3) for name in ("a1", "a2", "b1", "b2")]
    assert len(rolled(rows, alone)) == 1


def test_the_best_stands_against_each_of_the_rest_nearest_first():
    rows, lines = [], []
    for strain, level in (("a", 0.3), ("b", 0.5), ("c", 0.1)):
        for i, off in enumerate((-0.02, 0.0, 0.02)):
            rows.append((f"{strain}{i}", 1, "2024-03-01", {"strain": strain}))
            lines.append(("2025-06-01", "picked", f"{strain}{i}", level + off))
    found = rolled(rows, lines)
    assert found["best"].unique().tolist() == ["b on white oak"]
    assert found["other"].tolist() == ["a on white oak", "c on white oak"]


def test_one_group_has_nothing_to_be_set_against():
    found = rolled([("A", 1, "2024-03-01")], [("2025-06-01", "picked", "A", 1.0)])
    assert list(found.columns) == list(results.COLUMNS["contrasts"]) and not len(found)


def test_no_more_false_claims_than_said():
    # Five strains that give the same, eight logs each, gamma scatter: a "gives more" in at most 2 of 10 yards
    # (standard error of 400 yards 0.02). Judging each pair at 0.2 by itself would claim about half the time.
    random, wrong, careless = np.random.default_rng(5), 0, 0
    for _ in range(400):
        groups = [contrasts.ratio(random.gamma(4, 0.1, 8), np.ones(8)) for _ in range(5)]
        groups.sort(key=lambda group: -group[0])
        for level in (contrasts.FALSE_CHANCE / 10, contrasts.FALSE_CHANCE):
            claimed = any(contrasts.welch(*groups[0], *other, level)[1] > 0 for other in groups[1:])
            wrong += claimed and level < 0.2
            careless += claimed and level == 0.2
    assert wrong / 400 <= 0.2 + 0.04
    assert careless / 400 > 0.35

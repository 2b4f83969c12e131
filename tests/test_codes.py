"""Columns as numbers, against the libraries that do the same in another way: numpy, pandas, scipy."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import linalg, sparse
from scipy.sparse.csgraph import connected_components

from calc import codes, rollup_yield, yard
from calc import yield_model as model

FAR = 10 ** 12  # beyond what is told apart by counting
small = st.lists(st.integers(-5, 40), max_size=30)


@settings(deadline=None)
@given(small | st.lists(st.integers(-FAR, FAR), max_size=30))
def test_distinct_is_what_numpy_finds(numbers):
    numbers = np.array(numbers, dtype=np.int64)
    known, place = np.unique(numbers, return_inverse=True)
    found = codes.distinct(numbers)
    assert found[0].tolist() == known.tolist() and found[1].tolist() == place.tolist()


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 3)), max_size=30))
def test_several_is_what_pandas_counts(pairs):
    group, value = (np.array([pair[i] for pair in pairs], dtype=np.int64) for i in (0, 1))
    wanted = pd.Series(value).groupby(group).transform("nunique").to_numpy() > 1 if len(pairs) else np.zeros(0)
    assert codes.several(group, value).tolist() == wanted.tolist()


@settings(deadline=None)
@given(st.integers(1, 25), st.lists(st.tuples(st.integers(0, 24), st.integers(0, 24)), max_size=40))
def test_what_hangs_together_is_what_scipy_connects(size, edges):
    edges = [edge for edge in edges if max(edge) < size]
    one, other = (np.array([edge[i] for edge in edges], dtype=np.int64) for i in (0, 1))
    graph = sparse.coo_matrix((np.ones(len(edges)), (one, other)), shape=(size, size))
    assert codes.together(size, one, other).tolist() == connected_components(graph, directed=False)[1].tolist()


def test_a_long_chain_hangs_together():
    order = np.random.default_rng(1).permutation(5000)
    assert set(codes.together(5000, order[:-1], order[1:]).tolist()) == {0}


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from((0.1, 0.2)), st.sampled_from((1.0, 2.0, 3.0)), st.sampled_from((0.0, 5.5))), max_size=20))
def test_rows_alike_are_those_numpy_finds_alike(rows):
    table = np.array(rows, dtype=float).reshape(len(rows), 3)
    one, kind = codes.alike(*table.T)
    assert len(one) == len({tuple(row) for row in rows})
    assert np.array_equal(table[one][kind], table)


def test_equal_names_are_one_group_and_stand_sorted():
    found = codes.grouping(np.array([2, 0, 1, 2, -1]), ["oak", "elm", "elm", "oak"])
    assert found.known.tolist() == ["elm", "oak"] and found.names().tolist() == ["elm", "oak", "elm", "elm", "oak"]
    assert found.total(np.array([1.0, 2.0, 4.0, 8.0, 16.0])).tolist() == [13.0, 18.0]
    none = codes.grouping(np.zeros(0, dtype=np.int64), [])
    assert len(none) == 0 and none.total(np.zeros(0)).dtype == float


def test_a_column_of_texts_is_that_of_the_texts_row_by_row():
    column = codes.text(["oak", "", "elm"], np.array([2, 0, 0, -1]))
    assert pd.DataFrame({"wood": column}).equals(pd.DataFrame({"wood": np.array(["elm", "oak", "oak", "elm"], dtype=object)}))
    assert len(codes.text([], np.zeros(0, dtype=np.int64))) == 0


@settings(deadline=None)
@given(st.lists(st.sampled_from(["Oak", " oak", "oak ", "", "  ", None, "elm", 7, 7.5, float("nan"), "ÖRE"]), max_size=12))
def test_texts_are_read_alike_by_number_and_by_row(cells):
    frame = pd.DataFrame({"wood": pd.Series(cells, dtype=object)})
    blank = [cell is None or cell != cell for cell in cells]
    texts = ["" if none else str(cell).strip() for cell, none in zip(cells, blank, strict=True)]
    assert yard.as_typed(frame, "wood").tolist() == texts
    assert yard.words(frame, "wood").tolist() == [text.casefold() for text in texts]
    code, known = yard.text_codes(frame, "wood")
    assert known[code].tolist() == texts and set(known[code]) == set(known)
    code, known = yard.word_codes(frame, "wood")
    assert known[code].tolist() == [text.casefold() for text in texts]
    assert yard.yes(pd.DataFrame({"x": [True, False]}), "x").tolist() == [True, False]


@settings(deadline=None, max_examples=20)
@given(st.lists(st.integers(-40000, 60000), min_size=1, max_size=20), st.booleans())
def test_calendar_years_and_months_are_those_of_the_standard_library(days, many):
    days = np.array(days * (200 if many else 1), dtype=np.int64)
    dates = [dt.date(1970, 1, 1) + dt.timedelta(days=int(day)) for day in days]
    assert yard.years_of(days).tolist() == [date.year for date in dates]
    assert yard.by_calendar(days, "M").tolist() == [12 * (date.year - 1970) + date.month - 1 for date in dates]


def test_the_ends_of_a_group_are_the_quantiles_of_pandas():
    """Marketable weight a log: 10th and 90th percentile as pandas has them (linear between two logs)."""
    random = np.random.default_rng(3)
    logs, group = 400, random.integers(0, 9, 400)
    kilos = np.round(random.gamma(1.0, 0.3, logs), 3)
    each = pd.DataFrame({"count": 1, "inoculated": pd.Timestamp("2024-03-01"), "picked_kg": kilos, "marketable_kg": kilos, "soaks": 0})
    nothing = np.zeros(0, dtype=np.int64)
    spread = rollup_yield._Spread(each, rollup_yield.Parts(nothing, nothing, nothing, np.zeros(0), np.zeros(0), []))
    found = spread.ends(codes.grouping(group, [str(i) for i in range(9)]))
    wanted = each["marketable_kg"].groupby(group).quantile([0.1, 0.9]).unstack()
    assert found[0].tolist() == wanted[0.1].tolist() and found[1].tolist() == wanted[0.9].tolist()


def test_lines_behind_a_group_are_counted_once():
    """Line 0 names logs 0 and 1, line 1 log 1, line 2 logs 0 and 2: by hand, two lines behind logs 0 and 1, one behind log 2."""
    line, log = np.array([0, 0, 1, 2, 2]), np.array([0, 1, 1, 0, 2])
    book = yard.Diary(np.array(["picked"] * 3, dtype=object), np.zeros(3, dtype=np.int64), np.ones(3), np.zeros(3), np.zeros(3, dtype=bool),
                      line, log, pd.DataFrame(), 10)
    behind = rollup_yield._Behind(book.lines("picked"), book, 3)
    assert behind.lines(codes.grouping(np.array([0, 0, 1]), ["oak", "elm"])).tolist() == [1.0, 3.0]


def test_the_root_is_solved_as_scipy_solves_a_triangle():
    random = np.random.default_rng(5)
    half = random.normal(size=(30, 30))
    lower = np.linalg.cholesky(half @ half.T + np.eye(30))
    sides = random.normal(size=(30, 4))
    assert model._root_of(lower, sides) == pytest.approx(linalg.solve_triangular(lower, sides, lower=True), rel=1e-9)
    assert np.linalg.solve(lower.T, sides) == pytest.approx(linalg.solve_triangular(lower, sides, lower=True, trans="T"), rel=1e-9)


def test_a_fit_of_many_batches_is_the_same_as_that_of_few(monkeypatch):
    """Beyond DENSE cells the slopes are held as a sparse matrix; the same record gives the same fit."""
    random = np.random.default_rng(7)
    batches, seasons = 6, 3
    batch, season = np.repeat(np.arange(batches), seasons), np.tile(np.arange(1, seasons + 1), batches)
    obs = np.concatenate((np.arange(len(batch) - 1), [0]))  # the last stands with the first in one total
    record = model.Record(np.arange(batches) % 3, np.full(batches, 20.0), obs, batch, season, random.uniform(5.0, 40.0, len(obs)),
                          random.uniform(1.0, 30.0, len(obs) - 1), 3 - season[:-1], np.full(batches, 3), 0.5, np.full(batches, 10.0))
    begin = model.start({})
    few = model.fits(record, begin)
    monkeypatch.setattr(model, "DENSE", 0)
    many = model.fits(record, begin)
    for one, other in zip(few, many, strict=True):
        assert one.mode == pytest.approx(other.mode, rel=1e-9, abs=1e-9) and one.chance == pytest.approx(other.chance, rel=1e-9)

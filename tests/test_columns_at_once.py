"""Whole columns at once against the plain way: names in order, texts and days as numbers, rows alike, lines of a rota by kinds of rows.

The plain way stands beside each: the one-by-one reading in calc.log_names, numpy.unique, str.strip and str.casefold, pandas' groupby.
"""
from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import log_names, season_weeks, text_columns
from calc.codes import alike, distinct, text
from calc.yard import NO_DAY, Diary, as_typed, text_codes, words

LETTERS = st.text(alphabet="AaB-_ ./", max_size=11)
NUMBERS = st.one_of(st.just(""), st.integers(0, 12).map(str), st.integers(0, 10 ** 18 - 1).map(str), st.integers(0, 20).map(lambda n: f"{n:03}"))
NAMES = st.lists(st.tuples(LETTERS, NUMBERS).map("".join), min_size=1, max_size=25)
ODD = st.lists(st.one_of(st.tuples(LETTERS, NUMBERS).map("".join), st.text(max_size=4), st.just("9" * 22), st.just("A1\n"), st.just("A\x00")),
               min_size=1, max_size=12)
PLACES = ("North", " north", "North ", "N  S", "", " ", "é", "Ünder")
CELLS = st.lists(st.one_of(st.none(), st.sampled_from(PLACES), st.text(max_size=5)), max_size=15)
WHOLE = st.lists(st.one_of(st.integers(-3, 9), st.integers(18000, 22000), st.sampled_from((NO_DAY, -NO_DAY))), max_size=30)


def plain(names, places=slice(None)):
    """Spans by the one-by-one order, however many names there are."""
    before, log_names.FEW = log_names.FEW, 10 ** 9
    try:
        return list(log_names.Ranked(names).spans(places))
    finally:
        log_names.FEW = before


@pytest.fixture
def at_once(monkeypatch):
    monkeypatch.setattr(log_names, "FEW", 0)


@settings(max_examples=300, deadline=None)
@given(NAMES)
def test_names_by_their_bytes_stand_in_the_same_order(names):
    order, bare, steps = log_names._by_bytes(names)
    one = log_names._one_by_one(names)
    assert [names[i] for i in order] == [names[i] for i in one[0]]
    assert bare.tolist() == one[1].tolist() and steps.tolist() == one[2].tolist()
    assert [names[i] for i in order] == sorted(names, key=log_names._parted)


@settings(max_examples=200, deadline=None)
@given(ODD)
def test_names_that_are_not_plain_are_read_one_by_one(names):
    found = log_names._by_bytes(names)
    one = log_names._one_by_one(names)
    assert found is None or [part.tolist() for part in found] == [part.tolist() for part in one]


def test_many_names_give_the_spans_of_few(at_once):
    names = [f"L{i:04}" for i in range(1, 1000)] + ["North", "7", "07", "L0005", "N-1", "N-2", "N-4"]
    part = np.arange(3, len(names), 7)
    assert list(log_names.Ranked(names).spans(slice(None))) == plain(names)
    assert list(log_names.Ranked(pd.Series(names)).spans(part)) == plain([names[i] for i in part])
    assert log_names.in_words(names[:400], 400.0) == "L0001-L0400 (400 logs)"
    assert text_columns.byte_rows(["A", "é"]) is None and text_columns.byte_rows([]) is None


@settings(max_examples=200, deadline=None)
@given(CELLS, st.booleans())
def test_texts_as_numbers_are_the_texts(cells, inferred):
    frame = pd.DataFrame({"place": pd.Series(cells) if inferred and any(cells) else pd.Series(cells, dtype=object)})
    stripped = ["" if cell is None else str(cell).strip() for cell in cells]
    assert as_typed(frame, "place").tolist() == stripped
    for change, texts in ((str, stripped), (str.casefold, words(frame, "place").tolist())):
        code, known = text_codes(frame, "place", change)
        assert known[code].tolist() == texts if len(cells) else not len(code)
        assert len(set(known.tolist())) == len(known) and set(known.tolist()) == set(texts)
    assert text_codes(frame, "no such column")[0].tolist() == [0] * len(cells)
    if cells:
        assert pd.Series(text(stripped, np.arange(len(cells)))).tolist() == stripped


@settings(max_examples=200, deadline=None)
@given(WHOLE, st.data())
def test_distinct_and_alike_are_numpys_unique(values, data):
    whole = np.array(values, dtype=np.int64)
    known, place = distinct(whole)
    expected, where = np.unique(whole, return_inverse=True)
    assert known.tolist() == expected.tolist() and place.tolist() == where.tolist()
    other = np.array(data.draw(st.lists(st.integers(0, 2), min_size=len(whole), max_size=len(whole))), dtype=np.int64)
    first, kind = alike(whole, other)
    pairs = list(zip(whole.tolist(), other.tolist(), strict=True))
    assert [pairs[first[k]] for k in kind] == pairs and len(first) == len(set(pairs))
    assert [pairs.index(pairs[at]) for at in first] == first.tolist()


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_pairs_of_a_kind_are_those_of_its_lines(data):
    lines, size = data.draw(st.lists(st.sampled_from(("soaked", "picked", "rain")), min_size=1, max_size=8)), st.integers(0, 12)
    day = np.array(data.draw(st.lists(st.integers(0, 9), min_size=len(lines), max_size=len(lines))))
    line = np.array(data.draw(st.lists(st.integers(0, len(lines) - 1), max_size=12)), dtype=np.int64)
    log = np.array(data.draw(st.lists(size, min_size=len(line), max_size=len(line))), dtype=np.int64)
    none = np.zeros(len(lines))
    book = Diary(np.array(lines, dtype=object), day, none, none, none > 0, line, log, pd.DataFrame(), 5)
    for kinds in (("soaked",), ("picked", "rain"), ("turned",)):
        mine = np.array([lines[at] in kinds and day[at] <= 5 for at in line], dtype=bool)
        found = book.pairs(*kinds)
        assert found[0].tolist() == line[mine].tolist() and found[1].tolist() == log[mine].tolist()


def test_a_strip_by_kinds_of_rows_is_that_of_every_row(monkeypatch):
    from soak_yards import planned

    rng = np.random.default_rng(4)
    found = planned(["2024-03-01", "2024-03-20", "2025-04-02"] * 30, "2026-05-10", weeks=season_weeks.WEEKS,
                    last_soak=rng.choice(["2026-03-02", "2026-04-20"], 90).tolist())
    table, each = _tables(found)
    shown = season_weeks.season_strip(found, table, each)
    kinds = season_weeks._kinds(found, table, np.arange(90), np.ones(90), np.zeros(90, dtype=np.int64))
    assert len(kinds[0]) < 90
    monkeypatch.setattr(season_weeks, "_kinds", lambda year, table, place, alive, line: (np.arange(len(place)), np.arange(len(place))))
    pd.testing.assert_frame_equal(shown, season_weeks.season_strip(found, table, each))


def _tables(found):
    """log_season of a plan and what the strip needs of Each log."""
    from calc import log_season
    from calc.yard import dates

    table = log_season.table(found)
    return table, pd.DataFrame({"row": table["row"], "inoculated": dates(found.state.inoculated)})

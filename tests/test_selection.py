"""Which logs a text means."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.problems import Ask
from calc.selection import LogIndex, Selection, find_many, loose

NAMES = [f"A{i}" for i in range(1, 21)] + ["N-07", "N-08", "B1", "B01", "10-2", "007", "MAR1"]
WOODS = ["white oak"] * 10 + ["northern red oak"] * 10 + ["sugar maple"] * 7
PLACES = ["north stack"] * 5 + ["south stack"] * 22
STRAINS = ["shiitake, wide range"] * 20 + ["oyster"] * 7
YEARS = [2024] * 20 + [2025] * 7


@pytest.fixture
def index():
    return LogIndex(NAMES, WOODS, STRAINS, PLACES, YEARS, {"C1": "is on Logs row 14, which is left out"})


def names(index, text, years=False):
    found = index.find(text, years)
    assert isinstance(found, Selection), (text, found)
    return [str(n) for n in index.names[found.indices]], found.how


@pytest.mark.parametrize("text, wanted, how", [
    ("A1", ["A1"], "log"), ("a 1", ["A1"], "log"), ("A01", ["A1"], "log"), ("a-1", ["A1"], "log"),
    ("10-2", ["10-2"], "log"), ("7", ["007"], "log"), ("n7", ["N-07"], "log"), ("N 07", ["N-07"], "log"),
    ("MAR1", ["MAR1"], "log"), ("Ａ1", ["A1"], "log"), ("B1", ["B1"], "log"),
    ("A1-A3", ["A1", "A2", "A3"], "range"), ("A1 – A3", ["A1", "A2", "A3"], "range"),
    ("A1:A3", ["A1", "A2", "A3"], "range"), ("A1..A3", ["A1", "A2", "A3"], "range"),
    ("A1 to A3", ["A1", "A2", "A3"], "range"), ("A1-3", ["A1", "A2", "A3"], "range"),
    ("A3-A1", ["A1", "A2", "A3"], "range"), ("N-07-N-08", ["N-07", "N-08"], "range"),
    ("A1,A3,A5-A7", ["A1", "A3", "A5", "A6", "A7"], "list"), ("A1; A3", ["A1", "A3"], "list"),
    ("A1 A3", ["A1", "A3"], "list"), ("A1 and A3", ["A1", "A3"], "list"), ("A1 & A3", ["A1", "A3"], "list"),
    ("north stack", NAMES[:5], "place"), ("North-Stack", NAMES[:5], "place"),
    ("all north stack", NAMES[:5], "place"),
    ("all oak", NAMES[:20], "wood"), ("oak", NAMES[:20], "wood"), ("White Oak", NAMES[:10], "wood"),
    ("maple logs", NAMES[20:], "wood"), ("shiitake, wide range", NAMES[:20], "strain"),
    ("all shiitake", NAMES[:20], "strain"), ("A1, north stack", NAMES[:5], "list"),
    ("all", NAMES, "all"), ("", NAMES, "all"), ("Whole  yard", NAMES, "all"),
])
def test_what_a_text_means(index, text, wanted, how):
    assert names(index, text) == (wanted, how)


def test_a_year_is_an_inoculation_year_only_where_years_are_meant(index):
    assert names(index, "2024", years=True) == (NAMES[:20], "year")
    assert index.find("2024") == Ask("is not on Logs", (), "unknown_log")


def test_a_name_as_written_wins_over_any_other_reading():
    index = LogIndex(["1", "2", "3", "1-3", "oak"], ["oak"] * 5)
    assert names(index, "1-3") == (["1-3"], "log")
    assert names(index, "oak") == (["oak"], "log")
    assert names(index, "2-3") == (["2", "3"], "range")
    assert names(index, "all oak")[1] == "wood"


def test_two_readings_are_a_question(index):
    assert index.find("b 1") == Ask("can be log B1 or log B01", ("B1", "B01"), "two_readings")
    both = LogIndex(["A1", "A2"], ["oak", "ash"], places=["ash", "oak"])
    assert both.find("oak") == Ask(
        "can be the wood of that name (1 log) or the place of that name (1 log)", (), "two_readings")
    assert both.find("A1, oak").question.startswith('holds "oak", which can be')


def test_a_range_that_is_a_place_as_well_is_a_question():
    index = LogIndex(["A1", "A2", "A3", "A4"], places=["A1-A3", "yard", "yard", "A1-A3"])
    assert index.find("a1-a3") == Ask("can be a range of 3 logs or the place of that name (2 logs)", (), "two_readings")


def test_each_row_left_out_gives_its_own_reason():
    index = LogIndex(["A1"], left_out={"C1": "is on row 14", "c-1": "is on row 15"})
    assert [index.reason(name) for name in ("C1", "c-1", "A1")] == ["is on row 14", "is on row 15", None]


def test_two_readings_of_the_same_logs_are_one():
    index = LogIndex(["A1", "A2", "A3"], ["oak", "oak", "ash"], places=["oak", "oak", "yard"])
    assert names(index, "oak")[0] == ["A1", "A2"]


def test_unknown_logs_get_the_nearest_names(index):
    assert index.find("A99") == Ask("is not on Logs", ("A9",), "unknown_log")
    assert index.find("shitake") == Ask("is not on Logs", ("shiitake",), "unknown_log")
    assert index.find("north stak").offers[0] == "north stack"
    assert index.find("Z1-Z5") == Ask("is not on Logs", (), "unknown_log")


def test_unknown_members_are_listed_and_the_known_ones_count(index):
    found = index.find("A18-A22")
    assert list(index.names[found.indices]) == ["A18", "A19", "A20"] and found.missing == ("A21", "A22")
    assert index.find("N-07-N-10").missing == ("N-09", "N-10")
    assert index.find("A1, Q7").missing == ("Q7",)
    assert index.find("A19-A40").missing == tuple(f"A{n}" for n in range(21, 31)) + ("10 more",)


def test_a_range_backwards_is_read_with_a_note(index):
    assert index.find("A3-A1").notes == ('the range "A3-A1" runs backwards; the same logs were taken',)
    assert index.find("A1-A3").notes == ()


def test_a_log_named_twice_counts_once(index):
    found = index.find("A1,A1-A2")
    assert len(found.indices) == 2
    assert found.notes == ('"A1,A1-A2" names a log more than once; it counts once',)


def test_a_log_whose_row_is_left_out_says_so(index):
    for text in ("C1", "c 1", "c01"):
        assert index.find(text) == Ask("is on Logs row 14, which is left out", (), "log_left_out")


def test_a_name_given_again_means_both_rows():
    index = LogIndex(["A1", "A2", "A1"])
    assert index.find("A1").indices.tolist() == [0, 2]
    assert index.exact(["A1", "A2", "x"]).tolist() == [-1, 1, -1]


def test_a_column_is_read_as_its_cells_one_by_one(index):
    texts = np.array(["A1", "A1-A3", None, "nowhere", "A1", "all oak", "A1-A3"], dtype=object)
    item, log, how, answers = find_many(index, texts)
    assert how.tolist() == ["log", "range", "", "", "log", "wood", "range"]
    expected = [(i, int(p)) for i, t in enumerate(texts) if t is not None
                for p in getattr(index.find(t), "indices", ())]
    assert list(zip(item.tolist(), log.tolist(), strict=True)) == expected
    assert set(answers) == {"A1-A3", "nowhere", "all oak"}


def test_all_is_not_spelled_out_where_it_means_the_yard_and_too_many_links_are_a_question(index):
    texts = np.array(["all", "all", "all oak"], dtype=object)
    item, _, how, _ = find_many(index, texts, whole=np.array([True, False, False]))
    assert np.bincount(item, minlength=3).tolist() == [0, 27, 20] and how.tolist() == ["all", "all", "wood"]
    item, _, _, answers = find_many(index, texts, most=60)
    assert np.bincount(item, minlength=3).tolist() == [27, 27, 0]
    assert answers["all oak"] == Ask("names more logs, in more rows, than can be counted", (), "too_many")


def test_an_empty_yard_and_an_empty_column(index):
    empty = LogIndex([])
    assert isinstance(empty.find("A1"), Ask)
    item, log, how, answers = find_many(index, np.array([], dtype=object))
    assert len(item) == len(log) == len(how) == len(answers) == 0
    assert len(find_many(empty, np.array(["A1", None], dtype=object))[0]) == 0


@given(st.integers(1, 20), st.integers(1, 20), st.sampled_from(["-", " - ", "–", ":", "..", " to "]))
def test_a_range_holds_every_log_between_its_ends(first, last, sign):
    index = LogIndex(NAMES)
    found = index.find(f"A{first}{sign}A{last}")
    wanted = [f"A{n}" for n in range(min(first, last), max(first, last) + 1)]
    assert list(index.names[found.indices]) == wanted


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=60), st.text("aAbBnN0123 -,:.&\nand", max_size=20)), st.booleans())
def test_nothing_typed_ever_raises(text, years):
    index = LogIndex(NAMES + ["①", "x\u2460"], WOODS + [None] * 2, STRAINS + ["a"] * 2, PLACES + ["b"] * 2)
    found = index.find(text, years)
    assert isinstance(found, (Selection, Ask))
    if isinstance(found, Selection):
        assert (np.diff(found.indices) > 0).all()


@given(st.text(max_size=30))
def test_loose_names_settle(text):
    assert loose(loose(text)) == loose(text)

"""How the tables of a workbook are read: which logs are meant, lists, rows, names. What lines say together: test_intake_sense.py."""
import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from intake_book import A1, AS_OF, DAY, ERROR, check, logs, one_log, said

from calc import intake, intake_cells, intake_rows
from calc.intake_choices import match
from calc.intake_links import next_free
from calc.raw import RawColumn
from calc.tables import plain
from workbook_template import schema
from workbook_template.refresh import table_infos

# ---- which logs --------------------------------------------------------------------------------

@pytest.mark.parametrize("text, linked, words", [
    ("a 1", [0], []), ("A01", [0], []), ("A1-A3", [0, 1, 2], []), ("A1 – "
     "A3", [0, 1, 2], []), ("A1,A3", [0, 2], []),
    ("all oak", [0, 1, 2], []), ("all", [0, 1, 2], []), ("  A2\u00a0", [1], []),
    ("A3-A1", [0, 1, 2], ['the range "A3-A1" runs backwards; the same logs were taken.']),
    ("A2-A5", [1, 2], ['"A2-A5" holds A4 and A5, which are not on Logs. Needed: logs that are on Logs. Mend '
                       'Logs or this cell; the other logs share it until then.']),
    ("B7", [], ['"B7" is not on Logs. Needed: logs that are on Logs. It counts for the yard only until '
                'then.']),
    (None, [], ["nothing was typed. Needed: which logs. Type a log, a range A1-A20, a place, a wood or all; "
                "it counts for the yard only."]),
])
def test_which_logs_an_event_is_about(text, linked, words):
    found = check(logs=logs("A1", "A2", "A3"),
                  events=[{"date": DAY, "event": "picked", "log": text, "amount": 0.5}])
    assert found.event_links["log"].tolist() == linked
    assert said(found) == [f"Events row 6, Log: {w}" for w in words]
    assert found.counts["events"] == (1, 1) and not found.frames["events"]["whole_yard"].any()


def test_an_event_that_may_name_no_log_is_about_the_whole_yard():
    rows = [{"date": DAY, "event": "watered", "log": "all", "amount": 1.0}, {"date": DAY, "event": "culled",
                                                                             "amount": 0.2},
            {"date": DAY, "event": "culled", "log": "all", "amount": 0.2},
            {"date": DAY, "event": "watered", "log": "A1", "amount": 1.0},
            {"date": DAY, "event": "picked", "log": "all", "amount": 2.0}]
    found = check(logs=logs("A1", "A2"), events=rows)
    assert said(found) == [] and found.frames["events"]["whole_yard"].tolist() == [True, True, False, False, False]
    assert found.event_links.to_numpy().tolist() == [[2, 0], [2, 1], [3, 0], [4, 0], [4, 1]]


def test_a_group_means_the_logs_that_were_there_on_the_day():
    rows = [*logs("A1", "A2"), *logs("A3", inoculated=dt.datetime(2026, 6, 1)), *logs("A4", inoculated=None)]
    events = [{"date": dt.datetime(2026, 4, 1), "event": "retired", "log": "A2"},
              {"date": DAY, "event": "picked", "log": "all", "amount": 0.5},
              {"date": dt.datetime(2026, 7, 20), "event": "picked", "log": "all oak", "amount": 0.5}]
    found = check(logs=rows, events=events)
    assert said(found) == ["Events row 7, Log: picked, but A4 has no day of inoculation. Needed: the day the spawn went in. "
                           "Type Inoculated on Logs; until then its age and season are not known."]
    assert found.event_links.to_numpy().tolist() == [[0, 1], [1, 0], [1, 3], [2, 0], [2, 2], [2, 3]]


def test_what_a_cost_is_for():
    rows = [*logs("A1", "A2"), *logs("B1", inoculated=dt.datetime(2025, 4, 1))]
    texts = ["2024", "A1", "all", None, "white oak", "Z9"]
    found = check(logs=rows, costs=[{"date": DAY, "item": "x", "amount": 1.0, "for_logs": t} for t in texts])
    assert found.frames["costs"]["shared"].tolist() == [False, False, True, True, False, False]
    assert found.cost_links.to_numpy().tolist() == [[0, 0], [0, 1], [1, 0], [4, 0], [4, 1], [4, 2]]
    assert said(found) == ['Costs row 11, For: "Z9" is not on Logs. Needed: logs that are on Logs. It is '
                           'charged to no log until then.']


def test_a_log_name_used_twice():
    found = check(logs=logs("A1", "A2", "a1"),
                  events=[{"date": DAY, "event": "picked", "log": "A1", "amount": 0.5}])
    assert said(found) == [
        'Logs row 6, Log: "A1" is also the name of row 8. Needed: a name used once. Give one of them another '
        'name; A3 is free.',
        'Logs row 8, Log: "a1" is also the name of row 6. Needed: a name used once. Give one of them another '
        'name; A3 is free.',
        'Events row 6, Log: "A1" is the name of row 6 and row 8 on Logs. Needed: logs that are on Logs. It '
        'counts for the yard only until then.']
    assert found.frames["logs"]["log"].tolist() == ["A2"] and found.counts["logs"] == (3, 1)


def test_a_name_may_be_given_again_once_its_log_has_left():
    rows = [*logs("A1", "A2"), *logs("A1", inoculated=dt.datetime(2026, 3, 1))]
    events = [{"date": dt.datetime(2025, 10, 1), "event": "retired", "log": "A1"},
              {"date": dt.datetime(2025, 9, 1), "event": "checked", "log": "A1"},
              {"date": dt.datetime(2026, 10, 1), "event": "checked", "log": "A1"}]
    found = check(logs=rows, events=events)
    assert said(found) == []
    assert found.event_links.to_numpy().tolist() == [[0, 0], [1, 0], [2, 2]]


def test_a_log_that_is_left_out_says_so_at_its_events():
    found = check(logs=logs("A1") + logs("A2", length="lots"),
                  events=[{"date": DAY, "event": "picked", "log": "A1-A2", "amount": 0.5}])
    assert said(found)[1] == (
        'Events row 6, Log: "A1-A2" holds A2, which is on Logs row 7, which is left out. Needed: logs that '
        'are on Logs. Mend Logs or this cell; the other logs share it until then.')


# ---- costs and lists ---------------------------------------------------------------------------

@pytest.mark.parametrize("row, words, used", [
    ({"life_years": 0.0}, ["Life: 0 is too small. Needed: years, 0.01 to 200. Type it again."], 0),
    ({"salvage": 31.0}, ["Salvage: 31 is more than the price, 30. Needed: what the thing will still be worth "
                         "at the end. Type the price or less, or leave it blank."], 0),
    ({"amount": -30.0}, ["Amount: -30 is negative. Needed: money spent. Leave it if it is a refund."], 1),
    ({"amount": "$1,250.50"}, [], 1),
    ({"amount": None}, ["Amount: nothing was typed. Needed: an amount of money. Type the amount, or 0."], 0),
])
def test_costs(row, words, used):
    found = check(costs=[{"date": DAY, "item": "drill", "amount": 30.0, **row}])
    assert said(found) == [f"Costs row 6, {w}" for w in words] and found.counts["costs"] == (1, used)


def test_lists():
    found = check(helpers=[{"helper": "Helper "
                                      "1", "helper_wage": -16.0}, {"helper": None, "helper_wage": 5.0}],
                  places=[{"place": "stack"}, {"place": "Stack"}])
    assert said(found) == [
        "Lists row 6, Wage: -16 is negative. Needed: money for an hour, 0 or more. Type it again; the cell "
        "is left out until then.",
        'Lists row 7, Place: "Stack" is on this list already. Needed: a name used once. Give it another '
        'name, or clear the row.',
        "Lists row 7, Helper: nothing was typed. Needed: a name. Type the name, or clear the row."]
    assert found.counts["helpers"] == (2, 1) and found.counts["places"] == (2, 1)
    assert np.isnan(found.frames["helpers"]["helper_wage"].iat[0])


@pytest.mark.parametrize("typed, kept, words", [
    ("oyster", "oyster", []), ("Oyster ", "oyster", []),
    ("shitake, cold "
     "weather", "shiitake, cold weather", ['"shitake, cold weather" was read as "shiitake, cold weather".']),
    ("nameko", "nameko", ['"nameko" is not on Lists. Needed: an entry of the list. Add it on Lists; it is '
                          'kept as typed.']),
])
def test_a_misspelt_strain(typed, kept, words):
    found = one_log(strain=typed)
    assert said(found) == [f"Logs row 6, Strain: {w}" for w in words]
    assert found.frames["logs"]["strain"].tolist() == [kept]


def test_one_helper_is_never_taken_for_another():
    found = check(logs=[A1], helpers=[{"helper": "Helper 2"}],
                  events=[{"date": DAY, "event": "note", "who": "Helper 1", "event_note": "x"}] * 3)
    assert said(found) == ['Events row 6, Who: "Helper 1" is not on Lists, here and in 2 more rows. Needed: '
                           'an entry of the list. Type Helper 2, or add it on Lists; it is kept as typed.']
    assert found.frames["events"]["who"].tolist() == ["Helper 1"] * 3


def test_yes_and_no_as_they_are_typed():
    typed = {"A1": "Y", "A2": True, "A3": "perhaps"}
    found = check(logs=[{**A1, "log": name, "ends_waxed": word} for name, word in typed.items()])
    assert found.frames["logs"]["ends_waxed"].tolist() == ["yes", "yes", None]
    assert said(found) == ['Logs row 8, Ends waxed: "perhaps" is not in the list. Needed: yes or no. Pick '
                           'from the list; the cell is left out until then.']


# ---- rows --------------------------------------------------------------------------------------

def test_one_cell_that_reads_like_a_heading_makes_no_heading():
    """A log that lies at a place called Place is a log; a heading has two cells at least that say what stands above them."""
    found = check(logs=[{**A1, "place": "Place"}])
    assert said(found) == [] and found.counts["logs"] == (1, 1)
    found = check(logs=[A1, {"log": "Log", "place": "Place (of it)"}])
    assert said(found) == ["Logs row 7: this row repeats the header."] and found.counts["logs"] == (1, 1)


def test_blank_rows_headers_totals_and_notes_are_set_aside():
    header = {"date": "Date", "event": "Event", "log": "Log", "amount": "Amount, see Lists"}
    pick = {"date": DAY, "event": "picked", "log": "A1", "amount": 0.5}
    events = [pick, {}, header, {"log": "TOTAL", "amount": 0.5}, {"event_note": "a hard winter"},
              {"date": DAY, "event_note": "first frost"}, {}, {**pick, "amount": 0.75}]
    found = check(logs=[A1], events=events)
    assert said(found) == ["Events row 8: this row repeats the header.",
                           "Events row 9: this row is a total typed by hand and was not added again."]
    assert found.counts["events"] == (3, 3)
    assert found.frames["events"]["row"].tolist() == [6, 11, 13]
    assert found.frames["events"]["event"].tolist() == ["picked", "note", "picked"]


def test_merged_cells_and_columns_of_the_growers_own():
    found = check(logs=logs("A1", "A2"), merged=["B6:B7"],
                  extra={"Tree": RawColumn(np.array(["old oak", None], dtype=object))})
    assert said(found) == ["Logs: the cells B6:B7 were merged; their value was taken for every row. Needed: "
                           "one value in each cell. Undo the merge."]
    assert found.frames["logs"]["extra:Tree"].tolist() == ["old oak", None]


@pytest.mark.parametrize("text", ["=cmd()", "+1", "-x", "@home"])
def test_text_that_begins_like_a_formula_stays_text(text):
    found = one_log(note=text, source=text)
    assert found.frames["logs"]["note"].tolist() == [text] and said(found) == []


def test_a_thousand_problems_are_listed_and_the_rest_counted():
    found = check(logs=[A1], events=[{"date": DAY, "event": "picked", "log": "A1", "amount": -1.0 - i} for i in range(1500)])
    assert len(found.problems) == 1001
    assert found.problems[0].sentence() == ("Events: 500 more problems are not listed here: 500 refused. "
                                            "Mend those listed and refresh again.")
    assert found.counts["events"] == (1500, 0)


def test_problems_in_the_same_words_stand_in_one_line():
    lines = [{"date": DAY, "event": "picked", "log": "A1", "amount": -1.0 if i not in (2, 5) else 0.1 * i} for i in range(9)]
    found = check(logs=[A1], events=lines)
    assert said(found) == ["Events row 6, Amount, see Lists: -1 lb is negative (also in rows 7, 9, 10, 12 to 14). Needed: pounds, 0 or more. "
                           "Type it again."]
    assert found.counts["events"] == (9, 2)


def test_an_empty_workbook_and_missing_tables():
    found = intake.check({}, table_infos("us"), {}, "us", AS_OF)
    assert said(found) == [] and all(len(f) == 0 for f in found.frames.values())
    assert list(found.frames["logs"].columns)[:3] == ["row", "log", "wood"]


def test_clean_columns_are_never_read_cell_by_cell(monkeypatch):
    def fail(*_):
        raise AssertionError("a clean cell was looked at by itself")

    monkeypatch.setattr(intake_cells, "read_quantity", fail)
    monkeypatch.setattr(intake_cells.dates, "read_date", fail)
    monkeypatch.setattr(intake_rows, "row_failures", fail)
    found = check(logs=logs(*[f"A{i}" for i in range(50)]),
                  events=[{"date": DAY, "event": "picked", "log": f"A{i}", "amount": 0.5} for i in range(50)])
    assert said(found) == [] and len(found.event_links) == 50


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


CELLS = st.one_of(st.none(), NUMBERS, st.text(max_size=12), st.booleans(),
                  st.datetimes(dt.datetime(1900, 1, 1), dt.datetime(2099, 1, 1)), st.just(ERROR),
                  st.sampled_from(["A1", "A1-A3", "all", "4'2\"", "1,2 "
                   "m", "5-6", "picked", "oyster", "TOTAL", "Date"]))


def any_rows(table):
    keys = [c.key for c in schema.BY_KEY[table].columns if c.typed]
    return st.lists(st.fixed_dictionaries({}, optional={k: CELLS for k in keys}), max_size=4)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.fixed_dictionaries({t: any_rows(t) for t in ("logs", "events", "costs", "sales")}),
       st.sampled_from(("us", "metric")))
def test_nothing_a_grower_types_raises(tables, profile):
    found = check(profile, **tables)
    for table, rows in tables.items():
        typed, used = found.counts[table]
        assert 0 <= used <= typed <= len(rows) and len(found.frames[table]) == used
    assert all(p.sentence() and p.level in ("refused", "question", "note") for p in found.problems)
    assert (found.event_links["event"] < len(found.frames["events"])).all()


GOOD = [{"date": DAY, "event": "picked", "log": "A1", "amount": 0.5},
        {"date": dt.datetime(2026, 6, 1), "event": "soaked", "log": "A2", "amount": 24.0},
        {"date": dt.datetime(2026, 6, 9), "event": "weighed", "log": "A1", "amount": 30.0}]


BAD = [{"date": None, "event": "picked", "log": "A1", "amount": 0.5},
       {"date": DAY, "event": "picked", "log": "A1", "amount": -2.0},
       {"date": DAY, "event": "picked", "log": "A2", "amount": "lots"},
       {"date": DAY, "event": None, "log": "A2", "amount": 3.0},
       {"date": DAY, "event": "picked", "log": "A1", "amount": ERROR}, {}]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.one_of(st.sampled_from(BAD), st.integers(0, 2)), max_size=8))
def test_refused_rows_never_change_the_other_rows(rows):
    goods = [r for r in rows if isinstance(r, int)]
    mixed = check(logs=logs("A1", "A2"), events=[GOOD[r] if isinstance(r, int) else r for r in rows])
    alone = check(logs=logs("A1", "A2"), events=[GOOD[r] for r in goods])
    frames = [found.frames["events"].drop(columns="row") for found in (mixed, alone)]
    pd.testing.assert_frame_equal(*frames)
    pd.testing.assert_frame_equal(mixed.event_links, alone.event_links)


# ---- names, choices and cells -------------------------------------------------------------------

@pytest.mark.parametrize("name, taken, free", [
    ("H14", (), "H15"), ("H14", ("h15", "h16"), "H17"), ("H009", ("h010",), "H011"), ("A9b", (), "A10b"), ("oak", (), "oak-2"),
    ("oak", ("oak-2",), "oak-3"),
])
def test_the_next_free_name_keeps_the_pattern(name, taken, free):
    assert next_free(name, set(taken)) == free


def test_an_unknown_event_with_an_amount_is_left_out_and_a_turned_letter_is_read():
    rows = [{"date": DAY, "event": "pciked", "log": "A1", "amount": 0.5}, {"date": DAY, "event": "sang", "log": "A1", "amount": 2.0},
            {"date": DAY, "event": "sang", "log": "A1"}]
    found = check(logs=logs("A1"), events=rows)
    assert said(found)[0] == 'Events row 6, Event: "pciked" was read as "picked".'
    assert said(found)[1].startswith('Events row 7, Event: "sang" is not on Lists, so its amount cannot be counted.')
    assert said(found)[2].startswith('Events row 8, Event: "sang" is not on Lists.')
    assert found.counts["events"] == (3, 2)
    assert [p.level for p in found.problems[1:3]] == ["refused", "question"]


def test_a_cell_that_was_asked_about_is_not_called_blank_as_well():
    found = check(logs=logs("A1"), events=[{"date": DAY, "event": "picked", "log": ERROR, "amount": 0.5}])
    assert said(found) == ["Events row 6, Log: the error #REF! stands here. Needed: log. Type it again; the cell is left out until then."]


def test_names_that_are_plain_numbers_keep_all_their_digits():
    """Tags and lots are numbered: of seven digits and more, each is its own log; 13 digits are those of a bar code."""
    names = (7.0, 12.5, 1234567.0, 1234568.0, 4006381333931.0)
    found = check(logs=[{**A1, "log": name} for name in names], lots=[{"spawn_lot": 20260401.0}],
                  events=[{"date": DAY, "event": "picked", "log": 1234568.0, "amount": 0.5}])
    assert said(found) == [] and found.frames["logs"]["log"].tolist() == ["7", "12.5", "1234567", "1234568", "4006381333931"]
    assert found.frames["lots"]["spawn_lot"].tolist() == ["20260401"] and found.event_links.to_numpy().tolist() == [[0, 3]]


@pytest.mark.parametrize("typed, words", [
    (0.3, []), (30.0, ["30 was read as 30 %"]), (1.5, ["1.5 was read as 1.5 %", "1.5 % is unusual"]),
    (100.0, ["100 was read as 100 %", "100 % is beyond reason"]), (100.5, ["10050 % is beyond reason"])])
def test_a_share_above_one_and_up_to_a_hundred_is_a_percentage(typed, words):
    found = said(one_log(start_moisture=typed))
    assert len(found) == len(words)
    assert all(line.startswith(f"Logs row 6, Start moisture, wet basis: {start}.") for line, start in zip(found, words, strict=True))


@pytest.mark.parametrize("typed, entries, found", [
    ("Pots", ("pots",), ("pots", False, [])),  # the entry itself, however it is spaced or written
    ("psot", ("post", "stack"), ("post", True, [])),  # its letters in another order
    ("psot", ("post", "pots"), (None, False, ["pots", "post"])),  # of two entries
    ("tpo", ("pot",), (None, False, ["pot"])),  # three letters are too few to tell
    ("A112", ("A121",), (None, False, ["A121"])),  # a number turned round is another one
    ("shitake", ("shiitake", "oyster"), ("shiitake", True, [])),  # 14 of 15 letters alike, 0.93
    ("picke", ("picked", "picket"), (None, False, ["picket", "picked"])),  # near to both alike
    ("helper 3", ("helper 1", "helper 2"), (None, False, ["helper 2", "helper 1"])),
    ("red oak", ("southern red oak", "red oak, old", "white oak", "northern red oak"),
     (None, False, ["red oak, old", "southern red oak", "northern red oak"])),  # those that hold both words, the shortest first
    ("oak", ("a oak", "b oak", "c oak", "d oak"), (None, False, ["a oak", "b oak", "c oak"])),  # three are enough
    ("zzzz", ("oak",), (None, False, [])),
])
def test_which_entry_of_a_list_is_meant(typed, entries, found):
    assert match(typed, {plain(entry): entry for entry in entries}) == found

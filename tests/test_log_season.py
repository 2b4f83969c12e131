"""Each row of Logs in its season: every stage by hand, windows and their basis, what bad input gets."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
import soak_yards as sy

from calc import results, season_stages, tables


def of(table, log):
    return table[table["log"] == log].iloc[0]


def seen(rows, lines, as_of, **more):
    return sy.rolled(rows, lines, as_of, **more).log_season


A = [("A", 2, "2024-03-01")]


@pytest.mark.parametrize("lines, as_of, stage", [
    ([], "2024-08-31", "spawn run"),  # 6 months on 1 September
    ([], "2024-09-01", "may fruit"),  # not yet a year
    ([], "2024-12-01", "dormant"),
    ([], "2025-06-01", "ready to soak"),
    ([("2025-06-02", "soaked", "A", 12)], "2025-06-02", "soaking"),
    ([("2025-06-02", "soaked", "A", 12)], "2025-06-03", "pins and picking"),
    ([("2025-06-02", "soaked", "A", 48)], "2025-06-03", "soaking"),
    ([("2025-06-02", "soaked", "A", 24)], "2025-06-03", "pins and picking"),
    ([("2025-06-02", "soaked", "A", 25)], "2025-06-03", "soaking"),  # an hour into the second day
    ([("2025-06-02", "soaked", "A", 12)], "2025-06-16", "pins and picking"),  # 14 days after
    ([("2025-06-02", "soaked", "A", 12)], "2025-06-17", "resting"),
    ([("2025-06-02", "soaked", "A", 12)], "2025-07-27", "resting"),  # 8 weeks are over on the 28th
    ([("2025-06-02", "soaked", "A", 12)], "2025-07-28", "ready to soak"),
    ([("2025-06-02", "pins seen", "A", None)], "2025-06-10", "pins and picking"),
    ([("2025-06-02", "pins seen", "A", None)], "2025-06-16", "pins and picking"),  # 14 days after
    ([("2025-06-02", "pins seen", "A", None)], "2025-06-17", "ready to soak"),
    ([("2025-06-02", "picked", "A", 0.4)], "2025-06-08", "pins and picking"),
    ([("2025-06-02", "picked", "A", 0.4)], "2025-06-09", "ready to soak"),
    ([("2025-06-02", "retired", "A", None)], "2025-06-09", "gone"),
    ([("2025-06-02", "retired", "A", 1)], "2025-06-09", "ready to soak"),
])
def test_stage(lines, as_of, stage):
    assert of(seen(A, lines, as_of), "A")["stage"] == stage


def test_stages_are_the_words_of_one_home():
    named = {value for name, value in vars(season_stages).items() if name.isupper()}
    assert {"spawn run", "may fruit", "gone"} < named and len(named) == 9


def test_windows_wait_for_months_that_suit_and_say_their_basis():
    table = seen([("A", 1, "2026-04-10"), ("B", 1, "2026-04-10", {"strain": "cold"}), ("C", 1, "2026-04-10", {"strain": "unsaid"})],
                 [], "2026-06-01")
    # 10 October 2026 and 10 October 2027 are too cold for the wide one: 1 May of the years after
    assert (of(table, "A")["flush_from"], of(table, "A")["flush_to"]) == (pd.Timestamp("2027-05-01"), pd.Timestamp("2028-05-01"))
    assert of(table, "B")["flush_from"] == pd.Timestamp("2026-10-10")
    assert of(table, "A")["flush_basis"] == "strain's months" and of(table, "C")["flush_basis"] == "months in print"
    assert "Lists has no fruiting temperatures" in of(table, "C")["words"]


def test_a_site_without_a_month_for_a_strain_says_so():
    row = of(seen([("A", 1, "2024-03-01", {"strain": "arctic"})], [], "2026-06-01"), "A")
    assert pd.isna(row["flush_from"]) and pd.isna(row["flush_to"]) and pd.isna(row["next_soak"])
    assert row["flush_basis"] == "no month's temperature at the site lies in the strain's fruiting range"
    assert row["words"].startswith("no date for first mushrooms: no month's") and row["stage"] == "dormant"
    assert row["soak_why"].startswith("no month at the site suits these strains")


def test_missing_temperatures_give_words_and_no_dated_soak():
    none = of(seen(A, [], "2024-06-01", site=None), "A")
    assert "by months alone" in none["words"] and pd.isna(none["next_soak"])
    some = of(seen(A, [], "2024-06-01", site=(*sy.NORTH[:10], None, None)), "A")
    assert pd.isna(some["flush_from"]) and some["flush_basis"] == "no temperature on Settings for Nov to Dec"
    assert pd.isna(some["next_soak"])
    old = of(seen(A, [], "2026-06-01", site=None), "A")
    assert old["soak_why"].startswith("no monthly temperatures on Settings")


def test_own_first_picks_replace_the_book():
    fewest = int(tables.figure("own_first_picks").typical)
    rows = [(f"A{i}", 1, "2024-03-01") for i in range(fewest)] + [("B", 1, "2025-03-01"), ("C", 1, "2025-03-01", {"strain": "cold"})]
    lines = [(f"2024-09-{10 + i:02d}", "picked", f"A{i}", 0.1) for i in range(fewest)]
    table = seen(rows, lines, "2025-04-01")
    assert of(table, "A0")["flush_basis"] == "already picked" and of(table, "A0")["flush_from"] == pd.Timestamp("2024-09-10")
    row = of(table, "B")
    # 193 to 197 days after inoculation: from 1 March 2025 that is 10 to 14 September, give or take a day of months' length
    assert row["flush_basis"] == "own first picks"
    assert abs(row["flush_from"] - pd.Timestamp("2025-09-10")) <= pd.Timedelta(days=1)
    assert abs(row["flush_to"] - pd.Timestamp("2025-09-14")) <= pd.Timedelta(days=1)
    assert of(table, "C")["flush_basis"] == "strain's months"  # another strain
    fewer = seen(rows, lines[1:], "2025-04-01")
    assert of(fewer, "B")["flush_basis"] == "strain's months"


def test_an_early_pick_is_asked_about_and_teaches_nothing():
    rows = [(f"A{i}", 1, "2024-03-01") for i in range(6)] + [("B", 1, "2025-03-01")]
    lines = [("2024-03-20", "picked", f"A{i}", 0.1) for i in range(6)]
    assert of(seen(rows, lines, "2025-04-01"), "B")["flush_basis"] == "strain's months"


def test_leap_day():
    row = of(seen([("A", 1, "2024-02-29")], [], "2025-02-28"), "A")
    assert row["may_soak_from"] == pd.Timestamp("2025-02-28") and row["flush_from"] == pd.Timestamp("2024-08-29")


def test_southern_season_across_new_year():
    row = of(seen([("A", 1, "2024-09-10")], [], "2025-12-28", site=sy.SOUTH), "A")
    assert row["stage"] == "ready to soak" and row["next_soak"] >= pd.Timestamp("2025-12-28")
    # 10 September 2024 + 6 months is 10 March 2025, + 18 months 10 March 2026: November to March suit
    assert (row["flush_from"], row["flush_to"]) == (pd.Timestamp("2025-03-10"), pd.Timestamp("2026-03-10"))


@pytest.mark.parametrize("rows, lines, why", [
    ([("A", 1, "2025-03-01")], [], "too young: do not force before 1 Mar 2026"),
    ([("A", 1, "2024-03-01")], [("2025-05-20", "soaked", "A", 12)], "resting until 15 Jul 2025"),
    ([("A", 1, "2024-03-01")], [("2025-06-20", "soaked", "A", 12)], "in the tank"),
    ([("A", 1, "2024-03-01", {"strain": "cold"})], [], "Lists says cold does not force well: left to fruit naturally"),
    ([("A", 1, "2024-03-01", {"strain": "cold forced"})], [], "too cold or too hot this month"),  # 21 deg C in June, 20 at most
    ([("A", 1, None)], [("2024-06-01", "picked", "A", 0.1)], "age not known: type the day it was inoculated on Logs"),
    ([("A", 1, None)], [], "not yet inoculated"),
    ([("A", 1, "2024-03-01")], [], ""),
    ([("A", 1, "2024-06-20")], [], ""),  # a year to the day
    ([("A", 1, "2024-06-21")], [], "too young: do not force before 21 Jun 2025"),
])
def test_why_not_soaked(rows, lines, why):
    assert of(seen(rows, lines, "2025-06-20"), "A")["soak_why"] == why


def test_a_strain_without_a_range_is_not_dated_by_months():
    rows = [("A", 1, "2024-03-01", {"strain": "unsaid"}), ("B", 1, "2024-03-01")]
    for mine in (rows, rows[:1]):
        row = of(seen(mine, [], "2025-06-20"), "A")
        assert row["soak_why"].startswith("Lists has no fruiting temperatures for the strain") and pd.isna(row["next_soak"])
    typed = of(seen(rows, [], "2025-06-20", season_begins=dt.date(2020, 5, 1), season_ends=dt.date(2020, 9, 1)), "A")
    assert typed["soak_why"] == "" and pd.notna(typed["next_soak"])


def test_outside_the_season_typed():
    edges = {"season_begins": dt.date(2020, 7, 1), "season_ends": dt.date(2020, 8, 31)}
    assert of(seen(A, [], "2025-06-30", **edges), "A")["soak_why"] == "outside the soak season"
    assert of(seen(A, [], "2025-07-01", **edges), "A")["soak_why"] == ""
    assert of(seen(A, [], "2025-08-31", **edges), "A")["stage"] == "ready to soak"


def test_do_not_force_before_is_the_growers_own():
    row = of(seen(A, [], "2025-06-20", force_after_months=18.0), "A")
    assert row["may_soak_from"] == pd.Timestamp("2025-09-01") and row["soak_why"].startswith("too young")


def test_what_bad_input_gets():
    rows = [("A", 1, "2024-03-01", {"rota_week": 12}), ("B", 1, "2027-03-01"), ("C", 1, "2024-03-01", {"strain": "unsaid"})]
    lines = [("2025-05-12", "soaked", "A", None), ("2025-09-01", "soaked", "C", 12)]  # without hours; after the As of day
    table = seen(rows, lines, "2025-06-20")
    assert "last soak without hours: 12 taken from Settings" in of(table, "A")["words"]
    assert "Rota week 12 is none of the 9 weeks of the rota" in of(table, "A")["words"]
    assert of(table, "B")["stage"] == "not yet inoculated" and of(table, "B")["words"] == "inoculation is dated 1 Mar 2027, after the As of day"
    assert pd.isna(of(table, "C")["last_soak"])
    assert "Lists does not say whether it forces well: taken as yes" in of(table, "C")["words"]


def test_columns_and_rows_are_those_of_logs():
    found = sy.rolled([("A", 1, "2024-03-01"), ("B", 3, None)], [], "2025-06-20")
    for name in ("log_season", "soak_calendar", "supply"):
        assert list(getattr(found, name).columns) == list(results.COLUMNS[name])
    assert found.log_season["row"].tolist() == found.each_log["row"].tolist()


def test_group_and_next_soak_agree_with_the_calendar():
    found = sy.rolled([(f"A{i}", 4, "2024-03-01") for i in range(9)], [], "2025-06-02")
    first = found.soak_calendar.groupby("group")["day"].min()
    for row in found.log_season.itertuples():
        assert row.next_soak == first[row.group]


def test_rows_that_differ_in_one_thing_have_each_their_own_words():
    """Rows alike are told once; each pair here differs in one thing alone. Rest is 8 weeks, a flush comes 6 to 14 days after a soak."""
    rows = [*((name, 1, "2024-03-01") for name in ("soaked10", "soaked12", "hours", "rests20", "rests25")),
            ("young1", 1, "2024-07-01"), ("young10", 1, "2024-07-10"), ("early10", 1, "2024-09-01"), ("early12", 1, "2024-09-01"),
            ("week12", 1, "2024-03-01", {"rota_week": 12}), ("week13", 1, "2024-03-01", {"rota_week": 13}),
            ("later1", 1, "2027-03-01"), ("later2", 1, "2027-04-01")]
    pick = [("2025-06-01", "picked", name, 0.1) for name, *_ in rows if not name.startswith(("later", "young", "early"))]
    lines = [*pick, ("2025-06-10", "soaked", "soaked10", 12), ("2025-06-12", "soaked", "soaked12", 12),
             ("2025-06-10", "soaked", "hours", None),
             ("2025-05-20", "soaked", "rests20", 12), ("2025-05-25", "soaked", "rests25", 12),
             ("2025-06-01", "soaked", "young1", 12), ("2025-06-01", "soaked", "young10", 12),  # both rested on 27 July
             ("2025-06-10", "soaked", "early10", 12), ("2025-06-12", "soaked", "early12", 12),  # both too young until September
             ("2025-06-18", "picked", "early10", 0.1), ("2025-06-18", "picked", "early12", 0.1),
             ("2025-06-18", "picked", "young1", 0.1), ("2025-06-18", "picked", "young10", 0.1)]
    table = seen(rows, lines, "2025-06-20").set_index("log")
    looks = "look from 16 Jun 2025 to 24 Jun 2025"
    assert table["words"].to_dict() == {
        "soaked10": looks, "soaked12": "look from 18 Jun 2025 to 26 Jun 2025",
        "early10": looks, "early12": "look from 18 Jun 2025 to 26 Jun 2025",
        "hours": looks + "; last soak without hours: 12 taken from Settings",
        "rests20": "", "rests25": "", "young1": "pins or a pick a few days ago", "young10": "pins or a pick a few days ago",
        "week12": "Rota week 12 is none of the 9 weeks of the rota: put where there is room",
        "week13": "Rota week 13 is none of the 9 weeks of the rota: put where there is room",
        "later1": "inoculation is dated 1 Mar 2027, after the As of day", "later2": "inoculation is dated 1 Apr 2027, after the As of day"}
    assert table["soak_why"].to_dict() == {
        "soaked10": "resting until 5 Aug 2025", "soaked12": "resting until 7 Aug 2025", "hours": "resting until 5 Aug 2025",
        "early10": "too young: do not force before 1 Sep 2025", "early12": "too young: do not force before 1 Sep 2025",
        "rests20": "resting until 15 Jul 2025", "rests25": "resting until 20 Jul 2025", "young1": "too young: do not force before 1 Jul 2025",
        "young10": "too young: do not force before 10 Jul 2025", "week12": "", "week13": "", "later1": "not yet inoculated",
        "later2": "not yet inoculated"}
    soaks = table["last_soak"].dt.strftime("%m-%d").fillna("").tolist()
    assert soaks == ["06-10", "06-12", "06-10", "05-20", "05-25", "06-01", "06-01", "06-10", "06-12", "", "", "", ""]


def test_a_log_of_unknown_age_at_work_may_fruit():
    """Soaked in February, so it is at work, but nobody wrote down when it was inoculated: it is not held for one whose spawn still runs."""
    row = of(seen([("A", 1, None)], [("2025-02-10", "soaked", "A", 12)], "2025-06-20"), "A")
    assert (row["stage"], row["flush_basis"]) == ("may fruit", "no date of inoculation on Logs")
    assert row["words"] == "no date for first mushrooms: no date of inoculation on Logs" and pd.isna(row["may_soak_from"])


def test_what_lists_does_not_say_of_a_strain_is_told_of_listed_ones_alone():
    told = {strain: of(seen([("A", 1, "2024-03-01", {"strain": strain})], [("2025-05-01", "picked", "A", 0.1)], "2025-06-20"), "A")["words"]
            for strain in ("wide", "unsaid", "not on Lists")}
    assert told == {"wide": "", "unsaid": "Lists does not say whether it forces well: taken as yes", "not on Lists": ""}


def test_a_strain_may_be_soaked_before_its_first_mushrooms_are_due():
    """Do not force before, 3 months: 1 June 2025, while first mushrooms are due on 1 September."""
    young, ready = (of(seen([("A", 1, "2025-03-01")], [], day, force_after_months=3.0), "A") for day in ("2025-05-31", "2025-06-01"))
    assert (young["stage"], ready["stage"], ready["soak_why"]) == ("spawn run", "ready to soak", "")


def test_only_logs_that_are_soaked_have_a_day_from_which_they_may_be():
    table = seen([("A", 1, "2024-03-01"), ("B", 1, "2024-03-01", {"strain": "cold"}), ("C", 1, None)], [], "2025-06-20")
    assert table["may_soak_from"].dt.strftime("%Y-%m-%d").fillna("").tolist() == ["2025-03-01", "", ""]


def test_a_window_that_is_over_says_what_is_in_print():
    """Inoculated on 10 December 2023: 6 months are up on 10 June 2024, 18 on 10 June 2025, the last day of the window."""
    on, after = (of(seen([("A", 1, "2023-12-10")], [], day), "A")["words"] for day in ("2025-06-10", "2025-06-11"))
    assert on == "first mushrooms 10 Jun 2024 to 10 Jun 2025"
    assert after.startswith(on + "; none written down yet: up to ") and after.endswith(" months are in print")

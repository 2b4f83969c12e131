"""Mistakes of a grower and a partner in the newer parts: each is answered in words, with its place and what to type, and loses nothing."""
from __future__ import annotations

import datetime as dt
import shutil

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from test_receive import Filled
from test_share import DAY, MARKET, a_yard

from calc.closing import questions as closing_questions
from calc.closing import year_questions
from calc.intake_rows import NEED_WORDS
from calc.intake_season import season_questions
from calc.records import NEEDED
from workbook_template.build import build
from workbook_template.cli import cli
from workbook_template.partner import share
from workbook_template.ports.new_sheet import _named as with_sheet
from workbook_template.ports.xmledit import find_elements
from workbook_template.settings_read import read_settings
from workbook_template.yard import Yard

pytestmark = pytest.mark.filterwarnings("ignore::UserWarning")
FAHRENHEIT = (33, 36, 45, 55, 64, 72, 76, 74, 67, 56, 46, 37)
CELSIUS = (1, 2, 7, 13, 18, 22, 24, 23, 19, 13, 8, 3)
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def run(*words) -> tuple[int, str]:
    """(exit code, what was said); a traceback fails the test."""
    done = CliRunner().invoke(cli, [str(word) for word in words])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.output


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    path = tmp_path_factory.mktemp("made") / "yard.xlsx"
    yard = a_yard()
    yard.tables["promises"] = [*yard.tables.get("promises", []), {"promise_market": MARKET, "promise_product": "fresh", "asked": 1, "promised": 1}]
    build(path, yard, rows=10, as_of=DAY)
    return path


@pytest.fixture
def book(made, tmp_path):
    return shutil.copy(made, tmp_path / "yard.xlsx")


# ---- rows ---------------------------------------------------------------------------------------------------------

def test_a_promise_without_a_week_is_refused_in_words(book):
    code, said = run("check", book, "--today", DAY.isoformat())
    assert code == 1
    assert "Week: nothing was typed. Needed: a week. Type any day of the week it is for." in said


def test_every_needed_column_has_words():
    assert {column for columns in NEEDED.values() for column in columns} <= set(NEED_WORDS)


def closed(market, day, owed):
    return {"closings": pd.DataFrame({"row": [8], "close_market": [market], "closed_to": pd.to_datetime([day]), "close_balance": [owed]})}


def test_a_closed_period_without_a_day_is_asked_about():
    asked = closing_questions(closed("Shop", None, 20.0), dt.date(2026, 11, 20))
    assert [p.sentence() for p in asked] == [
        "Lists row 8, Closed periods: Shop is closed without a day: this row closes nothing. Needed: the last day of the period. "
        "Type it in Closed to, or clear this row."]


def test_a_closed_year_that_is_not_over_is_asked_about():
    table = pd.DataFrame({"row": [8], "closed_year": [2031.0], "year_picked": [5.0], "year_spent": [5.0], "year_minutes": [5.0]})
    asked = year_questions({"closed_years": table}, 0.45359237, dt.date(2026, 11, 20))
    assert [p.found for p in asked] == ["2031 is closed, and its last day is still to come"]


# ---- the season ---------------------------------------------------------------------------------------------------

def strains(low_f=59.0, high_f=77.0, short=6.0, long=12.0):
    return pd.DataFrame({"row": [8], "strain": ["mine"], "fruits_from": [(low_f - 32) / 1.8], "fruits_to": [(high_f - 32) / 1.8],
                         "run_low": [short], "run_high": [long]})


def logs(*weeks):
    weeks = weeks or (float("nan"),)
    return pd.DataFrame({"row": range(6, 6 + len(weeks)), "strain": ["mine"] * len(weeks), "rota_week": [float(w) for w in weeks]})


def asked(settings, table=None, rows=None, profile="us"):
    frames = {"strains": strains() if table is None else table, "logs": logs() if rows is None else rows}
    return [p.sentence() for p in season_questions(frames, {"rota_weeks": 9.0, **settings}, profile)]


def months(values, profile="us"):
    """As Settings hands them on: deg C, by the freezing and boiling points 32 and 212 deg F, 0 and 100 deg C."""
    return {f"temp_{m}": (v - 32) * 100 / 180 if profile == "us" else v for m, v in zip(MONTHS, values, strict=True)}


def test_ranges_changed_over_are_asked_about():
    said = asked(months(FAHRENHEIT), strains(77, 59, 12, 6))
    assert said[0] == ("Lists row 8, Fruits from: 77 °F is above Fruits to, 59 °F. Needed: the cooler end first. Change the two over; until then no "
                       "month suits mine.")
    assert said[1].startswith("Lists row 8, Spawn run, short: 12 months are more than Spawn run, long, 6.") and len(said) == 2


@pytest.mark.parametrize("profile, typed, unit", [("us", CELSIUS, "°C"), ("metric", FAHRENHEIT, "°F")])
def test_temperatures_in_the_other_unit_are_asked_about(profile, typed, unit):
    said = asked(months(typed, profile), profile=profile)
    assert len(said) == 1 and f"suits a strain on Logs; read as {unit} some would" in said[0]


@pytest.mark.parametrize("profile, typed", [("us", FAHRENHEIT), ("metric", CELSIUS), ("us", (*CELSIUS[:6], *[float("nan")] * 6))])
def test_temperatures_in_their_own_unit_or_half_missing_are_not(profile, typed):
    assert asked(months(typed, profile), profile=profile) == []


def test_twelve_months_alike_are_asked_about_once():
    assert asked(months([55] * 12)) == ["Settings, Mean temperature: all twelve months are 55 °F. Needed: the mean of each month. "
                                        "Type each month's own; they are used as typed."]


@pytest.mark.parametrize("begins, ends, words", [
    ((1900, 1, 4), (1900, 1, 10), "4 Jan 1900 is a plain number typed into a date"),
    ((2026, 4, 24), (2025, 4, 24), "one day a year"),
    ((2026, 4, 24), None, "the season was read as 24 Apr to 31 Dec"),
    (None, (2026, 10, 4), "the season was read as 1 Jan to 4 Oct")])
def test_odd_ends_of_the_season_are_told(begins, ends, words):
    said = asked({"season_begins": begins and dt.date(*begins), "season_ends": ends and dt.date(*ends)})
    assert said and words in said[0]


def test_sound_ends_of_the_season_are_left_alone():
    assert asked({"season_begins": dt.date(2026, 10, 1), "season_ends": dt.date(2027, 4, 30)}) == []


def test_a_rota_week_beyond_the_rota_is_asked_about_once():
    assert asked({}, rows=logs(9, 12, 1, 12, float("nan"))) == [
        "Logs row 7, Rota week: 12 is beyond the 9 weeks of the rota on Settings, here and in 1 more row. Needed: a whole number, 1 to 9. "
        "Type it again, or lengthen the rota on Settings; until then the rota gives it a week."]


@pytest.mark.parametrize("typed, words", [
    ({"promise_chance": 80}, "80 is 8,000%; if 80 % was meant, type 80%. Needed: a number, usually 50% to 99%. The starting value 80% was used"),
    ({"temp_jan": "1 °C"}, '"1 °C" is not a number; it means 33.8. Needed'),
    ({"tank_volume": 0}, "usually 0.01 to 1,000,000")])
def test_settings_say_what_a_text_or_a_percent_means(typed, words):
    named = {f"typed_{key}": value for key, value in typed.items()}
    assert any(words in p.sentence() for p in read_settings(named, "us")[1])


# ---- commands -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("command", [("new",), ("check",), ("doctor",), ("restore",), ("merge", "x.xlsx", "--out", "y.xlsx"),
                                     ("upgrade",), ("trace", "L"), ("calendar", "--out", "c.ics")])
def test_a_blank_name_of_a_file_is_told(command, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, said = run(command[0], "", *command[1:])
    assert (code == 2 and "name of the file is blank" in said) or (command[0] == "doctor" and "is a folder" in said)


def test_a_name_too_long_for_a_file_is_told(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for command in ("new", "check"):
        code, said = run(command, "a" * 300)
        assert code == 2 and "cannot be the name of a file" in said


def test_a_missing_sheet_of_another_is_not_to_be_started_anew(book):
    for words in (("receive", book, "nothing.xlsx"), ("import", book, "--from", "nothing.csv"), ("merge", book, "nothing.xlsx", "--out", "m.xlsx")):
        code, said = run(*words)
        assert code == 2 and "There is no file nothing" in said and "boltbook new" not in said


def test_a_missing_folder_is_told_before_the_work(book, tmp_path):
    for words in (("refresh", book, "--out"), ("merge", book, book, "--out")):
        code, said = run(*words, tmp_path / "no" / "x.xlsx")
        assert code == 2 and "There is no folder" in said


def test_doctor_names_a_missing_file(tmp_path):
    _, said = run("doctor", tmp_path / "nope.xlsx")
    assert "There is no file" in said and "Close it in other programs" not in said


def test_mistyped_commands_and_functions_are_told_with_what_there_is():
    assert run("extendd", "x")[1] == '"extendd" is no command. Type extend.\n'
    assert run("calc", "NOPE") == (2, 'There is no function called "NOPE". All functions: boltbook calc\n')


def test_a_market_that_is_none_is_told_when_closing(book):
    code, said = run("close", book, "--to", "2020-01-01", "--market", "Nobody at all")
    assert code == 2 and MARKET in said and '"Nobody at all" is no market on Lists or Sales' in said


def test_a_calendar_without_a_line_says_why(tmp_path):
    build(tmp_path / "new.xlsx", Yard("us"), rows=10)
    code, said = run("calendar", tmp_path / "new.xlsx", "--out", tmp_path / "c.ics")
    assert code == 0 and "holds no line: no work ahead is known" in said


# ---- copies and sheets of others -------------------------------------------------------------------------------------

def test_a_sheet_is_added_where_each_entry_declares_its_own_prefix():
    """Namespaces in XML 1.0, section 6.1: a prefix holds from the element that declares it, and not beside it."""
    where = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    xml = f'<workbook xmlns="m"><sheets><sheet xmlns:r="{where}" name="A" sheetId="1" r:id="rId1"/></sheets></workbook>'.encode()
    made = with_sheet(xml, "B", "rId9")
    from xml.etree import ElementTree
    ids = [element.get(f"{{{where}}}id") for element in ElementTree.fromstring(made).iter() if element.tag.endswith("sheet")]
    assert ids == ["rId1", "rId9"] and len(find_elements(made, {"sheet"})) == 2


def test_copies_saved_by_another_program_are_merged(book, tmp_path):
    for name, item in (("mine", "wax"), ("theirs", "string")):
        wb = openpyxl.load_workbook(book)
        sheet = wb["Costs"]
        head = next(row for row in sheet.iter_rows(max_row=20) if "Item" in [c.value for c in row])
        at = {c.value: c.column for c in head if c.value}
        first = next(r for r in range(head[0].row + 1, sheet.max_row + 1) if sheet.cell(r, at["Item"]).value is None)
        sheet.cell(first, at["Date"]).value, sheet.cell(first, at["Item"]).value = dt.datetime(2026, 11, 2), item
        sheet.cell(first, at["Amount"]).value = 5
        wb.save(tmp_path / f"{name}.xlsx")
    code, said = run("merge", tmp_path / "mine.xlsx", tmp_path / "theirs.xlsx", "--base", book, "--out", tmp_path / "both.xlsx", "--quiet")
    assert code == 0, said
    items = [c.value for row in openpyxl.load_workbook(tmp_path / "both.xlsx")["Costs"].iter_rows() for c in row]
    assert {"wax", "string"} <= set(items)


def test_a_sale_that_may_stand_on_two_sheets_is_asked_about(book, tmp_path):
    """Both sheets were made before either came back: what the second tells of a delivery may be what the first told."""
    for name in ("one", "two"):
        share(book, MARKET, tmp_path / f"{name}.xlsx")
    said = {}
    for name in ("one", "two"):
        filled = Filled(tmp_path / f"{name}.xlsx")
        key = next(k for k in filled.rows if k[:1] not in "WLND")
        filled.put(key, sold=0.25).save(tmp_path / f"{name} back.xlsx")
        said[name] = run("receive", book, tmp_path / f"{name} back.xlsx", "--today", "2026-11-20")[1]
    assert "on another sheet" not in said["one"]
    assert "of this delivery were told on another sheet since this one was made, and 0.25" in said["two"]


def test_a_wish_in_words_is_to_be_typed_on_promises(book, tmp_path):
    share(book, MARKET, tmp_path / "out.xlsx")
    filled = Filled(tmp_path / "out.xlsx")
    filled.put(next(k for k in filled.rows if k.startswith("W")), wish="two").save(tmp_path / "back.xlsx")
    assert "Ask what was meant, and type it on Promises" in run("receive", book, tmp_path / "back.xlsx", "--look")[1]


def test_headings_of_another_language_are_taken_as_the_grower_names_them(book, tmp_path):
    sheet = tmp_path / "de.csv"
    sheet.write_bytes("Datum;Stamm;Ereignis;Menge\n5.4.2026;A1;picked;0,5\n".encode("cp1252"))
    code, said = run("import", book, "--from", sheet)
    assert code == 2 and 'The first filled row holds "Datum", "Stamm", "Ereignis", "Menge".' in said and '--map "Datum=Date"' in said
    names = [word for pair in ("Datum=Date", "Stamm=Log", "Ereignis=Event", "Menge=Amount") for word in ("--map", pair)]
    code, said = run("import", book, "--from", sheet, "--into", "events", *names)
    assert "A Datum" in said and "-> Date" in said and "1 row can be read" in said
    empty = tmp_path / "empty.csv"
    empty.write_text("")
    assert "There is nothing in it" in run("import", book, "--from", empty)[1]

"""Season, Coming weeks and the calendar of two invented yards, of 8 and of 800 logs, as a grower meets them."""
from __future__ import annotations

import datetime as dt

import icalendar
import openpyxl
import pytest
import sheet_yards
from click.testing import CliRunner

from calc import season_weeks, tables
from workbook_template import cautions
from workbook_template.build import build
from workbook_template.cli import cli
from workbook_template.refresh import refresh_file
from workbook_template.sheets import coming_weeks, season_strip

YARDS = {"eight": sheet_yards.eight, "eight hundred": sheet_yards.eight_hundred}
DAY = sheet_yards.DAY
CANARY = "98765.43"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """name -> (path, what came of a refresh)."""
    folder, found = tmp_path_factory.mktemp("season"), {}
    for name, yard in YARDS.items():
        path, filled = folder / f"{name.replace(' ', '_')}.xlsx", yard(wage=98765.43 / 100)
        filled.tables["costs"] = [{"date": dt.date(2025, 1, 5), "item": "plugs", "amount": float(CANARY)}]
        filled.tables["markets"] = [{"market": "Stall", "terms": "own stall"}]
        filled.tables["prices"] = [{"price_market": "Stall", "price_product": "fresh", "price_from": dt.date(2025, 1, 1), "price_each": 98.76}]
        build(path, filled, rows=90, as_of=DAY)
        found[name] = path, refresh_file(path, progress=False, today=DAY, stamp="x")
    return found


def sheet_of(made, name: str, title: str):
    return next(s for s in made[name][1].sheets if s.name == title)


def shown(sheet) -> list[str]:
    return [str(c.value) for c in sheet.cells if c.value is not None] + [str(v) for b in sheet.blocks for values, _ in b.lists for v in values]


def strip_rows(sheet) -> dict[str, str]:
    """Name of each line of the strip -> its letters, a space where there is none."""
    found, row = {}, 7
    while isinstance(sheet.value(row, 0), str) and sheet.value(row, 0) != "Key":
        found[sheet.value(row, 0)] = "".join(sheet.value(row, season_strip.FIRST_WEEK + i) or " " for i in range(season_weeks.WEEKS))
        row += 1
    return found


@pytest.mark.parametrize("name", YARDS)
def test_every_group_has_52_weeks_said_in_letters(made, name):
    sheet, strip = sheet_of(made, name, "Season"), made[name][1].results.season_strip
    rows = strip_rows(sheet)
    assert list(rows) == list(dict.fromkeys(strip["group"])) and len(rows) > 3
    letters = {mark: letter or " " for mark, (letter, _, _) in season_strip.LEGEND.items()}
    assert len(set(letters.values())) == len(letters) and set(letters) == set(season_weeks.MARKS)  # told apart without shade
    for group, mine in strip.groupby("group"):
        assert rows[group] == "".join(letters[mark] for mark in mine["mark"]) and len(mine) == 52
    said = shown(sheet)
    assert all(words in said for _, _, words in season_strip.LEGEND.values())
    assert "Sep 2026" in said and "Aug 2027" in said


@pytest.mark.parametrize("name", YARDS)
def test_logs_of_the_strip_are_those_at_work_in_the_yard(made, name):
    results = made[name][1].results
    once = results.season_strip.drop_duplicates("group")
    at_work = results.log_season[results.log_season["stage"] != "not yet inoculated"]
    assert once["logs"].sum() == at_work["alive"].sum() == {"eight": 6, "eight hundred": 720}[name]


@pytest.mark.parametrize("name", YARDS)
def test_no_soak_and_no_first_flush_stands_in_a_month_that_does_not_suit(made, name):
    """Wide range: 59 to 77 deg F. Of the months in sheet_yards May to September suit; a soak falls into the middle of a fitting week or its edge."""
    strip = made[name][1].results.season_strip
    soaks = strip[(strip["mark"] == "soak")]
    assert len(soaks) and set(soaks["week"].dt.month) <= {4, 5, 6, 7, 8, 9, 10}
    assert not set(strip[strip["mark"].isin(["soak", "may"])]["week"].dt.month) & {12, 1, 2}


def test_the_soaks_of_the_strip_are_those_of_the_calendar(made):
    results = made["eight hundred"][1].results
    strip = results.season_strip[results.season_strip["mark"] == "soak"]
    calendar = results.soak_calendar[results.soak_calendar["logs"] > 0]
    last = calendar["week"].max()
    seen = {(g, w) for g, w in zip(strip["group"], strip["week"], strict=True) if w <= last}
    assert seen == {(f"Group {g:g}", w) for g, w in zip(calendar["group"], calendar["week"], strict=True)}


@pytest.mark.parametrize("name", YARDS)
def test_windows_and_groups_stand_below_the_strip(made, name):
    said, results = shown(sheet_of(made, name, "Season")), made[name][1].results
    young = results.log_season[results.log_season["stage"].isin(["spawn run", "may fruit"]) & (results.log_season["flush_basis"] != "already picked")]
    for day in young["flush_from"].dropna().unique():
        assert f"{day.day} {day:%b %Y}" in said
    for group in results.log_season["group"].dropna().unique():
        assert said.count(f"Group {group:g}") == 2  # in the strip, and in the list of groups
    assert set(cautions.THIS_WEEK) <= set(said)


@pytest.mark.parametrize("title", ["Season", "Coming weeks"])
def test_one_page_wide_in_the_file(made, title):
    for path, _ in made.values():
        sheet = openpyxl.load_workbook(path)[title]
        assert sheet.page_setup.fitToWidth in (None, 1) and sheet.page_setup.fitToHeight == 0 and sheet.sheet_properties.pageSetUpPr.fitToPage
        assert sheet.page_setup.orientation == "landscape"


@pytest.mark.parametrize("name", YARDS)
def test_coming_weeks_show_the_supply_the_range_and_the_rest(made, name):
    sheet, results = sheet_of(made, name, "Coming weeks"), made[name][1].results
    weeks = sheet.blocks[0]
    assert [d.isoformat() for d in weeks.columns[0][0]] == results.supply["week"].dt.strftime("%Y-%m-%d").tolist() and weeks.length == 12
    expected, low, high = (weeks.columns[i][0] for i in (2, 3, 4))
    assert all(a <= b for a, b in zip(low, high, strict=True)) and max(expected) > 0
    if name == "eight hundred":  # of one log that fruits by itself most weeks bring nothing, and the mean lies above the range
        assert all(a <= b <= c for a, b, c in zip(low[:4], expected[:4], high[:4], strict=True))
    assert expected == pytest.approx((results.supply["expected_kg"] / 0.45359237).tolist())
    supply, hours = sheet.charts
    assert [s.name for s in supply.every_series][:3] == ["expected", "high: 1 week of 10 above it", "low: 1 week of 10 below it"]
    assert len({s.fill for s in supply.every_series}) == 4 and hours.lines[0].fill == "dashed"  # told apart without colour
    for chart in sheet.charts:
        for series in chart.every_series:
            first, last, column = series.values
            assert first == series.categories[0] and last - first == 11
            assert isinstance(sheet.value(first, series.categories[2]), dt.date) and sheet.value(first, column) is not None
    said = shown(sheet)
    assert set(cautions.THIS_WEEK) <= set(said) and any("weight of a soaked log" in words for words in said)
    assert "felled, not inoculated" in said


def test_hours_beyond_those_free_are_said(made):
    """80 logs felled on 20 Aug x 32 min = 42.7 h by 17 Sep; 21 days of September x 12 h a week = 36 h."""
    first = made["eight hundred"][1].results.hours_ahead.iloc[0]
    assert first["setup_hours"] == pytest.approx(80 * 32 / 60) and first["hours_free"] == pytest.approx(12 * 21 / 7)
    assert first["words"] == f"{first['hours'] - 36:,.0f} h more than you have free"
    assert any(words.endswith("h more than you have free") for words in shown(sheet_of(made, "eight hundred", "Coming weeks")))


@pytest.mark.parametrize(("settings", "words"), [
    (dict.fromkeys(sheet_yards.TEMPERATURES), "No temperature for the months: type the mean of each month on Settings, under Weather of the yard"),
    (dict.fromkeys(sheet_yards.TEMPERATURES, 95), f"{sheet_yards.COLD}: no month's temperature at the site lies in the strain's fruiting range"),
])
def test_what_the_site_cannot_tell_is_said_and_no_date_is_invented(tmp_path, settings, words):
    path = tmp_path / "site.xlsx"
    build(path, sheet_yards.eight(**settings), rows=10, as_of=DAY)
    outcome = refresh_file(path, progress=False, today=DAY, stamp="x")
    sheet = next(s for s in outcome.sheets if s.name == "Season")
    assert any(words.casefold() in text.casefold() for text in shown(sheet))
    if settings["temp_jan"] == 95:
        assert outcome.results.log_season[outcome.results.log_season["flush_basis"] != "already picked"]["flush_from"].isna().all()
        assert "no date" in shown(sheet) and not (outcome.results.season_strip["mark"].isin(["soak", "may"])).any()


@pytest.mark.parametrize(("months", "sentence"), [
    (("feb", "mar"), "Settings, Mean temperature: February, March are blank while other months are typed. Needed: all twelve months. "
                     "Type the missing ones; until then strains with a fruiting range get no date."),
    (("jul",), "Settings, Mean temperature: July is blank while other months are typed. Needed: all twelve months. "
               "Type the missing ones; until then strains with a fruiting range get no date."),
])
def test_some_months_without_a_temperature_are_asked_about(tmp_path, months, sentence):
    path = tmp_path / "some.xlsx"
    build(path, sheet_yards.eight(**{f"temp_{m}": None for m in months}), rows=10, as_of=DAY)
    outcome = refresh_file(path, progress=False, today=DAY, stamp="x")
    assert [p.sentence() for p in outcome.problems] == [sentence]
    season = outcome.results.log_season
    assert season[season["flush_basis"] != "already picked"]["flush_from"].isna().all()
    assert not (outcome.results.soak_calendar["logs"] > 0).any()


def test_a_new_workbook_has_the_charts_in_their_place(tmp_path):
    build(tmp_path / "new.xlsx", sheet_yards.Yard("metric"), rows=10, as_of=DAY)
    book = openpyxl.load_workbook(tmp_path / "new.xlsx")
    assert len(book["Coming weeks"]._charts) == 2
    empty = refresh_file(tmp_path / "new.xlsx", progress=False, today=DAY, stamp="x")
    season = next(s for s in empty.sheets if s.name == "Season")
    assert any("No log on Logs is inoculated yet" in words for words in shown(season))
    assert len(openpyxl.load_workbook(tmp_path / "new.xlsx")["Coming weeks"]._charts) == 2
    assert coming_weeks.SUPPLY_TITLE in str(empty.sheets[3].charts[0].title)


# ---- calendar ----------------------------------------------------------------------------------------------------

def export(path, out, *more):
    done = CliRunner().invoke(cli, ["calendar", str(path), "--out", str(out), "--today", DAY.isoformat(), *more], catch_exceptions=False)
    return done.exit_code, done.output


@pytest.mark.parametrize("name", YARDS)
def test_the_calendar_holds_the_coming_work(made, name, tmp_path):
    path, outcome = made[name]
    before = path.read_bytes()
    code, said = export(path, tmp_path / "work.ics")
    assert code == 0 and path.read_bytes() == before
    data = (tmp_path / "work.ics").read_bytes()
    events = list(icalendar.Calendar.from_ical(data).walk("VEVENT"))
    assert said.startswith(f"Wrote {len(events)} lines")
    titles = [str(e["summary"]) for e in events]
    calendar = outcome.results.soak_calendar
    soaks = [e for e in events if str(e["summary"]).startswith("Soak group")]
    assert len(soaks) == (calendar["logs"] > 0).sum() > 0
    for row, event in zip(calendar[calendar["logs"] > 0].itertuples(), soaks, strict=True):
        assert event.decoded("dtstart") == row.day.date() and row.names in str(event["description"]) and f"{row.logs:g} log" in str(event["summary"])
    look = tables.figure("flush_days")
    pins = next(e for e in events if str(e["summary"]).startswith(f"Look for pins: group {calendar['group'].iloc[0]:g}"))
    soak = calendar["day"].iloc[0].date()
    assert pins.decoded("dtstart") == soak + dt.timedelta(days=look.low) and pins.decoded("dtend") == soak + dt.timedelta(days=look.high + 1)
    assert any(t.startswith("First flush may come: Apr 2026") for t in titles) and any(t.startswith("Inoculate felled logs") for t in titles)
    assert min(e.decoded("dtend") for e in events) > DAY  # nothing that is over


@pytest.mark.parametrize("name", YARDS)
def test_no_price_and_no_money_is_in_the_calendar(made, name, tmp_path):
    path, _ = made[name]
    export(path, tmp_path / "work.ics")
    rows = (tmp_path / "work.ics").read_bytes().replace(b"\r\n ", b"").decode().split("\r\n")
    text = "\n".join(row for row in rows if not row.startswith("UID:"))  # which are drawn by chance
    for word in (CANARY, "98.76", "987", "USD", "Stall", "price", "wage"):
        assert word not in text, word


def test_the_same_work_has_the_same_names_a_week_later(made, tmp_path):
    path, _ = made["eight hundred"]
    export(path, tmp_path / "a.ics")
    CliRunner().invoke(cli, ["calendar", str(path), "--out", str(tmp_path / "b.ics"), "--today", "2026-09-13"], catch_exceptions=False)

    def soaks(name):
        events = icalendar.Calendar.from_ical((tmp_path / name).read_bytes()).walk("VEVENT")
        return {str(e["uid"]): (str(e["summary"]), str(e.decoded("dtstamp"))) for e in events if str(e["summary"]).startswith("Soak")}

    first, later = soaks("a.ics"), soaks("b.ics")
    same = set(first) & set(later)
    assert len(same) >= len(first) - 1 and all(first[uid][1] < later[uid][1] for uid in same)


@pytest.mark.parametrize(("words", "sentence"), [
    (["--out", "work.txt"], "name it with the ending .ics"), (["--out", "no/such/work.ics"], "There is no folder"),
])
def test_mistakes_are_one_sentence(made, words, sentence):
    done = CliRunner().invoke(cli, ["calendar", str(made["eight"][0]), *words], catch_exceptions=False)
    assert done.exit_code == 2 and sentence in done.output
    done = CliRunner().invoke(cli, ["calendar", "nowhere.xlsx", "--out", "w.ics"], catch_exceptions=False)
    assert done.exit_code == 2 and "There is no file nowhere.xlsx" in done.output

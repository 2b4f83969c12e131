"""The money sheets as a grower sees them: every number checked against the result tables, and the sums done again from the cells."""
from __future__ import annotations

import datetime as dt
import re
import shutil

import numpy_financial
import openpyxl
import pytest
from conftest import STAMP
from test_refresh import parts, resaved

from calc import units
from workbook_template.build import build
from workbook_template.refresh import refresh_file
from workbook_template.settings_table import BY_KEY
from workbook_template.sheets import budget, costs
from workbook_template.yard import Yard

POUND = units.factor("weight", units.US)
CENT = 0.005


@pytest.fixture(scope="module")
def book(demo):
    return openpyxl.load_workbook(demo[1], data_only=True)


def find(sheet, words: str, after: int = 0) -> int:
    """Row (1-based) whose first cell holds these words."""
    return next(row for row in range(after + 1, sheet.max_row + 1) if sheet.cell(row, 1).value == words)


def table(sheet, title: str, head_row: int = 2) -> list[dict]:
    """The lines of a block as head -> value; heads that stand there twice get a number behind them."""
    row = find(sheet, title) + head_row
    heads = []
    for cell in sheet[row]:
        heads.append(f"{cell.value} {heads.count(cell.value)}" if cell.value in heads else cell.value)
    lines = []
    while sheet.cell(row + 1, 1).value is not None:
        row += 1
        lines.append({head: cell.value for head, cell in zip(heads, sheet[row], strict=True) if head})
    return lines


def same(shown, value) -> bool:
    return shown is None if value != value else shown == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_every_group_stands_with_its_three_views(book, demo):
    """Each cell of the group table is the result table's number in the workbook's unit; money per kg x 0.45359237 = per lb."""
    frame = costs.yard_first(demo[2].results.cost_views)
    sheet = book["Cost per pound"]
    first = find(sheet, "By group") + 4
    for i, row in enumerate(frame.to_dict("records")):
        for col, (name, _, _) in enumerate(costs.GROUPS, start=1):
            shown = sheet.cell(first + i, col).value
            factor = POUND if name.endswith("per_kg") else 1 / POUND if name.endswith("_kg") else 1.0
            assert shown == row[name] if isinstance(row[name], str) else same(shown, row[name] * factor), (row["by"], row["group"], name)
    assert sheet.cell(first, 2).value == "whole yard" and len(frame) > 20


def test_the_yards_cost_is_the_sum_of_its_parts_and_stands_on_start(book):
    lines = table(book["Cost per pound"], "The whole yard")
    assert [line["View"] for line in lines][:3] == ["cash, so far", "with labour, so far", "with capital, so far"] and len(lines) == 6
    for line in lines:
        parts_of = [line[f"{name} (USD per lb)"] for name in ("Used up", "What lasts", "Labour")]
        assert sum(parts_of) == pytest.approx(line["Cost (USD per lb)"], rel=1e-9)
    answers = {row[0].value: row[1].value for row in book["Start"].iter_rows(max_col=2)}
    questions = ("Cash cost of the marketable weight", "Cash and labour cost of the marketable weight",
                 "The same, with what lasts charged over its life")
    assert [answers[q] for q in questions] == pytest.approx([line["Cost (USD per lb)"] for line in lines[:3]], rel=1e-9)
    assert answers["Cash and labour cost over the expected life"] == pytest.approx(lines[4]["Cost (USD per lb)"], rel=1e-9)


def test_a_refresh_prints_the_answers_about_money(book, demo):
    """Three views, the break-even price and the first profitable years, as on the sheets."""
    printed = dict(demo[2].answers)
    cost = [line["Cost (USD per lb)"] for line in table(book["Cost per pound"], "The whole yard")]
    for question, value in zip(("Cash cost of the marketable weight", "Cash and labour cost of the marketable weight",
                                "The same, with what lasts charged over its life"), cost, strict=False):
        assert printed[question] == f"{value:,.2f} USD per lb"
    sheet = book["What pays"]
    row = find(sheet, "Partner A")
    assert printed["Break-even price with labour, where most is sold"] == f"{sheet.cell(row, 9).value:,.2f} USD per lb  (Partner A)"
    assert printed["First year in profit of the yard, in cash"] == "2027  (with labour: none of the years shown; not all put in comes back)"
    years = table(book["Budget"], "Year by year")
    first = next(line["Year of the plan"] for line in years if line["Net, cash (USD)"] > 0)
    assert printed["Year of the plan on Budget first in profit, in cash"] == f"{first}  (with all costs: no year of the plan)"
    assert all(line["Net (USD)"] < 0 for line in years)


def test_the_reconciliation_on_the_sheet_closes_to_the_cent(book):
    sheet = book["Cost per pound"]
    views = table(sheet, "Does it close? Cash and labour")
    assert [line["View"] for line in views] == ["cash", "labour"]
    for line in views:
        assert line["Difference (USD)"] == 0
        assert abs(line["Spent (USD)"] - line["Charged (USD)"] - line["Not yet (USD)"]) < CENT
    capital = table(sheet, "Does it close? The capital view")
    assert [line["Part"] for line in capital] == ["without a life", "with a life", "labour", "capital view"]
    for line in capital:
        right = sum(line[f"{name} (USD)"] for name in ("Charged", "Value still held", "Dated later", "No log yet", "Log not known"))
        assert abs(line["Spent (USD)"] + line["Interest accrued (USD)"] - right) < CENT and line["Difference (USD)"] == 0
    items = table(sheet, "What lasts")
    for name, part in (("Interest so far", "Interest accrued"), ("Value still held", "Value still held")):
        assert sum(line[f"{name} (USD)"] for line in items) == pytest.approx(capital[1][f"{part} (USD)"], abs=CENT)
    for line in items:
        value = line["Price (USD)"] + line["Interest so far (USD)"] - line["Charged so far (USD)"]
        assert value == pytest.approx(line["Value still held (USD)"], abs=CENT), line["Item"]


def test_the_floor_price_of_each_market_by_hand(book):
    """(cost + fees) / ((1 - commission)(1 - unsold)), from the cells of the sheets alone."""
    cost = {line["View"]: line["Cost (USD per lb)"] for line in table(book["Cost per pound"], "The whole yard")}
    sheet = book["What pays"]
    head = find(sheet, "Break-even price by market") + 2
    seen = 0
    for row in range(head + 1, head + 20, 2):
        market, product = sheet.cell(row, 1).value, sheet.cell(row, 2).value
        if market is None:
            break
        commission, unsold, fees = (sheet.cell(row, col).value for col in (5, 6, 7))
        words = sheet.cell(row + 1, 2).value
        assert "below cost so far" in words
        for col, view in ((8, "cash, so far"), (9, "with labour, so far"), (10, "with capital, so far")):
            if product == "fresh":
                floor = (cost[view] + fees) / (1 - commission) / (1 - unsold)
                assert sheet.cell(row, col).value == pytest.approx(floor, rel=1e-9), (market, view)
        seen += 1
    assert seen == 5


def test_present_value_and_rate_follow_from_the_years_shown(book):
    """Against numpy-financial 1.0.0, from the cells of the yearly flow."""
    years = table(book["What pays"], "The yard, year by year")
    assert [line["Year"] for line in years] == list(range(2024, 2031))
    for line in years:
        net = line["Sold (USD)"] - line["Spent (USD)"] + line["Income to come (USD)"] - line["Cash to come (USD)"] + line["Still held (USD)"]
        assert line["Net, cash (USD)"] == pytest.approx(net, abs=CENT)
        assert line["Net, with labour (USD)"] == pytest.approx(net - line["Labour (USD)"] - line["Labour to come (USD)"], abs=CENT)
    assert years[-1]["Cumulative, cash (USD)"] == pytest.approx(sum(line["Net, cash (USD)"] for line in years), abs=CENT)
    for line, name in zip(table(book["What pays"], "What it is worth"), ("Net in this year's money, cash (USD)", "in it, with labour (USD)"),
                          strict=False):
        money = [year[name] for year in years]
        assert line["Present value (USD)"] == pytest.approx(numpy_financial.npv(line["Real rate"], money), abs=CENT)
        assert line["Rate of return"] == pytest.approx(numpy_financial.irr(money), abs=1e-6)
    marked = [line["Year"] for line in years if line["At first profit, cash (USD)"] is not None]
    first = next(line["Year"] for line in years if line["Net, cash (USD)"] - line["Still held (USD)"] > 0)
    assert marked == [first] == [2027]


def test_the_budget_sheet_holds_together(book, demo):
    sheet, results = book["Budget"], demo[2].results
    figures = table(sheet, "The figures of the plan")
    shown = {line["Figure"]: line for line in figures}
    for entry in results.budget_inputs.itertuples():
        factor = {"weight": 1 / POUND, "money per weight": POUND}.get(entry.kind, 1.0)
        line = shown[entry.title]
        assert (line["Value"], line["Low"], line["High"]) == pytest.approx((entry.value * factor, entry.low * factor, entry.high * factor))
        assert line["Where it comes from"]
    years = table(sheet, "Year by year")
    for line in years:
        net = line["Sales (USD)"] - line["Cash (USD)"]
        assert line["Net, cash (USD)"] == pytest.approx(net, abs=CENT)
        assert line["Net (USD)"] == pytest.approx(net - line["Labour (USD)"] - line["What lasts (USD)"], abs=CENT)
        assert line["Labour (USD)"] == pytest.approx(line["Hours (h)"] * shown["Wage for an hour"]["Value"], abs=CENT)
    whole = years[-1]["Cumulative (USD)"]
    assert whole == pytest.approx(sum(line["Net (USD)"] for line in years), abs=CENT)
    for line in table(sheet, "What matters most"):
        assert line["Change at low (USD)"] == pytest.approx(line["Net at low (USD)"] - whole, abs=CENT)
        assert line["Change at high (USD)"] == pytest.approx(line["Net at high (USD)"] - whole, abs=CENT)
    for title, total in (("Net of all years by price and yield, with labour and what lasts (USD)", whole),
                         ("The same in cash (USD)", years[-1]["Cumulative, cash (USD)"])):
        row = find(sheet, title) + 1
        grid = {(sheet.cell(r, 1).value, sheet.cell(row, c).value): sheet.cell(r, c).value for r in range(row + 1, row + 6) for c in range(2, 7)}
        middle = (shown["Price before commission"]["Value"], shown["Marketable weight of a log in its life"]["Value"])
        assert len(grid) == 25 and grid[middle] == pytest.approx(total, abs=CENT)
    chances = [line["Chance that all is back"] for line in table(sheet, "Chance of profit")]
    assert chances == results.budget_chance["chance_paid_back"].tolist()
    assert f"{chances[-1]:.0%}" in sheet["A3"].value


def test_no_chart_of_the_demo_is_empty(demo):
    charts = [(sheet, chart) for sheet in demo[2].sheets for chart in sheet.charts]
    assert len(charts) == 12 and len({chart.title for _, chart in charts}) == 12
    for sheet, chart in charts:
        assert any(unit in chart.title for unit in ("(USD", "(lb", "(h)", "(in)", "%")), "units in the title"
        drawn = [s for s in chart.every_series if s.fill != "mark"]
        for series in drawn:
            first, last, col = series.values
            values = [sheet.value(row, col) for row in range(first, last + 1)]
            assert sum(isinstance(v, (int, float)) for v in values) >= 2, (chart.title, series.name)
            assert all(sheet.value(row, series.categories[2]) is not None for row in range(first, last + 1))
        assert len({(s.fill, s in chart.lines) for s in drawn}) == len(drawn), "told apart without colour"


def small_yard(**settings) -> Yard:
    """Two logs, a helper at a wage of their own, minutes of both: 90 min own, 60 min at 12.50, 30 min paid through Costs."""
    log = {"wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40, "inoculated": dt.date(2024, 3, 1)}
    day = dt.date(2026, 5, 1)
    return Yard("us", {
        "logs": [{"log": name, **log} for name in ("A1", "A2")],
        "events": [{"date": day, "event": "picked", "log": "A1", "amount": 4.0, "minutes": 90},
                   {"date": day, "event": "worked", "log": "A2", "minutes": 60, "who": "R."},
                   {"date": day, "event": "worked", "minutes": 30, "who": "Hired"}],
        "costs": [{"date": dt.date(2026, 1, 1), "item": "plugs", "amount": 40.0, "category": "spawn"}],
        "helpers": [{"helper": "R.", "helper_wage": 12.5}, {"helper": "Hired", "helper_wage": 20, "paid_in_costs": "yes"}],
    }, settings={"as_of_typed": dt.date(2026, 11, 15), **settings})


def labour_of(book) -> float:
    heads = [cell.value for cell in book["Events"][5]]
    column = heads.index("Labour") + 1
    return sum(value for row in range(6, 20) if isinstance(value := book["Events"].cell(row, column).value, (int, float)))


def test_a_new_wage_gives_the_same_live_and_after_a_refresh(tmp_path, office):
    """10 an hour: 15 + 12.50 = 27.50. Typed 22: 1.5 x 22 + 12.50 = 45.50, live in the program and on every sheet after a refresh."""
    path = tmp_path / "wage.xlsx"
    build(path, small_yard(wage=10), rows=10)
    assert labour_of(openpyxl.load_workbook(path, data_only=True)) == pytest.approx(27.5)

    def raise_wage(book):
        book["Settings"][book.defined_names["typed_wage"].attr_text.partition("!")[2].replace("$", "")] = 22

    resaved(path, raise_wage)
    live = labour_of(office.computed(path))
    outcome = refresh_file(path, progress=False, stamp=STAMP)
    book = openpyxl.load_workbook(path, data_only=True)
    closes = table(book["Cost per pound"], "Does it close? Cash and labour")
    whole = table(book["Cost per pound"], "The whole yard")
    assert live == pytest.approx(45.5) == closes[1]["Spent (USD)"]
    assert whole[1]["Cost (USD per lb)"] == pytest.approx((40 + 45.5) / 4) == pytest.approx(
        next(a.value for a in outcome.results.answers if a.key == "cash_labour_per_weight") * POUND)
    wage = next(line for line in table(book["Budget"], "The figures of the plan") if line["Figure"] == "Wage for an hour")
    assert wage["Value"] == 22


LOG = {"wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}


def test_bad_input_is_said_in_words_and_the_totals_leave_it_out(tmp_path):
    """Of three costs one can be used: 40. 1 + 1 lb picked, 5 lb sold."""
    path = tmp_path / "bad.xlsx"
    day = dt.date(2026, 5, 1)
    build(path, Yard("us", {
        "logs": [{"log": "A1", **LOG, "inoculated": dt.date(2024, 3, 1)}, {"log": "A2", **LOG, "inoculated": dt.date(2026, 6, 1)}],
        "events": [{"date": day, "event": "picked", "log": name, "amount": 1.0} for name in ("A1", "A2")],
        "costs": [{"date": day, "item": "plugs", "amount": 40.0}, {"date": day, "item": "saw", "amount": 200.0, "life_years": 0},
                  {"date": day, "item": "dryer", "amount": 150.0, "life_years": 5, "salvage": 300.0}],
        "markets": [{"market": "Stall", "terms": "own stall"}],
        "sales": [{"date": dt.date(2026, 5, 2), "market": "Stall", "kind": "sold", "product": "fresh", "amount": 5.0, "price": 10.0}],
    }), rows=10)
    outcome = refresh_file(path, today=dt.date(2026, 11, 15), progress=False, stamp=STAMP)
    told = {(p.level, p.sheet, p.row): p.sentence() for p in outcome.problems}
    assert "Life: 0 is too small" in told["refused", "Costs", 7]
    assert "300 is more than the price, 150" in told["refused", "Costs", 8]
    assert "before A2 was inoculated on 1 Jun 2026" in told["question", "Events", 7]
    assert "5 lb fresh had gone to markets, but only 2 lb had been picked" in told["question", "Sales", 6]
    answers = {a.key: a for a in outcome.results.answers}
    assert answers["spent"].value == 40 and answers["cash_per_weight"].value * POUND == pytest.approx(40 / 2)
    assert answers["rows_used"].text == "costs 1 of 3"


def test_costs_before_any_log_wait_and_are_said(tmp_path):
    path = tmp_path / "early.xlsx"
    build(path, Yard("us", {"costs": [{"date": dt.date(2026, 1, 1), "item": "plugs", "amount": 40.0},
                                      {"date": dt.date(2026, 1, 1), "item": "drill", "amount": 90.0, "life_years": 6}]}), rows=10)
    outcome = refresh_file(path, today=dt.date(2026, 11, 15), progress=False, stamp=STAMP)
    answer = next(a for a in outcome.results.answers if a.key == "not_charged")
    assert answer.value == 130 and "no log was in the yard then" in answer.text
    assert ("Money and hours that no log carries", "130.00 USD  (shared, but no log was in the yard then and none has come since)") in outcome.answers
    assert [p.sentence() for p in outcome.problems] == [
        "Costs, Date: 130.00 was spent for all logs before any was in the yard, and none has come since. Needed: a log felled or inoculated to "
        "carry it. It stands in the cost of the yard and waits for the next log inoculated: type Inoculated on Logs."]
    book = openpyxl.load_workbook(path, data_only=True)
    assert book["Problems"]["A6"].value == "please check" and book["Problems"]["E6"].value.startswith("130.00 was spent")
    closes = table(book["Cost per pound"], "Does it close? Cash and labour")
    assert (closes[0]["Spent (USD)"], closes[0]["of it no log yet (USD)"], closes[0]["Difference (USD)"]) == (130, 130, 0)


def test_dried_stock_and_what_is_to_come_of_each_log(book, demo):
    """Dried out = gone out + left, lot by lot; the fields of Each log are those of the result table."""
    sheet = book["Yield"]
    row, seen = find(sheet, "Dried stock") + 3, []
    while sheet.cell(row, 2).value is not None:
        lot, dried, gone, left, early, late = (sheet.cell(row, col).value for col in (2, 5, 7, 8, 10, 11))
        assert dried == pytest.approx(gone + left, abs=1e-6) and early < late
        seen.append((lot, sheet.cell(row, 3).value, sheet.cell(row + 1, 2).value))
        row += 2
    assert [s[0] for s in seen] == ["D26-17", "D26-20", "D26-22", "D26-26"]
    assert [s[1:] for s in seen] == [(None, "used up"), (None, "used up"), (1, "use first"), (2, "keeps")]
    heads = [cell.value for cell in book["Each log"][5]]
    columns = [heads.index(head) + 1 for head in ("Still to come (lb)", "One in ten below (lb)", "One in ten above (lb)")]
    shown = {book["Each log"].cell(r, 1).value: [book["Each log"].cell(r, c).value for c in columns] for r in range(6, 110)}
    known = demo[2].results.expected_logs
    for entry in known.itertuples():
        assert shown[entry.row] == pytest.approx([entry.expected_kg / POUND, entry.low_kg / POUND, entry.high_kg / POUND])
    assert set(known["row"]) == set(shown) - {None}


def test_a_negative_wage_is_asked_about_and_the_starting_one_used(tmp_path, office):
    path = tmp_path / "negative.xlsx"
    build(path, small_yard(wage=-5), rows=10)
    outcome = refresh_file(path, progress=False, stamp=STAMP)
    told = [p.sentence() for p in outcome.problems if p.sheet == "Settings"]
    start = BY_KEY["wage"].start("us")
    assert len(told) == 1 and "-5 is beyond what is usual" in told[0] and f"The starting value {start:g} was used" in told[0]
    assert labour_of(office.computed(path)) == pytest.approx(1.5 * start + 12.5)


def test_figures_typed_for_the_plan_come_before_record_and_print(tmp_path):
    """9 USD a lb and 1.5 lb a log typed in the workbook's units; a share above 95 % is asked about and left out."""
    path = tmp_path / "plan.xlsx"
    build(path, small_yard(budget_logs=30, budget_years=4, budget_price_per_kg=9, budget_life_kg=1.5, budget_commission=0.2, budget_unsold=3,
                           budget_setup_cash=0), rows=10)
    outcome = refresh_file(path, progress=False, stamp=STAMP)
    sheet = openpyxl.load_workbook(path, data_only=True)["Budget"]
    shown = {line["Figure"]: line for line in table(sheet, "The figures of the plan")}
    for title, value in (("Logs made a year", 30), ("Years ahead", 4), ("Price before commission", 9), ("Commission", 0.2),
                         ("Marketable weight of a log in its life", 1.5), ("Cash to make a log", 0)):
        assert shown[title]["Value"] == pytest.approx(value) and shown[title]["Where it comes from"] == "Yours", title
    assert shown["Price before commission"]["Unit"] == "USD per lb" and len(table(sheet, "Year by year")) == 4
    told = [p.sentence() for p in outcome.problems if p.sheet == "Settings"]
    assert len(told) == 1 and "Brought to market, not sold" in told[0] and "It was left out as if blank" in told[0]
    assert shown["Brought to market, not sold"]["Value"] == 0.1  # the starting guess


def test_the_charts_follow_a_new_currency(demo, tmp_path):
    """A chart is known by its title without the unit, which may change on Settings."""
    path = tmp_path / "currency.xlsx"
    shutil.copy(demo[1], path)

    def change(book):
        book["Settings"][book.defined_names["typed_currency"].attr_text.partition("!")[2].replace("$", "")] = "CAD"

    resaved(path, change)
    refresh_file(path, progress=False, stamp=STAMP)
    drawn = b"".join(xml for name, xml in parts(path).items() if name.startswith("xl/charts/chart"))
    assert drawn.count(b"(CAD") >= 5 and b"(USD" not in drawn


def test_a_chart_of_the_growers_own_with_a_like_title_is_left_alone():
    from workbook_template.ports.closed_file import _matched
    ours, own = "Picked by month (lb)", "Picked by month (2025)"
    assert _matched([ours], [own, ours]) == {ours: 1}
    assert _matched([ours], ["Picked by month (kg)", own]) == {}  # two alike: neither is touched
    assert _matched([ours], ["My chart", "Picked by month (kg)"]) == {ours: 1}


def test_a_new_workbook_shows_where_the_money_will_stand(tmp_path):
    path = tmp_path / "new.xlsx"
    build(path, Yard("metric"), rows=10)
    book = openpyxl.load_workbook(path)
    for name in ("Cost per kilogram", "What pays", "Budget"):
        assert book[name]["A3"].value.startswith("Filled by a refresh") and len(book[name]._charts) == 2
    refresh_file(path, progress=False, stamp=STAMP)
    book = openpyxl.load_workbook(path, data_only=True)
    figures = table(book["Budget"], "The figures of the plan")
    assert len(figures) == 14 and all(line["Where it comes from"] not in ("Own record", "Yours") for line in figures)
    assert budget.NET_TITLE in "".join(str(chart.title.tx.rich.p[0].r[0].t) for chart in book["Budget"]._charts)


def test_charts_name_their_series_by_cells_and_leave_nothing_to_guess(demo):
    """Programs drop a name that is no cell's when they save, and fill in unsaid choices each in its own way."""
    from workbook_template.draw_results import chart_parts
    for sheet in demo[2].sheets:
        for chart, xml in zip(sheet.charts, chart_parts(sheet), strict=True):
            text = xml.decode()
            names = re.findall(r"<c:tx><c:strRef><c:f>[^<]*</c:f><c:strCache><c:ptCount val=\"1\"/><c:pt idx=\"0\"><c:v>([^<]*)</c:v>", text)
            assert names == [series.name for series in chart.every_series], chart.title
            assert text.count("<c:showSerName") == text.count("<c:showVal") and "<c:dispBlanksAs" in text
            assert all(sheet.value(*series.named_at) == series.name for series in chart.every_series)

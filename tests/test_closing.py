"""Closed periods: the balance kept is the hand sum, a later change is asked about in words, a dated correction is not."""
from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from test_cli import run
from test_workbook import audit

from calc import closing
from workbook_template.build import build
from workbook_template.close import close
from workbook_template.merge import read_copy
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import FileInUse, backup_path
from workbook_template.ports.type_in import Typed, type_in
from workbook_template.refresh import check_file, refresh_file
from workbook_template.yard import Yard

DAY = dt.date
TODAY, CLOSED = DAY(2026, 11, 1), DAY(2026, 9, 30)
KEYS = ("date", "market", "kind", "product", "amount")
SALES = [dict(zip(KEYS, row, strict=True)) for row in (
    (DAY(2026, 9, 1), "Square", "delivered", "fresh", 20.0), (DAY(2026, 9, 5), "Square", "sold", "fresh", 10.0),
    (DAY(2026, 9, 6), "Square", "fee", "fresh", 5.0), (DAY(2026, 9, 20), "Square", "paid", "fresh", 50.0),
    (DAY(2026, 9, 9), "Kitchen", "delivered", "fresh", 4.0), (DAY(2026, 10, 3), "Square", "sold", "fresh", 2.0))]
MARKETS = [{"market": "Square", "terms": "on consignment", "commission": 0.2}, {"market": "Kitchen", "terms": "bought outright"},
           {"market": "Nowhere", "terms": "own stall"}]
PRICES = [{"price_market": market, "price_product": "fresh", "price_from": DAY(2026, 1, 1), "price_each": each}
          for market, each in (("Square", 12.0), ("Kitchen", 11.0))]
SQUARE, KITCHEN = 4100, 4400  # 10 x 12 - 20 % - 5 - 50 = 41.00; 4 x 11 = 44.00


def frames(sales=SALES, prices=PRICES, closings=(), markets=MARKETS):
    def frame(rows, *dates):
        made = pd.DataFrame([{**r, "row": i} for i, r in enumerate(rows, start=6)])
        for column in dates:
            made[column] = pd.to_datetime(made[column])
        return made
    kept = frame(closings, "closed_to") if closings else pd.DataFrame()
    return {"sales": frame(sales, "date"), "prices": frame(prices, "price_from"), "markets": frame(markets), "closings": kept}


def kept(market, day, money):
    return {"close_market": market, "closed_to": day, "close_balance": money}


BOTH = (kept("Square", CLOSED, 41.0), kept("Kitchen", CLOSED, 44.0))


def said(**more):
    return [p.sentence() for p in closing.questions(frames(**{"closings": BOTH, **more}), TODAY)]


def test_the_balance_is_the_hand_sum_of_the_lines_up_to_the_day():
    found = closing.accounts(frames(), CLOSED)
    assert {k: (a.cents, a.lines) for k, a in found.items()} == {"square": (SQUARE, 4), "kitchen": (KITCHEN, 1)}
    assert closing.accounts(frames(), TODAY)["square"].cents == SQUARE + 1920  # 2 x 12 - 20 % = 19.20
    assert closing.accounts(frames(), DAY(2026, 8, 1)) == {}


def test_what_agrees_is_not_asked_about():
    assert said() == []
    late = {**SALES[1], "date": DAY(2026, 10, 9), "kind": "correction", "amount": -6.0}
    assert said(sales=[*SALES, late]) == []


@pytest.mark.parametrize("changed, now, how", [
    ({"sales": [SALES[0], {**SALES[1], "amount": 9.0}, *SALES[2:]]}, "31.40", "9.60 less"),  # 1 x 12 less 20 %
    ({"sales": SALES[:3] + SALES[4:]}, "91.00", "50.00 more"),
    ({"sales": [*SALES, {**SALES[1], "date": DAY(2026, 9, 30)}]}, "137.00", "96.00 more"),
    ({"prices": [{**PRICES[0], "price_each": 13.0}, PRICES[1]]}, "49.00", "8.00 more"),
    ({"markets": [{**MARKETS[0], "commission": 0.25}, *MARKETS[1:]]}, "35.00", "6.00 less"),
])
def test_a_change_in_the_closed_period_is_a_question(changed, now, how):
    told = said(**changed)
    assert len(told) == 1 and told[0].startswith(
        f"Lists row 6, Closed periods: Square was closed to 30 Sep 2026 owing 41.00; its lines up to that day now come to {now}, {how}: lines of")
    assert "as a line of kind correction of a later day" in told[0]


def test_a_change_is_told_once_though_later_periods_carry_it():
    rows = [kept("square", CLOSED, 41.0), kept("Square", DAY(2026, 10, 31), 60.2)]
    assert said(closings=rows) == []
    one = [SALES[0], {**SALES[1], "amount": 9.0}, *SALES[2:]]
    assert len(said(closings=rows, sales=one)) == 1
    assert len(said(closings=rows, sales=[*one[:-1], {**SALES[-1], "amount": 3.0}])) == 2


def test_a_row_without_money_or_of_a_day_to_come_is_asked_about():
    assert "Needed: money. Type 41.00 if nothing has been changed since" in said(closings=[kept("Square", CLOSED, None)])[0]
    assert closing.questions(frames(closings=[kept("Square", CLOSED, None)]), TODAY)[0].code == "closed"
    assert "a day still to come" in said(closings=[kept("Square", DAY(2026, 12, 31), 60.2)])[0]
    assert said(closings=[kept(None, CLOSED, 1.0), kept("Nowhere", CLOSED, 0.0)]) == []
    assert "closed without a day" in said(closings=[kept("Square", None, 1.0)])[0]


def test_what_there_is_to_close():
    names = [a.market for a in closing.to_close(frames(), CLOSED)]
    assert sorted(names) == ["Kitchen", "Square"] and closing.to_close(frames(closings=BOTH), CLOSED) == []
    assert [a.market for a in closing.to_close(frames(closings=BOTH), DAY(2026, 10, 31), " square ")] == ["Square"]


# ---- on a file ---------------------------------------------------------------------------------------------------

@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    path = tmp_path_factory.mktemp("drawn") / "yard.xlsx"
    build(path, Yard("us", {"sales": SALES, "markets": MARKETS, "prices": PRICES}), rows=10, as_of=TODAY)
    return path


@pytest.fixture
def yard(drawn, tmp_path):
    return Path(shutil.copy(drawn, tmp_path / "yard.xlsx"))


def asked(path):
    return [p.sentence() for p in check_file(path, TODAY).problems if p.code == "closed"]


def test_close_writes_the_balances_and_a_change_shows_at_the_refresh(yard):
    done = close(yard, CLOSED, today=TODAY)
    assert [line.cells for line in read_copy(yard).lines["closings"]] == [
        {"close_market": "Kitchen", "closed_to": dt.datetime(2026, 9, 30), "close_balance": 44.0},
        {"close_market": "Square", "closed_to": dt.datetime(2026, 9, 30), "close_balance": 41.0}]
    assert "  Square: owes USD 41.00 by 4 lines of Sales" in done.lines() and done.backup == backup_path(yard)
    assert "Errors: 0" in audit(yard) and asked(yard) == []
    yard.write_bytes(type_in(yard, [Typed("sales", 7, "amount", 9.0)], today=TODAY))
    assert "now come to 31.40, 9.60 less" in asked(yard)[0]
    refresh_file(yard, progress=False, today=TODAY)
    problems = openpyxl.load_workbook(yard)["Problems"]
    assert any("was closed to 30 Sep 2026" in str(cell.value) for row in problems.iter_rows() for cell in row)
    with pytest.raises(FileProblem, match="does not agree any more"):
        close(yard, DAY(2026, 10, 31), today=TODAY)
    correction = {**SALES[1], "date": DAY(2026, 10, 9), "kind": "correction", "amount": -9.6}
    yard.write_bytes(type_in(yard, [Typed("sales", 7, "amount", 10.0)], {"sales": [correction]}, today=TODAY))
    assert asked(yard) == []
    done = close(yard, DAY(2026, 10, 31), today=TODAY)
    assert [(a.market, a.cents) for a in done.accounts] == [("Kitchen", KITCHEN), ("Square", SQUARE + 1920 - 960)]


def test_what_close_refuses(yard):
    before = yard.read_bytes()
    for day, words in ((DAY(2026, 12, 31), "still to come"), (DAY(2026, 1, 31), "No market has an account")):
        with pytest.raises(FileProblem, match=words):
            close(yard, day, today=TODAY)
    with pytest.raises(FileProblem, match="Nowhere has no account"):
        close(yard, CLOSED, "Nowhere", today=TODAY)
    assert yard.read_bytes() == before
    yard.write_bytes(type_in(yard, [Typed("sales", 7, "amount", "lots")], today=TODAY))
    with pytest.raises(FileProblem, match="1 row of Sales cannot be read"):
        close(yard, CLOSED, today=TODAY)
    yard.with_name(f".~lock.{yard.name}#").write_text("A Grower,x,y,z")
    with pytest.raises(FileInUse):
        close(yard, CLOSED, today=TODAY)


def test_the_command(yard):
    told = run("close", yard, "--to", "2026-09-30", "--market", "square")
    assert told.startswith("Closed to 30 Sep 2026 on Lists of yard.xlsx. The file as it was: yard.backup.xlsx.") and "Kitchen" not in told
    assert "is closed already" in run("close", yard, "--to", "2026-09-30", "--market", "square", code=2)
    assert "is not a date" in run("close", yard, "--to", "September", code=2)


# ---- a whole year ------------------------------------------------------------------------------------------------

LAST_YEAR = DAY(2025, 12, 31)
EVENTS = [dict(zip(("date", "event", "log", "amount", "minutes"), row, strict=True)) for row in (
    (DAY(2025, 1, 1), "picked", "A1", 2.0, 10), (LAST_YEAR, "picked", "A1", 1.5, None), (DAY(2025, 6, 1), "culled", "A1", 0.5, None),
    (DAY(2025, 6, 2), "worked", None, None, 50), (DAY(2026, 1, 1), "picked", "A1", 9.0, 90), (DAY(2024, 12, 31), "picked", "A1", 8.0, 80))]
COSTS = [{"date": DAY(2025, 3, 1), "item": "plugs", "amount": 30.0}, {"date": DAY(2025, 4, 1), "item": "refund", "amount": -4.0},
         {"date": DAY(2026, 3, 1), "item": "wax", "amount": 7.0}]
POUND = 0.45359237  # kg, exact by definition (NIST Handbook 44)


def year_frames(kept=(), costs=COSTS):
    events = pd.DataFrame(EVENTS).assign(amount=lambda t: t["amount"] * POUND, date=lambda t: pd.to_datetime(t["date"]))
    return {"events": events, "costs": pd.DataFrame(costs).assign(date=lambda t: pd.to_datetime(t["date"])),
            "closed_years": pd.DataFrame([{**r, "row": i} for i, r in enumerate(kept, start=9)])}


def test_a_year_is_the_hand_sum_from_its_first_day_to_its_last():
    found = closing.year_of(year_frames(), 2025)
    assert found.picked_kg == pytest.approx(3.5 * POUND)  # 2.0 + 1.5; what was culled was picked before
    assert found.spent == pytest.approx(26.0) and found.minutes == 60.0 and found.lines == 6  # 30 - 4; 10 + 50; 2 picks, 2 timed, 2 costs


def test_a_changed_line_of_a_closed_year_is_asked_about_by_sum():
    kept = {"closed_year": 2025.0, "year_picked": 3.5 * POUND, "year_spent": 26.0, "year_minutes": 60.0}
    assert closing.year_questions(year_frames([kept]), POUND, TODAY) == []
    asked = [p.sentence() for p in closing.year_questions(year_frames([kept], costs=COSTS[:1] + COSTS[2:]), POUND, TODAY)]
    assert len(asked) == 1 and "2025 was closed with 26.00 spent; its lines on Costs now come to 30.00" in asked[0] and "row 9" in asked[0]
    more = {**kept, "year_picked": 3.6 * POUND, "year_minutes": float("nan")}  # a blank was not kept, and is not asked about
    (only,) = closing.year_questions(year_frames([more]), POUND, TODAY)
    assert "3.60 picked; its lines on Events now come to 3.50" in only.found
    (minutes,) = closing.year_questions(year_frames([{**kept, "year_minutes": 61.0}]), POUND, TODAY)
    assert minutes.found == ("2025 was closed with 61.00 minutes worked; its lines on Events now come to 60.00: lines of the closed year were "
                             "changed") and minutes.code == "closed"
    assert minutes.do == ("Put the changed lines back as they were, and put right what was wrong by a line of a later day; if the year was closed by "
                          "mistake, clear this row")
    blank = [*COSTS, {**COSTS[0], "amount": float("nan")}]  # a cost without a price adds nothing
    assert closing.year_of(year_frames(costs=blank), 2025).spent == 26.0


def test_a_year_that_is_not_over_cannot_be_closed_and_a_row_without_a_year_closes_none():
    rows = [{"closed_year": 2026.0, "year_spent": 999.0}, {"closed_year": float("nan"), "year_spent": 999.0}]
    (only,) = closing.year_questions(year_frames(rows), POUND, TODAY)
    assert (only.found, only.needed, only.row) == ("2026 is closed, and its last day is still to come", "a year that is over", 9)
    assert len(closing.year_questions(year_frames(rows[:1]), POUND, DAY(2026, 12, 31))) == 1  # on its last day it is over: then the sums are asked


def test_the_command_closes_a_year(tmp_path):
    path = tmp_path / "yard.xlsx"
    logs = [{"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 5.0, "length": 40.0, "inoculated": DAY(2024, 1, 1)}]
    build(path, Yard("us", {"logs": logs, "events": EVENTS, "costs": COSTS}), rows=10, as_of=TODAY)
    told = run("close", path, "--year", "2025")
    assert "  2025: picked 3.50 lb, spent USD 26.00, worked 1.0 h" in told
    assert "Errors: 0" in audit(path) and asked(path) == [] and "is closed already" in run("close", path, "--year", "2025", code=2)
    path.write_bytes(type_in(path, [Typed("events", 6, "amount", 2.25)], today=TODAY))
    assert "2025 was closed with 3.50 picked; its lines on Events now come to 3.75" in asked(path)[0]
    for wrong in ((), ("--to", "2025-12-31", "--year", "2025"), ("--year", "2025", "--market", "Square")):
        assert "--year YYYY alone" in run("close", path, *wrong, code=2)

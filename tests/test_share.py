"""The copy for a market: it holds what the market may see, on one page, with true values, and nothing else in any part."""
from __future__ import annotations

import datetime as dt
import io
import json
import re
import zipfile
from pathlib import Path
from types import SimpleNamespace

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from test_workbook import audit

from calc import offers
from workbook_template import cautions, schema
from workbook_template.build import build
from workbook_template.cli import cli
from workbook_template.columns import CHOICE, NUMBER, TEXT
from workbook_template.market_copy import SHEET, Offer, draw
from workbook_template.partner import offer_of, put_keys, share
from workbook_template.ports.closed_file import ClosedFile
from workbook_template.ports.preflight import FileProblem
from workbook_template.refresh import read_inputs
from workbook_template.sent import Sent, load_all
from workbook_template.settings_table import SETTINGS
from workbook_template.yard import Yard

DAY = dt.date(2026, 11, 15)
MARKET, OTHER = "Hill Fair", "Otherplace"


def d(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def a_yard(profile: str = "us", **settings) -> Yard:
    """A yard that sells at two markets. Invented figures."""
    return Yard(profile, {
        "logs": [{"log": "A1", "wood": "white oak", "strain": "shiitake, wide range", "diameter": 5.0, "length": 40.0, "count": 20,
                  "inoculated": d("2025-03-15")}],
        "events": [
            {"date": d("2026-11-10"), "event": "picked", "log": "A1", "amount": 9.0, "grade": "A", "lot": "P26-45", "picked_wet": "yes"},
            {"date": d("2026-11-12"), "event": "picked", "log": "A1", "amount": 3.0, "grade": "B", "lot": "P26-46"},
            {"date": d("2026-10-01"), "event": "picked", "log": "A1", "amount": 8.0, "lot": "P26-39"},
        ],
        "markets": [{"market": MARKET, "terms": "on consignment", "commission": 0.2},
                    {"market": OTHER, "terms": "bought outright"}],
        "prices": [{"price_market": MARKET, "price_product": "fresh", "price_from": d("2026-01-01"), "price_each": 12.0},
                   {"price_market": MARKET, "price_product": "fresh", "price_from": d("2026-12-01"), "price_each": 13.0},
                   {"price_market": OTHER, "price_product": "fresh", "price_from": d("2026-01-01"), "price_each": 9.75}],
        "sales": [
            {"date": d("2026-11-11"), "market": MARKET, "kind": "delivered", "product": "fresh", "amount": 4.0, "grade": "A", "lot": "P26-45",
             "docket": "117"},
            {"date": d("2026-11-12"), "market": OTHER, "kind": "delivered", "product": "fresh", "amount": 2.0, "lot": "P26-46"},
            {"date": d("2026-10-02"), "market": MARKET, "kind": "delivered", "product": "fresh", "amount": 8.0, "lot": "P26-39"},
            {"date": d("2026-10-10"), "market": MARKET, "kind": "sold", "product": "fresh", "amount": 7.0},
        ],
        "promises": [{"promise_week": d("2026-11-18"), "promise_market": MARKET, "promise_product": "fresh", "asked": 5.0, "promised": 3.0},
                     {"promise_week": d("2026-11-16"), "promise_market": OTHER, "promise_product": "fresh", "promised": 1.0}],
    }, {"as_of_typed": DAY, "yard": "Long Hollow", **settings})


@pytest.fixture
def book(tmp_path) -> Path:
    path = tmp_path / "yard.xlsx"
    build(path, a_yard(share_name="Green Farm", share_contact="12 Mill Lane"), rows=10, as_of=DAY)
    return path


def table(path: Path, first: str, data_only: bool = True) -> list[dict]:
    """The rows of a block by heading; first: a heading that only this block has."""
    sheet = openpyxl.load_workbook(path, data_only=data_only).active
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    at = next(i for i, row in enumerate(rows) if "Row" in row and first in row)
    found = []
    for row in rows[at + 1:]:
        if row[0] is None:
            break
        found.append({title: value for title, value in zip(rows[at], row, strict=True) if title})
    return found


def test_deliveries_show_what_is_not_told_yet(book, tmp_path):
    """By hand: 12 lb came, 7 are told without saying of which; the oldest 8 lb come first, so 1 of them and the 4 newer are left."""
    out = tmp_path / "out.xlsx"
    share(book, "hill fair", out)
    rows = table(out, "Sold (lb)")
    assert [row["Row"] for row in rows] == ["S00003", "S00001", "N01", "N02", "N03", "N04", "N05", "N06"]
    assert [(row["Weight (lb)"], row["Told before (lb)"], row["Not told yet (lb)"]) for row in rows[:2]] == [(8, 7, 1), (4, None, 4)]
    assert rows[1]["Docket"] == "117" and rows[1]["Lot"] == "P26-45" and rows[1]["Grade"] == "A" and rows[1]["Price (per lb)"] == 12
    assert rows[1]["Delivered"] == dt.datetime(2026, 11, 11) and all(rows[1][k] is None for k in ("Sold (lb)", "Returned (lb)", "Remark"))


def test_lots_on_hand_have_a_range_to_use_them_by(book, tmp_path):
    """By hand: of 9 lb picked 4 went to market, of 3 lb 2. Fresh keeps 10 days (in print) to 14 (Settings)."""
    out = tmp_path / "out.xlsx"
    share(book, MARKET, out)
    rows = table(out, "On hand (lb)")
    assert [(row["Lot"], row["On hand (lb)"], row["Use by"], row["To note"]) for row in rows] == [
        ("P26-45", 5, "20 Nov to 24 Nov 2026", "picked wet: use first"), ("P26-46", 1, "22 Nov to 26 Nov 2026", None)]


SUPPLY = pd.DataFrame({"week": pd.date_range("2026-11-16", periods=12, freq="7D"), "soaked_logs": 71, "expected_kg": 4.56789, "low_kg": 2.34567,
                       "high_kg": 6.78901, "promise_kg": 3.0, "promised_kg": 1.814, "free_kg": 1.186, "words": "from 71 logs"})


def offered(path: Path, supply=SUPPLY) -> Offer:
    inputs = read_inputs(ClosedFile(path, force=True), None)
    put_keys(inputs)
    return offer_of(inputs, SimpleNamespace(supply=supply), Sent("0" * 16, "1" * 12, 7, MARKET, DAY.isoformat(), inputs.profile))


def test_weeks_show_a_promise_rounded_down_and_words(book, tmp_path):
    """By hand: 1.186 kg are 2.61 lb, rounded down 2.6; 3 lb are promised here in the week of 16 Nov; the price rises in December."""
    offer = offered(book)
    out = tmp_path / "out.xlsx"
    draw(out, offer)
    rows = table(out, "Your wish (lb)")
    assert [row["Week of"].date() for row in rows] == [d("2026-11-16") + dt.timedelta(weeks=i) for i in range(8)]
    assert [row["Promised to you (lb)"] for row in rows] == [3.0] + [None] * 7
    assert {row["We can promise more (lb)"] for row in rows} == {2.6} and {row["Beyond that"] for row in rows} == {"likely more"}
    assert [row["Price (per lb)"] for row in rows] == [12, 12, 12] + [13] * 5
    text = everything(out)
    for digits in ("4.56", "2.34", "6.78", "10.07", "5.17", "14.96", "71"):
        assert digits not in re.sub(r"S0+\d+|[0-9a-f]{12,}", "", text_of_cells(out)), digits
    assert "from 71 logs" not in text


def text_of_cells(path: Path) -> str:
    return "\n".join(str(cell.value) for row in openpyxl.load_workbook(path).active.iter_rows() for cell in row if cell.value is not None)


def test_words_beyond_a_promise():
    assert [offers.beyond(*pair) for pair in ((2.0, 3.0), (0.0, 1.0), (0.0, 0.0), (1.0, 1.0))] == ["likely more", "perhaps some", "none in sight", ""]


def test_one_page_protected_but_for_the_boxed_cells_and_valid(book, tmp_path):
    out = tmp_path / "out.xlsx"
    draw(out, offered(book))
    assert "no findings" in audit(out)
    sheet = openpyxl.load_workbook(out).active
    assert sheet.title == SHEET and sheet.sheet_properties.pageSetUpPr.fitToPage  # one page each way is what the file says by saying nothing
    assert sheet.page_setup.fitToHeight in (None, 1) and sheet.page_setup.fitToWidth in (None, 1)
    assert sheet.protection.sheet and not sheet.protection.password
    free = {cell.coordinate for row in sheet.iter_rows() for cell in row if not cell.protection.locked}
    boxed = {cell.coordinate for row in sheet.iter_rows() for cell in row if cell.border.left.style == "thin" and cell.border.right.style == "thin"}
    assert free == boxed and len(free) == 1 + 8 * 2 + 8 * 6 + 6 * 4
    said = text_of_cells(out)
    assert all(words in said for words in cautions.MARKET_COPY) and "no security" in said and "Green Farm · 12 Mill Lane" in said


def test_the_pages_formulas_hold_true_values(book, tmp_path, office):
    """Filled in as a market would, computed by LibreOffice, and compared with the twins over right and wrong rows."""
    offer = offered(book)
    fills = [{"sold": 3.0, "got": 12.5}, {"sold": 1.0, "returned": 0.5, "spoiled": 0.25}, {"sold": 9.0}, {"sold": "two"}, {"returned": -1.0},
             {"got": 11.0}, {"sold": 0.0, "counted": 4.0}, {}]
    base = offer.delivered[1]
    offer.delivered = [{**base, "row": f"S{i:05d}", "told": 1.0 if i % 2 else None, **fill} for i, fill in enumerate(fills)]
    out = tmp_path / "out.xlsx"
    draw(out, offer)
    told, computed = table(out, "Sold (lb)"), table(office.convert(out, "xlsx"), "Sold (lb)")
    assert len(told) == 8 + 6 and [row["Check"] or "" for row in told[:8]] == [
        "", "", "more than delivered", "a plain number, please", "below 0?", "sold how much?", "", ""]
    for ours, theirs in zip(told, computed, strict=True):
        assert (ours["Check"] or "") == (theirs["Check"] or "")
        assert (ours["Not told yet (lb)"] or 0) == pytest.approx(theirs["Not told yet (lb)"] or 0, abs=1e-9)


def test_what_is_shown_is_chosen_on_settings(tmp_path):
    path, out = tmp_path / "yard.xlsx", tmp_path / "out.xlsx"
    build(path, a_yard("metric", share_prices="no", share_lots="no"), rows=10, as_of=DAY)
    share(path, MARKET, out)
    said = text_of_cells(out)
    assert "Price (" not in said and "On hand" not in said and "Long Hollow" not in said and "P26-46" not in said and "Price got (per kg)" in said


def test_a_market_that_buys_outright_tells_returns_only(book, tmp_path):
    out = tmp_path / "out.xlsx"
    share(book, OTHER, out)
    rows = table(out, "Returned (lb)")
    assert rows[0]["Row"] == "S00002" and not {"Sold (lb)", "Price got (per lb)", "Counted, still here (lb)"} & set(rows[0])


def test_sheets_are_numbered_and_noted(book, tmp_path):
    done = [share(book, MARKET, tmp_path / f"{i}.xlsx") for i in range(2)] + [share(book, OTHER, tmp_path / "2.xlsx")]
    assert [one.offer.send for one in done] == [1, 2, 3]
    notes = load_all(book)
    assert [(note.send, note.market) for note in notes] == [(1, MARKET), (2, MARKET), (3, OTHER)] and len({note.token for note in notes}) == 3
    assert len({note.yard for note in notes}) == 1 and notes[0].rows["S00001"]["weight"] == 4.0
    assert notes[0].rows["W261116F"] == {"block": "weeks", "week": "2026-11-16", "product": "fresh", "asked": 5.0}


def test_sharing_changes_no_byte_of_the_workbook(book, tmp_path):
    before = book.read_bytes()
    share(book, MARKET, tmp_path / "out.xlsx")
    assert book.read_bytes() == before


def test_two_workbooks_have_different_marks(tmp_path):
    marks = set()
    for name in ("a", "b"):
        build(tmp_path / f"{name}.xlsx", a_yard(), rows=10, as_of=DAY)
        marks.add(ClosedFile(tmp_path / f"{name}.xlsx").marks()["bb_yard"])
    assert len(marks) == 2 and all(re.fullmatch("[0-9a-f]{16}", mark) for mark in marks)


def test_an_unknown_market_is_refused_with_the_names_there_are(book, tmp_path):
    with pytest.raises(FileProblem, match='"Hill Fare" is no market on Lists. Lists has "Hill Fair" or "Otherplace"'):
        share(book, "Hill Fare", tmp_path / "out.xlsx")
    assert not (tmp_path / "out.xlsx").exists() and not load_all(book)


def test_the_command(book, tmp_path):
    out = tmp_path / "out.xlsx"
    done = CliRunner().invoke(cli, ["share", str(book), "--market", MARKET, "--out", str(out)])
    assert done.exit_code == 0 and "sheet 1 with 8 weeks, 2 lots and 2 deliveries" in done.output
    again = CliRunner().invoke(cli, ["share", str(book), "--market", MARKET, "--out", str(out)])
    assert again.exit_code == 3 and "exists already" in again.output and len(load_all(book)) == 1
    assert CliRunner().invoke(cli, ["share", str(book), "--market", "x", "--out", str(tmp_path / "y.xlsx")]).exit_code == 2


# ---- nothing else leaks --------------------------------------------------------------------------------------------

def everything(path: Path) -> str:
    """Names and content of every part, unpacked, as text of both usual encodings; parts that are zips too."""
    pieces = []
    with zipfile.ZipFile(path) as archive:
        pieces.append(archive.comment.decode("latin-1"))
        for info in archive.infolist():
            content = archive.read(info)
            pieces += [info.filename, info.comment.decode("latin-1"), info.extra.decode("latin-1"), content.decode("utf-8", "replace"),
                       content.decode("utf-16-le", "replace")]
            if content[:2] == b"PK":
                with zipfile.ZipFile(io.BytesIO(content)) as inner:
                    pieces += [inner.read(name).decode("utf-8", "replace") for name in inner.namelist()]
    return "\n".join(pieces)


WHOLE = ("count", "pack_size")


class Canaries:
    """Unique texts and numbers, and where each was planted."""

    def __init__(self):
        self.planted: dict[str, str] = {}

    def text(self, where: str) -> str:
        word = f"Canary{len(self.planted):04d}x"
        self.planted[word] = where
        return word

    def number(self, where: str, near: float) -> float:
        value = round(near + (len(self.planted) * 7 + 1) * 1.01e-5, 7)
        digits = f"{value:.7f}".rstrip("0")
        self.planted[digits] = where
        return value


def planted_yard() -> tuple[Yard, Canaries]:
    """The yard with a canary in every private cell: each column of each table, free settings, the plan."""
    yard, birds = a_yard(), Canaries()
    public = {("sales", k) for k in ("amount", "price", "grade", "lot", "docket")} | {("events", "grade"), ("events", "lot"), ("events", "amount")}
    for table_ in schema.TABLES:
        rows = [dict(row) for row in yard.rows(table_.key)]
        for row in rows:  # rows that count, with their own notes and numbers replaced
            mine = MARKET in (row.get("market"), row.get("price_market"), row.get("promise_market"))
            for column in table_.columns:
                where = f"{table_.key}.{column.key}"
                seen = (table_.key, column.key) in public or mine and column.key in ("price_each", "promised", "asked", "market")
                if column.kind == TEXT and column.key not in ("log", "wood", "strain", "market", "form", "event_kind", "amount_is", "mushroom") \
                        and not seen:
                    row[column.key] = birds.text(where)
                elif column.kind == NUMBER and isinstance(row.get(column.key), (int, float)) and not seen and column.key not in WHOLE:
                    row[column.key] = birds.number(where, float(row[column.key]))
        stray = {column.key: birds.text(f"{table_.key}.{column.key}, stray") for column in table_.columns if column.kind in (TEXT, CHOICE)}
        stray |= {column.key: birds.number(f"{table_.key}.{column.key}, stray", 1.0) for column in table_.columns if column.kind == NUMBER}
        yard.tables[table_.key] = [*rows, stray]
    secret = birds.text("another market")
    yard.tables["markets"].append({"market": secret, "terms": "own stall", "market_fee": birds.number("its fee", 20.0)})
    for kind in ("delivered", "sold"):
        yard.tables["sales"].append({"date": d("2026-11-13"), "market": secret, "kind": kind, "product": "fresh",
                                     "amount": birds.number("its sale", 2.0), "price": birds.number("its price", 15.0),
                                     "sale_note": birds.text("its note")})
    for setting in SETTINGS:
        if setting.kind == "text" and not setting.key.startswith("share_") and setting.key != "currency":
            yard.settings[setting.key] = birds.text(f"setting {setting.key}")
        elif setting.kind == "number" and setting.low is not None and setting.key not in ("keeps_days", "promise_chance"):
            start = setting.start(yard.profile)
            near = start if isinstance(start, (int, float)) and start < setting.high - 0.01 else (setting.low + setting.high) / 2
            yard.settings[setting.key] = birds.number(f"setting {setting.key}", near)
    yard.plan |= {"dbh": birds.number("plan", 11.0), "height": birds.number("plan", 31.0)}
    return yard, birds


@pytest.mark.parametrize("lots", ["yes", "no"])
def test_no_private_cell_reaches_any_part_of_the_copy(tmp_path, trusting_office, lots):
    yard, birds = planted_yard()
    yard.settings |= {"share_lots": lots, "share_prices": lots, "share_name": "Green Farm"}
    path, out = tmp_path / "privateyardname.xlsx", tmp_path / "out.xlsx"
    build(path, yard, rows=10, as_of=DAY)
    home = everything(path)
    there = [bird for bird in birds.planted if bird in home]
    assert len(birds.planted) > 300 and len(there) > 0.95 * len(birds.planted)
    share(path, MARKET, out)
    notes = [(note, birds.planted) for note in load_all(path)]
    assert notes and "Canary" not in json.dumps([note.rows for note, _ in notes])
    for file in (out, trusting_office.convert(out, "xlsx")):
        text = everything(file)
        leaked = {bird: where for bird, where in birds.planted.items() if bird in text}
        assert not leaked, leaked
        for private in ("Canary", OTHER, "9.75", "privateyardname", str(tmp_path), "white oak", "shiitake, wide", "commission", "Long Hollow"):
            assert private.casefold() not in text.casefold(), private


def test_the_copy_is_one_sheet_without_names_comments_properties(book, tmp_path):
    out = tmp_path / "out.xlsx"
    share(book, MARKET, out)
    with zipfile.ZipFile(out) as archive:
        names = set(archive.namelist())
        core, workbook = archive.read("docProps/core.xml").decode(), archive.read("xl/workbook.xml").decode()
    assert names == {"[Content_Types].xml", "_rels/.rels", "docProps/app.xml", "docProps/core.xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels",
                     "xl/styles.xml", "xl/theme/theme1.xml", "xl/sharedStrings.xml", "xl/worksheets/sheet1.xml"}
    assert workbook.count("<sheet ") == 1 and "hidden" not in workbook and re.findall(r'definedName name="([^"]+)"', workbook) == ["_xlnm.Print_Area"]
    assert re.search(r"<dc:creator>\s*</dc:creator>|<dc:creator/>", core) and "2026-11-15T00:00:00Z" in core

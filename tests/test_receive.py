"""A sheet that comes back: every change arrives once, nothing else moves, and what both sides changed is asked."""
from __future__ import annotations

import datetime as dt
import shutil
import zipfile
from collections import Counter
from functools import lru_cache
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from test_share import DAY, MARKET, OTHER, a_yard, d

from workbook_template.build import build
from workbook_template.cli import cli
from workbook_template.partner import share
from workbook_template.ports.parts import read_book
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import FileInUse, backup_path
from workbook_template.ports.type_in import Typed, as_typed, type_in
from workbook_template.receive import Received, receive
from workbook_template.sent import load_all

BACK = d("2026-11-20")


@pytest.fixture
def book(tmp_path) -> Path:
    path = tmp_path / "yard.xlsx"
    build(path, a_yard(), rows=10, as_of=DAY)
    return path


@pytest.fixture
def copy(book, tmp_path) -> Path:
    out = tmp_path / "out.xlsx"
    share(book, MARKET, out)
    return out


class Filled:
    """A copy as a market fills it in: cells by row key and heading."""

    def __init__(self, path: Path):
        self.book = openpyxl.load_workbook(path)
        self.sheet = self.book.active
        self.heads = {}
        self.rows = {}
        head = None
        for row in self.sheet.iter_rows():
            titles = {cell.value: cell.column for cell in row if isinstance(cell.value, str)}
            if "Row" in titles:
                head = {title.partition(" (")[0]: at for title, at in titles.items()}
                self.last_head = head
            elif head and isinstance(row[0].value, str):
                self.rows[row[0].value] = (row[0].row, head)

    def put(self, key: str, **cells) -> Filled:
        row, head = self.rows[key]
        for name, value in cells.items():
            title = {"got": "Price got", "counted": "Counted, still here", "wish": "Your wish"}.get(name, name.capitalize())
            cell = self.sheet.cell(row, head[title])
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"
        return self

    def save(self, path: Path) -> Path:
        self.book.save(path)
        return path


@lru_cache(maxsize=2)
def _typed(content: bytes, path: Path):
    """The rows typed in a workbook; the same content is read once."""
    return as_typed(path, DAY).env.rows


def sales(path: Path, new_only: bool = True) -> list[tuple]:
    """(kind, product, amount, price, lot, docket's row key, note) of rows of Sales; new_only: those that came from a sheet."""
    found = []
    for row in _typed(path.read_bytes(), path)["sales"]:
        docket = str(row.get("docket") or "")
        if row.get("kind") and (not new_only or "-" in docket):
            found.append((row["kind"], row["product"], row["amount"], row["price"], row["lot"], docket.partition(" ")[2], row["sale_note"]))
    return found


def promises(path: Path) -> list[tuple]:
    rows = _typed(path.read_bytes(), path)["promises"]
    return [(r["promise_week"].date(), r["promise_market"], r["asked"], r["promised"]) for r in rows if r.get("promise_week")]


def raw(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def foreign(path: Path) -> dict[str, bytes]:
    """Parts that receiving may never change."""
    with zipfile.ZipFile(path) as archive:
        book = read_book(archive, charts=True)
    own = {book.workbook_part}
    for sheet in book.sheets:
        if sheet.name in ("Sales", "Promises"):
            own |= {sheet.part, *sheet.of_kind("table")}
    return {name: content for name, content in raw(path).items() if name not in own}


def take(book: Path, filled: Filled, name: str = "back.xlsx", **options) -> Received:
    return receive(book, filled.save(book.with_name(name)), BACK, **options)


def test_what_a_market_fills_in_arrives_once(book, copy):
    """By hand: 3 lb sold at 12.50 less a fifth is 30.00; 0.5 lb sold at the list price of 12.00 less a fifth is 4.80."""
    before = foreign(book)
    filled = Filled(copy).put("S00001", sold=3, got=12.5, returned=0.5, counted=0.5, remark="rain all day").put("S00003", spoiled=1)
    filled.put("N01", sold=0.5, product="fresh", lot="P26-40").put("W261123F", wish=6).put("W261116F", wish=7)
    done = take(book, filled)
    assert Counter(sales(book)) == Counter([
        ("sold", "fresh", 3.0, 12.5, "P26-45", "S00001", "rain all day"), ("returned", "fresh", 0.5, None, "P26-45", "S00001", None),
        ("counted", "fresh", 0.5, None, "P26-45", "S00001", None), ("spoiled", "fresh", 1.0, None, "P26-39", "S00003", None),
        ("sold", "fresh", 0.5, None, "P26-40", "N01", None)])
    assert promises(book) == [(d("2026-11-18"), MARKET, 7.0, 3.0), (d("2026-11-16"), OTHER, None, 1.0), (d("2026-11-23"), MARKET, 6.0, None)]
    assert done.money == pytest.approx(34.80) and not done.conflicts and not done.problems
    assert foreign(book) == before and backup_path(book).exists()
    report = "\n".join(done.lines())
    assert "S00001 fresh lot P26-45, sold: 0 -> 3 lb at 12.5  (+30.00 USD)" in report and "Sales had 4 rows, now 9." in report
    assert "week of 16 Nov 2026, asked: 5 -> 7 lb" in report and "owes changes by +34.80 USD" in report


def test_new_rows_compute_at_once(book, copy, office):
    take(book, Filled(copy).put("S00001", sold=3, got=12.5))
    told, computed = (openpyxl.load_workbook(p, data_only=True)["Sales"] for p in (book, office.convert(book, "xlsx")))
    row = next(r for r in range(6, 20) if str(told.cell(r, 12).value).endswith("S00001"))
    assert told.cell(row, 7).value == computed.cell(row, 7).value == 37.5 and told.cell(row, 8).value == computed.cell(row, 8).value == "ok"
    assert told.cell(row, 1).value == dt.datetime(2026, 11, 20)


def test_the_same_sheet_twice_changes_nothing(book, copy):
    filled = Filled(copy).put("S00001", sold=3, counted=1, remark="x").put("W261123F", wish=6).put("N02", product="dried", sold=0.25)
    take(book, filled)
    first, note = book.read_bytes(), load_all(book)[0]
    again = take(book, filled, "back again.xlsx")
    assert book.read_bytes() == first and not again.changes and not again.conflicts and not again.problems
    assert load_all(book)[0].base == note.base and "Nothing was written" in again.lines()[-1]


def test_a_later_return_adds_only_what_differs(book, copy):
    filled = Filled(copy).put("S00001", sold=2).put("S00003", sold=1)
    take(book, filled)
    done = receive(book, filled.put("S00001", sold=3.5).put("S00003", sold=0.75).put("N01", product="fresh", sold=1).save(book.with_name("b.xlsx")),
                   d("2026-11-27"))
    assert Counter(sales(book)) == Counter([
        ("sold", "fresh", 2.0, None, "P26-45", "S00001", None), ("sold", "fresh", 1.5, None, "P26-45", "S00001", None),
        ("sold", "fresh", 0.75, None, "P26-39", "S00003", None), ("sold", "fresh", 1.0, None, None, "N01", None)])
    assert done.money == pytest.approx((1.5 - 0.25 + 1.0) * 12 * 0.8)


def test_a_cell_emptied_later_takes_back_what_it_told(book, copy):
    filled = Filled(copy).put("S00001", sold=2)
    take(book, filled)
    take(book, filled.put("S00001", sold=None))
    assert sales(book) == [("sold", "fresh", 0.0, None, "P26-45", "S00001", None)]


def test_what_both_changed_is_listed_and_home_stays(book, copy):
    filled = Filled(copy).put("S00001", sold=2, got=12).put("W261116F", wish=7)
    take(book, filled)
    at = next(i for i, row in enumerate(as_typed(book).env.rows["sales"]) if str(row.get("docket") or "").endswith("S00001"))
    row = as_typed(book).first_row["sales"] + at
    book.write_bytes(type_in(book, [Typed("sales", row, "amount", 2.5), Typed("promises", 6, "asked", 4.0)], today=DAY))
    before = book.read_bytes()
    done = take(book, filled.put("S00001", sold=3).put("W261116F", wish=8))
    assert len(done.conflicts) == 2 and "told 2, at home 2.5, now 3 lb" in done.conflicts[1] and "told 7, at home 4, now 8 lb" in done.conflicts[0]
    assert book.read_bytes() == before and not done.changes
    assert len(take(book, filled, "again.xlsx").conflicts) == 2 and load_all(book)[0].base["S00001"]["sold"] == 2.0
    book.write_bytes(type_in(book, [Typed("sales", row, "amount", 3.0)], today=DAY))  # the grower takes the market's figure
    assert len(take(book, filled, "third.xlsx").conflicts) == 1 and load_all(book)[0].base["S00001"]["sold"] == 3.0


def test_what_home_changed_alone_stays(book, copy):
    filled = Filled(copy).put("S00001", sold=2)
    take(book, filled)
    at = next(i for i, row in enumerate(as_typed(book).env.rows["sales"]) if str(row.get("docket") or "").endswith("S00001"))
    book.write_bytes(type_in(book, [Typed("sales", as_typed(book).first_row["sales"] + at, "amount", 1.75)], today=DAY))
    done = take(book, filled.put("S00003", sold=1))
    assert {(s[2], s[5]) for s in sales(book)} == {(1.75, "S00001"), (1.0, "S00003")} and not done.conflicts


def test_sorted_rows_moved_columns_a_renamed_sheet_and_text_for_numbers(book, copy):
    filled = Filled(copy).put("S00001", sold="2 lb 8 oz", remark="- first").put("S00003", sold="1,5", returned="16 oz")
    filled.put("N01", sold=" 3 ", product="Fresh ")
    sheet = filled.sheet
    first, second = filled.rows["S00003"][0], filled.rows["S00001"][0]
    for column in range(1, sheet.max_column + 1):  # sort: the two deliveries change places
        a, b = sheet.cell(first, column), sheet.cell(second, column)
        a.value, b.value = b.value, a.value
    head = filled.last_head
    for row in range(first - 1, sheet.max_row + 1):  # move: Sold and Remark change places
        a, b = sheet.cell(row, head["Sold"]), sheet.cell(row, head["Remark"])
        a.value, b.value = b.value, a.value
    sheet.title = "Tabelle 1"
    filled.book.create_sheet("My notes", 0)["A1"] = "Row"
    done = take(book, filled)
    assert {(s[0], s[2], s[5], s[6]) for s in sales(book)} == {
        ("sold", 2.5, "S00001", "- first"), ("sold", 1.5, "S00003", None), ("returned", 1.0, "S00003", None), ("sold", 3.0, "N01", None)}
    assert not done.conflicts


def test_rows_added_at_the_end_are_known_again(book, copy):
    filled = Filled(copy)
    head, end = filled.last_head, filled.sheet.max_row + 1

    def add(row, **cells):
        for title, value in cells.items():
            filled.sheet.cell(row, head[title]).value = value

    add(end, Product="fresh", Lot="Q1", Sold=1.0, Remark="one")
    add(end + 1, Product="fresh", Lot="Q2", Sold=2.0)
    take(book, filled)
    assert {(s[2], s[4], s[5]) for s in sales(book)} == {(1.0, "Q1", "+1"), (2.0, "Q2", "+2")}
    first = book.read_bytes()
    add(end, Product="fresh", Lot="Q2", Sold=2.0, Remark=None)
    add(end + 1, Product="fresh", Lot="Q1", Sold=1.0, Remark="one")
    assert not take(book, filled).changes and book.read_bytes() == first
    add(end + 1, Lot="Q1", Sold=1.25, Remark="one")
    add(end + 2, Product="fresh", Lot="Q1", Sold=0.5)
    done = take(book, filled)
    assert Counter((s[2], s[4]) for s in sales(book)) == Counter({(1.0, "Q1"): 1, (2.0, "Q2"): 1, (0.25, "Q1"): 1, (0.5, "Q1"): 1})
    assert len(done.changes) == 2


def sentences(done: Received) -> str:
    return "\n".join(p.sentence() for p in done.problems)


def test_bad_cells_are_said_by_row_and_the_rest_is_taken(book, copy):
    filled = Filled(copy).put("S00001", sold="lots", returned=-1, spoiled=0.25, got=True).put("S00003", sold=dt.datetime(2026, 5, 16), counted="2-3")
    done = take(book, filled)
    said = sentences(done)
    row, other = filled.rows["S00001"][0], filled.rows["S00003"][0]
    assert f'Market sheet row {row}, Sold: "lots" is not a number. Needed: a plain number in lb.' in said
    assert f"Market sheet row {row}, Returned: -1 is below 0." in said and f"row {row}, Price got: \"TRUE\" is not a number" in said
    assert f'row {other}, Sold: "5/16" was stored as 16 May' in said and f'row {other}, Counted, still here: "2-3" is a range' in said
    assert sales(book) == [("spoiled", "fresh", 0.25, None, "P26-45", "S00001", None)]


def test_sold_above_delivered_is_taken_and_asked_about(book, copy):
    done = take(book, Filled(copy).put("S00001", sold=9).put("S00003", sold=1, counted=1))
    assert "sold are 9 lb, more than the 4 lb that were there" in sentences(done) and "1 lb counted, and only 0 can be there" in sentences(done)
    assert {(s[0], s[2]) for s in sales(book)} == {("sold", 9.0), ("sold", 1.0), ("counted", 1.0)}


def test_doubled_and_deleted_rows(book, copy):
    filled = Filled(copy).put("S00001", sold=1)
    row, head = filled.rows["S00001"]
    spare = filled.rows["N06"][0]
    for column in range(1, filled.sheet.max_column + 1):
        filled.sheet.cell(spare, column).value = filled.sheet.cell(row, column).value
    done = take(book, filled)
    assert "row key S00001 is there 2 times with the same figures. It was read once" in sentences(done)
    assert [s[2] for s in sales(book)] == [1.0]
    filled.sheet.cell(spare, head["Sold"]).value = 2
    filled.sheet.delete_rows(filled.rows["S00003"][0])
    done = take(book, filled)
    assert "row key S00001 stands in rows" in sentences(done) and "with different figures" in sentences(done)
    assert "row S00003 was deleted on the sheet" in sentences(done) and [s[2] for s in sales(book)] == [1.0]


def test_a_sheet_sorted_in_part_is_not_read_where_it_does_not_fit(book, copy):
    filled = Filled(copy).put("S00001", sold=1).put("S00003", sold=0.5)
    for title in ("Delivered", "Weight", "Lot"):
        a, b = (filled.sheet.cell(filled.rows[key][0], filled.last_head[title]) for key in ("S00001", "S00003"))
        a.value, b.value = b.value, a.value
    done = take(book, filled)
    assert sentences(done).count("the sheet was sorted in part") == 2 and not sales(book)


def test_cells_that_are_not_the_markets_are_not_read_back(book, copy):
    filled = Filled(copy).put("S00001", sold=1, weight=40, docket="999", price=99)
    done = take(book, filled)
    assert "Weight: this is not as it was sent. It was not read back" in sentences(done)
    assert sales(book) == [("sold", "fresh", 1.0, None, "P26-45", "S00001", None)] and "999" not in str(sales(book, False))


def test_a_heading_gone_or_there_twice(book, copy):
    filled = Filled(copy).put("S00001", sold=1, returned=1, spoiled=1)
    head_row = next(r for r in range(1, 60) if filled.sheet.cell(r, filled.last_head["Sold"]).value == "Sold (lb)")
    filled.sheet.cell(head_row, filled.last_head["Sold"]).value = None
    filled.sheet.cell(head_row, filled.last_head["Check"]).value = "Spoiled"
    done = take(book, filled)
    assert "Sold: this heading is gone" in sentences(done) and "Spoiled: this heading is there twice" in sentences(done)
    assert [s[0] for s in sales(book)] == ["returned"]


def test_a_row_key_that_was_not_sent(book, copy):
    filled = Filled(copy).put("N01", product="fresh", sold=1)
    filled.sheet.cell(filled.rows["N01"][0], 1).value = "S00099"
    done = take(book, filled)
    assert '"S00099" was not on this sheet. Nothing was read from it' in sentences(done) and not sales(book)


def test_the_day_filled_in_dates_the_lines(book, copy):
    for typed, day in ((dt.datetime(2026, 11, 18), d("2026-11-18")), ("19 Nov 2026", d("2026-11-19")), (dt.datetime(2031, 1, 1), BACK)):
        work = book.with_name("work.xlsx")
        shutil.copy(book, work)
        shutil.copytree(book.with_name("yard.sent"), book.with_name("work.sent"), dirs_exist_ok=True)
        filled = Filled(copy).put("S00001", sold=1)
        filled.sheet["C7"] = typed
        take(work, filled)
        assert [r["date"].date() for r in as_typed(work).env.rows["sales"] if "-" in str(r.get("docket") or "")] == [day]


def test_counts_of_a_product_belong_to_one_day(book, copy):
    filled = Filled(copy).put("S00001", counted=3).put("S00003", counted=1)
    take(book, filled)
    receive(book, filled.put("S00001", counted=2, sold=1).save(book.with_name("b.xlsx")), d("2026-11-27"))
    rows = [(r["date"].date(), r["amount"]) for r in as_typed(book).env.rows["sales"] if r.get("kind") == "counted"]
    assert sorted(rows) == [(BACK, 1.0), (BACK, 3.0), (d("2026-11-27"), 1.0), (d("2026-11-27"), 2.0)]
    same = book.read_bytes()
    receive(book, filled.save(book.with_name("c.xlsx")), d("2026-11-28"))
    assert book.read_bytes() == same


def test_a_closed_period_is_not_rewritten(tmp_path):
    yard = a_yard()
    book, out = tmp_path / "yard.xlsx", tmp_path / "out.xlsx"
    build(book, yard, rows=10, as_of=DAY)
    share(book, MARKET, out)
    filled = Filled(out).put("S00001", sold=3)
    take(book, filled)
    book.write_bytes(type_in(book, rows={"closings": [{"close_market": MARKET, "closed_to": d("2026-11-30"), "close_balance": 0.0}]}, today=DAY))
    done = receive(book, filled.put("S00001", sold=2).put("S00003", sold=1).save(tmp_path / "b.xlsx"), d("2026-12-05"))
    rows = [(r["date"].date(), r["amount"], r["sale_note"]) for r in as_typed(book).env.rows["sales"] if "-" in str(r.get("docket") or "")]
    assert (BACK, 3.0, None) in rows and "that period is closed" in sentences(done)
    assert (d("2026-12-05"), 1.0, None) in rows
    late = Filled(out).put("S00001", sold=3).put("S00003", sold=1.5)
    late.sheet["C7"] = dt.datetime(2026, 11, 21)
    receive(book, late.save(tmp_path / "c.xlsx"), d("2026-12-06"))
    rows = [(r["date"].date(), r["amount"], r["sale_note"]) for r in as_typed(book).env.rows["sales"] if "-" in str(r.get("docket") or "")]
    assert (d("2026-12-06"), 0.5, "belongs to 21 Nov 2026, a closed period") in rows


# ---- sheets that are not taken -------------------------------------------------------------------------------------

def refused(book: Path, path: Path, **options) -> str:
    before = book.read_bytes()
    with pytest.raises(FileProblem) as trouble:
        receive(book, path, BACK, **options)
    assert book.read_bytes() == before and not backup_path(book).exists()
    return str(trouble.value)


def test_a_sheet_of_another_yard_or_market_or_without_a_stamp(book, copy, tmp_path):
    other = tmp_path / "other.xlsx"
    build(other, a_yard(), rows=10, as_of=DAY)
    share(other, MARKET, tmp_path / "theirs.xlsx")
    assert "belongs to another yard's workbook" in refused(book, tmp_path / "theirs.xlsx")
    assert f"was sent to {MARKET}, and you asked for {OTHER}" in refused(book, copy, market=OTHER)
    filled = Filled(copy)
    filled.sheet["A1"] = f"Market sheet for {OTHER}"
    assert f"was sent to {MARKET}, and its title names {OTHER}" in refused(book, filled.save(tmp_path / "b.xlsx"))
    filled.sheet["E7"] = None
    assert "carries no stamp" in refused(book, filled.save(tmp_path / "c.xlsx"))
    shutil.move(tmp_path / "yard.sent", tmp_path / "elsewhere")
    assert "is not kept in yard.sent beside the workbook" in refused(book, copy)


def test_an_older_sheet_after_a_newer_one(book, copy, tmp_path):
    share(book, MARKET, tmp_path / "newer.xlsx")
    take(book, Filled(tmp_path / "newer.xlsx").put("S00001", sold=1))
    backup_path(book).unlink()
    older = Filled(copy).put("S00003", sold=0.5)
    assert "sheet 2 came back already" in refused(book, older.save(tmp_path / "b.xlsx"))
    take(book, older, older=True)
    assert {(s[2], s[5]) for s in sales(book)} == {(1.0, "S00001"), (0.5, "S00003")}


def test_other_kinds_of_file(book, copy, tmp_path, trusting_office):
    csv = tmp_path / "back.csv"
    csv.write_text("Row,Sold\nS00001,3\n")
    assert "is not an Excel workbook" in refused(book, csv)
    assert "OpenDocument" in refused(book, trusting_office.convert(copy, "ods"))
    assert "carries no stamp" in refused(book, Path(shutil.copy(book, tmp_path / "itself.xlsx")))


def test_hostile_files_are_refused_before_they_are_read(book, copy, tmp_path):
    bad = tmp_path / "bad.xlsx"

    def change(name, content):
        with zipfile.ZipFile(copy) as archive, zipfile.ZipFile(bad, "w", zipfile.ZIP_DEFLATED) as new:
            for info in archive.infolist():
                new.writestr(info.filename, content if info.filename == name else archive.read(info))

    change("xl/worksheets/sheet1.xml", b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><worksheet/>')
    assert "document type" in refused(book, bad)
    change("xl/sharedStrings.xml", b"<sst>" + b" " * 60_000_000 + b"</sst>")
    assert "unpacks to" in refused(book, bad) or "far larger" in refused(book, bad)
    rows = b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c><c r="B%d"><v>%d</v></c></row>' % (r, r, r, r * 7919) for r in range(1, 120_000))
    change("xl/worksheets/sheet1.xml", b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>' + rows
           + b"</sheetData></worksheet>")
    assert "far more cells" in refused(book, bad)
    bad.write_bytes(copy.read_bytes()[:3000])
    assert "damaged" in refused(book, bad)


def test_a_workbook_open_in_a_program_is_left_alone(book, copy, tmp_path):
    (tmp_path / ".~lock.yard.xlsx#").write_text("x,y,z,,")
    with pytest.raises(FileInUse):
        take(book, Filled(copy).put("S00001", sold=1))


def test_looking_writes_nothing(book, copy):
    before, note = book.read_bytes(), load_all(book)
    done = take(book, Filled(copy).put("S00001", sold=1), look=True)
    assert len(done.changes) == 1 and book.read_bytes() == before and load_all(book) == note and "Nothing was written yet" in done.lines()[-1]


def test_the_command(book, copy, tmp_path):
    path = Filled(copy).put("S00001", sold=1).save(tmp_path / "back.xlsx")
    done = CliRunner().invoke(cli, ["receive", str(book), str(path), "--today", "2026-11-20"])
    assert done.exit_code == 0 and "1 taken over" in done.output
    assert CliRunner().invoke(cli, ["receive", str(book), str(book)]).exit_code == 2
    assert CliRunner().invoke(cli, ["receive", str(book), str(tmp_path / "none.xlsx")]).exit_code == 2
    (tmp_path / ".~lock.yard.xlsx#").write_text("x,y,z,,")
    assert CliRunner().invoke(cli, ["receive", str(book), str(path)]).exit_code == 3


def test_through_libreoffice_and_back(book, copy, trusting_office, tmp_path):
    filled = Filled(copy).put("S00001", sold=3, got=12.5, remark="wet").put("W261123F", wish=6).put("N01", product="fresh", sold=0.5)
    saved = trusting_office.convert(filled.save(tmp_path / "back.xlsx"), "xlsx")
    receive(book, saved, BACK)
    assert {(s[0], s[2], s[3], s[5]) for s in sales(book)} == {("sold", 3.0, 12.5, "S00001"), ("sold", 0.5, None, "N01")}
    assert (d("2026-11-23"), MARKET, 6.0, None) in promises(book)


def test_the_note_beside_the_workbook_cannot_be_written(book, copy, monkeypatch):
    """The workbook is written, that the note is not is said, and the same sheet taken in again writes nothing twice."""
    from workbook_template import receive as taking
    from workbook_template.ports.swap import SaveProblem
    filled = Filled(copy).put("S00001", sold=3, counted=1, remark="x").put("W261123F", wish=6).put("N02", product="dried", sold=0.25)
    head, end = filled.last_head, filled.sheet.max_row + 1
    for title, value in {"Product": "fresh", "Lot": "Q1", "Sold": 1.0, "Remark": "one"}.items():
        filled.sheet.cell(end, head[title]).value = value

    def full(*_):
        raise SaveProblem("There is no room on the disk for the new sheet 0001.json. Nothing was changed; make room and try again.")

    keeping = taking.save
    monkeypatch.setattr(taking, "save", full)
    done = take(book, filled)
    assert done.written and any("could not be noted in yard.sent (There is no room" in line for line in done.lines())
    first = book.read_bytes()
    monkeypatch.setattr(taking, "save", keeping)
    again = take(book, filled, "back again.xlsx")
    assert book.read_bytes() == first and not again.changes and not again.conflicts, again.lines()
    assert load_all(book)[0].base["S00001"]["sold"] == 3.0 and len(load_all(book)[0].returns) == 1

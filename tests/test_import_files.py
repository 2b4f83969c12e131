"""boltbook import on files: shown first, written on yes, what cannot be read left in a list, the same file twice recognised."""
from __future__ import annotations

import csv
import datetime as dt
import shutil
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner
from test_cli import run
from test_workbook import audit

from workbook_template import years_commands
from workbook_template.build import build
from workbook_template.cli import cli
from workbook_template.import_sheet import _shown, prepare, read_csv, write
from workbook_template.merge import read_copy
from workbook_template.old_sheet import Unclear
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import FileInUse, backup_path
from workbook_template.refresh import refresh_file
from workbook_template.yard import Yard

TODAY = dt.date(2026, 11, 1)
LOGS = [["Tag", "Species", "Strain", "Size", "Inoculated on", "Moon"],
        ["A1", "White oak", "oyster", "5 x 40 in", dt.datetime(2025, 4, 1), "full"],
        ["A2", "hickory", "oyster", "4 x 3'", dt.datetime(2025, 4, 1), None],
        ["A3", "White oak", "oyster", "big", dt.datetime(2025, 4, 1), "=cmd()"]]
HARVEST = "Date;Log;Harvest (oz);Who\n4/12/26;A1;16;Ann\n4/13/26;A1;12,5;Ann\n4/14/26;A2;lots;Ann\nTOTAL;;28,5;\n"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    path = tmp_path_factory.mktemp("drawn") / "yard.xlsx"
    build(path, Yard("us"), rows=10, as_of=TODAY)
    return path


@pytest.fixture
def yard(drawn, tmp_path):
    return Path(shutil.copy(drawn, tmp_path / "yard.xlsx"))


def sheet(path, *tabs):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tabs:
        tab = book.create_sheet(name)
        for row in rows:
            tab.append(row)
            for cell in tab[tab.max_row]:
                if isinstance(cell.value, str) and cell.value.startswith("="):
                    cell.data_type = "s"
    book.save(path)
    return path


def rows(path, key):
    return [line.cells for line in read_copy(path).lines[key]]


def test_logs_from_a_workbook_of_ones_own(yard, tmp_path, office):
    old = sheet(tmp_path / "old.xlsx", ("Notes", [["hello"]]), ("Logs 2025", LOGS))
    plan = prepare(yard, old)
    told = "\n".join(plan.preview())
    assert plan.sheet == "Logs 2025" and "D Size" in told and "-> Diameter and Length" in told and 'Not on Lists yet: Wood "hickory"' in told
    done = write(plan, today=TODAY)
    assert rows(yard, "logs") == [
        {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 5.0, "length": 40.0, "inoculated": dt.datetime(2025, 4, 1),
         "note": "Moon: full"},
        {"log": "A2", "wood": "hickory", "strain": "oyster", "diameter": 4.0, "length": 36.0, "inoculated": dt.datetime(2025, 4, 1)}]
    assert backup_path(yard).exists() and "Errors: 0" in audit(yard)
    with done.left.open(newline="", encoding="utf-8-sig") as file:
        left = list(csv.reader(file))
    assert left[0] == ["Tag", "Species", "Strain", "Size", "Inoculated on", "Moon", "Row there", "Why not"]
    assert left[1][:3] == ["A3", "White oak", "oyster"] and left[1][5] == "'=cmd()" and left[1][6] == "4" and "Size" in left[1][7]
    assert refresh_file(yard, progress=False, today=TODAY).counts["logs"] == (2, 2)
    assert office.computed(yard)["Logs"]["H6"].value == pytest.approx(0.4545128)  # Huber: pi/4 x 5 x 5 x 40 / 1728 cu ft


def test_the_list_of_left_rows_can_be_mended_and_imported(yard, tmp_path):
    old = sheet(tmp_path / "old.xlsx", ("Logs 2025", LOGS))
    left = write(prepare(yard, old), today=TODAY).left
    left.write_text(left.read_text(encoding="utf-8-sig").replace("big", "5 x 40 in"), encoding="utf-8")
    again = prepare(yard, left)
    assert [row["log"] for _, row in again.fresh] == ["A3"] and not again.rows.bad and "Why not" not in str(again.fresh)


@pytest.mark.parametrize("cell, words", [(1234567.0, "1234567"), (4006381333931.0, "4006381333931"), (0.25, "0.25"), (5.0, "5"), (None, "")])
def test_the_list_of_left_rows_keeps_every_digit_of_a_number(cell, words):
    assert _shown(cell) == words  # a tag or a bar code is a number there


def test_without_a_yes_nothing_is_written_and_it_says_how_to_go_on(yard, tmp_path):
    old, before = tmp_path / "harvest.csv", yard.read_bytes()
    old.write_text(HARVEST, encoding="utf-8")
    told = run("import", yard, "--from", old, code=2)
    assert 'C Harvest (oz)                   -> Amount, see Lists (lb), turned from oz, Event "picked"' in told
    assert "2 rows can be read; 1 row cannot and stay in a list, row 5 says total and is left out." in told
    assert "Nothing was written. If this is right, run it again with --yes." in told and yard.read_bytes() == before
    told = run("import", yard, "--from", old, "--yes")
    assert "2 rows written into Events of yard.xlsx. The file as it was: yard.backup.xlsx." in told and "harvest not imported.csv" in told
    assert [(e["event"], e["log"], e["amount"], e["who"]) for e in rows(yard, "events")] == [  # 16 oz = 1 lb, 12.5 oz = 0.78125 lb
        ("picked", "A1", 1.0, "Ann"), ("picked", "A1", 0.78125, "Ann")]
    told = run("import", yard, "--from", old, "--yes", code=2)
    assert "2 of these stand on Events already (possible double): row 2, 3 of harvest.csv." in told and "no new row" in told
    assert len(rows(yard, "events")) == 2
    assert "2 rows written" in run("import", yard, "--from", old, "--yes", "--doubles", "keep") and len(rows(yard, "events")) == 4


@pytest.mark.parametrize("answers, written, note", [("y\ny\n", 2, True), ("n\ny\n", 2, False), ("y\nn\n", 0, None)])
def test_asked_at_a_terminal(yard, tmp_path, monkeypatch, answers, written, note):
    monkeypatch.setattr(years_commands, "_at_a_terminal", lambda: True)
    old = tmp_path / "harvest.csv"
    old.write_text("Date,Log,Picked,Sky\n4/12/26,A1,1,blue\n4/13/26,A1,2,grey\n", encoding="cp1252")
    told = CliRunner().invoke(cli, ["import", str(yard), "--from", str(old)], input=answers)
    assert told.exit_code == 0 and "Put Sky into the note?" in told.output and "Write 2 rows into Events" in told.output
    events = rows(yard, "events")
    assert len(events) == written and (note is None or ("event_note" in events[0]) == note)


@pytest.mark.parametrize("content, expected", [
    (b"a,b\n1,2\n", [["a", "b"], ["1", "2"]]), ("a;b\n1,5;ä\n".encode("cp1252"), [["a", "b"], ["1,5", "ä"]]),
    ("a\tb\n\n".encode("utf-16"), [["a", "b"], []]), ("\ufeffa,b\n, \n".encode(), [["a", "b"], [None, None]])])
def test_csv_of_any_delimiter_and_encoding(tmp_path, content, expected):
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    assert read_csv(path) == expected


def test_what_is_unclear_or_unreadable_is_said(yard, tmp_path):
    two = sheet(tmp_path / "two.xlsx", ("One", LOGS), ("Two", LOGS))
    with pytest.raises(Unclear, match='headings on One or Two. Take one at a time: --sheet "One"'):
        prepare(yard, two)
    with pytest.raises(Unclear, match="has no sheet"):
        prepare(yard, two, "Three")
    binary = tmp_path / "x.csv"
    binary.write_bytes(b"PK\x00\x01\x00")
    with pytest.raises(FileProblem, match="no text file"):
        prepare(yard, binary)
    assert "lacks an =" in run("import", yard, "--from", two, "--map", "Girth", code=2)
    assert "There is no file" in run("import", yard, "--from", tmp_path / "no.csv", code=2)
    plan = prepare(yard, two, "One")
    before = yard.read_bytes()
    yard.with_name(f".~lock.{yard.name}#").write_text("A Grower,x,y,z")
    with pytest.raises(FileInUse):
        write(plan)
    assert yard.read_bytes() == before and not list(tmp_path.glob("*not imported*"))


def test_only_the_headings_themselves_are_passed_over(yard, tmp_path):
    """A second page repeats the headings; a row whose cells happen to be words of the headings is a row and is never left out in silence."""
    old = tmp_path / "pages.csv"
    old.write_text("Date,Log,Picked,Oak\n2026-05-01,A1,1,\nDate,Log,Picked,Oak\nDate,Log,,\n2026-05-02,A1,oak,Oak\n", encoding="utf-8")
    rows = prepare(yard, old).rows
    assert [at for at, _ in rows.good] == [2] and [at for at, _ in rows.bad] == [5] and not rows.totals

"""Floods of mistakes: damaged workbooks from seeds. No traceback, no row lost, each row left out is named, sound rows stay as they were.

2,000 here, 20,000 by scripts/flood.py. Every fortieth is worked out to the end, some go through a real file.
"""
from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import openpyxl
import pytest
from floods import MAIN, one, read, seen, sound, sound_book, work_out
from mutator import EVENTS, LOGS, WAYS, Damaged, damage

from calc.raw import Odd
from workbook_template import schema
from workbook_template.build import build
from workbook_template.ports.package import SheetPatch, patch, sheet_parts
from workbook_template.ports.rows import cell_xml
from workbook_template.ports.xmledit import find_elements
from workbook_template.refresh import refresh_file
from workbook_template.yard import Yard

BOOKS, PARTS = 2000, 20
FILES = 12


def test_the_sound_book_draws_no_problem():
    assert [p.sentence() for p in sound().intake.problems] == []
    assert all(typed == used for typed, used in sound().intake.counts.values())
    assert sound().results.each_log["picked_kg"].sum() > 8


@pytest.mark.parametrize("part", range(PARTS))
def test_a_flood(part):
    each = BOOKS // PARTS
    wrong = [words for seed in range(part * each, (part + 1) * each) for words in one(seed, whole=seed % 40 == 0)]
    assert wrong == [], "\n".join(wrong[:5])


def test_a_diary_whose_logs_are_all_left_out_is_worked_out_to_the_end():
    """Diameter and length changed over in every row: no log is known, and what was picked stands as not allocated."""
    bad = Damaged({t: [dict(r) for r in rows] for t, rows in sound_book().items()}, origin={t: list(range(len(r))) for t, r in sound_book().items()})
    for row in bad.book[LOGS]:
        row["diameter"], row["length"] = 400.0, 0.1
    results = work_out(read(bad))
    lost = results.unallocated
    assert len(results.each_log) == 0
    assert lost.loc[lost["what"] == "picked", "weight_kg"].sum() == pytest.approx(sound().results.each_log["picked_kg"].sum(), rel=1e-9)
    assert [words for seed in (11920, 13400, 14120, 18320) for words in one(seed, whole=True)] == []


def test_every_way_of_damage_occurs_and_draws_a_problem():
    """The mutator does damage: each way, alone, is seen by the checks in at least one of its books.

    Not so blank and note rows, which are no fault, and an emptied list, which the refresh asks about (test_refresh.py).
    """
    import random
    for way in dict.fromkeys(WAYS):
        for seed in range(40):
            bad = Damaged(damage(sound_book(), 0, 1).book, origin={t: list(range(len(rows))) for t, rows in sound_book().items()})
            bad.book = {table: [dict(row) for row in rows] for table, rows in sound_book().items()}
            way(bad, random.Random(seed))
            if read(bad).problems or way.__name__ in ("blank_row", "note_row", "list_gone"):
                break
        else:
            raise AssertionError(f"{way.__name__} is never noticed")


def test_a_lost_row_and_a_changed_neighbour_would_be_found():
    """The judge of the flood finds planted faults."""
    from floods import faults
    bad = Damaged({t: [dict(r) for r in rows] for t, rows in sound_book().items()}, origin={t: list(range(len(r))) for t, r in sound_book().items()})
    found = read(bad)
    assert faults(bad, found, sound().results) == []
    found.frames[EVENTS] = found.frames[EVENTS].drop(index=3).reset_index(drop=True)
    assert any("neither used nor named" in words for words in faults(bad, found))
    found = read(bad)
    found.frames[LOGS].loc[2, "diameter_m"] = 1.0
    assert [words.partition(":")[0] for words in faults(bad, found)] == ["logs row 8, diameter_m"]


# ---- through real files ------------------------------------------------------------------------------------------------------

@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    path = tmp_path_factory.mktemp("flood") / "empty.xlsx"
    tables = {key: [] for key in MAIN} | {key: sound_book()[key] for key in ("places", "markets")}
    build(path, Yard("us", tables), rows=10)
    return path


def filled(empty: Path, path: Path, bad: Damaged) -> None:
    """The workbook with the cells of a damaged book put into its input sheets as a program would hold them."""
    sheets = {}
    for key in MAIN:
        table = schema.table(key)
        with zipfile.ZipFile(empty) as archive:
            xml = archive.read(sheet_parts(empty)[table.sheet].part)
        rows = find_elements(xml, {"row"}, {"sheetData"})
        head = b"".join(xml[e.start:e.end] for e in rows if int(e.about["r"]) <= table.header_row)
        first = next(e for e in rows if int(e.about["r"]) == table.header_row + 1)
        looks = [int(e.about.get("s", 0)) for e in find_elements(xml[first.start:first.end], {"c"}, {"row"})]
        body = "".join(_row(table, table.header_row + 1 + i, row, looks) for i, row in enumerate(bad.book[key]))
        sheets[table.sheet] = SheetPatch(head + body.encode())
    patch(empty, path, sheets)


def _row(table, number: int, row: dict, looks: list[int]) -> str:
    dated = looks[[c.kind for c in table.columns].index("date")]
    cells = []
    for at, column in enumerate(table.columns):
        value = row.get(column.key)
        if isinstance(value, Odd):
            address = f"{openpyxl.utils.get_column_letter(at + 1)}{number}"
            cells.append(f'<c r="{address}" t="e"><v>{value.value}</v></c>' if value.kind == "error" else f'<c r="{address}"><f>1+1</f></c>')
        elif value is not None:
            style = dated if hasattr(value, "year") else None if column.kind == "date" else looks[at]
            cells.append(cell_xml(number, at + 1, value, style))
    return f'<row r="{number}">{"".join(cells)}</row>'


def test_the_sound_book_reads_alike_from_a_file(empty, tmp_path):
    path = tmp_path / "sound.xlsx"
    filled(empty, path, Damaged(sound_book()))
    outcome = refresh_file(path, today=__import__("datetime").date(2026, 11, 15), progress=False)
    assert outcome.counts == {key: sound().intake.counts[key] for key in outcome.counts}
    assert outcome.results.each_log["picked_kg"].tolist() == pytest.approx(sound().results.each_log["picked_kg"].tolist())


@pytest.mark.parametrize("seed", range(100_000, 100_000 + FILES))
def test_a_flood_through_files(empty, tmp_path, seed):
    """Refresh, open, look: as many rows typed and used as the checks say, every typed cell still there."""
    import datetime as dt
    bad = damage(sound_book(), seed)
    bad.merged = {}
    for key, rows in sound_book().items():  # Lists are those of the file
        if key not in MAIN:
            bad.book[key] = rows
    path = tmp_path / "damaged.xlsx"
    filled(empty, path, bad)
    typed = path.with_name("typed.xlsx")
    shutil.copy(path, typed)
    outcome = refresh_file(path, today=dt.date(2026, 11, 15), progress=False)
    expected = read(bad)
    for key in MAIN:
        assert outcome.counts[key] == expected.counts[key], (key, bad.done)
        last = max((i + 1 for i, row in enumerate(bad.book[key]) if any(seen(v) is not None for v in row.values())), default=0)
        assert expected.counts[key][0] <= last
    book = openpyxl.load_workbook(path)
    assert book["Problems"].max_row > 5 and openpyxl.load_workbook(path, data_only=True)["Start"]["A3"].value.startswith("As of 15 Nov 2026")
    with zipfile.ZipFile(typed) as old, zipfile.ZipFile(path) as new:
        for sheet in ("Logs", "Events", "Costs", "Sales", "Promises"):
            part = sheet_parts(path)[sheet].part
            assert old.read(part) == new.read(part), sheet



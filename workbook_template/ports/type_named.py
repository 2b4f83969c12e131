"""Types values into the single cells of a closed workbook that have a name: the value of a setting, an input of Plan."""
from __future__ import annotations

import datetime as dt
import os
import tempfile
import zipfile
from pathlib import Path

from workbook_template.ports.package import workbook_content
from workbook_template.ports.parts import read_book, split_address, split_reference
from workbook_template.ports.preflight import FileProblem, damage_named
from workbook_template.ports.rawzip import rewrite
from workbook_template.ports.reader import read_names
from workbook_template.ports.sheetcells import Put, Recompute, SheetCells, Trouble
from workbook_template.settings_table import BY_KEY as SETTINGS

EPOCH = dt.datetime(1899, 12, 30)


def type_named(source, values: dict[str, object], profile: str) -> bytes:
    """The workbook at source (path or bytes) with these values typed in, as the bytes of the new file.

    values: defined name (typed_wage, plan_wanted) -> value, None to empty the cell. The value in force beside a setting is put
    right; formulas of the sheet Plan, and of Plan and Field sheet where a setting changes, lose their stored values, so that the
    program works them out. Raises FileProblem where a name is gone.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = source if isinstance(source, (str, os.PathLike)) else Path(folder, "workbook.xlsx")
        if path is not source:
            path.write_bytes(source)
        with damage_named(path), zipfile.ZipFile(path) as archive:
            book = read_book(archive)
            wanted: dict[str, dict[int, dict[int, Put | Recompute]]] = {}
            for name, value in values.items():
                part, row, column = _spot(book, name)
                wanted.setdefault(part, {}).setdefault(row, {})[column] = Put(value)
                _in_force(book, name, value, profile, path, wanted)
            stale = {book.sheet(n).part for n in ("Plan", "Field sheet") if book.sheet(n) is not None} if values else set()
            changed = {part: _content(archive.read(part), wanted.get(part, {}), part in stale, book.date1904) for part in {*wanted, *stale}}
            old = archive.read(book.workbook_part)
            changed[book.workbook_part] = workbook_content(old, {}, True)
            changed = {part: xml for part, xml in changed.items() if xml != archive.read(part)}
        target = Path(folder, "new.xlsx")
        rewrite(path, target, changed)
        return target.read_bytes()


def _spot(book, name: str) -> tuple[str, int, int]:
    """Part, row (1-based) and column (0-based) of a named cell."""
    place = split_reference(book.names.get(name, ""))
    sheet = book.sheet(place[0]) if place else None
    if sheet is None:
        raise FileProblem(f"The cell named {name} is gone: copy its row back from the last backup, or from a new workbook.")
    row, column = split_address(place[1])
    return sheet.part, row + 1, column


def _in_force(book, name: str, value, profile: str, path, wanted: dict) -> None:
    """The formula beside a setting that says the value used."""
    key = name.removeprefix("typed_")
    setting = SETTINGS.get(key) if name.startswith("typed_") else None
    beside = "set_as_of" if key == "as_of_typed" else f"set_{key}"
    if setting is None or beside not in book.names:
        return
    used = None if key == "as_of_typed" and value is None else setting.in_force(value, profile)
    part, row, column = _spot(book, beside)
    shown = "" if used is None and key != "as_of_typed" else used
    wanted.setdefault(part, {}).setdefault(row, {})[column] = Recompute(lambda: shown)


def _content(xml: bytes, changes: dict, stale: bool, date1904: bool) -> bytes:
    cells = SheetCells(xml)
    if stale:
        for row in cells.numbers:
            for column, state in cells.states(row).items():
                if state.formula:
                    changes.setdefault(row, {}).setdefault(column, Recompute(lambda: None))
    try:
        return cells.content(changes, date1904)
    except Trouble as trouble:
        raise FileProblem(str(trouble)) from trouble


def named_values(path, prefix: str) -> dict[str, object]:
    """Values of single cells by name, ranges left out."""
    return {name: value for name, value in read_names(path, prefix).items() if not isinstance(value, list)}

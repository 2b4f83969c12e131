"""Imports run one way, and calc stays pure."""
from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parent.parent
CALC = sorted((HOME / "calc").glob("*.py"))
KERNEL = {"tables", "units", "wood", "drilling", "supplies", "handling", "season", "yields", "keeping", "economics", "market", "arguments",
          "adapters", "functions", "day_numbers"}
ARITHMETIC = {"wood", "drilling", "supplies", "handling", "season", "yields", "keeping", "economics", "market", "day_numbers"}
FOREIGN = {"openpyxl", "xlsxwriter", "xlwings", "uno", "fastexcel", "python_calamine", "workbook_template", "click", "rich", "zipfile", "time"}


def imports(path: Path) -> set[str]:
    """Modules imported anywhere in a file: "calc.wood", "math"."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
    return found


@pytest.mark.parametrize("path", CALC, ids=lambda p: p.stem)
def test_calc_knows_no_spreadsheet_file_or_clock(path):
    tops = {name.partition(".")[0] for name in imports(path)}
    assert not tops & FOREIGN
    calls = {node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
             for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call)}
    assert not calls & {"print", "input", "now", "utcnow"} and ("open" not in calls or path.stem == "tables")


@pytest.mark.parametrize("path", [p for p in CALC if p.stem in KERNEL], ids=lambda p: p.stem)
def test_kernel_is_standard_library_and_looks_no_table_up(path):
    found = imports(path)
    outside = {n.partition(".")[0] for n in found} - set(sys.stdlib_module_names) - {"calc"}
    assert not outside
    mine = {n.split(".")[1] for n in found if n.startswith("calc.")}
    assert mine <= KERNEL
    if path.stem in ARITHMETIC:
        assert mine <= ARITHMETIC, "an arithmetic module takes every coefficient as an argument"


@pytest.mark.parametrize("path", [p for p in CALC if p.stem in KERNEL], ids=lambda p: p.stem)
def test_kernel_keeps_to_python_3_8(path):
    ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 8))


def test_tables_and_units_stand_at_the_bottom():
    below = {"tables": set(), "units": {"tables"}}
    for name, allowed in below.items():
        mine = {n.split(".")[1] for n in imports(HOME / "calc" / f"{name}.py") if n.startswith("calc.")}
        assert mine <= allowed

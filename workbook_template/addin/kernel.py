"""The part of calc that rides inside the extension: its source, unchanged but for two things.

Modules import each other under a name of their own, because all extensions of an office share one
interpreter; and the tables are Python data instead of CSV files. All of it is standard library, Python 3.8.
"""
from __future__ import annotations

import ast
import pprint
from pathlib import Path

from calc import tables

NAME = "boltbook_kernel"
START = "functions"
HOME = Path(tables.__file__).resolve().parent
DATA_MODULE = "table_rows"
READER = "_rows"
_CSV_LINES = ("import csv", "from pathlib import Path", 'DATA = Path(__file__).resolve().parent / "data"')
_NEW_READER = f'''def {READER}(name):
    return {DATA_MODULE}.ROWS[name]'''


def modules() -> list[str]:
    """Modules of calc that the worksheet functions need, by name."""
    found, waiting = set(), [START]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += _needs(_source(name))
    return sorted(found)


def _source(name: str) -> str:
    return (HOME / f"{name}.py").read_text(encoding="utf-8")


def _calc_imports(source: str) -> list[ast.stmt]:
    """Every statement that imports from calc."""
    found = []
    for node in ast.walk(ast.parse(source)):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        found += [node] if any(name.partition(".")[0] == "calc" for name in names) else []
    return found


def _needs(source: str) -> list[str]:
    needed = []
    for node in _calc_imports(source):
        inside = isinstance(node, ast.ImportFrom) and node.module != "calc"
        names = [node.module] if inside else [alias.name for alias in node.names]
        needed += [name.rpartition(".")[2] for name in names]
    return needed


def renamed(source: str) -> str:
    """A module's source with its imports from calc turned to the kernel's name.

    Raises ValueError for an import written another way than `from calc`.
    """
    lines = source.splitlines(keepends=True)
    for node in _calc_imports(source):
        at = node.lineno - 1
        if not isinstance(node, ast.ImportFrom) or "from calc" not in lines[at]:
            raise ValueError(f"line {node.lineno}: write it as: from calc import ...")
        lines[at] = lines[at].replace("from calc", f"from {NAME}", 1)
    return "".join(lines)


def tables_without_files(source: str) -> str:
    """tables.py with its one reader of CSV files replaced by the data module."""
    functions = [node for node in ast.parse(source).body if isinstance(node, ast.FunctionDef)]
    reader = next(node for node in functions if node.name == READER)
    lines = source.splitlines()
    lines[reader.lineno - 1:reader.end_lineno] = _NEW_READER.splitlines()
    missing = [line for line in _CSV_LINES if line not in lines]
    if missing:
        raise ValueError(f"tables.py changed: {missing} not found")
    kept = [line for line in lines if line not in _CSV_LINES]
    last_import = max(i for i, line in enumerate(kept) if line.startswith(("import ", "from ")))
    kept[last_import + 1:last_import + 1] = ["", f"from {NAME} import {DATA_MODULE}"]
    return "\n".join(kept) + "\n"


def data_module() -> str:
    """Every table of calc/data as a Python module: ROWS[name] is a tuple of dictionaries of text."""
    rows = {path.stem: tuple(tables.rows(path.stem)) for path in sorted(tables.DATA.glob("*.csv"))}
    return ('"""The published tables, written out from the CSV files when the extension was built."""\n'
            f"ROWS = {pprint.pformat(rows, width=160, sort_dicts=False)}\n")


def files() -> dict[str, str]:
    """File name -> text of the kernel package."""
    made = {"__init__.py": '"""The calculations of Boltbook, as worksheet functions."""\n',
            f"{DATA_MODULE}.py": data_module()}
    for name in modules():
        source = _source(name)
        made[f"{name}.py"] = renamed(tables_without_files(source) if name == "tables" else source)
    return made

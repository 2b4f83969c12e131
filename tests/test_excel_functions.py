"""The worksheet functions for Excel on Windows: names, texts and answers, against the registry and xlwings' own server.

No Excel takes part here: xlwings' server code runs with stand-ins for the Windows parts, in a process of its own.
"""
from __future__ import annotations

import datetime as dt
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
import xlwings
from click.testing import CliRunner

from calc import functions, tables
from workbook_template.addin import excel_functions, excel_text
from workbook_template.addin.excel_command import FILE, excel

HOME = Path(__file__).resolve().parent.parent
NAMES = [function.name for function in functions.REGISTRY]
TEXT = excel_text.functions_module()
OURS = {name: rest for name, rest in re.findall(r"Public Function (BOLT_\w+)(.*?)End Function", TEXT, re.S)}


def typed(value):
    """An argument of an example as a cell range, as a grower has it; {} where it is left out at the end."""
    return {"cells": [list(value)]} if isinstance(value, tuple) else {"cells": [[None if value == "" else value]]}


EXAMPLES = [[f.name, [typed(v) for v in f.example[0]] + [{}] * (len(f.args) - len(f.example[0]))] for f in functions.REGISTRY]
BAD = [
    ("a text for a number", ["BOLT_VOLUME", ["four", {}, 48, {}]], "#VALUE!"),
    ("a number typed as text", ["BOLT_VOLUME", ["4", None, 48, {}]], "#VALUE!"),
    ("a negative size", ["BOLT_VOLUME", [-4, None, 48, {}]], "#NUM!"),
    ("an unknown wood", ["BOLT_WEIGHT", ["plastic", 5, None, 40, {}]], "#N/A"),
    ("no rate of return", ["BOLT_IRR", [{"cells": [[1, 2, 3]]}]], "#N/A"),
    ("an error in a cell", ["BOLT_VOLUME", [{"cells": [["#DIV/0!"]]}, None, 48, {}]], "#VALUE!"),
    ("an error in a list", ["BOLT_NPV", [0.1, {"cells": [[-100, "#N/A", 60]]}]], "#VALUE!"),
    ("an error handed over by a formula", ["BOLT_NPV", [0.1, [[-100, -2146826246, 60]]]], "#VALUE!"),
    ("a range where one cell is wanted", ["BOLT_VOLUME", [{"cells": [[4, 5]]}, None, 48, {}]], "#VALUE!"),
    ("a truth value", ["BOLT_VOLUME", [True, None, 48, {}]], "#VALUE!"),
    ("unknown units", ["BOLT_VOLUME", [{"cells": [[4]]}, None, 48, "furlongs"]], "#VALUE!"),
]
SHAPES = [
    ["BOLT_NPV", [0.1, {"cells": [[-100], [60], [70]]}]],  # down a column
    ["BOLT_NPV", [0.1, [[-100, 60, 70]]]],  # {-100,60,70} typed into the formula
    ["BOLT_VOLUME", [10, None, 100, "metric"]],
    ["BOLT_VOLUME", [{"cells": [[10]]}, 0, 100, {"cells": [["metric"]]}]],
]


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    calls = EXAMPLES + [call for _, call, _ in BAD] + SHAPES
    done = subprocess.run([sys.executable, str(HOME / "tests" / "windows_calls.py"), str(tmp_path_factory.mktemp("calls") / "calls.xlsx")],
                          input=json.dumps(calls), capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert len(told["answers"]) == len(calls)
    return told


def test_every_function_is_there_once_with_its_arguments(server):
    """Our VBA heads are those that xlwings itself writes for the same functions."""
    theirs = dict(re.findall(r"^Function (BOLT_\w+)\((.*)\)$", server["text"], re.M))
    heads = dict(re.findall(r"^Public Function (BOLT_\w+)\((.*)\) As Variant$", TEXT, re.M))
    assert heads == theirs and list(heads) == NAMES and len(re.findall("^Public Function BOLT_", TEXT, re.M)) == len(NAMES)
    for function in functions.REGISTRY:
        names = ", ".join(arg.name for arg in function.args)
        assert f'{function.name} = Answer("{function.name}", Array({names}))' in OURS[function.name]
        assert f'{function.name} = XLPy.CallUDF("functions", "{function.name}", Array({names})' in server["text"]


@pytest.mark.parametrize("function", functions.REGISTRY, ids=NAMES)
def test_description_unit_source_and_help_of_each(server, function):
    about = server["abouts"][function.name]
    assert about == {"about": excel_text.description(function), "category": "Boltbook",
                     "helps": [excel_text.argument_help(arg) for arg in function.args]}
    described = functions.describe(function)
    assert about["about"].casefold().startswith(function.result.casefold()) and len(about["about"]) <= 255
    assert function.caution in about["about"]
    for key in function.sources:
        assert tables.sources()[key].authors in about["about"]
    for profile in ("us", "metric"):
        for title, unit in functions.describe(function, profile)["result_units"]:
            assert unit in excel_text._UNIT_WORDS or unit in about["about"] or unit == title
    for arg, told, shown in zip(function.args, about["helps"], described["args"], strict=True):
        assert told.casefold().startswith(arg.help.casefold()) and len(told) <= 255
        assert excel_text._UNIT_WORDS.get(shown["unit"], shown["unit"] or "") in told and ("left out" in told or not arg.optional)
    quoted = [excel_text.quoted(about["about"]), *map(excel_text.quoted, about["helps"])]
    describing = TEXT.partition("Public Sub BoltbookDescribe()")[2].partition(f'Describe "{function.name}"')[2].partition("Describe")[0]
    assert all(text in describing for text in quoted) and f"Attribute {function.name}.VB_Description = {quoted[0]}" in OURS[function.name]


def plain(rows):
    return [[None if cell == "" else cell for cell in row] for row in rows]


def test_answers_are_those_of_the_registry(server):
    for (name, _), function, answer in zip(EXAMPLES, functions.REGISTRY, server["answers"], strict=False):
        wanted = functions.evaluate(name, *[[list(v)] if isinstance(v, tuple) else v for v in function.example[0]])
        assert plain(answer) == (wanted if function.is_array else [[wanted]])


@pytest.mark.parametrize("place", range(len(BAD)), ids=[why for why, _, _ in BAD])
def test_bad_input_gives_an_error_value_and_nothing_else(server, place):
    assert server["answers"][len(EXAMPLES) + place] == [[BAD[place][2]]]


def test_a_date_is_no_size():
    assert excel_functions.plain_function(functions.find("BOLT_VOLUME"))(dt.datetime(2026, 5, 16), None, 48) == "#VALUE!"


def test_columns_rows_typed_lists_and_units(server):
    """NPV by hand: -100 + 60/1.1 + 70/1.21 = 12.397. A 10 cm log 100 cm long: pi/4 x 100 x 100 cm3 = 7.854 L."""
    answers = [answer[0][0] for answer in server["answers"][-len(SHAPES):]]
    assert answers == [pytest.approx(12.397, abs=5e-4)] * 2 + [pytest.approx(7.854, abs=5e-4)] * 2


def test_names_hold_in_excel_and_vba():
    for function in functions.REGISTRY:
        assert excel_text.faults(function.name) == [] and function.name == function.name.upper()
        for arg in function.args:
            assert excel_text.faults(arg.name) == [], (function.name, arg.name)
        assert len({arg.name.casefold() for arg in function.args}) == len(function.args) <= 60
    assert len({name.casefold() for name in NAMES}) == len(NAMES)


@pytest.mark.parametrize("name", ["LOG2", "LF1", "xfd1048576", "R1C1", "rc", "C", "type", "End", "date", "_x", "größe", "a b", "1a", "x" * 256])
def test_the_lint_refuses(name):
    assert excel_text.faults(name)


def test_the_module_is_text_that_vba_takes():
    TEXT.encode("ascii")
    lines = TEXT.splitlines()
    assert max(map(len, lines)) < 1023 and lines[0] == 'Attribute VB_Name = "BoltbookFunctions"'
    statements = "\n".join(lines).replace(" _\n", "\0").split("\n")
    assert max(statement.count("\0") for statement in statements) <= 24  # VBA's own limit of continued lines
    for line in lines:
        code = re.sub(r'"(?:[^"]|"")*"', '""', line.partition("'")[0] if line.lstrip().startswith("'") else line)
        assert code.count('"') % 2 == 0, line
    for pair in ("Function", "Sub"):
        assert len(re.findall(rf"^(?:Public |Private ){pair} ", TEXT, re.M)) == len(re.findall(rf"^End {pair}$", TEXT, re.M))


def test_nothing_is_decorated_here():
    assert not hasattr(excel_functions, "BOLT_VOLUME")


def test_the_free_part_of_xlwings_is_enough():
    """No key, no paid part, and none of its doors in our sources."""
    assert xlwings.__pro__ is False
    doors = re.compile(r"xlwings\.(pro|reports|server)\b|render_template|create_report|license_key|XLWINGS_ON_SERVER|mode=.r.\)", re.I)
    for path in [*HOME.glob("workbook_template/**/*.py"), *HOME.glob("calc/*.py")]:
        assert not doors.search(path.read_text(encoding="utf-8")), path
    assert "RunPython" not in TEXT and not re.search(r'\.py"', TEXT)


def test_the_command_writes_the_module_and_says_the_steps(tmp_path):
    told = CliRunner().invoke(excel, ["--out", str(tmp_path)])
    assert told.exit_code == 0 and all(word in told.output for word in ("xlwings.cli addin install", "Import File", FILE, "0.447 cu ft"))
    assert (tmp_path / FILE).read_bytes() == TEXT.replace("\n", "\r\n").encode("ascii")
    assert CliRunner().invoke(excel, ["--out", str(tmp_path)]).exit_code == 0  # its own file is renewed
    (tmp_path / FILE).write_text("Sub Mine()\nEnd Sub\n")
    told = CliRunner().invoke(excel, ["--out", str(tmp_path)])
    assert told.exit_code == 3 and "was not made here" in told.output and (tmp_path / FILE).read_text().startswith("Sub Mine")

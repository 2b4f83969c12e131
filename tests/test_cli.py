"""The command line as a grower uses it: run as a program, its words, exit codes and sentences."""
from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from calc import functions
from workbook_template.build import build
from workbook_template.yard import Yard

HOME = Path(__file__).resolve().parent.parent


def run(*words, cwd=None, code: int | None = 0) -> str:
    done = subprocess.run([sys.executable, "-m", "workbook_template.cli", *map(str, words)], capture_output=True, text=True,
                          cwd=cwd or HOME, env={"PYTHONPATH": str(HOME), "PATH": "/usr/bin:/bin"})
    assert code is None or done.returncode == code, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout + done.stderr


def test_weight_answers_with_unit_source_and_caution():
    """Smalian 5 and 5.5 in x 40 in: pi/8 (25 + 30.25) 40 / 1728 = 0.50223 cu ft; x 63.44 lb a cu ft (white oak, FIA) = 31.86 lb."""
    told = run("calc", "BOLT_WEIGHT", "white oak", 5, 5.5, 40)
    assert told.startswith("31.86") and " lb\n" in told and "FIA" in told and "Take care" in told


def test_holes():
    """5 in: pi x 5 / 2 = 7.85 -> 8 rows; usable 44 in: 8 holes in odd rows, 7 in even: 4 x 8 + 4 x 7 = 60."""
    assert run("calc", "BOLT_HOLES", 5, 48, 6, 2).startswith("60 holes")


def test_packs_as_json():
    """130 plugs: 100 + 50 at 23 beats 100 + 2 x 25 at 26, 3 x 50 at 27; 20 left over."""
    told = json.loads(run("calc", "BOLT_PACKS", 130, "100,50,25", "14,9,6", "--json"))
    assert told["value"] == [[1, 1, 0, 23.0, 20.0]] and set(told) == {"function", "value", "unit", "sources", "caution"}


def test_metric_and_dotted_names():
    assert run("calc", "BOLT.VOLUME", 10, "", 100, "--units", "metric").startswith("7.85398 L")  # pi/4 x 100 cm2 x 100 cm = 7,854 cm3


def test_a_list_of_all_functions():
    told = run("calc")
    for function in functions.REGISTRY:
        assert f"{function.name}(" in told


@pytest.mark.parametrize("function", functions.REGISTRY, ids=lambda f: f.name)
def test_every_function_answers_its_example_with_unit_and_source(function):
    from workbook_template.calc_command import run as work_out
    words = tuple(",".join(f"{v:g}" for v in a) if isinstance(a, (tuple, list)) else "" if a is None else str(a) for a in function.example[0])
    text = work_out(function.name, words, "us").text()
    assert "Source: " in text and text.splitlines()[0].strip()


@pytest.mark.parametrize(("words", "sentence"), [
    (("calc", "BOLT_WIEGHT", 5), 'There is no function called "BOLT_WIEGHT". Did you mean BOLT_WEIGHT'),
    (("calc", "BOLT_WEIGHT", "whyte oak", 5, "", 40), "white oak"),
    (("calc", "BOLT_HOLES", "five", 48, 6, 2), "diameter: "),
    (("calc", "BOLT_HOLES", 5, 48, 0, 2), "hole_spacing: "),
    (("calc", "BOLT_HOLES", 5), "length: is blank"),
    (("calc", "BOLT_CAPITAL_CHARGE", 100, 200, 5, 0.05), "salvage"),
    (("refresh", "nowhere.xlsx"), "There is no file nowhere.xlsx"),
    (("refresh", "pyproject.toml"), "pyproject.toml"),
    (("refresh", "nowhere.xlsx", "--today", "yesterday"), '"yesterday" is not a date'),
    (("new", "no/such/folder/x.xlsx"), "There is no folder"),
    (("new", "x.ods"), "ending .xlsx"),
    (("new", "x.xlsx", "--units", "imperial"), "imperial"),
    (("bake",), "bake"),
])
def test_a_mistake_gets_a_sentence_and_code_2(words, sentence):
    assert sentence in run(*words, code=2)


def test_new_refresh_check_in_a_row(tmp_path):
    told = run("new", "mine", "--rows", 10, cwd=tmp_path)
    assert "Made mine.xlsx" in told
    assert "exists already" in run("new", "mine.xlsx", cwd=tmp_path, code=3)
    assert "Refreshed mine.xlsx" in run("refresh", "mine.xlsx", "--today", "2026-11-15", cwd=tmp_path)
    assert "Rows used: none typed yet" in run("check", "mine.xlsx", cwd=tmp_path)
    assert run("refresh", "mine.xlsx", "--quiet", cwd=tmp_path) == ""


def test_check_lists_the_rows_and_ends_with_1(tmp_path):
    path = tmp_path / "wrong.xlsx"
    build(path, Yard("us", {"logs": [{"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": "lots", "length": 40}]}), rows=10)
    before = path.read_bytes()
    told = run("check", path, code=1)
    assert 'Logs row 6, Diameter: "lots" is not a number. Needed: inches' in told
    assert "1 of them leave a row out" in told and path.read_bytes() == before


def test_a_file_in_use_ends_with_3(tmp_path):
    path = tmp_path / "open.xlsx"
    build(path, Yard("us"), rows=10)
    (tmp_path / ".~lock.open.xlsx#").write_text(",Grower,barn,25.11.2026 09:00,file:///home;")
    assert "open" in run("refresh", path, code=3)
    run("refresh", path, "--force")


def test_help_imports_nothing_heavy():
    heavy = ("pandas", "pint", "openpyxl", "xlsxwriter", "pydantic", "rich")
    code = f"import sys, workbook_template.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=HOME)
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


def test_folders_and_wrong_endings_get_a_sentence(tmp_path):
    assert "is a folder" in run("check", ".", cwd=tmp_path, code=2)
    build(tmp_path / "a.xlsx", Yard("us"), rows=10)
    assert "with the ending .xlsx" in run("refresh", "a.xlsx", "--out", "out.ods", cwd=tmp_path, code=2)
    assert not (tmp_path / "out.ods").exists()
    assert "--macro" in run("new", "b.xlsm", cwd=tmp_path, code=2)


def test_a_workbook_that_cannot_be_written_gets_a_sentence(tmp_path, monkeypatch):
    from click.testing import CliRunner
    from xlsxwriter.exceptions import FileCreateError

    from workbook_template import build as building
    from workbook_template.cli import cli

    def refuse(*given, **more):
        raise FileCreateError("[Errno 13] Permission denied")

    monkeypatch.setattr(building, "build", refuse)
    done = CliRunner().invoke(cli, ["new", str(tmp_path / "z.xlsx")])
    assert done.exit_code == 3 and "could not be saved ([Errno 13] Permission denied)" in done.output

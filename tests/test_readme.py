"""README: its commands run as printed, its generated parts are current, and it keeps the house rules."""
from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME / "scripts"))
import readme  # noqa: E402

TEXT = (HOME / "README.md").read_text(encoding="utf-8")


def part(name: str) -> str:
    return TEXT.split(f"<!-- {name} -->\n", 1)[1].split(f"\n<!-- end {name} -->", 1)[0]


def test_the_table_of_functions_is_current():
    assert part("functions") == readme.functions_table(), "run python3 scripts/readme.py"


@pytest.fixture(scope="module")
def demo() -> str:
    return readme.demo_output()


def test_the_demo_prints_what_the_readme_shows(demo):
    assert part("demo output") == demo, "run python3 scripts/readme.py"


def test_the_demo_prints_the_number_of_the_cell(demo):
    import openpyxl
    sheet = openpyxl.load_workbook(HOME / "demo" / "hollow.xlsx", data_only=True)["Start"]
    cells = {row[0].value: row[1].value for row in sheet.iter_rows(max_col=2)}
    printed = re.search(r"Cash cost of the marketable weight +([\d.,]+) USD per lb", demo).group(1)
    assert printed == f"{cells['Cash cost of the marketable weight']:,.2f}"


@pytest.mark.parametrize("line", [line for line in TEXT.splitlines() if line.startswith("boltbook calc")])
def test_calc_commands_run_as_printed(line):
    command = line.replace("boltbook", f"{sys.executable} -m workbook_template.cli", 1)
    done = subprocess.run(command, shell=True, capture_output=True, text=True, cwd=HOME)
    assert done.returncode == 0 and done.stdout, done.stderr


def test_every_command_of_the_program_is_in_the_readme():
    from workbook_template.cli import cli
    for name in cli.list_commands(None):
        command = cli.get_command(None, name)
        assert command.hidden or f"boltbook {name}" in TEXT, name


def test_the_steps_of_the_readme_work(tmp_path):
    """Open it in three steps, as a newcomer types it."""
    for words in (["new", "mylogs.xlsx"], ["refresh", "mylogs.xlsx"]):
        done = subprocess.run([sys.executable, "-m", "workbook_template.cli", *words], capture_output=True, text=True, cwd=tmp_path,
                              env={"PYTHONPATH": str(HOME), "PATH": "/usr/bin:/bin"})
        assert done.returncode == 0, done.stderr


def test_pictures_and_links_are_there():
    for target in re.findall(r"\]\(([^)#]+)\)", TEXT):
        assert (HOME / target).exists(), target


def test_nothing_of_the_workplace_in_the_tree():
    listed = subprocess.run(["git", "ls-files", "-z"], capture_output=True, text=True, cwd=HOME).stdout.split("\0")
    words = ["/ro" + "ot/", "/wo" + "rk/", "trans" + "cript", "seed docu" + "ment"]
    for name in listed:
        path = HOME / name
        if path.suffix in (".py", ".md", ".toml", ".csv", ".vba", ".bas", ".xcu", "") and path.is_file():
            text = path.read_text(encoding="utf-8", errors="ignore")
            assert not [w for w in words if w in text], name


def test_top_level_is_the_agreed_house():
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=HOME).stdout.splitlines()
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "calc", "workbook_template", "tests", "scripts", "examples", ".ci",
        ".gitignore", "LICENSE"}
    assert {name.partition("/")[0] for name in listed} <= allowed

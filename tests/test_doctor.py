"""boltbook doctor over made-up computers: every fault is found, named and comes with its way out; a well one is silent.

The faults are those that users of xlwings report (its issue tracker and troubleshooting page), and Windows' mark of
downloaded files.
"""
from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from workbook_template import doctor as command
from workbook_template import doctor_checks as checks
from workbook_template.build import build
from workbook_template.computer import LINUX, MAC, WINDOWS, Computer, this_computer
from workbook_template.doctor_checks import LOOK, MEND, NEEDED, OK
from workbook_template.yard import Yard

HOME = Path(__file__).resolve().parent.parent
EXCEL = r"C:\Program Files\Microsoft Office\root\Office16\EXCEL.EXE"


def put(path: Path, content: bytes | str = b"x") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def well(tmp_path, platform) -> Computer:
    """A computer where nothing is wrong."""
    home, python = tmp_path / "home", tmp_path / "py" / ("python.exe" if platform == WINDOWS else "python3")
    put(python)
    versions = {name: "9" for name in NEEDED} | {"boltbook": "0.1.0", "xlwings": "0.37.8", "pywin32": "311", "appscript": "1.4"}
    package = put(tmp_path / "site" / "xlwings" / "addin" / "xlwings.xlam", b"the add-in").parent.parent
    pc = Computer(platform, (3, 12, 1), 64, python, (python.parent,), home, {"APPDATA": str(home / "roaming")}, versions, package,
                  (EXCEL, "{00024500}") if platform == WINDOWS else (None, None), {"boltbook": "/b", "python": str(python)}, root=tmp_path / "root")
    if platform == WINDOWS:
        put(pc.roaming() / "Microsoft/Excel/XLSTART/xlwings.xlam", b"the add-in")
        for bits in (32, 64):
            put(python.parent / f"xlwings{bits}-0.37.8.dll")
        put(home / ".xlwings/xlwings.conf", f'"INTERPRETER_WIN","{python}"\n')
    elif platform == MAC:
        put(pc.place("/Applications/Microsoft Excel.app/x"))
        put(home / "Library/Group Containers/UBF8T346G9.Office/User Content.localized/Startup.localized/Excel/xlwings.xlam", b"the add-in")
        put(home / "Library/Application Scripts/com.microsoft.Excel/xlwings-0.37.8.applescript")
        put(home / "Library/Containers/com.microsoft.Excel/Data/xlwings.conf", f'"INTERPRETER_MAC","{python}"\n')
    else:
        pc = with_office(pc)
    return pc


def with_office(pc: Computer, version: str | None = "0.1.0", **programs) -> Computer:
    if version:
        base = {WINDOWS: pc.roaming() / "LibreOffice", MAC: pc.home / "Library/Application Support/LibreOffice"}.get(
            pc.platform, pc.home / ".config/libreoffice")
        put(base / "4/user/uno_packages/cache/uno_packages/lu1.tmp_/boltbook.oxt/description.xml",
            f'<description><identifier value="boltbook.office.extension"/><version value="{version}"/></description>')
    return replace(pc, programs={**pc.programs, "soffice": "/usr/bin/soffice"})


def all_of(pc):
    return [finding for check in checks.EVERYWHERE for finding in check(pc)]


@pytest.mark.parametrize("platform", [WINDOWS, MAC, LINUX])
def test_nothing_to_say_where_all_is_well(platform, tmp_path):
    found = all_of(well(tmp_path, platform))
    assert [f for f in found if f.level != OK] == [] and not any(f.how for f in found)
    words = " ".join(f.words for f in found)
    assert "Python 3.12.1" in words and "Boltbook 0.1.0" in words and ("LibreOffice" if platform == LINUX else "Excel: ") in words


def conf(*lines):
    return lambda pc: put(pc.home / ".xlwings/xlwings.conf", "\n".join(lines)) and pc


def without(*names):
    return lambda pc: replace(pc, versions={k: v for k, v in pc.versions.items() if k not in names})


def spoil(relative, content=None):
    """Delete a file of the home (roaming/...), the package (package/...) or beside Python (py/...), or write into it."""
    def work(pc):
        top, _, rest = relative.partition("/")
        path = {"roaming": pc.roaming(), "package": pc.xlwings_home, "py": pc.executable.parent, "home": pc.home}[top] / rest
        path.unlink()
        if content is not None:
            put(path, content)
        return pc
    return work


XLSTART = "roaming/Microsoft/Excel/XLSTART/xlwings.xlam"
FAULTS = [
    (WINDOWS, lambda pc: replace(pc, python=(3, 9, 7)), MEND, "Python 3.9.7 is too old", "python.org"),
    (WINDOWS, lambda pc: replace(pc, executable=Path("/WindowsApps/python.exe")), LOOK, "comes from the Microsoft Store", "python.org"),
    (WINDOWS, lambda pc: replace(pc, programs={**pc.programs, "python": "/WindowsApps/python.exe"}), LOOK, 'The word "python"', "aliases"),
    (WINDOWS, without("openpyxl", "pint"), MEND, "missing: openpyxl, pint", "--no-index"),
    (MAC, without("boltbook"), LOOK, "runs from a folder", "pip install ."),
    (WINDOWS, lambda pc: replace(pc, programs={}), LOOK, 'The word "boltbook"', "python -m workbook_template.cli"),
    (WINDOWS, lambda pc: replace(pc, registry=(None, None)), LOOK, "Neither Excel nor LibreOffice", "needs none"),
    (WINDOWS, lambda pc: replace(pc, registry=(EXCEL, None)), LOOK, "cannot reach it", "Quick Repair"),
    (WINDOWS, lambda pc: replace(pc, registry=(r"C:\Program Files\WindowsApps\Office\EXCEL.EXE", "{}")), LOOK, "Microsoft Store", "boltbook refresh"),
    (MAC, lambda pc: shutil.rmtree(pc.place("/Applications")) or pc, LOOK, "Neither Excel nor LibreOffice", "needs none"),
    (LINUX, lambda pc: with_office(pc, "0.0.9"), MEND, "of another version (0.0.9)", "--install"),
    (MAC, lambda pc: with_office(pc, None), LOOK, "does not have the Boltbook extension", "--install"),
    (WINDOWS, without("xlwings"), MEND, "xlwings is missing", "pip install"),
    (WINDOWS, lambda pc: replace(pc, versions={**pc.versions, "xlwings": "0.40.0"}), MEND, "another line", "<0.38"),
    (WINDOWS, without("pywin32"), MEND, "lacks its part pywin32", "pip install pywin32"),
    (MAC, without("appscript"), MEND, "lacks its part appscript", "pip install appscript"),
    (WINDOWS, lambda pc: replace(pc, troubles={"win32com.client": "AttributeError: CLSIDToClassMap"}), MEND, "does not start", "gen_py"),
    (WINDOWS, lambda pc: replace(pc, troubles={"win32com.client": "ImportError: DLL load failed"}), MEND, "does not start", "reinstall pywin32"),
    (WINDOWS, spoil("package/addin/xlwings.xlam", b""), MEND, "gone or empty", "Protection software"),
    (WINDOWS, spoil(XLSTART), LOOK, "is not installed", "addin install"),
    (WINDOWS, spoil(XLSTART, b""), MEND, "in Excel is empty", "Protection software"),
    (WINDOWS, spoil(XLSTART, b"an older one"), MEND, "of another version than xlwings 0.37.8", "addin install"),
    (WINDOWS, spoil("py/xlwings64-0.37.8.dll"), MEND, "xlwings64-0.37.8.dll", "reinstall"),
    (MAC, spoil("home/Library/Application Scripts/com.microsoft.Excel/xlwings-0.37.8.applescript"), MEND, "script of the Refresh button",
     "runpython install"),
    (WINDOWS, spoil("home/.xlwings/xlwings.conf"), LOOK, "no settings file", "--force"),
    (WINDOWS, conf('"SHOW CONSOLE","False"'), LOOK, "names no Python", "--force"),
    (WINDOWS, conf('"INTERPRETER_WIN","/gone/python.exe"'), MEND, "not there any more", "--force"),
    (WINDOWS, conf('"INTERPRETER_WIN","/usr/bin"'), MEND, "not a folder", "--force"),
    (WINDOWS, lambda pc: conf(f'"INTERPRETER_WIN","{put(pc.home / "other" / "python.exe")}"')(pc), LOOK, "another Python", "--force"),
    (WINDOWS, conf('"CONDA PATH","C:\\conda"'), MEND, "both CONDA PATH and CONDA ENV", "Change"),
    (WINDOWS, conf('"INTERPRETER_WIN","python"', '"PYTHONPATH","C:\\yard\\"'), MEND, "backslash", "Take it off"),
    (WINDOWS, conf('"INTERPRETER_WIN","python"', '"SHOW CONSOLE","Faux"'), MEND, "not Faux", "Change"),
]


@pytest.mark.parametrize(("platform", "fault", "level", "words", "how"), FAULTS, ids=[f"{p}-{w}" for p, _, _, w, _ in FAULTS])
def test_each_fault_is_named_with_its_way_out(platform, fault, level, words, how, tmp_path):
    found = [f for f in all_of(fault(well(tmp_path, platform))) if f.level != OK]
    told = [f for f in found if words in f.words]
    assert len(told) == 1, found
    assert told[0].level == level and how in told[0].how
    assert told[0].needed == ("Python 3.9" in words or "missing: open" in words)


@pytest.fixture(scope="module")
def ours(tmp_path_factory):
    path = tmp_path_factory.mktemp("ours") / "yard.xlsm"
    build(path, Yard("metric"), rows=10, macro=True)
    return path


def test_a_workbook_that_is_well(ours, tmp_path):
    found = checks.workbook(well(tmp_path, WINDOWS), ours)
    assert [(f.level, f.words) for f in found] == [(OK, "yard.xlsm was made here (metric units).")]


@pytest.mark.parametrize(("name", "words"), [
    ("logs=2026.xlsm", "has =: the Refresh button stops"), ("A & B/yard.xlsm", "has &"), ("OneDrive - Farm/yard.xlsm", "cloud folder")])
def test_places_that_break_the_button(name, words, ours, tmp_path):
    path = put(tmp_path / name)
    shutil.copy(ours, path)
    assert any(words in f.words and f.level == LOOK and f.how for f in checks.workbook(well(tmp_path, WINDOWS), path))


def test_a_cloud_folder_that_only_the_settings_tell(ours, tmp_path):
    path = Path(shutil.copy(ours, put(tmp_path / "Yard" / "yard.xlsm")))
    pc = replace(well(tmp_path, WINDOWS), environment={"OneDriveConsumer": str(tmp_path / "Yard")})
    assert any("cloud folder" in f.words for f in checks.workbook(pc, path))


def test_a_download_and_a_lock_and_settings_beside(ours, tmp_path):
    path = Path(shutil.copy(ours, tmp_path / "yard.xlsm"))
    put(tmp_path / "yard.xlsm:Zone.Identifier", "[ZoneTransfer]\r\nZoneId=3\r\n")
    put(tmp_path / "~$yard.xlsm", b"\x04Asta" + b" " * 50)
    put(tmp_path / "xlwings.conf", "")
    found = {f.words.split(":")[0] if "download" in f.words else f.words[:30]: f for f in checks.workbook(well(tmp_path, WINDOWS), path)}
    told = " ".join(f.words + f.how for f in found.values())
    assert all(words in told for words in ("marks yard.xlsm as downloaded", "Unblock", "is open in Excel by Asta", "xlwings.conf stands beside"))
    put(tmp_path / "yard.xlsm:Zone.Identifier", "[ZoneTransfer]\r\nZoneId=1\r\n")
    assert not any("downloaded" in f.words for f in checks.workbook(well(tmp_path, WINDOWS), path))


def test_a_workbook_of_someone_else_and_none_at_all(tmp_path):
    openpyxl.Workbook().save(tmp_path / "other.xlsx")
    pc = well(tmp_path, WINDOWS)
    assert "other.xlsx is not a workbook made here" in checks.workbook(pc, tmp_path / "other.xlsx")[0].words
    assert checks.workbook(pc, tmp_path / "gone.xlsx")[0].level == MEND
    assert "web address" in checks.workbook(pc, Path("https://d.example/yard.xlsx"))[0].words


def test_the_packages_are_those_the_project_needs():
    wanted = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    assert {text.partition(">")[0] for text in wanted} == {*NEEDED, "xlwings"}
    assert checks.INSTALL_XLWINGS.partition('"')[2].strip('"') in wanted


def test_the_commands_that_are_told_exist():
    """xlwings' own help knows the words; the part for Mac is there on a Mac only."""
    text = "".join((HOME / "workbook_template" / name).read_text(encoding="utf-8") for name in ("doctor_checks.py", "addin/excel_command.py"))
    told = set(re.findall(r"python -m (xlwings[\w.]*) (\w+ \w+)( --force)?", text))
    assert {words for _, words, _ in told} == {"addin install", "config create", "runpython install"}
    for module, words, force in told - {t for t in told if "runpython" in t[1]}:
        done = subprocess.run([sys.executable, "-m", module, *words.split(), "--help"], capture_output=True, text=True, timeout=120)
        assert done.returncode == 0 and force.strip() in done.stdout, done.stderr


def test_the_command_on_this_computer(ours):
    """The main job works here: exit code 0, a line for each thing, the trial done."""
    told = CliRunner().invoke(command.doctor, [str(ours)])
    assert told.exit_code == 0, told.output
    lines = told.output.splitlines()
    assert lines[0].startswith("ok       Python 3.") and "ok       A trial workbook was made and refreshed." in lines
    assert any("LibreOffice: " in line for line in lines) and "ok       yard.xlsm was made here (metric units)." in lines
    assert lines[-1].startswith("Workbooks can be made and refreshed here.")


def test_exit_code_1_where_the_main_job_does_not_work(monkeypatch):
    pc = replace(this_computer([*NEEDED]), versions={})
    monkeypatch.setattr(command, "this_computer", lambda packages: pc)
    told = CliRunner().invoke(command.doctor, [])
    assert told.exit_code == 1 and "Packages are missing" in told.output and told.output.splitlines()[-1].endswith("mend the above.")


def test_a_broken_package_is_told_by_the_trial(monkeypatch):
    from workbook_template import refresh

    def broken(*_, **__):
        raise ImportError("DLL load failed while importing pyarrow")

    monkeypatch.setattr(refresh, "refresh_file", broken)
    found = command.trial()
    assert found.needed and found.level == MEND and "DLL load failed while importing pyarrow" in found.words

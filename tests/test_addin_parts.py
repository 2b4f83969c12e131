"""The parts of the LibreOffice extension that need no office: where Python is, what is said without it, the command."""
from __future__ import annotations

import importlib
import json
import sys
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from workbook_template.addin import command, oxt, python_home
from workbook_template.addin.results_command import FORM, results

HOME = Path(__file__).resolve().parent.parent


@pytest.fixture
def child(monkeypatch):
    """The extension's module that runs the grower's Python, as it is in the package."""
    for name in ("boltbook_office", "boltbook_office.python_home", "boltbook_office.child"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    monkeypatch.syspath_prepend(str(oxt.EXTENSION))
    monkeypatch.setitem(sys.modules, "boltbook_office.python_home", python_home)
    sys.modules["boltbook_office"] = package = importlib.import_module("boltbook_office")
    package.python_home = python_home
    yield importlib.import_module("boltbook_office.child")
    for name in ("boltbook_office", "boltbook_office.child"):
        sys.modules.pop(name, None)


@pytest.fixture
def settings(tmp_path, monkeypatch):
    """An own folder for the settings; gives the file."""
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path))
    return python_home.path()


def test_the_settings_stand_where_each_system_keeps_them():
    where = python_home.path
    assert where({"HOME": "/home/a"}, "linux") == Path("/home/a/.config/boltbook/office.json")
    assert where({"HOME": "/home/a", "XDG_CONFIG_HOME": "/etc/a"}, "linux") == Path("/etc/a/boltbook/office.json")
    assert where({"HOME": "/Users/a"}, "darwin") == Path("/Users/a/Library/Application Support/boltbook/office.json")
    assert where({"USERPROFILE": "C:/a", "APPDATA": "C:/a/R"}, "win32") == Path("C:/a/R/boltbook/office.json")


def test_settings_that_cannot_be_read_count_as_none_and_own_ones_stay(settings):
    assert python_home.read() == {}
    settings.parent.mkdir(parents=True)
    for text in ("", "[1]", "{", "\x00"):
        settings.write_text(text, encoding="utf-8")
        assert python_home.read() == {}
    settings.write_text('{"seconds": 20, "python": "old"}', encoding="utf-8")
    python_home.write("new", "/here")
    assert json.loads(settings.read_text(encoding="utf-8")) == {"seconds": 20, "python": "new", "home": "/here"}


@pytest.mark.parametrize("said, limit", [({}, 300), ({"seconds": 20}, 20), ({"seconds": "20"}, 300), ({"seconds": True}, 300),
                                         ({"seconds": -1}, 300)])
def test_how_long_a_refresh_may_take(child, settings, monkeypatch, said, limit):
    monkeypatch.setattr(python_home, "read", lambda: said)
    assert child.seconds() == limit


def test_no_python_at_all_is_said_with_what_to_do(child, settings, monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(child.Trouble, match="Python was not found.*Install Python 3.11.*pip install"):
        child.run("workbook_template", [], tmp_path)


def test_the_python_of_the_installation_comes_first_and_finds_the_package(child, settings, tmp_path):
    python_home.write(sys.executable, HOME)
    assert child.pythons()[0] == (sys.executable, str(HOME))
    told = []
    code, out, errors = child.run("workbook_template.cli", ["calc", "BOLT_HOLES", "4", "48", "6", "2"], tmp_path, told.append)
    assert (code, errors) == (0, "") and out.startswith("45 holes") and told == sorted(told)


def test_what_is_wrong_with_the_workbook_comes_back_as_words(tmp_path):
    (tmp_path / "not.xlsx").write_text("no workbook", encoding="utf-8")
    for path in (tmp_path / "not.xlsx", tmp_path / "none.xlsx"):
        done = CliRunner().invoke(results, [str(path), "--name", "Yard.xlsx"])
        found = json.loads(done.output)
        assert done.exit_code == 0 and found["form"] == FORM and found["trouble"].endswith(".")


def test_the_command_builds_the_extension(settings, tmp_path):
    done = CliRunner().invoke(command.libreoffice, ["--out", str(tmp_path)])
    assert done.exit_code == 0 and "Extension Manager" in done.output and sys.executable in done.output
    assert zipfile.is_zipfile(tmp_path / oxt.file_name())
    assert python_home.read() == {"python": sys.executable, "home": str(HOME)}
    assert (tmp_path / oxt.file_name()).read_bytes() == oxt.build(settings.parent).read_bytes()


@pytest.mark.parametrize("said, words", [
    ("Cannot run unopkg as root without --shared", "Run this as the user who works with it"),
    ("unopkg cannot be started. The lock file indicates it as already running.", "Close all its windows"),
    ("There is no such extension deployed: boltbook", "there is nothing to take out"),
    ("first\nthe disk is full", "LibreOffice could not do it: the disk is full"),
])
def test_what_the_installer_says_is_told_in_plain_words(settings, monkeypatch, tmp_path, said, words):
    program = tmp_path / "unopkg"
    program.write_text(f"#!/bin/sh\necho '{said}' >&2\nexit 1\n", encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setattr(command, "installer", lambda: str(program))
    done = CliRunner().invoke(command.libreoffice, ["--uninstall"])
    assert done.exit_code == 3 and words in done.output and "Traceback" not in done.output


def test_no_office_is_said(settings, monkeypatch):
    monkeypatch.setattr(command, "installer", lambda: None)
    done = CliRunner().invoke(command.libreoffice, ["--install"])
    assert done.exit_code == 3 and "LibreOffice was not found" in done.output

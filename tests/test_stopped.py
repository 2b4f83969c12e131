"""Ctrl-C on every command that writes: each file is whole, none is left half written, and a sentence says how they stand.

Real processes and the real signal; scripts/kill.py does it at many more moments.
"""
from __future__ import annotations

import os
import signal
import subprocess
import sys
import types

import pytest
from fault_server import Server
from stops import COMMANDS, UNCHANGED, Stops, make_world
from terminal import PATHS, on_terminal


@pytest.fixture(scope="module")
def stops(tmp_path_factory):
    world, pieces = tmp_path_factory.mktemp("world"), tmp_path_factory.mktemp("pieces")
    yard = make_world(world)
    server = Server(yard, TMPDIR=str(pieces))
    yield Stops(server, world, tmp_path_factory.mktemp("stopped") / "here", pieces)
    server.stop()


@pytest.mark.parametrize("name", COMMANDS)
def test_stopped_when_the_last_step_begins(stops, name):
    stops.held(name)


@pytest.mark.parametrize("name", COMMANDS)
def test_stopped_at_a_random_moment(stops, name):
    assert stops.random(name, 1, 2026)


@pytest.mark.parametrize("name", COMMANDS)
def test_no_room_for_any_file(stops, name):
    stops.no_room(name)


def test_every_command_that_writes_is_among_them():
    from workbook_template.cli import cli
    assert set(cli.list_commands(None)) - set(COMMANDS) == {"addin", "calc", "check", "doctor"}


def test_stopped_before_anything_is_loaded(monkeypatch, capsys):
    """While the libraries of the command line are still being loaded there is a sentence too, and afterwards nothing more to stop."""
    from workbook_template import __main__ as start

    def stop(**_):
        raise KeyboardInterrupt

    monkeypatch.setattr("workbook_template.ports.swap.written", [])
    monkeypatch.setitem(sys.modules, "workbook_template.cli", types.SimpleNamespace(cli=stop))
    before = signal.getsignal(signal.SIGINT)
    try:
        with pytest.raises(SystemExit) as end:
            start.main()
        assert signal.getsignal(signal.SIGINT) == signal.SIG_IGN
    finally:
        signal.signal(signal.SIGINT, before)
    assert end.value.code == 3 and capsys.readouterr().err == UNCHANGED


def test_stopped_at_a_question(stops, monkeypatch):
    """Ctrl-C where import asks whether to write."""
    import click
    from click.testing import CliRunner

    from workbook_template import years_commands
    from workbook_template.cli import cli

    def stop(*_, **__):
        raise click.Abort

    monkeypatch.setattr(years_commands, "_at_a_terminal", lambda: True)
    monkeypatch.setattr(click, "confirm", stop)
    before = stops.fresh()
    monkeypatch.setattr("workbook_template.ports.swap.written", [])
    done = CliRunner().invoke(cli, ["import", str(stops.folder / "Yard.xlsx"), "--from", str(stops.folder / "old.csv")])
    assert done.exit_code == 3 and done.output.endswith(UNCHANGED)
    stops.nothing_left("import", before)


def test_one_wait_inside_another_ends_with_the_outer_one():
    from workbook_template.ports.swap import _undisturbed
    reached, before = [], signal.signal(signal.SIGINT, signal.default_int_handler)  # what runs in the background may ignore it
    try:
        with pytest.raises(KeyboardInterrupt):
            with _undisturbed():
                with _undisturbed():
                    os.kill(os.getpid(), signal.SIGINT)
                    reached.append("inner")
                reached.append("outer")
            reached.append("beyond")
    finally:
        signal.signal(signal.SIGINT, before)
    assert reached == ["inner", "outer"]


def test_a_bar_does_not_leak_into_what_is_piped_to_a_file(stops, tmp_path):
    """The answers go to a file while the terminal shows the bar: the file holds words only. With both in a file there is no bar at all."""
    stops.fresh()
    words = [["check", str(stops.folder / "Yard.xlsx")],
             ["import", str(stops.folder / "Yard.xlsx"), "--from", str(stops.folder / "old.csv"), "--yes"]]
    code = ("from workbook_template import progress; progress.PATIENCE = 0\nfrom workbook_template.cli import cli\n"
            f"for words in {words!r}:\n    try:\n        cli.main(words, prog_name='boltbook')\n    except SystemExit:\n        pass\n")
    shown, said = on_terminal(code)
    assert "Checking (2 of 3)" in shown and "\x1b[" in shown
    assert "rows can be read" in said.replace("1 row can", "rows can") and "\x1b" not in said and " of 3)" not in said and "\r" not in said
    out = tmp_path / "out.txt"
    with out.open("wb") as file:
        subprocess.run([sys.executable, "-c", code], stdout=file, stderr=subprocess.STDOUT, env=PATHS, timeout=120, check=True)
    assert b"\x1b" not in out.read_bytes() and b" of 3)" not in out.read_bytes()

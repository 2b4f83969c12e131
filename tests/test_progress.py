"""A bar on what takes longer than two seconds, on a terminal only; and help that loads no library."""
from __future__ import annotations

import os
import subprocess
import sys

from terminal import on_terminal

WORK = """
import sys, time
from workbook_template.progress import Steps
with Steps(("Reading", "Writing"), patience={patience}) as step:
    step("Reading")
    time.sleep({first})
    step("Writing")
    time.sleep({first})
print("rich" in sys.modules)
"""


def test_a_bar_appears_on_long_work():
    shown, _ = on_terminal(WORK.format(patience=0.2, first=3))
    assert "Reading (1 of 2)" in shown and "Writing (2 of 2)" in shown


def test_short_work_shows_nothing_and_loads_nothing():
    assert on_terminal(WORK.format(patience=30, first=0.01)) == ("", "False\n")


def test_without_a_terminal_nothing_is_shown():
    done = subprocess.run([sys.executable, "-c", WORK.format(patience=0, first=0.5)], capture_output=True, text=True, timeout=60,
                          env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)})
    assert (done.stderr, done.stdout) == ("", "False\n")


def test_help_names_every_command_and_loads_no_library():
    code = "import sys\nfrom workbook_template.cli import cli\ntry:\n    cli.main(['--help'], prog_name='boltbook')\nfinally:\n    " \
           "print(sorted({n.partition('.')[0] for n in sys.modules} & {'numpy', 'pandas', 'pyarrow', 'scipy', 'openpyxl', 'pint', 'xlsxwriter'}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60,
                          env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)})
    from workbook_template.cli import cli
    assert done.stdout.rstrip().endswith("[]"), done.stdout + done.stderr
    for name in cli.list_commands(None):
        words = cli.get_command(None, name).get_short_help_str(30).rstrip(".")[:20]
        assert f"  {name} " in done.stdout and words in done.stdout, name

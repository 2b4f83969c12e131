"""Runs the package in the grower's own Python, ends it when it hangs, and says in one sentence what is missing."""
from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from boltbook_office import python_home

SECONDS = 300.0  # how long a child may take, unless the settings say otherwise
STEP = 0.05  # seconds between two looks at it
ABSENT = "No module named 'workbook_template'"
OFFICE_ONLY = ("PYTHONHOME", "PYTHONPATH", "LD_LIBRARY_PATH", "UNO_PATH", "URE_BOOTSTRAP")
INSTALL = "In the folder of Boltbook type: pip install . and then: boltbook addin libreoffice --install"


class Trouble(Exception):
    """What kept a command from being done: words for the grower."""


def pythons():
    """(interpreter, folder of the package or None), the one of the installation first."""
    known = python_home.read()
    found = [(known["python"], known.get("home"))] if isinstance(known.get("python"), str) else []
    others = [shutil.which(name) for name in ("python3", "python", "py")]
    return found + [(other, None) for other in dict.fromkeys(others) if other and other not in [one for one, _ in found]]


def seconds():
    """How long a child may take."""
    wanted = python_home.read().get("seconds")
    usable = isinstance(wanted, (int, float)) and not isinstance(wanted, bool) and wanted > 0
    return float(wanted) if usable else SECONDS


def run(module, words, folder, tick=lambda passed: None):
    """Run a module of the package; returns (exit code, standard output, error output).

    folder: an own empty folder to run in. tick: told the seconds passed, some times a second. Raises Trouble where no
    Python with the package is found, or the child takes too long; it has ended then.
    """
    without = None
    for python, home in pythons():
        try:
            code, out, errors = _run_one([python, "-m", module, *words], home, folder, tick)
        except OSError:
            continue
        if code == 0 or ABSENT not in errors:
            return code, out, errors
        without = without or python
    if without:
        raise Trouble("Python was found ({}), but Boltbook is not installed in it, so nothing was done. {}".format(without, INSTALL))
    raise Trouble("Python was not found, so nothing was done. Install Python 3.11 or later from python.org. " + INSTALL)


def _run_one(command, home, folder, tick):
    environment = {key: value for key, value in os.environ.items() if key not in OFFICE_ONLY}
    environment["PYTHONIOENCODING"] = "utf-8"
    if home:
        environment["PYTHONPATH"] = home
    apart = {"creationflags": subprocess.CREATE_NO_WINDOW} if sys.platform == "win32" else {"start_new_session": True}
    names = [Path(folder) / name for name in ("out.txt", "errors.txt")]
    with open(str(names[0]), "wb") as out, open(str(names[1]), "wb") as errors:
        child = subprocess.Popen(command, cwd=str(folder), env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=errors, **apart)
        try:
            _wait(child, seconds(), tick)
        finally:
            if child.poll() is None:
                _end(child)
    return (child.returncode, *(name.read_text(encoding="utf-8", errors="replace") for name in names))


def _wait(child, limit, tick):
    began = time.monotonic()
    while child.poll() is None:
        passed = time.monotonic() - began
        if passed > limit:
            raise Trouble("The calculation was ended because it took longer than {:g} seconds. Nothing was written. Try again; "
                          "if it happens again, save, close the file and type: boltbook refresh and its name.".format(limit))
        tick(passed)
        try:
            child.wait(STEP)
        except subprocess.TimeoutExpired:
            pass


def _end(child):
    """End a child and whatever it has started."""
    if sys.platform == "win32":
        child.kill()
    else:
        try:
            os.killpg(child.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
    child.wait()

"""The project's own virtual environment for the scripts: made once, reused, brought up to date when pyproject changes."""
from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
VENV = HOME / ".venv"


def venv_python() -> Path:
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def inside(python: Path) -> bool:
    """True when this process already runs in the environment of that Python."""
    return Path(sys.prefix).resolve() == python.parent.parent.resolve()


def ready(extras: tuple[str, ...]) -> Path:
    """The environment's Python, with Boltbook and the extras installed. Fetches only when something is missing."""
    if sys.version_info < (3, 11):
        sys.exit("Boltbook needs Python 3.11 or later; this is " + sys.version.split()[0] + ".")
    python = venv_python()
    if not python.exists():
        print(f"Making a virtual environment in {VENV.name} ...", flush=True)
        venv.create(VENV, with_pip=True)
    mark = VENV / "boltbook-installed.txt"
    wanted = hashlib.sha256((HOME / "pyproject.toml").read_bytes()).hexdigest()
    have = mark.read_text().split() if mark.exists() else []
    if have[:1] != [wanted] or not set(extras) <= set(have[1:]):
        extras = tuple(sorted(set(extras) | (set(have[1:]) if have[:1] == [wanted] else set())))
        what = str(HOME) + (f"[{','.join(extras)}]" if extras else "")
        print("Installing Boltbook and the libraries it uses ...", flush=True)
        code = run([str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable", what])
        if code:
            sys.exit("The installation did not finish: see the lines above. Is there a network connection?")
        mark.write_text("\n".join([wanted, *extras]))
    return python


def run(command: list[str], **options) -> int:
    return subprocess.run(command, cwd=HOME, **options).returncode

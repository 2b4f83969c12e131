"""Where the grower's own Python is: a small file that the installation writes and the extension reads at every refresh.

This module also rides inside the extension, so it is standard library only, in the syntax of Python 3.8.
"""
from __future__ import annotations

import json
import os
import sys
from pathlib import Path


def path(environment=None, platform=sys.platform):
    """The file: boltbook/office.json in the folder where programs keep a user's settings."""
    environment = os.environ if environment is None else environment
    home = Path(environment.get("USERPROFILE" if platform == "win32" else "HOME") or Path.home())
    if platform == "win32":
        base = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(environment.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "boltbook" / "office.json"


def read():
    """What the file says, {} if there is none or it cannot be read.

    python: the interpreter; home: the folder that holds the package, "" if the interpreter looks there anyway; seconds: how
    long a refresh may take.
    """
    try:
        found = json.loads(path().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def write(python, home):
    """Remember an interpreter and where its package is; what else the file says stays. Raises OSError."""
    target = path()
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    try:
        part.write_text(json.dumps(dict(read(), python=str(python), home=str(home)), indent=1) + "\n", encoding="utf-8")
        os.replace(str(part), str(target))
    finally:
        if part.exists():
            part.unlink()
    return target

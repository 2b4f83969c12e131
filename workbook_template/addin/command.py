"""boltbook addin libreoffice: build the extension, install it, take it out again."""
from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from workbook_template.addin import oxt, python_home
from workbook_template.cli import _guarded
from workbook_template.mistakes import BLOCKED, Mistake
from workbook_template.progress import Steps

HOME = Path(__file__).resolve().parents[2]
BUILDING, INSTALLING, REMOVING = "Building", "LibreOffice takes it in", "LibreOffice takes it out"
BY_HAND = "In LibreOffice: Tools, Extension Manager, Add, choose {}, and start LibreOffice again."
USUAL_PLACES = ("/Applications/LibreOffice.app/Contents/MacOS/unopkg", "C:/Program Files/LibreOffice/program/unopkg.com",
                "C:/Program Files (x86)/LibreOffice/program/unopkg.com")


def installer() -> str | None:
    """LibreOffice's own program for extensions, None where it is not found."""
    return shutil.which("unopkg") or next((place for place in USUAL_PLACES if os.path.exists(place)), None)


def _unopkg(profile: Path | None, *words: str) -> str:
    """Run the installer; returns what it said. Raises a Mistake that says what to do."""
    program = installer()
    if program is None:
        raise Mistake("LibreOffice was not found on this computer. Install it from libreoffice.org, or build the extension with "
                       "boltbook addin libreoffice and add it by hand: Tools, Extension Manager, Add.", BLOCKED)
    place = [f"-env:UserInstallation={profile.resolve().as_uri()}"] if profile else []
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run([program, words[0], *place, *words[1:]], capture_output=True, text=True, env=clean, stdin=subprocess.DEVNULL)
    said = (done.stdout + done.stderr).strip()
    if done.returncode == 0:
        return said
    if "as root" in said:
        raise Mistake("LibreOffice lets no administrator (root) install an extension for themselves. "
                      "Run this as the user who works with it.", BLOCKED)
    if "already running" in said or "lock file" in said:
        raise Mistake("LibreOffice is running. Close all its windows, also the quickstarter, and try again.", BLOCKED)
    if "no such extension" in said.lower():
        raise Mistake("Boltbook is not installed in LibreOffice: there is nothing to take out.", BLOCKED)
    raise Mistake(f"LibreOffice could not do it: {said.splitlines()[-1] if said else 'it gave no reason'}", BLOCKED)


def _remember() -> str:
    python_home.write(sys.executable, "" if HOME.name in ("site-packages", "dist-packages") else HOME)
    return f"Refresh will run in {sys.executable}."


@click.command()
@click.option("--install", "action", flag_value="install", help="Put the extension into LibreOffice. Close LibreOffice first.")
@click.option("--uninstall", "action", flag_value="uninstall", help="Take it out of LibreOffice. Your workbooks stay as they are.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False, exists=True), default=".",
              help="Folder for the extension file, when it is only built.")
@click.option("--profile", type=click.Path(path_type=Path, file_okay=False),
              help="Folder of your LibreOffice profile, if it is not the usual one.")
def libreoffice(action: str | None, out: Path, profile: Path | None) -> None:
    """Build the LibreOffice extension: worksheet functions BOLT.…, and a Boltbook menu with Refresh."""
    try:
        if action == "uninstall":
            with Steps((REMOVING,)) as step:
                step(REMOVING)
                _unopkg(profile, "remove", oxt.IDENTIFIER)
            python_home.path().unlink(missing_ok=True)
            click.echo("Boltbook is no longer in LibreOffice. Cells with BOLT. functions show #NAME? when they compute again.")
        elif action == "install":
            with Steps((BUILDING, INSTALLING)) as step, tempfile.TemporaryDirectory(prefix="boltbook-") as folder:
                step(BUILDING)
                built = _guarded(lambda: oxt.build(Path(folder)))
                step(INSTALLING)
                _unopkg(profile, "add", "--force", str(built))
            click.echo(f"Installed. {_remember()} Start LibreOffice Calc: the menu Boltbook has Refresh, and cells know BOLT.VOLUME and the rest.")
        else:
            path = _guarded(lambda: oxt.build(out))
            click.echo(f"Made {path}. {_remember()} {BY_HAND.format(path.name)} Or let this do it: boltbook addin libreoffice --install")
    except OSError as error:
        raise Mistake(f"{error.filename or 'A file'} could not be written: {error.strerror or error}.", BLOCKED) from None


if __name__ == "__main__":
    libreoffice(prog_name="boltbook addin libreoffice")

"""boltbook doctor: what works on this computer and how to mend what does not."""
from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click

from workbook_template.computer import this_computer
from workbook_template.doctor_checks import EVERYWHERE, LOOK, MEND, NEEDED, OK, Finding, workbook
from workbook_template.progress import Steps

HINT = ("If Excel says that a program was blocked (error 70, access denied), leave the protection on and use  boltbook refresh --live  "
        "or refresh the closed file.")


def trial() -> Finding:
    """The main job itself: make a small workbook in a temporary folder, refresh it, read it."""
    try:
        from workbook_template.build import build
        from workbook_template.refresh import refresh_file
        from workbook_template.yard import Yard
        with tempfile.TemporaryDirectory(prefix="boltbook-") as folder:
            path = Path(folder) / "trial.xlsx"
            log = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 4, "length": 40}
            build(path, Yard("us", {"logs": [log]}), rows=10)
            if refresh_file(path, progress=False).counts["logs"] != (1, 1):
                return Finding(MEND, "A trial workbook was refreshed, but its one log was not read.",
                               "python -m pip install --upgrade boltbook", True)
    except Exception as error:  # whatever it is, it belongs on the list
        return Finding(MEND, f"A trial workbook could not be made and refreshed ({type(error).__name__}: {error}).",
                       "python -m pip install --upgrade --force-reinstall boltbook", True)
    return Finding(OK, "A trial workbook was made and refreshed.")


def examine(path: Path | None = None, step=lambda words: None) -> list[Finding]:
    """All findings on this computer and, if given, one workbook."""
    step("This computer")
    pc = this_computer([*NEEDED, "boltbook", "xlwings", "pywin32", "appscript"])
    found = [finding for check in EVERYWHERE for finding in check(pc)]
    if not any(finding.needed for finding in found):
        step("A trial workbook")
        found.append(trial())
    step("Your workbook")
    return found + (workbook(pc, path) if path else [])


@click.command()
@click.argument("path", required=False, type=click.Path(path_type=Path))
def doctor(path: Path | None) -> None:
    """Say what works on this computer and how to mend the rest; with PATH, look at that workbook too.

    Exit code 0 if workbooks can be made and refreshed here.
    """
    with Steps(("This computer", "A trial workbook", "Your workbook")[:3 if path else 2]) as step:
        found = examine(path, step)
    for finding in found:
        click.echo(f"{finding.level:<8} {finding.words}")
        if finding.how:
            click.echo(f"{'':<8} {finding.how}")
    broken = any(finding.needed for finding in found)
    counts = {level: sum(finding.level == level for finding in found) for level in (MEND, LOOK)}
    click.echo("Workbooks cannot be refreshed here yet: mend the above." if broken else
               f"Workbooks can be made and refreshed here. {counts[MEND]} to mend, {counts[LOOK]} to look at.")
    if sys.platform == "win32":
        click.echo(HINT)
    if broken:
        sys.exit(1)

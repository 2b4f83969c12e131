"""The commands with which a workbook lives on for years: restore, extend, merge, import, upgrade, close."""
from __future__ import annotations

from pathlib import Path

import click


def _cli():
    """The command line's shared words; looked up when a command runs."""
    from workbook_template import cli
    return cli


@click.command()
@click.argument("path")
def restore(path: str) -> None:
    """Put the last backup of PATH in its place; PATH as it is now is kept beside it under a dated name."""
    from workbook_template.mistakes import Mistake
    from workbook_template.restore import restore as put_back
    target = Path(path)
    if target.is_dir():
        raise Mistake(f"{target} is a folder. Type the name of the workbook in it.")
    click.echo(_cli()._guarded(lambda: put_back(target)).sentence())


@click.command()
@click.argument("path")
@click.option("--out", help="Where the new workbook goes; left out: beside PATH, named ... upgraded.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def upgrade(path: str, out: str | None, quiet: bool) -> None:
    """Make a new workbook from PATH, one of an older version, with everything typed carried over. PATH stays as it is."""
    from workbook_template.mistakes import Mistake
    from workbook_template.refresh import _steps
    from workbook_template.upgrade import upgrade as carry_over
    cli = _cli()
    source = cli._existing(path)
    if out and Path(out).suffix.lower() != source.suffix.lower():
        raise Mistake(f"{out} cannot be written: name it with the ending {source.suffix}.")
    with _steps(not quiet, ("Reading", "Writing", "Checking")) as step:
        done = cli._guarded(lambda: carry_over(source, Path(out) if out else None, step))
    click.echo("\n".join(done.lines()))

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


@click.command()
@click.argument("path")
@click.option("--rows", type=click.IntRange(1, 100_000), required=True, help="Rows to add to Logs, Costs and Sales; Events gets five times as many.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that the workbook is open.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def extend(path: str, rows: int, force: bool, quiet: bool) -> None:
    """Add prefilled rows, with their keys, formulas and checks, to the input sheets of PATH."""
    from workbook_template.extend import extend as add_rows
    from workbook_template.refresh import _steps
    cli = _cli()
    source = cli._existing(path)
    with _steps(not quiet, ("Reading", "Writing")) as step:
        done = cli._guarded(lambda: add_rows(source, rows, force, step=step))
    click.echo("\n".join(done.lines()))


@click.command()
@click.argument("mine")
@click.argument("theirs")
@click.option("--base", help="The copy that both began from. Without it only additions are taken, and differences are listed.")
@click.option("--out", required=True, help="Where the merged workbook goes; the name of MINE itself keeps a backup of it.")
@click.option("--same-yard", is_flag=True, help="They are copies of one yard, although they do not carry one mark.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that MINE is open.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def merge(mine: str, theirs: str, base: str | None, out: str, same_yard: bool, force: bool, quiet: bool) -> None:
    """Put the copy THEIRS into the copy MINE, row by row. New rows of both stay; where both changed a cell, mine stands and it is listed."""
    from workbook_template.merge import merge as put_together
    from workbook_template.mistakes import Mistake
    from workbook_template.refresh import _steps
    cli = _cli()
    paths = [cli._existing(path) if path else None for path in (mine, theirs, base)]
    if Path(out).suffix.lower() != paths[0].suffix.lower():
        raise Mistake(f"{out} cannot be written: name it with the ending {paths[0].suffix}.")
    with _steps(not quiet, ("Reading", "Comparing", "Writing")) as step:
        done = cli._guarded(lambda: put_together(paths[0], paths[1], Path(out), paths[2], same_yard, force, step=step))
    click.echo("\n".join(done.lines()))

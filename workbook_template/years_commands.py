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

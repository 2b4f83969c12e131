"""What the command line says and returns when a grower's words or files stand in the way."""
from __future__ import annotations

import click

DONE, REFUSED_ROWS, USAGE, BLOCKED = 0, 1, 2, 3


class Mistake(click.ClickException):
    """A user's mistake: one sentence, no traceback. code: 2 usage, 3 file in use, changed meanwhile or unwritable."""

    def __init__(self, sentence: str, code: int = USAGE):
        super().__init__(sentence)
        self.exit_code = code

    def show(self, file=None):
        click.echo(self.message, err=True)

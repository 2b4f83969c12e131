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
        say(self.message, err=True)


def say(text: str, err: bool = False) -> None:
    """Print for the grower. What a stranger's sheet put into its texts cannot steer the terminal: control characters are left out."""
    click.echo(text.translate(SILENT), err=err)


# Control characters but for tab and new line, and the marks that turn the direction of writing.
SILENT = dict.fromkeys([*(c for c in range(32) if c not in (9, 10)), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)])
SILENT |= dict.fromkeys(range(0xD800, 0xE000), "\ufffd")

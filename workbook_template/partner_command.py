"""The commands share and receive."""
from __future__ import annotations

import datetime as dt

import click

from workbook_template.cli import _day, _existing, _guarded, _new_path
from workbook_template.mistakes import say


@click.command()
@click.argument("path")
@click.option("--market", required=True, help="The market's name as it stands on Lists.")
@click.option("--out", required=True, help="Where the copy goes: a new .xlsx.")
@click.option("--today", callback=_day, help="Share as of this day, YYYY-MM-DD.")
def share(path: str, market: str, out: str, today: dt.date | None) -> None:
    """Make a small workbook for one market: what is promised, what it had, and cells to fill. PATH is only read."""
    from workbook_template import partner
    from workbook_template.progress import Steps
    source, target = _existing(path), _new_path(out)
    with Steps(("Reading", "Checking", "Working out", "Writing")) as step:
        done = _guarded(lambda: partner.share(source, market, target, today, step=step))
    say(done.sentence())


@click.command()
@click.argument("path")
@click.argument("returned")
@click.option("--market", help="Take the sheet only if it is this market's.")
@click.option("--today", callback=_day, help="The day of the new lines where the sheet says none, YYYY-MM-DD.")
@click.option("--older", is_flag=True, help="Take the sheet although a later one of that market came back already.")
@click.option("--look", is_flag=True, help="Show what would be done and write nothing.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that the workbook is open.")
def receive(path: str, returned: str, market: str | None, today: dt.date | None, older: bool, look: bool, force: bool) -> None:
    """Take a market's sheet that came back into PATH: sold, returned, spoiled, counted into Sales, wishes into Promises."""
    from workbook_template import receive as taking
    from workbook_template.progress import Steps
    target, back = _existing(path), _existing(returned, ours=False)
    with Steps(("Reading", "Comparing", "Writing")[:2 if look else 3]) as step:
        done = _guarded(lambda: taking.receive(target, back, today, market, older, look, force, step))
    for line in done.lines():
        say(line)

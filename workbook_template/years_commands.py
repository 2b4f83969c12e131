"""The commands with which a workbook lives on for years: restore, extend, merge, import, upgrade, close."""
from __future__ import annotations

import click

from workbook_template.cli import _day, _existing, _guarded, _like, _named
from workbook_template.mistakes import say


@click.command()
@click.argument("path")
def restore(path: str) -> None:
    """Put the last backup of PATH in its place; PATH as it is now is kept beside it under a dated name."""
    from workbook_template.mistakes import Mistake
    from workbook_template.progress import Steps
    from workbook_template.restore import restore as put_back
    target = _named(path)
    if target.is_dir():
        raise Mistake(f"{target} is a folder. Type the name of the workbook in it.")
    with Steps(("Looking at the backup", "Keeping the present file", "Putting the backup in place")) as step:
        done = _guarded(lambda: put_back(target, step=step))
    say(done.sentence())


@click.command()
@click.argument("path")
@click.option("--out", help="Where the new workbook goes; left out: beside PATH, named ... upgraded.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def upgrade(path: str, out: str | None, quiet: bool) -> None:
    """Make a new workbook from PATH, one of an older version, with everything typed carried over. PATH stays as it is."""
    from workbook_template.progress import Steps
    from workbook_template.upgrade import upgrade as carry_over
    source = _existing(path)
    target = None if out is None else _like(out, source)
    with Steps(("Reading", "Writing", "Checking"), not quiet) as step:
        done = _guarded(lambda: carry_over(source, target, step))
    say("\n".join(done.lines()))


@click.command()
@click.argument("path")
@click.option("--rows", type=click.IntRange(1, 100_000), required=True,
              help="Rows to add to Logs, Costs, Sales and Promises; Events gets 5 times as many.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that the workbook is open.")
@click.option("--quiet", is_flag=True, help="No progress bar.")
def extend(path: str, rows: int, force: bool, quiet: bool) -> None:
    """Add prefilled rows, with their keys, formulas and checks, to the input sheets of PATH."""
    from workbook_template.extend import extend as add_rows
    from workbook_template.progress import Steps
    source = _existing(path)
    with Steps(("Reading", "Writing"), not quiet) as step:
        done = _guarded(lambda: add_rows(source, rows, force, step=step))
    say("\n".join(done.lines()))


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
    from workbook_template.progress import Steps
    paths = [_existing(mine), _existing(theirs, ours=False), None if base is None else _existing(base, ours=False)]
    target = _like(out, paths[0])
    with Steps(("Reading", "Comparing", "Writing"), not quiet) as step:
        done = _guarded(lambda: put_together(paths[0], paths[1], target, paths[2], same_yard, force, step=step))
    say("\n".join(done.lines()))


@click.command("import")
@click.argument("path")
@click.option("--from", "source", required=True, help="Your own sheet: an .xlsx or .csv file.")
@click.option("--sheet", help="Which sheet of it.")
@click.option("--into", type=click.Choice(["logs", "events", "costs", "sales"]),
              help="Where the rows go, where the headings do not say so.")
@click.option("--map", "named", multiple=True, metavar='"HEADING=COLUMN"',
              help='Which column a heading is; "HEADING=" leaves it out. May be repeated.')
@click.option("--set", "fixed", multiple=True, metavar='"COLUMN=WORD"', help="One word for a column in every row, such as Event=picked.")
@click.option("--unknown", type=click.Choice(["note", "leave"]), help="Columns that are not known: into the note, or left out.")
@click.option("--doubles", type=click.Choice(["leave", "keep"]), help="Rows that stand there already: leave them out, or write them again.")
@click.option("--yes", is_flag=True, help="Write without asking.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that PATH is open.")
def import_rows(path: str, source: str, sheet, into, named, fixed, unknown, doubles, yes: bool, force: bool) -> None:
    """Take the rows of your own sheet into PATH: columns matched by known words, shown, and written once you say yes."""
    import sys

    from workbook_template.import_sheet import prepare, write
    from workbook_template.mistakes import USAGE, Mistake
    from workbook_template.old_sheet import Unclear
    from workbook_template.progress import Steps
    target, old = _existing(path), _existing(source, ours=False)
    pairs = [dict(_pair(text) for text in texts) for texts in (named, fixed)]
    asking = not yes and _at_a_terminal()

    def look():
        with Steps(("Reading", "Matching")) as step:
            return _guarded(lambda: prepare(target, old, sheet, into, *pairs, into_note=unknown != "leave", step=step))

    try:
        plan = look()
    except Unclear as trouble:
        raise Mistake(f"{trouble} Nothing was written.") from None
    if asking and plan.matching.unknown and unknown is None:
        say("\n".join(plan.preview(None)))
        unknown = "note" if click.confirm(f"Put {', '.join(m.heading for m in plan.matching.unknown)} into the note?", default=True) else "leave"
        plan = look()
    say("\n".join(plan.preview(unknown != "leave")))
    if not yes and not asking:
        say("Nothing was written. If this is right, run it again with --yes.")
        sys.exit(USAGE)
    if asking and plan.there and doubles is None:
        doubles = "leave" if click.confirm(f"Leave out the {len(plan.there)} that stand there already?", default=True) else "keep"
    count = len(plan.rows.good if doubles == "keep" else plan.fresh)
    if asking and count and not click.confirm(f"Write {count} rows into {plan.table.sheet} of {target.name}?"):
        say("Nothing was written.")
        return
    with Steps(("Writing", "Checking")) as step:
        done = _guarded(lambda: write(plan, doubles == "keep", force, step=step))
    say("\n".join(done.lines()))


def _at_a_terminal() -> bool:
    import sys
    return sys.stdin.isatty()


def _pair(text: str) -> tuple[str, str]:
    from workbook_template.mistakes import Mistake
    name, mark, value = text.partition("=")
    if not mark or not name.strip():
        raise Mistake(f'"{text}" lacks an = between the two names, as in "Girth=Diameter".')
    return name.strip(), value.strip()


@click.command()
@click.argument("path")
@click.option("--to", "day", callback=_day, help="Last day of the period, YYYY-MM-DD.")
@click.option("--year", type=click.IntRange(1990, 2100), help="Instead of --to: the whole year, with what was picked, spent and worked in it.")
@click.option("--market", help="Only this market; left out: every market with an account.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that PATH is open.")
def close(path: str, day, year: int | None, market: str | None, force: bool) -> None:
    """Close the accounts of PATH to a day, or a year: what each market owes is kept on Lists, and a later change of those lines is asked about."""
    import datetime as dt

    from workbook_template.close import close as close_accounts
    from workbook_template.progress import Steps
    if (day is None) == (year is None) or year and market:
        raise click.UsageError("Say --to YYYY-MM-DD, with or without --market, or --year YYYY alone.")
    source = _existing(path)
    last = day or dt.date(year, 12, 31)
    with Steps(("Reading", "Checking", "Writing")) as step:
        done = _guarded(lambda: close_accounts(source, last, market, force=force, year=year is not None, step=step))
    say("\n".join(done.lines()))

"""The command trace."""
from __future__ import annotations

import datetime as dt
from pathlib import Path

import click

from workbook_template.cli import _day, _existing, _guarded, _new_path
from workbook_template.mistakes import Mistake, say

TRACING = ("Reading", "Checking", "Tracing", "Writing")


@click.command()
@click.argument("path")
@click.argument("lot")
@click.option("--out", help="Write the page for printing here as well: a new .xlsx.")
@click.option("--today", callback=_day, help="As of this day, YYYY-MM-DD.")
def trace(path: str, lot: str, out: str | None, today: dt.date | None) -> None:
    """Trace LOT: a sold or dried lot back to its logs and their spawn, a spawn lot forward to every sale. PATH is only read."""
    from workbook_template import trace_page
    from workbook_template.ports.swap import write_new
    from workbook_template.progress import Steps
    target = _new_path(out) if out else None
    source = _existing(path)
    with Steps(TRACING[:None if target else -1]) as step:
        profile, pages = _guarded(lambda: pages_of(source, lot, today, step))
        if target:
            step("Writing")
            _guarded(lambda: write_new(target, lambda part: trace_page.write(part, pages, profile)))
    say("\n\n".join(trace_page.text(page) for page in pages))
    if target:
        say(f"\nWrote {target}: one page to print.")


def pages_of(path: Path, lot: str, today: dt.date | None = None, step=lambda words: None):
    """(profile, a page for each meaning of the lot). Raises Mistake where no such lot is written down."""
    import numpy as np

    from calc import tables
    from calc import trace as tracing
    from calc.ledger import ledger
    from calc.yard import diary
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import read_inputs
    from workbook_template.trace_page import page_of
    if not lot.strip():
        raise Mistake("Type the lot to trace: boltbook trace mylogs.xlsx 250601")
    step("Reading")
    inputs = read_inputs(ClosedFile(path, force=True), today, step)
    step("Tracing")
    frames, day = inputs.intake.frames, int(np.datetime64(inputs.as_of, "D").astype(np.int64))
    lines = tracing.Lines(frames, diary(frames, {"event_links": inputs.intake.event_links}, day), ledger(frames, day))
    meant, notes, near = tracing.find(lines, lot)
    if not meant:
        hint = f" The nearest: {tables.either(near)}." if near else " No line of Events or Sales has a lot yet." if not any(
            lines.lots_of(what) for what in (tracing.LOT, tracing.SPAWN)) else ""
        raise Mistake(f'"{lot.strip()}" is no lot on Events or Sales and no spawn lot on Logs of {path.name}.{hint}')
    keeps = inputs.settings.get("keeps_days") or tables.figure("fresh_keeps_days").typical
    pages = []
    for what, key in meant:
        found = tracing.trace(lines, what, key, float(keeps))
        found.notes = notes
        pages.append(page_of(found, inputs.profile, str(inputs.settings["yard"]), path.name, inputs.as_of))
    return inputs.profile, pages

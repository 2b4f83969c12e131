"""Takes a sheet that came back from a market into the workbook: what was sent, what stands at home now, what came back.

What only the market changed is typed into Sales and Promises; what both changed is listed and the value at home stays.
The rows of Sales that came from a sheet are known by their dockets (sheet number, mark and row key), so the same sheet
taken in twice changes nothing, and a later return of it adds only what differs.
"""
from __future__ import annotations

import datetime as dt
from pathlib import Path

from workbook_template.partner import sent_before, yard_of
from workbook_template.ports.package import check_written
from workbook_template.ports.preflight import FileProblem
from workbook_template.ports.swap import Guard, SaveProblem, file_hash
from workbook_template.ports.type_in import type_into
from workbook_template.received import Received
from workbook_template.returned import Returned, read_returned
from workbook_template.sent import Sent, folder, load_all, save
from workbook_template.taking.compare import Compare


def receive(path: Path, returned: Path, today: dt.date | None = None, market: str | None = None, older: bool = False, look: bool = False,
            force: bool = False, step=lambda words: None) -> Received:
    """Take a returned sheet into the workbook, with a backup beside it.

    market: refuse the sheet unless it is this market's. older: take a sheet although a later one of that market came
    back already. look: say what would be done and write nothing. Raises FileProblem, LayoutProblem, SaveProblem; then
    nothing was changed.
    """
    step("Reading")
    guard = Guard(path, force=force)
    today = today or dt.date.today()
    digest, back = file_hash(returned), read_returned(returned)
    sent = _sheet_of(guard.path, back, market)
    _in_turn(guard.path, sent, older)
    step("Comparing")
    work = Compare(guard.path, back, sent, today)
    work.run()
    found = work.found
    if work.cells or work.sales or work.promises:
        rows = {"sales": work.sales, "promises": work.promises}
        written = type_into(work.book, work.cells, {key: new for key, new in rows.items() if new}, today=today)
        found.rows = work.typed_sales, work.typed_sales + len(work.sales)
        if not look:
            step("Writing")
            found.backup = guard.save(lambda target: target.write_bytes(written.content), lambda target: check_written(target, written.parts),
                                      then=lambda: _keep(guard.path, sent, found, today, digest))
            found.written = True
    elif not look and work.base_changed:
        _keep(guard.path, sent, found, today, digest)
    return found


def _keep(path: Path, sent: Sent, found: Received, today: dt.date, digest: str) -> None:
    """Note in the folder beside the workbook what came back. Where that cannot be done the report says so: the workbook is written by then,
    and the same sheet taken in again changes nothing in it.
    """
    sent.returns.append({"on": today.isoformat(), "file": found.name, "sha256": digest, "taken": len(found.changes), "conflicts": found.conflicts,
                         "asked": [p.sentence() for p in found.problems]})
    try:
        save(path, sent)
    except (OSError, SaveProblem) as trouble:
        why = str(trouble).partition(". ")[0].rstrip(".")
        found.unkept = f"What came back could not be noted in {folder(path).name} ({why}). Mend that, then take the same sheet in again: " \
                       "nothing is written twice."


def _sheet_of(path: Path, back: Returned, market: str | None) -> Sent:
    """The note of what was sent. Raises FileProblem in words where the sheet is not ours to take in."""
    if back.stamp is None:
        raise FileProblem(f"{back.name} carries no stamp: it is no sheet shared from a workbook, or its line Stamp was deleted. Nothing was "
                          "written. Ask for the sheet as it was sent, with the line put back.")
    mark = yard_of(path)
    if mark != back.stamp[0]:
        raise FileProblem(f"{back.name} belongs to another yard's workbook: its stamp is not that of {path.name}. Nothing was written.")
    sent = sent_before(path, back.stamp)
    if sent is None:
        raise FileProblem(f"What was sent with {back.name} is not kept in {path.stem}.sent beside the workbook. Put that folder back from where the "
                          "sheet was shared, then try again. Nothing was written.")
    for name, how in ((market, "you asked for"), (back.title, "its title names")):
        if name and name.strip().casefold() != sent.market.casefold():
            raise FileProblem(f"{back.name} was sent to {sent.market}, and {how} {name}. Nothing was written.")
    if not back.headings:
        raise FileProblem(f"{back.name}: the row of headings that begins with Row was not found. Nothing was written. "
                          "Ask for the sheet as it was sent.")
    return sent


def _in_turn(path: Path, sent: Sent, older: bool) -> None:
    later = [s for s in load_all(path) if s.market.casefold() == sent.market.casefold() and s.send > sent.send and s.returns]
    if later and not older:
        raise FileProblem(f"This is sheet {sent.send} for {sent.market}, and sheet {later[-1].send} came back already: the same sales may stand on "
                          "both. Nothing was written. To take it in all the same: --older")

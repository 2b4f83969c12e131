"""The work ahead as an iCalendar file, for the calendar of a phone or computer. Read back and checked before it is written."""
from __future__ import annotations

import datetime as dt
import uuid
from pathlib import Path

import click

from calc.calendar_lines import Line
from workbook_template.cli import _day, _existing, _guarded, _named
from workbook_template.mistakes import BLOCKED, Mistake, say

PRODUCT = "-//Boltbook//Work of a log yard//EN"
SPACE = uuid.UUID("6f1d7a52-5e0b-4a43-9d52-0b1f3f0c8e21")  # a random number made once: UIDs of the same lines stay the same
FOLD_OCTETS = 75  # RFC 5545, 3.1: a line is no longer, without its end


class BadCalendar(Exception):
    """The file made breaks RFC 5545 or does not read back as what was put in."""


def uid(mark: str, line: Line) -> str:
    """The same for the same line of the same yard at every export. mark: what tells the yard's workbook from any other."""
    return f"{uuid.uuid5(SPACE, chr(31).join((mark, line.kind, line.key)))}@boltbook"


def calendar_bytes(lines: list[Line], yard: str, as_of: dt.date, mark: str) -> bytes:
    """The lines as an iCalendar file: whole days, stamped with the as-of day, so that the same work gives the same file.

    yard: the name that the calendar shows; mark: as in `uid`. Raises BadCalendar where the file does not hold what it should.
    """
    from icalendar import Calendar, Event

    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", yard)
    stamp = dt.datetime.combine(as_of, dt.time(), dt.UTC)
    for line in lines:
        event = Event()
        event.add("uid", uid(mark, line))
        event.add("dtstamp", stamp)
        event.add("sequence", as_of.toordinal())  # a later export is a later word on the same line
        event.add("dtstart", line.first)
        event.add("dtend", line.last + dt.timedelta(days=1))  # the day after the last one
        event.add("summary", plain(line.title))
        event.add("description", plain(line.words))
        event.add("categories", [line.kind])
        event.add("transp", "TRANSPARENT")
        made.add_component(event)
    data = made.to_ical()
    faults = check(data, lines, mark)
    if faults:
        raise BadCalendar("; ".join(faults))
    return data


def plain(text: str) -> str:
    """A text without characters that iCalendar does not allow."""
    return "".join(c for c in text if c in "\n\t" or ord(c) >= 32 and ord(c) != 127)


def check(data: bytes, lines: list[Line], mark: str) -> list[str]:
    """What is wrong with the file by RFC 5545 and by reading it back; nothing if it is good."""
    from icalendar import Calendar

    faults = []
    if not data.endswith(b"\r\n") or b"\n" in data.replace(b"\r\n", b"") or b"\r" in data.replace(b"\r\n", b""):
        faults.append("a line does not end in CRLF (3.1)")
    if any(len(row) > FOLD_OCTETS for row in data.split(b"\r\n")):
        faults.append(f"a line is longer than {FOLD_OCTETS} octets (3.1)")
    read = Calendar.from_ical(data)
    events = [part for part in read.walk("VEVENT")]
    faults += [f"{part.name}: {error}" for part in [read, *events] for error in part.errors]
    if any(str(read.get(name, "")) != value for name, value in (("prodid", PRODUCT), ("version", "2.0"))):
        faults.append("PRODID or VERSION is missing (3.6)")
    seen = [(str(e["uid"]), e.decoded("dtstart"), e.decoded("dtend"), str(e["summary"]), str(e["description"])) for e in events]
    wanted = [(uid(mark, n), n.first, n.last + dt.timedelta(days=1), plain(n.title), plain(n.words)) for n in lines]
    if seen != wanted:
        faults.append("it does not read back as what was put in")
    if len({row[0] for row in seen}) != len(seen):
        faults.append("two lines have one UID (3.8.4.7)")
    if any("dtstamp" not in e for e in events):
        faults.append("a DTSTAMP is missing (3.8.7.2)")
    return faults


def write(path: Path, data: bytes) -> None:
    """Put the file in place whole; a file that is no calendar of ours is left alone. Raises Mistake, SaveProblem."""
    from workbook_template.ports.swap import write_new

    if path.exists() and PRODUCT.encode() not in path.read_bytes()[:400]:
        raise Mistake(f"{path} exists already and is no calendar made here: it is left as it is. Type another name.", BLOCKED)
    if not path.parent.is_dir():
        raise Mistake(f"There is no folder {path.parent}. Make it first, or type another path.")
    write_new(path, lambda part: part.write_bytes(data), overwrite=True)


def export(path: Path, out: Path, today: dt.date | None, step=lambda words: None) -> tuple[int, list]:
    """Work the workbook out and write its calendar; (lines written, problems of the workbook)."""
    from calc import tables
    from calc.calendar_lines import lines
    from workbook_template import schema
    from workbook_template.ports.closed_file import ClosedFile
    from workbook_template.refresh import read_inputs, work_out

    step("Reading")
    port = ClosedFile(path, force=True)
    inputs = read_inputs(port, today, step)
    port.require(schema.result_sheets(inputs.profile))
    step("Working out")
    look = tables.figure("flush_days")
    found = lines(work_out(inputs), (look.low, look.high))
    step("Writing")
    yard = str(inputs.settings["yard"])
    try:
        data = calendar_bytes(found, yard, inputs.as_of, port.marks().get("bb_yard") or yard)
    except BadCalendar as fault:
        raise Mistake(f"The calendar did not pass its own check and was not written: {fault}.", BLOCKED) from None
    write(out, data)
    return len(found), inputs.problems


@click.command()
@click.argument("path")
@click.option("--out", required=True, help="The calendar file to write, ending in .ics.")
@click.option("--today", callback=_day, help="Work it out for this day, YYYY-MM-DD.")
def calendar(path: str, out: str, today: dt.date | None) -> None:
    """Write the work ahead in PATH as a calendar file: soaks, looks for pins, first flushes, deadlines. PATH is only read."""
    from calc.problems import REFUSED
    from workbook_template.progress import Steps
    target = _named(out)
    if target.suffix.lower() != ".ics":
        raise Mistake(f"{target.name} cannot be written: name it with the ending .ics.")
    source = _existing(path)
    with Steps(("Reading", "Checking", "Working out", "Writing")) as step:
        number, problems = _guarded(lambda: export(source, target, today, step))
    refused = sum(p.level == REFUSED for p in problems)
    left = f" {refused} rows of the workbook were left out: boltbook check {path}" if refused else ""
    if not number:
        say(f"{target} holds no line: no work ahead is known. Type the logs with their days on Logs, and the mean temperatures "
            f"or the first and last day of soaking on Settings.{left}")
        return
    say(f"Wrote {number} line{'s' if number != 1 else ''} to {target}. Import it into your calendar; importing a later one "
        f"brings the same lines up to date.{left}")

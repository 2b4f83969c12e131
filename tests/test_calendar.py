"""The calendar file: read back with the library, and held against RFC 5545 byte by byte."""
from __future__ import annotations

import datetime as dt
import math
import re
from types import SimpleNamespace

import icalendar
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.calendar_lines import DUE, FLUSH, LOOK, SOAK, Line, lines
from calc.deadlines import FELLED, PAST
from workbook_template import calendar_file
from workbook_template.mistakes import Mistake

DAY = dt.date(2026, 11, 26)
LINES = [
    Line(SOAK, "group 3|2026-11-30", dt.date(2026, 11, 30), dt.date(2026, 11, 30), "Soak group 3: 12 logs",
         "In the week of this Monday: A1, A2; the rest, too\\not. A long list of names that goes well beyond a line of seventy-five octets."),
    Line(LOOK, "group 3|2026-11-30", dt.date(2026, 12, 6), dt.date(2026, 12, 14), "Look for pins: group 3",
         "Ærø, Żółć, 椎茸 grown on ½ of it: letters of two and three octets must not be cut in two when a line is folded, wherever that is."),
    Line(FLUSH, "batch|x", dt.date(2028, 2, 20), dt.date(2028, 3, 1), "First flush may come: Mar 2026", "two\nlines"),
    Line(DUE, "felled|C1", DAY, DAY, "Inoculate felled logs: C1", "=1+1 \x07"),
]


@pytest.fixture(scope="module")
def data() -> bytes:
    return calendar_file.calendar_bytes(LINES, "Hollow, the yard", DAY, "0a")


def unfolded(data: bytes) -> list[str]:
    """RFC 5545, 3.1: a line break followed by one space or tab is no line break."""
    return re.sub(rb"\r\n[ \t]", b"", data).decode("utf-8").split("\r\n")


def test_lines_end_in_crlf_and_are_folded_at_75_octets(data):
    """RFC 5545, 3.1 Content Lines."""
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", data)
    rows = data.split(b"\r\n")
    assert max(map(len, rows)) <= 75 and any(row.startswith(b" ") for row in rows)
    for row in rows:
        row.decode("utf-8")  # no letter is cut in two


def test_the_calendar_has_what_the_standard_asks_for(data):
    """RFC 5545, 3.6: PRODID and VERSION once; 3.6.1: UID and DTSTAMP in each event, DTSTART where METHOD does not excuse it."""
    rows = unfolded(data)
    assert rows[0] == "BEGIN:VCALENDAR" and sum(r.startswith("PRODID:") for r in rows) == sum(r == "VERSION:2.0" for r in rows) == 1
    for name in ("UID:", "DTSTAMP:", "DTSTART;VALUE=DATE:", "DTEND;VALUE=DATE:", "SUMMARY:"):
        assert sum(r.startswith(name) for r in rows) == len(LINES), name
    assert all(re.fullmatch(r"DTSTAMP:20261126T000000Z", r) for r in rows if r.startswith("DTSTAMP"))  # 3.8.7.2: in UTC


def test_text_is_escaped(data):
    """RFC 5545, 3.3.11: backslash, semicolon, comma and new line."""
    rows = unfolded(data)
    said = next(r for r in rows if r.startswith("DESCRIPTION:In the week"))
    assert r"A1\, A2\; the rest\, too\\not" in said
    assert r"DESCRIPTION:two\nlines" in rows and "DESCRIPTION:=1+1 " in rows


def test_whole_days_end_on_the_day_after(data):
    """RFC 5545, 3.6.1: DTEND is not included; over the leap day 20 Feb to 1 Mar 2028 it is 2 Mar."""
    rows = unfolded(data)
    at = rows.index("DTSTART;VALUE=DATE:20280220")
    assert "DTEND;VALUE=DATE:20280302" in rows[at:at + 3]


def test_it_reads_back_as_what_was_put_in(data):
    events = list(icalendar.Calendar.from_ical(data).walk("VEVENT"))
    assert [(str(e["summary"]), e.decoded("dtstart")) for e in events] == [(n.title, n.first) for n in LINES]
    assert str(events[1]["description"]) == LINES[1].words


def test_the_same_line_has_the_same_uid_at_the_next_export(data):
    def uids(found):
        return {str(e["summary"]).partition(":")[0]: str(e["uid"]) for e in icalendar.Calendar.from_ical(found).walk("VEVENT")}

    later = [Line(n.kind, n.key, n.first, n.last, n.title + ", 3 logs fewer", "other words") for n in LINES[::-1]]
    again = calendar_file.calendar_bytes(later, "Hollow, the yard", DAY + dt.timedelta(days=9), "0a")
    assert uids(again) == uids(data) and len(set(uids(data).values())) == len(LINES)
    assert not set(uids(data).values()) & set(uids(calendar_file.calendar_bytes(LINES, "Hollow, the yard", DAY, "0b")).values())
    assert calendar_file.calendar_bytes(LINES, "Hollow, the yard", DAY, "0a") == data  # nothing of the clock is in it


def test_two_lines_of_one_key_are_refused():
    with pytest.raises(calendar_file.BadCalendar, match="one UID"):
        calendar_file.calendar_bytes([LINES[0], LINES[0]], "y", DAY, "0a")


@pytest.mark.parametrize(("broken", "fault"), [
    (lambda d: d.replace(b"\r\n", b"\n"), "CRLF"), (lambda d: d.replace(b"\r\n ", b""), "75 octets"),
    (lambda d: d.replace(b"VERSION:2.0\r\n", b""), "PRODID or VERSION"), (lambda d: d.replace(b"Soak group 3", b"Soak group 4"), "read back"),
    (lambda d: re.sub(rb"DTSTAMP:\w+\r\n", b"", d), "DTSTAMP"),
])
def test_the_check_sees_what_is_broken(data, broken, fault):
    assert calendar_file.check(data, LINES, "0a") == []
    assert any(fault in said for said in calendar_file.check(broken(data), LINES, "0a"))


@given(st.text(max_size=200), st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_whatever_a_grower_types_comes_back(title, words):
    """The names of logs and lots are free text: quotes, colons, line ends of other systems, letters of any script."""
    line = Line(SOAK, "x", DAY, DAY, title, words)
    data = calendar_file.calendar_bytes([line], "y", DAY, "0a")  # reads it back, and raises where it is not the same
    assert max(map(len, data.split(b"\r\n"))) <= 75


def test_a_file_that_is_no_calendar_of_ours_is_left_alone(tmp_path, data):
    path = tmp_path / "work.ics"
    calendar_file.write(path, data)
    calendar_file.write(path, data)  # ours: brought up to date
    assert path.read_bytes() == data and [p.name for p in tmp_path.iterdir()] == ["work.ics"]
    other = tmp_path / "birthdays.ics"
    other.write_bytes(b"BEGIN:VCALENDAR\r\nPRODID:-//Somebody//EN\r\n")
    with pytest.raises(Mistake, match="left as it is"):
        calendar_file.write(other, data)
    with pytest.raises(Mistake, match="no folder"):
        calendar_file.write(tmp_path / "no" / "work.ics", data)


# ---- which lines -------------------------------------------------------------------------------------------------

def found(rows=(), soaks=(), due=(), as_of=DAY):
    """What calendar_lines reads of the results. rows: (log, group, inoculated, last soak, window); soaks: (week, group, logs, day)."""
    table = pd.DataFrame([{"row": 6 + i, "log": log, "strain": "wide", "alive": 2.0, "stage": "may fruit", "group": group or math.nan,
                           "last_soak": last, "flush_basis": "strain's months" if window else "already picked",
                           "flush_from": window[0] if window else None, "flush_to": window[1] if window else None}
                          for i, (log, group, _, last, window) in enumerate(rows)],
                         columns=["row", "log", "strain", "alive", "stage", "group", "last_soak", "flush_basis", "flush_from", "flush_to"])
    for name in ("last_soak", "flush_from", "flush_to"):
        table[name] = pd.to_datetime(table[name])
    each = pd.DataFrame({"row": table["row"], "inoculated": pd.to_datetime([row[2] for row in rows])})
    calendar = pd.DataFrame([{"week": pd.Timestamp(w), "group": float(g), "logs": n, "names": "A1", "words": "", "day": pd.Timestamp(d)}
                             for w, g, n, d in soaks], columns=["week", "group", "logs", "names", "words", "day"])
    calendar[["week", "day"]] = calendar[["week", "day"]].apply(pd.to_datetime)
    deadlines = pd.DataFrame(due, columns=["what", "log", "date", "days", "words"])
    deadlines["date"] = pd.to_datetime(deadlines["date"])
    return SimpleNamespace(as_of=as_of, log_season=table, each_log=each, soak_calendar=calendar, deadlines=deadlines)


def told(*args, **more):
    return {(n.kind, n.key): (n.first.isoformat(), n.last.isoformat()) for n in lines(found(*args, **more), (6.0, 14.0))}


def test_a_planned_soak_and_its_look():
    """A week later than planned in the calendar the grower finds the same two lines, with the days of the soak that was written down."""
    planned = told(soaks=[("2026-11-30", 3, 12, "2026-12-01")])
    assert planned == {(SOAK, "group 3|2026-11-30"): ("2026-12-01", "2026-12-01"), (LOOK, "group 3|2026-11-30"): ("2026-12-07", "2026-12-15")}
    done = told([("A1", 3, "2025-03-01", "2026-12-03", None)], as_of=dt.date(2026, 12, 4))
    assert done == {(LOOK, "group 3|2026-11-30"): ("2026-12-09", "2026-12-17")}


def test_a_soak_of_one_log_on_a_sunday():
    """6 December 2026 is the last day of the week of 30 November; days 6 to 14 after it are 12 to 20 December."""
    one = lines(found(soaks=[("2026-11-30", 3, 1, "2026-12-06")]), (6.0, 14.0))
    assert [(n.kind, str(n.first), str(n.last)) for n in one] == [(SOAK, "2026-12-06", "2026-12-06"), (LOOK, "2026-12-12", "2026-12-20")]
    assert one[0].title == "Soak group 3: 1 log"


def test_a_group_soaked_in_part_is_one_line():
    both = told([("A1", 3, "2025-03-01", "2026-11-23", None)], [("2026-11-23", 3, 12, "2026-11-27")])
    assert both[LOOK, "group 3|2026-11-23"] == ("2026-11-29", "2026-12-11") and len(both) == 2


def test_what_is_over_and_what_has_no_date_is_left_out():
    assert told([("A1", None, "2025-03-01", "2026-11-11", None)]) == {}  # its fourteenth day was yesterday
    assert told([("A1", None, "2025-03-01", "2026-11-12", None)]) == {(LOOK, "soaked|2026-11-12"): ("2026-11-18", "2026-11-26")}
    assert told([("A1", None, "2025-03-01", None, ("2026-09-01", "2026-11-25"))]) == {}
    assert told(soaks=[("2026-11-23", 1, 0, None)], due=[(FELLED, "C1", None, math.nan, "no date")]) == {}


def test_deadlines_that_are_past_stand_on_the_day_and_keep_their_name():
    due = [(FELLED, "C1-C2 (2 logs)", "2026-11-20", -6, "w"), (PAST, "L1", "2026-11-01", -25, "w")]
    assert told(due=due) == {(DUE, f"{FELLED}|2026-11-20"): ("2026-11-26", "2026-11-26"), (DUE, f"{PAST}|L1"): ("2026-11-26", "2026-11-26")}
    text = next(n.words for n in lines(found(due=due), (6, 14)) if "C1" in n.title)
    assert text == "Was due 20 Nov 2026. w."
    fewer = told(due=[(FELLED, "C2", "2026-11-20", -6, "w")])
    assert set(fewer) < set(told(due=due))


def test_a_first_flush_is_named_by_strain_and_day_of_inoculation():
    rows = [("A1", None, "2026-03-01", None, ("2027-05-01", "2027-09-01")), ("A2", None, "2026-03-01", None, ("2027-05-01", "2027-09-01")),
            ("B1", None, "2026-03-20", None, ("2027-05-20", "2027-09-20"))]
    assert told(rows) == {(FLUSH, "wide|2026-03-01"): ("2027-05-01", "2027-09-01"), (FLUSH, "wide|2026-03-20"): ("2027-05-20", "2027-09-20")}
    assert set(told(rows[1:])) == set(told(rows))  # A1 was picked meanwhile
    first = lines(found(rows), (6, 14))[0]  # two rows of two logs each
    assert first.words == "A1-A2 (4 logs). By strain's months. Look every few days in mild, wet weather."

"""Writes the logs, events and sales of the invented yard examples/hollow_us: the same bytes every time.

    python3 scripts/make_examples.py

example_yard.py and example_sales.py play the seasons; this adds the honest mistakes and keeps their list in
examples/README.md, with the line each stands on. The small tables (costs, lists, settings) and all of
brook_metric are typed by hand.
"""
from __future__ import annotations

import csv
import datetime as dt
import random
import sys
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

import example_sales  # noqa: E402
import example_yard as yard  # noqa: E402

EXAMPLES = ROOT / "examples"
SHEET_ROW = 4  # the workbook's header stands on row 5, the file's on line 1

# ---- the honest mistakes -------------------------------------------------------------------------

class Mistake(NamedTuple):
    """A planted slip: the cell, what is typed there, what is wrong. `also` are other cells of its row."""

    table: str
    column: str
    typed: str
    wrong: str
    also: tuple = ()


HOLLOW = (
    Mistake("logs", "length", "4'2\"", "feet and inches in a column of inches; means 50 in",
            (("log", "B7"),)),
    Mistake("logs", "diameter", "date:2026-05-16",
            "5 1/16 in typed as 5/16 and turned into a date by a spreadsheet", (("log", "E5"),)),
    Mistake("logs", "diameter", "40", "diameter and length are swapped", (("log", "H6"),)),
    Mistake("logs", "strain", "shitake, cold weather", "the strain is misspelt", (("log", "H9"),)),
    Mistake("logs", "log", "H14", "the name H14 is used twice; this should be H15",
            (("note", "one more than planned"),)),
    Mistake("events", "log", "B41", "there is no log B41; B14 was meant"),
    Mistake("events", "date", "2026-03-01", "picked before log E3 was inoculated (7 Mar 2026); the date "
            "should be 8 November", (("event", "picked"), ("log", "E3"))),
    Mistake("events", "amount", "12 oz", "a unit is typed with the amount; means 0.75 lb"),
    Mistake("events", "amount", "about 1", "a rough amount in words"),
    Mistake("events", "amount", "1,6", "a comma for the decimal point; means 1.6 lb"),
    Mistake("events", "date", "", "the date is missing"),
    Mistake("events", "log", "A22", "picked after log A22 was retired (31 Aug 2025); A23 was meant",
            (("event", "picked"), ("date", "2026-06-10"))),
    Mistake("costs", "life_years", "0", "a tool with a life of 0 years"),
    Mistake("sales", "market", "Parnter A", "the market is misspelt"),
)
BROOK = (
    Mistake("logs", "length", "1,2 m", "metres with a comma where the column is centimetres; means 120 cm"),
    Mistake("events", "date", "13.4.2026", "a date kept as text, day first"),
)


def nearest(rows, event, amount):
    """The group pick of 2026 with the closest amount: a slip changes how it is typed, hardly what it says."""
    some = [r for r in rows if r["event"] == event and r["date"][:4] == "2026" and "-" in r["log"]
            and isinstance(r["amount"], float)]
    return min(some, key=lambda r: abs(r["amount"] - amount))


def slip(logs, events, sales):
    by_name = {row["log"]: row for row in logs}
    by_name["B7"]["length"] = "4'2\""
    logs.append(by_name["H14"] | {"diameter": 5.25, "note": "one more than planned"})
    by_name["E5"]["diameter"] = "date:2026-05-16"
    by_name["H6"] |= {"diameter": 40.0, "length": by_name["H6"]["diameter"]}
    by_name["H9"]["strain"] = "shitake, cold weather"
    for amount, typed in ((0.75, "12 oz"), (1.0, "about 1"), (1.6, "1,6")):
        nearest(events, "picked", amount)["amount"] = typed
    blank = dict.fromkeys(yard.EVENT_KEYS, "") | {"event": "picked", "minutes": 5}
    extra = [blank | {"date": "2026-05-03", "log": "B41", "amount": 0.25, "grade": "A"},
             blank | {"date": "2026-03-01", "log": "E3", "amount": 0.1, "event_note": "first one!"},
             blank | {"date": "2026-06-10", "log": "A22", "amount": 0.2, "grade": "A"}]
    undated = [r for r in events if r["event"] == "watered" and r["date"] > "2026"][0]
    at = {id(row): row["date"] for row in events + extra}
    undated["date"] = ""
    at[id(extra[1])] = "2026-11-08"  # where it was written down
    delivered = [s for s in sales if s["market"] == example_sales.PARTNER and s["kind"] == "delivered"]
    delivered[-2]["market"] = "Parnter A"
    return sorted(events + extra, key=lambda row: at[id(row)])


# ---- writing -------------------------------------------------------------------------------------

def play():
    """The rows of Logs, Events and Sales, without any slip."""
    rng = random.Random(yard.SEED)
    rows, logs = yard.make_logs(rng)
    diary = yard.Diary([], defaultdict(list))
    yard.starting_work(diary, logs)
    for year in yard.SEASONS:
        sunday, dry = dt.date(year, 3, 17), 0.3
        sunday += dt.timedelta(6 - sunday.weekday())
        while sunday <= dt.date(year, 11, 13):
            dry = yard.play_week(rng, diary, logs, sunday, dry)
            sunday += dt.timedelta(7)
    sales = example_sales.sell(rng, diary)
    return rows, sorted(diary.events, key=lambda row: row["date"]), sales


def hollow():
    """The three played tables: name -> (columns, rows)."""
    logs, events, sales = play()
    events = slip(logs, events, sales)
    return {"logs": (yard.LOG_KEYS, logs), "events": (yard.EVENT_KEYS, events),
            "sales": (yard.SALE_KEYS, sales)}


def shown(value):
    """As typed: no trailing noughts, blank for nothing."""
    if value is None or value == "":
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def table_text(columns, rows):
    lines = [",".join(columns)]
    for row in rows:
        cells = [shown(row[c]) for c in columns]
        lines.append(",".join('"' + c.replace('"', '""') + '"' if set(c) & set(',"') else c for c in cells))
    return "\n".join(lines) + "\n"


def line_of(folder, mistake):
    """The line of the file (header = 1) on which a mistake stands; an error unless it is exactly one."""
    want = ((mistake.column, mistake.typed),) + mistake.also
    with (folder / f"{mistake.table}.csv").open(newline="", encoding="utf-8") as file:
        rows = enumerate(csv.DictReader(file), start=2)
        found = [n for n, row in rows if all(row[k] == v for k, v in want)]
    if len(found) != 1:
        raise SystemExit(f"{mistake.table}.csv: {want} stands on lines {found}, wanted one line")
    return found[0]


def mistake_lines(folder, mistakes):
    lines = ["| file | line | row on the sheet | column | typed | what is wrong |",
             "|---|---|---|---|---|---|"]
    order = [m.table for m in mistakes]
    for line, m in sorted(((line_of(folder, m), m) for m in mistakes),
                          key=lambda pair: (order.index(pair[1].table), pair[0])):
        typed = f"`{m.typed}`" if m.typed else "(blank)"
        lines.append(f"| {m.table}.csv | {line} | {line + SHEET_ROW} | {m.column} | {typed} | {m.wrong} |")
    return "\n".join(lines)


def readme_text(old, folder):
    """The README with both lists of mistakes brought up to date."""
    for name, mistakes in (("hollow_us", HOLLOW), ("brook_metric", BROOK)):
        start, end = f"<!-- mistakes {name} -->", f"<!-- end {name} -->"
        head, rest = old.split(start)
        old = head + start + "\n" + mistake_lines(folder / name, mistakes) + "\n" + end + rest.split(end)[1]
    return old


def main(target=EXAMPLES, source=EXAMPLES):
    for name, (columns, rows) in hollow().items():
        (target / "hollow_us" / f"{name}.csv").write_text(table_text(columns, rows), "utf-8", newline="\n")
    text = readme_text((source / "README.md").read_text("utf-8"), target)
    (target / "README.md").write_text(text, "utf-8", newline="\n")


if __name__ == "__main__":
    main()

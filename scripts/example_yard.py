"""Plays the invented yard of examples/hollow_us through three seasons, week by week, from a fixed seed.

Weather, growth, picking and selling only have to be plausible. The rates are kept inside what is published (a
biological efficiency of 0 to 8.8 %, Sabota 1996; about 0.2 lb a soaked log, worked out from SARE FNC15-1021);
they are no data, and no figure of the product rests on them.
"""
from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from typing import NamedTuple

from calc import tables

SEED = 113
AS_OF = dt.date(2026, 11, 15)
SEASONS = (2024, 2025, 2026)

LOG_KEYS = ("log wood strain diameter length inoculated count large_end felled spawn_form spawn_lot "
            "holes_drilled ends_waxed place rota_week sample_weight start_moisture source note").split()
EVENT_KEYS = "date event log amount event_note minutes who grade picked_wet lot dried_out tank".split()
SALE_KEYS = "date market kind product amount price lot docket sale_note".split()

WIDE, COLD, WARM = "shiitake, wide range", "shiitake, cold weather", "shiitake, warm weather"
NORTH, CREEK, NEW, TANK = "North stack", "Creek stack", "New stack", "Soak tank"


class Batch(NamedTuple):
    """Like logs inoculated on one day. `rows` are (first, last) numbers; a row may stand for `count` logs."""

    letter: str
    rows: tuple
    wood: str
    strain: str
    thick: tuple
    length: float
    felled: str
    inoculated: str
    lot: str
    place: str
    source: str
    form: str = ""
    count: int = 1


BATCHES = (
    Batch("A", (1, 18), "white oak", WIDE, (4, 6), 40, "2024-01-20", "2024-02-24", "W24-1", NORTH,
          "own, upper slope"),
    Batch("A", (19, 36), "white oak", WIDE, (4, 6), 40, "2024-01-27", "2024-03-02", "W24-1", NORTH,
          "own, upper slope"),
    Batch("B", (1, 18), "northern red oak", COLD, (4, 5.5), 42, "2024-02-10", "2024-03-09", "C24-1", CREEK,
          "own, creek side"),
    Batch("G", (1, 4), "yellow-poplar", "oyster", (9, 10.5), 24, "2024-03-16", "2024-04-13", "O24-1", CREEK,
          "own, creek side", "totem"),
    Batch("C", (1, 18), "sugar maple", WARM, (3.5, 5.5), 40, "2025-02-15", "2025-03-08", "M25-1", NORTH,
          "bought, ask county", "sawdust"),
    Batch("D", (1, 2), "red maple", WIDE, (4, 5), 40, "2025-02-22", "2025-03-22", "W25-1", NEW,
          "own, lane edge", "", 6),
    Batch("E", (1, 14), "white oak", WARM, (4, 6), 40, "2026-02-07", "2026-03-07", "M26-1", NEW,
          "own, upper slope", "sawdust"),
    Batch("H", (1, 14), "northern red oak", COLD, (4, 5.5), 40, "2026-02-21", "2026-03-21", "C26-1", NEW,
          "own, creek side"),
)
SAMPLES = ("A3", "A20", "B5", "C4", "E2", "H3")
ROTA_SIZE = {"A": 4, "C": 2}  # logs in one week of the nine-week rota

# When and why logs leave the yard: name, day, event, logs (blank all), note.
ENDS = (
    ("A7", "2025-08-24", "retired", "", "light as a basket, bark off, will not take water"),
    ("A22", "2025-08-31", "retired", "", "dried out in the drought"),
    ("B11", "2025-09-07", "retired", "", "other fungus all over, bark loose"),
    ("D1", "2025-09-14", "retired", 1, "one of the six dried out"),
    ("B6", "2026-04-05", "lost", "", "gone with the creek in flood"),
    ("A30", "2026-09-20", "retired", "", "soft, bark gone, nothing this season"),
    ("E14", "2026-05-16", "sold as log", "", "swapped for a load of straw"),
)


def day(text):
    return dt.date.fromisoformat(text)


# ---- chance: only rng.random(), whose stream is the same in every Python -------------------------

def between(rng, low, high):
    return low + (high - low) * rng.random()


def bell(rng, spread):
    """About normal, mean 0."""
    return spread * (sum(rng.random() for _ in range(12)) - 6)


def one_of(rng, choices):
    return choices[int(rng.random() * len(choices))]


def step(value, size):
    """Rounded to a step, so that it looks read off a tape or a scale."""
    return round(round(value / size) * size, 3)


def names(some):
    """A list of logs the way a grower writes it: A1-A4, A6."""
    runs = []
    for name in some:
        number = int(name[1:])
        if runs and name[0] == runs[-1][0] and number == runs[-1][2] + 1:
            runs[-1][2] = number
        else:
            runs.append([name[0], number, number])
    return ", ".join(f"{a}{lo}" if lo == hi else f"{a}{lo}-{a}{hi}" for a, lo, hi in runs)


# ---- the logs ------------------------------------------------------------------------------------

def make_logs(rng):
    """The Logs rows, and what the play needs to know of each log."""
    species = {s.name: s for s in tables.species()}
    rows, logs = [], {}
    for b in BATCHES:
        wood = species[b.wood]
        for n in range(b.rows[0], b.rows[1] + 1):
            name = f"{b.letter}{n}"
            thick = step(between(rng, *b.thick), 0.25)
            large = thick + 0.5 if b.letter == "B" and n % 4 == 1 else None
            mean_square = thick ** 2 if large is None else (thick ** 2 + large ** 2) / 2
            solid = math.pi / 4 * mean_square * b.length / 1728 / (1 + wood.bark_volume_fraction_of_wood)
            bone = 62.43 * wood.wood_specific_gravity * solid
            bark = 62.43 * wood.bark_specific_gravity * wood.bark_volume_fraction_of_wood * solid
            green = (bone * (1 + wood.wood_moisture_dry_fraction)
                     + bark * (1 + wood.bark_moisture_dry_fraction))
            sample = name in SAMPLES
            moist = round(1 - (bone + bark) / green, 3)
            weight = step(green * between(rng, 0.97, 1.03), 0.1)
            row = dict.fromkeys(LOG_KEYS, "") | {
                "log": name, "wood": b.wood, "strain": b.strain, "diameter": thick, "length": float(b.length),
                "inoculated": b.inoculated, "count": b.count if b.count > 1 else "", "large_end": large,
                "felled": b.felled, "spawn_form": b.form, "spawn_lot": b.lot, "place": b.place,
                "source": b.source}
            if b.letter in ROTA_SIZE:
                row["rota_week"] = (n - 1) // ROTA_SIZE[b.letter] + 1
            if b.letter == "D":
                row["rota_week"] = 4 * n
            if sample:
                row |= {"sample_weight": weight, "start_moisture": moist, "note": "sample log, weighed"}
            if name in ("B2", "B9"):
                row |= {"holes_drilled": 54, "note": "counted by hand"}
            if b.letter == "H":
                row["ends_waxed"] = "yes"
            rows.append(row)
            logs[name] = {"batch": b, "count": b.count, "vigor": math.exp(bell(rng, 0.3)),
                          "born": day(b.inoculated), "end": None, "dry": weight * (1 - moist),
                          "moist": moist, "start": moist}
    for name, date, _, some, _ in ENDS:
        if some == "":
            logs[name]["end"] = day(date)
        else:
            logs[name]["count"] -= some  # it stands before the first picking
    return rows, logs


def living(logs, letter, date, low=1, high=99):
    return [n for n, log in logs.items() if n[0] == letter and low <= int(n[1:]) <= high
            and log["born"] <= date and (log["end"] is None or log["end"] > date)]


def months(log, date):
    return (date - log["born"]).days / 30.4375


# ---- the seasons ---------------------------------------------------------------------------------

def bearing(age_months):
    """How freely a log bears, by age: little at first, most in its second and third year."""
    for until, share in ((8, 0.0), (12, 0.35), (20, 0.9), (28, 1.25), (99, 1.15)):
        if age_months < until:
            return share


WOOD_BEARS = {"sugar maple": 1.15, "white oak": 1.0, "northern red oak": 0.95, "red maple": 0.75,
              "yellow-poplar": 1.0}


PER_SOAK = 0.19  # lb, before age, wood, weather and the log itself


class Diary(NamedTuple):
    events: list
    picks: defaultdict  # date -> [(log text, lb, lot)]


def write(diary, date, event, log="", amount="", note="", **more):
    diary.events.append(dict.fromkeys(EVENT_KEYS, "") | {
        "date": date.isoformat(), "event": event, "log": log, "amount": amount, "event_note": note} | more)


def pick(rng, diary, date, some, pounds, wet, minutes=None):
    pounds = step(max(pounds, 0.05), 0.05)
    lot = f"P{date:%y}-{date.isocalendar()[1]:02d}"
    text = names(some)
    write(diary, date, "picked", text, pounds, minutes=minutes or int(4 + 2 * len(some) + 4 * pounds),
          grade="B" if rng.random() < 0.2 or (wet and rng.random() < 0.5) else "A",
          picked_wet="yes" if wet else "", lot=lot)
    diary.picks[date].append((text, pounds, lot))


def flush(rng, diary, logs, some, date, each, wet):
    """Mushrooms come on these logs: one to three lines of picking, now and then a log on its own."""
    some = [n for n in some if logs[n]["end"] is None or logs[n]["end"] > date + dt.timedelta(2)]
    yields = {n: each * logs[n]["vigor"] * logs[n]["count"] * bearing(months(logs[n], date))
              * WOOD_BEARS[logs[n]["batch"].wood] * math.exp(bell(rng, 0.25)) for n in some}
    total = sum(yields.values())
    if total < 0.12:
        if total > 0:
            write(diary, date, "checked", names(some), note="nothing worth picking", minutes=5)
        return
    best = max(yields, key=yields.get)
    if len(some) > 1 and yields[best] >= 0.15 and (best in SAMPLES or rng.random() < 0.22):
        pick(rng, diary, date, [best], yields[best], wet)
        some, total = [n for n in some if n != best], total - yields[best]
    if total > 0.5 and rng.random() < 0.55:
        share = between(rng, 0.55, 0.75)
        pick(rng, diary, date, some, total * share, wet)
        pick(rng, diary, date + dt.timedelta(2), some, total * (1 - share), False)
    else:
        pick(rng, diary, date, some, total, wet)


def weather(rng, date):
    """Rain of a week in inches: a dry summer in 2025."""
    drought = dt.date(2025, 6, 12) <= date <= dt.date(2025, 9, 3)
    mean = 0.12 if drought else 0.95
    return step(-math.log((1 - rng.random()) * (1 - rng.random())) * mean / 2, 0.05)


def play_week(rng, diary, logs, sunday, dry):
    """One week of the growing season; returns how dry the yard is at its end (0 good, 3 parched)."""
    rain = weather(rng, sunday)
    if rain >= 0.8:
        early = step(rain * between(rng, 0.3, 0.7), 0.05)
        write(diary, sunday - dt.timedelta(3), "rain", amount=early)
        write(diary, sunday, "rain", amount=round(rain - early, 2))
    elif rain >= 0.1:
        write(diary, sunday, "rain", amount=rain)
    watered = 0.0
    if dry > 0.5 and 5 <= sunday.month <= 9 and rng.random() < 0.85:
        watered = 0.3 if sunday.year == 2025 and sunday.month in (7, 8) else 0.5
        note = "well is low, short turn" if watered == 0.3 else ""
        write(diary, sunday - dt.timedelta(4), "watered", one_of(rng, ("", "", NORTH)), watered, note,
              minutes=35)
    heat = 0.75 if 6 <= sunday.month <= 8 else 0.4
    dry = min(3.0, max(0.0, dry + heat - 0.7 * (rain + watered)))
    swing = math.exp(bell(rng, 0.25)) * (1 - 0.16 * dry)
    soak_week(rng, diary, logs, sunday - dt.timedelta(1), swing, rain)
    natural(rng, diary, logs, sunday, swing, rain)
    weigh(rng, diary, logs, sunday, dry)
    return dry


def soak_week(rng, diary, logs, saturday, swing, rain):
    """The rota: from late April to early October, logs over a year old."""
    first = dt.date(saturday.year, 4, 24)
    if not first <= saturday <= dt.date(saturday.year, 10, 4) or saturday.year == 2024:
        return
    week = (saturday - first).days // 7 % 9 + 1
    if saturday in (dt.date(2025, 7, 12), dt.date(2025, 7, 19)):
        write(diary, saturday, "note", note="too hot and no water to spare: no soak this week")
        return
    groups = [living(logs, "A", saturday, week * 4 - 3, week * 4),
              living(logs, "C", saturday, week * 2 - 1, week * 2),
              ["D1"] if week == 4 else ["D2"] if week == 8 else []]
    for group in groups:
        group = [n for n in group if months(logs[n], saturday) >= 12]
        if not group:
            continue
        hours = float(one_of(rng, (12, 16, 18, 24)))
        write(diary, saturday, "soaked", names(group), hours, minutes=10 + 5 * len(group), tank=TANK,
              who="R." if rng.random() < 0.2 else "")
        wait = (7 if 6 <= saturday.month <= 8 else 9) + int(rng.random() * 3)
        if rng.random() < 0.15:
            write(diary, saturday + dt.timedelta(wait - 4), "pins seen", names(group))
        elif rng.random() < 0.3:
            write(diary, saturday + dt.timedelta(wait - 3), "checked", names(group), minutes=5)
        wet = rain > 0.8 and rng.random() < 0.4
        flush(rng, diary, logs, group, saturday + dt.timedelta(wait), PER_SOAK * swing, wet)


def natural(rng, diary, logs, sunday, swing, rain):
    """What comes by itself after rain in spring and autumn; the cold strain and the totems only so."""
    spring, autumn = sunday.month in (4, 5), sunday.month in (10, 11)
    if not (spring or autumn):
        return
    wet, date = rain > 1 and rng.random() < 0.5, sunday - dt.timedelta(int(rng.random() * 3))
    for low, high in ((1, 9), (10, 18)):
        cold = [n for n in living(logs, "B", date, low, high) if months(logs[n], date) > 8]
        if cold and rain > 0.4 and rng.random() < 0.6:
            flush(rng, diary, logs, cold, date, 0.06 * swing, wet)
    totems = [n for n in living(logs, "G", date) if months(logs[n], date) > 11]
    if totems and rng.random() < 0.3:
        flush(rng, diary, logs, totems, date, 0.16 * swing, wet)
    others = [n for n in living(logs, one_of(rng, "AACDE"), date) if months(logs[n], date) > 8]
    if others and rain > 0.7 and rng.random() < 0.5:
        at = int(rng.random() * max(1, len(others) - 3))
        flush(rng, diary, logs, others[at:at + 4], date, 0.06 * swing, wet)


def weigh(rng, diary, logs, sunday, dry):
    for name in SAMPLES:
        log = logs[name]
        log["moist"] += 0.25 * (log["start"] + 0.02 - 0.05 * dry - log["moist"])
        age = months(log, sunday)
        if name in living(logs, name[0], sunday) and 0 < age and sunday.isocalendar()[1] % 5 == 0:
            eaten = 1 - 0.004 * max(0.0, age - 6)
            weight = log["dry"] * eaten / (1 - log["moist"]) * (1 + bell(rng, 0.006))
            write(diary, sunday, "weighed", name, step(weight, 0.1), minutes=4)


def starting_work(diary, logs):
    """Felling to stacking of every batch, and the yard jobs."""
    for b in BATCHES:
        some = [n for n in logs if logs[n]["batch"] is b]
        count, born = b.count * len(some), day(b.inoculated)
        write(diary, day(b.felled), "felled", names(some), note=f"{count} logs cut to {b.length} in",
              minutes=count * 9)
        hired = b.letter in "AB" and b.form == ""
        write(diary, born, "inoculated", names(some), minutes=count * (6 if hired else 10))
        if hired:
            write(diary, born, "inoculated", names(some), note="drilling and filling", minutes=count * 4,
                  who="Helper 1")
        write(diary, born, "waxed", names(some), minutes=count * 3, who="R." if b.letter in "CE" else "")
        write(diary, born + dt.timedelta(1), "stacked", names(some), minutes=count * 3, tank=b.place)
    for year in SEASONS:
        write(diary, dt.date(year, 6, 2), "turned", NORTH, minutes=60, note="top to bottom")
        write(diary, dt.date(year, 10, 20), "worked", minutes=90, note="leaves off, shade cloth down")
        write(diary, dt.date(year, 4, 6), "worked", minutes=75, note="shade cloth up")
        for month in (5, 7, 9):
            write(diary, dt.date(year, month, 17), "checked", (NORTH, CREEK, "all")[month // 2 % 3],
                  minutes=20, note="end rims, bark, slugs")
    write(diary, dt.date(2025, 8, 10), "checked", NORTH, minutes=25, note="A7 and A22 very light, cracked")
    write(diary, dt.date(2025, 4, 19), "moved", "A1-A36", minutes=110, tank=NORTH, note="crib to lean-to")
    write(diary, dt.date(2026, 4, 18), "moved", "C1-C18", minutes=55, tank=NORTH, note="crib to lean-to")
    for name, date, event, some, note in ENDS:
        write(diary, day(date), event, name, some, note)

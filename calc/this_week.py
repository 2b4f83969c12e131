"""The table this_week: what to do, with the reason and the rule behind it, ordered by what is lost if it waits.

Lines are made by place, or by place, strain and month of inoculation, and where there would be too many for a page,
for the whole yard: a page holds a yard of any size, and no log is left out.
"""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import log_names, moisture, results, tables, watering
from calc.bad_year import RETIRE
from calc.bearing import years_of
from calc.day_numbers import monday_of
from calc.watering import days_dry
from calc.week_rules import A_DATE, RULES, Needs, Said, Week, many, on, rest, stamp, together
from calc.yard import NO_DAY, Diary, Yard, as_typed, dates, day_column, days, words

# From what is lost soonest to what can wait; a line's urgency is its place here.
ORDER = ("lift out", "pick", "water, a log is at its limit", "water", "look for pins", "inoculate, past the limit", "use the spawn",
         "soak", "inoculate", "weigh", "move", "turn", "look", "retire or replace", "rest")
MOST_LINES, MOST_OF_A_KIND = 28, 6  # of a page; more are drawn together
MOST_WORDS = 120  # characters from which on only the first reason of a line is shown
NOWHERE = ""
COVERED = ((("water, a log is at its limit",), "water"), (("pick",), "look for pins"), (("pick", "look for pins"), "look"))  # one line says it


# ---- lines of the yard that are no group of logs ----------------------------------------------------------------------


SOAK_RULE = "nine-week rota (FOR-85) and season, or your Settings and Lists"


def soak_lines(week: Week) -> list[dict]:
    """This week's soaks of the calendar; what it left out stands in its own words."""
    this = pd.Timestamp(dates([monday_of(week.day)])[0])
    found = []
    rows = week.soak_calendar[week.soak_calendar["week"] == this] if len(week.soak_calendar) else week.soak_calendar
    for row in rows.itertuples() if len(rows) else ():
        if not row.logs > 0:
            if row.words and row.group != row.group:  # nothing is dated, and why; groups left out stand in the stop list
                found.append(line("soak/none", "soak", "none this week", NOWHERE, row.words, SOAK_RULE, 0, stamp(monday_of(week.day)), 0.0))
            continue
        loads = f", {many(row.loads, 'tank load')}" if row.loads == row.loads else ""
        hours, day = getattr(row, "hours", np.nan), getattr(row, "day", pd.NaT)
        said = [f"turn of group {row.group:g}: {many(row.logs, 'log')}{loads}" + (f", {hours:g} h in the tank" if hours == hours else ""),
                f"not before {on(days([day])[0])}" if not pd.isna(day) and days([day])[0] > week.day else "", row.words]
        found.append(line(f"soak/group {row.group:g}", "soak", str(row.names), NOWHERE, "; ".join(w for w in said if w), SOAK_RULE, 1,
                          stamp(monday_of(week.day)), row.logs))
    return found


def spawn_lines(week: Week) -> list[dict]:
    """Spawn near or past its use-by date that some waiting log names, or no log at all."""
    if not len(week.lots):
        return []
    ahead = int(tables.figure("spawn_ahead_days").typical)
    used, still = words(week.logs, "spawn_lot"), week.yard.left()
    waiting = ~week.yard.is_at_work() & (week.yard.inoculated >= NO_DAY) & (still > 0)
    found = []
    for name, lot, use_by in zip(as_typed(week.lots, "spawn_lot"), words(week.lots, "spawn_lot"), day_column(week.lots, "use_by"), strict=True):
        mine = used == lot
        if not lot or use_by >= NO_DAY or use_by - week.day > ahead or (mine.any() and not (mine & waiting).any()):
            continue
        left = many(abs(use_by - week.day), "day")
        when = f"past its date by {left}" if use_by < week.day else f"to be used by {on(use_by)}, {left} left"
        for_ = "logs that wait for it are on Logs" if mine.any() else "no log on Logs names it: if it is used up, type it as Spawn lot there"
        found.append(line(f"use the spawn/{lot}", "use the spawn", f"spawn lot {name}", NOWHERE, f"{when}; {for_}", "Use by on Lists", 1,
                          stamp(use_by), float(still[mine & waiting].sum())))
    return found


def retire_lines(week: Week) -> list[dict]:
    """Years of logs that no longer pay their upkeep."""
    found = []
    years = week.keep_retire["group"].to_numpy()[(week.keep_retire["words"] == RETIRE).to_numpy(dtype=bool)].tolist()
    for year in years:
        mine = np.flatnonzero((years_of(week.yard.inoculated) == float(year)) & (week.yard.inoculated < NO_DAY) & (week.alive > 0))
        if len(mine):
            logs = float(week.alive[mine].sum())
            found.append(line(f"retire or replace/{year}", "retire or replace", log_names.said(week.ranked.spans(mine), len(mine), logs),
                              NOWHERE, f"inoculated in {year}: even a good rest of their life brings less than its upkeep; see Yield",
                              "keep or retire by what is still to come (EconS 350)", len(mine), str(year), logs))
    return found


def line(key, what, logs, place, why, rule, rows, occasion="", count=np.nan) -> dict:
    return {"key": key, "urgency": float(ORDER.index(what) + 1), "what": what.partition(",")[0] if what.startswith("water") else what, "logs": logs,
            "place": place, "words": why, "rule": rule, "rows": float(rows), "occasion": occasion, "count": count}


def causes(stopped: Needs) -> tuple[np.ndarray, np.ndarray]:
    """(reasons without their dates in order, which of them each of the stop list has)."""
    return _named([A_DATE.sub("", text) for text in stopped.reason.texts], stopped.reason.which)


# ---- from needs to lines ----------------------------------------------------------------------------------------------


LEVELS = 4  # batch, place and strain, place, whole yard
BY_BATCH = ("inoculate, past the limit", "inoculate", "move", "turn")  # the others are done place by place


def at_level(names: np.ndarray, level: int) -> list[str]:
    """Names of batches cut to a coarser level."""
    return ["/".join(name.split("/")[:3 - level]) if level < 3 else "" for name in names]


def _named(names: list[str], which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(the different names in order, the place among them of each row), of names of which some may be alike."""
    known, place = np.unique(np.array(names, dtype=object), return_inverse=True)
    return known, place.reshape(-1)[which]


def this_week(week: Week) -> pd.DataFrame:
    """The table this_week, most urgent first; of one kind, the line with most logs first."""
    lines = _few(soak_lines(week)) + _few(spawn_lines(week)) + _few(retire_lines(week))
    stopped = rest(week)
    lines += [{**one, "words": f"do not soak: {one['words']}"} for one in _few(_drawn(week, stopped, *causes(stopped)))]
    lines += _grouped(week, _needed(week), MOST_LINES - len(lines))
    table = pd.DataFrame(lines, columns=list(results.COLUMNS["this_week"])) if lines else results.empty("this_week")
    return table.sort_values(["urgency", "count", "key"], ascending=[True, False, True], kind="stable", ignore_index=True)


def _needed(week: Week) -> dict[str, Needs]:
    """What is needed by kind, in ORDER; a log that a stronger kind names is not named again by a weaker one."""
    parts: dict[str, list[Needs]] = {}
    for part in (part for rule in RULES for part in rule(week) if len(part)):
        parts.setdefault(part.what, []).append(part)
    found = {kind: together(parts[kind]) for kind in ORDER if kind in parts}
    for stronger, weaker in COVERED:
        sure = [found[kind].log for kind in stronger if kind in found]
        if weaker in found and sure:
            named = np.zeros(len(week.yard), dtype=bool)
            named[np.concatenate(sure)] = True
            found[weaker] = found[weaker].only(~named[found[weaker].log])
    return {kind: part for kind, part in found.items() if len(part)}


def _few(lines: list[dict]) -> list[dict]:
    """The first lines of a kind; what is more stands in one."""
    head, tail = lines[:MOST_OF_A_KIND - 1], lines[MOST_OF_A_KIND - 1:]
    if len(tail) < 2:
        return lines
    first = tail[0]
    return head + [line(f"{first['what']}/more", first["what"], "; ".join(one["logs"] for one in tail), NOWHERE, f"{first['words']}. "
                        f"{len(tail) - 1} more likewise", first["rule"], sum(one["rows"] for one in tail), first["occasion"],
                        sum(one["count"] for one in tail))]


def _grouped(week: Week, parts: dict[str, Needs], most: int) -> list[dict]:
    """Lines of all kinds, by batch or by place, and coarser where the page would not hold them."""
    known, code = week.batches
    names = [_named(at_level(known, level), np.arange(len(known))) for level in range(LEVELS)]
    kinds, level = list(parts), {kind: 0 if kind in BY_BATCH else 2 for kind in parts}
    batch = {kind: code[part.log] for kind, part in parts.items()}

    def held(kind: str) -> int:
        return int(np.count_nonzero(np.bincount(names[level[kind]][1][batch[kind]])))

    size = {kind: held(kind) for kind in kinds}
    while kinds:
        widest = max(kinds, key=lambda kind: (size[kind], ORDER.index(kind)))
        if size[widest] <= 1 or (size[widest] <= MOST_OF_A_KIND and sum(size.values()) <= most):
            break
        level[widest] += 1
        size[widest] = held(widest)
    lines = []
    for kind in kinds:
        shown, of_batch = names[level[kind]]
        lines += _drawn(week, parts[kind], shown, of_batch[batch[kind]])
    return lines


def _drawn(week: Week, part: Needs, names: np.ndarray, group: np.ndarray) -> list[dict]:
    """One line for each group: its logs, its reasons, its rules. names: of the groups, in order; group: of each row."""
    found, (place, places) = [], week.places
    order = np.argsort(group, kind="stable")
    ends = np.cumsum(np.bincount(group, minlength=len(names)))
    for name, first, last in zip(names, ends - np.diff(ends, prepend=0), ends, strict=True):
        if first == last:
            continue
        mine = part if last - first == len(part) else part.only(order[first:last])
        log = mine.log if (np.diff(mine.log) > 0).all() else np.unique(mine.log)
        where = places[place[log[0]]] if (place[log] == place[log[0]]).all() else NOWHERE
        logs = float(week.alive[log].sum())
        found.append(line(f"{part.what}/{name}", part.what, log_names.said(week.ranked.spans(log), len(log), logs), where, _reasons(mine),
                          "; ".join(_in_turn(mine.rule)), len(log), max(_in_turn(mine.occasion)), logs))
    return found


def _in_turn(said: Said) -> list[str]:
    """The different texts in the order in which they first stand."""
    if len(said.texts) == 1:
        return said.texts
    known, first = np.unique(said.which, return_index=True)
    return list(dict.fromkeys(said.texts[code] for code in known[np.argsort(first)]))


def _reasons(mine: Needs) -> str:
    """The first two of the reasons of a line, or one where they are long; the rows with others are counted."""
    which, texts = mine.reason.which, mine.reason.texts
    first = int(which[np.argmin(mine.first)])
    shown, others = [first], np.flatnonzero(which != first)
    if len(others):
        second = int(which[others[np.argmin(mine.first[others])]])
        if len(texts[first]) + len(texts[second]) <= MOST_WORDS:
            shown.append(second)
            others = others[which[others] != second]
    return "; ".join(texts[code] for code in shown) + (f"; {many(len(others), 'more row')} likewise" if len(others) else "")


def every_table(frames: dict, book: Diary, yard: Yard, known: pd.DataFrame, settings: dict, season: dict) -> dict:
    """The tables of this week: moisture, water_weeks, dry_spell, this_week; and days_dry.

    known: calc.sizes of each row; season: the tables log_season, soak_calendar and keep_retire.
    """
    logs, woods = frames["logs"], frames.get("woods", pd.DataFrame())
    own = moisture.samples(logs, woods, known["volume_m3"].to_numpy(dtype=float), book.pairs("weighed")[1])
    weighed = moisture.weighings(book, yard, own)
    wet = moisture.moisture(book, yard, logs, own, weighed, settings.get("water_below"))
    rain = watering.water(book, len(yard))
    week = Week(book, yard, logs, frames.get("lots", pd.DataFrame()), rain, weighed, wet, season["log_season"], season["soak_calendar"],
                season["keep_retire"], settings)
    return {"moisture": wet, "water_weeks": watering.weeks(rain, yard, settings), "dry_spell": watering.dry_spell(rain, weighed),
            "this_week": this_week(week), "days_dry": days_dry(rain)}

"""The table this_week: what to do, with the reason and the rule behind it, ordered by what is lost if it waits.

Lines are made by place, or by place, strain and month of inoculation, and where there would be too many for a page,
for the whole yard: a page holds a yard of any size, and no log is left out.
"""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import log_names, moisture, results, tables, watering
from calc.bad_year import RETIRE
from calc.day_numbers import monday_of
from calc.watering import days_dry
from calc.week_rules import A_DATE, RULES, Week, many, needs, on, rest, stamp
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
    for row in week.soak_calendar[week.soak_calendar["week"] == this].itertuples():
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
    year = pd.Series(dates(week.yard.inoculated)).dt.year.to_numpy()
    names = as_typed(week.logs, "log")
    found = []
    for row in week.keep_retire[week.keep_retire["words"].isin([RETIRE])].itertuples():
        mine = (year == float(row.group)) & (week.alive > 0)
        if mine.any():
            found.append(line(f"retire or replace/{row.group}", "retire or replace", log_names.in_words(names[mine].tolist(), week.alive[mine].sum()),
                              NOWHERE, f"inoculated in {row.group}: even a good rest of their life brings less than its upkeep; see Yield",
                              "keep or retire by what is still to come (EconS 350)", int(mine.sum()), str(row.group), float(week.alive[mine].sum())))
    return found


def line(key, what, logs, place, why, rule, rows, occasion="", count=np.nan) -> dict:
    return {"key": key, "urgency": float(ORDER.index(what) + 1), "what": what.partition(",")[0] if what.startswith("water") else what, "logs": logs,
            "place": place, "words": why, "rule": rule, "rows": float(rows), "occasion": occasion, "count": count}


def causes(stopped: pd.DataFrame) -> np.ndarray:
    """Reasons without their dates: lines of the stop list."""
    return stopped["reason"].str.replace(A_DATE, "", regex=True).to_numpy(dtype=object)


# ---- from needs to lines ----------------------------------------------------------------------------------------------


LEVELS = 4  # batch, place and strain, place, whole yard
BY_BATCH = ("inoculate, past the limit", "inoculate", "move", "turn")  # the others are done place by place


def at_level(names: np.ndarray, level: int) -> np.ndarray:
    """Names of batches cut to a coarser level."""
    return np.array(["/".join(name.split("/")[:3 - level]) if level < 3 else "" for name in names], dtype=object)


def this_week(week: Week) -> pd.DataFrame:
    """The table this_week, most urgent first; of one kind, the line with most logs first."""
    found = pd.concat([part for rule in RULES if len(part := rule(week))] or [needs("water", np.zeros(0, dtype=np.int64), [], "")],
                      ignore_index=True)
    for stronger, weaker in COVERED:
        sure = found[found["what"].isin(stronger)]["log"]
        found = found[~((found["what"] == weaker) & found["log"].isin(sure))]
    lines = _few(soak_lines(week)) + _few(spawn_lines(week)) + _few(retire_lines(week))
    stopped = rest(week)
    lines += [{**one, "words": f"do not soak: {one['words']}"} for one in _few(_drawn(week, stopped, causes(stopped)))]
    lines += _grouped(week, found, MOST_LINES - len(lines))
    table = pd.DataFrame(lines, columns=list(results.COLUMNS["this_week"])) if lines else results.empty("this_week")
    return table.sort_values(["urgency", "count", "key"], ascending=[True, False, True], kind="stable", ignore_index=True)


def _few(lines: list[dict]) -> list[dict]:
    """The first lines of a kind; what is more stands in one."""
    head, tail = lines[:MOST_OF_A_KIND - 1], lines[MOST_OF_A_KIND - 1:]
    if len(tail) < 2:
        return lines
    first = tail[0]
    return head + [line(f"{first['what']}/more", first["what"], "; ".join(one["logs"] for one in tail), NOWHERE, f"{first['words']}. "
                        f"{len(tail) - 1} more likewise", first["rule"], sum(one["rows"] for one in tail), first["occasion"],
                        sum(one["count"] for one in tail))]


def _grouped(week: Week, found: pd.DataFrame, most: int) -> list[dict]:
    """Lines of all kinds, by batch or by place, and coarser where the page would not hold them."""
    known, code = week.batches
    names = [at_level(known, level) for level in range(LEVELS)]
    kinds = [kind for kind in ORDER if (found["what"] == kind).any()]
    parts = {kind: found[found["what"] == kind] for kind in kinds}
    level = {kind: 0 if kind in BY_BATCH else 2 for kind in kinds}

    def held(kind: str) -> int:
        return len(set(names[level[kind]][code[parts[kind]["log"].to_numpy(dtype=np.int64)]]))

    size = {kind: held(kind) for kind in kinds}
    while kinds:
        widest = max(kinds, key=lambda kind: (size[kind], ORDER.index(kind)))
        if size[widest] <= 1 or (size[widest] <= MOST_OF_A_KIND and sum(size.values()) <= most):
            break
        level[widest] += 1
        size[widest] = held(widest)
    lines = []
    for kind in kinds:
        lines += _drawn(week, parts[kind], names[level[kind]][code[parts[kind]["log"].to_numpy(dtype=np.int64)]])
    return lines


def _drawn(week: Week, part: pd.DataFrame, group: np.ndarray) -> list[dict]:
    """One line for each group: its logs, its reasons, its rules."""
    places, found = as_typed(week.logs, "place"), []
    for name, mine in part.groupby(group, sort=True):
        log = np.unique(mine["log"].to_numpy(dtype=np.int64))
        what = mine["what"].iat[0]
        where = set(places[log])
        found.append(line(f"{what}/{name}", what, log_names.said(week.ranked.spans(log), len(log), float(week.alive[log].sum())),
                          where.pop() if len(where) == 1 else NOWHERE, _reasons(mine), "; ".join(mine["rule"].unique()), len(log),
                          str(mine["occasion"].max()), float(week.alive[log].sum())))
    return found


def _reasons(mine: pd.DataFrame, most: int = 2) -> str:
    """The first of the reasons of a line; the rows with others are counted."""
    ordered = mine.sort_values("first", kind="stable")
    shown = list(ordered["reason"].unique()[:most])
    shown = shown[:1] if sum(map(len, shown)) > MOST_WORDS else shown
    rest_ = int((~mine["reason"].isin(shown)).sum())
    return "; ".join(shown) + (f"; {many(rest_, 'more row')} likewise" if rest_ else "")


def every_table(frames: dict, book: Diary, yard: Yard, known: pd.DataFrame, settings: dict, season: dict) -> dict:
    """The tables of this week: moisture, water_weeks, dry_spell, this_week; and days_dry.

    known: calc.sizes of each row; season: the tables log_season, soak_calendar and keep_retire.
    """
    logs, woods = frames["logs"], frames.get("woods", pd.DataFrame())
    own = moisture.samples(logs, woods, known["volume_m3"].to_numpy(dtype=float))
    weighed = moisture.weighings(book, yard, own)
    wet = moisture.moisture(book, yard, logs, own, weighed, settings.get("water_below"))
    rain = watering.water(book, len(yard))
    week = Week(book, yard, logs, frames.get("lots", pd.DataFrame()), rain, weighed, wet, season["log_season"], season["soak_calendar"],
                season["keep_retire"], settings)
    return {"moisture": wet, "water_weeks": watering.weeks(rain, yard, settings), "dry_spell": watering.dry_spell(rain, weighed),
            "this_week": this_week(week), "days_dry": days_dry(rain)}

"""The Plan sheet as read at a refresh: what cannot be used is asked about, and its bolts become rows like those of Logs."""
from __future__ import annotations

import datetime as dt
import math

from calc import dates, day_numbers, quantities
from calc.intake_words import Context, date_in_number
from calc.problems import QUESTION, Problem, either, quote, type_one
from calc.raw import Odd
from workbook_template import schema
from workbook_template.sheets import plan_cells, plan_typed
from workbook_template.sheets.plan_typed import UNIT_WORDS, Input
from workbook_template.twins import Env, blank, is_number, serial


def environment(profile: str, as_of: dt.date, settings: dict, frames: dict) -> Env:
    """What the plan must know of the workbook: settings in its own units, and the names on Lists."""
    rows = {}
    for table, columns in (("woods", ["wood"]), ("forms", ["form", "counted_by"]), ("strains", ["strain"])):
        frame = frames.get(table)
        rows[table] = [] if frame is None else frame.reindex(columns=columns).to_dict("records")
    return Env(profile, as_of, settings, rows)


def read_plan(named: dict[str, object], env: Env) -> tuple[dict, list[Problem]]:
    """(inputs by name as they stand in the cells, problems). named: values by name, as the reader gives them.

    A blank cell is no problem: the sheet says what it waits for. A cell that cannot be used makes the sheet's own
    answers blank, and keeps the plan out of Shopping where it needs that cell.
    """
    plan = {entry.name: _held(named.get(entry.name)) for entry in plan_typed.INPUTS}
    found = plan_typed.used(plan, env)
    bolts = plan_cells.planned_bolts(found, env)
    count = len(bolts) if found["sizes_good"] else ""
    words = plan_typed.checks(plan, found, count, env)
    problems = [_problem(entry, plan[entry.name], words[f"check_{entry.name}"], found, env)
                for entry in plan_typed.INPUTS if words[f"check_{entry.name}"] and not blank(plan[entry.name])]
    return plan, problems


def _held(value):
    value = value.value if isinstance(value, Odd) else value
    return None if isinstance(value, str) and not value.strip() else value


def counted(found: dict) -> bool:
    """Whether the bolts and their holes can be worked out. found: from plan_typed.used."""
    return bool(found["sizes_good"] and found["holes_known"])


def plan_frame(plan: dict, env: Env):
    """The bolts of the plan as rows like those of Logs, SI; none where the plan is untouched or cannot be worked out."""
    import pandas as pd

    found = plan_typed.used(plan, env)
    if plan_typed.untouched(plan, env.profile) or not counted(found):
        return pd.DataFrame()
    length = env.si(found["use_bolt_length"], "length")
    day = found["use_inoculate"]

    def spacing(name):
        return math.nan if blank(plan.get(name)) or found[f"use_{name}"] == "" else env.si(found[f"use_{name}"], "spacing")

    return pd.DataFrame([{
        "row": 0, "log": f"plan {i}", "wood": plan.get("wood"), "strain": None, "diameter_m": small,
        "large_end_m": math.nan if large is None else large, "length_m": length, "count": int(logs),
        "spawn_form": plan.get("form"), "hole_spacing_m": spacing("along"), "row_spacing_m": spacing("around"),
        "holes_drilled": math.nan, "ends_waxed": None,
        "inoculated": pd.NaT if day == "" else pd.Timestamp(day_numbers.serial_day(day))}
        for i, (logs, small, large) in enumerate(plan_cells.planned_bolts(found, env), start=1)])


# ---- what is said about a cell ----------------------------------------------------------------------------------

def _problem(entry: Input, value, word: str, found: dict, env: Env) -> Problem:
    if entry.list:
        what, need, do = f"{quote(value)} is not in the list", "", "Pick one from the list"
        if entry.name == "have":
            need = either(schema.LISTS[entry.list])
        else:
            do += f", or add the {entry.name} on Lists"
    else:
        what, do = _number(entry, value, word, env)
        need = _needed(entry, env.profile)
    return Problem("Plan", None, entry.title, QUESTION, what, need, f"{do}; {_until_then(entry, found)}", "plan")


def _needed(entry: Input, profile: str) -> str:
    if entry.day:
        return "a date"
    low, high = entry.words(profile)[1].removeprefix("must be ").removeprefix("a whole number, ").split(" to ")
    unit = entry.unit(profile)
    span = f"{low} to {high.removesuffix(unit).strip()}"
    return f"a whole number, {span}" if entry.whole else f"{UNIT_WORDS.get(unit, unit)}, {span}"


def _until_then(entry: Input, found: dict) -> str:
    if entry.name in ("wanted", "stock"):
        return "until then no weekly supply is worked out"
    if entry.name in ("strain", "inoculate"):
        return "until then no start of the supply is worked out"
    if entry.name == "wood":
        return "until then the plan has no weights"
    if entry.name != "have" and counted(found):
        return "the plan does not use this cell as it stands"
    return "until then the plan is left out of Shopping"


def _number(entry: Input, value, word: str, env: Env) -> tuple[str, str]:
    """(what was found, what to do) for a number cell."""
    unit = entry.unit(env.profile)
    if entry.day:
        return _date(value, env)
    if isinstance(value, dt.date):
        day = value if isinstance(value, dt.datetime) else dt.datetime.combine(value, dt.time())
        context = Context(env.profile, env.as_of, env.settings.get("date_order"))
        return date_in_number(day, context, lambda number: plan_typed.usable(entry, number, env.profile))
    if is_number(value):
        shown = f"{serial(value):g}"
        if plan_typed.usable(entry, value, env.profile):
            return f"{shown} {unit} {_crossed(word)}", "Type another number"
        return (f"{shown} is not a whole number" if entry.whole and value % 1 else f"{shown} is beyond what can be"), "Type another number"
    if not isinstance(value, str):
        return f"{quote(value)} is not a number", "Type a number"
    read = quantities.read_quantity(value, entry.quantity, env.profile)
    if not isinstance(read, quantities.Read):
        return f"{quote(value)} {read.question}", type_one(read.offers) or "Type a number"
    meant = env.shown(read.value_si, entry.quantity) if entry.quantity else read.value_si
    said = quantities.format_number(meant)
    do = f"Type {said}" if plan_typed.usable(entry, meant, env.profile) else "Type a number"
    return f"{quote(value)} is text: live cells take only numbers; it means {said} {UNIT_WORDS.get(unit, unit)}".rstrip(), do


def _date(value, env: Env) -> tuple[str, str]:
    """(what was found, what to do) for the date of inoculation."""
    if not isinstance(value, str):
        return f"{quote(value)} is no likely date", "Type a date, such as 1 Mar 2027"
    read = dates.read_date(value, env.settings.get("date_order"), env.as_of.year)
    if isinstance(read, dates.Read):
        return f"{quote(value)} is text: live cells take only dates; it means {day_numbers.words(read.day)}", f"Type {read.day.isoformat()}"
    return f"{quote(value)} {read.question}", type_one(read.offers) or "Type a date, such as 1 Mar 2027"


def _crossed(word: str) -> str:
    return word if word.startswith("must") else f"is {word}"

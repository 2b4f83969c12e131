"""What the logs still to be inoculated need: spawn in whole packs, wax, hours."""
from __future__ import annotations

import math

import numpy as np
import pandas as pd

from calc import results, supplies
from calc.sizes import EACH_HOLE, HOLE_VOLUME, PER_LOG, picked_from, sizes
from calc.yard import TINY, Diary, Yard, as_typed, numbers, words, yes

OWN, SETTINGS = "own record", "Settings"
WAITING, PLANNED = "logs waiting", "the Plan"  # what something is bought for
DRILL_STEPS, SETUP_STEPS = ("inoculated",), ("felled", "waxed", "stacked")


def needs(frames: dict, settings: dict, yard: Yard, known: pd.DataFrame):
    """Per row still to be inoculated: size, logs, and what it takes. Returns (table, purpose -> logs not yet felled).

    Rows of Logs not inoculated by the as-of day that have not borne either, without those already gone, and the rows of the plan
    (frames["plan"], columns as in Logs). `known`: calc.sizes.sizes of the Logs frame.
    """
    logs, plan = frames["logs"], frames.get("plan", pd.DataFrame())
    waiting = ~yard.is_at_work()
    gone = np.bincount(yard.exit_log, weights=yard.exit_take, minlength=len(yard))
    table = known[waiting].assign(
        purpose=WAITING, logs=np.maximum(np.round(yard.count - gone, 9), 0.0)[waiting],
        waxed_ends=_waxed_ends(logs, settings)[waiting])
    unfelled = {WAITING: float(table["logs"][(yard.start > yard.as_of)[waiting]].sum()), PLANNED: 0.0}
    if len(plan):
        planned = sizes(plan, frames, settings).assign(purpose=PLANNED, logs=numbers(plan, "count", 1.0),
                                                       waxed_ends=_waxed_ends(plan, settings))
        table = pd.concat((table, planned), ignore_index=True)
        unfelled[PLANNED] = float(planned["logs"].sum())
    table = table[table["logs"] > 0].reset_index(drop=True)
    forms = frames.get("forms", pd.DataFrame())
    waxed = picked_from(yes(forms, "waxed"), table["form_at"].to_numpy(), False)
    table["wax_kg"] = wax(table, waxed, settings)
    return table, unfelled


def _waxed_ends(logs, settings):
    typed = words(logs, "ends_waxed")
    return np.where(typed == "", str(settings["ends_waxed"]).casefold(), typed) == "yes"


def wax(table: pd.DataFrame, waxed, settings: dict) -> np.ndarray:
    """Wax for each row, kg: its holes where the form is waxed, and both ends where ends are."""
    logs, ends = table["logs"].to_numpy(), (table["logs"] * table["waxed_ends"]).to_numpy()
    coat, density = settings["end_coat"], settings["wax_density"]
    holes = np.where(waxed, table["holes"] * logs, 0.0)
    small, large = table["small_m"].to_numpy(), table["large_m"].to_numpy()
    return (supplies.wax_weight(holes, settings["wax_per_hole"], ends, small, coat, density)
            + supplies.wax_weight(0.0, 0.0, ends, large, coat, density))


def shopping(frames: dict, settings: dict, table: pd.DataFrame):
    """(shopping, packs) as in results.COLUMNS, from the table of `needs`.

    settings["weight_unit_kg"]: kg in one unit of the pack sizes of spawn sold by weight (1 if left out).
    """
    rows, ways = [], []
    forms = frames.get("forms", pd.DataFrame())
    names = as_typed(forms, "form")
    for (purpose, form), mine in table.groupby(["purpose", "form"], sort=True):
        at = int(mine["form_at"].iloc[0])
        kind, need, unknown = _need(forms, at, mine, settings["spare_share"])
        unit = 1.0 if kind == "pieces" else settings.get("weight_unit_kg", 1.0)
        name = names[at] if at >= 0 else form
        buy, cost, left = _pack_ways(frames, form, (purpose, name), need, unit, ways)
        rows.append((purpose, name, mine["logs"].sum(), unknown, (mine["holes"] * mine["logs"]).sum(), need, kind,
                     buy, cost, left, mine["wax_kg"].sum()))
    return _frame("shopping", rows), _frame("packs", ways)


def _frame(table: str, rows: list) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(results.COLUMNS[table])) if rows else results.empty(table)


def _need(forms, at, mine, spare):
    """(pieces or weight, need, logs whose need is unknown) of one form."""
    counted_by = picked_from(words(forms, "counted_by"), np.array([at]), "")[0]
    logs, holes = mine["logs"], mine["holes"]
    unknown = float(logs[holes.isna()].sum())
    drilled = float((holes * logs).sum())
    if counted_by == EACH_HOLE:
        return "pieces", float(supplies.plugs_needed(drilled, spare)), unknown
    if counted_by == HOLE_VOLUME:
        bit, depth, bulk, fill = (numbers(forms, c)[at] for c in ("bit", "depth", "bulk_density", "fill"))
        need = supplies.sawdust_weight(drilled, bit, depth, bulk, fill, spare)
        return "weight", need, float(logs.sum()) if np.isnan(need) else unknown
    if counted_by == PER_LOG:
        need = supplies.totem_weight(float(logs.sum()), numbers(forms, "weight_per_log")[at], spare)
        return "weight", need, float(logs.sum()) if np.isnan(need) else 0.0
    return "pieces", math.nan, float(logs.sum())


def _pack_ways(frames, form, names, need, unit, ways):
    """Add the cheapest way and the single sizes to `ways`; return (buy, cost, left over) of the cheapest."""
    packs = frames.get("packs", pd.DataFrame())
    mine = (words(packs, "pack_form") == form) & (numbers(packs, "pack_size", 0.0) > 0)
    size, price = numbers(packs, "pack_size")[mine], numbers(packs, "pack_price")[mine]
    if not len(size) or not need > 0:
        return "", math.nan, math.nan
    wanted = round(need / unit, 9)
    prices = [None if math.isnan(p) or p < 0 else float(p) for p in price]
    try:
        best = supplies.cheapest_packs(wanted, size.tolist(), prices)
    except ValueError as refusal:
        return str(refusal), math.nan, math.nan
    cost = math.nan if best.cost is None else best.cost
    chosen = [i for i in np.argsort(-size, kind="stable") if best.counts[i]]
    for i in chosen:
        ways.append((*names, 0, size[i], best.counts[i], price[i], cost, best.left_over * unit, 0.0))
    singles = []
    for i in range(len(size)):
        count = math.ceil(round(wanted / size[i], 9))
        singles.append((price[i] * count, -size[i], i, count))
    for way, (spent, _, i, count) in enumerate(sorted(singles, key=lambda s: (math.isnan(s[0]), s)), start=1):
        left = round(count * size[i] - wanted, 9) * unit
        ways.append((*names, way, size[i], count, price[i], spent, left, spent - cost))
    return " + ".join(f"{best.counts[i]} x {size[i]:g}" for i in chosen), cost, best.left_over * unit


def hours(book: Diary, yard: Yard, settings: dict, to_do: pd.DataFrame, unfelled: dict) -> pd.DataFrame:
    """Minutes a log by step, from Settings and from timed events, and the hours to come, those of the plan apart.

    to_do, unfelled: from `needs`. The own record of inoculated events replaces drilling and filling; that of felled,
    waxed and stacked events replaces the rest once all three are timed. Timed felling counts only for logs not yet
    felled.
    """
    own = {step: _timed(book, yard, step) for step in DRILL_STEPS + SETUP_STEPS}
    logs = {purpose: float(to_do["logs"][to_do["purpose"] == purpose].sum()) for purpose in (WAITING, PLANNED)}
    table = []
    for title, minutes, steps in (("drill and fill", settings["drill_minutes"], DRILL_STEPS),
                                  ("fell, cut, carry, wax, stack", settings["setup_minutes"], SETUP_STEPS)):
        learned = all(own[step][1] > 0 for step in steps)
        table.append((title, minutes, SETTINGS, 0.0, 0, not learned, sum(logs.values()), logs[PLANNED]))
        for step in steps:
            worked, timed, lines = own[step]
            if timed > 0:
                left = unfelled if step == "felled" else logs
                table.append((step, worked / timed, OWN, timed, lines, learned, sum(left.values()), left[PLANNED]))
    frame = pd.DataFrame(table, columns=[c for c in results.COLUMNS["hours"] if not c.endswith("hours")])
    for name, number in (("hours", "logs"), ("plan_hours", "plan_logs")):
        frame[name] = (frame["minutes_per_log"] * frame[number] / 60.0).where(frame["used"])
    frame["used"] = np.where(frame["used"], "yes", "no")
    return frame


def _timed(book: Diary, yard: Yard, step: str):
    """(minutes, logs, lines) of the timed events of one step; a log named by several lines counts once."""
    mask = book.lines(step) & (book.minutes > TINY) & (book.named > 0)
    logs = np.unique(book.log[mask[book.line]])
    return float(book.minutes[mask].sum()), float(yard.count[logs].sum()), int(mask.sum())

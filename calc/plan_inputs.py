"""What a plan is worked out from: each figure with its range and where it comes from, low by default.

In this order: what the grower typed on Settings, the grower's own record, a published figure, a starting
guess. Money figures in print are USD of their year and stand as plain money.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pandas as pd

from calc import results, tables, units

MAKING = ("spawn", "wax", "wood")  # categories of Costs that make a log


@dataclass(frozen=True)
class Input:
    """One figure of a plan: value, its low and high end, kind as in results.KINDS, basis in words."""

    name: str
    title: str
    value: float
    low: float
    high: float
    kind: str
    basis: str


def said(figure_id: str) -> str:
    """Basis of a figure in words, with its source where it has one."""
    found = tables.figure(figure_id)
    source = tables.source_words(found.source) if found.basis in ("published", "derived") else ""
    return f"{found.basis}: {source}" if source else found.basis


def typical(figure_id: str) -> float:
    return tables.figure(figure_id).typical


def defaults(settings: dict) -> list[Input]:
    """Every figure of a plan before a record or a typed one replaces it. SI; money per kg; minutes."""
    pound = units.factor("weight", units.US)
    life = max(1, round(settings.get("life_seasons") or typical("log_life_seasons")))
    seasons, start, unsold = (
        tables.figure(name) for name in ("log_life_seasons", "startup_cost_per_log", "budget_unsold_share")
    )
    off = typical("budget_spread")
    hours = typical("labour_hours_per_log")
    setup = settings.get("drill_minutes", typical("drill_fill_min_per_log"))
    setup += settings.get("setup_minutes", typical("other_setup_min_per_log"))
    upkeep = 60.0 * hours * (typical("labour_share_upkeep") + typical("labour_share_selling")) / life
    wage = settings.get("wage", typical("wage_per_hour"))
    prices = tables.figure("price_2000s_wholesale")

    def both(value):
        return value, value * (1.0 - off), value * (1.0 + off)

    return [
        Input("logs", "Logs made a year", *(typical("budget_logs"),) * 3, "logs", said("budget_logs")),
        Input("years", "Years ahead", *(typical("budget_years"),) * 3, "whole", said("budget_years")),
        Input(
            "price_per_kg",
            "Price before commission",
            prices.low / pound,
            typical("price_2019_specialty") / pound,
            typical("price_2019_planning") / pound,
            "money per weight",
            f"low end of wholesale, {said('price_2000s_wholesale')}",
        ),
        Input("commission", "Commission", 0.0, 0.0, 0.0, "share", "none assumed"),
        Input(
            "unsold",
            "Brought to market, not sold",
            unsold.typical,
            unsold.low,
            unsold.high,
            "share",
            said("budget_unsold_share"),
        ),
        Input(
            "life_kg",
            "Marketable weight of a log in its life",
            typical("lifetime_weight_per_log_lb") * pound,
            typical("biological_efficiency") * typical("dry_wood_usual_log_lb") * pound,
            typical("budget_life_high_lb") * pound,
            "weight",
            said("lifetime_weight_per_log_lb"),
        ),
        Input(
            "life_seasons",
            "Seasons a log bears",
            float(life),
            min(life, seasons.low),
            max(life, seasons.high),
            "whole",
            "Settings",
        ),
        Input(
            "setup_cash",
            "Cash to make a log",
            start.high,
            start.low,
            typical("cost_per_log"),
            "money",
            f"high end, {said('startup_cost_per_log')}",
        ),
        Input("setup_minutes", "Minutes to make a log", *both(setup), "minutes", "Settings"),
        Input(
            "upkeep_minutes",
            "Minutes of upkeep, picking and selling a log and year",
            *both(upkeep),
            "minutes",
            f"47 % of an hour over the seasons, {said('labour_share_upkeep')}",
        ),
        Input(
            "upkeep_cash", "Cash for upkeep a log and year", 0.0, 0.0, 0.0, "money", "not known: counted as 0"
        ),
        Input("wage", "Wage for an hour", *both(wage), "money", "Settings"),
        Input(
            "fees_per_kg", "Market fees", 0.0, 0.0, 0.0, "money per weight", "none on Sales: counted as 0"
        ),
        Input("tools", "Yearly charge for what lasts", 0.0, 0.0, 0.0, "money", "none on Costs: counted as 0"),
    ]


def inputs(settings: dict, own: dict | None = None) -> dict[str, Input]:
    """The figures of a plan by name.

    settings: budget_<name> where the grower typed one (blank: None or NaN). own: name -> value, or (value,
    low, high), or (value, low, high, words), from the record. A value without a range may be off by the
    starting guess either way; a typed one too.
    """
    found = {}
    for entry in defaults(settings):
        typed = settings.get(f"budget_{entry.name}")
        mine = (own or {}).get(entry.name)
        if _known(typed):
            entry = _ranged(replace(entry, basis="yours"), float(typed))
        elif mine is not None and _known(mine[0] if isinstance(mine, tuple) else mine):
            value, *ends = mine if isinstance(mine, tuple) else (mine,)
            entry = replace(entry, basis=ends[2] if len(ends) > 2 else "own record")
            entry = (
                replace(entry, value=value, low=min(ends[0], value), high=max(ends[1], value))
                if len(ends) > 1
                else _ranged(entry, value)
            )
        found[entry.name] = entry
    return found


def _known(value) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))


def _ranged(entry: Input, value: float) -> Input:
    if entry.name in ("logs", "years"):
        return replace(entry, value=float(round(value)), low=float(round(value)), high=float(round(value)))
    if entry.name == "life_seasons":
        whole = float(max(1, round(value)))
        return replace(entry, value=whole, low=max(1.0, whole - 1), high=whole + 1)
    off = typical("budget_spread")
    top = 0.95 if entry.kind == "share" else math.inf
    return replace(
        entry, value=value, low=value * (1.0 - off), high=min(value * (1.0 + off), max(value, top))
    )


def table(found: dict[str, Input]) -> pd.DataFrame:
    """The table budget_inputs."""
    rows = [(i.name, i.title, i.value, i.low, i.high, i.kind, i.basis) for i in found.values()]
    return pd.DataFrame(rows, columns=list(results.COLUMNS["budget_inputs"]))


def own(found: dict, sold: pd.DataFrame, settings: dict) -> dict:
    """The grower's own figures for a plan, as `inputs` takes them; what no record knows is left out.

    found: the result tables breakeven, life_years, expected, hours, each_log, the dictionary upkeep of
    calc.bad_year, tools (yearly charges of what is in use), making (spawn, wax and wood in inoculated logs) and
    usual_kg (what the recorded seasons give in a usual year). sold: the sales ledger.
    """
    mine: dict = {"tools": found["tools"]} if found["tools"] > 0 else {}
    fresh = found["breakeven"][found["breakeven"]["product"] == "fresh"]
    priced = sold[(sold["product"] == "fresh") & (sold["sold_kg"] > 0) & ~sold["unpriced"]]["price"]
    if len(fresh) and len(priced):
        row = fresh.iloc[-1]  # all markets where there are several
        mine["price_per_kg"] = (float(row["price_per_kg"]), float(priced.min()), float(priced.max()))
        mine["commission"] = (float(row["commission"]),) * 3
        mine["unsold"] = float(row["unsold"])
        mine["fees_per_kg"] = float(row["own_per_kg"])
    for name, key in (("upkeep_minutes", "minutes"), ("upkeep_cash", "cash")):
        mine[name] = found["upkeep"][key]
    logs = float(found["each_log"]["count"][found["each_log"]["inoculated"].notna()].sum())
    if logs > 0 and found["making"] > 0:
        mine["setup_cash"] = found["making"] / logs
    steps = found["hours"][found["hours"]["used"] == "yes"]
    if len(steps) and (steps["basis"] != "Settings").any():
        minutes = float(steps["minutes_per_log"].sum())
        off = typical("budget_spread")
        basis = "own record and Settings" if (steps["basis"] == "Settings").any() else "own record"
        mine["setup_minutes"] = (minutes, minutes * (1 - off), minutes * (1 + off), basis)
    mine["life_kg"] = _own_life(found["life_years"], found["expected"], settings, found["usual_kg"])
    return mine


def _own_life(life_years: pd.DataFrame, expected: pd.DataFrame, settings: dict, usual_kg: float):
    """Life yield of a log as the recorded seasons give it in a usual year; None without a record.

    usual_kg weighs the start and the record as the expected yield does, with the weather taken out.
    """
    yard = expected[expected["by"] == "yard"]
    due = float((life_years["log_seasons"] * life_years["planned_share"]).sum())
    weight = float(yard["own_weight"].iloc[0]) if len(yard) else math.nan
    if due <= 0 or math.isnan(weight):
        return None
    start = next(entry for entry in defaults(settings) if entry.name == "life_kg")
    value = usual_kg / due
    low, high = (value * end / start.value for end in (start.low, start.high))
    return value, low, high, f"own record by {weight:.0%}, else {start.basis}"

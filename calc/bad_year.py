"""A bad year told apart: planned and actual weight by season, what the weather did, and keep or retire.

Planned: what the published start expects of that season of life (shares 1/6, 1/3, 1/3, 1/6 of the life
yield over four seasons, RES-11; efficiency 0.044 x dry wood, Sabota 1996), for the logs that were there and
the part of the season that lies behind. What a batch has cost so far is gone whatever is decided, so keep or
retire rests on what is still to come: weight, and upkeep at the grower's own rate. A season pays while its
weight times the price is above its upkeep (go on if price covers variable cost: Washington State University,
EconS 350 notes, 2015).
"""
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from calc import results
from calc import yield_model as model
from calc.bearing import Bearing, first_day, usable
from calc.expected import Remaining, fitted_kg, range_of
from calc.yard import TINY, day_column, numbers, words

SETTING_UP = ("felled", "inoculated", "waxed", "stacked")  # work that is done once; the rest is upkeep
SET_UP_COSTS = ("spawn", "wax", "wood", "tool", "gear", "land")  # spent once or kept for years; not upkeep
KEEP, RETIRE, UNKNOWN = "keep", "retire", "cannot tell yet"
BAD, GOOD, USUAL = "a bad year", "a good year", "not told apart from a usual year"
CLOSE = "close: it likely costs more than it brings"


def planned_kg(seen: Bearing, begin: model.Start) -> np.ndarray:
    """By flat season: what the published start plans for it, kg; nothing beyond the planned life."""
    shares = np.append(model.life_shares(begin.life_seasons, begin.weights), 0.0)
    share = shares[np.minimum(seen.season, begin.life_seasons + 1) - 1]
    return seen.logs * seen.part * share * seen.log_life_kg[seen.row]


def seasons(left: Remaining) -> pd.DataFrame:
    """The table plan_actual: planned, usual and actual weight by inoculation year and calendar year.

    Usual: what the fit expects of those logs with the year's weather taken out. Years not written down have
    neither actual nor lost weight.
    """
    seen, begin = left.seen, left.begin
    if not len(seen.row):
        return results.empty("plan_actual")
    usual = fitted_kg(begin, seen, left.record, [_without_weather(fit, left) for fit in left.fits])
    table = pd.DataFrame({
        "inoculation_year": seen.inoculation_year[seen.batch[seen.row]].astype(float),
        "year": seen.year.astype(float), "season": seen.season.astype(float), "logs": seen.logs,
        "part": seen.part, "planned_kg": planned_kg(seen, begin), "usual_kg": usual, "actual_kg": seen.kg,
        "rows": (seen.kg > 0).astype(float)})
    sums = {name: "sum" for name in ("logs", "planned_kg", "usual_kg", "actual_kg", "rows")}
    found = table.groupby(["inoculation_year", "year", "season"], as_index=False)
    found = found.agg({**sums, "part": "first"})
    found = found[found["logs"] > 0]
    unwritten = ~found["year"].isin(seen.recorded)
    found.loc[unwritten, "actual_kg"] = np.nan
    found["lost_kg"] = (found["planned_kg"] - found["actual_kg"]).clip(lower=0.0)
    return found.reset_index(drop=True)[list(results.COLUMNS["plan_actual"])]


def _without_weather(fit, left):
    """The same fit with every year's weather at its mean."""
    mode = fit.mode.copy()
    mode[1:1 + model.layout(left.record).years] = 0.0
    return replace(fit, mode=mode)


def weather(left: Remaining) -> pd.DataFrame:
    """The table weather_years: what each calendar year did to every log at once, against a usual year."""
    seen = left.seen
    use = usable(seen, left.begin)
    years = np.unique(seen.year[use])
    if not len(years):
        return results.empty("weather_years")
    factor = left.draws.weather[:, seen.this_year - years]
    low, high = np.quantile(factor, [0.1, 0.9], axis=0)
    place = np.searchsorted(years, seen.year[use])
    said = np.select([high < 1.0, low > 1.0], [BAD, GOOD], USUAL)
    return pd.DataFrame({
        "year": years.astype(float), "planned_kg": np.bincount(place, planned_kg(seen, left.begin)[use]),
        "actual_kg": np.bincount(place, seen.kg[use]), "factor": factor.mean(axis=0), "low": low,
        "high": high, "words": said.astype(object),
        "rows": np.bincount(place, seen.kg[use] > 0).astype(float)})


def life_years(left: Remaining) -> pd.DataFrame:
    """The table life_years: yield by season of life over the whole yard, seasons written down only."""
    seen, begin = left.seen, left.begin
    use = np.isin(seen.year, list(seen.recorded)) & (seen.logs > 0)
    if not use.any():
        return results.empty("life_years")
    table = pd.DataFrame({
        "season": seen.season[use].astype(float), "log_seasons": (seen.logs * seen.part)[use],
        "kg": seen.kg[use], "planned_kg": planned_kg(seen, begin)[use],
        "rows": (seen.kg[use] > 0).astype(float)})
    found = table.groupby("season", as_index=False).sum()
    borne = found["log_seasons"].where(found["log_seasons"] > TINY)
    found["per_log_kg"], found["planned_per_log_kg"] = found["kg"] / borne, found["planned_kg"] / borne
    whole = found["per_log_kg"].sum()
    found["share"] = found["per_log_kg"] / whole if whole > 0 else np.nan
    shares = np.append(model.life_shares(begin.life_seasons, begin.weights), 0.0)
    found["planned_share"] = shares[np.minimum(found["season"].astype(int), begin.life_seasons + 1) - 1]
    return found[list(results.COLUMNS["life_years"])]


def upkeep(left: Remaining, views: dict, frames: dict) -> dict:
    """Upkeep for each log and season at the grower's own rate: minutes, labour, cash; NaN if none is known.

    Labour: timed events but felling, inoculating, waxing and stacking. Cash: Costs rows but spawn, wax, wood,
    tools, gear, land and rows with a life. Both over the log-seasons borne up to the as-of day, from the
    first of them on. views: cash and labour of calc.rollup_cost, by line of Costs and Events in `frames`.
    """
    cash, labour = views["cash"], views["labour"]
    bills, events = (frames.get(name, pd.DataFrame()) for name in ("costs", "events"))
    seen = left.seen
    borne = float((seen.logs * seen.part).sum())
    first = int(first_day(seen.year.min())) if len(seen.row) else 0
    work = ~labour.later & (labour.hours > 0) & ~np.isin(labour.label, SETTING_UP)
    work &= day_column(events, "date") >= first
    paid = ~cash.later & ~np.isin(words(bills, "category"), SET_UP_COSTS)
    paid &= ~(numbers(bills, "life_years", 0.0) > 0) & (day_column(bills, "date") >= first)
    known = borne > TINY

    def rate(values, mask):
        return float(values[mask].sum()) / borne if known and mask.any() else np.nan

    return {"minutes": 60.0 * rate(labour.hours, work), "labour": rate(labour.amount, work),
            "cash": rate(cash.amount, paid), "rows": int(work.sum() + paid.sum())}


def own_price(sold: pd.DataFrame) -> float:
    """Money for a kg of fresh mushrooms sold, after commission, over all priced sales; NaN if none."""
    lines = sold[(sold["product"] == "fresh") & (sold["sold_kg"] != 0) & ~sold["unpriced"]]
    weight = float(lines["sold_kg"].sum())
    return float((lines["value"] * (1.0 - lines["commission"])).sum()) / weight if weight > TINY else np.nan


def keep_or_retire(left: Remaining, each: pd.DataFrame, rates: dict, price_per_kg: float) -> pd.DataFrame:
    """The table keep_retire: by inoculation year, what is spent set aside, and whether the next season pays.

    price_per_kg: money for a kg in the grower's own sales, NaN if none. Next season: the rest of this
    calendar year, or the next one where this year's harvest usually lies behind or has not begun.
    """
    seen = left.seen
    inside = seen.batch >= 0
    if not inside.any():
        return results.empty("keep_retire")
    spent = (each["cash"] + each["labour"]).to_numpy()
    known_rates = [rates[name] for name in ("labour", "cash") if not np.isnan(rates[name])]
    season_cost = sum(known_rates) if known_rates else np.nan
    rows = []
    for year in np.unique(seen.inoculation_year):
        mine = np.flatnonzero(inside & (seen.inoculation_year[seen.batch] == year))
        gone = float(spent[mine].sum())
        rows.append(_one_year(left, mine, int(year), gone, rates, season_cost, price_per_kg))
    return pd.DataFrame(rows, columns=list(results.COLUMNS["keep_retire"]))


def seasons_to_come(begin: model.Start, now: int, passed: float) -> float:
    """Seasons of the planned life that a log still has before it, the rest of this one as a part."""
    if now < 1:
        return float(begin.life_seasons)
    return max(begin.life_seasons - now + 1.0 - passed, 0.0)


def _one_year(left, mine, year, spent, rates, season_cost, price):
    seen, begin = left.seen, left.begin
    logs = float(seen.alive[mine].sum())
    weight = np.bincount(seen.batch[mine], (seen.alive * seen.log_life_kg * left.factor)[mine],
                         minlength=len(left.record.pair))
    to_come = left.draws.to_come @ weight
    now = seen.this_year - year
    ahead = now < 1 or 1.0 - seen.passed < TINY
    season_kg = (left.draws.next_year if ahead else left.draws.this_year) @ weight
    part = 1.0 if ahead else 1.0 - seen.passed
    low, high = range_of(np.column_stack((to_come, season_kg)), begin)
    cost = logs * season_cost * max(seasons_to_come(begin, now, seen.passed), part)
    season_bill = logs * season_cost * part
    mean = float(to_come.mean())
    said = decide(logs, float(season_kg.mean()), low[1], high[1], season_bill, price)
    return (str(year), logs, spent, mean, low[0], high[0], rates["minutes"], season_cost, cost,
            cost / mean if mean > TINY else np.nan, float(season_kg.mean()), season_bill, price, said,
            float(rates["rows"]))


def decide(logs, season_kg, low_kg, high_kg, season_cost, price):
    """Keep or retire in words: the coming season's weight at the own price against its upkeep."""
    if logs <= 0:
        return "none left"
    if np.isnan(season_cost) and np.isnan(price):
        return f"{UNKNOWN}: no upkeep and no sale is written down"
    if np.isnan(season_cost):
        return f"{UNKNOWN}: no upkeep is written down"
    if np.isnan(price):
        return f"{UNKNOWN}: no sale is written down; a season must bring {season_cost:,.2f}"
    if low_kg * price > season_cost:
        return KEEP
    if high_kg * price < season_cost:
        return RETIRE
    return f"{KEEP}, but it may not pay" if season_kg * price > season_cost else CLOSE

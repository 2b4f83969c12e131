"""A bad year told apart: planned and actual weight by season, what the weather did, and keep or retire.

Planned: what the published start expects of that season of life (shares 1/6, 1/3, 1/3, 1/6 of the life
yield over four seasons, RES-11; efficiency 0.044 x dry wood, Sabota 1996), for the logs that were there and
the part of the season that lies behind. What a batch has cost so far is gone whatever is decided, so keep or
retire rests on what is still to come: weight at the own price against upkeep at the own rate (go on if price
covers variable cost: Washington State University, EconS 350 notes, 2015).
"""
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from calc import results
from calc import yield_model as model
from calc.bearing import FAR_YEAR, Bearing, usable
from calc.codes import distinct
from calc.expected import Remaining, fitted_kg, range_of
from calc.yard import TINY, Yard, day_column, numbers, words

SETTING_UP = ("felled", "inoculated", "waxed", "stacked")  # work that is done once; the rest is upkeep
SET_UP_COSTS = ("spawn", "wax", "wood", "tool", "gear", "land")  # spent once or kept for years; not upkeep
YEAR_DAYS = 365.25
KEEP, RETIRE, UNKNOWN = "keep", "retire", "cannot tell yet"
LIKELY = "keep: it likely pays"
BAD, GOOD, USUAL = "a bad year", "a good year", "not told apart from a usual year"
CLOSE = "close: it likely brings less than its upkeep"
CASH_ONLY = "pays its cash, not your hours"
ORDER = (RETIRE, CASH_ONLY, CLOSE, LIKELY, KEEP)  # from worst to best


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
    inoculated = seen.inoculation_year[seen.batch[seen.row]]
    keys, place = distinct(inoculated * FAR_YEAR + seen.year)
    one = np.zeros(len(keys), dtype=np.int64)
    one[place[::-1]] = np.arange(len(place))[::-1]  # the first of each
    sums = {name: np.bincount(place, weights=values, minlength=len(keys)) for name, values in (
        ("logs", seen.logs), ("planned_kg", planned_kg(seen, begin)), ("usual_kg", usual), ("actual_kg", seen.kg), ("rows", seen.kg > 0))}
    table = {"inoculation_year": (keys // FAR_YEAR).astype(float), "year": (keys % FAR_YEAR).astype(float),
             "season": seen.season[one].astype(float), "part": seen.part[one], **sums}
    table["actual_kg"] = np.where(np.isin(keys % FAR_YEAR, list(seen.recorded)), sums["actual_kg"], np.nan)
    table["lost_kg"] = np.maximum(table["planned_kg"] - table["actual_kg"], 0.0)
    there = sums["logs"] > 0
    return pd.DataFrame({name: table[name][there] for name in results.COLUMNS["plan_actual"]})


def _without_weather(fit, left):
    """The same fit with every year's weather at its mean."""
    mode = fit.mode.copy()
    mode[1:1 + model.layout(left.record).years] = 0.0
    return replace(fit, mode=mode)


def weather(left: Remaining) -> pd.DataFrame:
    """The table weather_years: what each calendar year did to every log at once, against a usual year."""
    seen = left.seen
    use = usable(seen, left.begin)
    years, place = distinct(seen.year[use])
    if not len(years):
        return results.empty("weather_years")
    factor = left.draws.weather[:, seen.this_year - years]
    low, high = np.quantile(factor, [0.1, 0.9], axis=0)
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
    season, place = distinct(seen.season[use])
    found = {name: np.bincount(place, weights=values[use]) for name, values in (
        ("log_seasons", seen.logs * seen.part), ("kg", seen.kg), ("planned_kg", planned_kg(seen, begin)), ("rows", seen.kg > 0))}
    borne = np.where(found["log_seasons"] > TINY, found["log_seasons"], np.nan)
    found["per_log_kg"], found["planned_per_log_kg"] = found["kg"] / borne, found["planned_kg"] / borne
    whole = np.nansum(found["per_log_kg"])
    found["share"] = found["per_log_kg"] / whole if whole > 0 else np.full(len(season), np.nan)
    shares = np.append(model.life_shares(begin.life_seasons, begin.weights), 0.0)
    found |= {"season": season.astype(float), "planned_share": shares[np.minimum(season, begin.life_seasons + 1) - 1]}
    return pd.DataFrame({name: found[name] for name in results.COLUMNS["life_years"]})


def upkeep(left: Remaining, yard: Yard, views: dict, frames: dict) -> dict:
    """Upkeep for each log and year at the grower's own rate: minutes, labour, cash; NaN if none is known.

    Labour: timed events but felling, inoculating, waxing and stacking; picking is upkeep. Cash: Costs rows
    but spawn, wax, wood, tools, gear, land and rows with a life. Both over the years all logs have stood
    since they were inoculated. views: cash and labour of calc.rollup_cost, by line of Costs and Events in
    `frames`.
    """
    cash, labour = views["cash"], views["labour"]
    bills = frames.get("costs", pd.DataFrame())
    years, first = log_years(yard)
    young = yard.as_of - first < YEAR_DAYS  # a few weeks say nothing about a year
    code, kinds = labour.labels
    work = ~labour.later & (labour.hours > 0) & ~np.isin(kinds, SETTING_UP)[code]
    work &= day_column(frames.get("events", pd.DataFrame()), "date") >= first
    paid = ~cash.later & ~np.isin(words(bills, "category"), SET_UP_COSTS)
    paid &= ~(numbers(bills, "life_years", 0.0) > 0) & (day_column(bills, "date") >= first)

    def rate(values, mask):
        return float(values[mask].sum()) / years if years > TINY and mask.any() and not young else np.nan

    helped = ~labour.later & (labour.hours > 0) & (labour.amount == 0)  # hours that stand on Costs as money
    hired = float(labour.hours[helped].sum())
    share = float(labour.hours[helped & work].sum()) / hired if hired > 0 else 1.0  # the rest of them set up logs
    bill = np.where(words(bills, "category") == "help", share, 1.0) * cash.amount
    return {"minutes": 60.0 * rate(np.where(helped, 0.0, labour.hours), work), "labour": rate(labour.amount, work),
            "cash": rate(bill, paid), "rows": int(work.sum() + paid.sum())}


def log_years(yard: Yard):
    """(years that logs have stood in the yard since they were inoculated, first day of inoculation)."""
    known = yard.is_inoculated()
    if not known.any():
        return 0.0, 0
    stood = float((yard.count * (yard.as_of - yard.inoculated))[known].sum())
    gone = known[yard.exit_log]
    after = yard.as_of - np.maximum(yard.exit_day, yard.inoculated[yard.exit_log])[gone]
    stood -= float((yard.exit_take[gone] * after).sum())
    return stood / YEAR_DAYS, int(yard.inoculated[known].min())


def keep_or_retire(left: Remaining, each: pd.DataFrame, rates: dict, price_per_kg: float) -> pd.DataFrame:
    """The table keep_retire: by inoculation year, what is spent set aside, and whether the rest pays.

    price_per_kg: what a kg brings in the grower's own sales after all that is taken or unsold, NaN if none.
    Looked at twice: up to the end of the next calendar year, and over the planned life; the better of the two
    counts, for young logs have their best seasons still before them.
    """
    seen = left.seen
    inside = seen.batch >= 0
    if not inside.any():
        return results.empty("keep_retire")
    spent = (each["cash"] + each["labour"]).to_numpy()
    rows = []
    for year in np.unique(seen.inoculation_year):
        mine = np.flatnonzero(inside & (seen.inoculation_year[seen.batch] == year))
        rows.append(_one_year(left, mine, int(year), float(spent[mine].sum()), rates, price_per_kg))
    return pd.DataFrame(rows, columns=list(results.COLUMNS["keep_retire"]))


def years_to_come(life_seasons: int, season: int, gone: float) -> float:
    """Years of upkeep up to the end of the planned life, or of next year if that is later.

    season: of life in this calendar year, 0 in the year of inoculation; gone: part of this year gone by.

    >>> years_to_come(4, 2, 0.5)
    2.5
    """
    return max(life_seasons - season + 1, 2) - gone


def _one_year(left, mine, year, spent, rates, price):
    seen = left.seen
    logs = float(seen.alive[mine].sum())
    weight = np.bincount(seen.batch[mine], (seen.alive * seen.log_life_kg * left.factor)[mine],
                         minlength=len(left.record.pair))
    to_come = left.draws.to_come @ weight
    soon = (left.draws.this_year + left.draws.next_year) @ weight
    low, high = range_of(np.column_stack((to_come, soon)), left.begin)
    mean = (float(to_come.mean()), float(soon.mean()))
    years = (years_to_come(left.begin.life_seasons, seen.this_year - year, seen.gone), 2.0 - seen.gone)
    known = [rates[name] for name in ("labour", "cash") if not np.isnan(rates[name])]
    each_year = sum(known) if known else np.nan
    cost = [logs * each_year * span for span in years]
    bills = [logs * np.nan_to_num(rates["cash"]) * span for span in years]
    said = decide(logs, list(zip(mean, low, high, cost, bills, strict=True)), price)
    return (str(year), logs, spent, mean[0], low[0], high[0], rates["minutes"], rates["cash"], each_year,
            cost[0], cost[0] / mean[0] if mean[0] > TINY else np.nan, mean[1], cost[1], price, said,
            float(rates["rows"]))


def decide(logs, spans, price):
    """Keep or retire in words. spans: (mean, low, high weight, upkeep, its cash part) of each look ahead."""
    if logs <= 0:
        return "none left"
    if np.isnan(spans[0][3]):
        return f"{UNKNOWN}: no upkeep is written down"
    if np.isnan(price):
        return f"{UNKNOWN}: no fresh sale with a price is written down"
    return max((_pays(*span, price) for span in spans), key=ORDER.index)


def _pays(mean, low, high, cost, bills, price):
    if low * price > cost:
        return KEEP
    if mean * price > cost:
        return LIKELY
    if high * price > cost:
        return CLOSE
    return CASH_ONLY if mean * price > bills else RETIRE

"""The whole refresh without any file: checked tables in, result tables out."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from calc import (
    answers,
    bad_year,
    balances,
    budget,
    contrasts,
    deadlines,
    dried,
    expected,
    flows,
    log_season,
    market_side,
    plan_inputs,
    prices,
    results,
    rollup_capital,
    rollup_cost,
    rollup_months,
    rollup_views,
    rollup_yield,
    rota_plan,
    season_state,
    season_weeks,
    shopping,
    supply,
    this_week,
)
from calc.codes import text
from calc.consignment import losses
from calc.ledger import CONSIGNMENT, ledger
from calc.results import Results
from calc.sizes import sizes
from calc.yard import as_typed, build, diary, numbers, text_codes

NO_LOGS = pd.DataFrame({"log": pd.Series(dtype=object)})


def roll_up(frames: dict, links: dict, settings: dict, as_of: dt.date, counts: dict | None = None) -> Results:
    """Every result table as of one day.

    frames: the checked tables in SI (calc.records.Intake.frames), and under "plan" rows like those of Logs
    that are only planned; a missing table counts as empty. links: event_links (event, log) and cost_links
    (cost, log), by position. settings: the keys of the Settings sheet in SI (weights kg, spacings and coat
    m, wax_density kg/m3, shares as fractions, wage money an hour, drill_minutes and setup_minutes a log),
    and weight_unit_kg, the kg in one unit of the pack sizes sold by weight. counts: table -> (rows typed,
    rows used), for the answer on how much of the record was read.

    Lines dated after as_of are as if not yet written, but for money, which is shown as not yet charged.
    """
    frames = {"logs": NO_LOGS, **frames}
    day = int(np.datetime64(as_of, "D").astype(np.int64))
    book = diary(frames, links, day)
    yard = build(frames, book)
    known = sizes(frames["logs"], frames, settings)
    found = rollup_yield.parts(book, yard)
    views = {"cash": rollup_cost.cash(frames, links, yard),
             "labour": rollup_cost.labour(frames, book, yard, settings["wage"])}
    owned = rollup_capital.capital(frames, links, yard, settings)
    gave = rollup_yield.each_log_yield(found, book, yard, known)
    each = each_log(frames["logs"], yard, known, gave, views, owned)
    sold = ledger(frames, day)
    grouped = rollup_yield.groupings(each)
    needs, unfelled = shopping.needs(frames, settings, yard, known)
    to_buy, packs = shopping.shopping(frames, settings, needs)
    slack = settings["balance_slack"]
    left = expected.remaining(found, yard, each, settings)
    upkeep = bad_year.upkeep(left, yard, views, frames)
    expected_logs = expected.each_row(left, each)
    ahead = rollup_views.ahead(owned, yard, left, expected_logs, upkeep)
    lost = rollup_views.uncharged(float((found.picked - found.culled)[found.log < 0].sum()), views, owned)
    cost_views = rollup_views.cost_views(each, grouped, frames["logs"], lost, ahead)
    dryings = dried.events(book)
    dried_stock = dried.stock(dryings, sold, day)
    missing = losses(sold[sold["terms"] == CONSIGNMENT])
    breakeven = prices.breakeven(sold, missing, rollup_views.whole_yard(cost_views), dried.own_ratio(dryings))
    keep = bad_year.keep_or_retire(left, each, upkeep, flows.income_per_kg(breakeven))
    hours = shopping.hours(book, yard, settings, needs, unfelled)
    still, life_years = expected.groups(left), bad_year.life_years(left)
    plan_actual = bad_year.seasons(left)
    soaks = rota_plan.plan(season_state.state(frames, book, yard, each, settings), settings)
    season = {"log_season": log_season.table(soaks), "soak_calendar": rota_plan.calendar(soaks)}
    strip, year = season_weeks.every_table(soaks, season["log_season"], each, settings)
    week = this_week.every_table(frames, book, yard, known, settings, {**season, "keep_retire": keep})
    known = {"making": rollup_cost.in_logs(frames, links, yard, plan_inputs.MAKING),
             "usual_kg": float(plan_actual.loc[plan_actual["actual_kg"].notna(), "usual_kg"].sum()),
             "breakeven": breakeven, "life_years": life_years, "expected": still, "hours": hours,
             "each_log": each, "upkeep": upkeep, "tools": rollup_capital.yearly(owned.items, day),
             "keep_retire": keep, "as_of": day}
    own = plan_inputs.own(known, sold, settings)
    plan = plan_inputs.inputs(settings, own)
    coming = supply.supply(soaks, book, yard, found, left, frames, settings)
    out = Results(
        as_of=as_of, each_log=each, groups=rollup_yield.groups(each, grouped, found, book, views),
        months=rollup_months.months(frames, book, found, sold, views["labour"].hours),
        months_by_strain=rollup_months.months_by_strain(frames, day, found, grouped["strain"]),
        seasons=rollup_months.seasons(found, each, grouped["inoculation year"]),
        costs=rollup_cost.by_category(views), reconciliation=rollup_cost.reconcile(views),
        unallocated=rollup_yield.unallocated(found), shopping=to_buy, packs=packs,
        hours=hours, expected=still, expected_logs=expected_logs,
        contrasts=contrasts.contrasts(left.seen, left.begin),
        plan_actual=plan_actual, weather_years=bad_year.weather(left),
        life_years=life_years,
        keep_retire=keep, cost_views=cost_views,
        capital_items=rollup_capital.item_table(owned, frames, day),
        capital_reconciliation=rollup_capital.reconcile(owned, views["labour"], day),
        breakeven=breakeven, dried_events=dryings, dried_stock=dried_stock,
        **market_side.every_table(frames, {"book": book, "sold": sold, "missing": missing, "breakeven": breakeven, "dried_stock": dried_stock,
                                           "ratio": dried.own_ratio(dryings), "labour_amount": views["labour"].amount, "supply": coming}, settings),
        **budget.every_table(plan),
        **flows.every_table(frames, sold, missing, views["labour"].amount, owned, left, known, settings, plan),
        **season, supply=coming,
        **week, **strip, **deadlines.every_table(frames, book, yard, hours, year, plan["upkeep_minutes"].value, settings),
        balances=[balances.logs(yard), balances.fresh_weight(book, sold, slack),
                  balances.dried_weight(book, sold, numbers(book.frame, "dried_out_kg", 0.0), slack),
                  *balances.money(sold, missing, day)],
    )
    out.answers = answers.answers(out, counts or {})
    return out


def each_log(logs: pd.DataFrame, yard, known: pd.DataFrame, gave: pd.DataFrame, views: dict,
             owned) -> pd.DataFrame:
    """The table Each log: what a row is, what it gave, what it cost."""
    cash, labour = views["cash"].by_log, views["labour"].by_log
    running, capital = owned.running.by_log, owned.running.by_log + labour + owned.ownership
    weight = np.where(gave["marketable_kg"] > 0, gave["marketable_kg"], np.nan)
    table = {
        **gave, "row": numbers(logs, "row"), "count": yard.count, "cash": cash, "labour": labour, "log": as_typed(logs, "log"),
        "labour_hours": views["labour"].hours_by_log, "cash_per_kg": np.where(cash > 0, cash / weight, np.nan),
        "cash_labour_per_kg": np.where(cash + labour > 0, (cash + labour) / weight, np.nan), "running": running,
        "ownership": owned.ownership, "capital": capital, "capital_per_kg": np.where(capital > 0, capital / weight, np.nan),
        **{name: _text(logs, name) for name in ("wood", "strain", "place")},
        **{name: known[name].array for name in ("volume_m3", "green_kg", "dry_wood_kg", "holes")}}
    return pd.DataFrame({name: table[name] for name in results.COLUMNS["each_log"]})


def _text(logs: pd.DataFrame, name: str):
    """A text column of few different words."""
    code, known = text_codes(logs, name)
    return text(known, code)

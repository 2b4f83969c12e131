"""The short answers for Start, in reading order: value, range, what was assumed, what it rests on."""
from __future__ import annotations

import math

import pandas as pd

from calc import flows, rollup_views
from calc.keep_fresh import PAST
from calc.prices import ALL
from calc.promises import OVER
from calc.results import NO_LOG, Answer, Results
from calc.rollup_cost import HALF_A_CENT
from calc.rollup_yield import FEWEST_FOR_RANGE
from calc.shopping import WAITING

FIRST_LINES = 3  # of This week on Start

WEEKS_NAMED = 3  # weeks named in an answer


def answers(found: Results, counts: dict) -> list[Answer]:
    """Answers from finished result tables; `counts`: table -> (rows typed, rows used)."""
    whole = found.groups[found.groups["by"] == "yard"]
    yard = whole.iloc[0] if len(whole) else None
    every = (*_week(found), *_yield(found, yard), *_cost(found), *_pays(found), *_money(found), *_market(found), _next_to_buy(found), _read(counts))
    return [answer for answer in every if answer is not None]


def _week(found: Results):
    """The first lines of This week, and how long it has been dry."""
    first = found.this_week.head(FIRST_LINES)
    columns = [first[name].tolist() for name in ("what", "logs", "place", "words", "rule", "rows")]
    for number, (what, logs, place, words, rule, rows) in enumerate(zip(*columns, strict=True), start=1):
        where = f"{logs}, {place}" if place else logs
        yield Answer(f"week_{number}", "First this week" if number == 1 else "Then" if number == 2 else "And then", math.nan, "text",
                     text=f"{what}: {where}. {words}", assumed=f"rule: {rule}", rows=int(rows))
    if len(found.water_weeks):
        yield Answer("days_dry", "Days since rain or water", found.days_dry, "whole", rows=int(found.water_weeks["rows"].sum()),
                     assumed="as written on Events; dry days need no line")


def _yield(found: Results, yard):
    if yard is None:
        return
    logs = len(found.each_log)
    yield Answer("logs_alive", "Logs in the yard", float(yard["alive"]), "logs", rows=logs,
                 assumed="rows without a Count hold one log")
    yield Answer("picked", "Picked so far", float(yard["picked_kg"]), "weight", rows=int(yard["rows"]))
    ranged = not math.isnan(yard["low_kg"])
    yield Answer("per_log", "Marketable weight for each log inoculated or bearing", float(yard["per_log_kg"]), "weight",
                 low=float(yard["low_kg"]), high=float(yard["high_kg"]), rows=int(yard["rows"]),
                 assumed="range: 8 in 10 of the logs picked one by one" if ranged else
                 f"no range: fewer than {FEWEST_FOR_RANGE} logs were picked one by one")
    yield _best(found.groups)


def _best(groups: pd.DataFrame):
    """The strain on wood with the most marketable weight for each log."""
    pairs = groups[(groups["by"] == "strain x wood") & (groups["group"] != NO_LOG)
                   & (groups["picked_kg"] > 0) & groups["per_log_kg"].notna()]
    if not len(pairs):
        return None
    best = pairs.loc[pairs["per_log_kg"].idxmax()]
    return Answer("best_pair", "Strain and wood that gave most for each log", float(best["per_log_kg"]),
                  "weight", text=best["group"], low=float(best["low_kg"]), high=float(best["high_kg"]),
                  rows=int(best["rows"]), assumed=f"of {len(pairs)} picked so far; ages are not made equal")


def _lines(found: Results) -> tuple[int, int]:
    """Lines of Costs, and timed lines of Events, that the cost rests on."""
    view, rows = found.costs["view"].to_numpy(), found.costs["rows"].to_numpy()
    return int(rows[view == "cash"].sum()), int(rows[view == "labour"].sum())


def _cost(found: Results):
    """Cost of a weight in three views, so far; and over the expected life."""
    yard = rollup_views.whole_yard(found.cost_views)
    if yard is None:
        return
    cash, timed = _lines(found)
    picked = int(found.groups.loc[found.groups["by"] == "yard", "rows"].sum())
    rest = "all spent so far over all picked so far; young logs make it look high"
    for key, question, name, rows, more in (
            ("cash_per_weight", "Cash cost of the marketable weight", "cash_per_kg", cash, ""),
            ("cash_labour_per_weight", "Cash and labour cost of the marketable weight", "labour_per_kg", cash + timed,
             "; only timed work is in it"),
            ("capital_per_weight", "The same, with what lasts charged over its life", "capital_per_kg", cash + timed,
             "; tools by the year and not in full")):
        yield Answer(key, question, float(yard[name]), "money per weight", rows=rows + picked, assumed=rest + more)
    yield Answer("life_per_weight", "Cash and labour cost over the expected life", float(yard["labour_life_per_kg"]), "money per weight",
                 rows=cash + timed + picked, assumed="what is still to come is added: weight as on Yield, upkeep by your own record")


def _pays(found: Results):
    """Break-even price where most is sold, and the first years in profit of the yard and of the plan."""
    markets = found.breakeven[(found.breakeven["product"] == "fresh") & (found.breakeven["market"] != ALL)]
    if len(markets):
        most = markets.loc[markets["sold_kg"].idxmax()]
        floors = [float(most[f"floor_{view}"]) for view in ("cash", "labour", "capital")]
        known = [floor for floor in floors if not math.isnan(floor)]
        yield Answer("breakeven", "Break-even price with labour, where most is sold", floors[1], "money per weight", text=str(most["market"]),
                     low=min(known, default=math.nan), high=max(known, default=math.nan), rows=int(most["rows"]),
                     assumed="low and high: the lowest and highest of the three views")
    flow = found.yard_flow
    if len(flow) and flow[["spent", "labour", "sold"]].abs().to_numpy().any():
        cash, whole = (flows.yard_profit(flow, net) for net in ("net_cash", "net"))
        labour = "with labour: none of the years shown" if math.isnan(whole) else f"with labour: {whole:.0f}"
        yield Answer("yard_profit", "First year in profit of the yard, in cash", cash, "year",
                     text=f"{labour}; {_back(found)}" if not math.isnan(cash) else "none of the years shown", rows=len(flow),
                     assumed="years to come by what is expected, no new logs")
    plan = found.budget_summary
    chance = dict(zip(plan["view"], plan["chance"], strict=True))["full"]
    profit = dict(zip(plan["view"], plan["first_profit_year"], strict=True))
    year, full = float(profit["cash"]), float(profit["full"])
    labour = "with all costs: no year of the plan" if math.isnan(full) else f"with all costs: year {full:.0f}"
    yield Answer("plan_profit", "Year of the plan on Budget first in profit, in cash", year, "year",
                 text=labour if not math.isnan(year) else "no year of the plan", rows=len(found.budget_inputs),
                 assumed=f"chance that all is back by its end, all costs counted: {chance:.0%}; its figures stand on Budget")


def _money(found: Results):
    cash_lines, labour_lines = _lines(found)
    views = found.reconciliation
    spent = (views["spent"] - views["dated_later"])[views["view"] == "cash"]
    yield Answer("spent", "Money spent", float(spent.iloc[0]), "money", rows=cash_lines)
    yield _uncharged(found.reconciliation, cash_lines + labour_lines)
    owing = [b for b in found.balances if b.name == "money"]
    owed = sum(dict(b.lines)["owed"] for b in owing)
    debtors = ", ".join(b.market for b in owing if dict(b.lines)["owed"] > 0)
    yield Answer("owed", "Owed by markets", float(owed), "money", text=debtors,
                 rows=sum(b.rows for b in owing),
                 assumed="lines without a price count as 0" if any("no price" in note for b in owing for note in b.notes) else "")
    worked = found.costs[found.costs["view"] == "labour"]
    yield Answer("hours", "Hours worked", float(worked["hours"].sum()), "hours", rows=labour_lines,
                 assumed="only lines with Minutes")


def _market(found: Results):
    """Fresh on hand with what to do first; and weeks in which more is promised than there will be. Only where there is any."""
    fresh = found.keeping[found.keeping["use"] != PAST]
    if len(fresh):
        parts = [f"{use}: {', '.join(dict.fromkeys(part['where']))}" for use, part in fresh.groupby("use", sort=False)]
        yield Answer("fresh_now", "Fresh on hand to sell, dry or hold", float(fresh["kg"].sum()), "weight", text="; ".join(parts), rows=len(fresh),
                     assumed="see Keeping")
    over = found.promise_weeks[found.promise_weeks["words"] == OVER]
    if len(over):
        weeks = ", ".join(f"{week.day} {week:%b}" for week in over["week"].iloc[:WEEKS_NAMED]) + (" and later" if len(over) > WEEKS_NAMED else "")
        yield Answer("over_promised", "Promised beyond what can be promised, in all", float(-over["free_kg"].sum()), "weight",
                     text=f"week of {weeks}", rows=int(over["rows"].sum()), assumed="one pool for all markets: see Partner")


def _uncharged(views: pd.DataFrame, lines: int):
    """Money and hours that no log carries, and why; None where every line has its log."""
    reasons = {"no_log_yet": "shared, but no log was in the yard then and none has come since",
               "no_log_known": "a log is named that is not on Logs"}
    parts = {why: float(views[name].sum()) for name, why in reasons.items() if abs(views[name].sum()) >= HALF_A_CENT}
    if not parts:
        return None
    return Answer("not_charged", "Money and hours that no log carries", sum(parts.values()), "money", text="; ".join(parts),
                  rows=lines, assumed="in the cost of the yard, in no group")


def _back(found: Results) -> str:
    """When all cash put into the yard is back."""
    table = found.flow_summary
    year = float(table["payback_year"][(table["what"] == flows.YARD) & (table["view"] == "cash")].iloc[0])
    return "not all put in comes back" if math.isnan(year) else f"all put in is back in {year:.0f}"


def _next_to_buy(found: Results):
    """The packs for the logs still to be inoculated."""
    need = found.shopping[(found.shopping["buy"] != "") & (found.shopping["purpose"] == WAITING)]
    if not len(need):
        return None
    words = "; ".join(f"{row.form}: {row.buy}" for row in need.itertuples())
    cost = float(need["cost"].sum()) if need["cost"].notna().all() else math.nan
    return Answer("next_to_buy", "Spawn to buy for the logs still to inoculate", cost, "money", text=words,
                  rows=len(need), assumed="spares as on Settings" if not math.isnan(cost) else
                  "spares as on Settings; a pack price is missing on Lists")


def _read(counts: dict):
    """How much of the record was read."""
    if not counts:
        return None
    typed, used = (sum(pair[i] for pair in counts.values()) for i in (0, 1))
    short = {table: pair for table, pair in counts.items() if pair[0] != pair[1]}
    text = ", ".join(f"{table} {pair[1]} of {pair[0]}" for table, pair in short.items())
    return Answer("rows_used", "Rows used of those typed", used / typed if typed else math.nan, "share",
                  text=text, rows=int(typed))

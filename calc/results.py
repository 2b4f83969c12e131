"""What a refresh hands back: result tables with documented columns, balances and the short answers.

SI inside: kg, m3, hours, money plain, shares 0-1; dates are datetime64. A number that cannot be known is NaN,
never 0. `COLUMNS` names every column of every table in order, with its kind (which unit a sheet shows it in)
and its meaning.
"""
from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import pandas as pd

from calc.results_market import MARKET_COLUMNS
from calc.results_money import MONEY_COLUMNS
from calc.results_season import SEASON_COLUMNS
from calc.results_strip import STRIP_COLUMNS
from calc.results_week import WEEK_COLUMNS

# Kinds a column or an answer may have. Weights in kg, volumes in m3, rain in m, money per kg; the sheet turns them into
# its own unit by the quantity behind the kind.
KINDS = ("text", "whole", "logs", "date", "year", "months", "weight", "volume", "share", "money",
         "money per weight", "hours", "minutes", "pieces", "rain")

NO_LOG = "(no log known)"  # group of weights and costs that no known log carries
NOT_GIVEN = "(not given)"  # wood or strain left blank
NOT_YET = "(not yet inoculated)"

_YIELD = {
    "picked_kg": ("weight", "fresh weight picked"),
    "culled_kg": ("weight", "thrown out of what was picked"),
    "marketable_kg": ("weight", "picked less culled"),
}
_COST = {
    "cash": ("money", "money spent on it: Costs rows"),
    "labour_hours": ("hours", "hours worked on it, every helper's"),
    "labour": ("money", "hours at their wage; helpers paid through Costs cost nothing here"),
}
COLUMNS = {
    "each_log": {
        "row": ("whole", "row on the Logs sheet"),
        "log": ("text", "name of the log or group"),
        "wood": ("text", "wood"),
        "strain": ("text", "strain"),
        "place": ("text", "place"),
        "count": ("logs", "logs in the row"),
        "inoculated": ("date", "date on Logs, else of the first inoculated event naming it"),
        "age_months": ("months", "months of 30.4375 days since inoculation"),
        "inoculation_year": ("year", "calendar year of inoculation; NaN until then"),
        "alive": ("logs", "in the yard on that day: felled or inoculated, and not yet gone"),
        "retired": ("logs", "retired"),
        "lost": ("logs", "lost"),
        "sold_as_log": ("logs", "sold as logs"),
        "volume_m3": ("volume", "each log, over bark"),
        "green_kg": ("weight", "each log, fresh, with bark"),
        "dry_wood_kg": ("weight", "each log, oven-dry wood without bark"),
        "holes": ("whole", "holes in each log"),
        **_YIELD,
        "per_log_kg": ("weight", "marketable weight for each log of the row"),
        "flushes": ("whole", "picking bouts: picks more than 14 days apart start a new one"),
        "per_flush_kg": ("weight", "marketable weight of one log in one of these bouts; NaN before the first"),
        "first_pick": ("date", "first day with a weight picked"),
        "last_pick": ("date", "last day with a weight picked"),
        "soaks": ("whole", "soaked events naming it"),
        "efficiency": ("share", "biological efficiency: picked fresh / dry wood of all logs of the row"),
        **_COST,
        "cash_per_kg": ("money per weight", "cash / marketable weight; NaN while it is 0"),
        "cash_labour_per_kg": ("money per weight", "cash and labour / marketable weight; NaN while it is 0"),
        "running": ("money", "cash without the Costs rows that have a life"),
        "ownership": ("money", "charges so far of those rows, shared by the logs in the yard each day"),
        "capital": ("money", "capital view: running, labour and ownership"),
        "capital_per_kg": ("money per weight", "capital view / marketable weight; NaN while it is 0"),
        "rows": ("whole", "picked and culled lines it rests on"),
    },
    # Each `by` adds up to the whole yard. What no known log carries stands under NO_LOG.
    "groups": {
        "by": ("text", "strain, wood, strain x wood, inoculation year, or yard"),
        "group": ("text", "name of the group"),
        "logs": ("logs", "logs inoculated so far"),
        "waiting": ("logs", "logs not yet inoculated"),
        "alive": ("logs", "in the yard on that day"),
        "bearing": ("logs", "logs of rows that have been picked"),
        **_YIELD,
        "per_log_kg": ("weight", "marketable weight for each log inoculated or bearing"),
        "low_kg": ("weight", "10th percentile over logs picked by themselves; NaN under 5 of them"),
        "high_kg": ("weight", "90th percentile, likewise"),
        "efficiency": ("share", "sum picked / sum of dry wood, over inoculated rows of known dry weight"),
        "per_flush_kg": ("weight", "marketable weight of one log in one picking bout; NaN before the first"),
        **_COST,
        "total": ("money", "cash and labour"),
        "cash_per_kg": ("money per weight", "cash / marketable weight; NaN where nothing was spent or picked"),
        "cash_labour_per_kg": ("money per weight", "cash and labour / marketable weight"),
        "rows": ("whole", "picked and culled lines it rests on"),
    },
    # From the first event, sale or cost to the as-of day, months without anything as 0.
    "months": {
        "month": ("date", "first day of the month"),
        "picked_kg": ("weight", "fresh weight picked"),
        "culled_kg": ("weight", "thrown out; spread over picks, it stands in the month of the pick"),
        "dryer_kg": ("weight", "fresh weight into the dryer"),
        "sold_fresh_kg": ("weight", "fresh: sold, and delivered less returned where a market buys outright"),
        "sold_dried_kg": ("weight", "dried, likewise"),
        "sales": ("money", "value of what was sold, before commission"),
        "spent": ("money", "Costs rows of the month"),
        "hours": ("hours", "hours worked"),
    },
    "months_by_strain": {
        "month": ("date", "first day of the month"),
        "strain": ("text", "strain; every strain has every month"),
        "picked_kg": ("weight", "fresh weight picked"),
        "culled_kg": ("weight", "thrown out, as in months"),
    },
    "seasons": {
        "year": ("year", "calendar year of the picks"),
        "inoculation_year": ("text", "year of inoculation, as text"),
        "logs": ("logs", "logs inoculated in that year"),
        "picked_kg": ("weight", "picked in the year"),
        "culled_kg": ("weight", "thrown out of it"),
        "per_log_kg": ("weight", "marketable weight for each of those logs"),
    },
    "costs": {
        "view": ("text", "cash or labour"),
        "category": ("text", "category of the Costs row; kind of event for labour"),
        "amount": ("money", "money, up to the as-of day"),
        "hours": ("hours", "hours worked; NaN for cash"),
        "share": ("share", "part of the view's amount"),
        "rows": ("whole", "lines it rests on"),
    },
    "reconciliation": {
        "view": ("text", "cash or labour"),
        "spent": ("money", "all lines, also those dated after the as-of day"),
        "charged": ("money", "sum over Each log"),
        "not_yet_charged": ("money", "the next three together"),
        "dated_later": ("money", "dated after the as-of day"),
        "no_log_yet": ("money", "shared, but no log was in the yard then and none has been inoculated since"),
        "no_log_known": ("money", "names a log that is not on Logs"),
        "difference": ("money", "spent - charged - not yet charged: 0, to a millionth"),
    },
    **MONEY_COLUMNS,
    **SEASON_COLUMNS,
    **MARKET_COLUMNS,
    **WEEK_COLUMNS,
    **STRIP_COLUMNS,
    "unallocated": {
        "what": ("text", "picked or culled"),
        "weight_kg": ("weight", "weight that no known log carries"),
        "rows": ("whole", "lines it stands on"),
        "why": ("text", "why no log carries it"),
    },
    # One row a spawn form; `need` holds spares and is in pieces (whole) or kg as `need_kind` says.
    "shopping": {
        "purpose": ("text", "what it is for: logs waiting on Logs, or the Plan"),
        "form": ("text", "spawn form"),
        "logs": ("logs", "logs still to inoculate with it"),
        "unknown": ("logs", "of these, logs whose need cannot be worked out (size or form missing)"),
        "holes": ("whole", "holes to drill"),
        "need": ("pieces", "pieces or kg to buy, spares included"),
        "need_kind": ("text", "pieces or weight"),
        "buy": ("text", "packs of the cheapest way, such as 1 x 500 + 2 x 100"),
        "cost": ("money", "price of these packs; NaN where a price is missing"),
        "left_over": ("pieces", "pieces or kg beyond the need"),
        "wax_kg": ("weight", "wax for the holes and ends of these logs"),
    },
    # The cheapest way (way = 0) and, beside it, each pack size alone (way = 1, 2, ...), cheapest first.
    "packs": {
        "purpose": ("text", "as in shopping"),
        "form": ("text", "spawn form"),
        "way": ("whole", "0 the cheapest mix; then one pack size only"),
        "pack_size": ("pieces", "pieces, or the workbook's weight unit where sold by weight, as listed"),
        "packs": ("whole", "how many of this size"),
        "pack_price": ("money", "price of one; NaN where none is listed"),
        "cost": ("money", "of the whole way"),
        "left_over": ("pieces", "of the whole way: pieces or kg"),
        "dearer": ("money", "the way's cost less the cheapest's"),
    },
    # Logs alive and inoculated. Means add up; one outcome in ten lies below low, one in ten above high.
    "expected": {
        "by": ("text", "yard, strain, wood, strain x wood, or inoculation year"),
        "group": ("text", "name of the group"),
        "logs": ("logs", "logs alive"),
        "log_seasons": ("pieces", "seasons borne, summed over logs"),
        "own_kg": ("weight", "marketable weight so far"),
        "start_kg": ("weight", "what the published start alone expects to come"),
        "expected_kg": ("weight", "expected still to come, start and own record together"),
        "low_kg": ("weight", "one in ten below"),
        "high_kg": ("weight", "one in ten above"),
        "per_log_kg": ("weight", "expected for each log alive"),
        "this_year_kg": ("weight", "of it, in the rest of this calendar year"),
        "next_year_kg": ("weight", "of it, in the next calendar year"),
        "own_weight": ("share", "weight of the own record against the published start; NaN if none to come"),
        "rows": ("whole", "rows of Logs times seasons it rests on"),
    },
    "expected_logs": {
        "row": ("whole", "row on the Logs sheet"),
        "log": ("text", "name of the log or group"),
        "logs": ("logs", "logs alive"),
        "season": ("whole", "season of life in this calendar year; 0 in the year of inoculation"),
        "start_kg": ("weight", "what the published start alone expects, all logs of the row"),
        "expected_kg": ("weight", "expected still to come, all logs of the row"),
        "low_kg": ("weight", "one in ten below"),
        "high_kg": ("weight", "one in ten above"),
        "per_log_kg": ("weight", "expected for each log alive"),
        "own_weight": ("share", "weight of the own record against the published start"),
        "told_apart": ("text", "yes where the row has weights of its own, no where it shares its batch's"),
    },
    # The strain on wood that gave most a log against each other one, the closest first.
    "contrasts": {
        "best": ("text", "strain on wood that gave most for each log"),
        "other": ("text", "the one it is set against"),
        "best_per_log_kg": ("weight", "of the best, for each log over a whole life at this pace"),
        "other_per_log_kg": ("weight", "of the other, likewise"),
        "difference_kg": ("weight", "best less other"),
        "low_kg": ("weight", "low end of the difference; 8 in 10 over all pairs together"),
        "high_kg": ("weight", "high end, likewise"),
        "best_logs": ("logs", "logs of the best that enter: those with weights of their own"),
        "other_logs": ("logs", "of the other"),
        "best_rows": ("whole", "rows of Logs behind the best"),
        "other_rows": ("whole", "behind the other"),
        "best_totals": ("whole", "own totals among them: logs, batches or sets of rows picked by themselves"),
        "other_totals": ("whole", "of the other"),
        "logs_needed": ("logs", "logs of each that would settle it; NaN where no number can be named"),
        "words": ("text", "who gives more, or that it cannot be told yet and what would tell"),
    },
    "plan_actual": {
        "inoculation_year": ("year", "calendar year of inoculation"),
        "year": ("year", "calendar year of the picks"),
        "season": ("whole", "season of life: 1 in the year after inoculation"),
        "logs": ("logs", "logs there, mean of the season's begin and end"),
        "part": ("share", "part of the season's harvest that usually lies behind on the as-of day"),
        "planned_kg": ("weight", "planned by the published start for that part"),
        "usual_kg": ("weight", "what these logs would give in a usual year, own record included"),
        "actual_kg": ("weight", "marketable; NaN where the year is not written down"),
        "lost_kg": ("weight", "planned less actual, never below 0"),
        "rows": ("whole", "rows of Logs with a weight"),
    },
    "weather_years": {
        "year": ("year", "calendar year"),
        "planned_kg": ("weight", "planned by the published start, all logs"),
        "actual_kg": ("weight", "marketable"),
        "factor": ("share", "what the year did to every log at once; 1 in a usual year"),
        "low": ("share", "one in ten below"),
        "high": ("share", "one in ten above"),
        "words": ("text", "a bad year, a good year, or not told apart"),
        "rows": ("whole", "rows of Logs with a weight"),
    },
    "life_years": {
        "season": ("whole", "season of life"),
        "log_seasons": ("pieces", "seasons borne, summed over logs"),
        "kg": ("weight", "marketable"),
        "planned_kg": ("weight", "planned by the published start"),
        "per_log_kg": ("weight", "for each log and season"),
        "planned_per_log_kg": ("weight", "planned, likewise"),
        "share": ("share", "per_log_kg over its sum: the shape of a life so far"),
        "planned_share": ("share", "published share of the life yield"),
        "rows": ("whole", "rows of Logs times seasons with a weight"),
    },
    # What is spent is gone whatever is decided: it stands here only to be set aside.
    "keep_retire": {
        "group": ("text", "inoculation year"),
        "logs": ("logs", "logs alive"),
        "spent": ("money", "cash and labour charged so far"),
        "to_come_kg": ("weight", "expected still to come"),
        "low_kg": ("weight", "one in ten below"),
        "high_kg": ("weight", "one in ten above"),
        "minutes_per_log": ("minutes", "upkeep a log and year, own record; NaN if none"),
        "cash_per_log": ("money", "cash part of the upkeep a log and year; NaN if none"),
        "upkeep_per_log": ("money", "upkeep a log and year: labour and cash of the own record"),
        "cost_to_come": ("money", "upkeep up to the end of the planned life"),
        "cost_to_come_per_kg": ("money per weight", "cost to come / weight to come"),
        "soon_kg": ("weight", "expected up to the end of the next calendar year"),
        "soon_cost": ("money", "upkeep up to then"),
        "price_per_kg": ("money per weight", "own fresh sales after commission; NaN if none"),
        "words": ("text", "keep or retire, how surely, or why it cannot be told yet"),
        "rows": ("whole", "timed and paid lines behind the upkeep"),
    },
    "hours": {
        "step": ("text", "step of the work"),
        "minutes_per_log": ("minutes", "minutes a log"),
        "basis": ("text", "Settings, or own record"),
        "timed_logs": ("logs", "logs behind the own record; 0 for Settings"),
        "rows": ("whole", "timed lines behind it"),
        "used": ("text", "yes where it enters the hours to come"),
        "logs": ("logs", "logs still to do, waiting and planned"),
        "plan_logs": ("logs", "those of the plan among them"),
        "hours": ("hours", "hours to come; NaN where not used"),
        "plan_hours": ("hours", "those of the plan among them"),
    },
}


def empty(table: str) -> pd.DataFrame:
    """The named result table without rows."""
    return _blank(table).copy()


@lru_cache(maxsize=None)
def _blank(table: str) -> pd.DataFrame:
    kinds = {"text": object, "date": "datetime64[ns]"}
    columns = COLUMNS[table].items()
    return pd.DataFrame({name: pd.Series(dtype=kinds.get(kind, float)) for name, (kind, _) in columns})


@dataclass(frozen=True)
class Balance:
    """In against out. in_value = sum of the lines' values + unexplained.

    name: "logs", "fresh weight", "dried weight" or "money"; market: of a money balance, else ""; kind: as in
    KINDS; lines: (label, value) where it went; notes: sentences on what the lines cannot show, of which faults
    are those that only a mended line answers; closes: |unexplained| is within the tolerance; rows: lines it
    rests on.
    """

    name: str
    market: str
    kind: str
    in_label: str
    in_value: float
    lines: tuple[tuple[str, float], ...]
    unexplained: float
    closes: bool
    rows: int
    notes: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class Answer:
    """One line of Start: a question and its answer.

    key: short name that stays the same; value: number in SI or NaN; text: words where the answer is a name or
    a list; low, high: NaN where there is no range; kind: as in KINDS; assumed: what was assumed, in words;
    rows: input lines it rests on.
    """

    key: str
    question: str
    value: float
    kind: str
    text: str = ""
    low: float = float("nan")
    high: float = float("nan")
    assumed: str = ""
    rows: int = 0


@dataclass
class Results:
    """All result tables of one refresh, as of one day; columns as in COLUMNS."""

    as_of: object
    each_log: pd.DataFrame
    groups: pd.DataFrame
    months: pd.DataFrame
    months_by_strain: pd.DataFrame
    seasons: pd.DataFrame
    costs: pd.DataFrame
    reconciliation: pd.DataFrame
    unallocated: pd.DataFrame
    shopping: pd.DataFrame
    packs: pd.DataFrame
    hours: pd.DataFrame
    expected: pd.DataFrame
    expected_logs: pd.DataFrame
    contrasts: pd.DataFrame
    plan_actual: pd.DataFrame
    weather_years: pd.DataFrame
    life_years: pd.DataFrame
    keep_retire: pd.DataFrame
    cost_views: pd.DataFrame
    capital_items: pd.DataFrame
    capital_reconciliation: pd.DataFrame
    breakeven: pd.DataFrame
    dried_events: pd.DataFrame
    dried_stock: pd.DataFrame
    budget_inputs: pd.DataFrame
    budget_years: pd.DataFrame
    budget_summary: pd.DataFrame
    budget_two_way: pd.DataFrame
    budget_tornado: pd.DataFrame
    budget_chance: pd.DataFrame
    yard_flow: pd.DataFrame
    one_log: pd.DataFrame
    flow_summary: pd.DataFrame
    log_season: pd.DataFrame
    soak_calendar: pd.DataFrame
    supply: pd.DataFrame
    settlement: pd.DataFrame
    settlement_stock: pd.DataFrame
    settlement_ages: pd.DataFrame
    settlement_lots: pd.DataFrame
    season_strip: pd.DataFrame
    season_notes: pd.DataFrame
    deadlines: pd.DataFrame
    hours_ahead: pd.DataFrame
    promise_weeks: pd.DataFrame
    trace: pd.DataFrame
    keeping: pd.DataFrame
    keeping_options: pd.DataFrame
    keeping_dryer: pd.DataFrame
    pack_weights: pd.DataFrame
    moisture: pd.DataFrame
    water_weeks: pd.DataFrame
    dry_spell: pd.DataFrame
    this_week: pd.DataFrame
    days_dry: float = float("nan")  # since the last rain or watering
    balances: list[Balance] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)

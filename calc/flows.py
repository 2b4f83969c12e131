"""Money by year: the yard from its records and what is expected, one more log, and what each is worth.

Recorded years are as written; a factor of inflation brings them into money of the as-of year. Expected years
are in that money already: the expected weight at the grower's own terms of sale, less upkeep at the own
rate, and at the end the value still held in what lasts. No new logs are foreseen. Present values and rates
of return are real: of money of the as-of year, at the real rate, the first year undiscounted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import cents, results, rollup_capital, tables
from calc.codes import distinct
from calc.economics import npv, rates_of_return
from calc.yard import TINY, dates, day_column, first_day, numbers, years_of
from calc.yield_model import Start, life_shares

VIEWS = (("cash", "net_cash", "cumulative_cash"), ("cash and labour", "net", "cumulative"))
YARD, ONE_LOG = "yard", "one more log"
NO_PRICE = "recorded years only: no fresh sale with a price is written down"
NO_UPKEEP = "recorded years only: no upkeep is written down"


@dataclass
class Moves:
    """Money by line up to the as-of day: whole day, spent, labour, sold (after commission, fees and corrections)."""

    day: np.ndarray
    spent: np.ndarray
    labour: np.ndarray
    sold: np.ndarray

    def by_year(self, years: np.ndarray) -> list[np.ndarray]:
        """Sums of spent, labour and sold by year; `years` follow one another."""
        at = years_of(self.day) - int(years[0])
        every = (self.spent, self.labour, self.sold)
        return [np.bincount(at, weights=part, minlength=len(years)) for part in every]


def moves(frames: dict, sold: pd.DataFrame, missing: pd.DataFrame, labour_amount: np.ndarray, as_of: int) -> Moves:
    """Every line of money up to a day: Costs, timed Events (labour_amount, by line), the sales ledger, losses charged."""
    costs, events = frames.get("costs", pd.DataFrame()), frames.get("events", pd.DataFrame())
    got = cents.money(sold["due_cents"].to_numpy())
    days = (day_column(costs, "date"), day_column(events, "date"), np.concatenate((sold["day"], missing["day"])).astype(np.int64))
    money = (numbers(costs, "amount", 0.0), labour_amount, np.concatenate((got, missing["charge"])).astype(float))
    day, every = np.concatenate(days), np.concatenate(money)
    kind = np.repeat(np.array((0, 1, 2), dtype=np.int8), [len(part) for part in days])
    seen = np.flatnonzero((every != 0) & (day <= as_of))
    day, every, kind = day[seen], every[seen], kind[seen]
    return Moves(day, *(np.where(kind == k, every, 0.0) for k in range(3)))


def payback(day: np.ndarray, net: np.ndarray):
    """(first day on which all money put in is back, whether it still is at the end); None if never.

    The first day the running sum is at 0 or above after having been below.

    >>> payback(np.array([1, 5, 9]), np.array([-10.0, 4.0, 6.0]))
    (9, True)
    """
    if not len(day):
        return None
    known, where = distinct(day)
    running = np.round(np.cumsum(np.bincount(where, weights=net)), 6)
    back = (running >= 0) & (np.minimum.accumulate(running) < 0)
    return (int(known[np.argmax(back)]), bool(running[-1] >= 0)) if back.any() else None


def still_to_come(found: dict, begin: Start, this_year: int, gone: float) -> pd.DataFrame:
    """Expected weight, and upkeep as cash and labour, by year from the as-of year on.

    found: the tables expected and keep_retire and the dictionary upkeep (calc.bad_year); gone: part of the
    as-of year gone by. The weight after next year is spread over the seasons left by the published shares of
    the life. Upkeep is that of logs up to the end of their planned life; a part not known counts as 0.
    """
    printed = life_shares(begin.life_seasons, begin.weights)
    expected = found["expected"]
    groups = expected[expected["by"] == "inoculation year"].set_index("group")
    logs = dict(zip(found["keep_retire"]["group"], found["keep_retire"]["logs"], strict=True))
    size = begin.life_seasons + 3
    kilos, log_years = np.zeros(size), np.zeros(size)
    for group, row in groups.iterrows():
        season = this_year - int(group)
        kilos[:2] += row["this_year_kg"], row["next_year_kg"]
        rest = printed[max(season + 1, 0) :]
        rest = rest / rest.sum() if len(rest) else np.ones(1)
        later = row["expected_kg"] - row["this_year_kg"] - row["next_year_kg"]
        kilos[2 : 2 + len(rest)] += later * rest
        log_years[0] += logs.get(group, 0.0) * (1.0 - gone)
        log_years[1 : 1 + max(begin.life_seasons - season, 1)] += logs.get(group, 0.0)
    last = int(np.max(np.flatnonzero((kilos > TINY) | (log_years > TINY)), initial=-1)) + 1
    cash, labour = (np.nan_to_num(found["upkeep"][name]) * log_years[:last] for name in ("cash", "labour"))
    return pd.DataFrame(
        {"year": this_year + np.arange(last), "kg": kilos[:last], "cash": cash, "labour": labour}
    )


def yard_flow(made: Moves, ahead: pd.DataFrame, per_kg: float, items, as_of: int, inflation: float):
    """The table yard_flow, but for its words.

    ahead: as still_to_come gives it, empty where nothing can be expected; per_kg: income for a kg after all
    that is taken; items: what lasts (calc.rollup_capital).
    """
    this_year = int(years_of(np.array([as_of]))[0])
    first = int(years_of(made.day).min()) if len(made.day) else this_year
    last = max(this_year, int(ahead["year"].max()) if len(ahead) else this_year)
    years = np.arange(min(first, this_year), last + 1)
    spent, labour, sold = made.by_year(years)
    later = ahead.set_index("year").reindex(years).fillna(0.0)
    income = later["kg"].to_numpy() * (per_kg if len(ahead) else 0.0)
    cash, work = later["cash"].to_numpy(), later["labour"].to_numpy()
    end = int(first_day(last + 1)) - 1 if last > this_year else as_of
    held = np.zeros(len(years))
    held[-1] = rollup_capital.held(items, end)[~items.later].sum()
    factor = np.where(years <= this_year, (1.0 + inflation) ** (this_year - years.astype(float)), 1.0)
    table = pd.DataFrame(
        {
            "year": years.astype(float),
            "spent": spent,
            "labour": labour,
            "sold": sold,
            "to_come_kg": later["kg"].to_numpy(),
            "income_to_come": income,
            "cash_to_come": cash,
            "labour_to_come": work,
            "held": held,
        }
    )
    for name, past, coming in (
        ("net_cash", sold - spent, income - cash + held),
        ("net", sold - spent - labour, income - cash - work + held),
    ):
        table[name], table[f"real_{name}"] = past + coming, past * factor + coming
        table[name.replace("net", "cumulative")] = np.cumsum(past + coming)
    return table


def _year_words(years, as_of: int, why: str, expects: bool) -> np.ndarray:
    this_year = int(years_of(np.array([as_of]))[0])
    now = why or ("recorded, and expected for the rest" if expects else "recorded so far")
    return np.select([years < this_year, years == this_year], ["recorded", now], "expected").astype(object)


def one_log(plan: dict) -> pd.DataFrame:
    """The table one_log: a log made in year 0, bearing from year 1 on, by the figures of a plan.

    plan: calc.plan_inputs. What lasts is there already and costs nothing more.
    """
    x = {name: entry.value for name, entry in plan.items()}
    life = max(1, round(x["life_seasons"]))
    printed = [tables.figure(f"yield_year_weight_{year}").typical for year in (1, 2, 3, 4)]
    kilos = np.concatenate(([0.0], x["life_kg"] * life_shares(life, printed)))
    standing = np.arange(life + 1) > 0
    income = kilos * ((1.0 - x["unsold"]) * x["price_per_kg"] * (1.0 - x["commission"]) - x["fees_per_kg"])
    cash = np.where(standing, x["upkeep_cash"], x["setup_cash"])
    minutes = np.where(standing, x["upkeep_minutes"], x["setup_minutes"])
    labour = minutes / 60.0 * x["wage"]
    return pd.DataFrame(
        {
            "year": np.arange(life + 1.0),
            "weight_kg": kilos,
            "income": income,
            "cash": cash,
            "minutes": minutes,
            "labour": labour,
            "net_cash": income - cash,
            "net": income - cash - labour,
            "cumulative_cash": np.cumsum(income - cash),
            "cumulative": np.cumsum(income - cash - labour),
        }
    )


def rate_of_return(flows) -> tuple[float, str]:
    """(the rate of return, words); NaN where no rate or more than one fits, and the words say which.

    flows: yearly, the first today.

    >>> rate_of_return([-100.0, 110.0])[1]
    'one rate fits: 10.0 % a year'
    """
    flows = [0.0 if abs(flow) < TINY else float(flow) for flow in flows]
    if not any(flows):
        return np.nan, "no rate: no money moves"
    if min(flows) >= 0:
        return np.nan, "no rate: no year costs more than it brings"
    if max(flows) <= 0:
        return np.nan, "no rate: no year brings more than it costs"
    rates = rates_of_return(flows)
    if not rates:
        return np.nan, "no rate fits; go by the present value"
    if len(rates) == 1:
        return rates[0], f"one rate fits: {100 * rates[0]:.1f} % a year"
    many = " and ".join(f"{100 * rate:.1f} %" for rate in rates)
    return (
        np.nan,
        f"{len(rates)} rates fit, {many}: the net changes sign more than once; go by the present value",
    )


def summary(yard: pd.DataFrame, log: pd.DataFrame, made: Moves, rate: float) -> pd.DataFrame:
    """The table flow_summary: present value, rate of return and payback of the yard and of one more log."""
    rows = []
    for view, net, total in VIEWS:
        labour = 0.0 if view == "cash" else made.labour
        back = payback(made.day, made.sold - made.spent - labour)
        day = dates(np.array([back[0]]))[0] if back else np.datetime64("NaT", "ns")
        year = pd.Timestamp(day).year if back else _year_back(yard["year"], yard[total])
        irr, words = rate_of_return(yard[f"real_{net}"])
        value = npv(rate, list(yard[f"real_{net}"]))
        said = _back_words(back, year)
        if not back and yard[total].min() >= 0:
            said = "nothing was ever out of pocket" if yard[net].any() else "no money is written down"
        rows.append((YARD, view, rate, value, irr, day, float(year), f"{said}; {words}"))
    for view, net, total in VIEWS:
        year = _year_back(log["year"], log[total])
        irr, words = rate_of_return(log[net])
        said = "never pays for itself" if np.isnan(year) else f"pays for itself in year {year:.0f}"
        value = npv(rate, list(log[net]))
        rows.append((ONE_LOG, view, rate, value, irr, np.datetime64("NaT", "ns"), year, f"{said}; {words}"))
    table = pd.DataFrame(rows, columns=list(results.COLUMNS["flow_summary"]))
    return table.astype({"payback": "datetime64[ns]"})


def _year_back(years, running) -> float:
    """First year at whose end the running sum is 0 or above after having been below; NaN if none."""
    running = np.round(running.to_numpy(), 6)
    back = np.flatnonzero((running >= 0) & (np.minimum.accumulate(running) < 0))
    return float(years.iloc[back[0]]) if len(back) else np.nan


def first_profit(years, net) -> float:
    """First year whose net is above 0; NaN if none.

    >>> first_profit([2024.0, 2025.0, 2026.0], [-5.0, -1.0, 2.0])
    2026.0
    """
    net = np.round(np.asarray(net, dtype=float), 6)
    at = np.flatnonzero(net > 0)
    return float(np.asarray(years)[at[0]]) if len(at) else np.nan


def yard_profit(yard: pd.DataFrame, net: str) -> float:
    """First year in profit of the table yard_flow, by its column net_cash or net; what is still held is no income."""
    return first_profit(yard["year"], yard[net] - yard["held"])


def _back_words(back, year) -> str:
    if back:
        return "all put in is back" if back[1] else "all put in was back once, then more was put in"
    return "not back yet, nor expected" if np.isnan(year) else f"not back yet, expected in {year:.0f}"


def income_per_kg(breakeven: pd.DataFrame) -> float:
    """Money a kg of fresh brings over all markets after unsold, commission and fees; NaN without a price."""
    fresh = breakeven[breakeven["product"] == "fresh"]
    if not len(fresh):
        return np.nan
    row = fresh.iloc[-1]  # all markets where there are several
    return row["price_per_kg"] * (1.0 - row["unsold"]) * (1.0 - row["commission"]) - row["own_per_kg"]


def every_table(frames, sold, missing, labour_amount, owned, left, found: dict, settings: dict, plan: dict) -> dict:
    """The tables yard_flow, one_log and flow_summary.

    owned: the capital view; left: the fitted yield (calc.expected); found: the tables breakeven, expected,
    keep_retire, the dictionary upkeep and as_of, a whole day; plan: calc.plan_inputs.
    """
    as_of = found["as_of"]
    made = moves(frames, sold, missing, labour_amount, as_of)
    per_kg = income_per_kg(found["breakeven"])
    unknown = np.isnan(found["upkeep"]["cash"]) and np.isnan(found["upkeep"]["labour"])
    ahead = still_to_come(found, left.begin, left.seen.this_year, left.seen.gone)
    why = "" if not len(ahead) else NO_PRICE if np.isnan(per_kg) else NO_UPKEEP if unknown else ""
    ahead = ahead.iloc[:0] if why else ahead
    inflation = settings.get("inflation", tables.figure("inflation").typical)
    yard = yard_flow(made, ahead, per_kg, owned.items, as_of, inflation)
    yard["words"] = _year_words(yard["year"], as_of, why, bool(len(ahead)))
    log = one_log(plan)
    return {
        "yard_flow": yard[list(results.COLUMNS["yard_flow"])],
        "one_log": log,
        "flow_summary": summary(yard, log, made, owned.items.rate),
    }

"""Enterprise budget of a plan: so many logs made every year, year by year, and what it hangs on.

Logs made in a year bear from the next year on, by the published shares of the life yield (RES-11). Every log
takes its upkeep each year of its life after the one it was made in. What lasts enters by its yearly charge.
Money of today throughout; nothing is counted for logs still bearing when the plan ends. All figures come
from calc.plan_inputs. Numpy arrays broadcast: the same sum serves one plan, a table and a simulation.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from calc import plan_inputs, results, tables
from calc.plan_inputs import Input
from calc.yield_model import life_shares

MOST_YEARS = 10
DRAWS, SEED = 4000, 1960
ONE_IN_TEN = 1.2815515655446004  # standard deviations from the middle to the tenth above
STEPS = 5
NO_PROFIT, NOT_BACK = "no year of the plan in profit", "what was put in is not back within the plan"


def life_budget(logs, cost_per_log, weight_per_log, price, commission=0.0, unsold=0.0):
    """(gross, cost, net) of so many logs over their life, money. Income after commission and what is unsold.

    weight_per_log: marketable, over the life; cost_per_log: all cost over the life.

    >>> life_budget(150, 6.0, 1.5, 10.0)      # 150 x 15 - 150 x 6
    (2250.0, 900.0, 1350.0)
    """
    gross = logs * weight_per_log * price * (1.0 - commission) * (1.0 - unsold)
    cost = logs * cost_per_log
    return gross, cost, gross - cost


def share_by_year(life_seasons, years: int) -> np.ndarray:
    """Share of the life yield that logs made in year 1 have given by the end of years 1, 2, ...

    life_seasons: whole numbers of any shape; the years are the last axis of the result. 0 in year 1.
    """
    printed = [tables.figure(f"yield_year_weight_{year}").typical for year in (1, 2, 3, 4)]
    lives = np.asarray(life_seasons, dtype=np.int64)
    curves = {
        int(n): np.cumsum(np.concatenate(([0.0], life_shares(int(n), printed)))) for n in np.unique(lives)
    }
    every = np.array([np.interp(np.arange(years), np.arange(len(c)), c) for c in curves.values()])
    return every[np.searchsorted(sorted(curves), lives)]


def years_of(plan: dict, years: int, weather=1.0) -> dict[str, np.ndarray]:
    """What each year of a plan brings and takes; the years are the last axis of every array.

    plan: the names of calc.plan_inputs -> number or array; weather: factor on the yield of each year.
    """
    x = {name: np.asarray(value, dtype=float)[..., None] for name, value in plan.items()}
    year = np.arange(1, years + 1)
    standing = x["logs"] * np.minimum(year - 1, x["life_seasons"])
    weight = x["logs"] * x["life_kg"] * share_by_year(plan["life_seasons"], years) * weather
    sales = weight * (1.0 - x["unsold"]) * x["price_per_kg"] * (1.0 - x["commission"])
    cash = x["logs"] * x["setup_cash"] + standing * x["upkeep_cash"] + weight * x["fees_per_kg"]
    hours = (x["logs"] * x["setup_minutes"] + standing * x["upkeep_minutes"]) / 60.0
    net_cash = sales - cash
    net = net_cash - hours * x["wage"] - x["tools"]
    every = (standing, weight, sales, cash, hours, hours * x["wage"], x["tools"] + 0.0 * year, net_cash, net)
    names = ("standing", "weight_kg", "sales", "cash", "hours", "labour", "tools", "net_cash", "net")
    shape = np.broadcast_shapes(*(part.shape for part in every))
    return dict(zip(names, (np.broadcast_to(part, shape) for part in every), strict=True))


def values(inputs: dict[str, Input]) -> dict[str, float]:
    """The value of each figure."""
    return {name: entry.value for name, entry in inputs.items()}


def span(inputs: dict[str, Input]) -> int:
    """Years of the plan, 1 to MOST_YEARS."""
    return int(min(max(round(inputs["years"].value), 1), MOST_YEARS))


def years_table(inputs: dict[str, Input]) -> pd.DataFrame:
    """The table budget_years."""
    years = span(inputs)
    found = years_of(values(inputs), years)
    return pd.DataFrame(
        {
            "year": np.arange(1.0, years + 1),
            "logs_made": inputs["logs"].value,
            **found,
            "cumulative_cash": np.cumsum(found["net_cash"]),
            "cumulative": np.cumsum(found["net"]),
        }
    )[list(results.COLUMNS["budget_years"])]


def first_year(money) -> float:
    """First year (counted from 1) in which money is above 0; NaN if none."""
    at = np.flatnonzero(np.asarray(money) > 0)
    return float(at[0] + 1) if len(at) else np.nan


def summary(inputs: dict[str, Input], chance: pd.DataFrame, table: pd.DataFrame | None = None) -> pd.DataFrame:
    """The table budget_summary: first years in profit, the net of all years, the chance of profit. table: budget_years."""
    table = years_table(inputs) if table is None else table
    rows = []
    for view, net, total in (("cash", "net_cash", "cumulative_cash"), ("full", "net", "cumulative")):
        sure = float(chance["chance_paid_back"].iloc[-1]) if view == "full" else np.nan
        profit, back = first_year(table[net]), first_year(table[total])
        rows.append((view, float(table[total].iloc[-1]), profit, back, sure, _first_words(profit, back)))
    return pd.DataFrame(rows, columns=["view", "net", "first_profit_year", "paid_back_year", "chance", "words"])


def _first_words(first: float, paid_back: float) -> str:
    profit = NO_PROFIT if np.isnan(first) else f"first profit in year {first:.0f}"
    back = NOT_BACK if np.isnan(paid_back) else f"all that was put in is back in year {paid_back:.0f}"
    return f"{profit}; {back}"


def every_table(inputs: dict[str, Input], seed: int = SEED) -> dict[str, pd.DataFrame]:
    """All tables of the plan, by name of the result table."""
    chances, years = chance(inputs, seed=seed), years_table(inputs)
    return {
        "budget_inputs": plan_inputs.table(inputs),
        "budget_years": years,
        "budget_summary": summary(inputs, chances, years),
        "budget_two_way": two_way(inputs),
        "budget_tornado": tornado(inputs),
        "budget_chance": chances,
    }


def steps(entry: Input) -> np.ndarray:
    """Five values of a figure: low end, half way, value, half way, high end."""
    ends = [entry.low, (entry.low + entry.value) / 2, entry.value, (entry.value + entry.high) / 2, entry.high]
    return np.array(ends)


def two_way(inputs: dict[str, Input]) -> pd.DataFrame:
    """The table budget_two_way: net of all years for five prices by five life yields."""
    price, weight = (
        a.ravel()
        for a in np.meshgrid(*(steps(inputs[n]) for n in ("price_per_kg", "life_kg")), indexing="ij")
    )
    found = years_of(
        values(inputs)
        | {
            "price_per_kg": price,
            "life_kg": weight,
            "life_seasons": np.full(len(price), inputs["life_seasons"].value),
        },
        span(inputs),
    )
    return pd.DataFrame(
        {
            "price_per_kg": price,
            "life_kg": weight,
            "net": found["net"].sum(axis=-1),
            "net_cash": found["net_cash"].sum(axis=-1),
        }
    )


def tornado(inputs: dict[str, Input]) -> pd.DataFrame:
    """The table budget_tornado: net of all years with each figure at its low and high end.

    Figures without a range are left out; the one that moves the net most comes first.
    """
    moved = [(name, entry) for name, entry in inputs.items() if entry.low != entry.high]
    many = 2 * len(moved) + 1  # the plan itself, then each figure at its low and at its high end
    plans = {name: np.full(many, value) for name, value in values(inputs).items()}
    for at, (name, entry) in enumerate(moved):
        plans[name][2 * at + 1 : 2 * at + 3] = entry.low, entry.high
    net = years_of(plans, span(inputs))["net"].sum(axis=-1).tolist()
    rows = [
        (name, entry.title, entry.low, entry.value, entry.high, entry.kind, low, net[0], high, abs(high - low))
        for (name, entry), low, high in zip(moved, net[1::2], net[2::2], strict=True)
    ]
    table = pd.DataFrame(rows, columns=list(results.COLUMNS["budget_tornado"]))
    return table.sort_values("swing", ascending=False, kind="stable", ignore_index=True)


def draw(inputs: dict[str, Input], draws: int = DRAWS, seed: int = SEED) -> tuple[dict, np.ndarray]:
    """(plan with an array of draws for each figure, weather factor by draw and year), repeatable by the seed.

    Life yield: lognormal with the planned value in the middle and one in ten above its high end. Price,
    unsold, cash and minutes: triangular from low over the planned value to high. Life: the planned seasons,
    one less or one more. Weather: lognormal of mean 1 shared by all logs of a year. Logs, wage, commission
    and tools are decided, not drawn.
    """
    random = np.random.default_rng(seed)
    plan = {name: np.full(draws, entry.value) for name, entry in inputs.items()}
    for name in ("price_per_kg", "unsold", "setup_cash", "setup_minutes", "upkeep_minutes", "upkeep_cash"):
        entry = inputs[name]
        if entry.low < entry.high:
            plan[name] = random.triangular(entry.low, entry.value, entry.high, draws)
    life = inputs["life_kg"]
    if life.high > life.value > 0:
        plan["life_kg"] = life.value * np.exp(
            np.log(life.high / life.value) / ONE_IN_TEN * random.standard_normal(draws)
        )
    one_off = tables.figure("life_one_off_chance").typical
    moved = random.choice((-1.0, 0.0, 1.0), draws, p=(one_off, 1 - 2 * one_off, one_off))
    plan["life_seasons"] = np.maximum(1.0, inputs["life_seasons"].value + moved)
    spread = tables.figure("yield_spread_weather").typical
    weather = np.exp(spread * random.standard_normal((draws, span(inputs))) - spread**2 / 2)
    return plan, weather


def chance(inputs: dict[str, Input], draws: int = DRAWS, seed: int = SEED) -> pd.DataFrame:
    """The table budget_chance: by year, chance of profit and of having all back, and the range of the net."""
    plan, weather = draw(inputs, draws, seed)
    net = years_of(plan, span(inputs), weather)["net"]
    running = np.cumsum(net, axis=-1)
    low, middle, high = np.quantile(running, (0.1, 0.5, 0.9), axis=0)
    return pd.DataFrame(
        {
            "year": np.arange(1.0, net.shape[-1] + 1),
            "chance_profit": (net > 0).mean(axis=0),
            "chance_paid_back": (running > 0).mean(axis=0),
            "low": low,
            "middle": middle,
            "high": high,
        }
    )

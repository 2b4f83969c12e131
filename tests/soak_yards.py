"""Small yards for the tests of the season: strains, a site, and the state and plan of a yard in one call."""
from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import yards

from calc import rota_plan, season_state
from calc.day_numbers import MONTHS
from calc.farm import roll_up
from calc.yard import NO_DAY, Yard, diary

# Mean temperatures of the months at an invented temperate site, deg C, January first.
NORTH = (-1, 1, 5, 11, 16, 21, 23, 22, 18, 12, 7, 1)
SOUTH = NORTH[6:] + NORTH[:6]
# wide: May to September in the north. cold: April, May, September, October, November.
STRAINS = pd.DataFrame([
    {"strain": "wide", "fruits_from": 15.0, "fruits_to": 25.0, "run_low": 6.0, "run_high": 18.0, "rest_weeks": 8.0, "forces": "yes"},
    {"strain": "cold", "fruits_from": 7.0, "fruits_to": 20.0, "run_low": 6.0, "run_high": 18.0, "rest_weeks": 8.0, "forces": "no"},
    {"strain": "cold forced", "fruits_from": 7.0, "fruits_to": 20.0, "run_low": 6.0, "run_high": 18.0, "rest_weeks": 10.0, "forces": "yes"},
    {"strain": "arctic", "fruits_from": -30.0, "fruits_to": -10.0, "run_low": 6.0, "run_high": 18.0, "rest_weeks": 8.0, "forces": "yes"},
    {"strain": "unsaid", "fruits_from": None, "fruits_to": None, "run_low": None, "run_high": None, "rest_weeks": None, "forces": None},
])


def temps(values=NORTH):
    """Settings of the months' temperatures."""
    return {f"temp_{month}": value for month, value in zip(MONTHS, values, strict=True)}


def rolled(rows, lines, as_of, site=NORTH, promises=None, **settings):
    """Every result table of a yard of yards.logs rows and yards.events lines."""
    frame = yards.logs(*rows)
    if "rota_week" not in frame:
        frame["rota_week"] = [row[3].get("rota_week") if len(row) > 3 else None for row in rows]
    frame["rota_week"] = pd.to_numeric(frame["rota_week"])
    frames = {"logs": frame, "strains": STRAINS, "woods": yards.WOODS, "forms": yards.FORMS}
    links = {}
    if lines:
        frames["events"], links["event_links"] = yards.events(list(frame["log"]), *lines)
    if promises is not None:
        frames["promises"] = promises
    return roll_up(frames, links, {**yards.SETTINGS, **(temps(site) if site else {}), **settings}, dt.date.fromisoformat(as_of))


def day(text) -> int:
    """A date as whole days since 1970."""
    return season_state.to_day(dt.date.fromisoformat(text))


def planned(inoculated, as_of, *, count=None, strain="wide", last_soak=None, rota_week=None, volume=0.01, weeks=26, site=NORTH, **settings):
    """The plan of a yard given by arrays. inoculated: one text a row; last_soak, rota_week: by row, None where not."""
    rows = len(inoculated)
    count = np.ones(rows) if count is None else np.asarray(count, dtype=float)
    logs = pd.DataFrame({"strain": [strain] * rows if isinstance(strain, str) else list(strain), "rota_week": pd.to_numeric(pd.Series(
        rota_week if rota_week is not None else [None] * rows, dtype=object)), "inoculated": pd.to_datetime(list(inoculated))})
    lines = [(i, text) for i, text in enumerate(last_soak or []) if text]
    events = pd.DataFrame({"date": pd.to_datetime([text for _, text in lines]), "event": "soaked", "amount": 12.0})
    links = pd.DataFrame({"event": range(len(lines)), "log": [i for i, _ in lines]})
    frames = {"logs": logs, "events": events, "strains": STRAINS}
    today = day(as_of)
    born = np.array([day(text) for text in inoculated])
    yard = Yard(count, born, np.where(born <= today, born, NO_DAY), today)
    each = pd.DataFrame({"log": [f"L{i + 1}" for i in range(rows)], "place": "", "row": np.arange(rows) + 6.0,
                         "volume_m3": volume, "first_pick": pd.NaT, "last_pick": pd.NaT})
    chosen = {**temps(site), **settings} if site else settings
    at = season_state.state(frames, diary(frames, {"event_links": links}, today), yard, each, chosen)
    return rota_plan.plan(at, chosen, weeks)

"""Invented yards of 8 and of 800 logs, as workbooks, for the sheets of the season."""
from __future__ import annotations

import datetime as dt

from workbook_template.yard import Yard

DAY = dt.date(2026, 9, 10)  # a Thursday
WIDE, COLD, WARM = "shiitake, wide range", "shiitake, cold weather", "shiitake, warm weather"
TEMPERATURES = dict(zip((f"temp_{m}" for m in ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")),
                        (30, 33, 42, 53, 62, 71, 75, 73, 66, 55, 44, 34), strict=True))  # deg F, invented


def _log(name: str, strain: str, inoculated, **more) -> dict:
    return {"log": name, "wood": "white oak", "strain": strain, "diameter": 5.0, "length": 40.0, "inoculated": inoculated, **more}


def _event(day, kind, logs, amount=None, **more) -> dict:
    return {"date": day, "event": kind, "log": logs, "amount": amount, **more}


def eight(**settings) -> Yard:
    """Eight logs, a row each: four bear, two are young, two are felled and wait."""
    logs = [_log(f"A{i}", WIDE, dt.date(2025, 3, 15)) for i in range(1, 4)] + [_log("A4", COLD, dt.date(2025, 3, 15))]
    logs += [_log("B1", WIDE, dt.date(2026, 4, 4)), _log("B2", COLD, dt.date(2026, 4, 4))]
    logs += [_log("C1", WIDE, None, felled=dt.date(2026, 8, 1)), _log("C2", WIDE, None, felled=dt.date(2026, 8, 1), spawn_lot="L1")]
    events = [_event(dt.date(2026, 5, 20), "picked", "A1", 0.4), _event(dt.date(2026, 5, 20), "picked", "A2", 0.3),
              _event(dt.date(2026, 9, 3), "soaked", "A1", 12.0)]
    lots = [{"spawn_lot": "L1", "lot_strain": WIDE, "arrived": dt.date(2026, 3, 1), "use_by": dt.date(2026, 9, 1)}]
    return Yard("us", {"logs": logs, "events": events, "lots": lots}, settings={**TEMPERATURES, "hours_free": 2, **settings})


def eight_hundred(**settings) -> Yard:
    """Eight hundred logs in rows of 10, of four years and three strains, with two seasons of soaks and picks behind them."""
    logs, events, bearing = [], [], []
    for year in (2023, 2024, 2025, 2026):
        for i in range(18):
            strain = (WIDE, WIDE, WIDE, WARM, COLD, WIDE)[i % 6]
            name, rota = f"{'ABCD'[year - 2023]}{i + 1:02d}", (i % 9) + 1
            logs.append(_log(name, strain, dt.date(year, 3 if i % 2 else 4, 10), count=10, **({"rota_week": rota} if strain == WIDE else {})))
            if year < 2026 and strain != COLD:
                bearing.append((name, rota, strain))
    logs += [_log(f"E{i + 1:02d}", WIDE, None, count=10, felled=dt.date(2026, 8, 20), spawn_lot="L9") for i in range(8)]
    for name, rota, strain in bearing:
        for turn in range(2):
            soak = dt.date(2026, 5, 4) + dt.timedelta(weeks=rota - 1 + 9 * turn)
            if soak > DAY or name > "C" and turn == 0:
                continue
            if strain == WIDE:
                events.append(_event(soak, "soaked", name, 12.0, minutes=25))
            if soak + dt.timedelta(days=9) <= DAY:
                events.append(_event(soak + dt.timedelta(days=9), "picked", name, 1.5 + 0.1 * (rota % 5)))
    lots = [{"spawn_lot": "L9", "lot_strain": WIDE, "arrived": dt.date(2026, 8, 1), "use_by": dt.date(2026, 11, 1)}]
    return Yard("us", {"logs": logs, "events": events, "lots": lots}, settings={
        **TEMPERATURES, "hours_free": 12, "tank_volume": 30.0, "tank_loads": 2, "season_begins": dt.date(2024, 4, 15),
        "season_ends": dt.date(2024, 10, 31), **settings})

"""Small yards in SI for the roll-up tests: the frames and links that the checks hand on."""
from __future__ import annotations

import datetime as dt

import pandas as pd

SETTINGS = {
    "wage": 10.0, "spawn_form": "plug", "hole_spacing": 0.15, "row_spacing": 0.05, "end_margin": 0.05,
    "spare_share": 0.05, "wax_per_hole": 0.001, "ends_waxed": "no", "end_coat": 0.001, "wax_density": 900.0,
    "drill_minutes": 10.0, "setup_minutes": 22.0, "balance_slack": 0.05, "weight_unit_kg": 1.0,
}
# A wood of round figures: per m3 over bark 1000/1.25 = 800 L of wood, 200 L of bark.
WOODS = pd.DataFrame([{"wood": "white oak", "wood_gravity": 0.6, "wood_moisture": 0.5, "bark_gravity": 0.5,
                       "bark_moisture": 0.2, "bark_volume": 0.25}])
FORMS = pd.DataFrame([
    {"form": "plug", "counted_by": "each hole", "waxed": "yes"},
    {"form": "sawdust", "counted_by": "hole volume", "bit": 0.012, "depth": 0.025, "fill": 1.0,
     "bulk_density": 450.0, "waxed": "yes"},
    {"form": "totem", "counted_by": "weight per log", "weight_per_log": 0.65, "waxed": "no"},
])
LOG_COLUMNS = ("row", "log", "wood", "strain", "diameter_m", "large_end_m", "length_m", "inoculated", "count",
               "felled", "spawn_form", "holes_drilled", "ends_waxed", "place")


def day(text):
    return pd.Timestamp(text)


def logs(*rows):
    """Rows (name, count, inoculated or None, extra columns)."""
    table = []
    for at, row in enumerate(rows):
        name, count, inoculated, *more = row
        base = {"row": 6 + at, "log": name, "wood": "white oak", "strain": "wide", "diameter_m": 0.10,
                "length_m": 1.0, "inoculated": day(inoculated) if inoculated else None, "count": count}
        table.append({**base, **(more[0] if more else {})})
    frame = pd.DataFrame(table, columns=list(LOG_COLUMNS))
    for name in ("inoculated", "felled"):
        frame[name] = pd.to_datetime(frame[name])
    return frame


def events(names, *rows):
    """(frame, links) of rows (date, event, logs or None, amount, extra); names: the logs in their order.

    No logs: the whole yard. A log not in the yard: a line that names no known log.
    """
    at = {name: i for i, name in enumerate(names)}
    table, pairs = [], []
    for line, (date, kind, named, amount, *more) in enumerate(rows):
        table.append({"row": 6 + line, "date": day(date), "event": kind, "amount": amount, "minutes": None,
                      "who": None, "whole_yard": named is None, "dried_out_kg": None,
                      **(more[0] if more else {})})
        pairs += [(line, at[name]) for name in (named or "").split() if name in at]
    frame = pd.DataFrame(table)
    for name in ("amount", "minutes", "dried_out_kg"):
        if name in frame:
            frame[name] = pd.to_numeric(frame[name])
    return frame, pd.DataFrame(pairs, columns=["event", "log"])


def costs(names, *rows):
    """(frame, links) of rows (date, amount, logs or None, category)."""
    at = {name: i for i, name in enumerate(names)}
    table, pairs = [], []
    for line, (date, amount, named, *more) in enumerate(rows):
        table.append({"row": 6 + line, "date": day(date), "item": "x", "amount": amount,
                      "shared": named is None, "category": more[0] if more else None})
        pairs += [(line, at[name]) for name in (named or "").split() if name in at]
    return pd.DataFrame(table), pd.DataFrame(pairs, columns=["cost", "log"])


def sales(*rows):
    """Frame of rows (date, market, kind, product, amount, price or None)."""
    table = [{"row": 6 + i, "date": day(r[0]), "market": r[1], "kind": r[2], "product": r[3], "amount": r[4],
              "price": r[5] if len(r) > 5 else None} for i, r in enumerate(rows)]
    frame = pd.DataFrame(table, columns=["row", "date", "market", "kind", "product", "amount", "price"])
    frame["price"] = pd.to_numeric(frame["price"])
    return frame


def six_logs():
    """The yard whose sums stand by hand in the tests: (frames, links, as_of)."""
    yard = logs(
        ("A1", 1, "2024-03-01"), ("A2", 1, "2024-03-01"), ("A3", 1, "2024-03-01", {"strain": "cold"}),
        ("G", 10, "2024-04-01", {"strain": "cold"}), ("B1", 1, "2025-03-01"),
        ("C", 4, None, {"strain": "cold"}))
    names = list(yard["log"])
    book, event_links = events(
        names,
        ("2024-03-01", "inoculated", "A1 A2 A3", None, {"minutes": 60}),  # 1 h over three logs
        ("2024-08-01", "lost", "G", 2.0),  # 8 left of G
        ("2025-05-01", "soaked", "A1 A2", 24.0),
        ("2025-05-10", "picked", "A1", 0.50, {"minutes": 30}),
        ("2025-05-12", "picked", "A1 A2 A3", 0.60),  # 0.2 each
        ("2025-05-14", "culled", None, 0.11),  # over the 1.1 kg of the week: a tenth of each pick
        ("2025-05-20", "retired", "A3", None),
        ("2025-06-20", "picked", "A1 A3", 0.30),  # A3 is gone: all to A1
        ("2025-06-21", "picked", "G B1", 0.90),  # 8 + 1 logs: 0.8 and 0.1
        ("2025-06-22", "picked", "Z9", 0.25),  # no such log
        ("2025-07-01", "worked", None, None, {"minutes": 120}),  # 2 h over 1 + 1 + 8 + 1 = 11 logs
        ("2026-01-01", "picked", "A1", 9.0))  # after the as-of day
    spent, cost_links = costs(
        names,
        ("2024-01-15", 30.0, None, "tool"),  # before any log: to the logs of 1 March 2024, 10 each
        ("2024-03-05", 12.0, "A1 G", "spawn"),  # by Count 1 : 10
        ("2024-06-01", 26.0, None, "wax"),  # 3 + 10 = 13 logs: 2 each
        ("2025-06-01", 22.0, None, "fuel"),  # A1, A2, 8 of G, B1 = 11 logs: 2 each
        ("2025-09-01", 5.0, "Z9", "other"),  # no such log
        ("2026-02-01", 7.0, None, "other"))  # after the as-of day
    frames = {"logs": yard, "events": book, "costs": spent, "woods": WOODS, "forms": FORMS}
    return frames, {"event_links": event_links, "cost_links": cost_links}, dt.date(2025, 12, 31)

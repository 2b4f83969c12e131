"""A workbook for the checks, row by row: what a reader would hand over."""
import datetime as dt

import numpy as np

from calc import intake
from calc.raw import Odd, RawTable, blank_column
from workbook_template import schema
from workbook_template.refresh import table_infos

LB, IN = 0.45359237, 0.0254
AS_OF = dt.date(2026, 11, 15)
DAY = dt.datetime(2026, 5, 1)
A1 = {"log": "A1", "wood": "white oak", "strain": "oyster", "diameter": 5.0, "length": 40.0,
      "inoculated": dt.datetime(2024, 3, 1)}
FIRST = 6
ERROR = Odd("error", "#REF!")
MARKETS = [{"market": "Partner "
                      "A", "terms": "on consignment"}, {"market": "Kitchen B", "terms": "bought outright"}]


def raw_column(kind, cells):
    """A column of Python values as a reader hands it over."""
    column = blank_column(kind, len(cells))
    for i, cell in enumerate(cells):
        if cell is None:
            continue
        held = cell.kind if isinstance(cell, Odd) else "bool" if isinstance(cell, bool) else \
            "number" if isinstance(cell, float) else "date" if isinstance(cell, dt.datetime) else "text"
        if held == kind:
            column.values[i] = np.datetime64(cell, "ms") if kind == "date" else cell
        else:
            column.odd[i] = cell if isinstance(cell, Odd) else Odd(held, cell)
    return column


def raw_table(info, rows):
    columns = {}
    for c in info.columns:
        if c.kind != "computed":
            kind = c.kind if c.kind in ("number", "date") else "text"
            columns[c.key] = raw_column(kind, [r.get(c.key) for r in rows])
    return RawTable(info.key, info.sheet, FIRST - 1, FIRST, columns)


def check(profile="us", order="month first", merged=(), extra=None, **tables):
    """The intake of a workbook with these rows; the shipped lists unless given."""
    infos = table_infos(profile)
    raw = {}
    for info in infos:
        table = schema.BY_KEY[info.key]
        shipped = table.shipped(profile) if table.shipped else []
        rows = [{k: float(v) if isinstance(v, int) else v for k, v in r.items()} for r in shipped]
        raw[info.key] = raw_table(info, tables.get(info.key, rows if info.sheet == "Lists" else []))
    raw["logs"].merged = list(merged)
    raw["logs"].extra = extra or {}
    return intake.check(raw, infos, {"date_order": order, "currency": "USD"}, profile, AS_OF)


def said(found):
    return [p.sentence() for p in found.problems]


def one_log(**changes):
    return check(logs=[{**A1, **changes}])


def one_event(**changes):
    event = {"date": DAY, "event": "picked", "log": "A1", "amount": 0.5, **changes}
    return check(logs=[A1], events=[event])


def logs(*names, **changes):
    return [{**A1, "log": n, **changes} for n in names]

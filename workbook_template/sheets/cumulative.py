"""A chart of cumulative net by year, in cash and with all costs, the first year in profit marked on each as a single point."""
from __future__ import annotations

import numpy as np

from calc import flows
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets.view import View

NEVER = "no year in profit"
CURVES = (("net_cash", "cumulative_cash", "solid"), ("net", "cumulative", "dashed"))


def draw(sheet: ResultSheet, view: View, title: str, x_title: str, row: int, frame, columns, names: tuple[str, str], at: tuple[int, int]) -> str:
    """Add the chart, and its marks as two more columns beside the table whose heads stand in `row`.

    frame: the table with year, net_cash, net and both cumulative columns, None in a new workbook; columns: those shown, as
    (name, head), the year first; names: what the two views are called; x_title: what the years are, "year" for calendar years.
    Returns in words which year is the first in profit. What is still held counts as no profit.
    """
    rows = (row + 1, row + max(len(frame) if frame is not None else 0, 1))
    shown = [name for name, _ in columns]
    curves, points, said = [], [], []
    for i, ((net, total, fill), words) in enumerate(zip(CURVES, names, strict=True)):
        first, mark = np.nan, len(columns) + i
        if frame is not None:
            first = flows.first_profit(frame["year"], frame[net] - frame.get("held", 0.0))
            spot = [float(value) if year == first else None for year, value in zip(frame["year"], frame[total], strict=True)]
            sheet.table(row, mark, [(f"At first profit, {words} ({view.currency})", "money")], [spot])
        year = f"{'' if x_title == 'year' else 'year '}{first:.0f}" if frame is not None else "after a refresh"
        said.append(f"{words}: {NEVER}" if frame is not None and np.isnan(first) else f"first profit, {words}: {year}")
        curves.append(ChartSeries(words, (*rows, 0), (*rows, shown.index(total)), fill))
        points.append(ChartSeries(said[-1], (*rows, 0), (*rows, mark), "mark"))
    sheet.charts.append(Chart("line", f"{title} ({view.currency})", x_title, view.currency, curves + points, at=at, size=(640, 350),
                              y_format="#,##0", below_zero=True))
    return "; ".join(said)

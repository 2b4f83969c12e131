"""The result sheets of the yard: Each log, Yield, Shopping."""
from __future__ import annotations

from calc.results import COLUMNS, NO_LOG
from calc.shopping import OWN, PLANNED, WAITING
from workbook_template import cautions
from workbook_template.results import Chart, ChartSeries, ResultSheet
from workbook_template.sheets import yield_blocks
from workbook_template.sheets.blocks import CHART_ROWS, NOT_YET, day
from workbook_template.sheets.view import KIND_LOOKS, View

EACH_LOG = (
    ("row", "Logs row", 7), ("log", "Log", 10), ("wood", "Wood", 17), ("strain", "Strain", 22), ("place", "Place", 14),
    ("count", "Logs", 7), ("inoculated", "Inoculated", 12), ("age_months", "Age", 8), ("alive", "Alive", 7),
    ("green_kg", "Green weight each", 9), ("dry_wood_kg", "Dry wood each", 9), ("holes", "Holes each", 8),
    ("picked_kg", "Picked", 9), ("culled_kg", "Culled", 8), ("marketable_kg", "Marketable", 11), ("per_log_kg", "Per log", 8),
    ("flushes", "Flushes", 8), ("per_flush_kg", "Per flush", 8), ("first_pick", "First pick", 12), ("last_pick", "Last pick", 12),
    ("soaks", "Soaks", 7), ("efficiency", "Biological efficiency", 10), ("cash", "Cash", 10), ("labour_hours", "Own and helpers' hours", 10),
    ("labour", "Labour", 10), ("cash_per_kg", "Cash cost", 10), ("cash_labour_per_kg", "Cash and labour cost", 11),
    ("capital", "With capital", 10), ("capital_per_kg", "Cost with capital", 10),
)
STILL_TO_COME = (("expected_kg", "Still to come", 9), ("low_kg", "One in ten below", 9), ("high_kg", "One in ten above", 9))
GROUP_YIELD = (
    ("by", "By", 17), ("group", "Group", 36), ("logs", "Logs", 8), ("alive", "Alive", 8), ("bearing", "Bearing", 9),
    ("picked_kg", "Picked", 10), ("culled_kg", "Culled", 9), ("marketable_kg", "Marketable", 11), ("per_log_kg", "Per log", 9),
    ("low_kg", "One log in ten below", 11), ("high_kg", "One log in ten above", 11), ("efficiency", "Biological efficiency", 11),
    ("per_flush_kg", "Per flush", 9), ("rows", "Lines it rests on", 9),
)

MONTHS = (("month", "Month", 0), ("picked_kg", "Picked", 0), ("culled_kg", "Culled", 0), ("dryer_kg", "Into dryer", 0),
          ("sold_fresh_kg", "Sold fresh", 0), ("sold_dried_kg", "Sold dried", 0), ("hours", "Hours", 0))


def headers(view: View, table: str, columns) -> list[tuple[str, str]]:
    """(header with unit, look) of each column."""
    found = []
    for name, title, _ in columns:
        kind = COLUMNS[table][name][0] if name in COLUMNS[table] else "money per weight"
        unit = view.unit(kind) if kind not in ("share", "logs") else ""
        found.append((f"{title} ({unit})" if unit else title, KIND_LOOKS[kind]))
    return found


def values(view: View, table: str, frame, columns) -> list[list]:
    return [view.column(frame[name], kind) for name, kind in _kinds(table, columns)]


def _kinds(table: str, columns) -> list[tuple[str, str]]:
    """(name, kind) of each column."""
    return [(name, COLUMNS[table][name][0] if name in COLUMNS[table] else "money per weight") for name, _, _ in columns]


def each_log(view: View) -> ResultSheet:
    sheet = ResultSheet("Each log", [w for _, _, w in EACH_LOG + STILL_TO_COME], freeze=(5, 2), repeat=(4, 4), pages=2)
    sheet.heading("Each log", "Every row of Logs with all that was picked, done and spent on it. Picks that name several logs are shared equally.")
    heads = headers(view, "each_log", EACH_LOG) + headers(view, "expected_logs", STILL_TO_COME)
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        columns = [[None]] * len(heads)
    else:
        frame = view.results.each_log
        sheet.put(2, 0, f"As of {day(view.as_of)}. {len(frame):,} rows. Costs run from the first day; a young log has cost and no yield yet. "
                        "Still to come holds 8 times in 10.",
                  "about")
        to_come = _of_rows(view.results.expected_logs, frame["row"])
        columns = [view.array(frame[name], kind) for name, kind in _kinds("each_log", EACH_LOG)]
        columns += [view.array(to_come[name], kind) for name, kind in _kinds("expected_logs", STILL_TO_COME)]
        if not len(frame):
            columns = [[None]] * len(heads)
    end = sheet.table(4, 0, heads, columns)
    sheet.heights[4] = 54
    sheet.filter, sheet.table_name = (4, 0, max(end - 1, 5), len(heads) - 1), "Each_log"
    return sheet


def _of_rows(to_come, rows):
    """What is still to come of rows of Logs, blank where nothing is known: a frame in their order."""
    if len(to_come) == len(rows) and (to_come["row"].to_numpy() == rows.to_numpy()).all():
        return to_come
    return to_come[["row", *(name for name, *_ in STILL_TO_COME)]].set_index("row").reindex(rows)


def yield_sheet(view: View) -> ResultSheet:
    sheet = ResultSheet("Yield", [w for _, _, w in GROUP_YIELD], freeze=(3, 0))
    sheet.heading("Yield", "What the logs have given, by month and by group. Marketable is picked less culled. "
                           "Biological efficiency is fresh weight picked over dry wood.")
    top = 4 + CHART_ROWS
    heads = headers(view, "groups", GROUP_YIELD)
    results = view.results
    if results is None:
        sheet.put(2, 0, NOT_YET, "about")
        groups, months = [[None]] * len(heads), [[None]] * len(MONTHS)
        pick = (top + 1, top + 1)
    else:
        frame = results.groups
        sheet.put(2, 0, f"As of {day(view.as_of)}. A range of single logs is shown from five logs picked by themselves on; "
                        "with fewer, too early to tell.", "about")
        groups = values(view, "groups", frame, GROUP_YIELD)
        months = values(view, "months", results.months, MONTHS)
        pick = span_of(frame, "strain x wood", top + 1)
    sheet.section(top - 1, "By group")
    end = sheet.table(top, 0, heads, groups) + 1
    if results is not None:
        end = yield_blocks.draw(sheet, view, end)
    if results is not None and len(results.seasons):
        end = _seasons(sheet, view, end) + 1
    sheet.section(end, "By month")
    month_row = end + 1
    last = sheet.table(month_row, 0, [("Month", "month"), *headers(view, "months", MONTHS)[1:]], months)
    months_span = (month_row + 1, max(last - 1, month_row + 1))
    sheet.charts = [
        Chart("column", f"Picked by month ({view.weight})", "month", view.weight,
              [ChartSeries("picked", (*months_span, 0), (*months_span, 1))], at=(4, 0), size=(490, 350), date_axis=True),
        Chart("bar", f"Marketable yield of a log so far, by strain and wood ({view.weight} a log)", "", f"{view.weight} a log",
              [ChartSeries("per log", (*pick, 1), (*pick, 8))], at=(4, 4), size=(650, 350), y_format="0.0"),
    ]
    return sheet


def _seasons(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.seasons
    sheet.section(row, "By season and year of inoculation")
    kinds = (("year", "Picked in", "year"), ("inoculation_year", "Inoculated", "text"), ("logs", "Logs", "logs"),
             ("picked_kg", f"Picked ({view.weight})", "weight"), ("per_log_kg", f"Per log ({view.weight})", "weight"))
    return sheet.table(row + 1, 0, [(title, KIND_LOOKS[kind]) for _, title, kind in kinds], [view.column(frame[n], k) for n, _, k in kinds])


def span_of(frame, by: str, first_row: int) -> tuple[int, int]:
    """Sheet rows (0-based) of the groups of one kind; the frame starts at first_row and each kind stands together."""
    places = [i for i, (kind, group) in enumerate(zip(frame["by"], frame["group"], strict=True)) if kind == by and group != NO_LOG]
    return (first_row + places[0], first_row + places[-1]) if places else (first_row, first_row)


SHOPPING = (("purpose", "For", "text", 14), ("form", "Spawn form", "text", 29), ("logs", "Logs", "logs", 11), ("holes", "Holes", "whole", 11),
            ("need", "Need, with spares", "need", 11), ("need_kind", "in", "text", 9), ("buy", "Packs to buy", "text", 37),
            ("cost", "Cost", "money", 12), ("left_over", "Left over", "need", 13), ("wax_kg", "Wax", "weight", 11))
UNPRICED = "least left over; a price is missing"
NO_PLAN = ("The Plan is not in it: it stands as in a new workbook, or its bolts and holes cannot be worked out (see the Check words there, "
           "and Problems).")


def shopping(view: View) -> ResultSheet:
    sheet = ResultSheet("Shopping", [w for *_, w in SHOPPING], freeze=(3, 0))
    sheet.heading("Shopping", "Whole packs for the logs not yet inoculated and for the Plan, wax, and hours to set aside.")
    if view.results is None:
        sheet.put(2, 0, NOT_YET, "about")
        return sheet
    results = view.results
    sheet.put(2, 0, "The cheapest mix, exactly, by the prices typed on Lists, Spawn packs. Where a price is missing: the packs with the least "
                    "left over, then the fewest.", "about")
    if PLANNED not in set(results.shopping["purpose"]):
        sheet.put(3, 0, NO_PLAN, "label")
    sheet.section(4, "To buy")
    by_weight = [kind == "weight" for kind in results.shopping["need_kind"]]
    heads = [(f"{t} ({view.unit(k)})" if k in ("money", "weight") else t, "plain" if k == "need" else KIND_LOOKS[k]) for _, t, k, _ in SHOPPING]
    columns = []
    for name, _, kind, _ in SHOPPING:
        if kind == "need":
            columns.append([needed(view, v, w) for v, w in zip(results.shopping[name], by_weight, strict=True)])
        elif name == "need_kind":
            columns.append([view.weight if w else "pieces" for w in by_weight])
        else:
            columns.append(view.column(results.shopping[name], kind))
    if len(results.shopping):
        end = sheet.table(5, 0, heads, columns)
        unknown = results.shopping["unknown"].sum()
        if unknown > 0:
            sheet.put(end, 0, f"{unknown:g} of these logs are not in the need: their size or spawn form cannot be counted.", "label")
            end += 1
    else:
        sheet.put(5, 0, "No log on Logs waits for its spawn: nothing to buy.", "label")
        end = 6
    end = _ways(sheet, view, end + 1)
    end = _hours(sheet, view, end + 1)
    for i, words in enumerate(cautions.SHOPPING):
        sheet.put(end + 1 + i, 0, words, "label")
    return sheet


def needed(view: View, value, by_weight: bool):
    """A need in pieces, or in the workbook's weight."""
    number = view.number(value, "weight" if by_weight else "pieces")
    return None if number is None else int(number) if number == int(number) else round(number, 3)


def _ways(sheet: ResultSheet, view: View, row: int) -> int:
    frame = view.results.packs
    if not len(frame):
        return row
    sheet.section(row, "The best mix against buying one size only")
    weight = {form: kind == "weight" for form, kind in zip(view.results.shopping["form"], view.results.shopping["need_kind"], strict=True)}
    mix = frame["cost"].isna().map({True: UNPRICED, False: "cheapest"})
    words = [best if w == 0 else "one size only" for w, best in zip(frame["way"], mix, strict=True)]
    columns = [view.column(frame["purpose"], "text"), view.column(frame["form"], "text"), view.column(frame["packs"], "whole"),
               view.column(frame["pack_size"], "pieces"),
               [needed(view, v, weight.get(f)) for v, f in zip(frame["left_over"], frame["form"], strict=True)],
               [view.weight if weight.get(f) else "pieces" for f in frame["form"]], words, view.column(frame["cost"], "money"),
               view.column(frame["dearer"], "money")]
    heads = [("For", "text"), ("Spawn form", "text"), ("Packs", "whole"), ("of size", "plain"), ("Left over", "plain"), ("in", "text"),
             ("Way", "text"),
             (f"Cost ({view.currency})", "money"), (f"Dearer by ({view.currency})", "money")]
    return sheet.table(row + 1, 0, heads, columns)


def _hours(sheet: ResultSheet, view: View, row: int) -> int:
    """Hours for the logs waiting and for the Plan apart, each with its sum; below, own times that are not used yet."""
    every = view.results.hours
    frame = every[every["used"] == "yes"]
    lines = []
    for purpose, logs, hours in ((WAITING, frame["logs"] - frame["plan_logs"], frame["hours"] - frame["plan_hours"]),
                                 (PLANNED, frame["plan_logs"], frame["plan_hours"])):
        if not (logs > 0).any():
            continue
        for step, minutes, count, time, basis, timed in zip(frame["step"], frame["minutes_per_log"], logs, hours, frame["basis"],
                                                            frame["timed_logs"], strict=True):
            lines.append((purpose, step, count, minutes, time, "", f"own record of {timed:g} logs" if basis == OWN else basis))
        lines.append((purpose, "in all", None, None, float(hours.sum()), "", ""))
    if not lines:
        return row - 1
    for line in every[(every["used"] == "no") & (every["basis"] == OWN)].itertuples():
        lines.append(("not used yet", line.step, None, line.minutes_per_log, None, "", f"own record of {line.timed_logs:g} logs"))
    sheet.section(row, "Hours to set aside; own timed record before Settings")
    heads = [("For", "text"), ("Step", "text"), ("Logs", "whole"), ("Minutes a log", "one"), ("Hours", "one"), ("", "text"),
             ("Time taken from", "text")]
    return sheet.table(row + 1, 0, heads, [list(column) for column in zip(*lines, strict=True)])

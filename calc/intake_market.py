"""What Sales and Promises say together: more gone from a market than came there, lots never delivered, promises that do not fit."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import dates
from calc.day_numbers import day_in_words, monday_of
from calc.intake_counts import LEAST_KG
from calc.intake_words import Collector, Context
from calc.problems import NOTE, QUESTION, quote, type_one
from calc.tables import nearest
from calc.yard import NO_DAY, day_column, words

OUT = ("sold", "returned", "spoiled")
ORDER = {"delivered": 0, "counted": 2}  # of one day: what came first, then what went, then the count


def market_questions(frames: dict, context: Context, say: Collector, sheet: str, titles: dict) -> None:
    """Ask about each line of Sales that takes more from a market, or of a lot there, than was delivered by then.

    Markets to which nothing is ever delivered sell straight from home and are left to the harvest. A count there sets
    the stock; it says nothing of single lots.
    """
    sales, markets = frames["sales"], frames.get("markets", pd.DataFrame())
    if not len(sales):
        return
    outright = {key for key, terms in zip(words(markets, "market"), words(markets, "terms"), strict=True) if terms == "bought outright"}
    lines = pd.DataFrame({"at": np.arange(len(sales)), "market": words(sales, "market"), "product": words(sales, "product"),
                          "kind": words(sales, "kind"), "lot": words(sales, "lot"), "day": day_column(sales, "date"),
                          "kg": sales["amount"].to_numpy(dtype=float)})
    lines = lines[lines["kind"].isin(("delivered", "counted", *OUT)) & ~lines["market"].isin(outright)]
    lines = lines.assign(turn=lines["kind"].map(ORDER).fillna(1)).sort_values(["day", "turn", "at"], kind="stable")
    for _, part in lines.groupby(["market", "product"], sort=False):
        if not (part["kind"] == "delivered").any():
            continue
        asked = _over(part, sales, context, say, sheet, titles, "")
        named = part[(part["lot"] != "") & (part["kind"] != "counted")]
        known = set(named.loc[named["kind"] == "delivered", "lot"])
        for lot, mine in named.groupby("lot", sort=False):
            if lot in known:
                _over(mine[~mine["at"].isin(asked)], sales, context, say, sheet, titles, lot)
            elif known:
                _never_delivered(mine, sales, say, sheet, titles, known)


def _over(lines, sales, context, say, sheet, titles, lot: str) -> set[int]:
    """Ask about the lines at which more is gone than came; `lot` "" for all of the market. Returns the lines asked about."""
    came, gone, asked = 0.0, 0.0, set()
    for line in lines.itertuples():
        if line.kind == "delivered":
            came += line.kg
        elif line.kind == "counted":
            came, gone = line.kg, 0.0
        else:
            gone += line.kg
            if gone > came + LEAST_KG and line.kg > 0:
                asked.add(line.at)
                row = sales.iloc[line.at]
                what = f" of lot {row['lot']}" if lot else f" {line.product}"
                say.add(sheet, int(row["row"]), titles["amount"], QUESTION,
                        f"by then {context.shown(gone, 'weight')}{what} had left {row['market']} and {context.shown(came, 'weight')} "
                        "had been delivered there", "sold, returned and spoiled of what was delivered",
                        "Look for a delivery that is missing, a wrong market, or a line typed twice; it is used as typed", "over_delivered")
    return asked


def _never_delivered(lines, sales, say, sheet, titles, known: set[str]) -> None:
    row = sales.iloc[int(lines["at"].iloc[0])]
    names = {str(lot).casefold(): str(lot) for lot in sales["lot"].dropna()}
    near = nearest(str(row["lot"]), [names[key] for key in known])
    more = f", nor for {len(lines) - 1} more of its lines" if len(lines) > 1 else ""
    say.add(sheet, int(row["row"]), titles.get("lot", "Lot"), QUESTION, f"no delivery to {row['market']} carries the lot {quote(row['lot'])}{more}",
            "a lot that was delivered there", type_one(near) or "Type the lot of the delivery, or leave it blank", "lot_not_delivered")


# ---- promises ----------------------------------------------------------------------------------------------------

def promise_questions(frames: dict, context: Context, say: Collector, sheet: str, titles: dict) -> None:
    """Two rows for one week, market and product; promised above asked, ordered above promised; a day that is no Monday."""
    table = frames.get("promises")
    if table is None or not len(table):
        return
    day = day_column(table, "week")
    begins = np.where(day < NO_DAY, monday_of(day), day)
    other = begins != day
    if other.any():  # once: any day stands for its week, so it is only said
        first = table.iloc[int(np.flatnonzero(other)[0])]
        week = day_in_words(begins[other][0])
        many = int(other.sum()) - 1
        more = f", and {many} more row{'s' if many > 1 else ''} likewise" if many else ""
        say.add(sheet, int(first["row"]), titles["week"], NOTE,
                f"{dates.words(first['week'].date())} is no Monday; it was read as the week from {week}{more}", "", "", "not_monday")
    key = pd.DataFrame({"week": begins, "market": words(table, "market"), "product": words(table, "product")})
    for place in np.flatnonzero(key.duplicated(keep="first")).tolist():
        row, same = table.iloc[place], (key == key.iloc[place]).all(axis=1)
        above = table.loc[same[same].index[0], "row"]
        say.add(sheet, int(row["row"]), titles["week"], QUESTION,
                f"{row['market']}, {row['product']}, the week from {day_in_words(begins[place])} stands in row {above:.0f} as well",
                    "one row for each",
                "Put them into one row if it is the same promise; both are added until then", "promise_twice")
    asked, promised, ordered = (table[f"{name}_kg"].to_numpy(dtype=float) for name in ("asked", "promised", "ordered"))
    for over, below, column, words_of in ((promised, asked, "promised_kg", ("promised", "asked for")), (ordered, promised, "ordered_kg",
                                                                                                   ("ordered", "promised"))):
        with np.errstate(invalid="ignore"):
            odd = over > below + LEAST_KG
        for place in say.first(odd, sheet, QUESTION).tolist():
            say.add(sheet, int(table["row"].iat[place]), titles[column], QUESTION,
                    f"{context.shown(over[place], 'weight')} {words_of[0]}, but {context.shown(below[place], 'weight')} {words_of[1]}",
                    "the two weights in the right columns", "Check both; they are used as typed", "promise_over")

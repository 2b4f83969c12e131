"""What to sell fresh, dry or hold today: fresh on hand by lot and age, the outlets, the dryer, and the best use of it all.

One product, so the best plan is best-first: promises of the week, then the outlet or the dryer that nets most for a
weight of fresh, each within its limit (calc.keeping.best_use). Lots picked wet go first, then the oldest.
"""
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from calc import keeping, promises, results, tables
from calc.codes import alike, distinct
from calc.day_numbers import monday_of
from calc.ledger import CONSIGNMENT, OUTRIGHT, price_in_force
from calc.yard import NO_DAY, TINY, Diary, as_typed, dates, numbers, text_codes, words

SELL, DRY, HOLD, PAST, DRYER = "sell fresh", "dry", "hold", "past its days", "dryer"
PRODUCTS = ("fresh", "dried")
OUTLETS = ["market", "product", "price", "net", "takes", "promised", "known"]
PAST_SHOWN = 4  # lots past their days that stand in a line of their own
NO_COUNT = "Not counted: picked less what is written down as gone. Count the cooler and write a stored line on Events."


# ---- what is there -----------------------------------------------------------------------------------------------

def on_hand(book: Diary, sold: pd.DataFrame, used: dict[str, float], in_store_kg: float, keeps_days: float, wet_days: float) -> pd.DataFrame:
    """Fresh on hand by lot, or by day of picking where no lot is written down, the one to use first on top.

    used: kg of each harvest lot (lower case) gone at home (calc.trace.used_at_home). in_store_kg: all that is in store; the
    youngest picks hold it, since the oldest are used first, less what lines with a lot took from it.
    Columns: lot, day, age, wet, grade, kg, days_left (below 0: past).
    """
    at = np.flatnonzero(book.lines("picked") & (np.nan_to_num(book.amount) > 0))
    day, kilos = book.day[at], book.amount[at]
    (code, keys), (lot, lots) = _of_lines(book.frame, "lot", at, str.casefold), _of_lines(book.frame, "lot", at)
    days_, of_day = distinct(day)
    by: dict[str, int] = {}  # what stands for a lot: its name, or the day
    of_key, of_days = ([by.setdefault(text, len(by)) for text in texts] for texts in (keys.tolist(), map(str, days_.tolist())))
    blank = np.array([key == "" for key in keys], dtype=bool)[code]
    named = np.where(blank, np.array(of_days, dtype=np.int64)[of_day], np.array(of_key, dtype=np.int64)[code])
    first, group = alike(named)
    begins = np.full(len(first), NO_DAY)
    np.minimum.at(begins, group, day)
    weight = pd.Series(kilos).groupby(group).sum().to_numpy()
    key, name = keys[code[first]], lots[lot[first]]
    by_lot = _left_home(sold)
    gone = np.array([(used.get(k, 0.0) + by_lot.get(k, 0.0)) if k in used or k in by_lot else 0.0 for k in key.tolist()], dtype=float)
    room = np.maximum(0.0, weight - gone)
    texts, of_group = list(by), named[first]
    order = np.array(sorted(range(len(first)), key=lambda i: (begins[i], texts[of_group[i]]), reverse=True), dtype=np.int64)
    held = np.diff(np.minimum(np.cumsum(room[order]), max(0.0, in_store_kg)), prepend=0.0)
    order, held = order[held > TINY], held[held > TINY]
    wet = np.bincount(group, _of_lines(book.frame, "picked_wet", at, str.casefold, "yes"), minlength=len(first))[order] > 0
    last = np.lexsort((begins[order], ~wet))  # what was picked wet goes first while it keeps, and at once
    order, held, wet = order[last], held[last], wet[last]
    age = book.as_of - begins[order]
    left = keeps_days - age
    return pd.DataFrame({"day": begins[order], "lot": name[order], "key": key[order], "kg": held, "wet": wet,
                         "grade": _grades(*_of_lines(book.frame, "grade", at), group, order), "age": age,
                         "days_left": np.where(wet & (left >= 0), np.clip(wet_days - age, 0.0, left), left)})


def _of_lines(frame: pd.DataFrame, name: str, at: np.ndarray, change=str, asked: str | None = None):
    """calc.yard.text_codes of some lines; with `asked`, True for those where that text stands."""
    code, texts = text_codes(frame, name, change)
    code = code[at]
    return (code, texts) if asked is None else np.array([text == asked for text in texts], dtype=bool)[code]


def _grades(grade: np.ndarray, texts: np.ndarray, group: np.ndarray, shown: np.ndarray) -> list[str]:
    """The grades of the groups that are shown, each once, in the order of the lines."""
    found: dict[int, list[str]] = {}
    for at in np.sort(alike(group, grade)[0]).tolist():
        if texts[grade[at]]:
            found.setdefault(int(group[at]), []).append(texts[grade[at]])
    return [", ".join(found.get(one, ())) for one in shown.tolist()]


def _left_home(sold: pd.DataFrame) -> dict[str, float]:
    """Fresh kg that left home by lot (lower case): delivered less returned; sold and spoiled where nothing is delivered."""
    fresh, kind = (sold["product"] == "fresh").to_numpy(dtype=bool), sold["kind"].to_numpy(dtype=object)
    with_lot = fresh & (sold["lot"] != "").to_numpy(dtype=bool)
    if not with_lot.any():
        return {}
    key, lines = sold["key"].to_numpy(dtype=object), np.flatnonzero(with_lot)
    straight = ~np.isin(key[lines], list(set(key[fresh & (kind == "delivered")]))) & (sold["terms"].to_numpy(dtype=object)[lines] != OUTRIGHT)
    kind, amount = kind[lines], sold["amount"].to_numpy(dtype=float)[lines]
    kilos = np.select([kind == "delivered", kind == "returned", straight & ((kind == "sold") | (kind == "spoiled"))], [amount, -amount, amount], 0.0)
    return pd.Series(kilos).groupby(sold["lot"].to_numpy(dtype=object)[lines]).sum().to_dict()


# ---- where it can go ---------------------------------------------------------------------------------------------

def outlets(frames: dict, sold: pd.DataFrame, breakeven: pd.DataFrame, as_of: int) -> pd.DataFrame:
    """Every market with a price in force: net per kg, fresh and dried, what it still takes this week, what is promised it.

    Columns: market, product, price, net (after commission, what usually comes back unsold, and its fees), takes (kg left
    of its weekly limit, NaN without one), promised (kg promised this week and not yet delivered).
    """
    markets = frames.get("markets", pd.DataFrame())
    names = {key: name for key, name in zip(words(markets, "market"), as_typed(markets, "market"), strict=True) if key}
    if not names:
        return pd.DataFrame([], columns=OUTLETS)
    terms = dict(zip(words(markets, "market"), zip(words(markets, "terms"), numbers(markets, "commission", 0.0), numbers(markets, "takes_week"),
                                                   strict=True), strict=True))
    week = int(monday_of(as_of))
    gave = _taken_since(sold, week)
    typed = promises.lines(frames.get("promises", pd.DataFrame()))
    due = typed[(typed["week"] == week) & (typed["product"] == "fresh")].groupby("key")["promised"].sum()
    rows, prices = [], _prices(frames, sold, names, as_of)
    for (key, product), price in prices.items():
        own_terms, commission, takes = terms[key]
        handed = float(gave.get(key, 0.0))
        past = breakeven[(breakeven["market"].str.casefold() == key) & (breakeven["product"] == product)]
        past = past if (sold.loc[(sold["key"] == key) & (sold["product"] == product), "sold_kg"] > 0).any() else past[:0]
        unsold, own = (float(past["unsold"].iloc[0]), float(past["own_per_kg"].iloc[0])) if len(past) else (0.0, 0.0)
        taken = commission if (own_terms or CONSIGNMENT) == CONSIGNMENT else 0.0
        promised = max(0.0, float(due.get(key, 0.0)) - handed) if product == "fresh" else 0.0
        limit = max(takes - handed, promised, 0.0) if product == "fresh" else np.nan
        rows.append((names[key], product, price, price * (1.0 - taken) * (1.0 - unsold) - own, limit, promised, bool(len(past))))
    return pd.DataFrame(rows, columns=OUTLETS)


def _taken_since(sold: pd.DataFrame, day: int) -> pd.Series:
    """Fresh kg each market (key) took from a day on: delivered, or sold where nothing is ever delivered."""
    lines = sold[sold["product"] == "fresh"]
    taking = set(lines.loc[lines["kind"] == "delivered", "key"])
    mine = lines[(lines["day"] >= day) & ((lines["kind"] == "delivered") | ((lines["kind"] == "sold") & ~lines["key"].isin(taking)))]
    return mine.groupby("key")["amount"].sum()


def _prices(frames: dict, sold: pd.DataFrame, names: dict[str, str], as_of: int) -> dict[tuple[str, str], float]:
    """(market, product) -> price in force on the day by Lists, else that of the last sale there; those without one are left out."""
    asked = [(key, product) for key in names for product in PRODUCTS]
    today = pd.DataFrame({"market": [names[key] for key, _ in asked], "product": [product for _, product in asked],
                          "date": dates(np.full(len(asked), as_of))})
    listed = price_in_force(today, frames.get("prices", pd.DataFrame())).tolist()
    return {one: price for one, listed in zip(asked, listed, strict=True) if not np.isnan(price := _last_price(sold, *one, listed))}


def _last_price(sold: pd.DataFrame, key: str, product: str, listed: float) -> float:
    """The listed price, where there is none that of the last sale; NaN where there is none either."""
    if not np.isnan(listed) or not len(sold):
        return listed
    mine = sold[(sold["key"] == key) & (sold["product"] == product) & sold["price"].notna() & (sold["sold_kg"] != 0)]
    return float(mine.sort_values("day", kind="stable")["price"].iloc[-1]) if len(mine) else np.nan


def drying_cost(book: Diary, labour_amount: np.ndarray) -> float:
    """Money a kg of fresh costs in the dryer, by the time written on dried lines; NaN where none is timed."""
    mine = book.lines("dried") & (labour_amount > 0) & (np.nan_to_num(book.amount) > 0)
    fresh = float(book.amount[mine].sum())
    return float(labour_amount[mine].sum()) / fresh if fresh > TINY else np.nan


@dataclass(frozen=True)
class Dryer:
    """The dryer by Settings: fresh kg a load, hours a load; missing: names of settings still to be typed."""

    load_kg: float
    hours: float
    missing: tuple[str, ...] = ()

    def takes(self, days: float) -> float:
        """Fresh kg it takes in so many days."""
        return 0.0 if self.missing else keeping.dryer_loads(days, self.hours) * self.load_kg


def dryer(settings: dict) -> Dryer:
    """The dryer as typed on Settings (kg, hours); a figure left blank is named and the dryer takes nothing until then."""
    named = {"dryer_trays": "Trays in the dryer", "tray_weight": "Fresh mushrooms on a tray", "drying_hours": "Hours for one drying"}
    values = {key: settings.get(key) for key in named}
    missing = tuple(title for key, title in named.items() if not values[key] or not values[key] > 0)
    if missing:
        return Dryer(0.0, 0.0, missing)
    hours = float(values["drying_hours"])
    return Dryer(float(values["dryer_trays"]) * float(values["tray_weight"]), hours)


# ---- the plan ----------------------------------------------------------------------------------------------------

def every_table(frames: dict, found: dict, settings: dict) -> dict[str, pd.DataFrame]:
    """The tables keeping, keeping_options and keeping_dryer.

    found: book (diary), sold (ledger), used (calc.trace.used_at_home), breakeven, ratio (fresh for one of dried), store (kg in
    store, whether it was counted) and labour_amount (money by line of Events).
    """
    book, sold = found["book"], found["sold"]
    in_store, counted = found["store"]
    keeps = settings.get("keeps_days") or tables.figure("fresh_keeps_days").typical
    lots = on_hand(book, sold, found["used"], in_store, float(keeps), tables.figure("wet_use_days").typical)
    good = lots[lots["days_left"] >= 0].reset_index(drop=True)
    places = outlets(frames, sold, found["breakeven"], book.as_of)
    fresh = places[places["product"] == "fresh"].sort_values("net", ascending=False, kind="stable", ignore_index=True)
    cost = drying_cost(book, found["labour_amount"])
    dried = places[places["product"] == "dried"].sort_values("net", ascending=False, ignore_index=True)
    dry_net = float(dried["net"].iloc[0]) / found["ratio"] - np.nan_to_num(cost) if len(dried) else None
    gear, unit = dryer(settings), settings.get("weight_unit_kg", 1.0)
    asked = [(net, None if np.isnan(takes) else takes, promised)
             for net, takes, promised in zip(*(fresh[name].tolist() for name in ("net", "takes", "promised")), strict=True)]
    stock = [(kilos, max(days, 1.0)) for kilos, days in zip(good["kg"].tolist(), good["days_left"].tolist(), strict=True)]

    def planned(more=0.0):
        return keeping.best_use(stock, asked, dry_net, lambda days: gear.takes(days) + more)

    uses = planned()
    value = (keeping.worth(planned(unit), asked, dry_net) - keeping.worth(uses, asked, dry_net)) / unit if not gear.missing else np.nan
    return {"keeping": _lines(lots, good, uses, fresh, dry_net, counted, book.as_of, float(keeps)),
            "keeping_options": _options(fresh, dried, dry_net, cost, uses, gear, good, found["ratio"]),
            "keeping_dryer": _dryer_line(gear, uses, good, value, keeps, dry_net)}


def _lines(lots, good, uses, fresh, dry_net, counted: bool, as_of: int, keeps: float) -> pd.DataFrame:
    """Each lot on hand and what to do with it."""
    rows, said = [], "" if counted else NO_COUNT
    for at, lot in enumerate(good.to_dict("records")):
        mine = [use for use in uses if use.lot == at]
        held = lot["kg"] - sum(use.weight for use in mine)
        for use in mine:
            net = dry_net if use.outlet is None else float(fresh["net"].iloc[use.outlet])
            where = DRYER if use.outlet is None else fresh["market"].iloc[use.outlet]
            rows.append(_line(lot, as_of, keeps, DRY if use.outlet is None else SELL, where, use.weight, net,
                              "picked wet: first to sale today or the dryer" if lot["wet"] else ""))
        if held > 1e-6:
            days = int(lot["days_left"])
            rows.append(_line(lot, as_of, keeps, HOLD, "cold store", held, np.nan, "no outlet or dryer has room for it: "
                              + (f"{days} day{'s' if days != 1 else ''} left" if days > 0 else "its last day: give it, use it or lower the price")))
    rows += _past(lots[lots["days_left"] < 0].sort_values("day", ascending=False), as_of, keeps)
    if not rows:
        return results.empty("keeping")
    table = pd.DataFrame(rows)
    table.loc[table.index[0], "words"] = ". ".join(w for w in (table["words"].iloc[0], said) if w)
    return table[list(results.COLUMNS["keeping"])]


def _past(lots: pd.DataFrame, as_of: int, keeps: float) -> list[dict]:
    """Lots past their days, the youngest by themselves and the rest in one line."""
    said = "kept longer than on Settings: look at it before you use or sell any, and write culled or given"
    rows = [_line(lot, as_of, keeps, PAST, "", lot["kg"], np.nan, said) for lot in lots.iloc[:PAST_SHOWN].to_dict("records")]
    rest = lots.iloc[PAST_SHOWN:]
    if len(rest):
        whole = {**rest.iloc[-1].to_dict(), "lot": f"({len(rest)} older)", "wet": False, "grade": ""}
        rows.append(_line(whole, as_of, keeps, PAST, "", float(rest["kg"].sum()), np.nan,
                          "the record says nothing of where it went: culled, given and eaten are lines of Events too"))
    return rows


def _line(lot, as_of, keeps, use, where, kilos, net, said) -> dict:
    return {"lot": lot["lot"] or "(no lot)", "picked": dates(np.array([lot["day"]]))[0], "age": float(lot["age"]), "wet": "yes" if lot["wet"] else "",
            "grade": lot["grade"], "keeps_to": dates(np.array([int(lot["day"] + keeps)]))[0], "use": use, "where": where, "kg": float(kilos),
            "net_per_kg": net, "net": net * float(kilos), "words": said}


def _options(fresh, dried, dry_net, cost, uses, gear: Dryer, good, ratio: float) -> pd.DataFrame:
    """Every use there is, the best first: its net, its limit, what it gets."""
    rows = []
    for i, row in fresh.iterrows():
        got = sum(use.weight for use in uses if use.outlet == i)
        said = [] if row["known"] else ["nothing sold there yet: unsold and fees counted as 0"]
        if row["net"] <= 0:
            said.append("brings nothing after commission, unsold and fees")
        elif not np.isnan(row["takes"]) and got >= row["takes"] - TINY:
            said.append("takes no more this week")
        if row["promised"] > got + 1e-6:
            said.append("less on hand than is still promised this week")
        rows.append((SELL, row["market"], row["price"], row["net"], row["takes"], row["promised"], got, "; ".join(said)))
    if dry_net is not None:
        got = sum(use.weight for use in uses if use.outlet is None)
        limit = gear.takes(max((max(d, 1.0) for d in good["days_left"]), default=0.0))
        said = [f"{ratio:.1f} fresh for 1 dried", "no time is written on dried lines: drying counted as free" if np.isnan(cost) else
                "drying counted by the time on dried lines"]
        if dry_net <= 0:
            said.append("brings less than the drying costs")
        rows.append((DRY, dried["market"].iloc[0], float(dried["price"].iloc[0]), dry_net, np.nan if gear.missing else limit, 0.0, got,
                     "; ".join(said)))
    if not rows:
        return results.empty("keeping_options")
    table = pd.DataFrame(rows, columns=list(results.COLUMNS["keeping_options"]))
    return table.sort_values("net_per_kg", ascending=False, kind="stable", ignore_index=True)


def _dryer_line(gear: Dryer, uses, good, value: float, keeps, dry_net) -> pd.DataFrame:
    """One line on the dryer: what it takes, what is to go in, loads, hours, and what more room would be worth."""
    into = sum(use.weight for use in uses if use.outlet is None)
    if gear.missing:
        said = "Type on Settings: " + ", ".join(gear.missing)
        row = (np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, said)
    else:
        loads = int(np.ceil(round(into / gear.load_kg, 9)))
        said = "no price of dried is on Lists or Sales: type one in Prices" if dry_net is None else \
            "the dryer is full: more room is worth the value shown" if value > TINY else "the dryer has room" if into > TINY else "nothing to dry"
        row = (gear.load_kg, keeping.dryer_loads(1, gear.hours) if gear.hours <= 24 else 24.0 / gear.hours, gear.takes(keeps), into, float(loads),
               loads * gear.hours, value, said)
    return pd.DataFrame([row], columns=list(results.COLUMNS["keeping_dryer"]))


# ---- what to pack ------------------------------------------------------------------------------------------------

PACK_DAYS = (1, 2, 3)  # the study weighed over days, not weeks


def pack_weights() -> pd.DataFrame:
    """The table pack_weights: weight to pack for 1 of label, by days before it is sold, in the cold and in a warm stall."""
    loss = tables.figure("pack_loss_per_day_low")
    rows = [(float(days), *(keeping.pack_weight(1.0, 1.0 - (1.0 - share) ** days) for share in (loss.low, loss.high))) for days in PACK_DAYS]
    return pd.DataFrame(rows, columns=list(results.COLUMNS["pack_weights"]))

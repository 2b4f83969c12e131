"""From a sold lot back to its logs and their spawn, and from a spawn lot forward to every sale: for a recall.

A lot is the text in the Lot column of Events (picked, dried, culled, given, spoiled) and of Sales, without regard to
case. A drying belongs to the harvest lot it names; a dried lot with a name of its own comes from the harvest lots named
in the Note of its drying, else from the picks of the logs it names. What no line can tell is said, with its weight.
"""
from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from calc import results, tables
from calc.ledger import LEAST_KG, OUTRIGHT
from calc.selection import loose
from calc.yard import TINY, Diary, as_typed, dates, day_column, numbers, text_codes, words

LOT, SPAWN = "lot", "spawn lot"
AT_HOME = ("culled", "given", "spoiled")
NAMED = 12  # entries of a list that stand in one line of text


@dataclass
class Doubt:
    """What the lines cannot tell: words, the weight it is about (kg, NaN if none) and the lines it rests on."""

    words: str
    kg: float
    rows: int


@dataclass
class Trace:
    """One lot, or one spawn lot, in both directions; the frames have the columns of TRACE_COLUMNS.

    balance: (label, product, kg). others: lots of the same logs that were not asked for. notes: how the lot was read.
    """

    asked: str
    what: str
    lots: list[str]
    logs: pd.DataFrame
    picks: pd.DataFrame
    dryings: pd.DataFrame
    moves: pd.DataFrame
    balance: list[tuple[str, str, float]]
    doubts: list[Doubt] = field(default_factory=list)
    others: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def markets(self) -> list[str]:
        """Markets that had any of it, in the order they first had it."""
        return list(dict.fromkeys(self.moves["market"]))


TRACE_COLUMNS = {
    "logs": ("row", "log", "count", "wood", "strain", "spawn_lot", "inoculated", "felled", "source", "place"),
    "picks": ("row", "date", "lot", "logs", "kg", "wet", "grade"),
    "dryings": ("row", "date", "lot", "fresh_kg", "dried_kg", "came_from"),
    "moves": ("row", "date", "market", "kind", "product", "kg", "lot", "docket", "note"),
}


class Lines:
    """The record as lines with lots: Events and Sales up to the as-of day.

    named: leave out the lines of Events that neither carry a lot nor are dryings.
    """

    def __init__(self, frames: dict, book: Diary, sold: pd.DataFrame, named: bool = False):
        self.logs, self.book = frames["logs"], book
        events, self._sales = book.frame, frames.get("sales", pd.DataFrame())
        lot, lots = text_codes(events, "lot", str.casefold)
        wanted = book.seen & (np.array([text != "" for text in lots], dtype=bool)[lot] | book.lines("dried")) if named else book.seen
        at = np.flatnonzero(wanted)
        events = events.iloc[at] if len(at) < len(events) else events
        self._at, self._lines, self._sold = at, events, sold
        pair = np.flatnonzero(wanted[book.line]) if named else slice(None)
        self.of_log = pd.DataFrame({"at": book.line[pair], "log": book.log[pair]})
        self.count = numbers(self.logs, "count", 1.0)

    @cached_property
    def nothing(self) -> bool:
        """No line of Events is among them, and no line of Sales carries a lot."""
        return not len(self._at) and not (self._sold["lot"] != "").any()

    @cached_property
    def events(self) -> pd.DataFrame:
        """Lines of Events; at: their positions there."""
        at, events, book = self._at, self._lines, self.book
        return pd.DataFrame({
            "at": at, "row": numbers(events, "row"), "day": book.day[at], "kind": book.kind[at], "kg": book.amount[at],
            "dried_kg": numbers(events, "dried_out_kg"), "key": words(events, "lot"), "lot": as_typed(events, "lot"),
            "note": as_typed(events, "note"), "text": as_typed(events, "log_text"), "wet": words(events, "picked_wet"),
            "grade": as_typed(events, "grade")})

    @cached_property
    def sales(self) -> pd.DataFrame:
        """Lines of Sales that moved a weight."""
        sold, sales = self._sold, self._sales
        moved = sold[(sold["at"] >= 0) & sold["product"].isin(("fresh", "dried")) & (sold["kind"] != "counted")]
        return moved.assign(docket=as_typed(sales, "docket")[moved["at"]], note=as_typed(sales, "note")[moved["at"]]).reset_index(drop=True)

    @cached_property
    def harvest(self) -> dict[str, str]:
        """Harvest lot (lower case) -> its name as typed."""
        picks = self.events[(self.events["kind"] == "picked") & (self.events["key"] != "")]
        return dict(zip(picks["key"], picks["lot"], strict=True))

    @cached_property
    def spawn(self) -> np.ndarray:
        """The spawn lot of each log, lower case."""
        return words(self.logs, "spawn_lot")

    @cached_property
    def strains(self) -> np.ndarray:
        return as_typed(self.logs, "strain")

    @cached_property
    def spawn_names(self) -> np.ndarray:
        return as_typed(self.logs, "spawn_lot")

    @cached_property
    def dryings(self) -> pd.DataFrame:
        """Dried lines with the harvest lots that went in, as a tuple of keys, and how that is known."""
        table = self.events[self.events["kind"] == "dried"].copy()
        found = []
        for key, note in zip(table["key"], table["note"], strict=True):
            own = (key,) if key in self.harvest else ()
            named = tuple(k for k in self.harvest if k != key and _in_note(k, note))
            found.append((own + named, " and ".join(how for how, there in (("its lot", own), ("its note", named)) if there)))
        table["sources"], table["how"] = [s for s, _ in found], [h for _, h in found]
        return table

    def lots_of(self, what: str) -> dict[str, str]:
        """key -> name as first typed, of every lot or every spawn lot."""
        if what == SPAWN:
            listed = zip(self.spawn, as_typed(self.logs, "spawn_lot"), strict=True)
        else:
            listed = zip(pd.concat((self.events["key"], self.sales["lot"])), pd.concat((self.events["lot"], self.sales["lot_name"])), strict=True)
        return {key: name for key, name in reversed(list(listed)) if key}

    def logs_in(self, at) -> np.ndarray:
        """Positions of the logs that these lines of Events name."""
        return np.unique(self.of_log.loc[self.of_log["at"].isin(at), "log"].to_numpy(dtype=np.int64))


def _in_note(key: str, note: str) -> bool:
    return bool(note) and re.search(rf"(?<![\w-]){re.escape(key)}(?![\w-])", note.casefold()) is not None


# ---- what is meant -----------------------------------------------------------------------------------------------

def find(lines: Lines, asked: str) -> tuple[list[tuple[str, str]], list[str], list[str]]:
    """(meanings as (what, key), notes on the reading, nearest names where there is none)."""
    key, meant, notes = asked.strip().casefold(), [], []
    known = {what: lines.lots_of(what) for what in (LOT, SPAWN)}
    for what, names in known.items():
        if key in names:
            meant.append((what, key))
    if not meant:
        for what, names in known.items():
            alike = [k for k in names if loose(k) == loose(asked)]
            meant += [(what, k) for k in alike]
            notes += [f'"{asked.strip()}" was read as {names[k]}' for k in alike]
    every = [name for names in known.values() for name in names.values()]
    return meant, notes, [] if meant else list(tables.nearest(asked.strip(), every)) if every else []


# ---- both directions ---------------------------------------------------------------------------------------------

def trace(lines: Lines, what: str, key: str, keeps_days: float) -> Trace:
    """Trace a lot back and forward, or a spawn lot forward.

    what, key: as find() gives them. keeps_days: how long fresh mushrooms may have stood before they were dried or sold,
    for what cannot be told from lots.
    """
    if what == SPAWN:
        logs = np.flatnonzero(lines.spawn == key)
        touched = set(lines.of_log.loc[lines.of_log["log"].isin(logs), "at"])
        picked = lines.events[(lines.events["kind"] == "picked") & lines.events["at"].isin(touched)]
        fresh = {k for k in picked["key"] if k}
        by_log = lines.dryings[_unsaid(lines.dryings) & lines.dryings["at"].isin(touched)]  # names these logs and no harvest lot
        dried = _dried_from(lines, fresh) | {k for k in by_log["key"] if k}
        return _gathered(lines, what, key, logs, picked, fresh, dried, keeps_days)
    fresh = {key} & set(lines.harvest)
    mine = lines.dryings[lines.dryings["key"] == key]
    back = fresh | {source for sources in mine["sources"] for source in sources}
    picked = lines.events[(lines.events["kind"] == "picked") & lines.events["key"].isin(back)]
    dried = _dried_from(lines, fresh) | {key}
    logs = lines.logs_in(pd.concat((picked["at"], mine["at"])))
    return _gathered(lines, what, key, logs, picked, fresh or {key}, dried, keeps_days)


def _dried_from(lines: Lines, fresh: set[str]) -> set[str]:
    """Names of the dried lots that took from any of these harvest lots."""
    return {key for key in lines.dryings.loc[_took(lines, fresh), "key"] if key}


def _unsaid(dryings: pd.DataFrame) -> np.ndarray:
    """True for the dryings of which no harvest lot is known."""
    return np.array([not sources for sources in dryings["sources"]], dtype=bool)


def _took(lines: Lines, fresh: set[str]) -> np.ndarray:
    """True for the dryings that took from any of these harvest lots."""
    return np.array([bool(fresh.intersection(sources)) for sources in lines.dryings["sources"]], dtype=bool)


def _gathered(lines: Lines, what: str, key: str, logs, picked, fresh: set[str], dried: set[str], keeps_days: float) -> Trace:
    sales = lines.sales
    moves = sales[((sales["product"] == "fresh") & sales["lot"].isin(fresh)) | ((sales["product"] == "dried") & sales["lot"].isin(dried))]
    dryings = lines.dryings[lines.dryings["key"].isin(dried).to_numpy() | _took(lines, fresh)]
    names = lines.lots_of(LOT)
    asked = lines.lots_of(what)[key]
    of_lots = lines.events[(lines.events["kind"] == "picked") & lines.events["key"].isin(fresh)]
    found = Trace(asked, what, [names[k] for k in sorted(fresh | dried) if k in names], _log_rows(lines, logs), _pick_rows(lines, picked),
                  _drying_rows(lines, dryings), _move_rows(moves), _balance(lines, of_lots, dryings, moves, fresh, dried))
    found.doubts = _doubts(lines, what, key, logs, picked, dryings, keeps_days) + _left_in_doubt(lines, moves, keeps_days)
    share = lines.events[(lines.events["kind"] == "picked") & lines.events["at"].isin(set(lines.of_log.loc[lines.of_log["log"].isin(logs), "at"]))]
    found.others = [names[k] for k in sorted(set(share["key"]) - fresh - dried - set(picked["key"]) - {""})]
    return found


def _log_rows(lines: Lines, logs) -> pd.DataFrame:
    frame = lines.logs.iloc[logs]
    table = pd.DataFrame({"row": numbers(frame, "row"), "count": numbers(frame, "count", 1.0),
                          **{name: as_typed(frame, name) for name in ("log", "wood", "strain", "spawn_lot", "source", "place")},
                          **{name: dates(day_column(frame, name)) for name in ("inoculated", "felled")}})
    return table[list(TRACE_COLUMNS["logs"])]


def _pick_rows(lines: Lines, picked: pd.DataFrame) -> pd.DataFrame:
    table = picked.assign(date=dates(picked["day"]), logs=np.where(picked["text"] == "", "the whole yard", picked["text"]))
    return table.sort_values(["day", "row"])[list(TRACE_COLUMNS["picks"])].reset_index(drop=True)


def _drying_rows(lines: Lines, dryings: pd.DataFrame) -> pd.DataFrame:
    came = [", ".join(lines.harvest[k] for k in sources) + f" ({how})" if sources else text or "not said"
            for sources, how, text in zip(dryings["sources"], dryings["how"], dryings["text"], strict=True)]
    table = dryings.assign(date=dates(dryings["day"]), fresh_kg=dryings["kg"], came_from=came)
    return table.sort_values(["day", "row"])[list(TRACE_COLUMNS["dryings"])].reset_index(drop=True)


def _move_rows(moves: pd.DataFrame) -> pd.DataFrame:
    table = moves.assign(date=dates(moves["day"]), kg=moves["amount"], lot=moves["lot_name"])
    return table.sort_values(["day", "row"])[list(TRACE_COLUMNS["moves"])].reset_index(drop=True)


def _balance(lines: Lines, picked, dryings, moves, fresh: set[str], dried: set[str]) -> list[tuple[str, str, float]]:
    """Where the weight of these lots is, by product: got = what went anywhere + left at home, by the lines."""
    if lines.nothing:
        return {}
    home = lines.events[lines.events["kind"].isin(AT_HOME) & lines.events["key"].isin(fresh)]
    parts = [len(fresh.intersection(sources)) / max(len(sources), 1) for sources in dryings["sources"]]  # of several lots, each its share
    got = {"fresh": float(picked["kg"].sum()), "dried": float(dryings.loc[dryings["key"].isin(dried), "dried_kg"].sum())}
    rows = []
    for product in ("fresh", "dried"):
        mine = moves[moves["product"] == product]
        if not len(mine) and got[product] <= TINY:
            continue
        used = {}
        if product == "fresh":
            used = {"culled, given or spoiled at home": float(home["kg"].sum()), "into the dryer": float((dryings["kg"] * parts).sum())}
        out = _moved(mine)
        left = got[product] - sum(used.values()) - out["left home"]
        rows += [("picked" if product == "fresh" else "out of the dryer", product, got[product])]
        rows += [(label, product, kg) for label, kg in used.items() if kg > TINY]
        rows += [(label, product, out[label]) for label in ("delivered", "sold", "returned", "spoiled there", "still at markets")]
        rows.append(("at home by the lines" if left >= -LEAST_KG else "more went out than came in", product, round(left, 9) + 0.0))
    return rows


def _moved(moves: pd.DataFrame) -> dict[str, float]:
    """Weight delivered, sold, returned and spoiled at markets, still there, and what left home in all."""
    by = moves.groupby("kind")["amount"].sum()
    delivered, returned, spoiled = (float(by.get(kind, 0.0)) for kind in ("delivered", "returned", "spoiled"))
    held = moves[moves["terms"] != OUTRIGHT]
    taking = set(held.loc[held["kind"] == "delivered", "key"])
    through, straight = held[held["key"].isin(taking)], held[~held["key"].isin(taking)]
    there = float(np.where(through["kind"] == "delivered", through["amount"], -through["amount"]).sum())
    direct = float(straight.loc[straight["kind"].isin(("sold", "spoiled")), "amount"].sum())
    return {"delivered": delivered, "sold": float(moves["sold_kg"].sum()), "returned": returned, "spoiled there": spoiled,
            "still at markets": round(there, 9) + 0.0, "left home": delivered - returned + direct}


# ---- what cannot be told -----------------------------------------------------------------------------------------

def _doubts(lines: Lines, what, key, logs, picked, dryings, keeps_days) -> list[Doubt]:
    found = []
    name, picks = lines.lots_of(what)[key], lines.events[lines.events["kind"] == "picked"]

    def say(about: str, rows: pd.DataFrame) -> None:
        if len(rows):
            found.append(Doubt(about, float(rows["kg"].sum()), len(rows)))

    if what == LOT and not len(picked):
        found.append(Doubt(f"No picked line on Events carries the lot {name}: which logs it came from cannot be told" if not len(dryings) else
                           f"No harvest lot is named for the drying of {name}: write it in the Lot or the Note of the dried line", np.nan, 0))
    unsaid = dryings[_unsaid(dryings)]
    window = picks[_within(picks["day"], unsaid["day"] - keeps_days, unsaid["day"])]
    say("It may hold any pick of the days before it was dried: " + _list(_names(window["lot"])), window)
    say("Picked lines that name no known log: any log of the yard may be behind them", picked[~picked["at"].isin(lines.of_log["at"])])
    if len(picked):
        mine = lines.of_log.loc[lines.of_log["log"].isin(logs), "at"]
        open_ = lines.dryings[_unsaid(lines.dryings) & ~lines.dryings["at"].isin(dryings["at"])]
        open_ = open_[(open_["at"].isin(mine) | ~open_["at"].isin(lines.of_log["at"])).to_numpy()
                      & _within(open_["day"], picked["day"], picked["day"] + keeps_days)]
        say("Dried in the days after without a harvest lot named, it may hold some of this: " + _list(_names(open_["lot"])), open_)
    if what == SPAWN:
        say("Picked from these logs without a lot: where it went cannot be told", picked[picked["key"] == ""])
        mixed = _mixed(lines, logs, picked)
        if mixed:
            found.append(Doubt("Lots that hold mushrooms of other logs too: " + _list(mixed), np.nan, len(mixed)))
    elif len(picked) or len(dryings):
        days = [*picked["day"], *dryings["day"]]
        say("Picked without a lot in the same days: it may have been packed with this lot",
            picks[(picks["key"] == "") & _within(picks["day"], min(days), max(days))])
    return found + _unmarked_sales(lines, picked, dryings, keeps_days)


def _unmarked_sales(lines: Lines, picked, dryings, keeps_days) -> list[Doubt]:
    """Sales lines without a lot that may have been of these picks or dryings."""
    found = []
    for product, came, last in (("fresh", picked, keeps_days), ("dried", dryings, np.inf)):
        if not len(came):
            continue
        bare = lines.sales[(lines.sales["product"] == product) & (lines.sales["lot"] == "") & lines.sales["kind"].isin(("delivered", "sold"))]
        bare = bare[_within(bare["day"], came["day"].min(), came["day"].max() + last)]
        taking = lines.sales.loc[(lines.sales["product"] == product) & (lines.sales["kind"] == "delivered"), "key"]
        gone = bare[bare["kind"].eq("delivered") | ~bare["key"].isin(taking)]
        if len(gone):
            found.append(Doubt(f"Went to market {product} without a lot in the time it can have been this one: {_list(_names(gone['market']))}",
                               float(gone["amount"].sum()), len(gone)))
    return found


def _left_in_doubt(lines: Lines, moves: pd.DataFrame, keeps_days: float) -> list[Doubt]:
    """What was sold, returned or spoiled without a lot at markets that these lots were delivered to, while it can have been of them."""
    found = []
    for product, last in (("fresh", keeps_days), ("dried", np.inf)):
        came = moves[(moves["product"] == product) & (moves["kind"] == "delivered") & (moves["terms"] != OUTRIGHT)]
        spans = came.groupby("key")["day"].agg(["min", "max"])
        bare = lines.sales[(lines.sales["product"] == product) & (lines.sales["lot"] == "") & lines.sales["key"].isin(spans.index)
                           & lines.sales["kind"].isin(("sold", "returned", "spoiled"))]
        if len(bare):
            begin, end = (spans[name].loc[bare["key"]].to_numpy() for name in ("min", "max"))
            bare = bare[(bare["day"] >= begin) & (bare["day"] <= end + last)]
        if len(bare):
            found.append(Doubt(f"Sold, returned or spoiled without a lot where it was delivered {product}, so what is left there cannot be told: "
                               + _list(_names(bare["market"])), float(bare["amount"].sum()), len(bare)))
    return found


def _mixed(lines: Lines, logs, picked) -> list[str]:
    """Harvest lots of these picks with picks of logs beyond `logs`."""
    of_lots = lines.events[(lines.events["kind"] == "picked") & lines.events["key"].isin(set(picked["key"]) - {""})]
    links = lines.of_log[lines.of_log["at"].isin(of_lots["at"]) & ~lines.of_log["log"].isin(logs)]
    return _names(of_lots.loc[of_lots["at"].isin(links["at"]) | ~of_lots["at"].isin(lines.of_log["at"]), "lot"])


def _within(day: pd.Series, low, high) -> np.ndarray:
    """True for days within any of the spans low..high."""
    lows, highs = np.atleast_1d(np.asarray(low, dtype=float)), np.atleast_1d(np.asarray(high, dtype=float))
    values = day.to_numpy(dtype=float)[:, None]
    return ((values >= lows[None, :]) & (values <= highs[None, :])).any(axis=1)


def _names(texts) -> list[str]:
    return [text for text in dict.fromkeys(texts) if text]


def _list(names: list[str]) -> str:
    shown = ", ".join(names[:NAMED]) or "none of them with a lot"
    return shown if len(names) <= NAMED else f"{shown} and {len(names) - NAMED} more"


# ---- every lot, one line each ------------------------------------------------------------------------------------

def register(lines: Lines) -> pd.DataFrame:
    """The table trace: every lot of Events and Sales with the logs behind it and where it went, the newest first."""
    if lines.nothing:
        return results.empty("trace")
    picks, dried = lines.events[(lines.events["kind"] == "picked") & (lines.events["key"] != "")], lines.dryings[lines.dryings["key"] != ""]
    if not len(picks) and not len(dried) and not (lines.sales["lot"] != "").any():
        return results.empty("trace")
    behind = _behind(lines, picks)
    sources = {key: sorted({s for every in part for s in every}) for key, part in dried.groupby("key")["sources"]}
    came = pd.concat([picks.assign(product="fresh", got=picks["kg"]), dried.assign(product="dried", got=dried["dried_kg"])])
    came = came.groupby(["product", "key"]).agg(first=("day", "min"), last=("day", "max"), got=("got", "sum"), lines=("at", "size"))
    moved = _moved_by_lot(lines.sales)
    table = came.join(moved, how="outer").reset_index()
    for name in ("delivered", "sold", "returned", "left_home", "lines", "moves"):
        table[name] = table[name].fillna(0.0)
    names, used = lines.lots_of(LOT), used_at_home(lines)
    gone = np.where(table["product"] == "fresh", table["key"].map(used).astype(float).fillna(0.0), 0.0)
    left = np.round(table["got"] - table["left_home"] - gone, 9) + 0.0
    by_log = _behind(lines, dried[_unsaid(dried)])  # a drying that names its logs and no harvest lot
    of = [_logs_of([(behind, sources.get(key, ())), (by_log, (key,))] if product == "dried" else [(behind, (key,))])
          for product, key in zip(table["product"], table["key"], strict=True)]
    table = table.assign(
        lot=[names[key] for key in table["key"]], left_kg=left, got_kg=table["got"],
        logs=[float(lines.count[logs].sum()) if len(logs) else np.nan for logs in of],
        strains=[", ".join(_names(lines.strains[logs])) for logs in of], spawn_lots=[", ".join(_names(lines.spawn_names[logs])) for logs in of],
        markets=table["markets"].fillna(""), rows=table["lines"] + table["moves"],
        **{f"{name}_kg": table[name] for name in ("delivered", "sold", "returned")})
    table["words"] = [_register_words(row.got, row.left_kg, len(logs), bool(row.spawn_lots), row.moved_first < row.first)
                      for row, logs in zip(table.itertuples(), of, strict=True)]
    table = table.sort_values(["last", "lot", "product"], ascending=[False, True, False], na_position="last", ignore_index=True)
    for name in ("first", "last"):
        table[name] = pd.to_datetime(table[name], unit="D").astype("datetime64[ns]")
    return table[list(results.COLUMNS["trace"])]


def _behind(lines: Lines, picks: pd.DataFrame) -> dict[str, np.ndarray]:
    """Harvest lot -> positions of the logs that its picks name."""
    pairs = picks[["at", "key"]].merge(lines.of_log, on="at")[["key", "log"]].drop_duplicates()
    return {key: part.to_numpy(dtype=np.int64) for key, part in pairs.groupby("key")["log"]}


def _logs_of(known: list[tuple[dict[str, np.ndarray], tuple]]) -> np.ndarray:
    """Positions of the logs behind some lots; known: (lot -> logs, the lots that are looked up in it)."""
    parts = [behind[key] for behind, lots in known for key in lots if key in behind]
    return np.array(list(dict.fromkeys(np.concatenate(parts).tolist())), dtype=np.int64) if parts else np.zeros(0, dtype=np.int64)


def _moved_by_lot(sales: pd.DataFrame) -> pd.DataFrame:
    """By product and lot: kg delivered, sold and returned, what left home in all, the first day, the markets and the number of lines."""
    named = sales[sales["lot"] != ""]
    kind, amount = named["kind"], named["amount"]
    taking = pd.MultiIndex.from_frame(named.loc[kind == "delivered", ["key", "product", "lot"]])
    through = pd.MultiIndex.from_frame(named[["key", "product", "lot"]]).isin(taking)
    direct = ~through & kind.isin(("sold", "spoiled")) & (named["terms"] != OUTRIGHT)
    only = {"delivered": kind == "delivered", "returned": kind == "returned", "direct": direct}
    table = named.assign(**{name: amount.where(mask, 0.0) for name, mask in only.items()})
    table = table.groupby(["product", "lot"]).agg(
        delivered=("delivered", "sum"), sold=("sold_kg", "sum"), returned=("returned", "sum"), direct=("direct", "sum"), moves=("at", "size"),
        moved_first=("day", "min"),
        markets=("market", lambda part: ", ".join(dict.fromkeys(part))))
    table["left_home"] = table["delivered"] - table["returned"] + table["direct"]
    return table.drop(columns="direct").rename_axis(["product", "key"])


def used_at_home(lines: Lines) -> dict[str, float]:
    """Fresh kg of each harvest lot culled, given, spoiled at home or dried."""
    if lines.nothing:
        return {}
    home = lines.events[lines.events["kind"].isin(AT_HOME) & (lines.events["key"] != "")].groupby("key")["kg"].sum().to_dict()
    for sources, kilos in zip(lines.dryings["sources"], lines.dryings["kg"], strict=True):
        for source in sources:
            home[source] = home.get(source, 0.0) + (0.0 if np.isnan(kilos) else kilos) / len(sources)
    return home


def _register_words(got: float, left: float, logs: int, spawn_known: bool, too_early: bool) -> str:
    said = []
    if np.isnan(got):
        said.append("on Sales only: no picked or dried line carries this lot")
    elif left < -LEAST_KG:
        said.append("more went out than came in")
    if too_early:
        said.append("went to a market before it was picked or dried: look at the dates")
    if not np.isnan(got) and not logs:
        said.append("no known log stands behind it")
    elif logs and not spawn_known:
        said.append("its logs have no spawn lot on Logs")
    return "; ".join(said)

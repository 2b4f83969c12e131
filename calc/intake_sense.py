"""What the tables say together: order in time, picks against the size of logs, sales against the harvest."""

from __future__ import annotations

import numpy as np
import pandas as pd

from calc import dates, tables, units, wood
from calc.intake_words import Collector, Context
from calc.problems import QUESTION
from calc.quantities import format_number
from calc.records import MONEY_KINDS, rules
from calc.text_columns import Coded

BEARING = ("picked", "culled", "soaked", "dried", "pins seen")  # need an inoculated log
AFTER_EXIT = ("picked", "culled", "soaked", "pins seen", "weighed", "moved", "turned")
EARLY_PICK_DAYS = 35  # a pick this soon after inoculation is asked about; starting guess
SOAK_GAP_DAYS = 3  # two soaks of a log this close are asked about; starting guess
UNIT_JUMP = (
    units.units()["lb"].si_per_unit ** -1
)  # 2.2046: a step of a log's weight that looks like lb for kg
JUMP_WITHIN = 0.1  # starting guess


def green_weights(logs: pd.DataFrame, woods: pd.DataFrame) -> np.ndarray:
    """Green weight with bark of one log of each row, kg; NaN where the wood is not known."""
    columns = ("wood_gravity", "wood_moisture", "bark_gravity", "bark_moisture", "bark_volume")
    if not len(woods) or not len(logs) or any(c not in woods for c in columns):
        return np.full(len(logs), np.nan)
    first = woods.drop_duplicates("wood").set_index("wood")
    at = first.index.get_indexer(logs["wood"])
    values = [np.append(first[c].to_numpy(dtype=float), np.nan)[at] for c in columns]
    diameter, large = logs["diameter_m"].to_numpy(), logs["large_end_m"].to_numpy()
    ends = np.where(np.isnan(large), diameter, large)
    length = logs["length_m"].to_numpy()
    volume = np.where(
        np.isnan(large), wood.huber_volume(diameter, length), wood.smalian_volume(diameter, ends, length)
    )
    return wood.green_weight(wood.stem_parts(volume, *values, tables.figure("water_density_kg_m3").typical))


def _days(frame: pd.DataFrame, column: str) -> np.ndarray:
    return frame[column].to_numpy().astype("datetime64[D]")


def _words(day) -> str:
    return dates.words(day.astype("datetime64[D]").astype(object))


class Sense:
    """Questions about events, written to one collector; `odd_time` marks events whose day is in doubt."""

    def __init__(
        self, frames: dict, kinds: Coded, named: Coded, item, log, left, context: Context, say: Collector, names: dict, titles: dict
    ):
        self.logs, self.events = frames["logs"], frames["events"]
        self.item, self.log, self.left = item, log, left
        self.context, self.say, self.names, self.titles = context, say, names, titles
        self.kinds, self.kind, self.named = kinds, kinds.texts(), named
        self.day = _days(self.events, "date")
        self.odd_time = np.zeros(len(self.events), dtype=bool)

    def of(self, *kinds: str) -> np.ndarray:
        """True for events of these kinds."""
        return self.kinds.among(kinds)

    def ask(
        self, event: int, column: str, found: str, need: str, do: str, code: str, level: str = QUESTION
    ) -> None:
        self.say.add(
            self.names["events"],
            int(self.events["row"].iat[event]),
            self.titles["events", column],
            level,
            found,
            need,
            do,
            code,
        )

    def _by_event(self, bad: np.ndarray):
        """(event, first log, number of logs) of the links in `bad`, capped."""
        event, log = self.item[bad], self.log[bad]
        counts = np.bincount(event, minlength=len(self.events))
        self.odd_time |= counts > 0
        first = np.unique(event, return_index=True)
        at = dict(zip(first[0].tolist(), log[first[1]].tolist(), strict=True))
        for place in self.say.first(counts > 0, self.names["events"], QUESTION).tolist():
            yield place, at[place], int(counts[place])

    def _who(self, log: int, count: int) -> str:
        name = str(self.logs["log"].iat[log])
        return name if count == 1 else f"{name} and {count - 1} more"

    def times(self) -> None:
        """Events before felling or inoculation, after a log left, too soon after inoculation or a soak."""
        if not len(self.item):
            return
        day = self.day[self.item]
        inoculated, felled = _days(self.logs, "inoculated")[self.log], _days(self.logs, "felled")[self.log]
        bearing = self.of(*BEARING)[self.item]
        before_felling = self.of(*BEARING, "inoculated", "waxed")[self.item] & (day < felled)
        before = bearing & (day < inoculated) & ~before_felling
        after = self.of(*AFTER_EXIT)[self.item] & (day > self.left[self.log])
        early = self.of("picked")[self.item] & (day >= inoculated) & ~after
        early &= day - inoculated <= np.timedelta64(EARLY_PICK_DAYS, "D")
        for mask, past, column, code in (
            (before_felling, "felled", "felled", "before_felling"),
            (before, "inoculated", "inoculated", "before_inoculation"),
            (early, "inoculated", "inoculated", "early_pick"),
        ):
            other = _days(self.logs, column)
            for event, log, count in self._by_event(mask):
                words = "only days after" if code == "early_pick" else "before"
                self.ask(
                    event,
                    "date",
                    f"{self.kind[event]} on {_words(self.day[event])}, {words} {self._who(log, count)} "
                    f"was {past} on {_words(other[log])}",
                    "the right date and log",
                    "Check both days",
                    code,
                )
        told = np.zeros(len(self.logs), dtype=bool)
        told[self.log[self.of("inoculated")[self.item]]] = True
        undated = self.of("picked", "soaked", "pins seen")[self.item] & np.isnat(inoculated) & ~told[self.log]
        at = np.flatnonzero(undated)  # asked about once a log
        undated[np.setdiff1d(at, at[np.unique(self.log[at], return_index=True)[1]])] = False
        for event, log, count in self._by_event(undated):
            self.ask(
                event,
                "log_text",
                f"{self.kind[event]}, but {self._who(log, count)} has no day of inoculation",
                "the day the spawn went in",
                "Type Inoculated on Logs; until then its age and season are not known",
                "never_inoculated",
            )
        for event, log, count in self._by_event(after):
            self.ask(
                event,
                "date",
                f"{self.kind[event]} on {_words(self.day[event])}, after {self._who(log, count)} "
                f"left the yard on {_words(self.left[log])}",
                "the right date and log",
                "Check both days",
                "after_exit",
            )
        self._soaks(day)

    def _soaks(self, day) -> None:
        soak = np.flatnonzero(self.of("soaked")[self.item])
        order = soak[np.lexsort((day[soak], self.log[soak]))]
        same = self.log[order][1:] == self.log[order][:-1]
        gap = (day[order][1:] - day[order][:-1]).astype(int)
        bad, close = np.zeros(len(self.item), dtype=bool), same & (gap <= SOAK_GAP_DAYS)
        bad[order[1:][close]] = True
        before = dict(zip(order[1:][close].tolist(), order[:-1][close].tolist(), strict=True))
        first_link = {}
        for link in np.flatnonzero(bad).tolist():
            first_link.setdefault(int(self.item[link]), link)
        for event, log, count in self._by_event(bad):
            earlier = self.day[self.item[before[first_link[event]]]]
            self.ask(
                event,
                "date",
                f"{self._who(log, count)} soaked " + (f"twice on {_words(self.day[event])}" if earlier == self.day[event] else
                                                      f"on {_words(self.day[event])} and on {_words(earlier)}"),
                "one soak, then a rest",
                "Check whether it was typed twice",
                "soaks_close",
            )

    def weights(self, green: np.ndarray) -> None:
        """Picks too heavy for their logs, and a log whose weight jumps by the factor between lb and kg."""
        if not len(self.item):
            return
        amount = self.events["amount"].to_numpy(dtype=float)
        count = self.logs["count"].to_numpy(dtype=float)
        logs = np.bincount(self.item, weights=count[self.log], minlength=len(amount))
        wet = np.bincount(self.item, weights=(count * green)[self.log], minlength=len(amount))
        each, share = (
            rules("events")["amount_per_log"].ask_above,
            rules("events")["amount_of_green"].ask_above,
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            heavy = self.of("picked") & (logs > 0) & ((amount / logs > each) | (amount / wet > share))
        for event in self.say.first(heavy, self.names["events"], QUESTION).tolist():
            self._heavy(event, amount[event], logs[event], wet[event], share)
        self._jumps(amount)

    def _heavy(self, event: int, amount: float, logs: float, wet: float, share: float) -> None:
        shown = self.context.shown(amount, "weight")
        small = "oz" if self.context.profile == units.US else "g"
        typed = amount / self.context.factor("weight")
        meant = typed * units.units()[small].si_per_unit / self.context.factor("weight")
        each = "" if logs == 1 else f", {self.context.shown(amount / logs, 'weight')} a log,"
        what = "one log" if logs == 1 else f"{logs:.0f} logs"
        of_green = amount / wet if wet > 0 else 0
        why = (
            f"{of_green:.0%} of what the fresh wood weighed" if of_green > share else "more than a log gives"
        )
        self.ask(
            event,
            "amount",
            f"{shown}{each} picked from {what} is {why}",
            "the weight picked",
            f"If {format_number(typed)} {small} was meant, type {format_number(meant)}; it is used as typed",
            "heavy_pick",
        )

    def _jumps(self, amount: np.ndarray) -> None:
        single = np.bincount(self.item, minlength=len(amount)) == 1
        link = np.flatnonzero(
            self.of("weighed")[self.item] & single[self.item] & (amount[self.item] > 0)
        )
        if len(link) < 2:
            return
        order = link[np.lexsort((self.day[self.item[link]], self.log[link]))]
        now, then = self.item[order][1:], self.item[order][:-1]
        ratio = amount[now] / amount[then]
        same = self.log[order][1:] == self.log[order][:-1]
        jump = np.abs(np.maximum(ratio, 1 / ratio) / UNIT_JUMP - 1) < JUMP_WITHIN
        for place in np.flatnonzero(same & jump)[:100].tolist():
            shown = self.context.shown(amount[now[place]], "weight")
            before = self.context.shown(amount[then[place]], "weight")
            self.ask(
                int(now[place]),
                "amount",
                f"{shown}, after {before} on {_words(self.day[then[place]])}, is a step as from lb to kg",
                f"the weight in {self.context.unit('weight')}",
                "Check the unit; it is used as typed",
                "unit_jump",
            )


def log_questions(logs: pd.DataFrame, say: Collector, sheet: str, titles: dict) -> None:
    """Logs inoculated before they were felled, and a large end thinner than the small one."""
    inoculated, felled = _days(logs, "inoculated"), _days(logs, "felled")
    for place in say.first(inoculated < felled, sheet, QUESTION).tolist():
        words = f"inoculated on {_words(inoculated[place])}, before it was felled on {_words(felled[place])}"
        say.add(
            sheet,
            int(logs["row"].iat[place]),
            titles["inoculated"],
            QUESTION,
            words,
            "the right days",
            "Check both days",
            "before_felling",
        )
    thin = (logs["large_end_m"] < logs["diameter_m"] - 1e-9).to_numpy()
    for place in say.first(thin, sheet, QUESTION).tolist():
        say.add(
            sheet,
            int(logs["row"].iat[place]),
            titles["large_end_m"],
            QUESTION,
            "the large end is thinner than the other",
            "the diameter of the thick end",
            "Change the two over; they are used as typed",
            "ends_changed_over",
        )


def sales_questions(frames: dict, context: Context, say: Collector, sheet: str, titles: dict) -> None:
    """Sales without a price, and more fresh weight sent out than was ever picked."""
    sales = frames["sales"]
    if not len(sales):
        return
    kind = sales["kind"].to_numpy(dtype=object)
    bare = np.isin(kind, ("sold", "delivered")) & sales["price"].isna().to_numpy() & ~_priced(sales, frames)
    terms = (
        dict(zip(frames["markets"]["market"], frames["markets"]["terms"], strict=True))
        if len(frames.get("markets", ()))
        else {}
    )
    outright = np.array([terms.get(m) == "bought outright" for m in sales["market"]], dtype=bool)
    bare &= (kind == "delivered") == outright  # the movement that money is owed for
    for place in say.first(bare, sheet, QUESTION).tolist():
        say.add(
            sheet,
            int(sales["row"].iat[place]),
            titles["price"],
            QUESTION,
            f"no price is known for {sales['product'].iat[place]} at {sales['market'].iat[place]}",
            "a price",
            "Type it here, or on Lists with a date not after this one",
            "no_price",
        )
    _over_harvest(sales, frames["events"], context, say, sheet, titles)


def _priced(sales: pd.DataFrame, frames: dict) -> np.ndarray:
    """True where Lists has a price for the market and product from a date not after the sale."""
    prices = frames.get("prices")
    if prices is None or not len(prices):
        return np.zeros(len(sales), dtype=bool)
    good = prices[prices["price_each"].notna() & prices["price_from"].notna()]
    first = good.groupby(["price_market", "price_product"])["price_from"].min()
    keys = pd.MultiIndex.from_arrays([sales["market"], sales["product"]])
    start = first.reindex(keys).to_numpy()
    with np.errstate(invalid="ignore"):
        return start <= sales["date"].to_numpy()


def _over_harvest(sales, events, context, say, sheet, titles) -> None:
    fresh = (sales["product"] == "fresh").to_numpy() & ~sales["kind"].isin(MONEY_KINDS).to_numpy()
    kind, market = sales["kind"].to_numpy(dtype=object), sales["market"]
    taking = set(market[fresh & (kind == "delivered")])
    through = market.isin(taking).to_numpy()
    sign = np.where(kind == "delivered", 1.0, np.where(kind == "returned", -1.0, 0.0))
    sign = np.where(through, sign, np.where(kind == "sold", 1.0, 0.0)) * fresh
    if not sign.any():
        return
    picks = (events["event"].str.lower() == "picked").to_numpy(dtype=bool)
    picked = events[picks].sort_values("date", kind="stable")
    came = np.concatenate(([0.0], np.cumsum(picked["amount"].fillna(0.0).to_numpy(dtype=float))))
    order = np.argsort(sales["date"].to_numpy(), kind="stable")
    out = np.cumsum((sign * sales["amount"].to_numpy(dtype=float))[order])
    upto = came[np.searchsorted(picked["date"].to_numpy(), sales["date"].to_numpy()[order], side="right")]
    over = np.flatnonzero((out > upto + 1e-9) & (sign[order] > 0))
    if len(over):
        beyond = np.minimum(out - upto, sales["amount"].to_numpy(dtype=float)[order])[over]
        at = int(over[np.argmax(beyond)])  # the row that brings most of what is too much
        place = int(order[at])
        say.add(
            sheet,
            int(sales["row"].iat[place]),
            titles["amount"],
            QUESTION,
            f"by then {context.shown(out[at], 'weight')} fresh had gone to markets, but only "
            f"{context.shown(upto[at], 'weight')} had been picked",
            "sales of what was picked",
            "Look for a pick that is missing or a sale typed twice",
            "over_harvest",
        )

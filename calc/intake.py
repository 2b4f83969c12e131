"""From what the sheets hold to checked frames in SI, with every problem said in words.

`check` is the door. A cell that is plainly meant is read in silence; a guess is used with a note; what has
two meanings is a question; what cannot be used takes its row out of the totals and is listed.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from calc import intake_links as links
from calc.intake_cells import Sheet, read_dates, read_numbers, read_text
from calc.intake_choices import read_choice
from calc.intake_counts import counts, doubtful_names, like_names, price_questions
from calc.intake_market import market_questions, promise_questions
from calc.intake_rows import apply_list_rules, apply_rules, frame_of, open_sheet
from calc.intake_samples import sample_questions
from calc.intake_sense import Sense, green_weights, log_questions, sales_questions
from calc.intake_words import AMOUNT_QUANTITY, Collector, Context
from calc.problems import NOTE
from calc.quantities import Read, normal, read_two_sizes
from calc.raw import RawColumn, RawTable
from calc.records import AMOUNT_KINDS, DEPTH, FIXED_LISTS, HOURS, MONEY_KINDS, NUMBER, WEIGHT, Intake, TableInfo

# Column of the frame -> column of the sheet, where they differ.
FRAMES = {
    "logs": (
        "log",
        "wood",
        "strain",
        "diameter_m",
        "large_end_m",
        "length_m",
        "inoculated",
        "count",
        "felled",
        "spawn_form",
        "spawn_lot",
        "hole_spacing_m",
        "row_spacing_m",
        "holes_drilled",
        "ends_waxed",
        "place",
        "rota_week",
        "sample_weight_kg",
        "start_moisture",
        "source",
        "note",
        "key",
    ),
    "events": (
        "date",
        "event",
        "log_text",
        "amount",
        "note",
        "minutes",
        "who",
        "grade",
        "picked_wet",
        "lot",
        "dried_out_kg",
        "tank",
        "key",
    ),
    "costs": ("date", "item", "amount", "category", "for_text", "life_years", "salvage", "note", "key"),
    "sales": (
        "date",
        "market",
        "kind",
        "product",
        "amount",
        "price",
        "grade",
        "lot",
        "docket",
        "note",
        "key",
    ),
    "promises": ("week", "market", "product", "asked_kg", "promised_kg", "ordered_kg", "note", "key"),
}
RENAMED = {
    "logs": {
        "diameter_m": "diameter",
        "large_end_m": "large_end",
        "length_m": "length",
        "hole_spacing_m": "hole_spacing",
        "row_spacing_m": "row_spacing",
        "sample_weight_kg": "sample_weight",
        "key": "row",
    },
    "events": {"log_text": "log", "note": "event_note", "dried_out_kg": "dried_out", "key": "row"},
    "costs": {"for_text": "for_logs", "note": "cost_note", "key": "row"},
    "sales": {"note": "sale_note", "key": "row"},
    "promises": {"week": "promise_week", "market": "promise_market", "product": "promise_product", "asked_kg": "asked",
                 "promised_kg": "promised", "ordered_kg": "ordered", "note": "promise_note", "key": "row"},
}
LISTS = (
    "woods",
    "strains",
    "forms",
    "packs",
    "markets",
    "prices",
    "closings",
    "closed_years",
    "helpers",
    "event_kinds",
    "places",
    "lots",
    "categories",
)
TIDY_NOT = ("note", "caution", "source")

# Events the calculations know: what their amount is, whether it is needed, whether they may name no log.
KNOWN_EVENTS = {
    "watered": (DEPTH, False, True),
    "rain": (DEPTH, True, True),
    "soaked": (HOURS, False, False),
    "weighed": (WEIGHT, True, False),
    "picked": (WEIGHT, True, False),
    "culled": (WEIGHT, True, True),
    "dried": (WEIGHT, True, True),
    "stored": (WEIGHT, True, True),
    "dried count": (WEIGHT, True, True),
    "given": (WEIGHT, True, True),
    "spoiled": (WEIGHT, True, True),
    "worked": ("", False, True),
    "retired": (NUMBER, False, False),
    "lost": (NUMBER, False, False),
    "sold as log": (NUMBER, False, False),
    "note": ("", False, True),
}
AMOUNT_WORDS = (("depth", DEPTH), ("weight", WEIGHT), ("hours", HOURS), ("number", NUMBER))


def check(raw: dict[str, RawTable], infos, settings: dict, profile: str, as_of: dt.date) -> Intake:
    """Read and check all tables.

    raw: table key -> RawTable. infos: a TableInfo for each table, in the order of the sheets. settings: only
    `date_order` ("month first", "day first"), `comma_decimal` (True, False, None) and `currency` are used. profile: "us"
    or "metric". as_of: the day the results are for. Raises nothing for anything a grower can type.
    """
    context = Context(profile, as_of, settings.get("date_order"), settings.get("comma_decimal"),
                      str(settings.get("currency") or ""))
    infos = {info.key: info for info in infos}
    say = Collector([raw[key].sheet for key in infos if key in raw])
    reading = _Reading(raw, infos, context, say)
    for key in infos:
        if key not in FRAMES:
            reading.read_list(key)
    for key in FRAMES:
        reading.read_input(key)
    return reading.finish()


class _Reading:
    """The tables on their way: sheets being read, frames done."""

    def __init__(self, raw, infos, context, say):
        self.raw, self.infos, self.context, self.say = raw, infos, context, say
        self.sheets: dict[str, Sheet] = {}
        self.frames: dict[str, pd.DataFrame] = {}
        self.counts: dict[str, tuple[int, int]] = {}

    # -- lists

    def read_list(self, key: str) -> None:
        """A table of the Lists sheet: every typed column under its own key."""
        sheet = self._open(key)
        columns = [c for c in self.infos[key].columns if c.kind not in ("computed", "rowkey")]
        for info in columns:
            sheet.keys[info.key] = info
            self._read_column(sheet, info.key, info)
        name = columns[0].key
        apply_list_rules(sheet, name)
        self._keep(sheet, tuple(c.key for c in columns))

    def _entries(self, list_name: str):
        """What a choice is chosen from."""
        if list_name in FIXED_LISTS:
            return FIXED_LISTS[list_name]
        frame = self.frames.get(list_name)
        if frame is None or frame.shape[1] < 2:
            return ()
        return [e for e in frame.iloc[:, 1] if e is not None]

    # -- input tables

    def read_input(self, key: str) -> None:
        if key not in self.infos:
            self.infos[key] = TableInfo(key, key.title(), ())
        sheet = self._open(key)
        typed = {c.key: c for c in self.infos[key].columns}
        for column in FRAMES[key]:
            info = typed.get(RENAMED[key].get(column, column))
            if info is not None:
                sheet.keys[column] = info
        overlays = self._two_sizes(sheet) if key == "logs" else {}
        for column in FRAMES[key]:
            if column not in sheet.keys:
                sheet.columns[column] = _blank(column, len(sheet))
            elif (key, column) == ("events", "amount"):
                self._event_kinds(sheet)
            elif (key, column) == ("sales", "amount"):
                self._sale_amounts(sheet)
            else:
                self._read_column(sheet, column, sheet.keys[column], overlays.get(column))
        if key == "logs":
            blank = np.isnan(sheet.columns["count"]) & ~sheet.unreadable("count")
            sheet.columns["count"][blank] = 1.0
        apply_rules(sheet)

    def _open(self, key: str) -> Sheet:
        info = self.infos[key]
        raw = self.raw.get(key) or RawTable(key, info.sheet, 1, 2, {})
        sheet = self.sheets[key] = open_sheet(raw, info, self.context, self.say)
        return sheet

    def _read_column(self, sheet: Sheet, column: str, info, overlay=None) -> None:
        if info.kind == "number":
            values = read_numbers(sheet, info, column, overlay)
        elif info.kind == "date":
            values = read_dates(sheet, info, column, done=sheet.key in FRAMES and sheet.key != "promises")
        else:
            values = read_text(sheet, info, column, tidy=column not in TIDY_NOT)
            if info.list:
                values = read_choice(sheet, column, values, info.list, self._entries(info.list))
        sheet.columns[column] = values

    def _two_sizes(self, sheet: Sheet) -> dict[str, dict[int, float]]:
        """Both sizes typed into Diameter or Length, with the other cell left blank."""
        found = {"diameter_m": {}, "length_m": {}}
        pair = [sheet.raw_column("diameter"), sheet.raw_column("length")]
        if None in pair:
            return found
        for column, other in (pair, pair[::-1]):
            blank = other.blank()
            for index, odd in column.odd.items():
                if odd.kind != "text" or not blank[index] or not sheet.used[index]:
                    continue
                sizes = read_two_sizes(odd.value, self.context.profile, self.context.comma_decimal)
                if isinstance(sizes, tuple) and isinstance(sizes[0], Read):
                    found["diameter_m"][index], found["length_m"][index] = (s.value_si for s in sizes)
                    words = " thick and ".join(self.context.shown(s.value_si, "length") for s in sizes)
                    sheet.problem(
                        index,
                        "diameter_m",
                        NOTE,
                        f'"{normal(odd.value)}" was read as {words} long',
                        code="two_sizes",
                    )
        return found

    def _event_kinds(self, sheet: Sheet) -> None:
        """What each event's amount is, then the amounts. A line with a date and a note only is a note."""
        columns = sheet.columns
        bare = sheet.texts("event").blank & sheet.used & ~sheet.unreadable("event")
        if bare.any():
            for key in ("log", "amount", "minutes"):
                raw = sheet.raw_column(key)
                bare &= raw.blank() if raw is not None else True
            note = sheet.raw_column("event_note")
            bare &= ~note.blank() if note is not None else False
            columns["event"] = np.where(bare, "note", columns["event"])
            del sheet.coded["event"]
        codes = sheet.texts("event").codes
        rules = [self._event_rule(str(k)) for k in sheet.texts("event").words] + [("", False, False)]
        kinds = np.array([AMOUNT_KINDS.index(rule[0]) for rule in rules], dtype=np.int64)[codes]
        columns["amount_is"] = np.array(AMOUNT_KINDS, dtype=object)[kinds]
        columns["amount_needed"] = np.array([rule[1] for rule in rules])[codes]
        columns["whole_yard"] = np.array([rule[2] for rule in rules])[codes]
        quantities = tuple(AMOUNT_QUANTITY[kind] for kind in AMOUNT_KINDS)
        columns["amount"] = read_numbers(sheet, sheet.keys["amount"], "amount", None, (quantities, kinds))

    def _event_rule(self, event: str):
        """(what the amount is, needed, may name no log), from Lists where the event stands there."""
        name = event.lower()
        known = KNOWN_EVENTS.get(name, ("", False, False))
        listed = self._listed_events.get(name)
        if listed is None:
            return known
        amount = (
            known[0]
            if name in KNOWN_EVENTS
            else next((kind for word, kind in AMOUNT_WORDS if word in str(listed[0] or "").lower()), "")
        )
        return amount, listed[1] == "yes", listed[2] == "yes"

    @property
    def _listed_events(self) -> dict:
        frame = self.frames.get("event_kinds")
        if frame is None or not len(frame) or "event_needs" not in frame:
            return {}
        if not hasattr(self, "_events"):
            self._events = {
                str(e).lower(): row
                for e, *row in frame[["event_kind", "amount_is", "event_needs", "whole_yard"]].itertuples(
                    index=False
                )
            }
        return self._events

    def _sale_amounts(self, sheet: Sheet) -> None:
        money = np.isin(sheet.columns["kind"], MONEY_KINDS)
        sheet.columns["amount"] = read_numbers(
            sheet, sheet.keys["amount"], "amount", None, (("weight", "money"), money.astype(np.int64))
        )

    # -- the end

    def _keep(self, sheet: Sheet, columns) -> np.ndarray:
        frame, kept = frame_of(sheet, columns)
        self.frames[sheet.key] = frame
        self.counts[sheet.key] = (int(sheet.used.sum()), len(frame))
        return kept

    def finish(self) -> Intake:
        """Links between the tables, questions about them together, and the result."""
        say, context = self.say, self.context
        events_sheet, logs_sheet = self.sheets["events"], self.sheets["logs"]
        kept = self._keep(events_sheet, FRAMES["events"])
        events = self.frames["events"]
        typed_kind = events_sheet.texts("event").at(kept)
        kind, named = typed_kind.changed(str.casefold), events_sheet.texts("log_text").at(kept)
        doubled = links.mark_doubles(logs_sheet, links.exits_by_name(events, kind))
        kept_logs = self._keep(logs_sheet, FRAMES["logs"])
        for title, column in logs_sheet.raw.extra.items():
            self.frames["logs"]["extra:" + title] = pd.Series(_extra(column)[kept_logs], dtype=object)
        logs = self.frames["logs"]
        logs["count"] = np.round(logs["count"]).astype(np.int64)
        for key in ("costs", "sales", "promises"):
            self._keep(self.sheets[key], FRAMES[key])
        index = links.log_index(logs, logs_sheet, doubled)
        titles = {
            (key, column): info.title for key in FRAMES for column, info in self.sheets[key].keys.items()
        }
        may_be_yard = (
            events_sheet.columns["whole_yard"][kept]
            if "whole_yard" in events_sheet.columns
            else np.zeros(len(events), dtype=bool)
        )
        item, log, over_yard, how = links.link_events(
            index, logs, events, named, kind, may_be_yard, events_sheet.raw,
            titles.get(("events", "log_text"), "Log"), say, events_sheet.unreadable("log_text")[kept],
        )
        left = links.exit_days(
            item,
            log,
            events["date"].to_numpy().astype("datetime64[D]"),
            kind,
            events["amount"].to_numpy(dtype=float),
            logs["count"].to_numpy(dtype=float),
        )
        names = {key: self.sheets[key].raw.sheet for key in FRAMES}
        log_titles = {column: info.title for column, info in logs_sheet.keys.items()}
        log_questions(logs, say, names["logs"], log_titles)
        doubtful_names(logs, say, names["logs"], log_titles.get("log", "Log"))
        like_names(logs, say, names["logs"], log_titles.get("log", "Log"))
        if "prices" in self.sheets:
            price_questions(self.frames["prices"], say, self.sheets["prices"].raw.sheet)
        sense = Sense(self.frames, typed_kind.changed(str.lower), named, item, log, left, context, say, names, titles)
        sense.times()
        sense.weights(green_weights(logs, self.frames.get("woods", pd.DataFrame())))
        counts(sense)
        sample_questions(sense, self.frames.get("woods", pd.DataFrame()))
        events["whole_yard"], events["odd_time"] = over_yard, sense.odd_time
        costs = self.frames["costs"]
        cost, cost_log, shared = links.link_costs(
            index, costs, self.sheets["costs"].raw, titles.get(("costs", "for_text"), "For"), say
        )
        costs["shared"] = shared
        sale_titles = {column: info.title for column, info in self.sheets["sales"].keys.items()}
        sales_questions(self.frames, context, say, names["sales"], sale_titles)
        market_questions(self.frames, context, say, names["sales"], sale_titles)
        promise_titles = {column: info.title for column, info in self.sheets["promises"].keys.items()}
        promise_questions(self.frames, context, say, names["promises"], promise_titles)
        return Intake(
            self.frames,
            pd.DataFrame({"event": item, "log": log}),
            pd.DataFrame({"cost": cost, "log": cost_log}),
            say.listed(),
            self.counts,
        )


def _blank(column: str, length: int) -> np.ndarray:
    if column in ("inoculated", "felled", "date", "week"):
        return np.full(length, np.datetime64("NaT"), dtype="datetime64[D]")
    if column.endswith(("_m", "_kg")) or column in NUMBERS:
        return np.full(length, np.nan)
    return np.full(length, None, dtype=object)


NUMBERS = (
    "count",
    "holes_drilled",
    "rota_week",
    "start_moisture",
    "amount",
    "minutes",
    "life_years",
    "salvage",
    "price",
)


def _extra(column: RawColumn) -> np.ndarray:
    """A column of the grower's own as text."""
    values = column.values.copy()
    for index, odd in column.odd.items():
        values[index] = str(odd.value)
    return values

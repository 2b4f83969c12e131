"""What lines take against what there was: more logs gone than there are, more culled than picked, a line typed twice."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from calc.dates import words
from calc.intake_links import EXITS
from calc.intake_sense import Sense
from calc.intake_words import Collector
from calc.problems import QUESTION, quote
from calc.selection import ALL_WORDS, loose_names
from calc.text_columns import Coded

LEAST_KG = 0.001  # a gram: below what a kitchen scale shows


def counts(sense: Sense) -> None:
    """Ask about events that take more logs or more weight than there was, and about lines that stand twice."""
    _exits(sense)
    _culls(sense)
    _twice(sense)


def _exits(sense: Sense) -> None:
    """Retired, lost and sold logs beyond the number that a row holds."""
    kind, amount = sense.kind, sense.events["amount"].to_numpy(dtype=float)
    links = np.flatnonzero(sense.of(*EXITS)[sense.item])
    if not len(links):
        return
    event, log = sense.item[links], sense.log[links]
    there = sense.logs["count"].to_numpy(dtype=float)
    named = np.bincount(event, weights=there[log], minlength=len(kind))
    take = np.where(np.isnan(amount[event]), there[log], amount[event] * there[log] / named[event])
    whole = np.isnan(amount[event])
    order = np.lexsort((event, sense.day[event], log))
    table = pd.DataFrame({"log": log[order], "event": event[order], "take": take[order], "whole": whole[order]})
    gone = table.groupby("log")["take"].cumsum() - table["take"]
    over = (gone + table["take"] > there[table["log"]] + 1e-6) & ~(table["whole"] & (gone < there[table["log"]] - 1e-6))
    for row in table[over].drop_duplicates("event").itertuples():
        holds = there[row.log]
        before = gone[row.Index]
        left = f", of which {before:g} had left" if before > 0 else ""
        sense.ask(row.event, "amount" if not row.whole else "log_text",
                  f"{row.take:g} {kind[row.event]} of {sense.logs['log'].iat[row.log]}, which holds {holds:g}{left}",
                  "logs that are still there", "Check the number and the log; no more leave than there are", "too_many_gone")


def _culls(sense: Sense) -> None:
    """Weight thrown out of a log beyond all that was picked from it; not asked while picks name no log."""
    amount, culled = np.nan_to_num(sense.events["amount"].to_numpy(dtype=float)), sense.of("culled")
    named = np.bincount(sense.item, minlength=len(amount)) > 0
    thinned = np.zeros(len(sense.logs), dtype=bool)
    thinned[sense.log[culled[sense.item]]] = True
    if not thinned.any() or (sense.of("picked") & ~named).any():
        return
    links = np.flatnonzero(sense.of("picked", "culled")[sense.item])
    event, log = sense.item[links], sense.log[links]
    count = sense.logs["count"].to_numpy(dtype=float)
    logs = np.bincount(event, weights=count[log], minlength=len(amount))
    event, log = event[thinned[log]], log[thinned[log]]
    weight, thrown = amount[event] * count[log] / logs[event], culled[event]
    order = np.lexsort((thrown, sense.day[event], log))
    table = pd.DataFrame({"log": log, "event": event, "culled": weight * thrown, "picked": weight * ~thrown}).iloc[order]
    so_far = table.groupby("log")[["culled", "picked"]].cumsum()
    over = (table["culled"] > 0) & (so_far["culled"] > so_far["picked"] + LEAST_KG)
    found = table.loc[over, ["log", "event"]].join(so_far)
    for row in found.drop_duplicates("log").itertuples():
        shown = [sense.context.shown(value, "weight") for value in (row.culled, row.picked)]
        sense.ask(row.event, "amount", f"{shown[0]} culled of {sense.logs['log'].iat[row.log]} up to here, and {shown[1]} picked",
                  "weight thrown out of what was picked", "Check the weight, the log and whether the pick is written down",
                  "culled_over_picked")


def _twice(sense: Sense) -> None:
    """Lines with a weight that say the same thing of the same logs on the same day."""
    events = sense.events
    weighty = sense.of("picked", "culled", "dried", "given", "spoiled") & events["amount"].notna().to_numpy()
    weighty[weighty] = _repeated(events["date"].to_numpy()[weighty], events["amount"].to_numpy(dtype=float)[weighty],
                                 sense.named.codes[weighty])
    lines = events[weighty]
    same = lines.duplicated(["date", "event", "log_text", "amount", "note", "grade", "lot"], keep="first")
    for event in lines.index[same]:
        line = events.loc[event]
        sense.ask(event, "date",
                  f"{line['event']} {sense.context.shown(line['amount'], 'weight')} of {line['log_text'] or 'the yard'} on "
                  f"{words(line['date'].date())} stands in a row above as well", "one line for each weighing",
                  "Clear one of them if it was typed twice; both count until then", "line_twice")


def _repeated(days: np.ndarray, amounts: np.ndarray, logs: np.ndarray) -> np.ndarray:
    """True at least where the three stand together more than once."""
    mixed = days.astype(np.int64) * 1_000_003 + logs
    return pd.Series(mixed * 1_000_003 + (amounts + 0.0).view(np.int64)).duplicated(keep=False).to_numpy()


def like_names(logs: pd.DataFrame, say: Collector, sheet: str, title: str) -> None:
    """Names that differ by case, spaces, dashes or leading zeros only; and one log named like a range of many."""
    names, count = logs["log"].to_numpy(dtype=object), logs["count"].to_numpy()
    codes, known = pd.factorize(loose_names(names))
    first = np.zeros(len(known), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(names))[::-1]
    other = names[first[codes]]
    alike = other != names
    ranges = Coded(np.arange(len(names)), names).matching(r"[0-9].*(-|–|to|\.\.)", ("-", "to", ".."))  # of plain ASCII none holds the dash
    for at in np.flatnonzero(alike | (np.isin(np.arange(len(names)), ranges))):
        row, name = logs["row"].iat[at], names[at]
        if str(other[at]).casefold() != str(name).casefold():
            say.add(sheet, int(row), title, QUESTION, f"{quote(name)} reads like {quote(other[at])}", "a name of its own",
                    "Give one of them another name; lines must spell theirs exactly until then", "like_name")
        many = logs_in_range(str(name))
        if many > 1 and count[at] == 1:
            say.add(sheet, int(row), title, QUESTION, f"{quote(name)} reads like {many} logs, and Count says 1", "the number of logs",
                    f"Type {many} in Count, or a name without a range", "range_name")


def logs_in_range(name: str) -> int:
    """How many logs a name such as A1-A20 would stand for; 0 for any other name.

    >>> logs_in_range("A1-A20"), logs_in_range("N-07"), logs_in_range("2025-3")
    (20, 0, 0)
    """
    match = re.fullmatch(r"([A-Za-z]+ ?)(\d{1,6})\s*(?:-|–|to|\.\.)\s*([A-Za-z]+ ?)(\d{1,6})", name.strip())
    if not match or match[1].casefold() != match[3].casefold() or int(match[4]) <= int(match[2]):
        return 0
    return int(match[4]) - int(match[2]) + 1


def price_questions(prices: pd.DataFrame, say: Collector, sheet: str) -> None:
    """Prices on Lists that cannot be used as they stand: without a date or an amount, or two of one day."""
    if not len(prices):
        return
    for row, market, since, each in zip(prices["row"], prices["price_market"], prices["price_from"], prices["price_each"], strict=True):
        if pd.isna(since) != pd.isna(each):
            say.add(sheet, int(row), "From date" if pd.isna(since) else "Price each", QUESTION,
                    f"the price at {market} has no {'day from which it holds' if pd.isna(since) else 'amount'}", "both", "Type it; no sale takes "
                    "this price until then", "half_price")
    whole = prices.dropna(subset=["price_from", "price_each"])
    twice = whole[whole.duplicated(["price_market", "price_product", "price_from"])]
    for row, market in zip(twice["row"], twice["price_market"], strict=True):
        say.add(sheet, int(row), "Price each", QUESTION, f"another price at {market} holds from the same day", "one price a day",
                "Clear one of them; the upper one is used until then", "two_prices")


def doubtful_names(logs: pd.DataFrame, say: Collector, sheet: str, title: str) -> None:
    """Logs named like a place, a wood, a strain or like the word for all logs."""
    groups = {}
    for kind in ("wood", "strain", "place"):
        groups |= {str(name).casefold(): kind for name in logs[kind].dropna().unique()}
    groups |= dict.fromkeys(ALL_WORDS, "word for every log")
    for at, name in enumerate(logs["log"].tolist()):
        kind = groups.get(name.casefold()) if name else None
        if kind:
            row = logs["row"].iat[at]
            say.add(sheet, int(row), title, QUESTION, f"{quote(name)} is the name of this log and also a {kind}",
                    "a name of its own", "Give the log another name; lines that say it mean this log alone until then", "doubtful_name")

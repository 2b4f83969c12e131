"""Which logs each event and each cost is about, and which names on Logs are used twice."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pandas as pd

from calc.intake_cells import Sheet
from calc.intake_words import Collector, also
from calc.problems import NOTE, QUESTION, REFUSED, Ask, either, quote, type_one
from calc.raw import RawTable
from calc.selection import ALL, GROUPS, NAME, LogIndex, Selection, find_many
from calc.text_columns import Coded

EXITS = ("retired", "lost", "sold as log")
SHARED_WEIGHTS = ("culled", "dried")  # may be about the whole yard, yet "all" shares them out to the logs
NO_DAY = np.datetime64("NaT", "D")
END = np.datetime64("9999-12-31", "D")


# ---- names used twice --------------------------------------------------------------------------


def mark_doubles(sheet: Sheet, exits: dict[str, list[np.datetime64]]) -> dict[str, list[int]]:
    """Refuse every row whose log name is used twice; returns name -> sheet rows.

    A name may be given again once its log has left: then the rows keep apart by their days of inoculation.
    exits: lower-case name -> days on which an event says that it left.
    """
    typed = [name.casefold() for name in sheet.columns["log"][sheet.used] if name is not None]
    doubled = {}
    if len(set(typed)) == len(typed):
        return doubled
    names = sheet.texts("log").where(sheet.used).changed(str.casefold)
    codes, known = names.codes, names.words
    counts = np.bincount(codes[codes >= 0], minlength=len(known))
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(known) + 1))
    taken = {str(k) for k in known}
    mask = np.zeros(len(sheet), dtype=bool)
    groups, free_names = {}, {}
    for code in np.flatnonzero(counts > 1):
        rows = order[bounds[code] : bounds[code + 1]]
        if not _given_again(sheet.columns["inoculated"][rows], exits.get(str(known[code]), [])):
            mask[rows] = True
            groups[code] = rows
            free_names[code] = _free_names(str(sheet.columns["log"][rows[0]]), len(rows) - 1, taken)
            doubled[str(known[code])] = [sheet.raw.row_of(int(r)) for r in rows]
    for index in sheet.first(mask, REFUSED):
        rows = groups[codes[index]]
        others = either(f"row {sheet.raw.row_of(int(r))}" for r in rows[:4] if r != index)
        name = str(sheet.columns["log"][index])
        free = free_names[code := codes[index]][max(0, groups[code].tolist().index(index) - 1)]
        sheet.problem(
            index,
            "log",
            REFUSED,
            f"{quote(name)} is also the name of {others}",
            "a name used once",
            f"Give one of them another name; {free} is free",
            "double_name",
        )
    return doubled


def _given_again(inoculated: np.ndarray, left: list) -> bool:
    """Whether between each two inoculations of one name its log is said to have left."""
    days = np.sort(inoculated.astype("datetime64[D]"))
    if np.isnat(days).any():
        return False
    return all(any(a <= day <= b for day in left) for a, b in zip(days[:-1], days[1:], strict=True))


def _free_names(name: str, how_many: int, taken: set[str]) -> list[str]:
    """Names for all rows but the first of a doubled name; they count as taken from now on."""
    found = []
    for _ in range(how_many):
        found.append(next_free(name, taken))
        taken.add(found[-1].lower())
    return found


def next_free(name: str, taken: set[str]) -> str:
    """The next name of the same pattern that is not taken: H14 -> H15."""
    match = NAME.match(name)
    if not match or len(match[2]) > 15:
        head, number, tail, width = f"{name}-", 1, "", 0
    else:
        head, number, tail = match[1], int(match[2]), match[3]
        width = len(match[2]) if match[2].startswith("0") else 0
    while True:
        number += 1
        candidate = f"{head}{number:0{width}d}{tail}"
        if candidate.lower() not in taken:
            return candidate


# ---- the index ---------------------------------------------------------------------------------


def log_index(logs: pd.DataFrame, sheet: Sheet | None, doubled: dict[str, list[int]]) -> LogIndex:
    """The index of the usable logs; it knows the names of the rows that are left out."""
    out = {}
    if sheet is not None:
        for index in np.flatnonzero(sheet.used & sheet.refused):
            name = sheet.columns["log"][index]
            if name is not None:
                row = sheet.raw.row_of(int(index))
                out.setdefault(name, f"is on {sheet.raw.sheet} row {row}, which is left out")
        for name, rows in doubled.items():
            words = "is the name of " + " and ".join(f"row {r}" for r in rows[:4]) + f" on {sheet.raw.sheet}"
            for spelling in {n for n in out if n.lower() == name}:
                out[spelling] = words
    years = pd.DatetimeIndex(logs["inoculated"]).year.to_numpy(dtype=float)
    return LogIndex(
        logs["log"].to_numpy(),
        logs["wood"].to_numpy(),
        logs["strain"].to_numpy(),
        logs["place"].to_numpy(),
        years,
        out,
    )


def reused_spans(logs: pd.DataFrame):
    """(from day, to day) in which a log's name means this row; None where no name stands twice."""
    if len({name.lower() for name in logs["log"]}) == len(logs):
        return None
    names = logs["log"].str.lower()
    twice = names.duplicated(keep=False).to_numpy()
    if not twice.any():
        return None
    start = np.full(len(logs), np.datetime64("0001-01-01", "D"))
    stop = np.full(len(logs), END)
    inoculated = logs["inoculated"].to_numpy().astype("datetime64[D]")
    groups = defaultdict(list)
    for position in np.flatnonzero(twice):
        groups[names.iloc[position]].append(position)
    for rows in groups.values():
        rows.sort(key=lambda r: inoculated[r])
        for before, after in zip(rows[:-1], rows[1:], strict=True):
            start[after] = stop[before] = inoculated[after]
    return start, stop


# ---- events ------------------------------------------------------------------------------------


def link_events(
    index: LogIndex,
    logs: pd.DataFrame,
    events: pd.DataFrame,
    named: Coded,
    kind: Coded,
    whole_yard: np.ndarray,
    raw: RawTable,
    title: str,
    say: Collector,
    unread: np.ndarray,
):
    """(event, log) of every log named, `whole_yard` by event, and how each event named its logs.

    named: what each event says of its logs; kind: its kind in lower case. whole_yard: True for events whose kind may name no log.
    unread: True where the cell held what was asked about already.
    """
    whole = whole_yard & ~kind.among(SHARED_WEIGHTS)
    item, log, how, answers = find_many(index, named, whole=whole)
    texts, blank, said = events["log_text"].to_numpy(), named.blank, Coded.of(how)
    unlinked = whole_yard & blank | whole & said.among((ALL,))
    grouped = said.among(GROUPS)
    days = events["date"].to_numpy().astype("datetime64[D]")
    spans = reused_spans(logs)
    if spans is not None:
        keep = (days[item] >= spans[0][log]) & (days[item] < spans[1][log])
        item, log = item[keep], log[keep]
    item, log = _there(item, log, grouped, days, kind, logs, events)
    silent = blank & ~whole_yard & ~unread
    for place in say.first(silent, raw.sheet, QUESTION):
        say.add(
            raw.sheet,
            int(events["row"].iat[place]),
            title,
            QUESTION,
            "nothing was typed",
            "which logs",
            "Type a log, a range A1-A20, a place, a wood or all; it counts for the yard only",
            "no_log",
        )
    _say_answers(
        index, answers, named, events["row"].to_numpy(), raw.sheet, title, say, "It counts for the yard only"
    )
    _say_nobody(item, grouped, texts, events, raw.sheet, title, say, unlinked)
    return item, log, unlinked, how


def exit_days(item, log, days, kind: Coded, amount, count) -> np.ndarray:
    """The day on which the last log of each row left, the end of time where some are still there."""
    left = np.full(len(count), END)
    going = kind.among(EXITS)[item]
    if not going.any():
        return left
    event, row = item[going], log[going]
    total = np.bincount(event, weights=count[row], minlength=len(days))[event]
    asked = amount[event]
    share = np.where(np.isnan(asked), 1.0, np.minimum(1.0, asked / np.maximum(total, 1.0)))
    table = pd.DataFrame({"row": row, "day": days[event], "take": count[row] * share}).sort_values(
        ["row", "day"]
    )
    gone = table.groupby("row")["take"].cumsum().to_numpy() >= count[table["row"]] - 1e-9
    done = table[gone].drop_duplicates("row")
    left[done["row"]] = done["day"].to_numpy().astype("datetime64[D]")
    return left


def _there(item, log, grouped, days, kind, logs, events):
    """Of logs named as a group, only those in the yard on the day, inoculated where the event needs that."""
    grouped = grouped[item]
    if not grouped.any():
        return item, log
    left = exit_days(
        item[~grouped],
        log[~grouped],
        days,
        kind,
        events["amount"].to_numpy(),
        logs["count"].to_numpy(dtype=float),
    )
    inoculated = logs["inoculated"].to_numpy().astype("datetime64[D]")
    bearing = kind.among(("picked", "culled", "dried", "soaked", "pins seen"))
    late = bearing[item] & (days[item] < inoculated[log])  # false where the day is not known
    keep = ~grouped | ((days[item] <= left[log]) & ~late)
    return item[keep], log[keep]


def _say_answers(
    index: LogIndex, answers: dict, texts: Coded, rows, sheet: str, title: str, say: Collector, tail: str
) -> None:
    """What must be said about each text that is no exact log name, once at its first row."""
    if not answers:
        return
    codes = texts.codes
    first = pd.Series(np.arange(len(codes))).groupby(codes).first()
    counts = np.bincount(codes[codes >= 0], minlength=len(texts.words))
    for code, text in enumerate(texts.words):
        answer = answers.get(text)
        if answer is None:
            continue
        row, more = int(rows[first[code]]), also(int(counts[code]))
        if isinstance(answer, Ask):
            offers = type_one(answer.offers)
            do = f"{offers}. {tail}" if offers else tail
            say.add(
                sheet,
                row,
                title,
                QUESTION,
                f"{quote(text)} {answer.question}{more}",
                "logs that are on Logs",
                f"{do} until then",
                answer.code,
            )
        elif isinstance(answer, Selection):
            for note in answer.notes:
                say.add(sheet, row, title, NOTE, f"{note}{more}", code="read_as")
            if answer.missing:
                say.add(
                    sheet,
                    row,
                    title,
                    QUESTION,
                    f"{quote(text)} holds {_missing(index, answer.missing)}{more}",
                    "logs that are on Logs",
                    "Mend Logs or this cell; the other logs share it until then",
                    "missing_logs",
                )


def _missing(index: LogIndex, names: tuple[str, ...]) -> str:
    """The members that are no usable log, and why: "A21 and A22, which are not on Logs"."""
    parts = []
    unknown = [n for n in names if index.reason(n) is None]
    if unknown:
        joined = " and ".join((", ".join(unknown[:-1]), unknown[-1]) if len(unknown) > 1 else unknown)
        parts.append(f"{joined}, which {'is' if len(unknown) == 1 else 'are'} not on Logs")
    parts += [f"{n}, which {index.reason(n)}" for n in names if index.reason(n) is not None]
    return "; ".join(parts)


def _say_nobody(item, grouped, texts, events, sheet, title, say, unlinked) -> None:
    """Events that named a group of which nothing was in the yard on the day."""
    alone = grouped & ~unlinked & (np.bincount(item, minlength=len(texts)) == 0)
    for place in say.first(alone, sheet, QUESTION):
        say.add(
            sheet,
            int(events["row"].iat[place]),
            title,
            QUESTION,
            f"{quote(texts[place] or 'all')} had no log in the yard on that day",
            "logs that were there",
            "Check the date and the logs; it counts for the yard only",
            "nobody_there",
        )


# ---- costs -------------------------------------------------------------------------------------


def link_costs(index: LogIndex, costs: pd.DataFrame, raw: RawTable, title: str, say: Collector):
    """(cost, log) of every log a cost is for, and True for costs shared by the whole yard."""
    texts = Coded.of(costs["for_text"].to_numpy())
    item, log, how, answers = find_many(index, texts, True, np.ones(len(costs), dtype=bool))
    shared = texts.blank | (how == ALL)
    _say_answers(
        index, answers, texts, costs["row"].to_numpy(), raw.sheet, title, say, "It is charged to no log"
    )
    return item, log, shared


def exits_by_name(events: pd.DataFrame, kind: Coded) -> dict[str, list[np.datetime64]]:
    """Lower-case log text -> days on which an event says that it left. kind: of each event, in lower case."""
    found = defaultdict(list)
    for place in np.flatnonzero(kind.among(EXITS)):
        text = events["log_text"].iat[place]
        if text is not None:
            found[text.lower()].append(events["date"].to_numpy()[place].astype("datetime64[D]"))
    return found

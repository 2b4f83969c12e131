"""The season as a strip: what each group of logs does in each of the weeks ahead, and the batches whose first flush is to come."""
from __future__ import annotations

import numpy as np
import pandas as pd

from calc import results, season
from calc.day_numbers import MONTHS
from calc.yard import NO_DAY, as_typed, dates, day_column, days, numbers, words

WEEK, WEEKS = 7, 52
FREE, RUN, MAY, SOAK, PINS, REST, DORM = "", "run", "may", "soak", "pins", "rest", "dorm"
MARKS = (FREE, RUN, MAY, REST, DORM, PINS, SOAK)  # of two marks of as many logs the later one is shown
ROTA, BATCH = "rota group", "batch"
GONE, NOT_YET = "gone", "not yet inoculated"
AT_WORK = ("picked", "already picked")


def monday(day: int) -> int:
    """The Monday of the week of a day (whole days since 1970-01-01, a Thursday)."""
    return day - (day + 3) % WEEK


def first_week(as_of: int) -> np.ndarray:
    """The Mondays of the weeks that the strip shows, from the as-of week."""
    return monday(as_of) + WEEK * np.arange(WEEKS)


def label(table: pd.DataFrame) -> np.ndarray:
    """The line that each row of `with_batch` stands on: its rota group, else its batch."""
    return np.where(table["group"].notna(), "Group " + table["group"].fillna(0).astype(int).astype(str), table["batch"])


def with_batch(log_season: pd.DataFrame, each_log: pd.DataFrame) -> pd.DataFrame:
    """The rows still in the yard with the batch each belongs to: strain and month of inoculation."""
    made = each_log.drop_duplicates("row").set_index("row")["inoculated"].reindex(log_season["row"]).to_numpy()
    table = log_season.assign(inoculated=pd.to_datetime(made))
    table = table[(numbers(table, "alive", 0.0) > 0) & ~table["stage"].isin((GONE, NOT_YET))].reset_index(drop=True)
    month = table["inoculated"].dt.strftime("%b %Y").fillna("no date").astype(object)
    strain = pd.Series(as_typed(table, "strain"), dtype=object).replace("", results.NOT_GIVEN)
    return table.assign(batch=month + ", " + strain if len(table) else pd.Series(dtype=object))


def fits(strains: pd.DataFrame, settings: dict) -> dict[str, list | None]:
    """Strain in lower case -> for January to December whether the month at the site suits it; None where that is not known."""
    temps = [settings.get(f"temp_{month}") for month in MONTHS]
    low, high = numbers(strains, "fruits_from"), numbers(strains, "fruits_to")
    ends = [(None if np.isnan(a) else a, None if np.isnan(b) else b) for a, b in zip(low, high, strict=True)]
    return {name: season.months_that_fit(temps, *end) for name, end in zip(words(strains, "strain"), ends, strict=True) if name}


def season_strip(log_season: pd.DataFrame, each_log: pd.DataFrame, calendar: pd.DataFrame, strains: pd.DataFrame, settings: dict,
                 look_days: tuple[float, float], as_of: int) -> pd.DataFrame:
    """The table season_strip: one row a line and week, rota groups first, then batches by date.

    log_season, calendar: the tables log_season and soak_calendar. strains: the list of strains (fruits_from, fruits_to in deg C,
    rest_weeks). settings: temp_jan to temp_dec, season_begins, season_ends, rota_weeks. look_days: the first and the last day after a
    soak on which pins and picking are likely.
    """
    table, week = with_batch(log_season, each_log), first_week(as_of)
    if not len(table):
        return results.empty("season_strip")
    table["line"] = label(table)
    marks = _row_marks(table, week, calendar, strains, settings, look_days)
    alive = numbers(table, "alive", 0.0)
    order = table.assign(first=table["group"].fillna(np.inf)).sort_values(["first", "inoculated", "line"], kind="stable")
    rows = []
    for line in order["line"].drop_duplicates():
        mine = (table["line"] == line).to_numpy()
        logs = np.stack([np.where(marks[mine] == code, alive[mine][:, None], 0.0).sum(axis=0) for code in range(len(MARKS))])
        most = len(MARKS) - 1 - np.argmax(logs[::-1], axis=0)
        soaked = logs[MARKS.index(SOAK)] > 0  # a soak of a part of the group is still a soak
        shown = np.where(soaked, MARKS.index(SOAK), most)
        kind = ROTA if table.loc[mine, "group"].notna().any() else BATCH
        rows.append(pd.DataFrame({"group": line, "week": dates(week), "mark": [MARKS[code] for code in shown], "logs": alive[mine].sum(),
                                  "kind": kind}))
    return pd.concat(rows, ignore_index=True)[list(results.COLUMNS["season_strip"])]


def _row_marks(table, week, calendar, strains, settings, look_days) -> np.ndarray:
    """Codes (places in MARKS) by row and week; what is written later holds: run, may, rest, dormant, pins, soak."""
    code = {mark: i for i, mark in enumerate(MARKS)}
    end = week + WEEK - 1
    found = np.full((len(table), len(week)), code[FREE])
    begin, last, past = (day_column(table, name) for name in ("flush_from", "flush_to", "last_soak"))
    soaks = {group: _soak_days(calendar, group) for group in table["group"].dropna().unique()}
    young = table["stage"].eq("spawn run").to_numpy()
    may = np.where(young | (day_column(table, "may_soak_from") < NO_DAY), day_column(table, "may_soak_from"), 0)
    coming = [days_of[days_of + WEEK > may[i]] for i, days_of in
              enumerate(soaks.get(group, np.zeros(0, dtype=np.int64)) for group in table["group"])]  # the young ones stay in their stack
    window = ~table["flush_basis"].isin(AT_WORK).to_numpy() & (past >= NO_DAY) & (begin < NO_DAY)
    found[window[:, None] & (end[None] >= begin[:, None]) & (week[None] <= last[:, None])] = code[MAY]
    ready = np.minimum(day_column(table, "may_soak_from"), np.array([s.min() if len(s) else NO_DAY for s in coming], dtype=np.int64))
    until = np.where(window, begin, np.where(young, ready, 0))
    whole = window[:, None] & (week[None] <= begin[:, None]) & (end[None] >= last[:, None])  # a window within one week is not hidden
    run = (week[None] + WEEK // 2 < until[:, None]) & ~whole
    found[run] = code[RUN]
    rest, closed, keys = _rest_days(table, strains, settings), _closed_weeks(week, strains, settings), words(table, "strain")
    for i, ahead in enumerate(coming):
        known = np.concatenate((past[i:i + 1][past[i:i + 1] < NO_DAY], ahead))
        for soak in known:
            found[i, (end > soak) & (week <= soak + rest[i])] = code[REST]
        found[i, closed.get(keys[i], closed[""]) & ~run[i]] = code[DORM]
        for soak in known:
            found[i, (end >= soak + look_days[0]) & (week <= soak + look_days[1])] = code[PINS]
        found[i, np.isin(week, [monday(int(soak)) for soak in ahead])] = code[SOAK]
    return found


def _soak_days(calendar: pd.DataFrame, group) -> np.ndarray:
    return days(calendar.loc[calendar["group"] == group, "week"]) if len(calendar) else np.zeros(0, dtype=np.int64)


def _rest_days(table, strains, settings) -> np.ndarray:
    """Days between two soaks: the strain's rest, else the weeks of the rota less the week of the soak."""
    known = dict(zip(words(strains, "strain"), numbers(strains, "rest_weeks"), strict=True))
    usual = (settings["rota_weeks"] - 1) * WEEK
    return np.array([usual if np.isnan(known.get(name, np.nan)) else known[name] * WEEK for name in words(table, "strain")])


def _closed_weeks(week: np.ndarray, strains: pd.DataFrame, settings: dict) -> dict[str, np.ndarray]:
    """Strain in lower case -> the weeks whose middle is too cold or hot for it, or outside the grower's season; "": of any other strain."""
    middle = dates(week + 3).astype("datetime64[D]")
    month = middle.astype("datetime64[M]").astype(np.int64) % 12
    shut = np.array([not season.in_season(day, settings.get("season_begins"), settings.get("season_ends")) for day in middle.astype(object)])
    found = {name: shut if suits is None else shut | ~np.array(suits, dtype=bool)[month] for name, suits in fits(strains, settings).items()}
    return {"": shut, **found}


def notes(log_season: pd.DataFrame, strains: pd.DataFrame, settings: dict) -> pd.DataFrame:
    """The table season_notes: temperatures and ranges that are missing, and strains that no month at the site suits."""
    there = log_season[(numbers(log_season, "alive", 0.0) > 0) & ~log_season["stage"].isin((GONE,))]
    used = dict(zip(words(there, "strain"), as_typed(there, "strain"), strict=True))
    missing = season.missing_months([settings.get(f"temp_{month}") for month in MONTHS])
    known, said = fits(strains, settings), []
    if missing and len(there):
        months = "every month" if len(missing) == 12 else season.month_names(missing)
        said.append(f"no temperature for {months}: type the mean of each month on Settings, Weather of the yard; until then dates go by "
                    "the months of the strain alone, and months too cold or hot are not left out")
    for key, name in sorted(used.items()):
        if key and key not in known:
            said.append(f"{name}: not on Lists, so its months and temperatures are not known; add it under Strains")
        elif key and not missing and known[key] is None:
            said.append(f"{name}: type Fruits from and Fruits to under Strains on Lists; until then no month is left out for it")
        elif key and season.why_no_month(known[key]):
            said.append(f"{name}: {season.why_no_month(known[key])}, so it gets no date")
    return pd.DataFrame({"words": pd.Series(said, dtype=object)})

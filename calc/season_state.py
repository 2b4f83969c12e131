"""Where every row of Logs stands in its seasons: age, soaks, picks, months that suit its strain, first mushrooms.

Days are whole numbers since 1970, NO_DAY where not known, as in calc.yard. What depends on a strain and a date
alone is worked out once for each pair by calc.season and handed to the rows.
"""
from __future__ import annotations

import datetime as dt
from calendar import monthrange
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from calc import results, season, tables
from calc.codes import alike, distinct
from calc.day_numbers import monday_of, to_date, to_day
from calc.intake_sense import EARLY_PICK_DAYS
from calc.rollup_yield import MONTH_DAYS
from calc.season import TEMPERATURES
from calc.sizes import lookup, picked_from
from calc.yard import NO_DAY, Diary, Yard, day_column, days, numbers, text_codes, words

WEEK = season.WEEK
STRAIN, OWN, PICKED, PRINT = "strain's months", "own first picks", "already picked", "months in print"
NOT_INOCULATED, NO_DATE = "not yet inoculated", "no date of inoculation on Logs"
NO_TEMPERATURES = "by months alone: type the monthly temperatures of your site on Settings to keep out cold and hot months"
NO_RANGE = "by months alone: Lists has no fruiting temperatures for this strain"


@dataclass(frozen=True)
class Site:
    """The settings of the season: temperatures by month (deg C, None where missing), first and last soak day.

    fault: why months cannot be told, in words, or "".
    """

    temps: tuple
    begins: dt.date | None
    ends: dt.date | None
    force_after: float  # months
    cycle: float  # weeks
    soak_hours: float
    flush_days: tuple  # low, typical, high after a soak

    @property
    def known(self) -> bool:
        return not season.missing_months(self.temps)

    @property
    def untyped(self) -> bool:
        """No temperature at all."""
        return len(season.missing_months(self.temps)) == 12

    @property
    def has_season(self) -> bool:
        return self.begins is not None or self.ends is not None

    @property
    def fault(self) -> str:
        if self.known or self.untyped:
            return ""
        return f"no temperature on Settings for {season.month_names(season.missing_months(self.temps))}"


@dataclass(frozen=True)
class Strain:
    """A strain as Lists has it, or one that is not there. fits: months that suit, None where not known."""

    name: str
    listed: bool
    fits: tuple | None
    ranged: bool  # Lists has fruiting temperatures
    low_months: float
    high_months: float
    basis: str
    rest_weeks: float
    forces: bool
    forces_said: bool


@dataclass
class State:
    """By row of Logs; strain is an index into strains."""

    site: Site
    as_of: int
    names: np.ndarray
    place: np.ndarray
    row: np.ndarray
    count: np.ndarray
    alive: np.ndarray
    volume_m3: np.ndarray  # of all logs of the row, NaN where not known
    typed_week: np.ndarray  # rota week typed on Logs, NaN where blank
    there: np.ndarray  # has come into the yard by the as-of day
    inoculated: np.ndarray  # NO_DAY also where it lies after the as-of day
    inoculated_later: np.ndarray  # a date on Logs after the as-of day, else NO_DAY
    at_work: np.ndarray
    strains: list
    strain: np.ndarray
    first_pick: np.ndarray
    last_pick: np.ndarray
    last_soak: np.ndarray
    soak_hours: np.ndarray  # of the last soak; the setting where none was written down
    no_hours: np.ndarray  # True where the last soak has no hours
    pins: np.ndarray  # last day pins were seen
    old_enough: np.ndarray  # first day by age
    may_soak: np.ndarray  # by age and rest
    flush_from: np.ndarray
    flush_to: np.ndarray
    flush_basis: np.ndarray

    def __len__(self):
        return len(self.alive)

    @property
    def in_rota(self) -> np.ndarray:
        """Rows that are there, of a known age, of a strain that is soaked."""
        return (self.alive > 0) & (self.inoculated < NO_DAY) & forced(self)


def forced(out: State) -> np.ndarray:
    """True for the rows whose strain is soaked."""
    return np.array([s.forces for s in out.strains], dtype=bool)[out.strain]


def soak_hours(settings: dict) -> float:
    """Hours in the tank, from Settings; the figure where it is blank."""
    typed = settings.get("soak_hours")
    return tables.figure("soak_hours").typical if typed is None else float(typed)


def site(settings: dict) -> Site:
    """The season's settings; figures where a setting is blank."""
    def number(key, figure):
        value = settings.get(key)
        return tables.figure(figure).typical if value is None else float(value)

    temps = tuple(_number(settings.get(key)) for key in TEMPERATURES)
    flush = tables.figure("flush_days")
    return Site(temps, _date(settings.get("season_begins")), _date(settings.get("season_ends")),
                number("force_after_months", "force_after_months"), number("rota_weeks", "rota_weeks"),
                soak_hours(settings), (flush.low, flush.typical, flush.high))


def _number(value):
    return None if value is None or pd.isna(value) else float(value)


def _date(value):
    return None if value is None or pd.isna(value) else pd.Timestamp(value).date()


def state(frames: dict, book: Diary, yard: Yard, each: pd.DataFrame, settings: dict) -> State:
    """Where every row of Logs stands on the as-of day. each: the finished table Each log."""
    logs, at = frames["logs"], site(settings)
    typed = day_column(logs, "inoculated")
    inoculated = np.where(yard.is_inoculated(), yard.inoculated, NO_DAY)
    first, last = days(each["first_pick"]), days(each["last_pick"])
    strains, strain = _strains(frames, at, settings, inoculated, first, yard.as_of)
    soak, line = last_event(book, len(yard), "soaked")
    hours = np.append(book.amount, np.nan)[line]
    out = State(
        at, yard.as_of, each["log"].to_numpy(), each["place"].to_numpy(), each["row"].to_numpy(), yard.count, yard.alive(),
        each["volume_m3"].to_numpy(dtype=float) * yard.alive(), numbers(logs, "rota_week"), yard.start <= yard.as_of,
        inoculated, np.where(typed > yard.as_of, typed, NO_DAY), yard.is_at_work(), strains, strain, first, last, soak,
        np.where(np.isnan(hours), at.soak_hours, hours), np.isnan(hours) & (soak < NO_DAY),
        last_event(book, len(yard), "pins seen")[0], *[np.full(len(yard), NO_DAY) for _ in range(4)],
        np.full(len(yard), "", dtype=object))
    soak_days(out)
    _windows(out)
    return out


def last_event(book: Diary, rows: int, kind: str):
    """(day, line) of the last event of a kind by row, up to the as-of day; NO_DAY and -1 where none."""
    line, log = book.pairs(kind)
    day, found = book.day[line], np.full(rows, -1)
    if not ((np.diff(day) >= 0).all() and (np.diff(line) >= 0).all()):  # most often they are written down day by day
        order = np.lexsort((line, day))
        line, log = line[order], log[order]
    found[log] = line
    return np.where(found >= 0, np.append(book.day, NO_DAY)[found], NO_DAY), found


def _strains(frames, at, settings, inoculated, first_pick, as_of):
    """(strains met on Logs, index of each row's)."""
    (code, names), known = text_codes(frames["logs"], "strain", str.casefold), frames.get("strains", pd.DataFrame())
    shown, texts = text_codes(frames["logs"], "strain")
    place = lookup(known, "strain", names)
    columns = {key: picked_from(numbers(known, key), place) for key in ("fruits_from", "fruits_to", "run_low", "run_high", "rest_weeks")}
    forces = picked_from(words(known, "forces"), place, "")
    own = _own_months(code, len(names), inoculated, first_pick, as_of)
    book, fewest = tables.figure("first_mushrooms_months"), tables.figure("own_first_picks").typical
    first_row = alike(code)[0]
    found = []
    for i in range(len(names)):
        low_c, high_c = (_number(columns[key][i]) for key in ("fruits_from", "fruits_to"))
        run = [_number(columns[key][i]) for key in ("run_low", "run_high")]
        in_print = None in run or run[1] < run[0]
        run = (book.low, book.high) if in_print else run
        *run, is_own = season.own_run(*own[i], *run, fewest)
        rest = _number(columns["rest_weeks"][i])
        name = texts[shown[first_row[i]]] or results.NOT_GIVEN
        found.append(Strain(name, place[i] >= 0, season.months_that_fit(at.temps, low_c, high_c),
                            low_c is not None or high_c is not None, *run, OWN if is_own else PRINT if in_print else STRAIN,
                            max(at.cycle - 1.0, 0.0) if rest is None else rest, forces[i] != "no", forces[i] != ""))
    return found, code


def _own_months(code, strains, inoculated, first_pick, as_of):
    """By strain: (first picks, shortest and longest months to one, longest that another row waits).

    Rows inoculated on one day and first picked on one day are one first pick: one line of Events often names them all.
    """
    dated = inoculated < NO_DAY
    picked = dated & (first_pick < NO_DAY) & (first_pick - inoculated > EARLY_PICK_DAYS)
    waits = dated & (first_pick >= NO_DAY)
    shortest, longest, waiting = np.full(strains, np.inf), np.zeros(strains), np.zeros(strains)
    took = (first_pick - inoculated)[picked] / MONTH_DAYS
    np.minimum.at(shortest, code[picked], took)
    np.maximum.at(longest, code[picked], took)
    np.maximum.at(waiting, code[waits], (as_of - inoculated[waits]) / MONTH_DAYS)
    once = alike(code[picked], inoculated[picked], first_pick[picked])[0]
    count = np.bincount(code[picked][once], minlength=strains)
    return [tuple(float(v) for v in row) for row in zip(count, shortest, longest, waiting, strict=True)]


def soak_days(out: State) -> None:
    """Fill in the first day by age, and by age and rest; NO_DAY where the age is not known."""
    dated = np.flatnonzero(out.inoculated < NO_DAY)
    each, where = distinct(out.inoculated[dated])
    by_age = np.array([to_day(season.may_soak_from(to_date(d), out.site.force_after)) for d in each], dtype=np.int64)
    out.old_enough[dated] = by_age[where]
    rest = rest_days(out)[out.strain]
    rested = np.where(out.last_soak < NO_DAY, out.last_soak + rest, -NO_DAY)
    out.may_soak = np.where(out.old_enough < NO_DAY, np.maximum(out.old_enough, rested), NO_DAY)


def rest_days(out: State) -> np.ndarray:
    """Days of rest between soaks, by strain."""
    return np.array([season.rest(s.rest_weeks).days for s in out.strains], dtype=np.int64).reshape(-1)


def _windows(out: State) -> None:
    """The window of first mushrooms of every row, or why it has none."""
    picked = out.first_pick < NO_DAY
    out.flush_from[picked] = out.flush_to[picked] = out.first_pick[picked]
    out.flush_basis[picked] = PICKED
    rest = ~picked
    undated = rest & (out.inoculated >= NO_DAY)
    out.flush_basis[undated] = np.where(out.at_work[undated], NO_DATE, NOT_INOCULATED)
    open_ = np.flatnonzero(rest & (out.inoculated < NO_DAY))
    key = out.inoculated[open_] * max(len(out.strains), 1) + out.strain[open_]
    each, where = distinct(key)
    found = [_window(out, int(k) // len(out.strains), out.strains[int(k) % len(out.strains)]) for k in each]
    for target, values in zip((out.flush_from, out.flush_to, out.flush_basis), zip(*found, strict=True), strict=False):
        target[open_] = np.array(values, dtype=target.dtype)[where]


def _window(out, inoculated, strain):
    """(from, to, basis) of a strain inoculated on a day."""
    if strain.ranged and out.site.fault:
        return NO_DAY, NO_DAY, out.site.fault
    if strain.fits is not None and not any(strain.fits):
        return NO_DAY, NO_DAY, season.why_no_month(strain.fits)
    found = season.first_flush(to_date(inoculated), strain.low_months, strain.high_months, strain.fits)
    return to_day(found.begins), to_day(found.ends), strain.basis


def suits(out: State, first_week: int, weeks: int):
    """(first, last) day of each week on which a strain may be soaked, -1 where none: arrays (strain, week).

    first_week: the Monday of the first week, as a day. A strain whose months cannot be told is soaked only
    inside a season typed on Settings.
    """
    days = first_week + np.arange(WEEK * weeks)
    stamp = days.astype("datetime64[D]")
    month = stamp.astype("datetime64[M]")
    place = (month.astype(np.int64) % 12, (stamp - month).astype(np.int64))
    first = np.full((len(out.strains), weeks), -1, dtype=np.int64)
    last = first.copy()
    for fits in {s.fits for s in out.strains}:
        if fits is None and not out.site.has_season:
            continue
        mine = [i for i, s in enumerate(out.strains) if s.fits == fits]
        inside = _calendar_days(out.site.begins, out.site.ends, fits)[place].reshape(weeks, WEEK)
        there = inside.any(axis=1)
        begin = days[::WEEK]
        first[mine] = np.where(there, begin + inside.argmax(axis=1), -1)
        last[mine] = np.where(there, begin + WEEK - 1 - inside[:, ::-1].argmax(axis=1), -1)
    return first, last


@lru_cache(maxsize=64)
def _calendar_days(begins, ends, fits):
    """Whether logs may be soaked, by month and day of the month."""
    leap = 2024
    return np.array([[day <= monthrange(leap, month)[1] and season.soak_day(dt.date(leap, month, day), begins, ends, fits)
                      for day in range(1, 32)] for month in range(1, 13)])


def open_today(out: State) -> np.ndarray:
    """By strain: True where logs may be soaked on the as-of day, by season and month."""
    first, last = suits(out, int(monday_of(out.as_of)), 1)
    return (first[:, 0] >= 0) & (first[:, 0] <= out.as_of) & (out.as_of <= last[:, 0])


def week_of(day):
    """The number of the week of a day, or of many days, weeks counted from the one of 29 Dec 1969."""
    return (day + 3) // WEEK


def first_day(week):
    """The Monday of a week by its number, as a day since 1970."""
    return week * WEEK - 3

"""The Settings sheet as read: each value checked, in the workbook's units and in SI; what cannot be used is asked about."""
from __future__ import annotations

import datetime as dt

from calc import quantities, units
from calc.problems import QUESTION, Problem, quote
from calc.raw import Odd
from workbook_template import schema
from workbook_template.settings_table import SETTINGS, Setting

CHOICES = {"date_order": schema.LISTS["date_order"], "yesno": schema.LISTS["yesno"]}

SHARES = ("percent", "share")  # looks of a setting that is a share of one


def read_settings(named: dict[str, object], profile: str) -> tuple[dict, list[Problem]]:
    """(setting key -> value in the workbook's unit, problems). named: values by defined name, as the reader gives them.

    A setting that is blank takes its starting value; one that cannot be read takes it too and is asked about.
    """
    found, problems = {}, []
    gone = [setting for setting in SETTINGS if f"typed_{setting.key}" not in named]
    if len(gone) == len(SETTINGS):
        problems.append(Problem("Settings", None, None, QUESTION, "the sheet Settings, or its column Value, is gone", "",
                                "The starting values were used; copy it back from the last backup", "settings_gone"))
    else:
        problems += [Problem("Settings", None, setting.title, QUESTION, "this row is gone", "",
                             "The starting value was used; copy the row back from the last backup", "settings_gone") for setting in gone]
    for setting in SETTINGS:
        start = setting.start(profile)
        value = named.get(f"typed_{setting.key}")
        if value is None or (isinstance(value, str) and not value.strip()):
            found[setting.key] = start
            continue
        read, complaint = _read(setting, value, profile)
        if complaint:
            shown = f"{start:.0%}" if setting.looks in SHARES and start is not None else f"{start:g}" if isinstance(start, float) else start
            kept = "It was left out as if blank" if start is None else f"The starting value {shown} was used"
            problems.append(Problem("Settings", None, setting.title, QUESTION, complaint[0], complaint[1],
                                    f"{kept}; type the value you want", "setting"))
        found[setting.key] = start if complaint else read
    return found, problems


def _read(setting: Setting, value, profile: str):
    """(value, None) or (None, (what was found, what is needed))."""
    shown = value.value if isinstance(value, Odd) else value
    if setting.kind == "text":
        return str(shown), None
    if setting.kind == "date":
        if isinstance(shown, dt.datetime):
            return shown.date(), None
        if isinstance(shown, dt.date):
            return shown, None
        return None, (f"{quote(shown)} is not a date", f"a date such as 15 Nov 2026, or nothing for {setting.blank_means or 'today'}")
    if setting.kind == "choice":
        allowed = CHOICES.get(setting.list)
        word = str(shown).strip().casefold()
        if allowed and word not in allowed:
            return None, (f"{quote(shown)} is not in the list", " or ".join(allowed))
        return (word if allowed else str(shown).strip()), None
    return _number(setting, shown, profile)


def _number(setting: Setting, shown, profile: str):
    unit = setting.unit_name(profile)
    percent = setting.looks in SHARES
    ends = [f"{end:.0%}" if percent else f"{end:,.10g}" for end in (setting.low, setting.high)]
    needed = f"a number{f' ({unit})' if unit and unit != '%' else ''}, usually {ends[0]} to {ends[1]}"
    if isinstance(shown, bool) or not isinstance(shown, (int, float)):
        return None, (f"{quote(shown)} is not a number{_meant(setting, shown, profile)}", needed)
    if setting.low <= shown <= setting.high:
        return float(shown), None
    if percent and setting.low <= shown / 100 <= setting.high:
        return None, (f"{shown:g} is {shown:,.0%}; if {shown:g} % was meant, type {shown:g}%", needed)
    return None, (f"{shown:.0%} is beyond what is usual" if percent else f"{shown:,.10g} is beyond what is usual", needed)


def _meant(setting: Setting, shown, profile: str) -> str:
    """What a text such as 25 kg means in the cell's unit, to be typed as a number: live cells take no text."""
    if not isinstance(shown, str) or setting.quantity not in (*units.PROFILES[profile], "temperature"):
        return ""
    read = quantities.read_quantity(shown, setting.quantity, profile)
    value = getattr(read, "value_si", None)
    if value is None:
        return ""
    if setting.quantity == "temperature":
        return f"; it means {units.fahrenheit_from_celsius(value) if profile == units.US else value:.4g}"
    return f"; it means {value / units.factor(setting.quantity, profile):.4g}"


def to_si(settings: dict, profile: str) -> dict:
    """The same settings in SI: kg, m, kg/m3, money per kg; shares, minutes, weeks, words and money as they are."""
    found = dict(settings)
    for setting in SETTINGS:
        value = settings[setting.key]
        if not isinstance(value, (int, float)):
            continue
        if setting.quantity == "temperature":
            found[setting.key] = units.celsius(value, profile)
        elif setting.quantity in units.PROFILES[profile]:
            found[setting.key] = value * units.factor(setting.quantity, profile)
        elif setting.quantity == "money per weight":
            found[setting.key] = value / units.factor("weight", profile)
    return found

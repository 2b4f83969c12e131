"""ONE declaration of the workbook: its tables, lists, settings, names and result sheets, in reading order."""
from __future__ import annotations

import re
from functools import lru_cache

from calc import tables as published
from calc import units
from calc.adapters import water_density
from calc.quantities import SPAN_DAYS
from workbook_template.columns import Table
from workbook_template.diary_tables import COSTS, EVENTS, PROMISES, SALES
from workbook_template.lists_tables import FIXED_LISTS, LIST_TABLES
from workbook_template.logs_table import LOGS
from workbook_template.settings_table import DATE_ORDERS
from workbook_template.twins import limit

VERSION = 3  # of the layout; a later one is reached by an upgrade
INPUT_TABLES = (LOGS, EVENTS, COSTS, SALES, PROMISES)
TABLES = INPUT_TABLES + LIST_TABLES
BY_KEY = {t.key: t for t in TABLES}

INPUT_SHEETS = ("Logs", "Events", "Costs", "Sales", "Promises", "Plan", "Settings", "Lists")
RESULT_SHEETS = ("Start", "This week", "Season", "Coming weeks", "Each log", "Yield", "Cost", "What pays", "Budget", "Keeping", "Partner", "Shopping",
                 "Problems", "Sources")
OTHER_SHEETS = ("Field sheet",)

LISTS = {**FIXED_LISTS, "date_order": DATE_ORDERS, "plan_have": ("a tree", "bolts on hand")}

# Defined names: a column of a table, over its guarded rows.
NAMES = {
    "log_log": ("logs", "log"),
    "evt_log": ("events", "log"), "evt_picked": ("events", "picked"),
    "lst_wood": ("woods", "wood"), "lst_wood_green": ("woods", "green_density"), "lst_wood_dry": ("woods", "dry_density"),
    "lst_strain": ("strains", "strain"), "lst_strain_from": ("strains", "fruits_from"), "lst_strain_to": ("strains", "fruits_to"),
    "lst_strain_low": ("strains", "run_low"), "lst_strain_high": ("strains", "run_high"), "lst_strain_forces": ("strains", "forces"),
    "lst_form": ("forms", "form"), "lst_form_by": ("forms", "counted_by"), "lst_form_weight": ("forms", "weight_per_log"),
    "lst_form_per_hole": ("forms", "per_hole"), "lst_form_waxed": ("forms", "waxed"),
    "lst_lot": ("lots", "spawn_lot"), "lst_place": ("places", "place"), "lst_helper": ("helpers", "helper"),
    "lst_helper_wage": ("helpers", "helper_wage"), "lst_helper_paid": ("helpers", "paid_in_costs"),
    "lst_category": ("categories", "category"),
    "lst_event": ("event_kinds", "event_kind"), "lst_event_needs": ("event_kinds", "event_needs"),
    "lst_event_yard": ("event_kinds", "whole_yard"),
    "lst_market": ("markets", "market"), "lst_market_terms": ("markets", "terms"),
    **{f"sal_{c}": ("sales", c) for c in ("date", "market", "kind", "product", "amount")},
    "lst_price_market": ("prices", "price_market"), "lst_price_product": ("prices", "price_product"),
    "lst_price_since": ("prices", "price_since"), "lst_price_each": ("prices", "price_each"),
}
# The drop-down lists that come from a table.
LIST_NAMES = {
    "woods": "lst_wood", "strains": "lst_strain", "forms": "lst_form", "lots": "lst_lot", "places": "lst_place",
    "helpers": "lst_helper", "categories": "lst_category", "event_kinds": "lst_event", "markets": "lst_market",
}


def cost_sheet(profile: str) -> str:
    """The cost sheet is named after the workbook's weight unit."""
    return "Cost per pound" if profile == units.US else "Cost per kilogram"


def result_sheets(profile: str) -> tuple[str, ...]:
    return tuple(cost_sheet(profile) if s == "Cost" else s for s in RESULT_SHEETS)


@lru_cache(maxsize=None)
def constants(profile: str) -> dict[str, str]:
    """The [names] that a native formula may use, as they are written into it."""
    def number(value: float) -> str:
        return repr(round(value, 12))

    def edge(table: str, column: str, side: str, quantity: str) -> str:
        return number(limit(table, column)[side] / units.factor(quantity, profile))

    water = water_density()
    share = sum(published.figure(f"labour_share_{part}").typical for part in ("upkeep", "selling"))
    breast = published.figure("breast_height_ft" if profile == units.US else "breast_height_m").typical
    return {
        "volume": number(units.factor("volume", profile) / units.factor("diameter", profile) ** 3),
        "grams": number(units.factor("weight", profile) * 1000),
        "square_cm": number((units.factor("diameter", profile) * 100) ** 2),
        "bore_cm": number(units.factor("bore", profile) * 100),
        "water": number(water * units.factor("volume", profile) / units.factor("weight", profile)),
        "dia_low": edge("logs", "diameter_m", "refuse_below", "diameter"),
        "dia_high": edge("logs", "diameter_m", "refuse_above", "diameter"),
        "len_low": edge("logs", "length_m", "refuse_below", "length"),
        "len_high": edge("logs", "length_m", "refuse_above", "length"),
        "along_low": edge("logs", "hole_spacing_m", "refuse_below", "spacing"),
        "along_high": edge("logs", "hole_spacing_m", "refuse_above", "spacing"),
        "around_low": edge("logs", "row_spacing_m", "refuse_below", "spacing"),
        "around_high": edge("logs", "row_spacing_m", "refuse_above", "spacing"),
        "holes_high": number(limit("logs", "holes_drilled")["refuse_above"]),
        "fluid": number(units.factor("melt", profile) * 1e6),
        "breast": number(breast),
        "upkeep": number(60.0 * published.figure("labour_hours_per_log").typical * share),  # minutes a log over its life
        "weight_unit": f'"{units.profile_unit("weight", profile)}"',
        "year_weeks": number(SPAN_DAYS["year"] / SPAN_DAYS["week"]),
        "height": number(units.factor("height", profile) / units.factor("diameter", profile)),
    }


def formula_text(template: str, cells: dict[str, str], profile: str) -> str:
    """A formula template with its {columns} and [constants] put in."""
    pieces = list(_pieces(template, profile))
    pieces[1::2] = [cells[key] if key in cells else "{" + key + "}" for key in pieces[1::2]]
    return "=" + "".join(pieces)


@lru_cache(maxsize=None)
def _pieces(template: str, profile: str) -> tuple[str, ...]:
    """A template with its constants, cut at its columns: text, column, text, ..., text."""
    for name, value in constants(profile).items():
        template = template.replace(f"[{name}]", value)
    return tuple(re.split(r"\{(\w+)\}", template))


def table(key: str) -> Table:
    return BY_KEY[key]

"""Rows that every live column must get right: typical, edges, blanks and refusals. In the units of the profile."""
from __future__ import annotations

import datetime as dt

from workbook_template.lists_tables import shipped_forms, shipped_strains, shipped_woods
from workbook_template.yard import Yard

DAY = dt.date(2026, 11, 15)


def _log(name, wood="white oak", strain="oyster", diameter=4.0, length=40.0, **more):
    return {"log": name, "wood": wood, "strain": strain, "diameter": diameter, "length": length, **more}


def _logs(scale: float) -> list[dict]:
    """scale: size of an inch in the workbook's unit."""
    def n(inches):
        return inches * scale

    return [
        _log("A1", diameter=n(4), length=n(48), hole_spacing=n(6), row_spacing=n(2), inoculated=dt.date(2025, 3, 1)),
        _log("A2", diameter=n(5), length=n(40), large_end=n(5.5), inoculated=dt.date(2024, 4, 10), count=12),
        _log("a2b", "NORTHERN RED OAK", diameter=n(6.25), length=n(36), spawn_form="sawdust", ends_waxed="yes"),
        _log("A4", "red maple", diameter=n(3.1), length=n(44.4), spawn_form="sawdust, by log", count=3),
        _log("A5", "quaking aspen", diameter=n(9), length=n(12), spawn_form="totem", ends_waxed="yes"),
        _log("A6", diameter=n(4.5), length=n(40), holes_drilled=37, spawn_form="thimble"),
        _log("A7", "sugar maple", diameter=n(2), length=n(4), inoculated=dt.date(2026, 11, 15)),  # two margins: one hole a row
        _log("A8", diameter=n(4), length=n(3.9)),  # shorter than two margins
        _log("A9", diameter=n(0.2), length=n(2)),  # the thinnest and shortest that is computed
        _log("A10", diameter=n(40), length=n(120)),  # thick, computed and asked about
        _log("A11", diameter=n(60), length=n(40)),  # thicker than any bolt
        _log("A12", diameter=dt.date(2026, 5, 16), length=n(40)),  # 5/16 turned into a date
        _log("A13", length="4'2\""),
        _log("A14", diameter="5,5"),
        _log("A15", diameter=n(5), length=n(40), large_end="six"),
        _log("A16", diameter=n(5), length=n(40), large_end=n(200)),
        _log("A17", wood="elder"),
        _log("A18", wood=None), _log("A19", diameter=None), _log("A20", length=None),
        _log("dup"), _log("DUP"),
        _log(None), {"wood": "white oak"},
        {},
        _log("007", diameter=n(4), length=n(40)), _log("7", diameter=n(4), length=n(40)),  # not the same name
        _log("1E5", diameter=n(4), length=n(40), spawn_form="no such form"),
        _log("A21", diameter=n(4), length=n(40), count="about 3", inoculated="last spring"),
        _log("A22", diameter=n(4), length=n(40), inoculated=dt.date(2027, 1, 1)),  # after the As of day
        _log("A23", diameter=n(4), length=n(40), hole_spacing="six", row_spacing=n(2.5)),
        _log("A24", diameter=n(7), length=n(40), hole_spacing=n(4), row_spacing=n(4), count=2, spawn_form="plug", ends_waxed="no"),
        _log("=A1", diameter=n(4), length=n(40)),  # text, not a formula
        *(_log(f"B{i}", diameter=n(4), length=n(40), count=count) for i, count in enumerate((0, -3, 2.5, 1e9, dt.date(2026, 3, 1)), 1)),
        *(_log(f"C{i}", diameter=n(4), length=n(40), **spaces) for i, spaces in enumerate((
            {"hole_spacing": 0}, {"row_spacing": -1}, {"hole_spacing": n(0.1)}, {"row_spacing": n(500)},
            {"hole_spacing": dt.date(2026, 6, 1)}, {"row_spacing": dt.date(2026, 6, 1)}), 1)),
        *(_log(f"D{i}", diameter=n(4), length=n(40), holes_drilled=drilled) for i, drilled in enumerate((
            0, -4, 3.5, 1e7, "37 or so", dt.date(2026, 6, 1)), 1)),
    ]


def _events() -> list[dict]:
    def line(date, event, log, amount, **more):
        return {"date": date, "event": event, "log": log, "amount": amount, **more}

    day = dt.date(2026, 10, 1)
    return [
        line(day, "picked", "A1", 1.25), line(day, "picked", "a1", 0.5), line(day, "Picked", "A2", 3), line(day, "picked", "A1-A6", 4),
        line(day, "picked", "A1", "12 oz"), line(day, "picked", "A1", -1.0), line(day, "picked", "A1", dt.date(2026, 10, 12)),
        line(dt.date(2026, 12, 1), "picked", "A1", 8.0),  # after the As of day
        line(day, "culled", "A1", 0.2), line(day, "picked", "007", 0.4), line(day, "picked", "7", 0.3),
        line(day, "rain", None, 1.2), line(day, "picked", None, 2), line(day, "picked", "A1", None), line(day, "checked", "A1", None),
        line(day, None, "A1", 1), line(None, "picked", "A1", 1), line("1.10.2026", "picked", "A1", 1), line(day, "sang", "A1", 1),
        line(None, None, None, None), line(None, None, None, None, event_note="a dry week"), line(day, "note", None, None),
        *(line(day, "worked", "A1", None, minutes=minutes, who=who) for minutes, who in (
            (90, None), (90, "R."), (90, "r."), (60, "Hired"), (60, "Friend"), (60, "Nobody listed"), (0, None), (-5, None), (2e5, None),
            ("an hour", None), (dt.date(2026, 3, 1), None))),
        line(None, "worked", "A1", None, minutes=30), line("1.10.2026", "worked", "A1", None, minutes=30),
    ]


def _costs() -> list[dict]:
    day = dt.date(2025, 1, 5)
    return [
        {"date": day, "item": "plugs", "amount": 32.0}, {"date": day, "item": "drill", "amount": 120.0, "life_years": 5, "salvage": 20.0},
        {"date": day, "item": "dryer", "amount": 50000.0, "life_years": 5, "salvage": 5000.0}, {"date": day, "item": "cart",
            "amount": 90.0, "life_years": 10},
        {"date": day, "item": "saw", "amount": 200.0, "life_years": 0}, {"date": day, "item": "saw", "amount": 200.0, "life_years": 4,
            "salvage": 300.0},
        {"date": day, "item": "saw", "amount": 200.0, "life_years": "four"}, {"date": day, "item": "tarp", "amount": "30 USD", "life_years": 3},
        {"date": None, "item": "tarp", "amount": 30.0}, {"date": day, "item": "tarp", "amount": None}, {"date": "May", "item": "tarp",
            "amount": 30.0},
        {"date": day, "item": "saw", "amount": 200.0, "life_years": 4, "salvage": -10.0},
        {}, {"date": day, "item": "refund", "amount": -5.0, "life_years": 2},
    ]


def _sales() -> list[dict]:
    def line(date, market, kind, product, amount, **more):
        return {"date": date, "market": market, "kind": kind, "product": product, "amount": amount, **more}

    day, early = dt.date(2026, 6, 6), dt.date(2024, 1, 1)
    return [
        line(day, "Stall", "sold", "fresh", 2.5), line(day, "stall", "Sold", "FRESH", 2.5), line(day, "Stall", "sold", "fresh", 2.5, price=11.0),
        line(day, "Stall", "sold", "dried", 0.5), line(early, "Stall", "sold", "fresh", 1.0), line(dt.date(2025, 5, 1), "Stall", "sold",
            "fresh", 1.0),
        line(day, "Partner", "delivered", "fresh", 6.0), line(day, "Partner", "sold", "fresh", 4.0), line(day, "Partner", "returned", "fresh", 1.0),
        line(day, "Kitchen", "delivered", "fresh", 5.0), line(day, "Kitchen", "returned", "fresh", 1.0), line(day, "Kitchen", "sold", "fresh", 1.0),
        line(day, "Partner", "spoiled", "fresh", 0.5), line(day, "Partner", "counted", "fresh", 0.5), line(day, "Partner", "paid", None, 30.0),
        line(day, "Partner", "fee", None, 4.0), line(day, "Nobody", "sold", "fresh", 1.0), line(day, "Partner", "lent", "fresh", 1.0),
        line(day, "Partner", "sold", "fresh", None), line(day, "Partner", "sold", "fresh", "two"), line(None, "Partner", "sold", "fresh", 1.0),
        line(day, "Fair", "sold", "fresh", 1.0), line(dt.date(2026, 7, 4), "Fair", "sold", "fresh", 1.0),
        line("6/6/26", "Partner", "sold", "fresh", 1.0), {},
        # money put right, either way; half cents: 0.5 x 2.01 = 1.005, 1.5 x 1.75 = 2.625, and a price of many digits
        line(day, "Partner", "correction", None, -6.5), line(day, "Partner", "correction", None, 2.675), line(day, "Partner", "paid", None, 1.005),
        line(day, "Stall", "sold", "fresh", 0.5, price=2.01), line(day, "Kitchen", "returned", "fresh", 1.5, price=1.75),
        line(day, "Partner", "sold", "fresh", 3.337, price=11.017),
    ]


def _promises() -> list[dict]:
    def line(week, market, product, asked=None, promised=None, ordered=None):
        return {"promise_week": week, "promise_market": market, "promise_product": product, "asked": asked, "promised": promised, "ordered": ordered}

    monday = dt.date(2026, 6, 1)  # the deliveries above are of Saturday, 6 June
    return [
        line(monday, "Partner", "fresh", 8, 6, 6), line(dt.date(2026, 6, 7), "partner", "FRESH", 8), line(dt.date(2026, 6, 8), "Partner", "fresh", 8),
        line(dt.date(2026, 5, 31), "Partner", "fresh", 8), line(monday, "Kitchen", "fresh", None, 5), line(monday, "Partner", "dried", 1),
        line(monday, "Nobody", "fresh", 1), line(monday, "Partner", "smoked", 1), line(None, "Partner", "fresh", 1),
        line("June", "Partner", "fresh", 1),
        line(monday, "Partner", "fresh"), line(monday, "Partner", "fresh", "six"), line(monday, "Partner", "fresh", -1),
        line(monday, "Partner", "fresh", 1, dt.date(2026, 6, 1)), line(monday, None, "fresh", 1), line(monday, "Partner", None, 1), {},
        line(dt.date(2027, 1, 1), "Partner", "fresh", 3),
        line(monday, "Stall", "fresh", 8), line(dt.date(2026, 6, 8), "Stall", "dried", 1),  # nothing is ever delivered there: what was sold
    ]


def _prices() -> list[dict]:
    return [
        {"price_market": "Stall", "price_product": "fresh", "price_from": dt.date(2026, 5, 1), "price_each": 15.0},
        {"price_market": "Stall", "price_product": "fresh", "price_from": dt.date(2025, 5, 1), "price_each": 14.0},
        {"price_market": "Stall", "price_product": "dried", "price_from": dt.date(2026, 5, 1), "price_each": "dear"},
        {"price_market": "Fair", "price_product": "fresh", "price_from": dt.date(2026, 6, 1), "price_each": 10.0},
        {"price_market": "Fair", "price_product": "fresh", "price_from": dt.date(2026, 6, 1), "price_each": 13.0},  # the same day: the first holds
        {"price_market": "Fair", "price_product": "fresh", "price_from": dt.date(2026, 6, 5)},  # no price: the older one holds on
        {"price_market": "Fair", "price_product": "fresh", "price_from": "July", "price_each": 20.0},
        {"price_market": "Partner", "price_product": "fresh", "price_from": dt.date(2026, 1, 1), "price_each": 12.0},
        {"price_market": "Kitchen", "price_product": "fresh", "price_from": dt.date(2026, 1, 1), "price_each": 9.5},
    ]


def yard(profile: str) -> Yard:
    scale = 1.0 if profile == "us" else 2.54
    spoilt = {"wage": "plenty", "spare_share": 8, "lift_limit": "", "ends_waxed": "", "end_coat": -1,  # the starting values hold
              "budget_logs": 30, "budget_unsold": 3, "budget_price_per_kg": "dear", "budget_life_kg": 0}  # as typed, or blank
    return Yard(profile, settings={"as_of_typed": DAY} | spoilt, tables={
        "logs": _logs(scale), "events": _events(), "costs": _costs(), "sales": _sales(), "prices": _prices(), "promises": _promises(),
        "markets": [{"market": "Stall", "terms": "own stall"}, {"market": "Partner", "terms": "on consignment", "commission": 0.25},
                    {"market": "Kitchen", "terms": "bought outright"}, {"market": "Fair", "terms": "own stall"}],
        "helpers": [{"helper": "R.", "helper_wage": 12.5, "paid_in_costs": "no"}, {"helper": "Hired", "helper_wage": 15, "paid_in_costs": "Yes"},
                    {"helper": "Friend"}],
        "woods": shipped_woods(profile) + [{"wood": "half known", "wood_gravity": 0.5}],
        "forms": shipped_forms(profile), "strains": shipped_strains(profile),
    })


def _plan(profile: str, *, wax_ends: bool = False, packs: tuple = (), settings: dict | None = None, strains: tuple = (), **inputs) -> Yard:
    base = yard(profile)
    base.tables |= {"logs": base.tables["logs"][:3], "events": [], "costs": [], "sales": [], "prices": []}
    base.tables["packs"] = [
        {"pack_form": "plug", "pack_size": 100, "pack_price": 12.0}, {"pack_form": "sawdust", "pack_size": 5.5, "pack_price": 28.0},
        {"pack_form": "plug", "pack_size": 500}, {"pack_form": "plug", "pack_size": 1000, "pack_price": 55.0}, {"pack_form": "plug",
            "pack_size": "big"},
        {"pack_form": "totem", "pack_size": 5.0, "pack_price": 30.0}, *packs]
    base.settings |= ({"ends_waxed": "yes"} if wax_ends else {}) | (settings or {})
    base.tables["strains"] = [*base.tables["strains"], *strains]
    base.plan = inputs
    return base


WIDE = "shiitake, wide range"
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def site(*temps, **more) -> dict:
    """Settings: mean temperatures of January to December."""
    return {f"temp_{m}": t for m, t in zip(MONTHS, temps, strict=True)} | more


NORTH_F = site(30, 33, 42, 53, 62, 71, 75, 73, 66, 55, 44, 34)
SOUTH_C = site(19, 19, 17, 14, 11, 9, 8, 9, 11, 13, 16, 18)
OWN_STRAINS = (
    {"strain": "short window", "fruits_from": 15, "fruits_to": 18, "run_low": 2, "run_high": 4, "forces": "yes"},
    {"strain": "half months", "fruits_from": 12, "run_low": 6.5, "run_high": 6.5, "forces": "yes"},
    {"strain": "turned round", "fruits_from": 12, "fruits_to": 20, "run_low": 18, "run_high": 6},
    {"strain": "no figures"},
)
ON_HAND = {"have": "bolts on hand", "bolts": 25, "bolt_diameter": 5.5, "bolt_length": 36}


def plans() -> dict[str, Yard]:
    """Plans for the Plan sheet that can be worked out, typical ones and edges, each its own workbook."""
    odd_packs = tuple({"pack_form": "Plug", "pack_size": size, "pack_price": -1.0} for size in (0, -5, 50, 150, 200, 250, 2000, 2500, 5000))
    return {
        "a tree": _plan("us"),
        "a tall tree in metres": _plan("metric", dbh=31.5, height=14.0, top=6.0, bolt_length=90, form="sawdust", wood="sugar maple", wax_ends=True),
        "more bolts than are listed": _plan("us", dbh=14, height=60, bolt_length=14.5),
        "more bolts than are counted": _plan("metric", dbh=30, height=25, bolt_length=10, form="PLUG", wood="Red Maple"),
        "bolts on hand, a tree in words": _plan("us", **ON_HAND, along=4, around=2.5, wax_ends=True, packs=odd_packs,
                                                dbh="thick", height=None, top=900),
        "more holes than the map": _plan("us", **ON_HAND | {"bolt_diameter": 20, "bolt_length": 96}),
        "totems": _plan("us", **ON_HAND | {"bolt_diameter": 10, "bolt_length": 12}, form="totem", around="wide"),
        "too short to drill": _plan("us", **ON_HAND | {"bolt_length": 3}, wanted=None),
        "shorter than one bolt": _plan("us", height=4.6, bolt_length=60, wanted=0),
        "a supply by a date": _plan("us", settings=NORTH_F, wanted=2.4, strain=WIDE, inoculate=dt.date(2027, 3, 1), stock=100),
        "a supply of a cold strain by sawdust": _plan("us", settings=NORTH_F | {"budget_upkeep_minutes": 12, "life_seasons": 2.5}, wanted=7.3,
                                                      strain="Shiitake, cold weather", form="sawdust", inoculate=dt.date(2027, 8, 31), stock=108),
        "a supply in the south": _plan("metric", settings=SOUTH_C | {"season_begins": dt.date(2020, 10, 15), "season_ends": dt.date(2020, 4, 30)},
                                       strains=OWN_STRAINS, strain="short window", wanted=4, inoculate=dt.date(2027, 10, 31), stock=1),
        "a window that keeps its length": _plan("metric", settings=SOUTH_C, strains=OWN_STRAINS, strain="short window",
                                                inoculate=dt.date(2027, 2, 1), **ON_HAND | {"bolt_diameter": 12, "bolt_length": 90}),
        "a season of one week, half months": _plan("metric", settings=SOUTH_C | {"season_begins": dt.date(2024, 2, 29), "season_ends": dt.date(
            2024, 3, 6)}, strains=OWN_STRAINS, strain="half months", inoculate=dt.date(2027, 8, 31)),
        "some temperatures": _plan("us", settings={"temp_jan": 30, "season_ends": dt.date(2024, 6, 30)}, strain=WIDE, inoculate=dt.date(2027, 3, 1)),
        "no temperatures and no season": _plan("metric", strain=WIDE, inoculate=dt.date(2027, 3, 1)),
        "a season open at one end": _plan("us", settings={"season_begins": dt.date(2024, 9, 1)}, strain=WIDE, inoculate=dt.date(2028, 2, 29),
                                          stock=4.0, form="totem", **ON_HAND | {"bolt_diameter": 10, "bolt_length": 12}),
        "a site that suits no month": _plan("us", settings=site(*[95] * 12), strain=WIDE, inoculate=dt.date(2027, 3, 1), wanted=None),
        "a strain without figures": _plan("metric", settings=SOUTH_C, strains=OWN_STRAINS, strain="no figures", inoculate=dt.date(2027, 3, 1)),
        "a strain with months turned round": _plan("metric", settings=SOUTH_C, strains=OWN_STRAINS, strain="turned round",
                                                   inoculate=dt.datetime(2027, 3, 1, 12, 30)),
        "no strain": _plan("us", settings=NORTH_F, inoculate=dt.date(2027, 3, 1)),
    }


def bad_plans() -> dict[str, tuple[Yard, dict]]:
    """Slips of typing on the Plan sheet: the yard, and the Check words that must stand beside the inputs."""
    day, inches, feet = dt.date(2026, 5, 16), "type a number in inches", "type a number in feet"
    size, reach, space = "must be 0.197 to 59.1 in", "must be 1.97 to 472 in", "must be 0.197 to 78.7 in"
    week, whole = "must be 0 to 11,023 lb", "a whole number, 1 to 20,000"
    return {name: (_plan("us", **typed), words) for name, typed, words in (
        ("a bush", {"dbh": 2.5, "height": 3, "top": 3}, {"height": "must be above 4.5 ft", "top": "thicker than the tree"}),
        ("negative sizes", {"dbh": -7, "height": -28, "top": -3, "stump": -1, "bolt_length": -40, "wanted": -5, "along": -6, "around": -2},
         {"dbh": size, "height": "must be 0.984 to 197 ft", "top": size, "stump": "must be 0 to 9.84 ft", "bolt_length": reach, "wanted": week,
          "along": space, "around": "must be 0.197 to 39.4 in"}),
        ("dates", {"dbh": day, "bolt_length": day, "wanted": day, "along": day},
         {"dbh": size, "bolt_length": reach, "wanted": week, "along": space}),
        ("feet and inches", {"bolt_length": "4'2\"", "dbh": "7 in", "wanted": "5 lb", "around": "2 in"},
         {"bolt_length": inches, "dbh": inches, "wanted": "type a number in lb", "around": inches}),
        ("two trees", {"have": "two trees", "bolts": "several"}, {"have": "a tree or bolts on hand", "bolts": "type a whole number"}),
        ("nothing at all", dict.fromkeys(("have", "wood", "dbh", "height", "top", "stump", "bolt_length", "bolts", "bolt_diameter", "wanted")),
         {"have": "a tree or bolts on hand", "wood": "which wood?", "dbh": inches, "height": feet, "top": inches, "stump": feet,
          "bolt_length": inches, "bolts": "type a whole number", "bolt_diameter": inches}),
        ("a stump above the stem", {"stump": 5.5, "height": 5.0}, {"stump": "higher than the stem"}),
        ("half a bolt", ON_HAND | {"bolts": 2.5, "bolt_diameter": 0}, {"bolts": whole, "bolt_diameter": size}),
        ("a date of bolts", ON_HAND | {"bolts": day, "bolt_diameter": "5-6"}, {"bolts": whole, "bolt_diameter": inches}),
        ("a wood without a weight", {"wood": "half known"}, {}),
        ("unknown wood and form", ON_HAND | {"wood": "ironwood", "form": "paste"},
         {"wood": "wood not in Lists", "form": "spawn form not in Lists"}),
        ("a supply in words", {"strain": "mine", "inoculate": "March", "stock": "some"},
         {"strain": "strain not in Lists", "inoculate": "type a date", "stock": "type a whole number"}),
        ("a supply beyond what can be", {"inoculate": 5, "stock": 2.5}, {"inoculate": "no likely date", "stock": whole}),
        ("spacing of nothing, and in words", ON_HAND | {"along": 0, "around": "wide"}, {"along": space, "around": inches}),
    )}

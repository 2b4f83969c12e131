"""What may be typed on the Plan sheet: the inputs, each as it is used, and the word beside one that cannot be used.

Every input has a working cell that holds it only where it can be used (a number within its limits, a word that stands
on Lists); the rest of the sheet reads those cells alone, so that no slip of typing ever becomes an error value.
"""
from __future__ import annotations

from dataclasses import dataclass

from calc import day_numbers, tables, units
from workbook_template.twins import Env, blank, is_number, limit, serial

TREE, BOLTS = "a tree", "bolts on hand"
COUNTED_BY = ("each hole", "hole volume", "weight per log")
UNIT_WORDS = {"in": "inches", "ft": "feet"}


@dataclass(frozen=True)
class Input:
    """A cell to type in. limits: table and column of data/limits.csv; setting: what a blank cell takes."""

    name: str
    title: str
    start: dict  # by profile
    quantity: str | None = None
    list: str | None = None
    looks: str = "size"
    help: str = ""
    limits: tuple[str, str] | None = None
    setting: str | None = None
    only: int | None = None  # asked for in this mode alone: 1 a tree, 2 bolts on hand
    optional: bool = False
    day: bool = False  # a date

    @property
    def whole(self) -> bool:
        return self.looks == "whole"

    def edges(self, profile: str) -> tuple[float, float]:
        """The least and the greatest number that is used, in the workbook's unit."""
        if self.day:
            return tuple(float(edge) for edge in day_numbers.SERIALS)
        found, factor = limit(*self.limits), units.factor(self.quantity, profile) if self.quantity else 1.0
        return tuple(round(found[side] / factor, 12) for side in ("refuse_below", "refuse_above"))

    def unit(self, profile: str) -> str:
        return units.profile_unit(self.quantity, profile) if self.quantity else ""

    def words(self, profile: str) -> tuple[str, str]:
        """What the Check says to something that is no number, and to a number beyond the limits."""
        if self.day:
            return "type a date", "no likely date"
        low, high = (f"{edge:,.0f}" if edge >= 1000 else f"{edge:.3g}" for edge in self.edges(profile))
        if self.whole:
            return "type a whole number", f"a whole number, {low} to {high}"
        unit = self.unit(profile)
        return f"type a number in {UNIT_WORDS.get(unit, unit)}", f"must be {low} to {high} {unit}"


def _two(us, metric):
    return {"us": us, "metric": metric}


DIAMETER = ("logs", "diameter_m")
INPUTS = (
    Input("have", "What do you have?", _two(TREE, TREE), list="plan_have", looks="text", help="a tree still to cut, or bolts on hand"),
    Input("wood", "Wood", _two("white oak", "white oak"), list="woods", looks="text"),
    Input("dbh", "Tree: diameter at breast height", _two(7.0, 18.0), "diameter", help="4.5 ft or 1.3 m above the ground, over the bark",
          limits=DIAMETER, only=1),
    Input("height", "Tree: height to the top diameter", _two(28.0, 8.5), "height", help="how far up the stem is usable",
          limits=("plan", "height_m"), only=1),
    Input("top", "Tree: top diameter", _two(3.0, 7.5), "diameter", help="the thinnest you will drill", limits=DIAMETER, only=1),
    Input("stump", "Tree: stump height", {}, "height", limits=("plan", "stump_m"), only=1),
    Input("bolt_length", "Bolt length", _two(40.0, 100.0), "length", limits=("logs", "length_m")),
    Input("bolts", "Bolts on hand: how many", _two(4, 4), looks="whole", limits=("plan", "bolts"), only=2),
    Input("bolt_diameter", "Bolts on hand: diameter", _two(4.0, 10.0), "diameter", help="mid diameter, over the bark", limits=DIAMETER, only=2),
    Input("form", "Spawn form", _two(None, None), list="forms", looks="text", help="blank takes Settings"),
    Input("along", "Hole spacing, along the grain", _two(None, None), "spacing", help="blank takes Settings",
          limits=("logs", "hole_spacing_m"), setting="hole_spacing"),
    Input("around", "Row spacing, around the log", _two(None, None), "spacing", help="blank takes Settings",
          limits=("logs", "row_spacing_m"), setting="row_spacing"),
    Input("wanted", "Weight wanted each week", _two(5.0, 2.0), "weight", looks="one", help="for the supply lines below",
          limits=("plan", "wanted_kg"), optional=True),
    Input("strain", "Strain", {}, list="strains", looks="text", help="when its weekly supply can start"),
    Input("inoculate", "Logs to be inoculated on", {}, looks="date", help="when the weekly supply can start", optional=True, day=True),
    Input("stock", "Bearing logs on hand", {}, looks="whole", help="what weekly weight do they give?", limits=("plan", "stock"), optional=True),
)
SUPPLY = ("wanted", "strain", "inoculate", "stock")  # inputs that say nothing about the bolts
NUMBERS = tuple(entry for entry in INPUTS if entry.limits or entry.day)
BY_NAME = {entry.name: entry for entry in INPUTS}


def starts(profile: str) -> dict:
    """The inputs of a new plan."""
    found = {i.name: i.start.get(profile) for i in INPUTS}
    found["stump"] = tables.figure("stump_height_ft" if profile == units.US else "stump_height_m").typical
    return found


def untouched(inputs: dict, profile: str) -> bool:
    """Whether the tree or bolts are those of a new workbook; what is asked of a weekly supply says nothing about them."""
    start = starts(profile)
    return all(_plain(inputs.get(name)) == _plain(start[name]) for name in start if name not in SUPPLY)


def _plain(value):
    if blank(value):
        return None
    return value.strip().casefold() if isinstance(value, str) else value


def breast_height(profile: str) -> float:
    return tables.figure("breast_height_ft" if profile == units.US else "breast_height_m").typical


# ---- native formulas --------------------------------------------------------------------------------------------

def used_formulas(profile: str) -> dict[str, str]:
    """Working cells: every input where it can be used, and what can be worked out from them."""
    found = {"mode": f'IFERROR(IF({{have}}="{TREE}",1,IF({{have}}="{BOLTS}",2,0)),0)'}
    for entry in NUMBERS:
        cell, (low, high) = f"{{{entry.name}}}", entry.edges(profile)
        kept = f'IF({cell}<>INT({cell}),"",{cell})' if entry.whole else f"INT({cell})" if entry.day else cell
        number = f'IF({cell}<{low!r},"",IF({cell}>{high!r},"",{kept}))'
        other = f'IF({cell}="",set_{entry.setting},"")' if entry.setting else '""'
        found[f"use_{entry.name}"] = f'IFERROR(IF(ISNUMBER({cell}),{number},{other}),"")'
    tree = "IF(COUNT({use_dbh},{use_height},{use_top},{use_stump},{use_bolt_length})<5,0," \
           "IF(AND({use_height}>[breast],{use_top}<={use_dbh},{use_stump}<{use_height}),1,0))"
    bolts = "IF(COUNT({use_bolts},{use_bolt_diameter},{use_bolt_length})<3,0,1)"
    found |= {
        "sizes_good": f"IF({{mode}}=1,{tree},IF({{mode}}=2,{bolts},0))",
        "wood_at": 'IFERROR(IF({wood}="",0,MATCH({wood},lst_wood,0)),0)',
        "density": 'IF({wood_at}=0,"",IF(ISNUMBER(INDEX(lst_wood_green,{wood_at})),INDEX(lst_wood_green,{wood_at}),""))',
        "form_at": 'IFERROR(MATCH(IF({form}="",set_spawn_form,{form}),lst_form,0),0)',
        "form_name": 'IF({form_at}=0,"",INDEX(lst_form,{form_at}))',
        "counted": 'IF({form_at}=0,"",IFERROR(INDEX(lst_form_by,{form_at})&"",""))',
        "by": "IF(OR(" + ",".join(f'{{counted}}="{word}"' for word in COUNTED_BY) + '),{counted},"")',
        "holes_known": 'IF({by}="",0,IF({by}="weight per log",1,IF(COUNT({use_along},{use_around})<2,0,1)))',
        "strain_at": 'IFERROR(IF({strain}="",0,MATCH({strain},lst_strain,0)),0)',
    }
    return found


def check_formulas(profile: str) -> dict[str, str]:
    """check_<input>: the word beside an input."""
    breast = f"must be above {breast_height(profile):g} {units.profile_unit('height', profile)}"
    crossed = {  # a number that can be, but not with the others
        "height": f'IF({{use_height}}<=[breast],"{breast}","")',
        "top": 'IF(COUNT({use_dbh})=0,"",IF({use_top}>{use_dbh},"thicker than the tree",""))',
        "stump": 'IF(COUNT({use_height})=0,"",IF({use_stump}>={use_height},"higher than the stem",""))',
        "bolt_length": 'IF({count_all}="","",IF({count_all}=0,"longer than the stem",""))',
    }
    found = {
        "check_have": f'IF({{mode}}>0,"","{TREE} or {BOLTS}")',
        "check_wood": 'IF({wood_at}>0,"",IF(IFERROR({wood}="",FALSE),"which wood?","wood not in Lists"))',
        "check_form": 'IF({by}<>"","","spawn form not in Lists")',
        "check_strain": 'IF({strain_at}>0,"",IF(IFERROR({strain}="",FALSE),"","strain not in Lists"))',
    }
    for entry in NUMBERS:
        cell, (no_number, beyond) = f"{{{entry.name}}}", entry.words(profile)
        good, empty = crossed.get(entry.name, '""'), '""' if entry.optional else f'"{no_number}"'
        if entry.only:
            good, empty = (f'IF({{mode}}={3 - entry.only},"",{words})' if words != '""' else words for words in (good, empty))
        found[f"check_{entry.name}"] = (f'IF(ISNUMBER({{use_{entry.name}}}),{good},IF(ISNUMBER({cell}),"{beyond}",'
                                        f'IF(IFERROR({cell}="",FALSE),{empty},"{no_number}")))')
    return found


# ---- their Python twins -----------------------------------------------------------------------------------------

def used(inputs: dict, env: Env) -> dict:
    """The twin of used_formulas: numbers in the workbook's units, "" where one cannot be used."""
    have = str(inputs.get("have")).casefold()
    found = {"mode": 1 if have == TREE else 2 if have == BOLTS else 0}
    for entry in NUMBERS:
        value = inputs.get(entry.name)
        if entry.setting and blank(value):
            found[f"use_{entry.name}"] = env.settings[entry.setting]
        else:
            kept = usable(entry, value, env.profile)
            found[f"use_{entry.name}"] = (float(int(serial(value))) if entry.day else serial(value)) if kept else ""
    found["sizes_good"] = int(_sizes_good(found, env))
    woods, forms = env.rows.get("woods", []), env.rows.get("forms", [])
    species = env.lookup("woods", "wood", inputs.get("wood"))
    form = env.lookup("forms", "form", env.settings["spawn_form"] if blank(inputs.get("form")) else inputs["form"])
    by = (form or {}).get("counted_by") or ""
    found["wood_at"] = 1 + next(i for i, row in enumerate(woods) if row is species) if species else 0
    found["density"] = species["green_density"] if species and is_number(species.get("green_density")) else ""
    found["form_at"] = 1 + next(i for i, row in enumerate(forms) if row is form) if form else 0
    found["form_name"], found["counted"] = form["form"] if form else "", by
    found["by"] = by if by.casefold() in COUNTED_BY else ""
    strain = env.lookup("strains", "strain", inputs.get("strain"))
    found["strain_at"] = 1 + next(i for i, row in enumerate(env.rows["strains"]) if row is strain) if strain else 0
    spaced = "" not in (found["use_along"], found["use_around"])
    found["holes_known"] = int(found["by"] != "" and (spaced or found["by"].casefold() == "weight per log"))
    return found


def usable(entry: Input, value, profile: str) -> bool:
    """Whether a typed value is a number that the input takes."""
    if not is_number(value):
        return False
    low, high = entry.edges(profile)
    return low <= serial(value) <= high and not (entry.whole and serial(value) % 1)


def _sizes_good(found: dict, env: Env) -> bool:
    needed = {1: ("dbh", "height", "top", "stump", "bolt_length"), 2: ("bolts", "bolt_diameter", "bolt_length"), 0: ()}[found["mode"]]
    if not needed or any(found[f"use_{name}"] == "" for name in needed):
        return False
    return found["mode"] == 2 or (found["use_height"] > breast_height(env.profile) and found["use_top"] <= found["use_dbh"]
                                  and found["use_stump"] < found["use_height"])


def checks(inputs: dict, found: dict, count_all, env: Env) -> dict[str, str]:
    """The twin of check_formulas. found: from `used`; count_all: whole bolts the plan gives, "" where not known."""
    words = {
        "check_have": "" if found["mode"] else f"{TREE} or {BOLTS}",
        "check_wood": "" if found["wood_at"] else "which wood?" if blank(inputs.get("wood")) else "wood not in Lists",
        "check_form": "" if found["by"] else "spawn form not in Lists",
        "check_strain": "" if found["strain_at"] or blank(inputs.get("strain")) else "strain not in Lists",
    }
    for entry in NUMBERS:
        typed, value, elsewhere = inputs.get(entry.name), found[f"use_{entry.name}"], entry.only and found["mode"] == 3 - entry.only
        no_number, beyond = entry.words(env.profile)
        if value != "":
            word = "" if elsewhere else _crossed(entry.name, found, count_all, env)
        elif blank(typed):
            word = "" if entry.optional or elsewhere else no_number
        else:
            word = beyond if is_number(typed) else no_number
        words[f"check_{entry.name}"] = word
    return words


def _crossed(name: str, found: dict, count_all, env: Env) -> str:
    """What is wrong with a number that can be, but not with the others."""
    breast, dbh, height = breast_height(env.profile), found["use_dbh"], found["use_height"]
    if name == "height" and height <= breast:
        return f"must be above {breast:g} {units.profile_unit('height', env.profile)}"
    if name == "top" and dbh != "" and found["use_top"] > dbh:
        return "thicker than the tree"
    if name == "stump" and height != "" and found["use_stump"] >= height:
        return "higher than the stem"
    return "longer than the stem" if name == "bolt_length" and count_all == 0 else ""

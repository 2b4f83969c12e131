"""The worksheet functions: one registry from which add-ins, Sources sheet and command line are made.

The table of contents is REGISTRY. `evaluate` takes cells as a spreadsheet hands them over and gives numbers
in the grower's units, or raises BadArgument with one sentence and the spreadsheet's error value.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

from calc import (
    adapters,
    arguments,
    day_numbers,
    drilling,
    economics,
    handling,
    keeping,
    market,
    season,
    supplies,
    tables,
    units,
    wood,
    yields,
)
from calc.arguments import NOT_FOUND, NUM, Arg, BadArgument


@dataclass(frozen=True)
class Function:
    """One worksheet function. result_unit: one quantity, or (column, quantity) pairs when the result is rows.

    example: (arguments as typed in US units, the result in words).
    """

    name: str
    category: str
    call: object
    args: tuple
    result: str
    result_unit: object
    sources: tuple
    example: tuple
    caution: str = ""

    @property
    def dot_name(self):
        """The name in files that need a dot: BOLT.DRY_WEIGHT."""
        return self.name.replace("_", ".", 1)

    @property
    def is_array(self):
        """Whether the result is rows of cells."""
        return isinstance(self.result_unit, tuple) and isinstance(self.result_unit[0], tuple)


_UNITS = Arg("units", "us (in, ft, lb, cu ft) or metric (cm, m, kg, L)", "", True, units.US, "units",
             choices=(units.US, units.METRIC))
_WOOD = Arg("wood", "a wood of the table, such as white oak", kind="text")
_DIAMETER = Arg("diameter", "diameter over bark; the small end when a large end is given", "diameter",
                above=True)
_LARGE = Arg("large_end", "diameter of the large end; blank or 0: diameter is the mid diameter", "diameter",
             True, kind="size")
_LENGTH = Arg("length", "length of the log", "length", above=True)
_LOG = (_DIAMETER, _LARGE, _LENGTH)
_PATTERN = (
    Arg("diameter", "mean diameter of the log", "diameter", above=True), _LENGTH,
    Arg("hole_spacing", "hole spacing along the log", "spacing", above=True),
    Arg("row_spacing", "row spacing around the log", "spacing", above=True),
    Arg("end_margin", "first hole from the end; blank or 0: 2 in or 5 cm", "spacing", True,
        ("end_margin_in", "end_margin_cm"), "size"),
    _UNITS)
_HOLES = Arg("holes", "number of holes", "holes")
_SPARE = Arg("spare", "spare share; blank: 0.05", "fraction", True, "spare_share")
_WAX_DENSITY = Arg("density", "density of the wax; blank or 0: 0.9", "density", True, "wax_density_g_ml",
                   "size")
_START = Arg("start_weight", "weight of the sample log at the start", "same weight", above=True)
_START_MOISTURE = Arg("start_moisture_wet", "moisture at the start, wet basis", "fraction", high=1.0,
                      below=True)
_COMMISSION = Arg("commission", "share the market keeps", "fraction", True, 0.0, high=1.0, below=True)
_UNSOLD = Arg("unsold", "share brought there and not sold", "fraction", True, 0.0, high=1.0, below=True)
_PRICE = Arg("price", "price of one unit of weight", "money")
_FLOWS = Arg("flows", "money in and out by year, year 0 first; a blank year is 0", "money", kind="list",
             low=None)
_WOOD_SOURCES = ("fia_ref_species", "miles_smith_2009", "larsen")
_AVERAGE = "A species average; weigh a log when it matters."
_DECAY = "After the first year decay makes the answer too low."
_CUT = ("Felling can kill: training, protective gear, never alone."
        " Leaning or hung trees are for a professional.")
_HOT = "Melt wax in a water bath, never on a flame, and fill the pot well under full."

REGISTRY = (
    Function(
        "BOLT_VOLUME", "Wood", adapters.plain(wood.bolt_volume), _LOG + (_UNITS,),
        "volume over bark", "volume", ("larsen", "from_memory"),
        ((4, 5, 48), "0.4472 cu ft"), "Butt swell makes the two-end volume too large."),
    Function(
        "BOLT_WEIGHT", "Wood", adapters.weight, (_WOOD,) + _LOG + (_UNITS,),
        "green weight with bark", "weight", _WOOD_SOURCES,
        (("white oak", 5, "", 40), "28.8 lb"), _AVERAGE + " A soaked log is heavier."),
    Function(
        "BOLT_DRY_WEIGHT", "Wood", adapters.dry_weight,
        (_WOOD,) + _LOG + (
            Arg("with_bark", "TRUE: with bark; blank or FALSE: wood only", "", True, False, "yes_no"),
            _UNITS),
        "oven-dry weight, wood only unless with_bark", "weight", _WOOD_SOURCES,
        (("white oak", 5, "", 40), "14.68 lb"), _AVERAGE),
    Function(
        "BOLT_MOISTURE", "Moisture", adapters.plain(wood.moisture_by_weighing),
        (Arg("weight_now", "weight of the sample log now", "same weight", above=True), _START,
         _START_MOISTURE),
        "moisture now, wet basis", "fraction", ("briggs_1994",),
        ((27, 30, 0.4), "0.3333"), _DECAY),
    Function(
        "BOLT_WEIGHT_AT", "Moisture", adapters.plain(wood.weight_at_moisture),
        (_START, _START_MOISTURE,
         Arg("target_moisture_wet", "moisture to watch for, wet basis", "fraction", high=1.0, below=True)),
        "weight at which that moisture is reached", "same weight", ("briggs_1994",),
        ((30, 0.4, 0.35), "27.69 lb"), _DECAY),
    Function(
        "BOLT_FROM_TREE", "Wood", adapters.from_tree,
        (Arg("dbh", "diameter at breast height (4.5 ft or 1.3 m)", "diameter", above=True),
         Arg("height", "height where the stem reaches the top diameter", "height", above=True),
         Arg("bolt_length", "length to cut", "length", above=True),
         Arg("top_diameter", "smallest diameter to use", "diameter", above=True),
         Arg("stump", "stump left; blank or 0: 0.5 ft or 0.15 m", "height", True,
             ("stump_height_ft", "stump_height_m"), "size"),
         _UNITS),
        "one row for each bolt, from the stump up",
        (("bolt", "number"), ("small end", "diameter"), ("large end", "diameter"), ("volume", "volume")),
        ("own_guess", "larsen"), ((8, 30, 48, 3), "bolt 1: 8.00 in, 8.78 in, 1.540 cu ft"),
        "A straight-line taper: a measured tally is better. " + _CUT),
    Function(
        "BOLT_HOLES", "Drilling", adapters.plain(drilling.holes), _PATTERN,
        "holes by the staggered pattern", "holes", ("practitioner", "umd_res11"),
        ((4, 48, 6, 2), "45 holes")),
    Function(
        "BOLT_DRILL_MAP", "Drilling", adapters.drill_map, _PATTERN,
        "one row for each hole", (("row", "number"), ("around", "spacing"), ("along", "spacing")),
        ("practitioner", "umd_res11"), ((4, 48, 6, 2), "row 1: 0 in around, 3 in along")),
    Function(
        "BOLT_SPAWN", "Supplies", adapters.plain(supplies.plugs_needed), (_HOLES, _SPARE),
        "plugs or thimbles, whole", "plugs", ("arithmetic", "own_guess"),
        ((200, 0.05), "210 plugs")),
    Function(
        "BOLT_SPAWN_WEIGHT", "Supplies", adapters.plain(supplies.sawdust_weight),
        (_HOLES,
         Arg("bit", "diameter of the bit", "bore", above=True),
         Arg("depth", "depth of the hole", "bore", above=True),
         Arg("bulk_density", "weight of spawn as packed in the hole", "density", above=True),
         Arg("fill", "share of the hole filled; blank: 1", "fraction", True, "sawdust_fill", high=1.0,
             above=True),
         _SPARE, _UNITS),
        "sawdust spawn", "weight", ("own_guess", "farm_record_2012"),
        ((42, 0.4375, 1, 0.45, 1, 0), "0.103 lb"), "Weigh a bag and count the holes it fills."),
    Function(
        "BOLT_PACKS", "Supplies", adapters.packs,
        (Arg("need", "what is needed, in the unit of the pack sizes", "same unit"),
         Arg("pack_sizes", "pack sizes, a row or column", "same unit", kind="list", above=True),
         Arg("pack_prices", "their prices; when one is blank the least left over is chosen", "money", True,
             kind="list")),
        "one row: packs of each size, then cost, then left over",
        (("packs of each size", "packs"), ("cost", "money"), ("left over", "same unit")), ("arithmetic",),
        ((600, (100, 500, 1000), (9, 35, 60)), "1, 1 and 0 packs; 44.00; 0 left over")),
    Function(
        "BOLT_WAX", "Supplies", adapters.wax,
        (_HOLES,
         Arg("wax_per_hole", "wax for one hole, about 1 g", "small_weight"),
         Arg("diameter", "diameter of the log ends; blank or 0: ends are not waxed", "diameter", True,
             kind="size"),
         Arg("ends", "log ends to wax; blank: 2 when a diameter is given", "ends", True),
         Arg("wax_thickness", "coat on the ends; blank or 0: 1 mm", "coat", True, "end_coat_mm", "size"),
         _WAX_DENSITY, _UNITS),
        "wax to melt, by weight", "weight", ("common_practice", "own_guess", "from_memory"),
        ((45, 1, 4, 2), "0.131 lb"), _HOT),
    Function(
        "BOLT_WAX_VOLUME", "Supplies", adapters.plain(supplies.wax_volume),
        (Arg("wax_weight", "wax to melt", "weight"), _WAX_DENSITY,
         Arg("melted_swell", "extra room when melted; blank: 0.08", "fraction", True, "wax_melted_swell"),
         _UNITS),
        "room the melted wax takes", "melt", ("common_practice", "from_memory"),
        ((1,), "18.4 fl oz"), _HOT),
    Function(
        "BOLT_LIFT_LIMIT", "Lifting", adapters.lift_limit,
        (Arg("horizontal", "reach: ankles to hands", ("in", "cm")),
         Arg("vertical", "height of the hands at the start", ("in", "cm")),
         Arg("travel", "distance moved up or down", ("in", "cm")),
         Arg("twist_deg", "turn away from straight ahead", "degrees", high=180.0),
         Arg("lifts_per_minute", "lifts a minute over 15 minutes", "per minute"),
         Arg("hours", "hours of lifting at a stretch", ("h", "h"), high=8.0, above=True),
         Arg("grip", "good, fair or poor", kind="text", choices=handling.GRIPS), _UNITS),
        "recommended weight limit", ("lb", "kg"), ("niosh_94_110", "from_memory"),
        ((15, 10, 26, 0, 1, 2, "poor"), "20.4 lb"),
        "A guide only: log yards are often outside the limits of the method."),
    Function(
        "BOLT_ROTA", "Season", adapters.row(season.rota),
        (Arg("weight_per_week", "fresh weight wanted each week", "same weight"),
         Arg("weight_per_soaked_log", "fresh weight for one soaked log, about 0.2 lb or 0.09 kg",
             "same weight", above=True),
         Arg("cycle_weeks", "weeks from soak to soak", "weeks", above=True)),
        "one row: groups, logs per group, logs in all",
        (("groups", "groups"), ("logs per group", "logs"), ("logs in all", "logs")),
        ("uky_for85", "sare_fnc15_1021"), ((2.4, 0.2, 9), "9 groups of 12 logs, 108 in all"),
        "Weather hits every log at once: a weekly weight is an average."),
    Function(
        "BOLT_FIRST_FLUSH", "Season", adapters.first_flush,
        (Arg("inoculated", "day the spawn went in", "date", kind="date"),
         Arg("months_low", "shortest spawn run, 6 in print", "months", high=120.0),
         Arg("months_high", "longest spawn run, 18 in print", "months", high=120.0),
         Arg("fruits_from", "coolest month the strain fruits in", "same temperature", True, low=None),
         Arg("fruits_to", "warmest month the strain fruits in", "same temperature", True, low=None),
         Arg("monthly_temperatures", "twelve mean temperatures of the site, January first", "same temperature",
             True, kind="list", low=None)),
        "one row: window for first mushrooms; format as dates",
        (("from", "date"), ("to", "date")),
        ("uky_for85", "osu_f0042"),
        ((46082, 6, 18, 59, 77, (30, 33, 41, 52, 62, 70, 74, 72, 65, 54, 44, 34)), "46266 to 46631"),
        "Without temperatures it can fall in a cold month."),
    Function(
        "BOLT_EFFICIENCY", "Yield and keeping", adapters.plain(yields.biological_efficiency),
        (Arg("fresh_weight", "all the fresh mushrooms of the log", "same weight"),
         Arg("dry_wood_weight", "oven-dry wood without bark, see BOLT_DRY_WEIGHT", "same weight",
             above=True)),
        "biological efficiency", "fraction", ("sabota_1996",),
        ((1.16, 13.24), "0.0876")),
    Function(
        "BOLT_DRIED", "Yield and keeping", adapters.plain(keeping.dried_weight),
        (Arg("fresh_weight", "fresh weight", "same weight"),
         Arg("fresh_moisture_wet", "water in the fresh mushrooms, wet basis", "fraction", high=1.0,
             below=True),
         Arg("dried_moisture_wet", "water left when dried, wet basis", "fraction", high=1.0, below=True)),
        "dried weight", "same weight", ("usda_nutrients",),
        ((10, 0.8974, 0.1), "1.14 lb"),
        "Dry until brittle. Selling dried food may need a licence: ask locally."),
    Function(
        "BOLT_CAPITAL_CHARGE", "Money", adapters.plain(economics.capital_charge),
        (Arg("price", "price paid", "money"),
         Arg("salvage", "what it fetches at the end", "money"),
         Arg("life_years", "years of use", "years", above=True),
         Arg("real_rate", "interest above inflation", "fraction a year", low=-1.0, above=True)),
        "yearly charge", "money", ("southern_ag_today_2023", "eng_econ_text"),
        ((50000, 5000, 5, 0.1), "12370.89")),
    Function(
        "BOLT_LOG_ECONOMICS", "Money", adapters.row(economics.log_economics),
        (Arg("cost_per_log", "cost of a log over its life", "money"),
         Arg("weight_per_log", "marketable weight over its life", "same weight", above=True),
         _PRICE, _COMMISSION, _UNSOLD),
        "one row: income, net, cost per weight, floor price",
        (("income", "money"), ("net", "money"), ("cost per weight", "money"), ("floor price", "money")),
        ("from_memory",), ((6.44, 1.5, 11), "16.50 income, 10.06 net, 4.293 cost, 4.293 floor"),
        "Own hours are a cost too."),
    Function(
        "BOLT_BREAKEVEN_PRICE", "Money", adapters.plain(economics.breakeven_price),
        (Arg("cost", "all costs", "money"),
         Arg("weight", "marketable weight", "same weight", above=True), _COMMISSION, _UNSOLD),
        "price per weight", "money", ("from_memory", "wsu_econs350"),
        ((60, 10, 0.25, 0.2), "10.00")),
    Function(
        "BOLT_BREAKEVEN_WEIGHT", "Money", adapters.plain(economics.breakeven_weight),
        (Arg("fixed_cost", "costs that do not depend on the weight", "money"), _PRICE, _COMMISSION,
         Arg("cost_per_weight", "what each unit of weight adds", "money", True, 0.0)),
        "weight to sell before costs are met", "same weight", ("from_memory",),
        ((100, 10, 0.2, 3), "20.0")),
    Function(
        "BOLT_SETTLEMENT", "Money", adapters.row(market.settlement),
        (Arg("opening", "stood there at the start", "same weight"),
         Arg("delivered", "brought", "same weight"),
         Arg("sold", "sold", "same weight"),
         Arg("returned", "brought home", "same weight"),
         Arg("spoiled", "spoiled there", "same weight"),
         Arg("counted", "still there", "same weight"), _PRICE,
         Arg("commission", "share the market keeps", "fraction", high=1.0),
         Arg("fee", "fees the market takes", "money", True, 0.0),
         Arg("allowance", "loss allowed, a share of opening and delivered", "fraction", True, 0.0, high=1.0),
         Arg("paid", "already paid", "money", True, 0.0)),
        "one row: unexplained weight, sales, commission, due, open",
        (("unexplained", "same weight"), ("sales", "money"), ("commission", "money"), ("due", "money"),
         ("open", "money")),
        ("common_practice",),
        ((2, 10, 8, 1, 0.5, 1.5, 10, 0.25, 5, 0.05),
         "1 unexplained, 80 sales, 20 commission, 59 due, 59 open")),
    Function(
        "BOLT_NPV", "Money", adapters.npv,
        (Arg("rate", "interest a year", "fraction a year", low=-1.0, above=True), _FLOWS),
        "present value", "money", ("numpy_financial",),
        ((0.08, (-40000, 5000, 8000, 12000, 30000)), "3065.22"),
        "The first flow is today; a spreadsheet's own NPV takes it a year from now."),
    Function(
        "BOLT_IRR", "Money", adapters.irr, (_FLOWS,),
        "internal rate of return", "fraction a year", ("numpy_financial",),
        (((-100, 39, 59, 55, 20),), "0.2809"), "None or several rates: #N/A. Then use BOLT_NPV."),
)


def _short(name):
    short = str(name).strip().lstrip("=").upper().replace(".", "_").replace(" ", "_").replace("-", "_")
    return short[5:] if short.startswith("BOLT_") else short


def find(name):
    """The Function of a name: BOLT_VOLUME, BOLT.VOLUME or volume, in any case. Raises UnknownName."""
    short = {_short(function.name): function for function in REGISTRY}
    if _short(name) in short:
        return short[_short(name)]
    close = tables.nearest(_short(name), short)
    raise tables.UnknownName("function", name, [short[match].name for match in close])


def _shown(function, value, profile):
    """SI -> the grower's units; blank cells of an array stay None."""
    def scaled(cell, quantity):
        if cell is None:
            return None
        if quantity == "date":
            return float(day_numbers.serial(cell))
        if isinstance(cell, float) and not math.isfinite(cell):
            raise OverflowError("too large")
        return cell / arguments.factor_of(quantity, profile) if quantity in units.PROFILES[profile] else cell

    if not function.is_array:
        return scaled(value, function.result_unit)
    quantities = [quantity for _, quantity in function.result_unit]
    last = len(quantities) - 1
    return [[scaled(cell, quantities[min(i, last)]) for i, cell in enumerate(row)] for row in value]


def evaluate(name, *cells, units=None):
    """The result of a worksheet function: a number, or rows of cells for an array.

    name: as `find` takes it. cells: the arguments as a spreadsheet hands them over; units="metric" may stand
    for the last argument. Raises UnknownName for a wrong name and BadArgument for everything else that is
    wrong.
    """
    function = find(name)
    wanted = [arg for arg in function.args if arg.kind != "units"]
    if len(cells) > len(function.args):
        raise BadArgument(function.name, "got {} arguments".format(len(cells)),
                          "at most {}".format(len(function.args)), "Remove the last ones.")
    cells = list(cells) + [None] * (len(function.args) - len(cells))
    typed = cells[-1] if function.args[-1].kind == "units" else None
    profile = arguments.profile_of(units if arguments.is_blank(typed) else typed)
    values = [arguments.coerce(arg, cells[i], profile) for i, arg in enumerate(wanted)]
    try:
        return _shown(function, function.call(*values, profile=profile), profile)
    except BadArgument:
        raise
    except tables.UnknownName as unknown:
        hint = "Try " + tables.either(unknown.nearest) if unknown.nearest else "See the list of woods"
        raise BadArgument("wood", "found \"{}\"".format(unknown.name), "a wood of the table", hint + ".",
                          NOT_FOUND) from None
    except (ValueError, OverflowError, ZeroDivisionError) as problem:
        sentence = str(problem) if type(problem) is ValueError else "The numbers are too large or too small."
        raise BadArgument(function.name, sentence[0].lower() + sentence[1:].rstrip("."),
                          "numbers that fit together", "Check them and their units.", NUM) from None


def describe(function, profile=units.US):
    """A function in words for docs and the command line: a dictionary of plain text and lists."""
    def listed(arg):
        return {"name": arg.name, "help": arg.help, "unit": arguments.unit_of(arg.quantity, profile),
                "optional": arg.optional, "default": arguments.default_of(arg, profile)}

    columns = function.result_unit if function.is_array else ((function.result, function.result_unit),)
    shown = ["[{}]".format(arg.name) if arg.optional and i >= _last_required(function) else arg.name
             for i, arg in enumerate(function.args)]
    return {"name": function.name, "dot_name": function.dot_name, "category": function.category,
            "signature": "{}({})".format(function.name, ", ".join(shown)),
            "args": [listed(arg) for arg in function.args], "result": function.result,
            "result_units": [(title, arguments.unit_of(quantity, profile)) for title, quantity in columns],
            "sources": list(function.sources), "caution": function.caution, "example": function.example}


def _last_required(function):
    """Where the arguments that may be left off the end begin."""
    return 1 + max(i for i, arg in enumerate(function.args) if not arg.optional)

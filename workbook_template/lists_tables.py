"""The tables of the Lists sheet: what the drop-downs offer, with the figures each choice carries."""
from __future__ import annotations

import math

from calc import tables, units, wood
from calc.adapters import water_density
from workbook_template.columns import CHOICE, COMPUTED, DATE, NUMBER, TEXT, YESNO, Column, Table
from workbook_template.twins import Env, is_number, serial

HEADER = 7
EACH_HOLE, HOLE_VOLUME, PER_LOG = "each hole", "hole volume", "weight per log"


# ---- woods -----------------------------------------------------------------------------------------------------

def _stem(row: dict, env: Env, part: str):
    keys = ("wood_gravity", "wood_moisture", "bark_gravity", "bark_moisture", "bark_volume")
    if not row.get("wood") or not all(is_number(row.get(k)) for k in keys):
        return ""
    parts = wood.stem_parts(1.0, *(serial(row[k]) for k in keys), water_density())
    kg = wood.green_weight(parts) if part == "green" else wood.dry_weight(parts)
    return env.shown(kg, "weight") / env.shown(1.0, "volume")


def green_density(row, env):
    return _stem(row, env, "green")


def dry_density(row, env):
    return _stem(row, env, "dry wood")


WOOD_READY = ("AND({wood}<>\"\",ISNUMBER({wood_gravity}),ISNUMBER({wood_moisture}),ISNUMBER({bark_gravity}),"
              "ISNUMBER({bark_moisture}),ISNUMBER({bark_volume}))")


def shipped_woods(profile: str) -> list[dict]:
    return [
        {"wood": s.name, "wood_gravity": s.wood_specific_gravity, "wood_moisture": s.wood_moisture_dry_fraction,
         "bark_gravity": s.bark_specific_gravity, "bark_moisture": s.bark_moisture_dry_fraction,
         "bark_volume": s.bark_volume_fraction_of_wood}
        for s in tables.species()
    ]


WOODS = Table(
    key="woods", sheet="Lists", title="Woods", header_row=HEADER, rows=50, shipped=shipped_woods,
    about="USDA Forest Service FIA, REF_SPECIES, 2023, after Miles & Smith 2009. Moisture here is dry basis: water / dry wood.",
    columns=(
        Column("wood", "Wood", TEXT, "Name used on Logs.", width=24),
        Column("wood_gravity", "Wood specific gravity", NUMBER, "Oven-dry weight over green volume.", width=9, looks="two"),
        Column("wood_moisture", "Wood moisture, dry basis", NUMBER, "Water over dry wood when fresh.", unit="%", width=9,
               looks="percent"),
        Column("bark_gravity", "Bark specific gravity", NUMBER, width=9, looks="two"),
        Column("bark_moisture", "Bark moisture, dry basis", NUMBER, unit="%", width=9, looks="percent"),
        Column("bark_volume", "Bark volume of wood", NUMBER, "Bark as a percent of wood volume.", unit="%", width=9, looks="percent"),
        Column("green_density", "Green log weight", COMPUTED, "Fresh weight with bark per volume over bark.",
               quantity="density of wood", width=9, looks="two",
               formula=f'IF({WOOD_READY},[water]*({{wood_gravity}}*(1+{{wood_moisture}})+{{bark_volume}}*{{bark_gravity}}'
                       '*(1+{bark_moisture}))/(1+{bark_volume}),"")', twin=green_density),
        Column("dry_density", "Dry wood weight", COMPUTED, "Oven-dry wood, no bark, per volume over bark.",
               quantity="density of wood", width=9, looks="two",
               formula=f'IF({WOOD_READY},[water]*{{wood_gravity}}/(1+{{bark_volume}}),"")', twin=dry_density),
    ),
)


# ---- strains ---------------------------------------------------------------------------------------------------

def shipped_strains(profile: str) -> list[dict]:
    def degrees(f):
        return f if profile == units.US else round(units.celsius_from_fahrenheit(f))

    cook = "Cook through: raw shiitake can cause a rash."
    temps = {"cold": (44, 68), "wide": (59, 77), "warm": (55, 80)}
    rows = [
        {"strain": f"shiitake, {words}", "mushroom": "shiitake", "fruits_from": degrees(temps[k][0]),
         "fruits_to": degrees(temps[k][1]), "run_low": tables.figure("first_mushrooms_months").low,
         "run_high": tables.figure("first_mushrooms_months").high, "rest_weeks": tables.figure("rota_weeks").typical - 1,
         "forces": "no" if k == "cold" else "yes", "caution": cook}
        for k, words in (("wide", "wide range"), ("cold", "cold weather"), ("warm", "warm weather"))
    ]
    rows.append({"strain": "oyster", "mushroom": "oyster", "forces": "no", "run_low": tables.figure("first_mushrooms_months").low,
                 "run_high": tables.figure("first_mushrooms_months").high,
                 "caution": "Golden oyster has escaped into woods: keep to native strains, ask your state."})
    rows.append({"strain": "lion's mane", "mushroom": "lion's mane", "forces": "no",
                 "run_low": tables.figure("first_mushrooms_months").low, "run_high": tables.figure("first_mushrooms_months").high,
                 "caution": "Pick only what you inoculated and can name."})
    return rows


STRAINS = Table(
    key="strains", sheet="Lists", title="Strains", header_row=HEADER, rows=20, shipped=shipped_strains,
    about="Class names overlap between suppliers: type your own strain and its own temperatures.",
    columns=(
        Column("strain", "Strain", TEXT, "Name used on Logs.", width=21),
        Column("mushroom", "Mushroom", TEXT, width=12),
        Column("fruits_from", "Fruits from", NUMBER, quantity="temperature", width=8, looks="whole"),
        Column("fruits_to", "Fruits to", NUMBER, quantity="temperature", width=8, looks="whole"),
        Column("run_low", "Spawn run, short", NUMBER, unit="months", width=9, looks="whole"),
        Column("run_high", "Spawn run, long", NUMBER, unit="months", width=9, looks="whole"),
        Column("rest_weeks", "Rest", NUMBER, "Weeks between soaks.", unit="weeks", width=8, looks="whole"),
        Column("forces", "Forces well", YESNO, "Answers to soaking.", width=8, list="yesno"),
        Column("caution", "Caution", TEXT, width=66),
    ),
)


# ---- spawn forms and packs ---------------------------------------------------------------------------------------

def per_hole(row: dict, env: Env):
    keys = ("bit", "depth", "fill", "bulk_density")
    if row.get("counted_by") != HOLE_VOLUME or not all(is_number(row.get(k)) for k in keys):
        return ""
    bit, depth = env.si(serial(row["bit"]), "bore"), env.si(serial(row["depth"]), "bore")
    return math.pi / 4 * bit ** 2 * depth * row["fill"] * row["bulk_density"] * 1000 * 1000


def shipped_forms(profile: str) -> list[dict]:
    def size(name):
        return tables.figure(f"{name}_{'in' if profile == units.US else 'mm'}").typical

    def weight(name):
        pounds = tables.figure(name).typical
        return round(pounds if profile == units.US else pounds * 0.45359237, 3)

    thimble = {"bit": tables.figure("thimble_bit_mm").typical, "depth": tables.figure("thimble_depth_mm").typical}
    if profile == units.US:
        thimble = {k: round(v / 25.4, 3) for k, v in thimble.items()}
    return [
        {"form": "plug", "counted_by": EACH_HOLE, "bit": size("plug_bit"), "depth": size("plug_depth"), "waxed": "yes"},
        {"form": "thimble", "counted_by": EACH_HOLE, **thimble, "waxed": "no"},
        {"form": "sawdust", "counted_by": HOLE_VOLUME, "bit": size("sawdust_bit"), "depth": size("sawdust_depth"),
         "fill": tables.figure("sawdust_fill").typical, "bulk_density": tables.figure("sawdust_bulk_density_g_ml").typical,
         "waxed": "yes"},
        {"form": "sawdust, by log", "counted_by": PER_LOG, "weight_per_log": weight("sawdust_weight_per_log_lb"), "waxed": "yes"},
        {"form": "totem", "counted_by": PER_LOG, "weight_per_log": weight("totem_weight_per_log_lb"), "waxed": "no"},
    ]


FORMS = Table(
    key="forms", sheet="Lists", title="Spawn forms", header_row=HEADER, rows=10, shipped=shipped_forms,
    about="Follow your supplier's bit and depth. Sawdust figures are starting guesses: one farm used 0.10 lb a log, others 0.5.",
    columns=(
        Column("form", "Spawn form", TEXT, "Name used on Logs.", width=15),
        Column("counted_by", "Counted by", CHOICE, "each hole, hole volume, or weight per log (no holes).", width=13, list="counted_by"),
        Column("bit", "Bit", NUMBER, quantity="bore", width=8, looks="three"),
        Column("depth", "Depth", NUMBER, quantity="bore", width=8, looks="three"),
        Column("fill", "Fill", NUMBER, "Share of the hole filled.", unit="%", width=7, looks="percent"),
        Column("bulk_density", "Bulk density", NUMBER, quantity="density", width=8, looks="two"),
        Column("per_hole", "Spawn a hole", COMPUTED, "Hole volume x fill x bulk density.", unit="g", width=8, looks="two",
               formula='IF(AND({counted_by}="hole volume",ISNUMBER({bit}),ISNUMBER({depth}),ISNUMBER({fill}),'
                       'ISNUMBER({bulk_density})),PI()/4*({bit}*[bore_cm])^2*{depth}*[bore_cm]*{fill}*{bulk_density},"")',
               twin=per_hole),
        Column("weight_per_log", "Spawn a log", NUMBER, quantity="weight", width=9, looks="three"),
        Column("waxed", "Holes waxed", YESNO, "no for thimbles with their own cap.", width=8, list="yesno"),
    ),
)

PACKS = Table(
    key="packs", sheet="Lists", title="Spawn packs", header_row=HEADER, rows=15,
    shipped=lambda profile: [
        {"pack_form": "plug", "pack_size": 100}, {"pack_form": "plug", "pack_size": 500}, {"pack_form": "plug", "pack_size": 1000},
        {"pack_form": "sawdust", "pack_size": 5.5 if profile == units.US else 2.5},
        {"pack_form": "sawdust, by log", "pack_size": 5.5 if profile == units.US else 2.5},
        {"pack_form": "totem", "pack_size": 5.0 if profile == units.US else 2.5}],
    about="Sizes your supplier sells and what each costs. Prices here only plan; what you spend goes on Costs.",
    columns=(
        Column("pack_form", "Pack of", CHOICE, width=15, list="forms"),
        Column("pack_size", "Pack size, pieces or weight", NUMBER, width=11, looks="plain"),
        Column("pack_price", "Pack price", NUMBER, quantity="money", width=9, looks="money"),
    ),
)

LOTS = Table(
    key="lots", sheet="Lists", title="Spawn lots", header_row=HEADER, rows=30,
    about="One row for every delivery of spawn, so that a bad one can be traced.",
    columns=(
        Column("spawn_lot", "Spawn lot", TEXT, width=11),
        Column("lot_strain", "Strain of the lot", CHOICE, width=18, list="strains"),
        Column("arrived", "Arrived", DATE, width=12, looks="date"),
        Column("use_by", "Use by", DATE, width=12, looks="date"),
    ),
)

EVENT_KINDS = [
    # event, amount means, needs an amount, may name no log
    ("felled", "-", "no", "no"), ("inoculated", "-", "no", "no"), ("waxed", "-", "no", "no"), ("stacked", "-", "no", "no"),
    ("moved", "-", "no", "no"), ("turned", "-", "no", "no"),
    ("watered", "depth of water", "no", "yes"), ("rain", "depth of rain", "yes", "yes"),
    ("soaked", "hours in the tank", "no", "no"), ("weighed", "weight of each log", "yes", "no"),
    ("checked", "-", "no", "no"), ("pins seen", "-", "no", "no"),
    ("picked", "weight, all logs named", "yes", "no"), ("culled", "weight thrown out, of what was picked", "yes", "yes"),
    ("dried", "fresh weight into the dryer", "yes", "yes"), ("stored", "fresh weight in the cooler at the end of the day", "yes", "yes"),
    ("dried count", "dried weight in store at the end of the day", "yes", "yes"),
    ("given", "fresh weight given or eaten", "yes", "yes"), ("spoiled", "fresh weight spoiled at home", "yes", "yes"),
    ("worked", "-", "no", "yes"), ("retired", "number of logs, blank all", "no", "no"),
    ("lost", "number of logs, blank all", "no", "no"), ("sold as log", "number of logs, blank all", "no", "no"),
    ("note", "-", "no", "yes"),
]
EVENT_TABLE = Table(
    key="event_kinds", sheet="Lists", title="Kinds of event", header_row=HEADER, rows=30,
    shipped=lambda profile: [{"event_kind": a, "amount_is": b, "event_needs": c, "whole_yard": d} for a, b, c, d in EVENT_KINDS],
    about="What the Amount means. You may add words of your own at the end; they are kept as notes.",
    columns=(
        Column("event_kind", "Kind of event", TEXT, width=13),
        Column("amount_is", "Its amount is", TEXT, width=30),
        Column("event_needs", "Amount needed", YESNO, width=9, list="yesno"),
        Column("whole_yard", "May name no log", YESNO, width=9, list="yesno"),
    ),
)

PLACES = Table(
    key="places", sheet="Lists", title="Places", header_row=HEADER, rows=20,
    about="Laying yards, stacks, tanks.",
    columns=(
        Column("place", "Place", TEXT, width=16),
        Column("capacity", "Room for", NUMBER, "Logs it holds.", unit="logs", width=9, looks="whole"),
        Column("county", "County", TEXT, "Wood with bark may be under quarantine: ask before it crosses a county or state line.", width=14),
    ),
)

MARKETS = Table(
    key="markets", sheet="Lists", title="Markets", header_row=HEADER, rows=12,
    about="Who sells for you or buys from you, and on what terms.",
    columns=(
        Column("market", "Market", TEXT, width=18),
        Column("terms", "Terms", CHOICE, "on consignment: yours until sold. bought outright: theirs on delivery. own stall.",
               width=15, list="terms"),
        Column("commission", "Commission", NUMBER, unit="%", width=10, looks="percent"),
        Column("market_fee", "Fee a day", NUMBER, "For each day with a sold line; a fee typed on Sales for that day takes its place.",
               quantity="money", width=9, looks="money"),
        Column("allowance", "Loss allowed", NUMBER, "On consignment: share of opening and delivered that may go missing between counts. "
               "Loss beyond it is theirs to pay. Blank: nothing is agreed and no loss is charged.", unit="%", width=8, looks="percent"),
        Column("payment_days", "Pays within", NUMBER, "What is owed for longer is pointed out on Start.", unit="days", width=9, looks="whole"),
        Column("takes_week", "Takes a week", NUMBER, "Fresh weight it takes in a week at most. Blank: no limit.", quantity="weight", width=9,
               looks="two"),
    ),
)


def price_since(row: dict, env: Env):
    """Day from which a whole price row holds, as a day number; 0 where the row lacks something."""
    whole = row.get("price_market") and row.get("price_product") and is_number(row.get("price_from")) and is_number(row.get("price_each"))
    return serial(row["price_from"]) if whole else 0


PRICES = Table(
    key="prices", sheet="Lists", title="Prices", header_row=HEADER, rows=60,
    about="A new price is a new row with its date; old rows stay.",
    columns=(
        Column("price_market", "Price at", CHOICE, width=18, list="markets"),
        Column("price_product", "Of product", CHOICE, width=9, list="products"),
        Column("price_from", "From date", DATE, width=12, looks="date"),
        Column("price_each", "Price each", NUMBER, quantity="money per weight", width=10, looks="money"),
        Column("price_since", "Holds from", COMPUTED, "Blank where the row lacks something.", width=12, looks="date_or_blank",
               formula='IF({price_market}="",0,IF({price_product}="",0,IF(ISNUMBER({price_from}),IF(ISNUMBER({price_each}),{price_from},0),0)))',
               twin=price_since),
    ),
)

HELPERS = Table(
    key="helpers", sheet="Lists", title="Helpers", header_row=HEADER, rows=12,
    about="Minutes of a helper paid through Costs are not charged a second time.",
    columns=(
        Column("helper", "Helper", TEXT, width=13),
        Column("helper_wage", "Wage", NUMBER, "Blank: the wage on Settings.", unit="an hour", width=9, looks="money"),
        Column("paid_in_costs", "Paid through Costs", YESNO, width=9, list="yesno"),
    ),
)

CATEGORIES = Table(
    key="categories", sheet="Lists", title="Categories", header_row=HEADER, rows=16,
    shipped=lambda profile: [{"category": c} for c in
                             ("spawn", "wax", "wood", "tool", "gear", "fuel", "packing", "market", "help", "land", "other")],
    about="Kinds of spending.",
    columns=(Column("category", "Category of cost", TEXT, width=14),),
)

CLOSINGS = Table(
    key="closings", sheet="Lists", title="Closed periods", header_row=HEADER, rows=30,
    about="What was settled. Lines up to such a day stay as they are; what was wrong is corrected by a line of a later day.",
    columns=(
        Column("close_market", "Closed with", CHOICE, width=18, list="markets"),
        Column("closed_to", "Closed to", DATE, "Last day of the period.", width=12, looks="date"),
        Column("close_balance", "Owed then", NUMBER, "What the market owed on that day.", quantity="money", width=10, looks="money"),
    ),
)

YEARS = Table(
    key="closed_years", sheet="Lists", title="Closed years", header_row=HEADER, rows=20,
    about="What a year came to when it was closed. Its lines stay as they are; what was wrong is put right by a line of a later day.",
    columns=(
        Column("closed_year", "Closed year", NUMBER, "Such as 2026.", width=9, looks="plain"),
        Column("year_picked", "Picked in it", NUMBER, "Picked lines of Events.", quantity="weight", width=10, looks="two"),
        Column("year_spent", "Spent in it", NUMBER, "Lines of Costs.", quantity="money", width=10, looks="money"),
        Column("year_minutes", "Minutes in it", NUMBER, "Minutes on Events.", width=10, looks="whole"),
    ),
)

LIST_TABLES = (STRAINS, FORMS, PACKS, MARKETS, PRICES, CLOSINGS, YEARS, PLACES, LOTS, HELPERS, CATEGORIES, EVENT_TABLE, WOODS)

# Lists that are the same everywhere stand in the drop-down itself.
FIXED_LISTS = {
    "yesno": ("yes", "no"),
    "counted_by": (EACH_HOLE, HOLE_VOLUME, PER_LOG),
    "sale_kinds": ("delivered", "sold", "returned", "spoiled", "counted", "paid", "fee", "correction"),
    "products": ("fresh", "dried"),
    "terms": ("on consignment", "bought outright", "own stall"),
}

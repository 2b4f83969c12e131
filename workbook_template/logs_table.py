"""The Logs table: one row a log, or a group of like logs. Native formulas and their Python twins."""
from __future__ import annotations

import math

from calc import drilling, supplies, wood
from workbook_template.columns import CHOICE, COMPUTED, DATE, NUMBER, ROWKEY, TEXT, YESNO, Column, Table
from workbook_template.diary_tables import DATE_LIKE, picked_weight
from workbook_template.twins import Env, blank, is_number, limit, serial, sheet_round

# Formula pieces. {key} is this row's cell, [name] a constant of the profile.
SIZES_GOOD = ("AND(ISNUMBER({diameter}),ISNUMBER({length}),{diameter}>=[dia_low],{diameter}<=[dia_high],"
              "{length}>=[len_low],{length}<=[len_high],"
              "OR({large_end}=\"\",AND(ISNUMBER({large_end}),{large_end}>=[dia_low],{large_end}<=[dia_high])))")
COUNT_GOOD = f"AND(ISNUMBER({{count}}),N({{count}})>=1,N({{count}})<={DATE_LIKE},N({{count}})=INT(N({{count}})))"


def within(key: str, low: str, high: str) -> str:
    """Formula piece: blank, or a number between two constants."""
    return f'OR({{{key}}}="",AND(ISNUMBER({{{key}}}),N({{{key}}})>={low},N({{{key}}})<={high}))'


SPACES_GOOD = f"AND({within('hole_spacing', '[along_low]', '[along_high]')},{within('row_spacing', '[around_low]', '[around_high]')})"
DRILLED_GOOD = within("holes_drilled", "0", "[holes_high]")
LARGE = "IF({large_end}=\"\",{diameter},{large_end})"
MEAN = f"(({{diameter}}+{LARGE})/2)"
FORM = "IF({spawn_form}=\"\",set_spawn_form,{spawn_form})"
ALONG = "IF(ISNUMBER({hole_spacing}),{hole_spacing},set_hole_spacing)"
AROUND = "IF(ISNUMBER({row_spacing}),{row_spacing},set_row_spacing)"
USABLE = "({length}-2*set_end_margin)"
ROWS = f"MAX(1,INT(ROUND(PI()*{MEAN}/{AROUND}+0.5,9)))"
ODD = f"(INT(ROUND({USABLE}/{ALONG},9))+1)"
EVEN = f"MAX(0,INT(ROUND(({USABLE}-{ALONG}/2)/{ALONG},9))+1)"
PATTERN = f"IF(ROUND({USABLE},9)<0,0,ROUNDUP({ROWS}/2,0)*{ODD}+INT({ROWS}/2)*{EVEN})"


def form_field(name: str) -> str:
    """Formula piece: a column of the row's spawn form on Lists."""
    return f"INDEX(lst_form_{name},MATCH({FORM},lst_form,0))"


def sizes(row: dict, env: Env):
    """(small end or mid diameter, large end or None, length) in metres, or None where the row cannot be computed."""
    values = []
    for key, quantity, kind in (("diameter", "diameter", "diameter_m"), ("large_end", "diameter", "large_end_m"),
                                ("length", "length", "length_m")):
        value = row.get(key)
        if key == "large_end" and blank(value):
            values.append(None)
            continue
        bounds = limit("logs", kind if key != "large_end" else "diameter_m")
        if not is_number(value):
            return None
        si = env.si(serial(value), quantity)
        if not bounds["refuse_below"] - 1e-12 <= si <= bounds["refuse_above"] + 1e-12:
            return None
        values.append(si)
    return values if not blank(row.get("log")) else None


def number_or(row: dict, key: str, default):
    return serial(row[key]) if is_number(row.get(key)) else default


def volume(row, env):
    found = sizes(row, env)
    return "" if found is None else env.shown(wood.bolt_volume(*found), "volume")


def green_weight_kg(row, env):
    found, species = sizes(row, env), env.lookup("woods", "wood", row.get("wood"))
    if found is None or species is None or not is_number(species.get("green_density")):
        return None
    unit_weight = env.si(species["green_density"], "weight") / env.si(1.0, "volume")
    return wood.bolt_volume(*found) * unit_weight


def green_weight(row, env):
    kg = green_weight_kg(row, env)
    return "" if kg is None else env.shown(kg, "weight")


def lift(row, env):
    kg = green_weight_kg(row, env)
    if kg is None:
        return ""
    index = kg / env.setting_si("lift_limit", "weight")
    if index <= 1:
        return "ok"
    return f"{lift_times(index):g} x limit"


def lift_times(index: float) -> float:
    """A lifting index above 1 as it is shown: to one decimal, upwards, so that 1.02 is not called 1."""
    return math.ceil(round(round(index, 9) * 10, 9)) / 10


def form_of(row, env):
    name = env.settings["spawn_form"] if blank(row.get("spawn_form")) else row["spawn_form"]
    return env.lookup("forms", "form", name)


def holes(row, env):
    found, form = sizes(row, env), form_of(row, env)
    if found is None or form is None:
        return ""
    if not blank(row.get("holes_drilled")):
        return serial(row["holes_drilled"]) if bounded(row["holes_drilled"], "holes_drilled") else ""
    if form["counted_by"] == "weight per log":
        return 0
    small, large, length = found
    if not all(blank(row.get(k)) or bounded(row[k], f"{k}_m", env) for k in ("hole_spacing", "row_spacing")):
        return ""
    along = env.si(number_or(row, "hole_spacing", env.settings["hole_spacing"]), "spacing")
    around = env.si(number_or(row, "row_spacing", env.settings["row_spacing"]), "spacing")
    return drilling.holes(wood.mean_diameter(small, large), length, along, around, env.setting_si("end_margin", "spacing"))


def bounded(value, column: str, env: Env | None = None) -> bool:
    """Whether a typed number lies within the hard limits of a column of Logs (env: it has the spacing's unit)."""
    bounds = limit("logs", column)
    if not is_number(value):
        return False
    number = env.si(serial(value), "spacing") if env else serial(value)
    return bounds["refuse_below"] - 1e-12 <= number <= bounds["refuse_above"] + 1e-12


def logs_in_row(row, env):
    if blank(row.get("log")):
        return ""
    count = row.get("count")
    if blank(count):
        return 1
    return serial(count) if is_number(count) and 1 <= serial(count) <= DATE_LIKE and serial(count) % 1 == 0 else ""


def plugs(row, env):
    count, form = holes(row, env), form_of(row, env)
    if count == "" or logs_in_row(row, env) == "" or form["counted_by"] != "each hole":
        return ""
    return supplies.plugs_needed(count * logs_in_row(row, env), env.settings["spare_share"])


def spawn_weight(row, env):
    count, form = holes(row, env), form_of(row, env)
    if count == "" or logs_in_row(row, env) == "" or form["counted_by"] == "each hole":
        return ""
    spare = 1 + env.settings["spare_share"]
    if form["counted_by"] == "weight per log":
        per_log = form.get("weight_per_log")
        return per_log * logs_in_row(row, env) * spare if is_number(per_log) else ""
    per_hole = form.get("per_hole")
    if not is_number(per_hole):
        return ""
    return env.shown(count * logs_in_row(row, env) * per_hole / 1000 * spare, "weight")


def ends_waxed(row, env):
    return (env.settings["ends_waxed"] if blank(row.get("ends_waxed")) else row["ends_waxed"]) == "yes"


def wax(row, env):
    count, form = holes(row, env), form_of(row, env)
    if count == "" or logs_in_row(row, env) == "":
        return ""
    small, large, _ = sizes(row, env)
    per_hole = env.settings["wax_per_hole"] / 1000 if form["waxed"] == "yes" else 0
    coat = env.settings["end_coat"] / 1000 if ends_waxed(row, env) else 0
    density = env.settings["wax_density"] * 1000
    each = (supplies.wax_weight(count, per_hole, 1, small, coat, density)
            + supplies.wax_weight(0, 0, 1, small if large is None else large, coat, density))
    return env.shown(each * logs_in_row(row, env), "weight")


def age_months(row, env):
    value = row.get("inoculated")
    if blank(row.get("log")) or not is_number(value):
        return ""
    days = serial(env.as_of) - serial(value)
    return "" if days < 0 or days > 36525 else sheet_round(days / 30.4375, 1)


def harvested(row, env):
    if blank(row.get("log")):
        return ""
    return env.totals("events", "log", picked_weight).get(str(row["log"]).casefold(), 0.0)


def one(row, env) -> float:
    return 1.0


ASSUMED = (("spawn_form", "spawn form"), ("hole_spacing", "hole spacing"), ("row_spacing", "row spacing"),
           ("ends_waxed", "ends"), ("count", "1 log"))
SPACINGS = ("hole_spacing", "row_spacing")  # assumed only where holes are laid out by them


def assumed(row, env):
    if blank(row.get("log")):
        return ""
    form = form_of(row, env)
    laid_out = blank(row.get("holes_drilled")) and (form is None or form.get("counted_by") != "weight per log")
    return ", ".join(words for key, words in ASSUMED if blank(row.get(key)) and (laid_out or key not in SPACINGS))


def check(row, env):
    typed = [row.get(k) for k in ("wood", "strain", "diameter", "length", "inoculated")]
    if blank(row.get("log")):
        return "" if all(blank(v) for v in typed) else "name this log"
    if env.totals("logs", "log", one).get(str(row["log"]).casefold(), 0) > 1:
        return "name used twice"
    if blank(row.get("wood")):
        return "which wood?"
    if blank(row.get("diameter")):
        return "needs a diameter"
    if blank(row.get("length")):
        return "needs a length"
    if any(not blank(row.get(k)) and not is_number(row[k]) for k in ("diameter", "length", "large_end")):
        return "read at refresh"
    if sizes(row, env) is None:
        return "size? wrong unit or a date"
    if env.lookup("woods", "wood", row["wood"]) is None:
        return "wood not in Lists"
    if form_of(row, env) is None:
        return "spawn form not in Lists"
    more = [row.get(k) for k in ("count", "hole_spacing", "row_spacing", "holes_drilled")]
    if any(not blank(v) and not is_number(v) for v in more):
        return "read at refresh"
    if logs_in_row(row, env) == "":
        return "count? one or more"
    return "holes or spacing?" if holes(row, env) == "" else "ok"


LAID_OUT = f'{{holes_drilled}}="",IFERROR({form_field("by")},"")<>"weight per log"'
ASSUMED_FORMULA = "&".join(f'IF(AND({{{key}}}="",{LAID_OUT}),", {words}","")' if key in SPACINGS else f'IF({{{key}}}="",", {words}","")'
                           for key, words in ASSUMED)

LOGS = Table(
    key="logs", sheet="Logs", title="Logs",
    about="One row is one log, or a group of like logs (then fill Count). Type the first five columns; the rest can wait.",
    columns=(
        Column("log", "Log", TEXT, "A name of your own, used once: A1, N-07. Kept as text.", width=9, needed=True),
        Column("wood", "Wood", CHOICE, "Pick from the list, or add your wood on Lists.", width=17, needed=True, list="woods"),
        Column("strain", "Strain", CHOICE, "Mushroom and strain, from Lists.", width=18, needed=True, list="strains"),
        Column("diameter", "Diameter", NUMBER, "Across the middle, over the bark. With Large end filled, this is the small end.",
               quantity="diameter", width=10, needed=True, looks="size"),
        Column("length", "Length", NUMBER, "End to end. Text such as 4'2\" may be typed; it is read at refresh.",
               quantity="length", width=10, needed=True, looks="size"),
        Column("inoculated", "Inoculated", DATE, "The day the spawn went in. Blank until then.", width=12, looks="date"),
        Column("in_row", "Logs in row", COMPUTED, "Count, or 1.", width=8, looks="whole",
               formula='IF({log}="","",IF({count}="",1,' + f'IF({COUNT_GOOD},{{count}},"")))', twin=logs_in_row),
        Column("volume", "Volume each", COMPUTED, "Over bark: Huber from the mid diameter, Smalian from both ends.",
               quantity="volume", width=10, looks="three",
               formula=f'IF({{log}}="","",IF({SIZES_GOOD},IF({{large_end}}="",PI()/4*{{diameter}}^2*{{length}},'
                       f'PI()/8*({{diameter}}^2+{{large_end}}^2)*{{length}})/[volume],""))', twin=volume),
        Column("green", "Green weight each", COMPUTED, "Fresh, with bark, from the wood's density on Lists.",
               quantity="weight", width=10, looks="one",
               formula='IF({volume}="","",IFERROR({volume}*INDEX(lst_wood_green,MATCH({wood},lst_wood,0)),""))',
               twin=green_weight),
        Column("lift", "Lift", COMPUTED, "Green weight against the lifting limit on Settings. A soaked log is heavier still.",
               width=11, looks="text",
               formula='IF({green}="","",IF({green}/set_lift_limit<=1,"ok",ROUNDUP(ROUND({green}/set_lift_limit,9),1)&" x limit"))',
               twin=lift),
        Column("holes", "Holes each", COMPUTED, "Holes drilled if typed, else the staggered pattern.", width=8, looks="whole",
               formula=f'IF({{volume}}="","",IFERROR(IF({{holes_drilled}}<>"",IF({DRILLED_GOOD},{{holes_drilled}},""),'
                       f'IF({form_field("by")}="weight per log",0,IF({SPACES_GOOD},{PATTERN},""))),""))', twin=holes),
        Column("plugs", "Plugs for row", COMPUTED, "Plugs or thimbles for all logs of the row, spares included.", width=8,
               looks="whole",
               formula=f'IF(OR({{holes}}="",{{in_row}}=""),"",IF({form_field("by")}="each hole",'
                       'ROUNDUP(ROUND({holes}*{in_row}*(1+set_spare_share),9),0),""))', twin=plugs),
        Column("spawn", "Spawn for row", COMPUTED, "Sawdust or other loose spawn for all logs of the row, spares included.",
               quantity="weight", width=10, looks="two",
               formula=f'IF(OR({{holes}}="",{{in_row}}=""),"",IF({form_field("by")}="weight per log",IF(ISNUMBER({form_field("weight")}),'
                       f'{form_field("weight")}*{{in_row}}*(1+set_spare_share),""),IF({form_field("by")}="hole volume",'
                       f'IF(ISNUMBER({form_field("per_hole")}),{{holes}}*{{in_row}}*{form_field("per_hole")}'
                       '*(1+set_spare_share)/[grams],""),"")))', twin=spawn_weight),
        Column("wax", "Wax for row", COMPUTED, "To seal the holes, and the ends if they are waxed.", quantity="weight",
               width=10, looks="two",
               formula=f'IF(OR({{holes}}="",{{in_row}}=""),"",(IF({form_field("waxed")}="yes",{{holes}}*set_wax_per_hole,0)+'
                       'IF(IF({ends_waxed}="",set_ends_waxed,{ends_waxed})="yes",PI()/4*({diameter}^2+'
                       f'{LARGE}^2)*[square_cm]*set_end_coat/10*set_wax_density,0))*{{in_row}}/[grams])', twin=wax),
        Column("age", "Age", COMPUTED, "Months since inoculation, up to the As of date.", unit="months", width=8, looks="one",
               formula='IF(OR({log}="",NOT(ISNUMBER({inoculated}))),"",IF(OR(set_as_of-{inoculated}<0,'
                       'set_as_of-{inoculated}>36525),"",ROUND((set_as_of-{inoculated})/30.4375,1)))', twin=age_months),
        Column("harvested", "Picked, own lines", COMPUTED,
               "Picked events up to the As of day that name exactly this log. Picks of a range or a place are shared out on Each log.",
               quantity="weight", width=9, looks="two",
               formula='IF({log}="","",IFERROR(SUMPRODUCT(--(evt_log={log}),evt_picked),SUMIF(evt_log,{log},evt_picked)))', twin=harvested),
        Column("assumed", "Assumed", COMPUTED, "Defaults from Settings used for this row.", width=43, looks="text",
               formula=f'IF({{log}}="","",MID({ASSUMED_FORMULA},3,99))', twin=assumed),
        Column("check", "Check", COMPUTED, "What this row still needs.", width=18, looks="text",
               formula='IF({log}="",IF(AND({wood}="",{strain}="",{diameter}="",{length}="",{inoculated}=""),"","name this log"),'
                       'IF(IFERROR(SUMPRODUCT(--(log_log={log})),1)>1,"name used twice",IF({wood}="","which wood?",'
                       'IF({diameter}="","needs a diameter",IF({length}="","needs a length",'
                       'IF(OR(ISTEXT({diameter}),ISTEXT({length}),AND({large_end}<>"",ISTEXT({large_end}))),"read at refresh",'
                       'IF({volume}="","size? wrong unit or a date",'
                       'IF(ISNA(MATCH({wood},lst_wood,0)),"wood not in Lists",'
                       f'IF(ISNA(MATCH({FORM},lst_form,0)),"spawn form not in Lists",'
                       'IF(OR(ISTEXT({count}),ISTEXT({hole_spacing}),ISTEXT({row_spacing}),ISTEXT({holes_drilled})),"read at refresh",'
                       'IF({in_row}="","count? one or more",IF({holes}="","holes or spacing?","ok"))))))))))))', twin=check),
        Column("count", "Count", NUMBER, "Logs in this row, all alike. Blank means 1.", width=8, looks="whole"),
        Column("large_end", "Large end", NUMBER, "Diameter of the thick end; then Diameter is the small end.",
               quantity="diameter", width=9, looks="size"),
        Column("felled", "Felled", DATE, "The day the tree came down.", width=12, looks="date"),
        Column("spawn_form", "Spawn form", CHOICE, "Blank takes the form on Settings.", width=12, list="forms"),
        Column("spawn_lot", "Spawn lot", CHOICE, "The delivery it came from, from Lists.", width=11, list="lots"),
        Column("hole_spacing", "Hole spacing", NUMBER, "Along the grain. Blank takes Settings.", quantity="spacing",
               width=9, looks="size"),
        Column("row_spacing", "Row spacing", NUMBER, "Around the log. Blank takes Settings.", quantity="spacing", width=9,
               looks="size"),
        Column("holes_drilled", "Holes drilled", NUMBER, "Counted on one log; replaces the pattern.", width=8, looks="whole"),
        Column("ends_waxed", "Ends waxed", YESNO, "yes or no; blank takes Settings.", width=8, list="yesno"),
        Column("place", "Place", CHOICE, "Where it lies, from Lists.", width=13, list="places"),
        Column("rota_week", "Rota week", NUMBER, "Its turn in the soaking rota.", width=8, looks="whole"),
        Column("sample_weight", "Sample weight", NUMBER, "Weight at inoculation, if this is a weighed sample log.",
               quantity="weight", width=9, looks="two"),
        Column("start_moisture", "Start moisture, wet basis", NUMBER,
               "Share of water in the fresh log, wet basis: 42 % is water / (water + wood).", unit="%", width=10, looks="percent"),
        Column("source", "Source", TEXT, "Tree, woodlot, county: wanted when wood may not be moved freely.", width=15),
        Column("note", "Log note", TEXT, "Anything.", width=24),
        Column("row", "Row", ROWKEY, "Leave this as it is: it keeps rows apart when copies are merged.", width=9),
    ),
)

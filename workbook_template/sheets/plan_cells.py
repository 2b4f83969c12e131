"""The arithmetic of the Plan sheet: every computed cell as a native formula and, beside it, its Python twin.

A tree or bolts on hand go in; bolts, weights, holes, spawn, packs, wax and hours come out, live. Cells have names;
{name} in a formula is the cell of that name. The twin is one function for the whole sheet, `values`, through calc.
"""
from __future__ import annotations

import math
from dataclasses import dataclass

from calc import drilling, season, supplies, tables, wood
from workbook_template.logs_table import lift_times
from workbook_template.twins import Env, blank, is_number, serial

TREE, BOLTS = "a tree", "bolts on hand"
BOLT_ROWS, PACK_ROWS, HOLE_POINTS, LIST_PACKS = 16, 5, 320, 15


@dataclass(frozen=True)
class Input:
    name: str
    title: str
    start: dict  # by profile
    quantity: str | None = None
    unit: str = ""
    list: str | None = None
    looks: str = "size"
    help: str = ""


def _two(us, metric):
    return {"us": us, "metric": metric}


INPUTS = (
    Input("have", "What do you have?", _two(TREE, TREE), list="plan_have", looks="text", help="a tree still to cut, or bolts on hand"),
    Input("wood", "Wood", _two("white oak", "white oak"), list="woods", looks="text"),
    Input("dbh", "Tree: diameter at breast height", _two(7.0, 18.0), "diameter", help="4.5 ft or 1.3 m above the ground, over the bark"),
    Input("height", "Tree: height to the top diameter", _two(28.0, 8.5), "height", help="how far up the stem is usable"),
    Input("top", "Tree: top diameter", _two(3.0, 7.5), "diameter", help="the thinnest you will drill"),
    Input("stump", "Tree: stump height", {}, "height"),
    Input("bolt_length", "Bolt length", _two(40.0, 100.0), "length"),
    Input("bolts", "Bolts on hand: how many", _two(4, 4), looks="whole"),
    Input("bolt_diameter", "Bolts on hand: diameter", _two(4.0, 10.0), "diameter", help="mid diameter, over the bark"),
    Input("form", "Spawn form", _two(None, None), list="forms", looks="text", help="blank takes Settings"),
    Input("along", "Hole spacing, along the grain", _two(None, None), "spacing", help="blank takes Settings"),
    Input("around", "Row spacing, around the log", _two(None, None), "spacing", help="blank takes Settings"),
    Input("wanted", "Weight wanted each week", _two(5.0, 2.0), "weight", looks="one", help="for the supply lines below"),
)

IS_TREE = f'{{have}}="{TREE}"'
TREE_GOOD = "AND(ISNUMBER({dbh}),ISNUMBER({height}),ISNUMBER({top}),ISNUMBER({stump}),{height}>[breast],{top}<={dbh},{top}>0)"
BOLTS_GOOD = "AND(ISNUMBER({bolts}),ISNUMBER({bolt_diameter}),{bolts}>=1,{bolt_diameter}>0)"
LENGTH_GOOD = "AND(ISNUMBER({bolt_length}),{bolt_length}>0)"
FORM = 'IF({form}="",set_spawn_form,{form})'

# name -> (title, formula, looks, quantity or unit)
ANSWERS = {
    "count": ("Bolts", f"IF(NOT({LENGTH_GOOD}),0,IF({IS_TREE},IF({TREE_GOOD},MIN({BOLT_ROWS},MAX(0,INT(ROUND(({{height}}-{{stump}})"
                       f"*[height]/{{bolt_length}},9)))),0),IF({BOLTS_GOOD},{{bolts}},0)))", "whole", None),
    "total_weight": ("Green weight of all bolts", "SUMPRODUCT({col_logs},{col_weight})", "one", "weight"),
    "heaviest": ("Heaviest bolt", "MAX({col_weight},0)", "one", "weight"),
    "over": ("Bolts over the lifting limit", 'SUMPRODUCT(--({col_lift}<>"ok"),--({col_lift}<>""),{col_logs})', "whole", None),
    "longest": ("Longest bolt within the limit, at the butt",
                'IF({b1_volume}="","",IF({b1_weight}="","",{bolt_length}*set_lift_limit/{b1_weight}))', "one", "length"),
    "holes": ("Holes", "SUMPRODUCT({col_logs},{col_holes})", "whole", None),
    "pieces": ("Plugs or thimbles, with spares",
               f'IF(IFERROR(INDEX(lst_form_by,MATCH({FORM},lst_form,0)),"")="each hole",ROUNDUP(ROUND({{holes}}*(1+set_spare_share),9),0),"")',
               "whole", None),
    "loose": ("Sawdust or totem spawn, with spares",
              f'IFERROR(IF(INDEX(lst_form_by,MATCH({FORM},lst_form,0))="weight per log",INDEX(lst_form_weight,MATCH({FORM},lst_form,0))'
              f'*{{count}}*(1+set_spare_share),IF(INDEX(lst_form_by,MATCH({FORM},lst_form,0))="hole volume",{{holes}}'
              f'*INDEX(lst_form_per_hole,MATCH({FORM},lst_form,0))*(1+set_spare_share)/[grams],"")),"")', "two", "weight"),
    "wax": ("Wax", f'(IF(IFERROR(INDEX(lst_form_waxed,MATCH({FORM},lst_form,0)),"")="yes",{{holes}}*set_wax_per_hole,0)'
                   '+IF(set_ends_waxed="yes",SUMPRODUCT({col_logs},{col_ends})*[square_cm]*set_end_coat/10*set_wax_density,0))/[grams]',
            "two", "weight"),
    "wax_melted": ("Room the melted wax takes", "{wax}*[grams]/set_wax_density*(1+set_wax_swell)/[fluid]", "one", "melt"),
    "drill_hours": ("Hours to drill and fill", "{count}*set_drill_minutes/60", "one", "hours"),
    "setup_hours": ("Hours for the other steps", "{count}*set_setup_minutes/60", "one", "hours"),
    "area_holes": ("Holes by the area rule, a cross-check", "ROUNDUP(ROUND(SUMPRODUCT({col_logs},{col_area})/({use_along}*{use_around}),9),0)",
                   "whole", None),
    "groups": ("Groups in the soaking rota", "ROUNDUP(ROUND(set_rota_weeks,9),0)", "whole", None),
    "per_group": ("Logs soaked each week", 'IF(AND(ISNUMBER({wanted}),set_per_soak>0),ROUNDUP(ROUND({wanted}/set_per_soak,9),0),"")',
                  "whole", None),
    "bearing": ("Bearing logs needed", 'IF({per_group}="","",{per_group}*{groups})', "whole", None),
    "yearly": ("New logs to make each year", 'IF({bearing}="","",ROUNDUP(ROUND({bearing}/set_life_seasons,9),0))', "whole", None),
}
# Working cells, to the right of the printed page.
WORK = {
    "use_along": "IF(ISNUMBER({along}),{along},set_hole_spacing)",
    "use_around": "IF(ISNUMBER({around}),{around},set_row_spacing)",
    "taper": f"IF({TREE_GOOD},({{dbh}}-{{top}})/({{height}}-[breast]),0)",
    "usable": "{bolt_length}-2*set_end_margin",
    "odd": "IF(ROUND({usable},9)<0,0,INT(ROUND({usable}/{use_along},9))+1)",
    "even": "IF(ROUND({usable},9)<0,0,MAX(0,INT(ROUND(({usable}-{use_along}/2)/{use_along},9))+1))",
    "map_mean": f'IF({{b1_small}}="",0,({{b1_small}}+IF({IS_TREE},{{b1_large}},{{b1_small}}))/2)',
    "map_girth": "PI()*{map_mean}",
    "map_rows": "MAX(1,INT(ROUND({map_girth}/{use_around}+0.5,9)))",
    "map_holes": "IF({b1_holes}=\"\",0,{b1_holes})",
    "map_shift": "({bolt_length}-MAX(({odd}-1)*{use_along},IF(AND({map_rows}>1,{even}>0),({even}-0.5)*{use_along},0)))/2",
    "map_pair": "{odd}+{even}",
}
# One row of the bolt table; {k} is the bolt's number.
BOLT = {
    "logs": f'IF({IS_TREE},IF({{k}}<={{count}},1,""),IF(AND({{k}}=1,{{count}}>0),{{count}},""))',
    "small": f'IF({{b_logs}}="","",IF({IS_TREE},{{dbh}}-{{taper}}*({{stump}}+{{k}}*{{bolt_length}}/[height]-[breast]),{{bolt_diameter}}))',
    "large": f'IF({{b_logs}}="","",IF({IS_TREE},{{dbh}}-{{taper}}*({{stump}}+({{k}}-1)*{{bolt_length}}/[height]-[breast]),""))',
    "volume": 'IF({b_logs}="","",IF({b_large}="",PI()/4*{b_small}^2*{bolt_length},PI()/8*({b_small}^2+{b_large}^2)*{bolt_length})/[volume])',
    "weight": 'IF({b_logs}="","",IFERROR({b_volume}*INDEX(lst_wood_green,MATCH({wood},lst_wood,0)),""))',
    "lift": 'IF({b_weight}="","",IF({b_weight}/set_lift_limit<=1,"ok",ROUNDUP(ROUND({b_weight}/set_lift_limit,9),1)&" x limit"))',
    "holes": f'IF({{b_logs}}="","",IF(IFERROR(INDEX(lst_form_by,MATCH({FORM},lst_form,0)),"")="weight per log",0,'
             'ROUNDUP(MAX(1,INT(ROUND(PI()*({b_small}+IF({b_large}="",{b_small},{b_large}))/2/{use_around}+0.5,9)))/2,0)*{odd}'
             '+INT(MAX(1,INT(ROUND(PI()*({b_small}+IF({b_large}="",{b_small},{b_large}))/2/{use_around}+0.5,9)))/2)*{even}))',
    "ends": 'IF({b_logs}="","",PI()/4*({b_small}^2+IF({b_large}="",{b_small},{b_large})^2))',
    "area": 'IF({b_logs}="","",PI()*({b_small}+IF({b_large}="",{b_small},{b_large}))/2*{bolt_length})',
}
PACK = {
    "size": 'IFERROR(INDEX({packs_size},MATCH({k},{col_rank},0)),"")',
    "price": 'IF({p_size}="","",IF(ISNUMBER(INDEX({packs_price},MATCH({k},{col_rank},0))),INDEX({packs_price},MATCH({k},{col_rank},0)),""))',
    "packs": 'IF(OR({p_size}="",AND({pieces}="",{loose}="")),"",ROUNDUP(ROUND(IF({pieces}="",{loose},{pieces})/{p_size},9),0))',
    "cost": 'IF(OR({p_packs}="",{p_price}=""),"",{p_packs}*{p_price})',
    "left": 'IF({p_packs}="","",ROUND({p_packs}*{p_size}-IF({pieces}="",{loose},{pieces}),9))',
}
HOLE = {
    "at": "IF({k}<={map_holes},{k},1)",
    "pair": "IF({map_pair}=0,0,INT(({h_at}-1)/{map_pair}))",
    "rest": "{h_at}-1-{h_pair}*{map_pair}",
    "row": "IF({h_rest}<{odd},2*{h_pair}+1,2*{h_pair}+2)",
    "along": 'IF({map_holes}=0,0,IF({h_rest}<{odd},{h_rest}*{use_along},({h_rest}-{odd}+0.5)*{use_along})+{map_shift})',
    "around": 'IF({map_holes}=0,0,({h_row}-1)*{map_girth}/{map_rows})',
}


def starts(profile: str) -> dict:
    """The inputs of a new plan."""
    found = {i.name: i.start.get(profile) for i in INPUTS}
    found["stump"] = tables.figure("stump_height_ft" if profile == "us" else "stump_height_m").typical
    return found


def breast_height(profile: str) -> float:
    return tables.figure("breast_height_ft" if profile == "us" else "breast_height_m").typical


def planned_bolts(inputs: dict, env: Env) -> list[tuple[float, float, float | None]]:
    """(logs, small end, large end or None) of each row of the bolt table, in metres."""
    number = {k: serial(v) for k, v in inputs.items() if is_number(v)}
    if number.get("bolt_length", 0) <= 0:
        return []
    if inputs.get("have") == TREE:
        if not all(k in number for k in ("dbh", "height", "top", "stump")):
            return []
        if not (number["height"] > breast_height(env.profile) and 0 < number["top"] <= number["dbh"]):
            return []
        cut = wood.bolts_from_tree(
            env.si(number["dbh"], "diameter"), env.si(number["height"], "height"), env.si(number["bolt_length"], "length"),
            env.si(number["top"], "diameter"), env.si(number["stump"], "height"), env.si(breast_height(env.profile), "height"))
        return [(1, b.small_end_m, b.large_end_m) for b in cut[:BOLT_ROWS]]
    if number.get("bolts", 0) < 1 or number.get("bolt_diameter", 0) <= 0:
        return []
    return [(number["bolts"], env.si(number["bolt_diameter"], "diameter"), None)]


def values(inputs: dict, env: Env) -> dict:
    """Every computed cell of the sheet by name, as it must show; inputs in the workbook's units."""
    settings, out = env.settings, {}
    form = env.lookup("forms", "form", settings["spawn_form"] if blank(inputs.get("form")) else inputs["form"])
    by = form["counted_by"] if form else ""
    along = env.si(serial(inputs["along"]) if is_number(inputs.get("along")) else settings["hole_spacing"], "spacing")
    around = env.si(serial(inputs["around"]) if is_number(inputs.get("around")) else settings["row_spacing"], "spacing")
    margin, limit_kg = env.setting_si("end_margin", "spacing"), env.setting_si("lift_limit", "weight")
    length = env.si(serial(inputs["bolt_length"]), "length") if is_number(inputs.get("bolt_length")) else 0.0
    species = env.lookup("woods", "wood", inputs.get("wood"))
    per_volume = None
    if species and is_number(species.get("green_density")):
        per_volume = env.si(species["green_density"], "weight") / env.si(1.0, "volume")

    bolts = planned_bolts(inputs, env)
    totals = dict.fromkeys(("weight", "holes", "ends", "area", "over", "logs"), 0.0)
    heaviest = 0.0
    for k in range(1, BOLT_ROWS + 1):
        names = {field: f"b{k}_{field}" for field in BOLT}
        if k > len(bolts):
            out |= dict.fromkeys(names.values(), "")
            continue
        logs, small, large = bolts[k - 1]
        mean, butt = wood.mean_diameter(small, large), small if large is None else large
        volume = wood.bolt_volume(small, large, length)
        weight = None if per_volume is None else volume * per_volume
        holes = 0 if by == "weight per log" else drilling.holes(mean, length, along, around, margin)
        index = None if weight is None else weight / limit_kg
        out[names["logs"]] = logs
        out[names["small"]] = env.shown(small, "diameter")
        out[names["large"]] = "" if large is None else env.shown(large, "diameter")
        out[names["volume"]] = env.shown(volume, "volume")
        out[names["weight"]] = "" if weight is None else env.shown(weight, "weight")
        out[names["lift"]] = "" if index is None else "ok" if index <= 1 else f"{lift_times(index):g} x limit"
        out[names["holes"]] = holes
        ends = wood.disc_area(small) + wood.disc_area(butt)
        out[names["ends"]] = ends / env.si(1.0, "diameter") ** 2
        out[names["area"]] = math.pi * mean * length / env.si(1.0, "diameter") ** 2
        totals["weight"] += logs * (weight or 0.0)
        totals["holes"] += logs * holes
        totals["ends"] += logs * ends
        totals["area"] += logs * math.pi * mean * length
        totals["over"] += logs if index is not None and index > 1 else 0
        totals["logs"] += logs
        heaviest = max(heaviest, weight or 0.0)

    count, holes = totals["logs"], totals["holes"]
    out["count"], out["holes"], out["over"] = count, holes, totals["over"]
    out["total_weight"], out["heaviest"] = env.shown(totals["weight"], "weight"), env.shown(heaviest, "weight")
    longest = ""
    if bolts and per_volume is not None:
        longest = env.shown(wood.longest_length_for_weight(limit_kg, bolts[0][1], bolts[0][2], per_volume), "length")
    out["longest"] = longest
    spare = settings["spare_share"]
    out["pieces"] = supplies.plugs_needed(holes, spare) if by == "each hole" else ""
    out["loose"] = _loose(form, by, count, holes, spare, env)
    wax_kg = supplies.wax_weight(holes, settings["wax_per_hole"] / 1000 if form and form["waxed"] == "yes" else 0.0)
    if settings["ends_waxed"] == "yes":
        wax_kg += totals["ends"] * settings["end_coat"] / 1000 * settings["wax_density"] * 1000
    out["wax"] = env.shown(wax_kg, "weight")
    out["wax_melted"] = env.shown(supplies.wax_volume(wax_kg, settings["wax_density"] * 1000, settings["wax_swell"]), "melt")
    out["drill_hours"] = supplies.setup_time(count, [settings["drill_minutes"] * 60]) / 3600
    out["setup_hours"] = supplies.setup_time(count, [settings["setup_minutes"] * 60]) / 3600
    out["area_holes"] = math.ceil(round(totals["area"] / (along * around), 9))
    out["groups"] = math.ceil(round(settings["rota_weeks"], 9))
    if is_number(inputs.get("wanted")) and settings["per_soak"] > 0:
        _, out["per_group"], out["bearing"] = season.rota(serial(inputs["wanted"]), settings["per_soak"], settings["rota_weeks"])
        out["yearly"] = math.ceil(round(out["bearing"] / settings["life_seasons"], 9))
    else:
        out["per_group"] = out["bearing"] = out["yearly"] = ""
    out |= _work(inputs, env, bolts, along, around, length, margin, out)
    out |= _packs(form, out, env)
    return out


def _loose(form, by, count, holes, spare, env):
    if by == "weight per log" and is_number(form.get("weight_per_log")):
        return supplies.totem_weight(count, form["weight_per_log"], spare)
    if by == "hole volume" and is_number(form.get("per_hole")):
        return env.shown(holes * form["per_hole"] / 1000 * (1 + spare), "weight")
    return ""


def _work(inputs, env, bolts, along, around, length, margin, out) -> dict:
    mean = wood.mean_diameter(bolts[0][1], bolts[0][2]) if bolts else 0.0
    odd, even = drilling.holes_in_rows(length, along, margin)
    rows = drilling.rows_around(mean, around)
    tree = inputs.get("have") == TREE and bool(bolts)
    size = env.si(1.0, "diameter")
    work = {
        "use_along": along / size, "use_around": around / size, "usable": (length - 2 * margin) / size, "odd": odd, "even": even,
        "taper": (serial(inputs["dbh"]) - serial(inputs["top"])) / (serial(inputs["height"]) - breast_height(env.profile)) if tree else None,
        "map_mean": mean / size, "map_girth": math.pi * mean / size, "map_rows": rows,
        "map_holes": out["b1_holes"] if bolts else 0, "map_pair": odd + even,
        "map_shift": (length - max((odd - 1) * along, (even - 0.5) * along if rows > 1 and even > 0 else 0.0)) / 2 / size,
    }
    if work["taper"] is None:
        del work["taper"]  # worked out from whatever stands in the tree's cells, and not used
    placed = drilling.drill_map(mean, length, along, around, margin) if work["map_holes"] else []
    for k in range(1, HOLE_POINTS + 1):
        hole = placed[k - 1] if k <= len(placed) else placed[0] if placed else None
        work[f"h{k}_along"] = hole.along_m / size if hole else 0
        work[f"h{k}_around"] = hole.around_m / size if hole else 0
    return work


def _packs(form, out, env) -> dict:
    found, ranks, n = {}, {}, 0
    for i, pack in enumerate(env.rows["packs"][:LIST_PACKS], start=1):
        match = form is not None and str(pack.get("pack_form") or "").casefold() == form["form"].casefold() and is_number(pack.get("pack_size"))
        n += match
        ranks[f"r{i}_rank"] = n if match else ""
        if match:
            found[n] = pack
    need = out["loose"] if out["pieces"] == "" else out["pieces"]
    for k in range(1, PACK_ROWS + 1):
        pack = found.get(k)
        if pack is None or need == "":
            ranks |= dict.fromkeys((f"p{k}_{f}" for f in PACK), "")
            if pack is not None:
                price = pack.get("pack_price")
                ranks |= {f"p{k}_size": pack["pack_size"], f"p{k}_price": price if is_number(price) else ""}
            continue
        price = pack.get("pack_price")
        packs = math.ceil(round(need / pack["pack_size"], 9))
        ranks |= {f"p{k}_size": pack["pack_size"], f"p{k}_price": price if is_number(price) else "", f"p{k}_packs": packs,
                  f"p{k}_cost": packs * price if is_number(price) else "", f"p{k}_left": round(packs * pack["pack_size"] - need, 9)}
    return ranks

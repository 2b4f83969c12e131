"""The arithmetic of the Plan sheet: every computed cell as a native formula and, beside it, its Python twin.

A tree or bolts on hand go in; bolts, weights, holes, spawn, packs, wax and hours come out, live. Cells have names;
{name} in a formula is the cell of that name. The twin is one function for the whole sheet, `values`, through calc.
What cannot be worked out stays blank, never 0.
"""
from __future__ import annotations

import datetime as dt
import math

from calc import day_numbers, drilling, quantities, season, supplies, units, wood
from workbook_template.logs_table import lift_times
from workbook_template.sheets import plan_typed
from workbook_template.twins import EXCEL_EPOCH, Env, is_number, sheet_round

BOLT_ROWS, LISTED = 200, 40  # bolts that are counted, and those of them that are listed
PACK_ROWS, HOLE_POINTS, LIST_PACKS = 8, 320, 30

MONTHS = day_numbers.MONTHS
STRAIN_FIELD = 'IF({{strain_at}}=0,"",IF(ISNUMBER(INDEX(lst_strain_{0},{{strain_at}})),INDEX(lst_strain_{0},{{strain_at}}),""))'
MONTH_ON = 'MIN(DATE(YEAR({{use_inoculate}}),MONTH({{use_inoculate}})+INT({0})+{1},DAY({{use_inoculate}})),' \
           'DATE(YEAR({{use_inoculate}}),MONTH({{use_inoculate}})+INT({0})+{1}+1,0))'
LATER = 'IF(OR({{use_inoculate}}="",{0}=""),"",' + MONTH_ON.replace("{1}", "0") + '+ROUND(({0}-INT({0}))*(' \
        + MONTH_ON.replace("{1}", "1") + "-" + MONTH_ON.replace("{1}", "0") + "),0))"
WHEN = 'IF({{strain_at}}=0,"waits for a strain above",IF({good}=0,"its months? see Lists",IF({{months_known}}=0,' \
       '{other},IF(SUM({{col_fit}})=0,"no month here suits it","in months that suit it"))))'
PARTLY = 'AND({temps}>0,{temps}<12,COUNT({fruits_from},{fruits_to})>0)'
UNKNOWN = f'IF({PARTLY},"type all 12 temperatures","by its months alone")'
NO_SEASON = f'IF({PARTLY},"type all 12 temperatures",' \
            'IF(COUNT(set_season_begins,set_season_ends)=0,"temperatures or a season?","by your season alone"))'
FORM_FIELD = "INDEX(lst_form_{},{{form_at}})"
WEIGHED = 'OR({count}="",{density}="")'
THICK = 'IF({b1_large}="",{b1_small},{b1_large})'

# name -> (title, formula, looks, quantity or unit)
ANSWERS = {
    "count": ("Bolts", f'IF({{count_all}}="","",IF({{mode}}=1,MIN({BOLT_ROWS},{{count_all}}),{{count_all}}))', "whole", None),
    "total_weight": ("Green weight of all bolts", f'IF({WEIGHED},"",SUMPRODUCT({{col_logs}},{{col_weight}}))', "one", "weight"),
    "heaviest": ("Heaviest bolt, green", f'IF({WEIGHED},"",MAX({{col_weight}},0))', "one", "weight"),
    "over": ("Bolts over the lifting limit", f'IF({WEIGHED},"",SUMPRODUCT(--({{col_lift}}<>"ok"),--({{col_lift}}<>""),{{col_logs}}))', "whole", None),
    "longest": ("Longest bolt within the limit, green",
                f'IF(OR({{b1_logs}}="",{{density}}=""),"",set_lift_limit*[volume]/({{density}}*PI()/4*{THICK}^2))', "one", "length"),
    "holes": ("Holes", 'IF(OR({count}="",{holes_known}=0),"",SUMPRODUCT({col_logs},{col_holes}))', "whole", None),
    "area_holes": ("Holes by the area rule, a cross-check",
                   'IF(OR({holes}="",{by}="weight per log"),"",ROUNDUP(ROUND(SUMPRODUCT({col_logs},{col_area})/({use_along}*{use_around}),9),0))',
                   "whole", None),
    "pieces": ("Plugs or thimbles, with spares",
               'IF({holes}="","",IF({by}="each hole",ROUNDUP(ROUND({holes}*(1+set_spare_share),9),0),""))', "whole", None),
    "loose": ("Sawdust or totem spawn, with spares",
              f'IF({{holes}}="","",IF({{by}}="weight per log",IF(ISNUMBER({FORM_FIELD.format("weight")}),{FORM_FIELD.format("weight")}'
              f'*{{count}}*(1+set_spare_share),""),IF({{by}}="hole volume",IF(ISNUMBER({FORM_FIELD.format("per_hole")}),{{holes}}'
              f'*{FORM_FIELD.format("per_hole")}*(1+set_spare_share)/[grams],""),"")))', "two", "weight"),
    "wax": ("Wax", f'IF({{holes}}="","",(IF({FORM_FIELD.format("waxed")}="yes",{{holes}}*set_wax_per_hole,0)'
                   '+IF(set_ends_waxed="yes",SUMPRODUCT({col_logs},{col_ends})*[square_cm]*set_end_coat/10*set_wax_density,0))/[grams])',
            "two", "weight"),
    "wax_melted": ("Room the melted wax takes", 'IF({wax}="","",{wax}*[grams]/set_wax_density*(1+set_wax_swell)/[fluid])', "one", "melt"),
    "drill_hours": ("Hours to drill and fill", 'IF({count}="","",{count}*set_drill_minutes/60)', "one", "hours"),
    "setup_hours": ("Hours for the other steps", 'IF({count}="","",{count}*set_setup_minutes/60)', "one", "hours"),
    "groups": ("Groups in the soaking rota", "ROUNDUP(ROUND(set_rota_weeks,9),0)", "whole", None),
    "per_group": ("Logs soaked each week", 'IF(OR({use_wanted}="",set_per_soak<=0),"",ROUNDUP(ROUND({use_wanted}/set_per_soak,9),0))',
                  "whole", None),
    "bearing": ("Bearing logs needed", 'IF({per_group}="","",{per_group}*{groups})', "whole", None),
    "supply_pieces": ("Spawn for them: plugs or thimbles",
                      'IF(OR({bearing}="",{pieces}="",{count}=0),"",ROUNDUP(ROUND({bearing}*{holes}/{count}*(1+set_spare_share),9),0))',
                      "whole", None),
    "supply_loose": ("Spawn for them: sawdust or totem", 'IF(OR({bearing}="",{loose}="",{count}=0),"",{bearing}*{loose}/{count})', "two", "weight"),
    "supply_hours": ("Hours a week: upkeep, picking, selling", 'IF({bearing}="","",{bearing}*{upkeep_minutes}/60/[year_weeks])', "one", "hours"),
    "yearly": ("Bolts to fell and make each year", 'IF({bearing}="","",ROUNDUP(ROUND({bearing}/set_life_seasons,9),0))', "whole", None),
    "trees": ("Trees like this one each year",
              'IF(OR({yearly}="",{mode}<>1,{count_all}="",{count_all}=0),"",ROUNDUP(ROUND({yearly}/{count_all},9),0))', "whole", None),
    "yearly_hours": ("Hours a year: making them", 'IF({yearly}="","",{yearly}*(set_drill_minutes+set_setup_minutes)/60)', "one", "hours"),
    "flush_from": ("First mushrooms, from", 'IF({early}="","",IF(COUNT({col_early})=0,"",MIN({col_early})))', "date", None),
    "flush_to": ("First mushrooms, to", 'IF({flush_from}="","",IF(AND(MIN({col_late})={flush_from},{late}>{early}),'
                 'MIN({flush_from}+{late}-{early},{col_stay}),MIN({col_late})))', "date", None),
    "soak_from": ("First soak: the weekly supply starts", 'IF({force}="","",IF(COUNT({col_force})=0,"",MIN({col_force})))', "date", None),
    "stock_week": ("Logs on hand: soaked each week, at least", 'IF({use_stock}="","",INT(ROUND({use_stock}/{groups},9)))', "whole", None),
    "stock_weight": ("Logs on hand: weight a week", 'IF({use_stock}="","",{use_stock}/{groups}*set_per_soak)', "one", "weight"),
}
# What stands in words beside an answer, and below the tables where something is not shown.
NOTES = {
    "note_count": 'IF({count}="","waits for the cells above",IF({count_all}>{count},({count_all}-{count})&" more are not counted",""))',
    "note_total_weight": 'IF({count}="","",IF({density}="","needs a wood with a weight on Lists","with bark"))',
    "note_heaviest": 'IF({heaviest}="","","a soaked log weighs more: weigh one")',
    "note_longest": 'IF({longest}="","",IF({mode}=1,"by the large end: errs short","by the mid diameter"))',
    "note_holes": 'IF(OR({count}="",{holes_known}=1),"","waits for form and spacing")',
    "note_drill_hours": 'IF({drill_hours}="","","by the log, whatever its holes")',
    "note_per_group": 'IF({per_group}="","","at "&ROUND(set_per_soak,3)&" "&[weight_unit]&" a soaked log")',
    "note_bearing": 'IF({bearing}="","","groups x logs soaked each week")',
    "note_supply_pieces": 'IF({bearing}="","",IF(AND({supply_pieces}="",{supply_loose}=""),"waits for the bolts above","drilled like those above"))',
    "note_supply_hours": 'IF({bearing}="","",IF(ISNUMBER(set_budget_upkeep_minutes),"by your minutes on Settings","by a published share"))',
    "note_flush_from": f'IF({{use_inoculate}}="","waits for a date above",{WHEN.format(good="{run_good}", other=UNKNOWN)})',
    "note_soak_from": 'IF({use_inoculate}="","waits for a date above",IF({forces}="no","best left to fruit by itself",'
                      f'{WHEN.format(good=1, other=NO_SEASON)}))',
    "note_stock_weight": 'IF({use_stock}="","","at "&ROUND(set_per_soak,3)&" "&[weight_unit]&" a soaked log")',
    "note_stock_week": 'IF({use_stock}="","",IF({stock_even}=0,"equal groups",{stock_even}&" more make groups equal"))',
    "note_list": f'IF({{count_all}}="","",IF(AND({{mode}}=1,{{count_all}}>{LISTED}),"Bolts {LISTED + 1} to "&{{count}}&" are not listed; '
                 'the totals count them."&IF({count_all}>{count}," "&({count_all}-{count})&" more are in no total: cut longer.",""),""))',
    "note_packs": f'IF(MAX({{col_rank}},0)>{PACK_ROWS},(MAX({{col_rank}},0)-{PACK_ROWS})&" more sizes are not shown; Shopping weighs them all.","")',
    "note_map": f'IF({{map_holes}}>{HOLE_POINTS},"The map shows {HOLE_POINTS} of the "&{{map_holes}}&" holes.","")',
}
# Working cells, to the right of the printed page, after those of plan_typed.used_formulas.
WORK = {
    "count_all": 'IF({sizes_good}=0,"",IF({mode}=1,MAX(0,INT(ROUND(({use_height}-{use_stump})*[height]/{use_bolt_length},9))),{use_bolts}))',
    "taper": "IF({sizes_good}=0,0,IF({mode}=1,({use_dbh}-{use_top})/({use_height}-[breast]),0))",
    "usable": 'IF({use_bolt_length}="",0,{use_bolt_length}-2*set_end_margin)',
    "odd": 'IF(OR({use_bolt_length}="",{use_along}=""),0,IF(ROUND({usable},9)<0,0,INT(ROUND({usable}/{use_along},9))+1))',
    "even": 'IF(OR({use_bolt_length}="",{use_along}=""),0,IF(ROUND({usable},9)<0,0,MAX(0,INT(ROUND(({usable}-{use_along}/2)/{use_along},9))+1)))',
    "map_mean": f'IF({{b1_small}}="",0,({{b1_small}}+{THICK})/2)',
    "map_girth": "PI()*{map_mean}",
    "map_rows": 'IF({use_around}="",1,MAX(1,INT(ROUND({map_girth}/{use_around}+0.5,9))))',
    "map_holes": 'IF({b1_holes}="",0,{b1_holes})',
    "map_shift": "IF({map_holes}=0,0,({use_bolt_length}-MAX(({odd}-1)*{use_along},"
                 "IF(AND({map_rows}>1,{even}>0),({even}-0.5)*{use_along},0)))/2)",
    "map_pair": "{odd}+{even}",
    "map_length": 'IF({use_bolt_length}="",0,{use_bolt_length})',
    "upkeep_minutes": "IF(ISNUMBER(set_budget_upkeep_minutes),set_budget_upkeep_minutes,[upkeep]/MAX(1,ROUND(set_life_seasons,0)))",
    "stock_even": 'IF({use_stock}="",0,{groups}*ROUNDUP(ROUND({use_stock}/{groups},9),0)-{use_stock})',
    "run_low": STRAIN_FIELD.format("low"), "run_high": STRAIN_FIELD.format("high"),
    "fruits_from": STRAIN_FIELD.format("from"), "fruits_to": STRAIN_FIELD.format("to"),
    "forces": 'IF({strain_at}=0,"",INDEX(lst_strain_forces,{strain_at})&"")',
    "temps": f"COUNT({','.join(f'set_temp_{m}' for m in MONTHS)})",
    "months_known": "IF(AND({temps}=12,COUNT({fruits_from},{fruits_to})>0),1,0)",
    **{f"fit_{m}": f'IF({{months_known}}=0,1,IF({{fruits_from}}="",1,IF(set_temp_{m}>={{fruits_from}},1,0))'
                   f'*IF({{fruits_to}}="",1,IF(set_temp_{m}<={{fruits_to}},1,0)))' for m in MONTHS},
    "run_good": "IF(COUNT({run_low},{run_high})<2,0,IF({run_low}<0,0,IF({run_high}>={run_low},1,0)))",
    "dated": f"IF({PARTLY},0,1)",
    "soakable": "IF(OR({strain_at}=0,{dated}=0),0,IF({months_known}=1,1,IF(COUNT(set_season_begins,set_season_ends)=0,0,1)))",
    "early": f'IF({{run_good}}*{{dated}}=0,"",{LATER.format("{run_low}")})', "late": f'IF({{run_good}}*{{dated}}=0,"",{LATER.format("{run_high}")})',
    "force": f'IF({{soakable}}=0,"",{LATER.format("set_force_after_months")})',
    "opens": "IF(ISNUMBER(set_season_begins),MONTH(set_season_begins)*100+DAY(set_season_begins),101)",
    "closes": "IF(ISNUMBER(set_season_ends),MONTH(set_season_ends)*100+DAY(set_season_ends),1231)",
}
# The days that a date can be moved to: itself, the first of each of the twelve months after it, and for a soak the days on which the
# season begins in this year and the two after it; the earliest that suits is taken. stay: the days on which the run of suiting months
# ends in which the first mushrooms begin.
MOVES = {"early": 13, "late": 13, "stay": 13, "force": 16}
MONTH_DAY = "(MONTH({day})*100+DAY({day}))"
IN_SEASON = f"IF({{opens}}<={{closes}},AND({MONTH_DAY}>={{opens}},{MONTH_DAY}<={{closes}}),OR({MONTH_DAY}>={{opens}},{MONTH_DAY}<={{closes}}))"


def move(base: str, k: int) -> str:
    """The formula of the k-th day that a date can be moved to, blank where that day does not suit."""
    if base == "stay":
        month = "DATE(YEAR({flush_from}),MONTH({flush_from})+%d,1)" % k
        return f'IF({{flush_from}}="","",IF(INDEX({{col_fit}},MONTH({month}))=0,{month}-1,""))'
    cell = f"{{{base}}}"
    if k == 0:
        day, open_ = cell, "TRUE"
    elif k <= 12:
        day, open_ = f"DATE(YEAR({cell}),MONTH({cell})+{k},1)", "TRUE"
    else:
        day = f"DATE(YEAR({cell})+{k - 13},INT({{opens}}/100),MOD({{opens}},100))"
        open_ = f"{day}>={cell}"
    suits = f"INDEX({{col_fit}},MONTH({day}))=1"
    if base == "force":
        suits = f"AND({suits},{IN_SEASON.replace('{day}', day)},{open_})"
    return f'IF({cell}="","",IF({suits},{day},""))'


# One bolt; {k} is its number. All stand in the working cells, the first LISTED of them are shown.
ROWS_AROUND = 'MAX(1,INT(ROUND(PI()*({b_small}+IF({b_large}="",{b_small},{b_large}))/2/{use_around}+0.5,9)))'
BOLT = {
    "logs": 'IF({count}="","",IF({mode}=1,IF({k}<={count},1,""),IF({k}=1,{count},"")))',
    "small": 'IF({b_logs}="","",IF({mode}=1,{use_dbh}-{taper}*({use_stump}+{k}*{use_bolt_length}/[height]-[breast]),{use_bolt_diameter}))',
    "large": 'IF({b_logs}="","",IF({mode}=1,{use_dbh}-{taper}*({use_stump}+({k}-1)*{use_bolt_length}/[height]-[breast]),""))',
    "volume": 'IF({b_logs}="","",IF({b_large}="",PI()/4*{b_small}^2*{use_bolt_length},'
              'PI()/8*({b_small}^2+{b_large}^2)*{use_bolt_length})/[volume])',
    "weight": 'IF(OR({b_logs}="",{density}=""),"",{b_volume}*{density})',
    "lift": 'IF({b_weight}="","",IF({b_weight}/set_lift_limit<=1,"ok",ROUNDUP(ROUND({b_weight}/set_lift_limit,9),1)&" x limit"))',
    "holes": 'IF(OR({b_logs}="",{holes_known}=0),"",IF({by}="weight per log",0,'
             f'ROUNDUP({ROWS_AROUND}/2,0)*{{odd}}+INT({ROWS_AROUND}/2)*{{even}}))',
    "ends": 'IF({b_logs}="","",PI()/4*({b_small}^2+IF({b_large}="",{b_small},{b_large})^2))',
    "area": 'IF({b_logs}="","",PI()*({b_small}+IF({b_large}="",{b_small},{b_large}))/2*{use_bolt_length})',
}
SHOWN = ("logs", "small", "large", "volume", "weight", "lift", "holes")
# The k-th size the chosen form is sold in; rank numbers the rows of Lists that offer one.
RANK = 'IFERROR(IF({form_at}=0,"",IF({pack_form}={form_name},IF(ISNUMBER({pack_size}),IF({pack_size}>0,{above}+1,""),""),"")),"")'
NEED = 'IF({pieces}="",{loose},{pieces})'
PACK = {
    "size": 'IFERROR(INDEX({packs_size},MATCH({k},{col_rank},0)),"")',
    "price": 'IF({p_size}="","",IFERROR(IF(ISNUMBER(INDEX({packs_price},MATCH({k},{col_rank},0))),'
             'IF(INDEX({packs_price},MATCH({k},{col_rank},0))>=0,INDEX({packs_price},MATCH({k},{col_rank},0)),""),""),""))',
    "packs": f'IF(OR({{p_size}}="",AND({{pieces}}="",{{loose}}="")),"",ROUNDUP(ROUND({NEED}/{{p_size}},9),0))',
    "cost": 'IF(OR({p_packs}="",{p_price}=""),"",{p_packs}*{p_price})',
    "left": f'IF({{p_packs}}="","",ROUND({{p_packs}}*{{p_size}}-{NEED},9))',
}
HOLE = {
    "at": "IF({k}<={map_holes},{k},1)",
    "pair": "IF({map_pair}=0,0,INT(({h_at}-1)/{map_pair}))",
    "rest": "{h_at}-1-{h_pair}*{map_pair}",
    "row": "IF({h_rest}<{odd},2*{h_pair}+1,2*{h_pair}+2)",
    "along": 'IF({map_holes}=0,0,IF({h_rest}<{odd},{h_rest}*{use_along},({h_rest}-{odd}+0.5)*{use_along})+{map_shift})',
    "around": 'IF({map_holes}=0,0,({h_row}-1)*{map_girth}/{map_rows})',
}
EDGE = ((0, 0), (1, 0), (1, 1), (0, 1), (0, 0))  # along, around: the corners of the unrolled bark


def planned_bolts(found: dict, env: Env) -> list[tuple[float, float, float | None]]:
    """(logs, small end, large end or None) of each row of the bolt table, in metres. found: from plan_typed.used."""
    if not found["sizes_good"]:
        return []
    if found["mode"] == 2:
        return [(found["use_bolts"], env.si(found["use_bolt_diameter"], "diameter"), None)]
    cut = wood.bolts_from_tree(
        env.si(found["use_dbh"], "diameter"), env.si(found["use_height"], "height"), env.si(found["use_bolt_length"], "length"),
        env.si(found["use_top"], "diameter"), env.si(found["use_stump"], "height"), env.si(plan_typed.breast_height(env.profile), "height"))
    return [(1, b.small_end_m, b.large_end_m) for b in cut]


def values(inputs: dict, env: Env) -> dict:
    """Every computed cell of the sheet by name, as it must show; inputs in the workbook's units."""
    settings, out = env.settings, plan_typed.used(inputs, env)
    bolts = planned_bolts(out, env)
    out["count_all"] = "" if not out["sizes_good"] else len(bolts) if out["mode"] == 1 else out["use_bolts"]
    out |= plan_typed.checks(inputs, out, out["count_all"], env)
    totals = _bolts(out, bolts[:BOLT_ROWS], env)

    count = out["count"] = "" if out["count_all"] == "" else totals["logs"]
    weighed, drilled = count != "" and out["density"] != "", count != "" and bool(out["holes_known"])
    holes = out["holes"] = totals["holes"] if drilled else ""
    out["over"] = totals["over"] if weighed else ""
    out["total_weight"] = env.shown(totals["weight"], "weight") if weighed else ""
    out["heaviest"] = env.shown(totals["heaviest"], "weight") if weighed else ""
    out["longest"] = ""
    if weighed and bolts:  # a cylinder as thick as the butt: never longer than the true one of a tapering stem
        thick, per_volume = bolts[0][2] or bolts[0][1], env.si(out["density"], "weight") / env.si(1.0, "volume")
        limit_kg = env.setting_si("lift_limit", "weight")
        out["longest"] = env.shown(wood.longest_length_for_weight(limit_kg, thick, None, per_volume), "length")
    by, spare = out["by"].casefold(), settings["spare_share"]
    form = env.rows["forms"][out["form_at"] - 1] if out["form_at"] else None
    out["pieces"] = supplies.plugs_needed(holes, spare) if drilled and by == "each hole" else ""
    out["loose"] = _loose(form, by, count, holes, spare, env) if drilled else ""
    out["area_holes"] = out["wax"] = out["wax_melted"] = ""
    if drilled:
        wax_kg = supplies.wax_weight(holes, settings["wax_per_hole"] / 1000 if form.get("waxed") == "yes" else 0.0)
        if settings["ends_waxed"] == "yes":
            wax_kg += totals["ends"] * settings["end_coat"] / 1000 * settings["wax_density"] * 1000
        out["wax"] = env.shown(wax_kg, "weight")
        out["wax_melted"] = env.shown(supplies.wax_volume(wax_kg, settings["wax_density"] * 1000, settings["wax_swell"]), "melt")
        if by != "weight per log":
            out["area_holes"] = math.ceil(round(totals["area"] / (out["use_along"] * out["use_around"]) / env.si(1.0, "spacing") ** 2, 9))
    for name in ("drill", "setup"):
        out[f"{name}_hours"] = "" if count == "" else supplies.setup_time(count, [settings[f"{name}_minutes"] * 60]) / 3600
    out["groups"] = math.ceil(round(settings["rota_weeks"], 9))
    out |= _supply(out, env) | _start(out, env)
    out |= _map(out, bolts, env)
    out |= _packs(out, env)
    return out | _notes(out, env)


def _bolts(out: dict, bolts: list, env: Env) -> dict:
    """Fill in the bolt rows; the sums of logs, weight, holes and the like in SI."""
    totals = dict.fromkeys(("weight", "holes", "ends", "area", "over", "logs", "heaviest"), 0.0)
    limit_kg, holes = env.setting_si("lift_limit", "weight"), ""
    for k in range(1, BOLT_ROWS + 1):
        names = {field: f"b{k}_{field}" for field in BOLT}
        if k > len(bolts):
            out |= dict.fromkeys(names.values(), "")
            continue
        logs, small, large = bolts[k - 1]
        mean, butt, length = wood.mean_diameter(small, large), small if large is None else large, env.si(out["use_bolt_length"], "length")
        volume = wood.bolt_volume(small, large, length)
        weight = None if out["density"] == "" else env.si(env.shown(volume, "volume") * out["density"], "weight")
        index = None if weight is None else weight / limit_kg
        if out["holes_known"]:
            holes = 0 if out["by"].casefold() == "weight per log" else drilling.holes(
                mean, length, env.si(out["use_along"], "spacing"), env.si(out["use_around"], "spacing"), env.setting_si("end_margin", "spacing"))
        ends = wood.disc_area(small) + wood.disc_area(butt)
        area = math.pi * mean * length
        out |= {names["logs"]: logs, names["small"]: env.shown(small, "diameter"),
                names["large"]: "" if large is None else env.shown(large, "diameter"), names["volume"]: env.shown(volume, "volume"),
                names["weight"]: "" if weight is None else env.shown(weight, "weight"), names["holes"]: holes,
                names["lift"]: "" if index is None else "ok" if index <= 1 else f"{lift_times(index):g} x limit",
                names["ends"]: ends / env.si(1.0, "diameter") ** 2, names["area"]: area / env.si(1.0, "diameter") ** 2}
        for name, each in (("weight", weight or 0.0), ("holes", holes or 0), ("ends", ends), ("area", area), ("logs", 1),
                           ("over", index is not None and index > 1)):
            totals[name] += logs * each
        totals["heaviest"] = max(totals["heaviest"], weight or 0.0)
    out |= {f"s{k}_{field}": out[f"b{k}_{field}"] for k in range(1, LISTED + 1) for field in SHOWN}
    out |= {f"s{k}_number": k if k <= len(bolts) else "" for k in range(1, LISTED + 1)}
    return totals


def _loose(form, by, count, holes, spare, env):
    if by == "weight per log" and is_number(form.get("weight_per_log")):
        return supplies.totem_weight(count, form["weight_per_log"], spare)
    if by == "hole volume" and is_number(form.get("per_hole")):
        return env.shown(holes * form["per_hole"] / 1000 * (1 + spare), "weight")
    return ""


def _supply(out: dict, env: Env) -> dict:
    """Logs, spawn and hours for a weekly weight, and the weekly weight of logs on hand."""
    settings, names = env.settings, ("per_group", "bearing", "supply_pieces", "supply_loose", "supply_hours", "yearly", "trees", "yearly_hours")
    found = dict.fromkeys((*names, "stock_week", "stock_weight"), "") | {"stock_even": 0, "upkeep_minutes": _upkeep_minutes(env)}
    if out["use_stock"] != "":
        groups, _, even = season.rota_of_logs(out["use_stock"], settings["rota_weeks"])
        found |= {"stock_even": even - out["use_stock"], "stock_week": math.floor(round(out["use_stock"] / groups, 9)),
                  "stock_weight": out["use_stock"] / groups * settings["per_soak"]}
    if out["use_wanted"] == "" or not settings["per_soak"] > 0:
        return found
    _, found["per_group"], bearing = season.rota(out["use_wanted"], settings["per_soak"], settings["rota_weeks"])
    yearly = math.ceil(round(bearing / settings["life_seasons"], 9))
    making = settings["drill_minutes"] + settings["setup_minutes"]
    found |= {"bearing": bearing, "yearly": yearly, "yearly_hours": supplies.setup_time(yearly, [making * 60]) / 3600,
              "supply_hours": bearing * found["upkeep_minutes"] / 60 / (quantities.SPAN_DAYS["year"] / 7)}
    if out["mode"] == 1 and out["count_all"]:
        found["trees"] = math.ceil(round(yearly / out["count_all"], 9))
    if out["count"] and out["pieces"] != "":
        found["supply_pieces"] = supplies.plugs_needed(bearing * out["holes"] / out["count"], settings["spare_share"])
    if out["count"] and out["loose"] != "":
        found["supply_loose"] = bearing * out["loose"] / out["count"]
    return found


def _upkeep_minutes(env: Env) -> float:
    """Minutes of upkeep, picking and selling a log and year: those on Settings, else a published share over the seasons a log bears."""
    from calc import plan_inputs  # slow to load
    whole = env.settings | {"life_seasons": sheet_round(env.settings["life_seasons"], 0)}
    return plan_inputs.inputs(whole)["upkeep_minutes"].value


def _start(out: dict, env: Env) -> dict:
    """When logs inoculated on the day typed first bear, and when the soaks and with them the supply start."""
    settings, cells = env.settings, {}
    strain = env.rows["strains"][out["strain_at"] - 1] if out["strain_at"] else {}
    for cell, key in (("run_low", "run_low"), ("run_high", "run_high"), ("fruits_from", "fruits_from"), ("fruits_to", "fruits_to")):
        cells[cell] = strain[key] if is_number(strain.get(key)) else ""
    cells["forces"] = strain.get("forces") or ""
    temps = [settings[f"temp_{m}"] for m in MONTHS]
    fits = season.months_that_fit(temps, *(None if cells[k] == "" else cells[k] for k in ("fruits_from", "fruits_to")))
    ranged, typed = any(cells[k] != "" for k in ("fruits_from", "fruits_to")), 12 - len(season.missing_months(temps))
    cells |= {"temps": typed, "months_known": int(fits is not None), "dated": int(not (ranged and 0 < typed < 12))}
    suits = [True] * 12 if fits is None else fits
    cells |= {f"fit_{m}": int(ok) for m, ok in zip(MONTHS, suits, strict=True)}
    opens, closes = (d if is_number(d) else None for d in (settings["season_begins"], settings["season_ends"]))
    cells["soakable"] = int(bool(strain) and cells["dated"] == 1 and (fits is not None or opens is not None or closes is not None))
    cells["opens"] = opens.month * 100 + opens.day if opens else 101
    cells["closes"] = closes.month * 100 + closes.day if closes else 1231
    run = [cells["run_low"], cells["run_high"]]
    cells["run_good"] = int("" not in run and 0 <= run[0] <= run[1])
    cells |= dict.fromkeys(("early", "late", "force", "flush_from", "flush_to", "soak_from"), "")
    if out["use_inoculate"] == "" or not strain:
        return cells
    day = EXCEL_EPOCH + dt.timedelta(days=out["use_inoculate"])
    if cells["run_good"] and cells["dated"]:
        window = season.first_flush(day, *run, fits)
        cells |= {"early": season.add_months(day, run[0]), "late": season.add_months(day, run[1])}
        cells["flush_from"], cells["flush_to"] = window or ("", "")
    if not cells["soakable"]:
        return cells
    cells["force"] = season.may_soak_from(day, settings["force_after_months"])
    days = (cells["force"] + dt.timedelta(days=n) for n in range(2 * 366))
    cells["soak_from"] = next((d for d in days if season.soak_day(d, opens, closes, fits)), "")
    return cells


def _map(out: dict, bolts: list, env: Env) -> dict:
    """The working cells of the drill map of bolt 1."""
    size, margin = env.si(1.0, "diameter"), env.setting_si("end_margin", "spacing")
    along, around, length = (env.si(out[f"use_{n}"], "spacing") if out[f"use_{n}"] != "" else None for n in ("along", "around", "bolt_length"))
    mean = wood.mean_diameter(bolts[0][1], bolts[0][2]) if bolts else 0.0
    odd, even = drilling.holes_in_rows(length, along, margin) if length and along else (0, 0)
    placed = drilling.drill_map(mean, length, along, around, margin) if out["b1_holes"] else []
    tree = out["sizes_good"] and out["mode"] == 1
    work = {
        "usable": 0 if length is None else (length - 2 * margin) / size, "odd": odd, "even": even,
        "taper": (out["use_dbh"] - out["use_top"]) / (out["use_height"] - plan_typed.breast_height(env.profile)) if tree else 0,
        "map_mean": mean / size, "map_girth": math.pi * mean / size, "map_rows": drilling.rows_around(mean, around) if around else 1,
        "map_holes": out["b1_holes"] or 0, "map_pair": odd + even, "map_length": 0 if length is None else length / size,
        # the pattern leaves the same margin at both ends
        "map_shift": min(hole.along_m for hole in placed) / size if placed else 0,
    }
    for k in range(1, HOLE_POINTS + 1):
        hole = placed[k - 1] if k <= len(placed) else placed[0] if placed else None
        work[f"h{k}_along"] = hole.along_m / size if hole else 0
        work[f"h{k}_around"] = hole.around_m / size if hole else 0
    for k, (over, up) in enumerate(EDGE):
        work |= {f"edge{k}_along": over * work["map_length"], f"edge{k}_around": up * work["map_girth"]}
    return work


def _packs(out: dict, env: Env) -> dict:
    found, cells, n = {}, {}, 0
    packs, form = env.rows["packs"], out["form_name"].casefold()
    for i in range(1, LIST_PACKS + 1):
        pack = packs[i - 1] if i <= len(packs) else {}
        match = form and str(pack.get("pack_form") or "").casefold() == form and is_number(pack.get("pack_size")) and pack["pack_size"] > 0
        n += bool(match)
        cells[f"r{i}_rank"] = n if match else ""
        if match:
            found[n] = pack
    need = out["loose"] if out["pieces"] == "" else out["pieces"]
    for k in range(1, PACK_ROWS + 1):
        cells |= dict.fromkeys((f"p{k}_{f}" for f in PACK), "")
        if k not in found:
            continue
        size, price = found[k]["pack_size"], found[k].get("pack_price")
        price = price if is_number(price) and price >= 0 else ""
        cells |= {f"p{k}_size": size, f"p{k}_price": price}
        if need != "":
            bought = math.ceil(round(need / size, 9))
            cells |= {f"p{k}_packs": bought, f"p{k}_cost": "" if price == "" else bought * price, f"p{k}_left": round(bought * size - need, 9)}
    return cells | {"pack_sizes": n}


def _when(out: dict, base: str, unknown: str) -> str:
    if not out["strain_at"]:
        return "waits for a strain above"
    if base == "early" and not out["run_good"]:
        return "its months? see Lists"
    if not out["months_known"]:
        return unknown
    return "in months that suit it" if any(out[f"fit_{m}"] for m in MONTHS) else "no month here suits it"


def _notes(out: dict, env: Env) -> dict:
    undated = "waits for a date above" if out["use_inoculate"] == "" else ""
    minutes_typed = is_number(env.settings["budget_upkeep_minutes"])
    partly, open_ = "type all 12 temperatures", not any(is_number(env.settings[f"season_{end}"]) for end in ("begins", "ends"))
    each = f"at {sheet_round(env.settings['per_soak'], 3):g} {units.profile_unit('weight', env.profile)} a soaked log"
    count, every, more = out["count"], out["count_all"], 0 if out["count"] == "" else out["count_all"] - out["count"]
    listed = ""
    if out["mode"] == 1 and every != "" and every > LISTED:
        listed = f"Bolts {LISTED + 1} to {count:g} are not listed; the totals count them." + (
            f" {more:g} more are in no total: cut longer." if more else "")
    return {
        "note_count": "waits for the cells above" if count == "" else f"{more:g} more are not counted" if more else "",
        "note_total_weight": "" if count == "" else "needs a wood with a weight on Lists" if out["density"] == "" else "with bark",
        "note_heaviest": "" if out["heaviest"] == "" else "a soaked log weighs more: weigh one",
        "note_longest": "" if out["longest"] == "" else "by the large end: errs short" if out["mode"] == 1 else "by the mid diameter",
        "note_holes": "" if count == "" or out["holes_known"] else "waits for form and spacing",
        "note_drill_hours": "" if out["drill_hours"] == "" else "by the log, whatever its holes",
        "note_per_group": "" if out["per_group"] == "" else each,
        "note_stock_weight": "" if out["use_stock"] == "" else each,
        "note_bearing": "" if out["bearing"] == "" else "groups x logs soaked each week",
        "note_supply_pieces": "" if out["bearing"] == "" else "waits for the bolts above" if out["supply_pieces"] == out["supply_loose"] == ""
        else "drilled like those above",
        "note_supply_hours": "" if out["bearing"] == "" else "by your minutes on Settings" if minutes_typed else "by a published share",
        "note_flush_from": undated or _when(out, "early", "by its months alone" if out["dated"] else partly),
        "note_soak_from": undated or ("best left to fruit by itself" if out["forces"].casefold() == "no" else _when(
            out, "force", partly if not out["dated"] else "temperatures or a season?" if open_ else "by your season alone")),
        "note_stock_week": "" if out["use_stock"] == "" else f"{out['stock_even']:g} more make groups equal" if out["stock_even"] else "equal groups",
        "note_list": listed,
        "note_packs": f"{out['pack_sizes'] - PACK_ROWS} more sizes are not shown; Shopping weighs them all." if out["pack_sizes"] > PACK_ROWS else "",
        "note_map": f"The map shows {HOLE_POINTS} of the {out['map_holes']:g} holes." if out["map_holes"] > HOLE_POINTS else "",
    }

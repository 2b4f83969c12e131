"""Draws the Plan sheet: inputs, answers and drill map on the left, packs and the bolt list beside them."""
from __future__ import annotations

import datetime as dt
import re

from xlsxwriter.utility import xl_rowcol_to_cell

from calc import units
from workbook_template import cautions, schema
from workbook_template.looks import ACCENT, FONT, set_page
from workbook_template.sheets import plan_cells as cells
from workbook_template.sheets import plan_typed as typed

FIRST_INPUT, CHECK, BOLT_LEFT, WORK_LEFT = 4, 3, 5, 20
WORK_RIGHT = WORK_LEFT + 23
MOVES_LEFT = WORK_RIGHT + 2
WORK_LAST = MOVES_LEFT + len(cells.MOVES) - 1
ANSWER_GROUPS = (
    ("Bolts and lifting", ("count", "total_weight", "heaviest", "over", "longest")),
    ("Drilling, spawn and wax", ("holes", "area_holes", "pieces", "loose", "wax", "wax_melted", "drill_hours", "setup_hours")),
    ("A steady weekly supply", ("groups", "per_group", "bearing", "supply_pieces", "supply_loose", "supply_hours", "yearly", "trees",
                                "yearly_hours", "flush_from", "flush_to", "soak_from", "stock_week", "stock_weight")),
)
BOLT_HEADS = (("logs", "Bolts", None, "whole"), ("small", "Small end or middle", "diameter", "two"), ("large", "Large end", "diameter", "two"),
              ("volume", "Volume each", "volume", "three"), ("weight", "Green weight each", "weight", "one"), ("lift", "Lift", None, "text"),
              ("holes", "Holes each", None, "whole"))
CHART_TITLE = "Drill map of bolt 1: the bark unrolled"
LAST, CHART_ROWS = BOLT_LEFT + 7, 18  # last printed column; rows under the chart
PACK_HEADS = (("size", "Pack of", "plain"), ("price", "Price", "money"), ("packs", "Packs", "whole"), ("cost", "Cost", "money"),
              ("left", "Left over", "two"))


class Spots:
    """Where every named cell stands."""

    def __init__(self):
        self.at: dict[str, tuple[int, int]] = {}

    def __setitem__(self, name: str, spot: tuple[int, int]) -> None:
        self.at[name] = spot

    def address(self, name: str) -> str:
        return xl_rowcol_to_cell(*self.at[name], row_abs=True, col_abs=True)

    def addresses(self) -> dict[str, str]:
        return {name: self.address(name) for name in self.at}

    def span(self, first: str, last: str) -> str:
        return f"{self.address(first)}:{self.address(last)}"


def layout(profile: str) -> Spots:
    """Every named cell of the sheet."""
    spots, row = Spots(), FIRST_INPUT + 1
    for entry in typed.INPUTS:
        spots[entry.name], spots[f"check_{entry.name}"] = (row, 1), (row, CHECK)
        row += 1
    row += 1
    for _, names in ANSWER_GROUPS:
        for i, name in enumerate(names):
            spots[name] = (row + 1 + i, 1)
            if f"note_{name}" in cells.NOTES:
                spots[f"note_{name}"] = (row + 1 + i, CHECK)
        row += len(names) + 2
    spots["note_map"] = (row - 1, 0)
    for k in range(1, cells.PACK_ROWS + 1):
        for i, (name, *_) in enumerate(PACK_HEADS):
            spots[f"p{k}_{name}"] = (FIRST_INPUT + k, BOLT_LEFT + 1 + i)
    spots["note_packs"] = (FIRST_INPUT + cells.PACK_ROWS + 1, BOLT_LEFT)
    head = spots.at["count"][0] - 1  # the list of bolts stands beside their totals
    for k in range(1, cells.LISTED + 1):
        spots[f"s{k}_number"] = (head + k, BOLT_LEFT)
        for i, (name, *_) in enumerate(BOLT_HEADS):
            spots[f"s{k}_{name}"] = (head + k, BOLT_LEFT + 1 + i)
    spots["note_list"] = (head + cells.LISTED + 1, BOLT_LEFT)
    for i, name in enumerate(working(profile)):
        spots[name] = (FIRST_INPUT + i, WORK_LEFT + 1)
    for i in range(1, cells.LIST_PACKS + 1):
        spots[f"r{i}_rank"] = (FIRST_INPUT + i, WORK_LEFT + 3)
    for k in range(1, cells.HOLE_POINTS + 1):
        for i, name in enumerate(cells.HOLE):
            spots[f"h{k}_{name}"] = (FIRST_INPUT + k, WORK_LEFT + 5 + i)
    for k in range(1, cells.BOLT_ROWS + 1):
        for i, name in enumerate(cells.BOLT):
            spots[f"b{k}_{name}"] = (FIRST_INPUT + k, WORK_LEFT + 12 + i)
    for i, (base, moves) in enumerate(cells.MOVES.items()):
        for k in range(moves):
            spots[f"{base}{k}"] = (FIRST_INPUT + k, MOVES_LEFT + i)
    for k in range(len(cells.EDGE)):
        spots[f"edge{k}_along"] = (FIRST_INPUT + k, WORK_RIGHT - 1)
        spots[f"edge{k}_around"] = (FIRST_INPUT + k, WORK_RIGHT)
    return spots


def working(profile: str) -> dict[str, str]:
    """The single working cells, in their order."""
    return typed.used_formulas(profile) | cells.WORK


def formulas(spots: Spots, lists: dict[str, str], profile: str) -> dict[str, tuple[str, str]]:
    """name -> (formula template, look) of every computed cell. lists: addresses of list columns for {packs_...}."""
    last = cells.BOLT_ROWS
    ranges = {f"col_{f}": spots.span(f"b1_{f}", f"b{last}_{f}") for f in ("logs", "weight", "lift", "holes", "ends", "area")}
    ranges["col_rank"] = spots.span("r1_rank", f"r{cells.LIST_PACKS}_rank")
    ranges["col_fit"] = spots.span(f"fit_{cells.MONTHS[0]}", f"fit_{cells.MONTHS[-1]}")
    ranges |= {f"col_{base}": spots.span(f"{base}0", f"{base}{moves - 1}") for base, moves in cells.MOVES.items()}
    ranges |= lists

    def fill(template: str, **local) -> str:
        for key, text in {**local, **ranges}.items():
            template = template.replace("{" + key + "}", text)
        return template

    found = {name: (fill(f), f"computed_{looks}") for name, (_, f, looks, _) in cells.ANSWERS.items()}
    found |= {name: (f, "computed_text") for name, f in typed.check_formulas(profile).items()}
    found |= {name: (fill(f), "unit" if spots.at[name][1] == CHECK else "label") for name, f in cells.NOTES.items()}
    found |= {name: (fill(f), "label") for name, f in working(profile).items()}
    for k in range(1, cells.BOLT_ROWS + 1):
        local = {f"b_{f}": spots.address(f"b{k}_{f}") for f in cells.BOLT} | {"k": str(k)}
        found |= {f"b{k}_{field}": (fill(template, **local), "label") for field, template in cells.BOLT.items()}
    for k in range(1, cells.LISTED + 1):
        found[f"s{k}_number"] = (f'IF({{b{k}_logs}}="","",{k})', "label")
        found |= {f"s{k}_{name}": (f"{{b{k}_{name}}}", f"computed_{look}") for name, _, _, look in BOLT_HEADS}
    for i in range(1, cells.LIST_PACKS + 1):
        above = f"MAX(0,{spots.span('r1_rank', f'r{i - 1}_rank')})" if i > 1 else "0"
        row = {f"pack_{name}": f"INDEX({lists[f'packs_{name}']},{i})" for name in ("form", "size")}
        found[f"r{i}_rank"] = (fill(cells.RANK, above=above, **row), "label")
    pack_looks = {name: look for name, _, look in PACK_HEADS}
    for k in range(1, cells.PACK_ROWS + 1):
        local = {f"p_{f}": spots.address(f"p{k}_{f}") for f in cells.PACK} | {"k": str(k)}
        for field, template in cells.PACK.items():
            found[f"p{k}_{field}"] = (fill(template, **local), f"computed_{pack_looks[field]}")
    for k in range(1, cells.HOLE_POINTS + 1):
        local = {f"h_{f}": spots.address(f"h{k}_{f}") for f in cells.HOLE} | {"k": str(k)}
        for field, template in cells.HOLE.items():
            found[f"h{k}_{field}"] = (fill(template, **local), "label")
    for base, moves in cells.MOVES.items():
        found |= {f"{base}{k}": (fill(cells.move(base, k)), "label") for k in range(moves)}
    for k, (along, around) in enumerate(cells.EDGE):
        found[f"edge{k}_along"] = (f"{along}*{{map_length}}", "label")
        found[f"edge{k}_around"] = (f"{around}*{{map_girth}}", "label")
    return found


def draw(book) -> None:
    sheet, profile, looks = book.sheet("Plan"), book.profile, book.looks
    inputs = {**typed.starts(profile), **book.yard.plan}
    spots = layout(profile)
    sheet.write_string(0, 0, "Plan", looks["title"])
    sheet.set_row(0, 26)
    sheet.write_string(1, 0, "What does this tree, this pile of bolts, or a weekly supply need? Type in the boxed cells; the rest is live. "
                             "Nothing here is recorded or spent.", looks["about"])
    for col, width in enumerate((36, 15, 6, 28, 2, 4, 7, 12, 9, 10, 10, 12, 8, 2)):
        sheet.set_column(col, col, width)
    sheet.set_column(14, WORK_LEFT - 1, 4)
    sheet.set_column(WORK_LEFT, WORK_LAST, 10, None, {"level": 1, "hidden": True})
    _draw_inputs(book, sheet, inputs, spots)
    _draw_heads(book, sheet, spots)
    values = cells.values(inputs, book.env)
    addresses = spots.addresses()
    for name, (template, look) in formulas(spots, pack_columns(book), profile).items():
        named = {key: addresses[key] for key in re.findall(r"{(\w+)}", template)}
        book.write_formula(sheet, *spots.at[name], template, named, values.get(name, 0), look, single=name in values)
    _draw_chart(book, sheet, spots)
    below = spots.at["note_map"][0] + CHART_ROWS + 2
    for i, words in enumerate(cautions.PLAN):
        sheet.merge_range(below + i, 0, below + i, LAST, words, looks["caution"])
        sheet.set_row(below + i, 28)
    set_page(sheet, profile, landscape=False, footer=str(book.env.settings["yard"]))
    sheet.fit_to_pages(1, 1)
    sheet.print_area(0, 0, below + len(cautions.PLAN), LAST)
    sheet.freeze_panes(3, 0)


def pack_columns(book) -> dict[str, str]:
    """Addresses of the spawn packs on Lists, as a formula may use them."""
    from workbook_template.build import column_range, guarded_rows
    table = schema.table("packs")
    rows = guarded_rows(table, book.rows, len(book.env.rows["packs"]))
    return {f"packs_{k}": column_range(table, f"pack_{k}", rows)[1:] for k in ("form", "size", "price")}


def _unit(profile: str, quantity: str | None) -> str:
    return units.profile_unit(quantity, profile) if quantity else ""


def _draw_inputs(book, sheet, inputs: dict, spots: Spots) -> None:
    looks, profile = book.looks, book.profile
    for i, words in enumerate(("What you have and want", "", "", "Check")):
        sheet.write_string(FIRST_INPUT - 1, i, words, looks["section"])
    for entry in typed.INPUTS:
        row, col = spots.at[entry.name]
        sheet.write_string(row, 0, entry.title, looks["label"])
        book.write(sheet, row, col, inputs[entry.name], f"input_{'plain' if entry.whole else entry.looks}")  # 2.5 must show as 2.5
        sheet.write_string(row, 2, _unit(profile, entry.quantity), looks["unit"])
        book.workbook.define_name(f"plan_{entry.name}", f"=Plan!{spots.address(entry.name)}")
        rule = {"ignore_blank": True, "error_type": "warning"}
        if entry.help:
            rule |= {"input_title": entry.title[:32], "input_message": entry.help}
        if entry.day:
            rule |= {"validate": "date", "criteria": "between", "minimum": dt.date(1990, 1, 1), "maximum": dt.date(2100, 1, 1),
                     "error_title": entry.title[:32], "error_message": "A date such as 1 Mar 2027 is wanted here. Keep it as typed?"}
        elif entry.list:
            named = schema.LIST_NAMES.get(entry.list)
            rule |= {"validate": "list", "source": f"={named}" if named else list(schema.LISTS[entry.list])}
        else:
            low, high = entry.edges(profile)
            rule |= {"validate": "integer" if entry.whole else "decimal", "criteria": "between", "minimum": low, "maximum": high,
                     "error_title": entry.title[:32], "error_message": f"Wanted here: {entry.words(profile)[1]}. Keep it as typed?"}
        sheet.data_validation(row, col, row, col, rule)
    unused = book.workbook.add_format({"bg_color": "#FFFFFF"})  # rows of the lists without a bolt or a pack
    for first, last in (("s1_number", f"s{cells.LISTED}_holes"), ("p1_size", f"p{cells.PACK_ROWS}_left")):
        sheet.conditional_format(*spots.at[first], *spots.at[last], {
            "type": "formula", "criteria": f'=${xl_rowcol_to_cell(*spots.at[first])}=""', "format": unused})
    first, last = spots.at["check_have"], spots.at[f"check_{typed.INPUTS[-1].name}"]
    sheet.conditional_format(*first, *last, {"type": "no_blanks", "format": book.workbook.add_format({"bold": True, "font_color": "#7A2E1D"})})


def _draw_heads(book, sheet, spots: Spots) -> None:
    looks, profile = book.looks, book.profile
    for title, names in ANSWER_GROUPS:
        top = spots.at[names[0]][0] - 1
        for i in range(CHECK + 1):
            sheet.write_string(top, i, "" if i else title, looks["section"])
        for name in names:
            words, _, _, quantity = cells.ANSWERS[name]
            sheet.write_string(spots.at[name][0], 0, words, looks["label"])
            sheet.write_string(spots.at[name][0], 2, _unit(profile, quantity), looks["unit"])
    packs, bolts = FIRST_INPUT, spots.at["s1_logs"][0] - 1
    for row, words in ((packs - 1, "Packs, if bought in one size only; mixes are on Shopping"), (bolts - 1, "Bolts, from the stump up")):
        for i in range(BOLT_LEFT, LAST + 1):
            sheet.write_string(row, i, words if i == BOLT_LEFT else "", looks["section"])
    for i, (_, words, _) in enumerate(PACK_HEADS):
        sheet.write_string(packs, BOLT_LEFT + 1 + i, words, looks["header_computed_right"])
    sheet.write_string(bolts, BOLT_LEFT, "No.", looks["header"])
    sheet.set_row(bolts, 30)
    for i, (_, words, quantity, _) in enumerate(BOLT_HEADS):
        unit = _unit(profile, quantity)
        side = "" if words == "Lift" else "_right"
        sheet.write_string(bolts, BOLT_LEFT + 1 + i, f"{words} ({unit})" if unit else words, looks["header_computed" + side])
    sheet.write_string(FIRST_INPUT - 1, WORK_LEFT, "Working cells", looks["strong"])
    for name in working(profile):
        sheet.write_string(spots.at[name][0], WORK_LEFT, name, looks["label"])


def _draw_chart(book, sheet, spots: Spots) -> None:
    unit = units.profile_unit("length", book.profile)
    chart = book.workbook.add_chart({"type": "scatter", "subtype": "straight"})
    font = {"name": FONT, "size": 9, "bold": False}

    def span(field: str, first: str, last: str) -> str:
        return f"=Plan!{spots.span(f'{first}_{field}', f'{last}_{field}')}"

    chart.add_series({"name": "edge of the bark", "categories": span("along", "edge0", "edge4"), "values": span("around", "edge0", "edge4"),
                      "line": {"color": "#777777", "width": 1.25}, "marker": {"type": "none"}})
    last = f"h{cells.HOLE_POINTS}"
    chart.add_series({"name": "holes", "categories": span("along", "h1", last), "values": span("around", "h1", last),
                      "line": {"none": True}, "marker": {"type": "circle", "size": 7, "fill": {"color": ACCENT}, "border": {"color": ACCENT}}})
    chart.set_title({"name": CHART_TITLE, "name_font": {**font, "size": 11, "bold": True}, "overlay": False})
    chart.set_x_axis({"name": f"along the log ({unit})", "name_font": font, "num_font": font, "min": 0, "major_gridlines": {"visible": False}})
    chart.set_y_axis({"name": f"around the log ({unit})", "name_font": font, "num_font": font, "min": 0, "num_format": "0",
                      "major_gridlines": {"visible": True, "line": {"color": "#DDDDDD", "width": 0.5}}})
    chart.set_legend({"none": True})
    chart.show_hidden_data()
    chart.set_size({"width": 600, "height": 20 * CHART_ROWS})
    sheet.insert_chart(spots.at["note_map"][0] + 1, 0, chart, {"object_position": 2, "description":
                       "Holes of bolt 1 on the unrolled bark, along and around the log"})

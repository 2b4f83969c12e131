"""Draws the schema as a new workbook: input sheets with true cached values, and result sheets ready for a refresh."""
from __future__ import annotations

import datetime as dt
import io
import secrets
import tempfile
from functools import lru_cache
from pathlib import Path

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell
from xlsxwriter.worksheet import Worksheet

from workbook_template import cautions, draw_results, schema
from workbook_template.columns import CHOICE, DATE, NUMBER, ROWKEY, YESNO, Column, Table
from workbook_template.looks import RIGHT, Looks, set_page
from workbook_template.settings_table import SETTINGS
from workbook_template.sheets import field_sheet, plan
from workbook_template.sheets.layout import lay_out
from workbook_template.sheets.view import View
from workbook_template.twins import Env, is_number, serial
from workbook_template.yard import Yard

EVENTS_A_LOG = 5  # prefilled rows of Events for each of Logs
ROW_KEY_LETTER = {"logs": "L", "events": "E", "costs": "C", "sales": "S", "promises": "P"}
BUILDING = ("Input sheets", "Result sheets", "Writing")
_letters = lru_cache(maxsize=None)(xl_col_to_name)
LIVE_HARVEST_ROWS = 1000  # above this the native roll-up is left out: it is rows x events


class PlainSheet(Worksheet):
    """A worksheet whose formulas hold old functions only: XlsxWriter's search of each for new ones takes longer than all the rest."""

    def _prepare_formula(self, formula, *args, **named):
        return super()._prepare_formula(formula, *args, **named) if formula.startswith("{") else formula.removeprefix("=")


class Book:
    """A workbook being drawn: XlsxWriter's, the looks, the twins' environment and where everything stands."""

    def __init__(self, path: Path, yard: Yard, rows: int, as_of: dt.date, cached: bool, pieces: str):
        self.yard, self.profile, self.rows, self.cached = yard, yard.profile, rows, cached
        self.path, self.made = path, io.BytesIO()  # packed in memory, written at once: where that fails nothing stays open
        self.workbook = xlsxwriter.Workbook(self.made, {"strings_to_numbers": False, "strings_to_formulas": False, "strings_to_urls": False,
                                                    "default_date_format": "d mmm yyyy", "tmpdir": pieces})
        self.workbook.set_calc_mode("auto")
        self.looks = Looks(self.workbook)
        self.env = environment(yard, as_of)
        self.singles: list[tuple[str, str, str, object]] = []  # sheet, cell, formula, value: for the parity test
        self.sheets = {}

    def sheet(self, name: str):
        if name not in self.sheets:
            self.sheets[name] = self.workbook.add_worksheet(name, PlainSheet)
            self.sheets[name].hide_gridlines(2)
        return self.sheets[name]

    def write(self, sheet, row: int, col: int, value, look: str) -> None:
        """A typed or fixed value of any kind, never turned into a formula."""
        fmt = self.looks[look]
        if value is None or value == "":
            sheet.write_blank(row, col, None, fmt)
        elif isinstance(value, bool):
            sheet.write_boolean(row, col, value, fmt)
        elif isinstance(value, (dt.date, dt.datetime)):
            date_look = look.rpartition("_")[0] + "_date" if not look.endswith(("date", "month")) else look
            sheet.write_datetime(row, col, value, self.looks[date_look])
        elif isinstance(value, (int, float)):
            sheet.write_number(row, col, value, fmt)
        else:
            sheet.write_string(row, col, str(value), fmt)

    def write_formula(self, sheet, row: int, col: int, template: str, cells: dict, value, look: str, single: bool = False):
        """A native formula with its true value."""
        text = schema.formula_text(template, cells, self.profile)
        shown = serial(value) if is_number(value) else value
        sheet.write_formula(row, col, text, self.looks[look], shown if self.cached else "")
        if single:
            self.singles.append((sheet.get_name(), xl_rowcol_to_cell(row, col), text, value))


def guarded_rows(table: Table, rows: int, typed: int) -> int:
    """How many prefilled rows a table gets: the workbook's number for input tables, its own for lists."""
    wanted = rows if table.rows is None else table.rows
    if table.key == "events":
        wanted = rows * EVENTS_A_LOG
    return max(wanted, typed + (20 if table.rows is None else 5))


def environment(yard: Yard, as_of: dt.date) -> Env:
    """What the twins see: settings, and every table's rows with the computed columns of the lists filled in."""
    settings = {s.key: s.in_force(yard.settings.get(s.key), yard.profile) for s in SETTINGS}
    typed_as_of = settings["as_of_typed"]
    env = Env(yard.profile, typed_as_of if isinstance(typed_as_of, dt.date) else as_of, settings)
    for table in schema.LIST_TABLES + schema.INPUT_TABLES:
        env.rows[table.key] = [dict(row) for row in yard.rows(table.key)]
    for table in schema.LIST_TABLES:
        for column in table.columns:
            if column.twin:
                for row in env.rows[table.key]:
                    row[column.key] = column.twin(row, env)
    return env


def table_spot(table: Table) -> tuple[int, int]:
    """First data row and first column, 0-based."""
    left = 0
    if table in schema.LIST_TABLES:
        for other in schema.LIST_TABLES:
            if other is table:
                break
            left += len(other.columns) + 1
    return table.header_row, left


def column_range(table: Table, key: str, rows: int) -> str:
    """Absolute address of a column over its guarded rows, for defined names."""
    first, left = table_spot(table)
    letter = xl_col_to_name(left + [c.key for c in table.columns].index(key))
    sheet = f"'{table.sheet}'" if " " in table.sheet else table.sheet
    return f"={sheet}!${letter}${first + 1}:${letter}${first + rows}"


def build(path: Path | str, yard: Yard, rows: int = 200, as_of: dt.date | None = None, cached: bool = True,
          macro: bool = False, name: str | None = None, step=lambda words: None) -> list:
    """Write a new workbook.

    rows: guarded rows of the input tables. as_of: the day that Age and the like are shown for until the program
    recalculates (today if left out). cached False leaves every formula without a value, so that a test can see a
    program compute them all. macro: an .xlsm with a Refresh button on Start. name: the file name that Start shows
    (path's if left out). step: told what is being done. Returns the single formula cells (sheet, cell, formula, value) beyond the tables.
    """
    with tempfile.TemporaryDirectory(prefix="boltbook-") as pieces:  # gone also where the work is stopped
        step("Input sheets")
        return _drawn(Book(Path(path), yard, rows, as_of or dt.date.today(), cached, pieces), macro, name or Path(path).name, step)


def _drawn(book: Book, macro: bool, file_name: str, step) -> list:
    """The workbook with all its sheets, written; its single formula cells."""
    yard, rows = book.yard, book.rows
    for name in ("Start", "This week", *schema.INPUT_SHEETS[:-2]):
        book.sheet(name)
    for name in schema.result_sheets(book.profile)[2:-1] + ("Settings", "Lists", "Field sheet", "Sources"):
        book.sheet(name)
    lengths = {}
    for table in schema.TABLES:
        lengths[table.key] = guarded_rows(table, rows, len(book.env.rows[table.key]))
        _draw_table(book, table, lengths[table.key])
    for name, (key, column) in schema.NAMES.items():
        book.workbook.define_name(name, column_range(schema.table(key), column, lengths[key]))
    step("Result sheets")
    _draw_settings(book)
    plan.draw(book)
    field_sheet.draw(book)
    view = View(book.profile, str(book.env.settings["currency"]), str(book.env.settings["yard"]), file_name)
    for result in lay_out(view):
        draw_results.draw(book, book.sheet(result.name), result)
    book.workbook.define_name("bb_layout", f"={schema.VERSION}")
    book.workbook.define_name("bb_profile", f'="{book.profile}"')
    book.workbook.define_name("bb_yard", f'="{yard.mark or secrets.token_hex(8)}"')
    book.workbook.set_properties({"title": str(book.env.settings["yard"]), "subject": "Mushroom log workbook",
                                  "comments": "Made with Boltbook"})
    if macro:
        from workbook_template.addin.macro import add_macro
        add_macro(book.workbook)
    book.sheet("Start").activate()
    step("Writing")
    book.workbook.close()
    book.path.write_bytes(book.made.getvalue())
    return book.singles


# ---- input tables ----------------------------------------------------------------------------------------------

def _draw_table(book: Book, table: Table, rows: int) -> None:
    sheet = book.sheet(table.sheet)
    first, left = table_spot(table)
    header = first - 1
    if table in schema.LIST_TABLES:
        _list_heading(book, sheet, table, header, left)
    else:
        _sheet_heading(book, sheet, table, header)
    sheet.add_table(header, left, first + rows - 1, left + len(table.columns) - 1, {
        "name": table.title.replace(" ", "_"), "style": None, "autofilter": table in schema.INPUT_TABLES,
        "columns": [_table_column(book, table, column, first, left) for column in table.columns],
    })
    for i, column in enumerate(table.columns):
        sheet.set_column(left + i, left + i, column.width)
        _validate(book, sheet, column, header, first, rows, left + i)
    if table in schema.LIST_TABLES:
        sheet.set_column(left + len(table.columns), left + len(table.columns), 3)
    _fill(book, sheet, table, first, left, rows)
    letters = [xl_col_to_name(left), xl_col_to_name(left + len(table.columns) - 1)]
    book.workbook.define_name(f"bb_{table.key}", f"={table.sheet}!${letters[0]}${header + 1}:${letters[1]}${first + rows}")


def _row_cells(table: Table, row: int, left: int) -> dict[str, str]:
    """Column key -> address of that column's cell in a row (0-based)."""
    return {c.key: f"${_letters(left + i)}{row + 1}" for i, c in enumerate(table.columns)}


def _table_column(book: Book, table: Table, column: Column, first: int, left: int) -> dict:
    """A column of the table object. Its formula lets Excel fill the cell when a row is typed under the table."""
    about = {"header": column.header(book.profile), "header_format": book.looks[_header_look(column)]}
    if column.formula and not left_out(book, column):
        about["formula"] = schema.formula_text(guarded(column), _row_cells(table, first, left), book.profile)
    return about


def guarded(column: Column) -> str:
    """The column's formula, blank where a cell it reads holds an error value; Check says that one stands there."""
    return f'IFERROR({column.formula},"{"mend the error value" if column.key.endswith("check") else ""}")'


def left_out(book: Book, column: Column) -> bool:
    """The native roll-up of harvests is rows x events: too slow in big workbooks, which get it from the refresh."""
    return column.key == "harvested" and book.rows > LIVE_HARVEST_ROWS


def _header_look(column: Column) -> str:
    side = "_right" if column.looks in RIGHT and column.kind != ROWKEY else ""
    return ("header_typed" if column.typed or column.kind == ROWKEY else "header_computed") + side


def _fill(book: Book, sheet, table: Table, first: int, left: int, rows: int) -> None:
    typed_rows = book.env.rows[table.key]
    prefix = ROW_KEY_LETTER.get(table.key, "")
    for r in range(rows):
        row = typed_rows[r] if r < len(typed_rows) else {}
        cells = _row_cells(table, first + r, left)
        for i, column in enumerate(table.columns):
            if column.kind == ROWKEY:
                sheet.write_string(first + r, left + i, row.get(column.key) or f"{prefix}{r + 1:05d}", book.looks["rowkey"])
            elif column.formula and not left_out(book, column):
                book.write_formula(sheet, first + r, left + i, guarded(column), cells, column.twin(row, book.env), f"computed_{column.looks}")
            elif column.formula:
                sheet.write_blank(first + r, left + i, None, book.looks["computed_text"])
            else:
                book.write(sheet, first + r, left + i, row.get(column.key), f"input_{column.looks}")


def _validate(book: Book, sheet, column: Column, header: int, first: int, rows: int, col: int) -> None:
    """A drop-down or a soft check on the column, and its help when the header is selected."""
    if column.help:
        sheet.data_validation(header, col, header, col, {"validate": "any", "input_title": column.title[:32],
                                                         "input_message": column.help[:255]})
    rule = {"ignore_blank": True, "error_type": "warning"}
    if column.kind in (CHOICE, YESNO) and column.list:
        source = f"={schema.LIST_NAMES[column.list]}" if column.list in schema.LIST_NAMES else list(schema.LISTS[column.list])
        rule |= {"validate": "list", "source": source, "error_title": column.title[:32],
                 "error_message": "This is not in the list. Keep it only if you mean to add it on Lists."}
    elif column.kind == NUMBER:
        unit = column.unit_name(book.profile)
        hint = 'Text such as 4\'2" is read at refresh.' if column.quantity else "Text is read at refresh if it can be."
        rule |= {"validate": "decimal", "criteria": "between", "minimum": -1e9, "maximum": 1e9, "error_title": column.title[:32],
                 "error_message": f"A plain number{' in ' + unit if unit else ''} is computed live. {hint} Keep it as typed?"}
    elif column.kind == DATE:
        rule |= {"validate": "date", "criteria": "between", "minimum": dt.date(1990, 1, 1), "maximum": dt.date(2100, 1, 1),
                 "error_title": column.title[:32], "error_message": "A date such as 1 Mar 2026 is wanted here. Keep it as typed?"}
    else:
        return
    sheet.data_validation(first, col, first + rows - 1, col, rule)


def _sheet_heading(book: Book, sheet, table: Table, header: int) -> None:
    sheet.write_string(0, 0, table.title, book.looks["title"])
    sheet.set_row(0, 26)
    sheet.write_string(1, 0, table.about, book.looks["about"])
    _caution(book, sheet, table.sheet, 2, len(table.columns) - 2)
    bands = []
    for i, column in enumerate(table.columns):
        kind = "needed" if column.needed else "computed" if not column.typed else "typed"
        if column.kind == ROWKEY:
            kind = "rowkey"
        if not bands or bands[-1][0] != kind:
            bands.append([kind, i, i])
        bands[-1][2] = i
    words = {"needed": "TYPE THESE", "computed": "WORKED OUT LIVE", "typed": "ADD WHEN YOU HAVE IT"}
    for kind, start, end in bands:
        if kind == "rowkey":
            continue
        for i in range(start, end + 1):
            sheet.write_string(header - 1, i, words[kind] if i == start and end > start else "", book.looks[f"band_{kind}"])
    sheet.set_row(header, 42)
    sheet.freeze_panes(header + 1, 1)
    last = max(i for i, c in enumerate(table.columns) if not c.typed and c.kind != ROWKEY)
    set_page(sheet, book.profile, landscape=True, repeat=(header - 1, header), footer=f"{book.env.settings['yard']}")
    rows = guarded_rows(table, book.rows, len(book.env.rows[table.key]))
    sheet.print_area(0, 0, header + rows, max(last, 4) if table.key == "logs" else len(table.columns) - 2)
    if table.key == "logs":
        _logs_totals(book, sheet, table, header)
    warn = book.workbook.add_format({"bold": True, "font_color": "#7A2E1D"})
    for i, column in enumerate(table.columns):
        if column.key.endswith("check") or column.key == "lift":
            letter = xl_col_to_name(i)
            sheet.conditional_format(header + 1, i, header + rows, i, {
                "type": "formula", "format": warn,
                "criteria": f'=AND(${letter}{header + 2}<>"",LEFT(${letter}{header + 2},2)<>"ok",LEFT(${letter}{header + 2},3)<>"log")'})


def _logs_totals(book: Book, sheet, table: Table, header: int) -> None:
    """Totals over all rows, above the column heads."""
    rows = guarded_rows(table, book.rows, len(book.env.rows["logs"]))
    spots = {c.key: i for i, c in enumerate(table.columns)}

    def span(key):
        letter = xl_col_to_name(spots[key])
        return f"${letter}${header + 2}:${letter}${header + 1 + rows}"

    sheet.write_string(header - 2, spots["inoculated"], "All rows", book.looks["strong"])
    for key, times in LOG_TOTALS.items():
        formula = f"SUMPRODUCT({span('in_row')},{span(key)})" if times else f"SUM({span(key)})"
        book.write_formula(sheet, header - 2, spots[key], formula, {}, logs_total(key, book.env), f"total_{table.column(key).looks}", single=True)


# Columns of Logs with a total over all rows above their heading; True: each row times its logs.
LOG_TOTALS = {"in_row": False, "plugs": False, "spawn": False, "wax": False, "harvested": False, "holes": True}


def logs_total(key: str, env: Env) -> float:
    """What stands above a column of Logs: its sum over all rows."""
    table = schema.table("logs")
    pairs = [(table.column(key).twin(r, env), table.column("in_row").twin(r, env) if LOG_TOTALS[key] else 1) for r in env.rows["logs"]]
    return sum(v * n for v, n in pairs if v not in ("", None) and n not in ("", None))


def _caution(book: Book, sheet, name: str, row: int, last: int) -> None:
    """The caution of a sheet, if it has one, over the columns up to `last`."""
    if name in cautions.SHEETS:
        sheet.merge_range(row, 0, row, last, cautions.SHEETS[name], book.looks["caution"])
        sheet.set_row(row, 30)


def _list_heading(book: Book, sheet, table: Table, header: int, left: int) -> None:
    right = left + len(table.columns) - 1
    if left == 0:
        sheet.write_string(0, 0, "Lists", book.looks["title"])
        sheet.write_string(1, 0, "What the drop-downs offer. Change, add and price what is yours; the figures that came with the book "
                                 "are explained on Sources.", book.looks["about"])
        sheet.set_row(0, 26)
        sheet.set_row(header - 1, 54)
        sheet.set_row(header, 42)
        sheet.freeze_panes(header + 1, 0)
        for spot, other in enumerate(schema.LIST_TABLES):
            _, other_left = table_spot(other)
            sheet.write_url(2 + spot // 6, (0, 1, 3, 5, 7, 8)[spot % 6], f"internal:'Lists'!{xl_rowcol_to_cell(header - 2, other_left)}",
                            book.looks["link"], other.title)
        set_page(sheet, book.profile, landscape=True, repeat=(header - 2, header), footer=str(book.env.settings["yard"]))
        sheet.fit_to_pages(0, 0)
        sheet.set_print_scale(70)
        sheet.set_v_pagebreaks([table_spot(t)[1] for t in schema.LIST_TABLES[1:]])
    sheet.write_string(header - 2, left, table.title, book.looks["section"])
    if right > left:
        sheet.merge_range(header - 1, left, header - 1, right, table.about, book.looks["about_wrapped"])
    else:
        sheet.write_string(header - 1, left, table.about, book.looks["about_wrapped"])


# ---- settings ----------------------------------------------------------------------------------------------------

def _draw_settings(book: Book) -> None:
    sheet, profile, env = book.sheet("Settings"), book.profile, book.env
    sheet.write_string(0, 0, "Settings", book.looks["title"])
    sheet.set_row(0, 26)
    sheet.write_string(1, 0, "One row, one choice. Type over a value to make it yours; beside it stands where the starting value comes from.",
                       book.looks["about"])
    for i, width in enumerate((36, 24, 14, 10, 66, 52)):
        sheet.set_column(i, i, width)
    _caution(book, sheet, "Settings", 2, 4)
    row = 3
    for i, words in enumerate(("Setting", "Value", "In force", "Unit", "Where the starting value comes from", "What it does")):
        sheet.write_string(row, i, words, book.looks["header"])
    group = None
    for setting in SETTINGS:
        if setting.group != group:
            group, row = setting.group, row + 2
            for i in range(6):
                sheet.write_string(row, i, group if i == 0 else "", book.looks["section"])
        row += 1
        sheet.write_string(row, 0, setting.title, book.looks["label"])
        book.write(sheet, row, 1, book.yard.settings.get(setting.key, setting.start(profile)), f"input_{setting.looks}")
        sheet.write_string(row, 3, setting.unit_name(profile), book.looks["unit"])
        sheet.write_string(row, 4, setting.basis(profile), book.looks["label_wrapped"])
        sheet.write_string(row, 5, setting.help, book.looks["label_wrapped"])
        lines = max(1 + len(setting.basis(profile)) // 76, 1 + len(setting.help) // 60)
        if lines > 1:
            sheet.set_row(row, 13.5 * lines)
        book.workbook.define_name(f"typed_{setting.key}", f"=Settings!$B${row + 1}")
        if setting.key != "as_of_typed":
            book.write_formula(sheet, row, 2, _in_force(setting, f"$B${row + 1}", profile), {},
                               "" if env.settings[setting.key] is None else env.settings[setting.key],
                               f"computed_{setting.looks}", single=True)
            book.workbook.define_name(f"set_{setting.key}", f"=Settings!$C${row + 1}")
        _validate_setting(sheet, setting, row)
        if setting.key == "as_of_typed":
            typed = f"$B${row + 1}"
            book.write_formula(sheet, row, 2, f"IF(ISNUMBER({typed}),{typed},TODAY())", {}, env.as_of, "computed_date")
            book.workbook.define_name("set_as_of", f"=Settings!$C${row + 1}")
    sheet.freeze_panes(4, 1)
    set_page(sheet, profile, landscape=True, repeat=(3, 3), footer=str(env.settings["yard"]))


def _in_force(setting, cell: str, profile: str) -> str:
    """The value used, natively: what was typed where it can be, else the starting value."""
    start = setting.start(profile)
    shown = '""' if start is None else f'"{start}"' if isinstance(start, str) else repr(start)
    if setting.kind != "number":
        return f'IF({cell}="",{shown},{cell})'
    return f"IF(ISNUMBER({cell}),IF({cell}<{setting.low!r},{shown},IF({cell}>{setting.high!r},{shown},{cell})),{shown})"


def _validate_setting(sheet, setting, row: int) -> None:
    if setting.kind == "choice":
        source = f"={schema.LIST_NAMES[setting.list]}" if setting.list in schema.LIST_NAMES else list(schema.LISTS[setting.list])
        sheet.data_validation(row, 1, row, 1, {"validate": "list", "source": source, "error_type": "warning"})
    elif setting.kind == "date":
        sheet.data_validation(row, 1, row, 1, {"validate": "date", "criteria": ">", "value": dt.date(1990, 1, 1),
                                               "ignore_blank": True, "error_type": "warning"})
    elif setting.kind == "number":
        sheet.data_validation(row, 1, row, 1, {
            "validate": "decimal", "criteria": "between", "minimum": setting.low, "maximum": setting.high, "error_type": "warning",
            "error_title": setting.title[:32], "error_message": f"Usual values lie between {setting.low:g} and {setting.high:g}."})


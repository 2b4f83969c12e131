"""The result sheets in words: Start, Problems, Sources."""
from __future__ import annotations

from calc import functions, tables
from calc.problems import QUESTION, REFUSED, rows_left_out
from workbook_template import cautions
from workbook_template.looks import RESULT_LOOKS
from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import day, take_care
from workbook_template.sheets.view import KIND_LOOKS, View

GUIDE = (
    "1.  On Logs, type a row for each log: Log, Wood, Strain, Diameter, Length. Weights, holes, spawn and wax appear beside them.",
    "2.  On Plan, ask what a tree or a pile of bolts needs, before you cut or buy.",
    "3.  On Events, write one line whenever something happens: picked, watered, soaked, worked. The Field sheet prints for the clipboard.",
    "4.  On Costs and Sales, write what you spend and what goes to market.",
    "5.  Run a refresh to fill this page and the other result sheets: boltbook refresh and the name of this file, or "
    "the menu Boltbook in LibreOffice, or the button in an .xlsm.",
)
LEVEL_WORDS = {REFUSED: "left out", QUESTION: "please check"}


def start(view: View) -> ResultSheet:
    sheet = ResultSheet("Start", [50, 15, 13, 13, 16, 64, 9], freeze=(3, 0))
    sheet.heading(view.yard, "Boltbook: what the logs give, cost and owe. These result sheets are written by a refresh; type on the others.")
    if view.results is None:
        sheet.put(2, 0, "Not refreshed yet.", "strong")
        row = 4
    else:
        sheet.put(2, 0, f"As of {day(view.as_of)}. {view.stamp}", "strong")
        row = _answers(sheet, view, 4)
        row = _balances(sheet, view, row + 1)
        row = _problem_lines(sheet, view, row + 1)
    sheet.section(row, "How it works")
    for i, words in enumerate(GUIDE):
        sheet.put(row + 1 + i, 0, words, "label")
    row += len(GUIDE) + 2
    take_care(sheet, row, cautions.START)
    return sheet


def _answers(sheet: ResultSheet, view: View, row: int) -> int:
    sheet.section(row, "What matters now")
    for i, (words, look) in enumerate((("Question", "header"), ("Answer", "header_right"), ("Low", "header_right"), ("High", "header_right"),
                                       ("Unit", "header"), ("Which, and what was assumed", "header"), ("Lines", "header_right"))):
        sheet.put(row + 1, i, words, look)
    row += 2
    for answer in view.results.answers:
        look = f"cell_{KIND_LOOKS[answer.kind]}"
        sheet.put(row, 0, answer.question, "cell_text")
        value = view.number(answer.value, answer.kind)
        sheet.put(row, 1, "see right" if value is None and answer.text else "not known yet" if value is None else value, look)
        sheet.put(row, 2, view.number(answer.low, answer.kind), look)
        sheet.put(row, 3, view.number(answer.high, answer.kind), look)
        sheet.put(row, 4, "" if answer.kind == "share" else view.unit(answer.kind), "cell_text")
        words = ". ".join(w[0].upper() + w[1:] for w in (answer.text, answer.assumed) if w)
        sheet.put(row, 5, words, "cell_wrapped")
        sheet.put(row, 6, answer.rows, "cell_whole")
        sheet.heights[row] = 15 if len(words) <= 78 else 13 * (1 + len(words) // 78) + 2
        row += 1
    return row


def _balances(sheet: ResultSheet, view: View, row: int) -> int:
    sheet.section(row, "Does everything add up? What goes in must come out")
    row += 1
    for balance in view.results.balances:
        look = KIND_LOOKS[balance.kind]
        unit = view.unit(balance.kind)
        title = balance.name.capitalize() + (f", {balance.market}" if balance.market else "") + (f" ({unit})" if unit else "")
        verdict = "closes" if balance.closes else "does not close: look for a missing line"
        sheet.put(row, 0, title, "strong")
        sheet.put(row, 1, verdict, "strong")
        sheet.put(row + 1, 0, balance.in_label, "label")
        sheet.put(row + 1, 1, view.number(balance.in_value, balance.kind), f"cell_{look}")
        row += 2
        for label, value in balance.lines:
            if value:
                sheet.put(row, 0, f"    {label}", "label")
                sheet.put(row, 2, view.number(value, balance.kind), f"cell_{look}")
                row += 1
        sheet.put(row, 0, "    unexplained", "label")
        sheet.put(row, 2, view.number(balance.unexplained, balance.kind), f"total_{look}")
        for note in balance.notes:
            sheet.put(row, 5, note, "cell_wrapped")
            sheet.heights[row] = max(15, 13 * (1 + len(note) // 62))
            row += 1
        row += 1 if not balance.notes else 0
    return row


def _problem_lines(sheet: ResultSheet, view: View, row: int) -> int:
    questions = sum(p.level == QUESTION for p in view.problems)
    left = rows_left_out(view.counts)
    sheet.section(row, "Problems")
    used = ", ".join(f"{name.capitalize()} {view.counts[name][1]} of {view.counts[name][0]}"
                     for name in ("logs", "events", "costs", "sales", "promises") if view.counts.get(name, (0, 0))[0])
    sheet.put(row + 1, 0, f"Rows left out: {left}. To check: {questions}. Rows used: {used or 'none typed yet'}.", "label")
    sheet.put(row + 2, 0, "Each one stands on Problems with what to type instead." if view.problems else "Nothing to put right.", "label")
    return row + 4


PROBLEM_COLUMNS = (("Level", 13), ("Sheet", 10), ("Row", 8), ("Column", 21), ("What was found", 52), ("What is needed", 32), ("What to do", 54))


def problems(view: View) -> ResultSheet:
    sheet = ResultSheet("Problems", [w for _, w in PROBLEM_COLUMNS], freeze=(5, 0), repeat=(4, 4))
    sheet.heading("Problems", "left out: the row is not in any total until it is mended. please check: it is used, but looks odd. "
                              "note: used, and this is how it was read.")
    if view.results is None:
        sheet.put(2, 0, "Filled by a refresh.", "about")
    else:
        kinds = (REFUSED, QUESTION)
        sheet.put(2, 0, f"{rows_left_out(view.counts)} rows left out, {sum(p.level == QUESTION for p in view.problems)} to check, "
                        f"{sum(p.level not in kinds for p in view.problems)} notes. Your rows are never changed: mend them and refresh.", "about")
    rows = [(LEVEL_WORDS.get(p.level, p.level), p.sheet, p.row, p.column or "", p.found, p.needed, p.do) for p in view.problems]
    columns = [list(c) for c in zip(*rows, strict=True)] if rows else [["none"]] + [[None]] * 6
    looks = ("text", "text", "whole", "text", "wrapped", "wrapped", "wrapped")
    end = sheet.table(4, 0, [(h, look) for (h, _), look in zip(PROBLEM_COLUMNS, looks, strict=True)], columns)
    for i, row in enumerate(rows):
        lines = max(1 + len(str(row[c] or '')) // int(PROBLEM_COLUMNS[c][1] * 1.15) for c in (4, 5, 6))
        sheet.heights[5 + i] = 13.5 * lines + 2
    sheet.filter, sheet.table_name = (4, 0, end - 1, len(PROBLEM_COLUMNS) - 1), "Problem_list"
    return sheet


def sources(view: View) -> ResultSheet:
    sheet = ResultSheet("Sources", [34, 40, 11, 11, 11, 15, 19, 62], freeze=(3, 0))
    sheet.heading("Sources", "Where every starting figure comes from, what was read, and every calculation by name. "
                             "Your own figures on Settings and Lists replace them.")
    sheet.section(3, "Figures")
    figures = list(tables.figures().values())
    heads = [("Figure", "text"), ("What it is", "wrapped"), ("Low", "plain"), ("Typical", "plain"), ("High", "plain"), ("Unit", "text"),
             ("Basis", "text"), ("Source and place", "wrapped")]
    columns = [[f.subject for f in figures], [f.quantity for f in figures],
               *([_short(getattr(f, end)) for f in figures] for end in ("low", "typical", "high")),
               [f.unit for f in figures], [f.basis for f in figures], [figure_source(f) for f in figures]]
    end = sheet.table(4, 0, heads, columns)
    for i in range(len(figures)):
        lines = max(1 + len(str(columns[1][i])) // 46, 1 + len(columns[7][i]) // 74)
        sheet.heights[5 + i] = 13 * lines + 2
    end = _publications(sheet, end + 1)
    end = _functions(sheet, view, end + 1)
    _looks(sheet, end + 1)
    return sheet


def _short(value):
    """A figure as it is read: six digits are more than any source prints."""
    return None if value is None else float(f"{value:.6g}")


def figure_source(figure) -> str:
    source = tables.source_words(figure.source) if figure.basis in ("published", "derived", "definition") else ""
    return "; ".join(w for w in (source, figure.locator, figure.note) if w)


def _publications(sheet: ResultSheet, row: int) -> int:
    sheet.section(row, "Publications")
    found = list(tables.sources().values())
    columns = [[s.authors for s in found], [s.title for s in found], [s.year for s in found], [s.seen for s in found],
               [s.publisher for s in found]]
    heads = [("Author or agency", "wrapped"), ("Title", "wrapped"), ("Year", "plain"), ("Read as", "text"), ("Publisher", "text")]
    sheet.table(row + 1, 0, heads, columns)
    for i, source in enumerate(found):
        sheet.heights[row + 2 + i] = 13 * max(1 + len(source.title) // 46, 1 + len(source.authors) // 38) + 2
    return row + 2 + len(found)


def _functions(sheet: ResultSheet, view: View, row: int) -> int:
    sheet.section(row, "Functions, for cells of your own once the add-in is there, and on the command line")
    rows = []
    for function in functions.REGISTRY:
        name = ", ".join(f"[{a.name}]" if a.optional else a.name for a in function.args)
        rows.append((f"{function.name}", function.result, "; ".join(tables.source_words(s) for s in function.sources), f"{function.name}({name})"))
    sheet.put(row + 1, 0, "Function", "header")
    sheet.put(row + 1, 1, "What it gives", "header")
    for col in range(2, 7):
        sheet.put(row + 1, col, "Arguments" if col == 2 else "", "header")
    sheet.put(row + 1, 7, "Source", "header")
    for i, (name, result, source, written) in enumerate(rows):
        at = row + 2 + i
        sheet.put(at, 0, name, "label")
        sheet.put(at, 1, result, "label_wrapped")
        sheet.put(at, 2, written.partition("(")[2].join(("(", "")), "label")
        sheet.put(at, 7, source, "label_wrapped")
        sheet.heights[at] = 13 * max(1 + len(result) // 46, 1 + len(source) // 74) + 2
    return row + 2 + len(rows)


LOOKS_TITLE = "Key to the looks; a refresh uses these cells, so leave them here"


def _looks(sheet: ResultSheet, row: int) -> None:
    """Samples of every look, from which a refresh learns the style numbers of the file."""
    sheet.section(row, LOOKS_TITLE)
    for i, look in enumerate(RESULT_LOOKS):
        sheet.put(row + 1 + i, 0, look.replace("_", " "), "label")
        sheet.put(row + 1 + i, 1, "sample", look)

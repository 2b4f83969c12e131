"""The extension in a real LibreOffice: worksheet functions in cells, and what the Function Wizard shows."""
from __future__ import annotations

import math
import shutil

import live_cases
import pytest
from live_cases import EMPTY
from office_live import installed, letters

from calc import functions, tables
from workbook_template import calc_command
from workbook_template.addin import declarations, oxt

RESULT_AT = 40  # column of the test sheet
WIDTH = max(len(function.args) for function in functions.REGISTRY)
ADD_IN = 11  # com.sun.star.sheet.FunctionCategory.ADDINS


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    live = installed(tmp_path_factory.mktemp("live")).office()
    yield live
    live.end()


@pytest.fixture
def book(office):
    number = office.new()
    yield number
    office.close(number)


def same(seen, wanted):
    if isinstance(wanted, int):  # an error
        return seen[0][0] == {"error": wanted}
    if len(seen) < len(wanted) or any(len(s) < len(w) for s, w in zip(seen, wanted, strict=False)):
        return False
    pairs = [(seen[r][c], cell) for r, row in enumerate(wanted) for c, cell in enumerate(row)]
    return all(s is None if w is None else isinstance(s, float) and math.isclose(s, w, rel_tol=1e-12)
               for s, w in pairs)


def argument(cell, column, row):
    """One argument of a formula: the place of its cells, or nothing, or what no plain cell can hold."""
    if cell is None:
        return ""
    if isinstance(cell, bool) or cell == "":
        return live_cases.literal(cell)
    first = f"{letters(column)}{row + 1}"
    return f"{first}:{letters(column)}{row + len(cell)}" if isinstance(cell, (list, tuple)) else first


def place(calls):
    """Where everything goes: rows of cells to put, and the formula of each call that points to them."""
    rows, formulas, spots = [], [], []
    for call in calls:
        top, wanted = len(rows), live_cases.expected(call)
        columns = [cell if isinstance(cell, (list, tuple)) else [cell] for cell in call.cells]
        tall = max([*map(len, columns), len(wanted) if isinstance(wanted, list) else 1])
        block = [[""] * WIDTH for _ in range(tall)]
        for c, column in enumerate(columns):
            for r, item in enumerate(column):
                block[r][c] = "" if item is EMPTY or item is None else item
        given = [argument(cell, c, top) for c, cell in enumerate(call.cells)]
        rows += block
        wide = len(wanted[0]) if isinstance(wanted, list) else 1
        first = f"{letters(RESULT_AT)}{top + 1}"
        area = f"{first}:{letters(RESULT_AT + wide - 1)}{top + tall}"
        address = area if call.function.is_array else first
        formulas.append([address, f"={call.function.dot_name}({';'.join(given)})"])
        spots.append((top, tall, wide, wanted))
    return rows, formulas, spots


def run(office, book, calls):
    """Put the calls into the first sheet; returns (formula, seen, wanted) of each."""
    rows, formulas, spots = place(calls)
    office.put(book, 0, f"A1:{letters(WIDTH - 1)}{len(rows)}", rows)
    office.formulas(book, 0, formulas)
    width = max(wide for _, _, wide, _ in spots)
    seen = office.values(book, 0, f"{letters(RESULT_AT)}1:{letters(RESULT_AT + width - 1)}{len(rows)}")
    return [(text, [row[:wide] for row in seen[top:top + tall]], wanted)
            for (_, text), (top, tall, wide, wanted) in zip(formulas, spots, strict=True)]


def test_the_command_installed_the_extension_in_this_version(office):
    assert office.extensions() == [[oxt.IDENTIFIER, oxt.version()]]


def test_the_command_takes_the_extension_out_again(tmp_path):
    install = installed(tmp_path)
    assert list(tmp_path.rglob("office.json"))
    code, said = install.run("--uninstall")
    assert code == 0 and not list(tmp_path.rglob("office.json")), said
    code, said = install.run("--uninstall")
    assert code == 3 and "nothing to take out" in said
    shutil.rmtree(install.profile)


def test_every_function_in_a_cell_is_the_calculation(office, book):
    calls = live_cases.calls()
    outcomes = run(office, book, calls)
    wrong = [outcome for outcome in outcomes if not same(*outcome[1:])]
    assert not wrong, wrong[:5]
    wanted = [(call.function.name, outcome[2]) for call, outcome in zip(calls, outcomes, strict=True)]
    good = {name for name, value in wanted if isinstance(value, list)}
    bad = {name for name, value in wanted if isinstance(value, int)}
    assert good == bad == {function.name for function in functions.REGISTRY}
    assert {value for _, value in wanted if isinstance(value, int)} == set(live_cases.CODES.values())


def word(cell):
    """A cell as it is typed on the command line."""
    return ",".join(map(word, cell)) if isinstance(cell, tuple) else "" if cell is None else str(cell)


def test_numbers_typed_into_the_formula(office, book):
    calls = live_cases.examples()
    formulas = [[f"A{i + 1}", f"={call.function.dot_name}({';'.join(map(live_cases.literal, call.cells))})"]
                for i, call in enumerate(calls)]
    office.formulas(book, 0, formulas)
    seen = [row[0] for row in office.values(book, 0, f"A1:A{len(calls)}")]
    answers = [calc_command.run(call.function.name, [word(cell) for cell in call.cells], "us") for call in calls]
    wanted = [answer.value[0][0] if answer.is_array else answer.value for answer in answers]  # what boltbook calc prints
    assert seen == pytest.approx(wanted, rel=1e-12)


def test_odd_cells_that_calc_answers_itself(office, book):
    office.put(book, 0, "A1:A3", [[-100], [39], [80]])
    office.formulas(book, 0, [
        ["A4", "=1/0"],
        ["B1", "=BOLT.VOLUME(1/0;5;48)"],  # the error in the cell goes through
        ["B2", "=BOLT.IRR(A1:A4)"],  # Calc hands over no range that holds an error
        ["B3", '=BOLT.VOLUME(4;5;48;"us";1)'],  # one argument too many
        ["B4", "=BOLT.VOLUME(A1:A3;5;48)"],  # a range where one cell is wanted
        ["B5", "=IFERROR(BOLT.VOLUME(-4;5;48);7)"],
        ["B6", "=BOLT.VOLUME()"],
        ["B7", "=SUM(BOLT.PACKS(600;{100;500;1000};{9;35;60}))"],  # 1 + 1 + 0 packs, 44.00, 0 left over
        ["B8", "=BOLT.DRY_WEIGHT(\"white oak\";5;;40;2)"],
    ])
    seen = [row[0] for row in office.values(book, 0, "B1:B8")]
    assert seen == [{"error": 532}, {"error": 504}, {"error": 504}, {"error": 519}, 7.0, {"error": 519}, 46.0,
                    {"error": 519}]
    assert office.text(book, 0, "B1:B1") == [["#DIV/0!"]]


def test_an_unknown_cost_is_an_empty_cell(office, book):
    office.formulas(book, 0, [["A1:E1", "=BOLT.PACKS(600;{100;500;1000})"]])
    assert office.values(book, 0, "A1:E1") == [[1.0, 1.0, 0.0, None, 0.0]]


@pytest.mark.parametrize("ending", ["ods", "xlsx"])
def test_values_survive_save_and_reload(office, book, tmp_path, ending):
    calls = list(map(live_cases.whole, live_cases.examples()))
    before = run(office, book, calls)
    path = str(tmp_path / f"functions.{ending}")
    office.save(book, path)
    again = office.open(path)
    _, formulas, spots = place(calls)
    corners = [f"{letters(RESULT_AT)}{top + 1}" for top, *_ in spots]
    for _ in range(2):
        last = spots[-1][0] + spots[-1][1]
        seen = office.values(again, 0, f"{letters(RESULT_AT)}1:{letters(RESULT_AT + 9)}{last}")
        after = [[row[:wide] for row in seen[top:top + tall]] for top, tall, wide, _ in spots]
        assert all(same(now, then) for now, (_, then, _) in zip(after, before, strict=True))
        office.recalculate(again)
    texts = office.formula_texts(again, 0, corners)
    assert [text.strip("{}").partition("(")[0].upper() for text in texts] == [
        "=" + call.function.dot_name for call in calls]
    office.close(again)


def test_the_function_wizard_shows_the_registry(office):
    shown = office.functions("BOLT.")
    assert set(shown) == {function.dot_name for function in functions.REGISTRY}
    for function in functions.REGISTRY:
        about = shown[function.dot_name]
        assert about["description"] == declarations.description(function)
        assert all(tables.source_words(key) in about["description"] for key in function.sources)
        assert [[name, words] for name, words, _ in about["arguments"]] == [
            [arg.name.replace("_", " "), declarations.argument_help(arg)] for arg in function.args]
    assert {about["category"] for about in shown.values()} == {ADD_IN}

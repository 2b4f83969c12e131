"""Calls of every worksheet function for a real Calc: examples, both units, arguments left out, bad ones."""
from __future__ import annotations

from typing import NamedTuple

from calc import functions
from calc.arguments import BadArgument

EMPTY = object()  # an argument that points to an empty cell
ODD = (EMPTY, "words", "4", "", -1.0, 0.0, 0.5, 1.0, 7.25, 1e300, True)
LISTS_EVERY_HOLE = {"BOLT_DRILL_MAP"}  # its result grows with the log, so no log without end for it
ODD_LISTS = (EMPTY, (EMPTY, EMPTY), (1.0, "words"), ("4", 2.0), (5.0, EMPTY, 7.0), (-1.0, 3.0), (0.0, 0.0),
             40.0)
CODES = {"#VALUE!": 519, "#NUM!": 503, "#N/A": 0x7FFF}


class Call(NamedTuple):
    function: functions.Function
    cells: tuple  # what each argument's cell holds; None: left out of the formula


def examples():
    """The registry's own example of each function."""
    return [Call(function, function.example[0]) for function in functions.REGISTRY]


def whole(call):
    """The call with every argument there, None for the ones left out at the end."""
    return Call(call.function, call.cells + (None,) * (len(call.function.args) - len(call.cells)))


def calls():
    """Examples, in both units where there are two, and each argument in turn as something else."""
    found = []
    for call in map(whole, examples()):
        found.append(call)
        for i, arg in enumerate(call.function.args):
            if arg.kind == "units":
                found += [with_cell(call, i, word) for word in ("metric", "us", " Metric ", "yards", 5.0)]
            odd = ODD_LISTS if arg.kind == "list" else ODD
            odd = [cell for cell in odd if cell != 1e300 or call.function.name not in LISTS_EVERY_HOLE]
            found += [with_cell(call, i, cell) for cell in [*odd, *[None] * arg.optional]]
    return found


def with_cell(call, place, cell):
    """The call with one argument changed."""
    return Call(call.function, call.cells[:place] + (cell,) + call.cells[place + 1:])


def arrives(arg, cell):
    """What Calc hands over: an empty cell as 0, unless that can only mean left out; a true cell as 1."""
    if isinstance(cell, (list, tuple)):
        return [[None if item is EMPTY else item] for item in cell]
    cell = 0.0 if cell is EMPTY else cell
    if cell == 0.0 and (arg.kind == "units" or (arg.kind == "list" and arg.optional)):
        return None
    return float(cell) if isinstance(cell, bool) else cell


def expected(call):
    """What calc.functions.evaluate says: rows of numbers, or the code of the error value."""
    given = [arrives(arg, cell) for arg, cell in zip(call.function.args, call.cells, strict=True)]
    try:
        value = functions.evaluate(call.function.name, *given)
    except BadArgument as problem:
        return CODES[problem.host_error]
    return value if call.function.is_array else [[value]]


def literal(cell):
    """A cell's content as it is typed into a formula."""
    if isinstance(cell, (list, tuple)):
        return "{" + ";".join(literal(item) for item in cell) + "}"
    if isinstance(cell, bool):
        return "TRUE()" if cell else "FALSE()"
    return "" if cell is None else f'"{cell}"' if isinstance(cell, str) else repr(cell)

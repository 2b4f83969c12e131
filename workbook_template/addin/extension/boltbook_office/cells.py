"""What a Calc cell hands to a worksheet function, and what the function hands back.

Numbers arrive as floats, text as text, ranges as tuples of rows, an argument left out as None. An empty cell
arrives as 0.0, so a lone 0 counts as left out where 0 could not be meant: for `units`, and for a list that
may be left out.
"""
from __future__ import annotations

import struct

from boltbook_kernel import functions
from boltbook_kernel.arguments import NOT_FOUND, NUM, VALUE, BadArgument

CODES = {VALUE: 519, NUM: 503, NOT_FOUND: 0x7FFF}


def error(code):
    """A number that Calc shows as an error: a NaN whose low bits carry the error's code."""
    return struct.unpack("<d", struct.pack("<Q", 0x7FF8000000000000 | code))[0]


def taken(arg, cell):
    """A cell as the registry takes it."""
    if arg.kind == "units" or (arg.kind == "list" and arg.optional):
        return None if cell == 0.0 else cell
    return cell


def shown(value):
    """A result as Calc takes it: numbers as floats, an unknown one as an empty text."""
    if isinstance(value, (list, tuple)):
        width = max(len(row) for row in value)
        return tuple(tuple(shown(cell) for cell in row) + ("",) * (width - len(row)) for row in value)
    if value is None:
        return ""
    return value if isinstance(value, str) else float(value)


def answer(function, given):
    """The result of a function for the cells given, or the error value it gets."""
    try:
        used = [taken(function.args[i], cell) for i, cell in enumerate(given)]
        return shown(functions.evaluate(function.name, *used))
    except BadArgument as problem:
        bad = error(CODES[problem.host_error])
        return ((bad,),) if function.is_array else bad

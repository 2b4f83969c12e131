"""The worksheet functions as Excel calls them on Windows, through the COM server of xlwings.

The VBA module made by excel_text.py names this module. Nothing is decorated on Linux and Mac, where xlwings has no
such server.
"""
from __future__ import annotations

import inspect
import sys

from calc import functions
from calc.arguments import BadArgument
from workbook_template.addin.excel_text import argument_help, description, given


def plain_function(function: functions.Function):
    """A worksheet function as a Python function: cells in; a number, rows of cells, or an error value such as "#NUM!"."""
    def call(*cells):
        try:
            return functions.evaluate(function.name, *cells)
        except BadArgument as bad:
            return bad.host_error

    call.__name__ = call.__qualname__ = function.name
    call.__doc__ = description(function)
    call.__signature__ = inspect.Signature([
        inspect.Parameter(name, inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None if optional else inspect.Parameter.empty)
        for name, optional in given(function)])
    return call


def for_excel(xlwings) -> dict[str, object]:
    """Every function with what xlwings must know of it; an error cell comes as its text."""
    made = {}
    for function in functions.REGISTRY:
        decorated = plain_function(function)
        for arg in function.args:
            decorated = xlwings.arg(arg.name, doc=argument_help(arg), err_to_str=True)(decorated)
        made[function.name] = xlwings.func(decorated, category="Boltbook")  # last: each argument would set it back
    return made


if sys.platform == "win32":
    import xlwings
    globals().update(for_excel(xlwings))

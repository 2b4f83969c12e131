"""What LibreOffice is told about the functions, from the registry: interface, names, texts, argument help."""
from __future__ import annotations

from xml.sax.saxutils import escape

from calc import arguments, functions, tables, units

SERVICE = "bolt"  # Calc writes SERVICE.METHOD into files: the service's name is the prefix of the functions
MODULE, INTERFACE = "boltbook", "XFunctions"
XCU = """<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
    oor:name="{name}" oor:package="org.openoffice.Office">
{body}</oor:component-data>
"""
REPLACE = ' oor:op="replace"'
_UNIT_WORDS = {"same weight": "any unit of weight, the same throughout",
               "same unit": "any unit, the same throughout", "same temperature": "deg F or deg C, the same throughout",
               "fraction": "a share, such as 0.25", "fraction a year": "a share a year, such as 0.05",
               "number": ""}


def method(function: functions.Function) -> str:
    """The method that stands for a function: BOLT_DRY_WEIGHT -> DRY_WEIGHT.

    Calc takes BOLT.DRY_WEIGHT in any case; the interface language allows an underscore between capitals only.
    """
    return function.name.removeprefix("BOLT_")


def parameter(arg: arguments.Arg) -> str:
    """The name of an argument in the interface, which takes no underscore and no word of its own."""
    return "a" + arg.name.replace("_", "")


def shown_parameter(arg: arguments.Arg) -> str:
    """The name of an argument in the Function Wizard."""
    return arg.name.replace("_", " ")


def interface() -> str:
    """The interface of the functions, in the office's interface language."""
    lines = []
    for function in functions.REGISTRY:
        result = "sequence< sequence< any > >" if function.is_array else "any"
        given = ", ".join(f"[in] any {parameter(arg)}" for arg in function.args)
        lines.append(f"    {result} {method(function)}({given});")
    return "\n".join([f"module {MODULE} {{", f"interface {INTERFACE} {{", *lines, "};", "};", ""])


def unit_mark(quantity) -> str:
    """A unit in brackets, after a space: " [in, metric cm]"; nothing for plain numbers."""
    us, metric = (_UNIT_WORDS.get(unit, unit) for unit in (arguments.unit_of(quantity, profile)
                                                           for profile in (units.US, units.METRIC)))
    return "" if not us else f" [{us}]" if us == metric else f" [{us}, metric {metric}]"


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def empty_cell(arg: arguments.Arg) -> str:
    """What an empty cell means for an argument that may be left out: the office hands it over as 0."""
    if not arg.optional or arg.kind in ("size", "units", "yes_no"):
        return ""
    if arg.kind == "list":
        return "A single empty cell counts as left out."
    if arg.default == 0.0:
        return ""
    means = "is an error here" if arg.above else "counts as 0"
    return f"An empty cell {means}: to leave it out, put nothing between the semicolons."


def argument_help(arg: arguments.Arg) -> str:
    """Meaning, unit, whether it must be given, and what an empty cell means."""
    words = [f"{arg.help}." if arg.kind == "units" else _sentence(arg.help + unit_mark(arg.quantity))]
    words.append("May be left out." if arg.optional else "Must be given.")  # the wizard calls every argument optional
    if empty_cell(arg):
        words.append(empty_cell(arg))
    return " ".join(words)


def result_words(function: functions.Function) -> str:
    """The result and its unit; for rows of cells, every column and how to enter the formula."""
    if not function.is_array:
        return _sentence(function.result + unit_mark(function.result_unit))
    columns = ", ".join(title + unit_mark(quantity) for title, quantity in function.result_unit)
    return f"{_sentence(function.result)} Columns: {columns}. An array formula: Ctrl+Shift+Enter."


def description(function: functions.Function) -> str:
    """What a function gives, its unit, the caution and the sources."""
    caution = f" {function.caution}" if function.caution else ""
    read = "; ".join(tables.source_words(key) for key in function.sources)
    return f"{result_words(function)}{caution} Source: {read}."


def prop(name: str, value: str, localized: bool = True) -> str:
    """A property of a configuration node."""
    mark = ' xml:lang="en"' if localized else ""
    return f'<prop oor:name="{name}"><value{mark}>{escape(value)}</value></prop>\n'


def node(name: str, body: str, replace: bool = True) -> str:
    """A configuration node; replace: it is an entry of a set, of our own."""
    return f'<node oor:name="{name}"{REPLACE if replace else ""}>\n{body}</node>\n'


def _function_node(function: functions.Function) -> str:
    given = "".join(node(parameter(arg), prop("DisplayName", shown_parameter(arg))
                         + prop("Description", argument_help(arg))) for arg in function.args)
    about = prop("DisplayName", function.dot_name) + prop("Description", description(function))
    about += prop("Category", "Add-In", localized=False) + prop("CompatibilityName", function.dot_name)
    return node(method(function), about + node("Parameters", given, replace=False))


def calc_addins() -> str:
    """Names, descriptions, categories and argument help of the functions."""
    made = "".join(_function_node(function) for function in functions.REGISTRY)
    inside = node(SERVICE, node("AddInFunctions", made, replace=False))
    return XCU.format(name="CalcAddIns", body=node("AddInInfo", inside, replace=False))

"""The worksheet functions as a VBA module for Excel on Windows, made from the registry.

Each VBA function hands its cells to Python (excel_functions.py) through the COM server of the xlwings add-in, and shows
what comes back; an answer such as #NUM! becomes Excel's own error value.
"""
from __future__ import annotations

import re

from calc import arguments, functions, tables, units

MODULE = "BoltbookFunctions"
PYTHON_MODULE = "workbook_template.addin.excel_functions"
LONGEST = 255  # characters that Excel keeps of a description, of a function or of an argument

# Words that VBA keeps for itself: no function and no argument may be called so. Source: the language's published
# specification, [MS-VBAL] 3.3.5.2.
VBA_WORDS = frozenset("""abs addressof alias and any array as attribute base boolean byref byte byval call case cbool cbyte ccur cdate
    cdbl cdecl cdecimal cint circle clng clnglng clngptr close compare const csng cstr currency cvar cverr database date debug decimal declare
    defbool defbyte defcur defdate defdbl defdec defint deflng deflnglng deflngptr defobj defsng defstr defvar dim do doevents double each
    else elseif empty end endif enum eqv erase error event exit explicit false fix for friend function get global go gosub goto if imp
    implements in input inputb int integer is lbound len lenb let lib like line linput load lock long longlong longptr loop lset me mid midb
    mod module name new next not nothing null object on open option optional or output paramarray pset preserve print private property
    ptrsafe public put raiseevent random read redim rem reset resume return rset scale seek select set sgn shared single spc static step
    stop string sub tab text then to true type typeof ubound unload until unlock variant wend while width with withevents write
    xor""".split())

HEAD = f"""Attribute VB_Name = "{MODULE}"
Option Explicit

' The worksheet functions of boltbook, for Excel on Windows. Made by: boltbook addin excel
' They need Python with the package boltbook, and the add-in of xlwings. #NAME? in a cell: Python did not answer; the
' command boltbook doctor says what is missing. #VALUE!, #NUM!, #N/A: an argument cannot be used.
' Run the macro BoltbookDescribe once to see the help of each argument in Excel's Insert Function window.

Private Function Answer(ByVal which As String, ByVal given As Variant) As Variant
    Dim server As Object, found As Variant, first As Variant
    On Error GoTo NotThere
    Set server = Application.Run("xlwings.xlam!XLPy")
    found = server.CallUDF("{PYTHON_MODULE}", which, given, ThisWorkbook, Application.Caller)
    first = found
    If IsArray(found) Then first = found(LBound(found, 1), LBound(found, 2))
    If VarType(first) = vbString Then found = ErrorOf(first)
    Answer = found
    Exit Function
NotThere:
    Answer = CVErr(2029)
End Function

Private Function ErrorOf(ByVal words As String) As Variant
    Select Case words
        Case "#NUM!"
            ErrorOf = CVErr(2036)
        Case "#N/A"
            ErrorOf = CVErr(2042)
        Case Else
            ErrorOf = CVErr(2015)
    End Select
End Function

Private Sub Describe(ByVal which As String, ByVal about As String, ByVal helps As Variant)
    Application.MacroOptions Macro:=which, Description:=about, Category:="Boltbook", ArgumentDescriptions:=helps
End Sub
"""

_UNIT_WORDS = {"same weight": "any weight, all in one unit", "same unit": "any unit, the same throughout",
               "same temperature": "deg F or deg C throughout", "fraction": "a share, such as 0.25",
               "fraction a year": "a share a year, such as 0.05", "number": ""}


def faults(name: str) -> list[str]:
    """What is wrong with a name of a function or an argument for Excel and VBA; empty where nothing is.

    >>> faults("BOLT_VOLUME"), faults("LOG2"), faults("type")
    ([], ['LOG2 reads as a cell'], ['type is a word of VBA'])
    """
    found = []
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]{0,254}", name):
        found.append(f"{name} is not letters, digits and underscores after a letter")
    if name.casefold() in VBA_WORDS:
        found.append(f"{name} is a word of VBA")
    if re.fullmatch(r"[A-Z]{1,3}[0-9]{1,7}|R[0-9]*(C[0-9]*)?|C[0-9]*", name.upper()):
        found.append(f"{name} reads as a cell")
    return found


def functions_module() -> str:
    """The whole module, ready to be imported in Excel's editor."""
    return "\n".join([HEAD, *map(_function, functions.REGISTRY), _describe_all()])


def given(function: functions.Function) -> list[tuple[str, bool]]:
    """Arguments in order: (name, whether it may be left off the end)."""
    last = max(i for i, arg in enumerate(function.args) if not arg.optional)
    return [(arg.name, i > last) for i, arg in enumerate(function.args)]


def _function(function: functions.Function) -> str:
    names = [name for name, _ in given(function)]
    head = ", ".join(f"Optional {name}" if optional else name for name, optional in given(function))
    return (f"Public Function {function.name}({head}) As Variant\n"
            f"Attribute {function.name}.VB_Description = {quoted(description(function))}\n"
            f'    {function.name} = Answer("{function.name}", Array({", ".join(names)}))\n'
            "End Function\n")


def _describe_all() -> str:
    lines = []
    for function in functions.REGISTRY:
        helps = ", _\n        ".join(quoted(argument_help(arg)) for arg in function.args)
        lines.append(f'    Describe "{function.name}", _\n        {quoted(description(function))}, _\n        Array( _\n        {helps})')
    return "Public Sub BoltbookDescribe()\n" + "\n".join(lines) + "\nEnd Sub\n"


def quoted(text: str) -> str:
    """A text as VBA writes it: quotes doubled."""
    return '"' + text.replace('"', '""') + '"'


def unit_words(*quantities) -> str:
    """Units in brackets, us and metric; nothing for plain numbers.

    >>> unit_words("diameter", "volume"), unit_words("fraction"), unit_words("")
    (' (in or cm, cu ft or L)', ' (a share, such as 0.25)', '')
    """
    found: dict[str, None] = {}
    for quantity in quantities:
        pair = [arguments.unit_of(quantity, profile) for profile in (units.US, units.METRIC)]
        found[" or ".join(dict.fromkeys(_UNIT_WORDS.get(unit, unit) for unit in pair))] = None
    words = ", ".join(word for word in found if word)
    return f" ({words})" if words else ""


def argument_help(arg: arguments.Arg) -> str:
    """Meaning, unit, and whether the argument may be left out."""
    return (f"{arg.help[0].upper()}{arg.help[1:]}{'' if arg.kind == 'units' else unit_words(arg.quantity)}."
            f"{' May be left out.' if arg.optional else ''}")


def result_words(function: functions.Function) -> str:
    """The result with its unit or, for rows of cells, the units of its columns."""
    counted = ("packs", "groups", "logs")  # the words of the result say it
    quantities = [q for _, q in function.result_unit if q not in counted] if function.is_array else [function.result_unit]
    return f"{function.result[0].upper()}{function.result[1:]}{unit_words(*quantities)}"


def description(function: functions.Function) -> str:
    """Result, unit, caution and sources, within what Excel keeps.

    The caution is never cut; sources are named by who and when where their titles do not fit.
    """
    said = f"{result_words(function)}.{' ' + function.caution if function.caution else ''} Source: "
    for words in (tables.source_words, _who_and_when):
        text = f"{said}{'; '.join(map(words, function.sources))}"
        if len(text) <= LONGEST:
            return text
    raise ValueError(f"the description of {function.name} is longer than {LONGEST} characters")


def _who_and_when(key: str) -> str:
    source = tables.sources()[key]
    return f"{source.authors} {source.year}".strip()

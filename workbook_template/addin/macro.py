"""The Refresh button of an .xlsm: its macro, and the worksheet functions as a module beside it."""
from __future__ import annotations

import io

from workbook_template.addin.excel_text import functions_module
from workbook_template.addin.vba_project import vba_project

MACRO, CAPTION = "BoltbookRefresh", "Refresh"
COMMAND = "import workbook_template.addin.excel_entry as boltbook; boltbook.refresh_caller()"
BUTTON = (2, 3, {"macro": MACRO, "caption": CAPTION, "width": 100, "height": 19, "x_offset": 2, "y_offset": 1,
                 "description": "Refresh: works everything out and fills the result sheets"})

REFRESH_MODULE = f'''Attribute VB_Name = "Boltbook"
Option Explicit

' The Refresh button on Start. It runs Python with the package boltbook through the add-in of xlwings.
' What is missing is said by the command: boltbook doctor
Public Sub {MACRO}()
    On Error GoTo NotThere
    ThisWorkbook.Activate
    Application.Run "xlwings.xlam!RunPython", "{COMMAND}"
    Exit Sub
NotThere:
    MsgBox "The refresh could not start: " & Err.Description & vbNewLine & vbNewLine & _
        "Nothing was written. Type in a terminal: boltbook doctor" & vbNewLine & _
        "Or refresh from there: boltbook refresh --live", vbExclamation, "Boltbook"
End Sub
'''


def modules() -> dict[str, str]:
    """Standard modules of the project by name."""
    return {"Boltbook": REFRESH_MODULE, "BoltbookFunctions": functions_module()}


def add_macro(book, sheet: str = "Start") -> None:
    """Put the project into a workbook being drawn by XlsxWriter, and the button on a sheet.

    book: the XlsxWriter Workbook, with all its sheets. Every sheet gets the code name of its document module.
    """
    names = {worksheet.get_name(): f"Sheet{i}" for i, worksheet in enumerate(book.worksheets(), start=1)}
    book.add_vba_project(io.BytesIO(vba_project(list(names.values()), modules())), is_stream=True)
    book.set_vba_name("ThisWorkbook")
    for name, code_name in names.items():
        book.get_worksheet_by_name(name).set_vba_name(code_name)
    row, column, look = BUTTON
    book.get_worksheet_by_name(sheet).insert_button(row, column, look)

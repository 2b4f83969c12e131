"""A blank sheet for the clipboard: print it, fill it in the yard, type it in later."""
from __future__ import annotations

from calc import units
from workbook_template.looks import set_page

LINES = 26


def draw(book) -> None:
    sheet, looks = book.sheet("Field sheet"), book.looks
    weight = units.profile_unit("weight", book.profile)
    heads = (("Date", 12), ("What happened", 20), ("Which logs", 20), (f"How much ({weight}, in, h)" if book.profile == units.US
             else f"How much ({weight}, mm, h)", 16), ("Minutes", 10), ("Note", 40))
    sheet.write_string(0, 0, "Field sheet", looks["title"])
    sheet.set_row(0, 26)
    sheet.write_string(1, 0, "Print me for the clipboard. One line for each thing that happens; copy it to Events when you are back.",
                       looks["about"])
    sheet.write_string(2, 0, "Place: ____________________     Who: ____________________     Weather: ____________________", looks["label"])
    sheet.set_row(2, 22)
    for i, (words, width) in enumerate(heads):
        sheet.set_column(i, i, width)
        sheet.write_string(3, i, words, looks["header"])
    sheet.set_row(3, 30)
    for r in range(4, 4 + LINES):
        sheet.set_row(r, 19)
        for i in range(len(heads)):
            sheet.write_blank(r, i, None, looks["field"])
    words = ("Words to use: inoculated, waxed, stacked, watered, rain, soaked (hours), weighed, pins seen, picked, culled, dried, worked, "
             "retired, lost. Logs: A1, or A1-A20, or a place.",
             "Pick only what you inoculated and can name; other fungi grow on the same logs, and some kill. When in doubt, throw it out "
             "and mark the log. Cook through before eating. Soaked logs are heavy: share the lift.")
    for i, text in enumerate(words):
        sheet.merge_range(4 + LINES + i, 0, 4 + LINES + i, len(heads) - 1, text, looks["caution"])
        sheet.set_row(4 + LINES + i, 28)
    set_page(sheet, book.profile, landscape=True, footer=str(book.env.settings["yard"]))
    sheet.fit_to_pages(1, 1)
    sheet.print_area(0, 0, 5 + LINES, len(heads) - 1)

"""Columns of the result tables of the season ahead: strip, deadlines, hours. Kind and meaning, as in calc.results."""
from __future__ import annotations

STRIP_COLUMNS = {
    # One row a line and week: rota groups first, then batches (strain and month of inoculation) of the logs in no group.
    "season_strip": {
        "group": ("text", "rota group, or batch"),
        "week": ("date", "Monday of the week"),
        "mark": ("text", "run, may (first flush may come), rest, dorm, pins, soak, or nothing"),
        "logs": ("logs", "logs of the line in the yard"),
        "kind": ("text", "rota group or batch"),
    },
    "season_notes": {
        "words": ("text", "what the strip could not know, and what to type where"),
    },
    "deadlines": {
        "what": ("text", "what runs out"),
        "log": ("text", "logs, or the spawn lot"),
        "date": ("date", "the day; NaT where none can be given"),
        "days": ("whole", "days left; negative once it is past"),
        "words": ("text", "how long it has waited, and the rule"),
    },
    # A month's hours are those of its days from the as-of day on. The line without a month holds work without a date.
    "hours_ahead": {
        "month": ("date", "first day of the month"),
        "hours": ("hours", "hours the coming work takes"),
        "hours_free": ("hours", "hours free, as typed on Settings; NaN until then"),
        "words": ("text", "by how much they are too few, or why there is no month"),
        "soak_hours": ("hours", "soaks of the calendar, by own timed soaks; 0 where none is timed: they are in the upkeep"),
        "upkeep_hours": ("hours", "upkeep, picking and selling of the logs at work, spread evenly"),
        "setup_hours": ("hours", "making the logs that wait and those of the Plan"),
    },
}

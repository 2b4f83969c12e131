"""Columns of the result tables about this week: moisture, water, what to do. Kind and meaning, as in calc.results."""
from __future__ import annotations

WEEK_COLUMNS = {
    # Moisture is on the wet basis: water over the whole weight.
    "moisture": {
        "row": ("whole", "row on the Logs sheet"),
        "log": ("text", "name of the log or group"),
        "place": ("text", "place"),
        "weighed": ("date", "last weighing that can be; NaT if none"),
        "weight_kg": ("weight", "its weight"),
        "moisture": ("share", "moisture then; NaN where it cannot be worked out"),
        "start_moisture": ("share", "moisture at the start: typed, else the wood's own when fresh, with bark"),
        "start_kg": ("weight", "Sample weight on Logs"),
        "loss": ("share", "weight lost since the start; negative where it is heavier"),
        "trend": ("share", "change of the moisture a week, between the last two weighings"),
        "water_at_kg": ("weight", "weight at which to water"),
        "limit_moisture": ("share", "moisture at that weight"),
        "floor_kg": ("weight", "weight at which spawn no longer survives, 23 % wet (FOR-82)"),
        "state": ("text", "water now, near the limit, wet enough, not known"),
        "rule": ("text", "the rule behind the weight at which to water"),
        "words": ("text", "start, what was assumed, bias, what is missing"),
        "rows": ("whole", "weighings it rests on"),
        "days": ("whole", "days since the last of them"),
    },
    "water_weeks": {
        "week": ("date", "Monday of the week"),
        "rain_m": ("rain", "rain"),
        "watered_m": ("rain", "watered, mean over the logs"),
        "wanted_m": ("rain", "wanted a week"),
        "short_m": ("rain", "wanted less both, never below 0"),
        "words": ("text", "what was assumed"),
        "rows": ("whole", "lines it rests on"),
    },
    "dry_spell": {
        "from": ("date", "first day of the longest run without rain or water in the last year"),
        "to": ("date", "last day of it"),
        "days": ("whole", "its length"),
        "logs": ("whole", "sample logs weighed before and in it"),
        "loss": ("share", "mean share of their weight lost"),
        "low": ("share", "least among them"),
        "high": ("share", "most among them"),
        "words": ("text", "what it rests on, or why it is not known"),
    },
    # In the order of what is lost if it waits.
    "this_week": {
        "key": ("text", "name of the line that stays the same from refresh to refresh"),
        "urgency": ("whole", "1 first: what is lost soonest"),
        "what": ("text", "what to do"),
        "logs": ("text", "which logs, and how many"),
        "place": ("text", "where; blank for the whole yard"),
        "words": ("text", "the reason"),
        "rule": ("text", "the rule behind it"),
        "rows": ("whole", "rows of Logs or Lists it speaks of"),
        "occasion": ("text", "what brought it about this time, such as the day of the last water"),
        "count": ("logs", "logs it speaks of"),
    },
}

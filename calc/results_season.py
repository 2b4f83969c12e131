"""Columns of the result tables of the season: what each means, and its kind as in calc.results."""

SEASON_COLUMNS = {
    # One row for each row of Logs, in its order.
    "log_season": {
        "row": ("whole", "row on the Logs sheet"),
        "log": ("text", "name of the log or group"),
        "strain": ("text", "strain"),
        "place": ("text", "place"),
        "alive": ("logs", "in the yard on that day"),
        "stage": ("text", "not yet inoculated, spawn run, may fruit, resting, ready to soak, soaking, pins and picking, dormant or gone"),
        "flush_from": ("date", "first mushrooms from; once picked, the day of the first pick"),
        "flush_to": ("date", "to"),
        "flush_basis": ("text", "strain's months, months in print, own first picks, already picked, or why no date can be given"),
        "may_soak_from": ("date", "first day by age and rest; blank where it is not soaked"),
        "soak_why": ("text", "why it may not be soaked that day; blank where it may"),
        "group": ("whole", "group of the soak rota; NaN where it is in none"),
        "last_soak": ("date", "last soaked event naming it"),
        "next_soak": ("date", "planned by the soak calendar"),
        "words": ("text", "what stands behind it"),
    },
    # The coming weeks, from the Monday of the as-of day's week; a row for each group that is soaked.
    "soak_calendar": {
        "week": ("date", "Monday of the week"),
        "group": ("whole", "group of the soak rota"),
        "logs": ("logs", "logs to soak"),
        "names": ("text", "which they are, by their names on Logs"),
        "volume_m3": ("volume", "of these logs; a log without a size counts as the mean one"),
        "loads": ("whole", "tank loads; NaN where the tank on Settings is blank"),
        "words": ("text", "limit hit, logs moved or left out, and why"),
        "day": ("date", "first day of the week on which all of them may be soaked"),
        "hours": ("hours", "hours in the tank, from Settings"),
    },
    # Twelve weeks, the week of the as-of day first. 8 in 10 between low and high.
    "supply": {
        "week": ("date", "Monday of the week"),
        "soaked_logs": ("logs", "soaked logs whose flush falls into the week, part by part"),
        "expected_kg": ("weight", "expected marketable weight, soaked and natural"),
        "low_kg": ("weight", "one in ten below"),
        "high_kg": ("weight", "one in ten above"),
        "promise_kg": ("weight", "met with the chance on Settings, 8 in 10 if left"),
        "promised_kg": ("weight", "fresh weight that stands on Promises for the week"),
        "free_kg": ("weight", "promise less promised; below 0 more is promised than is safe"),
        "words": ("text", "what it rests on and what was assumed"),
        "rows": ("whole", "picked lines behind the own record; 0 by the start alone"),
        "natural_kg": ("weight", "of the expected weight, from logs that are not soaked"),
        "per_soak_kg": ("weight", "expected of one soaked log"),
        "own_share": ("share", "weight of the own record in that, against the start"),
    },
}

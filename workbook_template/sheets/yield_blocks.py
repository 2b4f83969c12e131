"""The lower blocks of the Yield sheet: what is still to come, what differs, what a bad year did, what to keep, what is dried."""
from __future__ import annotations

from workbook_template.results import ResultSheet
from workbook_template.sheets.blocks import block
from workbook_template.sheets.view import View

# Columns from the left edge; None leaves the wide second column to the words that stand there or under the line.
EXPECTED = (("by", "By"), ("group", "Group"), ("logs", "Logs alive"), ("log_seasons", "Seasons borne"), ("own_kg", "Given so far"),
            ("start_kg", "By print alone"), ("expected_kg", "Still to come"), ("low_kg", "One in ten below"), ("high_kg", "One in ten above"),
            ("per_log_kg", "For each log"), ("this_year_kg", "Rest of this year"), ("next_year_kg", "Next year"),
            ("own_weight", "Weight of own record"))
CONTRASTS = ((None, ""), ("other", "The one that gave most, against"), ("best_logs", "Logs of it"), ("other_logs", "Logs of other"),
             ("best_per_log_kg", "A log of it"),
             ("other_per_log_kg", "A log of other"), ("difference_kg", "Difference"), ("low_kg", "Low"), ("high_kg", "High"),
             ("logs_needed", "Logs that would tell"))
PLAN = (("inoculation_year", "Inoculated"), (None, ""), ("year", "Picked in"), ("season", "Season of life"), ("logs", "Logs"),
        ("part", "Part of season"),
        ("planned_kg", "Planned"), ("usual_kg", "In a usual year"), ("actual_kg", "Given"), ("lost_kg", "Lost"), ("rows", "Rows"))
WEATHER = (("year", "Year"), ("words", "What the year was"), ("planned_kg", "Planned"), ("actual_kg", "Given"), ("factor", "Against usual"),
           ("low", "Low"), ("high", "High"), ("rows", "Rows"))
LIFE = (("season", "Season of life"), (None, ""), ("log_seasons", "Seasons borne"), ("kg", "Given"), ("planned_kg", "Planned"),
        ("per_log_kg", "A log"), ("planned_per_log_kg", "Planned a log"), ("share", "Share"), ("planned_share", "Share in print"), ("rows", "Rows"))
KEEP = (("group", "Inoculated"), (None, ""), ("logs", "Logs alive"), ("spent", "Spent, set aside"), ("to_come_kg", "Still to come"),
        ("low_kg", "Low"),
        ("high_kg", "High"), ("upkeep_per_log", "Upkeep a log and year"), ("cost_to_come", "Upkeep to come"),
        ("cost_to_come_per_kg", "Upkeep to come"), ("price_per_kg", "Own price, net"), ("rows", "Lines"))
STOCK = (("dried_on", "Dried from"), ("lot", "Lot"), ("order", "Order of use"), ("fresh_kg", "Fresh in"), ("dried_kg", "Dried out"),
         ("ratio", "Fresh for one dried"), ("taken_kg", "Gone out"), ("left_kg", "Left"), (None, ""), ("use_from", "Keeps until, early"),
         ("use_by", "late"), ("rows", "Lines"))
DRYINGS = (("date", "Day"), ("lot", "Lot"), ("row", "Events row"), ("fresh_kg", "Fresh in"), ("dried_kg", "Dried out"),
           ("ratio", "Fresh for one dried"), ("expected_kg", "Usual"), ("low_kg", "Low"), ("high_kg", "High"))
SEASONS_LOOK = {"log_seasons": "one"}


def draw(sheet: ResultSheet, view: View, row: int) -> int:
    """Draw all blocks from a row on; returns the row after them."""
    results = view.results
    for title, about, table, columns, words in (
            ("Still to come", "Expected marketable weight with the range that holds it 8 times in 10. It starts from low "
             "published yields and follows your own record as that grows.", "expected", EXPECTED, None),
            ("Which gives more", "The strain on wood that gave most against each other. Ranges hold 8 times in 10 over all pairs together.",
             "contrasts", CONTRASTS, 1),
            ("What each year was", "One factor for every log at once: weather does not average out.", "weather_years", WEATHER, None),
            ("Planned and given", "Planned by published yields for the part of the season gone by.", "plan_actual", PLAN, None),
            ("By season of life", "Season 1 is the year after inoculation.", "life_years", LIFE, None),
            ("Keep or retire", "What is spent is gone whatever you decide: only what is still to come counts.", "keep_retire", KEEP, 1),
            ("Dried stock", "The oldest first. What names no lot is taken from the oldest; what a dried count does not find is still in it. "
             "Storage life is a range in dry, dark, closed jars.",
             "dried_stock", STOCK, 1),
            ("Dryings", "Dried weight against the mass balance: the dry matter stays, the water leaves, at published moistures.", "dried_events",
             DRYINGS, 1)):
        frame = getattr(results, table)
        if len(frame):
            row = block(sheet, view, row, title, about, table, frame, columns, words, SEASONS_LOOK) + 1
    return row

"""The Settings sheet: one row a choice, with where its starting value comes from."""
from __future__ import annotations

from dataclasses import dataclass

from calc import tables, units


@dataclass(frozen=True)
class Setting:
    """A choice of the grower. `figure` names the published figure it starts from, by profile where they differ."""

    key: str
    title: str
    group: str
    kind: str = "number"  # number, text, date, choice
    quantity: str | None = None
    unit: str | None = None
    figure: str | dict | None = None
    value: object = None  # a start that is no figure (a name, a word)
    looks: str = "plain"
    list: str | None = None
    help: str = ""
    low: float | None = None
    high: float | None = None

    def unit_name(self, profile: str) -> str:
        if self.looks == "percent":
            return ""
        if self.unit:
            return self.unit
        return units.profile_unit(self.quantity, profile) if self.quantity else ""

    def figure_row(self, profile: str):
        name = self.figure.get(profile) if isinstance(self.figure, dict) else self.figure
        return tables.figure(name) if name else None

    def start(self, profile: str):
        """The value a new workbook starts with, in the workbook's unit."""
        found = self.figure_row(profile)
        if found is None:
            return self.value[profile] if isinstance(self.value, dict) else self.value
        if self.quantity == "weight" and not isinstance(self.figure, dict) and profile == units.METRIC:
            return round(found.typical * units.factor("weight", units.US) / units.factor("weight", profile), 4)
        return found.typical

    def in_force(self, typed, profile: str):
        """The value used: what was typed where it can be, else the starting value (also for text in a number)."""
        if typed is None or typed == "":
            return self.start(profile)
        if self.kind == "number":
            good = isinstance(typed, (int, float)) and not isinstance(typed, bool) and self.low <= typed <= self.high
            return float(typed) if good else self.start(profile)
        return typed

    def basis(self, profile: str) -> str:
        """What stands beside the value: where the start comes from."""
        found = self.figure_row(profile)
        if found is None:
            return "yours to choose"
        source = tables.source_words(found.source) if found.source and found.basis in ("published", "derived") else ""
        where = "in print" if found.basis in ("published", "common practice") else "likely"
        spread = f"; {found.low:g} to {found.high:g} {where}" if found.low is not None and found.high is not None \
            and found.low != found.high and not (self.quantity == "weight" and profile == units.METRIC) else ""
        return f"{found.basis}{': ' + source if source else ''}{spread}"


def _by_unit(stem: str) -> dict:
    return {units.US: f"{stem}_in", units.METRIC: f"{stem}_cm"}


SETTINGS = (
    Setting("yard", "Name of the yard", "The yard", "text", looks="text", value="My laying yard"),
    Setting("currency", "Currency", "The yard", "text", looks="text", value="USD",
            help="Letters or sign shown in titles; amounts are never converted."),
    Setting("as_of_typed", "As of", "The yard", "date", looks="date", help="Blank: today. Ages and balances are worked out for this day."),
    Setting("date_order", "Order of dates typed as text", "The yard", "choice", list="date_order", looks="text",
            value={units.US: "month first", units.METRIC: "day first"}),
    Setting("wage", "Wage for an hour, your own too", "Money", quantity="money", unit="an hour", figure="wage_per_hour", looks="money",
            low=0, high=1000),
    Setting("interest", "Interest a year", "Money", unit="%", figure="interest_nominal", looks="percent", low=0, high=1),
    Setting("inflation", "Inflation a year", "Money", unit="%", figure="inflation", looks="percent", low=-0.1, high=1),
    Setting("spawn_form", "Spawn form", "Drilling and spawn", "choice", value="plug", list="forms", looks="text"),
    Setting("hole_spacing", "Hole spacing, along the grain", "Drilling and spawn", quantity="spacing", figure=_by_unit("hole_spacing"), looks="size",
            low=0.1, high=100),
    Setting("row_spacing", "Row spacing, around the log", "Drilling and spawn", quantity="spacing", figure=_by_unit("row_spacing"), looks="size",
            low=0.1, high=50),
    Setting("end_margin", "Margin kept at each end", "Drilling and spawn", quantity="spacing", figure=_by_unit("end_margin"), looks="size",
            low=0, high=50),
    Setting("spare_share", "Spare spawn", "Drilling and spawn", unit="%", figure="spare_share", looks="percent", low=0, high=1),
    Setting("wax_per_hole", "Wax a hole", "Wax", quantity="small_weight", figure="wax_per_hole_g", looks="two", low=0, high=50),
    Setting("ends_waxed", "Ends waxed", "Wax", "choice", value="no", list="yesno", looks="text"),
    Setting("end_coat", "Wax coat on the ends", "Wax", quantity="coat", figure="end_coat_mm", looks="two", low=0, high=20),
    Setting("wax_density", "Density of the wax, solid", "Wax", quantity="density", figure="wax_density_g_ml", looks="two",
            low=0.5, high=1.5),
    Setting("wax_swell", "Wax swells on melting", "Wax", unit="%", figure="wax_melted_swell", looks="percent", low=0, high=0.5),
    Setting("lift_limit", "Lifting limit for one person", "Handling and time", quantity="weight",
            figure={units.US: "lift_limit_lb", units.METRIC: "lift_limit_kg"}, looks="one", low=1, high=100,
            help="From the NIOSH equation for one task; a guide only. Work out your own with BOLT_LIFT_LIMIT."),
    Setting("drill_minutes", "Drill and fill", "Handling and time", unit="min a log", figure="drill_fill_min_per_log", looks="one", low=0, high=600),
    Setting("setup_minutes", "Fell, cut, carry, wax, stack", "Handling and time", unit="min a log", figure="other_setup_min_per_log",
            looks="one", low=0, high=600),
    Setting("per_soak", "Yield of a soaked log", "Yield and season", quantity="weight", figure="weight_per_soaked_log_lb", looks="two",
            low=0, high=10, help="All soaked logs counted, also those that fail. Start low; your own record replaces it."),
    Setting("rota_weeks", "Weeks in the soaking rota", "Yield and season", unit="weeks", figure="rota_weeks", looks="whole", low=1, high=60),
    Setting("life_seasons", "Seasons a log bears", "Yield and season", unit="seasons", figure="log_life_seasons", looks="whole",
            low=1, high=20),
    Setting("balance_slack", "Weight a balance may miss", "Yield and season", unit="%", value=0.05, looks="percent", low=0, high=1,
            help="A fresh-weight balance within this share of what was picked counts as closed. Your own tolerance."),
)

BY_KEY = {s.key: s for s in SETTINGS}
DATE_ORDERS = ("month first", "day first")

"""The Settings sheet: one row a choice, with where its starting value comes from."""
from __future__ import annotations

from dataclasses import dataclass

from calc import dates, tables, units
from calc.season import TEMPERATURES


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
    blank_means: str = ""  # what a blank stands for, where it is no number
    plan: str | None = None  # the figure of calc.plan_inputs it sets; blank leaves that to the record or to print

    def unit_name(self, profile: str) -> str:
        if self.looks == "percent":
            return ""
        if self.unit:
            return self.unit
        if self.quantity == "money per weight":
            return f"per {units.profile_unit('weight', profile)}"
        if self.quantity == "temperature":
            return units.temperature_unit(profile)
        return units.profile_unit(self.quantity, profile) if self.quantity else ""

    def figure_row(self, profile: str):
        name = self.figure.get(profile) if isinstance(self.figure, dict) else self.figure
        return tables.figure(name) if name else None

    def start(self, profile: str):
        """The value a new workbook starts with, in the workbook's unit; None where it starts blank."""
        found = self.figure_row(profile)
        if found is None:
            return self.value[profile] if isinstance(self.value, dict) else self.value
        if self.quantity == "weight" and not isinstance(self.figure, dict) and profile == units.METRIC:
            return round(found.typical * units.factor("weight", units.US) / units.factor("weight", profile), 4)
        return found.typical

    def in_force(self, typed, profile: str):
        """The value used: what was typed where it can be, else the starting value (also for text in a number), None if that is blank."""
        if typed is None or typed == "":
            return self.start(profile)
        if self.kind == "number":
            good = isinstance(typed, (int, float)) and not isinstance(typed, bool) and self.low <= typed <= self.high
            return float(typed) if good else self.start(profile)
        return typed

    def basis(self, profile: str) -> str:
        """What stands beside the value: where the start comes from."""
        if self.plan:
            from calc import plan_inputs  # slow to load, and only wanted where a workbook is drawn
            basis = next(i.basis for i in plan_inputs.defaults({}) if i.name == self.plan)
            return f"blank: {OWN_RECORD.get(self.plan, '')}{'as above' if basis == 'Settings' else basis}"
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


# The figures of a plan that a record of one's own gives before print does.
OWN_RECORD = dict.fromkeys(("price_per_kg", "commission", "unsold", "fees_per_kg"), "your own sales, else ") | dict.fromkeys(
    ("life_kg", "setup_minutes", "upkeep_minutes"), "your own Events, else ") | dict.fromkeys(
    ("setup_cash", "upkeep_cash", "tools"), "your own Costs, else ")


def _plan(name: str, title: str, low: float, high: float, help: str = "", **more) -> Setting:
    """A figure of the plan on Budget: blank unless the grower types one."""
    return Setting(f"budget_{name}", title, "Budget of a plan", low=low, high=high, help=help, plan=name, **more)


MONTHS = tuple(name.title() for name in dates.FULL)


def _temperatures() -> list[Setting]:
    """Mean temperature of each month at the site: nobody's but the grower's, so blank until typed."""
    words = "Mean of day and night at your yard, or the normal of the nearest weather station. Needed for dates of first mushrooms and soaks."
    return [Setting(key, f"Mean temperature, {name}", "Weather of the yard", quantity="temperature", looks="whole",
                    low=-40, high=130, help=words if key == "temp_jan" else "") for key, name in zip(TEMPERATURES, MONTHS, strict=True)]


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
    Setting("hours_free", "Hours free for the logs", "Handling and time", unit="a week", looks="one", low=0, high=1000,
            help="All helpers together. Set against the hours the coming work takes."),
    Setting("inoculate_within", "Inoculate within", "Handling and time", unit="weeks", figure="inoculate_within_weeks", looks="one",
            low=0.5, high=30, help="Weeks from felling."),
    Setting("per_soak", "Yield of a soaked log", "Yield and season", quantity="weight", figure="weight_per_soaked_log_lb", looks="two",
            low=0, high=10, help="All soaked logs counted, also those that fail. Start low; type your own once you know it."),
    Setting("rota_weeks", "Weeks in the soaking rota", "Yield and season", unit="weeks", figure="rota_weeks", looks="whole", low=1, high=60),
    Setting("promise_chance", "Promises are to be met in", "Yield and season", unit="%", figure="promise_chance", looks="share", low=0.5, high=0.99,
            help="Share of weeks in which there is at least what was promised. 80%: 8 weeks of 10."),
    Setting("life_seasons", "Seasons a log bears", "Yield and season", unit="seasons", figure="log_life_seasons", looks="whole",
            low=1, high=20),
    Setting("balance_slack", "Weight a balance may miss", "Yield and season", unit="%", value=0.05, looks="percent", low=0, high=1,
            help="A fresh-weight balance within this share of what was picked counts as closed. Your own tolerance."),
    *_temperatures(),
    Setting("rain_week", "Rain or water wanted a week", "Weather of the yard", quantity="rain",
            figure={units.US: "water_weekly_in", units.METRIC: "water_weekly_mm"}, looks="two", low=0, high=1000),
    Setting("water_below", "Water when a sample log is below", "Weather of the yard", unit="% wet basis", looks="percent", low=0.05, high=0.9,
            help="Blank: when it has lost a tenth of its weight at inoculation (Univ. Kentucky FOR-83)."),
    Setting("season_begins", "First day of soaking", "Soaking", "date", looks="day_month", blank_means="every month that suits the strain",
            help="Day and month count, every year. Blank: every month whose temperature suits the strain."),
    Setting("season_ends", "Last day of soaking", "Soaking", "date", looks="day_month", blank_means="every month that suits the strain",
            help="May lie in the next year: 1 Oct to 30 Apr goes over new year."),
    Setting("force_after_months", "No soak before", "Soaking", unit="months", figure="force_after_months", looks="whole", low=0, high=60,
            help="Months from inoculation to the first soak."),
    Setting("soak_hours", "Hours in the tank", "Soaking", unit="h", figure="soak_hours", looks="one", low=1, high=96),
    Setting("tank_volume", "Logs one tank load takes, by volume", "Soaking", quantity="volume", looks="two", low=0.01, high=1e6,
            help="Fill the tank once: logs in it times Volume each on Logs. Blank: no limit."),
    Setting("tank_loads", "Tank loads a week", "Soaking", unit="loads", value=1, looks="whole", low=1, high=100),
    Setting("keeps_days", "Fresh mushrooms keep", "Keeping", unit="days", figure="fresh_keeps_days", looks="whole", low=1, high=60,
            help="Cold and dry-picked; picked wet they keep far less."),
    Setting("dryer_trays", "Trays in the dryer", "Keeping", unit="trays", looks="whole", low=1, high=10000),
    Setting("tray_weight", "Fresh mushrooms on a tray", "Keeping", quantity="weight", looks="two", low=0.01, high=100),
    Setting("drying_hours", "Hours for one drying", "Keeping", unit="h", figure="drying_hours", looks="one", low=1, high=72),
    Setting("share_prices", "Show prices", "Copy for a market", "choice", value="yes", list="yesno", looks="text",
            help="What the workbook made by boltbook share shows to the market."),
    Setting("share_lots", "Show lots on hand", "Copy for a market", "choice", value="yes", list="yesno", looks="text"),
    Setting("share_name", "Name shown", "Copy for a market", "text", looks="text", help="Blank: none."),
    Setting("share_contact", "Address or telephone shown", "Copy for a market", "text", looks="text", help="Blank: none."),
    _plan("logs", "Logs made a year", 1, 100000, "So many new logs every year. The sheet Budget shows what comes of it.", unit="logs", looks="whole"),
    _plan("years", "Years ahead", 1, 10, unit="years", looks="whole"),
    _plan("price_per_kg", "Price before commission", 0, 10000, quantity="money per weight", looks="money"),
    _plan("commission", "Commission", 0, 0.95, unit="%", looks="percent"),
    _plan("unsold", "Brought to market, not sold", 0, 0.95, "Came back or spoiled there.", unit="%", looks="percent"),
    _plan("fees_per_kg", "Market fees", 0, 1000, "Stall and shelf fees for a weight brought there.", quantity="money per weight", looks="money"),
    _plan("life_kg", "Marketable weight of a log in its life", 0, 50, quantity="weight", looks="two"),
    _plan("life_seasons", "Seasons a log bears, in the plan", 1, 20, unit="seasons", looks="whole"),
    _plan("setup_cash", "Cash to make a log", 0, 1000, "Spawn, wax and wood of one log.", quantity="money", unit="a log", looks="money"),
    _plan("setup_minutes", "Time to make a log", 0, 600, unit="min a log", looks="one"),
    _plan("upkeep_minutes", "Upkeep, picking, selling a log", 0, 600, unit="min a year", looks="one"),
    _plan("upkeep_cash", "Cash for upkeep of a log", 0, 1000, quantity="money", unit="a year", looks="money"),
    _plan("tools", "Yearly charge for what lasts", 0, 1e6, "Tools, tanks, shade: see Yearly charge on Costs.", quantity="money", unit="a year",
          looks="money"),
)

BY_KEY = {s.key: s for s in SETTINGS}
DATE_ORDERS = ("month first", "day first")

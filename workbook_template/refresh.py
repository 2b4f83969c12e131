"""The refresh: read the tables, check them, work everything out, write the result sheets and nothing else."""
from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

from calc.problems import QUESTION, Problem, in_order, quote, rows_left_out
from workbook_template import schema
from workbook_template.ports import Port
from workbook_template.progress import Steps

CHECKING = ("Reading", "Checking", "Working out")
REFRESHING = (*CHECKING, "Laying out", "Writing")


@dataclass
class Inputs:
    """What a grower's file holds, read and checked: ready for calc.farm."""

    profile: str
    settings: dict  # in the workbook's units
    intake: object
    problems: list[Problem]
    as_of: dt.date
    plan: object = None  # the bolts of the Plan sheet as rows like those of Logs, SI
    raw: dict = field(default_factory=dict)  # the tables as read (calc.raw.RawTable)

    @property
    def counts(self) -> dict[str, tuple[int, int]]:
        """Input table -> (rows typed, rows used)."""
        return {t.key: self.intake.counts[t.key] for t in schema.INPUT_TABLES if t.key in self.intake.counts}


@dataclass
class Outcome:
    """What came of a refresh or a check."""

    name: str
    problems: list[Problem]
    counts: dict[str, tuple[int, int]]
    results: object = None
    sheets: list = field(default_factory=list)
    answers: list[tuple[str, str]] = field(default_factory=list)
    backup: Path | None = None

    def closing(self) -> str:
        """One or two sentences for the command line."""
        left, odd = rows_left_out(self.counts), sum(p.level == QUESTION for p in self.problems)
        words = f"Refreshed {self.name}."
        if left or odd:
            words += f" {left} row{'s were' if left != 1 else ' was'} left out and {odd} thing{'s look' if odd != 1 else ' looks'} odd: " \
                     "see Problems."
        return words + (f" The file as it was: {self.backup.name}." if self.backup else "")


def table_specs(profile: str):
    """What the reader looks for: every table of the schema by its headings."""
    from workbook_template.columns import ROWKEY
    from workbook_template.ports.layout import ColumnSpec, TableSpec
    specs = []
    for table in schema.TABLES:
        main = table in schema.INPUT_TABLES
        columns = [ColumnSpec(c.key, c.header(profile), c.reads_as if c.kind != ROWKEY else "text", required=main and c.kind != ROWKEY or not main,
                              counts=c.kind != ROWKEY) for c in table.columns if c.typed or c.kind == ROWKEY]
        ignore = tuple(c.header(profile) for c in table.columns if not c.typed and c.kind != ROWKEY)
        specs.append(TableSpec(table.key, table.sheet, columns, ignore=ignore))
    return specs


def table_infos(profile: str):
    """The same columns as the checks know them."""
    from calc.records import ColumnInfo, TableInfo
    return [TableInfo(t.key, t.sheet, tuple(
        ColumnInfo(c.key, c.title, c.kind, c.quantity, c.unit_name(profile), c.list) for c in t.columns if c.typed)) for t in schema.TABLES]


def profile_of(port: Port) -> str:
    """us or metric, from the workbook's own mark. Raises FileProblem where it is no workbook of ours."""
    from workbook_template.ports.preflight import FileProblem
    marks = port.marks()
    profile, version = marks.get("bb_profile"), marks.get("bb_layout", "0")
    if profile not in ("us", "metric"):
        raise FileProblem(f"{port.name} is not a workbook made here, or its name bb_profile was deleted: nothing was written. "
                          "Start one with: boltbook new")
    if version != str(schema.VERSION):
        older = version.isdigit() and int(version) < schema.VERSION
        do = f'Make a new one from it, with everything you typed: boltbook upgrade "{port.name}"' if older else \
            "Update Boltbook: python -m pip install --upgrade boltbook"
        raise FileProblem(f"{port.name} was made by {'an older' if older else 'a newer'} version (layout {version}, this is {schema.VERSION}): "
                          f"nothing was written. {do}")
    return profile


def read_inputs(port: Port, today: dt.date | None, step=lambda words: None) -> Inputs:
    """Read and check everything a grower typed. step: told when the reading is over and the checking begins."""
    from calc import intake as checks
    from calc.intake_season import season_questions
    from workbook_template.plan_read import environment, plan_frame, read_plan
    from workbook_template.settings_read import read_settings, to_si

    profile = profile_of(port)
    raw = port.tables(table_specs(profile))
    named = port.named("typed_")
    planned = {name[5:]: value for name, value in port.named("plan_").items()}
    step("Checking")
    settings, problems = read_settings(named, profile)
    as_of = today or settings["as_of_typed"] or dt.date.today()
    in_si = to_si(settings, profile)
    found = checks.check(raw, table_infos(profile), in_si, profile, as_of)
    env = environment(profile, as_of, settings, found.frames)
    plan, asked = read_plan(planned, env)
    problems += [*asked, *unknown_form(settings, found), *some_temperatures(settings), *empty_lists(found), *found.problems,
                 *season_questions(found.frames, in_si, profile)]
    return Inputs(profile, settings, found, problems, as_of, plan_frame(plan, env), raw=raw)


def unknown_form(settings: dict, intake) -> list[Problem]:
    """A question where the spawn form on Settings is none of Lists: rows without a form of their own get no holes then."""
    forms = intake.frames.get("forms")
    known = {str(form).casefold() for form in forms["form"].dropna()} if forms is not None and len(forms) else set()
    if not known or str(settings["spawn_form"]).casefold() in known:
        return []
    return [Problem("Settings", None, "Spawn form", QUESTION, f"{quote(settings['spawn_form'])} is not on Lists", "a spawn form of Lists",
                    "Pick one there; rows without a form of their own have no holes and no spawn until then", "setting")]


def some_temperatures(settings: dict) -> list[Problem]:
    """A question where some months at the site have a mean temperature and others none: no strain can be told its months then."""
    from workbook_template.settings_table import MONTHS, TEMPERATURES
    missing = [name for name, key in zip(MONTHS, TEMPERATURES, strict=True) if settings[key] is None]
    if not 0 < len(missing) < len(MONTHS):
        return []
    are = "is" if len(missing) == 1 else "are"
    return [Problem("Settings", None, "Mean temperature", QUESTION, f"{', '.join(missing)} {are} blank while other months are typed",
                    "all twelve months", "Type the missing ones; until then strains with a fruiting range get no date", "setting")]


def empty_lists(intake) -> list[Problem]:
    """Lists without a row although logs are typed: without them nothing can be weighed, drilled or counted."""
    if not len(intake.frames["logs"]):
        return []
    missing = [t for t in schema.LIST_TABLES if t.shipped and t.key not in ("packs", "prices") and not len(intake.frames.get(t.key, ()))]
    return [Problem("Lists", None, t.title, QUESTION, "has no row", "", "Copy the rows back from the last backup, or from a new workbook",
                    "empty_list") for t in missing]


def balance_questions(results) -> list[Problem]:
    """A question for each fault that only the balances show."""
    return [Problem("Sales", None, None, QUESTION, fault.rstrip("."), "", "Look for a missing, doubled or mistyped line", "balance")
            for balance in results.balances for fault in balance.faults]


def closed_questions(frames: dict, profile: str, as_of: dt.date) -> list[Problem]:
    """What closed periods and closed years ask."""
    from calc import closing, units
    return closing.questions(frames, as_of) + closing.year_questions(frames, units.factor("weight", profile), as_of)


def all_problems(inputs: Inputs, results) -> list[Problem]:
    """The problems of the rows, and those that only the results show."""
    from calc import rollup_cost
    sheets = dict.fromkeys(problem.sheet for problem in inputs.problems)
    return in_order(inputs.problems + rollup_cost.questions(results.reconciliation) + balance_questions(results)
                    + closed_questions(inputs.intake.frames, inputs.profile, inputs.as_of), sheets)


def work_out(inputs: Inputs):
    """calc.farm on the checked tables."""
    from calc import farm, units
    from workbook_template.settings_read import to_si

    settings = to_si(inputs.settings, inputs.profile)
    settings["weight_unit_kg"] = units.factor("weight", inputs.profile)
    settings["profile"] = inputs.profile
    frames = dict(inputs.intake.frames)
    if inputs.plan is not None:
        frames["plan"] = inputs.plan
    links = {"event_links": inputs.intake.event_links, "cost_links": inputs.intake.cost_links}
    return farm.roll_up(frames, links, settings, inputs.as_of, inputs.counts)


def view_of(inputs: Inputs, results, file_name: str, stamp: str, typed=()):
    from workbook_template.sheets.view import View
    return View(inputs.profile, str(inputs.settings["currency"]), str(inputs.settings["yard"]), file_name, inputs.as_of, stamp, results,
                inputs.problems, inputs.counts, list(typed))


def check_file(path: Path, today: dt.date | None = None, progress: bool = False) -> Outcome:
    """Read and check, write nothing."""
    from workbook_template.ports.closed_file import ClosedFile
    with Steps(CHECKING, progress) as step:
        step("Reading")
        port = ClosedFile(path, force=True)
        inputs = read_inputs(port, today, step)
        port.require(schema.result_sheets(inputs.profile))
        step("Working out")
        return Outcome(path.name, all_problems(inputs, work_out(inputs)), inputs.counts)


def refresh(port: Port, today: dt.date | None = None, stamp: str | None = None, step=lambda words: None) -> Outcome:
    """Refresh a workbook through any port. Raises what the port raises; then nothing was changed.

    today: the day the results are worked out for. stamp: the words that say when it was refreshed (the clock's if
    left out). step: told what is being done.
    """
    from workbook_template import carried
    from workbook_template.sheets.layout import lay_out

    step("Reading")
    inputs = read_inputs(port, today, step)
    inputs.raw = {}  # a big yard's tables are not held longer than they are needed
    typed = carried.read(port.cells("This week"))
    step("Working out")
    results = work_out(inputs)
    inputs.problems = all_problems(inputs, results)
    stamp = stamp if stamp is not None else f"Refreshed {dt.datetime.now():%d %b %Y, %H:%M}."
    view = view_of(inputs, results, port.name, stamp, typed)
    del inputs
    step("Laying out")
    sheets = lay_out(view)
    step("Writing")
    backup = port.write(sheets)
    return Outcome(port.name, view.problems, view.counts, results, sheets, answer_lines(view), backup)


def refresh_file(path: Path, out: Path | None = None, today: dt.date | None = None, force: bool = False, progress: bool = True,
                 stamp: str | None = None) -> Outcome:
    """Refresh a closed workbook.

    out: where the result goes (path itself if left out, with a backup beside it). force: go on although a lock file
    says the workbook is open. Raises LayoutProblem, FileProblem, SaveProblem; then nothing was changed.
    """
    from workbook_template.ports.closed_file import ClosedFile

    with Steps(REFRESHING, progress) as step:
        return refresh(ClosedFile(path, out, force), today, stamp, step)


def answer_lines(view) -> list[tuple[str, str]]:
    """The answers of Start as short lines of text."""
    lines = []
    for answer in view.results.answers:
        value = view.number(answer.value, answer.kind)
        if value is None:
            shown = answer.text or "not known yet"
        elif answer.kind == "share":
            shown = f"{value:.1%}"
        elif answer.kind == "year":
            shown = f"{value:.0f}"
        elif answer.kind in ("whole", "logs"):
            shown = f"{value:,.0f}"
        else:
            shown = f"{value:,.2f}"
        if value is not None and answer.kind not in ("share", "logs"):
            shown = f"{shown} {view.unit(answer.kind)}".rstrip()
        if value is not None and answer.text:
            shown += f"  ({answer.text})"
        lines.append((answer.question, shown))
    return lines

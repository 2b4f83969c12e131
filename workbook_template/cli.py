"""The command boltbook. Thin: every command checks its words, calls one function and says what came of it."""
from __future__ import annotations

import ast
import datetime as dt
import importlib
import importlib.util
import json
import sys
from pathlib import Path

import click

from workbook_template.mistakes import BLOCKED, REFUSED_ROWS, Mistake, say


class Later(click.Group):
    """A group that imports a command's module only when the command is called. later: name -> module:command."""

    def __init__(self, *args, later=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.later = later or {}

    def list_commands(self, ctx):
        return sorted([*super().list_commands(ctx), *self.later])

    def get_command(self, ctx, name):
        if name not in self.later:
            return super().get_command(ctx, name)
        module, _, command = self.later[name].partition(":")
        return getattr(importlib.import_module(module), command)

    def format_commands(self, ctx, formatter):
        """The list of commands in --help, with the first words of each; no module is loaded for it."""
        self.get_command = lambda ctx, name: self._listed(name) if name in self.later else click.Group.get_command(self, ctx, name)
        try:
            super().format_commands(ctx, formatter)
        finally:
            del self.get_command

    def _listed(self, name: str) -> click.Command:
        """A stand-in for a command, with the words that stand under its name in its module."""
        module, _, command = self.later[name].partition(":")
        tree = ast.parse(Path(importlib.util.find_spec(module).origin).read_text(encoding="utf-8"))
        found = next((n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == command), None)
        return click.Command(name, help=ast.get_docstring(found) if found else getattr(importlib.import_module(module), command).help)

    def resolve_command(self, ctx, args):
        """The command of a word; a mistyped one is told with the nearest."""
        if self.get_command(ctx, args[0]) is None and not args[0].startswith("-"):
            import difflib
            close = difflib.get_close_matches(args[0].lower(), self.list_commands(ctx), 3)
            hint = f"Type {' or '.join(close)}" if close else f"There are: {', '.join(self.list_commands(ctx))}"
            raise Mistake(f'"{args[0]}" is no command. {hint}.')
        return super().resolve_command(ctx, args)

    def invoke(self, ctx):
        """Run a command; Ctrl-C, at a question too, ends it in a sentence that says how the files stand."""
        try:
            return super().invoke(ctx)
        except (KeyboardInterrupt, click.Abort):
            from workbook_template.ports.swap import standing
            raise Mistake(f"Stopped. {standing()}", BLOCKED) from None

    def main(self, *args, standalone_mode=True, **more):
        """The same for Ctrl-C before a command is called and after it has ended."""
        if not standalone_mode:
            return super().main(*args, standalone_mode=False, **more)
        try:
            code = super().main(*args, standalone_mode=False, **more)
        except click.ClickException as trouble:
            trouble.show()
            code = trouble.exit_code
        except (KeyboardInterrupt, click.Abort):
            from workbook_template.ports.swap import standing
            say(f"Stopped. {standing()}", err=True)
            code = BLOCKED
        sys.exit(code)


@click.group(cls=Later, context_settings={"help_option_names": ["-h", "--help"]}, later={
    "doctor": "workbook_template.doctor:doctor",
    "calendar": "workbook_template.calendar_file:calendar",
    "trace": "workbook_template.trace_command:trace",
    **{name: f"workbook_template.years_commands:{name}" for name in ("close", "extend", "merge", "restore", "upgrade")},
    "import": "workbook_template.years_commands:import_rows",
    **{name: f"workbook_template.partner_command:{name}" for name in ("share", "receive")},
})
def cli() -> None:
    """A workbook for growing mushrooms on logs, and the calculations behind it."""


def _named(text: str) -> Path:
    """A path that was typed. Raises Mistake where it is blank or no name that can be."""
    if not text.strip():
        raise Mistake("The name of the file is blank. Type it, such as mylogs.xlsx.")
    path = Path(text)
    try:
        path.exists()
    except (OSError, ValueError) as error:
        raise Mistake(f"{text[:60]}{'...' if len(text) > 60 else ''} cannot be the name of a file: "
                      f"{getattr(error, 'strerror', None) or error}. Type another name.") from None
    return path


def _new_path(text: str, suffix: str = ".xlsx") -> Path:
    path = _named(text)
    if path.suffix == "":
        path = path.with_suffix(suffix)
    if path.suffix != suffix:
        hint = " For an .xlsm with a button: --macro." if path.suffix == ".xlsm" else ""
        raise Mistake(f"{path.name} cannot be written: name it with the ending {suffix}.{hint}")
    if path.exists():
        raise Mistake(f"{path} exists already and is left as it is. Type another name.", BLOCKED)
    if not path.parent.is_dir():
        raise Mistake(f"There is no folder {path.parent}. Make it first, or type another path.")
    return path


def _existing(text: str, ours: bool = True) -> Path:
    """A file that is there. ours: it is to be a workbook made here, so a new one can be started."""
    path = _named(text)
    if path.is_dir():
        raise Mistake(f"{path} is a folder. Type the name of the {'workbook' if ours else 'file'} in it.")
    if not path.is_file():
        more = f", or start one: boltbook new {path.with_suffix('.xlsx').name}" if ours else " and the folder"
        raise Mistake(f"There is no file {path}. Check the spelling{more}" + ("" if ours else "."))
    return path


def _like(out: str, source: Path) -> Path:
    """Where a copy of a workbook goes: the same ending, into a folder that is there."""
    path = _named(out)
    if path.suffix.lower() != source.suffix.lower():
        raise Mistake(f"{path} cannot be written: name it with the ending {source.suffix}.")
    if not path.parent.is_dir():
        raise Mistake(f"There is no folder {path.parent}. Make it first, or type another path.")
    return path


def _day(context, parameter, text: str | None) -> dt.date | None:
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise Mistake(f'"{text}" is not a date. Write it as 2026-11-15.') from None


@cli.command()
@click.argument("path")
@click.option("--units", type=click.Choice(["us", "metric"]), default="us", show_default=True,
              help="us: in, ft, lb. metric: cm, m, kg. One workbook, one set of units.")
@click.option("--rows", type=click.IntRange(10, 100_000), default=200, show_default=True, help="Rows of Logs that are prefilled.")
@click.option("--macro", is_flag=True, help="For Excel: an .xlsm with a Refresh button on Start and the worksheet functions.")
def new(path: str, units: str, rows: int, macro: bool) -> None:
    """Make a new workbook at PATH."""
    from xlsxwriter.exceptions import XlsxFileError

    from workbook_template.build import BUILDING, build
    from workbook_template.ports.swap import SaveProblem, write_new
    from workbook_template.progress import Steps
    from workbook_template.yard import Yard
    target = _new_path(path, ".xlsm" if macro else ".xlsx")

    def put(part: Path) -> None:
        try:
            build(part, Yard(units), rows=rows, macro=macro, name=target.name, step=step)
        except XlsxFileError as error:
            raise error.args[0] if isinstance(error.args[0], OSError) else OSError(str(error)) from None

    try:
        with Steps(BUILDING) as step:
            write_new(target, put)
    except SaveProblem as trouble:
        raise Mistake(str(trouble), BLOCKED) from None
    except OSError as error:
        raise Mistake(f"{target} cannot be written: {error.strerror or error}.", BLOCKED) from None
    say(f"Made {target}. Open it, type a row on Logs, and it computes. To fill the result sheets: boltbook refresh {target}")


@cli.command()
@click.argument("path", required=False)
@click.option("--out", help="Write the refreshed workbook here and leave PATH as it is.")
@click.option("--today", callback=_day, help="Work out the results for this day, YYYY-MM-DD.")
@click.option("--force", is_flag=True, help="Go on although a lock file says that the workbook is open.")
@click.option("--live", is_flag=True, help="Refresh the workbook that is open in Excel (Windows, Mac). PATH: its name; left out: the one in front.")
@click.option("--quiet", is_flag=True, help="Say nothing but problems with the file.")
def refresh(path: str | None, out: str | None, today: dt.date | None, force: bool, live: bool, quiet: bool) -> None:
    """Work everything out and write the result sheets of PATH. What you typed is never touched."""
    if live:
        if out or force:
            raise Mistake("--live writes into the open workbook: leave out --out and --force.")
        from workbook_template.addin.excel_entry import live_refresh
        outcome = _guarded(lambda: live_refresh(path, today, progress=not quiet))
    elif path is None:
        raise Mistake("Type the name of the workbook: boltbook refresh mylogs.xlsx. For the one open in Excel: boltbook refresh --live")
    else:
        from workbook_template.refresh import refresh_file
        source = _existing(path)
        target = None if out is None else _like(out, source)
        outcome = _guarded(lambda: refresh_file(source, target, today, force=force, progress=not quiet))
    if quiet:
        return
    for question, value in outcome.answers:
        say(f"{question:<52} {value}")
    say(outcome.closing())


@cli.command()
@click.argument("path")
@click.option("--today", callback=_day, help="Check as of this day, YYYY-MM-DD.")
def check(path: str, today: dt.date | None) -> None:
    """List what is wrong in PATH, row by row; write nothing. Exit code 1 if rows would be left out."""
    from calc.problems import REFUSED
    from workbook_template.refresh import check_file
    outcome = _guarded(lambda: check_file(_existing(path), today, progress=True))
    for problem in outcome.problems:
        say(problem.sentence())
    refused = sum(p.level == REFUSED for p in outcome.problems)
    used = ", ".join(f"{name} {used} of {typed}" for name, (typed, used) in outcome.counts.items() if typed)
    say(f"{len(outcome.problems)} to look at, {refused} of them leave a row out. Rows used: {used or 'none typed yet'}.")
    if refused:
        sys.exit(REFUSED_ROWS)


def _guarded(work):
    """Run file work; every known trouble becomes one sentence and its exit code."""
    from workbook_template.ports.layout import LayoutProblem
    from workbook_template.ports.preflight import FileProblem
    from workbook_template.ports.swap import SaveProblem
    try:
        return work()
    except LayoutProblem as trouble:
        raise Mistake("\n".join([*trouble.sentences, "Nothing was written."])) from None
    except FileProblem as trouble:
        raise Mistake(str(trouble)) from None
    except SaveProblem as trouble:
        raise Mistake(str(trouble), BLOCKED) from None
    except OSError as error:
        name = f" ({error.filename})" if error.filename else ""
        raise Mistake(f"The file could not be read or written: {error.strerror or error}{name}. Nothing was changed.", BLOCKED) from None


@cli.command(context_settings={"ignore_unknown_options": True})
@click.argument("name", required=False)
@click.argument("arguments", nargs=-1)
@click.option("--units", "unit_profile", type=click.Choice(["us", "metric"]), default="us", show_default=True)
@click.option("--json", "as_json", is_flag=True, help="Print function, value, unit, sources and caution as JSON.")
def calc(name: str | None, arguments: tuple[str, ...], unit_profile: str, as_json: bool) -> None:
    """Work out one worksheet function. Without a NAME, list them all.

    A list is written 100,500,1000; a blank argument "".
    """
    from calc.tables import UnknownName
    from workbook_template.calc_command import list_functions, run
    if name is None:
        say(list_functions(unit_profile))
        return
    try:
        answer = run(name, arguments, unit_profile)
    except ValueError as error:
        hint = " All functions: boltbook calc" if isinstance(error, UnknownName) else ""
        raise Mistake(f"{error}{hint}") from None
    say(json.dumps(answer.as_dict(), ensure_ascii=False) if as_json else answer.text())


@cli.group(cls=Later, later={"libreoffice": "workbook_template.addin.command:libreoffice",
                             "excel": "workbook_template.addin.excel_command:excel"})
def addin() -> None:
    """Worksheet functions and Refresh inside LibreOffice or Excel."""


def main() -> None:
    """What `python -m workbook_template.cli` runs."""
    from workbook_template.__main__ import main as start
    start()


if __name__ == "__main__":
    main()

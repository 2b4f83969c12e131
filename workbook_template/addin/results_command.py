"""What the LibreOffice extension runs in the grower's own Python: read the stored copy, check it, work it out.

Run as a program: python -m workbook_template.addin.results_command COPY --name yard.xlsx. One JSON object goes to
standard output, whatever was typed into the workbook.
"""
from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import click

FORM = 1  # of the JSON; the extension asks for the one it knows


def done_or_trouble(work) -> dict:
    """What work gives, or {"trouble": one or more sentences} where the workbook or its file stands in the way."""
    from workbook_template.ports.layout import LayoutProblem
    from workbook_template.ports.preflight import FileProblem
    from workbook_template.ports.swap import SaveProblem
    try:
        return work()
    except LayoutProblem as problem:
        return {"trouble": "\n".join([*problem.sentences, "Nothing was written."])}
    except (FileProblem, SaveProblem) as problem:
        return {"trouble": str(problem)}
    except OSError as error:
        name = f" ({error.filename})" if error.filename else ""
        return {"trouble": f"A file could not be read or written: {error.strerror or error}{name}. Nothing was written."}


def results_of(copy: Path, name: str, original: Path | None, today: dt.date | None) -> dict:
    """A refresh up to the writing, which the office does."""
    from workbook_template.ports.office_copy import OfficeCopy
    from workbook_template.refresh import refresh
    port = OfficeCopy(copy, name, original)
    outcome = refresh(port, today)
    return {**port.handed, "closing": outcome.closing()}


def check_of(copy: Path, name: str, today: dt.date | None) -> dict:
    """What `boltbook check` would list."""
    from calc.problems import REFUSED
    from workbook_template.ports.office_copy import OfficeCopy
    from workbook_template.refresh import all_problems, read_inputs, work_out
    inputs = read_inputs(OfficeCopy(copy, name), today)
    problems = all_problems(inputs, work_out(inputs))
    refused = sum(problem.level == REFUSED for problem in problems)
    return {"problems": [problem.sentence() for problem in problems],
            "closing": f"{len(problems)} to look at in {name}, {refused} of them leave a row out. Nothing was written."}


@click.command(hidden=True)
@click.argument("copy", type=click.Path(path_type=Path))
@click.option("--name", required=True, help="What the open workbook is called.")
@click.option("--original", type=click.Path(path_type=Path), help="Its file, to be backed up first.")
@click.option("--today", type=click.DateTime(["%Y-%m-%d"]), help="Work out the results for this day.")
@click.option("--check", is_flag=True, help="Only list what is wrong.")
def results(copy: Path, name: str, original: Path | None, today: dt.datetime | None, check: bool) -> None:
    """Print the results of the workbook whose copy is at COPY as JSON, for the extension to write."""
    day = today.date() if today else None
    found = done_or_trouble(lambda: check_of(copy, name, day) if check else results_of(copy, name, original, day))
    click.echo(json.dumps({"form": FORM, **found}, allow_nan=False))


if __name__ == "__main__":
    results()

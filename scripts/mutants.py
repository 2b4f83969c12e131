"""Plants small faults in calc, one at a time, and counts how many the tests notice.

python3 scripts/mutants.py [module ...]            runs them (hours for all) and prints the table
python3 scripts/mutants.py --every 5 [module ...]  a sample: every fifth mutant of each module
python3 scripts/mutants.py --report [module ...]   prints the table of the runs that are there

The faults (mutants) are made and run by the library mutmut, each in a process of its own with a time limit. Its work
stands in build/mutants, one folder for the modules that have the same tests; a folder that is there is taken up where it
was left, `--fresh` starts it anew. A mutant that no test notices survives: it is then either a missing
test, or told in mutants_kept.csv with the reason why it changes nothing that matters. What is neither is printed, and the
command ends with 1.
"""
from __future__ import annotations

import argparse
import csv
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
WORK = HOME / "build" / "mutants"
KEPT = Path(__file__).with_name("mutants_kept.csv")

# The tests of each module: those that check what it answers, not those that happen to pass through it. The module's own
# examples (doctests) are always among them.
TESTS = {
    # arithmetic
    "wood": "wood worked_examples", "drilling": "drilling", "supplies": "supplies", "handling": "handling worked_examples",
    "yields": "yields_keeping worked_examples", "keeping": "yields_keeping keep_fresh worked_examples", "economics": "economics worked_examples",
    "market": "yields_keeping", "season": "season", "units": "units",
    # the plan of the year
    **dict.fromkeys(("season_state", "rota_plan", "season_weeks"), "log_season rota_plan season_weeks"), "supply": "supply",
    "soak_yield": "supply", "log_season": "log_season", "deadlines": "deadlines", "calendar_lines": "calendar",
    "moisture": "moisture", "watering": "moisture", "week_rules": "this_week", "this_week": "this_week",
    "day_numbers": "this_week", "log_names": "this_week",
    # the market
    "settle": "settle", "consignment": "settle", "promises": "promises", "offers": "offers", "keep_fresh": "keep_fresh",
    "balances": "balances settle", "trace": "trace", "ledger": "ledger settle",
    # money and yard
    "yard": "farm", "sizes": "farm", "rollup_cost": "costs", "rollup_capital": "capital", "rollup_views": "capital",
    "rollup_yield": "expected", "rollup_months": "farm", "prices": "prices", "flows": "flows", "budget": "budget",
    "yield_model": "expected", "expected": "expected", "bearing": "bad_year", "contrasts": "contrasts", "bad_year": "bad_year",
    "cents": "cents", "dried": "dried",
    # reading
    "quantities": "quantities", "dates": "dates", "selection": "selection", "closing": "closing", "merging": "merging",
    "intake_samples": "intake_samples", "records": "records", "raw": "grid",
    "arguments": "functions", "adapters": "functions worked_examples handling season",
    **dict.fromkeys(("intake_words", "intake_cells", "intake_rows", "intake_links", "intake_sense", "intake_counts", "intake_choices",
                     "problems", "text_columns"), "intake intake_tables intake_sense"), "intake_season": "intake_season", "intake_market": "promises",
}
COPIED = ["tests", "workbook_template", "examples", "scripts"]  # beside calc, for the tests
# Tests too long to be run for every mutant, by words of their names; --long runs them all the same.
LONG = ("thousand or for_any_yard or order_of_rows or went_missing or bolt_settlement_agrees or plain_loop or example_yards or "
        "whole_life or within_a_day or order1 or order2 or order3 or order4 or order5 or "
        "travels_into_other_programs or opens_with_one_whole_sentence")  # the last two read the source itself
SETTINGS = """[tool.mutmut]
source_paths = ["calc"]
only_mutate = {mutated}
also_copy = {copied}
pytest_add_cli_args_test_selection = {tests}
# One copy of each example, and generated cases that are the same in every run.
pytest_add_cli_args = ["-k", "(not __mutmut_ or __mutmut_orig){but}",
  "-p", "scripts.mutants_plugin", "--hypothesis-profile=ci", "-p", "no:cacheprovider", "-p", "no:unraisableexception"]
# Seconds a mutant may take: (what its tests take + 5) x 5.
timeout_constant = 5.0
timeout_multiplier = 5.0
use_git_change_detection = false
"""
NOTICED = ("killed", "timeout", "segfault")
NOT_RUN = "not checked"
PROSE = "words of a message"
STRICT = "equivalent: strict only guards against columns of unequal length, which would be a fault of the code"
HEADINGS = ("module", "mutants", "run", "killed", "timed out", "survived", "of these told", "score %")


@dataclass(frozen=True)
class Survivor:
    """A mutant that no test noticed: where, the lines before and after, and why it may stay ("" when nobody said)."""

    name: str
    module: str
    function: str
    before: str
    after: str
    reason: str


def library():
    """mutmut, or a word on how to get it."""
    try:
        import mutmut
    except ImportError:
        sys.exit("The library mutmut is missing: pip install -e .[test,mutation]")
    return mutmut


def place(module: str) -> Path:
    """The folder in which mutmut works on a module and those that have the same tests."""
    return WORK / TESTS[module].replace(" ", "_")


def prepare(modules: list[str], fresh: bool, long: bool) -> Path:
    """The folder of some modules that have the same tests, with the settings of this run."""
    folder = place(modules[0])
    if fresh and folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name in ["calc", *COPIED]:
        if not (folder / name).exists():
            (folder / name).symlink_to(HOME / name, target_is_directory=True)
    tests = [f"tests/test_{name}.py" for name in TESTS[modules[0]].split()] + [f"calc/{module}.py" for module in modules]
    settings = SETTINGS.format(mutated=[f"calc/{module}.py" for module in modules], copied=COPIED, tests=tests,
                               but="" if long else f" and not ({LONG})").replace("'", '"')
    (folder / "pyproject.toml").write_text((HOME / "pyproject.toml").read_text(encoding="utf-8") + "\n" + settings, encoding="utf-8")
    return folder


def run(modules: list[str], chosen: argparse.Namespace) -> int:
    """Makes the mutants of some modules that have the same tests and runs these on each, one at a time, the quick ones first.

    chosen: the options of the command: only: on those named; every: on every so many; again: on those that survived the
    last run without a reason; long: the long tests too; within: without the tests that take longer."""
    only, every, again = chosen.only, chosen.every, chosen.again
    folder = prepare(modules, chosen.fresh, chosen.long)
    copies = folder / "mutants"
    for copy in (copies / "calc" / f"{module}.py" for module in modules):  # one made for another module of this folder holds no mutants
        if copy.exists() and "__mutmut_" not in copy.read_text(encoding="utf-8"):
            copy.unlink()
    only = only or ([name for module in modules for name in names(module)[::every]] if every > 1 else [])
    if again:
        only = [s.name for module in modules for s in outcome(module)[1] if not s.reason]
        if not only:
            return 0
    for made in (copies / "tests", copies / "scripts", copies / "calc" / "data", copies / "mutmut-stats.json"):  # may be of an older day
        shutil.rmtree(made) if made.is_dir() else made.unlink(missing_ok=True)
    command = [str(Path(sys.executable).with_name("mutmut")), "run", "--max-children", "1", *only]
    settings = {**os.environ, "MUTANTS_WITHIN_S": str(chosen.within), "MUTANTS_DURATIONS": str(WORK / "durations.json")}
    return subprocess.run(command, cwd=folder, env=settings).returncode


def names(module: str) -> list[str]:
    """The mutants of a module, made by the library where they are not there yet."""
    with working_in(module):
        from mutmut.__main__ import create_file_mutants
        from mutmut.mutation.data import SourceFileMutationData
        made = create_file_mutants(Path("calc") / f"{module}.py")
        if made.error:
            raise made.error
        data = SourceFileMutationData(path=Path("calc") / f"{module}.py")
        data.load()
        return list(data.exit_code_by_key)


@contextmanager
def working_in(module: str):
    """The library reads its settings from the folder it stands in."""
    from mutmut import configuration
    os.chdir(place(module))
    configuration.reset_config()
    try:
        yield
    finally:
        os.chdir(HOME)


def ended(module: str) -> dict[str, str]:
    """How each mutant of a module ended, by name, in the library's words."""
    from mutmut.mutation.data import SourceFileMutationData
    from mutmut.stats import status_by_exit_code
    with working_in(module):
        data = SourceFileMutationData(path=Path("calc") / f"{module}.py")
        data.load()
        return {name: status_by_exit_code[code] for name, code in data.exit_code_by_key.items()}


def outcome(module: str) -> tuple[Counter, list[Survivor]]:
    """How many mutants ended how, and each one that no test noticed."""
    from mutmut.mutation.diff_apply import get_diff_for_mutant
    copy = place(module) / "mutants" / "calc" / f"{module}.py"
    if not copy.exists() or "__mutmut_" not in copy.read_text(encoding="utf-8"):  # a run on another module of this folder put it back
        copy.unlink(missing_ok=True)
        prepare([module], fresh=False, long=False)
        names(module)
    ends = ended(module)
    unseen = [name for name, end in ends.items() if end not in (*NOTICED, NOT_RUN)]
    with working_in(module):
        survivors = [told(module, name, get_diff_for_mutant(name, path=Path("calc") / f"{module}.py")) for name in unseen]
    return Counter(ends.values()), survivors


def told(module: str, name: str, diff: str) -> Survivor:
    """The survivor with its reason, from its difference to the original."""
    lines = [line for line in diff.split("\n") if not line.startswith(("---", "+++"))]
    before, after = (" / ".join(line[1:].strip() for line in lines if line.startswith(sign)) for sign in "-+")
    function = re.sub(r"^.*\.x_?|__mutmut_\d+$", "", name).replace("ǁ", ".").strip(".")
    reason = KEPT_ROWS.get((module, function, before, after)) or (
        PROSE if only_words(before, after) else STRICT if only_strict(before, after) else "")
    return Survivor(name, module, function, before, after, reason)


def only_words(before: str, after: str) -> bool:
    """True when the two lines differ in nothing but the letters of a sentence: a quoted text of four words or more."""
    quoted = re.compile(r'"[^" ]*(?: [^" ]*){3,}"')
    bare = quoted.sub('""', before) == quoted.sub('""', after)
    return bare and before != after and before.lower() == after.replace("XX", "").lower()


def only_strict(before: str, after: str) -> bool:
    """True when the two lines differ in nothing but whether zip takes columns of unequal length."""
    strict = re.compile(r",\s*(strict=\w+)?(?=\))")
    return before != after and strict.sub("", before) == strict.sub("", after)


def kept_rows() -> dict[tuple[str, str, str, str], str]:
    """Reasons by module, function, line before and line after."""
    with KEPT.open(encoding="utf-8", newline="") as file:
        return {(row["module"], row["function"], row["before"], row["after"]): row["reason"] for row in csv.DictReader(file)}


def stale(modules: list[str]) -> list[tuple[str, str, str]]:
    """Reasons told of lines that are no longer in the code: module, function, line."""
    code = {module: (HOME / "calc" / f"{module}.py").read_text(encoding="utf-8") for module in modules}
    return [key[:3] for key in KEPT_ROWS if key[0] in code and any(line not in code[key[0]] for line in key[2].split(" / ") if line)]


KEPT_ROWS = kept_rows() if KEPT.exists() else {}


def table(ends: dict[str, Counter], survivors: list[Survivor]) -> str:
    """Module by module and in all, as Markdown. Told: survivors with a reason; score: noticed of those run."""
    rows = []
    for module, counts in [*ends.items(), ("all", sum(ends.values(), Counter()))]:
        mine = [s for s in survivors if module in (s.module, "all")]
        tried = counts.total() - counts[NOT_RUN]
        rows.append((module, counts.total(), tried, counts["killed"], tried - counts["killed"] - len(mine), len(mine),
                     sum(bool(s.reason) for s in mine), f"{100 * (1 - len(mine) / tried):.1f}" if tried else ""))
    lines = [HEADINGS, ("---",) * len(HEADINGS), *rows]
    return "\n".join("| " + " | ".join(map(str, line)) + " |" for line in lines)


def report(modules: list[str]) -> int:
    """Prints the table, the reasons with their counts, and what has no reason; returns 1 when there is such."""
    ends, survivors = {}, []
    for module in modules:
        if (place(module) / "mutants" / "calc" / f"{module}.py.meta").exists():
            ends[module], more = outcome(module)
            survivors += more
    print(f"mutmut {version('mutmut')}\n")
    print(table(ends, survivors))
    for reason, count in Counter(s.reason for s in survivors if s.reason).most_common():
        print(f"  {count:4d}  {reason}")
    for row in stale(modules):
        print(f"\nno longer in the code, take it out of {KEPT.name}: {row}")
    silent = [s for s in survivors if not s.reason]
    for s in silent:
        print(f"\n{s.module}.{s.function}\n  - {s.before}\n  + {s.after}")
    return int(bool(silent))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("modules", nargs="*", help="modules of calc; all of the list when none is named")
    parser.add_argument("--report", action="store_true", help="only print what earlier runs found")
    parser.add_argument("--fresh", action="store_true", help="forget earlier runs of these modules")
    parser.add_argument("--every", type=int, default=1, help="run every so many of the mutants only")
    parser.add_argument("--again", action="store_true", help="run those again that survived without a reason, after new tests")
    parser.add_argument("--long", action="store_true", help="with the long tests too")
    parser.add_argument("--within", type=float, default=0.0, help="leave out tests that take longer than so many seconds (0: none)")
    parser.add_argument("--only", nargs="*", default=[], help="mutants to run again, by name or pattern")
    chosen = parser.parse_args()
    library()
    modules = chosen.modules or list(TESTS)
    unknown = sorted(set(modules) - set(TESTS))
    if unknown:
        sys.exit("Not in the list of modules: " + ", ".join(unknown))
    if not chosen.report:
        for together in dict.fromkeys(TESTS[module] for module in modules):
            named = [module for module in modules if TESTS[module] == together]
            print(f"== {' '.join(named)}", flush=True)
            if run(named, chosen):
                return 1
    return report(modules)


if __name__ == "__main__":
    sys.exit(main())

"""The script that plants faults: its lists name what is there, and its rules excuse nothing but words."""
from __future__ import annotations

import sys
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME / "scripts"))
import mutants  # noqa: E402


def test_every_module_and_test_of_the_list_is_there():
    for module, tests in mutants.TESTS.items():
        assert (HOME / "calc" / f"{module}.py").exists(), module
        assert all((HOME / "tests" / f"test_{name}.py").exists() for name in tests.split()), module


def test_every_mutant_told_has_a_reason_and_changes_a_line():
    rows = mutants.kept_rows()
    assert rows and all(reason.strip() and before != after and module in mutants.TESTS for (module, _, before, after), reason in rows.items())


def test_only_the_words_of_a_sentence_are_excused():
    said = 'raise ValueError("The weight must be above 0.")'
    assert mutants.only_words(said, 'raise ValueError("XXThe weight must be above 0.XX")')
    assert mutants.only_words(said, 'raise ValueError("the weight must be above 0.")')
    assert not mutants.only_words(said, "raise ValueError(None)")
    assert not mutants.only_words('kind == "sold as log"', 'kind == "SOLD AS LOG"')      # a word that the code compares
    assert not mutants.only_words('f("a b c d", 1)', 'f("a b c d", 2)')
    assert mutants.only_strict("zip(a, b, strict=True)", "zip(a, b, strict=None)") and mutants.only_strict("zip(a, b, strict=True)", "zip(a, b, )")
    assert not mutants.only_strict("zip(a, b, strict=True)", "zip(a, strict=True)")

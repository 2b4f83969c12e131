"""Reads 20,000 damaged workbooks and says what went wrong: python3 scripts/flood.py [count] [first seed]

The books, their damage and what is asked of every row are those of the tests (tests/mutator.py, tests/floods.py). Every fortieth is
worked out to the end. Ends with code 1 if anything is wrong.
"""
from __future__ import annotations

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

HOME = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(HOME), str(HOME / "tests")]
STEP = 100


def some(first: int) -> tuple[list[str], Counter]:
    """What is wrong with the books of STEP seeds, and how often each way of damage was used."""
    from floods import one, sound_book
    from mutator import damage
    wrong, ways = [], Counter()
    for seed in range(first, first + STEP):
        ways.update(damage(sound_book(), seed).done)
        wrong += one(seed, whole=seed % 40 == 0)
    return wrong, ways


def main(count: int = 20_000, first: int = 0) -> int:
    begun, wrong, ways = time.perf_counter(), [], Counter()
    with ProcessPoolExecutor() as pool:
        for done, (found, used) in enumerate(pool.map(some, range(first, first + count, STEP)), start=1):
            wrong += found
            ways += used
            print(f"\r{done * STEP:,} of {count:,}, {len(wrong)} faults", end="", file=sys.stderr, flush=True)
    print(f"\n{count:,} damaged workbooks (seeds {first} to {first + count - 1}), {sum(ways.values()):,} damages of {len(ways)} kinds, "
          f"{time.perf_counter() - begun:.0f} s: {len(wrong)} faults")
    print("\n".join(f"{times:>7,}  {way.replace('_', ' ')}" for way, times in ways.most_common()))
    print("\n".join(wrong[:50]))
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))

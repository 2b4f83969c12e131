"""Every result table of the market side: settlement, promises, lots, keeping."""
from __future__ import annotations

import pandas as pd

from calc import balances, keep_fresh, promises, settle, trace


def every_table(frames: dict, found: dict, settings: dict) -> dict[str, pd.DataFrame]:
    """Tables of results_market by name.

    found: book (diary), sold (sales ledger), missing (losses between counts), breakeven, dried_stock, ratio (fresh for one
    of dried), labour_amount (money by line of Events) and supply (the table of that name, or None).
    """
    book, sold = found["book"], found["sold"]
    stock, lots = found["dried_stock"], trace.Lines(frames, book, sold, named=True)
    found = {**found, "store": balances.in_store(book, sold), "used": trace.used_at_home(lots)}
    return {
        **settle.every_table(sold, found["missing"], frames.get("closings", pd.DataFrame()), book.as_of),
        "promise_weeks": promises.promise_weeks(frames.get("promises", pd.DataFrame()), sold, found["supply"],
                                                float(stock["left_kg"].clip(lower=0.0).sum()), book.as_of),
        "trace": trace.register(lots),
        **keep_fresh.every_table(frames, found, settings),
        "pack_weights": keep_fresh.pack_weights(),
    }

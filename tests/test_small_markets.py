"""Small yards whose promises, settlements and lots can be worked out on paper: each sum stands in its comment. Common practice throughout."""
from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest
import soak_yards
import yards

from calc import trace
from calc.farm import roll_up
from calc.ledger import ledger
from calc.yard import diary

AS_OF = dt.date(2026, 10, 31)
SHOP, STALL = {"market": "Shop", "terms": "on consignment", "commission": 0.25}, {"market": "Stall", "terms": "own stall"}
LOGS = (("A", 4, "2024-03-01"), ("B", 4, "2024-03-01"))


def frames_of(lines=(), sold=(), markets=(SHOP, STALL), promised=(), closed=(), spawn=("S1", "S2")):
    """(frames, links) of yards.events lines, of sales with the lot last, of (week, market, product, kg) and (market, day, money)."""
    logs = yards.logs(*LOGS)
    logs["spawn_lot"] = list(spawn)
    book, links = yards.events(list(logs["log"]), *lines) if lines else (pd.DataFrame(), pd.DataFrame(columns=["event", "log"]))
    sales = yards.sales(*(row[:6] for row in sold))
    sales["lot"] = [row[6] if len(row) > 6 else None for row in sold]
    promises = pd.DataFrame(promised, columns=["week", "market", "product", "promised_kg"])
    closings = pd.DataFrame(closed, columns=["close_market", "closed_to", "close_balance"])
    frames = {"logs": logs, "events": book, "sales": sales, "markets": pd.DataFrame(list(markets)), "woods": yards.WOODS, "forms": yards.FORMS,
              "strains": soak_yards.STRAINS, "promises": promises.assign(week=pd.to_datetime(promises["week"])),
              "closings": closings.assign(closed_to=pd.to_datetime(closings["closed_to"]))}
    return frames, {"event_links": links}


def rolled(as_of=AS_OF, settings=None, **more):
    frames, links = frames_of(**more)
    return roll_up(frames, links, {**yards.SETTINGS, **soak_yards.temps(), **(settings or {})}, as_of)


def test_a_promise_to_an_own_stall_is_kept_by_what_is_sold_there():
    # 5 promised for the week from 26 October, 2 and 3 sold at the stall, where nothing is ever delivered: kept, and no word of too much promised.
    sold = [("2026-10-27", "Stall", "sold", "fresh", 2.0, 10.0), ("2026-10-28", "Stall", "sold", "fresh", 3.0, 10.0)]
    for as_of in (AS_OF, dt.date(2026, 11, 3)):
        out = rolled(as_of, sold=sold, promised=[("2026-10-26", "Stall", "fresh", 5.0)])
        assert out.promise_weeks["delivered"].tolist() == [5.0, 5.0]
        assert out.promise_weeks["words"].tolist() == ["kept", "all promises together kept"]
        assert "over_promised" not in [answer.key for answer in out.answers]


def test_fees_above_sales_are_no_payment_in_the_settlement():
    # 2 x 10 less a quarter: 15; a fee of 25: 10 below nothing, and nobody paid anything. Once 5 are paid, 15 more were paid than due.
    sold = [("2026-10-02", "Shop", "sold", "fresh", 2.0, 10.0), ("2026-10-03", "Shop", "fee", "", 25.0)]
    for more, open_, said in (((), -10.0, "fees and corrections are more than what was sold"),
                              ((("2026-10-05", "Shop", "paid", "", 5.0),), -15.0, "more was paid than was due")):
        out = rolled(sold=[*sold, *more])
        assert out.settlement["open"].tolist() == [open_]
        assert out.settlement["words"].tolist() == out.settlement_ages["words"].tolist() == [said]


def test_a_period_closed_on_the_very_day_in_mid_month_is_closed():
    # 4 x 10 less a quarter, settled and closed on the 15th, printed on the 15th.
    sold = [("2026-10-02", "Shop", "sold", "fresh", 4.0, 10.0)]
    for day, ends, closed in ((15, ["2026-10-15"], ["closed"]), (16, ["2026-10-15", "2026-10-31"], ["closed", ""])):
        found = rolled(dt.date(2026, 10, day), sold=sold, closed=[("Shop", "2026-10-15", 30.0)]).settlement
        assert found["ends"].dt.strftime("%Y-%m-%d").tolist() == ends and found["closed"].tolist() == closed
        assert found["open"].tolist() == [30.0] * len(ends)

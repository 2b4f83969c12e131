"""Settlement by market, period and lot: a ledger worked by hand, totals to the cent, ageing, corrections."""
from __future__ import annotations

import datetime as dt
import random
from decimal import ROUND_HALF_UP, Decimal

import pandas as pd
import pytest
import yards
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import cents, results, settle
from calc.balances import money
from calc.consignment import losses
from calc.functions import evaluate
from calc.ledger import ledger

AS_OF = (dt.date(2025, 7, 31) - dt.date(1970, 1, 1)).days
PRICES = pd.DataFrame([("Shop", "fresh", "2025-01-01", 20.0), ("Shop", "fresh", "2025-06-01", 24.0), ("Shop", "dried", "2025-01-01", 100.0),
                       ("Kitchen", "fresh", "2025-01-01", 30.0), ("Stall", "fresh", "2025-01-01", 25.0)],
                      columns=["price_market", "price_product", "price_from", "price_each"])
PRICES["price_from"] = pd.to_datetime(PRICES["price_from"])
MARKETS = pd.DataFrame([
    {"market": "Shop", "terms": "on consignment", "commission": 0.25, "market_fee": None, "allowance": 0.05, "payment_days": 30.0},
    {"market": "Kitchen", "terms": "bought outright", "commission": None, "market_fee": None, "allowance": None, "payment_days": None},
    {"market": "Stall", "terms": "own stall", "commission": None, "market_fee": None, "allowance": None, "payment_days": None}])
BOOK = (
    ("2025-05-02", "Shop", "delivered", "fresh", 10.0),
    ("2025-05-03", "Shop", "sold", "fresh", 5.0),
    ("2025-05-10", "Shop", "spoiled", "fresh", 0.5),
    ("2025-05-12", "Shop", "returned", "fresh", 1.0),
    ("2025-05-31", "Shop", "counted", "fresh", 2.5),
    ("2025-06-02", "Shop", "delivered", "fresh", 6.0),
    ("2025-06-10", "Shop", "sold", "fresh", 4.0),
    ("2025-06-11", "Shop", "sold", "dried", 0.3),
    ("2025-06-12", "Shop", "fee", None, 9.0),
    ("2025-06-20", "Shop", "paid", None, 60.0),
    ("2025-06-30", "Shop", "counted", "fresh", 4.45),
    ("2025-07-05", "Shop", "correction", None, -6.5),
    ("2025-05-02", "Kitchen", "delivered", "fresh", 4.0),
    ("2025-05-04", "Kitchen", "returned", "fresh", 1.0),
    ("2025-05-02", "Stall", "sold", "fresh", 3.0, 26.0),
)


def settled(book=BOOK, markets=MARKETS, as_of=AS_OF, closings=None, lots=()):
    sales = yards.sales(*book)
    sales["lot"] = list(lots) + [None] * (len(sales) - len(lots))
    sold = ledger({"sales": sales, "markets": markets, "prices": PRICES}, as_of)
    missing = losses(settle.consigned(sold))
    return settle.every_table(sold, missing, closings if closings is not None else pd.DataFrame(), as_of), sold, missing


def row(table, market, begins, product=None):
    mine = table[(table["market"] == market) & (table["begins"] == pd.Timestamp(begins))]
    mine = mine[mine["product"] == product] if product else mine
    assert len(mine) == 1
    return mine.iloc[0]


# ---- by hand -----------------------------------------------------------------------------------------------------

def test_weights_by_hand():
    stock = settled()[0]["settlement_stock"]
    may = row(stock, "Shop", "2025-05-01", "fresh")
    # 0 + 10 - 5 - 1 - 0.5 = 3.5 by the lines, 2.5 counted: 1 missing; 5 % of 10 = 0.5 allowed, 0.5 charged.
    assert [may[c] for c in ("opening_kg", "delivered_kg", "sold_kg", "returned_kg", "spoiled_kg", "counted_kg", "unexplained_kg",
                             "allowed_kg", "charged_kg", "closing_kg")] == pytest.approx([0, 10, 5, 1, 0.5, 2.5, 1.0, 0.5, 0.5, 2.5])
    assert may["words"] == "missing beyond the loss allowed: charged"
    june = row(stock, "Shop", "2025-06-01", "fresh")
    # 2.5 + 6 - 4 = 4.5, 4.45 counted: 0.05 missing, within 5 % of 8.5.
    assert [june[c] for c in ("opening_kg", "delivered_kg", "sold_kg", "unexplained_kg", "allowed_kg", "charged_kg", "closing_kg")] \
        == pytest.approx([2.5, 6, 4, 0.05, 0.425, 0, 4.45])
    assert june["words"] == "missing within the loss allowed"
    assert row(stock, "Shop", "2025-07-01", "fresh")["words"] == "not counted"  # still 4.45 there
    kitchen = row(stock, "Kitchen", "2025-05-01", "fresh")
    assert (kitchen["sold_kg"], kitchen["closing_kg"]) == (3.0, 0.0)
    dried = row(stock, "Shop", "2025-06-01", "dried")  # never delivered there: nothing can be missing
    assert (dried["closing_kg"], dried["words"]) == (0.0, "sold straight from home: nothing stands there")
    assert list(dict.fromkeys(stock["market"])) == ["Kitchen", "Shop", "Stall"]  # by name, however the lines were written


def test_what_a_count_says_in_words():
    """Each by hand, 4 kg delivered: by the lines 4 - 1 = 3 stand there unless more went out."""
    came, went = ("2025-07-01", "Shop", "delivered", "fresh", 4.0), ("2025-07-02", "Shop", "sold", "fresh", 1.0)

    def said(*lines, markets=MARKETS):
        return row(settled((came, *lines), markets)[0]["settlement_stock"], "Shop", "2025-07-01", "fresh")["words"]

    def counted(amount):
        return ("2025-07-20", "Shop", "counted", "fresh", amount)

    assert said() == "not counted"
    assert said(went, counted(3.0)) == "counted: it agrees"
    assert said(went, counted(3.5)) == "counted more than the lines say: a delivery is missing, or a sale is written twice"
    assert said(("2025-07-02", "Shop", "sold", "fresh", 4.5)) == "more went out than was delivered there"
    agreed = MARKETS.assign(allowance=[None] * 3)
    assert said(went, counted(2.0), markets=agreed) == "missing; no loss is agreed on Lists, so none is charged"
    found = (("2025-06-01", "Shop", "delivered", "fresh", 4.0), ("2025-06-30", "Shop", "counted", "fresh", 3.0),
             ("2025-07-20", "Shop", "counted", "fresh", 4.0))
    stock = settled(found)[0]["settlement_stock"]  # June: 1 missing, 5 % of 4 allowed, 0.8 charged; July: all 4 are there
    assert row(stock, "Shop", "2025-06-01")["charged_kg"] == pytest.approx(0.8) == -row(stock, "Shop", "2025-07-01")["charged_kg"]
    assert row(stock, "Shop", "2025-07-01")["words"] == ("found again what was missing at an earlier count: what was charged for it is "
                                                         "taken back")


def test_all_missing_at_a_count_is_charged_beyond_the_loss_allowed_where_a_price_is_known():
    """4 kg came and none is left: 5 % of 4, 0.2, is allowed; 3.8 x 24 = 91.20 is charged at the shop. Another has no price: nothing."""
    more = pd.concat((MARKETS, MARKETS.iloc[:1].assign(market="Annexe")))
    book = tuple((day, market, kind, "fresh", kilos) for market in ("Shop", "Annexe")
                 for day, kind, kilos in (("2025-07-02", "delivered", 4.0), ("2025-07-20", "counted", 0.0)))
    tables, _, missing = settled(book, more)
    assert list(missing["key"]) == ["annexe", "shop"] and missing["charged_kg"].tolist() == pytest.approx([0.0, 3.8])
    stock = tables["settlement_stock"]
    assert row(stock, "Shop", "2025-07-01")["unexplained_kg"] == 4.0 and row(tables["settlement"], "Shop", "2025-07-01")["lost"] == 91.2
    assert row(stock, "Annexe", "2025-07-01")["words"] == ("missing beyond the loss allowed; no price is known, so nothing is charged: type "
                                                           "one in Prices on Lists")


def test_a_fee_by_the_day_is_owed_once_for_each_day_of_sale_without_a_fee_of_its_own():
    """9 a day: once for the two sales of 1 July; 2 July has its own fee of 5; on 3 July nothing was sold. 14 in all."""
    book = (("2025-07-01", "Shop", "sold", "fresh", 1.0), ("2025-07-01", "Shop", "sold", "fresh", 2.0),
            ("2025-07-02", "Shop", "sold", "fresh", 1.0), ("2025-07-02", "Shop", "fee", None, 5.0),
            ("2025-07-03", "Shop", "delivered", "fresh", 1.0), ("2025-07-01", "Stall", "sold", "fresh", 1.0))
    tables, sold, _ = settled(book, MARKETS.assign(market_fee=[9.0, None, None]), lots=("L1", "L1", "L1"))
    added = sold[sold["at"] == -1]
    assert added[["kind", "product", "lot", "lot_name", "amount", "sold_kg", "value", "value_cents", "due_cents", "unpriced"]].values.tolist() \
        == [["fee", "", "", "", 9.0, 0.0, 0.0, 0, -900, False]]
    assert added["price"].isna().all() and added["row"].isna().all()
    assert sold.loc[sold["at"] >= 0, "row"].tolist() == [6, 7, 8, 9, 10, 11] and sold.index.is_unique
    july = row(tables["settlement"], "Shop", "2025-07-01")
    assert (july["fees"], july["rows"], july["due"]) == (14.0, 5.0, 58.0)  # 4 x 24 = 96 less a quarter, less 14
    assert row(tables["settlement"], "Stall", "2025-07-01")["fees"] == 0.0


def test_a_market_with_money_lines_only_has_no_weights():
    tables = settled((("2025-07-02", "Shop", "fee", None, 9.0),))[0]
    stock, aged = tables["settlement_stock"], tables["settlement_ages"].iloc[0]
    assert not len(stock) and list(stock.columns) == list(results.COLUMNS["settlement_stock"])
    assert (aged["open"], aged["words"]) == (-9.0, "fees and corrections are more than what was sold")


def test_lines_without_a_price_are_counted_and_said():
    """No price is known at the annexe; a sale of nothing and a line with a price are not counted among them."""
    more = pd.concat((MARKETS, MARKETS.iloc[:1].assign(market="Annexe")))
    lines = (("2025-07-01", "Annexe", "sold", "fresh", 1.0), ("2025-07-02", "Annexe", "sold", "fresh", 2.0, 20.0),
             ("2025-07-03", "Annexe", "sold", "fresh", 0.0), ("2025-07-04", "Annexe", "sold", "fresh", 3.0))
    said = [row(settled(lines[:many], more)[0]["settlement"], "Annexe", "2025-07-01") for many in (3, 4)]
    assert [part["words"] for part in said] == ["1 line has no price and counts as 0", "2 lines have no price and count as 0"]
    assert said[1]["sales"] == 40.0 and settled()[0]["settlement"]["words"].tolist()[:1] == [""]


def test_what_the_age_of_money_says_in_words():
    """1 kg at 24 less a quarter: 18 due of 1 July, 30 days old on the 31st."""
    sold = ("2025-07-01", "Shop", "sold", "fresh", 1.0)
    paid = [settled((sold, ("2025-07-20", "Shop", "paid", None, part)))[0]["settlement_ages"].iloc[0]["words"] for part in (5.0, 18.0, 20.0)]
    assert paid == ["within the 30 days agreed", "nothing is open", "more was paid than was due"]
    ages = settled()[0]["settlement_ages"].set_index("market")
    assert ages.loc["Stall", "words"] == "paid at once"
    assert ages.loc["Kitchen", "late"] == 0 and pd.isna(ages.loc["Kitchen", "payment_days"])


def test_money_by_hand():
    table = settled()[0]["settlement"]
    columns = ("brought", "sales", "lost", "commission", "fees", "corrections", "due", "paid", "open")
    # May: 5 x 20 = 100, loss 0.5 x 20 (the price of the day of the count) = 10, a quarter of 100 is 25: 85 due.
    assert [row(table, "Shop", "2025-05-01")[c] for c in columns] == [0, 100, 10, 25, 0, 0, 85, 0, 85]
    # June: 4 x 24 + 0.3 x 100 = 126; a quarter 24 + 7.5 = 31.5; fee 9: 85.5 due; 60 paid: 85 + 85.5 - 60 = 110.5.
    assert [row(table, "Shop", "2025-06-01")[c] for c in columns] == [85, 126, 0, 31.5, 9, 0, 85.5, 60, 110.5]
    # July: the correction alone.
    assert [row(table, "Shop", "2025-07-01")[c] for c in columns] == [110.5, 0, 0, 0, 0, -6.5, -6.5, 0, 104]
    assert row(table, "Kitchen", "2025-05-01")["open"] == 90  # (4 - 1) x 30
    stall = row(table, "Stall", "2025-05-01")
    assert (stall["due"], stall["paid"], stall["open"]) == (78, 78, 0)


def test_ageing_by_hand_payments_settle_the_oldest_first():
    ages = settled()[0]["settlement_ages"].set_index("market")
    shop = ages.loc["Shop"]
    # Days of the shop: 3 May 75, 31 May 10, 10 June 72, 11 June 22.5, 12 June -9, 5 July -6.5. 60 paid and 15.5 taken off:
    # 75.5 settles 3 May and 0.5 of 31 May. Open on 31 July: 9.5 of 31 May (61 days), 72 (51) and 22.5 (50).
    assert [shop[c] for c in ("to_30", "to_60", "to_90", "over_90", "open")] == [0, 94.5, 9.5, 0, 104]
    assert shop["late"] == 104 and shop["oldest"] == pd.Timestamp("2025-05-31")
    assert shop["words"] == "older than the 30 days agreed: 104.00"
    assert ages.loc["Kitchen", "to_90"] == 60 + 30 and ages.loc["Kitchen", "words"] == "no days to pay are agreed on Lists"


@pytest.mark.parametrize("age, bucket", [(0, "to_30"), (30, "to_30"), (31, "to_60"), (60, "to_60"), (61, "to_90"), (90, "to_90"),
                                         (91, "over_90")])
def test_the_edges_of_age(age, bucket):
    day = (dt.date(1970, 1, 1) + dt.timedelta(days=AS_OF - age)).isoformat()
    ages = settled(((day, "Shop", "sold", "fresh", 1.0, 40.0),))[0]["settlement_ages"].iloc[0]
    assert ages[bucket] == 30 == ages["open"]


def test_the_balance_on_start_is_the_settlement():
    tables, sold, missing = settled()
    owed = {b.market: dict(b.lines)["owed"] for b in money(sold, missing, AS_OF)}
    last = tables["settlement"].groupby("market")["open"].last()
    assert owed == {"Shop": 104.0, "Kitchen": 90.0, "Stall": 0.0} == last.to_dict()


# ---- closed periods ----------------------------------------------------------------------------------------------

def test_a_closed_period_ends_on_its_day_and_a_later_line_is_a_correction():
    closings = pd.DataFrame([{"close_market": "shop", "closed_to": pd.Timestamp("2025-06-15"), "close_balance": 170.5}])
    table = settled(closings=closings)[0]["settlement"]
    before, after = row(table, "Shop", "2025-06-01"), row(table, "Shop", "2025-06-16")
    assert before["ends"] == pd.Timestamp("2025-06-15") and before["closed"] == "closed" and after["closed"] == ""
    assert before["open"] == 170.5 and after["brought"] == 170.5  # 85 + 85.5; the 60 were paid after the closing
    assert row(table, "Shop", "2025-07-01")["corrections"] == -6.5  # and what was closed stays as it was
    assert set(table.loc[table["market"] == "Kitchen", "closed"]) == {""}


def test_a_period_closed_today_ends_today_and_the_others_with_the_month():
    closings = pd.DataFrame([{"close_market": "Shop", "closed_to": pd.Timestamp("2025-07-21"), "close_balance": 104.0}])
    table = settled(as_of=AS_OF - 10, closings=closings)[0]["settlement"]
    shop, kitchen = row(table, "Shop", "2025-07-01"), row(table, "Kitchen", "2025-07-01")
    assert (shop["ends"], shop["closed"]) == (pd.Timestamp("2025-07-21"), "closed")
    assert (kitchen["ends"], kitchen["closed"]) == (pd.Timestamp("2025-07-31"), "")


# ---- to the cent -------------------------------------------------------------------------------------------------

def test_ten_thousand_lines_add_up_to_the_cent():
    """Against decimal arithmetic, line by line: sums over periods and over lots are the sums of the lines, exactly."""
    dice = random.Random(7)
    book, lots, exact = [], [], {}
    for i in range(10_000):
        day = dt.date(2023, 1, 1) + dt.timedelta(days=i % 900)
        market, kilos, price = dice.choice(("Shop", "Other")), dice.randint(1, 4000) / 1000, dice.randint(900, 3500) / 100
        book.append((day.isoformat(), market, "sold", "fresh", kilos, price))
        lots.append(dice.choice((None, "L1", "L2", "L3")))
        share = Decimal("0.25") if market == "Shop" else Decimal("0.175")
        value = (Decimal(str(kilos)) * Decimal(str(price))).quantize(Decimal("0.01"), ROUND_HALF_UP)
        taken = (value * share).quantize(Decimal("0.01"), ROUND_HALF_UP)
        so_far = exact.get(market, (Decimal(0), Decimal(0)))
        exact[market] = (so_far[0] + value, so_far[1] + taken)
    markets = pd.concat([MARKETS, pd.DataFrame([{"market": "Other", "terms": "on consignment", "commission": 0.175}])])
    tables, sold, missing = settled(book, markets, lots=lots)
    whole = {m: [int(100 * part) for part in parts] for m, parts in exact.items()}
    for name in ("settlement", "settlement_lots"):
        for market, (value, taken) in whole.items():
            mine = tables[name][tables[name]["market"] == market]
            assert [int(cents.to_cents(mine[c]).sum()) for c in ("sales", "commission")] == [value, taken], (name, market)
    for market, (value, taken) in whole.items():
        last = tables["settlement"][tables["settlement"]["market"] == market].iloc[-1]
        aged = tables["settlement_ages"].set_index("market").loc[market]
        assert int(cents.to_cents(last["open"])) == value - taken
        assert int(cents.to_cents(aged[["to_30", "to_60", "to_90", "over_90"]]).sum()) == value - taken
        balance = next(b for b in money(sold, missing, AS_OF) if b.market == market)
        assert int(cents.to_cents(dict(balance.lines)["owed"])) == value - taken


def test_half_cents_round_away_from_nought_as_decimal_does():
    for text in ("1.005", "2.675", "-1.005", "0.125", "8.325", "1234567.895", "0.0049999"):
        exact = int(100 * Decimal(text).quantize(Decimal("0.01"), ROUND_HALF_UP))
        assert int(cents.to_cents(float(text))) == exact, text


AMOUNT = st.integers(0, 900).map(lambda n: n / 100)
KINDS = st.sampled_from(("delivered", "sold", "returned", "spoiled", "counted", "paid", "fee", "correction"))
LINE = st.tuples(st.integers(0, 150), st.sampled_from(("Shop", "Kitchen", "Stall")), KINDS, st.sampled_from(("fresh", "dried")), AMOUNT)


@settings(max_examples=60, deadline=None)
@given(st.lists(LINE, min_size=1, max_size=40), st.lists(st.integers(0, 150), max_size=3))
def test_periods_follow_on_and_close(lines, shut):
    """Whatever is written down: every period opens where the one before ended, and its parts make its end, in weight and money."""
    first = dt.date(2025, 2, 10)
    book = [((first + dt.timedelta(days=d)).isoformat(), m, k, p, -a if k == "correction" else a) for d, m, k, p, a in lines]
    closings = pd.DataFrame({"close_market": ["Shop"] * len(shut), "closed_to": pd.to_datetime([first + dt.timedelta(days=d) for d in shut])})
    tables, sold, missing = settled(book, closings=closings)
    table = tables["settlement"]
    for _, mine in table.groupby("market"):
        c = {name: cents.to_cents(mine[name]) for name in ("brought", "sales", "lost", "commission", "fees", "corrections", "due", "paid", "open")}
        assert (c["sales"] + c["lost"] - c["commission"] - c["fees"] + c["corrections"] == c["due"]).all()
        assert (c["brought"] + c["due"] - c["paid"] == c["open"]).all()
        assert c["brought"][0] == 0 and (c["brought"][1:] == c["open"][:-1]).all()
    stock = tables["settlement_stock"]
    held = stock[~stock["words"].str.contains("outright|straight")]
    parts = held["opening_kg"] + held["delivered_kg"] - held["sold_kg"] - held["returned_kg"] - held["spoiled_kg"]
    assert (parts - held["unexplained_kg"].fillna(0.0)).to_numpy() == pytest.approx(held["closing_kg"].to_numpy(), abs=1e-6)
    assert int(cents.to_cents(table["sales"]).sum()) == int(cents.to_cents(tables["settlement_lots"]["sales"]).sum())
    aged = tables["settlement_ages"]
    buckets = sum(cents.to_cents(aged[c]) for c in ("to_30", "to_60", "to_90", "over_90"))
    assert (buckets == (cents.to_cents(aged["open"]).clip(min=0))).all()


# ---- by lot ------------------------------------------------------------------------------------------------------

def test_lots_by_hand():
    book = (("2025-06-02", "Shop", "delivered", "fresh", 6.0), ("2025-06-02", "Shop", "delivered", "fresh", 2.0),
            ("2025-06-04", "Shop", "sold", "fresh", 4.0), ("2025-06-05", "Shop", "sold", "fresh", 2.5), ("2025-06-06", "Shop", "sold", "fresh", 1.0))
    table = settled(book, lots=("250601", "250602", "250601", "250602", None))[0]["settlement_lots"].set_index("lot")
    assert table.loc["250601", ["delivered_kg", "sold_kg", "left_kg", "sales", "commission", "net"]].tolist() == [6, 4, 2, 96, 24, 72]
    assert table.loc["250602", "left_kg"] == -0.5 and table.loc["250602", "words"] == "more went out than was delivered of this lot"
    assert table.loc["(no lot)", "words"] == "of which lot cannot be told"
    assert table.loc["250601", "words"] == "there by the lines; some went without a lot"


def test_where_a_lot_stands_in_words():
    book = (("2025-06-02", "Shop", "delivered", "fresh", 6.0), ("2025-06-04", "Shop", "sold", "fresh", 4.0),
            ("2025-06-04", "Shop", "delivered", "fresh", 1.0), ("2025-06-04", "Shop", "sold", "fresh", 1.0),
            ("2025-06-05", "Shop", "sold", "fresh", 1.0), ("2025-06-05", "Shop", "sold", "dried", 0.2),
            ("2025-06-05", "Kitchen", "delivered", "fresh", 3.0))
    table = settled(book, lots=("A", "A", "B", "B", "C", "D", "A"))[0]["settlement_lots"]
    said = {(market, lot): (left, words) for market, lot, left, words
            in zip(table["market"], table["lot"], table["left_kg"], table["words"], strict=True)}
    assert said == {("Shop", "A"): (2.0, "there by the lines"), ("Shop", "B"): (0.0, "all gone"),
                    ("Shop", "C"): (0.0, "never delivered there under this lot"), ("Shop", "D"): (0.0, "sold straight from home"),
                    ("Kitchen", "A"): (0.0, "bought outright")}


# ---- the function of the same name -------------------------------------------------------------------------------

@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2000), st.integers(0, 2000), st.integers(0, 500), st.integers(0, 500), st.integers(0, 2000), st.integers(100, 4000),
       st.integers(0, 60), st.integers(0, 30), st.integers(0, 5000), st.integers(0, 5000))
def test_bolt_settlement_agrees_with_the_settlement_table(delivered, sold, returned, spoiled, counted, price, commission, allowance, fee, paid):
    """One delivery, one sale, one count at one price: every money part within the half cent that a line is rounded by."""
    delivered, sold, returned, spoiled, counted = (x / 100 for x in (delivered, sold, returned, spoiled, counted))
    price, fee, paid, commission, allowance = price / 100, fee / 100, paid / 100, commission / 100, allowance / 100
    terms = pd.DataFrame([{"market": "Shop", "terms": "on consignment", "commission": commission, "allowance": allowance}])
    book = [("2025-06-01", "Shop", "delivered", "fresh", delivered, price), ("2025-06-02", "Shop", "sold", "fresh", sold, price),
            ("2025-06-03", "Shop", "returned", "fresh", returned, price), ("2025-06-03", "Shop", "spoiled", "fresh", spoiled, price),
            ("2025-06-04", "Shop", "fee", None, fee), ("2025-06-05", "Shop", "paid", None, paid),
            ("2025-06-30", "Shop", "counted", "fresh", counted, price)]
    tables = settled(book, terms, as_of=AS_OF - 31)[0]
    answer = evaluate("BOLT_SETTLEMENT", 0.0, delivered, sold, returned, spoiled, counted, price, commission, fee, allowance, paid, units="metric")
    unexplained, sales, taken, due, left = answer[0]
    table, stock = tables["settlement"].iloc[0], tables["settlement_stock"].iloc[0]
    assert stock["unexplained_kg"] == pytest.approx(unexplained, abs=1e-9)
    assert (table["sales"], table["commission"]) == pytest.approx((sales, taken), abs=0.0051 + 0.005 * commission)
    assert (table["due"], table["open"]) == pytest.approx((due, left), abs=0.0151 + 0.005 * commission)

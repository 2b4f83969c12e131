"""What the lines of a workbook say together: order in time, weights, sales, and what they take against what there was."""
import datetime as dt

import pytest
from intake_book import A1, DAY, MARKETS, check, logs, one_event, said

# ---- order in time, weights, sales ---------------------------------------------------------------

@pytest.mark.parametrize("event, log, words", [
    ({"date": dt.datetime(2024, 2, 1)}, {}, "picked on 1 Feb 2024, before A1 was inoculated on 1 Mar 2024. "
     "Needed: the right date and log. Check both days."),
    ({"date": dt.datetime(2024, 2, 1)}, {"felled": dt.datetime(2024, 2, 20)}, "picked on 1 Feb 2024, before "
     "A1 was felled on 20 Feb 2024. Needed: the right date and log. Check both days."),
    ({"date": dt.datetime(2024, 4, 5)}, {}, "picked on 5 Apr 2024, only days after A1 was inoculated on 1 "
     "Mar 2024. Needed: the right date and log. Check both days."),
])
def test_an_event_at_an_unlikely_time_is_used_and_asked_about(event, log, words):
    found = check(logs=[{**A1, **log}], events=[{"event": "picked", "log": "A1", "amount": 0.5, **event}])
    assert said(found) == [f"Events row 6, Date: {words}"]
    assert found.frames["events"]["odd_time"].tolist() == [True] and found.counts["events"] == (1, 1)


def test_an_event_after_its_log_has_left():
    events = [{"date": dt.datetime(2025, 9, 1), "event": "retired", "log": "A1"},
              {"date": DAY, "event": "soaked", "log": "A1"}]
    assert said(check(logs=[A1], events=events)) == [
        "Events row 7, Date: soaked on 1 May 2026, after A1 left the yard on 1 Sep 2025. Needed: the right "
        "date and log. Check both days."]
    part = [{"date": dt.datetime(2025, 9, 1), "event": "retired", "log": "A1", "amount": 4.0}, events[1]]
    assert said(check(logs=[{**A1, "count": 10.0}], events=part)) == []


def test_two_soaks_close_together():
    events = [{"date": dt.datetime(2026, 5, d), "event": "soaked", "log": "A1"} for d in (1, 4)]
    assert said(check(logs=[A1], events=events)) == [
        "Events row 7, Date: A1 soaked on 4 May 2026 and on 1 May 2026. Needed: one soak, then a rest. Check "
        "whether it was typed twice."]
    events[1]["date"] = dt.datetime(2026, 7, 3)
    assert said(check(logs=[A1], events=events)) == []


# 12 lb from one 5 x 40 in log of white oak: volume pi/4 x 5^2 x 40 = 785.4 cu in = 0.4545 cu ft. Wood is
# 1/1.16 of it, 0.3918 cu ft, at 62.43 x 0.60 x 1.6827 = 63.03 lb: 24.70 lb; bark is 0.0627 cu ft at 62.43 x
# 0.56 x 1.8889 = 66.04 lb: 4.14 lb. Together 28.8 lb, and 12 / 28.8 = 42 %.
def test_a_harvest_in_ounces_is_asked_about():
    assert said(one_event(amount=12.0)) == [
        "Events row 6, Amount, see Lists: 12 lb picked from one log is 42% of what the fresh wood weighed. "
        "Needed: the weight picked. If 12 oz was meant, type 0.75; it is used as typed."]
    shared = {"date": DAY, "event": "picked", "log": "A1-A2", "amount": 6.0}
    found = check(logs=logs("A1", "A2"), events=[shared])
    assert said(found) == []


def test_a_weight_that_jumps_by_the_factor_of_pounds_and_kilograms():
    events = [{"date": dt.datetime(2026, 5, d), "event": "weighed", "log": "A1", "amount": w}
              for d, w in ((1, 30.0), (8, 29.0), (15, 13.1))]
    assert said(check(logs=[A1], events=events)) == [
        "Events row 8, Amount, see Lists: 13.1 lb, after 29 lb on 8 May 2026, is a step as from lb to kg. "
        "Needed: the weight in lb. Check the unit; it is used as typed."]


def sale(**changes):
    return {"date": DAY, "market": "Partner "
                                   "A", "kind": "sold", "product": "fresh", "amount": 1.0, "price": 8.0,
            **changes}


@pytest.mark.parametrize("row, words", [
    (sale(price=None), ["Price: no price is known for fresh at Partner A. Needed: a price. Type it here, or "
                        "on Lists with a date not after this one."]),
    (sale(kind="lent"), ['Kind: "lent" is not in the list. Needed: delivered, sold, returned, spoiled, '
                         'counted, paid, fee or correction. Pick from the list.']),
    (sale(product=None), ["Product: nothing was typed. Needed: fresh or dried. Pick one from the list."]),
    (sale(market=None), ["Market: nothing was typed. Needed: a market. Pick a market from the list."]),
    (sale(amount=-1.0), ["Amount, weight or money: -1 lb is negative. Needed: pounds, 0 or more. Type it "
                         "again."]),
    (sale(market="Parnter A"), ['Market: "Parnter A" was read as "Partner A".']),
    (sale(market="partner a "), []),
    (sale(market="Hotel C"), ['Market: "Hotel C" is not on Lists. Needed: an entry of the list. Add it on '
                              'Lists; it is kept as typed.']),
    (sale(price="$8/lb"), []), (sale(kind="paid", product=None, price=None), []),
    (sale(kind="correction", product=None, price=None, amount=-12.5), []),
    (sale(kind="fee", product=None, price=None, amount=-12.5), ["Amount, weight or money: -12.5 is negative. Needed: an amount of money, "
                                                                "0 or more. Type it again."]),
    (sale(kind="correction", product=None, price=None, amount=-2e9), [
        "Amount, weight or money: -2000000000 is too small. Needed: an amount of money, -1000000000 or more. Type it again."]),
])
def test_sales(row, words):
    found = check(logs=[A1], sales=[row], markets=MARKETS,
                  events=[{"date": DAY, "event": "picked", "log": "A1", "amount": 2.0}])
    assert said(found) == [f"Sales row 6, {w}" for w in words]


def test_more_sold_than_was_picked():
    found = check(logs=[A1], markets=MARKETS, sales=[sale(amount=0.6), sale(amount=0.6)],
                  events=[{"date": DAY, "event": "picked", "log": "A1", "amount": 1.0}])
    assert said(found) == [
        "Sales row 7, Amount, weight or money: by then 1.2 lb fresh had gone to markets, but only 1 lb had "
        "been picked. Needed: sales of what was picked. Look for a pick that is missing or a sale typed "
        "twice."]


# ---- what lines take against what there was ------------------------------------------------------

def test_more_logs_gone_than_there_are():
    rows = [{"date": DAY, "event": "lost", "log": "A1", "amount": 3}, {"date": DAY, "event": "retired", "log": "A1", "amount": 4},
            {"date": DAY, "event": "retired", "log": "A2", "amount": 9}, {"date": DAY, "event": "retired", "log": "A3"}]
    found = check(logs=[{**log, "count": 5} for log in logs("A1", "A2", "A3")], events=rows)
    tail = "Needed: logs that are still there. Check the number and the log; no more leave than there are."
    assert said(found) == [f"Events row 7, Amount, see Lists: 4 retired of A1, which holds 5, of which 3 had left. {tail}",
                           f"Events row 8, Amount, see Lists: 9 retired of A2, which holds 5. {tail}"]


def test_more_culled_than_picked():
    rows = [{"date": DAY, "event": "picked", "log": "A1", "amount": 1}, {"date": DAY, "event": "culled", "log": "A1", "amount": 1},
            {"date": DAY, "event": "culled", "log": "A1", "amount": 0.5}]
    assert said(check(logs=logs("A1"), events=rows)) == [
        "Events row 8, Amount, see Lists: 1.5 lb culled of A1 up to here, and 1 lb picked. Needed: weight thrown out of what was "
        "picked. Check the weight, the log and whether the pick is written down."]
    yard_pick = {"date": DAY, "event": "picked", "log": "nowhere", "amount": 5}  # may have come from A1
    assert not any("culled" in words for words in said(check(logs=logs("A1"), events=[*rows, yard_pick])))


def test_the_same_line_twice_and_names_that_mean_something_else():
    row = {"date": DAY, "event": "picked", "log": "A1", "amount": 0.5}
    found = check(logs=[*logs("A1"), {**logs("B1")[0], "log": "all"}], events=[row, {**row, "amount": 0.75}, row])
    assert said(found) == [
        'Logs row 7, Log: "all" is the name of this log and also a word for every log. Needed: a name of its own. Give the log '
        "another name; lines that say it mean this log alone until then.",
        "Events row 8, Date: picked 0.5 lb of A1 on 1 May 2026 stands in a row above as well. Needed: one line for each weighing. "
        "Clear one of them if it was typed twice; both count until then."]


def test_a_pick_too_heavy_is_asked_about_with_and_without_a_known_wood():
    pick = [{"date": DAY, "event": "picked", "log": "A1", "amount": 400.0}]
    end = "Needed: the weight picked. If 400 oz was meant, type 25; it is used as typed."  # 16 oz are a pound
    known, unknown = (said(check(logs=[{**logs("A1")[0], "wood": wood}], events=pick)) for wood in ("white oak", None))
    assert known[-1].endswith("% of what the fresh wood weighed. " + end)
    assert unknown[-1] == f"Events row 6, Amount, see Lists: 400 lb picked from one log is more than a log gives. {end}"


def test_dried_sales_and_money_are_not_held_against_the_fresh_harvest():
    """1 lb was picked: 5 lb of dried (bought in, or of an earlier year) and a fee of 50 are no fresh weight; 2 lb of fresh are too much."""
    def asked(**line):
        sale = {"date": DAY, "market": "Partner A", "kind": "sold", "product": "fresh", "price": 8.0, **line}
        markets = [{"market": "Partner A", "terms": "on consignment"}]
        picks = [{"date": DAY, "event": "picked", "log": "A1", "amount": 1.0}]
        return [line for line in said(check(logs=logs("A1"), markets=markets, events=picks, sales=[sale])) if line.startswith("Sales")]

    assert asked(product="dried", amount=5.0) == [] and asked(kind="fee", amount=50.0, price=None) == [] and asked(amount=1.0) == []
    assert len(asked(amount=2.0)) == 1


def test_a_total_with_a_date_and_money_of_another_country():
    rows = [{"date": DAY, "item": "plugs", "amount": 10.0}, {"date": DAY, "item": "wax", "amount": 5.0},
            {"date": DAY, "item": "Total", "amount": 15.0}, {"date": DAY, "item": "total loss", "amount": 7.0},
            {"date": DAY, "item": "saw", "amount": "€30"}]
    found = check(costs=rows)
    assert said(found) == [
        "Costs row 8: this row is a total typed by hand and was not added again.",
        "Costs row 9: this row says total, has a date and is not the sum of the rows above. Clear the row if it is a sum; "
        "it is counted until then.",
        'Costs row 10, Amount: "€30" is in another currency. Needed: an amount of money in USD. Type the amount in USD.']
    assert found.counts["costs"] == (4, 3)


def test_spans_in_another_unit_and_names_and_prices_that_cannot_stand():
    found = check(costs=[{"date": DAY, "item": "tank", "amount": 120.0, "life_years": "18 months"}])
    assert found.frames["costs"]["life_years"].tolist() == [1.5]
    assert said(found) == ['Costs row 6, Life: "18 months" was read as 1.5 (in years).']
    found = check(logs=[*logs("A1"), *logs("a 01"), *logs("B1-B20")])
    assert said(found) == [
        'Logs row 7, Log: "a 01" reads like "A1". Needed: a name of its own. Give one of them another name; lines must spell theirs '
        "exactly until then.",
        'Logs row 8, Log: "B1-B20" reads like 20 logs, and Count says 1. Needed: the number of logs. Type 20 in Count, or a name '
        "without a range."]
    prices = [{"price_market": "Stall", "price_product": "fresh", "price_from": DAY, "price_each": 10.0},
              {"price_market": "Stall", "price_product": "fresh", "price_from": DAY, "price_each": 14.0},
              {"price_market": "Stall", "price_product": "dried", "price_each": 90.0}]
    told = said(check(prices=prices, markets=[{"market": "Stall", "terms": "own stall"}]))
    assert any("another price at Stall holds from the same day" in words for words in told)
    assert any("the price at Stall has no day from which it holds" in words for words in told)
    assert "Type" not in said(check(logs=logs("A1", "A13"), events=[{"date": DAY, "event": "picked", "log": "A1-B3", "amount": 0.5}]))[0]


def test_the_sale_that_brings_most_of_the_excess_is_named():
    sold = [{"date": DAY, "market": "Stall", "kind": "sold", "product": "fresh", "amount": amount, "price": 9.0} for amount in (0.1, 500.0, 1.0)]
    told = [words for words in said(check(sales=sold, markets=MARKETS)) if "had been picked" in words]
    assert len(told) == 1 and told[0].startswith("Sales row 7") and "only 0 lb had been picked" in told[0]


# ---- the edges of what is asked about ------------------------------------------------------------

def at_day(day, event="picked", amount=0.5, **more):
    return {"date": dt.datetime.fromisoformat(day), "event": event, "log": "A1", "amount": amount, **more}


@pytest.mark.parametrize("day, asked", [
    ("2024-02-29", "before A1 was inoculated"), ("2024-03-01", "only days after A1 was inoculated"),
    ("2024-04-05", "only days after A1 was inoculated"), ("2024-04-06", "")])
def test_a_pick_is_early_for_five_weeks_from_the_day_of_inoculation_on(day, asked):
    """Inoculated on 1 March 2024: 35 days later is 5 April."""
    found = said(check(logs=[A1], events=[at_day(day)]))
    assert len(found) == bool(asked) and all(asked in words for words in found)


def test_on_the_day_it_leaves_a_log_may_still_be_picked():
    def asked(day):
        return said(check(logs=[A1], events=[at_day("2025-09-01", "retired", None), at_day(day)]))

    assert asked("2025-09-01") == []
    assert len(asked("2025-09-02")) == 1 and "after A1 left the yard on 1 Sep 2025" in asked("2025-09-02")[0]


def test_soaks_of_one_log_four_days_apart_or_of_two_logs_are_not_asked_about():
    def asked(*lines):
        return said(check(logs=logs("A1", "A2"), events=[at_day(day, "soaked", 12.0, log=log) for day, log in lines]))

    assert asked(("2026-05-01", "A1"), ("2026-05-05", "A1")) == [] and asked(("2026-05-01", "A1"), ("2026-05-01", "A2")) == []
    assert [words[:42] for words in asked(("2026-05-01", "A1"), ("2026-05-01", "A1"))] == ["Events row 7, Date: A1 soaked twice on 1 M"]
    both = asked(("2026-05-01", "A1-A2"), ("2026-05-03", "A1-A2"))
    assert len(both) == 1 and "A1 and 1 more soaked on 3 May 2026 and on 1 May 2026" in both[0]


def test_a_step_between_pounds_and_kilograms_is_that_of_one_log():
    def asked(*lines):
        found = check(logs=logs("A1", "A2"), events=[at_day(day, "weighed", weight, log=log) for day, log, weight in lines])
        return [words for words in said(found) if "step as from lb to kg" in words]

    assert len(asked(("2026-05-01", "A1", 13.0), ("2026-05-08", "A1", 28.0))) == 1  # 28 / 13 = 2.15: upwards too
    assert asked(("2026-05-01", "A1", 13.0), ("2026-05-08", "A2", 28.0)) == []
    assert asked(("2026-05-01", "A1", 20.0), ("2026-05-08", "A1", 28.0)) == []  # 1.4
    assert len(asked(("2026-05-08", "A1", 28.0), ("2026-05-01", "A1", 13.0))) == 1  # in whatever order they are typed


@pytest.mark.parametrize("kind, market, since, asked", [
    ("sold", "Partner A", DAY, 0), ("sold", "Partner A", DAY + dt.timedelta(days=1), 1), ("sold", "Partner A", None, 1),
    ("delivered", "Partner A", None, 0), ("delivered", "Kitchen B", None, 1), ("sold", "Kitchen B", None, 0), ("returned", "Partner A", None, 0)])
def test_a_price_is_asked_for_where_money_is_owed_and_none_is_known_on_the_day(kind, market, since, asked):
    """On consignment money is owed for what is sold, bought outright for what is delivered."""
    prices = [{"price_market": market, "price_product": "fresh", "price_from": since, "price_each": 9.0}] if since else []
    unpriced, pick = sale(kind=kind, market=market, price=None), at_day("2026-04-01", amount=3.0)
    found = check(logs=[A1], sales=[unpriced], markets=MARKETS, prices=prices, events=[pick])
    assert sum("no price is known for fresh at" in words for words in said(found)) == asked


def test_what_went_out_is_held_against_what_was_picked_by_then():
    """4 lb picked on 1 May. Where a market takes deliveries its sales bring no more out; what comes back comes off."""
    def asked(*lines, picked="2026-05-01"):
        sales = [sale(date=dt.datetime.fromisoformat(day), kind=kind, amount=amount, market=market) for day, kind, amount, market in lines]
        found = check(logs=[A1], sales=sales, markets=MARKETS, events=[at_day(picked, amount=4.0)])
        return [words for words in said(found) if "had gone to markets" in words]

    assert asked(("2026-05-01", "delivered", 4.0, "Partner A"), ("2026-05-02", "sold", 4.0, "Partner A")) == []
    assert len(asked(("2026-05-01", "delivered", 4.0, "Partner A"), ("2026-05-02", "sold", 1.0, "Kitchen B"))) == 1
    back = ("2026-05-03", "returned", 1.0, "Partner A")
    assert asked(("2026-05-01", "delivered", 4.0, "Partner A"), back, ("2026-05-04", "sold", 1.0, "Kitchen B")) == []
    assert len(asked(("2026-05-01", "delivered", 1.0, "Partner A"), picked="2026-05-02")) == 1
    most = asked(*((f"2026-05-0{day}", "delivered", weight, "Partner A") for day, weight in ((1, 3.0), (2, 9.0), (3, 1.0))))
    assert len(most) == 1 and most[0].startswith("Sales row 7,") and "by then 12 lb fresh had gone to markets, but only 4 lb" in most[0]


@pytest.mark.parametrize("day, words, used", [
    ("2027-11-16", "16 Nov 2027 is after 15 Nov 2026", 1), ("2027-11-17", "17 Nov 2027 is beyond reason", 0),  # 366 and 367 days on
    ("1950-01-01", "picked on 1 Jan 1950, before A1 was inoculated", 1), ("1949-12-31", "31 Dec 1949 is beyond reason", 0)])
def test_a_year_typed_wrong_takes_the_row_out_and_a_day_to_come_is_asked_about(day, words, used):
    found = check(logs=[A1], events=[at_day(day)])
    assert len(said(found)) == 1 and words in said(found)[0] and found.counts["events"] == (1, used)


def test_waxed_on_the_day_of_felling_is_no_question():
    felled = {**A1, "felled": dt.datetime(2024, 2, 20), "inoculated": dt.datetime(2024, 2, 20)}
    on, before = (said(check(logs=[felled], events=[at_day(day, "waxed", None)])) for day in ("2024-02-20", "2024-02-19"))
    assert on == [] and len(before) == 1 and "waxed on 19 Feb 2024, before A1 was felled on 20 Feb 2024" in before[0]


def test_how_many_logs_left_must_be_readable_since_blank_means_all():
    """Ten logs: with "some" in the cell the row waits; blank takes all ten, 2 takes two."""
    def left(amount):
        found = check(logs=[{**A1, "count": 10.0}], events=[at_day("2026-05-01", "retired", amount)])
        return said(found), found.counts["events"]

    assert left(None) == left(2.0) == ([], (1, 1))
    assert left("some") == (['Events row 6, Amount, see Lists: "some" is not a number. Needed: a number. Type the number.'], (1, 0))

"""What the cells of a sheet are read as, and what each bad one gets, in exact words."""
import datetime as dt

import numpy as np
import pytest
from intake_book import A1, DAY, ERROR, IN, LB, MARKETS, check, one_event, one_log, said

from workbook_template import schema


def test_clean_rows_come_out_in_si_and_nothing_is_said():
    found = check(
        logs=[A1, {**A1, "log": "A2", "count": 10.0, "large_end": 6.0, "start_moisture": 0.42}],
        events=[{"date": DAY, "event": "picked", "log": "A1", "amount": 0.5, "minutes": 12.0},
                {"date": DAY, "event": "rain", "amount": 1.5}, {"date": DAY, "event": "soaked", "log": "A2",
                                                                 "amount": 24.0}],
        costs=[{"date": DAY, "item": "spawn", "amount": 30.0, "for_logs": "A1"},
               {"date": DAY, "item": "drill", "amount": 90.0}],
        markets=MARKETS,
        sales=[{"date": DAY, "market": "Partner "
                                       "A", "kind": "sold", "product": "fresh", "amount": 0.5, "price": 8.0},
               {"date": DAY, "market": "Partner A", "kind": "paid", "amount": 4.0}])
    assert said(found) == []
    logs = found.frames["logs"]
    assert logs["row"].tolist() == [6, 7] and list(logs.index) == [0, 1]
    assert logs["diameter_m"].tolist() == [5 * IN, 5 * IN] and logs["length_m"].iat[0] == 40 * IN
    assert logs["count"].tolist() == [1, 10] and logs["count"].dtype == np.int64
    assert logs["large_end_m"].iat[1] == 6 * IN and logs["start_moisture"].iat[1] == 0.42
    events = found.frames["events"]
    assert events["amount"].tolist() == [0.5 * LB, 1.5 * IN, 24.0]
    assert events["whole_yard"].tolist() == [False, True, False] and not events["odd_time"].any()
    assert found.event_links.to_numpy().tolist() == [[0, 0], [2, 1]]
    assert found.frames["costs"]["shared"].tolist() == [False, True]
    assert found.cost_links.to_numpy().tolist() == [[0, 0]]
    assert found.frames["sales"]["amount"].tolist() == [0.5 * LB, 4.0]
    assert found.frames["sales"]["price"].iat[0] == pytest.approx(8 / LB)
    assert found.counts["logs"] == (2, 2) and found.counts["events"] == (3, 3)


def test_metric_columns_and_lists_come_out_in_si():
    found = check("metric", logs=[{**A1, "diameter": 12.0, "length": 100.0}],
                  events=[{"date": DAY, "event": "rain", "amount": 20.0}],
                  prices=[{"price_market": "Partner A", "price_product": "fresh", "price_from": DAY,
                           "price_each": 15.0}], markets=MARKETS)
    assert said(found) == []
    assert found.frames["logs"]["diameter_m"].iat[0] == pytest.approx(0.12)
    assert found.frames["events"]["amount"].iat[0] == pytest.approx(0.020)
    assert found.frames["prices"]["price_each"].iat[0] == 15.0
    forms = check("us").frames["forms"].set_index("form")
    assert forms.loc["totem", "weight_per_log"] == pytest.approx(
        schema.BY_KEY["forms"].shipped("us")[4]["weight_per_log"] * LB)
    # 68 deg F is 20 deg C: (68 - 32) / 1.8.
    assert check("us").frames["strains"].set_index("strain").loc["shiitake, cold weather", "fruits_to"] == \
        pytest.approx(20)


# ---- cells: text, units, dates, errors ---------------------------------------------------------

@pytest.mark.parametrize("typed, inches", [("4'2\"", 50), ("4 ft 2 in", 50), ("3½'", 42), ("40\"", 40),
                                           ("100cm", 100 / 2.54), ("1,2 m", 120 / 2.54), (" 40 ", 40)])
def test_a_size_typed_as_text_is_read_in_silence(typed, inches):
    found = one_log(length=typed)
    assert said(found) == [] and found.frames["logs"]["length_m"].iat[0] == pytest.approx(inches * IN)


@pytest.mark.parametrize("column, typed, words", [
    ("diameter", "5-6", '"5-6" is a range from 5 to 6. Needed: inches. Type one number; the '
     "middle is 5.5."),
    ("length", "1,200", '"1,200" is 1200 or 1.2. Needed: inches. Type 1200 or 1.2.'),
    ("length", "lots", '"lots" is not a number. Needed: inches. Type the number.'),
    ("length", "4O", '"4O" has a letter in the number. Needed: inches. Type 40.'),
    ("length", "12 oz", '"12 oz" is a weight, not a length. Needed: inches. Type the number.'),
    ("length", "=1+2", '"=1+2" is a formula kept as text. Needed: inches. Type the number.'),
    ("length", ERROR, "the error #REF! stands here. Needed: inches. Type the number."),
    ("length", True, "TRUE is not a number. Needed: inches. Type the number."),
    ("diameter", dt.datetime(2026, 5, 16), '"5/16" was stored as 16 May. Needed: inches. Type '
     "0.3125 or mark the cell as text."),
    ("diameter", dt.datetime(2026, 4, 6), '"4-6" was stored as 6 Apr. Needed: inches. Type 5, '
     "the middle of 4 to 6, or mark the cell as text."),
    ("diameter", dt.datetime(2026, 3, 4), '"3/4" was stored as 4 Mar. Needed: inches. Type 0.75 '
     "(3/4) or 3.5 (the middle of 3 to 4), or mark the cell as text."),
    ("diameter", dt.datetime(1940, 4, 1), '"4-40" was stored as 1 Apr 1940. Needed: inches. Type '
     "the number or mark the cell as text."),
    ("diameter", None, "nothing was typed. Needed: inches. Type the diameter."),
    ("diameter", -4.0, "-4 in is negative. Needed: inches, 0.197 to 59.1. Type it again."),
    ("length", 1200.0, "1200 in is beyond reason. Needed: inches, 1.97 to 472. If 1200 mm was "
     "meant, type 47.2."),
    ("count", 2.5, "2.5 is not a whole number. Needed: a whole number, 1 or more. Type it again."),
    ("log", None, "nothing was typed. Needed: a name for this log. Type a name used once, such as A1."),
    ("log", dt.datetime(2026, 3, 1), "a name was stored as the date 1 Mar 2026. Needed: a log name. "
     "Mark the cell as text and type the name again, perhaps MAR1, 3-1 or 1-3."),
])
def test_a_size_that_cannot_be_used_takes_its_row_out(column, typed, words):
    found = one_log(**{column: typed})
    assert said(found) == [f"Logs row 6, {schema.BY_KEY['logs'].column(column).title}: {words}"]
    assert found.problems[0].level == "refused"
    assert len(found.frames["logs"]) == 0 and found.counts["logs"] == (1, 0)


def test_a_date_in_a_size_follows_the_order_of_the_workbook():
    found = check(order="day first", logs=[{**A1, "diameter": dt.datetime(2026, 6, 4)}])
    assert said(found) == ['Logs row 6, Diameter: "4-6" was stored as 4 Jun. Needed: inches. Type 5, the '
                           'middle of 4 to 6, or mark the cell as text.']


@pytest.mark.parametrize("column, typed, words", [
    ("diameter", 14.0, "14 in is unusual. Needed: inches, usually 2 to 12. If it is the girth, "
     "type 4.46; it is used as typed."),
    ("length", 4.0, "4 in is unusual. Needed: inches, usually 7.87 to 98.4. If 4 ft was meant, type "
     "48; it is used as typed."),
    ("hole_spacing", 30.0, "30 in is unusual. Needed: inches, usually 1.97 to 15.7. Check it; "
     "it is used as typed."),
])
def test_an_unlikely_size_is_used_and_asked_about(column, typed, words):
    found = one_log(**{column: typed})
    assert said(found) == [f"Logs row 6, {schema.BY_KEY['logs'].column(column).title}: {words}"]
    assert found.problems[0].level == "question"
    assert len(found.frames["logs"]) == 1


def test_diameter_and_length_changed_over_are_asked_about_once():
    assert said(one_log(diameter=40.0, length=5.5)) == [
        "Logs row 6, Diameter: 40 in is unusual. Needed: inches, usually 2 to 12. If diameter and length are "
        "changed over, type 5.5 and 40; it is used as typed."]


def test_ends_and_days_of_a_log_that_cannot_be_right_together():
    assert said(one_log(large_end=4.0, felled=dt.datetime(2024, 5, 1))) == [
        "Logs row 6, Inoculated: inoculated on 1 Mar 2024, before it was felled on 1 May 2024. Needed: the "
        "right days. Check both days.",
        "Logs row 6, Large end: the large end is thinner than the other. Needed: the diameter of the thick "
        "end. Change the two over; they are used as typed."]


def test_both_sizes_in_one_cell():
    found = one_log(diameter="5 x 40 in", length=None)
    assert said(found) == ['Logs row 6, Diameter: "5 x 40 in" was read as 5 in thick and 40 in long.']
    sizes = found.frames["logs"][["diameter_m", "length_m"]].iloc[0].tolist()
    assert sizes == pytest.approx([5 * IN, 40 * IN])
    found = one_log(diameter="5 x 40 in")
    assert said(found) == ['Logs row 6, Diameter: "5 x 40 in" holds two sizes. Needed: inches. Type the '
                           'number.']


def test_a_cell_that_is_not_needed_is_left_out_alone():
    found = one_log(rota_week="soon", hole_spacing=-6.0)
    assert said(found) == [
        'Logs row 6, Rota week: "soon" is not a number. Needed: a whole number. Type the number; the cell is '
        'left out until then.',
        "Logs row 6, Hole spacing: -6 in is negative. Needed: inches, 0.197 to 78.7. Type it again; the cell "
        "is left out until then."]
    assert {p.level for p in found.problems} == {"question"}
    assert len(found.frames["logs"]) == 1
    assert np.isnan(found.frames["logs"]["hole_spacing_m"].iat[0])
    assert np.isnan(found.frames["logs"]["rota_week"].iat[0])


@pytest.mark.parametrize("typed, fraction, words", [
    (0.42, 0.42, []), ("42 %", 0.42, []), (42.0, 0.42, ["42 was read as 42 %"]),
    ("42", 0.42, ['"42" was read as 42 %']),
])
def test_moisture_in_percent(typed, fraction, words):
    found = one_log(start_moisture=typed)
    assert said(found) == [f"Logs row 6, Start moisture, wet basis: {w}." for w in words]
    assert found.frames["logs"]["start_moisture"].iat[0] == pytest.approx(fraction)


@pytest.mark.parametrize("typed, pounds, words", [
    ("12 "
     "oz", 0.75, []), ("1 lb 4 oz", 1.25, []), ("1.5#", 1.5, []), ("500 g", 0.5 / LB, []), ("1,6", 1.6, []),
    ("~3", 3, ['Events row 6, Amount, see Lists: "~3" was read as 3 lb, marked as rough.']),
    ("3?", 3, ['Events row 6, Amount, see Lists: "3?" was read as 3 lb, marked as rough.']),
    ("none", 0, []), ("-", 0, []),
])
def test_amounts_typed_as_text(typed, pounds, words):
    found = one_event(amount=typed)
    assert said(found) == words
    assert found.frames["events"]["amount"].iat[0] == pytest.approx(pounds * LB)


@pytest.mark.parametrize("typed, words", [
    (None, "nothing was typed. Needed: pounds. Type the amount, or 0."),
    ("2-3 lb", '"2-3 lb" is a range from 2 to 3. Needed: pounds. Type one number; the '
     "middle is 2.5."),
    ("lots", '"lots" is not a number. Needed: pounds. Type the number.'),
    (-1.0, "-1 lb is negative. Needed: pounds, 0 or more. Type it again."),
    (ERROR, "the error #REF! stands here. Needed: pounds. Type the number."),
    (dt.datetime(2026, 2, 3), '"2-3" was stored as 3 Feb. Needed: pounds. Type 2.5, '
     "the middle of 2 to 3, or mark the cell as text."),
])
def test_a_pick_without_a_readable_weight_is_left_out(typed, words):
    found = one_event(amount=typed)
    assert said(found) == [f"Events row 6, Amount, see Lists: {words}"] and found.counts["events"] == (1, 0)


def test_a_soak_whose_hours_cannot_be_read_is_still_a_soak():
    found = one_event(event="soaked", amount="overnight")
    assert said(found) == ['Events row 6, Amount, see Lists: "overnight" is not a number. Needed: hours. '
                           'Type the number; the cell is left out until then.']
    assert found.counts["events"] == (1, 1)
    assert one_event(event="soaked", amount="1 day").frames["events"]["amount"].iat[0] == 24
    assert one_event(minutes="1 h 30 min").frames["events"]["minutes"].iat[0] == 90


def test_an_amount_in_words_of_an_event_without_an_amount_is_left_aside():
    found = one_event(event="checked", amount="ready")
    assert said(found) == ['Events row 6, Amount, see Lists: "ready" is not counted: this kind of event has '
                           'no amount.']
    assert found.counts["events"] == (1, 1)


# ---- dates -------------------------------------------------------------------------------------

@pytest.mark.parametrize("typed, day", [
    ("2026-04-05", "2026-04-05"), ("4/13/26", "2026-04-13"), ("13.04.2026", "2026-04-13"), ("5 Apr "
     "26", "2026-04-05"),
    ("4/5/26", "2026-04-05"),
])
def test_dates_as_text(typed, day):
    order = None if "13." in typed else "month first"
    pick = {"date": typed, "event": "picked", "log": "A1", "amount": 0.5}
    found = check(order=order, logs=[A1], events=[pick])
    assert said(found) == [] and str(found.frames["events"]["date"].iat[0])[:10] == day


@pytest.mark.parametrize("typed, words", [
    ("April 5", '"April 5" names no year. Needed: a date. Type 2026-04-05.'),
    ("Dec 24", '"Dec 24" names no year. Needed: a date. Type 2025-12-24.'),
    ("lots", '"lots" is not a date. Needed: a date. Type it as year-month-day, such as 2026-04-05.'),
    (None, "nothing was typed. Needed: a date. Type the day it happened."),
    (dt.datetime(2072, 5, 1), "1 May 2072 is beyond reason. Needed: a date. Type the right year."),
    (12.0, "12 is a number, not a date. Needed: a date. Type it as year-month-day, such as 2026-04-05."),
    (ERROR, "the error #REF! is not a date. Needed: a date. Type it as year-month-day, such as 2026-04-05."),
])
def test_an_event_without_a_day_is_left_out(typed, words):
    found = one_event(date=typed)
    assert said(found) == [f"Events row 6, Date: {words}"] and found.counts["events"] == (1, 0)


def test_an_ambiguous_date_is_asked_without_a_stated_order_and_in_a_column_of_both():
    def events(*texts):
        return [{"date": t, "event": "picked", "log": "A1", "amount": 0.5 + i / 8} for i, t in enumerate(texts)]

    found = check(order=None, logs=[A1], events=events("4/5/26"))
    assert said(found) == ['Events row 6, Date: "4/5/26" is 5 Apr 2026 or 4 May 2026. Needed: a date. Type '
                           '2026-04-05 or 2026-05-04.']
    found = check(logs=[A1], events=events("13/4/26", "4/13/26", "4/5/26"))
    assert said(found) == ['Events row 8, Date: "4/5/26" is 5 Apr 2026 or 4 May 2026: the column also holds '
                           '"13/4/26", which is day first. Needed: a date. Type 2026-04-05 or 2026-05-04.']
    assert found.counts["events"] == (3, 2)


# Day 46117 is 5 Apr 2026: 365 days before day 46482, 5 Apr 2027.
def test_day_numbers_in_a_date_column():
    found = one_event(date=46117.0)
    assert said(found) == ["Events row 6, Date: 46117 was read as 5 Apr 2026."]
    found = one_event(date=46117.0 + 1462)
    assert said(found) == [
        "Events row 6, Date: 47579 is the day number of 6 Apr 2030, or of 5 Apr 2026 in the 1904 date "
        "system. Needed: a date. Type 2026-04-05 or 2030-04-06."]


def test_a_day_to_come_is_asked_about():
    found = one_event(date=dt.datetime(2026, 12, 1))
    assert said(found) == ["Events row 6, Date: 1 Dec 2026 is after 15 Nov 2026, the day of the results. "
                           "Needed: a day that has been. Check the date; the row counts from that day on."]
    assert found.counts["events"] == (1, 1)


def test_a_pasted_column_with_half_its_dates_turned_round_is_noticed():
    real = {0: (2026, 1, 5), 1: (2026, 9, 5), 4: (2026, 2, 6), 5: (2026, 10, 6)}
    texts = {2: "17/05/2026", 3: "25/05/2026", 6: "18/06/2026"}
    events = [{"date": dt.datetime(*real[i]) if i in real else texts[i], "event": "rain", "amount": 1.0}
              for i in range(7)]
    assert said(check(order="day first", events=events)) == [
        'Events, Date: 4 dates probably have day and month changed over, in rows 6, 7, 10, 11: each has a day of 12 or less, '
        'others such as "17/05/2026" stayed text, and the rows run better in time the other way. Needed: '
        'real dates. Change day and month over in those cells, or paste the column again.']
    assert check(order="day first", events=events).problems[0].code == "swapped_dates"


def test_other_words_of_the_trade_are_known():
    from calc import tables
    from calc.intake_choices import match
    from workbook_template.lists_tables import EVENT_KINDS, FIXED_LISTS
    entries = {"event_kinds": [k[0] for k in EVENT_KINDS], "sale_kinds": list(FIXED_LISTS["sale_kinds"])}
    for row in tables.rows("other_words"):
        known = {tables.plain(e): e for e in entries[row["list"]]}
        assert row["meant"] in known.values() and tables.plain(row["typed"]) not in known, row
        assert match(row["typed"].title() + " ", known, row["list"]) == (row["meant"], True, []), row


def test_a_word_of_an_entry_is_offered():
    from calc.intake_choices import match
    known = {"shiitakewiderange": "shiitake, wide range", "oyster": "oyster"}
    assert match("shitake", known, "strains") == (None, False, ["shiitake, wide range"])

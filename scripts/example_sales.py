"""Cooler, dryer and markets of the invented yard, day by day: where the mushrooms of example_yard.py went."""
from __future__ import annotations

import datetime as dt

from example_yard import AS_OF, SALE_KEYS, between, one_of, step, write

COMMISSION = 0.25
LAST_PAYING_DAY = dt.date(2026, 10, 1)  # what comes later is still owed
STALL, PARTNER, KITCHEN = "Saturday stall", "Partner A", "Kitchen B"


def sell(rng, diary):
    """Cooler, dryer and markets, day by day; returns the Sales rows."""
    sales = []
    shop = {"fresh": 0.0, "dried": 0.0, "partner": 0.0, "due": 0.0, "lot": "", "docket": 101, "kitchen": []}

    def sale(date, market, kind, amount, product="fresh", **more):
        sales.append(dict.fromkeys(SALE_KEYS, "") | {"date": date.isoformat(), "market": market, "kind": kind,
                                                      "product": product, "amount": amount} | more)

    date = dt.date(2024, 10, 1)
    while date <= AS_OF:
        for text, pounds, lot in diary.picks.get(date, ()):
            shop["fresh"], shop["lot"] = shop["fresh"] + pounds, lot
            if rng.random() < 0.13:
                culled = step(min(pounds, max(0.05, pounds * between(rng, 0.04, 0.16))), 0.05)
                why = one_of(rng, ("slugs", "soaked by rain", "old caps"))
                write(diary, date, "culled", text, culled, why)
                shop["fresh"] -= culled
        shop["fresh"] *= 0.9985  # water lost in the cooler: nobody writes this down
        week = date.isocalendar()[1]
        if date.year > 2024:
            {3: to_kitchen, 4: to_partner, 5: to_stall, 6: at_home}.get(date.weekday(), nothing)(
                rng, diary, sale, shop, date, week)
        elif date.weekday() == 6 and shop["fresh"] > 0.25:
            take(diary, shop, date, "given", shop["fresh"], "eaten at home, the first ones")
        if date.day in (14, 28) and 5 <= date.month <= 10 and date.year > 2024 or date == AS_OF:
            write(diary, date, "stored", amount=step(shop["fresh"], 0.05), minutes=5)
            if date.day != 14 and date.month in (8, 10, 11) and shop["dried"] > 0:
                write(diary, date, "dried count", amount=step(shop["dried"], 0.01))
        date += dt.timedelta(1)
    return sales


def nothing(*_):
    pass


def take(diary, shop, date, event, pounds, note="", **more):
    pounds = step(pounds, 0.05)
    if 0 < pounds <= shop["fresh"] + 0.03:
        shop["fresh"] -= pounds
        write(diary, date, event, amount=pounds, note=note, **more)
    return pounds


def to_kitchen(rng, diary, sale, shop, date, week):
    if shop["kitchen"] and (date - shop["kitchen"][0][0]).days >= 14 and date < LAST_PAYING_DAY:
        was, pounds = shop["kitchen"].pop(0)
        sale(date, KITCHEN, "paid", round(pounds * 11.0, 2), sale_note=f"for {was.day} {was:%b}")
    if date.year == 2026 and 5 <= date.month and week % 4 == 1 and shop["fresh"] > 1.6:
        pounds = step(min(3.0, shop["fresh"] * 0.7), 0.25)
        shop["fresh"] -= pounds
        shop["kitchen"].append((date, pounds))
        sale(date, KITCHEN, "delivered", pounds, lot=shop["lot"], docket=shop["docket"])
        shop["docket"] += 1


def to_partner(rng, diary, sale, shop, date, week):
    price = 12.0 if date < dt.date(2026, 5, 1) else 13.0
    if shop["partner"]:
        pounds, shop["partner"] = shop["partner"], 0.0
        sold = step(pounds * one_of(rng, (1.0, 0.85, 0.75, 0.9)), 0.25)
        sale(date, PARTNER, "sold", sold)
        shop["due"] += sold * price * (1 - COMMISSION)
        if pounds - sold >= 0.2:
            kind = one_of(rng, ("returned", "spoiled")) if date < dt.date(2026, 10, 25) else "counted"
            sale(date, PARTNER, kind, round(pounds - sold, 2))
            shop["fresh"] += pounds - sold if kind == "returned" else 0
        if shop["due"] > 25 and date < LAST_PAYING_DAY:
            sale(date, PARTNER, "fee", 2.0, sale_note="shelf fee")
            sale(date, PARTNER, "paid", round(shop["due"] - 2.0, 2))
            shop["due"] = 0.0
    elif date >= dt.date(2025, 9, 1) and 5 <= date.month <= 11 and week % 4 == 3 and shop["fresh"] > 1.4:
        pounds = step(min(4.0, shop["fresh"] * 0.75), 0.25)
        shop["fresh"] -= pounds
        shop["partner"] = pounds
        sale(date, PARTNER, "delivered", pounds, lot=shop["lot"], docket=shop["docket"])
        shop["docket"] += 1


def to_stall(rng, diary, sale, shop, date, week):
    if 5 <= date.month <= 10 and week % 3 == 0 and shop["fresh"] > 1.4:
        pounds = step(shop["fresh"] * between(rng, 0.4, 0.75), 0.05)
        shop["fresh"] -= pounds
        sale(date, STALL, "sold", pounds, lot=shop["lot"])
        write(diary, date, "worked", minutes=90, note="at the stall")
        if shop["dried"] > 0.3 and date.month in (6, 9, 10):
            sale(date, STALL, "sold", 0.25, "dried")
            shop["dried"] -= 0.25


def at_home(rng, diary, sale, shop, date, week):
    if shop["fresh"] > 3.1 and date > dt.date(2025, 5, 10):
        into = take(diary, shop, date, "dried", shop["fresh"] * 0.7, minutes=25, lot=f"D{date:%y}-{week:02d}",
                    dried_out=step(shop["fresh"] * 0.7 / between(rng, 7.2, 8.8), 0.01))
        shop["dried"] += float(diary.events[-1]["dried_out"]) if into else 0
    elif date.month == 12 and shop["fresh"] > 0.05:
        take(diary, shop, date, "given", shop["fresh"], "the last of the year, eaten at home")
    elif shop["fresh"] > 0.3 and rng.random() < 0.4:
        take(diary, shop, date, "given", min(shop["fresh"] * 0.6, between(rng, 0.2, 0.8)), one_of(
            rng, ("eaten at home", "to neighbours", "")))
    elif shop["fresh"] > 0.5 and rng.random() < 0.25:
        take(diary, shop, date, "spoiled", between(rng, 0.15, 0.45), "slimy at the back of the cooler")

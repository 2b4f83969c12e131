"""Columns of the result tables about markets: settlement, promises, lots, keeping. Kind and meaning, as in calc.results."""
from __future__ import annotations

_PERIOD = {
    "market": ("text", "market, as first typed"),
    "terms": ("text", "on consignment, bought outright, own stall"),
    "begins": ("date", "first day of the period: a month, cut where a period was closed within it"),
    "ends": ("date", "last day of it"),
    "closed": ("text", "closed where a row of Closed periods on Lists reaches its last day"),
}
MARKET_COLUMNS = {
    # Money by market and period, to the cent. brought + due - paid = open, and open is brought into the next period.
    "settlement": {
        **_PERIOD,
        "brought": ("money", "open from the periods before"),
        "sales": ("money", "sold x price in force on its date, line by line to the cent"),
        "lost": ("money", "loss between counts beyond the loss allowed, at the last price"),
        "commission": ("money", "commission on the sales, line by line to the cent"),
        "fees": ("money", "fees typed and fees by the day"),
        "corrections": ("money", "correction lines dated in the period"),
        "due": ("money", "sales + lost - commission - fees + corrections"),
        "paid": ("money", "paid lines; at an own stall what is due"),
        "open": ("money", "brought + due - paid; below 0 more was paid than was due"),
        "rows": ("whole", "lines of Sales it rests on"),
        "words": ("text", "what does not add up, else blank"),
    },
    # Weight by market, period and product. opening + delivered - sold - returned - spoiled - unexplained = closing.
    "settlement_stock": {
        **_PERIOD,
        "product": ("text", "fresh or dried"),
        "opening_kg": ("weight", "there at the beginning"),
        "delivered_kg": ("weight", "delivered"),
        "sold_kg": ("weight", "sold; delivered less returned where the market buys outright"),
        "returned_kg": ("weight", "came back"),
        "spoiled_kg": ("weight", "spoiled there"),
        "counted_kg": ("weight", "found at the last count of the period; NaN without a count"),
        "unexplained_kg": ("weight", "missing at the counts of the period, below 0 where more was found; NaN without a count"),
        "allowed_kg": ("weight", "of it nobody's fault by Lists; NaN without a count or where nothing is agreed"),
        "charged_kg": ("weight", "of it charged to the market; below 0 where a charge was taken back"),
        "closing_kg": ("weight", "there at the end"),
        "rows": ("whole", "lines of Sales it rests on"),
        "words": ("text", "what the counts say"),
    },
    "settlement_ages": {
        "market": ("text", "market"),
        "to_30": ("money", "open for up to 30 days; payments settle the oldest first"),
        "to_60": ("money", "31 to 60 days"),
        "to_90": ("money", "61 to 90 days"),
        "over_90": ("money", "longer"),
        "open": ("money", "all that is open; below 0 more was paid than was due"),
        "late": ("money", "of it older than the days to pay agreed on Lists"),
        "oldest": ("date", "day of the oldest money still open"),
        "payment_days": ("whole", "days to pay agreed on Lists; NaN if none"),
        "words": ("text", "whether it is within the days agreed"),
    },
    # By market, product and lot. Adds up to the weights and sales of the settlement; fees and losses are of no lot.
    "settlement_lots": {
        "market": ("text", "market"),
        "lot": ("text", "lot as first typed on Sales, or (no lot)"),
        "product": ("text", "fresh or dried"),
        "first": ("date", "first line of it"),
        "last": ("date", "last line of it"),
        "delivered_kg": ("weight", "delivered"),
        "sold_kg": ("weight", "sold; delivered less returned where the market buys outright"),
        "returned_kg": ("weight", "came back"),
        "spoiled_kg": ("weight", "spoiled there"),
        "left_kg": ("weight", "still there by the lines, counts left aside; below 0 more went out than came"),
        "sales": ("money", "sold x price in force"),
        "commission": ("money", "commission on it"),
        "net": ("money", "sales less commission"),
        "rows": ("whole", "lines of Sales it rests on"),
        "words": ("text", "where it stands"),
    },
}

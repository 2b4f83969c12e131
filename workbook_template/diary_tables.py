"""Events, Costs and Sales: the dated tables, with their native formulas and Python twins."""
from __future__ import annotations

from calc import cents, economics
from workbook_template.columns import CHOICE, COMPUTED, DATE, NUMBER, ROWKEY, TEXT, YESNO, Column, Table
from workbook_template.twins import Env, blank, is_number, limit, serial

DATE_LIKE = 20000  # a date kept as a number starts far above this: such a weight or count is never computed live
MOST_MINUTES = limit("events", "minutes")["refuse_above"]
KEY_HELP = "Leave this as it is: it keeps rows apart when copies are merged."


def picked_weight(row: dict, env: Env):
    """Weight of a picked event up to the As of day, 0 where it cannot be used; blank for any other event."""
    if str(row.get("event") or "").casefold() != "picked":
        return ""
    if not is_number(row.get("amount")) or not is_number(row.get("date")):
        return 0.0
    amount = serial(row["amount"])
    return amount if 0 <= amount < DATE_LIKE and serial(row["date"]) <= serial(env.as_of) else 0.0


def labour(row: dict, env: Env):
    """Minutes of a dated line at their wage; 0 for a helper paid through Costs, blank where no time is written."""
    if not is_number(row.get("minutes")) or not is_number(row.get("date")):
        return ""
    minutes = serial(row["minutes"])
    if not 0 <= minutes <= MOST_MINUTES:
        return ""
    helper = env.lookup("helpers", "helper", row.get("who")) or {}
    if str(helper.get("paid_in_costs") or "").casefold() == "yes":
        return 0.0
    wage = helper["helper_wage"] if is_number(helper.get("helper_wage")) else env.settings["wage"]
    return minutes / 60 * serial(wage)


def event_check(row: dict, env: Env):
    if all(blank(row.get(k)) for k in ("date", "event", "log", "amount", "event_note")):
        return ""
    if blank(row.get("date")):
        return "needs a date"
    if not is_number(row["date"]):
        return "read at refresh"
    if blank(row.get("event")):
        return "which event?"
    kind = env.lookup("event_kinds", "event_kind", row["event"])
    if kind is None:
        return "event not in Lists"
    if kind["event_needs"] == "yes" and blank(row.get("amount")):
        return "how much?"
    if not blank(row.get("amount")) and not is_number(row["amount"]):
        return "read at refresh"
    if not blank(row.get("amount")) and (serial(row["amount"]) < 0 or serial(row["amount"]) >= DATE_LIKE):
        return "amount? date or below 0"
    if blank(row.get("log")):
        return "ok: whole yard" if kind["whole_yard"] == "yes" else "which log?"
    if env.lookup("logs", "log", row["log"]) is None:
        return "log read at refresh"
    return "ok"


HELPER = "MATCH({who},lst_helper,0)"
OWN_WAGE = f"IF(ISNUMBER(INDEX(lst_helper_wage,{HELPER})),INDEX(lst_helper_wage,{HELPER}),set_wage)"
EVENTS = Table(
    key="events", sheet="Events", title="Events",
    about="One line for everything that happens. What the amount means for each event stands on Lists.",
    columns=(
        Column("date", "Date", DATE, "The day it happened.", width=12, needed=True, looks="date"),
        Column("event", "Event", CHOICE, "Pick from the list.", width=12, needed=True, list="event_kinds"),
        Column("log", "Log", TEXT, "A log, a range A1-A20, a list A1, A3, a place, a wood, or all. Blank: the whole yard.",
               width=16, needed=True),
        Column("amount", "Amount, see Lists", NUMBER,
               "Picked, culled, dried: the weight of all logs named together. Weighed: each log's weight. "
               "Watered, rain: depth. Soaked: hours. Retired, lost: number of logs.", width=10, needed=True, looks="two"),
        Column("event_note", "Note", TEXT, "Anything.", width=26),
        Column("event_check", "Check", COMPUTED, "What this row still needs.", width=24, looks="text",
               formula='IF(AND({date}="",{event}="",{log}="",{amount}="",{event_note}=""),"",IF({date}="","needs a date",'
                       'IF(NOT(ISNUMBER({date})),"read at refresh",IF({event}="","which event?",'
                       'IF(ISNA(MATCH({event},lst_event,0)),"event not in Lists",'
                       'IF(AND(INDEX(lst_event_needs,MATCH({event},lst_event,0))="yes",{amount}=""),"how much?",'
                       'IF(AND({amount}<>"",NOT(ISNUMBER({amount}))),"read at refresh",'
                       f'IF(AND({{amount}}<>"",OR(N({{amount}})<0,N({{amount}})>={DATE_LIKE})),"amount? date or below 0",'
                       'IF({log}="",IF(INDEX(lst_event_yard,MATCH({event},lst_event,0))="yes","ok: whole yard","which log?"),'
                       'IF(IFERROR(SUMPRODUCT(--(log_log={log})),0)=0,"log read at refresh","ok"))))))))))',
               twin=event_check),
        Column("picked", "Counts as picked", COMPUTED, "Weight of a picked line up to the As of day.", quantity="weight", width=9,
               looks="two_or_blank",
               formula='IFERROR(IF({event}="picked",IF(ISNUMBER({amount}),IF(ISNUMBER({date}),IF({amount}<0,0,'
                       f'IF({{amount}}>={DATE_LIKE},0,IF({{date}}<=set_as_of,{{amount}},0))),0),0),""),0)', twin=picked_weight),
        Column("labour", "Labour", COMPUTED, "Minutes at the wage on Settings, or the helper's own on Lists; 0 for a helper paid through Costs.",
               quantity="money", width=9, looks="two_or_blank",
               formula=f'IF(AND(ISNUMBER({{minutes}}),ISNUMBER({{date}})),IF(OR({{minutes}}<0,{{minutes}}>{MOST_MINUTES:g}),"",{{minutes}}/60*'
                       f'IF({{who}}="",set_wage,IFERROR(IF(INDEX(lst_helper_paid,{HELPER})="yes",0,{OWN_WAGE}),set_wage))),"")', twin=labour),
        Column("minutes", "Minutes", NUMBER, "Time it took, own time too. This is what makes the labour view true.",
               width=8, looks="whole"),
        Column("who", "Who", CHOICE, "Blank: yourself at the wage on Settings. Helpers stand on Lists.", width=11, list="helpers"),
        Column("grade", "Grade", TEXT, "Your own grade of what was picked.", width=8),
        Column("picked_wet", "Picked wet", YESNO, "yes if picked in or after rain: it keeps less long.", width=8, list="yesno"),
        Column("lot", "Lot", TEXT, "Harvest or dried lot, if you use lots.", width=10),
        Column("dried_out", "Dried out", NUMBER, "For a dried event: dried weight that came out.", quantity="weight",
               width=9, looks="two"),
        Column("tank", "Tank or place", CHOICE, "Soak tank, or the place moved to.", width=13, list="places"),
        Column("row", "Row", ROWKEY, KEY_HELP, width=9),
    ),
)


def yearly_charge(row: dict, env: Env):
    if not is_number(row.get("amount")) or not is_number(row.get("life_years")):
        return ""
    price, life = serial(row["amount"]), serial(row["life_years"])
    salvage = serial(row["salvage"]) if is_number(row.get("salvage")) else 0.0
    if life <= 0 or salvage > price or salvage < 0:
        return ""
    rate = economics.real_rate(env.settings["interest"], env.settings["inflation"])
    return economics.capital_charge(price, salvage, life, rate)


def cost_check(row: dict, env: Env):
    if all(blank(row.get(k)) for k in ("date", "item", "amount")):
        return ""
    if blank(row.get("date")):
        return "needs a date"
    if blank(row.get("amount")):
        return "how much money?"
    if not is_number(row["date"]) or not is_number(row["amount"]):
        return "read at refresh"
    if not blank(row.get("life_years")):
        if not is_number(row["life_years"]) or serial(row["life_years"]) <= 0:
            return "life in years?"
        if is_number(row.get("salvage")) and serial(row["salvage"]) > serial(row["amount"]):
            return "salvage above price"
        if is_number(row.get("salvage")) and serial(row["salvage"]) < 0:
            return "salvage below 0"
    return "ok"


REAL_RATE = "((1+set_interest)/(1+set_inflation)-1)"
COSTS = Table(
    key="costs", sheet="Costs", title="Costs",
    about="One line for every amount of money spent. Own time is not typed here: it comes from Minutes on Events.",
    columns=(
        Column("date", "Date", DATE, "The day the money went.", width=12, needed=True, looks="date"),
        Column("item", "Item", TEXT, "What was bought.", width=26, needed=True),
        Column("amount", "Amount", NUMBER, "Money spent, in your currency.", quantity="money", width=11, needed=True,
               looks="money"),
        Column("yearly", "Yearly charge", COMPUTED,
               "For things that last: capital recovery at the real rate, (price - salvage) x factor + salvage x rate.",
               width=11, looks="money",
               formula='IF(AND(ISNUMBER({amount}),ISNUMBER({life_years})),IF(OR({life_years}<=0,N({salvage})>{amount},N({salvage})<0),"",'
                       f'IF(ABS({REAL_RATE})<1E-12,({{amount}}-N({{salvage}}))/{{life_years}},'
                       f'({{amount}}-N({{salvage}}))*{REAL_RATE}/(1-(1+{REAL_RATE})^-{{life_years}})+N({{salvage}})*{REAL_RATE})),"")',
               twin=yearly_charge),
        Column("cost_check", "Check", COMPUTED, "What this row still needs.", width=18, looks="text",
               formula='IF(AND({date}="",{item}="",{amount}=""),"",IF({date}="","needs a date",IF({amount}="","how much money?",'
                       'IF(OR(NOT(ISNUMBER({date})),NOT(ISNUMBER({amount}))),"read at refresh",IF({life_years}="","ok",'
                       'IF(NOT(ISNUMBER({life_years})),"life in years?",IF({life_years}<=0,"life in years?",'
                       'IF(AND(ISNUMBER({salvage}),{salvage}>{amount}),"salvage above price",'
                       'IF(N({salvage})<0,"salvage below 0","ok")))))))))', twin=cost_check),
        Column("category", "Category", CHOICE, "Kind of spending.", width=12, list="categories"),
        Column("for_logs", "For", TEXT, "all, a wood, a strain, a log or a range, or an inoculation year. Blank means all.",
               width=16),
        Column("life_years", "Life", NUMBER, "Years of use, for tools and gear.", unit="years", width=8, looks="one"),
        Column("salvage", "Salvage", NUMBER, "What it will still be worth at the end.", quantity="money", width=10, looks="money"),
        Column("cost_note", "Note", TEXT, "Anything.", width=26),
        Column("row", "Row", ROWKEY, KEY_HELP, width=9),
    ),
)

WEIGHT_KINDS = ("delivered", "sold", "returned", "spoiled", "counted")
MONEY_KINDS = ("paid", "fee", "correction")


def price_in_force(row: dict, env: Env):
    if is_number(row.get("price")):
        return serial(row["price"])
    if not is_number(row.get("date")) or str(row.get("kind") or "").casefold() not in WEIGHT_KINDS:
        return ""
    day, best = serial(row["date"]), None
    for p in env.rows.get("prices", []):
        same = (str(p.get("price_market") or "").casefold() == str(row.get("market") or "").casefold()
                and str(p.get("price_product") or "").casefold() == str(row.get("product") or "").casefold())
        if same and is_number(p.get("price_from")) and is_number(p.get("price_each")) and serial(p["price_from"]) <= day:
            if best is None or serial(p["price_from"]) > best[0]:
                best = (serial(p["price_from"]), serial(p["price_each"]))
    return "" if best is None else best[1]


def sale_value(row: dict, env: Env):
    kind = str(row.get("kind") or "").casefold()
    if not is_number(row.get("amount")):
        return ""
    if kind in MONEY_KINDS:
        return to_the_cent(serial(row["amount"]))
    price = price_in_force(row, env)
    if price == "":
        return ""
    terms = (env.lookup("markets", "market", row.get("market")) or {}).get("terms")
    signs = {"bought outright": {"delivered": 1, "returned": -1}}.get(terms, {"sold": 1})
    return to_the_cent(serial(row["amount"]) * price * signs[kind]) if kind in signs else ""


def to_the_cent(amount: float) -> float:
    return float(cents.money(cents.to_cents(amount)))


def sale_check(row: dict, env: Env):
    if all(blank(row.get(k)) for k in ("date", "market", "kind", "product", "amount")):
        return ""
    if blank(row.get("date")):
        return "needs a date"
    if not is_number(row["date"]):
        return "read at refresh"
    if env.lookup("markets", "market", row.get("market")) is None:
        return "market not in Lists"
    kind = str(row.get("kind") or "").casefold()
    if kind not in WEIGHT_KINDS + MONEY_KINDS:
        return "which kind?"
    if blank(row.get("amount")):
        return "how much?"
    if not is_number(row["amount"]):
        return "read at refresh"
    if kind in ("sold", "delivered") and price_in_force(row, env) == "":
        return "no price in force"
    return "ok"


KIND_OF_WEIGHT = "OR(" + ",".join(f'{{kind}}="{k}"' for k in WEIGHT_KINDS) + ")"
KIND_OF_MONEY = "OR(" + ",".join(f'{{kind}}="{k}"' for k in MONEY_KINDS) + ")"
LATEST = ("SUMPRODUCT(MAX((lst_price_market={market})*(lst_price_product={product})*(lst_price_since<={date})"
          "*lst_price_since))")
FIRST_OF_DAY = ("INDEX(lst_price_each,MATCH(1,INDEX((lst_price_market={market})*(lst_price_product={product})"
                f"*(lst_price_since={LATEST}),0),0))")
TERMS = 'IFERROR(INDEX(lst_market_terms,MATCH({market},lst_market,0)),"")'
SALES = Table(
    key="sales", sheet="Sales", title="Sales",
    about="One line for every movement to, at and from a market, and for money received or charged.",
    columns=(
        Column("date", "Date", DATE, "The day it happened.", width=12, needed=True, looks="date"),
        Column("market", "Market", CHOICE, "Partner, stall, kitchen or door, from Lists.", width=18, needed=True, list="markets"),
        Column("kind", "Kind", CHOICE, "delivered, sold, returned, spoiled, counted: weight. paid, fee: money. "
               "correction: money that puts a closed period right; above 0 adds to what is owed, below 0 takes off.", width=11,
               needed=True, list="sale_kinds"),
        Column("product", "Product", CHOICE, "fresh or dried.", width=9, needed=True, list="products"),
        Column("amount", "Amount, weight or money", NUMBER, "Weight in the workbook's unit; money for paid, fee and correction.", width=11,
               needed=True, looks="two"),
        Column("in_force", "Price in force", COMPUTED, "The price typed, else the newest price on Lists not after the date.",
               quantity="money per weight", width=10, looks="money",
               formula='IF(ISNUMBER({price}),{price},IF(AND(ISNUMBER({date}),' + KIND_OF_WEIGHT + f'),IFERROR(IF({LATEST}=0,"",'
                       + FIRST_OF_DAY + '),""),""))', twin=price_in_force),
        Column("value", "Value", COMPUTED, "Sold x price; delivered less returned x price where the market buys outright. To the cent.",
               width=11, looks="money",
               formula=f'IF(ISNUMBER({{amount}}),IF({KIND_OF_MONEY},ROUND({{amount}},2),IF({{in_force}}="","",IF({TERMS}="bought outright",'
                       'IF({kind}="delivered",ROUND({amount}*{in_force},2),IF({kind}="returned",ROUND({amount}*{in_force}*-1,2),"")),'
                       'IF({kind}="sold",ROUND({amount}*{in_force},2),"")))),"")', twin=sale_value),
        Column("sale_check", "Check", COMPUTED, "What this row still needs.", width=18, looks="text",
               formula='IF(AND({date}="",{market}="",{kind}="",{product}="",{amount}=""),"",IF({date}="","needs a date",'
                       'IF(NOT(ISNUMBER({date})),"read at refresh",IF(ISNA(MATCH({market},lst_market,0)),"market not in Lists",'
                       f'IF(NOT(OR({KIND_OF_WEIGHT},{KIND_OF_MONEY})),"which kind?",IF({{amount}}="","how much?",'
                       'IF(NOT(ISNUMBER({amount})),"read at refresh",IF(AND(OR({kind}="sold",{kind}="delivered"),{in_force}=""),'
                       '"no price in force","ok"))))))))', twin=sale_check),
        Column("price", "Price", NUMBER, "Only if it differs from the price list.", quantity="money per weight", width=10,
               looks="money"),
        Column("grade", "Grade", TEXT, "Your own grade.", width=8),
        Column("lot", "Lot", TEXT, "Harvest or dried lot.", width=10),
        Column("docket", "Docket", TEXT, "Number of the delivery note.", width=10),
        Column("sale_note", "Note", TEXT, "Anything.", width=24),
        Column("row", "Row", ROWKEY, KEY_HELP, width=9),
    ),
)


PROMISED = ("asked", "promised", "ordered")


def _named(row: dict, key: str) -> str:
    return str(row.get(key) or "").casefold()


def promise_delivered(row: dict, env: Env):
    """Weight delivered by Sales for the market and product, Monday to Sunday of the promise's week; sold where it never gets any delivered."""
    if not is_number(row.get("promise_week")) or not _named(row, "promise_market") or not _named(row, "promise_product"):
        return ""
    day = serial(row["promise_week"])
    monday = day - (int(day) - 2) % 7
    mine = [sale for sale in env.rows.get("sales", [])
            if (_named(sale, "market"), _named(sale, "product")) == (_named(row, "promise_market"), _named(row, "promise_product"))]
    gave = "delivered" if any(_named(sale, "kind") == "delivered" for sale in mine) else "sold"
    return float(sum(serial(sale["amount"]) for sale in mine
                     if _named(sale, "kind") == gave and is_number(sale.get("amount")) and is_number(sale.get("date"))
                     and monday <= serial(sale["date"]) < monday + 7))


def promise_check(row: dict, env: Env):
    if all(blank(row.get(k)) for k in ("promise_week", "promise_market", "promise_product", *PROMISED)):
        return ""
    if blank(row.get("promise_week")):
        return "which week?"
    if not is_number(row["promise_week"]):
        return "read at refresh"
    if env.lookup("markets", "market", row.get("promise_market")) is None:
        return "market not in Lists"
    if _named(row, "promise_product") not in ("fresh", "dried"):
        return "fresh or dried?"
    amounts = [row.get(k) for k in PROMISED]
    if any(not blank(a) and not is_number(a) for a in amounts):
        return "read at refresh"
    if any(is_number(a) and not 0 <= serial(a) < DATE_LIKE for a in amounts):
        return "amount? date or below 0"
    return "how much?" if all(blank(a) for a in amounts) else "ok"


MONDAY = "({promise_week}-WEEKDAY({promise_week},2)+1)"
A_TEXT = "OR(" + ",".join(f'AND({{{k}}}<>"",NOT(ISNUMBER({{{k}}})))' for k in PROMISED) + ")"
AN_ODD_ONE = "OR(" + ",".join(f"N({{{k}}})<0,N({{{k}}})>={DATE_LIKE}" for k in PROMISED) + ")"
NONE_TYPED = "AND(" + ",".join(f'{{{k}}}=""' for k in PROMISED) + ")"
PROMISES = Table(
    key="promises", sheet="Promises", title="Promises",
    about="One line for a week at a market: what it asked for, what you promised, what it ordered. One pool for all: see Coming weeks.",
    columns=(
        Column("promise_week", "Week", DATE, "Any day of the week; weeks begin on Monday.", width=12, needed=True, looks="date"),
        Column("promise_market", "Market", CHOICE, "From Lists.", width=18, needed=True, list="markets"),
        Column("promise_product", "Product", CHOICE, "fresh or dried.", width=9, needed=True, list="products"),
        Column("asked", "Asked", NUMBER, "What the market would like.", quantity="weight", width=10, needed=True, looks="two"),
        Column("promised", "Promised", NUMBER, "What you said would come.", quantity="weight", width=10, needed=True, looks="two"),
        Column("ordered", "Ordered", NUMBER, "What it then ordered.", quantity="weight", width=10, looks="two"),
        Column("promise_delivered", "Delivered", COMPUTED,
               "Delivered lines on Sales of that week, Monday to Sunday; sold ones where nothing is ever delivered.",
               quantity="weight", width=10, looks="two_or_blank",
               formula='IF(OR(NOT(ISNUMBER({promise_week})),{promise_market}="",{promise_product}=""),"",'
                       'SUMPRODUCT((sal_kind=IF(SUMPRODUCT((sal_kind="delivered")*(sal_market={promise_market})*(sal_product={promise_product}))>0,'
                       '"delivered","sold"))*(sal_market={promise_market})*(sal_product={promise_product})'
                       f'*ISNUMBER(sal_date)*(sal_date>={MONDAY})*(sal_date<{MONDAY}+7),sal_amount))', twin=promise_delivered),
        Column("promise_check", "Check", COMPUTED, "What this row still needs.", width=22, looks="text",
               formula='IF(AND({promise_week}="",{promise_market}="",{promise_product}="",' + NONE_TYPED + '),"",'
                       'IF({promise_week}="","which week?",IF(NOT(ISNUMBER({promise_week})),"read at refresh",'
                       'IF(ISNA(MATCH({promise_market},lst_market,0)),"market not in Lists",'
                       'IF(NOT(OR({promise_product}="fresh",{promise_product}="dried")),"fresh or dried?",'
                       f'IF({A_TEXT},"read at refresh",IF({AN_ODD_ONE},"amount? date or below 0",IF({NONE_TYPED},"how much?","ok"))))))))',
               twin=promise_check),
        Column("promise_note", "Note", TEXT, "Anything.", width=26),
        Column("row", "Row", ROWKEY, KEY_HELP, width=9),
    ),
)

"""Cautions, where the work is planned or written down. They stand for no training and defer to local codes and licensed practice.

Common practice and the bulletins on the Sources sheet, unless a source is named.
"""

START = (
    "Pick and eat only what you inoculated and can name. Other fungi grow on the same logs and some kill; when in doubt, throw it out. "
    "Cook through before eating.",
    "Felling, sawing, lifting soaked logs and hot wax hurt people every year: training, protective gear, a second person, a water bath. "
    "Selling food and moving wood have local rules. Follow your local codes and licensed practice.",
)
PLAN = (
    "Felling and chain-saw work can kill: training, protective gear, an escape route, never alone, others well away. "
    "A leaning, hung or storm-damaged tree is for a professional. Ask about permits and boundaries.",
    "Lifting: the limit is a guide from the NIOSH equation for good footing; yards are worse and soaked logs heavier. "
    "Share the lift, use a cart, or cut shorter.",
    "Hot wax: melt in a water bath with a thermometer, never leave it, pot well under full, no water on a wax fire, "
    "a lid and extinguisher at hand, away from dry leaves.",
    "Moving wood with bark on may be restricted across county or state lines: ask the state office first. "
    "Follow your local rules and trained advice throughout. "
    "Never grow food on treated or painted wood, or on trees from a roadside or fouled ground.",
)
# Below the title of an input sheet.
SHEETS = {
    "Events": "Soak tank: a child or an animal can drown in it, so cover it when you leave; use clean water and keep electricity away. "
              "A soaked log is far heavier than a fresh one: share the lift. Pick only what you inoculated and can name; other fungi grow "
              "on the same logs and some kill.",
    "Sales": "Selling food has local rules: ask about licence, scale, net weight and label before you sell; drying or slicing may count as "
             "processing. Fresh packs must breathe and stay cold; dried ones are sealed and dried until brittle. Tell buyers to cook "
             "through: raw shiitake can cause a rash. Never sell what grew wild on the logs.",
    "Promises": "Promise what is there in 8 weeks of 10, once, and to all markets together. Selling food has local rules: ask about licence, "
                "scale and label before the first sale.",
    "Costs": "These sums are not tax or legal advice. What counts as a business, what may be deducted, insurance and licences are local: "
             "ask there.",
    "Settings": "The lifting limit is a guide for good footing and ideal lifts; yards are worse. Follow your local codes and trained advice "
                "before any number here.",
}
SHOPPING = (
    "Melt wax in a water bath with a thermometer, never over an open flame, and never leave it. Keep a lid and an extinguisher at hand; "
    "no water on a wax fire.",
)
# On the sheet that a market gets.
MARKET_COPY = (
    "Selling food has local rules: ask about licence, scale, net weight and label where you sell before you sell; slicing or drying may count as "
    "processing. This sheet stands for no licence and no advice.",
    "Keep fresh mushrooms cold, in packs that breathe, never airtight; keep dried ones sealed. Tell buyers to cook them through: raw shiitake can "
    "cause a rash. Sell only what came with this sheet.",
)
# Under the lines of This week, Season and Coming weeks, where lifting, soaking, watering and picking are planned.
THIS_WEEK = (
    "Picking: pick only what you inoculated and can name; other fungi grow on the same logs and some kill. When in doubt, throw it out and mark "
    "the log. Cook through before eating: raw shiitake can cause a rash.",
    "Lifting: a soaked log is far heavier than a fresh one. Share the lift, use a cart, mind wet ground and stacks that roll; stop when it hurts.",
    "Tank: a child or an animal can drown in it, so cover it when you leave. Keep pumps, cables and lights dry and on a safety switch; "
    "clean water only.",
    "Yard: rest, shade and water on hot days; look for ticks afterwards; wet logs, bark and hoses make people fall. "
    "Follow your local rules and trained advice.",
)
# Where mushrooms are to be sold, dried or held, and where a market is settled with.
KEEPING = (
    "Drying or slicing may count as processing and need a licence or an inspected kitchen; selling fresh has rules too. Ask your local food "
    "authority before the first sale. Dry until brittle, keep sealed and dry; anything slimy, mouldy or of doubtful smell is thrown out.",
    "Weight: sell by a scale that is approved for trade where you are; a pack must hold at least what its label says, without the wrapper, when it "
    "is sold. What a label must say is set by local rules; print no health claims. Tell buyers to cook through.",
)
PARTNER = (
    "This settles what your lines say; what you and a market agreed stands in your agreement. Not tax or legal advice. Selling food, scales, net "
    "weight and labels have local rules: ask there before you sell.",
)
RECALL = (
    "If anyone may be ill or a pack may be unsafe: stop selling, keep what is left apart and marked, ring every market above, and call whom your "
    "local rules name (food or health authority); they decide on a recall, this page does not. It shows what was written down and nothing else.",
)

"""Sales tax computed a second time, in another language and from the law, to compare with.

Reads one bill per line as JSON and writes one answer per line: the tax in minor units as a whole,
by jurisdiction and by line, each only where the bill's rounding fixes it. It knows nothing of the
Go program: rates and rules are written down here again, the rounding is the statute's words done
literally on decimals (carry to the third place, cut, look at the third digit).

Sources of the rules: Ohio tax.ohio.gov auto repair page and bulletin of April 2025; Kentucky KRS
139.200, 139.230 and the department's labor FAQ; California 18 CCR 1546; Massachusetts LR 85-1;
Virginia P.D. 01-212; Texas 34 TAC 3.290; New York TB-ST-40; Canada: tables of provincial rates;
United Kingdom HMRC VATREC12010. The local parts of California, Virginia and Texas are made up.
"""

import json
import sys
from decimal import ROUND_DOWN, Decimal, getcontext
from fractions import Fraction

getcontext().prec = 60

RATES = {
    "OH": ["0.0575", "0.0225"],
    "KY": ["0.06"],
    "CA": ["0.0725", "0"],
    "MA": ["0.0625"],
    "VA": ["0.053", "0"],
    "TX": ["0.0625", "0.02"],
    "NY": ["0.04", "0.045", "0.00375"],
    "ON": ["0.13"],
    "QC": ["0.05", "0.09975"],
    "GB": ["0.20"],
}
WHOLE_INVOICE = {"ON", "QC", "GB"}


def statute_round(exact):
    """Carry to the third decimal place, then round up when that digit is greater than four."""
    mills = int((exact * 1000).to_integral_value(rounding=ROUND_DOWN))
    cents, third = divmod(mills, 10)
    return cents + (1 if third > 4 else 0)


def cut(exact):
    return int((exact * 100).to_integral_value(rounding=ROUND_DOWN))


def discounted(lines):
    """Amounts after the discount, by largest remainder of the exact shares."""
    charges = [dict(line) for line in lines if line["category"] != "DISCOUNT"]
    off = -sum(line["amount"] for line in lines if line["category"] == "DISCOUNT")
    total = sum(line["amount"] for line in charges)
    if off == 0:
        return charges
    if off > total:
        return None
    for line, part in zip(charges, shares(off, [line["amount"] for line in charges])):
        if part and line["materials"]:
            line["materials"] -= shares(part, [line["materials"], line["amount"] - line["materials"]])[0]
        line["amount"] -= part
    return charges


def shares(whole, weights):
    exact = [Fraction(whole * weight, sum(weights)) for weight in weights]
    parts = [int(x) for x in exact]
    by_remainder = sorted(range(len(weights)), key=lambda i: (parts[i] - exact[i], i))
    for i in by_remainder[: whole - sum(parts)]:
        parts[i] += 1
    return parts


def taxed(place, line, charge, materials, repair_taxed):
    """The taxed part of one line, in minor units; None when the law stops for want of a fact."""
    amount, category = line["amount"], line["category"]
    labor_apart = line["apart"] or line["labor_only"]
    if place in ("OH", "NY", "ON", "QC", "GB"):
        return amount
    if category == "MATERIALS":
        return amount
    if category == "TRIP_CHARGE":
        if place == "KY":
            return None if repair_taxed is None else (amount if repair_taxed else 0)
        return 0 if place in ("CA", "TX") else None
    if place == "KY":
        return 0 if line["labor_only"] else amount
    if place == "TX":
        return 0
    if labor_apart:
        return 0
    if place == "VA":
        return amount
    if line["materials"] == 0 and amount > 0:
        return None
    if place == "CA":
        return line["materials"] if materials * 10 > charge else 0
    return amount if materials * 10 >= charge else 0


def answer(bill):
    place = bill["place"]
    lines = discounted(bill["lines"])
    if not lines:
        return {"stop": True}
    repairs = [line for line in lines if line["category"] in ("REPAIR_LABOR", "MATERIALS")]
    charge = sum(line["amount"] for line in repairs)
    materials = sum(line["materials"] for line in repairs)
    first = {id(line): taxed(place, line, charge, materials, None) for line in repairs}
    repair_taxed = None
    if repairs:
        whole_or_part = [not (place == "KY" and line["category"] == "REPAIR_LABOR" and line["labor_only"]) for line in repairs]
        repair_taxed = any(whole_or_part)
    bases = []
    for line in lines:
        base = first[id(line)] if id(line) in first else taxed(place, line, charge, materials, repair_taxed)
        if base is None:
            return {"stop": True}
        bases.append(base)
    rates = [Decimal(rate) for rate in RATES[place]]
    exact = [[Decimal(base) / 100 * rate for rate in rates] for base in bases]
    if place in WHOLE_INVOICE or bill["basis"] == "INVOICE":
        if bill["aggregate"] and place not in WHOLE_INVOICE:
            return {"tax": statute_round(sum(sum(row) for row in exact))}
        finish = cut if place == "GB" and bill["round_down"] else statute_round
        by_jurisdiction = [finish(sum(row[k] for row in exact)) for k in range(len(rates))]
        return {"tax": sum(by_jurisdiction), "jurisdictions": by_jurisdiction}
    if bill["aggregate"]:
        by_line = [statute_round(sum(row)) for row in exact]
        return {"tax": sum(by_line), "lines": by_line}
    cells = [[statute_round(x) for x in row] for row in exact]
    by_jurisdiction = [sum(row[k] for row in cells) for k in range(len(rates))]
    return {"tax": sum(by_jurisdiction), "jurisdictions": by_jurisdiction, "lines": [sum(row) for row in cells]}


for text in sys.stdin:
    print(json.dumps(answer(json.loads(text))))

// Reads invoices as JSON from the file given, computes their totals by itself, and prints the UBL that
// the npm package @e-invoice-eu/core writes of them, as a JSON array. Amounts are decimal text; all
// arithmetic is on whole numbers (BigInt), with halves away from zero.
const { readFileSync } = require("node:fs");
const { InvoiceService } = require("@e-invoice-eu/core");

const minor = (text) => {
  const [whole, fraction = ""] = text.replace("-", "").split(".");
  const n = BigInt(whole) * 100n + BigInt((fraction + "00").slice(0, 2));
  return text.startsWith("-") ? -n : n;
};
const text = (n) => {
  const digits = (n < 0n ? -n : n).toString().padStart(3, "0");
  return `${n < 0n ? "-" : ""}${digits.slice(0, -2)}.${digits.slice(-2)}`;
};
// percent has at most four decimals.
const taxOn = (taxable, percent) => {
  const [whole, fraction = ""] = (percent || "0").split(".");
  const product = taxable * BigInt(whole + (fraction + "0000").slice(0, 4));
  const size = product < 0n ? -product : product;
  const units = (size + 500_000n) / 1_000_000n;
  return product < 0n ? -units : units;
};

function party(p) {
  // The package asks for an electronic address, which we do not write; the comparison leaves it out.
  const made = { "cbc:EndpointID": "nobody@example.invalid", "cbc:EndpointID@schemeID": "EM", "cac:PartyName": { "cbc:Name": p.name }, "cac:PostalAddress": {}, "cac:PartyLegalEntity": { "cbc:RegistrationName": p.name } };
  const names = { street: "cbc:StreetName", city: "cbc:CityName", zone: "cbc:PostalZone", state: "cbc:CountrySubentity" };
  for (const [key, name] of Object.entries(names)) if (p[key]) made["cac:PostalAddress"][name] = p[key];
  made["cac:PostalAddress"]["cac:Country"] = { "cbc:IdentificationCode": p.country };
  if (p.telephone) made["cac:Contact"] = { "cbc:Telephone": p.telephone };
  return made;
}

function build(i) {
  const money = (name, n) => ({ [name]: text(n), [`${name}@currencyID`]: i.currency });
  const groups = new Map();
  const group = (c, n) => {
    const key = `${c.category} ${c.percent}`;
    groups.set(key, { ...c, taxable: (groups.get(key)?.taxable ?? 0n) + n });
  };
  let lines = 0n, allowances = 0n, tax = 0n;
  for (const l of i.lines) { lines += minor(l.net); group({ category: l.category, percent: l.percent, reason: l.reason }, minor(l.net)); }
  for (const a of i.allowances) { allowances += minor(a.amount); group({ category: a.category, percent: a.percent, reason: a.reason }, -minor(a.amount)); }
  const rate = (c) => ({ "cbc:ID": c.category, ...(c.percent === "" ? {} : { "cbc:Percent": c.percent }), "cac:TaxScheme": { "cbc:ID": "VAT" } });
  const subtotals = [...groups.values()].map((g) => {
    const own = taxOn(g.taxable, g.percent);
    tax += own;
    const category = rate(g);
    if (g.reason) category["cbc:TaxExemptionReason"] = g.reason;
    return { ...money("cbc:TaxableAmount", g.taxable), ...money("cbc:TaxAmount", own), "cac:TaxCategory": category };
  });
  const seller = party(i.seller), buyer = party(i.buyer);
  if (i.seller.tax_number) seller["cac:PartyTaxScheme"] = [{ "cbc:CompanyID": i.seller.tax_number, "cac:TaxScheme": { "cbc:ID": "VAT" } }];
  if (i.buyer.tax_number) buyer["cac:PartyTaxScheme"] = { "cbc:CompanyID": i.buyer.tax_number, "cac:TaxScheme": { "cbc:ID": "VAT" } };
  const net = lines - allowances;
  const made = {
    "cbc:ID": i.number, "cbc:IssueDate": i.issue_date, "cbc:DueDate": i.due_date, "cbc:InvoiceTypeCode": "380",
    "cbc:DocumentCurrencyCode": i.currency,
    "cac:AccountingSupplierParty": { "cac:Party": seller }, "cac:AccountingCustomerParty": { "cac:Party": buyer },
    "cac:PaymentTerms": { "cbc:Note": i.terms },
    "cac:TaxTotal": [{ ...money("cbc:TaxAmount", tax), "cac:TaxSubtotal": subtotals }],
    "cac:LegalMonetaryTotal": {
      ...money("cbc:LineExtensionAmount", lines), ...money("cbc:TaxExclusiveAmount", net), ...money("cbc:TaxInclusiveAmount", net + tax),
      ...(i.allowances.length ? money("cbc:AllowanceTotalAmount", allowances) : {}), ...money("cbc:PayableAmount", net + tax),
    },
    "cac:InvoiceLine": i.lines.map((l) => ({
      "cbc:ID": l.id, ...(l.note ? { "cbc:Note": l.note } : {}), "cbc:InvoicedQuantity": "1", "cbc:InvoicedQuantity@unitCode": "C62",
      ...money("cbc:LineExtensionAmount", minor(l.net)),
      "cac:Item": { "cbc:Name": l.name, "cac:ClassifiedTaxCategory": rate(l) },
      "cac:Price": money("cbc:PriceAmount", minor(l.net)),
    })),
  };
  if (i.order) made["cac:OrderReference"] = { "cbc:ID": i.order };
  if (i.allowances.length) made["cac:AllowanceCharge"] = i.allowances.map((a) => ({
    "cbc:ChargeIndicator": "false", "cbc:AllowanceChargeReason": "Discount", ...money("cbc:Amount", minor(a.amount)), "cac:TaxCategory": rate(a) }));
  return { "ubl:Invoice": made };
}

(async () => {
  const service = new InvoiceService({ log() {}, warn: console.error, error: console.error });
  const all = [];
  for (const i of JSON.parse(readFileSync(process.argv[2], "utf8"))) all.push(await service.generate(build(i), { format: "UBL", lang: "en" }));
  console.log(JSON.stringify(all));
})();

// Reads the documents named by the arguments with two parsers of the npm registry and prints, as JSON
// lines, what each found: one line an interchange and one a transaction set. Counts and sums are taken
// here, from the parsers' segments, and by nothing of ours.
import { createReadStream, readFileSync } from "node:fs";
import x12 from "node-x12";
import { X12parser } from "x12-parser";

// cents reads a decimal number ("79.95", "-5") exactly.
function cents(text) {
  const [, sign, whole, part = ""] = /^(-?)(\d+)(?:\.(\d{1,2}))?$/.exec(text) ?? [];
  if (whole === undefined) throw new Error(`${JSON.stringify(text)} is no amount`);
  return (sign ? -1 : 1) * (Number(whole) * 100 + Number(part.padEnd(2, "0")));
}

// Judge takes segments as arrays, the name first, and prints what stands in them.
class Judge {
  constructor(file, parser) { Object.assign(this, { file, parser, groups: 0, sets: 0 }); }
  print(line) { console.log(JSON.stringify({ file: this.file, parser: this.parser, ...line })); }
  take(s) {
    this.segments++;
    const get = (n) => s[n] ?? "";
    switch (s[0]) {
      case "ISA": this.isa = get(13); this.version = get(12); this.groups = 0; break;
      case "GS": this.gs = get(6); this.sets = 0; this.groups++; break;
      case "ST": this.sets++; this.segments = 1; this.set = { kind: get(1), st: get(2), lines: 0, sum: 0, refs: {}, names: {}, described: [] }; break;
      case "BIG": this.set.invoice = get(2); break;
      case "REF": this.set.refs[get(1)] = get(2); break;
      case "N1": this.set.names[get(1)] = get(2); break;
      case "IT1": this.set.lines++; this.set.sum += Number(get(2)) * cents(get(4)); break;
      case "PID": this.set.described.push(get(5)); break;
      case "TXI": this.set.sum += cents(get(2)); break;
      case "SAC": this.set.sum += (get(1) === "C" ? 1 : -1) * Number(get(5)); break;
      case "TDS": this.set.total = Number(get(1)); break;
      case "CTT": this.set.ctt = Number(get(1)); break;
      case "SE":
        this.print({ ...this.set, isCounted: Number(get(1)) === this.segments && get(2) === this.set.st && this.set.ctt === this.set.lines });
        break;
      case "GE": this.isGroupRight = Number(get(1)) === this.sets && get(2) === this.gs; break;
      case "IEA":
        this.print({ interchange: Number(this.isa), version: this.version,
          isCounted: this.isGroupRight && Number(get(1)) === this.groups && get(2) === this.isa });
    }
  }
}

function byNodeX12(file) {
  const judge = new Judge(file, "node-x12");
  const document = new x12.X12Parser(true).parse(readFileSync(file, "utf8"));
  const take = (segment) => judge.take([segment.tag, ...segment.elements.map((e) => e.value)]);
  take(document.header);
  for (const group of document.functionalGroups) {
    take(group.header);
    for (const set of group.transactions) {
      take(set.header);
      set.segments.forEach(take);
      take(set.trailer);
    }
    take(group.trailer);
  }
  take(document.trailer);
}

async function byX12Parser(file) {
  const judge = new Judge(file, "x12-parser");
  for await (const segment of createReadStream(file).pipe(new X12parser())) {
    const elements = [segment.name];
    for (const [name, value] of Object.entries(segment)) {
      if (/^\d+$/.test(name)) elements[Number(name)] = value;
    }
    judge.take(elements);
  }
}

for (const file of process.argv.slice(2)) {
  byNodeX12(file);
  await byX12Parser(file);
}

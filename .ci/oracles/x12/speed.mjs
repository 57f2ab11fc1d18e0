// Measures node-x12 on the document of the first argument: prints nanoseconds a claim for writing it
// from JS EDI notation, and for reading it. Each is the best of several rounds after warming up.
import { readFileSync } from "node:fs";
import x12 from "node-x12";

const text = readFileSync(process.argv[2], "utf8");
const notation = new x12.X12Parser(true).parse(text).toJSEDINotation();
const claims = notation.functionalGroups[0].transactions.length;

function best(rounds, work) {
  let least = Infinity;
  for (let i = 0; i < rounds; i++) {
    const begin = process.hrtime.bigint();
    work();
    least = Math.min(least, Number(process.hrtime.bigint() - begin));
  }
  return least / claims;
}

const written = new x12.X12Generator(notation).toString();
if (written.split("~").length !== text.split("~").length) throw new Error("node-x12 wrote another number of segments");
const write = best(15, () => new x12.X12Generator(notation).toString());
const read = best(15, () => new x12.X12Parser(true).parse(text));
console.log(JSON.stringify({ write, read, claims }));

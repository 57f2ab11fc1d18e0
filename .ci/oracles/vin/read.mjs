// Reads one number a line and answers, tab-separated: the number, whether vin-validator passes
// it, the check digit and the latest model year that @vroomlabs/vin-validate computes.
import { createInterface } from "node:readline";
import { validate } from "vin-validator";
import vroom from "@vroomlabs/vin-validate";

const answers = [];
for await (const number of createInterface({ input: process.stdin })) {
  answers.push([number, validate(number), vroom.checkDigitFromVin(number), vroom.yearFromVin(number)].join("\t"));
}
process.stdout.write(answers.join("\n") + "\n");

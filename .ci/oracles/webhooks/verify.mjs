// Judges the vectors of the file given with the npm package standardwebhooks and prints one line
// a vector: its name, a tab, and accepts or refuses. Headers that stand there twice are joined
// as Node's http server joins them. The package knows one secret, so each is tried.
import { readFileSync } from "node:fs";
import { Webhook } from "standardwebhooks";

function accepts(vector) {
  const headers = {};
  for (const [name, value] of vector.headers) {
    const key = name.toLowerCase();
    headers[key] = key in headers ? `${headers[key]}, ${value}` : value;
  }
  const body = "body_base64" in vector ? Buffer.from(vector.body_base64, "base64") : vector.body;
  Date.now = () => vector.now * 1000;
  return vector.secrets.some((secret) => {
    try {
      new Webhook(secret).verify(body, headers);
      return true;
    } catch {
      return false;
    }
  });
}

for (const vector of JSON.parse(readFileSync(process.argv[2], "utf8"))) {
  console.log(`${vector.name}\t${accepts(vector) ? "accepts" : "refuses"}`);
}

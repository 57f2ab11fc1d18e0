// Writes vectors.json. The signatures come from Node's own crypto, so that no code of this
// project has made what its verifier is judged by. Run: node make_vectors.mjs > vectors.json
import { createHmac, createPrivateKey, sign as signRaw } from "node:crypto";

const t0 = 1614265330;
const published = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
const bytes = (n, from) => Buffer.from(Array.from({ length: n }, (_, i) => (from + i) & 255));
const shared = (n, from) => "whsec_" + bytes(n, from).toString("base64");
const other = shared(32, 100);

// An ed25519 key from 32 fixed bytes, wrapped as PKCS #8 (RFC 8410).
function pair(from) {
  const raw = bytes(32, from);
  const key = createPrivateKey({
    key: Buffer.concat([Buffer.from("302e020100300506032b657004220420", "hex"), raw]), format: "der", type: "pkcs8" });
  const pub = Buffer.from(key.export({ format: "jwk" }).x, "base64url");
  return { key, public: "whpk_" + pub.toString("base64"), private: "whsk_" + raw.toString("base64"),
    long: "whsk_" + Buffer.concat([raw, pub]).toString("base64") };
}
const ed = pair(1), ed2 = pair(77);

const body0 = '{"test": 2432232314}';
const id0 = "msg_p5jXN8AQM9LWM0D4loKWxJek";
const content = (id, ts, body) => Buffer.concat([Buffer.from(`${id}.${ts}.`), Buffer.from(body)]);
const v1 = (secret, id = id0, ts = t0, body = body0) =>
  "v1," + createHmac("sha256", Buffer.from(secret.slice(6), "base64")).update(content(id, ts, body)).digest("base64");
const v1a = (k, id = id0, ts = t0, body = body0) => "v1a," + signRaw(null, content(id, ts, body), k.key).toString("base64");
const good = v1(published);
const wrong = v1(other);

const vectors = [];
// add: o holds what differs from the published message; npm holds what the package
// standardwebhooks says where that is not what we say.
function add(name, want, o = {}, npm = null, why = "") {
  const id = o.id ?? id0, ts = o.ts ?? String(t0), body = o.body ?? body0;
  const signature = o.signature ?? v1((o.secrets ?? [published])[0], id, ts, body);
  const vector = { name, secrets: o.secrets ?? [published],
    headers: o.headers ?? [["webhook-id", id], ["webhook-timestamp", ts], ["webhook-signature", signature]] };
  if (Buffer.isBuffer(body)) vector.body_base64 = body.toString("base64"); else vector.body = body;
  vector.now = o.now ?? t0;
  if (want === "OK") vector.id = id; else vector.reason = want;
  vector.npm = npm ?? (want === "OK" ? "accepts" : "refuses");
  if (why) vector.why = why;
  vectors.push(vector);
}
const lax = "the package does not check this";

// The message that the specification's own libraries test, with its signature as printed there.
add("published", "OK", { signature: "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=" });

// Time.
for (const d of [-300, -299, -1, 1, 299, 300]) add(`now is ${d} s from the timestamp`, "OK", { now: t0 + d });
for (const d of [301, 302, 3600, 86400]) add(`timestamp is ${d} s old`, "TIMESTAMP_OLD", { now: t0 + d });
for (const d of [301, 302, 3600, 86400]) add(`timestamp is ${d} s ahead`, "TIMESTAMP_NEW", { now: t0 - d });
add("timestamp zero at time zero", "OK", { ts: "0", now: 0 });
add("timestamp zero today", "TIMESTAMP_OLD", { ts: "0" });
add("timestamp in milliseconds", "TIMESTAMP_NEW", { ts: "1614265330000" });
for (const [ts, what, npm] of [["+1614265330", "plus sign", "a"], ["-1614265330", "minus sign"], ["01614265330", "leading zero", "a"],
  ["1614265330.0", "fraction", "a"], ["1.61426533e9", "exponent"], ["0x6037c172", "hex"], [" 1614265330", "leading space", "a"],
  ["1614265330 ", "trailing space", "a"], ["1614265330s", "unit", "a"], ["1,614,265,330", "separators"], ["2021-02-25T15:02:10Z", "a date"],
  ["now", "a word"], ["1614265330\u0000", "NUL", "a"], ["١٦١٤٢٦٥٣٣٠", "Arabic digits"], ["9223372036854775808", "over 63 bits"],
  ["1614265330000000", "sixteen digits"]])
  add(`timestamp with ${what}`, "TIMESTAMP_FORM", { ts, signature: good }, npm && "accepts", npm && "the package uses parseInt");

// Identifiers.
for (const [id, what] of [["a", "one character"], ["A".repeat(64), "64 characters"], ["0192f0a4-7c1e-7cc3-98c4-dc0c0c07398f", "a UUID"],
  ["_-_", "punctuation that is allowed"]]) add(`id of ${what}`, "OK", { id });
for (const [id, what] of [["A".repeat(65), "65 characters"], ["msg.1", "a full stop"], ["msg 1", "a space"], ["msg/1", "a slash"], ["msg\u0000", "NUL"],
  ["mśg", "a letter beyond ASCII"], ["msg,1", "a comma"], ["msg\n1", "a line break"], ["<msg>", "angle brackets"]])
  add(`id with ${what}`, "ID_FORM", { id }, "accepts", lax);

// Headers.
const h = (...pairs) => ({ headers: pairs });
const I = ["webhook-id", id0], T = ["webhook-timestamp", String(t0)], S = ["webhook-signature", good];
add("header names in capitals", "OK", h(["WEBHOOK-ID", id0], ["Webhook-Timestamp", String(t0)], ["webhook-SIGNATURE", good]));
add("other headers beside", "OK", h(["content-type", "application/json"], I, T, S, ["x-webhook-id", "other"]));
add("no id", "ID_MISSING", h(T, S));
add("no timestamp", "TIMESTAMP_MISSING", h(I, S));
add("no signature", "SIGNATURE_MISSING", h(I, T));
add("no header at all", "ID_MISSING", h());
add("empty id", "ID_MISSING", h(["webhook-id", ""], T, S));
add("empty timestamp", "TIMESTAMP_MISSING", h(I, ["webhook-timestamp", ""], S));
add("empty signature", "SIGNATURE_MISSING", h(I, T, ["webhook-signature", ""]));
add("id twice, alike", "ID_REPEATED", h(I, I, T, S));
add("id twice, different", "ID_REPEATED", h(I, ["webhook-id", "msg_other"], T, S));
add("id twice in two spellings", "ID_REPEATED", h(I, ["Webhook-Id", id0], T, S));
add("timestamp twice, alike", "TIMESTAMP_REPEATED", h(I, T, T, S), "accepts", "Node joins the two, parseInt reads the first");
add("timestamp twice, different", "TIMESTAMP_REPEATED", h(I, T, ["webhook-timestamp", "1"], S), "accepts", "Node joins the two, parseInt reads the first");
add("signature twice, alike", "SIGNATURE_REPEATED", h(I, T, S, S), "accepts", "Node joins the two with a comma and a space");
add("signature twice, one wrong", "SIGNATURE_REPEATED", h(I, T, S, ["webhook-signature", wrong]), "accepts", "Node joins the two with a comma and a space");
add("headers of another prefix", "ID_MISSING", h(["svc-id", id0], ["svc-timestamp", String(t0)], ["svc-signature", good]));

// Signatures.
const sig = (signature, more = {}) => ({ signature, ...more });
add("the right one second", "OK", sig(`${wrong} ${good}`));
add("the right one last of eight", "OK", sig([...Array(7).fill(wrong), good].join(" ")));
add("an unknown version first", "OK", sig(`v2,AAAA ${good}`));
add("an unknown version of any content", "OK", sig(`v9-draft,?!, ${good}`));
add("a v1a that nobody can check beside", "OK", sig(`${v1a(ed)} ${good}`));
add("nine signatures", "SIGNATURE_COUNT", sig([...Array(8).fill(wrong), good].join(" ")), "accepts", lax);
add("only unknown versions", "SIGNATURE_VERSION", sig("v2,AAAA v3,BBBB"));
add("version in capitals", "SIGNATURE_VERSION", sig(good.replace("v1", "V1")));
add("only v1a for a shared secret", "SIGNATURE_VERSION", sig(v1a(ed)));
add("signature of another secret", "SIGNATURE_MISMATCH", sig(wrong));
add("signature of another id", "SIGNATURE_MISMATCH", sig(v1(published, "msg_other")));
add("signature of another time", "SIGNATURE_MISMATCH", sig(v1(published, id0, t0 + 1)));
add("signature of another body", "SIGNATURE_MISMATCH", sig(v1(published, id0, t0, body0 + " ")));
add("signature without the id", "SIGNATURE_MISMATCH", sig("v1," + createHmac("sha256", Buffer.from(published.slice(6), "base64")).update(`${t0}.${body0}`).digest("base64")));
add("signature with the secret's text as key", "SIGNATURE_MISMATCH", sig("v1," + createHmac("sha256", published).update(content(id0, t0, body0)).digest("base64")));
add("signature of thirty-two zeros", "SIGNATURE_MISMATCH", sig("v1," + Buffer.alloc(32).toString("base64")));
add("boundary between id and time moved", "SIGNATURE_MISMATCH", sig(v1(published, id0 + "_1", t0)));
add("signature in hex", "SIGNATURE_FORM", sig("v1," + Buffer.from(good.slice(3), "base64").toString("hex")));
add("signature in URL-safe base64", "SIGNATURE_FORM", sig(good.replaceAll("+", "-").replaceAll("/", "_")));
add("signature without padding", "SIGNATURE_FORM", sig(good.slice(0, -1)));
add("signature with bits behind its end", "SIGNATURE_FORM", sig(good.slice(0, -2) + "F="));
add("signature cut short", "SIGNATURE_FORM", sig(good.slice(0, 23) + "="));
add("signature of no bytes", "SIGNATURE_FORM", sig("v1,"));
add("signature without version", "SIGNATURE_FORM", sig(good.slice(3)));
add("signature with two commas", "SIGNATURE_FORM", sig(good + ",extra"), "accepts", lax);
add("two spaces between", "SIGNATURE_FORM", sig(`${wrong}  ${good}`), "accepts", lax);
add("a space before", "SIGNATURE_FORM", sig(" " + good), "accepts", lax);
add("a space behind", "SIGNATURE_FORM", sig(good + " "), "accepts", lax);
add("a tab between", "SIGNATURE_FORM", sig(`${wrong}\t${good}`));
add("a broken one beside the right one", "SIGNATURE_FORM", sig(`v1,??? ${good}`), "accepts", lax);
add("equals sign for comma", "SIGNATURE_FORM", sig(good.replace(",", "=")));

// Secrets.
for (const n of [24, 25, 32, 63, 64]) add(`secret of ${n} bytes`, "OK", { secrets: [shared(n, n)] });
for (const n of [1, 16, 23, 65, 128]) add(`secret of ${n} bytes`, "SECRET_LENGTH", { secrets: [shared(n, n)] }, "accepts", lax);
add("two secrets, signed with the second", "OK", { secrets: [other, published], signature: good });
add("two secrets, signed with both", "OK", { secrets: [other, published], signature: `${wrong} ${good}` });
add("two secrets, signed with neither", "SIGNATURE_MISMATCH", { secrets: [other, shared(32, 5)], signature: good });
add("secret of no bytes", "SECRET_LENGTH", { secrets: ["whsec_"], signature: good });
add("secret without prefix", "SECRET_FORM", { secrets: [published.slice(6)], signature: good }, "accepts", "the package takes the prefix as optional");
add("secret with another prefix", "SECRET_FORM", { secrets: ["secret_" + published.slice(6)], signature: good });
add("secret with a space behind", "SECRET_FORM", { secrets: [published + " "], signature: good }, "accepts", "the package's base64 drops a last character that stands alone");
add("secret in URL-safe base64", "SECRET_FORM", { secrets: ["whsec_" + "-_".repeat(16)], signature: good });
add("no secret", "SECRET_MISSING", { secrets: [], signature: good });

// Bodies.
const bodies = [["one byte", "1"], ["a line break behind", body0 + "\n"], ["carriage returns", '{\r\n"a":1\r\n}'], ["letters beyond ASCII", '{"ort":"Zürich 窓"}'],
  ["full stops", "[1.5,2.5]"], ["an array", '[{"a":1},{"a":2}]'], ["the same key in two objects", '{"a":{"k":1},"b":{"k":2}}'],
  ["keys that differ by more than case", '{"state":1,"states":2,"status":3}'], ["20 KB", JSON.stringify({ text: "x".repeat(20000) })]];
for (const [what, body] of bodies) add(`body with ${what}`, "OK", { body });
const strict = [["a key twice", '{"state":"ACCEPTED","state":"DENIED"}', "JSON_KEY_REPEATED"], ["a key twice, once escaped", '{"state":1,"st\\u0061te":2}', "JSON_KEY_REPEATED"],
  ["a key twice deep inside", '{"a":[{"b":{"c":1,"c":1}}]}', "JSON_KEY_REPEATED"], ["keys that differ in case", '{"vin":"1","VIN":"2"}', "JSON_KEY_CASE"],
  ["keys that differ in case deep inside", '[0,{"answers":[{"Vin":"1","vin":"2"}]}]', "JSON_KEY_CASE"], ["the long s", '{"state":1,"\u017ftate":2}', "JSON_KEY_CASE"],
  ["the Kelvin sign", '{"key":1,"\u212aey":2}', "JSON_KEY_CASE"]];
for (const [what, body, reason] of strict) add(`body with ${what}`, reason, { body }, "accepts", "the package leaves this to JSON.parse, which keeps the last");
add("body nested too deep", "JSON_DEPTH", { body: "[".repeat(70) + "]".repeat(70) }, "accepts", lax);
add("body with two values", "JSON_FORM", { body: "{}{}" });
add("body cut short", "JSON_FORM", { body: '{"a":' });
add("body that is not UTF-8", "JSON_FORM", { body: Buffer.from([0x7b, 0x22, 0x61, 0x22, 0x3a, 0x22, 0xff, 0x22, 0x7d]) }, null, "the package decodes before it compares, so it finds another signature");

// ed25519.
const pub = (k, signature, more = {}) => ({ secrets: [k.public], signature, ...more });
const none = "the package does not know v1a";
add("v1a", "OK", pub(ed, v1a(ed)), "refuses", none);
add("v1a, right one second", "OK", pub(ed, `${v1a(ed2)} ${v1a(ed)}`), "refuses", none);
add("v1a beside v1 of an unknown secret", "OK", pub(ed, `${wrong} ${v1a(ed)}`), "refuses", none);
add("v1a verified with the private key of 32 bytes", "OK", { secrets: [ed.private], signature: v1a(ed) }, "refuses", none);
add("v1a verified with the private key of 64 bytes", "OK", { secrets: [ed.long], signature: v1a(ed) }, "refuses", none);
add("v1a while moving from a shared secret", "OK", { secrets: [published, ed.public], signature: v1a(ed) }, "refuses", none);
add("v1a of another key", "SIGNATURE_MISMATCH", pub(ed, v1a(ed2)));
add("v1a of another body", "SIGNATURE_MISMATCH", pub(ed, v1a(ed, id0, t0, "{}")));
add("v1a of another id", "SIGNATURE_MISMATCH", pub(ed, v1a(ed, "msg_other")));
add("v1a 301 s old", "TIMESTAMP_OLD", pub(ed, v1a(ed), { now: t0 + 301 }));
add("only v1 for a public key", "SIGNATURE_VERSION", pub(ed, good));
add("v1a that carries 32 bytes", "SIGNATURE_FORM", pub(ed, good.replace("v1", "v1a")));
add("v1 that carries 64 bytes", "SIGNATURE_FORM", sig(v1a(ed).replace("v1a", "v1")));
add("public key of 31 bytes", "SECRET_LENGTH", { secrets: ["whpk_" + bytes(31, 1).toString("base64")], signature: v1a(ed) });
add("private key whose second half is of another", "SECRET_FORM", { secrets: ["whsk_" + Buffer.concat([bytes(32, 1), bytes(32, 1)]).toString("base64")], signature: v1a(ed) });

process.stdout.write("[\n" + vectors.map((v) => JSON.stringify(v)).join(",\n") + "\n]\n");

// The way in that a stranger has: the contract as proto-loader reads it from proto/, two ports, a
// key, and nothing else of the project.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import grpc from "@grpc/grpc-js";
import loader from "@grpc/proto-loader";

const { KEY, CLERK_KEY = KEY, CULLET_SERVER = "localhost:9440", CULLET_HTTP = "localhost:9441" } = process.env;
assert.ok(KEY, "give a key that may record, and one that may invoice if that is another: KEY=... CLERK_KEY=...");
export { CLERK_KEY, KEY };

const folder = (path) => fileURLToPath(new URL(`../../${path}/`, import.meta.url));

const contract = loader.loadSync(
    ["cullet/access/v1/access.proto", "cullet/invoices/v1/invoices.proto", "cullet/jobs/v1/jobs.proto",
        "google/rpc/error_details.proto", "google/rpc/status.proto"],
    { includeDirs: [folder("proto")], keepCase: true, longs: Number, enums: String, defaults: true });
const { cullet } = grpc.loadPackageDefinition(contract);

// What is too large is for the server to refuse, not for this client.
const open = (Client) => new Client(CULLET_SERVER, grpc.credentials.createInsecure(),
    { "grpc.max_send_message_length": -1 });
export const access = open(cullet.access.v1.AccessService);
export const invoices = open(cullet.invoices.v1.InvoiceService);
export const jobs = open(cullet.jobs.v1.JobService);

export function close() {
    for (const client of [access, invoices, jobs]) client.close();
}

// How long an answer may take on a loaded machine. A call that hangs ends as DEADLINE_EXCEEDED,
// which no step takes for an answer.
const patience = 60_000;
const limits = () => ({ deadline: Date.now() + patience });

function bearer(key) {
    const metadata = new grpc.Metadata();
    if (key) metadata.set("authorization", `Bearer ${key}`);
    return metadata;
}

// settle makes a promise of a callback that must be called once, and no second time.
function settle(start) {
    let answers = 0;
    return new Promise((resolve, reject) => {
        start((problem, answer) => {
            assert.equal(++answers, 1, "a call was answered twice");
            if (problem) reject(problem);
            else resolve(answer);
        });
    });
}

// call makes one call.
export function call(client, method, request, key = KEY) {
    return settle((done) => client[method](request, bearer(key), limits(), done));
}

const asItIs = (bytes) => bytes;

// raw sends bytes to a method and gives the bytes of its answer.
export function raw(path, bytes, key = KEY) {
    return settle((done) => jobs.makeUnaryRequest(path, asItIs, asItIs, bytes, bearer(key), limits(), done));
}

// collect waits for the end of a stream and gives what it brought. The status comes once, and last;
// what an error event says stands in it too.
function collect(stream, done) {
    const pieces = [];
    stream.on("data", (piece) => pieces.push(piece));
    stream.on("error", () => {});
    stream.on("status", (status) => {
        done(status.code === grpc.status.OK ? null : Object.assign(new Error(status.details), status), pieces);
    });
}

// ask sends bytes on a stream of both directions and gives the bytes of the answers.
export async function ask(path, bytes, key = KEY) {
    return Buffer.concat(await settle((done) => {
        const stream = jobs.makeBidiStreamRequest(path, asItIs, asItIs, bearer(key), limits());
        collect(stream, done);
        stream.end(bytes);
    }));
}

// upload sends a photo by client streaming.
export function upload(content) {
    return settle((done) => {
        const stream = jobs.UploadPhoto(bearer(KEY), limits(), done);
        stream.write({ description: { size_bytes: content.length } });
        for (let at = 0; at < content.length; at += 65_536) {
            stream.write({ chunk: content.subarray(at, at + 65_536) });
        }
        stream.end();
    });
}

// download gives a photo, which comes in pieces.
export async function download(photo_hash) {
    const pieces = await settle((done) => collect(jobs.GetPhoto({ photo_hash }, bearer(KEY), limits()), done));
    return Buffer.concat(pieces.map(({ chunk }) => chunk));
}

// json calls a method over HTTP; a body is sent as POST, text and bytes as they are.
export async function json(path, body, key = KEY) {
    const isReady = body === undefined || typeof body === "string" || body instanceof Uint8Array;
    const response = await fetch(`http://${CULLET_HTTP}${path}`, {
        method: body === undefined ? "GET" : "POST", headers: { authorization: `Bearer ${key}` },
        body: isReady ? body : JSON.stringify(body), signal: AbortSignal.timeout(patience) });
    assert.match(response.headers.get("content-type"), /^application\/json/);
    return { status: response.status, answer: await response.json() };
}

// refused gives what a call that must be refused was told, with the details from the trailers.
export async function refused(call) {
    const problem = await call.then(
        (answer) => assert.fail(`it was answered: ${JSON.stringify(answer).slice(0, 200)}`), (error) => error);
    if (problem.metadata === undefined) throw problem; // no answer of the server, but a fault of this script
    const [bytes] = problem.metadata.get("grpc-status-details-bin");
    if (bytes === undefined) return { code: grpc.status[problem.code], message: problem.details, size: 0 };
    const status = contract["google.rpc.Status"].deserialize(bytes);
    assert.equal(status.code, problem.code);
    assert.equal(status.message, problem.details);
    return told(status, bytes.length, status.details.map(({ type_url, value }) => {
        const name = type_url.split("/").pop();
        return [name, contract[name].deserialize(value)];
    }));
}

// refusedJSON gives the same of an answer over HTTP.
export async function refusedJSON(call) {
    const { status, answer } = await call;
    assert.ok(status >= 400 && status < 500, `HTTP answered ${status}: ${JSON.stringify(answer).slice(0, 200)}`);
    return { status, ...told(answer, 0, answer.details.map(({ "@type": type, fieldViolations, ...rest }) => (
        [type.split("/").pop(), { ...rest, field_violations: fieldViolations }]))) };
}

function told({ code, message }, size, details) {
    const { "google.rpc.ErrorInfo": info, "google.rpc.BadRequest": bad } = Object.fromEntries(details);
    return { code: grpc.status[code], message, size, info, violations: bad?.field_violations ?? [] };
}

// record reads a record of testdata/repairs as JSON over HTTP takes it; inSeconds makes of it what
// this client takes for gRPC, where a time is seconds since 1970.
export function record(name) {
    return JSON.parse(readFileSync(`${folder("testdata/repairs")}${name}.json`, "utf8")).record;
}

export function inSeconds(record) {
    return JSON.parse(JSON.stringify(record), (name, value) => (
        name.endsWith("_time") && typeof value === "string" ? { seconds: Date.parse(value) / 1000 } : value));
}

export function photo(name) {
    return readFileSync(`${folder("testdata/photos")}${name}.jpg`);
}

// A stranger's shop system: it knows the contract in proto/ and has a key, and does over gRPC and
// JSON what README.md promises. Each step asserts and prints one line; the first that is not as
// promised ends it with 1. services/server runs it; by hand, against the demo:
//
//   KEY=<the owner's key> node .ci/node-client/stranger.mjs
import assert from "node:assert/strict";
import { createHash, randomUUID } from "node:crypto";
import * as api from "./api.mjs";
import * as faults from "./faults.mjs";

const { call, jobs, invoices } = api;
const recordJob = (record, request_id = "") => call(jobs, "RecordJob", { record: api.inSeconds(record), request_id });
const sha256 = (content) => createHash("sha256").update(content).digest("hex");
const run = randomUUID();

function isRefused(refusal, code, reason) {
    assert.deepEqual([refusal.code, refusal.info.reason, refusal.info.domain], [code, reason, "cullet"]);
}

async function step(what, work) {
    await work();
    console.log(`ok  ${what}`);
}

// pages gives all pages of jobs that a filter lets through.
async function pages(filter, page_size) {
    const all = [];
    for (let page_token = ""; all.length === 0 || page_token !== "";) {
        const page = await call(jobs, "ListJobs", { filter, page_size, page_token });
        all.push(page.jobs.map((job) => job.job_id));
        page_token = page.next_page_token;
    }
    return all;
}
const everything = async () => (await pages("", 200)).flat();

await step("health is told without a key", async () => {
    // grpc.health.v1: HealthCheckRequest{}, answered HealthCheckResponse{status: SERVING}.
    assert.deepEqual([...await api.raw("/grpc.health.v1.Health/Check", Buffer.alloc(0), "")], [0x08, 0x01]);
});

await step("reflection names the services", async () => {
    // grpc.reflection.v1: ServerReflectionRequest{list_services: ""}.
    const method = "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo";
    const answer = await api.ask(method, Buffer.from([0x3a, 0x00]));
    for (const service of ["cullet.jobs.v1.JobService", "cullet.invoices.v1.InvoiceService"]) {
        assert.ok(answer.includes(service), `${service} is not named`);
    }
});

await step("a wrong key and none are UNAUTHENTICATED, in both doors", async () => {
    for (const [key, reason] of [[`${api.KEY.slice(0, -1)}?`, "KEY_UNKNOWN"], ["", "KEY_MISSING"]]) {
        isRefused(await api.refused(call(api.access, "GetCaller", {}, key)), "UNAUTHENTICATED", reason);
        const http = await api.refusedJSON(api.json("/v1/caller", undefined, key));
        isRefused(http, "UNAUTHENTICATED", reason);
        assert.equal(http.status, 401);
    }
});

const photos = [];
await step("photos are uploaded in pieces and named by their hash", async () => {
    for (const kind of ["BEFORE", "AFTER"]) {
        const content = api.photo(`star-break-${kind.toLowerCase()}`);
        const { photo } = await api.upload(content);
        const { photo_hash, size_bytes, media_type } = photo;
        assert.deepEqual([photo_hash, size_bytes, media_type], [sha256(content), content.length, "image/jpeg"]);
        photos.push({ photo_hash, kind: `PHOTO_KIND_${kind}`, damage_number: 1, plate_vin: "" });
    }
});

const visit = { ...api.record("R-0002-half-moon-motorist-pays"), external_reference: `stranger ${run}`, photos };
let job;
await step("a record is taken and assessed", async () => {
    ({ job } = await recordJob(visit, run));
    assert.deepEqual([job.version, job.assessments.length], [1, 1]);
    assert.deepEqual([job.record.external_reference, job.record.photos], [visit.external_reference, photos]);
    assert.equal((await api.download(photos[1].photo_hash)).subarray(0, 3).toString("hex"), "ffd8ff");
});

await step("the same again, with the same request id and with another, answers the same", async () => {
    assert.deepEqual(await recordJob(visit, run), { job });
    assert.deepEqual(await recordJob(visit, `${run}-2`), { job });
    const { status, answer } = await api.json("/v1/jobs", { record: visit });
    assert.deepEqual([status, answer.job.jobId], [200, job.job_id]);
});

await step("another record under the same reference is a conflict that names what differs", async () => {
    const other = structuredClone(visit);
    other.technician = "Somebody Else";
    other.damages[0].body_diameter_mm = 14;
    const refusal = await api.refused(recordJob(other, `${run}-3`));
    isRefused(refusal, "ALREADY_EXISTS", "REFERENCE_TAKEN");
    const { job_id, differing_fields } = refusal.info.metadata;
    assert.deepEqual([job_id, differing_fields], [job.job_id, "record.damages[0].body_diameter_mm,record.technician"]);
    assert.equal(refusal.violations.map((v) => v.field).join(), differing_fields);
    assert.deepEqual(refusal.violations.map((v) => v.description),
        ["13 is stored and 14 was given", "\"Tobin Ashlock\" is stored and \"Somebody Else\" was given"]);
    isRefused(await api.refused(recordJob(other, run)), "INVALID_ARGUMENT", "REQUEST_ID_REUSED");
});

await step("a list is read by filter and in pages, newest first, each job once", async () => {
    const recorded = [job.job_id];
    for (let n = 1; n < 5; n++) {
        const next = await recordJob({ ...visit, external_reference: `stranger ${run} ${n}` });
        recorded.unshift(next.job.job_id);
    }
    const filter = `vin = "${visit.vehicle.vin}" AND repair_date = "2026-08-24"`;
    const all = await pages(filter, 2);
    assert.deepEqual(all.flat().slice(0, 5), recorded);
    assert.equal(new Set(all.flat()).size, all.flat().length);
    assert.ok(all.every((page) => page.length <= 2), "a page is longer than was asked for");
    assert.deepEqual(await pages(`external_reference = "${visit.external_reference}"`, 2), [[job.job_id]]);
});

const stored = await everything();

// check holds a refusal against what the case says.
function check(refusal, { faults, says = [] }) {
    isRefused(refusal, "INVALID_ARGUMENT", "INVALID_REQUEST");
    assert.deepEqual(refusal.violations.map((v) => [v.field, v.reason]), faults);
    assert.equal(refusal.info.metadata.violation_count, `${faults.length}`);
    const texts = refusal.violations.map((v) => v.description).join("\n");
    for (const words of says) assert.ok(texts.includes(words), `${JSON.stringify(words)} is not said:\n${texts}`);
    assert.ok(refusal.size <= 4096, `the details take ${refusal.size} bytes`);
}

for (const wrong of [...faults.onBothDoors, ...faults.inJSON]) {
    await step(`${wrong.name}: refused with every fault, and nothing is stored`, async () => {
        check(await api.refusedJSON(api.json("/v1/jobs", wrong.body ?? { record: wrong.record })), wrong);
        if (faults.onBothDoors.includes(wrong)) check(await api.refused(recordJob(wrong.record)), wrong);
        assert.deepEqual(await everything(), stored);
    });
}

await step("a photo that is a text file is refused and not kept", async () => {
    const note = Buffer.from("The break is above the wiper.\n");
    const refusal = await api.refused(api.upload(note));
    isRefused(refusal, "INVALID_ARGUMENT", "PHOTO_NOT_AN_IMAGE");
    assert.deepEqual(refusal.violations.map((v) => v.field), ["chunk"]);
    assert.match(refusal.violations[0].description, /text\/plain; JPEG, PNG and WebP are taken.*save the picture as JPEG/);
    assert.equal((await api.refused(api.download(sha256(note)))).code, "NOT_FOUND");
});

await step("bytes that are no message are refused by path", async () => {
    // RecordJobRequest{record: {external_reference: "A\xff"}}, then the same cut off.
    const bytes = Buffer.from([0x0a, 0x04, 0x0a, 0x02, 0x41, 0xff]);
    check(await api.refused(api.raw("/cullet.jobs.v1.JobService/RecordJob", bytes)),
        { faults: [["record.external_reference", "NOT_UTF8"], ...["vehicle", "damages", "place_of_repair", "start_time", "finish_time",
            "time_zone", "technician"].map((name) => [`record.${name}`, "REQUIRED"])], says: ["\"A\\xff\"", "convert the text to UTF-8"] });
    check(await api.refused(api.raw("/cullet.jobs.v1.JobService/RecordJob", bytes.subarray(0, 5))),
        { faults: [["request", "MALFORMED"]], says: ["no message cullet.jobs.v1.RecordJobRequest"] });
});

await step("a message of 50 MB is refused with both sizes", async () => {
    // gRPC itself refuses it before anything of the server sees it, so it has no details.
    const refusal = await api.refused(recordJob({ ...visit, technician: "x".repeat(50 << 20) }));
    assert.equal(refusal.code, "RESOURCE_EXHAUSTED");
    assert.match(refusal.message, /larger than max \(5242\d{4} vs\. 5242880\)/);
});

await step("of 1, 55 and 1000 faults all are counted, and the details stay within 4 KB", async () => {
    for (const n of [1, 55, 1000]) {
        const tooMany = n > 20 ? 1 : 0;
        const overGRPC = await api.refused(recordJob(faults.many(n)));
        const inJSON = (record) => api.refusedJSON(api.json("/v1/jobs", { record }));
        for (const [refusal, field] of [[overGRPC, "note"], [await inJSON(faults.many(n)), "note"],
            [await inJSON(faults.manyTypes(n)), "layer"]]) {
            isRefused(refusal, "INVALID_ARGUMENT", "INVALID_REQUEST");
            assert.equal(refusal.info.metadata.violation_count, `${n + tooMany}`);
            const paths = refusal.violations.slice(0, n).map((v) => v.field);
            assert.ok(paths.length >= Math.min(n, 10), `only ${paths.length} of ${n} are told`);
            assert.deepEqual(paths, paths.map((_, i) => `record.damages[${i}].${field}`));
        }
        assert.ok(overGRPC.size > 0 && overGRPC.size <= 4096, `the details take ${overGRPC.size} bytes`);
    }
});

await step("nothing of all that was stored", async () => assert.deepEqual(await everything(), stored));

let invoice;
await step("the job is invoiced to the motorist, once, by whom it is allowed", async () => {
    const ask = { job_id: job.job_id, request_id: run };
    if (api.KEY !== api.CLERK_KEY) {
        isRefused(await api.refused(call(invoices, "InvoiceJob", ask)), "PERMISSION_DENIED", "RIGHT_MISSING");
    }
    ({ invoice } = await call(invoices, "InvoiceJob", ask, api.CLERK_KEY));
    const again = await call(invoices, "InvoiceJob", { ...ask, request_id: "" }, api.CLERK_KEY);
    assert.deepEqual(again.invoice, invoice);
    assert.match(invoice.invoice_number, /^INV-\d{6}$/);
    assert.equal(invoice.bill_to_name, visit.motorist.name);
});

await step("the invoice is fetched, and its sums add up", async () => {
    assert.deepEqual((await call(invoices, "GetInvoice", { invoice_id: invoice.invoice_id })).invoice, invoice);
    const sum = (of) => invoice.lines.reduce((all, { line }) => all + of(line), 0);
    const taxes = (line) => line.taxes.reduce((all, { tax }) => all + tax.minor_units, 0);
    const [net, tax, total, open] = ["net", "tax", "total", "open"].map((name) => invoice[name].minor_units);
    assert.ok(net > 0 && tax > 0, `net ${net}, tax ${tax}`);
    assert.deepEqual([sum((line) => line.net.minor_units), sum(taxes), net + tax, open], [net, tax, total, total]);
    const filter = `invoice_number = "${invoice.invoice_number}"`;
    const found = await call(invoices, "ListInvoices", { filter });
    assert.deepEqual(found.invoices.map((i) => i.invoice_id), [invoice.invoice_id]);
});

await step("the printed invoice is one PDF, by gRPC and by JSON", async () => {
    const { invoice_id } = invoice;
    const { pdf, file_name } = await call(invoices, "GetInvoiceDocument", { invoice_id });
    assert.equal(file_name, `${invoice.invoice_number.toLowerCase()}.pdf`);
    assert.deepEqual([pdf.toString("latin1", 0, 5), pdf.toString("latin1").trimEnd().slice(-5)], ["%PDF-", "%%EOF"]);
    const { answer } = await api.json(`/v1/invoices/${invoice_id}/document`);
    assert.equal(sha256(Buffer.from(answer.pdf, "base64")), sha256(pdf));
    const refusal = await api.refused(call(invoices, "GetInvoiceDocument", { invoice_id, paper: "A3" }));
    check(refusal, { faults: [["paper", "UNKNOWN_VALUE"]], says: ["\"A3\" was given", "LETTER or A4"] });
});

api.close();
console.log("Everything is as promised.");

// What a stranger sends wrong. Each case says how it differs from a good record, by which faults it
// must be refused (path, reason), and what the texts must say: what was given, what is allowed.
import { record } from "./api.mjs";

const good = record("R-0002-half-moon-motorist-pays");

// wrong is the good record with a change.
function wrong(change) {
    const changed = structuredClone(good);
    changed.external_reference = "never-stored";
    change(changed);
    return changed;
}

// onBothDoors are those that gRPC and JSON can carry.
export const onBothDoors = [
    {
        name: "a required field is missing",
        record: wrong((r) => { delete r.technician; }),
        faults: [["record.technician", "REQUIRED"]],
        says: ["nothing was given", "required"],
    }, {
        name: "a VIN of 16 characters",
        record: wrong((r) => { r.vehicle.vin = r.vehicle.vin.slice(0, 16); }),
        faults: [["record.vehicle.vin", "VIN_LENGTH"]],
        says: ["has 16 characters", "17 are needed", "Read the number again"],
    }, {
        name: "a damage of -3 mm",
        record: wrong((r) => { r.damages[0].body_diameter_mm = -3; }),
        faults: [["record.damages[0].body_diameter_mm", "DAMAGE_LENGTH_RANGE"]],
        says: ["-3 mm is given", "allowed is 0.01 to 4000 mm", "Measure again"],
    }, {
        name: "a date in the future",
        record: wrong((r) => { r.finish_time = "2999-12-31T12:00:00Z"; }),
        faults: [["record.finish_time", "FUTURE"]],
        says: ["2999-12-31T12:00:00Z was given", "yet to come", "send it afterwards"],
    }, {
        name: "five faults of five kinds at once",
        record: wrong((r) => {
            r.technician = "T.\u0007";
            r.time_zone = "Ohio";
            r.damages[0].spread_mm = 0.001;
            r.photos = [{ photo_hash: "ab".repeat(32), kind: "PHOTO_KIND_AFTER", damage_number: 9 }];
        }),
        faults: [["record.technician", "UNWANTED_CHARACTER"], ["record.damages[0].spread_mm", "TOO_PRECISE"],
            ["record.time_zone", "TIME_ZONE"], ["record.photos[0].damage_number", "DAMAGE_NUMBER"],
            ["record.photos[0].photo_hash", "PHOTO_NOT_UPLOADED"]],
        says: ["U+0007", "0.001 was given", "\"Ohio\" was given", "9 was given", "upload it with UploadPhoto"],
    },
];

// inJSON are those that only JSON can carry.
export const inJSON = [
    {
        name: "fields that nobody knows",
        record: wrong((r) => {
            r.technicain = r.technician;
            r.damages[0].colour = "red";
        }),
        faults: [["record.damages[0].colour", "UNKNOWN_FIELD"], ["record.technicain", "UNKNOWN_FIELD"]],
        says: ["no such field", "allowed are", "technician,"],
    }, {
        name: "values of a wrong type",
        record: wrong((r) => {
            r.technician = 7;
            r.vehicle.odometer_km = "far";
            r.damages[0].body_diameter_mm = "13mm";
            r.photos = "none";
        }),
        faults: [["record.vehicle.odometer_km", "WRONG_TYPE"], ["record.damages[0].body_diameter_mm", "WRONG_TYPE"],
            ["record.technician", "WRONG_TYPE"], ["record.photos", "WRONG_TYPE"]],
        says: ["\"far\" was given; give a whole number", "\"13mm\" was given; give a number",
            "7 was given; give text in quotes", "\"none\" was given; give a list"],
    }, {
        name: "an amount with three decimals",
        record: wrong((r) => { r.coverage = { deductible: { minor_units: 100.125, currency_code: "USD" } }; }),
        faults: [["record.coverage.deductible.minor_units", "WRONG_TYPE"]],
        says: ["100.125 was given", "give a whole number without decimals"],
    }, {
        name: "bytes that are not UTF-8",
        body: Buffer.from('{"record": {"technician":\n "Ashl\xff\xfeck"}}', "latin1"),
        faults: [["request", "NOT_UTF8"]],
        says: ["\\xff\\xfe", "line 2, column 7", "convert the text"],
    }, {
        name: "a body of 50 MB",
        record: wrong((r) => { r.damages[0].note = "x".repeat(50 << 20); }),
        faults: [["request", "TOO_LARGE"]],
        says: ["larger than 6291456 bytes", "send less at once"],
    },
];

// many is a record with one fault in each of n damages; a record may have 20 damages.
export const many = (n) => wrong((r) => {
    r.damages = Array.from({ length: n }, () => ({ ...r.damages[0], note: "\u0001" }));
});

// manyTypes is the same with a word that nobody defined, which only JSON can carry.
export const manyTypes = (n) => wrong((r) => {
    r.damages = Array.from({ length: n }, () => ({ ...r.damages[0], layer: "LAYER_OF_PAINT" }));
});

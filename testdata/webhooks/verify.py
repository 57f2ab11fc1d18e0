"""Judges vectors.json with Python's standard library alone, as the rules in README.md are written.

Prints one line a vector: its name, a tab, and "OK <id>" or the reason of the refusal. Signatures of
ed25519 are not in the standard library: what depends on one is answered UNJUDGED.
"""
import base64, hashlib, hmac, json, re, sys

class Refused(Exception):
    pass

def demand(fact, reason):
    if not fact:
        raise Refused(reason)

def decode(text, reason):
    demand(re.fullmatch(r"(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?", text), reason)
    raw = base64.b64decode(text)
    demand(base64.b64encode(raw).decode() == text, reason)
    return raw

def only(headers, name):
    values = [value for key, value in headers if key.lower() == "webhook-" + name]
    demand(len(values) < 2, name.upper() + "_REPEATED")
    demand(values and values[0], name.upper() + "_MISSING")
    return values[0]

def secret(text):
    prefix, _, rest = text.partition("_")
    demand(prefix in ("whsec", "whsk", "whpk"), "SECRET_FORM")
    raw = decode(rest, "SECRET_FORM")
    demand(len(raw) in {"whsec": range(24, 65), "whsk": (32, 64), "whpk": (32,)}[prefix], "SECRET_LENGTH")
    return prefix, raw

def pairs(items):
    keys = [key for key, _ in items]
    folded = [key.replace("\u017f", "s").replace("\u212a", "k").lower() for key in keys]
    demand(len(set(folded)) == len(keys) or len(set(keys)) < len(keys), "JSON_KEY_CASE")
    demand(len(set(keys)) == len(keys), "JSON_KEY_REPEATED")
    return dict(items)

def depth(value):
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return 1 + max(map(depth, inner), default=-1)

def judge(vector):
    body = base64.b64decode(vector["body_base64"]) if "body_base64" in vector else vector["body"].encode()
    secrets = [secret(text) for text in vector["secrets"]]
    demand(secrets, "SECRET_MISSING")
    ident = only(vector["headers"], "id")
    demand(re.fullmatch(r"[A-Za-z0-9_-]{1,64}", ident), "ID_FORM")
    stamp = only(vector["headers"], "timestamp")
    demand(re.fullmatch(r"0|[1-9][0-9]{0,14}", stamp), "TIMESTAMP_FORM")
    demand(vector["now"] - int(stamp) <= 300, "TIMESTAMP_OLD")
    demand(int(stamp) - vector["now"] <= 300, "TIMESTAMP_NEW")
    entries = only(vector["headers"], "signature").split(" ")
    demand(len(entries) <= 8, "SIGNATURE_COUNT")
    split = [entry.partition(",") for entry in entries]
    demand(all(re.fullmatch(r"[\w-]{1,16}", v, re.ASCII) and raw for v, _, raw in split), "SIGNATURE_FORM")
    sizes = {"v1": 32, "v1a": 64}
    given = [(v, decode(raw, "SIGNATURE_FORM")) for v, _, raw in split if v in sizes]
    demand(all(len(raw) == sizes[v] for v, raw in given), "SIGNATURE_FORM")
    wanted = {"v1" if prefix == "whsec" else "v1a" for prefix, _ in secrets}
    demand(wanted & {v for v, _ in given}, "SIGNATURE_VERSION")
    signed = ident.encode() + b"." + stamp.encode() + b"." + body
    macs = [hmac.new(raw, signed, hashlib.sha256).digest() for prefix, raw in secrets if prefix == "whsec"]
    if not any(hmac.compare_digest(raw, mac) for v, raw in given if v == "v1" for mac in macs):
        demand("v1a" not in wanted or "v1a" not in {v for v, _ in given}, "UNJUDGED")
        raise Refused("SIGNATURE_MISMATCH")
    if body.lstrip()[:1] in (b"{", b"["):
        try:
            value = json.loads(body.decode(), object_pairs_hook=pairs)
        except ValueError:
            raise Refused("JSON_FORM")
        demand(depth(value) <= 64, "JSON_DEPTH")
    return "OK " + ident

for vector in json.load(open(sys.argv[1], encoding="utf-8")):
    try:
        print(vector["name"], judge(vector), sep="\t")
    except Refused as refused:
        print(vector["name"], refused, sep="\t")

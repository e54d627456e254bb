"""Redoes bundles with hashlib, hmac, json and the Ed25519 of `cryptography`, and makes some of its own.

Reads {"check": [HEX...], "against": [[SHARED, FULL]...], "make": [{"secret", "lines", "form", "made_ms"}...], "hmac": [[KEY, MESSAGE]...]} and
answers each list with one of the same length: what is wrong (empty where nothing is), and bytes as HEX. Shares no code with the
program, so that a mistake there shows here; it was written from the page about the format alone.
"""

import hashlib
import hmac
import json
import re
import sys

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

SEAL = re.compile(rb',"prev":"([0-9a-f]{64})","sha":"([0-9a-f]{64})"\}')
SIGNS = "groundward bundle 1"
FULL = ["format", "v", "form", "incident", "drill", "standing", "program", "made_ms", "records", "head", "root", "plan_sha", "blind", "key"]
OUTSIDE_TOLD = {"kind", "who", "casualty", "cause", "body"}


def compact(value):
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def sha(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def leaves(value, at=""):
    if isinstance(value, dict) and value:
        for name, inner in value.items():
            yield from leaves(inner, at + "/" + name.replace("~", "~0").replace("/", "~1"))
    elif isinstance(value, list) and value:
        for index, inner in enumerate(value):
            yield from leaves(inner, f"{at}/{index}")
    else:
        yield at, value


def leaf(salt, at, value):
    return sha(b"\0", salt, at.encode(), b"\0", compact(value).encode())


def apart(record, blind):
    groups = {"clock": [], "told": []}
    for at, value in sorted(leaves(record), key=lambda it: it[0].encode()):
        if at in ("/prev", "/sha"):
            continue
        salt = hmac.new(blind, f"{record['seq']} {at}".encode(), hashlib.sha256).digest()
        groups["told" if at.split("/")[1] in OUTSIDE_TOLD else "clock"].append((at, value, salt))
    return groups


def group(commitments):
    return sha(b"\1", *commitments)


def whole(groups):
    each = [group([leaf(salt, at, value) for at, value, salt in groups[name]]) for name in ("clock", "told")]
    return sha(b"\2", *each)


def root(commitments):
    return sha(b"\3", *commitments).hex()


def signed(header, digest):
    lines = [SIGNS, "form " + header["form"], "incident " + header["incident"], f"records {header['records']}"]
    lines += ["head " + header["head"], "root " + header["root"], "sha256 " + digest]
    return "".join(line + "\n" for line in lines).encode()


def signature_line(digest, value):
    body = {"algorithm": "ed25519", "signs": SIGNS, "sha256": digest, "value": value}
    return compact({"signature": body}).encode() + b"\n"


def sealed(lines):
    """Why the records are no chain, or nothing."""
    head, last = "0" * 64, -1
    for line in lines:
        seal = SEAL.fullmatch(line[-148:])
        if not seal or hashlib.sha256(line[:-74]).hexdigest().encode() != seal[2]:
            return "a record was changed"
        if seal[1].decode() != head or json.loads(line)["seq"] <= last:
            return "a record is missing or in another place"
        head, last = seal[2].decode(), json.loads(line)["seq"]
    return ""


def part(it, name):
    """The commitment of a part of a shared record."""
    if isinstance(it, str):
        return bytes.fromhex(it)
    if "is" in it:
        return leaf(bytes.fromhex(it["salt"]), it["at"], it["is"])
    return bytes.fromhex(it["hash"])


def shared_record(record):
    clock = group([part(it, "clock") for it in record["clock"]])
    told = record["told"]
    told = bytes.fromhex(told) if isinstance(told, str) else group([part(it, "told") for it in told])
    return sha(b"\2", clock, told)


def check(data):
    try:
        return look(data)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        return f"not written as a bundle is: {error!r}"


def look(data):
    if not data.endswith(b"\n"):
        return "the last line has no end"
    lines = data.split(b"\n")[:-1]
    header, signature, records = json.loads(lines[0]), json.loads(lines[-1])["signature"], lines[1:-1]
    names = [name for name in FULL if header["form"] == "full" or name not in ("plan_sha", "blind")]
    if header["form"] == "full" and "plan_sha" not in header:
        names.remove("plan_sha")
    if list(header) != names or compact(header).encode() != lines[0] or header["format"] != "groundward-bundle" or header["v"] != 1:
        return "the header is not written as one is"
    if signature_line(signature["sha256"], signature["value"])[:-1] != lines[-1]:
        return "the signature is not written as one is"
    why = sealed(records)
    if why:
        return why
    if len(records) != header["records"]:
        return "another number of records than the header says"
    values = [json.loads(line) for line in records]
    if header["form"] == "full":
        blind = bytes.fromhex(header["blind"])
        own = root([whole(apart(value, blind)) for value in values])
        if values[-1]["sha"] != header["head"] or any(it["incident"] != header["incident"] for it in values):
            return "the header does not fit the records"
    else:
        own = root([shared_record(value) for value in values])
    if own != header["root"]:
        return "another root"
    digest = hashlib.sha256(b"\n".join(lines[:-1]) + b"\n").hexdigest()
    if digest != signature["sha256"]:
        return "the bytes are not those that were signed"
    if not re.fullmatch("[0-9a-f]{64}", header["key"]) or not re.fullmatch("[0-9a-f]{128}", signature["value"]):
        return "digits are not written as they are"
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(header["key"]))
    try:
        key.verify(bytes.fromhex(signature["value"]), signed(header, digest))
    except InvalidSignature:
        return "the signature does not fit"
    return ""


def against(shared, full):
    """Whether every value that is shown, and every hash, is that of the full record."""
    shared, full = shared.split(b"\n")[:-1], full.split(b"\n")[:-1]
    header = json.loads(full[0])
    blind, people = bytes.fromhex(header["blind"]), {}
    if json.loads(shared[0])["root"] != header["root"]:
        return "another root"
    for line, other in zip(shared[1:-1], full[1:-1], strict=True):
        groups, record = apart(json.loads(other), blind), json.loads(line)
        for name in ("clock", "told"):
            if isinstance(record[name], str):
                if bytes.fromhex(record[name]) != group([leaf(salt, at, value) for at, value, salt in groups[name]]):
                    return "another hash"
                continue
            for it, (at, value, salt) in zip(record[name], groups[name], strict=True):
                if part(it, name) != leaf(salt, at, value):
                    return "another hash"
                if isinstance(it, dict) and (it["at"] != at or ("is" in it and it["is"] != value)):
                    return "another value"
                if isinstance(it, dict) and "person" in it and people.setdefault(value, it["person"]) != it["person"]:
                    return "two pseudonyms"
    return ""


def make(secret, lines, form, made_ms):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    public = key.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw).hex()
    values = [json.loads(line) for line in lines]
    head, opening = values[-1]["sha"], values[0]["body"]
    incident = values[0]["incident"]
    blind = hmac.new(bytes.fromhex(secret), f"groundward blind 1\n{incident}\n{head}\n".encode(), hashlib.sha256).digest()
    parts = [apart(value, blind) for value in values]
    header = {"format": "groundward-bundle", "v": 1, "form": form, "incident": incident, "drill": opening["drill"], "standing": "intact"}
    header |= {"program": "0.1.0", "made_ms": made_ms, "records": len(lines), "head": head, "root": root([whole(it) for it in parts])}
    if form == "full":
        header |= {"plan_sha": opening["plan_sha"], "blind": blind.hex()}
    header["key"] = public
    body = compact(header) + "\n"
    if form == "full":
        body += "".join(line + "\n" for line in lines)
    else:
        # It shows the times and nothing else, which is a choice like any other.
        prev = "0" * 64
        for value, groups in zip(values, parts):
            clock = [compact({"at": at, "is": it, "salt": salt.hex()}) for at, it, salt in groups["clock"]]
            told = group([leaf(salt, at, it) for at, it, salt in groups["told"]]).hex()
            line = f'{{"v":1,"seq":{value["seq"]},"kind":"shared-record","clock":[{",".join(clock)}],"told":"{told}","prev":"{prev}"'
            prev = hashlib.sha256(line.encode()).hexdigest()
            body += f'{line},"sha":"{prev}"}}\n'
    digest = hashlib.sha256(body.encode()).hexdigest()
    return body.encode() + signature_line(digest, key.sign(signed(header, digest)).hex())


asked = json.load(sys.stdin)
unhex = bytes.fromhex
answer = {
    "check": [check(unhex(it)) for it in asked.get("check", [])],
    "against": [against(unhex(one), unhex(other)) for one, other in asked.get("against", [])],
    "make": [make(**it).hex() for it in asked.get("make", [])],
    "hmac": [hmac.new(unhex(key), unhex(message), hashlib.sha256).hexdigest() for key, message in asked.get("hmac", [])],
}
json.dump(answer, sys.stdout)

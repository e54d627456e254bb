"""Redoes the hash chain of a closed incident with nothing but hashlib and json.

Usage: chain.py FILE... (the segments of one incident, oldest first)

Prints "ok COUNT HEAD" and exits 0, or prints "bad FILE SEQ WHY" and exits 1 for the first record that is not as it was
sealed; SEQ is the number it should have. Shares no code with the program, so that a mistake there shows here.
"""

import hashlib
import json
import re
import sys

SEAL = re.compile(rb',"prev":"([0-9a-f]{64})","sha":"([0-9a-f]{64})"\}')
TAIL_BYTES = len(',"sha":""}') + 64


def main(paths):
    head, last, seen = "0" * 64, None, {}
    for path in paths:
        with open(path, "rb") as file:
            data = file.read()

        def bad(why):
            print("bad", path, 0 if last is None else last + 1, why)
            return 1

        if not data.endswith(b"\n"):
            return bad("the last line has no end")
        for line in data.split(b"\n"):
            if not line:
                continue
            seal = SEAL.fullmatch(line[-148:])
            if not seal:
                return bad("no seal")
            prev, sha = (group.decode() for group in seal.groups())
            if hashlib.sha256(line[:-TAIL_BYTES]).hexdigest() != sha:
                return bad("altered")
            record = json.loads(line)
            # A segment begins with the records that were not acknowledged in the one before it.
            if seen.get(record["seq"]) == sha:
                continue
            if prev != head or (last is not None and record["seq"] != last + 1):
                return bad("chain broken")
            head, last = sha, record["seq"]
            seen[last] = sha
    print("ok", len(seen), head)
    return 0


sys.exit(main(sys.argv[1:]))

"""Computes the milestones of incidents anew from the lines of their journals, and nothing else.

Reads a list of journals, each a list of lines, and prints for each what was reached when, in ms since the alarm. Holds where everybody
hangs at one place, as in the journals that it is asked about.
"""

import json
import sys

AFTERWARDS = {"task-set", "task-done", "task-open"}
STAYS = {"opened", "activated", "prompt-shown", "clock-marked", "resumed", "real-called", "corrected"}


def times(records):
    """The time of each record on the incident's own line."""
    boot, base, start, last = None, 0, 0, 0
    for record in records:
        if record["kind"] == "opened":
            boot, base = record["boot"], record["boot_ms"]
        elif record["kind"] == "resumed":
            boot, base = record["boot"], record["boot_ms"]
            start = last = max(record["body"]["at_ms"], last)
        if record["boot"] == boot:
            last = max(last, start + record["boot_ms"] - base)
        yield last


def milestones(lines):
    records = [record for record in map(json.loads, lines) if record["kind"] not in AFTERWARDS]
    back = {}
    for index, record in enumerate(records):
        if record["kind"] == "corrected":
            back[record["body"]["cause"]] = index
    shared = {"alarm": 0}
    one = {}
    for index, (record, at) in enumerate(zip(records, times(records))):
        kind, body, number = record["kind"], record["body"], record["casualty"]
        if kind not in STAYS and back.get(record["cause"], -1) >= index:
            continue
        own = one.setdefault(number, {"fell": 0}) if kind != "opened" else {}
        first = lambda name, where: where.setdefault(name, at)
        if kind == "real-called":
            for name in ("others", "ordered", "passed", "made"):
                shared.pop(name, None)
            for it in one.values():
                it.pop("safe", None)
        elif kind == "others-stopped":
            shared["others"] = at
        elif kind == "call-ordered":
            first("ordered", shared)
        elif kind == "call-passed":
            first("passed", shared)
        elif kind == "call-confirmed":
            shared["made"] = at
        elif kind == "call-failed":
            shared.pop("made", None)
        elif kind in ("order-given", "task-given"):
            first("order", shared)
        elif kind == "stood-down":
            shared["down"] = at
        elif kind == "safe-confirmed":
            for it in one.values():
                it["safe"] = at
        elif kind == "casualty-added":
            own["fell"] = body["fell_ms"]
            if body["rescuer"]:
                for it in one.values():
                    it.pop("safe", None)
            elif "safe" in one[1]:
                own["safe"] = one[1]["safe"]
        elif kind == "fall-time-set":
            own["fell"] = at - body["ago_ms"]
        elif kind == "condition-reported" and body["condition"] != "not-answering":
            first("voice", own)
        elif kind == "method-started":
            first("method", own)
        elif kind == "first-contact-made":
            first("contact", own)
        elif kind == "off-harness":
            first("contact", own)
            first("off", own)
        elif kind == "at-landing-place":
            first("landed", own)
        elif kind == "aftercare-answered":
            first("care", own)
        elif kind == "handed-over":
            own["handed"] = at
    return {"shared": shared, "each": {str(number): it for number, it in one.items()}}


print(json.dumps([milestones(lines) for lines in json.load(sys.stdin)]))

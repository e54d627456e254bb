"""Plays ladders of methods with NumPy's own chance, all draws of a ladder at once, and says value and chance."""
import json
import sys

import numpy as np


def draws(rng, points, speed, n, u=None):
    a, m, b = points
    if b == a:
        return np.full(n, float(a)) * speed
    x = (m - a) / (b - a)
    if u is None:
        return (a + (b - a) * rng.beta(1 + 4 * x, 5 - 4 * x, n)) * speed
    from scipy.special import btdtri
    return (a + (b - a) * btdtri(1 + 4 * x, 5 - 4 * x, u)) * speed


def change_by(rows, ends, s):
    """The time at which an attempt that starts at s is left; infinite where never."""
    at = np.array([r[0] for r in rows], float)
    wait = np.array([r[1] - r[0] for r in rows], float)
    never = np.array([r[1] >= ends for r in rows])
    s = np.minimum(s, 1e9)
    lo = np.clip(np.searchsorted(at, s, side="right") - 1, 0, len(at) - 1)
    hi = np.minimum(lo + 1, len(at) - 1)
    gap, since = at[hi] - at[lo], s - at[lo]
    near = np.where((2 * since <= gap) | (gap == 0), lo, hi)
    w = wait[near]
    alike = (np.abs(wait[hi] - wait[lo]) <= 2 * gap) & ~never[lo] & ~never[hi] & (since >= 0) & (since < gap)
    with np.errstate(all="ignore"):
        w = np.where(alike, wait[lo] + (wait[hi] - wait[lo]) * since / np.where(gap > 0, gap, 1), w)
    c = s + np.maximum(w, 30000)
    return np.where(never[near] | (c >= ends), np.inf, c)


def ladder(it):
    n, rng = it["draws"], np.random.default_rng(it["seed"])
    target, ends = it["target"], it["ends"]
    speed = draws(rng, (800000, 1000000, 1400000), 1e-6, n)
    orders = draws(rng, it["orders"], speed, n)
    who = {}
    start = np.zeros(n)
    off, contact = np.full(n, np.inf), np.full(n, np.inf)
    live = np.ones(n, bool)
    for number, attempt in enumerate(it["attempts"]):
        last = number + 1 == len(it["attempts"])
        if last:
            change = np.full(n, np.inf)
        elif number == 0:
            by = it["by"][0][0][1]
            change = np.full(n, float(by) if by < ends else np.inf)
        else:
            change = change_by(it["by"][number], ends, start)
        works = rng.random(n) < attempt["success"] / 1e6
        showing = [k for k, t in enumerate(attempt["tasks"]) if t["fails_after"] is not None]
        if showing:
            failing = np.array(showing)[rng.integers(0, len(showing), n)]
        else:
            failing = np.full(n, len(attempt["tasks"]) - 1)
        failing = np.where(works, -1, failing)
        clock = start.copy()
        open_ = np.ones(n, bool)
        committed = np.zeros(n, bool)
        left = np.zeros(n, bool)
        touched = np.full(n, np.inf)
        ways = []
        for person, way, sent, task in attempt["arrivals"]:
            u = who.setdefault(person, rng.random(n))
            ways.append((draws(rng, way, speed, n, u), sent, task))
        for k, task in enumerate(attempt["tasks"]):
            for way, sent, waits in ways:
                if waits == k and sent == "AtOnce":
                    clock = np.where(open_, np.maximum(clock, orders + way), clock)
                if waits == k and sent == "OnTheWay":
                    clock = np.where(open_, np.maximum(clock, way), clock)
                if waits == k and sent == "AtStart":
                    clock = np.where(open_, np.maximum(clock, start + way), clock)
            leaves = open_ & ~committed & (clock > change)
            left |= leaves
            open_ &= ~leaves
            if task["committed"]:
                committed |= open_
            shows = np.full(n, float(task["fails_after"])) if task["fails_after"] is not None else task["time"][2] * speed
            for step in task["fallback"]:
                shows = shows + draws(rng, step, speed, n)
            fails = failing == k
            end = clock + np.where(fails, shows, draws(rng, task["time"], speed, n))
            leaves = open_ & ~committed & (end > change)
            left |= leaves
            open_ &= ~leaves
            clock = np.where(open_, end, clock)
            open_ &= ~fails
            if task["contact"]:
                touched = np.where(open_, clock, touched)
        done = works & ~left
        touched = np.where(done & np.isinf(touched), clock, touched)
        contact = np.where(live, np.minimum(contact, touched), contact)
        off = np.where(live & done, clock, off)
        live &= ~done
        start = np.where(left, change, clock)
    u = np.clip((ends - off) / (ends - target), 0, 1)
    value = 0.99 * (1 - np.minimum(contact, ends) / ends) + 0.01 * u if it["hands"] else u
    chance = (off <= target).astype(float)
    root = np.sqrt(n)
    return [value.mean(), value.std() / root, chance.mean(), chance.std() / root]


print(json.dumps([[float(v) for v in ladder(it)] for it in json.load(sys.stdin)]))

"""Compares two tables, column by column of those that both have: blocks.csv, bumps.csv, stalls.csv. Usage: compare.py A B"""
import csv
import sys

a, b = (list(csv.DictReader(open(p))) for p in sys.argv[1:3])
worst, bad = {}, None
if len(a) != len(b):
    print(f"{len(a)} rows against {len(b)}")
    sys.exit(1)
for k, (p, q) in enumerate(zip(a, b)):
    for name in p:
        if name not in q or name == "surface":
            continue
        if "" in (p[name], q[name]):
            u, v = (float(x or "nan") for x in (p[name], q[name]))
            off = 0 if p[name] == q[name] else float("inf")
        else:
            u, v = float(p[name]), float(q[name])
            off = abs(u - v)
        if name in ("block", "line", "layer", "queued", "bump", "stall", "bumps"):
            limit = 0
        elif name.endswith("_s") and not name.endswith("mm_s"):
            limit = max(1e-9, 1e-12 * float(p.get("end_s", 0)))
        else:
            limit = 1e-9 + 1e-9 * abs(u) if u == u else 0
        worst[name] = max(worst.get(name, 0), off)
        if off > limit and bad is None:
            bad = (k, name, p[name], q[name], p.get("line"))
if bad:
    print("row %d, %s: %s against %s (line %s)" % bad, {n: w for n, w in worst.items() if w > 1e-9})
    sys.exit(1)

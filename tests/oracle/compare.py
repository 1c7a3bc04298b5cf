"""Compares two blocks.csv. Usage: compare.py A B"""
import csv
import sys

a, b = (list(csv.DictReader(open(p))) for p in sys.argv[1:3])
worst, bad = {}, None
if len(a) != len(b):
    print(f"{len(a)} rows against {len(b)}")
    sys.exit(1)
for k, (p, q) in enumerate(zip(a, b)):
    for name in p:
        u, v = float(p[name]), float(q[name])
        off = abs(u - v)
        if name in ("block", "line", "layer", "queued"):
            limit = 0
        elif name.endswith("_s") and not name.endswith("mm_s"):
            limit = max(1e-9, 1e-12 * float(p["end_s"]))
        else:
            limit = 1e-9 + 1e-9 * abs(u)
        worst[name] = max(worst.get(name, 0), off)
        if off > limit and bad is None:
            bad = (k, name, p[name], q[name], p["line"])
if bad:
    print("block %d, %s: %s against %s (line %s)" % bad, {n: w for n, w in worst.items() if w > 1e-9})
    sys.exit(1)

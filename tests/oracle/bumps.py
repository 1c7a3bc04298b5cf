"""Section 10 of the model for oracle.py, in the most obvious way: all samples of a stall in a list, all their pairs."""
import csv
import math

HEADER = "bump,stall,line,layer,x_mm,y_mm,z_mm,t_s,height_mm,surplus_mm3,stretch_mm,surface".split(",")


def growth(a, l, w):
    return (math.sqrt(l * l + 2 * math.pi * (l * w / 2 + math.pi * w * w / 8 + a)) - l) / math.pi - w / 2


def passages(lines, done):
    """The blocks in order, each with what the head and the ideal did in it and before it."""
    out, own = [], None
    done = iter(done)
    ended = 0.0
    for line in lines:
        if line["kind"] == "stop":
            own = (own or 0.0) + line["own"]
        for b in line["blocks"]:
            d = next(done)
            out.append(dict(
                number=len(out), line=line["number"], layer=line["layer"], h=line["height"], p=b["p"], q=b["q"], de=b["de"],
                L=b["L"], a=b["a"], only_e=b["only_e"], real=(d["v0"], d["peak"], d["v1"]), ideal=b["ideal_v"],
                start=d["start"], rest=max(0.0, d["start"] - ended), ideal_rest=own or 0.0, stopped=own is not None,
                gap=d["gap"], lost=d["gap"] + d["dur"] - b["ideal"]))
            own, ended = None, d["end"]
    return out


class Course:
    """Speed over a block, and the flow as the head passes a place of it."""

    def __init__(self, b, speeds, per_mm, lag, q):
        v0, peak, v1 = speeds
        a, length = b["a"], b["L"]
        rise, fall = (peak * peak - v0 * v0) / (2 * a), (peak * peak - v1 * v1) / (2 * a)
        cruise = max(0.0, length - rise - fall)
        self.phases = [(rise, (peak - v0) / a, v0, a), (cruise, cruise / peak, peak, 0.0), (fall, (peak - v1) / a, peak, -a)]
        self.per_mm, self.lag, self.q = per_mm, lag, q

    def at(self, place):
        """Time and flow at a place; None: at the end."""
        t, q = 0.0, self.q
        for k, (span, took, v, a) in enumerate(self.phases):
            inside = place is not None and (place <= span or k == 2)
            if inside:
                place = min(place, span)
                w = math.sqrt(max(0.0, v * v + 2 * a * place))
                took = 2 * place / (v + w) if place > 0 else 0.0
            e0, s = self.per_mm * v, self.per_mm * a
            rest = e0 - s * self.lag
            q = rest + s * took + (q - rest) * math.exp(-took / self.lag)
            t += took
            if inside:
                break
            if place is not None:
                place -= span
        return t, q


def stalls(blocks):
    """Runs of blocks that lose time, with no commanded stop between them."""
    found = []
    open_stall = None
    for b in blocks:
        if b["lost"] <= 1e-4:
            open_stall = None
            continue
        if open_stall is None or b["stopped"]:
            open_stall = []
            found.append(open_stall)
        open_stall.append(b)
    return found


def find(blocks, nozzle):
    """All bumps, by stall; each a dict. Also the stalls' excess."""
    area = math.pi * nozzle.get("filament_mm", 1.75) ** 2 / 4
    lag, lead, bore = nozzle.get("lag_s", 0.05), nozzle.get("lead_s", 0.0), nozzle.get("nozzle_mm", 0.4)
    number = {}
    runs = stalls(blocks)
    for k, run in enumerate(runs):
        for b in run:
            number[b["number"]] = k
    samples = [[] for _ in runs]
    excess = [0.0] * len(runs)
    if lag == 0:
        return runs, [[] for _ in runs], excess
    qr = qi = 0.0
    share = lag - lead
    for b in blocks:
        prints = b["de"] > 1e-9 and not b["only_e"]
        per_mm = area * b["de"] / b["L"] if prints else 0.0
        k = number.get(b["number"])
        own = share * (qr * (1 - math.exp(-b["rest"] / lag)) - qi * (1 - math.exp(-b["ideal_rest"] / lag)))
        rests = b["rest"] > 0 or b["ideal_rest"] > 0
        qr *= math.exp(-b["rest"] / lag)
        qi *= math.exp(-b["ideal_rest"] / lag)
        real = Course(b, b["real"], per_mm, lag, qr)
        ideal = Course(b, b["ideal"], per_mm, lag, qi)
        (_, r1), (_, i1) = real.at(None), ideal.at(None)
        if k is not None:
            s, x = samples[k][-1][:2] if samples[k] else (0.0, 0.0)
            if not samples[k]:
                samples[k].append((s, x))
            if rests:
                x += own
                samples[k].append((s, x))
                excess[k] += max(0.0, own)
            length = 0.0 if b["only_e"] else b["L"]
            n = max(1, math.ceil(length / (bore / 4)))
            for j in range(1, n + 1):
                if j < n:
                    at = b["L"] * j / n
                    d = share * ((ideal.at(at)[1] - real.at(at)[1]) - (qi - qr))
                else:
                    d = share * ((i1 - r1) - (qi - qr))
                samples[k].append((s + length * j / n, x + d))
            excess[k] += max(0.0, d)
            b["s0"], b["s1"], b["real_course"] = s, s + length, real
        qr, qi = r1, i1
    # Layer 0 may begin anew: its height is the last that it had.
    heights = {b["layer"]: b["h"] for b in blocks}
    return runs, [bumps_of(run, dots, area, bore, heights) for run, dots in zip(runs, samples)], excess


def bumps_of(run, dots, area, bore, heights):
    h = min(heights[run[0]["layer"]], bore)
    if h <= 0:
        return []
    printing = [b for b in run if b["de"] > 1e-9 and not b["only_e"]]
    w = area * sum(b["de"] for b in printing) / sum(b["L"] for b in printing) / h if printing else bore
    # Pieces: cut where X is least between two rises, at the last of equal samples.
    cuts, risen = [0], False
    for k in range(1, len(dots)):
        if dots[k][1] > dots[k - 1][1]:
            if risen and dots[k - 1][1] <= dots[k - 2][1]:
                cuts.append(k - 1)
            risen = True
    cuts.append(len(dots) - 1)
    kept = []
    for a, z in zip(cuts, cuts[1:]):
        best = None
        for j in range(a + 1, z + 1):
            for i in range(j - 1, a - 1, -1):
                (s0, x0), (s1, x1) = dots[i], dots[j]
                if s1 - s0 > 4 * bore + 1e-12:
                    break
                if x1 <= x0:
                    continue
                g = growth((x1 - x0) / h, s1 - s0, w)
                if best is None or g > best["height"]:
                    best = dict(height=g, surplus=x1 - x0, stretch=s1 - s0, middle=(s0 + s1) / 2)
        if best is None or best["height"] < 0.01:
            continue
        if kept and best["middle"] - kept[-1]["middle"] <= 2 * bore:
            if best["height"] > kept[-1]["height"]:
                kept[-1] = best
        else:
            kept.append(best)
    for bump in kept:
        locate(bump, run)
    return kept


def locate(bump, run):
    """The block at the middle: where one ends and the next begins, the one that ends. When the head gets there."""
    m = bump["middle"]
    at = next((b for b in run if m <= b["s1"] + 1e-12), run[-1])
    bump["block"] = at
    span = at["s1"] - at["s0"]
    part = (m - at["s0"]) / span if span > 0 else 0.0
    bump["t"] = at["start"] - at["rest"] if part == 0 else at["start"] + at["real_course"].at(m - at["s0"] if m < at["s1"] - 1e-12 else None)[0]
    bump["xyz"] = [at["p"][k] + (at["q"][k] - at["p"][k]) * part for k in "xyz"]


def write(bumps_path, stalls_path, blocks, nozzle):
    runs, found, excess = find(blocks, nozzle)
    number = 0
    with open(bumps_path, "w", newline="") as f, open(stalls_path, "w", newline="") as g:
        w, v = (csv.writer(to, lineterminator="\n") for to in (f, g))
        w.writerow(HEADER)
        v.writerow(["stall", "excess_mm3", "bump_mm", "bumps"])
        for stall, bumps in enumerate(found):
            for b in bumps:
                w.writerow([number, stall, b["block"]["line"], b["block"]["layer"], *b["xyz"], b["t"], b["height"],
                            b["surplus"], b["stretch"], ""])
                number += 1
            v.writerow([stall, excess[stall], max((b["height"] for b in bumps), default=""), len(bumps)])

"""A slow, plain second implementation of Headstall's model, to compare blocks.csv with.

Usage: oracle.py JOB BOARD.toml BLOCKS.csv [BUMPS.csv STALLS.csv]

Written from the text of the model alone, in the most obvious way: the look-ahead is worked out
anew over all waiting blocks at each insertion, the ideal over whole stretches between stops, the bumps
from whole lists of samples and all their pairs (`bumps.py`). Fixed durations only; chances 0 or 1.
Plain jobs: no checksums, no odd lines.
"""
import csv
import math
import re
import sys
import tomllib

import bumps

INF = math.inf


# ---- job -----------------------------------------------------------------------------------

def words(text):
    text = re.sub(r"\([^()]*\)", "", text.split(";")[0])
    return re.findall(r"([A-Za-z])\s*([-+]?\d*\.?\d*)", text.strip())


def read_job(path, board):
    """Lines: dict(number, raw_end, raw, cmd, layer, kind, ...)."""
    data = open(path, "rb").read()
    motion = board["motion"]
    lim = dict(
        v=dict(motion["speed_max"]), a=dict(motion["accel_max"]), base=dict(motion["accel"]),
        corner=dict(motion["corner"]))
    pos = dict(x=0.0, y=0.0, z=0.0)     # job coordinates
    shift = dict(x=0.0, y=0.0, z=0.0)
    e = 0.0
    rel = rel_e = False
    unit = 1.0
    plane = "xy"
    feed, factor, flow = 25.0, 1.0, 1.0
    layers = Layers()
    lines, offset, taken = [], 0, 0
    chord_mm = motion.get("arc_chord_mm", 1.0)
    prev = None
    for number, raw in enumerate(data.split(b"\n"), 1):
        end = min(offset + len(raw) + 1, len(data))
        offset = end
        text = raw.decode("latin-1")
        bare = re.sub(r"\([^()]*\)", "", text.split(";")[0])
        if not bare.strip():
            continue
        # Command bytes: without comment and outer blanks.
        cmd = len(text.split(";")[0].strip().encode("latin-1")) + 1
        if "(" in text:
            cmd = len(bare.strip()) + 1
        ws = words(text)
        code = ws[0][0].upper() + str(int(float(ws[0][1])))
        args = {}
        for letter, value in ws[1:]:
            if value not in ("", "+", "-", "."):
                args[letter.upper()] = float(value)
            else:
                args.setdefault(letter.upper(), None)
        val = {k: v for k, v in args.items() if v is not None}
        line = dict(number=number, end=end, raw=end - taken, cmd=cmd, kind="none", blocks=[])
        taken = end
        if code in ("G0", "G1", "G2", "G3", "G17", "G18", "G19", "G20", "G21", "G90", "G91"):
            if code == "G20":
                f_unit = unit
            else:
                f_unit = unit
            if val.get("F", 0) > 0:
                feed = val["F"] * f_unit / 60.0
        if code in ("G0", "G1", "G2", "G3"):
            start = {k: pos[k] + shift[k] for k in pos}
            de = 0.0
            new = dict(pos)
            for k in pos:
                if k.upper() in val:
                    q = val[k.upper()] * unit
                    new[k] = pos[k] + q if rel else q
            if "E" in val:
                q = val["E"] * unit
                ne = e + q if (rel or rel_e) else q
                de = (ne - e) * flow
                e = ne
            pos = new
            stop = {k: pos[k] + shift[k] for k in pos}
            points = [stop]
            arc = False
            turning = False
            if code in ("G2", "G3"):
                a, b = plane
                c = (a, b)
                centre = None
                if "R" in val:
                    r = val["R"] * unit
                    dx, dy = stop[a] - start[a], stop[b] - start[b]
                    q = math.hypot(dx, dy)
                    if abs(r) > 1e-9 and q > 1e-9 and q / 2 <= abs(r) + 0.01:
                        h = math.sqrt(max(0.0, r * r - q * q / 4))
                        # centre left of start->end for a short counter-clockwise arc
                        left = (code == "G3") == (r > 0)
                        sgn = 1 if left else -1
                        centre = (start[a] + dx / 2 - sgn * h * dy / q, start[b] + dy / 2 + sgn * h * dx / q)
                elif any(k in val for k in "IJK"):
                    off = {"x": "I", "y": "J", "z": "K"}
                    i, j = val.get(off[a], 0.0) * unit, val.get(off[b], 0.0) * unit
                    if math.hypot(i, j) > 1e-9:
                        centre = (start[a] + i, start[b] + j)
                if centre:
                    arc = turning = True
                    s = (start[a] - centre[0], start[b] - centre[1])
                    f = (stop[a] - centre[0], stop[b] - centre[1])
                    radius = math.hypot(*s)
                    a0, a1 = math.atan2(s[1], s[0]), math.atan2(f[1], f[0])
                    closed = "R" not in val and abs(stop[a] - start[a]) <= 1e-9 and abs(stop[b] - start[b]) <= 1e-9
                    if code == "G3":
                        sweep = (a1 - a0) % (2 * math.pi)
                        if closed or sweep <= 1e-15:
                            sweep = 2 * math.pi
                    else:
                        sweep = -((a0 - a1) % (2 * math.pi))
                        if closed or sweep >= -1e-15:
                            sweep = -2 * math.pi
                    n = max(1, math.ceil(radius * abs(sweep) / chord_mm))
                    points = []
                    for k in range(1, n + 1):
                        p = {q: start[q] + (stop[q] - start[q]) * k / n for q in "xyz"}
                        p[a] = centre[0] + radius * math.cos(a0 + sweep * k / n)
                        p[b] = centre[1] + radius * math.sin(a0 + sweep * k / n)
                        points.append(p)
                    points[-1] = stop
            line["kind"] = "move"
            line["arc"] = arc
            at = start
            for p in points:
                blk = make_block(at, p, de / len(points), feed * factor, lim, board, prev)
                at = p
                if blk:
                    line["blocks"].append(blk)
                    prev = blk
            moved_xy = turning or abs(stop["x"] - start["x"]) > 1e-9 or abs(stop["y"] - start["y"]) > 1e-9
            layers.line(start["z"], stop["z"], de > 1e-9 and moved_xy)
        elif code == "G20":
            unit = 25.4
        elif code == "G21":
            unit = 1.0
        elif code in ("G17", "G18", "G19"):
            plane = {"G17": "xy", "G18": "zx", "G19": "yz"}[code]
        elif code == "G90":
            rel = False
        elif code == "G91":
            rel = True
        elif code == "M82":
            rel_e = False
        elif code == "M83":
            rel_e = True
        elif code == "G92":
            bare92 = not any(k in val for k in "XYZE")
            for k in pos:
                if bare92 or k.upper() in val:
                    q = 0.0 if bare92 else val[k.upper()] * unit
                    shift[k] += pos[k] - q
                    pos[k] = q
            if bare92 or "E" in val:
                e = 0.0 if bare92 else val["E"] * unit
        elif code == "G28":
            named = [k for k in pos if k.upper() in args] or list(pos)
            for k in named:
                pos[k] = 0.0
                shift[k] = 0.0
            line.update(kind="stop", own=board.get("wait", {}).get("home_s", 0))
        elif code == "G29":
            line.update(kind="stop", own=board.get("wait", {}).get("home_s", 0))
        elif code == "G4":
            own = val["S"] if "S" in val else val.get("P", 0.0) / 1000.0
            line.update(kind="stop", own=own)
        elif code in ("M400", "M0", "M1"):
            line.update(kind="stop", own=0.0)
        elif code in ("M109", "M190", "M191"):
            line.update(kind="stop", own=board.get("wait", {}).get("heat_s", 0))
        elif code == "M600" or (code[0] == "T" and int(code[1:]) <= 99):
            line.update(kind="stop", own=board.get("wait", {}).get("change_s", 0))
        elif code == "M201":
            lim["a"] = lim["a"] | {k.lower(): val[k] for k in "XYZE" if val.get(k, 0) > 0}
        elif code == "M203":
            lim["v"] = lim["v"] | {k.lower(): val[k] for k in "XYZE" if val.get(k, 0) > 0}
        elif code == "M204":
            b = dict(lim["base"])
            if "S" in val:
                b["print"] = b["travel"] = val["S"]
            for k, name in (("P", "print"), ("T", "travel"), ("R", "retract")):
                if k in val:
                    b[name] = val[k]
            lim["base"] = b
        elif code == "M205":
            c = dict(lim["corner"])
            if c["rule"] == "jump":
                c.update({k.lower(): val[k] for k in "XYZE" if k in val})
            elif "J" in val:
                c["mm"] = val["J"]
            lim["corner"] = c
        elif code == "M220":
            if val.get("S", 0) > 0:
                factor = val["S"] / 100.0
        elif code == "M221":
            if val.get("S", 0) > 0:
                flow = val["S"] / 100.0
        line["layer"], line["height"] = layers.number, layers.height
        lines.append(line)
    return lines


class Layers:
    """Section 1, third edition."""

    def __init__(self):
        self.number, self.begun = 0, False
        self.z = self.first_z = self.height = 0.0
        self.learnt = None              # the last rise > 0.05 with which a flat line began a layer
        self.printed = 0                # lines that have printed on the layer
        self.by_printing = False        # whether the last line that changed Z printed

    def line(self, z0, z1, prints):
        """A line that moves from z0 to z1."""
        if prints:
            if self.may_begin(z0, z1):
                self.begin(z0, z1)
            elif self.begun:
                self.printed += 1
        if abs(z1 - z0) > 1e-6:
            self.by_printing = prints

    def may_begin(self, z0, z1):
        if z1 <= 1e-6 or z0 - z1 > 1e-6:
            return False
        if not self.begun:
            return True
        flat = abs(z1 - z0) <= 1e-6
        if flat and not self.by_printing:
            return abs(z1 - self.z) > 1e-3
        pitch = self.first_z if self.learnt is None else self.learnt
        return z1 - self.z >= pitch - 1e-6

    def begin(self, z0, z1):
        flat = abs(z1 - z0) <= 1e-6
        rise = z1 - self.z
        primer = self.begun and self.number == 0 and (z1 < self.z or self.printed == 1)
        if not self.begun or primer:
            self.first_z = self.height = z1
        else:
            self.number += 1
            if rise > 0:
                self.height = rise
            if flat and rise > 0.05:
                self.learnt = rise
        self.begun, self.z, self.printed = True, z1, 1


def make_block(p, q, de, feed, lim, board, prev):
    d = [q[k] - p[k] for k in "xyz"] + [de]
    xyz = math.sqrt(d[0] ** 2 + d[1] ** 2 + d[2] ** 2)
    only_e = all(abs(c) <= 1e-9 for c in d[:3])
    if only_e and abs(de) <= 1e-9:
        return None
    length = abs(de) if only_e else xyz
    if only_e:
        d[:3] = [0.0, 0.0, 0.0]
    u = [c / length for c in d]
    v, base = feed, lim["base"]
    a = base["retract"] if only_e else base["print"] if de > 1e-9 else base["travel"]
    for k, c in zip("xyze", u):
        if c != 0:
            v = min(v, lim["v"][k] / abs(c))
            a = min(a, lim["a"][k] / abs(c))
    spm = board["motion"]["steps_per_mm"]
    if board["motion"].get("layout", "cartesian") == "corexy":
        m = [(d[0] + d[1]) * spm["x"], (d[0] - d[1]) * spm["y"]]
    else:
        m = [d[0] * spm["x"], d[1] * spm["y"]]
    m += [d[2] * spm["z"], d[3] * spm["e"]]
    blk = dict(p=p, q=q, de=de, L=length, v=v, a=a, u=u, only_e=only_e, steps=max(map(abs, m)),
               corner=dict(lim["corner"]), prev=prev)
    return blk


def corner_cap(p, n, vp, vn):
    if p["only_e"] or n["only_e"]:
        return 0.0
    rule = n["corner"]
    if rule["rule"] == "deviation":
        s = math.sqrt(sum((x + y) ** 2 for x, y in zip(p["u"][:3], n["u"][:3]))) / 2
        vc = INF if s > 1 - 1e-9 else math.sqrt(min(p["a"], n["a"]) * rule["mm"] * s / (1 - s))
    else:
        vc = INF
        for k, x, y in zip("xyze", p["u"], n["u"]):
            if abs(y - x) > 1e-12:
                vc = min(vc, rule[k] / abs(y - x))
    return min(vp, vn, vc)


def profile(L, v, a, v0, v1):
    peak = min(v, math.sqrt(a * L + (v0 * v0 + v1 * v1) / 2))
    t1, t3 = (peak - v0) / a, (peak - v1) / a
    s = L - (peak * peak - v0 * v0) / (2 * a) - (peak * peak - v1 * v1) / (2 * a)
    return peak, t1 + max(0.0, s) / peak + t3


def sweep(blocks, first_entry):
    """Entries of blocks that wait, oldest first; the head rests behind the last."""
    entries = [0.0] * len(blocks)
    exit_speed = 0.0
    for i in reversed(range(len(blocks))):
        b = blocks[i]
        entries[i] = min(b["cap"], math.sqrt(exit_speed ** 2 + 2 * b["a"] * b["L"]))
        if i == 0:
            entries[i] = first_entry
        exit_speed = entries[i]
    for i in range(1, len(blocks)):
        b = blocks[i - 1]
        entries[i] = min(entries[i], math.sqrt(entries[i - 1] ** 2 + 2 * b["a"] * b["L"]))
    return entries


# ---- ideal ---------------------------------------------------------------------------------

def ideal(lines):
    stretch = []

    def settle():
        for i, b in enumerate(stretch):
            b["cap"] = 0.0 if i == 0 else corner_cap(stretch[i - 1], b, stretch[i - 1]["v"], b["v"])
        entries = sweep(stretch, 0.0)
        for b, v0, v1 in zip(stretch, entries, entries[1:] + [0.0]):
            peak, b["ideal"] = profile(b["L"], b["v"], b["a"], v0, v1)
            b["ideal_v"] = (v0, peak, v1)
        stretch.clear()

    total = 0.0
    for line in lines:
        if line["kind"] == "stop":
            settle()
            total += line["own"]
        stretch.extend(line["blocks"])
    settle()
    return total + sum(b["ideal"] for line in lines for b in line["blocks"])


# ---- replay --------------------------------------------------------------------------------

class Replay:
    def __init__(self, lines, board):
        self.b = board
        self.lines = lines
        self.t = 0.0
        self.wait = []              # planned, not executing
        self.run = None             # executing
        self.next_entry = 0.0       # fixed entry of the first waiting block
        self.entered = 0.0          # when a block entered the empty queue
        self.draining = self.over = False
        self.rest_from = 0.0
        self.rest_gap = 0.0
        self.rest_free = True       # start-up or behind a stop
        self.done = []
        self.start_up = self.stop_wait = self.stops = 0.0
        self.last_stop_end = 0.0
        loop = board.get("loop", {})
        self.c = {k: loop.get(k, 0) * 1e-6 for k in ("line_us", "byte_us", "block_us", "pass_us", "chord_us", "step_us")}
        self.load_max = loop.get("load_max", 0.95)
        q = board.get("queue", {})
        self.q_lines, self.q_blocks = q.get("lines", 4), q.get("blocks", 16)
        self.restart_n = q.get("restart_blocks", 1)
        self.restart_t = q.get("restart_wait_ms", 0) / 1000.0
        self.low, self.stretch = q.get("low_water", 0), q.get("stretch_ms", 0) / 1000.0
        self.chores = [dict(every=c.get("every_s", 1.0), us=c.get("us", 12000) * 1e-6, due=c.get("every_s", 1.0))
                       for c in board.get("chore", []) if c.get("us", 12000) > 0]
        self.cq = []
        self.i = 0                  # next line: on a card to be read, on serial to be sent
        link = board["link"]
        self.card = link["kind"] == "card"
        self.link = link
        self.sectors = 0
        self.reread = False
        if not self.card:
            self.rate = link["bytes_per_s"] if "bytes_per_s" in link else link["baud"] / link.get("bits_per_byte", 10)
            self.reply = link["reply_ms"] / 1000.0
            self.window = link.get("in_flight", 1)
            self.over_b = link.get("overhead_bytes", 0)
            self.poll_s = link.get("poll_s", 0)
            self.poll_due = self.poll_s if self.poll_s > 0 else INF
            self.last_poll = False
            self.broken = link.get("resend_chance", 0) >= 1
            self.wire_free = 0.0
            self.open = 0           # unanswered
            self.answers = []       # moments at which answers reach the host
            self.sent = []          # (arrival, line or "poll")
        s = board.get("save", {})
        self.s_when, self.s_every = s.get("when", "off"), s.get("every", 1)
        self.s_ms, self.s_stop, self.s_reread = s.get("ms", 0) / 1000.0, s.get("stop_first", False), s.get("reread", True)
        self.s_end, self.s_lines, self.s_taken, self.s_layer = 0.0, 0, True, None

    # the head
    def queued(self):
        return len(self.wait) + (self.run is not None)

    def may_start(self):
        """The moment from which the resting head may start, as things stand."""
        if not self.wait:
            return INF
        if len(self.wait) >= self.restart_n or self.draining or self.over:
            return -INF
        return self.entered + self.restart_t if self.restart_t > 0 else INF

    def begin(self, t):
        b = self.wait.pop(0)
        r = dict(b)
        r["queued"] = len(self.wait) + 1
        v0 = self.next_entry
        v1 = self.wait[0]["entry"] if self.wait else 0.0
        peak, dur = profile(b["L"], b["vn"], b["a"], v0, v1)
        r.update(v0=v0, v1=v1, peak=peak, start=t, end=t + dur, dur=dur, gap=0.0)
        if self.run is None:
            rest = t - self.rest_from
            r["gap"] = self.rest_gap
            if self.rest_free:
                self.start_up += rest
            else:
                r["gap"] += rest
            self.rest_gap, self.rest_free = 0.0, False
        self.run = r
        self.next_entry = v1
        self.done.append(r)

    def end_run(self):
        t = self.run["end"]
        if self.wait:
            self.begin(t)
        else:
            self.run = None
            self.next_entry = 0.0
            self.rest_from = t

    def head_event(self):
        """Next event of the head: (time, what)."""
        if self.run:
            return self.run["end"], self.end_run
        m = self.may_start()
        if m == INF:
            return INF, None
        m = max(m, self.t)
        return m, lambda: self.begin(m)

    def rate_now(self):
        if not self.run:
            return 1.0
        return 1.0 - min(self.load_max, self.c["step_us"] * self.run["steps"] / self.run["dur"])

    def wall(self, span):
        self.until(self.t + span)

    def until(self, end):
        if end <= self.t:
            return
        while True:
            t, act = self.head_event()
            # an end at `end` comes first; a start from rest at `end` last
            if act is None or t > end or (t == end and not self.run):
                break
            self.t = max(self.t, t)
            act()
        self.t = end

    def cpu(self, work):
        if work <= 0:
            return
        while True:
            rate = self.rate_now()
            fin = self.t + work / rate
            t, act = self.head_event()
            if act is None or t > fin or (t == fin and not self.run):
                self.t = fin
                return
            work = max(0.0, work - (t - self.t) * rate)
            self.t = t
            act()

    # chores
    def chore_due(self):
        return min((c["due"] for c in self.chores), default=INF)

    def run_chores(self):
        ran = False
        for c in self.chores:
            if self.t >= c["due"]:
                c["due"] = self.t + c["every"]
                self.cpu(c["us"])
                ran = True
        return ran

    # the link
    def host_start(self):
        if self.open < self.window:
            return self.wire_free
        return max(self.wire_free, min(self.answers)) if self.answers else INF

    def host(self):
        """Everything that the host begins to send by now."""
        while self.i < len(self.lines):
            s = self.host_start()
            if s > self.t:
                return
            if self.open >= self.window:
                self.answers.remove(min(self.answers))
                self.open -= 1
            self.open += 1
            if s >= self.poll_due and not self.last_poll:
                self.poll_due = s + self.poll_s
                self.last_poll = True
                a = s + (self.link.get("poll_bytes", 5) + self.over_b) / self.rate
                self.sent.append((a, "poll"))
            else:
                self.last_poll = False
                line = self.lines[self.i]
                self.i += 1
                w = (line["cmd"] + self.over_b) / self.rate
                a = s + w + (self.reply + w if self.broken else 0.0)
                self.sent.append((a, line))
            self.wire_free = a

    def arrival(self):
        """The next moment at which a line can be had, as things stand."""
        if self.card:
            return INF
        self.host()
        if self.sent:
            return self.sent[0][0]
        if self.i >= len(self.lines):
            return INF
        s = self.host_start()
        if s == INF:
            return INF
        if s >= self.poll_due and not self.last_poll:
            return s + (self.link.get("poll_bytes", 5) + self.over_b) / self.rate
        w = (self.lines[self.i]["cmd"] + self.over_b) / self.rate
        return s + w + (self.reply + w if self.broken else 0.0)

    def can_fetch(self):
        if len(self.cq) >= self.q_lines:
            return False
        if self.card:
            return self.i < len(self.lines)
        self.host()
        return bool(self.sent) and self.sent[0][0] <= self.t

    def fetch(self):
        if self.card:
            line = self.lines[self.i]
            self.i += 1
            sector = self.link["sector_ms"] / 1000.0
            if self.reread:
                self.reread = False
                self.wall(sector)
            while self.sectors * 512 < line["end"]:
                k = self.sectors
                self.sectors += 1
                self.wall(sector)
                if k > 0 and k % (2 * self.link.get("cluster_kib", 32)) == 0:
                    self.wall(self.link.get("chain_ms", 0) / 1000.0)
                if self.link.get("hiccup_chance", 0) >= 1:
                    self.wall(self.link.get("hiccup_ms", 40) / 1000.0)
            self.cpu(self.c["byte_us"] * line["raw"])
            self.cq.append(line)
        else:
            _, line = self.sent.pop(0)
            n = self.link.get("poll_bytes", 5) if line == "poll" else line["cmd"]
            self.cpu(self.c["byte_us"] * n)
            self.cq.append(line)
            if self.link.get("reply_when", "finished") == "received":
                self.answers.append(self.t + self.reply)

    # saves
    def save_due(self):
        if not self.s_taken or not self.cq or self.s_when == "off":
            return False
        if self.s_when == "seconds":
            return self.t >= self.s_end + self.s_every
        if self.s_when == "lines":
            return self.s_lines >= self.s_every
        return self.cq[0] != "poll" and self.s_layer is not None and self.cq[0]["layer"] != self.s_layer

    def save(self):
        if self.s_stop:
            self.drain()
        self.wall(self.s_ms)
        self.s_end, self.s_lines, self.s_taken = self.t, 0, False
        if self.s_reread and self.card and self.sectors > 0:
            self.reread = True

    # waiting
    def idle(self):
        if self.run_chores():
            return
        if self.can_fetch():
            self.fetch()
            return
        # sleep until the next end of a block, arrival or chore
        if not self.run and self.may_start() <= self.t:
            self.begin(self.t)
        wake = min(self.chore_due(), self.arrival() if len(self.cq) < self.q_lines else INF)
        if self.run:
            wake = min(wake, self.run["end"])
        elif self.may_start() < INF:
            # a start by restart_wait within the sleep: wake at the end of that block at the latest
            m = self.may_start()
            if m < wake:
                self.until(m)
                self.begin(m)
                return
        if wake == INF:
            raise RuntimeError("sleeps for ever")
        self.until(wake)
        while self.run and self.run["end"] <= self.t:
            self.end_run()

    def room(self):
        while self.queued() >= self.q_blocks:
            self.idle()

    def drain(self):
        self.draining = True
        while self.queued():
            self.idle()
        self.draining = False

    def insert(self, blk):
        b = dict(blk)
        b["vn"] = b["v"]
        n = self.queued()
        if n == 0:
            self.entered = self.t
        if self.stretch > 0 and 1 <= n < self.low:
            t = b["L"] / b["v"]
            if t < self.stretch:
                b["vn"] = b["L"] / (t + (self.stretch - t) * (self.low - n) / self.low)
        before = self.wait[-1] if self.wait else self.run
        b["cap"] = corner_cap(before, b, before["vn"], b["vn"]) if before else 0.0
        self.wait.append(b)
        for w, v in zip(self.wait, sweep(self.wait, self.next_entry)):
            w["entry"] = v

    def main(self):
        while True:
            self.run_chores()
            while self.can_fetch():
                self.fetch()
            if self.save_due():
                self.save()
                continue
            if not self.cq:
                if self.i >= len(self.lines) and (self.card or not self.sent):
                    break
                wake = min(self.chore_due(), self.arrival())
                self.until(wake)
                while self.run and self.run["end"] <= self.t:
                    self.end_run()
                continue
            line = self.cq.pop(0)
            self.cpu(self.c["line_us"]) if line == "poll" else self.work(line)
            if not self.card and self.link.get("reply_when", "finished") == "finished":
                self.answers.append(self.t + self.reply)
        self.over = True
        while self.run or self.wait:
            if self.run:
                self.t = self.run["end"]
                self.end_run()
            else:
                self.begin(self.t)
        self.start_up += self.rest_gap
        ends = [self.last_stop_end] + [r["end"] for r in self.done[-1:]]
        return max(ends)

    def work(self, line):
        self.s_lines += 1
        self.s_taken = True
        self.s_layer = line["layer"]
        self.cpu(self.c["line_us"])
        if line["kind"] == "stop":
            began = self.t
            self.drain()
            own = self.t
            rested = max(self.rest_from, began)
            before = max(0.0, began - self.rest_from)
            if self.rest_free:
                self.start_up += before
            else:
                self.rest_gap += before
            self.stop_wait += own - rested
            self.wall(line["own"])
            self.stops += self.t - own
            self.rest_from, self.rest_free = self.t, True
            self.last_stop_end = self.t
        for blk in line["blocks"]:
            if line["arc"]:
                self.cpu(self.c["chord_us"])
            self.room()
            self.cpu(self.c["block_us"] + self.c["pass_us"] * (len(self.wait) + 1))
            self.insert(blk)


def main():
    job, board_path, out = sys.argv[1:4]
    with open(board_path, "rb") as f:
        board = tomllib.load(f)
    lines = read_job(job, board)
    ideal_s = ideal(lines)
    r = Replay(lines, board)
    replay_s = r.main()
    flat = [(line, b) for line in lines for b in line["blocks"]]
    lost = 0.0
    with open(out, "w", newline="") as f:
        w = csv.writer(f, lineterminator="\n")
        w.writerow("block,line,layer,x0_mm,y0_mm,z0_mm,x1_mm,y1_mm,z1_mm,e_mm,length_mm,nominal_mm_s,entry_mm_s,"
                   "peak_mm_s,exit_mm_s,start_s,end_s,gap_s,ideal_s,lost_s,queued".split(","))
        for k, ((line, b), d) in enumerate(zip(flat, r.done, strict=True)):
            p, q = b["p"], b["q"]
            lose = d["gap"] + d["dur"] - b["ideal"]
            lost += lose
            w.writerow([k, line["number"], line["layer"], p["x"], p["y"], p["z"], q["x"], q["y"], q["z"], b["de"], b["L"],
                        d["vn"], d["v0"], d["peak"], d["v1"], d["start"], d["end"], d["gap"], b["ideal"], lose, d["queued"]])
    if len(sys.argv) > 4:
        bumps.write(sys.argv[4], sys.argv[5], bumps.passages(lines, r.done), board.get("nozzle", {}))
    total = ideal_s + lost + r.start_up + r.stop_wait
    assert abs(total - replay_s) < 1e-7, (total, replay_s, r.start_up, r.stop_wait)
    print(f"replay_s {replay_s!r} ideal_s {ideal_s!r} lost_s {lost!r} start_up_s {r.start_up!r} blocks {len(flat)}")


main()

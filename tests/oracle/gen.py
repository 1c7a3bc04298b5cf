"""Random jobs and boards for oracle.py. Usage: gen.py SEED FOLDER (writes job.gcode and board.toml)."""
import math
import os
import random
import sys


def board(r):
    neat = r.random() < 0.25

    def num(lo, hi, zero=0.3):
        if r.random() < zero:
            return 0
        v = r.uniform(lo, hi)
        return round(v) if neat else round(v, r.choice([1, 3, 5]))

    out = ['name = "random"', "[link]"]
    serial = r.random() < 0.5
    if serial:
        out += ['kind = "serial"',
                r.choice(["baud = 115200", "baud = 250000", f"bytes_per_s = {r.uniform(2000, 90000):.3f}"]),
                f"overhead_bytes = {r.choice([0, 0, 11, 6])}", f"reply_ms = {num(0.5, 20, 0.2)}",
                f"in_flight = {r.choice([1, 1, 2, 3, 4, 8])}",
                f'reply_when = "{r.choice(["finished", "received"])}"',
                f"poll_s = {r.choice([0, 0, 0.05, 0.31, 1.7])}", f"poll_bytes = {r.choice([5, 9])}",
                f"resend_chance = {r.choice([0, 0, 0, 1])}"]
    else:
        out += ['kind = "card"', f"sector_ms = {num(0.3, 30, 0.15)}", f"cluster_kib = {r.choice([1, 2, 32])}",
                f"chain_ms = {num(1, 40, 0.5)}", f"hiccup_chance = {r.choice([0, 0, 0, 1])}",
                f"hiccup_ms = {num(1, 30)}"]
    out += ["[loop]", f"line_us = {num(20, 4000)}", f"byte_us = {num(1, 60)}", f"block_us = {num(20, 5000)}",
            f"pass_us = {num(5, 400)}", f"chord_us = {num(10, 2000)}", f"step_us = {num(1, 60)}",
            f"load_max = {r.choice([0.95, 0.5, 0.0, 0.8])}"]
    for k in range(r.choice([0, 0, 1, 2, 3])):
        out += ["[[chore]]", f'name = "chore{k}"', f"every_s = {r.choice([0.1, 0.05, 1.0, 0.37, 0.021])}",
                f"us = {num(50, 15000, 0.1)}"]
    blocks = r.choice([2, 3, 4, 8, 16, 16, 32, 64])
    out += ["[queue]", f"lines = {r.choice([1, 2, 4, 4, 8, 32])}", f"blocks = {blocks}",
            f"restart_blocks = {r.choice([1, 1, 1, 2, blocks, max(1, blocks // 2)])}",
            f"restart_wait_ms = {r.choice([0, 0, 5, 50, 400])}"]
    if r.random() < 0.4:
        out += [f"low_water = {r.choice([2, 4, 8, 20])}", f"stretch_ms = {r.choice([5, 20, 50])}"]
    if r.random() < 0.5:
        corner = f'{{ rule = "deviation", mm = {r.choice([0, 0.01, 0.03, 0.2])} }}'
    else:
        corner = f'{{ rule = "jump", x = {r.choice([0, 4, 8, 20])}, y = {r.choice([4, 8, 10])}, z = 0.4, e = {r.choice([0.5, 5, 20])} }}'
    out += ["[motion]", f'layout = "{r.choice(["cartesian", "corexy"])}"',
            "speed_max = { x = %g, y = %g, z = 12, e = %g }" % (r.choice([60, 200, 300]), r.choice([80, 300]), r.choice([25, 60])),
            "accel_max = { x = %g, y = %g, z = 100, e = %g }" % (r.choice([500, 2000]), r.choice([2000, 9000]), r.choice([800, 5000])),
            "accel = { print = %g, travel = %g, retract = %g }" % (r.choice([300, 1000, 4000]), r.choice([500, 1500]), r.choice([300, 2000])),
            f"corner = {corner}", "steps_per_mm = { x = 80, y = 80.2, z = 400, e = 93 }",
            f"arc_chord_mm = {r.choice([0.3, 1.0, 2.5])}"]
    out += ["[wait]", f"heat_s = {r.choice([0, 2.5])}", f"home_s = {r.choice([0, 1])}", f"change_s = {r.choice([0, 0.7])}"]
    when = r.choice(["off", "off", "seconds", "lines", "layer"])
    every = {"seconds": r.choice([0.2, 1, 0.05]), "lines": r.choice([1, 5, 17])}.get(when, 1)
    out += ["[save]", f'when = "{when}"', f"every = {every}", f"ms = {num(3, 120, 0.1)}",
            f"stop_first = {r.choice(['true', 'false'])}", f"reread = {r.choice(['true', 'false'])}"]
    if r.random() < 0.8:
        lag = num(0.01, 0.3, 0.05)
        out += ["[nozzle]", f"filament_mm = {r.choice([1.75, 2.85])}", f"nozzle_mm = {r.choice([0.25, 0.4, 0.4, 0.6, 1.0])}",
                f"lag_s = {lag or 0.05 * r.randint(0, 4)}", f"lead_s = {r.choice([0, 0, 0.03, 0.1])}"]
    return "\n".join(out) + "\n"


def wall(r):
    """A part with walls: primer lines, layers of loops or a spiral, retractions; a starved board makes one stall of it."""
    out, e, z = ["M83", "G1 F3000"], 0.04 * r.uniform(0.6, 1.5), 0.0
    high = r.choice([0.1, 0.2, 0.25, 0.3])
    for _ in range(r.choice([0, 0, 1, 1, 2])):
        out.append(f"G1 Z{r.choice([high, 0.3, 0.2, 0.05]):.3f}")
        for k in range(r.choice([1, 1, 2])):
            out.append(f"G1 X{r.uniform(5, 60):.3f} Y{k * 0.5:.3f} E{r.uniform(0.5, 3):.4f}")
    first = r.choice([high, 0.2, 0.3])
    radius, sides = r.uniform(1, 9), r.choice([4, 12, 40, 120])
    spiral, retracts, hops = r.random() < 0.4, r.random() < 0.5, r.random() < 0.3
    flat = r.choice([1, 2, 4])
    for layer in range(r.randint(1, 5)):
        z = first if layer == 0 else z if spiral and layer > 1 else z + high
        if not spiral or layer < 2:
            out.append(f"G0 X{20 + radius:.3f} Y20 F{r.choice([6000, 9000])}")
            out.append(f"G0 Z{z:.3f}")
            if retracts:
                out.append("G1 E0.8 F1800")
        for k in range(1, sides + 1):
            a = 2 * math.pi * k / sides
            w = f"X{20 + radius * math.cos(a):.4f} Y{20 + radius * math.sin(a):.4f}"
            step = 2 * radius * math.sin(math.pi / sides)
            if spiral and layer > 1 and k % flat == 0:
                z += high * flat / sides
                w += f" Z{z:.5f}"
            elif hops and r.random() < 0.02:
                w += f" Z{z + r.choice([0.1, -0.03, 0.3]):.3f}"
                z += 0
            f = f" F{r.choice([900, 1800, 3000])}" if r.random() < 0.05 else ""
            out.append(f"G1 {w} E{e * step:.5f}{f}")
            if r.random() < 0.01:
                out.append(r.choice(["G4 P50", "M400", "G0 Y25", "G1 E-0.5", "G1 E0.5"]))
        if retracts:
            out.append("G1 E-0.8 F1800")
    return "\n".join(out) + "\n"


def job(r):
    if r.random() < 0.4:
        return wall(r)
    out, x, y, z, layer = [], 0.0, 0.0, 0.2, 0.2
    rel_e = r.random() < 0.6
    out.append(r.choice(["M83", "M83 ; filament relative"]) if rel_e else "M82")
    if r.random() < 0.4:
        out.insert(0, r.choice(["G28", "G28 X Y", "G4 P300", "M400", "M109 S200", "; start"]))
    e = 0.0

    def ext(d):
        nonlocal e
        e += d
        return f"E{d:.5f}" if rel_e else f"E{e:.5f}"

    relative = inches = False
    scale = 1.0
    style = r.choice(["tiny", "mixed", "mixed", "long", "circle"])
    for k in range(r.randint(25, 300)):
        p = r.random()
        f = f" F{r.choice([600, 1500, 3000, 4800, 9000])}" if r.random() < 0.12 else ""
        if p < 0.62:
            step = {"tiny": r.uniform(0.01, 0.4), "long": r.uniform(3, 30), "circle": r.uniform(0.2, 0.5),
                    "mixed": 10 ** r.uniform(-2, 1.3)}[style]
            a = k * 0.07 if style == "circle" else r.uniform(0, 2 * math.pi)
            dx, dy = step * math.cos(a), step * math.sin(a)
            if r.random() < 0.1:
                dy = 0.0
            x, y = x + dx, y + dy
            zw = ""
            if r.random() < 0.03:
                z += r.choice([0.01, 0.1, 0.2, -0.05])
                zw = f" Z{z / scale:.3f}" if not relative else ""
                if relative:
                    z = z if zw else layer
            printing = r.random() < 0.8
            ew = " " + ext(step * 0.04 / scale) if printing else ""
            px, py = (dx, dy) if relative else (x, y)
            out.append(f"{'G1' if printing else r.choice(['G0', 'g0', 'G1'])} X{px / scale:.5f} Y{py / scale:.5f}{zw}{ew}{f}")
            x, y = (x, y)
        elif p < 0.68:
            out.append(f"G1 {ext(r.choice([-0.8, 0.8, 0.3]) / scale)}{f}")
        elif p < 0.74 and not relative and not inches:
            rad = r.uniform(0.3, 8)
            a0, sweep = r.uniform(0, 6.28), r.uniform(0.1, 6.2)
            cx, cy = x - rad * math.cos(a0), y - rad * math.sin(a0)
            cw = r.random() < 0.5
            a1 = a0 - sweep if cw else a0 + sweep
            ex, ey = cx + rad * math.cos(a1), cy + rad * math.sin(a1)
            full = r.random() < 0.2
            w = "" if full else f" X{ex:.6f} Y{ey:.6f}"
            zz = ""
            if r.random() < 0.2:
                z += 0.15
                zz = f" Z{z:.3f}"
            out.append(f"{'G2' if cw else 'G3'}{w}{zz} I{cx - x:.6f} J{cy - y:.6f} {ext(rad * sweep * 0.04)}{f}")
            if not full:
                x, y = float(f"{ex:.6f}"), float(f"{ey:.6f}")
        elif p < 0.77 and not relative and not inches:
            rad = r.uniform(1, 9)
            ex, ey = x + r.uniform(0.2, 1.3) * rad, y + r.uniform(0.2, 1.2) * rad * 0.7
            out.append(f"{r.choice(['G2', 'G3'])} X{ex:.4f} Y{ey:.4f} R{r.choice([rad, -rad]):.4f}{f}")
            x, y = float(f"{ex:.4f}"), float(f"{ey:.4f}")
        elif p < 0.82:
            out.append(r.choice(["; a remark", "", ";" + "x" * r.randint(100, 1500), "M105", "M117 hello there", "M106 S128"]))
        elif p < 0.86:
            out.append(r.choice(["G4 P120", "G4 S0.5", "M400", "M400", "G4 P0", "M109 S205", "T0", "M600", "G28 Z" if not relative else "M400"]))
            if out[-1] == "G28 Z":
                z = 0.0
            if r.random() < 0.3:
                out.append(r.choice(["M400", "G4 P50"]))
        elif p < 0.91:
            layer += 0.2
            z = layer
            if relative:
                out.append("G90")
                relative = False
                if not rel_e:
                    out.append(f"G92 E{e / scale:.5f}")
                    e = float(f"{e / scale:.5f}") * 1.0
            out.append(f"G0 Z{z / scale:.5f} F600")
            out.append("G1 F3000")
        elif p < 0.95:
            out.append(r.choice(["M220 S80", "M220 S100", "M221 S95", "M204 P800 T900 R700", "M204 S1200", "M201 X700 Y900",
                                 "M203 X90 E20", "M205 X5 Y6 Z0.3 E2 J0.02", "M205 X9", "M220 S0"]))
        elif p < 0.97 and rel_e:
            relative = not relative
            out.append("G91" if relative else "G90")
            if not relative:
                out.append(f"G92 X{x / scale:.5f} Y{y / scale:.5f}")
        elif p < 0.985 and rel_e and not relative:
            inches = not inches
            scale = 25.4 if inches else 1.0
            out.append("G20" if inches else "G21")
            out.append("G1 F100" if inches else "G1 F2500")
        else:
            out.append(f"G92 E{0}")
            e = 0.0
    if r.random() < 0.4:
        out.append(r.choice(["G4 P200", "M400", "M84", "; end"]))
    return "\n".join(out) + r.choice(["\n", ""])


def main():
    seed, folder = int(sys.argv[1]), sys.argv[2]
    os.makedirs(folder, exist_ok=True)
    r = random.Random(seed)
    with open(os.path.join(folder, "board.toml"), "w") as f:
        f.write(board(r))
    with open(os.path.join(folder, "job.gcode"), "w") as f:
        f.write(job(r))


main()

"""Odd jobs and boards against every command, under a limit of memory and with a watchdog.

Usage: torture.py PROGRAM [FIRST_SEED [COUNT [SECONDS]]] [COMMAND]

Each seed makes one job and one set of arguments, the same ones every time. A run must end within SECONDS (60) on two
cores, counted as processor time so that a busy machine makes no difference, take no more than 1 GB, end with an exit code of the contract, not panic, leave no hidden folder, and write tables and JSON
without NaN, infinities or a zero with a sign. What fails is printed with its seed, and its job is kept in the temporary folder.
The last line tells how many failed, and the longest and the largest run.
"""
import csv
import json
import os
import random
import re
import resource
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading

CORES = 2
MEMORY_MB = 1000
ADDRESS_MB = 2500
JOB_BYTES_MAX = 10_000_000

NUMBERS = ["0", "1", "-1", "0.2", "1e5", "0.0000000001", "-0.0000000001", "0." + "0" * 310 + "1", "1" + "0" * 305,
           "999999", "-999999", "1000000", "1000001", "500000", "25.4", "NaN", "inf", "--1", "1.2.3", "", "+5", ".5",
           "5.", "0.001", "0.06", "0.00001", "60000000", "9" * 400]


def number(r):
    pick = r.random()
    if pick < 0.5:
        return f"{r.uniform(-200, 200):.{r.choice([0, 1, 3, 9])}f}"
    if pick < 0.8:
        return r.choice(NUMBERS)
    return f"{r.choice([1, -1]) * 10 ** r.uniform(-12, 6):.12f}"


def word_line(r):
    head = r.choice(["G0", "G1", "G1", "G1", "G2", "G3", "", "G4", "G28", "G29", "G90", "G91", "G92", "M82", "M83",
                     "M201", "M203", "M204", "M205", "M220", "M221", "M400", "M600", "M109", "T1", "G20", "G21", "G18",
                     "G19", "G17", "M622", "M623", "G123456789", "/G1", "N5 G1", "M117"])
    letters = r.sample("XYZEFIJKRSPT", r.randint(0, 5))
    return head + "".join(" " + letter + number(r) for letter in letters)


def odd_bytes(r):
    return bytes(r.choice([0, 9, 13, 10, 27, 59, 40, 41, 127, 200, 255, 71, 49, 32]) for _ in range(r.randint(1, 80)))


def job(r):
    """The bytes of a job, and what kind it is."""
    kind = r.choice(["words", "words", "words", "circles", "tiny", "far", "slow", "stops", "long_line", "empty_lines",
                     "bytes", "spiral", "layers", "zigzag", "straight", "limits", "arcs_small", "huge_e"])
    feed = r.choice(["F3000", "F60000", "F1", "F0.06", "F0.0001", "F600"])
    n = int(10 ** r.uniform(0, 5.3))
    if kind == "words":
        return "\n".join(word_line(r) for _ in range(min(n, 20000))).encode(), kind
    if kind == "bytes":
        parts = [odd_bytes(r) if r.random() < 0.3 else word_line(r).encode() for _ in range(min(n, 5000))]
        return b"\n".join(parts), kind
    lines = ["M83", "G1 Z0.2 " + feed]
    if kind == "circles":
        radius = 10 ** r.uniform(-3, 6)
        lines += [f"G{r.choice([2, 3])} I{radius / 2:.4f} E1"] * n
    elif kind == "arcs_small":
        lines += [f"G2 X{k % 2} I0.5 E.01" for k in range(n)]
    elif kind == "tiny":
        size = 10 ** r.uniform(-9, -2)
        lines += [f"G1 X{k * size:.9f} E0.001" for k in range(n)]
    elif kind == "far":
        lines += [f"G1 X{r.uniform(-1e6, 1e6):.0f} Y{r.uniform(-1e6, 1e6):.0f} E1" for _ in range(min(n, 3000))]
    elif kind == "slow":
        lines += [f"G1 X{k % 300} E.1 F{10 ** r.uniform(-12, 1):.12f}" for k in range(min(n, 2000))]
    elif kind == "stops":
        lines += [r.choice(["G4 S1000000", "G4 P1", "M400", "G28", "T0", "M109 S1", "G1 X1 E1", "G1 X0 E1"]) for _ in range(n)]
    elif kind == "long_line":
        lines += ["G1 X1 E1 ;" + "x" * min(n * 20, 3_000_000), "G1 " + "X1" * n, "(" * n, "G1X0E1"]
    elif kind == "empty_lines":
        lines += ["", ";", "(a)"] * n + ["G1 X10 E1"]
    elif kind == "spiral":
        lines += [f"G1 X{k % 97} Y{k % 89} Z{k * 1e-3:.3f} E.1" for k in range(n)]
    elif kind == "layers":
        lines += [f"G1 Z{k * 0.01:.2f}\nG1 X{k % 2 * 20} E1" for k in range(min(n, 100_000))]
    elif kind == "zigzag":
        lines += [f"G1 X{k % 2 * 350} Y{k * 0.4 % 350:.1f} E9" for k in range(min(n, 20_000))]
    elif kind == "straight":
        lines = ["G91", "M83", "G1 " + feed] + ["X.4"] * (n * 5)
    elif kind == "limits":
        lines += [r.choice(["M204 S0.001", "M204 S1000000000", "M203 X0.000001 Y1000000", "M201 X0.001", "M205 X0 Y0 Z0 E0",
                            "M205 J0", "M220 S0.001", "M220 S1000000", "M221 S0.001", "M221 S1000000"]) + "\n"
                  + f"G1 X{r.uniform(0, 200):.3f} Y{r.uniform(0, 200):.3f} E{r.uniform(-1, 5):.4f}" for _ in range(min(n, 20_000))]
    elif kind == "huge_e":
        lines += [f"G1 X{k * 1e-9:.9f} E{r.choice([1e6, 999999, 1e-9, -1e6])}" for k in range(min(n, 1000))]
    return "\n".join(lines).encode()[:JOB_BYTES_MAX], kind


SETS = ["queue.lines=1000000", "queue.blocks=1000000", "queue.restart_blocks=16", "queue.restart_wait_ms=1e9",
        "queue.low_water=1000000", "queue.stretch_ms=1e9", "queue.stretch_ms=100", "link.sector_ms=1e9", "link.hiccup_chance=1",
        "loop.line_us=1e6", "loop.pass_us=1e4", "loop.step_us=1e6", "loop.load_max=0.9999999999999999", "loop.block_us=1e12",
        "motion.arc_chord_mm=0.001", "motion.arc_chord_mm=1e6", "motion.accel.print=0.001", "motion.accel.print=1e9",
        "motion.speed_max={x=1e-6,y=1e-6,z=1e-6,e=1e-6}", "motion.speed_max={x=1e6,y=1e6,z=1e6,e=1e6}",
        "save.when=lines", "save.when=seconds", "save.every=1e-6", "save.ms=1e9", "nozzle.lag_s=0", "nozzle.lag_s=1e6",
        "nozzle.lead_s=1e6", "nozzle.nozzle_mm=0.001", "nozzle.nozzle_mm=100", "nozzle.filament_mm=0.001", "wait.heat_s=1e6",
        "chore=[]", 'chore=[{name="=x", every_s=1e-4, us=1}]', "chore=[{every_s=1e6,us=1e12}]", "queue.blocks=0", "nonsense=1",
        "save.when=", "link.kind=serial", "queue.blocks=\u202e5", "motion.accel.print=nan"]
BOARDS = ["8bit-card", "32bit-card", "8bit-serial-115200", "8bit-card-saves", "32bit-usb"]




def seen(r):
    """A list of bumps for `explain`, and what a careless hand or a spreadsheet makes of one."""
    where = r.choice(["angle_deg", "x_mm,y_mm", "angle_deg,x_mm", ""])
    height = r.choice(["z_mm", "layer", "z_mm,layer"])
    header = ",".join(part for part in (height, where, r.choice(["", "", "part", "size"])) if part)
    columns = header.count(",") + 1
    if r.random() < 0.4:
        header, columns = r.choice([("z_mm,angle_deg", 2), ("layer,angle_deg", 2), ("layer,x_mm,y_mm", 3)])

    def value():
        return number(r) if r.random() < 0.2 else f"{r.choice([r.uniform(0, 30), r.randint(0, 40)])}"
    count = r.choice([1, 2, 9, 80, 1000, 1001])
    rows = [",".join(value() for _ in range(columns + (r.random() < 0.003))) for _ in range(count)]
    if r.random() < 0.7:  # In range, so that it is explained.
        rows = [",".join(str(r.randint(0, 60)) for _ in range(columns)) for _ in range(count)]
    text = r.choice(["", "", "\ufeff", "# a note\n\n"]) + header + "\n" + "\n".join(rows)
    if r.random() < 0.1:
        return odd_bytes(r) + text.encode()
    return text.replace(",", r.choice([",", ",", ",", ";", ", "])).replace("\n", r.choice(["\n", "\r\n"])).encode()


def times(r):
    """A table of times for `fit`."""
    header = r.choice(["section,seconds", "section,seconds", "section,seconds,sigma_s", "seconds", ""])
    rows = [f"{k},{r.choice([r.uniform(1, 60), 3, 0, number(r)])}" for k in range(1, r.choice([3, 13, 25, 40, 2000]))]
    return "\n".join([header, *rows]).encode()


def wav(r):
    """A recording, with a header that may lie."""
    rate = r.choice([8000, 44100, 44100, 1, 0, 4_000_000_000])
    bits, channels = r.choice([(8, 1), (16, 1), (16, 2), (32, 1), (24, 7), (0, 0)])
    data = bytes(r.getrandbits(8) for _ in range(r.choice([0, 1, 999, 50_000]))) * r.choice([1, 1, 40])
    return (b"RIFF" + struct.pack("<I", r.choice([len(data) + 36, 0, 2**32 - 1])) + b"WAVEfmt "
            + struct.pack("<IHHIIHH", 16, r.choice([1, 1, 3]), channels, rate, rate * channels * bits // 8 & 0xffffffff,
                          channels * bits // 8, bits)
            + b"data" + struct.pack("<I", r.choice([len(data), len(data), 2**32 - 1])) + data)


def files(r, command, job_bytes):
    """The other files that a command reads, by name."""
    if command == "explain":
        return {"seen.csv": seen(r)}
    if command == "fit":
        return {"times.csv": times(r) if r.random() < 0.7 else wav(r),
                "coupon.gcode": job_bytes if r.random() < 0.2 else None}
    return {}


def mangled(r, data):
    """A file as a bad card, a wrong program or a careless hand leaves it."""
    kind = r.choice(["cut", "cut", "bytes", "latin1", "crlf", "cr", "nan", "huge", "twice", "utf16", "bom", "empty", "shuffled",
                     "spaces", "nul", "commas", "long"])
    at = r.randrange(len(data) + 1)
    lines = data.split(b"\n")
    digits = [k for k in range(len(data)) if 48 <= data[k] <= 57][:5000]
    swapped = lambda what: data[:k] + what + data[k + 1:] if digits and (k := r.choice(digits)) >= 0 else what
    return {"cut": lambda: data[:at],
            "bytes": lambda: data[:at] + bytes(r.getrandbits(8) for _ in range(r.choice([1, 20, 5000]))) + data[at + 9:],
            "latin1": lambda: data[:at] + "Größe °".encode("latin-1") + data[at:],
            "crlf": lambda: b"\r\n".join(lines),
            "cr": lambda: b"\r".join(lines),
            "nan": lambda: swapped(r.choice([b"nan", b"NaN", b"inf", b"-inf", b"-", b"1e999", b"0x1p3"])),
            "huge": lambda: swapped(r.choice([b"9" * 400, b"1e308", b"4.9e-324", b"0." + b"0" * 400 + b"1", b"-" + b"9" * 20])),
            "twice": lambda: data + data,
            "utf16": lambda: data.decode("latin-1").encode("utf-16"),
            "bom": lambda: b"\xef\xbb\xbf" + data,
            "empty": lambda: r.choice([b"", b"\n", b" ", b"\0"]),
            "shuffled": lambda: b"\n".join(r.sample(lines, len(lines))),
            "spaces": lambda: data.replace(b" ", b"").replace(b",", b" , "),
            "nul": lambda: data[:at] + b"\0" * r.choice([1, 512, 70_000]) + data[at:],
            "commas": lambda: data.replace(b".", b","),
            "long": lambda: data.replace(b"\n", b" ", r.choice([1, 10, 100_000]))}[kind]()[:JOB_BYTES_MAX]


def true_times(r, program, folder, board):
    """Times that a coupon might take on a board that is not far from this one: what a first fit finds, with noise."""
    rough = os.path.join(folder, "rough.csv")
    with open(rough, "w") as file:
        file.write("section,seconds\n" + "".join(f"{k},{r.uniform(5, 20):.2f}\n" for k in range(1, 19)))
    done = subprocess.run([program, "fit", "coupon.gcode", "rough.csv", "--sigma", "60", "--json", *board], cwd=folder,
                          stdin=subprocess.DEVNULL, capture_output=True)
    os.remove(rough)
    if done.returncode:
        return None
    noise = r.choice([0, 0.01, 0.1, 1])
    rows = [f"{s['section']},{s['fitted_s'] * r.gauss(1, 0.02) + r.gauss(0, noise):.3f}" for s in json.loads(done.stdout)["sections"]]
    return "\n".join(["section,seconds", *rows[:r.choice([99, 99, 9])]]).encode()


def arguments(r, command, name):
    board = ["--board", r.choice(BOARDS)]
    for _ in range(r.choice([0, 0, 1, 1, 2, 3])):
        board += ["--set", r.choice(SETS)]
    if command in ("demo", "completions", "man", "boards"):
        return {"demo": ["demo", "--out", r.choice(["out", "out", name])],
                "completions": ["completions", r.choice(["bash", "zsh", "fish", "elvish", "powershell", name, ""])],
                "man": ["man", *r.choice([[], ["mend"], ["fit"], [name], [""]])],
                "boards": ["boards", *r.choice([[], ["8bit-card"], [name]])]}[command]
    if command == "coupon":
        return ["coupon", *board, "-o", r.choice(["new", name]), *r.choice(
            [[], ["--at", "0,0"], ["--at", "-1e9,nan"], ["--z", "1e-9"], ["--speed", "0"], ["--speed", "1e9"], ["--no-arcs"]])]
    if command == "fit":
        return ["fit", *board, "coupon.gcode", "times.csv", *r.choice([[], ["--job", name], ["times.csv"], ["-o", "new"]]),
                *r.choice([[], ["--json"], ["--sigma", "1e-9"], ["--picture", "new.svg"], ["--times", "new.csv"]])]
    args = [command, name, *board]
    if command == "mend":
        args += r.choice([[], ["-o", "new"], ["--json"], ["-o", "new", "--json"]])
        args += r.choice([[], ["--everywhere"]]) + r.choice([[], ["--within", r.choice(["0", "1", "0.001"])]])
        return args + ["--allow", ",".join(r.sample(["merge", "pace", "strip", "arcs"], r.randint(1, 4)))]
    if r.random() < 0.6:
        args += ["--out", "out"]
        if command == "replay" and r.random() < 0.3:
            args.append("--blocks")
        if command != "remedies" and r.random() < 0.2:
            args.append("--png")
    if command == "replay":
        args += r.choice([[], ["--quick"], ["--json"], ["--post"], ["--layer", str(r.choice([0, 1, 7, 4294967295]))],
                          ["--visible", "0"], ["--by", "length"]])
    elif command == "compare":
        args += r.choice([[], ["--vary", "queue.blocks=2,16"], ["--vary", "save=off,layer,1"], ["--runs", "2"],
                          ["--vary", "motion.accel.print=100,5000"]])
    elif command == "explain":
        args.insert(2, "seen.csv")
        args += r.choice([[], ["--json"], ["--window", "200,340,0,10"], ["--window", "-1e9,1e9,-5,1e9"], ["--draws", "9999"],
                          ["--angle-err", "0"], ["--z-err", "0"], ["--visible", "0"]])
    return args


def run(program, args, folder, seconds):
    """Exit code (None: too long), seconds of processor time, peak in MB, and what it said."""
    def limits():
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (CORES * seconds,) * 2)
        resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_MB << 20,) * 2)
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = subprocess.Popen([program, *args], cwd=folder, stdin=subprocess.DEVNULL, stdout=out, stderr=err,
                                 preexec_fn=limits)
        late = []
        watchdog = threading.Timer(10 * seconds, lambda: (late.append(1), os.kill(child.pid, signal.SIGKILL)))
        watchdog.start()
        _, status, usage = os.wait4(child.pid, 0)
        watchdog.cancel()
        child.returncode = 0
        out.seek(0)
        err.seek(0)
        code = None if late else os.waitstatus_to_exitcode(status)
        took = usage.ru_utime + usage.ru_stime
        if took >= CORES * seconds:
            code = None
        return code, took, usage.ru_maxrss / 1024, out.read(), err.read()


NEGATIVE_ZERO = re.compile(rb"(?<![\w.,-])-0(\.0+)?(?![\w.-])")


def a_number(text):
    """Of JSON: neither what is none nor a zero with a sign."""
    return 1 / 0 if text.startswith("-") and float(text) == 0 else float(text)


def wrong(folder, args, code, out, err):
    """What is wrong with how a run ended, if anything."""
    if code is None:
        return "too long"
    if code not in (0, 1, 2, 3):
        return f"exit {code}: {err[-300:]!r}"
    if b"panicked" in err:
        return f"panic: {err[-300:]!r}"
    if any(n.startswith(".headstall") for n in os.listdir(folder)):
        return "a hidden folder is left"
    if code and "new" in os.listdir(folder):
        return "a file of a run that failed"
    if code and code != 3 and (out or not err):
        return f"exit {code} with {len(out)} bytes of output and {len(err)} of errors"
    for text in (out, err):
        if args[0] in ("completions", "man", "boards", "mend"):
            text = text.replace(b"\t", b"")
        if any(c < 32 and c != 10 or c == 127 for c in text):
            return "control characters"
        text.decode()
    if code == 0 and "--json" in args:
        json.loads(out, parse_constant=lambda c: 1 / 0, parse_float=a_number)
    elif code == 0 and args[0] in ("replay", "compare", "remedies", "explain", "fit"):
        # What quotes the job or its name may quote a zero with a sign.
        said = [line for line in out.splitlines() if b"line " not in line and b".gcode" not in line]
        if any(NEGATIVE_ZERO.search(line) for line in said):
            return f"negative zero: {[line for line in said if NEGATIVE_ZERO.search(line)][:2]}"
    place = os.path.join(folder, "out")
    if args[0] == "demo":
        return None
    if code in (0, 3) and "--out" in args:
        for name in os.listdir(place):
            path = os.path.join(place, name)
            if name.endswith(".json"):
                json.load(open(path), parse_constant=lambda c: 1 / 0, parse_float=a_number)
            elif name.endswith(".csv"):
                for row in csv.reader(open(path, newline="")):
                    if any(cell.lower() in ("nan", "inf", "-inf", "-0", "-0.0") for cell in row):
                        return f"{name} has {row}"
            elif name.endswith(".svg"):
                shown = re.findall(rb">[^<]+<", open(path, "rb").read())
                if any(b"NaN" in text or NEGATIVE_ZERO.search(text) for text in shown):
                    return f"{name} has NaN, or a negative zero"
    elif os.path.exists(place):
        return "results of a run that failed"
    return None


def spoil(r, program, folder, command, args, name):
    """Some of the files mangled, another board, odder numbers: drawn apart, so that the rest stays what it is."""
    if "--board" in args and r.random() < 0.15:
        at = args.index("--board") + 1
        done = subprocess.run([program, "boards", args[at]], stdout=subprocess.PIPE)
        args[at] = "board.toml"
        with open(os.path.join(folder, "board.toml"), "wb") as file:
            file.write(mangled(r, done.stdout) if r.random() < 0.7 else done.stdout)
    if command == "fit" and r.random() < 0.3:
        found = true_times(r, program, folder, args[1:3])
        if found:
            with open(os.path.join(folder, "times.csv"), "wb") as file:
                file.write(found)
    for other in (name, "seen.csv", "times.csv", "coupon.gcode"):
        path = os.path.join(folder, other)
        if other in args and os.path.exists(path) and r.random() < (0.15 if other == name else 0.3):
            with open(path, "rb") as file:
                data = file.read()
            with open(path, "wb") as file:
                file.write(mangled(r, data))
    numbers = {"coupon": ["--at", "--z", "--speed", "--seed"], "mend": ["--within", "--visible", "--runs", "--seed"],
               "explain": ["--angle-err", "--z-err", "--draws", "--seed", "--window"], "fit": ["--sigma", "--seed"],
               "replay": ["--visible", "--seed", "--runs", "--max-bumps", "--max-stalls"]}.get(command)
    if numbers and r.random() < 0.25:
        args += [r.choice(numbers), r.choice(["0", "1", "100", "1e-310", "1e308", "-1", "nan", "9" * 30, "18446744073709551615",
                                              "0.02", "20,20", "0,360,0,20", "10,20,0,5", "99"])]
        if any(args.count(option) > 1 for option in numbers):
            del args[-2:]


def main():
    program = os.path.abspath(sys.argv[1])
    numbers = [a for a in sys.argv[2:] if a.isdigit()]
    only = next((a for a in sys.argv[2:] if not a.isdigit()), None)
    first, count, seconds = (int(a) for a in (numbers + ["0", "200", "60"][len(numbers):]))
    bad, longest, largest = 0, (0, 0), (0, 0)
    for seed in range(first, first + count):
        r = random.Random(seed)
        folder = tempfile.mkdtemp(prefix="torture-")
        data, kind = job(r)
        name = r.choice(["job.gcode", "job.gcode", "=1+1.gcode", "a b'c.gcode", "\u202eedocg.gcode", "x\x1b]0;y\x07.gcode"])
        with open(os.path.join(folder, name), "wb") as file:
            file.write(data)
        command = r.choice(["replay"] * 3 + ["compare", "remedies"] * 2 + ["mend", "explain", "fit"] * 4
                           + ["demo", "coupon", "completions", "man", "boards"])
        command = only or command
        if command == "fit":
            subprocess.run([program, "coupon", "-o", "coupon.gcode"], cwd=folder, check=True, stdout=subprocess.DEVNULL)
        for other, content in files(r, command, data).items():
            if content is not None:
                with open(os.path.join(folder, other), "wb") as file:
                    file.write(content)
        args = arguments(r, command, name)
        spoil(random.Random(seed * 7 + 1), program, folder, command, args, name)
        code, took, peak, out, err = run(program, args, folder, seconds)
        longest, largest = max(longest, (took, seed)), max(largest, (peak, seed))
        why = wrong(folder, args, code, out, err)
        if why is None and peak > MEMORY_MB:
            why = f"{peak:.0f} MB"
        if why:
            bad += 1
            print(f"seed {seed} ({kind}, {len(data)} bytes) {' '.join(args)!r}: {why} [{took:.1f} s, {peak:.0f} MB] {folder}", flush=True)
        else:
            shutil.rmtree(folder)
    print(f"{count} runs, {bad} wrong; longest {longest[0]:.1f} s (seed {longest[1]}), largest {largest[0]:.0f} MB (seed {largest[1]})")
    sys.exit(bad > 0)


main()

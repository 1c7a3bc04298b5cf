"""Rough marks as somebody makes them with a ruler and a photograph, from the bumps of a replay.

    python3 marks.py bumps.csv SEED >seen.csv

Looks at the front (angles 200 to 340 degrees, heights 0 to 10 mm) of a part in the middle of the bed
(100, 100), misses 30 of 100 bumps, writes heights to 0.1 mm and angles to a degree with errors of 0.3 mm and
3 degrees, and imagines one bump for each four that are there (ten where there are none).
"""
import csv
import math
import random
import sys

VISIBLE_MM = 0.1

bumps, seed = sys.argv[1], int(sys.argv[2])
rng = random.Random(seed)
marks = []
for row in csv.DictReader(open(bumps)):
    if row["surface"] != "outer" or float(row["height_mm"]) < VISIBLE_MM or rng.random() < 0.3:
        continue
    angle = math.degrees(math.atan2(float(row["y_mm"]) - 100, float(row["x_mm"]) - 100))
    angle = (angle + rng.gauss(0, 3)) % 360
    z = float(row["z_mm"]) - 0.125 + rng.gauss(0, 0.3)
    if 200 <= angle <= 340 and 0 <= z <= 10:
        marks.append((round(z, 1), round(angle)))
for _ in range(max(10, len(marks) // 4)):
    marks.append((round(rng.uniform(0, 10), 1), round(rng.uniform(200, 340))))
rng.shuffle(marks)
print("z_mm,angle_deg")
for z, angle in marks:
    print(f"{z},{angle}")

"""Distances between a chain of short moves and the one move that stands for it. Writes deviation.json beside this file.
Hausdorff distance, both ways, and discrete Frechet distance as the reference library shapely 2.2.0 (PyPI; GEOS 3.14.1)
computes them: the first on paths cut into 2000 pieces a segment, the second into pieces of 0.004 mm; the Hausdorff
distance of the corners by scipy 1.17.1."""
import json, os
import numpy as np
import shapely
from scipy.spatial.distance import directed_hausdorff

rng = np.random.default_rng(18)
cases = []
for count in (2, 3, 5, 8, 13, 21, 34):
    for height in (0.002, 0.02, 0.3):
        length, angle = rng.uniform(1, 6), rng.uniform(0, 2 * np.pi)
        along = np.sort(rng.uniform(0, length, count - 1))
        across = rng.uniform(-height, height, count - 1)
        chain = np.column_stack([np.r_[0, along, length], np.r_[0, across, 0]])
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        points = np.round(chain @ turn + 50, 6)
        old, new = shapely.LineString(points), shapely.LineString(points[[0, -1]])
        cut = np.array(new.segmentize(new.length / 20000).coords)
        cases.append({
            "points_mm": points.tolist(),
            "hausdorff_mm": shapely.hausdorff_distance(old, new, densify=0.0005),
            "frechet_mm": shapely.frechet_distance(old.segmentize(0.004), new.segmentize(0.004)),
            "corners_mm": directed_hausdorff(points, cut)[0],
        })
here = os.path.dirname(os.path.abspath(__file__))
with open(os.path.join(here, "deviation.json"), "w") as f:
    json.dump(cases, f, indent=0)
    f.write("\n")

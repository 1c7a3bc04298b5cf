"""Colours as seen with colour vision deficiencies. Writes vision.json beside this file.
Model: Machado, Oliveira & Fernandes, "A Physiologically-based Model for Simulation of Color Vision
Deficiency", IEEE Transactions on Visualization and Computer Graphics 15(6), 2009, severity 1, as the
reference library colorspacious (PyPI) computes it; CIE L* by the same library."""
import json, os
import numpy as np
from colorspacious import cspace_convert

colours = [[r, g, b] for r in (0, 90, 255) for g in (0, 140, 255) for b in (0, 60, 255)]
out = []
for kind in ("protanomaly", "deuteranomaly", "tritanomaly"):
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    for c in colours:
        seen = cspace_convert(np.array(c) / 255, space, "sRGB1-linear")
        out.append({"vision": kind, "rgb": c, "linear": [float(v) for v in seen]})
light = [{"rgb": c, "lightness": float(cspace_convert(np.array(c) / 255, "sRGB1", "CIELab")[0])} for c in colours]
here = os.path.dirname(os.path.abspath(__file__))
with open(os.path.join(here, "vision.json"), "w") as f:
    json.dump({"seen": out, "lightness": light}, f, indent=0)
    f.write("\n")

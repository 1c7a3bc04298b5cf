"""A photograph of a print with bumps at known places, by ray casting. Writes photo.png and photo.json beside this file.

Needs numpy and pillow (PyPI). Nothing of the program is used: the wall is a formula, the camera is placed by "look at"
(eye, target, up), each pixel's ray is followed until it meets the wall, the lid, or the table.
The wall, mm, about the origin of its formula at (110, 90) on the bed:
    r(a, z) = (20 + 1.5 cos 5a + 2.5 cos(a - 0.6)) (1 + 0.10 sin(2 pi z / 40)),  0 <= z <= 40
The job that prints it (made by the test after the same formula) has layers of 0.4 mm, each as the formula has it at half its
height, and runs half a bead, 0.2 mm, inside of it.
Angles of bumps are about the middle of the box around the path, as those of `explain`."""
import json, math, os
import numpy as np
from PIL import Image

HERE = os.path.dirname(os.path.abspath(__file__))
CENTRE, HIGH, HALF_BEAD = np.array([110.0, 90.0]), 40.0, 0.2
WIDE_PX, HIGH_PX, FOCAL_PX = 640, 720, 1900.0
DISTANCE, FROM_DEG, ABOVE_DEG, ROLL_DEG = 160.0, 250.0, 9.0, 1.5
TARGET = np.array([112.0, 88.0, 21.0])
BUMPS = [  # z mm, angle deg (about the middle of the box)
    (6.2, 205.0), (6.2, 262.0), (9.0, 300.0), (13.4, 231.0), (17.0, 248.0), (19.8, 285.0), (23.0, 216.0),
    (26.6, 254.0), (29.4, 274.0), (33.0, 239.0), (35.8, 222.0), (37.4, 295.0)]


def radius(a, z):
    return (20 + 1.5 * np.cos(5 * a) + 2.5 * np.cos(a - 0.6)) * (1 + 0.10 * np.sin(2 * math.pi * z / HIGH))


def middle():
    """Middle of the box around the path."""
    a, z = np.meshgrid(np.linspace(0, 2 * math.pi, 7201), np.arange(0.2, HIGH, 0.4))
    r = radius(a, z) - HALF_BEAD
    x, y = r * np.cos(a), r * np.sin(a)
    return CENTRE + np.array([(x.min() + x.max()) / 2, (y.min() + y.max()) / 2])


def camera():
    """Eye, and unit vectors right, up, ahead."""
    side, above, roll = (math.radians(d) for d in (FROM_DEG, ABOVE_DEG, ROLL_DEG))
    eye = TARGET + DISTANCE * np.array([math.cos(side) * math.cos(above), math.sin(side) * math.cos(above), math.sin(above)])
    ahead = (TARGET - eye) / np.linalg.norm(TARGET - eye)
    right = np.cross(ahead, [0, 0, 1])
    right /= np.linalg.norm(right)
    up = np.cross(right, ahead)
    c, s = math.cos(roll), math.sin(roll)
    return eye, c * right + s * up, c * up - s * right, ahead


def seen_at(eye, right, up, ahead, p):
    d = np.asarray(p) - eye
    far = d @ ahead
    return [WIDE_PX / 2 + FOCAL_PX * (d @ right) / far, HIGH_PX / 2 - FOCAL_PX * (d @ up) / far]


def on_wall(mid, z, deg):
    """Where the ray from the middle of the box meets the wall."""
    d = np.array([math.cos(math.radians(deg)), math.sin(math.radians(deg))])
    low, high = 0.0, 40.0
    for _ in range(60):
        t = (low + high) / 2
        p = mid + t * d - CENTRE
        if math.hypot(*p) < radius(math.atan2(p[1], p[0]), z):
            low = t
        else:
            high = t
    return np.array([*(mid + low * d), z])


def picture(cam, bumps):
    eye, right, up, ahead = cam
    j, i = np.mgrid[0:HIGH_PX, 0:WIDE_PX]
    ray = (ahead + ((i + 0.5 - WIDE_PX / 2) / FOCAL_PX)[..., None] * right - ((j + 0.5 - HIGH_PX / 2) / FOCAL_PX)[..., None] * up)
    ray = ray.reshape(-1, 3) / np.linalg.norm(ray.reshape(-1, 3), axis=1)[:, None]

    def inside(p):
        d = p[:, :2] - CENTRE
        return (np.hypot(d[:, 0], d[:, 1]) < radius(np.arctan2(d[:, 1], d[:, 0]), p[:, 2])) & (p[:, 2] >= 0) & (p[:, 2] <= HIGH)

    hit = np.full(len(ray), np.nan)
    for t in np.arange(DISTANCE - 45, DISTANCE + 45, 0.15):
        open_ = np.isnan(hit)
        hit[np.flatnonzero(open_)[inside(eye + t * ray[open_])]] = t
    on = np.flatnonzero(~np.isnan(hit))
    low, high = hit[on] - 0.15, hit[on].copy()
    for _ in range(20):
        mid_t = (low + high) / 2
        is_in = inside(eye + mid_t[:, None] * ray[on])
        high = np.where(is_in, mid_t, high)
        low = np.where(is_in, low, mid_t)
    p = eye + high[:, None] * ray[on]
    # Light from the upper left of the camera.
    light = ahead * -0.6 + right * -0.5 + up * 0.6
    light /= np.linalg.norm(light)
    a, z = np.arctan2(p[:, 1] - CENTRE[1], p[:, 0] - CENTRE[0]), p[:, 2]
    e = 1e-4
    dr_da, dr_dz, r = (radius(a + e, z) - radius(a - e, z)) / (2 * e), (radius(a, z + e) - radius(a, z - e)) / (2 * e), radius(a, z)
    out = np.stack([np.cos(a), np.sin(a), 0 * a], 1)
    around = np.stack([-np.sin(a), np.cos(a), 0 * a], 1)
    normal = out - (dr_da / r)[:, None] * around - dr_dz[:, None] * np.array([0, 0, 1.0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    lid = z > HIGH - 0.02
    normal[lid] = [0, 0, 1]
    shade = 60 + 120 * np.clip(normal @ light, 0, 1)
    # Layers show as faint lines; a bump catches the light.
    shade = np.where(lid, shade, shade - 8 * (np.mod(z, 0.4) < 0.1))
    for b in bumps:
        shade = np.where(np.linalg.norm(p - b, axis=1) < 0.6, 245, shade)
    # The table is lighter than the room behind it.
    t = -eye[2] / np.where(ray[:, 2] < -1e-9, ray[:, 2], np.nan)
    grey = np.where((t > 0) & (t < 480), 205.0, 225.0)
    grey[on] = shade
    levels = np.round(grey / 6) * 6
    return Image.fromarray(np.clip(levels, 0, 255).astype(np.uint8).reshape(HIGH_PX, WIDE_PX), "L")


def main():
    mid, cam = middle(), camera()
    eye = cam[0]
    places = [on_wall(mid, z, deg) for z, deg in BUMPS]
    picture(cam, places).save(os.path.join(HERE, "photo.png"), optimize=True)
    a = np.linspace(0, 2 * math.pi, 3601)
    ring = lambda z: [seen_at(*cam, [CENTRE[0] + radius(b, z) * math.cos(b), CENTRE[1] + radius(b, z) * math.sin(b), z]) for b in a]
    foot, top = ring(0.0), ring(HIGH)
    c, s = math.cos(math.radians(ROLL_DEG)), math.sin(math.radians(ROLL_DEG))
    along, down = lambda q: q[0] * c + q[1] * s, lambda q: q[1] * c - q[0] * s
    box_middle = np.array([*mid, HIGH / 2])
    rounded = lambda v: [round(float(x), 3) for x in v]
    out = {
        "made_by": "photo.py",
        "wide_px": WIDE_PX, "high_px": HIGH_PX,
        "middle_mm": rounded(mid),
        # Along the line of sight, as a ruler held to the camera would have it.
        "distance_mm": round(float((box_middle - eye) @ cam[3]), 3),
        "from_deg": FROM_DEG, "above_deg": ABOVE_DEG,
        # Left and right ends of the foot and the highest point of the top, along the edges of a picture turned like the camera.
        "left_px": rounded(min(foot, key=along)), "right_px": rounded(max(foot, key=along)), "top_px": rounded(min(top, key=down)),
        "bumps": [{"z_mm": z, "angle_deg": deg, "px": rounded(seen_at(*cam, p))} for (z, deg), p in zip(BUMPS, places)],
    }
    with open(os.path.join(HERE, "photo.json"), "w") as f:
        json.dump(out, f, indent=1)
        f.write("\n")


main()

"""Answers by shapely (GEOS) for the cases of ../oracle_test.go: JSON in, JSON out.

Debian: python3-shapely, run with /usr/bin/python3. All coordinates are nanometres.
"""

import json
import math
import sys

from shapely.geometry import LineString, Polygon

FAR = 4e9  # more than any piece is wide


def half_plane(a, b, off):
    """What lies to the left of the line from a to b by off or more, cut off far out."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    d = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    n = (-d[1], d[0])
    at = lambda along, across: (a[0] + along * d[0] + across * n[0], a[1] + along * d[1] + across * n[1])
    return Polygon([at(-FAR, off), at(FAR, off), at(FAR, FAR), at(-FAR, FAR)])


def areas(shape):
    """Areas of the shape's polygons, greatest first; touches (points, lines) have none."""
    return sorted((g.area for g in getattr(shape, "geoms", [shape]) if g.area > 0), reverse=True)


def answer(case):
    ring, other = Polygon(case["ring"]), Polygon(case["other"])
    a, b = case["line"]
    boundary = LineString(case["path"])
    return {
        "area": ring.area,
        "perimeter": ring.length,
        "centroid": [ring.centroid.x, ring.centroid.y],
        "left": areas(ring.intersection(half_plane(a, b, case["kerf"] / 2))),
        "right": areas(ring.intersection(half_plane(b, a, case["kerf"] / 2))),
        "chord": ring.intersection(LineString([half_plane(a, b, 0).exterior.coords[0], half_plane(a, b, 0).exterior.coords[1]])).length,
        "intersection": areas(ring.intersection(other)),
        "difference": areas(ring.difference(other)),
        "union": areas(ring.union(other)),
        "holds": ring.covers(other),
        "distance": ring.distance(boundary),
        "rings_distance": ring.distance(other),
        "width": narrowest(ring),
    }


def narrowest(ring):
    box = ring.minimum_rotated_rectangle.exterior.coords
    sides = [math.dist(box[i], box[i + 1]) for i in range(2)]
    return min(sides)


json.dump([answer(case) for case in json.load(sys.stdin)], sys.stdout)

"""Writes the reference fields beside it (data/magpylib_*.csv) with magpylib, a general-purpose library
for the fields of currents and magnets, and elliptic.csv with mpmath. Not run by the tests.

    python3 -m venv V && V/bin/pip install magpylib==6.3.0 mpmath==1.4.1 && V/bin/python reference.py

Lengths in metres, fields in tesla, currents 1 A, magnets of 1 T. Magnets are magnetised along z and
placed so that their front face is centred at the origin, as in the crate.
"""

import csv
import pathlib

import magpylib
import mpmath
import numpy as np

HERE = pathlib.Path(__file__).parent / "data"
RNG = np.random.default_rng(20)


def write(name, head, rows):
    with open(HERE / name, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(head)
        out.writerows([[repr(float(cell)) for cell in row] for row in rows])


def loops():
    rows = []
    while len(rows) < 120:
        radius = 10 ** RNG.uniform(-3, -1)
        r = radius * (10 ** RNG.uniform(-6, 0) if len(rows) % 3 == 0 else RNG.uniform(0, 4))
        z = radius * RNG.uniform(-3, 3)
        if np.hypot(r - radius, z) < 0.02 * radius:
            continue
        loop = magpylib.current.Circle(diameter=2 * radius, current=1.0)
        field = loop.getB([r, 0, z])
        rows.append([radius, r, z, field[0], field[2]])
    write("magpylib_loops.csv", ["radius_m", "r_m", "z_m", "br_t", "bz_t"], rows)


def discs():
    rows = []
    while len(rows) < 120:
        radius, length = RNG.uniform(2e-3, 2e-2), RNG.uniform(1e-3, 2e-2)
        r, z = radius * RNG.uniform(0, 3), RNG.uniform(-2 * length, 3 * radius)
        if len(rows) % 10 == 0:
            r = 0.0
        edge = min(np.hypot(r - radius, z), np.hypot(r - radius, z + length))
        inside = abs(r - radius) < 1e-4 and -length - 1e-4 < z < 1e-4
        if edge < 3e-4 or inside or abs(z) < 1e-5 or abs(z + length) < 1e-5:
            continue
        disc = magpylib.magnet.Cylinder(
            dimension=(2 * radius, length), polarization=(0, 0, 1.0), position=(0, 0, -length / 2)
        )
        field = disc.getB([r, 0, z])
        rows.append([radius, length, r, z, field[0], field[2]])
    write("magpylib_discs.csv", ["radius_m", "length_m", "r_m", "z_m", "br_t", "bz_t"], rows)


def blocks():
    rows = []
    while len(rows) < 120:
        size = RNG.uniform(2e-3, 3e-2, 3)
        place = RNG.uniform(-3e-2, 3e-2, 3)
        if len(rows) % 10 == 0:
            place[:2] = 0.0
        gaps = np.abs(np.abs(place + [0, 0, size[2] / 2]) - size / 2)
        if gaps.min() < 3e-4:
            continue
        block = magpylib.magnet.Cuboid(
            dimension=size, polarization=(0, 0, 1.0), position=(0, 0, -size[2] / 2)
        )
        rows.append([*size, *place, *block.getB(place)])
    head = ["width_m", "height_m", "length_m", "x_m", "y_m", "z_m", "bx_t", "by_t", "bz_t"]
    write("magpylib_blocks.csv", head, rows)


def spirals():
    """Two round spirals as concentric turns: inner edge, pitch, trace, turns, layers, layer pitch."""
    rows = []
    for number, (inner, trace, pitch, turns, layers, step) in enumerate(
        [(6e-3, 0.55e-3, 0.7e-3, 20, 12, 0.15e-3), (3e-3, 0.2e-3, 0.35e-3, 15, 4, 0.4e-3)]
    ):
        radii = inner / 2 + trace / 2 + pitch * np.arange(turns)
        coil = magpylib.Collection(
            *[
                magpylib.current.Circle(diameter=2 * a, current=1.0, position=(0, 0, -step * layer))
                for a in radii
                for layer in range(layers)
            ]
        )
        for _ in range(40):
            x, y, z = RNG.uniform(-4e-2, 4e-2), RNG.uniform(-4e-2, 4e-2), RNG.uniform(1e-3, 3e-2)
            rows.append([number, x, y, z, *coil.getB([x, y, z])])
    write("magpylib_spirals.csv", ["spiral", "x_m", "y_m", "z_m", "bx_t", "by_t", "bz_t"], rows)


def elliptic():
    mpmath.mp.dps = 40
    rows = []
    for m in [1e-9, 1e-4, 0.01, 0.1, 0.25, 0.5, 0.75, 0.9, 0.99, 0.999999, 1 - 2.0**-40]:
        m = mpmath.mpf(m)
        k, e = mpmath.ellipk(m), mpmath.ellipe(m)
        d = (k - e) / m
        c = (d - (k - d)) / m
        rows.append([m, k, e, d, c])
    write("elliptic.csv", ["m", "k", "e", "d", "c"], rows)


print(magpylib.__version__, mpmath.__version__)
for table in (loops, discs, blocks, spirals, elliptic):
    table()

#!/usr/bin/env python3
"""The stress files of two brackets in three iterations each: a cantilever with a load at its end, in closed form.

    tests/stress/make_meshes.py bracket tests/stress/example/stress
    tests/stress/make_meshes.py rack-mount example-car/analysis

Writes the three files (hexahedra with 8 nodes, binary, zlib) and prints what they must have: the volume, the stress that
99.9 % of it does not exceed, and the share below 32 MPa, from a fine division of the exact stress 6 F (L - x) / (b h^2)
times the distance from the middle over h/2. Only the standard library of Python 3 is used.
"""
import base64
import os
import struct
import sys
import zlib

# Force in N, length and width in mm, elements in each direction, and of each iteration its file and the height in mm at the
# root and at the end.
BRACKETS = {
    "bracket": (400.0, 80.0, 10.0, (30, 20, 1), {
        "bracket-1": (24.0, 24.0),
        "bracket-2": (16.0, 16.0),
        "bracket-3": (16.0, 8.0),
    }),
    "rack-mount": (5200.0, 90.0, 35.0, (24, 20, 1), {
        "2026-12-21-rack-mount": (42.0, 42.0),
        "2027-01-05-rack-mount": (33.0, 33.0),
        "2027-01-09-rack-mount": (33.0, 16.5),
    }),
}
FORCE, LENGTH, WIDTH, BOXES, ITERATIONS = BRACKETS[sys.argv[1]]


def height(heights, x):
    return heights[0] + (heights[1] - heights[0]) * x / LENGTH


def bending(heights, x, across):
    """The stress in MPa; `across` is from -1 to 1."""
    return 6 * FORCE * (LENGTH - x) / (WIDTH * height(heights, x) ** 2) * across


def array(name, kind, values, components=1):
    letter = {"Float64": "d", "Int32": "i", "UInt8": "B"}[kind]
    data = struct.pack(f"<{len(values)}{letter}", *values)
    packed = zlib.compress(data, 9)
    header = struct.pack("<4I", 1, len(data), 0, len(packed))
    text = base64.b64encode(header).decode() + base64.b64encode(packed).decode()
    return f'<DataArray type="{kind}" Name="{name}" NumberOfComponents="{components}" format="binary">{text}</DataArray>\n'


def write(path, heights):
    nx, ny, nz = BOXES
    points, tensors = [], []
    for k in range(nz + 1):
        for j in range(ny + 1):
            for i in range(nx + 1):
                x, across = LENGTH * i / nx, 2 * j / ny - 1
                points += [x, across * height(heights, x) / 2, WIDTH * k / nz]
                tensors += [bending(heights, x, across), 0, 0, 0, 0, 0]
    ids = []
    for k in range(nz):
        for j in range(ny):
            for i in range(nx):
                first = i + (nx + 1) * (j + (ny + 1) * k)
                bottom = [first, first + 1, first + nx + 2, first + nx + 1]
                ids += bottom + [node + (nx + 1) * (ny + 1) for node in bottom]
    cells, nodes = nx * ny * nz, len(points) // 3
    with open(path, "w", newline="\n") as out:
        out.write('<?xml version="1.0"?>\n<VTKFile type="UnstructuredGrid" version="1.0" byte_order="LittleEndian" ')
        out.write('header_type="UInt32" compressor="vtkZLibDataCompressor">\n<UnstructuredGrid>\n')
        out.write(f'<Piece NumberOfPoints="{nodes}" NumberOfCells="{cells}">\n<PointData>\n')
        out.write(array("stress", "Float64", tensors, 6) + "</PointData>\n<Points>\n")
        out.write(array("Points", "Float64", points, 3) + "</Points>\n<Cells>\n")
        out.write(array("connectivity", "Int32", ids))
        out.write(array("offsets", "Int32", [8 * (cell + 1) for cell in range(cells)]))
        out.write(array("types", "UInt8", [12] * cells))
        out.write("</Cells>\n</Piece>\n</UnstructuredGrid>\n</VTKFile>\n")


def exact(heights, n=800):
    rows = []
    for i in range(n):
        x = LENGTH * (i + 0.5) / n
        area = height(heights, x) * LENGTH / n / n
        rows += [(abs(bending(heights, x, (j + 0.5) / n)), area * WIDTH) for j in range(n)]
    rows.sort()
    volume = sum(own for _, own in rows)
    below, high = 0.0, 0.0
    for stress, own in rows:
        below += own
        if below >= 0.999 * volume:
            high = stress
            break
    return volume, high, sum(own for stress, own in rows if stress < 32) / volume


for name, heights in ITERATIONS.items():
    write(os.path.join(sys.argv[2], f"{name}.vtu"), heights)
    volume, high, idle = exact(heights)
    print(f"{name}: {volume:.3f} mm3, {high:.4f} MPa, safety {160 / high:.4f}, idle {idle:.4f}, {volume * 2.7e-3:.3f} g")

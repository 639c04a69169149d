#!/usr/bin/env python3
"""Ten small stress files, written by two independent libraries in different encodings, and their numbers.

    python3 -m venv venv && venv/bin/pip install vtk meshio numpy
    venv/bin/python tests/stress/independent.py tests/stress/files

Prints a line for each file: its name, the field, the volume, the stress that 99.9 % of the volume does not exceed, the share of
the volume below 40, and the highest stress. The numbers are typed into models/tests/stress_files.rs. They use the shape
functions of VTK itself (vtkCell.InterpolateFunctions and InterpolateDerivs) and 12 points of Gauss in each direction, so
they share nothing with the code that is tested but the files.
"""
import math
import sys

import meshio
import numpy as np
import vtk
from vtk.util.numpy_support import numpy_to_vtk, vtk_to_numpy

OUT = sys.argv[1]


# The corners and the edges of the elements, in the order of VTK.
EDGES = {
    "tetra10": (4, [(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)]),
    "hexahedron20": (8, [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]),
    "wedge15": (6, [(0, 1), (1, 2), (2, 0), (3, 4), (4, 5), (5, 3), (0, 3), (1, 4), (2, 5)]),
    "pyramid13": (5, [(0, 1), (1, 2), (2, 3), (3, 0), (0, 4), (1, 4), (2, 4), (3, 4)]),
}
VTK_TYPES = {"tetra": 10, "hexahedron": 12, "wedge": 13, "pyramid": 14, "tetra10": 24, "hexahedron20": 25, "wedge15": 26, "pyramid13": 27}


def place(p):
    """A curved part: a quadratic map of a box, so that quadratic elements follow it exactly."""
    x, y, z = p
    return (30 * x + 4 * y * y, 12 * y + 3 * x * z, 10 * z + 2 * x * x - y * z)


def tensor(p):
    x, y, z = p
    return [120 * x * (1 - z), 30 * y - 20 * z, 15 * x * y, 40 * z * z, 10 - 5 * y, 8 * x]


def von_mises(t):
    xx, yy, zz, xy, yz, xz = np.moveaxis(np.asarray(t, float), -1, 0)
    return np.sqrt(((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2) / 2 + 3 * (xy**2 + yz**2 + xz**2))


def split(kind):
    """A unit box as corners of elements of one kind."""
    c = [(x, y, z) for z in (0, 1) for y in (0, 1) for x in (0, 1)]
    box = [c[0], c[1], c[3], c[2], c[4], c[5], c[7], c[6]]
    base = kind.rstrip("0123456789")
    if base == "hexahedron":
        return [box]
    if base == "wedge":
        return [[box[i] for i in (0, 1, 2, 4, 5, 6)], [box[i] for i in (0, 2, 3, 4, 6, 7)]]
    if base == "tetra":
        return [[box[i] for i in t] for t in ((0, 1, 2, 6), (0, 2, 3, 6), (0, 3, 7, 6), (0, 7, 4, 6), (0, 4, 5, 6), (0, 5, 1, 6))]
    top = (0.5, 0.5, 0.5)
    return [[box[i] for i in f] + [top] for f in ((0, 1, 2, 3), (4, 7, 6, 5), (0, 4, 5, 1), (1, 5, 6, 2), (2, 6, 7, 3), (3, 7, 4, 0))]


def mesh(kinds, n):
    """n x n x n boxes of these kinds in turn: the points, the cells by kind, and the places in the box."""
    known, places, cells = {}, [], []

    def node(p):
        key = tuple(round(v * 1e6) for v in p)
        if key not in known:
            known[key] = len(places)
            places.append(p)
        return known[key]

    number = 0
    for k in range(n):
        for j in range(n):
            for i in range(n):
                kind = kinds[number % len(kinds)]
                number += 1
                for corners in split(kind):
                    corners = [((i + p[0]) / n, (j + p[1]) / n, (k + p[2]) / n) for p in corners]
                    if kind in EDGES:
                        count, edges = EDGES[kind]
                        corners += [tuple((corners[a][d] + corners[b][d]) / 2 for d in range(3)) for a, b in edges]
                    cells.append((kind, [node(p) for p in corners]))
    places = np.array(places)
    return np.array([place(p) for p in places]), cells, places


def grid(points, cells):
    out = vtk.vtkUnstructuredGrid()
    own = vtk.vtkPoints()
    own.SetDataTypeToDouble()
    own.SetData(numpy_to_vtk(np.ascontiguousarray(points), deep=True))
    out.SetPoints(own)
    for kind, ids in cells:
        out.InsertNextCell(VTK_TYPES[kind], len(ids), ids)
    return out


def array(name, values, single=False):
    values = np.ascontiguousarray(values, np.float32 if single else np.float64)
    out = numpy_to_vtk(values, deep=True)
    out.SetName(name)
    return out


def rule(cell_type):
    """Points of the parametric space of VTK and weights: collapsed where it is not a box."""
    at, w = np.polynomial.legendre.leggauss(12)
    at, w = (at + 1) / 2, w / 2
    for i in range(12):
        for j in range(12):
            for k in range(12):
                r, s, t, weight = at[i], at[j], at[k], w[i] * w[j] * w[k]
                if cell_type in (10, 24):
                    yield (r, s * (1 - r), t * (1 - r) * (1 - s * 1.0)), weight * (1 - r) ** 2 * (1 - s)
                elif cell_type in (13, 26):
                    yield (r, s * (1 - r), t), weight * (1 - r)
                else:
                    yield (r, s, t), weight


def numbers(out, name):
    """Volume, 99.9 % stress, share below 40, highest stress: from the grid as the library has it."""
    at_nodes = out.GetPointData().GetArray(name)
    at_cells = out.GetCellData().GetArray(name)
    values = vtk_to_numpy(at_nodes or at_cells).astype(float)
    if values.ndim == 2 and values.shape[1] == 9:
        values = values[:, [0, 4, 8, 1, 5, 2]]
    is_tensor = values.ndim == 2
    points = vtk_to_numpy(out.GetPoints().GetData()).astype(float)
    stresses, volumes, rules = [], [], {}
    for c in range(out.GetNumberOfCells()):
        cell = out.GetCell(c)
        kind, n = cell.GetCellType(), cell.GetNumberOfPoints()
        ids = [cell.GetPointId(i) for i in range(n)]
        if kind not in rules:
            table = []
            for p, weight in rule(kind):
                shape, slopes = [0.0] * n, [0.0] * (3 * n)
                cell.InterpolateFunctions(p, shape)
                cell.InterpolateDerivs(p, slopes)
                table.append((np.array(shape), np.array(slopes).reshape(3, n), weight))
            rules[kind] = table
        for shape, slopes, weight in rules[kind]:
            volumes.append(abs(np.linalg.det(slopes @ points[ids])) * weight)
            if at_nodes is None:
                value = values[c]
            else:
                value = shape @ values[ids]
            stresses.append(von_mises(value) if is_tensor else max(float(value), 0.0))
    stresses, volumes = np.array(stresses), np.array(volumes)
    order = np.argsort(stresses)
    stresses, volumes = stresses[order], volumes[order]
    total = volumes.sum()
    high = stresses[np.searchsorted(np.cumsum(volumes), 0.999 * total)]
    peak = (von_mises(values) if is_tensor else values).max()
    return total, high, volumes[stresses < 40].sum() / total, peak


def show(file, name, out):
    print(f'("{file}", "{name}", ' + ", ".join(f"{n:.9g}" for n in numbers(out, name)) + "),")


def xml(file, out, mode, compressed, big=False):
    writer = vtk.vtkXMLUnstructuredGridWriter()
    writer.SetFileName(f"{OUT}/{file}")
    writer.SetInputData(out)
    getattr(writer, f"SetDataModeTo{mode}")()
    writer.SetCompressor(vtk.vtkZLibDataCompressor() if compressed else None)
    if mode == "Appended":
        writer.SetEncodeAppendedData(compressed == "base64")
    writer.SetByteOrderToBigEndian() if big else writer.SetByteOrderToLittleEndian()
    writer.SetHeaderTypeToUInt32() if big else writer.SetHeaderTypeToUInt64()
    writer.SetBlockSize(2048)
    assert writer.Write()


def legacy(file, out, binary, version):
    writer = vtk.vtkUnstructuredGridWriter()
    writer.SetFileName(f"{OUT}/{file}")
    writer.SetInputData(out)
    writer.SetFileVersion(version)
    writer.SetFileTypeToBinary() if binary else writer.SetFileTypeToASCII()
    assert writer.Write()


def filled(kinds, n, fields):
    points, cells, places = mesh(kinds, n)
    out = grid(points, cells)
    tensors = np.array([tensor(p) for p in places])
    middles = np.array([np.mean(places[ids], axis=0) for _, ids in cells])
    of_cells = np.array([tensor(p) for p in middles])
    for name, where, values in fields(tensors, of_cells):
        single = name.endswith("32")
        (out.GetPointData() if where == "nodes" else out.GetCellData()).AddArray(array(name, values, single))
    return out, points, cells, tensors, of_cells


full = lambda t: t[:, [0, 3, 5, 3, 1, 4, 5, 4, 2]]
both = lambda t, c: [("displacement", "nodes", t[:, :3]), ("von Mises", "nodes", von_mises(t)), ("S", "cells", c)]

out, *_ = filled(["hexahedron"], 4, both)
xml("hex8-appended-raw.vtu", out, "Appended", False)
show("hex8-appended-raw.vtu", "von Mises", out)
out, *_ = filled(["hexahedron20", "wedge15"], 3, lambda t, c: [("S", "nodes", t), ("von Mises", "cells", von_mises(c))])
xml("hex20-wedge15-appended-base64-zlib.vtu", out, "Appended", "base64")
show("hex20-wedge15-appended-base64-zlib.vtu", "S", out)
out, *_ = filled(["tetra10"], 2, lambda t, c: [("stress<9>", "nodes", full(t))])
xml("tet10-binary-zlib.vtu", out, "Binary", True)
show("tet10-binary-zlib.vtu", "stress<9>", out)
out, *_ = filled(["wedge", "tetra", "pyramid", "hexahedron"], 2, lambda t, c: [("vM 32", "nodes", von_mises(t))])
xml("mixed-ascii.vtu", out, "Ascii", False)
show("mixed-ascii.vtu", "vM 32", out)
out, *_ = filled(["pyramid13", "hexahedron20"], 2, lambda t, c: [("S", "nodes", t)])
xml("pyramid13-binary-big-endian.vtu", out, "Binary", False, big=True)
show("pyramid13-binary-big-endian.vtu", "S", out)
out, *_ = filled(["wedge15", "tetra10"], 2, both)
legacy("wedge15-ascii-5.1.vtk", out, False, 51)
show("wedge15-ascii-5.1.vtk", "S", out)
out, *_ = filled(["hexahedron20"], 3, lambda t, c: [("von Mises", "nodes", von_mises(t)), ("S", "cells", full(c))])
out.GetCellData().SetActiveTensors("S")
legacy("hex20-binary-4.2.vtk", out, True, 42)
show("hex20-binary-4.2.vtk", "von Mises", out)

# meshio, read back by VTK: the numbers are those of the file, not of the script.
def by_meshio(file, kinds, n, name, **how):
    points, cells, places = mesh(kinds, n)
    blocks = []
    for kind, ids in cells:
        if not blocks or blocks[-1][0] != kind:
            blocks.append((kind, []))
        blocks[-1][1].append(ids)
    tensors = np.array([tensor(p) for p in places])
    meshio.Mesh(points, blocks, point_data={"S": full(tensors), "vM": von_mises(tensors)}).write(f"{OUT}/{file}", **how)
    reader = vtk.vtkUnstructuredGridReader() if file.endswith(".vtk") else vtk.vtkXMLUnstructuredGridReader()
    reader.SetFileName(f"{OUT}/{file}")
    if file.endswith(".vtk"):
        reader.ReadAllScalarsOn()
        reader.ReadAllFieldsOn()
    reader.Update()
    show(file, name, reader.GetOutput())


by_meshio("meshio-tet10-zlib.vtu", ["tetra10"], 2, "S")
by_meshio("meshio-hex8-plain.vtu", ["hexahedron"], 4, "vM", compression=None)
by_meshio("meshio-wedge-binary-5.1.vtk", ["wedge", "hexahedron"], 3, "vM")

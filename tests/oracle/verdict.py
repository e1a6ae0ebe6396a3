"""verdict.py - VTK's Verdict metrics of every quad and triangle, against the values that face_metrics printed.

Reads the output of `face_metrics FILE` on standard input and the names as `--names` prints them in argv[1:]
("q=name,name,..." and "t=..."). Prints one JSON object: for each metric how many values were compared and the
largest relative difference, with the face. Needs python3-vtk9.

VTK 9.1 holds an older copy of Verdict. Two of its quad metrics are older than the definitions used here, so they are
computed in this file from the published formula instead, independently of fettle:
  aspect_ratio    divides by the projected area |Nc| / 4, not by the sum of two triangles
  equiangle_skew  is not in VTK 9.1: max((max angle - 90) / 90, (90 - min angle) / 90)
and likewise for triangles equiangle_skew: max((max angle - 60) / 120, (60 - min angle) / 60).
"""
import json
import math
import sys

from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
from vtkmodules.vtkFiltersVerdict import vtkMeshQuality

VTK_QUAD = {
    "edge_ratio": "SetQuadQualityMeasureToEdgeRatio",
    "max_aspect_frobenius": "SetQuadQualityMeasureToMaxAspectFrobenius",
    "skew": "SetQuadQualityMeasureToSkew",
    "taper": "SetQuadQualityMeasureToTaper",
    "warpage": "SetQuadQualityMeasureToWarpage",
    "stretch": "SetQuadQualityMeasureToStretch",
    "scaled_jacobian": "SetQuadQualityMeasureToScaledJacobian",
    "shape": "SetQuadQualityMeasureToShape",
    "min_angle": "SetQuadQualityMeasureToMinAngle",
    "max_angle": "SetQuadQualityMeasureToMaxAngle",
    "area": "SetQuadQualityMeasureToArea",
}
VTK_TRIANGLE = {
    "edge_ratio": "SetTriangleQualityMeasureToEdgeRatio",
    "aspect_ratio": "SetTriangleQualityMeasureToAspectRatio",
    "aspect_frobenius": "SetTriangleQualityMeasureToAspectFrobenius",
    "scaled_jacobian": "SetTriangleQualityMeasureToScaledJacobian",
    "shape": "SetTriangleQualityMeasureToShape",
    "min_angle": "SetTriangleQualityMeasureToMinAngle",
    "max_angle": "SetTriangleQualityMeasureToMaxAngle",
    "area": "SetTriangleQualityMeasureToArea",
}


def read(stream):
    points, faces, values = [], [], {"q": {}, "t": {}}
    for line in stream:
        word, *rest = line.split()
        if word == "v":
            points.append([float(x) for x in rest])
        elif word == "f":
            faces.append([int(x) for x in rest])
        else:
            values[word][int(rest[0])] = [float(x) for x in rest[1:]]
    return points, faces, values


def vtk_values(points, faces, setter):
    """The metric of every face, in the order of faces."""
    vtk_points = vtkPoints()
    vtk_points.SetDataTypeToDouble()
    for p in points:
        vtk_points.InsertNextPoint(p)
    cells = vtkCellArray()
    for face in faces:
        cells.InsertNextCell(len(face), face)
    mesh = vtkPolyData()
    mesh.SetPoints(vtk_points)
    mesh.SetPolys(cells)
    quality = vtkMeshQuality()
    quality.SetInputData(mesh)
    getattr(quality, setter)()
    quality.Update()
    array = quality.GetOutput().GetCellData().GetArray("Quality")
    return [array.GetValue(i) for i in range(len(faces))]


def sub(a, b):
    return [x - y for x, y in zip(a, b)]


def dot(a, b):
    return math.fsum(x * y for x, y in zip(a, b))


def cross(a, b):
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]


def norm(a):
    return math.sqrt(dot(a, a))


def quad_aspect_ratio(p):
    edges = [sub(p[(k + 1) % 4], p[k]) for k in range(4)]
    lengths = [norm(e) for e in edges]
    area = norm(cross(sub(edges[0], edges[2]), sub(edges[1], edges[3]))) / 4
    return max(lengths) * math.fsum(lengths) / (4 * area)


def compare(kind, names, points, faces, values, table, own):
    chosen = sorted(values)
    sublist = [faces[f] for f in chosen]
    expected = {name: vtk_values(points, sublist, setter) for name, setter in table.items()}
    expected.update({name: formula(points, sublist, expected) for name, formula in own.items()})
    result = {}
    for index, name in enumerate(names):
        worst = {"compared": 0, "difference": 0.0, "face": None, "ours": None, "theirs": None}
        for at, face in enumerate(chosen):
            ours, theirs = values[face][index], expected[name][at]
            # absolute below 1e-3: sines and cosines near 0 are differences of numbers near 1
            difference = abs(ours - theirs) / max(abs(theirs), 1e-3 if name != "area" else 0)
            worst["compared"] += 1
            if not difference <= worst["difference"]:
                worst.update(difference=difference, face=face, ours=ours, theirs=theirs)
        result[name] = worst
    return result


def main():
    names = dict(argument.split("=") for argument in sys.argv[1:])
    points, faces, values = read(sys.stdin)
    quad_own = {
        "aspect_ratio": lambda p, fs, _: [quad_aspect_ratio([p[v] for v in f]) for f in fs],
        "equiangle_skew": lambda p, fs, known: [
            max((b - 90) / 90, (90 - a) / 90) for a, b in zip(known["min_angle"], known["max_angle"])],
    }
    triangle_own = {
        "equiangle_skew": lambda p, fs, known: [
            max((b - 60) / 120, (60 - a) / 60) for a, b in zip(known["min_angle"], known["max_angle"])],
    }
    json.dump({
        "quad": compare("q", names["q"].split(","), points, faces, values["q"], VTK_QUAD, quad_own),
        "triangle": compare("t", names["t"].split(","), points, faces, values["t"], VTK_TRIANGLE, triangle_own),
    }, sys.stdout)


main()

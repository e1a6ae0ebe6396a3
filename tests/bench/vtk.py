# vtk.py - the greatest distance of the vertices of one mesh from the other by VTK's filter, both ways, timed with its
# locators; run by the bench.
#   vtk.py SUBJECT REFERENCE LIMIT point|cell
# "point" goes from vertex to vertex (more than the truth or less), "cell" from vertex to face (never more). Files are
# read by VTK, quads cut by it.
import json
import signal
import sys
import time

from vtkmodules.vtkFiltersCore import vtkTriangleFilter
from vtkmodules.vtkFiltersModeling import vtkHausdorffDistancePointSetFilter
from vtkmodules.vtkIOPLY import vtkPLYReader


def read(name):
    reader = vtkPLYReader()
    reader.SetFileName(name)
    triangles = vtkTriangleFilter()
    triangles.SetInputConnection(reader.GetOutputPort())
    triangles.Update()
    return triangles.GetOutput()


distance = vtkHausdorffDistancePointSetFilter()
distance.SetInputData(0, read(sys.argv[1]))
distance.SetInputData(1, read(sys.argv[2]))
if sys.argv[4] == 'cell':
    distance.SetTargetDistanceMethodToPointToCell()
else:
    distance.SetTargetDistanceMethodToPointToPoint()
wall, cpu = time.monotonic(), time.process_time()
signal.alarm(int(sys.argv[3]))
distance.Update()
there, back = distance.GetRelativeDistance()
print(json.dumps({'seconds': time.monotonic() - wall, 'cpu_seconds': time.process_time() - cpu,
                  'subject_to_reference': there, 'reference_to_subject': back}))

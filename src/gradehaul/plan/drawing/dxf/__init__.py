"""Reading DXF: files to the strokes and labels of a drawing, by the library and behind a budget."""

from gradehaul.plan.drawing.dxf.file import check_file, dxf_library
from gradehaul.plan.drawing.dxf.reading import read_drawing

__all__ = ["check_file", "dxf_library", "read_drawing"]

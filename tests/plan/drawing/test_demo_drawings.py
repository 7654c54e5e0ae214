"""The committed drawings of the demo plans are the ones that the script beside this file makes."""

import pytest

from plan.drawing.dxf_files import ezdxf
from plan.drawing.make_demo_drawings import DRAWINGS
from project import PLANS


def content(document):
    """What a drawing shows: its unit, and of every entity the kind, the layer and the figures."""
    entities = []
    for entity in document.modelspace():
        if entity.dxftype() == "POLYLINE":
            figures = [tuple(vertex.dxf.location) for vertex in entity.vertices]
        elif entity.dxftype() == "LWPOLYLINE":
            figures = list(entity.get_points("xyb"))
        else:
            figures = [
                tuple(value) if hasattr(value, "xyz") else value
                for key, value in sorted(entity.dxf.all_existing_dxf_attribs().items())
                if key not in ("handle", "owner", "layer")
            ]
        entities.append((entity.dxftype(), entity.dxf.layer, figures))
    return document.units, entities


def rounded(value):
    if isinstance(value, float):
        return round(value, 9)
    return type(value)(map(rounded, value)) if isinstance(value, list | tuple) else value


@pytest.mark.parametrize("name", DRAWINGS)
def test_it_is_as_it_is_made(name):
    assert rounded(content(ezdxf.readfile(PLANS / f"{name}.dxf"))) == rounded(content(DRAWINGS[name]()))


def test_there_is_no_other():
    assert {path.stem for path in PLANS.glob("*.dxf")} == set(DRAWINGS)


def test_a_changed_drawing_is_told_apart():
    document = DRAWINGS["cove"]()
    before = rounded(content(document))
    document.modelspace()[0].dxf.layer = "OTHER"
    assert rounded(content(document)) != before
    document = DRAWINGS["hollow"]()
    before = rounded(content(document))
    next(iter(document.modelspace().query("LWPOLYLINE"))).translate(0.001, 0, 0)
    assert rounded(content(document)) != before

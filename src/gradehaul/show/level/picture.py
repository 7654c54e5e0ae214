"""The picture of leveling: railheads and grades along each train's route, with the height of every riser."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from numpy.typing import NDArray

from gradehaul.design.level.railheads import Leveled
from gradehaul.haulage.answers.layout import Layout
from gradehaul.quantities import convert
from gradehaul.show.base.band import Band, Column
from gradehaul.show.base.paper import SIZES, Panel, Paper, SizeName, grade_axis, words_alone
from gradehaul.show.base.picture import EVEN, INK, Format, drawing_rules, pages_bytes, picture_bytes
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.route_text import DOWNHILL, NO_GRADE
from gradehaul.show.level.text import CAUTION, binding_words, headline
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_EVEN: dict[str, Any] = {"color": EVEN, "lw": 1.2, "ls": (0, (6, 2))}
_LEVELED: dict[str, Any] = {"color": INK, "lw": 1.6, "ls": "-"}
_MOST = 4
"""Routes on one sheet at the most; those whose railheads change most come first."""

_SAME = 5e-6
"""Heights that differ by less than this, m, are one."""


class RouteStations(NamedTuple):
    """A route of trains, or one leg of it: its name, the stations along it, and where they are, m."""

    name: str
    order: NDArray[np.intp]
    places: FloatArray


def drawn_routes(found: Leveled) -> list[RouteStations]:
    """Return the routes of the judged trains that are drawn, those with the greatest change of a railhead first."""
    layout, plan = Layout(found.plan), found.plan
    wholes = dict.fromkeys(plan.trains[each.train].route for each in found.hardest)
    routes = [leg for name in wholes for leg in (layout.route(name).legs or (layout.route(name),))]
    stations = [RouteStations(route.name, *found.stations.along(route)) for route in routes]
    change = np.abs(found.heights - found.even)
    return sorted(stations, key=lambda each: -float(change[each.order].max()))


def level_picture(form: Format, found: Leveled, units: UnitFormat, *, size: SizeName = "a4") -> bytes:
    """Return the picture as a file: a PDF in pages of its size, a PNG or SVG as one sheet as long as it takes."""
    with drawing_rules():
        if form == "pdf" and SIZES[size].height:
            return pages_bytes(level_pages(found, units, size=size))
        return picture_bytes(level_figure(found, units, size=size), form)


def level_pages(found: Leveled, units: UnitFormat, *, size: SizeName = "a4") -> list[Figure]:
    """Return the picture in pages of as many routes as fit the size; to be called by the `drawing_rules`."""
    count, tall = min(len(drawn_routes(found)), _MOST), SIZES[size].height or math.inf
    for most in range(count, 0, -1):
        starts = range(0, count, most)
        pages = [level_figure(found, units, size=size, which=slice(k, min(k + most, count))) for k in starts]
        if all(page.get_figheight() <= tall + _SAME for page in pages):
            break
    return pages


def level_figure(found: Leveled, units: UnitFormat, *, size: SizeName = "a4", which: slice = slice(0, _MOST)) -> Figure:
    """Return the picture of some routes as a figure; to be called by the `drawing_rules`, as all done with it."""
    every = drawn_routes(found)
    routes, unit = every[which], units.length_unit
    words = [f"{found.plan.title}: railheads in {units.lengths}, by distance from where each route begins"]
    words += [_hardest(found, each.train, units) for each in found.hardest]
    if len(every) > _MOST:
        words.append(f"{len(every) - _MOST} more routes do not change: gradehaul level names their heights")
    paper = Paper(
        SIZES[size],
        "".join(each if isinstance(each, str) else each[0] for each in headline(found, units)),
        words,
        notes=[CAUTION],
    )
    bands = [_band(paper, found, route, units) for route in routes]
    shape: dict[str, Panel] = {}
    for k, band in enumerate(bands):
        shape |= {f"height {k}": Panel(0.5, 0.6), f"grade {k}": Panel(0.35, 0.4), f"band {k}": Panel(band.height)}
    panels = paper.panels(shape, (0.0, convert(max(float(route.places[-1]) for route in routes), unit)))
    for k, route in enumerate(routes):
        _draw_route(paper, panels[f"height {k}"], panels[f"grade {k}"], found, route, units)
        bands[k].prepare(panels[f"band {k}"])
    paper.settle()
    for k, band in enumerate(bands):
        band.draw(panels[f"band {k}"])
    return paper.figure


def _hardest(found: Leveled, train: str, units: UnitFormat) -> str:
    (own,) = (each for each in found.hardest if each.train == train)
    if max(own.even, own.leveled) < NO_GRADE:
        return f"{train}: {DOWNHILL}"
    binds = "".join(f"; limited by {each}" for each in binding_words(own, units)[:1])
    return f"{train}: hardest effective grade {units.grade(own.even)} even, {units.grade(own.leveled)} leveled{binds}"


def _band(paper: Paper, found: Leveled, route: RouteStations, units: UnitFormat) -> Band:
    """Return the figures of every riser: its joint, distance, height and how much that changes."""
    joints = {number: name for name, number in found.stations.joints.items()}
    columns = []
    for number, at in zip(route.order.tolist(), route.places.tolist(), strict=True):
        change = float(found.heights[number] - found.even[number])
        changed = "0" if abs(change) < _SAME else f"{'+' if change > 0 else ''}{units.number(change, fine=True)}"
        height = units.number(float(found.heights[number]), fine=True)
        figures = joints.get(number, ""), units.number(at), height, changed
        kept = changed != "0" or at in (route.places[0], route.places[-1])
        columns.append(Column(convert(at, units.length_unit), figures, 0 if kept else 1))
    return Band(paper, ("joint", "distance", "height", "change"), columns, {})


def _draw_route(paper: Paper, top: Axes, bottom: Axes, found: Leveled, route: RouteStations, units: UnitFormat) -> None:
    unit, order = units.length_unit, route.order
    x = convert(1.0, unit) * route.places
    even, heights = (convert(1.0, unit) * values[order] for values in (found.even, found.heights))
    (dashed,) = top.plot(x, even, zorder=3, gid=f"even {route.name}", **_EVEN)
    (line,) = top.plot(x, heights, zorder=4, gid=f"leveled {route.name}", **_LEVELED)
    given = ~found.stations.free[order]
    dot: dict[str, Any] = {"ls": "", "marker": "o", "mec": INK, "zorder": 5, "clip_on": False}
    key: dict[str, Artist] = {paper.fitted(f"Route {route.name}", 0.6 * paper.width): words_alone()}
    key |= {"even grade between fixed heights": dashed, "leveled": line}
    looks: tuple[tuple[str, Any, dict[str, Any]], ...] = (
        ("height given", given, {"ms": 4.6, "mfc": INK}),
        ("free", ~given, {"ms": 3.6, "mfc": "white", "mew": 0.8}),
    )
    for words, which, look in looks:
        if which.any():
            gid = f"{words.split(' ')[-1]} {route.name}"
            (key[words],) = top.plot(x[which], heights[which], gid=gid, **dot, **look)
    top.margins(y=0.12)
    top.set_ylabel(unit)
    paper.key_above(top, key)
    apart = np.diff(route.places)
    for values, style, gid in ((found.even, _EVEN, "even"), (found.heights, _LEVELED, "leveled")):
        stairs(bottom, x, np.diff(values[order]) / apart, units, gid=f"{gid} grade {route.name}", **style)
    grade_axis(bottom, units)


def stairs(axes: Axes, edges: FloatArray, values: FloatArray, units: UnitFormat, **style: Any) -> Artist:  # noqa: ANN401 - as of a line
    """Draw grades that hold from one edge to the next."""
    times = convert(1.0, units.grade_unit)
    (line,) = axes.plot(np.repeat(edges, 2)[1:-1], times * np.repeat(values, 2), **style)
    return line

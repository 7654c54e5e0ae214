"""The joints of a long section picture: a line through all panels at each, and its name above."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from gradehaul.haulage.views.section import LongSection
from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.sheet import FAINT, Sheet, Spot


def draw_joints(sheet: Sheet, section: LongSection, panels: Sequence[Axes]) -> None:
    """Draw a line through all panels at each joint, and the names above, ends and turnouts first."""
    room = sheet.room("joints")
    panel = panels[0]
    _, foot = sheet.dots(panel, 0.0, panel.get_ylim()[1])
    tall = 1.02 * sheet.dots_per_line
    levels = [room.bottom + (0.72 + k) * tall for k in range(int((room.top - room.bottom) / tall - 0.2) or 1)]
    rank = {"end": 0, "turnout": 1, "crossing": 1, "table": 1, "plain": 2}
    first_and_last = {0.0, section.joints[-1].at} if section.joints else set()
    leads: list[Box] = []
    for joint in sorted(section.joints, key=lambda joint: (joint.at not in first_and_last, rank[joint.kind])):
        x = convert(joint.at, sheet.unit)
        for axes in panels:
            axes.axvline(x, color=FAINT, lw=0.7, ls=(0, (1.2, 1.8)), zorder=1)
        across, _ = sheet.dots(panel, x, 0.0)
        _tell_joint(sheet, joint.name, (across, foot), levels, leads)


def _tell_joint(sheet: Sheet, name: str, foot: tuple[float, float], levels: Sequence[float], leads: list[Box]) -> None:
    """Write a joint's name over its line, where its line runs behind no other name if that can be."""
    across, bottom = foot
    room = sheet.sheet._replace(bottom=bottom, top=sheet.room("joints").top)
    written = [box for box in sheet.board.taken if box.within(room)]

    def lead(box: Box) -> Box:
        return Box(across - 1.0, bottom, across + 1.0, box.bottom)

    def cost(box: Box) -> float:
        return sum(lead(box).meets(other) for other in written) + sum(box.meets(other) for other in leads)

    for text in (name, sheet.fitted(name, 9 * sheet.dots_per_em)):
        half = 0.5 * sheet.extent(text)[0]
        pulled_in = min(max(across, room.left + half), room.right - half)
        shifted = (pulled_in, *(across + share * half for share in (0.5, -0.5, 1.0, -1.0)))
        spots = [Spot(x, level) for level in levels for x in shifted]
        placed = sheet.label(text, spots, room=room, boxes_cost=cost, backed=True)
        if placed is not None:
            leads.append(lead(placed[1]))
            sheet.lead((across, bottom), (across, placed[1].bottom))
            return
    sheet.lead((across, bottom), (across, bottom + 2.0))

"""Drawings: from the strokes of a drawing to the lines and joints of a plan.

`assembly` is the way through: `dxf` reads a file, `plausible` refuses what no train fits in, and rails, and leaves out
frames of tables; `joining` makes one stroke of separate chords, `fitting` makes straights and arcs of strokes,
`heights` and `linking` make a network, `naming` names it; `tables` adds it to a plan. `outlines` are all strokes, and
`rows` all elements, as columns: a record is made where one is looked at, and at the end. The words of all of them:

stroke
    One entity of the drawing as drawn, or several that were joined end to end: vertices in plan, straights or arcs
    between them, and heights where it has any. `Stroke`.
chord
    A straight segment of a stroke whose two ends lie on the track, which may be curved between them.
exact
    A stroke whose segments are the track itself, not chords of it: a line, an arc, arcs by their bulges.
bulge
    The tangent of a quarter of the turn of a segment, left positive, as the DXF format has it; 0 for a straight one.
label
    A text of the drawing: it may be a name or a height. `Label`. A label without a text is a point, or mark.
element
    A straight or an arc of track, by its start, heading, curvature and length. `Element`.
reach
    Elements in a row, each the tangent of the one before: what was fitted to one stroke or to a part of it. `Reach`.
way
    A line of the network while it is being linked, between two nodes; every way has two ends. `Way`.
node
    A place at which ends of ways meet while they are being linked.
line, joint
    What ways and nodes become when they are linked, in an order that follows from where they lie; then with names and
    heights. `DrawnLine`, `DrawnJoint`.
gap
    How far apart ends were drawn that meet.
kink
    A break of direction; up to the kink of the terms track goes on over it.
snap
    How far apart, in plan, ends may be drawn that meet.
level
    How much the heights of ends that meet may differ.
terms
    On what terms a drawing is read: its layers and unit, snap, fit, kink and the gauge. `Terms`.
fault
    Something that was mended, passed over or could not be understood, with its place; never an error. `Fault`.
"""

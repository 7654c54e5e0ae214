"""What a script calls: a layout with a method for each answer, and a function for each of the others.

It stands above all rooms, so that a layout's methods reach treatment, design and pictures while the engine's own
`Layout`, which these rooms take, knows none of them. Each room is loaded where it is first needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from gradehaul.haulage.answers import layout as engine

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from networkx import DiGraph

    from gradehaul.design.clearance.findings import Clearances
    from gradehaul.design.climb.designs import HelixAnswer, HelixSearch, InclineAnswer
    from gradehaul.design.climb.hill import Direction
    from gradehaul.design.level.railheads import Leveled
    from gradehaul.haulage.answers.check import CheckAnswer
    from gradehaul.haulage.answers.readings import ReadingsAnswer
    from gradehaul.haulage.answers.trial_train import TrialAnswer
    from gradehaul.haulage.verdict import Need
    from gradehaul.network.graph import Way
    from gradehaul.plan.edit.importing import Imported
    from gradehaul.plan.records import Plan
    from gradehaul.treatment.keep_clean import KeepCleanPlan


class Layout(engine.Layout):
    """A plan with all that its answers rest on: lengths in m, forces in N, grades plain ratios.

    Parameters
    ----------
    plan
        The plan.
    all_routes
        List every route between ends and berths, up to a limit, in place of the declared ones.
    hours
        The age of every film, hours; None for both of each, fresh and rested, where they differ.

    Raises
    ------
    Problems
        Heights that contradict each other, or routes that no train can follow.
    QuantityError
        An age that no film has.

    Examples
    --------
    >>> import gradehaul
    >>> layout = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml"))
    >>> [route.name for route in layout.routes], layout.rails
    (['Uphill'], ('clean', 'treated', 'treated fresh'))
    """

    @property
    def graph(self) -> DiGraph[Way]:
        """The moves of trains: a networkx graph of (track, direction)."""
        return self.movements.graph

    def check(self, *, rails: Sequence[str] = (), seed: int = 0) -> CheckAnswer:
        """Check the layout: what routes need, the longest trains, which trains climb, and the ways over for others.

        Parameters
        ----------
        rails
            The rail conditions by which the layout passes or fails; as planned where none is named and the plan says
            so, else clean.
        seed
            Of the random trials: the same seed gives the same answer.

        Raises
        ------
        RouteError
            A rail condition that the plan does not have.

        Notes
        -----
        A train climbs where its demand, W (grade + C / R) + W_cars r, is less than the pull of its locomotives all the
        way, and it also starts again, recovers from a slip and is held back (docs/computation.md).

        Examples
        --------
        >>> import gradehaul
        >>> answer = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml")).check()
        >>> answer.passes, [(train.name, train.rail, train.outcome) for train in answer.trains][0]
        (True, ('local', 'clean', 'climbs'))
        >>> answer.to_dict()["trains"][0]["margin_n"]
        0.223744
        """
        from gradehaul.design.clearance.findings import failing_places
        from gradehaul.haulage.answers.check import check_layout
        from gradehaul.treatment.ways_over import ways_over

        answer = check_layout(self, rails=rails or None, seed=seed)
        fails = failing_places(self)
        count = None if fails is None else len(fails)
        return replace(answer, ways_over=ways_over(self, answer), clearance_fails=count)

    def keep_clean(
        self,
        *,
        trains: Sequence[str] = (),
        film: str | None = None,
        need: Need = "climbs",
        reserve: float = 0.0,
        step: float | None = None,
        carry: float | None = None,
    ) -> KeepCleanPlan:
        """Find the most track that may be treated so that every train still gets by, however wheels spread the film.

        Parameters
        ----------
        trains
            The trains that must run; all that are named where empty.
        film
            The film; None for the only one of the plan.
        need
            ``climbs``; or ``marginal``, where trains that do not climb with no more film may be so.
        reserve
            The share of the pull that is held back, 0 to 1.
        step
            Wipe by stretches of at most this length, m; None for whole tracks.
        carry
            How far wheels carry the film, m; None for the carry-over of the plan, 2 m where it has none.

        Raises
        ------
        DesignError
            A reserve or a length that makes no sense.
        RouteError
            A train or a film that the plan does not have, or no train; no film named where the plan has several.

        Notes
        -----
        A mixed-integer program chooses the track; how far wheels carry a film is assumed, since no measured value was
        found (docs/computation.md).

        Examples
        --------
        >>> import gradehaul
        >>> found = gradehaul.Layout(gradehaul.load_plan("plans/two-levels.toml")).keep_clean(trains=["stone"])
        >>> found.to_dict()["found"]
        True
        """
        from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan

        return keep_clean_plan(self, KeepCleanOptions(tuple(trains), film, need, reserve, step, carry))

    def level(
        self,
        *,
        trains: Sequence[str] = (),
        least: Mapping[str, float] | None = None,
        most: Mapping[str, float] | None = None,
        change: float | None = None,
    ) -> Leveled:
        """Find railheads at free ends of tracks that make the hardest effective grade as low as possible.

        Parameters
        ----------
        trains
            The trains; all that are named where empty.
        least, most
            Heights, m, by joint, that joints must clear or must not exceed.
        change
            The most change of grade from one stretch to the next, a plain ratio; None for 0.02.

        Raises
        ------
        RouteError
            A train that the plan does not have, or none that can be judged.
        DesignError
            No free height, a joint that does not exist, or limits that leave nothing free.

        Notes
        -----
        A linear program in the heights: the hardest stretch first, then the next (docs/design-of-climbs.md).

        Examples
        --------
        >>> import gradehaul
        >>> found = gradehaul.Layout(gradehaul.load_plan("plans/two-levels.toml")).level(trains=["stone"])
        >>> [train.train for train in found.hardest]
        ['stone']
        """
        from gradehaul.design.level.railheads import MOST_CHANGE, leveled

        return leveled(self, trains=trains, least=least, most=most, change=MOST_CHANGE if change is None else change)

    def clearances(
        self,
        *,
        structure: float | None = None,
        clear: float | None = None,
        wire: bool = False,
        overhead: float | None = None,
        coupler: float | None = None,
        trains: Sequence[str] = (),
    ) -> Clearances:
        """Judge where tracks pass over, under or beside one another too near, and which cars a curve would tip.

        Parameters
        ----------
        structure
            Thickness of deck, roadbed and track together, m; None for what the plan states, else what is usual.
        clear
            The clear height that is wanted, m: less fails, and what is less than the standard's is to be looked at.
            None for the standard's.
        wire
            Whether stock runs under overhead wire.
        overhead
            Height of the overhead line over its lowest wire, m; None for an assumed one.
        coupler
            Height of the couplers over the railhead, m; None for that of full size over the ratio.
        trains
            The trains to judge; all that are named where empty.

        Raises
        ------
        DesignError
            A height that makes no sense.
        RouteError
            A train that the plan does not have.

        Notes
        -----
        Each figure has its source: NMRA S-7 and S-8, NEM 102, 103 and 112, or common practice.

        Examples
        --------
        >>> import gradehaul
        >>> found = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml")).clearances()
        >>> found.passes, found.count("fail")
        (True, 0)
        """
        from gradehaul.design.clearance.findings import clearances
        from gradehaul.design.clearance.rules import Allowances

        return clearances(self, Allowances(structure, wire, overhead, coupler, tuple(trains), clear))

    def try_train(
        self, route: str, vehicles: Sequence[str], *, heights: Mapping[str, float] | None = None, seed: int = 0
    ) -> TrialAnswer:
        """Try a train that the plan does not name: on clean rail, as planned, and with film everywhere.

        Parameters
        ----------
        route
            The name of a route, or two places as ``FROM..TO``.
        vehicles
            The train from head to tail, such as ``["switcher", "4 boxcar"]``.
        heights
            Other railheads, m, by joint, by a track for its end, or by ``LINE@DISTANCE``.
        seed
            Of the random trials.

        Raises
        ------
        RouteError
            No such route or place, or no way between two places.
        PlanError
            A vehicle that the plan does not have, no locomotive, or a distance that is not on its line.
        Problems
            Heights that contradict one another.

        Notes
        -----
        Calculated as `check` does.

        Examples
        --------
        >>> import gradehaul
        >>> layout = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml"))
        >>> layout.try_train("Uphill", ["switcher", "4 boxcar"]).trains[0].judged.outcome
        'climbs'
        """
        from gradehaul.haulage.answers.trial_train import try_train

        return try_train(self.written, route, vehicles, heights=heights, hours=self.hours, seed=seed)

    def plot_section(
        self,
        route: str | None = None,
        *,
        train: str | None = None,
        rails: Sequence[str] | None = None,
        size: Literal["a4", "phone"] = "a4",
    ) -> Figure:
        """Draw the long section of a route with the pull and the demand of a train, in the units of the plan.

        Parameters
        ----------
        route
            The route's name; None where the plan has only one.
        train
            A named train; None for the first that is named for the route, if any.
        rails
            The rail conditions to judge; None for those by which the plan is judged, and each film everywhere.
        size
            A4 landscape, or the width of a phone.

        Returns
        -------
        Figure
            A matplotlib figure, in inches of paper; ``savefig`` keeps it.

        Raises
        ------
        RouteError
            A route, a train or a rail condition that the plan does not have.

        Notes
        -----
        Nothing is sampled: the curves drawn are those that `check` judges (docs/reading-the-pictures.md).

        Examples
        --------
        >>> import gradehaul
        >>> figure = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml")).plot_section("Uphill")
        >>> type(figure).__name__
        'Figure'
        """
        from gradehaul.haulage.views.section import long_section
        from gradehaul.show.base.picture import drawing_rules
        from gradehaul.show.base.unit_format import units_for
        from gradehaul.show.section.picture import long_section_figure

        section = long_section(self, route, train=train, rails=rails)
        with drawing_rules():
            return long_section_figure(section, units_for(self.plan), size=size)


def helix(
    stock: Plan,
    *,
    radius: float | None = None,
    rise_per_turn: float | None = None,
    rise: float | None = None,
    turns: float | None = None,
    grade: float | None = None,
    floor: tuple[float, float] | None = None,
    tracks: int = 1,
    straight: float | None = None,
    ease: float | None = None,
    deck: float | None = None,
    roadbed: float | None = None,
    clear: float | None = None,
    centers: float | None = None,
    vertical: float | None = None,
    find: HelixSearch | None = None,
    train: str | Sequence[str] | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> HelixAnswer:
    """Design a helix from what is fixed of it, or backward from the train that must climb it.

    Parameters
    ----------
    stock
        A plan with the stock, the scale and the practice.
    radius, rise_per_turn, rise, turns, grade, floor
        What is fixed: lengths and the two sides of the floor in m, the grade a plain ratio; any that suffice.
    tracks
        One or two; two share a center, and trains climb on the outer.
    straight, ease, deck, roadbed, clear, centers, vertical
        Straight sides, easements, thicknesses, the clear height wanted, the distance of two tracks and the length of
        vertical curves, m; None for what is usual.
    find
        ``radius`` for the least, ``grade`` for the steepest, ``cars`` for the most cars in a floor; None for what is
        fixed.
    train, rail, need
        The train or trains that must get over it, on which rail, and the verdict that they need.
    direction
        Which way trains run, ``up``, ``down`` or ``both``; None for that of each in its own plan, else both.

    Raises
    ------
    DesignError
        No such helix, or figures that contradict each other.
    RouteError
        A train or a rail condition that the stock does not have.

    Notes
    -----
    A round helix of radius R and N turns is 2 pi R N long; curves add C / R to its grade (docs/design-of-climbs.md).

    Examples
    --------
    >>> import gradehaul
    >>> stock = gradehaul.load_plan("plans/first-hill.toml")
    >>> found = gradehaul.helix(stock, radius=0.762, rise_per_turn=0.127, turns=3)
    >>> round(found.helix.grade, 5), found.to_dict()["helix"]["grade_pct"]
    (0.02653, 2.65258)
    """
    from gradehaul.design.climb.designs import build_for, design_helix
    from gradehaul.design.climb.given import HelixGiven

    build = build_for(
        stock,
        tracks=tracks,
        straight=straight,
        ease=ease,
        deck=deck,
        roadbed=roadbed,
        clear=clear,
        centers=centers,
        vertical=vertical,
    )
    fixed = HelixGiven(radius, rise_per_turn, rise, turns, grade, floor)
    return design_helix(fixed, build, stock, find=find, train=train, rail=rail, need=need, direction=direction)


def incline(
    stock: Plan,
    *,
    rise: float | None = None,
    length: float | None = None,
    grade: float | None = None,
    curves: Sequence[tuple[float, float]] = (),
    ease: float = 0.0,
    vertical: float | None = None,
    compensate: bool = False,
    find: Literal["length", "rise"] | None = None,
    train: str | Sequence[str] | None = None,
    rail: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> InclineAnswer:
    """Design an incline, or find the length that a train needs or the rise that it gets up.

    Parameters
    ----------
    stock
        A plan with the stock, the scale and the practice.
    rise, length, grade
        Two of the whole rise, m, the length from level to level, m, and the grade of the straights, a plain ratio.
    curves
        Curves on the way, each its radius, m, and its angle, rad, positive to the left.
    ease
        Easement at each end of every curve, m.
    vertical
        Length of the vertical curves, m; None for what is usual.
    compensate
        Whether the grade is eased on curves by what they add.
    find
        ``length`` for the shortest, ``rise`` for the highest; None for what is fixed.
    train, rail, need
        The train or trains that must get over it, on which rail, and the verdict that they need.
    direction
        Which way trains run, ``up``, ``down`` or ``both``; None for that of each in its own plan, else both.

    Raises
    ------
    DesignError
        No such incline, or figures that contradict one another.
    RouteError
        A train or a rail condition that the stock does not have.

    Notes
    -----
    The grade runs from the middle of one vertical curve to that of the other (docs/design-of-climbs.md).

    Examples
    --------
    >>> import gradehaul
    >>> found = gradehaul.incline(gradehaul.load_plan("plans/first-hill.toml"), rise=0.1016, length=5.08)
    >>> f"{found.incline.grade:.2%}"
    '2.15%'
    """
    from gradehaul.design.climb.designs import design_incline
    from gradehaul.design.climb.incline import Bend, InclineGiven

    bends = tuple(Bend(radius, angle, ease) for radius, angle in curves)
    given = InclineGiven(rise, length, grade, bends, vertical, compensate)
    return design_incline(given, stock, find=find, train=train, rail=rail, need=need, direction=direction)


def readings(plan: Plan, *, seed: int = 0) -> ReadingsAnswer:
    """Turn the bench readings of a plan into pulls and coefficients, and say what to measure next.

    Parameters
    ----------
    plan
        The plan.
    seed
        Of the random trials.

    Raises
    ------
    Problems
        Heights that contradict each other, or a route that no train can follow.

    Notes
    -----
    Means have 95 % intervals by Student's t; adhesion is fitted by non-negative least squares (docs/computation.md).

    Examples
    --------
    >>> import gradehaul
    >>> found = gradehaul.readings(gradehaul.load_plan("plans/bench.toml"))
    >>> row = found.bench.rows[0]
    >>> row.loco, row.rail, row.count, round(row.mean, 3)
    ('mikado', 'clean', 5, 0.883)
    """
    from gradehaul.haulage.answers import readings as bench

    return bench.readings(plan, seed=seed)


def import_drawing(
    drawing: str | Path,
    *,
    plan: str | Path | None = None,
    scale: str | None = None,
    practice: str | None = None,
    unit: str | None = None,
    layers: Sequence[str] = (),
    height_layers: Sequence[str] = (),
    rails: bool = False,
    snap: str | None = None,
    fit: str | None = None,
    kink: str | None = None,
    raise_: str | None = None,
) -> Imported:
    """Return a drawing (DXF) as the text of a plan file; nothing is written.

    Parameters
    ----------
    drawing
        The drawing.
    plan
        A plan made of it before, whose scale, unit and tables stay; None for a new one.
    scale
        The scale, such as ``HO``; not where the plan has one.
    practice
        The practice of a new plan, ``NMRA`` or ``NEM``; None for what is usual.
    unit
        The drawing's unit, where the file does not say it.
    layers, height_layers
        Layers with track, and with texts that are heights, or patterns; known by their names where both are empty.
    rails
        Whether the two rails of each track are drawn.
    snap, fit, kink
        How far apart ends may be drawn that meet, how far a fitted curve may lie from what is drawn, and the break of
        direction up to which track goes on: quantities as text, such as ``"3 mm"``; None for what is usual.
    raise_
        How far above the plan's 0 that of the drawing's heights lies, such as ``"4 in"``; negative below.

    Raises
    ------
    DrawingError, PlanError, QuantityError, Problems
        The drawing or the plan cannot be used, or a text is no such quantity.
    OSError
        A file cannot be read.

    Notes
    -----
    Straights, arcs and easements are fitted to what is drawn by least squares (docs/computation.md).

    Examples
    --------
    >>> import gradehaul
    >>> found = gradehaul.import_drawing("plans/cove.dxf", scale="HO")
    >>> found.unit, found.to_dict()["problems"]
    ('mm', [])
    """
    from gradehaul.plan.edit.importing import ImportOptions
    from gradehaul.plan.edit.importing import import_drawing as plan_of_drawing

    options = ImportOptions(tuple(layers), tuple(height_layers), unit, rails, snap, fit, kink, raise_, scale, practice)
    return plan_of_drawing(str(drawing), None if plan is None else str(plan), options)

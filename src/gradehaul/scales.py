"""The scale table: ratio, gauge and what the practices lay down for each scale."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple

from gradehaul.errors import PlanError, quoted
from gradehaul.quantities import INCH
from gradehaul.quantities.si import Kilograms, Meters

if TYPE_CHECKING:
    from collections.abc import Mapping

Practice = Literal["NMRA", "NEM"]
"""Whose weights, clearances and radii apply."""

LONGEST_CAR = 26.55
"""Longest car where no stock is given, m at full size: a foot in HO, which common practice takes as a car length."""

_OUNCE = 0.028349523125  # kg; 1/16 of 0.45359237 kg
_WIDEST_GAUGE = 5.0  # m at full size; beyond any railway, so a slip of units


class Radii(NamedTuple):
    """Least radii, m, by the length of body at full size of the longest stock that is to run (NEM 111)."""

    up_to_20_m: Meters
    up_to_24_m: Meters
    up_to_27_m: Meters


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale: all lengths in m at model size; None where the table has no figure."""

    KEYS: ClassVar[str] = "name ratio gauge"

    name: str
    ratio: float
    gauge: Meters
    nmra_weight: tuple[float, float] | None = None
    """NMRA RP-20.1: first mass, kg, and mass per body length, kg/m."""
    nem_weight: float | None = None
    """NEM 302: least mass per length over buffers, kg/m."""
    clear_height: Meters | None = None
    """Free height above railhead without overhead wire (NEM 102), m."""
    stock_width: Meters = 0.0
    """Widest usual stock, m."""
    side_clearance: Meters = 0.0
    """Room kept beside standing stock, on one side, m."""
    wire_height: Meters | None = None
    """Free height above railhead under the lowest overhead wire (NEM 102), m."""
    nmra_clear_height: Meters | None = None
    """Free height above railhead for modern stock (NMRA S-7), m."""
    track_centers: Meters | None = None
    """Distance between the centers of straight parallel tracks on the line (NEM 112), m."""
    nmra_track_centers: Meters | None = None
    """Distance between the centers of straight parallel tracks (NMRA S-8, the wider column), m."""
    permitted_radii: Radii | None = None
    """Least radii of any track (NEM 111)."""
    branch_radii: Radii | None = None
    """Least radii of the main track of a branch line (NEM 111)."""
    buffer_radii: Radii | None = None
    """Least radii where side buffers may touch (NEM 111)."""
    aliases: tuple[str, ...] = ()
    """Other spellings of the name."""
    sources: tuple[tuple[str, str], ...] = ()
    """Pairs of a field and where its figure comes from."""

    @property
    def fouling_distance(self) -> Meters:
        """Least distance between track centers at which stock on one clears stock on the other, m.

        Half the stock's width on each track and the room kept beside one of them; on straight track. Curves need
        more, by how far the stock there overhangs.
        """
        return self.stock_width + self.side_clearance

    def source(self, field: str) -> str:
        """Where the figure of a field comes from; empty for a field without a figure."""
        return dict(self.sources).get(field, "")


def known_scales() -> tuple[str, ...]:
    """Return the names in the scale table, smallest scale first."""
    return tuple(_scales())


def scale_named(name: str, *, option: str = "") -> Scale:
    """Return the scale of this name; upper or lower case, with or without the word scale or gauge.

    The letter O and the numeral 0 are kept apart, as they are two scales: O is 1:48 and 0 is 1:45, HO is 1:87.1
    (3.5 mm to the foot) and H0 is 1:87. `option` is the one that it was given by; none where it stands in a plan.

    Raises
    ------
    PlanError
        If the table has no such scale; the message names the nearest. ``G`` has no single ratio and gets a message
        of its own.
    """
    key, shown, spellings = _plain(name), quoted(name), _spellings()
    if key in spellings:
        return _scales()[spellings[key]]
    if key == "g":  # common practice, as is the spread of ratios
        raise PlanError(
            "G has no single ratio: models from 1:32 to 1:19 run on 45 mm track under that name",
            place=option,
            found=shown,
            write=f'{"in a plan " if option else ""}scale = {{ ratio = 22.5, gauge = "45 mm" }} with the ratio of your '
            "models",
        )
    import difflib

    near = difflib.get_close_matches(key[:40], spellings, n=1, cutoff=0.5)
    written = f"{option} {spellings[near[0]]}" if near and option else f'scale = "{spellings[near[0]]}"' if near else ""
    write = ", ".join(filter(None, (written, f"one of {', '.join(_scales())}")))
    if not option:
        write += ', or the ratio and gauge, as in scale = { ratio = 87.1, gauge = "16.5 mm" }'
    raise PlanError("no such scale", place=option, found=shown, write=write)


def own_scale(ratio: float, gauge: float) -> Scale:
    """Return a scale given by its ratio and gauge, named by its ratio; full size is ratio 1.

    Widths and heights are full-size figures of standard-gauge railways over the ratio, whatever the gauge: for
    narrow-gauge stock that errs on the safe side. No practice has weights or radii for it. The gauge is in m.

    Raises
    ------
    PlanError
        If the ratio is under 1 or not finite, or the gauge is not positive or belongs to no railway (more than 5 m
        at full size).
    """
    if not (math.isfinite(ratio) and ratio >= 1):
        raise PlanError("ratio must be 1 or more", found=f"{ratio:g}", write="ratio = 87.1 for 1:87.1")
    if not (math.isfinite(gauge) and gauge > 0):
        raise PlanError("gauge must be wider than 0", found=f"{gauge:g} m", write='gauge = "16.5 mm"')
    if ratio * gauge > _WIDEST_GAUGE:
        raise PlanError(
            f"no railway has a gauge of {ratio * gauge:.4g} m, which this is at full size",
            found=f"ratio {ratio:g} and gauge {gauge * 1000:g} mm",
            write='the gauge of the model with its unit, as in gauge = "16.5 mm"',
        )
    return _scale(f"1:{ratio:g}", {}, float(ratio), float(gauge), _table())


def car_mass(scale: Scale, length: float, practice: Practice) -> Kilograms:
    """Return the mass, kg, that a practice lays down for a car of this length over couplers, m.

    NMRA RP-20.1 [1]_: a first mass and a mass per length of the car's body, the total of the car. NEM 302 [2]_: a
    least mass per length over buffers. The length known here is the one over couplers, which is longer than either,
    so the mass comes out on the heavy side: the load that a locomotive is said to lift errs on the safe side.

    Raises
    ------
    PlanError
        If the practice has no weight for the scale, or the length is not positive.

    References
    ----------
    .. [1] NMRA RP-20.1, car weight.
    .. [2] NEM 302, mass of cars, edition 2015.
    """
    if not (math.isfinite(length) and length > 0):
        raise PlanError("length must be more than 0", found=f"{length:g} m", write="the length over couplers")
    if practice == "NMRA" and scale.nmra_weight is not None:
        first, per_length = scale.nmra_weight
        return first + per_length * length
    if practice == "NEM" and scale.nem_weight is not None:
        return scale.nem_weight * length
    other = "NMRA" if scale.nmra_weight is not None else "NEM" if scale.nem_weight is not None else ""
    raise PlanError(
        f"{practice} has no weight for cars in {scale.name}",
        write='mass = "…" with what the car weighs, in g or oz'
        + (f', or practice = "{other}", which has one' if other else ""),
    )


def clear_height(scale: Scale, practice: Practice) -> Meters:
    """Return the free height above railhead, m, that a practice keeps under a bridge or another track.

    NEM: clear space without overhead wire (NEM 102). NMRA: the column of S-7 that leaves room for tall modern
    stock. Where the practice has none for the scale, the other's holds.

    Raises
    ------
    PlanError
        Neither has a height for the scale, which happens to scales made by hand only.
    """
    heights = (scale.nmra_clear_height, scale.clear_height)
    for height in heights if practice == "NMRA" else reversed(heights):
        if height is not None:
            return height
    raise PlanError(f"no practice has a clear height for {scale.name}", write="the height to be kept free")


def track_centers(scale: Scale, practice: Practice) -> tuple[Meters, str]:
    """Return the distance between the centers of straight parallel tracks that a practice wants, m, and its source.

    NEM: NEM 112. NMRA: the wider column of S-8. Where the practice has none, which happens to scales made by hand only,
    the distance at which stock clears stock.
    """
    field = "nmra_track_centers" if practice == "NMRA" else "track_centers"
    value: float | None = getattr(scale, field)
    return (scale.fouling_distance, "") if value is None else (value, scale.source(field))


def _plain(name: str) -> str:
    """Return a name without case, outer blanks and the words scale and gauge."""
    key = name.strip().casefold()
    for word in ("scale", "gauge"):
        if key.endswith((f" {word}", f"-{word}")):
            return key[: -len(word) - 1].strip()
    return key


@cache
def _table() -> Mapping[str, Any]:
    """Return the table as it is written; read at the first use."""
    import tomllib
    from importlib.resources import files

    return tomllib.loads(files("gradehaul").joinpath("scales.toml").read_text(encoding="utf-8"))


@cache
def _scales() -> Mapping[str, Scale]:
    table = _table()
    return {
        name: _scale(name, row, float(row["ratio"]["value"]), _length(row["gauge"], row["ratio"]["value"]), table)
        for name, row in table["scale"].items()
    }


@cache
def _spellings() -> Mapping[str, str]:
    return {_plain(spelling): scale.name for scale in _scales().values() for spelling in (scale.name, *scale.aliases)}


def _length(figure: Mapping[str, Any], ratio: float) -> float:
    """Return a length of the table in m."""
    if "mm" in figure:
        return float(figure["mm"]) / 1000
    if "inch" in figure:
        return float(figure["inch"]) * INCH
    return float(figure["full_size_inch"]) * INCH / ratio


def _scale(name: str, row: Mapping[str, Any], ratio: float, gauge: float, table: Mapping[str, Any]) -> Scale:
    """Return the scale of one row; lengths that the row leaves out are full-size ones over the ratio."""
    full_size = table["full_size"]
    lengths = {
        field: _length(row[field], ratio) if field in row else _length(figure, 1.0) / ratio
        for field, figure in full_size.items()
    }
    cited = {field: table["source"][figure["source"]] + ", over the ratio" for field, figure in full_size.items()} | {
        field: table["source"][figure["source"]] for field, figure in row.items() if isinstance(figure, dict)
    }
    cited["side_clearance"] = f"{cited['clear_width']}, less the stock's width, halved"
    del cited["clear_width"]
    clear_width = lengths.pop("clear_width")

    radii: dict[str, Radii] = {}
    if row.get("nem_111"):
        by_track = table["least_radius"]
        fields = {"permitted": "permitted_radii", "branch": "branch_radii", "buffers": "buffer_radii"}
        radii = {field: Radii(*(factor * gauge for factor in by_track[key])) for key, field in fields.items()}
        cited |= dict.fromkeys(radii, table["source"][by_track["source"]])

    figures: dict[str, Any] = {**lengths, **radii}
    nmra, nem = row.get("nmra_weight"), row.get("nem_weight")
    return Scale(
        name=name,
        ratio=ratio,
        gauge=gauge,
        nmra_weight=nmra and (nmra["first_oz"] * _OUNCE, nmra["oz_per_inch"] * _OUNCE / INCH),
        nem_weight=nem and float(nem["g_per_mm"]),  # 1 g/mm is 1 kg/m
        side_clearance=(clear_width - lengths["stock_width"]) / 2,
        aliases=tuple(row.get("aliases", ())),
        sources=tuple(cited.items()),
        **figures,
    )

"""Frozen mappings: the dictionaries of a record made read-only, so that the whole record is frozen."""

from __future__ import annotations

import copyreg
from collections.abc import Mapping
from dataclasses import fields
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def _view(mapping: dict[str, object]) -> MappingProxyType[str, object]:
    return MappingProxyType(mapping)


# A view can be neither copied nor pickled by itself; a plan can.
copyreg.pickle(MappingProxyType, lambda view: (_view, (dict(view),)))


def freeze_mappings(record: DataclassInstance) -> None:
    """Replace each mapping of a frozen record, as it is made, by a read-only view of a copy.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> read_plan('scale = "HO"').cars["ore"] = None
    Traceback (most recent call last):
    ...
    TypeError: 'mappingproxy' object does not support item assignment
    """
    for each in fields(record):
        value = getattr(record, each.name)
        if isinstance(value, Mapping) and not isinstance(value, MappingProxyType):
            object.__setattr__(record, each.name, MappingProxyType(dict(value)))

"""The whole plan of the documentation, and plans as text."""

import json
from pathlib import Path

TEXT = (Path(__file__).parent / "whole_example.toml").read_text("utf-8")

HEAD = 'scale = "HO"\nunit = "in"\n'

FORK = """
[line.Main]
from = "Wharf"
to = "Junction"
track = [ { straight = 30 } ]
[line.Hill]
from = "Junction"
to = "Summit"
track = [ { straight = 30 } ]
[line.Spur]
from = "Junction"
to = "Quarry"
track = [ { straight = 30 } ]
"""


def one_line(*tracks, keys=""):
    """A plan of one line, from its tracks as they are written."""
    return f'{HEAD}[line.Main]\nfrom = "Wharf"\nto = "Summit"\ntrack = [ {", ".join(tracks)} ]\n{keys}\n'


def value_text(value):
    """A value as TOML, tables in braces."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {value_text(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(value_text, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value).replace("\x7f", "\\u007f")
    return repr(value)


def plan_text(tables):
    """Tables as the text of a plan."""
    return "".join(f"{json.dumps(key)} = {value_text(value)}\n" for key, value in tables.items())

"""The page's own files: styles, scripts and templates, and the policy that lets these and no others run."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined, Template
from markupsafe import Markup

_HOME = "gradehaul.show.report"

SHARED = (
    "haulage.js",
    "unit_format.js",
    "words.js",
    "drawing.js",
    "trial.js",
    "outcomes.js",
    "places.js",
    "section.js",
    "zoom.js",
    "handles.js",
    "plan_view.js",
    "workbench.js",
    "desk.js",
)
"""The scripts that the report and the live page share, in the order in which one needs the other."""


@cache
def asset(name: str, room: str = _HOME) -> str:
    """Return a file of the page as text: of a room with a page of its own where it has one so named."""
    own = files(room) / "web" / name
    return (own if own.is_file() else files(_HOME) / "web" / name).read_text(encoding="utf-8")


def script_of(names: Sequence[str], room: str = _HOME) -> str:
    """Return several scripts as one."""
    return '"use strict";\n' + "\n".join(asset(name, room) for name in names)


@cache
def template(name: str, room: str = _HOME) -> Template:
    """Return a template; what it is filled with is text and never markup."""
    environment = Environment(
        loader=FunctionLoader(lambda part: asset(part, room)),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    return environment.get_template(name)


def policy(style: str, script: str, *more: str) -> str:
    """Return the content policy of a page with one style and one script in it, and further rules."""

    def known(text: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"

    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {known(script)}",
            f"style-src {known(style)}",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
            *more,
        )
    )


def trusted(text: str) -> Markup:
    """Return one of our own files as markup."""
    return Markup(text)  # noqa: S704 - our own file


def json_in_html(document: Any) -> Markup:  # noqa: ANN401 - anything that JSON can hold
    """Return a document as JSON that no text in it can end or turn into markup."""
    text = json.dumps(document, separators=(",", ":"), allow_nan=False)
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)  # noqa: S704 - nothing in it is markup now

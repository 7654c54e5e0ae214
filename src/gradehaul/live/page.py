"""The live page: the report's scripts and styles with one screen of its own; its answers come by the stream."""

from __future__ import annotations

from functools import cache

from gradehaul import __version__
from gradehaul.show.report.assets import SHARED, asset, policy, script_of, template, trusted
from gradehaul.show.report.page import TRAIN_KEY

ROOM = "gradehaul.live"

_OWN = ("connect-src 'self'", "frame-ancestors 'none'")


@cache
def assembled(script: str) -> tuple[str, str, str]:
    """Return the style, the scripts with a page's own last, and the policy for both."""
    shared = SHARED if script == "live.js" else ()
    style, code = asset("page.css") + asset("live.css", ROOM), script_of((*shared, script), ROOM)
    return style, code, policy(style, code, *_OWN)


def live_page(plan: str) -> tuple[str, str]:
    """Return the page of a plan as HTML, and its content policy."""
    style, script, rules = assembled("live.js")
    html = template("live.html", ROOM).render(
        style=trusted(style),
        script=trusted(script),
        policy=rules.partition("; frame-ancestors")[0],
        plan=plan,
        train_key=TRAIN_KEY,
        version=__version__,
    )
    return html, rules

"""A live page on a copy of a plan, with a real server, on a free port of this machine."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

from gradehaul.live.app import Shown
from gradehaul.live.serving import Service
from project import PLANS

HILL = """# A hill to try things on.
scale = "HO"
unit = "mm"
include = ["stock.toml"]

[railhead]
Foot = 0      # the yard
Top  = 60     # the summit

[line.Yard]
from = "End"
to = "Foot"
track = [ { straight = 4000 }, { straight = 2500 } ]

[line.Hill]
from = "Foot"
to = "Top"
track = [ { straight = 1200 }, { name = "Bend", left = 600, angle = 90 } ]

[rail.film]
metal = { fresh = 0.75, settled = 0.85 }
tyred = { fresh = 0.50, settled = 0.65 }

[route.Up]
from = "End"
to = "Top"

[train.ore]
route = "Up"
consist = ["tank", "4 hopper"]
"""
STOCK = """
[loco.tank]
mass = "300 g"
length = 150
pull.clean = ["60 gf", "61 gf"]
[car.hopper]
mass = "100 g"
length = 130
"""


@dataclass
class Served:
    """A server that runs, and the plan that it shows."""

    service: Service
    plan: Path

    @property
    def url(self) -> str:
        return self.service.url

    def request(self, method: str, path: str = "", **more: object) -> httpx.Response:
        headers = {"origin": self.url.rsplit("/", 2)[0], **more.pop("headers", {})}  # type: ignore[dict-item]
        return httpx.request(method, self.url + path, headers=headers, timeout=60, **more)  # type: ignore[arg-type]

    def post(self, path: str, body: object, **more: object) -> httpx.Response:
        return self.request("POST", path, json=body, **more)


Serve = Callable[..., Served]


@contextmanager
def serving(tmp_path: Path) -> Iterator[Serve]:
    """Yield a function that serves a plan of the demo plans by name, or the small hill."""
    running: list[tuple[Service, threading.Thread]] = []

    def start(name: str = "", *, text: str = HILL, whole_folder: bool = False) -> Served:
        folder = tmp_path / f"plans {len(running)}"
        if name:
            shutil.copytree(PLANS, folder)
        else:
            folder.mkdir()
            (folder / "hill.toml").write_text(text, encoding="utf-8")
            (folder / "stock.toml").write_text(STOCK, encoding="utf-8")
        plan = folder / (f"{name}.toml" if name else "hill.toml")
        up = threading.Event()
        service = Service(Shown(folder, "" if whole_folder else plan.name))
        thread = threading.Thread(target=service.run, args=(up.set,), daemon=True)
        thread.start()
        assert up.wait(60)
        running.append((service, thread))
        return Served(service, plan)

    try:
        yield start
    finally:
        for service, _ in running:
            service.stop()
        for _, thread in running:
            thread.join(60)
            assert not thread.is_alive()

"""The requests of the live page: the page itself, its stream of answers, a trial, and writing on demand."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp
from watchfiles import awatch

from gradehaul.errors import GradehaulError
from gradehaul.live import plan_files
from gradehaul.live.guard import Guard
from gradehaul.live.pages import begun, drawn, headline, live_page, plans_in, start_page
from gradehaul.live.plan_files import Followed
from gradehaul.live.session import MOST_PAGES, Session, Worker
from gradehaul.plan.edit.trial import TrialHeights

IDLE = 300.0
"""How long the server waits after its last page has gone, s."""

_BEAT = 15.0
"""How often a quiet stream says that it is there, s, so that a page that has gone is noticed."""

_GROUP, _STEP = 30, 10
"""How long changes of files are gathered, and how long a pause ends that, ms."""

_LOOK = 1000
"""How often files are looked at without being called, ms: not every disk calls."""

_MOST_CHANGES = 20_000
_FARTHEST = 1e6
"""Railheads that are tried lie below this, m; nor is NaN below it."""


class Bad(Exception):  # noqa: N818 - it becomes an answer
    """A request that the page does not make."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What the server shows: a folder, and the one plan of it, or all where `plan` is empty."""

    folder: Path
    plan: str = ""


class Live:
    """The server's state: the sessions, one for each plan that is looked at, and who computes.

    It calls `stop` some minutes after its last page has gone, unless it is to `stay`.
    """

    def __init__(self, shown: Shown, *, stay: bool, stop: Callable[[], None]) -> None:
        self.shown = shown
        self._stay = stay
        self._stop = stop
        self._worker = Worker()
        self._sessions: dict[str, Session] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._gone: float | None = None
        self._closing = False

    def app(self, token: str, known_host: Callable[[str], bool]) -> ASGIApp:
        """Return the guarded application."""
        routes = [
            Route("/", self._page),
            Route("/events", self._events),
            Route("/headline", _answering(self._headline)),
            *(
                Route(f"/{name}", _answering(function), methods=["POST"])
                for name, function in (
                    ("trial", self._trial),
                    ("diff", self._diff),
                    ("write", self._write),
                    ("save", self._save),
                    ("copy", self._copy),
                    ("new", self._new),
                    ("drawing", self._drawing),
                )
            ),
        ]
        return Guard(Starlette(routes=routes, lifespan=self._lifespan), token, known_host)

    @contextlib.asynccontextmanager
    async def _lifespan(self, _app: Starlette) -> AsyncIterator[None]:
        self._begin(self._idle())
        try:
            yield
        finally:
            self.close()

    def close(self) -> None:
        """End all streams, so that the server can end."""
        self._closing = True
        self._worker.close()
        for task in self._tasks:
            task.cancel()
        for session in self._sessions.values():
            for page in session.pages.values():
                page.close()

    def _begin(self, work: Any) -> None:  # noqa: ANN401 - a coroutine
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _idle(self) -> None:
        while not self._stay:
            await asyncio.sleep(1)
            if self.idle():
                self._stop()

    def idle(self) -> bool:
        """Return whether the last page went some minutes ago."""
        if any(session.pages for session in self._sessions.values()):
            self._gone = None
        return self._gone is not None and monotonic() - self._gone > IDLE

    # sessions

    def _name(self, request: Request) -> str:
        name = self.shown.plan or request.query_params.get("plan", "")
        if not self.shown.plan and name not in plans_in(self.shown.folder):
            raise Bad("This folder has no such plan.")
        return name

    def _session(self, request: Request) -> Session:
        name = self._name(request)
        if name not in self._sessions:
            followed = Followed(self.shown.folder / name, name)
            call = asyncio.get_running_loop().call_soon_threadsafe
            self._sessions[name] = Session(followed, self._worker, call)
            self._begin(_follow(self._sessions[name]))
        return self._sessions[name]

    def _path(self, request: Request) -> Path:
        return self.shown.folder / self._name(request)

    # pages

    async def _page(self, request: Request) -> Response:
        try:
            name = self._name(request)
        except Bad as bad:
            if "plan" in request.query_params:
                return PlainTextResponse(str(bad), 404)
            html, policy = start_page(self.shown.folder)
        else:
            html, policy = live_page(name)
        return HTMLResponse(html, headers={"content-security-policy": policy})

    async def _events(self, request: Request) -> Response:
        try:
            session = self._session(request)
        except Bad as bad:
            return PlainTextResponse(str(bad), 404)
        name = request.query_params.get("page", "")[:60]
        if self._closing or (name not in session.pages and len(session.pages) >= MOST_PAGES):
            return PlainTextResponse(f"At most {MOST_PAGES} pages may be open on one plan.", 503)

        async def stream() -> AsyncIterator[str]:
            page = session.open(name)
            try:
                yield "retry: 500\n\n"
                while not page.closed:
                    try:
                        await asyncio.wait_for(page.arrived.wait(), _BEAT)
                    except TimeoutError:
                        yield ": here\n\n"
                        continue
                    page.arrived.clear()
                    while page.waiting:
                        yield f"data: {page.waiting.popitem(last=False)[1]}\n\n"
                if self._closing:
                    yield 'data: {"kind":"closed"}\n\n'
            finally:
                session.leave(page)
                self._gone = monotonic()

        return StreamingResponse(stream(), media_type="text/event-stream")

    async def _headline(self, request: Request) -> dict[str, Any]:
        return {"headline": await asyncio.to_thread(headline, self._path(request))}

    # what the page requests

    async def _trial(self, request: Request) -> dict[str, Any]:
        body = await _body(request)
        if not self._session(request).attempt(str(body.get("page", "")), _trial_of(body)):
            raise Bad("This page is not open any more; load it again.")
        return {}

    async def _diff(self, request: Request) -> dict[str, Any]:
        before, after, digest = plan_files.proposed(self._path(request), _trial_of(await _body(request)))
        return {"diff": plan_files.diff(before, after), "digest": digest}

    async def _write(self, request: Request) -> dict[str, Any]:
        body, path = await _body(request), self._path(request)
        _, after, _ = plan_files.proposed(path, _trial_of(body))
        return {"digest": plan_files.write_text(path, after, str(body.get("digest")))}

    async def _save(self, request: Request) -> dict[str, Any]:
        body = await _body(request)
        text, digest = body.get("text"), body.get("digest")
        if not isinstance(text, str) or not isinstance(digest, str):
            raise Bad("There is no text to save.")
        return {"digest": plan_files.write_text(self._path(request), text, digest)}

    async def _copy(self, request: Request) -> dict[str, Any]:
        body, path = await _body(request), self._path(request)
        _, after, _ = plan_files.proposed(path, _trial_of(body))
        return {"name": plan_files.write_copy(path, str(body.get("name", "")), after).name}

    async def _new(self, request: Request) -> dict[str, Any]:
        body = await _body(request)
        fields = {key: str(body.get(key, "")) for key in ("name", "layout", "scale", "unit")}
        self._only_folder()
        return {"name": begun(self.shown.folder, **fields)}

    async def _drawing(self, request: Request) -> dict[str, Any]:
        self._only_folder()
        fields = {key: request.query_params.get(key, "") for key in ("name", "scale")}
        data = await request.body()
        return await asyncio.to_thread(drawn, self.shown.folder, data, **fields)

    def _only_folder(self) -> None:
        if self.shown.plan:
            raise Bad("This page shows one plan.")


async def _follow(session: Session) -> None:
    """Answer anew whenever a file of a session's plan has changed; folders are watched, as editors save by renaming."""
    followed = session.followed
    while True:
        folders = followed.folders
        if not folders:
            await asyncio.sleep(0.5)
            session.look()
            continue
        watch = awatch(
            *folders,
            watch_filter=None,
            recursive=False,
            debounce=_GROUP,
            step=_STEP,
            rust_timeout=_LOOK,
            yield_on_timeout=True,
            ignore_permission_denied=True,
        )
        try:
            async for _ in watch:
                session.look()
                if followed.folders != folders:
                    break
        except OSError:  # the folder went while it was watched
            await asyncio.sleep(0.5)


def _answering(function: Callable[[Request], Awaitable[dict[str, Any]]]) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that answers with JSON, also where something is wrong."""

    async def endpoint(request: Request) -> Response:
        try:
            return JSONResponse(await function(request))
        except Bad as bad:
            return JSONResponse({"wrong": str(bad)}, 400)
        except GradehaulError as error:
            return JSONResponse({"wrong": str(error)}, 409)
        except OSError as error:
            file = f"{Path(error.filename).name}: " if error.filename else ""
            return JSONResponse({"wrong": f"{file}{error.strerror or error}; the file is as it was"}, 409)
        except UnicodeDecodeError:
            return JSONResponse({"wrong": "the file is not UTF-8 text"}, 409)
        except UnicodeError:  # half a sign, which a request may have escaped
            return JSONResponse({"wrong": "the text is not UTF-8"}, 400)

    return endpoint


async def _body(request: Request) -> dict[str, Any]:
    if request.headers.get("content-type", "").partition(";")[0] != "application/json":
        raise Bad("A request must be JSON.")
    try:
        body = json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise Bad("A request must be JSON.") from error
    if not isinstance(body, dict):
        raise Bad("A request must be JSON.")
    return body


def _trial_of(body: dict[str, Any]) -> TrialHeights:
    """Return the trial in a request, which may be anybody's."""
    raw = body.get("trial", {})
    heights, rails = (raw.get(key, {}) if isinstance(raw, dict) else None for key in ("heights", "rails"))
    if not isinstance(heights, dict) or not isinstance(rails, dict) or len(heights) + len(rails) > _MOST_CHANGES:
        raise Bad("These are not changes to a plan.")
    hours = raw.get("hours")
    numbers = all(
        isinstance(each, int | float) and abs(each) < _FARTHEST
        for each in (*heights.values(), *([] if hours is None else [hours]))
    )
    if not numbers or not all(isinstance(each, str) for each in rails.values()):
        raise Bad("These are not changes to a plan.")
    return TrialHeights({key: float(height) for key, height in heights.items()}, rails, hours)

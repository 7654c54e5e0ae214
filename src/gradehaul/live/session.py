"""One plan that pages look at: what each of them tries and is sent, and the one thread that works it out."""

from __future__ import annotations

import asyncio
import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gradehaul.errors import GradehaulError, Problems
from gradehaul.haulage.answers.judged import TrainAnswer, worst_of_each
from gradehaul.haulage.verdict import Outcome
from gradehaul.live.answers import Part, Stated, parts, stated
from gradehaul.live.plan_files import Followed, Reading
from gradehaul.plan.edit.trial import TrialHeights
from gradehaul.show.base.labels import from_to
from gradehaul.show.base.unit_format import UnitFormat, units_for
from gradehaul.show.check.outcome_words import outcome_piece

MOST_PAGES = 30
"""Pages that may be open on one plan at once."""

_MOST_TEXT = 1_000_000
"""The longest text that the page's pane holds, in letters."""

_MOST_FAULTS = 50


@dataclass(slots=True, eq=False)
class Page:
    """An open page: what it tries, and what it is still to be sent, the newest of each kind."""

    name: str
    trial: TrialHeights = field(default_factory=TrialHeights)
    waiting: OrderedDict[str, str] = field(default_factory=OrderedDict)
    arrived: asyncio.Event = field(default_factory=asyncio.Event)
    closed: bool = False
    digest: str | None = None
    """Of the text that it has."""
    shown: Stated | None = None
    """What it shows, without what it tries."""

    def put(self, kind: str, text: str) -> None:
        """Have a part sent; what it takes the place of is not."""
        if kind in ("answer", "fault", "refused"):
            for old in ("answer", "fault", "refused", "view", "heights", "chances", "film"):
                self.waiting.pop(old, None)
        self.waiting.pop(kind, None)
        self.waiting[kind] = text
        self.arrived.set()

    def close(self) -> None:
        """Send no more: the page is gone, or another stream has taken its place."""
        self.closed = True
        self.arrived.set()


class Session:
    """A plan, followed, with the pages that look at it; `call` calls a function in the server's own thread."""

    def __init__(self, followed: Followed, worker: Worker, call: Callable[..., object]) -> None:
        self.followed = followed
        self.pages: dict[str, Page] = {}
        self._worker = worker
        self._call = call
        self._reading: Reading | None = None
        self._good: Stated | None = None
        self._faults: tuple[GradehaulError, ...] = ()

    # what follows runs in the server's own thread

    def open(self, name: str) -> Page:
        """Return a new stream for a page; one that is open under its name ends, and what it tries stays."""
        page = Page(name)
        if name in self.pages:
            page.trial = self.pages[name].trial
            self.pages[name].close()
        self.pages[name] = page
        self._answer_anew(page)
        return page

    def leave(self, page: Page) -> None:
        """Forget a page whose stream has ended."""
        page.close()
        if self.pages.get(page.name) is page:
            del self.pages[page.name]
            self._worker.drop(self._client(page))

    def attempt(self, name: str, trial: TrialHeights) -> bool:
        """Answer for what a page tries; False where no such page is open."""
        page = self.pages.get(name)
        if page is None:
            return False
        page.trial = trial
        self._answer_anew(page)
        return True

    def look(self) -> None:
        """Answer every page anew where a file has changed since it was read."""
        if self._reading is not None and self._reading.stamp != self.followed.stamp():
            for page in self.pages.values():
                self._answer_anew(page)

    def _client(self, page: Page) -> str:
        return f"{self.followed.path}\0{page.name}"

    def _answer_anew(self, page: Page) -> None:
        trial = page.trial

        def deliver(part: Part) -> None:
            text = json.dumps(part, separators=(",", ":"), allow_nan=False)
            self._call(page.put, part["kind"], text)

        self._worker.request(self._client(page), lambda: self._parts(page, trial), deliver)

    # what follows runs in the worker's thread

    def _parts(self, page: Page, trial: TrialHeights) -> Iterator[Part]:
        self.refresh()
        assert self._reading is not None
        if self._faults:
            lines = [_line(error) for error in self._faults[:_MOST_FAULTS]]
            more = len(self._faults) - len(lines)
            if page.shown is None and self._good is not None:
                yield from self._answer(page, trial)
            yield {"kind": "fault", "lines": lines, "more": more}
            yield from self._text(page)
            return
        answer = self._answer(page, trial)
        yield next(answer)
        yield from self._text(page)
        yield from answer

    def _answer(self, page: Page, trial: TrialHeights) -> Iterator[Part]:
        good = self._good
        assert good is not None
        before = None if page.shown is good else page.shown
        for part in parts(good, trial):
            if part["kind"] == "answer":
                page.shown = good
                units = units_for(good.plan)
                part["changes"] = [] if before is None else list(changes(before.judged, good.judged, units))
                part["file"] = self.followed.path.name
            yield part

    def _text(self, page: Page) -> Iterator[Part]:
        assert self._reading is not None
        if page.digest != self._reading.digest:
            page.digest = self._reading.digest
            long = len(self._reading.text) > _MOST_TEXT
            yield {"kind": "text", "digest": page.digest, "long": long, "text": "" if long else self._reading.text}

    def refresh(self) -> Reading:
        """Return what the files say, read anew where they have changed."""
        if self._reading is None or self._reading.stamp != self.followed.stamp():
            reading = self.followed.read()
            self._faults = reading.faults
            if reading.plan is not None:
                try:
                    self._good = stated(reading.plan)
                except Problems as problems:
                    self._faults = problems.errors
                except GradehaulError as error:
                    self._faults = (error,)
            self._reading = reading
        return self._reading


def _line(error: GradehaulError) -> Mapping[str, Any]:
    """Return a fault as the page shows it: its words, and the line of which file it stands at, where that is known."""
    file, _, rest = error.file.rpartition(":")
    known = bool(file) and rest.isdigit()
    return {"text": str(error), "file": file if known else error.file, "line": int(rest) if known else None}


_UNFIT: Outcome = "too long"
"""The outcome that no pull to spare says anything of."""


def _said(train: TrainAnswer) -> str:
    return outcome_piece(train.outcome, train.verdict)[0].lower()


def changes(before: Sequence[TrainAnswer], after: Sequence[TrainAnswer], units: UnitFormat) -> Iterator[str]:
    """Yield a line for each train that a save changed, for each new one, and for each that is gone.

    Both lists have the trains on the judged rail conditions.
    """
    was, now = ({train.name: train for train in worst_of_each(trains)} for trains in (before, after))
    for name, train in now.items():
        if name not in was:
            spare = train.verdict.spare
            words = f"{units.force(-spare)} short" if spare < 0 else f"{units.force(spare)} to spare"
            yield f"{name}: new, {_said(train)}{'' if train.outcome == _UNFIT else f', {words}'}"
            continue
        old = was[name]
        forces = units.force(old.verdict.spare), units.force(train.verdict.spare)
        compared = forces[0] != forces[1] and _UNFIT not in (old.outcome, train.outcome)
        lines = [from_to(*forces)] if compared else []
        lines += [f"was {_said(old)}, now {_said(train)}"] if _said(old) != _said(train) else []
        if lines:
            yield f"{name}: {'; '.join(lines)}"
    yield from (f"{name}: gone" for name in was if name not in now)


Work = Callable[[], Iterator[Part]]
Deliver = Callable[[Part], None]


class Worker:
    """The one thread that computes: it runs the work of one client after another, part by part.

    A client has one piece of work at a time. A new request of its is begun before any older work goes on.
    """

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._new: OrderedDict[str, tuple[Work, Deliver]] = OrderedDict()
        self._begun: OrderedDict[str, tuple[Iterator[Part], Deliver]] = OrderedDict()
        self._closed = False
        self._current = ""
        # a daemon, so that a drawing that takes half a minute does not keep the program from ending
        self._thread = threading.Thread(target=self._run, name="gradehaul-live", daemon=True)
        self._thread.start()

    def request(self, client: str, work: Work, deliver: Deliver) -> None:
        """Have work done for a client, in the place of its request before."""
        with self._changed:
            self._forget(client)
            self._new[client] = work, deliver
            self._changed.notify()

    def drop(self, client: str) -> None:
        """Forget the work of a client that is gone."""
        with self._changed:
            self._forget(client)

    def _forget(self, client: str) -> None:
        self._begun.pop(client, None)
        self._new.pop(client, None)
        if self._current == client:
            self._current = ""

    def close(self) -> None:
        """Begin and deliver nothing any more."""
        with self._changed:
            self._closed = True
            self._changed.notify()

    def _run(self) -> None:
        while True:
            with self._changed:
                while not (self._new or self._begun or self._closed):
                    self._changed.wait()
                if self._closed:
                    return
                if self._new:
                    client, (work, deliver) = self._new.popitem(last=False)
                    stream = work()
                else:
                    client, (stream, deliver) = self._begun.popitem(last=False)
                self._current = client
            try:
                part = next(stream, None)
            except Exception as error:  # noqa: BLE001 - whatever it is, the next request is answered again
                words = f"this cannot be answered, by a fault of the program: {type(error).__name__}: {error}"
                part = {"kind": "fault", "lines": [{"text": words, "file": "", "line": None}], "more": 0}
                stream = iter(())
            if part is None:
                continue
            with self._changed:  # whoever closes it may end the server's loop next
                if self._closed:
                    return
                deliver(part)  # though something newer may wait: it is newer than what is shown
                if self._current == client:
                    self._begun[client] = stream, deliver

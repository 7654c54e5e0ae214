"""The one thread that computes: a newer request takes the place of a waiting one, and outcomes go before the rest."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator

from gradehaul.live.answers import Part

Work = Callable[[], Iterator[Part]]
Deliver = Callable[[Part], None]


class Worker:
    """Runs the work of one client after another, part by part.

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

"""Serving the live page: a free port of this machine, a link with a token, and an end with Ctrl-C."""

from __future__ import annotations

import io
import ipaddress
import secrets
import socket
import webbrowser
from collections.abc import Callable
from typing import Any

import uvicorn

from gradehaul.live.app import Live, Shown

LOOPBACK = "127.0.0.1"


class _Server(uvicorn.Server):
    """A server that ends quietly when it is stopped from the keyboard."""

    live: Live
    started_call: Callable[[], None] = staticmethod(lambda: None)

    def handle_exit(self, sig: int, frame: Any) -> None:  # noqa: ANN401, ARG002 - as uvicorn has it
        """End, the second time without waiting for anything."""
        self.force_exit = self.should_exit
        self.should_exit = True

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to answer, and then say so."""
        await super().startup(sockets)
        self.started_call()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams first: a page keeps its own open for as long as it can."""
        self.live.close()
        await super().shutdown(sockets)


class Service:
    """A server for one folder or plan, at a host and a port, a free one where that is 0.

    Raises
    ------
    OSError
        The port is taken, or the host is none of this machine.
    """

    def __init__(self, shown: Shown, *, host: str = LOOPBACK, port: int = 0, stay: bool = False) -> None:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._socket = socket.create_server((host, port), family=family)
        self.port = self._socket.getsockname()[1]
        self._host = host
        token = secrets.token_urlsafe(18)
        reached = _reached(host)
        self.url = f"http://{f'[{reached}]' if ':' in reached else reached}:{self.port}/{token}/"
        live = Live(shown, stay=stay, stop=self.stop)
        config = uvicorn.Config(
            live.app(token, self._known),
            log_level="critical",
            access_log=False,
            server_header=False,
            date_header=False,
            ws="none",
            loop="asyncio",
            timeout_graceful_shutdown=1,
            lifespan="on",
        )
        self._server = _Server(config)
        self._server.live = live

    def _known(self, host: str) -> bool:
        """Return whether the page may be requested under a host: by its number, which no foreign name can take."""
        name, _, port = host.rpartition(":")
        if port != str(self.port):
            return False
        if name in ("localhost", self._host):
            return True
        try:
            address = ipaddress.ip_address(name.strip("[]"))
        except ValueError:
            return False
        return address.is_loopback or not ipaddress.ip_address(_number(self._host)).is_loopback

    def run(self, started: Callable[[], None] = lambda: None) -> None:
        """Answer until stopped; `started` is called once it does."""
        self._server.started_call = started
        self._server.run(sockets=[self._socket])

    def stop(self) -> None:
        """End soon."""
        self._server.should_exit = True


def open_in_browser(url: str) -> bool:
    """Open a link in the reader's browser and return whether one could be started."""
    try:
        return webbrowser.open(url)
    except webbrowser.Error:
        return False


def as_picture(url: str) -> str:
    """Return a link as a picture of letters that a phone reads.

    Examples
    --------
    >>> len(as_picture("http://192.168.0.7:8000/key/").splitlines()) > 10
    True
    """
    import segno

    text = io.StringIO()
    segno.make(url, micro=False).terminal(text, compact=True)
    return text.getvalue()


def _number(host: str) -> str:
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        return socket.gethostbyname(host)


def _reached(host: str) -> str:
    """Return the address under which others reach a host that stands for all addresses of this machine."""
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared, not listened on
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation: nothing is sent
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK

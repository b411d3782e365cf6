"""The server: on this computer's loopback always, on the local network only while phones are let in."""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import json
import os
import secrets
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from types import FrameType
from typing import Any

from django.conf import settings
from waitress.server import create_server

from wetmount.errors import InputError

USUAL_PORT = 8377
IDENT = f"wetmount {secrets.token_hex(4)}"
"""Drawn at each start, so that a second `wetmount open` knows whether the server it meets is of its own casebook."""
MAX_BODY_BYTES = 300_000_000
THREADS = 8
LOOPBACK = "127.0.0.1"
_RUNNING = "running.json"

Application = Callable[..., Any]


class Listener:
    """A running casebook."""

    def __init__(self, application: Application, port: int | None) -> None:
        self.application = application
        self.local = _serving(application, _on_loopback(port))
        self.port = int(self.local.effective_port)
        self.lan: Any = None
        self.lan_host: str | None = None

    @property
    def address(self) -> str:
        return f"http://{LOOPBACK}:{self.port}"

    @property
    def lan_address(self) -> str | None:
        return f"http://{self.lan_host}:{self.port}" if self.lan_host else None

    def let_phones_in(self, host: str | None = None) -> str:
        """Listen on the local network too; the address there. Raises `InputError` when there is no network."""
        if self.lan_address is not None:
            return self.lan_address
        host = host or lan_host()
        if host is None:
            raise InputError("this computer has no address on a local network; connect it, then try again")
        try:
            self.lan = _serving(self.application, _bound(host, self.port))
        except OSError as error:
            raise InputError(f"could not listen on {host}: {error.strerror}") from None
        self.lan_host = host
        settings.ALLOWED_HOSTS.append(host)
        threading.Thread(target=self.lan.run, name="local network", daemon=True).start()
        return self.lan_address or ""

    def shut_phones_out(self) -> None:
        """Stop listening on the local network. Paired phones stay paired for the next time."""
        if self.lan_host is None:
            return
        settings.ALLOWED_HOSTS.remove(self.lan_host)
        server, self.lan, self.lan_host = self.lan, None, None
        server.close()

    def run(self, ready: Callable[[], None]) -> None:
        """Call `ready`, then serve until Ctrl-C or SIGTERM; what is being saved is finished first."""

        def stop(signum: int, frame: FrameType | None) -> None:
            raise KeyboardInterrupt

        if threading.current_thread() is threading.main_thread():
            # a shell starts what it puts in the background with Ctrl-C ignored
            for how in (signal.SIGTERM, signal.SIGINT):
                signal.signal(how, stop)
        with contextlib.suppress(KeyboardInterrupt):
            ready()
            self.local.run()
        self.shut_phones_out()
        self.local.close()


current: Listener | None = None
"""The listener of this process, if it serves."""


def phones_are_let_in() -> bool:
    """Whether requests from the local network are answered at all."""
    return current is not None and current.lan_host is not None


def _serving(application: Application, listening: socket.socket) -> Any:
    # Each with a map of its own, so that one can be closed while the other goes on.
    return create_server(
        application, map={}, sockets=[listening], threads=THREADS, ident=IDENT, max_request_body_size=MAX_BODY_BYTES
    )


def _bound(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere this would let two programs share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(128)
    except BaseException:
        listening.close()
        raise
    return listening


def _on_loopback(port: int | None) -> socket.socket:
    """A socket on the wished port, or on the usual one, or on any that is free."""
    for candidate in (port,) if port is not None else (USUAL_PORT, 0):
        try:
            return _bound(LOOPBACK, candidate)
        except OSError as error:
            if port is not None:
                taken = error.errno == errno.EADDRINUSE
                why = "is taken by another program" if taken else f"cannot be used ({error.strerror})"
                raise InputError(f"{port} {why}; leave --port out to take a free one", field="--port") from None
    raise InputError("no free port was found on this computer")


def lan_host() -> str | None:
    """This computer's address on its local network, None without one.

    A datagram socket that is pointed at an address of the documentation range (RFC 5737) sends nothing, but tells
    which of the computer's addresses would be used to get out.
    """
    candidates: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        candidates.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        candidates += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    for text in candidates:
        address = ipaddress.ip_address(text)
        if not (address.is_loopback or address.is_unspecified):
            return text
    return None


# --- one casebook, one server -----------------------------------------------------------------------------------------


@contextlib.contextmanager
def announced(folder: Path, port: int) -> Iterator[None]:
    """Leave word in the data folder of the port while it is served."""
    path = folder / _RUNNING
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        json.dump({"port": port, "ident": IDENT}, file)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def running_port(folder: Path) -> int | None:
    """The port on which this casebook is served already, None when it is not."""
    try:
        word = json.loads((folder / _RUNNING).read_text(encoding="ascii"))
        port = int(word["port"])
        connection = HTTPConnection(LOOPBACK, port, timeout=2)
        connection.request("GET", "/")
        answer = connection.getresponse().getheader("Server")
        connection.close()
    except (OSError, ValueError, KeyError, TypeError, HTTPException):
        return None
    return port if answer == word.get("ident") else None

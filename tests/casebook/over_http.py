"""For tests: the casebook as a process of its own, and a browser without a screen that uses it over loopback."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit


class Answer:
    """What the server said."""

    def __init__(self, status: int, headers: dict[str, str], content: bytes) -> None:
        self.status, self.headers, self.content = status, headers, content

    @property
    def text(self) -> str:
        return self.content.decode()


class Visitor:
    """Keeps cookies, sends the token of the page with every form, and follows where it is sent."""

    def __init__(self, link: str) -> None:
        parts = urlsplit(link)
        self.host, self.port = parts.hostname or "", parts.port or 80
        self.cookies: dict[str, str] = {}
        self.token = ""
        assert self.get(parts.path).status == 200
        self.get("/")

    def get(self, path: str) -> Answer:
        """A page, where redirects lead to."""
        answer = self._send("GET", path)
        while answer.status in (301, 302):
            answer = self._send("GET", answer.headers["location"])
        return answer

    def post(self, path: str, values: dict[str, Any], file: tuple[str, str, bytes] | None = None) -> Answer:
        """Send a form; the answer to it, not the page after it. `file`: field, name, content."""
        values = values | {"csrfmiddlewaretoken": self.token}
        if file is None:
            return self._send("POST", path, urlencode(values, doseq=True).encode(), "application/x-www-form-urlencoded")
        edge = uuid.uuid4().hex
        begin = f"--{edge}\r\nContent-Disposition: form-data; name="
        parts = [f'{begin}"{name}"\r\n\r\n{value}\r\n' for name, value in values.items()]
        field, name, content = file
        head = f'{begin}"{field}"; filename="{name}"\r\n\r\n'
        body = "".join([*parts, head]).encode() + content + f"\r\n--{edge}--\r\n".encode()
        return self._send("POST", path, body, f"multipart/form-data; boundary={edge}")

    def _send(self, method: str, path: str, body: bytes | None = None, kind: str = "") -> Answer:
        connection = HTTPConnection(self.host, self.port, timeout=120)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if kind:
            headers["Content-Type"] = kind
        try:
            connection.request(method, path, body, headers)
            got = connection.getresponse()
            answer = Answer(got.status, {name.lower(): value for name, value in got.getheaders()}, got.read())
            for cookie in got.headers.get_all("Set-Cookie") or []:
                name, value = cookie.split(";")[0].split("=", 1)
                self.cookies[name] = value
        finally:
            connection.close()
        token = re.search(rb'name="csrfmiddlewaretoken" value="([^"]+)"', answer.content)
        if token:
            self.token = token[1].decode()
        return answer


@contextmanager
def opened(folder: Path, command: Sequence[str] = ("-m", "wetmount"), **more: str) -> Iterator[tuple[Any, Visitor]]:
    """`wetmount open` on a folder: the process, and a visitor who was let in. It is killed at the end."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("WETMOUNT")} | more
    started = [sys.executable, *command, "open", "--data", str(folder), "--no-browser"]
    with subprocess.Popen(
        started, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as process:
        try:
            said = []
            assert process.stdout is not None
            for line in process.stdout:
                said.append(line)
                if "Ctrl-C" in line:
                    break
            link = re.search(r"http://\S+", "".join(said))
            assert link, "".join(said) + (process.stderr.read() if process.stderr else "")
            yield process, Visitor(link[0])
        finally:
            process.kill()

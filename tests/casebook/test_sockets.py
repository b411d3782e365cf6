"""A whole case is worked over loopback, and no process of the casebook reaches for anything beyond.

The server and the commands run with a hook of the interpreter on every use of a socket (PEP 578), put in before
anything is imported and impossible to take out; a use beyond loopback is written down and refused.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # the tests are no package

from crawl import Page
from over_http import Answer, Visitor, opened
from test_archive import picture

pytestmark = pytest.mark.only_on("sqlite")

GUARD = """
import ipaddress, os, sys

def inside(host):
    try:
        return ipaddress.ip_address(host.decode() if isinstance(host, bytes) else host).is_loopback
    except ValueError:
        return host in (None, "", "localhost")

def numeric(host):
    try:
        return bool(ipaddress.ip_address(host.decode() if isinstance(host, bytes) else host))
    except ValueError:
        return False

def hook(event, arguments):
    if event in ("socket.connect", "socket.bind", "socket.sendto", "socket.sendmsg"):
        address = arguments[1]
        wanted = address[0] if isinstance(address, tuple) else None
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        wanted = arguments[0][0] if isinstance(arguments[0], tuple) else arguments[0]
    else:
        return
    if event == "socket.getaddrinfo" and numeric(wanted):
        return  # an address is not looked up
    if wanted is not None and not inside(wanted):
        with open(os.environ["TRIED"], "a") as file:
            file.write(f"{event} {arguments[1:]!r}\\n")
        raise OSError(f"blocked: {event} {wanted}")

sys.addaudithook(hook)
"""
RUN = GUARD + "\nfrom wetmount.cli import main\nsys.argv[0] = 'wetmount'\nmain()\n"


@pytest.fixture
def tried(tmp_path: Path) -> Path:
    return tmp_path / "tried.txt"


def run(tried: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A command of wetmount under the guard."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("WETMOUNT")}
    return subprocess.run(
        [sys.executable, "-c", RUN, *arguments],
        env=environment | {"TRIED": str(tried)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize("use", [
    "import urllib.request; urllib.request.urlopen('http://192.0.2.1/', timeout=1)",
    "import socket; socket.create_connection(('192.0.2.1', 80), 1)",
    "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'x', ('192.0.2.1', 53))",
    "import socket; socket.getaddrinfo('example.org', 80)",
    "import socket; socket.gethostbyname('example.org')",
    "import socket; socket.socket().bind(('0.0.0.0', 0))",
    "import socket; socket.socket(socket.AF_INET6).connect(('2001:db8::1', 80))",
])  # fmt: skip
def test_the_guard_guards(use: str, tried: Path) -> None:
    tries = f"try:\n    {use}\nexcept OSError as error:\n    assert 'blocked' in str(error), error\nelse:\n    1/0"
    code = f"{GUARD}\n{tries}"
    surroundings = os.environ | {"TRIED": str(tried)}
    done = subprocess.run([sys.executable, "-c", code], env=surroundings, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert tried.read_text()


def field(answer: Answer, name: str) -> str:
    """The value of a hidden field of the page."""
    found = re.search(rf'name="{name}" value="([^"]*)"', answer.text)
    return found[1] if found else ""


def went_well(answer: Answer) -> Answer:
    assert answer.status < 400, (answer.status, re.sub(r"(?s)<svg.*?</svg>|<[^>]+>", " ", answer.text)[-1500:])
    return answer


def work_a_case(visitor: Visitor) -> None:
    """From first aid to the report, and closed."""
    visitor.get("/new/")
    went_well(visitor.post("/new/", {"which": "rainbowfish in A4", "worries": "rubbing, breathing fast"}))
    at = "/case/1/"
    visitor.get(f"{at}head/")
    head = {"title": "Rainbowfish rubbing", "which_fish": "rainbowfish in A4", "worries": "rubbing",
            "species": "Melanotaenia boesemani", "opened": "2026-10-03"}  # fmt: skip
    went_well(visitor.post(f"{at}head/", head))
    went_well(visitor.post(f"{at}red-flag/", {"set": "nitrite_dangerous yes"}))
    went_well(visitor.post(f"{at}answer/", {"set": "recent_introduction yes sure 0"}))
    went_well(visitor.post(f"{at}numbers/", {"total": "24", "sick": "6", "dead": "0"}))
    went_well(visitor.post(f"{at}reading/", {"parameter": "nitrite", "number": "1.6", "unit": "mg/L NO2"}))
    went_well(visitor.post(f"{at}fish/", {"state": "alive"}))
    seen = (("tank_look", "flashing"), ("skin_scrape", "skin_costia"), ("skin_scrape", "skin_trichodinid"))
    for kind, finding in seen:
        went_well(visitor.post(f"{at}finding/", {"kind": kind, "set": f"{finding} 2 sure 0"}))
    went_well(visitor.post(f"{at}files/", {}, ("files", "scrape.jpg", picture().getvalue())))


def everything_linked(visitor: Visitor, starts: list[str]) -> int:
    """Get every page of the case and every place; how many."""
    waiting, known = list(starts), set(starts)
    while waiting:
        path = waiting.pop()
        answer = visitor.get(path)
        assert answer.status == 200, (path, answer.status)
        if answer.headers["content-type"].startswith("text/html"):
            for link in Page(path, answer.text).links:
                target = link.split("#")[0]
                if target.startswith(("/case/1/", "/static/")) and target not in known:
                    known.add(target)
                    waiting.append(target)
    return len(known)


def test_a_whole_case_without_a_network(tmp_path: Path, tried: Path) -> None:
    folder, copy = tmp_path / "book", tmp_path / "copy.zip"
    with opened(folder, ("-c", RUN), TRIED=str(tried)) as (process, visitor):
        work_a_case(visitor)
        went_well(visitor.post("/rooms/new/", {"name": "Row"}))
        page = visitor.get("/case/1/weigh-up/")
        assert page.status == 200
        assert "Costia" in page.text
        assert visitor.get("/case/1/report/").status == 200
        places = ["/", "/cases/", "/cases/seen/", "/rooms/", "/reference/", "/settings/", "/devices/", "/keeping/"]
        assert everything_linked(visitor, ["/case/1/", *places]) > 40
        backup = went_well(visitor.post("/keeping/backup/", {}))
        assert backup.content[:2] == b"PK"
        done = run(tried, "backup", str(copy), "--data", str(folder))
        assert done.returncode == 0, done.stderr
        assert "1 case and 2 files" in done.stdout
        closing = {"outcome": "recovered", "condition": "costia", "standing": "confirmed", "on": ""}
        went_well(visitor.post("/case/1/close/", closing))
        again = run(tried, "restore", str(copy), "--data", str(folder))
        assert again.returncode == 2
        assert "running casebook" in again.stderr
        process.terminate()
        assert process.wait(timeout=30) == 0
    commands: list[tuple[Any, ...]] = [
        ("restore", str(copy), "--data", str(tmp_path / "new")),
        ("export", "--all", str(tmp_path / "cases.zip"), "--data", str(folder)),
        ("export", "--all", "--table", str(tmp_path / "cases.csv"), "--data", str(folder)),
        ("export", "--room", "Row", str(tmp_path / "room.toml"), "--data", str(folder)),
        ("restore", str(copy), "--data", str(folder)),
    ]
    for command in commands:
        done = run(tried, *command)
        assert done.returncode == 0, done.stderr
    assert "before-restore-" in done.stdout
    assert zipfile.ZipFile(copy).testzip() is None
    for wrong, why in (
        (("import", str(copy), "--data", str(folder)), "but a wetmount backup"),
        (("import", str(tmp_path / "cases.zip"), "--data", str(folder)), "already, as case 1"),
        (("restore", str(tmp_path / "cases.zip"), "--data", str(folder)), "but a wetmount cases"),
        (("backup", str(copy), "--data", str(tmp_path / "nowhere")), "holds no casebook"),
        (("export", "7", str(tmp_path / "x.zip"), "--data", str(folder)), "there is no case 7"),
        (("export", "seven", str(tmp_path / "x.zip"), "--data", str(folder)), "no number of a case"),
        (("export", str(tmp_path / "x.zip"), "--data", str(folder)), "--all"),
        (("export", "--room", "Nowhere", str(tmp_path / "x.toml"), "--data", str(folder)), "there are: Row"),
        (("import", "--room", str(tmp_path / "room.toml"), "--data", str(folder)), "already"),
    ):
        done = run(tried, *wrong)
        assert (done.returncode, done.stderr.count("\n")) == (2, 1), done.stderr
        assert why in done.stderr
    assert not (tmp_path / "nowhere").exists()
    assert not tried.exists(), tried.read_text()

"""What every test shares: the list of what could not run, and no way out to a network."""

from __future__ import annotations

import ipaddress
import os
import shutil
import socket
from collections.abc import Iterator
from typing import Any

import pytest

# In CI, or when everything is asked for, a test that cannot run is a failure.
ALL_MUST_RUN = os.environ.get("CI") == "true" or os.environ.get("WETMOUNT_ALL") == "1"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave a test out when a program that it needs is not installed; the list at the end names it."""
    for marker in item.iter_markers("needs"):
        for program in marker.args:
            if shutil.which(program) is None:
                pytest.skip(f"needs {program}, which is not installed")


def _not_run(reporter: Any) -> list[tuple[str, str]]:
    skipped = reporter.stats.get("skipped", [])
    return [(report.nodeid, str(report.longrepr[2]).removeprefix("Skipped: ")) for report in skipped]


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """One list of what was not run, and why."""
    if not_run := _not_run(terminalreporter):
        terminalreporter.section("not run" + (", and here everything must run" if ALL_MUST_RUN else ""))
        for test, why in not_run:
            terminalreporter.write_line(f"{test}: {why}")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Where everything must run, a test that was left out fails the run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if ALL_MUST_RUN and reporter is not None and _not_run(reporter) and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def _is_loopback(address: Any) -> bool:
    if not isinstance(address, tuple):  # a Unix socket's path never leaves the machine
        return True
    try:
        return ipaddress.ip_address(address[0]).is_loopback
    except ValueError:
        return address[0] == "localhost"


@pytest.fixture(autouse=True, scope="session")
def _nothing_leaves_the_machine() -> Iterator[None]:
    """Case data stays where it is: a connection beyond loopback fails the test that tried it."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("connect", "connect_ex"):
            original = getattr(socket.socket, name)

            def guarded(self: socket.socket, address: Any, _original: Any = original) -> Any:
                if not _is_loopback(address):
                    raise AssertionError(f"a connection to {address!r} was tried: Wetmount sends nothing anywhere")
                return _original(self, address)

            patch.setattr(socket.socket, name, guarded)
        yield

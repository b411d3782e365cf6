"""Work of some seconds beside the requests: begun once, asked after, stopped on request or when nobody asks any more.

Kept in this process's memory: the casebook is one process, and what is lost with it is worked out again.
"""

from __future__ import annotations

import math
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Event, Lock, Semaphore, Thread
from typing import Any, Final, Protocol

from wetmount.errors import InputError

FORGOTTEN_SECONDS: Final = 20.0
"""Work nobody has asked after for so long is stopped: its page is closed."""
KEPT: Final = 32
AT_ONCE: Final = 2


class Told(Protocol):
    """How work tells how far it is: the share done (0-1) and, if it has one, a first answer. False: stop."""

    def __call__(self, share: float, part: Any = None) -> bool: ...


class Work:
    """One piece of work: `share` done (0-1) and perhaps a first answer, `part`; then `answer` or `wrong`; `stopped`
    when it was given up."""

    def __init__(self) -> None:
        self.share = 0.0
        self.part: Any = None
        self.answer: Any = None
        self.wrong: InputError | None = None
        self.stopped = False
        self.asked_at = time.monotonic()
        self._ended = Event()

    def ended(self, seconds: float | None = 0.0) -> bool:
        """Whether it has ended, waiting for so long; None waits to the end."""
        self.asked_at = math.inf if seconds is None else time.monotonic()
        return self._ended.wait(seconds)

    def told(self, share: float, part: Any = None) -> bool:
        """Progress as the core tells it; False stops."""
        self.share = share
        if part is not None:
            self.part = part
        if time.monotonic() - self.asked_at > FORGOTTEN_SECONDS:
            self.stopped = True
        return not self.stopped

    def run(self, make: Callable[[Told], Any]) -> None:
        """Do it, in a thread of its own."""
        try:
            with _room:
                if self.told(0.0):
                    self.answer = make(self.told)
        except InterruptedError:
            self.stopped = True
        except InputError as error:
            self.wrong = error
        finally:
            # ended without an answer, for whatever reason, must not look like still working
            self.stopped = self.stopped or (self.answer is None and self.wrong is None)
            self._ended.set()


_all: OrderedDict[Hashable, Work] = OrderedDict()
_lock = Lock()
_room = Semaphore(AT_ONCE)


def work(key: Hashable, make: Callable[[Told], Any]) -> Work:
    """The work of this key, begun if there is none or it was stopped."""
    with _lock:
        known = _all.get(key)
        if known is not None and not known.stopped:
            _all.move_to_end(key)
            return known
        begun = _all[key] = Work()
        while len(_all) > KEPT:
            _all.popitem(last=False)[1].stopped = True
    Thread(target=begun.run, args=(make,), daemon=True, name="wetmount-work").start()
    return begun


def find(key: Hashable) -> Work | None:
    """The work of this key, under way, done or stopped; None when it was never begun or is forgotten."""
    with _lock:
        return _all.get(key)


def stop(key: Hashable) -> None:
    """Give it up, if it is under way."""
    with _lock:
        known = _all.get(key)
        if known is not None and not known.ended():
            known.stopped = True


def forget() -> None:
    """Stop and forget all (tests)."""
    with _lock:
        for known in _all.values():
            known.stopped = True
        _all.clear()

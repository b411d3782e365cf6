"""What every request passes: who sends it, which clock, which headers, and how refusals look."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wetmount.casebook import clock, pairing, server
from wetmount.casebook.services.refusals import Conflict, Refused
from wetmount.errors import InputError

Next = Callable[[HttpRequest], HttpResponse]

OPEN_TO_STRANGERS = ("/pair/", "/enter/")


def refusal() -> HttpResponse:
    """All that a stranger is told."""
    return HttpResponse(
        "This casebook does not know this device.\n"
        "On its computer: run `wetmount open` again. On a phone: scan the code of a new pairing link.\n",
        status=403,
        content_type="text/plain; charset=utf-8",
    )


class Headers:
    """Case data stays with whom it was shown to."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", "geolocation=()")
        response.headers.setdefault("Cache-Control", "private, no-cache")
        if not response.streaming:
            response.headers.setdefault("Content-Length", str(len(response.content)))
        return response


class LocalTime:
    """Times on pages go by the clock of this machine."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(clock.LOCAL):
            return self.get_response(request)


class Door:
    """Lets in the owner on this computer and paired devices; everybody else gets the same refusal for every address.

    The links themselves are open, the owner's on this computer only; what a link does is in `views.devices`.
    """

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.get_host()  # another name for this address is refused before anything else is looked at
        local = pairing.is_loopback(request)
        if not local and not server.phones_are_let_in():
            return refusal()
        device = pairing.device_of(request)
        request.device = device
        if device is None:
            allowed = request.path.startswith(OPEN_TO_STRANGERS) and (local or request.path.startswith("/pair/"))
            if not allowed:
                return refusal()
        return self.get_response(request)


class Refusals:
    """An act that was refused becomes a page, or a part of one, that says why."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, Conflict):
            return render(request, "casebook/conflict.html", {"conflict": exception}, status=exception.status)
        if isinstance(exception, Refused):
            return render(request, "casebook/refused.html", {"why": str(exception)}, status=exception.status)
        if isinstance(exception, InputError):
            return render(request, "casebook/refused.html", {"why": str(exception)}, status=422)
        return None

"""The doors: the owner's link, pairing a phone, the list of devices."""

from __future__ import annotations

from pathlib import Path

import segno
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook import pairing, server
from wetmount.casebook.middleware import refusal
from wetmount.casebook.models import Device
from wetmount.casebook.services.refusals import Refused

STYLES = Path(__file__).parent.parent / "static" / "casebook"


@require_GET
def enter(request: HttpRequest, token: str) -> HttpResponse:
    """The owner's link: hands the cookie over, once, to a browser on this computer."""
    if not pairing.is_loopback(request):
        return refusal()
    try:
        value = pairing.enter(token)
    except Refused:
        return redirect("today") if getattr(request, "device", None) else refusal()
    # A page that goes on by itself, not a redirect: a redirect that began elsewhere would not carry a strict cookie.
    response = render(request, "casebook/enter.html")
    pairing.set_cookie(request, response, value, lasting=False)
    response.headers["Referrer-Policy"] = "no-referrer"
    return response


@require_http_methods(["GET", "POST"])
def pair(request: HttpRequest, token: str) -> HttpResponse:
    """A phone's link. Opening it uses nothing up (a preview may open it too); the button does."""
    if not pairing.link_is_open(token):
        return refusal()
    if request.method == "GET":
        response = render(request, "casebook/pair.html", {"token": token, "risk": pairing.PLAIN_HTTP_RISK})
        response.headers["Referrer-Policy"] = "same-origin"
        return response
    try:
        _, secret = pairing.pair(token, request.POST.get("name", ""))
    except Refused:
        return refusal()
    response = redirect("today")
    pairing.set_cookie(request, response, f"d.{secret}", lasting=True)
    return response


@require_GET
def pair_stylesheet(request: HttpRequest, token: str) -> HttpResponse:
    """The look of the pairing page, which cannot have the static files yet."""
    if not pairing.link_is_open(token):
        return refusal()
    text = "\n".join((STYLES / name).read_text(encoding="utf-8") for name in ("ground.css", "parts.css", "shell.css"))
    return HttpResponse(text, content_type="text/css; charset=utf-8")


@require_GET
def devices(request: HttpRequest) -> HttpResponse:
    """Who is paired, and the way to pair."""
    return _devices(request, None)


def _devices(request: HttpRequest, link: str | None, *, status: int = 200) -> HttpResponse:
    listener = server.current
    context = {
        "place": "settings",
        "paired": Device.objects.filter(kind="paired").order_by("revoked_at", "-last_seen"),
        "lan_address": listener.lan_address if listener else None,
        "can_listen": listener is not None,
        "here": pairing.is_loopback(request),
        "link": link,
        "code": _code(link) if link else None,
        "risk": pairing.PLAIN_HTTP_RISK,
    }
    return render(request, "casebook/devices.html", context, status=status)


def _code(link: str) -> SafeString:
    svg = segno.make(link, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff", omitsize=True)
    return mark_safe(svg)


def _only_here(request: HttpRequest) -> None:
    if not pairing.is_loopback(request):
        raise Refused("Devices are let in and shut out on the computer itself.")


@require_POST
def make_link(request: HttpRequest) -> HttpResponse:
    """Let phones in, and show a link for one of them."""
    _only_here(request)
    if server.current is None:
        raise Refused("This casebook is not served by `wetmount open`, so it cannot listen on the local network.")
    address = server.current.let_phones_in()
    return _devices(request, address + reverse("pair", args=[pairing.make_link()]))


@require_POST
def shut_out(request: HttpRequest) -> HttpResponse:
    """Stop listening on the local network."""
    _only_here(request)
    if server.current is not None:
        server.current.shut_phones_out()
    return redirect("devices")


@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Shut one phone out for good."""
    _only_here(request)
    pairing.revoke(get_object_or_404(Device, pk=pk))
    return redirect("devices")


@require_POST
def rename(request: HttpRequest, pk: int) -> HttpResponse:
    """Another name for a phone."""
    _only_here(request)
    pairing.rename(get_object_or_404(Device, pk=pk, kind="paired"), request.POST.get("name", ""))
    return redirect("devices")

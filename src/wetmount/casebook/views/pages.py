"""What belongs to no group of pages: undo, the light, and the pages that say something went wrong."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_GET, require_POST

from wetmount.casebook.access import case_or_404
from wetmount.casebook.services.undo import undo_last
from wetmount.casebook.shell import LIGHT_COOKIE, LIGHTS


def back(request: HttpRequest, otherwise: str = "today") -> HttpResponse:
    """To the page the form was on (its field `back`), if that is one of ours."""
    target = request.POST.get("back", "")
    ours = url_has_allowed_host_and_scheme(target, allowed_hosts=None) and target.startswith("/")
    return redirect(target if ours else otherwise)


@require_POST
def undo(request: HttpRequest, number: int | None = None) -> HttpResponse:
    """Take this device's last entry back; in this case, or outside all cases."""
    case = case_or_404(number) if number is not None else None
    undo_last(request.device, case)
    if request.htmx:
        response = HttpResponse(status=204)
        response.headers["HX-Refresh"] = "true"
        return response
    return back(request)


@require_POST
def light(request: HttpRequest) -> HttpResponse:
    """The light switch without scripts; remembered on this device."""
    wanted = request.POST.get("light", "")
    response = back(request)
    if wanted in LIGHTS:
        response.set_cookie(LIGHT_COOKIE, wanted, max_age=400 * 24 * 3600, samesite="Strict")
    else:
        response.delete_cookie(LIGHT_COOKIE)
    return response


@require_GET
def alive(request: HttpRequest) -> HttpResponse:
    """Asked by a page that lost the connection: is it back, and am I still let in?"""
    return HttpResponse(status=204)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """A wrong address, or a case that is not there."""
    return render(request, "casebook/refused.html", {"title": "Not here", "why": "There is no such page."}, status=404)


def broken(request: HttpRequest) -> HttpResponse:
    """An error of ours. Rendered without a context, in case that is what is broken."""
    return HttpResponse(
        "Something went wrong in Wetmount itself. What was saved before is safe. "
        "The terminal in which it runs says more.\n",
        status=500,
        content_type="text/plain; charset=utf-8",
    )


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that was not sent from one of our pages, or from one that is too old."""
    why = "This form came from another page, or from one that was open too long. Reload the page, then try again."
    return render(request, "casebook/refused.html", {"why": why}, status=403)

"""A spreadsheet into a room: choose it, see what every row would do, bring the good ones in."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path
from typing import Any, Final

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook.models import FishRoom
from wetmount.casebook.services import room_file as room_file_of
from wetmount.casebook.services import room_sheet
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.tracing import record_of
from wetmount.casebook.views import count_forms
from wetmount.casebook.views.origin_frame import traced_in
from wetmount.casebook.views.today import last_said
from wetmount.errors import InputError
from wetmount.origin.room_file import write_room
from wetmount.origin.room_rows import TABLES, columns, required

SALT: Final = "rows of a room"
KEPT_SECONDS: Final = 24 * 3600
SHOWN: Final = 200


@require_http_methods(["GET", "POST"])
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The form; after a file was sent, what every row of it would do."""
    room = get_object_or_404(FishRoom, pk=pk)
    table = request.POST.get("table", request.GET.get("table", "tanks"))
    context: dict[str, Any] = {
        "place": "rooms", "room": room, "table": table, "last": last_said(request.device),
        "tables": [(id, words, ", ".join(_head(id, name) for name in columns(id)))
                   for id, words in room_sheet.WORDS.items()],
    }  # fmt: skip
    wrong = ""
    if request.method == "POST":
        upload = request.FILES.get("file")
        try:
            if upload is None:
                raise Refused("Choose a file first.")
            context |= _preview(room, table, upload, request.POST.get("sheet", "").strip()[:200])
        except (InputError, Refused) as error:
            wrong = count_forms.sentence(error) if isinstance(error, InputError) else str(error)
    context["wrong"] = wrong
    return render(request, "casebook/rooms/sheet.html", context, status=422 if wrong else 200)


def _head(table: str, name: str) -> str:
    return f"{name} (needed)" if name in required(table) else name


def _preview(room: FishRoom, table: str, upload: Any, sheet: str) -> dict[str, Any]:
    found = room_sheet.looked_over(room, table, upload, sheet)
    rows = room_sheet.packed(found.good)
    heads = [name for name in columns(table) if any(row.get(name) not in (None, "", []) for row in rows)]
    return {
        "found": found,
        "file": (upload.name or "")[:200],
        "words": room_sheet.WORDS[table],
        "heads": heads,
        "good": [(one.row, [_cell(row.get(name)) for name in heads])
                 for one, row in zip(found.good[:SHOWN], rows, strict=False)],
        "good_more": max(0, len(found.good) - SHOWN),
        "bad": found.bad[:SHOWN],
        "bad_more": max(0, len(found.bad) - SHOWN),
        "signed": signing.dumps({"room": room.pk, "table": table, "rows": rows}, salt=SALT, compress=True),
    }  # fmt: skip


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "; ".join(value) if isinstance(value, list) else "" if value is None else str(value)


@require_POST
def take(request: HttpRequest, pk: int) -> HttpResponse:
    """Bring the rows in that were shown as good."""
    room = get_object_or_404(FishRoom, pk=pk)
    try:
        told = signing.loads(request.POST.get("rows", ""), salt=SALT, max_age=KEPT_SECONDS)
    except signing.BadSignature:
        raise Refused("Those rows were not shown here, or too long ago. Look the sheet over again.") from None
    if told["room"] != room.pk or told["table"] not in TABLES:
        raise Refused("Those rows were looked over for another room.")
    room_sheet.bring_in(request.device, room, told["table"], room_sheet.unpacked(told["table"], told["rows"]))
    return redirect("room_set_up", room.pk)


@require_GET
def room_file(request: HttpRequest, pk: int) -> HttpResponse:
    """The room as a room file of the core, in a ZIP: room.toml and a table each, for `wetmount origin`."""
    room = get_object_or_404(FishRoom, pk=pk)
    traced = traced_in(room, request.GET.get("condition", ""))
    record = record_of(room, traced.condition or None)
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory() as folder, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in write_room(record.room, Path(folder) / "room"):
            archive.write(path, f"room/{path.name}")
    response = HttpResponse(packed.getvalue(), content_type="application/zip")
    response.headers["Content-Disposition"] = f'attachment; filename="room-{room.pk}.zip"'
    return response


@require_GET
def whole(request: HttpRequest, pk: int) -> HttpResponse:
    """The whole room as one room file, to bring into another casebook."""
    room = get_object_or_404(FishRoom, pk=pk)
    response = HttpResponse(room_file_of.room_text(room), content_type="application/toml; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="room-{room.pk}.toml"'
    return response


@require_http_methods(["GET", "POST"])
def bring_in(request: HttpRequest) -> HttpResponse:
    """A room file as a new room."""
    wrong = ""
    if request.method == "POST":
        upload = request.FILES.get("file")
        try:
            if upload is None:
                raise Refused("Choose a file first.")
            made = _brought(request, upload)
        except (InputError, Refused) as error:
            wrong = count_forms.sentence(error) if isinstance(error, InputError) else str(error)
        else:
            return redirect("room", made.pk)
    context = {"place": "rooms", "wrong": wrong, "last": last_said(request.device)}
    return render(request, "casebook/rooms/bring_in.html", context, status=422 if wrong else 200)


def _brought(request: HttpRequest, upload: Any) -> FishRoom:
    if (upload.size or 0) > room_sheet.MOST_BYTES:
        raise InputError(f"the file is larger than {room_sheet.MOST_BYTES / 1e6:.0f} MB", field="file")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.toml"
        path.write_bytes(upload.read())
        try:
            return room_file_of.bring_in_room(request.device, path)
        except InputError as error:
            place = f"{error.field} " if error.field else "the file "
            raise InputError(f"{place}{error.message}") from None  # the file has another name here

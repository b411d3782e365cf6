"""Files of a case: taken in, shown, served."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from typing import BinaryIO

from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook.access import case_or_404, examination_or_404
from wetmount.casebook.models import Attachment, Case
from wetmount.casebook.services import files, keeping
from wetmount.casebook.services.entering import once
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.shell import case_context
from wetmount.casebook.steps import step_for_examination
from wetmount.casebook.views.entry_findings import examination_of
from wetmount.casebook.views.entry_forms import by_script, text, version
from wetmount.casebook.views.entry_places import after_entry

PLAYED = frozenset(
    {"image/jpeg", "image/png", "audio/mp4", "audio/mpeg", "audio/ogg", "audio/wav", "audio/webm", "audio/aac",
     "video/mp4", "video/quicktime", "video/webm"}
)  # fmt: skip
"""Types a browser may show in place; anything else is only ever saved."""


@require_POST
def add_files(request: HttpRequest, number: int) -> HttpResponse:
    """One or more files: for an examination, or for the case. Each is taken or refused by itself."""
    case = case_or_404(number)
    sent = request.FILES.getlist("files")
    if not sent:
        raise Refused("No file was chosen.")
    refused: list[str] = []
    with once(request.POST.get("id", "")) as new:
        examination = examination_of(request, case) if request.POST.get("kind") else None
        for one in sent if new else ():
            try:
                files.keep(
                    request.device,
                    one.file,
                    name=one.name or "",
                    declared=one.content_type or "",
                    size=one.size,
                    case=case,
                    examination=examination,
                    caption=text(request, "caption", 2_000),
                )
            except Refused as error:
                refused.append(f"{files.clean_name(one.name or '') or 'File'}: {error}")
        if refused and len(refused) == len(sent):
            raise Refused(" ".join(refused))
    if by_script(request):
        return HttpResponse(" ".join(refused), content_type="text/plain; charset=utf-8")
    if refused:
        context = case_context(request, case, None) | {"refused": refused, "taken": len(sent) - len(refused)}
        return render(request, "casebook/entry/some_refused.html", context, status=422)
    return after_entry(request, case)


@require_http_methods(["GET", "POST"])
def file(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """One file with its caption."""
    case = case_or_404(number)
    row = _file(pk, case)
    if request.method == "POST":
        to = request.POST.get("examination", "")
        examination = examination_or_404(case, int(to)) if to.isdecimal() and len(to) < 18 else None
        keeping.change_attachment(
            request.device,
            row,
            seen=version(request),
            caption=text(request, "caption"),
            examination_id=examination.pk if examination is not None else None,
        )
        return redirect("file", case.number, row.pk)
    all_files = list(Attachment.objects.filter(case=case, deleted_at=None).values_list("pk", flat=True))
    place = all_files.index(row.pk)
    step = step_for_examination(row.examination.kind) if row.examination else None
    context = case_context(request, case, step.id if step else None, row.examination.look if row.examination else None)
    context |= {
        "file": row,
        "before": all_files[place - 1] if place else None,
        "after": all_files[place + 1] if place + 1 < len(all_files) else None,
        "place": "cases",
        "count": len(all_files),
        "number_of": place + 1,
        "examinations": _examinations(case),
        "back": reverse("case", args=[case.number]),
    }
    return render(request, "casebook/entry/file.html", context)


def _examinations(case: Case) -> list[tuple[int, str]]:
    from wetmount.casebook.models import Examination
    from wetmount.casebook.services.looking import title_of

    rows = Examination.objects.filter(look__case=case).select_related("fish", "look").order_by("-look__on", "pk")
    return [(one.pk, f"{title_of(one)}, {one.look.on.isoformat() if one.look.on else 'no date'}") for one in rows]


@require_POST
def remove_file(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Put a file away; Undo brings it back, for 30 days."""
    case = case_or_404(number)
    keeping.delete_attachment(request.device, _file(pk, case))
    return after_entry(request, case)


def _file(pk: int, case: Case | None = None) -> Attachment:
    rows = Attachment.objects.select_related("examination__look", "examination__fish", "case")
    rows = rows.filter(pk=pk, deleted_at=None)
    row = (rows.filter(case=case) if case is not None else rows.filter(case__deleted_at=None)).first()
    if row is None:
        raise Http404
    return row


# --- serving ----------------------------------------------------------------------------------------------------------


@require_GET
def bytes_of(request: HttpRequest, pk: int, which: str) -> StreamingHttpResponse:
    """The bytes of a file: `whole`, `small` (the thumbnail) or `save` (to keep elsewhere)."""
    row = _file(pk)
    name = row.thumbnail if which == "small" else row.file
    if which not in ("whole", "small", "save") or not name:
        raise Http404
    try:
        opened = files.path_of(name).open("rb")
    except (OSError, ValueError):
        raise Http404 from None
    media_type = "image/jpeg" if which == "small" else row.media_type
    if media_type not in PLAYED:
        media_type, which = "application/octet-stream", "save"
    response = _streamed(opened, request.headers.get("Range", ""))
    response.headers["Content-Type"] = media_type
    ending = name.rpartition(".")[2]
    called = f"case-{row.case.number if row.case else 0}-{row.kind}-{row.pk}.{ending}"
    response.headers["Content-Disposition"] = f'{"attachment" if which == "save" else "inline"}; filename="{called}"'
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Accept-Ranges"] = "bytes"
    response.headers["Cache-Control"] = "private, max-age=86400, immutable"
    # Opened by itself it is shown and nothing more.
    response.headers["Content-Security-Policy"] = "default-src 'none'; img-src 'self'; media-src 'self'; sandbox"
    return response


def _streamed(opened: BinaryIO, asked: str) -> StreamingHttpResponse:
    """The file, or the one part of it that was asked for: players of clips want that."""
    size = os.fstat(opened.fileno()).st_size
    part = re.fullmatch(r"bytes=(\d{0,18})-(\d{0,18})", asked)
    first, last = part.groups() if part is not None else ("", "")
    if not first and not last:
        response = StreamingHttpResponse(_part(opened, 0, size))
        response.headers["Content-Length"] = str(size)
        return response
    start, end = (int(first), min(int(last or size), size - 1)) if first else (max(size - int(last), 0), size - 1)
    if start > end:
        opened.close()
        return StreamingHttpResponse(status=416, headers={"Content-Range": f"bytes */{size}"})
    response = StreamingHttpResponse(_part(opened, start, end - start + 1), status=206)
    response.headers["Content-Range"] = f"bytes {start}-{end}/{size}"
    response.headers["Content-Length"] = str(end - start + 1)
    return response


def _part(opened: BinaryIO, start: int, length: int) -> Iterator[bytes]:
    with opened:
        opened.seek(start)
        while length > 0 and (chunk := opened.read(min(1 << 18, length))):
            length -= len(chunk)
            yield chunk

"""Keeping what was written: the record of a case, closing, deleting and bringing back, backup, archives, the table."""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from wetmount.casebook import case_table, clock, pairing
from wetmount.casebook.access import case_or_404
from wetmount.casebook.backup import make_backup
from wetmount.casebook.case_filter import CaseFilter
from wetmount.casebook.history import told
from wetmount.casebook.models import Act, Attachment, Case, CaseCause
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases
from wetmount.casebook.services.archive import export_cases, import_cases
from wetmount.casebook.services.files import clean_name
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.undo import KEPT_FOR, take_back
from wetmount.casebook.shell import case_context
from wetmount.casebook.views.entry_forms import day, text
from wetmount.errors import InputError

PROPOSED = 3
"""So many causes of the last weigh-up stand first among those to choose from when a case is closed."""


# --- the record -------------------------------------------------------------------------------------------------------


@require_GET
def record(request: HttpRequest, number: int) -> HttpResponse:
    """Who changed what in a case, and when; the latest first."""
    case = case_or_404(number)
    acts, older = told(case, _before(request))
    context = case_context(request, case, None) | {"told": acts, "older": older, "kept_days": KEPT_FOR.days}
    return render(request, "casebook/keep/record.html", context)


@require_GET
def other_record(request: HttpRequest) -> HttpResponse:
    """The same of what belongs to no case: rooms, tanks, batches, moves, readings."""
    acts, older = told(None, _before(request))
    return render(request, "casebook/keep/other_record.html", {"place": "settings", "told": acts, "older": older})


def _before(request: HttpRequest) -> int | None:
    asked = request.GET.get("before", "")
    return int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 18 else None


@require_POST
def bring_back(request: HttpRequest, number: int, pk: int) -> HttpResponse:
    """Take one act of a case back: what it deleted is there again, or the case it closed is open."""
    case = case_or_404(number)
    done = Act.objects.filter(case=case, pk=pk).exclude(kind__in=("undo", "open_case", "import_case")).first()
    if done is None:
        raise Http404
    take_back(request.device, done)
    return redirect("case" if done.kind == "close_case" else "record", case.number)


# --- closing ----------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def close_case(request: HttpRequest, number: int) -> HttpResponse:
    """Ask what it was and what became of the fish; then close and lock the case."""
    case = case_or_404(number)
    if request.method == "POST":
        return _close(request, case)
    known = reference().conditions
    causes = list(case.causes.order_by("pk"))
    proposed = [one for one in _proposed(case) if one not in {cause.condition for cause in causes}]
    rest = sorted((row for row in known.values() if row.id not in proposed), key=lambda row: row.name.casefold())
    context = case_context(request, case, "follow-up") | {
        "causes": [(one, known[one.condition].name if one.condition in known else one.condition) for one in causes],
        "standings": CaseCause.STANDINGS,
        "proposed": [known[one] for one in proposed],
        "conditions": rest,
        "outcomes": Case.OUTCOMES,
        "due": case.tasks.filter(done_at=None),
        "today": clock.today(),
        "kept_days": KEPT_FOR.days,
    }
    return render(request, "casebook/keep/close.html", context)


def _proposed(case: Case) -> list[str]:
    """The causes that lead the last weigh-up, as far as it was kept."""
    known = reference().conditions
    look = case.looks.order_by("-on", "-id").select_related("weigh_up").first()
    kept = getattr(look, "weigh_up", None)
    try:
        ranked = sorted(kept.result["weighup"]["conditions"], key=lambda one: -one["responsible"]) if kept else []
        ids = [one["id"] for one in ranked[:PROPOSED]]
    except (KeyError, TypeError):  # kept by another version of this program
        ids = []
    return list(dict.fromkeys(id for id in (case.leading, *ids) if id in known))[:PROPOSED]


def _close(request: HttpRequest, case: Case) -> HttpResponse:
    outcome = text(request, "outcome", 20)
    if not outcome:
        raise Refused("Say what became of the fish; “not known” is an answer too.")
    with transaction.atomic():
        for cause in case.causes.all():
            standing = text(request, f"standing-{cause.pk}", 20)
            if standing and standing != cause.standing:
                cases.set_cause(request.device, case, cause.condition, standing, note=cause.note)
        if condition := text(request, "condition", 200):
            standing = text(request, "standing", 20) or "confirmed"
            cases.set_cause(request.device, case, condition, standing, note=text(request, "note"))
        cases.close_case(
            request.device,
            case,
            on=day(request, "on", "Closed on"),
            outcome=outcome,
            outcome_note=text(request, "outcome_note"),
        )
    return redirect("case", case.number)


# --- deleting ---------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def delete_case(request: HttpRequest, number: int) -> HttpResponse:
    """Ask, then put the case away for 30 days."""
    case = case_or_404(number)
    if request.method == "POST":
        cases.delete_case(request.device, case)
        return redirect("deleted")
    context = case_context(request, case, None) | {
        "looks": case.looks.count(),
        "files": Attachment.objects.filter(case=case, deleted_at=None).count(),
        "kept_days": KEPT_FOR.days,
    }
    return render(request, "casebook/keep/delete.html", context)


@require_GET
def deleted(request: HttpRequest) -> HttpResponse:
    """The deleted cases, and until when each can be brought back."""
    rows = list(Case.all_cases.filter(deleted_at__isnull=False).order_by("-deleted_at"))
    acts = Act.objects.filter(case__in=rows, kind="delete_case", undone_by=None).select_related("device")
    by_case = {act.case_id: act for act in acts.order_by("id")}
    shown = [(case, by_case.get(case.pk), case.deleted_at + KEPT_FOR) for case in rows if case.deleted_at is not None]
    context = {"place": "settings", "rows": shown, "kept_days": KEPT_FOR.days}
    return render(request, "casebook/keep/deleted.html", context)


@require_POST
def undelete(request: HttpRequest, number: int) -> HttpResponse:
    """Bring a deleted case back."""
    case = Case.all_cases.filter(number=number).exclude(deleted_at=None).first()
    done = Act.objects.filter(case=case, kind="delete_case", undone_by=None).order_by("-id").first() if case else None
    if case is None or done is None:
        raise Http404
    take_back(request.device, done)
    return redirect("case", case.number)


# --- backup, archives, the table --------------------------------------------------------------------------------------


@require_GET
def keeping(request: HttpRequest) -> HttpResponse:
    """Where backups are made, archives brought in, and deleted cases found."""
    gone = Case.all_cases.filter(deleted_at__isnull=False).count()
    context = {"place": "settings", "here": pairing.is_loopback(request), "gone": gone}
    return render(request, "casebook/keep/keeping.html", context)


@require_POST
def backup(request: HttpRequest) -> HttpResponse:
    """The whole casebook as one file, made and read back first. Only on this computer: it holds everything."""
    _on_this_computer(request)
    return _made("casebook", lambda target: make_backup(target, Path(settings.DATA_FOLDER)))


@require_GET
def export_case(request: HttpRequest, number: int) -> HttpResponse:
    """One case with its pictures as an archive."""
    case = case_or_404(number)
    return _made(f"case-{case.number}", lambda target: export_cases([case], target))


@require_POST
def import_archive(request: HttpRequest) -> HttpResponse:
    """Bring in the cases of an archive, all or none."""
    _on_this_computer(request)
    upload = request.FILES.get("archive")
    if upload is None:
        raise Refused("Choose the archive first, a file that “Hand this case on” or `wetmount export` made.")
    name = clean_name(upload.name or "") or "The archive"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "archive.zip"
        with path.open("wb") as out:
            for chunk in upload.chunks():
                out.write(chunk)
        try:
            brought = import_cases(request.device, path)
        except InputError as error:
            raise Refused(str(error).replace(str(path), name)) from None
    return redirect("case", brought[0].number) if len(brought) == 1 else redirect("cases")


@require_GET
def table(request: HttpRequest) -> StreamingHttpResponse:
    """The cases that pass the filter of the address, as CSV."""
    response = StreamingHttpResponse(case_table.lines(CaseFilter.of(request.GET).cases()), "text/csv; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="cases-{clock.today().isoformat()}.csv"'
    return response


def _on_this_computer(request: HttpRequest) -> None:
    if not pairing.is_loopback(request):
        raise Refused("This is done on the computer itself: it would send the whole casebook over the network.")


class _Leaving(io.FileIO):
    """A file whose folder goes when it is closed."""

    def close(self) -> None:
        super().close()
        shutil.rmtree(Path(str(self.name)).parent, ignore_errors=True)


def _made(name: str, make: Any) -> FileResponse:
    """The archive that `make` writes, to be kept by the browser under `name` and today's date."""
    folder = Path(tempfile.mkdtemp(dir=settings.DATA_FOLDER, prefix=".outgoing-"))
    try:
        target = folder / f"wetmount-{name}-{clock.today().isoformat()}.zip"
        make(target)
        return FileResponse(_Leaving(str(target)), as_attachment=True, filename=target.name)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise

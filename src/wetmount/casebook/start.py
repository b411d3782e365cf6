"""Making a casebook ready to be served: its database brought up to date, what was deleted long ago removed."""

from __future__ import annotations

import contextlib
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.utils import DatabaseError, OperationalError

from wetmount.casebook import configuration
from wetmount.errors import InputError


def prepare(folder: Path, *, demo: bool = False) -> None:
    """Migrate the database, fill an empty demonstration casebook, remove deletions older than 30 days.

    Raises `InputError` when the database cannot be used, or was written by a newer Wetmount.
    """
    try:
        _check_not_newer()
        call_command("migrate", verbosity=0, interactive=False)
    except OperationalError as error:
        raise InputError(f"the database cannot be opened ({_line(error)})", file=whereabouts(folder)) from None
    except DatabaseError as error:
        raise InputError(f"is no database of a casebook ({_line(error)})", file=whereabouts(folder)) from None

    from wetmount.casebook import demo as demonstration
    from wetmount.casebook import leftovers, pairing
    from wetmount.casebook.models import Case
    from wetmount.casebook.services.cases import purge_attachments, purge_deleted
    from wetmount.casebook.services.entering import forget_old
    from wetmount.casebook.services.preferences import use_kept_overlay

    use_kept_overlay()
    owner = pairing.owner()
    if demo and not Case.all_cases.exists():
        demonstration.fill(owner)
    forget_old()
    for name in [*purge_deleted(), *purge_attachments()]:
        with contextlib.suppress(OSError):
            (settings.FILES_FOLDER / name).unlink()
    leftovers.set_aside(folder, settings.FILES_FOLDER)


def _line(error: Exception) -> str:
    return " ".join(str(error).split())


def whereabouts(folder: Path) -> str:
    """Where the data lies, in words."""
    if connection.vendor == "sqlite":
        return str(folder / configuration.DATABASE)
    host = connection.settings_dict["HOST"] or "this computer"
    return f"PostgreSQL, database {connection.settings_dict['NAME']} on {host}; files in {folder}"


def _check_not_newer() -> None:
    loader = MigrationLoader(connection)
    applied = {name for app, name in loader.applied_migrations if app == "casebook"}
    unknown = sorted(name for name in applied if ("casebook", name) not in loader.graph.nodes)
    if unknown:
        raise InputError(
            f"this casebook was last opened by a newer Wetmount (it knows {unknown[-1]}); update Wetmount to open it"
        )

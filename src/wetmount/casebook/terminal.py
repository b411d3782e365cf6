"""What commands that work on a casebook without serving it need: which one, and Django set up for it."""

from __future__ import annotations

import os
from pathlib import Path

from wetmount.errors import InputError


def use(data: Path | None) -> Path:
    """Set Django up for the casebook in `data`, or the usual one; its folder. Nothing is made or changed."""
    try:
        import django
    except ImportError:
        raise InputError("the casebook needs more packages: pip install 'wetmount[web]'") from None
    from wetmount.casebook import configuration

    folder = (data.expanduser() if data is not None else configuration.data_folder()).absolute()
    os.environ["WETMOUNT_DATA"] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wetmount.casebook.settings")
    django.setup()
    return folder


def check_there(folder: Path) -> None:
    """Raises `InputError` when no casebook lies there, or one that cannot be read."""
    from django.db import DatabaseError, connection

    from wetmount.casebook import configuration, start

    if connection.vendor == "sqlite" and not (folder / configuration.DATABASE).is_file():
        raise InputError("holds no casebook; name its folder with --data", file=str(folder))
    try:
        tables = connection.introspection.table_names()
    except DatabaseError as error:
        raise InputError(f"cannot be opened ({' '.join(str(error).split())})", file=start.whereabouts(folder)) from None
    if "casebook_case" not in tables:
        raise InputError("holds no casebook", file=start.whereabouts(folder))


def how_many(number: int, one: str, many: str = "") -> str:
    """'1 case', '3 cases'."""
    return f"{number} {one if number == 1 else many or one + 's'}"

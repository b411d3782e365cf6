"""`wetmount open`: the casebook in a browser, from this computer and, when asked, from a phone."""

from __future__ import annotations

import os
import sys
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wetmount.errors import InputError

if TYPE_CHECKING:
    from wetmount.casebook.server import Listener


@click.command(name="open")
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Folder of the casebook; made when it is not there.",
)
@click.option("--demo", is_flag=True, help="Open the demonstration casebook, which is kept apart from yours.")
@click.option("--phone", is_flag=True, help="Listen on the local network too, and show a code to pair a phone.")
@click.option("--port", type=click.IntRange(1, 65535), metavar="N", help="Port on this computer.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser; only print the link.")
def command(data: Path | None, demo: bool, phone: bool, port: int | None, no_browser: bool) -> None:
    """Open the casebook: cases from first sight to report, at the tank and at the bench.

    It runs on this computer until Ctrl-C and sends nothing anywhere.
    """
    try:
        import django
        import waitress  # noqa: F401  (its absence should be told here, not in the middle of starting)
    except ImportError:
        raise InputError("the casebook needs more packages: pip install 'wetmount[web]'") from None
    from wetmount.casebook import configuration

    folder = (data.expanduser() if data is not None else configuration.data_folder()).absolute()
    if demo:
        folder /= configuration.DEMONSTRATION
    configuration.make_folder(folder)
    os.environ["WETMOUNT_DATA"] = str(folder)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "wetmount.casebook.settings")
    django.setup()

    from wetmount.casebook import pairing, server, start

    start.prepare(folder, demo=demo)
    click.echo(f"The casebook lies in {start.whereabouts(folder)}")
    if (running := server.running_port(folder)) is not None:
        link = _link(f"http://{server.LOOPBACK}:{running}", pairing.make_link(for_owner=True))
        click.echo(f"It is open already. This link lets one browser in, once, within ten minutes:\n  {link}")
        _browse(link, no_browser)
        return
    from wetmount.casebook.wsgi import application

    server.current = listener = server.Listener(application, port)

    def ready() -> None:
        link = _link(listener.address, pairing.make_link(for_owner=True))
        click.echo(f"It runs on this computer. This link lets one browser in, once, within ten minutes:\n  {link}")
        if phone:
            _show_code(listener)
        click.echo("Ctrl-C ends it.")
        sys.stdout.flush()
        _browse(link, no_browser)

    with server.announced(folder, listener.port):
        listener.run(ready)
    click.echo("Closed. Everything entered is saved.")


def _link(address: str, token: str) -> str:
    return f"{address}/enter/{token}/"


def _show_code(listener: Listener) -> None:
    import segno

    from wetmount.casebook import pairing

    link = f"{listener.let_phones_in()}/pair/{pairing.make_link()}/"
    click.echo(f"\nScan this with the phone. It lets one device in, once, within ten minutes:\n  {link}\n")
    segno.make(link, error="m").terminal(compact=True)
    click.echo(f"\n{pairing.PLAIN_HTTP_RISK}\n")


def _browse(link: str, no_browser: bool) -> None:
    # Without a display Python would start a text browser in this terminal.
    headless = sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    if not no_browser and not headless:
        webbrowser.open(link)

"""The casebook with a hundred thousand cases: server time of its pages and of a save, on SQLite and on PostgreSQL.

python -m benchmarks.casebook [--cases N] [--database sqlite|postgresql|both]      rows as Markdown

The cases are generated: a look or two, a fish, two or three examinations, a dozen findings, readings, a note, words to
search. Requests go through the whole of Django in this process, as they do in a thread of the server; the wire is left
out. Databases are set as in use: SQLite waits for the disk at each save, and so does PostgreSQL.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from benchmarks.run import machine

TARGET_MS = 100
TIMES = 200
BATCH = 2_000
HERE = Path(__file__).parent


# --- a hundred thousand cases -----------------------------------------------------------------------------------------

SAID = (
    "rubbing breathing fast clamped fins pale patch mouth filter cleaned nitrite raised delivery rainbowfish platies "
    "red worms spring pond koi neon muscle tap water change hiding thin white spots ulcers scale gill cover swollen"
)
WORDS = SAID.split()
VISITED = ("tank_look", "skin_scrape", "gill_scrape", "in_hand")
ROOMS, RACKS, TANKS = 40, 5, 12


class Rows:
    """Rows on their way into tables, by plain SQL: through the services it would take a night."""

    def __init__(self) -> None:
        self.waiting: dict[str, list[dict[str, Any]]] = {}
        self.last: dict[str, int] = {}

    def add(self, table: str, /, **values: Any) -> int:
        """One row with all that is not blank; its key."""
        self.last[table] = self.last.get(table, 0) + 1
        row = values if table == "casetext" else {"id": self.last[table], **values}
        self.waiting.setdefault(table, []).append(row)
        return self.last[table]

    def write(self) -> None:
        """Put the waiting rows in, blank where nothing was said."""
        from django.apps import apps
        from django.db import connection, transaction

        with transaction.atomic(), connection.cursor() as cursor:
            for table, rows in self.waiting.items():
                fields = apps.get_model("casebook", table)._meta.concrete_fields
                names = [field.column for field in fields]
                blank = {field.column: _blank(field) for field in fields}
                into = ", ".join(connection.ops.quote_name(name) for name in names)
                values = [tuple((blank | row)[name] for name in names) for row in rows]
                if connection.vendor == "postgresql":
                    with cursor.copy(f"COPY casebook_{table} ({into}) FROM STDIN") as copy:
                        for one in values:
                            copy.write_row(one)
                else:
                    marks = ", ".join(["%s"] * len(names))
                    cursor.executemany(f"INSERT INTO casebook_{table} ({into}) VALUES ({marks})", values)
        self.waiting.clear()


def _blank(field: Any) -> Any:
    if field.null:
        return None
    kind = field.get_internal_type()
    return {"JSONField": "[]", "BigIntegerField": 0, "PositiveSmallIntegerField": 0}.get(kind, "")


def fill(number: int) -> None:
    """Write the cases."""
    from django.db import connection

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA synchronous=OFF")
    rows, luck = Rows(), random.Random(7)
    places = []
    for room in range(1, ROOMS + 1):
        rows.add("fishroom", name=f"Fish room {room}")
        for rack in range(RACKS):
            system = rows.add("system", room_id=room, name=f"Rack {rack}")
            places += [
                (room, system, rows.add("tank", room_id=room, system_id=system, name=f"{rack}-{n}"), f"{rack}-{n}")
                for n in range(TANKS)
            ]
    for place in range(number):
        _case(rows, luck, luck.choice(places))
        if place % BATCH == BATCH - 1:
            rows.write()
            if place % (10 * BATCH) == 10 * BATCH - 1:
                print(f"{connection.vendor}: {place + 1} cases", file=sys.stderr, flush=True)
    rows.write()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for table in set(rows.last) - {"casetext"}:
                sequence = f"pg_get_serial_sequence('casebook_{table}', 'id')"
                cursor.execute(f"SELECT setval({sequence}, (SELECT max(id) FROM casebook_{table}))")
            cursor.execute("VACUUM ANALYZE")
        else:
            cursor.execute("PRAGMA optimize=0x10002")
    connection.close()  # and with it the setting above


def _case(rows: Rows, luck: random.Random, where: tuple[int, int, int, str]) -> None:
    from wetmount.casebook.reference import reference
    from wetmount.casebook.search import searchable

    tables = reference()
    room, system, tank, tank_name = where
    host = luck.choice(list(tables.hosts.values()))
    opened = dt.date(2016, 1, 1) + dt.timedelta(days=luck.randrange(3900))
    closed = opened + dt.timedelta(days=30) if luck.random() < 0.9 else None
    said, leading = " ".join(luck.sample(WORDS, 9)), luck.choice(list(tables.conditions))
    case = rows.last.get("case", 0) + 1
    at = f"{opened.isoformat()} 09:40:{case % 60:02d}+00:00"
    act = rows.add("act", case_id=case, at=at, kind="open_case", said=f"Case {case} opened")
    rows.add("change", act_id=act, table="case", entry=case, after=json.dumps({"title": said[:60], "worries": said}))
    rows.add(
        "case", uid=uuid.UUID(int=luck.getrandbits(128)).hex, number=case, title=said[:60], worries=said,
        which_fish=tank_name, species=host.common_name, host_group=host.host_group, room_id=room, system_id=system,
        tank_id=tank, opened=opened.isoformat(), closed=closed and closed.isoformat(), touched_at=at, leading=leading,
        put_down_to=leading if closed else "", leading_share=luck.random(), step="skin", version=act,
    )  # fmt: skip
    words = [f"case {case}", said, host.common_name, f"Fish room {room}", tank_name]
    for visit in range(luck.choice((1, 1, 2))):
        on = (opened + dt.timedelta(days=14 * visit)).isoformat()
        look = rows.add("look", case_id=case, on=on, version=act)
        fish = rows.add("fish", case_id=case, name=str(visit + 1), state="alive", version=act)
        for kind in luck.sample(VISITED, 2):
            examination = rows.add("examination", look_id=look, kind=kind, fish_id=fish, version=act)
            for finding in tables.examinations[kind].short_list[:6]:
                row = tables.findings[finding]
                level = luck.randrange(len(row.levels)) if luck.random() < 0.3 else 0
                words += [row.name] if level else []
                rows.add(
                    "findingentry", examination_id=examination, finding=finding, level=level, at=at,
                    sure="sure" if level else "swept", version=act,
                )  # fmt: skip
        rows.add("reading", look_id=look, parameter="nitrite", value="0.8 mg/L NO2", on=on)
    rows.add("note", case_id=case, on=opened.isoformat(), text=said)
    if closed:
        rows.add("casecause", case_id=case, condition=leading, standing="confirmed")
        words.append(tables.conditions[leading].name)
    elif luck.random() < 0.01:  # a practice has dozens of things to do, not thousands
        day = opened.isoformat()
        rows.add("taskdue", kind="look_again", case_id=case, title="Look again", set_on=day, due_on=day)
    rows.add("casetext", case_id=case, body=searchable("\n".join(words)))


# --- measuring --------------------------------------------------------------------------------------------------------


def milliseconds(work: Callable[[Any], Any], over: Iterable[Any]) -> tuple[float, float, float]:
    """(median, 95th percentile, worst) milliseconds of `work`, after three to warm up."""
    spent = []
    for place, one in enumerate(over):
        begun = time.perf_counter()
        work(one)
        if place >= 3:
            spent.append(1000 * (time.perf_counter() - begun))
    spent.sort()
    return statistics.median(spent), spent[int(0.95 * len(spent))], spent[-1]


def measured(number: int) -> Iterator[tuple[str, tuple[float, float, float]]]:
    """Each kind of request with its times."""
    from django.test import Client

    from wetmount.casebook import pairing
    from wetmount.casebook.models import Case, Examination
    from wetmount.casebook.reference import reference

    luck = random.Random(11)
    device = pairing.owner()
    client = Client()
    client.cookies["wetmount_80"] = pairing.enter(pairing.make_link(for_owner=True))

    def get(address: str) -> None:
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)

    def addresses(make: Callable[[], str]) -> list[str]:
        return [make() for _ in range(TIMES + 3)]

    def case() -> int:
        return luck.randint(1, number)

    tables = reference()
    groups, causes = list(tables.host_groups), list(tables.conditions)
    kinds: dict[str, Callable[[], str]] = {
        "Today": lambda: "/",
        "list of cases, first page": lambda: "/cases/",
        "list, anywhere in it": lambda: f"/cases/?before={case()}",
        "list of one host group": lambda: f"/cases/?host={luck.choice(groups)}",
        "list of one cause": lambda: f"/cases/?condition={luck.choice(causes)}",
        "list of one room, open, of one year": lambda: f"/cases/?room={luck.randint(1, 40)}&state=open"
                                                       "&opened_from=2024-01-01&opened_to=2024-12-31",
        "search, one word that is common": lambda: f"/cases/?q={luck.choice(WORDS)}",
        "search, three words": lambda: "/cases/?q=" + "+".join(luck.sample(WORDS, 3)),
        "search, beginning of a word": lambda: f"/cases/?q={luck.choice(WORDS)[:3]}",
        "search, number of a case": lambda: f"/cases/?q=case+{case()}",
        "search, nothing found": lambda: "/cases/?q=" + uuid.uuid4().hex,
        "charts of what has been seen": lambda: "/cases/seen/",
        "case, first page": lambda: f"/case/{case()}/",
        "case, skin scrape": lambda: f"/case/{case()}/skin/",
        "case, record": lambda: f"/case/{case()}/record/",
        "a fish room": lambda: f"/rooms/{luck.randint(1, 40)}/",
    }  # fmt: skip
    for what, make in kinds.items():
        yield what, milliseconds(get, addresses(make))
    opened = list(Case.objects.filter(closed=None).values_list("pk", flat=True)[: 20 * TIMES])
    scrapes = list(Examination.objects.filter(look__case__in=opened).select_related("look__case")[: 10 * TIMES])
    luck.shuffle(scrapes)

    def save(examination: Examination) -> None:
        finding = luck.choice(tables.examinations[examination.kind].short_list)
        sent = {"examination": examination.pk, "set": f"{finding} 1 sure 0", "id": str(uuid.uuid4())}
        answer = client.post(f"/case/{examination.look.case.number}/finding/", sent, headers={"X-Wetmount": "pieces"})
        assert answer.status_code < 400 or answer.status_code == 409, answer.status_code

    yield "save of a finding, with its answer", milliseconds(save, scrapes[: TIMES + 3])
    from wetmount.casebook.services import keeping

    yield (
        "save of a note",
        milliseconds(lambda row: keeping.add_note(device, "written down", case=row.look.case), scrapes[: TIMES + 3]),
    )


# --- running ----------------------------------------------------------------------------------------------------------


def one(number: int) -> list[tuple[str, tuple[float, float, float]]]:
    """Fill the database of this process and measure."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "wetmount.casebook.settings"
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command

    settings.ALLOWED_HOSTS.append("testserver")
    call_command("migrate", verbosity=0)
    begun = time.perf_counter()
    fill(number)
    print(f"filled in {time.perf_counter() - begun:.0f} s", file=sys.stderr, flush=True)
    found = []
    for what, times in measured(number):
        print(f"{what}: {times[0]:.0f} / {times[1]:.0f} / {times[2]:.0f} ms", file=sys.stderr, flush=True)
        found.append((what, times))
    return found


def in_a_process(number: int, url: str) -> list[tuple[str, tuple[float, float, float]]]:
    """The same in a process of its own, which has one database."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "files").mkdir()
        environment = os.environ | {"WETMOUNT_DATA": folder, "WETMOUNT_DATABASE_URL": url}
        command = [sys.executable, "-m", "benchmarks.casebook", "--cases", str(number), "--database", "this"]
        done = subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True)
    return [(what, tuple(times)) for what, times in json.loads(done.stdout.splitlines()[-1])]


def _versions() -> str:
    import sqlite3

    import django

    said = subprocess.run(["pg_dump", "--version"], capture_output=True, text=True, check=False).stdout
    server = re.search(r"\d+\.\d+", said)
    found = f"Django {django.__version__}, SQLite {sqlite3.sqlite_version}"
    return f"{found}, PostgreSQL {server[0]}" if server else found


def main() -> None:
    """Measure, and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--database", choices=("sqlite", "postgresql", "both", "this"), default="both")
    asked = parser.parse_args()
    if asked.database == "this":
        print(json.dumps(one(asked.cases)))
        return
    found = {}
    if asked.database in ("sqlite", "both"):
        found["SQLite"] = in_a_process(asked.cases, "")
    if asked.database in ("postgresql", "both"):
        sys.path.insert(0, str(HERE.parent / "tests" / "casebook"))
        from postgresql import server

        with server(safe=True) as url:
            found["PostgreSQL"] = in_a_process(asked.cases, url)
    head = f"{machine()}, {_versions()}"
    print(f"{head}; {asked.cases} cases, {TIMES} requests each; median / 95th percentile / worst, ms\n")
    print(f"| request | {' | '.join(found)} | target, 95th |")
    print(f"| --- | {' | '.join('---' for _ in found)} | --- |")
    for row in zip(*found.values(), strict=True):
        cells = [" / ".join(f"{value:.0f}" for value in times) for _, times in row]
        print(f"| {row[0][0]} | {' | '.join(cells)} | {TARGET_MS} |")


if __name__ == "__main__":
    main()

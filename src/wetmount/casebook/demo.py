"""The demonstration casebook: Harbour Row Fish Room, invented, with cases at every stage and things that are due today.

Its case files tell of days around 3 October 2026; every date in them is moved so that this day is today.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import resources

from django.db import transaction
from msgspec import structs

from wetmount.casebook import clock, demo_pictures
from wetmount.casebook.models import Batch, Case, Device, Examination, FishRoom, System, Tank
from wetmount.casebook.reference import reference
from wetmount.casebook.services import cases, files, keeping, tracing, weighing
from wetmount.casebook.services.records import import_case
from wetmount.casefile import read_case_text
from wetmount.origin.room_file import demo_room

ROOM = "Harbour Row Fish Room"
TOLD_ON = dt.date(2026, 10, 3)
"""The day that is today in the case files."""
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip


def fill(device: Device) -> None:
    """Fill an empty casebook; one that has Harbour Row already is left as it is. All or nothing."""
    if FishRoom.objects.filter(name=ROOM).exists():
        return
    with transaction.atomic():
        # A writer of its own, so that Undo on this computer never reaches into what was shown.
        writer = Device.objects.create(kind="import", name="demonstration", paired_at=clock.now())
        _Demo(writer).fill()


# --- what there is ----------------------------------------------------------------------------------------------------

RACKS = {"Rack A": "A", "Rack B": "B", "Rack C": "C"}
BATCHES: tuple[tuple[str, str, str, int, tuple[tuple[str, int | None, str | None, str | None], ...]], ...] = (
    # species, supplier, arrived, number; then moves: day, how many (None: all), from, to
    ("tiger barb", "East", "2026-05-02", 30, (
        ("2026-05-02", None, None, "Q2"), ("2026-06-01", 10, "Q2", "A1"), ("2026-06-01", 10, "Q2", "A2"),
        ("2026-06-01", None, "Q2", "A3"))),
    ("Boeseman rainbowfish", "North", "2026-09-19", 24, (
        ("2026-09-19", None, None, "Q2"), ("2026-09-21", None, "Q2", "A4"), ("2026-09-24", 4, "A4", "A9"))),
    ("neon rainbowfish", "East", "2026-03-14", 18, (
        ("2026-03-14", None, None, "Q1"), ("2026-04-12", 9, "Q1", "A5"), ("2026-04-12", None, "Q1", "A6"))),
    ("red rainbowfish", "Pond Lane", "2026-06-27", 12, (
        ("2026-06-27", None, None, "Q4"), ("2026-07-26", 6, "Q4", "A7"), ("2026-07-26", None, "Q4", "A11"))),
    ("rosy barb", "Pond Lane", "2026-02-21", 16, (("2026-02-21", None, None, "A10"),)),
    ("cherry barb", "Pond Lane", "2026-06-06", 45, (
        ("2026-06-06", None, None, "B4"), ("2026-06-20", 9, "B4", None), ("2026-08-02", 18, "B4", "B5"))),
    ("pearl gourami", "North", "2026-05-23", 16, (
        ("2026-05-23", None, None, "Q6"), ("2026-06-21", None, "Q6", "B8"), ("2026-08-03", 4, "B8", None))),
    ("dwarf gourami", "North", "2026-01-17", 20, (
        ("2026-01-17", None, None, "Q5"), ("2026-02-15", None, "Q5", "B9"), ("2026-07-05", 8, "B9", "B10"))),
    ("three-spot gourami", "East", "2026-03-28", 8, (("2026-03-28", None, None, "B1"),)),
    ("harlequin rasbora", "East", "2026-04-25", 40, (("2026-04-25", None, None, "B2"), ("2026-05-30", 20, "B2", "B3"))),
    ("kissing gourami", "Pond Lane", "2026-07-11", 6, (("2026-07-11", None, None, "B12"),)),
    ("platy", "East", "2026-04-11", 20, (
        ("2026-04-11", None, None, "C7"), ("2026-08-15", 6, "C7", "C3"), ("2026-08-15", 5, "C7", "C8"),
        ("2026-09-26", 1, "C7", None))),
    ("guppy", "Pond Lane", "2025-11-28", 40, (("2025-11-28", None, None, "C2"), ("2026-03-01", 15, "C2", "C1"))),
    ("molly", "North", "2026-05-30", 14, (("2026-05-30", None, None, "C5"),)),
    ("swordtail", "East", "2026-06-13", 18, (("2026-06-13", None, None, "C10"),)),
    ("cherry barb", "North", "2026-09-05", 25, (("2026-09-05", None, None, "Q1"),)),
    ("killifish", "East", "2026-09-08", 11, (("2026-09-08", None, None, "Q3"),)),
    ("splendid rainbowfish", "North", "2026-09-26", 15, (("2026-09-26", None, None, "Q5"),)),
)  # fmt: skip
SAID_BY_CASES = (("A4", "2026-10-03"), ("C7", "2026-09-26"))
"""Checks of the core's room that are examinations of cases here."""
CONTACTS = (("net", "C7", "C3", "2026-09-28"), ("net", "C3", "B2", "2026-10-01"))
NOTES = (
    ("2026-09-18", "Rack A", None, "Filter cleaned too hard: sponges rinsed under the tap."),
    ("2026-09-29", None, "A4", "First rubbing seen."),
    ("2026-09-24", None, "C7", "Red threads at the vent of three platies."),
)
READINGS = (("A4", "nitrite", "0.9 mg/L NO2", "2026-10-02"), ("A4", "nitrite", "1.6 mg/L NO2", "2026-10-03"),
            ("A4", "temperature", "25.5 °C", "2026-10-03"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Story:
    """A case: its file, where it was left, and what it was put down to when it was closed."""

    file: str
    step: str = "report"
    room: str | None = None
    system: str | None = None
    closed: str | None = None
    confirmed: tuple[str, ...] = ()
    likely: tuple[str, ...] = ()
    outcome: str = "recovered"
    ended: str = ""


STORIES = (
    Story("demonstration/bettas", closed="2025-11-10", confirmed=("trauma", "fin_rot"),
          outcome="partly", ended="Partitions fixed, fins grown back by half after three weeks."),
    Story("demonstration/guppies", closed="2025-12-28", confirmed=("ich",), likely=("temp_shock",),
          ended="No spots since 14 December. Newcomers now go through quarantine."),
    Story("demonstration/bronze_corys", closed="2026-03-07", confirmed=("old_tank_syndrome",),
          ended="Changed a tenth a day for two weeks; pH and nitrate back in range, no more deaths."),
    Story("examples/garden_pond_koi", closed="2026-05-10", confirmed=("skin_flukes", "trichodinosis"),
          likely=("atypical_aeromonas",), ended="Sore closed in six weeks, water above 15 °C."),
    Story("demonstration/tiger_barbs", closed="2026-06-01", confirmed=("gill_flukes", "skin_flukes"),
          ended="Gills clear in two scrapes; moved to rack A."),
    Story("demonstration/cherry_barbs", closed="2026-07-12",
          confirmed=("ammonia_poisoning", "costia", "columnaris"), likely=("immune_suppression",),
          ended="For teaching: the new filter let ammonia up, ammonia let the flagellates multiply, and broken skin "
          "let the rods in. Each was treated in that order."),
    Story("demonstration/pearl_gouramis", closed="2026-08-20", confirmed=("columnaris",),
          outcome="partly", ended="Cooler water and more air came first; twelve of sixteen lived."),
    Story("demonstration/dwarf_gouramis", step="laboratory"),
    Story("demonstration/killifish", step="skin"),
    Story("demonstration/swordtails", closed="2026-09-27", confirmed=("temp_shock",),
          ended="Heater replaced, a second one fitted on the sump."),
    Story("examples/harbour_row_platies", step="follow-up", system="Rack C"),
    Story("examples/neon_tetras", step="weigh-up", room="Home tanks"),
    Story("examples/goldfish_tap_water", step="first-aid", room="Home tanks"),
    Story("examples/harbour_row_rack_a", step="gill", system="Rack A"),
)  # fmt: skip
"""In the order in which they were opened, so that the last has number 14."""

TASKS: tuple[tuple[str, str, str, str | None, str, str | None, str], ...] = (
    # kind, title, day, time, where (case number, tank or system), set on, detail
    ("look_again", "Look again: platies, red worms", "2026-10-01", None, "11", "2026-09-26", "Vents and one dropping."),
    ("news", "No news from the keeper", "2026-09-29", None, "9", "2026-09-22",
     "Killifish off food. Last heard on 22 September."),
    ("quarantine", "End of quarantine?", "2026-10-03", None, "Q1", "2026-09-05",
     "Cherry barbs from North, day 28, no signs noted. Look before you move them."),
    ("water_change", "Change a quarter of the water", "2026-10-03", "18:00", "Rack A", "2026-10-02",
     "165 L of 660 L, at 25 °C, conditioned."),
    ("dose", "Second dose against red worms", "2026-10-03", "18:30", "Rack C", "2026-09-26",
     "Platies in C3, C7 and C8. As prescribed on 26 September."),
    ("reading", "Test nitrite", "2026-10-03", "20:00", "Rack A", "2026-10-03",
     "After the change. This morning 1.6 mg/L NO2, yesterday 0.9 mg/L."),
    ("result", "Histology of a dwarf gourami", "2026-10-06", None, "8", "2026-09-28",
     "Spleen and kidney, sent on 29 September."),
    ("look_again", "Scrape fish 2 and 3 again", "2026-10-05", None, "14", "2026-10-03",
     "Skin and gill, two days after the change."),
    ("news", "Ask how the goldfish are", "2026-10-04", None, "13", "2026-10-02", ""),
    ("quarantine", "End of quarantine?", "2026-10-06", None, "Q3", "2026-09-08",
     "Killifish from East, day 28. Case 9 is open."),
    ("quarantine", "End of quarantine?", "2026-10-24", None, "Q5", "2026-09-26", "Splendid rainbowfish from North."),
)  # fmt: skip

FURTHER_TANKS = {11: ("C3", "C8"), 14: ("A9",)}

PICTURES = (
    # case number, examination, fish, drawing, caption
    (2, "in_hand", "1", "spots", "White spots on the flank"),
    (2, "skin_scrape", "1", "rolling", "Rolling ciliates with a horseshoe nucleus, 10x"),
    (5, "gill_scrape", "1", "flukes", "Flukes on the second arch, 10x"),
    (6, "skin_scrape", "1", "rods", "Rods in haystacks at the rim of the mouth patch, 40x"),
    (8, "organ_squash", "1", "granulomas", "Layered nodules in the spleen, 10x"),
    (11, "dissection", "2", "worms", "Red worms in the hind gut"),
    (14, "in_hand", "1", "mouth", "Pale patch at the mouth, fish 1"),
    (14, "skin_scrape", "1", "flagellates", "Flickering flagellates and one saucer-shaped ciliate, 40x"),
)


# --- putting it in ----------------------------------------------------------------------------------------------------


class _Demo:
    """Writes the demonstration, everything through the services that write it in use."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self.shift = clock.today() - TOLD_ON
        self.tanks: dict[str, Tank] = {}
        self.places = {tank.id: tank for tank in demo_room().tanks}
        self.systems: dict[str, System] = {}

    def fill(self) -> None:
        self._room()
        for story in STORIES:
            self._case(story)
        self._pictures()
        for number, names in FURTHER_TANKS.items():
            case = Case.objects.get(number=number)
            cases.set_further_tanks(self.device, case, [self.tanks[name] for name in names])
        for story, case in self._numbered():
            self._end(story, case)
        for task in TASKS:
            self._task(*task)

    def day(self, told: str) -> dt.date:
        """A day of the story as it is today."""
        return dt.date.fromisoformat(told) + self.shift

    def told(self, text: str) -> str:
        """A text with its dates ("2026-09-18", "18 September") moved; a year is not said in words."""

        def iso(found: re.Match[str]) -> str:
            return self.day(found.group()).isoformat()

        def words(found: re.Match[str]) -> str:
            moved = dt.date(TOLD_ON.year, MONTHS.index(found[2]) + 1, int(found[1])) + self.shift
            return f"{moved.day} {MONTHS[moved.month - 1]}"

        text = re.sub(r"\b(\d{1,2}) (" + "|".join(MONTHS) + r")\b", words, text)
        return re.sub(r"\b20\d\d-\d\d-\d\d\b", iso, text)

    def _room(self) -> None:
        keeper = keeping.add_keeper(self.device, "the keeper")
        room = keeping.add_room(
            self.device, ROOM, keeper, "Three racks of twelve tanks, one sump each; six quarantine tanks."
        )
        for place, (name, letter) in enumerate(RACKS.items()):
            rack = self.systems[name] = keeping.add_system(self.device, room, name, volume_l=660.0, order=place)
            for n in range(1, 13):
                self._tank(room, f"{letter}{n}", rack, 55.0, n)
        for n in range(1, 7):
            self._tank(room, f"Q{n}", None, 60.0, n)
        for species, origin, arrived, number, moves in BATCHES:
            batch = keeping.add_batch(
                self.device,
                species,
                room,
                origin=origin,
                arrived=self.day(arrived),
                number=number,
                host_group=_group(species),
            )
            for on, moved, source, goal in moves:
                self._move(batch, on, moved, source, goal)
        for kind, first, then, on in CONTACTS:
            keeping.add_contact(self.device, kind, self.tanks[first], self.tanks[then], self.day(on))
        for on, system, tank, text in NOTES:
            keeping.add_note(
                self.device,
                text,
                on=self.day(on),
                system=self.systems.get(system or ""),
                tank=self.tanks.get(tank or ""),
            )
        self._shared_and_seen(room)
        for tank, parameter, value, on in READINGS:
            keeping.set_reading(self.device, None, parameter, value, tank=self.tanks[tank], on=self.day(on))

    def _tank(self, room: FishRoom, name: str, rack: System | None, volume_l: float, place: int) -> None:
        stands = self.places[name]
        self.tanks[name] = keeping.add_tank(
            self.device, room, name, rack, volume_l=volume_l, order=place, row=stands.row, place=stands.place,
            turn=stands.order,
        )  # fmt: skip

    def _shared_and_seen(self, room: FishRoom) -> None:
        """What tanks share and what was seen in them, as the core's own Harbour Row tells it."""
        told = demo_room()

        def named(ids: Iterable[str]) -> list[Tank]:
            return [self.tanks[id] for id in ids]

        def moved(on: dt.date | None) -> dt.date | None:
            return None if on is None else on + self.shift

        for tool in told.tools:
            since, until = moved(tool.since), moved(tool.until)
            tracing.set_group(self.device, room, "tool", tool.id, named(tool.tanks), since=since, until=until)
        for worker in told.workers:
            tracing.set_group(self.device, room, "worker", worker.id, named(worker.tanks))
        for feed, tanks in told.feeds.items():
            tracing.set_group(self.device, room, "feed", feed, named(tanks))
        for watch in told.watches:
            name = f"every {watch.every_days} days" if watch.every_days > 1 else "every day"
            tracing.set_group(
                self.device, room, "watch", f"{watch.tanks[0]} to {watch.tanks[-1]}, {name}", named(watch.tanks),
                since=watch.since + self.shift, every_days=watch.every_days,
            )  # fmt: skip
        for sign in told.sightings:
            tracing.note_sign(
                self.device, self.tanks[sign.tank], sign.kind, sign.on + self.shift, number=sign.number,
                not_before=moved(sign.not_before), condition=sign.condition or told.condition or "",
            )  # fmt: skip
        for check in told.checks:
            if (check.tank, check.on.isoformat()) not in SAID_BY_CASES:
                tracing.note_check(
                    self.device, self.tanks[check.tank], check.on + self.shift, found=check.seen,
                    examination=check.examination, fish=check.fish, condition=check.condition or told.condition or "",
                )  # fmt: skip

    def _move(self, batch: Batch, on: str, number: int | None, source: str | None, goal: str | None) -> None:
        keeping.move_fish(
            self.device,
            batch,
            self.tanks.get(goal or ""),
            self.day(on),
            from_tank=self.tanks.get(source or ""),
            number=number,
        )

    def _case(self, story: Story) -> None:
        folder, name = story.file.split("/")
        package = "wetmount.casebook" if folder == "demonstration" else "wetmount"
        text = (resources.files(package) / folder / f"{name}.toml").read_text(encoding="utf-8")
        record = read_case_text(self.told(text), "toml", f"{name}.toml", reference())
        record = structs.replace(record, id=None, room=record.room or story.room, system=story.system or record.system)
        case = import_case(self.device, record)
        if not story.closed:
            self._weigh(case)
        Case.objects.filter(pk=case.pk).update(step=story.step)

    def _weigh(self, case: Case) -> None:
        """The ranking, kept as the weigh-up page keeps it, so that the list shows what leads."""
        look = case.looks.order_by("on", "id").last()
        if look is not None:
            weighing.weighed(look, weighing.ready(case, look, reference()), "ranking")

    def _numbered(self) -> Iterator[tuple[Story, Case]]:
        return zip(STORIES, Case.objects.order_by("number"), strict=True)

    def _end(self, story: Story, case: Case) -> None:
        for standing, conditions in (("confirmed", story.confirmed), ("likely", story.likely)):
            for condition in conditions:
                cases.set_cause(self.device, case, condition, standing)
        if story.closed:
            ended = self.told(story.ended)
            cases.close_case(self.device, case, on=self.day(story.closed), outcome=story.outcome, outcome_note=ended)
        # Worked on in the order of their numbers, so that the last one is carried on.
        touched = clock.now() - dt.timedelta(days=1) + dt.timedelta(minutes=case.number)
        Case.objects.filter(pk=case.pk).update(touched_at=touched)

    def _task(
        self, kind: str, title: str, on: str, at: str | None, where: str, set_on: str | None, detail: str
    ) -> None:
        case = Case.objects.get(number=int(where)) if where.isdecimal() else None
        touched = case.touched_at if case is not None else None
        keeping.add_task(
            self.device, kind, title, self.day(on),
            case=case, tank=self.tanks.get(where), system=self.systems.get(where), detail=self.told(detail),
            due_at=dt.time.fromisoformat(at) if at else None, set_on=self.day(set_on) if set_on else None,
        )  # fmt: skip
        if case is not None:
            Case.objects.filter(pk=case.pk).update(touched_at=touched)

    def _pictures(self) -> None:
        for number, kind, fish, drawing, caption in PICTURES:
            examination = Examination.objects.filter(look__case__number=number, kind=kind, fish__name=fish).first()
            if examination is None:
                raise LookupError(f"the demonstration has no {kind} of fish {fish} in case {number}")
            files.keep(
                self.device, demo_pictures.draw(drawing), name=f"{drawing}.jpg", declared="image/jpeg",
                case=examination.look.case, examination=examination, caption=f"{caption} (a drawing)",
            )  # fmt: skip


def _group(species: str) -> str:
    from wetmount.case_check import host_row

    row = host_row(species, reference())
    return row.host_group if row is not None else "killifish" if species == "killifish" else ""

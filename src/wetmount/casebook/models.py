"""The tables of the casebook: the core's records (`wetmount.case`) in rows, and what keeping them needs.

Words and meanings are those of the core. Ids of findings, conditions, examinations, host groups and parameters are ids
of the reference and stand as text, since a practice may overlay rows. Nothing here is changed by hand: `services`
writes, and records what it wrote. `version` of an entry is the id of the last act that touched it; a page that sends
an entry says which version it had seen.

*Not looked at* is the absence of a finding entry. *Looked and not seen* is an entry of level 0.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models
from django.db.models import F, Q


class Entry(models.Model):
    """What every recorded row has: the act that touched it last."""

    version = models.BigIntegerField(default=0, editable=False)

    class Meta:
        abstract = True


# --- where the fish live ----------------------------------------------------------------------------------------------


class Keeper(Entry):
    """Whose fish they are."""

    name = models.CharField(max_length=200, unique=True)
    contact = models.TextField(blank=True)
    note = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name


class FishRoom(Entry):
    """Premises."""

    name = models.CharField(max_length=200, unique=True)
    keeper = models.ForeignKey(Keeper, null=True, blank=True, on_delete=models.SET_NULL, related_name="rooms")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class System(Entry):
    """A body of shared water: the tanks of a rack on one sump. Once worked out or measured, its volume has the least
    and the most it may plausibly be beside it."""

    room = models.ForeignKey(FishRoom, on_delete=models.CASCADE, related_name="systems")
    name = models.CharField(max_length=200)
    volume_l = models.FloatField(null=True, blank=True)
    volume_low_l = models.FloatField(null=True, blank=True)
    volume_high_l = models.FloatField(null=True, blank=True)
    order = models.PositiveSmallIntegerField(default=0)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("order", "name")
        constraints = [models.UniqueConstraint(fields=["room", "name"], name="system_name_in_room")]

    def __str__(self) -> str:
        return self.name


class Tank(Entry):
    """A container; without a system its water is its own."""

    room = models.ForeignKey(FishRoom, on_delete=models.CASCADE, related_name="tanks")
    system = models.ForeignKey(System, null=True, blank=True, on_delete=models.SET_NULL, related_name="tanks")
    name = models.CharField(max_length=200)
    volume_l = models.FloatField(null=True, blank=True)
    volume_low_l = models.FloatField(null=True, blank=True)
    volume_high_l = models.FloatField(null=True, blank=True)
    order = models.PositiveSmallIntegerField(default=0)
    row = models.PositiveSmallIntegerField(null=True, blank=True)
    """Shelf of its rack, counted from the top."""
    place = models.PositiveSmallIntegerField(null=True, blank=True)
    """Place on the shelf, counted from the left; neighbours differ by one."""
    turn = models.PositiveSmallIntegerField(null=True, blank=True)
    """Its turn when the room is worked through."""
    since = models.DateField(null=True, blank=True)
    """Day it was set up."""
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("order", "name")
        constraints = [models.UniqueConstraint(fields=["room", "name"], name="tank_name_in_room")]

    def __str__(self) -> str:
        return self.name


class Batch(Entry):
    """Fish of one species from one origin that arrived together."""

    room = models.ForeignKey(FishRoom, null=True, blank=True, on_delete=models.CASCADE, related_name="batches")
    species = models.CharField(max_length=200)
    host_group = models.CharField(max_length=200, blank=True)
    origin = models.CharField(max_length=200, blank=True)
    arrived = models.DateField(null=True, blank=True)
    number = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("-arrived", "-id")

    def __str__(self) -> str:
        return f"{self.species} from {self.origin}" if self.origin else self.species


class Move(Entry):
    """A dated contact between tanks: fish that were moved, or a net, a hose, water that went from one to another."""

    KINDS = [
        ("fish", "fish moved"),
        ("net", "net or tool shared"),
        ("water", "water carried over"),
        ("plants", "plants or stones moved"),
        ("other", "something else that was wet"),
    ]
    kind = models.CharField(max_length=10, choices=KINDS, default="fish")
    on = models.DateField()
    batch = models.ForeignKey(Batch, null=True, blank=True, on_delete=models.CASCADE, related_name="moves")
    number = models.PositiveIntegerField(null=True, blank=True)
    from_tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.CASCADE, related_name="moves_out")
    to_tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.CASCADE, related_name="moves_in")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("on", "id")
        indexes = [models.Index(fields=["on"])]


# --- what was seen in tanks, and what they share ----------------------------------------------------------------------


class TankSign(Entry):
    """Signs or deaths in a tank on a day. `not_before`: the last day on which it was still seen well."""

    KINDS = [("signs", "signs"), ("deaths", "deaths")]
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="signs")
    on = models.DateField()
    kind = models.CharField(max_length=6, choices=KINDS, default="signs")
    number = models.PositiveIntegerField(null=True, blank=True)
    not_before = models.DateField(null=True, blank=True)
    condition = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("on", "id")

    def __str__(self) -> str:
        return f"{self.get_kind_display()} in {self.tank.name}"


class TankCheck(Entry):
    """A deliberate look at a tank's fish, and whether it was seen. Without a condition: any signs at all."""

    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="checks")
    on = models.DateField()
    examination = models.CharField(max_length=200, default="tank_look")
    fish = models.PositiveIntegerField(null=True, blank=True)
    found = models.BooleanField()
    """Whether it was seen; not `seen`, which is what writers call the version they had before them."""
    condition = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("on", "id")

    def __str__(self) -> str:
        return f"check of {self.tank.name}"


class TankGroup(Entry):
    """What several tanks have in common over a time: a net or hose used in all, a person, a feed, a watch kept."""

    KINDS = [("tool", "net, bucket or hose"), ("worker", "person"), ("feed", "feed"), ("watch", "watch kept")]
    room = models.ForeignKey(FishRoom, on_delete=models.CASCADE, related_name="groups")
    kind = models.CharField(max_length=6, choices=KINDS)
    name = models.CharField(max_length=200)
    since = models.DateField(null=True, blank=True)
    until = models.DateField(null=True, blank=True)
    every_days = models.PositiveSmallIntegerField(null=True, blank=True)
    """How often a watch looks."""
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("kind", "name", "id")

    def __str__(self) -> str:
        return self.name

    @property
    def tanks(self) -> list[Tank]:
        """The tanks in it."""
        return [one.tank for one in self.members.select_related("tank").order_by("tank__order", "tank__name")]


class TankInGroup(Entry):
    """A tank of a group."""

    group = models.ForeignKey(TankGroup, on_delete=models.CASCADE, related_name="members")
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="groups")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["group", "tank"], name="tank_once_in_group")]


# --- the case ---------------------------------------------------------------------------------------------------------


class CaseManager(models.Manager["Case"]):
    """The cases that are there; a deleted one can be brought back for 30 days and is found by `Case.all_cases`."""

    def get_queryset(self) -> models.QuerySet[Case]:
        return super().get_queryset().filter(deleted_at=None)


class Case(Entry):
    """One problem in one keeper's fish, from intake to closure."""

    OUTCOMES = [
        ("recovered", "recovered"),
        ("partly", "recovered in part"),
        ("lost", "lost: died or put down"),
        ("unchanged", "unchanged"),
        ("unknown", "not known"),
    ]
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(unique=True)
    own_number = models.CharField(max_length=200, blank=True)
    title = models.CharField(max_length=300)
    worries = models.TextField(blank=True)
    note = models.TextField(blank=True)
    keeper = models.ForeignKey(Keeper, null=True, blank=True, on_delete=models.SET_NULL, related_name="cases")
    room = models.ForeignKey(FishRoom, null=True, blank=True, on_delete=models.SET_NULL, related_name="cases")
    system = models.ForeignKey(System, null=True, blank=True, on_delete=models.SET_NULL, related_name="cases")
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.SET_NULL, related_name="cases")
    batch = models.ForeignKey(Batch, null=True, blank=True, on_delete=models.SET_NULL, related_name="cases")
    which_fish = models.CharField(max_length=300, blank=True)
    species = models.CharField(max_length=200, blank=True)
    host_group = models.CharField(max_length=200, blank=True)
    red_flags = models.JSONField(default=list, blank=True)
    opened = models.DateField()
    closed = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=12, choices=OUTCOMES, blank=True)
    outcome_note = models.TextField(blank=True)
    step = models.CharField(max_length=40, default="first-aid")
    # kept beside the record for lists; made anew from it at any time, so no part of its history
    touched_at = models.DateTimeField()
    leading = models.CharField(max_length=200, blank=True)
    leading_share = models.FloatField(null=True, blank=True)
    put_down_to = models.TextField(blank=True)
    """Ids of the confirmed causes, joined by commas."""
    deleted_at = models.DateTimeField(null=True, blank=True)

    objects = CaseManager()
    all_cases = models.Manager()

    class Meta:
        base_manager_name = "all_cases"
        ordering = ("-number",)
        indexes = [
            models.Index(F("touched_at").desc(), condition=Q(deleted_at=None), name="case_touched"),
            models.Index(F("number").desc(), condition=Q(deleted_at=None), name="case_listed"),
            models.Index(fields=["opened"], condition=Q(deleted_at=None), name="case_opened"),
            models.Index(fields=["closed"], condition=Q(deleted_at=None), name="case_closed"),
            models.Index(F("touched_at").desc(), condition=Q(deleted_at=None, closed=None), name="case_carry_on"),
            models.Index(fields=["deleted_at"], condition=Q(deleted_at__isnull=False), name="case_deleted"),
            models.Index(fields=["host_group", "species"], condition=Q(deleted_at=None), name="case_host"),
            models.Index(fields=["leading"], condition=Q(deleted_at=None), name="case_leading"),
            models.Index(fields=["put_down_to", "leading"], condition=Q(deleted_at=None), name="case_causes"),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def is_closed(self) -> bool:
        return self.closed is not None


class CaseTank(Entry):
    """A further tank of a case; the first one stands in the case."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="further_tanks")
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="further_cases")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["case", "tank"], name="tank_once_in_case")]


class CaseBatch(Entry):
    """A batch as it was told in the case (`wetmount.case.Batch`), when it is not one of a known room."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="batches")
    species = models.CharField(max_length=200)
    origin = models.CharField(max_length=200, blank=True)
    arrived = models.DateField(null=True, blank=True)
    number = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)


class CaseCause(Entry):
    """What the case was put down to, in the practitioner's judgement."""

    STANDINGS = [("confirmed", "confirmed"), ("likely", "held most likely"), ("ruled_out", "ruled out")]
    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="causes")
    condition = models.CharField(max_length=200, db_index=True)
    standing = models.CharField(max_length=12, choices=STANDINGS, default="likely")
    note = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["case", "condition"], name="condition_once_in_case")]


class CaseAddendum(Entry):
    """What was added to a closed case."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="addenda")
    text = models.TextField()
    at = models.DateTimeField()

    class Meta:
        ordering = ("id",)


class HistoryAnswer(Entry):
    """What the keeper answered to a question of the history."""

    ANSWERS = [("yes", "yes"), ("no", "no"), ("not asked", "not asked")]
    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="answers")
    finding = models.CharField(max_length=200)
    answer = models.CharField(max_length=10, choices=ANSWERS)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["case", "finding"], name="answer_once_in_case")]


class Fish(Entry):
    """An individual that was examined, and the state of its body when it was."""

    STATES = [("alive", "alive"), ("killed", "killed for the examination"), ("found_dead", "found dead")]
    KEPT = [("unchilled", "not chilled"), ("refrigerated", "refrigerated"), ("frozen", "frozen")]
    SEXES = [("female", "female"), ("male", "male"), ("unknown", "unknown")]
    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="fish")
    name = models.CharField(max_length=200)
    species = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=12, choices=STATES, blank=True)
    killed_by = models.TextField(blank=True)
    hours_dead = models.FloatField(null=True, blank=True)
    kept = models.CharField(max_length=12, choices=KEPT, blank=True)
    length = models.CharField(max_length=60, blank=True)
    weight = models.CharField(max_length=60, blank=True)
    sex = models.CharField(max_length=10, choices=SEXES, blank=True)
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.SET_NULL, related_name="examined_fish")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(fields=["case", "name"], name="fish_name_in_case")]

    def __str__(self) -> str:
        return f"fish {self.name}"


class Look(Entry):
    """The examinations of one visit. A weigh-up belongs to a look."""

    case = models.ForeignKey(Case, on_delete=models.CASCADE, related_name="looks")
    on = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = (F("on").asc(nulls_first=True), "id")


class Numbers(Entry):
    """How many fish there were on the day of a look."""

    look = models.OneToOneField(Look, on_delete=models.CASCADE, related_name="numbers")
    total = models.PositiveIntegerField(null=True, blank=True)
    sick = models.PositiveIntegerField(null=True, blank=True)
    dead = models.PositiveIntegerField(null=True, blank=True)
    dead_today = models.PositiveIntegerField(null=True, blank=True)


class Examination(Entry):
    """One thing done once, to one fish or one tank. `kind` is an examination of the reference."""

    look = models.ForeignKey(Look, on_delete=models.CASCADE, related_name="examinations")
    kind = models.CharField(max_length=200)
    fish = models.ForeignKey(Fish, null=True, blank=True, on_delete=models.SET_NULL, related_name="examinations")
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.SET_NULL, related_name="examinations")
    at = models.DateTimeField(null=True, blank=True)
    body_state = models.CharField(max_length=200, blank=True)
    site = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=["kind"])]


class FindingEntry(Entry):
    """What looking for one finding gave: level 0 is looked and not seen. No entry: not looked at.

    `sure` is sure, fairly, doubtful, or swept: looked over at a glance with the rest of the short list, not seen.
    """

    examination = models.ForeignKey(Examination, on_delete=models.CASCADE, related_name="findings")
    finding = models.CharField(max_length=200)
    level = models.PositiveSmallIntegerField()
    sure = models.CharField(max_length=20, default="sure")
    seen_in = models.PositiveIntegerField(null=True, blank=True)
    looked_at = models.PositiveIntegerField(null=True, blank=True)
    note = models.TextField(blank=True)
    at = models.DateTimeField()

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(fields=["examination", "finding"], name="finding_once_in_examination")]
        indexes = [models.Index(fields=["finding", "level"])]

    @property
    def swept(self) -> bool:
        return self.sure == "swept"


class Slide(Entry):
    """One wet mount: how much of it was viewed and what was counted (finding id: one number, or one a field)."""

    examination = models.ForeignKey(Examination, on_delete=models.CASCADE, related_name="slides")
    objective = models.CharField(max_length=20, blank=True)
    fields = models.PositiveIntegerField(null=True, blank=True)
    counts = models.JSONField(default=dict, blank=True)
    site = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)


class Reading(Entry):
    """A measured number with its unit, as typed. Without a look it is quick work: a tank, a day, no case."""

    look = models.ForeignKey(Look, null=True, blank=True, on_delete=models.CASCADE, related_name="readings")
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.SET_NULL, related_name="readings")
    parameter = models.CharField(max_length=200)
    value = models.CharField(max_length=60)
    on = models.DateField(null=True, blank=True)
    time = models.TimeField(null=True, blank=True)
    kit = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=["parameter", "on"])]


class Attachment(Entry):
    """A photograph, a voice note or a short clip. The files lie under the data folder; `file` is the way there."""

    KINDS = [("photograph", "photograph"), ("voice", "voice note"), ("clip", "clip")]
    case = models.ForeignKey(Case, null=True, blank=True, on_delete=models.CASCADE, related_name="attachments")
    examination = models.ForeignKey(
        Examination, null=True, blank=True, on_delete=models.SET_NULL, related_name="attachments"
    )
    kind = models.CharField(max_length=12, choices=KINDS)
    file = models.CharField(max_length=300)
    thumbnail = models.CharField(max_length=300, blank=True)
    original_name = models.CharField(max_length=300, blank=True)
    media_type = models.CharField(max_length=100)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    caption = models.TextField(blank=True)
    at = models.DateTimeField()
    deleted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("id",)


class Note(Entry):
    """Something written down: in a case, or about a room, a system or a tank on a day ("filter cleaned too hard")."""

    case = models.ForeignKey(Case, null=True, blank=True, on_delete=models.CASCADE, related_name="notes")
    look = models.ForeignKey(Look, null=True, blank=True, on_delete=models.CASCADE, related_name="notes")
    room = models.ForeignKey(FishRoom, null=True, blank=True, on_delete=models.CASCADE, related_name="notes")
    system = models.ForeignKey(System, null=True, blank=True, on_delete=models.CASCADE, related_name="notes")
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.CASCADE, related_name="notes")
    on = models.DateField()
    text = models.TextField()

    class Meta:
        ordering = ("on", "id")


class PlanChoice(Entry):
    """The plan of a look (`wetmount.case.Plan`): the water and the fish it is for, what is in hand of each agent, and,
    once something was chosen, who chose and why. A plan without steps is not chosen yet."""

    WATERS = [("fresh", "fresh water"), ("sea", "sea water")]
    look = models.OneToOneField(Look, on_delete=models.CASCADE, related_name="plan")
    by = models.CharField(max_length=200, blank=True)
    why = models.TextField(blank=True)
    chosen_on = models.DateField(null=True, blank=True)
    first = models.DateField(null=True, blank=True)
    reference = models.CharField(max_length=200, blank=True)
    volume = models.CharField(max_length=60, blank=True)
    water = models.CharField(max_length=5, choices=WATERS, blank=True)
    others = models.JSONField(default=list, blank=True)
    living = models.JSONField(default=dict, blank=True)
    lawful_here = models.BooleanField(null=True, blank=True)
    agents = models.JSONField(default=dict, blank=True)
    given = models.JSONField(null=True, blank=True)


class PlanStep(Entry):
    """Something that was chosen to be done, in its place in the plan. `option` is empty for own words."""

    KINDS = [
        ("husbandry", "husbandry"),
        ("treat", "treatment"),
        ("examine", "examine more"),
        ("watch", "watch"),
        ("refer", "refer"),
        ("relieve", "relieve suffering"),
        ("look", "look again"),
        ("own", "in own words"),
    ]
    URGENCIES = [("now", "at once"), ("lasting", "from now on")]
    plan = models.ForeignKey(PlanChoice, on_delete=models.CASCADE, related_name="steps")
    place = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=KINDS, default="own")
    option = models.CharField(max_length=200, blank=True)
    text = models.TextField()
    urgency = models.CharField(max_length=8, choices=URGENCIES, default="now")
    days = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("place", "id")


class TaskDue(Entry):
    """Something to do on a day: for a case, or for a tank, a system or a room."""

    KINDS = [
        ("look_again", "look again"),
        ("dose", "dose"),
        ("water_change", "water change"),
        ("reading", "reading"),
        ("result", "result awaited"),
        ("news", "no news from the keeper"),
        ("quarantine", "end of quarantine"),
        ("plan", "step of the plan"),
    ]
    kind = models.CharField(max_length=20, choices=KINDS)
    case = models.ForeignKey(Case, null=True, blank=True, on_delete=models.CASCADE, related_name="tasks")
    room = models.ForeignKey(FishRoom, null=True, blank=True, on_delete=models.CASCADE, related_name="tasks")
    system = models.ForeignKey(System, null=True, blank=True, on_delete=models.CASCADE, related_name="tasks")
    tank = models.ForeignKey(Tank, null=True, blank=True, on_delete=models.CASCADE, related_name="tasks")
    plan = models.ForeignKey("PlanChoice", null=True, blank=True, on_delete=models.SET_NULL, related_name="tasks")
    title = models.CharField(max_length=300)
    detail = models.TextField(blank=True)
    set_on = models.DateField()
    due_on = models.DateField()
    due_at = models.TimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    outcome = models.TextField(blank=True)

    class Meta:
        ordering = ("due_on", "due_at", "id")
        indexes = [models.Index(fields=["due_on"], condition=Q(done_at=None), name="task_open")]


# --- what keeping the record needs ------------------------------------------------------------------------------------


class Device(models.Model):
    """Who writes: this computer, or a phone that was paired with it. A revoked device stays, for the record."""

    KINDS = [("owner", "this computer"), ("paired", "paired"), ("import", "brought in")]
    kind = models.CharField(max_length=10, choices=KINDS)
    name = models.CharField(max_length=200)
    token_hash = models.CharField(max_length=64, blank=True, db_index=True)
    paired_at = models.DateTimeField()
    last_seen = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class PairingLink(models.Model):
    """A link that lets one browser in, once and for ten minutes. Only its hash is kept."""

    for_owner = models.BooleanField(default=False)
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)


class AppendOnly(models.Model):
    """A row that is written once. The database itself refuses to change it (see the migration)."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None:
            raise TypeError("the record of changes is only ever added to")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        raise TypeError("the record of changes is only ever added to")


class Act(AppendOnly):
    """One thing somebody did, whatever number of entries it touched. Undoing it is another act."""

    case = models.ForeignKey(Case, null=True, on_delete=models.DO_NOTHING, db_constraint=False, related_name="acts")
    device = models.ForeignKey(Device, null=True, on_delete=models.PROTECT, related_name="acts")
    at = models.DateTimeField()
    kind = models.CharField(max_length=40)
    said = models.TextField()
    undoes = models.OneToOneField("self", null=True, on_delete=models.DO_NOTHING, related_name="undone_by")

    class Meta:
        indexes = [models.Index(F("case"), F("id").desc(), name="act_of_case")]


class Change(AppendOnly):
    """What an act did to one entry: the fields it changed, before and after.

    `before` null: the entry was made (and `after` holds all of it); `after` null: it was taken away.
    """

    act = models.ForeignKey(Act, on_delete=models.DO_NOTHING, related_name="changes")
    table = models.CharField(max_length=40)
    entry = models.BigIntegerField()
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=["table", "entry"])]


class Received(models.Model):
    """An entry that a page sent under an id of its own. Sent again after a lost answer, it is not written again."""

    id = models.UUIDField(primary_key=True)
    at = models.DateTimeField()


class WeighUpCache(models.Model):
    """The weigh-up of a look as computed last; `key` names its evidence, tables and options, another one is stale."""

    look = models.OneToOneField(Look, on_delete=models.CASCADE, related_name="weigh_up")
    key = models.CharField(max_length=64)
    result = models.JSONField()
    complete = models.BooleanField(default=False)
    made_at = models.DateTimeField()


class TraceCache(models.Model):
    """Where a condition came into a room, as traced last; `key` names its record and tables, another one is stale."""

    room = models.ForeignKey(FishRoom, on_delete=models.CASCADE, related_name="traces")
    condition = models.CharField(max_length=200)
    key = models.CharField(max_length=64)
    result = models.JSONField()
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["room", "condition"], name="one_trace_in_room")]


class CaseText(models.Model):
    """Everything written in a case, for searching. Made from the record; no part of it."""

    case = models.OneToOneField(Case, primary_key=True, on_delete=models.CASCADE, related_name="text")
    body = models.TextField()


class Setting(models.Model):
    """A choice of the practice: units, costs of examinations, overlay."""

    key = models.CharField(max_length=100, primary_key=True)
    value = models.JSONField()

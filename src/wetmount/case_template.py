"""A case file to fill in: every key in the order of work, all but the host commented out, valid as it stands."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator

from wetmount import units
from wetmount.case import FORMAT, LIVING
from wetmount.case_check import answerable, host_names, host_row, nearest, shorten
from wetmount.errors import InputError
from wetmount.reference import Reference
from wetmount.reference.rows import Examination, Finding

WIDTH = 110

# What is measured at almost every look; the other parameters follow as a list of names.
_USUAL_READINGS = ("temperature", "ph", "ammonia", "nitrite", "nitrate", "gh", "kh", "oxygen")

_HEAD = f"""\
## A case: one problem in one keeper's fish.
## Lines that begin with "##" explain. To use a line that begins with "# ", take those two characters away and change
## what it says; take the head of its block ("# [numbers]") too. Leave out what was not looked at: a finding that is not
## here was not looked at, the first level of a finding means looked and not seen.

format = {FORMAT}
# id = "1"
# title = "one line: which fish, what trouble"
# date = 2026-10-03
# keeper = "the keeper"
# room = "premises"
# system = "body of shared water"
# tank = "container on it"
"""

_FISH = """
## Fish that are examined one by one. state: alive, killed (then killed_by) or found_dead (then hours_dead, the longest
## it can be, and kept: unchilled, refrigerated, frozen).
# [[fish]]
# id = "1"
# state = "alive"
# length = "6.2 cm"
# weight = "3.1 g"
# sex = "unknown"

## Fish that arrived together: one block a batch.
# [[batches]]
# species = "the species"
# origin = "supplier or water"
# arrived = 2026-09-20
# number = 12

## Numbers of fish. total: kept when the trouble began; sick: alive and showing signs; dead: since then, today's too.
# [numbers]
# total = 40
# sick = 6
# dead = 2
# dead_today = 1
"""


def new_case_template(reference: Reference, host: str | None = None) -> str:
    """TOML text of a new case. `host`: a species or a host group of the reference.

    Raises `InputError` when the reference knows no such host.
    """
    parts = [_HEAD, _red_flags(reference), _host(reference, host), _FISH, _history(reference), _look(reference)]
    parts += [
        _fish_examination(row, reference) for row in _in_order(reference) if row.subject in ("fish", "laboratory")
    ]
    return "".join([*parts, _plan()])


def _plan() -> str:
    """What is to be done, at the end: the water and the fish it is for, what is in hand, what was chosen."""
    lines = [
        "\n## The plan of the last look. `wetmount plan` uses it and `wetmount report` prints it.\n",
        _line("[plan]", "options and their ids: wetmount plan case.toml"),
        _line('volume = "660 L to 780 L"', "net water; a range when it is a guess"),
        _line('water = "fresh"', "fresh or sea"),
        _line("others = []", "other fish in the same water: species or groups"),
        _line('living = { plants = "no" }', "yes, no or not asked"),
        _line("lawful_here = false", "restricted agents may be used on ornamental fish here"),
        _line('by = "the bench"', "who chose"),
        _line('why = "the reason"', "why"),
        _line("first = 2026-10-04", "first day"),
        "## What is in hand of an agent, so that its amount can be worked out (ids: wetmount reference show doses).\n",
        _wrapped(f"What lives in the water: {', '.join(LIVING)}."),
        "# [plan.agents.salt_indefinite]\n",
        _line('strength = "pure"', 'or "37 % w/w", "50 mg/mL"'),
        _line("step = 1", "smallest step of the scale in g, of the syringe in mL"),
        "## What was chosen, in order. kind: husbandry, treat (option), examine, watch, refer, relieve, look, own.\n"
        "# [[plan.steps]]\n",
        _line('text = "More air"', "what is to be done"),
        _line('urgency = "now"', "now or lasting"),
        _line("days = [2026-10-04]", "only where it has days"),
    ]
    return "".join(lines)


def _host(reference: Reference, host: str | None) -> str:
    if host is None:
        key, value = "group", "freshwater"
        comment = '\n## Better: species = "scientific or common name", or a narrower group:\n' + _wrapped(
            ", ".join(reference.host_groups)
        )
    elif host in reference.host_groups or host_row(host, reference) is not None:
        key, value, comment = ("group" if host in reference.host_groups else "species"), host, "\n"
    else:
        guess = nearest(host, [*reference.host_groups, *host_names(reference)])
        accepted = guess or f"accepted is a species of the reference or a group: {', '.join(reference.host_groups)}"
        raise InputError(f'"{shorten(host)}" is no host of the reference; {accepted}', field="host")
    return f"{comment}[host]\n{key} = {json.dumps(value, ensure_ascii=False)}\n"


def _red_flags(reference: Reference) -> str:
    asked = [flag for flag in reference.red_flags.values() if flag.from_finding is None]
    if not asked:
        return ""
    listed = ", ".join(f"{flag.id} ({flag.name})" for flag in asked)
    return (
        "\n## Fish dying now? Red flags that follow from no finding below:\n"
        + _wrapped(listed)
        + f"# red_flags = [{json.dumps(asked[0].id)}]\n"
    )


def _history(reference: Reference) -> str:
    lines = ['\n## What the keeper says: "yes", "no" or "not asked".\n# [history]\n']
    lines += (_line(f'{id} = "not asked"', reference.findings[id].description) for id in answerable(reference))
    return "".join(lines)


def _look(reference: Reference) -> str:
    """The look itself with what is seen of the keeper's tank: readings and findings that belong to no single fish."""
    lines = ["\n## One visit. Put a second [[looks]] block at the end of the file for the next one.\n# [[looks]]\n"]
    lines.append('# date = 2026-10-03\n# note = ""\n')
    lines.append("\n## Readings, always with their unit (pH has none). Findings of the water follow from them.\n")
    lines.append("# [looks.readings]\n")
    for name in _USUAL_READINGS:
        kind = units.KINDS[name]
        lines.append(_line(f"{name} = {json.dumps(kind.example, ensure_ascii=False)}", kind.meaning))
    lines.append(_wrapped("Others: " + ", ".join(name for name in units.READINGS if name not in _USUAL_READINGS)))
    lines.append('## At length: nitrite = { value = "0.3 mg/L NO2", time = "14:10", kit = "drop test", tank = "A4" }\n')
    lines.append('\n# [looks.findings]\n## In doubt: lethargy = { level = "mild", sure = "doubtful" }\n')
    for row in _in_order(reference):
        if row.subject in ("keeper", "tank"):
            findings = [f for f in _listed(row, reference) if f.id not in answerable(reference)]
            more = [f for f in _unlisted(row, reference) if f.id not in answerable(reference)]
            if findings or more:
                lines.append("\n" + _heading(row))
                lines += _finding_lines(findings, more)
    return "".join(lines)


def _fish_examination(row: Examination, reference: Reference) -> str:
    lines = ["\n", _heading(row), "# [[looks.examinations]]\n", f'# kind = "{row.id}"\n']
    if row.subject == "fish":
        lines.append(_line('fish = "1"', "id of its [[fish]] block"))
    if row.short_list and row.subject == "fish":  # a laboratory answers what it was asked, or not at all
        lines.append(_line("rest_not_seen = true", "the rest of the list below was looked over and not seen"))
    if any(finding.kind == "organism" for finding in _listed(row, reference)) and "microscope" in row.needs:
        counted = next(finding.id for finding in _listed(row, reference) if finding.kind == "organism")
        slide = f'{{ objective = "10x", fields = 20, counts = {{ {counted} = 0 }} }}'
        lines.append(_line(f"slides = [{slide}]", "what was viewed and counted"))
    lines.append("# [looks.examinations.findings]\n")
    lines += _finding_lines(_listed(row, reference), _unlisted(row, reference))
    return "".join(lines)


def _finding_lines(listed: list[Finding], more: list[Finding]) -> Iterator[str]:
    for finding in listed:
        yield _line(f'{finding.id} = "{finding.levels[0]}"', f"{' | '.join(finding.levels)}: {finding.name}")
    if more:
        yield _wrapped("Less often: " + "; ".join(f"{finding.id} ({'|'.join(finding.levels)})" for finding in more))


def _heading(row: Examination) -> str:
    return _wrapped(f"{row.name[:1].upper()}{row.name[1:]}: {row.how}")


def _in_order(reference: Reference) -> list[Examination]:
    return sorted(reference.examinations.values(), key=lambda row: row.order)


def _listed(row: Examination, reference: Reference) -> list[Finding]:
    return [reference.findings[id] for id in row.short_list]


def _unlisted(row: Examination, reference: Reference) -> list[Finding]:
    return [f for f in reference.findings.values() if f.examination == row.id and f.id not in row.short_list]


def _line(setting: str, comment: str) -> str:
    return f"# {setting:<34} # {comment}\n"


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="## ", subsequent_indent="## ", break_long_words=False) + "\n"

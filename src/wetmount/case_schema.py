"""The case file as JSON Schema 2020-12: the shape from the records of `case`, the ids and levels from the reference."""

from __future__ import annotations

from typing import Any

import msgspec

from wetmount import units
from wetmount.case import LIVING, Case
from wetmount.case_check import answerable, body_states
from wetmount.reference import Reference

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema(reference: Reference) -> dict[str, Any]:
    """A JSON Schema of the case file, for editors that complete and check while one types.

    It is exact on keys, types, ids and levels. What needs arithmetic (units, ranges, counts against each other) is left
    to `check_case`.
    """
    shape = msgspec.json.schema(Case)
    tables = shape["$defs"]
    findings = _findings(reference, tables)
    for name in ("Case", "Look", "ExaminationRecord"):
        _replace(tables[name], "findings", findings)
    for name in ("Case", "Look"):
        _replace(tables[name], "readings", _readings(tables[name]["properties"]["readings"]))
    answers = tables["Case"]["properties"]["history"]["additionalProperties"]
    _replace(tables["Case"], "history", _only(dict.fromkeys(answerable(reference), answers)))
    _replace(tables["Case"], "red_flags", {"items": {"enum": [*reference.red_flags]}})
    counts = tables["Slide"]["properties"]["counts"]["additionalProperties"]
    countable = [finding.id for finding in reference.findings.values() if finding.kind == "organism"]
    _replace(tables["Slide"], "counts", _only(dict.fromkeys(countable, counts)))
    _replace(tables["ExaminationRecord"], "kind", {"enum": [*reference.examinations]})
    _replace(tables["ExaminationRecord"], "body_state", {"enum": [*body_states(reference), None]})
    living = tables["Plan"]["properties"]["living"]["additionalProperties"]
    _replace(tables["Plan"], "living", _only(dict.fromkeys(LIVING, living)))
    agents = tables["Plan"]["properties"]["agents"]["additionalProperties"]
    _replace(tables["Plan"], "agents", _only(dict.fromkeys(reference.doses, agents)))
    _replace(tables["PlanAgent"], "against", {"enum": [*reference.conditions, None]})
    _replace(tables["PlanGiven"], "option", {"enum": [*reference.doses]})
    _replace(tables["Host"], "group", {"enum": [*reference.host_groups, None]})
    tables["Host"]["anyOf"] = [{"required": ["species"]}, {"required": ["group"]}]
    return {"$schema": DIALECT, "title": "Wetmount case file, format 1", **shape}


def _findings(reference: Reference, tables: dict[str, Any]) -> dict[str, Any]:
    """Finding ids with their levels. Findings with the same levels share one definition, to keep the schema small."""
    record = tables.pop("FindingRecord")
    by_id = {}
    for finding in reference.findings.values():
        name = "levels " + " ".join(finding.levels)
        levels = {"enum": [*finding.levels]}
        properties = {
            **record["properties"],
            "level": levels,
            "sure": {**record["properties"]["sure"], "enum": [*reference.sureness]},
        }
        tables[name] = {"anyOf": [levels, {**record, "title": name, "properties": properties}]}
        by_id[finding.id] = {"description": finding.description, "$ref": f"#/$defs/{name.replace(' ', '%20')}"}
    return _only(by_id)


def _readings(shape: dict[str, Any]) -> dict[str, Any]:
    entry = shape["additionalProperties"]
    return _only(
        {
            name: {**entry, "description": f'{units.KINDS[name].meaning}, for example "{units.KINDS[name].example}"'}
            for name in units.READINGS
        }
    )


def _only(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "additionalProperties": False}


def _replace(table: dict[str, Any], key: str, schema: dict[str, Any]) -> None:
    """Put the reference's enumeration in place of the plain type, keeping what the records say about the key."""
    old: dict[str, Any] = table["properties"][key]
    kept: dict[str, Any] = {word: old[word] for word in ("description", "default", "type") if word in old}
    if "enum" in schema:
        kept.pop("type", None)
    kept.update(schema)
    table["properties"][key] = kept

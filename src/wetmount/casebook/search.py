"""Searching cases over everything written in them: every word, as the beginning of a word, accents and capitals aside.

The text of a case (`services.text`) is kept as plain words, so that both databases split it at the same places.
"""

from __future__ import annotations

import re
import unicodedata

from django.db import connection
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

_INDEX = "casebook_casetext_index"
LONGEST_WORD = 100
MOST_WORDS = 20


def words_of(text: str) -> list[str]:
    """The words of a text in small letters without accents ("Néon-tetras" gives neon, tetras)."""
    decomposed = unicodedata.normalize("NFKD", text)
    plain = "".join(letter for letter in decomposed if not unicodedata.combining(letter)).casefold()
    return [word[:LONGEST_WORD] for word in re.findall(r"[^\W_]+", plain)]


def searchable(text: str) -> str:
    """A text as it is kept for searching."""
    return " ".join(words_of(text))


def with_words(cases: QuerySet, query: str) -> QuerySet:
    """Those of `cases` in which every word of the query occurs; all of them when the query holds no word."""
    match = _match(query)
    if not match:
        return cases
    if connection.vendor == "sqlite":
        found = RawSQL(f"SELECT rowid FROM {_INDEX} WHERE {_INDEX} MATCH %s", [match])
    else:
        found = RawSQL(
            "SELECT case_id FROM casebook_casetext WHERE to_tsvector('simple', body) @@ to_tsquery('simple', %s)",
            [match],
        )
    return cases.filter(pk__in=found)


def newest_with_words(cases: QuerySet, query: str) -> QuerySet:
    """The same in the order of a list, the newest first, for its first page or a count that stops early.

    SQLite's index hands its cases out one by one in the order of their keys, so that a page of a word that stands in
    every fifth case is not made by finding all of them. Keys and numbers are both given in the order of opening. What
    this returns is no part of another query.
    """
    match = _match(query)
    if not match or connection.vendor != "sqlite":
        return with_words(cases, query).order_by("-number")
    joined = [f"{_INDEX}.rowid = casebook_case.id", f"{_INDEX} MATCH %s"]
    return cases.extra(tables=[_INDEX], where=joined, params=[match], order_by=[f"-{_INDEX}.rowid"])


def _match(query: str) -> str:
    """The query in the words of the database; "" when it holds no word."""
    words = words_of(query)[:MOST_WORDS]
    if connection.vendor == "sqlite":
        return " ".join(f'"{word}"*' for word in words)
    return " & ".join(f"{word}:*" for word in words)

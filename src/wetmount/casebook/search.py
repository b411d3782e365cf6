"""Searching cases over everything written in them: every word, as the beginning of a word, accents and capitals aside.

The text of a case (`services.text`) is kept as plain words, so that both databases split it at the same places.
"""

from __future__ import annotations

import re
import unicodedata

from django.db import connection
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

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
    words = words_of(query)[:MOST_WORDS]
    if not words:
        return cases
    if connection.vendor == "sqlite":
        match = " ".join(f'"{word}"*' for word in words)
        found = RawSQL("SELECT rowid FROM casebook_casetext_index WHERE casebook_casetext_index MATCH %s", [match])
    else:
        match = " & ".join(f"{word}:*" for word in words)
        found = RawSQL(
            "SELECT case_id FROM casebook_casetext WHERE to_tsvector('simple', body) @@ to_tsquery('simple', %s)",
            [match],
        )
    return cases.filter(pk__in=found)

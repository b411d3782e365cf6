"""Searching cases over everything written in them: every word, as the beginning of a word, accents and capitals aside.

The text of a case (`services.text`) is kept as plain words, so that both databases split it at the same places.
"""

from __future__ import annotations

import re
import unicodedata

from django.db import connection
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

_INDEX, _TEXT = "casebook_casetext_index", "casebook_casetext"
LONGEST_WORD = 100
MOST_WORDS = 20
FEW = 300
"""So many cases are fetched by their keys; of more, the list is gone through in its order."""


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
        found = RawSQL(f"SELECT case_id FROM {_TEXT} WHERE words @@ to_tsquery('simple', %s)", [match])
    return cases.filter(pk__in=found)


def newest_with_words(cases: QuerySet, query: str) -> QuerySet:
    """The same in the order of a list, the newest first, for one page of it or a count that stops early.

    Joined, the texts are gone through in the order of their keys, so that a page of a word that stands in every fifth
    case is not made by finding all of them. Keys and numbers of cases are both given in the order of opening. What this
    returns is no part of another query.
    """
    match = _match(query)
    if not match:
        return cases.order_by("-number")
    if connection.vendor == "sqlite":
        joined = [f"{_INDEX}.rowid = casebook_case.id", f"{_INDEX} MATCH %s"]
        return cases.extra(tables=[_INDEX], where=joined, params=[match], order_by=[f"-{_INDEX}.rowid"])
    # PostgreSQL guesses that the beginning of a word it does not know stands in one case of 200, and would go through
    # all of them for a page. So the few are asked for first; when there are many, a page is found soon.
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT case_id FROM {_TEXT} WHERE words @@ to_tsquery('simple', %s) LIMIT {FEW + 1}", [match])
        few = [key for (key,) in cursor.fetchall()]
    if len(few) <= FEW:
        return cases.filter(pk__in=few).order_by("-number")
    joined = [f"{_TEXT}.case_id = casebook_case.id", f"{_TEXT}.words @@ to_tsquery('simple', %s)"]
    return cases.extra(tables=[_TEXT], where=joined, params=[match], order_by=[f"-{_TEXT}.case_id"])


def _match(query: str) -> str:
    """The query in the words of the database; "" when it holds no word."""
    words = words_of(query)[:MOST_WORDS]
    if connection.vendor == "sqlite":
        return " ".join(f'"{word}"*' for word in words)
    return " & ".join(f"{word}:*" for word in words)

"""A small crawler for tests: follows every link of the casebook, and knows every form it met."""

from __future__ import annotations

import html.parser
import re
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from django.test import Client
from django.urls import Resolver404, get_resolver, resolve

AT_MOST = 4
"""Pages visited under one name of an address: the hundreds of rows of the reference are made by one template."""

VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}


@dataclass
class Field:
    """A field of a form."""

    name: str
    kind: str  # text, textarea, select, hidden, radio, checkbox, date …
    value: str = ""
    options: list[str] = field(default_factory=list)


@dataclass
class Form:
    """A form as a browser would send it."""

    page: str
    action: str
    method: str
    files: bool
    fields: list[Field] = field(default_factory=list)
    buttons: list[Field] = field(default_factory=list)

    @property
    def key(self) -> tuple[str, ...]:
        """Forms of one key are made by one template."""
        return (name_of(self.action) or self.action, *sorted({one.name for one in self.fields}))


class Page(html.parser.HTMLParser):
    """What stands on a page: links, forms, and what must not be there."""

    def __init__(self, address: str, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.address, self.links, self.forms, self.forbidden = address, set[str](), list[Form](), list[str]()
        self.tags: Counter[str] = Counter()
        self._form: Form | None = None
        self._select: Field | None = None
        self._area: Field | None = None
        self._script = False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags[tag] += 1
        self._look_at(tag, given)
        for name in ("href", "hx-get"):
            if given.get(name, "#")[:1] != "#":
                self.links.add(given[name])
        if tag == "form":
            action = given.get("action") or urlsplit(self.address).path
            method = given.get("method", "get").lower()
            self._form = Form(self.address, action, method, "multipart" in given.get("enctype", ""))
            self.forms.append(self._form)
        owner = self._form
        if owner is None:
            return
        name, value = given.get("name", ""), given.get("value", "")
        if tag == "input" and name:
            owner.fields.append(Field(name, given.get("type", "text"), value))
        elif tag == "textarea" and name:
            self._area = Field(name, "textarea")
            owner.fields.append(self._area)
        elif tag == "select" and name:
            self._select = Field(name, "select")
            owner.fields.append(self._select)
        elif tag == "option" and self._select is not None:
            self._select.options.append(value)
            if "selected" in given:
                self._select.value = value
        elif tag == "button" and name:
            owner.buttons.append(Field(name, "button", value))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._area = None
        elif tag == "script":
            self._script = False

    def handle_data(self, data: str) -> None:
        if self._area is not None:
            self._area.value += data
        if self._script and data.strip():
            self.forbidden.append(f"script with content: {data[:60]!r}")

    def _look_at(self, tag: str, given: dict[str, str]) -> None:
        if tag in ("style", "iframe", "object", "embed", "base", "x-hostile"):
            self.forbidden.append(f"<{tag}>")
        if tag == "script":
            self._script = True
            if not given.get("src", "").startswith("/static/"):
                self.forbidden.append(f"<script> {given}")
        for name, value in given.items():
            if name == "style" or name.startswith(("on", "hx-on")):
                self.forbidden.append(f"{tag} {name}={value[:60]!r}")
            scheme = re.sub(r"[\s\x00-\x20]", "", value).casefold()
            if name in ("href", "src", "action", "hx-get", "hx-post", "formaction", "content") and scheme.startswith(
                ("javascript:", "data:", "vbscript:", "//", "http:")
            ):
                self.forbidden.append(f"{tag} {name}={value[:60]!r}")


def name_of(address: str) -> str | None:
    """The name of an address in the table of addresses."""
    try:
        return resolve(urlsplit(address).path).url_name
    except Resolver404:
        return None


def all_names() -> set[str]:
    """Every name in the table of addresses."""

    def of(patterns: list[Any]) -> Iterator[str]:
        for one in patterns:
            if hasattr(one, "url_patterns"):
                yield from of(one.url_patterns)
            elif one.name:
                yield one.name

    return set(of(get_resolver().url_patterns))


def crawl(client: Client, starts: list[str]) -> Iterator[tuple[Page, Any]]:
    """Every page that can be reached by links and reading forms, a few of each kind; with its answer."""
    waiting, known, count = deque(starts), set(starts), Counter[str]()
    while waiting:
        address = waiting.popleft()
        name = name_of(address)
        if name is None or count[name] >= AT_MOST * (1 + address.count("?") + 4 * (name == "case_step")):
            continue
        count[name] += 1
        answer = client.get(address, follow=True)
        final = answer.redirect_chain[-1][0] if answer.redirect_chain else address
        if answer.streaming:
            answer.content_read = b"".join(answer.streaming_content)
        if not answer.headers.get("Content-Type", "").startswith("text/html"):
            yield Page(final, ""), answer
            continue
        page = Page(final, answer.content.decode())
        yield page, answer
        for link in sorted(page.links):
            parts = urlsplit(link)
            target = parts.path or urlsplit(final).path
            full = target + (f"?{parts.query}" if parts.query else "")
            if not parts.scheme and not parts.netloc and target.startswith("/") and full not in known:
                known.add(full)
                waiting.append(full)

"""The words of the casebook's pages, read from its templates, scripts and modules, for docs/labels.txt."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

# Elements whose text is a label, and what labels.txt calls it; the words of any other element count as text.
ELEMENTS = {
    "title": "page title",
    "h1": "heading",
    "h2": "heading",
    "h3": "heading",
    "h4": "heading",
    "caption": "heading",
    "button": "button",
    "a": "link",
    "label": "field",
    "legend": "field",
    "option": "choice",
    "th": "column",
    "dt": "column",
    "summary": "fold",
}
ATTRIBUTES = {"aria-label": "spoken", "placeholder": "example", "alt": "picture", "data-words": "state"}
KINDS = list(dict.fromkeys([*ELEMENTS.values(), *ATTRIBUTES.values(), "text"]))
INLINE = {"span", "strong", "em", "b", "i", "small", "abbr", "time", "code", "kbd", "sub", "sup", "mark", "svg", "data"}
VOID = {"meta", "link", "input", "img", "br", "hr", "path", "circle", "rect", "line", "use", "wbr", "source"}

BLOCK_TITLE = re.compile(r"{% block (?:title|name) %}(.*?){% endblock %}", re.DOTALL)
OTHERWISE = re.compile(r"{%\s*(?:else|elif)\b.*?%}")
TAG = re.compile(r"{%.*?%}|{#.*?#}", re.DOTALL)
COMMENT = re.compile(r"{% comment %}.*?{% endcomment %}", re.DOTALL)
VALUE = re.compile(r"{{.*?}}", re.DOTALL)
ICON = re.compile(r"{% icon .*?%}")


class _Words(HTMLParser):
    """Collects what a page says, each with the kind of element that says it."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[tuple[str, list[str]]] = []
        self.said: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in ATTRIBUTES and value:
                self._say(ATTRIBUTES[name], value)
        if tag not in VOID:
            self.open.append((tag, []))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in VOID:
            self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        # A template may close in one branch what it opens in two; what was left open says its words here too.
        while any(name == tag for name, _ in self.open):
            name, text = self.open.pop()
            if name in ELEMENTS or name not in INLINE or not self.open:
                self._say(ELEMENTS.get(name, "text"), "".join(text))
            else:
                self.open[-1][1].extend(text)
            if name == tag:
                return

    def handle_data(self, data: str) -> None:
        if self.open:
            self.open[-1][1].append(data)
        else:
            self._say("text", data)

    def close(self) -> None:
        super().close()
        for name, text in self.open:
            self._say(ELEMENTS.get(name, "text"), "".join(text))

    def _say(self, kind: str, text: str) -> None:
        text = re.sub(r"\s+", " ", text).strip(" /·")
        if re.search(r"[A-Za-z]{2}", text):
            self.said.append((kind, text))


def page_words() -> list[str]:
    """Titles, headings, buttons, links, fields, choices and sentences of the templates, values as an ellipsis."""
    said: set[tuple[str, str]] = set()
    for path in _files("templates", ".html"):
        said |= set(_template(path.read_text("utf-8")))
    return [f"{kind}: {text}" for kind, text in sorted(said, key=lambda one: (KINDS.index(one[0]), *_order(one[1])))]


def _template(source: str) -> Iterator[tuple[str, str]]:
    source = COMMENT.sub("", source)
    for title in BLOCK_TITLE.findall(source):
        yield from _html(f"<title>{title}</title>")
    yield from _html(BLOCK_TITLE.sub("", source))


def _html(source: str) -> list[tuple[str, str]]:
    words = _Words()
    words.feed(TAG.sub("", VALUE.sub("…", OTHERWISE.sub(" / ", ICON.sub("", source)))))
    words.close()
    return words.said


def script_words() -> list[str]:
    """Every string of two words or more that a script of the casebook shows, values as an ellipsis."""
    said = set()
    for path in _files("static", ".js"):
        for text in re.findall(r'"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`', path.read_text("utf-8")):
            said.add(re.sub(r"\$\{.*?\}", "…", "".join(text)))
    return _sentences(said)


def module_words() -> list[str]:
    """Every string of two words or more in the casebook's modules that is no docstring, values as an ellipsis."""
    said: set[str] = set()
    for path in _files("", ".py"):
        if "migrations" not in path.parts:
            said |= set(_strings(ast.parse(path.read_text("utf-8"))))
    return _sentences(said)


def _strings(tree: ast.AST) -> Iterator[str]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            continue  # a docstring
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "…" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value
        else:
            yield from _strings(node)


def _sentences(said: set[str]) -> list[str]:
    """Those that are words for people: two or more, and none of the signs of code."""
    words = re.compile(r"[A-Za-z’]{2,}[,:;.]? [A-Za-z’(\"“…]")
    code = re.compile(r"[{}<>_]|\b(?:SELECT|WHERE|FROM|UPDATE|PRAGMA|NULL)\b|[a-z]\.[a-z]|--|^[.#\[]|=")
    selector = re.compile(r"^(?:a|button|input|main)\b(?=.*\b(?:input|textarea|p):?)")
    found = {re.sub(r"\s+", " ", text).strip() for text in said}
    return sorted(
        (text for text in found if words.search(text) and not (code.search(text) or selector.search(text))), key=_order
    )


def _order(text: str) -> tuple[str, str]:
    return text.lower(), text


def _files(part: str, ending: str) -> list[Path]:
    folder = Path(str(resources.files("wetmount"))) / "casebook" / part
    return sorted(path for path in folder.rglob(f"*{ending}"))

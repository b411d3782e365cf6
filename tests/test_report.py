"""The report: accessible PDF, page and message that say the same, for the keeper and for students."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pypdf
import pytest

from wetmount.case import Case
from wetmount.casefile import read_case, read_case_text
from wetmount.cautions import cautions_of, triggers_of
from wetmount.errors import InputError
from wetmount.evidence import Evidence, Observation, gather_evidence
from wetmount.reference import load_reference
from wetmount.report import compose, write_report
from wetmount.report.document import Document
from wetmount.report.message import LONGEST, message_text
from wetmount.report.telling import begin
from wetmount.report.write import report_bytes
from wetmount.weighup import weigh_up
from wetmount.weighup.results import ConditionResult, Warning_, WeighUp

REFERENCE = load_reference()
FOLDER = resources.files("wetmount") / "examples"
EXAMPLES = sorted(
    one.name for one in (resources.files("wetmount") / "examples").iterdir() if one.name.endswith(".toml")
)


def example(name: str) -> Case:
    with resources.as_file(FOLDER / name) as path:
        return read_case(path, REFERENCE)


def case_of(text: str) -> Case:
    return read_case_text(text, "toml", "case.toml", REFERENCE)


def weighed(case: Case) -> WeighUp:
    return weigh_up(gather_evidence(case, REFERENCE), REFERENCE, firmness=False, examinations=False)


class Kept:
    """Weigh-ups by example, each worked out once."""

    def __init__(self) -> None:
        self.quick: dict[str, WeighUp] = {}
        self._full: WeighUp | None = None

    def __call__(self, name: str) -> tuple[Case, WeighUp]:
        case = example(name)
        if name not in self.quick:
            self.quick[name] = weighed(case)
        return case, self.quick[name]

    def full(self) -> tuple[Case, WeighUp]:
        """The demonstration case with firmness and next examinations."""
        case = example("harbour_row_rack_a.toml")
        if self._full is None:
            self._full = weigh_up(gather_evidence(case, REFERENCE), REFERENCE)
        return case, self._full


KEPT = Kept()


def flat(text: str) -> str:
    """Text without any blanks, since a line may break anywhere."""
    return re.sub(r"\s+", "", text)


def pdf_of(document: Document, paper: str = "a4") -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(report_bytes(document, ".pdf", paper)))  # type: ignore[arg-type]


def pdf_text(reader: pypdf.PdfReader) -> str:
    return "\n".join(page.extract_text() for page in reader.pages)


class Html(HTMLParser):
    """Tags with their attributes, and the words a reader meets."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.within: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "title"):
            self.within.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.within and self.within[-1] == tag:
            self.within.pop()

    def handle_data(self, data: str) -> None:
        if "style" not in self.within:
            self.words.append(data)


def html_of(document: Document) -> str:
    return report_bytes(document, ".html").decode("utf-8")


def html_words(document: Document) -> str:
    return " ".join(Html(html_of(document)).words)


# --- the accessible PDF ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["keeper", "teaching"])
def demonstration(request: pytest.FixtureRequest) -> pypdf.PdfReader:
    case, weighup = KEPT.full()
    return pdf_of(compose(case, weighup, REFERENCE, teaching=request.param == "teaching"))


def test_pdf_says_that_it_is_accessible(demonstration: pypdf.PdfReader) -> None:
    """ISO 14289-1 (PDF/UA-1): clause 5 the identifier in the metadata, 7.1 tagged and with a title that is displayed,
    7.2 a natural language."""
    root: Any = demonstration.trailer["/Root"]
    metadata = root["/Metadata"].get_data().decode("utf-8")
    assert re.search(r"pdfuaid:part>\s*1\s*<", metadata)
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 - a PDF boolean
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    assert root["/Lang"] == "en"
    assert demonstration.metadata is not None
    assert demonstration.metadata.title
    assert "/StructTreeRoot" in root


def structure(node: Any) -> Iterator[Any]:
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, dict) and ("/S" in node or "/K" in node):
        yield node
        children = node.get("/K", [])
        for child in children if isinstance(children, list) else [children]:
            yield from structure(child)


def test_every_figure_has_words_and_headings_do_not_skip(demonstration: pypdf.PdfReader) -> None:
    """ISO 14289-1: 7.3 a figure has an alternative, 7.4 headings descend by one."""
    nodes = list(structure(demonstration.trailer["/Root"]["/StructTreeRoot"]))
    figures = [node for node in nodes if node.get("/S") == "/Figure"]
    assert len(figures) > 10
    assert all(str(figure.get("/Alt", "")).strip() for figure in figures)
    levels = [int(str(node["/S"])[2]) for node in nodes if re.fullmatch(r"/H[1-6]", str(node.get("/S")))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert any(node.get("/S") == "/TH" for node in nodes)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_paper_sizes(paper: str, size_mm: tuple[float, float]) -> None:
    """ISO 216 (A4) and ANSI/ASME Y14.1 (Letter, 8.5 by 11 inches)."""
    case, weighup = KEPT("smallest.toml")
    reader = pdf_of(compose(case, weighup, REFERENCE), paper)
    for page in reader.pages:
        assert float(page.mediabox.width) * 25.4 / 72 == pytest.approx(size_mm[0], abs=0.2)
        assert float(page.mediabox.height) * 25.4 / 72 == pytest.approx(size_mm[1], abs=0.2)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_keepers_part_is_one_page(name: str, paper: str) -> None:
    """It ends with the sentence on what it is not; the case begins the second page."""
    case, weighup = KEPT(name)
    document = compose(case, weighup, REFERENCE)
    pages = [flat(page.extract_text()) for page in pdf_of(document, paper).pages]
    assert flat(document.footer) in pages[0]
    assert pages[1].startswith(flat(document.pages[0].title))


def test_the_font_has_every_letter_that_is_printed() -> None:
    """Only the one family is in the file: nothing had to be borrowed from another font."""
    for name in EXAMPLES:
        case, weighup = KEPT(name)
        for page in pdf_of(compose(case, weighup, REFERENCE)).pages:
            fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]
            assert all("AtkinsonHyperlegible" in font.get_object()["/BaseFont"] for font in fonts.values())


def test_the_font_has_every_letter_of_the_tables() -> None:
    """Whatever row a case may meet: read from the character map of the font file itself."""
    fonttools = pytest.importorskip("fontTools.ttLib")
    import fontpkg_atkinson_hyperlegible as package

    used: set[str] = set()
    tables = resources.files("wetmount") / "reference" / "tables"
    for table in tables.iterdir():
        if table.name.endswith(".csv"):
            used |= set(table.read_text("utf-8"))
    for path in sorted((package.ROOT / "files").glob("*.ttf")):
        known = fonttools.TTFont(path).getBestCmap()
        assert not {letter for letter in used if ord(letter) not in known and letter not in "\r\n"}, path.name


def test_a_name_in_letters_that_no_font_has_does_not_cost_the_report() -> None:
    case = case_of('format = 1\ntitle = "錦鯉 dull"\n[host]\nspecies = "koi"\n[findings]\nlethargy = "mild"\n')
    document = compose(case, weighed(case), REFERENCE)
    assert "??dull" in flat(pdf_text(pdf_of(document)))
    assert "錦鯉 dull" in html_words(document)
    assert "錦鯉 dull" in message_text(document)


def test_the_same_case_gives_the_same_bytes() -> None:
    case, weighup = KEPT("smallest.toml")
    document = compose(case, weighup, REFERENCE)
    for ending in (".pdf", ".html", ".txt"):
        assert report_bytes(document, ending) == report_bytes(document, ending)


# --- the page -------------------------------------------------------------------------------------------------------


def test_the_page_stands_alone() -> None:
    case, weighup = KEPT.full()
    text = html_of(compose(case, weighup, REFERENCE))
    page = Html(text)
    tags = Counter(tag for tag, _ in page.tags)
    assert not tags["script"]
    assert not tags["link"]
    assert not tags["img"]
    assert not [value for _, attrs in page.tags for key, value in attrs.items() if key in ("src", "href", "style")]
    assert not re.search(r"url\((?!\"data:)", text)
    assert not [key for _, attrs in page.tags for key in attrs if key.startswith("on")]
    assert tags["h1"] == tags["main"] == tags["title"] == 1


def test_the_page_can_be_heard() -> None:
    """WCAG 2.2: 3.1.1 language, 1.1.1 drawings with words or hidden, 1.3.1 headings in order, heads of tables."""
    case, weighup = KEPT.full()
    page = Html(html_of(compose(case, weighup, REFERENCE)))
    assert ("html", {"lang": "en"}) in page.tags
    for tag, attrs in page.tags:
        if tag == "svg":
            assert attrs.get("aria-hidden") == "true" or (attrs.get("role") == "img" and attrs.get("aria-label"))
        if tag == "th":
            assert attrs["scope"] == "col"
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    named = [attrs["aria-labelledby"] for _, attrs in page.tags if "aria-labelledby" in attrs]
    assert set(named) <= set(ids)


def test_words_of_a_case_are_never_markup() -> None:
    title = "<script>alert(1)</script> & <b onclick=x>"
    case = case_of(f'format = 1\ntitle = "{title}"\nkeeper = "<i>"\n[host]\nspecies = "koi"\n[findings]\n')
    document = compose(case, weighed(case), REFERENCE)
    page = Html(html_of(document))
    tags = Counter(tag for tag, _ in page.tags)
    assert not tags["script"]
    assert not tags["i"]
    assert title in " ".join(page.words)
    assert flat(title) in flat(pdf_text(pdf_of(document)))


# --- all three say the same -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", EXAMPLES)
def test_pdf_and_page_hold_the_same_words(name: str) -> None:
    case, weighup = KEPT(name)
    document = compose(case, weighup, REFERENCE)
    printed, shown = flat(pdf_text(pdf_of(document))), flat(html_words(document))
    for section in document.sections():
        for words in texts(msgspec.to_builtins(section.blocks)):
            assert flat(words) in shown
            assert piecewise(flat(words), printed), words


def texts(data: Any) -> Iterator[str]:
    """Every text of a block; a drawing's words are heard, not printed."""
    if isinstance(data, dict):
        for key, value in data.items():
            if isinstance(value, str):
                if key in ("text", "trace", "name", "caption", "because", "sources"):
                    yield value
            elif not (isinstance(value, dict) and "svg" in value):
                yield from texts(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            if isinstance(value, str):
                yield value
            else:
                yield from texts(value)


def piecewise(words: str, printed: str) -> bool:
    """Whether the words stand in the print; a page may end within them, so their two halves may be apart."""
    if words in printed:
        return True
    cuts = range(1, len(words))
    return any(words[:cut] in printed and words[cut:] in printed for cut in cuts)


def observed(id: str, level: int, sure: str = "sure") -> Observation:
    return Observation(id, level, sure, (0.9,) * (len(REFERENCE.findings[id].levels) - 1), ())


def evidence_of(observations: tuple[Observation, ...] = (), done: tuple[str, ...] = ()) -> Evidence:
    return Evidence("rainbowfish", None, 25.0, observations, {}, (), (), dict.fromkeys(done, 1.0), None)


def made_up(evidence: Evidence, leading: dict[str, float]) -> WeighUp:
    """A weigh-up with these conditions to blame and all others out of the question."""
    order = sorted(REFERENCE.conditions, key=lambda id: -leading.get(id, 0.0))
    return WeighUp(
        conditions=tuple(
            ConditionResult(id, REFERENCE.conditions[id].name, 0.1, leading.get(id, 0.0), leading.get(id, 0.0))
            for id in order
        ),
        explanations=(),
        remaining_probability=1.0,
        exact=True,
        approximation=None,
        state_bits=0.0,
        log_evidence=0.0,
        reasons={},
        unexplained=(),
        opened_the_way=(),
        firmness=None,
        memory_share=None,
        next_examinations=None,
        unfinished=(),
        warnings=(),
        evidence=evidence,
        reference_version="test",
    )


BARE = 'format = 1\n[host]\ngroup = "rainbowfish"\n'
TRIGGERS = [
    (caution.id, caution.trigger_kind, trigger)
    for caution in REFERENCE.cautions.values()
    for trigger in triggers_of(caution)
    if caution.trigger_kind != "agent"  # no report proposes a treatment yet, so none can bring its cautions
]


def triggered(kind: str, trigger: str) -> WeighUp:
    """A weigh-up that holds this one trigger."""
    if kind == "condition":
        ids = [
            row.id
            for row in REFERENCE.conditions.values()
            if trigger in (row.id, row.group, f"notifiable:{row.notifiable}", "any")
            or (trigger == "zoonotic:yes" and row.zoonotic)
        ]
        return made_up(evidence_of(), {ids[0]: 0.9})
    if kind == "examination":
        return made_up(
            evidence_of(done=(trigger,)), {"starvation_underfeeding": 0.9, next(iter(REFERENCE.conditions)): 0.8}
        )
    return made_up(evidence_of((observed(trigger, len(REFERENCE.findings[trigger].levels) - 1),)), {})


@pytest.mark.parametrize(("caution", "kind", "trigger"), TRIGGERS)
def test_every_trigger_shows_its_caution_on_page_and_message(caution: str, kind: str, trigger: str) -> None:
    weighup = triggered(kind, trigger)
    applying = {one.id: one for one in cautions_of(weighup, REFERENCE)}
    document = compose(case_of(BARE), weighup, REFERENCE)
    assert caution in applying
    assert applying[caution].text in html_words(document)
    message = message_text(document)
    # What belongs to the bench comes last in a message to a keeper; where it has no room, the message says so.
    left_to_the_report = kind == "examination" and "more in the report" in message.split("TAKE CARE")[-1]
    assert applying[caution].headline in message or left_to_the_report


def test_the_print_shows_every_caution() -> None:
    """All triggers at once, in one PDF of both editions."""
    seen = tuple(observed(row.id, len(row.levels) - 1) for row in REFERENCE.findings.values())
    everything = made_up(evidence_of(seen, tuple(REFERENCE.examinations)), dict.fromkeys(REFERENCE.conditions, 0.5))
    applying = cautions_of(everything, REFERENCE)
    assert {one.id for one in applying} == {
        row.id for row in REFERENCE.cautions.values() if row.trigger_kind != "agent"
    }
    for teaching in (False, True):
        printed = flat(pdf_text(pdf_of(compose(case_of(BARE), everything, REFERENCE, teaching=teaching))))
        for one in applying:
            assert piecewise(flat(one.text), printed), one.id


def test_a_warning_names_the_disease_on_the_first_page() -> None:
    warning = Warning_("notifiable", "khv", 0.07, "Koi herpesvirus disease must be reported.")
    weighup = replace(made_up(evidence_of(), {"khv": 0.07}), warnings=(warning,))
    document = compose(case_of(BARE), weighup, REFERENCE)
    assert "Koi herpesvirus disease must be reported." in pdf_of(document).pages[0].extract_text().replace("\n", " ")


# --- the message ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("teaching", [False, True])
@pytest.mark.parametrize("name", EXAMPLES)
def test_the_message_fits(name: str, teaching: bool) -> None:
    case, weighup = KEPT(name)
    text = message_text(compose(case, weighup, REFERENCE, teaching=teaching))
    assert len(text) <= LONGEST == 1500
    assert "licensed veterinarian decides on medicines" in text


def test_the_message_fits_at_its_worst() -> None:
    """Every finding seen, every red flag up, every caution, names as long as they may be."""
    flags = ", ".join(f'"{flag}"' for flag in REFERENCE.red_flags)
    long = "Long name " * 400
    case = case_of(
        f'format = 1\nid = "{"9" * 200}"\ntitle = "{long}"\nkeeper = "{long}"\nroom = "{long}"\nred_flags = [{flags}]\n'
        '[host]\ngroup = "rainbowfish"\n'
    )
    seen = tuple(observed(row.id, len(row.levels) - 1) for row in REFERENCE.findings.values())
    everything = made_up(evidence_of(seen, tuple(REFERENCE.examinations)), dict.fromkeys(REFERENCE.conditions, 0.5))
    document = compose(case, everything, REFERENCE)
    text = message_text(document)
    assert len(text) <= LONGEST
    assert "DO NOW" in text
    assert pdf_of(document).pages[0].extract_text()


def test_first_aid_is_never_cut_short_in_the_message() -> None:
    """A step that loses its end could harm; one that does not fit is left to the report, and that is said."""
    case, weighup = KEPT("goldfish_tap_water.toml")
    document = compose(case, weighup, REFERENCE)
    steps = [line for line in message_text(document).splitlines() if re.match(r"\d+\. ", line)]
    assert steps
    assert all(step.endswith(".") for step in steps)


# --- firmness beside every chance -----------------------------------------------------------------------------------


def test_chances_come_with_firmness() -> None:
    case, weighup = KEPT.full()
    document = compose(case, weighup, REFERENCE)
    assert weighup.firmness is not None
    share = f"first in {round(100 * weighup.firmness.share)} of 100 redraws"
    assert share in message_text(document)
    assert share in pdf_of(document).pages[0].extract_text().replace("\n", " ")
    bars = [block for block in document.probably.blocks if type(block).__name__ == "Bars"]
    assert all("redrawn" in bar.firm for bar in bars[0].items)  # type: ignore[attr-defined]
    for line in message_text(document).splitlines():
        if " to blame " in line:
            assert "redrawn" in line


def test_without_firmness_that_is_said_wherever_a_chance_stands() -> None:
    case, weighup = KEPT("smallest.toml")
    document = compose(case, weighup, REFERENCE)
    words = html_words(document)
    assert words.count("was not worked out: read it as a first look") == 2  # first page, weigh-up
    for line in message_text(document).splitlines():
        if " to blame " in line:
            assert "not worked out" in line


def test_no_percent_on_the_first_page() -> None:
    for name in EXAMPLES:
        case, weighup = KEPT(name)
        first = compose(case, weighup, REFERENCE)
        data = msgspec.to_builtins([first.probably, *first.four, first.care])
        assert not [words for words in texts(data) if re.search(r"\d ?%", words)]


# --- three states ---------------------------------------------------------------------------------------------------

STATES = """format = 1
[host]
species = "koi"
[[looks]]
[[looks.examinations]]
kind = "skin_scrape"
rest_not_seen = true
[looks.examinations.findings]
skin_costia = "few"
skin_trichodinid = "absent"
"""


def test_seen_not_seen_swept_and_not_looked_at_are_kept_apart() -> None:
    case = case_of(STATES)
    document = compose(case, weighed(case), REFERENCE)
    findings = REFERENCE.findings
    seen = {field["text"]: field["field"] for field in fields(msgspec.to_builtins(document.four[0]))}
    assert seen[f"{findings['skin_costia'].name}, few"] == "few"
    assert seen[f"{findings['skin_trichodinid'].name}: looked, not seen"] == "clear"
    assert [glyph for words, glyph in seen.items() if "quick look, not seen" in words] == ["swept"]
    assert {glyph for words, glyph in seen.items() if words.endswith("not done yet")} == {"none"}
    behind = next(section for section in document.pages if section.key == "evidence")
    told = " ".join(texts(msgspec.to_builtins(behind.blocks)))
    assert findings["gill_costia"].name not in told  # not looked at is no finding
    assert "gill scrape" in told.split("Not looked at yet")[1]
    swept = next(field for field in fields(msgspec.to_builtins(behind)) if field["field"] == "swept")
    assert findings["skin_gyrodactylid"].name in swept["text"]
    assert findings["skin_trichodinid"].name not in swept["text"]


def fields(data: Any) -> Iterator[dict[str, str]]:
    if isinstance(data, dict):
        if data.get("kind") == "field":
            yield data
        for value in data.values():
            yield from fields(value)
    elif isinstance(data, (list, tuple)):
        for value in data:
            yield from fields(value)


def test_an_empty_case_reads_well() -> None:
    case = case_of(BARE)
    document = compose(case, weighed(case), REFERENCE)
    words = html_words(document)
    assert "Nothing was entered that shows illness" in words
    assert "No reading of the water was entered" in words
    assert "not asked is not the same as no" in words
    assert "Nothing was looked at yet" in words
    assert not re.search(r"\bNone\b|\bnan\b|  \.|\(\)|: \.", words)
    assert len(pdf_of(document).pages) >= 2


@pytest.mark.parametrize("name", EXAMPLES)
def test_nothing_of_the_machine_room_shows(name: str) -> None:
    """No id with an underscore, no Python word, no empty bracket in what people read."""
    case, weighup = KEPT(name)
    for teaching in (False, True):
        document = compose(case, weighup, REFERENCE, teaching=teaching)
        keep = [section for section in document.sections() if section.key != "sources"]  # citations hold addresses
        for words in texts(msgspec.to_builtins(keep)):
            assert not re.search(r"[a-z]_[a-z]|\bNone\b|\bTrue\b|\bFalse\b|\bnan\b|\[\]|\(\)", words), words


# --- the teaching edition -------------------------------------------------------------------------------------------

NAMED = """format = 1
id = "Q-7781"
title = "Sick fish of Marigold Quill"
date = 2031-05-11
keeper = "Marigold Quill"
room = "Zephyr Hall"
system = "Umbra loop"
tank = "Nimbus 3"
note = "Marigold rang twice."
[host]
species = "koi"
[numbers]
total = 12
sick = 3
[[fish]]
id = "Old Barnaby"
state = "killed"
killed_by = "by Doctor Fennimore"
note = "favourite of Marigold"
[[batches]]
species = "koi"
origin = "Pellworth Farm"
arrived = 2031-05-01
number = 12
note = "driver Oswin"
[[looks]]
date = 2031-05-11
note = "with Tamsin"
[looks.readings]
temperature = { value = "18 °C", tank = "Nimbus 3", kit = "Brandish meter", note = "by Tamsin" }
nitrite = [{ value = "0.4 mg/L NO2", tank = "Nimbus 3" }, { value = "0.1 mg/L NO2", tank = "Cirrus 9" }]
[[looks.examinations]]
kind = "skin_scrape"
fish = "Old Barnaby"
note = "Tamsin held the fish"
[looks.examinations.findings]
skin_costia = { level = "many", note = "Tamsin saw it first" }
[[looks.examinations.photographs]]
file = "barnaby.jpg"
caption = "Old Barnaby, flank"
[[looks.examinations]]
kind = "tank_look"
tank = "Nimbus 3"
[looks.examinations.findings]
flashing = "frequent"
"""
NAMES = (
    ("Marigold Quill Zephyr Umbra Nimbus Cirrus Barnaby Fennimore Pellworth Oswin Tamsin Brandish Q-7781 2031 11 May")
    .replace("11 May", "May")
    .split()
)


def test_the_teaching_edition_names_nobody() -> None:
    case = case_of(NAMED)
    weighup = weighed(case)
    keeper = compose(case, weighup, REFERENCE)
    told = html_words(keeper)
    assert all(name in told for name in ("Marigold", "Zephyr", "Pellworth", "Barnaby", "Nimbus"))
    teaching = compose(case, weighup, REFERENCE, teaching=True)
    reader = pdf_of(teaching)
    assert reader.metadata is not None
    everything = {
        "document": msgspec.json.encode(teaching).decode(),
        "pdf": pdf_text(reader) + str(dict(reader.metadata)),
        "page": re.sub(r"base64,[^\"]+", "", html_of(teaching)),
        "message": message_text(teaching),
    }
    for where, text in everything.items():
        for name in NAMES:
            if name == "2031":
                assert not re.search(r"(?<![\d.])2031(?![\d.])", text), where
            else:
                assert not re.search(rf"\b{name}\b", text), f"{name} in {where}"
    assert "day 0" in everything["page"]
    assert "day −10" in everything["page"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_teaching_edition_of_the_demonstrations_names_no_place(name: str) -> None:
    case, weighup = KEPT(name)
    teaching = compose(case, weighup, REFERENCE, teaching=True)
    told = html_words(teaching)
    places = [
        case.room,
        case.system,
        case.tank,
        *(batch.origin for batch in case.batches),
        *(fish.id for fish in case.fish),
    ]
    for place in places:
        if place and len(place) > 5:  # North and East are words of citations too, A4 a size of paper
            assert place not in told
    assert not re.search(r"20\d\d-\d\d-\d\d", told)


def test_the_teaching_edition_adds_the_reasoning_and_keeps_the_sources() -> None:
    case, weighup = KEPT.full()
    keeper = compose(case, weighup, REFERENCE)
    teaching = compose(case, weighup, REFERENCE, teaching=True)
    assert "reasoning" not in [section.key for section in keeper.pages]
    assert "reasoning" in [section.key for section in teaching.pages]
    cited = {section.key: section for section in teaching.pages}["sources"]
    entries = cited.blocks[0].items  # type: ignore[attr-defined]
    assert len(entries) > 10
    citations = {source.citation for source in REFERENCE.sources.values()}
    assert all(any(text.startswith(citation) for citation in citations) for _, text in entries)


def test_every_number_of_a_source_is_in_the_list_and_every_source_is_cited() -> None:
    case, weighup = KEPT.full()
    for teaching in (False, True):
        document = compose(case, weighup, REFERENCE, teaching=teaching)
        *rest, sources = document.pages
        listed = {label.strip("[]") for label, _ in sources.blocks[0].items}  # type: ignore[attr-defined]
        text = " ".join(texts(msgspec.to_builtins(rest)))
        cited = {number for group in re.findall(r"\[([\d, a-z]+)\]", text) for number in re.findall(r"\d+", group)}
        assert cited == listed


# --- figures are the weigh-up's own ---------------------------------------------------------------------------------


def test_figures_in_the_report_are_those_of_the_weighup() -> None:
    case, weighup = KEPT.full()
    document = compose(case, weighup, REFERENCE)
    section = next(section for section in document.pages if section.key == "weighup")
    table = next(block for block in section.blocks if getattr(block, "head", ("",))[0] == "Cause")
    for row, result in zip(table.rows, weighup.conditions, strict=False):  # type: ignore[attr-defined]
        assert row[0] == result.name
        for words, chance in ((row[2], result.responsible), (row[4], result.probability), (row[5], result.prior)):
            number = re.search(r"(\d+) in 100", words)
            assert number is not None
            assert abs(int(number.group(1)) / 100 - chance) <= 0.0051 or "under" in words or "over" in words


# --- writing --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["pdf", "html", "txt"])
def test_written_whole(tmp_path: Path, ending: str) -> None:
    case, weighup = KEPT("smallest.toml")
    path = tmp_path / f"report.{ending}"
    write_report(case, weighup, REFERENCE, path)
    starts = {"pdf": b"%PDF-", "html": b"<!doctype html>", "txt": b"Boeseman"}
    assert path.read_bytes().startswith(starts[ending])
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("ending", ["pdf", "html", "txt"])
def test_nothing_half_written_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str) -> None:
    case, weighup = KEPT("smallest.toml")
    path = tmp_path / f"report.{ending}"
    path.write_text("the old one")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("wetmount.files.os.replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_report(case, weighup, REFERENCE, path)
    assert path.read_text() == "the old one"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_and_an_ending_that_is_no_report(tmp_path: Path) -> None:
    case, weighup = KEPT("smallest.toml")
    with pytest.raises(InputError, match="cannot be written"):
        write_report(case, weighup, REFERENCE, tmp_path / "nowhere" / "report.txt")
    with pytest.raises(InputError, match=r"\.pdf, \.html, \.txt"):
        write_report(case, weighup, REFERENCE, tmp_path / "report.doc")
    assert not list(tmp_path.iterdir())


def test_of_two_looks_on_one_day_the_weighed_one_is_told() -> None:
    """The readings of the morning belong to the weigh-up of the morning."""
    case = case_of(
        """
format = 1
[host]
group = "koi"
[[looks]]
date = 2026-10-03
readings = {nitrite = "2 mg/L NO2"}
[[looks]]
date = 2026-10-03
readings = {nitrite = "0.1 mg/L NO2"}
"""
    )
    for place, value in ((0, "2 mg/L NO2"), (1, "0.1 mg/L NO2")):
        evidence = gather_evidence(case, REFERENCE, place)
        told = begin(case, weigh_up(evidence, REFERENCE, firmness=False, examinations=False), REFERENCE, teaching=False)
        assert "".join(told.look.readings.values()) == value
    assert gather_evidence(case, REFERENCE).look == 1

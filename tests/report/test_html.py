import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.report.html import night_page

VOID = {"meta", "link", "br", "hr", "img", "input"}
CSS = (Path(__file__).parents[2] / "sleepnoise/report/templates/page.css").read_text(encoding="utf-8")


class Page(HTMLParser):
    """Takes a page apart and refuses tags that do not close."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("script", "style"):
            self.words.append(data)

    def having(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


@pytest.fixture(scope="module")
def text(record: NightRecord) -> str:
    return night_page(record)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    return Page(text)


def test_the_page_forbids_itself_everything_but_its_own_style_and_script(text: str, page: Page) -> None:
    [policy] = [meta["content"] for meta in page.having("meta") if "http-equiv" in meta]
    [style] = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    [script] = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert policy == (
        f"default-src 'none'; style-src '{digest(style)}'; script-src '{digest(script)}'; img-src data:; "
        "media-src blob: data:; base-uri 'none'; form-action 'none'"
    )


def digest(content: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}"


def test_the_page_loads_nothing(text: str, page: Page) -> None:
    names = {tag for tag, _ in page.tags}
    assert not names & {"link", "img", "iframe", "object", "embed", "form", "base"}
    assert len(page.having("script")) == 2
    for _, attributes in page.tags:
        # The policy would drop them.
        assert "style" not in attributes
        assert "src" not in attributes
        assert not any(name.startswith("on") for name in attributes)
    assert "url(" not in text
    assert "@import" not in text
    assert "fetch(" not in text


def test_the_night_is_small_enough_to_be_sent(text: str) -> None:
    """2.5 MB for 8 h allow 700 kB for 2.25 h; the spread of this night's levels is that of real ones."""
    assert len(text.encode()) < 700_000


@pytest.mark.parametrize(
    "hostile", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "[red]🚋\n{{7*7}}"]
)
def test_text_from_outside_is_only_ever_text(record: NightRecord, hostile: str) -> None:
    event = replace(record.assessment.events[0], label=hostile, flags=(hostile,))
    verdict = record.assessment.verdicts[0]
    criterion = replace(
        verdict.criterion,
        title=hostile,
        guideline=hostile,
        note=hostile,
        applies_to=hostile,
        jurisdiction=hostile,
    )
    night = replace(
        record.assessment, events=(event,), verdicts=(replace(verdict, criterion=criterion, reason=hostile),)
    )
    mark = replace(record.provenance.inputs[0], name=hostile)
    page = Page(
        night_page(
            replace(
                record,
                assessment=night,
                provenance=replace(record.provenance, inputs=(mark,)),
                start=replace(record.start, origin=hostile),
                calibration=replace(record.calibration, origin=hostile),
            )
        )
    )
    assert "img" not in {tag for tag, _ in page.tags}
    assert len(page.having("script")) == 2
    assert sum(hostile in word for word in page.words) >= 5


def test_every_drawing_has_a_name_and_a_description(page: Page) -> None:
    drawings = [drawing for drawing in page.having("svg") if drawing.get("aria-hidden") != "true"]
    ids = {attributes["id"] for _, attributes in page.tags if "id" in attributes}
    assert len(drawings) == 4
    for drawing in drawings:
        assert drawing["role"] == "img"
        assert set((drawing["aria-labelledby"] or "").split()) <= ids


def test_every_table_has_a_caption_and_every_head_its_scope(page: Page) -> None:
    assert len(page.having("table")) == len(page.having("caption")) >= 6
    assert {head["scope"] for head in page.having("th")} <= {"col", "row", "rowgroup"}


def test_no_id_is_given_twice_and_every_link_inside_leads_somewhere(page: Page) -> None:
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for link in page.having("a"):
        target = link["href"] or ""
        assert target[1:] in ids if target.startswith("#") else target.startswith("https://")


def test_headings_do_not_skip_a_level(page: Page) -> None:
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_same_night_gives_the_same_page(record: NightRecord, text: str) -> None:
    assert night_page(record) == text


def test_a_night_without_calibration_says_so_at_the_top(uncalibrated: NightRecord) -> None:
    words = night_page(uncalibrated)
    head = words[: words.index("<main>")]
    assert "not calibrated" in head
    assert "LAF, dB re full scale" in words


def test_a_silent_night_has_a_page(silent: NightRecord) -> None:
    words = " ".join(Page(night_page(silent)).words)
    assert "No sound stood out" in words
    assert "nan" not in words.lower().split()


def test_cautions_and_unverified_marks_are_on_the_page(page: Page) -> None:
    words = " ".join(page.words)
    assert "unverified" in words
    assert "Fire doors" in words
    assert "smoke" in words
    assert "Infants" in words


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.1 (definition on w3.org, from memory)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def palettes() -> list[dict[str, str]]:
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)[:2]
    return [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block)) for block in blocks]


def test_contrast_is_measured_as_wcag_does() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.1, the largest ratio there is
    assert contrast("#767676", "#ffffff") == pytest.approx(
        4.54, abs=0.005
    )  # known least grey on white (memory)


@pytest.mark.parametrize("palette", palettes(), ids=["light", "dark"])
def test_text_has_the_contrast_of_wcag_aa_and_lines_that_of_graphics(palette: dict[str, str]) -> None:
    for name in ("ink", "soft", "link", "vermillion", "green", "amber"):
        for ground in ("paper", "box"):
            assert contrast(palette[name], palette[ground]) >= 4.5, name
    for name in ("blue", "vermillion", "purple", "ink"):
        assert contrast(palette[name], palette["box"]) >= 3.0, name

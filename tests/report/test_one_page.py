"""Pages without a script in a real browser, from a file, without any network."""

import json
from pathlib import Path

import pytest

from sleepnoise.casework.comparing import compare_nights
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.missing import points_of
from sleepnoise.dossier.door_test_document import door_test_document
from sleepnoise.dossier.kept_door_test import door_test_from
from sleepnoise.dossier.plan_summary import plan_from
from sleepnoise.errors import RecordingError
from sleepnoise.planning.room_study import study_room
from sleepnoise.profiles.files import read_door_test
from sleepnoise.report.case_page import case_page
from sleepnoise.report.finding_pages import door_test_page, nights_page, plan_page, room_page
from sleepnoise.trials.door_test import study_door_test

DEMO = Path(__file__).parents[2] / "demo_audio"

HOSTILE = (
    "<script>document.title='taken'</script>\"'><img src=x onerror=document.title='taken'>"
    "\u202eright to left\u202c مرحبا 🚋\U0001f469\u200d\U0001f467 {{7*7}} " + "long " * 60 + "x" * 9500
)
WRITTEN = HOSTILE.replace("\u202e", "").replace("\u202c", "").replace("\u200d", "")[:2000]
"""The same as a file that people write may hold it: printable, and no longer."""


def page_of(folder, **more):
    dossier = read_dossier(folder)
    compared = compare_nights(dossier)
    return case_page(dossier, points_of(dossier, compared), compared, **more)


@pytest.fixture(scope="module")
def pages(case_folder, room_file, summary):
    profile = read_door_test(DEMO / "door_test.toml")
    test = door_test_from(door_test_document(study_door_test(profile, DEMO)), "test")
    return {
        "case": page_of(case_folder),
        "door test": door_test_page(test),
        "room": room_page(study_room(room_file)),
        "plan": plan_page(summary),
        "nights": nights_page(compare_nights(read_dossier(case_folder))),
    }


NAMES = ("case", "door test", "room", "plan", "nights")


OWN_OF_THE_CASE = ["header", "#short", "#next", "#status", "#nights", "#sounds", "#proofs", "#cautions"]
"""Parts that no other page has; axe takes half a minute for all of them."""


def violations(page, context=None, **options):
    """Return what axe-core finds against WCAG 2.1 A and AA and its own best practices."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page, context=context, options=options)
    return [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]]


@pytest.mark.parametrize("name", NAMES)
def test_it_asks_nobody_and_stands_in_nobodys_way(open_page, pages, name):
    opened = open_page(pages[name])
    assert opened.said == []
    assert len(opened.requests) == 1
    assert opened.page.locator("figure svg").count() >= 2
    # The policy holds: there is no script, and none is run.
    opened.page.evaluate(
        "() => { const made = document.createElement('script'); made.textContent = 'document.title = 1'; "
        "document.body.append(made); }"
    )
    assert opened.page.title().startswith("Night noise: ")
    for width in (360, 1920):
        opened.page.set_viewport_size({"width": width, "height": 800})
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", NAMES)
def test_no_words_of_a_table_are_squeezed_to_a_letter_a_line_on_a_phone(open_page, pages, name):
    """Tables scroll sideways; a column of words was a few letters wide, and a plan 30,000 pixels long."""
    page = open_page(pages[name], viewport={"width": 360, "height": 800}).page
    narrow = page.eval_on_selector_all(
        "table td",
        """(cells) => cells.filter((cell) => cell.innerText.length > 30 && cell.offsetParent !== null
            && cell.getBoundingClientRect().width < 150).map((cell) => cell.innerText)""",
    )
    assert narrow == []


@pytest.mark.parametrize("name", NAMES)
def test_nothing_stands_in_the_way_of_anyone(open_page, pages, name):
    page = open_page(pages[name], bypass_csp=True).page
    # One folded part for all: they are made alike.
    page.click("details summary >> nth=0")
    context = [[each] for each in OWN_OF_THE_CASE] if name == "case" else None
    assert violations(page, context) == []
    page.emulate_media(color_scheme="dark")
    if name in ("case", "plan"):
        assert violations(page, context, runOnly=["color-contrast"]) == []


def test_letters_in_figures_can_be_read_in_light_and_dark(open_page, pages):
    """Axe leaves out what lies in drawings: WCAG 2.1, 1.4.3 asks for a contrast of 4.5 to 1."""
    for scheme in ("light", "dark"):
        page = open_page(pages["case"], color_scheme=scheme).page
        found = page.eval_on_selector_all(
            "figure svg text",
            """(texts) => {
                const shade = (colour) => {
                    const part = (value) =>
                        value <= 0.03928 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
                    const [r, g, b] = colour.match(/[\\d.]+/g).map((each) => part(each / 255));
                    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
                };
                return texts.filter((each) => each.textContent.trim()).map((each) => {
                    const svg = each.ownerSVGElement, ink = shade(getComputedStyle(each).fill);
                    const paper = shade(getComputedStyle(svg).backgroundColor);
                    return (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
                });
            }""",
        )
        assert len(found) > 200
        assert min(found) >= 4.5


def test_each_reader_sees_their_own_parts(open_page, case_folder):
    page = open_page(page_of(case_folder, reader="landlord")).page
    seen = {}
    for reader in ("landlord", "resident", "consultant"):
        if reader != "landlord":
            page.check(f"#for-{reader}")
        seen[reader] = page.eval_on_selector_all(
            "main > section", "(all) => all.filter((each) => each.offsetParent).map((each) => each.id)"
        )
    for common in ("short", "next", "status", "nights", "door-1", "paths", "plan", "proofs", "cautions"):
        assert all(common in sections for sections in seen.values())
    assert "duties" in seen["landlord"]
    assert "duties" not in seen["consultant"]
    assert "evidence" not in seen["resident"]
    assert "chosen" in seen["consultant"]
    assert "chosen" not in seen["landlord"]


def test_the_case_says_what_it_holds_and_what_cannot_be_told(pages, case_folder):
    text = pages["case"]
    dossier = read_dossier(case_folder)
    assert dossier.entries[-1].sha256 in text
    for kept in dossier.files.values():
        assert kept.sha256 in text
    assert "12 nights, 12 of them assessed" in text
    assert "The nights are quieter" in text
    # Nothing was measured after the plan, so no promise is said to be kept.
    assert "The plan was made from a room file or results that have changed since" in text
    assert str(case_folder) not in text


def test_the_same_dossier_gives_the_same_bytes(pages, case_folder):
    assert page_of(case_folder) == pages["case"]


def test_hostile_texts_stay_texts(open_page, make_case, plan_of_room, tmp_path):
    plan = json.loads(json.dumps(plan_of_room))
    plan["room"] = plan["currency"] = HOSTILE
    for event in plan["events"]:
        event["event"] = HOSTILE
    for point in plan["front"]:
        for each in point["treatments"]:
            each["part_title"], each["titles"] = HOSTILE, [HOSTILE]
    folder = make_case(tmp_path / "flat-3", plan=plan, nights=4, words=WRITTEN, label=HOSTILE)
    for text in (
        page_of(folder),
        nights_page(compare_nights(read_dossier(folder))),
        plan_page(plan_from(plan, "x")),
    ):
        opened = open_page(text, viewport={"width": 360, "height": 800})
        assert opened.page.title().startswith("Night noise: <script>")
        assert opened.page.locator("img, script").count() == 0
        assert opened.said == []
        assert len(opened.requests) == 1
        assert opened.page.evaluate("document.documentElement.scrollWidth") <= 360
        assert "{{7*7}}" in text
        widest = opened.page.eval_on_selector_all(
            "figure svg",
            "(all) => Math.max(...all.map((svg) => svg.getBBox().width / svg.viewBox.baseVal.width))",
        )
        assert widest <= 1.02


def test_a_result_that_was_changed_by_hand_is_not_believed(make_case, tmp_path):
    folder = make_case(tmp_path / "flat-3", nights=2)
    result = folder / "door-tests" / "tested" / "result.json"
    result.write_text(result.read_text("utf-8").replace("70.0", "90.0"), encoding="utf-8")
    with pytest.raises(RecordingError, match="is not what was written there"):
        page_of(folder)


def test_an_empty_case_says_what_to_do(open_page, tmp_path):
    from datetime import UTC, datetime

    from sleepnoise.casework.dossier import start_dossier
    from sleepnoise.casework.written_files import DossierFile

    about = DossierFile(title="Flat 3", zone="Europe/Vienna")
    start_dossier(tmp_path / "new", about, datetime(2026, 3, 1, tzinfo=UTC), {})
    page = open_page(page_of(tmp_path / "new"), bypass_csp=True).page
    assert violations(page) == []
    said = page.inner_text("main")
    for words in ("No night can be judged yet", "No door test was made", "nothing can be planned", "no plan"):
        assert words in said

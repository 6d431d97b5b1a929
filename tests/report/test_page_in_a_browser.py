"""The page at work in a real browser, from a file, without any network."""

import json
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import combine
from sleepnoise.assessing.record import NightRecord
from sleepnoise.hearing.audibility import margin_db
from sleepnoise.isolation.steps import even_step
from sleepnoise.levels.history import LevelHistory
from sleepnoise.levels.statistics import level_statistics
from sleepnoise.masking.masker import masker_shapes
from sleepnoise.planning.first_plan import first_plan, heard_events
from sleepnoise.recognition.labels import read_labels
from sleepnoise.recognition.written_times import RecordedNight
from sleepnoise.report.clips import event_clips
from sleepnoise.report.html import night_page

HOSTILE = (
    "<script>document.title='taken'</script>",
    "\"'><img src=x onerror=document.title='taken'>",
    "</script><svg onload=document.title='taken'>",
    "\u202eright to left\u202c مرحبا 🚋\U0001f469\u200d\U0001f467",
    "=HYPERLINK(1)",
    "long " * 2000,
)


@pytest.fixture(scope="module")
def text(record: NightRecord) -> str:
    return night_page(record)


def set_value(page: Any, field: str, value: float | str) -> None:
    page.eval_on_selector(
        f"#{field}",
        "(field, value) => { field.value = value; field.dispatchEvent(new Event('input')); }",
        str(value),
    )


def shown(page: Any) -> dict[str, str]:
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return page.eval_on_selector("#trace-readout", "(box) => ({...box.dataset})")


def test_it_asks_nobody_and_breaks_no_rule_of_its_own(open_page: Callable[..., Any], text: str) -> None:
    opened = open_page(text)
    opened.page.click(".event-list .opener >> nth=0")
    assert opened.said == []
    assert len(opened.requests) == 1
    # The policy holds: what is not in it is not run.
    opened.page.evaluate(
        "() => { const made = document.createElement('script'); made.textContent = 'document.title = 1'; "
        "document.body.append(made); }"
    )
    assert opened.page.title() == "Night noise: larch.wav"


def test_the_map_says_the_unit_of_its_bands(open_page: Callable[..., Any], text: str) -> None:
    page = open_page(text).page
    page.evaluate(
        "() => { window.written = []; const pen = CanvasRenderingContext2D.prototype, write = pen.fillText; "
        "pen.fillText = function (said, x, y) { "
        "if (this.canvas.id === 'map-live') window.written.push([said, x, y]); "
        "write.call(this, said, x, y); }; }"
    )
    page.fill("#from", "23:10")
    page.click("#go")
    shown(page)
    written = page.evaluate("() => window.written")
    (unit,) = (each for each in written if each[0] == "Hz")
    lowest = max((each for each in written if each[0] in ("31.5", "63", "1000")), key=lambda each: each[2])
    # Below the column of bands, left of the clock times.
    assert unit[1] < lowest[1]
    assert unit[2] > lowest[2]


def test_what_is_shown_of_a_minute_has_its_highest_and_lowest_level(
    open_page: Callable[..., Any], text: str, record: NightRecord
) -> None:
    page = open_page(text).page
    history, zone = record.history, record.assessment.window.zone
    for clock, span, shown_ticks in (("23:10", 480, 480), ("00:18:20", 4800, 4800), ("23:40", 8, 16)):
        page.fill("#from", clock)
        page.select_option("#span", str(span))
        page.click("#go")
        day = 15 if clock < "12" else 14
        wanted = datetime.fromisoformat(f"2026-01-{day}T{clock}").replace(tzinfo=zone)
        first = history.tick_of(wanted) - (shown_ticks - span) // 2
        last = first + shown_ticks
        seen = shown(page)
        assert (int(seen["first"]), int(seen["last"])) == (first, last)
        assert float(seen["highest"]) == pytest.approx(history.lafmax[first:last].max(), abs=0.005001)
        assert float(seen["lowest"]) == pytest.approx(history.lafmin[first:last].min(), abs=0.005001)


def test_keys_wheel_and_fingers_move_it(
    open_page: Callable[..., Any], text: str, record: NightRecord
) -> None:
    page = open_page(text).page
    ticks = record.history.ticks
    page.focus("#trace")
    page.keyboard.press("+")
    assert int(shown(page)["last"]) - int(shown(page)["first"]) == pytest.approx(ticks / 2, abs=2)
    page.keyboard.press("ArrowLeft")
    assert int(shown(page)["first"]) == pytest.approx(ticks / 8, abs=2)
    page.keyboard.press("Home")
    assert (int(shown(page)["first"]), int(shown(page)["last"])) == (0, ticks)
    page.hover("#trace")
    for _ in range(4):
        page.mouse.wheel(0, -2000)
    assert int(shown(page)["last"]) - int(shown(page)["first"]) in (16, 17)
    page.keyboard.press("Home")
    page.keyboard.press("n")
    assert "Event 1 at" in page.inner_text("#event-h")
    event = record.assessment.events[0]
    middle = (event.first_tick + event.last_tick) / 2
    seen = shown(page)
    assert (int(seen["first"]) + int(seen["last"])) / 2 == pytest.approx(middle, abs=1)


def test_two_fingers_come_closer(open_page: Callable[..., Any], text: str, record: NightRecord) -> None:
    page = open_page(text, has_touch=True).page
    page.eval_on_selector(
        "#trace canvas",
        """(canvas) => {
            canvas.setPointerCapture = () => {};
            const {left, top} = canvas.getBoundingClientRect();
            const send = (kind, pointerId, x) => canvas.dispatchEvent(
                new PointerEvent(kind, {pointerId, clientX: left + x, clientY: top + 100}));
            send('pointerdown', 1, 400); send('pointerdown', 2, 500);
            send('pointermove', 1, 300); send('pointermove', 2, 600);
            send('pointerup', 1, 300); send('pointerup', 2, 600);
        }""",
    )
    seen = shown(page)
    assert int(seen["last"]) - int(seen["first"]) == pytest.approx(record.history.ticks / 3, rel=0.01)


def test_the_sliders_say_what_python_says(open_page: Callable[..., Any], record: NightRecord) -> None:
    """At random settings every margin is the same within a thousandth, and every count is the plan's own."""
    # Events loud and quiet, so that counts change from setting to setting.
    rng = random.Random(8)
    events = tuple(
        replace(
            event,
            number=number,
            max_spectrum=event.max_spectrum.attenuated(rng.uniform(0, 45)),
        )
        for number, event in enumerate(record.assessment.events * 12, start=1)
    )
    shapes = masker_shapes()
    losses_db = (0.0, 7.0, 15.0)
    plan = first_plan(events, steps=[even_step(loss) for loss in losses_db], shapes=shapes)
    night = replace(record, assessment=replace(record.assessment, events=events), plan=plan)
    page = open_page(night_page(night)).page
    signal_db, background_db = heard_events(events)
    counts = set()
    for choice in plan.choices:
        place = next((i for i, shape in enumerate(shapes) if shape.name == choice.shape), None)
        if place is None:
            continue
        shape, loss_db = shapes[place], choice.step.loss.levels_db[0]
        at = rng.randrange(len(choice.masker_dba))
        level_dba = choice.masker_dba[at]
        set_value(page, "shape", place)
        set_value(page, "loss", f"{loss_db:g}")
        set_value(page, "masker", f"{level_dba:g}" if np.isfinite(level_dba) else "0")
        told = page.eval_on_selector("#trial-result", "(line) => ({...line.dataset})")
        masker_db = np.broadcast_to(shape.at(level_dba).levels_db, signal_db.shape)
        noise_db = combine(np.stack([background_db - loss_db, masker_db]), axis=0)
        expected = margin_db(signal_db - loss_db, noise_db)
        # JSON has no -inf: nothing of the event is left.
        found = [-np.inf if margin is None else margin for margin in json.loads(told["margins"])]
        assert found == pytest.approx(expected.tolist(), abs=1e-3)
        assert int(told["audible"]) == choice.audible_by_level[at]
        counts.add(int(told["audible"]))
    assert len(counts) > 3


def test_a_clip_can_be_heard(open_page: Callable[..., Any], sounding: NightRecord) -> None:
    opened = open_page(night_page(sounding, clips=event_clips(sounding, "full")))
    opened.page.press("#trace", "n")
    seconds = opened.page.eval_on_selector(
        "#event audio",
        "(sound) => new Promise((done, failed) => { sound.oncanplay = () => done(sound.duration); "
        "sound.onerror = failed; sound.preload = 'auto'; sound.load(); })",
    )
    # The event with a second on both sides; a coder fills up its last frame.
    assert seconds == pytest.approx(sounding.assessment.events[0].duration_s + 2, abs=0.2)
    assert opened.said == []


def test_labels_are_kept_as_a_file_that_is_read_back(
    open_page: Callable[..., Any], text: str, record: NightRecord
) -> None:
    page = open_page(text).page
    for number, label, whose in ((1, '=tram, "late"', "outside"), (3, "snoring <b>", "sleeper")):
        page.click(f".event-list .opener >> text=/^{number}$/ >> visible=true")
        page.fill("#label", label)
        page.press("#label", "Tab")
        page.select_option("#event select", whose)
    with page.expect_download() as waiting:
        page.click("#left-out .save-labels")
    history, zone = record.history, record.assessment.window.zone
    night = RecordedNight(start=history.start, end=history.end, zone=zone)
    labels = read_labels(Path(waiting.value.path()), night)
    assert [(each.label, each.whose) for each in labels.spans] == [
        # What a spreadsheet would run has an apostrophe in front.
        ('\'=tram, "late"', "outside"),
        ("snoring <b>", "sleeper"),
    ]
    for span, event in zip(
        labels.spans, (record.assessment.events[0], record.assessment.events[2]), strict=True
    ):
        assert span.start == event.start
        assert span.end == event.start + timedelta(seconds=event.duration_s)
    # The sleeper's own sounds are left out of the results at once.
    assert page.inner_text("#left-out p").startswith("Without 1 event")


def test_one_label_is_said_of_a_whole_group(open_page: Callable[..., Any], record: NightRecord) -> None:
    first, second, third = record.assessment.events
    events = (replace(first, group="A"), second, replace(third, group="A"))
    page = open_page(night_page(replace(record, assessment=replace(record.assessment, events=events)))).page
    page.click(".event-list .opener >> text=/^1$/ >> visible=true")
    page.fill("#label", "tram")
    page.click("text=Say so of all 2 in A")
    assert "2 of 3 events are named" in page.inner_text("#left-out")


def test_a_night_when_clocks_change_has_each_hour_twice(
    open_page: Callable[..., Any], record: NightRecord
) -> None:
    """Central Europe put its clocks back at 01:00 UTC on 25 October 2026: 02:00 comes twice."""
    history = record.history
    names = ("laeq", "lceq", "lzeq", "laf", "lafmax", "lafmin", "lasmax", "lcpeak", "bands", "left_out")
    moved = LevelHistory(
        start=datetime(2026, 10, 24, 23, 50, tzinfo=UTC),
        sample_rate_hz=48_000,
        nominal_hz=history.nominal_hz,
        **{name: getattr(history, name) for name in names},
    )
    page = open_page(night_page(replace(record, history=moved))).page
    page.fill("#from", "02:30")
    page.click("#go")
    # The first of the two: 40 min after the start.
    assert int(shown(page)["first"]) == 40 * 60 * 8
    assert page.inner_text("#trace-readout").startswith("02:30:00 to 02:31:00")
    page.fill("#from", "03:04")
    page.click("#go")
    assert int(shown(page)["first"]) == 134 * 60 * 8
    page.fill("#from", "05:00")
    page.click("#go")
    assert "No such clock time" in page.inner_text("#trace-readout")


def test_results_without_an_event_are_those_of_the_rest(
    open_page: Callable[..., Any], text: str, record: NightRecord
) -> None:
    page = open_page(text).page
    page.click(".event-list .opener >> text=/^2$/ >> visible=true")
    page.check("#event input[type=checkbox]")
    told = page.eval_on_selector("#left-out p", "(line) => ({...line.dataset})")
    history, night = record.history, record.assessment
    event = night.events[1]
    mask = np.zeros(history.ticks, dtype=np.bool_)
    mask[event.first_tick : event.last_tick] = True
    part = history.without(mask).between(history.tick_of(night.start), history.tick_of(night.end))
    expected = level_statistics(part)
    assert float(told["laeq"]) == pytest.approx(expected.laeq, abs=1e-6)
    assert float(told["lafmax"]) == pytest.approx(expected.lafmax, abs=0.005001)


def violations(page: Any, context: Any = None, rules: dict[str, Any] | None = None) -> list[Any]:
    """What axe-core finds against WCAG 2.1 A and AA and its own best practices, unless told which rules."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page, context=context, options=rules or {})
    return [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]]


def test_nothing_stands_in_the_way_of_anyone(open_page: Callable[..., Any], text: str) -> None:
    """With an event open, and one folded part for all: they are made alike."""
    page = open_page(text, bypass_csp=True).page
    page.click("#measured details summary >> nth=0")
    page.click(".event-list .opener >> nth=0")
    assert violations(page) == []


def test_nor_in_the_dark_or_for_others(open_page: Callable[..., Any], text: str) -> None:
    page = open_page(text, color_scheme="dark", bypass_csp=True).page
    page.click(".event-list .opener >> nth=0")
    # One of everything that has colours of its own.
    shown_here = [
        ["header"],
        ["#short"],
        ["#night"],
        ["#what-if"],
        ["#cautions"],
        ["#values tbody:last-child"],
    ]
    assert violations(page, shown_here, {"runOnly": ["color-contrast"]}) == []
    page.check("#for-resident")
    assert violations(page, [["#next"], ["#diary"]]) == []
    page.check("#for-landlord")
    assert violations(page, [["#findings"], ["#options"]]) == []


@pytest.mark.parametrize("width", [360, 1920])
def test_nothing_sticks_out_at_the_side(open_page: Callable[..., Any], text: str, width: int) -> None:
    page = open_page(text, viewport={"width": width, "height": 800}).page
    page.click(".event-list .opener >> nth=0")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.eval_on_selector("#trace canvas", "(canvas) => canvas.clientWidth") >= min(width - 48, 1000)


def test_each_reader_sees_their_own_parts(open_page: Callable[..., Any], text: str) -> None:
    page = open_page(text).page
    seen = {}
    for reader in ("resident", "landlord", "consultant"):
        page.check(f"#for-{reader}")
        seen[reader] = page.eval_on_selector_all(
            "main > section", "(all) => all.filter((each) => each.offsetParent).map((each) => each.id)"
        )
    assert {"next", "diary"} <= set(seen["resident"])
    assert {"findings", "options", "plan"} <= set(seen["landlord"])
    assert {"chosen", "map", "intervals", "measured"} <= set(seen["consultant"])
    for common in ("short", "night", "values", "events", "cautions"):
        assert all(common in sections for sections in seen.values())


def test_without_a_script_it_is_a_plain_whole_document(open_page: Callable[..., Any], text: str) -> None:
    page = open_page(text, java_script_enabled=False).page
    assert page.locator("figure.static >> visible=true").count() == 2
    assert page.locator(".only-script >> visible=true").count() == 0


def test_hostile_texts_stay_texts(open_page: Callable[..., Any], record: NightRecord) -> None:
    events = tuple(
        replace(event, label=HOSTILE[2 * place], group=HOSTILE[2 * place + 1], flags=HOSTILE)
        for place, event in enumerate(record.assessment.events)
    )
    mark = replace(record.provenance.inputs[0], name=HOSTILE[3] + HOSTILE[2])
    night = replace(
        record,
        assessment=replace(record.assessment, events=events),
        provenance=replace(record.provenance, inputs=(mark,)),
        remarks=HOSTILE,
    )
    opened = open_page(night_page(night), viewport={"width": 360, "height": 800})
    for _ in events:
        opened.page.press("#trace", "n")
    assert opened.page.title().startswith("Night noise: ")
    assert opened.page.locator("main img").count() == 0
    assert opened.said == []
    assert len(opened.requests) == 1
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= 360


def test_a_silent_night_is_drawn(open_page: Callable[..., Any], silent: NightRecord) -> None:
    opened = open_page(night_page(silent))
    assert opened.said == []
    assert "highest LAF silence" in opened.page.inner_text("#trace-readout").replace("\n", "")

"""Whole groups named in the page, saved, and read back by a real assessment."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from sleepnoise.assessing.assess import assess_recording
from sleepnoise.assessing.record import AssessSettings, NightRecord
from sleepnoise.assessing.said import Statements
from sleepnoise.night.events import Event
from sleepnoise.recognition.own_sounds import is_own
from sleepnoise.report.html import night_page

RATE_HZ = 16_000
START, ZONE = "2026-01-14T23:30", "Europe/Vienna"
KNOCKS_S, BEEPS_S = (70.0, 110.0, 150.0, 190.0), (90.0, 130.0, 170.0, 230.0)


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five minutes with four knocks and, ten times as loud, four beeps."""
    rng = np.random.default_rng(6)
    samples = rng.standard_normal(280 * RATE_HZ) * 1e-4
    time_s = np.arange(RATE_HZ) / RATE_HZ
    knock = 0.005 * np.sin(2 * np.pi * 180 * time_s) * np.exp(-time_s / 0.12)
    beep = 0.05 * np.sin(2 * np.pi * 2000 * time_s) * (time_s < 0.5)
    for at, sound in [*((at, knock) for at in KNOCKS_S), *((at, beep) for at in BEEPS_S)]:
        first = round(at * RATE_HZ)
        samples[first : first + RATE_HZ] += sound
    path = tmp_path_factory.mktemp("night") / "night.flac"
    soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return path


def assessed(recording: Path, labels: Path | None = None) -> NightRecord:
    said = Statements() if labels is None else Statements(labels=labels)
    return assess_recording(
        recording,
        AssessSettings(start=START, zone=ZONE, full_scale_level_db=100.0, statements=said),
    )


@pytest.fixture(scope="module")
def first(recording: Path) -> NightRecord:
    return assessed(recording)


def group_at(record: NightRecord, at_s: float) -> str:
    [event] = [each for each in record.assessment.events if abs(each.first_tick / 8 - at_s) < 2]
    assert event.group
    return event.group


def figures(page: Any) -> tuple[float, float, int]:
    box = "#left-out p:has(strong)"
    told = page.eval_on_selector(box, "(line) => ({...line.dataset})")
    left = re.search(r"(\d+) events? left", page.inner_text(box))
    assert left is not None
    return float(told["laeq"]), float(told["lafmax"]), int(left[1])


def saved(page: Any, tmp_path: Path, name: str) -> Path:
    with page.expect_download() as waiting:
        page.locator(".save-labels >> visible=true").first.press("Enter")
    path = tmp_path / name
    waiting.value.save_as(path)
    return path


def counted(record: NightRecord) -> tuple[Event, ...]:
    return tuple(event for event in record.assessment.events if not is_own(event))


def check_figures(told: tuple[float, float, int], record: NightRecord) -> None:
    """What the page said at once is what the program says of the file: counts exact, levels to 0.1 dB."""
    assert record.sounds.own is not None
    rest = record.sounds.own.others_only
    assert told[0] == pytest.approx(rest.laeq, abs=0.1)
    assert told[1] == pytest.approx(rest.lafmax, abs=0.1)
    assert told[2] == len(counted(record))


def test_a_group_named_by_keyboard_comes_back_and_its_sounds_do_not_count(
    open_page: Callable[..., Any], recording: Path, first: NightRecord, tmp_path: Path
) -> None:
    beeps, knocks = group_at(first, BEEPS_S[0]), group_at(first, KNOCKS_S[0])
    opened = open_page(night_page(first))
    page = opened.page
    page.locator(f"#recurring button >> text='{beeps}'").press("Enter")
    assert page.evaluate("document.activeElement.id") == "group-h"
    page.keyboard.press("Tab")
    page.keyboard.type("watch that beeps")
    page.keyboard.press("Tab")
    page.keyboard.type("the sleeper")
    told = figures(page)
    assert page.locator("#group .results strong").count() == 1
    row = page.locator(f"#recurring tr:has-text('{beeps}')")
    assert row.locator("td").all_inner_texts()[:2] == ["watch that beeps", "the sleeper's own"]

    second = assessed(recording, saved(page, tmp_path, "labels.csv"))
    by_group = {group.sound.name: group.sound for group in second.sounds.recognised.grouped.groups}
    assert (by_group[beeps].label, by_group[beeps].whose) == ("watch that beeps", "sleeper")
    assert by_group[knocks].label == ""
    assert [event.group for event in counted(second)] == [knocks] * len(KNOCKS_S)
    check_figures(told, second)

    # What was said is there when the page is opened again, and saving it anew loses nothing.
    again = open_page(night_page(second)).page
    assert figures(again) == pytest.approx(told, abs=1e-6)
    third = assessed(recording, saved(again, tmp_path, "again.csv"))
    assert third.sounds.recognised.said[0].label == "watch that beeps"
    check_figures(told, third)
    assert opened.said == []


def test_one_event_from_outside_counts_although_its_group_does_not(
    open_page: Callable[..., Any], recording: Path, first: NightRecord, tmp_path: Path
) -> None:
    """And a label that tells by itself whose it is needs no more to be said. By finger, on a small screen."""
    beeps = group_at(first, BEEPS_S[0])
    page = open_page(night_page(first), has_touch=True, viewport={"width": 360, "height": 740}).page
    page.locator(f"#recurring button >> text='{beeps}'").tap()
    page.fill("#group-label", "Ticking")
    page.press("#group-label", "Tab")
    assert figures(page)[2] == len(KNOCKS_S)
    number = next(event.number for event in first.assessment.events if event.group == beeps)
    page.locator(f"#group .opener >> text=/^{number}$/").tap()
    page.select_option("#whose", "outside")
    told = figures(page)
    assert told[2] == len(KNOCKS_S) + 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    second = assessed(recording, saved(page, tmp_path, "labels.csv"))
    check_figures(told, second)


def test_stretches_that_are_no_event_stay_in_the_file(
    open_page: Callable[..., Any], recording: Path, tmp_path: Path
) -> None:
    labels = tmp_path / "given.csv"
    labels.write_text(
        "start,end,label,whose\n2026-01-14T23:31:00,2026-01-14T23:31:20,getting up,sleeper\n",
        encoding="utf-8",
    )
    record = assessed(recording, labels)
    page = open_page(night_page(record)).page
    assert "besides events" in page.inner_text("#left-out")
    text = saved(page, tmp_path, "labels.csv").read_text(encoding="utf-8")
    assert text.splitlines()[1] == (
        '2026-01-14T23:31:00.000+01:00,2026-01-14T23:31:20.000+01:00,"getting up",sleeper,'
    )
    second = assessed(recording, tmp_path / "labels.csv")
    assert second.sounds.own is not None
    assert record.sounds.own is not None
    assert second.sounds.own.others_only == record.sounds.own.others_only


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_open_group_stands_in_nobodys_way(
    open_page: Callable[..., Any], first: NightRecord, scheme: str
) -> None:
    """By axe-core, against WCAG 2.1 A and AA and its own best practices."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    page = open_page(night_page(first), color_scheme=scheme, bypass_csp=True).page
    page.locator("#recurring .opener").first.click()
    page.select_option("#group-whose", "sleeper")
    found = axe.Axe().run(page, context=[["#recurring"], ["#left-out"], ["#speech"]])
    assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found.response["violations"]] == []

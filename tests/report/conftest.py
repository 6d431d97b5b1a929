"""A browser for the pages of this room; without playwright or chromium those tests are skipped."""

import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sleepnoise.acoustics.pressure import PressureBlock
from sleepnoise.assessing.record import NightRecord
from sleepnoise.recording.sequence import NightSound

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api")
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM)
        yield started
        started.close()


class Opened:
    """A page from a file, with everything that went wrong or went out while it was open."""

    def __init__(self, browser: Any, file: Path, **options: Any) -> None:
        self.context = browser.new_context(accept_downloads=True, **options)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.goto(file.as_uri())
        # Pages without a script have no drawing that comes to life.
        if options.get("java_script_enabled", True) and self.page.locator("#trace-readout").count():
            self.page.wait_for_selector("#trace-readout[data-highest]", state="attached")


@pytest.fixture
def open_page(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Opened]]:
    opened: list[Opened] = []

    def open_text(text: str, **options: Any) -> Opened:
        file = tmp_path / f"{len(opened)}.html"
        file.write_text(text, encoding="utf-8")
        opened.append(Opened(browser, file, **options))
        return opened[-1]

    yield open_text
    for each in opened:
        each.context.close()


@pytest.fixture
def sounding(record: NightRecord, monkeypatch: pytest.MonkeyPatch) -> NightRecord:
    """The night with sounds instead of a file: each event a tone, the second ten times the first."""
    first, second = record.assessment.events[:2]

    def excerpt(
        _sound: NightSound, _calibration: object, start: datetime, seconds: float, **_: int
    ) -> PressureBlock:
        size_pa = 0.1 if start > first.start else 0.01
        wave = size_pa * np.sin(2 * np.pi * 1000 * np.arange(round(seconds * 48_000)) / 48_000)
        return PressureBlock(pressure_pa=wave.astype(np.float32), sample_rate_hz=48_000, start=start)

    monkeypatch.setattr(NightSound, "excerpt", excerpt)
    return replace(record, assessment=replace(record.assessment, events=(first, second)))

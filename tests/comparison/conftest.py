"""Invented nights in figures."""

from datetime import date, timedelta

import pytest

from sleepnoise.comparison.night_figures import NightFigures

MONDAY = date(2026, 1, 12)


@pytest.fixture(scope="session")
def night():
    """Return a maker of nights: days after a Monday, LAeq, and whatever else is to be unusual."""

    def make(day, laeq=35.0, **unusual):
        figures = {
            "name": f"night-{day}", "evening": MONDAY + timedelta(days=day), "window": "23:00-07:00",
            "window_state": "closed", "day_label": "", "absolute": True, "expanded_uncertainty_db": 3.0,
            "measured_share": 1.0, "laeq": laeq, "lafmax": laeq + 20, "la90": laeq - 8, "events": 4,
            "verdicts": {},
        }  # fmt: skip
        return NightFigures(**{**figures, **unusual})

    return make


@pytest.fixture(scope="session")
def nights(night):
    """Return a maker of nights that follow each other, from levels."""
    return lambda levels, first=0, **unusual: [
        night(first + place, level, **unusual) for place, level in enumerate(levels)
    ]

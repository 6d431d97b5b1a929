"""Uncertainty of insulation.

Symbols: ``u`` standard uncertainty, ``k`` coverage factor.
"""

from typing import Literal

from sleepnoise.acoustics.source import Source

ISO_12999_1 = Source(document="ISO 12999-1:2020", place="two-sided coverage, u of Rw", how_known="library")

COVERAGE_95_INSULATION = 1.96
"""k of insulation for 95 %, two-sided. Source: ISO_12999_1."""

Situation = Literal["laboratories", "places", "repeat"]
RATING_UNCERTAINTY_DB: dict[Situation, float] = {"laboratories": 1.2, "places": 0.9, "repeat": 0.4}
"""u of a weighted index: different laboratories, different teams in one building, one team again.

Source: ISO_12999_1; the values for "places" and "repeat" are known from memory only.
"""

"""Shipped elements: every one has a source, and ratings as worked out independently."""

import csv
from pathlib import Path

import numpy as np
import pytest

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.fieldwork.ratings import weighted_rating
from sleepnoise.isolation.elements import elements, thirds_from_octaves
from sleepnoise.profiles.files import read_construction, shipped_profiles

TABLE = Path(__file__).parents[1] / "published" / "elements_rated.csv"
PROFILES = [read_construction(found.path) for found in shipped_profiles("construction")]
ENTRIES = {entry.key: entry for profile in PROFILES for entry in profile.element}
ELEMENTS = {key: element for profile in PROFILES for key, element in elements(profile).items()}


def rows():
    with TABLE.open() as file:
        yield from csv.DictReader(line for line in file if not line.startswith("#"))


@pytest.mark.parametrize("row", [pytest.param(row, id=row["element"]) for row in rows()])
def test_the_octaves_of_an_element_have_the_rating_worked_out_independently(row):
    octaves = ENTRIES[row["element"]].octaves_by_hz
    given = Spectrum(nominal_hz=tuple(octaves), levels_db=np.array(list(octaves.values())))
    found = weighted_rating(given, octaves=True)
    assert (found.rating_db, found.c_db, found.ctr_db) == tuple(
        float(row[c]) for c in ("rw_db", "c_db", "ctr_db")
    )


def test_there_are_at_least_sixty_elements_with_a_spectrum_and_no_key_is_used_twice():
    assert sum(element.insulation is not None for element in ELEMENTS.values()) >= 60
    assert len(ELEMENTS) == sum(len(profile.element) for profile in PROFILES)


def test_every_element_has_a_source_and_every_source_is_used():
    for profile in PROFILES:
        assert {entry.source for entry in profile.element} == set(profile.sources)


def test_an_element_without_a_spectrum_says_so():
    for element in ELEMENTS.values():
        if element.insulation is None:
            assert element.single
            assert "no spectrum" in element.note


def test_thirds_pass_through_the_octaves_and_fall_off_below_them():
    # 3 thirds an octave: 12, 14, 16, 18 dB between 125 Hz and 250 Hz; 2 dB less each third below.
    thirds = thirds_from_octaves({125.0: 12.0, 250.0: 18.0, 500.0: 18.0})
    assert thirds.on_bands((50.0, 63.0, 100.0)).levels_db == pytest.approx([4.0, 6.0, 10.0])
    assert thirds.on_bands((125.0, 160.0, 200.0, 250.0)).levels_db == pytest.approx([12.0, 14.0, 16.0, 18.0])
    assert thirds.levels_db[0] == pytest.approx(0.0)
    assert thirds.levels_db[-1] == pytest.approx(18.0)


def test_an_element_that_lets_more_through_than_falls_on_it_is_not_mended_below_its_data():
    assert thirds_from_octaves({125.0: -2.0, 250.0: 0.0}).levels_db.min() == pytest.approx(-2.0)

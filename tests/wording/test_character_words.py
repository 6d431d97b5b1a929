"""What people read about a sound's character."""

import math
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from sleepnoise.acoustics.source import Source
from sleepnoise.character.background import BackgroundCharacter
from sleepnoise.character.hum_cycle import HumCycle
from sleepnoise.character.impulses import Onset, most_prominent
from sleepnoise.character.low_frequency import CurveComparison, LowFrequencyContent, LowFrequencyCurve
from sleepnoise.character.narrow_band import Tone, averaged
from sleepnoise.character.room_criteria import RoomCriteria, RoomRating
from sleepnoise.character.stretch import StretchCharacter
from sleepnoise.character.third_octave_tones import BandTone, ToneSurvey
from sleepnoise.wording.character_words import (
    background_sentences,
    curve_table,
    impulse_sentence,
    room_sentence,
    stretch_sentences,
    tonality_sentence,
)

VIENNA = ZoneInfo("Europe/Vienna")
START = datetime(2026, 1, 14, 23, 30, tzinfo=UTC)
NAN = math.nan


def cycle(**figures):
    nothing = {
        "verdict": "steady", "reason": "", "nominal_hz": NAN, "period_s": NAN, "period_spread_s": NAN,
        "cycles": 0, "depth_db": NAN, "depth_dba": NAN, "on_share": NAN,
    }  # fmt: skip
    return HumCycle(**{**nothing, **figures})


def background(**parts):
    quiet = {
        "seconds": 3600.0,
        "tones": ToneSurvey(minutes=60, tones=(), not_examined_hz=()),
        "low_frequency": LowFrequencyContent(c_minus_a_db=12.0, curves=()),
        "cycle": cycle(),
        "room": None,
    }
    return BackgroundCharacter(**{**quiet, **parts})


def test_a_plain_background_has_nothing_to_tell():
    assert background_sentences(background()) == (
        "No third octave stands out as a tone by the survey method of ISO 1996-2:2017, Annex K; weaker tones "
        "may still be heard.",
        "LCeq lies 12.0 dB above LAeq, not more than the 20 dB of DIN 45680.",
        "No hum goes on and off.",
    )


def test_a_humming_background_is_told_with_its_figures():
    tone = BandTone(nominal_hz=100.0, above_neighbours_db=16.0, needed_db=15.0, share=0.3)
    found = background_sentences(
        background(
            tones=ToneSurvey(minutes=60, tones=(tone,), not_examined_hz=()),
            low_frequency=LowFrequencyContent(c_minus_a_db=23.4, curves=()),
            cycle=cycle(
                verdict="cycles", nominal_hz=100.0, period_s=600.0, period_spread_s=20.0, cycles=40,
                depth_db=14.0, depth_dba=2.5, on_share=0.31,
            ),
        )
    )  # fmt: skip
    assert found == (
        "A tone stands out by the survey method of ISO 1996-2:2017, Annex K: 100 Hz in 30 % of the minutes.",
        "LCeq lies 23.4 dB above LAeq, more than the 20 dB of DIN 45680: low frequencies need a closer look.",
        "A hum at 100 Hz goes on and off about every 10 min (40 times seen); the band changes by 14 dB, the "
        "A-weighted level by 2.5 dB, and it is on for 31 % of the time.",
    )


def test_what_is_not_known_is_said():
    found = background_sentences(
        background(
            tones=ToneSurvey(minutes=0, tones=(), not_examined_hz=()),
            low_frequency=LowFrequencyContent(c_minus_a_db=NAN, curves=()),
            cycle=cycle(verdict="cannot tell", reason="too little of the recording can be used"),
        )
    )
    assert found == (
        "Tones: cannot tell; no minute of the background could be used.",
        "Low frequencies: C minus A is not known.",
        "Whether a hum goes on and off regularly: cannot tell; too little of the recording can be used.",
    )


def test_tonality_is_told_with_its_uncertainty_and_its_doubt():
    tones = [Tone(frequency_hz=118.4, audibility_db=value) for value in [5.0, 5.5] * 6]
    assert tonality_sentence(averaged(tones)) == (
        "A tone near 118 Hz was audible in 12 of 12 spectra; mean audibility 5.3 dB (u 0.1 dB from the "
        "spectra alone), KT 3 dB by ISO 1996-2:2017, Table J.1 (3 dB by its short form). Formulae checked by "
        "printed examples, steps of the method from memory: unverified."
    )
    assert "Provisional: 3 spectra of 3 s, of 12 needed." in tonality_sentence(averaged(tones[:3]))
    assert tonality_sentence(averaged([None] * 12)).startswith("No tone is audible by the narrow-band method")
    assert "cannot tell" in tonality_sentence(averaged([]))


def test_impulses_are_told_with_the_rise_that_decided():
    sharp = Onset(start=START, onset_rate_db_s=100.0, difference_db=10.0)
    assert impulse_sentence(most_prominent([sharp], 60.0), VIENNA) == (
        "Highly impulsive by NT ACOU 112: KI 5.4 dB. Prominent rises: 1; the foremost, at 00:30:00, goes "
        "up by 10.0 dB at 100 dB/s (P 8.0)."
    )
    for none in ([], [Onset(start=START, onset_rate_db_s=12.0, difference_db=1.0)]):
        assert impulse_sentence(most_prominent(none, 60.0), VIENNA).startswith("Not impulsive")


def test_a_stretch_says_when_it_was():
    stretch = StretchCharacter(
        start=START, seconds=36.0, tonality=averaged([None]), impulses=most_prominent([], 36.0)
    )
    assert stretch_sentences(stretch, VIENNA)[0] == "Examined: 36.0 s from 00:30:00."


def test_room_ratings_are_told_with_their_edition():
    touched = RoomRating(index=26.67, governing_hz=4000.0, printed=30, not_measured_hz=(16.0,))
    nr = RoomRating(index=-math.inf, governing_hz=NAN, printed=None, not_measured_hz=())
    room = RoomCriteria(nc_index=26.67, nc_by_speech=False, speech_interference_db=26.0, nc=touched, nr=nr)
    assert room_sentence(room) == (
        "The background rates NC 27 (ANSI/ASA S12.2-2019, by the octave of 4000 Hz) and NR below all curves "
        "(ISO/R 1996:1971, by no band); the recorder's own noise may be part of it. Not measured: octaves of "
        "16 Hz."
    )


@pytest.mark.parametrize(
    ("how_known", "above", "told"),
    [
        ("looked-up", "yes", "Table 2"),
        ("memory", "no verdict", "Table 2 (unverified)"),
    ],
)
def test_a_curve_from_memory_gives_no_verdict(how_known, above, told):
    source = Source(document="A decree", place="Table 2", how_known=how_known)
    curve = LowFrequencyCurve(name="A curve", levels_by_hz={50.0: 40.0}, source=source)
    comparison = CurveComparison(
        curve=curve, worst_hz=50.0, excess_db=2.5, excess_by_hz={50.0: 2.5}, not_measured_hz=(12.5,)
    )
    table = curve_table(LowFrequencyContent(c_minus_a_db=21.0, curves=(comparison,)))
    assert table.rows == (("A curve", above, "50", "+2.5", "12.5", f"A decree, {told}"),)

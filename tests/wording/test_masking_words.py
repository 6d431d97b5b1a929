"""What people read of a masker: reasons, alarms without promises, words of a check."""

import math

import pytest

from sleepnoise.acoustics.spectrum import Spectrum
from sleepnoise.hearing.audibility import MODEL_BANDS_HZ
from sleepnoise.masking.alarm import check_alarm, measured_alarm
from sleepnoise.masking.design import EventOutcome
from sleepnoise.wording.masking_words import (
    LEVEL_SETTING,
    NO_ALL_CLEAR,
    alarm_tables,
    reason_text,
    rule_sentences,
    target_text,
)

SILENCE = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=[-math.inf] * len(MODEL_BANDS_HZ))
NO_LOSS = Spectrum(nominal_hz=MODEL_BANDS_HZ, levels_db=[0.0] * len(MODEL_BANDS_HZ))


def outcome(reason, alone_dba=44.0, unplayed_hz=math.nan):
    return EventOutcome(
        reason=reason,
        margin_before_db=20.0,
        margin_after_db=5.0,
        band_hz=1000.0,
        unplayed_hz=unplayed_hz,
        lacking_db=5.0,
        alone_dba=alone_dba,
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (outcome("loudspeaker", math.inf, 63.0), "needs 63 Hz, not played"),
        (outcome("cap"), "alone needs 44.0 dB(A)"),
        (outcome("together"), "alone 44.0 dB(A), not with others"),
        (outcome("band limit", math.inf), "a band's limit"),
        (outcome("not known"), "not known"),
    ],
)
def test_every_reason_has_words(said, words):
    assert reason_text(said) == words


def test_aims_have_names():
    assert target_text(7.0 - 3.6549) == "3.3 dB (hardly audible)"
    assert target_text(5.0) == "5.0 dB"


def test_alarms_are_short_or_not_short_and_nothing_more():
    checks = tuple(
        check_alarm(measured_alarm(pitch, level_dba), SILENCE, SILENCE, "as it is", NO_LOSS)
        for pitch, level_dba in (("high", 60.0), ("low", 90.0))
    )
    high, low = alarm_tables(checks)
    assert high.rows[0][:4] == ("as it is", "60.0", "15.0", "not short")
    # A rule that is known from memory clears nothing.
    assert low.rows[0][2:6] == ("not short", "not short", "–", "–")
    said = " ".join((*rule_sentences(checks[0]), NO_ALL_CLEAR, *LEVEL_SETTING, high.title, low.title)).lower()
    assert said.count("unverified") == 2
    for promise in ("will be heard", "will wake", "is audible", "safe"):
        assert promise not in said

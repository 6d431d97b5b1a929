import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sleepnoise.calibration.microphone import MicrophoneResponse, read_microphone_response
from sleepnoise.errors import CalibrationError

TABLE = "# an invented small microphone\n20 -6\n100 -1\n1000 0\n4000 1.5\n10000 5\n20000 -3\n"


@pytest.fixture
def write(tmp_path):
    def text(content):
        path = tmp_path / "microphone.txt"
        path.write_text(content)
        return path

    return text


@pytest.fixture
def response(write):
    return read_microphone_response(write(TABLE), states="response")


def test_tones_heard_through_the_microphone_come_out_right_again(response):
    # Three tones of 94 dB (1 Pa effective, handbook arithmetic), coloured as the table says: 4 kHz 1.5 dB too
    # loud, 10 kHz 5 dB too loud, and 2 kHz halfway between 1 and 4 kHz in lg f, so 0.75 dB too loud.
    rate_hz, heard_db = 48_000, {2000.0: 0.75, 4000.0: 1.5, 10_000.0: 5.0}
    seconds = np.arange(rate_hz) / rate_hz
    sound = sum(
        np.sqrt(2) * 10 ** (db / 20) * np.sin(2 * np.pi * hz * seconds) for hz, db in heard_db.items()
    )
    frequency_hz = np.fft.rfftfreq(rate_hz, 1 / rate_hz)
    spectrum = np.fft.rfft(sound) * 10 ** (response.correction_db(frequency_hz) / 20)
    for hz in heard_db:
        effective_pa = np.abs(spectrum[round(hz)]) * np.sqrt(2) / rate_hz
        assert 20 * np.log10(effective_pa) == pytest.approx(0.0, abs=1e-6)


def test_a_correction_is_added_a_response_taken_off(write, response):
    path = write(TABLE)
    correction = read_microphone_response(path, states="correction")
    hz = np.geomspace(10, 24_000, 50)
    assert correction.correction_db(hz) == pytest.approx(-response.correction_db(hz))
    assert response.correction_db(10_000.0) == pytest.approx(-5.0)
    assert correction.origin == "microphone.txt, read as correction"


def test_the_ends_are_held_down_to_no_frequency_at_all(response):
    assert response.correction_db([0.0, 1.0, 20.0]).tolist() == [6.0, 6.0, 6.0]
    assert response.correction_db([20_000.0, 96_000.0]).tolist() == [3.0, 3.0]


@given(st.floats(1, 200_000))
def test_a_correction_never_leaves_the_range_of_the_table(hz):
    response = MicrophoneResponse(frequency_hz=[20, 1000, 9000], response_db=[-4, 0, 7], origin="")
    assert -7.0 <= float(response.correction_db(hz)) <= 4.0


def test_where_the_calibrator_sounded_nothing_is_left_to_correct(response):
    at_4_khz = response.relative_to(4000.0)
    assert float(at_4_khz.correction_db(4000.0)) == pytest.approx(0.0)
    assert float(at_4_khz.correction_db(1000.0)) == pytest.approx(1.5)
    assert float(at_4_khz.correction_db(20_000.0)) == pytest.approx(4.5)


def test_a_third_column_is_left_aside(write):
    read = read_microphone_response(write("20 0 90\n1000 0 0\n20000 1 -90"), states="response")
    assert read.response_db.tolist() == [0.0, 0.0, 1.0]


def test_a_table_that_covers_less_than_hearing_says_so(write, response):
    assert response.remarks == ()
    short = read_microphone_response(write("100 0\n1000 0\n8000 1"), states="response")
    assert "known from 100 to 8000 Hz" in short.remarks[0]


def test_the_response_cannot_be_changed(response):
    with pytest.raises(ValueError, match="read-only"):
        response.response_db[0] = 1.0


@pytest.mark.parametrize("states", [None, "", "gain"])
def test_the_meaning_of_the_sign_is_asked_for(write, states):
    with pytest.raises(CalibrationError, match="'response' or the 'correction'") as caught:
        read_microphone_response(write(TABLE), states=states)
    assert "--response-means" in caught.value.remedy


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "needs 3 to 20000 rows of frequency and level, got 0"),
        ("20 0\n1000 0", "got 2"),
        ("20 0\n1000 0\n500 0", "line 3: frequencies must rise, got 500 Hz after 1000 Hz"),
        ("20 0\n1000 0\n1000 0", "line 3: frequencies must rise"),
        ("20 0\n1000 -38\n4000 0", "line 2: a level must be -20 to 20 dB, got -38"),
        ("0 0\n1000 0\n4000 0", "line 1: a frequency must be 1 to 200000 Hz, got 0"),
        ("20\n1000 0\n4000 0", "line 1: a frequency and a level are needed, got 1"),
        ("20 0 0 0\n1000 0\n4000 0", "line 1: a frequency and a level are needed, got 4"),
    ],
)
def test_what_is_no_response_is_refused_with_its_line(write, text, complaint):
    with pytest.raises(CalibrationError) as caught:
        read_microphone_response(write(text), states="response")
    assert complaint in caught.value.complaint
    assert "microphone.txt" in caught.value.complaint
    assert caught.value.remedy

"""Remarks on codings, against a table of levels measured before and after coding."""

import pytest

from sleepnoise.formats.coding import coding_remark


@pytest.mark.parametrize(
    ("encoding", "kbit_s", "said"),
    [
        # dL90 at LA50 of 20 and 30 dB: -27.19 and -4.15 at 32 and 34 kbit/s; silence at the lowest setting.
        ("MPEG_LAYER_III", 32, "4 to 27 dB too low, or as silence"),
        # 4.84 at 20 dB and 17 kbit/s, -1.99 at 40 dB and 26 kbit/s.
        ("OPUS", 20, "2 dB too low to 5 dB too high"),
        # -0.41, -0.39, -0.37 at 62 to 71 kbit/s.
        ("VORBIS", 65, "0.4 dB too low"),
        ("AAC", 40, "not tried"),
        ("AMRNB", 12, "not tried"),
    ],
)
def test_a_low_rate_is_said_with_what_it_does_to_the_background(encoding, kbit_s, said):
    remark = coding_remark(encoding, kbit_s * 1000 * 60, 60.0, 1)
    assert f"{kbit_s} kbit/s a channel" in remark
    assert said in remark


@pytest.mark.parametrize(
    ("encoding", "kbit_s"), [("MPEG_LAYER_III", 103), ("OPUS", 132), ("VORBIS", 157), ("AAC", 128)]
)
def test_a_high_rate_is_only_named(encoding, kbit_s):
    """Rates at which the table shows 0.03 dB of L90 at most (AAC is not in it)."""
    assert coding_remark(encoding, kbit_s * 1000 * 60, 60.0, 1).endswith(f", {kbit_s} kbit/s a channel)")


def test_the_rate_is_that_of_one_channel():
    assert "32 kbit/s" in coding_remark("OPUS", 64_000 * 60, 60.0, 2)


@pytest.mark.parametrize("encoding", ["PCM_16", "PCM_24", "FLOAT", "DOUBLE"])
def test_of_whole_samples_nothing_is_said(encoding):
    assert coding_remark(encoding, 1e6, 60.0, 1) is None


def test_eight_bits_are_too_few():
    # dL90 48.72, 38.72 and 28.89 dB at LA50 of 20, 30 and 40 dB.
    assert "29 to 49 dB too high" in coding_remark("PCM_U8", 1e6, 60.0, 1)


def test_companded_samples_are_named():
    assert "ULAW" in coding_remark("ULAW", 1e6, 60.0, 1)

"""What a coarse or lossy coding does to the background of a quiet night."""

from dataclasses import dataclass

from sleepnoise.acoustics.source import Source

OWN_TRIAL = Source(
    document="Trial of our own: 120 s of pink-like noise at LA50 of 20, 30 and 40 dB, "
    "full-scale sine 117 dB, coded by libsndfile 1.2.2",
    place="LA90 of the decoded sound less that of the original, by coding and bit rate",
    how_known="computed",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Coder:
    """A lossy coder: its name, the rate below which a warning is due, and what happens there."""

    name: str
    low_kbit_s: float
    effect: str

    @property
    def tried(self) -> bool:
        """Whether it is known what happens below that rate."""
        return self.effect != _UNTRIED


_UNTRIED = "what this coder does to LA90 at such rates was not tried; expect several dB"

CODERS = {
    "MPEG_LAYER_III": _Coder(
        name="MP3",
        low_kbit_s=64,
        effect="at 32 kbit/s LA90 of a 20 to 30 dB room came out 4 to 27 dB too low, or as silence",
    ),
    "OPUS": _Coder(
        name="Opus",
        low_kbit_s=48,
        effect="at 17 to 26 kbit/s LA90 of a 20 to 40 dB room came out 2 dB too low to 5 dB too high",
    ),
    "VORBIS": _Coder(
        name="Vorbis",
        low_kbit_s=80,
        effect="at 62 to 71 kbit/s LA90 of a 20 to 40 dB room came out 0.4 dB too low",
    ),
    "AAC": _Coder(name="AAC", low_kbit_s=64, effect=_UNTRIED),
    "AMRNB": _Coder(name="AMR", low_kbit_s=64, effect=_UNTRIED),
    "AMRWB": _Coder(name="AMR", low_kbit_s=64, effect=_UNTRIED),
}
"""Lossy coders by encoding. Source: OWN_TRIAL for effects. Chosen: the limits, between the lowest rate
that did no harm in it and the highest that did; the coders not tried get those of MP3."""

EIGHT_BIT = ("PCM_U8", "PCM_S8")
COMPANDED = ("ULAW", "ALAW", "IMA_ADPCM", "MS_ADPCM", "GSM610", "G721_32", "NMS_ADPCM_32", "VOX_ADPCM")


def coding_remark(encoding: str, bits: float, seconds: float, channels: int) -> str | None:
    """Return what is to be said of a coding; None of a lossless one.

    Parameters
    ----------
    encoding : str
        As of an audio file, such as ``"OPUS"``.
    bits : float
        Of the whole file.
    seconds : float, s
    channels : int

    Examples
    --------
    >>> coding_remark("OPUS", 8 * 16e6, 1000.0, 1)
    'lossy coding (Opus, 128 kbit/s a channel)'
    """
    if encoding in EIGHT_BIT:
        return (
            "8-bit samples: LA90 of a 20 to 40 dB room came out 29 to 49 dB too high in a trial with a "
            "full-scale sine at 117 dB"
        )
    if encoding in COMPANDED:
        return f"coarse coding ({encoding}): its own noise may hide a quiet background"
    coder = CODERS.get(encoding)
    if coder is None:
        return None
    kbit_s = bits / seconds / channels / 1000
    remark = f"lossy coding ({coder.name}, {kbit_s:.0f} kbit/s a channel)"
    return f"{remark}: {coder.effect}" if kbit_s < coder.low_kbit_s else remark

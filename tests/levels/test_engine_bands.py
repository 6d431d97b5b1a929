"""The engine's third octaves from end to end: tones, noise made of lines, sweeps and sums."""

import numpy as np
import pytest

from sleepnoise.acoustics.bands import OCTAVE_RATIO, band_edges_hz, exact_hz, mid_band_hz
from sleepnoise.acoustics.decibels import energy_mean, pressure_level
from sleepnoise.levels.bands import band_amplitude
from sleepnoise.levels.engine import level_history

STEADY_DB = 20 * np.log10(1 / 20e-6)


HIGHEST_HZ = {8000: 3500.0, 16000: 7000.0, 44100: 17700.0, 48000: 20000.0, 96000: 20000.0}
"""Where the test noises end: within the highest band of each sampling rate."""


def limits_db(rows, ratio):
    """Return least and most attenuation of class 1 at f/fm, linear in lg(f/fm) between breakpoints."""
    distance, lg_ratio = np.abs(np.log10(ratio)), np.log10(rows[:, 1])
    beyond = distance > lg_ratio[4]
    least_db = np.where(beyond, np.interp(distance, lg_ratio[5:], rows[5:, 2]), rows[0, 2])
    return least_db, np.where(beyond, np.inf, np.interp(distance, lg_ratio[:5], rows[:5, 3]))


@pytest.mark.parametrize(
    ("rate_hz", "exponents"),
    [
        (48000, (0, 0.375, 0.4999, 0.5001, 1, 2, 4)),
        (16000, (0, 0.375, 0.5001, 1)),
        (44100, (0, 0.5001, 1)),
        (96000, (0, 0.5001, 1)),
    ],
)
def test_tones_at_the_breakpoints_are_attenuated_as_class_1_allows(iec_61260, hear_tones, rate_hz, exponents):
    """Breakpoints of every band, and every band's answer to all of them."""
    share = (OCTAVE_RATIO ** (1 / 6) - 1) / (OCTAVE_RATIO**0.5 - 1)  # Formula 9
    ratios = [1 + share * (OCTAVE_RATIO**exponent - 1) for exponent in exponents]
    frequencies_hz = np.concatenate([[f * ratio, f / ratio] for f in mid_band_hz() for ratio in ratios])
    frequencies_hz = np.unique(frequencies_hz[(frequencies_hz > 5) & (frequencies_hz < 0.49 * rate_hz)])
    levels, nominal_hz = hear_tones(frequencies_hz, rate_hz)
    rows = np.array(iec_61260["mask"]["rows"])
    for nominal, found_db in zip(nominal_hz, -levels["bands"], strict=True):
        least_db, most_db = limits_db(rows, frequencies_hz / exact_hz(nominal))
        wrong = (found_db < least_db) | (found_db > most_db)
        assert not wrong.any(), (nominal, frequencies_hz[wrong], found_db[wrong], least_db[wrong])


class Lines:
    """Noise that is known on paper: a line every 1/period Hz, amplitudes given, phases at random."""

    def __init__(self, period_s, rate_hz, slope_db_per_octave, lowest_hz=10.0):
        samples = period_s * rate_hz
        self.frequency_hz = np.fft.rfftfreq(samples, 1 / rate_hz)
        inside = (self.frequency_hz > lowest_hz) & (self.frequency_hz < HIGHEST_HZ[rate_hz])
        # Energy density falls by so many dB an octave: 0 is white, 3 is pink.
        exponent = slope_db_per_octave / (10 * np.log10(2))
        density = np.where(inside, np.maximum(self.frequency_hz, 1.0) ** -exponent, 0.0)
        self.energies = density / density.sum()
        phases = np.random.default_rng(3).uniform(0, 2 * np.pi, density.size)
        lines = np.sqrt(self.energies / 2) * np.exp(1j * phases) * samples
        self.period = np.fft.irfft(lines, n=samples).astype(np.float32)

    def band_db(self, lower_hz, upper_hz):
        inside = (self.frequency_hz > lower_hz) & (self.frequency_hz <= upper_hz)
        return STEADY_DB + 10 * np.log10(self.energies[inside].sum())


@pytest.mark.parametrize("slope_db_per_octave", [0, 3])
@pytest.mark.parametrize("rate_hz", [8000, 16000, 44100, 48000, 96000])
def test_noise_made_of_lines_has_the_band_levels_of_its_lines(block, rate_hz, slope_db_per_octave):
    """Ideal band edges are the reference: no filter, no chance."""
    lines = Lines(20, rate_hz, slope_db_per_octave)
    history = level_history(block(lines.period, rate_hz) for _ in range(3))
    middle = history.between(160, 320)
    for nominal_hz, levels_db in zip(history.nominal_hz, middle.bands, strict=True):
        lower_hz, upper_hz = band_edges_hz((nominal_hz,))[:, 0]
        if upper_hz * 1.2 < HIGHEST_HZ[rate_hz]:
            assert energy_mean(levels_db) == pytest.approx(lines.band_db(lower_hz, upper_hz), abs=0.1), (
                nominal_hz
            )
    assert energy_mean(middle.lzeq) == pytest.approx(STEADY_DB, abs=0.02)


def bands_summed_db(history):
    with np.errstate(divide="ignore"):
        return 10 * np.log10(np.sum(10 ** (np.asarray(history.bands, dtype=np.float64) / 10), axis=0))


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000, 96000])
@pytest.mark.parametrize("kind", ["noise", "tones", "sweep"])
def test_bands_sum_to_lzeq_in_every_tick(measure, sounds, rate_hz, kind):
    sound = {
        "noise": lambda: Lines(10, rate_hz, 3, lowest_hz=21.0).period,
        "tones": lambda: sum(sounds.tone(10, rate_hz, f) for f in (22.4, 100.0, 891.0, 1122.0, 3000.0)),
        "sweep": lambda: sounds.sweep(10, rate_hz, 25.0, HIGHEST_HZ[rate_hz]),
    }[kind]()
    history = measure(sound, rate_hz)
    # The switching on and off reaches below the bands: LZ takes that in, they do not.
    steady = slice(8, -8)
    np.testing.assert_allclose(bands_summed_db(history)[steady], history.lzeq[steady], rtol=0, atol=0.05)


@pytest.mark.parametrize("rate_hz", [16000, 44100, 48000, 96000])
def test_a_sweep_spends_the_same_energy_in_every_band(measure, sounds, iec_61260, rate_hz):
    """Time-invariant operation: an exponential sweep through all bands (5.14)."""
    seconds, first_hz, last_hz = 60, 10.0, 0.49 * rate_hz
    history = measure(sounds.sweep(seconds, rate_hz, first_hz, last_hz), rate_hz)
    in_one_band_s = seconds * (np.log(OCTAVE_RATIO) / 3) / np.log(last_hz / first_hz)
    expected_db = STEADY_DB + 10 * np.log10(in_one_band_s / seconds)
    found_db = np.array([energy_mean(levels_db) for levels_db in history.bands])
    assert found_db == pytest.approx(expected_db, abs=iec_61260["time_invariance"]["limit_db"])
    # The limit is for analogue hands at a knob; overlapping frames must not show at all.
    assert found_db == pytest.approx(expected_db, abs=0.05)


def test_a_short_sound_is_in_the_ticks_in_which_it_was_heard(measure, sounds):
    """Bands have no delay: a burst of 1 kHz in ticks 40 to 43 is there and not beside them."""
    rate_hz = 48000
    sound = sounds.tone(12, rate_hz, 1000.0) * np.repeat(
        [0, 1, 0], [5 * rate_hz, rate_hz // 2, 13 * rate_hz // 2]
    )
    history = measure(sound, rate_hz)
    for levels in (history.laeq, history.lzeq, history.bands[history.nominal_hz.index(1000.0)]):
        assert levels[40:44] == pytest.approx(STEADY_DB, abs=0.5)
        assert (levels[[38, 45]] < STEADY_DB - 50).all()


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
def test_every_tick_of_a_band_holds_its_own_energy(measure, sounds, rate_hz):
    """The same responses applied to the whole sound at once, with the envelope at the full rate."""
    samples = sounds.pink(20, rate_hz)
    history = measure(samples, rate_hz)
    length = samples.size + 2 * rate_hz
    frequency_hz = np.fft.fftfreq(length, 1 / rate_hz)
    spectrum = 2 * np.fft.fft(samples, n=length) * (frequency_hz > 0)
    tick_of = np.arange(samples.size) * 8 // rate_hz
    for nominal_hz in (20.0, 63.0, 250.0, 315.0, 1000.0, 3150.0):
        response = band_amplitude(np.maximum(frequency_hz, 0.0), nominal_hz)
        envelope = np.abs(np.fft.ifft(spectrum * response)[: samples.size]) ** 2 / 2
        expected = pressure_level(np.bincount(tick_of, weights=envelope) / np.bincount(tick_of))
        errors_db = history.bands[history.nominal_hz.index(nominal_hz)] - expected[: history.ticks]
        assert np.sqrt(np.mean(errors_db**2)) < 0.05, nominal_hz
        assert np.abs(errors_db).max() < 0.2, nominal_hz

import base64
import io
from dataclasses import replace

import numpy as np
import pytest

from sleepnoise.acoustics.decibels import energy_mean
from sleepnoise.assessing.record import NightRecord
from sleepnoise.report.band_map import SHADES, band_map, map_picture, palette


def test_a_column_is_the_equivalent_level_of_its_ticks(record: NightRecord) -> None:
    drawn = band_map(record.history, 500)
    assert drawn.levels_db.shape[1] <= 500
    for band, column in ((0, 0), (17, 250), (30, drawn.levels_db.shape[1] - 1)):
        ticks = slice(column * drawn.ticks_each, (column + 1) * drawn.ticks_each)
        expected = energy_mean(record.history.bands[band, ticks])
        assert drawn.levels_db[band, column] == pytest.approx(expected, abs=1e-4)


def test_what_is_left_out_is_not_known(record: NightRecord) -> None:
    mask = np.zeros(record.history.ticks, dtype=np.bool_)
    mask[:1000] = True
    drawn = band_map(record.history.without(mask), 64_800)
    assert np.isnan(drawn.levels_db[:, :1000]).all()
    assert np.isfinite(drawn.levels_db[:, 1000:]).all()


def test_lighter_is_louder_also_in_grey() -> None:
    """Relative luminance of WCAG 2.1 (from memory) rises from shade to shade."""
    linear = (palette() / 255.0) ** 2.2
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    assert (np.diff(luminance) > 0).all()
    assert luminance[-1] - luminance[0] > 0.9


def test_the_picture_is_a_picture_with_high_bands_on_top(record: NightRecord) -> None:
    pillow = pytest.importorskip("PIL.Image")
    drawn = band_map(record.history, 200)
    levels_db = drawn.levels_db.copy()
    levels_db[:] = drawn.low_db
    levels_db[0] = drawn.high_db
    levels_db[5, 7] = np.nan
    picture = map_picture(replace(drawn, levels_db=levels_db))
    image = pillow.open(io.BytesIO(base64.b64decode(picture.partition(",")[2]))).convert("RGBA")
    assert image.size == (levels_db.shape[1], 31)
    assert image.getpixel((0, 30))[:3] == tuple(palette()[SHADES - 1])
    assert image.getpixel((0, 0))[:3] == tuple(palette()[0])
    assert image.getpixel((7, 25))[3] == 0

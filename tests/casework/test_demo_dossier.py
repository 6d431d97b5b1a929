"""The dossier of the invented room: shipped with the recordings that it names."""

import shutil
from pathlib import Path

from sleepnoise.casework.comparing import compare_nights
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.missing import points_of
from sleepnoise.casework.verifying import verify_dossier

DEMO = Path(__file__).parents[2] / "demo_audio"


def test_the_shipped_dossier_is_as_it_was_put_there_and_knows_its_recordings(tmp_path):
    shutil.copytree(DEMO, tmp_path / "demo")
    found = verify_dossier(tmp_path / "demo" / "dossier")
    assert found.sound
    assert (found.files, found.recordings, found.findings) == (4, 2, ())


def test_the_shipped_dossier_tells_what_it_lacks():
    dossier = read_dossier(DEMO / "dossier")
    states = {point.what: point.state for point in points_of(dossier, compare_nights(dossier))}
    assert (states["Calibration"], states["Windows"], states["Room"]) == ("there", "there", "there")
    assert (states["Assessed"], states["Safety"], states["Door test"]) == ("missing", "weak", "missing")

"""A dossier of version 1, as commit 2200a50 wrote it (frozen: it guards against change, not error)."""

from pathlib import Path

import pytest

from sleepnoise.casework.adding import upgrade_dossier
from sleepnoise.casework.archive import import_dossier
from sleepnoise.casework.dossier import read_dossier
from sleepnoise.casework.night_results import is_assessed
from sleepnoise.casework.verifying import verify_dossier
from sleepnoise.errors import ProfileError

FROZEN = Path(__file__).parents[1] / "frozen" / "dossier_version_1.zip"


@pytest.fixture
def old(tmp_path, tools):
    import_dossier(FROZEN, tmp_path / "flat-3")
    tools.record_night(tmp_path / "2026-02-10.wav")
    return tmp_path / "flat-3"


def test_the_frozen_dossier_of_version_1_is_read_assessed_and_verified_as_it_is(old, tools, content):
    dossier = read_dossier(old)
    assert (dossier.about.night_hours, dossier.nights[0].file.day) == ("22:30-06:30", "holiday")
    written = content(old)["dossier.toml"]
    assert tools.assess(old, "2026-02-10").outcome == "assessed"
    assert content(old)["dossier.toml"] == written
    assert verify_dossier(old).sound


def test_the_frozen_dossier_of_version_1_is_brought_up_to_date_and_nothing_is_lost(old, tools, content):
    tools.assess(old, "2026-02-10")
    before = content(old)
    names = ("dossier.toml", "nights/2026-02-10/night.toml")
    assert upgrade_dossier(old, tools.now) == names
    assert "version = 2\ntitle" in content(old)["dossier.toml"].decode()
    assert 'night_hours = "22:30-06:30"' in content(old)["dossier.toml"].decode()
    kept = {raw for path, raw in content(old).items() if path.startswith("earlier/")}
    assert kept == {before[name] for name in names}
    # What was assessed still holds: no setting has changed.
    dossier = read_dossier(old)
    assert is_assessed(dossier, dossier.nights[0])
    assert verify_dossier(old).sound
    assert upgrade_dossier(old, tools.now) == ()


def test_a_dossier_of_a_later_version_is_refused_in_one_sentence(empty):
    path = empty / "dossier.toml"
    path.write_text(path.read_text("utf-8").replace("version = 2", "version = 3"), encoding="utf-8")
    with pytest.raises(ProfileError, match="has version 3, this program knows up to 2"):
        read_dossier(empty)

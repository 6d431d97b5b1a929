"""A masker for an assessed night: cap, alarm, sleeper, treatment, and what is said of them."""

import numpy as np
import pytest

from sleepnoise.dossier.document import assessment_document
from sleepnoise.errors import ProfileError, SettingsError
from sleepnoise.evidence.plain import document_text
from sleepnoise.hearing.ageing import Listener
from sleepnoise.masking.alarm import estimated_alarm, measured_alarm
from sleepnoise.masking.design_settings import DesignSettings
from sleepnoise.masking.limits import Sleeper
from sleepnoise.trials.masker_study import MaskerWishes, study_masker

EASY = {"margin_db": 13.0, "lowest_hz": 20.0}
"""What the invented night lets a masker do: its loudest event stands out by 35 dB."""


@pytest.fixture(scope="module")
def folder(record, tmp_path_factory):
    path = tmp_path_factory.mktemp("larch")
    (path / "assessment.json").write_text(document_text(assessment_document(record)))
    return path


def studied(folder, asked=None, **wishes):
    return study_masker(folder, MaskerWishes(design=DesignSettings(**(EASY | (asked or {}))), **wishes))


def test_a_night_gets_a_masker_below_its_cap_and_is_told_what_it_costs(folder, record):
    study = studied(folder, {"cap_dba": 45.0})
    assert study.design.level_dba <= 45.0
    assert [event.number for event in study.events] == [1, 2, 3]
    assert {each.reason for each in study.design.outcomes} >= {"covered"}
    assert study.laeq_without == record.assessment.statistics.laeq
    energies = 10 ** (np.array([study.laeq_without, study.design.level_dba]) / 10)
    assert study.laeq_with == pytest.approx(10 * np.log10(energies.sum()))
    (value,) = study.values
    assert value.above_with_db == pytest.approx(study.laeq_with - 30.0)
    assert study.loudness_sone > 0
    assert "assessment" in {mark.role for mark in study.provenance.inputs}
    assert any("Basner" in caution for caution in study.cautions)


def test_only_the_events_asked_for_count(folder):
    alone = studied(folder, {"cap_dba": 50.0}, events=(3,))
    assert [event.number for event in alone.events] == [3]
    with pytest.raises(SettingsError, match="events 1 to 3, got 4"):
        studied(folder, events=(4,))


def test_behind_a_treatment_the_masker_may_be_quieter_and_the_doubt_is_said(folder):
    now = studied(folder, {"cap_dba": 50.0}, events=(3,))
    behind = studied(folder, {"cap_dba": 50.0}, events=(3,), behind="solid-core-leaf-and-seals")
    assert behind.design.level_dba < now.design.level_dba
    assert behind.step.key == "solid-core-leaf-and-seals"
    assert any("other paths" in remark for remark in behind.remarks)
    assert any("Fire doors" in remark for remark in behind.remarks)
    with pytest.raises(ProfileError):
        studied(folder, behind="no-such-treatment")


def test_the_alarm_lowers_the_cap_and_every_door_lowers_it_more(folder):
    alarm = measured_alarm("high", 52.0)
    capped = studied(folder, alarms=(alarm,))
    # 15 dB under the alarm, less the background of 27 dB(A) or so.
    assert 36.0 < capped.design.settings.cap_dba < 37.0
    assert any("The cap is" in remark for remark in capped.remarks)
    behind = studied(folder, alarms=(alarm,), behind="door-seals-hollow-core")
    assert behind.design.settings.cap_dba < capped.design.settings.cap_dba
    window = studied(folder, alarms=(alarm,), behind="secondary-glazing-100-mm")
    assert window.design.settings.cap_dba == capped.design.settings.cap_dba


def test_an_alarm_that_leaves_no_room_forbids_a_masker(folder):
    with pytest.raises(SettingsError, match="leaves no room") as raised:
        studied(folder, alarms=(measured_alarm("high", 40.0),))
    assert "interlinked alarm" in raised.value.remedy


def test_alarms_are_weighed_behind_every_treatment_of_a_door(folder):
    study = studied(folder, alarms=(estimated_alarm("high", 3.0, 10.0), estimated_alarm("low", 3.0, 10.0)))
    titles = [check.title for check in study.alarms if check.pitch == "high"]
    assert titles[0] == "as it is"
    assert len(titles) == len(set(titles)) > 5
    assert not any("window" in title.lower() for title in titles)
    assert titles == [check.title for check in study.alarms if check.pitch == "low"]
    levels = {check.title: check.level_dba for check in study.alarms if check.pitch == "high"}
    assert max(levels, key=levels.__getitem__) == "as it is"


def test_without_an_alarm_it_is_asked_for(folder):
    assert any("--alarm-level" in remark for remark in studied(folder).remarks)
    assert studied(folder).alarms == ()


def test_infants_get_none_unless_confirmed(folder):
    with pytest.raises(SettingsError, match="infant"):
        studied(folder, sleeper=Sleeper(infant=True))
    study = studied(folder, sleeper=Sleeper(infant=True, carer_confirms=True, distance_m=2.5))
    assert any("paediatrician" in remark for remark in study.remarks)


def test_a_masker_above_the_target_is_told_to_be(folder):
    loud = studied(folder, {"margin_db": 5.0, "cap_dba": 50.0})
    assert loud.design.level_dba > 35.0
    assert any("louder than the 35 dB(A)" in remark for remark in loud.remarks)


def test_the_same_wishes_give_the_same_study(folder):
    assert (
        studied(folder).design.spectrum.levels_db.tolist()
        == studied(folder).design.spectrum.levels_db.tolist()
    )


def test_an_older_sleeper_needs_no_louder_masker_and_is_told_whose_ears_count(folder):
    """ISO 7029:2017: thresholds rise with age, so that what is needed in silence falls."""
    young, old = (
        studied(folder, {"margin_db": 0.0}, listener=Listener(age_years=years)) for years in (18.0, 75.0)
    )
    assert old.design.level_dba <= young.design.level_dba
    before = [[each.margin_before_db for each in study.design.outcomes] for study in (young, old)]
    assert all(aged <= fresh for fresh, aged in zip(*before, strict=True))
    assert before[0] != before[1]
    assert any("75 years" in remark for remark in old.remarks)
    assert not any("years" in remark for remark in young.remarks)

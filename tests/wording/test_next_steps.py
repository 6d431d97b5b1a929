from dataclasses import replace

from sleepnoise.assessing.record import NightRecord
from sleepnoise.wording.next_steps import (
    DIARY_NIGHTS,
    diary,
    owner_duties,
    owner_findings,
    owner_options,
    resident_steps,
    single_measures,
)


def test_measures_come_best_first_and_take_off_what_their_bands_say(record: NightRecord) -> None:
    measures = single_measures(record)
    taken_off = [each.taken_off_dba for each in measures]
    assert taken_off == sorted(taken_off, reverse=True)
    assert len(owner_options(record).rows) <= len(measures)
    for each in measures:
        assert each.step.loss.levels_db.min() <= each.taken_off_dba <= each.step.loss.levels_db.max()
        assert each.audible <= record.plan.audible_now


def test_without_events_no_measure_is_praised(silent: NightRecord) -> None:
    assert single_measures(silent) == []
    assert "Keep sound out first" not in " ".join(resident_steps(silent))


def test_who_has_only_a_phone_is_sent_to_a_meter_and_whoever_has_part_of_a_night_to_a_whole_one(
    record: NightRecord, uncalibrated: NightRecord
) -> None:
    said = " ".join(resident_steps(uncalibrated))
    assert "sound level meter beside the same recorder or phone" in said
    assert "sound level meter" not in " ".join(resident_steps(record))
    part = replace(
        record,
        assessment=replace(
            record.assessment,
            statistics=replace(record.assessment.statistics, seconds=0.5 * record.assessment.window_s),
        ),
    )
    assert "Record a whole night" in " ".join(resident_steps(part))


def test_nobody_is_sent_to_seal_or_mask_without_the_cautions(record: NightRecord) -> None:
    said = " ".join((*resident_steps(record), *owner_duties()))
    for caution in ("fire doors", "escape windows", "smoke alarms", "infant", "doctor", "licensed"):
        assert caution in said
    steps = resident_steps(record)
    assert next(i for i, step in enumerate(steps) if "masking" in step) > next(
        i for i, step in enumerate(steps) if "seal" in step
    )


def test_the_owner_is_told_what_was_exceeded_and_how_surely(
    record: NightRecord, uncalibrated: NightRecord
) -> None:
    exceeded = {v.criterion.guideline for v in record.assessment.verdicts if v.word == "exceeded"}
    said = " ".join(owner_findings(record))
    assert all(name in said for name in exceeded)
    assert "one night" in said
    assert "not calibrated" in " ".join(owner_findings(uncalibrated))
    assert "No published value was exceeded" in " ".join(owner_findings(uncalibrated))


def test_the_diary_has_room_for_a_week() -> None:
    assert len(diary().rows) == DIARY_NIGHTS

"""A designed masker as one JSON document: every number unrounded, with what it was made from."""

from typing import Any

from sleepnoise.evidence.plain import CONVENTIONS, named_fields, plain_value
from sleepnoise.trials.masker_check import SCHEMA_NAME, SCHEMA_VERSION, MaskerCheck
from sleepnoise.trials.masker_study import MaskerStudy


def masker_document(study: MaskerStudy) -> dict[str, Any]:
    """Return the document as plain values, ready for JSON; ``check-masker`` reads it again."""
    design = study.design
    parts = {
        "schema": {"name": SCHEMA_NAME, "version": SCHEMA_VERSION},
        "conventions": {
            "levels": "dB re 20 µPa at the pillow",
            **{key: CONVENTIONS[key] for key in ("null", "-Infinity", "third octaves")},
        },
        "night": study.night,
        "behind": {"key": study.step.key, "title": study.step.title},
        "settings": design.settings,
        "spectrum": design.spectrum,
        "level_dba": design.level_dba,
        "loudness_sone": study.loudness_sone,
        "audibility_uncertainty_db": study.uncertainty_db,
        "events": [
            {
                "event": event.number,
                "start_local": event.start_local,
                "label": event.label,
                **named_fields(outcome),
            }
            for event, outcome in zip(study.events, design.outcomes, strict=True)
        ],
        "standard_shapes": design.standard_shapes,
        "night_laeq": {
            "without_masker_db": study.laeq_without,
            "with_masker_db": study.laeq_with,
            "values": study.values,
        },
        "alarms": study.alarms,
        "remarks": study.remarks,
        "cautions": study.cautions,
        "inputs": study.provenance.inputs,
        "versions": study.provenance.versions,
    }
    document = plain_value(parts)
    assert isinstance(document, dict)
    return document


def masker_check_document(check: MaskerCheck) -> dict[str, Any]:
    """Return a check at the pillow as plain values, ready for JSON."""
    document = plain_value(
        {
            "schema": {"name": f"{SCHEMA_NAME}-check", "version": SCHEMA_VERSION},
            "conventions": {"uncertainty": CONVENTIONS["uncertainty"], "null": CONVENTIONS["null"]},
            **named_fields(check),
        }
    )
    assert isinstance(document, dict)
    return document

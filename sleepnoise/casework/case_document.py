"""The whole case as one JSON document, from results that are kept."""

from collections.abc import Sequence
from typing import Any

from sleepnoise.casework.comparing import NightsCompared, comparison_document
from sleepnoise.casework.dossier import PAPERS, Dossier
from sleepnoise.casework.missing import Point
from sleepnoise.evidence.plain import plain_value
from sleepnoise.evidence.provenance import library_versions

SCHEMA = {"name": "sleepnoise/case", "version": 1}
"""Name and version of the document. Chosen: raised whenever a key changes its meaning."""


def case_document(dossier: Dossier, points: Sequence[Point], compared: NightsCompared) -> dict[str, Any]:
    """Return the document of a case."""
    return {
        "schema": SCHEMA,
        "dossier": plain_value(dossier.about.model_dump(exclude_none=True)),
        "state": plain_value(points),
        "comparison": comparison_document(compared),
        "door_tests": [folder.name for folder in dossier.door_tests],
        "papers": {kind: [path.name for path in dossier.papers(kind)] for kind in PAPERS},
        "journal": [
            {"number": entry.number, "time_utc": entry.time_utc, "did": entry.did, "about": entry.about}
            for entry in dossier.entries
        ],
        # The last entry seals all before it.
        "journal_sha256": dossier.entries[-1].sha256,
        "versions": library_versions(),
    }

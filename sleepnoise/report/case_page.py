"""The page of a dossier: one bedroom's whole case in one file, from results that are kept.

Nothing is measured anew.
"""

from collections.abc import Sequence

from sleepnoise.casework.comparing import NightsCompared
from sleepnoise.casework.dossier import Dossier
from sleepnoise.casework.missing import Point
from sleepnoise.report.case_sections import case_sections
from sleepnoise.report.kept_case import kept_case
from sleepnoise.report.one_page import one_page
from sleepnoise.report.sections import Reader


def case_page(
    dossier: Dossier, points: Sequence[Point], compared: NightsCompared, *, reader: Reader = "consultant"
) -> str:
    """Return the page of a dossier as HTML; the same dossier gives the same bytes.

    Parameters
    ----------
    dossier : Dossier
    points : sequence of Point
        What it has and lacks.
    compared : NightsCompared
        Its assessed nights.
    reader : Reader, optional

    Raises
    ------
    RecordingError
        If a kept result is not what was written.
    """
    hours = f"{dossier.about.night_hours} {dossier.about.zone}"
    return one_page(
        dossier.about.title,
        case_sections(kept_case(dossier, points, compared)),
        kicker="Night noise in a bedroom: the case",
        about=" · ".join(filter(None, (dossier.about.place, hours))),
        reader=reader,
    )

"""What was measured after the work, held against the latest plan of a dossier."""

from collections.abc import Iterator
from datetime import date

from sleepnoise.assessing.kept_night import read_kept_night
from sleepnoise.casework.dossier import Dossier
from sleepnoise.casework.night_results import result_folder
from sleepnoise.errors import SleepNoiseError
from sleepnoise.proving.door_proof import prove_by_door_test, read_door_gain
from sleepnoise.proving.held import Held
from sleepnoise.proving.kept_plan import read_plan
from sleepnoise.proving.night_proof import prove_by_night
from sleepnoise.proving.promise import Promise
from sleepnoise.report.kept_case import KeptCase
from sleepnoise.report.sections import Section
from sleepnoise.wording.proving_words import WORDS, bands_sentence, held_table, reasons
from sleepnoise.wording.tables import Table

MOST_PROVED = 10
"""Nights that are held against a plan, the last ones. Chosen: more tell the same; comparisons have all."""


def proof_section(case: KeptCase) -> Section:
    """Return what was promised and what came of it, for everything measured after the latest plan."""
    sentences: list[str] = []
    tables: list[Table] = []
    notes: list[str] = []
    if not case.plans:
        sentences.append("There is no plan, so nothing was promised that could be proved.")
    else:
        name = list(case.plans)[-1]
        try:
            promise = read_plan(case.dossier.root / "plans" / name).promise
        except SleepNoiseError as error:
            sentences.append(f"Cannot tell: {error.complaint.replace(f'{case.dossier.root}/', '')}")
        else:
            for said, table, why in (*_nights(case, promise), *_doors(case, promise, name)):
                sentences.append(said)
                tables += table
                notes += why
            if not sentences:
                sentences.append(
                    "Nothing was measured after the plan yet. Once its first step is done, note it as a "
                    "treatment in dossier.toml, measure nights and the same door test again, and this page "
                    "says promise by promise whether it was kept."
                )
    return Section(
        key="proofs", title="Proofs: promised and measured", sentences=tuple(sentences),
        tables=tuple(tables), notes=tuple(dict.fromkeys(notes)), template="exhibits.html",
    )  # fmt: skip


def _nights(case: KeptCase, promise: Promise) -> Iterator[tuple[str, list[Table], list[str]]]:
    since = _work_done(case, promise)
    if since is None:
        return
    after = [night for night in case.dossier.nights if night.file.evening >= since]
    assessed = {night.name for night in case.compared.nights}
    for night in [each for each in after if each.name in assessed][-MOST_PROVED:]:
        told = f"Night of {night.name}"
        try:
            proof = prove_by_night(promise, read_kept_night(result_folder(case.dossier, night)))
        except SleepNoiseError as error:
            yield f"{told}: cannot tell. {_short(case.dossier, error)}", [], []
            continue
        rows: tuple[Held, ...] = (*proof.rows, proof.count)
        table = held_table(f"{told}: promised and measured, dB(A) and events", rows)
        yield f"{told}: {WORDS[proof.word]}", [table], [f"{told}. {each}" for each in reasons(rows)]


def _work_done(case: KeptCase, promise: Promise) -> date | None:
    """Return the first evening after a treatment that came later than every night of the plan."""
    planned = [night.file.evening for night in case.dossier.nights
               if any(name.startswith(night.name) for name in promise.nights)]  # fmt: skip
    last = max(planned, default=date.min)
    later = [each.first_evening for each in case.dossier.about.treatment if each.first_evening > last]
    return min(later, default=None)


def _doors(case: KeptCase, promise: Promise, plan: str) -> Iterator[tuple[str, list[Table], list[str]]]:
    for folder in case.dossier.door_tests:
        if _entry_of(case.dossier, f"door-tests/{folder.name}/result.json") < _entry_of(
            case.dossier, f"plans/{plan}"
        ):
            continue
        told = f"Door test {folder.name}"
        try:
            proof = prove_by_door_test(promise, read_door_gain(folder / "result.json"), None)
        except SleepNoiseError as error:
            yield f"{told}: cannot tell. {_short(case.dossier, error)}", [], []
            continue
        table = held_table(f"{told}: gain promised and measured, dB", (proof.overall, *proof.bands))
        why = [f"{told}. {each}" for each in (*reasons((proof.overall,)), *bands_sentence(proof))]
        yield f"{told}: {WORDS[proof.word]}", [table], why


def _entry_of(dossier: Dossier, path: str) -> int:
    """Return the number of the entry that last put a file into the dossier; 0 if none did."""
    return max((entry.number for entry in dossier.entries if path in entry.files), default=0)


def _short(dossier: Dossier, error: SleepNoiseError) -> str:
    return error.complaint.replace(f"{dossier.root}/", "")

import hashlib
import json
from pathlib import Path

import pytest

from sleepnoise.assessing.record import NightRecord
from sleepnoise.dossier.folder import check_place, fresh_folder, write_manifest, write_results
from sleepnoise.errors import OutputError

FILES = {
    "assessment.json", "levels.parquet", "intervals.csv", "events.csv", "known_sounds.json", "manifest.json",
}  # fmt: skip


def write(record: NightRecord, out: Path, *, force: bool = False) -> None:
    with fresh_folder(out, force=force) as folder:
        write_results(record, folder)
        write_manifest(record, folder)


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_folder_holds_everything_and_nothing_else_is_left(record: NightRecord, tmp_path: Path) -> None:
    write(record, tmp_path / "out")
    assert set(content(tmp_path / "out")) == FILES
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_manifest_holds_the_hash_of_every_file(record: NightRecord, tmp_path: Path) -> None:
    write(record, tmp_path / "out")
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    outputs = {output["name"]: output for output in manifest["outputs"]}
    assert set(outputs) == FILES - {"manifest.json"}
    for name, output in outputs.items():
        data = (tmp_path / "out" / name).read_bytes()
        assert output["sha256"] == hashlib.sha256(data).hexdigest()
        assert output["size_bytes"] == len(data)
    assert [mark["role"] for mark in manifest["inputs"]] == ["recording"]


def test_the_same_night_gives_the_same_bytes(record: NightRecord, tmp_path: Path) -> None:
    write(record, tmp_path / "a")
    write(record, tmp_path / "b")
    assert content(tmp_path / "a") == content(tmp_path / "b")


def test_nothing_is_overwritten_unasked(record: NightRecord, tmp_path: Path) -> None:
    write(record, tmp_path / "out")
    before = content(tmp_path / "out")
    with pytest.raises(OutputError, match="is there already"):
        check_place(tmp_path / "out", force=False)
    with pytest.raises(OutputError, match="is there already"):
        write(record, tmp_path / "out")
    assert content(tmp_path / "out") == before


def test_an_earlier_assessment_is_replaced_when_asked(
    record: NightRecord, silent: NightRecord, tmp_path: Path
) -> None:
    write(record, tmp_path / "out")
    write(silent, tmp_path / "out", force=True)
    write(silent, tmp_path / "other")
    assert content(tmp_path / "out") == content(tmp_path / "other")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["other", "out"]


def test_an_empty_folder_may_be_taken(record: NightRecord, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    write(record, tmp_path / "out", force=True)
    assert set(content(tmp_path / "out")) == FILES


@pytest.mark.parametrize("manifest", [None, "{}", "no json", '{"schema": {"name": "other"}, "outputs": []}'])
def test_a_folder_that_no_assessment_wrote_is_never_replaced(tmp_path: Path, manifest: str | None) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    if manifest is not None:
        (tmp_path / "manifest.json").write_text(manifest)
    with pytest.raises(OutputError, match="only a folder that an assessment wrote"):
        check_place(tmp_path, force=True)
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_notes_put_beside_the_results_are_never_thrown_away(record: NightRecord, tmp_path: Path) -> None:
    write(record, tmp_path / "out")
    (tmp_path / "out" / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"'notes\.txt'"):
        write(record, tmp_path / "out", force=True)


def test_a_file_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError):
        check_place(tmp_path / "out", force=True)


@pytest.mark.parametrize("place", ["missing/out", "file/out"])
def test_a_place_without_a_folder_around_it_is_refused(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="does not exist"):
        check_place(tmp_path / place, force=False)


def test_a_folder_that_cannot_be_written_to_is_refused_beforehand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        check_place(tmp_path / "out", force=False)


@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, ValueError])
def test_an_interrupted_writing_leaves_nothing(tmp_path: Path, error: type[BaseException]) -> None:
    def interrupted() -> None:
        with fresh_folder(tmp_path / "out", force=False) as folder:
            (folder / "half").write_text("x")
            raise error

    with pytest.raises(error):
        interrupted()
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_a_complaint_and_leaves_nothing(tmp_path: Path) -> None:
    def written() -> None:
        with fresh_folder(tmp_path / "out", force=False):
            raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left"):
        written()
    assert list(tmp_path.iterdir()) == []


def test_the_earlier_assessment_survives_a_failure_at_the_last_step(
    record: NightRecord, silent: NightRecord, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(record, tmp_path / "out")
    before = content(tmp_path / "out")
    replace, calls = Path.replace, []

    def last_step_fails(self: Path, target: Path) -> Path:
        calls.append(target)
        # At every moment one of the two is on the disk.
        assert len(list(tmp_path.rglob("manifest.json"))) == 2
        if len(calls) == 1:
            raise KeyboardInterrupt
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", last_step_fails)
    with pytest.raises(KeyboardInterrupt):
        write(silent, tmp_path / "out", force=True)
    assert content(tmp_path / "out") == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_named_by_a_hostile_manifest_is_not_thrown_away(tmp_path: Path) -> None:
    out = tmp_path / "out"
    (out / "photos").mkdir(parents=True)
    manifest = {"schema": {"name": "sleepnoise/manifest"}, "outputs": [{"name": "photos"}]}
    (out / "manifest.json").write_text(json.dumps(manifest))
    with pytest.raises(OutputError, match="photos"):
        check_place(out, force=True)


def test_a_manifest_that_is_nested_without_end_names_nothing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "manifest.json").write_text("[" * 100_000)
    with pytest.raises(OutputError, match=r"manifest\.json"):
        check_place(out, force=True)

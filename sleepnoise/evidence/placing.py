"""Results that are there whole or not at all: written out of sight, then put in their place.

Whatever is written lies in a hidden folder beside its place until all of it is on the disk; then it
takes its place in one step. Several things that belong together come together: if one cannot, all
earlier ones come back. Whoever is interrupted leaves nothing; what a killed process left is cleared
away by whoever writes there next, and what it had just moved aside is brought back.
"""

import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from sleepnoise.errors import OutputError
from sleepnoise.evidence.durable import cannot_write, flush_file, flush_folder, take_folder

HIDDEN = ".sleepnoise-"
"""Beginning of the name of a folder of things not yet done."""

NEW, EARLIER = "new", "earlier"
"""In such a folder: what is to come into its place, and what lay there until then."""


def check_file_place(path: Path, *, force: bool | None) -> None:
    """Refuse a place that cannot take a file, before anything is worked out; leave nothing there.

    Parameters
    ----------
    path : Path
    force : bool or None
        Whether a file that is there may be replaced; None if there is no way to ask for that.

    Raises
    ------
    OutputError
        If there is no such folder, it cannot be written to, or something is there that stays.
    """
    _check_taken(path, force=force)
    check_writable(path)


def _check_taken(path: Path, *, force: bool | None) -> None:
    parent = path.resolve().parent
    if not parent.is_dir():
        raise OutputError(f"{path.parent}: is no folder.", remedy="Make it first, or choose another.")
    clear_abandoned(parent)
    if path.exists() and not path.is_file():
        raise OutputError(f"{path}: is there already and is no plain file.", remedy="Choose another name.")
    if path.exists() and not force:
        way = "Choose another name." if force is None else "Choose another name, or use --force."
        raise OutputError(f"{path}: is there already; nothing is overwritten unasked.", remedy=way)


def check_writable(place: Path) -> None:
    """Refuse a place beside which nothing can be written.

    Raises
    ------
    OutputError
    """
    with _complaining(place), _hidden(place.resolve().parent):
        pass


@contextmanager
def placed_files(*paths: Path, force: bool | None) -> Iterator[tuple[Path, ...]]:
    """Give paths to write files to; they come into their places together if nothing goes wrong.

    Parameters
    ----------
    *paths : Path
        Where the files are to be.
    force : bool or None
        As for :func:`check_file_place`.

    Yields
    ------
    tuple of Path
        Of the same names.

    Raises
    ------
    OutputError
        As :func:`check_file_place`, or if writing fails. Nothing is then left behind, and files that
        were there are as they were.
    """
    for path in paths:
        _check_taken(path, force=force)
    with placed(*paths, replace=bool(force)) as unfinished:
        yield unfinished


def write_file(path: Path, content: str | bytes, *, force: bool | None) -> None:
    """Write a file, text as UTF-8 and without touching its line ends; otherwise as :func:`placed_files`."""
    with placed_files(path, force=force) as (unfinished,):
        unfinished.write_bytes(content.encode() if isinstance(content, str) else content)


@contextmanager
def placed(*places: Path, replace: bool) -> Iterator[tuple[Path, ...]]:
    """Give paths to make files or folders at; they come into their places together.

    Parameters
    ----------
    *places : Path
        In folders that are there.
    replace : bool
        Whether what is there may be replaced, whatever it is.

    Yields
    ------
    tuple of Path
        Of the same names; nothing is there yet.

    Raises
    ------
    OutputError
        If writing fails, or something came to be there meanwhile. Nothing has changed then.
    """
    if not places:
        yield ()
        return
    targets = [place.resolve() for place in places]
    with _complaining(places[0]), ExitStack() as stack:
        hidden = {
            parent: stack.enter_context(_hidden(parent)) for parent in {each.parent for each in targets}
        }
        new = tuple(hidden[target.parent] / NEW / target.name for target in targets)
        yield new
        for path in new:
            _flush(path)
        _put_in_place([(hidden[target.parent], target) for target in targets], replace=replace)


def clear_abandoned(folder: Path) -> None:
    """Clear away what killed processes left unfinished in a folder, and bring back what they moved aside."""
    for left in folder.glob(f"{HIDDEN}*"):
        # Without it the owner may be about to take it; a link leads elsewhere.
        if left.is_symlink() or not (left / NEW).is_dir():
            continue
        with suppress(OSError), take_folder(left) as mine:
            if mine:
                for earlier in (left / EARLIER).iterdir():
                    if not (folder / earlier.name).exists():
                        earlier.rename(folder / earlier.name)
                shutil.rmtree(left, ignore_errors=True)


@contextmanager
def _hidden(parent: Path) -> Iterator[Path]:
    clear_abandoned(parent)
    hidden = parent / f"{HIDDEN}{secrets.token_hex(6)}"
    # Cleared twice: an interrupt that falls into the first finds the second still to come.
    try:
        try:
            hidden.mkdir()
            with take_folder(hidden):
                (hidden / EARLIER).mkdir()
                (hidden / NEW).mkdir()
                yield hidden
        finally:
            shutil.rmtree(hidden, ignore_errors=True)
    finally:
        shutil.rmtree(hidden, ignore_errors=True)


def _flush(path: Path) -> None:
    if path.is_file():
        flush_file(path)
        return
    for each in path.iterdir():
        _flush(each)
    flush_folder(path)


def _put_in_place(moves: list[tuple[Path, Path]], *, replace: bool) -> None:
    try:
        for hidden, target in moves:
            there = target.exists()
            if there and not replace:
                raise FileExistsError(0, "it came to be there meanwhile")
            # One file gives way to another in one step; a folder, or one of several, has to be moved first.
            if there and (len(moves) > 1 or target.is_dir()):
                target.rename(hidden / EARLIER / target.name)
            (hidden / NEW / target.name).replace(target)
    except BaseException:
        for hidden, target in moves:
            _put_back(hidden, target)
        raise
    for parent in {target.parent for _, target in moves}:
        with suppress(OSError):
            flush_folder(parent)


def _put_back(hidden: Path, target: Path) -> None:
    new, earlier = hidden / NEW / target.name, hidden / EARLIER / target.name
    if not new.exists():
        target.replace(new)
    if earlier.exists():
        earlier.rename(target)


@contextmanager
def _complaining(place: Path) -> Iterator[None]:
    """Turn whatever the disk refuses into a complaint about the place asked for."""
    try:
        yield
    except OutputError as error:
        # Whoever complains of what is out of sight means the place that it is for.
        told = re.sub(rf"{re.escape(HIDDEN)}\w+[/\\]{NEW}[/\\]", "", error.complaint)
        raise OutputError(told, remedy=error.remedy) from None
    except OSError as error:
        raise cannot_write(place, error) from None

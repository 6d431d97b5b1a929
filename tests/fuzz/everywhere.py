"""Change every key of every document in every way: ``python -m tests.fuzz.everywhere [NAME ...]``.

Profiles are changed at each place, other documents at one place of each shape (``--all`` for every one).
Each change must be accepted, or refused in one sentence that names the file; the rest is told and counted.
"""

import json
import signal
import sys
import time
import tomllib
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sleepnoise.profiles.files import read_profile, shipped_folder
from tests.fuzz.__main__ import SLOW_S, Slow
from tests.fuzz.mutations import json_text, mutations, one_of_each, refusal, toml_text
from tests.fuzz.targets_documents import DEMO, FOLDER, READERS, SEEDS

JSON = ("assessment", "plan", "survey-plan", "masker", "known-sounds", "ledger")
TOML = ("dossier-file", "night-file")


def documents() -> Iterator[tuple[str, str, dict[str, Any], Callable[[Any], str], Callable[[Path], object]]]:
    """Yield name, file name, document, writer and reader of everything that is read."""
    for path in [*sorted(shipped_folder().rglob("*.toml")), *sorted(DEMO.glob("*.toml"))]:
        yield path.stem, path.name, tomllib.loads(path.read_text(encoding="utf-8")), toml_text, read_profile
    for name in (*TOML, *JSON):
        file, read = READERS[name]
        raw = SEEDS[name]()[0]
        if name in TOML:
            yield name, file, tomllib.loads(raw.decode()), toml_text, read
        else:
            yield name, file, json.loads(raw), json_text, read


def main() -> None:
    """Change all documents, or those named."""
    asked = [word for word in sys.argv[1:] if not word.startswith("-")]
    total, finds = Counter[str](), set[str]()
    signal.signal(signal.SIGALRM, _too_slow)
    for name, file, document, write, read in documents():
        if asked and name not in asked:
            continue
        profile = read is read_profile
        counted = Counter[str]()
        path = FOLDER / file
        path.parent.mkdir(parents=True, exist_ok=True)
        began = time.monotonic()
        where = None if profile or "--all" in sys.argv else one_of_each(document)
        for mutation in mutations(document, write, where):
            path.write_bytes(mutation.raw)
            signal.alarm(SLOW_S)
            try:
                counted["accepted" if refusal(read, path) is None else "refused"] += 1
            except (Exception, Slow):
                counted["finds"] += 1
                told = traceback.format_exc()
                if told[-300:] not in finds:
                    print(f"--- {name}: {mutation.place} {mutation.how}\n{told}", flush=True)  # noqa: T201
                finds.add(told[-300:])
            finally:
                signal.alarm(0)
        total += counted
        print(f"{name}: {dict(counted)}, {time.monotonic() - began:.0f} s", flush=True)  # noqa: T201
    print(f"all: {dict(total)}")  # noqa: T201
    sys.exit(bool(total["finds"]))


def _too_slow(*_: object) -> None:
    raise Slow


if __name__ == "__main__":
    main()

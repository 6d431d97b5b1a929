"""Write the schemas anew after a document has changed: ``python -m tests.documents``."""

import json
from pathlib import Path

import sleepnoise
from tests.documents.derive import Derivation
from tests.documents.outlines import documents

FOLDER = Path(sleepnoise.__file__).parent / "evidence" / "schemas"


def derived() -> dict[str, str]:
    """Return the text of each schema by its name."""
    found = {}
    for order, document in enumerate(documents(), start=1):
        form = Derivation().schema(f"sleepnoise/{document.name}", document.title, document.outline)
        found[document.name] = json.dumps({**form, "x-order": order}, ensure_ascii=False, indent=1) + "\n"
    return found


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.glob("*.json"):
        path.unlink()
    for name, text in derived().items():
        (FOLDER / f"{name}.json").write_text(text, encoding="utf-8", newline="\n")

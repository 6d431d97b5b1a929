"""Throw broken input at the readers: ``python -m tests.fuzz TARGET --seconds N``; without TARGET, at all.

Each module ``targets_*.py`` beside this one has ``TARGETS``, what reads some bytes by name, and
``SEEDS``, what makes well-formed bytes by the same names. A target may refuse with a SleepNoiseError;
anything else that it raises, and anything slower than ``SLOW_S``, is a find: its input is kept, and the
run goes on. Bytes are changed at random from ``--seed``, or with ``--steered`` by atheris, if that is
installed, which looks for bytes that reach new lines of the code.
"""

import argparse
import hashlib
import importlib
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from sleepnoise.errors import SleepNoiseError

SLOW_S = 10
MORE_BYTES = 1500 * 2**20
"""Time, and address space beyond that of the libraries, that no broken file may cost. Chosen: seeds cost
far below a second and some megabytes."""

LONGEST_COMPLAINT = 1500
"""Characters of a complaint. Chosen: a screen; file names come on top of a sentence."""

HERE = Path(__file__).parent

TELLING = [0, 1, 0x7F, 0x80, 0xFF, *b"\n\r\t\"',;=+-.:{}[]#<"]
WORDS = [bytes(4), b"\xff" * 4, b"\xff" * 8, b"\x7f\xff\xff\xff", b"\0\0\0\x80", b"\xff\xfe", b"9" * 400]
WORDS += [*b'nan -inf 1e999 -1 ../ =1+1 true { [ " \n'.split(b" "), "\u202e".encode()]
"""Bytes and runs of bytes that readers stumble over."""


Targets = dict[str, Callable[[bytes], None]]
Seeds = dict[str, Callable[[], list[bytes]]]


class Slow(BaseException):
    """A target took longer than it may."""


def gathered(steered: bool = False) -> tuple[Targets, Seeds]:
    """Return all targets, and what makes their seeds, by name; with *steered*, their coverage is watched."""
    if steered:
        import atheris

        with atheris.instrument_imports(include=["sleepnoise"]):
            return gathered()
    targets: Targets = {}
    seeds: Seeds = {}
    for path in sorted(HERE.glob("targets_*.py")):
        module = importlib.import_module(f"tests.fuzz.{path.stem}")
        targets |= module.TARGETS
        seeds |= module.SEEDS
    return targets, seeds


def changed(seed: bytes, draw: random.Random) -> bytes:
    """Return some bytes with a few changes: flipped, cut, doubled, replaced."""
    data = bytearray(seed)
    for _ in range(draw.choice((1, 1, 2, 4, 8))):
        # Headers are where readers go wrong.
        reach = len(data) if draw.random() < 0.5 else min(len(data), 128)
        place = draw.randrange(reach + 1)
        span = draw.choice((1, 2, 4, 8, 64))
        match draw.randrange(7):
            case 0:
                data[place : place + 1] = bytes([draw.choice(TELLING)])
            case 1:
                data[place : place + 1] = bytes([draw.randrange(256)])
            case 2:
                del data[place:]
            case 3:
                del data[place : place + span]
            case 4:
                data[place:place] = data[place : place + span] * draw.choice((1, 2, 50))
            case 5:
                word = draw.choice(WORDS)
                data[place : place + len(word)] = word
            case _:
                data[place:place] = draw.choice(WORDS)
    return bytes(data)


def steer(name: str, target: Callable[[bytes], None], seeds: list[bytes], seconds: float) -> None:
    """Let atheris change the bytes; it ends the process when the time is over."""
    import atheris

    corpus = Path(tempfile.mkdtemp(prefix=f"fuzz-{name}-"))
    for number, data in enumerate(seeds):
        (corpus / str(number)).write_bytes(data)
    finds = Counter[str]()

    def once(data: bytes) -> None:
        tell(name, data, trouble(target, data), finds)

    limits = [f"-max_total_time={seconds:.0f}", "-rss_limit_mb=3000", f"-max_len={4 * max(map(len, seeds))}"]
    atheris.Setup([sys.argv[0], str(corpus), *limits, "-print_final_stats=1", "-verbosity=0"], once)
    atheris.Fuzz()


def trouble(target: Callable[[bytes], None], data: bytes) -> str:
    """Return what went wrong; empty if the bytes were read or refused."""
    signal.signal(signal.SIGALRM, _too_slow)
    signal.alarm(SLOW_S)
    # What is raised below a library of C is only printed otherwise.
    wrong: list[str] = []
    sys.unraisablehook = lambda told: wrong.append("".join(traceback.format_exception(told.exc_value)))
    try:
        target(data)
    except SleepNoiseError as error:
        # Whatever a file holds, the sentence about it is short.
        if len(str(error)) > LONGEST_COMPLAINT or not error.remedy:
            wrong.append(f"complaint of {len(str(error))} characters, remedy {error.remedy[:80]!r}")
    except (Exception, Slow):
        wrong.append(traceback.format_exc())
    finally:
        signal.alarm(0)
    return "".join(wrong)


def run(name: str, target: Callable[[bytes], None], seeds: list[bytes], seconds: float, seed: int) -> int:
    """Change seeds at random until the time is over; return the number of different finds."""
    draw, finds, runs = random.Random(seed), Counter[str](), 0
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        data = draw.choice(seeds)
        data = changed(data, draw) if runs >= len(seeds) else seeds[runs]
        runs += 1
        tell(name, data, trouble(target, data), finds)
    print(f"{name}: {runs} runs, {len(+finds)} different finds", flush=True)  # noqa: T201
    return len(+finds)


def limit_memory() -> None:
    """Let the process take no more than it may, where the system tells how much that is."""
    told = Path("/proc/self/statm")
    if told.exists():
        limit = int(told.read_text().split()[0]) * resource.getpagesize() + MORE_BYTES
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))


def tell(name: str, data: bytes, told: str, finds: Counter[str]) -> None:
    """Print what went wrong, if it did, and keep the bytes, once for each place in the code."""
    kind = "\n".join(line for line in told.splitlines() if 'File "' in line)[-600:] or told[:40]
    if told and not finds[kind]:
        path = Path(tempfile.gettempdir()) / f"fuzz-{name}-{hashlib.sha256(data).hexdigest()[:12]}"
        path.write_bytes(data)
        print(f"--- {name}: {path}\n{told}", flush=True)  # noqa: T201
    finds[kind] += bool(told)


def _too_slow(*_: object) -> None:
    raise Slow


def main() -> None:
    """Run one target, or all one after the other."""
    targets, seeds = gathered("--steered" in sys.argv)
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__.partition("\n")[0])
    parser.add_argument("target", nargs="*", help=f"of {', '.join(targets)}")
    parser.add_argument("--seconds", type=float, default=60, help="for each target")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--steered", action="store_true", help="by atheris; one target")
    asked = parser.parse_args()
    finds = 0
    if not asked.steered:
        limit_memory()
    for name in asked.target or targets:
        if asked.steered:
            steer(name, targets[name], seeds[name](), asked.seconds)
        finds += run(name, targets[name], seeds[name](), asked.seconds, asked.seed)
    sys.exit(bool(finds))


if __name__ == "__main__":
    main()

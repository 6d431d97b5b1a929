"""Random nights against the slow meter: ``python -m tests.benchmarks.random_nights --nights 100``."""

import argparse
import tempfile
from collections import Counter
from pathlib import Path

from tests.fixtures.random_nights import TOLERANCES_DB, differences_db, write_random_night


def main() -> None:
    """Assess random nights, and print the largest difference of every quantity beside its tolerance."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.random_nights", description=__doc__)
    parser.add_argument("--nights", type=int, default=100)
    parser.add_argument("--first-seed", type=int, default=1000)
    asked = parser.parse_args()
    worst = dict.fromkeys(TOLERANCES_DB, (0.0, -1))
    seen: Counter[str] = Counter()
    for seed in range(asked.first_seed, asked.first_seed + asked.nights):
        with tempfile.TemporaryDirectory() as folder:
            night = write_random_night(Path(folder), seed)
            away = differences_db(night)
        seen.update(
            {f"{night.rate_hz} Hz": 1, "with a gap": night.gap_s > 0, "without sounds": not night.events}
        )
        for name, difference in away.items():
            if not difference <= worst[name][0]:
                worst[name] = difference, seed
            if not difference <= TOLERANCES_DB[name]:
                print(f"seed {seed}: {name} is {difference:.3f} dB away ({night.rate_hz} Hz)", flush=True)
    print(f"{asked.nights} nights; " + ", ".join(f"{count} {name}" for name, count in sorted(seen.items())))
    for name, (difference, seed) in worst.items():
        print(f"{name:15}{difference:8.4f} dB at most (seed {seed}), allowed {TOLERANCES_DB[name]:g}")


if __name__ == "__main__":
    main()

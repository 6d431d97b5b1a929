"""What 100 000 nights a day would take: ``python -m tests.benchmarks.fleet``.

A simulation on paper. Every core of a cluster takes the next night, waits for its turn at the
scheduler and at the store, hears it, and waits for its turn at the file system that keeps results.
Those three serve one night after the other. Some nights take much longer (stragglers); cores die and
lose the night under way, which then stands in the queue again. Costs of a night are measured, see
the constants; what machines and stores do and cost is assumed.
"""

import heapq
from collections import deque
from dataclasses import dataclass

import numpy as np

NIGHTS = 100_000
CPU_S, SOUND_BYTES, RESULT_BYTES = 52.0, 1.66e9, 12.8e6
"""One night of 8 h, 48 kHz, FLAC of 24 bit. Measured: CPU of one worker, bytes read once and written."""

SMALL_BYTES, SMALL_CPU_S = 0.24e9, 40.0
"""The same in FLAC of 16 bit at 16 kHz. Assumed from the ratio of sample rates and bits."""

SPREAD, STRAGGLERS, STRAGGLER_FACTOR = 0.15, 0.01, 8.0
"""Scatter of CPU time (log-normal), share of stragglers and how much longer they take. Assumed."""

CORE_LIFE_H = 100.0
"""Mean life of a core before its machine is taken away. Assumed: machines sold cheaply, 1 % lost an hour."""

RESTART_S = 60.0
"""Time until a lost core is replaced. Assumed."""

SCHEDULER_S, RESULT_S = 0.001, 0.01
"""Turn of one night at the scheduler (about 1 ms a task, Dask's documentation, from memory), and at the
file system: some 30 small operations at 3000 a second. Assumed."""

LINK_BYTES_PER_S = 0.15e9
"""What one core draws from the store by itself. Assumed: a machine of 16 cores with 20 Gbit/s."""

PRICE_CORE_H, PRICE_TB_MONTH = 0.04, 20.0
"""Money for a core-hour and for keeping 1 TB for a month. Assumed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """One arrangement: cores, the store's speed in bytes/s, and what a night is like."""

    name: str
    cores: int
    store_bytes_per_s: float
    sound_bytes: float = SOUND_BYTES
    cpu_s: float = CPU_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """What became of it: hours until all nights and until 99 % were done, lost nights, busy shares."""

    hours: float
    hours_99: float
    lost: int
    busy: dict[str, float]


class Turn:
    """Something that serves one night after the other."""

    def __init__(self) -> None:
        self.free_s = self.used_s = 0.0

    def after(self, now_s: float, takes_s: float) -> float:
        self.free_s = max(self.free_s, now_s) + takes_s
        self.used_s += takes_s
        return self.free_s


def simulate(fleet: Fleet, seed: int = 1) -> Day:
    """Work through all nights once."""
    rng = np.random.default_rng(seed)
    work_s = fleet.cpu_s * rng.lognormal(-(SPREAD**2) / 2, SPREAD, NIGHTS)
    work_s[rng.random(NIGHTS) < STRAGGLERS] *= STRAGGLER_FACTOR
    scheduler, store, results = Turn(), Turn(), Turn()
    queue, cores = deque(work_s.tolist()), [(0.0, core) for core in range(fleet.cores)]
    heard_s, lost, computed_s = [], 0, 0.0
    while queue:
        now_s, core = heapq.heappop(cores)
        night_s = queue.popleft()
        began_s = scheduler.after(now_s, SCHEDULER_S)
        fetched_s = max(
            store.after(began_s, fleet.sound_bytes / fleet.store_bytes_per_s),
            began_s + fleet.sound_bytes / LINK_BYTES_PER_S,
        )
        life_s = rng.exponential(CORE_LIFE_H * 3600)
        if now_s + life_s < fetched_s + night_s:
            lost += 1
            queue.append(night_s)
            heapq.heappush(cores, (now_s + life_s + RESTART_S, core))
            continue
        computed_s += night_s
        heard_s.append(fetched_s + night_s)
        heapq.heappush(cores, (fetched_s + night_s, core))
    # Results wait for their turn without holding the core.
    ends_s = [results.after(each_s, RESULT_S) for each_s in sorted(heard_s)]
    whole_s = ends_s[-1]
    return Day(
        hours=whole_s / 3600,
        hours_99=ends_s[int(0.99 * NIGHTS)] / 3600,
        lost=lost,
        busy={
            "cores": computed_s / (whole_s * fleet.cores),
            "store": store.used_s / whole_s,
            "scheduler": scheduler.used_s / whole_s,
            "results": results.used_s / whole_s,
        },
    )


def main() -> None:
    """Print a table of arrangements."""
    slow, fast = 25e9 / 8, 100e9 / 8
    fleets = [
        Fleet(name="25 Gbit/s", cores=cores, store_bytes_per_s=slow) for cores in (64, 96, 128, 256, 1024)
    ]
    fleets += [Fleet(name="100 Gbit/s", cores=cores, store_bytes_per_s=fast) for cores in (256, 1024, 4096)]
    fleets += [
        Fleet(
            name="25 Gbit/s, 16 kHz 16 bit", cores=cores, store_bytes_per_s=slow, sound_bytes=SMALL_BYTES,
            cpu_s=SMALL_CPU_S,
        )
        for cores in (64, 256, 1024)
    ]  # fmt: skip
    sound_tb, result_tb = NIGHTS * SOUND_BYTES / 1e12, NIGHTS * RESULT_BYTES / 1e12
    print(f"{NIGHTS} nights: {NIGHTS * CPU_S / 3600:.0f} core-hours, {sound_tb:.0f} TB in,")
    print(f"{result_tb:.2f} TB out, of which each month of keeping costs {result_tb * PRICE_TB_MONTH:.0f}")
    print(f"{'store':25s}  cores  all h  99 % h  lost cores  store  sched.  results   money  held up by")
    for fleet in fleets:
        day = simulate(fleet)
        busy = day.busy
        print(
            f"{fleet.name:25s} {fleet.cores:6d} {day.hours:6.1f} {day.hours_99:7.1f} {day.lost:5d} "
            f"{busy['cores']:5.0%} {busy['store']:6.0%} {busy['scheduler']:7.1%} {busy['results']:8.1%} "
            f"{day.hours * fleet.cores * PRICE_CORE_H:7.0f}  {max(busy, key=lambda name: busy[name])}"
        )


if __name__ == "__main__":
    main()

"""How long an inspection takes, from a photo's file to its result, against decoding that JPEG in colour in the same run.

    python tests/benchmarks/bench_inspect.py PHOTO [RUNS]

A benchmark, not a test: machines differ. Prints processor time and wall time, least and median of all runs, their ratios to a decode, what
each step takes, and the peak memory. Steps are timed one by one, on one thread; the whole as it runs. On a machine that does other
things as well, trust the least.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from seamcheck import pipeline
from seamcheck.photo import read_photo

# Names in the pipeline whose calls make up a step.
STEPS = {
    "cards": ("find_cards",),
    "camera and plane": ("solve_plane",),
    "optics": ("card_edges", "light_exponent", "learn_optics"),
    "rose found": ("find_all",),
    "edges": ("staged", "measure_lobes"),
    "seams": ("_seam",),
    "gaps": ("field_tone", "measure_gaps"),
    "numbers": ("tip_numbers",),
    "round edge": ("find_field", "measure_round_edge", "field_reach"),
    "field seams": ("measure_field_seams",),
}
Times = dict[str, list[tuple[float, float]]]


def timed(times: Times, name: str, work: Callable[[], Any]) -> Any:
    wall, cpu = time.perf_counter(), time.process_time()
    try:
        return work()
    finally:
        times.setdefault(name, []).append((time.perf_counter() - wall, time.process_time() - cpu))


def by_step(path: Path, runs: int) -> dict[str, float]:
    """Least processor time of each step, seconds."""
    spent: dict[str, float] = {}
    kept = {name: getattr(pipeline, name) for names in STEPS.values() for name in names}
    owner = {name: step for step, names in STEPS.items() for name in names}

    def watched(name: str) -> Callable[..., Any]:
        def call(*args: Any, **options: Any) -> Any:
            begin = time.process_time()
            try:
                return kept[name](*args, **options)
            finally:
                spent[owner[name]] = spent.get(owner[name], 0.0) + time.process_time() - begin

        return call

    for name in kept:
        setattr(pipeline, name, watched(name))
    least: dict[str, float] = {}
    for _ in range(runs):
        spent.clear()
        begin = time.process_time()
        photo = read_photo(path)
        spent["read"] = time.process_time() - begin
        pipeline.inspect(photo, pipeline.Settings())
        spent["rest"] = time.process_time() - begin - sum(spent.values())
        least = {step: min(value, least.get(step, np.inf)) for step, value in spent.items()}
    for name, function in kept.items():
        setattr(pipeline, name, function)
    return least


def main() -> None:
    path = Path(sys.argv[1])
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    data = np.frombuffer(path.read_bytes(), np.uint8)
    pipeline.inspect(read_photo(path), pipeline.Settings())  # imports and caches
    times: Times = {}
    for _ in range(runs):
        timed(times, "decode", lambda: cv2.imdecode(data, cv2.IMREAD_COLOR))
        timed(times, "inspect", lambda: pipeline.inspect(read_photo(path), pipeline.Settings()))
    for word, middle in (("least", np.min), ("median", np.median)):
        (decode_wall, decode_cpu), (wall, cpu) = (middle(times[name], axis=0) for name in ("decode", "inspect"))
        print(f"{word:7s}decode {decode_wall:.3f} s wall, {decode_cpu:.3f} s processor; inspect {wall:.3f} s wall, {cpu:.3f} s processor")
        print(f"       that is {wall / decode_wall:.1f} times a decode by the wall, {cpu / decode_cpu:.1f} times by the processor")
    print("processor time by step, s: " + ", ".join(f"{step} {spent:.3f}" for step, spent in by_step(path, runs).items()))
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()

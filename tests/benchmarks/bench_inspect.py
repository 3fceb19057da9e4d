"""How long an inspection takes, from a photo's file to its result, against decoding that JPEG in colour in the same run.

    python tests/benchmarks/bench_inspect.py PHOTO [RUNS]

A benchmark, not a test: machines differ. Prints medians of processor time and wall time, their ratio, and the peak memory.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect


def main() -> None:
    path = Path(sys.argv[1])
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    data = np.frombuffer(path.read_bytes(), np.uint8)
    inspect(read_photo(path), Settings())  # imports and caches
    times: dict[str, list[tuple[float, float]]] = {"decode": [], "inspect": []}
    for _ in range(runs):
        for name in times:
            wall, cpu = time.perf_counter(), time.process_time()
            if name == "decode":
                cv2.imdecode(data, cv2.IMREAD_COLOR)
            else:
                inspect(read_photo(path), Settings())
            times[name].append((time.perf_counter() - wall, time.process_time() - cpu))
    (decode_wall, decode_cpu), (wall, cpu) = (np.median(times[name], axis=0) for name in ("decode", "inspect"))
    print(f"decode   {decode_wall:.3f} s wall, {decode_cpu:.3f} s processor")
    print(f"inspect  {wall:.3f} s wall, {cpu:.3f} s processor")
    print(f"that is {wall / decode_wall:.1f} times a decode by the wall, {cpu / decode_cpu:.1f} times by the processor")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()

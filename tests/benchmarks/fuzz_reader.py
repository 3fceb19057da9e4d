"""Thousands of spoilt files through the whole command, each batch in a process of its own with its memory and its writing limited.

    python tests/benchmarks/fuzz_reader.py [COUNT] [SEED]

Prints what they came to, and stops at the first file that crashes, hangs, takes too much memory or makes anything be written.
Takes a minute for the usual 3,000. A part of it runs with the tests (tests/property/test_hostile_files.py).
"""

from __future__ import annotations

import collections
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

BATCH = 250
MOST_SECONDS_EACH = 10
MOST_MEMORY_MB = 1000


def run_batch(folder: Path, names: list[str]) -> None:
    """In a child: inspect each file, printing its name first, so that the parent knows which one ended it."""
    from seamcheck.basis.errors import SeamcheckError
    from seamcheck.photo import read_photo
    from seamcheck.pipeline import Settings, inspect

    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # no file may be written; what is printed goes to a pipe
    warnings.simplefilter("ignore")
    for name in names:
        print(json.dumps(name), flush=True)
        signal.alarm(MOST_SECONDS_EACH)  # ends the child where a file hangs it
        try:
            inspect(read_photo(folder / name), Settings())
            kind = "measured"
        except SeamcheckError as error:
            kind = type(error).__name__
        print(json.dumps([kind, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]), flush=True)


def main() -> None:
    from tests.hostile import bombs, spoilt

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    kinds: collections.Counter[str] = collections.Counter()
    peak_mb, began = 0.0, time.monotonic()
    cases = [*bombs(), *spoilt(count, seed)]
    for start in range(0, len(cases), BATCH):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            for k, (name, data) in enumerate(cases[start : start + BATCH]):
                (folder / f"{k:04d} {name}").write_bytes(data)
            names = sorted(os.listdir(folder))
            child = subprocess.run([sys.executable, __file__, "--batch", place], input=json.dumps(names), text=True, capture_output=True)
            lines = [json.loads(line) for line in child.stdout.splitlines()]
            if child.returncode or len(lines) != 2 * len(names):
                kept = ROOT / "spoilt-file"
                kept.write_bytes((folder / lines[-1]).read_bytes())
                sys.exit(f"{lines[-1]} ended the program ({child.returncode}), kept as {kept}:\n{child.stderr[-2000:]}")
            kinds.update(kind for kind, _ in lines[1::2])
            peak_mb = max(peak_mb, *(memory for _, memory in lines[1::2]))
            if peak_mb > MOST_MEMORY_MB:
                sys.exit(f"{peak_mb:.0f} MB were needed")
            if sorted(os.listdir(folder)) != names:
                sys.exit("something was written beside the photos")
    print(f"{len(cases)} files in {time.monotonic() - began:.0f} s, {peak_mb:.0f} MB at the peak: {dict(kinds.most_common())}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--batch"]:
        run_batch(Path(sys.argv[2]), json.load(sys.stdin))
    else:
        main()

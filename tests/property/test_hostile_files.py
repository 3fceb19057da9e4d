"""Whatever a file holds or is called: a photo, or one error with a remedy; nothing else written, no half file, bounded memory."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
import warnings
from pathlib import Path

import pytest

from seamcheck.basis.errors import SeamcheckError
from seamcheck.photo import read_photo
from tests.hostile import ODD_NAMES, bombs, spoilt, wholesome

# Reading all the bombs, and a library's own 150 MB: 14000 x 14000 grey pixels alone would be 590 MB in colour.
MOST_MEMORY_MB = 900
ROOT = Path(__file__).parents[2]


def outcome(path: Path) -> str:
    """What reading comes to; anything but a photo or our own error, in one sentence, is raised."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow's, of odd metadata; the program ignores them too
        try:
            photo = read_photo(path)
        except SeamcheckError as refusal:
            kind, sentence = type(refusal).__name__, str(refusal)
        else:
            assert photo.bgr.ndim == 3
            return "photo"
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return kind


def test_sound_pictures_of_every_kind_are_read(tmp_path: Path) -> None:
    for name, data in wholesome().items():
        (tmp_path / name).write_bytes(data)
        kind = outcome(tmp_path / name)
        assert kind == ("NotAPhoto" if name.endswith((".gif", ".ppm", ".eps")) else "photo")


def test_spoilt_pictures_are_read_or_refused(tmp_path: Path) -> None:
    seen: dict[str, int] = {}
    for name, data in spoilt(400, seed=20):
        (tmp_path / name).write_bytes(data)
        kind = outcome(tmp_path / name)
        seen[kind] = seen.get(kind, 0) + 1
    assert set(seen) <= {"photo", "PhotoCutShort", "NotAPhoto", "PhotoTooLarge", "PhotoTooSmall", "RawPhoto", "PhotoEmpty"}
    assert seen["PhotoCutShort"] > 50
    assert seen["photo"] > 50
    assert {path.name for path in tmp_path.iterdir()} == set(wholesome())


def test_bombs_are_refused_in_bounded_memory_and_time(tmp_path: Path) -> None:
    for name, data in bombs():
        (tmp_path / name).write_bytes(data)
    script = (
        "import json, re, resource, sys, time, warnings\n"
        "from pathlib import Path\n"
        "warnings.simplefilter('ignore')\n"
        "from tests.property.test_hostile_files import outcome\n"
        "kinds = {path.name: outcome(path) for path in sorted(Path(sys.argv[1]).iterdir())}\n"
        "status = Path('/proc/self/status')\n"
        # Linux counts what the parent held before this program began in a process' peak; not in this one.
        "own = re.search(r'VmHWM:\\s*(\\d+)', status.read_text()) if status.exists() else None\n"
        "print(json.dumps([kinds, int(own[1]) / 1024 if own else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024]))\n"
    )
    run = subprocess.run([sys.executable, "-c", script, str(tmp_path)], cwd=ROOT, capture_output=True, timeout=120, check=True)
    kinds, peak_mb = json.loads(run.stdout)
    assert peak_mb < MOST_MEMORY_MB
    for name in ("claims.png", "claims60000.jpg", "claims.bmp", "claims.tif"):
        assert kinds[name] == "PhotoTooLarge"
    for name in ("unpacks.png", "huge tag.tif", "cyclic.tif", "deep.tif"):
        assert kinds[name] != "photo"
    for name in ("cyclic exif.jpg", "deep exif.jpg"):
        assert kinds[name] == "photo"  # broken EXIF data cost the focal length only


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_are_names(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from seamcheck.cli import main

    monkeypatch.chdir(tmp_path)
    (tmp_path / name).write_bytes(wholesome()["grey.jpg"])
    monkeypatch.setattr(sys, "argv", ["seamcheck", "inspect", "--json", "a.json", "--", name])
    with pytest.raises(SystemExit) as stopped:
        main()
    out, err = capsys.readouterr()
    assert stopped.value.code == 1
    assert out == ""
    assert err.count("\n") == 1
    assert "No scale card can be read" in err or "blurred" in err
    assert "\x1b" not in err
    assert os.listdir(tmp_path) == [name]


# A shell starts its background jobs with interrupts ignored, and children inherit that.
WRITER = """
import signal, sys
from pathlib import Path
from seamcheck.report.files import Target, write_all
signal.signal(signal.SIGINT, signal.default_int_handler)
first, second = (Target(Path(name), "a note", lambda data: True) for name in sys.argv[1:3])
print("ready", flush=True)
for k in range(100000):
    letter = b"ab"[k % 2 : k % 2 + 1]
    write_all([(first, letter * 3_000_000), (second, letter * 2_000_000)])
"""


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_whenever_it_is_stopped_only_whole_files_stand(tmp_path: Path, end: signal.Signals) -> None:
    files = tmp_path / "first", tmp_path / "second"
    moments = random.Random(5)
    for _ in range(4):
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, *map(str, files)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        ) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            time.sleep(moments.uniform(0.05, 0.3))
            writer.send_signal(end)
            writer.wait(timeout=20)
        for file, size in zip(files, (3_000_000, 2_000_000), strict=True):
            if file.exists():
                assert file.read_bytes() in (b"a" * size, b"b" * size)


def test_a_disk_that_is_full_leaves_what_was_there(tmp_path: Path) -> None:
    script = (
        "import resource, sys\n"
        "from seamcheck.basis.errors import CantWrite\n"
        "from pathlib import Path\n"
        "from seamcheck.report.files import Target, write_all\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))\n"
        "targets = [Target(Path(name), 'a note', lambda data: True) for name in sys.argv[1:]]\n"
        "try:\n"
        "    write_all([(targets[0], b'new' * 10), (targets[1], b'new' * 1_000_000)])\n"
        "except CantWrite as error:\n"
        "    print(error)\n"
    )
    files = tmp_path / "first", tmp_path / "second"
    for file in files:
        file.write_bytes(b"as it was")
    run = subprocess.run([sys.executable, "-c", script, *map(str, files)], cwd=ROOT, capture_output=True, timeout=60, check=True)
    assert b"second can't be written (file too large)" in run.stdout
    assert [file.read_bytes() for file in files] == [b"as it was"] * 2
    assert sorted(os.listdir(tmp_path)) == ["first", "second"]


def test_a_full_disk_does_not_keep_a_photo_from_being_read(tmp_path: Path) -> None:
    """Nor does a standard error that is closed."""
    (tmp_path / "a.jpg").write_bytes(wholesome()["grey.jpg"])
    script = (
        "import os, resource, sys\n"
        "from seamcheck.photo import read_photo\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))\n"
        "read_photo(sys.argv[1])\n"
        "os.close(2)\n"
        "print(read_photo(sys.argv[1]).size_px)\n"
    )
    run = subprocess.run([sys.executable, "-c", script, str(tmp_path / "a.jpg")], cwd=ROOT, capture_output=True, timeout=60, check=True)
    assert run.stdout.strip() == b"(320, 240)"


@pytest.mark.parametrize("quarters", [1, 3])
def test_jpeg_data_that_do_not_add_up_are_damaged(tmp_path: Path, quarters: int) -> None:
    """Coded data that end early, though the end marker stands: a decoder would fill up with grey, and say so to nobody."""
    sound = wholesome()["grey.jpg"]
    (tmp_path / "a.jpg").write_bytes(sound[: len(sound) * quarters // 4] + b"\xff\xd9")
    assert outcome(tmp_path / "a.jpg") == "PhotoCutShort"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a disk that is always full")
def test_a_report_that_cannot_be_printed_is_said_and_no_fault_of_the_program() -> None:
    with Path("/dev/full").open("wb") as full:
        run = subprocess.run([sys.executable, "-m", "seamcheck", "--help"], cwd=ROOT, stdout=full, stderr=subprocess.PIPE, timeout=60)
    assert run.returncode == 1
    assert run.stderr.startswith(b"The report can't be printed (no space left on device)")
    assert run.stderr.count(b"\n") == 1

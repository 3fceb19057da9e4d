"""A folder of photos, each measured by itself, on every core: what is done stays done, and one bad photo costs one photo.

Processes are spawned, not forked: a fork would copy locks that other threads of the libraries hold.
"""

from __future__ import annotations

import json
import os
import signal
import stat
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from .basis.errors import FolderMissing, NoPhotoInFolder, ResultsAmongPhotos, SeamcheckError
from .basis.threads import ONE_THREAD
from .basis.units import Units, speak
from .folders import make_folder
from .job import fingerprint
from .photo import shown_name

SUFFIXES = (".jpg", ".jpeg", ".heic", ".heif", ".png", ".tif", ".tiff", ".webp", ".bmp", ".dng")
RESULT, PICTURE = ".json", ".picture.jpg"  # after the photo's whole name: a.jpg and a.png may lie side by side


@dataclass(frozen=True)
class Task:
    """One photo and what is to come of it."""

    photo: Path
    result: Path
    picture: Path | None
    settings: dict[str, Any]  # as the result file records them, and Settings takes them
    picture_px: int | None = None  # the picture is the photo alone, its longest side so many pixels; where None, with every point enlarged


@dataclass(frozen=True)
class Outcome:
    """What came of one photo: words for the progress, or the plain sentence that says why nothing did."""

    photo: str
    words: str = ""
    fault: str = ""
    skipped: bool = False
    path: Path | None = None  # of the photo


def photos_in(folder: Path) -> list[Path]:
    """The folder's photos by name (not those in folders within it). Raises a FileError where there is none."""
    if not folder.is_dir():
        raise FolderMissing(folder=shown_name(folder))
    found = sorted(path for path in folder.iterdir() if path.suffix.lower() in SUFFIXES and not path.name.startswith("."))
    found = [path for path in found if not path.is_dir()]
    if not found:
        raise NoPhotoInFolder(folder=shown_name(folder))
    return found


def tasks(photos: Path, results: Path, settings: dict[str, Any], with_picture: bool) -> list[Task]:
    """What is to be done for a folder. The results' folder is made where it's missing; pictures that lie there are kept up with."""
    found = photos_in(photos)
    make_folder(results)
    if os.path.samefile(photos, results):
        raise ResultsAmongPhotos(folder=shown_name(results))
    todo = []
    for path in found:
        picture = results / (path.name + PICTURE)
        wanted = with_picture or _is_ours(picture)  # one drawn before would gainsay a new result
        todo.append(Task(path, results / (path.name + RESULT), picture if wanted else None, settings))
    return todo


def _is_ours(picture: Path) -> bool:
    from .report.picture_file import is_picture

    try:
        return picture.is_file() and is_picture(picture.read_bytes())
    except OSError:
        return False


def run(todo: Sequence[Task], processes: int | None = None) -> Iterator[Outcome]:
    """Every photo's outcome, as it comes. Stopping the iteration stops the work when the photos at hand are done."""
    waiting = []
    for task in todo:
        if is_done(task):
            yield Outcome(shown_name(task.photo), "measured before, with the same options", skipped=True, path=task.photo)
        else:
            waiting.append(task)
    if not waiting:
        return
    count = processes or cores()
    while waiting:
        suspects: list[Task] = []
        with pool_of(min(count, len(waiting))) as pool:
            yield from _finished(pool, waiting, min(count, len(waiting)), suspects)
        for task in suspects:  # which of them broke the processes isn't known: each again, by itself
            lost: list[Task] = []
            with pool_of(1) as pool:
                yield from _finished(pool, [task], 1, lost)
            if lost:
                name = shown_name(task.photo)
                fault = f"{name} couldn't be measured, most likely for want of memory: close other programs, and try again."
                yield Outcome(name, fault=fault, path=task.photo)


def cores() -> int:
    """How many this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def is_done(task: Task) -> bool:
    """Whether the result stands there whole, newer than this very photo, made by this version with the same options; the picture too."""
    from .report.json_file import is_result
    from .report.picture_file import is_picture

    try:
        photo = task.photo.stat()
        for path in (task.result, *([task.picture] if task.picture else [])):
            there = path.stat()
            if not stat.S_ISREG(there.st_mode) or there.st_mtime_ns < photo.st_mtime_ns:
                return False
        data = task.result.read_bytes()
        same = is_result(data) and json.loads(data).get("made_with") == _made_with(task)
        return same and (task.picture is None or is_picture(task.picture.read_bytes()))
    except (OSError, ValueError, SeamcheckError):
        return False


def _made_with(task: Task) -> dict[str, Any]:
    """What a result file records: the options, and which photo it is of, since phones and folders use a name again."""
    return {**task.settings, "photo_sha256": fingerprint(task.photo).sha256}


def _finished(pool: ProcessPoolExecutor, waiting: list[Task], at_once: int, suspects: list[Task]) -> Iterator[Outcome]:
    """Outcomes as they come; photos are taken from `waiting` only when there is a process for them, so that stopping is quick.

    When a process dies, those at hand go to `suspects` and the rest stay in `waiting`.
    """
    running: dict[Future[Outcome], Task] = {}
    while (waiting and not suspects) or running:
        while waiting and not suspects and len(running) < at_once:
            try:
                running[pool.submit(measure, waiting[0])] = waiting[0]
            except BrokenProcessPool:  # before the photos at hand have told
                break
            waiting.pop(0)
        if not running:
            return
        for future in wait(running, return_when=FIRST_COMPLETED).done:
            task = running.pop(future)
            try:
                yield replace(future.result(), path=task.photo)
            except BrokenProcessPool:
                suspects.append(task)


@contextmanager
def pool_of(processes: int) -> Iterator[ProcessPoolExecutor]:
    """So many processes, spawned, each with one thread."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_begin) as pool:
            yield pool
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _begin() -> None:
    """In each process: one thread; and Ctrl-C is for the first process to answer, so that a photo at hand is finished."""
    import warnings

    import cv2

    cv2.setNumThreads(1)
    warnings.simplefilter("ignore")
    with suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def measure(task: Task) -> Outcome:
    """One photo, from its bytes to its files. Whatever goes wrong is the outcome's sentence."""
    name = shown_name(task.photo)
    try:
        return Outcome(name, _measured(task))
    except SeamcheckError as error:
        return Outcome(name, fault=str(error))
    except MemoryError:
        return Outcome(
            name, fault=f"There isn't enough memory for {name}: close other programs, or save it at half the size and give that."
        )
    except Exception as error:
        return Outcome(name, fault=f"Seamcheck itself failed at {name} ({type(error).__name__}): report it, with the photo if you can.")


def _measured(task: Task) -> str:
    from .photo import read_photo
    from .pipeline import inspect, settings_of
    from .report.files import Target, check_targets, write_all
    from .report.json_file import is_result, result_bytes
    from .report.picture_file import is_picture, marked

    written = [Target(task.result, "a result file", is_result)]
    if task.picture:
        written.append(Target(task.picture, "a picture", is_picture))
    check_targets(written, task.photo)
    photo = read_photo(task.photo)
    speak(task.settings.get("units", Units.IN))
    found = inspect(photo, settings_of(task.settings))
    data = [result_bytes(found, photo.reduced_by, photo.full_size_px, _made_with(task))]
    if task.picture and task.picture_px:
        from .pages.bench_pictures import photo_picture

        data.append(marked(photo_picture(photo.bgr, found, task.picture_px).data))
    elif task.picture:
        from .report.overlay import picture_bytes

        data.append(marked(picture_bytes(photo.bgr, found, task.picture.suffix)))
    write_all(list(zip(written, data, strict=True)))
    counts = Counter(tip.verdict.value for tip in found.tips if tip.verdict)
    told = ", ".join(f"{counts[word]} {word}" for word in ("on", "off", "unsure", "unmeasured") if counts[word])
    return f"{found.stage.value}; {told}" if told else f"{found.stage.value}"

"""From what was said on the command line to what was measured: for every command that takes a photo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from .basis.units import lengths

if TYPE_CHECKING:
    from .cli_options import StageName
    from .photo import Photo
    from .result import Inspection


def made_with(
    stage: StageName | None,
    tolerance_in: float | None,
    gap_tolerance_in: float | None,
    veneer_in: float | None,
    bar_across_in: float | None,
    bar_along_in: float | None,
) -> dict[str, Any]:
    """The program's version and what was said on the command line, as the result file records it; null where nothing was."""
    from . import __version__

    said = {"units": lengths().symbol} if lengths().metric else {}
    return said | {
        "version": __version__,
        "stage": stage.value if stage else None,
        "tolerance_in": tolerance_in,
        "gap_tolerance_in": gap_tolerance_in,
        "veneer_in": veneer_in,
        "bar_across_in": bar_across_in,
        "bar_along_in": bar_along_in,
    }


def measure(path: Path, said: dict[str, Any]) -> tuple[Photo, Inspection]:
    """The photo and what was found in it. What wasn't said on the command line is left to the settings' own defaults."""
    from threading import Thread

    from .photo import read_photo

    # Half a second of imports, most of it while the photo is decoded on the other core.
    Thread(target=_import_ahead, daemon=True).start()
    photo = read_photo(path)

    from .pipeline import inspect as inspect_photo  # only now: a file that can't be read is refused at once
    from .pipeline import settings_of

    return photo, inspect_photo(photo, settings_of(said))


def measure_all(paths: list[Path], said: dict[str, Any]) -> tuple[Photo, Inspection]:
    """Several photos of one fit: the first that can be measured, and what they show together."""
    from dataclasses import replace
    from hashlib import sha256

    from .basis.errors import PhotoError
    from .combine.fit import together
    from .photo import read_bytes, shown_name

    first: Photo | None = None
    found: list[Inspection] = []
    notes: list[str] = []
    faults: list[PhotoError] = []
    known: set[bytes] = set()
    for path in paths:
        digest = sha256(read_bytes(path)).digest()
        if digest in known:
            notes.append(f"{shown_name(path)} is the same file as one before it, so it counts once.")
            continue
        known.add(digest)
        try:
            photo, inspection = measure(path, said)
        except PhotoError as error:
            faults.append(error)
            continue
        first = first or photo
        found.append(inspection)
    if first is None:
        raise faults[0]
    notes += [f"Left out: {error}" for error in faults]
    all_found = together(found) if len(found) > 1 else found[0]
    return first, replace(all_found, warnings=(*notes, *all_found.warnings))


def lens_of_photo(path: Path) -> list[float | None]:
    """What a photo with cards tells of the phone's lens, as a result file holds it."""
    from .photo import read_photo

    photo = read_photo(path)
    from .measure.known_plane import lens_from

    return list(lens_from(photo))


def _import_ahead() -> None:
    """Import what measuring will need; whatever fails here fails again, and is told, where it is needed."""
    from contextlib import suppress

    with suppress(ImportError):
        import scipy.fft
        import scipy.ndimage
        import scipy.optimize
        import scipy.special  # noqa: F401

"""Photos spoilt in ways that happen: measured, or refused in a sentence; never a failure of the program's own."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from seamcheck.basis.errors import SeamcheckError
from seamcheck.photo import read_photo
from seamcheck.pipeline import Settings, inspect
from seamcheck.result import Stage, Verdict

SAMPLES = Path(__file__).parents[2] / "sample_images"
Pixels = NDArray[np.uint8]


def blotted(bgr: Pixels) -> Pixels:
    """A black hole in the rose: a thumb, or a dropped block of the picture."""
    height, width = bgr.shape[:2]
    spoilt = bgr.copy()
    spoilt[height // 3 : height // 2, width // 3 : width // 2] = 0
    return spoilt


def barred(bgr: Pixels) -> Pixels:
    """A batten of one even tone across it."""
    middle = bgr.shape[1] // 2
    spoilt = bgr.copy()
    spoilt[:, middle - 40 : middle + 40] = (90, 140, 170)
    return spoilt


SPOILT: dict[str, Callable[[Pixels], Pixels]] = {
    "blown out": lambda bgr: cv2.convertScaleAbs(bgr, alpha=2.2),
    "dim": lambda bgr: cv2.convertScaleAbs(bgr, alpha=0.15),
    "crushed": lambda bgr: np.clip((bgr.astype(float) - 128) * 3.5 + 128, 0, 255).astype(np.uint8),
    "without blue": lambda bgr: bgr * np.array([0, 1, 1], np.uint8),
    "without red": lambda bgr: bgr * np.array([1, 1, 0], np.uint8),
    "grey": lambda bgr: cv2.cvtColor(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR),
    "negative": lambda bgr: 255 - bgr,
    "mirrored": lambda bgr: np.ascontiguousarray(bgr[:, ::-1]),
    "blurred": lambda bgr: cv2.GaussianBlur(bgr, (0, 0), 4),
    "small": lambda bgr: cv2.resize(bgr, None, fx=0.3, fy=0.3, interpolation=cv2.INTER_AREA),
    "cut in half": lambda bgr: bgr[:, : bgr.shape[1] // 2],
    "blotted": blotted,
    "barred": barred,
}


@pytest.mark.parametrize("how", SPOILT)
@pytest.mark.parametrize(("name", "stage"), [("dry-fit", None), ("set-in", Stage.DRY_FIT)])
def test_a_spoilt_photo_is_measured_or_refused(name: str, stage: Stage | None, how: str) -> None:
    photo = read_photo(SAMPLES / f"{name}.jpg")
    found, said = None, ""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = inspect(replace(photo, bgr=SPOILT[how](photo.bgr)), Settings(stage))
        except SeamcheckError as refusal:
            said = str(refusal)
    if found is None:
        assert photo.name in said
        return
    for tip in found.tips:
        assert (tip.seam_offset is None) == (tip.reason is not None)
        assert (tip.verdict is Verdict.UNMEASURED) == (tip.seam_offset is None)

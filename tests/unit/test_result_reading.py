"""Result files read back: what is read, and what is refused with which sentence."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from seamcheck.basis.errors import FileError
from seamcheck.report.json_file import result_document
from seamcheck.report.result_reading import read_fit
from seamcheck.result import Verdict
from tests.made_up_fit import PX_PER_IN, rose, seen


@pytest.fixture
def document() -> dict[str, Any]:
    lobes = rose(np.random.default_rng(1), points=4)
    return json.loads(json.dumps(result_document(seen(lobes, "made-up.jpg", hidden=(2,)))))


def write(folder: Path, document: object) -> Path:
    path = folder / "result.json"
    path.write_text(json.dumps(document))
    return path


def test_places_come_back_in_inches_about_the_centre(tmp_path: Path, document: dict[str, Any]) -> None:
    fit = read_fit(write(tmp_path, document))
    assert fit.name == "made-up.jpg"
    assert len(fit.lobes) == 8
    centre = np.array(document["centre_px"])
    for lobe, tip in zip(fit.lobes, document["tips"], strict=True):
        flat = (np.array(tip["tip_px"]) - centre) / PX_PER_IN * [1, -1]
        assert lobe.tip_in == pytest.approx(flat, abs=0.02)
        if tip["seam_offset_in"] is None:
            assert lobe.verdict is Verdict.UNMEASURED
            assert lobe.reason is not None
        else:
            assert (lobe.offset_in, lobe.u95_in) == (tip["seam_offset_in"], tip["seam_offset_u95_in"])
    for joint, told in zip(fit.joints, document["joints"], strict=True):
        assert list(joint.lobes) == told["lobes"]
        assert joint.max_in == told["max_in"]


def test_perspective_is_undone_by_the_tips(tmp_path: Path, document: dict[str, Any]) -> None:
    """The same result as a tilted phone would have it: pixels all warped by one homography, reach and bearing as they are."""
    flat = read_fit(write(tmp_path, document))
    centre = np.array(document["centre_px"])
    # As near as the made-up places lie to reach and bearing.
    near = max(float(np.abs(lobe.outline_in).max()) for lobe in flat.lobes) * 0.01

    def warp(value: Any) -> Any:
        if value is None:
            return None
        px = (np.array(value) - centre) / 500
        whole = np.concatenate([px, np.ones((*px.shape[:-1], 1))], axis=-1) @ np.array([[1.0, 0.1, 0], [0.02, 0.9, 0], [0.12, 0.2, 1]]).T
        return (whole[..., :2] / whole[..., 2:] * 500 + centre).tolist()

    for tip in document["tips"]:
        for name in ("tip_px", "outline_px", "seam_px", "own_seam_px"):
            tip[name] = warp(tip[name])
    for joint in document["joints"]:
        for name in ("edge_px", "max_at_px"):
            joint[name] = warp(joint[name])
    tilted = read_fit(write(tmp_path, document))
    for one, other in zip(flat.lobes, tilted.lobes, strict=True):
        assert other.outline_in == pytest.approx(one.outline_in, abs=near)
    # With too few places known both ways the plain scale has to do.
    for tip in document["tips"][3:]:
        tip["reach_in"] = None
    rough = read_fit(write(tmp_path, document))
    assert rough.lobes[0].tip_in == pytest.approx((np.array(document["tips"][0]["tip_px"]) - centre) / PX_PER_IN * [1, -1])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d.update(schema_version=2), "made by a newer seamcheck"),
        (lambda d: d.update(schema_version="1"), "is not a result file"),
        (lambda d: d.pop("tips"), "is not a result file"),
        (lambda d: d.update(stage="inlaid"), "shows an inlaid rose, and only a dry fit"),
        (lambda d: d.update(stage="loose"), "shows loose lobes"),
        (lambda d: d["tips"][0].pop("outline_px"), "something in it is missing"),
        (lambda d: d["tips"][0].update(outline_px=[[1, 2]]), "something in it is missing"),
        (lambda d: d["tips"][0].update(seam_offset_in="much"), "something in it is missing"),
        (lambda d: d["tips"][0].update(lobe=2), "something in it is missing"),
        (lambda d: d["joints"][0].update(lobes=[1, 99]), "something in it is missing"),
        (lambda d: d["joints"][0].update(u95_in=-1), "something in it is missing"),
        (lambda d: d["tips"][0].update(seam_offset_in=0.001, seam_offset_u95_in=-0.001), "something in it is missing"),
        (lambda d: d["tips"][0].update(seam_offset_in=0.03, seam_offset_u95_in=0.002, verdict="on"), "something in it is missing"),
        (lambda d: d["joints"][0].update(max_in=0.009, u95_in=0.004, verdict="closed"), "something in it is missing"),
        (lambda d: d["scale"].update(px_per_in=0), "something in it is missing"),
        (lambda d: d.update(centre_px=None), "something in it is missing"),
    ],
)
def test_what_is_no_whole_result_of_a_dry_fit_is_refused(tmp_path: Path, document: dict[str, Any], change: Any, words: str) -> None:
    change(document)
    with pytest.raises(FileError) as refused:
        read_fit(write(tmp_path, document))
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="There is no result file none"):
        read_fit(tmp_path / "none.json")
    with pytest.raises(FileError, match="is not a result file"):
        read_fit(tmp_path)
    for data in (b"", b"\xff\xd8\xff\xe0", b"[1, 2]", b"{", b"[" * 100_000):
        (tmp_path / "x.json").write_bytes(data)
        with pytest.raises(FileError, match="is not a result file"):
            read_fit(tmp_path / "x.json")

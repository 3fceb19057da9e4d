"""The result file holds what it should, under the names that it should."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from seamcheck.basis.uncertain import Estimate
from seamcheck.report.json_file import is_result, result_bytes, result_document
from seamcheck.result import Verdict
from tests import made_up
from tests.made_up import ALL_WELL, BARE, BARE_TOP, DRY_FIT, LOOSE, NO_EDGE

TIP_FIELDS = {
    *("lobe", "ring", "bearing_deg", "tip_px", "reach_in", "reach_u95_in", "seam_offset_in", "seam_offset_u95_in", "seam_px"),
    *("verdict", "reason", "own_seam_offset_in", "own_seam_offset_u95_in", "length_in", "length_u95_in"),
    *("root_angle_deg", "root_angle_u95_deg", "dark_side"),
}
JOINT_FIELDS = ["lobes", "edge_px", "max_in", "mean_in", "u95_in", "max_at_px", "measured_fraction", "verdict"]
SEAM_FIELDS = ["bearing_deg", "bearing_u95_deg", "off_centre_in", "place_u95_in", "seam_px"]


def test_every_name_is_there() -> None:
    document = result_document(DRY_FIT)
    assert document.keys() >= {"schema_version", "photo", "stage", "scale", "centre_px", "tips", "joints", "orientation", "warnings"}
    assert document["schema_version"] == 1
    assert document["photo"] == {"file": "rose.jpg", "size_px": [1200, 900]}
    assert document["scale"].keys() >= {"source", "cards", "px_per_in", "reprojection_rms_px", "u95_rel"}
    assert document["scale"]["source"] == "cards"
    assert all(tip.keys() >= TIP_FIELDS for tip in document["tips"])
    assert all(joint.keys() >= set(JOINT_FIELDS) for joint in document["joints"])
    assert document["orientation"] == {"consistent": False, "odd_lobes": [3]}
    assert document["warnings"] == ["Card 2 is curled, so it was left out."]


def test_a_measured_tip() -> None:
    tip = result_document(DRY_FIT)["tips"][1]
    assert (tip["lobe"], tip["ring"], tip["verdict"], tip["reason"], tip["dark_side"]) == (2, 1, "off", None, "cw")
    assert (tip["seam_offset_in"], tip["seam_offset_u95_in"]) == (0.0466, 0.004)
    assert tip["bearing_deg"] == pytest.approx(92)
    assert tip["root_angle_deg"] == pytest.approx(45.1)
    assert tip["root_angle_u95_deg"] == pytest.approx(0.2, abs=2e-6)
    assert np.array(tip["seam_px"]).shape == (2, 2)


def test_an_unmeasured_tip_has_its_place_its_reason_and_no_number() -> None:
    tip = result_document(DRY_FIT)["tips"][3]
    assert (tip["verdict"], tip["reason"]) == ("unmeasured", "tip_covered")
    assert tip["seam_offset_in"] is tip["seam_offset_u95_in"] is tip["seam_px"] is None
    assert len(tip["tip_px"]) == 2


def test_joints() -> None:
    first, *_, last = result_document(DRY_FIT)["joints"]
    assert (first["lobes"], first["max_in"], first["u95_in"], first["verdict"]) == ([1, 2], 0.0185, 0.004, "open")
    assert (last["verdict"], last["max_in"], last["mean_in"], last["u95_in"]) == ("unmeasured", None, None, None)
    assert np.array(last["edge_px"]).shape == (2, 2)
    field = made_up.joint(3, None, 0, made_up.estimate(0.001, 0.001), Verdict.CLOSED)
    assert result_document(replace(DRY_FIT, joints=(field,)))["joints"][0]["lobes"] == [3, None]


def test_loose_lobes_have_no_field_to_be_measured_from() -> None:
    document = result_document(LOOSE)
    assert document["centre_px"] is None
    for tip in document["tips"]:
        assert tip["ring"] is tip["verdict"] is tip["seam_offset_in"] is tip["reach_in"] is None
        assert tip["own_seam_offset_in"] == -0.0021


def test_a_bare_top_has_seams() -> None:
    document = result_document(BARE)
    assert document["tips"] == document["joints"] == []
    assert len(document["seams"]) == 4
    assert all(seam.keys() >= set(SEAM_FIELDS) for seam in document["seams"])
    assert document["seams"][1]["bearing_deg"] == 90
    assert document["seams"][1]["place_u95_in"] == 0.002
    assert document["seams"][1]["bearing_u95_deg"] == pytest.approx(1.96 * 0.02, abs=1e-4)
    assert document["orientation"] == {"consistent": None, "odd_lobes": []}
    assert "seams" not in result_document(DRY_FIT)


def test_a_measured_bare_top_says_what_it_is() -> None:
    document = json.loads(result_bytes(BARE_TOP))
    assert document["seams"][1]["off_centre_in"] == 0.004
    assert document["seams"][1]["off_centre_u95_in"] == 0.003
    top = document["top"]
    assert (top["leaves"], top["seams_looked_for"], top["seam_numbers"]) == (4, 4, [1, 2, 3])
    assert top["unmeasured_seams"] == [{"seam": 4, "bearing_deg": 270.0, "reason": "seam_faint"}]
    assert (top["diameter_in"], top["diameter_u95_in"], top["edge_off_bearing_deg"]) == (16.02, 0.02, 120.0)
    assert (top["rose_reaches_in"], top["rose_reach_told"]) == ([3.0], False)
    place = top["rose_fewest_suited"]
    assert [point["made_to_suit"] for point in place["points"]] == [False, False, True, False]
    assert place["points"][0]["miss_in"] == 0.02
    assert place["points"][3]["miss_in"] is place["points"][3]["miss_u95_in"] is None
    assert place["points"][2]["right_angle_deg"] == 45.0
    without = json.loads(result_bytes(NO_EDGE))["top"]
    assert without["diameter_in"] is without["rose_least_miss"] is None
    assert without["edge_reason"] == "edge_out_of_frame"
    assert "top" not in result_document(DRY_FIT)


def test_the_orientation_is_consistent_where_no_lobe_is_odd() -> None:
    assert result_document(ALL_WELL)["orientation"] == {"consistent": True, "odd_lobes": []}


def test_no_infinity_and_nothing_that_is_no_number_gets_out() -> None:
    bad = Estimate(math.nan, {"all": 0.001})
    tip = replace(made_up.TIPS[0], seam_offset=bad, reach=Estimate(1.0, {"all": math.inf}), seam_px=np.full((2, 2), np.nan))
    written = json.loads(result_bytes(replace(DRY_FIT, tips=(tip,))))["tips"][0]
    assert written["seam_offset_in"] is written["reach_in"] is written["reach_u95_in"] is written["seam_px"] is None


def test_numpy_numbers_are_written_as_plain_ones() -> None:
    tip = replace(made_up.TIPS[0], lobe=np.int64(1), bearing=np.float64(0.1), reach=Estimate(np.float64(3), {"all": np.float64(0.1)}))
    scale = replace(DRY_FIT.scale, px_per_in=np.float32(100.5), cards=(np.int32(1),))
    written = json.loads(result_bytes(replace(DRY_FIT, tips=(tip,), scale=scale, odd_lobes=(np.int64(1),))))
    assert written["scale"]["cards"] == written["orientation"]["odd_lobes"] == [1]


@pytest.mark.parametrize(("bearing", "degrees"), [(0.0, 0.0), (-1e-12, 0.0), (-math.pi / 2, 270.0), (2 * math.pi, 0.0), (math.pi, 180.0)])
def test_bearings_run_from_0_to_360(bearing: float, degrees: float) -> None:
    written = result_document(replace(DRY_FIT, tips=(replace(made_up.TIPS[0], bearing=bearing),)))["tips"][0]["bearing_deg"]
    assert written == degrees
    assert math.copysign(1, written) == 1


def test_pixels_of_a_reduced_photo_are_those_of_the_photo_itself() -> None:
    document = result_document(DRY_FIT, reduced_by=2, full_size_px=(2400, 1800))
    assert document["photo"]["size_px"] == [2400, 1800]
    assert document["centre_px"] == [1200.5, 900.5]  # (u + 0.5) * 2 - 0.5
    assert document["scale"]["px_per_in"] == 200
    assert document["scale"]["reprojection_rms_px"] == pytest.approx(0.082)
    assert document["tips"][1]["seam_offset_in"] == 0.0466


def test_the_same_inspection_twice_is_the_same_file() -> None:
    assert result_bytes(DRY_FIT) == result_bytes(replace(DRY_FIT))


def test_our_files_are_told_from_others() -> None:
    assert is_result(result_bytes(DRY_FIT))
    assert is_result(result_bytes(BARE))
    others = [b"", b"{}", b"[1]", b"\xff\xfe", b'{"schema_version": 1}', b'{"photo": 1, "stage": 2}', b"[" * 100_000, b"null"]
    assert not any(map(is_result, others))

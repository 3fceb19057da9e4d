"""Joint gaps on strips made here: known width, darkness, blur and noise; nothing of the measuring code draws them."""

from __future__ import annotations

import warnings
from math import comb, erf, exp, sqrt

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from seamcheck.basis.reasons import Reason
from seamcheck.edges import LUMA_BGR, LinearPatch, srgb_decode
from seamcheck.kite import FoundLobe, FoundRose, Kite
from seamcheck.measure.gap_field import FieldTone
from seamcheck.measure.gap_model import zones
from seamcheck.measure.gap_sites import JointSite, joints_of
from seamcheck.measure.gaps import GapFit, measure_gap, measure_gaps
from seamcheck.plane.camera import Camera

PX_PER_IN = 200.0
HEIGHT_IN = 20.0
# A camera straight above the plane's origin, whose photo is 480 x 1000 px with the origin in its middle.
CAMERA = Camera(PX_PER_IN * HEIGHT_IN, 1.0, 239.5, 499.5, 0, 0, 0, 0, np.array([np.pi, 0.0, 0.0]), np.array([0.0, 0.0, HEIGHT_IN]))
LIGHT, DARK = np.array([0.30, 0.48, 0.60]), np.array([0.03, 0.05, 0.09])  # linear, B G R
SLIT = np.array([0.005, 0.006, 0.008])
LENGTH_IN = 1.8
ROWS_PER_JOINT = 240


def encoded(linear):
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.clip(linear, 1e-9, None) ** (1 / 2.4) - 0.055)
    return np.clip(np.rint(code * 255), 0, 255).astype(np.uint8)


def picture(gaps_in, rng, slit=SLIT, blur_px=1.0, grain=0.03, noise=0.004):
    """Four joints side by side, light wood above dark wood, each with its gap at the inner and outer end."""
    height, width = 1000, 480
    v = np.arange(height)[:, None].astype(float)
    u = np.arange(width)[None, :].astype(float)
    image = np.zeros((height, width, 3))
    step = np.vectorize(lambda x: 0.5 * (1 + erf(x / sqrt(2))))
    table_x = np.linspace(-8, 8, 1601)
    table = step(table_x)
    for k, (inner, outer) in enumerate(gaps_in):
        rows = slice(20 + k * ROWS_PER_JOINT, 20 + (k + 1) * ROWS_PER_JOINT)
        middle = 20 + (k + 0.5) * ROWS_PER_JOINT
        share = (u - (239.5 - LENGTH_IN / 2 * PX_PER_IN)) / (LENGTH_IN * PX_PER_IN)
        opening = (inner + (outer - inner) * share) * PX_PER_IN
        upper = 1 - np.interp((v[rows] - (middle - opening / 2)) / blur_px, table_x, table)
        lower = np.interp((v[rows] - (middle + opening / 2)) / blur_px, table_x, table)
        figure = 1 + grain * np.repeat(rng.normal(size=(1, width // 4)), 4, axis=1)
        wood = upper[..., None] * LIGHT * figure[..., None] + lower[..., None] * DARK * figure[..., None]
        image[rows] = wood + (1 - upper - lower)[..., None] * slit
    image[:20], image[-20:] = LIGHT, DARK
    image = image * (1 + noise / np.sqrt(image + 0.01) * rng.normal(size=image.shape))
    return encoded(image)


def sites():
    out = []
    for k in range(4):
        y = (499.5 - (20 + (k + 0.5) * ROWS_PER_JOINT)) / PX_PER_IN
        edge = np.array([[-LENGTH_IN / 2, y], [LENGTH_IN / 2, y]])
        # Looking along +x the light wood, higher in the picture, lies on the left; the lobes' own seams lie well away.
        out.append(JointSite((k, k + 4), edge, edge, edge, edge + [0, 0.5], edge - [0, 0.5]))
    return out


def patch_of(image):
    return LinearPatch.cut(image, np.array([0, 0]), np.array([480, 1000]))


def widest(inner, outer):
    stations = np.linspace(0.04, LENGTH_IN - 0.06, 35) / LENGTH_IN
    return np.percentile(inner + (outer - inner) * stations, 95)


def test_the_made_camera_sees_the_plane_upright():
    assert CAMERA.px_from_plane(np.array([0.1, 0.2])) == pytest.approx([239.5 + 20, 499.5 - 40])


def test_errors_lie_inside_u95_as_often_as_they_should():
    inside = n = 0
    errors = []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        gaps = [tuple(rng.uniform(low, high, 2)) for low, high in ((0.001, 0.004), (0.004, 0.012), (0.010, 0.020), (0.02, 0.04))]
        found = measure_gaps(patch_of(picture(gaps, rng)), CAMERA, sites(), 0.0, 1 / 42)
        for (inner, outer), gap in zip(gaps, found, strict=True):
            assert isinstance(gap, GapFit)
            error = gap.max.value - widest(inner, outer)
            errors.append(abs(error))
            inside += abs(error) <= gap.max.u95
            n += 1
    # Chance of fewer inside than this if each lies inside with probability 0.95: under 2.5 %.
    too_few = sum(comb(n, k) * 0.95**k * 0.05 ** (n - k) for k in range(inside + 1))
    assert too_few > 0.025
    assert np.median(errors) < 0.0025


def test_a_wide_slit_is_measured_to_a_fraction_of_a_pixel():
    rng = np.random.default_rng(3)
    gaps = [(0.030, 0.030), (0.040, 0.040), (0.035, 0.025), (0.030, 0.040)]
    for (inner, outer), gap in zip(gaps, measure_gaps(patch_of(picture(gaps, rng)), CAMERA, sites(), 0.0, 1 / 42), strict=True):
        assert isinstance(gap, GapFit)
        assert gap.max.value == pytest.approx(widest(inner, outer), abs=0.0025)
        assert gap.inner.value == pytest.approx(inner, abs=0.004)
        assert gap.outer.value == pytest.approx(outer, abs=0.004)


FIELD = np.array([0.30, 0.44, 0.72])  # linear, B G R: as light as the light wood, but redder


def with_a_lit_slit(image, width_in, rng):
    """The picture with its first joint drawn anew: a wide slit whose floor lies in the light, darker only toward the dark wood."""
    width, v = width_in * PX_PER_IN, np.arange(ROWS_PER_JOINT) + 0.5 - ROWS_PER_JOINT / 2
    shade = 1 - 0.9 * np.exp(-np.maximum(width / 2 - v, 0) / 2.5)
    rows = np.where((v < -width / 2)[:, None], LIGHT, FIELD * shade[:, None])
    rows[v > width / 2] = DARK
    joint = gaussian_filter1d(np.repeat(rows[:, None], 480, axis=1), 1.0, axis=0)
    joint *= 1 + 0.04 * np.repeat(rng.normal(size=(1, 120, 1)), 4, axis=1) + 0.004 / np.sqrt(joint + 0.01) * rng.normal(size=joint.shape)
    image[20 : 20 + ROWS_PER_JOINT] = encoded(joint)
    return image


@pytest.mark.parametrize("width_in", [0.05, 0.065])
def test_a_slit_as_light_as_the_wood_is_told_by_the_fields_colour(width_in):
    rng = np.random.default_rng(8)
    image = with_a_lit_slit(picture([(0.01, 0.01)] * 4, rng), width_in, rng)
    code = encoded(FIELD) / 255
    tone = FieldTone(float(srgb_decode(code @ LUMA_BGR)), code[[0, 2]] / (code @ LUMA_BGR) - 1)
    grey = np.repeat(np.rint(image @ LUMA_BGR)[..., None], 3, axis=2).astype(np.uint8)
    # With the field's colour known and without: it differs from both woods'.
    for known in (tone, None):
        gap = measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42, known)[0]
        assert isinstance(gap, GapFit)
        assert abs(gap.max.value - width_in) <= gap.max.u95
        by_light_alone = measure_gaps(patch_of(grey), CAMERA, sites(), 0.0, 1 / 42, known)[0]
        assert isinstance(by_light_alone, GapFit)
        assert by_light_alone.max.u > 2 * gap.max.u


def test_a_shadow_whose_edge_is_the_strongest_is_not_taken_for_a_wood():
    rng = np.random.default_rng(8)
    image = picture([(0.01, 0.01)] * 4, rng)
    width, v = 0.045 * PX_PER_IN, np.arange(ROWS_PER_JOINT) + 0.5 - ROWS_PER_JOINT / 2
    floor, shadow_px = 0.75 * LIGHT, 4.0
    rows = np.where((v < -width / 2)[:, None], LIGHT, floor)
    rows[v > width / 2 - shadow_px] = 0.06 * floor
    rows[v > width / 2] = 1.6 * DARK
    joint = gaussian_filter1d(np.repeat(rows[:, None], 480, axis=1), 1.0, axis=0)
    joint *= 1 + 0.03 * np.repeat(rng.normal(size=(1, 120, 1)), 4, axis=1) + 0.004 / np.sqrt(joint + 0.01) * rng.normal(size=joint.shape)
    image[20 : 20 + ROWS_PER_JOINT] = encoded(joint)
    gap = measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42)[0]
    assert isinstance(gap, GapFit)
    assert abs(gap.max.value - 0.045) <= gap.max.u95


@pytest.mark.parametrize("black", [[0], [0, 1], [2], [0, 1, 2]])
def test_channels_that_are_black_make_no_number_of_nothing(black):
    image = picture([(0.008, 0.004), (0.012, 0.02), (0.03, 0.03), (0.002, 0.002)], np.random.default_rng(4))
    image[..., black] = 0
    dark = FieldTone(0.0 if len(black) == 3 else 0.02, np.full(2, -1.0))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for known in (None, dark):
            for gap in measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42, known):
                assert isinstance(gap, Reason) or np.isfinite([gap.max.value, gap.max.u, gap.mean_in, *gap.max_at_in]).all()


def test_a_wood_that_is_crushed_to_black_makes_no_number_of_nothing():
    image = picture([(0.008, 0.004), (0.012, 0.02), (0.03, 0.03), (0.002, 0.002)], np.random.default_rng(4))
    image[image < 130] = 0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for gap in measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42):
            assert isinstance(gap, Reason) or np.isfinite([gap.max.value, gap.max.u, gap.mean_in, *gap.max_at_in]).all()


def test_a_slit_as_wide_as_what_is_looked_at_is_not_told():
    rng = np.random.default_rng(11)
    found = measure_gaps(patch_of(picture([(0.104, 0.104)] + [(0.01, 0.01)] * 3, rng)), CAMERA, sites(), 0.0, 1 / 42)
    assert found[0] is Reason.EDGE_AMBIGUOUS
    assert isinstance(found[1], GapFit)


def test_a_mirrored_picture_gives_the_same_gaps():
    rng = np.random.default_rng(5)
    gaps = [(0.006, 0.012), (0.015, 0.008), (0.02, 0.02), (0.012, 0.03)]
    image = picture(gaps, rng)
    straight = measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42)
    # Upside down, the light wood lies on the right; the joints come in the opposite order.
    turned = measure_gaps(patch_of(np.ascontiguousarray(image[::-1])), CAMERA, sites(), 0.0, 1 / 42)[::-1]
    for one, other in zip(straight, turned, strict=True):
        assert isinstance(one, GapFit)
        assert isinstance(other, GapFit)
        assert one.max.value == pytest.approx(other.max.value, abs=0.5 * one.max.u95)


def test_the_widest_place_lies_at_the_wide_end():
    rng = np.random.default_rng(6)
    gaps = [(0.005, 0.02), (0.03, 0.01), (0.01, 0.02), (0.02, 0.03)]
    for (inner, outer), gap, site in zip(
        gaps, measure_gaps(patch_of(picture(gaps, rng)), CAMERA, sites(), 0.0, 1 / 42), sites(), strict=True
    ):
        assert isinstance(gap, GapFit)
        assert (gap.max_at_in[0] > 0) == (outer > inner)
        assert gap.max_at_in[1] == pytest.approx(site.ends_in[0, 1], abs=0.01)


def test_a_covered_joint_has_a_reason():
    rng = np.random.default_rng(7)
    image = picture([(0.01, 0.01)] * 4, rng)
    tape = encoded(np.array([0.45, 0.20, 0.06]))
    image[20:250, 60:420] = tape
    found = measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42)
    assert found[0] is Reason.JOINT_COVERED
    assert all(isinstance(gap, GapFit) for gap in found[1:])


def test_tape_over_a_part_leaves_the_rest_to_measure():
    rng = np.random.default_rng(8)
    gaps = [(0.02, 0.02)] * 4
    image = picture(gaps, rng)
    image[20:250, 200:300] = encoded(np.array([0.45, 0.20, 0.06]))
    gap = measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42)[0]
    assert isinstance(gap, GapFit)
    assert 0.6 < gap.measured_fraction < 0.8
    assert gap.max.value == pytest.approx(0.02, abs=gap.max.u95)


def test_a_picture_far_out_of_focus_gives_no_numbers():
    image = picture([(0.02, 0.02)] * 4, np.random.default_rng(10), blur_px=4.0)
    assert set(measure_gaps(patch_of(image), CAMERA, sites(), 0.0, 1 / 42)) == {Reason.PHOTO_SOFT}


def test_a_joint_outside_the_photo_has_a_reason():
    far = np.array([[30.0, 0.0], [31.5, 0.0]])
    site = JointSite((0, 1), far, far, far, far + [0, 0.5], far - [0, 0.5])
    image = np.full((1000, 480, 3), 128, np.uint8)
    assert measure_gap(patch_of(image), CAMERA, site, 0.0, 1 / 42) is Reason.JOINT_COVERED


def test_a_joint_with_the_field_is_not_guessed_at():
    site = sites()[0]
    field = JointSite((0, None), site.ends_in, site.ends_in, site.ends_in, site.left_axis_in, None)
    image = picture([(0.01, 0.01)] * 4, np.random.default_rng(9))
    assert measure_gap(patch_of(image), CAMERA, field, 0.0, 1 / 42) is Reason.FIELD_JOINT


@pytest.mark.parametrize("width", [0.4, 1.0, 5.0])
@pytest.mark.parametrize("lean", [-1.5, 0.0, 1.5])
def test_missing_light_is_the_width_times_the_darkness(width, lean):
    """In linear light blur moves light but loses none: a slit's share integrates to its width, its shades to closed forms."""
    u = np.arange(-30, 40, 0.05)
    reach = 4.0
    share = zones(u, np.array(width), np.array(1.0), np.array(1.0), lean, reach)
    total = share.sum(axis=1) * 0.05
    wall = min(abs(lean), width)
    assert total[2] == pytest.approx(wall, abs=1e-6)
    assert total[3] == pytest.approx(width - wall, abs=1e-6)
    first, last = (wall, width) if lean > 0 else (0.0, width - wall)
    # Darkness falls off by e over the reach from each wall's foot, where the camera's lean puts it.
    assert -total[4] == pytest.approx(reach * (exp((lean - first) / reach) - exp((lean - last) / reach)), abs=2e-4)
    assert -total[5] == pytest.approx(reach * (exp((last - width - lean) / reach) - exp((first - width - lean) / reach)), abs=2e-4)


def rose_of_eight(raised=1.0):
    lobes = []
    for ring, reach, root, short, first in ((1, 4.3, 0.0, 1.4, 0.0), (2, 4.0, 1.98, 1.0, np.pi / 4)):
        for k in range(4):
            bearing = first + k * np.pi / 2
            along, right = np.array([np.sin(bearing), np.cos(bearing)]), np.array([np.cos(bearing), -np.sin(bearing)])
            shoulder = root + (1.4 if ring == 1 else 0.5) * short / 1.4
            lobes.append(
                FoundLobe(
                    ring,
                    Kite(root * along, shoulder * along - short * right * 0.98, reach * along, shoulder * along + short * right * 0.98),
                    "cw",
                )
            )
    return FoundRose(np.zeros(2), tuple(lobes), raised)


def test_first_ring_lobes_meet_each_other_and_later_ones_their_neighbours():
    pairs = {site.lobes for site in joints_of(rose_of_eight())}
    assert {(0, 1), (1, 2), (2, 3), (3, 0)} <= pairs
    assert {(0, 4), (4, 1), (1, 5), (5, 2), (2, 6), (6, 3), (3, 7), (7, 0)} <= pairs
    assert len(pairs) == 12


def test_an_inlaid_rose_also_meets_the_field_along_every_long_edge():
    free = [site for site in joints_of(rose_of_eight(raised=0.0)) if None in site.lobes]
    assert len(free) == 16


def test_a_missing_lobe_leaves_no_joint():
    rose = rose_of_eight()
    without = FoundRose(rose.centre_in, rose.lobes[1:4], 1.0)
    assert {site.lobes for site in joints_of(without)} == {(0, 1), (1, 2)}


def test_loose_lobes_have_no_joints():
    assert joints_of(FoundRose(None, rose_of_eight().lobes, 1.0)) == []

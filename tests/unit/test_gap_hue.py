"""Colour's say in a joint's opening: its evidence against SciPy's multivariate normal, its blur against a known one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d
from scipy.stats import multivariate_normal

from seamcheck.edges import LUMA_BGR, srgb_decode, srgb_encode
from seamcheck.measure.gap_hue import USUAL_BLUR_PX, _evidence, colour_blur_px, hue_evidence, tints_of
from seamcheck.measure.gap_model import N_WOODS, JointData

FINE_PX = 0.02  # of what the made profiles are drawn on
LEFT, RIGHT, FIELD = np.array([0.30, 0.48, 0.60]), np.array([0.03, 0.05, 0.09]), np.array([0.10, 0.28, 0.50])  # linear, B G R
ACROSS_PX = np.concatenate([np.arange(-22.0, -5), np.arange(-5, 5.25, 0.5), np.arange(6.0, 23)])


def joint(slit_px, light_blur_px=0.9, colour_blur_px=2.5, blocks=4):
    """A joint whose slit begins at the left wood's edge, at 0; colour is blurred further than light, as code."""
    place = np.arange(-60, 60, FINE_PX)
    wood = np.where((place < 0)[:, None], LEFT, np.where((place < slit_px)[:, None], FIELD, RIGHT))
    code = srgb_encode(gaussian_filter1d(wood, light_blur_px / FINE_PX, axis=0))
    luma = code @ LUMA_BGR
    colour = gaussian_filter1d(code[:, [0, 2]] - luma[:, None], colour_blur_px / FINE_PX, axis=0)
    luma_here = np.interp(ACROSS_PX, place, luma)
    hue = np.stack([np.interp(ACROSS_PX, place, colour[:, k]) for k in range(2)], axis=1)
    along = (np.arange(blocks) + 0.5) / blocks
    light = np.tile(srgb_decode(luma_here), (blocks, 1))
    return JointData(
        light=light,
        weight=np.ones_like(light),
        across_px=ACROSS_PX,
        along=along,
        length=np.full(blocks, 1 / blocks),
        lit=np.ones(blocks),
        wood=np.array([0.5, 0.06]),
        woods_mean=np.zeros(N_WOODS),
        woods_u=np.ones((blocks, N_WOODS)),
        stripe=np.full(2, 0.02),
        lean_px=0.0,
        reach_px=4.0,
        blur_px=light_blur_px,
        hue=np.tile(hue, (blocks, 1, 1)),
    )


@pytest.mark.parametrize("blur_px", [1.2, 2.0, 3.5])
def test_the_colour_blur_is_told_by_closed_joints(blur_px):
    assert colour_blur_px([joint(0.0, colour_blur_px=blur_px)] * 3) == pytest.approx(blur_px, rel=0.15)


def test_one_gaping_joint_among_closed_ones_changes_no_blur():
    closed = joint(0.0)
    assert colour_blur_px([closed, closed, joint(12.0), closed, closed]) == colour_blur_px([closed] * 4)


def test_joints_of_one_colour_tell_no_blur():
    data = joint(0.0)
    grey = JointData(**{**vars(data), "hue": np.zeros_like(data.hue)})
    assert colour_blur_px([grey] * 4) == USUAL_BLUR_PX


@pytest.mark.parametrize("slit_px", [0.0, 4.0, 8.0, 12.0])
def test_the_true_opening_is_the_likeliest_by_colour_though_its_tint_is_unknown(slit_px):
    data, widths = joint(slit_px), np.arange(0.0, 16.5, 0.5)
    none = np.zeros((len(widths), 2))
    said = hue_evidence(data, tints_of(data, 2.5), widths, widths, np.zeros(len(widths), bool), none, None)
    assert widths[int(np.argmax(said))] == pytest.approx(slit_px, abs=1.0)
    # The same slit, told from its right edge or with a start of its own, is the same slit.
    at_right = JointData(**{**vars(data), "across_px": ACROSS_PX - slit_px})
    mirrored = hue_evidence(at_right, tints_of(at_right, 2.5), widths, widths, np.ones(len(widths), bool), none, None)
    started = hue_evidence(at_right, tints_of(at_right, 2.5), widths, widths, np.zeros(len(widths), bool), none - widths[:, None], None)
    assert mirrored == pytest.approx(started)
    assert widths[int(np.argmax(mirrored))] == pytest.approx(slit_px, abs=1.0)


def test_nothing_is_said_where_a_wood_is_not_seen():
    data = joint(4.0)
    hidden = JointData(**{**vars(data), "hue": np.where((ACROSS_PX > 0)[:, None], np.nan, data.hue)})
    assert tints_of(hidden, 2.5) is None
    widths = np.array([1.0, 4.0])
    said = hue_evidence(hidden, None, widths, widths, np.zeros(2, bool), np.zeros((2, 2)), None)
    assert said.tolist() == [0.0, 0.0]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(1, 4), st.integers(4, 9))
def test_the_evidence_is_that_of_the_whole_normal_distribution(seed, n_blocks, k, n_bins):
    rng = np.random.default_rng(seed)
    n = 3
    basis, missing = rng.normal(size=(n, n_blocks, k + 1, n_bins)), rng.normal(size=(n, n_blocks, n_bins))
    weight, u, u_shared = rng.uniform(0.5, 3, (n_blocks, n_bins)), rng.uniform(0.1, 2, k), float(rng.uniform(0.1, 2))
    by_block, shared = _evidence(basis, missing, weight, u, u_shared)
    whole = []
    for one, left in zip(basis, missing, strict=True):
        size = n_blocks * n_bins
        cov = np.diag(1 / weight.ravel())
        common = one[:, k].reshape(size)
        cov += u_shared**2 * np.outer(common, common)
        for block in range(n_blocks):
            rows = slice(block * n_bins, (block + 1) * n_bins)
            cov[rows, rows] += one[block, :k].T @ np.diag(u**2) @ one[block, :k]
        whole.append(multivariate_normal(np.zeros(size), cov).logpdf(left.ravel()))
    ours = by_block.sum(axis=1) + shared
    assert ours - ours[0] == pytest.approx(np.array(whole) - whole[0], abs=1e-6)

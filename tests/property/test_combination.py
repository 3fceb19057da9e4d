"""What holds for any photos that are combined."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seamcheck.basis.uncertain import Estimate
from seamcheck.combine.fit import together
from seamcheck.combine.numbers import combined, disagreement
from tests.made_up_fit import rose, seen

sizes = st.floats(1e-4, 0.02)
signed = st.floats(-0.02, 0.02)
shares = st.floats(0, 3)


@st.composite
def estimates(draw: st.DrawFn) -> Estimate:
    shift = (draw(signed), draw(signed))
    parts = {"edges": draw(sizes), "seam": draw(sizes), "edges model": draw(sizes), "print": float(np.hypot(*shift))}
    return Estimate(draw(st.floats(-0.1, 0.1)), parts, {"print": shift})


several = st.lists(estimates(), min_size=2, max_size=5)


@given(several, shares, st.randoms())
def test_the_order_of_the_photos_does_not_matter(photos: list[Estimate], share: float, random: object) -> None:
    other = list(photos)
    random.shuffle(other)
    a, b = combined(photos, share), combined(other, share)
    assert a.value == pytest.approx(b.value, abs=1e-9)
    assert a.u == pytest.approx(b.u, rel=1e-6)
    assert disagreement(photos) == pytest.approx(disagreement(other), rel=1e-4, abs=1e-6)


@given(several, st.floats(0, 1))
def test_the_mean_is_among_its_values_and_no_worse_than_the_worst(photos: list[Estimate], share: float) -> None:
    result = combined(photos, share)
    assert result.u <= max(photo.u for photo in photos) * (1 + 1e-6)
    assert min(photo.value for photo in photos) - 1e-12 <= result.value <= max(photo.value for photo in photos) + 1e-12


@given(estimates(), st.lists(signed, min_size=1, max_size=5), st.floats(0, 1))
def test_more_photos_that_are_as_sure_make_it_surer(photo: Estimate, by: list[float], share: float) -> None:
    result = combined([photo, *(replace(photo, value=photo.value + one) for one in by)], share)
    assert result.u <= photo.u * (1 + 1e-9)


@given(several, shares)
def test_model_errors_never_average_out(photos: list[Estimate], share: float) -> None:
    assert combined(photos, share).parts["edges model"] >= min(photo.parts["edges model"] for photo in photos) * (1 - 1e-9)


@given(estimates(), st.integers(2, 6), st.floats(0, 1))
def test_a_photo_with_itself_shrinks_no_shared_part(photo: Estimate, count: int, share: float) -> None:
    result = combined([photo] * count, share)
    assert result.value == pytest.approx(photo.value)
    for name in ("edges model", "print"):
        assert result.parts[name] == pytest.approx(photo.parts[name], rel=1e-6, abs=1e-12)
    for name in ("edges", "seam"):
        expected = photo.parts[name] * np.sqrt(share / count + 1 - share)
        assert result.parts[name] == pytest.approx(expected, rel=1e-6)
    assert disagreement([photo] * count) == pytest.approx(0, abs=1e-9)


@given(several, st.floats(-1, 1))
def test_a_common_error_is_no_disagreement(photos: list[Estimate], by: float) -> None:
    shifted = [replace(photo, value=photo.value + by) for photo in photos]
    assert disagreement(shifted) == pytest.approx(disagreement(photos), rel=1e-3, abs=1e-5)


@settings(max_examples=25, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(0, 2 * np.pi), st.integers(0, 5), st.sampled_from([4, 6, 8, 12]))
def test_the_phones_turn_changes_no_number(first: float, second: float, seed: int, points: int) -> None:
    lobes = rose(np.random.default_rng(seed), points)
    turned = together([seen(lobes, "a.jpg"), seen(lobes, "b.jpg", second)])
    again = together([seen(lobes, "a.jpg", first), seen(lobes, "b.jpg", first + second)])
    # Numbers by lobe: matched through their reach, which the made-up lobes don't have in common.
    by_reach = sorted((tip.reach.value, tip.seam_offset.value, tip.seam_offset.u95) for tip in turned.tips)
    other = sorted((tip.reach.value, tip.seam_offset.value, tip.seam_offset.u95) for tip in again.tips)
    assert np.allclose(by_reach, other, atol=1e-9)
    truth = sorted((lobe.reach_in, lobe.offset_in) for lobe in lobes)
    assert np.allclose([row[:2] for row in by_reach], truth, atol=1e-9)

"""The open field's light and colour round a made-up rose."""

import numpy as np
import pytest

from seamcheck.edges import LUMA_BGR, LinearPatch, srgb_decode
from seamcheck.kite import FoundLobe, FoundRose, Kite
from seamcheck.measure.gap_field import field_tone
from tests.made_up_tops import FIELD, HEIGHT, WIDTH, camera_above, picture, rose

MADE = rose(8, bearing=0.2, centre_in=(0.3, -0.2))


def found(centre_in) -> FoundRose:
    return FoundRose(centre_in, tuple(FoundLobe(1, Kite(*lobe.corners_in), lobe.dark_side) for lobe in MADE), 1.0)


def test_lobes_and_cards_are_left_out():
    drawn = picture(MADE)
    card = np.array([[2.0, 2.0], [5.0, 2.0], [5.0, 5.0], [2.0, 5.0]])
    column, row = camera_above().px_from_plane(card).astype(int).T
    drawn[row.min() : row.max(), column.min() : column.max()] = 255
    tone = field_tone(LinearPatch(drawn, 0, 0), camera_above(), found(np.array([0.3, -0.2])), [card])
    luma = np.array(FIELD) @ LUMA_BGR
    assert tone is not None
    assert tone.light == pytest.approx(float(srgb_decode(luma / 255)), rel=0.03)
    assert tone.hue == pytest.approx((np.array(FIELD)[[0, 2]] - luma) / luma, abs=0.02)


def test_nothing_is_said_where_no_field_shows():
    cards = [np.array([[-9.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-9.0, 9.0]])]
    patch = LinearPatch(picture(MADE), 0, 0)
    assert field_tone(patch, camera_above(), found(np.array([0.3, -0.2])), cards) is None
    assert field_tone(patch, camera_above(), found(None), []) is None
    assert patch.size_px == (WIDTH, HEIGHT)

"""The open field's light round a made-up rose."""

import numpy as np
import pytest

from seamcheck.edges import LUMA_BGR, LinearPatch, srgb_decode
from seamcheck.kite import FoundLobe, FoundRose, Kite
from seamcheck.measure.gap_field import field_light
from tests.made_up_tops import FIELD, HEIGHT, WIDTH, camera_above, picture, rose

MADE = rose(8, bearing=0.2, centre_in=(0.3, -0.2))


def found(centre_in) -> FoundRose:
    return FoundRose(centre_in, tuple(FoundLobe(1, Kite(*lobe.corners_in), lobe.dark_side) for lobe in MADE), 1.0)


def test_lobes_and_cards_are_left_out():
    drawn = picture(MADE)
    card = np.array([[2.0, 2.0], [5.0, 2.0], [5.0, 5.0], [2.0, 5.0]])
    column, row = camera_above().px_from_plane(card).astype(int).T
    drawn[row.min() : row.max(), column.min() : column.max()] = 255
    light = field_light(LinearPatch(drawn, 0, 0), camera_above(), found(np.array([0.3, -0.2])), [card])
    assert light == pytest.approx(float(srgb_decode(np.array(FIELD) @ LUMA_BGR / 255)), rel=0.03)


def test_nothing_is_said_where_no_field_shows():
    cards = [np.array([[-9.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-9.0, 9.0]])]
    patch = LinearPatch(picture(MADE), 0, 0)
    assert field_light(patch, camera_above(), found(np.array([0.3, -0.2])), cards) is None
    assert field_light(patch, camera_above(), found(None), []) is None
    assert patch.size_px == (WIDTH, HEIGHT)

"""What the finder looks at: a flattened view as logarithmic light, with everything that isn't wood masked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..basis.frames import Array
from ..edges import SRGB_TO_LINEAR
from ..plane.rectify import FlatView

Floats = NDArray[np.float32]

# Added to linear light before the logarithm: about the noise floor of a phone's JPEG in the shadows.
LIGHT_FLOOR = 0.01

# A card's outline is grown by this for its paper's thickness, its shadow and its outline's own error.
CARD_RIM_IN = 0.12

# Wood is never bluer or greener than the cards' white paper; painter's tape is, by far. In natural logarithm of linear
# light: how far blue, or green, may stand above red, beside what it does on the paper.
TAPE_LOG_RATIO = 0.3

# The paper is the brightest of a card: so large a share of it is surely white.
WHITE_SHARE = 0.25

# The tape's edge is soft by a pixel or two, and casts a narrow shadow.
TAPE_RIM_IN = 0.05


@dataclass(frozen=True)
class LogLight:
    """Three opponent channels of a flattened view: brightness, red less green, blue less green (natural logarithms)."""

    channels: Floats  # (h, w, 3)
    wood: Floats  # (h, w) 1 where wood may show, 0 on cards, coloured tape and outside the photo
    view: FlatView
    white: Array | None  # (3,) the cards' paper, in the same channels; None without cards

    def limited_steps(self) -> Floats:
        """(3, h, w, 2): each channel's gradient (right, down), limited to length 1 where it is well above the usual.

        Zero beside and on what is masked. The limit keeps strong edges (tape, cards' rims) from outvoting wood.
        """
        import cv2

        inner = cv2.erode(self.wood, np.ones((3, 3), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
        steps = np.empty((3, *self.wood.shape, 2), np.float32)
        for i in range(3):
            channel = np.ascontiguousarray(self.channels[..., i])
            right = cv2.Scharr(channel, cv2.CV_32F, 1, 0) * inner
            down = cv2.Scharr(channel, cv2.CV_32F, 0, 1) * inner
            square = right * right + down * down
            usual = float(square.sum() / max(float(inner.sum()), 1.0)) + 1e-12
            limit = 1 / np.sqrt(square + usual)
            steps[i, ..., 0], steps[i, ..., 1] = right * limit, down * limit
        return steps


def sample(picture: Floats, view: FlatView, xy_in: Array) -> Floats:
    """A picture of the view (h, w) or (h, w, c) at plane points (..., 2), bilinear; 0 outside."""
    import cv2

    px = view.px_of(xy_in).astype(np.float32)
    flat = px.reshape(-1, px.shape[-2], 2) if px.ndim > 2 else px.reshape(1, -1, 2)
    column, row = np.ascontiguousarray(flat[..., 0]), np.ascontiguousarray(flat[..., 1])
    out = cv2.remap(picture, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return out.reshape(px.shape[:-1] + picture.shape[2:])


def log_light(view: FlatView, card_outlines_in: Sequence[Array], white: Array | None = None) -> LogLight:
    """The view's logarithmic light, with cards, coloured tape and the unseen masked.

    white: `LogLight.white` of a view that shows the cards whole; without it the paper is looked for in this one.
    """
    import cv2

    table = np.log(SRGB_TO_LINEAR + LIGHT_FLOOR)
    log = cv2.LUT(view.picture, table)
    blue, green, red = log[..., 0], log[..., 1], log[..., 2]
    channels = np.stack([(blue + green + red) / 3, red - green, blue - green], axis=-1)
    if white is None:
        white = _white(channels, view, card_outlines_in)
    _, red_less_green, blue_less_green = np.zeros(3) if white is None else white
    greener = red_less_green - channels[..., 1]
    bluer = channels[..., 2] - channels[..., 1] - (blue_less_green - red_less_green)
    tape = (np.maximum(bluer, greener) > TAPE_LOG_RATIO).astype(np.uint8)
    tape = cv2.morphologyEx(tape, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    rim = 2 * int(np.ceil(TAPE_RIM_IN * view.px_per_in)) + 1
    wood = (view.seen & (cv2.dilate(tape, np.ones((rim, rim), np.uint8)) == 0)).astype(np.uint8)
    for card in card_outlines_in:
        away = card - card.mean(axis=0)
        grown = card + CARD_RIM_IN * np.sign(away @ _axes_of(card).T) @ _axes_of(card)
        cv2.fillPoly(wood, [np.round(view.px_of(grown)).astype(np.int32)], 0)
    return LogLight(channels.astype(np.float32), wood.astype(np.float32), view, white)


def _white(channels: Floats, view: FlatView, card_outlines_in: Sequence[Array]) -> Array | None:
    """(3,) the cards' white paper, middle of what shows of all cards; None if none shows."""
    import cv2

    cards = np.zeros(channels.shape[:2], np.uint8)
    for card in card_outlines_in:
        cv2.fillPoly(cards, [np.round(view.px_of(card)).astype(np.int32)], 1)
    colours = channels[(cards > 0) & view.seen]
    if not len(colours):
        return None
    brightness = colours[:, 0]
    return np.median(colours[brightness >= np.quantile(brightness, 1 - WHITE_SHARE)], axis=0).astype(float)


def _axes_of(card: Array) -> Array:
    """(2, 2) unit vectors along a card's two sides."""
    along, across = card[1] - card[0], card[2] - card[1]
    return np.stack([along / np.linalg.norm(along), across / np.linalg.norm(across)])

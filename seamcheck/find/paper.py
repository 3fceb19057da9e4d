"""Whether a rose is a picture on paper: it lies in a box of the cards' own white.

A picture printed to the paper's very edge can't be told from a square panel in one photo; nothing is said of it then.
"""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array
from .light import LogLight

# Paper is as white as the cards' paper: red less green and blue less green this near to theirs (logarithmic light; another lamp's
# share), and not darker than this (shade).
NEAR_WHITE, NOT_DARKER = 0.15, 1.0

# What a paper's margin encloses is a box: so much of the least rectangle round it is full. A round top fills 0.79.
LEAST_FULL = 0.87

# So much of the box's rim is white, the rest lying under cards; and the margin is at least this wide (inches): no stringing is.
LEAST_WHITE_RIM, LEAST_MARGIN_IN = 0.6, 0.15


def is_on_paper(light: LogLight, centre_in: Array) -> bool:
    """Whether a margin of paper closes round what lies at `centre_in`. The view should have about 12 px/in."""
    import cv2

    if light.white is None:
        return False
    away = light.channels - light.white
    free = light.wood > 0
    paper = free & (np.abs(away[..., 1:]) < NEAR_WHITE).all(axis=2) & (away[..., 0] > -NOT_DARKER)
    paper &= cv2.morphologyEx(paper.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)) > 0
    # Ground that isn't paper, joined to the rose; cards and tape are walls.
    _, number = cv2.connectedComponents((free & ~paper).astype(np.uint8), connectivity=4)
    column, row = np.clip(np.round(light.view.px_of(centre_in)).astype(int), 0, np.array(free.shape[::-1]) - 1)
    near = number[max(row - 6, 0) : row + 7, max(column - 6, 0) : column + 7]
    near = near[near > 0]
    if not len(near):
        return False
    inside = (number == np.bincount(near).argmax()).astype(np.uint8)
    outlines, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=cv2.contourArea)
    width, height = cv2.minAreaRect(outline)[1]
    if cv2.contourArea(outline) < LEAST_FULL * width * height:
        return False
    filled = cv2.drawContours(np.zeros_like(inside), [outline], -1, 1, -1)
    margin = round(LEAST_MARGIN_IN * light.view.px_per_in)
    rim = (cv2.dilate(filled, np.ones((2 * margin + 1, 2 * margin + 1), np.uint8)) > 0) & (filled == 0)
    if not rim.any() or (paper & rim).sum() < LEAST_WHITE_RIM * rim.sum():
        return False
    # The paper ends within the photo: a white bench round a square panel doesn't.
    _, sheet = cv2.connectedComponents(paper.astype(np.uint8), connectivity=8)
    mine = np.isin(sheet, np.unique(sheet[rim & paper]))
    unseen = cv2.dilate((~light.view.seen).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    unseen[[0, -1]], unseen[:, [0, -1]] = True, True
    return not bool((mine & unseen).any())

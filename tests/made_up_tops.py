"""Made-up tops seen by a made-up camera straight above, for tests of the finder. Nothing here is a photograph."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from seamcheck.basis.frames import Array, right_of, unit_of_bearing
from seamcheck.plane.camera import Camera

WIDTH, HEIGHT, PPI = 880, 800, 40.0

DARK, LIGHT, FIELD, BENCH = (52, 66, 96), (150, 190, 222), (84, 120, 176), (120, 128, 132)  # B G R code values


def camera_above() -> Camera:
    """40 px/in, straight above the plane's origin, no distortion, 20 in high."""
    over = np.array([np.pi, 0.0, 0.0])  # the camera looks down: v runs against y
    return Camera(PPI * 20, 1.0, (WIDTH - 1) / 2, (HEIGHT - 1) / 2, 0, 0, 0, 0, over, np.array([0.0, 0.0, 20.0]))


@dataclass(frozen=True)
class MadeUpLobe:
    ring: int
    corners_in: Array  # (4, 2) root, left, tip, right
    dark_side: str


def rose(
    count: int,
    *,
    notch_in: float = 1.5,
    reach_in: float = 4.0,
    second: tuple[float, float] | None = None,
    centre_in: tuple[float, float] = (0.0, 0.0),
    bearing: float = 0.0,
    dark_side: str = "ccw",
    turned_over: tuple[int, ...] = (),
) -> list[MadeUpLobe]:
    """A closed rose; `second` is the second ring's short edge and reach; `turned_over` numbers lobes laid the other way round."""
    half = np.pi / count
    shoulder = notch_in * np.array([np.sin(half), np.cos(half)])
    shapes = [(1, 0.0, np.array([[0, 0], [-shoulder[0], shoulder[1]], [0, reach_in], shoulder]))]
    if second is not None:
        short, reach = second
        root = np.array([0.0, notch_in])
        along = reach_in * np.array([np.sin(half), np.cos(half)]) - root
        along = short * along / np.linalg.norm(along)
        shapes.append((2, half, np.array([root, root + along * [-1, 1], [0, reach], root + along])))
    lobes = []
    for ring, turn, corners in shapes:
        for k in range(count):
            outward = unit_of_bearing(bearing + turn + 2 * half * k)
            placed = np.array(centre_in) + corners[:, :1] * right_of(outward) + corners[:, 1:] * outward
            side = dark_side if len(lobes) not in turned_over else {"cw": "ccw", "ccw": "cw"}[dark_side]
            lobes.append(MadeUpLobe(ring, placed, side))
    return lobes


def picture(
    lobes: list[MadeUpLobe], *, ground: tuple[int, int, int] = FIELD, top_radius_in: float | None = 8.5, grain: float = 0.06, seed: int = 0
) -> np.ndarray:
    """(HEIGHT, WIDTH, 3) B G R: lobes on a round top of `ground` (or on a bench of it, without a radius).

    `grain` is how strongly, as a share of its light, all wood is streaked.
    """
    drawn = np.zeros((HEIGHT, WIDTH, 3), np.float32)
    drawn[:] = BENCH if top_radius_in is not None else ground
    if top_radius_in is not None:
        cv2.circle(drawn, (WIDTH // 2, HEIGHT // 2), round(top_radius_in * PPI), ground, -1, cv2.LINE_AA)
    for lobe in lobes:
        root, left, tip, right = lobe.corners_in
        for shoulder, is_dark in ((left, lobe.dark_side == "ccw"), (right, lobe.dark_side == "cw")):
            fill(drawn, np.stack([root, shoulder, tip]), DARK if is_dark else LIGHT)
    rng = np.random.default_rng(seed)
    lines = cv2.GaussianBlur(rng.normal(0, 1, drawn.shape[:2]).astype(np.float32), (0, 0), sigmaX=12, sigmaY=1.2)
    drawn *= 1 + grain * lines[..., None] / lines.std()
    drawn += rng.normal(0, 2.5, drawn.shape)
    return np.clip(np.round(cv2.GaussianBlur(drawn, (0, 0), 0.7)), 0, 255).astype(np.uint8)


def fill(drawn: np.ndarray, polygon_in: Array, colour: tuple[int, int, int]) -> None:
    """Fill a convex polygon of plane points; a pixel on its edge is covered by as much as its distance from the edge says.

    (cv2.fillPoly makes polygons half a pixel too large all round.)
    """
    px = camera_above().px_from_plane(polygon_in)
    low = np.clip(np.floor(px.min(axis=0)).astype(int) - 1, 0, [WIDTH, HEIGHT])
    high = np.clip(np.ceil(px.max(axis=0)).astype(int) + 2, 0, [WIDTH, HEIGHT])
    v, u = np.mgrid[low[1] : high[1], low[0] : high[0]]
    inward = np.full(u.shape, np.inf)
    turns = np.sign(np.cross(np.append(px[1] - px[0], 0), np.append(px[2] - px[1], 0))[2])
    for start, end in zip(px, np.roll(px, -1, axis=0), strict=True):
        along = end - start
        if np.hypot(*along) > 1e-9:
            inward = np.minimum(inward, turns * (along[0] * (v - start[1]) - along[1] * (u - start[0])) / np.hypot(*along))
    cover = np.clip(inward + 0.5, 0, 1)[..., None]
    piece = drawn[low[1] : high[1], low[0] : high[0]]
    piece += cover * (np.array(colour) - piece)


def wheel(pairs: int, radius_in: float = 3.5) -> np.ndarray:
    """A top with a wheel of dark and light wedges: an inlay that is no rose."""
    drawn = picture([]).astype(np.float32)
    for k in range(2 * pairs):
        edges = unit_of_bearing(np.pi / pairs * np.linspace(k, k + 1, 8))
        fill(drawn, np.vstack([np.zeros((1, 2)), radius_in * edges]), DARK if k % 2 else LIGHT)
    return np.clip(drawn, 0, 255).astype(np.uint8)


def blades(count: int, reach_in: float = 3.6) -> np.ndarray:
    """A top with a star of one-sided dark blades: one long edge to a point."""
    drawn = picture([]).astype(np.float32)
    for k in range(count):
        point, foot = reach_in * unit_of_bearing(2 * np.pi * np.array([k, k + 1]) / count)
        fill(drawn, np.stack([np.zeros(2), point, foot / 2]), DARK)
    return np.clip(drawn, 0, 255).astype(np.uint8)


def pinwheel(pairs: int, radius_in: float = 3.6, bend: float = 0.5) -> np.ndarray:
    """A top with a wheel whose wedges are bent by `bend` (rad an inch)."""
    xy = _places()
    bearing = np.arctan2(xy[..., 0], xy[..., 1]) - bend * np.hypot(*np.moveaxis(xy, -1, 0))
    return _patterned(np.floor(bearing / np.pi * pairs) % 2, np.hypot(*np.moveaxis(xy, -1, 0)) < radius_in)


def chequer(field_in: float, half_in: float, turn: float = 0.0) -> np.ndarray:
    """A top with a square chequer turned clockwise by `turn`."""
    cos, sin = np.cos(turn), np.sin(turn)
    across, along = np.moveaxis(_places() @ np.array([[cos, sin], [-sin, cos]]), -1, 0)
    parity = (np.floor(across / field_in) + np.floor(along / field_in)) % 2
    return _patterned(parity, np.maximum(np.abs(across), np.abs(along)) < half_in)


def tumbling_blocks(side_in: float, radius_in: float) -> np.ndarray:
    """A top with a disc of rhombs in three woods that look like cubes."""
    x, y = np.moveaxis(_places() / side_in, -1, 0)
    axial = np.stack([2 / 3 * x, -x / 3 + y / np.sqrt(3), -x / 3 - y / np.sqrt(3)])
    whole = np.round(axial)
    worst = np.abs(whole - axial).argmax(axis=0)
    sums = whole.sum(axis=0)
    for k in range(3):  # hexagons' middles: cubic coordinates that add up to nothing
        whole[k] -= np.where(worst == k, sums, 0)
    away_x, away_y = x - 1.5 * whole[0], y - np.sqrt(3) * (whole[1] + whole[0] / 2)
    face = np.floor((np.arctan2(away_y, away_x) + np.pi) / (2 * np.pi / 3)) % 3
    return _patterned(face, np.hypot(x, y) * side_in < radius_in, (LIGHT, DARK, (90, 130, 190)))


PAPER = (236, 238, 240)


def picture_of_a_rose(share: float, margin_in: float, ground: tuple[int, int, int] = FIELD) -> np.ndarray:
    """A square print of a rose on its field, `share` of full size, with a white margin, lying on ground."""
    printed = picture(rose(4, second=(1.1, 3.5)), top_radius_in=None)
    small = cv2.resize(printed, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    half, margin = round(4.6 * PPI * share), round(margin_in * PPI)
    row, column = small.shape[0] // 2, small.shape[1] // 2
    drawn = picture([], ground=ground, top_radius_in=None).astype(np.float32)
    row_on, column_on = HEIGHT // 2, WIDTH // 2
    drawn[row_on - half - margin : row_on + half + margin, column_on - half - margin : column_on + half + margin] = PAPER
    drawn[row_on - half : row_on + half, column_on - half : column_on + half] = small[
        row - half : row + half, column - half : column + half
    ]
    drawn += np.random.default_rng(4).normal(0, 2, drawn.shape)
    return np.clip(drawn, 0, 255).astype(np.uint8)


def with_cards(photo: np.ndarray, outlines_in: list[Array]) -> np.ndarray:
    """Plain white cards laid on a photo."""
    drawn = photo.astype(np.float32)
    for outline in outlines_in:
        fill(drawn, outline, PAPER)
    return np.clip(drawn, 0, 255).astype(np.uint8)


def _places() -> Array:
    v, u = np.mgrid[:HEIGHT, :WIDTH]
    return camera_above().plane_from_px(np.stack([u, v], axis=-1).astype(float))


def _patterned(number: Array, within: Array, colours: tuple[tuple[int, int, int], ...] = (LIGHT, DARK)) -> np.ndarray:
    """A top on which the places within are coloured by number."""
    drawn, plain = picture([]).astype(np.float32), picture([], grain=0.06).astype(np.float32)
    figure = plain / cv2.GaussianBlur(plain, (0, 0), 15)
    for k, colour in enumerate(colours):
        mine = within & (number == k)
        drawn[mine] = np.array(colour) * figure[mine]
    return np.clip(cv2.GaussianBlur(drawn, (0, 0), 0.7), 0, 255).astype(np.uint8)

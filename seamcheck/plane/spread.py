"""How far the camera may be off, source by source, from the normal matrix of the plane's solve.

The solve's answer is a linear function of the cards' saddles and of the priors' middles. So its covariance P is a sum,
P = P S P + sum over k of P e_k e_k' P / u_k^2, where S is the saddles' information and u_k the k-th prior's standard
uncertainty: what the noise at the saddles does to the answer, and what each prior's own error does (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..basis.frames import Array
from .camera import Camera

# What the cards are and how they were printed is the same unknown in every photo of them: each keeps a move of its own.
PRINT, PAPER = "print", "card's thickness"
FOCAL, LENS, CARDS = "focal length", "lens", "cards"
KNOWN = "known length"  # in the cards' place
# Each prior of the shared unknowns, in their order; None: it has none.
PRIOR_SOURCES = (FOCAL, LENS, LENS, LENS, LENS, LENS, LENS, LENS, None, None, None, PRINT, PRINT, PAPER)
CAMERA_UNKNOWNS = 11
# Moves that shift places on the plane by less than this, root mean square, are left out: a fifteenth of the smallest uncertainties.
NEGLIGIBLE_IN = 3e-5
GRID = 5  # places along each side of the photo at which moves are looked at
FACE_IN = 0.03  # and how high over the field, besides on it


def camera_moves(saddles: Array, u_prior: Array) -> list[tuple[str, Array]]:
    """(source, (11,) move of the camera's unknowns) one standard uncertainty long, independent of each other.

    saddles: (n, n) information of the saddles alone; u_prior: (14,), infinite where there is no prior.
    """
    information = saddles.copy()
    shared = np.arange(len(u_prior))
    information[shared, shared] += u_prior**-2.0
    covariance = np.linalg.inv(information)
    camera = covariance[:CAMERA_UNKNOWNS]
    moves = [(source, camera[:, k] / u_prior[k]) for k, source in enumerate(PRIOR_SOURCES) if source is not None]
    seen = camera @ saddles @ camera.T
    scale = np.sqrt(np.maximum(np.diag(seen), 1e-300))
    values, vectors = np.linalg.eigh(seen / np.outer(scale, scale))
    keep = values > 1e-9
    return moves + [(CARDS, move) for move in (scale[:, None] * vectors[:, keep] * np.sqrt(values[keep])).T]


def variants(
    moves: Sequence[tuple[str, Array]], unknowns: Array, camera_of: Callable[[Array], Camera], size_px: tuple[int, int]
) -> tuple[tuple[str, Camera], ...]:
    """The cameras one standard uncertainty away, the lens's and the cards' turned among themselves so that few of them matter."""
    best = camera_of(unknowns)
    u, v = np.meshgrid(np.linspace(0, size_px[0] - 1, GRID), np.linspace(0, size_px[1] - 1, GRID))
    px = np.stack([u.ravel(), v.ravel()], axis=-1)
    places = _places(best, px)

    def moved(move: Array) -> Camera:
        changed = unknowns.copy()
        changed[:CAMERA_UNKNOWNS] += move
        return camera_of(changed)

    result = [(source, moved(move)) for source, move in moves if source not in (LENS, CARDS)]
    for group in (LENS, CARDS):
        mine = np.array([move for source, move in moves if source == group])
        effect = np.array([_without_rigid(_places(moved(move), px) - places, places).ravel() for move in mine])
        if not np.isfinite(effect).all():
            result += [(group, moved(move)) for move in mine]
            continue
        turn, _, _ = np.linalg.svd(effect, full_matrices=False)
        matters = np.sqrt(np.mean((turn.T @ effect) ** 2, axis=1)) > NEGLIGIBLE_IN
        result += [(group, moved(move)) for move in (turn.T @ mine)[matters]]
    return tuple(result)


def relative_spread(best: Camera, others: Sequence[Camera], size_px: tuple[int, int]) -> float:
    """Standard uncertainty of lengths about the photo's middle, relative: root mean square over the two directions."""
    width, height = size_px
    px = np.array([[width / 3, height / 2], [2 * width / 3, height / 2], [width / 2, height / 3], [width / 2, 2 * height / 3]])

    def lengths(camera: Camera) -> Array:
        places = camera.plane_from_px(px)
        return np.hypot(*(places[1::2] - places[::2]).T)

    return float(np.sqrt(sum(np.mean(np.log(lengths(camera) / lengths(best)) ** 2) for camera in others)))


def _places(camera: Camera, px: Array) -> Array:
    """(2 n, 2): what the pixels show on the field, and at the height of a face over it."""
    return camera.plane_from_px(np.concatenate([px, px]), np.repeat([0.0, FACE_IN], len(px)))


def _without_rigid(shift: Array, places: Array) -> Array:
    """Shifts (n, 2) less what merely moves or turns the plane as a whole, which no number sees."""
    centred = places - places.mean(axis=0)
    turned = np.stack([centred[:, 1], -centred[:, 0]], axis=-1)
    shift = shift - shift.mean(axis=0)
    return shift - turned * (np.sum(shift * turned) / np.sum(turned**2))

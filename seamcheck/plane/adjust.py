"""Camera, plane and every card in one robust least-squares adjustment (bundle adjustment over a plane).

Unknowns together: the camera (focal length, aspect, principal point, two radial and two tangential lens
terms), its tilt and height over the plane, the print's scale across and along the paper, the cards' thickness,
and (x, y, angle) of every card. Each has a prior; the cards' saddle points are the observations. The normal
matrix gives the covariance from which every later uncertainty starts (JCGM 100:2008, 5.2; Huber weights).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..basis.frames import Array, pair
from ..cards.detect import SeenCard
from ..cards.geometry import PAPER_THICKNESS_IN
from ..cards.print_check import PrintScale
from .camera import Camera, rotation_from_vector, shown_px

# 35 mm film frame's diagonal, mm: what EXIF's equivalent focal length refers to (CIPA DC-008).
FILM_DIAGONAL_MM = 43.2666
# A phone's main camera is near 26 mm equivalent; with no EXIF anything from ultra-wide to short tele is likely (common practice,
# no source).
USUAL_FOCAL_MM = 26.0
U_LOG_FOCAL_UNKNOWN = 0.35
# EXIF rounds the equivalent to a millimetre, and makers round more freely than that; focusing close lengthens it.
U_LOG_FOCAL_EXIF = 0.04
U_ASPECT = 1e-3
# The optical axis, as a share of the photo's longer side: in a whole photo, and in one that somebody may have cropped.
U_PRINCIPAL, U_PRINCIPAL_CROPPED = 0.004, 0.15
# k1, k2: what a phone's own correction leaves, and what an uncorrected wide-angle lens does (common practice, no source).
U_RADIAL, U_RADIAL_WIDE = 0.04, 0.3
U_TANGENTIAL = 7e-4
U_CARD_THICKNESS_IN = 0.004  # bare paper, or glued to thin card
# How differently two sheets are printed: 97 % is what "fit to page" makes of a sheet (common practice, no source).
U_LOG_SHEET = 0.03
# Huber's limit, px: what a saddle misses by beyond this weighs less.
HUBER_PX = 0.15
MAX_STEPS = 40
SHARED = 14  # unknowns that all cards share
STEP = 1e-6  # of the difference quotients; a thousand times as much for the optical axis, which is in pixels

_FLIP = np.diag([1.0, -1.0, -1.0])  # camera from plane, looking straight down with the photo's up along +y


@dataclass(frozen=True)
class Supposed:
    """What is supposed of a photo before its cards are looked at."""

    size_px: tuple[int, int]  # width, height
    focal_px: float | None  # by EXIF
    is_whole: bool  # as the phone's own lens and sensor made it: not cropped, zoomed or of an uncorrected lens
    print_scale: PrintScale


class Adjustment:
    """The unknowns' order: log f, aspect - 1, cx, cy, k1, k2, p1, p2, tilt x, tilt y, log height, print x, print y, thickness,
    then x, y, angle a card; with sheets_differ a fourth one, the card's scale over the print's, as a logarithm.
    """

    def __init__(self, cards: Sequence[SeenCard], supposed: Supposed, sheets_differ: bool = False) -> None:
        self.each = 4 if sheets_differ else 3  # unknowns a card
        width, height = self.size_px = supposed.size_px
        self.cards = cards
        self.focal = supposed.focal_px or usual_focal_px(supposed.size_px)
        u_focal = U_LOG_FOCAL_EXIF if supposed.focal_px and supposed.is_whole else U_LOG_FOCAL_UNKNOWN
        centre = [(width - 1) / 2, (height - 1) / 2]
        u_principal = (U_PRINCIPAL if supposed.is_whole else U_PRINCIPAL_CROPPED) * max(width, height)
        u_radial = U_RADIAL if supposed.is_whole else U_RADIAL_WIDE
        print_scale = supposed.print_scale
        self.prior = np.array(
            [np.log(self.focal), 0, *centre, 0, 0, 0, 0, 0, 0, 0, print_scale.across, print_scale.along, PAPER_THICKNESS_IN]
        )
        self.u_prior = np.array(
            [u_focal, U_ASPECT, u_principal, u_principal, u_radial, u_radial, U_TANGENTIAL, U_TANGENTIAL]
            + [np.inf, np.inf, np.inf, print_scale.u_across, print_scale.u_along, U_CARD_THICKNESS_IN]
        )
        self.index = np.concatenate([np.full(len(card.saddles_px), i) for i, card in enumerate(cards)])
        self.drawn = np.concatenate([card.saddles_in for card in cards])
        self.seen = np.concatenate([card.saddles_px for card in cards])

    def camera(self, unknowns: Array) -> Camera:
        """The camera of the unknowns; the plane's origin is where the optical axis meets it."""
        log_f, aspect, cx, cy, k1, k2, p1, p2, tilt_x, tilt_y, log_h = unknowns[:11]
        return Camera(
            float(np.exp(log_f)), 1 + aspect, cx, cy, k1, k2, p1, p2, tilted_down(tilt_x, tilt_y), np.array([0.0, 0.0, np.exp(log_h)])
        )

    def residuals(self, unknowns: Array) -> Array:
        """(..., n, 2) px: shown minus seen, for each of a stack of unknowns (..., m)."""
        shared, own = np.moveaxis(unknowns[..., :SHARED, None], -2, 0), unknowns[..., SHARED:]
        x, y, angle, *log_scale = np.moveaxis(own.reshape(*own.shape[:-1], -1, self.each)[..., self.index, :], -1, 0)
        scale = np.exp(log_scale[0]) if log_scale else 1.0
        across, along = self.drawn[:, 0] * shared[11] * scale, self.drawn[:, 1] * shared[12] * scale
        c, s = np.cos(angle), np.sin(angle)
        on_plane = pair(x + c * across + s * along, y - s * across + c * along)
        log_f, aspect, *lens, tilt_x, tilt_y, log_h = shared[:11]
        zero = np.zeros_like(log_h)
        rotation = np.moveaxis(rotation_from_vector(np.stack([tilt_x, tilt_y, zero], axis=-1)) @ _FLIP, (-2, -1), (0, 1))
        shown = shown_px((np.exp(log_f), 1 + aspect, *lens), rotation, (zero, zero, np.exp(log_h)), on_plane, shared[13])
        return shown - self.seen

    def jacobian(self, unknowns: Array) -> Array:
        """(2 n, unknowns), by central differences; a card's own unknowns move only its own saddles, so all cards' move at once."""
        moves = np.zeros((SHARED + self.each, len(unknowns)))
        moves[np.arange(SHARED), np.arange(SHARED)] = STEP * np.where(np.isin(np.arange(SHARED), (2, 3)), 1000, 1)
        for k in range(self.each):
            moves[SHARED + k, SHARED + k :: self.each] = STEP
        slope = (self.residuals(unknowns + moves) - self.residuals(unknowns - moves)) / (2 * moves.max(axis=1)[:, None, None])
        slope = slope.reshape(len(moves), -1)
        columns = np.zeros((self.seen.size, len(unknowns)))
        columns[:, :SHARED] = slope[:SHARED].T
        rows = np.repeat(self.index, 2)
        for k in range(self.each):
            columns[np.arange(len(rows)), SHARED + self.each * rows + k] = slope[SHARED + k]
        return columns

    def normal_matrix(self, jacobian: Array, weight: Array) -> Array:
        """Information of saddles (weights, 1/px2, (2 n,)) and priors."""
        information = jacobian.T @ (jacobian * weight[:, None])
        information[np.arange(SHARED), np.arange(SHARED)] += self.u_prior**-2.0
        if self.each == 4:
            scales = np.arange(SHARED + 3, len(information), 4)
            information[scales, scales] += U_LOG_SHEET**-2.0
        return information

    def scales(self, unknowns: Array) -> Array:
        """(n,) logarithms of the cards' own scales; zeros where they have none."""
        return unknowns[SHARED + 3 :: 4] if self.each == 4 else np.zeros(len(self.cards))

    def solve(self) -> tuple[Array, list[Array]]:
        """The unknowns and each card's residuals (n, 2), px."""
        with np.errstate(over="ignore", invalid="ignore"):  # trial lenses that fold over themselves cost infinitely much
            return self._solve()

    def _solve(self) -> tuple[Array, list[Array]]:
        unknowns = self._start()
        sigma = 0.1
        damping = 1e-3
        cost = self._cost(unknowns, sigma)
        for _ in range(MAX_STEPS):
            residual = self.residuals(unknowns)
            weight = np.repeat(huber_weight(np.linalg.norm(residual, axis=1)) / sigma**2, 2)
            jacobian = self.jacobian(unknowns)
            information = self.normal_matrix(jacobian, weight)
            gradient = jacobian.T @ (weight * residual.ravel())
            gradient[:SHARED] += (unknowns[:SHARED] - self.prior) * self.u_prior**-2.0
            if self.each == 4:
                gradient[SHARED + 3 :: 4] += self.scales(unknowns) * U_LOG_SHEET**-2.0
            while True:
                step = np.linalg.solve(information + damping * np.diag(np.diag(information)), gradient)
                trial = unknowns - step
                trial_cost = self._cost(trial, sigma)
                if trial_cost <= cost or damping > 1e6:
                    break
                damping *= 10
            gain, unknowns, cost, damping = cost - trial_cost, trial, trial_cost, max(damping / 10, 1e-9)
            if gain < 1e-7 * max(cost, 1.0):
                break
        residual = self.residuals(unknowns)
        return unknowns, [residual[self.index == i] for i in range(len(self.cards))]

    def _cost(self, unknowns: Array, sigma: float) -> float:
        miss = np.linalg.norm(self.residuals(unknowns), axis=1)
        huber = np.where(miss < HUBER_PX, miss**2, HUBER_PX * (2 * miss - HUBER_PX))
        priors = np.sum(((unknowns[:SHARED] - self.prior) / self.u_prior) ** 2) + np.sum((self.scales(unknowns) / U_LOG_SHEET) ** 2)
        return float(huber.sum() / sigma**2 + priors)

    def _start(self) -> Array:
        """A first guess: the pose of the card whose plane suits all cards best."""
        best: tuple[float, Array] | None = None
        for card in self.cards:
            for camera in self._poses(card):
                places = _lay(camera.plane_from_px(self.seen, PAPER_THICKNESS_IN), self.drawn, self.index)
                unknowns = self._gauge(camera, places)
                if self.each == 4:
                    unknowns = np.insert(unknowns, np.arange(SHARED + 3, len(unknowns) + 1, 3), 0.0)
                cost = self._cost(unknowns, 1.0)
                if np.isfinite(cost) and (best is None or cost < best[0]):
                    best = cost, unknowns
        assert best is not None, "a card always has a pose"
        return best[1]

    def _poses(self, card: SeenCard) -> list[Camera]:
        """The two poses that a single small plane allows, camera from that card's own frame."""
        import cv2

        matrix = np.array([[self.focal, 0, self.prior[2]], [0, self.focal, self.prior[3]], [0, 0, 1]])
        points = np.column_stack([card.saddles_in, np.zeros(len(card.saddles_in))])
        _, turns, shifts, _ = cv2.solvePnPGeneric(points, card.saddles_px[:, None], matrix, None, flags=cv2.SOLVEPNP_IPPE)
        head = [self.focal, 1.0, self.prior[2], self.prior[3], 0.0, 0.0, 0.0, 0.0]
        cameras = [Camera.from_parameters(np.concatenate([head, np.ravel(r), np.ravel(t)])) for r, t in zip(turns, shifts, strict=True)]
        return [camera for camera in cameras if camera.eye_in[2] > 0]

    def _gauge(self, camera: Camera, places: Array) -> Array:
        """Unknowns of a camera given in any frame on the plane, with the cards' places (n, 3) in that frame."""
        rotation = camera.rotation
        normal = rotation[:, 2]  # the plane's normal in the camera frame
        sine = float(np.hypot(normal[0], normal[1]))
        angle = np.arctan2(sine, -normal[2])
        tilt_x, tilt_y = (np.array([normal[1], -normal[0]]) * (angle / sine if sine > 1e-12 else 1.0)).tolist()
        turn = rotation_from_vector(tilted_down(tilt_x, tilt_y)).T @ rotation  # about the normal
        axis_at = camera.plane_from_px(np.array([camera.cx_px, camera.cy_px]))
        height = float(rotation[2, :2] @ axis_at + camera.translation_in[2])
        moved = (places[:, :2] - axis_at) @ turn[:2, :2].T
        angles = places[:, 2] - np.arctan2(turn[1, 0], turn[0, 0])
        shared = np.concatenate([self.prior[:8], [tilt_x, tilt_y, np.log(height)], self.prior[11:]])
        return np.concatenate([shared, np.column_stack([moved, angles]).ravel()])


def tilted_down(tilt_x: float, tilt_y: float) -> Array:
    """Rotation vector of a camera that looks straight down, then tilts (rad)."""
    import cv2

    tilt = rotation_from_vector(np.array([tilt_x, tilt_y, 0.0]))
    return np.ravel(cv2.Rodrigues(tilt @ _FLIP)[0])


def usual_focal_px(size_px: tuple[int, int]) -> float:
    """A phone's main camera's, where nothing is said of it."""
    return USUAL_FOCAL_MM / FILM_DIAGONAL_MM * float(np.hypot(*size_px))


def huber_weight(miss_px: Array) -> Array:
    """(n,) weights, 1 down to 0, of saddles that miss by so much (n,)."""
    return np.minimum(1.0, HUBER_PX / np.maximum(miss_px, 1e-12))


def _lay(on_plane: Array, drawn: Array, index: Array) -> Array:
    """(cards, 3): x, y, angle of the cards whose drawn points (n, 2) lie nearest to plane points (n, 2); angles are clockwise.

    index: (n,) the card of each point.
    """
    first = np.searchsorted(index, np.arange(index[-1] + 1))
    number = np.diff(np.append(first, len(index)))[:, None]
    plane_mean, drawn_mean = (np.add.reduceat(points, first) / number for points in (on_plane, drawn))
    away, drawn_away = on_plane - plane_mean[index], drawn - drawn_mean[index]
    sine = np.add.reduceat(drawn_away[:, 1] * away[:, 0] - drawn_away[:, 0] * away[:, 1], first)
    angle = np.arctan2(sine, np.add.reduceat(np.sum(drawn_away * away, axis=1), first))
    c, s = np.cos(angle), np.sin(angle)
    (x, y), (mean_x, mean_y) = plane_mean.T, drawn_mean.T
    return np.stack([x - c * mean_x - s * mean_y, y + s * mean_x - c * mean_y, angle], axis=-1)

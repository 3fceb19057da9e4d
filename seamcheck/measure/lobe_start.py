"""The beginning of all lobes' measurement: own seams, the two woods, and long edges roughly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..basis.frames import Array, wrap_angle
from ..edges import NO_SHARPENING, LinearPatch, tone_of
from ..kite import FoundLobe
from ..optics import Optics
from ..plane.camera import Camera
from .edge_fit import measure_edges
from .edge_profile import Beyond, Flush, Plain
from .edge_task import EdgeFit, Wood
from .face import Face
from .lobe_context import Context, is_dark
from .lobe_shade import clear_shades
from .lobe_tasks import found_task, own_task
from .pattern import ODD_ANGLE, SIDES, Pair, axis_of, half_angles_of
from .shade_fit import EdgeShade
from .tips import centre_of

# An own seam's step in tone is at least so much of the usual one's.
OWN_STEP_SHARE = 0.4
# ... and shows over at least so much of the lobe's length.
LEAST_OWN_SPAN = 0.3
# An own seam of which less is seen than this is measured again, the woods known, so that tape can be left out.
WELL_SEEN = 0.7
# One wood's tone differs from lobe to lobe by no more than this (log light): beyond, tape was taken for wood.
MOST_SPREAD = 0.3
# An own seam is a plain step: of 285 in rendered pictures none left more than .006 unexplained; a stripe in the wood taken for one did.
OWN_MOST_UNEXPLAINED = 0.012
# One that leaves more than this, and contradicts its lobe's edges, is none either. (Of 1,400 in rendered pictures 23 ran 1.2 to 5 degrees
# askew of their lobe's edges, less than .004 of them unexplained: all were right.)
OWN_DOUBTFUL_UNEXPLAINED = 0.006
# Nor one that passes this far from where the others meet, at least so many, with more than this unexplained. Own seams of 1,856 drawn lobes
# pass up to .12 in from their rose's middle, 99 in 100 within .07.
FAR_FROM_MIDDLE_IN, FEWEST_OTHERS, FAR_UNEXPLAINED = 0.15, 4, 0.002


@dataclass(frozen=True)
class Begun:
    """Own seams, and long edges to a few tenths of a pixel: what all that follows begins from. In the lobes' order."""

    context: Context
    owns: list[EdgeFit | None]
    first: list[Pair]
    half_angles: Sequence[float | None]
    axes: list[float | None]

    @cached_property
    def teachers(self) -> list[EdgeShade]:
        """The field's light beside the clear edges, as the photo draws it."""
        return [shade for (shade,) in clear_shades(self.context, self.axes, self.first, self.half_angles, [NO_SHARPENING])]

    def doubted(self, u_face_in: float) -> Begun:
        """The same with the faces' height less well known, inches: what was seen, the teachers too, stays as it was."""
        doubted = replace(self, context=replace(self.context, face=replace(self.context.face, u_in=u_face_in)))
        if "teachers" in vars(self):
            vars(doubted)["teachers"] = self.teachers
        return doubted


def begin(patch: LinearPatch, camera: Camera, optics: Optics, lobes: Sequence[FoundLobe], face: Face) -> Begun:
    """Measure own seams, and long edges roughly: those of raised lobes supposing nothing of what lies beyond them."""
    z_in = face.z_in
    owns = _like_the_others(lobes, measure_edges(patch, camera, [own_task(lobe, optics, camera, z_in) for lobe in lobes], z_in))
    woods = _woods(lobes, owns)
    badly = [k for k, own in enumerate(owns) if own is None or own.line.seen_fraction <= WELL_SEEN]
    again = measure_edges(patch, camera, [own_task(lobes[k], optics, camera, z_in, woods) for k in badly], z_in)
    for k, own in zip(badly, again, strict=True):
        owns[k] = own
    owns = _through_the_middle(lobes, _like_the_others(lobes, owns))
    context = Context(patch, camera, lobes, face, woods, optics)
    beyond: Beyond = Plain() if face.raised else Flush()
    tasks = [found_task(context, k, side, beyond) for k in range(len(lobes)) for side in SIDES]
    first = in_pairs(measure_edges(patch, camera, tasks, z_in, finely=False))
    half_angles = half_angles_of(lobes, owns, first)
    axes = [axis_of(own, pair, half) for own, pair, half in zip(owns, first, half_angles, strict=True)]
    owns = [
        None if own is not None and axis is not None and _is_another_line(own, axis) else own for own, axis in zip(owns, axes, strict=True)
    ]
    return Begun(context, owns, first, half_angles, axes)


def _is_another_line(own: EdgeFit, axis: float) -> bool:
    """Whether an own seam that runs askew of its lobe's edges is explained too badly to be believed."""
    return bool(abs(wrap_angle(own.line.bearing - axis)) > ODD_ANGLE and own.misfit > OWN_DOUBTFUL_UNEXPLAINED * own.contrast**2)


def in_pairs(edges: Sequence[EdgeFit | None]) -> list[Pair]:
    """Left and right of each lobe."""
    return list(zip(edges[::2], edges[1::2], strict=True))


def _like_the_others(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None]) -> list[EdgeFit | None]:
    """Own seams whose step from dark to light is like the other lobes'; tape's edges and stripes are left out."""
    steps = [None if own is None else tone_of(own.outside_light) - tone_of(own.inside_light) for own in owns]
    known = [float(np.mean(np.abs(step))) for step in steps if step is not None]
    if len(known) < 3:
        return list(owns)
    usual = float(np.median(known))
    result: list[EdgeFit | None] = []
    for lobe, own, step in zip(lobes, owns, steps, strict=True):
        good = own is not None and step is not None and np.mean(np.abs(step)) > OWN_STEP_SHARE * usual
        good = good and own is not None and own.misfit <= OWN_MOST_UNEXPLAINED * own.contrast**2
        good = good and own is not None and 2 * own.line.half_span_in > LEAST_OWN_SPAN * lobe.kite.length_in
        if good and step is not None and lobe.dark_side is not None:
            good = (np.mean(step) < 0) == (lobe.dark_side == "cw")
        result.append(own if good else None)
    return result


def _through_the_middle(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None]) -> list[EdgeFit | None]:
    """Own seams of a rose but such as pass far from where the others meet, and aren't explained well: tape's edges."""
    result = list(owns)
    while True:
        laid = {k: own for k, (lobe, own) in enumerate(zip(lobes, result, strict=True)) if own is not None and lobe.ring is not None}
        if len(laid) <= FEWEST_OTHERS:
            return result
        middles = {k: centre_of([other.line for j, other in laid.items() if j != k]) for k in laid}
        away = {k: abs(float(own.line.offset_of(middles[k]))) for k, own in laid.items()}
        odd = [k for k, own in laid.items() if away[k] > FAR_FROM_MIDDLE_IN and own.misfit > FAR_UNEXPLAINED * own.contrast**2]
        if not odd:
            return result
        result[max(odd, key=lambda k: away[k])] = None


def _woods(lobes: Sequence[FoundLobe], owns: Sequence[EdgeFit | None]) -> dict[bool, Wood]:
    """The dark (True) and the light wood, as the own seams' two sides show them."""
    tones: dict[bool, list[Array]] = {True: [], False: []}
    for lobe, own in zip(lobes, owns, strict=True):
        if own is None or lobe.dark_side is None:
            continue
        tones[is_dark(lobe, -1)].append(tone_of(own.inside_light))
        tones[is_dark(lobe, 1)].append(tone_of(own.outside_light))
    result = {}
    for dark, seen in tones.items():
        if len(seen) >= 3:
            middle = np.median(seen, axis=0)
            spread = 1.4826 * np.median(np.abs(np.array(seen) - middle), axis=0)
            result[dark] = Wood(middle, np.minimum(spread, MOST_SPREAD))
    return result

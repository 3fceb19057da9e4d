"""The heart of the tips: straight edges of lobes, to a fraction of a pixel.

An edge is searched in a strip of the photo round a rough line (edge_vote), then measured again in linear light (edge_refine): each
short block's mean profile along it is compared with a model (edge_profile) at every place across it, all places judged by the same
samples, and the blocks' places are fitted with a straight line, robustly.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..basis.frames import Array
from ..basis.lines import Line
from ..edges import LinearPatch
from ..plane.camera import Camera
from .edge_profile import Flush
from .edge_refine import Refined, refine
from .edge_task import EdgeFit, EdgeTask
from .edge_vote import vote

# The refined searches look so far to either side of the line so far, in such steps, photo pixels.
WIDE, NARROW = (8.0, 1.0), (3.0, 0.5)
# A line that the narrow search moves by less than this was near enough for it.
NEAR_ENOUGH_PX = 1.0
# A flush edge throws no shadow: with less evidence than this (nats a block) it's as likely the wood's figure. Rendered inlays, whose edges
# are measured rightly, show 2.8 and more, most of them 9; dark halves on a striped field of their own tone, measured wrongly, 0 to 2.
FLUSH_SHOWS = 2.5


def measure_edge(patch: LinearPatch, camera: Camera, task: EdgeTask, z_in: float, finely: bool = True) -> EdgeFit | None:
    """Measure one edge; None where nothing straight can be found in the strip."""
    return measure_edges(patch, camera, [task], z_in, finely)[0]


def measure_edges(
    patch: LinearPatch, camera: Camera, tasks: Sequence[EdgeTask], z_in: float, finely: bool = True, sought: bool = True
) -> list[EdgeFit | None]:
    """Measure edges whose models are of one kind, all together; None where nothing straight can be found in a strip.

    Not finely: to a few tenths of a pixel, in half the time. Not sought: the rough lines lie within a few pixels of the edges.
    """
    result: list[EdgeFit | None] = [None] * len(tasks)
    if not tasks:
        return result
    px_in = np.array([1 / camera.px_per_in_at((task.from_in + task.to_in) / 2, z_in) for task in tasks])
    waiting: dict[int, EdgeTask] = {}  # tasks about the lines so far, by number
    if not sought:
        waiting = dict(enumerate(tasks))
    else:
        for k, rough in enumerate(vote(patch, camera, tasks, z_in, px_in)):
            if rough is not None and not (isinstance(tasks[k].beyond, Flush) and rough.evidence < FLUSH_SHOWS):
                waiting[k] = tasks[k].moved(rough.offset_in, rough.slope)

    def refined(search: tuple[float, float]) -> dict[int, Refined]:
        which = list(waiting)
        found = refine(patch, camera, [waiting[k] for k in which], z_in, px_in[which], search) if which else []
        return {k: one for k, one in zip(which, found, strict=True) if one is not None}

    def settle(done: dict[int, Refined]) -> None:
        for k, one in done.items():
            result[k] = _edge_of(one, waiting.pop(k), z_in)

    if finely:
        near = refined(NARROW)
        settle({k: one for k, one in near.items() if max(np.abs(one.ends_in(waiting[k]))) < NEAR_ENOUGH_PX * px_in[k]})
    wide = refined(WIDE)
    if not finely:
        settle(wide)
        return result
    waiting = {k: _about(waiting[k], one) for k, one in wide.items()}
    settle(refined(NARROW))
    return result


def _about(task: EdgeTask, refined: Refined) -> EdgeTask:
    """The task about the line that was found."""
    first, last = refined.ends_in(task)
    return task.moved(first, (last - first) / task.length_in)


def _edge_of(refined: Refined, task: EdgeTask, z_in: float) -> EdgeFit:
    """The fit as a line on the plane, direction from -> to, offsets to the right."""
    fit = refined.fit
    point: Array = task.from_in + fit.mean_along * task.direction + fit.offset * task.outward
    turned = task.direction + fit.slope * task.outward
    line = Line(
        point,
        float(np.arctan2(turned[0], turned[1])),
        fit.cov,  # offset and turn change sign together with the side, so the covariance stays
        refined.u_model_in,
        z_in,
        fit.half_span,
        fit.seen_fraction,
    )
    lights = refined.inside_light, refined.outside_light
    return EdgeFit(line, refined.contrast, *lights, refined.misfit, refined.glue_chi, fit.bow, fit.u_bow)

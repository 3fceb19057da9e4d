"""Why a lobe's long edge couldn't be had: what a person should do about it hangs on whether it lies open."""

from __future__ import annotations

from collections.abc import Sequence

from ..basis.reasons import Reason
from .edge_profile import INSIDE_PX, Plain
from .edge_task import bare_rows, outward_strip
from .lobe_context import Context, is_dark
from .lobe_tasks import found_task

# An edge lies open if so much of it has its lobe's wood beside it; tan tape passes for some woods (common practice, no source).
OPEN_SHARE = 0.8
# How deep the strip looks inward for that wood, and outward, px.
LOOK_PX = (3 * INSIDE_PX, 2.0)


def why_unseen(context: Context, k: int, sides: Sequence[int]) -> Reason:
    """What hides the long edges of lobe k on these sides (-1 left, +1 right): tape or hard shadow, or that they hardly stand out."""
    if not all(_lies_open(context, k, side) for side in sides):
        return Reason.TIP_COVERED
    # Dark wood sinks into its own shadow or a dark field; light wood's edge is missed only where the field is as light.
    return Reason.EDGE_AMBIGUOUS if any(is_dark(context.lobes[k], side) for side in sides) else Reason.EDGE_FAINT


def _lies_open(context: Context, k: int, side: int) -> bool:
    task = found_task(context, k, side, Plain())
    if task.inside_wood is None:
        return False
    px_in = 1 / context.camera.px_per_in_at((task.from_in + task.to_in) / 2, context.z_in)
    strip = outward_strip(context.patch, context.camera, task, context.z_in, px_in, LOOK_PX, (1.0, 1.0))
    return bool(bare_rows(strip, task, 2 * px_in, px_in).mean() >= OPEN_SHARE)

"""Cut lobes in plain words: which to use, mend or cut again, which beside which round the top, and what remains."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from math import ceil, degrees, hypot

from ..advise.cautions import BY_EYE, MAKERS_FIRST, PLANE
from ..advise.lobe_lots import Lots, NoOrder, supposed_patterns
from ..advise.lobe_order import LaidJoint, LaidLobe, Order
from ..advise.lobe_sort import REACH, Limits, Lot, Sorted, Spare
from ..basis.language import say, say_count, to_say
from ..basis.uncertain import COVERAGE_95, Estimate
from ..kite import HalfShape
from .loose_reading import LooseSet
from .text import WIDTH
from .words import clock_of, decimals, length_words, limit_words, list_words, u95_decimals

LOT_MARKS = {Lot.USE: "●", Lot.MEND: "▲", Lot.TRY: "△", Lot.CUT_AGAIN: "◆", Lot.UNKNOWN: "□"}
LOT_WORDS = {
    Lot.USE: to_say("use"),
    Lot.MEND: to_say("mend"),
    Lot.TRY: to_say("try first"),
    Lot.CUT_AGAIN: to_say("cut again"),
    Lot.UNKNOWN: to_say("can't tell"),
}
EDGE_WORDS = {
    "left_short": to_say("left short edge"),
    "right_short": to_say("right short edge"),
    "left_long": to_say("left long edge"),
    "right_long": to_say("right long edge"),
}
END_WORDS = {"root": to_say("root"), "shoulder": to_say("shoulder"), "point": to_say("point")}
MISSING_WORDS = {"own_root": to_say("its own seam"), "own_tip": to_say("its own seam"), "dark_side": to_say("which half is dark")}
ITS_OUTLINE = to_say("its outline")
# Less than this isn't worth a word: no plane takes it (inches).
TOLD_IN = 0.001


def lobes_lines(found: LooseSet, done: Lots, limits: Limits, unmeasured: Sequence[int] | None, assumed: str = "") -> list[str]:
    """The whole report, at most WIDTH wide.

    unmeasured: of a measured top the seams whose places aren't known; None where no top was measured. assumed: the rose that was given.
    """
    lines = [*_wrapped(_opening(found, done)), *_wrapped(assumed), *_wrapped(_rule(limits)), ""]
    for one, ring in zip(done.sorted, done.rings, strict=True):
        lines += _sorted_lines(one, ring, done.dark_side)
    lines += [line for warning in found.warnings for line in ["", *_wrapped(say("Note: {note}", note=warning), 6)]]
    order = done.order
    lines += ["", *(_wrapped(no_order_words(done)) if isinstance(order, NoOrder) else _order_lines(done, order, limits, unmeasured))]
    planes = any(one.lot is Lot.MEND for one in done.sorted) or (isinstance(order, Order) and order.planing_in > limits.full_in)
    lines += ["", *_wrapped(_closing(done))]
    return lines + _wrapped(" ".join(say(caution) for caution in [*([PLANE] if planes else []), BY_EYE, MAKERS_FIRST]))


def _wrapped(words: str, indent: int = 0, start: int = 0) -> list[str]:
    return textwrap.wrap(
        words, WIDTH, initial_indent=" " * start, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False
    )


def _opening(found: LooseSet, done: Lots) -> str:
    count = say_count("{count} cut lobe", "{count} cut lobes", len(found.lobes))
    if len(found.photos) > 1:
        photos = list_words([f"{chr(ord('A') + k)} {photo}" for k, photo in enumerate(found.photos)])
        told = say("{lobes} in {number} photos ({photos}).", lobes=count, number=len(found.photos), photos=photos)
    else:
        told = say("{lobes} in {photo}.", lobes=count, photo=found.photos[0])
    patterns = "; ".join(_pattern_words(k + 1, shape) for k, shape in enumerate(done.patterns))
    if done.told:
        return f"{told} " + say("Patterns: {patterns}.", patterns=patterns)
    return f"{told} " + say(
        "No pattern was given, so each is held against what they all seem to have been cut to: {patterns}.", patterns=patterns
    )


def _pattern_words(ring: int, shape: HalfShape) -> str:
    angle = f"{degrees(shape.root_angle):.2f}"
    return say(
        "ring {ring}, {length} long, {angle}° at the root, short edge {short}",
        ring=ring,
        length=length_words(shape.length_in),
        angle=angle,
        short=length_words(shape.left_short_in),
    )


def _rule(limits: Limits) -> str:
    return say(
        "The pattern is laid on each lobe, its centre line on the lobe's own seam. An edge that closes on another lobe may stand {full} "
        "past it at either end or be {short} short of it, a point {tip}. Left and right are seen from root to point.",
        full=limit_words(limits.full_in),
        short=limit_words(limits.short_in),
        tip=limit_words(limits.tip_in),
    )


def _sorted_lines(one: Sorted, ring: int | None, side: str | None) -> Iterator[str]:
    where = say("ring {ring}", ring=ring) if ring is not None else " " * 6
    name = f"{one.lobe.name:>3}"
    yield f"  {say('lobe {lobe}', lobe=name)}  {where}  {LOT_MARKS[one.lot]} {say(LOT_WORDS[one.lot])}"
    for sentence in sorted_sentences(one, side):
        yield from _wrapped(sentence, 8, 8)


def sorted_sentences(one: Sorted, side: str | None) -> Iterator[str]:
    """What is to be done with a lobe, and why."""
    if one.lobe.turned_over:
        yield (
            say("Its dark half lies on the right, in the others on the left: turn it over, as it is judged here.")
            if side == "ccw"
            else say("Its dark half lies on the left, in the others on the right: turn it over, as it is judged here.")
        )
    if one.lot is Lot.UNKNOWN:
        if one.missing:
            yield say(
                "Not measured: {things}. Photograph it again in even light, clear of cards and other lobes.",
                things=list_words(missing_words(one.missing)),
            )
        else:
            yield say("It is like none of the patterns.")
        return
    short = [spare for spare in one.spares if spare.too_short]
    if short:
        worst = min(short, key=lambda spare: spare.wood.value + spare.wood.u95 + spare.short_in)
        if worst.edge == REACH:
            yield say("Its point reaches {size} less far than the pattern's.", size=_size(worst.wood))
        else:
            yield say(
                "Wood is missing: {size} at the {end} of its {edge}.",
                size=_size(worst.wood),
                end=say(END_WORDS[worst.end]),
                edge=say(EDGE_WORDS[worst.edge]),
            )
    for edge, name in EDGE_WORDS.items():
        ends = [spare for spare in one.spares if spare.edge == edge]
        if any(spare.too_full for spare in ends) and one.lot in (Lot.MEND, Lot.TRY):
            sure = any(spare.too_full and spare.wood.value > spare.wood.u95 for spare in ends)
            words = say("Ease its {edge}: {amounts}.") if sure else say("Its {edge} may be too full: {amounts}.")
            yield words.format(edge=say(name), amounts=ease_amounts(ends))
    for edge in one.bent:
        bow, name = one.lobe.bows[edge], say(EDGE_WORDS[edge])
        if bow.value > 0:
            yield say("Its {edge} stands out in its middle by {size}: straighten it.", edge=name, size=_size(bow))
        else:
            yield say("Its {edge} is hollow in its middle by {size}: straighten it.", edge=name, size=_size(bow))
    if one.lot is Lot.TRY:
        yield say("The photo can't decide it: lay it dry beside its neighbours first.")


def missing_words(missing: Sequence[str]) -> list[str]:
    """Which numbers are missing, as the things that weren't seen."""
    return list(dict.fromkeys(say(MISSING_WORDS.get(name, ITS_OUTLINE)) for name in missing))


def ease_amounts(ends: Sequence[Spare]) -> str:
    """ ".012 ±.004 at the shoulder, nothing at the root"."""
    words = []
    for spare in sorted(ends, key=lambda spare: -spare.wood.value):
        end = say(END_WORDS[spare.end])
        if spare.wood.value >= TOLD_IN:
            words.append(say("{size} at the {end}", size=_size(spare.wood), end=end))
        else:
            words.append(say("nothing at the {end}", end=end))
    return ", ".join(words)


def _size(estimate: Estimate) -> str:
    return f"{decimals(estimate.value, 3)} ±{u95_decimals(estimate.u95, 3)}"


NO_ORDER_WORDS = {
    NoOrder.NOT_CLOSING: to_say(
        "These lobes' root angles don't close on each other, so in which order they go round the top can't be said: give the rose's "
        "own numbers (--points, --reach, --short-edge)."
    ),
    NoOrder.OTHER_ROSE: to_say(
        "The rose that was placed on the top has other rings than these lobes seem to be of, so in which order they go round it can't be "
        "said: inspect the bare top again with the rose's own --points and --reach."
    ),
    NoOrder.NOT_WHOLE: to_say("No lobe of the first ring was measured whole, so in which order they go round the top can't be said."),
    NoOrder.TOO_MANY: to_say("The first ring has so many lobes that the best of all their orders isn't worked out."),
}


def no_order_words(done: Lots) -> str:
    """Why it isn't said in which order the lobes go round, and what would help."""
    if done.order is not NoOrder.LIKE_NONE:
        return say(NO_ORDER_WORDS[done.order]) if isinstance(done.order, NoOrder) else ""
    seem = "; ".join(_pattern_words(k + 1, shape) for k, shape in enumerate(supposed_patterns([one.lobe for one in done.sorted])))
    return say(
        "No lobe is like the first ring's pattern, so in which order they go round the top can't be said. They seem to have been cut to "
        "another rose: {patterns}. Give its own numbers, with which `seamcheck template` ends.",
        patterns=seem,
    )


def _order_lines(done: Lots, order: Order, limits: Limits, unmeasured: Sequence[int] | None) -> Iterator[str]:
    if unmeasured is None:
        told = say("The round with the least planing, as the lobes are now, every point on its seam, seams taken for even (see --on).")
    elif not unmeasured:
        told = say("The round with the least planing, as the lobes are now, every point on its seam as the top was measured.")
    else:
        told = say_count(
            "The round with the least planing, as the lobes are now, every point on its seam as the top was measured, but seam {seams} "
            "wasn't: it's taken for even, so fit the lobes there and beside it last, by the seam itself.",
            "The round with the least planing, as the lobes are now, every point on its seam as the top was measured, but seams {seams} "
            "weren't: they are taken for even, so fit the lobes there and beside them last, by the seams themselves.",
            len(unmeasured),
            seams=list_words([str(seam) for seam in unmeasured]),
        )
    yield from _wrapped(
        told + " " + say("It takes the place of mending one by one: where a lobe is too wide, a narrow one beside it takes that up.")
    )
    yield f"  {say('seam'):>4}  {say('clock'):>10}  {say('ring'):>4}  {say('lobe')}"
    for one in sorted(order.laid, key=lambda one: one.place.seam):
        name = f"{one.lobe.name:>4}" if one.lobe is not None else say("none: one to the pattern is supposed")
        note = f"  {say('its seam unmeasured')}" if one.place.seam in (unmeasured or ()) else ""
        yield f"  {one.place.seam:>4}  {clock_of(one.place.bearing):>10}  {one.place.ring:>4}  {name}{note}"
    yield ""
    yield from _wrapped(angle_words(done, order))
    yield from _joint_lines(order, limits)
    if order.left_over:
        yield from _wrapped(say("Left over: {lobes}.", lobes=list_words([lobe.name for lobe in order.left_over])))


def angle_words(done: Lots, order: Order) -> str:
    """What the first ring's root angles sum to."""
    first = [one for one in order.laid if one.place.ring == 1]
    total = degrees(sum(one.shape.root_angle for one in first))
    u = hypot(*(one.lobe.root_angle.u for one in first if one.lobe is not None and one.lobe.root_angle is not None), 0.0)
    over = total - 360
    known = {"sum": f"{total:.2f}", "u95": f"{ceil(degrees(COVERAGE_95 * u) * 100) / 100:.2f}", "by": f"{abs(over):.2f}"}
    known["size"] = decimals(abs(over) / degrees(1) * done.patterns[0].left_short_in, 3)
    if over > 0:
        return say("The first ring's root angles sum to {sum}° ±{u95}: {by}° over a full turn, {size} at the shoulders in all.", **known)
    return say("The first ring's root angles sum to {sum}° ±{u95}: {by}° short of a full turn, {size} at the shoulders in all.", **known)


def _joint_lines(order: Order, limits: Limits) -> Iterator[str]:
    binding = sorted((joint for joint in order.measured() if joint.binds_in > limits.full_in), key=lambda joint: -joint.binds_in)
    gaping = sorted((joint for joint in order.measured() if joint.opening.value > limits.short_in), key=lambda joint: -joint.opening.value)
    if not binding:
        yield from _wrapped(
            say("No joint binds by more than {limit} at its shoulder: nothing has to be planed.", limit=limit_words(limits.full_in))
        )
    for joint in binding:
        yield from _wrapped(_sentence(joint_words(joint, order.laid)), 4, 2)
    for joint in gaping:
        told = say(
            "{first} and {second} gape by {size} at the shoulder, and stay so with their points on their seams.",
            first=_name(order.laid[joint.lobes[0]]),
            second=_name(order.laid[joint.lobes[1]]),
            size=_size(joint.opening),
        )
        yield from _wrapped(_sentence(told), 4, 2)
    if len(order.measured()) > len(binding) + len(gaping):
        closed = limit_words(limits.short_in)
        if binding or gaping:
            yield from _wrapped(say("All other joints close to {limit}, as far as the photo shows.", limit=closed))
        else:
            yield from _wrapped(say("All joints close to {limit}, as far as the photo shows.", limit=closed))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def joint_words(joint: LaidJoint, laid: Sequence[LaidLobe]) -> str:
    """ "3 and 5 bind by .012 ±.004 at the shoulder: ease 3's right short edge .009 there, nothing at the root"."""
    first, second = (_name(laid[k]) for k in joint.lobes)
    parts = []
    if joint.share[0] >= TOLD_IN:
        parts.append(say("{lobe}'s right short edge {size}", lobe=first, size=decimals(joint.share[0], 3)))
    if joint.share[1] >= TOLD_IN:
        parts.append(say("{lobe}'s left short edge {size}", lobe=second, size=decimals(joint.share[1], 3)))
    size = f"{decimals(joint.binds_in, 3)} ±{u95_decimals(joint.opening.u95, 3)}"
    return say(
        "{first} and {second} bind by {size} at the shoulder: ease {edges} there, nothing at the root.",
        first=first,
        second=second,
        size=size,
        edges=list_words(parts),
    )


def _name(one: LaidLobe) -> str:
    return say("lobe {lobe}", lobe=one.lobe.name) if one.lobe is not None else say("the lobe for seam {seam}", seam=one.place.seam)


def _closing(done: Lots) -> str:
    lots = [one.lot for one in done.sorted]
    counted = [f"{lots.count(lot)} {say(name)}" for lot, name in LOT_WORDS.items() if lot in lots]
    told = say("In all: {counted}.", counted=", ".join(counted))
    if isinstance(done.order, NoOrder):
        return told
    missing = sum(one.lobe is None for one in done.order.laid)
    if missing:
        told += " " + say_count("{count} lobe is still to be cut.", "{count} lobes are still to be cut.", missing)
    return told + " " + say("Lay the ring dry in this order and photograph it before any wood comes off: wood can't be put back.")

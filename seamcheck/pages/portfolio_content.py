"""What a portfolio shows and says: the top in its best light, every point from near by, and how true it is, from measured numbers alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import median

import numpy as np

from ..basis.frames import Array, bearing_of
from ..basis.language import say, say_count
from ..basis.units import MM_PER_IN, lengths
from ..beauty.straight import View
from ..beauty.studio import LEAST_AROUND_IN, Studio, cut_out, on_white
from ..report.overlay_canvas import Canvas, Image, font_of, text_width
from ..report.overlay_palette import INK
from ..report.words import (
    VERDICT_WORDS,
    clock_of,
    decimals,
    length_words,
    limit_words,
    list_words,
    offset_words,
    round_the_top,
    u95_decimals,
)
from ..result import Inspection, Stage, Tip, Verdict
from .pictures import Picture, jpeg
from .words import scale_words

HERO_PX, SIDE_PX, POINT_PX = 1600, 800, 440  # as they stand on the page
POINT_IN = 1.0  # of wood across a close-up
HERO_QUALITY = 90

Clocks = Mapping[int, str]  # lobe -> where its point stands in the portfolio's pictures


@dataclass(frozen=True)
class PointRow:
    """One point, as it was measured."""

    lobe: int
    clock: str
    offset: str  # in words, or "unmeasured"
    number: str
    verdict: str
    picture: Picture


@dataclass(frozen=True)
class Portfolio:
    """All of it."""

    title: str
    subtitle: str
    maker: str
    hero: Picture
    caption: str
    points: tuple[PointRow, ...]
    points_words: str
    before: Picture | None
    after: Picture | None
    statement: tuple[str, ...]
    method: tuple[str, ...]


def portfolio(
    studio: Studio,
    inspection: Inspection,
    title: str = "",
    maker: str = "",
    before: Studio | None = None,
    scale_bar: bool = False,
) -> Portfolio:
    """From the photo as it is shown, and what was measured in it. before: the same top at an earlier stage."""
    whole = studio.whole
    hero = on_white(studio.shown(_fitted(whole, HERO_PX)))
    if scale_bar:
        hero = with_bar(hero, hero.shape[0] / (2 * whole.half_in))
    across = length_words(2 * whole.half_in)
    clocks = clocks_in(studio, inspection)
    first = {"lobe": inspection.tips[0].lobe, "clock": clocks[inspection.tips[0].lobe]}
    pair: tuple[Picture | None, Picture | None] = (None, None)
    if before is not None:
        both = max(studio.reach_in, before.reach_in) + LEAST_AROUND_IN
        half = max(min(whole.half_in, before.whole.half_in), both)
        pair = (
            _small(before, half, say("The top before, straight from above.")),
            _small(studio, half, say("The top now, straight from above.")),
        )
    return Portfolio(
        title or say("Compass rose"),
        _subtitle(inspection),
        maker,
        jpeg(hero, say("The rose straight from above, evenly lit."), HERO_QUALITY),
        say("Straight from above, lobe {lobe} at {clock}; the picture is {length} across.", length=across, **first),
        tuple(_point(studio, tip, clocks[tip.lobe]) for tip in round_the_top(inspection)),
        say("Each point in {length} of wood, its seam running up.", length=lengths().rule(POINT_IN)),
        *pair,
        tuple(accuracy(inspection, clocks)),
        tuple(_method(studio, inspection)),
    )


def _fitted(view: View, side_px: int) -> View:
    """The same piece of wood in fewer pixels, never in more."""
    return View(view.centre_in, view.up, view.half_in, min(view.px_per_in, (side_px - 1) / (2 * view.half_in)), view.z_in)


def _small(studio: Studio, half_in: float, alt: str) -> Picture:
    view = View(studio.centre_in, studio.up, half_in, (SIDE_PX - 1) / (2 * half_in))
    return jpeg(on_white(studio.shown(view)), alt, HERO_QUALITY)


def clocks_in(studio: Studio, inspection: Inspection) -> Clocks:
    """Where each lobe's point stands in the pictures, which are turned so that the first stands at 12."""
    places = {tip.lobe: studio.camera.plane_from_px(np.asarray(tip.tip_px, float)) for tip in inspection.tips}
    return {lobe: clock_of(studio.bearing_in_picture(place)) for lobe, place in places.items()}


def close_up(studio: Studio, tip: Tip, side_px: int = POINT_PX) -> Image:
    """(side, side, 3) a point and its seam, the seam running up."""
    place: Array = studio.camera.plane_from_px(np.asarray(tip.tip_px, float))
    away = float(bearing_of(place - studio.centre_in))
    return studio.shown(View(place, away, POINT_IN / 2, (side_px - 1) / POINT_IN))


def _point(studio: Studio, tip: Tip, clock: str) -> PointRow:
    alt = say("The point of lobe {lobe} at {clock}.", lobe=tip.lobe, clock=clock)
    verdict = tip.verdict or Verdict.UNMEASURED
    measured = tip.seam_offset if verdict is not Verdict.UNMEASURED else None
    return PointRow(
        tip.lobe,
        clock,
        say("unmeasured") if measured is None else offset_words(measured.value),
        "" if measured is None else f"{decimals(measured.value)} ±{u95_decimals(measured.u95)}",
        say(VERDICT_WORDS[verdict]),
        jpeg(close_up(studio, tip), alt, HERO_QUALITY),
    )


def _subtitle(inspection: Inspection) -> str:
    rings = len({tip.ring for tip in inspection.tips})
    count = len(inspection.tips)
    if rings == 1:
        return say("{count} points in one ring", count=count)
    return say("{count} points in two rings", count=count) if rings == 2 else say("{count} points in three rings", count=count)


def accuracy(inspection: Inspection, clocks: Clocks) -> Iterator[str]:
    """How true it is: only what was measured, and what wasn't."""
    tips = round_the_top(inspection)
    limit = limit_words(inspection.tolerance_in)
    by = {verdict: [tip for tip in tips if (tip.verdict or Verdict.UNMEASURED) is verdict] for verdict in Verdict}
    on, off, unsure, lost = (by[verdict] for verdict in (Verdict.ON, Verdict.OFF, Verdict.UNSURE, Verdict.UNMEASURED))
    yield say_count(
        "Of {all} points {count} lies within {limit} of its field seam, judged at the far end of its 95 % interval.",
        "Of {all} points {count} lie within {limit} of their field seams, each judged at the far end of its 95 % interval.",
        len(on),
        all=len(tips),
        limit=limit,
    )
    if off:
        which = list_words([_off_words(tip, clocks[tip.lobe]) for tip in off])
        yield say_count("{count} lies farther off: {which}.", "{count} lie farther off: {which}.", len(off), which=which)
    if unsure:
        yield say_count(
            "Of {count} it can't be told: its interval reaches across that limit (lobe {lobes}).",
            "Of {count} it can't be told: their intervals reach across that limit (lobes {lobes}).",
            len(unsure),
            lobes=_numbers(unsure),
        )
    for reason in dict.fromkeys(tip.reason for tip in lost):
        which = _numbers([tip for tip in lost if tip.reason is reason])
        yield say("Not measured: lobe {lobes}, because {why}.", lobes=which, why=reason.sentence if reason else say("nothing shows there"))
    measured = [tip.seam_offset for tip in tips if tip.seam_offset is not None and tip.verdict is not Verdict.UNMEASURED]
    if measured:
        sizes, spreads = [abs(one.value) for one in measured], [one.u95 for one in measured]
        yield say(
            "Offsets measured: median {median}, largest {largest} {unit}; give or take (half a 95 % interval): median {u_median}, "
            "largest {u_largest} {unit}.",
            median=decimals(median(sizes)),
            largest=decimals(max(sizes)),
            u_median=u95_decimals(median(spreads)),
            u_largest=u95_decimals(max(spreads)),
            unit=lengths().symbol,
        )
    yield from _joint_words(inspection)


def _numbers(tips: list[Tip]) -> str:
    return list_words([str(lobe) for lobe in sorted(tip.lobe for tip in tips)])


def _off_words(tip: Tip, clock: str) -> str:
    value = tip.seam_offset.value if tip.seam_offset else 0.0
    return say(
        "lobe {lobe} at {clock}, {offset} ({number})",
        lobe=tip.lobe,
        clock=clock,
        offset=offset_words(value),
        number=decimals(value),
    )


def _joint_words(inspection: Inspection) -> Iterator[str]:
    joints = [joint for joint in inspection.joints if None not in joint.lobes]
    if joints:
        counts = {verdict: sum(joint.verdict is verdict for joint in joints) for verdict in Verdict}
        told = [
            say_count("{count} closed", "{count} closed", counts[Verdict.CLOSED]),
            say_count("{count} open", "{count} open", counts[Verdict.OPEN]),
            say_count("{count} that can't be told", "{count} that can't be told", counts[Verdict.UNSURE]),
            say_count("{count} unmeasured", "{count} unmeasured", counts[Verdict.UNMEASURED]),
        ]
        order = (Verdict.CLOSED, Verdict.OPEN, Verdict.UNSURE, Verdict.UNMEASURED)
        which = list_words([words for verdict, words in zip(order, told, strict=True) if counts[verdict]])
        limit = limit_words(inspection.gap_tolerance_in)
        yield say_count(
            "Of {count} joint between lobes, against {limit}: {which}.",
            "Of {count} joints between lobes, against {limit}: {which}.",
            len(joints),
            limit=limit,
            which=which,
        )
    rim = [joint for joint in inspection.joints if None in joint.lobes]
    if inspection.stage is Stage.INLAID and not any(joint.max_gap for joint in rim):
        yield say("The joints between rose and field were not measured.")
    if inspection.stage is Stage.DRY_FIT:
        yield say("The rose lies on the top and is not let in yet.")


def _method(studio: Studio, inspection: Inspection) -> Iterator[str]:
    photos = inspection.together.photos if inspection.together else (inspection.photo_name,)
    yield say_count(
        "Measured in {count} photograph, through printed cards that lay on the top. An offset is the distance from the straight field seam "
        "to the point, square to the seam; its give or take is propagated from what the picture shows of edges and seams, from lens, lean "
        "and print. "
        "No instrument was used for reference.",
        "Measured in {count} photographs, through printed cards that lay on the top. An offset is the distance from the straight field "
        "seam to the point, square to the seam; its give or take is propagated from what the pictures show of edges and seams, from lens, "
        "lean and print. "
        "No instrument was used for reference.",
        len(photos),
    )
    yield scale_words(inspection)
    if studio.daylight.is_known:
        yield say("The pictures are straightened by the same cards; light and white are those of the cards' paper. Nothing was retouched.")
    else:
        yield say(
            "The pictures are straightened by the same cards; the cards' paper couldn't be read, so light and colours are the camera's. "
            "Nothing was retouched."
        )


BARS_IN, BARS_MM = (0.25, 0.5, 1.0, 2.0), (5.0, 10.0, 20.0, 50.0)


def with_bar(picture: Image, px_per_in: float) -> Image:
    """A disc on white with a scale bar in its lower right corner, where nothing else is. Of a see-through picture (h, w, 4) too."""
    side = picture.shape[0]
    ways = [(mm / MM_PER_IN, f"{mm:g} mm") for mm in BARS_MM] if lengths().metric else [(one, f"{one:g} in") for one in BARS_IN]
    room = 0.28 * side
    fitting = [way for way in ways if way[0] * px_per_in <= room] or ways[:1]
    length_in, words = fitting[-1]
    size = max(12, round(0.019 * side))
    canvas = Canvas(np.ascontiguousarray(picture[..., :3]))
    right, y = 0.985 * side, 0.975 * side
    left, tick, width = right - length_in * px_per_in, 0.008 * side, max(1, round(0.0016 * side))
    canvas.stroke([[left, y], [right, y]], INK, width)
    for x in (left, right):
        canvas.stroke([[x, y - tick], [x, y + tick]], INK, width)
    ascent, descent = font_of(size).getmetrics()
    x = (left + right - text_width(words, size)) / 2
    canvas.write(words, x, y - tick - ascent - descent, size)
    done = canvas.finished()
    if picture.shape[2] == 3:
        return done
    drawn = np.any(done != picture[..., :3], axis=-1)
    return np.concatenate([done, np.where(drawn, 255, picture[..., 3]).astype(np.uint8)[..., None]], axis=-1)


def whole_picture(studio: Studio, scale_bar: bool = False, see_through: bool = False) -> Image:
    """The beauty picture at the photo's full resolution, (side, side, 3), or (side, side, 4) with nothing round the disc."""
    view = studio.whole
    picture = studio.shown(view)
    cut: Image = cut_out(picture) if see_through else on_white(picture)
    return with_bar(cut, view.px_per_in) if scale_bar else cut

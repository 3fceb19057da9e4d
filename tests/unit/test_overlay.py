"""The annotated picture: sizes, repeatability, room for words, and that what is drawn lies where the photo shows it."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from seamcheck.advise.cautions import KNIFE_IN
from seamcheck.basis.frames import right_of, unit_of_bearing
from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import Estimate
from seamcheck.plane.camera import Camera
from seamcheck.report.overlay import PAGE_PX, compose, draw_picture, picture_bytes
from seamcheck.report.overlay_canvas import Canvas
from seamcheck.report.overlay_inset import draw_inset, draw_wood, lean_in, view_of
from seamcheck.report.overlay_palette import INK, MARK_COLOURS, PAPER
from seamcheck.report.overlay_photo import LABEL_PX, draw_photo, panel_view
from seamcheck.report.overlay_plan import PlanMap
from seamcheck.report.words import round_the_top
from seamcheck.result import BareTop, Inspection, Joint, RosePlace, RosePoint, Scale, Seam, Stage, Tip, Together, Verdict

WIDTH, HEIGHT = 640, 480
VENEER_IN = 1 / 42
# Looks down at the top from 18 in, leaning 14 degrees to the side and 9 forward; about 40 px to the inch.
CAMERA = Camera(720.0, 1.0, 319.5, 239.5, 0.0, 0.0, 0.0, 0.0, np.array([np.pi - 0.16, 0.0, 0.24]), np.array([0.0, 0.0, 18.0]))
TOLERANCE_IN = 1 / 64


def estimate(value, u95=0.004):
    return Estimate(value, {"sampling": u95 / 1.959964})


def made_tip(lobe, bearing, offset_in, *, reach_in=3.8, verdict=Verdict.OFF, reason=None, ring=1, camera=CAMERA):
    """A lobe whose tip lies `offset_in` clockwise of a seam through the centre, as the camera shows it."""
    out, side = unit_of_bearing(bearing), right_of(unit_of_bearing(bearing))
    tip = reach_in * out + offset_in * side
    outline = np.stack([0 * out, 0.8 * out - 0.5 * side, tip, 0.8 * out + 0.5 * side])
    seen = verdict is not Verdict.UNMEASURED
    return Tip(
        lobe=lobe,
        ring=ring,
        bearing=bearing + offset_in / reach_in,
        tip_px=camera.px_from_plane(tip, VENEER_IN),
        outline_px=camera.px_from_plane(outline, VENEER_IN),
        own_seam_px=camera.px_from_plane(np.stack([0 * out, tip]), VENEER_IN),
        reach=estimate(reach_in),
        seam_offset=estimate(offset_in) if seen else None,
        seam_px=camera.px_from_plane(np.stack([(reach_in + 0.1) * out, (reach_in + 0.9) * out])),
        seam_cue="line",
        verdict=verdict,
        reason=reason,
        own_seam_offset=estimate(0.003),
        length=estimate(reach_in),
        root_angle=estimate(np.pi / 2),
        dark_side="cw",
    )


def made_inspection(tips, *, stage=Stage.DRY_FIT, **fields):
    scale = Scale(cards=(1, 4), px_per_in=CAMERA.px_per_in_at(np.zeros(2)), reprojection_rms_px=0.05, u95_rel=0.001, bars_read=True)
    return Inspection(
        photo_name="rendered.jpg",
        size_px=(WIDTH, HEIGHT),
        stage=stage,
        stage_told=True,
        tolerance_in=TOLERANCE_IN,
        gap_tolerance_in=0.010,
        scale=scale,
        centre_px=CAMERA.px_from_plane(np.zeros(2), VENEER_IN),
        tips=tuple(tips),
        **fields,
    )


def made_rose(count, verdicts=(Verdict.OFF, Verdict.ON, Verdict.UNSURE, Verdict.UNMEASURED)):
    """A rose of every verdict in turn, with every reason, gaping joints and a lobe reversed."""
    reasons = list(Reason)
    tips = []
    for k in range(count):
        verdict = verdicts[k % len(verdicts)]
        reason = reasons[k % len(reasons)] if verdict is Verdict.UNMEASURED else None
        tips.append(made_tip(k + 1, 2 * np.pi * k / count, 0.02 * (-1) ** k, verdict=verdict, reason=reason, reach_in=3.8 - 0.6 * (k % 2)))
    joints = []
    for k, verdict in zip(
        range(count), (Verdict.OPEN, Verdict.CLOSED, Verdict.OPEN, Verdict.UNSURE, Verdict.UNMEASURED) * count, strict=False
    ):
        edge = tips[k].outline_px[[0, 3]]
        gap = None if verdict is Verdict.UNMEASURED else estimate(0.012 + 0.001 * k)
        place = None if gap is None else edge.mean(axis=0)
        reason = Reason.JOINT_DARK if gap is None else None
        joints.append(Joint((k + 1, (k + 1) % count + 1), edge, gap, None, place, 0.8, verdict, reason))
    return made_inspection(
        tips, joints=tuple(joints), odd_lobes=(2,), warnings=("The sheet's bars weren't read, so lengths are less certain.",)
    )


def grey_photo():
    rng = np.random.default_rng(3)
    return rng.integers(90, 130, (HEIGHT, WIDTH, 3)).astype(np.uint8)


def made_bare(count: int) -> Inspection:
    """A bare top with a seam for every point, all of them a little off; one lobe is to be made to suit."""
    turns = [2 * np.pi * k / count for k in range(count)]
    seams = tuple(
        Seam(
            turn,
            0.001,
            estimate(0.012 * np.cos(3 * k)),
            estimate(0.0),
            CAMERA.px_from_plane(
                np.array([0.5, 4.0])[:, None] * unit_of_bearing(turn) + 0.012 * np.cos(3 * k) * right_of(unit_of_bearing(turn))
            ),
            "line",
        )
        for k, turn in enumerate(turns)
    )
    points = tuple(
        RosePoint(1, k + 1, turn, CAMERA.px_from_plane(2.5 * unit_of_bearing(turn)), 2.5, estimate(0.01), k == 1, 0.2, 0.2)
        for k, turn in enumerate(turns)
    )
    place = RosePlace(CAMERA.px_from_plane(np.array([0.01, 0.0])), (0.01, 0.0), 0.001, points, 0.01)
    edge = CAMERA.px_from_plane(4.2 * unit_of_bearing(np.linspace(0, 6.2, 60)))
    top = BareTop(
        count,
        count,
        0.001,
        (),
        tuple(range(1, count + 1)),
        estimate(8.4),
        estimate(0.02),
        1.0,
        edge[0],
        edge,
        None,
        (2.5,),
        True,
        place,
        place,
    )
    return replace(made_inspection((), stage=Stage.BARE), seams=seams, bare=top)


def every_page():
    rose = made_rose(8)
    loose = [
        replace(tip, ring=None, verdict=None, reason=None, reach=None, seam_offset=None, seam_px=None)
        for tip in made_rose(5, (Verdict.ON,)).tips
    ]
    loose[1] = replace(loose[1], own_seam_offset=None, own_seam_px=None, reason=Reason.OWN_SEAM_FAINT)
    seams = tuple(
        Seam(0.8 * k, 0.001, estimate(0.01 * k), estimate(0.0), CAMERA.px_from_plane(np.array([[0.5, 0.2 * k], [4.0, 1.0 * k]])))
        for k in range(3)
    )
    outside = replace(rose.tips[0], tip_px=np.array([-80.0, 200.0]), verdict=Verdict.UNMEASURED, reason=Reason.TIP_OUT_OF_FRAME)
    yield "no tips", made_inspection(())
    yield from ((f"{count} tips", made_rose(count)) for count in (1, 4, 6, 8, 12, 16, 24))
    yield "inlaid", replace(rose, stage=Stage.INLAID)
    yield "loose", made_inspection(loose, stage=Stage.LOOSE)
    yield "bare", replace(made_inspection((), stage=Stage.BARE), seams=seams)
    few = tuple(replace(seam, off_centre=None) for seam in seams[:2])
    yield "bare, two seams", replace(made_inspection((), stage=Stage.BARE), seams=few, centre_px=None)
    for count in (4, 8, 16, 24):
        yield f"bare top of {count}", made_bare(count)
    yield (
        "bare top, no edge",
        replace(
            made_bare(8),
            bare=replace(made_bare(8).bare, diameter=None, edge_px=None, edge_reason=Reason.EDGE_OUT_OF_FRAME, even=None, fewest=None),
        ),
    )
    yield "no seams", replace(rose, tips=tuple(replace(tip, seam_px=None) for tip in rose.tips))
    yield "no centre", replace(rose, centre_px=None)
    yield "outside", replace(rose, tips=(outside, *rose.tips[1:]))
    yield "far off", replace(rose, tips=(made_tip(1, 0.3, 0.31), *rose.tips[1:]))
    yield "several photos", replace(rose, together=Together(("rendered.jpg", "b.jpg", "c.jpg"), ("Lobe 1 was moved.",)))
    yield "long name", replace(rose, photo_name="x" * 300 + "\n.jpg", stage_told=False)


PAGES = dict(every_page())


@pytest.mark.parametrize("name", PAGES)
def test_every_word_stays_in_its_room_and_none_covers_another(name):
    page = compose(grey_photo(), PAGES[name])
    assert page.pixels.shape[1] == PAGE_PX
    for text in page.texts:
        assert text.room.holds(text.box), text.words
        assert page.box.holds(text.box), text.words
    for one, other in combinations(page.texts, 2):
        assert one.box.overlap(other.box) == 0, (one.words, other.words)


@pytest.mark.parametrize("name", ["8 tips", "16 tips", "24 tips"])
def test_no_label_hides_a_tip(name):
    inspection = PAGES[name]
    page = compose(grey_photo(), inspection)
    view = panel_view(inspection, PAGE_PX - 80, 1760)
    first = next(text for text in page.texts if text.words == "1" and text.size_px == LABEL_PX)
    photo_corner = np.array([first.room.x0, first.room.y0])
    labels = [text.box for text in page.texts if text.room == first.room]
    assert len(labels) == len(inspection.tips) + sum(joint.verdict is Verdict.OPEN for joint in inspection.joints)
    for tip in inspection.tips:
        x, y = view.xy_of(tip.tip_px) + photo_corner
        assert not any(box.x0 < x < box.x1 and box.y0 < y < box.y1 for box in labels), tip.lobe


def test_title_counts_the_verdicts():
    words = [text.words for text in compose(grey_photo(), made_rose(8)).texts]
    for count in ("2 on", "2 off", "2 unsure", "2 unmeasured"):
        assert count in words


def test_the_caution_stands_under_a_dry_fit_only():
    for name, there in (("8 tips", True), ("inlaid", False), ("bare", False)):
        words = " ".join(text.words for text in compose(grey_photo(), PAGES[name]).texts)
        assert (KNIFE_IN in words) is there, name


def test_insets_go_round_the_top_clockwise_from_the_first_tip():
    bearings = (-0.2, 3.0, 1.5, -1.6)
    tips = [made_tip(k + 1, bearing, 0.0) for k, bearing in enumerate(bearings)]
    assert [tip.lobe for tip in round_the_top(made_inspection(tips))] == [1, 3, 2, 4]


def test_twice_the_same_bytes_and_the_photo_unchanged():
    photo, inspection = grey_photo(), made_rose(8)
    before = photo.copy()
    for suffix in (".png", ".jpg", ".JPEG"):
        assert picture_bytes(photo, inspection, suffix) == picture_bytes(photo, inspection, suffix)
    assert np.array_equal(photo, before)


def test_the_png_holds_the_page():
    import cv2

    photo, inspection = grey_photo(), made_rose(4)
    data = picture_bytes(photo, inspection, ".png")
    assert np.array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), draw_picture(photo, inspection))


def test_what_cannot_be_drawn_is_refused():
    with pytest.raises(ValueError, match=r"ends in \.png"):
        picture_bytes(grey_photo(), made_rose(4), ".gif")
    with pytest.raises(ValueError, match="upright photo"):
        draw_picture(grey_photo()[:, :-1], made_rose(4))
    with pytest.raises(ValueError, match="upright photo"):
        draw_picture(grey_photo().astype(np.float32), made_rose(4))


def test_importing_loads_nothing_heavy_and_drawing_no_plotting():
    code = (
        "import sys, seamcheck.report.overlay\n"
        "assert not {'cv2', 'PIL', 'scipy', 'matplotlib'} & set(sys.modules)\n"
        "from seamcheck.report.overlay_canvas import text_width\n"
        "assert text_width('3/64', 40) > 0\n"
        "assert 'matplotlib' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# Where things are drawn.


def middle_of(profile):
    """Sub-pixel place of a bright line across a profile."""
    light = profile.astype(float) - np.median(profile)
    light[light < 0.2 * light.max()] = 0
    return float((light * np.arange(len(light))).sum() / light.sum())


@pytest.mark.parametrize("x", [20.0, 20.25, 20.5, 20.8125])
@pytest.mark.parametrize("width", [1, 2, 3])
def test_a_stroke_lies_at_its_pixel(x, width):
    canvas = Canvas.blank(41, 41, (0, 0, 0))
    canvas.stroke([[x, 2.0], [x, 38.0]], (255, 255, 255), width)
    light = canvas.pixels[20, :, 0].astype(float)
    assert light @ np.arange(41) / light.sum() == pytest.approx(x, abs=0.06)


@pytest.mark.parametrize("panel_width", [150, 600, 2080])
def test_the_panel_keeps_pixel_edges_where_the_photo_has_them(panel_width):
    photo = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
    photo[:, 400:] = 200  # the edge lies at 399.5, between two pixels' centres
    view = panel_view(made_rose(8), panel_width, 4000)
    canvas = Canvas.blank(view.width, view.height)
    draw_photo(canvas, photo, view)
    row = canvas.pixels[view.height // 2, :, 0].astype(float)
    after = int(np.argmax(row > 100))
    edge = after - 1 + (100 - row[after - 1]) / (row[after] - row[after - 1])
    assert edge == pytest.approx(view.xy_of(np.array([399.5, 10.0]))[0], abs=0.1 * max(1, panel_width / WIDTH))


def photo_of_line_and_dot(tip):
    """A pale line along the tip's seam, inward too, and a pale dot at the tip, both blurred, on a dark ground."""
    v, u = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    a, b = tip.seam_px
    along = (b - a) / np.hypot(*(b - a))
    across = (u - a[0]) * along[1] - (v - a[1]) * along[0]
    dot = (u - tip.tip_px[0]) ** 2 + (v - tip.tip_px[1]) ** 2
    light = 120 * np.exp(-(across**2) / 2) + 120 * np.exp(-dot / 2)
    return np.repeat(np.rint(20 + light).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("bearing", [0.0, 0.7, 1.6, 3.1, -2.0, -1.1])
def test_an_inset_shows_seam_and_tip_where_it_draws_them_clockwise_to_the_right(bearing):
    tip = made_tip(1, bearing, 0.05)
    others = [made_tip(k + 2, bearing + 0.9 * (k + 1), 0.0) for k in range(5)]
    local = PlanMap(made_inspection([tip, *others])).local(tip)
    view = view_of(tip, local, 500, 410, TOLERANCE_IN)
    wood = draw_wood(photo_of_line_and_dot(tip), view, 500, 410)[:, :, 0]
    assert view.foot_xy[0] == 249.5  # the middle between the first column's centre and the last one's
    for row in (10, 60, 400):
        # The photo has 40 px/in here, the inset 800: a tenth of a photo's pixel.
        assert middle_of(wood[row]) == pytest.approx(249.5, abs=2.0)
    x, y = view.xy_of(tip.tip_px)
    assert y == pytest.approx(view.foot_xy[1], abs=1e-6)
    beside = wood[:, round(x) - 20 : round(x) + 21]
    rows, columns = np.nonzero(beside >= beside.max() - 4)
    if abs(x - 249.5) > 60:  # clear of the line's own light
        assert columns.mean() + round(x) - 20 == pytest.approx(x, abs=2.0)
        assert rows.mean() == pytest.approx(y, abs=2.0)
    lean = lean_in(tip, view)
    assert x - 249.5 == pytest.approx((0.05 + lean) * view.px_per_in, abs=1e-6)
    # What the camera says of the raised tip's place on the field, beside its place in plan.
    on_field = CAMERA.plane_from_px(tip.tip_px) @ right_of(unit_of_bearing(bearing))
    assert lean == pytest.approx(on_field - 0.05, abs=0.0005)


@pytest.mark.parametrize(("offset", "u95"), [(0.05, 0.004), (-0.05, 0.004), (0.02, 0.012)])
def test_the_gauge_draws_offset_and_u95_to_scale(offset, u95):
    tip = replace(made_tip(1, 0.4, offset), seam_offset=estimate(offset, u95))
    view = view_of(tip, PlanMap(made_inspection([tip])).local(tip), 500, 410, TOLERANCE_IN)
    canvas = Canvas.blank(500, 472)
    draw_inset(canvas, grey_photo(), tip, view, TOLERANCE_IN)
    gauge = canvas.pixels[410:]
    colour = np.array(MARK_COLOURS["off"][::-1])
    barred = np.nonzero((gauge[18 - 5] == colour).all(axis=-1))[0]
    ends = sorted([249.5, 249.5 + offset * view.px_per_in])
    # The bracket's strokes (3 px and their soft edges) may cover an end of the bar, as far in as its u95.
    assert ends[0] - 2 < barred.min() < ends[0] + u95 * view.px_per_in + 5
    assert ends[1] - u95 * view.px_per_in - 5 < barred.max() < ends[1] + 2
    ink = 2 + np.nonzero(gauge[18 - 10, 2:-2, 0] < 90)[0]  # within the frame
    bracket = 249.5 + (offset + np.array([-u95, u95])) * view.px_per_in
    for end in bracket:
        assert np.abs(ink - end).min() <= 1.0
    assert ink.max() <= max(*bracket, 249.5) + 3
    assert ink.min() >= min(*bracket, 249.5) - 3


def test_no_offset_is_drawn_for_an_unmeasured_tip():
    tip = made_tip(1, 0.4, 0.05, verdict=Verdict.UNMEASURED, reason=Reason.EDGE_AMBIGUOUS)
    view = view_of(tip, PlanMap(made_inspection([tip])).local(tip), 500, 410, TOLERANCE_IN)
    canvas = Canvas.blank(500, 472)
    draw_inset(canvas, grey_photo(), tip, view, TOLERANCE_IN)
    above_ticks = canvas.pixels[412:445, 2:-2]
    assert np.all(above_ticks == np.array(PAPER[::-1]))


def test_plan_map_is_the_camera_s_own():
    rose = made_rose(8, (Verdict.ON,))
    plan = PlanMap(rose)
    for tip in rose.tips:
        here = CAMERA.plane_from_px(tip.tip_px, VENEER_IN)
        step = 0.01 * np.eye(2)
        true = np.stack(
            [(CAMERA.px_from_plane(here + d, VENEER_IN) - CAMERA.px_from_plane(here - d, VENEER_IN)) / 0.02 for d in step], axis=-1
        )
        np.testing.assert_allclose(plan.local(tip), true, rtol=0, atol=0.01 * np.abs(true).max())


def test_with_few_tips_an_inch_is_as_long_either_way():
    tip = made_tip(1, 0.4, 0.05)
    inspection = made_inspection([tip])
    k = inspection.scale.px_per_in
    np.testing.assert_allclose(PlanMap(inspection).local(tip), [[k, 0], [0, -k]])


def test_colours_are_given_red_first_and_stored_blue_first():
    canvas = Canvas.blank(3, 3, (10, 20, 30))
    assert canvas.pixels[0, 0].tolist() == [30, 20, 10]
    canvas = Canvas.blank(200, 100)
    canvas.write("I", 20, 10, 60, bold=True, colour=(200, 0, 10))
    assert [10, 0, 200] in canvas.finished().reshape(-1, 3).tolist()
    assert INK != PAPER

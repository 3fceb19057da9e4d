"""Field seams on made-up wood whose seam is known: leaves of slanted grain, with a line, a step or the grain alone."""

from __future__ import annotations

from dataclasses import dataclass
from math import erf
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.stats import binom, norm

from seamcheck.basis.frames import Array, bearing_of, right_of, unit_of_bearing
from seamcheck.basis.reasons import Reason
from seamcheck.basis.uncertain import COVERAGE_95
from seamcheck.edges import LinearPatch
from seamcheck.measure import seam_line
from seamcheck.measure.seam_grain import GrainEvidence
from seamcheck.measure.seam_line import LineFit
from seamcheck.measure.seam_search import gather
from seamcheck.measure.seams import SeamFit, Weighed, decide, measure_seam
from seamcheck.plane.camera import Camera

PX_PER_IN = 160.0
HEIGHT_IN = 20.0
SIZE_PX = (380, 140)  # along, across
BLUR_PX = 0.7
NOISE = 0.004  # of full light, per pixel and channel
REACH_IN = 2.0
TIP = np.array([0.0, 4.0])
# A camera straight above the middle of the patch: u to the right, v down.
CAMERA = Camera(PX_PER_IN * HEIGHT_IN, 1.0, SIZE_PX[1] / 2, 350.0, 0, 0, 0, 0, np.array([np.pi, 0, 0]), np.array([0.0, 4.0, HEIGHT_IN]))


@dataclass(frozen=True)
class Field:
    patch: LinearPatch
    offset_in: float  # how far the tip lies to the right of the seam


def grain(rng: np.random.Generator, lean: float) -> NDArray[np.float64]:
    """Slanted correlated noise of unit spread, (along, across); lean: angle of the grain from the seam, rad."""
    n, m = SIZE_PX[0] + 60, SIZE_PX[1] + 60
    fy, fx = np.meshgrid(np.fft.fftfreq(n), np.fft.fftfreq(m), indexing="ij")
    along, across = fy * np.cos(lean) + fx * np.sin(lean), -fy * np.sin(lean) + fx * np.cos(lean)
    shape = np.exp(-0.5 * ((2 * np.pi * along * 9) ** 2 + (2 * np.pi * across * 0.8) ** 2))
    texture = np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, m))) * shape).real[: SIZE_PX[0], : SIZE_PX[1]]
    return np.asarray(texture / texture.std())


def field(
    seed: int,
    line: float = 0.0,
    line_width_in: float = 0.0,
    step: float = 0.0,
    contrast: float = 0.06,
    offset_in: float | None = None,
    lean: float | None = None,
) -> Field:
    """A field with its seam near the tip; line and step in log light, contrast that of the grain."""
    rng = np.random.default_rng(seed)
    offset = rng.uniform(-0.04, 0.04) if offset_in is None else offset_in
    slope = rng.uniform(-0.012, 0.012)
    usual_lean = rng.uniform(0.35, 0.8)
    lean = usual_lean if lean is None else lean
    rows, columns = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]), indexing="ij")
    xy = CAMERA.plane_from_px(np.stack([columns, rows], axis=-1).astype(float))
    # Signed distance to the seam, to the right of it as seen outward (bearing 0 is +y, its right +x).
    right_px = ((xy[..., 0] - TIP[0]) + offset - slope * (xy[..., 1] - TIP[1])) / np.hypot(1, slope) * PX_PER_IN
    share = norm.cdf(right_px / np.hypot(BLUR_PX, np.sqrt(1 / 12)))  # the photo's blur, and the pixel's own width
    left, right = contrast * grain(rng, lean), contrast * grain(rng, -lean * rng.uniform(0.85, 1.15)) + step
    log_light = np.log(0.4) + left + share * (right - left)
    if line:
        spread = np.sqrt(BLUR_PX**2 + (1 + (line_width_in * PX_PER_IN) ** 2) / 12)
        log_light = log_light + line * line_width_in * PX_PER_IN / (spread * np.sqrt(2 * np.pi)) * np.exp(-0.5 * (right_px / spread) ** 2)
    light = np.exp(log_light)[..., None] * np.array([0.6, 0.8, 1.0]) + rng.normal(0, NOISE, (*SIZE_PX, 3))
    return Field(LinearPatch(light.astype(np.float32), 0, 0), float(offset / np.hypot(1, slope)))


def measured(made: Field, tip_in: Array = TIP, bearing: float = 0.0, **options: object) -> SeamFit | Reason:
    return measure_seam(made.patch, CAMERA, tip_in, bearing, REACH_IN, **options)  # type: ignore[arg-type]


def error_and_u(made: Field, fit: SeamFit) -> tuple[float, float]:
    return fit.line.offset_of(TIP) - made.offset_in, float(np.hypot(fit.line.u_sampling_at(TIP), fit.line.u_model_in))


def test_made_up_seam_lies_where_it_was_put() -> None:
    """The test's own geometry: a strong line's darkest column, read off the pixels, agrees with the offset that was asked for."""
    made = field(0, line=-1.0, line_width_in=0.004, contrast=0.0, offset_in=0.03)
    row = round(float(CAMERA.px_from_plane(TIP)[1])) - 1
    darkest = int(np.argmin(made.patch.picture[row, :, 1]))
    assert CAMERA.plane_from_px(np.array([darkest, row], float))[0] == pytest.approx(-0.03, abs=0.6 / PX_PER_IN)


@pytest.mark.parametrize(
    ("name", "look", "cue", "worst_in", "widest_u95_in"),
    [
        ("dark line", {"line": -0.8, "line_width_in": 0.003}, "line", 0.004, 0.003),
        ("pale line", {"line": 0.5, "line_width_in": 0.003}, "line", 0.006, 0.004),
        ("line beside a step", {"line": -0.8, "line_width_in": 0.004, "step": 0.05}, "line", 0.004, 0.003),
        ("step on faint grain", {"step": 0.10, "contrast": 0.015}, "step", 0.004, 0.005),
        ("grain", {}, "grain", 0.012, 0.010),
    ],
)
def test_seam_is_found_within_what_it_says(name: str, look: dict[str, float], cue: str, worst_in: float, widest_u95_in: float) -> None:
    """Errors against the known seam: their size, and that 95 in 100 lie inside u95 (binomial at 1 in 1000)."""
    runs = 30
    outcomes = [(made := field(1000 + seed, **look), measured(made)) for seed in range(runs)]
    fits = [(made, fit) for made, fit in outcomes if isinstance(fit, SeamFit)]
    assert len(fits) >= 0.95 * runs
    assert sum(fit.cue == cue for _, fit in fits) >= 0.6 * len(fits)
    errors, u = np.array([error_and_u(made, fit) for made, fit in fits]).T
    inside = int((np.abs(errors) <= COVERAGE_95 * u).sum())
    assert inside >= binom.ppf(0.001, len(fits), 0.95)
    assert np.abs(errors).max() < worst_in
    assert COVERAGE_95 * u.mean() < widest_u95_in
    # Not a guess in the middle: the errors are far smaller than the offsets that were laid.
    assert np.median(np.abs(errors)) < 0.1 * np.std([made.offset_in for made, _ in fits])


def test_offset_is_positive_when_the_tip_lies_clockwise() -> None:
    made = field(5, line=-0.8, line_width_in=0.003, offset_in=0.03)
    fit = measured(made)
    assert isinstance(fit, SeamFit)
    # The tip lies 0.03 in toward +x, which is clockwise about a centre below it.
    assert fit.line.offset_of(TIP) == pytest.approx(0.03, abs=0.002)
    assert fit.line.offset_of(TIP + [0.01, 0.0]) > fit.line.offset_of(TIP)


@pytest.mark.parametrize("look", [{"line": -0.8, "line_width_in": 0.003}, {"step": 0.1}, {}])
@pytest.mark.parametrize("seed", [11, 12, 13])
def test_mirrored_photo_gives_the_opposite_offset(look: dict[str, float], seed: int) -> None:
    made = field(seed, **look)
    centre = (SIZE_PX[1] - 1) / 2
    mirrored = LinearPatch(np.ascontiguousarray(made.patch.picture[:, ::-1]), 0, 0)
    # Mirrored about the patch's middle column, the tip goes to the other side of it.
    middle = float(CAMERA.plane_from_px(np.array([centre, 200.0]))[0])
    other_tip = np.array([2 * middle - TIP[0], TIP[1]])
    here, there = measured(made), measured(Field(mirrored, -made.offset_in), tip_in=other_tip)
    assert isinstance(here, SeamFit)
    assert isinstance(there, SeamFit)
    u = float(np.hypot(here.line.u_sampling_at(TIP), here.line.u_model_in))
    assert here.line.offset_of(TIP) == pytest.approx(-there.line.offset_of(other_tip), abs=max(0.0005, 0.5 * u))


@pytest.mark.parametrize("turn", [-0.02, 0.02])
def test_seam_stays_when_tip_and_bearing_are_a_little_off(turn: float) -> None:
    """The same seam, looked for from another tip and bearing, is the same line of the plane."""
    made = field(21, line=-0.8, line_width_in=0.003)
    first = measured(made)
    second = measured(made, tip_in=TIP + [0.012, 0.01], bearing=turn)
    assert isinstance(first, SeamFit)
    assert isinstance(second, SeamFit)
    assert first.line.offset_of(TIP) == pytest.approx(second.line.offset_of(TIP), abs=0.001)
    assert first.line.bearing == pytest.approx(second.line.bearing, abs=0.001)


def test_line_runs_outward_on_the_field_s_face() -> None:
    fit = measured(field(31, line=-0.8, line_width_in=0.003))
    assert isinstance(fit, SeamFit)
    inner, outer = fit.line.ends_in
    assert fit.line.z_in == 0.0
    assert (outer - inner) @ unit_of_bearing(0.0) > 1.5
    assert 0 < (inner - TIP)[1] < 0.2
    assert abs(float(bearing_of(outer - inner)) - fit.line.bearing) < 1e-9
    assert np.allclose(right_of(fit.line.direction), fit.line.normal)


def test_shorter_stretch_is_less_certain_at_the_tip() -> None:
    made = field(41, line=-0.8, line_width_in=0.003)
    whole = measure_seam(made.patch, CAMERA, TIP, 0.0, 2.0)
    part = measure_seam(made.patch, CAMERA, TIP, 0.0, 0.8)
    assert isinstance(whole, SeamFit)
    assert isinstance(part, SeamFit)
    assert part.line.u_sampling_at(TIP) > whole.line.u_sampling_at(TIP)


def test_a_line_seen_over_a_few_blocks_alone_lies_within_what_it_says() -> None:
    """So short a stretch has three blocks, which say little of their own scatter: 95 in 100 lie inside u95 all the same (1 in 1000)."""
    made = [field(1000 + seed, line=-0.8, line_width_in=0.003) for seed in range(60)]
    fits = [(one, fit) for one in made if isinstance(fit := measure_seam(one.patch, CAMERA, TIP, 0.0, 0.48), SeamFit)]
    assert len(fits) >= 0.7 * len(made)
    errors, u = np.array([error_and_u(one, fit) for one, fit in fits]).T
    assert int((np.abs(errors) <= COVERAGE_95 * u).sum()) >= binom.ppf(0.001, len(fits), 0.95)


def test_card_over_the_seam_hides_it() -> None:
    card = np.array([[-0.5, 4.05], [0.5, 4.05], [0.5, 6.5], [-0.5, 6.5]])
    assert measured(field(51, line=-0.8, line_width_in=0.003), blocked=[card]) is Reason.SEAM_COVERED


def test_card_over_a_part_leaves_the_rest() -> None:
    made = field(52, line=-0.8, line_width_in=0.003)
    made.patch.picture[60:200] = 0.9
    card = np.array([[-0.6, y] for y in (CAMERA.plane_from_px(np.array([[0.0, 200.0], [0.0, 60.0]]))[:, 1])])
    card = np.concatenate([card, [[0.6, card[1, 1]], [0.6, card[0, 1]]]])
    fit = measured(made, blocked=[card])
    assert isinstance(fit, SeamFit)
    error, u = error_and_u(made, fit)
    assert abs(error) < 3 * u < 0.01


def test_tape_across_the_seam_is_left_out() -> None:
    """Paper of another colour with a streak of its own, not announced by anyone."""
    made = field(53, line=-0.8, line_width_in=0.003)
    tape = slice(120, 230)
    made.patch.picture[tape] = np.array([0.25, 0.42, 0.5], np.float32)
    made.patch.picture[tape, 78:80] *= 0.5
    fit = measured(made)
    assert isinstance(fit, SeamFit)
    error, u = error_and_u(made, fit)
    assert abs(error) < 3 * u < 0.01


def test_plain_board_without_a_seam_is_not_given_one() -> None:
    """One leaf of grain all over: no seam may be claimed with confidence."""
    for seed in range(61, 69):
        rng = np.random.default_rng(seed)
        light = 0.4 * np.exp(0.06 * grain(rng, 0.5))[..., None] * np.ones(3) + rng.normal(0, NOISE, (*SIZE_PX, 3))
        board = Field(LinearPatch(light.astype(np.float32), 0, 0), 0.0)
        fit = measured(board)
        assert isinstance(fit, Reason) or error_and_u(board, fit)[1] > 0.006


def test_streaks_along_the_seam_never_make_it_look_sure() -> None:
    """Grain that runs along the seam says one thing, right or wrong, over its whole length."""
    for seed in range(12):
        made = field(seed, contrast=0.08, lean=0.01)
        fit = measured(made)
        if isinstance(fit, SeamFit):
            error, u = error_and_u(made, fit)
            assert abs(error) < 3 * u, seed


def test_evidence_that_errs_on_the_flanks_is_worth_less() -> None:
    """Streaks that are taken for the other leaf's, the same in every row, against as much noise that differs from row to row."""
    rng = np.random.default_rng(4)
    across = np.arange(-57, 57) * 0.006
    streaks = 1.5 * gaussian_filter1d(rng.normal(size=len(across)), 3) / 0.3
    strip = SimpleNamespace(across_in=across, step_in=0.006)
    along = np.arange(200) * 0.012
    even = 0.3 * np.sign(-across) + rng.normal(0, 1, (200, len(across)))
    streaked = even + streaks
    said = [gather(strip, GrainEvidence(ratio, along), 0.0, 0.06).running for ratio in (even, streaked)]  # type: ignore[arg-type]
    in_middle, aside = len(across) // 2, len(across) // 2 + 10
    gain = [float((running[:, in_middle] - running[:, aside]).sum()) for running in said]
    assert gain[0] > 20
    assert abs(gain[1]) < 5


def test_heavy_pencil_line_is_not_taken_for_the_seam() -> None:
    """A broad dark line 0.06 in beside a seam of grain: the seam, or no answer; never the pencil line with confidence."""
    for seed in range(71, 79):
        made = field(seed, offset_in=0.0)
        drawn = np.exp(-0.5 * ((np.arange(SIZE_PX[1]) - CAMERA.cx_px - 0.05 * PX_PER_IN) / 1.6) ** 2)
        made.patch.picture[:] *= np.exp(-1.2 * drawn)[None, :, None].astype(np.float32)
        fit = measured(made)
        if isinstance(fit, SeamFit):
            error, u = error_and_u(made, fit)
            assert abs(error) < 3 * u
        else:
            assert fit in (Reason.SEAM_AMBIGUOUS, Reason.SEAM_FAINT)


def test_two_thin_lines_are_ambiguous() -> None:
    made = field(81, line=-0.8, line_width_in=0.003, offset_in=0.01)
    second = np.exp(-0.5 * ((np.arange(SIZE_PX[1]) - CAMERA.cx_px - 0.03 * PX_PER_IN) / 0.75) ** 2)
    made.patch.picture[:] *= np.exp(-0.2 * second)[None, :, None].astype(np.float32)
    fit = measured(made)
    assert fit is Reason.SEAM_AMBIGUOUS or (isinstance(fit, SeamFit) and abs(error_and_u(made, fit)[0]) < 3 * error_and_u(made, fit)[1])


def test_a_line_that_leans_more_than_seams_do_is_not_followed() -> None:
    """Figure that runs toward the seam, or a scratch: sharp and dark, but not outward."""
    for seed in range(91, 97):
        made = field(seed, contrast=0.02, offset_in=0.01)
        rows, columns = np.meshgrid(np.arange(SIZE_PX[0]), np.arange(SIZE_PX[1]), indexing="ij")
        beyond_in, right_in = (350.0 - rows) / PX_PER_IN, (columns - CAMERA.cx_px) / PX_PER_IN
        drawn = np.exp(-0.5 * ((right_in - 0.053 * (beyond_in - 1.0)) / 0.006) ** 2)
        made.patch.picture[:] *= np.exp(-0.2 * drawn)[..., None].astype(np.float32)
        fit = measured(made)
        assert fit in (Reason.SEAM_AMBIGUOUS, Reason.SEAM_FAINT) or fit.cue != "line"  # type: ignore[union-attr]


@pytest.mark.parametrize("level", [1.0, 0.0])
def test_a_field_blown_out_or_black_shows_no_seam(level: float) -> None:
    blank = Field(LinearPatch(np.full((*SIZE_PX, 3), level, np.float32), 0, 0), 0.0)
    assert isinstance(measured(blank), Reason)
    # ... nor one with a strip of wood along its side.
    rng = np.random.default_rng(5)
    blank.patch.picture[:, :30] *= np.float32(0.5) + rng.normal(0, 0.01, (SIZE_PX[0], 30, 3)).astype(np.float32)
    assert isinstance(measured(blank), Reason)


def test_a_faint_line_on_a_short_stretch_without_grain_is_not_believed() -> None:
    strip = SimpleNamespace(tip_in=TIP)
    line = LineFit(0.02, 0.0, np.eye(2) * 1e-8, -0.04, 0.006, 16.0, 1.0, 0.001, 0.001, 5)
    alone = Weighed(strip, np.ones(5, bool), 0.3, ((line, 0.0),), 7.0, None, None)  # type: ignore[arg-type]
    assert decide(alone) is Reason.SEAM_COVERED


def test_outside_the_photo_is_covered() -> None:
    made = field(91)
    assert measure_seam(made.patch, CAMERA, TIP + [0.0, 40.0], 0.0, REACH_IN) is Reason.SEAM_COVERED


def test_too_short_a_field_is_covered() -> None:
    assert measure_seam(field(92).patch, CAMERA, TIP, 0.0, 0.2) is Reason.SEAM_COVERED


def test_a_line_smeared_by_the_phone_s_motion_is_still_a_line() -> None:
    """A dark line beside a step, moved across for 7 px: taken for a step, it would be off by half the motion."""
    across = np.ones((1, 7), np.float32) / 7
    fits = []
    for seed in range(12):
        sharp = field(400 + seed, line=-0.8, line_width_in=0.004, step=0.04, contrast=0.03)
        made = Field(LinearPatch(cv2.filter2D(np.asarray(sharp.patch.picture), -1, across), 0, 0), sharp.offset_in)
        fit = measured(made, blur_px=7 / np.sqrt(12))
        if isinstance(fit, SeamFit):
            fits.append((made, fit))
    assert len(fits) >= 9
    assert all(fit.cue == "line" for _, fit in fits)
    errors, u = np.array([error_and_u(made, fit) for made, fit in fits]).T
    assert (np.abs(errors) <= COVERAGE_95 * u).sum() >= binom.ppf(0.001, len(fits), 0.95)
    assert np.abs(errors).max() < 0.008


def test_blocks_that_show_a_step_and_no_line_between_them_place_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in a field that is blown out in part: where a line of no height lies makes no difference."""
    u = np.arange(-seam_line.FIT_HALF_STEPS, seam_line.FIT_HALF_STEPS + 1, dtype=float)
    bell, edge = np.exp(-0.5 * (u / 1.1) ** 2), 0.5 * np.array([erf(one / (1.1 * 2**0.5)) for one in u])
    profile = np.stack([0.2 * edge - 0.1 * bell, np.zeros_like(u), 0.2 * edge + 0.1 * bell])
    monkeypatch.setattr(seam_line, "_blocks_about", lambda strip, line_in: (profile, np.array([0.2, 0.4, 0.6])))
    strip = SimpleNamespace(along_in=np.linspace(0, 0.8, 9), step_in=0.005)
    assert seam_line.fit_line(strip, 0.0, 0.0, 0.4) is None  # type: ignore[arg-type]

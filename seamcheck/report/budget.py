"""For one lobe: what each source adds to its numbers' uncertainty, and what would shrink it most."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from ..basis.uncertain import COVERAGE_95, Estimate
from ..result import Help, Inspection, Tip
from .words import clock_of, u95_decimals

WIDTH = 80

# In the order of the table. What a source isn't in here for is said by its own name.
WORDS = {
    "edges": "finding the edges in the picture",
    "edges model": "shadow, blur and bow along the edges",
    "seam": "finding the field seam",
    "seam model": "what misleads along the seam (figure, two cues)",
    "own seam": "finding the lobe's own seam",
    "own seam model": "what misleads along the own seam",
    "centre": "the rose's centre, by all own seams",
    "centre model": "what misleads along the own seams",
    "cards": "the cards' corners in the picture",
    "card's thickness": "the cards' thickness (bare, or glued to card)",
    "print": "the print's scale",
    "focal length": "the lens's focal length",
    "lens": "the lens's distortion",
    "veneer": "the veneer's thickness (the photo leans)",
}
ROSE = (("seam_offset", "off its seam"), ("reach", "reach"))
LOOSE = (("own_seam_offset", "own seam off"), ("length", "length"))


def budget_lines(inspection: Inspection, lobe: int | None) -> list[str]:
    """The budget of one lobe, or of every one (None)."""
    lines: list[str] = []
    for k, tip in enumerate(inspection.tips):
        if lobe is None or tip.lobe == lobe:
            helps = inspection.helps[k] if inspection.helps else {}
            lines += ["", *_lobe_lines(tip, dict(helps), worked_out=bool(inspection.helps))]
    if inspection.together is not None and lines:
        lines += ["", "What would help is worked out for one photo at a time: ask the same of the best one alone."]
    return lines


def _lobe_lines(tip: Tip, helps: dict[str, tuple[Help, ...]], worked_out: bool) -> Iterator[str]:
    given: list[tuple[str, str, Estimate]] = []
    for name, words in LOOSE if tip.ring is None else ROSE:
        estimate = getattr(tip, name)
        if estimate is not None:
            given.append((name, words, estimate))
    place = f"Lobe {tip.lobe}" if tip.ring is None else f"Lobe {tip.lobe} at {clock_of(tip.bearing)}"
    if not given:
        yield f"{place}: none of its numbers is measured, so there is nothing to share out."
        return
    yield f"{place}: what makes its numbers uncertain (each as ±, inches)"
    yield f"  {'':48}" + "".join(f" {words:>13}" for _, words, _ in given)
    sources = dict.fromkeys([*WORDS, *(name for _, _, estimate in given for name in estimate.parts)])
    for source in sources:
        cells = [estimate.parts.get(source) for _, _, estimate in given]
        if any(cells):
            shown = "".join(f" {'' if part is None else u95_decimals(COVERAGE_95 * part):>13}" for part in cells)
            yield f"  {WORDS.get(source, source):48}{shown}"
    yield f"  {'all together (root of the sum of squares)':48}" + "".join(f" {u95_decimals(e.u95):>13}" for _, _, e in given)
    if worked_out:
        for name, words, estimate in given:
            yield from textwrap.wrap(_advice(words, estimate, helps.get(name, ())), WIDTH, initial_indent="  ", subsequent_indent="    ")


def _advice(number: str, estimate: Estimate, helps: tuple[Help, ...]) -> str:
    head = f"{number[:1].upper()}{number[1:]}, now ±{u95_decimals(estimate.u95)}."
    if not helps:
        return f"{head} No single thing that you can do would shrink it by much."
    best, *rest = [f"{one.words}: ±{u95_decimals(one.u95_after)}" for one in helps[:2]]
    return f"{head} What would shrink it most: {best}." + "".join(f" Next: {words}." for words in rest)

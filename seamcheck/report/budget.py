"""For one lobe: what each source adds to its numbers' uncertainty, and what would shrink it most."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from ..basis.language import say, to_say
from ..basis.uncertain import COVERAGE_95, Estimate
from ..basis.units import lengths
from ..result import Help, Inspection, Tip
from .words import clock_of, u95_decimals

WIDTH = 80

# In the order of the table. What a source isn't in here for is said by its own name.
WORDS = {
    "edges": to_say("finding the edges in the picture"),
    "edges model": to_say("shadow, blur and bow along the edges"),
    "seam": to_say("finding the field seam"),
    "seam model": to_say("what misleads along the seam (figure, two cues)"),
    "own seam": to_say("finding the lobe's own seam"),
    "own seam model": to_say("what misleads along the own seam"),
    "centre": to_say("the rose's centre, by all own seams"),
    "centre model": to_say("what misleads along the own seams"),
    "cards": to_say("the cards' corners in the picture"),
    "card's thickness": to_say("the cards' thickness (bare, or glued to card)"),
    "print": to_say("the print's scale"),
    "focal length": to_say("the lens's focal length"),
    "lens": to_say("the lens's distortion"),
    "known length": to_say("the length that you gave, and the eased edge"),
    "round edge": to_say("finding the top's round edge in the picture"),
    "roundness": to_say("how round the top is"),
    "tilt": to_say("how far the phone leaned"),
    "veneer": to_say("the veneer's thickness (the photo leans)"),
}
ROSE = (("seam_offset", to_say("off its seam")), ("reach", to_say("reach")))
LOOSE = (("own_seam_offset", to_say("off its own seam")), ("length", to_say("length")))


def budget_lines(inspection: Inspection, lobe: int | None) -> list[str]:
    """The budget of one lobe, or of every one (None)."""
    lines: list[str] = []
    for k, tip in enumerate(inspection.tips):
        if lobe is None or tip.lobe == lobe:
            helps = inspection.helps[k] if inspection.helps else {}
            lines += ["", *_lobe_lines(tip, dict(helps), worked_out=bool(inspection.helps))]
    if inspection.together is not None and lines:
        lines += ["", say("What would help is worked out for one photo at a time: ask the same of the best one alone.")]
    return lines


def _lobe_lines(tip: Tip, helps: dict[str, tuple[Help, ...]], worked_out: bool) -> Iterator[str]:
    given: list[tuple[str, str, Estimate]] = []
    for name, words in LOOSE if tip.ring is None else ROSE:
        estimate = getattr(tip, name)
        if estimate is not None:
            given.append((name, say(words), estimate))
    place = (
        say("Lobe {lobe}", lobe=tip.lobe) if tip.ring is None else say("Lobe {lobe} at {clock}", lobe=tip.lobe, clock=clock_of(tip.bearing))
    )
    if not given:
        yield say("{lobe}: none of its numbers is measured, so there is nothing to share out.", lobe=place)
        return
    yield say("{lobe}: what makes its numbers uncertain (each as ±, {inches})", lobe=place, inches=lengths().plural)
    yield f"  {'':48}" + "".join(f" {words:>13}" for _, words, _ in given)
    sources = dict.fromkeys([*WORDS, *(name for _, _, estimate in given for name in estimate.parts)])
    for source in sources:
        cells = [estimate.parts.get(source) for _, _, estimate in given]
        if any(cells):
            shown = "".join(f" {'' if part is None else u95_decimals(COVERAGE_95 * part):>13}" for part in cells)
            yield f"  {say(WORDS.get(source, source)):48}{shown}"
    yield f"  {say('all together (root of the sum of squares)'):48}" + "".join(f" {u95_decimals(e.u95):>13}" for _, _, e in given)
    if worked_out:
        for name, words, estimate in given:
            yield from textwrap.wrap(_advice(words, estimate, helps.get(name, ())), WIDTH, initial_indent="  ", subsequent_indent="    ")


def _advice(number: str, estimate: Estimate, helps: tuple[Help, ...]) -> str:
    name = f"{number[:1].upper()}{number[1:]}"
    head = say("{number}, now ±{u95}.", number=name, u95=u95_decimals(estimate.u95))
    if not helps:
        return f"{head} {say('No single thing that you can do would shrink it by much.')}"
    best, *rest = [f"{one.words}: ±{u95_decimals(one.u95_after)}" for one in helps[:2]]
    more = "".join(f" {say('Next: {what}.', what=words)}" for words in rest)
    return f"{head} {say('What would shrink it most: {what}.', what=best)}{more}"

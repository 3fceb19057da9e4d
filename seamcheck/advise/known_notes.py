"""What the person should know of a scale that comes from a known length, and what to do about it."""

from __future__ import annotations

from ..basis.language import say
from ..basis.units import lengths
from ..plane.known import KnownSolve


def known_notes(solve: KnownSolve, diameter_in: float | None) -> tuple[str, ...]:
    """Plain sentences, worst first."""
    words = []
    if solve.edge_px is not None and diameter_in is not None:
        across = lengths().plain(diameter_in)
        if solve.is_rim:
            words.append(
                say(
                    "The scale rests on the top's rim, {across} across: see in the picture that the line runs along the rim all round.",
                    across=across,
                )
            )
        else:
            words.append(
                say(
                    "The line that was taken for the top's rim may be a band's inner edge, so lengths are uncertain by a fifth. See in the "
                    "picture where it runs: if it is the rim, {across} across, say so by --rim; if not, lay the top on a bench of another "
                    "tone, or lay cards.",
                    across=across,
                )
            )
    if solve.edge_px is None:
        words.append(
            say("Nothing tells how far the phone leaned, so lengths are uncertain by that; show the top's whole edge, or lay cards.")
        )
    return tuple(words)

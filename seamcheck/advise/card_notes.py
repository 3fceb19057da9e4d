"""What the person should know of the cards and the camera: what was left out or doubted, and what to do about it."""

from __future__ import annotations

import numpy as np

from ..basis.frames import Array
from ..basis.language import say, to_say
from ..cards.detect import CardSearch
from ..cards.print_check import PrintScale
from ..plane.solve import PlaneSolve

# Cards all within this much of a turn about the rose leave its other side to the lens's word.
ONE_SIDE_RAD = np.pi
FEW_CARDS = 3

BARS_UNREAD = to_say(
    "The check bars weren't read, so lengths carry the printer's error (3 % where a sheet was made to fit the page); "
    "read both with a steel rule."
)


def card_notes(search: CardSearch, solve: PlaneSolve, rose_in: Array, check: PrintScale) -> tuple[str, ...]:
    """Plain sentences, worst first. rose_in: (2,) the rose's middle on the plane."""
    words = [
        say("Card {card} lies in the photo more than once, so none of its copies was used; lay each number once.", card=number)
        for number in search.repeated
    ]
    words += [
        say("Of card {card} too little shows, so it was left out; clear what lies on it, and keep it wholly in the picture.", card=number)
        for number in search.partial
    ]
    words += [
        say("Card {card} doesn't lie flat, so it was left out; flatten it or print it again, and tape its corners down.", card=number)
        for number in solve.faulty
    ]
    words += [
        say(
            "Card {card} is {percent} % {larger} than the others, so it was left out; use cards of one sheet, all lying on the field.",
            card=number,
            percent=format(abs(scale - 1) * 100, ".1f"),
            larger=say("larger") if scale > 1 else say("smaller"),
        )
        for number, scale in solve.other_scale
    ]
    if solve.sheet_doubtful:
        words.append(
            say(
                "The cards come from two sheets of different scale, and the photo can't say which one's bars count, so lengths are "
                "uncertain by that much; use cards of one sheet."
            )
        )
    if not solve.print_suits:
        words.append(
            say("The cards' length and width don't suit the check bars' readings, so lengths may be 2 % off; read both bars again.")
            if check.read
            else say("The cards are printed longer one way than the other, so lengths may be 2 % off; print at 100 % and read both bars.")
        )
    if solve.looks_cropped:
        words.append(
            say(
                "The picture seems cropped, zoomed, or taken by a wide-angle lens, so the camera was worked out from the cards alone; "
                "give the phone's own photo, by its main lens."
            )
        )
    if solve.strained:
        words.append(
            say(
                "The cards don't quite agree with each other, so all uncertainties were widened; lay them flat, and give the phone's "
                "own photo."
            )
        )
    if len(solve.cards) < FEW_CARDS:
        words.append(say("Fewer than three cards were used; lay four or more round the rose for smaller uncertainties."))
    elif _on_one_side(np.array(list(solve.card_places_in.values())), rose_in):
        words.append(say("All cards lie on one side of the rose; spread them round it for smaller uncertainties."))
    if check.bars_read == 1:
        words.append(
            say(
                "Only one check bar was read, so the print's scale the other way rests on how the cards lie in the photo; read both with a "
                "steel rule."
            )
        )
    elif not check.read:
        words.append(say(BARS_UNREAD))
    return tuple(words)


def _on_one_side(cards_in: Array, rose_in: Array) -> bool:
    """Whether some half turn about the rose holds no card."""
    away = cards_in - rose_in
    bearings = np.sort(np.arctan2(away[:, 0], away[:, 1]))
    gaps = np.diff(np.append(bearings, bearings[0] + 2 * np.pi))
    return bool(gaps.max() > ONE_SIDE_RAD)

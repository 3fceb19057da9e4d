"""A designed rose in words and numbers: the same for the first page and for the terminal."""

from __future__ import annotations

from dataclasses import replace

from ..basis.language import say, to_say
from ..basis.units import lengths
from ..design.cut_list import Blanks, CutList
from ..design.draw_up import in_full
from ..design.rose import Ring, Rose
from ..design.wish import Wish
from .words import angle_words, length_words

Rows = list[tuple[str, str]]

ORDER = (
    to_say("Edge both strips of a blank straight, and tape them edge to edge, dark to light: that joint becomes the lobe's own seam."),
    to_say("Lay the pattern's centre line on the joint, at its point and at its root, and hold it down."),
    to_say(
        "Cut the edges in the order of their numbers, each from the shoulder outward, in light passes: a blade that follows the grain "
        "then runs into the waste."
    ),
    to_say(
        "Cut the first ring, lay it on the top with every point on its seam, and try the next ring's pattern in the notches before you "
        "cut that ring."
    ),
)


def chosen_words(words: str, chosen: bool) -> str:
    """A value, and whether nobody gave it."""
    return say("{value}, chosen", value=words) if chosen else words


def ring_rows(rose: Rose, ring: Ring, wish: Wish) -> Rows:
    """A ring's dimensions; those that nobody gave are marked."""
    shape = ring.shape
    along, across = shape.shoulder_in
    rows = [
        (say("root to tip"), length_words(shape.length_in)),
        (
            say("short edge, root to shoulder"),
            chosen_words(length_words(shape.short_edge_in), wish.short_edge_chosen(ring.number)),
        ),
        (say("long edge, shoulder to tip"), length_words(shape.long_edge_in)),
        (say("shoulder from the centre line"), length_words(across)),
        (say("root to the shoulders' height"), length_words(along)),
        (say("root angle"), angle_words(shape.root_angle)),
        (say("tip angle"), angle_words(shape.tip_angle)),
        (say("root from the rose's centre"), length_words(ring.root_in) if ring.root_in else lengths().rule(0.0)),
        (say("tip from the rose's centre"), chosen_words(length_words(ring.reach_in), wish.reach_chosen(ring.number))),
    ]
    if len(rose.rings) > 1:
        last = ring.number == len(rose.rings)
        rows.append((say("notch for the next ring's root"), say("none") if last else angle_words(ring.notch_angle)))
    return rows


def blank_rows(blanks: Blanks) -> Rows:
    """What to cut for a ring."""
    ring = blanks.ring
    spare_ends = (blanks.length_in - ring.shape.length_in) / 2
    return [
        (say("lobes"), say("{count}, and {spare} to spare", count=ring.count, spare=blanks.count - ring.count)),
        (say("strips of either wood"), say("{count}, {width} wide", count=blanks.count, width=lengths().rule(blanks.strip_width_in))),
        (say("their length, along the grain"), lengths().rule(blanks.length_in)),
        (say("spare at each end"), lengths().rule(spare_ends)),
        (say("spare beside the shoulder"), lengths().rule(blanks.strip_width_in - ring.shape.shoulder_in[1])),
    ]


def leaf_rows(cuts: CutList) -> Rows:
    """What all of it takes of one wood."""
    running, leaf = sum(used for _, used in cuts.lanes), lengths().pair(*cuts.leaf_in)
    waste, left = 100 * cuts.waste_share, 100 * (1 - cuts.strip_area_in2 / cuts.leaf_area_in2)
    return [
        (say("strips, end to end"), lengths().rule(running, 8)),
        (
            say("their area"),
            say(
                "{area}: {in_rose} in the rose, {waste} % waste and spare lobes",
                area=lengths().area(cuts.strip_area_in2),
                in_rose=lengths().area(cuts.rose_area_in2).split()[0],
                waste=f"{waste:.0f}",
            ),
        ),
        (
            say("leaves"),
            say("{count} of {size} ({left} % left over)", count=cuts.leaves, size=leaf, left=f"{left:.0f}"),
        ),
    ]


def headline(rose: Rose, wish: Wish) -> str:
    """What it is, in a line."""
    tips = say(" and ").join(dict.fromkeys(lengths().rule(ring.reach_in) for ring in rose.rings))
    return say("{points_in_rings}, tips {tips} from the centre", points_in_rings=_points_in_rings(rose, wish), tips=tips)


def _points_in_rings(rose: Rose, wish: Wish) -> str:
    """ "8 points (chosen) in two rings (chosen)"."""
    rings = {1: say("one ring"), 2: say("two rings"), 3: say("three rings")}[len(rose.rings)]
    points = say("{points} points", points=rose.points)
    return say("{points} in {rings}", points=_aside(points, "points" in wish.taken), rings=_aside(rings, wish.rings_chosen))


def _aside(words: str, chosen: bool) -> str:
    return say("{value} (chosen)", value=words) if chosen else words


def assumed_words(rose: Rose, wish: Wish) -> str:
    """The rose that a command took its options to name, every number that it hangs on, and which of them nobody gave."""
    rings = "; ".join(
        say(
            "ring {number} reaches {reach}, short edge {short}",
            number=ring.number,
            reach=_aside(lengths().limit(ring.reach_in), wish.reach_chosen(ring.number)),
            short=_aside(lengths().limit(ring.shape.short_edge_in), wish.short_edge_chosen(ring.number)),
        )
        for ring in rose.rings
    )
    told = say("The rose: {points_in_rings}; {rings}.", points_in_rings=_points_in_rings(rose, wish), rings=rings)
    numbers = range(1, len(rose.rings) + 1)
    if not any(wish.short_edge_chosen(ring) or wish.reach_chosen(ring) for ring in numbers):
        return told
    return f"{told} " + say("Lobes that were cut to a pattern want that pattern's own numbers: `seamcheck template` ends with them.")


def naming_options(wish: Wish) -> str:
    """What names this very rose on the command line of whatever takes a rose. Which half is dark alters no line of it."""
    return replace(in_full(wish), dark_side="cw").options()


def text_lines(rose: Rose, cuts: CutList, wish: Wish) -> list[str]:
    """The whole as lines for a terminal."""
    lines = [headline(rose, wish) + "."]
    for ring, blanks in zip(rose.rings, cuts.blanks, strict=True):
        lines += ["", say("Ring {number}: {count} lobes", number=ring.number, count=ring.count)]
        lines += [f"  {name:<32}{value}" for name, value in ring_rows(rose, ring, wish) + blank_rows(blanks)]
    lines += ["", say("Of each wood, dark and light")]
    return lines + [f"  {name:<32}{value}" for name, value in leaf_rows(cuts)]

"""A designed rose in words and numbers: the same for the first page and for the terminal."""

from __future__ import annotations

from ..basis.units import lengths
from ..design.cut_list import Blanks, CutList
from ..design.rose import Ring, Rose
from .words import angle_words, length_words

Rows = list[tuple[str, str]]

ORDER = (
    "Edge both strips of a blank straight, and tape them edge to edge, dark to light: that joint becomes the lobe's own seam.",
    "Lay the pattern's centre line on the joint, at its point and at its root, and hold it down.",
    "Cut the edges in the order of their numbers, each from the shoulder outward, in light passes: a blade that follows the grain "
    "then runs into the waste.",
    "Cut the first ring, lay it on the top with every point on its seam, and try the next ring's pattern in the notches before you "
    "cut that ring.",
)


def ring_rows(rose: Rose, ring: Ring) -> Rows:
    """A ring's dimensions."""
    shape = ring.shape
    along, across = shape.shoulder_in
    rows = [
        ("root to tip", length_words(shape.length_in)),
        ("short edge, root to shoulder", length_words(shape.short_edge_in)),
        ("long edge, shoulder to tip", length_words(shape.long_edge_in)),
        ("shoulder from the centre line", length_words(across)),
        ("root to the shoulders' height", length_words(along)),
        ("root angle", angle_words(shape.root_angle)),
        ("tip angle", angle_words(shape.tip_angle)),
        ("root from the rose's centre", length_words(ring.root_in) if ring.root_in else lengths().rule(0.0)),
        ("tip from the rose's centre", length_words(ring.reach_in)),
    ]
    if len(rose.rings) > 1:
        last = ring.number == len(rose.rings)
        rows.append(("notch for the next ring's root", "none" if last else angle_words(ring.notch_angle)))
    return rows


def blank_rows(blanks: Blanks) -> Rows:
    """What to cut for a ring."""
    ring = blanks.ring
    spare_ends = (blanks.length_in - ring.shape.length_in) / 2
    return [
        ("lobes", f"{ring.count}, and {blanks.count - ring.count} to spare"),
        ("strips of either wood", f"{blanks.count}, {lengths().rule(blanks.strip_width_in)} wide"),
        ("their length, along the grain", lengths().rule(blanks.length_in)),
        ("spare at each end", lengths().rule(spare_ends)),
        ("spare beside the shoulder", lengths().rule(blanks.strip_width_in - ring.shape.shoulder_in[1])),
    ]


def leaf_rows(cuts: CutList) -> Rows:
    """What all of it takes of one wood."""
    running = sum(used for _, used in cuts.lanes)
    waste, left = 100 * cuts.waste_share, 100 * (1 - cuts.strip_area_in2 / cuts.leaf_area_in2)
    return [
        ("strips, end to end", lengths().rule(running, 8)),
        (
            "their area",
            f"{lengths().area(cuts.strip_area_in2)}: {lengths().area(cuts.rose_area_in2).split()[0]} in the rose, "
            f"{waste:.0f} % waste and spare lobes",
        ),
        ("leaves", f"{cuts.leaves} of {lengths().pair(*cuts.leaf_in)} ({left:.0f} % left over)"),
    ]


def headline(rose: Rose) -> str:
    """What it is, in a line."""
    rings = {1: "one ring", 2: "two rings", 3: "three rings"}[len(rose.rings)]
    tips = " and ".join(dict.fromkeys(lengths().rule(ring.reach_in) for ring in rose.rings))
    return f"{rose.points} points in {rings}, tips {tips} from the centre"


def text_lines(rose: Rose, cuts: CutList) -> list[str]:
    """The whole as lines for a terminal."""
    lines = [headline(rose) + "."]
    for ring, blanks in zip(rose.rings, cuts.blanks, strict=True):
        lines += ["", f"Ring {ring.number}: {ring.count} lobes"]
        lines += [f"  {name:<32}{value}" for name, value in ring_rows(rose, ring) + blank_rows(blanks)]
    lines += ["", "Of each wood, dark and light"]
    return lines + [f"  {name:<32}{value}" for name, value in leaf_rows(cuts)]

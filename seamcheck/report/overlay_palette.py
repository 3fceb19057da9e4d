"""The picture's colours, and a shape of its own for each thing they stand for.

Shape comes first: every mark can be told by its outline alone, so a grey print or a colour-blind eye
loses nothing. The colours were found by search: as far apart as they would go by CIEDE2000 at once for normal
sight and under the three full colour-vision deficiencies of Machado and others (2009), each light enough for
a dark casing. Lines need less distance from marks, since they are lines, and have dash patterns of their own.
"""

from __future__ import annotations

from ..result import Tip, Verdict

Colour = tuple[int, int, int]  # red, green, blue, 0..255


def colour_of_hex(text: str) -> Colour:
    """(red, green, blue) of "#rrggbb"."""
    return int(text[1:3], 16), int(text[3:5], 16), int(text[5:7], 16)


INK = colour_of_hex("#16181c")  # text, and the casing that carries every line over pale wood
PAPER = colour_of_hex("#ffffff")  # page, plates, and the halo that carries every mark over dark wood
FAINT_INK = colour_of_hex("#4d5259")  # small print
VOID = colour_of_hex("#d9dade")  # inside an inset, where there is no photo

MARK_COLOURS: dict[str, Colour] = {
    "on": colour_of_hex("#4fbcf7"),
    "off": colour_of_hex("#dd1f12"),
    "unsure": colour_of_hex("#f0c95a"),
    "unmeasured": colour_of_hex("#a8a8a8"),
    "open": colour_of_hex("#9a4fa8"),
}
LINE_COLOURS: dict[str, Colour] = {
    "outline": PAPER,  # unbroken
    "seam": colour_of_hex("#35d69a"),  # dashed
}

SUPPOSED_DASH = (10.0, 9.0)  # an edge that could only be supposed: px drawn, px left out

# Corners on a circle of radius 1, v down; None is the disc itself.
MARK_SHAPES: dict[str, tuple[tuple[float, float], ...] | None] = {
    "on": None,  # disc
    "off": ((0.0, -1.12), (1.12, 0.0), (0.0, 1.12), (-1.12, 0.0)),  # square on its corner
    "unsure": ((0.0, -1.05), (1.05, 0.85), (-1.05, 0.85)),  # triangle
    "unmeasured": ((-0.85, -0.85), (0.85, -0.85), (0.85, 0.85), (-0.85, 0.85)),  # square with a stroke through it
    "open": ((-1.0, -1.0), (1.0, -1.0), (0.22, 0.0), (1.0, 1.0), (-1.0, 1.0), (-0.22, 0.0)),  # waisted, like two jaws
}

NO_VERDICT = "none"  # a lobe that lies loose is measured, not judged
MARK_COLOURS[NO_VERDICT] = colour_of_hex("#5a6b8c")
_ARM = 0.38
MARK_SHAPES[NO_VERDICT] = tuple(  # an upright cross
    (x * side, y * side) for side in (1, -1) for x, y in ((_ARM, -1.0), (_ARM, -_ARM), (1.0, -_ARM), (1.0, _ARM), (_ARM, _ARM), (_ARM, 1.0))
)


def kind_of(tip: Tip) -> str:
    """Which mark a tip takes."""
    if tip.verdict is not None:
        return tip.verdict.value
    return NO_VERDICT if tip.own_seam_offset is not None else Verdict.UNMEASURED.value

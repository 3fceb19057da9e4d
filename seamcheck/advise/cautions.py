"""The cautions that go with a step of the work, each said once and in one place (by `say`, where it is put). Common practice, no source."""

from __future__ import annotations

from ..basis.language import to_say

# Before the rose's outline is cut into the field.
KNIFE_IN = to_say(
    "The cut can't be undone, and the last word is yours: check every point by eye and with a straightedge first. "
    "A sharp knife, light passes, and the other hand never ahead of the blade."
)
# Whenever a photo's numbers stand in for the person's own eye.
BY_EYE = to_say("The last word is yours: check what matters by eye and with a straightedge.")
# Wherever a tool is used.
MAKERS_FIRST = to_say("What the maker of a tool says, local rules and a qualified teacher come before anything here.")
# When a pattern is made, and lobes are sawn to it.
TEMPLATE = to_say(
    "Patterns: steel cuts fingers till every edge is filed smooth, and wants eye protection where it is ground or drilled; wood wants "
    "its grain along the centre line and true edges; acrylic wants its film left on, a slow saw that doesn't melt or crack it, and eye "
    "protection. A laser wants smoke drawn off and someone beside it, and never vinyl (PVC), whose smoke is poisonous."
)
SAW_AND_KNIFE = to_say("Saw and knife: the work clamped, the other hand never ahead of the edge, light passes; a mask against fine dust.")
# When the recess is cut.
ROUTER = to_say(
    "Router: eyes and ears protected, a mask and suction against dust (some woods harm skin and lungs), the bit unplugged before it is "
    "touched, the work clamped, both hands on the router. Try depth and line on scrap first: what is cut too deep stays too deep."
)
PARE = to_say(
    "Knife and chisel: sharp, the work clamped, both hands behind the edge, a light pass at a time to the line and not past it. Lift dust "
    "by suction, not by breath, and wear a mask."
)
GLUE_AND_PRESS = to_say("Glue and press: fingers clear of press and clamps, the glue's own label for skin, air and time.")
# Whenever an edge is to be eased.
PLANE = to_say(
    "Plane with a freshly sharpened iron, set fine; the veneer between two straight battens, its edge up and barely proud; with the "
    "grain, not into it; fingers behind the blade. Test after each stroke, and stop when it closes: wood can't be put back. A dust mask, "
    "since some woods irritate skin and lungs."
)

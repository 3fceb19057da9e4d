"""The cautions that go with a step of the work, each said once and in one place. Common practice, no source."""

from __future__ import annotations

# Before the rose's outline is cut into the field.
KNIFE_IN = (
    "The cut can't be undone, and the last word is yours: check every point by eye and with a straightedge first. "
    "A sharp knife, light passes, and the other hand never ahead of the blade."
)
# Whenever a photo's numbers stand in for the person's own eye.
BY_EYE = "The last word is yours: check what matters by eye and with a straightedge."

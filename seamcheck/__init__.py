"""Seamcheck: how well a compass rose's points and joints fit a matched veneer top, from one photo.

Lengths are inches, angles radians (unless a name says `_deg`), pixels are those of the upright photo.
"""

__version__ = "0.1.0"

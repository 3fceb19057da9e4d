"""Why a rose can't be laid into a recess by photo: more of the family in `errors`, which would grow too long."""

from __future__ import annotations

from .errors import PhotoError
from .language import to_say


class NoRecessFound(PhotoError):
    wrong = to_say("The cards were read in {photo}, but no recess in the shape of the rose was found:")
    remedy = to_say("take the photo from above, the whole recess in view and clear of dust and tape, and give the rose that goes in.")


class RoseInRecess(PhotoError):
    wrong = to_say("A rose lies where the recess should be in {photo}:")
    remedy = to_say("lift it out, brush the recess clean, and take the photo again.")


class WhichWayIn(PhotoError):
    wrong = to_say("It can't be told which way the rose goes into the recess in {photo}:")
    remedy = to_say("say where its lobe 1 goes, as this photo shows it, by --lobe-1-at 12 or 2:15, or leave the cards as they lay.")


class NoPointThere(PhotoError):
    wrong = to_say("No point of the recess that lobe {lobe} could go into lies at {clock}, as its photo shows it:")
    remedy = to_say("the nearest lie at {before} and at {after}; say where it goes by --lobe-1-at.")


class NothingToSeat(PhotoError):
    wrong = to_say("{photo} shows no rose that can be laid into a recess:")
    remedy = to_say("give the dry fit that was knifed round, with most of its long edges in view (--stage dry-fit says that it is one).")

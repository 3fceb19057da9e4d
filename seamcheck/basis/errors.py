"""Every way in which a photo or a file is refused, each with what to do about it."""

from __future__ import annotations


class SeamcheckError(Exception):
    """Something a person can mend. `str()` gives one plain sentence: what is wrong and what to do."""

    wrong = "Something went wrong."
    remedy = ""

    def __init__(self, **words: object) -> None:
        self.words = words
        super().__init__(f"{self.wrong} {self.remedy}".strip().format(**words))


class PhotoError(SeamcheckError):
    """The photo can't be measured."""


class FileError(SeamcheckError):
    """A file can't be read or written."""


class NoCardFound(PhotoError):
    wrong = "No scale card can be read in {photo}:"
    remedy = "lay printed cards flat round the rose, in view and in even light, and take the photo again."


class NoRoseFound(PhotoError):
    wrong = "The cards were read in {photo}, but no rose was found:"
    remedy = "take the photo from above with the whole rose in view."


class PhotoTooSoft(PhotoError):
    wrong = "{photo} is too blurred to measure:"
    remedy = "hold the phone still, tap on the rose to focus, and take the photo again in more light."

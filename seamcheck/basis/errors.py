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


class BadLength(SeamcheckError):
    wrong = "{text!r} is not a length above zero:"
    remedy = "write inches as 0.0238, 1/42 or 2 1/2, or millimetres as 0.6mm."


class FileMissing(FileError):
    wrong = "There is no file {photo}:"
    remedy = "check the name and the folder."


class FileIsFolder(FileError):
    wrong = "{photo} is a folder, or otherwise no ordinary file:"
    remedy = "name one photo in it, or measure a whole folder by `seamcheck folder`."


class FileLocked(FileError):
    wrong = "{photo} may not be read:"
    remedy = "allow yourself to read it, or copy it to a folder of your own."


class FileUnreadable(FileError):
    wrong = "{photo} can't be read ({why}):"
    remedy = "copy it again from the phone or the card."


class FileTooLarge(FileError):
    wrong = "{photo} is {megabytes:.0f} MB long, more than the {limit:.0f} MB of any photo:"
    remedy = "save it as a JPEG, and give that."


class NotOurs(FileError):
    wrong = "{file} is already there and is not {what} of ours, so it stays as it is:"
    remedy = "name another file."


class OutputIsPhoto(FileError):
    wrong = "{file} is the photo itself, which is never changed:"
    remedy = "name another file for what is to be written."


class OutputTwice(FileError):
    wrong = "{file} is named for two different outputs:"
    remedy = "give each a file of its own."


class NoFolder(FileError):
    wrong = "There is no folder {folder} to write {file} in:"
    remedy = "make it first, or name another."


class CantWrite(FileError):
    wrong = "{file} can't be written ({why}):"
    remedy = "name a file in a folder of your own, on a disk that has room."


class PhotoEmpty(PhotoError):
    wrong = "{photo} is empty:"
    remedy = "copy it again from the phone."


class PhotoCutShort(PhotoError):
    wrong = "{photo} is damaged or cut short:"
    remedy = "copy it again from the phone."


class NotAPhoto(PhotoError):
    wrong = "{photo} is not a picture that can be read:"
    remedy = "give the phone's own JPEG or HEIC, or a PNG, TIFF or WebP of it."


class RawPhoto(PhotoError):
    wrong = "{photo} is a camera's raw file:"
    remedy = "save it as a JPEG at full size, and give that."


class PanoramaPhoto(PhotoError):
    wrong = "{photo} is a panorama, put together from several pictures that needn't fit to a hair:"
    remedy = "take one ordinary photo from farther away, with the whole rose and its cards in view."


class PhotoTooLarge(PhotoError):
    wrong = "{photo} has {megapixels:.0f} million pixels or more, and no more than {limit:.0f} million can be handled:"
    remedy = "save it at half the size, uncropped, as a JPEG, and give that."


class PhotoTooSmall(PhotoError):
    wrong = "{photo} is only {width} by {height} pixels:"
    remedy = "give the photo at the size in which the phone took it."


class NoCardFound(PhotoError):
    wrong = "No scale card can be read in {photo}:"
    remedy = "lay printed cards flat round the rose, in view and in even light, and take the photo again."


class CardsDisagree(PhotoError):
    wrong = "The cards in {photo} don't fit one flat top as one lens sees it:"
    remedy = "lay every card flat, and give the phone's own photo: no panorama, no edited copy, not the 0.5x lens."


class CardNotFlat(PhotoError):
    wrong = "The only card that can be read in {photo} doesn't lie flat:"
    remedy = "flatten it, lay three more round the rose, and take the photo again."


class NoRoseFound(PhotoError):
    wrong = "The cards were read in {photo}, but no rose was found:"
    remedy = "take the photo from above with the whole rose in view."


class TwoRosesFound(PhotoError):
    wrong = "Two roses show in {photo}, and the cards lie round neither:"
    remedy = "lay the cards round the one that is meant, keep the other out of view, and take the photo again."


class PictureOfRose(PhotoError):
    wrong = "The rose in {photo} is a picture on paper:"
    remedy = "take the photo of the rose itself, the cards on the top round it."


class PhotoTooDark(PhotoError):
    wrong = "{photo} is too dark to measure:"
    remedy = "light the top evenly from two sides, and take the photo again."


class PhotoTooSoft(PhotoError):
    wrong = "{photo} is too blurred to measure:"
    remedy = "hold the phone still, tap on the rose to focus, and take the photo again in more light."


class NotOneFit(PhotoError):
    wrong = "{photo} doesn't show the same fit as {first}, or much of it was moved in between:"
    remedy = "give photos of one fit, taken without touching it, or inspect each by itself."


class WhichPointIsWhich(PhotoError):
    wrong = "It can't be told which point in {photo} is which in {first}:"
    remedy = "leave the cards where they lie from photo to photo, or inspect each photo by itself."


class FolderMissing(FileError):
    wrong = "There is no folder {folder}:"
    remedy = "check its name."


class NoPhotoInFolder(FileError):
    wrong = "No photo lies in the folder {folder}:"
    remedy = "name the folder that holds them (JPEG, HEIC, PNG or TIFF)."


class ResultsAmongPhotos(FileError):
    wrong = "{folder} is the photos' own folder:"
    remedy = "name another one for the results."


class CantBuild(SeamcheckError):
    """A rose that can't be made as wished; `words["options"]` is the nearest that can, as on the command line."""

    wrong = "{why}."
    remedy = "The nearest that can be built: {options}"


class NoOutline(FileError):
    wrong = "{file} gives no outline of a rose ({why}):"
    remedy = "inspect a photo that shows all points, with --json, and give that file, or describe the rose as for `seamcheck template`."


class ResultMissing(FileError):
    wrong = "There is no result file {file}:"
    remedy = "make one by `seamcheck inspect PHOTO --json {file}`, or check its name and folder."


class ResultUnreadable(FileError):
    wrong = "{file} can't be read ({why}):"
    remedy = "copy it to a folder of your own, and try again."


class NotAResult(FileError):
    wrong = "{file} is not a result file of seamcheck's:"
    remedy = "give the file that `seamcheck inspect PHOTO --json FILE` wrote."


class NewerResult(FileError):
    wrong = "{file} was made by a newer seamcheck (its version is {version}, this program knows {known}):"
    remedy = "bring seamcheck up to date, or inspect the photo again."


class SpoiltResult(FileError):
    wrong = "{file} is a result file, but something in it is missing or was changed:"
    remedy = "make it again by `seamcheck inspect PHOTO --json FILE`."


class NotADryFit(FileError):
    wrong = "{file} shows {stage}, and only a dry fit can still be eased and moved:"
    remedy = "if it is one, inspect the photo again with --stage dry-fit."


class NoSuchLobe(SeamcheckError):
    wrong = "{file} has no lobe {lobe}:"
    remedy = "its lobes are {lobes}."


class NoSuchJoint(SeamcheckError):
    wrong = "{file} has no joint {joint}:"
    remedy = "its joints are {joints}."

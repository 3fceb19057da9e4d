"""Every way in which a photo or a file is refused, each with what to do about it."""

from __future__ import annotations

from .language import say, to_say


class SeamcheckError(Exception):
    """Something a person can mend. `str()` gives one plain sentence: what is wrong and what to do."""

    wrong = to_say("Something went wrong.")
    remedy = ""

    def __init__(self, **words: object) -> None:
        self.words = words
        super().__init__(f"{say(self.wrong)} {say(self.remedy)}".strip().format(**words))


class PhotoError(SeamcheckError):
    """The photo can't be measured."""


class FileError(SeamcheckError):
    """A file can't be read or written."""


class BadLength(SeamcheckError):
    wrong = to_say("{text!r} is not a length above zero:")
    remedy = to_say("write inches as 0.0238, 1/42 or 2 1/2, or millimetres as 0.6mm.")


class FileMissing(FileError):
    wrong = to_say("There is no file {photo}:")
    remedy = to_say("check the name and the folder.")


class FileIsFolder(FileError):
    wrong = to_say("{photo} is a folder, or otherwise no ordinary file:")
    remedy = to_say("name one photo in it, or measure a whole folder by `seamcheck folder`.")


class FileLocked(FileError):
    wrong = to_say("{photo} may not be read:")
    remedy = to_say("allow yourself to read it, or copy it to a folder of your own.")


class FileUnreadable(FileError):
    wrong = to_say("{photo} can't be read ({why}):")
    remedy = to_say("copy it again from the phone or the card.")


class FileTooLarge(FileError):
    wrong = to_say("{photo} is {megabytes:.0f} MB long, more than the {limit:.0f} MB of any photo:")
    remedy = to_say("save it as a JPEG, and give that.")


class NotOurs(FileError):
    wrong = to_say("{file} is already there and is not {what} of ours, so it stays as it is:")
    remedy = to_say("name another file.")


class OutputIsPhoto(FileError):
    wrong = to_say("{file} is the photo itself, which is never changed:")
    remedy = to_say("name another file for what is to be written.")


class OutputTwice(FileError):
    wrong = to_say("{file} is named for two different outputs:")
    remedy = to_say("give each a file of its own.")


class NoFolder(FileError):
    wrong = to_say("There is no folder {folder} to write {file} in:")
    remedy = to_say("make it first, or name another.")


class CantWrite(FileError):
    wrong = to_say("{file} can't be written ({why}):")
    remedy = to_say("name a file in a folder of your own, on a disk that has room.")


class PhotoEmpty(PhotoError):
    wrong = to_say("{photo} is empty:")
    remedy = to_say("copy it again from the phone.")


class PhotoCutShort(PhotoError):
    wrong = to_say("{photo} is damaged or cut short:")
    remedy = to_say("copy it again from the phone.")


class NotAPhoto(PhotoError):
    wrong = to_say("{photo} is not a picture that can be read:")
    remedy = to_say("give the phone's own JPEG or HEIC, or a PNG, TIFF or WebP of it.")


class RawPhoto(PhotoError):
    wrong = to_say("{photo} is a camera's raw file:")
    remedy = to_say("save it as a JPEG at full size, and give that.")


class PanoramaPhoto(PhotoError):
    wrong = to_say("{photo} is a panorama, put together from several pictures that needn't fit to a hair:")
    remedy = to_say("take one ordinary photo from farther away, with the whole rose and its cards in view.")


class PhotoTooLarge(PhotoError):
    wrong = to_say("{photo} has {megapixels:.0f} million pixels or more, and no more than {limit:.0f} million can be handled:")
    remedy = to_say("save it at half the size, uncropped, as a JPEG, and give that.")


class PhotoTooSmall(PhotoError):
    wrong = to_say("{photo} is only {width} by {height} pixels:")
    remedy = to_say("give the photo at the size in which the phone took it.")


class NoCardFound(PhotoError):
    wrong = to_say("No scale card can be read in {photo}:")
    remedy = to_say("lay printed cards flat round the rose, in view and in even light, and take the photo again.")


class CardsDisagree(PhotoError):
    wrong = to_say("The cards in {photo} don't fit one flat top as one lens sees it:")
    remedy = to_say("lay every card flat, and give the phone's own photo: no panorama, no edited copy, not the 0.5x lens.")


class CardNotFlat(PhotoError):
    wrong = to_say("The only card that can be read in {photo} doesn't lie flat:")
    remedy = to_say("flatten it, lay three more round the rose, and take the photo again.")


class NothingFound(PhotoError):
    wrong = to_say("Neither a rose nor a matched top's seams were found in {photo}:")
    remedy = to_say("take the photo from above with the whole top in view and in even light, say --stage bare of a bare top, or lay cards.")


class OtherLens(PhotoError):
    wrong = to_say("{photo} was taken through another lens, or zoomed otherwise, than the photo that tells of the lens:")
    remedy = to_say("give --lens a photo by the same phone through the same lens, or leave it out.")


class MarksOutside(PhotoError):
    wrong = to_say("The two marks don't both lie within {photo}:")
    remedy = to_say("give them in pixels of the upright photo, across from its left edge and down from its top.")


class KnownLengthsDisagree(PhotoError):
    wrong = to_say("By the top's diameter the two marks in {photo} lie about {found} apart, not {said}:")
    remedy = to_say("measure both again, see that the marks' pixels are those of the upright photo, or give one of the two.")


class NoRoundEdge(PhotoError):
    wrong = to_say("The top's round edge doesn't stand out against the bench in {photo}, so its diameter can't be used:")
    remedy = to_say("lay the top on a plain bench or cloth of another tone with its whole edge in view, lay cards, or give two marks.")


class NoRoseFound(PhotoError):
    wrong = to_say("The cards were read in {photo}, but no rose was found:")
    remedy = to_say("take the photo from above with the whole rose in view.")


class TwoRosesFound(PhotoError):
    wrong = to_say("Two roses show in {photo}, and the cards lie round neither:")
    remedy = to_say("lay the cards round the one that is meant, keep the other out of view, and take the photo again.")


class PictureOfRose(PhotoError):
    wrong = to_say("The rose in {photo} is a picture on paper:")
    remedy = to_say("take the photo of the rose itself, the cards on the top round it.")


class PhotoTooDark(PhotoError):
    wrong = to_say("{photo} is too dark to measure:")
    remedy = to_say("light the top evenly from two sides, and take the photo again.")


class PhotoTooSoft(PhotoError):
    wrong = to_say("{photo} is too blurred to measure:")
    remedy = to_say("hold the phone still, tap on the rose to focus, and take the photo again in more light.")


class NotOneFit(PhotoError):
    wrong = to_say("{photo} doesn't show the same fit as {first}, or much of it was moved in between:")
    remedy = to_say("give photos of one fit, taken without touching it, or inspect each by itself.")


class WhichPointIsWhich(PhotoError):
    wrong = to_say("It can't be told which point in {photo} is which in {first}:")
    remedy = to_say("leave the cards where they lie from photo to photo, or inspect each photo by itself.")


class FolderMissing(FileError):
    wrong = to_say("There is no folder {folder}:")
    remedy = to_say("check its name.")


class NoPhotoInFolder(FileError):
    wrong = to_say("No photo lies in the folder {folder}:")
    remedy = to_say("name the folder that holds them (JPEG, HEIC, PNG or TIFF).")


class ResultsAmongPhotos(FileError):
    wrong = to_say("{folder} is the photos' own folder:")
    remedy = to_say("name another one for the results.")


class CantBuild(SeamcheckError):
    """A rose that can't be made as wished; `words["options"]` is the nearest that can, as on the command line."""

    wrong = to_say("{why}.")
    remedy = to_say("The nearest that can be built: {options}")


class NoOutline(FileError):
    wrong = to_say("{file} gives no outline of a rose ({why}):")
    remedy = to_say(
        "inspect a photo that shows all points, with --json, and give that file, or describe the rose as for `seamcheck template`."
    )


class ResultMissing(FileError):
    wrong = to_say("There is no result file {file}:")
    remedy = to_say("make one by `seamcheck inspect PHOTO --json {file}`, or check its name and folder.")


class ResultUnreadable(FileError):
    wrong = to_say("{file} can't be read ({why}):")
    remedy = to_say("copy it to a folder of your own, and try again.")


class NotAResult(FileError):
    wrong = to_say("{file} is not a result file of seamcheck's:")
    remedy = to_say("give the file that `seamcheck inspect PHOTO --json FILE` wrote.")


class NewerResult(FileError):
    wrong = to_say("{file} was made by a newer seamcheck (its version is {version}, this program knows {known}):")
    remedy = to_say("bring seamcheck up to date, or inspect the photo again.")


class SpoiltResult(FileError):
    wrong = to_say("{file} is a result file, but something in it is missing or was changed:")
    remedy = to_say("make it again by `seamcheck inspect PHOTO --json FILE`.")


class OlderResult(FileError):
    wrong = to_say("{file} was made by an older seamcheck, and doesn't hold what comparing needs:")
    remedy = to_say("inspect the photo again with --json.")


class NothingToCompare(FileError):
    wrong = to_say("{file} shows {stage}, and only photos of a rose on its top, dry or let in, can be compared:")
    remedy = to_say("give the results of two such photos.")


class SameTwice(FileError):
    wrong = to_say("{first} and {later} are one and the same result:")
    remedy = to_say("give the results of two photos of one fit, the earlier first.")


class JobMissing(FileError):
    wrong = to_say("There is no job in {folder}:")
    remedy = to_say("begin one by `seamcheck job {folder} --new`, or check the folder's name.")


class JobThere(FileError):
    wrong = to_say("There is a job in {folder} already:")
    remedy = to_say("leave out --new to go on with it, or name another folder.")


class NotAJob(FileError):
    wrong = to_say("{file} in {folder} is no job of seamcheck's, so it stays as it is:")
    remedy = to_say("name another folder.")


class NewerJob(FileError):
    wrong = to_say("The job in {folder} was kept by a newer seamcheck (its version is {version}, this program knows {known}):")
    remedy = to_say("bring seamcheck up to date.")


class JobBusy(FileError):
    wrong = to_say("The job in {folder} is in use by another program:")
    remedy = to_say("wait till that is done, and try again.")


class JobSpoilt(FileError):
    wrong = to_say("The job in {folder} is damaged ({file}):")
    remedy = to_say("put back a copy of that file, or begin a new job and inspect the photos again.")


class NoSuchInspection(SeamcheckError):
    wrong = to_say("The job in {job} has no inspection {number}:")
    remedy = to_say("it has {count}; `seamcheck job {job}` lists them.")


class JobTooShort(SeamcheckError):
    wrong = to_say("The job in {job} holds {count}:")
    remedy = to_say("add photos by `seamcheck inspect PHOTO --job {job}`.")


class JobWithoutPattern(SeamcheckError):
    wrong = to_say("The job in {job} keeps no pattern:")
    remedy = to_say("draw it by `seamcheck template ... --job {job}`, or give the rose's own options, such as --points 8 --reach 3.")


class NoFolderThere(FileError):
    wrong = to_say("{file} is a file, and a folder is wanted there:")
    remedy = to_say("name a folder, or one that is to be made.")


class CantMakeFolder(FileError):
    wrong = to_say("The folder {folder} can't be made ({why}):")
    remedy = to_say("name one within a folder of your own, on a disk that has room.")


class NothingToShow(PhotoError):
    wrong = to_say("{photo} shows no rose whose centre could be found:")
    remedy = to_say("a portfolio wants a photo of a rose on its top, dry or let in; say what it shows by --stage if that was mistaken.")


class NoPoints(PhotoError):
    wrong = to_say("{photo} shows a bare top, which has no points yet:")
    remedy = to_say("`seamcheck inspect {photo} --picture FILE.png` draws its seams and where to lay a rose.")


class NotADryFit(FileError):
    wrong = to_say("{file} shows {stage}, and only a dry fit can still be eased and moved:")
    remedy = to_say("if it is one, inspect the photo again with --stage dry-fit.")


class NoSuchLobe(SeamcheckError):
    wrong = to_say("{file} has no lobe {lobe}:")
    remedy = to_say("its lobes are {lobes}.")


class NoSuchJoint(SeamcheckError):
    wrong = to_say("{file} has no joint {joint}:")
    remedy = to_say("its joints are {joints}.")


class NotLooseLobes(FileError):
    wrong = to_say("{file} shows {stage}, not loose lobes:")
    remedy = to_say("scatter the cut lobes beside the cards and inspect that photo with --stage loose --json FILE.")


class NotBareTop(FileError):
    wrong = to_say("{file} shows {stage}, not a bare top:")
    remedy = to_say("inspect a photo of the matched top before any lobe is on it, with --stage bare --json FILE.")


class NoRosePlaced(FileError):
    wrong = to_say("{file} holds no place for a rose, since too few seams were measured or its points don't fall on them:")
    remedy = to_say("inspect the bare top again with --points and --reach.")


class TooManyResults(SeamcheckError):
    wrong = to_say("More than {most} result files are too many at once:")
    remedy = to_say("photograph more lobes in one picture.")


class NoLobes(SeamcheckError):
    wrong = to_say("No lobe in {file} was measured whole:")
    remedy = to_say("lay the lobes apart and flat, every edge in view and in even light, and take the photo again.")


class NoSamples(PhotoError):
    wrong = to_say("No sample of wood was found beside the cards in {photo}:")
    remedy = to_say("lay the samples apart, whole in view, on something of another colour, such as the top itself or white paper.")


class NamesDontFit(SeamcheckError):
    wrong = to_say("{photo} shows {found} samples, but {given} names were given:")
    remedy = to_say("run it without --names to see their numbers; lay samples apart, whole in view, on something of another colour.")


class NoSuchSample(SeamcheckError):
    wrong = to_say("{photo} shows no sample {name}:")
    remedy = to_say("its samples are {samples}.")


class FewSamples(SeamcheckError):
    wrong = to_say("{photo} shows fewer than two woods beside the field, so there is nothing to compare:")
    remedy = to_say("lay a dark and a light sample beside each other, apart, with a card, and take the photo again.")


class MarksUnreadable(FileError):
    wrong = to_say("{file} can't be read as marks ({why}):")
    remedy = to_say('write a line for each, such as point_off = "1/64"; the README lists them.')


class UnknownMark(FileError):
    wrong = to_say("{file} sets {key}, which is no mark:")
    remedy = to_say("the marks are {known}.")


class BadMark(FileError):
    wrong = to_say("{file} sets {key} to {value}:")
    remedy = to_say("write {wanted}.")


class NamesUnreadable(FileError):
    wrong = to_say("{file} can't be read as a list of names ({why}):")
    remedy = to_say("write a line for each photo: its file name, a comma, the student's name.")


class FolderTwice(FileError):
    wrong = to_say("The folder {folder} is named twice:")
    remedy = to_say("name each session's folder once, the first session first.")


class ResultsAmongClass(FileError):
    wrong = to_say("{folder} holds the students' photos, so nothing is written there:")
    remedy = to_say("name another folder for the sheets.")

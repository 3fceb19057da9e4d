"""A photo file, read into upright pixels and the little that its EXIF data are good for.

Colours are taken as sRGB codes. A phone's wide gamut profile (Display P3) has the same tone curve, so lightness
comes out right and the pixels are left alone.
"""

from __future__ import annotations

import io
import os
import re
import stat
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from math import hypot, sqrt
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .basis import errors
from .basis.frames import Array

if TYPE_CHECKING:
    from PIL import Image as PillowImage

Pixels = NDArray[np.uint8]

# Larger photos are read at a half, a quarter or an eighth of their size: 36 million pixels in linear light
# are 430 MB, and phones that give more than that interpolate them from a coarser sensor anyway.
FULL_SIZE_PIXELS = 36e6
# Past this a photo is refused; phones give at most 200 million.
MOST_PIXELS = 210e6
# A JPEG is reduced while it's unpacked, anything else only afterwards: at 16 bits and three colours this is 660 MB.
MOST_PIXELS_UNPACKED = 110e6
# No photo is larger; 110 million pixels of 16 bits and three colours, not packed, are.
MOST_BYTES = 500_000_000
# What is opened, by Pillow's names. Some of the other kinds that Pillow knows start programs of the machine's (EPS), or hold
# no photos.
FORMATS = ("JPEG", "HEIF", "PNG", "TIFF", "WEBP", "BMP")
# A card of 3 in in a picture narrower than this can't be read even if it fills it.
LEAST_SIDE_PX = 200

# A 35 mm frame is 36 x 24 mm. Some cameras state the equivalent focal length by its long side, others by its
# diagonal: 4 % apart for a 4:3 picture. Their geometric mean is within 2 % of either.
FRAME_LONG_MM, FRAME_DIAGONAL_MM = 36.0, hypot(36, 24)

# Long side over short of what sensors and phones' own settings give, the last cut evenly from both sides (common practice, no
# source); messaging apps keep the shape to a pixel or two.
CAMERA_SHAPES, SHAPE_SLACK = (4 / 3, 3 / 2, 16 / 9, 1.0), 0.004

# What phones and stitching programs write into a panorama: a value that phones give EXIF's CustomRendered (seen in their files, in no
# standard), and the namespace of "Photo Sphere XMP Metadata".
_CUSTOM_RENDERED, _AS_PANORAMA = 0xA401, 6
_PANORAMA_NAMESPACE = b"http://ns.google.com/photos/1.0/panorama/"
_EXIF_IFD, _ORIENTATION, _DNG_VERSION = 0x8769, 0x0112, 0xC612
_FOCAL_35MM, _DIGITAL_ZOOM, _EXIF_WIDTH, _EXIF_HEIGHT = 0xA405, 0xA404, 0xA002, 0xA003


@dataclass(frozen=True)
class Photo:
    """An upright photo in memory. A pixel of `bgr` is `reduced_by` x `reduced_by` pixels of the file's picture."""

    name: str  # the file's name, without its folder
    bgr: Pixels  # (h, w, 3), sRGB codes, blue first, as a person sees the picture
    focal_px: float | None  # focal length in pixels of `bgr`, by EXIF; None when it isn't known
    was_exif: bool  # whether the file carried EXIF data at all
    is_whole: bool = True  # False: it was cropped, or its shape is none that cameras give and nothing says that it wasn't
    notes: tuple[str, ...] = ()  # plain sentences for the result's warnings
    reduced_by: int = 1  # 1, 2, 4 or 8
    full_size_px: tuple[int, int] = (0, 0)  # width, height of the upright picture at its full size

    @property
    def size_px(self) -> tuple[int, int]:
        """Width, height of `bgr`."""
        return self.bgr.shape[1], self.bgr.shape[0]

    def in_bgr(self, px: Array) -> Array:
        """Where places (..., 2) of the upright picture at its full size lie in `bgr`."""
        return (px + 0.5) / self.reduced_by - 0.5


def read_photo(path: Path | str) -> Photo:
    """The photo in a file: JPEG, HEIC, PNG, TIFF, WebP or BMP, of any depth and kind of colour.

    Raises a FileError or PhotoError that says what is wrong with the file and what to do about it.
    """
    path = Path(path)
    name = shown_name(path)
    data = read_bytes(path)
    if not data:
        raise errors.PhotoEmpty(photo=name)
    header = _Header.of(data, name)
    _check_size(header.size_px, name, MOST_PIXELS if header.is_plain_jpeg else MOST_PIXELS_UNPACKED)
    reduced_by = 1
    while header.size_px[0] * header.size_px[1] > FULL_SIZE_PIXELS * reduced_by**2:
        reduced_by *= 2
    bgr = _decode(data, header, reduced_by, name)
    width, height = header.size_px
    turned = (bgr.shape[1] > bgr.shape[0]) != (width > height)
    full = (height, width) if turned else (width, height)
    long_px, short_px = max(bgr.shape[:2]), min(bgr.shape[:2])
    is_whole = _is_whole(header, long_px, short_px)
    focal, notes = _focal_px(header, long_px, short_px, is_whole)
    if reduced_by > 1:
        notes = (f"The photo is very large, so it was measured at 1/{reduced_by} of its size.", *notes)
    return Photo(name, bgr, focal, header.has_exif, is_whole, notes, reduced_by, full)


def shown_name(path: Path) -> str:
    """A file's name without its folder, as it can be printed whatever its bytes."""
    name = os.fsencode(path.name or str(path)).decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in name)


def read_bytes(path: Path) -> bytes:
    """An ordinary file's bytes. Raises a FileError."""
    name = shown_name(path)
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would wait for ever
            raise errors.FileIsFolder(photo=name)
        if path.stat().st_size > MOST_BYTES:
            raise errors.FileTooLarge(photo=name, megabytes=path.stat().st_size / 1e6, limit=MOST_BYTES / 1e6)
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise errors.FileMissing(photo=name) from None
    except PermissionError:
        raise errors.FileLocked(photo=name) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name can't be used"
        raise errors.FileUnreadable(photo=name, why=why) from None


@dataclass(frozen=True)
class _Header:
    """What a picture file says of itself before it's decoded."""

    format: str  # as Pillow names it
    mode: str  # of the pixels, as Pillow names it
    size_px: tuple[int, int]  # as stored, before it's turned upright
    orientation: int  # 1..8 as EXIF defines it
    has_exif: bool
    focal_35mm: float | None
    zoom: float | None
    exif_size_px: tuple[int, int] | None

    @property
    def is_plain_jpeg(self) -> bool:
        """Whether OpenCV decodes it, which reduces JPEGs as it goes."""
        return self.format in ("JPEG", "MPO") and self.mode in ("RGB", "L")

    @staticmethod
    def of(data: bytes, name: str) -> _Header:
        image = _open(data, name)
        exif, camera = _exif(image)
        if _DNG_VERSION in exif:
            raise errors.RawPhoto(photo=name)
        if camera.get(_CUSTOM_RENDERED) == _AS_PANORAMA or _PANORAMA_NAMESPACE in _xmp(image):
            raise errors.PanoramaPhoto(photo=name)
        orientation: Any = exif.get(_ORIENTATION)
        size = (_number(camera.get(_EXIF_WIDTH)), _number(camera.get(_EXIF_HEIGHT)))
        return _Header(
            format=image.format or "",
            mode=image.mode,
            size_px=image.size,
            orientation=int(orientation) if orientation in range(1, 9) else 1,
            has_exif=bool(exif) or bool(camera),
            focal_35mm=_number(camera.get(_FOCAL_35MM)),
            zoom=_number(camera.get(_DIGITAL_ZOOM)),
            exif_size_px=(int(size[0]), int(size[1])) if size[0] and size[1] else None,
        )


def _number(value: Any) -> float | None:
    """A positive, finite number, or None for anything else that a file may hold."""
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if 0 < number < float("inf") else None


def _open(data: bytes, name: str) -> PillowImage.Image:
    """The picture, opened and not yet decoded."""
    # Openers that Pillow would import only when all others had failed.
    from PIL import Image, TiffImagePlugin, UnidentifiedImageError, WebPImagePlugin  # noqa: F401

    formats = list(FORMATS)
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    else:
        formats.remove("HEIF")  # known to Pillow only once it's registered
    # Pillow raises at twice this: what is too large for us is too large for whatever it unpacks by itself.
    Image.MAX_IMAGE_PIXELS = int(MOST_PIXELS / 2)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of large sizes and odd metadata: both are dealt with here
            return Image.open(io.BytesIO(data), formats=formats)
    except Image.DecompressionBombError:
        raise errors.PhotoTooLarge(photo=name, megapixels=MOST_PIXELS / 1e6, limit=MOST_PIXELS / 1e6) from None
    except UnidentifiedImageError:
        known = data[:3] == b"\xff\xd8\xff" or data[:8] == b"\x89PNG\r\n\x1a\n" or data[4:8] == b"ftyp"
        raise (errors.PhotoCutShort if known else errors.NotAPhoto)(photo=name) from None
    except MemoryError:
        raise
    except Exception:  # each of the openers raises whatever it trips over
        raise errors.PhotoCutShort(photo=name) from None


def colour_profile(path: Path | str) -> bytes | None:
    """The ICC profile in a photo's file; None where it has none, or can't be opened."""
    try:
        profile = _open(read_bytes(Path(path)), shown_name(Path(path))).info.get("icc_profile")
    except errors.SeamcheckError:
        return None
    return profile if isinstance(profile, bytes) else None


def _exif(image: PillowImage.Image) -> tuple[dict[int, Any], dict[int, Any]]:
    """The picture's EXIF data and the camera's part of them; empty where they can't be read."""
    try:
        exif = image.getexif()
        return dict(exif), dict(exif.get_ifd(_EXIF_IFD))
    except Exception:  # broken EXIF data raise whatever the parser trips over, and cost us only the focal length
        return {}, {}


def _xmp(image: PillowImage.Image) -> bytes:
    """The picture's XMP packet; empty where there is none."""
    packet = image.info.get("xmp") or image.info.get("XML:com.adobe.xmp") or b""
    if isinstance(packet, str):
        return packet.encode("utf-8", "replace")
    return packet if isinstance(packet, bytes) else b""


def _check_size(size_px: tuple[int, int], name: str, most_pixels: float) -> None:
    width, height = size_px
    if width * height > most_pixels:
        raise errors.PhotoTooLarge(photo=name, megapixels=width * height / 1e6, limit=most_pixels / 1e6)
    if min(width, height) < LEAST_SIDE_PX:
        raise errors.PhotoTooSmall(photo=name, width=width, height=height)


def _is_whole(header: _Header, long_px: int, short_px: int) -> bool:
    """Whether the picture is of the shape that the camera gave it, as its EXIF data say, or else of a shape that cameras give."""
    if header.exif_size_px:
        was_long, was_short = max(header.exif_size_px), min(header.exif_size_px)
        return abs(was_long * short_px - was_short * long_px) <= 0.01 * was_long * long_px
    return any(abs(long_px / short_px - shape) < SHAPE_SLACK * shape for shape in CAMERA_SHAPES)


def _focal_px(header: _Header, long_px: int, short_px: int, is_whole: bool) -> tuple[float | None, tuple[str, ...]]:
    """The focal length in pixels, and what the person should know of it."""
    if not is_whole:
        return None, ("The photo was cropped after it was taken, so its camera's focal length is worked out from the cards alone.",)
    if header.focal_35mm is None or (header.zoom or 1) > 1:
        # Makers disagree whether the stated focal length holds the digital zoom: no guess is better.
        return None, ()
    by_long = header.focal_35mm * long_px / FRAME_LONG_MM
    by_diagonal = header.focal_35mm * hypot(long_px, short_px) / FRAME_DIAGONAL_MM
    return sqrt(by_long * by_diagonal), ()


# How libjpeg begins when coded data don't add up; what it makes of them is shifted or grey, and no photo.
JPEG_IS_DAMAGED = b"Corrupt JPEG data"

# In a JPEG's coded data a 0xFF is followed by 0x00, or by a restart marker; any other pair ends the data.
_AFTER_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def jpeg_is_whole(data: bytes) -> bool:
    """Whether a JPEG's segments and coded data run on to its end-of-image marker; nothing is decoded.

    What follows the marker (a phone's second picture, a film) doesn't matter, nor do the markers of a
    thumbnail inside a segment.
    """
    at = 2
    while True:
        while data[at : at + 2] == b"\xff\xff":  # fill bytes
            at += 1
        if at + 4 > len(data) or data[at] != 0xFF:
            return data[at : at + 2] == b"\xff\xd9"
        code = data[at + 1]
        if code == 0xD9:
            return True
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if code == 0xDA:
            end = _AFTER_SCAN.search(data, at)
            if not end:
                return False
            at = end.start()


@contextmanager
def _complaints() -> Iterator[Callable[[], bytes]]:
    """Keeps what C libraries write to standard error from the person, and tells it: libjpeg has no other way to say that data are
    damaged. Only while a picture is decoded; without a standard error nothing is caught.
    """
    try:
        terminal = os.dup(2)
    except OSError:
        yield lambda: b""
        return
    # A pipe, as a full disk has no room for a file; not waited for, as nobody empties it before the end.
    reader, writer = os.pipe()
    os.set_blocking(reader, False)
    os.set_blocking(writer, False)
    os.dup2(writer, 2)

    def caught() -> bytes:
        with suppress(BlockingIOError):  # it's empty
            return os.read(reader, 65536)
        return b""

    try:
        yield caught
    finally:
        os.dup2(terminal, 2)
        for end in (terminal, reader, writer):
            os.close(end)


def _decode(data: bytes, header: _Header, reduced_by: int, name: str) -> Pixels:
    """The picture upright, (h, w, 3) blue first, 1 / reduced_by of its size."""
    with _complaints() as complaints:
        if header.is_plain_jpeg and jpeg_is_whole(data):
            bgr = _decode_jpeg(data, header, reduced_by, name)
        else:
            bgr = _decode_other(data, reduced_by, name)
        if JPEG_IS_DAMAGED in complaints():
            raise errors.PhotoCutShort(photo=name)
    return bgr


def _decode_jpeg(data: bytes, header: _Header, reduced_by: int, name: str) -> Pixels:
    import cv2

    flags = {1: cv2.IMREAD_COLOR, 2: cv2.IMREAD_REDUCED_COLOR_2, 4: cv2.IMREAD_REDUCED_COLOR_4, 8: cv2.IMREAD_REDUCED_COLOR_8}
    try:
        bgr = cv2.imdecode(np.frombuffer(data, np.uint8), flags[reduced_by] | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error:
        bgr = None
    if bgr is None:
        raise errors.PhotoCutShort(photo=name)
    return _upright(np.asarray(bgr, np.uint8), header.orientation)


def _decode_other(data: bytes, reduced_by: int, name: str) -> Pixels:
    from PIL import ImageOps

    image = _open(data, name)
    try:
        image.load()
        # For what loading has left to turn: it turns TIFFs by itself, and HEICs by the file's own instructions,
        # beside which their EXIF orientation counts for nothing (ISO/IEC 23008-12).
        with suppress(Exception):  # broken EXIF data raise whatever the parser trips over
            ImageOps.exif_transpose(image, in_place=True)
        if reduced_by > 1:
            image = image.reduce(reduced_by)
        return _bgr_of(image)
    except MemoryError:
        raise
    except Exception:  # each of the decoders raises whatever it trips over
        raise errors.PhotoCutShort(photo=name) from None


def _bgr_of(image: PillowImage.Image) -> Pixels:
    """8-bit colours, blue first, of a picture of any mode; what is see-through shows white."""
    from PIL import Image

    if image.mode.startswith("I"):  # 16-bit grey
        return _grey_to_bgr(np.asarray(image, float) / 257)
    if image.mode == "F":
        grey = np.nan_to_num(np.asarray(image, float))
        top = float(grey.max())
        return _grey_to_bgr(grey * (255 if top <= 1 else 1 / 257 if top > 255 else 1))
    if image.has_transparency_data:
        image = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", image.size, "white"), image)
    return np.ascontiguousarray(np.asarray(image.convert("RGB"), np.uint8)[..., ::-1])


def _grey_to_bgr(grey: NDArray[np.float64]) -> Pixels:
    codes = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    return np.ascontiguousarray(np.repeat(codes[..., None], 3, axis=2))


def _upright(stored: Pixels, orientation: int) -> Pixels:
    """The picture turned and mirrored as its EXIF orientation (1..8) asks."""
    import cv2

    turned = stored
    if orientation in (5, 6, 7, 8):
        turned = cv2.transpose(turned)
    if orientation in (2, 3, 6, 7):
        turned = cv2.flip(turned, 1)
    if orientation in (3, 4, 7, 8):
        turned = cv2.flip(turned, 0)
    return np.asarray(turned, np.uint8)

"""Pictures as pages carry them."""

from __future__ import annotations

from dataclasses import dataclass

from ..report.overlay_canvas import Image
from ..report.picture_file import marked

JPEG_QUALITY = 85


@dataclass(frozen=True)
class Picture:
    """A JPEG or PNG file's bytes, its size, and what it shows in words."""

    data: bytes
    width_px: int
    height_px: int
    alt: str


FILE_QUALITY = 95  # of pictures that are handed on as files


def encoded(image: Image, suffix: str) -> bytes:
    """An image, uint8 (h, w, 3 or 4), blue first, as a file that is marked as ours and holds nothing else beside its pixels."""
    import cv2

    done, data = cv2.imencode(suffix, image, [cv2.IMWRITE_JPEG_QUALITY, FILE_QUALITY] if suffix == ".jpg" else [])
    if not done:
        raise ValueError("The picture can't be encoded.")
    return marked(bytes(data))


def jpeg(image: Image, alt: str, quality: int = JPEG_QUALITY) -> Picture:
    """An image, uint8 (h, w, 3), blue first, as a file that holds nothing but its pixels."""
    import cv2

    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("The picture can't be encoded.")
    return Picture(bytes(data), image.shape[1], image.shape[0], alt)

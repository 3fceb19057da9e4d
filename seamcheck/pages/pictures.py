"""Pictures as pages carry them."""

from __future__ import annotations

from dataclasses import dataclass

from ..report.overlay_canvas import Image

JPEG_QUALITY = 85


@dataclass(frozen=True)
class Picture:
    """A JPEG or PNG file's bytes, its size, and what it shows in words."""

    data: bytes
    width_px: int
    height_px: int
    alt: str


def jpeg(image: Image, alt: str, quality: int = JPEG_QUALITY) -> Picture:
    """An image, uint8 (h, w, 3), blue first, as a file that holds nothing but its pixels."""
    import cv2

    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("The picture can't be encoded.")
    return Picture(bytes(data), image.shape[1], image.shape[0], alt)

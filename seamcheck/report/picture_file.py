"""The annotated picture's file: marked as ours, so that a later run may replace it and nothing else."""

from __future__ import annotations

from zlib import crc32

from ..sheet import PROGRAM

SUFFIXES = (".png", ".jpg", ".jpeg")

_PNG_START = b"\x89PNG\r\n\x1a\n"
_PNG_HEADER_BYTES = len(_PNG_START) + 25  # the IHDR chunk comes first and is always this long (PNG specification, 11.2.1)
_PNG_WORDS = b"tEXt" + b"Software\0" + PROGRAM.encode()
_PNG_CHUNK = (len(_PNG_WORDS) - 4).to_bytes(4, "big") + _PNG_WORDS + crc32(_PNG_WORDS).to_bytes(4, "big")

_JPEG_START = b"\xff\xd8"
_JPEG_COMMENT = b"\xff\xfe" + (2 + len(PROGRAM)).to_bytes(2, "big") + PROGRAM.encode()


def marked(picture: bytes) -> bytes:
    """A PNG or JPEG file's bytes with the program's name in them; the pixels stay as they are."""
    if picture.startswith(_PNG_START):
        return picture[:_PNG_HEADER_BYTES] + _PNG_CHUNK + picture[_PNG_HEADER_BYTES:]
    if picture.startswith(_JPEG_START):
        return _JPEG_START + _JPEG_COMMENT + picture[len(_JPEG_START) :]
    raise ValueError("Neither a PNG nor a JPEG file.")


def is_picture(data: bytes) -> bool:
    """Whether a file's bytes are a picture that was marked so."""
    return data[_PNG_HEADER_BYTES:].startswith(_PNG_CHUNK) or data.startswith(_JPEG_START + _JPEG_COMMENT)

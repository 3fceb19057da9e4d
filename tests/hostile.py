"""Files that no phone ever wrote, for the tests of the reader and for tests/benchmarks/fuzz_reader.py. All from one seed."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator

import numpy as np
from PIL import Image

WIDTH, HEIGHT = 320, 240


def wholesome() -> dict[str, bytes]:
    """One small sound picture of each kind and mode, by a suffix."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    coarse = np.random.default_rng(3).integers(0, 255, (HEIGHT // 8, WIDTH // 8, 3)).astype(np.uint8)
    colour = Image.fromarray(coarse).resize((WIDTH, HEIGHT))
    grey = np.asarray(colour.convert("L"))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Phone"
    camera = exif.get_ifd(0x8769)
    camera[0xA405], camera[0xA002], camera[0xA003] = 26, WIDTH, HEIGHT
    made = {
        "exif.jpg": (colour, "JPEG", {"exif": exif.tobytes()}),
        "progressive.jpg": (colour, "JPEG", {"progressive": True}),
        "cmyk.jpg": (colour.convert("CMYK"), "JPEG", {}),
        "grey.jpg": (colour.convert("L"), "JPEG", {}),
        "colour.png": (colour, "PNG", {"exif": exif.tobytes()}),
        "palette.png": (colour.convert("P"), "PNG", {}),
        "deep.png": (Image.fromarray(grey.astype(np.uint16) * 257), "PNG", {}),
        "alpha.png": (colour.convert("RGBA"), "PNG", {}),
        "plain.tif": (colour, "TIFF", {"exif": exif.tobytes()}),
        "packed.tif": (colour, "TIFF", {"compression": "tiff_lzw"}),
        "deflated.tif": (colour, "TIFF", {"compression": "tiff_adobe_deflate"}),
        "jpeg.tif": (colour, "TIFF", {"compression": "jpeg"}),
        "float.tif": (Image.fromarray(grey.astype(np.float32)), "TIFF", {}),
        "colour.webp": (colour, "WEBP", {"exif": exif.tobytes()}),
        "colour.bmp": (colour, "BMP", {}),
        "colour.heic": (colour, "HEIF", {"exif": exif.tobytes()}),
        # Kinds that are not opened at all; the last would start a program of the machine's.
        "colour.gif": (colour.convert("P"), "GIF", {}),
        "colour.ppm": (colour, "PPM", {}),
        "colour.eps": (colour, "EPS", {}),
    }
    result = {}
    for name, (image, kind, options) in made.items():
        file = io.BytesIO()
        image.save(file, kind, **options)
        result[name] = file.getvalue()
    return result


def spoilt(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """(name, bytes) of sound pictures with bytes flipped, numbers blown up, pieces moved, or the end cut off."""
    rng = np.random.default_rng(seed)
    sound = list(wholesome().items())
    for k in range(count):
        name, data = sound[k % len(sound)]
        spoiled = bytearray(data)
        how = rng.integers(5)
        for _ in range(int(rng.integers(1, 12))):
            at = int(rng.integers(len(spoiled)))
            early = int(rng.integers(min(len(spoiled), 400)))
            if how == 0:
                spoiled[at] = rng.integers(256)
            elif how == 1:
                spoiled[early] = rng.integers(256)
            elif how == 2:
                spoiled[early : early + 4] = struct.pack("<I", int(rng.choice([0, 1, 0x7FFFFFFF, 0xFFFFFFFF, int(rng.integers(2**32))])))
            elif how == 3:
                other = int(rng.integers(len(spoiled)))
                spoiled[at : at + 64] = spoiled[other : other + int(rng.integers(1, 64))]
            else:
                spoiled = spoiled[: at + 1]
                break
        yield name, bytes(spoiled)


def bombs() -> Iterator[tuple[str, bytes]]:
    """(name, bytes) of small files that claim to be, or unpack to, something enormous; or whose parts point at each other."""
    side = 60000
    yield "claims.png", _png(side, side, zlib.compress(b"\0" * 1000))
    yield "unpacks.png", _png(14000, 14000, zlib.compress(bytes(14000 * 3 + 1), 9) * 2)
    yield "text.png", _png(320, 240, zlib.compress(bytes(241 * 961)), _chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(200_000_000), 9)))
    jpeg = bytearray(wholesome()["grey.jpg"])
    frame = jpeg.find(b"\xff\xc0")
    for height, width in ((side, side), (14000, 14000)):
        jpeg[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
        yield f"claims{height}.jpg", bytes(jpeg)
    yield "claims.bmp", b"BM" + struct.pack("<IHHIIiiHHIIiiII", 200, 0, 0, 54, 40, side, side, 1, 24, 0, 0, 0, 0, 0, 0) + bytes(100)
    yield "claims.tif", _tiff([(256, 4, 1, side), (257, 4, 1, side), (258, 3, 1, 8), (262, 3, 1, 1), (273, 4, 1, 8), (279, 4, 1, 10)])
    yield "huge tag.tif", _tiff([(256, 4, 1, 320), (257, 4, 1, 240), (258, 3, 0xFFFFFFF0, 8), (262, 3, 1, 1), (273, 4, 0x7FFFFFFF, 8)])
    sound = wholesome()["grey.jpg"]
    for kind, exif in (("cyclic", _tiff([(0x8769, 4, 1, 8), (0x8825, 4, 1, 8)], following=8)), ("deep", _nested(3000))):
        segment = b"Exif\0\0" + exif[:65000]
        yield f"{kind} exif.jpg", sound[:2] + b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment + sound[2:]
        yield f"{kind}.tif", exif
    yield "many segments.jpg", sound[:2] + b"\xff\xe1\x00\x02" * 200_000 + sound[2:]
    yield "fill bytes.jpg", sound[:2] + b"\xff" * 2_000_000 + sound[2:]


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _png(width: int, height: int, data: bytes, more: bytes = b"") -> bytes:
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + more + _chunk(b"IDAT", data) + _chunk(b"IEND", b"")


def _tiff(tags: list[tuple[int, int, int, int]], following: int = 0) -> bytes:
    """A little-endian TIFF of one directory at byte 8: (tag, type, count, value), and where the next directory lies."""
    entries = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(tags)) + entries + struct.pack("<I", following) + bytes(100)


def _nested(depth: int) -> bytes:
    """A TIFF whose EXIF directory holds an EXIF directory, which holds one, and so on."""
    data = b"II*\0" + struct.pack("<I", 8)
    for k in range(depth):
        data += struct.pack("<HHHIII", 1, 0x8769, 4, 1, 8 + 18 * (k + 1), 0)
    return data + bytes(100)


ODD_NAMES = (
    "two words.jpg",
    "-rf.jpg",
    "--json.jpg",
    "'quoted' \"twice\".jpg",
    "new\nline.jpg",
    "tab\tand\x1b[31mred.jpg",
    "{photo}{0}%s%n.jpg",
    "=1+1.jpg",
    "$(touch pwned);`touch pwned`.jpg",
    "Ørsted – 東京 🌹.jpg",
    "e\u0301.jpg",
    "\u202egpj.jpg",
    ".hidden",
    "no suffix",
    "x" * 250 + ".jpg",
)

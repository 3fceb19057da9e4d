"""Photos of every kind are read into the same upright pixels."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from seamcheck.basis.errors import PanoramaPhoto
from seamcheck.photo import FULL_SIZE_PIXELS, jpeg_is_whole, read_photo

ORIENTATION, EXIF_IFD, FOCAL_35MM, ZOOM, WIDTH, HEIGHT, RENDERED = 0x0112, 0x8769, 0xA405, 0xA404, 0xA002, 0xA003, 0xA401


def scene(width: int = 320, height: int = 240) -> np.ndarray:
    """(h, w, 3) RGB: smooth, so that packing hardly changes it, and different at each corner."""
    u, v = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    return np.stack([40 + 180 * u, 50 + 150 * v, 200 - 120 * u * v], axis=-1).astype(np.uint8)


def exif(orientation: int | None = None, **camera: Any) -> Image.Exif:
    data = Image.Exif()
    if orientation is not None:
        data[ORIENTATION] = orientation
    names = {"focal": FOCAL_35MM, "zoom": ZOOM, "width": WIDTH, "height": HEIGHT, "rendered": RENDERED}
    for name, value in camera.items():
        data.get_ifd(EXIF_IFD)[names[name]] = value
    return data


def saved(path: Path, image: Image.Image, **options: Any) -> Path:
    if path.suffix == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
    image.save(path, **options)
    return path


def stored_for(upright: np.ndarray, orientation: int) -> np.ndarray:
    """How a camera held so stores the upright picture (EXIF 2.32, Orientation: where the 0th row and column are)."""
    return {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: np.rot90(a, 1),  # its 0th row is the picture's right side
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: np.rot90(a, -1),
    }[orientation](upright)


def assert_shows(photo_bgr: np.ndarray, rgb: np.ndarray, within: float = 3.0) -> None:
    assert photo_bgr.dtype == np.uint8
    assert photo_bgr.shape == rgb.shape
    assert np.abs(photo_bgr[..., ::-1].astype(int) - rgb).mean() < within


class TestOrientation:
    @pytest.mark.parametrize("orientation", range(1, 9))
    @pytest.mark.parametrize("suffix", [".jpg", ".png", ".webp", ".tif"])
    def test_the_picture_is_turned_upright_once(self, tmp_path: Path, suffix: str, orientation: int) -> None:
        image = Image.fromarray(np.ascontiguousarray(stored_for(scene(), orientation)))
        photo = read_photo(saved(tmp_path / f"a{suffix}", image, exif=exif(orientation)))
        assert_shows(photo.bgr, scene())
        assert photo.full_size_px == photo.size_px == (320, 240)

    @pytest.mark.parametrize("orientation", range(1, 9))
    def test_heic_too(self, tmp_path: Path, orientation: int) -> None:
        """A phone's HEIC says how it's turned in the file's own way and in EXIF data: it's turned once."""
        import pillow_heif

        stored = np.ascontiguousarray(stored_for(scene(), orientation))
        with (tmp_path / "a.heic").open("wb") as file:
            size = stored.shape[1], stored.shape[0]
            pillow_heif.encode("RGB", size, stored.tobytes(), file, exif=exif(orientation).tobytes(), quality=95)
        data = (tmp_path / "a.heic").read_bytes()
        assert (b"irot" in data or b"imir" in data) == (orientation > 1)
        photo = read_photo(tmp_path / "a.heic")
        assert_shows(photo.bgr, scene(), within=6)  # the codec's colours are coarser
        assert photo.full_size_px == (320, 240)

    @pytest.mark.parametrize("orientation", [0, 9, 700])
    def test_an_orientation_that_does_not_exist_is_left_alone(self, tmp_path: Path, orientation: int) -> None:
        photo = read_photo(saved(tmp_path / "a.jpg", Image.fromarray(scene()), exif=exif(orientation)))
        assert_shows(photo.bgr, scene())

    def test_agrees_with_opencv_to_the_last_bit(self, tmp_path: Path) -> None:
        for orientation in range(1, 9):
            path = saved(tmp_path / f"{orientation}.jpg", Image.fromarray(scene(640, 400)), exif=exif(orientation), quality=90)
            assert np.array_equal(read_photo(path).bgr, cv2.imread(str(path), cv2.IMREAD_COLOR))


class TestKinds:
    @pytest.mark.parametrize(
        ("mode", "suffix"),
        [
            *[("RGB", suffix) for suffix in (".jpg", ".png", ".tif", ".webp", ".bmp", ".heic")],
            *[("RGBA", suffix) for suffix in (".png", ".tif", ".webp")],
            *[("CMYK", suffix) for suffix in (".jpg", ".tif")],
            ("YCbCr", ".jpg"),
        ],
    )
    def test_colours(self, tmp_path: Path, mode: str, suffix: str) -> None:
        photo = read_photo(saved(tmp_path / f"a{suffix}", Image.fromarray(scene()).convert(mode)))
        assert_shows(photo.bgr, scene(), within=6)

    @pytest.mark.parametrize(("mode", "suffix"), [("L", ".jpg"), ("L", ".png"), ("LA", ".png"), ("L", ".tif"), ("L", ".webp")])
    def test_grey(self, tmp_path: Path, mode: str, suffix: str) -> None:
        grey = Image.fromarray(scene()).convert("L")
        photo = read_photo(saved(tmp_path / f"a{suffix}", grey.convert(mode)))
        assert_shows(photo.bgr, np.repeat(np.asarray(grey)[..., None], 3, axis=2))

    @pytest.mark.parametrize("suffix", [".png", ".tif"])
    @pytest.mark.parametrize("channels", [1, 3, 4])
    def test_16_bits(self, tmp_path: Path, suffix: str, channels: int) -> None:
        codes = scene().astype(np.uint16)[..., ::-1] * 257
        if channels == 1:
            codes = codes[..., 1]
        elif channels == 4:
            codes = np.dstack([codes, np.full(codes.shape[:2], 65535, np.uint16)])
        path = tmp_path / f"a{suffix}"
        assert cv2.imwrite(str(path), codes)
        want = scene() if channels > 1 else np.repeat(scene()[..., 1:2], 3, axis=2)
        assert_shows(read_photo(path).bgr, want, within=1)

    def test_what_is_see_through_shows_white(self, tmp_path: Path) -> None:
        rgba = np.dstack([scene(), np.full((240, 320), 255, np.uint8)])
        rgba[:120, :, 3] = 0
        photo = read_photo(saved(tmp_path / "a.png", Image.fromarray(rgba)))
        assert (photo.bgr[:120] == 255).all()
        assert_shows(photo.bgr[120:], scene()[120:])

    def test_a_palette_picture(self, tmp_path: Path) -> None:
        image = Image.fromarray(scene()).quantize(64)
        photo = read_photo(saved(tmp_path / "a.png", image))
        assert_shows(photo.bgr, np.asarray(image.convert("RGB")))

    def test_a_progressive_jpeg(self, tmp_path: Path) -> None:
        path = saved(tmp_path / "a.jpg", Image.fromarray(scene()), progressive=True)
        assert_shows(read_photo(path).bgr, scene())

    def test_a_wide_gamut_profile_leaves_the_pixels_alone(self, tmp_path: Path) -> None:
        from PIL import ImageCms

        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        path = saved(tmp_path / "a.png", Image.fromarray(scene()), icc_profile=profile)
        assert_shows(read_photo(path).bgr, scene(), within=1e-9)

    def test_a_name_that_is_no_ascii(self, tmp_path: Path) -> None:
        photo = read_photo(saved(tmp_path / "Rösé 日本.jpg", Image.fromarray(scene())))
        assert photo.name == "Rösé 日本.jpg"


class TestPixelCentres:
    def test_a_known_edge_stays_where_it_is(self, tmp_path: Path) -> None:
        """Black up to column 99, white from column 100: the edge lies at u = 99.5 in every format."""
        rgb = np.zeros((240, 320, 3), np.uint8)
        rgb[:, 100:] = 255
        for name, options in (("a.png", {}), ("a.jpg", {"quality": 98, "subsampling": 0}), ("a.tif", {}), ("a.bmp", {})):
            row = read_photo(saved(tmp_path / name, Image.fromarray(rgb), **options)).bgr[120, :, 1].astype(float) / 255
            assert 319.5 - row.sum() == pytest.approx(99.5, abs=0.02)

    @pytest.mark.parametrize("suffix", [".jpg", ".png"])
    def test_a_reduced_photo_keeps_its_places(self, tmp_path: Path, suffix: str, monkeypatch: pytest.MonkeyPatch) -> None:
        """u_full = (u + 0.5) * reduced_by - 0.5."""
        monkeypatch.setattr("seamcheck.photo.FULL_SIZE_PIXELS", 100_000)
        rgb = np.zeros((800, 1200, 3), np.uint8)
        rgb[:, 512:] = 255
        photo = read_photo(saved(tmp_path / f"a{suffix}", Image.fromarray(rgb)))
        assert photo.reduced_by == 4
        assert photo.size_px == (300, 200)
        assert photo.full_size_px == (1200, 800)
        row = photo.bgr[100, :, 1].astype(float) / 255
        edge = 299.5 - row.sum()
        assert (edge + 0.5) * photo.reduced_by - 0.5 == pytest.approx(511.5, abs=0.5)
        assert any("1/4 of its size" in note for note in photo.notes)


def test_a_hundred_million_pixels_are_read_at_half_size(tmp_path: Path) -> None:
    path = saved(tmp_path / "a.jpg", Image.new("L", (12000, 9000), 90))
    photo = read_photo(path)
    assert photo.full_size_px == (12000, 9000)
    assert photo.size_px == (6000, 4500)
    assert photo.size_px[0] * photo.size_px[1] <= FULL_SIZE_PIXELS


class TestFocalLength:
    """27 mm on 4000 x 3000: 3000 px if it's said for the long side (27/36), 3120 px for the diagonal (27/43.27)."""

    def focal(self, tmp_path: Path, size: tuple[int, int] = (4000, 3000), orientation: int = 1, **camera: Any) -> float | None:
        path = saved(tmp_path / "a.jpg", Image.new("L", size, 90), exif=exif(orientation, **camera))
        return read_photo(path).focal_px

    def test_lies_between_the_two_customs(self, tmp_path: Path) -> None:
        focal = self.focal(tmp_path, focal=27)
        assert focal == pytest.approx((3000 * 3120) ** 0.5, rel=1e-3)

    def test_is_the_same_for_a_camera_held_upright(self, tmp_path: Path) -> None:
        assert self.focal(tmp_path, focal=27, orientation=6) == self.focal(tmp_path, focal=27)

    def test_follows_a_picture_made_smaller(self, tmp_path: Path) -> None:
        full = self.focal(tmp_path, focal=27)
        half = self.focal(tmp_path, size=(2000, 1500), focal=27, width=4000, height=3000)
        assert half == pytest.approx((full or 0) / 2)

    def test_is_unknown_after_cropping(self, tmp_path: Path) -> None:
        path = saved(tmp_path / "a.jpg", Image.new("L", (3000, 3000), 90), exif=exif(focal=27, width=4000, height=3000))
        photo = read_photo(path)
        assert photo.focal_px is None
        assert any("cropped" in note for note in photo.notes)

    @pytest.mark.parametrize("camera", [{}, {"focal": 0}, {"focal": 27, "zoom": 2.0}])
    def test_is_unknown_where_the_file_does_not_say_it_plainly(self, tmp_path: Path, camera: dict[str, Any]) -> None:
        assert self.focal(tmp_path, **camera) is None

    def test_no_exif(self, tmp_path: Path) -> None:
        photo = read_photo(saved(tmp_path / "a.jpg", Image.fromarray(scene())))
        assert photo.focal_px is None
        assert not photo.was_exif

    def test_broken_exif_costs_the_focal_length_only(self, tmp_path: Path) -> None:
        path = saved(tmp_path / "a.jpg", Image.fromarray(scene()), exif=exif(6, focal=27).tobytes()[:30] + b"\xff" * 40)
        photo = read_photo(path)
        assert photo.focal_px is None
        assert photo.bgr.size


class TestWholeJpegs:
    """The check that stands in for a second decode."""

    def jpeg(self, **options: Any) -> bytes:
        rng = np.random.default_rng(1)
        image = Image.fromarray(rng.integers(0, 255, (200, 240, 3)).astype(np.uint8))
        file = io.BytesIO()
        thumbnail = exif(1, focal=27)
        image.save(file, "JPEG", exif=thumbnail, **options)
        return file.getvalue()

    @pytest.mark.parametrize("options", [{}, {"progressive": True}, {"quality": 30}, {"optimize": True}, {"subsampling": 0}])
    def test_whole_at_its_end_and_nowhere_before(self, options: dict[str, Any]) -> None:
        data = self.jpeg(**options)
        assert jpeg_is_whole(data)
        cuts = {2, 3, 10, 40, *range(100, len(data), 997), len(data) - 3, len(data) - 2, len(data) - 1}
        assert not [cut for cut in cuts if jpeg_is_whole(data[:cut])]

    def test_whole_with_something_after_it(self) -> None:
        assert jpeg_is_whole(self.jpeg() + b"\0" * 100 + self.jpeg())

    def test_a_thumbnail_that_ends_is_not_the_picture_that_ends(self) -> None:
        data = self.jpeg()
        inner = self.jpeg()
        segment = b"\xff\xe1" + (len(inner) + 2).to_bytes(2, "big") + inner if len(inner) < 65000 else b""
        assert segment
        whole = data[:2] + segment + data[2:]
        assert jpeg_is_whole(whole)
        assert not jpeg_is_whole(whole[: len(segment) + len(data) // 2])

    def test_whole_with_restart_markers(self) -> None:
        code = np.random.default_rng(2).integers(0, 255, (64, 64, 3)).astype(np.uint8)
        done, data = cv2.imencode(".jpg", code, [cv2.IMWRITE_JPEG_RST_INTERVAL, 2])
        assert done
        assert b"\xff\xd0" in bytes(data)
        assert jpeg_is_whole(bytes(data))
        assert not jpeg_is_whole(bytes(data)[:-2])


@pytest.mark.parametrize("way", ["exif", "xmp"])
def test_a_panorama_is_refused_with_what_to_do(tmp_path: Path, way: str) -> None:
    packet = b'<x:xmpmeta><rdf:Description xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="cylindrical"/>'
    said = {"exif": exif(rendered=6)} if way == "exif" else {"xmp": packet}
    with pytest.raises(PanoramaPhoto, match="take one ordinary photo"):
        read_photo(saved(tmp_path / "wide.jpg", Image.fromarray(scene()), **said))


def test_a_photo_with_other_treatment_and_other_xmp_is_read(tmp_path: Path) -> None:
    photo = read_photo(saved(tmp_path / "p.jpg", Image.fromarray(scene()), exif=exif(rendered=2), xmp=b"<x:xmpmeta/>"))
    assert photo.size_px == (320, 240)

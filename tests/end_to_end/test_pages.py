"""`sheet` and `portfolio` as a person runs them on a sample, a rendered photo into which a place and a time were written."""

from __future__ import annotations

import re
from base64 import b64decode
from io import BytesIO
from pathlib import Path

import numpy as np
import pypdf
import pypdfium2
import pytest
from PIL import Image

from tests.command_line import Run, command_line
from tests.made_up import LOOSE

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
MAKE, TAKEN = "Made-up Phone Works", "2024:05:06 07:08:09"


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    return command_line(monkeypatch, capsys)


def with_place(sample: str, into: Path) -> Path:
    """The sample with EXIF data that tell where, when and by what it was taken; the pixels stay as they are."""
    with Image.open(SAMPLES / sample) as image:
        exif = image.getexif()
        exif[0x010F], exif[0x0132] = MAKE, TAKEN
        place = exif.get_ifd(0x8825)
        place[1], place[2], place[3], place[4] = "N", (48.0, 12.0, 34.5), "E", (16.0, 22.0, 5.5)
        image.save(into / sample, "JPEG", quality="keep", exif=exif)
    with Image.open(into / sample) as image:
        assert dict(image.getexif().get_ifd(0x8825))
    return into / sample


def tells_nothing(file: Path) -> None:
    """No EXIF, no place, no time, no maker in a file's bytes, nor in any picture that a page holds."""
    data = file.read_bytes()
    pictures = [data] if file.suffix in (".jpg", ".png") else []
    if file.suffix == ".html":
        embedded = re.compile(rb"base64,([A-Za-z0-9+/=]+)")
        pictures = [b64decode(found) for found in embedded.findall(data)]
        assert pictures
        data = embedded.sub(b"", data)  # letters of base64 spell any word now and then
    for trace in (b"Exif\0\0", b"eXIf", b"GPSInfo", b"http://ns.adobe.com/xap", MAKE.encode(), TAKEN.encode(), TAKEN[:10].encode()):
        assert not any(trace in part for part in (data, *pictures)), (file.name, trace)
    if file.suffix == ".pdf":
        pictures = [image.data for page in pypdf.PdfReader(BytesIO(data)).pages for image in page.images]
        assert pictures
    for picture in pictures:
        with Image.open(BytesIO(picture)) as image:
            assert len(image.getexif()) == 0
            assert not {"exif", "xmp", "icc_profile"} & {str(name).lower() for name in image.info}


def test_a_sheet_of_the_sample(run: Run, tmp_path: Path) -> None:
    photo = with_place("dry-fit.jpg", tmp_path)
    before = photo.read_bytes()
    status, out, err = run("sheet", str(photo), str(tmp_path / "sheet.pdf"), str(tmp_path / "sheet.html"), "--paper", "a4")
    assert (status, err) == (0, "")
    assert out.startswith("NOT YET: ")
    assert photo.read_bytes() == before
    for name in ("sheet.pdf", "sheet.html"):
        assert (tmp_path / name).stat().st_size < 2_000_000
        tells_nothing(tmp_path / name)
    page = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")
    assert len(page) == 1
    assert page[0].get_size() == pytest.approx((595.28, 841.89), abs=0.01)
    # Written again over its own, never over another's.
    (tmp_path / "mine.html").write_text("<title>mine</title>")
    status, _, err = run("sheet", str(photo), str(tmp_path / "mine.html"))
    assert status == 1
    assert "is not a page of ours" in err
    assert (tmp_path / "mine.html").read_text() == "<title>mine</title>"


def test_a_portfolio_of_the_sample(run: Run, tmp_path: Path) -> None:
    photo, earlier = with_place("set-in.jpg", tmp_path), with_place("dry-fit.jpg", tmp_path)
    folder = tmp_path / "for the client"
    words = ["--before", str(earlier), "--title", "Rose <for> a table & more", "--transparent", "--scale-bar", "--stage", "inlaid"]
    status, out, err = run("portfolio", str(photo), str(folder), *words)
    assert (status, err) == (0, "")
    files = {file.name for file in folder.iterdir()}
    points = {f"point-{k}.jpg" for k in range(1, 9)}
    assert files == {"portfolio.pdf", "portfolio.html", "top.jpg", "top.png", "before.jpg"} | points
    for file in folder.iterdir():
        tells_nothing(file)
    with Image.open(folder / "top.jpg") as top, Image.open(folder / "top.png") as clear:
        assert top.size == clear.size
        assert min(top.size) > 1500  # the photo's own resolution
        assert clear.mode == "RGBA"
        corner, middle = clear.getpixel((5, 5)), clear.getpixel((clear.width // 2 + 40, clear.height // 2 + 40))
        assert corner[3] == 0
        assert middle[3] == 255
        assert np.abs(np.array(top.getpixel((5, 5))) - 255).max() <= 2
    shown = (folder / "portfolio.html").read_text()
    assert "Rose &lt;for&gt; a table &amp; more" in shown
    text = " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(folder / "portfolio.pdf").pages).split())
    assert "Rose <for> a table & more" in text
    # What is said at the terminal stands on both pages.
    said = out.splitlines()[0]
    assert re.match(r"Of 8 points \d lies? within 1/64 in of (its field seam|their field seams)", said)
    assert said in text
    assert said in shown.replace("&#39;", "'")
    assert "The joints between rose and field were not measured." in text


def test_what_shows_no_rose_gets_no_portfolio(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seamcheck.cli_pages.measure", lambda path, said: (None, LOOSE))
    status, _, err = run("portfolio", str(SAMPLES / "loose-lobes.jpg"), str(tmp_path / "out"))
    assert status == 1
    assert "shows no rose whose centre could be found" in err
    assert not (tmp_path / "out").exists()
    (tmp_path / "file").write_text("mine")
    status, _, err = run("portfolio", str(SAMPLES / "loose-lobes.jpg"), str(tmp_path / "file"))
    assert (status, err) == (
        1,
        "file is a file, and a folder is wanted there: name a folder, or one that is to be made.\n",
    )
    assert (tmp_path / "file").read_text() == "mine"

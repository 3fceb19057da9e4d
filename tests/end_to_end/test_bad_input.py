"""Whatever is given: one plain sentence on standard error, exit 1 (2 for a wrong command line), and nothing written."""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from tests.command_line import command_line


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str]]:
    """The command line in an empty folder: (exit status, standard error). Nothing may be printed or left beside `before`."""
    monkeypatch.chdir(tmp_path)
    called = command_line(monkeypatch, capsys)

    def call(*arguments: str) -> tuple[int, str]:
        before = {name: (tmp_path / name).lstat().st_mtime_ns for name in os.listdir(tmp_path)}
        status, out, err = called(*arguments)
        assert out == ""
        assert {name: (tmp_path / name).lstat().st_mtime_ns for name in os.listdir(tmp_path)} == before
        return status, err

    return call


def jpeg(width: int = 640, height: int = 480, **options: object) -> bytes:
    rng = np.random.default_rng(7)
    coarse = rng.integers(0, 255, (height // 16, width // 16, 3)).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(coarse).resize((width, height)).save(file, "JPEG", **options)
    return file.getvalue()


def refused(result: tuple[int, str], *words: str) -> None:
    """Exit 1, with one line that names what is wrong and what to do."""
    status, err = result
    assert status == 1, err
    assert err.count("\n") == 1
    assert err.endswith(".\n")
    assert "Traceback" not in err
    assert "itself failed" not in err
    for word in words:
        assert word in err


class TestFilesThatAreNoPhoto:
    def test_missing(self, run: Callable[..., tuple[int, str]]) -> None:
        refused(run("inspect", "nowhere.jpg", "--json", "a.json"), "There is no file nowhere.jpg: check the name and the folder.")

    def test_missing_folder(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "file").write_text("x")
        refused(run("inspect", "nowhere/a.jpg"), "There is no file a.jpg")
        refused(run("inspect", "file/a.jpg"), "There is no file a.jpg")

    def test_folder_pipe_and_device(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "photos").mkdir()
        os.mkfifo(tmp_path / "pipe")
        refused(run("inspect", "photos"), "photos is a folder")
        refused(run("inspect", "pipe"), "pipe is a folder, or otherwise no ordinary file")
        refused(run("inspect", "/dev/zero"), "zero")

    def test_a_name_that_no_file_can_have(self, run: Callable[..., tuple[int, str]]) -> None:
        refused(run("inspect", "x" * 300 + ".jpg"), "can't be read")

    def test_locked(self, run: Callable[..., tuple[int, str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg())

        def locked(path: Path) -> bytes:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "read_bytes", locked)  # for root no file is locked
        refused(run("inspect", "a.jpg"), "a.jpg may not be read")

    def test_a_disk_that_fails(self, run: Callable[..., tuple[int, str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg())

        def broken(path: Path) -> bytes:
            raise OSError(5, "Input/output error")

        monkeypatch.setattr(Path, "read_bytes", broken)
        refused(run("inspect", "a.jpg"), "a.jpg can't be read (Input/output error)")

    def test_empty(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "a.jpg").write_bytes(b"")
        refused(run("inspect", "a.jpg", "--json", "a.json"), "a.jpg is empty")

    @pytest.mark.parametrize(
        "data",
        [
            b"Dear diary, today I cut the rose.\n" * 100,
            b"\0" * 5000,
            b"%PDF-1.4\n%%EOF",
            b"<svg xmlns='http://www.w3.org/2000/svg'/>",
            b"PK\x03\x04" * 50,
        ],
    )
    def test_renamed(self, run: Callable[..., tuple[int, str]], tmp_path: Path, data: bytes) -> None:
        (tmp_path / "a.jpg").write_bytes(data)
        refused(run("inspect", "a.jpg"), "a.jpg is not a picture that can be read", "JPEG or HEIC")

    def test_a_raw_file(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        from PIL.TiffImagePlugin import ImageFileDirectory_v2

        tags = ImageFileDirectory_v2()
        tags[50706] = b"\1\4\0\0"  # DNGVersion
        Image.fromarray(np.zeros((480, 640), np.uint8)).save(tmp_path / "a.tif", tiffinfo=tags)
        (tmp_path / "a.tif").rename(tmp_path / "a.dng")
        refused(run("inspect", "a.dng"), "a.dng is a camera's raw file", "JPEG")

    def test_too_small(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg(160, 120))
        refused(run("inspect", "a.jpg"), "only 160 by 120 pixels")

    def test_too_large(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        """A header that promises more than any phone gives is refused before anything is unpacked."""
        data = bytearray(jpeg())
        frame = data.find(b"\xff\xc0")
        data[frame + 5 : frame + 9] = (60000).to_bytes(2, "big") + (60000).to_bytes(2, "big")
        (tmp_path / "a.jpg").write_bytes(bytes(data))
        refused(run("inspect", "a.jpg"), "million pixels", "save it at half the size")


class TestCutShort:
    """A file that a phone or a cable left unfinished is never measured as if the rest were grey."""

    @pytest.mark.parametrize("options", [{}, {"progressive": True}, {"quality": 30}, {"exif": b"Exif\0\0II*\0\x08\0\0\0\0\0"}])
    def test_jpeg_at_many_places(self, run: Callable[..., tuple[int, str]], tmp_path: Path, options: dict[str, object]) -> None:
        data = jpeg(**options)
        for share in (0.05, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97, 0.99, 0.999):
            (tmp_path / "a.jpg").write_bytes(data[: int(share * len(data))])
            refused(run("inspect", "a.jpg", "--json", "a.json"), "a.jpg is damaged or cut short: copy it again from the phone.")

    def test_jpeg_with_its_tail_zeroed(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        data = jpeg()
        (tmp_path / "a.jpg").write_bytes(data[: len(data) // 2] + bytes(len(data) - len(data) // 2))
        refused(run("inspect", "a.jpg"), "a.jpg is damaged or cut short")

    def test_a_few_bytes_of_a_jpeg(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        for count in (3, 4, 20, 150):
            (tmp_path / "a.jpg").write_bytes(jpeg()[:count])
            refused(run("inspect", "a.jpg"), "a.jpg")

    @pytest.mark.parametrize("suffix", ["png", "tif", "webp", "heic", "bmp"])
    def test_other_kinds(self, run: Callable[..., tuple[int, str]], tmp_path: Path, suffix: str) -> None:
        import pillow_heif

        pillow_heif.register_heif_opener()
        Image.open(io.BytesIO(jpeg())).save(tmp_path / f"whole.{suffix}")
        data = (tmp_path / f"whole.{suffix}").read_bytes()
        for share in (0.3, 0.6, 0.9):
            (tmp_path / f"a.{suffix}").write_bytes(data[: int(share * len(data))])
            refused(run("inspect", f"a.{suffix}"), f"a.{suffix}")

    def test_nothing_is_measured_that_opencv_alone_would_fill_up(self) -> None:
        """Why the check is there: what a decoder makes of a file cut short is no photo."""
        data = jpeg()
        half = cv2.imdecode(np.frombuffer(data[: len(data) // 2], np.uint8), cv2.IMREAD_COLOR)
        whole = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        assert half is None or not np.array_equal(half, whole)


class TestWrongCommandLines:
    @pytest.mark.parametrize("option", ["--tolerance", "--gap-tolerance", "--veneer", "--bar-across", "--bar-along"])
    @pytest.mark.parametrize("value", ["0", "-1/64", "abc", "nan", "inf", "", "1/0", "64"])
    def test_lengths(self, run: Callable[..., tuple[int, str]], option: str, value: str) -> None:
        status, err = run("inspect", "a.jpg", option, value)
        assert status == 2
        assert option in err.splitlines()[-1]
        assert "Traceback" not in err

    @pytest.mark.parametrize(
        "arguments",
        [
            ["inspect"],
            ["folder", "photos"],
            ["inspect", "a.jpg", "--stage", "glued"],
            ["inspect", "a.jpg", "--no-such-option"],
            ["inspect", "a.jpg", "--json"],
            ["inspect", "a.jpg", "--picture", "a.gif"],
            ["inspect", "a.jpg", "--veneer", "0.6"],  # inches, where millimetres were meant
            ["inspect", "a.jpg", "--bar-across", "152.4"],
            ["inspect", "a.jpg", "--bar-across", "10.01", "--bar-along", "6.01"],  # the wrong way round
            ["cards"],
            ["cards", "a.txt"],
            ["cards", "a.pdf", "--paper", "legal"],
            ["no-such-command"],
        ],
    )
    def test_other_slips(self, run: Callable[..., tuple[int, str]], arguments: list[str]) -> None:
        status, err = run(*arguments)
        assert status == 2
        assert err.splitlines()[-1].startswith("Error: ")


class TestOutputs:
    def test_another_programs_file_is_left_alone(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg())
        for name, option, what in [("a.json", "--json", "result file"), ("a.csv", "--csv", "table"), ("a.png", "--picture", "picture")]:
            (tmp_path / name).write_text('{"my": "notes"}')
            refused(run("inspect", "a.jpg", option, name), f"{name} is already there and is not a {what} of ours")
            assert (tmp_path / name).read_text() == '{"my": "notes"}'
        (tmp_path / "a.pdf").write_bytes(b"%PDF-1.4 a letter")
        refused(run("cards", "a.pdf"), "a.pdf is already there and is not a card sheet of ours")

    def test_the_photo_is_never_written_to(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        for option, name in (("--json", "a.json"), ("--csv", "a.csv"), ("--picture", "a.jpg")):
            (tmp_path / name).write_bytes(jpeg())
            refused(run("inspect", name, option, name), f"{name} is the photo itself")

    def test_a_folder_that_is_missing(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        (tmp_path / "a.jpg").write_bytes(jpeg())
        refused(run("inspect", "a.jpg", "--json", "nowhere/a.json"), "There is no folder nowhere")
        refused(run("cards", "nowhere/a.pdf"), "There is no folder nowhere")

    def test_a_refused_photo_leaves_the_result_as_it_was(self, run: Callable[..., tuple[int, str]], tmp_path: Path) -> None:
        from seamcheck.report.json_file import result_bytes
        from tests.made_up import DRY_FIT

        (tmp_path / "a.json").write_bytes(result_bytes(DRY_FIT))
        (tmp_path / "a.jpg").write_bytes(jpeg()[:-500])
        refused(run("inspect", "a.jpg", "--json", "a.json"), "cut short")
        assert (tmp_path / "a.json").read_bytes() == result_bytes(DRY_FIT)


class TestPhotosThatShowNoRose:
    """Pictures that are whole, and that the measuring itself has to refuse."""

    def bench(self) -> np.ndarray:
        rng = np.random.default_rng(2)
        grain = cv2.GaussianBlur(rng.normal(0, 60, (1200, 1600)).astype(np.float32), (0, 0), 2)
        return np.clip(np.dstack([120 + grain, 140 + grain, 165 + grain]), 0, 255).astype(np.uint8)

    def cards(self) -> np.ndarray:
        """A bench with the printed sheet on it, uncut, and nothing else."""
        import pypdfium2

        from seamcheck.printed.card_sheet import card_sheet

        document = pypdfium2.PdfDocument(card_sheet("letter"))
        page = np.asarray(document[0].render(scale=100 / 72).to_numpy())
        document.close()
        picture = self.bench()
        picture[50 : 50 + page.shape[0], 300 : 300 + page.shape[1]] = page
        return cv2.GaussianBlur(picture, (0, 0), 0.8)

    @pytest.mark.parametrize("name", ["even", "bench", "cards", "black", "blurred", "white"])
    def test_one_sentence_and_no_result(self, run: Callable[..., tuple[int, str]], tmp_path: Path, name: str) -> None:
        picture = {
            "even": lambda: np.full((1200, 1600, 3), 128, np.uint8),
            "bench": self.bench,
            "cards": self.cards,
            "black": lambda: (self.cards() * 0.02).astype(np.uint8),
            "blurred": lambda: cv2.GaussianBlur(self.cards(), (0, 0), 8),
            "white": lambda: np.full((1200, 1600, 3), 255, np.uint8),
        }[name]()
        assert cv2.imwrite(str(tmp_path / "a.jpg"), picture)
        refused(run("inspect", "a.jpg", "--json", "a.json", "--csv", "a.csv", "--picture", "a.png"), "photo")

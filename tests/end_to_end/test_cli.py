"""The command line's own work: help, options, files, exit status. Measuring is stood in for by a made-up inspection."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any, get_type_hints

import numpy as np
import pytest
from PIL import Image

from seamcheck.basis.errors import NoCardFound
from seamcheck.cli import TRACEBACK_VARIABLE, main
from seamcheck.photo import Photo
from seamcheck.pipeline import Settings, settings_of
from seamcheck.result import Inspection, Stage
from tests.command_line import Run, command_line
from tests.made_up import DRY_FIT, SIZE_PX

ROOT = Path(__file__).parents[2]


class Pipeline(ModuleType):
    """Stands in for measuring: remembers what it was asked and gives what it was told to."""

    settings_of = staticmethod(settings_of)

    def __init__(self) -> None:
        super().__init__("seamcheck.pipeline")
        self.settings: Settings | None = None
        self.raises: BaseException | None = None

    def inspect(self, photo: Photo, settings: Settings) -> Inspection:
        self.settings = settings
        if self.raises:
            raise self.raises
        return replace(DRY_FIT, photo_name=photo.name, size_px=photo.size_px)


@pytest.fixture
def pipeline(monkeypatch: pytest.MonkeyPatch) -> Pipeline:
    stand_in = Pipeline()
    monkeypatch.setitem(sys.modules, "seamcheck.pipeline", stand_in)
    return stand_in


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line in a folder that holds rose.jpg: (exit status, standard output, standard error)."""
    monkeypatch.chdir(tmp_path)
    Image.fromarray(np.full((SIZE_PX[1], SIZE_PX[0], 3), 120, np.uint8)).save(tmp_path / "rose.jpg")
    return command_line(monkeypatch, capsys)


def test_without_options_the_report_is_printed_and_nothing_written(run: Run, pipeline: Pipeline, tmp_path: Path) -> None:
    status, out, err = run("inspect", "rose.jpg")
    assert (status, err) == (0, "")
    assert out.startswith("rose.jpg: dry fit.")
    assert "Not yet: look first at lobe 3" in out
    assert os.listdir(tmp_path) == ["rose.jpg"]
    assert pipeline.settings == Settings()


def test_every_option_reaches_the_pipeline(run: Run, pipeline: Pipeline) -> None:
    options = "--stage inlaid --tolerance 1/32 --veneer 0.6mm --bar-across 6.02 --bar-along 9.97 --gap-tolerance .012"
    assert run("inspect", "rose.jpg", *options.split())[0] == 0
    assert pipeline.settings == Settings(Stage.INLAID, 1 / 32, 0.6 / 25.4, 6.02, 9.97, 0.012)


def test_a_budget_of_a_lobe_that_is_not_there_is_refused_before_anything_is_written(run: Run, pipeline: Pipeline, tmp_path: Path) -> None:
    status, out, err = run("inspect", "rose.jpg", "--budget", "99", "--json", "a.json")
    assert (status, out) == (1, "")
    assert "rose.jpg has no lobe 99: its lobes are 1, 2, 3" in err
    assert os.listdir(tmp_path) == ["rose.jpg"]


@pytest.mark.parametrize("stage", Stage)
def test_every_stage_has_its_name(run: Run, pipeline: Pipeline, stage: Stage) -> None:
    assert run("inspect", "rose.jpg", "--stage", stage.value)[0] == 0
    assert pipeline.settings == Settings(stage)


def test_files_are_written_where_asked_and_replaced_by_the_next_run(run: Run, pipeline: Pipeline, tmp_path: Path) -> None:
    before = (tmp_path / "rose.jpg").read_bytes()
    options = ["--json", "a.json", "--csv", "a.csv", "--picture", "a.png"]
    assert run("inspect", "rose.jpg", *options)[0] == 0
    first = {name: (tmp_path / name).read_bytes() for name in sorted(os.listdir(tmp_path))}
    assert list(first) == ["a.csv", "a.json", "a.png", "rose.jpg"]
    assert json.loads(first["a.json"])["tips"][1]["verdict"] == "off"
    Image.open(tmp_path / "a.png").load()
    assert run("inspect", "rose.jpg", *options)[0] == 0
    assert {name: (tmp_path / name).read_bytes() for name in sorted(os.listdir(tmp_path))} == first
    assert first["rose.jpg"] == before


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--json a.csv", "a.csv is a name for another kind of file: let it end in .json."),
        ("--csv a.txt", "a.txt must end in .csv."),
        ("--rim", "give --known too"),
        ("--stage loose --points 8", "they say which rose goes on a bare top, not on loose"),
        ("--stage inlaid --reach 4", "they say which rose goes on a bare top, not on inlaid"),
        ("--points 2", "write a whole number from 3 to 64"),
        ("--stage flat", "flat won't do: write dry-fit or inlaid or loose or bare"),
    ],
)
def test_what_would_not_be_used_is_refused(run: Run, pipeline: Pipeline, options: str, said: str) -> None:
    status, out, err = run("inspect", "rose.jpg", *options.split())
    assert (status, out) == (2, "")
    assert said in " ".join(err.split())
    assert pipeline.settings is None


def test_a_bare_tops_rose_is_refused_as_template_would(run: Run, pipeline: Pipeline) -> None:
    status, _, err = run("inspect", "rose.jpg", "--stage", "bare", "--units", "mm", "--reach", "4")
    assert (status, pipeline.settings) == (1, None)
    assert "too small to cut. The nearest that can be built: --reach 25.4mm" in err


def test_a_rose_asked_for_where_no_top_is_bare_is_said_to_be_unused(run: Run, pipeline: Pipeline) -> None:
    out = run("inspect", "rose.jpg", "--points", "8", "--reach", "4")[1]
    assert "say which rose goes on a bare top, and this is none, so they weren't used" in " ".join(out.split())


def test_a_jpeg_picture_is_ours_too(run: Run, pipeline: Pipeline, tmp_path: Path) -> None:
    for _ in range(2):
        assert run("inspect", "rose.jpg", "--picture", "a.JPG")[0] == 0
    Image.open(tmp_path / "a.JPG").load()


def test_a_photo_that_cannot_be_measured(run: Run, pipeline: Pipeline, tmp_path: Path) -> None:
    pipeline.raises = NoCardFound(photo="rose.jpg")
    status, out, err = run("inspect", "rose.jpg", "--json", "a.json")
    assert (status, out) == (1, "")
    assert err.startswith("No scale card can be read in rose.jpg: lay printed cards flat")
    assert err.count("\n") == 1
    assert os.listdir(tmp_path) == ["rose.jpg"]


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (ZeroDivisionError("x\ny"), "Seamcheck itself failed (ZeroDivisionError in cli_measure.py, line"),
        (MemoryError(), "There isn't enough memory"),
    ],
)
def test_the_programs_own_faults_end_in_a_sentence(run: Run, pipeline: Pipeline, fault: Exception, sentence: str) -> None:
    pipeline.raises = fault
    status, out, err = run("inspect", "rose.jpg")
    assert (status, out) == (1, "")
    assert err.startswith(sentence)
    assert err.count("\n") == 1


def test_a_developer_gets_the_traceback(pipeline: Pipeline, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, run: Run) -> None:
    pipeline.raises = ZeroDivisionError()
    monkeypatch.setenv(TRACEBACK_VARIABLE, "1")
    monkeypatch.setattr(sys, "argv", ["seamcheck", "inspect", "rose.jpg"])
    with pytest.raises(ZeroDivisionError):
        main()


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_cards_are_written_and_replaced(run: Run, tmp_path: Path, paper: str) -> None:
    for _ in range(2):
        status, out, err = run("cards", "sheet.pdf", "--paper", paper)
        assert (status, err) == (0, "")
        assert out.startswith("sheet.pdf: eight scale cards for")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("arguments", [[], ["--help"], ["inspect", "--help"], ["cards", "--help"]])
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    """Help comes at once, because what takes long to load isn't loaded."""
    program = (
        "import sys\n"
        "from seamcheck.cli import main\n"
        f"sys.argv = ['seamcheck', *{arguments!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('LOADED', *sorted({name.split('.')[0] for name in sys.modules}))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.rpartition("LOADED")[2].split())
    assert "Usage: seamcheck" in done.stdout + done.stderr
    assert len(loaded) > 20
    assert not loaded & {"numpy", "cv2", "scipy", "matplotlib", "skimage", "PIL", "reportlab", "pillow_heif"}


def test_every_command_and_option_says_what_it_is_for() -> None:
    from seamcheck.cli import app

    for command in app.registered_commands:
        assert command.callback is not None
        assert command.callback.__doc__
        for name, hint in get_type_hints(command.callback, include_extras=True).items():
            assert name == "return" or any(getattr(said, "help", None) for said in hint.__metadata__), name


def test_python_m_does_the_same() -> None:
    done = subprocess.run([sys.executable, "-m", "seamcheck", "--help"], capture_output=True, text=True, check=True)
    assert "Usage: seamcheck" in done.stdout


def test_a_reader_that_stops_early_is_no_fault(tmp_path: Path) -> None:
    """`seamcheck --help | head -1`."""
    command = f"{sys.executable} -m seamcheck inspect --help | true"
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=True)
    assert done.stderr == ""


def test_any_terminal_can_show_the_errors(tmp_path: Path) -> None:
    environment: dict[str, Any] = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "seamcheck", "inspect", "Rösé.jpg"], capture_output=True, text=True, cwd=tmp_path, env=environment
    )
    assert done.returncode == 1
    assert done.stderr == "There is no file R?s?.jpg: check the name and the folder.\n"

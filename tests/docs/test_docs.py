"""The documents' commands, options and links are those of the program."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "calibration/README.md", "sample_images/README.md")]


def help_of(*command: str) -> str:
    return subprocess.run([sys.executable, "-m", "seamcheck", *command, "--help"], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("command", ["inspect", "cards"])
def test_every_option_is_in_the_readme(command: str) -> None:
    options = set(re.findall(r"--[a-z][a-z-]+", help_of(command))) - {"--help"}
    assert options
    readme = (ROOT / "README.md").read_text()
    assert [option for option in sorted(options) if option not in readme] == []


def test_every_option_in_the_documents_exists() -> None:
    known = set(re.findall(r"--[a-z][a-z-]+", help_of("inspect") + help_of("cards") + help_of()))
    for page in PAGES:
        for line in page.read_text().splitlines():
            if "seamcheck inspect" in line or "seamcheck cards" in line:
                assert set(re.findall(r"--[a-z][a-z-]+", line)) <= known, line


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
        assert (page.parent / target).exists(), target


def test_the_readmes_run_command_runs(tmp_path: Path) -> None:
    (line,) = [line for line in (ROOT / "README.md").read_text().splitlines() if line.startswith("    .venv/bin/seamcheck inspect")]
    words = line.split()[1:]
    words[words.index("--picture") + 1] = str(tmp_path / "picture.png")
    done = subprocess.run([sys.executable, "-m", "seamcheck", *words], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "picture.png").stat().st_size > 100_000

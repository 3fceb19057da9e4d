"""The documents' commands, options, report, map and links are those of the program."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.rose_options import rose_named

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "calibration/README.md", "sample_images/README.md")]
COMMANDS = (
    "inspect",
    "folder",
    "cards",
    "template",
    "recess",
    "seat",
    "plan",
    "decide",
    "job",
    "compare",
    "sheet",
    "lobes",
    "portfolio",
    "woods",
    "class",
)
OPTION = r"--[a-z][a-z-]+"
# A point as the report puts it: lobe, clock, ring, fraction, inches, u95, verdict.
ROW = re.compile(r"^ +(\d+) +(\d+(?::\d\d| o'clock)) +(\d) +(.+?) +(\.\d+) ±(\.\d+) +\S (on|off|unsure)$", re.MULTILINE)


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "seamcheck", *words], capture_output=True, text=True, cwd=ROOT, check=False)


@cache
def help_of(*command: str) -> str:
    done = run(*command, "--help")
    assert done.returncode == 0
    return done.stdout


def commands(page: Path, program: str) -> list[list[str]]:
    """The words of the page's indented command lines that start with a program, parts joined by && apart."""
    lines = [line.split(" # ")[0].strip() for line in page.read_text().splitlines() if line.startswith("    ")]
    parts = [part.strip() for line in lines for part in line.split("&&")]
    return [shlex.split(part) for part in parts if re.match(rf"(\.venv/bin/)?{program}( |$)", part)]


@cache
def readme_run(folder: Path) -> subprocess.CompletedProcess[str]:
    """The README's one measuring command, as it stands there but for where the picture goes."""
    ((_, *words),) = [words for words in commands(ROOT / "README.md", "seamcheck") if words[1] == "inspect" and "PHOTO" not in words]
    words[words.index("--picture") + 1] = str(folder / "picture.png")
    return run(*words, "--json", str(folder / "result.json"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("readme")


def test_every_command_and_option_is_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text()
    names = re.findall(r"^  ([a-z]+)  +\S", help_of().split("Commands:")[1], re.MULTILINE)
    assert set(names) >= set(COMMANDS)
    for name in names:
        assert f"seamcheck {name}" in readme
        options = set(re.findall(OPTION, help_of(name))) - {"--help"}
        assert options
        assert [option for option in sorted(options) if option not in readme] == []


def test_every_option_in_the_documents_exists() -> None:
    known = {name: set(re.findall(OPTION, help_of(name))) for name in COMMANDS}
    told = [words for page in PAGES for words in commands(page, "seamcheck")]
    assert told
    for _, name, *words in told:
        assert {word.strip("[]") for word in words if word.strip("[").startswith("--")} <= known[name], words
    # The table of what can be told, too.
    table = [line for line in (ROOT / "README.md").read_text().splitlines() if line.startswith("| `--")]
    assert set(re.findall(OPTION, "".join(table))) == known["inspect"] - {"--help"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text()):
        assert (page.parent / target).exists(), target


def test_files_that_commands_name_exist() -> None:
    for page in PAGES:
        for program in ("pip", "python", "seamcheck"):
            for words in commands(page, program):
                for word in words[1:]:
                    if ("/" in word and Path(word).suffix in (".py", ".jpg", ".pdf")) or word.endswith(".lock"):
                        assert (ROOT / word).exists(), words


def test_set_up_is_two_commands() -> None:
    set_up = (ROOT / "README.md").read_text().split("## Set up")[1]
    assert re.findall(r"^    (.*pip install.*)$", set_up, re.MULTILINE) == [
        "python3 -m venv .venv && .venv/bin/pip install -r requirements.lock",
        ".venv/bin/pip install --no-deps -e .",
    ]


def test_the_readmes_run_command_runs(folder: Path) -> None:
    done = readme_run(folder)
    assert done.returncode == 0, done.stderr
    assert (folder / "picture.png").stat().st_size > 100_000


def test_the_readmes_report_is_what_the_command_says(folder: Path) -> None:
    """Each point shown there stands in the report, in the same place and to the same side, to within what it is uncertain by."""
    shown = ROW.findall((ROOT / "README.md").read_text())
    assert len(shown) >= 3
    said = {row[0]: row for row in ROW.findall(readme_run(folder).stdout)}
    for lobe, clock, ring, words, inches, u95, verdict in shown:
        other = said[lobe]
        assert (clock, ring, words.split()[-1]) == (other[1], other[2], other[3].split()[-1])
        assert abs(float(inches) - float(other[4])) < min(float(u95), float(other[5]))
        low, high = float(inches) - float(u95), float(inches) + float(u95)
        assert verdict == ("on" if high <= 1 / 64 else "off" if low > 1 / 64 else "unsure")


def test_the_result_files_fields_are_in_the_readme(folder: Path) -> None:
    readme_run(folder)
    result = json.loads((folder / "result.json").read_text())
    told = (ROOT / "README.md").read_text().split("## The result file")[1].split("\n## ")[0]
    assert [name for name in result if f"`{name}`" not in told] == []
    fields = set(result) | set(result["tips"][0]) | set(result["joints"][0]) | set(result["scale"])
    assert set(re.findall(r"`([a-z][a-z_0-9]+)`", told)) <= fields | {"null", "u95"}


def test_the_readmes_rose_is_one_rose_in_all_its_commands() -> None:
    """What lobes are held against and what the recess is routed by is what `template` drew, and what it says that this rose is called."""
    readme = (ROOT / "README.md").read_text()
    by_name = {words[1]: words[2:] for words in commands(ROOT / "README.md", "seamcheck") if "--strip" in words or words[1] == "lobes"}
    rose = rose_named(by_name["template"])
    (routed,) = re.findall(r"`seamcheck recess (recess\.pdf --reach[^`]*)`", readme)
    assert rose_named(by_name["lobes"]) == rose
    assert rose_named(routed.split()) == rose
    done = run("template", *(word for word in by_name["template"] if not word.endswith(".pdf")))
    name = done.stdout.splitlines()[-1].strip()
    assert rose_named(name.split()) == rose
    assert f"`{name}`" in readme


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_card_commands_run(page: Path, tmp_path: Path) -> None:
    text = page.read_text()
    for target, paper in re.findall(r"`seamcheck cards (\S+\.pdf)(?: \[--paper letter\|(a4)\])?`", text):
        written = tmp_path / Path(target).name
        assert run("cards", str(written), *(["--paper", paper] if paper else [])).returncode == 0
        assert written.read_bytes().startswith(b"%PDF")


def test_the_map_names_every_module_and_none_that_is_gone() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    top = {path.stem for path in (ROOT / "seamcheck").iterdir() if not path.stem.startswith("__")}
    # gap_* and seam_* modules stand together under the one that uses them.
    within = {path.stem for part in ("measure", "find") for path in (ROOT / "seamcheck" / part).glob("*.py")}
    within = {name for name in within if not name.startswith(("__", "gap_", "seam_"))}
    assert [name for name in sorted(top | within) if not re.search(rf"\b{name}\b", text)] == []
    for path in re.findall(r"`((?:[a-z_]+/)+[a-z_0-9]+\.py)`", text):
        assert (ROOT / path).exists() or (ROOT / "seamcheck" / path).exists(), path

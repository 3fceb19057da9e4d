"""Draws the README's pictures and pages anew: `python tests/benchmarks/draw_gallery.py`, with `woods` or `timeline` for that one alone.

From the rendered samples; the photos of woods and of a timeline, which aren't among them, are rendered first.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image
from pypdf import PdfWriter

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.compare_study import pushed
from tests.benchmarks.repeat_study import other_view
from tests.scenes.draw import draw
from tests.scenes.render import render
from tests.scenes.samples import lay_samples, render_samples

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
WIDE_PX, QUALITY, GAP_PX = 1080, 84, 24
PLAN_WIDE_PX = 900
BETWEEN = (150, 150, 150)
INVENTED = {
    "dry-fit.jpg": "Bench 1",
    "four-points-taped.jpg": "Bench 2",
    "one-lobe-reversed.jpg": "Bench 3",
    "loose-lobes.jpg": "Bench 4",
    "set-in.jpg": "Bench 5",
    "cards-forgotten.jpg": "Bench 6",
}
WOODS = ("walnut", "rosewood", "mahogany", "maple", "ash", "cherry")  # of the scenes, each of its own kind
BENCH = "oak"
TIMELINE_SEED = 35  # a dry fit of eight points in two rings, four of them more than 1/64 in off, whose seams show as lines
PUSHES = ((5, -0.033), (0, -0.030), (4, -0.022))  # lobe, inches clockwise: each before the next photo


def made(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "seamcheck", *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def side_by_side(pdf: Path, pages: list[int], into: Path) -> None:
    """Pages of a PDF beside each other on grey, WIDE_PX wide in all."""
    document = pypdfium2.PdfDocument(pdf)
    width = (WIDE_PX - (len(pages) + 1) * GAP_PX) // len(pages)
    drawn = [document[k].render(scale=width / document[k].get_width()).to_pil().convert("RGB") for k in pages]
    whole = Image.new("RGB", (WIDE_PX, max(one.height for one in drawn) + 2 * GAP_PX), BETWEEN)
    for k, one in enumerate(drawn):
        whole.paste(one, (GAP_PX + k * (width + GAP_PX), GAP_PX))
    whole.save(into, quality=QUALITY)
    print(f"{into.relative_to(ROOT)}: {into.stat().st_size // 1000} kB")


def reduced(drawn: Path, into: Path, wide_px: int = WIDE_PX) -> None:
    with Image.open(drawn) as picture:
        small = picture.convert("RGB").resize((wide_px, round(picture.height * wide_px / picture.width)), Image.Resampling.LANCZOS)
    small.save(into, quality=QUALITY)
    print(f"{into.relative_to(ROOT)}: {into.stat().st_size // 1000} kB")


def bench_pictures(folder: Path) -> None:
    """What `inspect`, `plan` and `seat` draw, of the samples that README shows them of."""
    for sample in ("dry-fit", "set-in"):
        picture = folder / f"{sample}.png"
        made("inspect", str(SAMPLES / f"{sample}.jpg"), "--json", str(folder / f"{sample}.json"), "--picture", str(picture))
        reduced(picture, SAMPLES / f"{sample}-picture.jpg")
    made("plan", str(folder / "dry-fit.json"), "--keep", "3,7", "--picture", str(folder / "plan.png"))
    reduced(folder / "plan.png", SAMPLES / "plan-picture.jpg", PLAN_WIDE_PX)
    recess, rose = SAMPLES / "recess.jpg", SAMPLES / "recess-rose.json"
    made("seat", str(recess), str(rose), "--same-cards", "--picture", str(folder / "seat.png"))
    reduced(folder / "seat.png", SAMPLES / "seat-picture.jpg")


def woods_picture(folder: Path) -> None:
    """What `woods` draws, of six samples in two rows on a bench."""
    laid = lay_samples([(wood, 1.0) for wood in WOODS], BENCH, seed=2, ppi=180.0, megapixels=6.0)
    (folder / "woods.jpg").write_bytes(render_samples(laid))
    made("woods", str(folder / "woods.jpg"), "--names", ",".join(WOODS), "--picture", str(folder / "woods.png"))
    reduced(folder / "woods.png", SAMPLES / "woods-picture.jpg")


def timeline_picture(folder: Path) -> None:
    """A job's timeline, of four photos of one fit: a lobe is pushed before each but the first, and the phone turned."""
    scene, job = draw(TIMELINE_SEED, "dry-fit"), str(folder / "job")
    made("job", job, "--new")
    rng = np.random.default_rng(TIMELINE_SEED)
    across, along = (f"{bar:.3f}" for bar in scene.bars_in)
    for k, push in enumerate((None, *PUSHES)):
        if push is not None:
            scene = replace(pushed(scene, *push), view=other_view(scene, rng), noise_seed=k)
        photo = folder / f"photo {k + 1}.jpg"
        photo.write_bytes(render(scene))
        made("inspect", str(photo), "--stage", "dry-fit", "--bar-across", across, "--bar-along", along, "--job", job)
    made("job", job, "--timeline", str(folder / "timeline.png"))
    reduced(folder / "timeline.png", SAMPLES / "timeline-picture.jpg")


RENDERED = {"woods": woods_picture, "timeline": timeline_picture}


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for asked in sys.argv[1:]:
            RENDERED[asked](folder)
        if sys.argv[1:]:
            return
        bench_pictures(folder)
        woods_picture(folder)
        timeline_picture(folder)
        made("sheet", str(SAMPLES / "dry-fit.jpg"), str(folder / "sheet.pdf"))
        side_by_side(folder / "sheet.pdf", [0], SAMPLES / "sheet-picture.jpg")
        title = ["--title", "Rose for a hall table", "--stage", "inlaid"]
        made("portfolio", str(SAMPLES / "set-in.jpg"), str(folder / "portfolio"), *title)
        side_by_side(folder / "portfolio" / "portfolio.pdf", [0, 1, 2], SAMPLES / "portfolio-picture.jpg")
        class_pages(folder)


def class_pages(folder: Path) -> None:
    """A student's sheet and the overview's first page, of the samples under invented names."""
    (folder / "photos").mkdir()
    for photo in INVENTED:
        shutil.copy(SAMPLES / photo, folder / "photos")
    (folder / "names.csv").write_text("".join(f"{photo},{name}\n" for photo, name in INVENTED.items()))
    # A photo without cards ends in exit status 1.
    words = ["class", str(folder / "photos"), str(folder / "class"), "--names", str(folder / "names.csv")]
    subprocess.run([sys.executable, "-m", "seamcheck", *words], cwd=ROOT, check=False, capture_output=True)
    both = PdfWriter()
    for page in (folder / "class" / "sheets" / "Bench 2.pdf", folder / "class" / "overview.pdf"):
        both.append(page, pages=(0, 1))
    both.write(folder / "class.pdf")
    side_by_side(folder / "class.pdf", [0, 1], SAMPLES / "class-picture.jpg")


if __name__ == "__main__":
    main()

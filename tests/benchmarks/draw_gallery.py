"""Draws the README's pictures and pages anew, from the rendered samples: `python tests/benchmarks/draw_gallery.py`.

Not those of a timeline and of woods: their photos aren't among the samples.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image
from pypdf import PdfWriter

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


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        bench_pictures(folder)
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

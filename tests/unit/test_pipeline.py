"""What the pipeline adds to the words of its steps."""

from pathlib import Path

import pytest

from seamcheck import pipeline
from seamcheck.basis.errors import CardsDisagree, NoRoseFound, PhotoError, PictureOfRose, TwoRosesFound
from seamcheck.photo import read_photo

SAMPLE = Path(__file__).parents[2] / "sample_images" / "dry-fit.jpg"


@pytest.mark.parametrize("kind", [NoRoseFound, TwoRosesFound, PictureOfRose, CardsDisagree])
def test_what_the_finder_refuses_is_told_by_the_photos_name(kind: type[PhotoError], monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise kind(photo="the photo")

    monkeypatch.setattr(pipeline, "find_all", refuse)
    with pytest.raises(kind, match=r"dry-fit\.jpg"):
        pipeline.inspect(read_photo(SAMPLE), pipeline.Settings())

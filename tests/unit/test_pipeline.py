"""What the pipeline adds to the words of its steps."""

from pathlib import Path

import numpy as np
import pytest

from seamcheck import pipeline
from seamcheck.advise.photo_notes import unseen_ring_notes
from seamcheck.basis.errors import CardsDisagree, NoRoseFound, PhotoError, PictureOfRose, TwoRosesFound
from seamcheck.basis.lines import Line
from seamcheck.kite import FoundLobe, Kite
from seamcheck.measure.edge_task import EdgeFit
from seamcheck.measure.lobes import LobeFit
from seamcheck.measure.rings import rings_that_show
from seamcheck.photo import read_photo

SAMPLE = Path(__file__).parents[2] / "sample_images" / "dry-fit.jpg"


@pytest.mark.parametrize("kind", [NoRoseFound, TwoRosesFound, PictureOfRose, CardsDisagree])
def test_what_the_finder_refuses_is_told_by_the_photos_name(kind: type[PhotoError], monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise kind(photo="the photo")

    monkeypatch.setattr(pipeline, "find_all", refuse)
    with pytest.raises(kind, match=r"dry-fit\.jpg"):
        pipeline.inspect(read_photo(SAMPLE), pipeline.Settings())


LINE = EdgeFit(Line(np.zeros(2), 0.0, np.eye(2), 0.0, 0.0, 1.0), 9.0, np.ones(3), np.zeros(3), 0.1)
WHOLE, SEAM_ONLY, NOTHING = LobeFit(LINE, LINE, LINE), LobeFit(LINE, None, None), LobeFit(None, None, None)
EDGE_ONLY = LobeFit(None, LINE, None)


def lobes_of(rings: list[int | None]) -> list[FoundLobe]:
    return [FoundLobe(ring, Kite(*np.zeros((4, 2))), "cw") for ring in rings]


def test_a_ring_of_which_next_to_nothing_shows_is_left_out_and_said() -> None:
    lobes = lobes_of([1] * 4 + [2] * 4)
    kept, fits, gone = rings_that_show(lobes, [WHOLE] * 4 + [EDGE_ONLY, SEAM_ONLY, NOTHING, NOTHING])
    assert [lobe.ring for lobe in kept] == [1] * 4
    assert fits == [WHOLE] * 4
    assert gone == [4]
    assert "further ring of 4 lobes" in unseen_ring_notes(gone)[0]


def test_stripes_of_the_field_that_pass_for_own_seams_make_no_ring() -> None:
    lobes = lobes_of([1] * 4 + [3] * 4)
    kept, _, gone = rings_that_show(lobes, [WHOLE] * 4 + [SEAM_ONLY] * 4)
    assert len(kept) == 4
    assert gone == [4]


def test_a_ring_under_much_tape_stays_and_so_does_all_where_nothing_shows() -> None:
    lobes = lobes_of([1] * 4 + [2] * 4)
    fits = [WHOLE] * 4 + [NOTHING, EDGE_ONLY, NOTHING, EDGE_ONLY]
    assert rings_that_show(lobes, fits) == (lobes, fits, [])
    loose = lobes_of([None] * 3)
    assert rings_that_show(loose, [NOTHING] * 3) == (loose, [NOTHING] * 3, [])

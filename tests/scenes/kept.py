"""Scenes' photos, rendered once and kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from tests.scenes.render import render

S = TypeVar("S")


def photos_of(
    seeds: Iterable[int], draw: Callable[[int], S], keep: Path, name: str = "{seed}.jpg", rendered: Callable[[S], bytes] = render
) -> Iterator[tuple[S, Path]]:
    """Each seed's scene and its photo, which is rendered into the folder unless it lies there already."""
    keep.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        scene, path = draw(seed), keep / name.format(seed=seed)
        if not path.exists():
            path.write_bytes(rendered(scene))
        yield scene, path

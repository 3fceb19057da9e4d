"""What is said, in the language that it is said in.

The program's own words are English; a catalogue (GNU gettext's .mo) in `seamcheck/languages/xx/LC_MESSAGES/` puts them into another
language, chosen as by every gettext program: by LANGUAGE, LC_ALL, LC_MESSAGES or LANG. Words that are said where they stand go
through `say` or `say_count`; words in a table or constant are marked there by `to_say`, and said where they are used.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gettext import NullTranslations

DOMAIN = "seamcheck"
FOLDER = Path(__file__).parents[1] / "languages"

_spoken: ContextVar[NullTranslations | None] = ContextVar("language", default=None)


@cache
def _of_the_machine() -> NullTranslations:
    from gettext import translation

    return translation(DOMAIN, FOLDER, fallback=True)


def _catalogue() -> NullTranslations:
    return _spoken.get() or _of_the_machine()


def say(message: str, **words: object) -> str:
    """The message in the language that is spoken, its {names} filled in."""
    said = _catalogue().gettext(message) if message else ""  # gettext gives its own header for nothing
    return _filled(said, message, words) if words else said


def say_count(one: str, many: str, count: int, **words: object) -> str:
    """The same of something counted, which is {count} in both forms: one for 1, many for the rest (or as the language has it)."""
    return _filled(form_for(one, many, count), one if count == 1 else many, {"count": count, **words})


def _filled(said: str, message: str, words: dict[str, object]) -> str:
    """The gaps filled in; a catalogue that names one that isn't there costs that sentence its language, not the report."""
    try:
        return said.format(**words)
    except (LookupError, ValueError):
        return message.format(**words)


def form_for(one: str, many: str, count: int) -> str:
    """The form that the count takes, its {names} not filled in."""
    return _catalogue().ngettext(one, many, count)


def to_say(message: str) -> str:
    """Marks a message that is said elsewhere; gives it as it is."""
    return message


@contextmanager
def spoken(catalogue: NullTranslations) -> Iterator[None]:
    """Another catalogue, as long as the block runs."""
    token = _spoken.set(catalogue)
    try:
        yield
    finally:
        _spoken.reset(token)

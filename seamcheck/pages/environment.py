"""Templates into pages: HTML in one file, everything in it, so that it opens anywhere and offline.

Whatever a template is given is escaped (a student may be called <b>), a name that it isn't given is a fault, and what it says
in its own words goes through `_()` or `{% trans %}` into the language that is spoken.
"""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from ..basis.language import form_for, say
from ..basis.units import lengths
from ..sheet import PROGRAM

if TYPE_CHECKING:
    from jinja2 import Environment

TEMPLATES = Path(__file__).parent / "templates"
MADE_BY = f'<meta name="generator" content="{PROGRAM}">'  # how a page is known as ours
_LOOKED_AT = 1024  # bytes: the mark stands at the page's head


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    # newstyle: a message's {names} are %(names)s in templates, filled in after translation, escaped.
    environment.install_gettext_callables(say, form_for, newstyle=True)  # type: ignore[attr-defined]
    return environment


def page(template: str, **values: object) -> bytes:
    """The page's bytes. Beside its values a template has `lengths`, in which it words every length."""
    text = _environment().get_template(template).render(lengths=lengths(), made_by=PROGRAM, **values)
    return text.encode()


def is_page(data: bytes) -> bool:
    """Whether a file's bytes are such a page."""
    return MADE_BY.encode() in data[:_LOOKED_AT]


def data_url(picture: bytes) -> str:
    """A PNG or JPEG file's bytes as what stands in an <img>'s src."""
    kind = "png" if picture.startswith(b"\x89PNG") else "jpeg"
    return f"data:image/{kind};base64,{b64encode(picture).decode()}"

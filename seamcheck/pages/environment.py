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
from ..report.overlay_palette import MARK_SHAPES
from ..sheet import PROGRAM
from .pictures import Picture

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

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
    environment.filters["data_url"] = data_url
    environment.globals["mark"] = mark
    environment.install_gettext_callables(say, form_for, newstyle=True)  # type: ignore[attr-defined]
    return environment


def page(template: str, **values: object) -> bytes:
    """The page's bytes. Beside its values a template has `lengths`, in which it words every length."""
    text = _environment().get_template(template).render(lengths=lengths(), made_by=PROGRAM, **values)
    return text.encode()


def is_page(data: bytes) -> bool:
    """Whether a file's bytes are such a page."""
    return MADE_BY.encode() in data[:_LOOKED_AT]


def data_url(picture: Picture) -> str:
    """A PNG or JPEG file's bytes as what stands in an <img>'s src."""
    kind = "png" if picture.data.startswith(b"\x89PNG") else "jpeg"
    return f"data:image/{kind};base64,{b64encode(picture.data).decode()}"


FILLED = ("on", "off", "open", "closed")  # marks of what is known; what can't be told is open


def mark(kind: str) -> Markup:
    """A verdict's mark as a small drawing: its shape tells, so it needs no colour. Words beside it say the same, so it has none."""
    from markupsafe import Markup

    shape = MARK_SHAPES[kind]
    drawn = '<circle r="86"/>' if shape is None else f'<path d="M{"L".join(f"{100 * x:.0f} {100 * y:.0f}" for x, y in shape)}Z"/>'
    fill = "#000" if kind in FILLED else "#fff"
    return Markup(
        f'<svg class="mark" viewBox="-130 -130 260 260" aria-hidden="true" fill="{fill}" stroke="#000" stroke-width="24">{drawn}</svg>'
    )

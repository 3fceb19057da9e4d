"""Gathers every string that is said, and renews the catalogue that other languages start from: `python tests/catalogue.py`.

By the syntax tree, not by tokens as Babel's own extractor does, since before Python 3.12 a token is a whole f-string, and what is
said within it would be missed.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from jinja2 import Environment

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "seamcheck"
CATALOGUE = PACKAGE / "languages" / "seamcheck.pot"
WORDS = {"say": 1, "to_say": 1, "say_count": 2, "form_for": 2}  # how many of its first arguments are messages

Message = str | tuple[str, ...]


def _texts(node: ast.expr) -> Iterator[str]:
    """The literal, or both of a choice between two."""
    if isinstance(node, ast.IfExp):
        yield from _texts(node.body)
        yield from _texts(node.orelse)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        raise ValueError(f"line {node.lineno}: an f-string can't be put into another language; name its gaps")


def said_in(source: str) -> Iterator[Message]:
    """What a module says."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in WORDS:
            count = WORDS[node.func.id]
            if count == 1:
                yield from (text for text in _texts(node.args[0]) if text)
            else:
                forms = tuple(text for arg in node.args[:count] for text in _texts(arg))
                if len(forms) == count:
                    yield forms


def gathered() -> set[Message]:
    """What the whole package says, templates too."""
    found: set[Message] = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        found.update(said_in(path.read_text()))
    environment = Environment(extensions=["jinja2.ext.i18n"], trim_blocks=True, lstrip_blocks=True, autoescape=True)
    for path in sorted((PACKAGE / "pages" / "templates").glob("*.html")):
        for _, _, message in environment.extract_translations(path.read_text()):
            forms = tuple(text for text in ([message] if isinstance(message, str) else message) if text)  # None is what isn't a literal
            found.add(forms[0] if len(forms) == 1 else forms)
    return found - {message[0] for message in found if not isinstance(message, str)}  # one entry serves both


def main() -> None:
    catalogue = Catalog(charset="utf-8")
    for message in sorted(gathered(), key=str):
        catalogue.add(message)
    with CATALOGUE.open("wb") as file:
        write_po(file, catalogue, width=140, no_location=True, omit_header=True, sort_output=True)
    print(f"{CATALOGUE.relative_to(ROOT)}: {len(catalogue)} messages")


if __name__ == "__main__":
    main()

"""The portfolio for a screen."""

from __future__ import annotations

from .bench_html import CSS_PAPER
from .environment import page
from .portfolio_content import Portfolio


def portfolio_html(shown: Portfolio, paper: str) -> bytes:
    """The file. paper: "letter" or "a4", which it is printed on."""
    return page("portfolio.html", shown=shown, paper=CSS_PAPER[paper])

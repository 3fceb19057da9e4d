"""Words in another language: everything marked is gathered, and what is gathered is what is said."""

from __future__ import annotations

import re
from dataclasses import replace
from gettext import NullTranslations
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from seamcheck.advise import cautions
from seamcheck.basis import errors
from seamcheck.basis.language import form_for, say, say_count, spoken, to_say
from seamcheck.basis.reasons import Reason
from seamcheck.basis.units import Lengths, Units, lengths
from seamcheck.basis.units import spoken as spoken_in
from seamcheck.pages.bench_content import bench_sheet
from seamcheck.pages.bench_html import bench_html
from seamcheck.pages.portfolio_content import accuracy
from seamcheck.report.overlay_legend import legend_items, title_items
from seamcheck.report.overlay_words import caption
from seamcheck.report.text import report_lines
from tests.catalogue import CATALOGUE, gathered, said_in
from tests.made_up import ALL_WELL, BARE_TOP, DRY_FIT, LOOSE, NO_EDGE
from tests.made_up_picture import picture_of

RENEW = "renew the catalogue: python tests/catalogue.py"
NAMELESS = re.compile(r"\{[0-9]*[}:!]|%[sd]")


class Reversed(NullTranslations):
    """A language in which every message stands between brackets."""

    def gettext(self, message: str) -> str:
        return f"‹{message}›"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"‹{msgid1 if n == 1 else msgid2}›"


def catalogued() -> set[str | tuple[str, ...]]:
    with CATALOGUE.open("rb") as file:
        return {tuple(message.id) if isinstance(message.id, list | tuple) else message.id for message in read_po(file) if message.id}


def test_the_catalogue_holds_what_the_program_says_and_nothing_else() -> None:
    found, told = gathered(), catalogued()
    assert sorted(map(str, found - told)) == [], RENEW
    assert sorted(map(str, told - found)) == [], RENEW
    assert len(told) > 100


def test_what_is_said_is_found_wherever_it_stands() -> None:
    source = """
words = f"{say('within')} {say_count('{count} a', '{count} b', n):4}"
other = say("this" if so else "that", x=f"{y:.1f}") + to_say("a long "
    "one")
"""
    assert set(said_in(source)) == {"within", ("{count} a", "{count} b"), "this", "that", "a long one"}
    with pytest.raises(ValueError, match="name its gaps"):
        list(said_in('say(f"{a} is")'))


def test_errors_reasons_and_cautions_are_all_in_it() -> None:
    told = catalogued()
    kinds = [one for one in vars(errors).values() if isinstance(one, type) and issubclass(one, errors.SeamcheckError)]
    assert [one.__name__ for one in kinds for words in (one.wrong, one.remedy) if words and words not in told] == []
    assert [one.name for one in Reason for words in (one.value.sentence, one.value.remedy) if words not in told] == []
    constants = [value for name, value in vars(cautions).items() if name.isupper()]
    assert len(constants) > 5
    assert [words for words in constants if words not in told] == []


def test_another_language_is_said_where_it_is_spoken() -> None:
    with spoken(Reversed()):
        assert say("{length} clockwise", length="3/64 in") == "‹3/64 in clockwise›"
        assert say_count("{count} point", "{count} points", 2) == "‹2 points›"
        assert form_for("one", "many", 1) == "‹one›"
        assert to_say("later") == "later"
        assert Reason.SEAM_FAINT.sentence.startswith("‹")
        assert str(errors.NoFolder(folder="a", file="b")).startswith("‹There is no folder a")
        assert say("") == ""
    assert Reason.SEAM_FAINT.sentence == "the field seam doesn't show beyond the point"


class Wrong(NullTranslations):
    """A catalogue whose gaps are misspelt."""

    def gettext(self, message: str) -> str:
        return "{nothing} like it {"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return "{nowhere}"


def test_a_catalogues_slip_costs_a_sentence_its_language_and_no_more() -> None:
    with spoken(Wrong()):
        assert say("{length} clockwise", length="1/2 in") == "1/2 in clockwise"
        assert say_count("{count} point", "{count} points", 2) == "2 points"


def test_a_machine_in_another_language_finds_its_catalogue(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A real .mo file, chosen by LANGUAGE as gettext does."""
    from babel.messages.catalog import Catalog
    from babel.messages.mofile import write_mo

    from seamcheck.basis import language

    catalogue = Catalog("de")
    catalogue.add("{length} clockwise", "{length} im Uhrzeigersinn")
    catalogue.add(("{count} point", "{count} points"), ("{count} Spitze", "{count} Spitzen"))
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    with (folder / "seamcheck.mo").open("wb") as file:
        write_mo(file, catalogue)
    monkeypatch.setattr(language, "FOLDER", tmp_path)
    monkeypatch.setenv("LANGUAGE", "de")
    language._of_the_machine.cache_clear()
    try:
        assert say("{length} clockwise", length="1/2 in") == "1/2 in im Uhrzeigersinn"
        assert [say_count("{count} point", "{count} points", count) for count in (1, 3)] == ["1 Spitze", "3 Spitzen"]
        assert say("not in it") == "not in it"
    finally:
        language._of_the_machine.cache_clear()


def test_reasons_say_lengths_of_the_kind_that_is_spoken() -> None:
    with spoken_in(Units.MM):
        assert lengths() == Lengths(Units.MM)
        assert Reason.SEAM_COVERED.remedy == "clear 25 mm of the seam beyond the point"
    assert Reason.SEAM_COVERED.remedy == "clear an inch of the seam beyond the point"


def test_no_message_has_a_gap_without_a_name() -> None:
    """Another language may want its words in another order, so every gap is named."""
    for message in catalogued():
        for words in [message] if isinstance(message, str) else message:
            assert not NAMELESS.search(words), words


def unsaid(words: str) -> str:
    """The letters that stand outside of every bracket: what no language could change."""
    depth, left = 0, []
    for letter in words:
        depth += (letter == "‹") - (letter == "›")
        left.append(letter if depth == 0 and letter != "›" else " ")
    rest = re.sub(r"\b(in|mm|ccw?|u95|jpg|rose|made-up|sixteen|deg)\b|&#?\w+;|\b\d+-\w+", " ", "".join(left))
    return " ".join(re.findall(r"[A-Za-z]{2,}[A-Za-z' ]*", rest))


def test_a_word_that_isnt_said_is_seen() -> None:
    assert unsaid("‹a ‹within› b› .0121 Hello there, in ‹c›") == "Hello there"
    assert unsaid(" ".join(line.words for line in report_lines(DRY_FIT))).startswith("dry fit")


FITS = {"dry fit": DRY_FIT, "all well": ALL_WELL, "loose": LOOSE, "bare": BARE_TOP, "no edge": NO_EDGE}


@pytest.mark.parametrize("name", FITS)
def test_every_word_of_the_report_and_the_picture_is_said(name: str) -> None:
    inspection = replace(FITS[name], warnings=())
    with spoken(Reversed()):
        lines = [line.words for line in report_lines(inspection)]
        lines += [item.words for item in title_items(inspection) + legend_items(inspection, 0.01)]
        for tip in inspection.tips:
            head, more = caption(tip, True)
            lines += [head, *more]
    assert unsaid(" ".join(lines)) == ""


@pytest.mark.parametrize("name", ["dry fit", "all well", "loose"])
def test_every_word_of_the_pages_is_said(name: str) -> None:
    fit = FITS[name]
    with spoken(Reversed()):
        page = bench_html(bench_sheet(picture_of(fit), replace(fit, warnings=())), "letter").decode()
        statement = list(accuracy(fit, {tip.lobe: str(tip.lobe) for tip in fit.tips})) if name != "loose" else []
    body = re.sub(r"<style>.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    said = " ".join([*re.findall(r'(?:alt|aria-label)="([^"]*)"', body), re.sub(r"<[^>]*>", " ", body), *statement])
    assert unsaid(said) == ""
    assert "‹" in said

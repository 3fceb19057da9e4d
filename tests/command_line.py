"""The command line, called within the tests' own process."""

from __future__ import annotations

import sys
from collections.abc import Callable

import pytest

from seamcheck.cli import main

Run = Callable[..., tuple[int, str, str]]


def command_line(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Takes what is written after `seamcheck`; gives (exit status, standard output, standard error)."""

    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["seamcheck", *arguments])
        with pytest.raises(SystemExit) as stopped:
            main()
        out, err = capsys.readouterr()
        return int(stopped.value.code or 0), out, err

    return call

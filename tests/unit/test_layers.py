"""The import rule of pyproject.toml holds: modules import downward only, and measuring knows no drawing."""

from pathlib import Path

from importlinter import cli


def test_the_import_contracts_are_kept() -> None:
    root = Path(__file__).parents[2]
    assert cli.lint_imports(config_filename=str(root / "pyproject.toml"), no_cache=True) == cli.EXIT_STATUS_SUCCESS

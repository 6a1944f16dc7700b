"""Shared by all tests."""

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
sys.path.insert(0, str(ROOT / "tests"))


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's folder."""
    return ROOT


def pytest_configure(config):
    config.addinivalue_line("markers", "checks(label, *formulas): what a test stands on and which formulas it checks")

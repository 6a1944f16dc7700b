"""A build file with something wrong in it, and what the reader says."""

from pathlib import Path

import pytest

from unikit.inputs import InputError, load_build


@pytest.fixture(scope="session")
def commuter_path(root) -> Path:
    return root / "data" / "builds" / "harbour_commuter.toml"


@pytest.fixture(scope="session")
def commuter(commuter_path):
    return load_build(commuter_path)


@pytest.fixture(scope="session")
def ungeared(root):
    return load_build(root / "data" / "builds" / "harbour_ungeared.toml")


@pytest.fixture
def complaints(tmp_path, monkeypatch, commuter_path):
    """Change the commuter's text, read it, and give the lines of the error."""
    monkeypatch.chdir(tmp_path)

    def change(*edits: tuple[str, str], text: str | None = None) -> list[str]:
        written = commuter_path.read_text(encoding="utf-8") if text is None else text
        for old, new in edits:
            assert old in written, old
            written = written.replace(old, new, 1)
        Path("b.toml").write_text(written, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            load_build("b.toml")
        return str(caught.value).splitlines()

    return change

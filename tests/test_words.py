"""No text of the kit says that something is safe or lawful: it gives margins, and leaves the law to the law."""

import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
KINDS = {".py", ".md", ".toml", ".csv", ".json", ".ipynb"}

_VERB = r"(?:is|are|was|were|be|been|being|it's|remains?|stays?|seems?|looks?|counts? as|rated|considered|deemed|certified)"
_SOFTENER = r"(?:\s+(?:not|now|then|also|still|always|never|perfectly|quite|very|completely|fully|probably|generally|\w+ly))*"
_WORD = r"(?:safe|unsafe|legal|illegal|lawful|unlawful|roadworthy|street-legal|road-legal)"
VERDICTS = [
    re.compile(rf"\b{_VERB}{_SOFTENER}\s+{_WORD}\b(?!\s+(?:limits?|texts?|advice)\b)", re.IGNORECASE),
    re.compile(r"\b(?:safe|legal|lawful)(?:ly)?\s+to\s+(?:ride|use|drive|operate|touch|charge|carry|fly|take|own)\b", re.IGNORECASE),
    re.compile(r"\b(?:street|road)[- ]legal\b", re.IGNORECASE),
    re.compile(r"\b(?:can|may|could)\s+(?:be\s+)?(?:safely|legally|lawfully)\b", re.IGNORECASE),
    re.compile(r"\b(?:safely|legally|lawfully)\s+(?:ridden|used|ride|carried|rideable|admitted)\b", re.IGNORECASE),
]
# Sentences about verdicts, not verdicts; each with its file, whole.
ABOUT_VERDICTS = {"DEVELOPERS.md": "no verdict that something is safe or lawful"}


def verdicts(text: str) -> list[str]:
    """What in a text judges something safe or lawful, also over a line's end."""
    flat = re.sub(r"\s+", " ", text)
    return [match[0] for pattern in VERDICTS for match in pattern.finditer(flat)]


def words(path: Path) -> str:
    """The text of a file; of a notebook what its cells hold and what they print."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".ipynb":
        found = []
        for cell in json.loads(text)["cells"]:
            found.append("".join(cell["source"]))
            for output in cell.get("outputs", []):
                pieces = [output.get("text", "")] + [part for kind, part in output.get("data", {}).items() if kind.startswith("text/")]
                found += ["".join(piece) for piece in pieces]
        text = "\n".join(found)
    if path.suffix == ".py":  # a comment, or a text in quotes, that goes on in the next line
        text = re.sub(r"[\"']\s*\n\s*[rf]?[\"']|\n\s*#", " ", text)
    return text.replace(ABOUT_VERDICTS.get(path.relative_to(ROOT).as_posix(), "\0"), "")


def paths() -> list[Path]:
    """Every text that a person may read."""
    found = [path for folder in ("unikit", "notebooks", "docs", "data") for path in (ROOT / folder).rglob("*") if path.suffix in KINDS]
    return sorted(path for path in found if ".ipynb_checkpoints" not in path.parts) + [ROOT / "README.md", ROOT / "DEVELOPERS.md"]


def test_no_text_judges_something_safe_or_lawful():
    assert len(paths()) > 40
    assert {path.relative_to(ROOT).as_posix(): found for path in paths() if (found := verdicts(words(path)))} == {}


@pytest.mark.parametrize(
    "text",
    [
        "This build is safe.",
        "the packs are\nperfectly safe",
        "is legal in most places",
        "is not legal",
        "A street-legal unicycle",
        "it is now safe to touch",
        "safe to ride",
        "can be safely ridden",
        "the machine may legally use the road",
        "considered lawful",
    ],
)
def test_a_verdict_is_found(text):
    assert verdicts(text)


@pytest.mark.parametrize(
    "text",
    [
        "this kit gives no legal advice",
        "Whether such a vehicle is admitted on a road is for your local law to say.",
        "a fail-safe brake",
        "legal texts change",
        "keep a safe distance",
        "written safely: whole or not at all",
        "what is legal advice",
    ],
)
def test_other_words_are_left_alone(text):
    assert verdicts(text) == []


def test_the_sentences_about_verdicts_still_stand():
    for name, sentence in ABOUT_VERDICTS.items():
        assert sentence in re.sub(r"\s+", " ", (ROOT / name).read_text(encoding="utf-8")), name

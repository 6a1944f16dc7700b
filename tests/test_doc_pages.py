"""What the pages of the documentation show of Python is what it prints."""

import doctest
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
BLOCK = re.compile(r"^```python\n(>>> .*?)^```$", re.DOTALL | re.MULTILINE)
PAGES = {path.name: blocks for path in sorted((ROOT / "docs").glob("*.md")) if (blocks := BLOCK.findall(path.read_text(encoding="utf-8")))}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_prints_what_it_says(name, monkeypatch):
    monkeypatch.chdir(ROOT)
    example = doctest.DocTestParser().get_doctest("\n".join(PAGES[name]), {}, name, name, 0)
    said: list[str] = []
    result = doctest.DocTestRunner().run(example, out=said.append)
    assert result.attempted > 0
    assert result.failed == 0, "".join(said)


def test_each_lesson_page_shows_a_call():
    assert {"gearing.md", "leverage.md", "going.md", "motor.md", "heat.md", "range.md", "review.md"} <= set(PAGES)

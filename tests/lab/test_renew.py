"""Renewing notebooks: the same bytes twice, nothing written on failure, and words for what differs."""

import base64
import io

import nbformat
from nbformat import v4
from PIL import Image

from unikit.lab import renew
from unikit.lab.lesson import KERNELSPEC

LEFT_BEHIND = {"deletable": False, "scrolled": True, "execution": {"iopub.execute_input": "2026-01-01T00:00:00Z"}}


def save(path, *cells, **metadata):
    made = [v4.new_code_cell(cell) if isinstance(cell, str) else cell for cell in cells]
    nbformat.write(v4.new_notebook(cells=made, metadata=metadata), path)
    return path


def read(path):
    return nbformat.read(path, as_version=4)


def test_a_second_run_changes_no_byte(tmp_path, capsys):
    path = save(
        tmp_path / "one.ipynb",
        v4.new_markdown_cell("# A title"),
        v4.new_code_cell("import ipywidgets\nipywidgets.VBox([ipywidgets.Label('x')])", metadata=LEFT_BEHIND),
        "import sys\nfor i in range(3):\n    print(i, flush=True)\n    print('aside', file=sys.stderr, flush=True)",
        "import os\nprint(sorted(os.listdir()))",
        "import matplotlib.pyplot as plt\nplt.plot([1, 3, 2])\nplt.show()",
        kernelspec={"name": "elsewhere", "display_name": "Elsewhere", "language": "python"},
        language_info={"name": "python", "version": "3.0"},
        widgets={"application/vnd.jupyter.widget-state+json": {"state": {}}},
    )
    assert renew.main([str(path)]) == 0
    first, book = path.read_bytes(), read(path)
    assert dict(book.metadata) == {"kernelspec": KERNELSPEC}
    assert [cell.id for cell in book.cells] == ["c0", "c1", "c2", "c3", "c4"]
    assert [cell.execution_count for cell in book.cells[1:]] == [1, 2, 3, 4]
    panel, streams, folder, figure = book.cells[1:]
    assert panel.metadata == {"deletable": False}
    assert list(panel.outputs[0].data) == ["text/plain"]
    assert [(out.name, out.text) for out in streams.outputs] == [("stdout", "0\n1\n2\n"), ("stderr", "aside\n" * 3)]
    assert folder.outputs[0].text == "['one.ipynb']\n", "a notebook runs in its own folder, with nothing left beside it"
    assert len(figure.outputs[0].data["image/png"]) < 15_000
    assert renew.main(["--check", str(path)]) == 0
    assert renew.main([str(path)]) == 0
    assert path.read_bytes() == first
    assert capsys.readouterr().out.count("as it was") == 2


def test_check_names_what_would_change_and_writes_nothing(tmp_path, capsys):
    path = save(tmp_path / "one.ipynb", "print(1 + 1)", "print('same')")
    renew.main([str(path)])
    book = read(path)
    book.cells[0].outputs[0].text = "3\n"
    nbformat.write(book, path)
    before = path.read_bytes()
    capsys.readouterr()
    assert renew.main(["--check", str(tmp_path)]) == 1
    assert path.read_bytes() == before
    assert capsys.readouterr().out == f"{path}: would change: cell 1 (outputs)\n"


def test_a_failing_cell_leaves_the_file_and_the_others_are_still_renewed(tmp_path, capsys):
    bad = save(tmp_path / "bad.ipynb", v4.new_markdown_cell("words"), "print(1)", "raise ValueError('first line\\nlast line')")
    good = save(tmp_path / "good.ipynb", "print(2)")
    before = bad.read_bytes()
    assert renew.main([str(tmp_path)]) == 1
    assert bad.read_bytes() == before
    assert capsys.readouterr().err == f"{bad}: cell 3 of 3: ValueError: last line\n"
    assert read(good).cells[0].outputs[0].text == "2\n"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.ipynb", "good.ipynb"]


def test_an_endless_cell_is_ended(tmp_path, capsys):
    path = save(tmp_path / "slow.ipynb", "import time", "time.sleep(60)")
    before = path.read_bytes()
    assert renew.main(["--seconds", "1", str(path)]) == 1
    assert capsys.readouterr().err == f"{path}: cell 2 of 2: still running after 1 s\n"
    assert path.read_bytes() == before


def test_an_edit_during_the_run_is_kept(tmp_path, capsys):
    path = save(tmp_path / "one.ipynb", "open('one.ipynb', 'a').write(' ')")
    before = path.read_bytes()
    assert renew.main([str(path)]) == 1
    assert "edited while it ran" in capsys.readouterr().err
    assert path.read_bytes() == before + b" "


def test_what_is_no_notebook_is_named(tmp_path, capsys):
    words = tmp_path / "words.ipynb"
    words.write_text("not a notebook", encoding="utf-8")
    assert renew.main([str(words), str(tmp_path / "missing.ipynb")]) == 1
    first, second = capsys.readouterr().err.splitlines()
    assert first.startswith(f"{words}: Notebook does not appear to be JSON")
    assert "missing.ipynb" in second


def test_a_folder_without_notebooks_is_an_error(tmp_path, capsys):
    assert renew.main([str(tmp_path)]) == 2
    assert "no notebooks" in capsys.readouterr().err


def encoded(image):
    stream = io.BytesIO()
    image.save(stream, "PNG", compress_level=0)
    return base64.b64encode(stream.getvalue()).decode()


def test_pictures_get_smaller_and_keep_their_look():
    image = Image.radial_gradient("L").convert("RGB").resize((400, 300))
    small = renew.smaller(encoded(image))
    shown = Image.open(io.BytesIO(base64.b64decode(small)))
    assert len(small) < len(encoded(image)) / 5
    assert shown.size == image.size
    pairs = zip(shown.convert("RGB").tobytes(), image.tobytes(), strict=True)
    assert max(abs(one - other) for one, other in pairs) <= 4
    assert renew.smaller(small) == small


def test_a_transparent_picture_stays_transparent():
    small = renew.smaller(encoded(Image.new("RGBA", (20, 20), (10, 20, 30, 40))))
    assert Image.open(io.BytesIO(base64.b64decode(small))).convert("RGBA").getpixel((5, 5)) == (10, 20, 30, 40)


def test_differences_in_layout_alone_are_named(tmp_path):
    path = save(tmp_path / "one.ipynb", "1")
    same = path.read_bytes()
    assert renew.differences(same, same) == []
    assert renew.differences(same, same + b"\n") == ["layout of the file"]

"""Choosing and adding a route in a notebook, without a browser."""

import datetime

import pytest

from unikit.inputs import load_route, save_route
from unikit.lab import upload


@pytest.fixture
def chosen(root):
    return upload.pick(root / "data/routes")


def sent(name, content):
    """What a browser sends."""
    now = datetime.datetime.now(datetime.UTC)
    return ({"name": name, "type": "", "size": len(content), "content": memoryview(content), "last_modified": now},)


def test_the_routes_of_a_folder_and_a_choice_among_them(chosen, root):
    assert list(chosen.routes) == ["Harbour round", "Over the hill"] == list(chosen.names.options)
    assert (
        chosen.route is chosen.routes["Harbour round"] and chosen.route.length == load_route(root / "data/routes/harbour_round.toml").length
    )
    seen = []
    chosen.observe(seen.append)
    chosen.names.value = "Over the hill"
    assert seen == [chosen.route] and seen[0].name == "Over the hill" and "drift of +8.4 m" in chosen.told.value
    chosen.choose("Harbour round")
    assert [one.name for one in seen] == ["Over the hill", "Harbour round"]
    with pytest.raises(ValueError, match="there is no route 'Nowhere'; there are 'Harbour round', 'Over the hill'"):
        chosen.choose("Nowhere")


def test_an_upload_is_added_chosen_and_told_once(chosen, root):
    seen = []
    chosen.observe(seen.append)
    content = (root / "data/routes/over_the_hill.gpx").read_bytes()
    chosen.upload.value = sent("today.gpx", content)
    assert [one.name for one in seen] == ["Over the hill (2)"] and chosen.route is seen[0]
    assert chosen.route.climb == chosen.routes["Over the hill"].climb and chosen.upload.value == ()
    assert 'role="status"' in chosen.alert.value and "Read from today.gpx" in chosen.alert.value
    chosen.upload.value = sent("today.gpx", content)  # once more
    assert chosen.route.name == "Over the hill (3)" and chosen.repaired.way.name == "Over the hill (3)"


def test_a_table_of_our_own_and_one_with_a_mapping(chosen, root, tmp_path):
    save_route(chosen.route, tmp_path / "out.csv")
    assert chosen.add("my way home.csv", (tmp_path / "out.csv").read_bytes())
    assert chosen.route.name == "my way home" and chosen.route.climb == pytest.approx(chosen.routes["Harbour round"].climb)
    (tmp_path / "map.toml").write_text(
        'format = 1\nname = "Counted"\nsource = "x"\ndelimiter = "comma"\ndecimal = "point"\n'
        '[columns.distance]\ncolumn = "x"\nunit = "km"\n[columns.altitude]\ncolumn = "z"\nunit = "m"\n'
    )
    other = upload.pick(root / "data/routes", tmp_path / "map.toml", step=20.0)
    assert other.add("a.csv", b"x,z\n0,1\n0.1,2\n0.2,3\n0.3,1\n") and other.route.name == "Counted"
    assert len(other.route.distance) == 16 and other.routes["Harbour round"].step == pytest.approx(20, rel=0.01)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("../../x/bad.gpx", b"hello", "Not read: bad.gpx: expected a file in GPX 1.1, which begins with &#x27;&lt;&#x27;"),
        ("C:\\x\\bad.fit", b"hello", "Not read: bad.fit: expected a file .gpx, .csv or .toml"),
        ("bad.toml", b"legs = 3", "bad.toml: format: expected the number 1"),
        ("bad.toml", b"legs = ", "bad.toml:1: expected TOML"),
        ("bad.csv", b"a,b\n1,2\n", "bad.csv:1: expected the columns &#x27;distance [m]&#x27;"),
        ("<b>.gpx", b"", "&lt;b&gt;.gpx: expected a file in GPX 1.1; found: an empty file"),
    ],
)
def test_a_bad_file_changes_nothing_and_says_one_thing(chosen, name, content, said):
    before, seen = dict(chosen.routes), []
    chosen.observe(seen.append)
    chosen.upload.value = sent(name, content)
    assert said in chosen.alert.value and chosen.alert.value.count('role="alert"') == 1 and "/tmp" not in chosen.alert.value
    assert chosen.routes == before and not seen and chosen.route.name == "Harbour round" and chosen.upload.value == ()


def test_too_large_a_file_is_not_even_written(chosen, monkeypatch):
    monkeypatch.setattr(upload, "MOST_BYTES", 100)
    monkeypatch.setattr(upload.tempfile, "TemporaryDirectory", None)
    assert not chosen.add("big.gpx", b"<" * 101)
    assert "big.gpx: expected a file of at most 100 bytes; found: 101 bytes" in chosen.alert.value


def test_a_folder_without_routes_is_told(tmp_path):
    with pytest.raises(ValueError, match=r"holds no route: expected files \.gpx, \.csv, \.toml$"):
        upload.pick(tmp_path)
    (tmp_path / "bad.gpx").write_text("x")
    with pytest.raises(ValueError, match=r"holds no route.*; bad\.gpx: expected a file in GPX 1\.1"):
        upload.pick(tmp_path)


def test_a_stored_notebook_says_what_stands_there(chosen):
    assert (
        chosen._repr_mimebundle_()["text/plain"] == "Routes to choose from: Harbour round, Over the hill (run the notebook to add your own)"
    )


def test_the_panel_follows_the_choice_and_its_controls(chosen):
    panel = upload.panel(chosen)
    assert panel.error is None and panel.result.name == "Harbour round" and panel.values() == {"smoothing": 20.0, "step": 10.0}
    picture = panel.image.value
    chosen.choose("Over the hill")
    assert panel.result.name == "Over the hill" and panel.image.value != picture and panel.result.smoothing == 30  # as that file usually is
    picture, climb, figure = panel.image.value, panel.result.climb, panel._live[False].figure
    panel.set(smoothing=60.0)
    assert panel._live[False].figure is figure  # axes hold still, so a redraw is quick
    panel.set(smoothing=120.0)
    assert panel.result.climb < climb and panel.image.value != picture
    before = panel.result.length
    panel.set(step=50.0)
    assert panel.result.length == pytest.approx(before, rel=1e-3) and panel.result.step == pytest.approx(50, rel=0.01)
    for end in (0.0, 500.0):
        panel.set(smoothing=end, step=5.0)
        assert panel.error is None
    panel.prepare_files()
    assert panel.files.value.count("download=") == 3

"""GPX files made to mislead or to exhaust: each is refused with one message, or read, within bounded memory."""

import gzip
import subprocess
import sys
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from route_texts import HEAD, NAMESPACE, PEAK, points, straight, track

from unikit.inputs import InputError, gpx, load_route

POINTS = points(*straight(40), [1.0] * 40)
ENTITIES = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 12))
GOOD = track(POINTS)
OLD = GOOD.replace("GPX/1/1", "GPX/1/0").replace('version="1.1"', 'version="1.0"')
MANY_NAMES = "".join(f"<a{n}/>" for n in range(2000))
NO_ENTITIES = "way.gpx:1: expected a file without document type and entities; found: a <!DOCTYPE> declaration"


@pytest.fixture
def refused(tmp_path):
    """The message for a text."""

    def reading(text):
        (tmp_path / "way.gpx").write_bytes(text if isinstance(text, bytes) else text.encode())
        with pytest.raises(InputError) as caught:
            load_route(tmp_path / "way.gpx")
        assert len(caught.value.problems) == 1
        said = str(caught.value)
        assert len(said) - len(str(tmp_path)) < 260 and "\n" not in said and "Traceback" not in said
        return said.replace(str(tmp_path) + "/", "")

    return reading


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f'<!DOCTYPE gpx [<!ENTITY e0 "ha">{ENTITIES}]>{HEAD[39:]}<trk>&e11;</trk></gpx>', NO_ENTITIES),
        (f'<!DOCTYPE gpx SYSTEM "file:///etc/hostname">{HEAD[39:]}</gpx>', "a file without document type and entities"),
        (f'<!DOCTYPE gpx [<!ENTITY x SYSTEM "http://127.0.0.1/">]>{HEAD[39:]}&x;</gpx>', "a file without document type and entities"),
        (GOOD.replace("<name>A way", "<name>&x;"), "expected well-formed XML; found: undefined entity"),
        (OLD, f"way.gpx:2: expected GPX 1.1: a <gpx> of the namespace {NAMESPACE!r}; found: <gpx> of "),
        (GOOD.replace(f' xmlns="{NAMESPACE}"', ""), "found: <gpx> of no namespace"),
        (f'<kml xmlns="urn:other">{POINTS}</kml>', "found: <kml> of 'urn:other'"),
        (GOOD[: len(GOOD) // 2], "expected well-formed XML; found: "),
        (GOOD + "<more/>", "expected well-formed XML; found: junk after document element"),
        ("", "expected a file in GPX 1.1; found: an empty file"),
        ("no XML at all", "which begins with '<'; found: a file that begins with 'no XML at al'"),
        (bytes(range(256)) * 40, "expected a file in GPX 1.1, which begins with '<'"),
        (HEAD.encode() + bytes(range(256)) * 40, "expected well-formed XML"),
        (gzip.compress(GOOD.encode()), "found: a file packed by gzip: unpack it first"),
        (GOOD.replace("<ele>1.000", "<ele>ten"), "way.gpx:2: <ele>: expected metres; found: 'ten'"),
        (GOOD.replace("<ele>1.000", "<ele>" + "1" * 5000), "<ele>: expected a number of at most 64 characters; found: more"),
        (GOOD.replace('lat="', 'lat="NaN" x="', 1), "way.gpx:2: <trkpt> lat: expected degrees from -85 to 85; found: 'NaN'"),
        (GOOD.replace('lat="', 'lat="91" x="', 1), "<trkpt> lat: expected degrees from -85 to 85; found: '91'"),
        (GOOD.replace('lon="', 'lon="1_0" x="', 1), "<trkpt> lon: expected degrees from -180 to 180; found: '1_0'"),
        (GOOD.replace('lon="', 'lon="inf" x="', 1), "<trkpt> lon: expected degrees from -180 to 180; found: 'inf'"),
        (GOOD.replace('lon="', 'lom="', 1), "<trkpt> lon: expected degrees from -180 to 180; found: nothing, it is missing"),
        (track(points(*straight(40))), "expected altitudes at two points at least; found: none"),
        (track(POINTS.replace("1.000", "NaN")), "expected altitudes at two points at least; found: none"),
        (track(), "expected a track or route with points; found: none"),
        (track(points([5.0] * 50, [6.0] * 50, [1.0] * 50)), "expected a way of at least 3 points that lie apart; found: 1"),
        (track(points([5.0, 5.0001, -40.0, -40.0001], [6.0] * 4, [1.0] * 4)), "at most 20 km apart; found: 4,980 km after point 2"),
        (GOOD.replace("<trk>", "<x>" * 100 + "</x>" * 100 + "<trk>"), "expected at most 64 elements within each other; found: more"),
        (GOOD.replace("<trk>", MANY_NAMES + "<trk>"), "at most 1,000 different names of elements and attributes"),
        (GOOD.replace("<trk>", "<trk/>" * 20_000 + "<trk>"), "at most 10,000 tracks, routes and segments; found: more"),
        (GOOD.replace("<trk>", "<!--" + "x" * 3_000_000 + "--><trk>"), "no tag, comment or text longer than 1,048,576 bytes"),
        (GOOD.replace("<trkseg>", '<trkseg a="' + "x" * 3_000_000 + '">'), "no tag, comment or text longer than 1,048,576 bytes"),
        (HEAD.replace("UTF-8", "martian") + "</gpx>", "found: unknown encoding"),
    ],
)  # fmt: skip
def test_is_refused_with_one_message(refused, text, said):
    assert said in refused(text)


def test_a_zip_is_refused(refused, tmp_path):
    with zipfile.ZipFile(tmp_path / "way.zip", "w") as packed:
        packed.writestr("way.gpx", GOOD)
    assert "found: a file packed by zip: unpack it first" in refused((tmp_path / "way.zip").read_bytes())


def test_too_many_points_and_too_many_bytes(refused, monkeypatch):
    monkeypatch.setattr(gpx, "MOST_POINTS", 39)
    assert "way.gpx:41: expected at most 39 points; found: more" in refused(GOOD)
    monkeypatch.setattr(gpx, "MOST_BYTES", 1000)
    assert f"expected a file of at most 1,000 bytes; found: {len(GOOD.encode()):,} bytes" in refused(GOOD)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings_that_xml_names_are_read(tmp_path, encoding):
    text = GOOD.replace("UTF-8", encoding.removesuffix("-sig")).replace("A way", "Über den Hügel")
    (tmp_path / "way.gpx").write_bytes(text.encode(encoding))
    assert load_route(tmp_path / "way.gpx").name == "Über den Hügel"


def test_missing_and_unreadable_altitudes_between_good_ones_are_bridged(tmp_path):
    text = GOOD.replace("<ele>1.000</ele>", "<ele>NaN</ele>", 3).replace("<ele>1.000</ele>", "", 2).replace("<ele>1.000</ele>", "<ele/>", 2)
    (tmp_path / "way.gpx").write_text(text)
    route = load_route(tmp_path / "way.gpx")
    assert route.altitude == pytest.approx(1.0) and "altitudes missing: 7" in " ".join(route.notes)


def test_a_text_within_an_elevation_does_not_count(tmp_path):
    (tmp_path / "way.gpx").write_text(
        GOOD.replace("<ele>1.000</ele>", "<ele>1<b>9<c>9</c></b>.0</ele>").replace("A way", "A <i>long</i> way")
    )
    route = load_route(tmp_path / "way.gpx")
    assert route.altitude == pytest.approx(1.0) and route.name == "A"


def test_a_long_name_is_cut(tmp_path):
    (tmp_path / "way.gpx").write_text(GOOD.replace("A way", "A way" + "y" * 9999))
    assert load_route(tmp_path / "way.gpx").name == "A way" + "y" * (gpx.LONGEST_NAME - 5)


def test_memory_is_that_of_the_points(tmp_path):
    """40,000 points in 3.6 MB of text, of which 1.1 MB are numbers; a tree of them would take about 50 MB."""
    latitude, longitude = straight(40_000, 5.0)
    (tmp_path / "way.gpx").write_text(track(points(latitude, longitude, latitude)))
    tracemalloc.start()
    try:
        found = gpx.read_gpx(tmp_path / "way.gpx")
        assert len(found.parts[0].latitude) == 40_000
        assert tracemalloc.get_traced_memory()[1] < 2.5e6
    finally:
        tracemalloc.stop()


MEASURED = (
    PEAK
    + """
import sys
from unikit.inputs import InputError, load_route
before = peak()
try:
    load_route(sys.argv[1])
except InputError as error:
    print(len(error.problems))
print(peak() - before)
"""
)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs the peak memory of a process, as Linux tells it")
@pytest.mark.parametrize(
    "inside",
    [
        lambda n: f"<trk><desc>{'x' * n}</desc></trk>",
        lambda n: "<trk>" + "<trkseg/>" * (n // 9),
        lambda n: "".join(f"<n{i}/>" for i in range(n // 9)),
        lambda n: '<wpt lat="1" lon="1"/>' * (n // 22),
        lambda n: "<a" + "".join(f' b{i}=""' for i in range(n // 10)) + "/>",
        lambda n: "".join(f'<x xmlns:p{i}="urn:{i}"/>' for i in range(n // 30)),
    ],
    ids=["text", "segments", "names", "lone points", "attributes", "namespaces"],
)
def test_twenty_megabytes_of_nothing_take_little_memory(tmp_path, inside):
    """The parser's own memory does not show in tracemalloc: the peak of a process of its own does."""
    (tmp_path / "way.gpx").write_text(f"{HEAD}{inside(20_000_000)}</gpx>")
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(tmp_path / "way.gpx")], capture_output=True, text=True, timeout=120, check=True
    )
    problems, kilobytes = map(int, done.stdout.split())
    assert problems == 1 and kilobytes < 25_000

"""Files of routes: what is read, what is mended and told, what comes back, and what is refused with one message."""

import re

import numpy as np
import pytest
from route_texts import MAPPING, points, straight, track

from unikit.formulas import geodesy, profile
from unikit.inputs import InputError, load_route, make_route, read_route, route_repair, save_route
from unikit.studies import routes_made

MADE = """
format = 1
name = "Two legs"
source = "invented"
altitude = "5 m"
bend = "0 m"
legs = [
  {length = "500 m", slope = "6 %", heading = "90 deg", surface = 1.5, shelter = "40 %", speed_limit = "12 km/h", stop = "30 s"},
  {length = "300 m", rise = "-12 m"},
]
"""


@pytest.fixture
def read(tmp_path):
    """Write a text to a file and read it as a route."""

    def reading(text, name="way.gpx", mapping=None, reader=load_route, **options):
        (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
        if mapping is not None:
            (tmp_path / "map.toml").write_text(mapping, encoding="utf-8")
            options["mapping"] = tmp_path / "map.toml"
        return reader(tmp_path / name, **options)

    return reading


class TestRecordings:
    def test_a_straight_slope_is_as_long_and_steep_as_it_is(self, read):
        where = straight(400, 5.0, np.cos(0.7), np.sin(0.7))
        route = read(track(points(*where, 10 + 0.06 * 5.0 * np.arange(400))))
        assert route.length == pytest.approx(1995 * np.hypot(1, 0.06), rel=1e-6)  # the road is longer than the map
        assert route.slope == pytest.approx(0.06, abs=2e-5) and route.climb == pytest.approx(0.06 * 1995, abs=0.01)
        assert route.heading == pytest.approx(0.7, abs=2e-4)
        assert np.degrees([route.latitude[0], route.longitude[-1]]) == pytest.approx([where[0][0], where[1][-1]], abs=1e-7)
        assert (route.name, route.source) == ("A way", "track of way.gpx")
        assert np.all(route.surface == 1) and np.all(route.shelter == 1) and np.all(np.isinf(route.speed_limit)) and not route.stop.any()

    def test_the_antimeridian_is_no_gap(self, read):
        where = straight(400, 5.0, 0.0, 1.0, start=(-17.0, 179.99))
        assert where[1].min() < -179 and where[1].max() > 179
        route = read(track(points(*where, np.full(400, 3.0))))
        assert route.length == pytest.approx(1995, rel=1e-6) and route.heading == pytest.approx(np.pi / 2, abs=1e-3)
        assert np.all(np.abs(np.degrees(route.longitude)) > 179.9) and "the longest straight line" not in " ".join(route.notes)

    def test_routes_and_other_elements(self, read):
        from route_texts import HEAD

        where = straight(50, 20.0)
        text = (
            f'{HEAD}<metadata><name>not this</name><x:y xmlns:x="urn:else"><trkpt lat="0" lon="0"/></x:y></metadata>'
            '<wpt lat="1" lon="2"><ele>5</ele><name>lone</name></wpt>'
            f"<rte><name> By \n hand </name>{points(*where, np.full(50, 7.0), 'rtept')}</rte><trk><name>None</name></trk>"
            "<extensions><trk><trkseg>" + points(*where) + "</trkseg></trk></extensions></gpx>"
        )
        route = read(text)
        assert (route.name, route.source) == ("By hand", "route of way.gpx") and route.altitude == pytest.approx(np.full(99, 7.0))
        assert "1 lone points were passed over" in route.notes

    def test_of_several_tracks_the_longest_or_the_named_one(self, read):
        long, short = (points(*straight(count), np.full(count, 1.0)) for count in (90, 30))
        body = f"<trk><name>short</name><trkseg>{short}</trkseg></trk><trk><name>long</name><trkseg>{long}</trkseg></trk></gpx>"
        text = track(short, name="first").replace("</gpx>", body)
        assert read(text).name == "long"
        assert "3 tracks and routes ('first', 'short', 'long')" in read(text).notes[0]
        assert read(text, part="short").length == pytest.approx(145, rel=1e-5)
        with pytest.raises(InputError, match="a track or route named 'other'; found: 'first', 'short', 'long'"):
            read(text, part="other")

    def test_segments_are_joined_and_their_gap_is_told(self, read):
        latitude, longitude = straight(300)
        first, second = slice(0, 120), slice(160, 300)
        z = 0.02 * 5.0 * np.arange(300)
        route = read(track(points(latitude[first], longitude[first], z[first]), "", points(latitude[second], longitude[second], z[second])))
        assert "2 segments; straight lines bridge gaps of up to 205 m between them" in route.notes
        assert route.slope == pytest.approx(0.02, abs=1e-4)

    def test_every_fault_is_mended_and_told(self, read):
        latitude, longitude = straight(600)
        true = 20 + 15 * np.sin(np.arange(600) / 60)
        z = true.copy()
        z[[50, 200, 201, 420]] += [30, -25, -26, 60]
        z[300:360] = z[300]
        z[100:110] = np.nan
        pieces = [points(latitude, longitude, z)]
        found = read(track(*pieces), reader=read_route)
        assert found.spikes.nonzero()[0].tolist() == [50, 200, 201, 420]
        assert found.stuck.nonzero()[0].tolist() == list(range(301, 360)) and found.missing.sum() == 10
        assert np.delete(found.altitude - true, np.r_[99:111, 300:360]) == pytest.approx(0, abs=0.05)
        assert "altitudes missing: 10; spikes: 4; altitudes repeated by a hung sensor: 59" in " ".join(found.notes)

    def test_a_clean_recording_is_left_as_it_is(self, read):
        z = 20 + 15 * np.sin(np.arange(600) / 60)
        found = read(track(points(*straight(600), z)), reader=read_route)
        assert not (found.spikes.any() or found.stuck.any() or found.missing.any() or found.merged)
        assert found.altitude == pytest.approx(z, abs=6e-4)  # as the file was rounded
        route = read(track(points(*straight(600), z)))
        assert route.altitude[[0, -1]] == pytest.approx(z[[0, -1]], abs=6e-4)
        at = np.linspace(0, found.distance[-1], len(route.altitude))  # the steps are even on the map
        assert (
            np.abs(route.altitude - np.interp(at, found.distance, z)).max() < 0.5 * 30**2 * 15 / 300**2 + 0.01
        )  # half of length squared times bend

    def test_standing_still_is_one_point(self, read):
        latitude, longitude = (np.repeat(one, [1] * 99 + [300] + [1] * 100) for one in straight(200))
        found = read(track(points(latitude, longitude, np.zeros(499))), reader=read_route)
        assert found.merged == 299 and len(found.distance) == 200 and found.distance[-1] == pytest.approx(995, rel=1e-6)

    def test_close_points_keep_half_a_metre(self, read):
        found = read(track(points(*straight(1001, 0.1), np.zeros(1001))), reader=read_route)
        assert np.diff(found.distance).min() + 1e-3 >= 0.5 and found.distance[-1] == pytest.approx(100, abs=0.9)

    def test_a_closed_way_loses_its_drift_and_known_points_theirs(self, read):
        turn = np.linspace(0, 2 * np.pi, 801)
        place = geodesy.place(*np.radians([8.0, -150.0]), 400 * np.sin(turn), 400 * (1 - np.cos(turn)))
        where = np.degrees(place.latitude), np.degrees(place.longitude)
        true = 30 - 10 * np.cos(turn)
        text = track(points(*where, true + 6 * turn / turn[-1]))
        found = read(text, reader=read_route)
        assert found.closing_error == pytest.approx(6, abs=0.01) and found.altitude == pytest.approx(true, abs=0.02)
        assert "a drift of +6.0 m was taken out evenly; half way it may be off by 3.0 m" in " ".join(found.notes)
        left = read(text, reader=read_route, closed=False)
        assert left.altitude[-1] - left.altitude[0] == pytest.approx(6, abs=0.01) and "still in them" in " ".join(left.notes)
        tied = read(text, reader=read_route, known={0.0: 20.0, found.distance[-1]: 20.0})
        assert tied.altitude == pytest.approx(true, abs=0.02)
        with pytest.raises(InputError, match=r"known altitudes at distances from 0 to \d+ m; found: one at 9000 m"):
            read(text, known={9000.0: 1.0})

    def test_the_demo_recording_comes_close_to_the_truth(self, root):
        true, route = routes_made.hill(), load_route(root / "data/routes/over_the_hill.gpx")
        away = route.altitude - np.interp(route.distance * true.length / route.length, true.distance, true.altitude)
        assert np.abs(away).max() < 2.5 and route.climb == pytest.approx(true.climb, abs=6)
        assert route.length == pytest.approx(true.length, rel=0.002)  # the position wanders
        turned = np.interp(route.distance, true.distance[:-1], np.unwrap(true.heading))
        assert np.sqrt(np.mean((1 - np.cos(route.heading - turned[:-1])) * 2)) < np.radians(12)
        assert re.search(r"climb: 8\d\d m as recorded, 4\d\d m mended, 24\d m smoothed", route.notes[-1])


class TestTables:
    ROWS = "km;height;limit;wait\n0;10,0;;\n0,1;20,0;18;\n0,2;;18;\n0,3;40,0;;2\n0,4;50,0;;\n"

    def test_units_empty_cells_limits_and_stops(self, read):
        route = read(self.ROWS, "way.csv", MAPPING, smoothing=0.0, step=50.0)
        assert route.distance == pytest.approx(50 * np.arange(9)) and route.altitude == pytest.approx(0.3048 * np.linspace(10, 50, 9))
        assert route.speed_limit.tolist() == [np.inf, np.inf, 5, 5, 5, 5, np.inf, np.inf, np.inf]
        assert route.stop.tolist() == [0, 0, 0, 0, 0, 0, 120, 0, 0] and route.latitude is None and np.isnan(route.heading).all()
        assert (route.name, route.source) == ("Trial", "invented")

    def test_a_stop_at_a_merged_point_is_kept(self, read):
        rows = self.ROWS.replace("0,4;50,0;;", "0,3;40,0;;3\n0,4;50,0;;")
        assert read(rows, "way.csv", MAPPING, smoothing=0.0).stop.sum() == 300

    def test_coordinates_instead_of_distance(self, read):
        latitude, longitude = straight(100, 8.0, 0.0, 1.0)
        mapping = (
            MAPPING[: MAPPING.index("[columns.distance]")].replace("semicolon", "comma").replace('decimal = "comma"', 'decimal = "point"')
        )
        for name in ("latitude", "longitude", "altitude"):
            mapping += f'[columns.{name}]\ncolumn = "{name}"\nunit = "{"m" if name == "altitude" else "deg"}"\n'
        rows = "\n".join(
            f"{north:.8f},{east:.8f},{row * 0.4:.2f}" for row, (north, east) in enumerate(zip(latitude, longitude, strict=True))
        )
        route = read(f"latitude,longitude,altitude\n{rows}\n", "way.csv", mapping)
        assert route.length == pytest.approx(792 * np.hypot(1, 0.05), rel=1e-5) and route.heading == pytest.approx(np.pi / 2, abs=1e-3)

    @pytest.mark.parametrize(
        ("rows", "mapping", "said"),
        [
            (("0,2;;18", "0,05;;18"), ("", ""), "way.csv:4: km = '50 m': expected distances that do not fall; found: a shorter one"),
            (("0,1;20,0", "x;20,0"), ("", ""), "way.csv:3: km: expected a finite number with a decimal comma; found: 'x'"),
            (("0,1;20,0", ";20,0"), ("", ""), "way.csv:3: km: expected a finite number with a decimal comma; found: an empty cell"),
            (("0,1;20,0", "0,1;nan"), ("", ""), "way.csv:3: height: expected a finite number with a decimal comma; found: 'nan'"),
            (("", ""), ("columns.stop", "columns.rest"), "columns.rest: expected one of distance, altitude"),
            (("", ""), ('unit = "min"', 'unit = "km"'), "columns.stop.unit = 'km': expected a unit of time"),
            (("", ""), ("columns.distance", "columns.latitude"), "expected altitude, and distance or latitude and longitude"),
            (("", ""), ("columns.stop", "columns.latitude"), "a unit of angle"),
            (("", ""), ('column = "wait"', 'column = "limit"'), "each column for one quantity; found: 'limit' for several"),
            (("", ""), ("format = 1", "format = 2"), "expected format = 1; found: 2"),
        ],
    )
    def test_wrong_tables_are_refused_by_place(self, read, rows, mapping, said):
        with pytest.raises(InputError) as caught:
            read(self.ROWS.replace(*rows) if rows[0] else self.ROWS, "way.csv", MAPPING.replace(*mapping) if mapping[0] else MAPPING)
        assert said in str(caught.value)

    def test_altitudes_that_no_road_has_are_refused_with_advice(self, read):
        rows = "km;height;limit;wait\n0;0;;\n0,1;9000;;\n0,2;0;;\n0,3;9000;;\n"
        with pytest.raises(
            InputError, match="a profile that a road can have; more smoothing may help; found: altitude must change by less"
        ):
            read(rows, "way.csv", MAPPING, smoothing=0.0)


class TestMadeUp:
    def test_legs_are_what_they_say(self, read):
        route = read(MADE, "way.toml")
        assert route.length == 800 and len(route.distance) == 81 and route.altitude[0] == 5
        assert route.slope[:50] == pytest.approx(0.06) and np.diff(route.altitude)[50:].sum() == pytest.approx(-12)
        assert route.heading[:50] == pytest.approx(np.pi / 2) and np.isnan(route.heading[50:]).all()
        assert route.surface[[49, 50]].tolist() == [1.5, 1] and route.shelter[[49, 50]].tolist() == [0.4, 1]
        assert route.speed_limit[[0, 49]] == pytest.approx([12 / 3.6] * 2) and np.isinf(route.speed_limit[51])
        assert route.stop.nonzero()[0].tolist() == [50] and route.stop[50] == 30

    def test_bends_round_the_slopes_and_leave_the_ends(self, read):
        sharp, round_ = read(MADE, "way.toml"), read(MADE.replace('"0 m"', '"40 m"'), "way.toml")
        assert round_.altitude[[0, -1]] == pytest.approx(sharp.altitude[[0, -1]], abs=1e-12)
        assert round_.climb < sharp.climb and np.abs(np.diff(round_.slope)).max() < 0.3 * np.abs(np.diff(sharp.slope)).max()

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            (('rise = "-12 m"', 'rise = "-12 m", slope = "1 %"'), "legs[2].slope: expected either a slope or a rise; found: both"),
            ((', rise = "-12 m"', ""), "legs[2].slope: expected either a slope or a rise; found: neither"),
            (('"-12 m"', '"-200 m"'), "legs[2].rise: expected at most 0.45 m in a metre of road; found: 0.67 m"),
            (('"500 m"', "500"), "legs[1].length = 500: expected a length from 1 m to 2e+05 m"),
            (('"500 m"', '"500 kg"'), "legs[1].length = '500 kg'"),
            (('"500 m"', '"500 m ± 5 m"'), "legs[1].length: expected a number without a spread"),
            (("heading", "heeding"), "legs[1].heeding: an unknown name (did you mean 'heading'?)"),
            (('altitude = "5 m"', ""), "altitude: expected a length from -430 m to 5000 m"),
            ((MADE[MADE.index("legs =") :], ""), "legs: expected 1 to 1000 tables [[legs]]"),
            (
                (MADE[MADE.index("legs =") :], "legs = 3"),
                "[[legs]], each with length and slope or rise; found: 3",
            ),
            (('"40 %"', '"140 %"'), "legs[1].shelter = '140 %': expected a ratio from 0 to 1"),
        ],
    )
    def test_wrong_legs_are_refused_by_place(self, read, change, said):
        with pytest.raises(InputError) as caught:
            read(MADE.replace(*change), "way.toml")
        assert said in str(caught.value)


class TestOwnTable:
    def test_a_route_leaves_and_comes_back(self, read, tmp_path, root):
        for name in ("over_the_hill.gpx", "harbour_round.toml"):
            route = load_route(root / "data/routes" / name)
            save_route(route, tmp_path / "kept.csv", overwrite=True)
            back = load_route(tmp_path / "kept.csv")
            for array in ("distance", "altitude", "heading", "surface", "shelter", "speed_limit", "stop", "latitude", "longitude"):
                one, other = getattr(route, array), getattr(back, array)
                assert (one is None and other is None) or other == pytest.approx(one, rel=1e-14, nan_ok=True), array
            assert back.name == "kept" and len(read_route(tmp_path / "kept.csv").distance) == len(route.distance)

    def test_an_existing_file_is_kept(self, tmp_path):
        route = make_route("x", "y", [0, 10, 20, 30], [0, 1, 2, 3])
        save_route(route, tmp_path / "a.csv")
        before = (tmp_path / "a.csv").read_bytes()
        with pytest.raises(InputError, match="a file that exists already; it is unchanged"):
            save_route(make_route("x", "y", [0, 10, 20], [0, 1, 9.9]), tmp_path / "a.csv")
        assert (tmp_path / "a.csv").read_bytes() == before
        with pytest.raises(InputError, match=r"the name of a file \.csv"):
            save_route(route, tmp_path / "a.txt")

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("a,b\n1,2\n", "way.csv:1: expected the columns 'distance [m]' and 'altitude [m]', or a mapping that declares others"),
            ("distance [m],altitude [m]\n0,1\n5,x\n9,1\n", "way.csv:3: altitude [m]: expected a finite number"),
            ("distance [m],altitude [m]\n0,1\n5,1\n5,1\n", "distance must begin at 0 and rise from point to point"),
            ("distance [m],altitude [m]\n0,1\n5,\n9,1\n", "altitude must be a finite number at every point; it is none at point 2"),
            ("", "expected the columns 'distance [m]' and 'altitude [m]', or a mapping that declares others; found: nothing"),
            (b"\xff\xfe\x00", "expected UTF-8 text"),
        ],
    )
    def test_wrong_tables_are_refused(self, read, text, said):
        with pytest.raises(InputError) as caught:
            read(text, "way.csv")
        assert said in str(caught.value)


def test_other_files_are_refused(read, tmp_path):
    for name, said in (("way.fit", "one that ends in '.fit'"), ("way", "a name without an ending")):
        with pytest.raises(InputError, match=re.escape(f"expected a file .gpx, .csv or .toml; found: {said}")):
            read("x", name)
    for name in ("none.gpx", "none.csv", "none.toml"):
        with pytest.raises(InputError, match="no such file"):
            load_route(tmp_path / name)
    (tmp_path / "folder.gpx").mkdir()
    with pytest.raises(InputError, match="found: a folder"):
        load_route(tmp_path / "folder.gpx")


def test_step_and_smoothing_are_kept_within_bounds(read, root):
    path = root / "data/routes/harbour_round.toml"
    with pytest.raises(ValueError, match="step must be a number of metres from 0.5 to 1000, got 0.1"):
        load_route(path, step=0.1)
    with pytest.raises(ValueError, match="smoothing must be a number of metres from 0 to 5000, got -1"):
        load_route(path, smoothing=-1)
    with pytest.raises(ValueError, match="step must be a number of metres from 0.5 to 1000, got '10 m'"):
        load_route(path, step="10 m")
    assert len(load_route(path, step=5.0).distance) == 1751


def test_climb_falls_with_smoothing_and_ends_stay(root):
    found = read_route(root / "data/routes/over_the_hill.gpx")
    climbs = [load_route(root / "data/routes/over_the_hill.gpx", smoothing=length) for length in (0, 5, 20, 60, 200, 1000)]
    assert all(one.climb >= other.climb - 1e-9 for one, other in zip(climbs, climbs[1:], strict=False))
    for route in climbs:
        assert route.altitude[[0, -1]] == pytest.approx(found.altitude[[0, -1]], abs=1e-12)
        assert profile.climb(route.altitude) == route.climb


def recorded(tmp_path, altitudes, spacing=1e-4):
    """A way to the north with these altitudes."""
    path = tmp_path / "way.gpx"
    path.write_text(track(points(spacing * np.arange(len(altitudes)), np.full(len(altitudes), -140.0), altitudes)))
    return path


def test_altitudes_that_no_road_has_are_missing_and_told(tmp_path):
    altitudes = np.full(60, 20.0)
    altitudes[[10, 11, 40]] = -9999.0, -9999.0, 1e6
    found = read_route(recorded(tmp_path, altitudes))
    assert found.missing.sum() == 3 and found.altitude == pytest.approx(np.full(60, 20.0))
    assert "altitudes that no road has, below -500 m or above 9000 m: 3, taken as missing" in found.notes
    assert not any("no road has" in note for note in read_route(recorded(tmp_path, np.full(60, 20.0))).notes)


def test_what_is_steeper_than_roads_is_told(tmp_path):
    told = [note for note in load_route(recorded(tmp_path, 3 + 6.0 * np.arange(60))).notes if "hardly a road" in note]
    assert len(told) == 1 and told[0].startswith("steepest step 54 %, at ")
    assert not any("hardly a road" in note for note in load_route(recorded(tmp_path, 3 + 2.0 * np.arange(60))).notes)


@pytest.mark.parametrize("known", [{0.0: np.nan}, {"0 km": 3.0}, {0.0: "3 m"}, [3.0]])
def test_known_altitudes_are_numbers(tmp_path, known):
    with pytest.raises(InputError, match="expected known altitudes as numbers of metres by distance in metres"):
        load_route(recorded(tmp_path, np.full(60, 20.0)), known=known)


def test_a_speed_limit_shorter_than_a_step_is_kept(read):
    legs = ["{length='95 m', slope='0 %'}", "{length='4 m', slope='0 %', speed_limit='8 km/h'}", "{length='101 m', slope='0 %'}"]
    route = read(f"format = 1\nname = 'n'\nsource = 's'\naltitude = '3 m'\nlegs = [{', '.join(legs)}]", "way.toml")
    assert np.flatnonzero(np.isfinite(route.speed_limit)).tolist() == [9] and route.speed_limit[9] == pytest.approx(8 / 3.6)


@pytest.mark.parametrize(("altitude", "said"), [([3, 9001, 3], "from -500 m to 9000 m; it is 9001 m"), ([3, -501, 3], "it is -501 m")])
def test_no_route_is_higher_or_lower_than_rides(altitude, said):
    with pytest.raises(ValueError, match=said):
        make_route("n", "s", [0, 20_000, 40_000], altitude)


def test_latitude_and_longitude_come_together():
    with pytest.raises(ValueError, match="latitude and longitude must be given together"):
        make_route("n", "s", [0, 10], [3, 3], latitude=[0.1, 0.1])


def test_a_long_way_is_measured_and_searched_in_blocks_as_in_one(root, monkeypatch):
    whole = read_route(root / "data/routes/over_the_hill.gpx")
    monkeypatch.setattr(profile, "BLOCK", 97)
    parts = read_route(root / "data/routes/over_the_hill.gpx")
    assert np.array_equal(whole.distance, parts.distance) and np.array_equal(whole.altitude, parts.altitude)
    assert np.array_equal(whole.spikes, parts.spikes)


@pytest.mark.parametrize("step", [5.0, 10.0, 25.0])
def test_the_profile_is_smoothed_at_steps_no_longer_than_the_points_lie_apart(root, step):
    found = read_route(root / "data/routes/over_the_hill.gpx")
    fine, finer = route_repair.grid(found, step, True)
    assert fine[1] <= found.spacing and finer == np.ceil(step / found.spacing)
    assert route_repair.grid(found, step)[0] == pytest.approx(fine[::finer])

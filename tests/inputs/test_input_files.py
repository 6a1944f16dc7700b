"""Files that cannot be read, and files that are written whole or not at all."""

import builtins
import os
import time

import numpy as np
import pytest

from unikit.__main__ import main
from unikit.inputs import InputError, draw, load_build, load_case, load_cases, replace, save_build, save_case


def complaint(path) -> str:
    with pytest.raises(InputError) as caught:
        load_build(path)
    return str(caught.value)


def test_no_file_folder_and_empty_file(tmp_path):
    assert complaint(tmp_path / "x.toml") == f"{tmp_path / 'x.toml'}: expected a file; found: nothing, there is no such file"
    assert complaint(tmp_path) == f"{tmp_path}: expected a file; found: a folder"
    path = tmp_path / "b.toml"
    path.write_text(" \n\n")
    assert complaint(path) == f"{path}: expected a file in TOML; found: an empty file"
    assert complaint("a\0b").startswith("'a\\x00b': expected a file that can be read; found: ") and "null" in complaint("a\0b")


def test_a_name_of_two_lines_stays_on_one(tmp_path):
    path = tmp_path / "a\nb.toml"
    path.write_text("format = 2\n")
    first = complaint(path).splitlines()[0]
    assert first.startswith(f"{str(path)!r}: format = 2: expected the number 1; found: 2")


def test_a_name_that_is_no_ordinary_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert complaint(tmp_path / "pipe").endswith("expected a file; found: something that is not a regular file")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch, commuter_path):
    path = tmp_path / "b.toml"
    path.write_bytes(commuter_path.read_bytes())
    opened = builtins.open

    def refuse(name, *args, **kwargs):
        if os.fspath(name) == os.fspath(path):
            raise PermissionError(13, "Permission denied")
        return opened(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "open", refuse)
    assert complaint(path) == f"{path}: expected a file that may be read; found: no permission to read it"


def test_a_huge_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "b.toml"
    with path.open("wb") as handle:
        handle.truncate(50_000_000)
    begun = time.perf_counter()
    assert complaint(path) == f"{path}: expected a file of at most 1,048,576 bytes; found: 50,000,000 bytes"
    assert time.perf_counter() - begun < 0.5


def test_binary_and_other_encodings(tmp_path):
    path = tmp_path / "b.toml"
    path.write_bytes(b'name = "\xe9"\n')
    assert complaint(path) == f"{path}: expected UTF-8 text; found: a byte that is none, at byte 9"
    path.write_bytes(bytes(range(256)))
    assert "expected UTF-8 text; found: a byte that is none, at byte 129" in complaint(path)


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path, commuter_path, commuter):
    path = tmp_path / "b.toml"
    path.write_bytes(b"\xef\xbb\xbf" + commuter_path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_build(path) == commuter


SYNTAX = [
    ('a = 1\nmass = "74 kg"\nmass = "75 kg"\n', "b.toml:3: mass: expected every name once; found: 'mass' a second time"),
    ("[rider]\n[frame]\n[rider]\n", "b.toml:3: [rider]: expected every table once; found: it a second time"),
    ("a = 1\nb = \n", "b.toml:2: expected TOML, such as mass = \"74 kg\"; found: invalid value at column 5: 'b ='"),
    ("a = 1\nmass = 74 kg\n", 'b.toml:2: expected TOML, such as mass = "74 kg"; found: expected newline or end of document'),
    ('a = "x\n', 'b.toml:1: expected TOML, such as mass = "74 kg"; found: illegal character'),
    ("[rider\n", 'b.toml:1: expected TOML, such as mass = "74 kg"; found: '),
    ("a = " + "[" * 100_000, "b.toml: expected a file in TOML; found: brackets that are nested too deeply"),
    ("a = " + "{a = " * 50_000, "b.toml: expected a file in TOML; found: brackets that are nested too deeply"),
    ("a = " + "9" * 5000, "b.toml: expected a file in TOML; found: Exceeds the limit (4300 digits) for integer string conversion"),
    ("x = 1\n" + "a." * 400_000 + "b = 1", "b.toml:2: expected at most 250 dots in a line; found: 400,000"),
]


@pytest.mark.parametrize(("text", "line"), SYNTAX, ids=[text[:12].replace("\n", " ") for text, _ in SYNTAX])
def test_mistakes_of_syntax_name_their_line(complaints, text, line):
    (found,) = complaints(text=text)
    assert found.startswith(line)


def test_many_dotted_keys_are_answered_in_time(complaints):
    begun = time.perf_counter()
    complaints(text="".join(f"k{i}" + ".a" * 240 + " = 1\n" for i in range(200)))
    assert time.perf_counter() - begun < 5


def test_every_build_comes_back_as_it_was(root, tmp_path):
    paths = sorted((root / "data" / "builds").glob("*.toml"))
    assert [path.stem for path in paths] == ["classroom_demonstrator", "harbour_commuter", "harbour_measured", "harbour_ungeared"]
    for path in paths:
        build = load_build(path)
        save_build(build, tmp_path / path.name)
        again = load_build(tmp_path / path.name)
        assert again == build
        assert again.spreads == build.spreads and len(build.spreads) >= 4


def test_every_case_comes_back_as_it_was(root, tmp_path):
    cases = load_cases(root / "data" / "cases")
    assert [case.name for case in cases] == ["Flat cruise", "Harbour hill", "Head wind", "Long descent"]
    along = load_cases(root / "data" / "cases" / "along_a_route")
    assert [case.name for case in along] == ["Evening home"] and len(along[0].spreads) == 7
    for case in (*cases, *along):
        save_case(case, tmp_path / "c.toml", overwrite=True)
        again = load_case(tmp_path / "c.toml")
        assert again == case and again.spreads == case.spreads


def test_awkward_numbers_and_texts_come_back(commuter, tmp_path):
    numbers = np.random.default_rng(5).uniform(0.9, 1.1, 4).tolist()
    changed = replace(
        commuter,
        {
            "rider.mass": 78 * numbers[0],
            "cranks.length": 0.131 * numbers[1],
            "motor.magnet_limit": 363.15 * numbers[2],
            "motor.quadrature_inductance": 1 / 3e4,
            "gears.gear.long.ratio": 1.6 * numbers[3],
            "motor.magnet_temperature_coefficient": f"{-0.12 * numbers[0]!r} %/K ± {0.01 * numbers[1]!r} %/K",
            "controller.derating_start": "triangular(110.1 °C, 115.7 °C, 118.3 °C)",
            "controller.derating_end": "141.3 °C ± 1.7 K",
            "note": 'quotes """ and \\ slashes\r\nä € 漢 \u0001\ttab\n\n  "',
            "rider.source": "one line = [x] # 'no comment'",
        },
    )
    save_build(changed, tmp_path / "b.toml")
    assert load_build(tmp_path / "b.toml") == changed


def test_values_are_written_in_handy_units(commuter, tmp_path):
    save_build(commuter, tmp_path / "b.toml")
    lines = (tmp_path / "b.toml").read_text(encoding="utf-8").splitlines()
    for line in (
        'mass = "78 kg ± 1.5 kg"',
        'critical_power = "155 W to 185 W"',
        'comfortable_cadence = "88 rpm"',
        'quadrature_inductance = "0.28 mH"',
        'rolling_coefficient = "triangular(0.006, 0.008, 0.012)"',
        'cell_capacity = "2.05 A·h"',
        'derating_start = "115 °C"',
        'dead_time = "9 ms"',
        "pole_pairs = 23",
    ):
        assert line in lines


def test_an_existing_file_is_kept_unless_asked(commuter, ungeared, tmp_path):
    path = tmp_path / "b.toml"
    save_build(commuter, path)
    with pytest.raises(InputError) as caught:
        save_build(ungeared, path)
    assert str(caught.value) == f"{path}: expected a new file, or overwrite=True; found: a file that exists already; it is unchanged"
    assert load_build(path) == commuter
    save_build(ungeared, path, overwrite=True)
    assert load_build(path) == ungeared
    with pytest.raises(InputError, match="expected the name of a file; found: a folder"):
        save_build(ungeared, tmp_path, overwrite=True)


@pytest.mark.parametrize("broken", ["fsync", "replace"])
def test_a_failed_write_leaves_the_old_file_whole(commuter, ungeared, tmp_path, monkeypatch, broken):
    path = tmp_path / "b.toml"
    save_build(commuter, path)

    def fail(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, broken, fail)
    with pytest.raises(InputError) as caught:
        save_build(ungeared, path, overwrite=True)
    assert str(caught.value) == f"{path}: expected a file that can be written; found: No space left on device"
    assert os.listdir(tmp_path) == ["b.toml"]
    assert load_build(path) == commuter


def test_a_folder_that_is_missing_is_named(commuter, tmp_path):
    with pytest.raises(InputError, match="expected a file that can be written; found: No such file or directory"):
        save_build(commuter, tmp_path / "none" / "b.toml")


def test_draws_are_not_written(commuter, tmp_path):
    with pytest.raises(InputError) as caught:
        save_build(draw(commuter, 5, 1), tmp_path / "b.toml")
    assert str(caught.value) == "rider.mass = 5 values: expected one number, since a file holds no draws; found: an array"
    assert os.listdir(tmp_path) == []


def test_the_command_line_prints_the_lines_and_no_traceback(tmp_path, capsys):
    path = tmp_path / "b.toml"
    path.write_text("format = 1\n")
    assert main(["review", str(path)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"{path}: name: expected a text of 1 to 4000 characters; found: nothing, it is missing\n")
    assert "Traceback" not in printed.err

"""``python -m unikit``: what a person sees, also when a file is not as it should be."""

import csv
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import unikit
from unikit.__main__ import main

ROOT = Path(__file__).parents[1]
BUILD = ROOT / "data" / "builds" / "harbour_commuter.toml"
CASES = ROOT / "data" / "cases"
TEXT = BUILD.read_text(encoding="utf-8")


def changed(before, after):
    assert before in TEXT
    return TEXT.replace(before, after, 1)


def run(capsys, *arguments):
    code = main([str(argument) for argument in arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize("path", sorted((ROOT / "data" / "builds").glob("*.toml")), ids=lambda path: path.stem)
def test_review_prints_the_findings_and_ends_well_though_some_are_short(path, capsys):
    code, out, err = run(capsys, "review", path)
    assert (code, err) == (0, "")
    assert "  short " in out and "  holds " in out and "Caution: " in out


def test_review_takes_the_cases_it_is_told(capsys, tmp_path):
    code, out, _ = run(capsys, "review", BUILD, "--cases", CASES / "harbour_hill.toml")
    assert code == 0 and "Harbour hill, gear long" in out and "Flat cruise" not in out
    (tmp_path / "mine.toml").write_text((CASES / "flat_cruise.toml").read_text(encoding="utf-8"), encoding="utf-8")
    code, out, _ = run(capsys, "review", BUILD, "--cases", tmp_path)
    assert code == 0 and "Flat cruise" in out and "Harbour hill" not in out


def test_cases_are_found_near_the_build_or_the_project(capsys, tmp_path, monkeypatch):
    mine = tmp_path / "mine.toml"
    mine.write_text(BUILD.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "review", mine)
    assert (code, out) == (2, "") and "--cases" in err and len(err.splitlines()) == 1
    monkeypatch.chdir(ROOT)
    assert "Flat cruise" in run(capsys, "review", mine)[1]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "one.toml").write_text((CASES / "head_wind.toml").read_text(encoding="utf-8"), encoding="utf-8")
    code, out, _ = run(capsys, "review", mine)
    assert code == 0 and "Head wind" in out and "Flat cruise" not in out


@pytest.mark.skipif(sys.platform == "win32", reason="pipes of another kind")
def test_a_reader_that_stops_reading_is_no_fault():
    command = f"{sys.executable} -m unikit review {BUILD} | head -n 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "") and done.stdout.startswith("Review of")


def test_review_with_an_area(capsys):
    code, out, _ = run(capsys, "review", BUILD, "--rules", "great-britain")
    assert code == 0 and "class not determined" in out and "Local law prevails" in out
    code, out, err = run(capsys, "review", BUILD, "--rules", "atlantis")
    assert (code, out) == (2, "") and "great-britain" in err and len(err.splitlines()) == 1


def test_csv_is_written_once_and_never_over_a_file(capsys, tmp_path):
    target = tmp_path / "findings.csv"
    assert run(capsys, "review", BUILD, "--csv", target)[0] == 0
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))
    assert {row["verdict"] for row in rows} <= {"holds", "tight", "short", "unknown"} and len(rows) > 100
    before = target.read_bytes()
    code, _, err = run(capsys, "review", BUILD, "--csv", target)
    assert code == 2 and "not written" in err and str(target) in err and len(err.splitlines()) == 1
    assert target.read_bytes() == before
    code, _, err = run(capsys, "review", BUILD, "--csv", tmp_path / "no" / "such" / "folder.csv")
    assert code == 2 and "not written" in err


# a file that cannot be a build, and a word that the message must carry
BAD = {
    "empty": ("", "empty"),
    "only blanks": ("  \n\n", "empty"),
    "no toml": ("this is a letter, not a build", "TOML"),
    "unknown unit": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "78 lightyears"'), "rider.mass"),
    "wrong kind": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "78 V"'), "rider.mass"),
    "no unit": (changed('mass = "78 kg ± 1.5 kg"', "mass = 78"), "rider.mass"),
    "negative mass": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "-78 kg"'), "rider.mass"),
    "nan text": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "nan kg"'), "rider.mass"),
    "nan": (changed("torque_floor = 0.2", "torque_floor = nan"), "rider.torque_floor"),
    "inf": (changed("torque_floor = 0.2", "torque_floor = inf"), "rider.torque_floor"),
    "too large": (changed("torque_floor = 0.2", "torque_floor = 1e400"), "rider.torque_floor"),
    "too large text": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "1e400 kg"'), "rider.mass"),
    "many digits": (changed("torque_floor = 0.2", "torque_floor = " + 5000 * "9"), ""),
    "unknown key": (changed("torque_floor = 0.2", "torque_flor = 0.2"), "torque_flor"),
    "duplicate key": (changed("torque_floor = 0.2", "torque_floor = 0.2\ntorque_floor = 0.3"), "torque_floor"),
    "missing table": (TEXT[: TEXT.index("[cranks]")] + TEXT[TEXT.index("[gears]") :], "cranks"),
    "no such gear": (changed('engaged = "long"', 'engaged = "lnog"'), "long"),
    "nested brackets": ("a = " + 60_000 * "[", ""),
    "nested tables": ("a = " + 20_000 * "{a=", ""),
    "dotted key": (".".join(20_000 * ["a"]) + " = 1", "dots"),
    "other format": (changed("format = 1", "format = 2"), "format"),
    "a list": (changed('mass = "78 kg ± 1.5 kg"', "mass = [78]"), "rider.mass"),
    "a table for a number": (changed('mass = "78 kg ± 1.5 kg"', "mass = {kg = 78}"), "rider.mass"),
    "control character": (changed('mass = "78 kg ± 1.5 kg"', 'mass = "78 kg\x00"'), ""),
}


def refused(code, out, err, path):
    assert code == 2 and out == ""
    assert str(path) in err and "Traceback" not in err and "Error" not in err
    assert 0 < len(err) < 4000
    return err


@pytest.mark.parametrize("name", BAD)
def test_a_bad_build_ends_in_a_message(name, capsys, tmp_path):
    text, word = BAD[name]
    path = tmp_path / "bad.toml"
    path.write_bytes(text.encode())
    err = refused(*run(capsys, "review", path, "--cases", CASES), path)
    assert word in err


def test_a_bad_case_ends_in_a_message(capsys, tmp_path):
    path = tmp_path / "case.toml"
    path.write_text((CASES / "flat_cruise.toml").read_text(encoding="utf-8").replace("17.5 km/h", "17.5 kg"), encoding="utf-8")
    for given in (path, tmp_path):
        assert "speed" in refused(*run(capsys, "review", BUILD, "--cases", given), path)


def test_all_mistakes_are_named_at_once(capsys, tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(changed("torque_floor = 0.2", "torque_floor = 7").replace('"832 mm"', '"832 V"'), encoding="utf-8")
    err = refused(*run(capsys, "review", path, "--cases", CASES), path)
    assert "torque_floor" in err and "inseam" in err and len(err.splitlines()) == 2


def test_what_is_no_file(capsys, tmp_path):
    for path in (tmp_path / "missing.toml", tmp_path):
        refused(*run(capsys, "review", path, "--cases", CASES), path)
    refused(*run(capsys, "review", BUILD, "--cases", tmp_path / "nowhere"), tmp_path / "nowhere")
    refused(*run(capsys, "review", BUILD, "--cases", tmp_path), tmp_path)  # a folder without cases
    if os.path.exists("/dev/zero"):
        refused(*run(capsys, "review", "/dev/zero", "--cases", CASES), "/dev/zero")
    assert run(capsys, "review", "a\0b", "--cases", CASES)[0] == 2


def test_binary_and_huge_files(capsys, tmp_path):
    path = tmp_path / "photo.toml"
    path.write_bytes(bytes(range(256)) * 40)
    refused(*run(capsys, "review", path, "--cases", CASES), path)
    path.write_bytes("mass = 1".encode("utf-16"))
    refused(*run(capsys, "review", path, "--cases", CASES), path)
    with path.open("wb") as handle:
        handle.truncate(50 * 2**20)
    refused(*run(capsys, "review", path, "--cases", CASES), path)


def test_a_file_that_may_not_be_read(capsys, monkeypatch):
    def deny(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("unikit.inputs.reading.open", deny, raising=False)
    assert "permission" in refused(*run(capsys, "review", BUILD, "--cases", CASES), BUILD)


def test_a_command_that_is_none(capsys):
    for arguments in ([], ["revue"], ["review"]):
        with pytest.raises(SystemExit) as stopped:
            main(arguments)
        assert stopped.value.code == 2
        assert "usage: python -m unikit" in capsys.readouterr().err


def test_a_notebook_that_is_not_there(capsys, tmp_path):
    code, out, err = run(capsys, "lab", tmp_path / "none.ipynb")
    assert (code, out) == (2, "") and "no such notebook" in err


def real(*arguments, **environment):
    """A process of its own, from another folder, as a person would start it."""
    whole = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"} | environment
    command = [sys.executable, "-m", "unikit", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, cwd=ROOT.anchor, env=whole, timeout=120)


def test_a_real_call():
    done = real("review", BUILD, PYTHONIOENCODING="utf-8")
    assert done.returncode == 0 and done.stderr == b""
    assert "Review of Harbour commuter" in done.stdout.decode() and "N·m" in done.stdout.decode()
    assert real("--version").stdout.decode().strip() == unikit.__version__
    missing = real("review", "no-such-file.toml")
    assert missing.returncode == 2 and missing.stdout == b"" and missing.stderr.count(b"\n") == 1


def test_a_terminal_without_all_letters():
    done = real("review", BUILD, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert done.returncode == 0 and done.stderr == b"" and b"N?m" in done.stdout


SHEETS = ROOT / "data" / "datasheets"


def test_datasheet_prints_how_each_number_is_known(capsys):
    code, out, err = run(capsys, "datasheet", SHEETS / "half_a_page.toml")
    assert (code, err) == (0, "")
    assert "phase_resistance" in out and "derived" in out and "common practice, no source" in out and "Nothing here was measured" in out


def test_datasheet_writes_a_build_with_its_motor_and_never_over_a_file(capsys, tmp_path):
    from unikit.inputs import load_build

    target = tmp_path / "mine.toml"
    arguments = ("datasheet", SHEETS / "half_a_page.toml", "--into", BUILD, "--save", target)
    assert run(capsys, *arguments)[0] == 0
    assert load_build(target).motor.source.startswith("datasheet 'Half a page'")
    before = target.read_bytes()
    code, _, err = run(capsys, *arguments)
    assert code == 2 and "a file that exists already" in err and target.read_bytes() == before


def test_datasheet_names_contradictions_and_a_field_can_be_left_out(capsys):
    code, out, err = run(capsys, "datasheet", SHEETS / "two_minds.toml")
    assert code == 2 and out == ""
    assert len(err.splitlines()) == 2 and "torque_constant = 1.34 N·m/A (peak)" in err and "'rms', not 'peak'" in err
    assert run(capsys, "datasheet", SHEETS / "two_minds.toml", "--leave-out", "torque_constant")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((SHEETS / "none.toml",), "there is no such file"),
        ((SHEETS / "one_line.toml", "--save", "x.toml"), "--save writes a build"),
        ((SHEETS / "one_line.toml", "--leave-out", "mass"), "nothing says how large the motor is"),
        ((SHEETS / "one_line.toml", "--leave-out", "colour"), "the datasheet gives no 'colour'"),
    ],
)
def test_datasheet_says_what_is_wrong_in_one_line(capsys, arguments, said):
    code, out, err = run(capsys, "datasheet", *arguments)
    assert code == 2 and out == "" and len(err.splitlines()) == 1 and said in err


LOG, RIDE = ROOT / "data" / "logs" / "patchy.csv", ROOT / "data" / "logs" / "patchy.toml"


def test_ride_prints_accounts_and_repairs(capsys, tmp_path):
    code, out, err = run(capsys, "log", LOG, RIDE, "--length", "100 m", "--csv", tmp_path / "stretches.csv")
    assert (code, err) == (0, "")
    assert "distance by speed: 0.449 km" in out and "- the last row, line 229, breaks off: left out" in out
    rows = list(csv.DictReader((tmp_path / "stretches.csv").read_text(encoding="utf-8").splitlines()))
    assert sum(float(row["distance [m]"]) for row in rows) == pytest.approx(449, abs=0.5)
    code, _, err = run(capsys, "log", LOG, RIDE, "--csv", tmp_path / "stretches.csv")
    assert code == 2 and "stretches.csv: not written" in err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((LOG, LOG), "patchy.csv"),
        ((RIDE, RIDE), "expected one column 'uptime_ms'"),
        (("none.csv", RIDE), "none.csv: expected a file"),
        ((LOG, RIDE, "--time", "60 m"), "--time: "),
        ((LOG, RIDE, "--length", "-5 m"), "a length above 0 m, got -5 m"),
    ],
)
def test_ride_says_what_is_wrong(capsys, arguments, said):
    code, out, err = run(capsys, "log", *arguments)
    assert (code, out) == (2, "") and said in err


ROUND = ROOT / "data" / "routes" / "harbour_round.toml"
WIND = CASES / "head_wind.toml"


def ride_summary(**options):
    from unikit.inputs import load_build, load_case, load_route
    from unikit.studies import journey

    return journey.study(load_build(BUILD), load_case(WIND), load_route(ROUND), **options).summary()


@pytest.fixture
def silent(monkeypatch):
    """A machine that compiles the march at this moment takes long enough for words on the error stream."""
    from unikit import __main__ as commands

    monkeypatch.setattr(commands._Progress, "PATIENCE", 1e9)


@pytest.mark.usefixtures("silent")
def test_a_ride_prints_the_summary_of_the_study(capsys):
    code, out, err = run(capsys, "ride", BUILD, WIND, ROUND)
    assert (code, err) == (0, "")
    printed = dict(line.split("  ", 1) for line in out.splitlines())
    assert {label: text.strip() for label, text in printed.items()} == ride_summary()
    code, out, err = run(capsys, "ride", BUILD, WIND, ROUND, "--legs-alone")
    assert (code, err) == (0, "") and ride_summary(powered=False)["time, with stops"] in out


@pytest.mark.usefixtures("silent")
def test_a_ride_back_twice_as_far_with_draws_and_a_table(capsys, tmp_path):
    target = tmp_path / "course.csv"
    code, out, err = run(capsys, "ride", BUILD, WIND, ROUND, "--back", "--draws", 32, "--csv", target)
    assert (code, err) == (0, "")
    assert "17.50 km" in out and re.search(r"rides drawn +32\n", out) and "its sampling error" in out
    with target.open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 1750 and float(rows[-1]["distance [km]"]) == pytest.approx(17.5)
    before = target.read_bytes()
    code, _, err = run(capsys, "ride", BUILD, WIND, ROUND, "--csv", target)
    assert code == 2 and f"{target}: not written" in err and target.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((BUILD, WIND, ROOT / "none.gpx"), "none.gpx"),
        ((BUILD, CASES / "none.toml", ROUND), "none.toml"),
        ((BUILD, WIND, BUILD), "legs"),
        ((BUILD, WIND, ROUND, "--legs-alone", "--draws", "32"), "leave --legs-alone out"),
        ((ROOT / "data" / "builds" / "harbour_ungeared.toml", WIND, ROUND, "--draws", "32"), "no motor"),
    ],
)
def test_a_ride_says_what_is_wrong(capsys, arguments, said):
    code, out, err = run(capsys, "ride", *arguments)
    assert (code, out) == (2, "") and said in err and "Traceback" not in err


def test_a_ride_tells_how_far_it_is_and_stops_when_told_to(capsys, monkeypatch):
    from unikit import __main__ as commands

    monkeypatch.setattr(commands._Progress, "PATIENCE", 0.0)
    code, _, err = run(capsys, "ride", BUILD, WIND, ROUND)
    assert code == 0 and err == "\rriding: 100 %\n"

    def interrupt(self, share):
        raise KeyboardInterrupt

    monkeypatch.setattr(commands._Progress, "__call__", interrupt)
    code, out, err = run(capsys, "ride", BUILD, WIND, ROUND, "--csv", "never.csv")
    assert (code, out) == (130, "") and err.startswith("\nstopped") and not Path("never.csv").exists()

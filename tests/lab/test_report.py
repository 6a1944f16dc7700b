"""Reports: files whole or not at all, never over others unasked, and the same for the same result."""

import os
import stat

import pandas as pd
import pytest
from lab import demo

from unikit.inputs import load_build, load_case
from unikit.lab import report
from unikit.studies import machine


@pytest.fixture
def result():
    return demo.study(3.0, 1.0, 0.1, "left")


def test_summary_is_printed_in_columns(result, capsys):
    report.print_summary(result)
    assert capsys.readouterr().out == "Rate              3.000 rad/s\nGreatest <swing>  1.00 m\n"


def test_results_are_printed_beside_each_other(capsys):
    build, case = load_build("data/builds/harbour_commuter.toml"), load_case("data/cases/harbour_hill.toml")
    direct, long = (machine.study(build, case, gear) for gear in build.gears.gear)
    report.print_beside({"direct": direct, "the long gear": long}, "gear", "wheel_radius")
    assert capsys.readouterr().out == (
        "              direct  the long gear\n"
        "gear          direct           long\n"
        f"wheel radius  {1000 * build.wheel.radius:.0f} mm{1000 * build.wheel.radius:12.0f} mm\n"
    )
    with pytest.raises(KeyError, match="no_such_field"):
        report.print_beside({"direct": direct}, "no_such_field")


def test_table_round_trip(result, tmp_path):
    path = report.save_table(result, tmp_path / "swing.csv")
    pd.testing.assert_frame_equal(pd.read_csv(path), result.table())


def test_a_named_index_is_kept(result):
    class Named:
        def table(self):
            return result.table().set_index("time / s")

    assert report.table_csv(Named()) == report.table_csv(result)


@pytest.mark.parametrize(("name", "start"), [("a.png", b"\x89PNG"), ("a.SVG", b"<?xml")])
def test_pictures_are_the_same_for_the_same_result(result, tmp_path, name, start):
    path = report.save_figure(demo.picture(), result, tmp_path / name)
    content = path.read_bytes()
    assert content.startswith(start)
    report.save_figure(demo.picture(), result, path, overwrite=True)
    assert path.read_bytes() == content


def test_nothing_is_overwritten_unasked(result, tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text("mine")
    with pytest.raises(FileExistsError, match="mine.csv exists already: choose another name, or pass overwrite=True"):
        report.save_table(result, path)
    assert path.read_text() == "mine"
    report.save_table(result, path, overwrite=True)
    assert path.read_text().startswith("time / s,")


def test_a_failed_write_leaves_the_old_file_and_no_other(result, tmp_path, monkeypatch):
    path = tmp_path / "mine.csv"
    path.write_text("mine")

    def refuse(*_):
        raise OSError("disk full")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError, match="disk full"):
        report.save_table(result, path, overwrite=True)
    assert [one.name for one in tmp_path.iterdir()] == ["mine.csv"] and path.read_text() == "mine"


def test_a_saved_file_has_ordinary_rights(result, tmp_path):
    plain = tmp_path / "plain"
    plain.write_text("")
    saved = report.save_table(result, tmp_path / "saved.csv")
    assert stat.S_IMODE(saved.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


def test_other_endings_are_refused(result, tmp_path):
    with pytest.raises(ValueError, match="can be saved as png or svg, got 'pdf'"):
        report.save_figure(demo.picture(), result, tmp_path / "a.pdf")
    assert not list(tmp_path.iterdir())
